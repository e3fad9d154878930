"""Is the error of a target what it says? The scatter of targets over simulated seasons against the errors they state.

Run: python tests/studies/study_targets.py [seasons] [seed]
"""

import sys

import numpy as np
import pandas as pd
from scipy import special, stats
from study_basking import HUMP, season, true_limits

from fieldkit.captive import targets
from fieldkit.field import basking, thermoregulation

BETWEEN, WITHIN, READINGS = 1.2, 2.0, 12


def gradient(rng, animals):
    """Body temperatures in a gradient; ends of the true preferred range of the population's mean animal."""
    body = 34 + BETWEEN * rng.normal(size=animals)[:, None] + WITHIN * rng.normal(size=(animals, READINGS))
    found = thermoregulation.preferred_range(
        body.ravel(), animal_id=np.repeat(np.arange(animals), READINGS), n_resamples=199, rng=rng
    )
    rows = targets.preferred(found)
    return {"preferred range, high end": (rows[0]["low"], rows[0]["low_error"], rows[0]["n_independent"])}


def places(rng, animals):
    """Surfaces taken by animals, of which the middle is a target."""
    surface = 33 + BETWEEN * rng.normal(size=animals)[:, None] + WITHIN * rng.normal(size=(animals, READINGS))
    choices = pd.DataFrame(
        {
            "used": 1,
            "animal_id": np.repeat(np.arange(animals), READINGS),
            "time": pd.Timestamp("2030-05-01"),
            "surface_c": surface.ravel(),
        }
    )
    row = targets.taken(choices, "surface_c")[0]
    return {"surfaces taken, high end": (row["high"], row["high_error"], row["n_independent"])}


def window(rng, animals):
    """Shade air in which animals basked."""
    scans = season(rng, animals=animals, days=20, a_day=6, between_animals=0.05, between_days=0.05)
    row = targets.basking_air(basking.window(scans))
    row = row[0] if row else {"low": np.nan, "low_error": np.nan, "n_independent": np.nan}
    return {"basking window, low end": (row["low"], row["low_error"], row["n_independent"])}


def truths():
    """What the targets are of; the preferred range's own sample quantiles are unbiased to a few hundredths."""
    wide = np.hypot(BETWEEN, WITHIN)
    return {
        "preferred range, high end": 34 + WITHIN * stats.norm.ppf(0.75),
        "surfaces taken, high end": 33 + wide * stats.norm.ppf(0.9),
        "basking window, low end": true_limits(fraction_of_peak=0.5)[0],
    }


def main(seasons=400, seed=0):
    """Print scatter, stated errors and what they reach."""
    rng = np.random.default_rng(seed)
    print(f"{seasons} seasons a row; true hump of basking {HUMP}")
    for build in (gradient, places, window):
        for animals in (6, 12, 24):
            found = pd.concat(
                [pd.DataFrame(build(rng, animals), index=["value", "error", "n_independent"]).T for _ in range(seasons)]
            ).dropna()
            name = found.index[0]
            off = (found["value"] - truths()[name]).abs()
            reach = special.stdtrit(found["n_independent"] - 1, 0.975) * found["error"]
            print(
                f"{name:26s} {animals:3d} animals  scatter {found['value'].std():.3f}  stated, root mean square "
                f"{np.sqrt((found['error'] ** 2).mean()):.3f} (median {found['error'].median():.3f})  truth within "
                f"1.96 errors {100 * (off <= 1.96 * found['error']).mean():.1f} %, within Student's t of them "
                f"{100 * (off <= reach).mean():.1f} %  n {len(found)}",
                flush=True,
            )


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
