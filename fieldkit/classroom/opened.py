"""Files that a class brings: the cells of CSV files and workbooks below the header of a lesson's sheet."""

import csv
import io
import re
import zipfile

import pandas as pd

from fieldkit.records.reading import cells, opening, sheets

TEXTS, BOOKS = (".csv", ".tsv", ".txt"), {".xlsx": "openpyxl", ".xlsm": "openpyxl"}
BOOKS |= dict.fromkeys((".ods", ".xls", ".xlsb"), "calamine")
# Sheets of our own workbooks that hold what the formulas made of the class sheet.
_OWN = {"answer", "groups", "working", "minutes", "rounds", "lizards", "orders", "pages", "what to write"}
# Titles may stand above the header, as people write them.
_SEARCHED = 12


def tables(path, sheet, problems):
    """Cells of each sheet of a file that has the lesson's columns.

    Parameters
    ----------
    path : pathlib.Path
        CSV file or workbook.
    sheet : fieldkit.classroom.declared.Sheet
        The lesson's sheet.
    problems : fieldkit.records.problems.Problems
        Takes what is wrong.

    Returns
    -------
    list of (str, pandas.DataFrame)
        Name of file and sheet; cells as text or workbook values, index = row as the spreadsheet numbers it.
    """
    rows = _rows(path, problems)
    if rows is None:
        return []
    if not any(cells.tidy(cell) for part in rows.values() for row in part for cell in row):
        problems.add(path.name, "The sheet is empty.", "Fill in at least one row.")
        return []
    found = {}
    for title, part in rows.items():
        if str(title).strip().lower() in _OWN:
            continue
        for number, row in enumerate(part[:_SEARCHED]):
            if all(_names(row, sheet).count(name) == 1 for name in sheet.columns):
                found[title] = number
                break
    if not found:
        _say_header(path, rows, sheet, problems)
    several = len(found) > 1
    return [
        (f"{path.name}, sheet {title}" if several else path.name, frame)
        for title, number in found.items()
        if (frame := _below(rows[title], number, sheet, path.name, problems)) is not None
    ]


def _rows(path, problems):
    """Rows of each sheet by its name; a text file has one sheet."""
    kind = path.suffix.lower()
    if not path.exists():
        problems.add(path.name, "There is no such file.", "Check the spelling of the path.")
        return None
    if kind not in TEXTS and kind not in BOOKS:
        problems.add(
            path.name, f"A {kind or 'nameless'} file cannot be read here.", "Save it as .xlsx, .ods or .csv (UTF-8)."
        )
        return None
    try:
        data = opening.read(path)
    except opening.NotOpened as error:
        problems.add(path.name, error.problem, error.remedy)
        return None
    if kind in TEXTS:
        text, _, _ = sheets.decode(data)
        if text is None:
            problems.add(path.name, "This is not a text file.", "Save the sheet as .csv (UTF-8) or as .xlsx.")
            return None
        head = text.strip("\n").split("\n", 1)[0]
        mark = max("\t;,", key=head.count)
        return {"": list(csv.reader(io.StringIO(text, newline=""), delimiter=mark))}
    if zipfile.is_zipfile(io.BytesIO(data)) and (wrong := opening.workbook_trouble(data)):
        problems.add(path.name, *wrong)
        return None
    try:
        books = pd.read_excel(io.BytesIO(data), dtype=object, header=None, sheet_name=None, engine=BOOKS[kind])
    except Exception:  # a damaged or locked workbook fails in many ways
        problems.add(path.name, "This workbook cannot be opened.", "Save it as .xlsx without a password, or as CSV.")
        return None
    return {title: raw.astype(object).where(raw.notna(), "").to_numpy().tolist() for title, raw in books.items()}


def _names(row, sheet):
    """Headers as the sheet declares them: "Shade [°C]", "shade C" and "Shade_c" are one column."""
    short = {name.removesuffix("_c"): name for name in sheet.columns}
    names = []
    for cell in row:
        text = re.sub(r"[\[(].*", "", cells.tidy(cell)).lower().replace("°", " ")
        name = re.sub(r"\W+", "_", text).strip("_")
        names.append(short.get(name, name))
    return names


def _say_header(path, rows, sheet, problems):
    """Name the columns that are missing or stand twice, or all of them when hardly one is known."""
    known, best = -1, []
    for part in rows.values():
        for row in part[:_SEARCHED]:
            count = len(set(_names(row, sheet)) & set(sheet.columns))
            if count > known and any(map(cells.tidy, row)):
                known, best = count, row
    wanted = ", ".join(sheet.columns)
    names = _names(best, sheet)
    if known < 2:
        there = ", ".join(filter(None, map(cells.tidy, best)))[:80]
        problems.add(
            path.name,
            f"No row has the columns of this lesson ({wanted} is missing).",
            f"Write these names, in English, above the columns; your first row is: {there}.",
        )
        return
    for name in sheet.columns:
        if names.count(name) != 1:
            what = "is missing" if name not in names else "stands more than once"
            problems.add(
                path.name, f"The column {name} {what}.", f"It holds: {sheet.columns[name].meaning}.", column=name
            )


def _below(rows, at, sheet, file, problems):
    """The rows under a header in which something was read."""
    names = _names(rows[at], sheet)
    width = len(names)
    for number, row in enumerate(rows[at + 1 :], start=at + 2):
        if any(map(cells.tidy, row[width:])):
            problems.add(
                file,
                f"This row has {len(row)} cells under {width} columns.",
                "A decimal comma in a file that has commas between cells? Use points, or quotation marks.",
                row=number,
            )
            return None
    wide = [(list(row) + [""] * width)[:width] for row in rows[at + 1 :]]
    frame = pd.DataFrame(wide, columns=names, index=range(at + 2, len(rows) + 1), dtype=object)[list(sheet.columns)]
    _fill_down(frame, sheet)
    readings = [name for name, column in sheet.columns.items() if not column.required]
    # Printed rows in which nothing was read yet say nothing.
    blank = frame[readings].map(lambda cell: cells.is_missing(cells.tidy(cell))).all(axis=1)
    if blank.all():
        problems.add(file, "No row of the sheet has a reading.", "Fill in at least one row.")
        return None
    return frame[~blank]


def _fill_down(frame, sheet):
    """Give an empty name the one above it, the way people write a block once; never across the next group."""
    text = frame[list(sheet.down)].map(cells.tidy)
    blank = text.map(cells.is_missing)
    first, *others = sheet.down
    text[first] = text[first].mask(blank.all(axis=1)).ffill().fillna("")
    block = (text[first] != text[first].shift()).cumsum()
    for name in others:
        text[name] = text[name].mask(blank[name]).groupby(block).ffill().fillna("")
    frame[list(sheet.down)] = text
