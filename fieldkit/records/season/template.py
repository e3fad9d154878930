"""A new season folder, ready to fill: settings, tables, a workbook with drop-downs, field sheets, notebooks."""

import datetime as dt
import json
import shutil
import tempfile
from pathlib import Path

from fieldkit.core import FieldkitError, resource_dir
from fieldkit.records import cautions, spreadsheet
from fieldkit.records import schema as schemas
from fieldkit.records.season import settings

from .printed import field_sheet, page_to_read, template_headers

SUBSTRATES = ("rock", "gravel", "sand", "soil", "grass", "leaf litter", "wood", "bark", "wall", "other")

_ROWS = 2000


def ask(*, read=input, say=print):
    """Ask for the settings that every season needs; an empty answer is left for later.

    Parameters
    ----------
    read : callable
        Takes the words of a question, gives back the answer.
    say : callable
        Shows a line.

    Returns
    -------
    dict of (section, key) to value

    Examples
    --------
    >>> answers = iter(["Adders 2026", "1.3.2026", "2026-03-01", "", "heath", "52,4", "9.7", "40", "Europe/Berlin", ""])
    >>> ask(read=lambda question: next(answers), say=lambda line: None)["site", "latitude_deg"]
    52.4
    """
    found = {}
    for setting in (s for s in schemas.SETTINGS if s.required and s.section in ("season", "site", "animal")):
        example = _EXAMPLES.get(f"{setting.section}.{setting.key}")
        unit = f", {setting.unit}" if setting.unit else ""
        question = (
            f"{setting.meaning[0].upper()}{setting.meaning[1:]}{unit}{f', such as {example}' if example else ''}: "
        )
        while answer := read(question).strip():
            value = _parsed(setting, answer)
            mistake = settings.wrong(setting, value)
            if mistake is None:
                found[setting.section, setting.key] = value
                break
            # What is wrong with a line of the file is not what is wrong with an answer: no talk of quotation marks.
            how = {"zone": mistake[1], "date": "Write it as 2023-05-14.", "number": "Write the number alone."}
            say(f"  {mistake[0]} {how.get(setting.kind, '')}".rstrip() + " Try again, or Enter to leave it.")
    return found


def _parsed(setting, answer):
    try:
        if setting.kind == "number":
            return float(answer.replace(",", ".").replace("−", "-"))
        return dt.date.fromisoformat(answer) if setting.kind == "date" else answer.replace('"', "'")
    except ValueError:
        return answer


def check_free(path):
    """Refuse a place where something is already; nothing is overwritten."""
    path = Path(path).expanduser()
    if path.is_dir() and any(path.iterdir()):
        raise FieldkitError(
            f"The folder {path} is there already and holds {sum(1 for _ in path.iterdir())} files or folders; "
            "nothing was changed. Choose another name, or an empty folder."
        )
    if path.exists() and not path.is_dir():
        raise FieldkitError(f"{path} is a file; nothing was changed. Choose another name for the folder.")


def new_folder(path, *, answers=None):
    """Make a season folder that is ready to fill.

    Parameters
    ----------
    path : str or pathlib.Path
        Must not be there yet, or be an empty folder.
    answers : dict of (section, key) to value, optional
        Settings that are known already, as from `ask`.

    Returns
    -------
    pathlib.Path
        The folder, with season.toml, one CSV a table, season.xlsx, field sheets for A4 and Letter, README.txt,
        data_dictionary.html and the guided notebooks.

    Raises
    ------
    FieldkitError
        When something is there already: nothing is overwritten.
    """
    return make_folder(path, lambda folder: _fill(folder, answers or {}))


def make_folder(path, fill):
    """Make a folder whole or not at all; `fill` writes into it. Nothing that is there is overwritten."""
    path = Path(path).expanduser()
    check_free(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        # Made beside and moved in whole, so that a full disk leaves no half folder.
        half = Path(tempfile.mkdtemp(prefix=f".{path.name}-", dir=path.parent))
    except OSError as error:
        raise FieldkitError(f"No folder can be made at {path} ({error.strerror}). Choose another place.") from error
    try:
        fill(half)
        half.chmod(0o755)
        if path.is_dir():
            path.rmdir()
        half.rename(path)
    finally:
        shutil.rmtree(half, ignore_errors=True)
    return path


def _fill(folder, answers):
    (folder / "season.toml").write_text(settings_template(answers), encoding="utf-8")
    for table in schemas.TABLES:
        (folder / f"{table}.csv").write_text(
            ",".join(template_headers(table)) + "\r\n", encoding="utf-8-sig", newline=""
        )
    workbook(folder / "season.xlsx", schemas.TABLES, readme())
    for paper in ("A4", "Letter"):
        (folder / f"field_sheet_{paper}.html").write_text(field_sheet(paper=paper), encoding="utf-8")
    (folder / "README.txt").write_text(readme(), encoding="utf-8")
    body = f"<h1>What every column means</h1>\n{schemas.data_dictionary_html()}"
    (folder / "data_dictionary.html").write_text(page_to_read("What every column means", body), encoding="utf-8")
    copy_notebooks(resource_dir("notebooks"), folder / "notebooks")


# What an answer looks like, for the questions and for season.toml.
_EXAMPLES = {
    "season.name": "Lizards of the old quarry, 2023",
    "season.first_day": "2023-03-15",
    "season.last_day": "2023-10-20",
    "site.name": "the old quarry",
    "site.latitude_deg": "36.1",
    "site.longitude_deg": "-79.9",
    "site.elevation_m": "270",
    "animal.species": "ridge lizard",
    "animal.length_m": "0.07",
    "animal.mass_g": "12",
    "animal.shortwave_absorptivity": "0.85",
    "season.invented": "false",
    "season.public_name": '"Ridge lizards, 2023"',
    "site.public_name": '"a quarry in the hills"',
}


def settings_template(answers=None):
    """Text of a season.toml to be filled in, made from the declared settings.

    Parameters
    ----------
    answers : dict of (section, key) to value, optional
        Settings that are known already.

    Examples
    --------
    >>> settings_template().count("FILL IN")
    10
    """
    lines = [
        "# What this season was: where, when, which animal, which instruments.",
        '# Replace every "FILL IN". Text stands between straight quotation marks, numbers without and with a point.',
        "# A line that begins with # is not read: take the # away to use it.",
    ]
    section = None
    for setting in schemas.SETTINGS:
        if setting.section not in ("season", "site", "animal"):
            continue
        if setting.section != section:
            section = setting.section
            lines += ["", f"[{section}]"]
        example = _EXAMPLES.get(f"{section}.{setting.key}")
        unit = f", {setting.unit}" if setting.unit else ""
        written = f'"{example}"' if setting.kind == "text" else example
        remark = f"{setting.meaning}{unit}"
        answer = (answers or {}).get((section, setting.key))
        if answer is not None:
            text = json.dumps(answer, ensure_ascii=False) if isinstance(answer, str) else f"{answer}"
            lines.append(f"{setting.key} = {text} # {remark}")
        elif setting.required:
            such = f"; a whole line: {setting.key} = {written}" if example else ""
            lines.append(f'{setting.key} = "FILL IN" # {remark}{such}')
        else:
            lines.append(f"# {setting.key} = {example} # {remark}")
    lines += [
        "",
        "# What each column was read with; error is the standard deviation of its readings, in °C or W/m² as the name",
        "# of the column says, whatever unit you read. How to find it: read the same thing ten times; or divide the ±",
        "# of the data sheet by 1.7 (JCGM 100:2008, 4.3.7: limits of which nothing else is known).",
    ]
    for column, what, error in (
        ("shade_air_c", "thermometer in a small white radiation shield", "0.4"),
        ("surface_c", "infrared thermometer, emissivity set to 0.95", "1.5"),
        ("irradiance_w_m2", "hand-held pyranometer", "30"),
    ):
        lines += ["", f"# [instruments.{column}]", f'# what = "{what}"', f"# error = {error}", '# how = "data sheet"']
    lines += [
        "",
        "# One section for each logger: its name is the logger_id of the readings.",
        f"# role is one of {', '.join(schemas.ROLES)}.",
        "# [loggers.shade-1]",
        '# role = "shade_air"',
        '# unit = "degC"',
        '# place = "north wall, 1.5 m"',
        "# error = 0.3",
        '# timezone = "UTC-05:00" # only if its clock is never set to summer time',
        "",
        "# One section for each weather station, if you know where it stands.",
        "# [stations.airfield]",
        "# latitude_deg = 36.10",
        "# longitude_deg = -79.94",
        "# elevation_m = 273",
        "",
        "# Only if your files need it:",
        "# [dates]",
        '# order = "dmy" # or "mdy": what 03/04/2023 means in your files',
        "# [numbers]",
        '# decimal = "," # or ".": what 1,234 means in your CSV files',
        "# [units.choices]",
        '# surface = "degF" # for a column whose header does not say its unit',
        "# [columns.choices]",
        '# "Ground temp" = "surface [degF]" # for a sheet whose headers you do not want to change',
        "# [words.animal_id]",
        '# "D12" = "D4" # for words you do not want to change: here an animal that was marked anew',
        "# [dates.files]",
        '# "loggers/box.csv" = "mdy" # for a file whose dates are not as order says',
        "",
    ]
    return "\n".join(lines)


def readme():
    """Text that tells how to fill the folder."""
    tables = "\n".join(f"  {name:<10} one row is {schema.description}" for name, schema in schemas.TABLES.items())
    care = "\n".join(f"  - {c}" for c in cautions.FIELD)
    return f"""How to fill this folder

1. Open season.toml in a plain text editor, not a word processor. Where it says "FILL IN", write the line as its example
   shows. Then take the # away before your instruments: without their errors nobody can say whether the places differed.
2. Print field_sheet_A4.html (or _Letter) from your browser and take it outside, or fill season.xlsx on a phone.
3. Type the sheets into season.xlsx, or into the CSV files: whichever you like, but each table in one place only.
   You need not use every table; delete what you do not use, or leave it empty.
   Sheets of several observers, or exports of several loggers: put them all into a folder with the name of the table,
   such as choices/A.xlsx and choices/B.csv. Headers of your own? [columns.choices] in season.toml says what they mean.
{tables}
4. Ask for mistakes:          fieldkit check THIS_FOLDER
5. Make the write-up:         fieldkit writeup THIS_FOLDER --out NEW_FOLDER

- Write dates as 2023-05-14 10:20. Leave a cell empty when there was no reading; never write 0 or -999 for it.
- Units stand in the headers. If you read °F, change the header to [degF]; the numbers stay as you read them.
- Columns of your own are welcome and are kept.
- What each column means: data_dictionary.html. Guided notebooks: the folder notebooks.

Cautions
{care}
"""


def workbook(path, tables, words, *, lists=None):
    """Write a workbook to fill in: a sheet a table (name: declaration), limits and drop-downs in its columns.

    `words` tell how to fill it; `lists` gives choices that are not declared, as column (or table.column): words.
    """
    import openpyxl
    from openpyxl.styles import Alignment, Font, PatternFill
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.properties import PageSetupProperties

    book = openpyxl.Workbook()
    how = book.active
    how.title = "how to fill"
    how.column_dimensions["A"].width = 70
    how.page_setup.orientation = "landscape"
    how.page_setup.fitToHeight = 0
    how.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    for row, line in enumerate(words.splitlines(), start=1):
        cell = spreadsheet.put(how, row, 1, line.strip())
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        # Some programs do not fit the height of a row to wrapped text by themselves.
        how.row_dimensions[row].height = 15 * (1 + len(line) // 66)
    how["A1"].font = Font(bold=True, size=14)
    formats = {"time": "yyyy-mm-dd hh:mm", "date": "yyyy-mm-dd", "text": "@", "word": "@"}
    for table, schema in tables.items():
        sheet = book.create_sheet(table)
        sheet.freeze_panes = "A2"
        sheet.page_setup.orientation = "landscape"
        sheet.page_setup.fitToHeight = 0
        sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
        names = template_headers(schema.name)
        for position, (name, (column, declared)) in enumerate(zip(names, schema.columns.items()), start=1):
            letter = get_column_letter(position)
            kind = declared.metadata["kind"]
            cell = spreadsheet.put(sheet, 1, position, name)
            cell.font = Font(bold=True)
            cell.fill = PatternFill("solid", fgColor="DDE8DD" if declared.required else "EEEEEE")
            cell.alignment = Alignment(wrap_text=True, vertical="top")
            width = sheet.column_dimensions[letter]
            width.width = {"time": 18, "date": 18}.get(kind, 30 if name == "notes" else max(11, len(name) + 2))
            width.number_format = formats.get(kind, "General")
            choices = (lists or {}).get(f"{schema.name}.{column}", (lists or {}).get(column))
            rule = _rule(schema.name, column, kind, choices)
            meaning = declared.description.replace("season.toml", path.with_suffix(".toml").name)
            rule.prompt = f"{meaning}. Example: {declared.metadata['example']}"[:255]
            rule.promptTitle = name[:32]
            rule.showInputMessage = True
            rule.add(f"{letter}2:{letter}{_ROWS}")
            sheet.add_data_validation(rule)
    book.save(path)


def _rule(table, column, kind, choices=None):
    """Drop-down or limits of one column; a warning, so that an odd reading can still be written."""
    from openpyxl.worksheet.datavalidation import DataValidation

    if choices:
        rule = DataValidation(type="list", formula1=f'"{",".join(choices)}"', errorStyle="information")
        rule.error = "This is a new name: write it as in the settings file, the same way every time."
    elif column == "used":
        rule = DataValidation(type="list", formula1='"1,0"', allow_blank=True, errorStyle="stop")
        rule.error = "1 = the animal was here, 0 = it could have been."
    elif kind == "word":
        rule = DataValidation(type="list", formula1=f'"{",".join(schemas.BEHAVIOURS)}"', errorStyle="warning")
        rule.error = "No analysis knows this word. Keep it all the same?"
    elif column == "substrate":
        rule = DataValidation(type="list", formula1=f'"{",".join(SUBSTRATES)}"', errorStyle="information")
        rule.error = "This is a new word for the substrate: write it the same way every time."
    elif (limits := schemas.column_range(table, column)) is not None:
        low, high = limits.limits
        whole = "whole" if column == "count" else "decimal"
        rule = DataValidation(
            type=whole, operator="between", formula1=f"{low:g}", formula2=f"{high:g}", errorStyle="stop"
        )
        rule.error = f"A number from {low:g} to {high:g} {limits.unit}; if you read another unit, change the header."
        if limits.dimension == "temperature":
            # In °F the numbers are higher: ask, do not forbid.
            rule.errorStyle = "warning"
    else:
        rule = DataValidation()
    rule.showErrorMessage = rule.error is not None
    return rule


def copy_notebooks(source, target, *, only=None):
    """Copy the guided notebooks (`only` these), set to the new folder and without the demo's results."""
    for file in sorted(source.rglob("*")):
        inside = file.relative_to(source)
        # Code beside the notebooks serves the tests.
        if only is not None and str(inside) not in only:
            continue
        if file.is_dir() or file.suffix == ".py" or any(part.startswith((".", "_")) for part in inside.parts):
            continue
        copy = target / inside
        copy.parent.mkdir(parents=True, exist_ok=True)
        if file.suffix != ".ipynb":
            shutil.copyfile(file, copy)
            continue
        book = json.loads(file.read_text(encoding="utf-8"))
        up = "/".join([".."] * len(inside.parts))
        for cell in book["cells"]:
            if cell["cell_type"] != "code":
                continue
            cell["outputs"], cell["execution_count"] = [], None
            if "parameters" in cell["metadata"].get("tags", []):
                name = "season_folder" if only is None else "enclosure_folder"
                text = "".join(cell["source"]).replace(f"{name} = None", f'{name} = "{up}"', 1)
                cell["source"] = text.splitlines(keepends=True)
        copy.write_text(json.dumps(book, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
