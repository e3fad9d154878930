"""Kernels of a write-up: forked from one warm process, alone all the same, and gone when nobody wants them."""

import os
import subprocess
import sys
import time
from pathlib import Path

import nbformat
import pytest

from fieldkit.core import resource_dir
from fieldkit.report.writeup import kernels, running, warm

forks = pytest.mark.skipif(not hasattr(os, "fork") or sys.platform == "darwin", reason="no fork here")


def run_of(name, *sources):
    cells = [nbformat.v4.new_code_cell(source, metadata={"tags": ["writeup"]}) for source in sources]
    return running.Run(name=name, section=name, order=1, notebook=nbformat.v4.new_notebook(cells=cells))


def printed(run):
    return ["".join(o.get("text", "") for o in cell.outputs).strip() for cell in run.notebook.cells]


@forks
def test_kernels_share_imports_and_nothing_else(tmp_path):
    season = resource_dir("data") / "demo_season"
    read = (
        "import time; began = time.process_time()\n"
        f"import fieldkit; season = fieldkit.read_season({str(season)!r})\n"
        "print(time.process_time() - began < 0.5, len(season.choices))"
    )
    change = "season.choices['used'] = 7; own = 1; fieldkit.mark = 1"
    look = "print(fieldkit.read_season(season.path).choices['used'].max(), hasattr(fieldkit, 'mark'))"
    about = "import os; print(os.getpid(), os.getppid(), 'own' in globals())"
    runs = [run_of("a", read, change, look, about), run_of("b", read, look, about)]
    kernels.run_all(runs, tmp_path, seasons=(season,), progress=False)
    first, second = (printed(run) for run in runs)
    assert first[0] == second[0] and first[0].startswith("True ")
    # What one notebook changes in its tables is its own, and so is what it does to a module.
    assert first[2] == "1 True" and second[1] == "1 False"
    (one, parent, _), (two, same, _) = first[3].split(), second[2].split()
    assert one != two and parent == same and parent != str(os.getpid())
    for pid in (one, two, parent):
        assert not Path(f"/proc/{pid}").exists() or not sys.platform.startswith("linux")


def test_a_changed_folder_is_read_anew(tmp_path):
    from fieldkit.field.plausibility import reader
    from fieldkit.records.season import settings

    (tmp_path / "season.toml").write_text(settings.EXAMPLE)
    table = tmp_path / "sightings.csv"
    table.write_text("time,animal_id,behaviour\n2023-05-14 10:20,R07,basking\n")
    reader.hold(tmp_path)
    try:
        held = reader.read_season(tmp_path)
        held.sightings.loc[0, "animal_id"] = "X"
        assert reader.read_season(tmp_path).sightings["animal_id"].tolist() == ["R07"]
        table.write_text("time,animal_id,behaviour\n2023-05-14 10:20,R08,basking\n")
        os.utime(table, ns=(1, 1))
        assert reader.read_season(tmp_path).sightings["animal_id"].tolist() == ["R08"]
    finally:
        reader._HELD.clear()


@forks
def test_kernels_end_with_the_process_that_asked_for_them(tmp_path):
    source = (
        "import os, sys, time\nfrom fieldkit.report.writeup import warm\n"
        "started = warm.started(dict(os.environ))\n"
        f"print(started.fork(file={str(tmp_path / 'k.json')!r}, cwd={str(tmp_path)!r}, env={{}}).pid, flush=True)\n"
        "time.sleep(60)\n"
    )
    with subprocess.Popen([sys.executable, "-c", source], stdout=subprocess.PIPE, text=True) as asker:
        pid = int(asker.stdout.readline())
        os.kill(pid, 0)
        asker.kill()
    for _ in range(100):
        try:
            os.kill(pid, 0)
        except OSError:
            return
        time.sleep(0.1)
    raise AssertionError("the kernel is still there")


@forks
def test_a_warm_process_that_is_gone_gives_no_kernel(tmp_path):
    started = warm.started(dict(os.environ))
    kernel = started.fork(file=str(tmp_path / "k.json"), cwd=str(tmp_path), env={})
    started._process.kill()
    started._process.wait()
    for _ in range(100):
        if kernel.poll() is not None:
            break
        time.sleep(0.05)
    assert kernel.poll() is not None and started.fork(file="k", cwd=".", env={}) is None
    # The write-up then starts kernels one by one.
    run = run_of("a", "print(6 * 7)")
    kernels.run(run, work=tmp_path / "work", step=lambda: None, warm=started)
    assert printed(run) == ["42"]
    started.close()


@pytest.mark.parametrize("path", sorted(resource_dir("notebooks").glob("[0-9]*.ipynb")), ids=lambda path: path.stem)
def test_nothing_rests_on_an_aside(path):
    book = nbformat.read(path, as_version=4)
    code = [cell for cell in book.cells if cell.cell_type == "code"]
    asides = [cell for cell in code if "aside" in running.tags(cell)]
    assert not any("writeup" in running.tags(cell) for cell in asides)
    lost = set()
    for cell in code:
        made, needed = kernels.names_of(cell.source)
        if "aside" in running.tags(cell):
            lost |= made
        elif not running.UNRUN_TAGS & running.tags(cell):
            assert not needed & lost, f"{needed & lost} come from an aside"
            lost -= made
