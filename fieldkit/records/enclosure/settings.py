"""enclosure.toml: its declaration, and its mistakes said in plain words."""

import re
import tomllib

from fieldkit.records import schema as schemas
from fieldkit.records.problems import Problems
from fieldkit.records.schema.settings import Setting
from fieldkit.records.season import toml

NAME = "enclosure.toml"

MATERIALS = ("glass", "wood", "plastic", "mesh")

# Enclosures larger than this are asked about: their keeper may have written feet (our choice).
LARGE_M = 2.5

KINDS = ("heat", "visible", "uv", "heat and uv", "dark heater", "heat mat")

# What shops and boxes call them.
KIND_WORDS = {
    "heat and uv": ("mercury", "metal halide", "hid", "self-ballasted"),
    "dark heater": ("ceramic", "radiant panel", "panel", "infrared", "deep heat"),
    "heat mat": ("mat", "pad", "cable", "tape"),
    "uv": ("uv", "t5", "t8"),
    "visible": ("led", "tube", "fluorescent", "daylight", "strip"),
    "heat": ("halogen", "incandescent", "basking", "spot", "flood", "bulb", "heat"),
}

ZONES = ("basking site", "warm end", "cool end", "retreat")

# A whole enclosure.toml; its numbers mean nothing.
EXAMPLE = """\
[enclosure]
name = "Shelf enclosure"
invented = false
length_m = 1.2
width_m = 0.6
height_m = 0.6
walls = "wood" # glass, wood, plastic or mesh
wall_thickness_m = 0.015
top = "mesh" # when the lid is made of something else
vent_area_m2 = 0.03 # open area of all vents together; a mesh lid is counted by itself
room_temperature_c = { day = 21.0, night = 18.0 }
timezone = "America/New_York"

[animal]
species = "ridge lizard"
length_m = 0.07
mass_g = 12
shortwave_absorptivity = 0.87

# One [[lamps]] for each lamp.
[[lamps]]
id = "basking"
kind = "heat"
power_w = 75
spectrum = "blackbody 2700 K, glass 330 nm"
x_m = 0.25
y_m = 0.30
height_m = 0.55
on = "08:00"
off = "20:00"
guarded = true
fixed = true
distance_to_nearest_reach_m = 0.25

[points.B1]
x_m = 0.25
y_m = 0.30
z_m = 0.10
zone = "basking site"
substrate = "rock"
shade = false

[points.C1]
x_m = 1.05
y_m = 0.30
z_m = 0.05
zone = "cool end"
shade = true

# One section for each logger; its name is the logger_id in readings.csv.
[loggers.air-1]
point = "C1"
role = "shade_air"
unit = "degC"
error = 0.3

[loggers.rock-1]
point = "B1"
role = "surface"
unit = "degC"
error = 1.0
"""

SETTINGS = (
    Setting("enclosure", "name", "text", "what you call this enclosure", True),
    Setting("enclosure", "public_name", "text", "what others may call it; without one: the species"),
    Setting("enclosure", "invented", "flag", "true when it is made up (the demo); false for a real one"),
    Setting("enclosure", "length_m", "number", "inner length", True, "m", (0.05, 20.0)),
    Setting("enclosure", "width_m", "number", "inner width, front to back", True, "m", (0.05, 20.0)),
    Setting("enclosure", "height_m", "number", "inner height", True, "m", (0.05, 10.0)),
    Setting("enclosure", "walls", "text", "what the walls are made of", True, allowed=MATERIALS),
    Setting("enclosure", "top", "text", "what the lid is made of, when that differs", allowed=MATERIALS),
    Setting("enclosure", "wall_thickness_m", "number", "thickness of the walls", False, "m", (0.0001, 0.5)),
    Setting("enclosure", "vent_area_m2", "number", "open area of all vents together", False, "m²", (0.0, 20.0)),
    Setting(
        "enclosure", "vent_height_m", "number", "height between the low and the high vents", False, "m", (0.0, 10.0)
    ),
    Setting("enclosure", "elevation_m", "number", "height of the room above the sea", False, "m", (-450.0, 9000.0)),
    Setting("enclosure", "room_temperature_c", "day_night", "air temperature of the room, by day and by night", True),
    Setting("enclosure", "timezone", "zone", 'the clock of the place, such as "America/New_York"', True),
    Setting("animal", "species", "text", "the species kept", True),
    *(s for s in schemas.SETTINGS if s.section == "animal" and s.key != "species"),
    Setting("lamps", "id", "text", "a name for this lamp", True),
    Setting("lamps", "kind", "text", "what it is there for", True, allowed=KINDS),
    Setting("lamps", "power_w", "number", "electrical power", True, "W", (0.1, 5000.0)),
    Setting(
        "lamps",
        "spectrum",
        "text",
        'a file such as "spectra/lamp.csv", "blackbody 2700 K, glass 330 nm", or a CIE illuminant',
    ),
    Setting("lamps", "x_m", "number", "middle of its front, along the length", True, "m", (-5.0, 25.0)),
    Setting("lamps", "y_m", "number", "middle of its front, from the front wall", True, "m", (-5.0, 25.0)),
    Setting("lamps", "height_m", "number", "middle of its front, above the floor", True, "m", (-0.5, 15.0)),
    Setting("lamps", "aim", "aim", 'the point [x, y, z] its axis goes through, or "down"'),
    Setting("lamps", "on", "clock", "when it goes on"),
    Setting("lamps", "off", "clock", "when it goes off"),
    Setting("lamps", "guarded", "flag", "true when a guard keeps animals off the hot lamp"),
    Setting("lamps", "fixed", "flag", "true when it cannot fall if its clamp lets go"),
    Setting(
        "lamps",
        "distance_to_nearest_reach_m",
        "number",
        "from the lamp to the nearest spot the animal can climb to",
        False,
        "m",
        (0.0, 20.0),
    ),
    Setting("lamps", "controlled_by", "text", "logger_id of the thermostat sensor that switches it"),
    Setting(
        "lamps",
        "set_point_c",
        "number",
        "temperature at which that thermostat switches it off",
        False,
        "°C",
        (-20.0, 90.0),
    ),
    Setting("points.NAME", "x_m", "number", "along the length, from the left wall", True, "m", (0.0, 20.0)),
    Setting("points.NAME", "y_m", "number", "from the front wall", True, "m", (0.0, 20.0)),
    Setting("points.NAME", "z_m", "number", "above the floor", True, "m", (0.0, 10.0)),
    Setting("points.NAME", "zone", "text", "which part of the enclosure this is", True, allowed=ZONES),
    Setting("points.NAME", "substrate", "text", "what lies there: rock, sand, soil, wood, tile …"),
    Setting("points.NAME", "shade", "flag", "true when no lamp shines there"),
    Setting("loggers.NAME", "point", "text", "the point it is at (a room_air logger has none)"),
    Setting("loggers.NAME", "role", "text", "what it reads", True, allowed=tuple(schemas.ALL_ROLES)),
    Setting("loggers.NAME", "unit", "text", "unit of its readings", True),
    *(
        s
        for s in schemas.SETTINGS
        if s.section == "loggers.NAME" and s.key in ("error", "timezone", "size_m", "shortwave_absorptivity")
    ),
    Setting("loggers.NAME", "column", "text", "header of its column, in an export with a column for each logger"),
    *(s for s in schemas.SETTINGS if s.section == "instruments.NAME"),
    *(s for s in schemas.SETTINGS if s.section in ("dates", "numbers")),
)


def parse(text, problems):
    """Parse the text of enclosure.toml; when it cannot be read, every line that is wrong by itself is said at once.

    Examples
    --------
    >>> from fieldkit.records.problems import Problems
    >>> found = Problems()
    >>> parse("[[lamps]]\\nkind = heat\\nguarded = yes\\n", found)
    >>> found.table()["remedy"].tolist()[1]
    'Write true or false, without quotation marks.'
    """
    try:
        read = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        pass
    except (ValueError, RecursionError):
        return toml.parse(text, problems)
    else:
        return toml.parse(text, problems) if toml.depth(read) > toml.DEEPEST else read
    wrong = []
    for number, line in enumerate(text.splitlines(), start=1):
        value = re.match(r"\s*[\w-]+\s*=\s*([^#]*)", line)
        alone = Problems()
        if value and not value[1].rstrip().endswith(("[", "{", ",", '"""')) and toml.parse(line, alone) is None:
            found = alone.table().iloc[0]
            remedy = found["remedy"]
            if value[1].strip().lower() in ("yes", "no", "true", "false"):
                remedy = "Write true or false, without quotation marks."
            wrong.append((number, found["problem"], remedy, line.strip()))
    for number, problem, remedy, line in wrong:
        problems.add(NAME, problem, remedy, row=number, value=line)
    return None if wrong else toml.parse(text, problems)
