"""Mistakes in enclosure.toml said in plain words: each line by itself, then held against the others."""

import math
import re

from fieldkit.records import schema as schemas
from fieldkit.records.season import settings

from .settings import KIND_WORDS, KINDS, LARGE_M, NAME, SETTINGS


def check(stated, lines, problems):
    """Hold parsed settings against the declaration and against each other; what is wrong is added to problems."""
    declared = {}
    for setting in SETTINGS:
        declared.setdefault(setting.section, []).append(setting)
    known = {s.removesuffix(".NAME") for s in declared} | set(schemas.FREE_SECTIONS)
    for section in stated:
        if section not in known:
            problems.warn(
                NAME,
                "This section is kept but means nothing here.",
                settings.closest(section, known),
                row=settings.row_of(lines, section, None),
                column=section,
            )
    for section in ("enclosure", "animal", "dates", "numbers"):
        content = stated.get(section, {})
        if not isinstance(content, dict):
            problems.add(NAME, "This should be a section.", f"Write [{section}] on its own line.", column=section)
        else:
            content = {k: v for k, v in content.items() if (section, k) != ("dates", "files")}
            _check_section(section, declared[section], content, lines, problems)
    settings.check_words(stated, lines, problems)
    for group in ("points", "loggers", "instruments"):
        content = stated.get(group, {})
        if isinstance(content, list) or not isinstance(content, dict):
            problems.add(
                NAME,
                f"Each of [{group}] needs a section with a name of its own.",
                f"Write [{group}.NAME] on its own line and the settings below it.",
                column=group,
            )
            continue
        for name, part in content.items():
            if isinstance(part, dict):
                _check_section(f"{group}.{name}", declared[f"{group}.NAME"], part, lines, problems)
            else:
                problems.add(
                    NAME,
                    f"Each of [{group}] needs a section of its own.",
                    f"Write [{group}.NAME] on its own line and the settings below it.",
                    row=settings.row_of(lines, group, name),
                    column=f"{group}.{name}",
                    value=part,
                )
    _check_lamps(stated, declared, lines, problems)
    if not problems.any_errors:
        _check_across(stated, lines, problems)


def _check_section(section, keys, content, lines, problems, *, header=None):
    """As for a season, and the kinds of value that only an enclosure has."""
    own = [k for k in keys if k.kind in ("clock", "aim", "day_night")]
    plain = {k: v for k, v in content.items() if k not in {o.key for o in own}}
    rest = [k for k in keys if k not in own]
    settings.check_section(section, rest, plain, lines, problems, header=header)
    for key in {k.key for k in rest} & content.keys() - plain.keys():
        del content[key]
    for setting in own:
        if content.get(setting.key) == "FILL IN":
            wrong = settings.wrong(setting, "FILL IN")
        elif setting.key in content:
            wrong = _WRONG[setting.kind](content[setting.key])
        elif setting.required:
            wrong = (
                "This setting is missing.",
                f"Add {setting.key} = … under [{header or section}]: {setting.meaning}.",
            )
        else:
            continue
        if wrong:
            problems.add(
                NAME,
                *wrong,
                row=settings.row_of(lines, header or section, setting.key if setting.key in content else None),
                column=f"{section}.{setting.key}",
                value=content.get(setting.key),
            )


def _is_number(value):
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _wrong_clock(value):
    match = re.fullmatch(r"(\d{1,2}):(\d{2})", str(value)[:5]) if value is not None else None
    if not match or int(match[1]) > 23 or int(match[2]) > 59:
        return "This is not a clock time.", 'Write it as "07:30", 24 hours.'
    return None


def _wrong_aim(value):
    if value == "down" or (isinstance(value, list) and len(value) == 3 and all(map(_is_number, value))):
        return None
    return "This is not a direction.", 'Write aim = "down", or the point the lamp looks at: aim = [0.3, 0.3, 0.0].'


def _wrong_day_night(value):
    values = (
        [value, value]
        if _is_number(value)
        else [value.get(k) for k in ("day", "night")]
        if isinstance(value, dict)
        else [None]
    )
    if not all(map(_is_number, values)):
        return "Room temperature is needed by day and by night.", "Write it as { day = 21.0, night = 18.0 }."
    low, high = schemas.RANGES["air"].limits
    if not all(low <= v <= high for v in values):
        day, night = ((v - 32) * 5 / 9 for v in values)
        remedy = f"Correct it; if these are °F, write {{ day = {day:.1f}, night = {night:.1f} }}."
        return f"This lies outside {low:g} to {high:g} °C.", remedy
    return None


_WRONG = {"clock": _wrong_clock, "aim": _wrong_aim, "day_night": _wrong_day_night}


def _blocks(lines, header):
    """Lines of each [[header]] in turn, everything else blanked, so that rows keep their numbers."""
    found, inside = [], False
    for number, line in enumerate(lines):
        mark = re.match(r"\s*\[+\s*(.+?)\s*\]+", line)
        if mark:
            inside = mark[1] == header
            if inside:
                found.append([""] * len(lines))
        if inside:
            found[-1][number] = line
    return found


def _check_lamps(stated, declared, lines, problems):
    lamps = stated.get("lamps", [])
    if not isinstance(lamps, list) or not all(isinstance(lamp, dict) for lamp in lamps):
        problems.add(
            NAME,
            "Lamps are a list.",
            "Write [[lamps]], with two brackets, on a line of its own for each lamp and its settings below it.",
            row=settings.row_of(lines, "lamps", None),
            column="lamps",
        )
        stated["lamps"] = []
        return
    blocks = iter(_blocks(lines, "lamps"))
    seen = set()
    for number, lamp in enumerate(lamps, start=1):
        here = next(blocks, lines)
        label = f"lamps.{lamp.get('id', number)}"
        given = {k: v for k, v in lamp.items() if k != "readings"}
        if isinstance(given.get("kind"), str) and given["kind"] not in (*KINDS, "FILL IN"):
            words = given["kind"].lower()
            near = next((k for k, names in KIND_WORDS.items() if any(n in words for n in names)), None)
            problems.add(
                NAME,
                "This is not one of the kinds of lamp.",
                (f'Write kind = "{near}", if that is what it is there for; else one of ' if near else "Write one of ")
                + ", ".join(KINDS)
                + ".",
                row=settings.row_of(here, "lamps", "kind"),
                column=f"{label}.kind",
                value=given.pop("kind"),
            )
            _check_section(
                label, [k for k in declared["lamps"] if k.key != "kind"], given, here, problems, header="lamps"
            )
        else:
            _check_section(label, declared["lamps"], given, here, problems, header="lamps")
        # Taken out by the check: no value of the kind that belongs there.
        for key in lamp.keys() - given.keys() - {"readings", "kind"}:
            del lamp[key]
        if lamp.get("id") in seen:
            problems.add(
                NAME,
                "Two lamps have this id.",
                "Give every lamp an id of its own.",
                row=settings.row_of(here, "lamps", "id"),
                column="lamps.id",
                value=lamp["id"],
            )
        seen.add(lamp.get("id"))
        if ("on" in lamp) != ("off" in lamp):
            problems.add(
                NAME,
                "This lamp has only one of on and off.",
                "Write both, or neither when it burns all the time.",
                row=settings.row_of(here, "lamps", None),
                column=label,
            )
        if "readings" in lamp:
            problems.add(
                NAME,
                "Readings of a lamp do not stand here.",
                "Write them into lamp_readings.csv: one row each, with the lamp's id.",
                row=settings.row_of(here, "lamps", None),
                column=label,
            )


def _check_across(stated, lines, problems):
    box = stated["enclosure"]
    longest = max(box[k] for k in ("length_m", "width_m", "height_m"))
    if longest > LARGE_M:
        problems.warn(
            NAME,
            f"This enclosure is {longest:g} m large, the size of a room.",
            f"Nothing, if it is. Lengths are metres: {longest:g} feet would be {longest * 0.3048:.2g} m.",
            row=settings.row_of(lines, "enclosure", "length_m"),
            column="enclosure.length_m",
            value=box["length_m"],
        )
    number_columns = schemas.ENCLOSURE_TABLES["hand_readings"].columns
    for name in stated.get("instruments", {}):
        if name not in number_columns or not number_columns[name].metadata["quantity"]:
            known = [c for c, d in number_columns.items() if d.metadata["quantity"]]
            problems.add(
                NAME,
                "No column of hand_readings has this name.",
                settings.closest(name, known),
                row=settings.row_of(lines, f"instruments.{name}", None),
                column=f"instruments.{name}",
            )
    size = {"x_m": box["length_m"], "y_m": box["width_m"], "z_m": box["height_m"]}
    for name, point in stated.get("points", {}).items():
        for key, most in size.items():
            if point[key] > most:
                problems.add(
                    NAME,
                    f"This point lies outside the enclosure, which ends at {most:g} m.",
                    "Correct it; lengths are metres from the front left corner of the floor.",
                    row=settings.row_of(lines, f"points.{name}", key),
                    column=f"points.{name}.{key}",
                    value=point[key],
                )
    loggers, points = stated.get("loggers", {}), stated.get("points", {})
    for name, logger in loggers.items():
        limits = schemas.RANGES[schemas.ALL_ROLES[logger["role"]][0]]
        if schemas.find_unit(logger["unit"], limits.dimension) is None:
            units = [u or "index" for u in schemas.UNITS[limits.dimension]]
            problems.add(
                NAME,
                settings.unit_problem(logger["unit"], logger["role"]),
                "Write one of " + ", ".join(units) + ".",
                row=settings.row_of(lines, f"loggers.{name}", "unit"),
                column=f"loggers.{name}.unit",
                value=logger["unit"],
            )
        point = logger.get("point")
        if logger["role"] != "room_air" and point not in points:
            problems.add(
                NAME,
                "This logger does not say at which point it is."
                if point is None
                else "No point of this enclosure has this name.",
                settings.closest(point, points) if points and point else "Add point = and a [points.NAME] for it.",
                row=settings.row_of(lines, f"loggers.{name}", "point" if point else None),
                column=f"loggers.{name}.point",
                value=point,
            )
        if "error" not in logger:
            problems.warn(
                NAME,
                "No error is stated for this logger, so its readings cannot be held against a limit with confidence.",
                "Add error = the standard deviation of its readings (data sheet, or ten readings of one thing).",
                row=settings.row_of(lines, f"loggers.{name}", None),
                column=f"loggers.{name}",
            )
    for lamp, block in zip(stated.get("lamps", []), _blocks(lines, "lamps")):
        label, row = f"lamps.{lamp['id']}", settings.row_of(block, "lamps", "controlled_by")
        control = lamp.get("controlled_by")
        if control is not None and control not in loggers:
            problems.add(
                NAME,
                "No logger of this enclosure has this name.",
                settings.closest(control, loggers) if loggers else "Add [loggers.NAME] for the sensor.",
                row=row,
                column=f"{label}.controlled_by",
                value=control,
            )
        for key, most in (("x_m", size["x_m"]), ("y_m", size["y_m"])):
            if not 0 <= lamp[key] <= most:
                problems.warn(
                    NAME,
                    f"This lamp hangs beside the enclosure, which goes from 0 to {most:g} m.",
                    "Nothing, if it shines in from the side.",
                    row=settings.row_of(block, "lamps", key),
                    column=f"{label}.{key}",
                    value=lamp[key],
                )
    if not points:
        problems.add(NAME, "The enclosure has no measuring points.", "Add [points.NAME] with x_m, y_m, z_m and zone.")
