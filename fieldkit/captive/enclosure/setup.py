"""An enclosure folder turned into what the thermal model needs; what had to be assumed is said."""

from dataclasses import replace

import numpy as np

from fieldkit.captive.enclosure import network as model
from fieldkit.captive.lamps import Beam
from fieldkit.captive.lamps.folder import lamp_for, lamps_of

# Open area of vents where it is not stated (m²): a hand's breadth by two (our choice).
ASSUMED_VENTS_M2 = 0.02


def setup_of(record, *, hour=13.0, month=0, room_temperature_c=None):
    """An enclosure as the thermal model needs it.

    Parameters
    ----------
    record : EnclosureRecord
        From `fieldkit.read_enclosure`.
    hour : float
        Clock time, for the room's temperature by day or night.
    month : int
        Month of the room's readings; 0 all year.
    room_temperature_c : float, optional
        In place of what the record says (°C).

    Returns
    -------
    enclosure_model.Setup
        What had to be assumed stands in ``assumed``.
    """
    fitted = {lamp.id: lamp for lamp in lamps_of(record).lamps}
    lamps, kinds, assumed = [], {}, []
    for _, row in record.lamps.iterrows():
        name, kind = row["id"], row["kind"]
        kinds[name] = kind
        if name in fitted:
            lamps.append(fitted[name])
        elif kind == "heat mat":
            lamps.append(lamp_for(row, Beam(intensity=1e-9)))
        else:
            assumed.append(f"No beam can be told from the readings of lamp '{name}': its light was spread over a cone.")
            lamps.append(lamp_for(row, model.assumed_beam(float(row["power_w"]), kind)))
    if room_temperature_c is None:
        room_temperature_c = _room(record, hour, month, lamps)
    geometry = record.geometry
    if geometry.vent_area_m2 is None:
        geometry = replace(geometry, vent_area_m2=ASSUMED_VENTS_M2)
        assumed.append(f"vent_area_m2 is not stated: {ASSUMED_VENTS_M2} m² were assumed.")
    setup = model.Setup(
        geometry=geometry,
        lamps=tuple(lamps),
        kinds=kinds,
        room_c=float(room_temperature_c),
        controls=controls_of(record),
        without_uv=_without_uv(record),
        assumed=tuple(assumed),
    )
    return setup


def _room(record, hour, month, lamps):
    read = at_hour(record.readings[record.readings["role"] == "room_air"], hour, month)
    if len(read):
        return float(read["value"].median())
    light = any(lamp.is_on(hour) and lamp.on is not None for lamp in lamps)
    if not any(lamp.on is not None for lamp in lamps):
        light = 8 <= hour < 20
    return record.geometry.room_day_c if light else record.geometry.room_night_c


def at_hour(readings, hour, month=0, *, width_h=1.0):
    """Readings within an hour of a clock time, in one month (0: all)."""
    times = readings["time"].dt
    clock = times.hour + times.minute / 60
    near = np.abs((clock - hour + 12) % 24 - 12) <= width_h
    return readings[near & (times.month == month)] if month else readings[near]


def _without_uv(record):
    """Lamps that give no UV: dark ones, and those whose UV index was read and was nothing."""
    read = record.lamp_readings.groupby("lamp_id")["uv_index"].max()
    dark = record.lamps.loc[record.lamps["kind"].isin(["dark heater", "heat mat"]), "id"]
    return frozenset(dark) | frozenset(read.index[read == 0])


def controls_of(record):
    """Thermostats, by lamp: logger of the sensor, set point (°C), point of the sensor."""
    found = {}
    for _, row in record.lamps.iterrows():
        logger, set_point = row["controlled_by"], row["set_point_c"]
        if not isinstance(logger, str) or not np.isfinite(set_point):
            continue
        info = record.logger_info.set_index("logger_id").loc[logger]
        found[row["id"]] = (logger, float(set_point), info["point_id"])
    return found
