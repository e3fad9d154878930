"""How strong would something unread have to be to explain the verdict, and how wrong the stated reading errors?"""

import numpy as np

# One-sided level of the bound (convention); the largest factor that is looked for.
LEVEL = 0.05
LARGEST_GAMMA = 50.0
# Multiples of the stated reading errors that are tried, then halved this often between the two that part.
MULTIPLES = (1.25, 1.5, 2.0, 3.0, 5.0)
HALVINGS = 3


def hidden_upper_p(values, used, set_id, gamma, *, units=None):
    """Largest one-sided p-value of "more of it was used" if something unread changes the odds of use by a factor.

    Parameters
    ----------
    values : array_like, shape (n,)
        What was read; turn its sign to ask for "less".
    used : array_like of {0, 1}, shape (n,)
        One used place in each set.
    set_id : array_like, shape (n,)
        Label of the choice set.
    gamma : float
        Factor (at least 1) by which two places of one set may differ in their odds of use for what was not read.
    units : array_like, shape (n,), optional
        Label of what repeats (a visit, an animal): the spread of their sums is used where it is larger.

    Returns
    -------
    float

    Notes
    -----
    Rosenbaum (2002) Observational Studies, chapter 4: in each set the unread property is put on the places with the
    highest values, as many as raise the expectation most (Gastwirth, Krieger and Rosenbaum 2000, J. R. Stat. Soc. B
    62:545), then the normal distribution; with pairs that differ all by the same amount, the exact binomial.

    Examples
    --------
    122 pairs that differ, 110 of them with the used place exposed.

    >>> x, used = [1, 0] * 110 + [0, 1] * 12, [1, 0] * 122
    >>> sets = np.repeat(np.arange(122), 2)
    >>> [float(round(hidden_upper_p(x, used, sets, g), d)) for g, d in ((3, 5), (4, 4), (5, 3), (6, 3))]
    [2e-05, 0.002, 0.023, 0.097]
    """
    from scipy import special, stats

    table, taken, unit = _padded(values, used, set_id, units)
    if table.shape[1] == 2 and unit is None:
        apart = table[:, 0] - table[:, 1]
        differ = apart > 1e-12
        if np.ptp(apart[differ]) < 1e-12:
            hits = int((taken[differ] > table[differ].mean(axis=1)).sum())
            return float(stats.binom.sf(hits - 1, int(differ.sum()), gamma / (1 + gamma)))
    mean, variance = _worst(table, gamma)
    rest = taken - mean
    spread = variance.sum()
    if unit is not None:
        # The middle of the units' sums is theirs, so that a real preference does not pass for spread.
        sums = np.bincount(unit, weights=rest)
        count = np.bincount(unit)
        own = sums - count * rest.sum() / count.sum()
        spread = max(spread, float((own**2).sum()))
    return float(special.ndtr(-rest.sum() / np.sqrt(max(spread, 1e-300))))


def hidden_bound(values, used, set_id, *, units=None, level=LEVEL):
    """Factor on the odds of use, by something unread, at which the verdict would no longer hold.

    Parameters
    ----------
    values, used, set_id, units
        As in `hidden_upper_p`, with the sign of what was sought.
    level : float
        One-sided.

    Returns
    -------
    float
        1 where chance alone explains it already; infinite beyond 50.

    Examples
    --------
    >>> x, used = [1, 0] * 110 + [0, 1] * 12, [1, 0] * 122
    >>> round(hidden_bound(x, used, np.repeat(np.arange(122), 2)), 1)
    5.5
    """
    low, high = 1.0, LARGEST_GAMMA
    if hidden_upper_p(values, used, set_id, low, units=units) > level:
        return 1.0
    if hidden_upper_p(values, used, set_id, high, units=units) <= level:
        return np.inf
    for _ in range(20):
        middle = np.sqrt(low * high)
        below = hidden_upper_p(values, used, set_id, middle, units=units) <= level
        low, high = (middle, high) if below else (low, middle)
    return float(np.sqrt(low * high))


def _padded(values, used, set_id, units):
    """Values of each set from high to low (missing places NaN), the used one's, and codes of units."""
    import pandas as pd

    values, used = np.asarray(values, dtype=float), np.asarray(used).astype(bool)
    sets = pd.factorize(np.asarray(set_id))[0]
    one = np.bincount(sets, weights=used) == 1
    keep = one[sets]
    values, used, sets = values[keep], used[keep], np.unique(sets[keep], return_inverse=True)[1]
    order = np.lexsort((-values, sets))
    sizes = np.bincount(sets)
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    table = np.full((len(sizes), sizes.max()), np.nan)
    table[sets[order], np.arange(len(sets)) - starts[sets[order]]] = values[order]
    taken = np.zeros(len(sizes))
    taken[sets[used]] = values[used]
    if units is None:
        return table, taken, None
    first = np.zeros(len(sizes), dtype=int)
    code = pd.factorize(np.asarray(units))[0][keep]
    first[sets] = code
    return table, taken, np.unique(first, return_inverse=True)[1]


def _worst(table, gamma):
    """Largest expectation of the used place's value in each set, and its variance there."""
    there = np.isfinite(table)
    x, square = np.where(there, table, 0.0), np.where(there, table**2, 0.0)
    sizes = there.sum(axis=1)
    upper, upper2 = np.cumsum(x, axis=1), np.cumsum(square, axis=1)
    many = np.arange(1, table.shape[1] + 1)
    weight = gamma * many + (sizes[:, None] - many)
    mean = (gamma * upper + (upper[:, -1:] - upper)) / weight
    mean = np.where(there, mean, -np.inf)
    best = mean.argmax(axis=1)[:, None]
    top = np.take_along_axis(mean, best, axis=1)[:, 0]
    second = (gamma * upper2 + (upper2[:, -1:] - upper2)) / weight
    return top, np.maximum(0.0, np.take_along_axis(second, best, axis=1)[:, 0] - top**2)


def turning_errors(named, stands, errors, columns):
    """Reading error at which the verdict would turn, one instrument at a time.

    Parameters
    ----------
    named : str
        The named driver.
    stands : callable
        Takes errors by column, tells whether the verdict stands.
    errors : dict of str to float
        Stated errors.
    columns : dict of str to str
        Column of each driver.

    Returns
    -------
    DataFrame
        One row per driver with a stated error: stated, turns_at (infinite: not up to five times), times.
    """
    import pandas as pd

    rows = []
    for name, column in columns.items():
        stated = errors.get(column)
        if not stated:
            continue
        low, times = 1.0, np.inf
        for multiple in MULTIPLES:
            if not stands(errors | {column: multiple * stated}):
                times = multiple
                break
            low = multiple
        for _ in range(HALVINGS if np.isfinite(times) else 0):
            middle = (low + times) / 2
            low, times = (middle, times) if stands(errors | {column: middle * stated}) else (low, middle)
        rows.append((name, stated, times * stated, times))
    return pd.DataFrame(rows, columns=["driver", "stated", "turns_at", "times"]).set_index("driver").astype(float)
