"""Speed and memory of the conditional logit, side by side with R's survival::clogit and statsmodels' ConditionalLogit.

python tests/benchmarks/bench_choice.py [--sets 100000] [--places 10]
python tests/benchmarks/bench_choice.py --seasons-only

Promised: at least 15 times faster than R on 1,000,000 rows, 100 times faster per row than statsmodels, peak memory
under 10 times the design matrix; a whole verdict on 150 sets, 999 draws of every test, in under 1 s.
R (Debian: r-base-core, r-cran-survival) is left out with a word when it is not there.
"""

import argparse
import resource
import shutil
import subprocess
import sys
import tempfile
import time
import tracemalloc
from pathlib import Path

import numpy as np

from fieldkit.field import choice

NAMES = ["air", "surface", "radiation"]


def simulated(n_sets, n_places, seed=0):
    """Three correlated candidates, chosen by a known rule."""
    rng = np.random.default_rng(seed)
    x = rng.normal(size=(n_sets * n_places, 3))
    x[:, 2] = 0.7 * x[:, 1] + 0.7 * x[:, 2]
    set_id = np.repeat(np.arange(n_sets), n_places)
    noisy = (x @ [0.1, 0.2, 0.6] + rng.gumbel(size=len(x))).reshape(n_sets, n_places)
    used = (noisy == noisy.max(axis=1, keepdims=True)).astype(int).ravel()
    return x, used, set_id


def best_of(function, repeats):
    """Shortest time of some runs, and the last result."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        result = function()
        times.append(time.perf_counter() - start)
    return min(times), result


def in_r(x, used, set_id):
    """Seconds, coefficients and log likelihood by method, from R; empty when R or survival is missing."""
    if shutil.which("Rscript") is None:
        print("  R is not installed: not compared")
        return {}
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sets.csv"
        table = np.column_stack([x, used, set_id])
        np.savetxt(path, table, delimiter=",", header=",".join([*NAMES, "used", "set_id"]), comments="", fmt="%.17g")
        script = Path(__file__).with_suffix(".R")
        run = subprocess.run(["Rscript", str(script), str(path)], capture_output=True, text=True)
    if run.returncode:
        print(f"  R gave up: {run.stderr.strip()}")
        return {}
    out = {}
    for line in run.stdout.splitlines():
        method, *numbers = line.split()
        seconds, *rest = map(float, numbers)
        out[method] = seconds, np.array(rest[:3]), rest[3]
    return out


def verdicts():
    """Processor time of whole verdicts on seasons of 150 sets, 999 draws of every test."""
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
    import practice_worlds as worlds

    seasons = {
        "new places": worlds.fresh(np.random.default_rng(1), n_sets=150, pull={worlds.SUN: 0.7}),
        "30 home places": worlds.home(np.random.default_rng(1), n_animals=30, days=5, pull=1.0),
        "60 fixed places": worlds.fixed(np.random.default_rng(1), n_places=60, n_sets=150, pull=0.7),
        "one animal makes 60 %": worlds.season("one animal alone", 1),
    }
    print("A whole verdict, 999 draws of every test, processor time")
    for name, table in seasons.items():
        times = []
        for _ in range(3):
            start = time.process_time()
            answer = choice.compare(table, instrument_errors=worlds.ERRORS)
            times.append(time.process_time() - start)
        print(f"  {name:28s} {answer.n_sets} sets   {min(times):.2f} s   ({answer.verdict})")


def in_statsmodels(x, used, set_id):
    """Seconds and coefficients from statsmodels."""
    from statsmodels.discrete.conditional_models import ConditionalLogit

    start = time.perf_counter()
    fit = ConditionalLogit(used, x, groups=set_id).fit(disp=False)
    return time.perf_counter() - start, fit.params


def main():
    """Print the table of times, ratios and memory."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sets", type=int, default=100_000)
    parser.add_argument("--places", type=int, default=10)
    parser.add_argument("--statsmodels-sets", type=int, default=1000)
    parser.add_argument("--seasons-only", action="store_true")
    given = parser.parse_args()
    verdicts()
    if given.seasons_only:
        return
    x, used, set_id = simulated(given.sets, given.places)
    animal = set_id % 200
    start = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    choice.fit(x, used, set_id)
    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - start) * 1024
    tracemalloc.start()
    choice.fit(x, used, set_id, cluster=animal)
    traced = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    ours, fit = best_of(lambda: choice.fit(x, used, set_id), 5)
    robust, _ = best_of(lambda: choice.fit(x, used, set_id, cluster=animal), 3)
    mixed = np.random.default_rng(1).permutation(len(x))
    shuffled, _ = best_of(lambda: choice.fit(x[mixed], used[mixed], set_id[mixed]), 2)

    rows = len(x)
    print(f"{rows:,} rows: {given.sets:,} sets of {given.places} places, 3 candidates")
    print(
        f"  fieldkit                     {ours:8.3f} s   {1e9 * ours / rows:9.0f} ns a row   ({fit.iterations} steps)"
    )
    print(f"  fieldkit, by animal          {robust:8.3f} s")
    print(f"  fieldkit, rows in any order  {shuffled:8.3f} s")
    for method, (seconds, coefficients, log_likelihood) in in_r(x, used, set_id).items():
        difference = np.abs(coefficients - fit.coefficients).max()
        print(
            f"  R survival, {method:<16} {seconds:8.3f} s   {1e9 * seconds / rows:9.0f} ns a row   ratio "
            f"{seconds / ours:6.1f}   largest difference: coefficient {difference:.1e}, log likelihood "
            f"{abs(log_likelihood - fit.log_likelihood):.1e}"
        )
    x2, used2, set2 = simulated(given.statsmodels_sets, given.places, seed=1)
    seconds, coefficients = in_statsmodels(x2, used2, set2)
    small = choice.fit(x2, used2, set2)
    difference = np.abs(coefficients - small.coefficients).max()
    print(
        f"  statsmodels ({len(x2):,} rows)   {seconds:8.3f} s   {1e9 * seconds / len(x2):9.0f} ns a row   ratio "
        f"{seconds / len(x2) / (ours / rows):6.0f} a row   largest difference {difference:.1e}"
    )
    print(
        f"  peak memory of the fit: {traced / x.nbytes:.2f} times the design matrix allocated ({grown / x.nbytes:.2f} "
        f"times in resident memory); the design matrix is {x.nbytes / 1e6:.0f} MB"
    )


if __name__ == "__main__":
    main()
