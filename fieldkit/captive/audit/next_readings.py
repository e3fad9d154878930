"""What to measure next: which reading would settle most."""

import numpy as np
import pandas as pd

from fieldkit.captive.audit import means as blocks
from fieldkit.captive.audit.judge import FEWEST_DAYS, ROLES
from fieldkit.captive.audit.means import amount, short
from fieldkit.captive.audit.status import OPEN, Evidence, Status
from fieldkit.captive.targets import Kind, spoken

_INSTRUMENT = {
    "shade_air_c": "an air thermometer under a radiation shield",
    "surface_c": "a surface thermometer (thermocouple pressed on, or infrared with the right emissivity)",
    "irradiance_w_m2": "a pyranometer",
    "uv_index": "a UV index meter",
    "operative_c": "a copper model of the animal",
    "warming_rate_c_per_h": "an air thermometer under a radiation shield, read every ten minutes",
    "photoperiod_h": "a light logger",
}


def next_measurements(table, flags, means):
    """Which reading would settle most; see `audit.Audit.next_measurements`."""
    rows = []
    open_ = table[table["status"].isin(OPEN)].assign(limit=lambda t: t["kind"] == Kind.LIMIT)
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
        worth = float(np.where(part["limit"], 12.0, 1.0).sum())
        missing = part[part["status"] == Status.NOT_MEASURED]
        unsure = part[part["status"] == Status.UNKNOWN]
        tool = _INSTRUMENT[target]
        at = "at the basking site" if zone == "whole" and part["limit"].any() else f"at the {zone}"
        at = "in the enclosure" if zone == "whole" and not part["limit"].any() else at
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
            role = means.loggers[means.loggers["role"] == ROLES.get(target)]
            if (unsure["evidence"] == Evidence.STATED).all() and target == "photoperiod_h":
                reason = "The clock of the lamps is only stated: nothing that was read bears it out."
            elif (unsure["n_days"] < FEWEST_DAYS).all() and unsure["n_days"].max() > 0:
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
        limits = int(part["limit"].sum())
        settles = f"{len(part)} target{'s' if len(part) > 1 else ''}"
        settles += f", {limits} of them upper limits" if limits else ""
        if limits == len(part):
            settles = f"{limits} upper limit{'s' if limits > 1 else ''}"
        rows.append({"measure": measure, "settles": settles, "reason": reason, "weight": worth})
    if ((table["evidence"] == Evidence.STATED) & (table["n_days"] > 0)).any():
        measure = "State in enclosure.toml when the lamps go on and off (on and off of each), or log the light."
        reason = "Nothing tells day from night, so no target of day or night can be met."
        rows.append({"measure": measure, "settles": "day and night", "reason": reason, "weight": 9})
    blind = flags[flags["found"] == "not measured"].set_index("flag")["where"]
    danger = "A danger that was not looked at."
    for name, where in blind.items():
        if name == "heat mat that nothing reads":
            measure = f"Read the surface of the heat mat ({where}) where the animal lies, by day and by night."
            rows.append({"measure": measure, "settles": name, "reason": danger, "weight": 11})
        elif "lamp" in name:
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
