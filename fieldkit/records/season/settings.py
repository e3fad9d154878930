"""season.toml: read, held against the declaration, and its mistakes said in plain words."""

import datetime as dt
import difflib
import re

from fieldkit.records import schema as schemas
from fieldkit.records import zones

NAME = "season.toml"

# A whole season.toml; the template for new folders is made from the same declaration.
EXAMPLE = """\
[season]
name = "Quarry 2023"
invented = false
first_day = 2023-03-15
last_day = 2023-10-20

[site]
name = "the quarry"
latitude_deg = 36.1
longitude_deg = -79.9
elevation_m = 270
timezone = "America/New_York"

[animal]
species = "ridge lizard"
length_m = 0.07
mass_g = 12
shortwave_absorptivity = 0.85

# What each column was read with; error is the standard deviation of its readings, in the unit of the column.
[instruments.shade_air_c]
what = "thermometer in a small white radiation shield"
error = 0.4
how = "data sheet"

[instruments.surface_c]
what = "infrared thermometer, emissivity set to 0.95"
error = 1.5
how = "ten readings of the same stone"

[instruments.irradiance_w_m2]
what = "hand-held pyranometer"
error = 30
how = "data sheet: 5 % at 600"

# One section for each logger; its name is the logger_id of the readings.
[loggers.shade-1]
role = "shade_air"
unit = "degC"
place = "north wall, 1.5 m"
error = 0.3

[loggers.model-1]
role = "copper_model"
unit = "degF"
place = "ledge P3"
error = 0.9
size_m = 0.02
shortwave_absorptivity = 0.85
timezone = "UTC-05:00" # this logger is never set to summer time

[stations.airfield]
latitude_deg = 36.10
longitude_deg = -79.94
elevation_m = 273
"""


def check(settings, text, problems):
    """Hold parsed settings against the declaration; what is wrong is added to problems.

    Parameters
    ----------
    settings : dict
        As parsed.
    text : str
        The text it was parsed from, to name lines.
    problems : Problems
        Takes what is found.

    Examples
    --------
    >>> from fieldkit.records.problems import Problems
    >>> found = Problems()
    >>> from fieldkit.records.season import toml
    >>> check(toml.parse(EXAMPLE, found), EXAMPLE, found)
    >>> len(found.table())
    0
    """
    lines = text.splitlines()
    declared = {}
    for setting in schemas.SETTINGS:
        declared.setdefault(setting.section, []).append(setting)
    named = {section.removesuffix(".NAME") for section in declared if section.endswith(".NAME")}
    known = {section for section in declared if not section.endswith(".NAME")} | named | set(schemas.FREE_SECTIONS)
    for section, content in settings.items():
        row = row_of(lines, section, None)
        if section not in known:
            problems.warn(
                NAME, "This section is kept but means nothing here.", closest(section, known), row=row, column=section
            )
        elif not isinstance(content, dict):
            problems.add(
                NAME,
                "This should be a section.",
                f"Write [{section}] on its own line.",
                row=row,
                column=section,
                value=content,
            )
    for section, keys in declared.items():
        if section.endswith(".NAME"):
            base = section.removesuffix(".NAME")
            group = settings.get(base, {})
            for name, content in group.items() if isinstance(group, dict) else ():
                place = f"{base}.{name}"
                if isinstance(content, dict):
                    check_section(place, keys, content, lines, problems)
                else:
                    problems.add(
                        NAME,
                        f"Each of [{base}] needs a section of its own.",
                        f"Write [{place}] on its own line and the settings below it.",
                        row=row_of(lines, base, name),
                        column=place,
                        value=content,
                    )
        else:
            content = settings.get(section, {})
            if isinstance(content, dict):
                check_section(section, keys, content, lines, problems)
    _check_across(settings, lines, problems)


def check_section(section, keys, content, lines, problems, *, header=None):
    """Hold one section against its declaration; `header` is how the file writes it, when that is not its name."""
    header = header or section
    known = [k.key for k in keys]
    for key in content:
        free = (
            section == "animal" or section.startswith(("loggers.", "stations.")) or (section, key) == ("dates", "files")
        )
        if key not in known and not free:
            problems.warn(
                NAME,
                "This setting is kept but means nothing here.",
                closest(key, known),
                row=row_of(lines, header, key),
                column=f"{section}.{key}",
                value=content[key],
            )
    for setting in keys:
        place = f"{section}.{setting.key}"
        if setting.key not in content:
            if setting.required:
                near = [k for k in difflib.get_close_matches(setting.key, list(content), 1) if k not in known]
                remedy = f"Add {setting.key} = … under [{header}]: {setting.meaning}."
                if near:
                    remedy = f"Write {setting.key} where it says {near[0]}."
                problems.add(NAME, "This setting is missing.", remedy, row=row_of(lines, header, None), column=place)
            continue
        value = content[setting.key]
        fault = wrong(setting, value)
        if fault:
            problems.add(NAME, *fault, row=row_of(lines, header, setting.key), column=place, value=value)
            if isinstance(value, list | dict):
                # Said; the tables are still read without it, so that their mistakes are said too.
                del content[setting.key]
        elif said := unusual(section, setting, content):
            problems.warn(NAME, *said, row=row_of(lines, header, setting.key), column=place, value=value)


def unusual(section, setting, content):
    """Problem and remedy of a value that can be and seldom is, or None.

    Examples
    --------
    >>> sizes = next(s for s in schemas.SETTINGS if s.key == "length_m")
    >>> unusual("animal", sizes, {"length_m": 7.0})[0]
    'This is unusual: most lie in 0.02 to 3 m.'
    """
    value, usual, unit, factor = content[setting.key], setting.usual, setting.unit, 1.0
    if setting.kind == "error":
        group, _, name = section.partition(".")
        role = schemas.ALL_ROLES.get(str(content.get("role")))
        column = next((c for t in schemas.ALL_TABLES.values() for c in [t.columns.get(name)] if c is not None), None)
        quantity = role[0] if role else column.metadata["quantity"] if column is not None else None
        if quantity is None or group not in ("instruments", "loggers"):
            return None
        unit, usual = schemas.RANGES[quantity].unit, schemas.USUAL_ERRORS.get(schemas.RANGES[quantity].dimension)
        if group == "loggers":
            found = schemas.find_unit(content.get("unit", ""), schemas.RANGES[quantity].dimension)
            factor = (found or (1.0, 0.0))[0]
    if usual and not usual[0] <= factor * value <= usual[1]:
        remedy = f"Check the unit and the decimal point: {setting.meaning}."
        return f"This is unusual: most lie in {usual[0]:g} to {usual[1]:g} {unit}.", remedy
    length, mass = content.get("length_m"), content.get("mass_g")
    if setting.key == "mass_g" and isinstance(length, int | float) and length > 0:
        low, high = schemas.USUAL_BUILD_G_M3
        if not low <= value / length**3 <= high:
            return (
                f"An animal {length:g} m long that weighs {mass:g} g is built like none.",
                "Check both: length_m in metres (7 cm are 0.07), mass_g in grams.",
            )
    return None


def wrong(setting, value):
    """Problem and remedy of one value, or None."""
    if isinstance(value, str) and value.strip().upper() == "FILL IN":
        return "This is still to be filled in.", f"Put the answer in its place: {setting.meaning}."
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if setting.kind in ("number", "error"):
        if not number:
            return (
                "This should be a number.",
                "Write it without quotation marks and with a decimal point, such as 36.1.",
            )
        if setting.kind == "error" and not 0 < value < float("inf"):
            return "An error is a number above 0.", "Write the standard deviation of the instrument's readings."
        if setting.limits and not setting.limits[0] <= value <= setting.limits[1]:
            low, high = setting.limits
            unit = "" if setting.unit == "0–1" else setting.unit
            remedy = f"Correct it: {setting.meaning}."
            if unit == "m" and high <= 25:
                remedy += f" In metres: {value:g} cm are {value / 100:g}, {value:g} inches {value * 0.0254:.3g}."
            return f"This lies outside {low:g} to {high:g}{' ' + unit if unit else ''}.", remedy
    elif setting.kind == "flag":
        if not isinstance(value, bool):
            return "This should be true or false.", "Write true or false, without quotation marks."
    elif setting.kind == "date":
        if not isinstance(value, dt.date) or isinstance(value, dt.datetime):
            return "This should be a date.", "Write it as 2023-05-14, without quotation marks and without a time."
    elif not isinstance(value, str):
        return "This should be text.", 'Put it between straight quotation marks, such as "the quarry".'
    elif not value.strip():
        return "This is empty.", f"Write {setting.meaning}."
    elif setting.kind == "zone" and zones.clock_zone(value) is None:
        return (
            "There is no such time zone.",
            'Use a name such as "America/New_York" or "Europe/Berlin", or a fixed offset such as "UTC-05:00".',
        )
    if setting.allowed and value not in setting.allowed:
        return "This is not one of the choices.", closest(value, [str(a) for a in setting.allowed])
    return None


def _check_across(settings, lines, problems):
    first, last = (_get(settings, "season", key) for key in ("first_day", "last_day"))
    if isinstance(first, dt.date) and isinstance(last, dt.date) and last < first:
        problems.add(
            NAME,
            f"The season ends before it begins ({first}).",
            "Correct first_day or last_day.",
            row=row_of(lines, "season", "last_day"),
            column="season.last_day",
            value=last,
        )
    latitude, longitude = (_get(settings, "site", key) for key in ("latitude_deg", "longitude_deg"))
    if latitude == 0 and longitude == 0:
        problems.warn(
            NAME,
            "Latitude and longitude are both 0, a spot in the Atlantic.",
            "Write where the site is; two decimals are enough.",
            row=row_of(lines, "site", "latitude_deg"),
            column="site.latitude_deg",
            value=latitude,
        )
    number_columns = {
        column
        for table in ("choices", "scans")
        for column in schemas.TABLES[table].columns
        if schemas.column_range(table, column)
    }
    for name in section(settings, "instruments"):
        if name not in number_columns:
            problems.add(
                NAME,
                "No column of choices or scans has this name.",
                closest(name, number_columns),
                row=row_of(lines, f"instruments.{name}", None),
                column=f"instruments.{name}",
            )
    for name, logger in section(settings, "loggers").items():
        if not isinstance(logger, dict) or logger.get("role") not in schemas.ROLES:
            continue
        unit, dimension = logger.get("unit"), schemas.RANGES[schemas.ROLES[logger["role"]][0]].dimension
        if isinstance(unit, str) and unit.strip() and schemas.find_unit(unit, dimension) is None:
            problems.add(
                NAME,
                unit_problem(unit, logger["role"]),
                "Write one of " + ", ".join(schemas.UNITS[dimension]) + ".",
                row=row_of(lines, f"loggers.{name}", "unit"),
                column=f"loggers.{name}.unit",
                value=unit,
            )
    check_words(settings, lines, problems)
    for name, zone in section(settings, "clocks").items():
        row = row_of(lines, "clocks", name)
        if name not in schemas.TABLES:
            problems.add(
                NAME,
                "There is no such table.",
                closest(name, schemas.TABLES),
                row=row,
                column=f"clocks.{name}",
                value=zone,
            )
        elif zones.clock_zone(zone) is None:
            problems.add(
                NAME,
                "There is no such time zone.",
                'Use a name such as "America/New_York", or a fixed offset such as "UTC-05:00".',
                row=row,
                column=f"clocks.{name}",
                value=zone,
            )


def check_words(settings, lines, problems):
    """[words.COLUMN] and [dates.files], whose keys are whatever stands in the sheets."""
    worded = {
        name
        for table in schemas.ALL_TABLES.values()
        for name, column in table.columns.items()
        if column.metadata["kind"] in ("text", "word", "flag")
    }
    for column, words in section(settings, "words").items():
        place = f"words.{column}"
        if column not in worded or not isinstance(words, dict):
            row = row_of(lines, place, None) or row_of(lines, "words", column)
            remedy = f'Write [words.animal_id], and below it such as "D12" = "D4". {closest(column, worded)}'
            problems.add(NAME, "No column with words has this name.", remedy, row=row, column=place)
            continue
        for word, meant in words.items():
            if not isinstance(meant, str) or not meant.strip():
                remedy = f'Write what "{word}" stands for, between straight quotation marks.'
                row = row_of(lines, place, word)
                problems.add(NAME, "This should be text.", remedy, row=row, column=place, value=meant)
    for file, order in section(section(settings, "dates"), "files").items():
        if order not in ("dmy", "mdy", "ymd"):
            row = row_of(lines, "dates.files", file)
            place = f"dates.files.{file}"
            problems.add(
                NAME, "This is no order of a date.", "Write dmy, mdy or ymd.", row=row, column=place, value=order
            )


def unit_problem(unit, where):
    """Why a unit does not fit."""
    refused = schemas.REFUSED_UNITS.get("".join(str(unit).split()).lower())
    return f"{refused[0].upper()}{refused[1:]}." if refused else f"This unit is not known for {where}."


def _get(settings, section, key):
    content = settings.get(section)
    return content.get(key) if isinstance(content, dict) else None


def section(settings, name):
    """A section as a dict, empty when it is missing or no section."""
    content = settings.get(name)
    return content if isinstance(content, dict) else {}


def closest(word, known):
    """What to say about a word that is not known."""
    # Another case is nearer than another letter.
    near = [k for k in known if str(k).lower() == str(word).lower()] or difflib.get_close_matches(
        str(word), list(known), 1, 0.5
    )
    if near:
        return f"Did you mean {near[0]}?"
    return "Use one of " + ", ".join(sorted(known)) + "."


def row_of(lines, section, key):
    """Line of a section or of a key in it; None when it is not written that way."""
    inside = None
    for number, line in enumerate(lines, start=1):
        header = re.match(r"\s*\[+\s*(.+?)\s*\]+", line)
        if header:
            inside = header[1].replace('"', "").replace("'", "")
            if inside == section and key is None:
                return number
        elif inside == section and key is not None and re.match(rf"\s*[\"']?{re.escape(key)}[\"']?\s*=", line):
            return number
    return None
