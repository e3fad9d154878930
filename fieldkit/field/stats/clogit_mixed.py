"""Conditional logit with random effects: places liked for something unread, animals that differ in their slopes.

The variance of each kind of effect maximises the restricted Laplace likelihood, by the fixed point of Schall (1991),
sped up along its own line. Effects are a sparse matrix, so that hundreds of places cost milliseconds.
"""

from dataclasses import dataclass

import numpy as np

from fieldkit.core import Result
from fieldkit.field.stats.clogit_layout import ChoiceError, check_finite, find_sets, matrix, used_flags

__all__ = ["MixedFit", "fit_mixed", "score_at_zero"]

# Standard deviation of log odds beyond which effects are as good as certain (our choice: odds of 150 to 1).
LARGEST_SD = 5.0
# A variance below this is none (our choice: odds that differ by 1 %).
SMALLEST_VARIANCE = 1e-4
ROUNDS = 200
# Cells of a design that is kept dense, because small products are faster so.
DENSE = 2_000_000


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class MixedFit(Result):
    """A conditional logit with random effects.

    Attributes
    ----------
    coefficients, standard_errors : Series
        Log odds per unit of each column, the effects being allowed for.
    covariance : DataFrame
    variances : Series
        Variance of each kind of effect; 0 where there is no sign of it.
    effects : dict of str to Series
        Predicted effect of each group.
    degrees_of_freedom : float
        Groups of the smallest kind less one.
    """

    coefficients: object
    standard_errors: object
    covariance: object
    variances: object
    effects: dict
    degrees_of_freedom: float
    n_sets: int
    iterations: int

    @property
    def table(self):
        """One row per column: coefficient, standard error, p-value (Student's t)."""
        import pandas as pd
        from scipy import special

        t = -(self.coefficients / self.standard_errors).abs()
        return pd.DataFrame(
            {
                "coefficient": self.coefficients,
                "standard_error": self.standard_errors,
                "p": 2 * special.stdtr(self.degrees_of_freedom, t),
            }
        )

    @property
    def sentence(self):
        """Sets and the spread of each kind of effect."""
        spread = ", ".join(f"{name} {np.sqrt(v):.2g}" for name, v in self.variances.items())
        return f"{self.n_sets} choice sets; standard deviation of log odds: {spread}."


def fit_mixed(X, used, set_id, *, intercepts=None, slopes=None, variances=None):
    """Fit a conditional logit with random intercepts of places and random slopes of animals.

    Parameters
    ----------
    X : DataFrame or array_like, shape (n, p)
        One row per place, one column per driver; finite.
    used : array_like of {0, 1} or bool, shape (n,)
        1 for the place that was used. A set with several used places counts as one choice each, against the others.
    set_id : array_like, shape (n,)
        Label of the choice set.
    intercepts : dict of str to array_like of shape (n,), optional
        Labels of the groups that are liked or disliked (places), by name. A missing label is no group.
    slopes : dict of str to (array_like of shape (n,), array_like of shape (n,)), optional
        Labels of the groups (animals) and the column whose slope differs between them, by name.
    variances : Series, optional
        Variance of each kind of effect, where it is known; estimated unless given.

    Returns
    -------
    MixedFit

    Raises
    ------
    ChoiceError
        Without effects, without columns, or when no set has a used and an unused place.

    Notes
    -----
    Joint maximum of the penalised likelihood over coefficients and normal effects; the variance is the fixed point
    v = sum(effects²) / (groups - trace / v), trace that of the effects' block of the inverse Hessian (Schall 1991,
    Biometrika 78:719; Laplace's approximation as in Breslow and Clayton 1993, J. Am. Stat. Assoc. 88:9, restricted
    form). Limits should use Student's t with the groups less one.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> place = np.tile([0, 1, 2, 3], 50)
    >>> x, liking = rng.normal(size=200), np.array([2.0, 0.5, -0.5, -2.0])
    >>> noisy = (x + liking[place] + rng.gumbel(size=200)).reshape(50, 4)
    >>> used = (noisy == noisy.max(axis=1, keepdims=True)).ravel()
    >>> fit = fit_mixed(x, used, np.repeat(np.arange(50), 4), intercepts={"place": place})
    >>> bool(fit.variances["place"] > 0.3), bool(0.5 < fit.coefficients["x0"] < 1.5)
    (True, True)
    """
    import pandas as pd

    problem, scale, names, labels = _prepare(X, used, set_id, intercepts, slopes)
    if variances is None:
        state, variances, count = _fixed_point(problem)
    else:
        variances = np.maximum(np.array([variances[name] for name in labels], dtype=float), SMALLEST_VARIANCE)
        state, count = problem.solve(np.zeros(problem.design.shape[1]), variances), 0
    p = len(names)
    covariance = np.linalg.inv(state.hessian)[:p, :p] / np.outer(scale, scale)
    index = pd.Index(names)
    at, told = p, {}
    for name, label in labels.items():
        told[name] = pd.Series(state.c[at : at + len(label)], index=label)
        at += len(label)
    return MixedFit(
        coefficients=pd.Series(state.c[:p] / scale, index=index),
        standard_errors=pd.Series(np.sqrt(np.diag(covariance)), index=index),
        covariance=pd.DataFrame(covariance, index=index, columns=index),
        variances=pd.Series(np.where(variances <= SMALLEST_VARIANCE, 0.0, variances), index=list(labels)),
        effects=told,
        degrees_of_freedom=float(max(1, min(len(v) for v in labels.values()) - 1)),
        n_sets=int(problem.sets[-1]) + 1,
        iterations=count,
    )


def score_at_zero(X, used, set_id, *, variances, intercepts=None, slopes=None):
    """Score and information of coefficients at zero, beyond effects of known variance.

    Parameters
    ----------
    X, used, set_id, intercepts, slopes
        As in `fit_mixed`.
    variances : Series
        Variance of each kind of effect, as from `fit_mixed`.

    Returns
    -------
    probabilities : ndarray
        Chance of each row, sets in order and one used place in each.
    score : ndarray, shape (p,)
    information : ndarray, shape (p, p)
        Of the score, effects allowed for.

    Examples
    --------
    >>> import pandas as pd
    >>> x, used, sets = [1.0, 0.0, 0.0, 1.0], [1, 0, 1, 0], [1, 1, 2, 2]
    >>> prob, score, information = score_at_zero(
    ...     x, used, sets, variances=pd.Series({"place": 1.0}), intercepts={"place": [1, 2, 3, 4]})
    >>> prob.round(2).tolist(), score.round(2).tolist()
    ([0.66, 0.34, 0.66, 0.34], [0.0])
    """
    problem, scale, _, labels = _prepare(X, used, set_id, intercepts, slopes)
    known = np.maximum(np.array([variances[name] for name in labels]), SMALLEST_VARIANCE)
    prob, score, information = problem.at_zero(known)
    return prob, score * scale, information * np.outer(scale, scale)


def _prepare(X, used, set_id, intercepts, slopes):
    """The problem in columns of unit spread, their spread and names, and the labels of each kind of effect."""
    import pandas as pd

    values, names = matrix(X)
    check_finite(values, names)
    starts, order, n_rows = find_sets(set_id, len(values))
    flags = used_flags(used, n_rows)
    rows, sets, taken = _one_choice_each(starts, np.arange(n_rows) if order is None else order, flags)
    effects, codes, labels = [], [], {}
    for name, group in (intercepts or {}).items():
        effects.append((name, group, None))
    for name, (group, column) in (slopes or {}).items():
        effects.append((name, group, np.asarray(column, dtype=float)))
    if not effects:
        raise ChoiceError("A mixed fit needs at least one kind of effect: intercepts of places or slopes of animals.")
    scale = values[rows].std(axis=0)
    scale[scale == 0] = 1.0
    columns = []
    for name, group, column in effects:
        code, label = pd.factorize(np.asarray(group)[rows])
        if not len(label):
            raise ChoiceError(f"No row has a label of {name}, so it cannot have effects.")
        codes.append(code)
        labels[name] = label
        columns.append(None if column is None else column[rows])
    problem = _Problem(values[rows] / scale, sets, taken, codes, columns, [len(v) for v in labels.values()])
    return problem, scale, names, labels


def _one_choice_each(starts, order, used):
    """Rows, codes and used flags, with a set for every used place of a set: that place against the unused ones."""
    sizes = np.diff(starts)
    sets = np.repeat(np.arange(len(sizes)), sizes)
    flags = used[order]
    taken = np.bincount(sets, weights=flags, minlength=len(sizes)).astype(int)
    plain = (taken == 1) & (sizes > 1)
    rows, codes, hit = [order[plain[sets]]], [sets[plain[sets]]], [flags[plain[sets]]]
    extra = len(sizes)
    for s in np.flatnonzero((taken > 1) & (taken < sizes)):
        mine = order[starts[s] : starts[s + 1]]
        others = mine[~used[mine]]
        for one in mine[used[mine]]:
            rows.append(np.r_[one, others])
            codes.append(np.full(len(others) + 1, extra))
            hit.append(np.arange(len(others) + 1) == 0)
            extra += 1
    rows, codes, hit = (np.concatenate(part) for part in (rows, codes, hit))
    if not len(rows):
        raise ChoiceError("No choice set has both a used and an unused place, so there is nothing to compare.")
    return rows, np.unique(codes, return_inverse=True)[1], hit


@dataclass(frozen=True, eq=False)
class _State:
    c: np.ndarray
    hessian: np.ndarray
    penalised: float


class _Problem:
    """The design, the sets and the kinds of effects; Newton's method at given variances."""

    def __init__(self, x, sets, used, codes, columns, counts):
        from scipy import sparse

        n = len(x)
        self.p, self.counts = x.shape[1], np.array(counts)
        parts = [sparse.csr_array(x)]
        for code, column, count in zip(codes, columns, counts):
            value = np.where(code < 0, 0.0, 1.0 if column is None else column)
            parts.append(sparse.csr_array((value, (np.arange(n), np.maximum(code, 0))), shape=(n, count)))
        self.design = sparse.hstack(parts, format="csr")
        self.transposed = self.design.T.tocsr()
        self.dense = self.design.toarray() if np.prod(self.design.shape) < DENSE else None
        self.starts = np.flatnonzero(np.r_[True, np.diff(sets) > 0])
        self.sets, self.used = sets, used
        self.members = sparse.csr_array((np.ones(n), (sets, np.arange(n))), shape=(sets[-1] + 1, n))
        self.taken = self.transposed @ used.astype(float)

    def penalty(self, variances):
        return np.concatenate([np.zeros(self.p), np.repeat(1 / variances, self.counts)])

    def probabilities(self, c):
        eta = self.design @ c
        shift = np.maximum.reduceat(eta, self.starts)
        eta -= shift[self.sets]
        weight = np.exp(eta)
        total = np.add.reduceat(weight, self.starts)
        return weight / total[self.sets], float(eta[self.used].sum() - np.log(total).sum())

    def solve(self, c, variances, free=None):
        """The maximum of the penalised likelihood, coefficients beyond `free` held where they are."""
        penalty = self.penalty(variances)
        free = np.ones(len(c), dtype=bool) if free is None else free
        prob, value = self.probabilities(c)
        value -= 0.5 * float(penalty @ c**2)
        for _ in range(30):
            hessian = self.hessian(prob, penalty)
            score = self.taken - self.transposed @ prob - penalty * c
            step = np.zeros_like(c)
            block = hessian[np.ix_(free, free)]
            # Effects have a penalty; a column that others determine is for the caller to leave out.
            step[free] = np.linalg.solve(block, score[free])
            length, rise = 1.0, float(step @ score)
            while True:
                prob, new = self.probabilities(c + length * step)
                new -= 0.5 * float(penalty @ (c + length * step) ** 2)
                if new >= value - 1e-10 * abs(value) or length < 1e-3:
                    break
                length /= 2
            c, value = c + length * step, new
            if rise < 1e-9 * max(1.0, abs(value)):
                break
        return _State(c, self.hessian(prob, penalty), value)

    def hessian(self, prob, penalty):
        if self.dense is not None:
            weighted = prob[:, None] * self.dense
            mean = np.add.reduceat(weighted, self.starts)
            out = self.dense.T @ weighted - mean.T @ mean
        else:
            from scipy import sparse

            weighted = sparse.diags_array(prob) @ self.design
            mean = self.members @ weighted
            out = (self.transposed @ weighted - mean.T @ mean).toarray()
        out[np.diag_indices_from(out)] += penalty
        return out

    def at_zero(self, variances):
        """Score and information of the coefficients at zero, the effects fitted."""
        free = np.arange(self.design.shape[1]) >= self.p
        state = self.solve(np.zeros(len(free)), variances, free)
        prob, _ = self.probabilities(state.c)
        score = (self.taken - self.transposed @ prob)[: self.p]
        a, b, d = (state.hessian[np.ix_(i, j)] for i, j in ((~free, ~free), (~free, free), (free, free)))
        return prob, score, a - b @ np.linalg.solve(d, b.T)


def _fixed_point(problem):
    """Schall's iteration, with a leap along its line every third round (Aitken)."""
    c = np.zeros(problem.design.shape[1])
    cuts = np.cumsum(problem.counts)[:-1]
    logs, path = np.log(np.full(len(problem.counts), 0.3)), []
    lowest, highest = np.log(SMALLEST_VARIANCE), 2 * np.log(LARGEST_SD)
    for count in range(1, ROUNDS + 1):
        variances = np.exp(logs)
        state = problem.solve(c, variances)
        c = state.c
        inverse = np.diag(np.linalg.inv(state.hessian))[problem.p :]
        trace = np.array([part.sum() for part in np.split(inverse, cuts)])
        squares = np.array([(part**2).sum() for part in np.split(c[problem.p :], cuts)])
        known = np.maximum(problem.counts - trace / variances, 1e-6)
        new = np.clip(np.log(np.maximum(squares / known, 1e-12)), lowest, highest)
        path.append(new)
        if np.abs(new - logs).max() < 1e-7:
            break
        logs = new
        if len(path) >= 3 and count % 3 == 0:
            first, second = path[-2] - path[-3], path[-1] - path[-2]
            turn = second - first
            with np.errstate(divide="ignore", invalid="ignore"):
                leap = path[-3] - first**2 / turn
            # A leap only where steps shrink steadily, and never farther than ten of them.
            good = np.isfinite(leap) & (second * first > 0) & (np.abs(second) < np.abs(first))
            reach = np.clip(leap - path[-1], -10 * np.abs(second) - 0.5, 10 * np.abs(second) + 0.5)
            logs = np.clip(np.where(good, path[-1] + reach, logs), lowest, highest)
    return problem.solve(c, np.exp(logs)), np.exp(logs), count
