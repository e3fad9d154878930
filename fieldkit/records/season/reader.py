"""The only reader of a season folder: everything read and checked, or every mistake said at once."""

import dataclasses
import datetime as dt
import difflib
import hashlib
import os
import re
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd
import pandera.errors

from fieldkit import core
from fieldkit.records import places
from fieldkit.records.problems import Problems, SeasonError
from fieldkit.records.reading import cells, headers, opening, repeats, sheets, suspicions
from fieldkit.records.schema import tables as schemas
from fieldkit.records.season import settings


@dataclass(frozen=True, kw_only=True)
class Site:
    """Where the season was watched."""

    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    timezone: str


@dataclass(frozen=True, kw_only=True)
class Animal:
    """What was watched; None where season.toml does not say."""

    species: str
    length_m: float | None = None
    mass_g: float | None = None
    shortwave_absorptivity: float | None = None


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Season:
    """A season's records, as read from its folder.

    Attributes
    ----------
    choices, sightings, scans, gradient, loggers, weather : pandas.DataFrame or None
        The tables, in the units of the data dictionary; None where the folder has none. Times carry the site's zone.
        In `weather` a daily record has `date` (no zone), an hourly one `time`.
    logger_info : pandas.DataFrame
        One row a logger: logger_id, role, unit (of the values as they are now), place, error, size_m,
        shortwave_absorptivity.
    stations : pandas.DataFrame
        One row a station of season.toml: station_id, name, latitude_deg, longitude_deg, elevation_m.
    instrument_errors : dict of str to float
        Column of a table to the standard deviation of its readings, in the column's unit.
    warnings : pandas.DataFrame
        What is suspicious and may be true all the same: file, row, column, value, problem, remedy, severity.
    sources : pandas.DataFrame
        How each file was read: file, table, rows, separator, decimal_mark, encoding.
    rows : dict of str to pandas.DataFrame
        By table, with its index: the file and the row in it, as a spreadsheet counts, that each row stands in.
    input_hash : str
        sha256 of all that was read.
    settings : dict
        season.toml as parsed.
    """

    path: Path
    name: str
    invented: bool
    first_day: dt.date
    last_day: dt.date
    site: Site
    animal: Animal
    choices: pd.DataFrame | None
    sightings: pd.DataFrame | None
    scans: pd.DataFrame | None
    gradient: pd.DataFrame | None
    loggers: pd.DataFrame | None
    weather: pd.DataFrame | None
    logger_info: pd.DataFrame
    stations: pd.DataFrame
    instrument_errors: dict
    warnings: pd.DataFrame
    sources: pd.DataFrame
    rows: dict
    input_hash: str
    settings: dict = field(default_factory=dict)

    @property
    def public_site(self):
        """The site as others may see it: no finer than 0.1 degree and 100 m of height, under the name for others."""
        name = settings.section(self.settings, "site").get("public_name", places.UNNAMED)
        return places.public_site(self.site, name=name)

    @property
    def sentence(self):
        """What there is, in words."""
        tables = [(n, getattr(self, n)) for n in schemas.TABLES]
        parts = [f"{len(t):,} rows of {n}" for n, t in tables if t is not None]
        made = " (invented)" if self.invented else ""
        return f"{self.name}{made}, {self.animal.species}: {', '.join(parts)}; {len(self.warnings)} warnings."

    def __repr__(self):
        return f"Season: {self.sentence}"


def read_season(path, *, further=None):
    """Read a season folder.

    Parameters
    ----------
    path : str or pathlib.Path
        Folder with season.toml and at least one of the tables, as CSV or XLSX.
    further : callable, optional
        What else the tables are held against before all that is wrong is said: called with tables, rows, settings and
        problems. `fieldkit.read_season` gives it the sun, which records know nothing of.

    Returns
    -------
    Season

    Raises
    ------
    SeasonError
        With every mistake of the folder; nothing is half read.

    Examples
    --------
    >>> import tempfile
    >>> folder = Path(tempfile.mkdtemp())
    >>> _ = (folder / "season.toml").write_text(settings.EXAMPLE)
    >>> _ = (folder / "sightings.csv").write_text("time,animal_id,behaviour\\n2023-05-14 10:20,R07,basking\\n")
    >>> season = read_season(folder)
    >>> season.sightings["time"].iloc[0]
    Timestamp('2023-05-14 10:20:00-0400', tz='America/New_York')
    """
    path = Path(path).expanduser()
    problems = Problems()
    digest = hashlib.sha256()
    stated = _read_settings(path, problems, digest)
    found = sheets.find(path, stated or {}, problems, digest)
    if stated is None:
        raise SeasonError(problems.table(), path)
    tables, sources, rows = {}, [], {}
    for name in schemas.TABLES:
        raws = [r for r in found if r.table == name and len(r.cells)]
        if len({r.rival for r in raws}) > 1:
            for raw in raws:
                problems.add(
                    raw.file,
                    f"The table '{name}' stands in more than one place: {', '.join(r.file for r in raws)}.",
                    "Keep one of them here and move the others out of the folder.",
                )
            continue
        if name == "loggers":
            files = {raw.stem for raw in raws if "/" in raw.file}
            raws = [part for raw in raws for part in _parted(raw, stated, problems, files)]
        tables[name] = read_table(raws, name, stated, problems, sources, rows)
    if not any(len(r.cells) for r in found) and problems.files_with_errors() <= {settings.NAME}:
        problems.add(
            path.name,
            "No table in this folder has any rows yet.",
            "Fill in at least one of "
            + ", ".join(f"{n}.csv" for n in schemas.TABLES)
            + ", or the sheets of the workbook.",
        )
    repeats.across(tables, rows, problems)
    if further is not None:
        further(tables, rows, stated, problems)
    if problems.any_errors:
        raise SeasonError(problems.table(), path)
    return _season(path, stated, tables, sources, rows, problems, digest)


def demo_season():
    """Read the demo season: an invented club that watches an invented lizard in an invented quarry.

    Returns
    -------
    Season
    """
    return read_season(core.resource_dir("data") / "demo_season")


# --- season.toml ----------------------------------------------------------------------------------------------------


def _read_settings(path, problems, digest):
    if not path.is_dir():
        problems.add(path.name or str(path), "There is no such folder.", "Check the spelling of the path.")
        return None
    file = path / settings.NAME
    if not os.path.lexists(file):
        near = [
            p.name for p in opening.listed(path) if p.name.lower().startswith("season.") and ".toml" in p.name.lower()
        ]
        problems.add(
            settings.NAME,
            "The folder has no season.toml, which says where and how the readings were taken.",
            f"Rename {near[0]} to season.toml."
            if near
            else "This folder describes an enclosure: fieldkit audit reads it."
            if (path / "enclosure.toml").is_file()
            else "Make a new folder with 'fieldkit new' and copy its season.toml.",
        )
        return None
    try:
        data = opening.read(file, inside=path, limit=opening.SETTINGS_BYTES)
    except opening.NotOpened as error:
        problems.add(settings.NAME, error.problem, error.remedy)
        return None
    digest.update(b"season.toml\0" + data)
    text, _, _ = sheets.decode(data)
    if text is None:
        problems.add(settings.NAME, "This is not a text file.", "Save it as plain text (UTF-8).")
        return None
    stated = settings.parse(text, problems)
    if stated is not None:
        settings.check(stated, text, problems)
    return stated


# --- one table ------------------------------------------------------------------------------------------------------


def read_table(raws, table, stated, problems, sources, rows):
    """Read and check one table, in as many files as it stands in.

    What is wrong is added to problems, and to `rows` the file and row that each row of the table stands in.
    """
    parts, wheres = [], []
    for raw in raws:
        part, where = _read_part(raw, table, stated, problems, sources)
        parts.append(part)
        wheres.append(where)
    if not parts:
        return None
    frame = pd.concat(parts, ignore_index=True)
    where = pd.concat(wheres, ignore_index=True)
    order = [c for c in schemas.ALL_TABLES[table].columns if c in frame.columns]
    frame = frame[order + [c for c in frame.columns if c not in order]]
    _validate(frame, where, table, problems)
    plain = {raw.file: raw.text for raw in raws if raw.ready is not None}
    frame = suspicions.look(frame, where, table, stated, problems, plain=plain)
    rows[table] = where.loc[frame.index, ["file", "row"]].reset_index(drop=True).astype({"file": "category"})
    frame = frame.reset_index(drop=True)
    if "used" in schemas.ALL_TABLES[table].columns and "used" in frame and frame["used"].notna().all():
        frame["used"] = frame["used"].astype("int64")
    return frame


def _read_part(raw, table, stated, problems, sources):
    schema = schemas.ALL_TABLES[table]
    if raw.ready is not None:
        sources.append((raw.file, table, len(raw.ready), raw.separator, ".", raw.encoding))
        where = pd.DataFrame({"file": raw.file, "row": raw.cells.index})
        where = where.assign(**{f"{c} bad": False for c in schema.columns})
        # Every time was written: one that is missing never was, or was twice, and that was said.
        where["time bad"] = raw.ready["time"].isna().to_numpy()
        return raw.ready.astype({"logger_id": "str"}), where
    columns, units, doubled = {}, {}, set()
    for name in raw.header:
        # A column that nobody filled in needs no unit.
        heard = problems if _any_written(raw.cells[name]) else Problems()
        column, unit = headers.match(name, table, stated, raw.file, heard, raw.header_row)
        if column in columns:
            problems.add(
                raw.file,
                f"This column and '{columns[column]}' both mean {column}.",
                "Keep one of them, or rename the other.",
                row=raw.header_row,
                column=name,
            )
            doubled.add(name)
            continue
        if column:
            columns[column] = name
            units[column] = unit
    _say_missing_columns(raw, table, columns, stated, problems)
    numeric = [n for c, n in columns.items() if schema.columns[c].metadata["kind"] == "number"]
    decimal = _decimal(raw, numeric, stated, problems)
    frame = pd.DataFrame(index=raw.cells.index)
    bad = {}
    for name in raw.header:
        column = next((c for c, n in columns.items() if n == name), None)
        if column is None:
            if name not in doubled:
                frame[name] = _own_column(raw.cells[name], decimal)
            continue
        kind = schema.columns[column].metadata["kind"]
        if kind in ("text", "word"):
            texts = _worded(raw.cells[name], column, stated).map(cells.tidy)
            frame[column] = texts.mask(texts.map(cells.is_missing)).astype("str")
            if kind == "word":
                frame[column] = frame[column].str.lower()
        elif kind == "flag":
            frame[column], wrong = _flags(_worded(raw.cells[name], column, stated))
            bad[column] = _say(wrong, raw.file, name, problems)
        elif kind == "number":
            values, wrong = cells.numbers(raw.cells[name], decimal=decimal)
            bad[column] = _say(wrong, raw.file, name, problems)
            frame[column] = _to_unit(values, units[column], table, column)
    if table == "loggers" and "logger_id" not in columns and "/" in raw.file:
        frame["logger_id"] = raw.stem
    _read_times(raw, table, columns, frame, stated, problems, bad)
    if table == "loggers" and {"logger_id", "value"} <= set(frame.columns):
        _logger_units(frame, stated)
    where = pd.DataFrame({"file": raw.file, "row": raw.cells.index})
    for column in schema.columns:
        if column in columns:
            where[column] = raw.cells[columns[column]].to_numpy()
            where[f"{column} name"] = columns[column]
        where[f"{column} bad"] = np.isin(raw.cells.index, list(bad.get(column, ())))
    sources.append((raw.file, table, len(frame), raw.separator, decimal if raw.separator else "", raw.encoding))
    return frame.reset_index(drop=True), where


def _say(wrong, file, column, problems):
    for index, value, problem, remedy in wrong:
        remedy = remedy.replace("THIS FILE", file.split(", sheet ")[0])
        problems.add(file, problem, remedy, row=index, column=column, value=value)
    return {w[0] for w in wrong}


def _say_missing_columns(raw, table, columns, stated, problems):
    schema = schemas.ALL_TABLES[table]
    said = headers.renamed(table, stated)
    free = [n for n in raw.header if n not in columns.values() and headers.base(n) not in said]
    needed = [c for c, declared in schema.columns.items() if declared.required and c not in columns]
    if table == "loggers" and "/" in raw.file and "logger_id" in needed:
        needed.remove("logger_id")
    lost = []
    for column in needed:
        near = headers.suggestion(column, free, table) or _nearest(column, free)
        if not near and schema.columns[column].metadata["kind"] == "flag":
            near = next((n for n in free if _any_written(raw.cells[n]) and not _flags(raw.cells[n])[1]), None)
        if near:
            free.remove(near)
            limits = schemas.column_range(table, column)
            new, here = column, column
            if limits and limits.dimension != "none" and not near.endswith(column.removeprefix(headers.stem(column))):
                # The unit that the sheet states is kept; where it states none it has to be given.
                stem = headers.stem(column)
                unit = headers.split_unit(near)[1]
                new = stem if unit else f"{stem} [UNIT]"
                here = f"{stem} ({unit})" if unit else new
            problems.add(
                raw.file,
                "This column is missing.",
                f"If the column '{near}' is meant, rename it to '{here}', or add \"{near}\" = \"{new}\" under "
                f"[columns.{table}] in season.toml."
                + (f" For UNIT write the unit it was read in, such as {limits.unit}." if "UNIT" in new else ""),
                row=raw.header_row,
                column=column,
            )
        else:
            lost.append(column)
    if lost:
        meanings = "; ".join(f"{c}: {schema.columns[c].description}" for c in lost)
        remedy = f"Add the column{'s' if len(lost) > 1 else ''} {meanings}."
        if len(raw.header) == 1 and raw.separator:
            remedy = "The whole header was read as one cell: save the sheet as CSV with commas, semicolons or tabs."
        elif free:
            number = next((c for c in lost if schemas.column_range(table, c)), None)
            new = f"{headers.stem(number)} [UNIT]" if number else lost[0]
            yours = ", ".join(repr(n) for n in free[:12])
            remedy += (
                f" If a column of yours holds it ({yours}), rename it, or say so in season.toml under "
                f'[columns.{table}], a line each, such as "YOUR HEADER" = "{new}".'
            )
        problems.add(
            raw.file,
            "This column is missing." if len(lost) == 1 else "These columns are missing.",
            remedy,
            row=raw.header_row,
            column=", ".join(lost),
        )
    for group in schema.metadata["one_of"]:
        if not any(c in columns for c in group):
            problems.add(
                raw.file,
                "None of these columns is there.",
                f"Add at least one of {', '.join(group)}.",
                row=raw.header_row,
                column=" or ".join(group),
            )
    for column in schema.columns:
        if column not in columns and column not in needed:
            near = _nearest(column, free, 0.8)
            if near and headers.base(near) != "date":
                problems.warn(
                    raw.file,
                    "This column is kept but not used.",
                    f"If it is {column}, rename it.",
                    row=raw.header_row,
                    column=near,
                )


def _parted(raw, stated, problems, files):
    """An export as one table a logger: a column for each, or a file of one logger; any other table as it is.

    `files` are the names, without ending, of all files of the folder: a logger with such a name has a file of its own.
    """
    if raw.ready is not None:
        return [raw]
    said = headers.renamed("loggers", stated)
    bases = {said.get(headers.base(h), headers.base(headers.split_unit(h)[0])): h for h in raw.header}
    moment = next((bases[name] for name in headers.TIMES if name in bases), None)
    if moment is None or "value" in bases or "logger_id" in bases:
        return [raw]
    day = [bases["date"]] if "date" in bases and bases["date"] != moment else []
    loggers = {k: v for k, v in settings.section(stated, "loggers").items() if isinstance(v, dict)}
    others = {k: str(v.get("column", k)) for k, v in loggers.items() if k not in files}
    owned, strange = {}, []
    for plain, header in bases.items():
        here = (plain, headers.base(header))
        name = next((n for n, c in others.items() if headers.base(c) in here), None)
        if name is not None:
            owned[name] = header
        elif header not in (moment, *day) and plain not in ("no", "") and _has_numbers(raw.cells[header]):
            strange.append(header)
    alone = raw.stem if "/" in raw.file and raw.stem in loggers else None
    if alone is not None:
        wanted = headers.base(str(loggers[alone].get("column", "")))
        meant = [h for h in strange if wanted in (headers.base(h), headers.base(headers.split_unit(h)[0]))]
        meant = meant or (strange if len(strange) == 1 and not wanted else [])
        if not meant and strange:
            problems.add(
                raw.file,
                f"Nothing says which of these columns holds the readings of {alone}.",
                f'Write column = "{strange[0]}", or another of them, below [loggers.{_quoted(alone)}] in season.toml.',
                row=raw.header_row,
                column=", ".join(strange),
            )
            return []
        # What a box notes beside its readings, such as the state of its battery, needs no word.
        owned, strange = owned | dict.fromkeys([alone], *meant), []
    in_folder = "/" in raw.file
    if not owned and len(strange) < (1 if in_folder else 2):
        return [raw]
    if strange:
        one = strange[0]
        unit = headers.split_unit(one)[1] or "degC"
        mine = f'[loggers.{_quoted(raw.stem)}] with its role, unit = "{unit}"'
        each = (
            f"add a section for each, such as [loggers.{_quoted(headers.split_unit(one)[0])}], with its role and unit"
        )
        if owned:
            remedy = f"Nothing, if that is not wanted; else {each}."
        elif not in_folder:
            remedy = f'{each[0].upper()}{each[1:]} = "{unit}". Columns without a section are not read.'
        elif len(strange) == 1:
            remedy = f"Add {mine}."
        else:
            remedy = (
                f'If this file is of one logger, add {mine} and column = "{one}", or another of these columns. If each '
                f"column is a logger, {each}."
            )
        say = problems.warn if owned else problems.add
        say(
            raw.file,
            f"No logger in season.toml has the name of {'this column' if len(strange) == 1 else 'these columns'}"
            + (" or of this file." if in_folder and not owned else "."),
            remedy,
            row=raw.header_row,
            column=", ".join(strange),
        )
    parts = []
    for name, header in owned.items():
        unit, stated_unit = headers.split_unit(header)[1], loggers[name].get("unit")
        if unit is not None and stated_unit is not None and not _same_unit(unit, stated_unit):
            problems.add(
                raw.file,
                f"The header says {unit}, [loggers.{_quoted(name)}] says {stated_unit}.",
                "Correct one of them.",
                row=raw.header_row,
                column=header,
            )
        written = raw.cells[header].map(lambda c: not cells.is_missing(cells.tidy(c)))
        part = raw.cells.loc[written, [*day, moment, header]]
        part = part.set_axis([*["date"] * len(day), "time", "value"], axis=1).assign(logger_id=name)
        parts.append(dataclasses.replace(raw, header=list(part.columns), cells=part))
    return parts


def _has_numbers(column):
    return any(re.fullmatch(r"[-+−]?\d+([.,]\d+)?", cells.tidy(cell)) for cell in column.head(20))


def _quoted(name):
    """Name of a section as TOML wants it."""
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else f"'{name}'"


def _same_unit(one, other):
    return any((a := schemas.find_unit(one, d)) is not None and a == schemas.find_unit(other, d) for d in schemas.UNITS)


def _nearest(column, names, cutoff=0.6):
    bases = {headers.base(headers.split_unit(n)[0]): n for n in names}
    near = difflib.get_close_matches(headers.stem(column), list(bases), 1, cutoff) or difflib.get_close_matches(
        column, list(bases), 1, cutoff
    )
    return bases[near[0]] if near else None


def _decimal(raw, numeric, stated, problems):
    given = settings.section(stated, "numbers").get("decimal")
    if given in (",", "."):
        return given
    texts = [c.strip() for n in numeric for c in raw.cells[n] if isinstance(c, str)]
    mark = cells.decimal_mark(texts)
    if mark in (",", "."):
        return mark
    for name in numeric:
        for index, cell in raw.cells[name].items():
            text = cell.strip() if isinstance(cell, str) else ""
            if "," in text and (mark == "mixed" or cells.decimal_mark([text]) == "unclear"):
                problem = (
                    "This file has both decimal commas and decimal points."
                    if mark == "mixed"
                    else "This comma can be a decimal comma or part thousands."
                )
                problems.add(
                    raw.file,
                    problem,
                    'Use one decimal mark in the file, or write decimal = "," (or ".") under [numbers] in season.toml.',
                    row=index,
                    column=name,
                    value=text,
                )
    return ","


def _worded(column, name, stated):
    """A column whose words stand for others, as [words] in season.toml says."""
    said = settings.section(settings.section(stated, "words"), name)
    said = {cells.tidy(k).lower(): v for k, v in said.items() if isinstance(v, str)}
    return column.map(lambda cell: said.get(cells.tidy(cell).lower(), cell)) if said else column


def _flags(column):
    yes, no = {"1", "true", "yes"}, {"0", "false", "no"}
    texts = column.map(cells.tidy)
    lower = texts.str.lower()
    values = pd.Series(np.nan, index=column.index)
    values[lower.isin(yes)] = 1
    values[lower.isin(no)] = 0
    wrong = [
        (
            i,
            texts[i],
            "This is neither 1 nor 0.",
            "Write 1 for the place where the animal was and 0 for a place it could have taken.",
        )
        for i in column.index[values.isna() & ~texts.map(cells.is_missing)]
    ]
    return values, wrong


def _to_unit(values, unit, table, column):
    limits = schemas.column_range(table, column)
    if unit is None or limits is None or limits.dimension == "none":
        return values
    factor, offset = schemas.find_unit(unit, limits.dimension)
    # Round off what the factor leaves behind the last digit; absurd numbers overflow and meet the limits later.
    with np.errstate(over="ignore"):
        return values if (factor, offset) == (1.0, 0.0) else (values * factor + offset).round(9)


def _own_column(column, decimal):
    """A column of the user's own: numbers if all of it is, else as it stands."""
    values, wrong = cells.numbers(column, decimal=decimal)
    if values.notna().any() and not wrong:
        return values
    texts = column.map(cells.tidy)
    return texts.mask(texts == "").astype("str")


def _logger_units(frame, stated):
    loggers = settings.section(stated, "loggers")
    for name in loggers:
        logger = settings.section(loggers, name)
        role = logger.get("role")
        if role in schemas.ALL_ROLES:
            dimension = schemas.RANGES[schemas.ALL_ROLES[role][0]].dimension
            unit = schemas.find_unit(logger.get("unit", ""), dimension)
            rows = frame["logger_id"] == name
            if unit is not None and unit != (1.0, 0.0):
                with np.errstate(over="ignore"):
                    frame.loc[rows, "value"] = (frame.loc[rows, "value"] * unit[0] + unit[1]).round(9)


def _any_written(column):
    return any(not cells.is_missing(cells.tidy(cell)) for cell in column)


def _read_times(raw, table, columns, frame, stated, problems, bad):
    schema = schemas.ALL_TABLES[table]
    season = settings.section(stated, "season")
    days_of_season = [season.get(k) if isinstance(season.get(k), dt.date) else None for k in ("first_day", "last_day")]
    dates = settings.section(stated, "dates")
    asked = {
        "order": settings.section(dates, "files").get(raw.file.split(", sheet ")[0], dates.get("order")),
        "epoch": raw.epoch or (dates.get("epoch") if dates.get("epoch") in (1900, 1904) else 1900),
        "first_day": days_of_season[0],
        "last_day": days_of_season[1],
    }
    if table == "weather":
        # Station records reach beyond the season, so it cannot settle which day number is meant.
        asked["first_day"] = asked["last_day"] = None
    day_name = columns.get("date") or next((n for n in raw.header if headers.base(n) == "date"), None)
    days = None
    # The weather template has both columns: the one that is left empty does not count.
    if day_name is not None and _any_written(raw.cells[day_name]):
        days, _, wrong, notes = cells.moments(raw.cells[day_name], need_clock=False, **asked)
        bad["date"] = _say(wrong, raw.file, day_name, problems)
        for index, value, problem, remedy in notes:
            problems.warn(raw.file, problem, remedy, row=index, column=day_name, value=value)
        days = days.dt.normalize()
    daily = "date" in schema.columns and days is not None
    if day_name in frame and "date" not in schema.columns:
        # The day is in the time from here on.
        del frame[day_name]
    if "time" not in columns or (daily and not _any_written(raw.cells[columns["time"]])):
        if daily:
            frame["date"] = days
        return
    name = columns["time"]
    local, offset, wrong, notes = cells.moments(raw.cells[name], days=days, **asked)
    bad["time"] = _say(wrong, raw.file, name, problems) | bad.get("date", set())
    if days is not None:
        for index in days.index[days.isna() & local.isna()].difference(list(bad["time"])):
            if not cells.is_missing(cells.tidy(raw.cells.loc[index, name])):
                bad["time"].add(index)
                problem, remedy = _why_empty("the day of this row")
                problems.add(raw.file, problem, remedy, row=index, column=day_name)
    for index, value, problem, remedy in notes:
        problems.warn(raw.file, problem, remedy, row=index, column=name, value=value)
    target = cells.clock_zone(settings.section(stated, "site").get("timezone", "UTC")) or dt.UTC
    base = cells.clock_zone(settings.section(stated, "clocks").get(table, "")) or target
    series = {"loggers": "logger_id", "weather": "station_id"}.get(table)
    ids = frame[series] if series in frame else pd.Series(raw.cells.index, index=raw.cells.index)
    section = settings.section(stated, {"loggers": "loggers", "weather": "stations"}.get(table, ""))
    own = {k: cells.clock_zone(v["timezone"]) for k, v in section.items() if isinstance(v, dict) and "timezone" in v}
    zones = ids.map(lambda i: own.get(i) or base)
    aware = pd.Series(pd.NaT, index=frame.index, dtype="datetime64[ns, UTC]").dt.tz_convert(target)
    for zone in dict.fromkeys(zones):
        rows = zones.index[zones.map(lambda z, zone=zone: z is zone)]
        got, wrong, notes = cells.place_in_zone(local[rows], offset[rows], zone, target, ids[rows].astype("str"))
        aware[rows] = got
        for index, problem, remedy in wrong:
            bad["time"].add(index)
            problems.add(
                raw.file, problem, remedy, row=index, column=name, value=cells.tidy(raw.cells.loc[index, name])
            )
        for index, problem, remedy in notes:
            problems.warn(
                raw.file, problem, remedy, row=index, column=name, value=cells.tidy(raw.cells.loc[index, name])
            )
    frame["time"] = aware


# --- limits ---------------------------------------------------------------------------------------------------------


def _validate(frame, where, table, problems):
    """Hold a table against its declaration; what could not be read was said already."""
    declared = schemas.ALL_TABLES[table]
    present = declared.remove_columns([c for c in declared.columns if c not in frame.columns])
    try:
        present.validate(frame, lazy=True)
    except pandera.errors.SchemaErrors as error:
        for case in error.failure_cases.itertuples(index=False):
            column, index = case.column, int(case.index)
            if where.loc[index, f"{column} bad"]:
                continue
            name = where.loc[index, f"{column} name"] if f"{column} name" in where else column
            if case.check == "not_nullable" and pd.isna(name):
                continue  # the file has no such column, which was said once
            value = cells.tidy(where.loc[index, column]) if column in where else None
            problem, remedy = _why_outside(case.check, table, column, value)
            problems.add(
                where.loc[index, "file"], problem, remedy, row=int(where.loc[index, "row"]), column=name, value=value
            )


def _why_outside(check, table, column, value):
    if check == "not_nullable":
        return _why_empty(schemas.ALL_TABLES[table].columns[column].description)
    if check == "allowed":
        return "This is neither 1 nor 0.", "Write 1 or 0."
    if check == "whole":
        return "This is not a whole number.", "Write how many animals the row stands for."
    limits = schemas.column_range(table, column)
    low, high = limits.limits
    unit = f" {limits.unit}" if limits.unit else ""
    remedy = "Correct the reading, or leave the cell empty if it was never taken."
    if limits.dimension == "temperature" and _could_be_fahrenheit(value):
        remedy = f"If this is in °F, write the header as '{headers.stem(column)} [degF]'; else correct the reading."
    return f"This lies outside {low:g} to {high:g}{unit}, the limits for {headers.stem(column)}.", remedy


def _why_empty(wanted):
    return (
        "This cell is empty.",
        f"Write {wanted}. If one cell was meant for several rows, fill each of them; if the row is a total or a "
        "remark, delete it.",
    )


def _could_be_fahrenheit(value):
    try:
        return 50 < float(str(value).replace(",", ".")) < 170
    except ValueError:
        return False


# --- the season -----------------------------------------------------------------------------------------------------


def _season(path, stated, tables, sources, rows, problems, digest):
    season, site, animal = (settings.section(stated, s) for s in ("season", "site", "animal"))
    loggers, stations = [], []
    for name, logger in settings.section(stated, "loggers").items():
        limits = schemas.RANGES[schemas.ROLES[logger["role"]][0]]
        factor = schemas.find_unit(logger["unit"], limits.dimension)[0]
        error = logger.get("error")
        loggers.append(
            {
                "logger_id": name,
                "role": logger["role"],
                "unit": limits.unit,
                "place": logger.get("place"),
                "error": np.nan if error is None else factor * error,
                "size_m": logger.get("size_m", np.nan),
                "shortwave_absorptivity": logger.get("shortwave_absorptivity", np.nan),
            }
        )
    for name, station in settings.section(stated, "stations").items():
        stations.append(
            {"station_id": name, "name": station.get("name", name)}
            | {k: station.get(k, np.nan) for k in ("latitude_deg", "longitude_deg", "elevation_m")}
        )
    return Season(
        path=path,
        name=season["name"],
        invented=season.get("invented", False),
        first_day=season["first_day"],
        last_day=season["last_day"],
        site=Site(**{k: site[k] for k in Site.__dataclass_fields__}),
        animal=Animal(**{k: animal.get(k) for k in Animal.__dataclass_fields__}),
        **{name: tables.get(name) for name in schemas.TABLES},
        logger_info=pd.DataFrame(
            loggers,
            columns=["logger_id", "role", "unit", "place", "error", "size_m", "shortwave_absorptivity"],
        ),
        stations=pd.DataFrame(stations, columns=["station_id", "name", "latitude_deg", "longitude_deg", "elevation_m"]),
        instrument_errors={c: float(i["error"]) for c, i in settings.section(stated, "instruments").items()},
        warnings=problems.table(),
        sources=pd.DataFrame(sources, columns=["file", "table", "rows", "separator", "decimal_mark", "encoding"]),
        rows=rows,
        input_hash=digest.hexdigest(),
        settings=stated,
    )
