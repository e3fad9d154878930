"""How long 500 published seasons take to pool, all quantities, with the page; `python tests/benchmarks/bench_pool.py`.

Promised: under 30 s on two cores. The seasons are made up: estimates scattered about those of the demo season's kind.
"""

import argparse
import tempfile
import time
from pathlib import Path

import numpy as np

from fieldkit.field import pool
from fieldkit.report import pooled


def made_up(n, folder, seed=0):
    """Folders with an estimates.csv of every quantity."""
    rng = np.random.default_rng(seed)
    for i in range(n):
        rows = []
        for name, about in pool.QUANTITIES.items():
            middle = 0.5 * (max(about.lowest, -1) + min(about.highest, 1))
            error = 0.1 * rng.uniform(0.5, 2)
            row = {"quantity": name, "estimate": middle + rng.normal(0, 0.1), "standard_error": error, "seed": 1}
            rows.append(row | ({"verdict": "radiation", "n_sets": 70} if name.startswith("selection") else {}))
        about = {"species": "invented", "site_elevation_m": 50.0 + 100 * (i % 20), "site_latitude_deg": 30 + i % 15}
        place = folder / f"season_{i}"
        place.mkdir()
        pool.estimates.write(pool.estimates.table(rows, about | {"invented": "yes"}), place)
        yield place


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--seasons", type=int, default=500)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        places = list(made_up(given.seasons, Path(scratch)))
        start = time.perf_counter()
        gathered = pooled.gather(places, progress=False)
        read = time.perf_counter() - start
        written = pooled.write(gathered, Path(scratch) / "pool")
        took = time.perf_counter() - start
        print(f"{len(gathered.tables)} seasons, {len(written.table)} quantities: read {read:.1f} s, all {took:.1f} s")
