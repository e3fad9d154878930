"""Does a quantity change with one thing that seasons differ in, such as elevation?"""

from dataclasses import dataclass

import numpy as np

from fieldkit.core import FieldkitError, Result, floats
from fieldkit.field.pool.combined import FEWEST_FUNNEL, LEVEL


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Regression(Result):
    """A quantity of seasons against one covariate; `table` has rows intercept and slope."""

    table: object
    sentence: str
    tau2: float
    covariate: str
    level: float = LEVEL


def regression(estimates, standard_errors, covariate, *, name="the covariate", level=LEVEL):
    """Random-effects regression of a quantity of at least ten seasons on one covariate.

    Parameters
    ----------
    estimates, standard_errors, covariate : array_like, shape (seasons,)
        Finite numbers.
    name : str
        Of the covariate, for the sentence.
    level : float
        Of the intervals.

    Returns
    -------
    Regression

    Raises
    ------
    FieldkitError
        With fewer than ten seasons, or a covariate that does not differ.

    Notes
    -----
    Variance by Paule and Mandel's equation with two parameters, standard errors by Knapp and Hartung (2003, Stat. Med.
    22:2693) with their floor, Student's t with two degrees of freedom less than seasons. Ten seasons a covariate: rule
    of thumb of Higgins et al., Cochrane Handbook, section 10.11.5.1.

    Examples
    --------
    >>> x = list(range(10))
    >>> found = regression([0.1 * a for a in x], [0.2] * 10, x, name="elevation")
    >>> round(float(found.table.loc["slope", "estimate"]), 3)
    0.1
    """
    import pandas as pd
    from scipy import optimize, special

    y, se, x = (floats(values).ravel() for values in (estimates, standard_errors, covariate))
    n = len(y)
    if n < FEWEST_FUNNEL:
        raise FieldkitError(f"A regression over seasons needs at least {FEWEST_FUNNEL} of them; there are {n}.")
    if not (np.isfinite([y, se, x]).all() and (se > 0).all()):
        raise FieldkitError("A regression needs numbers, and standard errors above 0: leave out seasons without.")
    if np.ptp(x) == 0:
        raise FieldkitError(f"{name} is the same in all seasons: nothing can be told of it.")
    # Shifted and scaled, so that elevations in metres lose no digits.
    middle, scale = x.mean(), x.std()
    design = np.column_stack([np.ones(n), (x - middle) / scale])

    def fitted(tau2):
        weight = 1 / (se**2 + tau2)
        covariance = np.linalg.inv(design.T @ (weight[:, None] * design))
        beta = covariance @ (design.T @ (weight * y))
        return beta, covariance, float((weight * (y - design @ beta) ** 2).sum())

    df, tau2 = n - 2, 0.0
    if fitted(0.0)[2] > df:
        tau2 = optimize.brentq(lambda t: fitted(t)[2] - df, 0.0, 1e3 * (np.ptp(y) ** 2 + se.max() ** 2))
    beta, covariance, q = fitted(tau2)
    back = np.array([[1.0, -middle / scale], [0.0, 1 / scale]])
    beta, covariance = back @ beta, back @ covariance @ back.T * max(1.0, q / df)
    error, t = np.sqrt(np.diag(covariance)), special.stdtrit(df, 0.5 + level / 2)
    p = 2 * special.stdtr(df, -np.abs(beta / error))
    table = pd.DataFrame(
        {"estimate": beta, "standard_error": error, "low": beta - t * error, "high": beta + t * error, "p": p},
        index=pd.Index(["intercept", "slope"], name="parameter"),
    )
    slope = table.loc["slope"]
    found = "changes" if slope["p"] < 1 - level else "does not clearly change"
    sure = f"{100 * level:g} % interval {slope['low']:.2g} to {slope['high']:.2g}"
    sentence = (
        f"Over {n} seasons it {found} with {name}: {slope['estimate']:.2g} for one unit more ({sure}). Seasons that "
        "differ in this may differ in other things too."
    )
    return Regression(table=table, sentence=sentence, tau2=float(tau2), covariate=name, level=level)
