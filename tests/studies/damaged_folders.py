"""Damage folders at random and read them: ``python tests/studies/damaged_folders.py 20000 [FIRST_SEED]``.

Prints how many were read and refused, the slowest, and every one with a traceback, a hang of over 30 s or a row that
vanished without a word (rows read + rows reported = rows in the file). Exit status 1 if there is any. Ctrl-C ends the
run and prints what there is.
"""

import collections
import contextlib
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import damage


def main(number, first=0):
    """Read that many damaged folders and print what came of it."""
    count, slowest, wrong = collections.Counter(), (0.0, None), []
    done = 0
    with tempfile.TemporaryDirectory() as place, contextlib.suppress(KeyboardInterrupt):
        for seed in range(first, first + number):
            found = damage.one(seed, Path(place) / "folder")
            done += 1
            count[found["kind"], found["outcome"]] += 1
            slowest = max(slowest, (found["seconds"], seed))
            if found["wrong"]:
                wrong.append(found)
                print(f"seed {seed} ({found['kind']}): {found['wrong'][:200]}", flush=True)
    for (kind, outcome), times in sorted(count.items()):
        print(f"{kind:10} {outcome or 'failed':8} {times:7,}")
    print(f"slowest: {slowest[0]:.2f} s (seed {slowest[1]}); wrong: {len(wrong)} of {done:,}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:3])))
