"""Seasons of the year: by hemisphere, by rain, by the data's own pattern, or named by hand."""

from itertools import pairwise

import numpy as np

from fieldkit.core import FieldkitError

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

# NOAA NCEI: meteorological seasons are whole months, shifted by six months south of the equator.
NORTH = {"winter": (12, 1, 2), "spring": (3, 4, 5), "summer": (6, 7, 8), "autumn": (9, 10, 11)}
SOUTH = {"winter": (6, 7, 8), "spring": (9, 10, 11), "summer": (12, 1, 2), "autumn": (3, 4, 5)}


# Nearer to the equator than this, summer and winter differ by a degree or two (common practice, no source).
TROPICS_DEG = 10.0
# The wettest month has to bring so many times the driest's rain for wet and dry to mean much, and months have to differ
# by so much for warm and cool to (our choices: a plain look at the months would see no seasons below).
RAIN_RATIO = 2.0
MONTHS_DIFFER_C = 3.0


def months_in_words(months):
    """Say a set of months in words.

    Examples
    --------
    >>> months_in_words((12, 1, 2)), months_in_words((4,)), months_in_words((1, 7))
    ('Dec–Feb', 'Apr', 'Jan, Jul')
    """
    months = in_order(months)
    if len(months) == 1:
        return MONTHS[months[0] - 1]
    if all((b - a) % 12 == 1 for a, b in pairwise(months)):
        return f"{MONTHS[months[0] - 1]}–{MONTHS[months[-1] - 1]}"
    return ", ".join(MONTHS[m - 1] for m in months)


def in_order(months):
    """Months of one season in the order in which they follow each other, across New Year if need be.

    Examples
    --------
    >>> in_order((1, 2, 12))
    (12, 1, 2)
    """
    months = sorted({int(m) for m in months})
    for start in range(len(months)):
        turned = months[start:] + months[:start]
        if all((b - a) % 12 == 1 for a, b in pairwise(turned)):
            return tuple(turned)
    return tuple(months)


def check_seasons(seasons):
    """Check a dictionary of season name to months: every month is used once at most.

    Parameters
    ----------
    seasons : dict of str to sequence of int
        Months are the numbers 1 to 12.

    Returns
    -------
    dict of str to tuple of int

    Raises
    ------
    FieldkitError
        When a month is not 1 to 12 or stands in two seasons.

    Examples
    --------
    >>> check_seasons({"wet": [11, 12, 1], "dry": [5, 6]})
    {'wet': (11, 12, 1), 'dry': (5, 6)}
    """
    seen = {}
    checked = {}
    for name, months in seasons.items():
        for month in months:
            if month not in range(1, 13):
                raise FieldkitError(f"Season '{name}' has the month {month!r}: months are the numbers 1 to 12.")
            if month in seen:
                raise FieldkitError(
                    f"Month {month} is in season '{seen[month]}' and in '{name}': put it in one of them."
                )
            seen[month] = name
        if not len(months):
            raise FieldkitError(f"Season '{name}' has no months: give at least one, or leave the season out.")
        checked[str(name)] = in_order(months)
    return checked


def southern(latitude_deg):
    """Which places count their months as in the south, and a sentence where that is not plain.

    The year does not turn round at the equator itself: places within 10° of it, if they lie on both sides, go together
    with the middle of all places.

    Parameters
    ----------
    latitude_deg : array_like of float (n,)
        Degrees north; NaN counts as north.

    Returns
    -------
    south : ndarray of bool (n,)
    words : str
        Empty where every place keeps its own side.

    Examples
    --------
    >>> southern([36.0, 0.4, -0.1])[0].tolist()
    [False, False, False]
    >>> southern([36.0, -36.0])[0].tolist()
    [False, True]
    """
    latitude = np.asarray(latitude_deg, dtype=float)
    south = latitude < 0
    near = np.abs(latitude) < TROPICS_DEG
    if not south[near].any() or south[near].all():
        return south, ""
    south[near] = np.nanmean(latitude) < 0
    side = "south" if np.nanmean(latitude) < 0 else "north"
    return south, (
        f"Within {TROPICS_DEG:g}° of the equator, months are counted as in the {side} on both sides of it: the middle "
        "of all places lies there."
    )


def hemisphere_seasons(latitude_deg):
    """Meteorological seasons north or south of the equator (NOAA NCEI).

    Examples
    --------
    >>> hemisphere_seasons(-36.8)["summer"]
    (12, 1, 2)
    """
    return dict(NORTH if latitude_deg >= 0 else SOUTH)


def pattern_seasons(monthly_mean_c):
    """Split the year in a warm and a cool season where its own monthly means divide best.

    Both seasons are unbroken runs of months. Among all such splits the one with the smallest sum of squares within the
    two runs is taken (least-squares change points on a circle; exhaustive, 66 splits).

    Parameters
    ----------
    monthly_mean_c : array_like, shape (12,)
        Mean air temperature of each month, January first, °C.

    Returns
    -------
    dict of str to tuple of int
        ``{"warm": months, "cool": months}``.

    Raises
    ------
    FieldkitError
        When a month is missing: the split would depend on what was not read.

    Examples
    --------
    >>> pattern_seasons([0, 1, 6, 11, 20, 21, 22, 21, 20, 8, 5, 1])["warm"]
    (5, 6, 7, 8, 9)
    """
    means = np.asarray(monthly_mean_c, dtype=float)
    if means.shape != (12,) or not np.isfinite(means).all():
        raise FieldkitError(
            "The data's own seasons need all twelve months: use seasons='hemisphere' or name the months yourself."
        )
    best = None
    for start in range(12):
        for length in range(1, 12):
            first = (start + np.arange(length)) % 12
            second = (start + np.arange(length, 12)) % 12
            left = means[first].var() * len(first) + means[second].var() * len(second)
            if best is None or left < best[0] - 1e-12:
                best = (left, first, second)
    _, first, second = best
    if means[first].mean() < means[second].mean():
        first, second = second, first
    return {"warm": in_order(first + 1), "cool": in_order(second + 1)}


def wet_dry_seasons(monthly_precipitation_mm):
    """Wet months bring more than a twelfth of the year's rain; the others are dry.

    The rule is the project's own (common practice, no source); name the months yourself when you know better.

    Parameters
    ----------
    monthly_precipitation_mm : array_like, shape (12,)
        Mean rain of each month, January first, mm.

    Returns
    -------
    dict of str to tuple of int
        ``{"wet": months, "dry": months}``.

    Raises
    ------
    FieldkitError
        When a month is missing or it never rained differently.

    Examples
    --------
    >>> wet_dry_seasons([200, 180, 150, 40, 10, 5, 5, 5, 10, 40, 100, 160])["wet"]
    (11, 12, 1, 2, 3)
    """
    rain = np.asarray(monthly_precipitation_mm, dtype=float)
    if rain.shape != (12,) or not np.isfinite(rain).all():
        raise FieldkitError(
            "Wet and dry seasons need rain for all twelve months: name the months yourself, "
            "for example seasons={'wet': [11, 12, 1, 2, 3], 'dry': [4, 5, 6, 7, 8, 9, 10]}."
        )
    wet = rain > rain.mean()
    if not wet.any():
        raise FieldkitError("Every month is as wet as the others: there is no wet season here to speak of.")
    return {"wet": in_order(np.flatnonzero(wet) + 1), "dry": in_order(np.flatnonzero(~wet) + 1)}
