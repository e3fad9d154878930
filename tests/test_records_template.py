"""New folders: ready to fill, read back once filled, never written over."""

import datetime as dt
import html.parser
import json
import re
import shutil
import tomllib

import openpyxl
import pandas as pd
import pytest
from season_folder import CHOICES

from fieldkit.core import FieldkitError
from fieldkit.records import problems, spreadsheet
from fieldkit.records import schema as schemas
from fieldkit.records.problems import SeasonError
from fieldkit.records.season import printed, settings, template, toml
from fieldkit.records.season import reader as folder


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return template.new_folder(tmp_path_factory.mktemp("new") / "my season")


@pytest.fixture
def new(made, tmp_path):
    return shutil.copytree(made, tmp_path / "my season")


def fill_settings(new):
    text = (new / "season.toml").read_text(encoding="utf-8")
    answers = {
        "name": '"our season"',
        "first_day": "2023-03-15",
        "last_day": "2023-10-20",
        "latitude_deg": "36.1",
        "longitude_deg": "-79.9",
        "elevation_m": "270",
        "timezone": '"America/New_York"',
        "species": '"ridge lizard"',
    }
    for key, answer in answers.items():
        text = re.sub(rf'^{key} = "FILL IN"', f"{key} = {answer}", text, flags=re.M)
    # Everything that is offered behind a # is true TOML too; only the template's own header says °C for the surface.
    text = re.sub(r"^# (?!surface = )(\[|[a-z_]+ = |\"Ground)", r"\1", text, flags=re.M)
    (new / "season.toml").write_text(text, encoding="utf-8")


def example_row(table):
    columns = schemas.TABLES[table].columns.items()
    return [c.metadata["example"] for name, c in columns if name not in schemas.GROUPING]


def fill_csv(new):
    fill_settings(new)
    for table in schemas.TABLES:
        with (new / f"{table}.csv").open("a", encoding="utf-8") as file:
            file.write(",".join(f'"{cell}"' for cell in example_row(table)) + "\n")


def test_an_empty_folder_gives_sentences(new):
    with pytest.raises(SeasonError) as caught:
        folder.read_season(new)
    assert (caught.value.problems["problem"] == "This is still to be filled in.").sum() == 9
    fill_settings(new)
    with pytest.raises(SeasonError) as caught:
        folder.read_season(new)
    assert caught.value.problems["problem"].str.contains("No table in this folder has any rows yet").sum() == 1


def test_filled_csv_templates_read_back(new):
    fill_csv(new)
    season = folder.read_season(new)
    for table, schema in schemas.TABLES.items():
        read = getattr(season, table)
        assert len(read) == 1
        for column, declared in schema.columns.items():
            # A row of weather is a day or an hour: with both filled in, the hour stands.
            if (table, column) != ("weather", "date") and declared.metadata["kind"] == "number":
                assert read[column].iloc[0] == float(declared.metadata["example"])
    assert season.name == "our season" and set(season.instrument_errors) == {
        "shade_air_c",
        "surface_c",
        "irradiance_w_m2",
    }
    assert set(season.warnings["column"]) <= {"used", "time", "columns", "units", "stations"}, (
        season.warnings.to_string()
    )


@pytest.mark.parametrize(("written", "empty"), [("date", "time"), ("time", "date")])
def test_weather_by_day_or_by_hour_leaves_the_other_column_empty(written, empty, new):
    fill_settings(new)
    names = list(schemas.TABLES["weather"].columns)
    row = dict(zip(names, example_row("weather"))) | {empty: ""}
    with (new / "weather.csv").open("a", encoding="utf-8") as file:
        file.write(",".join(row.values()) + "\n")
    weather = folder.read_season(new).weather
    assert written in weather and empty not in weather
    assert weather[written].dt.tz_localize(None).iloc[0] == pd.Timestamp(row[written])


def test_filled_workbook_reads_back(new):
    fill_settings(new)
    book = openpyxl.load_workbook(new / "season.xlsx")
    rows = pd.read_csv(pd.io.common.StringIO(CHOICES))
    sheet = book["choices"]
    headers = {cell.value: cell.column for cell in sheet[1]}
    for column, header in zip(schemas.TABLES["choices"].columns, printed.template_headers("choices")):
        for number, value in enumerate(rows.get(column, []), start=2):
            if pd.notna(value):
                sheet.cell(number, headers[header], pd.Timestamp(value).to_pydatetime() if column == "time" else value)
    book.save(new / "season.xlsx")
    season = folder.read_season(new)
    assert len(season.choices) == len(rows)
    pd.testing.assert_series_equal(season.choices["surface_c"], rows["surface_c"])
    assert season.choices["time"].dt.strftime("%Y-%m-%d %H:%M").tolist() == rows["time"].tolist()


def test_the_workbook_has_drop_downs_units_and_a_header_that_stays(made):
    book = openpyxl.load_workbook(made / "season.xlsx")
    assert book.sheetnames == ["how to fill", *schemas.TABLES]
    for table in schemas.TABLES:
        assert book[table].freeze_panes == "A2"
        assert [c.value for c in book[table][1]] == printed.template_headers(table)
    rules = {str(r.sqref).split(":")[0]: r for r in book["choices"].data_validations.dataValidation}
    names = list(schemas.TABLES["choices"].columns)
    used = rules[f"{chr(65 + names.index('used'))}2"]
    assert used.type == "list" and used.formula1 == '"1,0"' and used.errorStyle == "stop" and used.showErrorMessage
    surface = rules[f"{chr(65 + names.index('surface_c'))}2"]
    assert (surface.type, surface.formula1, surface.formula2) == ("decimal", "-95", "100")
    assert all(len(r.prompt) <= 255 and len(r.promptTitle) <= 32 for r in rules.values())
    words = next(r for r in book["scans"].data_validations.dataValidation if "basking" in str(r.formula1))
    # A list written into a rule holds at most 255 signs.
    assert len(words.formula1) <= 255
    assert "irradiance [W/m²]" in printed.template_headers("choices")


def test_nothing_is_written_over(new, tmp_path):
    before = {p: p.read_bytes() for p in new.rglob("*") if p.is_file()}
    with pytest.raises(FieldkitError, match="nothing was changed"):
        template.new_folder(new)
    (tmp_path / "file").write_text("mine")
    with pytest.raises(FieldkitError, match="is a file"):
        template.new_folder(tmp_path / "file")
    assert {p: p.read_bytes() for p in new.rglob("*") if p.is_file()} == before
    assert sorted(p.name for p in tmp_path.iterdir()) == ["file", "my season"]


def test_an_empty_folder_may_be_used(tmp_path):
    (tmp_path / "empty").mkdir()
    assert (template.new_folder(tmp_path / "empty") / "season.toml").is_file()
    assert [p.name for p in tmp_path.iterdir()] == ["empty"]


def test_a_failure_leaves_no_half_folder(tmp_path, monkeypatch):
    def full(path, *_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(template, "workbook", full)
    with pytest.raises(OSError, match="No space"):
        template.new_folder(tmp_path / "new")
    assert list(tmp_path.iterdir()) == []


def test_notebooks_come_set_to_the_folder_and_without_the_results_of_the_demo(tmp_path):
    source = tmp_path / "notebooks"
    (source / "classroom").mkdir(parents=True)
    (source / ".ipynb_checkpoints").mkdir()
    (source / ".ipynb_checkpoints" / "x.ipynb").write_text("{}")
    cell = {
        "cell_type": "code",
        "metadata": {"tags": ["parameters"]},
        "source": ["season_folder = None  # None: the demo season\n", "seed = 1"],
        "outputs": [{"output_type": "stream", "name": "stdout", "text": "demo"}],
        "execution_count": 3,
    }
    book = {"cells": [{"cell_type": "markdown", "metadata": {}, "source": "# Ü"}, cell], "metadata": {}}
    for place in ("01_start_here.ipynb", "classroom/lesson.ipynb"):
        (source / place).write_text(json.dumps(book))
    template.copy_notebooks(source, tmp_path / "copy")
    for place, up in (("01_start_here.ipynb", ".."), ("classroom/lesson.ipynb", "../..")):
        code = json.loads((tmp_path / "copy" / place).read_text(encoding="utf-8"))["cells"][1]
        assert "".join(code["source"]).startswith(f'season_folder = "{up}"  # None')
        assert code["outputs"] == [] and code["execution_count"] is None
    assert not (tmp_path / "copy" / ".ipynb_checkpoints").exists()


class _Balance(html.parser.HTMLParser):
    """Counts what is opened and not closed."""

    def __init__(self):
        super().__init__()
        self.open, self.links = [], []

    def handle_starttag(self, tag, attributes):
        self.links += [value for name, value in attributes if name in ("src", "href")]
        if tag not in ("meta", "wbr"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_field_sheet_prints_alone_and_says_what_to_take_care_of(paper):
    page = printed.field_sheet(paper=paper, sets=2, places=7, title="Tom & <Ann>")
    reader = _Balance()
    reader.feed(page)
    assert reader.open == [] and reader.links == []
    assert f"size: {paper} landscape" in page and "Tom &amp; &lt;Ann&gt;" in page
    assert page.count("<td>1</td>") == 2 and page.count("<td>0</td>") == 12
    for word in ("permit", "laser", "water", "venomous", "too close", "disease"):
        assert word in page


@pytest.mark.parametrize("wrong", [{"paper": "A3"}, {"places": 1}, {"sets": 3, "places": 6}])
def test_field_sheet_refuses_what_does_not_fit(wrong):
    with pytest.raises(FieldkitError):
        printed.field_sheet(**wrong)


def test_the_example_settings_are_the_ones_declared():
    sections = set(re.findall(r"^\[(\w+)", settings.EXAMPLE, flags=re.M))
    assert sections <= {s.section.split(".")[0] for s in schemas.SETTINGS}


# Cells that spreadsheet programs run: the list of starts is OWASP's page "CSV Injection" (=, +, -, @, tab, carriage
# return, line feed and the full-width forms).
@pytest.mark.parametrize(
    "text", ["=1+1", "+A1", "-A1", "@SUM(1)", "\tx", "\rx", "\n=x", "＝1", " =1+1", "-5 °C", "+49 30 1234"]
)
def test_text_that_could_run_is_held_back(text):
    assert spreadsheet.safe_cell(text) == "'" + text


@pytest.mark.parametrize(
    "value", [-3.5, 0, None, "-3.5", "+2", "-3,5", "-1.5e-3", "-12%", "-", "rock", "a=b", "R-7", True]
)
def test_numbers_and_plain_text_stay(value):
    assert spreadsheet.safe_cell(value) is value


def test_tables_come_back_as_they_went(tmp_path):
    table = pd.DataFrame(
        {
            "=name": ["=cmd|' /C calc'!A0", "R7", None],
            "surface_c": [-3.5, 20.25, None],
            "time": pd.to_datetime(["2023-05-14 10:20"] * 3).tz_localize("America/New_York"),
            "day": pd.to_datetime(["2023-05-14"] * 3),
        }
    )
    csv = pd.read_csv(spreadsheet.write_csv(table, tmp_path / "t.csv"))
    assert csv.columns[0] == "'=name" and csv.iloc[0, 0] == "'=cmd|' /C calc'!A0"
    assert csv["surface_c"].tolist()[:2] == [-3.5, 20.25]
    sheet = openpyxl.load_workbook(spreadsheet.write_xlsx({"a/b": table}, tmp_path / "t.xlsx")).worksheets[0]
    assert sheet["A2"].data_type == "s" and sheet["A2"].quotePrefix and sheet["A1"].data_type == "s"
    assert sheet["B2"].value == -3.5 and sheet["B2"].data_type == "n" and sheet["B4"].value is None
    assert sheet["C2"].value == "2023-05-14 10:20:00-04:00" and sheet["D2"].is_date
    for write, name in ((spreadsheet.write_csv, "t.csv"), (lambda t, p: spreadsheet.write_xlsx({"a": t}, p), "t.xlsx")):
        with pytest.raises(FieldkitError, match="left as it is"):
            write(table, tmp_path / name)


def test_questions_ask_again_until_an_answer_can_be_used():
    given = iter(
        ["The “old” quarry", "15.3.2023", "2023-03-15", "", "quarry", "95", "36,1", "−79.9", "270 m", "", "Eastern"]
    )
    said = []
    answers = template.ask(read=lambda question: next(given, ""), say=said.append)
    assert answers == {
        ("season", "name"): "The “old” quarry",
        ("season", "first_day"): dt.date(2023, 3, 15),
        ("site", "name"): "quarry",
        ("site", "latitude_deg"): 36.1,
        ("site", "longitude_deg"): -79.9,
    }
    assert [line.split(".")[0].strip() for line in said] == [
        "This should be a date",
        "This lies outside -90 to 90 °",
        "This should be a number",
        "There is no such time zone",
    ]


def test_answers_stand_in_the_settings_and_the_rest_is_still_asked_for(tmp_path):
    answers = {
        ("season", "name"): 'A "b" \\ season',
        ("site", "latitude_deg"): 36.1,
        ("season", "first_day"): dt.date(2023, 3, 15),
    }
    folder = template.new_folder(tmp_path / "new", answers=answers)
    stated = tomllib.loads((folder / "season.toml").read_text(encoding="utf-8"))
    assert stated["season"]["name"] == 'A "b" \\ season'
    assert stated["site"]["latitude_deg"] == 36.1 and stated["season"]["first_day"] == dt.date(2023, 3, 15)
    assert stated["season"]["last_day"] == "FILL IN"


def test_every_line_of_the_settings_is_looked_at_when_one_cannot_be_read():
    found = problems.Problems()
    text = (
        '[season]\nname = “Q”\nlast_day = 31.10.2025\n[site]\nlatitude_deg = 36,2\nlongitude_deg = 80.3 W\nname = "q"\n'
    )
    assert toml.parse(text, found) is None
    table = found.table()
    assert table["row"].tolist() == [2, 3, 5, 6]
    assert [remedy.split(":")[0].split(",")[0] for remedy in table["remedy"]] == [
        "Use straight quotation marks",
        "Write the date as year-month-day",
        "Write the number with a point",
        "Write the number alone",
    ]
