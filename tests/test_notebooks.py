"""Every notebook keeps the house form: a guided order, stored outputs, alt text, thin code.

That the outputs are right is tested by nbval, which reruns them; an emptied notebook would pass nbval, and fails here.
"""

import ast
import re
import subprocess
import sys
from pathlib import Path

import nbformat
import pytest

from fieldkit.core import resource_dir
from fieldkit.report.writeup import running

FOLDER = resource_dir("notebooks")
# Students' copies are made from the teacher's and not run: tests/test_classroom.py holds them together.
ALL = sorted(path for path in FOLDER.rglob("*.ipynb") if path.parent.name != "student")
NUMBERED = sorted(FOLDER.glob("[0-9]*.ipynb"))
FIRST_LINE = "season_folder = None  # None: the demo season; or the path of your own folder"
# Headings that every numbered notebook has, in this order; what stands between them is its own affair.
PARTS = (
    "what you will learn",
    "what you need",
    "look first",
    "in words",
    "could be wrong",
    "try it yourself",
    "summary",
    "sources",
)


# A path from the root or from a drive letter: outputs are stored as they were on somebody's computer.
ABSOLUTE_PATH = re.compile(r"(?<![\w.:/<])/\w[\w.-]*/[\w.-]+|\b[A-Z]:\\")


def name(path):
    return path.relative_to(FOLDER).as_posix()


@pytest.fixture(params=ALL, ids=name)
def book(request):
    return nbformat.read(request.param, as_version=4)


@pytest.fixture(params=NUMBERED, ids=name)
def numbered(request):
    return nbformat.read(request.param, as_version=4)


def code(book):
    return [cell for cell in book.cells if cell.cell_type == "code"]


def markdown(book):
    return [cell.source for cell in book.cells if cell.cell_type == "markdown"]


def test_notebooks_are_there():
    assert NUMBERED


def test_valid_and_for_any_python_3_kernel(book):
    nbformat.validate(book)
    assert book.metadata.kernelspec == {"name": "python3", "display_name": "Python 3", "language": "python"}


def test_run_once_from_top_to_bottom(book):
    counts = [cell.execution_count for cell in code(book) if cell.source.strip()]
    assert counts == list(range(1, len(counts) + 1))
    assert len(counts) > 3


def test_outputs_are_stored_and_clean(book):
    for cell in code(book):
        assert "execution" not in cell.metadata, "times of day are stored: run with record_timing off"
        body = ast.parse(cell.source).body
        if body and isinstance(body[-1], ast.Expr) and not cell.source.rstrip().endswith(";"):
            assert cell.outputs, f"no stored output under: {cell.source}"
        for output in cell.outputs:
            assert output.output_type != "error" or "raises-exception" in running.tags(cell)
            assert output.get("name") != "stderr", output.get("text")
            # Jupyter breaks printed lines in the middle of words: sentences are shown with `say`.
            assert all(len(line) <= 100 for line in output.get("text", "").splitlines()), output["text"]
            text = str(output.get("text", "")) + str(output.get("data", {}).get("text/plain", ""))
            assert not ABSOLUTE_PATH.search(text), text


def test_figures_have_alt_text_that_is_also_to_read(book):
    """nbval compares the words below a figure, never the picture."""
    for cell in code(book):
        for output, below in zip(cell.outputs, [*cell.outputs[1:], {}]):
            if "image/png" in output.get("data", {}):
                alt = output.metadata["image/png"]["alt"]
                assert len(alt.split()) >= 5
                # The alt text says what is shown; below stand the same words and the numbers.
                assert " ".join(below["data"]["text/plain"].split()).startswith(alt.split(". ")[0].rstrip(" …."))
                assert below["data"]["text/html"].startswith("<details>")


def test_code_is_thin(book):
    for cell in code(book):
        lines = [line for line in cell.source.splitlines() if line.strip()]
        assert len(lines) <= 10, cell.source
        assert not re.search(r"^\s*(def |class |async )", cell.source, flags=re.MULTILINE), cell.source
        assert not re.search(r"^\s*[!%]|\bpip\b|urllib|requests|urlopen", cell.source, flags=re.MULTILINE), cell.source
    words = sum(len(text.split()) for text in markdown(book))
    assert words >= 1.2 * sum(len(cell.source.split()) for cell in code(book))


def test_says_that_the_demo_is_invented(book):
    assert re.search(r"\binvented\b", " ".join(markdown(book)), flags=re.IGNORECASE)


def test_exercises_do_not_fail_as_shipped_and_have_answers(book):
    exercises = [cell for cell in book.cells if "exercise" in running.tags(cell)]
    answers = [cell for cell in book.cells if "answer" in running.tags(cell)]
    assert exercises and answers
    for cell in exercises:
        if cell.cell_type == "code":
            for node in ast.walk(ast.parse(cell.source)):
                assert not isinstance(node, ast.Assert) or node.msg is not None, "an assert needs a sentence"


def test_numbered_notebooks_follow_the_order_of_parts(numbered):
    headings = re.findall(r"^#{1,4} +(.+)$", "\n".join(markdown(numbered)), flags=re.MULTILINE)
    places = []
    for part in PARTS:
        found = [i for i, heading in enumerate(headings) if part in heading.lower()]
        assert found, f"no heading with '{part}' among {headings}"
        places.append(found[-1] if part in ("summary", "sources") else found[0])
    assert places == sorted(places), headings
    assert 20 <= len(numbered.cells) <= 45
    assert "?" in "\n".join(markdown(numbered)[:2]), "the first cells ask the question"


def test_numbered_notebooks_ask_the_reader_something(numbered):
    text = "\n".join(markdown(numbered)).lower()
    assert len(re.findall(r"predict", text)) >= 2
    assert "break it" in text


def test_parameters_and_metadata_for_the_write_up(numbered):
    first = code(numbered)[0]
    assert running.tags(first) == {"parameters"}
    assert first.source.splitlines()[0] == FIRST_LINE
    assert "season_folder" in running.parameters_of(numbered)
    assert (
        "fieldkit.read_season(season_folder) if season_folder else fieldkit.demo_season()" in code(numbered)[1].source
    )
    about = numbered.metadata["fieldkit"]
    assert set(about) >= {"section", "order", "needs"}
    assert all(isinstance(need, str) for need in about["needs"])


def test_no_two_notebooks_claim_one_place_in_the_write_up():
    books = [nbformat.read(path, as_version=4) for path in NUMBERED]
    orders = [book.metadata["fieldkit"]["order"] for book in books]
    assert len(orders) == len(set(orders))


def test_links_between_notebooks_lead_somewhere(book):
    for target in re.findall(r"\]\(([^)#]+\.ipynb)", "\n".join(markdown(book))):
        assert (FOLDER / Path(target).name).exists() or list(FOLDER.rglob(Path(target).name)), target


def test_nbval_compares_strictly_with_our_rules(tmp_path):
    """A tampered number must fail; what the sanitize file names must not."""
    sources = ("1 + 1", "print('kept at 0x7f00deadbeef')")
    stored = (["2", "kept at 0x1234567890ab"], ["3", "kept at 0x1234567890ab"])
    codes = []
    for result, printed in stored:
        book = nbformat.v4.new_notebook()
        outputs = (
            nbformat.v4.new_output("execute_result", {"text/plain": result}, execution_count=1),
            nbformat.v4.new_output("stream", name="stdout", text=printed + "\n"),
        )
        for count, (source, output) in enumerate(zip(sources, outputs), start=1):
            book.cells.append(nbformat.v4.new_code_cell(source, outputs=[output], execution_count=count))
        book.metadata.kernelspec = {"name": "python3", "display_name": "Python 3", "language": "python"}
        nbformat.write(book, tmp_path / "toy.ipynb")
        rules = Path(__file__).with_name("nbval_sanitize.cfg")
        command = [sys.executable, "-m", "pytest", "-q", "--nbval", f"--nbval-sanitize-with={rules}", "toy.ipynb"]
        done = subprocess.run([*command, "-p", "no:cacheprovider"], cwd=tmp_path, capture_output=True, text=True)
        codes.append((done.returncode, re.findall(r"\d+ (?:passed|failed)", done.stdout)))
    assert codes == [(0, ["2 passed"]), (1, ["1 failed", "1 passed"])]
