"""Turn a season folder into a finished write-up."""

from fieldkit.cli.status import OK
from fieldkit.core import FieldkitError

HELP = "turn a season folder into a finished write-up"


def declare(sub):
    """Declare what the command takes."""
    sub.add_argument("folder", nargs="?", help="folder with season.toml and the tables")
    sub.add_argument("--demo", action="store_true", help="write up the invented season that comes with fieldkit")
    sub.add_argument("--out", required=True, metavar="DIR", help="folder for the write-up")
    sub.add_argument("--only", nargs="+", metavar="NN", help="only these notebooks, such as 06 08")
    sub.add_argument("--enclosure", metavar="DIR", help="an enclosure folder to hold against the season")
    sub.add_argument("--authors", nargs="+", metavar="WHO", help='whom to cite: "Family, Given" or the name of a group')
    sub.add_argument("--licence", metavar="NAME", help="terms of use of the write-up, such as CC-BY-4.0")
    sub.add_argument(
        "--languages", nargs="+", default=(), metavar="CODE", help="write the summary in these languages too: de es fr"
    )
    sub.add_argument("--data-at", metavar="WHERE", help="where the records can be had (a DOI or an address)")
    sub.add_argument(
        "--exact-place", action="store_true", help="publish the exact place of the site; ask first who may know it"
    )


def run(arguments):
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
        languages=arguments.languages,
        exact_place=arguments.exact_place,
    )
    print(f"{written.sentence}\nRead it: {written.html}")
    for caution in written.cautions:
        print(f"Before you publish it: {caution}")
    return OK
