"""What teachers and pupils bring: other formats, habits of spreadsheet programs, copies; understood or named once."""

import io
import zipfile

import openpyxl
import pandas as pd
import pytest

from fieldkit.classroom import declared, printed
from fieldkit.classroom.sheet import ClassSheetError, read_sheet

THERMOMETER, CHOICE = declared.SHEETS
COLUMNS = list(declared.SHEETS[THERMOMETER].columns)
ROWS = [["G1", "foil", m, 20.5, 21.0 + m] for m in range(4)] + [["G2", "black card", m, 20.0, 22.0] for m in range(3)]


def problems_of(lesson, path):
    with pytest.raises(ClassSheetError) as caught:
        read_sheet(lesson, path)
    return caught.value.problems


def ods(rows):
    """A small OpenDocument spreadsheet (ISO/IEC 26300), written by hand."""
    cell = '<table:table-cell office:value-type="{}"{}><text:p>{}</text:p></table:table-cell>'

    def one(value):
        if isinstance(value, str):
            return cell.format("string", "", value)
        return cell.format("float", f' office:value="{value}"', value)

    body = "".join(f"<table:table-row>{''.join(map(one, row))}</table:table-row>" for row in rows)
    spaces = "".join(f' xmlns:{n}="urn:oasis:names:tc:opendocument:xmlns:{n}:1.0"' for n in ("office", "table", "text"))
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr(
            "content.xml",
            f'<?xml version="1.0"?><office:document-content{spaces}><office:body><office:spreadsheet>'
            f'<table:table table:name="Tabelle1">{body}</table:table></office:spreadsheet></office:body>'
            "</office:document-content>",
        )
        archive.writestr(
            "META-INF/manifest.xml",
            '<?xml version="1.0"?><manifest:manifest '
            'xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"/>',
        )
    return data.getvalue()


def in_book(path, rows, *, title="Blatt 1", merged=(), more=()):
    book = openpyxl.Workbook()
    book.active.title = title
    for row in rows:
        book.active.append(row)
    for area in merged:
        book.active.merge_cells(area)
    for name, part in more:
        page = book.create_sheet(name)
        for row in part:
            page.append(row)
    book.save(path)
    return path


def plain(table):
    return table.to_numpy().tolist()


def test_an_opendocument_sheet_is_read(tmp_path):
    (tmp_path / "class.ods").write_bytes(ods([COLUMNS, *ROWS]))
    assert plain(read_sheet(THERMOMETER, tmp_path / "class.ods")) == ROWS
    assert plain(read_sheet(THERMOMETER, tmp_path)) == ROWS


@pytest.mark.parametrize("name", ["class.numbers", "class.docx", "class.pdf", "class"])
def test_other_formats_are_named_with_what_to_do(name, tmp_path):
    (tmp_path / name).write_bytes(b"PK\x03\x04 anything")
    for path in (tmp_path, tmp_path / name):
        (problem,) = problems_of(THERMOMETER, path).to_dict("records")
        assert problem["file"] == name and ".xlsx" in problem["remedy"]


@pytest.mark.parametrize("name", ["class.xls", "class.ods", "class.xlsx"])
def test_damaged_workbooks_are_named(name, tmp_path):
    (tmp_path / name).write_bytes(b"PK\x03\x04 anything")
    assert problems_of(THERMOMETER, tmp_path / name)["file"].tolist() == [name]


def test_the_same_file_twice_is_one_message(tmp_path):
    for lesson in declared.SHEETS:
        folder = tmp_path / lesson
        folder.mkdir()
        sheet = read_sheet(lesson)
        sheet.to_csv(folder / "a.csv", index=False)
        sheet.to_csv(folder / "a (1).csv", index=False)
        (problem,) = problems_of(lesson, folder).to_dict("records")
        assert {problem["file"], "a.csv", "a (1).csv"} == {"a.csv", "a (1).csv"}
        assert sum(name in problem["problem"] for name in ("a.csv", "a (1).csv")) == 1


def test_a_block_pasted_twice_is_one_message(tmp_path):
    pd.DataFrame([*ROWS, *ROWS[:4]], columns=COLUMNS).to_csv(tmp_path / "a.csv", index=False)
    (problem,) = problems_of(THERMOMETER, tmp_path / "a.csv").to_dict("records")
    assert problem["row"] == 9 and "4" in problem["problem"]


def test_a_comma_among_points_is_understood(tmp_path):
    text = 'group,cover,minute,shade_c,sun_c\nG1,foil,0,20.5,"21,5"\nG1,foil,1,"20,25 °C",22\n'
    (tmp_path / "a.csv").write_text(text, encoding="utf-8")
    sheet = read_sheet(THERMOMETER, tmp_path / "a.csv")
    assert sheet["sun_c"].tolist() == [21.5, 22.0] and sheet["shade_c"].tolist() == [20.5, 20.25]
    (tmp_path / "b.csv").write_text(text.replace("21,5", "1,215"), encoding="utf-8")
    assert problems_of(THERMOMETER, tmp_path / "b.csv")["row"].tolist() == [2]


def test_a_decimal_comma_between_commas_is_said_once(tmp_path):
    """Unquoted, it moves the cells of the row: nothing may be read from the wrong column."""
    text = "group,cover,minute,shade_c,sun_c\nG1,foil,0,20,5,21,0\nG1,foil,1,20,5,21,0\n"
    (tmp_path / "a.csv").write_text(text, encoding="utf-8")
    (problem,) = problems_of(THERMOMETER, tmp_path / "a.csv").to_dict("records")
    assert problem["row"] == 2


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("Black", "black card"), ("BLACK-CARD", "black card"), ("white  card", "white card"), ("tin foil", "foil"),
        ("Aluminium foil", "foil"), ("white paper", "white card"),
    ],
)  # fmt: skip
def test_words_for_covers(written, meant, tmp_path):
    in_book(tmp_path / "a.xlsx", [COLUMNS, ["G1", written, 0, 20, 20]])
    assert read_sheet(THERMOMETER, tmp_path / "a.xlsx")["cover"].tolist() == [meant]


def test_titles_empty_rows_merged_groups_and_a_renamed_sheet(tmp_path):
    rows = [["Klasse 8b"], [], [c.upper().replace("_C", " [°C]") for c in COLUMNS]]
    rows += [["G1", "foil", 0, 20.5, 21], [None, None, 1, 20.5, 22], [], [None, None, 2, 20.5, 23]]
    rows += [
        ["g 1", "foil", 3, 20.5, 24],
        [],
        ["G2", "black card", 0, 20, 22],
        [None, None, 1, 20, 22],
        [None, None, 2, 20, 22],
    ]
    in_book(tmp_path / "a.xlsx", rows, merged=["A4:A5", "B4:B5", "A10:A12", "B10:B12", "A1:C1"])
    assert plain(read_sheet(THERMOMETER, tmp_path / "a.xlsx")) == ROWS


def test_each_group_on_a_sheet_of_its_own_and_notes_first(tmp_path):
    more = [("G1", [COLUMNS, *ROWS[:4]]), ("G2", [COLUMNS, *ROWS[4:]])]
    in_book(tmp_path / "a.xlsx", [["who", "phone"], ["Tom", 1]], title="list", more=more)
    assert plain(read_sheet(THERMOMETER, tmp_path / "a.xlsx")) == ROWS
    more[1] = ("G2", [COLUMNS, *ROWS[:2]])
    in_book(tmp_path / "b.xlsx", [["who"]], more=more)
    (problem,) = {row["file"] for row in problems_of(THERMOMETER, tmp_path / "b.xlsx").to_dict("records")}
    assert problem == "b.xlsx, sheet G2"


def test_a_filled_workbook_of_ours_is_read_once(tmp_path):
    printed.write_workbook(THERMOMETER, pd.DataFrame(ROWS, columns=COLUMNS), tmp_path / "ours.xlsx")
    book = openpyxl.load_workbook(tmp_path / "ours.xlsx")
    # Typed in an office program, the sheet of results holds the same columns as values.
    for row in [COLUMNS, *ROWS]:
        book["working"].append(row)
    book["class sheet"].title = "Klasse 8b"
    book.save(tmp_path / "ours.xlsx")
    assert plain(read_sheet(THERMOMETER, tmp_path / "ours.xlsx")) == ROWS


def test_a_translated_header_is_one_message_that_shows_both(tmp_path):
    in_book(tmp_path / "a.xlsx", [["Gruppe", "Hülle", "Zeit", "Schatten", "Sonne"], *ROWS])
    (problem,) = problems_of(THERMOMETER, tmp_path / "a.xlsx").to_dict("records")
    assert "Gruppe" in problem["remedy"] and all(name in problem["problem"] for name in COLUMNS)


def test_numbers_as_text_and_dates(tmp_path):
    rows = [[r[0], r[1], str(r[2]), f" {r[3]:.1f}".replace(".", ","), f"{r[4]} °c"] for r in ROWS]
    in_book(tmp_path / "a.xlsx", [COLUMNS, *rows])
    assert plain(read_sheet(THERMOMETER, tmp_path / "a.xlsx")) == ROWS
    rows[1][3] = pd.Timestamp("2026-05-20")
    in_book(tmp_path / "b.xlsx", [COLUMNS, *rows])
    (problem,) = problems_of(THERMOMETER, tmp_path / "b.xlsx").to_dict("records")
    assert (problem["row"], problem["column"]) == (3, "shade_c")


def test_lizards_that_became_a_date(tmp_path):
    columns = list(declared.SHEETS[CHOICE].columns)
    rows = [[1, "P1", 20, 25, 24, pd.Timestamp("2026-07-03")], [1, "p2", 20, 25, 24, "L1 L2"]]
    in_book(tmp_path / "a.xlsx", [columns, *rows])
    (problem,) = problems_of(CHOICE, tmp_path / "a.xlsx").to_dict("records")
    assert (problem["row"], problem["column"]) == (2, "taken_by") and "L3 L7" in problem["remedy"]
