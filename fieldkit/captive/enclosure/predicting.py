"""What an enclosure does to the air, the surfaces and the animal in it, and what a change would do.

The thermal model is in `enclosure_model`; conditions at a point use the heat balance of the field (`physics.heat`).
"""

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from fieldkit.captive.enclosure import network as model
from fieldkit.captive.enclosure.placing import Placement, placement, switch_response
from fieldkit.captive.enclosure.points import QUANTITIES, conditions, substrate_of
from fieldkit.captive.enclosure.setup import at_hour, setup_of
from fieldkit.captive.enclosure.thermal_gradients import Gradients, gradients
from fieldkit.core import FieldkitError, Result, generator

__all__ = [
    "Gradients",
    "Placement",
    "Prediction",
    "WhatIf",
    "gradients",
    "placement",
    "predict",
    "setup_of",
    "switch_response",
    "what_if",
]

CAUTION = (
    "A model is no measurement: make the change in small steps, measure again, and watch the animal. Lamps burn and "
    "set fires, mains and water do not mix: guard and fix lamps, keep to the local rules for wiring."
)
ASSUMED = (
    "Air well mixed in each half; nothing casts shadows except where a point says shade; light thrown back by walls "
    "is not counted; the skin absorbs lamp light as it absorbs sunlight."
)


# --- the doors ------------------------------------------------------------------------------------------------------


def measured(record, *, hour=13.0, month=0):
    """What the loggers read within an hour of a clock time: median, readings and error by point and quantity.

    Returns
    -------
    DataFrame
        Indexed by ``point_id, quantity``: ``measured, error, readings``.
    """
    roles = {role: quantity for quantity, (role, _) in QUANTITIES.items()}
    read = at_hour(record.readings[record.readings["role"].isin(list(roles))], hour, month).dropna(subset=["value"])
    rows = {}
    for (role, point), part in read.groupby(["role", "point_id"], observed=True):
        error = part["error"].median()
        rows[(str(point), roles[str(role)])] = (part["value"].median(), error, len(part))
    index = pd.MultiIndex.from_tuples(list(rows), names=["point_id", "quantity"])
    return pd.DataFrame(list(rows.values()), index=index, columns=["measured", "error", "readings"])


def _draw(samples, rng):
    rng = generator(rng)
    unknown = model.draw(samples, rng=rng)
    unknown["lamp"] = rng.standard_normal((samples, 12))
    unknown["lamp"][0] = 0.0
    return unknown


# The model leaves this much of the shade air unexplained even when all its numbers are right: layers of warm air,
# draughts (common practice, no source).
UNEXPLAINED_C = 1.0


def _tune(record, found, read, rng):
    """Samples that agree with the shade air that was read; all of them when too few do."""
    count = len(found["shade_air_c"])
    weight = np.zeros(count)
    for point, name in read.index:
        if name == "shade_air_c":
            column = int(np.flatnonzero(record.points["point_id"] == point)[0])
            gap = found[name][:, column] - read.loc[(point, name), "measured"]
            error = np.hypot(UNEXPLAINED_C, np.nan_to_num(read.loc[(point, name), "error"]))
            weight -= 0.5 * (gap / error) ** 2
    chance = np.exp(weight - weight.max())
    chance /= chance.sum()
    agrees = weight.max() > -0.5 * 9 * max(1, sum(n == "shade_air_c" for _, n in read.index))
    if 1 / np.sum(chance**2) < 0.05 * count or not agrees:
        return np.arange(count), False
    return generator(rng).choice(count, size=count, p=chance), bool(np.any(weight))


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Prediction(Result):
    """Steady conditions of an enclosure at one clock time, by the thermal model, beside what was read.

    Attributes
    ----------
    table : DataFrame
        One row per point and quantity: ``zone, unit, predicted, error, low, high`` (95 %), ``measured, readings, gap``.
    """

    table: pd.DataFrame
    hour: float
    month: int
    room_c: float
    assumptions: tuple
    seed: int
    settings: dict = field(default_factory=dict)

    @property
    def sentence(self):
        air = self.table[self.table["quantity"] == "shade_air_c"]
        words = (
            f"At {int(self.hour):02d}:{round(self.hour % 1 * 60):02d}, in a room of {self.room_c:.1f} °C, shade air of "
            f"{air['predicted'].min():.1f} to {air['predicted'].max():.1f} °C is expected (give or take "
            f"{air['error'].max():.1f})"
        )
        known = self.table[self.table["gap"].notna()]
        if len(known):
            inside = known["measured"].between(known["low"], known["high"]).mean()
            words += f"; of {len(known)} things that were read, {100 * inside:.0f} % lie inside the 95 % limits"
        return f"{words}. {' '.join(self.assumptions)}"


def predict(record, *, hour=13.0, month=0, room_temperature_c=None, samples=200, rng=0, setup=None):
    """Conditions at every point of an enclosure, from its lamps, walls, vents and room.

    Parameters
    ----------
    record : EnclosureRecord
        From `fieldkit.read_enclosure`.
    hour : float
        Clock time (h); lamps burn by their clocks, and have burnt for hours.
    month : int
        Month of the readings to compare with and of the room's temperature; 0: all.
    room_temperature_c : float, optional
        In place of what the record says (°C).
    samples : int
        Draws of what is not known (`enclosure_model.UNKNOWN`).
    rng : int
        Seed.
    setup : Setup, optional
        From `setup_of`, when it is known already: fitting the beams takes a while.

    Returns
    -------
    Prediction
        Not tuned to the readings, so that the two can be compared.

    Raises
    ------
    FieldkitError
        When the record has no points, or the lamps make no sense.
    """
    if not len(record.points):
        raise FieldkitError("The enclosure has no measuring points: add [points.NAME] to enclosure.toml.")
    if setup is None:
        setup = setup_of(record, hour=hour, month=month, room_temperature_c=room_temperature_c)
    found = conditions(record, setup, _draw(samples, rng), hour=hour)
    read = measured(record, hour=hour, month=month)
    rows = []
    for name, (_, unit) in QUANTITIES.items():
        for p, point in enumerate(record.points.itertuples(index=False)):
            values = found[name][:, p]
            if not np.isfinite(values).all():
                continue
            low, high = np.quantile(values, [0.025, 0.975])
            seen = read.loc[(point.point_id, name)] if (point.point_id, name) in read.index else None
            rows.append(
                {
                    "point_id": point.point_id,
                    "zone": point.zone,
                    "quantity": name,
                    "unit": unit,
                    "predicted": values[0],
                    "error": values.std(),
                    "low": low,
                    "high": high,
                    "measured": np.nan if seen is None else seen["measured"],
                    "readings": 0 if seen is None else int(seen["readings"]),
                }
            )
    table = pd.DataFrame(rows)
    table["gap"] = table["measured"] - table["predicted"]
    return Prediction(
        table=table,
        hour=hour,
        month=month,
        room_c=setup.room_c,
        assumptions=(*setup.assumed, *_guessed(record), ASSUMED),
        seed=rng,
        settings={"samples": samples},
    )


def _guessed(record):
    unknown = [p.point_id for p in record.points.itertuples() if substrate_of(p.substrate)[1]]
    return (f"Taken as soil, because nothing is said of what lies there: {', '.join(unknown)}.",) if unknown else ()


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class WhatIf(Result):
    """What a change would do at every point.

    Attributes
    ----------
    table : DataFrame
        One row per point and quantity: ``zone, unit, now, now_from`` ("readings" or "model"), ``change,
        change_error, change_low, change_high, then, then_low, then_high`` (95 % limits; errors of readings that are
        not stated are left out).
    changes : dict
        What was changed.
    tuned : bool
        Whether readings of shade air narrowed what was not known.
    """

    table: pd.DataFrame
    changes: dict
    hour: float
    tuned: bool
    assumptions: tuple
    seed: int
    caution: str = CAUTION

    @property
    def sentence(self):
        done = "; ".join(f"{k.replace('_', ' ')}: {v}" for k, v in self.changes.items())
        parts = []
        for name, words in (("shade_air_c", "shade air"), ("surface_c", "surface"), ("operative_c", "operative")):
            rows = self.table[self.table["quantity"] == name]
            if len(rows):
                most = rows.loc[rows["change"].abs().idxmax()]
                parts.append(
                    f"{words} at {most['point_id']} {most['now']:.1f} → {most['then']:.1f} °C "
                    f"({most['then_low']:.1f} to {most['then_high']:.1f})"
                )
        return f"With {done or 'no change'}: {'; '.join(parts)}. {self.caution}"


def what_if(
    record,
    *,
    power_w=None,
    height_m=None,
    set_point_c=None,
    sensor_point=None,
    vent_area_m2=None,
    vent_height_m=None,
    top=None,
    room_temperature_c=None,
    month=0,
    to_month=None,
    hour=13.0,
    samples=200,
    rng=0,
):
    """What a change of lamps, vents, room or season would do at every point.

    Parameters
    ----------
    record : EnclosureRecord
        From `fieldkit.read_enclosure`.
    power_w, height_m, set_point_c : dict of str to float, optional
        New power (W, 0 takes it out), height (m) or thermostat set point (°C) of lamps, by id.
    sensor_point : dict of str to str, optional
        New point of the thermostat's sensor, by id of the lamp it switches.
    vent_area_m2, vent_height_m : float, optional
        New vents: open area (m²), height between low and high ones (m).
    top : {"glass", "wood", "plastic", "mesh"}, optional
        New lid.
    room_temperature_c : float, optional
        New air temperature of the room (°C).
    month, to_month : int, optional
        Month to begin from (0: all readings), and month to go to: the room as its own logger read it then.
    hour : float
        Clock time (h).
    samples, rng : int
        Draws of what is not known, and their seed.

    Returns
    -------
    WhatIf
        Readings, where there are any, plus the change by the model; the same draws before and after, so what is not
        known of the walls does not count twice.

    Raises
    ------
    FieldkitError
        When a lamp is not known, a number makes no sense, or the room of the other month is not known.
    """
    now = setup_of(record, hour=hour, month=month)
    names = [lamp.id for lamp in now.lamps]
    for given in (power_w, height_m, set_point_c, sensor_point):
        for name in given or {}:
            if name not in names:
                raise FieldkitError(f"There is no lamp '{name}': choose from {', '.join(names)}.")
    changes = {
        k: v
        for k, v in (
            ("power_w", power_w),
            ("height_m", height_m),
            ("set_point_c", set_point_c),
            ("sensor_point", sensor_point),
            ("vent_area_m2", vent_area_m2),
            ("vent_height_m", vent_height_m),
            ("top", top),
            ("room_temperature_c", room_temperature_c),
            ("to_month", to_month),
        )
        if v is not None
    }
    then = now
    if to_month is not None and room_temperature_c is None:
        other = at_hour(record.readings[record.readings["role"] == "room_air"], hour, to_month)
        if not len(other):
            raise FieldkitError(
                f"No logger with the role room_air has readings in month {to_month}: give room_temperature_c."
            )
        then = then.changed(room_c=float(other["value"].median()))
    if room_temperature_c is not None:
        then = then.changed(room_c=float(room_temperature_c))
    then = then.changed(
        lamps=_changed_lamps(now.lamps, power_w or {}, height_m or {}),
        geometry=_changed_geometry(now.geometry, vent_area_m2, vent_height_m, top),
        controls=_changed_controls(now.controls, set_point_c or {}, sensor_point or {}, record),
        power_ratio={lamp.id: power_w[lamp.id] / lamp.power_w for lamp in now.lamps if (power_w or {}).get(lamp.id)},
    )
    unknown = _draw(samples, rng)
    before, after = (conditions(record, s, unknown, hour=hour) for s in (now, then))
    read = measured(record, hour=hour, month=month)
    chosen, tuned = _tune(record, before, read, rng)
    rows = []
    for quantity, (_, unit) in QUANTITIES.items():
        for p, point in enumerate(record.points.itertuples(index=False)):
            one, two = before[quantity][chosen, p], after[quantity][chosen, p]
            if not (np.isfinite(one).all() and np.isfinite(two).all()):
                continue
            key = (point.point_id, quantity)
            seen = key in read.index
            error = np.nan_to_num(read.loc[key, "error"]) if seen else 0.0
            start = read.loc[key, "measured"] if seen else np.median(one)
            noise = generator(rng).standard_normal(samples)
            drawn = (noise - np.median(noise)) * error + start if seen else one
            change = two - one
            # Light scales: a reading of the lamp counts more than the beam that was fitted.
            if seen and quantity in ("irradiance_w_m2", "uv_index") and np.all(one > 0):
                change = drawn * (two / one - 1)
            low, high = np.quantile(change, [0.025, 0.975])
            then_low, then_high = np.quantile(drawn + change, [0.025, 0.975])
            rows.append(
                {
                    "point_id": point.point_id,
                    "zone": point.zone,
                    "quantity": quantity,
                    "unit": unit,
                    "now": start,
                    "now_from": "readings" if seen else "model",
                    "change": np.median(change),
                    "change_error": change.std(),
                    "change_low": low,
                    "change_high": high,
                    "then": np.median(drawn + change),
                    "then_low": then_low,
                    "then_high": then_high,
                }
            )
    notes = (*now.assumed, *_guessed(record), ASSUMED)
    if len(read) and not tuned and (read.index.get_level_values("quantity") == "shade_air_c").any():
        notes = (
            "The model cannot reproduce the shade air that was read, so take the size of the changes with care.",
            *notes,
        )
    return WhatIf(table=pd.DataFrame(rows), changes=changes, hour=hour, tuned=tuned, assumptions=notes, seed=rng)


def _changed_lamps(lamps, power_w, height_m):
    out = []
    for lamp in lamps:
        power = power_w.get(lamp.id, lamp.power_w)
        if power < 0:
            raise FieldkitError(f"The power of lamp '{lamp.id}' cannot be {power} W.")
        if power == 0:
            continue
        if lamp.id in power_w:
            lamp = lamp.scaled(power / lamp.power_w)
        if lamp.id in height_m:
            if not height_m[lamp.id] > 0:
                raise FieldkitError(
                    f"Lamp '{lamp.id}' cannot hang at {height_m[lamp.id]} m: give metres from the floor."
                )
            lamp = lamp.moved(height_m=height_m[lamp.id])
        out.append(lamp)
    return tuple(out)


def _changed_controls(controls, set_point_c, sensor_point, record):
    for name in (*set_point_c, *sensor_point):
        if name not in controls:
            raise FieldkitError(f"Lamp '{name}' has no thermostat: state controlled_by and set_point_c for it first.")
    for point in sensor_point.values():
        if point not in set(record.points["point_id"]):
            raise FieldkitError(f"There is no point '{point}': choose from {', '.join(record.points['point_id'])}.")
    return {
        name: (logger, float(set_point_c.get(name, value)), sensor_point.get(name, point))
        for name, (logger, value, point) in controls.items()
    }


def _changed_geometry(geometry, vent_area_m2, vent_height_m, top):
    given = {}
    if vent_area_m2 is not None:
        if vent_area_m2 < 0:
            raise FieldkitError(f"vent_area_m2 is {vent_area_m2}: it cannot be below 0.")
        given["vent_area_m2"] = float(vent_area_m2)
    if vent_height_m is not None:
        if not 0 <= vent_height_m <= geometry.height_m:
            raise FieldkitError(
                f"vent_height_m is {vent_height_m}: vents lie between 0 and {geometry.height_m} m apart."
            )
        given["vent_height_m"] = float(vent_height_m)
    if top is not None:
        if top not in model.MATERIALS:
            raise FieldkitError(f"A lid is one of {', '.join(model.MATERIALS)}, not {top!r}.")
        given["top"] = top
    return replace(geometry, **given)
