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

from fieldkit.core import visible
from fieldkit.records import schema as schemas
from fieldkit.records.reading import cells, headers, opening
from fieldkit.records.reading import loggers as tidy_loggers
from fieldkit.records.season import settings

TEXT_FILES = (".csv", ".tsv", ".txt", ".tab", ".dat", ".asc", ".log")
_WORKBOOKS = (".xlsx", ".xlsm")
OTHER_SHEETS = (".xls", ".ods", ".numbers", ".xlsb")


@dataclass(frozen=True, kw_only=True, eq=False)
class RawTable:
    """One table as it stands in one file: texts and workbook values, index = row as the spreadsheet numbers it.

    `ready` is the table itself, where its file was in plain form, and `source` the file; its cells are then empty.
    """

    file: str
    table: str
    rival: str
    header: list
    header_row: int
    cells: pd.DataFrame
    separator: str = ""
    encoding: str = ""
    epoch: int | None = None
    stem: str = ""
    ready: pd.DataFrame | None = None
    source: Path | None = None


def find(path, stated, problems, digest):
    found = []
    if not path.is_dir():
        return found
    ignored = {settings.NAME, "readme.txt"}
    for file in _listed(path, path.name, problems):
        name = file.stem.lower().removesuffix(".csv")
        suffix = file.suffix.lower()
        if file.name.startswith(("~$", ".")) or file.name.lower() in ignored:
            continue
        if file.is_dir():
            if name in schemas.TABLES:
                for part in _listed(file, file.name, problems):
                    if not part.name.startswith(("~$", ".")):
                        found += open_file(part, f"{file.name}/{part.name}", name, file.name, stated, problems, digest)
            else:
                _say_folder(file, problems)
        elif suffix in OTHER_SHEETS:
            problems.add(file.name, f"A {suffix} file cannot be read here.", "Save it as .xlsx or as .csv (UTF-8).")
        elif suffix in _WORKBOOKS or name in schemas.TABLES:
            table = name if name in schemas.TABLES else None
            found += open_file(file, file.name, table, file.name, stated, problems, digest)
        elif suffix in TEXT_FILES:
            near = difflib.get_close_matches(re.split(r"[\s_\-(.]", name)[0], list(schemas.TABLES), 1, 0.75)
            problems.warn(
                file.name,
                "This file was not read: its name is not that of a table.",
                f"Rename it {near[0]}.csv; several files of one table go into a folder named {near[0]}."
                if near
                else "Name it after the table it holds, or put it into a folder of that name: "
                + ", ".join(schemas.TABLES)
                + ".",
            )
    return found


def _say_folder(folder, problems):
    """Name a folder that looks as if it held readings and bears the name of no table."""
    known = (*TEXT_FILES, *_WORKBOOKS, *OTHER_SHEETS)
    inside = sorted(
        p.name
        for p in _listed(folder, folder.name, problems)
        if p.suffix.lower() in known and not p.name.startswith((".", "~$"))
    )
    if inside:
        problems.warn(
            folder.name,
            f"This folder was not read ({', '.join(inside[:5])}{' …' if len(inside) > 5 else ''}): its name is not "
            "that of a table.",
            "Nothing, if these files are no readings; else rename the folder to one of "
            + ", ".join(schemas.TABLES)
            + ".",
        )


def _listed(folder, label, problems):
    try:
        return opening.listed(folder)
    except opening.NotOpened as error:
        problems.add(label, error.problem, error.remedy)
        return []


def open_file(file, label, table, rival, stated, problems, digest, *, sheet=None):
    """Open one CSV file or workbook; what it holds as a list of `RawTable`.

    `sheet` names the one sheet of a workbook that is wanted; a workbook without it gives nothing.
    """
    wrong = opening.name_trouble(label)
    if wrong is None:
        try:
            folder = file.parents[label.count("/")]
            data = opening.read(file, inside=folder)
        except opening.NotOpened as error:
            wrong = error.problem, error.remedy
    if wrong is not None:
        problems.add(visible(label), *wrong)
        return []
    suffix = file.suffix.lower()
    digest.update(label.encode() + b"\0")
    digest.update(data)
    if data[:4] == b"PK\x03\x04" and suffix in _WORKBOOKS:
        wrong = opening.workbook_trouble(data)
        if wrong is not None:
            problems.add(label, *wrong)
            return []
        return _open_workbook(data, label, table, rival, stated, problems, sheet)
    if suffix in _WORKBOOKS or data[:4] in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0"):
        problems.add(
            label,
            "This workbook cannot be opened: it is damaged, protected by a password, or not what its name says.",
            "Open it in your spreadsheet program, take the password off and save it as .xlsx or as .csv (UTF-8).",
        )
        return []
    if table == "loggers" and sheet is None and suffix == ".csv":
        own = None if data.startswith((b"time,logger_id", b"\xef\xbb\xbftime,logger_id")) else file.stem
        if own is None or "/" in label:
            frame = tidy_loggers.read(data, label, own, stated, problems)
            if frame is not None:
                return [_ready(frame, label, table, rival, file)]
    if table == "weather" and sheet is None and suffix == ".csv":
        frame = tidy_loggers.read_days(data, stated)
        if frame is not None:
            return [_ready(frame, label, table, rival, file)]
    return _open_text(data, label, table, rival, stated, problems)


def _ready(frame, label, table, rival, file):
    """A table that was read at full speed."""
    return RawTable(
        file=label,
        table=table,
        rival=rival,
        header=list(frame.columns),
        header_row=1,
        cells=pd.DataFrame(index=pd.RangeIndex(2, len(frame) + 2)),
        separator="comma",
        encoding="utf-8",
        stem=file.stem,
        ready=frame,
        source=file,
    )


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


def _open_text(data, label, table, rival, stated, problems):
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
        try:
            tried = {s: _best_header(list(csv.reader(io.StringIO(head), delimiter=s)), table, stated) for s in "\t;,"}
            separator = max(tried, key=lambda s: tried[s][1:])
        except csv.Error:
            separator = ","
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
        _say_swallowed(rows, separator, skip, label, problems)
    except csv.Error:
        longest = max(enumerate(text.splitlines(), start=1 + skip), key=lambda line: len(line[1]))
        problems.add(
            label,
            "This file cannot be taken apart into cells.",
            f"Look at the longest line ({len(longest[1]):,} characters), or save the sheet as CSV (UTF-8) again.",
            row=longest[0],
        )
        return []
    names = {",": "comma", ";": "semicolon", "\t": "tab"}
    return _raw(
        rows,
        label,
        table,
        rival,
        stated,
        problems,
        skip=skip,
        separator=names.get(separator, separator),
        encoding=encoding,
    )


def _say_swallowed(rows, separator, skip, label, problems):
    """Name the cells in which a quotation mark that nobody closed has swallowed whole rows."""
    usual = max((len(row) for row in rows[:50]), default=0)
    for number, row in enumerate(rows, start=1 + skip):
        for cell in row:
            if "\n" not in cell:
                continue
            # A note may have several lines; a line with as many cells as a row has was a row.
            # Where all of the file is one cell, nothing tells which separator it has.
            marks = separator if usual > 1 else ",;\t"
            least = max(1, min(usual - 1, 2))
            swallowed = sum(max(map(line.count, marks)) >= least for line in cell.splitlines()[1:])
            if swallowed:
                problems.add(
                    label,
                    f"A quotation mark opens in this row and is closed {swallowed:,} rows further down or never: what "
                    "lies between was read as one cell.",
                    "Delete the quotation mark, or write it twice if it belongs to the text.",
                    row=number,
                    value=cell.splitlines()[0],
                )


def _open_workbook(data, label, table, rival, stated, problems, sheet=None):
    import openpyxl
    from openpyxl.utils.datetime import CALENDAR_MAC_1904

    def load(**how):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return openpyxl.load_workbook(io.BytesIO(data), **how)

    try:
        book = load(read_only=True, data_only=True)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            sheets = {s.title: _used_cells(s) for s in book.worksheets}
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = [archive.read(n) for n in archive.namelist() if n.startswith("xl/worksheets/")]
        written = load() if any(b"<f" in p or b"<mergeCell " in p for p in parts) else None
    except Exception:
        # A damaged workbook fails in as many ways as there are parts in it.
        problems.add(
            label,
            "This workbook is damaged.",
            "Open it in your spreadsheet program and save it again as .xlsx.",
        )
        return []
    epoch = 1904 if book.epoch == CALENDAR_MAC_1904 else 1900
    chosen = {title: title.strip().lower() for title in sheets if title.strip().lower() in schemas.TABLES}
    if sheet is not None:
        chosen = {title: table for title in sheets if title.strip().lower() == sheet}
    elif table is not None:
        own = [title for title, name in chosen.items() if name == table]
        title = own[0] if own else next(iter(sheets))
        chosen = {title: table}
    elif not chosen:
        problems.warn(
            label,
            "No sheet of this workbook was read: none has the name of a table.",
            "Name the sheets after the tables they hold, or put the file into a folder with the name of its table: "
            + ", ".join(schemas.TABLES)
            + ".",
        )
    if sheet is None:
        _say_other_sheets(sheets, chosen, label, stated, problems)
    found = []
    for title, name in chosen.items():
        place = label if len(sheets) == 1 else f"{label}, sheet {title}"
        if written is not None:
            _say_formulas(written[title], sheets[title], place, problems)
            _fill_merged(written[title], sheets[title], place, problems)
        found += _raw(sheets[title], place, name, rival, stated, problems, epoch=epoch)
    return found


def _used_cells(sheet):
    """Rows of a sheet, all equally long; how large it says it is may be wrong, and is not asked."""
    sheet.reset_dimensions()
    rows = [list(row) for row in sheet.iter_rows(values_only=True)]
    width = max((len(row) for row in rows), default=0)
    return [row + [None] * (width - len(row)) for row in rows]


def _say_other_sheets(sheets, chosen, label, stated, problems):
    """Name the sheets that look like a table and were not read."""
    for title, rows in sheets.items():
        if title in chosen or len(rows) < 2:
            continue
        known = {name: _best_header(rows, name, stated)[1] for name in schemas.TABLES}
        likely = max(known, key=known.get)
        if chosen and known[likely] >= 3:
            problems.warn(
                f"{label}, sheet {title}",
                f"This sheet was not read: its name is not that of a table, though its columns look like {likely}.",
                f"Put its rows under those of the sheet {likely}, or save it as a file in a folder named {likely}.",
            )


def _say_formulas(written, rows, place, problems):
    """Name the cells whose formula was never worked out: they look empty."""
    for number, row in enumerate(written.iter_rows(values_only=True)):
        for column, value in enumerate(row):
            if isinstance(value, str) and value.startswith("=") and rows[number][column] is None:
                problems.add(
                    place,
                    "This cell holds a formula whose result was never saved.",
                    "Open the workbook in your spreadsheet program and save it, or write the value itself.",
                    row=number + 1,
                    column=_letter(column),
                )


def _fill_merged(written, rows, place, problems):
    """Give each row of cells merged downwards the value they show, and say so."""
    for area in written.merged_cells.ranges:
        if area.min_col == area.max_col and area.max_row > area.min_row:
            value = rows[area.min_row - 1][area.min_col - 1]
            for number in range(area.min_row, area.max_row):
                rows[number][area.min_col - 1] = value
            problems.warn(
                place,
                "Cells are merged here; each of their rows was given the value they show.",
                "Nothing, if it holds for all of these rows.",
                row=area.min_row,
                column=_letter(area.min_col - 1),
                value=cells.tidy(value),
            )


def _best_header(rows, table, stated):
    """Position of the row that looks most like the header, how many names it knows, and how many cells it has."""
    names = [table] if table else list(schemas.TABLES)
    declared = [c for n in names for c in schemas.ALL_TABLES[n].columns]
    known = {headers.base(c) for c in declared} | {headers.stem(c) for c in declared}
    known |= set().union(*(headers.renamed(n, stated) for n in names))
    known |= set(headers.TIMES) if table == "loggers" else set()
    best = (0, -1, 0)
    for number, row in enumerate(rows[:20]):
        texts = [text for text in map(cells.tidy, row) if text]
        score = sum(bool({headers.base(text), headers.base(headers.split_unit(text)[0])} & known) for text in texts)
        # Without a known name the fullest row is the header: titles and serial numbers above it are short.
        if (score, len(texts)) > best[1:]:
            best = (number, score, len(texts))
    return best


def _raw(rows, label, table, rival, stated, problems, *, skip=0, separator="", encoding="", epoch=None):
    if not any(cells.tidy(c) for row in rows for c in row):
        return []
    start, _, _ = _best_header(rows, table, stated)
    first = next(i for i, row in enumerate(rows) if any(cells.tidy(c) for c in row))
    if start > first:
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
    header = _unnamed_notes(rows, start, header, label, table, separator, problems, skip)
    body, index, short = [], [], []
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
        if separator and len(row) < len(header):
            short.append((number, row))
        body.append((row + [None] * len(header))[: len(header)])
        index.append(number)
    for number, row in short:
        problems.warn(
            label,
            f"This row has fewer cells than the header has names ({len(header)}); what is missing at its end was read "
            "as empty.",
            "Check whether the row was cut off or a separator is missing in it; else nothing.",
            row=number,
            value=cells.tidy(row[-1]),
        )
    nameless = [position for position, name in enumerate(header) if not name]
    for position in nameless:
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
    for position in nameless:
        if not frame[f"column {_letter(position)}"].map(cells.tidy).any():
            frame = frame.drop(columns=f"column {_letter(position)}")
    header = list(frame.columns)
    stem = Path(label).stem
    return [
        RawTable(
            file=label,
            table=table,
            rival=rival,
            header=header,
            header_row=start + 1 + skip,
            cells=frame,
            separator=separator,
            encoding=encoding,
            epoch=epoch,
            stem=stem,
        )
    ]


def _unnamed_notes(rows, start, header, label, table, separator, problems, skip):
    """The header, with a name for one last column of remarks that has none."""
    place = len(header)
    known = "notes" in schemas.ALL_TABLES.get(table, schemas.TABLES["choices"]).columns
    # In a file of text an unquoted comma looks the same, unless the header leaves a cell for the column.
    if not known or "notes" in map(headers.base, header) or (separator and len(rows[start]) <= place):
        return header
    extra = [[cells.tidy(c) for c in row[place:]] for row in rows[start + 1 :]]
    written = [row[0] for row in extra if row and row[0]]
    if not written or any(any(row[1:]) for row in extra) or any(re.fullmatch(r"[-+−]?[\d.,]+", t) for t in written):
        return header
    problems.warn(
        label,
        f"The last column has no header and holds {len(written):,} remarks: it was kept as notes.",
        "Write notes above it.",
        row=start + 1 + skip,
        column=_letter(place),
        value=written[0],
    )
    return [*header, "notes"]


def _letter(position):
    letters = ""
    position += 1
    while position:
        position, rest = divmod(position - 1, 26)
        letters = chr(65 + rest) + letters
    return letters
