"""The verdict of a choice test in words."""

import numpy as np

# No driver beside the named one may be clear at this level.
OTHERS_LEVEL = 0.99
NAMES = {"air": "shade air temperature", "surface": "surface temperature", "radiation": "radiation"}


def say(verdict, table, corrected, joint, fits, testable, within, shared):
    """The verdict, its strength, and what could not be tested."""
    n_sets, n_animals, contrast = shared["n_sets"], shared["n_animals"], shared["contrast"]
    whom = f"{n_sets} choice sets" + (f" of {n_animals} animal{'s' * (n_animals > 1)}" if n_animals else "")
    family = table["family_p"].min()
    draws = shared["settings"]["permutations"]
    as_strong = round(family * (draws + 1)) - 1  # the season itself counts in the p-value
    chance = f"Used places drawn at random gave a pattern as strong in {as_strong} of {draws} draws."
    tail = [chance, *untested(contrast)]
    if not shared["settings"]["instrument_errors"]:
        tail.append("Instrument errors were not stated, so none were allowed for.")
    if verdict == "none":
        best = table.loc[testable, "log_likelihood"].idxmax()
        row = fits[best].odds_ratios(per=contrast.loc[[best], "within_set_sd"]).iloc[0]
        words = (
            f"No sign of selection in {whom}: the strongest pattern was with {spoken(best)}, odds ratio "
            f"{row['odds_ratio']:.3g} ({row['low']:.2g} to {row['high']:.2g}) for one within-set standard deviation."
        )
        return " ".join([words, *tail])
    if verdict == "undecided":
        return " ".join([_say_undecided(whom, table, corrected, joint, testable, within, contrast), *tail])
    row = corrected.loc[verdict]
    others = [n for n in corrected.index if n != verdict]
    held = f", with {_list(map(spoken, others))} held equal" if others else ""
    step = f"{contrast.loc[verdict, 'true_sd']:.3g} {unit_of(contrast.loc[verdict, 'column'])}"
    up = row["log_odds_per_sd"] > 0
    sought = "places with more of it were taken" if up else "places with less of it were taken"
    start = f"In {whom} the animals chose on {spoken(verdict)}: {sought}."
    if not np.isfinite(row["low"]):
        effect = (
            f"The used place could be picked out by it without error{held}, so the odds ratio has no finite estimate."
        )
    else:
        factor, low, high = row[["odds_ratio_per_sd", "low", "high"]]
        effect = (
            f"The odds that a place was used were multiplied by {factor:.3g} (90 % interval {low:.3g} to {high:.3g}) "
            f"for each {step} more, one within-set standard deviation{held}."
        )
    return " ".join([start, effect, *tail])


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
    if not r > 0.6:
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
