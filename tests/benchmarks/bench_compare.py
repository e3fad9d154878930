"""Speed of a comparison: a year of scans every ten minutes of five animals, and of ten loggers of minutes.

python tests/benchmarks/bench_compare.py [--days 365]

Promised: under 20 s on two cores, the field's records read beforehand.
"""

import argparse
import dataclasses
import sys
import time
import warnings
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "studies"))
import study_compare as world

import fieldkit
from fieldkit.captive import compare
from fieldkit.core import resource_dir

LOGGERS = [("irradiance", p) for p in world.PLACES[:4]] + [("surface", p) for p in world.PLACES[:3]]
LOGGERS += [("copper_model", "open"), ("copper_model", "deep"), ("shade_air", "shade")]


def enclosure(days):
    """Five animals scanned every ten minutes from 8 to 18 h, ten loggers that read each minute."""
    record = fieldkit.read_enclosure(resource_dir("data") / "demo_watched")
    rng = np.random.default_rng(0)
    made = world.enclosure(record, rng, moods=(0.0,) * 5, days=1)
    minutes = pd.date_range("2030-05-01", periods=1440 * days, freq="min", tz=world.ZONE)
    hour = (minutes.hour + minutes.minute / 60).to_numpy()
    lit = np.clip(np.sin(np.pi * (hour - 6) / 12), 0, None)
    parts, info = [], []
    for number, (role, point) in enumerate(LOGGERS):
        share = world.SUN[world.PLACES.index(point)]
        top, base = {"irradiance": (900, 0), "surface": (18, 22), "copper_model": (13, 22)}.get(role, (4, 22))
        value = base + top * share * lit + rng.normal(0, 0.5, len(minutes))
        parts.append(world._logged(f"log {number}", role, point, minutes, value))
        info.append((f"log {number}", point, role))
    times = minutes[(minutes.minute % 10 == 0) & (hour >= 8) & (hour < 18)]
    n = 5 * len(times)
    scans = pd.DataFrame({"time": np.repeat(times, 5), "animal_id": np.tile([f"L{k}" for k in range(5)], len(times))})
    scans["point"] = rng.choice(world.PLACES, n)
    scans["behaviour"] = rng.choice(["basking", "moving", "resting", "retreat"], n)
    scans["body_temperature_c"] = rng.normal(34, 1.5, n)
    loggers = pd.DataFrame(info, columns=["logger_id", "point_id", "role"]).assign(zone="basking site", error=np.nan)
    readings = pd.concat(parts, ignore_index=True).astype({"logger_id": "category", "role": "category"})
    return dataclasses.replace(made, scans=scans, logger_info=loggers, readings=readings)


def main():
    """Print the time of a comparison."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--days", type=int, default=365)
    days = parser.parse_args().days
    warnings.simplefilter("ignore")
    season, record = fieldkit.demo_season(), enclosure(days)
    print(f"{len(record.scans):,} scans of 5 animals, {len(record.readings):,} readings of 10 loggers")
    start, used = time.perf_counter(), time.process_time()
    found = compare.compare(season, record)
    print(f"{time.perf_counter() - start:.1f} s, {time.process_time() - used:.1f} s of processor: {found.sentence}")


if __name__ == "__main__":
    main()
