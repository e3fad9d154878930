"""Rerunning a published write-up: equal numbers are said to be equal, every kind of difference is found."""

import json

import nbformat
import pandas as pd
import pytest
from test_writeup import RESULT, cell, choice_cells, contents, make_kit, notebook, write

from fieldkit import cli
from fieldkit.core import FieldkitError
from fieldkit.report.writeup import folders
from fieldkit.report.writeup.rerun import as_text, differences, reproduce


@pytest.fixture(scope="module")
def kit(tmp_path_factory):
    with pytest.MonkeyPatch.context() as monkeypatch:
        kit = make_kit(tmp_path_factory.mktemp("kit"), monkeypatch)
        write(kit)
        yield kit


def test_the_same_records_give_the_same_numbers(kit):
    before = contents(kit.out)
    found = reproduce(kit.out, kit.folder, progress=False)
    assert found.reproduced
    assert found.n_compared > 10
    assert found.sentence == f"All {found.n_compared} values came out again (relative tolerance 1e-06)."
    assert contents(kit.out) == before


def test_the_command_line_says_whether_it_came_out_again(kit, tmp_path, capsys):
    assert cli.main(["reproduce", str(kit.out), "--season", str(kit.folder)]) == cli.OK
    assert "came out again" in capsys.readouterr().out
    assert cli.main(["reproduce", str(tmp_path)]) == cli.MISTAKE
    assert "is not a write-up" in capsys.readouterr().err


def test_every_difference_is_named(kit, tmp_path):
    altered = RESULT.replace("2.345678", "2.445678").replace("no doubt", "some doubt")
    cells = [cell("code", altered) if c.source == RESULT else c for c in choice_cells()]
    cells = [cell("code", c.source.replace("31.5", "-31.5"), "writeup") if "31.5" in c.source else c for c in cells]
    notebook(kit.books / "06_toy_choice.ipynb", cells)
    drawn = kit.out / "figures" / "figure-01.csv"
    text = drawn.read_text()
    drawn.write_text(text.replace("20.0", "20.5"))
    about = folders.read_marker(kit.out)
    kit.season.input_hash = "cd" * 32
    marker = json.dumps(about | {"versions": about["versions"] | {"numpy": "1.0"}})
    (kit.out / "writeup.json").write_text(marker, encoding="utf-8")
    found = reproduce(kit.out, kit.folder, out=tmp_path / "again", progress=False)
    assert not found.reproduced
    rows = {(r.file, str(r.row), r.column): (r.published, r.rerun) for r in found.table.itertuples()}
    assert rows[("figures/figure-01.csv", "1", "y")] == (20.5, 20.0)
    assert rows[("figures/figure-01.csv", "3", "y")] == (31.5, -31.5)
    assert rows[("results/06_toy_choice-answer.csv", "2", "odds ratio")] == (2.345678, 2.445678)
    assert rows[("writeup.json", "06_toy_choice answer", "sentence")][1] == "They choose on surface & some doubt."
    assert len(rows) == 4
    assert "not those of the write-up" in found.sentence
    assert "Changed after the write-up was made: figures/figure-01.csv." in found.sentence
    assert "numpy 1.0 → " in found.sentence
    assert "not that of the published ones: 06_toy_choice" in found.sentence
    said = as_text(found)
    assert "figures/figure-01.csv (Surface temperature at used places): 2 values differ\n" in said
    assert "differ\n  row 1, y: published 20.5, rerun 20\n" in said
    assert "06_toy_choice answer sentence: published They choose on surface & no doubt., rerun They" in said
    assert (tmp_path / "again" / "index.html").exists()
    assert nbformat.read(tmp_path / "again" / "notebooks" / "06_toy_choice.ipynb", as_version=4).cells


def test_what_is_needed_is_asked_for(kit, tmp_path):
    with pytest.raises(FieldkitError, match="give the season folder that it was made from"):
        reproduce(kit.out)
    with pytest.raises(FieldkitError, match="is not a write-up"):
        reproduce(tmp_path)


def test_tables_of_other_shape():
    one = pd.DataFrame({"a": [1.0, None], "b": ["x", "y"]})
    other = pd.DataFrame({"a": [1.0], "c": [1]})
    found, count = differences(one, other)
    assert count == 1
    assert found["column"].tolist() == ["number of rows", "b", "c"]
    assert differences(one, one)[0].empty
    noise = pd.DataFrame({"a": [0.0, 1.0]}), pd.DataFrame({"a": [1e-17, 1.0]})
    assert differences(*noise)[0].empty
