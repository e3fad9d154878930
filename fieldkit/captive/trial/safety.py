"""What no trial may do to an animal: both arms are judged before anything is drawn."""

import re

import numpy as np
import pandas as pd

from fieldkit.captive import audit as auditing
from fieldkit.captive import enclosure as model
from fieldkit.captive.targets import Kind

# A step is a day; in a step no point may change by more than this (rule of thumb).
STEP = {"shade_air_c": 2.0, "surface_c": 3.0, "operative_c": 3.0, "irradiance_w_m2": 100.0, "uv_index": 1.0}
WELFARE = (
    "Watching only: no handling, chasing or waking for the sake of a scan.",
    "No arm may withhold heat, light, water, a retreat or food.",
    "The trial ends when a limit is reached, when an animal shows signs of illness or injury, or when in doubt: back "
    "to the usual setup, and to a vet who treats reptiles.",
    "Every change comes in small steps on the settling days, and lamps are touched with the mains unplugged.",
    "Experiments with animals are regulated in many countries: ask what your local law asks for before you begin.",
)
_NEEDS = r"heat|heating|warmth|light|lamps?|water|retreat|hides?|shelter|food|feeding|uv"
_LACK = re.compile(
    r"\b(?:no|without|withhold\w*|remov\w*|tak\w+ away|skip\w*|stop\w*|depriv\w*)\s+"
    rf"(?:the\s+|all\s+|any\s+)?(?:{_NEEDS})\b",
    re.IGNORECASE,
)


def reasons_against(record, aims, *, change, settle, changes=None, after=None):
    """Why a trial may not be run: each a sentence with its remedy.

    Parameters
    ----------
    record : EnclosureRecord
        The usual arm, as it is.
    aims : Targets
        What both arms are held against.
    change : str
        The change in words.
    settle : int
        Settling days at the begin of each period.
    changes : dict, optional
        The change in numbers, as `enclosure.what_if` takes it: ``power_w``, ``height_m``, ``set_point_c``.
    after : EnclosureRecord, optional
        The changed arm, set up and read without its animals or in an earlier period.

    Returns
    -------
    against : list of str
    unknown : list of str
        What nobody could judge.
    """
    against, unknown = [], []
    if _LACK.search(change):
        against.append(
            f"'{change}' reads as if heat, light, water, a retreat or food were withheld. No arm may do that. If it "
            "does not, say the change in other words."
        )
    against += _audited(record, aims, "usual")
    if not len(record.readings):
        unknown.append("The usual arm has no readings, so no limit was judged: read it for three days first.")
    if after is not None:
        against += _audited(after, aims, "changed")
        against += _lost(record, after)
        against += _steps(_moved(record, after), settle)
    elif changes:
        against += _withheld(record, changes)
        if not against:
            found = _predicted(record, changes)
            sure, doubtful = _for_hours(record, found, aims)
            against += _limits(found, aims) + sure + _steps(found, settle)
            unknown += doubtful
    else:
        unknown.append(
            "The changed arm was not judged, because the change is given in words only. Give it in numbers (--power "
            "LAMP=WATTS, --height LAMP=METRES), or set it up without the animals, read it for three days into a folder "
            "of its own and give that with --after."
        )
    return against, unknown


def _audited(record, aims, arm):
    if not len(record.readings):
        return []
    coverage, light = auditing.light_of(record, aims)
    found = auditing.audit(record, aims, coverage=coverage, light=light)
    broken = found.table[found.table["limit_exceeded"]]
    out = [
        f"The {arm} arm exceeds a limit: {row.target} at {row.where} is {row.by_how_much:.2g} {row.unit} above "
        f"{row.high:g}. Mend that first (fieldkit audit)."
        for row in broken.itertuples(index=False)
    ]
    for row in found.dangers.itertuples(index=False):
        out.append(f"The {arm} arm is dangerous in the audit's eyes: {row.flag} ({row.where}). Mend that first.")
    return out


def _withheld(record, changes):
    """Lamps that a change would put out."""
    off = [name for name, watts in (changes.get("power_w") or {}).items() if watts <= 0]
    return [f"The changed arm puts out the lamp '{name}'. No arm may withhold heat or light." for name in off]


def _lost(record, after):
    """Retreats and lamps that the changed arm no longer has."""
    out = []
    if (record.points["zone"] == "retreat").any() and not (after.points["zone"] == "retreat").any():
        out.append("The changed arm has no retreat. No arm may withhold one.")
    for name in sorted(set(record.lamps["kind"]) - set(after.lamps["kind"])):
        out.append(f"The changed arm has no lamp of the kind '{name}' any more. No arm may withhold heat or light.")
    return out


def _predicted(record, changes):
    """What the thermal model says of the changed arm at the hour that read hottest so far."""
    hot = record.readings[record.readings["role"].isin(["surface", "copper_model"])]
    hour = 15.0
    if len(hot):
        hour = float(hot.groupby(hot["time"].dt.hour)["value"].quantile(0.9).idxmax())
    return model.what_if(record, **changes, hour=hour, samples=100).table


def _moved(record, after):
    """Change of the highest readings of each point between two records."""
    roles = {"shade_air": "shade_air_c", "surface": "surface_c", "copper_model": "operative_c"}
    roles |= {"irradiance": "irradiance_w_m2", "uv_index": "uv_index"}
    highest = []
    for one in (record, after):
        read = one.readings[one.readings["role"].isin(list(roles))]
        highest.append(read.groupby(["point_id", "role"], observed=True)["value"].quantile(0.95))
    both = pd.concat(highest, axis=1, keys=["now", "then"]).dropna().reset_index()
    return both.assign(quantity=both["role"].astype("str").map(roles), change=both["then"] - both["now"])


def _limits(found, aims):
    out = []
    limits = aims.table[(aims.table["kind"] == Kind.LIMIT) & ~(aims.table["contact_min"] > 10)]
    for row in limits.itertuples(index=False):
        over = found[(found["quantity"] == row.target) & (found["then_high"] > row.high)]
        for worst in over.sort_values("then_high").tail(1).itertuples(index=False):
            out.append(
                f"The changed arm may exceed a limit: {row.target} at {worst.point_id} is expected at "
                f"{worst.then:.1f} (up to {worst.then_high:.1f}), the limit is {row.high:g} {row.unit}. Change less."
            )
    return out


def _for_hours(record, found, aims):
    """Limits of long contact: the highest mean that was read, moved by what the change is expected to bring.

    Returns
    -------
    sure, doubtful : list of str
        Exceeded whatever the error of reading and model, and exceeded by the best value only.
    """
    sure, doubtful = [], []
    limits = aims.table[(aims.table["kind"] == Kind.LIMIT) & (aims.table["contact_min"] > 10)]
    for row in limits.itertuples(index=False):
        for one in found[found["quantity"] == row.target].itertuples(index=False):
            now = auditing.highest_mean(record, one.point_id, row.contact_min)
            then = now + max(one.change, 0.0)
            if not then > row.high:
                continue
            words = f"the mean of {row.contact_min / 60:g} hours of {row.target} at {one.point_id} is expected at "
            words += f"{then:.1f} ({now:.1f} as it is), the limit is {row.high:g} {row.unit}."
            if then - (one.then_high - one.then) > row.high:
                sure.append(f"The changed arm exceeds a limit: {words} Change less.")
            else:
                doubtful.append(
                    f"Whether the changed arm stays below a limit: {words} Set it up without the animals, read it for "
                    "three days and give that with --after, or lower the surface first."
                )
    return sure, doubtful


def _steps(found, settle):
    """Whether the settling days are enough for a change in small steps."""
    out = []
    for quantity, most in STEP.items():
        rows = found[found["quantity"] == quantity]
        if not len(rows):
            continue
        worst = rows.loc[rows["change"].abs().idxmax()]
        need = int(np.ceil(abs(worst["change"]) / most - 1e-9))
        if need > max(settle, 0) and need > 0 and abs(worst["change"]) > 0:
            out.append(
                f"The change is too big for {settle} settling day{'' if settle == 1 else 's'}: {quantity} at "
                f"{worst['point_id']} changes by {abs(worst['change']):.2g}, and a step a day of at most {most:g} is a "
                f"rule of thumb. Change less, or give --settle {need} (and more --days)."
            )
    return out
