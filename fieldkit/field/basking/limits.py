"""Where a fitted curve has its peak and passes a level, with intervals after Fieller."""

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError
from fieldkit.field.basking.curve import basis_columns, regress
from fieldkit.field.stats.intervals import critical_value, fieller_interval, threshold_interval

GRID = 1501
# The peak's interval as a share of the window, above which the top is called flat (our choice).
FLAT = 1 / 3


def find_limits(curve, *, fraction_of_peak, probability):
    """One row per limit and one for the peak; column x keeps the place even where the season did not reach it."""
    peak = _peak(curve)
    if probability is None and not curve.low <= peak["x"] <= curve.high:
        status = "no hump" if peak["status"] == "no hump" else "peak not seen"
        lower = upper = _blank(status)
    else:
        height, moves, chance = _height(curve, peak["x"], fraction_of_peak, probability)
        lower, upper = (_limit(curve, height, moves, chance, rising, peak["x"]) for rising in (True, False))
    table = pd.DataFrame([lower, peak, upper], index=pd.Index(["lower limit", "peak", "upper limit"], name="limit"))
    table["looks_beyond"] = [
        curve.n[curve.air < table.loc["lower limit", "estimate_c"]].sum(),
        np.nan,
        curve.n[curve.air > table.loc["upper limit", "estimate_c"]].sum(),
    ]
    columns = ["estimate_c", "low_c", "high_c", "standard_error_c", "probability", "looks_beyond", "status", "x"]
    return table[columns]


def _blank(status, x=np.nan):
    nothing = dict.fromkeys(("estimate_c", "low_c", "high_c", "standard_error_c", "probability"), np.nan)
    return nothing | {"status": status, "x": x}


def _height(curve, peak, fraction_of_peak, probability):
    """What the curve has to pass on the link scale, how that moves with the coefficients, and the chance it means."""
    if probability is not None:
        return float(curve.link(probability)), np.zeros(len(curve.beta)), probability
    top = float(curve.eta(peak))
    chance = fraction_of_peak * float(curve.link.inverse(top))
    # The peak's place moves too, but the curve is flat there: only its height counts (envelope theorem).
    slope = float(curve.link.deriv(chance)) * fraction_of_peak * float(curve.link.inverse_deriv(top))
    return float(curve.link(chance)), slope * curve.basis(peak), chance


def _peak(curve):
    if curve.shape == "monotone":
        return _blank("no hump")
    slope, bend = curve.basis(curve.centre, 1), curve.basis(curve.centre, 2)
    if curve.shape == "hump":
        if bend @ curve.beta >= 0:
            return _blank("no hump")
        top = curve.centre - float(slope @ curve.beta / (bend @ curve.beta))
        ratios = [
            fieller_interval(-slope @ curve.beta, bend @ curve.beta, pair, level=curve.level)
            for pair in _pair_covariances(curve, -slope, bend, curve.basis(top, 1))
        ]
        low, high = _widest(curve, ratios)
    else:
        air = np.linspace(curve.low, curve.high, GRID)
        at = int(np.argmax(curve.eta(air)))
        if at in (0, GRID - 1):
            return _blank("not reached", -np.inf if at == 0 else np.inf)
        top = _root(lambda x: curve.eta(x, 1), air[at - 1], air[at + 1])
        low, high = _where_it_may_be(curve, top, air)
    error = float(np.sqrt(curve.spread.variance(curve.basis(top, 1))) / abs(curve.eta(top, 2)))
    return _row(curve, top, low, high, error, float(curve.link.inverse(curve.eta(top))))


def _where_it_may_be(curve, top, air):
    """From the coldest to the hottest temperature at which the curve cannot be told from its height at the top.

    A temperature at which the curve is surely lower is not the peak's. The slope alone would do where the
    curve is known to be smooth; a freer curve has small waves, and a flat top has no one peak.
    """
    drop = np.maximum(curve.eta(top) - curve.eta(air), 0.0)
    may = air[drop <= curve.reach(curve.basis(top) - curve.basis(air))]
    low, high = min(may.min(initial=top), top), max(may.max(initial=top), top)
    return (-np.inf if low <= air[0] else low), (np.inf if high >= air[-1] else high)


def _pair_covariances(curve, first, second, gradient):
    """Covariances of two combinations; widened so that normal limits are those of Student's t."""
    pair = np.stack([first, second])
    widened = (curve.critical(gradient) / critical_value(curve.level)) ** 2
    return widened * (pair @ curve.spread.covariances @ pair.T)


def _widest(curve, intervals):
    # Largest variance at each temperature: the intervals of the single covariances together.
    return curve.centre + min(one.low for one in intervals), curve.centre + max(one.high for one in intervals)


def _limit(curve, height, moves, chance, rising, peak):
    if curve.shape == "monotone" and (curve.eta(curve.centre, 1) > 0) != rising:
        return _blank("no such limit") | {"probability": chance}
    # A spline says nothing beyond its last knots; a line and a hump can be followed a little way.
    reach = 0.0 if curve.shape == "spline" else curve.high - curve.low
    bounds = (curve.low - reach, curve.high + reach)
    air = np.linspace(*bounds, 3 * GRID)
    above = curve.eta(air) > height
    turns = np.flatnonzero(above[1:] & ~above[:-1] if rising else ~above[1:] & above[:-1])
    if not np.isnan(peak):
        turns = turns[air[turns] <= peak] if rising else turns[air[turns + 1] >= peak]
    if turns.size == 0:
        seen = above[(air >= curve.low) & (air <= curve.high)].any()
        return _blank("not reached" if seen else "never that often") | {"probability": chance}
    nearest = turns[-1] if rising else turns[0]
    place = _root(lambda x: curve.eta(x) - height, air[nearest], air[nearest + 1])
    if curve.shape == "monotone":
        at = curve.basis(curve.centre)
        slope = curve.basis(curve.centre, 1)
        crossings = [
            threshold_interval(
                at @ curve.beta,
                slope @ curve.beta,
                pair,
                at=height,
                level=curve.level,
            )
            for pair in _pair_covariances(curve, at, slope, curve.basis(place))
        ]
        low, high = _widest(curve, crossings)
    else:
        low, high = stretch(curve, lambda x: curve.eta(x) - height, lambda x: curve.basis(x) - moves, place, *bounds)
    error = float(np.sqrt(curve.spread.variance(curve.basis(place) - moves)) / abs(curve.eta(place, 1)))
    row = _row(curve, place, low, high, error, chance)
    if row["status"] != "not reached" and low < peak < high:
        row["status"] = "ends run together"
    return row


def _row(curve, place, low, high, error, chance):
    if not curve.low <= place <= curve.high:
        # What the scans did see of it: the end of the interval that lies within the scanned temperatures.
        row = _blank("not reached", place) | {"probability": chance}
        if place > curve.high:
            return row | {"low_c": min(low, curve.high), "high_c": np.inf}
        return row | {"low_c": -np.inf, "high_c": max(high, curve.low)}
    closed = curve.low <= low and high <= curve.high
    return {
        "estimate_c": place,
        "low_c": low,
        "high_c": high,
        "standard_error_c": error,
        "probability": chance,
        "status": "found" if closed else "interval open",
        "x": place,
    }


def _root(function, low, high):
    from scipy.optimize import brentq

    return float(brentq(function, low, high, xtol=1e-10))


def stretch(curve, value, gradient, place, low, high):
    """Temperatures around `place` at which `value` cannot be told from zero: Fieller's argument for any curve."""

    def doubt(x):
        return value(x) ** 2 - curve.reach(gradient(x)) ** 2

    ends = []
    for limit in (low, high):
        steps = np.linspace(place, limit, GRID)
        outside = np.flatnonzero(doubt(steps[1:]) > 0)
        if outside.size == 0:
            ends.append(np.copysign(np.inf, limit - place))
        else:
            ends.append(_root(doubt, steps[outside[0]], steps[outside[0] + 1]))
    return ends[0], ends[1]


def flat_top(table):
    """Whether the peak's interval fills so much of the window that there is no one best temperature to name."""
    low, high = table.loc["peak", ["low_c", "high_c"]].astype(float)
    if np.isnan(table.loc["peak", "estimate_c"]):
        return False
    lower, upper = table.loc[["lower limit", "upper limit"], "estimate_c"].astype(float)
    return bool(not high - low <= FLAT * (upper - lower)) if np.isfinite(upper - lower) else bool(np.isinf(high - low))


def lopsided_p(looks, clusters, curve, options):
    """Wald p of a cubic term: does one side of the hump fall faster than the other?"""
    from scipy import stats

    air = looks["shade_air_c"].to_numpy(float)
    if len(np.unique(air)) < 4:
        return np.nan
    irradiance = looks["irradiance_w_m2"].to_numpy(float) if curve.radiation != "none" else None
    design = basis_columns(air, irradiance, "hump", curve.radiation, curve.centre, curve.knots)
    cubic = ((air - curve.centre) / (curve.high - curve.low)) ** 3
    try:
        fit, spread = regress(np.column_stack([design, cubic]), looks, clusters, options["link"])
    except FieldkitError:
        # Too few clusters for one more coefficient: the check is not made.
        return np.nan
    last = np.eye(len(fit.params))[-1]
    ratio = fit.params[-1] / np.sqrt(spread.variance(last))
    return float(2 * stats.t.sf(abs(ratio), min(spread.degrees_of_freedom(last), 1e9)))
