"""Every setting of a season's settings file, declared once."""

from dataclasses import dataclass

from .units import ROLES


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
    Setting(
        "instruments.NAME",
        "error_percent",
        "number",
        "error that grows with the reading, beside it",
        False,
        "%",
        (0, 100),
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
