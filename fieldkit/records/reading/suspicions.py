"""What only shows when rows are held against each other: repeats, sets that cannot be, odd readings, gaps, spikes."""

import datetime as dt
import difflib

import numpy as np
import pandas as pd

from fieldkit.records import schema as schemas
from fieldkit.records.reading import loggers as tidy_loggers
from fieldkit.records.reading import repeats

from .gaps import _series

# Rules of thumb of the trade: common practice, no source.
SET_MINUTES = 30

EMPTY_SHARE = 0.2

# Rows of one message that are listed.
_LISTED = 5000

# How many times as often a name has to stand for a rare one like it to count as a slip of it.
_OFTEN = 5


def look(frame, where, table, stated, problems, *, plain=None, whole=True):
    """Check one table across its rows.

    Parameters
    ----------
    frame : pandas.DataFrame
        The table as read, RangeIndex.
    where : pandas.DataFrame
        File, row and original cells of each row.
    table : str
        Name of the table.
    stated : dict
        season.toml.
    problems : Problems
        Takes what is found.
    plain : dict of str to callable, optional
        By file whose cells are not in `where`, what gives its bytes: to show what is written there.
    whole : bool
        Whether these are all readings: then loggers without any are said.

    Returns
    -------
    pandas.DataFrame
        The table, with its index, without readings that stand there twice (said in problems).
    """
    note = _Note(frame, where, table, problems, plain or {})
    _outside_usual(note)
    _outside_season(note, stated)
    _same_id_twice_written(note)
    _misspelt_substrate(note)
    _mostly_empty(note)
    repeats.near_misses(note)
    repeats.heaped_zeros(note, _temperature_loggers(note, stated))
    if table == "choices":
        _sets(note)
        repeats.pasted_sets(note)
        _no_error_stated(note, stated)
    if table in ("sightings", "scans", "enclosure_scans"):
        _behaviours(note)
    if table in ("sightings", "scans", "gradient", "hand_readings", "lamp_readings"):
        repeats.same_rows(note)
    if table == "loggers":
        _loggers(note, stated, whole)
    if table == "weather" and {"tmax_c", "tmin_c"} <= set(frame):
        note.add(
            frame["tmin_c"] > frame["tmax_c"],
            "tmin_c",
            "The lowest temperature of the day is above the highest.",
            "Swap or correct them.",
        )
    if table == "weather" and "station_id" in frame:
        _stations(note, stated)
    keep = _repeats(note)
    if table == "loggers" and {"logger_id", "value", "time"} <= set(frame):
        roles = {k: v.get("role") for k, v in stated.get("loggers", {}).items() if isinstance(v, dict)}
        warm = frame["logger_id"].map(roles).isin(["shade_air", "exposed_probe", "surface", "copper_model"])
        _series(note, "logger_id", "value", keep, stuck=warm, spikes=frame["logger_id"].map(roles) == "shade_air")
    if table == "weather" and "station_id" in frame:
        hourly = pd.Series("time" in frame and "air_temperature_c" in frame, index=frame.index)
        for column in ("air_temperature_c", "tmax_c", "ghi_w_m2"):
            if column in frame:
                _series(note, "station_id", column, keep, stuck=hourly, spikes=hourly, season=stated.get("season"))
                break
    return frame[keep]


class _Note:
    """One table and the way to say something about its rows."""

    def __init__(self, frame, where, table, problems, plain):
        self.frame, self.where, self.table, self.problems, self.plain = frame, where, table, problems, plain

    def add(self, rows, column, problem, remedy, severity="error"):
        """Say one thing of every marked row."""
        rows = pd.Series(rows, index=self.frame.index).fillna(False).astype(bool).to_numpy()
        if not rows.any():
            return
        count = int(rows.sum())
        if count > _LISTED:
            # One slip in a million readings is one thing to mend; listing them all would fill the memory.
            rows = rows & (np.cumsum(rows) <= _LISTED)
            problem = f"{problem} In all {count:,} rows; the first {_LISTED:,} are listed."
        where = self.where[rows]
        names = where.get(f"{column} name", where["file"]).to_numpy()
        nameless = pd.isna(names) if f"{column} name" in where else np.ones(len(where), bool)
        # The cell as the person wrote it, not as it was converted.
        values = where.get(column, self.frame.loc[rows, column] if column in self.frame else None)
        values = [None] * len(where) if values is None or column not in self.frame else values.tolist()
        for file in self.plain:
            here = np.flatnonzero(where["file"] == file)
            for position, text in zip(here, tidy_loggers.written(self.plain[file](), where["row"].iloc[here], column)):
                values[position] = text
        for file, row, name, own, value in zip(where["file"], where["row"], names, nameless, values):
            empty = value is None or value is pd.NaT or (isinstance(value, float) and np.isnan(value))
            self.problems.add(
                file,
                problem,
                remedy,
                row=int(row),
                column=column if own else name,
                value=None if empty else value,
                severity=severity,
            )

    def warn(self, rows, column, problem, remedy):
        self.add(rows, column, problem, remedy, "warning")

    def at(self, index, column, problem, remedy, severity="error"):
        self.add(self.frame.index.isin([index]), column, problem, remedy, severity)

    def row(self, index):
        """How to point at another row."""
        return f"row {self.where.loc[index, 'row']} of {self.where.loc[index, 'file']}"


def _outside_usual(note):
    for column in note.frame.columns.intersection(list(schemas.ALL_TABLES[note.table].columns)):
        limits = schemas.column_range(note.table, column)
        if limits is not None:
            _warn_unusual(note, pd.Series(True, index=note.frame.index), column, limits)


def _warn_unusual(note, rows, column, limits):
    values = note.frame[column]
    inside = rows & values.between(*limits.limits)
    unit = f" {limits.unit}" if limits.unit else ""
    problem = f"This is unusual: most readings lie in {limits.usual[0]:g} to {limits.usual[1]:g}{unit}."
    remedy = "Check it against your notes; leave it if it is right."
    note.warn(inside & (values < limits.usual[0]), column, problem, remedy)
    if limits.dimension == "temperature":
        remedy += " If it was read in °F, say so in the header or in season.toml."
    note.warn(inside & (values > limits.usual[1]), column, problem, remedy)


def _outside_season(note, stated):
    season = stated.get("season", {})
    now = pd.Timestamp.now(tz="UTC") + pd.Timedelta(days=1)
    for column in ("time", "date"):
        if column not in note.frame or column not in schemas.ALL_TABLES[note.table].columns:
            continue
        values = note.frame[column]
        future = values > (now if column == "time" else now.tz_localize(None))
        note.add(future, column, "This lies in the future.", "Correct the date, or set the clock it came from.")
        first, last = (season.get(k) if isinstance(season, dict) else None for k in ("first_day", "last_day"))
        # Weather records reach beyond the season by nature.
        if note.table == "weather" or not isinstance(first, dt.date) or not isinstance(last, dt.date):
            continue
        days = values.dt.tz_localize(None).dt.normalize()
        outside = values.notna() & ~future & ((days < pd.Timestamp(first)) | (days > pd.Timestamp(last)))
        if note.table == "loggers":
            # Loggers hang longer than anybody watches: said once for each, not for each reading.
            ids = note.frame.get("logger_id", pd.Series("", index=note.frame.index))
            for name, rows in outside[outside].groupby(ids, sort=False):
                note.at(
                    rows.index[0],
                    column,
                    f"{len(rows):,} readings of {name} lie outside the season, {first} to {last}.",
                    "Nothing, if the logger was out longer than you watched; else correct the dates, or first_day and "
                    "last_day in season.toml.",
                    "warning",
                )
            continue
        note.add(
            outside,
            column,
            f"This lies outside the season, {first} to {last}.",
            "Correct the date, or first_day and last_day in season.toml.",
        )


def _same_id_twice_written(note):
    for column in ("animal_id", "place_id", "station_id", "logger_id"):
        if column not in note.frame or column not in schemas.ALL_TABLES[note.table].columns:
            continue
        counts = note.frame[column].dropna().value_counts()
        seen = {}
        for name in counts.index:
            seen.setdefault(repeats.folded_name(name), []).append(name)
        for names in seen.values():
            for name in names[1:]:
                note.problems.suggest(f"words.{column}", name, names[0])
                note.warn(
                    note.frame[column] == name,
                    column,
                    f"This differs from '{names[0]}' only in capitals, blanks, dashes or letters like digits, and "
                    "counts as another one.",
                    f'Write both alike if they are the same, or add "{name}" = "{names[0]}" under [words.{column}] in '
                    "season.toml.",
                )


def _misspelt_substrate(note):
    if "substrate" not in note.frame or "substrate" not in schemas.ALL_TABLES[note.table].columns:
        return
    counts = note.frame["substrate"].dropna().value_counts()
    usual = [name for name in counts.index if counts[name] >= _OFTEN * counts.min()]
    for name in counts.index:
        better = [other for other in usual if other != name and counts[other] >= _OFTEN * counts[name]]
        near = difflib.get_close_matches(name.strip().lower(), [other.lower() for other in better], 1, 0.7)
        if near:
            meant = next(other for other in better if other.lower() == near[0])
            note.warn(
                note.frame["substrate"] == name,
                "substrate",
                f"This stands {counts[name]} times and looks like '{meant}', which stands {counts[meant]} times.",
                "Write both alike if they are the same, or say so under [words.substrate] in season.toml; as it is "
                "they count as two substrates.",
            )


def _mostly_empty(note):
    for column, declared in schemas.ALL_TABLES[note.table].columns.items():
        if column in note.frame and declared.metadata["kind"] == "number" and declared.required:
            there = note.where[f"{column} name"].notna() if f"{column} name" in note.where else slice(None)
            empty = note.frame.loc[there, column].isna()
            if empty.mean() > EMPTY_SHARE:
                note.problems.warn(
                    note.where["file"].iloc[0],
                    f"{empty.sum()} of {len(empty)} cells of this column are empty.",
                    "Fill them in if the readings were taken; rows without one are left out where it is needed.",
                    column=column,
                )


def _no_error_stated(note, stated):
    instruments = stated.get("instruments", {})
    for column in ("shade_air_c", "surface_c", "irradiance_w_m2"):
        if column in note.frame and column not in instruments:
            note.problems.warn(
                "season.toml",
                f"No error is stated for the instrument behind {column}, so contrast between places cannot be held "
                "against it.",
                f"Add [instruments.{column}] with error = its standard deviation.",
                column=f"instruments.{column}",
            )


def _sets(note):
    frame = note.frame
    # Where set names are missing, sets look torn; that was said already.
    if "set_id" not in frame or "used" not in frame or frame["set_id"].isna().any():
        return
    known = frame
    for name, rows in known.groupby("set_id", sort=False):
        first = rows.index[0]
        used = rows["used"]
        if used.notna().all() and not (used == 1).any():
            note.at(
                first,
                "used",
                f"Choice set {name} has no used place.",
                "Write 1 where the animal was, or delete the set if it had left.",
            )
        elif (used == 1).all():
            note.at(
                first,
                "used",
                f"Choice set {name} has no place that was available and not used.",
                "Add the places the animal could have taken; without them the set says nothing about choice.",
                "warning",
            )
        elif (used == 1).sum() > 1:
            note.at(
                rows.index[used == 1][1],
                "used",
                f"Choice set {name} has {(used == 1).sum()} used places.",
                "Give each animal and each moment a set of its own, unless one animal used both.",
                "warning",
            )
        animals = rows["animal_id"].dropna() if "animal_id" in rows else rows["set_id"][:0]
        if len(set(animals)) > 1:
            note.at(
                animals.index[animals != animals.iloc[0]][0],
                "animal_id",
                f"Choice set {name} names more than one animal.",
                "Give each animal a set of its own."
                if len(set(animals.map(repeats.folded_name))) > 1
                else f"Write '{animals.iloc[0]}' in the same way in each of its rows.",
            )
        if "time" in rows:
            spread = (rows["time"].max() - rows["time"].min()).total_seconds() / 60
            if spread > SET_MINUTES:
                note.at(
                    rows["time"].idxmax(),
                    "time",
                    f"The readings of choice set {name} are {spread:,.0f} minutes apart; the sun has moved on.",
                    f"Check the times; read a set within {SET_MINUTES} minutes.",
                    "error" if spread > 24 * 60 else "warning",
                )
    if "place_id" in frame:
        repeated = known[known["place_id"].notna() & known.duplicated(["set_id", "place_id"])]
        for index, row in repeated.iterrows():
            same = known[(known["set_id"] == row["set_id"]) & (known["place_id"] == row["place_id"])].index[0]
            note.at(
                index,
                "place_id",
                f"Place {row['place_id']} stands twice in choice set {row['set_id']} (first in {note.row(same)}).",
                "Delete one of the rows, or correct set_id or place_id.",
            )


def _behaviours(note):
    if "behaviour" not in note.frame:
        return
    words = note.frame["behaviour"].dropna()
    for word in words[~words.isin(schemas.BEHAVIOURS)].unique():
        near = difflib.get_close_matches(word, schemas.BEHAVIOURS, 1, 0.7)
        note.warn(
            note.frame["behaviour"] == word,
            "behaviour",
            "This word is kept, but no analysis knows it.",
            (f"Did you mean {near[0]}?" if near else "The known words are " + ", ".join(schemas.BEHAVIOURS) + ".")
            + " What a word of your own stands for can be said under [words.behaviour] in season.toml, such as "
            '"on the rock" = "basking".',
        )


def _temperature_loggers(note, stated):
    """Positions of the readings of each logger of temperature."""
    if note.table != "loggers" or not {"logger_id", "value"} <= set(note.frame):
        return []
    warm = {
        name
        for name, logger in stated.get("loggers", {}).items()
        if isinstance(logger, dict)
        and logger.get("role") in schemas.ALL_ROLES
        and schemas.RANGES[schemas.ALL_ROLES[logger["role"]][0]].dimension == "temperature"
    }
    return [
        positions for name, positions in note.frame.groupby("logger_id", observed=True).indices.items() if name in warm
    ]


def _loggers(note, stated, whole):
    if "logger_id" not in note.frame:
        return
    known = {k: v for k, v in stated.get("loggers", {}).items() if isinstance(v, dict)}
    ids = note.frame["logger_id"]
    for name in ids.dropna().unique():
        rows = ids == name
        if name not in known:
            near = difflib.get_close_matches(name, list(known), 1, 0.6)
            first = rows.idxmax()
            note.at(
                first,
                "logger_id",
                f"season.toml does not know this logger ({rows.sum():,} readings).",
                (f"If it is {near[0]}, write it so; else add " if near else "Add ")
                + f"[loggers.{name if name.replace('-', '').replace('_', '').isalnum() else repr(name)}] "
                "with its role and unit to season.toml.",
            )
            continue
        role = known[name].get("role")
        if role not in schemas.ALL_ROLES or "value" not in note.frame:
            continue
        limits = schemas.RANGES[schemas.ALL_ROLES[role][0]]
        low, high = limits.limits
        values = note.frame["value"]
        note.add(
            rows & values.notna() & ~values.between(low, high),
            "value",
            f"This lies outside {low:g} to {high:g} {limits.unit}, the limits for {role}.",
            f"Delete the reading if the logger failed, or correct the unit of {name} in season.toml.",
        )
        _warn_unusual(note, rows, "value", limits)
    if whole:
        say_silent(known, set(ids.dropna().unique()), note.problems)


def say_silent(loggers, there, problems):
    """Name the loggers that have no readings."""
    for name in loggers:
        if name not in there:
            problems.warn(
                "season.toml",
                "This logger has no readings in the folder.",
                "Add its readings, or take its section out.",
                column=f"loggers.{name}",
            )


def _stations(note, stated):
    """Stations whose height nobody wrote down: their air cannot be brought to the height of the site."""
    stations = stated.get("stations", {})
    known = {k for k, v in stations.items() if isinstance(v, dict) and "elevation_m" in v}
    low = [str(name) for name in note.frame["station_id"].dropna().unique() if name not in known]
    if low:
        note.problems.warn(
            "season.toml",
            f"Nothing says how high {', '.join(low)} stand{'s' if len(low) == 1 else ''}: no air-temperature ranges "
            "can be drawn for the height of the site.",
            f"Add [stations.{low[0]}] with elevation_m, latitude_deg and longitude_deg"
            + ("." if len(low) == 1 else ", and so for each."),
            column="stations",
        )


def _repeats(note):
    """Rows to keep: a reading that stands there twice is kept once; two readings of one moment are a mistake."""
    keep = pd.Series(True, index=note.frame.index)
    key = [c for c in schemas.ALL_TABLES[note.table].metadata["key"] if c in note.frame]
    if note.table == "choices" or len(key) < 2:
        return keep
    known = note.frame[note.frame[key].notna().all(axis=1)]
    again = known[known.duplicated(key)]
    if not len(again):
        return keep
    moment = key[-1]
    same = known[known.duplicated()].index
    note.warn(
        note.frame.index.isin(same),
        moment,
        "This reading stands here twice; it was used once.",
        "Nothing, if a download was added twice.",
    )
    keep[same] = False
    note.add(
        note.frame.index.isin(again.index.difference(same)),
        moment,
        f"There is another reading of the same {key[0].removesuffix('_id')} at this time, with other values.",
        "Keep the right one.",
    )
    return keep
