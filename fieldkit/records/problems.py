"""Mistakes in records, said so that the person who made them can mend them."""

import textwrap

import pandas as pd

from fieldkit.core import FieldkitError

COLUMNS = ["file", "row", "column", "value", "problem", "remedy", "severity"]
_SHOWN = 5


class SeasonError(FieldkitError):
    """A season folder that cannot be read as it is.

    Parameters
    ----------
    problems : pandas.DataFrame
        Columns file, row (as the spreadsheet numbers it), column, value, problem, remedy, severity.
    place : str or pathlib.Path
        The folder.

    Examples
    --------
    >>> found = Problems()
    >>> found.add("choices.csv", 4, "used", "maybe", "This is neither 1 nor 0.", "Write 1 or 0.")
    >>> print(SeasonError(found.table(), "my_season"))
    1 mistake to mend in my_season:
    <BLANKLINE>
    MEND   choices.csv, row 4, column used: "maybe"
           This is neither 1 nor 0.
           What to do: Write 1 or 0.
    """

    def __init__(self, problems, place):
        super().__init__(problems, place)
        self.problems = problems
        self.place = place

    def __str__(self):
        return as_text(self.problems, self.place)


class Problems:
    """Gathers what is wrong, so that a person hears it all at once."""

    def __init__(self):
        self._rows = []

    def add(self, file, row, column, value, problem, remedy, severity="error"):
        """Note one problem; row and column may be None when it concerns the whole file."""
        shown = "" if value is None else str(value)
        if len(shown) > 60:
            shown = shown[:57] + "…"
        self._rows.append((str(file), row, column or "", shown, problem, remedy, severity))

    def warn(self, file, row, column, value, problem, remedy):
        """Note something suspicious that may be true all the same."""
        self.add(file, row, column, value, problem, remedy, "warning")

    @property
    def any_errors(self):
        return any(row[-1] == "error" for row in self._rows)

    def table(self):
        """Everything noted, errors first, each file from top to bottom."""
        table = pd.DataFrame(self._rows, columns=COLUMNS)
        table["row"] = pd.array(table["row"], dtype="Int64")
        table = table.drop_duplicates()
        order = pd.DataFrame(
            {"severity": table["severity"], "file": table["file"], "row": table["row"].fillna(0).astype(int)}
        ).sort_values(["severity", "file", "row"], kind="stable")
        return table.loc[order.index].reset_index(drop=True)


def _count(number, one, many):
    return f"{number} {one if number == 1 else many}"


def as_text(problems, place, *, width=100):
    """Say a table of problems for a terminal; the same mistake in many rows is said once.

    Parameters
    ----------
    problems : pandas.DataFrame
        As in `SeasonError.problems`.
    place : str or pathlib.Path
        What was read.
    width : int
        Characters a line.

    Returns
    -------
    str
    """
    errors = int((problems["severity"] == "error").sum())
    warnings = len(problems) - errors
    counts = []
    if errors:
        counts.append(_count(errors, "mistake to mend", "mistakes to mend"))
    if warnings:
        counts.append(_count(warnings, "thing to look at", "things to look at"))
    lines = [f"{' and '.join(counts)} in {place}:" if counts else f"Nothing wrong found in {place}."]
    keys = ["severity", "file", "column", "problem", "remedy"]
    for (severity, file, column, problem, remedy), group in problems.groupby(keys, sort=False, dropna=False):
        where = file
        rows = group["row"].dropna()
        values = group.loc[group["value"] != "", "value"]
        if len(rows) == 1:
            where += f", row {rows.iloc[0]}"
        elif len(rows) > 1:
            where += ", rows " + ", ".join(str(r) for r in rows.iloc[:_SHOWN])
            if len(rows) > _SHOWN:
                where += f" and {len(rows) - _SHOWN:,} more"
        if column:
            where += f", column {column}"
        if len(values):
            where += ": " + ", ".join(f'"{v}"' for v in values.iloc[:_SHOWN])
            if len(values) > _SHOWN:
                where += " …"
        mark = "MEND   " if severity == "error" else "LOOK   "
        lines.append("")
        lines += textwrap.wrap(where, width, initial_indent=mark, subsequent_indent=" " * 7, break_on_hyphens=False)
        for text in (problem, "What to do: " + remedy):
            indent = " " * 7
            lines += textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False)
    return "\n".join(lines)
