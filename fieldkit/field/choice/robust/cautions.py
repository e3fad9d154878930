"""Cautions of a choice verdict in words: order of reading, picking and spacing of places, air that follows the sun."""

import numpy as np

from fieldkit.field.choice.robust import design as choice_design
from fieldkit.field.choice.words import listed, spoken, unit_of

# Within-set correlation of shade air with radiation above which the thermometer is doubted (our choice: air that truly
# followed the sun, by a standard deviation of 0.3 °C, read with an error of 0.4 °C, would show just that).
SUNLIT_AIR = 0.6


def warnings(design, contrast):
    """What has to be read before the verdict, and what beside it: how places were read and spaced, and picked."""
    out, beside = [], []
    if design.drifting:
        told = ", ".join(
            f"{spoken(n)} by {design.drift.loc[n, 'per_step']:+.2g} {unit_of(contrast.loc[n, 'column'])}"
            for n in design.drifting
        )
        step = "a minute" if design.order == "minutes" else "a place read"
        first = ""
        if design.first_share >= choice_design.ALWAYS:
            first = f", and the used place was read first in {100 * design.first_share:.0f} % of the sets"
        out.append(
            f"Warning: the readings of unused places changed with the order in which they were read ({told} for {step})"
            f"{first}. A warming morning or a drifting instrument does that; the change was taken out before the test, "
            "as far as it is the same at all places, and where use and order go together at that end of its 95 % "
            "interval which explains most."
        )
    elif design.always_first:
        told = ", ".join(
            f"{spoken(n)} {v:.2g} {unit_of(contrast.loc[n, 'column'])}" for n, v in design.drift["reach"].items()
        )
        out.append(
            f"Warning: the used place was read first in {100 * design.first_share:.0f} % of the sets. No drift of the "
            f"readings shows, but one too small to see here could set used places apart by up to {told}."
        )
    if not design.by_rule:
        stated = "were picked by the observers" if design.drawn == choice_design.PICKED else "were found is not stated"
        subject = "The places compared with" if design.drawn == choice_design.PICKED else "How the places compared with"
        beside.append(
            f"{subject} {stated}: a verdict holds against the places the observers picked, and a pick from the sunny "
            "or the shady side would make one by itself."
        )
    if design.per_metre is not None:
        told = ", ".join(
            f"{spoken(n)} {v:+.2g} {unit_of(contrast.loc[n, 'column'])}" for n, v in design.per_metre.items()
        )
        beside.append(f"What goes with the distance of a place was taken out of the readings first (a metre: {told}).")
    if design.alike:
        out.append(
            f"The places of a set were alike in {listed(map(spoken, design.alike))}, though sets of one hour differ: "
            "the places may lie too near to the animal's, and selection over longer distances would not show."
        )
    return out, beside


def settling(design, verdict):
    """A verdict on air that a thermometer which had not settled at the used place would make by itself."""
    if verdict != "air" or not np.isfinite(design.settling_c):
        return []
    more, warm = ("higher", "warm") if design.settling_c > 0 else ("lower", "cold")
    return [
        f"Warning: shade air was {abs(design.settling_c):.2g} °C {more} at used places, and a thermometer that had not "
        f"settled at the first place it was put to, still {warm} from the hand or the pocket, would make that by "
        "itself. Nothing says in which order the places were read: note the minutes of each reading, and read the used "
        "place first in some sets and last in others, after the thermometer has come to rest."
    ]


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
