"""Which shift of its clock suits a series best, and how sure that is."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import Result
from fieldkit.field.plausibility import sky

_BIN_MIN = 5
_BINS = 24 * 60 // _BIN_MIN
LIT_W_M2 = 25.0
# A level sensor passes 25 W/m² with the sun 3° up, give or take 1.5° for cloud and skyline (rule of thumb); 2 % of
# readings contradict the sun for other reasons (lamps, covers, shadow of a person).
_LIT_ELEVATION_DEG, _LIT_WIDTH_DEG, _STRANGE = 3.0, 1.5, 0.02
_LEAST_DAYS = 3
_DRAWS = 400
# Solar hour at which the daily wave of temperature peaks: widest that loggers in air and in the open were seen to have
# (rule of thumb).
_PEAK_H = (11.0, 18.5)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class ClockShifts(Result):
    """How far the clock of every series is ahead of the sun's.

    Attributes
    ----------
    table : DataFrame
        ``series, held_against, days, shift_min, low_min, high_min, allowed_min, off``: minutes by which the written
        times are ahead of the sun (positive: the clock is fast) with a 95 % interval over days; `off` is True where the
        whole interval lies beyond what the method allows.
    """

    table: pd.DataFrame

    @property
    def sentence(self):
        off = self.table[self.table["off"]]
        if self.table.empty:
            return "No series can be held against the sun."
        if off.empty:
            return f"No clock of the {len(self.table)} series that can be held against the sun is off."
        return " ".join(
            f"The clock of {row.series} is {_words(row.shift_min)} ({_span(row)})." for row in off.itertuples()
        )


def _words(minutes):
    return f"{abs(minutes) / 60:.1f} h {'ahead of' if minutes > 0 else 'behind'} the sun"


def _span(row):
    return f"95 % interval {row.low_min / 60:+.1f} to {row.high_min / 60:+.1f} h"


def clock_shifts(season):
    """The best clock shift of every series of a season that the sun can tell about.

    Parameters
    ----------
    season : Season
        From `fieldkit.read_season`.

    Returns
    -------
    ClockShifts

    Notes
    -----
    Radiation: each five minutes of solar time of each day are lit or dark (25 W/m²); the shift is the one under which
    the sun agrees best, the interval comes from drawing days with replacement. Temperatures: the hour at which their
    daily wave peaks, held against 11 to 18.5 h solar time, so that shifts of less than some 4 h go unseen.

    Examples
    --------
    >>> import fieldkit
    >>> found = clock_shifts(fieldkit.demo_season())
    >>> bool(found.table["off"].any())
    False
    """
    from fieldkit.field.plausibility.series import of_season

    rows = [row for series in of_season(season) if (row := shift_of(series)) is not None]
    columns = ["series", "held_against", "days", "shift_min", "low_min", "high_min", "allowed_min", "off"]
    return ClockShifts(table=pd.DataFrame(rows, columns=columns))


def shift_of(series):
    """The row of `ClockShifts.table` of one series, or None where the sun cannot tell."""
    if series.kind == "radiation":
        found = _from_light(series)
    elif series.kind == "hand_radiation":
        found = _from_ceiling(series)
    elif series.kind == "temperature":
        found = _from_wave(series)
    else:
        return None
    if found is None:
        return None
    against, days, best, low, high, allowed = found
    off = high - low < 720 and (low > allowed or high < -allowed)
    return {
        "series": series.name,
        "held_against": against,
        "days": int(days),
        "shift_min": float(best),
        "low_min": float(low),
        "high_min": float(high),
        "allowed_min": float(allowed),
        "off": bool(off),
    }


def _by_day(series, weights):
    """Sums by solar day (noon in the middle) and five minutes of solar time; also a moment of each day."""
    hours = sky.solar_hours(series.seconds, series.longitude_deg)
    day = np.floor(hours / 24).astype("int64")
    bin_ = np.minimum((hours % 24 * 60 / _BIN_MIN).astype("int64"), _BINS - 1)
    names, code = np.unique(day, return_inverse=True)
    sums = [np.bincount(code * _BINS + bin_, w, len(names) * _BINS).reshape(len(names), _BINS) for w in weights]
    noon = (names * 24 + 12 - series.longitude_deg / 15) * 3600.0
    return sums, noon


def _log_lit(noon, latitude_deg):
    """Log chance that a reading is lit and that it is dark, by day and five minutes of solar time."""
    declination = sky.declination_rad(sky.day_angle(noon))[:, None]
    hour_angle = np.radians((((np.arange(_BINS) + 0.5) * _BIN_MIN / 60) - 12) * 15)[None, :]
    latitude = np.radians(latitude_deg)
    sine = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(hour_angle)
    lit = 1 / (1 + np.exp(-(np.degrees(np.arcsin(np.clip(sine, -1, 1))) - _LIT_ELEVATION_DEG) / _LIT_WIDTH_DEG))
    lit = _STRANGE + (1 - 2 * _STRANGE) * lit
    return np.log(lit), np.log(1 - lit)


def _best(scores):
    """Best shift and its interval over drawn days, min; rows of `scores` are days, columns shifts."""
    rng = np.random.default_rng(0)
    days = len(scores)
    draws = rng.multinomial(days, np.full(days, 1 / days), size=_DRAWS).astype(float) @ scores

    def middle(total):
        # Of equally good shifts the one in the middle of the stretch around the best.
        top = np.flatnonzero(total >= total.max() - 1e-6)
        angle = np.angle(np.exp(2j * np.pi * top / _BINS).mean())
        return (angle / (2 * np.pi) * 1440 + 720) % 1440 - 720

    best = middle(scores.sum(axis=0))
    return best, *_interval(best, [middle(total) for total in draws])


def _interval(best, draws):
    """The middle 95 % around the best, so that an interval may pass midnight."""
    apart = (np.asarray(draws) - best + 720) % 1440 - 720
    return tuple(best + np.quantile(apart, [0.025, 0.975]))


def _from_light(series):
    known = np.isfinite(series.readings)
    if known.sum() < 24:
        return None
    lit = (series.readings > LIT_W_M2) & known
    (bright, dark), noon = _by_day(series, [lit.astype(float), (known & ~lit).astype(float)])
    use = (bright.sum(axis=1) > 0) & (dark.sum(axis=1) > 0)
    if use.sum() < _LEAST_DAYS:
        return None
    bright, dark = bright[use], dark[use]
    log_lit, log_dark = _log_lit(noon[use], series.latitude_deg)
    # The same weight for each day, however often its logger reads.
    each = (bright.sum(axis=1) + dark.sum(axis=1))[:, None] / 48
    bright, dark = bright / each, dark / each
    fourier = np.fft.rfft
    scores = np.fft.irfft(
        fourier(bright) * np.conj(fourier(log_lit)) + fourier(dark) * np.conj(fourier(log_dark)), n=_BINS, axis=1
    )
    return "sunrise and sunset", use.sum(), *_best(scores), 25 + series.step_min / 4


def _from_ceiling(series):
    """Readings by hand, taken by day: only what the sun cannot give tells of the clock."""
    known = np.flatnonzero(np.isfinite(series.readings))
    if len(known) < 30:
        return None
    if len(known) > 4000:
        known = known[:: len(known) // 4000 + 1]
    seconds, values = series.seconds[known], series.readings[known]
    day = np.unique(np.floor(sky.solar_hours(seconds, series.longitude_deg) / 24), return_inverse=True)[1]
    if day.max() + 1 < _LEAST_DAYS:
        return None
    scores = np.empty((day.max() + 1, _BINS // 3))
    for k in range(scores.shape[1]):
        mu = sky.sin_elevation(seconds - k * 900, series.latitude_deg, series.longitude_deg)
        over = values > 1.25 * sky.clear_w_m2(mu) * (mu > 0) + LIT_W_M2 + 2 * series.error
        scores[:, k] = np.bincount(day, np.where(over, np.log(_STRANGE), np.log(1 - _STRANGE)))
    total = scores.sum(axis=0)
    if total.max() - total[0] < 15:
        return "what the sun can give", len(scores), 0.0, -720.0, 720.0, 90
    return "what the sun can give", len(scores), *_best(np.repeat(scores, 3, axis=1)), 90


def _from_wave(series):
    known = np.isfinite(series.readings)
    if known.sum() < 100:
        return None
    (value, count), _ = _by_day(series, [np.where(known, series.readings, 0.0), known.astype(float)])
    hourly = value.reshape(len(value), 24, -1).sum(axis=2)
    number = count.reshape(len(count), 24, -1).sum(axis=2)
    whole = (number > 0).sum(axis=1) >= 22
    if whole.sum() < 5:
        return None
    mean = hourly[whole] / np.where(number[whole] > 0, number[whole], np.nan)
    mean = mean - np.nanmean(mean, axis=1, keepdims=True)
    wave = np.nansum(mean * np.exp(-2j * np.pi * (np.arange(24) + 0.5) / 24), axis=1) / 12
    if np.abs(wave.mean()) < 1.0:
        return None
    rng = np.random.default_rng(0)
    drawn = rng.multinomial(len(wave), np.full(len(wave), 1 / len(wave)), size=_DRAWS) @ wave

    def peak(z):
        return (-np.angle(z) * 12 / np.pi) % 24

    # The hour of the peak is known only within a span, and so is the shift.
    middle, half = sum(_PEAK_H) / 2, (_PEAK_H[1] - _PEAK_H[0]) / 2
    best = ((peak(wave.sum()) - middle + 12) % 24 - 12) * 60
    low, high = _interval(best, ((peak(drawn) - middle + 12) % 24 - 12) * 60)
    return "the daily wave of temperature", whole.sum(), best, low - half * 60, high + half * 60, 30
