"""The season reader with the sun beside it."""

import os
from dataclasses import fields, replace

from fieldkit import core
from fieldkit.field.plausibility import light, loggers, order, place
from fieldkit.field.plausibility.series import of_tables
from fieldkit.records import schema as schemas
from fieldkit.records.season import reader as folder
from fieldkit.records.season import settings


def read_season(path):
    """Read a season folder, and hold its times and places against the sun.

    Parameters
    ----------
    path : str or pathlib.Path
        Folder with season.toml and at least one of the tables, as CSV or XLSX.

    Returns
    -------
    Season
        `Season.warnings` holds what the sun says as well.

    Raises
    ------
    SeasonError
        With every mistake of the folder; nothing is half read.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> place = pathlib.Path(tempfile.mkdtemp())
    >>> _ = (place / "season.toml").write_text(settings.EXAMPLE)
    >>> _ = (place / "sightings.csv").write_text("time,animal_id,behaviour\\n2023-05-14 01:20,R07,basking\\n")
    >>> read_season(place).warnings.loc[0, "problem"]
    'An animal is said to bask with the sun down.'
    """
    kept = _HELD.get(_where(path)) if _HELD else None
    if kept is not None and kept[0] == _stamp(path):
        return _copy(kept[1])
    return folder.read_season(path, further=look)


# Seasons that this process, or the one it was forked from, reads once for all who ask: folder to (files, season).
_HELD = {}


def hold(path):
    """Read a season once for all the notebooks of a write-up; a folder that changes meanwhile is read anew.

    Parameters
    ----------
    path : str or pathlib.Path
        As `read_season` takes it.
    """
    before = _stamp(path)
    _HELD[_where(path)] = before, folder.read_season(path, further=look)


def _where(path):
    return os.path.realpath(os.path.expanduser(path))


def _stamp(path):
    """Name, size and time of change of every file of a folder."""
    files = [os.path.join(place, name) for place, _, names in os.walk(_where(path)) for name in names]
    return sorted((name, found.st_size, found.st_mtime_ns) for name in files for found in [os.stat(name)])


def _copy(season):
    """A season whose tables can be changed without changing those of the next reader."""

    def own(value):
        if isinstance(value, dict):
            return {name: own(item) for name, item in value.items()}
        return value.copy() if hasattr(value, "copy") else value

    return replace(season, **{one.name: own(getattr(season, one.name)) for one in fields(season)})


def demo_season():
    """Read the demo season: an invented club that watches an invented lizard in an invented quarry.

    Returns
    -------
    Season
    """
    return read_season(core.resource_dir("data") / "demo_season")


def look(tables, rows, stated, problems):
    """Hold the tables of a season against the sun.

    Parameters
    ----------
    tables : dict of str to DataFrame or None
        As in a `Season`; those of a folder with mistakes may lack columns.
    rows : dict of str to DataFrame
        By table, file and row of each of its rows.
    stated : dict
        season.toml.
    problems : Problems
        Takes what is found.
    """
    site = place.site_of(stated)
    say = Say(tables, rows, problems, _roles(stated))
    order.look(say)
    if site is None:
        return
    if not place.look(stated, site, problems):
        return  # with a wrong place everything would be at odds with the sun
    pairs = loggers.Pairs(say)
    # One at a time: thirty loggers of a year of minutes fill the memory.
    for one in _series(tables, stated, site):
        light.look_at(say, one)
        pairs.take(one)
    pairs.look()
    light.look(say, site)


def _series(tables, stated, site):
    logged = settings.section(stated, "loggers")
    stations = settings.section(stated, "stations")
    errors = {k: v["error"] for k, v in settings.section(stated, "instruments").items() if _number(v, "error")}
    for name, logger in logged.items():
        if _number(logger, "error"):
            role = schemas.ALL_ROLES.get(str(logger.get("role")))
            unit = schemas.find_unit(logger.get("unit", ""), schemas.RANGES[role[0]].dimension) if role else None
            errors[name] = logger["error"] * (unit or (1.0, 0.0))[0]
    places = {
        k: (float(v["latitude_deg"]), float(v["longitude_deg"]))
        for k, v in stations.items()
        if _number(v, "latitude_deg") and _number(v, "longitude_deg")
    }
    return of_tables(tables, site=site, loggers=_roles(stated), stations=places, errors=errors)


def _roles(stated):
    return {k: v.get("role") for k, v in settings.section(stated, "loggers").items() if isinstance(v, dict)}


def _number(section, key):
    value = section.get(key) if isinstance(section, dict) else None
    return isinstance(value, int | float) and not isinstance(value, bool)


class Say:
    """The tables and the way to say something of their rows."""

    # Of each kind of slip this many rows are listed; the sentence counts all.
    SHOWN = 50

    def __init__(self, tables, rows, problems, roles):
        self.tables, self.rows, self.problems, self.roles = tables, rows, problems, roles

    def warn(self, table, positions, column, problem, remedy, *, severity="warning"):
        """Say one thing of rows of a table, by their position."""
        frame, where = self.tables[table], self.rows[table]
        for position in list(positions)[: self.SHOWN]:
            value = frame[column].iloc[position] if column in frame else None
            value = f"{value:%Y-%m-%d %H:%M}" if hasattr(value, "strftime") else value
            value = f"{value:.6g}" if isinstance(value, float) else value
            self.problems.add(
                where["file"].iloc[position],
                problem,
                remedy,
                row=int(where["row"].iloc[position]),
                column=column,
                value=value,
                severity=severity,
            )
