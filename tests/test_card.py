"""The setup card, the figures of the audit, and the verb that makes them."""

import re
from dataclasses import replace

import numpy as np
import pytest
import simulated_enclosures as simulated

import fieldkit
from fieldkit import cli
from fieldkit.captive import audit, targets
from fieldkit.core import FieldkitError, resource_dir
from fieldkit.report.figures import audit as figures
from fieldkit.report.figures import describe
from fieldkit.report.keeper import card

BASKING = {"target": "surface_c", "zone": "basking site", "period": "day", "low": 30.0, "high": 41.0, "source": "x"}


def monthly():
    rows = [
        {"target": "shade_air_c", "month": m, "period": p, "low": low, "high": low + 4, "source": "stations"}
        for m in range(1, 13)
        for p, low in (("day", 20.0), ("night", 15.0))
    ]
    return simulated.wanted(*rows, BASKING)


@pytest.fixture(scope="module")
def found():
    return audit.audit(simulated.plain(40, change={"rock": (19.0, 56.0)}), monthly())


# --- card ----------------------------------------------------------------------------------------------------------


def test_the_card_shows_targets_probes_and_cautions(tmp_path, found):
    made = card.write(monthly(), tmp_path / "card.html", enclosure=simulated.plain(2), found=found, pdf=False)
    text = made.html.read_text(encoding="utf-8")
    assert "Invented." in text and "ridge lizard" in text and made.pdf is None
    for words in ("Never above", "surface 48 °C", "20–24", "rock at B1, basking site", "no lamp may see it"):
        assert words in text
    for caution in ("Burns and fire", "Mains and water", "ICNIRP", "never in big steps", "vet", "law"):
        assert caution in text
    assert re.search(r'<svg[^>]+role="img" aria-label="Plan from above: basking at 0.25 m', text)
    assert "Switch the lamp (basking) off or bar the way to B1 now" in text
    assert not re.search(r"<script|<link|https?://(?!www\.w3\.org)", text)
    assert "safe" not in re.sub("<[^>]+>", "", text).lower()


def test_the_card_is_valid_html_and_leaves_files_alone(tmp_path):
    html5lib = pytest.importorskip("html5lib")
    made = card.write(monthly(), tmp_path / "card.html", pdf=False)
    html5lib.HTMLParser(strict=True).parse(made.html.read_text(encoding="utf-8"))
    with pytest.raises(FieldkitError, match="left as it is"):
        card.write(monthly(), tmp_path / "card.html", pdf=False)
    with pytest.raises(FieldkitError, match="end the name"):
        card.write(monthly(), tmp_path / "card.pdf")
    with pytest.raises(FieldkitError, match="make it first"):
        card.write(monthly(), tmp_path / "nowhere" / "card.html", pdf=False)


def test_the_pdf_is_one_page_on_either_paper(tmp_path, found):
    weasyprint = pytest.importorskip("weasyprint", exc_type=(ImportError, OSError))
    made = card.write(monthly(), tmp_path / "card.html", enclosure=simulated.plain(2), found=found)
    assert made.pdf.read_bytes().startswith(b"%PDF")
    text = made.html.read_text(encoding="utf-8")
    for paper in ("A4", "Letter"):
        sheet = weasyprint.CSS(string=f"@page {{ size: {paper} }}")
        assert len(weasyprint.HTML(string=text).render(stylesheets=[sheet]).pages) == 1


def test_months_with_one_target_each_and_years_apart():
    table = card.months_table(monthly()).set_index("what")
    assert table.loc["shade air, night", "Jul"] == "15–19" and table.loc["surface, day", "year"] == "30–41"
    cold = targets.from_text('[[target]]\ntarget = "shade_air_c"\nmonth = 1\nlow = -3\nhigh = -0.2', kind="toml")
    assert card.months_table(cold)["Jan"].tolist() == ["-3 to 0"]


def test_winter_on_the_card_is_no_order_to_cool(tmp_path):
    cold = targets.from_text('[[target]]\ntarget = "shade_air_c"\nmonth = 1\nlow = -3\nhigh = 5', kind="toml")
    text = card.write(cold, tmp_path / "card.html", pdf=False).html.read_text(encoding="utf-8")
    assert "The air of Jan is that outside" in text and "no order to cool" in text


def test_cautions_are_no_limits_on_the_card(tmp_path):
    rows = '[[target]]\ntarget = "shade_air_c"\nzone = "{}"\nhigh = 24.4\nkind = "caution"\n'
    made = targets.from_text(rows.format("cool end") + rows.format("retreat"), kind="toml")
    text = card.write(made, tmp_path / "card.html", pdf=False).html.read_text(encoding="utf-8")
    assert "a rule of thumb without a source: shade air at the cool end and retreat up to 24.4 °C" in text
    assert "Never above" not in text


def test_the_title_says_invented_and_another_species(tmp_path):
    wanted = simulated.wanted(BASKING)
    other = replace(wanted, species="desert tortoise")
    text = card.write(other, tmp_path / "card.html", enclosure=simulated.plain(2), pdf=False).html.read_text("utf-8")
    title = text.split("<title>")[1].split("</title>")[0]
    assert "INVENTED" in title and "another species" in title
    assert "ANOTHER SPECIES" in audit.audit(simulated.plain(2), other).title
    real = replace(simulated.plain(2), invented=False)
    with pytest.raises(FieldkitError, match="--invented"):
        card.write(wanted, tmp_path / "real.html", enclosure=real, pdf=False)
    with pytest.raises(FieldkitError, match="--invented"):
        audit.audit(real, wanted)
    assert "INVENTED" in audit.audit(real, wanted, allow_invented=True).title


def test_minutes_of_uv_are_each_lamps_own():
    words = dict(card.uv_limits(simulated.plain(2)))
    assert set(words) <= {"basking", "all together"}
    shown = dict(card.uv_limits(fieldkit.demo_enclosure()))
    # No UV was read of either lamp of the demo; the visible tube has no spectrum that tells its UV-A.
    assert set(shown) == {"spot", "tube", "all together"} and "not known" in shown["tube"]


# --- figures -------------------------------------------------------------------------------------------------------


def test_figures_draw_the_numbers_of_the_audit(found):
    from fieldkit.report.figures import drawn_numbers

    day = drawn_numbers(figures.through_day(found, "surface_c"))
    shown = day[day["series"] == "rock (basking site)"]["y"].astype(float).to_numpy()
    profile = found.profile[(found.profile["logger_id"] == "rock") & (found.profile["month"] == 7)]
    assert np.allclose(shown, profile["median"])
    assert "upper limit 48 °C" in set(day["series"])
    year = drawn_numbers(figures.through_year(found))
    assert (year["series"] == "target by day").sum() == 12
    read = found.table[(found.table["period"] == "day") & found.table["reading"].notna()]
    read = read[read["target"] == "shade_air_c"]["reading"].to_numpy()
    assert np.allclose(year[year["series"] == "read by day, median and 5 to 95 %"]["y"].astype(float), read)


def test_figures_state_the_finding(found):
    assert "above its limit of 43" in describe(figures.through_day(found, "surface_c"), "x")
    assert "2 met" in describe(figures.through_year(found), "x") or "missed" in describe(
        figures.through_year(found), "x"
    )
    assert "outside most often" in describe(figures.when_missed(found, "surface_c"), "x")
    with pytest.raises(FieldkitError, match="no target"):
        figures.through_day(found, "operative_c")
    with pytest.raises(FieldkitError, match="do not change with the month"):
        figures.through_year(found, "surface_c")


# --- the verb ------------------------------------------------------------------------------------------------------


@pytest.fixture
def demo():
    folder = resource_dir("data") / "demo_enclosure"
    if not folder.is_dir():
        pytest.skip("no demo enclosure in this checkout")
    return folder


def test_the_verb_prints_fixes_first_and_says_by_its_status_that_a_ceiling_is_broken(demo, tmp_path, capsys):
    file = monthly().save(tmp_path / "targets.toml")
    asked = ["audit", str(demo), "--targets", str(file), "--card", str(tmp_path / "c.html")]
    assert cli.main([*asked, "--save-targets", str(tmp_path / "again.json")]) == 3
    said = capsys.readouterr().out
    assert said.index("What to change, most important first") < said.index("\nTargets\n")
    assert "Surface, upper limit" in said and "Limit exceeded" in said and "Setup card" in said
    assert (tmp_path / "c.html").is_file()
    assert targets.load(tmp_path / "again.json").table.shape == monthly().table.shape
    assert cli.main(asked) == cli.MISTAKE
    assert "left as it is" in capsys.readouterr().err


def test_without_broken_ceiling_or_danger_the_status_is_nought(demo, tmp_path, capsys, monkeypatch):
    from fieldkit.records.enclosure import reader as enclosure_folder

    monkeypatch.setattr(enclosure_folder, "read_enclosure", lambda folder: simulated.plain(5))
    file = simulated.wanted().save(tmp_path / "targets.toml")
    assert cli.main(["audit", "any", "--targets", str(file)]) == cli.OK
    assert "0 of 5 upper limits exceeded" in capsys.readouterr().out.replace("\n", " ")


def test_mistakes_end_in_sentences(demo, tmp_path, capsys):
    for asked, words in (
        ([str(demo)], "has no targets.toml: give --season DIR"),
        ([str(demo), "--targets", "no.toml"], "There is no file no.toml"),
        ([str(demo), "--targets", "no.txt"], "ends in .toml or .json"),
    ):
        assert cli.main(["audit", *asked]) == cli.MISTAKE
        assert words in capsys.readouterr().err
    file = simulated.wanted().save(tmp_path / "targets.toml")
    assert cli.main(["audit", str(tmp_path / "none"), "--targets", str(file)]) == cli.MISTAKE
    assert "There is no such folder" in capsys.readouterr().err


def test_help_documents_the_exit_status(capsys):
    with pytest.raises(SystemExit):
        cli.main(["audit", "--help"])
    said = " ".join(capsys.readouterr().out.split())
    assert "3 a limit is exceeded or a danger was found" in said and "does not mean that nothing is wrong" in said
