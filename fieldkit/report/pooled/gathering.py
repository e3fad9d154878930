"""Estimates of seasons from folders that anybody may have made; a damaged one is left out, with a sentence."""

import itertools
import os
import string
from dataclasses import dataclass, field
from pathlib import Path

from fieldkit.core import FieldkitError, trouble
from fieldkit.field import pool
from fieldkit.report.privacy import at_home, public
from fieldkit.report.writeup import folders


@dataclass(frozen=True, kw_only=True)
class Gathered:
    """Estimates by the letter of the season, where each came from, what was left out, and what must stay at home."""

    tables: dict
    places: dict = field(default_factory=dict)
    left_out: tuple = ()
    secrets: object = None


def gather(paths, *, progress=None):
    """Take the estimates of each folder.

    Parameters
    ----------
    paths : sequence of str or pathlib.Path
        Each a season folder (its analyses are run, on the season as others may have it), a write-up, or any folder with
        ``estimates.csv``.
    progress : bool, optional
        Show a progress bar; None shows one in a terminal.

    Returns
    -------
    Gathered
        Seasons are called A, B, C … in the order given, left-out ones too: a folder's name may tell a place.
    """
    from tqdm.auto import tqdm

    tables, places, left_out, secrets, seen = {}, {}, [], [at_home.of_computer()], {}
    for letter, path in zip(_letters(), tqdm(list(paths), disable=None if progress is None else not progress)):
        places[letter] = str(path)
        try:
            table, kept = _taken(Path(path))
        except FieldkitError as error:
            left_out.append(f"Season {letter} was left out: {error}")
            continue
        except OSError as error:
            if (said := trouble(error)) is None:
                raise
            left_out.append(f"Season {letter} was left out: {said}")
            continue
        numbers = tuple(map(tuple, table[["quantity", "estimate", "standard_error"]].astype(str).to_numpy()))
        if numbers in seen:
            left_out.append(f"Season {letter} was left out: its estimates are those of season {seen[numbers]}.")
            continue
        seen[numbers] = letter
        tables[letter] = table
        secrets += kept
    return Gathered(tables=tables, places=places, left_out=tuple(left_out), secrets=at_home.together(*secrets))


def _letters():
    for length in itertools.count(1):
        yield from map("".join, itertools.product(string.ascii_uppercase, repeat=length))


def _taken(path):
    if os.path.lexists(path / pool.estimates.NAME):
        if os.path.lexists(path / folders.MARKER):
            _check_seal(path)
        return pool.estimates.read(path), []
    if (path / "season.toml").is_file():
        from fieldkit.field.plausibility import read_season

        private = read_season(path)
        with public.opened(private) as (_, season):
            rows = pool.of_season(season)
            if not rows:
                raise FieldkitError("its records carry no estimate with an error.")
            return pool.estimates.table(rows, pool.about(season)), [at_home.of_season(private)]
    if not path.is_dir():
        raise FieldkitError("there is no such folder. Check the spelling of the path.")
    raise FieldkitError(
        f"it has no season.toml and no {pool.estimates.NAME}. Give a season folder, or a write-up made by this or a "
        "later fieldkit."
    )


def _check_seal(path):
    """A write-up says what its files were: one that was changed later is not what was published."""
    from fieldkit.records.reading import opening

    opening.read(path / folders.MARKER, inside=path, limit=50_000_000)
    stated = folders.read_marker(path)["files"].get(pool.estimates.NAME)
    opening.read(path / pool.estimates.NAME, inside=path, limit=2_000_000)
    if stated != folders.digest(path / pool.estimates.NAME):
        raise FieldkitError(
            f"its {pool.estimates.NAME} is not the one that was published (SHA-256). Get the write-up again."
        )
