"""Do limits and peak of the basking window cover the truth when its curve is symmetrical, skewed or flat?

Invented seasons whose chance of basking is a known curve of shade air, of none of the shapes that are fitted but one.
Animals and days move a hidden normal variable, so the population's curve is known exactly. For a flat top the truth
is the middle of the plateau (or its hot end, where the plateau rises a little).

Run: python tests/studies/study_basking_shapes.py [seasons] [seed] [name,name]
"""

import sys

import numpy as np
import pandas as pd
from scipy.special import expit, ndtr

from fieldkit.field import basking


def two_sided(top, cold, hot):
    """Bell with one width on its cold and another on its hot side."""

    def chance(air):
        return 0.7 * np.exp(-(((air - top) / np.where(air < top, cold, hot)) ** 2) / 2)

    return chance


CURVES = {
    "symmetrical": lambda air: expit(-14.58 + 1.12 * air - 0.02 * air * air),
    "skewed, sharp in heat": two_sided(30.0, 10.0, 3.5),
    "skewed, sharp in cold": two_sided(24.0, 4.0, 9.0),
    "skewed, smooth": lambda air: 0.86 * np.exp(-np.exp((air - 34) / 2.5)) * expit((air - 18) / 3.5),
    "skewed, a cliff": lambda air: 0.8 * np.clip((air - 12) / 18, 0, 1) * expit((34 - air) / 0.7),
    "flat": lambda air: 0.7 * expit((air - 19) / 1.3) * expit((36 - air) / 1.3),
    "flat, rising": lambda air: (0.45 + 0.012 * (air - 19)) * expit((air - 18) / 1.2) * expit((36 - air) / 1.2),
}
SIZES = {"14 animals, 40 days": (14, 40, 4), "8 animals, 20 days": (8, 20, 6)}


def truth(chance):
    """Lower limit, peak and upper limit at half of the peak, found on a fine grid."""
    air = np.linspace(5, 48, 430_001)
    height = chance(air)
    top = int(height.argmax())
    above = air[height >= height[top] / 2]
    return np.array([above.min(), air[top], above.max()])


def season(rng, chance, animals, days, a_day, *, alike=0.05):
    """Scans of animals and days that differ in a hidden normal variable."""
    day = np.repeat(np.arange(days), animals * a_day)
    animal = np.tile(np.repeat(np.arange(animals), a_day), days)
    air = np.clip(rng.uniform(14, 36, days)[day] + rng.normal(0, 4, day.size), 8, 44)
    hidden = np.sqrt(alike) * (rng.normal(size=animals)[animal] + rng.normal(size=days)[day])
    hidden += np.sqrt(1 - 2 * alike) * rng.normal(size=day.size)
    return pd.DataFrame(
        {
            "time": pd.Timestamp("2030-05-01 09:00") + pd.to_timedelta(day, unit="D"),
            "animal_id": [f"R{a:02d}" for a in animal],
            "behaviour": np.where(ndtr(hidden) < chance(air), "basking", "retreat"),
            "shade_air_c": air,
        }
    )


def coverage(seasons, rng, name, size, **options):
    """Shares of seasons whose intervals hold the truth, median widths (°C), shares called flat and fitted by a hump."""
    rng, chance = np.random.default_rng(rng), CURVES[name]
    wanted, held, widths, flat, hump = truth(chance), [], [], [], []
    for _ in range(seasons):
        found = basking.window(season(rng, chance, *SIZES[size]), **options)
        low, high = found.table["low_c"].to_numpy(float), found.table["high_c"].to_numpy(float)
        held.append((low <= wanted) & (wanted <= high))
        widths.append(high - low)
        flat.append(found.flat_top)
        hump.append(found.settings["knots"] is None)
    return np.mean(held, axis=0), np.nanmedian(widths, axis=0), np.mean(flat), np.mean(hump)


def main(seasons=200, seed=0, names=""):
    seasons, seed = int(seasons), int(seed)
    print(f"{seasons} seasons a row; Monte Carlo error of 95 %: {100 * np.sqrt(0.95 * 0.05 / seasons):.1f} points")
    for place, size in enumerate(SIZES):
        for number, name in enumerate(CURVES):
            if names and name not in names.split(","):
                continue
            held, widths, flat, hump = coverage(seasons, [seed, place, number], name, size)
            shares = "  ".join(f"{w} {100 * h:5.1f} %" for w, h in zip(("lower", "peak", "upper"), held))
            print(
                f"{size:20s} {name:24s} {shares}  widths {widths.round(1)}  flat {flat:.2f}  hump {hump:.2f}",
                flush=True,
            )


if __name__ == "__main__":
    main(*sys.argv[1:])
