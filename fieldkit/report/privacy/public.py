"""A season that others may have: its place cut to a cell, its names replaced, its free text gone.

What is computed from such a season is the same for every true place in the cell: no day length, clear sky or
air-temperature range can give back more than the cell. Rounding cannot promise that: 500 day lengths rounded to a
minute still give the latitude to some thousandths of a degree.
"""

import contextlib
import json
import re
import tempfile
from pathlib import Path

import pandas as pd

from fieldkit.core import FieldkitError
from fieldkit.records import places
from fieldkit.records import schema as schemas
from fieldkit.records.season import settings
from fieldkit.records.season.reader import read_season
from fieldkit.report.share import filter as giving_away

# Columns whose words name something: what stands for it, and which tables share the names.
NAMED = {
    "observer": "observer",
    "animal_id": "animal",
    "place_id": "place",
    "set_id": "set",
    "station_id": "station",
    "site": "site",
    "group": "group",
}
# Codes that tell nothing by themselves stay as they are: a letter or two and a number. Of people, initials tell.
CODE = re.compile(r"[A-Za-z]{0,2}[-_ ]?\d{1,5}[a-z]?")
PLAIN = {"observer": re.compile(r"[A-Za-z]|\d{1,3}")}
_LOGGER = re.compile(r"(?:shade|probe|rock|model|sun|wind|air|surface|logger)-\d{1,3}")
_FREE = ("notes",)
_OTHER = "other"


def is_code(name):
    """Whether a name is a plain code that tells nothing.

    Examples
    --------
    >>> is_code("R07"), is_code("one eye")
    (True, False)
    """
    return bool(CODE.fullmatch(name))


def names_of(season):
    """What stands for each name: column to a dict of name to public name.

    Where all names of a kind are plain codes (R07, P1; of people a single letter) they stay. Else they are numbered in
    the order of the alphabet, so that whatever sorts by name sorts as before.

    Parameters
    ----------
    season : Season
        As read.

    Returns
    -------
    dict of str to dict
        With ``logger_id`` besides the columns of `NAMED`.
    """
    found = {column: set() for column in NAMED}
    for table in _tables(season).values():
        for column in NAMED:
            if column in table:
                found[column] |= set(table[column].dropna().astype(str))
    found["station_id"] |= set(season.stations["station_id"].astype(str))
    out = {column: numbered(kind, found[column], PLAIN.get(column, CODE)) for column, kind in NAMED.items()}
    out["logger_id"] = _loggers(season)
    return out


def _tables(season):
    tables = {name: getattr(season, name, None) for name in schemas.TABLES}
    return {name: table for name, table in tables.items() if table is not None}


def numbered(kind, names, plain):
    told = re.compile(rf"{kind}-\d+")
    if all(plain.fullmatch(name) or told.fullmatch(name) for name in names):
        return {name: name for name in names}
    wide = len(str(len(names)))
    return {name: f"{kind}-{number:0{wide}d}" for number, name in enumerate(sorted(names), start=1)}


def _loggers(season):
    roles = dict(zip(season.logger_info["logger_id"].astype(str), season.logger_info["role"].astype(str)))
    names = dict.fromkeys(roles)
    if season.loggers is not None:
        names |= dict.fromkeys(season.loggers["logger_id"].dropna().astype(str).unique())
    told = re.compile("|".join(rf"{role.replace('_', '-')}-\d+" for role in [*schemas.ROLES, "logger"]))
    if all(told.fullmatch(name) or _LOGGER.fullmatch(name) or CODE.fullmatch(name) for name in names):
        return {name: name for name in names}
    # Loggers of one role keep their order, both in the list and in the alphabet.
    out = {}
    for role in dict.fromkeys(roles.get(name, "logger") for name in names):
        mine = sorted(name for name in names if roles.get(name, "logger") == role)
        wide = len(str(len(mine)))
        out |= {name: f"{role.replace('_', '-')}-{n:0{wide}d}" for n, name in enumerate(mine, start=1)}
    return {name: out[name] for name in names}


def season_name(season):
    """What others may call a season: the name for others in season.toml, else the species and the years.

    Parameters
    ----------
    season : Season
        As read.

    Returns
    -------
    str
    """
    given = settings.section(season.settings, "season").get("public_name")
    if given:
        return given
    years = " to ".join(dict.fromkeys(str(day.year) for day in (season.first_day, season.last_day)))
    species = season.animal.species
    return f"{species[:1].upper()}{species[1:]}, {years}"


# Which corner of the cell, and of the 100 m of height, stands in the folder in place of the middle.
CORNERS = {"low": 0, "high": 1}
_OPPOSITE = {"low": "high", "high": "low"}


def write(season, folder, *, exact_place=False, corner=None):
    """Write the folder of a season that others may have.

    Parameters
    ----------
    season : Season
        As read.
    folder : str or pathlib.Path
        An empty or new folder.
    exact_place : bool
        Keep the exact position and height of site and stations; names are replaced all the same.
    corner : {"low", "high"}, optional
        Put the site into this corner of its cell, and the stations into the opposite one of theirs, to see what the cut
        can change at most; None: the middle.

    Returns
    -------
    pandas.DataFrame
        What stayed at home: table, what, rows, reason.

    Notes
    -----
    The same season gives the same bytes, and so does a season that was made by this function.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    names, left = names_of(season), []
    words = giving_away.Filter(season)
    text = _settings_text(season, names, words, exact_place=exact_place, corner=corner)
    (folder / settings.NAME).write_text(text, encoding="utf-8", newline="\n")
    for name, table in _tables(season).items():
        public = _public_table(name, table, names, words, left)
        public.to_csv(folder / f"{name}.csv", index=False, lineterminator="\n", encoding="utf-8")
    if not exact_place:
        left.append(("season.toml", "position and height", 1, "cut to 0.1 degree and to 100 m of height"))
    left += list(words.left_out().itertuples(index=False, name=None))
    return pd.DataFrame(left, columns=["table", "what", "rows", "reason"])


@contextlib.contextmanager
def opened(season, *, exact_place=False):
    """The public folder of a season for as long as a block lasts, and the season read from it.

    Parameters
    ----------
    season : Season
        As read.
    exact_place : bool
        As in `write`.

    Yields
    ------
    pathlib.Path, Season
    """
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "season"
        write(season, folder, exact_place=exact_place)
        yield folder, read_season(folder)


def _public_table(name, table, names, words, left):
    declared = schemas.TABLES[name].columns
    own = [column for column in table.columns if column not in declared]
    for column in own:
        left.append((name, "a column of your own", int(table[column].notna().sum()), "nobody knows what it tells"))
    public = table.drop(columns=own).copy()
    for column in _FREE:
        if column in public:
            if count := int(public[column].notna().sum()):
                left.append((name, column, count, "free text may name the place or a person"))
            del public[column]
    for column in (*NAMED, "logger_id"):
        if column in public:
            told = public[column].astype(object).map(names[column], na_action="ignore")
            if changed := int((told.notna() & (told != public[column].astype(object))).sum()):
                left.append((name, column, changed, "names became numbers"))
            public[column] = told
    for column in public.columns.difference([*NAMED, "logger_id"], sort=False):
        if declared[column].metadata["kind"] in ("text", "word"):
            kept = words.words(public, name, column)
            public[column] = kept.where((kept != "") | public[column].isna(), _OTHER).replace("", None)
    if "time" in public:
        public["time"] = stamps(public["time"])
    if "date" in public:
        public["date"] = public["date"].dt.strftime("%Y-%m-%d")
    if name == "loggers":
        public["time"] = stamps(table["time"].dt.tz_convert("UTC"), offset=False)
        public = public[[c for c in ("time", "logger_id", "value") if c in public]]
    return public


def stamps(times, *, offset=True):
    """Times with their offset, without seconds where all are whole minutes."""
    whole = bool((times.dropna().dt.second == 0).all() and (times.dropna().dt.microsecond == 0).all())
    text = times.dt.strftime("%Y-%m-%d %H:%M" if whole else "%Y-%m-%d %H:%M:%S")
    if not offset:
        return text
    zone = times.dt.strftime("%z")
    return text + zone.str[:3] + ":" + zone.str[3:]


# --- season.toml ------------------------------------------------------------------------------------------------------


def _settings_text(season, names, words, *, exact_place, corner):
    stated = season.settings
    called = settings.section(stated, "site").get("public_name")
    sections = {
        "season": {
            "name": season_name(season),
            "public_name": settings.section(stated, "season").get("public_name"),
            "invented": bool(season.invented),
            "first_day": season.first_day,
            "last_day": season.last_day,
        },
        "site": {
            "name": called or places.UNNAMED,
            "public_name": called,
            **_place(vars(season.site), exact_place, corner),
            "timezone": season.site.timezone,
        },
        "animal": {key: getattr(season.animal, key) for key in season.animal.__dataclass_fields__},
    }
    sections |= _further(stated)
    for column, error in season.instrument_errors.items():
        sections[f"instruments.{column}"] = {"what": words.method(column) or None, "error": error}
    for row in season.logger_info.to_dict("records"):
        keys = ("role", "unit", "error", "size_m", "shortwave_absorptivity")
        given = settings.section(settings.section(stated, "loggers"), str(row["logger_id"]))
        told = _tellable("loggers.NAME", given) | {key: row[key] for key in keys}
        sections[header("loggers", names["logger_id"][str(row["logger_id"])])] = told
    for row in season.stations.to_dict("records"):
        sections[header("stations", names["station_id"][str(row["station_id"])])] = _place(
            row, exact_place, _OPPOSITE.get(corner)
        )
    if season.loggers is not None:
        sections["clocks"] = {"loggers": "UTC"}
    lines = ["# A season for others: names are replaced and free text is left out."]
    if exact_place:
        lines.append("# EXACT place: ask whoever protects the species and whoever owns the land before you pass it on.")
    else:
        lines.append("# The site and the stations lie somewhere in their cell of 0.1 degree and 100 m of height; the")
        lines.append("# middle of the cell stands here.")
    if season.invented:
        lines.append("# INVENTED: no such animal was seen. Not care advice.")
    for name, content in sections.items():
        lines += [
            "",
            f"[{name}]",
            *(f"{key} = {toml_value(value)}" for key, value in content.items() if is_given(value)),
        ]
    return "\n".join(lines) + "\n"


# How the files are written; those of the public season are written in one way.
_OF_FILES = {"dates", "numbers"}


def _further(stated):
    """Whole sections of declared settings that tell of no place and nobody."""
    found = {}
    own = {"season", "site", "animal"} | _OF_FILES
    for section in dict.fromkeys(setting.section for setting in schemas.SETTINGS):
        if section not in own and not section.endswith(".NAME"):
            found |= {section: told} if (told := _tellable(section, settings.section(stated, section))) else {}
    return found


def _tellable(section, given):
    """Declared numbers, flags and choices of a section; what people write in their own words stays at home."""
    declared = {
        s.key for s in schemas.SETTINGS if s.section == section and (s.kind not in ("text", "zone") or s.allowed)
    }
    return {key: value for key, value in given.items() if key in declared}


def header(section, name):
    return f"{section}.{name if re.fullmatch(r'[A-Za-z0-9_-]+', name) else json.dumps(name)}"


def _place(row, exact_place, corner):
    """Position and height of a site or station as they stand in the folder."""
    keys = ("latitude_deg", "longitude_deg", "elevation_m")
    found = {key: float(row[key]) for key in keys if is_given(row[key])}
    if exact_place:
        return found
    if corner is not None:
        ends = {key: places.band(v) if key == "elevation_m" else places.cell(v) for key, v in found.items()}
        return {key: float(both[CORNERS[corner]]) for key, both in ends.items()}
    rules = {
        "latitude_deg": lambda value: places.middle(value, limit=90),
        "longitude_deg": lambda value: places.middle(value, limit=180),
        "elevation_m": places.middle_height,
    }
    return {key: rules[key](value) for key, value in found.items()}


def is_given(value):
    return value is not None and not (isinstance(value, float) and value != value)


def toml_value(value):
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, int | float):
        return repr(value)
    if hasattr(value, "isoformat"):
        return value.isoformat()
    raise FieldkitError(f"season.toml cannot hold {value!r}.")
