"""The write-up: run on toy notebooks and a toy season, so that every way it can end is tried in seconds."""

import errno
import html.parser
import importlib
import itertools
import json
import os
import pkgutil
import re
import signal
import subprocess
import sys
import tomllib
import types

import html5lib
import nbformat
import numpy as np
import pandas as pd
import pytest

import fieldkit
from fieldkit.core import FieldkitError, resource_dir
from fieldkit.report import writeup
from fieldkit.report.privacy import at_home, public
from fieldkit.report.writeup import collected, folders, kernels, running
from fieldkit.report.writeup.pages import material, methods
from fieldkit.report.writeup.pages.rendering import Renderer

HOSTILE = '<script>alert("x")</script> & <b>bold</b>'


def toy_season(path, **changes):
    times = pd.date_range("2026-05-01 09:00", periods=6, freq="h", tz="America/New_York")
    choices = pd.DataFrame(
        {
            "set_id": list("aabbcc"),
            "time": times,
            "animal_id": ["R1", "R1", "R2", "R2", "R3", "R3"],
            "used": [1, 0] * 3,
            "surface_c": [30.0, 25.0, 31.0, np.nan, 33.0, 27.0],
            "notes": [HOSTILE] * 6,
        }
    )
    warnings = pd.DataFrame(
        [
            ("choices.csv", 4, "surface_c", "99", HOSTILE, "Look again."),
            ("season.toml", pd.NA, "", "", "No error is stated.", "State it."),
        ],
        columns=["file", "row", "column", "value", "problem", "remedy"],
    ).astype({"row": "Int64"})
    warnings["severity"] = "warning"
    about = {
        "path": path,
        "name": f"Toy {HOSTILE}",
        "first_day": times[0].date(),
        "last_day": times[-1].date(),
        "invented": True,
        "site": types.SimpleNamespace(
            name="quarry",
            latitude_deg=36.123456,
            longitude_deg=-79.987654,
            elevation_m=270.0,
            timezone="America/New_York",
        ),
        "animal": types.SimpleNamespace(species="ridge lizard", length_m=0.07, mass_g=12.0),
        "choices": choices,
        "sightings": None,
        "scans": None,
        "loggers": None,
        "weather": None,
        "instrument_errors": {"surface_c": 1.5},
        "warnings": warnings,
        "input_hash": "ab" * 32,
    }
    return types.SimpleNamespace(**(about | changes))


def cell(kind, source, *tags, **metadata):
    make = nbformat.v4.new_code_cell if kind == "code" else nbformat.v4.new_markdown_cell
    return make(source, metadata={"tags": list(tags), **metadata})


PARAMETERS = 'season_folder = None  # None: the demo season; or the path of your own folder\nlevel = 0.95\nword = "a"'
RESULT = """
import dataclasses, fieldkit, pandas as pd
from fieldkit.core import Result
@dataclasses.dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Comparison(Result):
    table: pd.DataFrame
    sentence: str
    verdict: str = "surface"
    seed: int = 7
    left_out: object = dataclasses.field(default_factory=lambda: pd.DataFrame({"row": [3], "reason": ["no <sun>"]}))
    settings: dict = dataclasses.field(default_factory=lambda: {"permutations": 99, "cluster": "animal_id"})

table = pd.DataFrame({"driver": ["air", "<i>surface</i>"], "odds ratio": [1.01, 2.345678]})
answer = Comparison(table=table, sentence="They choose on surface & no doubt.")
fieldkit.publish(answer, "toy_verdict", role="verdict")
"""
FIGURE = """
from fieldkit.report.figures import new_axes, show
figure, axes = new_axes()
axes.plot([1, 2, 3], [20.0, 25.0, 31.5], label="surface")
axes.set_title("Used places are warmer")
show(figure, "Surface temperature at used places")
"""


def notebook(path, cells, **about):
    role = "verdict" if any("role=" in cell.source for cell in cells) else None
    about = {"section": "Choice", "order": 6, "needs": ["choices"], "role": role} | about
    book = nbformat.v4.new_notebook(cells=cells, metadata={"fieldkit": about})
    book.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3", "language": "python"}
    nbformat.write(book, path)


def choice_cells():
    return [
        cell("markdown", "# Choice\n\nNot for the write-up."),
        cell("code", PARAMETERS, "parameters"),
        cell("code", "from fieldkit.physics import heat\nsky = heat.sky_longwave(20.0, vapour_pressure_kpa=1.2)"),
        cell("code", RESULT),
        cell(
            "markdown",
            "## What was found\n\nHeat follows $T_e = T_a + R/h$, see [start](01_toy.ipynb) and <script>1</script>.",
            "writeup",
        ),
        cell("code", "# Candidates compared\nanswer", "writeup"),
        cell("code", FIGURE, "writeup", fieldkit={"headline": True}),
        cell("code", "import warnings\nwarnings.warn('a doubtful fit')\nprint('42 <sets>')", "writeup"),
        cell("code", "assert False, 'an exercise'", "exercise"),
    ]


def make_kit(tmp_path, monkeypatch):
    """Toy notebooks and a toy season in place of the real ones."""
    books = tmp_path / "books"
    books.mkdir()
    season_folder = tmp_path / "my season"
    season_folder.mkdir()
    season = toy_season(season_folder)
    monkeypatch.setattr(running, "resource_dir", lambda name: books)
    monkeypatch.setattr(fieldkit, "read_season", lambda path: season, raising=False)
    # What a public season is and what must stay at home is held to account in test_privacy.py, with real ones.
    monkeypatch.setattr(public, "write", lambda season, folder, exact_place: folder.mkdir())
    monkeypatch.setattr(at_home, "of_season", lambda *_, **__: at_home.of_computer())
    notebook(books / "06_toy_choice.ipynb", choice_cells())
    return types.SimpleNamespace(books=books, season=season, folder=season_folder, out=tmp_path / "out", base=tmp_path)


@pytest.fixture
def kit(tmp_path, monkeypatch):
    return make_kit(tmp_path, monkeypatch)


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    """One finished write-up to read in several tests."""
    with pytest.MonkeyPatch.context() as monkeypatch:
        kit = make_kit(tmp_path_factory.mktemp("kit"), monkeypatch)
        kit.done = write(kit)
        yield kit


def write(kit, **options):
    return writeup.write(kit.folder, kit.out, **({"progress": False, "pdf": False} | options))


def contents(folder):
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


class Page(html.parser.HTMLParser):
    """What stands in a page: start tags with attributes, in order, and all text."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.words = [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.words.append(data)

    def every(self, name):
        return [attrs for tag, attrs in self.tags if tag == name]


def check_page(text):
    """Hold a page to what every write-up promises, whatever is in it."""
    # html5lib follows the parsing rules of the HTML standard; strict mode stops at every parse error it defines.
    html5lib.HTMLParser(strict=True).parse(text)
    page = Page(text)
    assert page.every("html") == [{"lang": "en"}]
    for name in ("script", "link", "iframe", "object", "font", "center"):
        assert not page.every(name)
    for attrs in (attrs for _, attrs in page.tags):
        assert not any(key.startswith("on") for key in attrs)
        assert attrs.get("src", "data:").startswith("data:")
    ids = [attrs["id"] for _, attrs in page.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    for attrs in page.every("a"):
        if attrs["href"].startswith("#"):
            assert attrs["href"][1:] in ids
    assert all(attrs.get("alt") for attrs in page.every("img"))
    assert all(attrs.get("scope") in ("col", "row", "colgroup", "rowgroup") for attrs in page.every("th"))
    assert len(page.every("caption")) == len(page.every("table"))
    assert len(page.every("figcaption")) == len(page.every("figure"))
    for kind, tag in (("figure", "figure"), ("table", "table")):
        assert [a["id"] for a in page.every(tag)] == [f"{kind}-{i + 1}" for i in range(len(page.every(tag)))]
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    return page


def test_write_up_carries_every_caution_of_the_field_sheet(finished):
    from fieldkit.records import cautions

    text = html.unescape(finished.done.html.read_text(encoding="utf-8"))
    assert all(line in text for line in cautions.FIELD)


def test_write_up_says_the_answer_first_and_keeps_everything(finished):
    kit, done = finished, finished.done
    assert done.sentence == "They choose on surface & no doubt. 1 of 1 sections written."
    assert done.table["state"].tolist() == ["done"]
    text = done.html.read_text(encoding="utf-8")
    page = check_page(text)
    words = " ".join(page.words)
    assert words.index("They choose on surface & no doubt.") < words.index("Contents")
    assert "Invented data." in words
    assert "Used places are warmer ( Figure 1 )." in words and "Surface temperature at used places." in words
    assert "Candidates compared." in words
    assert "driver odds ratio air 1.01" in " ".join(words.split())
    # Everything else stands in the supplement, and what the report shows is not shown twice.
    rest = check_page((kit.out / "supplement.html").read_text(encoding="utf-8"))
    more = " ".join(rest.words)
    assert "a doubtful fit" in more and "a doubtful fit" not in words
    assert "Left out of the results, and why." in more and "no <sun>" in more
    assert "42 <sets>" in more and "42 <sets>" not in words
    assert not rest.every("figure") and len(page.every("figure")) == 1
    assert " ".join(more.split()).count("Figure 1 stands in the report.") == 1
    # The code of all cells is folded once, at the end of the section; the report folds the words of its figure.
    assert len(rest.every("details")) == 1 and len(page.every("details")) == 1
    # The verdict stands at the top; its section points there.
    assert words.count("They choose on surface & no doubt.") == more.count("They choose on surface & no doubt.") == 1
    for text_of_page in (words, more):
        assert "an exercise" not in text_of_page
        assert "Not for the write-up" not in text_of_page
        # What nothing shown rests on is no method of the write-up.
        assert "Long-wave radiation of a clear sky" not in text_of_page
    # The printed words of a figure stand under it once more, not twice.
    assert words.count("highest 31.5") == 1
    assert "36.1 to 36.2° N, 79.9 to 80.0° W" in more and "36.123" not in text
    assert kit.season.input_hash in more
    assert "1.5" in more and "16.7 %" in more
    first = check_page(done.summary.read_text(encoding="utf-8"))
    assert "They choose on surface & no doubt." in " ".join(first.words)
    files = contents(kit.out)
    assert {
        "estimates.csv",
        "estimates.csv-metadata.json",
        "index.html",
        "summary.html",
        "supplement.html",
        "writeup.json",
        "CITATION.cff",
        "figures/figure-01.csv",
        "figures/figure-01.svg",
        "figures/figure-01.png",
        "notebooks/06_toy_choice.ipynb",
        "results/toy_verdict.csv",
        "results/toy_verdict_left_out.csv",
    } == set(files)
    drawn = pd.read_csv(kit.out / "figures" / "figure-01.csv")
    assert drawn["y"].tolist() == [20.0, 25.0, 31.5]
    about = json.loads(files["writeup.json"])
    assert about["results"][0]["seed"] == 7
    assert about["versions"]["numpy"] == np.__version__
    assert all(folders.digest(kit.out / name) == value for name, value in about["files"].items())
    kept = nbformat.read(kit.out / "notebooks" / "06_toy_choice.ipynb", as_version=4)
    counts = [c.execution_count for c in kept.cells if c.cell_type == "code"]
    assert counts == list(range(1, len(counts) + 1))
    assert str(kit.base).encode() not in files["index.html"] + files["notebooks/06_toy_choice.ipynb"]
    assert kept.cells[1].source.splitlines()[0] == "season_folder = 'season'"


def test_what_users_write_is_escaped(finished):
    text = finished.done.html.read_text(encoding="utf-8")
    page = check_page(text)
    assert '<script>alert("x")</script> & <b>bold</b>' in "".join(page.words)
    assert "&lt;script&gt;" in text
    assert "<i>surface</i>" in "".join(page.words)
    assert not page.every("i")


def test_a_finding_about_the_records_takes_away_only_what_rests_on_it(kit):
    stop = "class Sub(fieldkit.FieldkitError): pass\nraise Sub('No irradiance <was> logged.')"
    cells = [
        cell("code", PARAMETERS, "parameters"),
        cell("code", "import fieldkit"),
        cell("markdown", "## Before", "writeup"),
        cell("code", stop + "\nlost = 1", "writeup"),
        cell("markdown", "About what is lost.\n\n## After", "writeup"),
        cell("code", "needs_it = lost + 1"),
        cell("code", "print(needs_it)", "writeup"),
        cell("markdown", "About what was lost with it.", "writeup"),
        cell("code", "print('this goes on')", "writeup"),
        cell("markdown", "## Nothing here\n\nAbout what would follow.", "writeup"),
        cell("code", "print(needs_it)", "writeup"),
        cell("markdown", "### In words\n\nAbout what did not follow.", "writeup"),
        cell("code", "raise Sub('Nobody looks.')\nunused = 1"),
    ]
    notebook(kit.books / "03_toy_check.ipynb", cells, section="Readings", order=3, role=None)
    notebook(kit.books / "08_toy_bands.ipynb", choice_cells(), section="Bands", order=8, needs=["weather"], role=None)
    done = write(kit)
    assert done.table[["notebook", "state"]].to_numpy().tolist() == [
        ["03_toy_check", "stopped"],
        ["06_toy_choice", "done"],
        ["08_toy_bands", "skipped"],
    ]
    report = " ".join(check_page(done.html.read_text(encoding="utf-8")).words)
    assert report.count("In part. No irradiance <was> logged.") == 1
    assert "Before" not in report and "Readings (03_toy_check)" in " ".join(report.replace("  ", " ").split())
    words = " ".join(check_page((kit.out / "supplement.html").read_text(encoding="utf-8")).words)
    assert words.count("Not done:") == 1
    # Once where it is missing, once among the warnings.
    assert words.count("No irradiance <was> logged.") == 2
    assert "Traceback" not in words and "About what" not in words and "Nobody looks" not in words
    # A heading under which nothing could be done goes too, once the reason was told.
    assert "Nothing here" not in words and "In words" not in words and "Before" in words
    assert "After" in words and "this goes on" in words
    kept = nbformat.read(kit.out / "notebooks" / "03_toy_check.ipynb", as_version=4)
    assert ["nbval-skip" in running.tags(c) for c in kept.cells] == [False] * 3 + [
        True,
        False,
        True,
        True,
        False,
        False,
        False,
        True,
        False,
        True,
    ]
    assert report.count("It needs records of weather stations, which this season does not have.") == 1


def test_a_season_that_came_to_no_test_is_not_written_up_as_if_it_had(kit):
    words = "Not testable: 8 usable choice sets are too few."
    again = f"answer = dataclasses.replace(answer, sentence={words!r})"
    cells = [
        cell("code", PARAMETERS, "parameters"),
        cell("code", RESULT.replace('verdict: str = "surface"', 'verdict: str = "untestable"')),
        cell(
            "code",
            again + "\nfieldkit.publish(answer, 'toy_verdict', role='verdict')",
        ),
        cell("markdown", "## The test\n\nEach driver has two rows.", "writeup"),
        cell("code", f"if answer.verdict == 'untestable':\n    raise fieldkit.FieldkitError({words!r})", "writeup"),
        cell("code", "answer = answer", "writeup"),
    ]
    cells[4].source += "\nanswer = answer"
    cells += [cell("markdown", "## Every animal a witness", "writeup"), cell("code", "# Animals\nanswer", "writeup")]
    notebook(kit.books / "06_toy_choice.ipynb", cells)
    done = write(kit)
    assert done.answer == words
    shown = " ".join(check_page(done.html.read_text(encoding="utf-8")).words)
    rest = " ".join(check_page((kit.out / "supplement.html").read_text(encoding="utf-8")).words)
    # In the report as the answer and under what was not done; in the supplement where the test would stand as well.
    assert shown.count(words) == 2 and rest.count(words) == 3
    assert "what one season shows" in shown and "and why" not in shown.split("Contents")[0]
    assert "The test" in rest and "two rows" not in rest and "witness" not in rest and "Animals." not in rest


def test_records_that_change_meanwhile_are_noticed(kit, monkeypatch):
    seasons = [kit.season, kit.season, toy_season(kit.folder, input_hash="cd" * 32)]
    monkeypatch.setattr(fieldkit, "read_season", lambda path: seasons.pop(0))
    with pytest.raises(FieldkitError, match="changed while they were written up"):
        write(kit)
    assert not kit.out.exists()


def test_paths_of_this_computer_stay_here(kit):
    path = kit.folder
    cells = [
        cell("code", PARAMETERS, "parameters"),
        cell("code", "import fieldkit\nfrom pathlib import Path"),
        cell("code", "print(Path(season_folder).resolve(), repr(season_folder))", "writeup"),
        cell("code", "raise fieldkit.FieldkitError(f'Nothing in {season_folder}/x.csv.')", "writeup"),
    ]
    notebook(kit.books / "06_toy_choice.ipynb", cells)
    write(kit)
    everything = b"".join(contents(kit.out).values())
    assert str(path).encode() not in everything
    assert b"Nothing in season/x.csv." in everything


def test_any_other_error_fails_the_run_and_spoils_nothing(kit):
    plain(kit.out)
    before = contents(kit.out)
    cells = choice_cells()
    cells.insert(4, cell("code", "1 / 0"))
    notebook(kit.books / "06_toy_choice.ipynb", cells)
    with pytest.raises(running.WriteUpError, match="06_toy_choice, cell 5 failed: ZeroDivisionError: division by zero"):
        write(kit)
    assert contents(kit.out) == before
    assert sorted(p.name for p in kit.base.iterdir()) == ["books", "my season", "out"]


def test_parameters_reach_the_notebook_and_unknown_names_do_not(kit):
    cells = [cell("code", PARAMETERS, "parameters"), cell("code", "print(level, word, season_folder)", "writeup")]
    notebook(kit.books / "06_toy_choice.ipynb", cells, role=None)
    write(kit, parameters={"level": 0.9, "word": 'it\'s "so"'})
    text = (kit.out / "supplement.html").read_text(encoding="utf-8")
    assert "0.9 it&#39;s &#34;so&#34; season" in text
    with pytest.raises(FieldkitError, match=r"No notebook has a parameter 'levle'\. Did you mean 'level'"):
        write(kit, parameters={"levle": 0.9})
    with pytest.raises(FieldkitError, match="must be a number, a text or a list"):
        write(kit, parameters={"level": object()})
    with pytest.raises(FieldkitError, match="There is no notebook '99'"):
        write(kit, only=["99"])


def test_parameters_cells_may_only_set_plain_values():
    book = nbformat.v4.new_notebook(cells=[cell("code", "a = 1\nb = [1, 2,\n     3]\nc = None  # why", "parameters")])
    running.set_parameters(book, {"b": [4], "a": -2.5})
    assert book.cells[0].source == "a = -2.5\nb = [4]\nc = None  # why"
    assert running.parameters_of(book) == {"a": -2.5, "b": [4], "c": None}
    book.cells[0].source = "import os"
    with pytest.raises(running.WriteUpError, match="may only set names"):
        running.parameters_of(book)


def plain(out, text="first", **options):
    """A write-up folder without the notebooks: what stands in it does not matter to the swapping."""
    with folders.swapped_in(out, **options) as (fresh, _):
        (fresh / "index.html").write_text(text)
        about = {"format": folders.FORMAT, "files": {"index.html": folders.digest(fresh / "index.html")}}
        (fresh / folders.MARKER).write_text(json.dumps(about))


def test_folders_that_are_not_write_ups_are_left_alone(tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    (out / "thesis.txt").write_text("years of work")
    with pytest.raises(FieldkitError, match="is not a write-up, so it is left alone"):
        plain(out)
    assert contents(out) == {"thesis.txt": b"years of work"}
    (out / "thesis.txt").unlink()
    plain(out)
    (out / "notes.txt").write_text("mine")
    with pytest.raises(FieldkitError, match=r"added or changed after it was written \(notes.txt\)"):
        plain(out, "second")
    assert (out / "index.html").read_text() == "first"
    (out / "notes.txt").unlink()
    (out / ".DS_Store").write_text("litter")
    plain(out, "second")
    assert (out / "index.html").read_text() == "second"
    (out / "writeup.json").write_text("{}")
    with pytest.raises(FieldkitError, match="is not a write-up: it has no readable"):
        plain(out)
    out.rename(tmp_path / "other")
    out.write_text("a file")
    with pytest.raises(FieldkitError, match="is a file or a link"):
        plain(out)


def test_the_season_folder_is_never_replaced(tmp_path):
    (tmp_path / "season").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "season")
    for place in (tmp_path, tmp_path / "season", tmp_path / "season" / "writeup", tmp_path / "link" / "writeup"):
        with pytest.raises(FieldkitError, match="lies inside"):
            plain(place, keep=(tmp_path / "season",))
    assert sorted(p.name for p in tmp_path.iterdir()) == ["link", "season"]
    assert not any((tmp_path / "season").iterdir())


def test_a_folder_that_fills_up_meanwhile_is_not_replaced(tmp_path):
    plain(tmp_path / "out")
    with pytest.raises(FieldkitError, match="added or changed"), folders.swapped_in(tmp_path / "out") as (fresh, _):
        (fresh / "x").write_text("x")
        (tmp_path / "out" / "late.txt").write_text("late")
    assert set(contents(tmp_path / "out")) == {"index.html", "writeup.json", "late.txt"}
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


KILLED = """
import sys, time
from pathlib import Path
from fieldkit.report.writeup import folders
with folders.swapped_in(Path(sys.argv[1])) as (fresh, _):
    (fresh / "half").write_text("half")
    print("writing", flush=True)
    time.sleep(60)
"""


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL is POSIX")
def test_a_killed_run_leaves_the_earlier_one(tmp_path):
    out = tmp_path / "out"
    plain(out)
    before = contents(out)
    child = subprocess.Popen([sys.executable, "-c", KILLED, str(out)], stdout=subprocess.PIPE, text=True)
    assert child.stdout.readline() == "writing\n"
    child.send_signal(signal.SIGKILL)
    child.wait()
    child.stdout.close()
    assert contents(out) == before
    assert len([p for p in tmp_path.iterdir() if p.name.startswith(".out.new-")]) == 1
    # The next run clears the debris away.
    plain(out)
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_kill_between_the_two_renames_is_put_back(tmp_path, monkeypatch):
    out = tmp_path / "out"
    plain(out)
    out.rename(tmp_path / ".out.old-abc")
    with pytest.raises(ZeroDivisionError), folders.swapped_in(out):
        raise ZeroDivisionError
    assert (out / "index.html").read_text() == "first"
    real = os.rename

    def fails_second(source, target):
        if target == out and source.name == "whole":
            raise OSError(errno.ENOSPC, "No space left on device")
        real(source, target)

    monkeypatch.setattr(folders.os, "rename", fails_second)
    with pytest.raises(FieldkitError, match="out: there is no space left on the disk"):
        plain(out, "second")
    assert (out / "index.html").read_text() == "first"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_kernel_that_will_not_start_is_tried_again(kit, monkeypatch):
    import nbclient

    real, calls = nbclient.NotebookClient.setup_kernel, []

    def flaky(self, **options):
        calls.append(options)
        if len(calls) < 3:
            raise RuntimeError("Kernel died before replying to kernel_info")
        return real(self, **options)

    monkeypatch.setattr(nbclient.NotebookClient, "setup_kernel", flaky)
    assert write(kit).table["state"].tolist() == ["done"]
    assert len(calls) == 3
    calls.clear()
    monkeypatch.setattr(kernels, "_STARTS", 2)
    with pytest.raises(FieldkitError, match="could not start a notebook"):
        write(kit)


def test_no_choices_no_verdict(kit):
    kit.season.choices = None
    done = write(kit)
    assert done.answer.startswith("Whether the animals choose their places was not tested. It needs choice sets")
    check_page(done.html.read_text(encoding="utf-8"))


def test_names_and_sources_of_a_notebook_are_no_protocol(kit):
    cells = [
        cell("code", PARAMETERS, "parameters"),
        cell("code", RESULT.replace("answer", "whatever").replace("Comparison", "Found")),
        cell(
            "code",
            "from fieldkit.physics import heat as warmth\nf = warmth.sky_longwave\nx = f(9.0, vapour_pressure_kpa=1.2)",
        ),
        cell("code", "print(f'{x:.0f} W/m²')", "writeup"),
    ]
    notebook(kit.books / "06_toy_choice.ipynb", cells)
    done = write(kit)
    assert done.answer == "They choose on surface & no doubt."
    assert "Long-wave radiation of a clear sky" in (kit.out / "supplement.html").read_text(encoding="utf-8")


def test_a_verdict_that_is_not_published_is_an_error(kit):
    cells = [cell("code", PARAMETERS, "parameters"), cell("code", "print(1)", "writeup")]
    notebook(kit.books / "06_toy_choice.ipynb", cells, role="verdict")
    with pytest.raises(running.WriteUpError, match="06_toy_choice ran to its end and published no verdict"):
        write(kit)
    assert not kit.out.exists()


def test_two_results_of_one_name_are_an_error(kit):
    notebook(kit.books / "07_toy.ipynb", choice_cells(), section="Again", order=7, role=None)
    with pytest.raises(running.WriteUpError, match="Two notebooks publish"):
        write(kit)


def methods_of_fieldkit():
    """Every function that is marked as a method, by its key."""
    found = {}
    for file in pkgutil.walk_packages(fieldkit.__path__, "fieldkit."):
        if file.name.endswith("__main__"):
            continue
        module = importlib.import_module(file.name)
        for thing in vars(module).values():
            if getattr(thing, "is_method", False):
                found[f"{collected.topic_of(thing.__module__)}.{thing.__name__}"] = thing
    return found


def test_every_method_has_a_sentence_and_every_source_a_reference():
    known = tomllib.loads(methods._FILE.read_text(encoding="utf-8"))
    assert set(known["sentences"]) == set(methods_of_fieldkit())
    assert set(known["cites"]) <= set(known["sentences"])
    assert {key for keys in known["cites"].values() for key in keys} == set(known["references"])
    for function, sentence in known["sentences"].items():
        said = re.sub(r"'s \((\d{4})\)", r" \1", sentence)
        for year in re.findall(r"\w \(?((?:18|19|20)\d\d)\b", said):
            assert any(year in cited for cited in known["cites"][function]), sentence


def real_notebooks():
    """The notebooks that a write-up shows, each with its cells."""
    for path in sorted(resource_dir("notebooks").glob("[0-9]*.ipynb")):
        book = nbformat.read(path, as_version=4)
        cells = [c for c in book.cells if not running.UNRUN_TAGS & running.tags(c)]
        if any("writeup" in running.tags(c) for c in cells):
            yield path.stem, cells


def test_every_figure_and_table_of_the_write_up_has_a_caption():
    for name, cells in real_notebooks():
        for c in (c for c in cells if c.cell_type == "code" and "writeup" in running.tags(c)):
            tables = sum("<table" in o.get("data", {}).get("text/html", "") for o in c.outputs)
            captions = c.metadata.get("fieldkit", {}).get("table", [])
            captions = [captions] if isinstance(captions, str) else captions
            # Of what the demo's records cannot carry there is a sentence and no table.
            absent = c.metadata.get("fieldkit", {}).get("table_if_measured") and not tables
            assert absent or len(captions) == tables, f"{name}: {c.source}"


def test_methods_say_what_was_used_and_only_that():
    from fieldkit.physics import sensors
    from fieldkit.physics.radiation_error import detect as contamination

    def said(*given, **named):
        return methods.sentence(collected.described(sensors.find_contamination, given, named))

    full = said({}, [pd.Series()], site=object(), wind={1})
    assert "a low sun" in full.lower() and "So was the wind" in full and "clear sky" not in full
    assert f"a week of {contamination.TELLS_UP_TO_C:g} °C" in full and '"cannot tell"' in full
    calm = said({}, None, site=1, wind=None)
    assert "that of a clear sky because none was measured" in calm and "So was the wind" not in calm
    assert "{" not in full + calm and "  " not in full + calm


def test_pdf_from_the_same_page(kit):
    pytest.importorskip("weasyprint", reason="the pdf extra is not installed")
    done = write(kit, pdf=True)
    assert done.pdf.read_bytes().startswith(b"%PDF-")


def test_html_of_outputs_is_cleaned(tmp_path):
    renderer = Renderer(tmp_path)
    frame = pd.DataFrame({("a", "x"): [1.0], ("a", "y"): [2.0]}, index=pd.Index(["r"], name="row"))
    text = str(
        renderer._clean(f"<div><style scoped>p {{}}</style>{frame._repr_html_()}<img src='http://e.org/x.png'></div>")
    )
    assert "style" not in text and "http" not in text and "border" not in text
    assert 'scope="colgroup"' in text and 'scope="row"' in text
    assert "Table 1." in text
    assert "<td>–</td>" in str(renderer._clean(pd.DataFrame({"n": [np.nan]})._repr_html_()))
    named = pd.DataFrame({"n": [1], "low": [0.5]}, index=pd.Index(["r"], name="hour"))
    heads = re.findall(r"<t[hd][^>]*>([^<]*)</t[hd]>", str(renderer._clean(named._repr_html_())))
    assert heads == ["hour", "number", "low", "r", "1", "0.5"]
    counted = str(renderer._clean(pd.DataFrame({"low_c": [-1.5], "found": [True]}, index=[7])._repr_html_()))
    assert re.findall(r"<t[hd][^>]*>([^<]*)</t[hd]>", counted) == ["low (°C)", "found", "−1.5", "yes"]
    blocks = renderer.section("Choice", [(cell("markdown", "## Choice\n\nText"), None)], figures=tmp_path)
    assert blocks == ["<p>Text</p>"]
    dirty = str(renderer.markdown("<a href='javascript:x()' onclick='y()'>z</a> <svg onload='x()'></svg>"))
    assert "javascript" not in dirty and "onclick" not in dirty and "svg" not in dirty


def test_called_functions_bring_their_sources():
    from fieldkit.physics import sensors

    call = collected.described(sensors.blackbody_band_share, (30.0,), {"band_um": (8, 14)})
    assert call["function"] == "sensors.blackbody_band_share"
    assert call["settings"]["band_um"] == [8, 14]
    assert "Planck's law" in call["notes"]
    assert call["summary"].endswith(".")


def test_only_calls_that_the_shown_rests_on_count():
    cells = [(1, "a = f()\nb = g()", False), (2, "%time x", True), (3, "print(b)", True)]
    calls = [((1, 1), {"function": "f"}), ((1, 2), {"function": "g"}), ((3, 1), {"function": "g"})]
    assert collected.shown_calls(calls, cells) == [{"function": "g"}]


def test_rows_left_out_are_told_as_the_spreadsheet_counts_them():
    rows = {
        "choices": pd.DataFrame({"file": "choices.csv", "row": [2, 3, 4, 6]}),
        "scans": pd.DataFrame({"file": ["a.csv", "b.csv"], "row": [2, 2]}),
    }
    one = pd.DataFrame({"row": [1, 3], "set_id": ["S1", "S2"], "reason": "surface_c is missing"})
    told = collected.in_files(one, rows, "choices")
    assert told.columns.tolist() == ["file", "row", "set_id", "reason"] and told["row"].tolist() == [3, 6]
    assert material._named(told.astype(str)) == ["choices.csv, rows 3", "6"]
    mixed = pd.DataFrame({"table": ["scans", "choices"], "row": [1, 0], "reason": "empty"})
    told = collected.in_files(mixed, rows)
    assert told.to_numpy().tolist() == [["b.csv", 2, "empty"], ["choices.csv", 2, "empty"]]
    assert material._named(told.astype(str)) == ["b.csv 2", "choices.csv 2"]
    # Rows of a table that a notebook made itself stay as they are, and their numbers are not shown.
    assert collected.in_files(one.assign(row=[90, 91]), rows, "choices")["row"].tolist() == [90, 91]
    assert material._named(one.astype(str)) == ["S1", "S2"]


def test_a_rounded_chance_is_not_nought_and_an_open_interval_has_no_limit(tmp_path):
    frame = pd.DataFrame({"p": ["0.000", "0.021"], "high": [float("inf"), 44.2]})
    text = str(Renderer(tmp_path).table(frame, "Bends"))
    assert "&lt;0.001" in text and "no limit" in text and "44.2" in text
    assert "0.000<" not in text and "inf<" not in text
