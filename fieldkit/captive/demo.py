"""Invented enclosures with known faults: the demo, and random ones to try an audit on.

The forward model is that of `enclosure_model` marched through days: lamps by their clocks, a room warmer by day,
sensors with their own heat balance, readings with errors. Nothing here was measured. Run
``python -m fieldkit.captive.demo FOLDER`` to make the demo's files again, byte for byte.
"""

import json
import sys
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import constants

from fieldkit.captive import enclosure_conditions as at_points
from fieldkit.captive import enclosure_model as model
from fieldkit.captive.lamps import Beam
from fieldkit.core import FieldkitError, generator
from fieldkit.physics.air import KELVIN
from fieldkit.physics.ground import SUBSTRATES
from fieldkit.physics.heat import operative_temperature
from fieldkit.physics.warming import follow
from fieldkit.records.enclosure_folder import assemble

SEED = 20250105
ZONE = "America/New_York"
# Heat loss of a warm surface (W/m²/K), for how fast it warms only: radiation 6, air 6, ground 3.
SURFACE_LOSS = 15.0

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
# How random enclosures draw what a ceiling is about (°C, UV index): with the fault and without. A gap lies between
# them; what an audit should call broken follows from the true values, which come with the truth.
DRAWN = {
    "surface too hot": ((50.0, 68.0), (34.0, 46.0)),
    "uv too high": ((9.0, 14.0), (1.5, 6.5)),
    "summer air too hot": ((36.0, 42.0), (25.0, 32.0)),
    "night too hot": ((26.0, 30.0), (15.0, 21.0)),
}


# --- an enclosure through days --------------------------------------------------------------------------------------


def simulate(record, lamps, *, times, room_c, spin_up_days=1):
    """True conditions at every point and what error-free loggers would read.

    Parameters
    ----------
    record : EnclosureRecord
        Its geometry, points, animal, loggers and thermostats; readings are not used.
    lamps : list of Lamp
        The lamps as they truly are.
    times : DatetimeIndex
        Evenly spaced, in the zone of the place.
    room_c : ndarray (times,)
        Air of the room (°C).
    spin_up_days : int
        The first day is run this often before the series starts.

    Returns
    -------
    conditions : dict of str to ndarray (times, points)
    sensors : DataFrame (times, loggers)
    """
    step_s = (times[1] - times[0]).total_seconds()
    geometry, points = record.geometry, record.points
    kinds = dict(zip(record.lamps["id"], record.lamps["kind"]))
    one = {name: np.zeros(1) if value[0] == 0 else np.ones(1) for name, value in model.draw(1, rng=0).items()}
    one["lamp"] = np.zeros((1, max(len(lamps), 1)))
    setup = model.Setup(geometry=geometry, lamps=tuple(lamps), kinds=kinds, room_c=0.0)
    each = model.lamp_loads(setup, one)
    hours = times.hour.to_numpy() + times.minute.to_numpy() / 60
    on = np.stack([lamp.is_on(hours) for lamp in lamps], axis=1)
    loads = on[:, :, None] * np.stack([each[lamp.id][0] for lamp in lamps])[None]
    level, facing, uv = (a[0] for a in at_points.light(points, lamps, one))
    # A lamp without a beam of UV gives none here.
    uv = np.nan_to_num(uv)
    nodes, duty = model.march(
        model.Network(geometry, one),
        loads,
        room_c,
        step_s,
        sensors=_thermostats(record, lamps, facing),
        spin_up=round(spin_up_days * 86400 / step_s),
    )
    share = duty * on
    side = (points["x_m"].to_numpy() > geometry.length_m / 2).astype(int)
    air, radiant = nodes[:, side], nodes[:, 6 + side]
    many = {name: np.full(len(times), value[0]) for name, value in one.items() if name != "lamp"}
    conditions = {
        "shade_air_c": air,
        "irradiance_w_m2": share @ level,
        "uv_index": share @ uv,
        "surface_c": warming_surfaces(points, share @ level, air, radiant, many, step_s),
    }
    conditions["operative_c"] = at_points.operative(
        record.animal, share @ facing, air, radiant, conditions["surface_c"], many
    )
    return conditions, _sensors(record, conditions, share @ facing, radiant, room_c, times)


def warming_surfaces(points, irradiance, air, radiant, unknown, step_s):
    """Surfaces through time: the steady heat balance, followed with the time it takes the material to warm."""
    rest = at_points.surfaces(points, irradiance, air, radiant, unknown)
    out = np.empty(rest.shape)
    for p, text in enumerate(points["substrate"]):
        name = at_points.substrate_of(text)[0]
        material = SUBSTRATES[name]
        # Only so much of it warms along as heat reaches within an hour.
        deep = min(at_points.SUBSTRATE_M[name], np.sqrt(material.diffusivity_m2_s * 3600))
        lag = material.density_kg_m3 * material.specific_heat_j_kg_k * deep / SURFACE_LOSS
        out[:, p] = follow(rest[:, p], lag, step_s=step_s)
    return out


def _thermostats(record, lamps, facing):
    order = [lamp.id for lamp in lamps]
    found = {}
    for _, row in record.lamps.iterrows():
        if isinstance(row["controlled_by"], str):
            found.setdefault((row["controlled_by"], float(row["set_point_c"])), []).append(order.index(row["id"]))
    out = []
    for (logger, set_point), which in found.items():
        info = record.logger_info.set_index("logger_id").loc[logger]
        here = int(np.flatnonzero(record.points["point_id"] == info["point_id"])[0])
        body = at_points.sensor_body(info)
        warm = operative_temperature(
            air_temperature_c=25.0,
            wind_speed_m_s=at_points.AIR_MOVEMENT_M_S,
            dni_w_m2=facing[:, here],
            body=body,
        )
        side = int(record.points["x_m"].iloc[here] > record.geometry.length_m / 2)
        out.append((which, set_point, side, warm - 25.0))
    return out


def _sensors(record, conditions, beam, radiant, room_c, times):
    columns = {}
    place = {name: p for p, name in enumerate(record.points["point_id"])}
    for _, info in record.logger_info.iterrows():
        role, p = info["role"], place.get(info["point_id"])
        if role == "room_air":
            values = room_c
        elif role in ("shade_air", "thermostat", "exposed_probe"):
            # Every thermometer reads itself; in the shade that is the air and a little of the walls.
            values = operative_temperature(
                air_temperature_c=conditions["shade_air_c"][:, p],
                wind_speed_m_s=at_points.AIR_MOVEMENT_M_S,
                dni_w_m2=beam[:, p],
                sky_longwave_w_m2=constants.sigma * (radiant[:, p] + KELVIN) ** 4
                if role != "shade_air"
                else constants.sigma * (conditions["shade_air_c"][:, p] + KELVIN) ** 4,
                body=at_points.sensor_body(info),
            )
        else:
            names = {"surface": "surface_c", "copper_model": "operative_c", "irradiance": "irradiance_w_m2"}
            values = conditions[names.get(role, role)][:, p]
        columns[info["logger_id"]] = np.asarray(values, dtype=float)
    return pd.DataFrame(columns, index=times)


def read_out(sensors, info, *, rng):
    """Readings with errors: a calibration error that stays and noise that changes, together the stated error."""
    rng = generator(rng)
    out = {}
    for name, error in zip(info["logger_id"], info["error"]):
        values = sensors[name].to_numpy()
        noise = 0.6 * error * rng.standard_normal() + 0.8 * error * rng.standard_normal(len(values))
        out[name] = values + noise
    wide = pd.DataFrame(out, index=sensors.index)
    for role in ("irradiance", "uv_index"):
        for name in info.loc[info["role"] == role, "logger_id"]:
            wide[name] = wide[name].clip(lower=0.0)
    return wide


def _long(wide):
    names = list(wide.columns)
    return pd.DataFrame(
        {
            "time": np.tile(wide.index, len(names)),
            "logger_id": np.repeat(names, len(wide)),
            "value": wide.to_numpy().T.ravel(),
        }
    ).astype({"time": wide.index.dtype})


# --- the demo -------------------------------------------------------------------------------------------------------

DEMO = """\
# INVENTED: this enclosure, its animals and every reading are made up (fieldkit/captive/demo.py), with faults an audit
# should find. Not care advice.
[enclosure]
name = "Ridge lizard pair, upstairs shelf"
invented = true
length_m = 1.2
width_m = 0.6
height_m = 0.6
walls = "wood"
wall_thickness_m = 0.015
top = "mesh"
vent_area_m2 = 0.01
room_temperature_c = { day = 20.0, night = 17.0 }
timezone = "America/New_York"

[animal]
species = "ridge lizard"
length_m = 0.07
mass_g = 12.0
shortwave_absorptivity = 0.87

[[lamps]]
id = "spot"
kind = "heat"
power_w = 100
spectrum = "blackbody 2800 K"
x_m = 0.25
y_m = 0.30
height_m = 0.50
aim = "down"
on = "07:30"
off = "19:30"
guarded = false
fixed = true
distance_to_nearest_reach_m = 0.12

[[lamps]]
id = "tube"
kind = "visible"
power_w = 24
spectrum = "FL2"
x_m = 0.60
y_m = 0.30
height_m = 0.57
aim = "down"
on = "07:00"
off = "20:00"
guarded = true
fixed = true
distance_to_nearest_reach_m = 0.35

[[lamps]]
id = "heater"
kind = "dark heater"
power_w = 60
x_m = 0.15
y_m = 0.10
height_m = 0.50
aim = "down"
guarded = true
fixed = true
distance_to_nearest_reach_m = 0.30
controlled_by = "control"
set_point_c = 27.0

[points.B1]
x_m = 0.25
y_m = 0.30
z_m = 0.12
zone = "basking site"
substrate = "slate"
shade = false

[points.B2]
x_m = 0.28
y_m = 0.32
z_m = 0.12
zone = "basking site"
substrate = "slate"
shade = false

[points.W1]
x_m = 0.45
y_m = 0.50
z_m = 0.05
zone = "warm end"
substrate = "sand"
shade = true

[points.C1]
x_m = 1.00
y_m = 0.30
z_m = 0.05
zone = "cool end"
substrate = "sand"
shade = true

[points.R1]
x_m = 1.10
y_m = 0.15
z_m = 0.02
zone = "retreat"
substrate = "cork bark"
shade = true

[loggers.air-warm]
point = "W1"
role = "shade_air"
unit = "degC"
error = 0.3

[loggers.air-cool]
point = "C1"
role = "shade_air"
unit = "degC"
error = 0.3

[loggers.hide]
point = "R1"
role = "shade_air"
unit = "degC"
error = 0.3

[loggers.slate]
point = "B1"
role = "surface"
unit = "degC"
error = 1.0

[loggers.model]
point = "B1"
role = "copper_model"
unit = "degC"
error = 0.6

[loggers.beam]
point = "B1"
role = "irradiance"
unit = "W/m2"
error = 20.0

[loggers.uv]
point = "B1"
role = "uv_index"
unit = "UV index"
error = 0.1

[loggers.control]
point = "B2"
role = "thermostat"
unit = "degC"
error = 0.5
size_m = 0.012
shortwave_absorptivity = 0.9

[loggers.room]
role = "room_air"
unit = "degC"
error = 0.3
"""
# Far-field intensity on the axis (W/sr) and half angle (degrees) of the demo's lamps, as they truly are.
DEMO_BEAMS = {"spot": (125.0, 6.5), "tube": (2.2, 58.0), "heater": (7.0, 55.0)}
DEMO_DAYS = 12
# Room air by month: mean and half of its daily swing (°C), warmest at 16 h.
DEMO_ROOM = {1: (18.5, 1.8), 7: (29.0, 2.4)}
SLOW = ("hide", "beam", "model", "uv", "room")


def demo_truth():
    """What an audit of the demo should find; an analysis never reads it."""
    return {
        "faults": {
            "surface too hot": "the slate under the spot",
            "summer air too hot": "in July the room is warm and the lamps stay as in January",
            "no uv": "no lamp gives any UV",
            "sensor in the beam": "the thermostat's sensor 'control' lies in the light of the spot, so by day the "
            "heater is held back while the air is cool",
            "spot too small": "the spot is about 8 cm wide at the animal's back",
            "lamp within reach": "the spot is not guarded and can be touched from 12 cm",
        },
        "beams": {name: {"w_per_sr": w, "half_angle_deg": a} for name, (w, a) in DEMO_BEAMS.items()},
        "room_c": {str(m): {"mean": a, "half_swing": b} for m, (a, b) in DEMO_ROOM.items()},
    }


def _meter(name, beam, places, *, rng, uv):
    """Readings of a hand-held meter, 3 % off now and then, as rows of lamp_readings.csv."""
    rows = []
    for distance, angle in places:
        value = float(beam.at(distance, angle)) * np.exp(0.03 * rng.standard_normal())
        rows.append(f"{name},{distance},{angle},{value:.4g},{'0.0' if uv else ''}")
    return rows


def _demo_settings(rng):
    beams = {name: Beam(intensity=w, half_angle_deg=a) for name, (w, a) in DEMO_BEAMS.items()}
    places = {
        "spot": [(0.25, 0), (0.38, 0), (0.50, 0), (0.38, 4), (0.38, 8), (0.30, 6)],
        "tube": [(0.25, 0), (0.40, 0), (0.55, 0), (0.40, 30), (0.40, 50)],
        "heater": [(0.20, 0), (0.35, 0), (0.50, 0), (0.35, 30), (0.35, 50)],
    }
    rows = ["lamp,distance [m],angle [°],irradiance [W/m²],uv_index"]
    for name, beam in beams.items():
        rows += _meter(name, beam, places[name], rng=rng, uv=name != "heater")
    return "\n".join(rows) + "\n", beams


def room_air(times, mean, swing, *, rng):
    """Air of a room through days: warmest at 16 h, some days warmer than others."""
    hours = times.hour.to_numpy() + times.minute.to_numpy() / 60
    day = (times.normalize() - times[0].normalize()).days
    drift = np.cumsum(0.35 * generator(rng).standard_normal(day.max() + 1))
    drift -= drift.mean()
    return mean + swing * np.cos((hours - 16) / 24 * 2 * np.pi) + drift[day]


def _logs(record, beams, rng):
    """Rooms, lamps and loggers of the demo through its months: readings and true conditions of each."""
    lamps = [model.lamp_for(row, beams[row["id"]], uv_beam=None) for _, row in record.lamps.iterrows()]
    for month, (mean, swing) in DEMO_ROOM.items():
        times = pd.date_range(f"2025-{month:02d}-08", periods=144 * DEMO_DAYS, freq="10min", tz=ZONE)
        room = room_air(times, mean, swing, rng=rng)
        conditions, sensors = simulate(record, lamps, times=times, room_c=room)
        yield month, read_out(sensors, record.logger_info, rng=rng), conditions


def make_demo():
    """Text of lamp_readings.csv, readings (wide tables by month) and truth of the demo."""
    rng = generator(SEED)
    text, beams = _demo_settings(rng)
    record = assemble(tomllib.loads(DEMO), None)
    tables, truth = [], demo_truth() | {"warmest": {}}
    for month, table, conditions in _logs(record, beams, rng):
        tables.append(table)
        truth["warmest"][str(month)] = {
            name: {p: round(float(v), 1) for p, v in zip(record.points["point_id"], conditions[name].max(axis=0))}
            for name in ("shade_air_c", "surface_c", "operative_c")
        }
    return text, tables, truth


def changed(*, power_w=None, guarded=(), sensor_point=None):
    """The demo enclosure logged again after a change, in the same months and rooms: invented, for practice.

    Parameters
    ----------
    power_w : dict of str to float, optional
        New power of lamps (W), by id; their light follows in proportion.
    guarded : sequence of str
        Lamps that got a guard.
    sensor_point : str, optional
        Where the thermostat's sensor hangs now.

    Returns
    -------
    EnclosureRecord

    Raises
    ------
    FieldkitError
        When the demo has no such lamp or point.

    Examples
    --------
    >>> float(changed(power_w={"spot": 45}).lamps.loc[0, "power_w"])
    45.0
    """
    stated = tomllib.loads(DEMO)
    named = {lamp["id"]: lamp for lamp in stated["lamps"]}
    beams = {name: Beam(intensity=w, half_angle_deg=a) for name, (w, a) in DEMO_BEAMS.items()}
    for name in [*(power_w or {}), *guarded]:
        if name not in named:
            raise FieldkitError(f"The demo has no lamp '{name}': choose from {', '.join(named)}.")
    for name, power in (power_w or {}).items():
        share = power / named[name]["power_w"]
        named[name]["power_w"] = float(power)
        beams[name] = replace(beams[name], intensity=beams[name].intensity * share)
    for name in guarded:
        named[name]["guarded"] = True
    if sensor_point is not None:
        if sensor_point not in stated["points"]:
            raise FieldkitError(f"The demo has no point '{sensor_point}': choose from {', '.join(stated['points'])}.")
        stated["loggers"]["control"]["point"] = sensor_point
    rng = generator(SEED + 1)
    record = assemble(stated, None)
    wide = pd.concat([table for _, table, _ in _logs(record, beams, rng)])
    meter = pd.DataFrame(
        [
            {"lamp": name, "distance_m": d, "angle_deg": a, "irradiance_w_m2": float(beam.at(d, a)), "uv_index": 0.0}
            for name, beam in beams.items()
            for d, a in ((0.25, 0), (0.38, 0), (0.50, 0), (0.38, 4), (0.38, 8), (0.30, 6))
        ]
    )
    noise = np.exp(0.03 * rng.standard_normal(len(meter)))
    meter["irradiance_w_m2"] *= noise
    meter.loc[meter["lamp"] == "heater", "uv_index"] = np.nan
    return assemble(stated, _long(wide), lamp_readings=meter, input_hash="demo, changed")


def write(folder):
    """Write the demo enclosure into a new folder.

    Parameters
    ----------
    folder : str or pathlib.Path
        Must not exist yet, or be empty.

    Returns
    -------
    pathlib.Path

    Raises
    ------
    FieldkitError
        When the folder holds something already.
    """
    folder = Path(folder).expanduser()
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise FieldkitError(f"{folder} is not empty: nothing was written. Give a new folder.")
    text, tables, truth = make_demo()
    lines = ["time,logger_id,value"]
    for name in tables[0].columns:
        for table in tables:
            column = table[name].iloc[::3] if name in SLOW else table[name]
            stamps = column.index.strftime("%Y-%m-%d %H:%M")
            lines += [f"{t},{name},{v:.1f}" for t, v in zip(stamps, np.round(column.to_numpy(), 1) + 0.0)]
    folder.mkdir(parents=True, exist_ok=True)
    files = {
        "enclosure.toml": DEMO,
        "lamp_readings.csv": text,
        "readings.csv": "\n".join(lines) + "\n",
        "truth.json": json.dumps(truth, indent=2) + "\n",
    }
    for name, content in files.items():
        (folder / name).write_text(content, encoding="utf-8", newline="\n")
    return folder


# --- random enclosures ----------------------------------------------------------------------------------------------


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
        out = [model.lamp_for(rows["heat"], Beam(intensity=intensity, half_angle_deg=half))]
        lit = Beam(intensity=beams["light_w_sr"], half_angle_deg=50.0)
        ultra = Beam(intensity=uv, half_angle_deg=40.0) if uv else None
        return [*out, model.lamp_for(rows["light"], lit, uv_beam=ultra)]

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
    meter = _meter_rows(lamps, rng, height, uv)
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
    made = assemble(stated, _long(wide), lamp_readings=meter, input_hash="random")
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
    one = {name: np.zeros(1) if value[0] == 0 else np.ones(1) for name, value in model.draw(1, rng=0).items()}
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
    one = {name: np.zeros(1) if value[0] == 0 else np.ones(1) for name, value in model.draw(1, rng=0).items()}
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


def _meter_rows(lamps, rng, height, uv):
    """Readings of a hand-held meter before each lamp."""
    rows = []
    for lamp in lamps:
        wide = lamp.beam.half_angle_deg
        for share, angle in ((0.6, 0), (0.8, 0), (1.0, 0), (0.8, 0.5 * wide), (0.8, wide)):
            distance = round(share * height, 3)
            reading = {
                "lamp": lamp.id,
                "distance_m": distance,
                "angle_deg": float(angle),
                "irradiance_w_m2": float(lamp.beam.at(distance, angle) * np.exp(0.03 * rng.standard_normal())),
                "uv_index": 0.0,
            }
            if lamp.uv_beam is not None and uv:
                reading["uv_index"] = float(lamp.uv_beam.at(distance, angle) * np.exp(0.05 * rng.standard_normal()))
            rows.append(reading)
    return pd.DataFrame(rows)


if __name__ == "__main__":
    print(f"Wrote the demo enclosure to {write(sys.argv[1])}.")
