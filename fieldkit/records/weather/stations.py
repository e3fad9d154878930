"""Read files of weather stations: columns you name, the public GHCN-Daily layouts, typical-year files."""

import csv
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result
from fieldkit.records.reading import opening

UNITS = {
    "degC": lambda x: x,
    "degF": lambda x: (x - 32.0) / 1.8,
    "K": lambda x: x - 273.15,
    "tenths_degC": lambda x: x / 10.0,
}
TEMPERATURES = ("tmax_c", "tmin_c", "air_temperature_c")
META = ("latitude_deg", "longitude_deg", "elevation_m")
_LEFT_OUT = ["station_id", "date", "column", "value", "reason"]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class StationRecords(Result):
    """Readings of one or more weather stations.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per station and day (``station_id, date, tmax_c, tmin_c``, and ``precipitation_mm`` if read) or per
        station and time (``station_id, time, air_temperature_c``).
    stations : pandas.DataFrame
        One row per station: ``station_id`` and, where known, ``latitude_deg, longitude_deg, elevation_m, name``.
    left_out : pandas.DataFrame
        Readings that were not taken over, each with its reason.
    notes : tuple of str
        What was assumed about the file.
    """

    table: pd.DataFrame
    stations: pd.DataFrame
    left_out: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=_LEFT_OUT))
    notes: tuple = ()

    @property
    def sentence(self):
        """What was read, in words."""
        if self.table.empty:
            return "No readings."
        when = self.table["date" if "date" in self.table else "time"]
        count = self.table["station_id"].nunique()
        words = (
            f"{len(self.table)} {'days' if 'date' in self.table else 'readings'} from {count} "
            f"station{'s' if count != 1 else ''}, {when.min():%Y-%m-%d} to {when.max():%Y-%m-%d}"
        )
        if len(self.left_out):
            some = len(self.left_out)
            words += f"; {some} reading{'s' if some != 1 else ''} left out (see left_out)"
        return words + "." + "".join(f" {note}" for note in self.notes)


def join(records):
    """Put the readings of several files together.

    Parameters
    ----------
    records : sequence of StationRecords
        All daily or all hourly.

    Returns
    -------
    StationRecords

    Raises
    ------
    FieldkitError
        When daily and hourly files are mixed, or two files hold the same station.

    Examples
    --------
    >>> days = pd.DataFrame({"station_id": ["A"], "date": pd.to_datetime(["2024-01-01"]), "tmax_c": [5], "tmin_c": [1]})
    >>> a = StationRecords(table=days, stations=pd.DataFrame({"station_id": ["A"]}))
    >>> b = StationRecords(table=days.assign(station_id="B"), stations=pd.DataFrame({"station_id": ["B"]}))
    >>> join([a, b]).sentence
    '2 days from 2 stations, 2024-01-01 to 2024-01-01.'
    """
    records = list(records)
    if not records:
        raise FieldkitError("There are no station files to put together.")
    if len({"date" in r.table for r in records}) > 1:
        raise FieldkitError("Some of the files are daily and some hourly: make bands from one kind at a time.")
    ids = pd.concat([r.stations["station_id"] for r in records])
    if ids.duplicated().any():
        raise FieldkitError(
            f"Station '{ids[ids.duplicated()].iloc[0]}' is in two files: give each file its own station_id."
        )
    left_out = [r.left_out for r in records if len(r.left_out)]
    tables = [r.table for r in records]
    if "time" in tables[0]:
        # One column holds one zone; universal time keeps the moments right.
        tables = [t.assign(time=t["time"].dt.tz_convert("UTC")) for t in tables]
    return StationRecords(
        table=pd.concat(tables, ignore_index=True),
        stations=pd.concat([r.stations for r in records], ignore_index=True),
        left_out=pd.concat(left_out, ignore_index=True) if left_out else pd.DataFrame(columns=_LEFT_OUT),
        notes=tuple(dict.fromkeys(note for r in records for note in r.notes)),
    )


def read_station_csv(
    path,
    *,
    columns,
    unit,
    station_id=None,
    missing=(),
    date_format=None,
    timezone=None,
    separator=None,
    decimal=".",
    latitude_deg=None,
    longitude_deg=None,
    elevation_m=None,
):
    """Read a CSV file of daily or hourly air temperatures whose columns you name.

    Parameters
    ----------
    path : str or path
        The CSV file.
    columns : dict of str to str
        Our name to the name in the file. Daily: ``date, tmax_c, tmin_c``; hourly: ``time, air_temperature_c``. Also
        ``station_id, precipitation_mm, latitude_deg, longitude_deg, elevation_m``.
    unit : {"degC", "degF", "K", "tenths_degC"}
        Unit of the temperatures in the file. It is never guessed from the values.
    station_id : str, optional
        Name of the station, when the file has no column for it.
    missing : sequence of float or str
        Codes that stand for a missing reading, for example ``[-9999]``.
    date_format : str, optional
        For example ``"%d/%m/%Y"``. Without it dates must be written year-month-day (ISO 8601).
    timezone : str, optional
        Zone of the clock in an hourly file, for example ``"America/Phoenix"``, or ``"Etc/GMT+7"`` for a clock that
        never shifts.
    separator : str, optional
        Between the columns; found from the header when not given.
    decimal : {".", ","}
        Mark before the decimals.
    latitude_deg, longitude_deg, elevation_m : float, optional
        Of the station, when they are not columns of the file.

    Returns
    -------
    StationRecords

    Raises
    ------
    FieldkitError
        In a plain sentence with the file, row, column and value, and what to do.

    Examples
    --------
    >>> import tempfile
    >>> file = Path(tempfile.mkdtemp()) / "hill.csv"
    >>> _ = file.write_text("day;TX;TN\\n2024-07-01;31,5;18,0\\n2024-07-02;33,0;-9999\\n")
    >>> hill = read_station_csv(file, columns={"date": "day", "tmax_c": "TX", "tmin_c": "TN"}, unit="degC",
    ...                         station_id="hill", missing=[-9999], decimal=",")
    >>> hill.table["tmin_c"].tolist()
    [18.0, nan]
    """
    path = Path(path)
    _check_unit(unit)
    known = {"station_id", "date", "time", *TEMPERATURES, "precipitation_mm", *META}
    unknown = set(columns) - known
    if unknown:
        raise FieldkitError(
            f"columns= names '{sorted(unknown)[0]}', which is not a column of ours. Ours: {', '.join(sorted(known))}."
        )
    daily = {"date", "tmax_c", "tmin_c"} <= set(columns)
    hourly = {"time", "air_temperature_c"} <= set(columns)
    if daily == hourly:
        raise FieldkitError(
            "columns= must name either date, tmax_c and tmin_c (daily) or time and air_temperature_c (hourly)."
        )
    notes = []
    if separator is None:
        separator = _find_separator(path)
        notes.append(f"{path.name}: columns are taken to be separated by '{separator}'.".replace("\t", "tab"))
    raw = _read_text(path, sep=separator)
    for ours, theirs in columns.items():
        if theirs not in raw.columns:
            raise FieldkitError(
                f"{path.name} has no column '{theirs}' (wanted for {ours}). Its columns: {', '.join(raw.columns)}."
            )
    codes = {str(code).strip() for code in missing} | {""}
    table = pd.DataFrame(index=raw.index)
    if "station_id" in columns:
        table["station_id"] = raw[columns["station_id"]].str.strip()
    elif station_id is not None:
        table["station_id"] = str(station_id)
    else:
        raise FieldkitError(f"{path.name}: say station_id=, or name the column that holds it in columns=.")
    when = "date" if daily else "time"
    table[when] = _dates(raw[columns[when]], path, columns[when], date_format, timezone, hourly)
    for name in (*TEMPERATURES, "precipitation_mm", *META):
        if name not in columns:
            continue
        values = _numbers(raw[columns[name]], path, columns[name], codes, decimal)
        table[name] = UNITS[unit](values) if name in TEMPERATURES else values
    stations = table.drop_duplicates("station_id")[["station_id", *[c for c in META if c in table]]]
    stations = stations.reset_index(drop=True)
    for name, value in (("latitude_deg", latitude_deg), ("longitude_deg", longitude_deg), ("elevation_m", elevation_m)):
        if value is not None:
            stations[name] = float(value)
    return StationRecords(
        table=table.drop(columns=[c for c in META if c in table]), stations=stations, notes=tuple(notes)
    )


def read_ghcn(path, *, stations=None, unit=None):
    """Read a file of the Global Historical Climatology Network - Daily in any of its public layouts.

    Readings that failed a quality check of the network are left out and listed. Layouts: the fixed-width ``.dly`` text
    (columns 1–11 station, 12–15 year, 16–17 month, 18–21 element, then 31 times a value of 5 and three flags); the
    CSV with one row per reading (station, date, element, value, three flags); the CSV with one row per day (``STATION,
    DATE, … TMAX, TMAX_ATTRIBUTES``).

    Parameters
    ----------
    path : str or path
        One file of the network.
    stations : pandas.DataFrame, optional
        Of `read_ghcn_stations`, for the layouts that do not say where a station is.
    unit : {"tenths_degC", "degC", "degF"}, optional
        Only the CSV with one row per day comes in more than one unit. Without it tenths of °C are taken, as in the
        network's own files, and a file that shows decimals is refused.

    Returns
    -------
    StationRecords
        Daily: ``station_id, date, tmax_c, tmin_c, precipitation_mm``.

    Raises
    ------
    FieldkitError
        When the file has none of the layouts, or a value is not a number.

    Notes
    -----
    Layout after the readme of GHCN-Daily (Menne et al. 2012, J. Atmos. Oceanic Technol. 29:897–910,
    doi:10.1175/JTECH-D-11-00103.1).

    Examples
    --------
    >>> import tempfile
    >>> file = Path(tempfile.mkdtemp()) / "one.csv"
    >>> _ = file.write_text("XX000000001,20240701,TMAX,315,,,S,\\nXX000000001,20240701,TMIN,180,,,S,\\n"
    ...                     "XX000000001,20240702,TMAX,999,,X,S,\\n")
    >>> one = read_ghcn(file)
    >>> one.table.loc[0, ["tmax_c", "tmin_c"]].tolist(), one.left_out["reason"].tolist()
    ([31.5, 18.0], ["failed the network's quality check X"])
    """
    path = Path(path)
    first = _first_line(path)
    cells = next(csv.reader([first]), [])
    upper = [c.strip().upper() for c in cells]
    if "STATION" in upper and "DATE" in upper:
        return _ghcn_wide(path, unit)
    if unit not in (None, "tenths_degC"):
        raise FieldkitError(
            f"{path.name} has one row per reading or per month: that layout is always in tenths of °C. "
            "Leave unit= out; if the file was converted, read it with read_station_csv."
        )
    if upper[:4] == ["ID", "DATE", "ELEMENT", "DATA_VALUE"]:
        long = _ghcn_long(path, header=True)
    elif len(cells) >= 7 and len(cells[0]) == 11 and cells[1].isdigit() and len(cells[1]) == 8:
        long = _ghcn_long(path, header=False)
    elif len(cells) == 1 and len(first) >= 261 and first[11:17].isdigit():
        long = _ghcn_fixed(path)
    else:
        raise FieldkitError(
            f"{path.name} does not look like a GHCN-Daily file: its first line is '{first[:60]}'. "
            "If it is another kind of CSV, read it with read_station_csv and name its columns."
        )
    if long.empty:
        raise FieldkitError(f"{path.name} has no TMAX or TMIN: it cannot give air-temperature ranges.")
    failed = long["qflag"] != ""
    left_out = long.loc[failed, ["station_id", "date", "element", "value"]].rename(columns={"element": "column"})
    left_out["value"] = left_out["value"] / 10.0
    left_out["reason"] = "failed the network's quality check " + long.loc[failed, "qflag"]
    good = long[~failed]
    doubled = good.duplicated(["station_id", "date", "element"])
    if doubled.any():
        row = good[doubled].iloc[0]
        raise FieldkitError(
            f"{path.name}: station {row['station_id']} has two values of {row['element']} for "
            f"{row['date']:%Y-%m-%d}: keep one of them."
        )
    names = {"TMAX": "tmax_c", "TMIN": "tmin_c", "PRCP": "precipitation_mm"}
    by_element = [
        (part.set_index(["station_id", "date"])["value"] / 10.0).rename(names[element])
        for element, part in good.groupby("element")
    ]
    table = pd.concat(by_element, axis=1).sort_index().reset_index()
    for name in ("tmax_c", "tmin_c"):
        if name not in table:
            table[name] = np.nan
    order = ["station_id", "date", "tmax_c", "tmin_c", *(["precipitation_mm"] if "precipitation_mm" in table else [])]
    meta = pd.DataFrame({"station_id": table["station_id"].unique()})
    if stations is not None:
        meta = meta.merge(stations, on="station_id", how="left")
    return StationRecords(table=table[order], stations=meta, left_out=left_out[_LEFT_OUT].reset_index(drop=True))


def read_ghcn_stations(path):
    """Read the network's list of stations (fixed width: 1–11 station, 13–20 latitude, 22–30 longitude, 32–37 height).

    Parameters
    ----------
    path : str or path
        The list that comes with the network.

    Returns
    -------
    pandas.DataFrame
        ``station_id, latitude_deg, longitude_deg, elevation_m, name``; an unknown height (−999.9) is NaN.

    Raises
    ------
    FieldkitError
        When a line is not of that layout.

    Examples
    --------
    >>> import tempfile
    >>> file = Path(tempfile.mkdtemp()) / "stations.txt"
    >>> _ = file.write_text("XX000000001  32.1000 -110.9000  777.0    INVENTED RIDGE\\n")
    >>> read_ghcn_stations(file)[["latitude_deg", "longitude_deg", "elevation_m"]].to_numpy().tolist()
    [[32.1, -110.9, 777.0]]
    """
    path = Path(path)
    rows = []
    for number, line in enumerate(_open(path).splitlines(), start=1):
        if not line.strip():
            continue
        try:
            rows.append(
                (line[:11].strip(), float(line[12:20]), float(line[21:30]), float(line[31:37]), line[41:71].strip())
            )
        except ValueError:
            raise FieldkitError(
                f"{path.name}, row {number}: '{line[:50]}' is not a line of the network's list of stations."
            ) from None
    table = pd.DataFrame(rows, columns=["station_id", *META, "name"])
    table.loc[table["elevation_m"] <= -999, "elevation_m"] = np.nan
    return table


def read_typical_year(path, *, station_id=None):
    """Read the air temperatures of a typical-year file (TMY3, TMY2 or EPW).

    A typical year is stitched from months of different years that were chosen to be ordinary. It serves for typical
    seasons; its extremes are too tame, and one year says nothing of how years differ.

    Parameters
    ----------
    path : str or path
        Any hourly file that `fieldkit.records.weather.files.read_weather_file` knows.
    station_id : str, optional
        The name in the file when not given.

    Returns
    -------
    StationRecords
        Hourly, dated 2001 (no leap day): ``station_id, time, air_temperature_c``.

    Raises
    ------
    FieldkitError
        When the file is missing or not of one of these kinds.

    Examples
    --------
    >>> import pvlib
    >>> year = read_typical_year(Path(pvlib.__file__).parent / "data" / "723170TYA.CSV")
    >>> len(year.table), year.stations["elevation_m"].tolist()
    (8760, [273.0])
    """
    from fieldkit.records.weather.files import read_weather_file

    weather = read_weather_file(path, at="end", year=2001)
    if weather.kind == "surfrad":
        raise FieldkitError(f"{Path(path).name} is a day of a research station, not a typical year.")
    name = str(station_id or weather.name)
    table = weather.table[["air_temperature_c"]].reset_index()
    if weather.typical_year:
        # The last midnight is stamped in the next year; in a typical year it is the midnight that opens this one.
        first = table["time"].dt.normalize().iloc[0]
        table["time"] = table["time"].where(table["time"].dt.year == first.year, first)
    table = table.sort_values("time", ignore_index=True)
    table.insert(0, "station_id", name)
    stations = pd.DataFrame({"station_id": [name]})
    for column in META:
        stations[column] = float(getattr(weather, column))
    return StationRecords(table=table, stations=stations, notes=weather.notes[:1] if weather.typical_year else ())


def _ghcn_fixed(path):
    lines = [line for line in _open(path).splitlines() if line[17:21] in ("TMAX", "TMIN", "PRCP")]
    if not lines:
        return pd.DataFrame()
    # A grid of characters: 269 columns, 31 days of 8.
    letters = np.array([line.ljust(269)[:269] for line in lines], dtype="U269").view("U1").reshape(len(lines), 269)
    head = pd.DataFrame(
        {
            "station_id": [line[:11] for line in lines],
            "month": pd.to_datetime([line[11:17] for line in lines], format="%Y%m", errors="coerce"),
            "element": [line[17:21] for line in lines],
        }
    )
    if head["month"].isna().any():
        bad = lines[int(np.flatnonzero(head["month"].isna())[0])]
        raise FieldkitError(f"{path.name}: '{bad[11:17]}' is not a year and month, in the line '{bad[:30]}'.")
    days = np.ascontiguousarray(letters[:, 21:].reshape(len(lines), 31, 8))
    text = np.ascontiguousarray(days[:, :, :5]).view("U5")[:, :, 0]
    try:
        values = np.where(np.char.strip(text) == "", "-9999", text).astype(float)
    except ValueError as problem:
        raise FieldkitError(f"{path.name}: a value is not a whole number ({problem}).") from None
    long = pd.DataFrame(
        {
            "station_id": np.repeat(head["station_id"].to_numpy(), 31),
            "date": (head["month"].to_numpy()[:, None] + np.arange(31).astype("timedelta64[D]")).ravel(),
            "element": np.repeat(head["element"].to_numpy(), 31),
            "value": values.ravel(),
            "qflag": np.char.strip(days[:, :, 6]).ravel(),
            "month": np.repeat(head["month"].to_numpy(), 31),
        }
    )
    exists = long["date"].dt.month == long["month"].dt.month  # 31 slots in every month, also in February
    return long[exists & (long["value"] != -9999)].drop(columns="month")


def _ghcn_long(path, *, header):
    names = ["station_id", "date", "element", "value", "mflag", "qflag", "sflag", "obs_time"]
    table = pd.read_csv(
        path,
        header=0 if header else None,
        names=names,
        usecols=[0, 1, 2, 3, 5],
        dtype={"station_id": str, "date": str, "element": str, "value": str, "qflag": str},
        keep_default_na=False,
    )
    table = table[table["element"].isin(["TMAX", "TMIN", "PRCP"])]
    values = pd.to_numeric(table["value"], errors="coerce")
    dates = pd.to_datetime(table["date"], format="%Y%m%d", errors="coerce")
    for column, parsed in (("value", values), ("date", dates)):
        if parsed.isna().any():
            row = int(np.flatnonzero(parsed.isna())[0])
            raise FieldkitError(
                f"{path.name}, row {table.index[row] + (2 if header else 1)}: the {column} "
                f"'{table[column].iloc[row]}' cannot be read."
            )
    table = table.assign(value=values, date=dates, qflag=table["qflag"].str.strip())
    return table[table["value"] != -9999]


def _ghcn_wide(path, unit):
    raw = _read_text(path, sep=",")
    raw.columns = [c.strip().upper() for c in raw.columns]
    if not {"TMAX", "TMIN"} <= set(raw.columns):
        raise FieldkitError(f"{path.name} has no columns TMAX and TMIN: it cannot give air-temperature ranges.")
    notes = []
    if unit is None:
        shown = pd.concat([raw["TMAX"], raw["TMIN"]])
        if shown.str.contains(".", regex=False).any():
            value = shown[shown.str.contains(".", regex=False)].iloc[0]
            raise FieldkitError(
                f"{path.name} shows decimals ('{value}'), so it is not in tenths of °C as the network's own files are. "
                "Say unit='degC' or unit='degF': the order form of the file says which."
            )
        unit = "tenths_degC"
        notes.append(
            f"{path.name}: temperatures are taken to be tenths of °C; say unit= if the file was ordered in °F."
        )
    _check_unit(unit)
    rain = {"tenths_degC": 0.1, "degC": 1.0, "degF": 25.4}[unit]
    table = pd.DataFrame({"station_id": raw["STATION"].str.strip()})
    table["date"] = _dates(raw["DATE"], path, "DATE", None, None, False)
    left_out = []
    for theirs, ours in (("TMAX", "tmax_c"), ("TMIN", "tmin_c"), ("PRCP", "precipitation_mm")):
        if theirs not in raw:
            continue
        values = _numbers(raw[theirs], path, theirs, {"", "9999", "-9999"}, ".")
        values = values * rain if theirs == "PRCP" else UNITS[unit](values)
        flags = f"{theirs}_ATTRIBUTES"
        if flags in raw:
            quality = raw[flags].str.split(",").str[1].fillna("").str.strip()
            failed = (quality != "") & values.notna()
            part = table.loc[failed, ["station_id", "date"]].assign(column=theirs, value=values[failed])
            left_out.append(part.assign(reason="failed the network's quality check " + quality[failed]))
            values = values.mask(failed)
        table[ours] = values
    stations = pd.DataFrame({"station_id": table["station_id"]})
    for theirs, ours in (("LATITUDE", META[0]), ("LONGITUDE", META[1]), ("ELEVATION", META[2]), ("NAME", "name")):
        if theirs in raw:
            stations[ours] = raw[theirs] if ours == "name" else _numbers(raw[theirs], path, theirs, {""}, ".")
    if not any(f"{e}_ATTRIBUTES" in raw for e in ("TMAX", "TMIN")):
        notes.append(f"{path.name} has no columns of flags: readings that failed a quality check cannot be told.")
    left = pd.concat(left_out, ignore_index=True)[_LEFT_OUT] if left_out else pd.DataFrame(columns=_LEFT_OUT)
    return StationRecords(
        table=table,
        stations=stations.drop_duplicates("station_id", ignore_index=True),
        left_out=left,
        notes=tuple(notes),
    )


def _check_unit(unit):
    if unit not in UNITS:
        raise FieldkitError(f"unit={unit!r} is not a unit of temperature here: give one of {', '.join(UNITS)}.")


def _open(path):
    if not path.is_file():
        raise FieldkitError(f"There is no file {path.name} in {path.parent}.")
    data = opening.read(path)
    for encoding in ("utf-16",) if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252"):
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    return data.decode("latin-1")


def _first_line(path):
    if not path.is_file():
        raise FieldkitError(f"There is no file {path.name} in {path.parent}.")
    with path.open("rb") as file:
        line = file.readline(4096)
    if not line.strip():
        raise FieldkitError(f"{path.name} is empty.")
    return line.decode("utf-8-sig", errors="replace").rstrip("\r\n")


def _find_separator(path):
    first = _open(path).splitlines()[:1] or [""]
    counts = {mark: first[0].count(mark) for mark in (",", ";", "\t")}
    best = max(counts, key=counts.get)
    if not counts[best]:
        raise FieldkitError(
            f"{path.name}: no comma, semicolon or tab in the first row '{first[0][:60]}'. Say separator=."
        )
    return best


def _read_text(path, *, sep):
    import io

    try:
        table = pd.read_csv(io.StringIO(_open(path)), sep=sep, dtype=str, keep_default_na=False)
    except (pd.errors.ParserError, pd.errors.EmptyDataError) as problem:
        raise FieldkitError(f"{path.name} could not be read as a table: {problem}.") from None
    table.columns = [str(c).strip() for c in table.columns]
    return table


def _numbers(text, path, column, codes, decimal):
    # Temperatures repeat: every written form is read once and handed to its rows.
    place, written = pd.factorize(text)
    stripped = pd.Series(written, dtype=object).astype(str).str.strip()
    empty = stripped.isin(codes)
    plain = stripped.str.replace(",", ".", regex=False) if decimal == "," else stripped
    values = pd.to_numeric(plain.where(~empty, "nan"), errors="coerce").astype(float)
    wrong = values.isna() & ~empty
    if wrong.any():
        row = int(np.flatnonzero(wrong.to_numpy()[place])[0])
        value = text.iloc[row].strip()
        remedy = "say decimal=','" if "," in value and decimal == "." else "correct it, or name it in missing="
        raise FieldkitError(f"{path.name}, row {row + 2}, column '{column}': '{value}' is not a number; {remedy}.")
    # A file may write the same code as -9999 or -9999.0.
    values = values.mask(values.isin([float(c) for c in codes if _is_number(c)]))
    return pd.Series(values.to_numpy()[place], index=text.index)


def _is_number(text):
    try:
        float(text)
    except ValueError:
        return False
    return text != ""


def _dates(text, path, column, date_format, timezone, hourly):
    place, written = pd.factorize(text)
    once = pd.Series(written, dtype=object).astype(str).str.strip()
    kind = date_format or "ISO8601"
    try:
        parsed = pd.to_datetime(once, format=kind, errors="coerce", utc=_has_offsets(once) if hourly else False)
    except ValueError:
        raise FieldkitError(
            f"{path.name}, column '{column}': the dates cannot be read with date_format={date_format!r}."
        ) from None
    parsed = parsed.take(place)
    parsed.index = text.index
    if parsed.isna().any():
        row = int(np.flatnonzero(parsed.isna())[0])
        remedy = (
            f"it does not follow date_format='{date_format}'"
            if date_format
            else "write it as 2024-07-31, or say how it is written, for example date_format='%d/%m/%Y'"
        )
        raise FieldkitError(
            f"{path.name}, row {row + 2}, column '{column}': '{text.iloc[row]}' is not a date; {remedy}."
        )
    if not hourly:
        return parsed.dt.tz_localize(None).dt.normalize() if parsed.dt.tz is not None else parsed.dt.normalize()
    if timezone is not None:
        check_zone(timezone)
    if parsed.dt.tz is not None:
        return parsed.dt.tz_convert(timezone) if timezone else parsed
    if timezone is None:
        raise FieldkitError(
            f"{path.name}, column '{column}': the clock's zone is not in the file. Say timezone=, for example "
            "'America/Phoenix', or 'Etc/GMT+7' for a clock that never shifts (its sign is reversed: this is UTC-7)."
        )
    try:
        return parsed.dt.tz_localize(timezone)
    except ValueError:
        raise FieldkitError(
            f"{path.name}, column '{column}': in {timezone} some hours of this file happen twice or never (the clocks "
            "change). If the logger never shifts its clock, give a fixed zone such as timezone='Etc/GMT+5' (UTC-5)."
        ) from None


def check_zone(name):
    """Refuse a name that is not a time zone.

    Examples
    --------
    >>> check_zone("America/Phoenix")
    """
    from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        raise FieldkitError(
            f"timezone='{name}' is not a time zone: write it as in 'America/Phoenix', or 'Etc/GMT+7' (UTC-7)."
        ) from None


def _has_offsets(text):
    return bool(text.str.contains(r"(?:Z|[+-]\d{2}:?\d{2})$", regex=True).any())


def station_table(stations, ids):
    """One row per station in the order of `ids`, from a table, a dictionary of dictionaries, or nothing.

    Parameters
    ----------
    stations : pandas.DataFrame, dict or None
        What is known of the stations.
    ids : sequence of str
        The stations wanted.

    Returns
    -------
    pandas.DataFrame
        Indexed by station; columns ``latitude_deg, longitude_deg, elevation_m, timezone``, NaN or None where unknown.

    Examples
    --------
    >>> station_table({"A": {"latitude_deg": 32.0}}, ["A"])["latitude_deg"].tolist()
    [32.0]
    """
    if stations is None:
        table = pd.DataFrame(index=pd.Index(ids, name="station_id"))
    elif isinstance(stations, Mapping):
        table = pd.DataFrame.from_dict(stations, orient="index")
    else:
        if "station_id" not in stations:
            raise FieldkitError("stations= needs a column station_id.")
        table = stations.drop_duplicates("station_id").set_index("station_id")
    table.index = table.index.astype(str)
    table = table.reindex([str(i) for i in ids])
    for name in META:
        table[name] = pd.to_numeric(table[name]) if name in table else np.nan
    if "timezone" not in table:
        table["timezone"] = None
    return table[[*META, "timezone"]]
