"""Files of weather stations: what is read, what is left out, and what is said when a file is wrong."""

import calendar
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fieldkit.core import FieldkitError
from fieldkit.field import climate
from fieldkit.records.weather import stations

COLUMNS = {"date": "day", "tmax_c": "TX", "tmin_c": "TN"}


def write(folder, text, name="file.csv", encoding="utf-8"):
    path = folder / name
    path.write_bytes(text.encode(encoding))
    return path


def dly(station, year, month, element, values):
    """One line of the fixed-width layout: values are (tenths, measurement flag, quality flag, source flag) or None."""
    days = [values.get(d, None) for d in range(1, 32)]
    cells = ["-9999   " if v is None else f"{v[0]:5d}{v[1]}{v[2]}{v[3]}" for v in days]
    line = f"{station}{year}{month:02d}{element}" + "".join(cells)
    assert len(line) == 269  # readme of GHCN-Daily: the last flag stands in column 269
    return line


def month_of(value, year, month, **flagged):
    found = dict.fromkeys(range(1, calendar.monthrange(year, month)[1] + 1), (value, " ", " ", "S"))
    return found | {int(k[1:]): v for k, v in flagged.items()}


def test_fixed_width_layout(tmp_path):
    # Layout: readme of GHCN-Daily (columns 1-11, 12-15, 16-17, 18-21, then 31 times 5+1+1+1), values in tenths of °C.
    lines = [
        dly("XX000000001", 2023, 2, "TMAX", month_of(123, 2023, 2, d7=(456, " ", "I", "S"))),
        dly("XX000000001", 2023, 2, "TMIN", month_of(-45, 2023, 2, d9=(-9999, " ", " ", " "))),
        dly("XX000000001", 2023, 2, "PRCP", month_of(12, 2023, 2)),
        dly("XX000000001", 2023, 2, "SNOW", month_of(0, 2023, 2)),
    ]
    records = stations.read_ghcn(write(tmp_path, "\n".join(lines) + "\n", "XX000000001.dly"))
    table = records.table.set_index("date")
    assert len(table) == 28
    assert table.loc["2023-02-01", ["tmax_c", "tmin_c", "precipitation_mm"]].tolist() == [12.3, -4.5, 1.2]
    assert np.isnan(table.loc["2023-02-07", "tmax_c"])
    assert np.isnan(table.loc["2023-02-09", "tmin_c"])
    left = records.left_out.iloc[0]
    assert (left["column"], left["value"], left["reason"]) == ("TMAX", 45.6, "failed the network's quality check I")
    assert "1 reading left out" in records.sentence


def test_the_three_layouts_say_the_same(tmp_path):
    day = pd.date_range("2022-01-01", "2022-12-31")
    high = (150 + 100 * np.sin(2 * np.pi * day.day_of_year.to_numpy() / 365)).round().astype(int)
    low = high - 90
    fixed, long, wide = (
        [],
        [],
        ["STATION,DATE,LATITUDE,LONGITUDE,ELEVATION,NAME,TMAX,TMAX_ATTRIBUTES,TMIN,TMIN_ATTRIBUTES"],
    )
    for month in range(1, 13):
        for element, values in (("TMAX", high), ("TMIN", low)):
            here = {
                d.day: (int(v), " ", "X" if d.day == 13 else " ", "S") for d, v in zip(day, values) if d.month == month
            }
            fixed.append(dly("XX000000001", 2022, month, element, here))
    for d, a, b in zip(day, high, low):
        flag = "X" if d.day == 13 else ""
        long += [f"XX000000001,{d:%Y%m%d},TMAX,{a},,{flag},S,", f"XX000000001,{d:%Y%m%d},TMIN,{b},,{flag},S,0700"]
        wide.append(f'XX000000001,{d:%Y-%m-%d},32.1,-110.9,777,"HILL, XX",{a},",{flag},S",{b},",{flag},S"')
    header = "ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME"
    listing = write(tmp_path, "XX000000001  32.1000 -110.9000  777.0    HILL, XX                      \n", "list.txt")
    where = stations.read_ghcn_stations(listing)
    read = [
        stations.read_ghcn(write(tmp_path, "\n".join(fixed), "a.dly"), stations=where),
        stations.read_ghcn(write(tmp_path, "\n".join(long), "b.csv"), stations=where),
        stations.read_ghcn(write(tmp_path, "\n".join([header, *long]), "c.csv"), stations=where),
        stations.read_ghcn(write(tmp_path, "\n".join(wide), "d.csv")),
    ]
    bands = [climate.air_bands(records, margin_c=2) for records in read]
    for records, band in zip(read, bands):
        assert len(records.left_out) == 24
        assert records.stations["elevation_m"].tolist() == [777.0]
        pd.testing.assert_frame_equal(band.table, bands[0].table)
    assert bands[0].pooled["n_days"].sum() == 365 - 12
    assert "tenths of °C" in read[3].sentence


def test_wide_layout_in_other_units_must_be_said(tmp_path):
    text = "STATION,DATE,TMAX,TMIN\nXX000000001,2022-07-01,31.5,18.2\n"
    path = write(tmp_path, text)
    with pytest.raises(FieldkitError, match=r"shows decimals \('31\.5'\).*unit='degC' or unit='degF'"):
        stations.read_ghcn(path)
    assert stations.read_ghcn(path, unit="degC").table["tmax_c"].tolist() == [31.5]
    warm = stations.read_ghcn(write(tmp_path, text.replace("31.5", "95").replace("18.2", "68")), unit="degF")
    assert warm.table[["tmax_c", "tmin_c"]].to_numpy().tolist() == [[35.0, 20.0]]
    assert any("no columns of flags" in note for note in warm.notes)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("hello\n", "does not look like a GHCN-Daily file: its first line is 'hello'"),
        ("", "is empty"),
        ("XX000000001,20220701,TMAX,warm,,,S,\n", "row 1: the value 'warm' cannot be read"),
        ("XX000000001,20221301,TMAX,12,,,S,\n", "row 1: the date '20221301' cannot be read"),
        ("STATION,DATE,PRCP\nA,2022-01-01,1\n", "no columns TMAX and TMIN"),
        ("XX000000001,20220701,SNOW,12,,,S,\n", "no TMAX or TMIN"),
        ("XX000000001,20220701,TMAX,12,,,S,\nXX000000001,20220701,TMAX,13,,,S,\n", "two values of TMAX for 2022-07-01"),
    ],
)
def test_wrong_network_files_are_said_plainly(tmp_path, text, sentence):
    with pytest.raises(FieldkitError, match=sentence):
        stations.read_ghcn(write(tmp_path, text))


def test_named_columns_units_and_marks(tmp_path):
    german = "Station;day;TX;TN\nHügel;31.07.2024;86,0;50,0\nHügel;01.08.2024;95,0;-9999\n"
    for encoding in ("utf-8-sig", "cp1252", "utf-16"):
        records = stations.read_station_csv(
            write(tmp_path, german, encoding=encoding),
            columns=COLUMNS | {"station_id": "Station"},
            unit="degF",
            date_format="%d.%m.%Y",
            decimal=",",
            missing=[-9999],
            elevation_m=300,
        )
        assert records.table["station_id"].tolist() == ["Hügel", "Hügel"]
        assert records.table["tmax_c"].tolist() == pytest.approx([30.0, 35.0])
        assert np.isnan(records.table["tmin_c"].iloc[1])
        assert records.stations["elevation_m"].tolist() == [300.0]
        assert "separated by ';'" in records.sentence


@pytest.mark.parametrize(("unit", "written"), [("K", "303.15"), ("degC", "30"), ("degF", "86"), ("tenths_degC", "300")])
def test_units_are_converted(tmp_path, unit, written):
    path = write(tmp_path, f"day,TX,TN\n2024-07-01,{written},{written}\n")
    table = stations.read_station_csv(path, columns=COLUMNS, unit=unit, station_id="A").table
    assert table["tmax_c"].iloc[0] == pytest.approx(30.0)


@pytest.mark.parametrize(
    ("text", "options", "sentence"),
    [
        ("day,TX,TN\n2024-07-01,warm,1\n", {}, r"file\.csv, row 2, column 'TX': 'warm' is not a number"),
        (
            "day,TX,TN\n2024-07-01,5,1\n2024-07-02,6,\n03/04/2024,7,2\n",
            {},
            r"row 4, column 'day': '03/04/2024' is not a date",
        ),
        ('day,TX,TN\n2024-07-01,"5,5",1\n', {}, r"row 2, column 'TX': '5,5' is not a number; say decimal=','"),
        ("date,TX,TN\n2024-07-01,5,1\n", {}, "has no column 'day'"),
        ("day,TX,TN\n2024-07-01,5,1\n", {"unit": "hot"}, "not a unit of temperature"),
        ("day,TX,TN\n2024-07-01,5,1\n", {"station_id": None}, "say station_id="),
        ("day,TX,TN\n2024-07-01,5,1\n", {"columns": {"date": "day"}}, "must name either date, tmax_c and tmin_c"),
        ("day,TX,TN\n2024-07-01,5,1\n", {"columns": COLUMNS | {"wind": "w"}}, "'wind', which is not a column of ours"),
        ("day TX TN\n", {}, "no comma, semicolon or tab"),
    ],
)
def test_wrong_tables_are_said_with_row_and_column(tmp_path, text, options, sentence):
    options = {"columns": COLUMNS, "unit": "degC", "station_id": "A"} | options
    with pytest.raises(FieldkitError, match=sentence):
        stations.read_station_csv(write(tmp_path, text), **options)


def test_hourly_clocks(tmp_path):
    columns = {"time": "when", "air_temperature_c": "T"}
    options = {"columns": columns, "unit": "degC", "station_id": "A"}
    local = write(tmp_path, "when,T\n2024-07-01 12:00,30\n2024-07-01 13:00,31\n")
    read = stations.read_station_csv(local, timezone="America/Phoenix", **options)
    assert read.table["time"].iloc[0].isoformat() == "2024-07-01T12:00:00-07:00"
    with pytest.raises(FieldkitError, match="clock's zone is not in the file"):
        stations.read_station_csv(local, **options)
    with pytest.raises(FieldkitError, match="is not a time zone"):
        stations.read_station_csv(local, timezone="Desert/Hill", **options)
    offset = write(tmp_path, "when,T\n2024-07-01T12:00-07:00,30\n2024-07-01T20:00Z,31\n")
    assert stations.read_station_csv(offset, **options).table["time"].dt.hour.tolist() == [19, 20]
    twice = write(tmp_path, "when,T\n2024-11-03 01:30,30\n2024-11-03 01:30,31\n")
    with pytest.raises(FieldkitError, match=r"happen twice or never.*Etc/GMT\+5"):
        stations.read_station_csv(twice, timezone="America/New_York", **options)


def test_typical_years_of_pvlib():
    # TMY3 and TMY2 files that the pvlib wheel carries; names and heights as printed in their headers.
    import pvlib

    folder = Path(pvlib.__file__).parent / "data"
    hills = stations.read_typical_year(folder / "723170TYA.CSV", station_id="hills")
    coast = stations.read_typical_year(folder / "12839.tm2", station_id="coast")
    assert hills.table["time"].is_unique
    assert hills.stations[["latitude_deg", "longitude_deg", "elevation_m"]].to_numpy().tolist() == [
        [36.1, -79.95, 273.0]
    ]
    both = stations.join([hills, coast])
    bands = climate.air_bands(both, margin_c=3)
    table = bands.table.set_index(["station_id", "season"])
    # Against pandas: mean daily maximum of the July days in the file's own clock.
    raw, _ = pvlib.iotools.read_tmy3(folder / "723170TYA.CSV", coerce_year=2001, map_variables=True)
    july = raw["temp_air"]["2001-07-01 00:00":"2001-07-31 23:00"]
    expected = july.groupby(july.index.date).max().mean()
    months = bands.months.set_index(["station_id", "month"])
    assert months.loc[("hills", "Jul"), "typical_max_c"] == pytest.approx(expected)
    assert table.loc[("coast", "winter"), "low_c"] > table.loc[("hills", "winter"), "low_c"] + 10
    assert table["n_days"].loc["hills"].sum() == 365
    assert any("typical year" in w for w in bands.warnings)


def test_join_refuses_mixtures_and_doubles(tmp_path):
    path = write(tmp_path, "day,TX,TN\n2024-07-01,5,1\n")
    one = stations.read_station_csv(path, columns=COLUMNS, unit="degC", station_id="A")
    with pytest.raises(FieldkitError, match="'A' is in two files"):
        stations.join([one, one])
    hour = write(tmp_path, "when,T\n2024-07-01 12:00,30\n", "hour.csv")
    other = stations.read_station_csv(
        hour, columns={"time": "when", "air_temperature_c": "T"}, unit="degC", station_id="B", timezone="UTC"
    )
    with pytest.raises(FieldkitError, match="some hourly"):
        stations.join([one, other])
    with pytest.raises(FieldkitError, match="no station files"):
        stations.join([])


def test_missing_files_and_lists(tmp_path):
    with pytest.raises(FieldkitError, match="no file gone"):
        stations.read_ghcn(tmp_path / "gone.dly")
    with pytest.raises(FieldkitError, match="no file gone"):
        stations.read_station_csv(tmp_path / "gone.csv", columns=COLUMNS, unit="degC", station_id="A")
    with pytest.raises(FieldkitError, match="row 1: 'nonsense' is not a line"):
        stations.read_ghcn_stations(write(tmp_path, "nonsense\n"))
    unknown = write(tmp_path, "XX000000001  32.1000 -110.9000 -999.9    HILL\n")
    assert np.isnan(stations.read_ghcn_stations(unknown)["elevation_m"].iloc[0])
