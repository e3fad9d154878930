"""Do the limits of the basking window cover the truth? 1,000 simulated seasons a row, printed as a table.

Run: python tests/studies/study_basking.py [seasons] [seed]; judge a change with a seed that did not choose it.
"""

import sys

import numpy as np
import pandas as pd

from fieldkit.field import basking

# Optimum 28 °C; half of its peak of 0.75 at 19.1 and 36.9 °C (worked out below, not typed in).
HUMP = (-14.58, 1.12, -0.02)
LINE = (-9.0, 0.40)


def chance(air_c, coefficients):
    return 1 / (1 + np.exp(-np.polyval(coefficients[::-1], air_c)))


def true_limits(*, fraction_of_peak=None, probability=None):
    b0, b1, b2 = HUMP
    level = probability or fraction_of_peak * chance(-b1 / (2 * b2), HUMP)
    return np.sort(np.roots([b2, b1, b0 - np.log(level / (1 - level))]).real)


def season(
    generator, *, animals=14, days=40, a_day=6, between_animals=0.0, between_days=0.0, spread=None, coefficients=HUMP
):
    """Scans whose chance of basking is the known curve whatever the animals and days share.

    Days are as often warm as cold, or with `spread` (°C) mostly mild, few of them hot. Animals and days move a hidden
    normal variable, not the curve, so the population's curve is known exactly.
    """
    day = np.repeat(np.arange(days), animals * a_day)
    animal = np.tile(np.repeat(np.arange(animals), a_day), days)
    mean = generator.uniform(14, 36, days) if spread is None else generator.normal(27, spread, days)
    air = np.clip(mean[day] + generator.normal(0, 4.0, day.size), 8, 44)
    shared = np.sqrt(between_animals) * generator.normal(size=animals)[animal]
    shared += np.sqrt(between_days) * generator.normal(size=days)[day]
    hidden = shared + np.sqrt(1 - between_animals - between_days) * generator.normal(size=day.size)
    from scipy.special import ndtr

    basked = ndtr(hidden) < chance(air, coefficients)
    return pd.DataFrame(
        {
            "time": pd.Timestamp("2030-05-01 09:00") + pd.to_timedelta(day, unit="D"),
            "animal_id": [f"R{a:02d}" for a in animal],
            "behaviour": np.where(basked, "basking", "retreat"),
            "shade_air_c": air,
        }
    )


def coverage(seasons, rng, limits, *, world, **options):
    """Share of seasons whose interval holds the truth, for each limit, and how many intervals had two ends."""
    generator = np.random.default_rng(rng)
    held, closed = np.zeros(len(limits)), np.zeros(len(limits))
    for _ in range(seasons):
        table = basking.window(season(generator, **world), **options).table
        rows = table.loc[list(limits)]
        truth = np.array(list(limits.values()))
        held += (rows["low_c"] <= truth) & (truth <= rows["high_c"])
        closed += np.isfinite(rows["low_c"]) & np.isfinite(rows["high_c"])
    return held / seasons, closed / seasons


def main(seasons=1000, seed=0):
    half = dict(zip(("lower limit", "upper limit"), true_limits(fraction_of_peak=0.5)))
    fixed = dict(zip(("lower limit", "upper limit"), true_limits(probability=0.5)))
    top = {"peak": -HUMP[1] / (2 * HUMP[2])}
    line = {"lower limit": -LINE[0] / LINE[1]}
    alone = {"animals": 14, "days": 40, "a_day": 1}
    together = {"animals": 14, "days": 40, "a_day": 4, "between_animals": 0.05, "between_days": 0.05}
    few = {"animals": 8, "days": 20, "a_day": 6, "between_animals": 0.05, "between_days": 0.05}
    studies = [
        (
            "independent looks, straight line, p = 0.5",
            line,
            alone | {"coefficients": LINE},
            {"shape": "monotone", "probability": 0.5, "cluster": None},
        ),
        ("independent looks, half of peak", half | top, alone, {"cluster": None}),
        ("independent looks, p = 0.5", fixed, alone, {"probability": 0.5, "cluster": None}),
        ("14 animals, 40 days alike, half of peak", half | top, together, {}),
        ("14 animals, 40 days alike, p = 0.5", fixed, together, {"probability": 0.5}),
        (
            "the same, straight line, p = 0.5",
            line,
            together | {"coefficients": LINE},
            {"shape": "monotone", "probability": 0.5},
        ),
        ("the same taken as independent (wrong)", half | top, together, {"cluster": None}),
        ("8 animals, 20 days alike, half of peak", half | top, few, {}),
        (
            "the same, straight line, p = 0.5",
            line,
            few | {"coefficients": LINE},
            {"shape": "monotone", "probability": 0.5},
        ),
        ("14 animals, 40 days alike, few of them hot", half | top, together | {"spread": 5.0}, {}),
        (
            "20 days alike, animals not told apart",
            half | top,
            {"days": 20, "a_day": 3, "between_days": 0.08},
            {"cluster": "day"},
        ),
    ]
    print(
        f"{seasons} seasons a row; 95 % intervals; Monte Carlo error of a coverage of 95 %: "
        f"{100 * np.sqrt(0.95 * 0.05 / seasons):.1f} points"
    )
    for number, (name, limits, world, options) in enumerate(studies):
        held, closed = coverage(seasons, [seed, number], limits, world=world, **options)
        for limit in limits:
            print(
                f"{name:48s} {limit:12s} {limits[limit]:6.2f} °C  covered {100 * held[limit]:5.1f} %  "
                f"two-ended {100 * closed[limit]:5.1f} %",
                flush=True,
            )


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
