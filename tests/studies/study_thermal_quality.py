"""Does the interval of thermal quality hold the truth with few places, few days or lopsided places? Printed as a table.

Operative temperature of a place on a day: a mean, what is the place's own (normal, or lopsided: a few are hot), what
is the day's, and the reading's. The truth is the mean distance over all places and days that could have been.

Run: python tests/studies/study_thermal_quality.py [seasons] [seed]
"""

import sys

import numpy as np

from fieldkit.field import thermoregulation as thermo

RANGE = (32.0, 36.0)
# Places, days, readings a place and day, mean, spread of places, of days, of readings (°C), lopsided, share read.
WORLDS = {
    "25 places, 20 days": (25, 20, 1, 30, 5, 3, 4, False, 1.0),
    "8 places, 20 days": (8, 20, 2, 30, 5, 3, 4, False, 1.0),
    "25 lopsided places": (25, 20, 1, 30, 6, 2, 2, True, 1.0),
    "8 lopsided places": (8, 20, 2, 30, 6, 2, 2, True, 1.0),
    "40 lopsided near the range": (40, 10, 1, 34, 5, 1, 1, True, 1.0),
    "12 lopsided near the range": (12, 15, 1, 34, 6, 1, 1, True, 1.0),
    "6 days": (30, 6, 1, 31, 3, 5, 2, False, 1.0),
    "15 % of places read a day": (40, 20, 1, 30, 5, 3, 4, True, 0.15),
}


def own(rng, size, lopsided):
    """What a place has of its own, spread 1."""
    return rng.gamma(1.0, 1.0, size) - 1 if lopsided else rng.normal(size=size)


def truth(world, draws=4_000_000):
    """Mean distance over all places, days and readings."""
    _, _, _, mean, places_sd, days_sd, readings_sd, lopsided, _ = world
    rng = np.random.default_rng(0)
    operative = mean + places_sd * own(rng, draws, lopsided)
    operative += np.hypot(days_sd, readings_sd) * rng.normal(size=draws)
    return thermo.distance(operative, *RANGE).mean()


def coverage(seasons, rng, world):
    """Share of seasons whose interval holds the truth, share that lies below it, and the median ratio of its ends."""
    places, days, each, mean, places_sd, days_sd, readings_sd, lopsided, share = world
    rng, wanted = np.random.default_rng(rng), truth(world)
    held = below = 0
    ratios = []
    animals = np.repeat(np.arange(10), 6)
    for _ in range(seasons):
        place, day = (grid.ravel() for grid in np.meshgrid(np.arange(places), np.arange(days), indexing="ij"))
        read = rng.random(place.size) < share
        place, day = np.repeat(place[read], each), np.repeat(day[read], each)
        operative = mean + places_sd * own(rng, places, lopsided)[place] + days_sd * rng.normal(size=days)[day]
        operative = operative + readings_sd * rng.normal(size=place.size)
        row = thermo.indices(
            rng.normal(33, 2.5, animals.size),
            operative,
            RANGE,
            animal_id=animals,
            day=rng.integers(0, days, animals.size),
            operative_id=place,
            operative_day=day,
        ).table.loc["thermal quality"]
        held += row["low"] <= wanted <= row["high"]
        below += row["high"] < wanted
        ratios.append(row["high"] / row["low"])
    return held / seasons, below / seasons, float(np.median(ratios)), wanted


def main(seasons=400, seed=0):
    print(f"{seasons} seasons a row; Monte Carlo error of 95 %: {100 * np.sqrt(0.95 * 0.05 / seasons):.1f} points")
    for number, (name, world) in enumerate(WORLDS.items()):
        held, below, ratio, wanted = coverage(seasons, [seed, number], world)
        print(
            f"{name:28s} truth {wanted:.2f}  held {100 * held:.1f} %  below {100 * below:.1f} %  ratio {ratio:.1f}",
            flush=True,
        )


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
