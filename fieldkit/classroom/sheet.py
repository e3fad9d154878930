"""The class data sheets of the two lessons: declared once, printed, typed in, and read with every mistake said."""

import csv
import html
import io
import re
from pathlib import Path

import pandas as pd

from fieldkit.classroom import workbook
from fieldkit.classroom.declared import ALSO, SAFETY, SHEETS
from fieldkit.core import FieldkitError, resource_dir
from fieldkit.records import spreadsheet
from fieldkit.records.problems import Problems, SeasonError
from fieldkit.records.reading import cells, opening, sheets
from fieldkit.records.season import printed


class ClassSheetError(SeasonError):
    """A class sheet that cannot be read as it is; `problems` is the table of what to mend."""


def read_sheet(lesson, path=None):
    """Read a class's sheet, or the invented one.

    Parameters
    ----------
    lesson : {"thermometer_in_the_sun", "choose_like_a_lizard"}
        Which lesson.
    path : str or pathlib.Path, optional
        CSV file or workbook (its first sheet), or a folder with one file from each group, which are put together.
        None: the invented class that comes with the lesson.

    Returns
    -------
    pandas.DataFrame
        The columns of the sheet; a reading that was not taken is NaN.

    Raises
    ------
    ClassSheetError
        With every mistake of the sheet: row, column, value and what to do.

    Examples
    --------
    >>> read_sheet("thermometer_in_the_sun")["cover"].unique().tolist()
    ['black card', 'white card', 'foil']
    """
    sheet = _sheet(lesson)
    if path is None:
        path = resource_dir("data") / "class_sheet" / f"invented_{lesson}.csv"
    path = Path(path).expanduser()
    problems = Problems()
    table = _pool([_read(file, sheet, problems) for file in _files(path, problems)], sheet, problems)
    if problems.any_errors:
        raise ClassSheetError(problems.table(), path)
    return table


def _files(path, problems):
    if not path.is_dir():
        return [path]
    # A spreadsheet program keeps a file that begins with ~$ beside one that is open.
    found = sorted(f for f in path.iterdir() if f.suffix.lower() in (".xlsx", ".csv") and f.name[0] not in "~.")
    for file in sorted(path.iterdir()):
        if file.suffix.lower() in (".ods", ".xls", ".xlsb", ".numbers", ".tsv") and file.name[0] not in "~.":
            problems.add(
                file.name, f"A {file.suffix} file cannot be read here.", "Save it as .xlsx or as .csv (UTF-8)."
            )
    if not found and not problems.any_errors:
        problems.add(path.name, "This folder holds no .xlsx and no .csv file.", "Put the file of each group into it.")
    return found


def _read(file, sheet, problems):
    raw = _open(file, sheet, problems)
    return None if raw is None else _understand(raw, file.name, sheet, problems)


def _pool(tables, sheet, problems):
    """One table of all files; a row that stands in two of them is a mistake."""
    tables = [table for table in tables if table is not None]
    if not tables:
        return None
    table = pd.concat(tables, ignore_index=True)
    for row in table.index[table.duplicated(list(sheet.key), keep="first")]:
        problems.add(
            table.loc[row, "file"],
            f"This row stands twice ({', '.join(f'{k} {table.loc[row, k]}' for k in sheet.key)}).",
            "Keep one of them; two groups need two names.",
            row=table.loc[row, "row"],
        )
    if "taken_by" in sheet.columns:
        _each_lizard_once(table, problems)
    if "cover" in sheet.columns:
        _one_cover_a_group(table, problems)
    for name, column in sheet.columns.items():
        if column.whole and column.required and not problems.any_errors:
            table[name] = table[name].astype(int)
    return table[list(sheet.columns)]


def _one_cover_a_group(table, problems):
    for group, part in table.groupby("group", sort=False):
        others = part[part["cover"] != part["cover"].iloc[0]]
        if len(others) and group:
            other = others.iloc[0]
            problems.add(
                other["file"],
                f"Group {group} has two covers ({' and '.join(part['cover'].unique())}).",
                "Two groups need two names; a group has one cover.",
                row=other["row"],
                column="cover",
                value=other["cover"],
            )


def _each_lizard_once(table, problems):
    for number, part in table.groupby("round"):
        seen = {}
        for at in part.itertuples():
            for lizard in at.taken_by.split():
                if lizard in seen:
                    twice = f"stands twice at {at.place_id}"
                    if seen[lizard] != at.place_id:
                        twice = f"stands at {seen[lizard]} and at {at.place_id}"
                    problems.add(
                        at.file,
                        f"{lizard} {twice} in round {number:g}.",
                        "A lizard takes one place a round: ask it which, or who the other one is.",
                        row=at.row,
                        column="taken_by",
                        value=at.taken_by,
                    )
                seen[lizard] = at.place_id
        if not seen:
            problems.add(
                part["file"].iloc[0],
                f"Nobody took a place in round {number:g}.",
                "Write the lizards, or empty the readings of this round.",
                row=part["row"].iloc[0],
                column="taken_by",
            )


def _sheet(lesson):
    if lesson not in SHEETS:
        raise FieldkitError(f"There is no lesson '{lesson}': choose {' or '.join(SHEETS)}.")
    return SHEETS[lesson]


def _open(path, sheet, problems):
    """Cells as text or workbook values, index = row as the spreadsheet numbers it; None when that fails."""
    if not path.exists():
        problems.add(path.name, "There is no such file.", "Check the spelling of the path.")
        return None
    try:
        data = opening.read(path)
    except opening.NotOpened as error:
        problems.add(path.name, error.problem, error.remedy)
        return None
    if path.suffix.lower() == ".xlsx":
        if wrong := opening.workbook_trouble(data):
            problems.add(path.name, *wrong)
            return None
        try:
            raw = pd.read_excel(io.BytesIO(data), dtype=object, header=None)
        except Exception:  # openpyxl fails in many ways on a damaged or locked workbook
            problems.add(
                path.name, "This workbook cannot be opened.", "Save it as .xlsx without a password, or as CSV."
            )
            return None
        rows = raw.astype(object).where(raw.notna(), "").to_numpy().tolist()
    else:
        text, _, _ = sheets.decode(data)
        if text is None:
            problems.add(path.name, "This is not a text file.", "Save the sheet as .csv (UTF-8) or as .xlsx.")
            return None
        head = text.split("\n", 1)[0]
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=max("\t;,", key=head.count)))
    if not rows:
        problems.add(path.name, "The sheet is empty.", "Fill in at least one row.")
        return None
    # "shade_c [°C]" and "Shade C" are the same column.
    names = [str(n).split("[")[0].strip().lower().replace(" ", "_") for n in rows[0]]
    wrong = [name for name in sheet.columns if names.count(name) != 1]
    for name in wrong:
        what = "is missing" if name not in names else "stands more than once"
        problems.add(path.name, f"The column {name} {what}.", f"It holds: {sheet.columns[name].meaning}.", column=name)
    if wrong:
        return None
    wide = [(list(r) + [""] * len(names))[: len(names)] for r in rows[1:]]
    frame = pd.DataFrame(wide, columns=names, index=range(2, len(rows) + 1), dtype=object)[list(sheet.columns)]
    _fill_down(frame, sheet)
    readings = [n for n, c in sheet.columns.items() if not c.required]
    # Printed rows in which nothing was read yet say nothing.
    blank = frame[readings].map(lambda c: cells.is_missing(cells.tidy(c))).all(axis=1)
    if blank.all():
        problems.add(path.name, "No row of the sheet has a reading.", "Fill in at least one row.")
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


def _understand(raw, file, sheet, problems):
    table = pd.DataFrame(index=raw.index)
    numeric = [n for n, c in sheet.columns.items() if c.limits]
    # Pupils write the unit too.
    unit = re.compile(r"\s*°?\s*C\s*$", re.IGNORECASE)
    raw = raw.assign(**{n: raw[n].map(lambda c: unit.sub("", c) if isinstance(c, str) else c) for n in numeric})
    mark = cells.decimal_mark([c.strip() for n in numeric for c in raw[n] if isinstance(c, str)])
    if mark in ("mixed", "unclear"):
        problems.add(file, "The sheet has both decimal commas and points.", "Use one decimal mark everywhere.")
    for name, column in sheet.columns.items():
        if column.limits:
            table[name] = _numbers(raw[name], file, name, column, "," if mark == "," else ".", problems)
        elif name == "taken_by":
            table[name] = [_lizards(cell, file, row, problems) for row, cell in raw[name].items()]
        else:
            table[name] = raw[name].map(cells.tidy)
            if name == "cover":
                table[name] = table[name].map(lambda word: ALSO.get(word.lower(), word))
            for row, text in table[name].items():
                if column.allowed and text.lower() not in column.allowed:
                    remedy = "Write " + ", ".join(column.allowed) + "."
                    problems.add(file, "This word is not on the list.", remedy, row=row, column=name, value=text)
                elif cells.is_missing(text):
                    problems.add(file, "This cell is empty.", f"Write {column.meaning}.", row=row, column=name)
            if column.allowed:
                table[name] = table[name].str.lower()
    return table.rename_axis("row").reset_index().assign(file=file)


def _lizards(cell, file, row, problems):
    """Names of the lizards in a cell, as in "L3 L7": commas, small letters and bare numbers are understood."""
    text = cells.tidy(cell)
    if cells.is_missing(text):
        return ""
    if isinstance(cell, float) and not cell.is_integer():
        problems.add(
            file, "This became a number with decimals.", "Write the lizards as L3 L7.", row=row, column="taken_by",
            value=text,
        )  # fmt: skip
        return ""
    names = re.split(r"[^\w]+", re.sub(r"\b([^\W\d]+)[\s.]+(?=\d)", r"\1", text).upper())
    return " ".join(f"L{name}" if name.isdigit() else name for name in names if name)


def _numbers(column_cells, file, name, column, mark, problems):
    values, wrong = cells.numbers(column_cells, decimal=mark)
    bad = {index for index, *_ in wrong}
    for index, value, problem, remedy in wrong:
        problems.add(file, problem, remedy, row=index, column=name, value=value)
    low, high = column.limits
    for row, value in values.items():
        if row in bad:
            continue
        if pd.isna(value):
            if column.required:
                problems.add(file, "This cell is empty.", f"Write {column.meaning}.", row=row, column=name)
        elif not low <= value <= high or (column.whole and value % 1):
            what = "whole numbers from" if column.whole else "readings from"
            problems.add(
                file,
                f"Here stand {what} {low:g} to {high:g}.",
                "Look at the paper again; leave the cell empty if it was not read.",
                row=row,
                column=name,
                value=f"{value:g}",
            )
    return values


def blank(lesson):
    """Empty sheet of a lesson, with the rows that are known beforehand.

    Parameters
    ----------
    lesson : {"thermometer_in_the_sun", "choose_like_a_lizard"}
        Which lesson.

    Returns
    -------
    pandas.DataFrame

    Examples
    --------
    >>> blank("thermometer_in_the_sun")["minute"].tolist()[-1]
    15
    """
    sheet = _sheet(lesson)
    rows = len(next(iter(sheet.first.values())))
    return pd.DataFrame({name: sheet.first.get(name, [None] * rows) for name in sheet.columns})


def write_blank(lesson, folder):
    """Write the empty sheet as CSV and workbook, and as pages to print on A4 and Letter; nothing is overwritten.

    Parameters
    ----------
    lesson : {"thermometer_in_the_sun", "choose_like_a_lizard"}
        Which lesson.
    folder : pathlib.Path
        Where to write.

    Returns
    -------
    list of pathlib.Path
    """
    table = blank(lesson)
    written = [spreadsheet.write_csv(table, folder / f"{lesson}.csv")]
    written.append(write_workbook(lesson, table, folder / f"{lesson}.xlsx"))
    for paper in ("A4", "Letter"):
        page = folder / f"{lesson}_{paper}.html"
        with page.open("x", encoding="utf-8") as file:
            file.write(printable(lesson, paper=paper))
        written.append(page)
    return written


def write_workbook(lesson, table, path):
    """Write a workbook that fits a phone and computes the lesson's answer itself; nothing is overwritten.

    Parameters
    ----------
    lesson : {"thermometer_in_the_sun", "choose_like_a_lizard"}
        Which lesson.
    table : pandas.DataFrame
        Rows that stand in it, from `blank` or `read_sheet`.
    path : pathlib.Path
        New file.

    Returns
    -------
    pathlib.Path
    """
    import openpyxl

    sheet = _sheet(lesson)
    book = openpyxl.Workbook()
    _sheet_to_type(book.active, sheet, table, workbook.LAST[lesson])
    workbook.add_answer(book, lesson, sheet.columns)
    _meanings(book, sheet)
    with path.open("xb") as file:
        book.save(file)
    return path


def _sheet_to_type(page, sheet, table, last):
    """Frozen header, a list to choose a word from, limits that are asked about."""
    from openpyxl.styles import Font, PatternFill
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    page.freeze_panes = "A2"
    for row, values in enumerate([list(table.columns), *table.itertuples(index=False, name=None)], start=1):
        for number, value in enumerate(values, start=1):
            spreadsheet.put(page, row, number, value)
    for number, (name, column) in enumerate(sheet.columns.items(), start=1):
        letter = get_column_letter(number)
        page.column_dimensions[letter].width = 30 if name == "taken_by" else 14
        page.cell(1, number).font = Font(bold=True)
        page.cell(1, number).fill = PatternFill("solid", fgColor="DDE8DD")
        if column.allowed:
            rule = DataValidation(type="list", formula1=f'"{",".join(column.allowed)}"', allow_blank=True)
            rule.error, rule.showErrorMessage = f"Write {', '.join(column.allowed)}.", True
        elif column.limits:
            low, high = column.limits
            rule = DataValidation(
                type="whole" if column.whole else "decimal", operator="between", formula1=f"{low:g}",
                formula2=f"{high:g}", allow_blank=True, errorStyle="warning",
            )  # fmt: skip
            rule.error, rule.showErrorMessage = f"Is that right? Here stand numbers from {low:g} to {high:g}.", True
        else:
            rule = DataValidation()
            for row in range(2, last + 1):
                # As text, or a spreadsheet makes a number of "3,7".
                page[f"{letter}{row}"].number_format = "@"
        rule.promptTitle, rule.prompt, rule.showInputMessage = name, column.meaning, True
        rule.add(f"{letter}2:{letter}{last}")
        page.add_data_validation(rule)


def _meanings(book, sheet):
    from openpyxl.styles import Alignment, Font

    meanings = book.create_sheet("what to write")
    meanings.column_dimensions["A"].width, meanings.column_dimensions["B"].width = 16, 60
    for row, (name, column) in enumerate(sheet.columns.items(), start=1):
        spreadsheet.put(meanings, row, 1, name).font = Font(bold=True)
        spreadsheet.put(meanings, row, 2, column.meaning).alignment = Alignment(wrap_text=True)


def printable(lesson, *, paper="A4"):
    """One page to print: blanks, the table to fill, how, and what to take care of.

    Parameters
    ----------
    lesson : {"thermometer_in_the_sun", "choose_like_a_lizard"}
        Which lesson.
    paper : {"A4", "Letter"}
        Size of the paper, printed across.

    Returns
    -------
    str
        A self-contained HTML page.

    Examples
    --------
    >>> "Never look into the sun" in printable("choose_like_a_lizard")
    True
    """
    sheet = _sheet(lesson)
    blanks = "".join(f"<span>{html.escape(name)}:</span>" for name in sheet.once)
    (known, values), *_ = sheet.printed.items()
    names = {name: sheet.columns[name].meaning if name in sheet.columns else "cloud, wind …" for name in sheet.sizes}
    names[known] = ""
    columns = "".join(f'<col style="width:{size}%">' for size in sheet.sizes.values())
    head = "".join(
        f"<th>{html.escape(name).replace('_', '_<wbr>')}<br>"
        f"<span style='font-weight:normal'>{html.escape(meaning)}</span></th>"
        for name, meaning in names.items()
    )
    body = ""
    for value in values:
        row = {known: value, "notes": sheet.reminders.get(value, "")}
        body += "<tr>" + "".join(f"<td>{html.escape(str(row.get(name, '')))}</td>" for name in names) + "</tr>"
    care = "".join(f"<li>{html.escape(line)}</li>" for line in SAFETY)
    return printed.page_to_print(
        f"{sheet.title} ({paper})",
        f"<section><h1>{html.escape(sheet.title)}</h1><p class='blanks'>{blanks}</p><p>{html.escape(sheet.how)}</p>"
        f"<table><colgroup>{columns}</colgroup><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
        f"<h2>Take care</h2><ol>{care}</ol></section>",
        paper=paper,
        row=sheet.height,
    )
