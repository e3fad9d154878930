"""Every table, column and setting of a season folder, declared once: unit, limits, meaning.

Limits are what a reading on Earth cannot pass (an error); the usual range is what deserves a second look (a warning).
The readers, the templates and the data dictionary are all made from what stands here.
"""

import html
from dataclasses import dataclass

import pandas as pd
import pandera.pandas as pa

# Factor and offset to the unit of the column: standard = factor * value + offset. Spellings are compared without
# spaces, in lower case.
UNITS = {
    "temperature": {
        "°C": (1.0, 0.0, ("c", "degc", "°c", "ºc", "˚c", "deg_c", "celsius", "deg.c")),
        "°F": (5 / 9, -160 / 9, ("f", "degf", "°f", "ºf", "˚f", "deg_f", "fahrenheit", "deg.f")),
        "K": (1.0, -273.15, ("k", "kelvin")),
    },
    "irradiance": {
        "W/m²": (1.0, 0.0, ("w/m2", "w/m²", "w/m^2", "wm-2", "wm^-2", "w_m2", "w·m-2")),
        "kW/m²": (1000.0, 0.0, ("kw/m2", "kw/m²", "kw/m^2", "kw_m2")),
        "mW/cm²": (10.0, 0.0, ("mw/cm2", "mw/cm²", "mw/cm^2", "mw_cm2")),
    },
    "speed": {
        "m/s": (1.0, 0.0, ("m/s", "ms-1", "m_s", "mps")),
        "km/h": (1 / 3.6, 0.0, ("km/h", "kmh", "kph", "km_h")),
        "mph": (0.44704, 0.0, ("mph", "mi/h")),
        "kn": (1852 / 3600, 0.0, ("kn", "kt", "kts", "knot", "knots")),
        "ft/s": (0.3048, 0.0, ("ft/s", "fps")),
    },
    "humidity": {"%": (1.0, 0.0, ("%", "percent", "%rh", "pct"))},
    "rain": {"mm": (1.0, 0.0, ("mm",)), "in": (25.4, 0.0, ("in", "inch", "inches"))},
    "pressure": {
        "hPa": (1.0, 0.0, ("hpa", "mbar", "mb", "millibar")),
        "kPa": (10.0, 0.0, ("kpa",)),
        "Pa": (0.01, 0.0, ("pa",)),
        "inHg": (33.86389, 0.0, ("inhg",)),
    },
    "length": {
        "m": (1.0, 0.0, ("m", "metre", "metres", "meter", "meters")),
        "cm": (0.01, 0.0, ("cm", "centimetres", "centimeters")),
        "mm": (0.001, 0.0, ("mm",)),
        "in": (0.0254, 0.0, ("in", "inch", "inches", '"')),
        "ft": (0.3048, 0.0, ("ft", "foot", "feet")),
    },
    "mass": {"g": (1.0, 0.0, ("g", "gram", "grams")), "kg": (1000.0, 0.0, ("kg",))},
    "angle": {"°": (1.0, 0.0, ("°", "deg", "degree", "degrees"))},
    "none": {"": (1.0, 0.0, ("", "-", "1", "index", "count", "uvi", "uvindex"))},
}
# Units people do write in these columns and that cannot be turned into the column's own.
REFUSED_UNITS = {
    "lux": "lux weighs light by what human eyes see, so it cannot be turned into W/m² without the spectrum",
    "klux": "kilolux weighs light by what human eyes see, so it cannot be turned into W/m² without the spectrum",
    "lx": "lux weighs light by what human eyes see, so it cannot be turned into W/m² without the spectrum",
    "fc": "foot-candles weigh light by what human eyes see, so they cannot be turned into W/m² without the spectrum",
    "µmol/m2/s": "this counts photons that plants use, so it cannot be turned into W/m² without the spectrum",
    "umol/m2/s": "this counts photons that plants use, so it cannot be turned into W/m² without the spectrum",
    "ppfd": "this counts photons that plants use, so it cannot be turned into W/m² without the spectrum",
    "bft": "the Beaufort scale is a range of speeds, not a speed",
    "beaufort": "the Beaufort scale is a range of speeds, not a speed",
}

BEHAVIOURS = ("basking", "shuttling", "moving", "resting", "feeding", "courting", "fighting", "retreat")


@dataclass(frozen=True)
class Range:
    """What a quantity can be (limits) and what it usually is; source names where the limits come from."""

    dimension: str
    unit: str
    limits: tuple
    usual: tuple
    source: str


_WMO = "WMO Weather and Climate Extremes Archive, rounded outwards"
RANGES = {
    "air": Range("temperature", "°C", (-90.0, 60.0), (-30.0, 48.0), _WMO + ": −89.2 and 56.7 °C"),
    "surface": Range("temperature", "°C", (-95.0, 100.0), (-30.0, 80.0), "common practice, no source"),
    "probe": Range("temperature", "°C", (-90.0, 100.0), (-30.0, 75.0), "common practice, no source"),
    "body": Range("temperature", "°C", (-10.0, 55.0), (3.0, 45.0), "common practice, no source"),
    "irradiance": Range(
        "irradiance",
        "W/m²",
        (-50.0, 2000.0),
        (-10.0, 1361.0),
        "usual up to the solar constant; more under broken cloud",
    ),
    "wind": Range("speed", "m/s", (0.0, 114.0), (0.0, 30.0), _WMO + ": gust of 113.2 m/s"),
    "humidity": Range("humidity", "%", (0.0, 105.0), (1.0, 100.0), "common practice, no source"),
    "uv": Range(
        "none",
        "",
        (0.0, 30.0),
        (0.0, 16.0),
        "doi:10.1039/c7pp00089h (2017): 25 ± 5 at most in the high Andes, the 43.3 reported there is an instrument's "
        "fault; usual up to doi:10.1039/c3pp50221j (2014): 16 under a clear sky at 2635 m",
    ),
    "rain": Range("rain", "mm", (0.0, 1900.0), (0.0, 200.0), _WMO + ": 1825 mm in a day"),
    "pressure": Range("pressure", "hPa", (300.0, 1090.0), (500.0, 1060.0), _WMO + ": some 1085 hPa at sea level"),
    "count": Range("none", "", (0.0, 10_000.0), (0.0, 200.0), "common practice, no source"),
    "distance": Range("length", "m", (0.01, 20.0), (0.03, 3.0), "common practice, no source"),
    "reach": Range("length", "m", (0.0, 10_000.0), (0.0, 200.0), "common practice, no source"),
    "bearing": Range("angle", "°", (0.0, 360.0), (0.0, 360.0), "by definition"),
    "minutes": Range("none", "", (-60.0, 1440.0), (0.0, 120.0), "common practice, no source"),
    "angle": Range("angle", "°", (0.0, 90.0), (0.0, 90.0), "by definition"),
    "beam": Range("irradiance", "W/m²", (0.0, 20_000.0), (0.0, 3000.0), "common practice, no source"),
    "mass": Range("mass", "g", (0.1, 1_000_000.0), (0.5, 100_000.0), "common practice, no source"),
    "lamp_uv": Range("none", "", (0.0, 100.0), (0.0, 20.0), "common practice, no source"),
}

# What a logger can be there for, and the range its readings are held to.
ROLES = {
    "shade_air": ("air", "air temperature under a radiation shield"),
    "exposed_probe": ("probe", "a bare probe in the open: it reads its own temperature, not the air's"),
    "surface": ("surface", "temperature of rock, sand, bark …"),
    "copper_model": ("probe", "temperature inside a hollow copper model of the animal (operative temperature)"),
    "irradiance": ("irradiance", "radiation from the sun or a lamp"),
    "wind": ("wind", "wind speed"),
    "humidity": ("humidity", "relative humidity"),
}
# An enclosure has these besides.
ENCLOSURE_ROLES = {
    "uv_index": ("uv", "UV index"),
    "thermostat": ("probe", "sensor that a thermostat regulates by"),
    "room_air": ("air", "air temperature of the room the enclosure stands in, in the shade"),
}
ALL_ROLES = ROLES | ENCLOSURE_ROLES


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
        },
        key=("set_id", "place_id"),
    ),
    "sightings": _table(
        "sightings",
        "one animal (or group) met by chance, once",
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


@dataclass(frozen=True)
class Setting:
    """One line of season.toml; kind is text, number, date, flag or error (a positive number)."""

    section: str
    key: str
    kind: str
    meaning: str
    required: bool = False
    unit: str = ""
    limits: tuple | None = None
    allowed: tuple | None = None
    usual: tuple | None = None


# What the standard deviation of an instrument usually is, by dimension, in its standard unit: rules of thumb.
USUAL_ERRORS = {"temperature": (0.02, 5.0), "irradiance": (2.0, 200.0), "speed": (0.01, 3.0), "humidity": (0.5, 15.0)}
# Grams a cubed metre of snout-vent length: from a thin snake (some 100) to a tortoise (some 150,000), with room on
# either side; rule of thumb.
USUAL_BUILD_G_M3 = (50.0, 500_000.0)

# A section ending in .NAME is written once for each instrument, logger or station.
SETTINGS = (
    Setting("season", "name", "text", "what you call this season", True),
    Setting("season", "public_name", "text", "what others may call it; without one: the species and the years"),
    Setting("season", "invented", "flag", "true when the animals are made up (the demo); false for real records"),
    Setting("season", "first_day", "date", "the first day of watching", True),
    Setting("season", "last_day", "date", "the last day of watching", True),
    Setting("site", "name", "text", "what you call the site; no need to say where it is", True),
    Setting("site", "public_name", "text", "name of the site that may be published; without one none is"),
    Setting("site", "latitude_deg", "number", "latitude, north is positive", True, "°", (-90.0, 90.0)),
    Setting(
        "site", "longitude_deg", "number", "longitude, east is positive, west negative", True, "°", (-180.0, 180.0)
    ),
    Setting("site", "elevation_m", "number", "its height above the sea", True, "m", (-450.0, 9000.0)),
    Setting("site", "timezone", "zone", 'the clock of the site, such as "America/New_York"', True),
    Setting("animal", "species", "text", "the species watched", True),
    Setting(
        "animal", "length_m", "number", "snout to vent, of a typical adult", False, "m", (0.01, 10.0), usual=(0.02, 3.0)
    ),
    Setting("animal", "mass_g", "number", "mass of a typical adult", False, "g", (0.1, 1_000_000.0)),
    Setting(
        "animal", "shortwave_absorptivity", "number", "share of sunlight the skin takes up", False, "0–1", (0.0, 1.0)
    ),
    Setting("instruments.NAME", "what", "text", "what the column was read with"),
    Setting(
        "instruments.NAME", "error", "error", "standard deviation of its readings, in °C, W/m² … as NAME says", True
    ),
    Setting("instruments.NAME", "how", "text", "how you know the error"),
    Setting("loggers.NAME", "role", "text", "what it is there for", True, allowed=tuple(ROLES)),
    Setting("loggers.NAME", "unit", "text", "unit of its readings", True),
    Setting("loggers.NAME", "column", "text", "header of its readings in an export, when that is not its name"),
    Setting("loggers.NAME", "place", "text", "where it hangs or lies"),
    Setting("loggers.NAME", "error", "error", "standard deviation of its readings, in its unit"),
    Setting("loggers.NAME", "timezone", "zone", "its clock, when that is not the site's"),
    Setting(
        "loggers.NAME",
        "size_m",
        "number",
        "diameter of the probe or model",
        False,
        "m",
        (0.0005, 2.0),
        usual=(0.001, 0.3),
    ),
    Setting(
        "loggers.NAME", "shortwave_absorptivity", "number", "share of sunlight it takes up", False, "0–1", (0.0, 1.0)
    ),
    Setting("stations.NAME", "name", "text", "name of the weather station"),
    Setting("stations.NAME", "latitude_deg", "number", "latitude, north is positive", False, "°", (-90.0, 90.0)),
    Setting("stations.NAME", "longitude_deg", "number", "longitude, east is positive", False, "°", (-180.0, 180.0)),
    Setting("stations.NAME", "elevation_m", "number", "its height above the sea", False, "m", (-450.0, 9000.0)),
    Setting("stations.NAME", "timezone", "zone", "clock of its records, when that is not the site's"),
    Setting(
        "choice_sets",
        "drawn",
        "text",
        "how the places compared with are found",
        allowed=("random bearing and distance", "grid", "all places in sight", "picked by the observer"),
    ),
    Setting("choice_sets", "reach_m", "number", "how far from the animal they may lie", False, "m", (0.1, 10_000.0)),
    Setting("choice_sets", "minutes_after", "number", "how long after the sighting they are read", False, "", (0, 600)),
    Setting(
        "choice_sets",
        "order",
        "text",
        "in which order the places of a set are read",
        allowed=("used place first", "any order", "used place last"),
    ),
    Setting("choice_sets", "n_places", "number", "places read in a set", False, "", (2, 50)),
    Setting(
        "choice_sets",
        "fixed_places",
        "number",
        "places read again and again, if they are marked",
        False,
        "",
        (2, 10_000),
    ),
    Setting(
        "choice_sets",
        "looks_per_visit",
        "number",
        "sets read in a row while an animal stays where it is",
        False,
        "",
        (1, 100),
    ),
    Setting(
        "choice_sets",
        "largest_share",
        "number",
        "share of the sets that the most watched animal makes",
        False,
        "0–1",
        (0.0, 1.0),
    ),
    Setting("choice_sets", "sets_per_day", "number", "choice sets you can read in a day", False, "", (0.1, 200)),
    Setting("choice_sets", "n_animals", "number", "animals you can watch", False, "", (2, 10_000)),
    Setting("dates", "order", "text", "order of day, month, year in your files", allowed=("dmy", "mdy", "ymd")),
    Setting(
        "dates", "epoch", "number", "1904 when dates came from an old Mac workbook as numbers", allowed=(1900, 1904)
    ),
    Setting("numbers", "decimal", "text", "decimal mark in your CSV files", allowed=(",", ".")),
)
# Sections whose keys are the user's own names: what a key and a value mean there.
FREE_SECTIONS = {
    "units": "column name as in your file = unit, for columns whose header does not say it",
    "columns": "header as in your file = name of the column here, for sheets you do not want to edit",
    "clocks": "table name = time zone, for a table whose times are not on the site's clock",
    "words": "words.COLUMN: what you wrote = what it stands for, such as a new mark of an animal that lost its own",
}


def column_range(table, column):
    """Range of a declared number column, or None.

    Examples
    --------
    >>> column_range("choices", "surface_c").limits
    (-95.0, 100.0)
    """
    quantity = ALL_TABLES[table].columns[column].metadata["quantity"]
    return RANGES[quantity] if quantity else None


def find_unit(text, dimension):
    """Factor and offset from a written unit to the standard one; None when the dimension does not know it.

    Examples
    --------
    >>> factor, offset = find_unit("°F", "temperature")
    >>> round(factor * 212 + offset, 9)
    100.0
    >>> find_unit("lux", "irradiance") is None
    True
    """
    wanted = "".join(str(text).split()).lower()
    for factor, offset, spellings in UNITS[dimension].values():
        if wanted in spellings:
            return factor, offset
    return None


def data_dictionary(*, tables=None, settings=None, file="season.toml"):
    """Every column of every table and every setting, as one table.

    Parameters
    ----------
    tables : dict of str to pandera.DataFrameSchema, optional
        Those of a season folder by default.
    settings : sequence of Setting, optional
        Those of season.toml by default.
    file : str
        Name of the file that holds the settings.

    Returns
    -------
    pandas.DataFrame
        Columns: table, column, unit, required, lowest, highest, usual, meaning, example, limits from.

    Examples
    --------
    >>> words = data_dictionary()
    >>> words.set_index(["table", "column"]).loc[("choices", "surface_c"), "unit"]
    '°C'
    """
    rows = []
    for name, schema in (TABLES if tables is None else tables).items():
        either = {c for group in schema.metadata["one_of"] for c in group}
        for column, declared in schema.columns.items():
            row = {
                "table": name,
                "column": column,
                "required": "yes" if declared.required else ("one of these" if column in either else "no"),
                "meaning": declared.description.replace("season.toml", file),
                "example": declared.metadata["example"],
            }
            quantity = declared.metadata["quantity"]
            if limits := RANGES[quantity] if quantity else None:
                row |= {
                    "unit": limits.unit,
                    "lowest": f"{limits.limits[0]:g}",
                    "highest": f"{limits.limits[1]:g}",
                    "usual": f"{limits.usual[0]:g} to {limits.usual[1]:g}",
                    "limits from": limits.source,
                }
            rows.append(row)
    for setting in SETTINGS if settings is None else settings:
        row = {
            "table": f"{file} [{setting.section}]",
            "column": setting.key,
            "unit": setting.unit,
            "required": "yes" if setting.required else "no",
            "meaning": setting.meaning
            + ("; one of " + ", ".join(map(str, setting.allowed)) if setting.allowed else ""),
        }
        if setting.limits:
            row |= {"lowest": f"{setting.limits[0]:g}", "highest": f"{setting.limits[1]:g}"}
        rows.append(row)
    for section, meaning in FREE_SECTIONS.items():
        rows.append({"table": f"{file} [{section}]", "column": "(your own)", "required": "no", "meaning": meaning})
    columns = ["table", "column", "unit", "required", "lowest", "highest", "usual", "meaning", "example", "limits from"]
    return pd.DataFrame(rows, columns=columns).fillna("")


def data_dictionary_markdown():
    """The data dictionary as Markdown, one table a section.

    Examples
    --------
    >>> data_dictionary_markdown().splitlines()[0]
    '# What every column means'
    """
    lines = ["# What every column means", ""]
    for name, part in data_dictionary().groupby("table", sort=False):
        lines += [f"## {name}", ""]
        if name in TABLES:
            lines += [f"One row is {TABLES[name].description}.", ""]
        part = part.drop(columns="table")
        lines += ["| " + " | ".join(part.columns) + " |", "|" + " --- |" * part.shape[1]]
        for row in part.itertuples(index=False):
            lines.append("| " + " | ".join(str(cell).replace("|", "\\|") for cell in row) + " |")
        lines.append("")
    return "\n".join(lines)


def data_dictionary_html(*, tables=None, settings=None, file="season.toml"):
    """The data dictionary as a piece of HTML (no page around it).

    Parameters
    ----------
    tables, settings, file
        As in `data_dictionary`.

    Examples
    --------
    >>> data_dictionary_html()[:16]
    '<h3>choices</h3>'
    """
    parts = []
    known = TABLES if tables is None else tables
    words = data_dictionary(tables=tables, settings=settings, file=file)
    for name, part in words.groupby("table", sort=False):
        parts.append(f"<h3>{html.escape(name)}</h3>")
        if name in known:
            parts.append(f"<p>One row is {html.escape(known[name].description)}.</p>")
        parts.append(part.drop(columns="table").to_html(index=False, border=0))
    return "\n".join(parts)
