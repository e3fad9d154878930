"""Folders as they come from the field: each mistake has to be named with file, row, column, value and what to do."""

import datetime as dt
import subprocess
import sys

import pytest
from season_folder import CHOICES, make, swap, workbook

from fieldkit import cli
from fieldkit.records.problems import SeasonError
from fieldkit.records.season.reader import read_season

C, L, T = "choices.csv", "loggers.csv", "season.toml"


def edit(file, old, new):
    return lambda folder: swap(folder, file, old, new)


def write(file, text, encoding="utf-8"):
    return lambda folder: (folder / file).write_text(text, encoding=encoding)


def raw(file, data):
    return lambda folder: (folder / file).write_bytes(data)


def choices_in_workbook(change):
    """The choices as a workbook, one cell changed before saving."""

    def act(folder):
        (folder / C).unlink()
        rows = [line.split(",") for line in CHOICES.replace('"cloud, thin"', "cloud").splitlines()]
        head, body = (
            rows[0],
            [r[:4] + [int(r[4])] + [r[5]] + [float(x) if x else None for x in r[6:9]] for r in rows[1:]],
        )
        for row in body:
            row[1] = dt.datetime.fromisoformat(row[1])
        change(body)
        workbook(folder, {"choices": [head, *body]}, "choices.xlsx")

    return act


def set_cell(row, column, value):
    return choices_in_workbook(lambda body: body[row].__setitem__(column, value))


def many(*changes):
    return lambda folder: [change(folder) for change in changes]


# name: (what is done to a good folder, file, row, column, value, words of the problem, words of the remedy)
BROKEN = {
    "no settings": (lambda f: (f / T).unlink(), T, None, "", "", "no season.toml", "fieldkit new"),
    "a list where a role belongs": (
        edit(T, 'role = "shade_air"', 'role = ["shade_air"]'),
        T,
        38,
        "loggers.shade-1.role",
        "['shade_air']",
        "should be text",
        "straight quotation marks",
    ),
    "year with a digit too many": (
        edit(C, "S2,2023-05-15 09:05", "S2,9999-05-15 09:05"),
        C,
        5,
        "time",
        "9999-05-15 09:05",
        "year 9999",
        "Correct the date",
    ),
    "settings named wrongly": (
        lambda f: (f / T).rename(f / "season.toml.txt"),
        T,
        None,
        "",
        "",
        "no season.toml",
        "Rename season.toml.txt",
    ),
    "decimal comma in settings": (
        edit(T, "latitude_deg = 36.1\n", "latitude_deg = 36,1\n"),
        T,
        9,
        "",
        "latitude_deg = 36,1",
        "cannot be read",
        "with a point",
    ),
    "text without quotes": (
        edit(T, '"the quarry"', "the quarry"),
        T,
        8,
        "",
        "name = the quarry",
        "cannot be read",
        "quotation marks",
    ),
    "curly quotes": (
        edit(T, '"the quarry"', "“the quarry”"),
        T,
        8,
        "",
        "name = “the quarry”",
        "cannot be read",
        "straight quotation marks",
    ),
    "section twice": (edit(T, "[animal]", "[site]"), T, 14, "", "[site]", "second time", "Keep one"),
    "no such zone": (
        edit(T, "America/New_York", "Eastern"),
        T,
        12,
        "site.timezone",
        "Eastern",
        "no such time zone",
        "America/New_York",
    ),
    "latitude left out": (
        edit(T, "latitude_deg = 36.1\n", ""),
        T,
        7,
        "site.latitude_deg",
        "",
        "missing",
        "Add latitude_deg",
    ),
    "setting misspelt": (
        edit(T, "elevation_m = 270", "elevaton_m = 270"),
        T,
        7,
        "site.elevation_m",
        "",
        "missing",
        "where it says elevaton_m",
    ),
    "latitude and longitude swapped": (
        edit(T, "latitude_deg = 36.1\n", "latitude_deg = -179.9\n"),
        T,
        9,
        "site.latitude_deg",
        "-179.9",
        "outside -90 to 90",
        "Correct it",
    ),
    "number in quotes": (
        edit(T, "elevation_m = 270", 'elevation_m = "270"'),
        T,
        11,
        "site.elevation_m",
        "270",
        "should be a number",
        "without quotation marks",
    ),
    "season ends first": (
        edit(T, "2023-10-20", "2022-10-20"),
        T,
        5,
        "season.last_day",
        "2022-10-20",
        "ends before it begins",
        "Correct first_day",
    ),
    "instrument of no column": (
        edit(T, "[instruments.surface_c]", "[instruments.surfaces_c]"),
        T,
        26,
        "instruments.surfaces_c",
        "",
        "No column",
        "surface_c",
    ),
    "error of nought": (
        edit(T, "error = 1.5", "error = 0"),
        T,
        28,
        "instruments.surface_c.error",
        "0",
        "above 0",
        "standard deviation",
    ),
    "logger role unknown": (
        edit(T, '"shade_air"', '"air"'),
        T,
        38,
        "loggers.shade-1.role",
        "air",
        "not one of the choices",
        "shade_air",
    ),
    "logger in lux": (
        many(edit(T, 'role = "shade_air"\nunit = "degC"', 'role = "irradiance"\nunit = "klux"')),
        T,
        39,
        "loggers.shade-1.unit",
        "klux",
        "human eyes",
        "W/m²",
    ),
    "no table at all": (
        lambda f: [(f / n).unlink() for n in (C, L, "scans.csv", "weather.csv")],
        "broken",
        None,
        "",
        "",
        "No table in this folder",
        "choices.csv",
    ),
    "column missing": (
        edit(C, "surface_c", "Ground temp"),
        C,
        1,
        "surface_c",
        "",
        "missing",
        "rename it to 'surface [UNIT]'",
    ),
    "column misspelt": (edit(C, "surface_c", "surfce_c"), C, 1, "surface_c", "", "missing", "rename it to 'surface_c'"),
    "column twice": (edit(C, "observer,notes", "notes,notes"), C, 1, "notes", "", "Two columns", "Rename"),
    "two columns mean one": (
        edit(C, "observer,notes", "observer,Surface (°F)"),
        C,
        1,
        "Surface (°F)",
        "",
        "'surface_c' both mean surface_c",
        "Keep one of them",
    ),
    "a number beyond all measure": (
        many(edit(C, "shade_air_c,surface_c", "shade_air_c,surface [degF]"), edit(C, "33.0", "1e300")),
        C,
        2,
        "surface [degF]",
        "1e300",
        "outside -95 to 100",
        "Correct the reading",
    ),
    "unit not said": (
        edit(C, "surface_c", "surface"),
        C,
        1,
        "surface",
        "",
        "says the unit",
        "surface [°C]",
    ),
    "light in place of radiation": (
        edit(C, "irradiance_w_m2", "irradiance [klux]"),
        C,
        1,
        "irradiance [klux]",
        "klux",
        "human eyes",
        "W/m²",
    ),
    "two units for one column": (
        many(
            edit(C, "surface_c", "surface [degC]"),
            lambda f: swap(f, T, "[site]", '[units]\nsurface = "degF"\n\n[site]'),
        ),
        C,
        1,
        "surface [degC]",
        "degF",
        "season.toml says degF",
        "Correct one",
    ),
    "unit in the cell": (edit(C, "33.0", "33.0 C"), C, 2, "surface_c", "33.0 C", "not a number", "into the header"),
    "remark in the cell": (edit(C, "33.0", "~33"), C, 2, "surface_c", "~33", "not one number", "notes column"),
    "spreadsheet error": (
        edit(C, "33.0", "#DIV/0!"),
        C,
        2,
        "surface_c",
        "#DIV/0!",
        "formula in this cell",
        "leave the cell",
    ),
    "code for nothing": (
        edit(C, "33.0", "-999"),
        C,
        2,
        "surface_c",
        "-999",
        "code for a missing",
        "Leave the cell empty",
    ),
    "infinite": (edit(C, "33.0", "inf"), C, 2, "surface_c", "inf", "not a number", "Write the reading"),
    "Fahrenheit as Celsius": (
        edit(C, "21.5", "70.7"),
        C,
        2,
        "shade_air_c",
        "70.7",
        "outside -90 to 60 °C",
        "shade_air [degF]",
    ),
    "radiation beyond the sun": (
        edit(C, "640", "64000"),
        C,
        2,
        "irradiance_w_m2",
        "64000",
        "outside -50 to 2000 W/m²",
        "Correct the reading",
    ),
    "two decimal marks": (edit(C, "33.0", '"33,0"'), C, 2, "surface_c", "33,0", "both decimal commas", "[numbers]"),
    "decimal comma in a comma file": (
        edit(C, '25.5,410,A,"cloud, thin"', '25,5,410,A,"cloud, thin"'),
        C,
        3,
        "",
        "cloud, thin",
        "beyond the last named column",
        "decimal comma",
    ),
    "used is a word": (edit(C, "P2,0", "P2,maybe"), C, 3, "used", "maybe", "neither 1 nor 0", "Write 1 for the place"),
    "used is 2": (edit(C, "P1,1,rock,21.5", "P1,2,rock,21.5"), C, 2, "used", "2", "neither 1 nor 0", "Write 1"),
    "used is empty": (edit(C, "P2,0", "P2,"), C, 3, "used", "", "empty", "1 = the animal was here"),
    "set without a used place": (
        edit(C, "P1,1,rock,21.5", "P1,0,rock,21.5"),
        C,
        2,
        "used",
        "0",
        "no used place",
        "Write 1 where",
    ),
    "place twice in a set": (
        edit(C, "R1,P3", "R1,P2"),
        C,
        4,
        "place_id",
        "P2",
        "twice in choice set S1 (first in row 3",
        "Delete one",
    ),
    "two animals in a set": (
        edit(C, "R1,P2", "R7,P2"),
        C,
        3,
        "animal_id",
        "R7",
        "more than one animal",
        "a set of its own",
    ),
    "a set over two days": (
        edit(C, "2023-05-14 10:24", "2023-05-17 10:24"),
        C,
        4,
        "time",
        "2023-05-17 10:24",
        "4,324 minutes apart",
        "within 30 minutes",
    ),
    "day or month": (
        edit(C, "2023-05-14 10:22", "05/04/2023 10:22"),
        C,
        3,
        "time",
        "05/04/2023 10:22",
        "either way round",
        'order = "dmy"',
    ),
    "both orders": (
        many(edit(C, "2023-05-14 10:22", "14/05/2023 10:22"), edit(C, "2023-05-14 10:24", "05/14/2023 10:24")),
        C,
        3,
        "time",
        "14/05/2023 10:22",
        "only be day/month and others only month/day",
        "year-month-day",
    ),
    "no such day": (
        edit(C, "2023-05-14 10:22", "2023-06-31 10:22"),
        C,
        3,
        "time",
        "2023-06-31 10:22",
        "no day 31 in month 6",
        "Correct the date",
    ),
    "year of two digits": (
        edit(C, "2023-05-14 10:22", "14.05.23 10:22"),
        C,
        3,
        "time",
        "14.05.23 10:22",
        "two digits",
        "all four digits",
    ),
    "hour 24": (
        edit(L, "2023-05-14 10:10,shade-1", "2023-05-14 24:00,shade-1"),
        L,
        3,
        "time",
        "2023-05-14 24:00",
        "next day",
        "00:00",
    ),
    "no time of day": (
        edit(C, "2023-05-14 10:22", "2023-05-14"),
        C,
        3,
        "time",
        "2023-05-14",
        "no time of day",
        "Add the time",
    ),
    "no day": (edit(C, "2023-05-14 10:22", "10:22"), C, 3, "time", "10:22", "without a day", "date column"),
    "time is a word": (
        edit(C, "2023-05-14 10:22", "morning"),
        C,
        3,
        "time",
        "morning",
        "not a date and time",
        "2023-05-14",
    ),
    "the hour that never was": (
        many(
            edit(T, "2023-03-15", "2023-03-01"),
            edit(L, "2023-05-14 10:10,shade-1", "2023-03-12 02:30,shade-1"),
        ),
        L,
        3,
        "time",
        "2023-03-12 02:30",
        "never was in America/New_York",
        "UTC-05:00",
    ),
    "the hour that came twice": (
        many(
            edit(T, "2023-10-20", "2023-11-20"),
            edit(L, "2023-05-14 10:10,shade-1", "2023-11-05 01:30,shade-1"),
        ),
        L,
        3,
        "time",
        "2023-11-05 01:30",
        "twice in America/New_York",
        "Write the offset",
    ),
    "in the future": (
        edit(C, "2023-05-14 10:22", "2223-05-14 10:22"),
        C,
        3,
        "time",
        "2223-05-14 10:22",
        "in the future",
        "Correct the date",
    ),
    "outside the season": (
        edit(C, "2023-05-15 09:05", "2022-05-15 09:05"),
        C,
        5,
        "time",
        "2022-05-15 09:05",
        "outside the season, 2023-03-15 to 2023-10-20",
        "first_day",
    ),
    "day number from 1904": (
        edit(C, "2023-05-14 10:22", "43598.43194"),
        C,
        3,
        "time",
        "43598.43194",
        "2019-05-13 when days are counted from 1900, and 2023-05-14",
        "epoch = 1904",
    ),
    "unknown logger": (
        edit(L, "10:10,shade-1", "10:10,shade-l"),
        L,
        3,
        "logger_id",
        "shade-l",
        "does not know this logger",
        "If it is shade-1",
    ),
    "logger off the scale": (
        edit(L, "20.3", "203"),
        L,
        3,
        "value",
        "203",
        "outside -90 to 60 °C, the limits for shade_air",
        "correct the unit",
    ),
    "two readings of one moment": (
        edit(L, "2023-05-14 10:10,shade-1", "2023-05-14 10:00,shade-1"),
        L,
        3,
        "time",
        "2023-05-14 10:00",
        "another reading of the same logger",
        "Keep the right one",
    ),
    "night warmer than day": (
        edit("weather.csv", "24.0,11.0", "11.0,24.0"),
        "weather.csv",
        2,
        "tmin_c",
        "24.0",
        "above the highest",
        "Swap",
    ),
    "weather without a day": (
        edit("weather.csv", "date", "when"),
        "weather.csv",
        1,
        "time or date",
        "",
        "None of these columns",
        "Add at least one",
    ),
    "half an animal": (
        edit("scans.csv", "33.2,1,A", "33.2,0.5,A"),
        "scans.csv",
        2,
        "count",
        "0.5",
        "not a whole number",
        "how many animals",
    ),
    "number turned into a date": (
        set_cell(1, 7, dt.datetime(2023, 5, 25)),
        "choices.xlsx",
        3,
        "surface_c",
        "2023-05-25 00:00:00",
        "turned this number into a date",
        "plain number",
    ),
    "one cell for several rows": (
        set_cell(1, 0, None),
        "choices.xlsx",
        3,
        "set_id",
        "",
        "empty",
        "fill each of them",
    ),
    "formula never worked out": (
        set_cell(1, 7, "=G3+4"),
        "choices.xlsx",
        3,
        "H",
        "",
        "formula whose result was never saved",
        "save it",
    ),
    "half dates, half text": (
        set_cell(1, 1, "14/05/2023 10:22"),
        "choices.xlsx",
        3,
        "time",
        "14/05/2023 10:22",
        "swapped day and month",
        "Format the whole column",
    ),
    "damaged workbook": (
        many(lambda f: (f / C).unlink(), raw("choices.xlsx", b"PK\x03\x04 and then nothing")),
        "choices.xlsx",
        None,
        "",
        "",
        "damaged",
        "save it again",
    ),
    "workbook with a password": (
        many(lambda f: (f / C).unlink(), raw("choices.xlsx", b"\xd0\xcf\x11\xe0" + bytes(600))),
        "choices.xlsx",
        None,
        "",
        "",
        "protected by a password",
        "take the password off",
    ),
    "workbook named csv": (
        raw(C, b"PK\x03\x04" + bytes(600)),
        C,
        None,
        "",
        "",
        "not what its name says",
        ".xlsx",
    ),
    "old workbook": (
        raw("choices.xls", b"\xd0\xcf\x11\xe0"),
        "choices.xls",
        None,
        "",
        "",
        ".xls file",
        "Save it as .xlsx",
    ),
    "not text at all": (raw(C, bytes(range(256))), C, None, "", "", "not a text file", "UTF-8"),
    "table in two places": (
        lambda f: workbook(f, {"choices": [line.split(",")[:10] for line in CHOICES.splitlines()]}),
        "season.xlsx",
        None,
        "",
        "",
        "more than one place: choices.csv, season.xlsx",
        "Keep one of them",
    ),
}


@pytest.mark.parametrize("name", BROKEN)
def test_mistake_is_named_where_it_is_and_how_to_mend_it(name, tmp_path, capsys):
    act, file, row, column, value, problem, remedy = BROKEN[name]
    folder = make(tmp_path / "broken")
    act(folder)
    before = {p: p.read_bytes() for p in folder.iterdir()}

    with pytest.raises(SeasonError) as caught:
        read_season(folder)
    found = caught.value.problems
    errors = found[found["severity"] == "error"]
    fits = errors[
        (errors["file"] == file)
        & (errors["row"].isna() if row is None else errors["row"].eq(row).fillna(False))
        & (errors["column"] == column)
        & (errors["value"] == value)
        & errors["problem"].str.contains(problem, regex=False)
        & errors["remedy"].str.contains(remedy, regex=False)
    ]
    assert len(fits) == 1, str(caught.value)

    assert cli.main(["check", str(folder)]) == cli.MISTAKE
    said = capsys.readouterr()
    words = " ".join((said.out + said.err).split())
    word = "line" if file.endswith(".toml") else "row"
    for part in (file, f"{word} {row}" if row else "", column, value, fits["problem"].iloc[0], fits["remedy"].iloc[0]):
        assert " ".join(part.split()) in words.replace(", rows ", ", row ").replace(", lines ", ", line ")
    assert "Traceback" not in words
    assert {p: p.read_bytes() for p in folder.iterdir()} == before


def test_there_are_more_than_twenty_and_the_good_folder_is_good(tmp_path):
    assert len(BROKEN) >= 60
    season = read_season(make(tmp_path / "good"))
    assert season.warnings.empty


def test_a_mistake_does_not_drag_others_behind_it(tmp_path):
    # One slip in one cell must not come out as three sentences.
    alone = ["unit in the cell", "no such day", "used is 2", "unknown logger", "used is empty"]
    alone += ["the hour that never was", "the hour that came twice"]
    for number, name in enumerate(alone):
        act = BROKEN[name][0]
        folder = make(tmp_path / str(number) / "broken")
        act(folder)
        with pytest.raises(SeasonError) as caught:
            read_season(folder)
        errors = caught.value.problems.query("severity == 'error'")
        assert len(errors) == 1, (name, str(caught.value))


def test_all_mistakes_of_a_folder_come_at_once(tmp_path):
    folder = make(tmp_path / "broken")
    several = ["latitude left out", "unit in the cell", "used is a word", "unknown logger", "night warmer than day"]
    for name in several:
        BROKEN[name][0](folder)
    with pytest.raises(SeasonError) as caught:
        read_season(folder)
    assert set(caught.value.problems["file"]) == {T, C, L, "weather.csv"}
    assert len(caught.value.problems.query("severity == 'error'")) == len(several)


def test_no_call_stack_reaches_a_person_in_a_real_terminal(tmp_path):
    folder = make(tmp_path / "broken")
    BROKEN["unit in the cell"][0](folder)
    done = subprocess.run(
        [sys.executable, "-m", "fieldkit", "check", str(folder)], capture_output=True, text=True, encoding="utf-8"
    )
    assert done.returncode == 2
    assert 'choices.csv, row 2, column surface_c: "33.0 C"' in done.stdout
    assert "Traceback" not in done.stdout + done.stderr
