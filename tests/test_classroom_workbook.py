"""The workbooks that compute themselves: LibreOffice recalculates them, and must say what Python says."""

import shutil
import subprocess

import numpy as np
import openpyxl
import pandas as pd
import pytest

from fieldkit.classroom import declared, lessons, printed, rounds
from fieldkit.classroom import sheet as class_sheet

THERMOMETER, CHOICE = declared.SHEETS
OFFICE = shutil.which("soffice") or shutil.which("libreoffice")
needs_office = pytest.mark.skipif(
    OFFICE is None, reason="LibreOffice is not installed (Debian package libreoffice-calc): no second calculator"
)


def recalculated(folder):
    """All workbooks of a folder, opened, recalculated and saved by LibreOffice; values only, by file name."""
    out = folder / "recalculated"
    subprocess.run(
        [
            OFFICE, f"-env:UserInstallation={(folder / 'profile').as_uri()}", "--headless", "--convert-to", "xlsx",
            "--outdir", str(out), *map(str, sorted(folder.glob("*.xlsx"))),
        ],
        check=True, capture_output=True, timeout=300,
    )  # fmt: skip
    return {path.stem: openpyxl.load_workbook(path, data_only=True) for path in out.glob("*.xlsx")}


def named(book, name):
    (title, cell), *_ = book.defined_names[name].destinations
    return book[title][cell.replace("$", "")].value


def rows(page, first, number):
    return [[cell.value for cell in row] for row in page.iter_rows(min_row=first, max_row=first + number - 1)]


def worlds():
    """Invented classes: whole, with holes, with few groups or rounds, with lizards that keep to the shade."""
    whole, small = lessons.thermometer_lesson(rng=3), lessons.thermometer_lesson(groups=5, rng=4)
    holes = lessons.thermometer_lesson(groups=17, rng=5)
    rng = np.random.default_rng(6)
    holes.loc[rng.random(len(holes)) < 0.25, "sun_c"] = np.nan
    holes.loc[(holes["group"] == "G4") & (holes["minute"] < 3), "shade_c"] = np.nan
    holes = holes.dropna(subset=["shade_c", "sun_c"], how="all", ignore_index=True)
    yield THERMOMETER, {"whole": whole, "small": small, "holes": holes, "example": class_sheet.read_sheet(THERMOMETER)}
    lots = {f"effect_{effect:g}": lessons.choice_lesson(effect=effect, rng=8) for effect in (4.0, 1.0, 0.25)}
    gaps = lessons.choice_lesson(rng=9)
    gaps.loc[[3, 17], "black_c"] = np.nan
    gaps.loc[[8], "surface_c"] = np.nan
    gaps = gaps.drop(index=[22])
    yield (
        CHOICE,
        lots
        | {
            "gaps": gaps,
            "four_rounds": lessons.choice_lesson(rounds=4, rng=10),
            "choice_example": class_sheet.read_sheet(CHOICE),
        },
    )


@pytest.fixture(scope="module")
def calculated(tmp_path_factory):
    folder = tmp_path_factory.mktemp("books")
    for lesson, sheets in worlds():
        printed.write_workbook(lesson, printed.blank(lesson), folder / f"blank_{lesson}.xlsx")
        for name, sheet in sheets.items():
            printed.write_workbook(lesson, sheet, folder / f"{name}.xlsx")
    pd.DataFrame(WRONG_READINGS, columns=list(declared.SHEETS[THERMOMETER].columns)).pipe(
        lambda table: printed.write_workbook(THERMOMETER, table, folder / "wrong_readings.xlsx")
    )
    pd.DataFrame(WRONG_PLACES, columns=list(declared.SHEETS[CHOICE].columns)).pipe(
        lambda table: printed.write_workbook(CHOICE, table, folder / "wrong_places.xlsx")
    )
    for name, (lesson, sheet, _) in odd().items():
        printed.write_workbook(lesson, sheet, folder / f"{name}.xlsx")
    return recalculated(folder), folder


def odd():
    """Sheets in which nothing is impossible and something odd, and the rows that must say so."""
    sheet = lessons.thermometer_lesson(air_c=12.0, rng=1).astype(object)
    block = {f"G{n}": sheet.index[sheet["group"] == f"G{n}"] for n in range(1, 13)}
    swap, fahrenheit = block["G1"], block["G2"]
    sheet.loc[swap, ["shade_c", "sun_c"]] = sheet.loc[swap, ["sun_c", "shade_c"]].to_numpy()
    sheet.loc[fahrenheit, ["shade_c", "sun_c"]] *= 1.8
    sheet.loc[fahrenheit, ["shade_c", "sun_c"]] += 32
    sheet.loc[block["G4"][11:], "sun_c"] = 12.0
    sheet.loc[block["G5"][14], "sun_c"] += 18
    sheet.loc[block["G10"], "cover"] = "foil"
    first = {name: int(rows[0]) + 2 for name, rows in block.items()}
    first_rows = {first["G1"], first["G2"], first["G4"], int(block["G5"][14]) + 2, first["G10"]}
    places = lessons.choice_lesson(rng=1)
    page = places["place_id"] == "P3"
    places.loc[page, ["shade_air_c", "black_c"]] = places.loc[page, ["black_c", "shade_air_c"]].to_numpy()
    places.loc[10, "surface_c"] += 40
    lost = places.index[(places["round"] == 4) & (places["taken_by"] != "")][0]
    rows = {4, 9, 12, int(places.index[(places["round"] == 4)][0]) + 2}
    return {
        "odd_readings": (THERMOMETER, sheet, first_rows),
        "odd_places": (CHOICE, places.drop(index=lost), rows),
    }


@needs_office
@pytest.mark.parametrize("name", ["odd_readings", "odd_places"])
def test_what_is_odd_is_said_beside_its_row(calculated, name):
    lesson, _, expected = odd()[name]
    page = calculated[0][name].worksheets[0]
    column = len(declared.SHEETS[lesson].columns) + 1
    said = {row[0].row for row in page.iter_rows(min_row=2) if row[column].value}
    assert expected <= said and len(said) <= 2 * len(expected)
    assert str(len(said)) in calculated[0][name]["answer"]["A3"].value
    assert not calculated[0]["example"]["answer"]["A3"].value
    assert not calculated[0]["choice_example"]["answer"]["A3"].value


@needs_office
def test_rows_that_no_formula_reads_and_sleeves_that_nobody_read(tmp_path):
    many, places = lessons.thermometer_lesson(groups=40, rng=1), lessons.choice_lesson(rng=1)
    printed.write_workbook(THERMOMETER, many, tmp_path / "many.xlsx")
    printed.write_workbook(CHOICE, lessons.choice_lesson(rounds=14, rng=1), tmp_path / "rounds.xlsx")
    printed.write_workbook(CHOICE, places.assign(black_c=None), tmp_path / "dark.xlsx")
    same = lessons.thermometer_lesson(groups=9, rng=1).assign(shade_c=20.0, sun_c=20.0)
    printed.write_workbook(THERMOMETER, same, tmp_path / "same.xlsx")
    books = recalculated(tmp_path)
    assert [named(books[name], "verdict") for name in ("many", "rounds", "dark", "same")] == [
        "mend", "mend", "few", "undecided",
    ]  # fmt: skip
    assert rounds.by_rounds(places.assign(black_c=np.nan)).verdict == "few"
    answer = lessons.compare_covers(same)
    assert answer.verdict == "undecided" and "nan" not in answer.sentence


@needs_office
def test_what_pupils_write_is_understood_without_python(tmp_path):
    """Numbers as text, units, decimal commas, their own words for covers: the answer is that of the plain sheet."""
    sheet = lessons.thermometer_lesson(groups=9, rng=3)
    typed = sheet.astype(object)
    typed["cover"] = sheet["cover"].replace({"black card": "Black", "white card": "white paper", "foil": "Tin-foil"})
    typed["sun_c"] = [f"{value:.1f} °C".replace(".", ",") for value in sheet["sun_c"]]
    printed.write_workbook(THERMOMETER, typed, tmp_path / "typed.xlsx")
    book = recalculated(tmp_path)["typed"]
    assert named(book, "rows_to_mend") == 0
    assert named(book, "difference_c") == pytest.approx(
        lessons.compare_covers(sheet).difference["difference_c"], rel=1e-9
    )
    pd.testing.assert_frame_equal(
        class_sheet.read_sheet(THERMOMETER, tmp_path / "typed.xlsx"), sheet, check_dtype=False
    )


WRONG_READINGS = [
    ("G1", "black card", 0, 21.5, 22.0),
    ("", "", 1, 21.5, "x"),
    ("", "", 2, 400, 22.0),
    ("", "", 2.5, 21.5, 22.0),
    ("", "", None, 21.5, 22.0),
    ("G2", "blak card", 0, 21.5, 22.0),
    ("G3", "foil", 0, 21.5, 22.0),
    ("G3", "foil", 0, 21.5, 22.0),
    ("G4", "", 0, 21.5, 22.0),
    ("G5", "FOIL", 0, None, None),
    ("G6", "foil", 0, 20.0, 20.5),
    ("", "", 1, 20.0, None),
]
WRONG_PLACES = [
    (1, "P1", 20.0, 25.0, 24.0, "L1, l 2 3"),
    (None, "P2", 20.0, "warm", 24.0, "L4"),
    ("", "P2", 20.0, 25.0, 24.0, "L5"),
    ("", "", 20.0, 25.0, 24.0, "L6"),
    (2, "P1", 20.0, 25.0, 124.0, "L1"),
    (2, "P2", 20.0, 25.0, 24.0, 3.7),
    (2, "P3", 20.0, 25.0, 24.0, "2/L1"),
    (3, "P1", 20.0, 25.0, 24.0, ""),
]


@needs_office
@pytest.mark.parametrize("name", ["whole", "small", "holes", "example"])
def test_covers_are_computed_as_python_does(calculated, name):
    sheet = dict(worlds())[THERMOMETER][name]
    answer, book = lessons.compare_covers(sheet), calculated[0][name]
    for key, value in answer.difference.items():
        if np.isfinite(value):
            assert named(book, key) == pytest.approx(value, rel=1e-9, abs=1e-12)
        else:
            assert named(book, key) in (None, "")
    found = {row[0]: row[1:5] for row in rows(book["answer"], 5, 3)}
    for row in answer.table.itertuples(index=False):
        groups, warmer, low, high = found[row.cover]
        assert groups == row.groups and warmer == pytest.approx(row.warmer_c, rel=1e-9)
        if np.isfinite(row.low_c):
            assert (low, high) == pytest.approx((row.low_c, row.high_c), rel=1e-9, abs=1e-12)
    groups = [row for row in rows(book["groups"], 2, 24) if row[0]]
    assert [row[0] for row in groups if isinstance(row[4], int | float)] == answer.by_group["group"].tolist()
    assert [row[0] for row in groups if row[6]] == answer.left_out["group"].tolist()
    expected = (
        "few" if np.isnan(answer.difference["low_c"]) else "black" if answer.difference["low_c"] > 0 else "undecided"
    )
    assert named(book, "verdict") == expected


@needs_office
@pytest.mark.parametrize("name", ["effect_4", "effect_1", "effect_0.25", "gaps", "four_rounds", "choice_example"])
def test_choices_are_computed_as_python_does(calculated, name):
    sheet = dict(worlds())[CHOICE][name]
    answer, book = rounds.by_rounds(sheet), calculated[0][name]
    for driver, row in answer.table.iterrows():
        assert named(book, f"{driver}_pull") == pytest.approx(row["pull"], rel=1e-9, abs=1e-9)
        assert named(book, f"{driver}_rank") == pytest.approx(row["rank"], rel=1e-9)
        assert (named(book, f"{driver}_strong"), named(book, f"{driver}_found")) == (row["strong"], row["found"])
    assert named(book, "verdict") == answer.verdict and named(book, "rows_to_mend") == 0
    table = np.array(rows(book["rounds"], 2, len(answer.by_round)), dtype=float)[:, :9]
    columns = ["round", "places", "lizards"]
    columns += [f"{driver}_{what}" for what in ("pull", "rank") for driver in lessons.DRIVERS]
    np.testing.assert_allclose(table, answer.by_round[columns].astype(float), rtol=1e-9, atol=1e-9)


@needs_office
def test_the_example_answers_without_python(calculated):
    assert named(calculated[0]["example"], "verdict") == "black"
    assert named(calculated[0]["choice_example"], "verdict") == "sun"
    assert named(calculated[0]["choice_example"], "radiation_strong") == 2


@needs_office
def test_no_cell_shows_an_error(calculated):
    for name, book in calculated[0].items():
        for page in book.worksheets:
            if page.title != "minutes":  # feeds the chart; a gap of a line is #N/A there
                wrong = [c.coordinate for row in page.iter_rows() for c in row if str(c.value).startswith(("#", "Err"))]
                assert not wrong, (name, page.title, wrong[:5])
    for lesson in declared.SHEETS:
        assert named(calculated[0][f"blank_{lesson}"], "verdict") == "few"


@needs_office
@pytest.mark.parametrize(
    ("name", "lesson", "coloured", "refused"),
    [
        # A row that stands twice is coloured at both places; the second is refused.
        ("wrong_readings", THERMOMETER, {3, 4, 5, 6, 7, 8, 9, 10}, {3, 4, 5, 6, 7, 9, 10}),
        # A lizard that stands twice (row 8) is counted on a sheet of its own.
        ("wrong_places", CHOICE, {3, 4, 5, 6, 7, 9}, {3, 4, 5, 6, 7, 8, 9}),
    ],
)
def test_rows_to_mend_are_those_that_reading_refuses(calculated, name, lesson, coloured, refused):
    books, folder = calculated
    with pytest.raises(class_sheet.ClassSheetError) as caught:
        class_sheet.read_sheet(lesson, folder / f"{name}.xlsx")
    assert {int(row) for row in caught.value.problems["row"]} == refused
    page, column = books[name].worksheets[0], len(declared.SHEETS[lesson].columns)
    assert {row[0].row for row in page.iter_rows(min_row=2) if row[column].value} == coloured
    assert named(books[name], "verdict") == "mend" and named(books[name], "rows_to_mend") == len(coloured)
    if lesson == CHOICE:
        assert named(books[name], "lizards_twice") == 1
