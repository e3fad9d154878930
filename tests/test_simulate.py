"""Simulated seasons hold what they say they hold."""

import numpy as np
import pandas as pd
import pytest
from study_verdicts import study

from fieldkit.core import FieldkitError
from fieldkit.field import choice
from fieldkit.field.planning import simulate


def within(table, columns):
    values = table[columns]
    return values - values.groupby(table["set_id"]).transform("mean")


def test_columns_are_those_of_a_season_folder():
    from fieldkit.records.schema.tables import TABLES

    season = simulate.choice_season(n_sets=20, rng=0)
    declared = TABLES["choices"].columns
    assert set(season.choices.columns) <= set(declared)
    assert {name for name, c in declared.items() if c.required} <= set(season.choices.columns)
    assert str(season.choices["time"].dt.tz) == "America/New_York"
    assert season.choices.groupby("set_id")["used"].sum().eq(1).all()
    assert season.choices.groupby("set_id").size().between(5, 8).all()


def test_contrasts_correlations_and_errors_are_as_asked():
    asked = {"shade_air_c": 0.3, "surface_c": 2.0, "irradiance_w_m2": 25.0}
    season = simulate.choice_season(
        n_sets=3000, air_contrast_c=0.7, surface_radiation_correlation=0.8, air_surface_correlation=0.4,
        instrument_errors=asked, rng=1,
    )  # fmt: skip
    w = within(season.truth, list(asked))
    degrees = len(w) - 3000
    # 20,000 rows: standard errors of a spread 0.5 %, of a correlation 0.005.
    assert np.sqrt((w["shade_air_c"] ** 2).sum() / degrees) == pytest.approx(0.7, rel=0.02)
    assert w.corr().loc["surface_c", "irradiance_w_m2"] == pytest.approx(0.8, abs=0.02)
    assert w.corr().loc["surface_c", "shade_air_c"] == pytest.approx(0.4, abs=0.02)
    for column, sd in asked.items():
        error = season.choices[column] - season.truth[column]
        assert error.std() == pytest.approx(sd, rel=0.03) and abs(error.mean()) < 4 * sd / np.sqrt(len(error))


@pytest.mark.parametrize("driver", ["air", "surface", "radiation"])
def test_effect_is_recovered_from_the_truth(driver):
    season = simulate.choice_season(n_sets=4000, driver=driver, effect=2.0, rng=2)
    column = choice.DRIVERS[driver]
    w = within(season.truth, [column])
    sd = np.sqrt((w[column] ** 2).sum() / (len(w) - 4000))
    fit = choice.fit(season.truth[list(choice.DRIVERS.values())], season.truth["used"], season.truth["set_id"])
    b, se = fit.coefficients * sd, fit.standard_errors * sd
    assert abs(b[column] - np.log(2)) < 3 * se[column]
    others = [c for c in fit.coefficients.index if c != column]
    assert (fit.coefficients[others].abs() < 3.3 * fit.standard_errors[others]).all()


def test_no_driver_means_equal_chances():
    season = simulate.choice_season(n_sets=50, driver="none", rng=3)
    size = season.truth.groupby("set_id")["used"].transform("size")
    np.testing.assert_allclose(season.truth["probability"], 1 / size)


def test_probabilities_sum_to_one_and_hump_peaks_where_asked():
    season = simulate.choice_season(n_sets=2000, driver="operative", preferred_c=32, tolerance_c=4, rng=4)
    t = season.truth
    np.testing.assert_allclose(t.groupby("set_id")["probability"].sum(), 1)
    x = pd.DataFrame({"te": t["operative_c"] - 32, "te2": (t["operative_c"] - 32) ** 2})
    fit = choice.fit(x, t["used"], t["set_id"])
    assert fit.coefficients["te2"] == pytest.approx(-1 / (2 * 4**2), abs=3 * fit.standard_errors["te2"])
    assert abs(fit.coefficients["te"]) < 3 * fit.standard_errors["te"]


def test_animals_differ_by_as_much_as_asked():
    season = simulate.choice_season(n_sets=10, n_animals=2000, individual_sd=0.4, driver="surface", rng=5)
    assert season.slopes["surface"].std() == pytest.approx(0.4, rel=0.06)
    assert season.slopes["surface"].mean() == pytest.approx(np.log(2), abs=0.03)
    assert "choose on surface" in season.sentence


def test_switch_turns_selection_round():
    season = simulate.choice_season(n_sets=3000, driver="radiation", switch_air_c=22, rng=6)
    t = season.truth.assign(air=season.choices.groupby("set_id")["shade_air_c"].transform("mean"))
    for part, sign in ((t[t["air"] < 19], 1), (t[t["air"] > 25], -1)):
        fit = choice.fit(part[["irradiance_w_m2"]], part["used"], part["set_id"])
        assert sign * fit.coefficients.iloc[0] > 3 * fit.standard_errors.iloc[0]


def test_same_seed_same_season():
    a, b = (simulate.choice_season(n_sets=20, rng=7) for _ in range(2))
    pd.testing.assert_frame_equal(a.choices, b.choices)
    assert a.seed == 7 and not a.choices.equals(simulate.choice_season(n_sets=20, rng=8).choices)


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"driver": "light"}, "driver must be among"),
        ({"n_places": 1}, "two places"),
        ({"effect": 0}, "above 0"),
        ({"surface_radiation_correlation": 0}, "correlations must lie"),
        ({"rng": None}, "seed"),
    ],
)
def test_settings_out_of_range_are_refused(settings, message):
    with pytest.raises(FieldkitError, match=message):
        simulate.choice_season(**settings)


@pytest.mark.slow
def test_verdicts_are_right_often_enough_and_wrong_seldom():
    # The full table: tests/studies/study_verdicts.py. This is a fast slice, with bounds three binomial standard
    # errors wide: 8 scenarios of 12 seasons.
    table = study(seasons=12, quick=True)
    driven = table[table["truth"] != "none"]
    assert len(table) == 8
    assert driven["wrong"].mean() <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 72)
    assert table.loc[table["truth"] == "none", "wrong"].mean() <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 24)
    assert driven.loc[driven["sets"] >= 100, "right"].mean() >= 0.80 - 3 * np.sqrt(0.8 * 0.2 / 36)


def test_a_hump_is_highest_at_its_preferred_value():
    season = simulate.choice_season(n_sets=200, driver="surface", hump=(30.0, 4.0), rng=1)
    truth = season.truth
    log_odds = np.log(truth["probability"]) + (truth["surface_c"] - 30.0) ** 2 / (2 * 4.0**2)
    # What is left of the log probability is one number a set.
    assert log_odds.groupby(truth["set_id"]).std().max() < 1e-9
    assert "middle values preferred, near 30" in season.sentence
    with pytest.raises(FieldkitError, match="tolerance of a hump"):
        simulate.choice_season(driver="surface", hump=(30.0, 0.0))


def test_a_southern_season_falls_into_its_own_summer():
    north = simulate.choice_season(n_sets=300, rng=3).choices
    south = simulate.choice_season(
        n_sets=300, latitude_deg=-36.1, longitude_deg=145.0, timezone="Australia/Sydney", rng=3
    ).choices
    assert set(south["time"].dt.month) == {9, 10, 11, 12, 1, 2, 3, 4}
    assert south["time"].dt.hour.between(9, 16).all()
    # The sun is 3 % nearer in January than in July, so the radiation is alike but not equal.
    assert south["irradiance_w_m2"].mean() == pytest.approx(north["irradiance_w_m2"].mean(), rel=0.1)
    assert south.groupby(south["time"].dt.month)["shade_air_c"].mean().idxmax() in (1, 2)
