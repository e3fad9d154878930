"""Invented enclosures with faults at random, and the truth about them: to try an audit on. Nothing was measured."""

from dataclasses import replace

import numpy as np
import pandas as pd

from fieldkit.captive.enclosure import network as model
from fieldkit.captive.enclosure import points as at_points
from fieldkit.captive.enclosure.days import long_form, read_lamps, read_out, simulate
from fieldkit.captive.lamps import Beam
from fieldkit.captive.lamps.folder import lamp_for
from fieldkit.core import FieldkitError, generator
from fieldkit.records.enclosure.reader import assemble

ZONE = "America/New_York"
FAULTS = (
    "surface too hot",
    "uv too high",
    "summer air too hot",
    "night too hot",
    "no uv",
    "sensor in the beam",
    "spot too small",
    "lamp within reach",
    "no shade retreat",
    "not measured",
)
# How random enclosures draw what a limit is about (°C, UV index): with the fault and without. A gap lies between
# them; what an audit should call broken follows from the true values, which come with the truth.
DRAWN = {
    "surface too hot": ((50.0, 68.0), (34.0, 46.0)),
    "uv too high": ((9.0, 14.0), (1.5, 6.5)),
    "summer air too hot": ((36.0, 42.0), (25.0, 32.0)),
    "night too hot": ((26.0, 30.0), (15.0, 21.0)),
}


def random_enclosure(rng, faults=None, *, days=2, step_min=20, months=(1, 7)):
    """An invented enclosure with chosen faults, and the truth about it, in memory.

    Parameters
    ----------
    rng : int or numpy.random.Generator
        Seed.
    faults : sequence of str, optional
        Some of `FAULTS`; drawn at random (each with chance 0.3) when not given.
    days, step_min : int
        Length and spacing of the readings of each month.
    months : sequence of int
        Months with readings; summer faults need 7.

    Returns
    -------
    record : EnclosureRecord
    truth : dict
        ``faults``; ``highest``: DataFrame by point_id with the true highest ``shade_air_c, surface_c, operative_c,
        irradiance_w_m2, uv_index``, and ``day_air_c, night_air_c`` (highest with and without lamps); ``conditions``:
        dict of quantity to DataFrame (times, points); ``sensors``: what error-free loggers would read (times, loggers);
        ``not_measured``: list of (role, zone) taken away.

    Raises
    ------
    FieldkitError
        When a fault is not one of `FAULTS`, or two exclude each other.

    Examples
    --------
    >>> record, truth = random_enclosure(1, faults=["surface too hot"])
    >>> truth["faults"], bool(truth["highest"]["surface_c"].max() > 49)
    (['surface too hot'], True)
    """
    rng = generator(rng)
    if faults is None:
        faults = [f for f in FAULTS if rng.random() < 0.3]
        if {"no uv", "uv too high"} <= set(faults):
            faults.remove(str(rng.choice(["no uv", "uv too high"])))
    faults = list(faults)
    for fault in faults:
        if fault not in FAULTS:
            raise FieldkitError(f"There is no fault '{fault}': choose from {', '.join(FAULTS)}.")
    if {"no uv", "uv too high"} <= set(faults):
        raise FieldkitError("An enclosure cannot have no UV and too much of it: leave one of the two out.")
    stated, beams = _random_settings(rng, faults)
    not_measured = _leave_out(stated, rng) if "not measured" in faults else []
    record = assemble(stated, None)
    targets = {name: rng.uniform(*pair[name not in faults]) for name, pair in DRAWN.items()}
    parts = [
        pd.date_range(f"2025-{m:02d}-08", periods=days * 1440 // step_min, freq=f"{step_min}min", tz=ZONE)
        for m in months
    ]
    rows = {row["id"]: row for _, row in record.lamps.iterrows()}

    def lamps_with(intensity, uv, half):
        out = [lamp_for(rows["heat"], Beam(intensity=intensity, half_angle_deg=half))]
        lit = Beam(intensity=beams["light_w_sr"], half_angle_deg=50.0)
        ultra = Beam(intensity=uv, half_angle_deg=40.0) if uv else None
        return [*out, lamp_for(rows["light"], lit, uv_beam=ultra)]

    air, night, rise = _climate(rng, targets)
    half, power = beams["heat"], 0.0
    intensity = _intensity_for(record, lamps_with(1.0, 0.0, half), targets["surface too hot"], air)
    # A beam cannot carry more than its lamp radiates: it is made narrower until it does not.
    for _ in range(8):
        power, rise = _power_for(record, lamps_with(intensity, 0.0, half), rise)
        if model.beam_watts(lamps_with(intensity, 0.0, half)[0]) <= 0.7 * power:
            break
        half *= 0.75
    stated["lamps"][0]["power_w"] = power
    record = assemble(stated, None)
    rows = {row["id"]: row for _, row in record.lamps.iterrows()}
    room = [_room(times, air - rise, night, summer=m in (6, 7, 8)) for times, m in zip(parts, months)]
    height = rows["heat"]["height_m"] - record.points["z_m"].iloc[0]
    reach = rows["light"]["height_m"] - record.points["z_m"].iloc[0]
    uv = 0.0 if "no uv" in faults else targets["uv too high"] * reach**2
    lamps = lamps_with(intensity, uv, half)
    runs = [simulate(record, lamps, times=t, room_c=r) for t, r in zip(parts, room)]
    meter = read_lamps(
        {lamp.id: lamp.beam for lamp in lamps},
        {lamp.id: _places(height, lamp.beam.half_angle_deg) for lamp in lamps},
        rng=rng,
        uv_beams={lamp.id: lamp.uv_beam for lamp in lamps if lamp.uv_beam is not None},
    )
    conditions = {
        name: pd.DataFrame(
            np.concatenate([c[name] for c, _ in runs]),
            index=parts[0].append(parts[1:]) if len(parts) > 1 else parts[0],
            columns=list(record.points["point_id"]),
        )
        for name in runs[0][0]
    }
    sensors = pd.concat([s for _, s in runs])
    wide = read_out(sensors, record.logger_info, rng=rng)
    made = assemble(stated, long_form(wide), lamp_readings=pd.DataFrame(meter), input_hash="random")
    highest = pd.DataFrame({name: values.max() for name, values in conditions.items()})
    lit = np.asarray(lamps[0].is_on(sensors.index.hour.to_numpy() + sensors.index.minute.to_numpy() / 60))
    highest["day_air_c"] = conditions["shade_air_c"][lit].max()
    highest["night_air_c"] = conditions["shade_air_c"][~lit].max()
    return made, {
        "faults": faults,
        "highest": highest,
        "conditions": conditions,
        "sensors": sensors,
        "not_measured": not_measured,
    }


def _random_settings(rng, faults):
    """Settings of a random enclosure as parsed, and the beams of its lamps."""
    length, height = rng.uniform(0.8, 1.8), rng.uniform(0.5, 0.9)
    width = rng.uniform(0.45, 0.8)
    walls = str(rng.choice(["wood", "glass", "plastic"]))
    x, y, shelf = 0.22 * length, width / 2, 0.1
    half = rng.uniform(3.0, 4.5) if "spot too small" in faults else rng.uniform(18.0, 32.0)
    lamp = {
        "x_m": x,
        "y_m": y,
        "height_m": height - 0.08,
        "on": "08:00",
        "off": "20:00",
        "fixed": True,
        "guarded": "lamp within reach" not in faults,
        "distance_to_nearest_reach_m": rng.uniform(0.05, 0.14)
        if "lamp within reach" in faults
        else rng.uniform(0.25, 0.35),
    }
    shaded = "no shade retreat" not in faults
    points = {
        "B1": {"x_m": x, "y_m": y, "z_m": shelf, "zone": "basking site", "substrate": "slate", "shade": False},
        "W1": {"x_m": 0.4 * length, "y_m": 0.1, "z_m": 0.05, "zone": "warm end", "substrate": "sand", "shade": True},
        "C1": {"x_m": 0.85 * length, "y_m": y, "z_m": 0.05, "zone": "cool end", "substrate": "sand", "shade": True},
    }
    if shaded:
        points["R1"] = {
            "x_m": 0.9 * length,
            "y_m": 0.1,
            "z_m": 0.02,
            "zone": "retreat",
            "substrate": "bark",
            "shade": True,
        }
    else:
        points["C1"]["shade"] = False
    point_of_control = "B1" if "sensor in the beam" in faults else "W1"
    temperature = {"unit": "degC"}
    loggers = {
        "air-warm": temperature | {"point": "W1", "role": "shade_air", "error": 0.3},
        "air-cool": temperature | {"point": "C1", "role": "shade_air", "error": 0.3},
        "slate": temperature | {"point": "B1", "role": "surface", "error": rng.uniform(0.5, 1.5)},
        "model": temperature | {"point": "B1", "role": "copper_model", "error": 0.6},
        "beam": {"unit": "W/m2", "point": "B1", "role": "irradiance", "error": 20.0},
        "uv": {"unit": "index", "point": "B1", "role": "uv_index", "error": 0.3},
        "control": temperature | {"point": point_of_control, "role": "thermostat", "error": 0.5},
        "room": temperature | {"role": "room_air", "error": 0.3},
    }
    if shaded:
        loggers["hide"] = temperature | {"point": "R1", "role": "shade_air", "error": 0.3}
    stated = {
        "enclosure": {
            "name": "random enclosure",
            "invented": True,
            "length_m": length,
            "width_m": width,
            "height_m": height,
            "walls": walls,
            "top": str(rng.choice(["mesh", walls])),
            "vent_area_m2": rng.uniform(0.01, 0.05),
            "room_temperature_c": {"day": 21.0, "night": 18.0},
            "timezone": ZONE,
        },
        "animal": {"species": "ridge lizard", "length_m": 0.07, "mass_g": 12.0, "shortwave_absorptivity": 0.87},
        "lamps": [
            lamp | {"id": "heat", "kind": "heat", "power_w": float(rng.choice([50, 75, 100, 150]))},
            lamp | {"id": "light", "kind": "visible" if "no uv" in faults else "uv", "power_w": 24.0, "guarded": True},
        ],
        "points": points,
        "loggers": loggers,
    }
    return stated, {"heat": half, "light_w_sr": rng.uniform(1.0, 3.0)}


def _leave_out(stated, rng):
    """Take some loggers away; what then was not measured."""
    zone = {name: point["zone"] for name, point in stated["points"].items()}
    choice = [n for n in ("slate", "uv", "beam", "hide", "air-cool", "model") if n in stated["loggers"]]
    gone = rng.choice(choice, size=rng.integers(1, 4), replace=False)
    out = []
    for name in gone:
        logger = stated["loggers"].pop(str(name))
        out.append((logger["role"], zone[logger["point"]]))
    return out


def _climate(rng, targets):
    """Highest air, night air and rise by the lamps (°C) that can go together."""
    air, night, rise = targets["summer air too hot"], targets["night too hot"], rng.uniform(4.0, 9.0)
    if night + rise > air:
        rise = max(2.5, air - night)
        air = max(air, night + rise)
    return air, night, rise


def _power_for(record, lamps, rise):
    """Power (W, at most 250) of the first lamp at which both lamps warm the air by so much, and by how much they do."""
    one = model.draw(1, rng=0)
    network = model.Network(record.geometry, one)
    kinds = dict(zip(record.lamps["id"], record.lamps["kind"]))
    low, high = 5.0, 250.0
    for _ in range(8):
        power = np.sqrt(low * high)
        setup = model.Setup(
            geometry=record.geometry, lamps=(replace(lamps[0], power_w=power), lamps[1]), kinds=kinds, room_c=25.0
        )
        load = sum(model.lamp_loads(setup, one).values())
        found = float(model.steady(network, load, 25.0)[0, :2].max() - 25.0)
        low, high = (low, power) if found > rise else (power, high)
    return float(np.round(power)), found


def _room(times, day, night, *, summer):
    """Air of the room through days: warmest at 16 h; in winter the room is held at 20 °C or less."""
    if not summer:
        day, night = min(day, 20.0), min(night, 17.0)
    hours = times.hour.to_numpy() + times.minute.to_numpy() / 60
    return night + (max(day, night) - night) * (0.5 + 0.5 * np.cos((hours - 16) / 24 * 2 * np.pi))


def _intensity_for(record, lamps, wanted_c, air_c):
    """Beam (W/sr) of the first lamp under which the first point's surface comes to rest at a temperature."""
    points = record.points.iloc[[0]]
    one = model.draw(1, rng=0)
    one["lamp"] = np.zeros((1, 2))
    first, second = at_points.light(points, lamps, one)[0][0][:, 0]
    air = np.array([[air_c]])
    low, high = 0.05, 400.0
    for _ in range(18):
        middle = np.sqrt(low * high)
        level = np.array([[middle * first + second]])
        found = at_points.surfaces(points, level, air, air + 1.0, one)[0, 0]
        low, high = (low, middle) if found > wanted_c else (middle, high)
    return middle


def _places(height, half_angle_deg):
    """Distances (m) and angles (°) at which a keeper holds the meter."""
    shares = ((0.6, 0), (0.8, 0), (1.0, 0), (0.8, 0.5 * half_angle_deg), (0.8, half_angle_deg))
    return [(round(share * height, 3), float(angle)) for share, angle in shares]
