"""The only reader of a season folder: everything read and checked, or every mistake said at once."""

import datetime as dt
import hashlib
import os
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from fieldkit import core
from fieldkit.records import places
from fieldkit.records import schema as schemas
from fieldkit.records.problems import Problems, SeasonError
from fieldkit.records.reading import opening, repeats, sheets
from fieldkit.records.season import exports, settings, toml
from fieldkit.records.season.table import read_table


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
            raws = [part for raw in raws for part in exports.parted(raw, stated, problems, files)]
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
    stated = toml.parse(text, problems)
    if stated is not None:
        settings.check(stated, text, problems)
    return stated


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
        instrument_errors=_errors(settings.section(stated, "instruments"), tables),
        warnings=problems.table(),
        sources=pd.DataFrame(sources, columns=["file", "table", "rows", "separator", "decimal_mark", "encoding"]),
        rows=rows,
        input_hash=digest.hexdigest(),
        settings=stated,
    )


def _errors(instruments, tables):
    """Standard deviation of one reading by column: constant and growing part together, at the size of the readings.

    The root of the mean square of the readings is that size, so that the variance is right on average.
    """
    out = {}
    for column, said in instruments.items():
        error, share = float(said["error"]), float(said.get("error_percent", 0.0)) / 100
        parts = [t[column] for t in tables.values() if share and t is not None and column in t]
        if parts:
            read = pd.to_numeric(pd.concat(parts), errors="coerce").dropna()
            error = float(np.hypot(error, share * np.sqrt((read**2).mean()))) if len(read) else error
        out[column] = error
    return out
