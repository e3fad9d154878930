"""What is written in a cell, turned into numbers and moments in time; what cannot be turned is said, never guessed."""

import datetime as dt
import re

import numpy as np
import pandas as pd

MISSING = {"", "na", "n/a", "nan", "null", "none", "-", "–", "—", "#n/a"}

# "Not stated" in the main European languages.
MISSING |= {"k.a.", "k. a.", "keine angabe", "s/d", "s.d.", "n.d.", "n.v.t.", "n.b.", "b.d.", "n/d"}

_SPREADSHEET_ERRORS = {"#div/0!", "#ref!", "#value!", "#name?", "#num!", "#null!", "#spill!", "#calc!"}

CODES = {-9999.0, -999.0, -99.9, -999.9, 9999.0, 99999.0, -99999.0}

_DOT = re.compile(r"[-+]?\d*\.\d+(e[-+]?\d+)?", re.I)

_COMMA = re.compile(r"[-+]?\d*,\d+(e[-+]?\d+)?", re.I)

_COMMA_GROUP = re.compile(r"[-+]?[1-9]\d{0,2}(,\d{3})+")


def tidy(cell):
    """A cell as text without stray blanks; numbers of a workbook come out as a person would write them.

    Examples
    --------
    >>> tidy(" R07\\u00a0"), tidy(7.0), tidy(None)
    ('R07', '7', '')
    """
    if cell is None or cell is pd.NaT or (isinstance(cell, float) and np.isnan(cell)):
        return ""
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return str(int(cell))
    if isinstance(cell, str):
        return cell.replace("\u00a0", " ").replace("\u202f", " ").strip()
    return str(cell)


def is_missing(text):
    """True for an empty cell and the usual ways to write one.

    Examples
    --------
    >>> is_missing("n/a"), is_missing("0")
    (True, False)
    """
    return text.lower() in MISSING


def decimal_mark(texts):
    """Which decimal mark the numbers of one file use.

    Parameters
    ----------
    texts : iterable of str
        Cells of the number columns.

    Returns
    -------
    str
        "." or ",", "mixed" when both occur, or "unclear" when every comma could also part thousands.

    Examples
    --------
    >>> decimal_mark(["12,5", "7"]), decimal_mark(["12.5"]), decimal_mark(["1,234"]), decimal_mark(["1,5", "2.5"])
    (',', '.', 'unclear', 'mixed')
    """
    dot = comma = unclear = False
    for text in texts:
        if "," in text:
            if _COMMA_GROUP.fullmatch(text):
                unclear = True
            elif _COMMA.fullmatch(text):
                comma = True
        elif "." in text and _DOT.fullmatch(text):
            dot = True
    if dot and comma:
        return "mixed"
    if comma:
        return ","
    return "unclear" if unclear else "."


def numbers(cells, *, decimal="."):
    """Turn cells into floats.

    Parameters
    ----------
    cells : pandas.Series of object
        As read; the index is kept.
    decimal : {".", ","}
        Decimal mark of the file.

    Returns
    -------
    values : pandas.Series of float
        NaN where the cell is empty or wrong.
    wrong : list of (index, value, problem, remedy)

    Examples
    --------
    >>> values, wrong = numbers(pd.Series(["12,5", "", "23 C"]), decimal=",")
    >>> values.tolist()
    [12.5, nan, nan]
    >>> wrong[0][2]
    'This is not a number.'
    """
    strange = cells.map(lambda c: isinstance(c, bool | dt.date | dt.time | dt.timedelta))
    texts = cells.where(~strange, None).map(tidy)
    plain = texts.str.replace("−", "-", regex=False)
    if decimal == ",":
        plain = plain.str.replace(",", ".", regex=False)
    empty = texts.str.lower().isin(MISSING)
    values = pd.to_numeric(plain.mask(empty), errors="coerce").astype(float)
    values = values.mask(~np.isfinite(values))
    wrong = []
    for index in cells.index[(values.isna() & ~empty) | strange | values.isin(CODES)]:
        wrong.append((index, tidy(cells[index]), *_why_no_number(cells[index], texts[index])))
    values[[w[0] for w in wrong]] = np.nan
    return values, wrong


def _why_no_number(cell, text):
    if isinstance(cell, dt.date | dt.time | dt.timedelta):
        return (
            "The spreadsheet has turned this number into a date or a time.",
            "Format the column as a plain number and type the reading again.",
        )
    if isinstance(cell, bool):
        return "This is TRUE or FALSE, not a number.", "Write the reading."
    if text.lower() in _SPREADSHEET_ERRORS:
        return (
            "The formula in this cell fails.",
            "Mend the formula, or write the reading itself, or leave the cell empty.",
        )
    if re.fullmatch(r"[-+]?\d+(\.\d+)?", text) and float(text) in CODES:
        return "This looks like a code for a missing reading, not a reading.", "Leave the cell empty."
    if re.fullmatch(r"[<>~≈≤≥].*", text):
        return "This is not one number.", "Write the best reading as a number and put the rest in the notes column."
    if re.fullmatch(r"[-+]?\d{1,3}([ '’.,]\d{3})+([.,]\d+)?", text):
        return "This number has marks between the thousands.", "Write it without them, such as 1234.5."
    if re.fullmatch(r"[-+−]?\d+([.,]\d+)?\s*[^\d\s]+.*", text):
        return (
            "This is not a number.",
            "Write the number alone; the unit goes into the header, doubts and remarks into the notes column.",
        )
    return "This is not a number.", "Write the reading as a number, or leave the cell empty if there was none."
