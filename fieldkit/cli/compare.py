"""Set wild animals and those of an enclosure beside each other."""

import os

from fieldkit.cli.status import OK
from fieldkit.core import FieldkitError

HELP = "set wild animals and those of an enclosure beside each other, with intervals"


def declare(sub):
    """Declare what the command takes."""
    sub.add_argument("season", help="season folder")
    sub.add_argument("enclosure", help="enclosure folder with scans of its animals")
    sub.add_argument(
        "--margin", nargs="+", metavar="NAME=NUMBER", help="what counts as alike, such as basking_hours=1.5"
    )
    sub.add_argument("--all-months", action="store_true", help="all months of the season, not only the enclosure's")
    sub.add_argument("--save", metavar="FILE", help="write the table as CSV; nothing is overwritten")


def run(arguments):
    """Set wild animals and those of an enclosure beside each other."""
    from fieldkit.captive import compare
    from fieldkit.records import spreadsheet
    from fieldkit.records.enclosure import read_enclosure
    from fieldkit.records.season import read_season
    from fieldkit.report.keeper import comparison
    from fieldkit.report.privacy import at_home, enclosures, gate, public

    if arguments.save is not None and os.path.exists(arguments.save):
        raise FieldkitError(f"{arguments.save} is there already: nothing was written. Give another name.")
    margins = dict(pairs(arguments.margin, "--margin basking_hours=1.5"))
    private, cage = read_season(arguments.season), read_enclosure(arguments.enclosure)
    kept = at_home.together(at_home.of_season(private), enclosures.secrets(cage))
    # A comparison is there to be shown: it is made from both as others may have them.
    with public.opened(private) as (_, season), enclosures.opened(cage) as enclosure:
        found = compare.compare(season, enclosure, margins=margins, match=not arguments.all_months)
        text = comparison.comparison(found, compare.remedies(found, season, enclosure))
    gate.check_text(text, kept, what="the comparison")
    print(text)
    if arguments.save is not None:
        with gate.held(arguments.save, kept, what="the table"):
            spreadsheet.write_csv(found.table.reset_index(), arguments.save)
        print(f"\nTable saved: {arguments.save}")
    return OK


def pairs(given, example):
    """NAME=NUMBER as typed, as names and numbers."""
    for text in given or ():
        name, _, number = text.partition("=")
        try:
            yield name, float(number)
        except ValueError:
            raise FieldkitError(f"'{text}' should be a name and a number, such as {example}.") from None
