"""Tables written for spreadsheet programs, so that no cell can run as a formula."""

import datetime as dt
import re
from pathlib import Path

from fieldkit.core import new_files

# What a spreadsheet takes for the start of a formula or command, with the full-width forms that some convert.
_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
_NUMBER = re.compile(r"[-+]?(\d+([.,]\d*)?|[.,]\d+)(e[-+]?\d+)?%?", re.I)
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")


def safe_cell(value):
    """A value that no spreadsheet program will run; numbers, also negative ones, stay as they are.

    Parameters
    ----------
    value : object
        Text that could be run gets an apostrophe in front; anything else is given back unchanged.

    Returns
    -------
    object

    Examples
    --------
    >>> safe_cell("=SUM(A1:A9)"), safe_cell("-3.5"), safe_cell(-3.5), safe_cell("-"), safe_cell("@home")
    ("'=SUM(A1:A9)", '-3.5', -3.5, '-', "'@home")
    """
    if not isinstance(value, str):
        return value
    bare = value.lstrip(" \u00a0\ufeff")
    if not bare.startswith(_STARTS) or bare in ("-", "+") or _NUMBER.fullmatch(bare):
        return value
    return "'" + value


def safe_table(table):
    """A table of which no spreadsheet program will run a header or a cell.

    Parameters
    ----------
    table : pandas.DataFrame
        Column headers, cells and index.

    Returns
    -------
    pandas.DataFrame

    Examples
    --------
    >>> import pandas as pd
    >>> print(safe_table(pd.DataFrame({"@name": ["=1+1"], "t": -2.5}, index=["+R07"])).to_csv().strip())
    ,'@name,t
    '+R07,'=1+1,-2.5
    """
    safe = table.rename(columns=safe_cell)
    for position in range(table.shape[1]):
        values = table.iloc[:, position]
        if values.dtype == object or str(values.dtype) in ("str", "string", "category"):
            safe.isetitem(position, values.astype(object).map(safe_cell))
    if table.index.nlevels > 1:
        safe.index = table.index.map(lambda names: tuple(map(safe_cell, names)))
    elif table.index.dtype == object or str(table.index.dtype) in ("str", "string", "category"):
        safe.index = table.index.map(safe_cell)
    safe.index.names = [safe_cell(name) for name in table.index.names]
    return safe


def write_csv(table, path):
    """Write a table as CSV that spreadsheet programs open with its letters intact; no file is overwritten.

    Parameters
    ----------
    table : pandas.DataFrame
        Written without its index.
    path : str or pathlib.Path
        New file.

    Returns
    -------
    pathlib.Path

    Raises
    ------
    FieldkitError
        When the file is there already.

    Examples
    --------
    >>> import pandas as pd, tempfile
    >>> file = write_csv(pd.DataFrame({"notes": ["=1+1"], "t": [-2.5]}), tempfile.mkdtemp() + "/safe.csv")
    >>> print(file.read_text(encoding="utf-8-sig").strip())
    notes,t
    '=1+1,-2.5
    """
    with new_files(path) as (file,):
        safe_table(table).to_csv(file, index=False, encoding="utf-8-sig", lineterminator="\r\n")
    return Path(path).expanduser()


def write_xlsx(tables, path):
    """Write tables as the sheets of one workbook; text stays text, whatever it starts with; no file is overwritten.

    Parameters
    ----------
    tables : dict of str to pandas.DataFrame
        Name of the sheet and what stands in it, without the index.
    path : str or pathlib.Path
        New file.

    Returns
    -------
    pathlib.Path

    Raises
    ------
    FieldkitError
        When the file is there already.

    Examples
    --------
    >>> import openpyxl, pandas as pd, tempfile
    >>> file = write_xlsx({"safe": pd.DataFrame({"notes": ["=1+1"]})}, tempfile.mkdtemp() + "/safe.xlsx")
    >>> cell = openpyxl.load_workbook(file)["safe"]["A2"]
    >>> cell.value, cell.data_type
    ('=1+1', 's')
    """
    import openpyxl
    from openpyxl.styles import Font

    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, table in tables.items():
        sheet = book.create_sheet(re.sub(r"[\[\]:*?/\\]", " ", name)[:31])
        for row, values in enumerate([list(table.columns), *table.itertuples(index=False, name=None)], start=1):
            for column, value in enumerate(values, start=1):
                put(sheet, row, column, value)
        for cell in sheet[1]:
            cell.font = Font(bold=True)
        sheet.freeze_panes = "A2"
    with new_files(path) as (file,):
        book.save(file)
    return Path(path).expanduser()


def put(sheet, row, column, value):
    """Put one value into a cell of an openpyxl sheet; text is never a formula.

    Parameters
    ----------
    sheet : openpyxl.worksheet.worksheet.Worksheet
        Where it goes.
    row, column : int
        Counted from 1.
    value : object
        Missing values leave the cell empty; times keep their zone as text.

    Returns
    -------
    openpyxl.cell.Cell
    """
    import pandas as pd

    cell = sheet.cell(row, column)
    if value is None or (not isinstance(value, str) and pd.isna(value)):
        return cell
    if isinstance(value, dt.datetime) and value.tzinfo is not None:
        value = value.isoformat(sep=" ")
    if hasattr(value, "item"):
        value = value.item()
    if not isinstance(value, str):
        cell.value = value
        return cell
    cell.value = _CONTROL.sub("", value)
    cell.data_type = "s"
    # Keeps it text when a person edits the cell.
    cell.quotePrefix = safe_cell(value) != value
    return cell
