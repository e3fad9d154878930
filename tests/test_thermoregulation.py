"""Thermoregulation indices against their definitions, exact limits and simulated animals."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import study_thermoregulation as study
import xarray as xr
from scipy import stats

import fieldkit
from fieldkit.core import FieldkitError
from fieldkit.field import thermoregulation as thermo
from fieldkit.report.figures import thermoregulation as figures
from fieldkit.report.figures.style import drawn_numbers

BODY = [30.5, 31, 33, 34.5, 35, 36.5, 32, 37]
PLACES = [20, 25, 28, 31, 33, 35, 38, 45, 50, 30]
RANGE = (32, 36)
SHUTTLED = [28, 31, 33, 34, 35, 36, 37, 30]
OFFERED = [[20, 25], [30, 33], [31, 40], [33, 45], [36, 50], [38, 52], [40, 55], [26, 31]]


def gradient(seed=1, animals=12, each=30, between_sd=0.8, within_sd=1.5, mean=34.0):
    rng = np.random.default_rng(seed)
    own = mean + rng.normal(0, between_sd, animals)
    return pd.DataFrame(
        {
            "animal_id": np.repeat([f"R{i:02d}" for i in range(animals)], each),
            "body_c": np.repeat(own, each) + rng.normal(0, within_sd, animals * each),
        }
    )


# ---- definitions -----------------------------------------------------------------------------------------------------


def test_worked_case(published):
    cases = published("thermoregulation").set_index("case")
    got = thermo.indices(BODY, PLACES, RANGE).table["estimate"]
    got = pd.concat([got, thermo.exploitation(SHUTTLED, OFFERED, RANGE).table["estimate"]])
    assert set(got.index) == set(cases.index)
    for name, case in cases.iterrows():
        assert got[name] == pytest.approx(case["expected"], abs=float(case["tolerance"])), name
    # db and de row by row.
    np.testing.assert_allclose(thermo.distance(BODY, *RANGE), [1.5, 1, 0, 0, 0, 0.5, 0, 1], atol=1e-12)
    np.testing.assert_allclose(thermo.distance(PLACES, *RANGE), [12, 7, 4, 1, 0, 0, 2, 9, 14, 2], atol=1e-12)


@pytest.mark.parametrize(
    ("wrap", "kind"), [(float, float), (np.atleast_1d, np.ndarray), (lambda x: pd.Series([x]), pd.Series)]
)
def test_distance_keeps_the_kind(wrap, kind):
    out = thermo.distance(wrap(37.0), 32.0, 36.0)
    assert isinstance(out, kind)
    assert float(np.ravel(out)[0]) == 1.0


def test_distance_of_a_grid():
    grid = xr.DataArray([[30.0, 40.0]], dims=("y", "x"))
    out = thermo.distance(grid, 32.0, 36.0)
    assert out.dims == ("y", "x") and out.to_numpy().tolist() == [[2.0, 4.0]]


def test_ends_of_the_range_are_inside():
    assert thermo.distance(32.0, 32.0, 36.0) == 0 and thermo.distance(36.0, 32.0, 36.0) == 0


def test_ideal_regulator_and_conformer():
    # Hertz et al. (1993): E is 1 for a perfect regulator, 0 for animals that take the habitat as it comes.
    assert thermo.indices([33, 34, 35], PLACES, RANGE).table.loc["effectiveness", "estimate"] == 1
    assert thermo.indices(PLACES, PLACES, RANGE).table.loc["effectiveness", "estimate"] == 0


def test_worse_than_random_is_not_cut_off():
    found = thermo.indices([10, 11, 60], [33, 31], RANGE)
    assert found.table.loc["effectiveness", "estimate"] < -10
    assert "further from their range" in found.sentence


def test_effectiveness_is_not_defined_where_every_place_is_right():
    found = thermo.indices([30, 33], [33, 34, 35], RANGE)
    assert np.isnan(found.table.loc["effectiveness", "estimate"])
    assert found.table.loc["difference", "estimate"] == -1.0
    assert "not defined" in found.sentence


def test_exploitation_names_both_readings():
    found = thermo.exploitation(SHUTTLED, OFFERED, RANGE)
    assert found.table["possible"].tolist() == [3, 4]
    assert found.table["in_range"].tolist() == [2, 3]
    assert "0.67" in found.sentence and "0.75" in found.sentence


def test_exploitation_never_possible():
    found = thermo.exploitation([20, 21], [[10, 12], [11, 13]], RANGE)
    assert found.table["estimate"].isna().all()
    assert "not defined" in found.sentence


def test_habitat_weights():
    # Half the habitat is shade at 25 °C, read once; the sun was read three times.
    weighted = thermo.indices([33], [25, 40, 40, 40], RANGE, operative_weight=[0.5, 0.5 / 3, 0.5 / 3, 0.5 / 3])
    assert weighted.table.loc["thermal quality", "estimate"] == pytest.approx((7 + 4) / 2)


# ---- intervals -------------------------------------------------------------------------------------------------------


def test_intervals_widen_with_animals_that_differ():
    rng = np.random.default_rng(3)
    places = rng.normal(28, 7, 200)
    names = np.repeat(list("ABCDEFGHIJ"), 20)
    own = np.repeat(rng.normal(0, 2, 10), 20)
    noise = rng.normal(0, 1, 200)
    alike = thermo.indices(34 + noise, places, RANGE, animal_id=names)
    apart = thermo.indices(34 + noise + own, places, RANGE, animal_id=names)
    width = [(t.table["high"] - t.table["low"])["accuracy"] for t in (alike, apart)]
    assert width[1] > 2 * width[0]
    assert (apart.table["low"] <= apart.table["estimate"]).all()
    assert (apart.table["estimate"] <= apart.table["high"]).all()


@pytest.mark.slow
def test_interval_covers_the_truth():
    # Six animals under one weather; the whole table is tests/studies/study_thermoregulation.py.
    held, given, _ = study.coverage(100, 11, 6, study.WORLDS["cold, weather shared"])
    # 99.9 % of binomial counts at 95 % coverage are 87 or more of 100.
    assert (held >= 0.87).all()
    assert given == 1


def test_days_that_all_animals_share_widen_the_interval():
    rng = np.random.default_rng(1)
    readings = study.season(rng, 8, study.WORLDS["animals alike, weather shared"])
    with_days = thermo.indices(preferred_range_c=RANGE, **readings)
    without = {k: v for k, v in readings.items() if k not in ("day", "operative_day")}
    blind = thermo.indices(preferred_range_c=RANGE, **without)
    width = [(t.table["high"] - t.table["low"])["accuracy"] for t in (with_days, blind)]
    assert width[0] > 1.8 * width[1]
    assert "Days are not named" in blind.sentence and "Days are not named" not in with_days.sentence


def test_jackknife_of_animals_alone_is_the_ratio_of_left_out_means():
    # Two-line definition: leave each animal out, logarithm, Student's t; places alike so that they add nothing.
    rng = np.random.default_rng(8)
    names = np.repeat(np.arange(7), [3, 5, 8, 4, 6, 9, 5])
    body = 38 + rng.normal(0, 1, 7)[names] + rng.normal(0, 0.5, names.size)
    found = thermo.indices(body, [20.0] * 40, RANGE, animal_id=names).table.loc["accuracy"]
    off = thermo.distance(body, *RANGE)
    without = np.log([off[names != a].mean() for a in range(7)])
    error = np.sqrt(6 / 7 * ((without - np.log(off.mean())) ** 2).sum())
    t = stats.t.ppf(0.975, 6)
    # Johnson (1978): lopsided by k3 / (6 V) (1 + 2 t²), k3 the unbiased third moment of the moves, as in a mean.
    moves = 6 / 7 * (np.log(off.mean()) - without)
    third = 7**2 / (6 * 5) * ((moves - moves.mean()) ** 3).sum()
    moved = third / (6 * error**2) * (1 + 2 * t**2)
    expected = off.mean() * np.exp([-t * error + min(moved, 0), t * error + max(moved, 0)])
    np.testing.assert_allclose([found["low"], found["high"]], expected, rtol=1e-9)


def test_thermal_quality_covers_with_few_lopsided_places_and_few_days():
    # The full study is tests/studies/study_thermal_quality.py. Plain log t held 88 to 90 % here.
    rng = np.random.default_rng(17)
    big = 30 + 6 * (rng.gamma(1.0, 1.0, 400_000) - 1) + rng.normal(0, 2.5, 400_000)
    truth = thermo.distance(big, *RANGE).mean()
    held = 0
    for _ in range(120):
        place, day = (grid.ravel() for grid in np.meshgrid(np.arange(20), np.arange(8)))
        places = 30 + 6 * (rng.gamma(1.0, 1.0, 20) - 1)[place] + rng.normal(0, 1.5, 8)[day] + rng.normal(0, 2, 160)
        found = thermo.indices(
            rng.normal(33, 2.5, 40),
            places,
            RANGE,
            animal_id=np.repeat(np.arange(8), 5),
            day=np.tile(np.arange(5), 8),
            operative_id=place,
            operative_day=day,
        ).table.loc["thermal quality"]
        held += found["low"] <= truth <= found["high"]
    # 99.9 % of binomial counts at 95 % are 106 or more of 120.
    assert held >= 106


def test_words_when_the_readings_cannot_tell():
    rng = np.random.default_rng(3)
    names, places = np.repeat(np.arange(6), 5), rng.normal(28, 7, 60)
    found = thermo.indices(rng.normal(28, 7, 30), places, RANGE, animal_id=names)
    assert "cannot tell animals that regulate from such that do not" in found.sentence
    assert "Only 6 animals stand behind" in found.sentence
    perfect = thermo.indices(np.full(30, 34.0), places, RANGE, animal_id=names)
    assert perfect.table.loc["accuracy", ["low", "high"]].isna().all()
    assert "No body temperature lay outside the range" in perfect.sentence
    one = thermo.indices(np.where(names == 2, 30.0, 34.0), places, RANGE, animal_id=names)
    assert "No interval of accuracy can be given: it hangs on a single animal" in one.sentence
    day = thermo.indices(rng.normal(31, 2, 30), places, RANGE, animal_id=names, day=["1 May"] * 30)
    assert "All body temperatures are of one day" in day.sentence
    days, read_on = np.tile(["1 May", "2 May", "3 May", "4 May", "5 May"], 6), np.repeat(["1 May", "2 May"], 30)
    some = thermo.indices(rng.normal(31, 2, 30), places, RANGE, animal_id=names, day=days, operative_day=read_on)
    assert "On 3 of 5 days with body temperatures no place was read" in some.sentence
    cage = gradient(animals=3)
    small = thermo.preferred_range(cage["body_c"], animal_id=cage["animal_id"])
    assert "taken as if it were exact" in thermo.indices(rng.normal(31, 2, 30), places, small, animal_id=names).sentence


def test_uncertain_range_widens_the_interval():
    cage = gradient(animals=6, between_sd=2.0)
    chosen = thermo.preferred_range(cage["body_c"], animal_id=cage["animal_id"], n_resamples=199, rng=2)
    rng = np.random.default_rng(4)
    body, names = rng.normal(33, 1.5, 120), np.repeat(np.arange(12), 10)
    fixed = thermo.indices(body, PLACES, (chosen.low_c, chosen.high_c), animal_id=names).table
    drawn = thermo.indices(body, PLACES, chosen, animal_id=names).table
    np.testing.assert_allclose(fixed["estimate"], drawn["estimate"])
    assert (drawn["high"] - drawn["low"])["accuracy"] > 1.3 * (fixed["high"] - fixed["low"])["accuracy"]


def test_same_seed_same_range():
    cage = gradient(animals=6)
    options = {"animal_id": cage["animal_id"], "n_resamples": 49, "rng": 7}
    one, two = (thermo.preferred_range(cage["body_c"], **options) for _ in range(2))
    pd.testing.assert_frame_equal(one.table, two.table)
    assert one.seed == 7


def test_exploitation_interval_by_animal():
    rng = np.random.default_rng(6)
    n = 200
    offered = np.sort(rng.uniform(20, 45, (n, 4)), axis=1)
    body = rng.normal(34, 2, n)
    names, days = np.repeat(np.arange(10), 20), np.tile(np.arange(20), 10)
    found = thermo.exploitation(body, offered, RANGE, animal_id=names, day=days)
    assert (found.table["low"] < found.table["estimate"]).all()
    assert (found.table["estimate"] < found.table["high"]).all()
    shared = np.where(days < 8, 34.0, 30.0)
    width = [
        np.diff(thermo.exploitation(shared, offered, RANGE, animal_id=names, day=d).table.loc["span", ["low", "high"]])
        for d in (days, None)
    ]
    # Animals alike, days not: without days nearly nothing is seen to vary.
    assert width[0] > 5 * width[1]
    always = thermo.exploitation(np.full(n, 34.0), offered, RANGE, animal_id=names, day=days)
    assert always.table["low"].isna().all() and "has no interval" in always.sentence


# ---- preferred range -------------------------------------------------------------------------------------------------


def test_preferred_range_is_the_central_half():
    cage = gradient(animals=60, each=400, between_sd=0.0)
    found = thermo.preferred_range(cage["body_c"], animal_id=cage["animal_id"], n_resamples=99)
    # Quartiles of a normal distribution lie 0.67449 standard deviations out.
    np.testing.assert_allclose([found.low_c, found.high_c], 34 + np.array([-1, 1]) * 0.67449 * 1.5, atol=0.03)
    pooled = thermo.preferred_range(cage["body_c"], animal_id=cage["animal_id"], pool="readings", n_resamples=99)
    np.testing.assert_allclose(pooled.table["estimate_c"], np.quantile(cage["body_c"], [0.25, 0.75]), atol=1e-3)


def test_every_animal_has_one_vote():
    cage = pd.concat(
        [gradient(animals=5, mean=30, between_sd=0), gradient(animals=1, each=3000, mean=36, between_sd=0)]
    )
    cage["animal_id"] = np.where(np.arange(len(cage)) < 150, cage["animal_id"], "X")
    fair = thermo.preferred_range(cage["body_c"], animal_id=cage["animal_id"], n_resamples=99)
    pooled = thermo.preferred_range(cage["body_c"], animal_id=cage["animal_id"], pool="readings", n_resamples=99)
    assert fair.high_c < 33 < pooled.low_c


def test_preferred_range_interval_grows_with_fewer_animals():
    width = []
    for animals in (40, 8):
        cage = gradient(animals=animals)
        table = thermo.preferred_range(cage["body_c"], animal_id=cage["animal_id"], n_resamples=199).table
        width.append((table["high_c"] - table["low_c"]).mean())
    assert width[1] > 1.4 * width[0]


def test_interval_of_each_end_is_students():
    # Ends that are means over animals: the textbook's t interval, up to the scatter of 999 resamples (2 %).
    cage = gradient(animals=6)
    found = thermo.preferred_range(cage["body_c"], animal_id=cage["animal_id"])
    for end, column in (("lower end", "low_c"), ("upper end", "high_c")):
        reach = stats.t.ppf(0.975, 5) * found.animals[column].std(ddof=1) / np.sqrt(6)
        row = found.table.loc[end]
        np.testing.assert_allclose(
            [row["low_c"], row["high_c"]], row["estimate_c"] + np.array([-1, 1]) * reach, atol=0.08 * reach
        )


def test_few_animals_get_a_range_without_an_interval():
    cage = gradient(animals=3)
    found = thermo.preferred_range(cage["body_c"], animal_id=cage["animal_id"])
    assert found.table[["low_c", "high_c"]].isna().all().all()
    assert found.draws is None
    assert "Only 3 animals" in found.sentence


# ---- what the sample cannot carry ------------------------------------------------------------------------------------


def test_no_interval_without_animals():
    one = thermo.indices(BODY, PLACES, RANGE, animal_id=["A"] * 8)
    assert one.table["low"].isna().all() and "theirs alone" in one.sentence
    assert "do not say which animal" in thermo.indices(BODY, PLACES, RANGE).sentence


def test_empty_readings_are_listed():
    found = thermo.indices([30, np.nan, 33], [20, 33, np.nan], RANGE, animal_id=["A", "B", None])
    assert found.left_out["row"].tolist() == ["body_c 1", "body_c 2", "operative_c 2"]
    assert "3 readings were left out" in found.sentence


def test_what_a_season_leaves_out_is_told_by_table_and_row():
    season = fieldkit.demo_season()
    found = thermo.of_season(season, preferred_range_c=RANGE, n_resamples=9)
    sat = found.left_out[found.left_out["reason"] == "an animal sat there"]
    assert set(sat["table"]) == {"choices"} and len(sat) > 100
    assert (season.choices.loc[sat["row"], "used"] == 1).all()
    assert season.choices.loc[sat["row"], "operative_c"].notna().all()


def test_used_places_do_not_stand_for_the_habitat():
    with pytest.raises(FieldkitError, match="where an animal sat"):
        thermo.indices(BODY, [33, 34, 35], RANGE, operative_used=[1, 1, 1])
    found = thermo.indices(BODY, [33, 20, 40], RANGE, operative_used=[1, 0, 0])
    assert found.table.loc["thermal quality", "estimate"] == 8
    assert found.left_out["reason"].tolist() == ["an animal sat there"]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: thermo.indices(BODY, PLACES, (36, 32)), "upside down"),
        (lambda: thermo.indices(BODY, PLACES, (32, np.nan)), "low and a high end"),
        (lambda: thermo.indices(BODY, PLACES, 34), "low and a high end"),
        (lambda: thermo.indices([np.nan], PLACES, RANGE), "Body temperatures have no reading"),
        (lambda: thermo.indices(BODY, [], RANGE), "Operative temperatures have no reading"),
        (lambda: thermo.indices(BODY, PLACES, RANGE, animal_id=["A"]), "one label each"),
        (lambda: thermo.indices(BODY, PLACES, RANGE, day=["1 May"]), "one day each"),
        (lambda: thermo.indices([30, "warm"], PLACES, RANGE), "'warm' at position 1"),
        (lambda: thermo.indices(BODY, PLACES, RANGE, operative_weight=[1]), "one for each reading"),
        (lambda: thermo.indices(BODY, PLACES, RANGE, operative_weight=[-1] * 10), "not negative"),
        (lambda: thermo.exploitation(BODY, PLACES, RANGE), "one row per body temperature"),
        (lambda: thermo.exploitation([33], [[np.nan, np.nan]], RANGE), "No time has both"),
        (lambda: thermo.preferred_range([33, 34, 35, 36], animal_id=["A"] * 4), "at least two animals"),
        (lambda: thermo.preferred_range([33, 34], animal_id=["A", "B"]), "at least two animals"),
        (lambda: thermo.preferred_range(BODY, animal_id=["A"] * 8, central=50), "between 0 and 1"),
        (lambda: thermo.preferred_range(BODY, animal_id=["A"] * 8, pool="mean"), "is not known"),
    ],
)
def test_refuses_in_plain_words(call, words):
    with pytest.raises(FieldkitError, match=words):
        call()


def test_season_tables_go_where_they_belong():
    scans = pd.DataFrame(
        {
            "animal_id": ["A", "B", "C"],
            "behaviour": ["basking", "moving", "retreat"],
            "body_temperature_c": [33, 39, 15],
        }
    )
    choices = pd.DataFrame({"operative_c": [33.0, 20.0, np.nan], "used": [1, 0, 0], "place_id": ["P1", "P2", "P3"]})
    season = SimpleNamespace(scans=scans, choices=choices, gradient=None)
    found = thermo.of_season(season, preferred_range_c=RANGE)
    # The hidden animal, the place that was sat in and the place that was not read do not count.
    assert found.table["estimate"].tolist() == [1.5, 12.0, 1 - 1.5 / 12, 10.5]
    with pytest.raises(FieldkitError, match="no gradient: the preferred range is not known"):
        thermo.of_season(season)
    with pytest.raises(FieldkitError, match="operative_c"):
        thermo.of_season(SimpleNamespace(scans=scans, choices=None, gradient=None))


def test_quartiles_of_few_readings_are_not_drawn_inwards():
    cage = gradient(animals=400, each=8, between_sd=0.0)
    found = thermo.preferred_range(cage["body_c"], animal_id=cage["animal_id"], n_resamples=2)
    # Quartiles of a normal distribution lie 0.67449 standard deviations (here 1.5) out; numpy's default gives 0.57.
    np.testing.assert_allclose([found.low_c, found.high_c], 34 + np.array([-1, 1]) * 0.67449 * 1.5, atol=0.08)


# ---- figure ----------------------------------------------------------------------------------------------------------


def test_figure_draws_the_result():
    rng = np.random.default_rng(2)
    found = thermo.indices(rng.normal(34, 1, 60), rng.normal(28, 7, 90), RANGE, animal_id=np.repeat(np.arange(6), 10))
    figure = figures.distances(found)
    drawn = drawn_numbers(figure).set_index("series")
    assert float(drawn.loc["mean distance, animals", "y"]) == pytest.approx(found.table.loc["accuracy", "estimate"])
    assert float(drawn.loc["mean distance, places", "y"]) == pytest.approx(
        found.table.loc["thermal quality", "estimate"]
    )
    assert f"{found.table.loc['effectiveness', 'estimate']:.2f}" in figure.axes[0].get_title(loc="left")
