"""How often pooled intervals hold the truth, how often a pool claims what is not there, and mixed folders.

python tests/studies/study_pool.py [--runs 1000] [--seed 1] [--folders 0]

Clubs: 3, 5 or 10 seasons, true values normal about a mean with standard deviation 0 to 0.8, standard errors of 0.15 for
70 choice sets; sizes equal, or 30 to 300 sets. `--folders`: that many mixed folders of 70 + 70 sets (about two
seconds each), and as many of one kind.
"""

import argparse

import numpy as np
import pandas as pd

from fieldkit.field import choice, pool
from fieldkit.field.planning import simulate


def clubs(runs, rng):
    """Coverage of the mean and of a new season, and false claims, by number of seasons, spread and size."""
    for n in (3, 5, 10):
        for spread in (0.0, 0.1, 0.2, 0.4, 0.8):
            for sizes in ("equal", "unequal"):
                held, new, false = 0, 0, 0
                for _ in range(runs):
                    sets = np.full(n, 70) if sizes == "equal" else rng.choice([30, 50, 70, 150, 300], n)
                    error = 0.15 * np.sqrt(70 / sets)
                    found = pool.combine(rng.normal(0, spread, n) + rng.normal(0, error), error, null=0.0)
                    held += found.low <= 0 <= found.high
                    new += found.new_low <= rng.normal(0, spread) <= found.new_high
                    false += found.clear
                where = f"{n:2d} seasons, spread {spread:.1f}, {sizes:7s}"
                found = f"mean {held / runs:.3f}  new season {new / runs:.3f}  false claims {false / runs:.3f}"
                print(f"{where}: {found}", flush=True)


def mixed(seed, drivers):
    """Choice sets of two species in one table."""
    parts = []
    for k, driver in enumerate(drivers):
        part = simulate.choice_season(n_sets=70, driver=driver, effect=2.0, n_animals=14, rng=2 * seed + k)
        names = {c: f"{k}-" + part.choices[c].astype(str) for c in ("set_id", "animal_id")}
        parts.append(part.choices.assign(species=f"species {k}", **names))
    return pd.concat(parts, ignore_index=True)


def folders(n, seed):
    """Shares of folders in which a driver is named, with and without the column that tells the species."""
    for drivers in (("radiation", "surface"), ("radiation", "radiation")):
        rows = []
        for i in range(n):
            table = mixed(seed + i, drivers)
            given = {"instrument_errors": simulate.INSTRUMENT_ERRORS, "permutations": 199}
            found = [choice.compare(t, **given).verdict for t in (table, table.drop(columns="species"))]
            rows.append([v in drivers for v in found])
        told, blind = np.mean(rows, axis=0)
        print(f"{' + '.join(drivers)}: a driver named in {told:.3f}, without the column in {blind:.3f}", flush=True)


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folders", type=int, default=0)
    given = parser.parse_args()
    if given.runs:
        clubs(given.runs, np.random.default_rng(given.seed))
    if given.folders:
        folders(given.folders, given.seed)
