"""Targets read from a file that a person can write, and the file that a new enclosure starts with."""

import json
import textwrap
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd

from fieldkit.captive.targets.standards import CONTACT_SCOPE, NO_UV, UV_EXPOSURE, standard_rows, uv_exposure
from fieldkit.captive.targets.table import BASES, COLUMNS, HOTTEST_C, UNITS, ZONES, Kind, make, target_row
from fieldkit.core import FieldkitError
from fieldkit.records.reading import opening

# Written in a targets file for a species of which nobody knows how it basks.
UNKNOWN = "unknown"
# Words of older files.
_OLD = {"witnesses": "n_independent"}


def from_text(text, *, kind, name="targets"):
    """Read targets from TOML or JSON text.

    Parameters
    ----------
    text : str
        As `Targets.to_toml` or `Targets.to_json` write it, or a person changed it.
    kind : {"toml", "json"}
        Which of the two.
    name : str
        Name of the file, for messages.

    Returns
    -------
    Targets

    Raises
    ------
    FieldkitError
        With the row and what to do.

    Examples
    --------
    >>> text = '[[target]]\\ntarget = "shade_air_c"\\nlow = 20\\nhigh = 25\\nsource = "my log"'
    >>> from_text(text, kind="toml").table.loc[0, ["unit", "period"]].tolist()
    ['°C', 'all']
    """
    try:
        whole = tomllib.loads(text) if kind == "toml" else json.loads(text)
    # A number of thousands of digits is a ValueError too; brackets within brackets end in a RecursionError.
    except (ValueError, RecursionError) as error:
        raise FieldkitError(f"{name} cannot be read as {kind.upper()}: {error}. Compare it with a fresh one.") from None
    rows = whole.get("target") if isinstance(whole, dict) else None
    if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
        raise FieldkitError(f"{name} holds no targets: it needs at least one [[target]] section.")
    rows = [target_row(**_known(row, name, i)) for i, row in enumerate(rows, start=1)]
    uv, notes = whole.get("uv_exposure", UNKNOWN), [str(n) for n in whole.get("notes", ())]
    if uv != UNKNOWN:
        rows += uv_exposure(uv)
    elif not any(row["target"] == "uv_index" and row["kind"] == Kind.AIM for row in rows):
        notes.append(NO_UV)
    table = pd.DataFrame(rows)
    for i, row in enumerate(table.itertuples(index=False), start=1):
        for value in (row.low, row.high):
            if isinstance(value, int | float) and value > HOTTEST_C.get(row.target, np.inf):
                raise FieldkitError(
                    f"{name}, target {i} ({row.target}): {value:g} °C is no target for an animal. Temperatures are °C; "
                    f"if this is °F, write {(value - 32) * 5 / 9:.1f}."
                )
    return make(
        table,
        species=str(whole.get("species", "not stated")),
        invented=bool(whole.get("invented", False)),
        notes=tuple(dict.fromkeys(notes)),
        levels=tuple(whole.get(k, np.nan) for k in ("full_sun_w_m2", "full_shade_w_m2")),
        name=name,
    )


def load(path):
    """Read a targets file; see `from_text`.

    Parameters
    ----------
    path : str or pathlib.Path
        Ends in .toml or .json.

    Returns
    -------
    Targets
    """
    path = Path(path)
    if path.suffix not in (".toml", ".json"):
        raise FieldkitError(f"{path.name}: a targets file ends in .toml or .json.")
    if not path.exists():
        raise FieldkitError(f"There is no file {path}.")
    data = opening.read(path, limit=opening.SETTINGS_BYTES)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise FieldkitError(f"{path.name} is not a text file: save it as plain text (UTF-8).") from None
    return from_text(text, kind=path.suffix[1:], name=path.name)


def _known(row, name, number):
    row = {_OLD.get(key, key): value for key, value in row.items()}
    # Files of an older version say ceiling = true.
    if row.pop("ceiling", False):
        row["kind"] = Kind.LIMIT
    strange = sorted(set(row) - set(COLUMNS))
    if strange:
        raise FieldkitError(f"{name}, target {number}: '{strange[0]}' is not known; use {', '.join(COLUMNS)}.")
    if "target" not in row:
        raise FieldkitError(f"{name}, target {number}: write target = one of {', '.join(UNITS)}.")
    return row


def template():
    """Text of a targets.toml for a new enclosure: the standard limits, and room for the keeper's own targets.

    Returns
    -------
    str

    Examples
    --------
    >>> from_text(template(), kind="toml").table[["target", "high", "contact_min"]].values.tolist()
    [['surface_c', 48.0, 10.0], ['surface_c', 43.0, 480.0], ['uv_index', 8.0, nan]]
    """
    rows = standard_rows(pd.DataFrame([], columns=COLUMNS))
    blocks = "\n".join(_block(row) for row in rows)
    words = "\n# ".join(textwrap.wrap(CONTACT_SCOPE, 116))
    return f"""\
# What the enclosure is held against: one [[target]] block each. Those below are about burns and UV of people, not about
# your animal: add your own targets below, each with its source, or let a season of field records give them:
# fieldkit audit FOLDER --season MY_SEASON (this file is then not read; --save-targets keeps what the season gave).
# {words}
#
# target  one of {", ".join(list(UNITS)[:6])},
#         {", ".join(list(UNITS)[6:])}
# zone    one of {", ".join(ZONES)}
# low, high  the range in °C, W/m², UV index, h or share of the floor; one of them will do
# period  day, night or all; month = 1 to 12, or 0 for all year
# kind    "aim" (if left out), "limit" (high must never be passed; it needs a source) or "caution" (a rule of thumb)
# contact_min  of a limit of surfaces: over how many minutes of contact it is a mean
# basis   one of {", ".join(BASES)}; source: where the number is from, in words

# species = "the animal these are for"
invented = false
# How does the species bask? Ask the literature on it or a vet; leave "{UNKNOWN}" where nobody knows: then UV is held
# against its upper limit only. One of: {"; ".join(UV_EXPOSURE)}.
uv_exposure = "{UNKNOWN}"

{blocks}
# The numbers below show the form only: they are no advice for any animal. Take the # away and put in your own.
# [[target]]
# target = "shade_air_c"
# zone = "cool end"
# period = "day"
# low = 20
# high = 26
# basis = "literature"
# source = "book, page"

# [[target]]
# target = "shade_air_c"
# zone = "whole"
# period = "night"
# low = 15
# high = 20
# basis = "literature"
# source = "book, page"

# [[target]]
# target = "surface_c"
# zone = "basking site"
# period = "day"
# low = 32
# high = 42
# basis = "literature"
# source = "book, page"
"""


def _block(row):
    """A [[target]] block of a limit."""
    lines = ["[[target]]", f'target = "{row["target"]}"', f"high = {row['high']}", f'kind = "{row["kind"]}"']
    if np.isfinite(row["contact_min"]):
        lines.append(f"contact_min = {row['contact_min']:g}")
    return "\n".join([*lines, f'basis = "{row["basis"]}"', f'source = "{row["source"]}"', ""])
