"""An enclosure's names, notes and files stay at home too: in write-ups, audits, cards, targets and comparisons."""

import pandas as pd
import pytest
from marked_season import ANIMALS, OBSERVERS, SITE, make, make_enclosure
from test_privacy import marks_in, told_by

import fieldkit
from fieldkit import cli
from fieldkit.captive import targets
from fieldkit.report import writeup
from fieldkit.report.privacy import at_home, enclosures, gate, texts


@pytest.fixture(scope="module", params=["demo_enclosure", "demo_watched"])
def cage(request, tmp_path_factory):
    return fieldkit.read_enclosure(make_enclosure(tmp_path_factory.mktemp("c") / "Quendelbach Regal", request.param))


def test_the_public_enclosure_holds_the_readings_and_none_of_the_marks(cage, tmp_path):
    assert len(marks_in(told_by(cage.path))) >= 6
    enclosures.write(cage, tmp_path / "p")
    assert marks_in(told_by(tmp_path / "p")) == []
    kept = enclosures.secrets(cage)
    assert gate.search(tmp_path / "p", kept).empty
    assert {"the name of a point", "the name of a lamp", "the name of the enclosure"} <= set(
        gate.search(cage.path, kept)["what"]
    )
    read = fieldkit.read_enclosure(tmp_path / "p")
    columns = ["time", "logger_id", "value"]
    before, after = (one.readings[columns].copy() for one in (cage, read))
    for table in (before, after):
        table["logger_id"] = table.groupby("logger_id", observed=True)["value"].transform("size")
    pd.testing.assert_frame_equal(before, after, check_exact=True)
    assert len(read.lamp_readings) == len(cage.lamp_readings) and len(read.points) == len(cage.points)
    if cage.scans is not None:
        assert len(read.scans) == len(cage.scans)
        pairs = set(zip(cage.scans["animal_id"], read.scans["animal_id"], strict=True))
        assert len(pairs) == 2 and sorted(pairs)[0][1] < sorted(pairs)[1][1]
        assert ANIMALS not in read.scans["animal_id"].unique()
    # Made public again it is the same, so that others compute the same numbers from what they were given.
    enclosures.write(read, tmp_path / "q")
    for path in (tmp_path / "p").iterdir():
        assert path.read_bytes() == (tmp_path / "q" / path.name).read_bytes(), path.name


def test_plain_names_stay_and_a_public_name_is_used(tmp_path):
    demo = fieldkit.demo_enclosure()
    with enclosures.opened(demo) as told:
        assert list(told.points["point_id"]) == list(demo.points["point_id"])
        assert list(told.lamps["id"]) == list(demo.lamps["id"])
    folder = make_enclosure(tmp_path / "c")
    file = folder / "enclosure.toml"
    text = file.read_text(encoding="utf-8").replace("[enclosure]", '[enclosure]\npublic_name = "shelf of the club"')
    file.write_text(text, encoding="utf-8")
    with enclosures.opened(fieldkit.read_enclosure(folder)) as told:
        assert told.name == "shelf of the club"


def test_targets_in_a_keepers_words_stay_at_home(tmp_path):
    folder = make_enclosure(tmp_path / "c")
    (folder / "targets.toml").write_text(
        'species = "ridge lizard"  # kept by Traudl at Quendelbach\nnotes = ["ask Traudl at Quendelbach"]\n'
        '[[target]]\ntarget = "shade_air_c"\nlow = 21\nhigh = 25\nbasis = "field"\nsource = "Traudl, Quendelbach"\n',
        encoding="utf-8",
    )
    enclosures.write(fieldkit.read_enclosure(folder), tmp_path / "p")
    text = (tmp_path / "p" / "targets.toml").read_text(encoding="utf-8")
    assert "raudl" not in text and "uendelbach" not in text
    told, own = (targets.load(at / "targets.toml").table for at in (tmp_path / "p", folder))
    assert told[["target", "low", "high", "kind"]].equals(own[["target", "low", "high", "kind"]])


@pytest.mark.slow
def test_a_write_up_with_an_enclosure_holds_no_mark(tmp_path):
    folder = make(tmp_path / "Quendelbach 2025", days=5, tables=("choices", "sightings", "loggers"))
    room = make_enclosure(tmp_path / "Quendelbach Regal")
    done = writeup.write(folder, tmp_path / "out", only=["10"], enclosure=room, pdf=False, progress=False)
    text = told_by(done.path)
    assert marks_in(text) == [] and "traudl" not in text and "lamp-1" in text
    assert fieldkit.read_enclosure(room).input_hash not in text
    again = writeup.reproduce(done.path, folder, enclosure=room, progress=False)
    assert again.reproduced, again.table.to_string()


@pytest.mark.slow
def test_audit_card_targets_and_comparison_hold_no_mark_of_the_season(tmp_path, capsys):
    folder = make(tmp_path / "Quendelbach 2025")
    watched = make_enclosure(tmp_path / "Quendelbach Regal", "demo_watched")
    (tmp_path / "out").mkdir()
    assert cli.main(["compare", str(folder), str(watched), "--save", str(tmp_path / "out" / "c.csv")]) == 0
    assert marks_in(told_by(tmp_path / "out")) == [] and marks_in(capsys.readouterr().out.casefold()) == []


@pytest.mark.slow
def test_a_card_holds_names_of_the_keeper_and_nothing_of_the_season(tmp_path, capsys):
    folder = make(tmp_path / "Quendelbach 2025")
    demo = str(fieldkit.demo_enclosure().path)
    out = tmp_path / "out"
    out.mkdir()
    wanted = ["--season", str(folder), "--card", str(out / "card.html"), "--save-targets", str(out / "t.toml")]
    assert cli.main(["audit", demo, *wanted]) == 3
    assert {path.name for path in out.iterdir()} >= {"card.html", "t.toml"}
    assert marks_in(told_by(out)) == [] and marks_in(capsys.readouterr().out.split("Targets saved")[0].casefold()) == []


def test_a_file_that_would_tell_is_taken_away_again(cage, tmp_path):
    kept = enclosures.secrets(cage)
    old = tmp_path / "old.txt"
    old.write_text(f"mine, {SITE}", encoding="utf-8")
    with pytest.raises(gate.LeakError) as caught, gate.held(tmp_path / "new.txt", kept, old, what="the card"):
        (tmp_path / "new.txt").write_text(f"beside {SITE}", encoding="utf-8")
    assert [path.name for path in tmp_path.iterdir()] == ["old.txt"] and SITE not in str(caught.value)
    with pytest.raises(gate.LeakError):
        gate.check_text(f"Audit of {cage.name}", kept, what="the audit")
    gate.check_text(f"Audit of {cage.name}", enclosures.secrets(cage, own_names=True), what="the audit")
    if cage.scans is not None:
        with pytest.raises(gate.LeakError):
            gate.check_text(f"seen by {OBSERVERS['A']}", enclosures.secrets(cage, own_names=True), what="the audit")


def test_the_size_of_a_picture_in_a_pdf_is_no_height(tmp_path):
    place = at_home.Place(what="a station", elevation_m=273.0)
    file = tmp_path / "a.pdf"
    file.write_bytes(b"%PDF-1.7\n<< /Type /XObject /Width 40 /Height 273 >>\n")
    found = list(texts.of_file(file))
    assert not [hit for _, text in found for hit in gate.in_text(text, at_home.Secrets(places=(place,)))]
