"""Enclosures with known faults for the tests of the audit: simple truths, read with instruments that err.

The instruments' error is one calibration error for the whole log, or drawn anew with every reading, or an hour-long
drift, or a mixture; its standard deviation is what the logger states.
"""

import numpy as np
import pandas as pd

from fieldkit.captive import targets
from fieldkit.core import generator
from fieldkit.records.enclosure import reader as enclosure_folder

ERRORS = {"shade_air": 0.4, "surface": 1.0, "irradiance": 25.0, "uv_index": 0.3, "copper_model": 0.7}
CEILINGS = {"surface_c": 48.0, "shade_air_c": 32.0, "uv_index": 6.0, "irradiance_w_m2": 900.0}
ROLE_OF = {
    "surface_c": "surface",
    "shade_air_c": "shade_air",
    "uv_index": "uv_index",
    "irradiance_w_m2": "irradiance",
    "operative_c": "copper_model",
}
UNIT = {"shade_air": "degC", "surface": "degC", "irradiance": "W/m2", "uv_index": "", "copper_model": "degC"}


def settings(loggers, **changes):
    """Settings of a plain enclosure that has no fault of its own, with loggers (name: role, point)."""
    box = {
        **{"name": "simulated", "invented": True, "length_m": 1.2, "width_m": 0.6, "height_m": 0.6, "walls": "wood"},
        **{"vent_area_m2": 0.03, "room_temperature_c": {"day": 20.0, "night": 18.0}, "timezone": "Europe/Berlin"},
    }
    lamp = {
        **{"id": "basking", "kind": "heat", "power_w": 75, "x_m": 0.25, "y_m": 0.3, "height_m": 0.55},
        **{"on": "08:00", "off": "20:00", "guarded": True, "fixed": True, "distance_to_nearest_reach_m": 0.4},
    }
    where = {"y_m": 0.3, "z_m": 0.05}
    points = {
        "B1": where | {"x_m": 0.25, "zone": "basking site", "shade": False, "substrate": "rock"},
        "W1": where | {"x_m": 0.55, "zone": "warm end", "shade": True},
        "C1": where | {"x_m": 1.05, "zone": "cool end", "shade": True},
        "R1": where | {"x_m": 1.10, "zone": "retreat", "shade": True},
    }
    loggers = {
        name: {"point": point, "role": role, "unit": UNIT[role], "error": ERRORS[role]}
        for name, (role, point) in loggers.items()
    }
    return {
        "enclosure": box,
        "animal": {"species": "ridge lizard", "length_m": 0.07, "mass_g": 12.0},
        "lamps": [lamp | changes.pop("lamp", {})],
        "points": changes.pop("points", points),
        "loggers": loggers,
    } | changes


def readings(truths, *, start="2025-06-01", rng=0, kind="mixed", errors=ERRORS, roles=None):
    """Long readings from true series on a common index; each logger errs with its stated standard deviation."""
    rng = generator(rng)
    parts = []
    for name, series in truths.items():
        sd = errors[roles[name]]
        parts.append(
            pd.DataFrame(
                {"time": series.index, "logger_id": name, "value": series + sd * noise(len(series), rng, kind)}
            )
        )
    return pd.concat(parts, ignore_index=True)


def noise(n, rng, kind):
    """Errors of unit variance: shared by the log, white, drifting over hours, or all three."""
    shared = np.full(n, rng.normal())
    white = rng.normal(size=n)
    if kind == "shared":
        return shared
    if kind == "white":
        return white
    from scipy.signal import lfilter

    rho = np.exp(-1 / 12)
    drift = lfilter([np.sqrt(1 - rho**2)], [1, -rho], rng.normal(size=n), zi=[rho * rng.normal()])[0]
    return drift if kind == "drift" else (shared + white + drift) / np.sqrt(3)


def clock(days=30, minutes=10, start="2025-06-01"):
    """Times of a log."""
    return pd.date_range(start, periods=int(days * 1440 / minutes), freq=f"{minutes}min", tz="Europe/Berlin")


def course(index, *, night, day, peak=None, peak_days=None, hours=0.7):
    """A true series: night level, a plateau by day that rises to `peak` in the afternoon of some days.

    What is warm follows the lamps with a time constant in `hours`; light at once.
    """
    hour = (index.hour + index.minute / 60).to_numpy()
    lit = (hour >= 8) & (hour < 20)
    rise = 1 - np.exp(-np.clip(hour - 8, 0, None) / hours) if hours else 1.0
    fall = np.exp(-np.clip(hour - 20, 0, None) / hours) if hours else 0.0
    top = np.full(len(index), float(day))
    if peak is not None:
        bump = np.exp(-0.5 * ((hour - 15) / 1.5) ** 2)
        chosen = np.isin((index.normalize() - index[0].normalize()).days, peak_days)
        top = np.where(chosen, day + (peak - day) * bump, day)
    return pd.Series(
        np.where(lit, night + (top - night) * rise, night + (day - night) * fall * (hour >= 20)), index=index
    )


def make(loggers, truths, **options):
    """An EnclosureRecord of true series (by logger) read with errors."""
    kept = {k: options.pop(k) for k in ("rng", "kind") if k in options}
    roles = {name: role for name, (role, _) in loggers.items()}
    stated = settings(loggers, **options)
    log = readings(truths, roles=roles, **kept) if truths else None
    return enclosure_folder.assemble(stated, log)


def wanted(*rows, ceilings=True):
    """Targets: the rows given, and the four ceilings."""
    table = [dict(r) for r in rows]
    if ceilings:
        table += [{"target": t, "high": h, "kind": "limit", "source": "made up"} for t, h in CEILINGS.items()]
    frame = pd.DataFrame([targets.target_row(**row) for row in table])
    return targets.make(frame, species="ridge lizard", invented=True)


FULL = {
    "air-w": ("shade_air", "W1"),
    "air-c": ("shade_air", "C1"),
    "rock": ("surface", "B1"),
    "sand": ("surface", "C1"),
    "sun": ("irradiance", "B1"),
    "uv": ("uv_index", "B1"),
    "model": ("copper_model", "B1"),
}
# Night, day of a faultless enclosure.
PLAIN = {
    "air-w": (19.0, 26.0),
    "air-c": (18.0, 23.0),
    "rock": (19.0, 40.0),
    "sand": (18.0, 24.0),
    "sun": (0.0, 550.0),
    "uv": (0.0, 2.5),
    "model": (19.0, 37.0),
}


DELAY = {name: 0.0 if role in ("irradiance", "uv_index") else 0.7 for name, (role, _) in FULL.items()}


def plain(days=30, *, change=None, **options):
    """A faultless enclosure; `change` gives loggers another (night, day), or None to leave them out."""
    levels = {name: level for name, level in (PLAIN | (change or {})).items() if level is not None}
    index = clock(days)
    truths = {n: course(index, night=a, day=b, hours=DELAY[n]) for n, (a, b) in levels.items()}
    return make({n: FULL[n] for n in levels}, truths, **options)


def random_enclosure(seed, *, days=30):
    """An enclosure with faults at random.

    Returns
    -------
    record, targets : EnclosureRecord, Targets
    truth : DataFrame
        One row per ceiling: target, ``measured``, ``excess`` (of the truth over the ceiling, in stated errors) and
        ``share`` of the time.
    """
    rng = np.random.default_rng(seed)
    index = clock(days=days)
    loggers, truths, rows = dict(FULL), {}, []
    for name, (role, _) in FULL.items():
        target = next(t for t, r in ROLE_OF.items() if r == role)
        night, day = PLAIN[name]
        ceiling = CEILINGS.get(target)
        if ceiling is None or name in ("air-c", "sand"):
            truths[name] = course(index, night=night, day=day, hours=DELAY[name])
            continue
        fate = rng.choice(["missing", "broken", "edge", "fine"], p=[0.15, 0.4, 0.25, 0.2])
        if fate == "missing":
            del loggers[name]
            rows.append({"target": target, "measured": False, "excess": np.nan, "share": np.nan})
            continue
        sd = ERRORS[role]
        # At the edge the truth touches the ceiling, and a false alarm is likeliest.
        excess = {"broken": rng.uniform(2.0, 12.0), "edge": 0.0, "fine": -rng.uniform(0.5, 6.0)}[fate]
        peak = ceiling + excess * sd
        often = int(rng.choice([1, 3, days // 3, days]))
        chosen = rng.choice(days, often, replace=False)
        plateau = rng.random() < 0.3
        truths[name] = course(
            index, night=night, day=peak if plateau else min(day, peak), peak=peak, peak_days=chosen, hours=DELAY[name]
        )
        share = float((truths[name] > ceiling).mean())
        rows.append({"target": target, "measured": True, "excess": (truths[name].max() - ceiling) / sd, "share": share})
    kind = str(rng.choice(["shared", "white", "drift", "mixed"]))
    record = make(loggers, truths, rng=rng, kind=kind)
    return record, wanted(), pd.DataFrame(rows).assign(kind=kind)
