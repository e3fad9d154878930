"""Read whole weather files (sun, air, wind, long-wave) through pvlib: TMY3, TMY2, EPW and SURFRAD."""

import calendar
import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result
from fieldkit.records.reading import opening

COLUMNS = [
    "ghi_w_m2",
    "dni_w_m2",
    "dhi_w_m2",
    "reflected_up_w_m2",
    "air_temperature_c",
    "wind_speed_m_s",
    "relative_humidity_pct",
    "pressure_pa",
    "longwave_down_w_m2",
    "longwave_up_w_m2",
]
_AVERAGES = ["ghi_w_m2", "dni_w_m2", "dhi_w_m2", "longwave_down_w_m2"]

# Our name: (name in the file, factor, code or lower limit that means "missing").
_TMY3 = {
    "ghi_w_m2": ("ghi", 1, None),
    "dni_w_m2": ("dni", 1, None),
    "dhi_w_m2": ("dhi", 1, None),
    "air_temperature_c": ("temp_air", 1, None),
    "wind_speed_m_s": ("wind_speed", 1, None),
    "relative_humidity_pct": ("relative_humidity", 1, None),
    "pressure_pa": ("pressure", 100, None),
}
_TMY2 = {
    "ghi_w_m2": ("GHI", 1, 9999),
    "dni_w_m2": ("DNI", 1, 9999),
    "dhi_w_m2": ("DHI", 1, 9999),
    "air_temperature_c": ("DryBulb", 0.1, 9999),
    "wind_speed_m_s": ("Wspd", 0.1, 999),
    "relative_humidity_pct": ("RHum", 1, 999),
    "pressure_pa": ("Pressure", 100, 9999),
}
_EPW = {
    "ghi_w_m2": ("ghi", 1, 9999),
    "dni_w_m2": ("dni", 1, 9999),
    "dhi_w_m2": ("dhi", 1, 9999),
    "air_temperature_c": ("temp_air", 1, 99.9),
    "wind_speed_m_s": ("wind_speed", 1, 999),
    "relative_humidity_pct": ("relative_humidity", 1, 999),
    "pressure_pa": ("atmospheric_pressure", 1, 999999),
    "longwave_down_w_m2": ("ghi_infrared", 1, 9999),
}
_SURFRAD = {
    "ghi_w_m2": ("dw_solar", 1, None),
    "dni_w_m2": ("direct_n", 1, None),
    "dhi_w_m2": ("diffuse", 1, None),
    "reflected_up_w_m2": ("uw_solar", 1, None),
    "air_temperature_c": ("temp", 1, None),
    "wind_speed_m_s": ("windspd", 1, None),
    "relative_humidity_pct": ("rh", 1, None),
    "pressure_pa": ("pressure", 100, None),
    "longwave_down_w_m2": ("dw_ir", 1, None),
    "longwave_up_w_m2": ("uw_ir", 1, None),
}


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class WeatherFile(Result):
    """A weather file in fieldkit's names and units.

    Attributes
    ----------
    table : DataFrame
        Indexed by ``time`` (with zone). Columns of `COLUMNS`; a quantity that the file lacks is all NaN.
    kind : {"tmy3", "tmy2", "epw", "surfrad"}
    name : str
        Station as the file names it.
    latitude_deg, longitude_deg, elevation_m : float
        Degrees north, degrees east, metres.
    interval_min : float
        Minutes over which sun is averaged.
    typical_year : bool
        Stitched from months of several years, so dates are not days that were.
    notes : tuple of str
        What was assumed, corrected or left out.
    """

    table: pd.DataFrame
    kind: str
    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    interval_min: float
    typical_year: bool
    notes: tuple

    @property
    def sentence(self):
        first, last = self.table.index[0], self.table.index[-1]
        words = (
            f"{self.name} ({abs(self.latitude_deg):.2f}° {'N' if self.latitude_deg >= 0 else 'S'}, "
            f"{abs(self.longitude_deg):.2f}° {'E' if self.longitude_deg >= 0 else 'W'}, {self.elevation_m:.0f} m): "
            f"{len(self.table):,} readings every {self.interval_min:g} min, {first:%Y-%m-%d} to {last:%Y-%m-%d}."
        )
        return " ".join([words, *self.notes])


def read_weather_file(path, *, kind=None, at="middle", year=2001):
    """Read a TMY3, TMY2, EPW or SURFRAD file into one table.

    Parameters
    ----------
    path : str or pathlib.Path
        The file.
    kind : {"tmy3", "tmy2", "epw", "surfrad"}, optional
        None: seen from its first lines.
    at : {"middle", "end"}
        Hourly files give sun as the average of the hour that ends at the stamp, the rest as read at the stamp.
        "middle": every row is dated at the middle of its hour, where the sun's place fits the average, and what was
        read at the stamps is put there along straight lines. "end": as in the file.
    year : int
        Year (not a leap year) put on typical years, whose months come from different years.

    Returns
    -------
    WeatherFile

    Raises
    ------
    FieldkitError
        When the file is missing, damaged or none of these formats, or `year` is a leap year.

    Notes
    -----
    TMY3: Wilcox & Marion (2008), NREL/TP-581-43156. SURFRAD files print west longitudes without the minus sign; the
    sign is settled by the solar zenith angles in the file itself. Readings that SURFRAD flags as bad (1) become NaN.

    Examples
    --------
    >>> import pvlib
    >>> weather = read_weather_file(Path(pvlib.__file__).parent / "data" / "723170TYA.CSV")
    >>> weather.name, len(weather.table), round(float(weather.table["air_temperature_c"].mean()), 1)
    ('GREENSBORO PIEDMONT TRIAD INT', 8760, 14.4)
    """
    path = Path(path)
    if at not in ("middle", "end"):
        raise FieldkitError(f"at='{at}' is not known: choose 'middle' or 'end'.")
    if not path.is_file():
        raise FieldkitError(f"There is no file {path.name} at {path.parent}: check the name.")
    kind = _kind(path) if kind is None else kind
    readers = {"tmy3": _read_tmy3, "tmy2": _read_tmy2, "epw": _read_epw, "surfrad": _read_surfrad}
    if kind not in readers:
        raise FieldkitError(f"The kind '{kind}' is not known: choose tmy3, tmy2, epw or surfrad.")
    if not isinstance(year, int | np.integer) or calendar.isleap(year):
        raise FieldkitError(f"year={year!r}: a typical year has 365 days, so give a year without 29 February (2001).")
    try:
        table, place, notes, typical = readers[kind](path, year)
    except FieldkitError:
        raise
    except Exception as problem:  # pvlib's readers fail in many ways; to a person it is one: the file is damaged
        raise FieldkitError(
            f"{path.name} could not be read as {kind.upper()} ({problem}). Fetch it again from its "
            "source, or check whether a program has saved it in another form."
        ) from problem
    table = table.reindex(columns=COLUMNS)
    table.index.name = "time"
    if not table.index.is_monotonic_increasing:
        raise FieldkitError(f"The times in {path.name} do not increase: sort the rows by time.")
    if not table.index.is_unique:
        twice = table.index[table.index.duplicated()][0]
        raise FieldkitError(f"{path.name} holds {twice:%Y-%m-%d %H:%M} twice: keep one of the rows.")
    if len(table) < 2:
        raise FieldkitError(f"{path.name} holds {len(table)} readings: it ends too early, fetch it again.")
    if not (abs(place["latitude_deg"]) <= 90 and abs(place["longitude_deg"]) <= 180):
        raise FieldkitError(
            f"By its header {path.name} lies at latitude {place['latitude_deg']:g}, longitude "
            f"{place['longitude_deg']:g}: there is no such place. Correct the header."
        )
    steps = np.diff(table.index.as_unit("s").asi8)
    interval_min = float(np.median(steps)) / 60
    lost = int(np.sum(np.round(steps / np.median(steps)) - 1))
    if lost:
        longest = table.index[int(np.argmax(steps))]
        notes.append(f"Rows missing from the file: {lost:,}; the longest gap begins at {longest:%Y-%m-%d %H:%M}.")
    if kind != "surfrad" and at == "middle":
        table = _to_middle(table, interval_min)
        notes.append(
            "Rows are dated at the middle of the hour; air, wind, humidity and pressure were read at its ends and are "
            "averaged."
        )
    gaps = table[COLUMNS].isna().mean()
    part = [f"{name} {100 * share:.1f} %" for name, share in gaps.items() if 0 < share < 1]
    if part:
        notes.append(f"Missing readings: {', '.join(part)}.")
    absent = [name for name, share in gaps.items() if share == 1]
    if absent:
        notes.append(f"Not in the file: {', '.join(absent)}.")
    return WeatherFile(
        table=table, kind=kind, interval_min=interval_min, typical_year=typical, notes=tuple(notes), **place
    )


def _kind(path):
    text = _text(path)
    first, second = text.readline(), text.readline()
    if first.startswith("LOCATION,"):
        return "epw"
    if second.startswith("Date (MM/DD/YYYY)"):
        return "tmy3"
    if "version" in second and len(second.split()) >= 5:
        return "surfrad"
    if len(second.rstrip("\r\n")) == 142 and second[1:9].isdigit():
        return "tmy2"
    raise FieldkitError(
        f"{path.name} is not a TMY3, TMY2, EPW or SURFRAD file. For a table of your own, name its columns like those "
        "of the weather table of a season folder."
    )


def _text(path):
    """The file as text: older programs write Latin-1, spreadsheets put a mark in front of UTF-8."""
    raw = opening.read(path)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    return io.StringIO(text, newline=None)


def _rename(data, names):
    columns = {}
    for ours, (theirs, factor, missing) in names.items():
        if theirs not in data:
            continue
        values = pd.to_numeric(data[theirs], errors="coerce").astype(float)
        if missing is not None:
            values = values.mask(values >= missing)
        columns[ours] = values.mask(values <= -999) * factor
    return pd.DataFrame(columns, index=data.index)


def _place(meta, name):
    return {
        "name": name.strip().strip('"').strip(),
        "latitude_deg": float(meta["latitude"]),
        "longitude_deg": float(meta["longitude"]),
        "elevation_m": float(meta["altitude"]),
    }


def _on_year(index, year, offset_h):
    """Hour-ending stamps of a typical year, put on one year; the last one is midnight of the next."""
    if len(index) != 8760:
        raise FieldkitError(f"A typical year has 8,760 hours, this file has {len(index):,}.")
    zone = pd.Timestamp(f"{year}-01-01").tz_localize(round(offset_h * 3600)).tz
    stamps = pd.date_range(f"{year}-01-01 01:00", periods=8760, freq="h", tz=zone)
    if not (stamps.hour == index.hour).all():
        raise FieldkitError("The hours of this typical year do not run from 1 to 24 on every day.")
    return stamps


_TYPICAL = (
    "A typical year stitched from months of different years, dated {year}: for ordinary seasons, too tame in its "
    "extremes; its sun is largely modelled."
)


def _read_tmy3(path, year):
    from pvlib import iotools

    data, meta = iotools.read_tmy3(_text(path), coerce_year=year, map_variables=True)
    table = _rename(data, _TMY3)
    table.index = _on_year(data.index, year, meta["TZ"])
    return table, _place(meta, meta["Name"]), [_TYPICAL.format(year=year)], True


def _read_tmy2(path, year):
    from pvlib import iotools

    data, meta = iotools.read_tmy2(path)
    table = _rename(data, _TMY2)
    # pvlib counts the hours from 0; the values belong to the hour that ends one later.
    table.index = _on_year(data.index + pd.Timedelta(hours=1), year, meta["TZ"])
    return table, _place(meta, f"{meta['City']} {meta['State']}"), [_TYPICAL.format(year=year)], True


def _read_epw(path, year):
    from pvlib import iotools

    data, meta = iotools.read_epw(_text(path))
    table = _rename(data, _EPW)
    ending = data.index + pd.Timedelta(hours=1)
    notes = []
    typical = not data.index.is_monotonic_increasing
    if typical:
        ending = _on_year(ending, year, meta["TZ"])
        notes.append(_TYPICAL.format(year=year))
    table.index = ending
    return table, _place(meta, meta["city"]), notes, typical


def _read_surfrad(path, year):
    from pvlib import iotools, solarposition

    data, meta = iotools.read_surfrad(path, map_variables=False)
    meta["altitude"] = meta["elevation"]
    bad, doubtful = 0, 0
    for theirs, _, _ in _SURFRAD.values():
        flags = data[f"{theirs}_flag"]
        wrong = (flags == 1) & data[theirs].notna()
        data[theirs] = data[theirs].mask(wrong)
        bad, doubtful = bad + int(wrong.sum()), doubtful + int((flags == 2).sum())
    place = _place(meta, meta["name"])
    notes = []
    errors = {}
    probe = data.index[:: max(1, len(data) // 50)]
    for sign in (1, -1):
        angle = solarposition.get_solarposition(
            probe, place["latitude_deg"], sign * place["longitude_deg"], altitude=place["elevation_m"]
        )["zenith"]
        errors[sign] = float((angle - data.loc[probe, "zen"]).abs().median())
    if errors[-1] < errors[1]:
        place["longitude_deg"] *= -1
        notes.append(
            f"The longitude {meta['longitude']:g} in the header lacks its minus sign: with it the sun's place agrees "
            f"with the angles in the file within {errors[-1]:.2f}°, without it only within {errors[1]:.0f}°."
        )
    if min(errors.values()) > 1:
        notes.append("The solar angles in the file fit neither sign of its longitude: check the header.")
    if bad:
        notes.append(f"Taken out, flagged as bad by the station: {bad:,} of the readings.")
    if doubtful:
        notes.append(f"Kept, flagged as doubtful by the station: {doubtful:,} of the readings.")
    notes.append("Times are UTC. Air and wind were measured 10 m above ground, not at a lizard's height.")
    return _rename(data, _SURFRAD), place, notes, False


def _to_middle(table, interval_min):
    middle = table.copy()
    read = [name for name in COLUMNS if name not in _AVERAGES]
    # The reading at the start of the first hour, and of one after a gap, is not in the file: its end stands for both.
    alone = np.r_[True, np.diff(table.index.as_unit("s").asi8) != round(interval_min * 60)]
    before = table[read].shift(1)
    before[alone] = table.loc[alone, read]
    middle[read] = (before + table[read]) / 2
    middle.index = table.index - pd.Timedelta(minutes=interval_min / 2)
    middle.index.name = "time"
    return middle
