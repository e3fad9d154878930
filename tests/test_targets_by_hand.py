"""One hand-worked case for each builder of targets, and for the comparison of two audits: arithmetic on paper."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from fieldkit.captive import targets
from fieldkit.captive.audit import Evidence, Status, compare, contact, fixes, judge
from fieldkit.captive.audit.status import settled
from fieldkit.captive.targets import Kind, place_rows
from fieldkit.core import FieldkitError


def bands(n_stations=4, ceiling_c=25.0):
    """July of four stations: 18 to 28 °C, 3 °C of margin, spreads of 2 and 4 °C."""
    columns = {"month": ["Jul"], "low_c": [18.0], "high_c": [28.0], "margin_c": [3.0], "n_stations": [n_stations]}
    columns |= {"spread_low_c": [2.0], "spread_high_c": [4.0]}
    pooled = pd.DataFrame({"margin_c": [1.0, 3.0]})
    settings = {"n_stations": n_stations}
    return SimpleNamespace(schedule=pd.DataFrame(columns), pooled=pooled, ceiling_c=ceiling_c, settings=settings)


def window(**changed):
    """Basking from 15 to 31 °C, most at 23 °C; six animals on nine days."""
    rows = pd.DataFrame(
        {"estimate_c": [15.0, 23.0, 31.0], "standard_error_c": [0.5, np.nan, 0.7], "status": ["found"] * 3},
        index=["lower limit", "peak", "upper limit"],
    )
    for name, status in changed.items():
        rows.loc[name.replace("_", " "), "status"] = status
    numbers = {"n_animals": 6, "n_days": 9, "n_looks": 800}
    return SimpleNamespace(table=rows, settings={"at_irradiance_w_m2": None}, **numbers)


def test_air_by_hand():
    day, night = targets.air(bands())
    # The whole range is 18 to 25 + 3 = 28; the middle 23. Errors: 2/√4 = 1 and 4/√4 = 2; of the middle (1 + 2)/2.
    assert (day["low"], day["high"], day["low_error"], day["high_error"]) == (23.0, 28.0, 1.5, 2.0)
    assert (night["low"], night["high"], night["low_error"], night["high_error"]) == (18.0, 23.0, 1.0, 1.5)
    assert (day["period"], night["period"], day["month"], day["n_independent"]) == ("day", "night", 7, 4)
    assert (day["kind"], day["basis"], day["zone"]) == (Kind.AIM, "station", "whole")
    alone = targets.air(bands(n_stations=1))[0]
    assert np.isnan(alone["n_independent"]) and "1 weather station," in alone["source"]
    empty = bands()
    empty.schedule["low_c"] = np.nan
    assert targets.air(empty) == []


def test_air_caution_by_hand():
    rows = targets.air_caution(bands())
    assert [(r["zone"], r["high"], r["period"], r["month"]) for r in rows] == [
        ("cool end", 25.0, "all", 0),
        ("retreat", 25.0, "all", 0),
    ]
    assert {r["kind"] for r in rows} == {Kind.CAUTION} and {r["margin"] for r in rows} == {3.0}
    # Ordinary is the middle of the month, (18 + 28)/2 = 23, and where they basked most.
    assert targets.air_caution(bands(ceiling_c=20.0))[0]["high"] == 23.0
    assert targets.air_caution(bands(ceiling_c=20.0), window(peak="peak not seen"))[0]["high"] == 23.0
    warm = window()
    warm.table.loc["peak", "estimate_c"] = 26.5
    assert targets.air_caution(bands(), warm, reason="small room")[0]["high"] == 26.5
    assert "small room" in rows[0]["source"].replace(targets.MARGIN_REASON, "small room")


def test_air_limit_by_hand():
    daily = pd.DataFrame({"station_id": ["a", "a", "b", "c", "c"], "tmax_c": [30.0, 12.0, 34.0, 41.0, np.nan]})
    row = targets.air_limit(daily)[0]
    # Highest of each: 30, 34, 41; the middle one.
    assert (row["high"], row["kind"], row["n_independent"], row["basis"]) == (34.0, Kind.LIMIT, 3, "station")
    assert targets.air_limit(daily, window=window())[0]["high"] == 34.0
    hot = window()
    hot.table.loc["upper limit", "estimate_c"] = 36.0
    assert targets.air_limit(daily, window=hot)[0]["high"] == 36.0
    assert targets.air_limit(daily, window=window(upper_limit="not reached"))[0]["high"] == 34.0
    where = pd.DataFrame({"station_id": ["a", "b", "c"], "elevation_m": [1000.0, 0.0, np.nan]})
    # To 500 m at 6.5 K/km: 30 + 3.25 and 34 - 3.25; the third has no height.
    moved = targets.air_limit(daily, stations=where, target_elevation_m=500.0)[0]
    assert moved["high"] == pytest.approx((33.25 + 30.75) / 2)
    hourly = pd.DataFrame({"station_id": ["a"], "air_temperature_c": [29.0]})
    assert targets.air_limit(hourly)[0]["high"] == 29.0 and np.isnan(targets.air_limit(hourly)[0]["n_independent"])
    with pytest.raises(FieldkitError, match="no station"):
        targets.air_limit(pd.DataFrame({"station_id": ["a"], "tmax_c": [np.nan]}))


def test_basking_air_by_hand():
    row = targets.basking_air(window())[0]
    assert (row["low"], row["high"], row["low_error"], row["high_error"], row["n_independent"]) == (15, 31, 0.5, 0.7, 6)
    assert (row["zone"], row["period"], row["basis"]) == ("basking site", "day", "field")
    half = targets.basking_air(window(lower_limit="not reached"))[0]
    assert np.isnan(half["low"]) and np.isnan(half["low_error"]) and half["high"] == 31
    assert targets.basking_air(window(lower_limit="no hump", upper_limit="no hump")) == []


def test_preferred_by_hand():
    draws = np.array([[29.0, 33.0], [31.0, 37.0]])
    rows = targets.preferred(SimpleNamespace(low_c=30.0, high_c=34.0, draws=draws, n_readings=40, n_animals=4))
    by_zone = {r["zone"]: r for r in rows}
    assert by_zone["basking site"]["low"] == 34.0 and np.isnan(by_zone["basking site"]["high"])
    assert by_zone["retreat"]["high"] == by_zone["cool end"]["high"] == 30.0
    # Deviations ±1 and ±2 over n - 1 = 1: √2 and 2√2, times √(4/3).
    assert by_zone["basking site"]["low_error"] == pytest.approx(2 * np.sqrt(2) * np.sqrt(4 / 3))
    assert by_zone["cool end"]["high_error"] == pytest.approx(np.sqrt(2) * np.sqrt(4 / 3))
    assert {r["period"] for r in rows} == {"day"} and {r["n_independent"] for r in rows} == {4}


def choices(values, *, month=6, used=1, column="surface_c", animals=1):
    times = pd.to_datetime([f"2025-{month:02d}-{1 + i % 28:02d} 12:00" for i in range(len(values))], utc=True)
    return pd.DataFrame(
        {"time": times, "used": used, column: values, "animal_id": [f"a{i % animals}" for i in range(len(values))]}
    )


def test_taken_by_hand():
    table = pd.concat([choices(np.arange(11.0)), choices([500.0] * 5, used=0), choices([1.0] * 9, month=7)])
    (row,) = targets.taken(table[table["time"].dt.month == 6], "surface_c")
    # 0 to 10 in steps of 1: the tenth and the ninetieth percent are 1 and 9.
    assert (row["low"], row["high"], row["zone"], row["period"], row["month"]) == (1.0, 9.0, "basking site", "day", 0)
    assert np.isnan(row["low_error"])
    monthly = targets.taken(table, "surface_c", by_month=True, quantiles=(0.2, 0.5))
    # July has nine places, one too few.
    assert [(r["month"], r["low"], r["high"]) for r in monthly] == [(6, 2.0, 5.0)]
    with pytest.raises(FieldkitError, match="Only 9 places"):
        targets.taken(table[table["time"].dt.month == 7], "surface_c")
    known = targets.taken(choices(np.arange(40.0), animals=8), "surface_c")[0]
    assert known["n_independent"] == 8 and 0 < known["low_error"] < 10
    with pytest.raises(FieldkitError, match="no column"):
        targets.taken(table, "uv_index")


def test_limits_by_hand():
    hot, cool = choices([20.0, 61.0]), choices([20.0, 45.0])
    assert [(r["high"], r["contact_min"]) for r in targets.limits(hot)[:2]] == [(48.0, 10.0), (43.0, 480.0)]
    first = targets.limits(cool)[0]
    assert (first["high"], first["basis"], first["kind"], first["contact_min"]) == (45.0, "field", Kind.LIMIT, 10.0)
    # A hotter place that nobody took sets nothing.
    assert targets.limits(pd.concat([cool, choices([99.0], used=0)]))[0]["high"] == 45.0
    uv = next(r for r in targets.limits(cool) if r["target"] == "uv_index")
    assert (uv["high"], uv["basis"], uv["kind"]) == (8.0, "standard", Kind.LIMIT)
    few, many = (cool.iloc[[0] * n].assign(uv_index=np.linspace(0, 4, n)) for n in (9, 21))
    read = [next(r for r in targets.limits(t) if r["target"] == "uv_index") for t in (few, many)]
    # Of 21 even readings from 0 to 4 the 95th percent is the twentieth: 3.8.
    assert [r["high"] for r in read] == [8.0, pytest.approx(3.8)] and read[1]["basis"] == "field"
    strong = many.assign(uv_index=9.0)
    assert [r["high"] for r in targets.limits(strong) if r["target"] == "uv_index"] == [8.0]
    sun = targets.limits(cool, pd.Series(np.arange(1001.0), name="pyranometer"))[-1]
    assert (sun["target"], sun["high"], sun["kind"]) == ("irradiance_w_m2", 999.0, Kind.LIMIT)


def in_sun(kinds):
    """One set a day for each list of irradiances, under 800 W/m² of level sun."""
    rows = [
        {"set_id": f"s{i}", "time": pd.Timestamp(f"2025-06-{i + 1:02d} 12:00", tz="UTC"), "irradiance_w_m2": v}
        for i, values in enumerate(kinds)
        for v in values
    ]
    table = pd.DataFrame(rows)
    return table, pd.Series(800.0, index=pd.DatetimeIndex(sorted(table["time"].unique())), name="sun")


def test_exposure_and_sun_levels_by_hand():
    table, level = in_sun([(600, 599, 201, 200)] * 10)
    rows = targets.exposure(table, level)
    # Full sun from 600, full shade to 200: one, two and one of four in every set, so no spread.
    assert [r["target"] for r in rows] == ["full_sun_share", "part_shade_share", "full_shade_share"]
    assert [(r["low"], r["high"], r["low_error"]) for r in rows] == [(0.25, 0.25, 0), (0.5, 0.5, 0), (0.25, 0.25, 0)]
    assert targets.sun_levels(table, level) == (600.0, 200.0)
    # All sun or none, five sets each: mean 1/2, s.d. √(10 · 0.25/9), over √10; t of 9 degrees 2.262 (printed tables).
    table, level = in_sun([(700,), (100,)] * 5)
    row = targets.exposure(table, level)[0]
    error = np.sqrt(2.5 / 9 / 10)
    assert row["low_error"] == pytest.approx(error) and row["n_independent"] == 10
    assert (row["low"], row["high"]) == pytest.approx((0.5 - 2.262 * error, 0.5 + 2.262 * error), abs=1e-3)
    with pytest.raises(FieldkitError, match="Only 9 choice sets"):
        targets.exposure(table[table["set_id"] != "s0"], level)
    with pytest.raises(FieldkitError, match="Only 0 choice sets"):
        targets.exposure(table, level / 4)
    assert place_rows.FEWEST_PLACES == 10


def test_photoperiod_by_hand():
    site = SimpleNamespace(latitude_deg=0.0, longitude_deg=0.0, elevation_m=0.0, timezone="UTC")
    rows = targets.photoperiod(site, year=2025, tolerance_h=2.0)
    # At the equator some 12 h 7 min all year (upper limb and refraction): ±2 h.
    assert [r["month"] for r in rows] == list(range(1, 13))
    assert all(r["high"] - r["low"] == pytest.approx(4.0) and abs(r["low"] - 10.1) < 0.05 for r in rows)


def test_warming_by_hand():
    index = pd.date_range("2025-06-01", periods=12 * 24, freq="h", tz="UTC")
    rise = np.where(index.day == 12, 4.0, 2.0)
    # The one jump of the morning is at 8 h; a larger one in the afternoon does not count.
    air = pd.Series(10.0 + np.where(index.hour >= 8, rise, 0.0) + np.where(index.hour >= 15, 20.0, 0.0), index=index)
    row = targets.warming(air.rename("logger"))[0]
    # Eleven mornings of 2 and one of 4 °C/h: 95 % lies 0.45 of the way from the eleventh to the twelfth.
    assert row["high"] == pytest.approx(2.9) and (row["target"], row["period"]) == ("warming_rate_c_per_h", "day")
    assert row["n_independent"] == 12 and 0 < row["high_error"] < 2
    assert targets.warming(air[air.index.day <= 10].rename("logger"))[0]["n_independent"] == 10
    with pytest.raises(FieldkitError, match="Only 9 mornings"):
        targets.warming(air[air.index.day <= 9].rename("logger"))


def test_contact_limits_by_hand():
    # ISO 13732-1 as printed in Czech Government Regulation 361/2007: 1 min, 10 min, 8 h and longer.
    printed = {"metal": (51, 48, 43), "slate": (56, 48, 43), "plastic": (60, 48, 43), "cork bark": (60, 48, 43)}
    for substrate, limits in printed.items():
        assert tuple(targets.contact_limit_c(t, substrate) for t in (1, 10, 480)) == limits
    assert all(set(limits) == {1.0, 10.0, 480.0} for limits in targets.CONTACT_LIMITS_C.values())
    # Between two times the longer one's limit; beyond eight hours that of eight hours; unknown stuff is metal.
    assert [targets.contact_limit_c(t) for t in (0.5, 1.01, 10.01, 5000)] == [56, 48, 43, 43]
    assert targets.contact_limit_c(1, None) == 51
    with pytest.raises(FieldkitError, match="above 0"):
        targets.contact_limit_c(0)


def test_uv_exposure_is_what_was_printed():
    # Averages and highest readings by group, as a page that quotes Ferguson et al. (2010) prints them.
    printed = {
        "shade or dusk": (0, 0.7, 0.6, 1.4),
        "occasional sun": (0.7, 1.0, 1.1, 3.0),
        "open or partial sun": (1.0, 2.6, 2.9, 7.4),
        "midday sun": (2.6, 3.5, 4.5, 9.5),
    }
    assert {n: (*g["average"], *g["highest"]) for n, g in targets.UV_EXPOSURE.items()} == printed
    # None lies above the limit that holds for all.
    assert [targets.uv_exposure(n)[1]["high"] for n in printed] == [1.4, 3.0, 7.4, 8.0]
    assert [targets.uv_exposure(n)[0]["low"] for n in printed] == [0.6, 1.1, 2.9, 4.5]


def test_standard_limits_fill_only_what_is_missing_or_lax():
    def added(*rows):
        table = targets.make(pd.DataFrame([targets.target_row(**r) for r in rows]), species="x").table
        return [(r["target"], r["high"], r["zone"]) for r in targets.standard_rows(table, retreat=True)]

    any_ = {"target": "shade_air_c", "low": 1.0}
    both = [("surface_c", 48.0, "whole"), ("surface_c", 43.0, "whole"), ("surface_c", 43.0, "retreat")]
    assert added(any_) == [*both, ("uv_index", 8.0, "whole")]
    lax = {"target": "surface_c", "high": 50.0, "kind": "limit"}
    assert added(lax) == [*both, ("uv_index", 8.0, "whole")]
    strict = {"target": "surface_c", "high": 43.0, "kind": "limit"}
    assert added(strict) == [both[2], ("uv_index", 8.0, "whole")]
    assert added(strict | {"month": 7}) == added(strict | {"period": "day"}) == added(strict | {"kind": "caution"})
    assert len(added(strict | {"month": 7})) == 4
    # A mean of eight hours does not stand for one of ten minutes.
    assert ("surface_c", 48.0, "whole") in added(strict | {"contact_min": 480.0})
    assert added({"target": "uv_index", "high": 3.0, "kind": "limit"}) == both


def test_means_over_contact_times_by_hand():
    def rows(values, minutes, day=True):
        moment = np.arange(len(values)) * 60 * minutes
        return pd.DataFrame({"moment": moment, "value": values, "date": moment // 86400, "day": day})

    hours = rows([20.0] * 4 + [50.0] * 8, 60)
    # Windows of eight hourly values: four of 20 and four of 50 are 35; then 38.75, ... and eight of 50 are 50.
    assert contact.contact_means(hours, 480.0, "basking site")["value"].tolist() == pytest.approx(
        [35.0, 38.75, 42.5, 46.25, 50.0]
    )
    for short in (10.0, np.nan):
        assert contact.contact_means(hours, short, "basking site") is hours
    rare = rows([46.0, 44.0, 30.0, 50.0], 360, day=[True, False, False, True])
    assert contact.contact_means(rare, 480.0, "retreat").equals(rare)
    # By day 48 in the mean, by night 37: the lower is what it is all the time.
    assert contact.contact_means(rare, 480.0, "basking site")["value"].tolist() == [37.0]
    assert not len(contact.contact_means(rare[rare["day"]], 480.0, "basking site"))


def test_readings_by_day_and_by_night_by_hand():
    values = np.array([1.0, 2.0, 3.0, 10.0])
    found = contact.by_part(values, values > 2.5, pd.DataFrame({"day": [True, True, True, False]}))
    assert (found["n_readings"], found["n_outside"]) == (4, 2)
    assert (found["day_n"], found["day_outside"], found["day_middle"]) == (3, 1, 2.0)
    assert (found["night_n"], found["night_outside"], found["night_middle"]) == (1, 1, 10.0)
    assert (found["day_low"], found["day_high"]) == pytest.approx((1.1, 2.9))
    assert np.isnan(contact.by_part(values, values > 9, pd.DataFrame({"day": [True] * 4}))["night_low"])


@pytest.mark.parametrize("status", list(Status))
@pytest.mark.parametrize("evidence", list(Evidence))
@pytest.mark.parametrize("reading", [21.0, np.nan])
def test_what_is_unknown_is_never_met(status, evidence, reading):
    kept = settled(status, evidence, reading)
    known = np.isfinite(reading) and evidence in (Evidence.MEASURED, Evidence.COMPUTED)
    assert known or kept != Status.MET
    if np.isfinite(reading):
        assert kept == (Status.UNKNOWN if status == Status.MET and not known else status)
    else:
        assert kept == (status if status in (Status.UNKNOWN, Status.NOT_MEASURED) else Status.NOT_MEASURED)


def audited(by_how_much, *, status="missed", where="W1", error=1.0, day_error=0.0, exceeded=False):
    number = len(by_how_much)
    table = pd.DataFrame({"target": "shade_air_c", "zone": "whole", "month": range(1, number + 1), "period": "day"})
    table = table.assign(low=np.nan, high=20.0, kind="aim", status=status, by_how_much=by_how_much, where=where)
    return SimpleNamespace(table=table.assign(error=error, day_error=day_error, limit_exceeded=exceeded))


def test_compare_by_hand():
    # The same logger with an error of 1 °C: 0.3 · √2 = 0.424, and 1.96 times that is 0.832.
    change = compare(audited([5.0, 1.0, 2.0, 2.0, np.nan]), audited([1.0, 5.0, 2.82, 1.16, 1.0]))
    assert change.table["verdict"].tolist() == ["better", "worse", "no change shown", "better", "cannot compare"]
    assert change.table["change"].tolist()[:4] == pytest.approx([-4.0, 4.0, 0.82, -0.84])
    assert change.table["error"].iloc[0] == pytest.approx(0.3 * np.sqrt(2))
    # Another logger: √2, and 1.96 times that is 2.77.
    other = compare(audited([5.0, 5.0]), audited([2.3, 2.2], where="C1"))
    assert other.table["verdict"].tolist() == ["no change shown", "better"]
    # Days scatter too: √(3² + 4²) = 5 alone.
    days = compare(audited([20.0, 20.0], error=0.0, day_error=3.0), audited([10.3, 10.1], error=0.0, day_error=4.0))
    assert days.table["error"].tolist() == [5.0, 5.0]
    assert days.table["verdict"].tolist() == ["no change shown", "better"]
    kept = compare(audited([-5.0], status="met"), audited([-1.0], status="met"))
    assert kept.table["verdict"].tolist() == ["still met"]


def test_compare_counts_by_hand():
    before = audited([5.0, 5.0, -1.0], status=["missed", "limit exceeded", "met"], exceeded=[False, True, False])
    after = audited([-1.0, -1.0, 5.0], status=["met", "met", "missed"])
    words = compare(before, after).sentence
    assert "2 missed targets are met now, 1 that were met are missed." in words
    assert "Upper limits exceeded: 1 before, 0 now." in words
    with pytest.raises(FieldkitError, match="different targets"):
        compare(before, audited([1.0]))


def test_a_lax_row_is_overruled_by_hand():
    columns = ["target", "zone", "high", "kind", "status", "point", "limit_exceeded"]
    table = pd.DataFrame(
        [
            ("surface_c", "whole", 48.0, "limit", "limit exceeded", "B1", True),
            ("surface_c", "whole", 60.0, "limit", "met", "B1", False),
            ("surface_c", "basking site", 60.0, "aim", "met", "B1", False),
            ("surface_c", "basking site", 40.0, "aim", "met", "B1", False),
            ("surface_c", "cool end", 60.0, "aim", "met", "C1", False),
            ("operative_c", "basking site", 60.0, "aim", "met", "B1", False),
        ],
        columns=columns,
    )
    judge._overrule(table)
    assert table["status"].tolist() == ["limit exceeded", "limit exceeded", "missed", "met", "met", "met"]


def one_fix(quantity, direction, **more):
    base = fixes._empty() | {"quantity": quantity, "direction": direction, "zone": "basking site", "period": "day"}
    base |= {"months": (0,), "place": "B1", "lamp": "spot", "weight": 10.0, "change": f"{quantity} {direction}"}
    return base | {"reason": "why", "rows": (1,)} | more


def test_fixes_that_pull_both_ways_are_reconciled_by_hand():
    less = one_fix("surface_c", -1, urgent=True, weight=100.0, rows=(0,))
    table, per_row = fixes._reconciled([one_fix("irradiance_w_m2", 1), less], 2)
    assert table["direction"].tolist() == [-1, 0] and table["action"].tolist()[1] == "wait"
    assert table["weight"].tolist() == [100.0, 10.0] and per_row[0] == less["change"]
    # Another lamp at another place, another season, or the night: nothing waits.
    for apart in (
        {"lamp": "tube", "place": "C1", "zone": "cool end"},
        {"months": (1,), "period": "day"},
        {"period": "night"},
    ):
        other = one_fix("surface_c", -1, weight=100.0, rows=(0,), months=(7,))
        table, _ = fixes._reconciled([one_fix("irradiance_w_m2", 1, **({"months": (7,)} | apart)), other], 2)
        assert sorted(table["direction"]) == [-1, 1]
    # UV and warmth of two lamps are two things; one lamp is not brought nearer for the one while the other is too much.
    for lamp, expected in (("tube", [-1, 1]), ("basking", [-1, 0])):
        both = [one_fix("uv_index", 1, lamp=lamp), one_fix("surface_c", -1, lamp="basking", rows=(0,))]
        assert sorted(fixes._reconciled(both, 2)[0]["direction"]) == expected
    # Nothing is made warmer while the air is above its limit.
    air = one_fix("shade_air_c", -1, urgent=True, lamp="", zone="whole", rows=(0,))
    assert sorted(fixes._reconciled([one_fix("surface_c", 1, lamp="basking"), air], 2)[0]["direction"]) == [-1, 0]
    small = one_fix("surface_c", -1, weight=20.0, rows=(1,), change="a little less")
    table, per_row = fixes._reconciled([small, one_fix("surface_c", -1, urgent=True, weight=100.0, rows=(0,))], 2)
    assert len(table) == 1 and table["rows"].iloc[0] == (0, 1) and per_row[0] == per_row[1] != ""


def test_how_often_by_hand():
    few = {"by_how_much": [1.0], "n_readings": [4], "n_days": [1], "n_outside": [2], "day_n": [2], "day_outside": [2]}
    few |= {"night_n": [2], "night_outside": [0], "share_of_time": [0.5], "target": ["shade_air_c"], "side": ["high"]}
    words = fixes.how_often(pd.DataFrame(few))
    assert words == "outside at 2 of 2 readings by day and 0 of 2 readings by night"
    assert fixes.how_often(pd.DataFrame(few).assign(n_readings=24)) == "outside for 50 % of the time"
    assert fixes.how_often(pd.DataFrame(few).assign(n_readings=23)).startswith("outside at 2")
    offered = pd.DataFrame(few).assign(n_readings=200, target="uv_index", side="low")
    assert fixes.how_often(offered) == "outside for 50 % of the days"
