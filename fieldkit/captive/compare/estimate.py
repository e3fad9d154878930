"""Means of records that go together: by animal, by day, and from one day to the next."""

from dataclasses import dataclass

import numpy as np

from fieldkit.core import FieldkitError

# With fewer animals no spread among them can be seen: they speak for themselves, and days are what repeats.
FEWEST_ANIMALS = 3
# Fewer days than this carry no interval (our choice: with four, Student's t has three degrees of freedom).
FEWEST_DAYS = 4
# Days in a row from which the likeness of one day to the next is told (our choice), and the most that is allowed for.
FEWEST_PAIRS = 10
MOST_LIKENESS = 0.8
# Code of records that belong to no animal: what an enclosure offers.
NOBODY = -1


@dataclass(frozen=True, kw_only=True, eq=False)
class Estimate:
    """A number made of records, with what each record adds to its error.

    Attributes
    ----------
    value : float
    influence : ndarray, shape (n,)
        Change of the number per record (they sum to about zero), as in a first-order expansion.
    animal, day : ndarray of int, shape (n,)
        Codes of the animal, and the day as a number that counts days.

    Notes
    -----
    The error of a number that is made of others (a product, a ratio) follows from the sum of their influences: what
    one animal or one day does to both of them is then counted as it should be. Source: Efron and Tibshirani (1993)
    An Introduction to the Bootstrap, section 22.6 (infinitesimal jackknife).
    """

    value: float
    influence: np.ndarray
    animal: np.ndarray
    day: np.ndarray

    def _mixed(self, other, value, own, its):
        return Estimate(
            value=float(value),
            influence=np.concatenate([own * self.influence, its * other.influence]),
            animal=np.concatenate([self.animal, other.animal]),
            day=np.concatenate([self.day, other.day]),
        )

    def scaled(self, factor):
        """This number times a constant."""
        return Estimate(value=self.value * factor, influence=self.influence * factor, animal=self.animal, day=self.day)

    def minus(self, other):
        """This number less another of the same group."""
        return self._mixed(other, self.value - other.value, 1.0, -1.0)

    def times(self, other):
        """This number times another of the same group."""
        return self._mixed(other, self.value * other.value, other.value, self.value)

    def over(self, other):
        """This number divided by another of the same group; NaN where that is 0."""
        if other.value == 0:
            return self._mixed(other, np.nan, np.nan, np.nan)
        ratio = self.value / other.value
        return self._mixed(other, ratio, 1 / other.value, -ratio / other.value)

    @property
    def n_animals(self):
        """Animals behind the number."""
        return len(np.unique(self.animal[self.animal != NOBODY]))

    @property
    def n_days(self):
        """Days behind the number."""
        return len(np.unique(self.day))

    def variance(self):
        """Variance and degrees of freedom.

        Returns
        -------
        variance, degrees_of_freedom : float
            NaN where fewer than four days were watched.

        Notes
        -----
        From three animals on, animals and days are both taken to repeat, and what they count twice is taken off
        (Cameron, Gelbach and Miller 2011, J. Bus. Econ. Stat. 29:238); with fewer, days alone. Days that follow one
        another are alike: the variance over days is multiplied by (1 + r) / (1 - r) for a first-order autocorrelation
        r (Bayley and Hammersley 1946, J. R. Stat. Soc. Suppl. 8:184), r being freed of its bias in short series
        (Kendall 1954, Biometrika 41:403). Degrees of freedom: Satterthwaite (1946) Biometrics Bull. 2:110.
        """
        if not np.isfinite(self.value) or self.n_days < FEWEST_DAYS:
            return np.nan, np.nan
        days, sums = _sums(self.day, self.influence)
        factor = _likeness_factor(days, sums)
        count = len(days)
        by_day = count / (count - 1) * (sums**2).sum() * factor
        parts = [(by_day, max(count / factor, 2.0) - 1)]
        total = by_day
        if self.n_animals >= FEWEST_ANIMALS:
            named = self.animal != NOBODY
            _, each = _sums(self.animal[named], self.influence[named])
            by_animal = len(each) / (len(each) - 1) * (each**2).sum()
            twice = (_both_sums(self.animal[named], self.day[named], self.influence[named]) ** 2).sum()
            parts.append((by_animal, len(each) - 1))
            total = max(by_day + by_animal - twice, by_day, by_animal)
        spread = sum(v**2 / df for v, df in parts)
        return float(total), float(total**2 / spread) if spread > 0 else np.inf


def _both_sums(animal, day, values):
    names, of_animal = np.unique(animal, return_inverse=True)
    _, cell = np.unique(of_animal + len(names) * (day - day.min()), return_inverse=True)
    return np.bincount(cell, values)


def _sums(codes, values):
    names, place = np.unique(codes, return_inverse=True)
    return names, np.bincount(place, values, minlength=len(names))


def likeness(days, sums):
    """First-order autocorrelation of numbers by day, from days in a row; 0 where too few are in a row.

    Parameters
    ----------
    days : ndarray of int, shape (n,)
        Days as numbers that count days, in order.
    sums : ndarray, shape (n,)
        One number a day.

    Returns
    -------
    float
        Freed of its bias in short series, between 0 and 0.8.

    Examples
    --------
    >>> import numpy as np
    >>> likeness(np.arange(40), np.tile([1.0, -1.0], 20))
    0.0
    """
    in_row = np.flatnonzero(np.diff(days) == 1)
    if len(in_row) < FEWEST_PAIRS:
        return 0.0
    centred = sums - sums.mean()
    scale = (centred**2).mean()
    if scale == 0:
        return 0.0
    r = (centred[in_row] * centred[in_row + 1]).mean() / scale
    n = len(days)
    r = (r + 1 / n) / (1 - 3 / n)
    # A likeness that chance alone makes is left: taking each for real would make intervals too long.
    return float(np.clip(r, 0.0, MOST_LIKENESS)) if r > 1 / np.sqrt(n) else 0.0


def _likeness_factor(days, sums):
    r = likeness(days, sums)
    return (1 + r) / (1 - r)


def mean(values, animal, day, *, weights=None, groups=None):
    """Weighted mean with the influence of each record.

    Parameters
    ----------
    values : array_like, shape (n,)
        Numbers.
    animal, day : array_like of int, shape (n,)
        Code of the animal of each value.
    weights : array_like, shape (n,), optional
        What each value counts; all alike unless given.
    groups : array_like of int, shape (n,), optional
        Hours of the day, say: the mean of each group is found first, and all groups count alike.

    Returns
    -------
    Estimate

    Raises
    ------
    FieldkitError
        When there is no value.

    Examples
    --------
    >>> mean([1.0, 3.0, 5.0], [0, 0, 1], [1, 2, 2]).value
    3.0
    """
    values, animal, day = np.asarray(values, dtype=float), np.asarray(animal), np.asarray(day)
    if not len(values):
        raise FieldkitError("There is no value to take a mean of.")
    weights = np.ones(len(values)) if weights is None else np.asarray(weights, dtype=float)
    codes = np.zeros(len(values), dtype=int) if groups is None else np.unique(groups, return_inverse=True)[1]
    total = np.bincount(codes, weights)
    means = np.bincount(codes, weights * values) / total
    influence = weights * (values - means[codes]) / total[codes] / len(total)
    return Estimate(value=float(means.mean()), influence=influence, animal=animal, day=day)


@dataclass(frozen=True, kw_only=True)
class Difference:
    """Captive less field: the difference, its standard error and limits, and what it says."""

    difference: float
    standard_error: float
    degrees_of_freedom: float
    low: float
    high: float
    p_differs: float
    p_alike: float


NOTHING = Difference(
    difference=np.nan,
    standard_error=np.nan,
    degrees_of_freedom=np.nan,
    low=np.nan,
    high=np.nan,
    p_differs=np.nan,
    p_alike=np.nan,
)


def difference(field, captive, margin, *, level=0.95):
    """Set two estimates of different groups beside each other.

    Parameters
    ----------
    field, captive : Estimate
        The field's side.
    margin : float
        Half-width of "alike", in the unit of the estimates.
    level : float
        Confidence level of the limits.

    Returns
    -------
    Difference
        ``p_differs``: two-sided, of no difference. ``p_alike``: the larger of two one-sided tests that the difference
        lies beyond the margin (Schuirmann 1987, J. Pharmacokinet. Biopharm. 15:657).

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> one, two = (mean(rng.normal(m, 1, 60), np.arange(60) % 6, np.arange(60)) for m in (0, 3))
    >>> difference(one, two, 1.0).p_differs < 0.001
    True
    """
    from scipy import special

    gap = captive.value - field.value
    parts = [one.variance() for one in (field, captive)]
    variance = sum(v for v, _ in parts)
    if not np.isfinite(gap) or not np.isfinite(variance):
        return Difference(**{**NOTHING.__dict__, "difference": gap})
    if variance <= 0:
        # Every record alike on both sides: nothing says how far they might have been off.
        return Difference(**{**NOTHING.__dict__, "difference": gap})
    df = variance**2 / sum(v**2 / d for v, d in parts if v > 0)
    error = np.sqrt(variance)
    reach = special.stdtrit(df, (1 + level) / 2) * error
    outside = special.stdtr(df, -np.array([margin - gap, margin + gap]) / error)
    return Difference(
        difference=float(gap),
        standard_error=float(error),
        degrees_of_freedom=float(df),
        low=float(gap - reach),
        high=float(gap + reach),
        p_differs=float(2 * special.stdtr(df, -abs(gap) / error)),
        p_alike=float(outside.max()),
    )


def holm(p):
    """P-values held over all questions together (Holm 1979, Scand. J. Stat. 6:65); NaN stays NaN.

    Examples
    --------
    >>> [round(float(q), 6) for q in holm([0.01, 0.04, float("nan")])]
    [0.02, 0.04, nan]
    """
    from statsmodels.stats.multitest import multipletests

    p = np.asarray(p, dtype=float)
    out, known = np.full(p.shape, np.nan), np.isfinite(p)
    if known.any():
        out[known] = multipletests(p[known], method="holm")[1]
    return out
