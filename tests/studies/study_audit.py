"""Does the audit find broken ceilings, and does it stay quiet otherwise? Random simulated enclosures with known faults.

python tests/studies/study_audit.py [--enclosures 200] [--days 30] [--seed 0] [--physical] [--null]

A third of the ceilings that are not broken are touched exactly by the truth, where a false alarm is likeliest. The
errors of the instruments last for the whole log, are drawn anew, drift over hours, or mix all three.
"""

import argparse
import sys
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
import simulated_enclosures as simulated

from fieldkit.captive import audit, targets
from fieldkit.captive.audit import means as audit_blocks
from fieldkit.demo import enclosure as demo


def _own(found):
    """The rows of the limits that were asked for, by target; the standard ones that an audit adds stand after them."""
    return found.table.drop_duplicates("target").set_index("target")


def run(n, *, days, seed):
    """One row per ceiling of n random enclosures: the truth, and what the audit said."""
    rows = []
    for i in range(n):
        record, wanted, truth = simulated.random_enclosure((seed, i), days=days)
        table = _own(audit.audit(record, wanted))
        rows.append(
            truth.assign(
                enclosure=i,
                status=truth["target"].map(table["status"]).to_numpy(),
                alarm=truth["target"].map(table["limit_exceeded"]).to_numpy(),
            )
        )
    return pd.concat(rows, ignore_index=True)


PHYSICAL = {"surface_c": 48.0, "shade_air_c": 33.5, "uv_index": 8.0}


def physical(n, *, seed):
    """As `run`, for random enclosures of the forward model: lamps, walls, vents, thermostats, sensors in the beam."""
    wanted = targets.make(
        pd.DataFrame([targets.target_row(t, high=h, kind="limit", source="made up") for t, h in PHYSICAL.items()]),
        species="ridge lizard",
        invented=True,
    )
    rows = []
    for i in range(n):
        record, truth = demo.random_enclosure(np.random.default_rng((seed, i)))
        table = _own(audit.audit(record, wanted))
        info = record.logger_info
        for target, ceiling in PHYSICAL.items():
            mine = info[info["role"] == simulated.ROLE_OF[target]]
            hottest = "warm end" if target == "shade_air_c" else "basking site"
            top = truth["highest"].loc[mine["point_id"].unique(), target].max() if len(mine) else np.nan
            excess = (top - ceiling) / mine["error"].max() if len(mine) else np.nan
            measured = hottest in set(mine["zone"]) or excess > 0
            rows.append(
                {
                    "enclosure": i,
                    "target": target,
                    "measured": measured,
                    "excess": excess,
                    "kind": "forward model",
                    "status": table.loc[target, "status"],
                    "alarm": table.loc[target, "limit_exceeded"],
                }
            )
    return pd.DataFrame(rows)


def summary(found):
    """Counts by what was true."""
    edges = [
        (-99, -0.01, "not reached"),
        (-0.01, 0.01, "touched exactly"),
        (0.01, 3, "passed by 0 to 3 errors"),
        (3, 5, "passed by 3 to 5 errors"),
        (5, 99, "passed by more than 5 errors"),
    ]
    rows = []
    for low, high, name in edges:
        part = found[found["measured"] & (found["excess"] > low) & (found["excess"] <= high)]
        rows.append(
            {
                "truth": name,
                "ceilings": len(part),
                "called broken": int(part["alarm"].sum()),
                "share": part["alarm"].mean(),
                "called met": int((part["status"] == "met").sum()),
            }
        )
    blind = found[~found["measured"]]
    rows.append(
        {
            "truth": "not measured",
            "ceilings": len(blind),
            "called broken": int(blind["alarm"].sum()),
            "share": blind["alarm"].mean(),
            "called met": int((blind["status"] == "met").sum()),
        }
    )
    return pd.DataFrame(rows)


def null(seed, *, n_logs=400):
    """How often a ceiling that the truth touches all the time is called broken, by length and kind of error."""
    rng = np.random.default_rng(seed)
    rows = []
    for n in (144, 1440, 4320):
        for lasting in (0.0, 0.3, 0.6, 0.9, 1.0):
            for kind in ("white", "drift"):
                alarms = 0
                for _ in range(n_logs):
                    error = np.sqrt(lasting) * rng.normal() + np.sqrt(1 - lasting) * simulated.noise(n, rng, kind)
                    alarms += audit_blocks.limit_p(48.0 + error, 48.0, 1.0) <= 0.05
                rows.append({"means": n, "lasting share": lasting, "rest": kind, "called broken": alarms / n_logs})
    return pd.DataFrame(rows)


def main():
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--enclosures", type=int, default=200)
    parser.add_argument("--days", type=int, default=30)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--physical", action="store_true", help="enclosures of the forward model")
    parser.add_argument("--null", action="store_true", help="only the false alarms of one ceiling, in the worst case")
    given = parser.parse_args()
    if given.null:
        print(null(given.seed).round(3).to_string(index=False))
        return
    if given.physical:
        found = physical(given.enclosures, seed=given.seed)
    else:
        found = run(given.enclosures, days=given.days, seed=given.seed)
    print(summary(found).round(3).to_string(index=False))
    real = found[found["measured"] & (found["excess"] > 0.01)]
    quiet = found[found["measured"] & (found["excess"] <= 0.01)]
    edge = quiet[quiet["excess"] > -0.01]
    large = real[real["excess"] > 3]
    print(f"\nbroken by more than 3 errors, found: {large['alarm'].mean():.1%}; any: {real['alarm'].mean():.1%}")
    anywhere = quiet.groupby("enclosure")["alarm"].any().mean()
    print(f"false alarms: {quiet['alarm'].mean():.1%} of {len(quiet)} unbroken; in {anywhere:.1%} of the enclosures")
    for name, part in (("false alarms where touched exactly", edge), ("found above 3 errors", large)):
        print(f"{name}, by kind of error:", part.groupby("kind")["alarm"].mean().round(3).to_dict())
    blind = found[~found["measured"]]
    print(f"not measured, reported as such: {(blind['status'] == 'not measured').mean():.1%} of {len(blind)}")
    print(f"called met though broken: {int((real['status'] == 'met').sum())} of {len(real)}")


if __name__ == "__main__":
    main()
