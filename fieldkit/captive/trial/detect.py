"""How likely a trial finds an effect, from the days seen so far."""

import itertools

import numpy as np
import pandas as pd

from fieldkit.captive.compare.estimate import MOST_LIKENESS
from fieldkit.captive.trial.randomise import DRAWN_ORDERS, EXACT_ORDERS, orders
from fieldkit.core import FieldkitError, generator

# Fewest days from which the scatter of days is told (our choice).
FEWEST_DAYS = 10
CUBIC_FROM = 30
SIMULATED = 2000
ALPHA = 0.05


def scatter(values):
    """Scatter of days and likeness of one day to the next, a slow drift taken out.

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
    First-order autocorrelation about a straight line (from thirty days on a cubic), by restricted maximum likelihood
    over a grid, which frees variance and likeness of what the drift takes from them (Patterson and Thompson 1971,
    Biometrika 58:545).
    """
    n = len(values)
    if n < FEWEST_DAYS:
        raise FieldkitError(
            f"The scatter of days needs at least {FEWEST_DAYS} days of scans; there are {n}. Watch some more days, or "
            "plan without power."
        )
    day = np.asarray((values.index - values.index[0]) / pd.Timedelta(days=1), dtype=float)
    y = values.to_numpy(dtype=float)
    if np.ptp(y) == 0:
        return 0.0, 0.0
    drift = np.polynomial.legendre.legvander(2 * day / day[-1] - 1, 3 if n >= CUBIC_FROM else 1)
    apart = np.abs(day[:, None] - day[None, :])
    best = (-np.inf, 0.0, 0.0)
    for r in np.linspace(0.0, MOST_LIKENESS, 33):
        root = np.linalg.cholesky(np.where(apart == 0, 1.0, r**apart))
        x, z = np.linalg.solve(root, drift), np.linalg.solve(root, y)
        rest = z - x @ np.linalg.lstsq(x, z, rcond=None)[0]
        variance = (rest**2).sum() / (n - x.shape[1])
        information = np.linalg.slogdet(x.T @ x)[1]
        likelihood = -np.log(np.diag(root)).sum() - 0.5 * (n - x.shape[1]) * np.log(variance) - 0.5 * information
        best = max(best, (likelihood, float(np.sqrt(variance)), float(r)))
    return best[1], best[2]


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
