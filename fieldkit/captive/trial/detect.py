"""How likely a trial finds an effect, from the days seen so far."""

import itertools

import numpy as np
import pandas as pd

from fieldkit.captive.compare.estimate import MOST_LIKENESS
from fieldkit.captive.trial.randomise import DRAWN_ORDERS, EXACT_ORDERS, orders
from fieldkit.core import FieldkitError, generator

# Fewest days from which the scatter of days is told (our choice).
FEWEST_DAYS = 10
SIMULATED = 2000
ALPHA = 0.05


def scatter(values):
    """Scatter of days and likeness of one day to the next, a straight drift taken out.

    Parameters
    ----------
    values : Series
        The outcome by day.

    Returns
    -------
    standard_deviation, likeness : float

    Raises
    ------
    FieldkitError
        With fewer than ten days.

    Notes
    -----
    The autocorrelation of a short series is too small by about (1 + 4 r) / n where a line was taken out (Kendall 1954,
    Biometrika 41:403, for a mean; the term for the line from memory).
    """
    n = len(values)
    if n < FEWEST_DAYS:
        raise FieldkitError(
            f"The scatter of days needs at least {FEWEST_DAYS} days of scans; there are {n}. Watch some more days, or "
            "plan without power."
        )
    x = (values.index - values.index[0]) / pd.Timedelta(days=1)
    x = np.asarray(x, dtype=float)
    rest = values.to_numpy(dtype=float) - np.polyval(np.polyfit(x, values.to_numpy(dtype=float), 1), x)
    variance = (rest**2).sum() / (n - 2)
    in_row = np.flatnonzero(np.diff(x) == 1)
    if len(in_row) < FEWEST_DAYS or variance == 0:
        return float(np.sqrt(variance)), 0.0
    r = (rest[in_row] * rest[in_row + 1]).mean() / (rest**2).mean()
    r = float(np.clip((r + 1 / n) / (1 - 4 / n), 0.0, MOST_LIKENESS))
    # A residual variance is too small where days are alike: part of their common drift went into the line.
    return float(np.sqrt(variance)), r


def power(effects, *, blocks, days, settle, standard_deviation, likeness, n=SIMULATED, rng=0):
    """Share of simulated trials in which an effect is found, two-sided at 5 %.

    Parameters
    ----------
    effects : array_like
        True effects, in the unit of the outcome.
    blocks, days, settle : int
        Blocks of two periods, days of a period, days of it that do not count.
    standard_deviation, likeness : float
        Of days, from `scatter`.
    n : int
        Simulated trials.
    rng : int or numpy.random.Generator
        Seed.

    Returns
    -------
    ndarray
        One share an effect.
    """
    rng = generator(rng)
    total = blocks * 2 * days
    noise = _series(n, total, standard_deviation, likeness, rng)
    counted = noise.reshape(n, blocks, 2, days)[..., settle:].mean(axis=-1)
    first = rng.choice([1.0, -1.0], size=(n, blocks))
    base = first * (counted[:, :, 0] - counted[:, :, 1])
    signs = _signs(blocks, rng)
    out = []
    for effect in np.atleast_1d(np.asarray(effects, dtype=float)):
        d = base + effect
        seen = np.abs(d.mean(axis=1))
        found = np.empty(n)
        for part in np.array_split(np.arange(n), max(1, n * len(signs) // 20_000_000 + 1)):
            each = np.abs(d[part] @ signs.T / blocks)
            found[part] = (each >= seen[part, None] - 1e-12).mean(axis=1)
        out.append((found <= ALPHA).mean())
    return np.array(out)


def _signs(blocks, rng):
    if orders(blocks) <= EXACT_ORDERS and blocks <= 12:
        return np.array(list(itertools.product((1.0, -1.0), repeat=blocks)))
    # Two thousand orders tell a p-value of 5 % to half a per cent: enough for a plan.
    return rng.choice((1.0, -1.0), size=(min(2000, DRAWN_ORDERS), blocks))


def _series(n, length, sd, rho, rng):
    """Days that are each like the one before."""
    out = np.empty((n, length))
    out[:, 0] = rng.normal(0, sd, n)
    for k in range(1, length):
        out[:, k] = rho * out[:, k - 1] + rng.normal(0, sd * np.sqrt(1 - rho**2), n)
    return out


def effect_found(wanted, **design):
    """Smallest effect that such a trial finds with a given power.

    Parameters
    ----------
    wanted : float
        Power between 0 and 1.
    **design
        As `power`.

    Returns
    -------
    float
        NaN where no effect reaches it: too few blocks.
    """
    sd = design["standard_deviation"]
    grid = np.linspace(0.1, 6.0, 60) * max(sd, 1e-9)
    shares = power(grid, **design)
    good = np.flatnonzero(shares >= wanted)
    return float(grid[good[0]]) if len(good) else np.nan
