"""Where probes and thermostat sensors sit, whether lamps warm them, and where they belong."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.captive.enclosure import network as model
from fieldkit.captive.enclosure.setup import setup_of
from fieldkit.core import Result

# Light on a probe that warms it by about a degree: a 5 mm grey bead in still air, from `physics.heat`.
NOTABLE_W_M2 = 25.0
# A probe follows a lamp within minutes, the air of an enclosure in an hour or so.
WINDOW_MIN = 30.0
# A jump beyond the coolest air that asks for a reason. Air near a lamp warms faster than elsewhere: a jump without
# known light must pass so much, and so much for each degree between the halves by the thermal model. Set on 40 random
# enclosures.
PROBE_JUMP_C, AIR_JUMP_C, AIR_LEAD = 1.0, 1.5, 1.5
# Fewer switchings than this prove nothing.
FEWEST = 4
_AIR_SENSORS = ("shade_air", "thermostat", "room_air")


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Placement(Result):
    """What is known of the place of each logger, and advice.

    Attributes
    ----------
    table : DataFrame
        One row per logger of air, thermostat and exposed probe: ``role, point_id, zone, beam_w_m2`` (light on it
        according to the lamps), ``jump_c, jump_error_c`` (how far it jumps when a lamp is switched, beyond the air),
        ``switchings, verdict`` ("in the beam", "looks shaded", "cannot tell"), ``advice``.
    advice : tuple of str
        Sentences, the most important first.
    """

    table: pd.DataFrame
    advice: tuple

    @property
    def sentence(self):
        bad = self.table[self.table["verdict"] == "in the beam"]
        if len(bad):
            words = f"{len(bad)} of {len(self.table)} air sensors lie in a lamp's light: {', '.join(bad.index)}."
        else:
            words = f"None of {len(self.table)} air sensors was found in a lamp's light."
        unsure = int((self.table["verdict"] == "cannot tell").sum())
        if unsure:
            words += f" Of {unsure} this cannot be told."
        return f"{words} {' '.join(self.advice)}".strip()


def switch_response(record, logger_id, *, window_min=WINDOW_MIN):
    """How far a sensor jumps when lamps are switched, beyond what the air does.

    Air takes time to warm; a sensor in the light does not wait for it. The reference is the shade air logger that jumps
    least, so a reference in the light itself makes the test blind, never wrong.

    Parameters
    ----------
    record : EnclosureRecord
        With readings every half hour or more often.
    logger_id : str
        The sensor.
    window_min : float
        Minutes after a switching.

    Returns
    -------
    dict
        ``jump_c`` (mean, positive towards warmer when a lamp goes on), ``jump_error_c`` (standard error),
        ``switchings``. NaN when there are too few, or no other logger of shade air to compare with.

    Examples
    --------
    >>> import fieldkit
    >>> enclosure = fieldkit.demo_enclosure()
    >>> switch_response(enclosure, "control")["jump_c"] > 3
    True
    """
    others = record.logger_info.loc[
        (record.logger_info["role"] == "shade_air") & (record.logger_info["logger_id"] != logger_id), "logger_id"
    ]
    best = {"jump_c": np.nan, "jump_error_c": np.nan, "switchings": 0}
    for lamp in record.lamps.itertuples(index=False):
        if lamp.kind == "heat mat" or not isinstance(lamp.on, str):
            continue
        own = _jumps(record, logger_id, lamp, window_min)
        references = [j for j in (_jumps(record, name, lamp, window_min) for name in others) if len(j) >= FEWEST]
        air = min(references, key=lambda j: abs(j.mean()), default=None)
        difference = pd.Series(dtype=float) if air is None else (own - air).dropna()
        if len(difference) < FEWEST:
            continue
        found = {
            "jump_c": difference.mean(),
            "jump_error_c": difference.std(ddof=1) / np.sqrt(len(difference)),
            "switchings": len(difference),
        }
        if np.isnan(best["jump_c"]) or abs(found["jump_c"]) > abs(best["jump_c"]):
            best = found
    return best


def _jumps(record, logger_id, lamp, window_min):
    """Signed jump at each switching of one lamp, indexed by its moment."""
    part = record.readings[record.readings["logger_id"] == logger_id].dropna(subset=["value"])
    if len(part) < 2:
        return pd.Series(dtype=float)
    series = pd.Series(part["value"].to_numpy(), index=pd.DatetimeIndex(part["time"])).sort_index()
    window, found = pd.Timedelta(minutes=window_min), {}
    days = series.index.normalize().unique()
    times = series.index
    for clock, sign in ((lamp.on, 1.0), (lamp.off, -1.0)):
        hour, minute = (int(v) for v in clock.split(":")[:2])
        for day in days:
            moment = day + pd.Timedelta(hours=hour, minutes=minute)
            # A reading at the very moment may be from before or after the switch: it is left out.
            first, last = times.searchsorted([moment - window, moment])
            start, end = times.searchsorted([moment, moment + window], side="right")
            if last > first and end > start:
                found[moment] = sign * (series.iloc[end - 1] - series.iloc[last - 1])
    return pd.Series(found, dtype=float)


def placement(record):
    """Where each sensor sits and where it should.

    Parameters
    ----------
    record : EnclosureRecord
        From `fieldkit.read_enclosure`.

    Returns
    -------
    Placement
        The lamps say where light falls; the readings say whether the sensor jumps with the lamp. Readings count more.

    Examples
    --------
    >>> import fieldkit
    >>> found = placement(fieldkit.demo_enclosure())
    >>> found.table.loc["control", "verdict"]
    'in the beam'
    """
    points = record.points.set_index("point_id")
    setup = setup_of(record)
    lamps, halves = setup.lamps, _halves(setup)
    shine = pd.Series(
        sum((lamp.irradiance_at(points, facing="lamp") for lamp in lamps), np.zeros(len(points))), index=points.index
    )
    shine[points["shade"].map(lambda s: s is True)] = 0.0
    rows = {}
    for info in record.logger_info.itertuples(index=False):
        if info.role not in (*_AIR_SENSORS, "exposed_probe"):
            continue
        beam = shine[info.point_id] if info.point_id in shine.index else 0.0
        jump = switch_response(record, info.logger_id)
        rows[info.logger_id] = {
            "role": info.role,
            "point_id": info.point_id,
            "zone": info.zone,
            "beam_w_m2": beam,
            **jump,
            "verdict": _verdict(beam, jump, AIR_JUMP_C + AIR_LEAD * _lead(info.point_id, points, setup, halves)),
        }
    table = pd.DataFrame.from_dict(rows, orient="index").rename_axis("logger_id")
    if not len(table):
        columns = ["role", "point_id", "zone", "beam_w_m2", "jump_c", "jump_error_c", "switchings", "verdict"]
        table = pd.DataFrame(columns=columns)
    table["advice"] = [_advise(row, points, shine) for _, row in table.iterrows()]
    return Placement(table=table, advice=_sentences(table, record, points, shine))


def _halves(setup):
    """Shade air of the left and right half (°C) with every lamp on, by the thermal model."""
    one = model.draw(1, rng=0)
    loads = model.lamp_loads(setup, one)
    load = sum(loads.values(), np.zeros((1, len(model.NODES))))
    return model.steady(model.Network(setup.geometry, one), load, setup.room_c)[0, :2]


def _lead(point_id, points, setup, halves):
    """By how much the air of a point's half is warmer than that of the other (°C): it also warms faster."""
    if point_id not in points.index:
        return 0.0
    side = int(points.loc[point_id, "x_m"] > setup.geometry.length_m / 2)
    return max(float(halves[side] - halves[1 - side]), 0.0)


def _verdict(beam, jump, air_jump):
    size, error = jump["jump_c"], jump["jump_error_c"]
    if np.isfinite(size):
        sure = size > 3 * error
        if sure and (size > air_jump or (size > PROBE_JUMP_C and beam > NOTABLE_W_M2)):
            return "in the beam"
        return "looks shaded" if size + 2 * error < PROBE_JUMP_C else "cannot tell"
    return "in the beam" if beam > NOTABLE_W_M2 else "cannot tell"


def _dark_point(zone, points, shine):
    """The darkest point of a zone, if it is dark enough for a thermometer of air."""
    here = shine[points["zone"] == zone]
    return here.idxmin() if len(here) and here.min() <= NOTABLE_W_M2 else None


def _advise(row, points, shine):
    if row["verdict"] != "in the beam":
        return (
            "" if row["verdict"] == "looks shaded" else "Cover it from lamp and hot surface and compare its readings."
        )
    jump = f"it jumps by {row['jump_c']:.1f} °C when the lamp is switched" if np.isfinite(row["jump_c"]) else ""
    light = f"{row['beam_w_m2']:.0f} W/m² fall on it" if row["beam_w_m2"] > NOTABLE_W_M2 else ""
    why = " and ".join(w for w in (jump, light) if w)
    better = _dark_point(row["zone"], points, shine)
    where = (
        f"to {better}, in the shade of the same zone"
        if better and better != row["point_id"]
        else ("behind a shade: open to the air, out of sight of lamp and hot surface")
    )
    if row["role"] == "exposed_probe":
        return f"It reads its own temperature ({why}): do not use it for air."
    if row["role"] == "thermostat":
        return (
            f"Move it {where}: {why}, so the thermostat regulates the warmth of its own sensor and not that of the "
            "enclosure. Set it anew afterwards, in small steps."
        )
    return f"Move it {where}: {why}, so what it reads is not the air."


def _sentences(table, record, points, shine):
    out = []
    order = {"thermostat": 0, "shade_air": 1}
    for name, row in table.sort_values("role", key=lambda r: r.map(order).fillna(2), kind="stable").iterrows():
        if row["verdict"] == "in the beam" and row["role"] in order:
            out.append(f"{name}: {row['advice']}")
    roles = record.logger_info.groupby("zone")["role"].agg(set).to_dict()
    for zone in dict.fromkeys(points["zone"]):
        if "shade_air" not in roles.get(zone, set()) and zone != "basking site":
            spot = _dark_point(zone, points, shine)
            place = f"at {spot}" if spot else "behind a small shade"
            out.append(
                f"No logger reads the shade air of the {zone}: put one {place}, open to the air, out of the light."
            )
    if "basking site" in set(points["zone"]) and "surface" not in roles.get("basking site", set()):
        spot = shine[points["zone"] == "basking site"].idxmax()
        out.append(
            f"No logger reads the surface of the basking site: fix a probe on it at {spot}, or point an infrared "
            "thermometer at the brightest spot; that is what can burn the animal."
        )
    return tuple(out)
