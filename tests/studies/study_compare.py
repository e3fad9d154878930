"""How often a comparison of field and captivity is right, in worlds whose truth is known.

    python tests/studies/study_compare.py 200 SEED

prints, for pairs that are alike, that differ by a moderate amount, and that differ by just the margin of "alike": how
often each question says "differs" or "alike", and how often its 95 % interval holds the truth. A world of its own, not
the demo's: both sides live under a made-up weather, with animals and days that differ.
"""

import dataclasses
import sys
import warnings

import numpy as np
import pandas as pd

import fieldkit
from fieldkit.captive import compare
from fieldkit.captive.compare import questions, run, sides
from fieldkit.core import resource_dir

ZONE = "America/New_York"
PLACES = ("open", "edge", "light", "shade", "deep")
SUN = np.array([1.0, 0.7, 0.45, 0.15, 0.03])
# Log odds of basking at mean weather, of moving when not basking, of hiding when neither.
BASK, MOVE, HIDE = 0.1, 0.2, -0.6
ANIMAL_SD, DAY_SD, DAY_LIKENESS = 0.4, 0.4, 0.4
SLOPE = 0.5  # log odds per 100 W/m²
QUESTIONS = ("basking_share", "moving_share", "hidden_share", "basking_hours", "selection_radiation", "radiation_taken")
QUESTIONS += ("radiation_gained", "surface_taken", "operative_taken", "basking_air", "accuracy", "thermal_quality")
QUESTIONS += ("effectiveness",)


def alike_days(days, rng, sd=DAY_SD):
    """One number a day, each like the one before when they follow one another."""
    gaps = np.diff(days, prepend=days[0] - 99)
    out = np.zeros(len(days))
    for k, gap in enumerate(gaps):
        rho = DAY_LIKENESS ** max(gap, 1)
        out[k] = rho * out[k - 1] + rng.normal(0, sd * np.sqrt(1 - rho**2))
    return out


def watch(days, hours, who, rng, *, bask=0.0, light=1.0):
    """Scans and the conditions of five places at each.

    Parameters
    ----------
    days : array of int
        Days that were watched.
    hours : array of float
        Clock hours of the scans.
    who : callable
        Animals of a day, by its number, with their own log odds.
    rng : numpy.random.Generator
        Draws everything.
    bask : float
        Log odds of basking added.
    light : float
        Share of the light.
    """
    weather = alike_days(days, rng, 1.0)
    mood = alike_days(days, rng)
    rows, places = [], []
    for d, (day, w, m) in enumerate(zip(days, weather, mood)):
        for hour in hours:
            height = np.sin(np.pi * (hour - 6) / 12)
            sky = np.clip(0.65 + 0.2 * w + rng.normal(0, 0.15), 0.1, 1.0)
            sun = 900 * height * sky * np.clip(SUN * rng.uniform(0.7, 1.1, 5), 0, 1) * light
            air = 22 + 3 * w + 4 * height + rng.normal(0, 0.3)
            surface = air + 0.02 * sun + rng.normal(0, 1, 5)
            te = air + 0.014 * sun
            for animal, own in who(d):
                score = BASK + bask + own + m + 0.5 * (sky - 0.65)
                kind = "basking" if rng.random() < _p(score) else "moving" if rng.random() < _p(MOVE) else None
                kind = kind or ("retreat" if rng.random() < _p(HIDE) else "resting")
                at = int(np.argmax(SLOPE * sun / 100 + rng.gumbel(size=5))) if kind == "basking" else rng.integers(5)
                body = np.clip(rng.normal(34, 1.5), te.min(), te.max())
                rows.append((day, hour, animal, kind, at, body, air))
                places.append((sun, surface, te))
    scans = pd.DataFrame(rows, columns=["day", "hour", "animal_id", "behaviour", "at", "body_temperature_c", "air"])
    scans["time"] = pd.Timestamp("2030-05-01") + pd.to_timedelta(scans["day"], unit="D")
    scans["time"] = (scans["time"] + pd.to_timedelta(scans["hour"] * 60, unit="min")).dt.tz_localize(ZONE)
    return scans, tuple(np.array(part) for part in zip(*places))


def _p(score):
    return 1 / (1 + np.exp(-score))


def field(template, rng, *, animals=14, days=36):
    """A season of the made-up world."""
    moods = rng.normal(0, ANIMAL_SD, animals)
    when = np.sort(rng.choice(6 * days, days, replace=False))
    focal = [rng.choice(animals, 6, replace=False) for _ in range(days)]
    scans, (sun, surface, te) = watch(
        when, np.arange(8, 17.5, 0.5), lambda d: [(f"R{a:03d}", moods[a]) for a in focal[d]], rng
    )
    scans["shade_air_c"] = scans["air"]
    bask = np.flatnonzero(scans["behaviour"] == "basking")
    chosen = np.sort(rng.choice(bask, min(len(bask), 6 * days), replace=False))
    table = scans.iloc[np.repeat(chosen, 5)]
    choices = pd.DataFrame(
        {
            "set_id": np.repeat(np.arange(len(chosen)), 5).astype(str),
            "time": table["time"].to_numpy(),
            "animal_id": table["animal_id"].to_numpy(),
            "place_id": np.tile(PLACES, len(chosen)),
            "used": (np.tile(np.arange(5), len(chosen)) == table["at"].to_numpy()).astype(int),
            "shade_air_c": table["air"].to_numpy(),
            "surface_c": surface[chosen].ravel(),
            "irradiance_w_m2": sun[chosen].ravel(),
            "operative_c": te[chosen].ravel(),
        }
    )
    choices["time"] = pd.DatetimeIndex(choices["time"]).tz_convert(ZONE)
    place = dataclasses.replace(template.site, longitude_deg=-60.0)
    return dataclasses.replace(template, scans=scans, choices=choices, site=place, instrument_errors={})


def enclosure(template, rng, *, moods=(0.0, 0.0), days=42, **change):
    """An enclosure in which animals live as in the made-up field, but for `change`."""
    hours = np.arange(8, 17.5, 1.25)[:8].round(1)
    who = [(f"L{k}", mood) for k, mood in enumerate(moods)]
    scans, (sun, surface, te) = watch(np.arange(days), hours, lambda d: who, rng, **change)
    first = scans.drop_duplicates("time").index
    parts, info = [], []
    for role, values in (("irradiance", sun), ("surface", surface), ("copper_model", te)):
        for k, point in enumerate(PLACES):
            parts.append(_logged(f"{role} {k}", role, point, scans["time"].iloc[first], values[first, k]))
            info.append((f"{role} {k}", point, role))
    parts.append(_logged("air 0", "shade_air", "open", scans["time"].iloc[first], scans["air"].iloc[first]))
    info.append(("air 0", "open", "shade_air"))
    points = pd.DataFrame({"point_id": PLACES, "zone": "basking site", "substrate": "slate", "shade": None})
    scans = scans.assign(point=np.array(PLACES)[scans["at"]])
    # Both animals of a time share its places: those of the first one are logged, and taken by both.
    return dataclasses.replace(
        template,
        scans=scans[["time", "animal_id", "point", "behaviour", "body_temperature_c"]],
        points=points.assign(x_m=0.1, y_m=0.1, z_m=0.1),
        logger_info=pd.DataFrame(info, columns=["logger_id", "point_id", "role"]).assign(
            zone="basking site", error=np.nan
        ),
        readings=pd.concat(parts, ignore_index=True).astype({"logger_id": "category", "role": "category"}),
        lamps=template.lamps.iloc[:0],
    )


def _logged(name, role, point, times, values):
    return pd.DataFrame(
        {
            "time": times,
            "logger_id": name,
            "role": role,
            "point_id": point,
            "value": np.asarray(values),
            "error": np.nan,
        }
    )


def asked(season, record):
    """Value of each question on both sides."""
    captive = sides.of_enclosure(record, fill=False)
    found = questions.ask(sides.of_season(season), captive, season, record)
    return {q.key: q.captive.value - q.field.value for q in found if q.field is not None and q.captive is not None}


WORLDS = {
    "alike": {},
    "two hours less basking, 0.6 of the light": {"bask": -0.85, "light": 0.6},
    "at the margin": {"bask": -0.405, "light": 0.71},
}


def truth_of(season, record, seed):
    """The true difference of each question in each world, as the mean of 16 big pairs, and its standard error."""
    drawn = {name: [] for name in WORLDS}
    for number in range(16):
        rng = np.random.default_rng([seed, 1, number])
        wild = field(season, rng, animals=150, days=200)
        for name, change in WORLDS.items():
            drawn[name].append(asked(wild, enclosure(record, rng, days=400, **change)))
    tables = {name: pd.DataFrame(rows)[list(QUESTIONS)] for name, rows in drawn.items()}
    return {name: t.mean() for name, t in tables.items()}, {name: t.sem() for name, t in tables.items()}


def main(pairs, seed):
    """Print the shares."""
    warnings.simplefilter("ignore")
    season = fieldkit.demo_season()
    record = fieldkit.read_enclosure(resource_dir("data") / "demo_watched")
    truth, unsure = truth_of(season, record, seed)
    rows = []
    for number in range(1, pairs + 1):
        rng = np.random.default_rng([seed, 2, number])
        wild = field(season, rng)
        one_side = sides.of_season(wild)
        # Pairs of one world are independent; the worlds share their wild animals.
        for name, change in WORLDS.items():
            cage = enclosure(record, rng, **change)
            asked_of = questions.ask(one_side, sides.of_enclosure(cage, fill=False), wild, cage)
            found = run._judged(asked_of, compare.MARGINS, 0.95, "").loc[list(QUESTIONS)]
            kept = found[["difference", "low", "high", "verdict", "p_differs"]].rename_axis("question").reset_index()
            rows.append(kept.assign(world=name, pair=number))
        if number % 20 == 0 or number == pairs:
            report(pd.concat(rows, ignore_index=True), seed, truth, unsure)


def report(found, seed, truth, unsure):
    """Print what was counted so far."""
    pairs = found["pair"].nunique()
    for name, rows in found.groupby("world", sort=False):
        any_differs = (rows["verdict"] == "differs").groupby(rows["pair"]).any().mean()
        print(f"\n{name}: {pairs} pairs, seed {seed}; any question 'differs' in {100 * any_differs:.1f} %")
        print(f"{'':<20} {'truth':>8} {'±':>6} {'margin':>7} {'differs':>8} {'alike':>7} {'inside':>7} {'alone':>7}")
        inside = []
        for key, q in rows.groupby("question", sort=False):
            true = truth[name][key]
            inside.append(100 * ((q["low"] <= true) & (true <= q["high"])).mean())
            shares = [100 * (q["verdict"] == verdict).mean() for verdict in ("differs", "alike")]
            shares += [inside[-1], 100 * (q["p_differs"] < 0.05).mean()]
            told = f"{key:<20} {true:8.3f} {unsure[name][key]:6.3f} {compare.MARGINS[key]:7.3g}"
            print(told + "".join(f"{v:8.1f}" for v in shares))
        print(f"intervals hold the truth in {np.mean(inside):.1f} % on average", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
