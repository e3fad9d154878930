"""Whatever makes a folder or a file makes it whole or not at all, also when it is killed or the disk is full."""

import errno
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from season_folder import make

import fieldkit
from fieldkit.core import FieldkitError, new_files, swapped_in

# Runs a command and dies by SIGKILL while it writes its file of that number.
_DIES = """
import os, pathlib, signal, sys
left, real = int(sys.argv[1]), pathlib.Path.write_text
def write_text(self, *given, **more):
    global left
    left -= 1
    if not left:
        real(self, "half")
        os.kill(os.getpid(), signal.SIGKILL)
    return real(self, *given, **more)
pathlib.Path.write_text = write_text
from fieldkit import cli
from fieldkit.demo import enclosure, season
command, *rest = sys.argv[2:]
sys.exit({"demo season": season.write, "demo enclosure": enclosure.write}[command](*rest) and 0
         if command.startswith("demo ") else cli.main([command, *rest]))
"""


def made(base):
    return sorted(p.relative_to(base).as_posix() for p in base.rglob("*") if p.is_file())


def commands(where):
    """Command, the file while it is written, and what it makes; `where` holds a season to read."""
    cage, demo = str(fieldkit.demo_enclosure().path), str(fieldkit.core.resource_dir("data") / "demo_watched")
    share = ["--out", "made", "--licence", "CC0-1.0", "--scientific-name", "Genus species", "--invented"]
    aims = ["--targets", str(Path(where) / "aims.toml"), "--invented"]
    plan = ["--change", "lamp lower", "--blocks", "4", "--out", "made"]
    return {
        "new": (["new", "made"], 9),
        "new enclosure": (["new", "made", "--enclosure"], 5),
        "classroom": (["classroom", "made"], 1),
        "share": (["share", str(where), *share], 1),
        "trial plan": (["trial", "plan", demo, *plan], 2),
        "card": (["audit", cage, *aims, "--card", "made/card.html"], 1),
        "targets": (["audit", cage, *aims, "--save-targets", "made/targets.toml"], 1),
        "demo season": (["demo season", "made"], 1),
        "demo enclosure": (["demo enclosure", "made"], 2),
    }


LONG = {"demo season", "card", "targets"}


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL is POSIX")
@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=pytest.mark.slow if name in LONG else ()) for name in commands("")]
)
def test_a_killed_command_leaves_no_half_and_the_next_nothing_beside(name, tmp_path):
    season = make(tmp_path / "season")
    (season / "aims.toml").write_text('[[target]]\ntarget = "uv_index"\nhigh = 8\nkind = "limit"\n')
    base = tmp_path / "base"
    base.mkdir()
    command, number = commands(season)[name]
    if name in ("card", "targets"):
        (base / "made").mkdir()
    run = [sys.executable, "-c", _DIES]
    first = subprocess.run([*run, str(number), *command], cwd=base, capture_output=True, text=True)
    assert first.returncode == -signal.SIGKILL, first.stderr[-600:]
    assert [file for file in made(base) if not any(part.startswith(".") for part in file.split("/"))] == []
    assert made(base)
    second = subprocess.run([*run, "10000", *command], cwd=base, capture_output=True, text=True)
    assert second.returncode in (0, 3), second.stderr[-600:]
    assert made(base) and [file for file in made(base) if "/." in f"/{file}"] == []


def test_a_full_disk_is_said_and_leaves_nothing(tmp_path):
    with pytest.raises(FieldkitError, match="no space left"), new_files(tmp_path / "a.txt") as (file,):
        file.write_text("half")
        raise OSError(errno.ENOSPC, "No space left on device", str(file))
    with pytest.raises(FieldkitError, match="no space left"), swapped_in(tmp_path / "b") as (half, _):
        (half / "x").write_text("half")
        raise OSError(errno.ENOSPC, "No space left on device", str(half))
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_overwritten_also_what_comes_meanwhile(tmp_path):
    (tmp_path / "a.txt").write_text("mine")
    with pytest.raises(FieldkitError, match=r"a\.txt is there already"), new_files(tmp_path / "a.txt"):
        pytest.fail("the block must not begin")
    writing = new_files(tmp_path / "b.txt", tmp_path / "c.txt")
    with pytest.raises(FieldkitError, match=r"c\.txt is there already"), writing as (one, other):
        one.write_text("b")
        other.write_text("c")
        (tmp_path / "c.txt").write_text("theirs")
    (tmp_path / "link").symlink_to(tmp_path / "nowhere")
    with pytest.raises(FieldkitError, match="is there already"), new_files(tmp_path / "link"):
        pytest.fail("the block must not begin")
    with pytest.raises(FieldkitError, match="file or a link"), swapped_in(tmp_path / "link"):
        pytest.fail("the block must not begin")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.txt", "c.txt", "link"]
    assert (tmp_path / "c.txt").read_text() == "theirs"


def test_a_second_run_is_refused_at_once(tmp_path):
    with new_files(tmp_path / "a.txt") as (file,):
        file.write_text("first")
        with pytest.raises(FieldkitError, match="Another run is writing"), new_files(tmp_path / "a.txt"):
            pytest.fail("the block must not begin")
    refused = pytest.raises(FieldkitError, match="Another run is writing")
    with swapped_in(tmp_path / "b"), refused, swapped_in(tmp_path / "b"):
        pytest.fail("the block must not begin")
    assert (tmp_path / "a.txt").read_text() == "first"
