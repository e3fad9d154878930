"""The invented demo enclosure, with faults that an audit should find. Nothing here was measured.

Run ``python -m fieldkit.demo.enclosure FOLDER`` to make the demo's files again, byte for byte.
"""

import json
import sys
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from fieldkit.captive.enclosure.days import long_form, read_lamps, read_out, simulate
from fieldkit.captive.lamps import Beam
from fieldkit.captive.lamps.folder import lamp_for
from fieldkit.core import FieldkitError, generator, swapped_in
from fieldkit.demo.random_enclosures import DRAWN, FAULTS, ZONE, random_enclosure
from fieldkit.records.enclosure.reader import assemble

__all__ = ["DRAWN", "FAULTS", "changed", "random_enclosure", "write"]

SEED = 20250105

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
spectrum = "blackbody 2800 K, glass 340 nm"
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
# Where the meter was held before each lamp: distance (m) and angle (°).
PLACES = {
    "spot": [(0.25, 0), (0.38, 0), (0.50, 0), (0.38, 4), (0.38, 8), (0.30, 6)],
    "tube": [(0.25, 0), (0.40, 0), (0.55, 0), (0.40, 30), (0.40, 50)],
    "heater": [(0.20, 0), (0.35, 0), (0.50, 0), (0.35, 30), (0.35, 50)],
}


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


def room_air(times, mean, swing, *, rng):
    """Air of a room through days: warmest at 16 h, some days warmer than others."""
    hours = times.hour.to_numpy() + times.minute.to_numpy() / 60
    day = (times.normalize() - times[0].normalize()).days
    drift = np.cumsum(0.35 * generator(rng).standard_normal(day.max() + 1))
    drift -= drift.mean()
    return mean + swing * np.cos((hours - 16) / 24 * 2 * np.pi) + drift[day]


def _logs(record, beams, rng):
    """Rooms, lamps and loggers of the demo through its months: readings and true conditions of each."""
    lamps = [lamp_for(row, beams[row["id"]]) for _, row in record.lamps.iterrows()]
    for month, (mean, swing) in DEMO_ROOM.items():
        times = pd.date_range(f"2025-{month:02d}-08", periods=144 * DEMO_DAYS, freq="10min", tz=ZONE)
        room = room_air(times, mean, swing, rng=rng)
        conditions, sensors = simulate(record, lamps, times=times, room_c=room)
        yield month, read_out(sensors, record.logger_info, rng=rng), conditions


def make_demo():
    """Rows of lamp_readings.csv, readings (wide tables by month) and truth of the demo."""
    rng = generator(SEED)
    beams = _beams()
    meter = read_lamps(beams, PLACES, rng=rng, without_uv=("heater",))
    record = assemble(tomllib.loads(DEMO), None)
    tables, truth = [], demo_truth() | {"warmest": {}}
    for month, table, conditions in _logs(record, beams, rng):
        tables.append(table)
        truth["warmest"][str(month)] = {
            name: {p: round(float(v), 1) for p, v in zip(record.points["point_id"], conditions[name].max(axis=0))}
            for name in ("shade_air_c", "surface_c", "operative_c")
        }
    return meter, tables, truth


def _beams():
    return {name: Beam(intensity=w, half_angle_deg=a) for name, (w, a) in DEMO_BEAMS.items()}


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
    beams = _beams()
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
    # The meter is held as before the spot, before every lamp.
    meter = read_lamps(beams, dict.fromkeys(beams, PLACES["spot"]), rng=rng, without_uv=("heater",))
    return assemble(stated, long_form(wide), lamp_readings=pd.DataFrame(meter), input_hash="demo, changed")


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
    meter, tables, truth = make_demo()
    text = ["lamp,distance [m],angle [°],irradiance [W/m²],uv_index"]
    for row in meter:
        uv = "" if np.isnan(row["uv_index"]) else f"{row['uv_index']:.1f}"
        text.append(f"{row['lamp']},{row['distance_m']},{row['angle_deg']},{row['irradiance_w_m2']:.4g},{uv}")
    lines = ["time,logger_id,value"]
    for name in tables[0].columns:
        for table in tables:
            column = table[name].iloc[::3] if name in SLOW else table[name]
            stamps = column.index.strftime("%Y-%m-%d %H:%M")
            lines += [f"{t},{name},{v:.1f}" for t, v in zip(stamps, np.round(column.to_numpy(), 1) + 0.0)]
    files = {
        "enclosure.toml": DEMO,
        "lamp_readings.csv": "\n".join(text) + "\n",
        "readings.csv": "\n".join(lines) + "\n",
        "truth.json": json.dumps(truth, indent=2) + "\n",
    }
    with swapped_in(folder) as (half, _):
        for name, content in files.items():
            (half / name).write_text(content, encoding="utf-8", newline="\n")
    return Path(folder).expanduser()


if __name__ == "__main__":
    print(f"Wrote the demo enclosure to {write(sys.argv[1])}.")
