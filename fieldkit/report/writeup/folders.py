"""Write a folder beside its place and swap it in whole: a run that fails or is killed spoils nothing."""

import contextlib
import hashlib
import json
import os
import shutil
import tempfile
import time
from pathlib import Path

from fieldkit.core import FieldkitError

MARKER = "writeup.json"
FORMAT = "fieldkit write-up 1"
_STALE_S = 24 * 3600
# What file managers leave behind in a folder that was only looked at.
_LITTER = {".DS_Store", "Thumbs.db", "desktop.ini"}


def digest(path):
    """SHA-256 of a file, in hexadecimal."""
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def read_marker(folder):
    """Read what a write-up folder says about itself.

    Parameters
    ----------
    folder : str or pathlib.Path
        A folder made by :func:`fieldkit.report.writeup.write`.

    Returns
    -------
    dict

    Raises
    ------
    FieldkitError
        When the folder is not a write-up.
    """
    path = Path(folder) / MARKER
    try:
        about = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        about = None
    if not isinstance(about, dict) or about.get("format") != FORMAT:
        raise FieldkitError(f"{folder} is not a write-up: it has no readable {MARKER} made by fieldkit.")
    return about


def check_replaceable(out, *, keep=None):
    """Refuse a place that holds anything but a write-up as it was written.

    Parameters
    ----------
    out : pathlib.Path
        Where the write-up shall stand.
    keep : pathlib.Path, optional
        The season's own folder, which must not lie inside `out`.

    Raises
    ------
    FieldkitError
        With what stands in the way and what to do.
    """
    if keep is not None and (out == keep or out in keep.parents):
        raise FieldkitError(f"The season folder {keep} lies inside {out}: choose another folder for the write-up.")
    if out.is_symlink() or (out.exists() and not out.is_dir()):
        raise FieldkitError(f"{out} is a file or a link, not a folder: choose another name for the write-up.")
    if not out.exists() or not any(out.iterdir()):
        return
    if not (out / MARKER).exists():
        raise FieldkitError(
            f"{out} exists and is not a write-up, so it is left alone: choose a new folder for the write-up."
        )
    listed = read_marker(out)["files"]
    changed = []
    for path in sorted(out.rglob("*")):
        name = path.relative_to(out).as_posix()
        if path.is_dir() or path.name in _LITTER or name == MARKER or ".ipynb_checkpoints" in path.parts:
            continue
        if listed.get(name) != digest(path):
            changed.append(name)
    if changed:
        shown = ", ".join(changed[:5]) + (f" and {len(changed) - 5} more" if len(changed) > 5 else "")
        raise FieldkitError(
            f"{out} holds files that were added or changed after it was written ({shown}). They would be lost: "
            "move them elsewhere, or choose a new folder for the write-up."
        )


@contextlib.contextmanager
def swapped_in(out, *, keep=None):
    """Give an empty folder to write in; when the block ends without an error it takes the place of `out`.

    Parameters
    ----------
    out : str or pathlib.Path
        Where the finished folder shall stand.
    keep : pathlib.Path, optional
        The season's own folder, which must not lie inside `out`.

    Yields
    ------
    pathlib.Path
    """
    out = Path(out).absolute()
    keep = Path(keep).absolute() if keep is not None else None
    _recover(out)
    check_replaceable(out, keep=keep)
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        fresh = Path(tempfile.mkdtemp(prefix=f".{out.name}.new-", dir=out.parent))
    except OSError as error:
        raise FieldkitError(f"Cannot write beside {out}: {error.strerror}. Choose another folder.") from error
    try:
        yield fresh
        fresh.chmod(0o755)
        # Minutes have passed: what stands there now may not be what stood there at the start.
        check_replaceable(out, keep=keep)
        _swap(fresh, out)
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def _swap(fresh, out):
    old = out.with_name(f".{out.name}.old-{fresh.name.rpartition('-')[2]}")
    if out.exists():
        os.rename(out, old)
    try:
        os.rename(fresh, out)
    except BaseException:
        if old.exists():
            os.rename(old, out)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _recover(out):
    """Put back an earlier write-up that a kill caught between the two renames; clear away what is long dead."""
    if not out.parent.is_dir():
        return
    olds = sorted(out.parent.glob(f".{out.name}.old-*"), key=lambda p: p.stat().st_mtime)
    if olds and not out.exists():
        os.rename(olds.pop(), out)
    leftovers = [*olds, *out.parent.glob(f".{out.name}.new-*")]
    for path in leftovers:
        # Younger ones may belong to a run that is still going.
        if time.time() - path.stat().st_mtime > _STALE_S:
            shutil.rmtree(path, ignore_errors=True)
