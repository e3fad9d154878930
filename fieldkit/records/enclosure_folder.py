"""The only reader of an enclosure folder: enclosure.toml and readings.csv, or every mistake said at once."""

import hashlib
import io
import re
import warnings
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from fieldkit import core
from fieldkit.records import cells, folder, schemas, settings, sheets, suspicions
from fieldkit.records.enclosure_settings import NAME, SETTINGS, check
from fieldkit.records.folder import Animal
from fieldkit.records.problems import Problems, SeasonError
from fieldkit.records.spectra import read_spectrum

READINGS = "readings"
_LAMP = [s.key for s in SETTINGS if s.section == "lamps"]
_READING = [s.key for s in SETTINGS if s.section == "lamps.readings"]
_POINT = [s.key for s in SETTINGS if s.section == "points.NAME"]


class EnclosureError(SeasonError):
    """An enclosure folder that cannot be read as it is; `problems` is the table of what to mend."""


class _Problems(Problems):
    """What is shared with season folders speaks of season.toml; here the file has another name."""

    def add(self, file, problem, remedy, *, row=None, column=None, value=None, severity="error"):
        file, problem, remedy = (str(t).replace(settings.NAME, NAME) for t in (file, problem, remedy))
        super().add(file, problem, remedy, row=row, column=column, value=value, severity=severity)


@dataclass(frozen=True, kw_only=True)
class Geometry:
    """Size, walls and surroundings of an enclosure; None where enclosure.toml does not say."""

    length_m: float
    width_m: float
    height_m: float
    walls: str
    vent_area_m2: float
    room_day_c: float
    room_night_c: float
    top: str | None = None
    wall_thickness_m: float | None = None
    vent_height_m: float | None = None


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class EnclosureRecord:
    """An enclosure as described and logged.

    Attributes
    ----------
    geometry : Geometry
    animal : Animal
    lamps : pandas.DataFrame
        One row a lamp: id, kind, power_w, spectrum, x_m, y_m, height_m, aim (None: down), on, off (None: always on),
        guarded, fixed (True, False or None: not stated), distance_to_nearest_reach_m, controlled_by, set_point_c.
    lamp_readings : pandas.DataFrame
        One row a reading of a meter that faces a lamp: lamp_id, distance_m, angle_deg, irradiance_w_m2, uv_index.
    spectra : dict of str to Series
        Measured spectra, by the file name that `lamps.spectrum` gives.
    points : pandas.DataFrame
        One row a measuring point: point_id, x_m, y_m, z_m, zone, substrate, shade (True, False or None).
    logger_info : pandas.DataFrame
        One row a logger: logger_id, point_id, zone, role, unit (of the values as they are now), error, size_m,
        shortwave_absorptivity.
    readings : pandas.DataFrame
        time (in the zone of the place), logger_id, role, point_id, zone (categories), value (°C, W/m² …), error
        (standard deviation, NaN where not stated).
    warnings : pandas.DataFrame
        What is suspicious and may be true all the same: file, row, column, value, problem, remedy, severity.
    input_hash : str
        sha256 of all that was read.
    """

    path: Path | None
    name: str
    invented: bool
    timezone: str
    geometry: Geometry
    animal: Animal
    lamps: pd.DataFrame
    lamp_readings: pd.DataFrame
    spectra: dict
    points: pd.DataFrame
    logger_info: pd.DataFrame
    readings: pd.DataFrame
    warnings: pd.DataFrame
    input_hash: str
    settings: dict = field(default_factory=dict)

    @property
    def sentence(self):
        """What there is, in words."""
        made = " (invented)" if self.invented else ""
        words = (
            f"{self.name}{made}, {self.animal.species}: {len(self.lamps)} lamps, {len(self.points)} points, "
            f"{len(self.logger_info)} loggers with {len(self.readings):,} readings"
        )
        if len(self.readings):
            first, last = self.readings["time"].min(), self.readings["time"].max()
            words += f" from {first:%Y-%m-%d} to {last:%Y-%m-%d}"
        return f"{words}; {len(self.warnings)} warnings."

    def __repr__(self):
        return f"EnclosureRecord: {self.sentence}"


def read_enclosure(path):
    """Read an enclosure folder.

    Parameters
    ----------
    path : str or pathlib.Path
        Folder with enclosure.toml and readings.csv (time, logger_id, value; also .xlsx).

    Returns
    -------
    EnclosureRecord

    Raises
    ------
    EnclosureError
        With every mistake of the folder; nothing is half read.

    Examples
    --------
    >>> import tempfile
    >>> from fieldkit.records.enclosure_settings import EXAMPLE
    >>> place = Path(tempfile.mkdtemp())
    >>> _ = (place / "enclosure.toml").write_text(EXAMPLE)
    >>> _ = (place / "readings.csv").write_text("time,logger_id,value\\n2024-01-14 10:20,air-1,23.5\\n")
    >>> read_enclosure(place).readings[["zone", "value"]].values.tolist()
    [['cool end', 23.5]]
    """
    path = Path(path).expanduser()
    problems, digest = _Problems(), hashlib.sha256()
    stated = _read_settings(path, problems, digest)
    spectra = _read_spectra(path, stated, problems, digest) if stated else {}
    readings = None
    if path.is_dir():
        readings = _read_readings(path, stated or {}, problems, digest)
    if problems.any_errors:
        raise EnclosureError(problems.table(), path)
    return assemble(
        stated, readings, path=path, spectra=spectra, warnings=problems.table(), input_hash=digest.hexdigest()
    )


def demo_enclosure():
    """Read the demo enclosure: invented, with faults an audit should find.

    Returns
    -------
    EnclosureRecord
    """
    return read_enclosure(core.resource_dir("data") / "demo_enclosure")


# --- enclosure.toml -------------------------------------------------------------------------------------------------


def _read_settings(path, problems, digest):
    if not path.is_dir():
        problems.add(path.name or str(path), "There is no such folder.", "Check the spelling of the path.")
        return None
    file = path / NAME
    if not file.is_file():
        near = [p.name for p in path.iterdir() if p.name.lower().startswith(("enclosure.", "season."))]
        problems.add(
            NAME,
            "The folder has no enclosure.toml, which describes the enclosure.",
            f"This folder has {near[0]}: is it the folder you mean? An enclosure is described in {NAME}."
            if near
            else "Copy the one of the demo enclosure and change its numbers.",
        )
        return None
    data = file.read_bytes()
    digest.update(NAME.encode() + b"\0" + data)
    text, _, _ = sheets.decode(data)
    if text is None:
        problems.add(NAME, "This is not a text file.", "Save it as plain text (UTF-8).")
        return None
    stated = settings.parse(text, problems)
    if stated is not None:
        check(stated, text.splitlines(), problems)
    return stated


def _read_spectra(path, stated, problems, digest):
    found = {}
    for lamp in stated.get("lamps", []):
        name = lamp.get("spectrum")
        if not isinstance(name, str) or not re.search(r"\.(csv|tsv|txt)$", name, re.IGNORECASE) or name in found:
            continue
        try:
            found[name] = read_spectrum(path / name)
            digest.update(name.encode() + b"\0" + (path / name).read_bytes())
        except SeasonError as error:
            for p in error.problems.itertuples(index=False):
                row = None if pd.isna(p.row) else int(p.row)
                problems.add(name, p.problem, p.remedy, row=row, column=p.column, value=p.value or None)
    return found


# --- readings.csv ---------------------------------------------------------------------------------------------------


def _read_readings(path, stated, problems, digest):
    files = [p for p in sorted(path.iterdir()) if p.stem.lower() == READINGS and p.suffix.lower() in _SUFFIXES]
    if len(files) > 1:
        problems.add(files[1].name, f"Readings stand in {files[0].name} too.", "Keep one of them here.")
        return None
    if not files:
        logged = stated.get("loggers")
        (problems.add if logged else problems.warn)(
            "readings.csv",
            "The folder has no readings.csv.",
            "Add it, with the columns time, logger_id, value." if logged else "Add loggers and their readings.",
        )
        return None
    file = files[0]
    like_season = {k: v for k, v in stated.items() if k not in ("enclosure", "lamps", "points", "season")}
    like_season["site"] = {"timezone": settings.section(stated, "enclosure").get("timezone", "UTC")}
    if cells.clock_zone(like_season["site"]["timezone"]) is None:
        like_season["site"]["timezone"] = "UTC"
    tidy = (
        _read_tidy(file, like_season, problems) if file.suffix.lower() == ".csv" and "columns" not in stated else None
    )
    if tidy is None:
        raws = sheets.open_file(file, file.name, "loggers", file.name, like_season, problems, digest)
        raws = [r for r in raws if len(r.cells)]
        if not raws:
            if not problems.any_errors:
                problems.add(file.name, "This file has no readings yet.", "Add readings below its header.")
            return None
        return folder.read_table(raws, "loggers", like_season, problems, [])
    frame, data_hash = tidy
    digest.update(file.name.encode() + b"\0" + data_hash)
    return _look(frame, file.name, like_season, problems)


def _look(frame, name, stated, problems):
    """Hold readings against each other, as for a season; loggers without anything odd are let through at once."""
    names = list(frame["logger_id"].cat.categories)
    loggers = settings.section(stated, "loggers")
    codes = frame["logger_id"].cat.codes.to_numpy()
    odd = [n for i, n in enumerate(names) if not _plain(frame[codes == i], loggers.get(n))]
    stated = stated | {"loggers": {k: v for k, v in loggers.items() if k in odd or k not in names}}
    chosen = np.flatnonzero(np.isin(codes, [names.index(n) for n in odd]))
    part = frame.iloc[chosen].reset_index(drop=True)
    part["logger_id"] = part["logger_id"].astype("str")
    where = pd.DataFrame({"file": name, "row": chosen + 2})
    kept = suspicions.look(part.assign(place=chosen), where, "loggers", stated, problems)["place"]
    if len(kept) == len(chosen):
        return frame
    return frame.drop(index=np.setdiff1d(chosen, kept)).reset_index(drop=True)


def _plain(rows, logger):
    """Whether nothing in a logger's readings is worth a second look."""
    if not isinstance(logger, dict) or logger.get("role") not in schemas.ALL_ROLES or len(rows) < 5:
        return False
    low, high = schemas.RANGES[schemas.ALL_ROLES[logger["role"]][0]].usual
    values, when = rows["value"].to_numpy(), rows["time"].astype("int64").to_numpy()
    steps, change = np.diff(when), np.diff(values)
    if not (np.all(steps == steps[0]) and steps[0] > 0 and np.all((values >= low) & (values <= high))):
        return False
    if rows["time"].iloc[-1] > pd.Timestamp.now(tz="UTC"):
        return False
    if np.any(np.minimum(np.abs(change[1:]), np.abs(change[:-1])) > suspicions.SPIKE_C):
        return False
    moved = np.flatnonzero(np.r_[True, change != 0, True])
    longest = pd.Timedelta(np.diff(moved).max() * (rows["time"].iloc[1] - rows["time"].iloc[0]))
    return longest < pd.Timedelta(hours=suspicions.STUCK_HOURS)


_SUFFIXES = (".csv", ".xlsx", ".xlsm")


def _read_tidy(file, stated, problems):
    """A file in plain form, read at full speed; None when anything in it needs the careful reader.

    A year of minutes from ten loggers has five million rows.
    """
    data = file.read_bytes()
    # Exact form only: whatever else a person may write is the careful reader's.
    head = re.match(rb"time,logger_id,value\r?\n(\d{4}-\d\d-\d\d[ T]\d\d:\d\d(:\d\d)?),", data)
    if head is None:
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            frame = pd.read_csv(
                io.BytesIO(data),
                dtype={"logger_id": "category", "value": "float64"},
                parse_dates=["time"],
                index_col=False,
                keep_default_na=False,
                na_values={"value": sorted(cells.MISSING)},
            )
        except (ValueError, UnicodeError, pd.errors.ParserWarning, UserWarning):
            return None
    moments = frame["time"]
    # Every row has as many colons as the first: a date without a time of day is not midnight.
    if moments.dtype.kind != "M" or moments.isna().any() or data.count(b":") != len(frame) * head[1].count(b":"):
        return None
    names = frame["logger_id"].cat.categories
    plain = [n for n in names if n == cells.tidy(n) and not cells.is_missing(n)]
    if len(plain) != len(names):
        return None
    values = frame["value"]
    if values.isin(cells.CODES).any() or np.isinf(values).any():
        return None
    target = cells.clock_zone(stated["site"]["timezone"])
    loggers = {k: v for k, v in settings.section(stated, "loggers").items() if isinstance(v, dict)}
    base = cells.clock_zone(settings.section(stated, "clocks").get("loggers", "")) or target
    zones = [cells.clock_zone(loggers.get(n, {}).get("timezone", "")) or base for n in names]
    owner = frame["logger_id"].cat.codes.to_numpy()
    utc = np.empty(len(frame), dtype="datetime64[ns]")
    for zone in dict.fromkeys(zones):
        rows = np.isin(owner, [i for i, z in enumerate(zones) if z is zone])
        local = moments[rows]
        try:
            aware = local.dt.tz_localize(zone, ambiguous="raise", nonexistent="raise")
        except ValueError:
            unstated = pd.Series(pd.NaT, index=local.index, dtype="timedelta64[ns]")
            aware, wrong, notes = cells.place_in_zone(local, unstated, zone, target, frame.loc[rows, "logger_id"])
            for say, found in ((problems.add, wrong), (problems.warn, notes)):
                for index, problem, remedy in found:
                    say(file.name, problem, remedy, row=index + 2, column="time", value=local[index])
        utc[rows] = aware.dt.tz_convert("UTC").dt.tz_localize(None).to_numpy()
    frame["time"] = pd.Series(utc, index=frame.index).dt.tz_localize("UTC").dt.tz_convert(target)
    for name, logger in loggers.items():
        if logger.get("role") in schemas.ALL_ROLES and name in names:
            dimension = schemas.RANGES[schemas.ALL_ROLES[logger["role"]][0]].dimension
            unit = schemas.find_unit(logger.get("unit", ""), dimension)
            if unit not in (None, (1.0, 0.0)):
                rows = frame["logger_id"] == name
                frame.loc[rows, "value"] = (frame.loc[rows, "value"] * unit[0] + unit[1]).round(9)
    return frame, hashlib.sha256(data).digest()


# --- the record -----------------------------------------------------------------------------------------------------


def assemble(stated, readings, *, path=None, spectra=None, warnings=None, input_hash=""):
    """Make the record from settings that were checked and readings (time, logger_id, value in standard units).

    Parameters
    ----------
    stated : dict
        enclosure.toml as parsed.
    readings : pandas.DataFrame or None
        Columns time, logger_id, value.
    path, spectra, warnings, input_hash
        As in `EnclosureRecord`.

    Returns
    -------
    EnclosureRecord
    """
    box, animal = stated["enclosure"], stated.get("animal", {})
    room = box["room_temperature_c"]
    room = room if isinstance(room, dict) else {"day": room, "night": room}
    geometry = Geometry(
        **{k: box.get(k) for k in Geometry.__dataclass_fields__ if not k.startswith("room_")},
        room_day_c=float(room["day"]),
        room_night_c=float(room["night"]),
    )
    lamps, meter = [], []
    for lamp in stated.get("lamps", []):
        row = {k: lamp.get(k) for k in _LAMP}
        row["aim"] = None if row["aim"] == "down" else row["aim"]
        lamps.append(row)
        for reading in lamp.get("readings", []):
            meter.append({"lamp_id": lamp["id"], "angle_deg": 0.0} | reading)
    lamps = pd.DataFrame(lamps, columns=_LAMP)
    for column in ("power_w", "x_m", "y_m", "height_m", "distance_to_nearest_reach_m", "set_point_c"):
        lamps[column] = lamps[column].astype(float)
    for column in ("id", "kind", "spectrum", "aim", "on", "off", "guarded", "fixed", "controlled_by"):
        lamps[column] = pd.Series(list(lamps[column]), dtype=object, index=lamps.index)
    points = [{"point_id": name} | {k: part.get(k) for k in _POINT} for name, part in stated.get("points", {}).items()]
    points = pd.DataFrame(points, columns=["point_id", *_POINT])
    zone_of = dict(zip(points["point_id"], points["zone"]))
    loggers = []
    for name, logger in stated.get("loggers", {}).items():
        limits = schemas.RANGES[schemas.ALL_ROLES[logger["role"]][0]]
        factor = schemas.find_unit(logger["unit"], limits.dimension)[0]
        room_air = logger["role"] == "room_air"
        loggers.append(
            {
                "logger_id": name,
                "point_id": None if room_air else logger["point"],
                "zone": "room" if room_air else zone_of[logger["point"]],
                "role": logger["role"],
                "unit": limits.unit,
                "error": factor * logger.get("error", np.nan),
                "size_m": logger.get("size_m", np.nan),
                "shortwave_absorptivity": logger.get("shortwave_absorptivity", np.nan),
            }
        )
    columns = ["logger_id", "point_id", "zone", "role", "unit", "error", "size_m", "shortwave_absorptivity"]
    info = pd.DataFrame(loggers, columns=columns)
    return EnclosureRecord(
        path=path,
        name=box["name"],
        invented=box.get("invented", False),
        timezone=box["timezone"],
        geometry=geometry,
        animal=Animal(**{k: animal.get(k) for k in Animal.__dataclass_fields__}),
        lamps=lamps,
        lamp_readings=pd.DataFrame(meter, columns=["lamp_id", *_READING]),
        spectra=spectra or {},
        points=points,
        logger_info=info,
        readings=_dress(readings, info, box["timezone"]),
        warnings=Problems().table() if warnings is None else warnings,
        input_hash=input_hash,
        settings=stated,
    )


def _dress(readings, info, timezone):
    """Readings with what is known of each logger, as categories: five million rows stay small."""
    names = list(info["logger_id"])
    if readings is None:
        zone = cells.clock_zone(timezone)
        empty = pd.DataFrame({"time": pd.DatetimeIndex([], tz=zone), "logger_id": [], "value": np.empty(0)})
        readings = empty
    codes = pd.Categorical(readings["logger_id"], categories=names).codes
    out = pd.DataFrame({"time": readings["time"].reset_index(drop=True)})
    out["logger_id"] = pd.Categorical.from_codes(codes, categories=names)
    for column in ("role", "point_id", "zone"):
        kinds = list(dict.fromkeys(v for v in info[column] if isinstance(v, str)))
        own = pd.Categorical(info[column], categories=kinds).codes
        out[column] = pd.Categorical.from_codes(own[codes] if len(own) else codes, categories=kinds)
    out["value"] = readings["value"].to_numpy(dtype=float)
    out["error"] = info["error"].to_numpy(dtype=float)[codes] if len(info) else np.empty(0)
    return out
