"""On what do animals choose their places: air, surface or radiation? The candidates compared, and the verdict."""

import dataclasses
import itertools
import math
from dataclasses import dataclass, field

import numpy as np

from fieldkit.core import Result, generator, method
from fieldkit.field.choice import decide as choice_decide
from fieldkit.field.choice import shape as choice_shape
from fieldkit.field.choice import tables as choice_tables
from fieldkit.field.choice import words as choice_words
from fieldkit.field.choice.robust import cautions as choice_cautions
from fieldkit.field.choice.robust import chance as choice_chance
from fieldkit.field.choice.robust import design as choice_design
from fieldkit.field.choice.robust import ground as choice_ground
from fieldkit.field.choice.robust import groups as choice_groups
from fieldkit.field.choice.robust import hidden as choice_hidden
from fieldkit.field.choice.robust import operative as choice_operative
from fieldkit.field.choice.robust import places as choice_places
from fieldkit.field.choice.sets import variance_inflation
from fieldkit.field.choice.tables import LEVEL, akaike_weights
from fieldkit.field.stats.clogit import ChoiceError, Fit, fit, log_likelihood
from fieldkit.field.stats.clogit_mixed import MixedFit, fit_mixed

__all__ = [
    "DRIVERS",
    "ChoiceError",
    "Comparison",
    "Fit",
    "MixedFit",
    "akaike_weights",
    "compare",
    "fit",
    "fit_mixed",
    "log_likelihood",
    "variance_inflation",
]

DRIVERS = {"air": "shade_air_c", "surface": "surface_c", "radiation": "irradiance_w_m2"}
# Fewer sets than this carry no verdict (our choice: ten sets hold one coefficient at the customary ten events each).
FEWEST_SETS = 10


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
    chosen : bool
        Used places differ from the others by more than chance and what repeats can explain.
    reason : str
        Why no driver is named: "" (one is), "chance", "repeats" (few animals, visits or places could make the pattern),
        "unreliable" (it goes with readings that cannot vouch for it), "apart" (animals each their own way), "one
        animal", "groups" (species, sites or years), "operative", "several", "twins" (cannot be told apart), "shape",
        "untestable".
    chance : DataFrame
        One row per driver that was read, testable or not, and p-values against random choice: used places drawn again
        (`draws`), sign-flips of visits, returns and animals, places allowed for, and `held`, the largest of them over
        all candidates.
    repeats : dict
        n_visits, n_returns, n_animals, n_places (NaN or 0 where not known) and `place_sd`, the standard deviation of
        the log odds of places for what was not read.
    animals : Animals or None
        Whom the verdict speaks of: see `choice_animals.Animals`.
    design : Design
        How places were compared: see `choice_design.Design`.
    hidden : float
        Factor on the odds of use by something unread at which the named driver would no longer be clear (Rosenbaum's
        gamma); NaN where none is named.
    errors_turn : DataFrame
        Reading error of each instrument at which the verdict would turn.
    operative : Operative or None
        A hump of operative temperature beside the drivers: see `choice_operative.Operative`.
    modulator : {"", "air", "hour", "either"}
        What selection for radiation changes with.
    groups : Groups or None
        Species, sites or years of the table, each by itself: see `choice_groups.Groups`.
    warnings : tuple of str
        What must be read before the verdict is believed.
    """

    rows_of = "choices"
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
    chosen: bool = False
    reason: str = ""
    chance: object = None
    repeats: dict = field(default_factory=dict)
    animals: object = None
    design: object = None
    hidden: float = math.nan
    errors_turn: object = None
    operative: object = None
    modulator: str = ""
    groups: object = None
    warnings: tuple = ()

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
        if self.corrected.empty:
            raise ChoiceError(self.sentence)
        return self


@method
def compare(
    choices,
    *,
    instrument_errors=None,
    drivers=None,
    cluster="animal_id",
    permutations=999,
    design=None,
    body=None,
    rng=0,
):
    """Compare the drivers of choice on one season's choice sets and give the verdict.

    Parameters
    ----------
    choices : DataFrame
        The choice table: ``set_id, place_id, used`` (1 or 0), the columns of the drivers and, if animals are known,
        ``animal_id``. With ``time``, sets of one animal on one day are known to belong together. ``minutes`` (from the
        sighting) tell the order of the readings, else the order of rows; ``distance_m``, where not counted from the
        used place, is held equal.
    instrument_errors : dict of str to float or (float, float), optional
        Standard deviation of one reading, by column, in the column's unit (``season.instrument_errors``). A pair adds a
        share of the reading: (30, 0.05) is 30 W/m² and 5 %.
    drivers : dict of str to str, optional
        Name and column of each driver; air, surface and radiation unless given. A column of words becomes one driver
        for each word but the commonest.
    cluster : str or None
        Column that names the animal.
    permutations : int
        Seasons with the used place drawn at random within each set (and as many with visits, returns and animals turned
        round).
    design : dict, optional
        How the available places were found: ``drawn`` is one of "random bearing and distance", "grid", "all places in
        sight", "picked by the observer".
    body : fieldkit.physics.heat.Body, optional
        The animal, for its operative temperature where no model was read; 2 cm across and dark unless given.
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
    The rule. Used places differ from chance when the best candidate, of every driver that was read, has p below 5 %
    held over all candidates, by the largest of these tests: used places drawn again within each set (Westfall and Young
    1993, Resampling-based multiple testing, algorithm 2.5 in its single-step form); scores of whole visits (one animal
    on one day; nameless sets of one day), of returns (one animal at one place) and, from six on, of animals changing
    sign at random (Hemerik, Goeman and Finos 2020, J. R. Stat. Soc. B 82:841); where places repeat, the score beyond a
    random intercept of each place (`fit_mixed`), with Student's t for the number of places. If not, the verdict is
    "none", or "undecided" where a driver's draws alone have p below 1 %.

    The driver that alone explains the choices best is named when it leads the next by a log likelihood of 1 and, with
    all testable drivers side by side and the stated reading errors allowed for, its 90 % interval excludes "no effect"
    (a one-sided test at 5 %) and no other driver's 99 % interval does; else the verdict is "undecided". If a bend is
    clear (p below 0.01: middle values preferred, a pull that changes with shade air or the hour), the same is asked of
    each driver with its bends: that of the lowest AICc is named when it leads by 2, its coefficients together are clear
    at 5 % and no other driver's are at 1 %. Where a hump of operative temperature, read or computed, has an AICc more
    than 4 lower than any candidate, no single driver is named: the animals seek what the drivers make together. An
    animal with three tenths of the sets or more is left out once, and the verdict has to stand.
    These tests rest on the larger of two standard errors, by animal and by set, with
    Student's t for the number of animals, or of places where they repeat.

    A driver is testable when the true differences between places of a set (standard deviation, the instrument's error
    taken off) are at least as large as that error (our choice: half of the variance of the readings is then real); one
    that is not cannot be named but is still held equal, and still stands in the test against chance.
    Reading errors: regression calibration on within-set covariances (Rosner, Spiegelman and Willett 1990, Am. J.
    Epidemiol. 132:734). Readings of unused places that change with the order of reading are brought back to its
    beginning first. Hidden things: Rosenbaum (2002), Observational Studies, chapter 4.
    AICc counts sets, not places.

    Examples
    --------
    >>> from fieldkit.field.planning import simulate
    >>> season = simulate.choice_season(n_sets=120, driver="radiation", effect=2.5, rng=3)
    >>> compare(season.choices, instrument_errors=simulate.INSTRUMENT_ERRORS).verdict
    'radiation'
    """
    given = {"instrument_errors": instrument_errors, "cluster": cluster, "permutations": permutations}
    given |= {"design": design, "body": body, "drivers": drivers}
    return choice_groups.asked(choices, _once, given=given, rng=rng)


def _once(choices, *, instrument_errors, drivers, cluster, permutations, design, body, rng):
    """One comparison of one table."""
    seed = int(rng) if isinstance(rng, int | np.integer) else None
    rng = generator(rng)
    wanted = dict(DRIVERS if drivers is None else drivers)
    g = choice_ground.prepared(choices, instrument_errors, wanted, cluster, design, rng)
    ready = g.ready
    shared = {
        "contrast": g.contrast,
        "standing": choice_tables.standing(
            g.readings, ready.used, ready.sets, g.sizes, g.drivers, ready.kept["set_id"].to_numpy()
        ),
        "choices": g.choices,
        "left_out": ready.left_out,
        "n_sets": ready.n_sets,
        "n_animals": ready.n_animals,
        "seed": seed,
        "design": g.way,
        "settings": {
            "drivers": g.drivers,
            "instrument_errors": g.errors,
            "cluster": cluster,
            "permutations": permutations,
            "level": LEVEL,
            "design": design,
        },
    }
    if ready.n_sets < FEWEST_SETS or g.n_visits < choice_chance.FEWEST_UNITS or not g.read:
        return _untestable(shared, g.notes, g.n_visits)
    hours = choice_design.hours_of_sets(ready.kept, ready.sets)
    combinations = [c for size in range(1, len(g.testable) + 1) for c in itertools.combinations(g.testable, size)]
    bends = choice_shape.bends(g.readings, ready.sets, g.sizes, list(g.drivers), g.testable, hours)
    evidence, chance = _against_chance(g, combinations, bends, permutations, rng)
    shared |= {"chance": chance, "repeats": evidence.repeats}
    if not g.testable:
        return _faint(shared, g.notes, g.n_visits)
    facts = _fitted(g, combinations, bends, evidence, chance, hours, body, permutations, rng)
    return _answer(g, facts, shared)


def _against_chance(g, combinations, bends, permutations, rng):
    """Tests of all candidates, and their table."""
    faint = [n for n in g.read if n not in g.testable]
    columns = [g.columns(c) for c in combinations] + [[len(g.drivers) + k] for k in range(len(bends))]
    columns += [g.columns([n]) for n in faint]
    weights = choice_chance.weights(combinations, bends, faint)
    added = [choice_shape.beyond(b, g.within[:, g.columns([b.driver])[0]], g.ready.sets) for b in bends]
    evidence = choice_decide.against_chance(
        g.ready, np.column_stack([g.readings, *added]), columns, weights, g.visits, g.places,
        g.columns(g.beside or g.read), permutations, rng,
    )  # fmt: skip
    names = [" + ".join(c) for c in combinations] + [b.name for b in bends] + faint
    if evidence.gains is not None:
        evidence = dataclasses.replace(evidence, gains=evidence.gains.set_axis(names))
    return evidence, choice_decide.chance_table(names, evidence, g.read)


def _fitted(g, combinations, bends, evidence, chance, hours, body, permutations, rng):
    """All fits that a verdict rests on."""
    import pandas as pd

    ready, n_sets, beside = g.ready, g.ready.n_sets, g.beside
    frame = pd.DataFrame(g.readings, columns=list(g.drivers))

    def plain(part):
        return fit(part, ready.used, ready.sets, cluster=g.clusters)

    def fitter(part):
        return choice_places.allowed_for(plain(part), part, ready, g.places, evidence.variance)

    designs = {" + ".join(c): frame[list(c)] for c in combinations}
    fits = {name: plain(part) for name, part in designs.items()}
    designs |= {b.name: frame[[b.driver]].assign(bend=b.column) for b in bends}
    bent = {b.name: plain(designs[b.name]) for b in bends}
    table = choice_tables.candidate_table(fits | bent, *(p[: len(fits) + len(bent)] for p in evidence.held))
    joint = fitter(frame[beside])
    corrected = choice_tables.correct(joint, g.contrast, g.within, n_sets, g.errors)
    if joint.separated:
        rest = {n: plain(frame[[m for m in beside if m != n]]) for n in beside} if len(beside) > 1 else {}
        corrected["p"] = [choice_tables.leave_one_out_p(joint, rest.get(n)) for n in corrected.index]
    j = g.columns(beside)
    variances = [g.errors.get(g.drivers[n], 0.0) ** 2 for n in beside]
    guess = choice_shape.calibrated(g.readings[:, j], g.within[:, j], n_sets, variances)
    shape = choice_shape.examine(
        guess, ready.sets, g.sizes, fitter, beside, g.testable, joint, frame, g.contrast["true_sd"], hours
    )
    warm = choice_operative.temperatures(ready.kept, g.drivers, g.errors, body)
    operative = choice_operative.compare(ready, warm, g.clusters, designs, table["aicc"].drop("no selection").idxmin())
    if operative is not None:
        table = choice_tables.with_operative(table, operative)
    animals = choice_decide.animals(
        ready, g.within[:, j], g.contrast, beside, joint, g.visits, evidence, permutations, rng
    )
    gains = table.loc[g.testable, "log_likelihood"]
    if evidence.gains is not None:
        gains = evidence.gains[g.testable]
    return choice_decide.Facts(
        gains=gains, table=table, corrected=corrected, fits=fits, testable=g.testable, joint=joint, shape=shape,
        operative=operative, chance=chance, evidence=evidence, animals=animals, contrast=g.contrast, design=g.way,
        n_sets=n_sets, bent=bent, few_animals=ready.animals is not None and g.clusters is not ready.animals,
    )  # fmt: skip


def _answer(g, facts, shared):
    """The verdict, what would turn it, and its words."""
    ready, fits, shape = g.ready, facts.fits, facts.shape
    verdict, reason = choice_decide.verdict(facts)
    hidden, turn = math.nan, None
    if verdict in g.testable:
        sign = 1.0 if fits[verdict].coefficients.iloc[0] > 0 else -1.0
        units = facts.evidence.coarsest
        hidden = choice_hidden.hidden_bound(
            sign * g.within[:, g.columns([verdict])[0]], ready.used, ready.sets,
            units=None if units is None else units[ready.sets],
        )  # fmt: skip
        turn = choice_decide.errors_turn(verdict, facts, g.within, g.errors, g.drivers)
    notes = g.notes + [note for f in (*fits.values(), facts.joint) for note in f.notes]
    notes += choice_cautions.sunlit_air(g.within, g.drivers)
    before, beside_it = choice_cautions.warnings(g.way, g.contrast)
    before += choice_cautions.settling(g.way, verdict)
    answer = Comparison(
        verdict=verdict,
        sentence="",
        table=facts.table,
        coefficients=choice_tables.coefficient_table(fits, g.contrast),
        corrected=facts.corrected,
        bends=shape.table,
        steady=shape.steady,
        curves=choice_decide.curves(verdict, reason, shape, facts.operative),
        fits=fits | facts.bent,
        notes=tuple(dict.fromkeys(notes)),
        chosen=reason not in ("chance", "repeats"),
        reason=reason,
        animals=choice_decide.whom(facts.animals, verdict, facts),
        hidden=hidden,
        errors_turn=turn,
        operative=facts.operative,
        modulator=shape.modulator,
        warnings=(*before, *beside_it),
        **shared,
    )
    return dataclasses.replace(answer, sentence=choice_words.say(answer, facts, g.within, before, beside_it))


def _faint(shared, notes, n_visits):
    """Nothing was testable: still, do the choices go with readings that cannot vouch for it?"""
    held = shared["chance"]["held"]
    answer = _untestable(shared, notes, n_visits)
    if not held.min() <= 1 - LEVEL:
        return answer
    words = choice_words.faint(held.idxmin(), shared)
    return dataclasses.replace(answer, verdict="undecided", reason="unreliable", chosen=True, sentence=words)


def _untestable(shared, notes, n_visits):
    import pandas as pd

    n_sets, contrast = shared["n_sets"], shared["contrast"]
    words = choice_words.not_testable(n_sets, n_visits, contrast, (FEWEST_SETS, choice_chance.FEWEST_UNITS))
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
        reason="untestable",
        **shared,
    )
