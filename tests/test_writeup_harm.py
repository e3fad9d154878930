"""A stranger's folder, a killed run, a full disk, a second run: nothing runs, is lost or is left behind."""

import hashlib
import json
import os
import subprocess
import sys

import nbformat
import pytest
from test_writeup import KILLED, PARAMETERS, cell, contents, make_kit, notebook, plain, write

from fieldkit.core import FieldkitError, swapped_in
from fieldkit.report import writeup
from fieldkit.report.writeup import folders


@pytest.fixture
def kit(tmp_path, monkeypatch):
    return make_kit(tmp_path, monkeypatch)


INJECTED = "'); __import__('pathlib').Path('ran').touch(); print('"
NAMES = [INJECTED, INJECTED.replace("'", '"'), '"' * 3, "'" * 3, "a\\", "a\nb = 1", "{0}", "season"]


@pytest.mark.parametrize("name", NAMES)
def test_the_name_of_a_folder_is_never_code(kit, monkeypatch, tmp_path, name):
    folder = kit.base / name.replace("/", "_")
    folder.mkdir()
    kit.season.path = folder
    said = "from pathlib import Path\nprint(Path(season_folder).exists(), season_folder, [season_folder])"
    notebook(kit.books / "06_toy_choice.ipynb", [cell("code", PARAMETERS, "parameters"), cell("code", said, "writeup")])
    writeup.write(folder, kit.out, progress=False, pdf=False)
    kept = nbformat.read(kit.out / "notebooks" / "06_toy_choice.ipynb", as_version=4)
    lines = PARAMETERS.splitlines()
    assert [c.source for c in kept.cells] == ["\n".join(["season_folder = 'season'", *lines[1:]]), said]
    assert kept.cells[1].outputs[0].text.replace('"', "'") == "True season ['season']\n"
    monkeypatch.chdir(tmp_path)
    for c in kept.cells:
        exec(c.source, {"season_folder": "season"})
    assert not (tmp_path / "ran").exists()


def test_only_this_interpreter_runs_the_notebooks(kit, monkeypatch, tmp_path):
    # A kernel of the same name, found before any other, that would leave a trace.
    spec = tmp_path / "jupyter" / "kernels" / "python3"
    spec.mkdir(parents=True)
    argv = [sys.executable, "-c", f"open({str(tmp_path / 'taken')!r}, 'w')", "{connection_file}"]
    (spec / "kernel.json").write_text(json.dumps({"argv": argv, "display_name": "x", "language": "python"}))
    monkeypatch.setenv("JUPYTER_PATH", str(tmp_path / "jupyter"))
    # And a file that IPython would run at its start.
    startup = tmp_path / "ipython" / "profile_default" / "startup"
    startup.mkdir(parents=True)
    (startup / "a.py").write_text(f"open({str(tmp_path / 'started')!r}, 'w')")
    monkeypatch.setenv("IPYTHONDIR", str(tmp_path / "ipython"))
    # Not the path itself: that must stay at home.
    asked = "import hashlib, sys\nprint(hashlib.sha256(sys.executable.encode()).hexdigest())"
    cells = [cell("code", PARAMETERS, "parameters"), cell("code", asked, "writeup")]
    notebook(kit.books / "06_toy_choice.ipynb", cells)
    write(kit)
    kept = nbformat.read(kit.out / "notebooks" / "06_toy_choice.ipynb", as_version=4)
    assert kept.cells[1].outputs[0].text.strip() == hashlib.sha256(sys.executable.encode()).hexdigest()
    assert not (tmp_path / "taken").exists() and not (tmp_path / "started").exists()


STOPPED = {
    "a dead kernel": ("import os, signal\nos.kill(os.getpid(), signal.SIGKILL)", "Python stopped, most often for want"),
    "a full disk": (
        "raise OSError(28, 'No space left on device', 'x.csv')",
        "x.csv: there is no space left on the disk",
    ),
    "no memory": ("raise MemoryError", "There is not enough memory"),
}


@pytest.mark.parametrize("case", STOPPED)
def test_what_stops_a_notebook_and_can_be_mended_is_said(kit, case):
    source, words = STOPPED[case]
    plain(kit.out)
    before = contents(kit.out)
    notebook(
        kit.books / "06_toy_choice.ipynb", [cell("code", PARAMETERS, "parameters"), cell("code", source, "writeup")]
    )
    with pytest.raises(FieldkitError, match=words):
        write(kit)
    assert contents(kit.out) == before
    assert sorted(p.name for p in kit.base.iterdir()) == ["books", "my season", "out"]


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL is POSIX")
def test_a_second_run_to_the_same_place_is_refused_at_once(tmp_path):
    out = tmp_path / "out"
    plain(out)
    child = subprocess.Popen([sys.executable, "-c", KILLED, str(out)], stdout=subprocess.PIPE, text=True)
    assert child.stdout.readline() == "writing\n"
    with pytest.raises(FieldkitError, match=r"Another run is writing .*out now: wait until it has ended"):
        plain(out, "second")
    child.kill()
    child.wait()
    child.stdout.close()
    plain(out, "third")
    assert (out / "index.html").read_text() == "third"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize("name", ["wu [2025]", "a*b?", "wu [!x]", "ü ☀", "-o", "a" * 230])
def test_any_name_keeps_the_earlier_write_up(tmp_path, name):
    out = tmp_path / name
    plain(out)
    before = contents(out)
    # As a kill between the two renames leaves it, with the rest of another run.
    out.rename(tmp_path / f".{name}.old-abc")
    (tmp_path / f".{name}.new-abc").mkdir()
    with pytest.raises(ZeroDivisionError), swapped_in(out, check=folders.check_replaceable):
        raise ZeroDivisionError
    assert contents(out) == before
    plain(out, "second")
    assert [p.name for p in tmp_path.iterdir()] == [name] and (out / "index.html").read_text() == "second"


def test_a_name_that_is_too_long_is_said(tmp_path):
    with pytest.raises(FieldkitError, match="the name is too long; choose a shorter one"):
        plain(tmp_path / ("a" * 300))
    assert not any(tmp_path.iterdir())


def test_users_text_is_never_a_formula(tmp_path):
    from fieldkit.report.figures import new_axes, style

    figure, axes = new_axes()
    name = r"$\frac{1$ and $x_1$"
    axes.plot(["A $1", name], [20.0, 25.0], label=name)
    axes.set_title(name)
    axes.set_xlabel(name)
    axes.legend(title=name)
    axes.annotate(name, (0, 20))
    figure.suptitle(name)
    assert name in style.describe(figure, "Loggers")
    stem = style.save(figure, tmp_path)
    assert (tmp_path / f"{stem}.svg").stat().st_size and style.png(figure).startswith(b"\x89PNG")
    # A formula of the kit's own is still drawn as one, in fewer letters than it is written with.
    assert style.formula(r"\frac{1}{2}").count("<use ") == 2 and style.formula(r"\frac{1") is None


def test_powers_are_letters_on_a_logarithmic_axis():
    from fieldkit.report.figures import new_axes, style

    figure, axes = new_axes()
    axes.plot([0.001, 1000], [1, 2])
    axes.set_xscale("log")
    style.png(figure)
    words = {t.get_text() for t in axes.get_xticklabels() if t.get_text()}
    assert {"10⁻³", "10⁻²", "10³"} <= words
    figure, axes = new_axes()
    axes.plot([200, 700], [1, 2])
    axes.set_xscale("log")
    style.png(figure)
    assert "3×10²" in {t.get_text() for t in axes.get_xticklabels(which="minor")}


def test_no_published_table_holds_a_formula(kit):
    source = (
        "import dataclasses, pandas as pd\nfrom fieldkit.core import Result\n"
        "@dataclasses.dataclass(frozen=True, kw_only=True, eq=False, repr=False)\n"
        "class Found(Result):\n    table: pd.DataFrame\n    sentence: str = 'x'\n    left_out: object = None\n"
        "names = ['=HYPERLINK(\"x\")', '+1+1', '@SUM(A1)', 'R07', '-2.5']\n"
        "answer = Found(table=pd.DataFrame({'=cmd': names, 't': -2.5}, index=pd.Index(names, name='=i')),"
        " left_out=pd.DataFrame({'id': names, 'reason': names}))\n"
        "many = Found(table=pd.DataFrame({'t': -2.5}, index=pd.MultiIndex.from_product([names, [1]])))\n"
        "import fieldkit\nfieldkit.publish(answer, 'one_index')\nfieldkit.publish(many, 'two_indices')\n"
    )
    drawn = (
        "from fieldkit.report.figures import new_axes, show\nfigure, axes = new_axes()\n"
        "axes.plot(names, range(5), label='=1+1')\nshow(figure, 'Names')"
    )
    cells = [cell("code", PARAMETERS, "parameters"), cell("code", source), cell("code", drawn, "writeup")]
    notebook(kit.books / "06_toy_choice.ipynb", cells)
    write(kit)
    import csv

    files = list(kit.out.rglob("*.csv"))
    assert len([path for path in files if "R07" in path.read_text(encoding="utf-8")]) == 4
    for path in files:
        rows = list(csv.reader(path.read_text(encoding="utf-8").splitlines()))
        for text in (text for row in rows for text in row if text and text[0] in "=+-@"):
            float(text)


# What outlives careless cleaners, because parsers of HTML differ.
DIRTY = [
    "<![CDATA[><img src=x onerror=alert(1)>]]>",
    "<p>a<![CDATA[<script>alert(1)</script>]]>b</p>",
    "<!--><img src=x onerror=alert(1)>-->",
    "<!-- --!><script>alert(1)</script> -->",
    "<?xml version='1.0'?><script>alert(1)</script>",
    "<svg><style><img src=x onerror=alert(1)></style></svg>",
    "<math><mtext><table><mglyph><style><img src=x onerror=alert(1)>",
    "<a href='java&#10;script:alert(1)'>x</a>",
    "<a href='data:text/html,<script>alert(1)</script>'>x</a>",
    "<img src='data:text/html;base64,PHNjcmlwdD4='>",
    "<img src='data:image/png;base64,AA==' onerror=alert(1)>",
    "<table><tr><td onclick=alert(1) style='background:url(http://e.org)'>x</td></tr></table>",
    "<noscript><p title='</noscript><img src=x onerror=alert(1)>'>",
    "<textarea></textarea><script>alert(1)</script>",
    "<plaintext><script>alert(1)</script>",
    "<form action=http://e.org><button>x</button></form>",
    "<base href=http://e.org><meta http-equiv=refresh content='0;url=http://e.org'><link rel=stylesheet href=x>",
    "\x00<scr\x00ipt>alert(1)</script>",
]


@pytest.mark.parametrize("dirty", DIRTY)
def test_nothing_that_runs_or_calls_home_passes_the_cleaner(tmp_path, dirty):
    import html5lib
    from test_writeup import Page

    from fieldkit.report.writeup.pages.rendering import Renderer

    renderer = Renderer(tmp_path)
    for cleaned in (str(renderer._clean(dirty)), str(renderer.markdown(dirty))):
        # html5lib follows the parsing rules of the HTML standard: what a browser would make of it.
        tree = html5lib.parse(cleaned, namespaceHTMLElements=False)
        for element in tree.iter():
            assert element.tag in {
                "html",
                "head",
                "body",
                "p",
                "a",
                "img",
                "table",
                "tbody",
                "tr",
                "td",
                "div",
                "th",
            } | {"caption", "b", "pre", "code", "em"}, cleaned
            assert not [name for name in element.attrib if name.startswith("on") or name == "style"], cleaned
            assert element.attrib.get("src", "data:image/").startswith("data:image/"), cleaned
            assert element.attrib.get("href", "http").startswith(("http", "#")), cleaned
        assert not Page(cleaned).every("script") and "\x00" not in cleaned


LIVE = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
import pytest
from test_writeup import PARAMETERS, cell, make_kit, notebook, write
with pytest.MonkeyPatch.context() as monkeypatch:
    kit = make_kit(Path(sys.argv[2]), monkeypatch)
    slow = "import time\\nprint('live', flush=True)\\nPath(sys.argv[3]).touch()\\ntime.sleep(60)"
    slow = slow.replace("Path(sys.argv[3])", f"__import__('pathlib').Path({sys.argv[3]!r})")
    notebook(kit.books / "06_toy_choice.ipynb", [cell("code", PARAMETERS, "parameters"), cell("code", slow, "writeup")])
    kit.out = Path(sys.argv[4])
    write(kit)
"""


@pytest.mark.slow
@pytest.mark.skipif(not os.path.isdir("/proc/self"), reason="looks for processes where Linux lists them")
def test_a_run_killed_with_a_live_kernel_leaves_nothing(tmp_path):
    """A larger study of many moments: tests/studies/study_kill.py."""
    import time
    from pathlib import Path

    place, scratch, work = (tmp_path / name for name in ("place", "scratch", "work"))
    for folder in (place, scratch, work):
        folder.mkdir()
    out, mark = place / "wu [2025]", tmp_path / "live"
    plain(out)
    before = contents(out)
    command = [sys.executable, "-c", LIVE, os.path.dirname(__file__), str(work), str(mark), str(out)]
    child = subprocess.Popen(command, env=os.environ | {"TMPDIR": str(scratch)}, stderr=subprocess.PIPE)
    deadline = time.monotonic() + 120
    while not mark.exists() and child.poll() is None and time.monotonic() < deadline:
        time.sleep(0.1)
    assert mark.exists(), child.communicate()[1]

    def kernels():
        found = []
        for process in Path("/proc").glob("[0-9]*"):
            try:
                found += [process.name] if str(place) in os.readlink(process / "cwd") else []
            except OSError:
                continue
        return found

    assert len(kernels()) == 1
    child.kill()
    child.communicate()
    deadline = time.monotonic() + 30
    while kernels() and time.monotonic() < deadline:
        time.sleep(0.2)
    assert not kernels()
    assert contents(out) == before
    plain(out, "second")
    assert [p.name for p in place.iterdir()] == [out.name]
    assert not any(scratch.iterdir())
