"""Weather files: those that pvlib carries, and invented ones written in the layouts of their publishers."""

from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from fieldkit.core import FieldkitError
from fieldkit.records.weather.files import COLUMNS, read_weather_file

CARRIED = Path(pvlib.__file__).parent / "data"


def _surfrad(path, *, longitude=105.92, printed=None, minutes=1440, flag=0):
    """An invented day in the layout of the SURFRAD network, with true solar angles for a place in the west."""
    times = pd.date_range("2016-01-01", periods=minutes, freq="min", tz="UTC")
    zenith = pvlib.solarposition.get_solarposition(times, 37.70, -longitude, altitude=2317)["zenith"]
    printed = longitude if printed is None else printed
    lines = [" Invented place", f"  37.70  {printed:.2f} 2317 m version 1"]
    for i, (time, angle) in enumerate(zip(times, zenith)):
        stamp = f"{time.year} {time.day_of_year} {time.month} {time.day} "
        stamp += f"{time.hour} {time.minute} {time.hour + time.minute / 60:.3f} {angle:.2f}"
        values = [max(0.0, 600 * np.cos(np.radians(angle))), 90.0, 500.0, 50.0, 186.3, 267.0, 267.0, 276.0, 266.0]
        values += [266.0, -9999.9, -9999.9, -1.0, -89.7, -90.7, -7.6, 52.7, 3.1, 304.7, 773.5]
        flags = [flag if i == 5 else 0] + [0] * (len(values) - 1)
        lines.append(stamp + "".join(f" {v:.1f} {f}" for v, f in zip(values, flags)))
    path.write_text("\n".join(lines) + "\n")
    return path


def _epw(path, *, years=(2019,), hours=8760, temperature="12.5"):
    """An invented year in EPW layout: eight header lines, then 35 fields a row."""
    header = ["LOCATION,Invented,-,XXX,demo,000000,45.0,8.0,1.0,250.0", "DESIGN CONDITIONS,0", "TYPICAL/EXTREME,0"]
    header += ["GROUND TEMPERATURES,0", "HOLIDAYS,No,0,0,0", "COMMENTS 1", "COMMENTS 2", "DATA PERIODS,1,1"]
    days = pd.date_range("2019-01-01", periods=hours, freq="h")
    rows = []
    for time in days:
        year = years[(time.month - 1) % len(years)]
        fields = [year, time.month, time.day, time.hour + 1, 60, "?", temperature, 5.0, 60, 98000, 9999, 9999, 300]
        fields += [100 * (8 <= time.hour < 16), 9999, 60, *[0] * 5, 3.0, *[0] * 13]
        rows.append(",".join(str(f) for f in fields))
    path.write_text("\n".join(header + rows) + "\n")
    return path


def test_typical_years_that_pvlib_carries():
    """Place, hours and units as the files print them (TMY3 manual NREL/TP-581-43156; TMY2 manual NREL/SP-463-7668)."""
    tmy3 = read_weather_file(CARRIED / "723170TYA.CSV")
    assert (tmy3.kind, tmy3.latitude_deg, tmy3.longitude_deg, tmy3.elevation_m) == ("tmy3", 36.1, -79.95, 273.0)
    assert list(tmy3.table.columns) == COLUMNS and tmy3.typical_year and tmy3.interval_min == 60
    assert tmy3.table.index[0] == pd.Timestamp("2001-01-01 00:30-05:00")
    assert tmy3.table.index[-1] == pd.Timestamp("2001-12-31 23:30-05:00")
    tmy2 = read_weather_file(CARRIED / "12839.tm2")
    assert (tmy2.kind, tmy2.name, tmy2.elevation_m) == ("tmy2", "MIAMI FL", 2.0)
    assert tmy2.longitude_deg == pytest.approx(-(80 + 16 / 60))
    # The first rows of the two files, read by eye: 20.6 °C after 20.0, 102,700 Pa at most, 4.1 m/s at 13 h.
    end = read_weather_file(CARRIED / "12839.tm2", at="end")
    assert end.table["air_temperature_c"].iloc[:2].tolist() == pytest.approx([20.0, 20.6])
    assert end.table["wind_speed_m_s"].iloc[12] == pytest.approx(4.1)
    assert end.table["ghi_w_m2"].iloc[12] == 145 and end.table.index[12].hour == 13
    assert end.table["pressure_pa"].between(95_000, 105_000).all()
    assert "Not in the file: reflected_up_w_m2" in tmy3.sentence
    assert "dated 2001" in tmy3.sentence


def test_middle_of_the_hour_moves_sun_and_averages_the_rest():
    end = read_weather_file(CARRIED / "723170TYA.CSV", at="end", year=2003).table
    middle = read_weather_file(CARRIED / "723170TYA.CSV", at="middle", year=2003).table
    assert (middle.index == end.index - pd.Timedelta(minutes=30)).all()
    assert np.array_equal(middle["ghi_w_m2"], end["ghi_w_m2"])
    air = end["air_temperature_c"].to_numpy()
    assert np.allclose(middle["air_temperature_c"].iloc[1:], (air[:-1] + air[1:]) / 2)
    assert middle["air_temperature_c"].iloc[0] == air[0]


def test_surfrad_longitude_gets_its_sign_back(tmp_path):
    west = read_weather_file(_surfrad(tmp_path / "west.dat"))
    assert west.longitude_deg == pytest.approx(-105.92)
    assert "lacks its minus sign" in west.sentence
    right = read_weather_file(_surfrad(tmp_path / "right.dat", printed=-105.92))
    assert right.longitude_deg == pytest.approx(-105.92)
    assert "minus sign" not in right.sentence
    neither = read_weather_file(_surfrad(tmp_path / "neither.dat", printed=20.0))
    assert "fit neither sign" in neither.sentence
    table = west.table
    assert west.interval_min == 1 and str(table.index.tz) == "UTC" and len(table) == 1440
    assert table["pressure_pa"].iloc[0] == pytest.approx(77_350)
    assert table["longwave_up_w_m2"].iloc[0] == 276.0 and table["longwave_down_w_m2"].iloc[0] == 186.3
    assert table["reflected_up_w_m2"].iloc[0] == 90.0


def test_surfrad_flags(tmp_path):
    bad = read_weather_file(_surfrad(tmp_path / "bad.dat", flag=1, minutes=60))
    assert np.isnan(bad.table["ghi_w_m2"].iloc[5]) and bad.table["ghi_w_m2"].notna().sum() == 59
    assert "flagged as bad by the station: 1 of" in bad.sentence
    doubtful = read_weather_file(_surfrad(tmp_path / "doubtful.dat", flag=2, minutes=60))
    assert doubtful.table["ghi_w_m2"].notna().all() and "Kept, flagged as doubtful" in doubtful.sentence


def test_epw_of_a_real_year_and_of_a_typical_one(tmp_path):
    real = read_weather_file(_epw(tmp_path / "real.epw"))
    assert not real.typical_year and real.table.index[0] == pd.Timestamp("2019-01-01 00:30+01:00")
    assert real.table["dni_w_m2"].isna().all() and "Not in the file: dni_w_m2" in real.sentence
    assert real.table["longwave_down_w_m2"].iloc[0] == 300 and real.table["pressure_pa"].iloc[0] == 98_000
    # 8 to 16 h local time carries sun in this file, so its middle is 12 h.
    lit = real.table.index[real.table["ghi_w_m2"] > 0]
    assert (lit.hour + lit.minute / 60).to_numpy().mean() == pytest.approx(12.0)
    typical = read_weather_file(_epw(tmp_path / "typical.epw", years=(2019, 2007, 2013)), year=2005)
    assert typical.typical_year and (typical.table.index.year == 2005).all()
    missing = read_weather_file(_epw(tmp_path / "missing.epw", temperature="99.9"))
    assert missing.table["air_temperature_c"].isna().all()


def test_rows_lost_from_a_file_are_counted_and_not_bridged(tmp_path):
    lines = _epw(tmp_path / "whole.epw").read_text().splitlines()
    fields = [line.split(",") for line in lines[8:]]
    for i, row in enumerate(fields):
        row[6] = str(i % 24)  # air: the hour of the day
    rows = [",".join(row) for row in fields]
    gap = tmp_path / "gap.epw"
    gap.write_text("\n".join([*lines[:8], *rows[:500], *rows[523:]]) + "\n")
    weather = read_weather_file(gap)
    assert "Rows missing from the file: 23; the longest gap begins at 2019-01-21 20:00." in weather.sentence
    after = weather.table["air_temperature_c"].iloc[500:502].tolist()
    assert after == [19.0, 19.5]  # what was read at 19 h stands for the hour after the gap


@pytest.mark.parametrize("encoding", ["latin-1", "utf-8", "utf-8-sig"])
def test_names_with_accents_in_any_encoding(tmp_path, encoding):
    whole = _epw(tmp_path / "whole.epw").read_text().replace("Invented", "Zürich")
    (tmp_path / "coded.epw").write_text(whole, encoding=encoding)
    assert read_weather_file(tmp_path / "coded.epw").name == "Zürich"


def test_what_cannot_be_read_is_said_plainly(tmp_path):
    with pytest.raises(FieldkitError, match="There is no file nowhere"):
        read_weather_file(tmp_path / "nowhere.csv")
    letter = tmp_path / "letter.txt"
    letter.write_text("Dear diary\nit was hot\n")
    with pytest.raises(FieldkitError, match="is not a TMY3, TMY2, EPW or SURFRAD file"):
        read_weather_file(letter)
    with pytest.raises(FieldkitError, match="could not be read as EPW"):
        read_weather_file(letter, kind="epw")
    with pytest.raises(FieldkitError, match="The kind 'grib' is not known"):
        read_weather_file(letter, kind="grib")
    with pytest.raises(FieldkitError, match="at='start' is not known"):
        read_weather_file(letter, at="start")
    for year in (2004, "2003"):
        with pytest.raises(FieldkitError, match="without 29 February"):
            read_weather_file(CARRIED / "723170TYA.CSV", year=year)
    lines = _epw(tmp_path / "whole.epw").read_text().splitlines()
    for rows in (8, 9):
        (tmp_path / "cut.epw").write_text("\n".join(lines[:rows]) + "\n")
        with pytest.raises(FieldkitError, match=f"holds {rows - 8} readings: it ends too early"):
            read_weather_file(tmp_path / "cut.epw")
    (tmp_path / "nowhere.epw").write_text("\n".join([lines[0].replace("45.0,8.0", "145.0,8.0"), *lines[1:]]))
    with pytest.raises(FieldkitError, match=r"latitude 145, longitude 8: there is no such place"):
        read_weather_file(tmp_path / "nowhere.epw")
    short = _epw(tmp_path / "short.epw", years=(2019, 2007), hours=2000)
    with pytest.raises(FieldkitError, match="8,760 hours"):
        read_weather_file(short)
