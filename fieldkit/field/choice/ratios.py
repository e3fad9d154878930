"""Used and available counts of habitat classes: selection ratios, the table that every practitioner has."""

from dataclasses import dataclass

import numpy as np

from fieldkit.core import Result
from fieldkit.field.stats.clogit import ChoiceError

# Expected counts below this make the chi-squared test doubtful (Cochran 1954, Biometrics 10:417: none below 1, and few
# below 5).
FEWEST_EXPECTED = 5.0


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class HabitatRatios(Result):
    """Selection of habitat classes.

    Attributes
    ----------
    table : DataFrame
        One row per class: used, available, used_share with Bonferroni limits, available_share, ratio, standard_error,
        low, high (Bonferroni limits of the ratio), and ``found``: "more", "less" or "cannot tell".
    chi_squared, degrees_of_freedom, p : float
        Test that classes are used as they are available.
    """

    table: object
    sentence: str
    chi_squared: float
    degrees_of_freedom: int
    p: float
    notes: tuple
    settings: dict


def habitat_ratios(used, available, *, level=0.95):
    """Compare how often habitat classes were used with how much of them there was.

    Parameters
    ----------
    used : dict or Series of int
        Sightings in each class; every sighting an independent one (one animal on one day, say).
    available : dict or Series of float
        Sampled points in each class (whole numbers that sum to more than 1), or known shares that sum to 1.
    level : float
        Of all limits together (Bonferroni).

    Returns
    -------
    HabitatRatios

    Raises
    ------
    ChoiceError
        With fewer than two classes, a class that was used though there was none of it, or numbers that are no counts.

    Notes
    -----
    Ratio of shares w = o / p, with standard error by Manly et al. (2002) Resource Selection by Animals, section 4.8:
    sqrt(o (1 - o) / n) / p for known shares, and w sqrt(1/u - 1/n + 1/a - 1/m) for sampled ones (u of n used, a of m
    available; the delta method). Limits of the used shares: Neu, Byers and Peek (1974) J. Wildl. Manage. 38:541. The
    test: Pearson's chi-squared against known shares, or the likelihood ratio of both samples.

    Examples
    --------
    >>> got = habitat_ratios({"rock": 30, "grass": 10, "wood": 10}, {"rock": 0.2, "grass": 0.5, "wood": 0.3})
    >>> got.table["ratio"].round(2).tolist()
    [3.0, 0.4, 0.67]
    >>> got.table["found"].tolist()
    ['more', 'less', 'cannot tell']
    """
    import pandas as pd
    from scipy import special, stats

    used, available = (pd.Series(v, dtype=float) for v in (used, available))
    known = _check(used, available)
    available = available.reindex(used.index)
    n, m, k = used.sum(), available.sum(), len(used)
    shares, offered = used / n, available / m
    z = float(special.ndtri(1 - (1 - level) / (2 * k)))
    ratio = shares / offered
    own = np.sqrt(shares * (1 - shares) / n)
    with np.errstate(divide="ignore", invalid="ignore"):
        error = own / offered if known else ratio * np.sqrt(1 / used - 1 / n + 1 / available - 1 / m)
    # A class that was never used has no spread of its own: the upper limit is that of nothing in n (Bonferroni).
    never = used == 0
    error = error.where(~never, 0.0)
    top = 1 - ((1 - level) / k) ** (1 / n)
    table = pd.DataFrame(
        {
            "used": used.astype(int),
            "available": available,
            "used_share": shares,
            "share_low": (shares - z * own).clip(lower=0.0),
            "share_high": (shares + z * own).clip(upper=1.0).where(~never, top),
            "available_share": offered,
            "ratio": ratio,
            "standard_error": error,
            "low": (ratio - z * error).clip(lower=0.0),
            "high": (ratio + z * error).where(~never, top / offered),
        }
    ).rename_axis("habitat")
    table["found"] = np.select([table["low"] > 1, table["high"] < 1], ["more", "less"], "cannot tell")
    expected = n * offered
    if known:
        chi = float(((used - expected) ** 2 / expected).sum())
    else:
        chi = float(stats.chi2_contingency(np.array([used, available]), correction=False, lambda_="log-likelihood")[0])
    p = float(special.chdtrc(k - 1, chi))
    notes = []
    if (expected < FEWEST_EXPECTED).any():
        rare = ", ".join(map(str, table.index[expected < FEWEST_EXPECTED]))
        notes.append(
            f"Fewer than {FEWEST_EXPECTED:g} uses were to be expected in {rare}: "
            "put rare classes together before you trust the test."
        )
    return HabitatRatios(
        table=table,
        sentence=_say(table, n, p, level),
        chi_squared=chi,
        degrees_of_freedom=k - 1,
        p=p,
        notes=tuple(notes),
        settings={"level": level, "available": "known shares" if known else "sampled points"},
    )


def _check(used, available):
    """Whether availability is known; refuses what is no table of counts."""
    if len(used) < 2 or set(used.index) != set(available.index):
        raise ChoiceError(
            "Used and available need the same habitat classes, two or more: "
            f"{', '.join(map(str, used.index)) or 'none'} against {', '.join(map(str, available.index)) or 'none'}."
        )
    for name, values in (("used", used), ("available", available)):
        if not np.isfinite(values).all() or (values < 0).any() or values.sum() <= 0:
            raise ChoiceError(f"The numbers of `{name}` must be 0 or more, and not all 0.")
    if (used % 1 != 0).any():
        raise ChoiceError("`used` must hold counts of sightings, not shares: without the counts nothing can be told.")
    known = bool(abs(available.sum() - 1) < 0.01)
    if not known and (available % 1 != 0).any():
        raise ChoiceError(
            f"`available` must hold counts of sampled points, or shares that sum to 1; these sum to "
            f"{available.sum():.3g}."
        )
    empty = available.index[(available == 0) & (used.reindex(available.index) > 0)]
    if len(empty) or (available == 0).any():
        raise ChoiceError(
            f"There was none of {', '.join(map(str, available.index[available == 0]))} among what was available: leave "
            "the class out, or sample more points."
        )
    return known


def _say(table, n, p, level):
    told = [
        f"{name} was used {'more' if row['found'] == 'more' else 'less'} than available (ratio {row['ratio']:.2g}, "
        f"{row['low']:.2g} to {row['high']:.2g})"
        for name, row in table[table["found"] != "cannot tell"].iterrows()
    ]
    if not told:
        return (
            f"No habitat class was clearly used more or less than available in {n:.0f} sightings (all classes "
            f"together, p {p:.2g}); ratios {table['low'].min():.2g} to {table['high'].max():.2g} remain possible."
        )
    return (
        f"In {n:.0f} sightings {'; '.join(told)} ({100 * level:g} % limits held over {len(table)} classes; all classes "
        f"together, p {p:.2g}). Counts of habitat classes say nothing on what it was about a class."
    )
