"""Files that a stranger may have made are opened here: plain ones only, inside their folder, and none too large."""

import io
import os
import re
import stat
import zipfile
import zlib
from pathlib import Path

from fieldkit.core import FieldkitError, trouble, visible

# A year of minutes of 30 loggers in one file has half a gigabyte.
TABLE_BYTES, SPECTRUM_BYTES, SETTINGS_BYTES = 2_000_000_000, 50_000_000, 2_000_000
# Of a workbook: what it unpacks to, its widest sheet (column ZZ), and how many cells may be merged.
_UNPACKED_BYTES, _COLUMNS, _MERGED = 500_000_000, 702, 100_000
_CELL = re.compile(rb'<c [^>]*?r="([A-Z]{3,7})(\d+)"')
_MERGE = re.compile(rb'<mergeCell [^>]*?ref="([A-Z]{1,7})(\d{1,9}):([A-Z]{1,7})(\d{1,9})"')


class NotOpened(FieldkitError):
    """A file that is not read.

    Parameters
    ----------
    name : str
        Of the file.
    problem, remedy : str
        Sentences.
    """

    def __init__(self, name, problem, remedy):
        super().__init__(visible(f"{name}: {problem} {remedy}"))
        self.problem, self.remedy = problem, remedy


def read(path, *, inside=None, limit=TABLE_BYTES):
    """Bytes of a plain file.

    Parameters
    ----------
    path : str or pathlib.Path
        The file.
    inside : str or pathlib.Path, optional
        Folder that it has to lie in, also when it is a link.
    limit : int
        Largest size in bytes.

    Returns
    -------
    bytes

    Raises
    ------
    NotOpened
        Saying what it is and what to do.

    Examples
    --------
    >>> import tempfile
    >>> place = Path(tempfile.mkdtemp())
    >>> _ = (place / "scans.csv").write_text("time")
    >>> read(place / "scans.csv", inside=place)
    b'time'
    >>> read(place / ".." / "x.csv", inside=place)
    Traceback (most recent call last):
    fieldkit.records.reading.opening.NotOpened: x.csv: This file lies outside the folder. Put the file itself into it.
    """
    name = os.path.basename(path)
    if inside is not None and Path(os.path.realpath(inside)) not in Path(os.path.realpath(path)).parents:
        raise NotOpened(name, "This file lies outside the folder.", "Put the file itself into it.")
    try:
        # Without O_NONBLOCK a pipe that nobody writes to would be waited for without end.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except OSError as error:
        raise _refused(name, error) from None
    try:
        kind = os.fstat(handle)
        if not stat.S_ISREG(kind.st_mode):
            raise NotOpened(
                name,
                "This is no plain file but a pipe, a device or a folder.",
                "Put a plain file in its place, or take it out.",
            )
        with open(handle, "rb", closefd=False) as file:
            data = file.read(limit + 1) if kind.st_size <= limit else b""
    except OSError as error:
        raise _refused(name, error) from None
    finally:
        os.close(handle)
    if kind.st_size > limit or len(data) > limit:
        raise NotOpened(
            name, f"This file is larger than {limit / 1e6:,.0f} MB.", "Part it into several, or check what is in it."
        )
    return data


def _refused(name, error):
    why = (trouble(error) or f"x: {error.strerror}.").rpartition(": ")[2].partition(";")[0].rstrip(".")
    return NotOpened(
        name, f"The file cannot be opened ({why}).", "Close it in other programs and check that you may read it."
    )


def listed(folder):
    """What lies in a folder, by name without regard to capitals.

    Parameters
    ----------
    folder : pathlib.Path
        The folder.

    Returns
    -------
    list of pathlib.Path

    Raises
    ------
    NotOpened
        When it may not be read.
    """
    try:
        return sorted(folder.iterdir(), key=lambda p: p.name.lower())
    except OSError as error:
        raise NotOpened(
            folder.name, f"The folder cannot be opened ({error.strerror}).", "Ask whoever owns it to let you read it."
        ) from None


def name_trouble(name):
    """What is wrong with the name of a file, and the remedy; None if nothing.

    Parameters
    ----------
    name : str
        As the system gives it.

    Returns
    -------
    (str, str) or None

    Examples
    --------
    >>> name_trouble("scans.csv") is None
    True
    """
    if visible(name) == name:
        return None
    return "The name of this file holds bytes that are no letters.", "Rename it with plain letters."


def workbook_trouble(data):
    """Whether a workbook would take more memory than any season needs; the remedy with it.

    Parameters
    ----------
    data : bytes
        The file.

    Returns
    -------
    (str, str) or None
        Problem and remedy.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            if sum(part.file_size for part in archive.infolist()) > _UNPACKED_BYTES:
                return (
                    f"This workbook unpacks to more than {_UNPACKED_BYTES / 1e6:,.0f} MB.",
                    "Save its sheets as CSV (UTF-8), or check what is in it.",
                )
            sheets = [archive.read(part) for part in archive.namelist() if part.startswith("xl/worksheets/")]
    except (zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, ValueError, OSError, RuntimeError, EOFError):
        # Damaged in one of many ways: whoever takes it apart says so.
        return None
    for sheet in sheets:
        for letters, row in _CELL.findall(sheet):
            if _number(letters) > _COLUMNS:
                cell = f"{letters.decode()}{row.decode()}"
                return (
                    f"This workbook has a cell far to the right, {cell}.",
                    "Delete the columns behind your table (all of them, not only their contents) and save it again.",
                )
        merged = sum(
            (_number(right) - _number(left) + 1) * (int(low) - int(top) + 1)
            for left, top, right, low in _MERGE.findall(sheet)
        )
        if merged > _MERGED:
            return f"In this workbook {merged:,} cells are merged.", "Take the merging off and save it again."
    return None


def _number(letters):
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number
