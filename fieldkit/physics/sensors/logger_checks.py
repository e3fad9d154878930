"""Can the loggers be trusted before anyone asks what they mean: complete, alive, in range, and on time."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result, floats, method

_STUCK_H = 6.0
# Widest that each kind of logger can honestly read: -60 to 90 °C for bodies in any sun, the solar constant and a cloud
# edge for irradiance, a gale for wind.
_RANGES = {
    "irradiance": (-20.0, 1500.0),
    "wind": (0.0, 60.0),
    "humidity": (0.0, 100.0),
}
_TEMPERATURE_RANGE = (-60.0, 90.0)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class LoggerCheck(Result):
    """How complete, alive and punctual each logger is; `.table` has one row a logger, `.gaps` one a gap.

    Attributes
    ----------
    table : DataFrame
        ``logger_id, role, first, last, step_min, readings, due, complete`` (share of due readings that are there),
        ``gaps, longest_gap_h, repeated`` (readings at a time that already has one), ``stuck_h`` (longest stretch of one
        value by day and night), ``lowest, highest, out_of_range, clock_off_min``.
    gaps : DataFrame
        ``logger_id, from_time, to_time, missing``.
    """

    table: pd.DataFrame
    gaps: pd.DataFrame

    @property
    def sentence(self):
        table = self.table
        if table.empty or not table["due"].sum():
            return "No logger gave a reading."
        parts = [
            f"{len(table)} logger{'s' if len(table) > 1 else ''} gave {table['readings'].sum():,} readings, "
            f"{100 * table['readings'].sum() / table['due'].sum():.1f} % of those due"
        ]
        for column, words in (
            ("repeated", "repeated readings in"),
            ("out_of_range", "impossible values in"),
        ):
            bad = table.loc[table[column] > 0, "logger_id"]
            if len(bad):
                parts.append(f"{words} {', '.join(map(str, bad))}")
        stuck = table.loc[table["stuck_h"] > _STUCK_H, "logger_id"]
        if len(stuck):
            parts.append(f"one value for more than {_STUCK_H:.0f} hours in {', '.join(map(str, stuck))}")
        if self.gaps.empty:
            parts.append("no gaps")
        else:
            longest = table.loc[table["longest_gap_h"].idxmax()]
            parts.append(
                f"{len(self.gaps)} gap{'s' if len(self.gaps) > 1 else ''}, the longest "
                f"{longest['longest_gap_h']:.0f} h in {longest['logger_id']}"
            )
        late = table[table["clock_off_min"].abs() > 20]
        for row in late.itertuples():
            parts.append(f"the clock of {row.logger_id} is {row.clock_off_min:+.0f} min off the sun")
        return "; ".join(parts) + "."


@method
def check_loggers(loggers, logger_info=None, *, longitude_deg=None):
    """Check logger series for gaps, repeats, stuck and impossible values and, against the sun, the clock.

    Parameters
    ----------
    loggers : DataFrame
        ``time`` (with a zone), ``logger_id``, ``value``.
    logger_info : DataFrame, optional
        ``logger_id, role``: the role sets what range is possible.
    longitude_deg : float, optional
        Degrees east: the middle of the irradiance of a logger with the role ``irradiance`` is then held against solar
        noon. Hills to one side, or clouds that prefer the afternoon, move it by up to half an hour; a wrong summer time
        moves it by a whole one.

    Returns
    -------
    LoggerCheck

    Raises
    ------
    FieldkitError
        When columns are missing, values are no numbers or times carry no zone.

    Examples
    --------
    >>> times = pd.date_range("2024-05-01", periods=48, freq="30min", tz="UTC").delete([10, 11])
    >>> table = pd.DataFrame({"time": times, "logger_id": "A", "value": np.arange(46.0)})
    >>> check_loggers(table).sentence
    '1 logger gave 46 readings, 95.8 % of those due; 1 gap, the longest 2 h in A.'
    """
    missing = {"time", "logger_id", "value"} - set(loggers.columns)
    if missing:
        raise FieldkitError(f"The logger table lacks the column '{sorted(missing)[0]}'.")
    if not isinstance(loggers["time"].dtype, pd.DatetimeTZDtype):
        raise FieldkitError("The times of the loggers need a time zone.")
    roles = {} if logger_info is None else dict(zip(logger_info["logger_id"], logger_info["role"]))
    rows, gaps = [], []
    for name, part in loggers.groupby("logger_id", observed=True):
        role = roles.get(name, "")
        row, holes = _one(part.dropna(subset=["value"]).sort_values("time"), role)
        if role == "irradiance" and longitude_deg is not None:
            row["clock_off_min"] = _clock_off(part, longitude_deg)
        rows.append({"logger_id": name, "role": role} | row)
        gaps += [{"logger_id": name} | hole for hole in holes]
    return LoggerCheck(
        table=pd.DataFrame(rows), gaps=pd.DataFrame(gaps, columns=["logger_id", "from_time", "to_time", "missing"])
    )


def _one(part, role):
    times, values = part["time"], floats(part["value"])
    repeated = int(times.duplicated().sum())
    unique = pd.DatetimeIndex(times.drop_duplicates())
    minutes = np.diff(unique.as_unit("ns").asi8) / 6e10
    step = float(np.median(minutes)) if minutes.size else np.nan
    # A late reading is not a gap: half a step is allowed.
    holes = np.flatnonzero(minutes > 1.5 * step) if minutes.size else np.array([], dtype=int)
    lost = np.round(minutes[holes] / step).astype(int) - 1
    low, high = _RANGES.get(role, _TEMPERATURE_RANGE)
    # A calm or a night is not a stuck logger: wind and irradiance rest at 0 for hours.
    moving = values if role not in ("irradiance", "wind") else np.where(values > 0, values, np.nan)
    return {
        "first": unique[0] if len(unique) else pd.NaT,
        "last": unique[-1] if len(unique) else pd.NaT,
        "step_min": step,
        "readings": len(unique),
        "due": len(unique) + int(lost.sum()),
        "complete": len(unique) / max(len(unique) + int(lost.sum()), 1),
        "gaps": len(holes),
        "longest_gap_h": float(minutes[holes].max() / 60) if holes.size else 0.0,
        "repeated": repeated,
        "stuck_h": _longest_same(moving) * (0.0 if np.isnan(step) else step) / 60,
        "lowest": float(values.min()) if values.size else np.nan,
        "highest": float(values.max()) if values.size else np.nan,
        "out_of_range": int(((values < low) | (values > high)).sum()),
        "clock_off_min": np.nan,
    }, [{"from_time": unique[i], "to_time": unique[i + 1], "missing": int(n)} for i, n in zip(holes, lost)]


def _longest_same(values):
    """Steps in the longest stretch without any change."""
    same = np.diff(values) == 0
    edges = np.flatnonzero(np.diff(np.r_[False, same, False]))
    return int((edges[1::2] - edges[::2]).max()) if edges.size else 0


def _clock_off(part, longitude_deg):
    """Minutes by which the middle of the day's irradiance comes after solar noon: median of the sunnier days."""
    from fieldkit.physics import sun

    part = part.dropna(subset=["value"])
    light = part["value"].clip(lower=0).to_numpy(dtype=float)
    solar = np.asarray(sun.solar_time(pd.DatetimeIndex(part["time"]), longitude_deg=longitude_deg))
    day = pd.DatetimeIndex(part["time"]).normalize()
    sums = pd.DataFrame({"day": day, "light": light, "moment": light * solar}).groupby("day").sum()
    sums = sums[(sums["light"] > 0) & (sums["light"] >= sums["light"].median())]
    if sums.empty:
        return np.nan
    return float(60 * (sums["moment"] / sums["light"] - 12).median())


def by_role(loggers, logger_info, role):
    """Series of all loggers with one role, side by side.

    Parameters
    ----------
    loggers : DataFrame
        ``time``, ``logger_id``, ``value``.
    logger_info : DataFrame
        ``logger_id, role``.
    role : str
        ``shade_air``, ``exposed_probe``, ``surface``, ``copper_model``, ``irradiance``, ``wind`` or ``humidity``.

    Returns
    -------
    DataFrame
        One column a logger, one row a time; no columns when no logger has the role. Of readings repeated at one time
        the mean is taken; `check_loggers` counts them.

    Raises
    ------
    KeyError
        When the table of loggers has no column ``role``.

    Examples
    --------
    >>> times = pd.date_range("2024-05-01", periods=2, freq="1h", tz="UTC")
    >>> table = pd.DataFrame({"time": times, "logger_id": "A", "value": [1.0, 2.0]})
    >>> by_role(table, pd.DataFrame({"logger_id": ["A"], "role": ["wind"]}), "wind").columns.tolist()
    ['A']
    """
    names = logger_info.loc[logger_info["role"] == role, "logger_id"]
    part = loggers[loggers["logger_id"].isin(names)]
    wide = part.pivot_table(index="time", columns="logger_id", values="value", aggfunc="mean", observed=True)
    wide.columns.name = None
    return wide
