"""The class data sheets of the two lessons, read as pupils typed them, with every mistake said."""

import datetime as dt
import re
from pathlib import Path

import pandas as pd

from fieldkit.classroom import opened
from fieldkit.classroom.declared import ALSO, declared
from fieldkit.core import resource_dir
from fieldkit.records.problems import Problems, SeasonError
from fieldkit.records.reading import cells


class ClassSheetError(SeasonError):
    """A class sheet that cannot be read as it is; `problems` is the table of what to mend."""


def read_sheet(lesson, path=None):
    """Read a class's sheet, or the invented one.

    Parameters
    ----------
    lesson : {"thermometer_in_the_sun", "choose_like_a_lizard"}
        Which lesson.
    path : str or pathlib.Path, optional
        CSV file or workbook (.xlsx, .ods), or a folder with one file from each group; files and sheets that have the
        lesson's columns are put together. None: the invented class that comes with the lesson.

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
    sheet = declared(lesson)
    if path is None:
        path = resource_dir("data") / "class_sheet" / f"invented_{lesson}.csv"
    path = Path(path).expanduser()
    problems = Problems()
    tables = [table for file in _files(path, problems) for table in _read(file, sheet, problems)]
    table = _pool(tables, sheet, problems)
    if problems.any_errors:
        raise ClassSheetError(problems.table(), path)
    return table


def _files(path, problems):
    if not path.is_dir():
        return [path]
    # A spreadsheet program keeps a file that begins with ~$ beside one that is open.
    found = sorted(file for file in path.iterdir() if file.is_file() and file.name[0] not in "~.")
    if not found:
        problems.add(path.name, "This folder holds no .xlsx, .ods or .csv file.", "Put the file of each group into it.")
    return found


def _read(file, sheet, problems):
    return [_understand(raw, name, sheet, problems) for name, raw in opened.tables(file, sheet, problems)]


def _pool(tables, sheet, problems):
    """One table of all files; a row that stands in two of them is a mistake."""
    if not tables:
        return None
    table = pd.concat(tables, ignore_index=True)
    for name in ("group", "place_id"):
        if name in table:
            # g1 and G1 are one group: as it was written first.
            table[name] = table.groupby(table[name].str.upper().str.replace(" ", ""), sort=False)[name].transform(
                "first"
            )
    twice = table.duplicated(list(sheet.key), keep="first")
    _say_twice(table, twice, sheet, problems)
    once = table[~twice]
    if "taken_by" in sheet.columns:
        _each_lizard_once(once, problems)
    if "cover" in sheet.columns:
        _one_cover_a_group(once, problems)
    for name, column in sheet.columns.items():
        if column.whole and column.required and not problems.any_errors:
            table[name] = table[name].astype(int)
    return table[list(sheet.columns)]


def _say_twice(table, twice, sheet, problems):
    """One message for each pair of files (or each row, within one file) that hold the same rows."""
    first = table.drop_duplicates(list(sheet.key)).set_index(list(sheet.key))["file"]
    for file, part in table[twice].groupby("file", sort=False):
        others = [first.loc[tuple(row)] for row in part[list(sheet.key)].itertuples(index=False)]
        for other in dict.fromkeys(others):
            rows = part[[name == other for name in others]]
            whole = len(rows) == (table["file"] == file).sum()
            if other != file or len(rows) > 3:
                where = f"in {other} too" if other != file else "in this file"
                problems.add(
                    file,
                    f"{'All' if whole else f'{len(rows)} of the'} rows of this file stand {where}."
                    if other != file
                    else f"{len(rows)} rows stand twice {where}.",
                    "Is it a copy? Then take one out. Two groups need two names.",
                    row=rows["row"].iloc[0],
                )
                continue
            for row in rows.to_dict("records"):
                problems.add(
                    file,
                    f"This row stands twice ({', '.join(f'{k} {row[k]}' for k in sheet.key)}).",
                    "Keep one of them; two groups need two names.",
                    row=row["row"],
                )


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


_UNIT = re.compile(r"\s*°?\s*C\s*$", re.IGNORECASE)
# One decimal comma among points is a slip of the finger; three digits behind it could be thousands.
_COMMA = re.compile(r"^([-+−]?\d{1,3}),(\d{1,2})$")


def _reading(cell):
    """A cell without the unit that pupils write too, its decimal comma a point."""
    return _COMMA.sub(r"\1.\2", _UNIT.sub("", cells.tidy(cell))) if isinstance(cell, str) else cell


def _understand(raw, file, sheet, problems):
    table = pd.DataFrame(index=raw.index)
    for name, column in sheet.columns.items():
        if column.limits:
            table[name] = _numbers(raw[name].map(_reading), file, name, column, problems)
        elif name == "taken_by":
            table[name] = [_lizards(cell, file, row, problems) for row, cell in raw[name].items()]
        else:
            table[name] = raw[name].map(cells.tidy)
            if name == "cover":
                words = table[name].str.lower().str.replace("-", " ").str.split().str.join(" ")
                table[name] = words.map(lambda word: ALSO.get(word, word))
            for row, text in table[name].items():
                if column.allowed and text not in column.allowed:
                    remedy = "Write " + ", ".join(column.allowed) + "."
                    problems.add(file, "This word is not on the list.", remedy, row=row, column=name, value=text)
                elif cells.is_missing(text):
                    problems.add(file, "This cell is empty.", f"Write {column.meaning}.", row=row, column=name)
    return table.rename_axis("row").reset_index().assign(file=file)


def _lizards(cell, file, row, problems):
    """Names of the lizards in a cell, as in "L3 L7": commas, small letters and bare numbers are understood."""
    text = cells.tidy(cell)
    if cells.is_missing(text):
        return ""
    date = isinstance(cell, dt.date | dt.time)
    if date or (isinstance(cell, float) and not cell.is_integer()):
        became = "a date" if date else "a number with decimals"
        problems.add(
            file, f"This became {became}.", "Write the lizards as L3 L7.", row=row, column="taken_by", value=text
        )
        return ""
    names = re.split(r"[^\w]+", re.sub(r"\b([^\W\d]+)[\s.]+(?=\d)", r"\1", text).upper())
    return " ".join(f"L{name}" if name.isdigit() else name for name in names if name)


def _numbers(column_cells, file, name, column, problems):
    values, wrong = cells.numbers(column_cells)
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
