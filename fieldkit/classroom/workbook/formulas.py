"""Parts of formulas that both workbooks share."""

CLASS, LAST = "class sheet", {"thermometer_in_the_sun": 321, "choose_like_a_lizard": 61}
GROUPS, LIZARDS = 24, 40
TO_MEND, LOOK_AGAIN = "to mend", "look again"


def typed(letter, row):
    """Cell of the first sheet that a row of `working` reads."""
    return f"'{CLASS}'!{letter}{row}"


def text(letter, row):
    """That cell as text without blanks at its ends."""
    return f'TRIM({typed(letter, row)}&"")'


def as_number(letter, row):
    """That cell as a number, also when it is text such as "21,5 °C"; else empty text."""
    plain = f'SUBSTITUTE(SUBSTITUTE(SUBSTITUTE(UPPER({text(letter, row)}),"°",""),"C",""),",",".")'
    # 1/0 where nothing is left, of which NUMBERVALUE would make 0.
    read = f'IFERROR(_xlfn.NUMBERVALUE({plain},".")/(LEN({plain})>0),"")'
    return f"IF(ISNUMBER({typed(letter, row)}),{typed(letter, row)},{read})"


def array(sheet, cell, formula):
    """Put a formula into a cell that works through whole columns at once."""
    from openpyxl.worksheet.formula import ArrayFormula

    sheet[cell] = ArrayFormula(cell, formula)


def column(sheet, letter, last):
    """A column of rows of a sheet, fixed."""
    return f"{sheet}!${letter}$2:${letter}${last}"


def head(sheet, *names):
    """Names of the columns of a sheet."""
    for number, name in enumerate(names, start=1):
        sheet.cell(1, number, name)


def named(book, name, sheet, cell):
    """Name of the workbook for one cell."""
    from openpyxl.workbook.defined_name import DefinedName

    column, row = cell.rstrip("0123456789"), cell.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    book.defined_names[name] = DefinedName(name, attr_text=f"'{sheet.title}'!${column}${row}")


def number_wrong(letter, row, name, limits):
    """Formula parts that say what is wrong with a reading: not a number, out of its limits."""
    low, high = (f"{limit:g}" for limit in limits)
    read = f"working!{letter}{row}"
    return (
        (f'AND({text(letter, row)}<>"",NOT(ISNUMBER({read})))', f"{name} is not a number"),
        (
            f"AND(ISNUMBER({read}),OR({read}<{low},{read}>{high}))",
            f"{name}: readings from {low} to {high}",
        ),
    )


def first_true(parts, otherwise='""'):
    """Formula that says the words of the first condition that holds."""
    formula = otherwise
    for condition, words in reversed(parts):
        formula = f'IF({condition},"{words}",{formula})'
    return formula


def below(last):
    """Condition and words for rows that were typed below those the formulas read."""
    typed_below = f"COUNTA('{CLASS}'!A{last + 1}:F{last + 5000})>0"
    return typed_below, f"Rows below row {last} are not counted: take them out, or use the notebook."


def chart(kind, title, x, y):
    """An empty chart with its titles."""
    chart = kind()
    chart.title, chart.x_axis.title, chart.y_axis.title = title, x, y
    # Without this, axes stay hidden in some programs.
    chart.x_axis.delete = chart.y_axis.delete = False
    chart.x_axis.tickLblPos = chart.y_axis.tickLblPos = "low"
    chart.height, chart.width = 9, 18
    return chart
