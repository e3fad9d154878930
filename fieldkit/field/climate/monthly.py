"""Months that count, their means, and the statistics of seasons that stations and grids share."""

from dataclasses import dataclass

import numpy as np

from fieldkit.field.climate.seasons import in_order


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
    >>> from fieldkit.field.climate.completeness import RULES
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
    >>> from fieldkit.field.climate.completeness import RULES
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
    >>> from fieldkit.field.climate.completeness import RULES
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
    >>> from fieldkit.field.climate.completeness import RULES
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
    >>> from fieldkit.field.climate.completeness import RULES
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
    >>> from fieldkit.field.climate.completeness import RULES
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


def season_values(tmax_c, tmin_c, cal, rule, months):
    """Mean extremes of every whole season: one value a year.

    Parameters
    ----------
    tmax_c, tmin_c : ndarray, shape (..., days)
        Daily extremes of whole months, °C; NaN where not read.
    cal : Calendar
        Of the same days.
    rule : Completeness
        Of `completeness_rule`.
    months : sequence of int
        Of the season.

    Returns
    -------
    tuple of ndarray
        Years, shape (y,), and the means of maxima and minima, shape (..., y), NaN where a month does not count.

    Examples
    --------
    >>> from fieldkit.field.climate.completeness import RULES
    >>> cal, (high, low) = whole_months(np.datetime64("2023-07-01"), np.arange(31.0), np.zeros(31))
    >>> [x.tolist() for x in season_values(high, low, cal, RULES["3/5"], (7,))]
    [[2023], [15.0], [0.0]]
    """
    whole = _season_years(cal, months)
    tmax, tmin, _ = month_means(tmax_c, tmin_c, cal, rule)
    return cal.year[whole[:, -1]], tmax[..., whole].mean(axis=-1), tmin[..., whole].mean(axis=-1)


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
