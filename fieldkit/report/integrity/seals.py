"""Hashes that say which code and which records a write-up was made from, and which file of a folder was changed."""

import functools
import hashlib
import json
import os
import stat
from pathlib import Path

from fieldkit.core import FieldkitError, resource_dir

# Blocks of rows of a file of records that have a hash of their own, and the largest file that is parted into them.
_BLOCKS, _PARTED_BYTES = 512, 30_000_000
# What file managers leave behind in a folder that was only looked at.
LITTER = {".DS_Store", "Thumbs.db", "desktop.ini"}


@functools.cache
def code_hash():
    """SHA-256 of the sources that make a write-up: the package with its templates, and the code of the notebooks.

    Returns
    -------
    str
        In hexadecimal; the same in a checkout and in an installed wheel, whatever the ends of lines.

    Examples
    --------
    >>> len(code_hash())
    64
    """
    package = Path(__file__).resolve().parents[2]
    found = {}
    for path in package.rglob("*"):
        name = path.relative_to(package).as_posix()
        if path.is_file() and not name.startswith(("_notebooks/", "_data/")) and "__pycache__" not in path.parts:
            found[name] = path.read_bytes().replace(b"\r\n", b"\n")
    books = resource_dir("notebooks")
    for path in books.glob("[0-9]*.ipynb"):
        cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        code = [[cell["cell_type"], cell["source"], cell["metadata"].get("tags", [])] for cell in cells]
        found[f"notebooks/{path.name}"] = json.dumps(code).encode()
    whole = hashlib.sha256()
    for name in sorted(found):
        whole.update(f"{name}\0{hashlib.sha256(found[name]).hexdigest()}\n".encode())
    return whole.hexdigest()


def of_records(folder, names):
    """Hashes of files of records, so that a changed one can be named, down to a few rows.

    Parameters
    ----------
    folder : str or pathlib.Path
        The folder.
    names : iterable of str
        Files in it; those that are not there are left out.

    Returns
    -------
    dict of str to dict
        By file: ``sha256``; for text also ``lines`` and ``blocks``, four hexadecimal digits for each of at most 512
        blocks of lines.

    Examples
    --------
    >>> import tempfile
    >>> place = Path(tempfile.mkdtemp())
    >>> _ = (place / "scans.csv").write_text("time\\n1\\n2\\n")
    >>> of_records(place, ["scans.csv"])["scans.csv"]["lines"]
    3
    """
    found = {}
    for name in dict.fromkeys(names):
        path = Path(folder) / name
        if not path.is_file():
            continue
        data = path.read_bytes()
        found[name] = {"sha256": hashlib.sha256(data).hexdigest()}
        if len(data) <= _PARTED_BYTES and b"\0" not in data[:2000]:
            lines = data.splitlines()
            found[name] |= {"lines": len(lines), "blocks": "".join(_of_block(lines[a:b]) for a, b in _spans(lines))}
    return found


def _spans(lines):
    size = -(-len(lines) // _BLOCKS) or 1
    return [(start, start + size) for start in range(0, len(lines), size)]


def _of_block(lines):
    return hashlib.sha256(b"\n".join(lines)).hexdigest()[:4]


def changed_records(published, here):
    """Say which files of records are not the published ones, and in which rows.

    Parameters
    ----------
    published, here : dict
        As from `of_records`.

    Returns
    -------
    list of str
        One sentence a file.

    Examples
    --------
    >>> one = {"scans.csv": {"sha256": "ab", "lines": 3, "blocks": "aaaabbbbcccc"}}
    >>> changed_records(one, {"scans.csv": {"sha256": "cd", "lines": 3, "blocks": "aaaabbbbdddd"}})
    ['scans.csv is not the published file: row 3 differs.']
    """
    said = []
    for name in sorted(published.keys() | here.keys()):
        before, now = published.get(name), here.get(name)
        if now is None:
            said.append(f"{name} is missing.")
        elif before is None:
            said.append(f"{name} is no file of the published records.")
        elif not isinstance(before, dict) or before.get("sha256") != now["sha256"]:
            said.append(f"{name} is not the published file{_where(before, now)}.")
    return said


def _where(before, now):
    """Rows that differ, as a spreadsheet counts them."""
    try:
        counts = int(before["lines"]), int(now["lines"])
        blocks = [[side["blocks"][i : i + 4] for i in range(0, len(side["blocks"]), 4)] for side in (before, now)]
    except (KeyError, TypeError, ValueError):
        return ""
    if counts[0] != counts[1]:
        return f": it had {counts[0]:,} rows, here it has {counts[1]:,}"
    spans = _spans(range(counts[1]))
    rows = [span for span, one, other in zip(spans, *blocks) if one != other]
    named = [f"{a + 1:,}" if b - a == 1 else f"{a + 1:,} to {min(b, counts[1]):,}" for a, b in rows]
    if not named:
        return ""
    one = len(named) == 1 and " " not in named[0]
    more = f" and {len(named) - 5:,} more places" if len(named) > 5 else ""
    return f": row{'' if one else 's'} {', '.join(named[:5])}{more} differ{'s' if one else ''}"


def files_in(folder):
    """Names of all files of a folder; a link, a pipe or a device among them is refused before anything is read.

    Parameters
    ----------
    folder : str or pathlib.Path
        A folder that somebody else may have made.

    Returns
    -------
    list of str
        With / between folder and file, sorted; what file managers leave behind is left out.

    Raises
    ------
    FieldkitError
        Naming what is no plain file.

    Examples
    --------
    >>> import tempfile
    >>> files_in(tempfile.mkdtemp())
    []
    """
    found = []
    for place, folders, names in os.walk(folder):
        for name in [*folders, *names]:
            path = os.path.join(place, name)
            kind = os.lstat(path).st_mode
            told = os.path.relpath(path, folder).replace(os.sep, "/")
            if not (stat.S_ISREG(kind) or stat.S_ISDIR(kind)):
                raise FieldkitError(f"{told} in {folder} is no plain file but a link, a pipe or a device: take it out.")
            if stat.S_ISREG(kind) and name not in LITTER and ".ipynb_checkpoints" not in told:
                found.append(told)
    return sorted(found)


def broken(folder, listed, marker):
    """Files of a published folder that are not what its list of hashes says.

    Parameters
    ----------
    folder : pathlib.Path
        The published folder.
    listed : dict of str to str
        Name of each file and its SHA-256.
    marker : str
        The file that holds the list.

    Returns
    -------
    list of (str, str, str)
        File, what the list says, what is there.
    """
    there = set(files_in(folder)) - {marker}
    rows = []
    for name in sorted(there | listed.keys()):
        if name not in there:
            rows.append((name, "listed", "missing"))
        elif name not in listed:
            rows.append((name, "not listed", "there"))
        else:
            with open(folder / name, "rb") as file:
                actual = hashlib.file_digest(file, "sha256").hexdigest()
            if actual != listed[name]:
                rows.append((name, str(listed[name]), actual))
    return rows
