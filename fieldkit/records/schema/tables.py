"""Every table, column and setting of a season folder, declared once: unit, limits, meaning.

Limits are what a reading on Earth cannot pass (an error); the usual range is what deserves a second look (a warning).
The readers, the templates and the data dictionary are all made from what stands here.
"""

import pandera.pandas as pa

from .units import RANGES

BEHAVIOURS = ("basking", "shuttling", "moving", "resting", "feeding", "courting", "fighting", "retreat")


def _column(kind, meaning, *, required=False, filled=False, quantity=None, allowed=None, example=""):
    """One declared column; `filled` means that no cell may be empty."""
    checks = []
    if quantity:
        checks.append(pa.Check.in_range(*RANGES[quantity].limits, name="limits"))
    if quantity == "count":
        checks.append(pa.Check(lambda values: values % 1 == 0, name="whole"))
    if allowed:
        checks.append(pa.Check.isin(allowed, name="allowed"))
    return pa.Column(
        float if kind == "number" else None,
        checks,
        nullable=not filled,
        required=required,
        description=meaning,
        metadata={"kind": kind, "quantity": quantity, "example": example},
    )


def _table(name, row, columns, *, key=(), one_of=()):
    """One declared table; `key` names a row, `one_of` lists groups of columns of which one has to be there."""
    return pa.DataFrameSchema(
        columns, name=name, description=row, strict=False, metadata={"key": tuple(key), "one_of": tuple(one_of)}
    )


_TIME = {"required": True, "filled": True, "example": "2023-05-14 10:20"}

_OBSERVER = _column("text", "who took the reading: a letter will do", example="A")

# Columns that few seasons need: they part a table into groups, and stand on no sheet to fill in.
GROUPING = {
    "species": _column("text", "which species, where a folder holds several", example="ridge lizard"),
    "site": _column("text", "which site, where a folder holds several", example="north wall"),
    "year": _column("text", "which year, where a folder holds several", example="2024"),
    "group": _column("text", "any other group to keep apart", example="juveniles"),
}

_NOTES = _column("text", "anything worth remembering", example="thin cloud")

_PLACE = "name of the place, the same each time it is read"

TABLES = {
    "choices": _table(
        "choices",
        "one place in one choice set: the animal's own place or one it could have taken, read within minutes",
        {
            "set_id": _column(
                "text", "which choice set this place belongs to", required=True, filled=True, example="S001"
            ),
            "time": _column("time", "when this place was read, local time of the site", **_TIME),
            "animal_id": _column("text", "which animal; the same name every time it is met", example="R07"),
            "place_id": _column("text", _PLACE, required=True, filled=True, example="P1"),
            "used": _column(
                "flag",
                "1 = the animal was here, 0 = it could have been",
                required=True,
                filled=True,
                allowed=(0, 1),
                example="1",
            ),
            "substrate": _column("text", "what the place is made of", example="rock"),
            "shade_air_c": _column(
                "number",
                "air temperature at the place, thermometer shaded from sun and sky",
                required=True,
                quantity="air",
                example="22.4",
            ),
            "surface_c": _column(
                "number",
                "temperature of the surface the animal lies on or could lie on",
                required=True,
                quantity="surface",
                example="33.5",
            ),
            "irradiance_w_m2": _column(
                "number",
                "radiation from sun and sky falling on the place, sensor level",
                required=True,
                quantity="irradiance",
                example="640",
            ),
            "probe_in_place_c": _column(
                "number",
                "bare thermometer laid in the place: it reads its own temperature, not the air's",
                quantity="probe",
                example="31.0",
            ),
            "operative_c": _column(
                "number", "operative temperature, from a copper model at the place", quantity="probe", example="34.0"
            ),
            "uv_index": _column("number", "UV index at the place", quantity="uv", example="3.1"),
            "wind_m_s": _column("number", "wind speed at animal height", quantity="wind", example="0.8"),
            "distance_m": _column("number", "distance from the animal's own place", quantity="reach", example="12"),
            "bearing_deg": _column(
                "number",
                "direction from the animal's own place, 0 = north, 90 = east",
                quantity="bearing",
                example="215",
            ),
            "minutes": _column("number", "minutes from the sighting to the reading", quantity="minutes", example="4"),
            "observer": _OBSERVER,
            "notes": _NOTES,
            **GROUPING,
        },
        key=("set_id", "place_id"),
    ),
    "sightings": _table(
        "sightings",
        "one animal (or group) seen incidentally, once",
        {
            "time": _column("time", "when it was seen, local time of the site", **_TIME),
            "animal_id": _column("text", "which animal; empty when not told apart", example="R07"),
            "behaviour": _column(
                "word", "what it was doing: " + ", ".join(BEHAVIOURS), required=True, filled=True, example="basking"
            ),
            "observer": _OBSERVER,
            "place_id": _column("text", _PLACE, example="P1"),
            "count": _column(
                "number", "how many animals this row stands for; empty = 1", quantity="count", example="1"
            ),
            "notes": _NOTES,
            **GROUPING,
        },
    ),
    "scans": _table(
        "scans",
        "one look at one animal (or one count), made at a time fixed beforehand",
        {
            "time": _column("time", "when the look was taken, local time of the site", **_TIME),
            "animal_id": _column("text", "which animal; empty for a count", example="R07"),
            "behaviour": _column(
                "word", "what it was doing: " + ", ".join(BEHAVIOURS), required=True, filled=True, example="basking"
            ),
            "place_id": _column("text", _PLACE, example="P1"),
            "body_temperature_c": _column("number", "body temperature of the animal", quantity="body", example="33.1"),
            "shade_air_c": _column(
                "number", "shade air temperature near the animal at that moment", quantity="air", example="22.4"
            ),
            "count": _column(
                "number", "how many animals this row stands for; empty = 1", quantity="count", example="1"
            ),
            "observer": _OBSERVER,
            "notes": _NOTES,
            **GROUPING,
        },
    ),
    "gradient": _table(
        "gradient",
        "one body temperature of one animal that is free to choose in a laboratory gradient of temperature",
        {
            "time": _column("time", "when it was read, local time of the site", **_TIME),
            "animal_id": _column("text", "which animal", required=True, filled=True, example="R07"),
            "body_temperature_c": _column(
                "number", "body temperature of the animal", required=True, quantity="body", example="33.1"
            ),
            "observer": _OBSERVER,
            "notes": _NOTES,
            **GROUPING,
        },
    ),
    "loggers": _table(
        "loggers",
        "one reading of one logger",
        {
            "time": _column("time", "when it was logged, on the logger's own clock", **_TIME),
            "logger_id": _column(
                "text",
                "which logger; its role and unit stand in season.toml",
                required=True,
                filled=True,
                example="shade-1",
            ),
            "value": _column("number", "the reading, in the unit season.toml gives", required=True, example="21.8"),
        },
        key=("logger_id", "time"),
    ),
    "weather": _table(
        "weather",
        "one day, or one hour, at one weather station",
        {
            "station_id": _column("text", "which station", required=True, filled=True, example="quarry"),
            "date": _column("date", "the day, for daily weather", filled=True, example="2023-05-14"),
            "time": _column(
                "time", "the hour, for hourly weather, local time", filled=True, example="2023-05-14 10:00"
            ),
            "tmax_c": _column("number", "highest air temperature of the day", quantity="air", example="24.8"),
            "tmin_c": _column("number", "lowest air temperature of the day", quantity="air", example="11.2"),
            "air_temperature_c": _column("number", "air temperature of the hour", quantity="air", example="21.5"),
            "ghi_w_m2": _column(
                "number", "global horizontal irradiance, mean of the hour", quantity="irradiance", example="710"
            ),
            "wind_m_s": _column("number", "wind speed at the station's mast", quantity="wind", example="2.3"),
            "humidity_percent": _column("number", "relative humidity", quantity="humidity", example="48"),
            "precipitation_mm": _column("number", "rain and melted snow", quantity="rain", example="0"),
            "pressure_hpa": _column("number", "air pressure at the station", quantity="pressure", example="1012"),
        },
        key=("station_id", "time", "date"),
        one_of=(("time", "date"), ("tmax_c", "tmin_c", "air_temperature_c", "ghi_w_m2")),
    ),
}

# What an enclosure folder has besides its loggers.
ENCLOSURE_TABLES = {
    "hand_readings": _table(
        "hand_readings",
        "one look at one point of the enclosure, with whatever was read there by hand",
        {
            "time": _column("time", "when it was read, local time", **_TIME),
            "point": _column(
                "text",
                "which point: a name that has a [points.NAME] in enclosure.toml",
                required=True,
                filled=True,
                example="basking",
            ),
            "shade_air_c": _column(
                "number",
                "air temperature, thermometer shaded from lamps and clear of warm surfaces",
                quantity="air",
                example="24.5",
            ),
            "surface_c": _column(
                "number", "temperature of what the animal lies on, lamps burning", quantity="surface", example="38.0"
            ),
            "irradiance_w_m2": _column(
                "number",
                "radiation falling on the point, sensor level; not lux",
                quantity="irradiance",
                example="420",
            ),
            "uv_index": _column("number", "UV index, meter level at the point", quantity="uv", example="2.4"),
            "operative_c": _column(
                "number", "temperature in a copper model of the animal at the point", quantity="probe", example="36.0"
            ),
            "humidity_percent": _column("number", "relative humidity", quantity="humidity", example="45"),
            "notes": _NOTES,
        },
        key=("point", "time"),
        one_of=(("shade_air_c", "surface_c", "irradiance_w_m2", "uv_index", "operative_c", "humidity_percent"),),
    ),
    "lamp_readings": _table(
        "lamp_readings",
        "one reading of a meter that faces one lamp, all other lamps off",
        {
            "lamp": _column(
                "text", "which lamp: an id from enclosure.toml", required=True, filled=True, example="basking-lamp"
            ),
            "distance_m": _column(
                "number",
                "from the middle of the lamp's front to the meter",
                required=True,
                filled=True,
                quantity="distance",
                example="0.30",
            ),
            "angle_deg": _column(
                "number", "off the lamp's axis; empty = 0, straight in front", quantity="angle", example="0"
            ),
            "irradiance_w_m2": _column(
                "number", "radiation, meter facing the lamp; not lux", quantity="beam", example="540"
            ),
            "uv_index": _column("number", "UV index, meter facing the lamp", quantity="lamp_uv", example="2.1"),
            "notes": _NOTES,
        },
        one_of=(("irradiance_w_m2", "uv_index"),),
    ),
    "enclosure_scans": _table(
        "enclosure_scans",
        "one scan of one animal in the enclosure, at a time fixed beforehand, or one photograph",
        {
            "time": _column("time", "when it was seen, local time", **_TIME),
            "animal_id": _column("text", "which animal; may be left out where one lives alone", example="A1"),
            "point": _column(
                "text",
                "the point of enclosure.toml nearest to it, or out of sight",
                required=True,
                filled=True,
                example="basking",
            ),
            "behaviour": _column("word", "what it was doing: " + ", ".join(BEHAVIOURS), example="basking"),
            "observer": _OBSERVER,
            "body_temperature_c": _column(
                "number", "body temperature, if it can be read without touching", quantity="body", example="33.1"
            ),
            "file": _column("text", "name of the photograph; it may tell the time", example="IMG_20260514_1020.jpg"),
            "notes": _NOTES,
        },
    ),
    "care": _table(
        "care",
        "one animal on one day: how it is",
        {
            "date": _column("date", "the day", required=True, filled=True, example="2026-05-14"),
            "animal_id": _column("text", "which animal", example="A1"),
            "mass_g": _column("number", "body mass, when it is weighed anyway", quantity="mass", example="12.4"),
            "ate": _column("flag", "1 = it took food that was offered, 0 = it did not", allowed=(0, 1), example="1"),
            "ill": _column("flag", "1 = signs of illness or injury, 0 = none", allowed=(0, 1), example="0"),
            "notes": _NOTES,
        },
        one_of=(("mass_g", "ate", "ill"),),
    ),
}

ALL_TABLES = TABLES | ENCLOSURE_TABLES


def column_range(table, column):
    """Range of a declared number column, or None.

    Examples
    --------
    >>> column_range("choices", "surface_c").limits
    (-95.0, 100.0)
    """
    quantity = ALL_TABLES[table].columns[column].metadata["quantity"]
    return RANGES[quantity] if quantity else None
