"""Could chance have done it? Used places drawn at random, and looks at one animal on one day turned round together."""

import numpy as np

# Turned round at random, five visits give the season itself in one draw of sixteen: no p-value of 5 % exists below six.
FEWEST_VISITS = 6


def visits(kept, sets, animals):
    """Code of the visit of each set: one animal on one day. None where animals or times are not given.

    An animal that keeps its place is written down again and again; such sets are one choice, not many.
    """
    import pandas as pd

    if animals is None or "time" not in kept:
        return None
    first = np.unique(sets, return_index=True)[1]
    # As written: the day on the observer's own clock, whatever offsets a column of text mixes.
    written = kept["time"].iloc[first].astype(str).str.extract(r"^(\d{4}-\d{2}-\d{2})", expand=False)
    day = written.fillna("").to_numpy(dtype=object)
    known = day != ""
    labels = np.where(known, animals[first].astype(str).astype(object) + " " + day, "")
    codes = pd.factorize(labels)[0]
    # A set without a time is a visit of its own.
    codes[~known] = codes.max() + 1 + np.arange((~known).sum())
    return pd.factorize(codes)[0]


def permutation_test(within, used, sets, sizes, columns, permutations, rng):
    """Score-test p-value of each candidate, by itself and held over the family.

    The used places of each set are drawn again at random; the smallest p-value over candidates is compared with that of
    the drawn seasons. Centred on the set mean, a candidate's score is the sum of the used rows.
    """
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    taken = np.bincount(sets, weights=used).astype(int)
    # Variance of a sum of m values drawn without replacement from k.
    weight = taken * (sizes - taken) / (sizes * np.maximum(sizes - 1, 1))
    information = (within * weight[sets][:, None]).T @ within
    one = np.flatnonzero(taken == 1)
    several = np.flatnonzero(taken > 1)
    scores = np.empty((permutations + 1, within.shape[1]))
    scores[0] = within[used].sum(axis=0)
    step = max(1, 4_000_000 // max(1, len(one)))
    for at in range(1, permutations + 1, step):
        count = min(step, permutations + 1 - at)
        rows = starts[one] + (rng.random((count, len(one))) * sizes[one]).astype(np.intp)
        for j in range(within.shape[1]):
            scores[at : at + count, j] = within[rows, j].sum(axis=1)
    for s in several:
        keys = rng.random((permutations, sizes[s])).argsort(axis=1)[:, : taken[s]]
        scores[1:] += within[starts[s] + keys].sum(axis=1)
    return _held_over_family(scores, information, columns)


def turning_test(within, used, visit_of_set, sets, columns, permutations, rng):
    """As `permutation_test`, but the summed scores of whole visits change sign at random.

    Holds whatever the looks of one visit share. Source: the sign-flipping score test of Hemerik, Goeman and Finos
    (2020) J. R. Stat. Soc. B 82:841, here on the null of random choice, where nothing has to be estimated first.
    """
    count = visit_of_set.max() + 1
    visit = visit_of_set[sets[used]]
    sums = np.stack([np.bincount(visit, weights=column, minlength=count) for column in within[used].T], axis=1)
    scores = np.empty((permutations + 1, within.shape[1]))
    scores[0] = sums.sum(axis=0)
    step = max(1, 4_000_000 // count)
    for at in range(1, permutations + 1, step):
        draws = min(step, permutations + 1 - at)
        scores[at : at + draws] = rng.choice([-1.0, 1.0], size=(draws, count)) @ sums
    return _held_over_family(scores, sums.T @ sums, columns)


def _held_over_family(scores, information, columns):
    """P-values of the first row of `scores` among all rows: of each candidate, and of the best of them."""
    from scipy import special

    p = np.empty((len(scores), len(columns)))
    for c, j in enumerate(columns):
        # In units of its own spread each column counts alike when the matrix is inverted.
        scale = 1 / np.sqrt(np.maximum(np.diag(information)[j], np.finfo(float).tiny))
        inverse = np.linalg.pinv(information[np.ix_(j, j)] * np.outer(scale, scale), hermitian=True, rcond=1e-9)
        part = scores[:, j] * scale
        p[:, c] = special.chdtrc(len(j), np.einsum("bi,ij,bj->b", part, inverse, part))
    smallest = p.min(axis=1)
    # Floating-point noise must not turn a tie into a win.
    tie = 1 + 1e-9
    single = (p <= p[0] * tie).mean(axis=0)
    family = np.array([(smallest <= value * tie).mean() for value in p[0]])
    return single, family
