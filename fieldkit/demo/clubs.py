"""Five invented clubs with known truth, to pool: one with a thermometer in the sun, one that picked its places.

All are invented and every file says so. The forward model is `field.planning.simulate`; run
``python -m fieldkit.demo.clubs FOLDER`` to make the folders again.
"""

import sys
from pathlib import Path

import numpy as np

from fieldkit.core import FieldkitError, generator

SEED = 20250601
# What an analysis may be held against: the pull of radiation in each club (log odds per within-set standard deviation).
TRUTH = {"driver": "radiation", "mean_log_odds_per_sd": 0.9, "sd_between_clubs": 0.15}
SETS = {"A": 60, "B": 90, "C": 45, "D": 70, "E": 80}
SUNLIT, PICKED = "D", "E"
# A thermometer in the sun reads this much too warm for each W/m² (°C).
_TOO_WARM = 0.012


def seasons(*, rng=SEED):
    """Choice sets of five invented clubs.

    Parameters
    ----------
    rng : int or numpy.random.Generator
        Seed.

    Returns
    -------
    dict of str to (DataFrame, dict)
        Name of the club; its choices, and how it drew its places.

    Examples
    --------
    >>> list(seasons())
    ['A', 'B', 'C', 'D', 'E']
    """
    from fieldkit.field.planning import simulate

    rng = generator(rng)
    out = {}
    for name, n in SETS.items():
        # `effect` is the odds ratio of one within-set standard deviation.
        pull = float(np.exp(rng.normal(TRUTH["mean_log_odds_per_sd"], TRUTH["sd_between_clubs"])))
        table = simulate.choice_season(n_sets=n, driver="radiation", effect=pull, n_animals=14, rng=rng).choices
        if name == SUNLIT:
            table = table.assign(shade_air_c=table["shade_air_c"] + _TOO_WARM * table["irradiance_w_m2"])
        drawn = "picked by the observer" if name == PICKED else "random bearing and distance"
        out[name] = (table, {"drawn": drawn})
    return out


def estimates(*, rng=SEED, permutations=199):
    """Estimates of each club, as its write-up would publish them.

    Parameters
    ----------
    rng : int or numpy.random.Generator
        Seed of the clubs.
    permutations : int
        For the comparison of each.

    Returns
    -------
    dict of str to DataFrame
    """
    from fieldkit.field import choice, pool
    from fieldkit.field.planning import simulate

    about = {"species": "ridge lizard (invented)", "invented": "yes", "year": 2025}
    about["instrument_errors"] = "; ".join(f"{c} {e:g}" for c, e in sorted(simulate.INSTRUMENT_ERRORS.items()))
    out = {}
    for name, (table, design) in seasons(rng=rng).items():
        given = {"instrument_errors": simulate.INSTRUMENT_ERRORS, "design": design, "permutations": permutations}
        out[name] = pool.estimates.table(pool.rows(choice.compare(table, **given)), about)
    return out


def write(folder):
    """Write a folder of each club with its ``estimates.csv``; nothing is overwritten."""
    from fieldkit.field import pool

    folder = Path(folder)
    for name, table in estimates().items():
        place = folder / f"club_{name}"
        if place.exists():
            raise FieldkitError(f"{place} is there already: choose a new folder.")
        place.mkdir(parents=True)
        pool.estimates.write(table, place)
        (place / "README.txt").write_text("INVENTED: made by fieldkit.demo.clubs; no real animals.\n", encoding="utf-8")


if __name__ == "__main__":
    write(sys.argv[1])
