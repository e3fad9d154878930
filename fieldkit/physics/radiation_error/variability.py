"""How restless a series is by day beside its nights: a thermometer in the sun follows clouds and gusts, air less."""

import numpy as np
import pandas as pd

# Second differences over this many steps.
LAGS = (1, 2, 4)
WEEK = 7
_FEWEST_DAYS = 3
_FLOOR_C = 0.05
# Steps of the series in minutes: what a week's logarithms of restlessness (°C; by night and by day at each of the lags)
# are multiplied with, and what is taken off, so that clean air comes out at 0 with standard deviation 1 and a sunlit
# thermometer stands out most. Logistic regression on simulated weeks:
# `tests/studies/study_contamination.py learn 900 41`.
ALONE = {
    5.0: (0.96, -1.10, -3.20, 3.09, 1.23, 1.94, -0.70),
    10.0: (-1.33, 2.76, -2.13, -0.06, 2.64, 2.61, -0.24),
    15.0: (-0.32, 1.59, -2.49, 2.27, 2.55, 1.21, 0.12),
    30.0: (-2.35, 3.20, 1.58, 3.03, 0.97, -1.42, 0.11),
    60.0: (-0.23, 5.62, 1.09, -0.85, 0.00, 0.00, 0.70),
}
DIFFERENCE = {
    5.0: (2.79, -2.30, -2.88, 0.19, -1.57, 7.00, -0.81),
    10.0: (-1.08, -1.05, 1.87, 2.61, -3.63, 5.54, -0.83),
    15.0: (1.74, -2.58, -0.68, 3.31, -3.67, 5.78, -0.61),
    30.0: (-1.34, 1.32, 0.68, 0.41, -1.21, 4.44, -0.71),
    60.0: (-0.97, 2.62, -0.51, 2.74, 0.00, 0.00, -1.01),
}
# No week counts for more, so that restless readings without any course of the sun convict nobody.
LEAST, MOST = -1.5, 3.0


def _of_day(values, codes, days):
    """Logarithm of the mean square of each day, and of how many it is."""
    count, square = (np.bincount(codes, weights, minlength=days) for weights in (None, values**2))
    with np.errstate(invalid="ignore"):
        return 0.5 * np.log(square / count + _FLOOR_C**2), count


def logarithms(values, up, codes):
    """Restlessness of each day (rows): by night and by day at each lag (columns), and the number behind each.

    `up` is 1 with the sun up, 0 by night, NaN if unknown. One wild afternoon is a front, not the sun: logarithms of
    days are averaged, so that it cannot speak for a week.
    """
    columns, counts = [], []
    for lag in LAGS:
        bend = np.full(values.size, np.nan)
        bend[lag:-lag] = values[2 * lag :] - 2 * values[lag:-lag] + values[: -2 * lag]
        three = up, np.roll(up, lag), np.roll(up, -lag)
        for rows in (np.maximum.reduce(three) == 0, np.minimum.reduce(three) == 1):
            rows &= np.isfinite(bend)
            of_day, count = _of_day(bend[rows], codes[rows], codes.max() + 1)
            columns.append(of_day)
            counts.append(count)
    return np.stack(columns, axis=1), np.stack(counts, axis=1)


def week_mean(columns, counts):
    """Logarithms of a run of days, each weighing by its readings; NaN where no day has any."""
    weight = np.where(np.isfinite(columns), counts, 0)
    with np.errstate(invalid="ignore"):
        return np.sum(np.nan_to_num(columns) * weight, axis=0) / weight.sum(axis=0)


def by_day(target, up, day, step_min, table):
    """Standard deviations above the restlessness of clean air, for each day that of its week (Series by day)."""
    codes, labels = pd.factorize(day)
    found = pd.Series(0.0, index=labels)
    if target.size < 4 * max(LAGS):
        return found
    columns, counts = logarithms(target.to_numpy(dtype=float), up, codes)
    weeks = np.arange(len(labels)) // WEEK
    if len(labels) > WEEK and np.sum(weeks == weeks[-1]) < WEEK // 2 + 1:
        weeks[weeks == weeks[-1]] -= 1
    for week in np.unique(weeks):
        rows = weeks == week
        days = int((counts[rows][:, :2].min(axis=1) > 0).sum())
        if days >= _FEWEST_DAYS:
            score = _score(week_mean(columns[rows], counts[rows]), step_min, table)
            found[labels[rows]] = np.clip(score * np.sqrt(min(days / WEEK, 1.0)), LEAST, MOST)
    return found


def _score(logs, step_min, table):
    """Between two of the steps that were learned, a straight line over the logarithm of the step."""
    steps = sorted(table)
    scores = []
    for step in steps:
        weights = np.asarray(table[step][:-1])
        used = weights != 0
        scores.append(weights[used] @ logs[used] - table[step][-1])
    score = np.interp(np.log(step_min), np.log(steps), scores)
    return float(score) if np.isfinite(score) else 0.0
