"""Say how many choice sets, animals and days a season needs."""

import os
import sys

from fieldkit.cli.status import OK
from fieldkit.core import FieldkitError

HELP = "say how many choice sets, animals and days are needed, from simulated seasons"


def declare(sub):
    """Declare what the command takes."""
    sub.add_argument(
        "folder", nargs="?", help="season folder: site, instruments, design, and the effect if choices were read"
    )
    sub.add_argument(
        "--driver",
        choices=["radiation", "surface", "air", "none"],
        help="the truth (default: the folder's own verdict, else radiation)",
    )
    sub.add_argument(
        "--effect",
        type=float,
        metavar="X",
        help="a place one s.d. higher is X times likelier (default: the folder's own effect, else 2)",
    )
    sub.add_argument("--sets", type=int, nargs="+", default=[40, 80, 120, 160, 240, 320], help="season sizes to try")
    sub.add_argument(
        "--animals", dest="n_animals", type=int, nargs="+", metavar="N", help="numbers of animals to try (default 15)"
    )
    sub.add_argument("--sets-per-day", type=float, metavar="N", help="choice sets you can read in a day (default 6)")
    sub.add_argument("--target", type=float, default=0.8, help="wanted chance of a right verdict (default 0.8)")
    sub.add_argument(
        "--seasons",
        type=int,
        default=200,
        help="simulated seasons a size, if the time suffices (default 200)",
    )
    sub.add_argument("--seconds", type=float, default=50.0, metavar="S", help="stop playing after S s (default 50)")
    sub.add_argument("--workers", type=int, help="processes (default: one a core); the seasons are the same ones")
    sub.add_argument("--seed", type=int, default=0, help="seed of the simulation (default 0)")


def run(arguments):
    """Say how many choice sets, animals and days a season needs."""
    print("Planning: seasons are simulated and analysed as real ones would be. A rough answer comes first.", flush=True)
    from fieldkit.field import planning

    given, asked = {}, {"driver": arguments.driver, "effect": arguments.effect}
    if arguments.folder is not None:
        from fieldkit.records.season.stated import read_stated

        found = planning.ready(read_stated(arguments.folder))
        print("\n".join(found.words), flush=True)
        given = found.given
        if None in asked.values():
            asked = _own_effect(arguments.folder, asked)
    for name in ("sets_per_day", "n_animals"):
        if getattr(arguments, name) is not None:
            given[name] = getattr(arguments, name)
    found = planning.plan(
        **given,
        driver=asked["driver"] or "radiation",
        effect=2.0 if asked["effect"] is None else asked["effect"],
        n_sets=arguments.sets,
        target=arguments.target,
        n_seasons=arguments.seasons,
        workers=arguments.workers or os.cpu_count() or 1,
        seconds=arguments.seconds,
        on_first=lambda first: print(f"\nFirst, rough answer. {first.sentence}\n", flush=True),
        progress=True if sys.stderr.isatty() else _every_ten_seconds(),
        rng=arguments.seed,
    )
    print(found.table.to_string(index=False, float_format=lambda x: f"{x:.3g}"))
    print(f"\n{found.sentence}")
    if not found.settings["finished"]:
        print("The time was over before all seasons were played: --seconds 600 gives narrower intervals.")
    return OK


def _own_effect(folder, asked):
    """Driver and effect of the choice sets that the folder holds already, where nothing was asked for."""
    from fieldkit.field import planning
    from fieldkit.records.problems import SeasonError
    from fieldkit.records.season import read_season

    try:
        season = read_season(folder)
    except SeasonError:
        print("The tables are empty or hold mistakes (fieldkit check lists them): a guess of 2 is planned with.")
        return asked
    if season.choices is None:
        return asked
    try:
        own = planning.effect_of(season)
    except FieldkitError as error:
        print(f"No effect can be taken from the choices: {error}", flush=True)
        return asked
    print(own.sentence, flush=True)
    fits = own.driver is not None and asked["driver"] in (None, own.driver)
    return {name: value or (getattr(own, name) if fits else None) for name, value in asked.items()}


def _every_ten_seconds():
    """Progress for where there is no terminal: a line every ten seconds."""
    import time

    said = time.monotonic()

    def progress(done, total):
        nonlocal said
        if time.monotonic() - said >= 10:
            said = time.monotonic()
            print(f"{done:,} of at most {total:,} simulated seasons", file=sys.stderr, flush=True)

    return progress
