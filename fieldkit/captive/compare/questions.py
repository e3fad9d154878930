"""The questions that are asked of both sides, one row each."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.captive.compare import slopes
from fieldkit.captive.compare.estimate import NOBODY, Estimate, mean
from fieldkit.captive.compare.hours import FEWEST_SETS, STEP_H, by_light, taken_range, used_places
from fieldkit.core import FieldkitError
from fieldkit.field.thermoregulation import distance, range_of_season

# Half-width of "alike" by question, in its unit: rules of thumb, to be set by whoever asks.
MARGINS = {
    "selection_radiation": 0.4,
    "selection_surface": 0.1,
    "selection_air": 0.5,
    "basking_share": 0.1,
    "moving_share": 0.1,
    "hidden_share": 0.1,
    "basking_hours": 1.0,
    "radiation_taken": 100.0,
    "radiation_gained": 100.0,
    "uv_taken": 1.0,
    "uv_dose": 400.0,
    "surface_taken": 3.0,
    "surface_gained": 3.0,
    "operative_taken": 2.0,
    "operative_gained": 2.0,
    "basking_air": 2.0,
    "accuracy": 1.0,
    "thermal_quality": 2.0,
    "effectiveness": 0.2,
    "radiation_offered": 0.2,
    "surface_offered": 0.2,
    "operative_offered": 0.2,
}
# Erythemal irradiance of one unit of the UV index (W/m²): one over the 40 m²/W of CIE e-ILV 17-26-073.
ERYTHEMAL_W_M2 = 0.025
# Steps of the day are compared where each side has at least this many scans (our choice).
FEWEST_SCANS = 5

_WHERE = {"field": "in the field", "captive": "here"}
_LOOK = {
    "selection": "the contrast between the points: with little to choose from nothing can be selected",
    "budget": "when in the day they differ (the table by hour), light, hides, food, health",
    "taken": "what the warmest and brightest points offer, and how wide the lit patch is",
    "gained": "how far the points differ from each other",
    "uv": "the UV lamp: its age, its distance, glass or fine mesh in between",
    "air": "the air of the room and how warm the enclosure gets by day",
    "quality": "what the points offer: too cold, too hot or too alike",
    "offered": "which hours lack it (the table by hour), and at which point it could be had",
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Question:
    """One question: its name, words and unit, and what either side says; `why_not` where a side is silent."""

    key: str
    group: str
    question: str
    unit: str
    look_at: str
    field: Estimate | None
    captive: Estimate | None
    why_not: str = ""
    detail: str = ""
    # Whether it repeats another question's test in another unit, and does not count for the error over all.
    repeats: str = ""


def ask(field, captive, season, record):
    """All questions in order.

    Parameters
    ----------
    field, captive : Side
        The field's side.
    season : Season
        The season in the field.
    record : EnclosureRecord
        The enclosure.

    Returns
    -------
    list of Question
    """
    return [
        *_selection(field, captive, season, record),
        *_budget(field, captive),
        *_exposure(field, captive),
        *_warmth(field, captive, season),
        *_offer(field, captive),
    ]


# ---- on what they choose ---------------------------------------------------------------------------------------------


def _selection(field, captive, season, record):
    kinds = {
        "radiation": ("irradiance_w_m2", "log odds per 100 W/m²"),
        "surface": ("surface_c", "log odds per °C"),
        "air": ("shade_air_c", "log odds per °C"),
    }
    rows = []
    air, at = _common_air(field, captive)
    for name, (column, unit) in kinds.items():
        found, reasons = [], []
        for side, error in ((field, season.instrument_errors.get(column, 0.0)), (captive, _own_error(record, column))):
            if side.sets is None:
                found.append(None)
                reasons.append(f"{_WHERE[side.name]}: no choice sets")
                continue
            if column not in side.sets:
                found.append(None)
                reasons.append(f"{_WHERE[side.name]}: {column} was not read")
                continue
            estimate, why = slopes.slope(side.sets, column, error=error, air_c=air if name != "air" else None)
            found.append(estimate)
            if why:
                reasons.append(f"{_WHERE[side.name]}: {why}")
        rows.append(
            Question(
                key=f"selection_{name}",
                group="On what they choose",
                question=f"strength of selection on {name}{at if name != 'air' else ''}",
                unit=unit,
                look_at=_LOOK["selection"],
                field=found[0],
                captive=found[1],
                why_not="; ".join(reasons),
            )
        )
    return rows


def _own_error(record, column):
    """Error that changes from reading to reading; one that stays with a point is no noise within sets."""
    from fieldkit.captive.compare.offered import ROLES

    errors = record.logger_info.loc[record.logger_info["role"] == ROLES[column], "error"].dropna()
    # A share of a logger's error is its calibration, the same at every scan (our choice, as in the audit's demo).
    return 0.5 * float(errors.median()) if len(errors) else 0.0


def _common_air(field, captive):
    """Shade air of the enclosure's sets, where the field saw it too; selection is told there on both sides."""
    means = []
    for side in (field, captive):
        if side.sets is None or "shade_air_c" not in side.sets:
            return None, ""
        means.append(side.sets.groupby("set_id")["shade_air_c"].mean().dropna())
    if not all(map(len, means)):
        return None, ""
    there = float(means[1].mean())
    low, high = means[0].quantile([0.05, 0.95])
    if low <= there <= high:
        return there, f", {there:.0f} °C air"
    return float(np.clip(there, low, high)), f", nearest to {there:.0f} °C air"


# ---- what they do ----------------------------------------------------------------------------------------------------


def _bins(side):
    return np.floor(side.scans["solar_hour"] / STEP_H).astype(int)


def _budget(field, captive):
    keys = {"basking": "basking", "moving": "moving about", "hidden": "hidden or out of sight"}
    group = "What they do with the day"
    written = [s.scans["kind"].notna() for s in (field, captive)]
    parts = [s.scans[w] for s, w in zip((field, captive), written)]
    bins = [_bins(s)[w] for s, w in zip((field, captive), written)]
    counts = [b.value_counts() for b in bins]
    common = sorted(h for h in set(counts[0].index) & set(counts[1].index) if min(c[h] for c in counts) >= FEWEST_SCANS)
    if not common:
        why = [f"{_WHERE[s.name]}: no scans with a behaviour" for s, p in zip((field, captive), parts) if not len(p)]
        why = "; ".join(why) or f"no {STEP_H:g} hours of the day have {FEWEST_SCANS} scans on both sides"
        silent = {"field": None, "captive": None, "why_not": why, "look_at": _LOOK["budget"], "group": group}
        rows = [Question(key=f"{k}_share", question=f"share of scans {w}", unit="", **silent) for k, w in keys.items()]
        return [*rows, Question(key="basking_hours", question="hours of basking a day", unit="h", **silent)]
    span = STEP_H * len(common)
    hours = f"within {span:g} hours of the day that both were watched in"
    rows = []
    for kind, words in keys.items():
        found = []
        for table, bin_ in zip(parts, bins):
            inside = bin_.isin(common).to_numpy()
            rest = table[inside]
            found.append(
                mean(
                    (rest["kind"] == kind).to_numpy(dtype=float),
                    rest["animal"].to_numpy(),
                    rest["day"].to_numpy(),
                    weights=rest["weight"].to_numpy(),
                    groups=bin_[inside].to_numpy(),
                )
            )
        rows.append(
            Question(
                key=f"{kind}_share",
                group=group,
                question=f"share of scans {words}",
                unit="",
                look_at=_LOOK["budget"],
                field=found[0],
                captive=found[1],
                detail=hours,
            )
        )
    rows.insert(
        1,
        Question(
            key="basking_hours",
            group=group,
            question="hours of basking a day",
            unit="h",
            look_at=_LOOK["budget"],
            field=rows[0].field.scaled(span),
            captive=rows[0].captive.scaled(span),
            detail=hours,
            repeats="basking_share",
        ),
    )
    return rows


# ---- what they were exposed to ---------------------------------------------------------------------------------------


def taken(side, column):
    """Mean of a quantity at the places taken; None where fewer than ten sets have it."""
    used = used_places(side, column)
    if used is None:
        return None
    return mean(used[column].to_numpy(float), used["animal"].to_numpy(), used["day"].to_numpy())


def gained(side, column):
    """Mean over sets of the place taken less the mean of the others; None where fewer than ten sets have both."""
    if used_places(side, column) is None:
        return None
    known = side.sets[side.sets[column].notna()]
    codes, _ = pd.factorize(known["set_id"])
    value, one = known[column].to_numpy(float), (known["used"] == 1).to_numpy()
    size = codes.max() + 1
    sums = [np.bincount(codes, w, minlength=size) for w in (value * one, one, value * ~one, ~one)]
    good = (sums[1] > 0) & (sums[3] > 0)
    if good.sum() < FEWEST_SETS:
        return None
    first = np.unique(codes, return_index=True)[1][good]
    contrast = sums[0][good] / sums[1][good] - sums[2][good] / sums[3][good]
    return mean(contrast, known["animal"].to_numpy()[first], known["day"].to_numpy()[first])


def _exposure(field, captive):
    group = "What the places they take are like"
    kinds = {
        "radiation": ("irradiance_w_m2", "radiation", "W/m²"),
        "uv": ("uv_index", "UV index", ""),
        "surface": ("surface_c", "surface temperature", "°C"),
        "operative": ("operative_c", "operative temperature", "°C"),
    }
    rows = []
    for key, (column, words, unit) in kinds.items():
        found = [taken(s, column) for s in (field, captive)]
        look = _LOOK["uv"] if key == "uv" else _LOOK["taken"]
        common = {"group": group, "unit": unit, "why_not": _silent(found, field, captive, words)}
        rows.append(_pair(f"{key}_taken", f"{words} at the places taken", found, look_at=look, **common))
        if key == "uv":
            rows.append(_dose(field, captive, found, group))
            continue
        found = [gained(s, column) for s in (field, captive)]
        common["why_not"] = _silent(found, field, captive, words)
        words = f"{words}, used places minus the others"
        rows.append(_pair(f"{key}_gained", words, found, look_at=_LOOK["gained"], **common))
    return rows


def _pair(key, question, found, **named):
    return Question(key=key, question=question, field=found[0], captive=found[1], **named)


def _silent(found, field, captive, what):
    none = [_WHERE[s.name] for s, one in zip((field, captive), found) if one is None]
    return "; ".join(f"{name}: fewer than {FEWEST_SETS} places taken with {what}" for name in none)


def _dose(field, captive, uv, group):
    hours = _budget(field, captive)[1]
    doses = [
        None if level is None or time is None else level.times(time).scaled(3600 * ERYTHEMAL_W_M2)
        for level, time in zip(uv, (hours.field, hours.captive))
    ]
    return _pair(
        "uv_dose",
        "erythemal dose a day while basking",
        doses,
        unit="J/m²",
        group=group,
        look_at=_LOOK["uv"],
        why_not="it needs the UV index at the places taken and scans with behaviour, on both sides",
        detail="mean UV index at the places taken times the hours of basking",
    )


# ---- warmth ----------------------------------------------------------------------------------------------------------


def _warmth(field, captive, season):
    group = "The warmth they keep"
    airs = []
    for side in (field, captive):
        bask = side.scans[(side.scans["kind"] == "basking") & side.scans["air_c"].notna()]
        enough = len(bask) >= FEWEST_SETS
        airs.append(mean(bask["air_c"], bask["animal"], bask["day"], weights=bask["weight"]) if enough else None)
    rows = [
        _pair(
            "basking_air",
            "shade air in which they bask",
            airs,
            group=group,
            unit="°C",
            look_at=_LOOK["air"],
            why_not="fewer than ten scans of basking animals with an air reading near them",
        )
    ]
    try:
        # Its ends do not depend on how often the animals are drawn again; their error is shared by both sides.
        wanted = range_of_season(season, n_resamples=2)
        low, high = wanted.low_c, wanted.high_c
        why = "no body temperatures in the scans, or no operative temperatures of the places, on both sides"
        detail = f"preferred range {low:.1f} to {high:.1f} °C"
    except FieldkitError:
        low = high = np.nan
        why, detail = "the season has no thermal gradient, so the preferred range is not known", ""
    off = [_body(s, low, high) for s in (field, captive)]
    quality = [_places(field, low, high), _points(captive, low, high)]
    share = [None if b is None or q is None or q.value == 0 else b.over(q) for b, q in zip(off, quality)]
    worth = [None if s is None else _one_less(s) for s in share]
    common = {"group": group, "why_not": why, "detail": detail, "look_at": _LOOK["quality"]}
    return [
        *rows,
        _pair("accuracy", "body temperature outside the preferred range (db)", off, unit="°C", **common),
        _pair("thermal_quality", "places outside the preferred range (de)", quality, unit="°C", **common),
        _pair("effectiveness", "effectiveness of thermoregulation (1 − db/de)", worth, unit="", **common),
    ]


def _one_less(share):
    return Estimate(value=1 - share.value, influence=-share.influence, animal=share.animal, day=share.day)


def _body(side, low, high):
    """Distance of bodies abroad from the preferred range."""
    abroad = side.scans[side.scans["body_c"].notna() & (side.scans["kind"] != "hidden")]
    if not np.isfinite(low) or len(abroad) < FEWEST_SETS:
        return None
    return mean(distance(abroad["body_c"].to_numpy(float), low, high), abroad["animal"], abroad["day"])


def _places(side, low, high):
    """Distance of places that no animal took; places are what repeats, besides days."""
    if not np.isfinite(low) or side.sets is None or "operative_c" not in side.sets:
        return None
    free = side.sets[(side.sets["used"] == 0) & side.sets["operative_c"].notna()]
    if len(free) < FEWEST_SETS:
        return None
    places = pd.util.hash_array(free["place_id"].astype("str").to_numpy(dtype=object)).astype("int64")
    return mean(distance(free["operative_c"].to_numpy(float), low, high), places, free["day"])


def _points(side, low, high):
    """Distance of the points of an enclosure at the times of the scans by day, its points counted alike."""
    values, days = by_light(side, "operative_c")
    if not np.isfinite(low) or values is None:
        return None
    off = distance(values.ravel(), low, high).reshape(values.shape)
    known = np.isfinite(values).any(axis=1)
    each = np.nanmean(off[known], axis=1)
    return mean(each, np.full(len(each), NOBODY), days[known]) if len(each) >= FEWEST_SETS else None


# ---- what is offered -------------------------------------------------------------------------------------------------


def _offer(field, captive):
    group = "What is offered of what wild animals took"
    kinds = {
        "radiation": ("irradiance_w_m2", "radiation", "W/m²"),
        "surface": ("surface_c", "surface temperature", "°C"),
        "operative": ("operative_c", "operative temperature", "°C"),
    }
    rows = []
    for key, (column, words, unit) in kinds.items():
        band = taken_range(field, column)
        found = [None, None]
        if band is not None:
            found = [_offered_in_field(field, column, band), _offered_here(captive, column, band)]
        told = "" if band is None else f"{band[0]:.3g} to {band[1]:.3g} {unit}, which four of five wild animals took"
        rows.append(
            _pair(
                f"{key}_offered",
                f"time with {words} offered that wild ones took",
                found,
                group=group,
                unit="",
                look_at=_LOOK["offered"],
                why_not=f"{words} is not known at the places of both sides",
                detail=told,
            )
        )
    return rows


def _offered_in_field(side, column, band):
    """Share of sets in which a place that the animal did not take lies in the band."""
    free = side.sets[(side.sets["used"] == 0) & side.sets[column].notna()]
    inside = free[column].between(*band).groupby(free["set_id"]).any()
    first = free.drop_duplicates("set_id").set_index("set_id").loc[inside.index]
    if len(inside) < FEWEST_SETS:
        return None
    return mean(inside.to_numpy(dtype=float), first["animal"].to_numpy(), first["day"].to_numpy())


def _offered_here(side, column, band):
    values, days = by_light(side, column)
    if values is None:
        return None
    known = np.isfinite(values).any(axis=1)
    inside = ((values >= band[0]) & (values <= band[1])).any(axis=1)[known]
    if len(inside) < FEWEST_SETS:
        return None
    return mean(inside.astype(float), np.full(len(inside), NOBODY), days[known])
