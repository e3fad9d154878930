"""Does a choice verdict hold up? Animals one by one, prediction of unseen animals, reading errors extrapolated."""

import itertools
from dataclasses import dataclass

import numpy as np

from fieldkit.core import Result, generator, method
from fieldkit.field.choice import DRIVERS
from fieldkit.field.choice import sets as choice_sets
from fieldkit.field.stats import clogit
from fieldkit.field.stats.clogit import ChoiceError
from fieldkit.field.stats.intervals import critical_value


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class AnimalSlopes(Result):
    """Strength of selection, animal by animal and pooled.

    Attributes
    ----------
    table : DataFrame
        One row per animal: sets, log odds per within-set standard deviation, its standard error, weight in the pool.
    estimate, low, high : float
        Pooled log odds for the average animal, with limits (Hartung-Knapp, Student's t).
    tau, tau_p : float
        Standard deviation of the slope among animals, and the test that it is zero (Cochran's Q).
    prediction : tuple of float
        Where the slope of a new animal lies.
    """

    rows_of = "choices"
    table: object
    sentence: str
    estimate: float
    low: float
    high: float
    tau: float
    tau_p: float
    i_squared: float
    prediction: tuple
    left_out: object
    notes: tuple
    settings: dict


@method
def animal_slopes(choices, *, driver="radiation", column=None, others=(), cluster="animal_id", level=0.95):
    """Ask every animal by itself how strongly it selects, and pool the answers.

    Parameters
    ----------
    choices : DataFrame
        The choice table, with the animals named.
    driver : str
        Name of the driver, for words and for its column.
    column : str, optional
        Column of the driver when it is not air, surface or radiation.
    others : sequence of str
        Columns held equal at what they are for all animals together.
    cluster : str
        Column that names the animal.
    level : float
        Confidence level.

    Returns
    -------
    AnimalSlopes

    Raises
    ------
    ChoiceError
        With fewer than three animals, or a driver that does not vary.

    Notes
    -----
    An animal's slope is one scoring step from the slope of all animals together, b + U_i / I_i, which stays finite for
    an animal that always took the brightest place. Pooling: random effects by Paule and Mandel with the Hartung-Knapp
    interval (statsmodels `combine_effects`; DerSimonian and Laird 1986; IntHout et al. 2014, BMC Med. Res. Methodol.
    14:25). Prediction interval: Higgins et al. (2009) J. R. Stat. Soc. A 172:137, eq. 12.

    Examples
    --------
    >>> from fieldkit.field.planning import simulate
    >>> season = simulate.choice_season(n_sets=200, driver="radiation", individual_sd=0.3, rng=1)
    >>> animal_slopes(season.choices).low > 0
    True
    """
    import pandas as pd
    from statsmodels.stats.meta_analysis import combine_effects

    column = column or DRIVERS.get(driver, driver)
    ready, named, notes = _named_sets(choices, {c: c for c in (column, *others)}, cluster)
    values = ready.kept[[column, *others]].to_numpy(dtype=float)[named]
    used, sets, animals = ready.used[named], ready.sets[named], ready.animals[named]
    within, _ = choice_sets.centre(values, np.unique(sets, return_inverse=True)[1])
    n_sets = len(np.unique(sets))
    sd = float(np.sqrt((within[:, 0] ** 2).sum() / max(1, len(within) - n_sets)))
    if sd == 0:
        raise ChoiceError(f"{column} does not differ between the places of any set, so there is nothing to select on.")
    values = values / np.r_[sd, np.ones(len(others))]
    everyone = clogit.fit(values, used, sets)
    if everyone.separated or everyone.dropped:
        raise ChoiceError(f"The slopes cannot be given: {everyone.notes[-1]}")
    beta = everyone.coefficients.to_numpy()

    rows = []
    for code, name in enumerate(ready.names):
        mine = animals == code
        score, information = clogit.score_and_information(values[mine], used[mine], sets[mine], beta)
        rows.append((name, len(np.unique(sets[mine])), score[0], information[0, 0]))
    table = pd.DataFrame(rows, columns=["animal", "sets", "score", "information"]).set_index("animal")
    silent = table["information"] < 1e-9
    if silent.any():
        notes.append(f"{int(silent.sum())} animals met no differences in {column} and say nothing.")
    table = table[~silent]
    table["log_odds_per_sd"] = beta[0] + table["score"] / table["information"]
    table["standard_error"] = table["information"] ** -0.5
    pooled = combine_effects(
        table["log_odds_per_sd"].to_numpy(), table["standard_error"].to_numpy() ** 2, method_re="iterated", use_t=True
    )
    # Paule and Mandel's root may lie just below zero when animals agree.
    tau2 = max(0.0, float(pooled.tau2))
    weight = 1 / (table["standard_error"] ** 2 + tau2)
    k = len(table)
    estimate = float(np.sum(weight * table["log_odds_per_sd"]) / weight.sum())
    scatter = np.sum(weight * (table["log_odds_per_sd"] - estimate) ** 2) / (k - 1)
    # Animals that agree better than chance must not shrink the interval below the ordinary one.
    error = float(np.sqrt(max(1.0, scatter) / weight.sum()))
    z = critical_value(level, degrees_of_freedom=k - 1)
    reach = critical_value(level, degrees_of_freedom=max(1, k - 2)) * np.sqrt(tau2 + error**2)
    table["weight"] = weight / weight.sum()
    table = table.drop(columns=["score", "information"])
    table.insert(2, "low", table["log_odds_per_sd"] - critical_value(level) * table["standard_error"])
    table.insert(3, "high", table["log_odds_per_sd"] + critical_value(level) * table["standard_error"])
    from scipy import special

    tau_p = float(special.chdtrc(k - 1, pooled.q))
    low, high = estimate - z * error, estimate + z * error
    agree = "no sign that animals differ" if tau_p > 1 - level else "animals differ"
    return AnimalSlopes(
        table=table,
        sentence=(
            f"Over {k} animals the odds for one within-set standard deviation of {driver} ({sd:.3g}) were multiplied "
            f"by {np.exp(estimate):.3g} ({100 * level:g} % interval {np.exp(low):.3g} to {np.exp(high):.3g}) in the "
            f"average animal; {agree} (standard deviation of the log odds {np.sqrt(tau2):.2g}, p {tau_p:.2g}). A new "
            f"animal's factor should lie between {np.exp(estimate - reach):.3g} and {np.exp(estimate + reach):.3g}."
        ),
        estimate=estimate,
        low=low,
        high=high,
        tau=float(np.sqrt(tau2)),
        tau_p=tau_p,
        i_squared=max(0.0, float(1 - (k - 1) / pooled.q)) if pooled.q > 0 else 0.0,
        prediction=(estimate - reach, estimate + reach),
        left_out=ready.left_out,
        notes=tuple(notes),
        settings={
            "level": level,
            "driver": driver,
            "column": column,
            "others": tuple(others),
            "cluster": cluster,
            "within_set_sd": sd,
        },
    )


def _named_sets(choices, columns, cluster):
    """Sorted sets, rows of animals with a name, notes."""
    ready = choice_sets.prepare(choices, columns, cluster)
    if ready.n_animals < 3:
        raise ChoiceError(f"{ready.n_animals} named animals: at least three are needed to compare animals.")
    return ready, ready.named, [n.replace("counts as another animal", "is not used here") for n in ready.notes]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Prediction(Result):
    """How well each candidate predicts the choices of an animal it has not seen.

    Attributes
    ----------
    table : DataFrame
        One row per candidate: `gain` is the log score above random choice, summed over sets, each animal left out in
        turn; `standard_error` over animals; `chance` the geometric-mean chance given to the place that was used.
    by_animal : DataFrame
        Gain of each candidate for each animal.
    best : str
    """

    rows_of = "choices"
    table: object
    by_animal: object
    sentence: str
    best: str
    left_out: object
    notes: tuple
    settings: dict


@method
def leave_one_animal_out(choices, *, drivers=None, cluster="animal_id"):
    """Score the candidates on animals they were not fitted to.

    Parameters
    ----------
    choices : DataFrame
        The choice table, with the animals named.
    drivers : dict of str to str, optional
        Name and column of each driver; air, surface and radiation unless given.
    cluster : str
        Column that names the animal.

    Returns
    -------
    Prediction

    Raises
    ------
    ChoiceError
        With fewer than three animals.

    Notes
    -----
    Logarithmic score (Good 1952, J. R. Stat. Soc. B 14:107), leaving whole animals out. A candidate that picks out the
    used place without error in the animals it is fitted to has no finite prediction and gets no score.

    Examples
    --------
    >>> from fieldkit.field.planning import simulate
    >>> season = simulate.choice_season(n_sets=150, driver="radiation", effect=2.5, rng=1)
    >>> bool(leave_one_animal_out(season.choices).table.loc["radiation", "gain"] > 0)
    True
    """
    import pandas as pd

    drivers = dict(DRIVERS if drivers is None else drivers)
    ready, named, notes = _named_sets(choices, drivers, cluster)
    values = ready.kept[list(drivers.values())].to_numpy(dtype=float)
    candidates = [c for size in range(1, len(drivers) + 1) for c in itertools.combinations(range(len(drivers)), size)]
    names = list(drivers)
    gains = np.zeros((ready.n_animals, len(candidates)))
    sets = np.zeros(ready.n_animals)
    nothing = np.zeros(ready.n_animals)
    for code in range(ready.n_animals):
        test = ready.animals == code
        train = named & ~test
        at = ready.sets[test]
        null = clogit.log_likelihood(values[test], ready.used[test], at, np.zeros(len(drivers)))
        sets[code], nothing[code] = len(null), null.sum()
        for j, columns in enumerate(candidates):
            fitted = clogit.fit(values[train][:, columns], ready.used[train], ready.sets[train])
            # A column without contrast in the others is no help: its coefficient is nil.
            b = fitted.coefficients.reindex([f"x{i}" for i in range(len(columns))]).fillna(0.0).to_numpy()
            if fitted.separated:
                gains[code, j] = np.nan
                continue
            gains[code, j] = clogit.log_likelihood(values[test][:, columns], ready.used[test], at, b).sum() - null.sum()
    labels = [" + ".join(names[i] for i in c) for c in candidates]
    by_animal = pd.DataFrame(gains, columns=labels, index=pd.Index(ready.names, name="animal"))
    total = by_animal.sum(axis=0, skipna=False)
    table = pd.DataFrame(
        {
            "gain": total,
            "standard_error": by_animal.std(ddof=1) * np.sqrt(ready.n_animals),
            "chance": np.exp((total + nothing.sum()) / sets.sum()),
        }
    ).rename_axis("candidate")
    lost = list(table.index[table["gain"].isna()])
    if lost:
        notes.append(f"No score for {', '.join(lost)}: it picks out the used place without error (separation).")
    if table["gain"].isna().all():
        raise ChoiceError("No candidate can be scored: all of them pick out the used place without error.")
    best = table["gain"].idxmax()
    row = table.loc[best]
    clear = row["gain"] > critical_value(0.90, degrees_of_freedom=ready.n_animals - 1) * row["standard_error"]
    verb = "and beats" if clear else "but does not clearly beat"
    return Prediction(
        table=table,
        by_animal=by_animal,
        sentence=(
            f"For animals left out of the fit, {best} predicts the used place best {verb} random choice: log "
            f"score {row['gain']:+.3g} (standard error {row['standard_error']:.2g}) over {int(sets.sum())} sets; the "
            f"used place was given a chance of {row['chance']:.2g} against {np.exp(nothing.sum() / sets.sum()):.2g}."
        ),
        best=best,
        left_out=ready.left_out,
        notes=tuple(notes),
        settings={"drivers": drivers, "cluster": cluster},
    )


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Extrapolation(Result):
    """Coefficients side by side as read, and extrapolated to readings without error.

    Attributes
    ----------
    table : DataFrame
        One row per driver: log odds per within-set standard deviation of the readings, as read (`naive`) and without
        error (`extrapolated`), standard error, limits.
    path : DataFrame
        Mean coefficient at each multiple of the error variance: what the curve goes through.
    """

    rows_of = "choices"
    table: object
    path: object
    sentence: str
    left_out: object
    notes: tuple
    seed: int | None
    settings: dict


@method
def simulation_extrapolation(
    choices, *, instrument_errors, drivers=None, cluster="animal_id", multiples=(0.5, 1.0, 1.5, 2.0), draws=50,
    level=0.95, rng=0,
):  # fmt: skip
    """Add more reading error, watch what it does to the coefficients, and extrapolate back to none.

    Parameters
    ----------
    choices : DataFrame
        The choice table.
    instrument_errors : dict of str to float
        Standard deviation of one reading, by column.
    drivers : dict of str to str, optional
        Name and column of each driver; air, surface and radiation unless given.
    cluster : str or None
        Column that names the animal.
    multiples : sequence of float
        Error variance added, as multiples of the stated one.
    draws : int
        Noisier seasons for each multiple.
    level : float
        Confidence level.
    rng : int or numpy.random.Generator
        Seed.

    Returns
    -------
    Extrapolation

    Raises
    ------
    ChoiceError
        When no driver has a stated error, or the fit separates or drops a driver.

    Notes
    -----
    SIMEX with a quadratic extrapolant, which takes out most but not all of the bias (Cook and Stefanski 1994, J. Am.
    Stat. Assoc. 89:1314); variance by extrapolating the mean variance less the variance of the draws (Stefanski and
    Cook 1995, J. Am. Stat. Assoc. 90:1247). `choice.compare` uses regression calibration, in closed form; this is the
    check on it that does not lean on the within-set spread being the same in all sets.

    Examples
    --------
    >>> from fieldkit.field.planning import simulate
    >>> season = simulate.choice_season(n_sets=100, driver="surface", rng=1)
    >>> got = simulation_extrapolation(season.choices, instrument_errors=simulate.INSTRUMENT_ERRORS, draws=10)
    >>> list(got.table.index)
    ['air', 'surface', 'radiation']
    """
    import pandas as pd

    drivers = dict(DRIVERS if drivers is None else drivers)
    errors = np.array([float(instrument_errors.get(c) or 0.0) for c in drivers.values()])
    if not errors.any():
        raise ChoiceError("No reading error is stated for any driver, so there is nothing to extrapolate from.")
    ready = choice_sets.prepare(choices, drivers, cluster)
    seed = int(rng) if isinstance(rng, int | np.integer) else None
    random = generator(rng)
    values = ready.kept[list(drivers.values())].to_numpy(dtype=float)
    within, _ = choice_sets.centre(values, ready.sets)
    sd = np.sqrt((within**2).sum(axis=0) / max(1, len(within) - ready.n_sets))

    def fitted(x):
        f = clogit.fit(pd.DataFrame(x, columns=list(drivers)), ready.used, ready.sets, cluster=ready.animals)
        if f.separated or f.dropped:
            raise ChoiceError(f"Reading errors cannot be extrapolated: {f.notes[-1]}")
        return f.coefficients.to_numpy() * sd, f.covariance.to_numpy() * np.outer(sd, sd), f.degrees_of_freedom

    naive, covariance, df = fitted(values)
    steps, means, variances = [0.0], [naive], [np.diag(covariance)]
    for multiple in multiples:
        runs = [fitted(values + np.sqrt(multiple) * errors * random.normal(size=values.shape)) for _ in range(draws)]
        b = np.array([r[0] for r in runs])
        steps.append(multiple)
        means.append(b.mean(axis=0))
        variances.append(np.mean([np.diag(r[1]) for r in runs], axis=0) - b.var(axis=0, ddof=1))
    powers = np.vander(steps, 3)
    at_none = np.array([1.0, -1.0, 1.0])
    extrapolated = at_none @ np.linalg.lstsq(powers, np.array(means), rcond=None)[0]
    variance = at_none @ np.linalg.lstsq(powers, np.array(variances), rcond=None)[0]
    # Extrapolated variances can fall below that of the readings as they are; they then say too much.
    error = np.sqrt(np.maximum(variance, np.diag(covariance)))
    z = critical_value(level, degrees_of_freedom=df)
    table = pd.DataFrame(
        {
            "naive": naive,
            "extrapolated": extrapolated,
            "standard_error": error,
            "low": extrapolated - z * error,
            "high": extrapolated + z * error,
            "within_set_sd": sd,
        },
        index=pd.Index(list(drivers), name="driver"),
    )
    path = pd.DataFrame(means, columns=list(drivers), index=pd.Index(steps, name="added_error_variance"))
    told = "; ".join(f"{n} {r['naive']:.2f} to {r['extrapolated']:.2f}" for n, r in table.iterrows())
    return Extrapolation(
        table=table,
        path=path,
        sentence=(
            "Taking the stated reading errors out changes the log odds per within-set standard deviation, drivers side "
            f"by side, from as read: {told}."
        ),
        left_out=ready.left_out,
        notes=tuple(ready.notes),
        seed=seed,
        settings={
            "instrument_errors": dict(zip(drivers.values(), errors)),
            "multiples": tuple(multiples),
            "draws": draws,
        },
    )
