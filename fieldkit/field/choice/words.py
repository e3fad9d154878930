"""The verdict of a choice test in words."""

import numpy as np

from fieldkit.field.choice.robust import design as choice_design
from fieldkit.field.choice.robust import hidden as choice_hidden
from fieldkit.field.stats.intervals import critical_value

OPERATIVE_GAIN = 4.0
OTHERS_LEVEL = 0.99

NAMES = {"air": "shade air temperature", "surface": "surface temperature", "radiation": "radiation"}


def say(answer, facts, within, first, after):
    """The verdict, its strength, of whom it is true, and what could not be tested."""
    start = _start(answer, facts, within)
    tail = [_repeats(answer), *_whom(answer, facts), *_beside(answer, facts), *untested(answer.contrast)]
    if not answer.settings["instrument_errors"]:
        tail.append("Instrument errors were not stated, so none were allowed for.")
    return " ".join([*first, start, *after, *tail])


def _start(answer, facts, within):
    whom = who(answer)
    if answer.reason == "chance":
        return _none(answer, facts, whom)
    if answer.reason == "repeats":
        return _repeated(answer, facts, whom)
    if answer.reason == "apart":
        return (
            f"In {whom} animals chose, but each in its own way: no predictor was sought, or avoided, by the animals "
            f"together (animals against chance, p {answer.animals.apart_p:.2g}). See the animals one by one."
        )
    if answer.reason == "unreliable":
        name = answer.chance["held"].idxmin()
        return f"{faint(name, {'contrast': answer.contrast, 'n_sets': answer.n_sets, 'n_animals': answer.n_animals})}"
    if answer.reason == "operative":
        made = "as read by the copper model" if facts.operative.source == "read" else _computed(facts.operative)
        return (
            f"The animals chose their places ({whom}) for an operative temperature, {made}, which air, surface and "
            f"radiation make together, and not for one of them by itself: a preference for values near "
            f"{facts.operative.top:.3g} °C fits better than any of them (AICc lower by {facts.operative.gain:.3g})."
        )
    if not answer.steady:
        return _say_bent(answer, facts, whom)
    if answer.verdict == "undecided":
        return _say_undecided(whom, facts, within)
    return _named(answer, facts, whom)


def who(answer):
    """Sets and animals, in words."""
    n = answer.n_animals
    return f"{answer.n_sets} choice sets" + (f" of {n} animal{'s' * (n > 1)}" if n else "")


def than(design):
    """The places that used places are compared with."""
    if design.by_rule:
        return f"the available places ({design.drawn})"
    return "the places the observers picked" if design.drawn == choice_design.PICKED else "the other places read"


def _named(answer, facts, whom):
    name, row = answer.verdict, answer.corrected.loc[answer.verdict]
    others = [n for n in answer.corrected.index if n != name]
    beyond = f", beyond what {listed(map(spoken, others))} explain{'s' * (len(others) == 1)}" if others else ""
    more = more_of(name, row["log_odds_per_sd"] > 0)
    start = (
        f"In {whom} used places {more} than {than(answer.design)}{beyond}: {_subject(answer)} chose on {spoken(name)}."
    )
    return f"{start} {_effect(answer, 'T')}"


def more_of(name, up):
    """ "had more radiation", "had a lower surface temperature"."""
    if name == "radiation":
        return f"had {'more' if up else 'less'} radiation"
    if name in NAMES:
        return f"had a {'higher' if up else 'lower'} {spoken(name)}"
    return f"had {'more' if up else 'less'} {spoken(name)}"


def _subject(answer):
    return "the animals" if answer.animals is None else answer.animals.whom


def _effect(answer, first):
    """Odds ratio of the named driver, others held equal."""
    verdict, corrected, contrast = answer.verdict, answer.corrected, answer.contrast
    row = corrected.loc[verdict]
    others = [n for n in corrected.index if n != verdict]
    held = f", with {listed(map(spoken, others))} held equal" if others else ""
    column = contrast.loc[verdict, "column"]
    step = f"{contrast.loc[verdict, 'true_sd']:.3g} {unit_of(column)} more, one within-set standard deviation"
    if not np.isfinite(row["low"]):
        return (
            f"The used place could be picked out by it without error{held}, so the odds ratio has no finite estimate."
        )
    values = np.log(row[["odds_ratio_per_sd", "low", "high"]].to_numpy(dtype=float))
    if ": " in column:
        values, step = values / contrast.loc[verdict, "true_sd"], "yes against no"
    factor, low, high = np.exp(np.clip(values, -20, 20))
    return (
        f"{first}he odds that a place was used were multiplied by {factor:.3g} (90 % interval {low:.3g} to {high:.3g}) "
        f"for {'each ' if ': ' not in column else ''}{step}{held}."
    )


def _none(answer, facts, whom):
    """No sign, what could still be, and what would have been found."""
    parts = []
    for name in [n for n in answer.chance.index if n in answer.contrast.index]:
        got = _alone(answer, facts, name)
        if got is not None:
            parts.append(f"{spoken(name)} {got[0]:.2g} to {got[1]:.2g} ({got[2]:.2g} or more)")
    return (
        f"No sign of selection in {whom}, be it for more, for less or for middle values. Odds ratios for one "
        "within-set standard deviation more that are still possible (95 % interval; in brackets what four seasons of "
        f"five like this one would have found): {'; '.join(parts)}."
    )


def _alone(answer, facts, name):
    """Limits of the odds ratio of one driver alone, and the ratio found in four seasons of five."""

    got = facts.fits.get(name)
    if got is None:
        return None
    b = got.coefficients.iloc[0] * answer.contrast.loc[name, "within_set_sd"]
    se = float(np.sqrt(got.wider_covariance.iloc[0, 0])) * answer.contrast.loc[name, "within_set_sd"]
    z = critical_value(0.95, degrees_of_freedom=got.degrees_of_freedom)
    if not np.isfinite([b, se]).all():
        return None
    return np.exp([b - z * se, b + z * se, (z + 0.84) * se])


def _repeated(answer, facts, whom):
    """A pattern that a few animals, visits or places could make by themselves."""
    singles = [n for n in answer.chance.index if n in answer.contrast.index]
    name = answer.chance.loc[singles, "draws"].idxmin()
    levels = answer.chance.loc[name].drop(["alone", "held", "draws"])
    worst = levels.idxmax() if len(levels) else "draws"
    count = {
        "visits": "n_visits",
        "returns": "n_returns",
        "animals": "n_animals",
        "places": "n_places",
        "neighbourhoods": "n_neighbourhoods",
    }.get(worst)
    unit = {
        "visits": "visits (one animal on one day)",
        "returns": "pairs of an animal and its place",
        "animals": "animals",
        "places": "places",
        "neighbourhoods": "neighbourhoods (places that were compared with each other)",
    }.get(worst, "sets")
    return (
        f"This season cannot tell whether anything was chosen. In {whom} used places differed from "
        f"{than(answer.design)} in {spoken(name)}, but the same came back again and again: "
        f"{answer.repeats.get(count, answer.n_sets)} {unit} could make such a pattern by chance (p "
        f"{levels.get(worst, np.nan):.2g}). More of them would tell, not more looks."
    )


def faint(name, shared):
    """The pattern goes with readings that cannot vouch for it."""
    row = shared["contrast"].loc[name.partition(" (")[0].partition(" + ")[0]]
    return (
        f"The animals chose their places ({shared['n_sets']} choice sets), and it goes with {spoken(name)}, which "
        f"these instruments cannot vouch for: it differed by {row['within_set_sd']:.2g} {unit_of(row['column'])} "
        f"within sets, with a reading error of {row['instrument_error']:.2g}. A finer instrument would tell."
    )


def one_animal(answer, rest):
    """The verdict rests on one animal."""
    a = answer.animals
    found = {"none": "no sign of selection is left", "untestable": "too little is left to test"}.get(
        rest.verdict, "the others cannot tell" if rest.verdict == "undecided" else f"the others chose on {rest.verdict}"
    )
    on = f"on {spoken(answer.verdict)} " if answer.verdict not in ("undecided", "none") else ""
    return " ".join(
        [
            f"One of the animals chose {on}({a.largest}, which made {100 * a.largest_share:.0f} % of "
            f"{answer.n_sets} choice sets); without it {found}. What the animals of this place do cannot be told.",
            f"With it: {answer.sentence}",
        ]
    )


def _repeats(answer):
    """How chance was asked, by each level."""
    row = answer.chance.loc[answer.chance["held"].idxmin()]
    draws = answer.settings["permutations"]
    told = {
        "draws": "of the used places, drawn again within each set,",
        "visits": f"of the {answer.repeats['n_visits']} visits (one animal on one day)",
        "returns": f"of the {answer.repeats['n_returns']} pairs of an animal and its place",
        "neighbourhoods": f"of the {answer.repeats['n_neighbourhoods']} neighbourhoods",
        "animals": f"of the {answer.repeats['n_animals'] or 'known'} animals",
    }
    count = (round(row["draws"] * (draws + 1))) - 1
    words = f"Used places drawn again at random gave the best candidate's pattern in {count} of {draws} draws"
    for name in ("visits", "returns", "neighbourhoods", "animals"):
        if name in row.index:
            many = (round(row[name] * (draws + 1))) - 1
            words += f"; random sign-flips {told[name]} in {many}"
    words += "."
    if "places" in row.index:
        words += f" Beyond the liking of {answer.repeats['n_places']} places, p {row['places']:.2g}; " + (
            "some places were liked for something that was not read (standard deviation of log odds "
            f"{answer.repeats['place_sd']:.2g})."
            if answer.repeats["place_sd"] > 0.3
            else "places were not liked for anything else that shows."
        )
    return words


def _whom(answer, facts):
    """Animals that differ, or that do not as far as this season can see."""
    out, a = [], answer.animals
    if facts.few_animals:
        out.append(
            f"This says what {'this animal' if answer.n_animals == 1 else 'these two animals'} did, not what others do."
        )
    if a is None or not np.isfinite(a.differ_p) or answer.reason in ("chance", "repeats"):
        return out
    name = answer.verdict if answer.verdict in a.spread.index else a.spread.idxmax()
    if a.differ:
        out.append(
            f"The animals differed (p {a.differ_p:.2g}; standard deviation between animals "
            f"{', '.join(f'{spoken(n)} {v:.2g}' for n, v in a.spread.items())} log odds per within-set standard "
            "deviation): what holds on average need not hold for each."
        )
    else:
        out.append(
            f"No sign that animals differ (p {a.differ_p:.2g}); differences of {a.missable[name]:.2g} in the log odds "
            f"of {spoken(name)} (standard deviation) could have been missed."
        )
    return out


def _computed(operative):
    return (
        "computed from the readings by the kit's energy balance (typical error "
        f"{operative.error_c:.2g} °C), because no copper model was read"
    )


def _beside(answer, facts):
    """Operative temperature, changes of the pull, shapes not checked, hidden things, errors."""
    out, o = [], facts.operative
    if answer.reason in ("chance", "repeats", "apart", "unreliable"):
        return out
    out += _changes(answer, facts)
    if not facts.shape.checked and not facts.joint.separated and not facts.joint.dropped:
        out.append("Whether middle values are preferred could not be checked.")
    if o is not None and answer.reason != "operative":
        made = "read" if o.source == "read" else "computed from the readings"
        if o.gain > -OPERATIVE_GAIN:
            out.append(
                f"A preference for middle values of operative temperature ({made}), near {o.top:.3g} °C, cannot be "
                f"told from {o.rival}: its AICc is {'lower' if o.gain > 0 else 'higher'} by {abs(o.gain):.2g}."
            )
        else:
            out.append(
                f"A preference for middle values of operative temperature ({made}) accounts for the choices less well "
                f"(AICc higher by {-o.gain:.3g})."
            )
    if np.isfinite(answer.hidden) or np.isposinf(answer.hidden):
        factor = f"{answer.hidden:.2g}" if np.isfinite(answer.hidden) else f"over {choice_hidden.LARGEST_GAMMA:g}"
        out.append(
            "Something that was not read could explain this if it changed the odds of use "
            f"{factor}-fold between places of a set and went with {spoken(answer.verdict)} as closely as could be."
        )
    turn = answer.errors_turn
    if turn is not None and np.isfinite(turn["times"]).any():
        row = turn.loc[turn["times"].idxmin()]
        unit = unit_of(answer.contrast.loc[row.name, "column"])
        out.append(
            f"With a reading error of {spoken(row.name)} of {row['turns_at']:.2g} {unit} (stated: {row['stated']:.2g}) "
            "the verdict would turn."
        )
    return out


def _changes(answer, facts):
    """A season of seeking when cool and fleeing when hot averages to little: that must not be passed over."""
    for kind, what in (("changing with air", "shade air"), ("changing with hour", "the hour")):
        got = facts.bent.get(f"radiation ({kind})")
        if got is None or got.separated or got.dropped:
            continue
        p = got.p_value("bend")
        if not p < 1 - OTHERS_LEVEL:
            continue
        if answer.modulator == "hour" and kind == "changing with air":
            continue
        way = "falls" if got.coefficients["bend"] < 0 else "rises"
        if answer.modulator == "either":
            what = "shade air or with the hour, which this season cannot tell apart"
        return [
            f"Selection for radiation {way} with {what} (p {p:.2g}), so the average over the season hides part of it: "
            "see the switch point. Animals that seek an operative temperature do this too."
        ]
    return []


def _say_bent(answer, facts, whom):
    """A verdict on drivers that are not simply sought or avoided."""
    shape, verdict = facts.shape, answer.verdict
    words = bent(told(verdict, shape.table), answer.contrast["column"], answer.modulator)
    straight = [
        n for n in answer.corrected.index
        if answer.corrected.loc[n, "p"] < 1 - OTHERS_LEVEL and n not in set(told(verdict, shape.table)["driver"])
    ]  # fmt: skip
    also = ""
    if straight:
        each = [more_of(n, answer.corrected.loc[n, "log_odds_per_sd"] > 0) for n in straight]
        also = f" Used places also {listed(each)} than {than(answer.design)}, beyond the rest."
    if verdict != "undecided":
        start = (
            f"In {whom} {_subject(answer)} chose on {spoken(verdict)}, but not simply for more or less of it: {words}."
        )
        return f"{start}{also} {_effect(answer, 'On average over the season t')}"
    start = f"The animals chose their places ({whom}), but not simply for more or less of one thing, and this season"
    why = "cannot tell for what."
    if shape.block_p is None:
        why = f"({answer.n_sets} sets) is too small to hold all shapes of preference side by side."
    return f"{start} {why} Each by itself beside the other drivers: {words}.{also}"


def told(verdict, bends):
    """Rows of the bends that a verdict rests on: the clear ones of the named driver, or all that are clear."""
    clear = bends[bends["clear"]]
    own = clear[clear["driver"] == verdict]
    return own if len(own) else clear


def bent(bends, columns, modulator=""):
    """What bends say, in words; `columns` is the column of each driver, `modulator` what the pull changes with."""
    return listed([_bend(row, columns[row["driver"]], modulator) for _, row in bends.iterrows()])


def _bend(row, column, modulator):
    name = spoken(row["driver"])
    if row["kind"] != "middle":
        what = "shade air" if row["kind"] == "by air" else "the hour"
        what = "shade air or the hour" if modulator == "either" else what
        return f"selection for {name} {'falls' if row['log_odds'] < 0 else 'rises'} with {what}"
    if row["log_odds"] > 0:
        return f"low and high values of {name} went before those between"
    if not row["offered_low"] <= row["top"] <= row["offered_high"]:
        return f"selection for {name} levels off"
    limits = f"{row['low']:.3g} to {row['high']:.3g}"
    if not np.isfinite([row["low"], row["high"]]).all():
        limits = "without finite limits"
    return f"middle values of {name} were preferred, near {row['top']:.3g} {unit_of(column)} (95 % interval {limits})"


def _say_undecided(whom, facts, within):
    corrected, contrast, testable = facts.corrected, facts.contrast, facts.testable
    start = f"The animals chose their places ({whom}), but this season cannot tell on what."
    if facts.joint.dropped:
        return f"{start} Within the sets, {listed(facts.joint.dropped)} is fixed by the other drivers."
    clear = [n for n in corrected.index if corrected.loc[n, "p"] < 1 - OTHERS_LEVEL]
    beside = "; ".join(
        f"{spoken(n)} {r['odds_ratio_per_sd']:.3g} ({r['low']:.2g} to {r['high']:.2g})" for n, r in corrected.iterrows()
    )
    beside = f"Side by side, odds ratios per within-set standard deviation (90 % interval): {beside}."
    if len(clear) > 1:
        start = (
            f"The animals chose their places ({whom}) on more than one thing: {listed(map(spoken, clear))} each count."
        )
        return f"{start} {beside}"
    best = facts.best
    if len(testable) > 1:
        order = list(contrast.index)
        with np.errstate(invalid="ignore", divide="ignore"):
            r = np.corrcoef(within.T)[order.index(best)]
        partner = max((n for n in testable if n != best), key=lambda n: abs(r[order.index(n)]))
        beside += (
            f" Within sets {spoken(best)} and {spoken(partner)} had a correlation of {r[order.index(partner)]:.2f}: "
            "more sets, or places where the two part, would tell."
        )
    return f"{start} {beside}"


def not_testable(n_sets, n_visits, contrast, fewest):
    """Why a season carries no verdict; `fewest` sets and visits would."""
    if n_sets < fewest[0]:
        return f"Not testable: {n_sets} usable choice sets are too few for a verdict; at least {fewest[0]} are needed."
    if n_visits < fewest[1]:
        return (
            f"Not testable: the {n_sets} choice sets come from {n_visits} visit{'s' * (n_visits != 1)} (one animal on "
            f"one day), and an animal that stays where it is does not choose again; at least {fewest[1]} are needed."
        )
    return "Not testable: there was nothing to select on. " + " ".join(untested(contrast))


def untested(contrast):
    """One sentence for each driver without enough contrast."""
    out = []
    for name, row in contrast[~contrast["testable"]].iterrows():
        error = "" if np.isnan(row["instrument_error"]) else f", instrument error {row['instrument_error']:.2g}"
        unit = unit_of(row["column"])
        out.append(
            f"{spoken(name).capitalize()} could not be tested: it {row['why']} (within-set standard deviation "
            f"{row['within_set_sd']:.2g}{error} {unit})."
        )
    return out


def spoken(driver):
    """What a driver is called in a sentence."""
    return NAMES.get(driver, driver.replace("_", " "))


def unit_of(column):
    """Unit that ends the name of a column."""
    return "W/m²" if column.endswith("_w_m2") else "°C" if column.endswith("_c") else "units"


def listed(words):
    words = list(words)
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
