"""From fits and tests to a verdict: what chance and repetition leave, which driver is named, and of whom it is said."""

import dataclasses
from dataclasses import dataclass

import numpy as np

from fieldkit.field.choice import sets as choice_sets
from fieldkit.field.choice import tables as choice_tables
from fieldkit.field.choice.robust import animals as choice_animals
from fieldkit.field.choice.robust import chance as choice_chance
from fieldkit.field.choice.robust import hidden as choice_hidden
from fieldkit.field.choice.robust import places as choice_places
from fieldkit.field.choice.tables import LEVEL, NAMING_LEVEL

# No driver beside the named one may be clear at this level (our choice: stricter than the 90 % of the named one, since
# with two others looked at each season a looser one would hold back one right verdict in ten).
OTHERS_LEVEL = 0.99
# By so much log likelihood the named driver alone has to lead the next one alone (our choice: in simulated seasons of
# 100 sets it took away two of five wrong names and no right one).
LEAST_LEAD = 1.0
# By so much AICc a hump of operative temperature has to beat every candidate (Burnham and Anderson 2002, section 2.6:
# models 4 to 7 behind have considerably less support; the cut at 4 is our choice).
OPERATIVE_GAIN = 4.0
# A driver's own draws below this p are not called "no sign of selection", whatever repeats (our choice).
OWN_LEVEL = 0.01


@dataclass(frozen=True, eq=False, kw_only=True)
class Evidence:
    """Tests against chance by level, the largest p-values, what repeats and the variance of places.

    `gains` is half the squared score of each candidate beyond the liking of places; None where no place has an effect.
    """

    levels: dict
    held: tuple
    repeats: dict
    variance: float
    apart_p: float
    coarsest: np.ndarray | None
    gains: object = None


def against_chance(ready, moved, columns, weights, visits, places, beside, permutations, rng):
    """All tests of the candidates against chance.

    Parameters
    ----------
    ready : choice_sets.Sets
        Rows sorted by set.
    moved : ndarray, shape (n, k)
        Columns of all candidates.
    columns : list of list of int
        Columns of each candidate.
    weights : tuple of list of float
        How often a candidate's p counts when the best is looked for, and the same beyond the liking of places.
    visits : ndarray or None
        Code of the visit of each set.
    places : choice_places.Repeated or None
        Places that stand in several sets.
    beside : list of int
        Columns that the variance of places is estimated beside.
    permutations : int
        Draws of each test.
    rng : numpy.random.Generator
        Source of the draws.

    Returns
    -------
    Evidence
    """
    sets, used, n_sets = ready.sets, ready.used, ready.n_sets
    weights, beyond = weights
    within, sizes = choice_sets.centre(moved, sets)
    first = np.unique(sets, return_index=True)[1]
    animals_of = None if ready.animals is None else ready.animals[first]
    named_of = ready.named[first]
    sums = np.stack([np.bincount(sets, weights=used * c, minlength=n_sets) for c in within.T], axis=1)
    levels = {"draws": choice_chance.permutation_test(within, used, sets, sizes, columns, permutations, rng, weights)}
    units = {}
    if visits is not None and visits.max() + 1 < n_sets:
        units["visits"] = visits
    back = None if places is None else choice_chance.returns(places.of_used, animals_of, named_of)
    if back is not None:
        units["returns"] = back
    apart_places = None if places is None else places.components
    if apart_places is not None:
        units["neighbourhoods"] = apart_places
    owners = _animal_units(animals_of, named_of, visits)
    if owners is not None and choice_chance.FEWEST_ANIMALS <= owners.max() + 1 < n_sets:
        units["animals"] = owners
    for name, code in units.items():
        levels[name] = choice_chance.turning_test(sums, code, columns, permutations, rng, weights)
    variance, residual, gains = 0.0, sums, None
    if places is not None and places.components is None:
        fit, prob, score, information = choice_places.null(moved, ready, places, beside)
        variance = float(fit.variances.iloc[0])
        levels["places"] = choice_chance.normal_test(
            score, information, columns, fit.degrees_of_freedom, permutations, rng, beyond
        )
        gains = _gains(score, information, columns)
        mean = choice_places.expected(moved, sets, prob)
        taken = np.bincount(sets, weights=used)[:, None]
        residual = np.stack([np.bincount(sets, weights=used * c) for c in moved.T], axis=1) - taken * mean
    held = tuple(np.max([p[i] for p in levels.values()], axis=0) for i in (0, 1))
    apart_p = np.nan
    if ready.n_animals >= 3:
        singles = sorted({c[0] for c in columns if len(c) == 1})
        turned = [u for name, u in units.items() if name != "animals"] or [np.arange(n_sets)]
        who = np.where(named_of, animals_of, -1)
        apart_p = choice_animals.apart(residual[:, singles], turned, who, permutations, rng)
    coarse = list(units.values())
    coarsest = min(coarse, key=lambda u: u.max()) if coarse else None
    repeats = {
        "n_visits": n_sets if visits is None else int(visits.max()) + 1,
        "n_returns": n_sets if back is None else int(back.max()) + 1,
        "n_animals": ready.n_animals,
        "n_neighbourhoods": 0 if apart_places is None else int(apart_places.max()) + 1,
        "n_places": 0 if places is None else places.count,
        "place_sd": float(np.sqrt(variance)) if "places" in levels else np.nan,
    }
    return Evidence(
        levels=levels, held=held, repeats=repeats, variance=variance, apart_p=apart_p, coarsest=coarsest, gains=gains
    )


def _gains(score, information, columns):
    """Log likelihood that each candidate adds beyond the liking of places, by its score."""
    import pandas as pd

    return pd.Series(
        [0.5 * float(score[c] @ np.linalg.pinv(information[np.ix_(c, c)], hermitian=True) @ score[c]) for c in columns]
    )


def _animal_units(animals, named, visits):
    """Code of the animal of each set; nameless sets of one day together."""
    if animals is None:
        return None
    if visits is None or named.all():
        return np.unique(animals, return_inverse=True)[1]
    return np.unique(np.where(named, animals, animals.max() + 1 + visits), return_inverse=True)[1]


def chance_table(names, evidence, read):
    """P-values of each candidate by level, and the largest of them, alone and held over all candidates."""
    import pandas as pd

    levels = {name: alone for name, (alone, _) in evidence.levels.items()}
    table = pd.DataFrame(levels, index=pd.Index(names, name="candidate"))
    table["alone"], table["held"] = evidence.held
    return table.loc[[n for n in table.index if n in read or "(" in n or "+" in n]]


@dataclass(frozen=True, eq=False, kw_only=True)
class Facts:
    """All that a verdict and its words rest on; `gains` is the log likelihood of each testable driver alone."""

    gains: object
    table: object
    corrected: object
    fits: dict
    bent: dict
    testable: list
    joint: object
    shape: object
    operative: object
    chance: object
    evidence: Evidence
    animals: object
    contrast: object
    design: object
    n_sets: int
    few_animals: bool

    @property
    def best(self):
        """The testable driver that alone explains most; beyond the liking of places where they repeat."""
        return self.gains.idxmax()

    @property
    def lead(self):
        """Log likelihood by which it leads the next; infinite where it is the only one."""
        order = self.gains.sort_values(ascending=False)
        return float(order.iloc[0] - order.iloc[1]) if len(order) > 1 else np.inf

    @property
    def whole(self):
        """Operative temperature does clearly better than any candidate."""
        return self.operative is not None and self.operative.gain > OPERATIVE_GAIN


def verdict(facts):
    """Verdict, and why no driver is named."""
    chance = facts.chance
    sound = [n for n in chance.index if n in facts.table.index]
    if not chance["held"].min() <= 1 - LEVEL:
        if facts.evidence.apart_p <= choice_animals.APART_LEVEL:
            return "undecided", "apart"
        own = chance.loc[[n for n in chance.index if "(" not in n and "+" not in n], "draws"].min()
        return ("undecided", "repeats") if own < OWN_LEVEL else ("none", "chance")
    if not chance.loc[sound, "held"].min() <= 1 - LEVEL:
        return "undecided", "unreliable"
    if facts.joint.dropped:
        return "undecided", "twins"
    if facts.whole:
        return "undecided", "operative"
    if not facts.shape.steady:
        named = _bent(facts)
        return (named, "") if named else ("undecided", "shape")
    return _straight(facts)


def _straight(facts):
    corrected, best = facts.corrected, facts.best
    alone = np.sign(facts.fits[best].coefficients.iloc[0])
    row = corrected.loc[best]
    named = row["p"] < 1 - NAMING_LEVEL and np.sign(row["log_odds_per_sd"]) == alone and facts.lead >= LEAST_LEAD
    others = corrected["p"].drop(best) < 1 - OTHERS_LEVEL
    if named and not others.any():
        return best, ""
    return "undecided", "several" if (corrected["p"] < 1 - OTHERS_LEVEL).sum() > 1 else "twins"


def _bent(facts):
    block = facts.shape.block_p
    if block is None:
        return None
    heights = {n: facts.table.loc[own(facts.table, n), "aicc"].min() for n in facts.testable}
    best = min(heights, key=heights.get)
    if min(heights.values()) + 2 * LEAST_LEAD > min([v for n, v in heights.items() if n != best], default=np.inf):
        return None
    clear = block[best] < 1 - LEVEL and not (block.drop(best) < 1 - OTHERS_LEVEL).any()
    return best if clear else None


def own(table, driver):
    """Candidates of one driver alone, straight and bent."""
    return [c for c in table.index if c == driver or c.startswith(f"{driver} (")]


def curves(named, reason, shape, operative):
    """The bent relations that the verdict rests on, by name."""
    if reason == "operative":
        return {"operative temperature": operative.curve}
    if shape.steady or reason in ("chance", "repeats", "apart"):
        return {}
    clear = shape.table[shape.table["clear"]]
    mine = clear[clear["driver"] == named]
    return {name: shape.curves[name] for name in (mine if len(mine) else clear).index}


def errors_turn(named, facts, within, errors, columns):
    """Reading error of each instrument at which the named driver would no longer be named."""

    from scipy import special

    names = list(facts.joint.coefficients.index)
    s_w = choice_tables.within_covariance(names, facts.contrast, within, facts.n_sets)
    k, df = names.index(named), facts.joint.degrees_of_freedom
    sign = np.sign(facts.fits[named].coefficients.iloc[0])

    def stands(tried):
        stated = np.array([tried.get(columns[n], 0.0) for n in names])
        # As `choice_sets.contrast` asks of a testable driver: half of the variance is real.
        if s_w[k, k] < 2 * stated[k] ** 2:
            return False
        estimate, error = choice_tables.calibrated(facts.joint, s_w, stated)
        t = -np.abs(estimate) / error
        p = 2 * (special.stdtr(df, t) if np.isfinite(df) else special.ndtr(t))
        others = np.delete(p, k) < 1 - OTHERS_LEVEL
        return bool(p[k] < 1 - NAMING_LEVEL and np.sign(estimate[k]) == sign and not others.any())

    if facts.joint.separated or not facts.shape.steady:
        return None
    return choice_hidden.turning_errors(named, stands, errors, columns)


def animals(ready, within, contrast, beside, joint, visits, evidence, permutations, rng):
    """Do animals differ, and which is met most? None with fewer than two named animals."""
    import pandas as pd

    if ready.n_animals < 2:
        return None
    first = np.unique(ready.sets, return_index=True)[1]
    who = np.where(ready.named[first], ready.animals[first], -1)
    counts = np.bincount(who[who >= 0], minlength=ready.n_animals)
    p, worst, spread, missable = np.nan, np.nan, np.full(len(beside), np.nan), np.full(len(beside), np.nan)
    if ready.n_animals >= 3 and not joint.separated and not joint.dropped:
        sd = contrast.loc[beside, "within_set_sd"].to_numpy()
        units = np.arange(ready.n_sets) if visits is None else visits
        p, spread, missable, worst = choice_animals.differences(
            within / sd, ready.used, ready.sets, who, units, joint.coefficients[beside].to_numpy() * sd,
            min(permutations, 499), rng,
        )  # fmt: skip
    return choice_animals.Animals(
        whom="the animals",
        differ_p=p,
        differ=bool(p <= choice_animals.DIFFER_LEVEL),
        spread=pd.Series(spread, index=beside),
        missable=pd.Series(missable, index=beside),
        worst=worst,
        largest=str(ready.names[int(counts.argmax())]),
        largest_share=float(counts.max() / ready.n_sets),
        without_largest=None,
        apart_p=evidence.apart_p,
    )


def whom(found, named, facts):
    """Of whom a named driver is told, from what shows and what could have been missed."""
    from scipy import special

    if found is None or named not in found.spread.index or not np.isfinite(found.differ_p):
        return found
    scale = facts.contrast.loc[named, "within_set_sd"] / facts.contrast.loc[named, "true_sd"]
    effect = abs(facts.corrected.loc[named, "log_odds_per_sd"]) * scale
    if found.differ:
        spread = found.spread[named]
        # Were slopes normal, this share would have the sign of their mean.
        agreeing = special.ndtr(effect / spread) if spread > 0 else 1.0
        words = "most of the animals" if agreeing >= choice_animals.MOST else "some of the animals"
        return dataclasses.replace(found, whom=words)
    if not found.worst <= effect / 2:
        return dataclasses.replace(found, whom="the animals on average")
    return found


def without_largest(answer, rest):
    """The answer, told with what stays of it when the animal met most is left out."""
    one = dataclasses.replace(answer.animals, without_largest=rest.verdict)
    if rest.verdict == answer.verdict:
        return dataclasses.replace(answer, animals=one)
    from fieldkit.field.choice import words as choice_words

    one = dataclasses.replace(one, whom="one of the animals")
    words = choice_words.one_animal(answer, rest)
    named = answer.verdict if answer.verdict in ("undecided", "untestable") else "undecided"
    reason = "one animal" if answer.verdict != "undecided" else answer.reason
    return dataclasses.replace(answer, verdict=named, reason=reason, animals=one, sentence=words, hidden=np.nan)
