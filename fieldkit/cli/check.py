"""List every problem of a season or enclosure folder, without analysing it."""

import os

from fieldkit.cli.status import MISTAKE, OK

HELP = "list every problem of a season or enclosure folder, without analysing it"


def declare(sub):
    """Declare what the command takes."""
    sub.add_argument("folder", help="folder with season.toml or enclosure.toml, and the tables")
    sub.add_argument(
        "--fix-settings",
        action="store_true",
        help="write the suggested lines into season.toml; a copy of the old file is kept, nothing else is touched",
    )


def _suggest(arguments, found):
    """Print the lines that would mend something, or write them."""
    from fieldkit.records.season import mending

    suggested = found.attrs.get("suggested", [])
    if not suggested:
        return
    lines = "\n".join(mending.lines(suggested))
    if arguments.fix_settings:
        copy = mending.write(arguments.folder, suggested)
        print(f"\nWritten into season.toml (the old file is kept as {copy.name}):\n\n{lines}\n\nRun check again.")
    else:
        print(f"\nTo paste into season.toml, or let check --fix-settings write, where it is right:\n\n{lines}")


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
        _suggest(arguments, error.problems)
        return MISTAKE
    for source in season.sources.itertuples(index=False):
        how = [f"{source.rows:,} rows of {source.table}"]
        if source.separator:
            mark = "comma" if source.decimal_mark == "," else "point"
            how.append(f"cells separated by {source.separator}, decimal {mark}, {source.encoding}")
        print(f"{source.file}: {'; '.join(how)}")
    print()
    print(as_text(season.warnings, arguments.folder))
    _suggest(arguments, season.warnings)
    return OK
