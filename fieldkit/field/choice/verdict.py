"""On what do animals choose their places: air, surface or radiation? The candidates compared, and the verdict."""

import itertools
from dataclasses import dataclass

import numpy as np

from fieldkit.core import Result, generator
from fieldkit.field.choice import (
    chance as choice_chance,
)
from fieldkit.field.choice import (
    sets as choice_sets,
)
from fieldkit.field.choice import (
    shape as choice_shape,
)
from fieldkit.field.choice import (
    words as choice_words,
)
from fieldkit.field.choice.sets import variance_inflation
from fieldkit.field.choice.words import OPERATIVE_GAIN, OTHERS_LEVEL
from fieldkit.field.stats.clogit import ChoiceError, Fit, fit, log_likelihood
from fieldkit.field.stats.intervals import critical_value

__all__ = [
    "DRIVERS",
    "ChoiceError",
    "Comparison",
    "Fit",
    "akaike_weights",
    "compare",
    "fit",
    "log_likelihood",
    "variance_inflation",
]

DRIVERS = {"air": "shade_air_c", "surface": "surface_c", "radiation": "irradiance_w_m2"}
# Natural unit in which an odds ratio is told, by column; 1 otherwise.
UNITS = {"irradiance_w_m2": (100.0, "100 W/m²")}
# Fewer sets than this carry no verdict (our choice: ten sets hold one coefficient at the customary ten events each).
FEWEST_SETS = 10
# With fewer animals no spread among them can be seen: days take their place and the words say so (our choice: two
# animals leave one degree of freedom, whose 90 % limits are six standard errors wide).
FEWEST_ANIMALS = 3
# A driver that cannot be tested is still held equal when at least this share of its within-set variance is real: it may
# be what the animals feel, and must not lend its credit to a driver it travels with. Below, the correction runs wild.
LEAST_SHARE_HELD = 0.1  # our choice: at a tenth the correction multiplies a coefficient by ten
# A hump of operative temperature is set beside the drivers when this share of the sets can be used for it (our choice).
LEAST_READ = 0.8
OPERATIVE = "operative temperature"
# Error held over all candidates together, and level of the told intervals (convention).
LEVEL = 0.95
# The verdict: 90 % intervals are one-sided tests at 5 %, the side being that of the driver alone.
NAMING_LEVEL = 0.90


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Comparison(Result):
    """What the choice sets say about the drivers.

    Attributes
    ----------
    verdict : {"air", "surface", "radiation", "undecided", "none", "untestable"}
        Or the name of another driver that was asked for.
    sentence : str
        The verdict in words, and how sure it is.
    table : DataFrame
        One row per candidate model: log likelihood, likelihood-ratio test against no selection, AICc, its difference
        from the best and weight, p-value against random choice by itself and held over all candidates. Besides the
        combinations of drivers, each driver alone is let bend: "(middle values)" adds its square, "(changing with
        air)" radiation times the set's mean shade air.
    coefficients : DataFrame
        One row per driver in each combination: odds ratio with limits per natural unit and per within-set standard
        deviation.
    corrected : DataFrame
        The drivers side by side in one model, with the stated reading errors allowed for, and 90 % intervals: what the
        verdict rests on.
    bends : DataFrame
        One row per bend, added to the drivers side by side: coefficient per squared within-set standard deviation,
        p-value, whether it is clear (p below 0.01) and, where the odds fall again on both sides, the preferred value
        (`top`) with its 95 % interval. Empty below 40 sets.
    steady : bool
        No bend is clear: more, or less, of a driver describes the choices.
    curves : dict of str to DataFrame
        Where bends decide: the relation of each that the verdict rests on, by its name in `bends` (or "operative
        temperature"), ``value, odds, low, high`` with a 95 % band, over the middle nine tenths of what was on offer.
        Odds are against a place at the median; of "(changing with air)", odds ratios for one true within-set standard
        deviation more at that shade air. The variance that reading errors leave adds to the squared width of a hump.
    contrast : DataFrame
        One row per driver: how much it differed between the places of a set, against the instrument's error.
    standing : DataFrame
        One row per set, one column per driver: share of the other places that the used place exceeds (ties count half).
        Random choice averages one half.
    choices : DataFrame
        The table as given.
    left_out : DataFrame
        Rows that were not used, with the reason.
    fits : dict of str to Fit
    """

    verdict: str
    sentence: str
    table: object
    coefficients: object
    corrected: object
    bends: object
    steady: bool
    curves: dict
    contrast: object
    standing: object
    choices: object
    left_out: object
    fits: dict
    n_sets: int
    n_animals: int
    notes: tuple
    seed: int | None
    settings: dict

    def tested(self):
        """Give back the comparison if it came to a test, so that nothing is built on one that did not.

        Returns
        -------
        Comparison

        Raises
        ------
        ChoiceError
            When the season was not testable, with the reason.

        Examples
        --------
        >>> from fieldkit.field.planning import simulate
        >>> compare(simulate.choice_season(n_sets=30, rng=1).choices, permutations=99).tested().n_sets
        30
        """
        if self.verdict == "untestable":
            raise ChoiceError(self.sentence)
        return self


def compare(choices, *, instrument_errors=None, drivers=None, cluster="animal_id", permutations=999, rng=0):
    """Compare the drivers of choice on one season's choice sets and give the verdict.

    Parameters
    ----------
    choices : DataFrame
        The choice table: ``set_id, place_id, used`` (1 or 0), the columns of the drivers and, if animals are known,
        ``animal_id``. With ``time``, sets of one animal on one day are known to belong together.
    instrument_errors : dict of str to float, optional
        Standard deviation of one reading, by column, in the column's unit (``season.instrument_errors``).
    drivers : dict of str to str, optional
        Name and column of each driver; air, surface and radiation unless given.
    cluster : str or None
        Column that names the animal.
    permutations : int
        Seasons with the used place drawn at random within each set (and as many with visits turned round).
    rng : int or numpy.random.Generator
        Seed.

    Returns
    -------
    Comparison

    Raises
    ------
    ChoiceError
        When the table cannot hold a choice test at all (no unused places, columns missing), with the reason.

    Notes
    -----
    The rule. If no candidate beats random choice (5 % over all candidates together), the verdict
    is "none". Otherwise the driver that alone explains the choices best is named when, with all testable drivers side
    by side and the stated reading errors allowed for, its 90 % interval excludes "no effect" (a one-sided test at 5 %)
    and no other driver's 99 % interval does; else the verdict is "undecided". If a bend is clear (p below 0.01: middle
    values preferred, a pull that changes with shade air), a straight pull is the wrong question, and the same is asked
    of each driver with its bends: that of the lowest AICc is named when its coefficients together are clear at 5 % and
    no other driver's are at 1 %. Where the table has ``operative_c`` in most sets and a hump of it has an AICc
    more than 4 lower than any candidate, no single driver is named: the animals seek what the drivers make together.
    These tests rest on the larger of two standard errors, by animal and by set, with
    Student's t for the number of animals.

    A driver is testable when the true differences between places of a set (standard deviation, the instrument's error
    taken off) are at least as large as that error (our choice: half of the variance of the readings is then real); one
    that is not cannot be named but is still held equal.
    Random choice: score statistics under used places drawn again within each set, smallest p-value over candidates
    (Westfall and Young 1993, Resampling-based multiple testing, algorithm 2.5 in its single-step form). Sets of one
    animal on one day are one visit: where there are such, the scores of whole visits also change sign at random and
    the larger p-value counts, because an animal that stays where it is is not choosing again at each look.
    Reading errors: regression calibration on within-set covariances (Rosner, Spiegelman and Willett 1990, Am. J.
    Epidemiol. 132:734).
    AICc counts sets, not places.

    Examples
    --------
    >>> from fieldkit.field.planning import simulate
    >>> season = simulate.choice_season(n_sets=120, driver="radiation", effect=2.5, rng=3)
    >>> compare(season.choices, instrument_errors=simulate.INSTRUMENT_ERRORS).verdict
    'radiation'
    """
    import pandas as pd

    drivers = dict(DRIVERS if drivers is None else drivers)
    errors = {k: float(v) for k, v in (instrument_errors or {}).items() if v is not None and np.isfinite(v)}
    ready = choice_sets.prepare(choices, drivers, cluster)
    sets, used, n_sets, notes = ready.sets, ready.used, ready.n_sets, list(ready.notes)
    values = ready.kept[list(drivers.values())].to_numpy(dtype=float)

    within, sizes = choice_sets.centre(values, sets)
    contrast = choice_sets.contrast(within, n_sets, drivers, errors)
    testable = [name for name in drivers if contrast.loc[name, "testable"]]
    beside = testable + [n for n in drivers if n not in testable and contrast.loc[n, "true_share"] >= LEAST_SHARE_HELD]
    seed = int(rng) if isinstance(rng, int | np.integer) else None
    visits = choice_chance.visits(ready.kept, sets, ready.animals)
    clusters = _clusters(ready, visits, notes)
    shared = {
        "contrast": contrast,
        "standing": _standing(values, used, sets, sizes, drivers, ready.kept["set_id"].to_numpy()),
        "choices": choices,
        "left_out": ready.left_out,
        "n_sets": n_sets,
        "n_animals": ready.n_animals,
        "seed": seed,
        "settings": {
            "drivers": drivers,
            "instrument_errors": errors,
            "cluster": cluster,
            "permutations": permutations,
            "level": LEVEL,
        },
    }
    n_visits = n_sets if visits is None else int(visits.max()) + 1
    if n_sets < FEWEST_SETS or n_visits < choice_chance.FEWEST_VISITS or not testable:
        return _untestable(shared, notes, n_visits)

    position = {name: j for j, name in enumerate(drivers)}
    candidates = [c for size in range(1, len(testable) + 1) for c in itertools.combinations(testable, size)]
    columns = [[position[n] for n in c] for c in candidates]
    frame = pd.DataFrame(values, columns=list(drivers))
    bends = choice_shape.bends(values, sets, sizes, list(drivers), testable)
    designs = {" + ".join(c): frame[list(c)] for c in candidates}
    fits = {name: fit(design, used, sets, cluster=clusters) for name, design in designs.items()}
    designs |= {b.name: frame[[b.driver]].assign(bend=b.column) for b in bends}
    bent = {b.name: fit(designs[b.name], used, sets, cluster=clusters) for b in bends}
    columns += [[position[b.driver], len(drivers) + k] for k, b in enumerate(bends)]
    moved, _ = choice_sets.centre(np.column_stack([values, *(b.column for b in bends)]), sets)
    chance = _against_chance(moved, used, sets, sizes, columns, visits, n_visits, permutations, generator(rng))
    chance["few_animals"] = ready.animals is not None and clusters is not ready.animals
    table = _candidate_table(fits | bent, *chance["p"])
    joint = fit(frame[beside], used, sets, cluster=clusters)
    corrected = _correct(joint, contrast, within, n_sets, errors)
    if joint.separated:
        rest = {n: fit(frame[[m for m in beside if m != n]], used, sets) for n in beside} if len(beside) > 1 else {}
        corrected["p"] = [_leave_one_out_p(joint, rest.get(n)) for n in corrected.index]
    j = [position[n] for n in beside]
    variances = [errors.get(drivers[n], 0.0) ** 2 for n in beside]
    guess = choice_shape.calibrated(values[:, j], within[:, j], n_sets, variances)
    true_sd = contrast["true_sd"]
    shape = choice_shape.examine(guess, used, sets, sizes, clusters, beside, testable, joint, frame, true_sd)
    best = table["aicc"].drop("no selection").idxmin()
    operative, hump = (None, None) if shape.steady else _operative_gain(ready, drivers, clusters, designs[best])
    verdict = _verdict(table, corrected, fits, testable, joint, shape, operative)
    notes += [note for f in (*fits.values(), joint) for note in f.notes]
    notes += choice_words.sunlit_air(within, drivers)
    chance["operative"] = operative
    by_air = bent.get("radiation (changing with air)")
    sentence = choice_words.say(verdict, table, corrected, joint, fits, testable, within, shared, shape, chance, by_air)
    return Comparison(
        verdict=verdict,
        sentence=sentence,
        table=table,
        coefficients=_coefficient_table(fits, contrast),
        corrected=corrected,
        bends=shape.table,
        steady=shape.steady,
        curves=_curves(verdict, shape, operative, hump),
        fits=fits | bent,
        notes=tuple(dict.fromkeys(notes)),
        **shared,
    )


def _standing(values, used, sets, sizes, drivers, labels):
    import pandas as pd

    first = np.flatnonzero(used)[np.unique(sets[used], return_index=True)[1]]
    rest = np.ones(len(used), dtype=bool)
    rest[first] = False
    at = values[first][sets]
    below = ((values < at) + 0.5 * (values == at)) * rest[:, None]
    share = np.stack([np.bincount(sets, weights=column) for column in below.T], axis=1) / (sizes - 1)[:, None]
    return pd.DataFrame(share, columns=list(drivers), index=pd.Index(labels[first], name="set_id"))


# ---- chance, correction, verdict -------------------------------------------------------------------------------------


def _clusters(ready, visits, notes):
    """Codes by which the limits are widened: animals, or visits where there are too few animals to differ."""
    if ready.animals is None:
        return None
    count = len(np.unique(ready.animals))
    if count >= FEWEST_ANIMALS:
        return ready.animals
    between = "sets" if visits is None else "days"
    who = "one animal" if count == 1 else f"{count} animals"
    notes.append(f"Only {who}: the limits allow for chance between {between}, not between animals.")
    return None if visits is None else visits[ready.sets]


def _against_chance(columns_within, used, sets, sizes, columns, visits, n_visits, permutations, rng):
    """P-values of the candidates against random choice; with repeated looks, the larger of two tests."""
    drawn = choice_chance.permutation_test(columns_within, used, sets, sizes, columns, permutations, rng)
    if n_visits == len(sizes):
        return {"p": drawn, "drawn": float(drawn[1].min()), "turned": None, "visits": n_visits}
    turned = choice_chance.turning_test(columns_within, used, visits, sets, columns, permutations, rng)
    single, family = (np.maximum(a, b) for a, b in zip(drawn, turned))
    # Told is the pattern that decides: both numbers are of the same candidate.
    k = family.argmin()
    return {"p": (single, family), "drawn": float(drawn[1][k]), "turned": float(turned[1][k]), "visits": n_visits}


def _candidate_table(fits, p_single, p_family):
    import pandas as pd

    null = next(iter(fits.values())).null_log_likelihood
    rows = [("no selection", 0, null, np.nan, np.nan, np.nan, -2 * null, np.nan, np.nan)]
    for (name, f), single, family in zip(fits.items(), p_single, p_family):
        statistic, df, p = f.likelihood_ratio
        rows.append((name, f.n_parameters, f.log_likelihood, statistic, df, p, f.aicc, single, family))
    columns = ["candidate", "parameters", "log_likelihood", "lr", "lr_df", "lr_p", "aicc"]
    table = pd.DataFrame(rows, columns=[*columns, "permutation_p", "family_p"])
    delta = table["aicc"] - table["aicc"].min()
    table.insert(7, "delta_aicc", delta)
    table.insert(8, "weight", akaike_weights(table["aicc"]))
    return table.set_index("candidate")


def akaike_weights(criterion):
    """Akaike weights: relative likelihood of each model, summing to 1.

    Parameters
    ----------
    criterion : array_like
        AIC or AICc of each model.

    Returns
    -------
    ndarray

    Notes
    -----
    Source: Burnham and Anderson (2002) Model Selection and Multimodel Inference, section 2.9.

    Examples
    --------
    >>> akaike_weights([0, 2, 4, 7, 10]).round(4).tolist()
    [0.6493, 0.2389, 0.0879, 0.0196, 0.0044]
    """
    values = np.asarray(criterion, dtype=float)
    relative = np.exp(-(values - np.nanmin(values)) / 2)
    return relative / np.nansum(relative)


def _coefficient_table(fits, contrast):
    import pandas as pd
    from scipy import special

    position = {name: i for i, name in enumerate(contrast.index)}
    spread = contrast["within_set_sd"].to_numpy()
    units = [UNITS.get(c, (1.0, f"1 {choice_words.unit_of(c)}")) for c in contrast["column"]]
    rows = []
    for candidate, f in fits.items():
        z = critical_value(LEVEL, degrees_of_freedom=f.degrees_of_freedom)
        for driver, b, se in zip(f.coefficients.index, f.coefficients.to_numpy(), f.standard_errors.to_numpy()):
            i = position[driver]
            step, label = units[i]
            t = -abs(b / se)
            p = 2 * (special.stdtr(f.degrees_of_freedom, t) if np.isfinite(f.degrees_of_freedom) else special.ndtr(t))
            limits = np.array([b, b - z * se, b + z * se])
            with np.errstate(over="ignore"):
                rows.append(
                    (candidate, driver, label, *np.exp(limits * step), p, *np.exp(limits * spread[i]), spread[i])
                )
    columns = ["candidate", "driver", "per", "odds_ratio", "low", "high", "p"]
    columns += ["odds_ratio_per_sd", "low_per_sd", "high_per_sd", "within_set_sd"]
    return pd.DataFrame(rows, columns=columns)


def _correct(joint, contrast, within, n_sets, errors):
    """Drivers side by side, per true within-set standard deviation, with the stated reading errors taken out.

    With w = x + e, the calibrated model replaces w by its best guess of x: the coefficients become S_x^-1 S_w times
    the naive ones, S_w being the within-set covariance of the readings and S_x that less the error variances.
    """
    import pandas as pd
    from scipy import special

    names = list(joint.coefficients.index)
    j = [list(contrast.index).index(n) for n in names]
    s_w = within[:, j].T @ within[:, j] / max(1, len(within) - n_sets)
    s_x = s_w - np.diag([errors.get(contrast.loc[n, "column"], 0.0) ** 2 for n in names])
    scale = np.sqrt(np.diag(s_w))
    true_sd = contrast.loc[names, "true_sd"].to_numpy()
    b = joint.coefficients.to_numpy()
    estimate = error = np.full(len(names), np.nan)
    if np.isfinite(b).all() and np.linalg.eigvalsh(s_x / np.outer(scale, scale))[0] > choice_sets.LEAST_REAL:
        a = np.linalg.solve(s_x, s_w)
        estimate = a @ b * true_sd
        # With few animals the sandwich may be too small by chance; the model's is too small if animals differ.
        both = [np.diag(a @ c.to_numpy() @ a.T) for c in (joint.covariance, joint.model_covariance)]
        error = np.sqrt(np.maximum(*both)) * true_sd
    df = joint.degrees_of_freedom
    z = critical_value(NAMING_LEVEL, degrees_of_freedom=df)
    out = pd.DataFrame({"log_odds_per_sd": estimate, "standard_error": error}, index=pd.Index(names, name="driver"))
    t = np.abs(estimate) / error
    out["p"] = 2 * (special.stdtr(df, -t) if np.isfinite(df) else special.ndtr(-t))
    if joint.separated:
        out["log_odds_per_sd"] = b
    with np.errstate(over="ignore"):
        out.insert(2, "odds_ratio_per_sd", np.exp(out["log_odds_per_sd"]))
        out.insert(3, "low", np.exp(estimate - z * error))
        out.insert(4, "high", np.exp(estimate + z * error))
    return out


def _leave_one_out_p(joint, without):
    """Likelihood ratio of leaving a driver out: stands in for the interval where the joint fit separates."""
    from scipy import special

    rest = joint.null_log_likelihood if without is None else without.log_likelihood
    return float(special.chdtrc(1, max(0.0, 2 * (joint.log_likelihood - rest))))


def _verdict(table, corrected, fits, testable, joint, shape, operative):
    if table["family_p"].min() > 1 - LEVEL:
        return "none"
    if joint.dropped:
        return "undecided"
    if not shape.steady:
        whole = operative is not None and operative > OPERATIVE_GAIN
        return "undecided" if whole else _bent_verdict(table, testable, shape.block_p)
    best = table.loc[testable, "log_likelihood"].idxmax()
    alone = np.sign(fits[best].coefficients.iloc[0])
    named = corrected.loc[best, "p"] < 1 - NAMING_LEVEL and np.sign(corrected.loc[best, "log_odds_per_sd"]) == alone
    others = (corrected["p"].drop(best) < 1 - OTHERS_LEVEL).any()
    return best if named and not others else "undecided"


def _operative_gain(ready, drivers, clusters, best):
    """AICc by which a hump of operative temperature beats the best candidate, on the sets that read it, and the hump.

    None where it was hardly read, is a driver itself, or its odds do not fall again.
    """
    import pandas as pd

    nothing = None, None
    column = "operative_c"
    if column not in ready.kept or column in drivers.values():
        return nothing
    value = pd.to_numeric(ready.kept[column], errors="coerce").to_numpy(dtype=float)
    read = np.isfinite(value)
    # Where a used place was not read, its set says nothing of the choice.
    lost = np.bincount(ready.sets, weights=ready.used & ~read) > 0
    read &= ~lost[ready.sets]
    if len(np.unique(ready.sets[read])) < LEAST_READ * ready.n_sets:
        return nothing
    used, sets, value = ready.used[read], ready.sets[read], value[read]
    groups = None if clusters is None else clusters[read]
    middle = np.median(value)
    design = pd.DataFrame({"linear": value - middle, "square": (value - middle) ** 2})
    hump = fit(design, used, sets, cluster=groups)
    rival = fit(best[read], used, sets, cluster=groups)
    if hump.dropped or hump.separated or rival.separated or not hump.coefficients["square"] < 0:
        return nothing
    along = np.linspace(*np.quantile(value, choice_shape.OFFERED), choice_shape.POINTS)
    curve = choice_shape.relation(hump, list(design), np.stack([along - middle, (along - middle) ** 2], axis=1))
    curve.insert(0, "value", along)
    return float(rival.aicc - hump.aicc), curve


def _bent_verdict(table, testable, block_p):
    if block_p is None:
        return "undecided"
    best = min(testable, key=lambda n: table.loc[_own(table, n), "aicc"].min())
    named = block_p[best] < 1 - LEVEL
    others = (block_p.drop(best) < 1 - OTHERS_LEVEL).any()
    return best if named and not others else "undecided"


def _curves(verdict, shape, operative, hump):
    """The bent relations that the verdict rests on."""
    if verdict == "none" or shape.steady:
        return {}
    if operative is not None and operative > OPERATIVE_GAIN:
        return {OPERATIVE: hump}
    return {name: shape.curves[name] for name in choice_words.told(verdict, shape.table).index}


def _own(table, driver):
    """Candidates of one driver alone, straight and bent."""
    return [c for c in table.index if c == driver or c.startswith(f"{driver} (")]


def _untestable(shared, notes, n_visits):
    import pandas as pd

    n_sets, contrast = shared["n_sets"], shared["contrast"]
    if n_sets < FEWEST_SETS:
        words = (
            f"Not testable: {n_sets} usable choice sets are too few for a verdict; at least {FEWEST_SETS} are needed."
        )
    elif n_visits < choice_chance.FEWEST_VISITS:
        words = (
            f"Not testable: the {n_sets} choice sets come from {n_visits} visits (one animal on one day), and an "
            f"animal that stays where it is does not choose again; at least {choice_chance.FEWEST_VISITS} are needed."
        )
    else:
        words = "Not testable: there was nothing to select on. " + " ".join(choice_words.untested(contrast))
    empty = pd.DataFrame()
    return Comparison(
        verdict="untestable",
        sentence=words,
        table=contrast,
        coefficients=empty,
        corrected=empty,
        bends=pd.DataFrame(columns=choice_shape.COLUMNS),
        steady=True,
        curves={},
        fits={},
        notes=tuple(notes),
        **shared,
    )
