"""Say how many choice sets, animals and days a season needs."""

import sys

from fieldkit.cli.status import OK

HELP = "say how many choice sets, animals and days are needed, from simulated seasons"


def declare(sub):
    """Declare what the command takes."""
    sub.add_argument("folder", nargs="?", help="season folder that gives the site and the instruments' errors")
    sub.add_argument("--driver", default="radiation", choices=["radiation", "surface", "air", "none"], help="the truth")
    sub.add_argument(
        "--effect", type=float, default=2.0, metavar="X", help="a place one s.d. higher is X times likelier"
    )
    sub.add_argument("--sets", type=int, nargs="+", default=[40, 80, 120, 160, 240, 320], help="season sizes to try")
    sub.add_argument("--animals", type=int, nargs="+", default=[15], help="numbers of animals to try")
    sub.add_argument("--sets-per-day", type=float, default=6.0, metavar="N", help="choice sets you can read in a day")
    sub.add_argument("--target", type=float, default=0.8, help="wanted chance of a right verdict (default 0.8)")
    sub.add_argument(
        "--seasons",
        type=int,
        default=200,
        help="simulated seasons a size (default 200; 50 give a rough answer in a quarter of the time)",
    )
    sub.add_argument("--workers", type=int, default=1, help="processes; the answer does not depend on it")
    sub.add_argument("--seed", type=int, default=0, help="seed of the simulation (default 0)")


def run(arguments):
    """Say how many choice sets, animals and days a season needs."""
    from fieldkit.field import planning

    given = {}
    if arguments.folder is not None:
        from fieldkit.records.season.reader import read_season

        season = read_season(arguments.folder)
        given = {"site": season.site, "instrument_errors": season.instrument_errors}
    found = planning.plan(
        **given,
        driver=arguments.driver,
        effect=arguments.effect,
        n_sets=arguments.sets,
        n_animals=arguments.animals,
        sets_per_day=arguments.sets_per_day,
        target=arguments.target,
        n_seasons=arguments.seasons,
        workers=arguments.workers,
        progress=sys.stderr.isatty(),
        rng=arguments.seed,
    )
    print(found.table.to_string(index=False, float_format=lambda x: f"{x:.3g}"))
    print(f"\n{found.sentence}")
    return OK
