"""Rerunning a published write-up: an honest one is said to be so, and every kind of forgery is named."""

import base64
import io
import json
import shutil

import nbformat
import numpy as np
import pandas as pd
import pytest
from PIL import Image
from test_writeup import RESULT, cell, choice_cells, contents, make_kit, notebook, write

from fieldkit import cli
from fieldkit.core import FieldkitError
from fieldkit.report.integrity import seals
from fieldkit.report.integrity.files import differences
from fieldkit.report.writeup import folders
from fieldkit.report.writeup import rerun as module
from fieldkit.report.writeup.rerun import as_text, reproduce

MARKER = folders.MARKER


@pytest.fixture(scope="module")
def kit(tmp_path_factory):
    with pytest.MonkeyPatch.context() as monkeypatch:
        kit = make_kit(tmp_path_factory.mktemp("kit"), monkeypatch)
        for name in ("season.toml", "choices.csv"):
            (kit.folder / name).write_text("".join(f"{name} {n}\n" for n in range(40)))
        kit.season.sources = pd.DataFrame({"file": ["choices.csv"]})
        write(kit, pdf=None)
        yield kit


@pytest.fixture
def forged(kit, tmp_path):
    """A copy of the published folder, and what puts the hashes of its files right again."""
    folder = tmp_path / "published"
    shutil.copytree(kit.out, folder)

    def seal():
        about = json.loads((folder / MARKER).read_text(encoding="utf-8"))
        about["files"] = {name: folders.digest(folder / name) for name in about["files"]}
        (folder / MARKER).write_text(json.dumps(about), encoding="utf-8")

    return folder, seal


@pytest.fixture(scope="module")
def rerun(kit, tmp_path_factory):
    """What an honest rerun makes, once: the forgeries of this module are held against it without running again."""
    place = tmp_path_factory.mktemp("rerun") / "again"
    found = reproduce(kit.out, kit.folder, out=place, progress=False)
    assert found.reproduced, as_text(found)
    return place


@pytest.fixture
def against(rerun, kit, monkeypatch):
    def made(season, place, **options):
        shutil.copytree(rerun, place)

    def compared(folder):
        with monkeypatch.context() as patch:
            patch.setattr(module.writeup, "write", made)
            return reproduce(folder, kit.folder, progress=False)

    return compared


def test_the_same_records_give_the_same_write_up(kit, rerun, against):
    before = contents(kit.out)
    found = against(kit.out)
    assert found.reproduced and found.n_compared > 500
    assert found.sentence == f"All {found.n_compared:,} values came out again (relative tolerance 1e-06)."
    assert contents(kit.out) == before


def test_the_command_line_says_whether_it_came_out_again(kit, tmp_path, capsys):
    assert cli.main(["reproduce", str(kit.out), "--season", str(kit.folder)]) == cli.OK
    assert "came out again" in capsys.readouterr().out
    assert cli.main(["reproduce", str(tmp_path)]) == cli.MISTAKE
    assert "is not a write-up" in capsys.readouterr().err


def test_the_printed_command_works_as_printed(kit, tmp_path, monkeypatch, capsys):
    text = (kit.out / "supplement.html").read_text(encoding="utf-8")
    command = "fieldkit reproduce writeup --season season"
    assert f"<code>{command}</code>" in text
    shutil.copytree(kit.out, tmp_path / "writeup")
    shutil.copytree(kit.folder, tmp_path / "season")
    monkeypatch.chdir(tmp_path)
    assert cli.main(command.split()[1:]) == cli.OK, capsys.readouterr()


def test_nothing_of_a_strangers_folders_is_run(kit, forged, tmp_path, monkeypatch, capsys):
    folder, seal = forged
    trap = f"open({str(tmp_path / 'ran')!r}, 'w').close()\n"
    season = tmp_path / "season"
    shutil.copytree(kit.folder, season)
    for place in (folder, folder / "notebooks", season):
        for name in ("sitecustomize.py", "usercustomize.py", "conftest.py", "numpy.py", "fieldkit.py", "matplotlibrc"):
            (place / name).write_text(trap)
    book = nbformat.read(folder / BOOK, as_version=4)
    for c in book.cells:
        if c.cell_type == "code":
            c.source = trap + c.source
    nbformat.write(book, folder / BOOK)
    seal()
    monkeypatch.chdir(folder)
    assert cli.main(["reproduce", ".", "--season", str(season)]) == cli.BROKEN
    said = capsys.readouterr().out
    assert "cell 2, line 1: published open(" in said and "sitecustomize.py" in said
    assert not (tmp_path / "ran").exists()


def swap(file, old, new):
    def act(folder):
        text = (folder / file).read_text(encoding="utf-8")
        assert text.count(old) == 1, text.count(old)
        (folder / file).write_text(text.replace(old, new), encoding="utf-8")

    return act


def marker(change):
    def act(folder):
        about = json.loads((folder / MARKER).read_text(encoding="utf-8"))
        change(about)
        (folder / MARKER).write_text(json.dumps(about), encoding="utf-8")

    return act


def dots(data, at=40):
    """The picture with a small black square in it."""
    image = Image.open(io.BytesIO(data)).convert("RGB")
    dots = np.array(image)
    dots[at : at + 6, at : at + 6] = 0
    out = io.BytesIO()
    Image.fromarray(dots).save(out, format="png")
    return out.getvalue()


def picture_file(folder):
    path = folder / "figures" / "figure-01.png"
    path.write_bytes(dots(path.read_bytes()))


def picture_on_page(folder):
    path = folder / "index.html"
    text = path.read_text(encoding="utf-8")
    start = text.index('<img src="data:image/png;base64,') + len('<img src="data:image/png;base64,')
    end = text.index('"', start)
    forged = base64.b64encode(dots(base64.b64decode(text[start:end]))).decode()
    path.write_text(text[:start] + forged + text[end:], encoding="utf-8")


def picture_in_notebook(folder):
    path = folder / "notebooks" / "06_toy_choice.ipynb"
    book = nbformat.read(path, as_version=4)
    (data,) = (o.data for c in book.cells for o in c.get("outputs", []) if "image/png" in o.get("data", {}))
    data["image/png"] = base64.b64encode(dots(base64.b64decode(data["image/png"]))).decode()
    nbformat.write(book, path)


def swapped_bytes(folder):
    (folder / "figures" / "figure-01.png").write_bytes(b"no picture")


BOOK = "notebooks/06_toy_choice.ipynb"
TABLE = "results/toy_verdict.csv"
REASONS = TABLE.replace(".csv", "_left_out.csv")
PAGE, MORE, SVG, DRAWN = "index.html", "supplement.html", "figures/figure-01.svg", "figures/figure-01.csv"


def first_result(**changes):
    return marker(lambda about: about["results"][0].update(changes))


# What is done, the file it is in, where that is said to be, and words that have to stand in what is said of it.
FORGERIES = {
    "a number on the page": (swap(PAGE, "<td>2.346</td>", "<td>2.746</td>"), PAGE, "Table", "2.746"),
    "a word on the page": (swap(PAGE, "surface &amp; no", "air &amp; no"), PAGE, "The answer", "on air"),
    "a caption": (swap(PAGE, "Candidates compared.", "Candidates ranked."), PAGE, "Table", "ranked"),
    "a link": (swap(PAGE, 'href="figures/figure-01.csv"', 'href="x.csv"'), PAGE, "Figure 1", "x.csv"),
    "a hidden word": (swap(PAGE, "</main>", "<!-- hidden --></main>"), PAGE, "", "hidden"),
    "a script": (swap(PAGE, "</main>", "<script>1</script></main>"), PAGE, "", "<script> 1"),
    "a style": (swap(PAGE, "</style>", "#answer{display:none}</style>"), PAGE, "", "display:none"),
    "a seed on the page": (swap(MORE, "<td>7</td>", "<td>8</td>"), MORE, "Table", "published 8, rerun 7"),
    "a hash on the page": (swap(MORE, "ab" * 32, "ac" * 32), MORE, "Data, code", "acac"),
    "a mark left out": (swap(PAGE, "<p>Invented data. Made", "<p>Made"), PAGE, "", "Made"),
    "a picture on the page": (picture_on_page, PAGE, "Figure 1", "of the dots differ"),
    "a picture": (picture_file, "figures/figure-01.png", "picture", "dots differ, rerun from 40, 40 to 45, 45"),
    "a broken picture": (swapped_bytes, "figures/figure-01.png", "picture", "no picture that can be read"),
    "a stroke": (swap(SVG, "</svg>", "<path d='M 0 0'/></svg>"), SVG, "picture", "M 0 0"),
    "a drawn number": (swap(DRAWN, "3.0,31.5", "3.0,35.5"), DRAWN, "row 4, y", "published 35.5, rerun 31.5"),
    "a number of a result": (swap(TABLE, "2.3456", "2.4456"), TABLE, "row 3, odds ratio", "published 2.44568, rerun"),
    "a row of a result": (swap(TABLE, "1,<i>surface</i>,2.345678\n", ""), TABLE, "number of rows", "2, rerun 3"),
    "a reason": (swap(REASONS, "no <sun>", "no sun"), REASONS, "row 2, reason", "no sun"),
    "a source": (swap(BOOK, "level = 0.95", "level = 0.90"), BOOK, "cell 2, line 2", "0.90"),
    "what a cell printed": (swap(BOOK, '42 <sets>\\n"', '43 <sets>\\n"'), BOOK, "stdout", "43 <sets>"),
    "a picture of a notebook": (picture_in_notebook, BOOK, "picture", "of the dots differ"),
    "a tag": (swap(BOOK, '"parameters"', '"other"'), BOOK, "tags", "other"),
    "who is cited": (swap("CITATION.cff", "The observers", "The others"), "CITATION.cff", "line", "The others"),
    "a seed": (first_result(seed=8), MARKER, "toy_verdict, seed", "published 8, rerun 7"),
    "a setting": (first_result(settings={"permutations": 9}), MARKER, "permutations", "published 9"),
    "a verdict": (first_result(verdict="air"), MARKER, "verdict", "published air"),
    "the answer": (marker(lambda about: about.update(answer="On air.")), MARKER, "answer", "On air"),
    "a section": (marker(lambda about: about["sections"][0].update(state="stopped")), MARKER, "state", "stopped"),
    "a hash of a record": (
        marker(lambda about: about["record_files"]["choices.csv"].update(sha256="ac" * 32)),
        MARKER,
        "record_files, choices.csv, sha256",
        "acac",
    ),
    "a hash of a block of rows": (
        marker(lambda about: about["record_files"]["choices.csv"].update(blocks="0" * 160)),
        MARKER,
        "record_files, choices.csv, blocks",
        "0000",
    ),
    "the hash of the code": (
        marker(lambda about: about.update(code_sha256="ac" * 32)),
        MARKER,
        "code_sha256",
        "published acac",
    ),
    "a hash of records": (marker(lambda about: about.update(input_sha256="ac" * 32)), MARKER, "input_sha256", "acac"),
}


@pytest.mark.parametrize("resealed", [False, True])
@pytest.mark.parametrize("case", FORGERIES)
def test_every_forgery_is_named(forged, against, case, resealed):
    folder, seal = forged
    change, file, where, words = FORGERIES[case]
    change(folder)
    if resealed:
        seal()
    found = against(folder)
    said = as_text(found)
    assert not found.reproduced
    # Nothing else is accused.
    assert set(found.table["file"]) == {file}, said
    assert where in said and words in said, said
    kinds = set(found.table["column"])
    assert ("SHA-256" in kinds) == (not resealed and file != MARKER)
    assert len(found.table) <= 3


def test_a_forged_hash_is_named(forged, against):
    folder, _ = forged
    marker(lambda about: about["files"].update({TABLE: "00" * 32}))(folder)
    found = against(folder)
    assert found.table[["file", "column", "published"]].to_numpy().tolist() == [[TABLE, "SHA-256", "00" * 32]]


def test_files_that_were_added_or_taken_away_are_named(forged, against):
    folder, _ = forged
    (folder / "results" / "more.csv").write_text("a\n1\n")
    (folder / "figures" / "figure-01.svg").unlink()
    found = against(folder)
    assert set(found.table["file"]) == {"results/more.csv", "figures/figure-01.svg"}
    assert "  SHA-256: published not listed, rerun there" in as_text(found)
    assert "  SHA-256: published listed, rerun missing" in as_text(found)


def test_words_and_pictures_of_the_pdf_are_compared(forged, against, tmp_path):
    weasyprint = pytest.importorskip("weasyprint", reason="the pdf extra is not installed")
    folder, seal = forged
    page = tmp_path / "forged.html"
    text = (folder / "index.html").read_text(encoding="utf-8")
    page.write_text(text.replace("<td>2.346</td>", "<td>2.746</td>"), encoding="utf-8")
    weasyprint.HTML(filename=str(page), base_url=str(folder / "index.html")).write_pdf(
        folder / folders.PDF, pdf_variant="pdf/ua-1"
    )
    seal()
    found = against(folder)
    assert set(found.table["file"]) == {folders.PDF}
    assert "2.746" in as_text(found) and "2.346" in as_text(found)


def test_a_changed_record_and_a_changed_version_are_named(kit, forged, tmp_path, monkeypatch):
    folder, _ = forged
    marker(lambda about: about["versions"].update(numpy="1.0"))(folder)
    season = tmp_path / "season"
    shutil.copytree(kit.folder, season)
    path = season / "choices.csv"
    path.write_text(path.read_text().replace("choices.csv 22\n", "choices.csv 99\n"))
    monkeypatch.setattr(kit.season, "path", season)
    monkeypatch.setattr(kit.season, "input_hash", "cd" * 32)
    found = reproduce(folder, season, progress=False)
    # The page says what it was made with, and the list beside it something else.
    named = found.table[found.table["rerun"].str.contains("numpy 1.0", regex=False)].set_index("file")["published"]
    # Where WeasyPrint is installed the page is there as PDF too.
    assert {name for name in named.index if not name.endswith(".pdf")} == {"supplement.html"}
    assert f"numpy {np.__version__}" in named["supplement.html"]
    assert not found.same_input and not found.reproduced
    assert "In the records: choices.csv is not the published file: row 23 differs." in found.sentence


def test_which_rows_of_the_records_were_changed(tmp_path):
    lines = [f"2023-05-14 10:{n % 60:02d},R{n}" for n in range(5000)]
    path = tmp_path / "scans.csv"

    def seal():
        path.write_text("\n".join(lines) + "\n")
        return seals.of_records(tmp_path, ["scans.csv", "none.csv"])

    before = seal()
    assert len(before["scans.csv"]["blocks"]) <= 4 * 512
    lines[3003] += "x"
    (said,) = seals.changed_records(before, seal())
    assert said == "scans.csv is not the published file: rows 3,001 to 3,010 differ."
    lines.pop()
    assert "it had 5,000 rows, here it has 4,999" in seals.changed_records(before, seal())[0]
    assert seals.changed_records(before, {}) == ["scans.csv is missing."]
    assert seals.changed_records(before, before) == []


def test_other_code_and_other_versions_are_notes(forged, against):
    folder, _ = forged
    marker(lambda about: about["versions"].update(matplotlib="1.0"))(folder)
    marker(lambda about: about.update(code_sha256="12" * 32))(folder)
    marker(lambda about: about["versions"].update(fieldkit="0.1.0 (sources 1212121212121212)"))(folder)
    picture_file(folder)
    found = against(folder)
    assert "matplotlib 1.0 → " in found.sentence and "the SHA-256 of the sources was 1212" in found.sentence
    assert "could not be compared; the numbers in them were" in found.sentence
    assert set(found.table["column"]) == {"SHA-256"}, as_text(found)


def test_numbers_that_differ_by_the_code_are_named(kit, tmp_path):
    altered = RESULT.replace("2.345678", "2.445678").replace("no doubt", "some doubt")
    before = contents(kit.books)
    cells = [cell("code", altered) if c.source == RESULT else c for c in choice_cells()]
    notebook(kit.books / "06_toy_choice.ipynb", cells)
    found = reproduce(kit.out, kit.folder, out=tmp_path / "again", progress=False)
    (kit.books / "06_toy_choice.ipynb").write_bytes(before["06_toy_choice.ipynb"])
    rows = {(r.file, str(r.row), r.column): (r.published, r.rerun) for r in found.table.itertuples()}
    assert rows[(TABLE, "3", "odds ratio")] == (2.345678, 2.445678)
    assert (
        rows[(MARKER, "results, 06_toy_choice toy_verdict, sentence", "")][1] == "They choose on surface & some doubt."
    )
    assert (tmp_path / "again" / "index.html").exists()


def test_what_is_needed_is_asked_for(kit, tmp_path, forged):
    with pytest.raises(FieldkitError, match="give the season folder that it was made from"):
        reproduce(kit.out)
    with pytest.raises(FieldkitError, match="is not a write-up"):
        reproduce(tmp_path)
    with pytest.raises(FieldkitError, match="lies inside"):
        reproduce(kit.out, kit.folder, out=kit.out / "again")
    folder, _ = forged
    marker(lambda about: about["parameters"].update(card_file="/home/x/card.html"))(folder)
    with pytest.raises(FieldkitError, match="it asks for card_file"):
        reproduce(folder, kit.folder)


STUBS = {
    "nothing but the format": json.dumps({"format": folders.FORMAT}),
    "no hashes": json.dumps({"format": folders.FORMAT, "files": []}),
    "no versions": json.dumps({"format": folders.FORMAT, "files": {}}),
    "no day": json.dumps(
        {"format": folders.FORMAT, "files": {}, "demo": True, "input_sha256": "", "only": None, "parameters": {}}
        | {"versions": {}, "written": "soon"}
    ),
    "brackets within brackets": "[" * 100_000,
    "a number without end": '{"a": ' + "9" * 5000 + "}",
    "terms that are none": json.dumps(
        {"format": folders.FORMAT, "files": {"../../x": 3}, "demo": True, "input_sha256": "", "only": [3]}
        | {"versions": {}, "written": "2026-01-01", "parameters": {}, "terms": {"authors": 5}}
    ),
    "half of it": '{"format": "field',
    "no text": "\udcff",
}


@pytest.mark.parametrize("case", STUBS)
def test_a_stub_is_said_to_be_one(tmp_path, case, capsys):
    (tmp_path / MARKER).write_text(STUBS[case], encoding="utf-8", errors="surrogateescape")
    assert cli.main(["reproduce", str(tmp_path)]) == cli.MISTAKE
    said = capsys.readouterr().err
    assert "is not a write-up" in said or "was cut short or changed and lacks" in said


def test_a_link_among_the_published_files_is_refused(forged, tmp_path, kit):
    folder, _ = forged
    (tmp_path / "mine.csv").write_text("secret\n")
    (folder / "results" / "theirs.csv").symlink_to(tmp_path / "mine.csv")
    with pytest.raises(FieldkitError, match=r"theirs.csv in .* is no plain file but a link"):
        reproduce(folder, kit.folder)


def test_tables_of_other_shape():
    one = pd.DataFrame({"a": [1.0, None], "b": ["x", "y"]})
    other = pd.DataFrame({"a": [1.0], "c": [1]})
    found, count = differences(one, other)
    assert count == 1
    assert found["column"].tolist() == ["number of rows", "b", "c"]
    assert differences(one, one)[0].empty
    noise = pd.DataFrame({"a": [0.0, 1.0]}), pd.DataFrame({"a": [1e-17, 1.0]})
    assert differences(*noise)[0].empty
