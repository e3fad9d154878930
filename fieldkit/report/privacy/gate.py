"""The gate: every file that others get is searched for what must stay at home; a find fails the run."""

import contextlib
import os
import re
from pathlib import Path

import pandas as pd

from fieldkit.core import FieldkitError
from fieldkit.report.privacy import texts
from fieldkit.report.privacy.at_home import words_of

_SHOWN = 8
# Words that make a number beside them a coordinate or a height.
_BEFORE = re.compile(
    r"(latitude|longitude|\blat\b|\blon\b|\blng\b|lat_deg|lon_deg|coordinat|georef|\bsite\b|[NSEW])\W{0,4}[\w\W]{0,24}$",
    re.IGNORECASE,
)
_AFTER = re.compile(r"^\s*[°º]?\s*([NSEW]\b|north|south|east|west)", re.IGNORECASE)
_HEIGHT_BEFORE = re.compile(r"(elevation|altitude|height|above sea|sea level)[^\n]{0,40}$", re.IGNORECASE)
_HEIGHT_AFTER = re.compile(r"^\s*(m|metres|meters|ft|feet)?\.?\s*(above|a\.? ?s\.? ?l|asl|ü|elevation)", re.IGNORECASE)
_MINUTES = re.compile(
    r"(?<!\d)(\d{1,3})\s*[°º˚]\s*(\d{1,2})(?:[.,](\d+))?\s*['′’]?\s*(?:(\d{1,2})(?:[.,](\d+))?\s*(?:[\"″”]|''))?"
)
# Paths of any computer: those of this one are looked for by name besides.
_PATH = re.compile(
    r"file:/+\w|(?<![\w.:/<])/(?:home|Users|root|tmp|var|private|mnt|media|opt|usr|Volumes|srv)/[\w.-]+"
    r"|\b[A-Z]:\\{1,2}(?:Users|Documents|Program|Temp)\b"
)
# Both coordinates this near to each other are a position.
_NEAR = 200
_FOOT_M = 0.3048


class LeakError(FieldkitError):
    """A file that was about to be given away holds something that must stay at home."""


def check(folder, secrets, *, what="the write-up"):
    """Search all files of a folder, or one file, and fail if anything is found.

    Parameters
    ----------
    folder : str or pathlib.Path
        A folder, or one file.
    secrets : Secrets
        What must stay at home.
    what : str
        How the whole is called in the sentence.

    Raises
    ------
    LeakError
        With every file and what it holds; never with the secret itself on a screen that others may see.
    """
    _refuse(search(folder, secrets), what)


def check_text(text, secrets, *, what):
    """Fail if anything that must stay at home stands in a text that is about to be shown or kept."""
    rows = dict.fromkeys((what, *pair) for pair in in_text(text, secrets))
    _refuse(pd.DataFrame(list(rows), columns=["file", "what", "how"]), what)


@contextlib.contextmanager
def held(path, secrets, *more, what):
    """Search what a block writes at a path, and take it away again if anything is found that must stay at home.

    Parameters
    ----------
    path : str or pathlib.Path
        A new file; one that was there before is left as it is.
    secrets : Secrets
        What must stay at home.
    *more : str or pathlib.Path
        Further new files of the block.
    what : str
        How the whole is called in the sentence.
    """
    new = [file for file in map(Path, (path, *more)) if not os.path.lexists(file)]
    yield
    try:
        for file in filter(Path.is_file, new):
            check(file, secrets, what=what)
    except LeakError:
        for file in new:
            file.unlink(missing_ok=True)
        raise


def _refuse(found, what):
    if not len(found):
        return
    lines = [f"- {row.file}: {row.what} ({row.how})" for row in found.head(_SHOWN).itertuples(index=False)]
    more = f"\n- and {len(found) - _SHOWN} more" if len(found) > _SHOWN else ""
    raise LeakError(
        f"Nothing was written: {what} would have told what must stay at home.\n" + "\n".join(lines) + more + "\n"
        "Take it out where it comes from: a title, a name, a word in a column, a notebook of your own. If it may be "
        "told, give it as public_name in season.toml or enclosure.toml; the exact place goes out only with "
        "--exact-place."
    )


def search(folder, secrets):
    """What of the secrets stands in the files of a folder, or in one file.

    Parameters
    ----------
    folder : str or pathlib.Path
        A folder, or one file.
    secrets : Secrets
        What must stay at home.

    Returns
    -------
    pandas.DataFrame
        file, what, how; one row for each file and thing.
    """
    folder = Path(folder)
    files = [folder] if folder.is_file() else sorted(path for path in folder.rglob("*") if path.is_file())
    rows = {}
    for path in files:
        name = path.name if path == folder else path.relative_to(folder).as_posix()
        for where, text in [(f"the name of the file {name}", name.replace("_", " ")), *texts.of_file(path, name=name)]:
            for what, how in in_text(text, secrets):
                rows.setdefault((where, what), how)
    return pd.DataFrame([(*key, how) for key, how in rows.items()], columns=["file", "what", "how"])


def in_text(text, secrets):
    """What of the secrets stands in a text.

    Parameters
    ----------
    text : str
        Any text.
    secrets : Secrets
        What must stay at home.

    Yields
    ------
    str, str
        What it is, and in which form it was found.

    Examples
    --------
    >>> from fieldkit.report.privacy.at_home import Place, Secrets
    >>> site = Place(what="the site", latitude_deg=36.18123, longitude_deg=-80.31456)
    >>> for text in ("at 36.1812", "36.18 °C", "36.18, -80.31", "36° 10.87' N", "36.1° N"):
    ...     print(list(in_text(text, Secrets(places=(site,)))))
    [('the position of the site', 'latitude, decimals')]
    []
    [('the position of the site', 'both coordinates')]
    [('the position of the site', 'latitude, degrees and minutes')]
    []
    """
    for path, what in secrets.paths.items():
        if path in text:
            yield what, "as it stands"
    if _PATH.search(text):
        yield "a path of a computer", "as it stands"
    yield from _phrases(text, secrets.phrases)
    for place in secrets.places:
        yield from _place(text, place)


def _phrases(text, phrases):
    if not phrases:
        return
    words = words_of(text)
    for length in sorted({len(phrase) for phrase in phrases}):
        for phrase in set(zip(*(words[start:] for start in range(length)), strict=False)) & phrases.keys():
            yield phrases[phrase], "in words"


def _place(text, place):
    what = f"the position of {place.what}"
    spots = {}
    degrees = any(sign in text for sign in "°º˚")
    for axis, value, letters in (
        ("latitude", place.latitude_deg, "NS"),
        ("longitude", place.longitude_deg, "EW"),
    ):
        if value is None or _decimals(value) <= place.decimals:
            continue
        spots[axis] = []
        for start, end, decimals in _decimal_forms(text, value, place):
            spots[axis].append(start)
            if decimals >= 4 or _BEFORE.search(text[max(0, start - 40) : start]) or _AFTER.search(text[end : end + 12]):
                yield what, f"{axis}, decimals"
        minutes = degrees and any(_is_minutes(found, value, place) for found in _MINUTES.finditer(text))
        if minutes or _is_compact(text, value, letters):
            yield what, f"{axis}, degrees and minutes"
    if len(spots) == 2 and any(abs(a - b) < _NEAR for a in spots["latitude"] for b in spots["longitude"]):
        yield what, "both coordinates"
    if place.elevation_m is not None:
        yield from _height(text, place)


def _spots(text, pieces):
    """Where any of the pieces stands: a plain search, which is fast in a large file."""
    for piece in pieces:
        at = text.find(piece)
        while at >= 0:
            yield at
            at = text.find(piece, at + 1)


def _decimals(value):
    text = f"{abs(value):.10f}".rstrip("0")
    return len(text.partition(".")[2])


def _decimal_forms(text, value, place):
    """Where a number stands that is the value, cut off or rounded to more decimals than may be told."""
    size, own = abs(value), _decimals(value)
    fewest = place.decimals + 1
    step = 10.0**-fewest
    heads = {f"{int(size / step + shift) * step:.{fewest}f}" for shift in (1e-9, 0.5)}
    told = {abs(t) for t in place.told if t is not None}
    for start in _spots(text, {head.replace(".", mark) for head in heads for mark in ".,"}):
        if re.search(r"[\d.,]$", text[max(0, start - 1) : start]):
            continue
        written = re.match(r"\d+[.,]\d+", text[start : start + 40])[0]
        number, digits = float(written.replace(",", ".")), len(re.split("[.,]", written)[1])
        unit = 10.0 ** -min(digits, own)
        same = abs(number - size) < unit * (1 - 1e-6) if digits <= own else abs(number - size) < unit / 100
        if same and not any(abs(number - t) < 1e-9 for t in told):
            yield start, start + len(written), digits


def _is_minutes(found, value, place):
    degrees, minutes, part, seconds, of_second = found.groups()
    number = int(degrees) + float(f"{minutes}.{part or 0}") / 60 + float(f"{seconds or 0}.{of_second or 0}") / 3600
    unit = 1 / 3600 if seconds else 10.0 ** -len(part or "") / 60
    told = [abs(t) for t in place.told if t is not None]
    return abs(number - abs(value)) < max(unit, 1e-6) and not any(abs(number - t) < 1e-6 for t in told)


def _is_compact(text, value, letters):
    """Degrees, minutes and seconds in one, or separated by blanks: 361052N, 36 10 52 N, N 36 10.873."""
    size = abs(value)
    degrees = int(size)
    minutes = int((size - degrees) * 60)
    seconds = int(((size - degrees) * 60 - minutes) * 60)
    tenth = int(((size - degrees) * 60 - minutes) * 10)
    either = f"(?:{seconds:02d}|{min(seconds + 1, 59):02d})"
    joined = rf"(?<!\w)0?{degrees}[ :]?{minutes:02d}[ :]?{either}(?:\.\d+)? ?[{letters}]\b"
    before = rf"\b[{letters}] ?0?{degrees}[ :]{minutes:02d}[ .:](?:{tenth}|{seconds:02d})"
    form = re.compile(f"{joined}|{before}")
    starts = _spots(text, [f"{degrees}{mark}{minutes:02d}" for mark in ("", " ", ":")])
    return any(form.search(text[max(0, at - 4) : at + 20]) for at in starts)


def _height(text, place):
    told = {t for t in place.told if t is not None}
    size = place.elevation_m
    forms = {}
    for number, unit in ((size, ""), (size / _FOOT_M, " in feet")):
        for digits in (1, 0, -1):
            rounded = round(number, digits)
            if rounded % 100 and rounded not in told:
                forms[f"{rounded:.1f}" if digits == 1 else f"{rounded:.0f}"] = unit
    for form in list(forms):
        if form.endswith(".0"):
            forms[form.removesuffix(".0")] = forms[form]
    if not forms:
        return
    for form in forms:
        for at in _spots(text, [form]):
            before, after = text[max(0, at - 70) : at], text[at + len(form) : at + len(form) + 28]
            if re.search(r"[\d.,]$", before) or re.match(r"\.0*[1-9]|\d|,\d", after):
                continue
            after = re.sub(r"^\.0+", "", after)
            if _HEIGHT_BEFORE.search(before) or _HEIGHT_AFTER.search(after):
                yield f"the height of {place.what}", "as a number"
                return
