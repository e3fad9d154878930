"""Is the verdict true under ordinary field practice? Worlds of `practice_worlds`, a row each, as a table.

Columns: how often each verdict was given, and how often what must be said beside it was said.
"""

import argparse
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import practice_worlds as worlds

from fieldkit.field import choice

VERDICTS = ["air", "surface", "radiation", "undecided", "none", "untestable"]


def one_season(job):
    """Verdict of one season, and what stood beside it."""
    name, seed, permutations = job
    table, begun = worlds.season(name, seed), time.perf_counter()
    got = choice.compare(table, instrument_errors=worlds.ERRORS, permutations=permutations, rng=seed)
    got_in = time.perf_counter() - begun
    named = got.verdict in worlds.COLUMNS
    own = got.chance.reindex(worlds.COLUMNS)["draws"].min() if got.chance is not None else np.nan
    return {
        "world": name,
        "verdict": got.verdict,
        # Used places are said to differ by more than chance and repetition.
        "chose": got.chosen,
        # A driver is told, and told of "the animals", without a word that they differ.
        "for all": named and (got.animals is None or got.animals.whom == "the animals"),
        "warned": bool(got.warnings),
        "drift": got.design is not None and bool(got.design.drifting),
        "alike": got.design is not None and bool(got.design.alike),
        # Operative temperature is named, or said to be indistinguishable.
        "operative": got.reason == "operative" or (got.operative is not None and got.operative.gain > -4),
        "none, p<.01": got.verdict == "none" and own < 0.01,
        "differ": got.animals is not None and got.animals.differ,
        "seconds": got_in,
    }


def study(names, *, seasons=40, seed=1, workers=1, permutations=199):
    """One row a world."""
    jobs = [(name, 100_000 * seed + i, permutations) for name in names for i in range(seasons)]
    if workers > 1:
        with ProcessPoolExecutor(workers) as pool:
            rows = list(pool.map(one_season, jobs, chunksize=10))
    else:
        rows = [one_season(job) for job in jobs]
    rows = pd.DataFrame(rows)
    shares = pd.crosstab(rows["world"], rows["verdict"]).reindex(index=names, columns=VERDICTS, fill_value=0)
    rest = rows.drop(columns="verdict").groupby("world").mean().reindex(names)
    rest = 100 * rest.astype(float)
    rest["seconds"] /= 100
    return pd.concat([100 * shares / seasons, rest], axis=1).round(
        {c: 2 if c == "seconds" else 0 for c in [*shares, *rest]}
    )


def main():
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seasons", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--permutations", type=int, default=199)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--worlds", default="", help="part of the names, or NULL, BIASED, CHOSEN, IDEAL")
    given = parser.parse_args()
    names = list(getattr(worlds, given.worlds, None) or [n for n in worlds.WORLDS if given.worlds in n])
    table = study(names, seasons=given.seasons, seed=given.seed, workers=given.workers, permutations=given.permutations)
    print(f"{given.seasons} seasons a row, seed {given.seed}; per cent (standard error of 5 %: "
          f"{100 * np.sqrt(0.0475 / given.seasons):.1f})")  # fmt: skip
    with pd.option_context("display.width", 250, "display.max_columns", None, "display.max_rows", None):
        print(table)


if __name__ == "__main__":
    main()
