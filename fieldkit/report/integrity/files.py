"""A published folder held against its rerun, file by file: whatever a file is, it is compared as what it is."""

import json
import re
import zlib
from pathlib import Path

import numpy as np
import pandas as pd

from fieldkit.report.integrity import pictures, texts

MARKER = "writeup.json"
# How much larger than the rerun's a published file may be before it is not even opened.
_TIMES, _MORE_BYTES = 4, 1_000_000
# Told apart in notes, not in the table: who can compute depends on them, not who wrote. Hashes of files are compared
# with the files themselves.
_NOTED = {"versions", "files", "code_sha256", "record_files", "enclosure_files"}
_DATA = re.compile(r"^data:image/([a-z+]+);base64,")


def compare(published, rerun, names, *, tolerance, drawn):
    """Compare two folders file by file.

    Parameters
    ----------
    published, rerun : pathlib.Path
        The two folders.
    names : iterable of str
        Files to compare.
    tolerance : float
        Relative tolerance of numbers in tables.
    drawn : bool
        Whether pictures can be compared: they were drawn by the same version of the library.

    Returns
    -------
    (list of (str, str, str, object, object), int)
        file, row, column, published, rerun of each difference; how many values were compared.
    """
    rows, count = [], 0
    for name in sorted(names):
        sides = [folder / name for folder in (published, rerun)]
        if not all(side.is_file() for side in sides):
            rows.append((name, "", "", *("there" if side.is_file() else "missing" for side in sides)))
            count += 1
            continue
        sizes = [side.stat().st_size for side in sides]
        if sizes[0] > _TIMES * sizes[1] + _MORE_BYTES:
            rows.append((name, "", "size", *(f"{size:,} bytes" for size in sizes)))
            count += 1
            continue
        try:
            found, compared = _of_kind(name)(*sides, tolerance=tolerance, drawn=drawn)
        except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
            # A file that was tampered with fails in as many ways as there are parts in it.
            found, compared = [("", "", "cannot be read", "can be read")], 1
        rows += [(name, *row) for row in found]
        count += compared
    return rows, count


def _of_kind(name):
    kinds = {".csv": _tables, ".html": _pages, ".ipynb": _notebooks, ".png": _pngs, ".svg": _svgs, ".pdf": _pdfs}
    return kinds.get(Path(name).suffix.lower(), _markers if name == MARKER else _plain)


def _read(sides):
    return [side.read_text(encoding="utf-8") for side in sides]


def _tables(*sides, tolerance, **_):
    found, count = differences(*(pd.read_csv(side) for side in sides), tolerance=tolerance)
    return list(found.itertuples(index=False, name=None)), count


def differences(published, rerun, *, tolerance=1e-6):
    """Compare two tables cell by cell.

    Parameters
    ----------
    published, rerun : pandas.DataFrame
        The same kind of table twice.
    tolerance : float
        Relative tolerance of numbers; a billionth of the largest number in the column counts as zero.

    Returns
    -------
    (pandas.DataFrame, int)
        Columns row (as a spreadsheet counts, the header being row 1), column, published, rerun, one row per cell that
        differs; and how many cells were compared.

    Examples
    --------
    >>> table = pd.DataFrame({"x": [1.0, 2.0]})
    >>> differences(table, table * [1 + 1e-9])[0].empty
    True
    >>> differences(table, pd.DataFrame({"x": [1.0, 2.1]}))[0].values.tolist()
    [[3, 'x', 2.0, 2.1]]
    """
    rows = []
    if len(published) != len(rerun):
        rows.append(("", "number of rows", len(published) + 1, len(rerun) + 1))
    for column in published.columns.symmetric_difference(rerun.columns, sort=False):
        rows.append(("", column, *("there" if column in t else "missing" for t in (published, rerun))))
    shared = [column for column in published.columns if column in rerun.columns]
    n = min(len(published), len(rerun))
    for column in shared:
        a, b = published[column].iloc[:n], rerun[column].iloc[:n]
        if all(pd.api.types.is_numeric_dtype(side) for side in (a, b)):
            x, y = a.to_numpy(dtype=float), b.to_numpy(dtype=float)
            largest = np.nanmax(np.abs(np.concatenate([x, y])), initial=0.0, where=np.isfinite(np.concatenate([x, y])))
            same = np.isclose(x, y, rtol=tolerance, atol=1e-9 * largest, equal_nan=True)
        else:
            same = (a.astype(str).to_numpy() == b.astype(str).to_numpy()) | (a.isna() & b.isna()).to_numpy()
        rows += [(int(i) + 2, column, a.iloc[i], b.iloc[i]) for i in np.flatnonzero(~same)]
    return pd.DataFrame(rows, columns=["row", "column", "published", "rerun"]), n * len(shared)


def _pages(*sides, drawn, **_):
    taken = [_without_pictures(texts.page_parts(text)) for text in _read(sides)]
    rows, count = texts.compare_parts(*(parts for parts, _ in taken))
    found = [(where, "", one, other) for where, one, other in rows]
    if drawn:
        shown = [found for _, found in taken]
        found += [(where, "picture", *pair) for where, *pair in pictures.compare_inside(*shown)]
        count += len(shown[1])
    return found, count


def _without_pictures(parts):
    """Parts of a page with each picture in it taken out, and the pictures."""
    kept, shown = [], []
    for where, what in parts:
        if what.startswith("<img ") and (found := re.search(r' src="(data:image/png;base64,([^"]*))"', what)):
            shown.append((where, found[2]))
            what = what.replace(found[1], "picture")
        kept.append((where, what))
    return kept, shown


def _notebooks(*sides, drawn, **_):
    books = [json.loads(text) for text in _read(sides)]
    rows, count = texts.compare_parts(*map(texts.notebook_parts, books))
    found = [(where, "", one, other) for where, one, other in rows]
    if drawn:
        shown = [_pictures_of(book) for book in books]
        found += [(where, "picture", *pair) for where, *pair in pictures.compare_inside(*shown)]
        count += len(shown[1])
    return found, count


def _pictures_of(book):
    return [
        (f"cell {number}", texts.whole(output["data"]["image/png"]))
        for number, cell in enumerate(book["cells"], start=1)
        for output in cell.get("outputs", [])
        if "image/png" in output.get("data", {})
    ]


def _pngs(*sides, drawn, **_):
    found = pictures.compare_png(*(side.read_bytes() for side in sides)) if drawn else None
    return ([("", "picture", *found)] if found else []), int(drawn)


def _svgs(*sides, drawn, **_):
    found = pictures.compare_svg(*_read(sides)) if drawn else None
    return ([("", "picture", *found)] if found else []), int(drawn)


def _pdfs(*sides, **_):
    if sides[0].read_bytes() == sides[1].read_bytes():
        # Reading one takes its time.
        return [], 1
    import pypdf

    taken = []
    for side in sides:
        try:
            taken.append(_pdf_parts(pypdf.PdfReader(side)))
        except pypdf.errors.PyPdfError as error:
            raise ValueError from error
    rows, count = texts.compare_parts(*taken)
    return [(where, "", one, other) for where, one, other in rows], count


def _pdf_parts(reader):
    """Words, addresses and pictures of a PDF, page by page."""
    parts = []
    for number, page in enumerate(reader.pages, start=1):
        place = f"page {number}"
        parts += [(place, line.strip()) for line in page.extract_text().splitlines() if line.strip()]
        links = (note.get_object().get("/A", {}).get("/URI") for note in page.get("/Annots", []))
        parts += [(place, f"link to {address}") for address in links if address]
        drawn = page.get("/Resources", {}).get("/XObject", {})
        parts += [(place, f"picture {texts.short_hash(_packed(drawn[name].get_object()))}") for name in sorted(drawn)]
    return parts


def _packed(stream):
    """Bytes of a stream of a PDF, unpacked but not decoded: that would take minutes for pictures."""
    try:
        return zlib.decompress(stream._data)
    except zlib.error:
        return stream._data


def _markers(*sides, **_):
    about = [{key: value for key, value in json.loads(text).items() if key not in _NOTED} for text in _read(sides)]
    rows, count = texts.compare_parts(*map(texts.flat, about))
    return [(where, "", one, other) for where, one, other in rows], count


def _plain(*sides, **_):
    lines = [
        [(f"line {number}", line) for number, line in enumerate(text.splitlines(), start=1)] for text in _read(sides)
    ]
    rows, count = texts.compare_parts(*lines)
    return [(where, "", one, other) for where, one, other in rows], count
