"""From a difference to something that could be tried: rows that differ, joined to the audit's ranked fixes."""

import numpy as np
import pandas as pd

from fieldkit.captive import audit as auditing
from fieldkit.captive import targets
from fieldkit.captive.audit import OUTSIDE
from fieldkit.core import method

# Targets of an audit that speak of the same thing as a question.
_TARGETS = {
    "radiation_taken": ("irradiance_w_m2", "full_sun_share"),
    "radiation_gained": ("full_sun_share", "full_shade_share"),
    "radiation_offered": ("irradiance_w_m2", "full_sun_share"),
    "basking_hours": ("irradiance_w_m2", "full_sun_share"),
    "uv_taken": ("uv_index",),
    "uv_dose": ("uv_index",),
    "surface_taken": ("surface_c",),
    "surface_gained": ("surface_c",),
    "surface_offered": ("surface_c",),
    "operative_taken": ("operative_c",),
    "operative_gained": ("operative_c",),
    "operative_offered": ("operative_c",),
    "thermal_quality": ("operative_c",),
    "accuracy": ("operative_c",),
    "basking_air": ("shade_air_c",),
}
ILL = (
    "First of all think of illness: an animal that basks less or hides more may be unwell. Have a vet who treats "
    "reptiles look at it before you change a lamp."
)
_NEITHER = {"direction": 0, "quantities": ()}
CAUSES = "Behaviour has many causes, and this is one that can be tried."
# Questions in which less than in the field asks for more of the target, and the other way round. Who basks longer than
# wild animals may lack radiation: there more asks for more.
_ASKS = dict.fromkeys(("radiation", "uv", "surface", "operative"), -1) | {"basking_hours": 1}
# The least that is asked in words of its own, where the audit asks for nothing.
_OWN = {
    ("basking_hours", 1): "Animals that bask long at little radiation may want more of it on a wider patch",
    ("radiation_taken", -1): "More radiation at the basking site, on a patch wider than the animal",
    ("radiation_taken", 1): "Less radiation, or more places with a little of it",
    ("radiation_gained", 1): "More places between bright and dark: the step is steeper than outdoors",
    ("radiation_gained", -1): "A brighter basking site and darker places to leave it for",
    ("uv_taken", -1): "A UV lamp whose index at the animal's back is read, with shade to leave it for",
    ("uv_dose", -1): "A UV lamp whose index at the animal's back is read, with shade to leave it for",
    ("hidden_share", 1): "Look for what keeps them hidden: disturbance, heat, too little cover elsewhere",
    ("moving_share", -1): "More room and more to do: several basking places, cover between them, food to look for",
}


@method
def remedies(found, season, record):
    """Join what differs to what an audit would change, most important first.

    Parameters
    ----------
    found : FieldAgainstCaptivity
        What `compare.compare` found.
    season : Season
        Whose targets the enclosure is held against.
    record : EnclosureRecord
        The enclosure.

    Returns
    -------
    DataFrame
        ``key, finding, remedy, from_audit, weight``, ``direction`` (+1: more of the ``quantities`` is asked for, -1:
        less, 0: neither); empty where nothing differs. Nothing is asked for of which the audit wants the opposite.
    """
    differs = found.table[found.table["verdict"] == "differs"]
    columns = ["key", "finding", "remedy", "from_audit", "weight", "direction", "quantities"]
    rows = []
    if _unwell(found.table):
        rows.append(
            {"key": "health", "finding": _first(found.table), "remedy": ILL, "from_audit": False, "weight": 200.0}
            | _NEITHER
        )
    if len(differs):
        audited, reached = _audit(season, record)
        for key, row in differs.iterrows():
            wish = _wish(key, row["difference"])
            fix, weight, against = _fix_of(audited, key, wish)
            own = _OWN.get((key, int(np.sign(row["difference"]))))
            if fix is None and (own is None or against):
                # The audit asks for the opposite, which comes first: its own list says it.
                continue
            remedy = fix if fix is not None else f"{own}, in small steps."
            rows.append(
                {
                    "key": key,
                    "finding": _finding(row, found.table),
                    "remedy": f"{remedy} {CAUSES}",
                    "from_audit": fix is not None,
                    "weight": weight if fix is not None else 10.0,
                    "direction": wish,
                    "quantities": _TARGETS.get(key, ()),
                }
            )
        if reached:
            danger = {"key": "danger", "finding": "The audit found dangers or limits exceeded.", "from_audit": True}
            rows.append(danger | _NEITHER | {"remedy": f"Mend these first: {reached}", "weight": 150.0})
    table = pd.DataFrame(rows, columns=columns).sort_values("weight", ascending=False, kind="stable")
    return table.drop_duplicates("remedy").reset_index(drop=True)


def _unwell(table):
    """Whether they bask less or hide more than wild animals, clearly in the question by itself."""
    less = table.loc["basking_share"]
    more = table.loc["hidden_share"]
    return bool(
        (less["difference"] < 0 and less["high"] < 0 and less["verdict"] != "alike")
        or (more["difference"] > 0 and more["low"] > 0 and more["verdict"] != "alike")
    )


def _first(table):
    parts = [_finding(table.loc[k], table) for k in ("basking_share", "hidden_share")]
    return " ".join(parts)


def _finding(row, table):
    unit = f" {row['unit']}" if row["unit"] else ""
    digits = 0 if abs(row["field"]) >= 50 else 1 if abs(row["field"]) >= 5 else 2
    way = "more" if row["difference"] > 0 else "less"
    words = f"{row['question'][:1].upper()}{row['question'][1:]}: {row['captive']:.{digits}f}{unit} here, "
    words += f"{row['field']:.{digits}f}{unit} in the field ({abs(row['difference']):.{digits}f}{unit} {way})."
    if row.name == "basking_hours" and np.isfinite(table.loc["radiation_taken", "difference"]):
        light = table.loc["radiation_taken"]
        words = words[:-1] + f", at {light['captive']:.0f} W/m² where those took {light['field']:.0f}."
    return words


def _audit(season, record):
    """The audit against the season's targets, and its dangers in words."""
    if not len(record.readings):
        return None, ""
    aims = targets.from_season(season)
    coverage, light = auditing.light_of(record, aims)
    audited = auditing.audit(record, aims, coverage=coverage, light=light)
    urgent = [f"{row.flag} ({row.where})" for row in audited.dangers.itertuples(index=False)]
    return audited, "; ".join(urgent) + "." if urgent else ""


def _wish(key, difference):
    """Whether a difference asks for more (+1) or less (-1) of what its question is about; 0: neither."""
    kind = key if key in _ASKS else key.split("_")[0]
    return _ASKS.get(kind, 0) * int(np.sign(difference))


def _fix_of(audited, key, wish):
    """The audit's weightiest change that speaks of a question and pulls the way it asks for.

    Returns
    -------
    change : str or None
    weight : float
    against : bool
        Whether the audit pulls the other way.
    """
    if audited is None:
        return None, 0.0, False
    quantities = _TARGETS.get(key, ())
    mine = audited.table[audited.table["target"].isin(quantities) & audited.table["status"].isin(OUTSIDE)]
    fixes = audited.fixes
    # What warms is one thing: more radiation for a surface that is too hot is no remedy.
    warmth = {"irradiance_w_m2", "surface_c", "operative_c"}
    related = warmth if warmth & set(quantities) else set(quantities)
    against = bool((fixes["quantity"].isin(related) & (fixes["direction"] == -wish) & (wish != 0)).any())
    ranked = fixes[[bool(set(rows) & set(mine.index)) for rows in fixes["rows"]]]
    if wish:
        ranked = ranked[ranked["direction"].isin((wish, 0))]
    if not len(ranked) or against:
        return None, 0.0, against
    best = ranked.iloc[0]
    return str(best["change"]), float(best["weight"]), against
