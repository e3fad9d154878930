"""Sheets that make a lesson's workbook compute itself: formulas and charts only, no macro, any office program.

The first sheet takes the rows; `working` tidies them, `groups` or `rounds` pool them, `answer` says what came out.
Names of the workbook point at the numbers (such as `difference_c`). The t quantile for the fractional degrees of
freedom of Welch's test comes from the beta distribution, because T.INV.2T cuts them to whole ones.
"""

from fieldkit.classroom.workbook import covers, rounds
from fieldkit.classroom.workbook.formulas import CLASS, LAST, LOOK_AGAIN, TO_MEND


def add_answer(book, lesson, columns):
    """Add the sheets that compute a lesson's answer to a workbook whose first sheet takes the rows.

    Parameters
    ----------
    book : openpyxl.Workbook
        Its first sheet is headed by the columns of the lesson's sheet.
    lesson : {"thermometer_in_the_sun", "choose_like_a_lizard"}
        Which lesson.
    columns : dict
        Columns of the lesson's sheet: their limits and allowed words.

    Notes
    -----
    Welch, B. L. (1947), Biometrika 34: 28. P(|T| > t) is the incomplete beta function of v/(v + t²) with v/2 and 1/2:
    Abramowitz & Stegun (1964), 26.7.1 and 26.5.27.

    Examples
    --------
    >>> import openpyxl
    >>> from fieldkit.classroom.declared import SHEETS
    >>> book = openpyxl.Workbook()
    >>> add_answer(book, "choose_like_a_lizard", SHEETS["choose_like_a_lizard"].columns)
    >>> book.sheetnames[1:]
    ['answer', 'rounds', 'lizards', 'working', 'orders']
    """
    page = book.worksheets[0]
    page.title = CLASS
    (covers if lesson == "thermometer_in_the_sun" else rounds).add(book, page, columns, LAST[lesson])
    _look(book, page, len(columns), LAST[lesson])


def _look(book, page, columns, last):
    """Widths, a colour for rows to mend, and each sheet on one page's width when printed."""
    from openpyxl.formatting.rule import FormulaRule
    from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
    from openpyxl.utils import get_column_letter

    letter = get_column_letter(columns + 1)
    page[f"{letter}1"] = TO_MEND
    page.column_dimensions[letter].width = 44
    odd = get_column_letter(columns + 2)
    page[f"{odd}1"] = LOOK_AGAIN
    page.column_dimensions[odd].width = 64
    red, block = PatternFill("solid", bgColor="F6C9B8"), Border(top=Side(style="thin"))
    over = f"A2:{letter}{last}"
    page.conditional_formatting.add(over, FormulaRule(formula=[f'${letter}2<>""'], fill=red))
    orange = PatternFill("solid", bgColor="FBE3B0")
    page.conditional_formatting.add(f"{odd}2:{odd}{last}", FormulaRule(formula=[f'${odd}2<>""'], fill=orange))
    starts = '$C2&""="0"' if columns == 5 else '$B2="P1"'
    page.conditional_formatting.add(over, FormulaRule(formula=[starts], border=block))
    for sheet in book.worksheets:
        sheet.page_setup.orientation, sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = "landscape", 1, 0
        sheet.sheet_properties.pageSetUpPr.fitToPage = True
        sheet.print_title_rows = "1:1" if sheet.title != "answer" else None
        for cell in sheet[1]:
            cell.font = Font(bold=True)
        if sheet.title in ("groups", "rounds", "working"):
            for number in range(1, sheet.max_column + 1):
                sheet.column_dimensions[get_column_letter(number)].width = 15
    answer = book["answer"]
    answer.page_setup.fitToHeight = 1
    answer.column_dimensions["A"].width = 42
    for letter in "BCDEF":
        answer.column_dimensions[letter].width = 13
    notes = f"SUMPRODUCT(--(LEN('{CLASS}'!{odd}2:{odd}{last})>0))"
    answer["A3"] = (
        f'=IF({notes}>0,"Look again: "&{notes}&" orange notes in the class sheet, column ""{LOOK_AGAIN}"".","")'
    )
    for row, size in ((1, 16), (2, 12), (3, 12)):
        answer.merge_cells(f"A{row}:G{row}")
        answer[f"A{row}"].font = Font(bold=row == 1, size=size)
        answer[f"A{row}"].alignment = Alignment(wrap_text=True, vertical="top")
        answer.row_dimensions[row].height = 64 if row < 3 else 20
    book.calculation.fullCalcOnLoad = True
