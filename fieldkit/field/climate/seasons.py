"""Seasons of the year, rules of completeness, and the sums that stations and grids share."""

from dataclasses import dataclass
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


@dataclass(frozen=True, kw_only=True)
class Completeness:
    """When a month of daily readings counts, and how many years of it are needed.

    Parameters
    ----------
    name : str
    most_missing : int
        Most days that may be missing in one month.
    most_consecutive : int
        Most days in a row that may be missing in one month.
    years_share : float
        Share of the years (0 to 1) in which the month must count.
    words : str
        The rule in a sentence, with its source.
    """

    name: str
    most_missing: int
    most_consecutive: int
    years_share: float
    words: str


RULES = {
    "3/5": Completeness(
        name="3/5",
        most_missing=5,
        most_consecutive=3,
        years_share=0.8,
        words="a month counts when at most 5 days are missing and at most 3 in a row (WMO practice, the 3/5 rule), "
        "and a month of the year is used when it counts in 80 % of the years (rule of thumb)",
    ),
    "11/5": Completeness(
        name="11/5",
        most_missing=10,
        most_consecutive=4,
        years_share=0.8,
        words="a month counts when fewer than 11 days are missing and fewer than 5 in a row (the newer WMO rule, as "
        "weather services quote it); a month of the year is used when it counts in 80 % of the years (rule of thumb)",
    ),
    "all": Completeness(
        name="all",
        most_missing=30,
        most_consecutive=30,
        years_share=0.0,
        words="every day that was read counts, however many are missing (no rule: gaps may bend the bands)",
    ),
}


def completeness_rule(name):
    """Look up a rule of completeness by its name.

    Parameters
    ----------
    name : {"3/5", "11/5", "all"} or Completeness
        A rule of your own is passed through.

    Returns
    -------
    Completeness

    Raises
    ------
    FieldkitError
        When there is no such rule.

    Examples
    --------
    >>> completeness_rule("3/5").most_consecutive
    3
    """
    if isinstance(name, Completeness):
        return name
    if name not in RULES:
        raise FieldkitError(
            f"completeness={name!r} is not a rule: give one of {', '.join(map(repr, RULES))}, or a Completeness."
        )
    return RULES[name]


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


@dataclass(frozen=True, kw_only=True)
class Calendar:
    """Where each month starts in an unbroken run of days that holds whole months.

    Parameters
    ----------
    starts : ndarray of int
        Position of the first day of each month in the run.
    lengths : ndarray of int
        Days of each month.
    month, year : ndarray of int
        Month of the year (1 to 12) and year of each.
    """

    starts: np.ndarray
    lengths: np.ndarray
    month: np.ndarray
    year: np.ndarray


def whole_months(first_day, *arrays):
    """Lengthen runs of days with NaN to whole months, and lay out those months.

    Parameters
    ----------
    first_day : numpy.datetime64
        Where the runs begin.
    *arrays : ndarray, shape (..., days)
        Runs of equal length.

    Returns
    -------
    Calendar
    list of ndarray

    Examples
    --------
    >>> cal, (values,) = whole_months(np.datetime64("2023-01-31"), np.ones(30))
    >>> cal.month.tolist(), cal.lengths.tolist(), values.shape
    ([1, 2, 3], [31, 28, 31], (90,))
    """
    first_day = np.datetime64(first_day, "D")
    last_day = first_day + np.timedelta64(arrays[0].shape[-1] - 1, "D")
    month = np.timedelta64(1, "M")
    months = np.arange(first_day.astype("datetime64[M]"), last_day.astype("datetime64[M]") + month, month)
    begins = np.append(months, months[-1] + month).astype("datetime64[D]")
    before, after = int((first_day - begins[0]).astype(int)), int((begins[-1] - last_day).astype(int)) - 1
    number = months.astype(int)
    cal = Calendar(
        starts=(begins[:-1] - begins[0]).astype(int),
        lengths=np.diff(begins).astype(int),
        month=number % 12 + 1,
        year=number // 12 + 1970,
    )
    ends = [(0, 0)] * (arrays[0].ndim - 1) + [(before, after)]
    return cal, [np.pad(np.asarray(a, dtype=float), ends, constant_values=np.nan) for a in arrays]


def months_that_count(present, cal, rule):
    """Which months pass the rule of completeness.

    Parameters
    ----------
    present : ndarray of bool, shape (..., days)
        Whether the day was read.
    cal : Calendar
        Of the same days.
    rule : Completeness
        Of `completeness_rule`.

    Returns
    -------
    ndarray of bool, shape (..., months)

    Examples
    --------
    >>> day = np.ones(31, bool); day[4:8] = False                       # four days in a row are missing
    >>> january, _ = whole_months(np.datetime64("2023-01-01"), day)
    >>> months_that_count(day, january, RULES["3/5"]).tolist(), months_that_count(day, january, RULES["11/5"]).tolist()
    ([False], [True])
    """
    read = np.add.reduceat(present, cal.starts, axis=-1, dtype=int)
    if rule.name == "all":
        return read > 0
    position = np.arange(present.shape[-1])
    last_read = np.maximum.accumulate(np.where(present, position, -1), axis=-1)
    month_before = np.repeat(cal.starts - 1, cal.lengths)
    run = position - np.maximum(last_read, month_before)
    longest = np.maximum.reduceat(run, cal.starts, axis=-1)
    missing = cal.lengths - read
    return (missing <= rule.most_missing) & (longest <= rule.most_consecutive)


def quantiles_along(values, probabilities):
    """Quantiles along the last axis, missing values left out; linear between readings, as pandas and numpy do.

    Sorting once and reading off is many times faster than ``numpy.nanquantile``, which goes row by row.

    Parameters
    ----------
    values : ndarray, shape (..., n)
        NaN where missing.
    probabilities : sequence of float
        0 to 1.

    Returns
    -------
    ndarray, shape (..., len(probabilities))

    Examples
    --------
    >>> quantiles_along(np.array([[3.0, np.nan, 1.0, 2.0]]), [0.5, 1.0]).tolist()
    [[2.0, 3.0]]
    """
    probabilities = np.asarray(probabilities, dtype=float)
    if values.shape[-1] == 0:
        return np.full((*values.shape[:-1], len(probabilities)), np.nan)
    ordered = np.sort(values, axis=-1)  # missing values go to the end
    count = np.isfinite(ordered).sum(axis=-1)[..., None]
    place = probabilities * np.maximum(count - 1, 0)
    below = np.floor(place).astype(int)
    above = np.minimum(below + 1, np.maximum(count - 1, 0))
    low = np.take_along_axis(ordered, below, axis=-1)
    high = np.take_along_axis(ordered, above, axis=-1)
    return np.where(count > 0, low + (high - low) * (place - below), np.nan)


# A straight line through fewer years than this follows their weather (our choice).
FEWEST_YEARS_FOR_TREND = 10

# What season_means gives for every set of months, and what block_statistics adds.
MEANS = ("tmax_mean_c", "tmin_mean_c", "n_days", "n_years", "completeness")
STATISTICS = (
    *MEANS,
    "tmax_q05_c",
    "tmax_q50_c",
    "tmax_q95_c",
    "tmax_year_sd_c",
    "tmax_trend_c_per_decade",
    "tmax_trend_p",
    "tmin_q05_c",
    "tmin_q50_c",
    "tmin_q95_c",
    "tmin_year_sd_c",
    "tmin_trend_c_per_decade",
    "tmin_trend_p",
)


def month_means(tmax_c, tmin_c, cal, rule):
    """Mean daily extremes of every month that counts.

    Parameters
    ----------
    tmax_c, tmin_c : ndarray, shape (..., days)
        Daily extremes of whole months, °C; NaN where not read. A day counts when both were read.
    cal : Calendar
        Of the same days.
    rule : Completeness
        Of `completeness_rule`.

    Returns
    -------
    tuple of ndarray, shape (..., months)
        Means of the maxima and of the minima, NaN where the month does not count, and the days used.

    Examples
    --------
    >>> cal, (high, low) = whole_months(np.datetime64("2023-02-01"), np.full(28, 20.0), np.full(28, 10.0))
    >>> [x.tolist() for x in month_means(high, low, cal, RULES["3/5"])]
    [[20.0], [10.0], [28]]
    """
    present = np.isfinite(tmax_c) & np.isfinite(tmin_c)
    counts = months_that_count(present, cal, rule)
    used = present & np.repeat(counts, cal.lengths, axis=-1)
    days = np.add.reduceat(used, cal.starts, axis=-1, dtype=int)
    means = []
    for values in (tmax_c, tmin_c):
        total = np.add.reduceat(np.where(used, values, 0.0), cal.starts, axis=-1)
        with np.errstate(invalid="ignore", divide="ignore"):
            means.append(np.where(counts, total / days, np.nan))
    return (*means, days)


def season_means(*, years, tmax_sum, tmin_sum, days, expected_years, expected_days, rule, sets):
    """From sums over the years for January to December to typical extremes of sets of months.

    Parameters
    ----------
    years : ndarray, shape (..., 12)
        Years in which each month of the year counts.
    tmax_sum, tmin_sum : ndarray, shape (..., 12)
        Sums of the monthly means over those years, °C.
    days : ndarray, shape (..., 12)
        Days used.
    expected_years, expected_days : ndarray, shape (..., 12)
        Years and days there would be without gaps.
    rule : Completeness
        Of `completeness_rule`.
    sets : sequence of sequence of int
        Sets of months.

    Returns
    -------
    ndarray, shape (..., len(sets), len(MEANS))
        A set with a month that the rule refuses is NaN, except its completeness.

    Examples
    --------
    >>> twelve = np.ones(12)
    >>> found = season_means(years=2 * twelve, tmax_sum=60 * twelve, tmin_sum=20 * twelve, days=60 * twelve,
    ...                      expected_years=2 * twelve, expected_days=60 * twelve, rule=RULES["3/5"], sets=[(6, 7, 8)])
    >>> dict(zip(MEANS, found[0].tolist()))
    {'tmax_mean_c': 30.0, 'tmin_mean_c': 10.0, 'n_days': 180.0, 'n_years': 2.0, 'completeness': 1.0}
    """
    usable = (years > 0) & (years >= rule.years_share * np.maximum(expected_years, 1) - 1e-9)
    with np.errstate(invalid="ignore", divide="ignore"):
        normals = [np.where(usable, total / years, np.nan) for total in (tmax_sum, tmin_sum)]
    out = np.full((*years.shape[:-1], len(sets), len(MEANS)), np.nan)
    for s, months in enumerate(sets):
        index = [m - 1 for m in months]
        ok = usable[..., index].all(axis=-1)
        for k, normal in enumerate(normals):
            out[..., s, k] = normal[..., index].mean(axis=-1)
        out[..., s, 2] = np.where(ok, days[..., index].sum(axis=-1), 0)
        out[..., s, 3] = np.where(ok, years[..., index].min(axis=-1), 0)
        out[..., s, 4] = days[..., index].sum(axis=-1) / np.maximum(expected_days[..., index].sum(axis=-1), 1)
    return out


def block_statistics(tmax_c, tmin_c, cal, rule, sets, *, fixed_period=False):
    """Typical extremes, quantiles and spread between years of many places for many sets of months.

    A mean is the WMO's way: days to a month, the same month over the years to its normal, the months of the season to
    the season. Quantiles are over the single days of the months that count.

    Parameters
    ----------
    tmax_c, tmin_c : ndarray, shape (..., days)
        Daily extremes of whole months, °C; NaN where not read. A day counts when both were read.
    cal : Calendar
        Of the same days.
    rule : Completeness
        Of `completeness_rule`.
    sets : sequence of sequence of int
        Sets of months.
    fixed_period : bool
        Whether the run is a period asked for. If not, a first or last month that the record only touches is not held
        against it.

    Returns
    -------
    ndarray, shape (..., len(sets), len(STATISTICS))
        Columns as in `STATISTICS`. A set with a month that the rule refuses is NaN, except its completeness.

    Examples
    --------
    >>> cal, (high, low) = whole_months(np.datetime64("2023-07-01"), np.arange(31.0), np.zeros(31))
    >>> found = dict(zip(STATISTICS, block_statistics(high, low, cal, RULES["3/5"], [(7,)])[0].tolist()))
    >>> found["tmax_mean_c"], found["tmax_q50_c"], found["n_years"]
    (15.0, 15.0, 1.0)
    """
    tmax, tmin, days = month_means(tmax_c, tmin_c, cal, rule)
    counts = np.isfinite(tmax)
    expected = np.ones(counts.shape, dtype=bool)
    if not fixed_period:
        expected[..., [0, -1]] = counts[..., [0, -1]]

    def by_month(values):
        return np.stack([values[..., cal.month == m].sum(axis=-1) for m in range(1, 13)], axis=-1)

    means = season_means(
        years=by_month(counts),
        tmax_sum=by_month(np.where(counts, tmax, 0.0)),
        tmin_sum=by_month(np.where(counts, tmin, 0.0)),
        days=by_month(days),
        expected_years=by_month(expected),
        expected_days=by_month(expected * cal.lengths),
        rule=rule,
        sets=sets,
    )
    out = np.full((*means.shape[:-1], len(STATISTICS)), np.nan)
    out[..., : len(MEANS)] = means
    used = np.isfinite(tmax_c) & np.isfinite(tmin_c) & np.repeat(counts, cal.lengths, axis=-1)
    month_of_day = np.repeat(cal.month, cal.lengths)
    column = {name: i for i, name in enumerate(STATISTICS)}
    for s, months in enumerate(sets):
        ok = np.isfinite(means[..., s, 0])
        if not ok.any():
            continue
        in_season = np.flatnonzero(np.isin(month_of_day, months))
        whole_seasons = _season_years(cal, months)
        for name, values, monthly in (("tmax", tmax_c, tmax), ("tmin", tmin_c, tmin)):
            days_here = np.where(used[..., in_season], values[..., in_season], np.nan)
            first = column[f"{name}_q05_c"]
            out[..., s, first : first + 3] = quantiles_along(days_here, (0.05, 0.5, 0.95))
            by_year = monthly[..., whole_seasons].mean(axis=-1)
            out[..., s, column[f"{name}_year_sd_c"]] = _sd(by_year)
            slope, p = trend(by_year, cal.year[whole_seasons[:, -1]])
            out[..., s, column[f"{name}_trend_c_per_decade"]] = 10 * slope
            out[..., s, column[f"{name}_trend_p"]] = p
        out[..., s, len(MEANS) :][~ok] = np.nan
    return out


def _season_years(cal, months):
    """Positions of the months of each whole season; a winter that spans New Year belongs to the year it ends in."""
    months = in_order(months)
    here = np.flatnonzero(np.isin(cal.month, months))
    season_year = cal.year[here]
    if months[0] > months[-1]:
        season_year = season_year + (cal.month[here] >= months[0])
    _, first, count = np.unique(season_year, return_index=True, return_counts=True)
    return here[first[count == len(months), None] + np.arange(len(months))]


def trend(values, years):
    """Straight line through yearly values by least squares.

    Parameters
    ----------
    values : ndarray, shape (..., n)
        One value a year, NaN where missing.
    years : array_like, shape (n,)
        Which year each value is of.

    Returns
    -------
    tuple of ndarray, shape (...)
        Slope per year and its two-sided p-value (Student's t; years taken as independent). NaN for fewer than ten
        years.

    Examples
    --------
    >>> slope, p = trend(np.array([[20 + 0.03 * y + 0.2 * (-1) ** y for y in range(30)]]), np.arange(30))
    >>> slope.round(4).tolist(), p.round(6).tolist()
    ([0.0287], [0.0])
    """
    from scipy import special

    values, years = np.asarray(values, dtype=float), np.asarray(years, dtype=float)
    there = np.isfinite(values)
    n = there.sum(axis=-1)
    with np.errstate(invalid="ignore", divide="ignore"):
        x = np.where(there, years - (there * years).sum(axis=-1, keepdims=True) / n[..., None], 0.0)
        mean = np.where(there, values, 0.0).sum(axis=-1) / n
        y = np.where(there, values - mean[..., None], 0.0)
        sxx = (x**2).sum(axis=-1)
        slope = (x * y).sum(axis=-1) / sxx
        rest = np.where(there, y - slope[..., None] * x, 0.0)
        error = np.sqrt((rest**2).sum(axis=-1) / (n - 2) / sxx)
        p = 2 * special.stdtr(np.maximum(n - 2, 1), -np.abs(slope / error))
    enough = n >= FEWEST_YEARS_FOR_TREND
    return np.where(enough, slope, np.nan), np.where(enough, p, np.nan)


def _sd(values):
    count = np.isfinite(values).sum(axis=-1)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.nansum(values, axis=-1) / count
        square = np.nansum((values - mean[..., None]) ** 2, axis=-1) / (count - 1)
    return np.where(count > 1, np.sqrt(np.where(count > 1, square, np.nan)), np.nan)
