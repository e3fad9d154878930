"""List every problem of a season or enclosure folder, without analysing it."""

import os

from fieldkit.cli.status import MISTAKE, OK

HELP = "list every problem of a season or enclosure folder, without analysing it"


def declare(sub):
    """Declare what the command takes."""
    sub.add_argument("folder", help="folder with season.toml or enclosure.toml, and the tables")


def run(arguments):
    """List every problem of a season or enclosure folder, without analysing it."""
    from fieldkit.field.plausibility import read_season
    from fieldkit.records.enclosure import read_enclosure
    from fieldkit.records.problems import SeasonError, as_text

    if os.path.isfile(os.path.join(arguments.folder, "enclosure.toml")):
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
