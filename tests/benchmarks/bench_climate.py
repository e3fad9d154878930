"""How long air bands of 200 stations and 50 years take, against the time pandas takes to read the file.

Run: ``python tests/benchmarks/bench_climate.py``. The rule of the house: less than ten times.
"""

import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from fieldkit.field import climate
from fieldkit.records.weather import stations

STATIONS, FIRST, LAST, REPEATS = 200, 1971, 2020, 3


def make_file(folder):
    """Write simulated daily extremes with 2 % of the days missing."""
    rng = np.random.default_rng(1)
    day = pd.date_range(f"{FIRST}-01-01", f"{LAST}-12-31")
    season = -np.cos(2 * np.pi * (day.day_of_year.to_numpy() - 15) / 365.25)
    parts = []
    for number in range(STATIONS):
        mean = 12 + 12 * season + rng.normal(0, 3, len(day)) + rng.normal(0, 2)
        half = 5 + rng.gamma(4, 0.7, len(day))
        part = pd.DataFrame(
            {"station_id": f"XX{number:09d}", "date": day, "tmax_c": mean + half, "tmin_c": mean - half}
        )
        parts.append(part[rng.random(len(day)) > 0.02])
    path = Path(folder) / "daily.csv"
    pd.concat(parts).to_csv(path, index=False, float_format="%.1f", date_format="%Y-%m-%d")
    return path


def fastest(call):
    """Shortest of a few runs: the machine's other work only ever adds time."""
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        result = call()
        times.append(time.perf_counter() - start)
    return min(times), result


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        path = make_file(folder)
        read, table = fastest(lambda: pd.read_csv(path, parse_dates=["date"]))
        columns = {name: name for name in ("station_id", "date", "tmax_c", "tmin_c")}
        checked, _ = fastest(lambda: stations.read_station_csv(path, columns=columns, unit="degC"))
        bands, answer = fastest(lambda: climate.air_bands(table, hemisphere="north"))
    print(f"{len(table):,} rows, {STATIONS} stations, {LAST - FIRST + 1} years")
    print(f"pandas reads the file in {read:.2f} s; air_bands takes {bands:.2f} s: ratio {bands / read:.2f} (limit 10)")
    print(f"read_station_csv, which checks every cell, takes {checked:.2f} s: ratio {checked / read:.2f}")
    print(answer.pooled[["low_c", "high_c", "n_days"]].round(2).to_string())
