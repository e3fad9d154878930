"""Hours of a day in which sun and air would allow basking."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result, floats, method
from fieldkit.physics.sun.ephemeris import local_midnights, local_stamps, unix_seconds


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class BaskingHours(Result):
    """Hours a day in which sun and air would allow basking.

    Attributes
    ----------
    table : DataFrame
        One row per local day: ``hours, stretches, longest_h, first_start, last_end, known_h, complete``.
    intervals : DataFrame
        One row per unbroken stretch within a day: ``date, start, end, hours``.
    threshold_w_m2 : float
    air_range_c : tuple of float or None
    shortest_min : float
    """

    table: pd.DataFrame
    intervals: pd.DataFrame
    threshold_w_m2: float
    air_range_c: tuple | None
    shortest_min: float

    @property
    def sentence(self):
        full = self.table[self.table["complete"]]
        limits = f"{self.threshold_w_m2:g} W/m² or more"
        if self.air_range_c is not None:
            limits += f" with air between {self.air_range_c[0]:g} and {self.air_range_c[1]:g} °C"
        if full.empty:
            return f"No day has readings from midnight to midnight, so hours a day at {limits} cannot be told."
        hours = full["hours"]
        if len(full) == 1:
            words = f"{limits}: {hours.iloc[0]:.1f} h on the one complete day."
        else:
            words = (
                f"{limits}: {hours.median():.1f} h a day in the median of {len(full)} complete days "
                f"(lowest {hours.min():.1f}, highest {hours.max():.1f} h)."
            )
        short = len(self.table) - len(full)
        if short:
            words += f" {short} more {'day has' if short == 1 else 'days have'} gaps; their hours are a lower limit."
        return words


@method
def potential_basking_hours(
    irradiance_w_m2,
    *,
    threshold_w_m2,
    air_temperature_c=None,
    air_range_c=None,
    shortest_min=0.0,
    longest_gap_min=None,
):
    """Find the stretches of each day in which there is sun enough to bask.

    Parameters
    ----------
    irradiance_w_m2 : Series (n,)
        On the animal's facing (usually a flat back), W/m², indexed by times with a zone; days are local days.
    threshold_w_m2 : float
        Least irradiance that counts. Take it from the animals seen basking, not from a table.
    air_temperature_c : Series (n,), optional
        Shade air, °C, same index.
    air_range_c : (low, high), optional
        Air between these, °C, both included; needs `air_temperature_c`.
    shortest_min : float
        Stretches shorter than this many minutes are left out (sunflecks).
    longest_gap_min : float, optional
        Readings further apart than this are not joined: the time between is unknown. None: 2.5 times the usual step.

    Returns
    -------
    BaskingHours

    Raises
    ------
    FieldkitError
        When times have no zone or do not increase, or air limits come without air.

    Notes
    -----
    Between neighbouring readings both quantities are taken as straight lines, so a stretch begins and ends where the
    line crosses the limit and hourly files are not rounded to whole hours. Hours are elapsed hours: days on which the
    clocks change have 23 or 25.

    Examples
    --------
    >>> times = pd.date_range("2024-06-21", periods=25, freq="h", tz="Etc/GMT+5")
    >>> sun_on_back = pd.Series(np.maximum(0, 900 * np.sin(np.pi * (np.arange(25) - 6) / 12)), index=times)
    >>> potential_basking_hours(sun_on_back, threshold_w_m2=450)
    BaskingHours: 450 W/m² or more: 8.0 h on the one complete day.
    """
    series = irradiance_w_m2
    if not isinstance(series, pd.Series) or not isinstance(series.index, pd.DatetimeIndex) or series.index.tz is None:
        raise FieldkitError("Give the irradiance as a Series whose index holds times with a zone.")
    if len(series) < 2 or not series.index.is_monotonic_increasing or not series.index.is_unique:
        raise FieldkitError("The times of the irradiance must increase, each once, and there must be two at least.")
    margins = [floats(series) - threshold_w_m2]
    if air_range_c is not None:
        if air_temperature_c is None:
            raise FieldkitError("Air limits were given but no air temperatures: give air_temperature_c as well.")
        if not air_temperature_c.index.equals(series.index):
            raise FieldkitError("Air and irradiance do not have the same times: join them into one table first.")
        low, high = (float(v) for v in air_range_c)
        if not low < high:
            raise FieldkitError(f"The air range {low:g} to {high:g} °C is upside down: give the lower limit first.")
        air = floats(air_temperature_c)
        margins += [air - low, high - air]
        air_range_c = (low, high)

    times = unix_seconds(series.index).to_numpy() / 3600
    step = float(np.median(np.diff(times)))
    gap = 2.5 * step if longest_gap_min is None else longest_gap_min / 60
    # A last reading at midnight closes its day and opens none.
    local = (series.index[[0, -1]].tz_localize(None) - pd.to_timedelta([0, 1], unit="s")).normalize()
    days = local_midnights(pd.date_range(local[0], local[1] + pd.Timedelta(days=1), freq="D"), series.index.tz)
    midnights = unix_seconds(days).to_numpy() / 3600
    nodes = np.union1d(times, midnights[(midnights > times[0]) & (midnights < times[-1])])
    segment = np.searchsorted(times, nodes[:-1], side="right") - 1
    finite = np.all(np.isfinite(margins), axis=0)
    known = (finite[:-1] & finite[1:] & (np.diff(times) <= gap))[segment]
    begin, length = nodes[:-1], np.diff(nodes)
    start, end, day = _stretches(times, nodes, midnights, margins, known, shortest_min)
    zone = series.index.tz
    intervals = pd.DataFrame(
        {"date": days[day], "start": local_stamps(start, zone), "end": local_stamps(end, zone), "hours": end - start}
    )
    table = _by_day(intervals, days[:-1])
    segment_day = np.searchsorted(midnights, begin, side="right") - 1
    table["known_h"] = np.bincount(segment_day, weights=length * known, minlength=len(days) - 1)[: len(days) - 1]
    # The first and the last reading of a file stand for their own step.
    table["complete"] = np.diff(midnights) - table["known_h"].to_numpy() <= step * 1.001
    return BaskingHours(
        table=table,
        intervals=intervals,
        threshold_w_m2=float(threshold_w_m2),
        air_range_c=air_range_c,
        shortest_min=float(shortest_min),
    )


def _stretches(times, nodes, midnights, margins, known, shortest_min):
    """Begin and end (h) of every stretch in which all margins are above zero, and the day it lies in."""
    begin, length = nodes[:-1], np.diff(nodes)
    first, last = np.zeros(len(begin)), np.ones(len(begin))
    for margin in margins:
        left, right = _above(*(np.interp(nodes, times, margin)[part] for part in (slice(None, -1), slice(1, None))))
        first, last = np.maximum(first, left), np.minimum(last, right)
    held = known & (last > first)
    start, end = (begin + first * length)[held], (begin + last * length)[held]
    day = np.searchsorted(midnights, (start + end) / 2, side="right") - 1
    if len(start):
        fresh = np.r_[True, (start[1:] - end[:-1] > 1e-9) | (day[1:] != day[:-1])]
        start, end, day = start[fresh], end[np.r_[fresh[1:], True]], day[fresh]
    keep = (end - start) * 60 >= shortest_min
    return start[keep], end[keep], day[keep]


def _by_day(intervals, days):
    grouped = intervals.groupby("date")
    table = pd.DataFrame(index=days.rename("date"))
    table["hours"] = grouped["hours"].sum().reindex(table.index, fill_value=0.0)
    table["stretches"] = grouped.size().reindex(table.index, fill_value=0)
    table["longest_h"] = grouped["hours"].max().reindex(table.index, fill_value=0.0)
    table["first_start"] = grouped["start"].min().reindex(table.index)
    table["last_end"] = grouped["end"].max().reindex(table.index)
    return table


def _above(left, right):
    """Part of a straight segment, as fractions of it, that is not below zero."""
    slope = np.where(right == left, 1.0, right - left)
    crossing = -left / slope
    with np.errstate(invalid="ignore"):
        first = np.where(left >= 0, 0.0, np.where(right >= 0, crossing, 1.0))
        last = np.where(right >= 0, 1.0, np.where(left >= 0, crossing, 0.0))
    return first, last
