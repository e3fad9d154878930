"""The same places again and again: are they liked for something that was not read?"""

from dataclasses import dataclass

import numpy as np

# Places count as repeated when at least this share of the rows is of a place that stands in several sets (our choice).
LEAST_REPEATED = 0.3
# P-value below which labels of places are believed to say where a reading was taken (our choice).
LASTING = 0.01
DRAWS = 199
# Neighbourhoods are what repeats from this many on, with so many places each at most (our choice: with fewer, or larger
# ones, effects of places tell more).
FEWEST_NEIGHBOURHOODS = 8
PLACES_EACH = 12


@dataclass(frozen=True, eq=False, kw_only=True)
class Repeated:
    """Places that stand in several sets.

    `codes` of each row (below 0 for places of one set), `of_used` of each set's used place (below 0 where several were
    used), `count` of them. Where sets fall into neighbourhoods that share no place, `components` is the code of that of
    each set: they are then what repeats, and no effects of places have to be estimated; else None.
    """

    codes: np.ndarray
    of_used: np.ndarray
    count: int
    components: np.ndarray | None = None


def repeated(ready, within, rng):
    """Places that were read in several sets; None where they hardly were, or labels only number the places of a set.

    Labels such as 1, 2, 3 in every set are no places: readings under one label are then no more alike than any others,
    which is what shuffled labels show (permutation test of the variance between labels).
    """
    import pandas as pd

    kept, sets = ready.kept, ready.sets
    if "place_id" not in kept:
        return None
    codes, labels = pd.factorize(kept["place_id"])
    pairs = np.unique(np.stack([codes, sets]), axis=1)
    in_sets = np.bincount(pairs[0][pairs[0] >= 0], minlength=len(labels))
    often = (codes >= 0) & (in_sets[codes] > 1)
    if often.mean() < LEAST_REPEATED:
        return None
    if not _lasting(codes, sets, within, rng):
        return None
    kept_codes = np.where(often, codes, -1)
    used_rows = np.flatnonzero(ready.used)
    of_used = np.full(ready.n_sets, -1)
    of_used[sets[used_rows]] = codes[used_rows]
    several = np.bincount(sets, weights=ready.used) > 1
    of_used[several] = -1
    again = np.unique(kept_codes[kept_codes >= 0])
    parts = _neighbourhoods(kept_codes, sets, ready.n_sets)
    count = parts.max() + 1
    apart = FEWEST_NEIGHBOURHOODS <= count < ready.n_sets and count >= len(again) / PLACES_EACH
    return Repeated(codes=kept_codes, of_used=of_used, count=len(again), components=parts if apart else None)


def _neighbourhoods(codes, sets, n_sets):
    """Code of the neighbourhood of each set: sets linked by a place, however many steps."""
    from scipy import sparse

    known = codes >= 0
    links = sparse.coo_array((np.ones(known.sum()), (sets[known], n_sets + codes[known])),
                             shape=(n_sets + codes.max() + 1,) * 2)  # fmt: skip
    labels = sparse.csgraph.connected_components(links, directed=False)[1][:n_sets]
    return np.unique(labels, return_inverse=True)[1]


def _lasting(codes, sets, within, rng):
    """Do readings stay with the label? Labels shuffled within sets, by the best of the columns."""
    spread = np.sqrt((within**2).mean(axis=0))
    z = within[:, spread > 0] / spread[spread > 0]
    if not z.shape[1]:
        return False
    codes = np.where(codes < 0, codes.max() + 1, codes)
    counts = np.bincount(codes)

    def between(labels):
        sums = np.stack([np.bincount(labels, weights=c, minlength=len(counts)) for c in z.T])
        return (sums**2 / np.maximum(counts, 1)).sum(axis=1).max()

    seen = between(codes)
    drawn = 0
    for _ in range(DRAWS):
        order = np.lexsort((rng.random(len(sets)), sets))
        drawn += between(codes[order]) >= seen
        if drawn > LASTING * DRAWS:
            return False
    return True


def null(values, ready, places, beside):
    """The places' intercepts fitted beside the drivers, and the score of every column at no selection.

    Parameters
    ----------
    values : ndarray, shape (n, k)
        Columns of the candidates.
    ready : choice_sets.Sets
        Rows sorted by set.
    places : Repeated
        Places that stand in several sets.
    beside : list of int
        Columns that the variance of the places is estimated beside.

    Returns
    -------
    MixedFit of `beside`, probabilities (n,) at no selection, score (k,), information (k, k)
    """
    from fieldkit.field.stats.clogit_mixed import fit_mixed, score_at_zero

    one = (np.bincount(ready.sets, weights=ready.used) == 1)[ready.sets]
    # A place of one set shares its effect with none.
    label = np.where(places.codes >= 0, places.codes.astype(float), np.nan)[one]
    args = {"used": ready.used[one], "set_id": ready.sets[one], "intercepts": {"place": label}}
    fit = fit_mixed(values[one][:, beside], **args)
    prob = 1 / np.bincount(ready.sets)[ready.sets]
    prob[one], score, information = score_at_zero(values[one], variances=fit.variances, **args)
    return fit, prob, score, information


def expected(values, sets, prob):
    """Mean of each column in each set under given probabilities, (sets, columns)."""
    return np.stack([np.bincount(sets, weights=prob * c) for c in values.T], axis=1)


def allowed_for(plain, frame, ready, places, variance):
    """A fit with the places' intercepts allowed for: coefficients and errors beyond them, Student's t on places.

    The error by animal is kept where it is wider than that of the sets, in the same proportion.
    """
    import dataclasses

    import pandas as pd

    if places is None or places.components is not None or plain.separated or not len(plain.coefficients):
        return plain
    from fieldkit.field.stats.clogit_mixed import fit_mixed

    names = list(plain.coefficients.index)
    label = np.where(places.codes >= 0, places.codes.astype(float), np.nan)
    got = fit_mixed(
        frame[names], ready.used, ready.sets, intercepts={"place": label}, variances=pd.Series({"place": variance})
    )
    with np.errstate(invalid="ignore", divide="ignore"):
        wider = np.sqrt(np.fmax(1.0, np.diag(plain.covariance) / np.diag(plain.model_covariance)))
    return dataclasses.replace(
        plain,
        coefficients=got.coefficients,
        covariance=got.covariance * np.outer(wider, wider),
        model_covariance=got.covariance,
        standard_errors=got.standard_errors * wider,
        degrees_of_freedom=min(plain.degrees_of_freedom, got.degrees_of_freedom),
    )
