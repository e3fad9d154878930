"""The tables of an enclosure folder: what loggers wrote, what was read by hand, what a meter read before each lamp."""

import csv
import hashlib
import re
from dataclasses import replace

import numpy as np
import pandas as pd

from fieldkit.records import schema as schemas
from fieldkit.records.enclosure import scans as enclosure_scans
from fieldkit.records.enclosure.settings import NAME
from fieldkit.records.problems import Problems
from fieldkit.records.reading import cells, headers, opening, series, sheets
from fieldkit.records.reading import loggers as tidy_loggers
from fieldkit.records.season import limits, moments, settings
from fieldkit.records.season.table import read_table
from fieldkit.records.zones import clock_zone

WORKBOOK = "enclosure.xlsx"
# Sheets and files by name, and the declared table each is.
TABLES = {
    "readings": schemas.TABLES["loggers"],
    "hand_readings": schemas.ENCLOSURE_TABLES["hand_readings"],
    "lamp_readings": schemas.ENCLOSURE_TABLES["lamp_readings"],
    "scans": schemas.ENCLOSURE_TABLES["enclosure_scans"],
    "care": schemas.ENCLOSURE_TABLES["care"],
}
# What a column read by hand is the same as, had a logger read it.
HAND_ROLES = {
    "shade_air_c": "shade_air",
    "surface_c": "surface",
    "irradiance_w_m2": "irradiance",
    "uv_index": "uv_index",
    "operative_c": "copper_model",
    "humidity_percent": "humidity",
}
_SUFFIXES = (".csv", ".tsv", ".txt", ".xlsx", ".xlsm")
_LONG = ("time", "logger_id", "value")


def read(path, stated, problems, digest):
    """Read every table of an enclosure folder.

    Parameters
    ----------
    path : pathlib.Path
        The folder.
    stated : dict
        enclosure.toml as parsed.
    problems : Problems
        Takes what is found.
    digest : hashlib hash
        Takes what was read.

    Returns
    -------
    dict of str to DataFrame or None
        ``readings`` (time, logger_id, value), ``hand_readings``, ``lamp_readings``, ``scans``, ``care`` and
        ``choices``, in standard units.
    """
    like_season = {k: v for k, v in stated.items() if k not in ("enclosure", "lamps", "points", "season")}
    like_season["site"] = {"timezone": settings.section(stated, "enclosure").get("timezone", "UTC")}
    if clock_zone(like_season["site"]["timezone"]) is None:
        like_season["site"]["timezone"] = "UTC"
    found = {"readings": _readings(path, like_season, problems, digest)}
    for name in ("hand_readings", "lamp_readings", "care", "choices"):
        raws = _raws(path, name, name, like_season, problems, digest)
        found[name] = read_table(raws, name, like_season, problems, [], {}) if raws else None
    found["scans"] = _scans(path, settings.section(stated, "points"), like_season, problems, digest)
    _say_unread(path, stated, problems)
    points = settings.section(stated, "points")
    lamps = {str(lamp.get("id")): None for lamp in stated.get("lamps", []) if isinstance(lamp, dict)}
    _known(found["hand_readings"], "hand_readings", "point", points, "[points.NAME]", problems)
    _known(found["lamp_readings"], "lamp_readings", "lamp", lamps, "[[lamps]] with this id", problems)
    _known(found["scans"], "scans", "point", [*points, enclosure_scans.OUT_OF_SIGHT], "[points.NAME]", problems)
    for name in ("hand_readings", "lamp_readings", "care"):
        _nothing_read(found[name], name, schemas.ENCLOSURE_TABLES[name].metadata["one_of"][0], problems)
    _errors_stated(found["hand_readings"], stated, problems)
    _loggers_read(found["readings"], stated, problems)
    return found


def _say_unread(path, stated, problems):
    """Name the files that look like readings and bear the name of no table."""
    spectra = {str(lamp.get("spectrum")).lower() for lamp in stated.get("lamps", []) if isinstance(lamp, dict)}
    for file in sorted(path.iterdir(), key=lambda p: p.name.lower()):
        name = file.name.lower()
        if name.startswith(("~$", ".", "readme")) or name in spectra or name == WORKBOOK or file.is_dir():
            continue
        known = file.stem.lower() in (*TABLES, "choices") and file.suffix.lower() in _SUFFIXES
        if file.suffix.lower() in (*_SUFFIXES, *sheets.OTHER_SHEETS, *sheets.TEXT_FILES) and not known:
            problems.warn(
                file.name,
                "This file was not read: its name is not that of a table.",
                "Nothing, if it holds no readings; else name it "
                + " or ".join(f"{table}.csv" for table in TABLES)
                + f", or {WORKBOOK} with sheets of these names.",
            )


def _scans(path, points, stated, problems, digest):
    """Scans by the quick road where the file allows it, else by the careful one."""
    others = [p for p in path.iterdir() if p.stem.lower() == "scans" and p.name != "scans.csv"]
    if not others and not (path / WORKBOOK).is_file():
        plain = enclosure_scans.read_plain(path / "scans.csv", points, stated)
        if plain is not None:
            digest.update(b"scans.csv\0" + plain[1])
            return plain[0]
    return enclosure_scans.read(_raws(path, "scans", "enclosure_scans", stated, problems, digest), stated, problems)


def _known(table, name, column, known, section, problems):
    """Whether every name in a column is one that enclosure.toml describes."""
    if table is None or column not in table:
        return
    for value in table[column].dropna().unique():
        if value not in known:
            problems.add(
                name,
                f"{NAME} does not describe this {column} ({(table[column] == value).sum()} rows).",
                f"{settings.closest(value, known) if known else ''} Or add a {section} for it.".strip(),
                column=column,
                value=value,
            )


def _nothing_read(table, name, quantities, problems):
    """Rows in which nobody wrote a reading."""
    if table is None:
        return
    empty = table[[c for c in quantities if c in table]].isna().all(axis=1)
    if empty.any():
        problems.add(
            name,
            f"{empty.sum()} of {len(table)} rows have no reading at all.",
            f"Write what was read ({', '.join(headers.stem(c) for c in quantities)}), or delete these rows.",
        )


def _errors_stated(table, stated, problems):
    instruments = settings.section(stated, "instruments")
    if table is None:
        return
    silent = [c for c in HAND_ROLES if c in table and table[c].notna().any() and c not in instruments]
    if silent:
        names = ", ".join(headers.stem(c).replace("_", " ") for c in silent)
        problems.warn(
            NAME,
            f"No error is stated for what reads {names} by hand, so a wide one is assumed.",
            f"Add [instruments.{silent[0]}] (and so on) and below it error = the standard deviation of its readings: "
            "the ± of the data sheet divided by 1.7, or read one thing ten times.",
            column=", ".join(f"instruments.{c}" for c in silent),
        )


def _loggers_read(readings, stated, problems):
    """Say which loggers have no readings; a thermostat's sensor need not have any."""
    loggers = settings.section(stated, "loggers")
    seen = set() if readings is None else set(readings["logger_id"].unique())
    silent = [
        name
        for name, logger in loggers.items()
        if name not in seen and isinstance(logger, dict) and logger.get("role") != "thermostat"
    ]
    # A file that cannot be read as it is leaves every logger silent.
    if silent and not problems.any_errors:
        problems.warn(
            NAME,
            f"No readings of {', '.join(silent)} were found.",
            "Put the logger's export into the folder as readings.csv, or several into a folder named readings, and "
            'write under [loggers.NAME] column = "the header of its column"; or take its section out.',
            column="loggers",
        )


def _raws(path, name, table, stated, problems, digest):
    """One table as it stands in its file, in a folder of its name, or in the workbook; empty ones do not count."""
    files = []
    for file in opening.listed(path):
        if file.name.startswith(("~$", ".")):
            continue
        if file.is_dir() and file.name.lower() == name == "readings":
            inside = opening.listed(file)
            files.append([(p, f"{file.name}/{p.name}", None) for p in inside if not p.name.startswith(("~$", "."))])
        elif file.stem.lower() == name and file.suffix.lower() in _SUFFIXES:
            files.append([(file, file.name, None)])
        elif file.name.lower() == WORKBOOK:
            files.append([(file, file.name, name)])
    filled = []
    for group in files:
        raws = []
        for file, label, sheet in group:
            raws += sheets.open_file(file, label, table, name, stated, problems, digest, sheet=sheet)
        raws = [raw for raw in raws if len(raw.cells)]
        if raws:
            filled.append(raws)
    if len(filled) > 1:
        places = [raws[0].file for raws in filled]
        problems.add(places[1], f"Rows of {name} stand in {places[0]} too.", "Keep them in one of the two places.")
        return []
    return filled[0] if filled else []


# --- readings of loggers ----------------------------------------------------------------------------------------------


def _readings(path, stated, problems, digest):
    plain = path / "readings.csv"
    others = [p for p in opening.listed(path) if p.stem.lower() == "readings" and p.name != plain.name]
    if plain.is_file() and not others and "columns" not in stated and not _book_has_readings(path, stated):
        try:
            data = opening.read(plain, inside=path)
        except opening.NotOpened as error:
            problems.add(plain.name, error.problem, error.remedy)
            return None
        frame = tidy_loggers.read(data, plain.name, None, stated, problems)
        if frame is not None:
            digest.update(plain.name.encode() + b"\0" + hashlib.sha256(data).digest())
            return _look(frame, plain.name, np.arange(len(frame)) + 2, None, stated, problems)
        fast = _read_plain_wide(plain, stated, problems)
        if fast is not None:
            frame, data_hash = fast
            digest.update(plain.name.encode() + b"\0" + data_hash)
            return frame.assign(logger_id=frame["logger_id"].astype("str"))
    raws = _raws(path, "readings", "loggers", stated, problems, digest)
    long, parts, wide_names = [], [], set()
    for raw in raws:
        moment = _time_header(raw, stated)
        if moment is None or _is_long(raw, stated):
            long.append(raw)
            continue
        part = _read_wide(raw, moment, stated, problems)
        if part is not None:
            parts.append(part)
            wide_names |= set(part["logger_id"].cat.categories)
    if long:
        loggers = settings.section(stated, "loggers")
        mine = {k: v for k, v in loggers.items() if k not in wide_names}
        parts.append(read_table(long, "loggers", stated | {"loggers": mine}, problems, [], {}, whole=False))
    parts = [p.assign(logger_id=p["logger_id"].astype("str")) for p in parts if {*_LONG} <= set(p.columns)]
    return pd.concat(parts, ignore_index=True)[list(_LONG)] if parts else None


def _book_has_readings(path, stated):
    """Whether the workbook holds readings; what is wrong with it is said when it is read in earnest."""
    book = path / WORKBOOK
    if not book.is_file():
        return False
    raws = sheets.open_file(
        book, book.name, "loggers", "readings", stated, Problems(), hashlib.sha256(), sheet="readings"
    )
    return any(len(raw.cells) for raw in raws)


def _is_long(raw, stated):
    renamed = headers.renamed("loggers", stated)
    plain = {renamed.get(headers.base(h), headers.base(h)) for h in raw.header}
    return "value" in plain and ("logger_id" in plain or "/" in raw.file)


def _time_header(raw, stated):
    """The header of the column with the time, or None."""
    renamed = headers.renamed("loggers", stated)
    bases = {h: renamed.get(headers.base(h), headers.base(h)) for h in raw.header}
    for name in headers.TIMES:
        for header, plain in bases.items():
            if plain == name or (name not in ("time", "date") and plain.startswith(f"{name}_")):
                return header
    return None


def _owners(header, loggers):
    """Which logger each column belongs to."""
    owner = {}
    for name, logger in loggers.items():
        wanted = {headers.base(str(logger.get("column", name)))}
        wanted |= {headers.base(headers.split_unit(str(logger.get("column", name)))[0])}
        for column in header:
            if {headers.base(column), headers.base(headers.split_unit(column)[0])} & wanted:
                owner.setdefault(column, name)
    return owner


def _read_plain_wide(file, stated, problems):
    """As `tidy_loggers.read`, for a column a logger: only where every column is known and every cell a number."""
    data = opening.read(file)
    first = data.split(b"\n", 2)
    if len(first) < 3 or not re.match(rb"\d{4}-\d\d-\d\d[ T]\d\d:\d\d(:\d\d)?,", first[1]):
        return None
    try:
        header = next(csv.reader([first[0].decode("utf-8-sig").strip()]))
    except (UnicodeDecodeError, StopIteration, csv.Error):
        return None
    if not header:
        return None
    loggers = {k: v for k, v in settings.section(stated, "loggers").items() if isinstance(v, dict)}
    owner = _owners(header[1:], loggers)
    zones = {str(loggers[name].get("timezone", "")) for name in owner.values()}
    known = headers.base(header[0]) in headers.TIMES and len(owner) == len(header) - 1 == len(set(header)) - 1
    if not known or len(zones) != 1 or len(set(owner.values())) != len(owner):
        return None
    said = Problems()
    raw = sheets.RawTable(file=file.name, table="loggers", rival="", header=header, header_row=1, cells=pd.DataFrame())
    units = [_unit_of(raw, column, name, loggers[name], said) for column, name in owner.items()]
    if said.any_errors:
        return None
    colons = {"colons": first[1].count(b":"), "colons_above": first[0].count(b":")}
    frame = tidy_loggers.exact(data, header[0], dict.fromkeys(owner, "float64"), **colons)
    if frame is None:
        return None
    zone = clock_zone(zones.pop()) or clock_zone(settings.section(stated, "clocks").get("loggers", ""))
    target = clock_zone(stated["site"]["timezone"])
    try:
        # An hour that repeats or is left out in spring and autumn is the careful reader's.
        times = frame[header[0]].dt.tz_localize(zone or target, ambiguous="raise", nonexistent="raise")
    except ValueError:
        return None
    times = times.dt.tz_convert(target)
    values = frame[list(owner)].to_numpy(copy=True)
    if np.isinf(values).any() or np.isin(values, cells.CODES).any():
        return None
    for k, (factor, offset) in enumerate(units):
        if (factor, offset) != (1.0, 0.0):
            values[:, k] = (values[:, k] * factor + offset).round(9)
    frame, where, named = _long_of(times.dt.as_unit("ns"), values, owner)
    return _look(frame, file.name, where + 2, named, stated, problems), hashlib.sha256(data).digest()


def _long_of(times, matrix, owner):
    """Columns under each other; cells without a reading are left out. Also the row and the header of each."""
    read = np.isfinite(matrix)
    count = read.sum(axis=0)
    out = pd.DataFrame(
        {
            "time": pd.concat([times[read[:, k]] for k in range(matrix.shape[1])], ignore_index=True),
            "logger_id": pd.Categorical.from_codes(np.repeat(np.arange(len(owner)), count), list(owner.values())),
            "value": np.concatenate([matrix[read[:, k], k] for k in range(matrix.shape[1])]),
        }
    )
    where = np.concatenate([np.flatnonzero(read[:, k]) for k in range(matrix.shape[1])])
    return out, where, np.repeat(list(owner), count)


def _read_wide(raw, moment, stated, problems):
    """An export with one column a logger, made long; None when no column is a logger's."""
    loggers = {k: v for k, v in settings.section(stated, "loggers").items() if isinstance(v, dict)}
    owner = _owners(raw.header, loggers)
    rest = [h for h in raw.header if h not in owner and h != moment and headers.base(h) not in ("date", "no", "")]
    numeric = [h for h in rest if cells.numbers(raw.cells[h].head(20))[0].notna().any()]
    if not owner or numeric:
        say = problems.warn if owner else problems.add
        one = (numeric or rest or ["Probe 1"])[0]
        unit = headers.split_unit(one)[1] or "degC"
        say(
            raw.file,
            f"No logger in {NAME} has {'this column' if len(numeric) == 1 else 'these columns'}.",
            "Add a section for each that is to be used, such as [loggers.probe-1], and below it "
            f'column = "{one}", point = "a point", role = "shade_air" (or another), unit = "{unit}".',
            row=raw.header_row,
            column=", ".join(numeric or rest),
        )
        if not owner:
            return None
    zones = {str(loggers[name].get("timezone", "")) for name in owner.values()}
    if len(zones) > 1:
        problems.add(
            raw.file,
            "Loggers in this one file are said to have different clocks.",
            "Give all of them the same timezone, or part the file.",
            value=", ".join(z or "none" for z in sorted(zones)),
        )
        return None
    offset = re.search(r"(?:GMT|UTC)\s*([-+−]\s*\d{1,2}(?::?\d{2})?)", moment)
    if offset and zones == {""}:
        stated = stated | {"clocks": settings.section(stated, "clocks") | {"loggers": f"UTC{offset[1]}"}}
    if headers.base(moment) == "date":
        raw = replace(
            raw,
            header=["time" if h == moment else h for h in raw.header],
            cells=raw.cells.rename(columns={moment: "time"}),
        )
        moment = "time"
    decimal = moments.decimal_of(raw, list(owner), stated, problems)
    values = pd.DataFrame(index=raw.cells.index)
    for header, name in owner.items():
        read_as = _unit_of(raw, header, name, loggers[name], problems)
        numbers, wrong = cells.numbers(raw.cells[header], decimal=decimal)
        moments.say(wrong, raw.file, header, problems)
        values[header] = (numbers * read_as[0] + read_as[1]).round(9)
    frame = pd.DataFrame({"logger_id": next(iter(owner.values()))}, index=raw.cells.index)
    bad = {}
    moments.read_times(raw, "loggers", {"time": moment}, frame, stated, problems, bad)
    lost = frame["time"].isna() & values.notna().any(axis=1) & ~frame.index.isin(list(bad.get("time", ())))
    for index in frame.index[lost]:
        problem, remedy = limits.why_empty("the time of this row")
        problems.add(raw.file, problem, remedy, row=index, column=moment)
    known = frame["time"].notna().to_numpy()
    rows = raw.cells.index.to_numpy()[known]
    out, where, named = _long_of(frame["time"][known], values.to_numpy()[known], owner)
    return _look(out, raw.file, rows[where], named, stated, problems)


def _unit_of(raw, header, name, logger, problems):
    """Factor and offset from a column's unit; a header that says another one is a mistake."""
    role = logger.get("role")
    if role not in schemas.ALL_ROLES:
        return 1.0, 0.0
    dimension = schemas.RANGES[schemas.ALL_ROLES[role][0]].dimension
    stated = schemas.find_unit(logger.get("unit", ""), dimension)
    written = headers.split_unit(header)[1] or header.rsplit(",", 1)[-1].strip()
    said = schemas.find_unit(written, dimension)
    if said is not None and stated is not None and written and said != stated:
        problems.add(
            raw.file,
            f"The header says {written}, {NAME} says {logger['unit']}.",
            f"Correct unit under [loggers.{name}], or the header.",
            row=raw.header_row,
            column=header,
            value=logger["unit"],
        )
    return stated or (1.0, 0.0)


def _look(frame, file, rows, named, stated, problems):
    """Hold readings against each other, as for a season."""
    where = pd.DataFrame({"file": pd.Categorical.from_codes(np.zeros(len(frame), "int8"), [file]), "row": rows})
    if named is not None:
        where["value name"] = named
    return series.look(frame, where, stated, problems).reset_index(drop=True)
