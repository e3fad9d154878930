"""Try one change to an enclosure by a randomised design: plan it, then read it."""

import os

from fieldkit.cli.compare import pairs
from fieldkit.cli.status import OK
from fieldkit.core import FieldkitError

HELP = "try one change to an enclosure by a randomised design: plan it, then read it"
# Exit status when a limit was reached that stops a trial.
STOP = 3


def declare(sub):
    """Declare what the command takes."""
    sub.epilog = "Exit status: 0 done, 1 a fault of fieldkit, 2 a mistake that you can mend, 3 the trial has to stop."
    parts = sub.add_subparsers(metavar="plan|read")
    text = "draw the order of a trial, say what it can show, and write the sheet"
    part = parts.add_parser("plan", help=text, description=text)
    part.set_defaults(run=plan)
    part.add_argument("folder", help="enclosure folder with its usual setup")
    part.add_argument("--change", required=True, help="the one change, in words")
    part.add_argument(
        "--outcome", default="basking_share", help="basking_share (default), moving_share, hidden_share …"
    )
    part.add_argument("--better", choices=("higher", "lower"), help="what counts as help; by the outcome by default")
    part.add_argument("--blocks", type=int, default=8, help="blocks, each with both arms once (default 8)")
    part.add_argument("--days", type=int, default=4, help="days of each arm in a block (default 4)")
    part.add_argument("--settle", type=int, default=1, help="first days of these that do not count (default 1)")
    part.add_argument("--first-day", metavar="DATE", help="such as 2026-05-14; the day after the last scan by default")
    part.add_argument("--power", nargs="+", metavar="LAMP=WATTS", help="the change in numbers")
    part.add_argument("--height", nargs="+", metavar="LAMP=METRES", help="the change in numbers")
    part.add_argument("--after", metavar="DIR", help="enclosure folder read with the change made, animals out")
    part.add_argument("--seed", type=int, help="seed of the order, to draw one again; one is drawn by default and kept")
    part.add_argument("--out", metavar="DIR", help="folder for trial.toml and the sheet; the enclosure's by default")
    part.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="of the sheet")
    _held_against(part)
    text = "analyse a trial by the orders that could have been drawn"
    part = parts.add_parser("read", help=text, description=text)
    part.set_defaults(run=read)
    part.add_argument("folder", help="enclosure folder with the scans of the trial")
    part.add_argument("--trial", metavar="FILE", help="trial.toml, when it is not in the folder")
    _held_against(part)


def _held_against(part):
    part.add_argument("--targets", metavar="FILE", help="limits for both arms; targets.toml of the folder by default")
    part.add_argument("--season", metavar="DIR", help="or a season folder, from which the targets are taken")
    part.add_argument("--debug", action="store_true", help="show the call stack when something fails")


def run(arguments):
    """Say that a trial is planned or read."""
    raise FieldkitError("Write fieldkit trial plan MY_ENCLOSURE … or fieldkit trial read MY_ENCLOSURE.")


def plan(arguments):
    """Draw a trial of one change, and say what it can show."""
    from fieldkit.captive import trial
    from fieldkit.records.enclosure import read_enclosure
    from fieldkit.report.keeper import comparison

    given = {"power_w": (arguments.power, "--power spot=50"), "height_m": (arguments.height, "--height spot=0.45")}
    planned = trial.plan(
        read_enclosure(arguments.folder),
        change=arguments.change,
        outcome=arguments.outcome,
        blocks=arguments.blocks,
        days=arguments.days,
        settle=arguments.settle,
        better=arguments.better,
        first_day=arguments.first_day,
        aims=_aims(arguments),
        changes={name: dict(pairs(*typed)) for name, typed in given.items() if typed[0]},
        after=None if arguments.after is None else read_enclosure(arguments.after),
        rng=arguments.seed,
    )
    sheet = comparison.sheet(planned, paper=arguments.paper)
    files = trial.save(planned, arguments.out or arguments.folder, sheet=sheet)
    print(comparison.planned(planned))
    print("\n" + "\n".join(f"Written: {file}" for file in files))
    return OK


def read(arguments):
    """Analyse a trial by the orders that could have been drawn."""
    from fieldkit.captive import trial
    from fieldkit.records.enclosure import read_enclosure
    from fieldkit.report.keeper import comparison

    found = trial.read(read_enclosure(arguments.folder), arguments.trial, aims=_aims(arguments))
    print(comparison.trial(found))
    return STOP if found.verdict == "stopped" else OK


def _aims(arguments):
    """Targets that were asked for, or those of the folder; None without any."""
    from fieldkit.captive import targets

    if arguments.targets is not None and arguments.season is not None:
        raise FieldkitError("Give --targets FILE or --season DIR, not both.")
    if arguments.season is not None:
        from fieldkit.records.season import read_season
        from fieldkit.report.privacy import public

        with public.opened(read_season(arguments.season)) as (_, season):
            return targets.from_season(season)
    own = os.path.join(arguments.folder, "targets.toml")
    if arguments.targets is None and not os.path.isfile(own):
        return None
    return targets.load(arguments.targets or own)
