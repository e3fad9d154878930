"""Do the intervals of thermoregulation cover the truth? Simulated seasons whose animals and days differ, as a table.

Run: python tests/studies/study_thermoregulation.py [seasons] [seed]; judge a change with a seed that did not choose it.
"""

import sys

import numpy as np

from fieldkit.field import thermoregulation as thermo

RANGE = (32.0, 36.0)
ANIMALS = (4, 6, 8, 12, 20)
# Body: mean, share of the day's weather that reaches it, spread of animals, of an animal's days and of readings (°C).
# Places: mean 29 °C, 40 of them, five read a day.
NEAR = {"days": 30, "weather": 3.0, "mean": 34.0, "share": 0.3, "animals": 1.5, "own_days": 0.5, "readings": 1.5}
WORLDS = {
    "near the range": NEAR,
    "cold, weather shared": NEAR | {"mean": 30.0, "share": 0.5},
    "animals alike, weather shared": NEAR | {"weather": 4.0, "mean": 29.0, "share": 0.8, "animals": 0.5},
    "8 days": NEAR | {"days": 8, "share": 0.4},
    "seen unequally often": NEAR | {"unequal": True},
    "a few regulate badly": NEAR | {"mean": 34.5, "lopsided": True},
    "range from 8 animals in a gradient": NEAR | {"mean": 30.0, "share": 0.5, "gradient": 8},
}


def animal_effects(rng, size, world):
    if world.get("lopsided"):
        return -rng.exponential(world["animals"], size)
    return rng.normal(0, world["animals"], size)


def season(rng, animals, world):
    """Body and operative temperatures with the labels that `indices` takes."""
    weather = rng.normal(0, world["weather"], world["days"])
    often = rng.permutation(np.linspace(0.1, 0.9, animals)) if world.get("unequal") else np.full(animals, 0.5)
    animal, day = np.nonzero(rng.random((animals, world["days"])) < often[:, None])
    missed = np.setdiff1d(np.arange(animals), animal)
    animal, day = np.append(animal, missed), np.append(day, np.zeros(missed.size, int))
    own = rng.normal(0, world["own_days"], (animals, world["days"]))
    body = world["mean"] + world["share"] * weather[day] + animal_effects(rng, animals, world)[animal]
    body += own[animal, day] + rng.normal(0, world["readings"], body.size)
    read_on = np.repeat(np.arange(world["days"]), 5)
    place = rng.integers(40, size=read_on.size)
    operative = 29 + weather[read_on] + rng.normal(0, 4, 40)[place] + rng.normal(0, 5, read_on.size)
    return {
        "body_c": body,
        "operative_c": operative,
        "animal_id": animal,
        "day": day,
        "operative_id": place,
        "operative_day": read_on,
    }


def truth(world, draws=2_000_000):
    rng = np.random.default_rng(0)
    weather = rng.normal(0, world["weather"], draws)
    rest = rng.normal(0, np.hypot(world["own_days"], world["readings"]), draws)
    body = world["mean"] + world["share"] * weather + animal_effects(rng, draws, world) + rest
    operative = 29 + weather + rng.normal(0, np.hypot(4, 5), draws)
    db, de = (thermo.distance(t, *RANGE).mean() for t in (body, operative))
    inside = ((body >= RANGE[0]) & (body <= RANGE[1])).mean()
    return np.array([db, de, 1 - db / de, de - db, inside])


def drawn_range(rng, animals):
    """A gradient whose true central half is RANGE."""
    body = 34 + rng.normal(0, 0.8, animals)[:, None] + rng.normal(0, 2 / 0.6744898, (animals, 20))
    return thermo.preferred_range(body.ravel(), animal_id=np.repeat(np.arange(animals), 20), n_resamples=199, rng=rng)


def coverage(seasons, rng, animals, world):
    """Share of seasons whose intervals hold db, de, E, I and exploitation; and how many had an interval of E."""
    rng, wanted = np.random.default_rng(rng), truth(world)
    held, given, widths = np.zeros(5), 0, []
    for _ in range(seasons):
        preferred = drawn_range(rng, world["gradient"]) if "gradient" in world else RANGE
        readings = season(rng, animals, world)
        rows = thermo.indices(**{"preferred_range_c": preferred, **readings}).table[["low", "high"]].to_numpy()
        # Coolest and warmest place always enclose the range, so that every time counts.
        ends = np.tile([0.0, 60.0], (len(readings["body_c"]), 1))
        got = thermo.exploitation(
            readings["body_c"], ends, preferred, animal_id=readings["animal_id"], day=readings["day"]
        ).table.loc["span", ["low", "high"]]
        rows = np.vstack([rows, got.to_numpy(float)])
        # No interval claims nothing.
        held += np.isnan(rows[:, 0]) | ((rows[:, 0] <= wanted) & (wanted <= rows[:, 1]))
        given += np.isfinite(rows[2, 0])
        widths.append(rows[2, 1] - rows[2, 0])
    return held / seasons, given / seasons, float(np.nanmedian(widths))


def main(seasons=1000, seed=0):
    print(f"{seasons} seasons a row; Monte Carlo error of 95 %: {100 * np.sqrt(0.95 * 0.05 / seasons):.1f} points")
    for number, (name, world) in enumerate(WORLDS.items()):
        db, de, effectiveness = truth(world)[:3]
        print(f"{name}: db {db:.2f} °C, de {de:.2f} °C, E {effectiveness:.2f}")
        for animals in ANIMALS:
            held, given, width = coverage(seasons, [seed, number, animals], animals, world)
            shares = "  ".join(
                f"{label} {100 * h:5.1f}" for label, h in zip(("db", "de", "E", "I", "exploitation"), held)
            )
            print(
                f"  {animals:2d} animals  {shares} %  width of E {width:.2f}, given in {100 * given:.0f} %", flush=True
            )


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
