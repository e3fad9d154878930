"""The command `fieldkit`: one thin door per verb. Parses, calls, prints; computes nothing."""

import argparse
import os
import sys

from fieldkit import __version__
from fieldkit.core import FieldkitError

OK, BROKEN, MISTAKE, STOPPED = 0, 1, 2, 130


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
    """Say every mistake of a season folder, without analysing it."""
    from fieldkit.records.problems import SeasonError, as_text
    from fieldkit.records.season.reader import read_season

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

        aims = targets.from_season(read_season(arguments.season), margin_c=arguments.margin, uv=arguments.uv)
    else:
        own = os.path.join(arguments.folder, "targets.toml")
        if arguments.targets is None and not os.path.isfile(own):
            raise FieldkitError(
                f"{arguments.folder} has no targets.toml: give --season DIR, a folder of field records from which the "
                "targets are taken, or --targets FILE."
            )
        aims = targets.load(arguments.targets or own)
    coverage, light = room.light_of(enclosure, aims)
    found = room.audit(enclosure, aims, coverage=coverage, light=light, allow_invented=arguments.invented)
    print(audit_text.text(found))
    if len(enclosure.warnings):
        print(f"\nIn the files: {as_text(enclosure.warnings, arguments.folder)}")
    if arguments.save_targets is not None:
        print(f"\nTargets saved: {aims.save(arguments.save_targets)}")
    if arguments.card is not None:
        allowed = {"allow_invented": arguments.invented}
        print(f"\n{card.write(aims, arguments.card, enclosure=enclosure, found=found, **allowed).sentence}")
    return found.exit_status


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
        "Exit status: 0 no limit was found exceeded and no danger was found in what was measured and stated (which "
        "does not mean that nothing is wrong), 1 a fault of fieldkit, 2 a mistake that you can mend, 3 a limit is "
        "exceeded or a danger was found."
    )
    sub.add_argument("folder", help="folder with enclosure.toml; fieldkit new FOLDER --enclosure makes one")
    sub.add_argument("--targets", metavar="FILE", help="targets file, .toml or .json; by default the folder's own")
    sub.add_argument("--season", metavar="DIR", help="take the targets from this season folder instead (half a minute)")
    sub.add_argument("--save-targets", metavar="FILE", help="save the targets, .toml or .json; nothing is overwritten")
    sub.add_argument(
        "--margin", type=float, default=5.0, metavar="C", help="with --season: margin of the caution about warm air, °C"
    )
    sub.add_argument("--uv", metavar="WORDS", help="with --season: how the species basks, such as 'occasional sun'")
    sub.add_argument("--invented", action="store_true", help="needed for invented targets of a real enclosure")
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
    sub = verb(
        classroom, "classroom", "make a folder for two lessons: notebooks for teacher and class, sheets to print"
    )
    sub.add_argument("folder", help="the folder to make")
    return parser


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
