"""Preferred value, switch point, and the checks on a choice verdict: against libraries, definitions and known truth."""

import numpy as np
import pandas as pd
import pytest

from fieldkit.field import choice
from fieldkit.field.choice import checks as choice_checks
from fieldkit.field.choice import preference
from fieldkit.field.planning import simulate

ERRORS = simulate.INSTRUMENT_ERRORS


@pytest.fixture(scope="module")
def humped():
    return simulate.choice_season(n_sets=300, driver="operative", preferred_c=31, tolerance_c=4, rng=2)


@pytest.fixture(scope="module")
def switching():
    return simulate.choice_season(n_sets=400, driver="radiation", switch_air_c=24, rng=1)


@pytest.fixture(scope="module")
def steady():
    return simulate.choice_season(n_sets=300, driver="radiation", effect=2.5, n_animals=12, rng=5)


# ---- preferred value -------------------------------------------------------------------------------------------------


def test_top_and_width_are_those_of_the_fitted_parabola(humped):
    # ter Braak and Looman (1986): u = -b1 / 2 b2, t = 1 / sqrt(-2 b2); the fit itself from statsmodels.
    from statsmodels.discrete.conditional_models import ConditionalLogit

    c = humped.choices
    x = np.stack([c["operative_c"], c["operative_c"] ** 2], axis=1)
    centre = x.mean(axis=0)
    theirs = ConditionalLogit(c["used"].to_numpy(), x - centre, groups=c["set_id"].to_numpy())
    b1, b2 = theirs.fit(method="newton", disp=False).params
    got = preference.preferred_value(c)
    assert got.preferred.estimate == pytest.approx(-b1 / (2 * b2), rel=1e-6)
    assert got.tolerance.estimate == pytest.approx((-2 * b2) ** -0.5, rel=1e-6)
    assert list(got.table.index) == ["preferred", "tolerance"]


def test_limits_of_the_preferred_value_are_where_its_test_turns(humped):
    # Fieller's limits invert the test that the slope b1 + 2 b2 p is nil at p.
    from scipy import stats

    c = humped.choices
    got = preference.preferred_value(c)
    t = stats.t.ppf(0.975, got.n_animals - 1)
    for end in (got.preferred.low, got.preferred.high):
        x = pd.DataFrame({"slope": c["operative_c"] - end, "square": (c["operative_c"] - end) ** 2})
        fit = choice.fit(x, c["used"], c["set_id"], cluster=c["animal_id"])
        wider = np.sqrt(fit.wider_covariance.loc["slope", "slope"])
        assert abs(fit.coefficients["slope"] / wider) == pytest.approx(t, rel=1e-5)


def test_preferred_value_is_found_as_often_as_the_interval_says():
    # 40 seasons of 20 animals; three binomial standard errors below 95 % are 84.7 %. A run of 200 gave 94 %.
    hits, estimates = 0, []
    for seed in range(40):
        season = simulate.choice_season(
            n_sets=200, n_animals=20, driver="operative", preferred_c=31, tolerance_c=4,
            instrument_errors={"operative_c": 1.0}, rng=seed,
        )  # fmt: skip
        got = preference.preferred_value(season.choices, instrument_error=1.0).preferred
        hits += got.low <= 31 <= got.high
        estimates.append(got.estimate)
    assert hits >= 34
    assert np.mean(estimates) == pytest.approx(31, abs=3 * np.std(estimates) / np.sqrt(40) + 0.2)


def test_stated_error_widens_the_hump_back():
    noisy = simulate.choice_season(
        n_sets=1500, driver="operative", preferred_c=31, tolerance_c=3, instrument_errors={"operative_c": 1.5}, rng=3
    )
    naive = preference.preferred_value(noisy.choices).tolerance
    corrected = preference.preferred_value(noisy.choices, instrument_error=1.5).tolerance
    assert abs(corrected.estimate - 3) < abs(naive.estimate - 3)
    assert corrected.estimate == pytest.approx(3, rel=0.12)  # first-order correction


def test_no_hump_no_claim(steady):
    got = preference.preferred_value(steady.choices, column="irradiance_w_m2")
    assert got.preferred is None and got.table.empty
    assert "do not bend over" in got.sentence and "No preferred irradiance can" in got.sentence
    random = simulate.choice_season(n_sets=150, driver="none", rng=4)
    assert preference.preferred_value(random.choices).preferred is None


def test_top_beyond_the_readings_is_called_an_extrapolation():
    season = simulate.choice_season(n_sets=1500, driver="operative", preferred_c=46, tolerance_c=6, rng=6)
    got = preference.preferred_value(season.choices)
    assert got.preferred is not None and "extrapolation" in got.sentence


def test_error_as_large_as_the_differences_is_refused(humped):
    with pytest.raises(choice.ChoiceError, match="no more than the error of a reading"):
        preference.preferred_value(humped.choices, instrument_error=10)


def test_what_cannot_be_told_is_said_plainly(humped):
    c = humped.choices
    warmest = c.groupby("set_id")["operative_c"].transform("max") == c["operative_c"]
    separated = preference.preferred_value(c.assign(used=warmest.astype(int)))
    assert separated.preferred is None
    assert "operative temperature picked out" in separated.sentence
    with pytest.raises(choice.ChoiceError, match="does not differ between the places"):
        preference.preferred_value(c.assign(operative_c=30.0))
    with pytest.raises(choice.ChoiceError, match="zero or more"):
        preference.preferred_value(c, instrument_error=-1)
    alone = preference.preferred_value(c.assign(animal_id="A"))
    assert "of 1 animal:" in alone.sentence and "All sets are of one animal" in alone.sentence
    still = preference.switch_point(c.assign(shade_air_c=20.0, animal_id="A"))
    assert still.switch is None and "its change with air was left out" in still.sentence and ".)." not in still.sentence


def test_curve_is_one_at_the_middle_and_highest_at_the_top(humped):
    got = preference.preferred_value(humped.choices)
    top = got.curve.loc[got.curve["relative_odds"].idxmax(), "value"]
    assert top == pytest.approx(got.preferred.estimate, abs=np.diff(got.curve["value"])[0])
    assert (got.curve["low"] <= got.curve["relative_odds"]).all()


# ---- switch point ----------------------------------------------------------------------------------------------------


def test_switch_point_is_found(switching):
    got = preference.switch_point(switching.choices)
    assert got.reached and got.switch.low <= 24 <= got.switch.high
    assert "sought below and avoided above" in got.sentence
    nil = np.interp(got.switch.estimate, got.curve["context"], got.curve["odds_ratio"])
    assert nil == pytest.approx(1, abs=0.01)


def test_limits_of_the_switch_point_are_where_its_test_turns(switching):
    from scipy import stats

    c = switching.choices
    got = preference.switch_point(c)
    air = c.groupby("set_id")["shade_air_c"].transform("mean")
    t = stats.t.ppf(0.975, got.n_animals - 1)
    for end in (got.switch.low, got.switch.high):
        x = pd.DataFrame({"sun": c["irradiance_w_m2"], "change": c["irradiance_w_m2"] * (air - end)})
        fit = choice.fit(x, c["used"], c["set_id"], cluster=c["animal_id"])
        wider = np.sqrt(fit.wider_covariance.loc["sun", "sun"])
        assert abs(fit.coefficients["sun"] / wider) == pytest.approx(t, rel=1e-5)


def test_switch_point_covers_the_truth():
    hits = 0
    for seed in range(40):
        season = simulate.choice_season(n_sets=200, n_animals=20, switch_air_c=23, rng=seed)
        got = preference.switch_point(season.choices, others=("surface_c",)).switch
        hits += got is not None and (got.low <= 23 <= got.high if got.kind == "bounded" else got.kind == "unbounded")
    assert hits >= 34  # 95 % less three binomial standard errors


def test_season_that_never_got_hot_enough_says_so(switching):
    c = switching.choices
    air = c.groupby("set_id")["shade_air_c"].transform("mean")
    got = preference.switch_point(c[air < 19])
    assert not got.reached
    assert "never got hot enough" in got.sentence or "does not clearly change" in got.sentence


def test_steady_selection_has_no_switch_point():
    season = simulate.choice_season(n_sets=200, driver="radiation", effect=2, rng=9)
    got = preference.switch_point(season.choices)
    assert got.switch is None and "does not clearly change" in got.sentence


def test_switch_point_needs_contrast(steady):
    with pytest.raises(choice.ChoiceError, match="nothing to select on"):
        preference.switch_point(steady.choices.assign(irradiance_w_m2=400.0))


# ---- animals one by one ----------------------------------------------------------------------------------------------


def test_animal_slopes_are_near_each_animals_own_fit():
    season = simulate.choice_season(n_sets=3000, n_animals=5, individual_sd=0.15, driver="surface", rng=1)
    got = choice_checks.animal_slopes(season.choices, driver="surface")
    for name, rows in season.choices.groupby("animal_id"):
        own = choice.fit(rows[["surface_c"]] / got.settings["within_set_sd"], rows["used"], rows["set_id"])
        # One step from the common slope: second-order in the difference.
        assert got.table.loc[name, "log_odds_per_sd"] == pytest.approx(own.coefficients.iloc[0], abs=0.05)
        assert got.table.loc[name, "standard_error"] == pytest.approx(own.standard_errors.iloc[0], rel=0.15)


def test_pooling_is_that_of_statsmodels():
    from statsmodels.stats.meta_analysis import combine_effects

    season = simulate.choice_season(n_sets=400, n_animals=10, individual_sd=0.5, rng=4)
    got = choice_checks.animal_slopes(season.choices)
    theirs = combine_effects(
        got.table["log_odds_per_sd"].to_numpy(), got.table["standard_error"].to_numpy() ** 2,
        method_re="iterated", use_t=True,
    )  # fmt: skip
    assert got.estimate == pytest.approx(theirs.mean_effect_re, rel=1e-6)
    assert got.tau == pytest.approx(np.sqrt(theirs.tau2), rel=1e-6)
    low, high = theirs.conf_int()[3]  # random effects with Hartung and Knapp's variance
    assert (got.low, got.high) == (pytest.approx(low, rel=1e-3), pytest.approx(high, rel=1e-3))
    assert got.table["weight"].sum() == pytest.approx(1)


def test_spread_among_animals_is_recovered_and_none_is_not_invented():
    season = simulate.choice_season(n_sets=4000, n_animals=60, individual_sd=0.4, effect=2, instrument_errors={}, rng=2)
    got = choice_checks.animal_slopes(season.choices)
    assert got.tau == pytest.approx(season.slopes["radiation"].std(), abs=0.12) and got.tau_p < 0.001
    assert got.low <= np.log(2) <= got.high
    alike = simulate.choice_season(n_sets=600, n_animals=12, individual_sd=0.0, rng=3)
    assert "no sign that animals differ" in choice_checks.animal_slopes(alike.choices).sentence


def test_an_animal_that_always_took_the_brightest_place_stays_in(steady):
    c = steady.choices.copy()
    mine = c["animal_id"] == c["animal_id"].iloc[0]
    brightest = c.groupby("set_id")["irradiance_w_m2"].transform("max") == c["irradiance_w_m2"]
    c.loc[mine, "used"] = brightest[mine].astype(int)
    got = choice_checks.animal_slopes(c)
    row = got.table.loc[c["animal_id"].iloc[0]]
    assert np.isfinite(row["log_odds_per_sd"]) and row["log_odds_per_sd"] == got.table["log_odds_per_sd"].max()


def test_animal_analyses_need_named_animals(steady):
    c = steady.choices
    some = c.assign(animal_id=c["animal_id"].where(c["set_id"] > "S0020"))
    got = choice_checks.animal_slopes(some)
    assert set(got.table.index) <= set(c["animal_id"]) and "20 sets name no animal" in got.notes[0]
    for call in (choice_checks.animal_slopes, choice_checks.leave_one_animal_out):
        with pytest.raises(choice.ChoiceError, match="at least three"):
            call(c.drop(columns="animal_id"))
        with pytest.raises(choice.ChoiceError, match="at least three"):
            call(c[c["animal_id"].isin(c["animal_id"].unique()[:2])])


# ---- prediction of unseen animals ------------------------------------------------------------------------------------


def test_prediction_gain_is_that_of_the_definition(steady):
    c = steady.choices
    got = choice_checks.leave_one_animal_out(c)
    gain = 0.0
    for name in c["animal_id"].unique():
        train, test = c[c["animal_id"] != name], c[c["animal_id"] == name]
        b = choice.fit(train[["irradiance_w_m2"]], train["used"], train["set_id"]).coefficients.iloc[0]
        for _, rows in test.groupby("set_id"):
            eta = b * rows["irradiance_w_m2"].to_numpy()
            p = np.exp(eta - eta.max()) / np.exp(eta - eta.max()).sum()
            gain += np.log(p[rows["used"].to_numpy() == 1][0] * len(rows))
    assert got.table.loc["radiation", "gain"] == pytest.approx(gain, rel=1e-8)
    assert got.by_animal["radiation"].sum() == pytest.approx(gain, rel=1e-8)
    assert got.best.find("radiation") >= 0 and "beats random choice" in got.sentence


def test_random_choice_cannot_be_foretold():
    season = simulate.choice_season(n_sets=200, driver="none", rng=12)
    got = choice_checks.leave_one_animal_out(season.choices)
    assert got.table.loc["air + surface + radiation", "gain"] < 1
    assert got.table["chance"].max() == pytest.approx(1 / season.choices.groupby("set_id").size().mean(), rel=0.05)


def test_no_score_where_the_fit_separates(steady):
    c = steady.choices
    brightest = c.groupby("set_id")["irradiance_w_m2"].transform("max") == c["irradiance_w_m2"]
    got = choice_checks.leave_one_animal_out(c.assign(used=brightest.astype(int)))
    assert np.isnan(got.table.loc["radiation", "gain"]) and "No score for radiation" in got.notes[0]


# ---- reading errors extrapolated -------------------------------------------------------------------------------------


def test_extrapolation_takes_out_most_of_a_known_attenuation():
    errors = {"surface_c": 4.0}
    season = simulate.choice_season(n_sets=1500, driver="surface", instrument_errors=errors, rng=7)
    got = choice_checks.simulation_extrapolation(
        season.choices, instrument_errors=errors, drivers={"surface": "surface_c"}, draws=20
    )
    truth = season.truth
    within = truth["surface_c"] - truth.groupby("set_id")["surface_c"].transform("mean")
    per_degree = np.log(2) / np.sqrt((within**2).sum() / (len(truth) - 1500))
    row = got.table.loc["surface"] / got.table.loc["surface", "within_set_sd"]
    assert row["naive"] < 0.8 * per_degree
    assert abs(row["extrapolated"] - per_degree) < 0.5 * abs(row["naive"] - per_degree)
    # each added error flattens the slope further
    assert (np.diff(got.path["surface"]) < 0).all()


def test_extrapolation_and_calibration_agree(steady):
    # Two ways to the same end; they differ by far less than either is sure of.
    c = steady.choices
    simex = choice_checks.simulation_extrapolation(c, instrument_errors=ERRORS, draws=20, rng=1)
    calibrated = choice.compare(c, instrument_errors=ERRORS, permutations=99)
    per_unit = calibrated.corrected["log_odds_per_sd"] / calibrated.contrast["true_sd"]
    other = simex.table["extrapolated"] / simex.table["within_set_sd"]
    error = calibrated.corrected["standard_error"] / calibrated.contrast["true_sd"]
    assert (abs(per_unit - other) < 0.5 * error).all()
    assert simex.seed == 1 and "as read" in simex.sentence


def test_extrapolation_refuses_what_it_cannot_do(steady):
    c = steady.choices
    with pytest.raises(choice.ChoiceError, match="No reading error is stated"):
        choice_checks.simulation_extrapolation(c, instrument_errors={})
    brightest = c.groupby("set_id")["irradiance_w_m2"].transform("max") == c["irradiance_w_m2"]
    with pytest.raises(choice.ChoiceError, match="cannot be extrapolated"):
        choice_checks.simulation_extrapolation(c.assign(used=brightest.astype(int)), instrument_errors=ERRORS)
