"""A sample of ``tests/studies/damaged_folders.py``: no traceback, no hang, no row that vanishes without a word."""

import damage
import pytest


@pytest.mark.parametrize("first", [0, *(pytest.param(first, marks=pytest.mark.slow) for first in (20, 40, 60))])
def test_damaged_folders_end_in_sentences_and_every_row_is_accounted_for(first, tmp_path):
    found = [damage.one(seed, tmp_path / "folder") for seed in range(first, first + 20)]
    assert not [f for f in found if f["wrong"]]
    assert {"read", "refused"} <= {f["outcome"] for f in found}


def test_the_book_keeper_misses_a_row(tmp_path):
    # The count itself has to be able to fail: a reader that loses a row is caught.
    file = tmp_path / "choices.csv"
    file.write_text("a,b\n1,2\n3,4\n", encoding="utf-8")
    nothing = damage.fieldkit.records.problems.Problems().table()
    assert damage._balance("choices.csv", damage.lines_of(file), 2, 0, nothing) == ""
    assert "1 rows read" in damage._balance("choices.csv", damage.lines_of(file), 1, 0, nothing)


@pytest.mark.parametrize("seed", [731010, 731093, 731131])
def test_folders_that_once_ended_in_a_traceback(seed, tmp_path):
    # An unknown column in a plain file of station days; a workbook whose packed bytes are damaged.
    assert not damage.one(seed, tmp_path / "folder")["wrong"]
