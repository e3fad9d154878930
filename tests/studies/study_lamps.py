"""How often the limits of a fitted beam hold the truth: simulated lamps of every shape, readings of stated error.

    python tests/studies/study_lamps.py [lamps]

Each lamp has a strength, source and width of its own, drawn at random; a keeper reads it at eight places with a meter
of 5 % error. Counted is how often the 95 % limits hold the true parameters and the true irradiance at places where
nothing was read.
"""

import sys

import numpy as np
import pandas as pd

from fieldkit.captive import lamps
from fieldkit.core import generator

PLACES = pd.DataFrame(
    [(0.20, 0), (0.30, 0), (0.45, 0), (0.60, 0), (0.30, 12), (0.30, 24), (0.45, 18), (0.45, 35)],
    columns=["distance_m", "angle_deg"],
)
NEW = np.array([(0.25, 0), (0.35, 8), (0.40, 20), (0.50, 0), (0.80, 0)], dtype=float).T


def random_beam(rng, shape, source):
    """A lamp such as keepers use: 30 to 150 W/sr, 12 to 50 degrees, source up to 0.12 m behind or 0.08 m wide."""
    return lamps.Beam(
        intensity=float(np.exp(rng.uniform(np.log(30), np.log(150)))),
        near_m=float(rng.uniform(0.01, 0.12) if source == "offset" else rng.uniform(0.02, 0.08)),
        half_angle_deg=float(rng.uniform(12, 50)),
        shape=shape,
        source=source,
    )


def read(beam, rng, *, error=0.05, calibration=0.0, places=PLACES):
    """Readings of a beam with independent errors and one error shared by all."""
    truth = beam.at(places["distance_m"], places["angle_deg"])
    noise = 1 + error * rng.standard_normal(len(places))
    return places.assign(irradiance_w_m2=np.maximum(truth * noise * np.exp(calibration * rng.standard_normal()), 0.0))


def coverage(count, *, shape, source, stated=True, calibration=0.0, rng=0):
    """Share of lamps whose limits hold the truth: three parameters, then irradiance at the new places."""
    rng = generator(rng)
    held, widened = [], 0
    for _ in range(count):
        beam = random_beam(rng, shape, source)
        fit = lamps.fit_beam(
            read(beam, rng, calibration=calibration),
            meter_error=0.05 if stated else None,
            calibration_error=calibration,
            shape=shape,
            source=source,
        )
        truth = np.array([beam.intensity, beam.near_m, beam.half_angle_deg])
        # A limit that the readings do not set holds everything.
        low, high = fit.table["low"].fillna(-np.inf).to_numpy(), fit.table["high"].fillna(np.inf).to_numpy()
        at, (below, above) = beam.at(*NEW), fit.beam.interval(*NEW)
        held.append(np.r_[(low <= truth) & (truth <= high), (below <= at) & (at <= above)])
        widened += fit.widened > 1
    names = ["intensity", "near_m", "half_angle", *(f"{d:g} m {a:g}°" for d, a in NEW.T)]
    return pd.Series(np.mean(held, axis=0), index=names), widened / count


def main(count):
    cases = (
        ("cosine", "offset", True, 0.0),
        ("cosine", "offset", False, 0.0),
        ("cosine", "offset", True, 0.04),
        ("cosine", "disc", True, 0.0),
        ("gaussian", "offset", True, 0.0),
        ("gaussian", "disc", False, 0.0),
    )
    rows = {}
    for number, (shape, source, stated, calibration) in enumerate(cases):
        words = f"{shape}, {source}, error {'stated' if stated else 'from scatter'}"
        words += f", {100 * calibration:g} % calibration" if calibration else ""
        options = {"shape": shape, "source": source, "stated": stated, "calibration": calibration}
        rows[words], widened = coverage(count, **options, rng=number)
        rows[words]["widened"] = widened
    table = (100 * pd.DataFrame(rows).T).round(1)
    print(f"Share of {count} simulated lamps whose 95 % limits hold the truth, percent")
    print(table.to_string())
    table = table.drop(columns="widened")
    print(f"All: {table.to_numpy().mean():.2f} %, lowest {table.min().min():.1f}, highest {table.max().max():.1f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
