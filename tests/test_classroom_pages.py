"""Pages to read without Python: valid by the HTML standard, nothing from a network, no place on somebody's computer."""

import base64
import html
import io
import re
import socket
import tomllib
from pathlib import Path

import browser
import html5lib
import nbformat
import nbformat.v4 as v4
import pytest

from fieldkit import cli
from fieldkit.classroom import declared, pages, printed
from fieldkit.classroom import folder as set_
from fieldkit.core import resource_dir

NOTEBOOKS = resource_dir("notebooks")
# A path from the root of a disk or a drive letter; links to the open web stand as https://.
ABSOLUTE_PATH = re.compile(r"(?<![\w.:/<])/(?!div|p\b)\w[\w.-]*/[\w.-]+|\b[A-Z]:\\")
PICTURE = re.compile(r'src="data:image/[^"]*"')


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("lessons") / "class"
    assert cli.main(["classroom", str(folder), "--all-notebooks"]) == cli.OK
    return folder


def every(made):
    # The guides are pages of their own, see below.
    found = sorted([*made.glob("pages/*.html"), *made.glob("teacher/[Li]*.html"), *made.glob("notebooks/*.html")])
    guided = {path.stem for path in NOTEBOOKS.glob("[0-9]*.ipynb")}
    assert {path.stem for path in found} == guided | set(set_.LESSONS) | {"index"}
    return found


def test_every_page_is_valid_small_and_whole(made):
    for path in every(made):
        text = path.read_text(encoding="utf-8")
        html5lib.HTMLParser(strict=True).parse(io.StringIO(text))
        assert len(text) < 500_000, "a tablet in a schoolyard opens it at once"
        assert not re.search(r"<script|<link|<iframe|@import|url\(", text)
        for address in re.findall(r'(?:src|srcset|data|poster)="([^"]*)"', text):
            assert address.startswith("data:image/")
        for target in re.findall(r'href="([^"]*)"', text):
            assert target.startswith(("#", "https://", "http://")) or (path.parent / target).exists(), target


def test_no_page_tells_on_which_computer_it_was_made(made):
    for path in every(made):
        words = PICTURE.sub("", path.read_text(encoding="utf-8"))
        assert not ABSOLUTE_PATH.search(words), ABSOLUTE_PATH.search(words)[0]
        assert socket.gethostname() not in words


def test_every_stored_picture_is_on_its_page(made):
    for path in [*made.glob("teacher/L*.html"), *made.glob("notebooks/[0-9]*.html")]:
        text = path.read_text(encoding="utf-8")
        lesson = path.stem in set_.LESSONS
        source = NOTEBOOKS / ("classroom" if lesson else "") / f"{path.stem}.ipynb"
        outputs = [o for c in nbformat.read(source, 4).cells if c.cell_type == "code" for o in c.outputs]
        drawn = [o.data["image/png"] for o in outputs if "image/png" in o.get("data", {})]
        assert all(base64.b64decode(picture).startswith(b"\x89PNG") for picture in drawn)
        shown = {re.sub(r"\s", "", picture) for picture in re.findall(r"base64,([^\"]*)", text)}
        assert {re.sub(r"\s", "", picture) for picture in drawn} <= shown


def test_sliders_leave_words_and_a_picture_once():
    widget = {"application/vnd.jupyter.widget-view+json": {"model_id": "a"}, "text/plain": "VBox(children=(...))"}
    cell = v4.new_code_cell("explore()", outputs=[v4.new_output("display_data", data=widget)])
    text = pages.page(v4.new_notebook(cells=[v4.new_markdown_cell("# Play"), cell]), "play")
    assert "VBox" not in text and pages._SLIDERS.strip("*")[:20] in text
    for name in set_.LESSONS:
        book = nbformat.read(NOTEBOOKS / "classroom" / f"{name}.ipynb", 4)
        page = pages.page(book, name)
        figures = [o for c in book.cells for o in c.get("outputs", []) if "image/png" in o.get("data", {})]
        assert page.count("<summary>The figure in words and numbers</summary>") == len(figures)


def test_what_the_class_reads_holds_no_answer(made):
    for name in set_.LESSONS:
        page = (made / "pages" / f"{name}.html").read_text(encoding="utf-8")
        teacher = (made / "teacher" / f"{name}.html").read_text(encoding="utf-8")
        assert "<summary>Answer</summary>" in teacher and "<summary>Answer</summary>" not in page
        assert "Never look into the sun" in page


def test_what_comes_out_is_folded_below_a_prediction():
    cells = [
        v4.new_markdown_cell("# Sun"),
        v4.new_code_cell("1", outputs=[v4.new_output("display_data", data={"text/plain": "forty"})]),
    ]
    open_page = pages.page(v4.new_notebook(cells=cells), "sun")
    cells[1].metadata["tags"] = ["reveal"]
    folded = pages.page(v4.new_notebook(cells=cells), "sun")
    assert not re.search(r"<details>.*<p>forty", open_page, re.DOTALL)
    assert re.search(r"<details><summary>[^<]+</summary><p>forty</p>", folded)


@pytest.mark.parametrize("lesson", declared.SHEETS)
def test_the_guide_holds_what_a_teacher_needs(lesson, made):
    text = (made / "teacher" / f"guide_{lesson}.html").read_text(encoding="utf-8")
    html5lib.HTMLParser(strict=True).parse(io.StringIO(text))
    assert all(line in html.unescape(text) for line in declared.SAFETY)
    sheet = declared.SHEETS[lesson]
    for step in (*sheet.plan, *sheet.analysis):
        assert f"<td>{step.start_min}–{step.end_min}</td>" in text
    guide = tomllib.loads((Path(pages.__file__).parent / "guides.toml").read_text(encoding="utf-8"))[lesson]
    assert len(guide["misconceptions"]) >= 4 and len(guide["assessment"]) >= 4
    assert all(pupil and asked.endswith("?") for pupil, asked in guide["misconceptions"])
    assert "Invented data" not in text


def test_every_lizard_has_a_slip():
    for paper in ("A4", "Letter"):
        page = printed.cards(paper=paper, lizards=30)
        html5lib.HTMLParser(strict=True).parse(io.StringIO(page))
        assert all(f"<b>L{n}</b>" in page for n in range(1, 31)) and "<b>L31</b>" not in page


@pytest.mark.browser
def test_pages_fit_a_telephone_and_ask_for_nothing(made, tmp_path):
    with browser.browser(tmp_path) as address:
        for path in every(made)[::4]:
            for width in (1280, 390):
                with browser.page(address, width=width, height=800) as page:
                    page.open(path.as_uri())
                    assert page.evaluate("document.documentElement.scrollWidth") <= width
                    asked = [e["request"]["url"] for e in page.happened("Network.requestWillBeSent")]
                    assert all(url.startswith(("file:", "data:")) for url in asked), asked
                    assert not page.happened("Log.entryAdded")
