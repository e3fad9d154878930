"""Sheets of the two lessons before anybody fills them: workbooks to type into, pages to print."""

import html

import pandas as pd

from fieldkit.classroom import workbook
from fieldkit.classroom.declared import ROUNDS, SAFETY, declared
from fieldkit.records import spreadsheet
from fieldkit.records.season import printed


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
    sheet = declared(lesson)
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
        if "taken_by" in table:
            written.append(folder / f"{lesson}_cards_{paper}.html")
            with written[-1].open("x", encoding="utf-8") as file:
                file.write(cards(paper=paper))
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

    sheet = declared(lesson)
    book = openpyxl.Workbook()
    _sheet_to_type(book.active, sheet, table, workbook.LAST[lesson])
    workbook.add_answer(book, lesson, sheet.columns)
    _meanings(book, sheet)
    with path.open("xb") as file:
        book.save(file)
    return path


def cards(*, paper="A4", lizards=32):
    """Slips for the lizards: the secret card, the lizard's number, and a blank for its choice in each round.

    Parameters
    ----------
    paper : {"A4", "Letter"}
        Size of the paper, printed across; eight slips a page, to cut apart.
    lizards : int
        How many.

    Returns
    -------
    str
        A self-contained HTML page.

    Examples
    --------
    >>> cards(lizards=2).count("Secret card")
    2
    """
    secret = "You are cold. In two minutes you must be as warm as you can. Feel with the back of your hand; no "
    secret += "thermometers, no talking. Write where you go, then go there at the whistle."
    rounds = "".join(f"<td>round {number}: P</td>" for number in range(1, ROUNDS + 1))
    slips = "".join(
        f"<tbody style='break-inside: avoid'><tr><td>Lizard <b>L{number}</b></td>"
        f"<td colspan='{ROUNDS - 1}'>Secret card: {secret}</td></tr><tr>{rounds}</tr></tbody>"
        for number in range(1, lizards + 1)
    )
    return printed.page_to_print(
        f"Lizards ({paper})", f"<section><table>{slips}</table></section>", paper=paper, row="11mm"
    )


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
    meanings.page_setup.orientation, meanings.page_setup.fitToHeight = "landscape", 0
    meanings.sheet_properties.pageSetUpPr.fitToPage = True
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
    sheet = declared(lesson)
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
