"""Write a folder or a file beside its place and move it in whole: a run that fails or is killed spoils nothing."""

import contextlib
import os
import shutil
import tempfile
from pathlib import Path

from fieldkit.core.containers import FieldkitError, trouble


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


def check_empty(out, *, keep=()):
    """Refuse a place that holds anything at all, or lies within records.

    Parameters
    ----------
    out : str or pathlib.Path
        Where a new folder shall stand.
    keep : iterable of pathlib.Path
        Folders of records, which must be apart from `out`.

    Raises
    ------
    FieldkitError
        With what stands in the way.
    """
    out = Path(out).expanduser()
    check_outside(out, keep)
    if out.is_symlink() or (os.path.lexists(out) and not out.is_dir()):
        raise FieldkitError(f"{out} is a file or a link; nothing was changed. Choose another name for the folder.")
    if out.is_dir() and (held := sum(1 for _ in out.iterdir())):
        raise FieldkitError(
            f"The folder {out} is there already and holds {held} files or folders; nothing was changed. Choose another "
            "name, or an empty folder."
        )


@contextlib.contextmanager
def swapped_in(out, *, keep=(), check=check_empty):
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
        Whether what stands at `out` may be replaced; by default nothing may.

    Yields
    ------
    (pathlib.Path, pathlib.Path)
        The folder that will stand at `out`, and one beside it for what is needed meanwhile.
    """
    out = Path(out).expanduser().absolute()
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
def new_files(*paths):
    """Give places to write files at; when the block ends without an error they stand where they were wanted, whole.

    Parameters
    ----------
    *paths : str or pathlib.Path
        New files of one folder, which is made where it is missing; none is overwritten. Files that the block does not
        write are not missed.

    Yields
    ------
    list of pathlib.Path
        Where to write each, under its own name.

    Raises
    ------
    FieldkitError
        When one is there already, another run is writing it, or the disk is full.

    Examples
    --------
    >>> place = Path(tempfile.mkdtemp())
    >>> with new_files(place / "a.txt") as (file,):
    ...     _ = file.write_text("whole")
    >>> [path.name for path in place.iterdir()], (place / "a.txt").read_text()
    (['a.txt'], 'whole')
    """
    outs = [Path(path).expanduser().absolute() for path in paths]
    first = outs[0]
    with refusals_said(first):
        first.parent.mkdir(parents=True, exist_ok=True)
        with _alone(first):
            _clear_away(first)
            _check_new(outs)
            place = Path(tempfile.mkdtemp(prefix=f".{first.name}.new-", dir=first.parent))
            try:
                written = [place / out.name for out in outs]
                yield written
                _check_new(outs)
                for half, out in zip(written, outs, strict=True):
                    if half.exists():
                        os.rename(half, out)
            finally:
                shutil.rmtree(place, ignore_errors=True)


def _check_new(outs):
    for out in outs:
        if os.path.lexists(out):
            raise FieldkitError(f"{out} is there already and was left as it is: give another name.")


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
    """Put back an earlier folder that a kill caught between the two renames; clear away what runs left behind."""
    olds = sorted(_beside(out, "old"), key=lambda path: path.stat().st_mtime)
    if olds and not out.exists():
        os.rename(olds.pop(), out)
    for path in olds:
        shutil.rmtree(path, ignore_errors=True)
    _clear_away(out)


def _clear_away(out):
    """Delete what killed runs left beside `out`."""
    for path in _beside(out, "new"):
        shutil.rmtree(path, ignore_errors=True)


def _beside(out, kind):
    # By its beginning and not by a pattern: names may hold * and [.
    return [path for path in out.parent.iterdir() if path.name.startswith(f".{out.name}.{kind}-")]
