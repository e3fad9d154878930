"""Do predicted chances come true on animals that were left out, and is what is left over free of pattern?"""

from dataclasses import dataclass

import numpy as np

from fieldkit.core import Result, method
from fieldkit.field.choice import sets as choice_sets
from fieldkit.field.choice.robust import design as choice_design
from fieldkit.field.stats import clogit
from fieldkit.field.stats.clogit import ChoiceError

# Bins of predicted chance, as many places in each (our choice).
BINS = 5
# p-value of a pattern in what is left over, held over the checks, below which it is told (convention).
LEVEL = 0.05


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class ModelChecks(Result):
    """How well a choice model describes animals, or days, that it was not fitted to.

    Attributes
    ----------
    table : DataFrame
        One row per check (``hour``, ``date``, ``order``, ``animal``): statistic and p-value of a pattern in the
        residuals of the sets.
    calibration : DataFrame
        One row per bin of predicted chance: places, predicted and observed share of used ones, its standard error.
    slope, slope_low, slope_high : float
        Calibration slope with 95 % limits: 1 where chances come true, below 1 where they are too extreme.
    left_out_by : {"animal", "day"}
    """

    table: object
    calibration: object
    slope: float
    slope_low: float
    slope_high: float
    left_out_by: str
    sentence: str
    notes: tuple
    settings: dict


@method
def model_checks(choices, *, drivers=None, cluster="animal_id"):
    """Check a conditional logit of some drivers on animals that were left out of it, one after another.

    Parameters
    ----------
    choices : DataFrame
        The choice table.
    drivers : dict of str to str, optional
        Name and column of each driver; air, surface and radiation unless given.
    cluster : str or None
        Column that names the animal; with fewer than three named animals days are left out instead.

    Returns
    -------
    ModelChecks

    Raises
    ------
    ChoiceError
        When neither three animals nor three days are known, or a fit picks out the used place without error.

    Notes
    -----
    Calibration slope: coefficient of a conditional logit on the predicted log odds (Cox 1958, Biometrika 45:562).
    Residual of a set: log chance of the used place less its expectation, in units of its spread; Spearman's rank
    correlation with hour, date and order, and the Kruskal-Wallis test among animals.

    Examples
    --------
    >>> from fieldkit.field.planning import simulate
    >>> season = simulate.choice_season(n_sets=150, driver="radiation", effect=2.5, rng=1)
    >>> got = model_checks(season.choices)
    >>> bool(got.slope_low < 1 < got.slope_high)
    True
    """
    import pandas as pd
    from scipy import stats

    from fieldkit.field.choice.verdict import DRIVERS

    drivers = dict(DRIVERS if drivers is None else drivers)
    ready = choice_sets.prepare(choices, drivers, cluster)
    values = ready.kept[list(drivers.values())].to_numpy(dtype=float)
    first = np.unique(ready.sets, return_index=True)[1]
    group, by = _groups(ready, first)
    eta = _predicted(values, ready, group)
    prob = np.exp(eta - pd.Series(eta).groupby(ready.sets).transform("max").to_numpy())
    prob /= np.bincount(ready.sets, weights=prob)[ready.sets]
    slope = clogit.fit(pd.DataFrame({"predicted": eta}), ready.used, ready.sets, cluster=group[ready.sets])
    if slope.dropped or slope.separated:
        raise ChoiceError(f"Predictions cannot be checked: {slope.notes[-1]}")
    limits = np.log(slope.odds_ratios().loc["predicted", ["odds_ratio", "low", "high"]].to_numpy(dtype=float))
    logs = np.log(np.maximum(prob, 1e-300))
    mean = np.bincount(ready.sets, weights=prob * logs)
    spread = np.sqrt(np.maximum(np.bincount(ready.sets, weights=prob * logs**2) - mean**2, 1e-12))
    taken = np.bincount(ready.sets, weights=ready.used)
    rest = (np.bincount(ready.sets, weights=logs * ready.used) / taken - mean) / spread
    rows = {}
    hours = choice_design.hours_of_sets(ready.kept, ready.sets)
    if hours is not None:
        rows["hour"] = stats.spearmanr(hours, rest)
        day = pd.to_datetime(ready.kept["time"].iloc[first].astype(str).str.slice(0, 10), errors="coerce")
        if day.notna().all() and day.nunique() > 2:
            rows["date"] = stats.spearmanr(day.to_numpy().astype("int64"), rest)
    rows["order"] = stats.spearmanr(np.arange(len(rest)), rest)
    if by == "animal":
        parts = [rest[group == g] for g in np.unique(group) if (group == g).sum() > 1]
        if len(parts) > 2:
            rows["animal"] = stats.kruskal(*parts)
    table = pd.DataFrame(
        [(name, float(r.statistic), float(r.pvalue)) for name, r in rows.items()], columns=["check", "statistic", "p"]
    ).set_index("check")
    return ModelChecks(
        table=table,
        calibration=_bins(prob, ready.used),
        slope=float(limits[0]),
        slope_low=float(limits[1]),
        slope_high=float(limits[2]),
        left_out_by=by,
        sentence=_say(table, limits, by),
        notes=tuple(ready.notes),
        settings={"drivers": drivers, "cluster": cluster},
    )


def _groups(ready, first):
    """Code of what is left out as a whole, of each set."""
    from fieldkit.field.choice.robust import chance as choice_chance

    if ready.n_animals >= 3:
        return np.unique(ready.animals[first], return_inverse=True)[1], "animal"
    day = choice_chance.days(ready.kept, ready.sets)
    if len(set(day)) < 3:
        raise ChoiceError(
            "Neither three named animals nor three days are known: nothing can be left out to predict it."
        )
    return np.unique(day, return_inverse=True)[1], "day"


def _predicted(values, ready, group):
    """Log odds of each place by a fit to the other groups."""
    eta = np.zeros(len(values))
    spread = values.std(axis=0)
    values = values / np.where(spread > 0, spread, 1.0)
    for code in np.unique(group):
        test = (group == code)[ready.sets]
        fit = clogit.fit(values[~test], ready.used[~test], ready.sets[~test])
        if fit.separated:
            raise ChoiceError(f"Predictions cannot be checked: {fit.notes[-1]}")
        b = fit.coefficients.reindex([f"x{i}" for i in range(values.shape[1])]).fillna(0.0).to_numpy()
        eta[test] = values[test] @ b
    return eta


def _bins(prob, used):
    import pandas as pd

    frame = pd.DataFrame({"predicted": prob, "observed": used.astype(float)})
    parts = frame.groupby(pd.qcut(prob, BINS, labels=False, duplicates="drop"))
    out = parts.mean().assign(places=parts.size())
    out["standard_error"] = np.sqrt(out["predicted"] * (1 - out["predicted"]) / out["places"])
    return out[["places", "predicted", "observed", "standard_error"]].rename_axis("bin").reset_index(drop=True)


def _say(table, limits, by):
    found = table.index[table["p"] < LEVEL / len(table)]
    words = (
        f"On {by}s left out of the fit predicted chances came true with a calibration slope of {limits[0]:.2g} (95 % "
        f"interval {limits[1]:.2g} to {limits[2]:.2g}; 1 is right, below 1 too extreme)"
    )
    if len(found):
        told = " and ".join(f"{n} (p {table.loc[n, 'p']:.2g})" for n in found)
        return f"{words}; what is left over goes with {told}, so something is missing from the model."
    return f"{words}; what is left over shows no pattern with {', '.join(table.index)}."
