"""What all stations share: a warm year is warm for all of them, so that more stations do not tell it away."""

import numpy as np


def shared_year_variance(values, weights):
    """Variance of a mean over stations that is due to the years they were read in.

    Year effects are the weighted means over stations of each year's departure from the station's own mean. A station
    carries them by its vote and its years; what stations have in common does not average out.

    Parameters
    ----------
    values : array_like, shape (stations, years)
        One value per station and year, NaN where there is none.
    weights : array_like, shape (stations,)
        Votes; any scale.

    Returns
    -------
    tuple of float
        Variance of the mean, and the number of years that it rests on (effective). NaN and 0 with fewer than two
        years.

    Examples
    --------
    >>> warm_and_cool = [[21.0, 19.0, 21.0, 19.0], [31.0, 29.0, 31.0, 29.0]]
    >>> variance, years = shared_year_variance(warm_and_cool, [1, 1])
    >>> round(variance, 4), round(years, 4)
    (0.3333, 4.0)
    """
    values, weights = np.asarray(values, dtype=float), np.asarray(weights, dtype=float)
    there = np.isfinite(values)
    used = there.any(axis=1) & (weights > 0)
    values, there, weights = values[used], there[used], weights[used]
    years = there.any(axis=0)
    if years.sum() < 2:
        return np.nan, 0.0
    values, there = values[:, years], there[:, years]
    count = there.sum(axis=1, keepdims=True)
    away = np.where(there, values - np.where(there, values, 0.0).sum(axis=1, keepdims=True) / count, 0.0)
    votes = weights[:, None] * there
    effect = (votes * away).sum(axis=0) / votes.sum(axis=0)
    # How much of each year's effect the mean over stations carries.
    carried = ((weights / weights.sum())[:, None] * there / count).sum(axis=0)
    effect = effect - np.average(effect, weights=votes.sum(axis=0))
    spread = (effect**2).sum() / (len(effect) - 1)
    return float(spread * (carried**2).sum()), float(1 / (carried**2).sum())


def half_width(station_sd, stations, year_variance, years, *, level=0.95):
    """Half of an interval that holds stations and shared years.

    Parameters
    ----------
    station_sd : float
        Standard deviation between stations.
    stations : float
        Stations (effective number, at least 2).
    year_variance : float
        Of `shared_year_variance`; NaN where unknown.
    years : float
        Years it rests on.
    level : float
        Confidence level.

    Returns
    -------
    float
        Student's t with Satterthwaite's degrees of freedom (1946, Biometrics Bull. 2:110). NaN below two stations.

    Examples
    --------
    >>> round(half_width(2.0, 3, 0.0, 30), 3), round(half_width(2.0, 8, 0.5, 10), 3)
    (4.968, 2.123)
    """
    from scipy import stats

    if not stations > 1 or not np.isfinite(station_sd):
        return np.nan
    between = station_sd**2 / stations
    shared = year_variance if np.isfinite(year_variance) and years > 1 else 0.0
    if between + shared == 0:
        return 0.0
    degrees = (between + shared) ** 2 / (between**2 / (stations - 1) + shared**2 / max(years - 1, 1))
    return float(stats.t.ppf((1 + level) / 2, degrees) * np.sqrt(between + shared))
