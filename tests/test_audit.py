"""The audit: what is met, missed, not measured and cannot be told; broken ceilings; flags; fixes; the re-check."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import simulated_enclosures as simulated
from scipy import stats

import fieldkit
from fieldkit.captive import audit, targets
from fieldkit.captive.audit import (
    flags as audit_flags,
)
from fieldkit.captive.audit import (
    judge as audit_judge,
)
from fieldkit.captive.audit import (
    means as audit_blocks,
)
from fieldkit.captive.audit import (
    operative as audit_operative,
)
from fieldkit.core import FieldkitError
from fieldkit.demo import enclosure as demo
from fieldkit.report.keeper import advice as audit_text


def row(found, target, **where):
    table = found.table[found.table["target"] == target]
    # The standard limits that an audit adds stand in rows of their own.
    if "contact_min" not in where:
        table = table[~(table["contact_min"] > 10) & ~((table["basis"] == "standard") & (len(table) > 1))]
    for key, value in where.items():
        table = table[table[key] == value]
    assert len(table) == 1
    return table.iloc[0]


def air(low, high, **more):
    return {"target": "shade_air_c", "low": low, "high": high, "source": "made up"} | more


def without_models(record):
    """The record as if no copper model had been there."""
    info = record.logger_info[record.logger_info["role"] != "copper_model"].reset_index(drop=True)
    read = record.readings[record.readings["role"] != "copper_model"]
    return replace(
        record, logger_info=info, readings=read.assign(logger_id=read["logger_id"].cat.remove_unused_categories())
    )


# --- statistics ----------------------------------------------------------------------------------------------------


def test_holm_as_statsmodels_does_it():
    from statsmodels.stats.multitest import multipletests

    p = np.random.default_rng(1).uniform(0, 0.1, 20)
    assert audit_blocks.holm(p) == pytest.approx(multipletests(p, method="holm")[1])


def test_one_reading_above_a_ceiling_is_a_normal_tail():
    # One reading knows no structure of the error: the tail, doubled. (The nodes are 0.1 apart.)
    assert audit_blocks.limit_p(np.array([50.0]), 48.0, 1.0) == pytest.approx(2 * stats.norm.sf(2.0), rel=1e-3)


def test_many_readings_above_a_ceiling_follow_the_binomial():
    # 100 readings above 2 errors may come from one error of the whole log.
    assert audit_blocks.limit_p(np.full(100, 50.0), 48.0, 1.0) >= 2 * stats.norm.sf(2.0)
    # One of 10,000 readings 4 errors above is to be expected from errors drawn anew: 1 - (1 - tail)^n, doubled.
    many = np.full(10_000, 47.0)
    many[0] = 52.0
    expected = 2 * stats.binom.sf(0, 10_000, stats.norm.sf(4.0))
    assert audit_blocks.limit_p(many, 48.0, 1.0) == pytest.approx(expected, rel=1e-6)
    # Had it been cool at all other times, there was one chance to err and not ten thousand.
    many[1:] = 20.0
    assert audit_blocks.limit_p(many, 48.0, 1.0) == pytest.approx(2 * stats.norm.sf(4.0), rel=1e-3)


def test_a_logger_far_below_the_ceiling_costs_the_others_nothing():
    # The rock under the lamp passes 48 °C a little; the sand at the cool end speaks for the same ceiling.
    p = []
    for sand in (None, (18.0, 24.0)):
        record = simulated.plain(3, change={"rock": (19.0, 50.0), "sand": sand}, kind="shared")
        p.append(row(audit.audit(record, simulated.wanted()), "surface_c")["p_value"])
    assert p[0] == pytest.approx(p[1]) and p[0] < 1


@pytest.mark.parametrize("kind", ["shared", "white", "drift", "mixed"])
def test_a_truth_that_touches_the_ceiling_seldom_alarms(kind):
    rng = np.random.default_rng(5)
    touching = np.full(1440, 48.0)
    p = [audit_blocks.limit_p(touching + simulated.noise(1440, rng, kind), 48.0, 1.0) for _ in range(200)]
    # At most 5 % in truth; 10 and 2.5 standard errors of 200 draws.
    assert np.sum(np.array(p) <= 0.05) <= 10 + 2.5 * np.sqrt(200 * 0.05 * 0.95)


def test_days_are_what_repeats():
    rng = np.random.default_rng(0)
    day = np.repeat(np.arange(200), 72)
    flags = np.repeat(rng.random(200) < 0.3, 72)
    share, error = audit_blocks.daily(flags, day)
    # Whole days in or out: the error is that of 200 draws, not of 14,400.
    assert error == pytest.approx(np.sqrt(share * (1 - share) / 200), rel=0.25)


# --- statuses ------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def plain():
    wanted = simulated.wanted(
        air(21.0, 28.0, month=6, period="day"),
        air(22.0, 28.0, month=7, period="day"),
        air(15.0, 24.0, month=6, period="night"),
        {"target": "surface_c", "zone": "basking site", "period": "day", "low": 30.0, "high": 45.0, "source": "x"},
        {"target": "operative_c", "zone": "basking site", "period": "day", "low": 33.0, "source": "x"},
        {"target": "operative_c", "zone": "cool end", "period": "day", "high": 33.0, "source": "x"},
        {"target": "operative_c", "zone": "retreat", "period": "day", "high": 33.0, "source": "x"},
        {"target": "photoperiod_h", "month": 6, "low": 11.5, "high": 12.5, "source": "x"},
        {"target": "photoperiod_h", "month": 12, "low": 8.0, "high": 9.0, "source": "x"},
        {"target": "full_sun_share", "low": 0.4, "high": 0.6, "source": "x"},
    )
    return audit.audit(simulated.plain(29, rng=2), wanted)


def test_a_faultless_enclosure_meets_its_targets(plain):
    assert row(plain, "shade_air_c", month=6, period="night")["status"] == "met"
    for target in ("surface_c", "operative_c"):
        assert row(plain, target, zone="basking site", kind="aim")["status"] == "met"
    assert row(plain, "photoperiod_h", month=6)["status"] == "met"
    assert not plain.table["limit_exceeded"].any() and plain.exit_status == 0
    assert (plain.table.loc[plain.table["kind"] == "limit", "status"] == "met").all()


def test_what_was_not_measured_is_said_to_be_so(plain):
    assert row(plain, "shade_air_c", month=7)["status"] == "not measured"
    assert row(plain, "operative_c", zone="retreat")["status"] == "not measured"
    assert row(plain, "photoperiod_h", month=12)["status"] == "not measured"
    assert row(plain, "full_sun_share")["status"] == "cannot tell"
    measured = " ".join(plain.next_measurements["measure"])
    assert "copper model of the animal" in measured and "at the retreat" in measured and "through Jul" in measured


def test_operative_temperature_is_computed_where_no_copper_model_stands(plain):
    one = row(plain, "operative_c", zone="cool end")
    # Sand of 24 °C under air of 23 °C in the shade: the animal is as warm as they are.
    assert one["status"] == "met" and "predicted from readings" in one["where"] and 22 < one["reading"] < 25
    assert 0.4 < one["error"] < 2
    assert any("predicted from readings" in n and "C1" in n for n in plain.notes)
    assert "copper" not in row(plain, "operative_c", zone="basking site")["where"]


def test_the_computed_operative_temperature_is_that_of_a_copper_model():
    # The demo's copper model at the basking site, left out and computed instead.
    record = fieldkit.demo_enclosure()
    means = audit_blocks.make(record)
    seen = means.of(int(means.loggers.index[means.loggers["logger_id"] == "model"][0])).set_index("moment")["value"]
    blind = without_models(record)
    means = audit_blocks.make(blind)
    more, notes = audit_operative.extend(blind, means, {"control"})
    (new,) = range(len(means.loggers), len(more.loggers))
    got, error = more.of(new).set_index("moment")["value"], more.loggers["error"][new]
    off = (got - seen).dropna()
    assert len(off) > 1000 and (off.abs() < 1.96 * np.hypot(error, 0.6)).mean() > 0.95
    assert f"±{error:.1f}" in notes[0]
    # Without the animal's size nothing is computed.
    nameless = replace(blind, animal=replace(blind.animal, mass_g=None))
    assert audit_operative.extend(nameless, means, set()) == (means, [])


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_computed_operative_temperature_agrees_with_the_truth_of_the_forward_model(seed):
    record, truth = demo.random_enclosure((5, seed), faults=[])
    blind = without_models(record)
    more, _ = audit_operative.extend(blind, audit_blocks.make(blind), set())
    new = more.loggers.index[more.loggers["role"] == "copper_model"][0]
    true = truth["conditions"]["operative_c"][more.loggers["point_id"][new]]
    true.index = true.index.tz_convert("UTC").tz_localize(None).astype("datetime64[s]").astype("int64") // 600 * 600
    off = more.of(new).set_index("moment")["value"] - true
    assert (off.dropna().abs() < 1.96 * more.loggers["error"][new]).mean() > 0.95


@pytest.mark.parametrize(("high", "status"), [(30.0, "met"), (26.9, "cannot tell"), (24.0, "missed")])
def test_a_band_with_the_error_of_the_readings(high, status):
    # The warm end's air is 26 °C by day, the errors 0.4 °C.
    found = audit.audit(simulated.plain(20, rng=0, kind="white"), simulated.wanted(air(15.0, high, period="day")))
    one = row(found, "shade_air_c", kind="aim")
    assert one["status"] == status
    if status == "missed":
        assert one["by_how_much"] == pytest.approx(2.0, abs=0.8) and "W1" in one["where"]
        assert one["share_of_time"] > 0.8 and one["when"].startswith("Jun") and one["robust"]


def test_a_target_known_badly_makes_a_miss_that_is_not_firm():
    wanted = simulated.wanted(air(15.0, 24.0, period="day", high_error=3.0))
    found = audit.audit(simulated.plain(20), wanted)
    one = row(found, "shade_air_c", kind="aim")
    assert one["status"] == "missed" and not one["robust"]
    assert "not known well enough" in found.fixes["reason"].str.cat(sep=" ")


def test_a_target_of_few_n_independent_reaches_as_far_as_students_t():
    # Two-sided 5 % points of Student's t, any printed table: 4.303 (2 degrees of freedom), 2.571 (5); normal 1.960.
    own, reading = np.array([1.0, 1.0, 1.0, 0.0]), np.array([0.0, 0.0, 0.0, 1.0])
    reach = audit_judge._reach(own, reading, np.array([3.0, 6.0, np.nan, 3.0]))
    assert reach == pytest.approx([4.303, 2.571, 1.960, 1.960], abs=5e-4)
    # Two equal variances, one of them of three n_independent: Satterthwaite's degrees are 2 / (1/2)² = 8, t = 2.306.
    assert audit_judge._reach(own[:1], own[:1], np.array([3.0])) == pytest.approx(2.306 * np.sqrt(2), abs=5e-4)


def test_two_days_cannot_tell():
    found = audit.audit(simulated.plain(2), simulated.wanted(air(15.0, 30.0), ceilings=False))
    assert row(found, "shade_air_c")["status"] == "cannot tell"


def test_a_ceiling_measured_at_the_wrong_place_is_not_measured():
    record = simulated.plain(10, change={"rock": None})
    one = row(audit.audit(record, simulated.wanted()), "surface_c")
    assert one["status"] == "not measured" and "not at basking site" in one["where"]


def test_an_offer_stands_if_one_point_makes_it():
    wanted = simulated.wanted({"target": "surface_c", "period": "day", "low": 35.0, "source": "x"}, ceilings=False)
    assert row(audit.audit(simulated.plain(10), wanted), "surface_c", kind="aim")["status"] == "met"


def test_a_broken_ceiling_is_found_named_and_comes_first():
    record = simulated.plain(10, change={"rock": (19.0, 56.0)})
    found = audit.audit(record, simulated.wanted(air(10.0, 20.0)))
    one = row(found, "surface_c")
    assert one["limit_exceeded"] and one["status"] == "limit exceeded" and one["p_value"] < 0.001
    assert one["by_how_much"] == pytest.approx(8.0, abs=3.5)
    assert found.exit_status == 3
    first = found.fixes.iloc[0]
    assert first["urgent"] and first["action"] == "switch off or bar the way" and first["place"] == "B1"
    assert first["lamp"] == "basking" and first["direction"] == -1 and found.sentence.startswith(first["change"])
    # The rows it serves: the limit of ten minutes and that of eight hours.
    assert {found.table["contact_min"].fillna(10)[n] for n in first["rows"]} == {10.0, 480.0}
    # The mean of eight hours has to fall from some 56 to 43 °C, over air of 24.5 °C.
    assert first["share"] == pytest.approx((43 - 24.5) / (56 - 24.5), abs=0.08)
    assert "surface too hot to touch" in found.dangers["flag"].tolist()


def test_a_ceiling_read_above_but_not_surely_is_to_be_taken_for_broken():
    # 48.8 °C with an error of 1 °C.
    found = audit.audit(simulated.plain(6, change={"rock": (20.0, 48.8)}, kind="shared", rng=3), simulated.wanted())
    one = row(found, "surface_c")
    assert one["status"] == "cannot tell" and one["by_how_much"] > 0 and not one["limit_exceeded"]
    assert "take it for exceeded until a better reading" in found.sentence


def test_fixes_are_ranked_by_danger_then_by_size():
    record = simulated.plain(
        10, change={"rock": (19.0, 56.0), "uv": (0.0, 9.0)}, lamp={"guarded": False, "distance_to_nearest_reach_m": 0.1}
    )
    found = audit.audit(record, simulated.wanted(air(15.0, 25.0, period="day"), air(15.0, 17.5, period="night")))
    assert found.fixes["urgent"].tolist()[:3] == [True] * 3 and not found.fixes["urgent"].iloc[-1]
    assert found.fixes["quantity"].tolist()[0] == "surface_c" and found.fixes["action"].tolist()[1] == "guard"
    assert found.fixes["quantity"].tolist()[2] == "uv_index" and found.fixes["reason"].str.len().min() > 20
    for _, part in found.fixes.groupby("urgent"):
        assert part["weight"].is_monotonic_decreasing


# --- flags ---------------------------------------------------------------------------------------------------------


def flag(found, name):
    return found.flags.set_index("flag").loc[name, "found"]


def test_flags_of_the_lamp():
    wanted = simulated.wanted()
    for lamp, status in (
        ({"guarded": False, "distance_to_nearest_reach_m": 0.1}, "yes"),
        ({"guarded": False, "distance_to_nearest_reach_m": 0.6}, "no"),
        ({"guarded": None}, "not measured"),
    ):
        found = audit.audit(simulated.plain(4, lamp=lamp), wanted)
        assert flag(found, "lamp within reach and unguarded") == status
        assert found.exit_status == (3 if status == "yes" else 0)
    assert flag(audit.audit(simulated.plain(4, lamp={"fixed": False}), wanted), "lamp not fixed") == "yes"
    assert flag(audit.audit(simulated.plain(4, lamp={"fixed": None}), wanted), "lamp not fixed") == "not measured"
    mat = simulated.plain(4, lamp={"kind": "heat mat"})
    assert flag(audit.audit(mat, wanted), "heater without a thermostat") == "yes"


@pytest.mark.parametrize(("shade", "found"), [(True, "no"), (False, "yes"), (None, "not measured")])
def test_a_retreat_has_to_be_dark(shade, found):
    points = simulated.settings({})["points"]
    points["R1"] = points["R1"] | {"shade": shade}
    report = audit.audit(simulated.plain(4, points=points), simulated.wanted())
    assert flag(report, "no shade retreat") == found


def test_hot_surface_and_strong_uv_are_dangers_even_without_a_target():
    hot = simulated.plain(6, change={"rock": (20.0, 62.0), "uv": (0.0, 12.0)})
    plain = simulated.plain(6)
    for targets_of in (simulated.wanted(), simulated.wanted(air(15.0, 40.0), ceilings=False)):
        found = audit.audit(hot, targets_of)
        for name in ("surface too hot to touch", "UV above its limit"):
            assert flag(found, name) == "yes" and name in set(found.dangers["flag"])
            assert flag(audit.audit(plain, targets_of), name) == "no"
        assert found.exit_status == 3


def test_a_warm_night_is_flagged_and_a_cool_one_is_not():
    for high, found in ((24.0, "no"), (16.0, "yes")):
        report = audit.audit(simulated.plain(6), simulated.wanted(air(10.0, high, month=6, period="night")))
        assert flag(report, "night too hot") == found


@pytest.mark.parametrize(
    ("theirs", "found"),
    [("desert tortoise", 1), ("Ridge  Lizard", 0), ("ridge lizard (invented)", 0), ("not stated", 0)],
)
def test_targets_of_another_species_are_pointed_out(theirs, found):
    report = audit.audit(simulated.plain(4), replace(simulated.wanted(), species=theirs))
    flags = report.flags[report.flags["flag"] == "targets of another species"]
    assert len(flags) == found and (not found or theirs in flags["finding"].iloc[0])


def test_full_sun_is_what_it_was_in_the_field_when_the_targets_say_so():
    wanted = simulated.wanted({"target": "full_sun_share", "low": 0.2, "high": 0.6, "source": "x"})
    field = targets.make(wanted.table, species="ridge lizard", invented=True, levels=(600.0, 200.0))
    means = [audit.audit(simulated.plain(6), one) for one in (wanted, field)]
    # B1 gets 550 W/m²: the strongest light there is, but less than full sun outside.
    assert [row(a, "full_sun_share")["reading"] for a in means] == [pytest.approx(1 / 4), 0.0]
    assert "own strongest light" in " ".join(means[0].notes) and "600 W/m²" in " ".join(means[1].notes)
    again = targets.from_text(field.to_toml(), kind="toml")
    assert (again.full_sun_w_m2, again.full_shade_w_m2) == (600.0, 200.0)
    assert targets.from_text(field.to_json(), kind="json").full_shade_w_m2 == 200.0
    with pytest.raises(FieldkitError, match="must be more than"):
        targets.make(wanted.table, species="x", levels=(100.0, 200.0))


def test_rules_without_a_source_are_said_to_be_so(plain):
    assert "Common practice" in plain.notes[-1] and "Our choice" in plain.notes[-1]


def test_no_shade_retreat():
    where = {"y_m": 0.3, "z_m": 0.05}
    points = {
        "B1": where | {"x_m": 0.25, "zone": "basking site", "shade": False},
        "W1": where | {"x_m": 0.55, "zone": "warm end", "shade": False},
        "C1": where | {"x_m": 1.05, "zone": "cool end", "shade": False},
    }
    found = audit.audit(simulated.plain(4, points=points), simulated.wanted())
    assert flag(found, "no shade retreat") == "yes" and found.exit_status == 3
    # One that gets too warm is none.
    loggers = simulated.FULL | {"model-r": ("copper_model", "R1")}
    index = simulated.clock(6)
    truths = {n: simulated.course(index, night=a, day=b) for n, (a, b) in simulated.PLAIN.items()}
    truths["model-r"] = simulated.course(index, night=20.0, day=39.0)
    cool = {"target": "operative_c", "zone": "retreat", "period": "day", "high": 33.0, "source": "x"}
    found = audit.audit(simulated.make(loggers, truths), simulated.wanted(cool))
    assert flag(found, "no shade retreat") == "yes" and "too warm by" in found.dangers["finding"].str.cat()


def test_ends_and_hours_exchanged():
    ends = simulated.plain(6, change={"air-w": (18.0, 22.0), "air-c": (18.0, 27.0)})
    assert flag(audit.audit(ends, simulated.wanted()), "warm and cool end exchanged") == "yes"
    hours = simulated.plain(6, change={"air-w": (27.0, 20.0), "air-c": (24.0, 19.0)})
    assert flag(audit.audit(hours, simulated.wanted()), "day and night exchanged") == "yes"


def test_a_room_warmer_than_the_target_cannot_work():
    wanted = simulated.wanted(air(10.0, 15.5, month=6, period="night"))
    found = audit.audit(simulated.plain(6), wanted)
    assert flag(found, "night too hot") == "yes" and flag(found, "room too warm for the target") == "yes"


def test_a_sensor_in_the_beam_is_not_believed():
    loggers = simulated.FULL | {"air-b": ("shade_air", "B1")}
    index = simulated.clock(10)
    truths = {
        n: simulated.course(index, night=a, day=b, hours=simulated.DELAY[n]) for n, (a, b) in simulated.PLAIN.items()
    }
    truths["air-b"] = simulated.course(index, night=19.0, day=38.0)
    found = audit.audit(simulated.make(loggers, truths), simulated.wanted())
    assert flag(found, "air sensor in the beam") == "yes"
    # 38 °C would break the air's ceiling of 32 °C, but it is not the air's temperature.
    assert not row(found, "shade_air_c")["limit_exceeded"]
    assert any("air-b stands in a lamp's beam" in note for note in found.notes)


def test_winter_targets_are_no_order_to_cool():
    wanted = simulated.wanted(air(-3.0, 5.0, month=6, period="day"), air(15.0, 31.0, zone="basking site"))
    found = audit.audit(simulated.plain(6), wanted)
    words = " ".join(found.fixes["change"])
    assert "Do not cool the animals" in words and "Lower the air" not in words
    assert targets.resting(wanted.table).tolist() == [True, *[False] * (len(wanted.table) - 1)]


def test_targets_that_contradict_each_other_are_named():
    wanted = simulated.wanted(air(33.0, 36.0))
    words = " ".join(audit_flags.impossible(wanted.table))
    assert "contradict" in words and "below 32" in words


def test_spot_and_floor_from_a_map_of_the_light():
    from fieldkit.captive import lamps
    from fieldkit.captive.lamps import lit_area as lamp_coverage

    lamp = lamps.Lamp(id="spot", beam=lamps.Beam(intensity=60.0, half_angle_deg=8.0), x_m=0.3, y_m=0.3, height_m=0.5)
    _, _, floor = lamps.grid((0, 1.2, 0, 0.6), 0.0, step_m=0.05)
    spot = lamp_coverage.coverage(
        lamp, (0.1, 0.5, 0.1, 0.5), 0.05, wanted_w_m2=(150, 700), body_length_m=0.2, n_draws=5
    )
    wanted = simulated.wanted({"target": "full_shade_share", "low": 0.1, "high": 0.3, "source": "x"})
    found = audit.audit(simulated.plain(4), wanted, coverage=spot, light=lamps.field(lamp, floor))
    assert flag(found, "spot smaller than the animal") == "yes"
    assert row(found, "full_shade_share")["status"] == "missed"
    gradient = found.gradient.set_index("what")["value"]
    assert gradient["width of the lit spot over the animal's length"] < 1
    assert gradient["floor in full shade"] > 0.7


# --- the study, small ------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_broken_ceilings_are_found_and_others_left_alone():
    import study_audit

    found = study_audit.run(25, days=8, seed=3)
    real = found[found["measured"] & (found["excess"] > 5)]
    quiet = found[found["measured"] & (found["excess"] <= 0.01)]
    assert len(real) > 15 and real["alarm"].mean() >= 0.95
    assert len(quiet) > 15 and quiet["alarm"].mean() <= 0.05
    assert (found.loc[~found["measured"], "status"] == "not measured").all()
    assert not (found.loc[found["excess"] > 0.01, "status"] == "met").any()


# --- re-check, text, mistakes ----------------------------------------------------------------------------------------


def test_the_re_check_says_what_moved():
    wanted = simulated.wanted(air(15.0, 24.5, period="day"))
    before = audit.audit(simulated.plain(10, change={"rock": (19.0, 56.0)}), wanted)
    after = audit.audit(simulated.plain(10, change={"air-w": (19.0, 23.0), "air-c": (18.0, 21.0)}), wanted)
    change = audit.compare(before, after)
    table = change.table.drop_duplicates("target", keep="first").set_index("target")
    air_rows = change.table.loc[change.table["target"] == "shade_air_c", "verdict"].tolist()
    assert table.loc["surface_c", "verdict"] == "better" and table.loc["surface_c", "after"] == "met"
    assert air_rows == ["better", "still met"]
    assert table.loc["uv_index", "verdict"] == "still met"
    # The limits of ten minutes and of eight hours.
    assert "Upper limits exceeded: 2 before, 0 now." in change.sentence
    worse = audit.compare(after, before).table.drop_duplicates("target").set_index("target")
    assert worse.loc["surface_c", "verdict"] == "worse"
    with pytest.raises(FieldkitError, match="different targets"):
        audit.compare(before, audit.audit(simulated.plain(4), simulated.wanted()))


def test_the_text_never_calls_it_safe_and_says_what_matters_first(plain):
    record = simulated.plain(10, change={"rock": (19.0, 56.0)})
    for found in (plain, audit.audit(record, simulated.wanted())):
        words = audit_text.text(found)
        assert "safe" not in words.lower().replace("unsafe", "")
        assert words.index("What to change") < words.index("\nTargets\n") < words.index("Take care")
        for danger in ("Burns and fire", "Mains", "UV harms", "big steps", "vet", "law"):
            assert danger in words
        assert "INVENTED" in words[:200]
    compact = audit_text.compact(plain)
    assert len(compact) == len(plain.table)


def test_without_readings_everything_is_not_measured():
    record = simulated.make(simulated.FULL, {})
    found = audit.audit(record, simulated.wanted(air(20.0, 25.0)))
    assert (found.table["status"] == "not measured").all() and found.exit_status == 0
    assert "could not be judged" in found.sentence


def test_a_logger_without_an_error_gets_a_wide_one():
    record = simulated.plain(6, change={"rock": (19.0, 50.0)})
    record.logger_info["error"] = np.nan
    found = audit.audit(record, simulated.wanted())
    one = row(found, "surface_c")
    assert one["error"] == audit_blocks.ASSUMED_ERRORS["surface"] and one["status"] == "cannot tell"
    assert any("No error is stated" in note for note in found.notes)


def test_settings_out_of_range_get_a_sentence():
    record = simulated.plain(2)
    for options, words in (({"level": 1.2}, "as a share"), ({"allowed": 0.7}, "such as 0.05")):
        with pytest.raises(FieldkitError, match=words):
            audit.audit(record, simulated.wanted(), **options)


def test_clocks_that_shift_and_gaps_do_no_harm():
    # The clocks of Berlin go back on 26 October 2025: the hour from 2 to 3 comes twice.
    index = pd.date_range("2025-10-20", periods=12 * 144, freq="10min", tz="Europe/Berlin")
    series = simulated.course(index, night=18.0, day=24.0)
    loggers = {"air-w": ("shade_air", "W1")}
    gaps = series.drop(series.index[300:500])
    record = simulated.make(loggers, {"air-w": gaps}, kind="white", rng=0)
    means = audit_blocks.make(record)
    assert len(means.table) == len(gaps)
    found = audit.audit(record, simulated.wanted(air(16.0, 26.0), ceilings=False))
    assert row(found, "shade_air_c")["status"] == "met"
    record.readings.loc[5:50, "value"] = np.nan
    again = audit.audit(record, simulated.wanted(air(16.0, 26.0), ceilings=False))
    assert row(again, "shade_air_c")["status"] == "met"
