"""Reading an enclosure folder: what is right in standard units, what is wrong in plain sentences, all at once."""

import io

import numpy as np
import pandas as pd
import pytest

import fieldkit
from fieldkit.records.enclosure.settings import EXAMPLE

LAMPS = "lamp,distance [cm],angle,irradiance_w_m2\nbasking,25,0,610\nbasking,40,,255\n"
READINGS = """time,logger_id,value
2024-01-14 10:20,air-1,23.5
2024-01-14 10:30,air-1,23.6
2024-01-14 10:20,rock-1,41.0
2024-01-14 10:30,rock-1,
"""


def make(folder, toml=EXAMPLE, readings=READINGS, **tables):
    folder.mkdir(exist_ok=True)
    (folder / "enclosure.toml").write_text(toml, encoding="utf-8")
    if readings is not None:
        (folder / "readings.csv").write_text(readings, encoding="utf-8")
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def said(folder):
    """Every mistake as one line of text."""
    with pytest.raises(fieldkit.EnclosureError) as caught:
        fieldkit.read_enclosure(folder)
    table = caught.value.problems
    return table[table["severity"] == "error"]


def test_a_good_folder(tmp_path):
    record = fieldkit.read_enclosure(make(tmp_path / "good", lamp_readings=LAMPS))
    assert record.name == "Shelf enclosure" and not record.invented
    assert record.geometry.room_day_c == 21.0 and record.geometry.top == "mesh"
    assert record.lamps.loc[0, ["id", "power_w", "on"]].tolist() == ["basking", 75.0, "08:00"]
    assert record.lamp_readings["irradiance_w_m2"].tolist() == [610, 255]
    assert record.lamp_readings["distance_m"].tolist() == [0.25, 0.4]
    assert record.lamp_readings["angle_deg"].tolist() == [0, 0]
    assert record.points.set_index("point_id").loc["C1", "zone"] == "cool end"
    first = record.readings.iloc[0]
    assert first["zone"] == "cool end" and first["role"] == "shade_air" and first["error"] == 0.3
    assert str(record.readings["time"].dt.tz) == "America/New_York"
    assert np.isnan(record.readings["value"].iloc[-1])
    assert len(record.input_hash) == 64
    assert "2 points" in record.sentence


def test_units_are_turned_into_standard_ones(tmp_path):
    toml = EXAMPLE.replace(
        'role = "shade_air"\nunit = "degC"\nerror = 0.3', 'role = "shade_air"\nunit = "degF"\nerror = 0.9'
    )
    record = fieldkit.read_enclosure(make(tmp_path / "f", toml, READINGS.replace("23.5", "74.3").replace("23.6", "77")))
    assert record.readings["value"].iloc[0] == pytest.approx(23.5)
    assert record.readings["error"].iloc[0] == pytest.approx(0.5)


def test_the_plain_and_the_careful_reader_agree(tmp_path):
    tidy = fieldkit.read_enclosure(make(tmp_path / "a"))
    untidy = READINGS.replace(",", ";").replace("23.5", "23,5").replace("23.6", "23,6").replace("41.0", "41,0")
    careful = fieldkit.read_enclosure(make(tmp_path / "b", readings=untidy.replace("2024-01-14", "14 Jan 2024")))
    pd.testing.assert_frame_equal(tidy.readings, careful.readings)


def test_a_date_without_a_time_is_not_midnight(tmp_path):
    rows = said(make(tmp_path / "d", readings=READINGS.replace("2024-01-14 10:30,air-1", "2024-01-15,air-1")))
    assert "no time of day" in rows["problem"].iloc[0]
    assert rows["row"].iloc[0] == 3


def test_hours_that_repeat_in_autumn_are_settled_by_their_order(tmp_path):
    times = pd.date_range("2024-11-03 00:00", periods=20, freq="15min", tz="America/New_York")
    lines = ["time,logger_id,value"] + [f"{t:%Y-%m-%d %H:%M},air-1,{20 + i / 10}" for i, t in enumerate(times)]
    record = fieldkit.read_enclosure(make(tmp_path / "dst", readings="\n".join(lines) + "\n"))
    assert (record.readings["time"].to_numpy() == times.to_numpy()).all()
    assert record.warnings["problem"].str.contains("Hours repeat").any()


def test_every_mistake_is_said_at_once(tmp_path):
    toml = (
        EXAMPLE.replace('walls = "wood"', 'walls = "wod"')
        .replace("power_w = 75", 'power_w = "75 W"')
        .replace('on = "08:00"', 'on = "8 am"')
        .replace('zone = "cool end"', 'zone = "cold"')
        .replace('point = "B1"\nrole = "surface"\nunit', 'point = "B1"\nrole = "surfce"\nunit')
        .replace("room_temperature_c = { day = 21.0, night = 18.0 }", "room_temperature_c = { day = 21.0 }")
    )
    rows = said(make(tmp_path / "bad", toml))
    assert set(rows["column"]) == {
        "enclosure.walls",
        "enclosure.room_temperature_c",
        "lamps.basking.power_w",
        "lamps.basking.on",
        "points.C1.zone",
        "loggers.rock-1.role",
    }
    assert rows["row"].notna().all() and rows["remedy"].str.len().gt(5).all()
    lines = toml.splitlines()
    for row in rows.itertuples(index=False):
        assert row.column.split(".")[-1] in lines[int(row.row) - 1]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('point = "C1"', 'point = "C9"', "No point of this enclosure"),
        ("x_m = 1.05", "x_m = 2.05", "outside the enclosure"),
        ('off = "20:00"\n', "", "only one of on and off"),
        ('unit = "degC"\nerror = 0.3', 'unit = "lux"\nerror = 0.3', "Lux weighs light"),
        ('spectrum = "blackbody 2700 K, glass 330 nm"', 'spectrum = "spectra/none.csv"', "cannot be opened"),
        ("\n[[lamps]]\n", "\n[lamps]\n", "Lamps are a list"),
        ("fixed = true\n", 'fixed = true\ncontrolled_by = "stat"\nset_point_c = 28\n', "No logger of this enclosure"),
        ("length_m = 1.2", "length_m = 1,2", "cannot be read"),
        ('name = "Shelf enclosure"\n', "", "missing"),
        ("error = 0.3", "error = -0.3", "above 0"),
        ('timezone = "America/New_York"', 'timezone = "America/Nowhere"', "no such time zone"),
        ('role = "surface"', 'role = ["surface"]', "should be text"),
        ('id = "basking"', 'id = ["basking"]', "should be text"),
        ("day = 21.0, night = 18.0", f"day = {10**20}, night = 18.0", "outside -90 to 60"),
    ],
)
def test_one_mistake_one_sentence(tmp_path, old, new, words):
    assert old in EXAMPLE
    rows = said(make(tmp_path / "one", EXAMPLE.replace(old, new, 1)))
    text = " ".join(rows["problem"])
    assert words in text
    assert "season.toml" not in text + " ".join(rows["remedy"]) + " ".join(rows["file"])


def test_mistakes_in_readings(tmp_path):
    bad = READINGS + "2024-01-14 10:40,air-2,23.9\n2024-01-14 10:50,air-1,hot\n2024-01-14 11:00,air-1,-999\n"
    bad += "2024-01-14 11:10,air-1,150\n2024-01-14 10:20,air-1,25.0\n"
    rows = said(make(tmp_path / "r", readings=bad))
    text = " ".join(rows["problem"])
    for words in ("does not know this logger", "not a number", "code for a missing", "outside -90", "another reading"):
        assert words in text, words
    assert "enclosure.toml" in text and "season.toml" not in text + " ".join(rows["remedy"])


def test_what_is_not_there(tmp_path):
    assert "no such folder" in said(tmp_path / "nowhere")["problem"].iloc[0]
    (tmp_path / "empty").mkdir()
    assert "no enclosure.toml" in said(tmp_path / "empty")["problem"].iloc[0]
    warned = fieldkit.read_enclosure(make(tmp_path / "none", readings=None)).warnings
    assert "No readings of air-1, rock-1 were found." in warned["problem"].tolist()


def test_a_logger_without_an_error_is_looked_at(tmp_path):
    record = fieldkit.read_enclosure(make(tmp_path / "w", EXAMPLE.replace("error = 1.0\n", "")))
    assert record.warnings["problem"].str.contains("No error is stated").any()
    assert record.logger_info.set_index("logger_id")["error"].isna()["rock-1"]


def test_a_workbook_will_do(tmp_path):
    folder = make(tmp_path / "x", readings=None)
    frame = pd.read_csv(io.StringIO(READINGS))
    frame.to_excel(folder / "readings.xlsx", index=False)
    assert len(fieldkit.read_enclosure(folder).readings) == 4


WIDE = """My logger, serial 7
Date/Time,Probe 1 (°F),Probe 2 (°F),Battery
2024-01-14 10:20,74.3,,3.1
2024-01-14 10:30,75.2,104,3.1
2024-01-14 10:40,,105.8,3.1
"""
BY_COLUMN = EXAMPLE.replace('unit = "degC"\nerror = 0.3', 'unit = "degF"\ncolumn = "Probe 1 (°F)"').replace(
    'unit = "degC"\nerror = 1.0', 'unit = "degF"\ncolumn = "Probe 2"'
)


def test_a_column_for_each_logger(tmp_path):
    record = fieldkit.read_enclosure(make(tmp_path / "w", BY_COLUMN, WIDE))
    read = record.readings.groupby("logger_id", observed=True)["value"].apply(list)
    assert np.allclose(read["air-1"], [23.5, 24.0]) and np.allclose(read["rock-1"], [40.0, 41.0])
    assert record.readings["time"].dt.strftime("%H:%M").tolist() == ["10:20", "10:30", "10:30", "10:40"]
    assert record.warnings["column"].str.contains("Battery").any()


def test_the_fast_and_the_careful_reader_of_columns_agree(tmp_path):
    plain = WIDE.split("\n", 1)[1].replace(",Battery", "").replace(",3.1", "")
    fast = fieldkit.read_enclosure(make(tmp_path / "a", BY_COLUMN, plain))
    careful = fieldkit.read_enclosure(make(tmp_path / "b", BY_COLUMN, plain.replace("2024-01-14", "14 Jan 2024")))
    pd.testing.assert_frame_equal(fast.readings, careful.readings)
    assert len(fast.readings) == 4
    for old, new in (
        ("74.3", "hot"),
        ("74.3", "-999"),
        ("2024-01-14 10:20", "2024-01-14"),
        ("(°F),Probe", "(°C),Probe"),
    ):
        assert len(said(make(tmp_path / "c", BY_COLUMN, plain.replace(old, new, 1)))) == 1


def test_exports_in_a_folder_and_in_a_workbook_are_the_same(tmp_path):
    one = fieldkit.read_enclosure(make(tmp_path / "a", BY_COLUMN, WIDE))
    two = make(tmp_path / "b", BY_COLUMN, None)
    (two / "readings").mkdir()
    (two / "readings" / "Export July.csv").write_text(WIDE, encoding="utf-8")
    three = make(tmp_path / "c", BY_COLUMN, None)
    frame = pd.read_csv(io.StringIO(WIDE), skiprows=1, parse_dates=["Date/Time"])
    with pd.ExcelWriter(three / "enclosure.xlsx") as book:
        frame.to_excel(book, sheet_name="readings", index=False)
    for folder in (two, three):
        pd.testing.assert_frame_equal(one.readings, fieldkit.read_enclosure(folder).readings)


def test_the_clock_a_header_names_is_used(tmp_path):
    wide = WIDE.replace("Date/Time", '"Date Time, GMT-04:00"')
    record = fieldkit.read_enclosure(make(tmp_path / "w", BY_COLUMN, wide))
    assert record.readings["time"].iloc[0].isoformat() == "2024-01-14T09:20:00-05:00"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("Probe 1 (°F)", "Probe 1 (°C)", "The header says °C, enclosure.toml says degF"),
        ("Probe 1 (°F),Probe 2 (°F)", "Sensor A,Sensor B", "No logger in enclosure.toml has these columns"),
        ("74.3", "n. a. now", "not a number"),
        ("2024-01-14 10:20", "", "cell is empty"),
        ("2024-01-14 10:20", "03/04/2024 10:20", "can be read either way round"),
        ("74.3", "743", "outside"),
    ],
)
def test_mistakes_in_a_column_for_each_logger(tmp_path, old, new, words):
    rows = said(make(tmp_path / "w", BY_COLUMN, WIDE.replace(old, new, 1)))
    assert rows["problem"].str.contains(words, regex=False).any(), rows["problem"].tolist()
    assert rows["remedy"].str.len().gt(10).all()


HAND = "time,point,surface [°F],shade_air_c\n2024-01-14 13:00,B1,118.4,\n2024-01-14 13:05,C1,,24.5\n"


def test_readings_by_hand_count_as_loggers(tmp_path):
    bare = EXAMPLE[: EXAMPLE.index("# One section for each logger")] + "[instruments.surface_c]\nerror = 1.5\n"
    record = fieldkit.read_enclosure(make(tmp_path / "h", bare, None, hand_readings=HAND))
    info = record.logger_info.set_index("logger_id")
    assert info.loc["surface by hand, B1", ["zone", "role", "error"]].tolist() == ["basking site", "surface", 1.5]
    assert np.allclose(record.readings["value"], [24.5, 48.0])
    assert record.warnings["problem"].str.contains("reads shade air by hand").sum() == 1


@pytest.mark.parametrize(
    ("tables", "words"),
    [
        ({"hand_readings": HAND.replace("B1", "B9")}, "does not describe this point"),
        ({"hand_readings": HAND.replace("118.4", "")}, "no reading at all"),
        ({"hand_readings": HAND.replace("surface [°F]", "surface")}, "unit of this column"),
        ({"hand_readings": HAND.replace("shade_air_c", "lux").replace("surface [°F]", "gun")}, "None of these columns"),
        ({"lamp_readings": LAMPS.replace("basking,25", "uvb,25")}, "does not describe this lamp"),
        ({"lamp_readings": LAMPS.replace("610", "")}, "no reading at all"),
        ({"lamp_readings": LAMPS.replace("[cm]", "[yd]")}, "unit is not known"),
    ],
)
def test_mistakes_in_tables_of_hand_and_lamp(tmp_path, tables, words):
    rows = said(make(tmp_path / "t", **tables))
    assert rows["problem"].str.contains(words).any(), rows["problem"].tolist()
    assert rows["remedy"].str.len().gt(10).all()
    assert not rows["remedy"].str.contains("season.toml").any()


def test_rows_in_two_places_are_not_mixed(tmp_path):
    folder = make(tmp_path / "two", readings=READINGS)
    with pd.ExcelWriter(folder / "enclosure.xlsx") as book:
        pd.read_csv(io.StringIO(READINGS)).to_excel(book, sheet_name="readings", index=False)
    assert "stand in" in said(folder)["problem"].iloc[0]


def test_lengths_in_feet_or_inches_are_asked_about(tmp_path):
    inches = said(make(tmp_path / "i", EXAMPLE.replace("length_m = 1.2", "length_m = 48")))
    assert "48 inches 1.22" in inches["remedy"].iloc[0]
    feet = fieldkit.read_enclosure(make(tmp_path / "f", EXAMPLE.replace("length_m = 1.2", "length_m = 4")))
    assert feet.warnings["remedy"].str.contains("4 feet would be 1.2 m").any()


def test_loggers_that_paused_together_are_one_thing_to_look_at(tmp_path):
    times = pd.date_range("2024-01-01", periods=10, freq="10min").append(
        pd.date_range("2024-06-01", periods=10, freq="10min")
    )
    log = "time,logger_id,value\n"
    log += "".join(f"{t:%Y-%m-%d %H:%M},{n},{20 + i % 3}\n" for n in ("air-1", "rock-1") for i, t in enumerate(times))
    gaps = fieldkit.read_enclosure(make(tmp_path / "g", readings=log)).warnings
    gaps = gaps[gaps["problem"].str.contains("no readings at some times")]
    assert len(gaps) == 1 and gaps["problem"].iloc[0].startswith("air-1, rock-1 have")


def test_lines_that_cannot_be_read_are_said_at_once(tmp_path):
    toml = EXAMPLE.replace('walls = "wood"', "walls = wood").replace("guarded = true", "guarded = yes")
    rows = said(make(tmp_path / "t", toml.replace('on = "08:00"', "on = 8:00")))
    assert len(rows) == 3 and rows["row"].is_monotonic_increasing
    lines = toml.splitlines()
    assert [lines[r - 1].split(" ")[0] for r in rows["row"]] == ["walls", "on", "guarded"]
    assert "true or false" in rows["remedy"].iloc[2]


@pytest.mark.parametrize(
    ("box", "kind"),
    [("100 W halogen flood", "heat"), ("UVB T5", "uv"), ("ceramic emitter", "dark heater"), ("LED strip", "visible")],
)
def test_what_the_box_says_is_turned_into_a_kind(tmp_path, box, kind):
    rows = said(make(tmp_path / "k", EXAMPLE.replace('kind = "heat"', f'kind = "{box}"')))
    assert len(rows) == 1 and rows["remedy"].iloc[0].startswith(f'Write kind = "{kind}"')
