"""The two sides of a comparison, brought to one form: scans by hour of light, choice sets, bodies."""

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from fieldkit.captive.compare.offered import at_times
from fieldkit.captive.compare.sets import choice_sets
from fieldkit.core import FieldkitError
from fieldkit.field.basking import readings_at
from fieldkit.physics import sun
from fieldkit.records.enclosure import OUT_OF_SIGHT

KINDS = {
    "basking": "basking",
    "shuttling": "moving",
    "moving": "moving",
    "feeding": "moving",
    "courting": "moving",
    "fighting": "moving",
    "resting": "resting",
    "retreat": "hidden",
}
DARK = ("dark heater", "heat mat")
# Days of the field in the months of the enclosure, below which all of the season is taken (our choice).
FEWEST_DAYS = 5
# Day lengths this near count as matched (h; our choice).
SAME_LIGHT_H = 1.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Side:
    """One side of a comparison.

    Attributes
    ----------
    scans : DataFrame
        ``animal, day`` (whole numbers), ``kind`` (basking, moving, resting, hidden, other; None: not written),
        ``solar_hour`` (12 in the middle of the light), ``since_light`` (h), ``air_c``, ``body_c``, ``weight``.
    sets : DataFrame or None
        As the table ``choices``, with ``animal, day, solar_hour``.
    light_h : float
        Mean hours of light a day.
    months : tuple of int
    bound_to : object
        The offered conditions of an enclosure at all times of its scans; None in the field.
    """

    name: str
    scans: pd.DataFrame
    sets: pd.DataFrame | None
    light_h: float
    months: tuple
    n_animals: int
    bound_to: object = None
    notes: tuple = ()
    left_out: tuple = ()
    errors: dict = field(default_factory=dict)


def _days(times):
    """Local days as whole numbers."""
    return times.dt.tz_localize(None).to_numpy().astype("datetime64[D]").astype(int)


def _codes(names, days):
    """Whole numbers for animals, the same in every table; one without a name is one animal a day."""
    labels = names.astype(object).where(names.notna(), pd.Series(days, index=names.index).astype("str"))
    return pd.util.hash_array(labels.astype("str").to_numpy(dtype=object)).astype("int64")


# ---- field -----------------------------------------------------------------------------------------------------------


def of_season(season, months=None):
    """The field's side; `months` of the other side are matched where the season has enough days in them.

    Parameters
    ----------
    season : Season
        The season in the field.
    months : sequence of int or None
        None: all of the season.

    Returns
    -------
    Side

    Raises
    ------
    FieldkitError
        When the season has neither scans nor choice sets.
    """
    scans, choices = season.scans, season.choices
    if (scans is None or not len(scans)) and (choices is None or not len(choices)):
        raise FieldkitError("The season has neither scans nor choice sets: there is nothing to compare with.")
    notes = []
    matched = {}
    for name, table in (("scans", scans), ("choices", choices)):
        if table is None or not len(table):
            matched[name] = None
            continue
        table, how = _in_months(table, months)
        if how:
            notes.append(f"The season has fewer than {FEWEST_DAYS} days of {name} in the enclosure's months: {how}.")
        matched[name] = _once(table) if name == "scans" else table
    kept = matched["scans"]
    table, light = _field_scans(season, kept) if kept is not None else (_no_scans(), np.nan)
    sets = None if matched["choices"] is None else _field_sets(season, matched["choices"])
    both = [t["time"].dt.month for t in (kept, matched["choices"]) if t is not None]
    if not np.isfinite(light) and sets is not None:
        light = float(_light(season, matched["choices"]["time"]).mean())
    return Side(
        name="field",
        scans=table,
        sets=sets,
        light_h=light,
        months=tuple(sorted({int(m) for part in both for m in part})),
        n_animals=int(pd.concat([t["animal_id"] for t in (kept, matched["choices"]) if t is not None]).nunique()),
        notes=tuple(notes),
        errors=dict(season.instrument_errors),
    )


def _in_months(table, months):
    """Rows in some months, or within one month of them, or all; and in words what was done where the first failed."""
    if months is None:
        return table, ""
    wide = {(m + step - 1) % 12 + 1 for m in months for step in (-1, 0, 1)}
    for chosen, how in ((set(months), ""), (wide, "the months beside them were taken too")):
        inside = table["time"].dt.month.isin(chosen)
        if len(np.unique(_days(table.loc[inside, "time"]))) >= FEWEST_DAYS:
            return table[inside], how
    return table, "all of its months were taken"


def _once(scans):
    """Of scans of one animal at one time, by two observers, the first that was written."""
    named = ["time", "animal_id"]
    twice = scans.duplicated(named) & scans[named].notna().all(axis=1) if "animal_id" in scans else False
    return scans[~twice] if np.any(twice) else scans


def _no_scans():
    columns = ["animal", "day", "kind", "solar_hour", "since_light", "air_c", "body_c", "weight", "time"]
    return pd.DataFrame({c: pd.Series(dtype=float) for c in columns})


def _light(season, times):
    """Day length of each day of some times (h), by day."""
    site = season.site
    dates = pd.DatetimeIndex(sorted(set(times.dt.date)))
    found = sun.day_length(
        dates, latitude_deg=site.latitude_deg, longitude_deg=site.longitude_deg, timezone=site.timezone
    )
    return pd.Series(found["day_length_h"].to_numpy(), index=[d.date() for d in dates])


def _field_scans(season, scans):
    days = _days(scans["time"])
    lengths = _light(season, scans["time"])
    solar = sun.solar_time(scans["time"], longitude_deg=season.site.longitude_deg).to_numpy()
    length = lengths.reindex(scans["time"].dt.date).to_numpy()
    air = scans["shade_air_c"].to_numpy(float) if "shade_air_c" in scans else np.full(len(scans), np.nan)
    if not np.isfinite(air).any() and season.loggers is not None and (season.logger_info["role"] == "shade_air").any():
        air = readings_at(scans["time"], season.loggers, season.logger_info, role="shade_air").mean(axis=1).to_numpy()
    return pd.DataFrame(
        {
            "animal": _codes(scans["animal_id"] if "animal_id" in scans else _nobody(scans), days),
            "day": days,
            "kind": _kinds(scans),
            "solar_hour": solar,
            "since_light": solar - 12 + length / 2,
            "air_c": air,
            "body_c": _numbers(scans, "body_temperature_c"),
            "weight": np.where(np.isfinite(_numbers(scans, "count")), _numbers(scans, "count"), 1.0),
            "time": scans["time"].array,
        }
    ), float(lengths.mean())


def _nobody(table):
    return pd.Series(np.nan, index=table.index, dtype=object)


def _kinds(scans):
    if "behaviour" not in scans:
        return np.full(len(scans), None, dtype=object)
    words = scans["behaviour"]
    return words.map(KINDS).where(words.isin(list(KINDS)), "other").where(words.notna(), None).to_numpy(dtype=object)


def _numbers(table, column):
    return table[column].to_numpy(dtype=float) if column in table else np.full(len(table), np.nan)


def _field_sets(season, choices):
    days = _days(choices["time"])
    out = choices.reset_index(drop=True).copy()
    out["day"] = days
    out["animal"] = _codes(out["animal_id"] if "animal_id" in out else _nobody(out), days)
    out["solar_hour"] = sun.solar_time(choices["time"], longitude_deg=season.site.longitude_deg).to_numpy()
    return out


# ---- enclosure -------------------------------------------------------------------------------------------------------


def light_of(record):
    """Hours of light a day and the clock time of its middle, by the lamps that give any; NaN where none is stated.

    Parameters
    ----------
    record : EnclosureRecord
        The enclosure.

    Returns
    -------
    length_h, middle_h : float
    """
    lamps = record.lamps[~record.lamps["kind"].isin(DARK)]
    if not len(lamps):
        return np.nan, np.nan
    timed = lamps[lamps["on"].notna()]
    if not len(timed):
        return 24.0, 12.0
    on, off = (np.array([_hour(v) for v in timed[c]]) for c in ("on", "off"))
    start = on.min()
    length = float(np.max((off - on) % 24 + (on - start)))
    return min(length, 24.0), float((start + length / 2) % 24)


def _without_trial(record, scans):
    """Scans but for those of a trial whose trial.toml lies in the folder: its change is not the usual setup."""
    from fieldkit.captive.trial import load

    if record.path is None or not (record.path / "trial.toml").is_file():
        return scans, []
    table = load(record.path)["table"]
    day = scans["time"].dt.tz_localize(None).dt.normalize()
    during = (day >= table["first_day"].min()) & (day <= table["last_day"].max())
    if during.all():
        return scans, ["All scans are of the days of a trial: the changed setup is in them too."]
    return scans[~during], [f"{during.sum():,} scans of the days of a trial were left out."] if during.any() else []


def _hour(text):
    hour, minute = str(text).split(":")[:2]
    return int(hour) + int(minute) / 60


def of_enclosure(record, *, fill=True, behaviours=None):
    """The enclosure's side.

    Parameters
    ----------
    record : EnclosureRecord
        With ``scans``.
    fill : bool
        As in `choice_sets`.
    behaviours : sequence of str, optional
        As in `choice_sets`.

    Returns
    -------
    Side

    Raises
    ------
    FieldkitError
        When there are no scans.
    """
    options = {} if behaviours is None else {"behaviours": behaviours}
    if record.scans is None or not len(record.scans):
        choice_sets(record)
    scans, told = _without_trial(record, _once(record.scans))
    record = replace(record, scans=scans)
    offered = at_times(record, pd.DatetimeIndex(record.scans["time"].unique()), fill=fill)
    sets = choice_sets(record, fill=fill, offered=offered, **options)
    scans, days = record.scans, _days(record.scans["time"])
    length, middle = light_of(record)
    clock = (scans["time"].dt.hour + scans["time"].dt.minute / 60).to_numpy()
    solar = (12 + (clock - (middle if np.isfinite(middle) else 12.0) + 12) % 24 - 12) % 24
    row = offered.times.get_indexer(pd.DatetimeIndex(scans["time"]))
    at = pd.Index(offered.points).get_indexer(scans["point"])
    air = offered.readings["shade_air_c"]
    known = np.isfinite(air)
    mean_air = np.where(known.any(axis=1), np.nansum(air, axis=1) / np.maximum(known.sum(axis=1), 1), np.nan)
    kind = _kinds(scans)
    kind[(scans["point"] == OUT_OF_SIGHT).to_numpy()] = "hidden"
    table = pd.DataFrame(
        {
            "animal": _codes(scans["animal_id"], days),
            "day": days,
            "kind": kind,
            "solar_hour": solar,
            "since_light": solar - 12 + (length if np.isfinite(length) else 24.0) / 2,
            "air_c": np.where(at >= 0, air[row, np.maximum(at, 0)], mean_air[row]),
            "body_c": _numbers(scans, "body_temperature_c"),
            "weight": 1.0,
            "time": scans["time"].array,
        }
    )
    notes = [*told, *sets.notes]
    if not np.isfinite(length):
        notes.append("No lamp says when it is on, so hours are those of the clock and day length is not known.")
    return Side(
        name="captive",
        scans=table,
        sets=_with_own(record, sets.table, middle),
        light_h=length,
        months=tuple(sorted({int(m) for m in scans["time"].dt.month.unique()})),
        n_animals=int(scans["animal_id"].nunique()),
        bound_to=offered,
        notes=tuple(notes),
        left_out=(sets.left_out, offered.left_out),
    )


def _with_own(record, sets, middle):
    """Sets made of scans, and those that were read as in the field."""
    if record.choices is not None and len(record.choices):
        sets = pd.concat([sets, record.choices], ignore_index=True)
    if not len(sets):
        return None
    sets = sets.copy()
    sets["day"] = _days(sets["time"])
    sets["animal"] = _codes(sets["animal_id"], sets["day"].to_numpy())
    clock = (sets["time"].dt.hour + sets["time"].dt.minute / 60).to_numpy()
    sets["solar_hour"] = (clock - (middle if np.isfinite(middle) else 12.0) + 12) % 24
    return sets
