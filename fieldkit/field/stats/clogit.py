"""Conditional logit on flat arrays: the engine under the choice test.

Sets of one size are cut into dense blocks (columns, other places, sets) of differences from the used place, a few
thousand rows each. A block fits in the processor's cache, every sum over places runs along memory, and beyond the
blocks (as large as the design matrix) nothing of that size is ever made.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from fieldkit.core import Result
from fieldkit.field.stats.clogit_layout import (
    ChoiceError,
    check_finite,
    cluster_codes,
    cut_blocks,
    find_sets,
    matrix,
    used_flags,
)
from fieldkit.field.stats.intervals import critical_value

__all__ = ["ChoiceError", "Fit", "fit", "log_likelihood", "score_and_information"]

MAX_ITERATIONS = 60


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Fit(Result):
    """A fitted conditional logit.

    Attributes
    ----------
    coefficients, standard_errors : Series
        Log odds per unit of each column. Infinite, with no standard error, where the column separates (see
        `separated`).
    covariance, model_covariance : DataFrame
        `covariance` is cluster-robust when clusters were given, else it is the model's.
    log_likelihood, null_log_likelihood : float
        At the estimate and at zero.
    degrees_of_freedom : float
        Clusters less one when robust, else infinite (normal limits).
    dropped : dict
        Column left out, and why.
    separated : tuple of str
        Columns by which the used place can be picked out without error; their odds ratios have no finite estimate.
    notes : tuple of str
        Everything that was left out or could not be done, in words.
    """

    coefficients: object
    standard_errors: object
    covariance: object
    model_covariance: object
    log_likelihood: float
    null_log_likelihood: float
    n_sets: int
    n_rows: int
    n_clusters: int | None
    degrees_of_freedom: float
    dropped: dict = field(default_factory=dict)
    separated: tuple = ()
    iterations: int = 0
    notes: tuple = ()

    @property
    def n_parameters(self):
        """Estimated coefficients."""
        return len(self.coefficients)

    @property
    def aicc(self):
        """Small-sample Akaike criterion; n is the number of sets, because a set is what is drawn independently."""
        k, n = self.n_parameters, self.n_sets
        if n <= k + 1:
            return math.inf
        return -2 * self.log_likelihood + 2 * k + 2 * k * (k + 1) / (n - k - 1)

    @property
    def likelihood_ratio(self):
        """Likelihood-ratio statistic against no selection, its degrees of freedom and p-value."""
        from scipy import special

        statistic = max(0.0, 2 * (self.log_likelihood - self.null_log_likelihood))
        df = self.n_parameters
        return statistic, df, float(special.chdtrc(df, statistic)) if df else 1.0

    @property
    def wider_covariance(self):
        """Covariance by animal or by set, coefficient by coefficient whichever says less sure.

        With few animals the sandwich may be too small by chance; the model's is too small if animals differ.
        """
        with np.errstate(invalid="ignore", divide="ignore"):
            ratio = np.sqrt(np.fmax(1.0, np.diag(self.model_covariance) / np.diag(self.covariance)))
        return self.covariance * np.outer(ratio, ratio)

    def p_value(self, name):
        """Two-sided p-value of one coefficient by the wider standard error; Student's t where clusters were given."""
        from scipy import special

        t = -abs(self.coefficients[name]) / np.sqrt(self.wider_covariance.loc[name, name])
        df = self.degrees_of_freedom
        return float(2 * (special.stdtr(df, t) if np.isfinite(df) else special.ndtr(t)))

    def odds_ratios(self, *, per=1.0, level=0.95):
        """Odds ratios with limits for a change of `per` units (number, or Series by column).

        Returns
        -------
        DataFrame
            Columns ``odds_ratio, low, high, p``.
        """
        import pandas as pd
        from scipy import special

        z = critical_value(level, degrees_of_freedom=self.degrees_of_freedom)
        b, se = self.coefficients * per, self.standard_errors * per
        with np.errstate(over="ignore", invalid="ignore"):
            t = (b / se).abs()
            p = 2 * special.stdtr(self.degrees_of_freedom, -t) if np.isfinite(self.degrees_of_freedom) else None
            p = 2 * special.ndtr(-t) if p is None else p
            return pd.DataFrame(
                {"odds_ratio": np.exp(b), "low": np.exp(b - z * se), "high": np.exp(b + z * se), "p": p},
                index=self.coefficients.index,
            )

    @property
    def table(self):
        """One row per column: coefficient, standard error, odds ratio, limits, p."""
        out = self.odds_ratios()
        out.insert(0, "coefficient", self.coefficients)
        out.insert(1, "standard_error", self.standard_errors)
        return out

    @property
    def sentence(self):
        """Sets, parameters and the likelihood-ratio test in words."""
        statistic, df, p = self.likelihood_ratio
        words = f"{self.n_sets} choice sets; likelihood ratio {statistic:.4g} on {df} df, p {p:.2g}."
        return " ".join([words, *self.notes])


def fit(X, used, set_id, *, cluster=None):
    """Fit a conditional logit: which of the places of a set was used, given the columns of X.

    Parameters
    ----------
    X : DataFrame or array_like, shape (n, p)
        One row per place, one column per driver; any units, finite.
    used : array_like of {0, 1} or bool, shape (n,)
        1 for the place that was used.
    set_id : array_like, shape (n,)
        Label of the choice set; sets may differ in size and rows may come in any order.
    cluster : array_like, shape (n,), optional
        Label of the animal, the same for all rows of a set. Gives a covariance that allows for likeness of choices by
        one animal (sandwich, times G / (G - 1) for G animals) and Student's t limits with G - 1 degrees of freedom.

    Returns
    -------
    Fit

    Raises
    ------
    ChoiceError
        When no set has both a used and an unused place, a value is missing, lengths differ, an animal changes within a
        set, or a set has so many used places that its subsets cannot be listed (more than 5,000).

    Notes
    -----
    Log likelihood: sum over sets of x_used b - ln(sum over the set of exp(x b)) (McFadden 1974, Conditional logit
    analysis of qualitative choice behavior, eq. 12). A set with m used places is treated exactly, as one choice among
    all its subsets of m places (Gail, Lubin and Rubinstein 1981, Biometrika 68:703). Robust covariance: Lin and Wei
    (1989) J. Am. Stat. Assoc. 84:1074. Separation is decided by linear programming (Konis 2007, Linear programming
    algorithms for detecting separated data, section 4.2). A column constant within every set says nothing about choice
    and is dropped with a note, and so is a column that others determine.

    Examples
    --------
    >>> x = [[2], [0], [1], [1], [0], [3], [4], [2], [2], [3], [1], [0]]
    >>> result = fit(x, [1, 0, 0] * 4, [1, 1, 1, 2, 2, 2, 3, 3, 3, 4, 4, 4])
    >>> round(float(result.coefficients["x0"]), 5), round(result.log_likelihood, 6)
    (0.84314, -2.951083)
    """
    values, names = matrix(X)
    starts, order, n_rows = find_sets(set_id, len(values))
    used = used_flags(used, n_rows)
    codes = cluster_codes(cluster, n_rows)
    check_finite(values, names)
    notes = []
    blocks = cut_blocks(values, used, starts, order, codes, notes)
    p = len(names)
    zero = np.zeros(p)
    null = _evaluate(blocks, zero)
    n_sets = sum(block.others.shape[2] for block in blocks)

    keep, dropped = _estimable(null.information, values, names, n_sets)
    if dropped:
        notes += [f"{name} was left out: {why}." for name, why in dropped.items()]
        blocks = [b.only(keep) for b in blocks]
        names = [names[j] for j in keep]
        p = len(names)
        null = _evaluate(blocks, np.zeros(p))
    if p:
        beta, last, iterations = _newton(blocks, null)
    else:
        beta, last, iterations = np.zeros(0), null, 0

    direction = _separating_direction(blocks, null.information, last.information) if p else None
    separated = ()
    model = robust = np.full((p, p), np.nan)
    groups = None if codes is None else np.unique(np.concatenate([b.cluster for b in blocks])).size
    if direction is not None:
        separated = tuple(names[j] for j in np.flatnonzero(direction))
        beta = np.where(direction != 0, np.copysign(np.inf, direction), beta)
        notes.append(
            f"{' and '.join(separated)} picked out the used place without error in every set (separation): the odds "
            "ratio has no finite estimate, so no interval is given."
        )
    elif p:
        model = _inverse(last.information)
        robust = model
        if codes is not None and groups < 2:
            notes.append("Only one animal: the limits allow for chance between sets, not between animals.")
        elif codes is not None:
            robust = model @ _meat(blocks, beta, codes) @ model
    return _dress(
        names,
        beta,
        robust,
        model,
        log_likelihood=last.log_likelihood,
        null_log_likelihood=null.log_likelihood,
        n_sets=n_sets,
        n_rows=sum(b.rows for b in blocks),
        n_clusters=groups,
        degrees_of_freedom=math.inf if groups is None or groups < 2 else float(groups - 1),
        dropped=dropped,
        separated=separated,
        iterations=iterations,
        notes=tuple(notes),
    )


def log_likelihood(X, used, set_id, coefficients):
    """Log likelihood of each set under given coefficients, in order of first appearance of the set.

    Used to score a model on animals it has not seen.

    Parameters
    ----------
    X : DataFrame or array_like, shape (n, p)
        As in `fit`.
    used : array_like, shape (n,)
        As in `fit`.
    set_id : array_like, shape (n,)
        As in `fit`.
    coefficients : array_like, shape (p,)
        Log odds per unit of each column.

    Returns
    -------
    ndarray, shape (sets,)

    Examples
    --------
    >>> log_likelihood([[1.0], [0.0]], [1, 0], [1, 1], [0.0]).round(6)
    array([-0.693147])
    """
    values, _ = matrix(X)
    starts, order, n_rows = find_sets(set_id, len(values))
    blocks = cut_blocks(values, used_flags(used, n_rows), starts, order, None, [])
    out = np.full(len(starts) - 1, np.nan)
    beta = np.asarray(coefficients, dtype=float)
    for block in blocks:
        shape = block.others.shape
        eta = (beta @ block.others.reshape(shape[0], -1)).reshape(shape[1:])
        shift = np.maximum(eta.max(axis=0), 0)
        out[block.which] = -(shift + np.log(np.exp(-shift) + np.exp(eta - shift).sum(axis=0)))
    return out[np.isfinite(out)]


def score_and_information(X, used, set_id, coefficients):
    """Slope and curvature of the log likelihood at given coefficients.

    Parameters
    ----------
    X : DataFrame or array_like, shape (n, p)
        As in `fit`.
    used : array_like, shape (n,)
        As in `fit`.
    set_id : array_like, shape (n,)
        As in `fit`.
    coefficients : array_like, shape (p,)
        Log odds per unit of each column.

    Returns
    -------
    score : ndarray, shape (p,)
    information : ndarray, shape (p, p)

    Examples
    --------
    >>> score, information = score_and_information([[1.0], [0.0]], [1, 0], [1, 1], [0.0])
    >>> float(score[0]), float(information[0, 0])
    (0.5, 0.25)
    """
    values, _ = matrix(X)
    starts, order, n_rows = find_sets(set_id, len(values))
    blocks = cut_blocks(values, used_flags(used, n_rows), starts, order, None, [])
    state = _evaluate(blocks, np.asarray(coefficients, dtype=float))
    return state.score, state.information


# ---- likelihood, Newton, covariance ----------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _State:
    log_likelihood: float
    score: np.ndarray
    information: np.ndarray


def _evaluate(blocks, beta):
    p = len(beta)
    total, score, information = 0.0, np.zeros(p), np.zeros((p, p))
    for block in blocks:
        logs, mean, weighted = _block_terms(block.others, beta)
        total -= logs
        if p:
            flat = block.others.reshape(p, -1)
            score -= mean.sum(axis=1)
            information += weighted.reshape(p, -1) @ flat.T - mean @ mean.T
    return _State(float(total), score, (information + information.T) / 2)


def _block_terms(others, beta):
    """Sum of the log denominators, mean difference per set (p, sets), and probability-weighted differences."""
    p = len(beta)
    shape = others.shape[1:]
    if p == 0:
        return shape[1] * math.log(shape[0] + 1), None, None
    if not beta.any():
        share = 1 / (shape[0] + 1)
        weighted = others * share
        return shape[1] * math.log(shape[0] + 1), weighted.sum(axis=1), weighted
    eta = (beta @ others.reshape(p, -1)).reshape(shape)
    logs = 0.0
    # The used place has eta 0, so the sum cannot vanish; only an overflow needs the shift.
    if eta.max() < 600:
        np.exp(eta, out=eta)
        total = eta.sum(axis=0)
        total += 1
    else:
        shift = np.maximum(eta.max(axis=0), 0)
        eta -= shift
        np.exp(eta, out=eta)
        total = eta.sum(axis=0) + np.exp(-shift)
        logs = shift.sum()
    logs += np.log(total).sum()
    eta /= total
    weighted = others * eta
    return logs, weighted.sum(axis=1), weighted


def _newton(blocks, null):
    p = len(null.score)
    scale = 1 / np.sqrt(np.diag(null.information))
    beta, state, iteration = np.zeros(p), null, 0
    while iteration < MAX_ITERATIONS:
        iteration += 1
        scaled = state.information * np.outer(scale, scale)
        try:
            step = scale * np.linalg.solve(scaled, scale * state.score)
        except np.linalg.LinAlgError:
            break
        decrement = float(step @ state.score)
        if not np.isfinite(decrement) or decrement < 0:
            break
        length = 1.0
        while True:
            new = _evaluate(blocks, beta + length * step)
            if new.log_likelihood >= state.log_likelihood - 1e-12 * abs(state.log_likelihood) or length < 1e-4:
                break
            length /= 2
        if new.log_likelihood < state.log_likelihood - 1e-12 * abs(state.log_likelihood):
            break
        beta, state = beta + length * step, new
        # Quadratic convergence: a decrement this small before the step leaves an error near its square.
        if decrement < 1e-9 * max(1.0, abs(state.log_likelihood) * 1e-3):
            break
    return beta, state, iteration


def _inverse(information):
    scale = 1 / np.sqrt(np.diag(information))
    return np.linalg.inv(information * np.outer(scale, scale)) * np.outer(scale, scale)


def _meat(blocks, beta, codes):
    p, groups = len(beta), codes.max() + 1
    sums = np.zeros((p, groups))
    for block in blocks:
        mean = _block_terms(block.others, beta)[1]
        for j in range(p):
            sums[j] -= np.bincount(block.cluster, weights=mean[j], minlength=groups)
    seen = np.unique(np.concatenate([b.cluster for b in blocks])).size
    return sums @ sums.T * seen / (seen - 1)


def _estimable(information, values, names, n_sets):
    """Columns that vary within sets and that no earlier columns determine (pivots of a Cholesky factor)."""
    size = np.maximum(np.abs(values.max(axis=0)), np.abs(values.min(axis=0)))
    varies = np.diag(information) > n_sets * (1e-10 * size) ** 2
    keep, dropped = [], {}
    scale = 1 / np.sqrt(np.where(varies, np.diag(information), 1.0))
    correlation = information * np.outer(scale, scale)
    for j, name in enumerate(names):
        if not varies[j]:
            dropped[name] = "it does not differ between the places of any set, so it says nothing about choice"
            continue
        rest = 1.0
        if keep:
            rest -= correlation[j, keep] @ np.linalg.solve(correlation[np.ix_(keep, keep)], correlation[keep, j])
        if rest < 1e-9:
            dropped[name] = f"within sets it is fixed by {', '.join(names[i] for i in keep)}"
        else:
            keep.append(j)
    return keep, dropped


def _separating_direction(blocks, null_information, information):
    """Direction along which the likelihood rises for ever, or None; asked only when the information has collapsed."""
    scale = 1 / np.sqrt(np.diag(null_information))
    outer = np.outer(scale, scale)
    vectors = np.linalg.cholesky(null_information * outer)
    reduced = np.linalg.solve(vectors, np.linalg.solve(vectors, information * outer).T)
    if np.isfinite(reduced).all() and np.linalg.eigvalsh((reduced + reduced.T) / 2)[0] > 1e-3:
        return None
    from scipy.optimize import linprog

    p = len(scale)
    gain = -np.concatenate([b.others.reshape(p, -1) for b in blocks], axis=1).T * scale
    gain = gain / max(1.0, np.abs(gain).max())
    result = linprog(-gain.sum(axis=0), A_ub=-gain, b_ub=np.zeros(len(gain)), bounds=[(-1, 1)] * p, method="highs")
    if result.x is None or (gain @ result.x).max() < 1e-6:
        return None
    return np.where(np.abs(result.x) > 1e-7, result.x, 0.0)


def _dress(names, beta, covariance, model_covariance, **rest):
    import pandas as pd

    index = pd.Index(names)
    with np.errstate(invalid="ignore"):
        errors = np.sqrt(np.diag(covariance))
    return Fit(
        coefficients=pd.Series(beta, index=index, dtype=float),
        standard_errors=pd.Series(errors, index=index, dtype=float),
        covariance=pd.DataFrame(covariance, index=index, columns=index),
        model_covariance=pd.DataFrame(model_covariance, index=index, columns=index),
        **rest,
    )
