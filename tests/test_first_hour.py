"""What a newcomer does first: own headers, other languages, ticks, dotted dates, blank cells; and what mends it."""

import tomllib

import pytest
from season_folder import make, swap, workbook

import fieldkit
from fieldkit import cli
from fieldkit.records.problems import SeasonError
from fieldkit.records.season import settings

ONLY = ("loggers.csv", "scans.csv", "weather.csv")


def choices(folder, text, encoding="utf-8"):
    """A season folder with nothing but these choices."""
    make(folder)
    for name in ONLY:
        (folder / name).unlink()
    (folder / "choices.csv").write_text(text, encoding=encoding)
    return folder


GERMAN = """Satz;Datum;Uhrzeit;Tier;Ort;benutzt;Luft [°C];Boden [°C];Sonne W/m2
S1;14.05.2023;10:20;R1;P1;ja;21,5;33,0;640
S1;14.05.2023;10:22;R1;P2;nein;21,4;25,5;410
S2;04.05.2023;09:05;R2;P1;ja;18,0;k.A.;600
S2;04.05.2023;09:07;R2;P4;nein;18,2;24,5;350
"""
COLUMNS = """
[columns.choices]
"Satz" = "set_id"
"Datum" = "date"
"Uhrzeit" = "time"
"Tier" = "animal_id"
"Ort" = "place_id"
"benutzt" = "used"
"Luft" = "shade_air"
"Luft [°C]" = "shade_air"
"Boden [°C]" = "surface"
"Sonne W/m2" = "irradiance"
"""


def test_separate_columns_under_german_headers_are_read(tmp_path):
    folder = choices(tmp_path / "f", GERMAN)
    with open(folder / "season.toml", "a", encoding="utf-8") as file:
        file.write(COLUMNS)
    season = fieldkit.read_season(folder)
    table = season.choices
    assert table["time"].dt.strftime("%d.%m. %H:%M").tolist()[::3] == ["14.05. 10:20", "04.05. 09:07"]
    assert table["used"].tolist() == [1, 0, 1, 0]
    assert table["surface_c"].isna().tolist() == [False, False, True, False]
    assert table["irradiance_w_m2"].tolist() == [640, 410, 600, 350]


def test_dotted_dates_are_day_first_and_slashes_are_asked(tmp_path):
    text = "set_id,time,place_id,used,shade_air_c,surface_c,irradiance_w_m2\n"
    text += "S1,04.05.2023 10:20,P1,1,21,30,500\nS1,04.05.2023 10:21,P2,0,21,25,400\n"
    season = fieldkit.read_season(choices(tmp_path / "dots", text))
    assert season.choices["time"].dt.month.tolist() == [5, 5]
    with pytest.raises(SeasonError):
        fieldkit.read_season(choices(tmp_path / "slashes", text.replace(".05.", "/05/")))


def test_ticks_and_blank_continuation_cells(tmp_path):
    text = "set_id,time,place_id,used,shade_air_c,surface_c,irradiance_w_m2\n"
    text += "S1,2023-05-14 10:20,P1,x,21,30,500\n,,P2,,21,25,400\n,,P3,,22,26,300\n"
    text += "S2,2023-05-15 10:20,P1,x,20,31,550\n,2023-05-15 10:24,P2,,21,25,350\n"
    season = fieldkit.read_season(choices(tmp_path / "f", text))
    assert season.choices["set_id"].tolist() == ["S1", "S1", "S1", "S2", "S2"]
    assert season.choices["used"].tolist() == [1, 0, 0, 1, 0]
    assert season.choices["time"].dt.minute.tolist() == [20, 20, 20, 20, 24]
    assert {"used", "set_id"} <= set(season.warnings["column"])


def test_remarks_without_a_header_are_kept_as_notes(tmp_path):
    folder = choices(tmp_path / "f", "")
    (folder / "choices.csv").unlink()
    head = ["set_id", "time", "place_id", "used", "shade_air_c", "surface_c", "irradiance_w_m2"]
    rows = [["S1", "2023-05-14 10:20", "P1", 1, 21.5, 33, 640, "thin cloud"]]
    rows += [["S1", "2023-05-14 10:22", "P2", 0, 21.4, 25.5, 410]]
    workbook(folder, {"choices": [head, *rows]})
    season = fieldkit.read_season(folder)
    assert season.choices["notes"].iloc[0] == "thin cloud"
    assert "notes" in " ".join(season.warnings["problem"])


def test_weather_files_may_bear_the_name_of_their_station(tmp_path):
    folder = make(tmp_path / "f")
    (folder / "weather.csv").unlink()
    (folder / "weather").mkdir()
    (folder / "weather" / "airfield.csv").write_text("date,tmax_c,tmin_c\n2023-05-14,24,11\n2023-05-15,22,10\n")
    assert fieldkit.read_season(folder).weather["station_id"].tolist() == ["airfield", "airfield"]


def test_a_header_is_suggested_only_where_its_cells_fit(tmp_path):
    text = "set_id,when seen,time of year,place_id,used,shade_air_c,surface_c,irradiance_w_m2\n"
    text += "S1,2023-05-14 10:20,spring,P1,1,21,30,500\nS1,2023-05-14 10:22,spring,P2,0,21,25,400\n"
    with pytest.raises(SeasonError) as caught:
        fieldkit.read_season(choices(tmp_path / "f", text))
    assert caught.value.problems.attrs["suggested"] == [("columns.choices", "when seen", "time")]


def test_repeated_messages_are_one_line_with_a_count(tmp_path, capsys):
    folder = make(tmp_path / "f")
    scans = (folder / "scans.csv").read_text().splitlines()
    (folder / "scans.csv").write_text("\n".join(scans + scans[1:] * 30) + "\n")
    cli.main(["check", str(folder)])
    said = capsys.readouterr().out
    assert said.count("in every cell") == 1 and "60 rows" in said


def test_check_writes_the_lines_it_suggests_and_keeps_the_old_file(tmp_path, capsys):
    folder = make(tmp_path / "f")
    swap(folder, "choices.csv", "set_id,time", "set_id,When was it")
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    assert cli.main(["check", str(folder)]) == cli.MISTAKE
    assert '"When was it" = "time"' in capsys.readouterr().out
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before

    assert cli.main(["check", "--fix-settings", str(folder)]) == cli.MISTAKE
    assert cli.main(["check", str(folder)]) == cli.OK
    after = {p.name: p.read_bytes() for p in folder.iterdir()}
    assert after.pop("season.old-1.txt") == before["season.toml"]
    assert {k: v for k, v in after.items() if k != "season.toml"} == {
        k: v for k, v in before.items() if k != "season.toml"
    }
    new = tomllib.loads(after["season.toml"].decode())
    assert new.pop("columns") == {"choices": {"When was it": "time"}}
    assert new == tomllib.loads(settings.EXAMPLE)
