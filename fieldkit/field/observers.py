"""Do two observers see the same? Agreement on behaviour and on readings, where two watched one animal at one time."""

import itertools
from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result, method
from fieldkit.field.stats.intervals import critical_value

__all__ = ["Agreement", "LimitsOfAgreement", "kappa", "limits_of_agreement", "of_scans"]

# Scans of two observers this near in time are of the same moment (our choice).
SAME_TIME = pd.Timedelta("1min")
# Fewer pairs than this carry no kappa (our choice), and fewer uses of a word no test of it.
FEWEST_PAIRS = 10
FEWEST_USES = 5
READINGS = {"body_temperature_c": "°C", "shade_air_c": "°C", "surface_c": "°C"}


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class LimitsOfAgreement(Result):
    """Mean difference of two readings of one thing, and the limits that hold most differences."""

    table: pd.DataFrame
    sentence: str
    mean_difference: float
    standard_deviation: float
    low: float
    high: float
    n: int


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Agreement(Result):
    """Agreement of observers.

    Attributes
    ----------
    table : DataFrame
        One row a pair of observers and behaviour, and "all": ``pairs`` (scans of both), ``agreement`` (share of the
        same word; for one behaviour, of both or neither), ``kappa`` with limits ``low, high``.
    readings : DataFrame
        One row a pair of observers and column: ``pairs, mean_difference`` and limits of agreement.
    words : DataFrame
        Words that two observers use differently: ``first, second`` (observers), ``word, other_word, times, against, p``
        (held over all words).
    measured : bool
        Whether two observers ever watched one animal at one time.
    """

    table: pd.DataFrame
    sentence: str
    readings: pd.DataFrame
    words: pd.DataFrame
    measured: bool
    n_pairs: int
    settings: dict


def kappa(table, *, level=0.95):
    """Cohen's kappa of a square table of counts, with its interval.

    Parameters
    ----------
    table : array_like, shape (k, k)
        Counts: rows the first observer's words, columns the second's, in the same order.
    level : float
        Confidence level.

    Returns
    -------
    pandas.Series
        ``agreement, kappa, standard_error, low, high, n``; kappa is NaN where both used one word only.

    Raises
    ------
    FieldkitError
        When the table is not square or empty.

    Notes
    -----
    Cohen (1960) Educ. Psychol. Meas. 20:37-46; standard error by Fleiss, Cohen and Everitt (1969) Psychol. Bull.
    72:323-327, as computed by statsmodels.

    Examples
    --------
    >>> kappa([[20, 5], [10, 15]])[["agreement", "kappa"]].round(3).tolist()
    [0.7, 0.4]
    """
    from statsmodels.stats.inter_rater import cohens_kappa

    counts = np.asarray(table, dtype=float)
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1] or counts.sum() <= 0 or (counts < 0).any():
        raise FieldkitError(f"Kappa needs a square table of counts with one row and column a word, not {counts.shape}.")
    n = counts.sum()
    agreement = np.trace(counts) / n
    chance = (counts.sum(axis=0) * counts.sum(axis=1)).sum() / n**2
    empty = {"agreement": agreement, "kappa": np.nan, "standard_error": np.nan, "low": np.nan, "high": np.nan, "n": n}
    if chance >= 1:
        return pd.Series(empty)
    found = cohens_kappa(counts)
    reach = critical_value(level) * float(found.std_kappa)
    return pd.Series(
        empty
        | {
            "kappa": float(found.kappa),
            "standard_error": float(found.std_kappa),
            "low": float(found.kappa) - reach,
            "high": float(found.kappa) + reach,
        }
    )


def limits_of_agreement(first, second, *, unit="", level=0.95):
    """Mean difference and limits of agreement of paired readings.

    Parameters
    ----------
    first, second : array_like, shape (n,)
        Readings of the same things; pairs with a gap are left out.
    unit : str
        For the sentence.
    level : float
        Confidence level of the interval of each number.

    Returns
    -------
    LimitsOfAgreement
        ``.table`` has the mean difference (first less second) and the lower and upper limit, each with its interval.

    Raises
    ------
    FieldkitError
        With fewer than three pairs.

    Notes
    -----
    Limits: mean difference ± 1.96 standard deviations; their standard error is about sqrt(3 s²/n) (Bland and Altman
    1986, Lancet i:307-310).

    Examples
    --------
    >>> limits_of_agreement([10.0, 12.0, 11.0, 13.0], [10.5, 11.5, 11.5, 13.5]).mean_difference
    -0.25
    """
    from scipy import special

    one, two = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    if one.shape != two.shape or one.ndim != 1:
        raise FieldkitError(f"The readings do not come in pairs: {one.shape} and {two.shape}.")
    d = (one - two)[np.isfinite(one - two)]
    n = len(d)
    if n < 3:
        raise FieldkitError(f"Limits of agreement need at least three pairs of readings; there are {n}.")
    middle, sd = float(d.mean()), float(d.std(ddof=1))
    reach = special.stdtrit(n - 1, (1 + level) / 2)
    ends = np.array([middle, middle - 1.96 * sd, middle + 1.96 * sd])
    errors = reach * sd * np.sqrt([1 / n, 3 / n, 3 / n])
    table = pd.DataFrame(
        {"estimate": ends, "low": ends - errors, "high": ends + errors},
        index=["mean difference", "lower limit", "upper limit"],
    )
    told = f" {unit}" if unit else ""
    return LimitsOfAgreement(
        table=table,
        sentence=(
            f"First less second: {middle:.2g}{told} on average; 95 % of differences between {ends[1]:.2g} and "
            f"{ends[2]:.2g}{told} ({n} pairs)."
        ),
        mean_difference=middle,
        standard_deviation=sd,
        low=float(ends[1]),
        high=float(ends[2]),
        n=n,
    )


@method
def of_scans(scans, *, level=0.95):
    """How well observers agree, where two of them scanned one animal at one time.

    Parameters
    ----------
    scans : DataFrame or None
        ``time, animal_id, observer`` and ``behaviour``; of a season or of an enclosure. Readings that both took
        (body temperature, shade air) are compared too.
    level : float
        Confidence level.

    Returns
    -------
    Agreement

    Notes
    -----
    By behaviour, kappa is that of the word against all others. A word is used differently when two observers, where
    they disagree, use it unequally often in place of another: exact test of McNemar (1947) Psychometrika 12:153, held
    over all pairs of words (Holm 1979).

    Examples
    --------
    >>> import fieldkit
    >>> of_scans(fieldkit.demo_season().scans).measured
    False
    """
    pairs = _pairs(scans)
    settings = {"level": level}
    if not len(pairs):
        return Agreement(
            table=pd.DataFrame(columns=["first", "second", "behaviour", *_STATISTICS]),
            sentence=(
                "Agreement of observers was not measured: no two of them scanned the same animal at the same time. "
                "Let two people watch together on some days, without speaking, and write a row each."
            ),
            readings=pd.DataFrame(columns=["first", "second", "column", *_LIMITS]),
            words=pd.DataFrame(columns=_WORDS),
            measured=False,
            n_pairs=0,
            settings=settings,
        )
    tables, readings, words = [], [], []
    for (one, two), part in pairs.groupby(["observer_1", "observer_2"]):
        tables += _by_behaviour(one, two, part, level)
        readings += _by_reading(one, two, part)
        words += _by_word(one, two, part)
    words = _clear(words)
    table = pd.DataFrame(tables, columns=["first", "second", "behaviour", *_STATISTICS])
    return Agreement(
        table=table,
        sentence=_sentence(table, words, pairs, level),
        readings=pd.DataFrame(readings, columns=["first", "second", "column", *_LIMITS]),
        words=words,
        measured=True,
        n_pairs=len(pairs),
        settings=settings,
    )


_STATISTICS = ["pairs", "agreement", "kappa", "low", "high"]
_LIMITS = ["pairs", "mean_difference", "lower_limit", "upper_limit"]
_WORDS = ["first", "second", "word", "other_word", "times", "against", "p"]


def _pairs(scans):
    """Two scans of one animal at one time by two observers, side by side."""
    needed = {"time", "animal_id", "observer"}
    if scans is None or not needed <= set(scans.columns):
        return pd.DataFrame()
    known = scans.dropna(subset=list(needed))
    columns = [c for c in ("behaviour", *READINGS) if c in known]
    known = known[["time", "animal_id", "observer", *columns]].sort_values(["animal_id", "time"], kind="stable")
    known = known.drop_duplicates(["time", "animal_id", "observer"])
    # Only scans with a neighbour of another observer within the minute need to be looked at.
    near = (known["animal_id"] == known["animal_id"].shift()) & (known["time"].diff() <= SAME_TIME)
    known = known[near | near.shift(-1, fill_value=False)]
    both = known.merge(known, on="animal_id", suffixes=("_1", "_2")) if len(known) else known
    if not len(both):
        return pd.DataFrame()
    same = (both["time_1"] - both["time_2"]).abs() <= SAME_TIME
    return both[same & (both["observer_1"] < both["observer_2"])]


def _by_behaviour(one, two, part, level):
    if "behaviour_1" not in part:
        return []
    part = part.dropna(subset=["behaviour_1", "behaviour_2"])
    if len(part) < FEWEST_PAIRS:
        return [(one, two, "all", len(part), np.nan, np.nan, np.nan, np.nan)]
    words = sorted(set(part["behaviour_1"]) | set(part["behaviour_2"]))
    counts = pd.crosstab(part["behaviour_1"], part["behaviour_2"]).reindex(index=words, columns=words, fill_value=0)
    counts = counts.to_numpy()
    rows = [("all", counts)] if len(words) > 1 else []
    for k, word in enumerate(words if len(words) > 1 else []):
        yes, first, second = counts[k, k], counts[k].sum(), counts[:, k].sum()
        rows.append((word, [[yes, first - yes], [second - yes, counts.sum() - first - second + yes]]))
    out = []
    for word, square in rows:
        found = kappa(square, level=level)
        out.append((one, two, word, len(part), *found[["agreement", "kappa", "low", "high"]]))
    return out or [(one, two, "all", len(part), 1.0, np.nan, np.nan, np.nan)]


def _by_reading(one, two, part):
    rows = []
    for column in READINGS:
        if f"{column}_1" not in part:
            continue
        both = part.dropna(subset=[f"{column}_1", f"{column}_2"])
        if len(both) >= 3:
            found = limits_of_agreement(both[f"{column}_1"], both[f"{column}_2"])
            rows.append((one, two, column, found.n, found.mean_difference, found.low, found.high))
    return rows


def _by_word(one, two, part):
    from scipy import stats

    if "behaviour_1" not in part:
        return []
    part = part.dropna(subset=["behaviour_1", "behaviour_2"])
    counts = part.groupby(["behaviour_1", "behaviour_2"]).size()
    words = sorted(set(part["behaviour_1"]) | set(part["behaviour_2"]))
    rows = []
    for word, other in itertools.combinations(words, 2):
        times, against = int(counts.get((word, other), 0)), int(counts.get((other, word), 0))
        if times + against >= FEWEST_USES:
            p = stats.binomtest(times, times + against).pvalue
            pair = (word, other, times, against) if times >= against else (other, word, against, times)
            rows.append((one, two, *pair, p))
    return rows


def _clear(words):
    """Words that two observers use differently, the error held over all that were tested."""
    from statsmodels.stats.multitest import multipletests

    table = pd.DataFrame(words, columns=_WORDS)
    if not len(table):
        return table
    table["p"] = multipletests(table["p"], method="holm")[1]
    return table[table["p"] < 0.05].reset_index(drop=True)


def _sentence(table, words, pairs, level):
    parts = []
    for row in table[table["behaviour"] == "all"].itertuples(index=False):
        if np.isfinite(row.kappa):
            parts.append(
                f"{row.first} and {row.second} wrote the same word in {100 * row.agreement:.0f} % of {row.pairs} "
                f"scans; kappa {row.kappa:.2f} ({100 * level:g} % interval {row.low:.2f} to {row.high:.2f})"
            )
        else:
            parts.append(
                f"{row.first} and {row.second} watched together in only {row.pairs} scans, or used one word only: no "
                "kappa"
            )
    for row in words.itertuples(index=False):
        parts.append(
            f"what {row.second} calls {row.other_word}, {row.first} calls {row.word} ({row.times} times, the other way "
            f"round {row.against})"
        )
    return ". ".join(p[:1].upper() + p[1:] for p in parts) + "." if parts else f"{len(pairs)} pairs of scans."
