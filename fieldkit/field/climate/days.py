"""From the readings of weather stations to unbroken runs of days; what is not used is listed."""

import datetime
from itertools import pairwise

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError
from fieldkit.field.climate import monthly as _monthly
from fieldkit.records.weather.stations import check_zone, station_table

# Lowest and highest air temperatures ever accepted: near -89 and 57 °C (WMO Weather and Climate Extremes Archive).
_POSSIBLE_C = (-90.0, 60.0)
# One reading this far off both its neighbours within two hours is a fault, not weather (common practice, no source; a
# squall line brings some 10 °C in an hour, and it stays cool).
_SPIKE_C = 15.0

# Names of universal time in the IANA zone list: a clock that says nothing of where it hangs.
_UNIVERSAL = {"UTC", "UTC+00:00", "UCT", "Universal", "Zulu", "GMT"}
_UNIVERSAL |= {f"Etc/{name}" for name in ("UTC", "UCT", "Universal", "Zulu", "GMT")}

LEFT_OUT = ["station_id", "when", "reason"]


def need_columns(table, columns):
    """Refuse a table of readings that lacks a column.

    Examples
    --------
    >>> need_columns(pd.DataFrame({"date": []}), ["date"])
    """
    for column in columns:
        if column not in table:
            raise FieldkitError(
                f"The table of readings has no column '{column}'. It needs station_id, date, tmax_c and tmin_c (daily) "
                f"or station_id, time and air_temperature_c (hourly); it has {', '.join(map(str, table.columns))}."
            )


def places(daily, stations, code, ids):
    """Where each station is, from its own table or from columns among the readings; see `station_table`.

    Examples
    --------
    >>> days = pd.DataFrame({"station_id": ["A", "B"], "latitude_deg": [30.0, 40.0]})
    >>> places(days, None, np.array([0, 1]), ["A", "B"])["latitude_deg"].tolist()
    [30.0, 40.0]
    """
    if stations is None:
        known = [c for c in ("latitude_deg", "longitude_deg", "elevation_m", "timezone") if c in daily]
        first = np.full(len(ids), -1)
        first[code[::-1]] = np.arange(len(code))[::-1]
        stations = daily[known].iloc[first].assign(station_id=ids) if known else None
    return station_table(stations, ids)


def _check_possible(table, columns, when):
    for column in columns:
        values = table[column].to_numpy(dtype=float)
        wrong = (values < _POSSIBLE_C[0]) | (values > _POSSIBLE_C[1])
        if wrong.any():
            row = table.iloc[int(np.flatnonzero(wrong)[0])]
            raise FieldkitError(
                f"Station {row['station_id']}, {row[when]:%Y-%m-%d}: {column} is {row[column]:g} °C, and {wrong.sum()} "
                f"value{'s are' if wrong.sum() > 1 else ' is'} outside {_POSSIBLE_C[0]:g} to {_POSSIBLE_C[1]:g} °C. "
                "Is the unit °F, K or tenths, or is it a code for a missing reading? Say so when you read the file."
            )


def runs(daily, code, ids, period):
    """Lay the days of each station in an unbroken run, NaN where not read.

    Parameters
    ----------
    daily : pandas.DataFrame
        ``station_id, date, tmax_c, tmin_c`` and perhaps ``precipitation_mm``.
    code : ndarray of int
        Number of the station of each row, in `ids`.
    ids : sequence of str
        Names of the stations.
    period : tuple of int or None
        First and last year.

    Returns
    -------
    list of tuple
        For each station its first day and the arrays of maxima, minima (°C) and rain (mm).
    pandas.DataFrame
        Days left out: ``station_id, when, reason``.

    Raises
    ------
    FieldkitError
        For impossible temperatures, missing dates, or two different readings of one day.

    Examples
    --------
    >>> days = pd.DataFrame({"station_id": "A", "date": pd.to_datetime(["2024-01-01", "2024-01-03"]),
    ...                      "tmax_c": [5.0, 6.0], "tmin_c": [1.0, 2.0]})
    >>> found, left_out = runs(days, np.array([0, 0]), ["A"], None)
    >>> found[0][1].tolist()
    [5.0, nan, 6.0]
    """
    dates = pd.to_datetime(daily["date"])
    if dates.dt.tz is not None:
        dates = dates.dt.tz_localize(None)
    if dates.isna().any():
        row = int(np.flatnonzero(dates.isna())[0])
        raise FieldkitError(
            f"Row {row + 1} of the daily readings has no date (station {daily['station_id'].iloc[row]})."
        )
    _check_possible(
        daily.assign(date=dates) if dates.dtype != daily["date"].dtype else daily, ["tmax_c", "tmin_c"], "date"
    )
    day = dates.to_numpy().astype("datetime64[D]").astype(np.int64)
    columns = ["tmax_c", "tmin_c", *(["precipitation_mm"] if "precipitation_mm" in daily else [])]
    values = [daily[c].to_numpy(dtype=float) for c in columns]
    if period is not None:
        first, last = (np.datetime64(f"{y}", "Y") for y in (period[0], period[1] + 1))
        low, high = (int(y.astype("datetime64[D]").astype(np.int64)) for y in (first, last))
        if low >= high:
            raise FieldkitError(f"period={period}: give the first and the last year, for example (1991, 2020).")
        inside = (day >= low) & (day < high)
        if not inside.any():
            raise FieldkitError(f"No reading lies in the years {period[0]} to {period[1]}.")
        day, code, values = day[inside], code[inside], [v[inside] for v in values]
    key = code.astype(np.int64) << 32 | (day - day.min())
    if (np.diff(key) < 0).any():
        order = np.argsort(key, kind="stable")
        key, day, code, values = key[order], day[order], code[order], [v[order] for v in values]
    dropped = []

    again = np.r_[False, np.diff(key) == 0]
    if again.any():
        for name, column in zip(columns, values):
            differs = np.flatnonzero(again & ~np.isclose(column, np.r_[np.nan, column[:-1]], equal_nan=True))
            if len(differs):
                i = differs[0]
                raise FieldkitError(
                    f"Station {ids[code[i]]} has two different readings of {name} for "
                    f"{day[i].astype('datetime64[D]')}: "
                    f"{column[i - 1]:g} and {column[i]:g}. Keep the right one."
                )
        dropped.append(_dropped(ids, code, day, again, "the same reading twice"))
    inverted = values[1] > values[0]
    if inverted.any():
        dropped.append(_dropped(ids, code, day, inverted, "minimum above maximum"))
    keep = ~again & ~inverted
    code, day, values = code[keep], day[keep], [v[keep] for v in values]

    records = []
    edges = np.searchsorted(code, np.arange(len(ids) + 1))
    for i, (a, b) in enumerate(pairwise(edges)):
        if a == b:
            raise FieldkitError(f"Station {ids[i]} has no usable day: leave it out, or widen the period.")
        start, end = (low, high) if period is not None else (day[a], day[b - 1] + 1)
        run = [np.full(end - start, np.nan) for _ in range(3)]
        for target, source in zip(run, values):
            target[day[a:b] - start] = source[a:b]
        records.append((np.datetime64(int(start), "D"), *run))
    return records, pd.concat(dropped, ignore_index=True) if dropped else pd.DataFrame(columns=LEFT_OUT)


def _dropped(ids, code, day, which, reason):
    when = np.datetime_as_string(day[which].astype("datetime64[D]"))
    return pd.DataFrame({"station_id": np.asarray(ids)[code[which]], "when": when, "reason": reason})


def months_left_out(station, tmax, tmin, cal, rule):
    """List the months that the rule of completeness refuses.

    Examples
    --------
    >>> from fieldkit.field.climate.completeness import RULES
    >>> cal, (one,) = _monthly.whole_months(np.datetime64("2023-02-01"), np.ones(28))
    >>> len(months_left_out("A", one, one, cal, RULES["3/5"]))
    0
    """
    present = np.isfinite(tmax) & np.isfinite(tmin)
    counts = _monthly.months_that_count(present, cal, rule)
    missing = cal.lengths - np.add.reduceat(present, cal.starts, dtype=int)
    rows = [
        (station, f"{cal.year[m]}-{cal.month[m]:02d}", f"month does not count: {missing[m]} days missing")
        for m in np.flatnonzero(~counts)
    ]
    return pd.DataFrame(rows, columns=LEFT_OUT)


def _zone(station, where, times, timezone):
    if timezone is not None:
        check_zone(timezone)
        return timezone
    own = where.loc[station, "timezone"]
    if isinstance(own, str) and own:
        check_zone(own)
        return own
    if str(times.dt.tz) not in _UNIVERSAL:
        return times.dt.tz
    longitude = where.loc[station, "longitude_deg"]
    if np.isfinite(longitude):
        return datetime.timezone(datetime.timedelta(hours=round(longitude / 15)))
    raise FieldkitError(
        f"The times of station {station} are universal time and its place is not known, so the day cannot be told from "
        "the night. Say timezone=, or give its longitude_deg."
    )


def from_hourly(hourly, where, timezone, hours_needed):
    """Take daily extremes from hourly readings, in the local day.

    Parameters
    ----------
    hourly : pandas.DataFrame
        ``station_id, time, air_temperature_c``; the times carry a zone.
    where : pandas.DataFrame
        Of `places`.
    timezone : str or None
        Zone of the days; else the station's own, else that of the times, else the whole hours of its longitude.
    hours_needed : int
        Hours of the day that must be read.

    Returns
    -------
    tuple of pandas.DataFrame
        Daily extremes; the readings used, with their local clock; what was left out.

    Raises
    ------
    FieldkitError
        When times carry no zone, one moment has two readings, or no day has enough hours.

    Examples
    --------
    >>> clock = pd.date_range("2024-07-01", periods=24, freq="h", tz="Etc/GMT+7")
    >>> hours = pd.DataFrame({"station_id": "A", "time": clock, "air_temperature_c": np.arange(24.0)})
    >>> days, _, _ = from_hourly(hours, station_table(None, ["A"]), None, 20)
    >>> days[["tmax_c", "tmin_c"]].to_numpy().tolist()
    [[23.0, 0.0]]
    """
    times = hourly["time"]
    if not isinstance(times.dtype, pd.DatetimeTZDtype):
        raise FieldkitError(
            "The times of hourly readings carry no zone: use a column of times with one, for example "
            "table['time'].dt.tz_localize('Etc/GMT+5') for a clock that stays at UTC-5."
        )
    _check_possible(hourly, ["air_temperature_c"], "time")
    days, used, dropped = [], [], []
    for station, part in hourly.groupby(hourly["station_id"].astype(str), sort=True):
        part = part[["time", "air_temperature_c"]].dropna().sort_values("time")
        part = part.assign(time=part["time"].dt.tz_convert(_zone(station, where, part["time"], timezone)))
        again = part["time"].duplicated()
        if again.any():
            same = part.groupby("time")["air_temperature_c"].nunique()
            if (same > 1).any():
                raise FieldkitError(
                    f"Station {station} has two different readings at {same.index[same > 1][0]}. If the clocks "
                    "were set "
                    "back there, the file needs a clock that does not shift."
                )
            dropped.append(_hours_out(station, part.loc[again, "time"], "the same reading twice"))
            part = part[~again]
        air = part["air_temperature_c"].to_numpy(dtype=float)
        before, after = np.diff(air, prepend=np.nan), -np.diff(air, append=np.nan)
        gap = np.diff(part["time"].to_numpy()).astype("timedelta64[s]").astype(float)
        near = (np.r_[np.inf, gap] <= 7200) & (np.r_[gap, np.inf] <= 7200)
        spike = near & (np.minimum(np.abs(before), np.abs(after)) > _SPIKE_C) & (before * after > 0)
        if spike.any():
            dropped.append(
                _hours_out(station, part.loc[spike, "time"], f"spike: more than {_SPIKE_C:g} °C off both neighbours")
            )
            part = part[~spike]
        if part.empty:
            continue
        local = part["time"].dt.tz_localize(None)
        part = part.assign(station_id=station, local=local, date=local.dt.normalize())
        used.append(part)
        by_day = part.groupby("date")["air_temperature_c"]
        hours = part["date"].loc[~local.dt.floor("h").duplicated()].value_counts()
        one = pd.DataFrame({"tmax_c": by_day.max(), "tmin_c": by_day.min(), "hours": hours}).reset_index()
        few = one["hours"] < hours_needed
        if few.all():
            raise FieldkitError(
                f"No day of station {station} has readings in {hours_needed} of its hours (most: "
                f"{one['hours'].max()}), "
                "so its extremes may have been missed. Give hourly readings, or lower hours_needed and say that "
                "you did."
            )
        dropped.append(
            pd.DataFrame(
                {
                    "station_id": station,
                    "when": one.loc[few, "date"].dt.strftime("%Y-%m-%d"),
                    "reason": [f"only {h} hours read, {hours_needed} needed" for h in one.loc[few, "hours"]],
                }
            )
        )
        days.append(one[~few].assign(station_id=station))
    if not days:
        raise FieldkitError("There are no hourly readings: every air_temperature_c is empty.")
    dropped = [d for d in dropped if len(d)]
    return (
        pd.concat(days, ignore_index=True),
        pd.concat([p.assign(time=p["time"].dt.tz_convert("UTC")) for p in used], ignore_index=True),
        pd.concat(dropped, ignore_index=True) if dropped else pd.DataFrame(columns=LEFT_OUT),
    )


def _hours_out(station, times, reason):
    return pd.DataFrame({"station_id": station, "when": times.dt.strftime("%Y-%m-%d %H:%M %z"), "reason": reason})
