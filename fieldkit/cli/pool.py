"""Put the seasons of several people together."""

from fieldkit.cli.status import OK

HELP = "put seasons of several people or years together: one table, one figure, one answer"


def declare(sub):
    """Declare what the command takes."""
    sub.epilog = (
        "Each folder is a season folder, a write-up, or any folder with an estimates.csv; nothing in it is run. A "
        "damaged one is left out, with a sentence. Exit status: 0 done, 1 a fault of fieldkit, 2 a mistake that you "
        "can mend."
    )
    sub.add_argument("folders", nargs="+", metavar="DIR", help="a season, a write-up, or a folder with estimates.csv")
    sub.add_argument("--out", required=True, metavar="DIR", help="new folder for the pool")


def run(arguments):
    """Put the seasons of several people together."""
    from fieldkit.report import pooled

    gathered = pooled.gather(arguments.folders)
    written = pooled.write(gathered, arguments.out)
    for letter, place in gathered.places.items():
        print(f"Season {letter}: {place}")
    print(f"\n{written.sentence}\nRead it: {written.html}")
    return OK
