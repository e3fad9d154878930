"""The verdict of a choice test in words."""

import numpy as np

# No driver beside the named one may be clear at this level (our choice: stricter than the 90 % of the named one, since
# with two others looked at each season a looser one would hold back one right verdict in ten).
OTHERS_LEVEL = 0.99
# By so much AICc a hump of operative temperature has to beat every candidate (Burnham and Anderson 2002, section 2.6:
# models 4 to 7 behind have considerably less support; the cut at 4 is our choice).
OPERATIVE_GAIN = 4.0
# Within-set correlation of shade air with radiation above which the thermometer is doubted (our choice: air that truly
# followed the sun, by a standard deviation of 0.3 °C, read with an error of 0.4 °C, would show just that).
SUNLIT_AIR = 0.6
NAMES = {"air": "shade air temperature", "surface": "surface temperature", "radiation": "radiation"}


def say(verdict, table, corrected, joint, fits, testable, within, shared, shape, chance, by_air):
    """The verdict, its strength, and what could not be tested."""
    n_sets, n_animals, contrast = shared["n_sets"], shared["n_animals"], shared["contrast"]
    whom = f"{n_sets} choice sets" + (f" of {n_animals} animal{'s' * (n_animals > 1)}" if n_animals else "")
    tail = [_chance(chance, shared["settings"]["permutations"]), *untested(contrast)]
    if not shared["settings"]["instrument_errors"]:
        tail.append("Instrument errors were not stated, so none were allowed for.")
    if verdict == "none":
        best = table.loc[testable, "log_likelihood"].idxmax()
        row = fits[best].odds_ratios(per=contrast.loc[[best], "within_set_sd"]).iloc[0]
        words = (
            f"No sign of selection in {whom}, be it for more, for less or for middle values: the strongest steady "
            f"pattern was with {spoken(best)}, odds ratio {row['odds_ratio']:.3g} ({row['low']:.2g} to "
            f"{row['high']:.2g}) for one within-set standard deviation."
        )
        return " ".join([words, *tail])
    if by_air is not None:
        tail += _changes_with_air(by_air)
    if not shape.checked and not joint.separated and not joint.dropped:
        tail.append("Whether middle values are preferred could not be checked.")
    if chance["few_animals"]:
        tail.append(
            f"This says what {'this animal' if n_animals == 1 else 'these two animals'} did, not what others do."
        )
    gain = chance["operative"]
    if gain is not None:
        how = "better than" if gain > OPERATIVE_GAIN else "about as well as" if gain > 0 else "less well than"
        limit = f"; above {OPERATIVE_GAIN:g} no driver would be named" if 0 < gain <= OPERATIVE_GAIN else ""
        tail.append(
            f"A hump of operative temperature accounts for the choices {how} the best candidate (AICc "
            f"{'lower' if gain > 0 else 'higher'} by {abs(gain):.3g}{limit})."
        )
    if gain is not None and gain > OPERATIVE_GAIN:
        start = (
            f"The animals chose their places ({whom}) for an operative temperature, which air, surface and radiation "
            "make together, and not for one of them by itself: see the preferred value."
        )
        return " ".join([start, *tail])
    if not shape.steady:
        return " ".join([_say_bent(verdict, whom, shape, n_sets, contrast, corrected), *tail])
    if verdict == "undecided":
        return " ".join([_say_undecided(whom, table, corrected, joint, testable, within, contrast), *tail])
    up = corrected.loc[verdict, "log_odds_per_sd"] > 0
    sought = "places with more of it were taken" if up else "places with less of it were taken"
    start = f"In {whom} the animals chose on {spoken(verdict)}: {sought}."
    return " ".join([start, _effect(verdict, corrected, contrast, "T"), *tail])


def _effect(verdict, corrected, contrast, first):
    """Odds ratio of the named driver, others held equal."""
    row = corrected.loc[verdict]
    others = [n for n in corrected.index if n != verdict]
    held = f", with {_list(map(spoken, others))} held equal" if others else ""
    step = f"{contrast.loc[verdict, 'true_sd']:.3g} {unit_of(contrast.loc[verdict, 'column'])}"
    if not np.isfinite(row["low"]):
        return (
            f"The used place could be picked out by it without error{held}, so the odds ratio has no finite estimate."
        )
    factor, low, high = row[["odds_ratio_per_sd", "low", "high"]]
    return (
        f"{first}he odds that a place was used were multiplied by {factor:.3g} (90 % interval {low:.3g} to {high:.3g}) "
        f"for each {step} more, one within-set standard deviation{held}."
    )


def _chance(chance, draws):
    # The season itself counts in a p-value.
    strong = [None if p is None else round(p * (draws + 1)) - 1 for p in (chance["drawn"], chance["turned"])]
    words = f"Used places drawn at random gave a pattern as strong in {strong[0]} of {draws} draws"
    if strong[1] is not None:
        words += f"; the {chance['visits']} visits (one animal on one day) turned round at random, in {strong[1]}"
    return words + "."


def _changes_with_air(by_air):
    """A season of seeking when cool and fleeing when hot averages to little: that must not be passed over."""
    if by_air.separated or by_air.dropped:
        return []
    p = by_air.p_value("bend")
    if not p < 1 - OTHERS_LEVEL:
        return []
    way = "falls" if by_air.coefficients["bend"] < 0 else "rises"
    return [
        f"Selection for radiation {way} with shade air (p {p:.2g}), so the average over the season hides part of it: "
        "see the switch point. Animals that seek an operative temperature do this too."
    ]


def _say_bent(verdict, whom, shape, n_sets, contrast, corrected):
    """A verdict on drivers that are not simply sought or avoided."""
    words = bent(told(verdict, shape.table), contrast["column"])
    if verdict != "undecided":
        start = f"In {whom} the animals chose on {spoken(verdict)}, but not simply for more or less of it: {words}."
        return f"{start} {_effect(verdict, corrected, contrast, 'On average over the season t')}"
    start = f"The animals chose their places ({whom}), but not simply for more or less of one thing, and this season"
    why = "cannot tell for what."
    if shape.block_p is None:
        why = f"({n_sets} sets) is too small to hold all shapes of preference side by side."
    return f"{start} {why} Each by itself beside the other drivers: {words}."


def told(verdict, bends):
    """Rows of the bends that a verdict rests on: the clear ones of the named driver, or all that are clear."""
    clear = bends[bends["clear"]]
    own = clear[clear["driver"] == verdict]
    return own if len(own) else clear


def bent(bends, columns):
    """What bends say, in words; `columns` is the column of each driver."""
    return _list([_bend(row, columns[row["driver"]]) for _, row in bends.iterrows()])


def _bend(row, column):
    name = spoken(row["driver"])
    if row["kind"] == "by air":
        return f"the pull of {name} {'falls' if row['log_odds'] < 0 else 'rises'} with shade air"
    if row["log_odds"] > 0:
        return f"low and high values of {name} went before those between"
    if not row["offered_low"] <= row["top"] <= row["offered_high"]:
        return f"the pull of {name} levels off"
    limits = f"{row['low']:.3g} to {row['high']:.3g}"
    if not np.isfinite([row["low"], row["high"]]).all():
        limits = "without finite limits"
    return f"middle values of {name} were preferred, near {row['top']:.3g} {unit_of(column)} (95 % interval {limits})"


def _say_undecided(whom, table, corrected, joint, testable, within, contrast):
    start = f"The animals chose their places ({whom}), but this season cannot tell on what."
    if joint.dropped:
        return f"{start} Within the sets, {_list(joint.dropped)} is fixed by the other drivers."
    clear = [n for n in corrected.index if corrected.loc[n, "p"] < 1 - OTHERS_LEVEL]
    beside = "; ".join(
        f"{spoken(n)} {r['odds_ratio_per_sd']:.3g} ({r['low']:.2g} to {r['high']:.2g})" for n, r in corrected.iterrows()
    )
    beside = f"Side by side, odds ratios per within-set standard deviation (90 % interval): {beside}."
    if len(clear) > 1:
        start = (
            f"The animals chose their places ({whom}) on more than one thing: {_list(map(spoken, clear))} each count."
        )
        return f"{start} {beside}"
    best = table.loc[testable, "log_likelihood"].idxmax()
    if len(testable) > 1:
        order = list(contrast.index)
        r = np.corrcoef(within.T)[order.index(best)]
        partner = max((n for n in testable if n != best), key=lambda n: abs(r[order.index(n)]))
        beside += (
            f" Within sets {spoken(best)} and {spoken(partner)} had a correlation of {r[order.index(partner)]:.2f}: "
            "more sets, or places where the two part, would tell."
        )
    return f"{start} {beside}"


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


def sunlit_air(within, drivers):
    """A thermometer that stood in the sun makes radiation look like air."""
    if not {"air", "radiation"} <= set(drivers):
        return []
    j = [list(drivers).index(n) for n in ("air", "radiation")]
    with np.errstate(invalid="ignore", divide="ignore"):
        r = np.corrcoef(within[:, j].T)[0, 1]
    if not r > SUNLIT_AIR:
        return []
    return [
        f"Within sets the shade air readings follow the radiation (correlation {r:.2f}): a thermometer may have stood "
        "in the sun, which would make radiation look like air. Check the readings before believing a verdict on air."
    ]


def spoken(driver):
    """What a driver is called in a sentence."""
    return NAMES.get(driver, driver.replace("_", " "))


def unit_of(column):
    """Unit that ends the name of a column."""
    return "W/m²" if column.endswith("_w_m2") else "°C" if column.endswith("_c") else "units"


def _list(words):
    words = list(words)
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
