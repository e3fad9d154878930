"""Rerun a published write-up and say which numbers differ."""

import os

from fieldkit.cli.status import BROKEN, OK

HELP = "rerun a published write-up and say which numbers differ"


def declare(sub):
    """Declare what the command takes."""
    sub.epilog = (
        "Exit status: 0 every number came out again from the same records, 1 not so (or a fault of fieldkit), "
        "2 a mistake that you can mend."
    )
    sub.add_argument("writeup", help="the published folder, or that of a pool")
    sub.add_argument("--season", metavar="DIR", help="the season folder it was made from; not needed for the demo")
    sub.add_argument("--enclosure", metavar="DIR", help="the enclosure folder, when one was written up with it")
    sub.add_argument("--out", metavar="DIR", help="keep the rerun here")


def run(arguments):
    """Rerun a published write-up and say which numbers differ."""
    from fieldkit.report import pooled
    from fieldkit.report.writeup import rerun as report

    if os.path.lexists(os.path.join(arguments.writeup, pooled.MARKER)):
        found = pooled.reproduce(arguments.writeup)
        print(report.as_text(found))
        return OK if found.reproduced else BROKEN
    found = report.reproduce(arguments.writeup, arguments.season, enclosure=arguments.enclosure, out=arguments.out)
    print(report.as_text(found))
    return OK if found.reproduced else BROKEN
