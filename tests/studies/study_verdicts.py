"""How often is the verdict right? Seasons with known truth, 200 a scenario; prints the table.

Rows: what the animals chose on, how many sets, how closely surface and radiation travel together, what is hard
about the season. Columns: how often the right driver was named, how often a wrong one, none, or "cannot tell".
"""

import argparse
import os
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import pandas as pd

from fieldkit.field import choice
from fieldkit.field.planning import simulate

# "Moderate": the odds of a place double for one within-set standard deviation of the driver.
EFFECT = 2.0
# Seen on paper as one look after the other while the animal stays where it is.
LOOKS = 4
HARD = {
    "animals differ": {"individual_sd": 0.4},
    "5 animals": {"n_animals": 5},
    "5 animals that differ": {"n_animals": 5, "individual_sd": 0.4},
    "coarse surface thermometer (3 °C)": {"instrument_errors": simulate.INSTRUMENT_ERRORS | {"surface_c": 3.0}},
    "air differs less (0.4 °C)": {"air_contrast_c": 0.4},
    "strong effect (odds × 4)": {"effect": 4.0},
}


# Not simply more or less: middle values sought, or sun sought when cool and fled when hot.
BENT = (
    ("surface: middle values, 30 °C", {"driver": "surface", "hump": (30.0, 4.0)}),
    ("surface: middle values, 34 °C", {"driver": "surface", "hump": (34.0, 5.0)}),
    ("radiation: middle values, 350 W/m²", {"driver": "radiation", "hump": (350.0, 150.0)}),
    ("radiation: sun below 22 °C, shade above", {"driver": "radiation", "switch_air_c": 22.0}),
    ("operative temperature, 34 °C", {"driver": "operative"}),
)
# Random choice, and each place kept for several looks.
STAYING = (
    ("15 animals, 4 looks a visit", {"n_sets": 30}),
    ("15 animals, 4 looks a visit", {"n_sets": 50}),
    ("5 animals, 4 looks a visit", {"n_sets": 30, "n_animals": 5}),
)


def scenarios(quick=False):
    """Label and settings of every scenario."""
    sizes = (60, 150) if quick else (30, 60, 100, 200)
    correlations = (0.75,) if quick else (0.6, 0.75, 0.85)
    out = []
    for driver in ("none", "air", "surface", "radiation"):
        for n_sets in sizes:
            for r in correlations if driver != "none" else (0.75,):
                out.append(("", {"driver": driver, "n_sets": n_sets, "surface_radiation_correlation": r}))
        if not quick:
            for label, settings in HARD.items():
                for n_sets in (60, 100, 200):
                    out.append((label, {"driver": driver, "n_sets": n_sets, **settings}))
    if not quick:
        out += [(label, {"n_sets": n, **settings}) for label, settings in BENT for n in (60, 100, 200)]
        out += [(label, {"driver": "none", "looks": LOOKS, **settings}) for label, settings in STAYING]
    return out


def looked_at_again(season, looks, rng):
    """The season's choices read `looks` times each, under a sun that comes and goes, the animals staying put."""
    rng = np.random.default_rng(rng)
    errors, parts = season.settings["instrument_errors"], []
    for look in range(looks):
        again = season.choices.assign(set_id=season.choices["set_id"] + f" look {look}")
        cloud = (1 + 0.2 * rng.normal(size=again["set_id"].nunique()))[pd.factorize(again["set_id"])[0]]
        for column in choice.DRIVERS.values():
            true = season.truth[column] * (cloud if column == "irradiance_w_m2" else 1.0)
            again[column] = true + rng.normal(0, errors[column], len(again))
        parts.append(again)
    return pd.concat(parts, ignore_index=True)


def one_season(job):
    """Verdict on one simulated season."""
    settings, seed = job
    looks = settings.get("looks", 1)
    world = {"effect": EFFECT} | {k: v for k, v in settings.items() if k != "looks"}
    season = simulate.choice_season(**world, rng=seed)
    choices = season.choices if looks == 1 else looked_at_again(season, looks, seed + 2 * 10**7)
    errors = season.settings["instrument_errors"]
    return choice.compare(choices, instrument_errors=errors, permutations=499, rng=seed + 10**7).verdict


def study(*, seasons=200, quick=False, workers=1, seed=20_000):
    """One row per scenario: share of each outcome over simulated seasons."""
    listed = scenarios(quick)
    jobs = [(s, seed + 1000 * j + i) for j, (_, s) in enumerate(listed) for i in range(seasons)]
    if workers > 1:
        with ProcessPoolExecutor(workers) as pool:
            verdicts = list(pool.map(one_season, jobs, chunksize=20))
    else:
        verdicts = [one_season(job) for job in jobs]
    rows = []
    for j, (label, s) in enumerate(listed):
        got = np.array(verdicts[j * seasons : (j + 1) * seasons])
        named = np.isin(got, list(choice.DRIVERS))
        rows.append(
            {
                "truth": s["driver"],
                "sets": s["n_sets"],
                "correlation": s.get("surface_radiation_correlation", 0.75),
                "hard": label,
                "right": np.mean(got == s["driver"]),
                "wrong": np.mean(named & (got != s["driver"])),
                "cannot tell": np.mean(got == "undecided"),
                "none": np.mean(got == "none"),
            }
        )
    return pd.DataFrame(rows)


def main():
    """Print the table and what it says about the three promises."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seasons", type=int, default=200)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--workers", type=int, default=os.cpu_count())
    given = parser.parse_args()
    table = study(seasons=given.seasons, quick=given.quick, workers=given.workers)
    with pd.option_context("display.width", 200, "display.max_rows", None):
        print((table.round(3)).to_string(index=False))
    plain = table[table["hard"] == ""]
    driven, random = plain[plain["truth"] != "none"], plain[plain["truth"] == "none"]
    enough = driven[driven["sets"] >= 100]
    error = np.sqrt(0.0475 / given.seasons)
    bent = table[table["hard"].isin([label for label, _ in BENT]) & (table["truth"] != "operative")]
    staying = table[table["hard"].isin([label for label, _ in STAYING])]
    print(f"\n{given.seasons} seasons a scenario; a share of 5 % has a standard error of {error:.1%}.")
    for words, shares, worst in (
        ("Wrong driver named (at most 5 %)", driven["wrong"], max),
        ("Any driver named under random choice (at most 5 %)", random["wrong"], max),
        ("Right driver named, 100 sets or more (at least 80 %)", enough["right"], min),
        ("Middle values or a switch: wrong driver named", bent["wrong"], max),
        ("Middle values or a switch, 100 sets or more: right driver", bent.loc[bent["sets"] >= 100, "right"], min),
        ("Random choice, animals that stay: any driver named", staying["wrong"], max),
    ):
        if len(shares):
            print(f"{words}: mean {shares.mean():.1%}, worst scenario {worst(shares):.1%}.")


if __name__ == "__main__":
    main()
