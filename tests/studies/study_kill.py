"""A write-up is killed at many moments, runs onto a full disk, and is started twice at once: what is left of it.

    python tests/studies/study_kill.py [MOMENTS]

Runs `fieldkit writeup` on the small season of the tests, with a small notebook in a live kernel (by default 30
moments), and prints a table. Each time the earlier write-up has to be what it was, or the new one be there whole; no
kernel may live on; and after the next whole run nothing may lie beside it or among the temporary files. The full disk
needs the right to mount one.
"""

import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from season_folder import make
from test_writeup import cell, choice_cells, notebook

from fieldkit.report.integrity import seals

# The command line, with a folder of notebooks of our own.
_RUN = """
import sys
from pathlib import Path
from fieldkit import cli
from fieldkit.report.writeup import running
running.resource_dir = lambda name: Path(sys.argv[1])
sys.exit(cli.main(sys.argv[2:]))
"""
# How long a kernel may outlive the run that started it: it looks for its parent once a second.
_SECONDS = 8


def contents(folder):
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


class Place:
    """A folder with a season, a write-up under a name with a pattern in it, and temporary files of its own."""

    def __init__(self, base):
        self.base = base
        self.season = make(base / "my season")
        self.out = base / "wu [2025]"
        self.books = base / "books"
        self.books.mkdir()
        slow = cell("code", "import time\nfor number in range(30):\n    time.sleep(0.1)\n    print(number)", "writeup")
        notebook(self.books / "06_toy_choice.ipynb", [*choice_cells(), slow])
        self.scratch = base / "scratch"
        self.scratch.mkdir()

    def start(self):
        command = [sys.executable, "-c", _RUN, str(self.books), "writeup", str(self.season), "--out", str(self.out)]
        environment = os.environ | {"TMPDIR": str(self.scratch)}
        pipes = {"stdout": subprocess.DEVNULL, "stderr": subprocess.PIPE, "text": True, "env": environment}
        return subprocess.Popen(command, **pipes)

    def kernels(self):
        """Processes that work in this place."""
        found = []
        for process in Path("/proc").glob("[0-9]*"):
            try:
                if str(self.base) in os.readlink(process / "cwd"):
                    found.append(process.name)
            except OSError:
                continue
        return found

    def fresh(self, name):
        """Whether a run has come to write this file."""
        return any((new / "whole" / name).exists() for new in self.base.glob(".wu *.new-*"))

    def is_whole(self):
        """Whether every file of the write-up is what its list of hashes says: a kill just after the swap."""
        listed = json.loads((self.out / "writeup.json").read_text(encoding="utf-8"))["files"]
        return not seals.broken(self.out, listed, "writeup.json")

    def beside(self):
        return sorted(
            p.name for p in self.base.iterdir() if p.name not in ("my season", "wu [2025]", "scratch", "books", "disk")
        )


# What is waited for before the killing, and how long after it (s) at most.
STAGES = {
    "start": (lambda place: True, 6.0),
    "season read": (lambda place: place.fresh(""), 3.0),
    "live kernel": (lambda place: bool(place.kernels()), 6.0),
    "page written": (lambda place: place.fresh("index.html"), 2.0),
    "all written": (lambda place: place.fresh("writeup.json"), 0.3),
}


def kill_at(place, reached, seconds, before):
    """Kill a run some seconds after it has come to a stage; what was found after it."""
    run = place.start()
    while run.poll() is None and not reached(place):
        time.sleep(0.02)
    deadline = time.monotonic() + seconds
    while run.poll() is None and time.monotonic() < deadline:
        time.sleep(0.005)
    if run.poll() is None:
        live = len(place.kernels())
        run.send_signal(signal.SIGKILL)
        run.communicate()
        state = f"killed, {live} kernel{'' if live == 1 else 's'}"
    else:
        said = run.communicate()[1]
        state = "had ended" if run.returncode == 0 else f"status {run.returncode}: {said.strip()[-80:]}"
    deadline = time.monotonic() + _SECONDS
    while place.kernels() and time.monotonic() < deadline:
        time.sleep(0.2)
    whole = place.out.is_dir() and (state == "had ended" or contents(place.out) == before or place.is_whole())
    return state, whole, len(place.kernels()), len(place.beside())


def study_kills(place, moments):
    assert place.start().wait() == 0
    print("stage          after    what became of it           a write-up whole  kernels left  beside it")
    bad = 0
    for number in range(moments):
        stage = list(STAGES)[number % len(STAGES)]
        reached, longest = STAGES[stage]
        seconds = longest * (number // len(STAGES) + 0.5) / -(-moments // len(STAGES))
        state, whole, kernels, beside = kill_at(place, reached, seconds, contents(place.out))
        bad += not whole or kernels > 0
        print(
            f"{stage:14} {seconds:5.2f} s  {state:27} {'yes' if whole else 'NO':17} {kernels:<13} {beside}", flush=True
        )
    assert place.start().wait() == 0
    left = place.beside() + [p.name for p in place.scratch.iterdir()]
    print(f"After the next run: beside it and among temporary files {left or 'nothing'}.")
    return bad + len(left)


def study_two_at_once(place):
    before = contents(place.out)
    runs = [place.start() for _ in range(2)]
    said = [run.communicate()[1] for run in runs]
    status = sorted(run.returncode for run in runs)
    refused = next((text.strip() for text, run in zip(said, runs, strict=True) if run.returncode), "")
    print(f"Two at once: status {status}; {refused}")
    good = status == [0, 2] and "Another run is writing" in refused and contents(place.out).keys() == before.keys()
    return int(not good or bool(place.beside()))


def study_full_disk(base):
    bad = 0
    for megabytes in (0.3, 0.6, 1.0, 1.5, 2.0):
        disk = base / "disk"
        disk.mkdir(exist_ok=True)
        mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={int(megabytes * 1024)}k", "none", str(disk)])
        if mounted.returncode:
            print("Full disk: no right to mount one, not tried.")
            return bad
        try:
            place = Place(disk)
            place.out.mkdir()
            # What stands for an earlier write-up has to be one.
            if megabytes >= 1:
                shutil.copytree(base / "wu [2025]", place.out, dirs_exist_ok=True)
            before = contents(place.out)
            run = place.start()
            said = run.communicate()[1]
            last = said.strip().splitlines()[-1] if said.strip() else ""
            good = run.returncode in (0, 2) and "Traceback" not in said and not place.beside()
            good &= run.returncode == 0 or contents(place.out) == before
            left = [p.name for p in place.scratch.iterdir()]
            bad += not good
            print(f"Disk of {megabytes} MB: status {run.returncode}, {last[-150:]!r}; temporary files {left or 'none'}")
        except OSError as error:
            print(f"Disk of {megabytes} MB: too small for the season itself ({error.strerror}).")
        finally:
            subprocess.run(["umount", "-l", str(disk)], check=True)
    return bad


def main():
    moments = int(sys.argv[1]) if len(sys.argv) > 1 else 30
    with tempfile.TemporaryDirectory() as base:
        place = Place(Path(base))
        bad = study_kills(place, moments)
        bad += study_two_at_once(place)
        bad += study_full_disk(Path(base))
    print("Everything held." if not bad else f"{bad} did not hold.")
    return int(bool(bad))


if __name__ == "__main__":
    sys.exit(main())
