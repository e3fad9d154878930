"""The class data sheets of the two lessons: declared once, printed, typed in, and read with every mistake said."""

import csv
import html
import io
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from fieldkit.core import FieldkitError, resource_dir
from fieldkit.records import cells, sheets, spreadsheet, template
from fieldkit.records.problems import Problems, SeasonError

COVERS = ("black card", "white card", "foil")
# For both lessons and every printed sheet.
SAFETY = (
    "Never look into the sun, not for a moment, not through anything. Stand with the sun behind you.",
    "Hat, sunscreen, water, and a break in the shade after every quarter of an hour. Say so if you feel dizzy or sick.",
    "Stones, metal, black card and foil in the sun get hot enough to hurt: touch with the back of the hand, briefly, "
    "or not at all. Foil throws the sun into eyes: keep the bright side turned from people.",
    "Sunlight only. No lamps, no heaters, nothing that plugs in.",
    "No glass thermometers, none with mercury; if one breaks, step back and call the teacher.",
    "Real animals are left alone: no catching, no turning over of stones.",
)


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column of a sheet; a number has limits, a word may have a list."""

    meaning: str
    limits: tuple | None = None
    allowed: tuple | None = None
    whole: bool = False
    required: bool = False


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """One lesson's sheet: what a row is, its columns, what names a row, and the rows printed beforehand."""

    title: str
    row: str
    columns: dict
    key: tuple
    first: dict
    rows: int


_AIR, _SURFACE = (-30.0, 60.0), (-30.0, 100.0)
SHEETS = {
    "thermometer_in_the_sun": Sheet(
        title="A thermometer in the sun",
        row="one minute of one group",
        columns={
            "group": Column(meaning="name of your group, such as G1", required=True),
            "cover": Column(meaning="what is around both thermometers", allowed=COVERS, required=True),
            "minute": Column(
                meaning="0, 1, 2: both in the shade; from 2 on the second lies in the sun",
                limits=(0, 60),
                whole=True,
                required=True,
            ),
            "shade_c": Column(meaning="thermometer that stays in the shade (°C)", limits=_AIR),
            "sun_c": Column(meaning="thermometer that goes into the sun (°C)", limits=_SURFACE),
        },
        key=("group", "minute"),
        first={"minute": tuple(range(16))},
        rows=16,
    ),
    "choose_like_a_lizard": Sheet(
        title="Choose like a lizard",
        row="one place of one choice",
        columns={
            "set_id": Column(meaning="which choice, such as S1", required=True),
            "animal_id": Column(meaning="which lizard (pair of pupils), such as L1", required=True),
            "place_id": Column(meaning="which place, P1 to P5", required=True),
            "used": Column(meaning="1 = the lizard chose it, 0 = it did not", limits=(0, 1), whole=True, required=True),
            "shade_air_c": Column(meaning="thermometer shaded by a white card (°C)", limits=_AIR),
            "surface_c": Column(meaning="thermometer pressed on the ground, card over it (°C)", limits=_SURFACE),
            "sun_excess_c": Column(
                meaning="black-card thermometer minus the shaded one, after 5 minutes (°C)", limits=(-20.0, 60.0)
            ),
        },
        key=("set_id", "place_id"),
        first={"place_id": ("P1", "P2", "P3", "P4", "P5") * 3},
        rows=15,
    ),
}


class ClassSheetError(SeasonError):
    """A class sheet that cannot be read as it is; `problems` is the table of what to mend."""


def read_sheet(lesson, path=None):
    """Read a class's sheet, or the invented one.

    Parameters
    ----------
    lesson : {"thermometer_in_the_sun", "choose_like_a_lizard"}
        Which lesson.
    path : str or pathlib.Path, optional
        CSV file or workbook (its first sheet). None: the invented class that comes with the lesson.

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
    raw = _open(path, sheet, problems)
    table = None if raw is None else _understand(raw, path.name, sheet, problems)
    if problems.any_errors:
        raise ClassSheetError(problems.table(), path)
    return table


def _sheet(lesson):
    if lesson not in SHEETS:
        raise FieldkitError(f"There is no lesson '{lesson}': choose {' or '.join(SHEETS)}.")
    return SHEETS[lesson]


def _open(path, sheet, problems):
    """Cells as text or workbook values, index = row as the spreadsheet numbers it; None when that fails."""
    if not path.is_file():
        problems.add(path.name, "There is no such file.", "Check the spelling of the path.")
        return None
    if path.suffix.lower() == ".xlsx":
        try:
            raw = pd.read_excel(path, dtype=object, header=None)
        except Exception:  # openpyxl fails in many ways on a damaged or locked workbook
            problems.add(
                path.name, "This workbook cannot be opened.", "Save it as .xlsx without a password, or as CSV."
            )
            return None
        rows = raw.astype(object).where(raw.notna(), "").to_numpy().tolist()
    else:
        text, _, _ = sheets.decode(path.read_bytes())
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
    for name, column in sheet.columns.items():
        if names.count(name) != 1:
            what = "is missing" if name not in names else "stands more than once"
            problems.add(path.name, f"The column {name} {what}.", f"It holds: {column.meaning}.", column=name)
    if problems.any_errors:
        return None
    wide = [(list(r) + [""] * len(names))[: len(names)] for r in rows[1:]]
    frame = pd.DataFrame(wide, columns=names, index=range(2, len(rows) + 1), dtype=object)[list(sheet.columns)]
    readings = [n for n, c in sheet.columns.items() if not c.required]
    # Printed rows in which nothing was read yet say nothing.
    blank = frame[readings].map(lambda c: cells.is_missing(cells.tidy(c))).all(axis=1)
    if blank.all():
        problems.add(path.name, "No row of the sheet has a reading.", "Fill in at least one row.")
        return None
    return frame[~blank]


def _understand(raw, file, sheet, problems):
    table = pd.DataFrame(index=raw.index)
    numeric = [n for n, c in sheet.columns.items() if c.limits]
    mark = cells.decimal_mark([c.strip() for n in numeric for c in raw[n] if isinstance(c, str)])
    if mark in ("mixed", "unclear"):
        problems.add(file, "The sheet has both decimal commas and points.", "Use one decimal mark everywhere.")
    for name, column in sheet.columns.items():
        if column.limits:
            table[name] = _numbers(raw[name], file, name, column, "," if mark == "," else ".", problems)
        else:
            table[name] = raw[name].map(cells.tidy)
            for row, text in table[name].items():
                if column.allowed and text.lower() not in column.allowed:
                    remedy = "Write " + ", ".join(column.allowed) + "."
                    problems.add(file, "This word is not on the list.", remedy, row=row, column=name, value=text)
                elif cells.is_missing(text):
                    problems.add(file, "This cell is empty.", f"Write {column.meaning}.", row=row, column=name)
            if column.allowed:
                table[name] = table[name].str.lower()
    for row in table.index[table.duplicated(list(sheet.key), keep="first")]:
        problems.add(
            file,
            f"This row stands twice ({', '.join(f'{k} {table.loc[row, k]}' for k in sheet.key)}).",
            "Keep one of them; two groups need two names.",
            row=row,
        )
    for name, column in sheet.columns.items():
        if column.whole and column.required and not problems.any_errors:
            table[name] = table[name].astype(int)
    return table.reset_index(drop=True)


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
    return pd.DataFrame({name: sheet.first.get(name, [None] * sheet.rows) for name in sheet.columns})


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
    sheet = _sheet(lesson)
    meanings = pd.DataFrame([(n, c.meaning) for n, c in sheet.columns.items()], columns=["column", "what to write"])
    written.append(spreadsheet.write_xlsx({"sheet": table, "what to write": meanings}, folder / f"{lesson}.xlsx"))
    for paper in ("A4", "Letter"):
        page = folder / f"{lesson}_{paper}.html"
        with page.open("x", encoding="utf-8") as file:
            file.write(printable(lesson, paper=paper))
        written.append(page)
    return written


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
    blanks = "".join(f"<span>{name}:</span>" for name in ("Class", "Date", "Group", "Sky, wind"))
    head = "".join(f"<th>{html.escape(n).replace('_', '_<wbr>')}</th>" for n in sheet.columns)
    rows = blank(lesson).astype(object).where(lambda t: t.notna(), "").to_numpy().tolist()
    body = "".join("<tr>" + "".join(f"<td>{html.escape(str(c))}</td>" for c in row) + "</tr>" for row in rows)
    how = "".join(f"<li><b>{html.escape(n)}</b>: {html.escape(c.meaning)}</li>" for n, c in sheet.columns.items())
    care = "".join(f"<li>{html.escape(line)}</li>" for line in SAFETY)
    return template.page_to_print(
        f"{sheet.title} ({paper})",
        f"<section><h1>{html.escape(sheet.title)}</h1><p class='blanks'>{blanks}</p>"
        f"<p>One row is {html.escape(sheet.row)}. Leave a cell empty if it was not read.</p><ol>{how}</ol>"
        f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
        f"<h2>Take care</h2><ol>{care}</ol></section>",
        paper=paper,
        row="5mm",
    )
