"""How often what-if is right about enclosures whose walls, vents and lamps are not what the model assumes.

Each invented enclosure has true values drawn from what is not known (`enclosure_model.UNKNOWN`), readings made with
them, and then a change made with them; the model knows only the description and the readings. Prints how often the
true change and the true value after it lie inside the 95 % limits, and the error of the middle. Says nothing about how
well the model's equations fit real enclosures: no measured one is published that describes itself well enough.

Run: python tests/studies/study_enclosure.py [number]
"""

import sys

import numpy as np
import pandas as pd

from fieldkit.captive import enclosure
from fieldkit.captive.enclosure import network as model
from fieldkit.captive.enclosure import points as at_points
from fieldkit.demo import enclosure as demo
from fieldkit.records.enclosure.reader import assemble

CHANGES = {
    "half the power": {"power_w": 0.5},
    "four times the vents": {"vent_area_m2": 4.0},
    "a room 5 °C cooler": {"room_temperature_c": -5.0},
    "the lamp 10 % higher": {"height_m": 1.1},
}


def one(seed):
    """Inside the limits or not, and how far off, for every change and point of one enclosure."""
    rng = np.random.default_rng(seed)
    record, _ = demo.random_enclosure(seed, faults=[], days=1, months=(7,))
    setup = enclosure.setup_of(record, month=7)
    true = model.draw(2, rng=rng)
    true["lamp"] = rng.standard_normal((2, 12))
    true = {name: values[1:] for name, values in true.items()}
    before = at_points.conditions(record, setup, true)
    roles = {role: name for name, (role, _) in at_points.QUANTITIES.items()}
    rows = []
    for info in record.logger_info.itertuples(index=False):
        if info.role in roles:
            p = list(record.points["point_id"]).index(info.point_id)
            value = before[roles[info.role]][0, p] + info.error * 0.6 * rng.standard_normal()
        else:
            value = setup.room_c + true["room_c"][0] if info.role == "room_air" else 25.0
        times = pd.date_range("2025-07-08 12:30", periods=6, freq="10min", tz=record.timezone)
        rows.append(pd.DataFrame({"time": times, "logger_id": info.logger_id, "value": value}))
    settled = assemble(
        record.settings,
        pd.concat(rows, ignore_index=True),
        lamp_readings=record.lamp_readings.rename(columns={"lamp_id": "lamp"}),
    )
    setup = enclosure.setup_of(settled, month=7)
    out = []
    for words, change in CHANGES.items():
        name, factor = next(iter(change.items()))
        if name in ("power_w", "height_m"):
            lamp = next(lamp for lamp in setup.lamps if lamp.id == "heat")
            value = {"heat": factor * (lamp.power_w if name == "power_w" else lamp.height_m)}
            if name == "height_m":
                value["heat"] = min(value["heat"], record.geometry.height_m - 0.01)
        elif name == "vent_area_m2":
            value = factor * record.geometry.vent_area_m2
        else:
            value = setup.room_c + factor
        found = enclosure.what_if(settled, **{name: value}, month=7, rng=seed)
        then = _true_setup(setup, name, value)
        # The room as it truly is: its logger read it, so its own error is all that is left.
        true_now = true | {"room_c": true["room_c"] * 0}
        after = at_points.conditions(settled, then, true_now)
        base = at_points.conditions(settled, setup, true_now)
        for row in found.table.itertuples(index=False):
            p = list(record.points["point_id"]).index(row.point_id)
            real = after[row.quantity][0, p] - base[row.quantity][0, p]
            inside = row.change_low - 1e-6 <= real <= row.change_high + 1e-6
            out.append((words, row.quantity, inside, row.change - real, real))
    return out


def _true_setup(setup, name, value):
    if name == "power_w":
        lamps = tuple(la.scaled(value["heat"] / la.power_w) if la.id == "heat" else la for la in setup.lamps)
        ratio = value["heat"] / next(la.power_w for la in setup.lamps if la.id == "heat")
        return setup.changed(lamps=lamps, power_ratio={"heat": ratio})
    if name == "height_m":
        lamps = tuple(la.moved(height_m=value["heat"]) if la.id == "heat" else la for la in setup.lamps)
        return setup.changed(lamps=lamps)
    if name == "vent_area_m2":
        return setup.changed(geometry=enclosure._changed_geometry(setup.geometry, value, None, None))
    return setup.changed(room_c=value)


def study(number):
    """Table of coverage by change and quantity."""
    rows = [row for seed in range(number) for row in one(seed)]
    table = pd.DataFrame(rows, columns=["change", "quantity", "inside", "miss", "real"])
    # Where nothing changes there is nothing to find out.
    table = table[table["real"].abs() > 0.05]
    grouped = table.groupby(["quantity", "change"], sort=False)
    return pd.DataFrame(
        {
            "points": grouped.size(),
            "inside_pct": 100 * grouped["inside"].mean(),
            "mean_change": grouped["real"].mean(),
            "rms_miss": grouped["miss"].agg(lambda m: float(np.sqrt((m**2).mean()))),
        }
    ).round(2)


if __name__ == "__main__":
    print(study(int(sys.argv[1]) if len(sys.argv) > 1 else 60).to_string())
