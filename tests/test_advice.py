"""Advice that cannot hurt: dangerous and contradictory set-ups, and pairs of advice that contradict each other."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import simulated_enclosures as simulated
from contradictions import against_season, pairs

import fieldkit
from fieldkit.captive import audit, targets

# Invented set-ups, each with what has to be said first and what must never be called met.
SETUPS = pd.read_csv(Path(__file__).parent / "published" / "dangerous_setups.csv", keep_default_na=False)


def build(told):
    """An enclosure and its targets from one row's set-up."""
    levels = {n: v for n, v in (simulated.PLAIN | (told.get("levels") or {})).items() if v is not None}
    loggers = {n: simulated.FULL[n] for n in levels}
    delays = {n: simulated.DELAY[n] for n in levels}
    for name, (role, point, night, day) in (told.get("loggers") or {}).items():
        loggers[name], levels[name], delays[name] = (role, point), (night, day), 0.7
    index = simulated.clock(told["days"])[:: told["every"]]
    truths = {n: simulated.course(index, night=a, day=b, hours=delays[n]) for n, (a, b) in levels.items()}
    points = simulated.settings({})["points"]
    for name, change in (told.get("points") or {}).items():
        points[name] = None if change is None else points[name] | change
    stated = simulated.settings(loggers)
    lamps = [stated["lamps"][0] | (told.get("lamp") or {})]
    lamps += [simulated.settings({})["lamps"][0] | {"on": None, "off": None} | more for more in told.get("lamps") or ()]
    record = simulated.make(
        loggers, truths, rng=3, kind="shared", points={k: v for k, v in points.items() if v is not None}, lamps=lamps
    )
    rows = []
    for row in told.get("targets") or ():
        rows += targets.uv_exposure(row["uv_exposure"]) if "uv_exposure" in row else [
            targets.target_row(**{"source": "made up"} | row)
        ]  # fmt: skip
    rows = rows or [targets.target_row("shade_air_c", low=5.0, high=60.0, source="made up, always met")]
    return record, targets.make(pd.DataFrame(rows), species=told.get("species", "ridge lizard"), invented=True)


def test_there_are_forty_set_ups_and_more():
    assert len(SETUPS) >= 40 and SETUPS["case"].is_unique


@pytest.mark.parametrize("row", SETUPS.to_dict("records"), ids=SETUPS["case"])
def test_what_is_dangerous_is_said_first_and_never_met(row):
    found = audit.audit(*build(json.loads(row["set_up"])))
    first = found.fixes.iloc[0] if len(found.fixes) else None
    if row["first_action"]:
        assert first["action"] == row["first_action"], found.fixes[["change", "weight"]].to_string()
    if row["first_quantity"]:
        assert first["quantity"] == row["first_quantity"]
    if row["urgent"]:
        assert bool(first["urgent"]) == (row["urgent"] == "yes")
    if row["urgent"] == "yes":
        # What is urgent stands at the head of the whole audit, gets no slow remedy, and ends the command with 3.
        assert found.sentence.startswith(first["change"]) and found.exit_status == 3
        assert first["action"] in ("switch off or bar the way", "guard", "fasten")
    if row["lamp"]:
        assert first["lamp"] == row["lamp"]
    if row["flag"]:
        assert found.flags.set_index("flag").loc[[row["flag"]], "found"].iloc[0] == row["found"]
    if row["never_met"]:
        mine = found.table if row["never_met"] == "*" else found.table[found.table["target"] == row["never_met"]]
        mine = mine[~(mine["contact_min"] > 10) | (row["never_met"] == "*")]
        assert len(mine) and "met" not in set(mine["status"])
    assert not pairs(found)


def test_watts_of_one_lamp_are_not_told_where_two_add_up():
    # By hand: 75 and 150 W over one place; the greater cut to 52 % (78 W) would leave 153 of 225 W, which is 68 %.
    one = {"days": 10, "every": 1, "levels": {"rock": [19, 58]}}
    second = {"id": "second", "kind": "heat", "power_w": 150, "on": "08:00", "off": "20:00"}
    alone, both = (audit.audit(*build(one | {"lamps": more})).fixes.iloc[0]["change"] for more in ([], [second]))
    assert " W of the same make" in alone and " W of the same make" not in both
    assert "basking" in both and "second" in both


def test_discharge_lamps_and_tubes_are_not_dimmed():
    for kind, dimmed in (("heat", True), ("heat and uv", False), ("uv", False), ("visible", False)):
        record, wanted = build({"days": 10, "every": 1, "levels": {"rock": [19, 56]}, "lamp": {"kind": kind}})
        first = audit.audit(record, wanted).fixes.iloc[0]
        assert first["lamp"] == "basking" and ("dim it" in first["change"]) == dimmed


def test_metres_and_watts_where_the_beam_is_known():
    # A beam of 60 W/sr straight down on B1: the surface has to come below 48 °C in air of some 24.5 °C.
    from dataclasses import replace

    record, wanted = build({"days": 10, "every": 1, "levels": {"rock": [19, 52]}, "lamp": {"height_m": 0.30}})
    held = pd.DataFrame({"distance_m": [0.2, 0.3, 0.4, 0.5, 0.3, 0.3], "angle_deg": [0, 0, 0, 0, 15, 30]})
    read = 60 / held["distance_m"] ** 2 * np.cos(np.radians(held["angle_deg"])) ** 5
    known = replace(record, lamp_readings=held.assign(lamp_id="basking", irradiance_w_m2=read, uv_index=np.nan))
    first = audit.audit(known, wanted).fixes.iloc[0]
    assert first["from_m"] == pytest.approx(0.25) and 0.25 < first["to_m"] < 0.55
    # By hand: the rise over the air falls with the square of the distance.
    air = 24.5
    rise = (first["surface_c"] - air) / (first["share"] and (first["by"] + 43 - air))
    assert rise == pytest.approx((first["from_m"] / first["to_m"]) ** 2, rel=0.15)
    assert first["surface_low_c"] < first["surface_c"] < first["surface_high_c"] <= 48.0


def test_few_readings_are_counted_by_day_and_by_night():
    # Four readings a day: at 2, 8, 14 and 20 h; by day above the range, by night below.
    record, wanted = build(
        {
            "days": 6,
            "every": 36,
            "levels": {"air-w": [17, 31]},
            "targets": [{"target": "shade_air_c", "zone": "warm end", "low": 15, "high": 28}],
        }
    )
    row = audit.audit(record, wanted).table.iloc[0]
    assert row["n_readings"] == 24 and row["day_n"] + row["night_n"] == 24
    assert row["night_outside"] == 0 and row["day_outside"] == row["n_outside"] > 0
    assert row["day_middle"] - row["night_middle"] > 8


@pytest.mark.slow
def test_no_advice_of_the_demo_contradicts_another_or_its_season():
    from fieldkit.field import basking, climate

    season = fieldkit.demo_season()
    wanted = targets.from_season(season)
    found = audit.audit(fieldkit.demo_enclosure(), wanted)
    assert not pairs(found)
    window = basking.of_season(season)
    assert not against_season(wanted.table, window, climate.air_bands(season.weather, stations=season.stations))


@pytest.mark.slow
def test_advice_on_random_enclosures_is_right_and_of_one_mind():
    # A small sample; the study of 400 stands in studies/README.md.
    import study_advice

    limits, advice = study_advice.run(6, days=2, seed=9)
    found = study_advice.rates(limits, advice)
    assert found["unknown called met"] == found["exceeded and called met"] == found["contradictions"] == 0
    assert found["not measured and called met"] == 0
    assert found["limits exceeded by more than 3 errors"] >= 3 and found["of these found"] >= 0.95
    assert found["limits not exceeded"] >= 8 and found["false alarms"] <= 0.05


def test_an_enclosure_without_lamps_is_not_called_safe():
    """Nobody stated a lamp, though the meters see one: nothing is known of its guard, and that is told."""
    from dataclasses import replace

    record, wanted = build({"days": 10, "every": 1})
    flags = audit.audit(replace(record, lamps=record.lamps.iloc[:0]), wanted).flags.set_index("flag")["found"]
    assert flags["no lamp or heater is stated"] == "yes"
    assert flags["lamp within reach and unguarded"] == flags["lamp not fixed"] == "not measured"


def test_a_limit_is_met_only_where_the_warm_hours_were_read():
    """Readings at midnight and in the morning say nothing of the afternoon, when a lamp has burned for hours."""
    from dataclasses import replace

    record, wanted = build({"days": 10, "every": 1})
    hour = record.readings["time"].dt.hour
    for hours, status in (((0, 1, 9), "cannot tell"), ((0, 9, 16), "met")):
        part = replace(record, readings=record.readings[hour.isin(hours)].reset_index(drop=True))
        table = audit.audit(part, wanted).table
        limit = table[(table["target"] == "surface_c") & ~(table["contact_min"] > 10) & (table["kind"] == "limit")]
        assert limit["status"].tolist() == [status]


def test_a_height_for_a_lamp_that_burns_for_hours_keeps_the_limit_for_hours():
    from contradictions import of_height

    from fieldkit.captive import lamps

    lamp = lamps.Lamp(id="heat", beam=lamps.Beam(intensity=60.0, near_m=0.05, half_angle_deg=25.0))
    limits = pd.DataFrame(targets.contact_rows())
    given = {"wanted_w_m2": (250, 450), "air_temperature_c": 27.0}
    assert not of_height(lamps.find_height(lamp, (0.2, 0.2, 0.1), **given), limits)
    # The finder finds: the limit for ten minutes is too high for a lamp that burns all day; thin air cools less.
    assert of_height(lamps.find_height(lamp, (0.2, 0.2, 0.1), surface_range_c=(None, 48.0), **given), limits)
    low, high = (lamps.find_height(lamp, (0.2, 0.2, 0.1), elevation_m=e, **given) for e in (0.0, 3000.0))
    assert high.nearest_m > low.nearest_m + 0.005
