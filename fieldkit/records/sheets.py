"""Files of a season folder, opened and taken apart into cells; nothing is understood here yet."""

import csv
import difflib
import io
import re
import warnings
import zipfile
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from fieldkit.records import cells, headers, schemas, settings

_TEXT_FILES = (".csv", ".tsv", ".txt")
_WORKBOOKS = (".xlsx", ".xlsm")
_OTHER_SHEETS = (".xls", ".ods", ".numbers", ".xlsb")


@dataclass(frozen=True, kw_only=True, eq=False)
class RawTable:
    """One table as it stands in one file: texts and workbook values, index = row as the spreadsheet numbers it."""

    file: str
    table: str
    rival: str
    header: list
    cells: pd.DataFrame
    separator: str = ""
    encoding: str = ""
    epoch: int | None = None
    stem: str = ""


def find(path, problems, digest):
    found = []
    if not path.is_dir():
        return found
    ignored = {settings.NAME, "readme.txt"}
    for file in sorted(path.iterdir(), key=lambda p: p.name.lower()):
        name = file.stem.lower().removesuffix(".csv")
        suffix = file.suffix.lower()
        if file.name.startswith(("~$", ".")) or file.name.lower() in ignored:
            continue
        if file.is_dir():
            if name in schemas.TABLES:
                for part in sorted(file.iterdir(), key=lambda p: p.name.lower()):
                    if not part.name.startswith(("~$", ".")):
                        found += _open(part, f"{file.name}/{part.name}", name, file.name, problems, digest)
        elif suffix in _OTHER_SHEETS:
            problems.add(file.name, f"A {suffix} file cannot be read here.", "Save it as .xlsx or as .csv (UTF-8).")
        elif suffix in _WORKBOOKS or name in schemas.TABLES:
            found += _open(file, file.name, name if name in schemas.TABLES else None, file.name, problems, digest)
        elif suffix in _TEXT_FILES:
            near = difflib.get_close_matches(re.split(r"[\s_\-(.]", name)[0], list(schemas.TABLES), 1, 0.75)
            problems.warn(
                file.name,
                "This file was not read: its name is not that of a table.",
                (f"Did you mean {near[0]}.csv? " if near else "") + "Tables are " + ", ".join(schemas.TABLES) + ".",
            )
    return found


def _open(file, label, table, rival, problems, digest):
    try:
        data = file.read_bytes()
    except OSError as error:
        problems.add(
            label,
            f"The file cannot be opened ({error.strerror}).",
            "Close it in other programs and check that you may read it.",
        )
        return []
    suffix = file.suffix.lower()
    digest.update(label.encode() + b"\0" + data)
    if data[:4] == b"PK\x03\x04" and suffix in _WORKBOOKS:
        return _open_workbook(data, label, table, rival, problems)
    if suffix in _WORKBOOKS or data[:4] in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0"):
        problems.add(
            label,
            "This workbook cannot be opened: it is damaged, protected by a password, or not what its name says.",
            "Open it in your spreadsheet program, take the password off and save it as .xlsx or as .csv (UTF-8).",
        )
        return []
    return _open_text(data, label, table, rival, problems)


def decode(data):
    """Text, encoding and whether it was a guess; no text when the bytes are not text."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            return data.decode("utf-16"), "utf-16", False
        except UnicodeDecodeError:
            return None, "", False
    if b"\0" in data[:2000]:
        return None, "", False
    try:
        return data.decode("utf-8-sig"), "utf-8", False
    except UnicodeDecodeError:
        pass
    try:
        return data.decode("cp1252"), "cp1252", True
    except UnicodeDecodeError:
        return None, "", False


def _open_text(data, label, table, rival, problems):
    text, encoding, guessed = decode(data)
    if text is None:
        problems.add(label, "This is not a text file.", "Save the sheet as .csv (UTF-8) or as .xlsx.")
        return []
    if guessed:
        problems.warn(
            label,
            "The file is not UTF-8; it was read as Windows-1252.",
            "Check letters such as é or ° in ids and notes; save as CSV UTF-8 to be sure.",
        )
    separator, skip = None, 0
    first = text[:20].split("\n", 1)[0].strip()
    if re.fullmatch(r"sep=.", first):
        separator, skip = first[-1], 1
        text = text.split("\n", 1)[1] if "\n" in text else ""
    if separator is None:
        head = "\n".join(text.splitlines()[:20])
        separator = max("\t;,", key=lambda s: _best_header(list(csv.reader(io.StringIO(head), delimiter=s)), table)[1:])
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
    except csv.Error:
        problems.add(label, "This file cannot be taken apart into cells.", "Save the sheet as CSV (UTF-8) again.")
        return []
    names = {",": "comma", ";": "semicolon", "\t": "tab"}
    return _raw(
        rows,
        label,
        table,
        rival,
        problems,
        skip=skip,
        separator=names.get(separator, separator),
        encoding=encoding,
    )


def _open_workbook(data, label, table, rival, problems):
    import openpyxl
    from openpyxl.utils.datetime import CALENDAR_MAC_1904

    def load(data_only):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=data_only)

    try:
        book = load(True)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            sheets = {s.title: [list(r) for r in s.iter_rows(values_only=True)] for s in book.worksheets}
    except Exception:
        # A damaged workbook fails in as many ways as there are parts in it.
        problems.add(
            label, "This workbook is damaged.", "Open it in your spreadsheet program and save it again as .xlsx."
        )
        return []
    epoch = 1904 if book.epoch == CALENDAR_MAC_1904 else 1900
    chosen = {title: title.strip().lower() for title in sheets if title.strip().lower() in schemas.TABLES}
    if table is not None:
        own = [title for title, name in chosen.items() if name == table]
        title = own[0] if own else next(iter(sheets))
        chosen = {title: table}
    elif not chosen:
        problems.warn(
            label,
            "No sheet of this workbook was read: none has the name of a table.",
            "Name the sheets " + ", ".join(schemas.TABLES) + ".",
        )
    formulas = _formulas_without_value(data, load, chosen, sheets)
    found = []
    for title, name in chosen.items():
        place = label if len(sheets) == 1 else f"{label}, sheet {title}"
        for row, column in formulas.get(title, ()):
            problems.add(
                place,
                "This cell holds a formula whose result was never saved.",
                "Open the workbook in your spreadsheet program and save it, or write the value itself.",
                row=row,
                column=column,
            )
        found += _raw(sheets[title], place, name, rival, problems, epoch=epoch)
    return found


def _formulas_without_value(data, load, chosen, sheets):
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = [n for n in archive.namelist() if n.startswith("xl/worksheets/")]
        if not any(b"<f" in archive.read(n) for n in parts):
            return {}
    from openpyxl.utils import get_column_letter

    empty = {}
    for title in chosen:
        for number, row in enumerate(load(False)[title].iter_rows(values_only=True), start=1):
            for column, value in enumerate(row):
                if isinstance(value, str) and value.startswith("=") and sheets[title][number - 1][column] is None:
                    empty.setdefault(title, []).append((number, get_column_letter(column + 1)))
    return empty


def _best_header(rows, table):
    """Position of the row that looks most like the header, how many names it knows, and its length."""
    names = [table] if table else list(schemas.TABLES)
    known = {headers.base(c) for n in names for c in schemas.TABLES[n].columns} | {
        headers.stem(c) for n in names for c in schemas.TABLES[n].columns
    }
    best = (0, -1, 0)
    for number, row in enumerate(rows[:20]):
        score = sum(headers.base(headers.split_unit(cells.tidy(c))[0]) in known for c in row)
        if score > best[1] and any(cells.tidy(c) for c in row):
            best = (number, score, len(row))
    return best


def _raw(rows, label, table, rival, problems, *, skip=0, separator="", encoding="", epoch=None):
    if not any(cells.tidy(c) for row in rows for c in row):
        return []
    start, score, _ = _best_header(rows, table)
    first = next(i for i, row in enumerate(rows) if any(cells.tidy(c) for c in row))
    if score < 1:
        start = first
    elif start > first:
        problems.warn(
            label,
            f"The header stands in row {start + 1 + skip}; what is above it was not read.",
            "Nothing, if those rows are only a title.",
            row=first + 1 + skip,
            value=cells.tidy(next(c for c in rows[first] if cells.tidy(c))),
        )
    header = [cells.tidy(c) for c in rows[start]]
    while header and not header[-1]:
        header.pop()
    body, index = [], []
    for number, row in enumerate(rows[start + 1 :], start=start + 2 + skip):
        filled = [c for c in row if cells.tidy(c)]
        if not filled:
            continue
        extra = [cells.tidy(c) for c in row[len(header) :] if cells.tidy(c)]
        if extra:
            problems.add(
                label,
                f"This row has cells beyond the last named column ({len(row)} cells under {len(header)} names).",
                "Look for a decimal comma or a comma in a note: write a point, put the text in quotation marks, or "
                "save with semicolons. If the column is meant, give it a name.",
                row=number,
                value=extra[0],
            )
        body.append((row + [None] * len(header))[: len(header)])
        index.append(number)
    for position, name in enumerate(header):
        if not name:
            header[position] = f"column {_letter(position)}"
    lowered = [h.lower() for h in header]
    for position, name in enumerate(lowered):
        if name in lowered[:position]:
            problems.add(
                label,
                "Two columns have this name.",
                "Rename one of them, or delete the one you do not need.",
                row=start + 1 + skip,
                column=header[position],
            )
            header[position] = f"{header[position]} ({_letter(position)})"
    frame = pd.DataFrame(body, columns=header, index=index, dtype=object)
    stem = Path(label).stem
    return [
        RawTable(
            file=label,
            table=table,
            rival=rival,
            header=header,
            cells=frame,
            separator=separator,
            encoding=encoding,
            epoch=epoch,
            stem=stem,
        )
    ]


def _letter(position):
    letters = ""
    position += 1
    while position:
        position, rest = divmod(position - 1, 26)
        letters = chr(65 + rest) + letters
    return letters
