"""An invented enclosure through days: the conditions that truly were, and what instruments made of them.

The forward model is that of `enclosure_model`, marched: lamps by their clocks, sensors with their own heat balance,
readings with errors.
"""

import numpy as np
import pandas as pd
from scipy import constants

from fieldkit.captive.enclosure import network as model
from fieldkit.captive.enclosure import points as at_points
from fieldkit.core import generator
from fieldkit.physics.heat import operative_temperature
from fieldkit.physics.heat.air import KELVIN
from fieldkit.physics.heat.ground import SUBSTRATES
from fieldkit.physics.heat.warming import follow

# Heat loss of a warm surface (W/m²/K), for how fast it warms only: radiation 6, air 6, ground 3.
SURFACE_LOSS = 15.0


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
    height_m = geometry.elevation_m or 0.0
    kinds = dict(zip(record.lamps["id"], record.lamps["kind"]))
    one = model.draw(1, rng=0)
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
        "surface_c": warming_surfaces(points, share @ level, air, radiant, many, step_s, elevation_m=height_m),
    }
    conditions["operative_c"] = at_points.operative(
        record.animal, share @ facing, air, radiant, conditions["surface_c"], many, elevation_m=height_m
    )
    return conditions, _sensors(record, conditions, share @ facing, radiant, room_c, times)


def warming_surfaces(points, irradiance, air, radiant, unknown, step_s, *, elevation_m=0.0):
    """Surfaces through time: the steady heat balance, followed with the time it takes the material to warm."""
    rest = at_points.surfaces(points, irradiance, air, radiant, unknown, elevation_m=elevation_m)
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
            elevation_m=record.geometry.elevation_m or 0.0,
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
                elevation_m=record.geometry.elevation_m or 0.0,
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


def long_form(wide):
    """Readings one below the other, as a folder holds them."""
    names = list(wide.columns)
    return pd.DataFrame(
        {
            "time": np.tile(wide.index, len(names)),
            "logger_id": np.repeat(names, len(wide)),
            "value": wide.to_numpy().T.ravel(),
        }
    ).astype({"time": wide.index.dtype})


def read_lamps(beams, places, *, rng, uv_beams=None, without_uv=()):
    """Readings of a hand-held meter before lamps, 3 % off now and then (5 % for UV).

    Parameters
    ----------
    beams : dict of str to Beam
        Irradiance of each lamp as it truly is, by id.
    places : dict of str to list of (distance_m, angle_deg)
        Where the meter was held.
    rng : int or numpy.random.Generator
        Seed.
    uv_beams : dict of str to Beam, optional
        UV index of the lamps that give any; the others are read as 0.
    without_uv : sequence of str
        Lamps before which nobody held a UV meter.

    Returns
    -------
    list of dict
        ``lamp, distance_m, angle_deg, irradiance_w_m2, uv_index``.

    Examples
    --------
    >>> from fieldkit.captive.lamps import Beam
    >>> rows = read_lamps({"spot": Beam(intensity=50.0, half_angle_deg=20.0)}, {"spot": [(0.5, 0), (1.0, 0)]}, rng=0)
    >>> [round(row["irradiance_w_m2"]) for row in rows]
    [201, 50]
    """
    rng = generator(rng)
    rows = []
    for name, beam in beams.items():
        for distance, angle in places[name]:
            row = {"lamp": name, "distance_m": distance, "angle_deg": angle}
            row["irradiance_w_m2"] = float(beam.at(distance, angle) * np.exp(0.03 * rng.standard_normal()))
            row["uv_index"] = np.nan if name in without_uv else 0.0
            if name in (uv_beams or {}):
                row["uv_index"] = float(uv_beams[name].at(distance, angle) * np.exp(0.05 * rng.standard_normal()))
            rows.append(row)
    return rows
