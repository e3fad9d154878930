"""The demo enclosure six weeks watched, and a trial in it: invented animals that choose as those of the field do.

The forward model: the demo enclosure after its first changes (a weaker spot with a guard, the thermostat's sensor in
the shade) is run through spring by the thermal model; two animals bask, hide and move by the rule of the demo season
(`fieldkit.demo.quarry.TRUTH`) and take their points by its rule of choice; two people write down what they see, and one
of them calls some basking resting. Nothing here was seen. Run ``python -m fieldkit.demo.watched FOLDER`` to
make the folders ``demo_watched`` and ``demo_trial`` again, byte for byte.
"""

import json
import sys
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from fieldkit.captive import targets
from fieldkit.captive.enclosure.days import read_lamps, read_out, simulate
from fieldkit.captive.lamps import Beam
from fieldkit.captive.lamps.folder import lamp_for
from fieldkit.captive.trial import randomise
from fieldkit.core import generator, swapped_in
from fieldkit.demo import quarry
from fieldkit.demo.enclosure import DEMO, DEMO_BEAMS, PLACES, room_air
from fieldkit.demo.random_enclosures import ZONE
from fieldkit.demo.season import _else
from fieldkit.records.enclosure.reader import assemble

SEED = 20250505
FIRST_DAY, DAYS = "2025-05-05", 42
SCAN_TIMES = ("08:00", "09:30", "11:00", "12:30", "14:00", "15:30", "17:00", "18:30")
ANIMALS = ("L1", "L2")
# Room air of late spring: mean and half of its daily swing (°C).
ROOM = (20.5, 2.0)
POWER_W = 36.0
# What an analysis may be held against.
TRUTH = {
    "rule": "the rule of the demo season, for choice of places and for basking",
    "basking_log_odds_of_captivity": -0.9,
    "mood_by_animal": {"L1": 0.2, "L2": -0.2},
    "day_likeness": 0.4,
    "day_sd_log_odds": 0.35,
    "observer_b_calls_basking_resting": 0.15,
    "trial_change": "the spot gets 40 W in place of 36 W",
    "trial_effect_log_odds": 0.8,
}
TRIAL = {"first_day": "2025-06-23", "blocks": 8, "days": 4, "settle": 1, "seed": 16}


def settings():
    """Text of the watched enclosure's enclosure.toml: the demo's, after its first changes."""
    text = DEMO.replace("fieldkit/captive/demo.py", "fieldkit/demo/watched.py")
    text = text.replace("with faults an audit\n# should find.", "after the first\n# changes that its audit asked for.")
    text = text.replace("power_w = 100", f"power_w = {POWER_W:g}").replace("guarded = false", "guarded = true")
    return text.replace('point = "B2"\nrole = "thermostat"', 'point = "W1"\nrole = "thermostat"')


def _beams():
    share = POWER_W / 100
    beams = {name: Beam(intensity=w, half_angle_deg=a) for name, (w, a) in DEMO_BEAMS.items()}
    return beams | {"spot": replace(beams["spot"], intensity=beams["spot"].intensity * share)}


def conditions(record, first_day, days, *, rng):
    """Readings of the loggers and what truly was at every point, every ten minutes."""
    lamps = [lamp_for(row, _beams()[row["id"]]) for _, row in record.lamps.iterrows()]
    times = pd.date_range(first_day, periods=144 * days, freq="10min", tz=ZONE)
    room = room_air(times, *ROOM, rng=rng)
    true, sensors = simulate(record, lamps, times=times, room_c=room)
    return times, true, read_out(sensors, record.logger_info, rng=rng)


def day_moods(days, *, rng):
    """What all animals share on a day, on the scale of log odds; each day is like the one before."""
    rng = generator(rng)
    rho, sd = TRUTH["day_likeness"], TRUTH["day_sd_log_odds"]
    out = [rng.normal(0, sd)]
    for _ in range(days - 1):
        out.append(rho * out[-1] + rng.normal(0, sd * np.sqrt(1 - rho**2)))
    return np.array(out)


def scans(record, times, true, *, rng, shift=None):
    """Scans of both animals by the rules of the demo season.

    Parameters
    ----------
    record : EnclosureRecord
        Its points.
    times : DatetimeIndex
        Steps of the true conditions.
    true : dict of str to ndarray (times, points)
        What truly was at every point.
    rng : int or numpy.random.Generator
        Seed.
    shift : ndarray (days,), optional
        Added to the log odds of basking on each day.

    Returns
    -------
    DataFrame
        As scans.csv.
    """
    rng = generator(rng)
    rule = quarry.TRUTH
    peak = np.log(rule["basking_peak_probability"] / (1 - rule["basking_peak_probability"]))
    points = record.points["point_id"].to_numpy()
    retreats = points[(record.points["zone"] == "retreat").to_numpy()]
    days = times.normalize().unique()
    moods = day_moods(len(days), rng=rng) + TRUTH["basking_log_odds_of_captivity"]
    moods = moods + (0 if shift is None else np.asarray(shift, dtype=float))
    rows = []
    for day, mood in zip(days, moods):
        both = rng.random() < 0.25
        observer = "AB"[rng.integers(2)]
        for clock in SCAN_TIMES:
            moment = day + pd.Timedelta(f"{clock}:00")
            at = times.get_loc(moment)
            air = float(true["shade_air_c"][at].mean())
            light = true["irradiance_w_m2"][at]
            for animal in ANIMALS:
                score = peak - (air - rule["basking_optimum_air_c"]) ** 2 / (2 * rule["basking_tolerance_air_c"] ** 2)
                score += 0.2 * (min(light.max(), 600) - 400) / 100 + mood + TRUTH["mood_by_animal"][animal]
                basks = rng.random() < 1 / (1 + np.exp(-score))
                doing = "basking" if basks else _else(air, rng)
                if basks:
                    want = rule["preference_per_100_w_m2_at_20_c"] * (rule["switch_point_air_c"] - air)
                    want /= rule["switch_point_air_c"] - 20
                    point = points[np.argmax(want * light / 100 + rng.gumbel(size=len(points)))]
                else:
                    point = rng.choice(retreats) if doing == "retreat" else rng.choice(points)
                seen = "out of sight" if doing == "retreat" and rng.random() < 0.7 else point
                wanted = rng.normal(rule["preferred_body_mean_c"], rule["preferred_body_sd_c"])
                te = true["operative_c"][at]
                body = np.clip(wanted, te.min(), te.max()) if doing != "retreat" else te[list(points).index(point)]
                row = {"time": f"{moment:%Y-%m-%d %H:%M}", "animal_id": animal, "point": seen, "behaviour": doing}
                row["body_temperature_c"] = float(body) if rng.random() < 0.4 else np.nan
                rows += _written(row, "AB" if both else observer, rng)
    return pd.DataFrame(rows)


def _written(row, observers, rng):
    """What each observer wrote of one animal; B calls some basking resting."""
    out = []
    for observer in observers:
        word = row["behaviour"]
        if observer == "B" and word == "basking" and rng.random() < TRUTH["observer_b_calls_basking_resting"]:
            word = "resting"
        body = round(row["body_temperature_c"] + rng.normal(0, 0.3), 1)
        out.append(row | {"behaviour": word, "observer": observer, "body_temperature_c": body})
    return out


def trial_days():
    """Arm of each day of the demo's trial: "usual", "changed" or "settling" with the arm to come."""
    order = randomise.draw(TRIAL["blocks"], rng=TRIAL["seed"])
    return [arm for pair in order for arm in pair for _ in range(TRIAL["days"])]


def make():
    """Files of both folders, by name.

    Returns
    -------
    dict of str to dict of str to str
        Text of each file by folder and name.
    """
    rng = generator(SEED)
    text = settings()
    record = assemble(tomllib.loads(text), None)
    meter = read_lamps(_beams(), PLACES, rng=rng, without_uv=("heater",))
    times, true, logs = conditions(record, FIRST_DAY, DAYS, rng=rng)
    watched = scans(record, times, true, rng=rng)
    arms = trial_days()
    later, true_later, _ = conditions(record, TRIAL["first_day"], len(arms), rng=rng)
    shift = TRUTH["trial_effect_log_odds"] * np.array([arm == "changed" for arm in arms])
    tried = scans(record, later, true_later, rng=rng, shift=shift)
    common = {
        "enclosure.toml": text,
        "targets.toml": targets.template(),
        "lamp_readings.csv": _meter_text(meter),
        "truth.json": _truth_text(true),
    }
    plan = "\n".join(
        [
            "# INVENTED, like the enclosure it was made for (fieldkit/demo/watched.py).",
            f'change = "{TRUTH["trial_change"]}"',
            'outcome = "basking_share"',
            'better = "higher"',
            f"first_day = {TRIAL['first_day']}",
            *(f"{k} = {TRIAL[k]}" for k in ("blocks", "days", "settle", "seed")),
            f"order = {json.dumps([list(pair) for pair in randomise.draw(TRIAL['blocks'], rng=TRIAL['seed'])])}",
            "",
            "[limits]",
            "mass_loss_percent = 10.0",
            "days_without_food = 7",
            "days_hidden = 3",
            "",
            "[power_w]",
            "spot = 40.0",
            "",
        ]
    )
    return {
        "demo_watched": common | {"readings.csv": _log_text(logs.iloc[::3]), "scans.csv": _scan_text(watched)},
        "demo_trial": common | {"scans.csv": _scan_text(tried), "trial.toml": plan, "care.csv": _care(arms, rng)},
    }


def _truth_text(true):
    warmest = {name: [round(float(v), 1) for v in true[name].max(axis=0)] for name in ("surface_c", "operative_c")}
    return json.dumps(TRUTH | {"seed": SEED, "warmest_by_point": warmest}, indent=1, sort_keys=True) + "\n"


def _meter_text(meter):
    lines = ["lamp,distance [m],angle [°],irradiance [W/m²],uv_index"]
    for row in meter:
        uv = "" if np.isnan(row["uv_index"]) else f"{row['uv_index']:.1f}"
        lines.append(f"{row['lamp']},{row['distance_m']},{row['angle_deg']},{row['irradiance_w_m2']:.4g},{uv}")
    return "\n".join(lines) + "\n"


def _log_text(table):
    lines = ["time,logger_id,value"]
    stamps = table.index.strftime("%Y-%m-%d %H:%M")
    for name in table.columns:
        lines += [f"{t},{name},{v:.1f}" for t, v in zip(stamps, np.round(table[name].to_numpy(), 1) + 0.0)]
    return "\n".join(lines) + "\n"


def _scan_text(table):
    columns = ["time", "animal_id", "point", "behaviour", "observer", "body_temperature_c"]
    return table[columns].to_csv(index=False, lineterminator="\n")


def _care(arms, rng):
    """Body mass once a week and whether they ate."""
    lines = ["date,animal_id,mass_g,ate,ill"]
    first = pd.Timestamp(TRIAL["first_day"])
    for animal, mass in zip(ANIMALS, (12.4, 11.6)):
        for day in range(0, len(arms), 7):
            grams = mass + rng.normal(0, 0.15)
            lines.append(f"{first + pd.Timedelta(days=day):%Y-%m-%d},{animal},{grams:.1f},{1},0")
    return "\n".join(lines) + "\n"


def write(folder):
    """Write both demo folders into a folder.

    Parameters
    ----------
    folder : str or pathlib.Path
        Must not hold ``demo_watched`` or ``demo_trial`` yet.

    Returns
    -------
    list of pathlib.Path

    Raises
    ------
    FieldkitError
        When one of them is there already.
    """
    folder = Path(folder).expanduser()
    made = []
    for name, files in make().items():
        place = folder / name
        with swapped_in(place) as (half, _):
            for file, content in files.items():
                (half / file).write_text(content, encoding="utf-8", newline="\n")
        made.append(place)
    return made


if __name__ == "__main__":
    print("\n".join(f"Wrote {place}." for place in write(sys.argv[1])))
