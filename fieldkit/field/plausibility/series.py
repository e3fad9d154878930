"""The series of a season that the sun has a say in."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

_WARM = ("shade_air", "exposed_probe", "copper_model", "surface")


@dataclass(frozen=True, kw_only=True, eq=False)
class Series:
    """One column of one table, or one logger, or one station; `seconds` since 1970 UTC, `rows` those of the table."""

    name: str
    kind: str
    table: str
    column: str
    rows: np.ndarray
    seconds: np.ndarray
    readings: np.ndarray
    step_min: float
    error: float
    latitude_deg: float
    longitude_deg: float


def seconds_of(times):
    """Seconds since 1970 of times with a zone; NaN where there is none."""
    out = times.astype("int64").to_numpy() / (
        1e9 if times.dt.unit == "ns" else {"us": 1e6, "ms": 1e3, "s": 1.0}[times.dt.unit]
    )
    return np.where(times.isna().to_numpy(), np.nan, out)


def of_tables(tables, *, site, loggers, stations, errors):
    """Every series of the tables.

    Parameters
    ----------
    tables : dict of str to DataFrame or None
        By name.
    site : tuple of float
        Latitude and longitude, degrees.
    loggers : dict of str to str
        Role of each logger.
    stations : dict of str to tuple of float
        Latitude and longitude of the stations whose place is known.
    errors : dict of str to float
        Standard deviation of the readings of a column, or of a logger.
    """
    choices = tables.get("choices")
    if choices is not None and {"time", "irradiance_w_m2"} <= set(choices):
        yield _series("choices", "hand_radiation", choices, "choices", "irradiance_w_m2", site, errors, 10.0)
    logged = tables.get("loggers")
    if logged is not None and {"time", "logger_id", "value"} <= set(logged):
        ids = logged["logger_id"].astype("category").cat
        names, codes = list(ids.categories), ids.codes.to_numpy()
        for number, name in enumerate(names):
            role = loggers.get(name)
            kind = "radiation" if role == "irradiance" else "temperature" if role in _WARM else None
            rows = np.flatnonzero(codes == number)
            if kind is not None and len(rows):
                part = logged.iloc[rows]
                yield _series(name, kind, part, "loggers", "value", site, {"value": errors.get(name, 0.0)}, None, rows)
    weather = tables.get("weather")
    if weather is not None and "time" in weather and "station_id" in weather:
        for name, part in weather.groupby("station_id", sort=False):
            place = stations.get(name, site)
            for column, kind in (("ghi_w_m2", "radiation"), ("air_temperature_c", "temperature")):
                if column in part and part[column].notna().any():
                    rows = weather.index.get_indexer(part.index)
                    label = f"{name} ({column.split('_')[0]})"
                    yield _series(label, kind, part, "weather", column, place, {}, None, rows)


def _series(name, kind, part, table, column, place, errors, step_min, rows=None):
    seconds = seconds_of(part["time"])
    known = np.isfinite(seconds)
    rows = np.arange(len(part)) if rows is None else rows
    seconds, rows = seconds[known], rows[known]
    if step_min is None:
        steps = np.diff(np.sort(seconds))
        steps = steps[steps > 0]
        step_min = float(np.median(steps) / 60) if len(steps) else 60.0
    return Series(
        name=name,
        kind=kind,
        table=table,
        column=column,
        rows=rows,
        seconds=seconds,
        readings=part[column].to_numpy(dtype=float)[known],
        step_min=step_min,
        error=float(errors.get(column, 0.0) or 0.0),
        latitude_deg=place[0],
        longitude_deg=place[1],
    )


def of_season(season):
    """Every series of a season that was read."""
    places = season.stations.dropna(subset=["latitude_deg", "longitude_deg"])
    info = season.logger_info
    return of_tables(
        {name: getattr(season, name) for name in ("choices", "loggers", "weather")},
        site=(season.site.latitude_deg, season.site.longitude_deg),
        loggers=dict(zip(info["logger_id"], info["role"])),
        stations={r.station_id: (r.latitude_deg, r.longitude_deg) for r in places.itertuples()},
        errors=season.instrument_errors | {k: v for k, v in zip(info["logger_id"], info["error"]) if pd.notna(v)},
    )
