"""Time and memory of `check`: ``python tests/benchmarks/bench_check.py loggers 30``, ``stations 200``, ``sets 20000``.

Writes an invented folder into a temporary place, runs ``python -m fieldkit check`` on it in a process of its own, and
prints rows, seconds, and the most memory that process held (resource.getrusage of the child).
"""

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

TOML = """[season]
name = "invented, for a benchmark"
invented = true
first_day = 2023-01-01
last_day = 2023-12-31

[site]
name = "nowhere"
latitude_deg = 36.1
longitude_deg = -79.9
elevation_m = 270
timezone = "UTC-05:00"

[animal]
species = "none"
"""


def loggers(folder, number):
    """A year of minutes from each logger, a file each: shade air, and every fifth irradiance."""
    times = pd.date_range("2023-01-01", "2023-12-31 23:59", freq="min")
    hour = times.hour + times.minute / 60
    rng = np.random.default_rng(0)
    series = {
        "irradiance": np.clip(700 * np.sin(np.pi * (hour - 6.3) / 12), 0, None) * rng.uniform(0.6, 1.0, len(times)),
        "shade_air": 15 + 8 * np.sin(2 * np.pi * (hour - 9) / 24) + np.cumsum(rng.normal(0, 0.002, len(times))),
    }
    table = {k: pd.DataFrame({"time": times, "value": np.round(v, 2)}) for k, v in series.items()}
    text = {k: v.to_csv(index=False, date_format="%Y-%m-%d %H:%M").encode() for k, v in table.items()}
    (folder / "loggers").mkdir()
    toml = TOML
    for k in range(number):
        role, unit = ("irradiance", "W/m2") if k % 5 == 4 else ("shade_air", "degC")
        (folder / "loggers" / f"box-{k}.csv").write_bytes(text[role])
        toml += f'\n[loggers.box-{k}]\nrole = "{role}"\nunit = "{unit}"\nerror = 5\n'
    (folder / "season.toml").write_text(toml, encoding="utf-8")
    return number * len(times)


def stations(folder, number):
    """Thirty years of daily extremes from each station."""
    days = pd.date_range("1994-01-01", "2023-12-31").strftime("%Y-%m-%d")
    year = np.arange(len(days)) * 2 * np.pi / 365.25
    parts, toml = [], TOML
    for k in range(number):
        rng = np.random.default_rng(k)
        middle = 14 + 10 * np.sin(year - 1.8) + rng.normal(0, 3, len(days))
        parts.append(pd.DataFrame({"station_id": f"s{k}", "date": days, "tmax_c": middle + 5, "tmin_c": middle - 5}))
        toml += f"\n[stations.s{k}]\nlatitude_deg = 36.{k:03d}\nlongitude_deg = -79.9\nelevation_m = 270\n"
    pd.concat(parts).round(1).to_csv(folder / "weather.csv", index=False)
    (folder / "season.toml").write_text(toml, encoding="utf-8")
    return number * len(days)


def sets(folder, number):
    """Choice sets of six places."""
    rng = np.random.default_rng(0)
    rows = 6 * number
    start = pd.Timestamp("2023-04-01 09:00") + pd.to_timedelta(np.arange(number) * 200 // number, unit="D")
    start = start + pd.to_timedelta(rng.integers(0, 480, number), unit="min")
    frame = pd.DataFrame(
        {
            "set_id": np.repeat([f"S{k}" for k in range(number)], 6),
            "time": np.repeat(start.strftime("%Y-%m-%d %H:%M"), 6),
            "place_id": np.tile([f"P{k}" for k in range(6)], number),
            "used": np.tile([1, 0, 0, 0, 0, 0], number),
            "shade_air_c": np.round(rng.normal(22, 3, rows), 1),
            "surface_c": np.round(rng.normal(30, 6, rows), 1),
            "irradiance_w_m2": np.round(rng.uniform(50, 500, rows)),
        }
    )
    frame.to_csv(folder / "choices.csv", index=False)
    errors = "".join(f"\n[instruments.{c}]\nerror = {e}\n" for c, e in (("shade_air_c", 0.4), ("surface_c", 1.5)))
    (folder / "season.toml").write_text(TOML + errors + "\n[instruments.irradiance_w_m2]\nerror = 30\n", "utf-8")
    return rows


def main(what, number):
    """Make the folder, check it, print what it took."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "season"
        folder.mkdir()
        rows = {"loggers": loggers, "stations": stations, "sets": sets}[what](folder, number)
        began = time.perf_counter()
        done = subprocess.run([sys.executable, "-m", "fieldkit", "check", str(folder)], capture_output=True, text=True)
        seconds = time.perf_counter() - began
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
    print("\n".join(done.stdout.splitlines()[-12:]))
    print(done.stderr)
    print(
        f"{what} {number}: {rows:,} rows, {seconds:.1f} s ({used.ru_utime + used.ru_stime:.1f} s of CPU), "
        f"{used.ru_maxrss / 1024:,.0f} MB, exit status {done.returncode}"
    )


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
