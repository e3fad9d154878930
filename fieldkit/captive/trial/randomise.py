"""The order of a trial, and what it says: by the orders that could have been drawn, and by nothing else."""

import itertools
from dataclasses import dataclass

import numpy as np

from fieldkit.core import FieldkitError, Result, generator

# Up to this many orders all are counted; beyond, as many are drawn.
EXACT_ORDERS = 100_000
DRAWN_ORDERS = 99_999
LEVEL = 0.95


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class RandomisationTest(Result):
    """Effect of a change in a trial of blocks that hold both arms once, in drawn order.

    Attributes
    ----------
    effect : float
        Mean over blocks of changed less usual.
    low, high : float
        Effects that the test does not reject at the level; infinite where the design cannot reject any.
    p, p_greater, p_less : float
        Two-sided, and one-sided for a rise and for a fall.
    orders : int
        Orders that could have been drawn.
    exact : bool
        Whether all of them were counted.
    """

    table: object
    sentence: str
    effect: float
    low: float
    high: float
    p: float
    p_greater: float
    p_less: float
    orders: int
    exact: bool
    level: float
    seed: int | None


def orders(blocks):
    """Number of orders of a trial: each block has either arm first.

    Examples
    --------
    >>> orders(8)
    256
    """
    return 2 ** int(blocks)


def smallest_p(blocks):
    """The smallest two-sided p-value that a trial of so many blocks can give, however strong the change.

    Examples
    --------
    >>> smallest_p(8)
    0.0078125
    """
    return min(1.0, 2 / orders(blocks))


def draw(blocks, *, rng):
    """Draw which arm comes first in each block.

    Parameters
    ----------
    blocks : int
        How many blocks.
    rng : int or numpy.random.Generator
        Seed; keep it, so that anyone can draw the order again.

    Returns
    -------
    list of tuple of str
        ``("usual", "changed")`` or the other way round, a pair for each block.

    Examples
    --------
    >>> len(draw(6, rng=1))
    6
    """
    if blocks < 1:
        raise FieldkitError(f"A trial needs blocks; {blocks} are none.")
    arms = ("usual", "changed")
    return [arms if first == 0 else arms[::-1] for first in generator(rng).integers(2, size=int(blocks))]


def _signs(blocks, rng):
    """Every order as signs of the blocks' differences, or as many as may be drawn; the drawn one comes first."""
    if orders(blocks) <= EXACT_ORDERS:
        return np.array(list(itertools.product((1.0, -1.0), repeat=blocks))), True
    drawn = generator(rng).choice((1.0, -1.0), size=(DRAWN_ORDERS, blocks))
    return np.vstack([np.ones(blocks), drawn]), False


def _p(at, slope, gap, shift):
    """P-values with the effect taken to be `shift`; numbers that differ by rounding count as equal."""
    statistic, seen = at - shift * slope, gap - shift
    close = 1e-9 * max(1.0, abs(seen), float(np.abs(at).max()))
    two = (np.abs(statistic) >= abs(seen) - close).mean()
    return two, (statistic >= seen - close).mean(), (statistic <= seen + close).mean()


def randomisation_test(differences, *, level=LEVEL, rng=0):
    """Test the differences of blocks by the orders that could have been drawn.

    Parameters
    ----------
    differences : array_like, shape (blocks,)
        Changed less usual, of each block.
    level : float
        Confidence level of the interval.
    rng : int or numpy.random.Generator
        Seed, where there are too many orders to count all.

    Returns
    -------
    RandomisationTest

    Raises
    ------
    FieldkitError
        With fewer than two blocks, or a block without a difference.

    Notes
    -----
    Only orders that could have been drawn count: in each block the two arms change places (Edgington and Onghena 2007,
    Randomization Tests, chapters 4 and 11; Onghena 1992, Behavioral Assessment 14:153). The interval holds the effects
    that the two-sided test does not reject (Edgington and Onghena 2007, section 12; test inversion).

    Examples
    --------
    >>> found = randomisation_test([0.8, 0.6, 0.3, -0.1, 1.1, -0.2, 0.3, 0.5, 0.5, 0.3])
    >>> found.p_greater * 1024, found.p * 1024
    (7.0, 14.0)
    """
    import pandas as pd

    d = np.asarray(differences, dtype=float)
    if d.ndim != 1 or len(d) < 2 or not np.isfinite(d).all():
        raise FieldkitError(f"A trial needs at least two whole blocks, each with both arms; there are {len(d)}.")
    signs, exact = _signs(len(d), rng)
    at, slope, gap = signs @ d / len(d), signs.mean(axis=1), float(d.mean())
    two, greater, less = _p(at, slope, gap, 0.0)
    low, high = (_end(at, slope, gap, float(np.ptp(d)) + abs(gap), way, 1 - level) for way in (-1, 1))
    table = pd.DataFrame({"block": np.arange(1, len(d) + 1), "difference": d})
    how = f"all {orders(len(d)):,} orders" if exact else f"{DRAWN_ORDERS:,} of {orders(len(d)):,} orders"
    limits = f"{low:.3g} to {high:.3g}" if np.isfinite(low) else "without limits: too few blocks"
    return RandomisationTest(
        table=table,
        sentence=(
            f"Effect {gap:.3g} ({100 * level:g} % interval {limits}) over {len(d)} blocks; two-sided p {two:.3g} by "
            f"{how} that could have been drawn."
        ),
        effect=gap,
        low=low,
        high=high,
        p=float(two),
        p_greater=float(greater),
        p_less=float(less),
        orders=orders(len(d)),
        exact=exact,
        level=level,
        seed=int(rng) if isinstance(rng, int | np.integer) else None,
    )


def _end(at, slope, gap, width, way, alpha):
    """The furthest effect on one side that is not rejected; infinite where none is."""
    near, far = gap, gap + way * max(width, 1e-12) * 4
    if _p(at, slope, gap, far)[0] > alpha:
        return way * np.inf
    for _ in range(60):
        middle = 0.5 * (near + far)
        if _p(at, slope, gap, middle)[0] > alpha:
            near = middle
        else:
            far = middle
    return float(near)
