"""Is advice on random enclosures right and of one mind? Unknown quantities, false alarms, limits found, contradictions.

python tests/studies/study_advice.py [--enclosures 400] [--days 3] [--seed 0]

Enclosures of the forward model with faults at random (`fieldkit.demo.random_enclosures`), held against the standard
limits, a measured limit of the air, and aims. A limit is exceeded in truth when the true highest mean over its contact
time lies above it at a point that is read.
"""

import argparse
import sys
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
from contradictions import pairs

from fieldkit.captive import audit, targets
from fieldkit.captive.audit import ROLES, Status
from fieldkit.demo import random_enclosures

ROWS = (
    {"target": "shade_air_c", "high": 33.5, "kind": "limit", "basis": "station"},
    {"target": "shade_air_c", "zone": "cool end", "high": 26.0, "kind": "caution", "basis": "common practice"},
    {"target": "shade_air_c", "zone": "retreat", "high": 26.0, "kind": "caution", "basis": "common practice"},
    {"target": "surface_c", "zone": "basking site", "period": "day", "low": 35.0, "high": 44.0},
    {"target": "irradiance_w_m2", "zone": "basking site", "period": "day", "low": 300.0, "high": 700.0},
    {"target": "uv_index", "zone": "basking site", "period": "day", "low": 1.0, "high": 6.0},
    {"target": "operative_c", "zone": "basking site", "period": "day", "low": 34.0},
    {"target": "operative_c", "zone": "retreat", "period": "day", "high": 33.0},
)


def wanted():
    """Aims, cautions and limits that every random enclosure is held against."""
    table = pd.DataFrame([targets.target_row(**{"source": "made up"} | row) for row in ROWS])
    return targets.make(table, species="ridge lizard", invented=True)


def run(n, *, days, seed):
    """One row per limit of n random enclosures, and one row per enclosure.

    Returns
    -------
    limits : DataFrame
        ``enclosure, target, contact_min, measured, excess`` (of the truth, in stated errors), ``status, alarm``.
    advice : DataFrame
        ``enclosure, unknown_met`` (rows met that nothing reads) and ``contradictions``.
    """
    limits, advice = [], []
    for i in range(n):
        record, truth = random_enclosures.random_enclosure(np.random.default_rng((seed, i)), days=days)
        found = audit.audit(record, wanted())
        info = record.logger_info
        unknown = 0
        for row in found.table.itertuples():
            mine = info[info["role"] == ROLES[row.target]]
            mine = mine if row.zone == "whole" else mine[mine["zone"] == row.zone]
            computed = row.target == "operative_c" and _can_compute(info, row.zone)
            unknown += row.status == Status.MET and not len(mine) and not computed
            if row.kind == targets.Kind.LIMIT:
                limits.append({"enclosure": i, **_truth(row, mine, truth), "status": str(row.status)})
                limits[-1]["alarm"] = bool(row.limit_exceeded)
        advice.append({"enclosure": i, "unknown_met": unknown, "contradictions": len(pairs(found))})
    return pd.DataFrame(limits), pd.DataFrame(advice)


def _can_compute(info, zone):
    """Operative temperature is computed where air, surface and light are read or the point is in the shade."""
    return "surface" in set(info.loc[info["zone"] == zone, "role"])


def _truth(row, mine, truth):
    """By how many errors the truth passes a limit at the points that are read."""
    target, points = row.target, list(mine["point_id"].unique())
    if not points:
        return {"target": target, "contact_min": row.contact_min, "measured": False, "excess": np.nan}
    true = truth["conditions"][target][points]
    if row.contact_min > 10:
        step = (true.index[1] - true.index[0]).total_seconds()
        count = int(row.contact_min * 60 / step)
        # Windows do not reach from one month into another.
        parts = [part.rolling(count, min_periods=count).mean() for _, part in true.groupby(true.index.month)]
        true = pd.concat(parts)
    hottest = "warm end" if target == "shade_air_c" else "basking site"
    excess = float((true.max().max() - row.high) / mine["error"].max())
    measured = hottest in set(mine["zone"]) or excess > 0
    return {"target": target, "contact_min": row.contact_min, "measured": measured, "excess": excess}


def rates(limits, advice):
    """The shares that the study is about."""
    seen = limits[limits["measured"]]
    far, quiet, over = seen[seen["excess"] > 3], seen[seen["excess"] <= 0], seen[seen["excess"] > 0]
    return {
        "enclosures": len(advice),
        "unknown called met": int(advice["unknown_met"].sum()),
        "limits exceeded by more than 3 errors": len(far),
        "of these found": float(far["alarm"].mean()),
        "limits not exceeded": len(quiet),
        "false alarms": float(quiet["alarm"].mean()),
        "exceeded and called met": int((over["status"] == Status.MET).sum()),
        "not measured and called met": int((limits.loc[~limits["measured"], "status"] == Status.MET).sum()),
        "contradictions": int(advice["contradictions"].sum()),
    }


def main():
    """Print the rates."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--enclosures", type=int, default=400)
    parser.add_argument("--days", type=int, default=3)
    parser.add_argument("--seed", type=int, default=0)
    given = parser.parse_args()
    limits, advice = run(given.enclosures, days=given.days, seed=given.seed)
    print(pd.Series(rates(limits, advice)).to_string())
    bands = pd.cut(limits.loc[limits["measured"], "excess"], [-np.inf, 0, 1, 3, 5, np.inf])
    print(limits[limits["measured"]].groupby([bands, "target"], observed=True)["alarm"].agg(["size", "mean"]).round(3))


if __name__ == "__main__":
    main()
