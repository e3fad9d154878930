"""A write-up is killed at many moments, runs onto a full disk, and is started twice at once: what is left of it.

    python tests/studies/study_kill.py [MOMENTS] [NOTEBOOK ...]

Runs `fieldkit writeup` on the small season of the tests with live kernels (by default 30 moments, notebook 03), and
prints a table. Each time the earlier write-up has to be what it was, no kernel may live on, and after the next whole
run nothing may lie beside it or among the temporary files. The full disk needs the right to mount one.
"""

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

# How long a kernel may outlive the run that started it: it looks for its parent once a second.
_SECONDS = 8


def contents(folder):
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


class Place:
    """A folder with a season, a write-up under a name with a pattern in it, and temporary files of its own."""

    def __init__(self, base, notebooks):
        self.base, self.notebooks = base, notebooks
        self.season = make(base / "my season")
        self.out = base / "wu [2025]"
        self.scratch = base / "scratch"
        self.scratch.mkdir()

    def start(self, out=None):
        command = [sys.executable, "-m", "fieldkit", "writeup", str(self.season), "--out", str(out or self.out)]
        environment = os.environ | {"TMPDIR": str(self.scratch)}
        pipes = {"stdout": subprocess.DEVNULL, "stderr": subprocess.PIPE, "text": True, "env": environment}
        return subprocess.Popen([*command, "--only", *self.notebooks], **pipes)

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

    def beside(self):
        return sorted(p.name for p in self.base.iterdir() if p.name not in ("my season", "wu [2025]", "scratch"))


def kill_at(place, seconds, before):
    """Kill a run; what was found after it."""
    run = place.start()
    try:
        said = run.communicate(timeout=seconds)[1]
        state = "had ended" if run.returncode == 0 else f"status {run.returncode}: {said.strip()[-80:]}"
    except subprocess.TimeoutExpired:
        live = len(place.kernels())
        run.send_signal(signal.SIGKILL)
        run.communicate()
        state = f"killed, {live} kernel{'' if live == 1 else 's'}"
    deadline = time.monotonic() + _SECONDS
    while place.kernels() and time.monotonic() < deadline:
        time.sleep(0.2)
    whole = place.out.is_dir() and (contents(place.out) == before or state == "had ended")
    return state, whole, len(place.kernels()), len(place.beside())


def study_kills(place, moments):
    start = time.monotonic()
    assert place.start().wait() == 0
    lasts = time.monotonic() - start
    print(f"A whole run lasts {lasts:.1f} s.")
    print("moment  what became of it           earlier whole  kernels left  beside it")
    bad = 0
    for number in range(moments):
        seconds = lasts * (number + 0.5) / moments
        before = contents(place.out)
        state, whole, kernels, beside = kill_at(place, seconds, before)
        bad += not whole or kernels > 0
        print(f"{seconds:5.1f} s  {state:27} {'yes' if whole else 'NO':14} {kernels:<13} {beside}", flush=True)
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


def study_full_disk(base, notebooks):
    bad = 0
    for megabytes in (0.3, 0.6, 1.0, 1.5, 2.0):
        disk = base / "disk"
        disk.mkdir(exist_ok=True)
        mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={int(megabytes * 1024)}k", "none", str(disk)])
        if mounted.returncode:
            print("Full disk: no right to mount one, not tried.")
            return bad
        try:
            place = Place(disk, notebooks)
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
    notebooks = sys.argv[2:] or ["03"]
    with tempfile.TemporaryDirectory() as base:
        place = Place(Path(base), notebooks)
        bad = study_kills(place, moments)
        bad += study_two_at_once(place)
        bad += study_full_disk(Path(base), notebooks)
    print("Everything held." if not bad else f"{bad} did not hold.")
    return int(bool(bad))


if __name__ == "__main__":
    sys.exit(main())
