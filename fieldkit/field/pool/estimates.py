"""The file estimates.csv: what a season gives to a pool, written beside a write-up and read from anybody."""

import csv
import hashlib
import io
import json
import math
from pathlib import Path

import pandas as pd

from fieldkit.core import FieldkitError, visible
from fieldkit.field.pool.quantities import QUANTITIES
from fieldkit.records.reading import opening
from fieldkit.records.spreadsheet import safe_table

NAME, METADATA = "estimates.csv", "estimates.csv-metadata.json"
# Column: its kind as XML Schema names it, its unit, and what it means.
COLUMNS = {
    "quantity": ("string", "", "what was estimated; one of the names in the data dictionary of fieldkit"),
    "group": ("string", "", "species, site, year or other group of the season; empty for the whole season"),
    "unit": ("string", "", "unit of the estimate and its error"),
    "scale": ("string", "", "'log odds' or 'as it is'"),
    "estimate": ("double", "as unit", "the estimate"),
    "standard_error": ("double", "as unit", "its standard error; empty where an end of its interval is open"),
    "low": ("double", "as unit", "lower limit"),
    "high": ("double", "as unit", "upper limit"),
    "level": ("double", "1", "confidence level of the limits"),
    "n_sets": ("integer", "1", "choice sets behind the estimate"),
    "n_animals": ("integer", "1", "animals behind it"),
    "n_days": ("integer", "1", "days of records behind it"),
    "design": ("string", "", "how the places compared with were found"),
    "verdict": ("string", "", "what the season by itself says the animals choose on"),
    "caution": ("string", "", "why the season may be left out of a pool"),
    "species": ("string", "", "as its authors call it"),
    "year": ("integer", "1", "first year of the records"),
    "site_latitude_deg": ("double", "°", "latitude, digits behind 0.1° cut off"),
    "site_elevation_m": ("double", "m", "middle of the 100 m of height that the site lies in"),
    "instrument_errors": ("string", "", "standard deviation of one reading, by column"),
    "invented": ("string", "", "yes: the records are invented, not of real animals"),
    "fieldkit_version": ("string", "", "version that computed the estimate"),
    "seed": ("integer", "1", "seed of what drew random numbers"),
}
_BYTES, _ROWS, _LONGEST = 2_000_000, 2000, 200
_NUMBERS = {name for name, (kind, *_) in COLUMNS.items() if kind != "string"}


def table(rows, about):
    """Rows of results as the table that is published.

    Parameters
    ----------
    rows : list of dict
        As `quantities.rows` gives them.
    about : dict
        As `quantities.about`.

    Returns
    -------
    DataFrame
        Columns as `COLUMNS`; the first row of a quantity and group counts.
    """
    rows = [about | row for row in rows]
    for row in rows:
        row |= {"unit": QUANTITIES[row["quantity"]].unit, "scale": QUANTITIES[row["quantity"]].scale}
        row.setdefault("group", "")
    found = pd.DataFrame(rows, columns=list(COLUMNS))
    for name, (kind, *_) in COLUMNS.items():
        found[name] = found[name].astype("Int64" if kind == "integer" else "Float64" if kind == "double" else object)
    return found.fillna({n: "" for n in COLUMNS if n not in _NUMBERS}).drop_duplicates(["quantity", "group"])


def write(found, folder):
    """Write the table and what each column means, as CSV on the Web asks (W3C 2015, Metadata Vocabulary).

    Parameters
    ----------
    found : DataFrame
        As `table` gives it.
    folder : str or pathlib.Path
        Where the two files are written.
    """
    folder = Path(folder)
    safe_table(found).to_csv(folder / NAME, index=False, lineterminator="\n")
    about = {
        "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],
        "url": NAME,
        "dc:title": "Estimates of one season, for pooling with others",
        "dialect": {"header": True, "delimiter": ",", "encoding": "utf-8"},
        "tableSchema": {
            "columns": [
                {"name": name, "titles": name, "datatype": kind, "dc:description": meaning + (unit and f" ({unit})")}
                for name, (kind, unit, meaning) in COLUMNS.items()
            ],
            "primaryKey": ["quantity", "group"],
        },
    }  # fmt: skip
    (folder / METADATA).write_text(json.dumps(about, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def read(folder):
    """Read the estimates of somebody's season; nothing in the folder is run, and only this file is opened.

    Parameters
    ----------
    folder : str or pathlib.Path
        A write-up, or any folder with ``estimates.csv``.

    Returns
    -------
    DataFrame
        Columns as `COLUMNS`; ``attrs["sha256"]`` of the file.

    Raises
    ------
    FieldkitError
        With the first thing that is wrong.
    """
    folder = Path(folder)
    data = opening.read(folder / NAME, inside=folder, limit=_BYTES)
    try:
        cells = list(csv.reader(io.StringIO(data.decode("utf-8-sig")), strict=True))
    except (UnicodeDecodeError, csv.Error):
        raise _broken("it is no CSV file in UTF-8") from None
    if not cells or not set(cells[0]) >= {"quantity", "estimate", "unit"}:
        raise _broken("its first line does not name the columns quantity, estimate and unit")
    if len(cells) > _ROWS:
        raise _broken(f"it has more than {_ROWS:,} rows")
    header = cells[0]
    if len(set(header)) < len(header):
        raise _broken("a column stands there twice")
    rows = [_row(dict(zip(header, line)), i) for i, line in enumerate(cells[1:], 2) if _whole(line, header, i)]
    # A quantity that a later fieldkit publishes is no mistake.
    found = pd.DataFrame([row for row in rows if row["quantity"] in QUANTITIES], columns=list(COLUMNS))
    twice = found.duplicated(["quantity", "group"])
    if twice.any():
        raise _broken(f"{found.loc[twice, 'quantity'].iloc[0]} stands there twice")
    if not len(found):
        raise _broken("it holds no quantity that can be pooled")
    found.attrs["sha256"] = hashlib.sha256(data).hexdigest()
    return found


def _broken(what):
    return FieldkitError(f"{NAME}: {what}. Get the write-up again from where it was published.")


def _whole(line, header, i):
    if not line:
        return False
    if len(line) != len(header):
        raise _broken(f"row {i} has {len(line)} cells where there are {len(header)} columns")
    return True


def _row(cells, i):
    """One row with numbers for what are numbers, held against what the quantity can be."""
    row = {}
    for name in COLUMNS:
        text = cells.get(name, "").strip()
        if len(text) > _LONGEST:
            raise _broken(f"row {i}, {name}: the text is longer than {_LONGEST} letters")
        row[name] = _number(text, name, i) if name in _NUMBERS else visible(text)
    known = QUANTITIES.get(row["quantity"])
    if known is None:
        return row
    if row["unit"] != known.unit:
        raise _broken(f"row {i}, {row['quantity']}: the unit should be {known.unit}, not '{row['unit']}'")
    value = row["estimate"]
    if not known.lowest <= value <= known.highest:
        limits = f"from {known.lowest:g} to {known.highest:g}"
        raise _broken(f"row {i}, {row['quantity']}: the estimate {value:g} cannot be, {limits}")
    if row["standard_error"] <= 0 or row["low"] > row["estimate"] or row["high"] < row["estimate"]:
        raise _broken(f"row {i}, {row['quantity']}: the estimate and its error or limits do not go together")
    return row


def _number(text, name, i):
    if text == "":
        return math.nan
    try:
        value = float(text)
    except ValueError:
        value = math.inf
    if not math.isfinite(value) or abs(value) > 1e12:
        raise _broken(f"row {i}, {name}: '{visible(text[:20])}' is no number that can be")
    return value
