"""The list of what must stay at home, taken from the season itself and from this computer."""

import contextlib
import functools
import getpass
import re
import socket
import tempfile
from dataclasses import dataclass, field, replace
from pathlib import Path

import fieldkit
from fieldkit.core import FieldkitError, resource_dir
from fieldkit.records import places
from fieldkit.records import schema as schemas
from fieldkit.records.season import settings
from fieldkit.report.privacy import public

# A name needs this many letters to be told from any other word.
_SHORTEST = 3
# How many of the names that cannot be looked for are told.
_TOLD = 6
# Of a long note so many first words are looked for.
_WORDS = 6
_WORD = re.compile(r"[^\W_]+")
_LITTLE = {"the", "a", "an", "of", "at", "in", "on"}


@dataclass(frozen=True, kw_only=True)
class Place:
    """A position that must not be told any finer than stated; None where it may."""

    what: str
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    elevation_m: float | None = None
    decimals: int = 1
    # What is published in its place, and so is no find.
    told: tuple = ()


@dataclass(frozen=True, kw_only=True)
class Secrets:
    """What must stay at home.

    Attributes
    ----------
    places : tuple of Place
        Positions and heights.
    phrases : dict of tuple to str
        Words in lower case, one after another, and what they are.
    paths : dict of str to str
        Text to be found as it stands, and what it is.
    unsearchable : tuple of str
        What cannot be looked for, because fieldkit's own words hold it too or because it is too short.
    """

    places: tuple = ()
    phrases: dict = field(default_factory=dict)
    paths: dict = field(default_factory=dict)
    unsearchable: tuple = ()

    @property
    def caution(self):
        """What could not be looked for, in a sentence for the owner of the season; empty if there is nothing."""
        if not self.unsearchable:
            return ""
        more = f" and {len(self.unsearchable) - _TOLD} more" if len(self.unsearchable) > _TOLD else ""
        return (
            "These names were replaced, but the files could not be searched for them, because they are too short or "
            f"words that fieldkit itself writes: {', '.join(self.unsearchable[:_TOLD])}{more}. Look for them yourself."
        )


def words_of(text):
    """Words of a text in lower case, without articles and the like.

    Examples
    --------
    >>> words_of("The old-quarry gate, P3")
    ('old', 'quarry', 'gate', 'p3')
    """
    return tuple(word for word in _WORD.findall(str(text).casefold()) if word not in _LITTLE)


def of_computer():
    """What a file may not tell of this computer: paths, the name of the user and of the machine.

    Returns
    -------
    Secrets
    """
    paths = {}
    for what, path in (
        ("your home folder", Path.home()),
        ("where fieldkit is installed", Path(fieldkit.__file__).parent.parent),
        ("the folder you work in", Path.cwd()),
        ("the folder for temporary files", Path(tempfile.gettempdir())),
    ):
        paths |= spellings(path, what)
    phrases, missed = {}, []
    for what, name in (("the name of the user", _user()), ("the name of this computer", socket.gethostname())):
        add(phrases, missed, what, name.partition(".")[0])
    return Secrets(paths=paths, phrases=phrases)


def _user():
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return ""


def spellings(path, what):
    """A path as it may be written; the root and its folders are in everybody's paths."""
    found = {}
    for one in dict.fromkeys((Path(path), Path(path).absolute(), Path(path).resolve())):
        if len(one.parts) > 2:
            for text in (str(one), one.as_posix(), str(one).replace("\\", "\\\\")):
                found[text] = what
    return found


def of_season(
    season, *, position_decimals=1, exact_place=False, notes=True, allowed=(), paths=True, height=True, stations=True
):
    """What a file may not tell of a season and of the computer it lies on.

    Parameters
    ----------
    season : Season
        As read from the folder that stays at home.
    position_decimals : int
        Decimals of coordinates that are published on purpose.
    exact_place : bool
        The position is published on purpose.
    notes : bool
        Free text stays at home.
    allowed : sequence of str
        Names that are told on purpose, such as those of authors.
    paths : bool
        Look for the paths and names of this computer too.
    height, stations : bool
        The height, and the positions of stations, stay at home.

    Returns
    -------
    Secrets
    """
    phrases, missed = {}, []
    told = {word for text in allowed for word in words_of(text)}
    site = settings.section(season.settings, "site")
    given = [site.get("public_name"), public.season_name(season), season.animal.species]
    free = {words_of(text) for text in given if text}
    # A stone of gneiss may lie in a place called Gneiss: what the columns say anyway is no find.
    said = {words_of(word) for word in _said(season)}
    for what, text in _names(season):
        secret = what in ("an observer", "the name of the site")
        parts = secret or what in ("the name of the season", "the name of the season folder")
        add(phrases, missed, what, text, told=told, free=free if secret else free | said, parts=parts)
    if notes:
        for text in _notes(season):
            # A note of one or two plain words says no more than the columns do; numbers are looked for as places.
            words = words_of(text)
            if len(words) > 2 and not all(word.isdigit() for word in words):
                add(phrases, missed, "a note", text, told=told, free=free)
    found = []
    if not exact_place:
        found = list(_places(season, position_decimals, height=height, stations=stations))
    computer = of_computer() if paths else Secrets()
    own = spellings(season.path, "the path of the season folder") if paths and len(str(season.path)) > 1 else {}
    return Secrets(
        places=tuple(found),
        phrases=phrases | computer.phrases,
        paths=own | computer.paths,
        unsearchable=tuple(dict.fromkeys(missed)),
    )


def _names(season):
    """(what, text) of every name that stays at home."""
    yield "the name of the site", season.site.name
    yield "the name of the season", season.name
    yield "the name of the season folder", season.path.name
    renamed = public.names_of(season)
    for row in season.stations.itertuples(index=False):
        if renamed["station_id"].get(str(row.station_id)) != row.name:
            yield "the name of a station", row.name
    for place in season.logger_info["place"].dropna():
        yield "the place of a logger", place
    what = {
        "observer": "an observer",
        "animal_id": "the name of an animal",
        "place_id": "the name of a place",
        "set_id": "the name of a choice set",
        "station_id": "the name of a station",
        "logger_id": "the name of a logger",
        "site": "the name of a site",
        "group": "the name of a group",
    }
    for column, names in renamed.items():
        for name, other in names.items():
            # A code such as R07 was replaced for the sake of its neighbours and tells nothing.
            if name != other and (column == "observer" or not public.is_code(name)):
                yield what[column], name


def _said(season):
    for table in (season.choices, season.sightings, season.scans):
        for column in ("substrate", "behaviour"):
            if table is not None and column in table:
                yield from table[column].dropna().astype(str).unique()


def free_text(season):
    """Everything that people wrote in their own words, one piece after another."""
    yield from _notes(season)
    yield from _said(season)
    yield from season.logger_info["place"].dropna().astype(str)
    for tool in settings.section(season.settings, "instruments").values():
        yield from (str(value) for value in tool.values() if isinstance(value, str))


def _notes(season):
    for name in schemas.TABLES:
        table = getattr(season, name, None)
        if table is None:
            continue
        free = [c for c in table.columns if c == "notes" or c not in schemas.TABLES[name].columns]
        for column in free:
            if table[column].dtype.kind not in "ifbM":
                yield from table[column].dropna().astype(str).unique()


def _places(season, decimals, *, height, stations):
    rows = [("the site", season.site.latitude_deg, season.site.longitude_deg, season.site.elevation_m)]
    if stations:
        rows += [
            ("a station", row.latitude_deg, row.longitude_deg, row.elevation_m)
            for row in season.stations.itertuples(index=False)
        ]
    for what, latitude, longitude, elevation in rows:
        known = [value == value for value in (latitude, longitude, elevation)]
        yield Place(
            what=what,
            latitude_deg=float(latitude) if known[0] else None,
            longitude_deg=float(longitude) if known[1] else None,
            elevation_m=float(elevation) if known[2] and height else None,
            decimals=decimals,
            told=(
                places.middle(latitude, limit=90) if known[0] else None,
                places.middle(longitude, limit=180) if known[1] else None,
                places.middle_height(elevation) if known[2] else None,
            ),
        )


def add(phrases, missed, what, text, *, told=(), free=(), parts=False):
    """Add a text to what is looked for, if it can be told from fieldkit's own words."""
    words = words_of(text)
    named = {word for phrase in free for word in phrase}
    pieces = [(word,) for word in words if word not in named and not word.isdigit()] if parts and len(words) > 1 else []
    for one in [words, *pieces]:
        if not one or one in free or set(one) <= set(told):
            continue
        key = one[:_WORDS]
        if len("".join(key)) < _SHORTEST or key in _own_phrases(len(key)):
            if len(one) == len(words):
                missed.append(f"{what} ('{text}')")
            continue
        phrases.setdefault(key, what)


def without(secrets, text):
    """The same list without what a text tells that goes out on purpose.

    Parameters
    ----------
    secrets : Secrets
        What must stay at home.
    text : str
        What is told all the same.

    Returns
    -------
    Secrets
    """
    words = words_of(text)
    told = {n: set(zip(*(words[start:] for start in range(n)), strict=False)) for n in range(1, _WORDS + 1)}
    phrases = {phrase: what for phrase, what in secrets.phrases.items() if phrase not in told[len(phrase)]}
    return replace(secrets, phrases=phrases, paths={p: what for p, what in secrets.paths.items() if p not in text})


@functools.cache
def _own_words():
    """Words of everything that comes with fieldkit, in order: what it writes by itself is no find."""
    words = []
    package = Path(fieldkit.__file__).parent
    files = [p for suffix in ("py", "toml", "j2", "css") for p in package.rglob(f"*.{suffix}")]
    with contextlib.suppress(FieldkitError):
        files += list(resource_dir("notebooks").glob("*.ipynb"))
    for path in sorted(files):
        text = _sources(path) if path.suffix == ".ipynb" else path.read_text(encoding="utf-8", errors="replace")
        words += [*words_of(text), ""]
    return words


def _sources(path):
    import json

    cells = json.loads(path.read_text(encoding="utf-8")).get("cells", [])
    return "\n".join("".join(cell["source"]) for cell in cells)


@functools.cache
def _own_phrases(length):
    words = _own_words()
    return set(zip(*(words[start:] for start in range(length)), strict=False))


def together(*lists):
    """Several lists of what must stay at home as one."""
    return Secrets(
        places=tuple(place for one in lists for place in one.places),
        phrases={phrase: what for one in lists for phrase, what in one.phrases.items()},
        paths={path: what for one in lists for path, what in one.paths.items()},
        unsearchable=tuple(dict.fromkeys(name for one in lists for name in one.unsearchable)),
    )
