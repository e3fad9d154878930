"""What to do with which lamp: by its kind, in metres and watts where its beam is known, with what is to be expected."""

from enum import StrEnum

import numpy as np

from fieldkit.captive.audit.means import amount, short
from fieldkit.captive.lamps import folder as lamp_folder
from fieldkit.captive.targets.standards import RESTING_CEILING_C
from fieldkit.core import FieldkitError

# How each kind of lamp is made weaker: only a filament bears a dimmer. Discharge lamps and tubes flicker, go out or
# fail on one (common practice, no source; the maker's sheet has the last word).
WEAKER = {
    "heat": "dim it or take one of fewer watts",
    "heat and uv": "take one of fewer watts (a discharge lamp is not dimmed)",
    "uv": "take a weaker one (a tube is not dimmed)",
    "visible": "take a weaker one (do not dim what is not made for it)",
    "dark heater": "set its thermostat lower",
    "heat mat": "set its thermostat lower",
}
STRONGER = "a stronger one, if its fitting is rated for the watts (read them on the fitting)"
# Nothing that an animal can climb to comes nearer to a lamp than this, guarded or not (common practice, no source).
NEAREST_M = 0.20
# Standard error of the air taken for the rise of a surface (°C; our choice).
_AIR_ERROR_C = 0.5
EXPECTED = ("from_m", "to_m", "surface_c", "surface_low_c", "surface_high_c", "uv_index", "uv_low", "uv_high")


class Action(StrEnum):
    """What a fix does; data for whoever joins fixes to targets."""

    SWITCH_OFF = "switch off or bar the way"
    LESS = "less"
    MORE = "more"
    GUARD = "guard"
    FASTEN = "fasten"
    MOVE_SENSOR = "move sensor"
    RETREAT = "add retreat"
    CHECK = "check"
    TIMER = "put on a timer"
    WAIT = "wait"
    OTHER = "other"


# Weights of flags in the order of fixes, as in `fixes` (common practice, no source), and what is done about each.
FLAG_WEIGHT = {
    "lamp within reach and unguarded": 96,
    "air hotter than anywhere on Earth": 97,
    **dict.fromkeys(("heat mat set too hot", "thermostat set too hot"), 95),
    "lamp not fixed": 92,
    "no shade retreat": 88,
    "thermostat sensor in the beam": 86,
    "heater without a thermostat": 84,
    "warm and cool end exchanged": 60,
    "day and night exchanged": 60,
    "air sensor in the beam": 58,
    "air sensor warmed by a heater": 57,
    "no dark at night": 85,
    "spot smaller than the animal": 56,
    "room too warm for the target": 54,
}
FLAG_FIX = {
    "lamp within reach and unguarded": (
        Action.GUARD,
        "Switch the lamp ({}) off or bar the way to it now. Then guard it, or hang it out of reach, before it is lit "
        "again",
    ),
    "lamp not fixed": (
        Action.FASTEN,
        "Switch the lamp ({}) off now. Then fix it with a second holder that bears its weight, before it is lit again",
    ),
    "air hotter than anywhere on Earth": (
        Action.SWITCH_OFF,
        "Look at the animal now. If the air ({}) is truly that hot, switch off all that heats and move the animal. "
        "If it is not, the readings are in another unit (°F?) or the sensor is broken: mend the log and audit again, "
        "before any other advice here",
    ),
    "heat mat set too hot": (
        Action.SWITCH_OFF,
        "Unplug the heat mat ({}) now. Then set its thermostat below the limit and read its surface for a day without "
        "the animal",
    ),
    "thermostat set too hot": (
        Action.SWITCH_OFF,
        "Switch what it controls ({}) off now. Then set its thermostat below the limit, where the animal lies and in "
        "the air, and read both for a day without the animal",
    ),
    "heater without a thermostat": (
        Action.SWITCH_OFF,
        "Unplug the heater ({}) now. Then run it through a thermostat with a sensor where the animal touches it",
    ),
    "no shade retreat": (
        Action.RETREAT,
        "Give a retreat in full shade, away from the lamps, that the whole animal fits into",
    ),
    "thermostat sensor in the beam": (
        Action.MOVE_SENSOR,
        "Move the thermostat's sensor ({}) out of the beam, into the shade, or shield it; then set the thermostat "
        "anew, in small steps",
    ),
    "air sensor in the beam": (
        Action.MOVE_SENSOR,
        "Move the air sensor ({}) into the shade, or put a ventilated radiation shield round it",
    ),
    "air sensor warmed by a heater": (
        Action.MOVE_SENSOR,
        "Move the air sensor ({}) away from the heater, into the shade, and read the surface of the heater by itself",
    ),
    "no dark at night": (
        Action.TIMER,
        "Put the lamps ({}) on a timer, so that every night is dark and cooler. Where the animal needs warmth at "
        "night, a dark heater on a thermostat gives it. Bring the hours of light to those of the season in small steps",
    ),
    "spot smaller than the animal": (
        Action.OTHER,
        "Widen the lit spot in small steps: a lamp of a wider beam, or several weaker ones side by side",
    ),
    "warm and cool end exchanged": (
        Action.CHECK,
        "Check the places of the loggers, then move the heat to the warm end",
    ),
    "day and night exchanged": (Action.CHECK, "Check the clocks of lamps, heaters and loggers"),
    "room too warm for the target": (
        Action.OTHER,
        "Cool the room, or keep the enclosure in a cooler one, for these months",
    ),
}
URGENT = (
    "air hotter than anywhere on Earth",
    *("lamp within reach and unguarded", "lamp not fixed", "heat mat set too hot", "heater without a thermostat"),
    "thermostat set too hot",
)


class Remedies:
    """The lamps of an enclosure and where their light goes; holds what the fixes share."""

    def __init__(self, record, means):
        self.record, self.means = record, means
        try:
            self.lamps = {lamp.id: lamp for lamp in lamp_folder.lamps_of(record).lamps}
        except FieldkitError:
            self.lamps = {}
        self.rows = record.lamps.set_index("id", drop=False)
        self.points = record.points.set_index("point_id")

    def place(self, point):
        """A point as (x, y, z), or None."""
        if point not in self.points.index:
            return None
        return self.points.loc[point, ["x_m", "y_m", "z_m"]].to_numpy(dtype=float)

    def lamp_over(self, point, quantity):
        """The id of the lamp that gives most of a quantity at a point; "" when there is none."""
        place = self.place(point)
        kinds = ("uv", "heat and uv") if quantity == "uv_index" else tuple(WEAKER)
        rows = self.rows[self.rows["kind"].isin(kinds)]
        if not len(rows) or place is None:
            return rows["id"].iloc[0] if len(rows) == 1 else ""
        strength = {row.id: self._strength(row, place, quantity) for row in rows.itertuples(index=False)}
        return max(strength, key=strength.get)

    def lamps_over(self, point, quantity):
        """The ids of all lamps that give a tenth or more of what the strongest gives at a point, strongest first."""
        strongest, place = self.lamp_over(point, quantity), self.place(point)
        if place is None or not strongest:
            return [strongest] if strongest else []
        kinds = ("uv", "heat and uv") if quantity == "uv_index" else tuple(WEAKER)
        rows = self.rows[self.rows["kind"].isin(kinds)]
        strength = {row.id: self._strength(row, place, quantity) for row in rows.itertuples(index=False)}
        count = [name for name, s in strength.items() if name != strongest and s >= 0.1 * strength[strongest]]
        return [strongest, *sorted(count, key=strength.get, reverse=True)]

    def _strength(self, row, place, quantity):
        """Irradiance at a place, or what distance and watts let expect of it."""
        lamp = self.lamps.get(row.id)
        if lamp is not None:
            known = lamp.uv_index_at(place)[0] if quantity == "uv_index" else lamp.irradiance_at(place)[0]
            if np.isfinite(known):
                return float(known)
        away = np.array([row.x_m, row.y_m, row.height_m]) - place
        if row.kind == "heat mat" and np.hypot(away[0], away[1]) > 0.2:
            return 0.0
        share = {"heat": 1.0, "heat and uv": 1.0, "uv": 0.3, "visible": 0.3}.get(row.kind, 0.5)
        return share * row.power_w / (4 * np.pi * max(float(away @ away), 0.01))

    # --- what the animal would meet ------------------------------------------------------------------------------

    def light_at(self, lamp_id, height, place):
        """Light of all lamps with a beam at a place when one of them hangs at a height, and its relative error."""
        total, spread = 0.0, 0.0
        for name, lamp in self.lamps.items():
            moved = lamp.moved(height_m=height) if name == lamp_id else lamp
            value, error, beam = moved.field_and_error(place, "level", "irradiance_w_m2")
            total += float(value[0])
            spread += (float(value[0]) * np.hypot(float(error[0]), beam.calibration_error)) ** 2
        return total, np.sqrt(spread) / total if total > 0 else np.nan

    def expected(self, lamp_id, height, point, surface, air, error):
        """Surface (°C) and UV index at a point with a lamp at another height, with 95 % limits; NaN: not known."""
        place, now = self.place(point), self.rows.loc[lamp_id, "height_m"]
        before, spread_before = self.light_at(lamp_id, now, place)
        after, spread = self.light_at(lamp_id, height, place)
        found = {"from_m": float(now - place[2]), "to_m": float(height - place[2])}
        ratio = after / before if before > 0 else np.nan
        if surface is not None and air is not None and np.isfinite(ratio):
            rise = (surface - air) * ratio
            sd = np.sqrt(
                (ratio * error) ** 2 + (rise * np.hypot(spread, spread_before)) ** 2 + ((1 - ratio) * _AIR_ERROR_C) ** 2
            )
            found |= {"surface_c": air + rise, "surface_low_c": air + rise - 1.96 * sd}
            found["surface_high_c"] = air + rise + 1.96 * sd
        uv, low, high = 0.0, 0.0, 0.0
        for name, lamp in self.lamps.items():
            moved = lamp.moved(height_m=height) if name == lamp_id else lamp
            value, relative, _ = moved.field_and_error(place, "level", "uv_index")
            uv += float(value[0])
            low += float(value[0] * np.exp(-1.96 * relative[0]))
            high += float(value[0] * np.exp(1.96 * relative[0]))
        blind = set(self.rows.index[self.rows["kind"].isin(("heat", "heat and uv", "uv", "visible"))]) - set(self.lamps)
        if np.isfinite(uv) and not blind:
            found |= {"uv_index": uv, "uv_low": low, "uv_high": high}
        return found

    def heights(self, lamp_id, up):
        """Heights at which a lamp could hang, from where it is: to the lid, or down to what must stay clear of it."""
        now = float(self.rows.loc[lamp_id, "height_m"])
        top = max(self.record.geometry.height_m, now)
        lowest = min(now, float(self.points["z_m"].max()) + NEAREST_M) if len(self.points) else now
        return np.linspace(now, top if up else lowest, 61)

    def raised(self, lamp_id, point, limit, surface, air, error):
        """The least height at which all points of the basking site stay below a limit, and what is expected; None."""
        if lamp_id not in self.lamps or self.place(point) is None or air is None or not surface > air:
            return None
        aside = self.record.lamps.set_index("id").loc[lamp_id, "kind"]
        if aside in ("heat mat", "dark heater"):
            return None
        here, _ = self.light_at(lamp_id, self.rows.loc[lamp_id, "height_m"], self.place(point))
        allowed = here * (limit - air) / (surface - air)
        others = [p for p in self.points.index[self.points["zone"] == self.points.loc[point, "zone"]] if p != point]
        best = None
        for height in self.heights(lamp_id, up=True)[1:]:
            one = self.expected(lamp_id, height, point, surface, air, error)
            fits = one.get("surface_high_c", np.inf) <= limit
            fits &= all(self.light_at(lamp_id, height, self.place(p))[0] <= allowed for p in others)
            # A narrow spot seen from aside gets stronger before it gets weaker: only what holds from here on counts.
            best = (best or one) if fits else None
        return best

    def lowered(self, lamp_id, point, wanted, surface, air, error):
        """The greatest height at which a surface reaches what is wanted, surely below the limit for hours; or None."""
        if lamp_id not in self.lamps or self.place(point) is None or air is None or not surface > air:
            return None
        for height in self.heights(lamp_id, up=False)[1:]:
            one = self.expected(lamp_id, height, point, surface, air, error)
            if one.get("surface_high_c", np.inf) > RESTING_CEILING_C:
                return None
            if one["surface_c"] >= wanted:
                return one
        return None

    # --- in words ------------------------------------------------------------------------------------------------

    def weaker(self, lamp_id):
        """How a lamp is made weaker, by its kind."""
        kind = self.rows.loc[lamp_id, "kind"] if lamp_id in self.rows.index else "heat"
        if kind in ("dark heater", "heat mat") and self.rows.loc[lamp_id, "controlled_by"] is None:
            return "run it through a thermostat, or take a weaker one"
        return WEAKER[kind]

    def watts(self, lamp_id, share):
        """Watts of a weaker lamp of the same make."""
        if lamp_id not in self.rows.index or not 0 < share < 1:
            return ""
        now = float(self.rows.loc[lamp_id, "power_w"])
        return f" (at most {short(share * now)} W of the same make, now {now:g} W)"


def told(one):
    """What is expected at the new height, in words."""
    if one is None:
        return ""
    words = []
    if "surface_c" in one:
        low, high = one["surface_low_c"], one["surface_high_c"]
        words.append(f"the surface at about {one['surface_c']:.0f} °C ({low:.0f} to {high:.0f})")
    if "uv_index" in one:
        words.append(f"the UV index at {amount(one['uv_index'], 'UV index')}")
        words[-1] += f" ({one['uv_low']:.2g} to {one['uv_high']:.2g})" if one["uv_high"] > 0 else ""
    else:
        words.append("the UV not known")
    return f" Expected then: {', '.join(words)}; read both again."
