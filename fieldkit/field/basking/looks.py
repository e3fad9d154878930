"""Looks at animals as a table for the curve: what counts, which air stood beside them, what was left out and why."""

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError
from fieldkit.field.shade_air import screened


def readings_at(times, loggers, logger_info, *, role, tolerance="15min"):
    """Find what the loggers of one role read nearest in time to each look.

    Parameters
    ----------
    times : pandas.Series of datetime
        When each look was taken.
    loggers : pandas.DataFrame
        Long form ``time, logger_id, value``.
    logger_info : pandas.DataFrame
        ``logger_id, role``.
    role : str
        For example ``"shade_air"``.
    tolerance : str or pandas.Timedelta
        A reading further away than this is not used.

    Returns
    -------
    pandas.DataFrame
        Indexed as `times`, one column per logger; NaN where it did not read within the tolerance.

    Examples
    --------
    >>> import pandas as pd
    >>> loggers = pd.DataFrame({"time": pd.to_datetime(["2030-05-01 09:00", "2030-05-01 09:10"]),
    ...                         "logger_id": "L1", "value": [18.0, 19.0]})
    >>> info = pd.DataFrame({"logger_id": ["L1"], "role": ["shade_air"]})
    >>> looks = pd.Series(pd.to_datetime(["2030-05-01 09:08", "2030-05-01 12:00"]))
    >>> readings_at(looks, loggers, info, role="shade_air")["L1"].tolist()
    [19.0, nan]
    """
    if loggers is None or logger_info is None:
        raise FieldkitError(f"No '{role}' reading stands beside the looks: give loggers= and logger_info=.")
    wanted = logger_info.loc[logger_info["role"] == role, "logger_id"]
    chosen = loggers[loggers["logger_id"].isin(wanted)].dropna(subset=["time", "value"])
    if chosen.empty:
        raise FieldkitError(f"No logger has the role '{role}': name one in season.toml, or add its readings.")
    aware = {getattr(t.dt, "tz", None) is not None for t in (times, chosen["time"])}
    if len(aware) == 2:
        raise FieldkitError("Looks and loggers do not both say their time zone: give both a zone, or neither.")
    zoned = aware == {True}
    left = pd.DataFrame(
        {"time": pd.to_datetime(times, utc=zoned).astype(_clock(zoned)), "order": np.arange(len(times))}
    )
    left = left.dropna(subset=["time"]).sort_values("time")
    columns = {}
    for name, one in chosen.groupby("logger_id"):
        right = pd.DataFrame(
            {"time": pd.to_datetime(one["time"], utc=zoned).astype(_clock(zoned)), "value": one["value"]}
        )
        joined = pd.merge_asof(
            left, right.sort_values("time"), on="time", direction="nearest", tolerance=pd.Timedelta(tolerance)
        )
        columns[name] = joined.set_index("order")["value"].reindex(np.arange(len(times)))
    return pd.DataFrame(columns).set_axis(times.index)


def _clock(zoned):
    return "datetime64[us, UTC]" if zoned else "datetime64[us]"


def usable_looks(scans, loggers, logger_info, behaviours, among, radiation, tolerance, site=None):
    """Table of usable looks (yes, n, air, irradiance, animal, day), the rows that were not, and the loggers behind."""
    if isinstance(behaviours, str) or isinstance(among, str):
        raise FieldkitError('Give behaviours= and among= as lists, for example behaviours=["basking"].')
    if scans is None:
        raise FieldkitError("There is no table of scans: basking is found from looks, one row each.")
    if "behaviour" not in scans:
        raise FieldkitError("The scans table has no column 'behaviour': it says what the animal did at each look.")
    looks = pd.DataFrame(index=scans.index)
    needed = {"shade_air_c": "shade_air"} | ({} if radiation == "none" else {"irradiance_w_m2": "irradiance"})
    air = None
    for column, role in needed.items():
        looks[column] = _numbers(scans, column) if column in scans else np.nan
        if looks[column].isna().any() and (loggers is not None or looks[column].isna().all()):
            if "time" not in scans:
                raise FieldkitError(f"The scans table has neither '{column}' nor 'time' to look it up by.")
            if role == "shade_air" and loggers is not None and logger_info is not None:
                air = screened(loggers, logger_info, site=site)
                loggers = air.loggers
            logged = readings_at(scans["time"], loggers, logger_info, role=role, tolerance=tolerance)
            # Several shade loggers stand for one air: their mean.
            looks[column] = looks[column].fillna(logged.mean(axis=1))
    looks["behaviour"] = scans["behaviour"]
    looks["n"] = _numbers(scans, "count").fillna(1.0) if "count" in scans else 1.0
    if "animal_id" in scans and scans["animal_id"].notna().any():
        looks["animal_id"] = scans["animal_id"]
    if "time" in scans:
        looks["day"] = pd.to_datetime(scans["time"]).dt.date
    for column in scans.columns.difference(looks.columns):
        looks[column] = scans[column]

    reason = pd.Series("", index=scans.index)
    reason[looks["behaviour"].isna()] = "behaviour is empty"
    if among is not None:
        absent = set(behaviours) - set(among)
        if absent:
            raise FieldkitError(f"among= must also name {', '.join(sorted(absent))}, which counts as yes.")
        reason[~looks["behaviour"].isin(among) & (reason == "")] = "behaviour is not in among="
    reason[~(looks["n"] > 0) & (reason == "")] = "count is not above 0"
    for column in needed:
        empty = looks[column].isna() & (reason == "")
        reason[empty] = f"no {column} in the row and no logger reading within {tolerance} of it"
        if column == "shade_air_c" and air is not None and len(air.left_out):
            days = pd.to_datetime(scans["time"]).dt.date
            reason[empty & days.isin(air.left_out["day"])] = "the sun reached the shade logger near that time"
    left_out = reason[reason != ""].rename_axis("row").rename("reason").reset_index()
    looks = looks[reason == ""].copy()
    looks["yes"] = np.where(looks["behaviour"].isin(behaviours), looks["n"], 0.0)
    named = ", ".join(behaviours)
    if looks.empty:
        raise FieldkitError("No look could be used: every row of the scans lacks a behaviour or an air temperature.")
    if looks["yes"].sum() == 0:
        seen = ", ".join(sorted(looks["behaviour"].astype(str).unique()))
        raise FieldkitError(f"No look found an animal {named}. Behaviours in the scans are: {seen}.")
    if looks["yes"].sum() == looks["n"].sum():
        raise FieldkitError(
            f"Every look found an animal {named}: without looks that did not, its chance cannot be found. "
            "Note also what animals do when they do not bask, and looks that find none."
        )
    return looks, left_out, air


def _numbers(table, column):
    """A column as numbers; what is not finite is empty."""
    numbers = pd.to_numeric(table[column], errors="coerce").astype(float)
    text = table.index[numbers.isna() & table[column].notna() & (table[column].astype("string").str.lower() != "nan")]
    if len(text):
        raise FieldkitError(
            f"The scans table has '{table.loc[text[0], column]}' in column {column}, row {text[0]}, where a number is "
            "needed: correct it, or leave the cell empty."
        )
    return numbers.where(np.isfinite(numbers))


def cluster_labels(looks, cluster):
    """Whole-number labels of each kind of cluster, by name."""
    names = [] if cluster is None else [cluster] if isinstance(cluster, str) else list(cluster)
    if "animal_id" in names and "animal_id" not in looks:
        names.remove("animal_id")
    if len(names) > 2:
        raise FieldkitError("Looks can be clustered in two ways at most, for example by animal and by day.")
    labels = {}
    for name in names:
        if name not in looks:
            raise FieldkitError(
                f"The scans table has no '{name}' to cluster by; cluster=None takes looks as independent."
            )
        values = looks[name].astype("string")
        if values.isna().any():
            # Animals nobody could tell apart: those of one day go together.
            unknown = "unknown " + looks["day"].astype("string") if "day" in looks else "unknown"
            values = values.fillna(unknown)
        labels[name] = pd.factorize(values)[0]
    return labels
