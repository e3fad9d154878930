"""Rows, sheets and files that used to vanish without a word."""

import re
import shutil
import zipfile

import pandas as pd
import pytest
from season_folder import CHOICES, make, workbook

import fieldkit
from fieldkit.classroom import sheet
from fieldkit.classroom.declared import SHEETS
from fieldkit.core import resource_dir
from fieldkit.records.enclosure.settings import EXAMPLE
from fieldkit.records.problems import SeasonError


def in_workbook(folder):
    """The good folder with its choices as a workbook."""
    make(folder)
    (folder / "choices.csv").unlink()
    rows = [line.split(",")[:10] for line in CHOICES.replace('"cloud, thin"', "cloud").splitlines()]
    rows = [rows[0]] + [
        r[:4] + [int(r[4])] + [r[5]] + [float(x) if x else None for x in r[6:9]] + r[9:] for r in rows[1:]
    ]
    workbook(folder, {"choices": rows, "choices (2)": rows[:3]}, "choices.xlsx")
    return folder


def test_a_wrong_dimension_of_a_sheet_loses_no_row(tmp_path):
    folder = in_workbook(tmp_path / "f")
    book = folder / "choices.xlsx"
    with zipfile.ZipFile(book) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    name = "xl/worksheets/sheet1.xml"
    assert b"<dimension " in parts[name]
    parts[name] = re.sub(rb'<dimension ref="[^"]+"', b'<dimension ref="A1:F3"', parts[name])
    with zipfile.ZipFile(book, "w") as archive:
        for part, data in parts.items():
            archive.writestr(part, data)
    season = fieldkit.read_season(folder)
    assert len(season.choices) == 5 and "irradiance_w_m2" in season.choices


def test_a_quotation_mark_that_swallows_the_whole_file_is_said(tmp_path):
    folder = make(tmp_path / "f")
    text = (folder / "scans.csv").read_text(encoding="utf-8")
    (folder / "scans.csv").write_text('"' + text, encoding="utf-8")
    with pytest.raises(SeasonError) as caught:
        fieldkit.read_season(folder)
    assert "scans.csv" in set(caught.value.problems["file"])


def test_a_sheet_that_was_not_read_is_named(tmp_path):
    said = fieldkit.read_season(in_workbook(tmp_path / "f")).warnings
    assert said["file"].str.contains("choices (2)", regex=False).sum() == 1


def test_a_folder_and_a_file_that_were_not_read_are_named(tmp_path):
    folder = make(tmp_path / "f")
    (folder / "downloads").mkdir()
    (folder / "downloads" / "box.csv").write_text("time,value\n2023-05-14 10:00,20\n")
    (folder / "more.dat").write_text("time,value\n")
    said = fieldkit.read_season(folder).warnings
    assert {"downloads", "more.dat"} <= set(said["file"])


@pytest.mark.parametrize("name", ["group.ods", "group.xls", "group.numbers", "group.docx"])
def test_a_file_of_a_class_folder_that_cannot_be_read_is_named(name, tmp_path):
    lesson = next(iter(SHEETS))
    (tmp_path / name).write_bytes(b"anything")
    with pytest.raises(SeasonError) as caught:
        sheet.read_sheet(lesson, tmp_path)
    assert name in set(caught.value.problems["file"])


@pytest.mark.parametrize("table", ["lamp_readings", "hand_readings"])
def test_a_table_of_an_enclosure_pasted_twice_is_said(table, tmp_path):
    texts = {
        "lamp_readings": "lamp,distance_m,irradiance_w_m2\nbasking,0.25,610\nbasking,0.40,255\n",
        "hand_readings": "time,point,surface_c\n2024-01-14 10:20,B1,38.5\n2024-01-14 11:20,C1,24.0\n",
    }
    (tmp_path / "enclosure.toml").write_text(EXAMPLE, encoding="utf-8")
    (tmp_path / "readings.csv").write_text(
        "time,logger_id,value\n2024-01-14 10:20,air-1,23.5\n2024-01-14 10:20,rock-1,40\n"
    )
    text = texts[table]
    (tmp_path / f"{table}.csv").write_text(text)
    once = fieldkit.read_enclosure(tmp_path).warnings
    (tmp_path / f"{table}.csv").write_text(text + text.split("\n", 1)[1])
    try:
        twice = fieldkit.read_enclosure(tmp_path).warnings
    except SeasonError as error:
        twice = error.problems
    new = twice[~twice["problem"].isin(once["problem"])]
    assert len(new) and set(new["file"]) == {f"{table}.csv"} and new["row"].notna().all()


def test_station_days_in_plain_form_come_out_as_the_careful_reader_has_them(tmp_path):
    folder = tmp_path / "f"
    shutil.copytree(resource_dir("data") / "demo_season", folder)
    for name in ("loggers.csv", "scans.csv"):
        (folder / name).unlink()
    fast = fieldkit.read_season(folder)
    text = (folder / "weather.csv").read_text(encoding="utf-8")
    (folder / "weather.csv").write_text(text.replace("station_id", "Station_ID", 1), encoding="utf-8")
    slow = fieldkit.read_season(folder)
    pd.testing.assert_frame_equal(fast.weather, slow.weather)
    pd.testing.assert_frame_equal(fast.rows["weather"], slow.rows["weather"])
    pd.testing.assert_frame_equal(fast.warnings, slow.warnings)
