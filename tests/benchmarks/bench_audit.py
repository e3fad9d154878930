"""Speed of the audit: a year of one-minute logs of ten loggers, beside what pandas takes to read the file.

python tests/benchmarks/bench_audit.py [--days 365]

Promised: the audit takes less than five times as long as `pandas.read_csv` with dates.
"""

import argparse
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
import simulated_enclosures as simulated

from fieldkit.captive import audit
from fieldkit.records.enclosure import reader as enclosure_folder

LOGGERS = simulated.FULL | {
    "air-r": ("shade_air", "R1"),
    "model-c": ("copper_model", "C1"),
    "rock-w": ("surface", "W1"),
}


def main():
    """Write the file, read it, audit it; print times and their ratio."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--days", type=int, default=365)
    days = parser.parse_args().days
    rng = np.random.default_rng(0)
    index = simulated.clock(days, 1, "2025-01-01")
    plain = simulated.PLAIN | {"air-r": (18.0, 22.0), "model-c": (18.0, 24.0), "rock-w": (19.0, 30.0)}
    log = pd.concat(
        [
            pd.DataFrame(
                {
                    "time": index.tz_localize(None),
                    "logger_id": name,
                    "value": (simulated.course(index, night=plain[name][0], day=plain[name][1])).to_numpy()
                    + rng.normal(0, simulated.ERRORS[role], len(index)),
                }
            )
            for name, (role, _) in LOGGERS.items()
        ],
        ignore_index=True,
    ).round({"value": 2})
    rows = [
        {"target": "shade_air_c", "month": m, "period": p, "low": low, "high": high, "source": "made up"}
        for m in range(1, 13)
        for p, low, high in (("day", 22.0, 27.0), ("night", 17.0, 20.0))
    ]
    rows += [
        {"target": "photoperiod_h", "month": m, "low": 11.5, "high": 12.5, "source": "made up"} for m in range(1, 13)
    ]
    rows += [
        {
            "target": t,
            "zone": "basking site",
            "month": m,
            "period": "day",
            "low": low,
            "high": high,
            "source": "made up",
        }
        for m in range(1, 13)
        for t, low, high in (("irradiance_w_m2", 300.0, 700.0), ("operative_c", 34.0, 40.0))
    ]
    rows += [{"target": "warming_rate_c_per_h", "period": "day", "high": 4.0, "source": "made up"}]
    wanted = simulated.wanted(*rows)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "readings.csv"
        log.to_csv(path, index=False)
        start = time.perf_counter()
        again = pd.read_csv(path, parse_dates=["time"])
        read = time.perf_counter() - start
    again["time"] = again["time"].dt.tz_localize("Europe/Berlin", ambiguous="NaT", nonexistent="NaT")
    again = again.dropna(subset=["time"])
    record = enclosure_folder.assemble(simulated.settings(LOGGERS), again)
    start = time.perf_counter()
    found = audit.audit(record, wanted)
    taken = time.perf_counter() - start
    print(f"{len(record.readings):,} readings of {len(LOGGERS)} loggers, {len(found.table)} targets")
    print(f"pandas reads the file in {read:.1f} s; audit {taken:.1f} s; ratio {taken / read:.2f}")


if __name__ == "__main__":
    main()
