"""Each notebook in JupyterLab in a real browser: open, run all cells, no error, a picture kept.

Some minutes long. Run it alone with ``python -m pytest -m lab tests/test_lab.py``.
"""

import contextlib
import json
import os
import secrets
import shutil
import signal
import subprocess
import sys
import time
import urllib.request

import pytest
from browser import browser, executable, page, wait_for
from PIL import Image

from fieldkit.core import resource_dir

FOLDER = resource_dir("notebooks")
# The one notebook that the default test run opens.
SMOKE = "01_start_here.ipynb"
# Height of a piece of a screenshot.
PIECE = 1800
NOTEBOOKS = sorted(path.relative_to(FOLDER).as_posix() for path in FOLDER.rglob("*.ipynb"))

pytestmark = pytest.mark.browser

# The open notebook; `currentWidget` may be the file list.
BOOK = "[...jupyterapp.shell.widgets('main')].find(w => w.content?.model?.sharedModel && w.sessionContext)"
CELLS = f"""
{BOOK}.content.model.sharedModel.cells.map(c => c.toJSON()).filter(c => c.cell_type === 'code').map(c => ({{
  count: c.execution_count, source: [c.source].flat().join(''), outputs: c.outputs.length,
  errors: c.outputs.filter(o => o.output_type === 'error').map(o => o.ename + ': ' + o.evalue),
  warnings: c.outputs.filter(o => o.name === 'stderr').map(o => [o.text].flat().join('')),
}}))
"""


HEIGHT = f"{BOOK}.content.node.querySelector('.jp-WindowedPanel-inner').scrollHeight"


@contextlib.contextmanager
def jupyter_lab(folder, settings):
    """Serve a folder; yields the address with the token."""
    token = secrets.token_hex(8)
    options = {
        "ServerApp": {"ip": "127.0.0.1", "port": 0, "open_browser": False, "allow_root": True, "root_dir": str(folder)},
        "IdentityProvider": {"token": token},
        "LabApp": {
            "expose_app_in_browser": True,
            "news_url": None,
            "check_for_updates_class": "jupyterlab.NeverCheckForUpdate",
        },
    }
    quiet = settings / "user" / "@jupyterlab" / "apputils-extension" / "notification.jupyterlab-settings"
    quiet.parent.mkdir(parents=True)
    quiet.write_text('{"fetchNews": "false", "checkForUpdates": false}')
    (settings / "jupyter_server_config.json").write_text(json.dumps(options))
    environment = os.environ | {
        "JUPYTER_CONFIG_DIR": str(settings),
        "JUPYTER_DATA_DIR": str(settings / "data"),
        "JUPYTER_RUNTIME_DIR": str(settings / "run"),
        "JUPYTERLAB_SETTINGS_DIR": str(settings / "user"),
        "JUPYTERLAB_WORKSPACES_DIR": str(settings / "spaces"),
    }
    command = [sys.executable, "-m", "jupyter", "lab", "--no-browser"]
    with open(settings / "log", "wb") as log:
        process = subprocess.Popen(command, env=environment, stdout=log, stderr=log, start_new_session=True)
    try:
        found = settings / "run"
        wait_for(lambda: list(found.glob("jpserver-*.json")) or process.poll() is not None, 90, "JupyterLab")
        assert process.poll() is None, (settings / "log").read_text()
        about = json.loads(next(found.glob("jpserver-*.json")).read_text())
        address = f"http://127.0.0.1:{about['port']}"
        wait_for(lambda: _answers(f"{address}/api/status?token={token}"), 60, "JupyterLab to answer")
        yield address, token
    finally:
        os.killpg(process.pid, signal.SIGTERM)
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()


def _answers(url):
    try:
        with urllib.request.urlopen(url, timeout=5) as answer:
            return answer.status == 200
    except OSError:
        return False


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    executable()
    folder = tmp_path_factory.mktemp("lab")
    shutil.copytree(FOLDER, folder / "notebooks", ignore=shutil.ignore_patterns("conftest.py", ".*"))
    with jupyter_lab(folder, folder / "settings") as served, browser(tmp_path_factory.mktemp("profile")) as door:
        yield served, door


@contextlib.contextmanager
def opened(lab, name):
    """One notebook, open with its kernel ready and without stored outputs; the kernel is shut down afterwards."""
    (address, token), door = lab
    with page(door, width=1400, height=1000) as view:
        view.open(f"{address}/doc/tree/notebooks/{name}?token={token}&reset")
        wait_for(lambda: view.evaluate(f"globalThis.jupyterapp ? !!{BOOK} : false"), 90, f"{name} to open")
        view.evaluate(f"{BOOK}.context.ready.then(() => {BOOK}.sessionContext.ready).then(() => true)")
        view.evaluate(f"jupyterapp.shell.activateById({BOOK}.id)")
        view.evaluate("jupyterapp.commands.execute('notebook:clear-all-cell-outputs').then(() => true)")
        yield view
        view.evaluate(f"{BOOK}.sessionContext.shutdown().then(() => true)")


def run_all(view):
    """Run every cell; gives what came out of those that hold code."""
    view.evaluate("jupyterapp.commands.execute('notebook:run-all-cells').then(() => true)")
    wait_for(lambda: view.evaluate(f"{BOOK}.sessionContext.session?.kernel?.status") == "idle", 60, "the kernel")
    return [cell for cell in view.evaluate(CELLS) if cell["source"].strip()]


def show_all(view, width):
    """Make the window as tall as the notebook, so that all of it is drawn at once."""
    view.resize(width, 1000)
    for _ in range(3):
        # Cells that were not drawn yet had a guessed height.
        time.sleep(1)
        view.resize(width, 200 + min(view.evaluate(HEIGHT), 16_000))
        view.evaluate(f"{BOOK}.content.activeCellIndex = 0; {BOOK}.content.scrollToItem(0).then(() => true)")
    time.sleep(1)


def photograph(view, stem):
    """Keep the whole notebook, wide and narrow, in pieces that can be read; gives the files."""
    pictures = []
    for shape, width in (("wide", 1400), ("narrow", 700)):
        show_all(view, width)
        whole = stem.with_name(f"{stem.name}-{shape}.png")
        view.screenshot(whole, whole=False)
        with Image.open(whole) as picture:
            for number, top in enumerate(range(0, picture.height, PIECE), start=1):
                piece = picture.crop((0, top, width, min(top + PIECE, picture.height)))
                pictures.append(whole.with_name(f"{whole.stem}-{number}.png"))
                piece.save(pictures[-1])
        whole.unlink()
    return pictures


@pytest.mark.parametrize("name", [pytest.param(n, marks=[] if n == SMOKE else pytest.mark.lab) for n in NOTEBOOKS])
def test_runs_in_the_lab(lab, name, pytestconfig):
    stem = pytestconfig.rootpath / "artefacts" / f"lab-{name.replace('/', '-').removesuffix('.ipynb')}"
    for old in stem.parent.glob(f"{stem.name}-*.png"):
        old.unlink()
    with opened(lab, name) as view:
        cells = run_all(view)
        pictures = photograph(view, stem)
    assert [cell["errors"] for cell in cells if cell["errors"]] == []
    assert [cell["warnings"] for cell in cells if cell["warnings"]] == []
    assert [cell["count"] for cell in cells] == list(range(1, len(cells) + 1))
    assert sum(cell["outputs"] for cell in cells) > 0
    assert sum(picture.stat().st_size for picture in pictures) > 100_000


# What stands in the first cell that has a slider: the middle of its handle, the words beside it and the picture.
SLIDER = """
(() => {
  const cell = [...document.querySelectorAll('.jp-CodeCell')].find(c => c.querySelector('.noUi-handle'));
  const box = cell.querySelector('.noUi-handle').getBoundingClientRect();
  return {
    x: box.x + box.width / 2, y: box.y + box.height / 2, step: cell.querySelector('.noUi-target').offsetWidth / 4,
    said: cell.querySelector('.widget-html').textContent, picture: cell.querySelector('img').src,
    words: cell.querySelector('details p').innerHTML,
  };
})()
"""


@pytest.mark.lab
@pytest.mark.parametrize("name", [n for n in NOTEBOOKS if n.startswith("classroom/L")])
def test_a_slider_redraws_and_its_still_is_what_is_stored(lab, name):
    stored = [
        output["data"]["text/html"]
        for cell in json.loads((FOLDER / name).read_text(encoding="utf-8"))["cells"]
        if "explore_" in "".join(cell["source"])
        for output in cell["outputs"]
        if "text/html" in output.get("data", {})
    ]
    with opened(lab, name) as view:
        run_all(view)
        show_all(view, 1400)
        wait_for(lambda: view.evaluate("!!document.querySelector('.noUi-handle')"), 30, "the slider")
        still = view.evaluate(SLIDER)
        for kind, x in (("mousePressed", 0), ("mouseMoved", still["step"]), ("mouseReleased", still["step"])):
            at = {"x": still["x"] + x, "y": still["y"], "button": "left", "buttons": 1, "clickCount": 1}
            view.call("Input.dispatchMouseEvent", type=kind, **at)
        # The words come last.
        wait_for(lambda: view.evaluate(SLIDER)["words"] != still["words"], 30, "other words")
        moved = view.evaluate(SLIDER)
    assert len(stored) == 1 and still["words"] in "".join(stored[0])
    assert moved["said"] != still["said"] and moved["picture"] != still["picture"]
    assert moved["picture"].startswith("data:image/png;base64,")
