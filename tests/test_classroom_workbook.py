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
    return recalculated(folder), folder


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
