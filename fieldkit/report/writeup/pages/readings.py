"""How good the readings of a season are, in tables and words: what there is, what is missing, what it was read with."""

import numpy as np
import pandas as pd

from fieldkit.records.problems import summary
from fieldkit.report.writeup.pages.wording import label

TABLES = ("choices", "sightings", "scans", "gradient", "loggers", "weather")
_FEW_ANIMALS = 30


def present(season):
    """Tables of the season that hold rows, by name."""
    tables = {name: getattr(season, name, None) for name in TABLES}
    return {name: table for name, table in tables.items() if table is not None and len(table)}


def overview(season):
    """One row per table: rows, first and last day, animals, observers.

    Parameters
    ----------
    season : Season
        As read.

    Returns
    -------
    pandas.DataFrame
    """
    rows = []
    for name, table in present(season).items():
        times = pd.Series(dtype="datetime64[ns]")
        for column in ("time", "date"):
            if column in table:
                times = table[column].dropna()
        rows.append(
            {
                "table": name,
                "rows": len(table),
                "first day": f"{times.min():%Y-%m-%d}" if len(times) else "–",
                "last day": f"{times.max():%Y-%m-%d}" if len(times) else "–",
                "choice sets": _count(table, "set_id"),
                "animals": _count(table, "animal_id"),
                "observers": _count(table, "observer"),
            }
        )
    columns = ["table", "rows", "first day", "last day", "choice sets", "animals", "observers"]
    frame = pd.DataFrame(rows, columns=columns)
    return frame.loc[:, [c for c in columns if len(frame) == 0 or (frame[c] != "–").any()]]


def _count(table, column):
    return int(table[column].nunique()) if column in table else "–"


def measured(season):
    """One row per thing measured: readings, share missing, spread, stated error.

    Parameters
    ----------
    season : Season
        As read.

    Returns
    -------
    pandas.DataFrame
    """
    errors = getattr(season, "instrument_errors", None) or {}
    rows = []
    for name, table in present(season).items():
        if name == "loggers":
            rows += _loggers(season, table)
            continue
        for column in table.columns:
            values = table[column]
            numeric = pd.api.types.is_numeric_dtype(values) and not pd.api.types.is_bool_dtype(values)
            if not numeric or column in ("used", "count") or not values.notna().any():
                continue
            error = errors.get(column) if name in ("choices", "scans") else None
            rows.append(_row(f"{name}: {label(column)}", values, error))
    return pd.DataFrame(rows, columns=list(_row("", pd.Series([0.0]), None)))


def _loggers(season, table):
    info = season.logger_info.set_index("logger_id")
    rows = []
    for logger, values in table.groupby("logger_id", sort=True)["value"]:
        about = info.loc[logger] if logger in info.index else pd.Series(dtype=object)
        words = f"logger {logger}: {label(about['role'])} ({about['unit']})" if len(about) else f"logger {logger}"
        rows.append(_row(words, values, about.get("error")))
    return rows


def _row(label, values, error):
    known = values.dropna()
    return {
        "reading": label,
        "readings": len(known),
        "missing": f"{100 * (1 - len(known) / len(values)):.1f} %",
        "lowest": known.min(),
        "median": known.median(),
        "highest": known.max(),
        "stated error": np.nan if error is None or pd.isna(error) else float(error),
    }


def in_short(season):
    """The readings in one or two sentences.

    Parameters
    ----------
    season : Season
        As read.

    Returns
    -------
    str
    """
    tables = present(season)
    parts = [f"{len(table):,} rows of {name}" for name, table in tables.items()]
    sentence = f"The season holds {_join(parts)}." if parts else "The season holds no readings."
    found = len(summary(season.warnings))
    if found == 0:
        return f"{sentence} Nothing in them looked doubtful when they were read."
    if found == 1:
        return f"{sentence} One thing in them looked doubtful; it stands in the appendix."
    return f"{sentence} {found} things in them looked doubtful; they stand in the appendix."


def _watched(season):
    """How many species, sites and years there are, as the columns of the tables say."""
    seen = {"species": set(), "site": set(), "year": set()}
    for table in present(season).values():
        for column, names in seen.items():
            if column in table:
                names |= set(table[column].dropna().astype(str))
    years = max(len(seen["year"]), 1)
    several = f"{len(seen['species'])} species at " if len(seen["species"]) > 1 else ""
    sites = f"{len(seen['site'])} sites" if len(seen["site"]) > 1 else "one site"
    seasons = "one season" if years == 1 else f"{years} seasons"
    one = not several and sites == "one site" and years == 1
    words = f"{several}{sites} {'and' if one else 'in'} {seasons}"
    return f"{words[:1].upper()}{words[1:]} were watched: other places, years and populations may differ."


def limitations(season):
    """What these readings cannot carry, in sentences.

    Parameters
    ----------
    season : Season
        As read.

    Returns
    -------
    list of str
    """
    found = [
        _watched(season),
        "Nobody assigned places to animals, so what goes together is seen, and what causes what is not.",
    ]
    tables = present(season)
    if "choices" in tables:
        found.append(
            "The available places are those that the observers picked and measured; a choice is a choice among them."
        )
    counted = [t["animal_id"].nunique() for t in tables.values() if "animal_id" in t]
    if counted and max(counted) < _FEW_ANIMALS:
        found.append(
            f"{max(counted)} animals were told apart. With so few, intervals that allow for repeated animals tend "
            "to be too narrow."
        )
    gaps = measured(season)
    gaps = gaps[gaps["missing"].str.rstrip(" %").astype(float) > 5] if len(gaps) else gaps
    if len(gaps):
        listed = _join([f"{row['reading']} ({row['missing']})" for _, row in gaps.iterrows()])
        found.append(f"More than one reading in twenty is missing for {listed}.")
    unstated = [
        row["reading"]
        for _, row in measured(season).iterrows()
        if row["reading"].startswith("choices") and pd.isna(row["stated error"])
    ]
    if unstated:
        found.append(f"No instrument error is stated for {_join(unstated)}, so it could not be taken into account.")
    return found


def _join(parts):
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
