"""What to change first, as data: each fix with its numbers, the rows of the targets it serves, and its sentence."""

import numpy as np
import pandas as pd

from fieldkit.captive.audit import means as blocks
from fieldkit.captive.audit.judge import OFFERED
from fieldkit.captive.audit.means import amount, short
from fieldkit.captive.audit.remedies import (
    EXPECTED,
    FLAG_FIX,
    FLAG_WEIGHT,
    STRONGER,
    URGENT,
    Action,
    Remedies,
    told,
)
from fieldkit.captive.audit.status import OUTSIDE
from fieldkit.captive.targets import Kind, limits_over, resting, spoken
from fieldkit.field.climate.seasons import MONTHS

COLUMNS = (
    *("change", "reason", "weight", "urgent", "action", "quantity", "zone", "period", "months", "place", "lamp"),
    *("direction", "by", "unit", "share", *EXPECTED, "rows"),
)
# Weights put dangers to the animal before discomfort, and heat before all else (common practice, no source).
_LIMIT = {"surface_c": 100, "operative_c": 98, "shade_air_c": 94, "uv_index": 90, "irradiance_w_m2": 70}
REST = (
    "In these months the air outside is colder than any in which the animals were seen to bask: they rest below "
    "ground, where it is milder. Whether, how and how far a healthy animal is cooled is for the literature on the "
    "species and a vet."
)
# A miss this far out counts in full (our choice).
_SCALE = {"°C": 5.0, "W/m²": 300.0, "UV index": 2.0, "h": 2.0, "°C/h": 4.0, "share of places": 0.3}
# Quantities that one lamp moves together.
_WARMTH = ("surface_c", "operative_c", "irradiance_w_m2")


def rank(record, table, flags, means):
    """Fixes in order of importance, and the sentence of the one that concerns each row of the table.

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
        `COLUMNS`: ``direction`` is -1 for less and +1 for more of the ``quantity``, ``by`` how much in ``unit``,
        ``share`` of the radiation to leave; ``rows`` are the rows of `table` that the fix serves.
    per_row : list of str
    """
    remedies, fixes = Remedies(record, means), []
    missed = table[table["status"].isin(OUTSIDE) & (table["by_how_much"] > 0)]
    floor = missed[missed["target"].str.endswith("_share")]
    if len(floor):
        fixes.append(_floor(floor))
        missed = missed.drop(index=floor.index)
    rest = resting(table)
    keys = ["target", "zone", "period", "side", "kind", rest[missed.index]]
    for (*_, at_rest), rows in missed.groupby(keys, sort=False):
        worst = rows.loc[rows["by_how_much"].idxmax()]
        side = worst["side"]
        one = _blank(worst, rows) | {"direction": -1 if side == "high" else 1}
        one |= {"by": worst["by_how_much"], "unit": worst["unit"]}
        if at_rest and side == "high":
            change = f"Do not cool the animals to the outdoor air of {blocks.in_words(rows['month'])} by this table."
            fixes.append(one | {"change": change, "reason": REST, "weight": 1.0, "action": Action.WAIT, "direction": 0})
            continue
        one |= {"reason": _reason(rows, worst), "weight": _weight(rows, worst)}
        if side == "low" and (limits_over(table, worst)["high"] < worst["low"]).any():
            change = f"Change the target first: it asks for more {spoken(worst['target'])} than a limit allows."
            fixes.append(one | {"change": change, "action": Action.WAIT, "direction": 0})
            continue
        fixes.append(one | _change(remedies, means, worst, one["direction"]))
    for row in flags[flags["found"] == "yes"].itertuples(index=False):
        if row.flag in FLAG_FIX:
            action, words = FLAG_FIX[row.flag]
            urgent = row.flag in URGENT
            one = {
                "change": f"{words.format(row.where)}.",
                "reason": row.finding,
                "weight": float(FLAG_WEIGHT[row.flag]),
            }
            lamp = row.where if "sensor" not in row.flag and ("lamp" in row.flag or "heat" in row.flag) else ""
            one = _empty() | one | {"urgent": urgent, "action": action, "lamp": lamp}
            if action == Action.TIMER:
                # A night is more than a shorter day: one fix, which serves the targets of day length too.
                shorter = [f for f in fixes if f["quantity"] == "photoperiod_h" and f["direction"] < 0]
                one["rows"] = tuple(n for f in shorter for n in f["rows"])
                fixes = [f for f in fixes if not any(f is other for other in shorter)]
            fixes.append(one)
    return _reconciled(fixes, len(table))


def _empty():
    words = dict.fromkeys(("quantity", "zone", "period", "place", "lamp", "unit"), "")
    numbers = dict.fromkeys(("by", "share", *EXPECTED), np.nan)
    return words | numbers | {"months": (), "direction": 0, "urgent": False, "rows": (), "action": Action.OTHER}


def _blank(worst, rows):
    where = {"quantity": worst["target"], "zone": worst["zone"], "period": worst["period"], "place": worst["point"]}
    months = tuple(sorted({int(m) for m in rows["month"]}))
    return _empty() | where | {"months": months, "rows": tuple(int(i) for i in rows.index)}


def _reconciled(fixes, count):
    """Ranked, without pairs that pull one lamp both ways: what is too much comes first, the rest waits for it."""
    for group in (_WARMTH, ("uv_index",), ("shade_air_c",)):
        mine = [one for one in fixes if one["quantity"] in group]
        for more in mine:
            against = [one for one in mine if one["direction"] < 0 and _opposed(more, one)]
            if more["direction"] > 0 and against:
                _defer(more, max(against, key=lambda one: one["weight"]))
    # One lamp gives warmth and UV: it is not moved nearer for the one while the other is too much. And nothing is made
    # warmer while the air is above its limit.
    for more in [one for one in fixes if one["direction"] > 0 and one["quantity"] in (*_WARMTH, "uv_index")]:
        against = [one for one in fixes if one["lamp"] and one["lamp"] == more["lamp"] and one["direction"] < 0]
        against = [one for one in against if _opposed(more, one)] + [one for one in fixes if _hotter(more, one)]
        if against:
            _defer(more, max(against, key=lambda one: one["weight"]))
    # What brings a quantity below its limit also brings it towards its range: one fix, not two.
    for limit in [one for one in fixes if one["urgent"] and one["direction"] < 0]:
        for one in list(fixes):
            same = one["quantity"] == limit["quantity"] and one["place"] == limit["place"] and one["direction"] < 0
            if same and not one["urgent"] and one["period"] != "night":
                limit["rows"] += one["rows"]
                fixes.remove(one)
    ranked, per_row = {}, [""] * count
    for one in sorted(fixes, key=lambda one: (one["urgent"], one["weight"]), reverse=True):
        first = ranked.setdefault(one["change"], one)
        if first is not one:
            first["rows"] += one["rows"]
            first["reason"] += "" if one["reason"] in first["reason"] else f" {one['reason']}"
    for one in reversed(ranked.values()):
        one["rows"] = tuple(sorted(set(one["rows"])))
        for number in one["rows"]:
            per_row[number] = one["change"]
    return pd.DataFrame(list(ranked.values()), columns=list(COLUMNS)), per_row


def _opposed(more, less):
    """Whether a fix that asks for more pulls against one that asks for less."""
    together = "all" in (more["period"], less["period"]) or more["period"] == less["period"]
    months = 0 in (*more["months"], *less["months"]) or bool(set(more["months"]) & set(less["months"]))
    zones = {more["zone"], less["zone"]}
    here = len(zones) == 1 or "whole" in zones or (more["place"] and more["place"] == less["place"])
    same_lamp = more["lamp"] and more["lamp"] == less["lamp"]
    return bool(together and months and (here or same_lamp))


def _hotter(more, less):
    """Whether more warmth is asked for while the air has to come down: now, or at night in the same place."""
    if less["quantity"] != "shade_air_c" or less["direction"] >= 0:
        return False
    at_night = less["period"] == more["period"] == "night"
    return bool(less["urgent"] or (at_night and ("whole" in (more["zone"], less["zone"]) or _opposed(more, less))))


def _defer(more, less):
    """More of what is too much elsewhere waits until that is mended."""
    words = (
        f"Leave the {spoken(more['quantity'])} at the {more['zone']} as it is until the {spoken(less['quantity'])} at "
    )
    words += (
        f"{less['place'] or less['zone']} is mended, then read again: both at once may need a wider beam, a lamp of "
    )
    more |= {"change": f"{words}its own or a longer gradient.", "action": Action.WAIT, "direction": 0}
    more |= {"weight": min(more["weight"], 0.5 * less["weight"])} | dict.fromkeys(EXPECTED, np.nan)


def _weight(rows, worst):
    if worst["kind"] == Kind.LIMIT:
        return float(_LIMIT.get(worst["target"], 70))
    scale = _SCALE.get(worst["unit"], 1.0)
    if worst["side"] == "low" and worst["target"] in ("irradiance_w_m2", "uv_index"):
        # Of light that is asked for, none is none, however little was asked.
        scale = worst["low"]
    size, share = min(1.0, abs(worst["by_how_much"]) / scale), rows["share_of_time"].mean()
    part = 0.4 + 0.6 * (share if np.isfinite(share) else 1.0)
    return round(float(50 * size * part * (1.0 if rows["robust"].any() else 0.5)), 1)


def _reason(rows, worst):
    limit = worst["high"] if worst["side"] == "high" else worst["low"]
    how = "above" if worst["side"] == "high" else "below"
    words = f"{spoken(worst['target'])[:1].upper()}{spoken(worst['target'])[1:]}"
    words += f" at {worst['where'] or worst['zone']}" if worst["target"] != "photoperiod_h" else f" ({worst['where']})"
    words += f": {amount(worst['by_how_much'], worst['unit'])} {how} "
    words += {Kind.LIMIT: "the limit of ", Kind.CAUTION: "the caution of "}.get(worst["kind"], "the wanted ")
    words += amount(limit, worst["unit"], 3)
    if worst["contact_min"] > blocks.BLOCK_MINUTES:
        words += f", in the mean of {worst['contact_min'] / 60:g} hours"
    words += f"; {how_often(rows)}" if how_often(rows) else ""
    if (rows["month"] > 0).any() and len(rows) > 1:
        words += f" ({blocks.in_words(rows['month'])})"
    elif worst["when"]:
        words += f" ({worst['when']})"
    if worst["kind"] == Kind.AIM and not rows["robust"].any():
        words += "; the target itself is not known well enough to be sure"
    return f"{words}. Target from: {worst['source']}."


# With fewer readings a day than this a share of time says nothing (our choice): they are counted instead.
FEW_A_DAY = 24


def how_often(rows):
    """How often it lies outside, in words: counts where readings are few, a share of time or of days otherwise."""
    worst = rows.loc[rows["by_how_much"].idxmax()]
    if 0 < worst["n_readings"] < FEW_A_DAY * max(worst["n_days"], 1):
        parts = [
            f"{worst[f'{part}_outside']} of {worst[f'{part}_n']} readings by {part}"
            for part in ("day", "night")
            if worst[f"{part}_n"]
        ]
        return f"outside at {' and '.join(parts)}" if worst["n_outside"] else ""
    share = rows["share_of_time"].mean()
    by_day = worst["target"] == "photoperiod_h" or (worst["target"] in OFFERED and worst["side"] == "low")
    return f"outside for {100 * share:.0f} % of the {'days' if by_day else 'time'}" if np.isfinite(share) else ""


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
    change = "Spread more light over the floor, from more places and no stronger than now"
    change = f"{change if more else 'Leave more of the floor in the shade'}, in small steps."
    reason = f"Of the floor ({rows['where'].iloc[0]}), {', '.join(parts)}. Target from: {rows['source'].iloc[0]}."
    size = min(1.0, rows["by_how_much"].max() / _SCALE["share of places"])
    weight = round(float(50 * size * (1.0 if rows["robust"].any() else 0.5)), 1)
    one = _empty() | {"quantity": "sun and shade of the floor", "rows": tuple(int(i) for i in rows.index)}
    return one | {"change": change, "reason": reason, "weight": weight}


def _change(remedies, means, worst, direction):
    """The change in words and numbers, by what is missed."""
    target = worst["target"]
    if target == "surface_c" or (target == "operative_c" and worst["zone"] in ("basking site", "whole")):
        return _warmth(remedies, means, worst, direction)
    if target in ("irradiance_w_m2", "uv_index"):
        return _light(remedies, means, worst, direction)
    action = {"action": Action.LESS if direction < 0 else Action.MORE}
    gap = short(worst["by_how_much"])
    if target == "operative_c":
        way = "cooler" if direction < 0 else "warmer"
        return action | {
            "change": f"Make the {worst['zone']} {gap} °C {way}, in small steps: shade, distance from lamps."
        }
    if target == "shade_air_c":
        return action | _air(remedies.record, worst, direction, gap)
    if target == "photoperiod_h":
        way = "Shorten" if direction < 0 else "Lengthen"
        month = f"{MONTHS[worst['month'] - 1]} (where it is worst)" if worst["month"] else "all months"
        return action | {"change": f"{way} the day by {gap} h in {month}, by some minutes a day."}
    change = "Let the lamps come on one after the other in the morning, so that the air warms more slowly."
    return action | {"change": change}


def _air(record, worst, direction, gap):
    if worst["kind"] == Kind.LIMIT:
        change = (
            "Switch lamps and heaters off now, until the air is below the limit; an animal that is too hot is moved "
        )
        change += (
            f"to a cooler room. Then lower the air by {gap} °C, in small steps: ventilation, fewer watts, a cooler "
        )
        return {"change": f"{change}room.", "urgent": True, "action": Action.SWITCH_OFF}
    where = "" if worst["zone"] == "whole" else f" at the {worst['zone']}"
    if worst["period"] == "night":
        words = "Let the air cool more at night" if direction < 0 else "Keep the air warmer at night"
        tool = "heaters off at night, more ventilation" if direction < 0 else "a dark heater on a thermostat"
        room = f"(the room is stated as {record.geometry.room_night_c:g} °C at night)"
        return {"change": f"{words}{where}, by {gap} °C, in small steps: {tool} {room}."}
    if direction < 0:
        tool = "more ventilation, fewer watts, or a cooler room"
        return {"change": f"Lower the air{where} by {gap} °C, in small steps: {tool}."}
    return {
        "change": f"Raise the air{where} by {gap} °C, in small steps: less ventilation, or a heater on a thermostat."
    }


def _warmth(remedies, means, worst, direction):
    """Less or more heat on a surface or an animal: the lamp over it, by its kind, with metres where they are known."""
    target, point = worst["target"], worst["point"]
    lamp, air = remedies.lamp_over(point, target), typical(means, "shade_air", "day")
    limit = worst["high"] if direction < 0 else worst["low"]
    top = limit - direction * worst["by_how_much"]
    what = f"the {spoken(target)} at {point or worst['zone']}"
    known = air is not None and min(top, limit) > air + 1
    share = float((limit - air) / (top - air)) if known else np.nan
    urgent = worst["kind"] == Kind.LIMIT
    one = {"lamp": lamp, "share": share, "urgent": urgent}
    name = f"the lamp ({lamp})" if lamp else "the lamp"
    mat = lamp and remedies.rows.loc[lamp, "kind"] in ("heat mat", "dark heater")
    name = f"the heater ({lamp})" if mat else name
    together = remedies.lamps_over(point, target)
    if direction < 0:
        moved = remedies.raised(lamp, point, limit, top, air, worst["error"]) if target == "surface_c" else None
        if moved is not None:
            how = f"raise {name} from {moved['from_m']:.2f} to {moved['to_m']:.2f} m above {point}.{told(moved)}"
        elif np.isfinite(share):
            raise_it = "" if mat else "raise it, or "
            # Of several lamps over one place, the watts of one do not tell the sum.
            watts = remedies.watts(lamp, share) if len(together) < 2 else ""
            if lamp in remedies.lamps and target == "surface_c" and not mat:
                raise_it = "no height under the lid is enough, so "
            how = f"{raise_it}{remedies.weaker(lamp)}{watts}, until {what} gets about "
            how += f"{100 * share:.0f} % of the radiation it gets now."
        else:
            gap = short(worst["by_how_much"])
            how = f"take {gap} °C from {what}: {'' if mat else 'raise it, or '}{remedies.weaker(lamp)}."
        if urgent:
            change = _off(name, together, point or "it", how)
            return one | (moved or {}) | {"change": change, "action": Action.SWITCH_OFF}
        return one | (moved or {}) | {"change": f"In small steps: {how}", "action": Action.LESS}
    moved = remedies.lowered(lamp, point, limit, top, air, worst["error"]) if target == "surface_c" else None
    if moved is not None:
        how = f"bring {name} from {moved['from_m']:.2f} to {moved['to_m']:.2f} m above {point}.{told(moved)}"
    elif mat:
        how = "set its thermostat higher, and never above the limit of what the animal lies on."
    else:
        part = f" until {what} gets about {share:.1f} times the radiation it gets now" if np.isfinite(share) else ""
        how = f"bring {name} nearer, out of reach all the same, or take {STRONGER}{part}."
    return one | (moved or {}) | {"change": f"In small steps: {how}", "action": Action.MORE, "urgent": False}


def _off(name, together, where, how):
    """What is done now: all that shine there go off; and the way back, one lamp after another."""
    back = "in small steps"
    if len(together) > 1:
        name, back = f"all that warm or light it ({', '.join(together)})", "one after another, in small steps, for each"
    return f"Switch {name} off or bar the way to {where} now. On the way back, {back}: {how}"


def _light(remedies, means, worst, direction):
    """Less or more radiation or UV at a place."""
    target, point = worst["target"], worst["point"]
    lamp = remedies.lamp_over(point, target)
    name = f"the lamp ({lamp})" if lamp else "the lamp"
    what = "UV" if target == "uv_index" else "radiation"
    one = {"lamp": lamp, "urgent": worst["kind"] == Kind.LIMIT and direction < 0}
    if direction > 0:
        now = worst["low"] - worst["by_how_much"]
        more = f"{short(worst['low'] / now)} times as much" if now > 3 * worst["error"] else "there is next to none now"
        change = (
            f"Give more {what} at the {worst['zone']}, in small steps: {more}. Work out the lamp's height before you "
        )
        change += f"move it, or take {STRONGER}."
        change += " UV harms your eyes and skin too." if target == "uv_index" else ""
        return one | {"change": change, "action": Action.MORE}
    share = worst["high"] / (worst["high"] + worst["by_how_much"])
    where = point or worst["zone"]
    how = (
        f"raise it, or {remedies.weaker(lamp)}, until {where} gets about {100 * share:.0f} % of the {what} it gets now"
    )
    if one["urgent"]:
        change = _off(name, remedies.lamps_over(point, target), where, f"{how}.")
        return one | {"change": change, "share": share, "action": Action.SWITCH_OFF}
    return one | {"change": f"Less {what} at {where}, in small steps: {how}.", "share": share, "action": Action.LESS}


def typical(means, role, period):
    """Median of all readings of a role by day or by night; None when there are none."""
    found = [means.of(i, period=period)["value"].median() for i in means.loggers.index[means.loggers["role"] == role]]
    found = [v for v in found if np.isfinite(v)]
    return float(np.median(found)) if found else None
