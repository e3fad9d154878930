"""Light, surface and operative temperature at the points of an enclosure: the heat balance of the field, indoors."""

import numpy as np
from scipy import constants

from fieldkit.captive.enclosure import network as model
from fieldkit.physics.heat import operative_temperature
from fieldkit.physics.heat.air import KELVIN
from fieldkit.physics.heat.body import Body, lizard
from fieldkit.physics.heat.ground import SUBSTRATES

QUANTITIES = {
    "shade_air_c": ("shade_air", "°C"),
    "surface_c": ("surface", "°C"),
    "operative_c": ("copper_model", "°C"),
    "irradiance_w_m2": ("irradiance", "W/m²"),
    "uv_index": ("uv_index", ""),
}
# Names people give what lies in an enclosure, and the ready-made material nearest to it.
SUBSTRATE_NAMES = {
    "rock": ("rock", "stone", "slate", "tile", "brick", "granite", "sandstone", "concrete"),
    "sand": ("sand", "gravel"),
    "soil": ("soil", "earth", "clay", "loam", "peat"),
    "wood": ("wood", "bark", "branch", "log", "cork", "board", "leaf", "leaves"),
}
SUBSTRATE_M = {"rock": 0.03, "sand": 0.05, "soil": 0.05, "wood": 0.04}
AIR_MOVEMENT_M_S = 0.08


def sensor_body(info):
    """The body of a sensor as its logger describes it; a 5 mm grey bead where it does not."""
    size = info["size_m"] if np.isfinite(info["size_m"]) else 0.005
    absorptivity = info["shortwave_absorptivity"] if np.isfinite(info["shortwave_absorptivity"]) else 0.7
    return Body(characteristic_dimension_m=float(size), shape="cylinder", shortwave_absorptivity=float(absorptivity))


def substrate_of(text):
    """The ready-made material for what lies at a point, and whether that was a guess."""
    words = str(text or "").lower()
    for name, words_for in SUBSTRATE_NAMES.items():
        if any(w in words for w in words_for):
            return name, False
    return "soil", True


def conditions(record, setup, unknown, *, hour=13.0):
    """Conditions at every point, once for each sample of what is not known.

    Parameters
    ----------
    record : EnclosureRecord
        Its points, animal and loggers.
    setup : enclosure_model.Setup
        The enclosure, as it is or changed.
    unknown : dict of str to ndarray (n,)
        From `enclosure_model.draw`.
    hour : float
        Clock time: which lamps burn.

    Returns
    -------
    dict of str to ndarray (n, points)
        Each of `QUANTITIES`; irradiance and UV while the lamps burn; ``duty`` (n, lamps) of thermostats.
    """
    network = model.Network(setup.geometry, unknown)
    burning = tuple(lamp for lamp in setup.lamps if bool(lamp.is_on(hour)))
    loads = model.lamp_loads(setup.changed(lamps=burning), unknown)
    count, height_m = len(unknown["room_c"]), setup.geometry.elevation_m or 0.0
    room = setup.room_c + unknown["room_c"]
    level, facing, uv = light(record.points, burning, unknown)
    for k, lamp in enumerate(burning):
        # Light follows power only nearly: a filament that gets less is also redder.
        scale = setup.power_ratio.get(lamp.id, 1.0) ** unknown["power_exponent"]
        for part in (level, facing, uv):
            part[:, k] *= scale[:, None]
        if lamp.id in setup.without_uv:
            uv[:, k] = 0.0
    duty = {lamp.id: np.ones(count) for lamp in burning}

    def rest(start=None):
        load = sum((loads[name] * share[:, None] for name, share in duty.items()), np.zeros((count, 8)))
        return model.steady(network, load, room, start_c=start)

    nodes = rest()
    for control in dict.fromkeys(c for name, c in setup.controls.items() if name in duty):
        nodes = _regulate(record, setup, control, duty, facing, rest, nodes)
    side = (record.points["x_m"].to_numpy() > setup.geometry.length_m / 2).astype(int)
    air, radiant = nodes[:, side], nodes[:, 6 + side]
    shares = np.stack([duty[lamp.id] for lamp in burning], axis=1) if burning else np.empty((count, 0))
    mean_level = np.einsum("nl,nlp->np", shares, level)
    mean_facing = np.einsum("nl,nlp->np", shares, facing)
    surface = surfaces(record.points, mean_level, air, radiant, unknown, elevation_m=height_m)
    return {
        "shade_air_c": air,
        "surface_c": surface,
        "operative_c": operative(record.animal, mean_facing, air, radiant, surface, unknown, elevation_m=height_m),
        "irradiance_w_m2": level.sum(axis=1),
        "uv_index": uv.sum(axis=1),
        "duty": shares,
    }


def light(points, lamps, unknown):
    """Irradiance on a level plane and across the rays, and UV index, of each lamp (n, lamps, points)."""
    count = len(unknown["room_c"])
    shaded = points["shade"].map(lambda s: s is True).to_numpy()
    out = [np.zeros((count, len(lamps), len(points))) for _ in range(3)]
    for k, lamp in enumerate(lamps):
        for where, (facing, quantity) in zip(
            out, (("level", "irradiance_w_m2"), ("lamp", "irradiance_w_m2"), ("level", "uv_index"))
        ):
            value, error, beam = lamp.field_and_error(points, facing, quantity)
            spread = np.hypot(error, beam.calibration_error) if np.all(np.isfinite(value)) else 0.0 * value
            factor = np.exp(spread[None, :] * unknown["lamp"][:, k % unknown["lamp"].shape[1], None])
            where[:, k] = np.where(shaded, 0.0, value)[None, :] * factor
    return out


def _regulate(record, setup, control, duty, facing, rest, nodes):
    """Turn down the lamps of one thermostat until its sensor reads the set point; sensors warm in the lamp's light."""
    mine = [name for name, c in setup.controls.items() if c == control and name in duty]
    logger, set_point, point = control
    here = int(np.flatnonzero(record.points["point_id"] == point)[0])
    side = int(record.points["x_m"].iloc[here] > setup.geometry.length_m / 2)
    body, order = sensor_body(record.logger_info.set_index("logger_id").loc[logger]), list(duty)
    low, high = np.zeros(len(nodes)), np.ones(len(nodes))
    share = high
    for step in range(14):
        for name in mine:
            duty[name] = share
        nodes = rest(nodes)
        beam = sum(duty[name] * facing[:, order.index(name), here] for name in order)
        reading = operative_temperature(
            air_temperature_c=nodes[:, side],
            wind_speed_m_s=AIR_MOVEMENT_M_S,
            dni_w_m2=beam,
            body=body,
            elevation_m=setup.geometry.elevation_m or 0.0,
        )
        hot = reading > set_point
        if step == 0 and not hot.any():
            break
        high, low = np.where(hot, share, high), np.where(hot, low, share)
        share = np.where(high >= 1.0, np.where(hot, 0.5 * (low + high), 1.0), 0.5 * (low + high))
    return nodes


def surfaces(points, irradiance, air, radiant, unknown, *, elevation_m=0.0):
    """Temperature of what lies at each point under steady light (n, points): a plate in the one heat balance.

    Its lower side conducts through itself, floor and still air below, towards what lies around it, as warm as the air.
    """
    out = np.empty(air.shape)
    wind = AIR_MOVEMENT_M_S * unknown["air_movement"]
    sky = constants.sigma * (radiant + KELVIN) ** 4
    # Contact is in the body, one value a call: three of them stand for what is not known of it.
    third = np.digitize(unknown["contact"], [0.84, 1.19])
    for p, name in enumerate(points["substrate"].map(lambda s: substrate_of(s)[0])):
        material = SUBSTRATES[name]
        below = SUBSTRATE_M[name] / material.conductivity_w_m_k + model.BELOW_M2_K_W
        below += model.FLOOR.thickness_m / model.FLOOR.conductivity_w_m_k
        for group, scale in enumerate((0.6, 1.0, 1.6)):
            rows = third == group
            if not rows.any():
                continue
            plate = Body(
                characteristic_dimension_m=0.15,
                shape="upper face",
                emissivity=material.emissivity,
                sky_view_factor=1.0,
                ground_view_factor=0.0,
                contact_fraction=0.5,
                substrate_conductance_w_m2_k=scale / below,
            )
            absorbed = np.clip(1 - material.albedo + unknown["albedo"][rows], 0.1, 0.98) * irradiance[rows, p]
            # The heat balance counts per m² of total surface; half of it is the upper face.
            out[rows, p] = operative_temperature(
                air_temperature_c=air[rows, p],
                wind_speed_m_s=wind[rows],
                absorbed_shortwave_w_m2=0.5 * absorbed,
                sky_longwave_w_m2=sky[rows, p],
                substrate_temperature_c=air[rows, p],
                body=plate,
                elevation_m=elevation_m,
            )
    return out


def operative(animal, beam, air, radiant, surface, unknown, *, elevation_m=0.0):
    """Operative temperature at each point (n, points); NaN when the record does not describe the animal."""
    if None in (animal.length_m, animal.mass_g, animal.shortwave_absorptivity):
        return np.full(air.shape, np.nan)
    body = lizard(length_m=animal.length_m, mass_g=animal.mass_g, shortwave_absorptivity=animal.shortwave_absorptivity)
    return operative_temperature(
        air_temperature_c=air,
        wind_speed_m_s=AIR_MOVEMENT_M_S * unknown["air_movement"][:, None] * np.ones(air.shape[1]),
        dni_w_m2=beam,
        sky_longwave_w_m2=constants.sigma * (radiant + KELVIN) ** 4,
        ground_temperature_c=surface,
        body=body,
        elevation_m=elevation_m,
    )
