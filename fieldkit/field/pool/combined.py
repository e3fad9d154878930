"""One quantity of several seasons by random effects: the mean, a new season, and what the seasons differ by.

What was chosen, and why (`tests/studies/study_pool.py`, and its rows in `tests/studies/README.md`):

- The interval of the mean is that of Hartung and Knapp; below `FEW` seasons its standard error is at least that of the
  model (Knapp and Hartung 2003; Röver, Knapp and Friede 2015). With five or more, the floor would make it cover 99 of
  100 where seasons are alike.
- "Clear" is held by the floored standard error at any number of seasons, at 4 %: with few seasons of unequal size a
  nominal 5 % came to 6 %.
- Intervals for a new season that put in the estimate of the variance between seasons as if it were known covered 84 of
  100 where seasons differ a little. Here that variance has its own distribution.
"""

from dataclasses import dataclass

import numpy as np

from fieldkit.core import FieldkitError, Result, floats

# Fewer seasons are listed and not pooled; below FEW the standard error has a floor; a funnel says nothing below ten
# (the first is the task's, the second our choice by the study, the third from Sterne et al. 2011, BMJ 343:d4002).
FEWEST, FEW, FEWEST_FUNNEL = 3, 5, 10
LEVEL, CLEAR_P = 0.95, 0.04
# Nodes of the distribution of the variance between seasons.
_NODES = 400


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Pooled(Result):
    """One quantity over several seasons.

    Attributes
    ----------
    table : DataFrame
        One row a season: estimate, standard_error, low, high, weight (share of one), and the pooled estimate, its
        limits and `clear` without that season; `decides` marks a season without which the answer is another.
    estimate, standard_error, low, high : float
        Of the mean over seasons; NaN where they are not pooled.
    new_low, new_high : float
        Where a new season should come to lie.
    tau2, tau2_low, tau2_high : float
        Variance between seasons, in the squared unit.
    q, q_p, i2 : float
        Cochran's Q, its p-value, and the share of the spread that sampling does not explain.
    p : float
        Test of `null`, by the floored standard error.
    null : float or None
        What the estimate would be if there were nothing; None for a quantity without such a value.
    clear : bool
        The seasons together differ from `null`.
    level : float
    """

    table: object
    sentence: str
    estimate: float = np.nan
    standard_error: float = np.nan
    low: float = np.nan
    high: float = np.nan
    new_low: float = np.nan
    new_high: float = np.nan
    tau2: float = np.nan
    tau2_low: float = np.nan
    tau2_high: float = np.nan
    q: float = np.nan
    q_p: float = np.nan
    i2: float = np.nan
    p: float = np.nan
    null: float | None = None
    clear: bool = False
    level: float = LEVEL
    warnings: tuple = ()

    @property
    def n_seasons(self):
        """How many seasons there are."""
        return len(self.table)

    @property
    def pooled(self):
        """Whether there were seasons enough."""
        return self.n_seasons >= FEWEST


def combine(estimates, standard_errors, *, names=None, null=None, level=LEVEL, unit=""):
    """Pool one quantity of several seasons.

    Parameters
    ----------
    estimates, standard_errors : array_like, shape (seasons,)
        Of one unit, on a scale on which they are about normal (log odds, °C).
    names : sequence of str, optional
        Of the seasons; 1, 2, 3 … unless given.
    null : float, optional
        What the estimate would be if there were nothing, such as 0 for log odds.
    level : float
        Of all intervals.
    unit : str
        For the sentence.

    Returns
    -------
    Pooled

    Raises
    ------
    FieldkitError
        For estimates that are no finite numbers, or standard errors that are not above 0.

    Notes
    -----
    Variance between seasons: Paule and Mandel (1982), by statsmodels; its interval by Q-profile (Viechtbauer 2007,
    Stat. Med. 26:37). Mean: Hartung and Knapp (2001, Stat. Med. 20:3875), Student's t for one season less than there
    are; floor below five seasons: Knapp and Hartung (2003, Stat. Med. 22:2693), Röver, Knapp and Friede (2015, BMC Med.
    Res. Methodol. 15:99). New season: the variance between seasons is drawn from its confidence distribution (after
    Nagashima, Noma and Furukawa 2019, Stat. Methods Med. Res. 28:1689; here that of the Q-profile, on fixed nodes).
    I²: Higgins and Thompson (2002, Stat. Med. 21:1539). A season decides when without it the answer is no longer, or
    only then, clear, or one of the means, with it and without, lies outside the interval of the other (our choice).

    Examples
    --------
    >>> found = combine([0.6, 0.4, 0.5, 0.7], [0.1, 0.1, 0.2, 0.2], null=0.0)
    >>> print(found.sentence[:76])
    In 4 seasons the mean is 0.52 (95 % interval 0.32 to 0.72), which is clear.
    """
    import pandas as pd

    y, se = floats(estimates).ravel(), floats(standard_errors).ravel()
    if len(y) != len(se) or len(y) == 0:
        raise FieldkitError(f"One standard error is needed for each estimate; there are {len(y)} and {len(se)}.")
    if not (np.isfinite(y).all() and np.isfinite(se).all() and (se > 0).all()):
        raise FieldkitError("Estimates must be numbers and standard errors numbers above 0: leave out what has none.")
    names = [str(i + 1) for i in range(len(y))] if names is None else [str(name) for name in names]
    z = _normal(level)
    table = pd.DataFrame(
        {"estimate": y, "standard_error": se, "low": y - z * se, "high": y + z * se},
        index=pd.Index(names, name="season"),
    )
    if len(y) < FEWEST:
        return Pooled(table=table, null=null, level=level, sentence=_listed(len(y)))
    whole = _mean(y, se**2, null, level)
    table["weight"] = whole.pop("weight")
    without = pd.DataFrame([_mean(np.delete(y, i), np.delete(se, i) ** 2, null, level) for i in range(len(y))])
    for name in ("estimate", "low", "high", "clear"):
        table[f"{name}_without"] = without[name].to_numpy()
    outside = (table["estimate_without"] < whole["low"]) | (table["estimate_without"] > whole["high"])
    outside |= (whole["estimate"] < table["low_without"]) | (whole["estimate"] > table["high_without"])
    turned = (table["clear_without"] != whole["clear"]) & (len(y) > FEWEST)
    table["decides"] = (turned | outside).to_numpy(dtype=bool)
    new_low, new_high = new_season(y, se**2, level)
    found = whole | _spread(y, se**2, level) | {"new_low": new_low, "new_high": new_high, "null": null, "level": level}
    return Pooled(table=table, sentence=_said(found, table, unit), **found)


def _normal(level):
    from scipy import special

    return float(special.ndtri(0.5 + level / 2))


def _mean(y, variance, null, level):
    """Mean by Hartung and Knapp; two seasons, as left when one of three is taken away, have a mean only."""
    from scipy import special
    from statsmodels.stats.meta_analysis import combine_effects

    # As many steps as wide spreads of standard errors need; the library stops at 50.
    unit = np.sqrt(variance.mean())
    with np.errstate(divide="ignore"):  # the share of the spread that it works out besides, when there is no spread
        found = combine_effects(y / unit, variance / unit**2, method_re="iterated", maxiter=1000)
    estimate, weight = float(found.mean_effect_re) * unit, np.asarray(found.weights_rel_re)
    own, model = float(np.sqrt(found.var_hksj_re)) * unit, float(found.sd_eff_w_re) * unit
    floored = max(own, model)
    error = floored if len(y) < FEW else own
    t = special.stdtrit(len(y) - 1, 0.5 + level / 2) if len(y) >= FEWEST else np.nan
    p = np.nan
    if null is not None and len(y) >= FEWEST:
        p = float(2 * special.stdtr(len(y) - 1, -abs(estimate - null) / floored))
    return {
        "estimate": estimate,
        "standard_error": error,
        "low": estimate - t * error,
        "high": estimate + t * error,
        "tau2": float(found.tau2) * unit**2,
        "p": p,
        "clear": bool(p <= CLEAR_P),
        "weight": weight,
    }


def between(y, variance, statistic):
    """Variance between seasons at which the weighted squares about the mean come to given values (0 where they cannot).

    Parameters
    ----------
    y, variance : ndarray, shape (seasons,)
        Estimates and their variances.
    statistic : ndarray, shape (n,)
        Values of Q, above 0.

    Returns
    -------
    ndarray, shape (n,)

    Notes
    -----
    Newton's steps from below: Q falls with the variance and is convex (DerSimonian and Kacker 2007, Contemp. Clin.
    Trials 28:105, appendix).
    """
    statistic = np.asarray(statistic, dtype=float)
    t = np.zeros(len(statistic))
    for _ in range(1000):
        weight = 1 / (variance + t[:, None])
        mean = (weight * y).sum(axis=1) / weight.sum(axis=1)
        squares = weight * (y - mean[:, None]) ** 2
        over = squares.sum(axis=1) - statistic
        if not (open_ := over > 1e-9 * statistic).any():
            break
        t = np.where(open_, t + over / np.where(open_, (weight * squares).sum(axis=1), 1.0), t)
    return t


def _spread(y, variance, level):
    from scipy import special

    weight = 1 / variance
    df = len(y) - 1
    q = float((weight * (y - (weight * y).sum() / weight.sum()) ** 2).sum())
    low, high = between(y, variance, special.chdtri(df, [0.5 - level / 2, 0.5 + level / 2]))
    return {
        "tau2_low": float(low),
        "tau2_high": float(high),
        "q": q,
        "q_p": float(special.chdtrc(df, q)),
        "i2": max(0.0, 1 - df / q) if q > 0 else 0.0,
    }


def new_season(y, variance, level=LEVEL):
    """Where a new season's true value should lie.

    Parameters
    ----------
    y, variance : ndarray, shape (seasons,)
        Estimates and their variances.
    level : float
        Of the interval.

    Returns
    -------
    low, high : float

    Examples
    --------
    >>> import numpy as np
    >>> low, high = new_season(np.array([1.0, 2.0, 3.0]), np.full(3, 0.01))
    >>> bool(low < 0 and high > 4)
    True
    """
    from scipy import optimize, special

    chances = (np.arange(_NODES) + 0.5) / _NODES
    tau2 = between(y, variance, special.chdtri(len(y) - 1, 1 - chances))
    weight = 1 / (variance + tau2[:, None])
    mean = (weight * y).sum(axis=1) / weight.sum(axis=1)
    sd = np.sqrt(tau2 + 1 / weight.sum(axis=1))

    def end(chance):
        reach = 40 * sd
        return optimize.brentq(
            lambda x: special.ndtr((x - mean) / sd).mean() - chance, (mean - reach).min(), (mean + reach).max()
        )

    return float(end(0.5 - level / 2)), float(end(0.5 + level / 2))


def _listed(n):
    many = "One season is" if n == 1 else "Two seasons are"
    return f"{many} listed, not pooled: the spread between seasons needs three."


def _said(found, table, unit):
    digits = max(0, 1 - int(np.floor(np.log10(max(found["high"] - found["low"], 1e-12)))))
    e, low, high, new_low, new_high = (
        f"{found[k]:.{digits}f}" for k in ("estimate", "low", "high", "new_low", "new_high")
    )
    unit = f" {unit}" if unit else ""
    clear = f", which is {'' if found['clear'] else 'not '}clear" if found["null"] is not None else ""
    sure = f"{100 * found['level']:g} % interval {low} to {high}"
    differ = (
        f"The seasons differ by more than chance explains (p {found['q_p']:.2g})."
        if found["q_p"] < 1 - found["level"]
        else f"The seasons differ by no more than chance explains (p {found['q_p']:.2g})."
    )
    deciding = list(table.index[table["decides"]])
    one = f" The answer hangs on {' or '.join(deciding[:3])}: without it, it is another." if deciding else ""
    return (
        f"In {len(table)} seasons the mean is {e}{unit} ({sure}){clear}. A new season should lie between {new_low} and "
        f"{new_high}{unit}. {differ}{one}"
    )
