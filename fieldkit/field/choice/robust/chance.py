"""Could chance have done it? Used places drawn at random, and the signs of whatever repeats flipped together.

Sets are not the units that repeat where an animal stays, comes back, or is one of few: the summed scores of whole
visits, returns and animals change sign at random, and the largest p-value counts. Where the same places are read again
and again, a conditional logit with an intercept for each place says what the drivers do beyond them.
"""

from dataclasses import dataclass

import numpy as np

# Turned round at random, five units give the season itself in one draw of sixteen: no p-value of 5 % exists below six.
FEWEST_UNITS = 6
# With fewer animals than this, turning them round leaves too few ways for twelve candidates (our choice: eight give a p
# of 2 in 256 at best); the signs of visits and returns are flipped still.
FEWEST_ANIMALS = 8
# In the search for the best candidate a plain driver counts once, several together and a bend more often: what they add
# is seldom there, and must not hide what is. Our choice, in simulated seasons of ten animals: with 1.5 for bends the
# search cost one ideal season of 100 sets in thirteen, with 2.5 one in thirty, with 5 one in thirty too, but then half
# of the seasons in which the pull turns at noon, since sign-flips of ten animals have no p below 0.002. Beyond the
# liking of places p has no such end.
COMBINED, BENT, BENT_BEYOND_PLACES = 20.0, 2.5, 8.0


@dataclass(frozen=True, eq=False, kw_only=True)
class Level:
    """One test against chance: what was drawn or turned, how many of it, p-values of the candidates.

    `p` holds ``(alone, held over the family)``, one value a candidate; NaN where the level cannot test a candidate.
    """

    name: str  # "draws", "visits", "returns", "animals" or "places"
    units: int
    p: tuple


def weights(combinations, bends, faint):
    """How often each candidate's p counts when the best is looked for; beyond the liking of places, the same."""
    plain = [1.0 if len(c) == 1 else COMBINED for c in combinations]
    return tuple(plain + [bent] * len(bends) + [1.0] * len(faint) for bent in (BENT, BENT_BEYOND_PLACES))


def days(kept, sets):
    """Day of each set on the observer's own clock, as text; empty where no time is given."""
    import pandas as pd

    first = np.unique(sets, return_index=True)[1]
    if "time" not in kept:
        return np.full(len(first), "", dtype=object)
    # As written, whatever offsets a column of text mixes.
    when = kept["time"].iloc[first]
    if pd.api.types.is_datetime64_any_dtype(when):
        written = when.dt.strftime("%Y-%m-%d")
    else:
        written = when.astype(str).str.extract(r"^(\d{4}-\d{2}-\d{2})", expand=False)
    return written.fillna("").to_numpy(dtype=object)


def visits(kept, sets, animals, named=None):
    """Code of the visit of each set: one animal on one day; sets that name no animal, all of one day together.

    None where neither animals nor times are given. An animal that keeps its place is written down again and again;
    such sets are one choice, not many.
    """
    import pandas as pd

    day = days(kept, sets)
    if "time" not in kept or (animals is None and not (day != "").any()):
        return None
    first = np.unique(sets, return_index=True)[1]
    known = day != ""
    who = np.full(len(first), "", dtype=object)
    if animals is not None:
        named = np.ones(len(sets), dtype=bool) if named is None else named
        who = np.where(named[first], animals[first].astype(str).astype(object), "")
    codes = pd.factorize(np.where(known, who + " " + day, ""))[0]
    # A set without a time is a visit of its own.
    codes[~known] = codes.max() + 1 + np.arange((~known).sum())
    return pd.factorize(codes)[0]


def returns(used_place, animals_of_set, named_of_set):
    """Code of each set: one animal at one place, on whatever days; None where no animal came back to a place."""
    import pandas as pd

    if animals_of_set is None or used_place is None or not named_of_set.any():
        return None
    own = animals_of_set.max() + 1 + np.arange(len(used_place))
    good = named_of_set & (used_place >= 0)
    pairs = pd.MultiIndex.from_arrays([np.where(good, animals_of_set, own), np.where(good, used_place, -1)])
    codes = pd.factorize(pairs)[0]
    return None if codes.max() + 1 == len(codes) else codes


def permutation_test(within, used, sets, sizes, columns, permutations, rng, weights=None):
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
    return _held_over_family(scores, information, columns, weights)


def turning_test(sums, units, columns, permutations, rng, weights=None):
    """As `permutation_test`, but the summed scores of whole units change sign at random.

    `sums` is the score of each set, `units` the code of the unit it belongs to. Holds whatever the sets of one unit
    share. Source: the sign-flipping score test of Hemerik, Goeman and Finos (2020) J. R. Stat. Soc. B 82:841, here on
    the null of random choice, where nothing has to be estimated first.
    """
    by_unit = unit_sums(sums, units)
    scores = np.empty((permutations + 1, sums.shape[1]))
    scores[0] = by_unit.sum(axis=0)
    for at, drawn in signs(permutations, len(by_unit), rng):
        scores[at : at + len(drawn)] = drawn @ by_unit
    return _held_over_family(scores, by_unit.T @ by_unit, columns, weights)


def unit_sums(sums, units):
    """Scores of sets summed by unit, (units, columns)."""
    return np.stack([np.bincount(units, weights=c) for c in sums.T], axis=1)


def signs(permutations, count, rng):
    """Blocks of random signs, and the row at which each begins; row 0 is the season itself."""
    step = max(1, 4_000_000 // count)
    for at in range(1, permutations + 1, step):
        draws = min(step, permutations + 1 - at)
        yield at, rng.integers(0, 2, size=(draws, count), dtype=np.int8) * 2.0 - 1.0


def normal_test(score, information, columns, degrees_of_freedom, permutations, rng, weights=None):
    """As `turning_test`, for one score with known information and Student's t: beyond effects that were estimated."""
    values, vectors = np.linalg.eigh(information)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    drawn = rng.normal(size=(permutations, len(score))) @ root.T
    drawn /= np.sqrt(rng.chisquare(degrees_of_freedom, size=(permutations, 1)) / degrees_of_freedom)
    return _held_over_family(np.vstack([score, drawn]), information, columns, weights)


def _held_over_family(scores, information, columns, weights):
    """P-values of the first row of `scores` among all rows: of each candidate, and of the best of them.

    A candidate's p counts its weight times when the best is looked for: plain ones first, at no loss of validity.
    """
    from scipy import special

    p = np.empty((len(scores), len(columns)))
    for c, j in enumerate(columns):
        # In units of its own spread each column counts alike when the matrix is inverted.
        scale = 1 / np.sqrt(np.maximum(np.diag(information)[j], np.finfo(float).tiny))
        inverse = np.linalg.pinv(information[np.ix_(j, j)] * np.outer(scale, scale), hermitian=True, rcond=1e-9)
        part = scores[:, j] * scale
        p[:, c] = special.chdtrc(len(j), np.einsum("bi,ij,bj->b", part, inverse, part))
    single = (p <= p[0] * (1 + 1e-9)).mean(axis=0)
    if weights is not None:
        p = p * np.asarray(weights, dtype=float)
    smallest = p.min(axis=1)
    # Floating-point noise must not turn a tie into a win.
    tie = 1 + 1e-9
    family = np.array([(smallest <= value * tie).mean() for value in p[0]])
    return single, family
