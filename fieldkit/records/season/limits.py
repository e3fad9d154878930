"""Tables held against the limits that their columns are declared with."""

import pandas as pd
import pandera.errors

from fieldkit.records import schema as schemas
from fieldkit.records.reading import cells, headers


def validate(frame, where, table, problems):
    """Hold a table against its declaration; what could not be read was said already."""
    declared = schemas.ALL_TABLES[table]
    present = declared.remove_columns([c for c in declared.columns if c not in frame.columns])
    try:
        present.validate(frame, lazy=True)
    except pandera.errors.SchemaErrors as error:
        for case in error.failure_cases.itertuples(index=False):
            column, index = case.column, int(case.index)
            if where.loc[index, f"{column} bad"]:
                continue
            name = where.loc[index, f"{column} name"] if f"{column} name" in where else column
            if case.check == "not_nullable" and pd.isna(name):
                continue  # the file has no such column, which was said once
            value = cells.tidy(where.loc[index, column]) if column in where else None
            problem, remedy = _why_outside(case.check, table, column, value)
            problems.add(
                where.loc[index, "file"], problem, remedy, row=int(where.loc[index, "row"]), column=name, value=value
            )


def _why_outside(check, table, column, value):
    if check == "not_nullable":
        return why_empty(schemas.ALL_TABLES[table].columns[column].description)
    if check == "allowed":
        return "This is neither 1 nor 0.", "Write 1 or 0."
    if check == "whole":
        return "This is not a whole number.", "Write how many animals the row stands for."
    limits = schemas.column_range(table, column)
    low, high = limits.limits
    unit = f" {limits.unit}" if limits.unit else ""
    remedy = "Correct the reading, or leave the cell empty if it was never taken."
    if limits.dimension == "temperature" and _could_be_fahrenheit(value):
        remedy = f"If this is in °F, write the header as '{headers.stem(column)} [degF]'; else correct the reading."
    return f"This lies outside {low:g} to {high:g}{unit}, the limits for {headers.stem(column)}.", remedy


def why_empty(wanted):
    return (
        "This cell is empty.",
        f"Write {wanted}. If one cell was meant for several rows, fill each of them; if the row is a total or a "
        "remark, delete it.",
    )


def _could_be_fahrenheit(value):
    try:
        return 50 < float(str(value).replace(",", ".")) < 170
    except ValueError:
        return False
