"""Write a folder beside its place and swap it in whole: a run that fails or is killed spoils nothing."""

import contextlib
import datetime
import hashlib
import json
import os
import shutil
import tempfile
from pathlib import Path

from fieldkit.core import FieldkitError, trouble

MARKER = "writeup.json"
FORMAT = "fieldkit write-up 1"
PDF = "writeup.pdf"
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
        With at least ``files``, a dict of str to str.

    Raises
    ------
    FieldkitError
        When the folder is not a write-up.
    """
    path = Path(folder) / MARKER
    try:
        about = json.loads(path.read_text(encoding="utf-8")) if path.is_file() else None
    # A number of thousands of digits is a ValueError too; brackets within brackets end in a RecursionError.
    except (OSError, ValueError, RecursionError):
        about = None
    if not isinstance(about, dict) or about.get("format") != FORMAT or not isinstance(about.get("files"), dict):
        raise FieldkitError(f"{folder} is not a write-up: it has no readable {MARKER} made by fieldkit.")
    return about


# What a rerun needs to know of a write-up, and of which kind it is.
_NEEDED = {
    "written": str,
    "demo": bool,
    "input_sha256": str,
    "only": (list, type(None)),
    "parameters": dict,
    "versions": dict,
}


# Parts that an older write-up lacks.
_MAY_HOLD = ("terms", "figures", "record_files", "enclosure_files")


def _terms(about):
    terms = about.get("terms") or {}
    authors = terms.get("authors", [])
    others = [value for name, value in terms.items() if name != "authors" and value is not None]
    return [*(authors if isinstance(authors, list) else [authors]), *others, *(about.get("figures") or {}).values()]


def read_published(folder):
    """Read what a write-up of somebody else says about itself, to run it again.

    Parameters
    ----------
    folder : str or pathlib.Path
        A published write-up.

    Returns
    -------
    dict

    Raises
    ------
    FieldkitError
        When something that is needed is missing, or a parameter would name a place on this computer.
    """
    about = read_marker(folder)
    wrong = [key for key, kind in _NEEDED.items() if not isinstance(about.get(key), kind)]
    wrong += [key for key in _MAY_HOLD if not isinstance(about.get(key), dict | None)]
    if not wrong and not all(isinstance(name, str) for name in [*(about["only"] or []), *_terms(about)]):
        wrong = ["only", "terms"]
    names = [name for name in about["parameters"] if name.endswith(("_folder", "_file"))] if not wrong else []
    try:
        datetime.date.fromisoformat(about["written"])
    except (KeyError, TypeError, ValueError):
        wrong = wrong or ["written"]
    if wrong:
        raise FieldkitError(
            f"{folder} cannot be reproduced: its {MARKER} was cut short or changed and lacks {', '.join(wrong)}. Get "
            " the write-up again from where it was published."
        )
    if names:
        raise FieldkitError(
            f"{folder} is not reproduced: it asks for {', '.join(names)}, places on a computer that a write-up of "
            "somebody else has no say in."
        )
    return about


@contextlib.contextmanager
def refusals_said(place):
    """What the system refuses in this block and a person can mend becomes a sentence; `place` where it names none."""
    try:
        yield
    except OSError as error:
        if error.filename is None:
            error.filename = str(place)
        if (said := trouble(error)) is None:
            raise
        raise FieldkitError(said) from error


def check_outside(out, kept):
    """Refuse a place inside a folder of records, or around it.

    Parameters
    ----------
    out : pathlib.Path
        Where something is to be written.
    kept : iterable of pathlib.Path or None
        Folders of a season or an enclosure.
    """
    out = Path(os.path.realpath(out))
    for folder in filter(None, kept):
        own = Path(os.path.realpath(folder))
        if out == own or out in own.parents:
            raise FieldkitError(f"The folder {folder} lies inside {out}: choose another folder to write to.")
        if own in out.parents:
            raise FieldkitError(
                f"{out} lies inside {folder}, which holds records: choose a folder outside it, so that nothing "
                "written is taken for a record."
            )


def check_replaceable(out, *, keep=()):
    """Refuse a place that holds anything but a write-up as it was written.

    Parameters
    ----------
    out : pathlib.Path
        Where the write-up shall stand.
    keep : iterable of pathlib.Path
        Folders of records, which must be apart from `out`.

    Raises
    ------
    FieldkitError
        With what stands in the way and what to do.
    """
    check_outside(out, keep)
    if out.is_symlink() or (out.exists() and not out.is_dir()):
        raise FieldkitError(f"{out} is a file or a link, not a folder: choose another name for the write-up.")
    if not out.exists() or not any(out.iterdir()):
        return
    if not os.path.lexists(out / MARKER):
        raise FieldkitError(
            f"{out} exists and is not a write-up, so it is left alone: choose a new folder for the write-up."
        )
    listed = read_marker(out)["files"]
    changed = []
    for path in sorted(out.rglob("*")):
        name = path.relative_to(out).as_posix()
        if path.is_dir() or path.name in _LITTER or name == MARKER or ".ipynb_checkpoints" in path.parts:
            continue
        if not path.is_file() or listed.get(name) != digest(path):
            changed.append(name)
    if changed:
        shown = ", ".join(changed[:5]) + (f" and {len(changed) - 5} more" if len(changed) > 5 else "")
        raise FieldkitError(
            f"{out} holds files that were added or changed after it was written ({shown}). They would be lost: "
            "move them elsewhere, or choose a new folder for the write-up."
        )


def check_empty(out, *, keep=()):
    """Refuse a place that holds anything at all, or lies within records.

    Parameters
    ----------
    out : pathlib.Path
        Where a new folder shall stand.
    keep : iterable of pathlib.Path
        Folders of records, which must be apart from `out`.
    """
    check_outside(out, keep)
    if os.path.lexists(out) and (out.is_symlink() or not out.is_dir() or any(out.iterdir())):
        raise FieldkitError(
            f"{out} is there already and not an empty folder: choose another name; nothing was changed."
        )


@contextlib.contextmanager
def swapped_in(out, *, keep=(), check=check_replaceable):
    """Give an empty folder to write in; when the block ends without an error it takes the place of `out`.

    One run at a time writes to `out`: a second is refused at once. What runs that were killed left beside `out` is
    cleared away, and an earlier write-up that a kill caught between the two renames is put back.

    Parameters
    ----------
    out : str or pathlib.Path
        Where the finished folder shall stand.
    keep : iterable of pathlib.Path
        Folders of records, which must be apart from `out`.
    check : callable
        Whether what stands at `out` may be replaced: `check_replaceable` or `check_empty`.

    Yields
    ------
    (pathlib.Path, pathlib.Path)
        The folder that will stand at `out`, and one beside it for what is needed meanwhile.
    """
    out = Path(out).absolute()
    with refusals_said(out):
        out.parent.mkdir(parents=True, exist_ok=True)
        check_outside(out, keep)
        with _alone(out):
            _recover(out)
            check(out, keep=keep)
            place = Path(tempfile.mkdtemp(prefix=f".{out.name}.new-", dir=out.parent))
            try:
                fresh, work = place / "whole", place / "work"
                fresh.mkdir()
                work.mkdir()
                yield fresh, work
                # Minutes have passed: what stands there now may not be what stood there at the start.
                check(out, keep=keep)
                _swap(fresh, out)
            finally:
                shutil.rmtree(place, ignore_errors=True)


@contextlib.contextmanager
def _alone(out):
    """Hold the only right to write to `out`; the system takes it back from a run that is killed."""
    path = out.with_name(f".{out.name}.lock")
    file = _locked(path)
    while file is not None and not _is_still(file, path):
        # Its owner ended, and took the name with it, between our opening and our locking.
        file.close()
        file = _locked(path)
    if file is None:
        raise FieldkitError(f"Another run is writing {out} now: wait until it has ended, or choose another folder.")
    try:
        yield
    finally:
        # Windows lets no open file be deleted, the others must not give the name away before the lock.
        if os.name == "nt":
            file.close()
        with contextlib.suppress(OSError):
            path.unlink()
        file.close()


def _locked(path):
    """The file, open and locked; None where another process holds it."""
    file = open(path, "ab")  # noqa: SIM115
    try:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        file.close()
        return None
    except OSError:
        # A disk that knows no locks: two runs at once are then the reader's own care.
        return file
    return file


def _is_still(file, path):
    try:
        return os.path.samestat(os.fstat(file.fileno()), os.stat(path))
    except FileNotFoundError:
        return False


def _swap(fresh, out):
    fresh.chmod(0o755)
    old = out.with_name(f".{out.name}.old-{fresh.parent.name.rpartition('-')[2]}")
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
    """Put back an earlier write-up that a kill caught between the two renames; clear away what runs left behind."""
    # By its beginning and not by a pattern: names may hold * and [.
    beside = [path for path in out.parent.iterdir() if path.name.startswith((f".{out.name}.old-", f".{out.name}.new-"))]
    olds = sorted((p for p in beside if p.name.startswith(f".{out.name}.old-")), key=lambda p: p.stat().st_mtime)
    if olds and not out.exists():
        os.rename(olds.pop(), out)
    for path in beside:
        shutil.rmtree(path, ignore_errors=True)
