"""What in a season's records would tell where the animals are, or who saw them: found and kept at home."""

import re

import pandas as pd

from fieldkit.records import schema as schemas
from fieldkit.records.season import settings
from fieldkit.records.season.template import SUBSTRATES

# A number with three or more decimals, degrees and minutes, a path, an address, a picture, long grid references.
_TRACES = {
    "it looks like coordinates": re.compile(
        r"-?\d{1,3}[.,]\d{3,}|\d{1,3}\s*[°º]|\b[NSEW]\s?\d{1,3}[.°]|\b\d{1,3}([.,]\d+)?\s?[NSEW]\b"
        r"|\b[A-Z]{1,3}\s?\d{4,10}\b|\b\d{6,7}\b"
    ),
    "it looks like an address on the web": re.compile(r"https?:|www\.|///\w", re.I),
    "it looks like a path or a picture": re.compile(
        r"[A-Za-z]:\\|\\\w+\\|(^|\s)~?/\w|\w/\w+/\w|\.(jpe?g|heic|png|tiff?|raw|cr[23]|nef|dng|arw|mp4|mov|gpx|kmz?)\b",
        re.I,
    ),
}
_WORDS = {"behaviour": schemas.BEHAVIOURS, "substrate": SUBSTRATES}


def trace(text, secrets=()):
    """Why a text may give a place away; empty if nothing was found.

    Parameters
    ----------
    text : str
        What might go out.
    secrets : sequence of str
        Names that must not be told.

    Returns
    -------
    str

    Examples
    --------
    >>> trace("basking at 36.1812, -80.3107"), trace("on the Old Quarry ledge", ["the old quarry"]), trace("rock")
    ('it looks like coordinates', 'it names a place', '')
    """
    plain = f" {_plain(text)} "
    if any(f" {secret} " in plain for secret in map(_plain, secrets) if len(secret) > 3):
        return "it names a place"
    return next((reason for reason, pattern in _TRACES.items() if pattern.search(str(text))), "")


def _plain(text):
    words = re.findall(r"\w+", str(text).lower())
    return " ".join(word for word in words if word not in ("the", "a", "an", "of", "at", "in", "on"))


class Filter:
    """Decides what of a season's free text may go out, and remembers what did not."""

    def __init__(self, season, *, include_notes=False):
        self.include_notes = include_notes
        self._left = {}
        self._numbers = {}
        stations = season.stations
        secrets = [season.site.name, season.name, season.path.name, *stations["station_id"], *stations["name"]]
        secrets += [str(place) for place in season.logger_info["place"].dropna()]
        for table in (season.choices, season.sightings, season.scans, season.gradient):
            for name in table["observer"].dropna().unique() if table is not None and "observer" in table else ():
                secrets += [name, *str(name).split()]
        # A name that is also the animal's ("ridge" in "ridge lizard") is no secret.
        species = _plain(season.animal.species)
        self._secrets = [s for s in dict.fromkeys(map(str, secrets)) if len(_plain(s)) > 3 and _plain(s) not in species]
        self._tools = settings.section(season.settings, "instruments")

    def leave_out(self, table, what, rows, reason):
        """Note that something stays at home."""
        if rows:
            key = (table, what, reason)
            self._left[key] = self._left.get(key, 0) + int(rows)

    def left_out(self):
        """All that stayed at home."""
        rows = [(*key[:2], count, key[2]) for key, count in self._left.items()]
        return pd.DataFrame(rows, columns=["table", "what", "rows", "reason"])

    def words(self, frame, table, column):
        """A column of the user's words, blank where it is missing or would give a place away."""
        if column not in frame:
            return pd.Series("", index=frame.index, dtype=object)
        values = frame[column].astype(object).where(frame[column].notna(), "").map(lambda v: " ".join(str(v).split()))
        if self.include_notes:
            return values
        known = _WORDS.get(column, ())
        reasons = {v: "" if v in known or not v else trace(v, self._secrets) for v in values.unique()}
        for reason, count in values.map(reasons)[lambda r: r != ""].value_counts().items():
            self.leave_out(table, column, count, f"{reason}; the rest of the column went out")
        return values.where(values.map(reasons) == "", "")

    def notes(self, frame, table, column="notes"):
        """Free text: only when asked for."""
        if column not in frame or not frame[column].notna().any():
            return None
        if not self.include_notes:
            self.leave_out(table, column, frame[column].notna().sum(), "free text may name the place or a person")
            return None
        return self.words(frame, table, column)

    def number(self, kind, values):
        """Names replaced by numbers in order of appearance, the same in every table; blank where missing."""
        known = self._numbers.setdefault(kind, {})
        out = []
        for value in values:
            missing = pd.isna(value) or not str(value).strip()
            out.append("" if missing else f"{kind}-{known.setdefault(str(value), len(known) + 1)}")
        return pd.Series(out, index=values.index, dtype=object)

    def method(self, column):
        """What a column was read with, if that names no place."""
        tool = settings.section(self._tools, column)
        text = "; ".join(str(tool[key]) for key in ("what",) if tool.get(key))
        if text and not self.include_notes and (reason := trace(text, self._secrets)):
            self.leave_out("season.toml", f"instruments.{column}.what", 1, reason)
            return ""
        return text
