"""Intervals against printed values and against general-purpose libraries."""

import numpy as np
import pandas as pd
import pytest

from fieldkit.core import FieldkitError
from fieldkit.field.stats import intervals as uncertainty

# Bliss (1935) beetles. One listing prints 60 killed at dose 7; 61 is what reproduces the published fit.
DOSE = np.array([1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839])
TRIALS = np.array([59, 60, 62, 56, 63, 59, 62, 60])
KILLED = np.array([6, 13, 18, 28, 52, 53, 61, 60])


def binomial_fit(x, trials, successes, link):
    import statsmodels.api as sm

    family = sm.families.Binomial(link=link)
    counts = np.column_stack([successes, trials - successes])
    return sm.GLM(counts, sm.add_constant(x), family=family).fit(tol=1e-12)


def test_beetle_thresholds_match_the_published_limits(published):
    import statsmodels.api as sm

    links = {
        "logit": (sm.families.links.Logit(), 0.0),
        "probit": (sm.families.links.Probit(), 0.0),
        "cloglog": (sm.families.links.CLogLog(), np.log(np.log(2))),
    }
    table = published("choice_thresholds").set_index("case")
    assert len(table) == 10
    for name, (link, at) in links.items():
        fit = binomial_fit(DOSE, TRIALS, KILLED, link)
        got = uncertainty.threshold_interval(*fit.params, fit.cov_params(), at=at)
        for key, value in [
            ("estimate", got.estimate),
            ("fieller_low", got.low),
            ("fieller_high", got.high),
            ("g", got.g),
        ]:
            case = f"{name}_{key}"
            if case in table.index:
                row = table.loc[case]
                assert value == pytest.approx(row["expected"], abs=row["tolerance"]), case


def test_no_slope_gives_no_finite_limits():
    # Flat response (own example; the rule g >= 1 is Fieller 1954): x 1..5, n 10, y 4 5 5 6 5; g 10.71.
    import statsmodels.api as sm

    fit = binomial_fit(np.arange(1.0, 6), np.full(5, 10), np.array([4, 5, 5, 6, 5]), sm.families.links.Logit())
    got = uncertainty.threshold_interval(*fit.params, fit.cov_params())
    assert fit.params[1] == pytest.approx(0.120493, abs=1e-6)
    assert got.g == pytest.approx(10.71, abs=0.005)
    assert got.kind == "unbounded" and np.isinf([got.low, got.high]).all()
    assert "no finite limits" in got.sentence


def test_far_ratio_with_a_vague_denominator_excludes_only_a_gap():
    got = uncertainty.fieller_interval(10.0, 1.0, [[1.0, 0.0], [0.0, 1.0]])
    assert got.kind == "outside"
    low, high = got.gap
    z = 1.959963984540054
    for r in (low, high):  # the limits solve Fieller's equation
        assert (10 - r) ** 2 == pytest.approx(z**2 * (1 + r**2), rel=1e-9)
    assert low < 0 < high


def test_fieller_covers_a_ratio_as_often_as_it_says():
    rng = np.random.default_rng(4)
    a, b = rng.normal(3, 0.5, 4000), rng.normal(1.5, 0.4, 4000)
    hits = 0
    for x, y in zip(a, b):
        got = uncertainty.fieller_interval(x, y, [[0.25, 0], [0, 0.16]])
        hits += got.gap[0] >= 2 or got.gap[1] <= 2 if got.kind == "outside" else got.low <= 2 <= got.high
    # Exact 95 %; three binomial standard errors of 4,000 draws are 1.03 points.
    assert abs(hits / 4000 - 0.95) < 0.0104


def test_fieller_refuses_what_has_no_ratio():
    with pytest.raises(FieldkitError, match="does not exist"):
        uncertainty.fieller_interval(1.0, 0.0, np.eye(2))
    with pytest.raises(FieldkitError, match="2 × 2"):
        uncertainty.fieller_interval(1.0, 1.0, np.eye(3))
    with pytest.raises(FieldkitError, match="between 0 and 1"):
        uncertainty.fieller_interval(1.0, 1.0, np.eye(2), level=95)


def test_critical_value_is_that_of_the_tables():
    # Student (1908) / any t table: 2.571 at 5 df, 1.960 at infinity.
    assert uncertainty.critical_value(degrees_of_freedom=5) == pytest.approx(2.5705818, abs=1e-6)
    assert uncertainty.critical_value(degrees_of_freedom=np.inf) == pytest.approx(1.9599640, abs=1e-6)


def season(n_animals=12, n=6, seed=1):
    rng = np.random.default_rng(seed)
    animal = np.repeat(np.arange(n_animals), n)
    body = 33 + np.repeat(rng.normal(0, 1.5, n_animals), n) + rng.normal(0, 0.5, n_animals * n)
    return pd.DataFrame({"animal_id": animal, "set_id": np.arange(n_animals * n) // 3, "body_c": body})


def test_bca_over_animals_matches_scipy_on_animal_means():
    from scipy import stats

    table = season()
    got = uncertainty.cluster_bootstrap(table, lambda t: t["body_c"].mean(), n_resamples=4000, rng=2)
    means = table.groupby("animal_id")["body_c"].mean().to_numpy()
    other = stats.bootstrap((means,), np.mean, n_resamples=4000, rng=np.random.default_rng(3), method="BCa")
    row = got.table.loc["value"]
    # Two independent sets of 4,000 draws: the 2.5 % point has a Monte Carlo error near 0.02 here.
    assert row["low"] == pytest.approx(other.confidence_interval.low, abs=0.07)
    assert row["high"] == pytest.approx(other.confidence_interval.high, abs=0.07)
    assert row["standard_error"] == pytest.approx(other.standard_error, rel=0.05)


def test_percentiles_for_few_animals_reach_as_far_as_students_limits():
    # Hesterberg (2015): the tails are those of a normal statistic whose resamples are sqrt((n - 1) / n) too narrow.
    from scipy import stats

    for n in (5, 8, 30):
        low, high = uncertainty.percentile_tails(n)
        assert stats.norm.ppf(high) * np.sqrt((n - 1) / n) == pytest.approx(stats.t.ppf(0.975, n - 1))
        assert low == pytest.approx(1 - high)
    # Six animals, 2,000 samples: plain percentiles of the mean cover near 87 %, these near 94 %.
    rng = np.random.default_rng(0)
    hits = np.zeros(2)
    for _ in range(2000):
        means = rng.normal(size=6)
        draws = means[rng.integers(6, size=(399, 6))].mean(axis=1)
        for k, tails in enumerate(((0.025, 0.975), uncertainty.percentile_tails(6))):
            a, b = np.quantile(draws, tails)
            hits[k] += a <= 0 <= b
    assert hits[0] / 2000 < 0.89 and hits[1] / 2000 > 0.91


def test_widest_of_two_covariances_holds_both_intervals():
    narrow, wide, open_ended = [[0.01, 0], [0, 0.01]], [[0.04, 0.01], [0.01, 0.02]], [[0.1, 0], [0, 4.0]]
    each = [uncertainty.fieller_interval(4.0, 2.0, c) for c in (narrow, wide)]
    got = uncertainty.widest_fieller(4.0, 2.0, [narrow, wide])
    assert got.low == min(e.low for e in each) and got.high == max(e.high for e in each)
    assert not np.isfinite(uncertainty.widest_fieller(4.0, 2.0, [narrow, open_ended]).high)


def test_animals_not_readings_set_the_width():
    table = season()
    by_animal = uncertainty.cluster_bootstrap(table, lambda t: t["body_c"].mean(), n_resamples=500)
    by_row = uncertainty.cluster_bootstrap(
        table.assign(row=range(len(table))), lambda t: t["body_c"].mean(), cluster="row", n_resamples=500
    )
    assert by_animal.table.loc["value", "standard_error"] > 1.5 * by_row.table.loc["value", "standard_error"]


def test_drawn_twice_counts_twice_and_sets_stay_apart():
    table = season(4)
    rows_per_set = table.groupby("set_id").size().max()

    def check(t):
        assert t.groupby("animal_id").size().eq(6).all() and t["animal_id"].nunique() == len(t) / 6
        assert t.groupby("set_id").size().max() <= rows_per_set
        return {"mean": t["body_c"].mean(), "sets": t["set_id"].nunique()}

    got = uncertainty.cluster_bootstrap(table, check, relabel=("set_id",), n_resamples=50)
    assert list(got.table.index) == ["mean", "sets"]
    assert (got.draws["sets"] == 8).all()


def test_statistic_that_often_fails_gets_no_interval():
    calls = iter(range(10_000))
    got = uncertainty.cluster_bootstrap(
        season(), lambda t: np.nan if next(calls) % 4 == 1 else t["body_c"].mean(), n_resamples=100, method="percentile"
    )
    assert np.isnan(got.table.loc["value", "low"]) and got.table.loc["value", "n_failed"] == 25
    assert "no interval" in got.sentence


def test_bootstrap_says_what_is_missing():
    with pytest.raises(FieldkitError, match="no column 'animal'"):
        uncertainty.cluster_bootstrap(season(), len, cluster="animal")
    with pytest.raises(FieldkitError, match="at least two"):
        uncertainty.cluster_bootstrap(season(1), len)
    with pytest.raises(FieldkitError, match="have no animal_id"):
        uncertainty.cluster_bootstrap(season().assign(animal_id=np.nan), len)
    with pytest.raises(FieldkitError, match="seed"):
        uncertainty.cluster_bootstrap(season(), len, rng=None)


def test_same_seed_same_interval():
    first, second = (
        uncertainty.cluster_bootstrap(season(), lambda t: t["body_c"].median(), n_resamples=99, rng=7) for _ in range(2)
    )
    pd.testing.assert_frame_equal(first.table, second.table)
    assert first.seed == 7
