"""The only reader of an enclosure folder: enclosure.toml and its tables, or every mistake said at once."""

import hashlib
import os
import re
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from fieldkit import core
from fieldkit.records import schema as schemas
from fieldkit.records import zones
from fieldkit.records.enclosure import tables as enclosure_tables
from fieldkit.records.enclosure.checks import check
from fieldkit.records.enclosure.settings import NAME, SETTINGS, parse
from fieldkit.records.enclosure.spectra import read_spectrum
from fieldkit.records.problems import Problems, SeasonError
from fieldkit.records.reading import opening, sheets
from fieldkit.records.season import settings
from fieldkit.records.season.reader import Animal

_LAMP = [s.key for s in SETTINGS if s.section == "lamps"]
_METER = ["lamp_id", "distance_m", "angle_deg", "irradiance_w_m2", "uv_index"]
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
    room_day_c: float
    room_night_c: float
    vent_area_m2: float | None = None
    top: str | None = None
    wall_thickness_m: float | None = None
    vent_height_m: float | None = None
    # Of the room above the sea, for the air pressure; None: at the sea.
    elevation_m: float | None = None


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
    scans : pandas.DataFrame or None
        One row a scan of an animal: time, animal_id, point (or "out of sight"), behaviour, observer,
        body_temperature_c, file, notes; None without any.
    care : pandas.DataFrame or None
        One row an animal and day: date, animal_id, mass_g, ate, ill.
    choices : pandas.DataFrame or None
        Choice sets that were read as in the field.
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
    scans: pd.DataFrame | None = None
    care: pd.DataFrame | None = None
    choices: pd.DataFrame | None = None

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
        if self.scans is not None:
            animals = self.scans["animal_id"].nunique()
            words += f", {len(self.scans):,} scans of {animals} animal{'' if animals == 1 else 's'}"
        return f"{words}; {len(self.warnings)} warnings."

    def __repr__(self):
        return f"EnclosureRecord: {self.sentence}"


def read_enclosure(path):
    """Read an enclosure folder.

    Parameters
    ----------
    path : str or pathlib.Path
        Folder with enclosure.toml and, as CSV files or as sheets of enclosure.xlsx: readings (of loggers: time,
        logger_id, value, or a column for each logger), hand_readings and lamp_readings.

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
    >>> from fieldkit.records.enclosure.settings import EXAMPLE
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
    # Without settings no reading can be placed, and everything would be wrong with them.
    tables = enclosure_tables.read(path, stated, problems, digest) if stated is not None else {}
    if problems.any_errors:
        raise EnclosureError(problems.table(), path)
    return assemble(
        stated,
        tables["readings"],
        hand_readings=tables["hand_readings"],
        lamp_readings=tables["lamp_readings"],
        scans=tables["scans"],
        care=tables["care"],
        choices=tables["choices"],
        path=path,
        spectra=spectra,
        warnings=problems.table(),
        input_hash=digest.hexdigest(),
    )


def demo_enclosure(which="faults"):
    """Read the demo enclosure: invented, like its animals.

    Parameters
    ----------
    which : {"faults", "watched", "trial"}
        As an audit found it, with faults; after its first changes, six weeks watched; or through a trial of one change.

    Returns
    -------
    EnclosureRecord

    Raises
    ------
    FieldkitError
        For any other name.

    Examples
    --------
    >>> demo_enclosure("watched").scans["animal_id"].nunique()
    2
    """
    folders = {"faults": "demo_enclosure", "watched": "demo_watched", "trial": "demo_trial"}
    if which not in folders:
        raise core.FieldkitError(f"There is no demo enclosure '{which}': choose from {', '.join(folders)}.")
    return read_enclosure(core.resource_dir("data") / folders[which])


# --- enclosure.toml -------------------------------------------------------------------------------------------------


def _read_settings(path, problems, digest):
    if not path.is_dir():
        problems.add(path.name or str(path), "There is no such folder.", "Check the spelling of the path.")
        return None
    file = path / NAME
    if not os.path.lexists(file):
        near = [p.name for p in opening.listed(path) if p.name.lower().startswith(("enclosure.", "season."))]
        near = [name for name in near if ".toml" in name.lower()]
        remedy = "Make a folder with it: fieldkit new FOLDER --enclosure."
        if near and near[0].lower().startswith("enclosure."):
            remedy = f"Rename {near[0]} to {NAME} (your editor may have added an ending that your computer hides)."
        elif near:
            remedy = f"This folder has {near[0]}: is it the folder you mean? An enclosure is described in {NAME}."
        problems.add(NAME, "The folder has no enclosure.toml, which describes the enclosure.", remedy)
        return None
    try:
        data = opening.read(file, inside=path, limit=opening.SETTINGS_BYTES)
    except opening.NotOpened as error:
        problems.add(NAME, error.problem, error.remedy)
        return None
    digest.update(NAME.encode() + b"\0" + data)
    text, _, _ = sheets.decode(data)
    if text is None:
        problems.add(NAME, "This is not a text file.", "Save it as plain text (UTF-8).")
        return None
    stated = parse(text, problems)
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
            data = opening.read(path / name, inside=path, limit=opening.SPECTRUM_BYTES)
            found[name] = read_spectrum(path / name)
            digest.update(name.encode() + b"\0" + data)
        except opening.NotOpened as error:
            problems.add(name, error.problem, error.remedy)
        except SeasonError as error:
            for p in error.problems.itertuples(index=False):
                row = None if pd.isna(p.row) else int(p.row)
                problems.add(name, p.problem, p.remedy, row=row, column=p.column, value=p.value or None)
    return found


# --- the record -----------------------------------------------------------------------------------------------------


def assemble(
    stated,
    readings,
    *,
    hand_readings=None,
    lamp_readings=None,
    scans=None,
    care=None,
    choices=None,
    path=None,
    spectra=None,
    warnings=None,
    input_hash="",
):
    """Make the record from settings that were checked and tables in standard units.

    Parameters
    ----------
    stated : dict
        enclosure.toml as parsed.
    readings : pandas.DataFrame or None
        Columns time, logger_id, value.
    hand_readings : pandas.DataFrame, optional
        Columns time, point and those of `enclosure_tables.HAND_ROLES`; each quantity at each point becomes a logger.
    lamp_readings : pandas.DataFrame, optional
        Columns lamp, distance_m, angle_deg, irradiance_w_m2, uv_index.
    scans, care, choices : pandas.DataFrame, optional
        As in `EnclosureRecord`.
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
    lamps = []
    for lamp in stated.get("lamps", []):
        row = {k: lamp.get(k) for k in _LAMP}
        row["aim"] = None if row["aim"] == "down" else row["aim"]
        lamps.append(row)
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
    by_hand, hand = _by_hand(hand_readings, stated, zone_of)
    info = pd.DataFrame(loggers + by_hand, columns=columns)
    parts = [part for part in (readings, hand) if part is not None]
    return EnclosureRecord(
        path=path,
        name=box["name"],
        invented=box.get("invented", False),
        timezone=box["timezone"],
        geometry=geometry,
        animal=Animal(**{k: animal.get(k) for k in Animal.__dataclass_fields__}),
        lamps=lamps,
        lamp_readings=_meter(lamp_readings),
        spectra=spectra or {},
        points=points,
        logger_info=info,
        readings=_dress(pd.concat(parts, ignore_index=True) if parts else None, info, box["timezone"]),
        warnings=Problems().table() if warnings is None else warnings,
        input_hash=input_hash,
        settings=stated,
        scans=scans,
        care=care,
        choices=choices,
    )


def _meter(table):
    """Readings of a meter that faces a lamp; straight in front where no angle is said."""
    if table is None:
        return pd.DataFrame(columns=_METER)
    out = table.rename(columns={"lamp": "lamp_id"}).reindex(columns=_METER)
    out["angle_deg"] = out["angle_deg"].astype(float).fillna(0.0)
    return out.reset_index(drop=True)


def _by_hand(table, stated, zone_of):
    """What was read by hand, as loggers (one a quantity and point) and their readings."""
    if table is None:
        return [], None
    instruments, loggers, parts = settings.section(stated, "instruments"), [], []
    for column, role in enclosure_tables.HAND_ROLES.items():
        read = table[table[column].notna()] if column in table else table.iloc[:0]
        for point, rows in read.groupby("point", sort=False):
            name = f"{role.replace('_', ' ')} by hand, {point}"
            loggers.append(
                {
                    "logger_id": name,
                    "point_id": point,
                    "zone": zone_of[point],
                    "role": role,
                    "unit": schemas.RANGES[schemas.ALL_ROLES[role][0]].unit,
                    "error": float(instruments.get(column, {}).get("error", np.nan)),
                    "size_m": np.nan,
                    "shortwave_absorptivity": np.nan,
                }
            )
            parts.append(pd.DataFrame({"time": rows["time"], "logger_id": name, "value": rows[column]}))
    return loggers, pd.concat(parts, ignore_index=True).sort_values(["logger_id", "time"], kind="stable")


def _dress(readings, info, timezone):
    """Readings with what is known of each logger, as categories: five million rows stay small."""
    names = list(info["logger_id"])
    if readings is None:
        zone = zones.clock_zone(timezone)
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
