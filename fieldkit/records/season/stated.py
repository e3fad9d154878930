"""What season.toml alone states: enough to plan with before a table is filled in, or while it holds mistakes."""

from dataclasses import dataclass
from pathlib import Path

from fieldkit.records.problems import Problems, SeasonError
from fieldkit.records.reading import sheets
from fieldkit.records.season import settings, toml


@dataclass(frozen=True, kw_only=True)
class Place:
    """A site as far as season.toml states it."""

    name: str
    latitude_deg: float
    longitude_deg: float
    timezone: str


@dataclass(frozen=True, kw_only=True)
class Stated:
    """What season.toml states.

    Attributes
    ----------
    site : Place or None
        None where position or clock are still to be filled in.
    instrument_errors : dict of str to float
        Column of a table to the standard deviation of its readings.
    choice_sets : dict
        How choice sets are to be read: the section of that name.
    unsaid : tuple of str
        Settings that are still to be filled in or corrected, as ``section.key``.
    """

    site: Place | None
    instrument_errors: dict
    choice_sets: dict
    unsaid: tuple


def read_stated(path):
    """Read season.toml and nothing else of a season folder.

    Parameters
    ----------
    path : str or pathlib.Path
        A season folder; its tables may be empty or hold mistakes.

    Returns
    -------
    Stated

    Raises
    ------
    SeasonError
        When there is no season.toml, or it holds a line that cannot be read.

    Examples
    --------
    >>> import tempfile
    >>> folder = Path(tempfile.mkdtemp())
    >>> _ = (folder / "season.toml").write_text('[site]\\nname = "here"\\nlatitude_deg = "FILL IN"\\n')
    >>> found = read_stated(folder)
    >>> found.site, "site.latitude_deg" in found.unsaid
    (None, True)
    """
    path = Path(path).expanduser()
    problems = Problems()
    file = path / settings.NAME
    if not file.is_file():
        problem, remedy = "There is no such folder.", "Check the spelling of the path."
        if path.is_dir():
            problem, remedy = (
                "The folder has no season.toml.",
                "Make one with 'fieldkit new', or plan without a folder.",
            )
        problems.add(path.name or str(path), problem, remedy)
        raise SeasonError(problems.table(), path)
    text, _, _ = sheets.decode(file.read_bytes())
    read = None
    if text is None:
        problems.add(settings.NAME, "This is not a text file.", "Save it as plain text (UTF-8).")
    else:
        read = toml.parse(text, problems)
    if read is None:
        raise SeasonError(problems.table(), path)
    settings.check(read, text, problems)
    table = problems.table()
    wrong = set(table.loc[table["severity"] == "error", "column"])
    site = settings.section(read, "site")
    needed = list(Place.__dataclass_fields__)
    there = all(name in site and f"site.{name}" not in wrong for name in needed[1:])
    place = None
    if there:
        place = Place(**{name: site[name] for name in needed[1:]}, name=str(site.get("name", "your site")))
    errors = {
        name: float(said["error"])
        for name, said in settings.section(read, "instruments").items()
        if isinstance(said, dict) and "error" in said and f"instruments.{name}.error" not in wrong
    }
    return Stated(
        site=place,
        instrument_errors=errors,
        choice_sets=dict(settings.section(read, "choice_sets")),
        unsaid=tuple(sorted(wrong - {""})),
    )
