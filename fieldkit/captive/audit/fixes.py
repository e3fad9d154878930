"""What to change first, and what to measure next, with numbers and reasons."""

import numpy as np
import pandas as pd

from fieldkit.captive.audit import means as blocks
from fieldkit.captive.audit.judge import FEWEST_DAYS, OFFERED, ROLES
from fieldkit.captive.audit.means import amount, short
from fieldkit.captive.targets import resting, spoken
from fieldkit.field.climate.seasons import MONTHS

# Weights put dangers to the animal before discomfort, and heat before all else (common practice, no source).
_CEILING = {"surface_c": 100, "operative_c": 98, "shade_air_c": 94, "uv_index": 90, "irradiance_w_m2": 70}
REST = (
    "In these months the air outside is colder than any in which the animals were seen to bask: they rest below "
    "ground, where it is milder. Whether, how and how far a healthy animal is cooled is for the literature on the "
    "species and a vet."
)
_FLAG = {
    "lamp within reach and unguarded": 96,
    "lamp not fixed": 92,
    "no shade retreat": 88,
    "thermostat sensor in the beam": 86,
    "heater without a thermostat": 84,
    "warm and cool end exchanged": 60,
    "day and night exchanged": 60,
    "air sensor in the beam": 58,
    "spot smaller than the animal": 56,
    "room too warm for the target": 54,
}
# A miss this far out counts in full (our choice).
_SCALE = {"°C": 5.0, "W/m²": 300.0, "UV index": 2.0, "h": 2.0, "°C/h": 4.0, "share of places": 0.3}
_INSTRUMENT = {
    "shade_air_c": "an air thermometer under a radiation shield",
    "surface_c": "a surface thermometer (thermocouple pressed on, or infrared with the right emissivity)",
    "irradiance_w_m2": "a pyranometer",
    "uv_index": "a UV index meter",
    "operative_c": "a copper model of the animal",
    "warming_rate_c_per_h": "an air thermometer under a radiation shield, read every ten minutes",
    "photoperiod_h": "a light logger",
}
_FLAG_FIX = {
    "lamp within reach and unguarded": "Guard the lamp ({}), or hang it out of reach",
    "lamp not fixed": "Fix the lamp ({}) with a second holder that bears its weight",
    "no shade retreat": "Give a retreat in full shade, away from the lamps, that the whole animal fits into",
    "thermostat sensor in the beam": "Move the thermostat's sensor ({}) out of the beam, into the shade, or shield "
    "it; then set the thermostat anew, in small steps",
    "air sensor in the beam": "Move the air sensor ({}) into the shade, or put a ventilated radiation shield round it",
    "heater without a thermostat": "Run the heater ({}) through a thermostat with a sensor where the animal touches it",
    "spot smaller than the animal": "Widen the lit spot: raise the lamp, or use several weaker ones side by side",
    "warm and cool end exchanged": "Check the places of the loggers, then move the heat to the warm end",
    "day and night exchanged": "Check the clocks of lamps, heaters and loggers",
    "room too warm for the target": "Cool the room, or keep the enclosure in a cooler one, for these months",
}


def rank(record, table, flags, means):
    """Fixes in order of importance, and the one that concerns each row of the table.

    Parameters
    ----------
    record : EnclosureRecord
        The enclosure.
    table, flags : DataFrame
        As in `audit.Audit`.
    means : Blocks
        Its readings.

    Returns
    -------
    fixes : DataFrame
        ``change, reason, weight``.
    per_row : list of str
    """
    fixes, per_row = [], [""] * len(table)
    missed = table[table["status"] == "missed"]
    broken = set(table.loc[table["ceiling_broken"], "target"])
    rest = resting(table)
    floor = missed[missed["target"].str.endswith("_share")]
    if len(floor):
        change, reason = _floor(floor)
        for number in floor.index:
            per_row[number] = change
        size = min(1.0, floor["by_how_much"].max() / _SCALE["share of places"])
        weight = 50 * size * (1.0 if floor["firm"].any() else 0.5)
        fixes.append({"change": change, "reason": reason, "weight": round(float(weight), 1)})
        missed = missed.drop(index=floor.index)
    keys = ["target", "zone", "period", "side", "ceiling", rest[missed.index]]
    for (target, zone, period, side, ceiling, at_rest), rows in missed.groupby(keys, sort=False):
        worst = rows.loc[rows["by_how_much"].idxmax()]
        if at_rest and side == "high":
            change = f"Do not cool the animals to the outdoor air of {blocks.in_words(rows['month'])} by this table."
            fixes.append({"change": change, "reason": REST, "weight": 1.0})
            for number in rows.index:
                per_row[number] = change
            continue
        change = _change(record, means, target, zone, period, side, worst)
        span = worst["by_how_much"]
        if ceiling:
            weight = _CEILING.get(target, 70)
        else:
            scale = _SCALE.get(worst["unit"], 1.0)
            if side == "low" and target in ("irradiance_w_m2", "uv_index"):
                # Of light that is asked for, none is none, however little was asked.
                scale = worst["low"]
            size = min(1.0, abs(span) / scale)
            share = rows["share_of_time"].mean()
            weight = (
                50 * size * (0.4 + 0.6 * (share if np.isfinite(share) else 1.0)) * (1.0 if rows["firm"].any() else 0.5)
            )
        for number in rows.index:
            per_row[number] = change
        # What brings a quantity below its broken ceiling also brings it towards its band: one fix, not two.
        if ceiling or side == "low" or period == "night" or target not in broken:
            fixes.append({"change": change, "reason": _reason(rows, worst, ceiling), "weight": round(float(weight), 1)})
    for row in flags[flags["found"] == "yes"].itertuples(index=False):
        if row.flag in _FLAG_FIX:
            change = f"{_FLAG_FIX[row.flag].format(row.where)}."
            fixes.append({"change": change, "reason": row.finding, "weight": float(_FLAG[row.flag])})
    fixes = pd.DataFrame(fixes, columns=["change", "reason", "weight"])
    fixes = fixes.groupby("change", sort=False, as_index=False).agg(
        {"reason": lambda r: " ".join(dict.fromkeys(r)), "weight": "max"}
    )
    return fixes.sort_values("weight", ascending=False, kind="stable").reset_index(drop=True), per_row


def _share_of(row):
    by_day = row["target"] == "photoperiod_h" or (row["target"] in OFFERED and row["side"] == "low")
    return "days" if by_day else "time"


def _reason(rows, worst, ceiling):
    limit = worst["high"] if worst["side"] == "high" else worst["low"]
    how = "above" if worst["side"] == "high" else "below"
    words = f"{spoken(worst['target'])[:1].upper()}{spoken(worst['target'])[1:]}"
    words += f" at {worst['where'] or worst['zone']}" if worst["target"] != "photoperiod_h" else f" ({worst['where']})"
    words += f": {amount(worst['by_how_much'], worst['unit'])} {how} "
    words += "the ceiling of " if ceiling else "the wanted "
    words += amount(limit, worst["unit"], 3)
    share = rows["share_of_time"].mean()
    if np.isfinite(share):
        words += f"; outside for {100 * share:.0f} % of the {_share_of(worst)}"
    if (rows["month"] > 0).any() and len(rows) > 1:
        words += f" ({blocks.in_words(rows['month'])})"
    elif worst["when"]:
        words += f" ({worst['when']})"
    if not ceiling and not rows["firm"].any():
        words += "; the target itself is not known well enough to be sure"
    return f"{words}. Target from: {worst['source']}."


def _floor(rows):
    """One change for all that is missed of sun and shade on the floor: they add up to the whole."""
    parts = []
    for row in rows.itertuples(index=False):
        low, high = (100 * v for v in (row.low, row.high))
        wish = f"{low:.0f} to {high:.0f} %" if np.isfinite(low + high) else f"{np.nan_to_num(low):.0f} % or more"
        wish = f"up to {high:.0f} %" if np.isnan(low) else wish
        name = row.target.removesuffix("_share").replace("_", " ")
        parts.append(f"{100 * row.reading:.0f} % lies in {name} (wanted {wish})")
    sun = rows[rows["target"] == "full_sun_share"]
    more = not len(sun) or sun["side"].iloc[0] == "low"
    change = "Spread more light over the floor" if more else "Leave more of the floor in the shade"
    where = rows["where"].iloc[0]
    return f"{change}, in small steps.", f"Of the floor ({where}), {', '.join(parts)}. Target from: " + (
        f"{rows['source'].iloc[0]}."
    )


def _change(record, means, target, zone, period, side, worst):
    """The change in words; where proportion tells how much, with the number."""
    gap = worst["by_how_much"]
    if target == "surface_c" or (target == "operative_c" and zone == "basking site"):
        air = _typical(means, "shade_air", "day")
        limit = worst["high"] if side == "high" else worst["low"]
        top = limit + gap if side == "high" else limit - gap
        what = f"the {spoken(target)} at {worst['where'].split(' ')[0]}"
        if air is not None and top > air + 1 and limit > air + 1:
            share = 100 * (limit - air) / (top - air)
            words = "Dim or raise the lamp" if side == "high" else "Bring the lamp nearer or use a stronger one"
            return f"{words} so that {what} gets about {share:.0f} % of the radiation it gets now, in small steps."
        return f"{'Take heat from' if side == 'high' else 'Add heat to'} {what}: {short(gap)} °C, in small steps."
    if target == "operative_c":
        way = "cooler" if side == "high" else "warmer"
        return f"Make the {zone} {short(gap)} °C {way}, in small steps: shade, distance from the lamps."
    if target == "shade_air_c":
        if period == "night":
            room = record.geometry.room_night_c
            words = "Let the air cool more at night" if side == "high" else "Keep the air warmer at night"
            tool = "heaters off at night, more ventilation" if side == "high" else "a dark heater on a thermostat"
            words += f", by {short(gap)} °C, in small steps: {tool} (the room is stated as {room:g} °C at night)."
            return words
        if side == "high":
            tool = "more ventilation, less lamp power, or a cooler room"
            return f"Lower the air by {short(gap)} °C, in small steps: {tool}."
        return f"Raise the air by {short(gap)} °C, in small steps: less ventilation, or a heater on a thermostat."
    if target in ("irradiance_w_m2", "uv_index"):
        name = "UV" if target == "uv_index" else "radiation"
        if side == "low":
            now = worst["low"] - gap
            more = (
                f"{short(worst['low'] / now)} times as much"
                if now > 3 * worst["error"]
                else "there is next to none now"
            )
            eyes = " UV harms your eyes and skin too." if target == "uv_index" else ""
            return f"Give more {name} at the {zone}: {more}. Work out the lamp's height before you move it.{eyes}"
        top = worst["high"] + gap
        share = 100 * worst["high"] / top
        where = worst["where"].split(" ")[0]
        return f"Cut {name} at {where} to about {share:.0f} % of now, in small steps: raise the lamp."
    if target == "photoperiod_h":
        way = "shorten" if side == "high" else "lengthen"
        month = f"{MONTHS[worst['month'] - 1]} (where it is worst)" if worst["month"] else "all months"
        return f"{way.capitalize()} the day by {short(gap)} h in {month}, by some minutes a day."
    return "Let the lamps come on one after the other in the morning, or dimmed, so that the air warms more slowly."


def _typical(means, role, period):
    found = [means.of(i, period=period)["value"].median() for i in means.loggers.index[means.loggers["role"] == role]]
    found = [v for v in found if np.isfinite(v)]
    return float(np.median(found)) if found else None


def next_measurements(table, flags, means):
    """Which reading would settle most; see `audit.Audit.next_measurements`."""
    rows = []
    open_ = table[table["status"].isin(("not measured", "cannot tell"))]
    months = set(means.table["month"]) if len(means.table) else set()
    floor = open_["target"].str.endswith("_share")
    if floor.any():
        rows.append(
            {
                "measure": "Sun and shade of the floor: read each lamp's light at several distances and angles, and "
                "write it into lamp_readings.csv.",
                "settles": f"{int(floor.sum())} targets",
                "reason": "The map of the light is computed from it.",
                "weight": float(floor.sum()),
            }
        )
    for (target, zone), part in open_[~floor].groupby(["target", "zone"], sort=False):
        worth = float(np.where(part["ceiling"], 12.0, 1.0).sum())
        missing = part[part["status"] == "not measured"]
        unsure = part[part["status"] == "cannot tell"]
        tool = _INSTRUMENT[target]
        at = "at the basking site" if zone == "whole" and part["ceiling"].any() else f"at the {zone}"
        at = "in the enclosure" if zone == "whole" and not part["ceiling"].any() else at
        measured_else = table[(table["target"] == target) & (table["zone"] == zone) & table["reading"].notna()]
        later = missing[(missing["month"] > 0) & ~missing["month"].isin(months)]
        if len(missing) and len(measured_else) and len(later) == len(missing):
            measure = f"Keep {tool} {at} logging through {blocks.in_words(missing['month'])}."
            reason, worth = "These months have no readings yet.", 0.05 * worth
        elif len(missing):
            measure = f"{spoken(target)[:1].upper()}{spoken(target)[1:]}: put {tool} {at}."
            reason = "Nothing reads it there, so nothing is known of it."
            if target == "photoperiod_h":
                reason += " Or state on and off of the lamps in enclosure.toml."
            if target == "operative_c":
                reason += (
                    " Or read air, surface and light (W/m²) there and state length_m and mass_g of the animal: then "
                )
                reason += "it is computed."
        else:
            near = unsure["by_how_much"].abs()
            need = near[near > 0].median() / 2.5
            measure = f"{spoken(target)[:1].upper()}{spoken(target)[1:]} {at}: read it with {tool}"
            role = means.loggers[means.loggers["role"] == ROLES[target]]
            if (unsure["n_days"] < FEWEST_DAYS).all() and unsure["n_days"].max() > 0:
                measure, reason = f"{measure} for at least {FEWEST_DAYS} days.", "Too few days to tell."
            elif len(role) and not role["error_stated"].any():
                error = amount(unsure["error"].max(), unsure["unit"].iloc[0])
                measure = f"State in enclosure.toml the error of what reads {spoken(target)}: {error} is assumed now."
                reason = "A smaller one may settle it."
            elif np.isfinite(need) and need > 0.9 * unsure["error"].median():
                measure, reason = f"{measure} on more days.", "A few more readings may settle it."
            elif np.isfinite(need) and need < 0.2 * unsure["error"].median():
                measure, reason = (
                    f"{measure} again after the next change.",
                    "It lies at the limit; no meter settles that.",
                )
                worth = 0.5 * worth
            elif np.isfinite(need) and unsure["error"].notna().any():
                unit, now = unsure["unit"].iloc[0], short(unsure["error"].median())
                measure += f" with an error below {short(need)} {unit} (now {now})."
                reason = "It lies too near the limit for the error of the readings."
            else:
                measure, reason = f"{measure} at more places.", "Too few points to tell."
        ceilings = int(part["ceiling"].sum())
        settles = f"{len(part)} target{'s' if len(part) > 1 else ''}"
        settles += f", {ceilings} of them ceilings" if ceilings else ""
        if ceilings == len(part):
            settles = f"{ceilings} ceiling{'s' if ceilings > 1 else ''}"
        rows.append({"measure": measure, "settles": settles, "reason": reason, "weight": worth})
    blind = flags[flags["found"] == "not measured"].set_index("flag")["where"]
    danger = "A danger that was not looked at."
    for name, where in blind.items():
        if "lamp" in name:
            measure = f"State in enclosure.toml whether {where} is guarded, fixed and how near the animal can get."
            rows.append({"measure": measure, "settles": name, "reason": danger, "weight": 10})
    if "no shade retreat" in blind:
        measure = (
            f"Look into the retreat ({blind['no shade retreat']}) with the lamps on, and state shade = true or false."
        )
        rows.append({"measure": measure, "settles": "no shade retreat", "reason": danger, "weight": 10})
    if {"warm and cool end exchanged", "day and night exchanged"} & set(blind.index):
        measure = "Shade air at the warm end and at the cool end, by day and by night: a shaded thermometer will do."
        reason = "Nobody knows yet whether the animal can choose, and what the night does."
        rows.append({"measure": measure, "settles": "the gradient", "reason": reason, "weight": 8})
    found = pd.DataFrame(rows, columns=["measure", "settles", "reason", "weight"]).drop_duplicates("measure")
    return found.sort_values("weight", ascending=False, kind="stable").reset_index(drop=True)
