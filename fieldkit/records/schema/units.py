"""Units that are understood, quantities with their limits, what a logger can be there for."""

from dataclasses import dataclass

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
