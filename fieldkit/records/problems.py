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
    >>> found.add("choices.csv", "This is neither 1 nor 0.", "Write 1 or 0.", row=4, column="used", value="maybe")
    >>> print(SeasonError(found.table(), "my_season"))
    1 error in my_season:
    <BLANKLINE>
    ERROR    choices.csv, row 4, column used: "maybe"
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
        self._suggested = []

    def add(self, file, problem, remedy, *, row=None, column=None, value=None, severity="error"):
        """Note one problem; without a row it concerns the whole file."""
        shown = "" if value is None else str(value)
        if len(shown) > 60:
            shown = shown[:57] + "…"
        self._rows.append((str(file), row, column or "", shown, problem, remedy, severity))

    def warn(self, file, problem, remedy, *, row=None, column=None, value=None):
        """Note something suspicious that may be true all the same."""
        self.add(file, problem, remedy, row=row, column=column, value=value, severity="warning")

    def suggest(self, section, key, value):
        """Note a line for season.toml that would mend something."""
        self._suggested.append((section, key, value))

    @property
    def any_errors(self):
        return any(row[-1] == "error" for row in self._rows)

    def files_with_errors(self):
        """Names of the files in which something has to be mended."""
        return {row[0] for row in self._rows if row[-1] == "error"}

    def table(self):
        """Everything noted, errors first, each file from top to bottom; `.attrs["suggested"]` are lines to add."""
        table = pd.DataFrame(self._rows, columns=COLUMNS)
        table["row"] = pd.array(table["row"], dtype="Int64")
        table = table.drop_duplicates()
        order = pd.DataFrame(
            {"severity": table["severity"], "file": table["file"], "row": table["row"].fillna(0).astype(int)}
        ).sort_values(["severity", "file", "row"], kind="stable")
        table = table.loc[order.index].reset_index(drop=True)
        table.attrs["suggested"] = list(dict.fromkeys(self._suggested))
        return table


def _count(number, one, many):
    return f"{number} {one if number == 1 else many}"


def summary(problems):
    """The same mistake in many rows, said once.

    Parameters
    ----------
    problems : pandas.DataFrame
        As in `SeasonError.problems` or `Season.warnings`.

    Returns
    -------
    pandas.DataFrame
        Columns severity, file, rows and cells (the first few, as text), column, problem, remedy, times.

    Examples
    --------
    >>> found = Problems()
    >>> for row in range(2, 12):
    ...     found.warn("scans.csv", "This is unusual.", "Check it.", row=row, column="count", value=row + 300)
    >>> summary(found.table()).loc[0, "rows"]
    '2, 3, 4, 5, 6 and 5 more'
    """
    keys = ["severity", "file", "column", "problem", "remedy"]
    said = []
    for values, group in problems.groupby(keys, sort=False, dropna=False):
        rows = [str(r) for r in group["row"].dropna()]
        written = list(dict.fromkeys(group.loc[group["value"] != "", "value"]))
        shown = ", ".join(rows[:_SHOWN])
        if len(rows) > _SHOWN:
            shown += f" and {len(rows) - _SHOWN:,} more"
        quoted = ", ".join(f'"{c}"' for c in written[:_SHOWN]) + (" …" if len(written) > _SHOWN else "")
        said.append(dict(zip(keys, values)) | {"rows": shown, "cells": quoted, "times": len(group)})
    return pd.DataFrame(said, columns=["severity", "file", "rows", "column", "cells", "problem", "remedy", "times"])


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
    said_once = summary(problems)
    errors = int((said_once["severity"] == "error").sum())
    warnings = len(said_once) - errors
    counts = []
    if errors:
        counts.append(_count(errors, "error", "errors"))
    if warnings:
        counts.append(_count(warnings, "warning", "warnings"))
    lines = [f"{' and '.join(counts)} in {place}:" if counts else f"Nothing wrong found in {place}."]
    for said in said_once.itertuples(index=False):
        where = said.file
        if said.rows:
            word = "line" if said.file.endswith(".toml") else "row"
            where += f", {word}{'s' if said.times > 1 else ''} {said.rows}"
        if said.column:
            where += f", column {said.column}"
        if said.cells:
            where += f": {said.cells}"
        mark, indent = f"{said.severity.upper():9}", " " * 9
        lines.append("")
        for first, text in ((mark, where), (indent, said.problem), (indent, "What to do: " + said.remedy)):
            lines += textwrap.wrap(text, width, initial_indent=first, subsequent_indent=indent, break_on_hyphens=False)
    return "\n".join(lines)
