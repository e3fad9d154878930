"""The planning of seasons: against brute force, against a known chance, and at the edges."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import study_planning as study

from fieldkit.core import FieldkitError
from fieldkit.field import planning
from fieldkit.field.planning import planner
from fieldkit.report.figures import planning as figures
from fieldkit.report.figures.style import drawn_numbers

SMALL = {"effect": 3.0, "n_sets": (30, 60), "n_animals": (10,), "n_seasons": 6, "permutations": 19}


def chance(sets):
    """A known chance of a right verdict, that levels off below 1."""
    return 0.95 * (1 - np.exp(-np.asarray(sets, float) / 60))


@pytest.fixture
def known(monkeypatch):
    """Verdicts drawn with the known chance in place of simulated seasons, so that many plans can be tried."""

    def verdict(task, world, permutations, design=None):
        _, sets, random = task
        return "radiation" if random.random() < chance(sets) else "undecided"

    monkeypatch.setattr(planner, "_verdict", verdict)


@pytest.mark.slow
def test_curve_agrees_with_brute_force():
    # The full study is tests/studies/study_planning.py; here one size between two, few seasons, 3.3 standard errors.
    (row,) = study.compare(10, 40, 40, sizes=(25, 50), between=(35,), effect=2.5)
    assert abs(row[-1]) < 3.3
    assert row[2] > 0.02


@pytest.mark.slow
def test_needed_number_covers_the_known_truth(known):
    truth = -60 * np.log(1 - 0.8 / 0.95)
    held = []
    for seed in range(40):
        row = planning.plan(n_sets=(20, 40, 80, 120, 160, 240), n_seasons=200, rng=seed).needed.loc[15]
        held.append(row["low"] <= truth <= row["high"])
    # 99.9 % of binomial counts at 93 % coverage are 31 or more of 40.
    assert sum(held) >= 31


def test_curve_covers_the_known_chance(known):
    sizes = (20, 30, 40, 60, 80, 120, 160, 240)
    held = []
    for seed in range(25):
        found = planning.plan(n_sets=sizes, n_seasons=200, rng=seed)
        at = found.curve[found.curve["sets"].isin(sizes)]
        held.append(((at["low"] <= chance(at["sets"])) & (chance(at["sets"]) <= at["high"])).mean())
        assert (np.diff(found.curve["right"]) >= 0).all()
    assert 0.9 < np.mean(held) <= 1


def test_needed_number_says_when_it_lies_outside(known):
    few = planning.plan(n_sets=(5, 10), n_animals=(5,), n_seasons=50)
    assert few.needed.loc[5, "status"] == "more than tried"
    assert "not even 10 sets are enough" in few.sentence
    many = planning.plan(n_sets=(400, 800), n_seasons=50)
    assert many.needed.loc[15, "status"] == "fewer than tried"
    assert "already enough" in many.sentence


def test_days_follow_from_sets(known):
    found = planning.plan(n_sets=(20, 40, 80, 160, 320), sets_per_day=8, n_seasons=100)
    assert found.table["days"].tolist() == [3, 5, 10, 20, 40]
    assert found.needed.loc[15, "days"] == np.ceil(found.needed.loc[15, "sets"] / 8)


def test_same_seed_same_plan_whatever_the_workers():
    one = planning.plan(**SMALL, rng=4)
    two = planning.plan(**SMALL, rng=4, workers=2)
    pd.testing.assert_frame_equal(one.table, two.table)
    pd.testing.assert_frame_equal(one.curve, two.curve)
    assert one.seed == 4


def test_shares_add_up_and_progress_is_told():
    told = []
    found = planning.plan(**SMALL, progress=lambda done, total: told.append((done, total)))
    shares = found.table[["right", "wrong", "undecided", "none", "untestable"]].sum(axis=1)
    np.testing.assert_allclose(shares, 1)
    assert told == [(i, 12) for i in range(1, 13)]


@pytest.mark.slow
def test_random_choice_is_planned_for():
    found = planning.plan(**(SMALL | {"driver": "none", "n_seasons": 20}))
    # 20 seasons at 95 %: 99.9 % of binomial counts are 15 or more.
    assert (found.table["right"] >= 0.75).all()
    assert "If animals choose at random" in found.sentence


def test_noisy_instruments_need_more(known, monkeypatch):
    # The stated errors and the site must reach the simulation.
    worlds = []

    def verdict(task, world, permutations, design=None):
        worlds.append(world)
        return "radiation"

    monkeypatch.setattr(planner, "_verdict", verdict)
    site = SimpleNamespace(name="there", latitude_deg=-33.0, longitude_deg=18.5, timezone="Africa/Johannesburg")
    found = planning.plan(**SMALL, site=site, instrument_errors={"surface_c": 4.0})
    assert worlds[0]["latitude_deg"] == -33.0 and worlds[0]["timezone"] == "Africa/Johannesburg"
    assert worlds[0]["instrument_errors"] == {"surface_c": 4.0}
    assert found.settings["site"] == "there"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"n_sets": 100}, "at least two season sizes"),
        ({"n_animals": 1}, "at least 2 animals"),
        ({"n_animals": 50}, "no more than the smallest season"),
        ({"target": 80}, "between 0 and 1"),
        ({"n_seasons": 1}, "2 or more"),
        ({"effect": -1}, "must be above 0"),
        ({"driver": "moon"}, "driver must be"),
    ],
)
def test_refuses_in_plain_words(change, words):
    with pytest.raises(FieldkitError, match=words):
        planning.plan(**(SMALL | change))


def test_command_prints_the_plan(known, capsys):
    from fieldkit import cli

    words = ["plan", "--sets", "20", "40", "80", "160", "--seasons", "50", "--sets-per-day", "8", "--seed", "3"]
    words += ["--workers", "1"]
    assert cli.main(words) == cli.OK
    said = capsys.readouterr().out
    assert planning.plan(n_sets=(20, 40, 80, 160), n_seasons=50, sets_per_day=8, rng=3).sentence in said
    assert cli.main(["plan", "--sets", "20"]) == cli.MISTAKE
    assert "at least two season sizes" in capsys.readouterr().err


# ---- what a folder states


@pytest.fixture
def new_folder(tmp_path):
    from fieldkit.records.season import template

    return template.new_folder(tmp_path / "season")


def test_plan_works_on_the_folder_that_new_made(known, new_folder, capsys):
    from fieldkit import cli

    words = ["plan", str(new_folder), "--sets", "20", "80", "--seasons", "8", "--workers", "1"]
    assert cli.main(words) == cli.OK
    said = capsys.readouterr().out
    assert "does not state the site yet" in said


def test_plan_works_beside_mistakes_in_the_tables_and_takes_the_stated_design(known, tmp_path, monkeypatch):
    from fieldkit import cli
    from fieldkit.records.season import settings

    worlds = []
    verdict = planner._verdict

    def seen(task, world, permutations, design=None):
        worlds.append((world, design))
        return verdict(task, world, permutations)

    monkeypatch.setattr(planner, "_verdict", seen)
    design = '\n[choice_sets]\norder = "used place first"\nfixed_places = 25\nlargest_share = 0.5\nn_animals = 9\n'
    (tmp_path / "season.toml").write_text(settings.EXAMPLE + design)
    (tmp_path / "choices.csv").write_text("set_id,place_id,used\nS1,P1,perhaps\n")
    words = ["plan", str(tmp_path), "--sets", "20", "80", "--seasons", "4", "--workers", "1"]
    assert cli.main(words) == cli.OK
    world, stated = worlds[0]
    assert world["fixed_places"] == 25 and world["largest_share"] == 0.5 and world["used_first"]
    assert world["instrument_errors"]["surface_c"] == 1.5
    assert stated["order"] == "used place first"


def test_plan_without_a_settings_file_ends_in_a_sentence(tmp_path, capsys):
    from fieldkit import cli

    assert cli.main(["plan", str(tmp_path)]) == cli.MISTAKE
    assert "no season.toml" in capsys.readouterr().err


def test_own_effect_is_taken_from_the_choices_read_so_far():
    from fieldkit.field.planning import simulate

    made = simulate.choice_season(n_sets=150, driver="radiation", effect=2.5, rng=4)
    season = SimpleNamespace(choices=made.choices, instrument_errors=simulate.INSTRUMENT_ERRORS, input_hash="x")
    own = planning.effect_of(season)
    assert own.driver == "radiation" and own.low < 2.5 < own.high
    nothing = simulate.choice_season(n_sets=60, driver="none", rng=5)
    season = SimpleNamespace(choices=nothing.choices, instrument_errors=simulate.INSTRUMENT_ERRORS, input_hash="x")
    assert planning.effect_of(season).driver is None
    with pytest.raises(FieldkitError, match="A season is needed"):
        planning.effect_of("my_season")


def test_first_answer_comes_before_the_last_and_time_is_kept(known):
    told = []
    full = planning.plan(n_sets=(20, 40, 80), n_seasons=60, rng=3, on_first=told.append)
    assert len(told) == 1 and told[0].table["seasons"].max() < 60 and full.settings["finished"]
    short = planning.plan(n_sets=(20, 40, 80), n_seasons=60, rng=3, seconds=0.0)
    assert not short.settings["finished"]
    # The seasons of a short plan are the first of the long one.
    count = int(short.table["seasons"].iloc[0])
    part = planning.plan(n_sets=(20, 40, 80), n_seasons=60, rng=3, seconds=0.0)
    pd.testing.assert_frame_equal(short.table, part.table)
    assert 0 < count < 60


@pytest.mark.slow
def test_repeated_places_and_uneven_animals_ask_for_more():
    # Ten choices repeated six times are ten choices; the analysis is told by animal, day and place.
    base = SMALL | {"n_sets": (60, 90), "n_seasons": 12, "permutations": 99}
    plain = planning.plan(**base, rng=2).table["right"].mean()
    sitting = planning.plan(**base, looks_per_visit=6, rng=2).table["right"].mean()
    assert sitting < plain


def test_figure_draws_the_plan(known):
    found = planning.plan(n_sets=(20, 40, 80, 160), n_animals=(8, 20), n_seasons=60)
    figure = figures.curve(found)
    drawn = drawn_numbers(figure)
    for animals, part in found.table.groupby("animals"):
        points = drawn[drawn["series"] == f"{animals} animals, 60 seasons each"]
        np.testing.assert_allclose(points["y"].astype(float), part["right"])
        line = drawn[drawn["series"] == f"{animals} animals, curve"]
        np.testing.assert_allclose(line["y"].astype(float), found.curve.query("animals == @animals")["right"])
    assert "choice sets of" in figure.axes[0].get_title(loc="left")
