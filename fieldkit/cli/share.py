"""Write a season in open formats for others, with the place kept vague."""

from fieldkit.cli.status import OK

HELP = "write a season in open formats (Darwin Core, NetCDF, citation), its place kept vague"


def declare(sub):
    """Declare what the command takes."""
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
    sub.add_argument(
        "--reproducible",
        action="store_true",
        help="add a season folder from which others compute the write-up again (takes three write-ups' time)",
    )


def run(arguments):
    """Write a season in open formats for others, with the place kept vague."""
    from fieldkit.field.plausibility import read_season
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
        reproducible=arguments.reproducible,
    )
    print(shared.sentence)
    print("\n".join(f"- {row.file}: {row.holds}" for row in shared.table.itertuples(index=False)))
    print("What stayed at home, and why, stands in README.txt.\n\nBefore you send it")
    print("\n".join(f"- {caution}" for caution in shared.cautions))
    return OK
