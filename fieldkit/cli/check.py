"""Say every mistake of a season folder, without analysing it."""

from fieldkit.cli.status import MISTAKE, OK

HELP = "say every mistake of a season folder, without analysing it"


def declare(sub):
    """Declare what the command takes."""
    sub.add_argument("folder", help="folder with season.toml and the tables")


def run(arguments):
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
