"""Lines that `check` suggests for season.toml, ready to paste or written into it; the old file is kept beside it."""

import re
import tomllib
from pathlib import Path

from fieldkit.core import FieldkitError
from fieldkit.records.season import settings


def lines(suggested):
    """The suggested lines, a section after the other.

    Parameters
    ----------
    suggested : list of (str, str, str)
        Section, key and value; the first of equal keys counts.

    Returns
    -------
    list of str

    Examples
    --------
    >>> lines([("columns.choices", "Datum", "date"), ("columns.choices", "Uhrzeit", "time")])
    ['[columns.choices]', '"Datum" = "date"', '"Uhrzeit" = "time"']
    """
    return [line for section, rows in _by_section(suggested).items() for line in (f"[{section}]", *rows)]


def write(folder, suggested):
    """Write the suggested lines into season.toml.

    Parameters
    ----------
    folder : str or pathlib.Path
        The season folder.
    suggested : list of (str, str, str)
        As in `lines`.

    Returns
    -------
    pathlib.Path
        The copy of the old file.

    Raises
    ------
    FieldkitError
        When the file cannot be read as TOML, or would not be after the change; nothing is written then.
    """
    file = Path(folder) / settings.NAME
    old = file.read_bytes()
    text = old.decode("utf-8-sig").replace("\r\n", "\n")
    try:
        before = tomllib.loads(text)
        new = _with(text, suggested, before)
        tomllib.loads(new)
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise FieldkitError(
            f"{settings.NAME} was left as it is, because the lines cannot be put into it ({error}): paste them by hand."
        ) from None
    copy = next(c for k in range(1, 1000) if not (c := file.with_name(f"season.old-{k}.txt")).exists())
    copy.write_bytes(old)
    file.write_bytes(new.encode("utf-8"))
    return copy


def _by_section(suggested):
    found = {}
    for section, key, value in dict.fromkeys(suggested):
        rows = found.setdefault(section, {})
        rows.setdefault(key, f"{_quoted(key)} = {_quoted(value)}")
    return {section: list(rows.values()) for section, rows in found.items()}


def _quoted(text):
    return '"' + re.sub(r'["\\]', lambda m: "\\" + m[0], str(text)) + '"'


def _with(text, suggested, before):
    """The text with each line under its section; what stands there already is left alone."""
    out = text.rstrip("\n").split("\n")
    for section, rows in _by_section(suggested).items():
        there = before
        for part in section.split("."):
            there = there.get(part, {}) if isinstance(there, dict) else {}
        rows = [row for row in rows if tomllib.loads(row).keys().isdisjoint(there)]
        if not rows:
            continue
        at = settings.row_of(out, section, None)
        if at is None:
            out += ["", f"[{section}]", *rows]
        else:
            out[at:at] = rows
    return "\n".join(out) + "\n"
