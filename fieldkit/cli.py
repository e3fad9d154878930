"""The command `fieldkit`: one thin door per verb. Parses, calls, prints; computes nothing."""

import argparse
import os
import sys

from fieldkit import __version__
from fieldkit.core import FieldkitError

OK, BROKEN, MISTAKE, FOUND, STOPPED = 0, 1, 2, 3, 130


def new(arguments):
    """Make a season or enclosure folder that is ready to fill."""
    if arguments.enclosure:
        from fieldkit.captive import targets
        from fieldkit.records.enclosure import template as enclosure_template

        folder = enclosure_template.new_folder(arguments.folder, targets=targets.template())
        settings = "enclosure.toml"
    else:
        from fieldkit.records.season import template

        template.check_free(arguments.folder)
        answers = {}
        if sys.stdin is not None and sys.stdin.isatty():
            print("A few questions first. Enter leaves one for later; all can be changed in season.toml.\n")
            answers = template.ask()
        folder, settings = template.new_folder(arguments.folder, answers=answers), "season.toml"
    print(f"Made {folder}. Start with README.txt in it; then fill in {settings} and the tables you use.")
    return OK


def check(arguments):
    """List every problem of a season or enclosure folder, without analysing it."""
    from fieldkit.records.problems import SeasonError, as_text
    from fieldkit.records.season.reader import read_season

    if os.path.isfile(os.path.join(arguments.folder, "enclosure.toml")):
        from fieldkit.records.enclosure.reader import read_enclosure

        try:
            enclosure = read_enclosure(arguments.folder)
        except SeasonError as error:
            print(error)
            return MISTAKE
        print(f"{enclosure.sentence}\n\n{as_text(enclosure.warnings, arguments.folder)}")
        return OK
    try:
        season = read_season(arguments.folder)
    except SeasonError as error:
        print(error)
        return MISTAKE
    for source in season.sources.itertuples(index=False):
        how = [f"{source.rows:,} rows of {source.table}"]
        if source.separator:
            mark = "comma" if source.decimal_mark == "," else "point"
            how.append(f"cells parted by {source.separator}, decimal {mark}, {source.encoding}")
        print(f"{source.file}: {'; '.join(how)}")
    print()
    print(as_text(season.warnings, arguments.folder))
    return OK


def writeup(arguments):
    """Turn a season folder into a finished write-up."""
    from fieldkit.report import writeup as report

    if arguments.demo == (arguments.folder is not None):
        raise FieldkitError("Give either a season folder or --demo.")
    written = report.write(
        arguments.folder,
        arguments.out,
        only=arguments.only,
        enclosure=arguments.enclosure,
        authors=arguments.authors or (),
        licence=arguments.licence,
        data_at=arguments.data_at,
    )
    print(f"{written.sentence}\nRead it: {written.html}")
    return OK


def reproduce(arguments):
    """Rerun a published write-up and say which numbers differ."""
    from fieldkit.report.writeup import rerun as report

    found = report.reproduce(arguments.writeup, arguments.season, enclosure=arguments.enclosure, out=arguments.out)
    print(report.as_text(found))
    return OK if found.reproduced else BROKEN


def plan(arguments):
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


def share(arguments):
    """Write a season in open formats for others, with the place kept vague."""
    from fieldkit.records.season.reader import read_season
    from fieldkit.report import share as report

    shared = report.write(
        read_season(arguments.folder),
        arguments.out,
        licence=arguments.licence,
        authors=arguments.authors,
        contact=arguments.contact,
        title=arguments.title,
        scientific_name=arguments.scientific_name,
        coordinates=arguments.coordinates,
        position_uncertainty_m=arguments.position_uncertainty_m,
        include_notes=arguments.include_notes,
        allow_invented=arguments.invented,
    )
    print(shared.sentence)
    print("\n".join(f"- {row.file}: {row.holds}" for row in shared.table.itertuples(index=False)))
    print("What stayed at home, and why, stands in README.txt.\n\nBefore you send it")
    print("\n".join(f"- {caution}" for caution in shared.cautions))
    return OK


def audit(arguments):
    """Hold an enclosure against its targets."""
    from fieldkit.captive import audit as room
    from fieldkit.captive import targets
    from fieldkit.records.enclosure.reader import read_enclosure
    from fieldkit.records.problems import as_text
    from fieldkit.report.keeper import advice as audit_text
    from fieldkit.report.keeper import card

    if arguments.targets is not None and arguments.season is not None:
        raise FieldkitError("Give --targets FILE or --season DIR, not both.")
    enclosure = read_enclosure(arguments.folder)
    if arguments.season is not None:
        from fieldkit.records.season.reader import read_season

        aims = targets.from_season(read_season(arguments.season))
    else:
        own = os.path.join(arguments.folder, "targets.toml")
        if arguments.targets is None and not os.path.isfile(own):
            raise FieldkitError(
                f"{arguments.folder} has no targets.toml: give --season DIR, a folder of field records from which the "
                "targets are taken, or --targets FILE."
            )
        aims = targets.load(arguments.targets or own)
    coverage, light = room.light_of(enclosure, aims)
    found = room.audit(enclosure, aims, coverage=coverage, light=light)
    print(audit_text.text(found))
    if len(enclosure.warnings):
        print(f"\nIn the files: {as_text(enclosure.warnings, arguments.folder)}")
    if arguments.save_targets is not None:
        print(f"\nTargets saved: {aims.save(arguments.save_targets)}")
    if arguments.card is not None:
        print(f"\n{card.write(aims, arguments.card, enclosure=enclosure, found=found).sentence}")
    return found.exit_status


def compare(arguments):
    """Set wild animals and those of an enclosure beside each other."""
    from fieldkit.captive import compare as comparing
    from fieldkit.records.enclosure.reader import read_enclosure
    from fieldkit.records.season.reader import read_season
    from fieldkit.report import compare_text

    season, enclosure = read_season(arguments.season), read_enclosure(arguments.enclosure)
    margins = dict(_pairs(arguments.margin, "--margin basking_hours=1.5"))
    found = comparing.compare(season, enclosure, margins=margins, match=not arguments.all_months)
    print(compare_text.comparison(found, comparing.remedies(found, season, enclosure)))
    if arguments.save is not None:
        _save_table(found.table, arguments.save)
    return OK


def _pairs(given, example):
    """NAME=NUMBER as typed, as names and numbers."""
    for text in given or ():
        name, _, number = text.partition("=")
        try:
            yield name, float(number)
        except ValueError:
            raise FieldkitError(f"'{text}' should be a name and a number, such as {example}.") from None


def _save_table(table, path):
    if os.path.exists(path):
        raise FieldkitError(f"{path} is there already: nothing was written. Give another name.")
    table.to_csv(path)
    print(f"\nTable saved: {path}")


def trial_plan(arguments):
    """Draw a trial of one change, and say what it can show."""
    from fieldkit.captive import trial
    from fieldkit.records.enclosure.reader import read_enclosure
    from fieldkit.report import compare_text

    record = read_enclosure(arguments.folder)
    changes = {
        name: dict(_pairs(given, f"{option} spot=50"))
        for name, option, given in (
            ("power_w", "--power", arguments.power),
            ("height_m", "--height", arguments.height),
        )
        if given
    }
    planned = trial.plan(
        record,
        change=arguments.change,
        outcome=arguments.outcome,
        blocks=arguments.blocks,
        days=arguments.days,
        settle=arguments.settle,
        better=arguments.better,
        first_day=arguments.first_day,
        aims=_aims(arguments),
        changes=changes,
        after=None if arguments.after is None else read_enclosure(arguments.after),
        rng=arguments.seed,
    )
    files = trial.save(
        planned, arguments.out or arguments.folder, sheet=compare_text.sheet(planned, paper=arguments.paper)
    )
    print(compare_text.planned(planned))
    print("\n" + "\n".join(f"Written: {file}" for file in files))
    return OK


def trial_read(arguments):
    """Analyse a trial by the randomisation that was drawn."""
    from fieldkit.captive import trial
    from fieldkit.records.enclosure.reader import read_enclosure
    from fieldkit.report import compare_text

    found = trial.read(read_enclosure(arguments.folder), arguments.trial, aims=_aims(arguments))
    print(compare_text.trial(found))
    return OK if found.verdict != "stopped" else FOUND


def _aims(arguments):
    """Targets that were asked for, or those of the folder; None without any."""
    from fieldkit.captive import targets

    if arguments.targets is not None and arguments.season is not None:
        raise FieldkitError("Give --targets FILE or --season DIR, not both.")
    if arguments.season is not None:
        from fieldkit.records.season.reader import read_season

        return targets.from_season(read_season(arguments.season))
    own = os.path.join(arguments.folder, "targets.toml")
    if arguments.targets is None and not os.path.isfile(own):
        return None
    return targets.load(arguments.targets or own)


def classroom(arguments):
    """Make the folder for two lessons."""
    from fieldkit.classroom import folder as report

    files = report.write(arguments.folder)
    print(f"Made {arguments.folder}. Start with README.txt in it.")
    print("\n".join(f"- {file}" for file in files))
    return OK


def _parser():
    parser = argparse.ArgumentParser(
        prog="fieldkit",
        description="From a season of watching wild reptiles bask to numbers a keeper can use.",
        epilog="Exit status: 0 done, 1 a fault of fieldkit, 2 a mistake that you can mend.",
    )
    parser.add_argument("--version", action="version", version=f"fieldkit {__version__}")
    common = argparse.ArgumentParser(add_help=False)
    common.add_argument("--debug", action="store_true", help="show the call stack when something fails")
    verbs = parser.add_subparsers(title="verbs", metavar="VERB")

    def verb(function, name, text):
        sub = verbs.add_parser(name, help=text, description=text, parents=[common])
        sub.set_defaults(run=function)
        return sub

    sub = verb(new, "new", "make a season or enclosure folder that is ready to fill; nothing is overwritten")
    sub.add_argument("folder", help="the folder to make")
    sub.add_argument(
        "--enclosure", action="store_true", help="for an enclosure to audit, not for a season in the field"
    )
    sub = verb(check, "check", "say every mistake of a season folder, without analysing it")
    sub.add_argument("folder", help="folder with season.toml and the tables")
    sub = verb(writeup, "writeup", "turn a season folder into a finished write-up")
    sub.add_argument("folder", nargs="?", help="folder with season.toml and the tables")
    sub.add_argument("--demo", action="store_true", help="write up the invented season that comes with fieldkit")
    sub.add_argument("--out", required=True, metavar="DIR", help="folder for the write-up")
    sub.add_argument("--only", nargs="+", metavar="NN", help="only these notebooks, such as 06 08")
    sub.add_argument("--enclosure", metavar="DIR", help="an enclosure folder to hold against the season")
    sub.add_argument("--authors", nargs="+", metavar="WHO", help='whom to cite: "Family, Given" or the name of a group')
    sub.add_argument("--licence", metavar="NAME", help="terms of use of the write-up, such as CC-BY-4.0")
    sub.add_argument("--data-at", metavar="WHERE", help="where the records can be had (a DOI or an address)")
    sub = verb(reproduce, "reproduce", "rerun a published write-up and say which numbers differ")
    sub.epilog = (
        "Exit status: 0 every number came out again from the same records, 1 not so (or a fault of fieldkit), "
        "2 a mistake that you can mend."
    )
    sub.add_argument("writeup", help="the published folder")
    sub.add_argument("--season", metavar="DIR", help="the season folder it was made from; not needed for the demo")
    sub.add_argument("--enclosure", metavar="DIR", help="the enclosure folder, when one was written up with it")
    sub.add_argument("--out", metavar="DIR", help="keep the rerun here")
    sub = verb(audit, "audit", "hold an enclosure's readings against targets: what to change, in order of importance")
    sub.epilog = (
        "Exit status: 0 no broken ceiling and no danger was found in what was measured and stated (which does not "
        "mean that nothing is wrong), 1 a fault of fieldkit, 2 a mistake that you can mend, 3 a ceiling is broken or "
        "a danger was found."
    )
    sub.add_argument("folder", help="folder with enclosure.toml; fieldkit new FOLDER --enclosure makes one")
    sub.add_argument("--targets", metavar="FILE", help="targets file, .toml or .json; by default the folder's own")
    sub.add_argument("--season", metavar="DIR", help="take the targets from this season folder instead (half a minute)")
    sub.add_argument("--save-targets", metavar="FILE", help="save the targets, .toml or .json; nothing is overwritten")
    sub.add_argument("--card", metavar="FILE", help="write a setup card, .html (and .pdf where WeasyPrint is there)")
    sub = verb(plan, "plan", "say how many choice sets, animals and days are needed, from simulated seasons")
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
    sub = verb(share, "share", "write a season in open formats (Darwin Core, NetCDF, citation), its place kept vague")
    sub.add_argument("folder", help="folder with season.toml and the tables")
    sub.add_argument("--out", required=True, metavar="DIR", help="new folder to give away")
    sub.add_argument("--licence", metavar="NAME", help="terms of use: CC0-1.0, CC-BY-4.0 or CC-BY-NC-4.0")
    sub.add_argument("--authors", nargs="+", metavar="WHO", help='whom to cite: "Family, Given" or the name of a group')
    sub.add_argument("--contact", metavar="MAIL", help="where to ask")
    sub.add_argument("--title", help="do not name the place in it")
    sub.add_argument("--scientific-name", metavar="NAME", help="when season.toml gives a common name")
    sub.add_argument("--coordinates", default="0.1", metavar="HOW", help="none, 0.1 (default), 0.01, 0.001 or exact")
    sub.add_argument(
        "--position-uncertainty-m", type=float, metavar="M", help="how far from there animals may have been"
    )
    sub.add_argument("--include-notes", action="store_true", help="publish free text too; read all of it first")
    sub.add_argument("--invented", action="store_true", help="needed for invented records; each file will say so")
    _compare_and_trial(verb, common)
    sub = verb(
        classroom, "classroom", "make a folder for two lessons: notebooks for teacher and class, sheets to print"
    )
    sub.add_argument("folder", help="the folder to make")
    return parser


def _compare_and_trial(verb, common):
    sub = verb(compare, "compare", "set wild animals and those of an enclosure beside each other, with intervals")
    sub.add_argument("season", help="season folder")
    sub.add_argument("enclosure", help="enclosure folder with scans")
    sub.add_argument(
        "--margin", nargs="+", metavar="NAME=NUMBER", help="what counts as alike, such as basking_hours=1.5"
    )
    sub.add_argument("--all-months", action="store_true", help="all months of the season, not only the enclosure's")
    sub.add_argument("--save", metavar="FILE", help="write the table as CSV")
    sub = verb(trial_help, "trial", "try one change to an enclosure by a randomised design: plan, then read")
    parts = sub.add_subparsers(metavar="plan|read")
    sub = parts.add_parser("plan", help=trial_plan.__doc__, description=trial_plan.__doc__, parents=[common])
    sub.set_defaults(run=trial_plan)
    sub.add_argument("folder", help="enclosure folder with its usual setup")
    sub.add_argument("--change", required=True, help="the one change, in words")
    sub.add_argument("--outcome", default="basking_share", help="basking_share (default), moving_share, hidden_share …")
    sub.add_argument("--better", choices=("higher", "lower"), help="what counts as help")
    sub.add_argument("--blocks", type=int, default=8, help="blocks, each with both arms once (default 8)")
    sub.add_argument("--days", type=int, default=4, help="days of each arm in a block (default 4)")
    sub.add_argument("--settle", type=int, default=1, help="first days of these that do not count (default 1)")
    sub.add_argument("--first-day", metavar="DATE", help="such as 2026-05-14; the day after the last scan by default")
    sub.add_argument("--power", nargs="+", metavar="LAMP=WATTS", help="the change in numbers")
    sub.add_argument("--height", nargs="+", metavar="LAMP=METRES", help="the change in numbers")
    sub.add_argument("--after", metavar="DIR", help="enclosure folder read with the change made, animals out")
    sub.add_argument("--seed", type=int, default=None, help="seed of the order; drawn unless given")
    sub.add_argument("--out", metavar="DIR", help="folder for trial.toml and the sheet; the enclosure's by default")
    sub.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="of the sheet")
    _held_against(sub)
    sub = parts.add_parser("read", help=trial_read.__doc__, description=trial_read.__doc__, parents=[common])
    sub.set_defaults(run=trial_read)
    sub.add_argument("folder", help="enclosure folder with the scans of the trial")
    sub.add_argument("--trial", metavar="FILE", help="trial.toml, when it is not in the folder")
    _held_against(sub)


def _held_against(sub):
    sub.add_argument("--targets", metavar="FILE", help="ceilings to hold both arms against; targets.toml of the folder")
    sub.add_argument("--season", metavar="DIR", help="or a season folder, from which the targets are taken")


def trial_help(arguments):
    """Say that a trial is planned or read."""
    raise FieldkitError("Write fieldkit trial plan MY_ENCLOSURE … or fieldkit trial read MY_ENCLOSURE.")


def main(argv=None):
    """Run one verb.

    Parameters
    ----------
    argv : list of str, optional
        Arguments; those of the process by default.

    Returns
    -------
    int
        0 done, 1 a fault of fieldkit, 2 a mistake that the user can mend, 130 stopped by hand.

    Examples
    --------
    >>> main(["check", "no_such_folder"])
    1 mistake to mend in no_such_folder:
    <BLANKLINE>
    MEND   no_such_folder
           There is no such folder.
           What to do: Check the spelling of the path.
    2
    """
    for stream in (sys.stdout, sys.stderr):
        # A console that lacks a letter shows ? for it rather than failing.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    parser = _parser()
    arguments = parser.parse_args(argv)
    if not hasattr(arguments, "run"):
        parser.print_help()
        return MISTAKE
    try:
        return arguments.run(arguments)
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
        return STOPPED
    except BrokenPipeError:
        # The reader of our output (head, less) has left: nothing to say to anyone.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return STOPPED
    except FieldkitError as error:
        if arguments.debug:
            raise
        print(error, file=sys.stderr)
        return MISTAKE
    except Exception as error:
        if arguments.debug:
            raise
        print(
            f"Something failed inside fieldkit that should not ({type(error).__name__}: {error}).\n"
            "Your records were not changed. Please report it: run the same command with --debug added and send what it "
            f"prints, with the version (fieldkit {__version__}), where you got fieldkit from.",
            file=sys.stderr,
        )
        return BROKEN


if __name__ == "__main__":
    sys.exit(main())
