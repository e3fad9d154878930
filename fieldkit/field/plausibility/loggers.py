"""Loggers held against each other and against what was read by hand: names that were swapped, a clock of its own."""

import itertools
from dataclasses import dataclass

import numpy as np

from fieldkit.field.plausibility.series import seconds_of

_PAIRED_S = 3600
_LEAST = 15
# Hand-read and logged shade air of one site agree within some 2 °C (rule of thumb); three is more than shade, height
# and a slow thermometer do.
_APART_C = 3.0
_LAG_MIN, _LONGEST_H = 40, 14
_LEAST_DAYS = 8
_DRAWS = 200


@dataclass(frozen=True, kw_only=True, eq=False)
class _Short:
    """What is kept of a logger: its first row, its hourly means, and how far it lies from what was read by hand."""

    name: str
    row: int
    hourly: tuple
    apart: tuple


class Pairs:
    """Loggers as they come, one at a time, and then what they say of each other."""

    def __init__(self, say):
        self._say, self._loggers, self._hand = say, [], _hand_air(say)

    def take(self, one):
        """Keep what is needed of a logger of temperature."""
        if one.table == "loggers" and one.kind == "temperature" and np.isfinite(one.readings).any():
            short = _Short(name=one.name, row=int(one.rows[0]), hourly=_hourly(one), apart=_apart(one, *self._hand))
            self._loggers.append(short)

    def look(self):
        """Say which loggers seem to bear another's name, and which clocks of two loggers do not agree."""
        roles = self._say.roles
        _swapped(self._say, self._loggers, roles)
        air = [one for one in self._loggers if roles.get(one.name) == "shade_air"]
        for one, other in itertools.combinations(air, 2):
            _lag(self._say, one, other)


def _hand_air(say):
    """Moments and shade air temperatures read by hand."""
    seconds, values = [], []
    for table in ("choices", "scans"):
        frame = say.tables.get(table)
        if frame is not None and {"time", "shade_air_c"} <= set(frame):
            known = frame["shade_air_c"].notna() & frame["time"].notna()
            seconds.append(seconds_of(frame.loc[known, "time"]))
            values.append(frame.loc[known, "shade_air_c"].to_numpy(dtype=float))
    return (np.concatenate(seconds), np.concatenate(values)) if seconds else (np.empty(0), np.empty(0))


def _apart(one, seconds, values):
    """Median distance of a logger from what was read by hand, and how many readings that rests on."""
    if not len(seconds) or len(one.seconds) < 2:
        return np.nan, 0
    order = np.argsort(one.seconds)
    at = np.interp(seconds, one.seconds[order], one.readings[order])
    after = np.searchsorted(one.seconds[order], seconds).clip(1, len(order) - 1)
    near = np.minimum(
        np.abs(seconds - one.seconds[order][after - 1]), np.abs(seconds - one.seconds[order][after])
    ) <= max(_PAIRED_S, 60 * one.step_min)
    near &= np.isfinite(at)
    return (float(np.median(np.abs(at - values)[near])), int(near.sum())) if near.sum() else (np.nan, 0)


def _swapped(say, warm, roles):
    apart = {one.name: one.apart for one in warm}
    for one in warm:
        if roles.get(one.name) != "shade_air":
            continue
        mine, number = apart[one.name]
        if number < _LEAST or not mine > _APART_C:
            continue
        others = {n: a for n, (a, k) in apart.items() if k >= _LEAST and roles.get(n) != "shade_air"}
        best = min(others, key=others.get, default=None)
        remedy = "Check which logger hung where, its unit and its clock."
        if best is not None and others[best] < mine / 1.5:
            remedy = (
                f"The readings of {best} ({roles[best]}) agree better ({others[best]:.1f} °C): check whether the two "
                f"names were swapped. {remedy}"
            )
        say.warn(
            "loggers",
            [one.row],
            "logger_id",
            f"{one.name} is there for shade air, and lies {mine:.1f} °C (median of {number}) from the shade air read "
            "by hand.",
            remedy,
        )


def _hourly(one):
    """Hourly means on the whole hours of UTC, NaN where none."""
    hour = np.floor(one.seconds / 3600).astype("int64")
    known = np.isfinite(one.readings)
    first = hour.min()
    count = np.bincount(hour[known] - first, minlength=1)
    total = np.bincount(hour[known] - first, one.readings[known], minlength=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        return first, total / count


def _lag(say, one, other):
    """The shift under which the changes of two loggers of shade air agree best, with its interval over days."""
    (a0, a), (b0, b) = one.hourly, other.hourly
    start, end = max(a0, b0) - _LONGEST_H, min(a0 + len(a), b0 + len(b)) + _LONGEST_H
    if end - start < 24 * _LEAST_DAYS + 2 * _LONGEST_H:
        return

    def cut(first, values):
        out = np.full(end - start, np.nan)
        low, high = max(start, first), min(end, first + len(values))
        out[low - start : high - start] = values[low - first : high - first]
        return np.diff(out)

    a, b = cut(a0, a), cut(b0, b)
    lags = np.arange(-_LONGEST_H, _LONGEST_H + 1)
    middle = slice(_LONGEST_H, len(a) - _LONGEST_H)
    product = np.stack([(a[middle] * np.roll(b, lag)[middle]) for lag in lags], axis=1)
    days = len(product) // 24
    by_day = np.nansum(product[: days * 24].reshape(days, 24, len(lags)), axis=1)
    by_day = by_day[np.abs(by_day).sum(axis=1) > 0]
    if len(by_day) < _LEAST_DAYS:
        return
    rng = np.random.default_rng(0)
    drawn = rng.multinomial(len(by_day), np.full(len(by_day), 1 / len(by_day)), size=_DRAWS) @ by_day
    best, spread = _top(by_day.sum(axis=0), lags), [_top(total, lags) for total in drawn]
    low, high = np.quantile(spread, [0.025, 0.975])
    if min(abs(low), abs(high)) * 60 < _LAG_MIN or low * high <= 0:
        return
    late, early = (one, other) if best > 0 else (other, one)
    say.warn(
        "loggers",
        [late.row],
        "time",
        f"{late.name} writes every change of the air {abs(best):.1f} h later than {early.name} (95 % interval "
        f"{min(abs(low), abs(high)):.1f} to {max(abs(low), abs(high)):.1f} h, {len(by_day)} days): their clocks do not "
        "agree.",
        f"Find out which of the two is right; a clock's own zone is said by timezone below [loggers.{late.name}] in "
        "season.toml.",
    )


def _top(total, lags):
    """Lag of the highest value, between whole hours by a parabola."""
    k = int(np.argmax(total))
    if k in (0, len(total) - 1):
        return float(lags[k])
    left, top, right = total[k - 1 : k + 2]
    bend = left - 2 * top + right
    return float(lags[k] + (0.5 * (left - right) / bend if bend else 0.0))
