"""Radiation and basking held against the sun: what it cannot give, and clocks and units by which it would fit."""

import numpy as np

from fieldkit.field.plausibility import clock, sky
from fieldkit.field.plausibility.series import seconds_of

# Below civil twilight nothing reaches a sensor; what it reads then is its offset (rule of thumb: at most 30 W/m²).
_DARK_SIN = np.sin(np.radians(-6.0))
_NIGHT_W_M2 = 30.0
_NIGHT_UV = 0.5
# Highest share of a clear sky that a whole series may stay below before its unit is doubted (rule of thumb).
_FAINT = 0.2


def look_at(say, one):
    """Hold one series against the sun."""
    found = clock.shift_of(one)
    if found is not None and found["off"]:
        _say_clock(say, one, found)
    if one.kind != "temperature":
        _too_bright(say, one, clock_off=bool(found and found["off"]))
        _faint(say, one)
        _zeros(say, one)


def look(say, site):
    """Hold what else was read, and what animals are said to do, against the sun."""
    _uv_at_night(say, site)
    _basking_at_night(say, site)


def _say_clock(say, one, found):
    hours = found["shift_min"] / 60
    where = {"loggers": f"timezone below [loggers.{one.name}]", "weather": "timezone below the section of the station"}
    say.warn(
        one.table,
        [one.rows[np.argmin(one.seconds)]],
        "time",
        f"By {found['held_against']} the clock of {one.name} is {abs(hours):.1f} h "
        f"{'ahead' if hours > 0 else 'behind'} (95 % interval "
        f"{found['low_min'] / 60:+.1f} to {found['high_min'] / 60:+.1f} h, {found['days']} days).",
        "Check how its clock was set, am and pm, the order of day and month, and longitude and timezone under [site]; "
        f"a clock that is never set to summer time is said by {where.get(one.table, '[clocks]')} in season.toml.",
    )


def _too_bright(say, one, clock_off):
    """Readings with the sun down, and readings beyond what the sun can give."""
    spread = max(one.step_min, 10.0) if one.kind == "radiation" else 10.0
    mu = sky.highest_sin_elevation(one.seconds, spread, one.latitude_deg, one.longitude_deg)
    slack = 3 * one.error
    dark = (mu < _DARK_SIN) & (one.readings > _NIGHT_W_M2 + slack)
    strong = ~dark & (one.readings > sky.possible_w_m2(mu) + slack)
    nights = (mu < _DARK_SIN) & np.isfinite(one.readings)
    if dark.any():
        base = np.median(one.readings[nights])
        remedy = "Check am and pm, the date, the clock and its timezone, and latitude and longitude in season.toml."
        if base > _NIGHT_W_M2:
            remedy = f"If the sensor reads {base:.0f} W/m² in the dark, take that off all its readings; else: {remedy}"
        say.warn(
            one.table,
            one.rows[dark] if one.table != "loggers" else one.rows[dark][:1],
            one.column,
            f"Radiation was read with the sun down ({dark.sum():,} of {nights.sum():,} readings at night).",
            remedy,
        )
    if strong.any() and not clock_off:
        say.warn(
            one.table,
            one.rows[strong] if one.table != "loggers" else one.rows[strong][:1],
            one.column,
            f"This is more than sun and sky can give at that moment ({strong.sum():,} readings).",
            "Check the reading, its unit, the date and the clock.",
        )


def _faint(say, one):
    """A series that stays far below a clear sky all along: kW/m² or kilolux for W/m², or deep shade."""
    mu = sky.sin_elevation(one.seconds, one.latitude_deg, one.longitude_deg)
    high = (mu > 0.4) & np.isfinite(one.readings)
    if high.sum() < 40:
        return
    share = one.readings[high] / sky.clear_w_m2(mu[high])
    top = float(np.quantile(share, 0.995))
    if top >= _FAINT:
        return
    brightest = one.rows[high][int(np.argmax(share))]
    say.warn(
        one.table,
        [brightest],
        one.column,
        f"With the sun high, the {high.sum():,} readings of {one.name} hardly pass {100 * top:.2g} % of a clear sky's.",
        "Check the unit: W/m² in full sun are about 1,000, kW/m² about 1, kilolux about 100 (and lux cannot be turned "
        "into W/m²). Nothing, if all of it was read in deep shade.",
    )


def _zeros(say, one):
    """0 with the sun up: also the darkest place gets some light, so it may stand for a reading that is missing."""
    mu = sky.sin_elevation(one.seconds, one.latitude_deg, one.longitude_deg)
    day = (mu > 0.2) & np.isfinite(one.readings)
    zero = day & (one.readings == 0)
    # An instrument whose error takes dark places to 0 reads little as often.
    little = day & (one.readings > 0) & (one.readings < 30 + one.error)
    if zero.sum() >= 3 and little.sum() < zero.sum() / 2:
        say.warn(
            one.table,
            one.rows[zero],
            one.column,
            f"This is exactly 0 with the sun up; of {day.sum():,} readings by day {zero.sum():,} are 0 and only "
            f"{little.sum():,} are small.",
            "If 0 stands for a reading that was not taken, leave the cell empty.",
        )


def _uv_at_night(say, site):
    choices = say.tables.get("choices")
    if choices is None or not {"time", "uv_index"} <= set(choices):
        return
    mu = sky.highest_sin_elevation(seconds_of(choices["time"]), 10, *site)
    dark = (mu < _DARK_SIN) & (choices["uv_index"].to_numpy(dtype=float) > _NIGHT_UV)
    say.warn(
        "choices",
        np.flatnonzero(dark),
        "uv_index",
        "UV was read with the sun down.",
        "Check am and pm, the date and the zone.",
    )


def _basking_at_night(say, site):
    for table in ("scans", "sightings"):
        frame = say.tables.get(table)
        if frame is None or not {"time", "behaviour"} <= set(frame):
            continue
        mu = sky.highest_sin_elevation(seconds_of(frame["time"]), 10, *site)
        dark = (mu < _DARK_SIN) & (frame["behaviour"] == "basking").to_numpy()
        say.warn(
            table,
            np.flatnonzero(dark),
            "time",
            "An animal is said to bask with the sun down.",
            "Check am and pm, the date, the clock's zone and the place in season.toml.",
        )
