"""A new enclosure folder: ready to fill, read back once filled, audited with little, never written over."""

import re
import shutil
import tomllib

import openpyxl
import pandas as pd
import pytest
from test_records_template import _Balance

import fieldkit
from fieldkit import cli
from fieldkit.captive import targets
from fieldkit.core import FieldkitError, resource_dir
from fieldkit.records.enclosure import template as enclosure_template
from fieldkit.records.enclosure.settings import SETTINGS
from fieldkit.records.enclosure.tables import TABLES
from fieldkit.records.season import printed

ANSWERS = {
    **{"name": '"Shelf"', "length_m": "1.2", "width_m": "0.6", "height_m": "0.6", "walls": '"wood"'},
    **{"room_temperature_c": "{ day = 21, night = 18 }", "timezone": '"America/New_York"', "species": '"ridge lizard"'},
    **{"id": '"basking-lamp"', "kind": '"heat"', "power_w": "100", "on": '"08:00"', "off": '"20:00"'},
    **{"guarded": "true", "fixed": "true", "distance_to_nearest_reach_m": "0.4", "mass_g": "900"},
    **{"substrate": '"slate"'},
}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return enclosure_template.new_folder(tmp_path_factory.mktemp("new") / "mine", targets=targets.template())


@pytest.fixture
def new(made, tmp_path):
    return shutil.copytree(made, tmp_path / "mine")


def fill(folder, *, everything=False):
    """Answer every FILL IN, places by the example behind it; with `everything`, what stands behind # too."""
    lines, section = [], ""
    for line in (folder / "enclosure.toml").read_text(encoding="utf-8").splitlines():
        asked = re.match(r'(\w+) = "FILL IN" # (.*)', line)
        section = line if line.startswith("[") else section
        if asked:
            of_animal = section == "[animal]"
            example = re.search(r"such as ([\d.]+)$", asked[2])
            line = f"{asked[1]} = {example[1] if of_animal and example else ANSWERS.get(asked[1]) or example[1]}"
        elif everything:
            line = re.sub(r"^# (\[|[a-z_0-9]+ = )", r"\1", line)
        lines.append(line)
    (folder / "enclosure.toml").write_text("\n".join(lines), encoding="utf-8")
    return folder


def test_every_setting_stands_in_the_template_or_in_the_dictionary(made):
    text = (made / "enclosure.toml").read_text(encoding="utf-8")
    words = (made / "data_dictionary.html").read_text(encoding="utf-8")
    for setting in SETTINGS:
        assert f"<td>{setting.key}</td>" in words, setting
        asked = setting.section.split(".")[0] in ("enclosure", "animal", "lamps", "points")
        if asked and setting.key not in ("invented",):
            assert re.search(rf"^#? ?{setting.key} = ", text, re.M), setting
    assert "season.toml" not in words
    for table, schema in TABLES.items():
        assert f"<h3>{table}</h3>" in words
        assert all(f"<td>{column}</td>" in words for column in schema.columns)


def test_an_empty_folder_gives_sentences(new):
    with pytest.raises(fieldkit.EnclosureError) as caught:
        fieldkit.read_enclosure(new)
    assert set(caught.value.problems["problem"]) == {"This is still to be filled in."}
    assert len(caught.value.problems) == (new / "enclosure.toml").read_text(encoding="utf-8").count('= "FILL IN"')


def test_filled_without_readings_it_can_be_read_and_lists_what_to_measure(new, capsys):
    fill(new)
    assert not len(fieldkit.read_enclosure(new).warnings)
    assert cli.main(["audit", str(new)]) == cli.OK
    said = capsys.readouterr().out
    assert "3 not measured" in said and "What to measure next" in said and "safe" not in said.replace("unsafe", "")


def test_everything_offered_behind_a_sign_is_true_toml(new):
    fill(new, everything=True)
    text = (new / "enclosure.toml").read_text(encoding="utf-8")
    assert set(tomllib.loads(text)["instruments"]) == {"shade_air_c", "surface_c", "irradiance_w_m2", "uv_index"}
    for table, schema in TABLES.items():
        example = [f'"{c.metadata["example"]}"' for c in schema.columns.values()]
        if table != "readings":
            with (new / f"{table}.csv").open("a", encoding="utf-8") as file:
                file.write(",".join(example) + "\n")
    (new / "readings.csv").write_text("Date Time,Probe 2 (°F)\n2026-05-14 10:20,75.2\n", encoding="utf-8")
    record = fieldkit.read_enclosure(new)
    assert record.lamp_readings[["distance_m", "irradiance_w_m2"]].to_numpy().tolist() == [[0.3, 540.0]]
    hand = record.readings[record.readings["logger_id"].astype(str).str.contains("by hand")]
    assert len(hand) == 6 and set(hand["zone"]) == {"basking site"}
    assert record.readings.loc[record.readings["logger_id"] == "air-cool", "value"].tolist() == pytest.approx([24.0])


def test_the_workbook_reads_back(new):
    fill(new)
    book = openpyxl.load_workbook(new / "enclosure.xlsx")
    assert book.sheetnames == ["how to fill", *TABLES]
    for table, schema in TABLES.items():
        assert [c.value for c in book[table][1]] == printed.template_headers(schema.name)
    hand = book["hand_readings"]
    lists = [r for r in hand.data_validations.dataValidation if r.type == "list"]
    assert [r.formula1 for r in lists] == ['"basking,warm,cool,retreat"']
    assert not any("season.toml" in r.prompt for t in TABLES for r in book[t].data_validations.dataValidation)
    rows = [(pd.Timestamp("2026-05-14 13:00"), "basking", None, 41.5), (pd.Timestamp("2026-05-14 13:02"), "cool", 24.5)]
    for number, row in enumerate(rows, start=2):
        for column, value in enumerate(row, start=1):
            value = value.to_pydatetime() if isinstance(value, pd.Timestamp) else value
            hand.cell(number, column, value)
    book.save(new / "enclosure.xlsx")
    record = fieldkit.read_enclosure(new)
    assert dict(zip(record.readings["zone"], record.readings["value"])) == {"cool end": 24.5, "basking site": 41.5}


def test_only_its_notebooks_come_along_set_to_the_folder(made):
    names = sorted(p.name for p in (made / "notebooks").iterdir())
    assert tuple(names) == enclosure_template.NOTEBOOKS
    for name in names:
        assert 'enclosure_folder = \\"..\\"' in (made / "notebooks" / name).read_text(encoding="utf-8")


def test_nothing_is_written_over(new, capsys):
    before = {p: p.read_bytes() for p in new.rglob("*") if p.is_file()}
    with pytest.raises(FieldkitError, match="nothing was changed"):
        enclosure_template.new_folder(new, targets="")
    assert cli.main(["new", str(new), "--enclosure"]) == cli.MISTAKE
    assert {p: p.read_bytes() for p in new.rglob("*") if p.is_file()} == before


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_sheet_prints_alone_and_says_what_to_take_care_of(paper):
    page = enclosure_template.sheet(paper=paper)
    reader = _Balance()
    reader.feed(page)
    assert reader.open == [] and reader.links == []
    assert f"size: {paper} landscape" in page
    for word in ("residual-current", "UV glasses", "vet", "lux meter", "guarded"):
        assert word in page
    assert "at 8:00" in page and "Out of sight" in page
    for table in ("hand_readings", "lamp_readings"):
        for header in printed.template_headers(table):
            assert header.replace("_", "_<wbr>") in page


def test_the_targets_offered_behind_a_sign_are_targets():
    text = re.sub(r"^# (\[\[|[a-z]+ = )", r"\1", targets.template(), flags=re.M)
    read = targets.from_text(text, kind="toml")
    assert len(read.table) == 6 and (read.table["kind"] == "limit").sum() == 3 and not read.invented


HAND = "time,point,surface [°C],shade_air [°C]\n2026-11-02 13:00,basking,41,\n2026-11-02 13:02,cool,,24\n"
PROBES = "Date,Time,CH1,CH2\n11/02/2026,1:00:00 PM,88.2,75.1\n11/03/2026,1:00:00 PM,88,75\n"
LOGGER = '\n[loggers.a]\npoint = "cool"\nrole = "shade_air"\nunit = "degF"\ncolumn = "CH1"\n'


def _toml(old, new):
    def change(folder):
        path = folder / "enclosure.toml"
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new), encoding="utf-8")

    return change


def _file(name, text):
    return lambda folder: (folder / name).write_text(text, encoding="utf-8")


def _both(*changes):
    return lambda folder: [change(folder) for change in changes]


# What keepers get wrong, and words of the answer.
BROKEN = {
    "inches": (_toml("length_m = 1.2", "length_m = 48"), "48 inches 1.22"),
    "centimetres": (_toml("x_m = 1.1\n", "x_m = 110\n"), "110 cm are 1.1"),
    "°F under a °C header": (_file("hand_readings.csv", HAND.replace("41", "128")), "write the header as"),
    "room in °F": (_toml("day = 21, night = 18", "day = 72, night = 65"), "day = 22.2, night = 18.3"),
    "no unit": (_file("hand_readings.csv", HAND.replace(" [°C]", "")), "unit of this column"),
    "no time of day": (_file("hand_readings.csv", HAND.replace("2026-11-02 13:00", "2026-11-02")), "no time of day"),
    "unknown role": (_toml("# Only if", LOGGER.replace("shade_air", "basking") + "# Only if"), "shade_air, surface"),
    "lamp without a place": (_toml("x_m = 0.25\n", ""), "Add x_m"),
    "words for kinds": (_toml('kind = "heat"', 'kind = "halogen flood"'), 'Write kind = "heat"'),
    "eight o'clock": (_toml('on = "08:00"', 'on = "8am"'), "24 hours"),
    "curly quotes": (_toml('"wood"', "”wood”"), "straight quotation marks"),
    "another zone": (_toml('zone = "cool end"', 'zone = "cold end"'), "Did you mean cool end?"),
    "a probe without a section": (_file("readings.csv", PROBES), 'column = "CH1"'),
    "which is the month": (_both(_file("readings.csv", PROBES), _toml("# Only if", LOGGER + "# Only if")), '"mdy"'),
    "lux": (_file("lamp_readings.csv", "lamp,distance [m],irradiance [lux]\nbasking-lamp,0.3,2e4\n"), "human eyes"),
    "another lamp": (_file("lamp_readings.csv", "lamp,distance [m],uv_index\nuvb,0.3,2\n"), "describe this lamp"),
    "no targets": (lambda folder: (folder / "targets.toml").unlink(), "has no targets.toml"),
    "unknown target": (_file("targets.toml", '[[target]]\ntarget = "basking"\nhigh = 40\n'), "use one of shade_air_c"),
    "targets in °F": (_file("targets.toml", '[[target]]\ntarget = "surface_c"\nlow = 95\n'), "write 35.0"),
    "ending added": (lambda f: (f / "enclosure.toml").rename(f / "enclosure.toml.txt"), "Rename enclosure.toml.txt"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_what_keepers_get_wrong_gets_a_sentence_to_act_on(name, new, capsys):
    change, words = BROKEN[name]
    change(fill(new))
    assert cli.main(["audit", str(new)]) == cli.MISTAKE
    said = " ".join(capsys.readouterr().err.split())
    assert words in said and "Traceback" not in said


def test_day_numbers_of_a_spreadsheet_are_read_and_said_to_be_so(new):
    fill(new)
    _file("hand_readings.csv", HAND.replace("2026-11-02 13:00", "46328.5417"))(new)
    record = fieldkit.read_enclosure(new)
    assert record.readings["time"].dt.strftime("%Y-%m-%d %H").tolist().count("2026-11-02 13") == 2
    assert record.warnings["value"].str.contains("46328").any()


def test_targets_of_another_species_are_pointed_out(new, capsys):
    fill(new)
    _file("hand_readings.csv", HAND)(new)
    text = targets.template().replace('# species = "the animal these are for"', 'species = "desert tortoise"')
    _file("targets.toml", text)(new)
    cli.main(["audit", str(new)])
    assert "The targets are for desert tortoise, the enclosure says ridge lizard" in " ".join(
        capsys.readouterr().out.split()
    )


def test_a_thermometer_gun_for_three_days_gets_an_audit(new, capsys):
    fill(new)
    rows = [
        f"2026-11-0{d} 13:0{k},{p}" for d in (2, 3, 4) for k, p in enumerate(("basking,142,", "cool,,74", "warm,,79"))
    ]
    _file("hand_readings.csv", "time,point,surface [degF],shade_air [degF]\n" + "\n".join(rows) + "\n")(new)
    assert cli.main(["audit", str(new)]) == 3
    said = capsys.readouterr().out
    assert "exceeded its limit of 48 °C" in said and "What to measure next" in said
    assert "error of what reads" in " ".join(said.split()) or "No error is stated" in said


def test_check_takes_an_enclosure_folder(new, capsys):
    assert cli.main(["check", str(new)]) == cli.MISTAKE
    told = capsys.readouterr().out
    assert "enclosure.toml" in told and "still to be filled in" in told
    watched = resource_dir("data") / "demo_watched"
    rows = sum(1 for line in (watched / "scans.csv").read_text().splitlines() if not line.startswith("#")) - 1
    assert cli.main(["check", str(watched)]) == cli.OK
    assert f"{rows} scans of 2 animals" in capsys.readouterr().out
