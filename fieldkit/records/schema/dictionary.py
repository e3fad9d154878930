"""The data dictionary, made from the schema; as a table and as a page."""

import html

import pandas as pd

from .settings import FREE_SECTIONS, SETTINGS
from .tables import TABLES
from .units import RANGES


def data_dictionary(*, tables=None, settings=None, file="season.toml"):
    """Every column of every table and every setting, as one table.

    Parameters
    ----------
    tables : dict of str to pandera.DataFrameSchema, optional
        Those of a season folder by default.
    settings : sequence of Setting, optional
        Those of season.toml by default.
    file : str
        Name of the file that holds the settings.

    Returns
    -------
    pandas.DataFrame
        Columns: table, column, unit, required, lowest, highest, usual, meaning, example, limits from.

    Examples
    --------
    >>> words = data_dictionary()
    >>> words.set_index(["table", "column"]).loc[("choices", "surface_c"), "unit"]
    '°C'
    """
    rows = []
    for name, schema in (TABLES if tables is None else tables).items():
        either = {c for group in schema.metadata["one_of"] for c in group}
        for column, declared in schema.columns.items():
            row = {
                "table": name,
                "column": column,
                "required": "yes" if declared.required else ("one of these" if column in either else "no"),
                "meaning": declared.description.replace("season.toml", file),
                "example": declared.metadata["example"],
            }
            quantity = declared.metadata["quantity"]
            if limits := RANGES[quantity] if quantity else None:
                row |= {
                    "unit": limits.unit,
                    "lowest": f"{limits.limits[0]:g}",
                    "highest": f"{limits.limits[1]:g}",
                    "usual": f"{limits.usual[0]:g} to {limits.usual[1]:g}",
                    "limits from": limits.source,
                }
            rows.append(row)
    for setting in SETTINGS if settings is None else settings:
        row = {
            "table": f"{file} [{setting.section}]",
            "column": setting.key,
            "unit": setting.unit,
            "required": "yes" if setting.required else "no",
            "meaning": setting.meaning
            + ("; one of " + ", ".join(map(str, setting.allowed)) if setting.allowed else ""),
        }
        if setting.limits:
            row |= {"lowest": f"{setting.limits[0]:g}", "highest": f"{setting.limits[1]:g}"}
        rows.append(row)
    for section, meaning in FREE_SECTIONS.items():
        rows.append({"table": f"{file} [{section}]", "column": "(your own)", "required": "no", "meaning": meaning})
    columns = ["table", "column", "unit", "required", "lowest", "highest", "usual", "meaning", "example", "limits from"]
    return pd.DataFrame(rows, columns=columns).fillna("")


def data_dictionary_html(*, tables=None, settings=None, file="season.toml"):
    """The data dictionary as a piece of HTML (no page around it).

    Parameters
    ----------
    tables, settings, file
        As in `data_dictionary`.

    Examples
    --------
    >>> data_dictionary_html()[:16]
    '<h3>choices</h3>'
    """
    parts = []
    known = TABLES if tables is None else tables
    words = data_dictionary(tables=tables, settings=settings, file=file)
    for name, part in words.groupby("table", sort=False):
        parts.append(f"<h3>{html.escape(name)}</h3>")
        if name in known:
            parts.append(f"<p>One row is {html.escape(known[name].description)}.</p>")
        parts.append(part.drop(columns="table").to_html(index=False, border=0))
    return "\n".join(parts)
