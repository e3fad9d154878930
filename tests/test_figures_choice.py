"""The figures of the choice test draw the numbers of the result."""

import numpy as np
import pytest

from fieldkit.core import FieldkitError
from fieldkit.field import choice
from fieldkit.field.choice import checks as choice_checks
from fieldkit.field.choice import preference
from fieldkit.field.planning import simulate
from fieldkit.report.figures import choice as figures
from fieldkit.report.figures import drawn_numbers


@pytest.fixture(scope="module")
def season():
    return simulate.choice_season(n_sets=150, effect=2.5, switch_air_c=27, rng=3)


@pytest.fixture(scope="module")
def answer(season):
    return choice.compare(season.choices, instrument_errors=simulate.INSTRUMENT_ERRORS, permutations=99)


def drawn(figure, series, axis="x"):
    table = drawn_numbers(figure)
    return table.loc[table["series"] == series, axis].astype(float).to_numpy()


def test_contrast_draws_true_spread_over_error(answer):
    figure = figures.contrast(answer)
    for name, row in answer.contrast.iterrows():
        assert drawn(figure, name)[0] == pytest.approx(row["true_sd"] / row["instrument_error"])
    assert "differed enough to test" in figure.axes[0].get_title(loc="left")
    unstated = figures.contrast(choice.compare(simulate.choice_season(n_sets=30, rng=1).choices, permutations=99))
    assert any("not stated" in t.get_text() for t in unstated.axes[0].texts)


def test_odds_draws_the_corrected_ratios(answer):
    figure = figures.odds(answer)
    label = "radiation side by side, reading errors allowed for (90 % interval)"
    assert drawn(figure, label)[0] == pytest.approx(answer.corrected.loc["radiation", "odds_ratio_per_sd"])
    assert answer.verdict in figure.axes[0].get_title(loc="left")


def test_a_bend_that_decides_is_drawn_and_told():
    # The truth of the simulation: log odds fall by (x - 30)² / (2 · 4²); the place compared with is the median one.
    exact = {"shade_air_c": 0.01, "surface_c": 0.01, "irradiance_w_m2": 0.1}
    hump = simulate.choice_season(n_sets=800, driver="surface", hump=(30.0, 4.0), instrument_errors=exact, rng=1)
    got = choice.compare(hump.choices, instrument_errors=exact, permutations=99)
    figure = figures.odds(got)
    name = "surface (middle values)"
    x, odds = drawn(figure, name), drawn(figure, name, "y")
    low, high = (drawn(figure, f"{name}, 95 % band, {edge}", "y") for edge in ("low", "high"))
    middle = hump.choices["surface_c"].median()
    truth = np.exp(((middle - 30) ** 2 - (x - 30) ** 2) / (2 * 4.0**2))
    assert ((low <= truth) & (truth <= high)).all()
    np.testing.assert_allclose(x[[0, -1]], hump.choices["surface_c"].quantile([0.05, 0.95]))
    top = got.bends.loc[name, "top"]
    assert x[odds.argmax()] == pytest.approx(top, abs=x[1] - x[0])
    title = " ".join(figure.axes[0].get_title(loc="left").split())
    assert title.startswith("The animals chose on surface: middle values of surface temperature were preferred")
    assert f"near {top:.3g} °C (95 % interval" in title


def test_a_pull_that_changes_with_air_is_drawn():
    # The truth: odds of a within-set standard deviation more are 2.5 to the power (24 - air) / 5.
    season = simulate.choice_season(n_sets=800, effect=2.5, switch_air_c=24.0, rng=2)
    got = choice.compare(season.choices, instrument_errors=simulate.INSTRUMENT_ERRORS, permutations=99)
    name = "radiation (changing with air)"
    assert list(got.curves) == [name]
    figure = figures.odds(got)
    air, odds = drawn(figure, name), drawn(figure, name, "y")
    low, high = (drawn(figure, f"{name}, 95 % band, {edge}", "y") for edge in ("low", "high"))
    truth = 2.5 ** ((24 - air) / 5)
    assert ((low <= truth) & (truth <= high)).all() and (np.diff(odds) < 0).all()
    assert "selection for radiation falls with shade air" in " ".join(figure.axes[0].get_title(loc="left").split())


def test_an_operative_temperature_is_drawn_as_what_was_sought():
    season = simulate.choice_season(n_sets=200, driver="operative", preferred_c=34.0, rng=1)
    got = choice.compare(season.choices, instrument_errors=simulate.INSTRUMENT_ERRORS, permutations=99)
    figure = figures.odds(got)
    x, odds = (drawn(figure, "operative temperature", axis) for axis in "xy")
    assert x[odds.argmax()] == pytest.approx(preference.preferred_value(season.choices).preferred.estimate, abs=0.5)
    assert "for an operative temperature" in " ".join(figure.axes[0].get_title(loc="left").split())
    steady = choice.compare(simulate.choice_season(n_sets=60, rng=3).choices, permutations=99)
    assert not steady.curves and len(figures.odds(steady).axes) == 1


def test_standing_ends_at_one(answer):
    figure = figures.standing(answer)
    label = f"radiation, mean {answer.standing['radiation'].mean():.2f}"
    np.testing.assert_allclose(drawn(figure, label), np.sort(answer.standing["radiation"]))
    assert drawn(figure, label, "y")[-1] == 1


def test_candidates_draws_the_weights(answer):
    heights = [patch.get_width() for patch in figures.candidates(answer).axes[0].patches]
    np.testing.assert_allclose(heights, answer.table["weight"].iloc[::-1])


def test_untestable_seasons_are_drawn_as_far_as_they_go():
    few = choice.compare(simulate.choice_season(n_sets=5, rng=1).choices)
    assert len(figures.contrast(few).axes) == len(figures.standing(few).axes) == 1
    for draw in (figures.odds, figures.candidates):
        with pytest.raises(FieldkitError, match="too few"):
            draw(few)


def test_preference_switch_and_animals_draw_their_estimates(season):
    hump = simulate.choice_season(n_sets=300, driver="operative", preferred_c=31, tolerance_c=4, rng=2)
    found = preference.preferred_value(hump.choices)
    assert drawn(figures.preference(found), "preferred value (95 % interval)")[0] == found.preferred.estimate
    flat = preference.preferred_value(season.choices, column="wind_m_s")
    assert "No preferred value" in figures.preference(flat).axes[0].get_title(loc="left")
    turn = preference.switch_point(season.choices)
    assert drawn(figures.switch(turn), "switch point (95 % interval)")[0] == turn.switch.estimate
    slopes = choice_checks.animal_slopes(season.choices)
    assert drawn(figures.animals(slopes), "average animal (95 % interval)")[0] == pytest.approx(slopes.estimate)
    assert len(drawn(figures.animals(slopes), "one animal (95 % interval)")) == len(slopes.table)
