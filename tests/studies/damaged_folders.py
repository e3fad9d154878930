"""Damage folders at random and read them: ``python tests/studies/damaged_folders.py --count 20000 [--start SEED]``.

Prints how many were read and refused, the slowest, and every one with a traceback, a hang of over 30 s or a row that
vanished without a word (rows read + rows reported = rows in the file). Exit status 1 if there is any. Ctrl-C ends the
run and prints what there is. With ``--tally FILE`` a run in pieces (the second with ``--start 10000``) ends in one
summary: each piece adds a line to the file, and the summary is of all lines.
"""

import argparse
import collections
import contextlib
import gc
import json
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import damage


def read(first, number):
    """Read that many damaged folders, one seed each; what came of them."""
    counts, slowest, wrong, done = collections.Counter(), [0.0, None], [], 0
    # What stands after the imports is never let go: leave it out of every later collection.
    gc.freeze()
    with tempfile.TemporaryDirectory() as place, contextlib.suppress(KeyboardInterrupt):
        for seed in range(first, first + number):
            found = damage.one(seed, Path(place) / "folder")
            done += 1
            counts[f"{found['kind']:10} {found['outcome'] or 'failed':8}"] += 1
            slowest = max(slowest, [found["seconds"], seed])
            if found["wrong"]:
                wrong.append(seed)
                print(f"seed {seed} ({found['kind']}): {found['wrong'][:300]}", flush=True)
            if not done % 1000:
                print(f"… {done:,} folders from seed {first:,}", flush=True)
    return {"first": first, "done": done, "counts": counts, "slowest": slowest, "wrong": wrong}


def summary(pieces):
    """One table of all pieces."""
    counts = sum((collections.Counter(piece["counts"]) for piece in pieces), collections.Counter())
    slowest = max(piece["slowest"] for piece in pieces)
    wrong = [seed for piece in pieces for seed in piece["wrong"]]
    seeds = " and ".join(f"{p['first']:,} to {p['first'] + p['done'] - 1:,}" for p in pieces)
    lines = [f"{name} {times:7,}" for name, times in sorted(counts.items())]
    lines.append(f"slowest: {slowest[0]:.2f} s (seed {slowest[1]}); seeds {seeds}")
    return "\n".join([*lines, f"wrong: {len(wrong)} of {sum(counts.values()):,}"])


def main():
    """Read what the command line asks for and print what came of it."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--start", type=int, default=0, help="first seed")
    parser.add_argument("--count", type=int, default=1000, help="folders")
    parser.add_argument("--tally", type=Path, help="file that pieces of a run are added to")
    given = parser.parse_args()
    pieces = [read(given.start, given.count)]
    if given.tally is not None:
        with given.tally.open("a", encoding="utf-8") as file:
            file.write(json.dumps(pieces[0]) + "\n")
        pieces = [json.loads(line) for line in given.tally.read_text(encoding="utf-8").splitlines()]
    print(summary(pieces))
    return 1 if any(piece["wrong"] for piece in pieces) else 0


if __name__ == "__main__":
    sys.exit(main())
