"""Readings as ten-minute means, and what they can and cannot say about a limit.

The stated error of a logger is its standard deviation, but nobody states how much of it is one calibration error that
lasts as long as the log and how much changes from reading to reading. The tests here hold for either and for mixtures.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.captive.lamps import burns
from fieldkit.field.climate.seasons import MONTHS

# Ten minutes is the shortest contact time of the limits for surfaces (`targets.standards`).
BLOCK_MINUTES = 10
LIGHT_KINDS = ("heat", "visible", "uv", "heat and uv")
# Used where a logger states no error (common practice, no source); the audit says so.
ASSUMED_ERRORS = {
    "shade_air": 1.0,
    "surface": 3.0,
    "copper_model": 1.5,
    "exposed_probe": 1.5,
    "irradiance": 100.0,
    "uv_index": 1.0,
    "thermostat": 1.0,
    "room_air": 1.0,
    "humidity": 5.0,
    "wind": 0.2,
}
# A mean this many errors below a limit does not come from a truth on it.
FAR = 4.0
# For `limit_p`: shares of the error's variance that last, blocks after which the rest is drawn anew, and nodes of
# the normal distribution.
_LASTING = np.array([0.0, 0.2, 0.4, 0.6, 0.8, 0.9, 0.97])
_UNITS = (1, 6, 24)
_NODES = np.linspace(-6, 6, 121)
_WEIGHTS = np.exp(-(_NODES**2) / 2) / np.exp(-(_NODES**2) / 2).sum()
_PER_SECOND = {"s": 1, "ms": 1_000, "us": 1_000_000, "ns": 1_000_000_000}


@dataclass(frozen=True, kw_only=True, eq=False)
class Blocks:
    """Means of an enclosure's readings.

    Attributes
    ----------
    table : DataFrame
        ``logger`` (row of `loggers`; sorted), ``value``, ``month``, ``hour`` (0 to 23), ``date`` (days since 1970),
        ``day`` (True while it is day there), in the clock of the place, and ``moment`` (seconds since 1970 UTC).
    loggers : DataFrame
        logger_id, point_id, zone, role, ``error`` (assumed where not stated) and ``error_stated``.
    day_from : str
        How day and night were told apart.
    day_assumed : bool
        Nothing tells day from night, so the hours of day were assumed.
    """

    table: pd.DataFrame
    loggers: pd.DataFrame
    day_from: str
    day_assumed: bool = False

    def of(self, logger, *, month=0, period="all"):
        """Blocks of one logger in a month (0: all) and period."""
        owner = self.table["logger"].to_numpy()
        rows = self.table.iloc[np.searchsorted(owner, logger) : np.searchsorted(owner, logger, side="right")]
        keep = np.ones(len(rows), dtype=bool)
        if month:
            keep &= rows["month"].to_numpy() == month
        if period != "all":
            keep &= rows["day"].to_numpy() == (period == "day")
        return rows[keep]


def make(record):
    """Average the readings of an enclosure over ten minutes.

    Parameters
    ----------
    record : EnclosureRecord
        Any spacing; a logger that reads less often gives one reading a block.

    Returns
    -------
    Blocks
    """
    readings, info = record.readings, record.logger_info.reset_index(drop=True)
    values = readings["value"].to_numpy(dtype=float)
    owner = pd.Categorical(readings["logger_id"], categories=info["logger_id"]).codes.astype(np.int64)
    known = np.isfinite(values) & (owner >= 0)
    if not known.all():
        readings, values, owner = readings[known], values[known], owner[known]
    per_block = BLOCK_MINUTES * 60 * _PER_SECOND[readings["time"].dtype.unit]
    block = readings["time"].astype("int64").to_numpy() // per_block
    first = block.min() if len(block) else 0
    span = int(block.max() - first + 1) if len(block) else 1
    # One number for logger and block: a year of minutes is summed without sorting.
    key = owner * span + (block - first)
    count, total = np.bincount(key, minlength=1), np.bincount(key, weights=values, minlength=1)
    cells = np.flatnonzero(count)
    table = pd.DataFrame({"logger": cells // span, "value": total[cells] / count[cells]})
    moments, where = np.unique(cells % span, return_inverse=True)
    seconds = (moments + first) * BLOCK_MINUTES * 60
    local = pd.to_datetime(seconds, unit="s", utc=True).tz_convert(record.timezone)
    table["moment"] = seconds[where]
    clock = np.asarray(local.hour + local.minute / 60, dtype=float)
    table["month"] = np.asarray(local.month)[where]
    table["hour"] = np.asarray(local.hour)[where]
    table["date"] = np.asarray((local.tz_localize(None).normalize() - pd.Timestamp("1970-01-01")).days)[where]
    stated = (info["error"] > 0).to_numpy()
    info["error"] = np.where(stated, info["error"], info["role"].map(ASSUMED_ERRORS).astype(float))
    info["error_stated"] = stated
    day, how, assumed = _day(record.lamps, table, info, clock, where)
    table["day"] = day[where]
    return Blocks(table=table, loggers=info, day_from=how, day_assumed=assumed)


def _day(lamps, table, info, clock, where):
    """When it is day there: by the clock of the lamps, else by what a meter sees, else assumed."""
    timed = timed_lamps(lamps)
    day = np.zeros(len(clock), dtype=bool)
    for lamp in timed.itertuples(index=False):
        day |= burns(clock, lamp.on, lamp.off)
    if len(timed):
        return day, "the clock of the lamps", False
    for number in info.index[info["role"].isin(("irradiance", "uv_index"))]:
        mine = (table["logger"] == number).to_numpy()
        values = table.loc[mine, "value"].to_numpy()
        if len(values) and np.quantile(values, 0.95) > 0:
            day[where[mine][values > 0.05 * np.quantile(values, 0.95)]] = True
    if day.any():
        return day, "the light that the meters saw", False
    how = "assumed, 08:00 to 20:00 (our choice): no lamp has a clock and no meter logged, so no target of day or night "
    return (clock >= 8) & (clock < 20), f"{how}can be met", True


def timed_lamps(lamps):
    """Lamps that give light and have a clock."""
    return lamps[lamps["kind"].isin(LIGHT_KINDS) & lamps["on"].notna() & lamps["off"].notna()]


def limit_p(values, limit, error):
    """Chance of readings so far above a limit if the truth never passed it.

    Parameters
    ----------
    values : ndarray (n,)
        Means of ten minutes, in the order of time.
    limit : float
        The upper limit.
    error : float
        Standard deviation of a reading.

    Returns
    -------
    float

    Notes
    -----
    An error has a part that lasts for the whole log and a part that is drawn anew; their shares of the variance are
    not known, nor whether "anew" means every ten minutes, every hour or every four hours. For k of n means more than c
    errors above the limit the chance is E[P(Binomial(n, Φ((bβ - c)/√(1 - β²))) ≥ k)] over b ~ N(0, 1), with k and n
    counted in those units and β² the lasting share. The largest over shares and units is taken, the smallest over
    k = 1, 4, 16 … n, and that is doubled for having looked at several k.

    Of the n only those count that lie within `FAR` errors of the limit: a cool night is no chance to err above it. That
    costs nothing, as with a truth δ errors below the limit Φ(-c - δ)/Φ(4 - δ), the chance to be so high for a mean that
    counts, is largest at δ = 0, where Φ(4) is as good as 1.

    Examples
    --------
    >>> limit_p(np.full(500, 51.0), 48.0, 1.0) < 0.05, limit_p(np.full(500, 49.0), 48.0, 1.0) < 0.05
    (True, False)
    """
    from scipy import special

    above = (values - limit) / error
    near = np.flatnonzero(above > -FAR)
    if not len(near) or above.max() <= 0:
        return 1.0
    k = np.unique(np.append(4 ** np.arange(int(np.log2(len(near)) / 2 + 1e-9) + 1), len(near)))
    c = np.sort(above)[::-1][k - 1]
    k, c = k[c > 0], c[c > 0]
    lasting = np.sqrt(_LASTING)[:, None]
    tail = special.ndtr((_NODES * lasting - c[:, None, None]) / np.sqrt(1 - lasting**2))
    worst = special.ndtr(-c)
    for unit in _UNITS:
        units = len(np.unique(near // unit))
        chance = special.bdtrc(np.ceil(k / unit)[:, None, None] - 1, units, tail) @ _WEIGHTS
        worst = np.maximum(worst, chance.max(axis=1))
    return float(min(1.0, 2 * worst.min()))


def holm(p_values):
    """P-values adjusted for their number (Holm 1979, Scand. J. Stat. 6:65-70).

    Examples
    --------
    >>> holm([0.01, 0.04, 0.03]).round(3).tolist()
    [0.03, 0.06, 0.06]
    """
    p = np.asarray(p_values, dtype=float)
    order = np.argsort(p, kind="stable")
    stepped = np.maximum.accumulate((len(p) - np.arange(len(p))) * p[order])
    adjusted = np.empty(len(p))
    adjusted[order] = np.minimum(stepped, 1.0)
    return adjusted


def daily(flags, group):
    """Share of the flagged and its standard error over days, which are alike from one to the next.

    Parameters
    ----------
    flags : ndarray of bool (n,)
        Per block.
    group : ndarray of int (n,)
        The day of each, counted from 0 without gaps.

    Returns
    -------
    share, standard_error : float
        The error is widened by the correlation of neighbouring days, and NaN with fewer than three days.

    Examples
    --------
    >>> daily(np.array([True, False, True, False]), np.arange(4))[0]
    0.5
    """
    size, hits = np.bincount(group), np.bincount(group, weights=flags)
    share, days = float(hits.sum() / size.sum()), len(size)
    if days < 3:
        return share, np.nan
    residual = hits - share * size
    spread = np.sum(residual**2)
    lag = np.sum(residual[1:] * residual[:-1]) / spread if spread > 0 else 0.0
    lag = min(max(lag, 0.0), 0.8)
    return share, np.sqrt(spread * days / (days - 1) * (1 + lag) / (1 - lag)) / size.sum()


def beyond(values, dates, limit, *, high, error, z_missed, z_met, allowed, possible_days):
    """Say whether a limit is kept, but for an allowed share of the time.

    Parameters
    ----------
    values, dates : ndarray (n,)
        Means and their days.
    limit : float
        The limit, upper when `high`.
    high : bool
        False: a lower limit.
    error : float
        Standard deviation of a reading, taken as one error that lasts: the case that averaging does not help.
    z_missed, z_met : float
        How many errors readings must lie beyond the limit to miss it, or inside it to meet it.
    allowed : float
        Share of the time that may lie outside.
    possible_days : int
        Days there were. The fewer of them were logged, the less sure the rest.

    Returns
    -------
    dict
        ``status`` and ``excess`` (how far the `allowed` quantile lies outside the limit; negative inside).

    Examples
    --------
    >>> day = np.repeat(np.arange(10), 6)
    >>> limits = {"high": True, "error": 0.3, "z_missed": 2.5, "z_met": 1.6, "allowed": 0.05, "possible_days": 10}
    >>> [beyond(np.full(60, t), day, 25.0, **limits)["status"] for t in (24.0, 25.2, 27.0)]
    ['met', 'cannot tell', 'missed']
    """
    out = (values - limit) * (1.0 if high else -1.0)
    excess = float(np.quantile(out, 1 - allowed))
    days, group = np.unique(dates, return_inverse=True)
    sure, sure_error = daily(out > z_missed * error, group)
    maybe, maybe_error = daily(out > -z_met * error, group)
    unseen = np.sqrt(max(1 - len(days) / max(possible_days, 1), 0.0))
    if np.isnan(sure_error):
        status = "cannot tell"
    elif sure - z_missed * sure_error * unseen > allowed:
        status = "missed"
    elif maybe + z_met * maybe_error * unseen <= allowed:
        status = "met"
    else:
        status = "cannot tell"
    return {"status": status, "excess": excess}


def short(value):
    """Two significant digits without an exponent.

    Examples
    --------
    >>> short(187.3), short(0.0456)
    ('190', '0.046')
    """
    return f"{float(f'{value:.2g}'):g}"


def amount(value, unit, digits=2):
    """A number with its unit, in the way it is spoken of.

    Examples
    --------
    >>> amount(26.4, "°C"), amount(0.48, "share of places"), amount(8.0, "UV index")
    ('26 °C', '48 % of the floor', '8')
    """
    if unit == "share of places":
        return f"{100 * value:.0f} % of the floor"
    return f"{float(f'{value:.{digits}g}'):g} {unit if unit != 'UV index' else ''}".strip()


def plain(value):
    """A number as it is read: whole from 100, one decimal from 1, two digits below.

    Examples
    --------
    >>> plain(883.4), plain(7.384), plain(0.0456), plain(-0.04)
    ('883', '7.4', '0.046', '-0.04')
    """
    size = abs(value)
    return f"{value:.0f}" if size >= 100 else f"{round(value, 1):g}" if size >= 1 else f"{float(f'{value:.2g}'):g}"


def when(flags, rows):
    """Months and hours of the day in which most of the flagged blocks lie, in words.

    Examples
    --------
    >>> rows = pd.DataFrame({"month": [6, 6, 7, 7], "hour": [12, 13, 13, 2]})
    >>> when(np.array([True, True, True, False]), rows)
    'Jun to Jul, 12 to 14 h'
    """
    if not flags.any():
        return ""
    months = np.bincount(rows["month"].to_numpy()[flags], minlength=13)[1:]
    hours = np.bincount(rows["hour"].to_numpy()[flags], minlength=24)
    named = in_words(np.flatnonzero(months >= 0.05 * months.sum()) + 1)
    # The shortest run of hours, past midnight if need be, that holds four fifths.
    sums = np.concatenate([[0], np.cumsum(np.tile(hours, 2))])
    for length in range(1, 25):
        held = sums[length : length + 24] - sums[:24]
        if held.max() >= 0.8 * hours.sum():
            break
    start = int(held.argmax())
    return f"{named}, at all hours" if length >= 20 else f"{named}, {start} to {(start + length - 1) % 24 + 1} h"


def in_words(months):
    """Months as runs, past the turn of the year too.

    Examples
    --------
    >>> in_words([1, 2, 12, 6])
    'Jun, Dec to Feb'
    """
    months = {int(m) for m in months}
    if len(months) == 12:
        return "all year"
    runs = []
    for start in sorted(m for m in months if (m - 2) % 12 + 1 not in months):
        end = start
        while end % 12 + 1 in months:
            end = end % 12 + 1
        runs.append(MONTHS[start - 1] if start == end else f"{MONTHS[start - 1]} to {MONTHS[end - 1]}")
    return ", ".join(runs)
