"""Readings of loggers in plain form, read at full speed: a year of minutes from ten has five million rows."""

import datetime as dt
import io
import re
import warnings

import numpy as np
import pandas as pd

from fieldkit.records import schema as schemas
from fieldkit.records.reading import cells, headers, times
from fieldkit.records.season import settings
from fieldkit.records.zones import clock_zone, place_in_zone

_PIECE = 500_000  # rows read at a time: the texts of all times at once would fill the memory


def read(data, label, own, stated, problems):
    """Read a file in plain form at full speed.

    Parameters
    ----------
    data : bytes
        The file.
    label : str
        Its name, for what is said.
    own : str or None
        The logger that a file without ``logger_id`` is of; None where there is no such file.
    stated : dict
        season.toml.
    problems : Problems
        Takes what is found.

    Returns
    -------
    pandas.DataFrame or None
        time, logger_id (category) and value in standard units, in the order of the file; None when anything in it
        needs the careful reader.

    Examples
    --------
    >>> from fieldkit.records.problems import Problems
    >>> stated = {"site": {"timezone": "UTC"}, "loggers": {"box": {"role": "shade_air", "unit": "degF"}}}
    >>> data = b"time,value\\n2023-05-14 10:20,50.0\\n"
    >>> read(data, "loggers/box.csv", "box", stated, Problems())["value"].tolist()
    [10.0]
    """
    if headers.renamed("loggers", stated) or settings.section(settings.section(stated, "words"), "logger_id"):
        return None
    # Exact form only: whatever else a person may write is the careful reader's.
    header = rb"(?:\xef\xbb\xbf)?time," + (b"logger_id," if own is None else b"") + rb"value\r?\n"
    head = re.match(header + rb"(\d{4}-\d\d-\d\d[ T]\d\d:\d\d(:\d\d)?),", data)
    if head is None or b"\n\n" in data or b"\n\r" in data or b'"' in data:
        return None
    frame = exact(data, "time", {"value": "float64", "logger_id": "category"}, colons=head[1].count(b":"))
    if frame is None:
        return None
    moments = frame["time"]
    if own is not None:
        frame.insert(1, "logger_id", pd.Categorical.from_codes(np.zeros(len(frame), dtype="int8"), [own]))
    names = frame["logger_id"].cat.categories
    plain = [n for n in names if n == cells.tidy(n) and not cells.is_missing(n)]
    if len(plain) != len(names):
        return None
    values = frame["value"]
    if values.isin(cells.CODES).any() or np.isinf(values).any():
        return None
    target = clock_zone(settings.section(stated, "site").get("timezone", "UTC")) or dt.UTC
    loggers = {k: v for k, v in settings.section(stated, "loggers").items() if isinstance(v, dict)}
    base = clock_zone(settings.section(stated, "clocks").get("loggers", "")) or target
    zones = [clock_zone(loggers.get(n, {}).get("timezone", "")) or base for n in names]
    owner = frame["logger_id"].cat.codes.to_numpy()
    utc = np.empty(len(frame), dtype="datetime64[ns]")
    for zone in dict.fromkeys(zones):
        rows = np.isin(owner, [i for i, z in enumerate(zones) if z is zone])
        local = moments[rows]
        try:
            aware = local.dt.tz_localize(zone, ambiguous="raise", nonexistent="raise")
        except ValueError:
            unstated = pd.Series(pd.NaT, index=local.index, dtype="timedelta64[ns]")
            aware, wrong, notes = place_in_zone(local, unstated, zone, target, frame.loc[rows, "logger_id"])
            for say, found in ((problems.add, wrong), (problems.warn, notes)):
                values = written(data, [index + 2 for index, _, _ in found], "time")
                for (index, problem, remedy), value in zip(found, values, strict=True):
                    say(label, problem, remedy, row=index + 2, column="time", value=value)
        utc[rows] = aware.dt.tz_convert("UTC").dt.tz_localize(None).to_numpy()
    frame["time"] = pd.Series(utc, index=frame.index).dt.tz_localize("UTC").dt.tz_convert(target)
    for name, logger in loggers.items():
        if logger.get("role") in schemas.ALL_ROLES and name in names:
            dimension = schemas.RANGES[schemas.ALL_ROLES[logger["role"]][0]].dimension
            unit = schemas.find_unit(logger.get("unit", ""), dimension)
            if unit not in (None, (1.0, 0.0)):
                rows = frame["logger_id"] == name
                frame.loc[rows, "value"] = (frame.loc[rows, "value"] * unit[0] + unit[1]).round(9)
    return frame


def read_days(data, stated):
    """Read a file of station days in plain form: station_id, date and declared columns, nothing else.

    Parameters
    ----------
    data : bytes
        The file.
    stated : dict
        season.toml.

    Returns
    -------
    pandas.DataFrame or None
        station_id (category), date and numbers; None when anything in it needs the careful reader.

    Examples
    --------
    >>> read_days(b"station_id,date,tmax_c\\nmill,2023-05-14,21.5\\n", {})["tmax_c"].tolist()
    [21.5]
    """
    if any(stated.get(section) for section in ("columns", "units", "words", "numbers")):
        return None
    head = re.match(rb"(?:\xef\xbb\xbf)?(station_id,date(?:,[a-z0-9_]+)+)\r?\n[^,\"\r\n]+,\d{4}-\d\d-\d\d,", data)
    if head is None or b"\n\n" in data or b"\n\r" in data or b'"' in data:
        return None
    names = head[1].decode().split(",")
    numbers, declared = names[2:], schemas.TABLES["weather"].columns
    if len(set(names)) < len(names) or not all(n in declared and schemas.column_range("weather", n) for n in numbers):
        return None
    frame = exact(data, "date", {"station_id": "category"} | dict.fromkeys(numbers, "float64"), colons=0)
    if frame is None:
        return None
    known = frame["station_id"].cat.categories
    if any(n != cells.tidy(n) or cells.is_missing(n) for n in known):
        return None
    values = frame[numbers].to_numpy()
    if np.isin(values, list(cells.CODES)).any() or np.isinf(values).any():
        return None
    return frame.assign(date=frame["date"].astype("datetime64[ns]"))


def exact(data, time, kinds, *, colons, colons_above=0):
    """The table if every cell is a plain time or a plain number, else None.

    Parameters
    ----------
    data : bytes
        The file, one header line.
    time : str
        Header of the times.
    kinds : dict of str to str
        Header and type of the other columns; those of numbers may hold the words for a missing value.
    colons, colons_above : int
        Colons in each row and in the header: a date without a time of day is not midnight.

    Returns
    -------
    pandas.DataFrame or None

    Examples
    --------
    >>> data = b"time,value\\n2023-05-14 10:20,NA\\n2023-05-14,5\\n"
    >>> exact(data, "time", {"value": "float64"}, colons=1) is None
    True
    """
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            pieces = pd.read_csv(
                io.BytesIO(data),
                dtype=kinds,
                parse_dates=[time],
                index_col=False,
                keep_default_na=False,
                na_values={column: sorted(cells.MISSING) for column, kind in kinds.items() if kind == "float64"},
                encoding="utf-8-sig",
                chunksize=_PIECE,
            )
            frame = _join(list(pieces), kinds)
        except (ValueError, UnicodeError, pd.errors.ParserWarning, UserWarning):
            return None
    if data.count(b",", data.find(b"\n") + 1) != len(frame) * (frame.shape[1] - 1):
        return None  # some row is cut short
    moments = frame[time]
    if moments.dtype.kind != "M" or moments.isna().any():
        return None
    # The library reads "now" and a second too many as times, and rounds none of them in silence here.
    if re.search(rb"\d:\d\d:[6-9]\d", data) or (moments.dt.microsecond != 0).any():
        return None
    if data.count(b":") != colons_above + len(frame) * colons or not moments.dt.year.between(*times.YEARS).all():
        return None
    return frame


def _join(pieces, kinds):
    """Pieces of a table, each with categories of its own, as one table."""
    if len(pieces) == 1:
        return pieces[0]
    columns = {}
    for column in pieces[0].columns:
        parts = [piece.pop(column) for piece in pieces]
        if kinds.get(column) == "category":
            columns[column] = pd.api.types.union_categoricals(parts)
        else:
            columns[column] = pd.concat(parts, ignore_index=True)
    return pd.DataFrame(columns, copy=False)


def written(data, rows, column):
    """What stands in the cells of one column of a file in plain form; nothing where it has no such column.

    Examples
    --------
    >>> written(b"time,value\\n2023-05-14 10:20,50.0\\n", [2], "value")
    ['50.0']
    """
    if not len(rows):
        return []
    lines = data.split(b"\n")
    names = lines[0].decode("utf-8-sig").strip().split(",")
    if column not in names:
        return []
    return [lines[row - 1].decode("utf-8").strip().split(",")[names.index(column)] for row in rows]
