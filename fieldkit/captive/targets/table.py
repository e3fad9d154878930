"""The table of targets: its words, its rules, and the file it is kept in.

Every row says what to aim for, where, when, how well it is known and where it comes from.
"""

import json
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result, new_files

COLUMNS = (
    "target",
    "zone",
    "month",
    "period",
    "low",
    "high",
    "unit",
    "low_error",
    "high_error",
    "n_independent",
    "kind",
    "contact_min",
    "margin",
    "basis",
    "source",
)


class Kind(StrEnum):
    """What a target is: something to aim for, a limit with a source, or a rule of thumb without one.

    Only a limit can be "exceeded" and make an enclosure unsafe.
    """

    AIM = "aim"
    LIMIT = "limit"
    CAUTION = "caution"


UNITS = {
    "shade_air_c": "°C",
    "surface_c": "°C",
    "operative_c": "°C",
    "irradiance_w_m2": "W/m²",
    "uv_index": "UV index",
    "photoperiod_h": "h",
    "full_sun_share": "share of places",
    "part_shade_share": "share of places",
    "full_shade_share": "share of places",
    "warming_rate_c_per_h": "°C/h",
}
ZONES = ("whole", "basking site", "warm end", "cool end", "retreat")
PERIODS = ("day", "night", "all")
BASES = ("field", "station", "literature", "standard", "common practice")

# A written target above this is one in °F (our choice).
HOTTEST_C = {"shade_air_c": 50.0, "surface_c": 70.0, "operative_c": 60.0}
# Shares of level sunlight above and below which a place is in full sun or full shade (common practice, no source).
FULL_SUN, FULL_SHADE = 0.75, 0.25

CAUTIONS = (
    "Targets describe where wild animals of one place and season were found. They are not a care sheet: species, age, "
    "health and law of the place come first. Ask a vet who treats reptiles.",
    "Never change an occupied enclosure in big steps: move towards a target over days, and watch the animal.",
    "Lamps burn skin and set fires, and UV harms eyes and skin of people too: guard and fix every lamp, keep out of "
    "reach, and leave mains wiring, above all near water, to an electrician.",
    "A temperature reached is not a choice offered: every target needs a retreat that stays cooler and darker.",
)


def spoken(target):
    """A target's quantity in words.

    Examples
    --------
    >>> spoken("shade_air_c")
    'shade air'
    """
    return {
        "shade_air_c": "shade air",
        "surface_c": "surface",
        "irradiance_w_m2": "irradiance",
        "uv_index": "UV index",
        "operative_c": "operative temperature",
        "photoperiod_h": "day length",
        "warming_rate_c_per_h": "warming rate",
    }.get(target, target.replace("_", " "))


# Below this air by day no basking is expected where the season did not show it (common practice, no source).
REST_BELOW_C = 15.0


def resting(table):
    """Which targets are of months whose air is too cold for the animals to bask: winter rest.

    Parameters
    ----------
    table : DataFrame
        As `Targets.table`.

    Returns
    -------
    Series of bool
        True for shade air of months whose highest target by day lies below the coolest air in which the animals
        basked, or below `REST_BELOW_C` where that is not known.

    Examples
    --------
    >>> rows = pd.DataFrame([target_row("shade_air_c", month=m, high=h) for m, h in ((1, 7.0), (7, 24.0))])
    >>> resting(rows).tolist()
    [True, False]
    """
    air = (table["target"] == "shade_air_c") & (table["kind"] == Kind.AIM)
    basking = table.loc[air & (table["zone"] == "basking site"), "low"].dropna()
    coolest = basking.min() if len(basking) else REST_BELOW_C
    by_day = table[air & (table["month"] > 0) & (table["period"] != "night")].groupby("month")["high"].max()
    months = set(by_day.index[by_day < coolest])
    return air & table["month"].isin(months)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Targets(Result):
    """Targets for a captive setup, with their sources.

    Attributes
    ----------
    table : DataFrame
        One row per target: ``target`` (quantity), ``zone``, ``month`` (1 to 12; 0 all year), ``period``, ``low``,
        ``high`` (NaN: open), ``unit``, ``low_error`` and ``high_error`` (standard errors; NaN: not known),
        ``n_independent`` (animals, days, stations or choice sets that the errors rest on; NaN: not known), ``kind``
        (see `Kind`), ``contact_min`` (of a limit of surfaces: minutes of contact over which it is a mean; NaN: ten),
        ``margin`` (already taken off), ``basis``, ``source``.
    full_sun_w_m2, full_shade_w_m2 : float
        From which and down to which irradiance a place counts as in full sun and in full shade; NaN: not known.
    notes : tuple of str
        What could not be given, and why.
    cautions : tuple of str
    cut : tuple of str
        Ranges that were ended at a limit; also among the notes.
    """

    species: str
    invented: bool
    table: pd.DataFrame
    full_sun_w_m2: float = np.nan
    full_shade_w_m2: float = np.nan
    notes: tuple = ()
    cautions: tuple = CAUTIONS
    settings: dict = field(default_factory=dict)
    cut: tuple = ()

    @property
    def sentence(self):
        """How many targets there are, of what, and what is missing."""
        kinds = list(dict.fromkeys(self.table["target"]))
        limits = int((self.table["kind"] == Kind.LIMIT).sum())
        words = f"{len(self.table)} target{'s' if len(self.table) > 1 else ''} for {self.species}"
        words += f"{' (invented)' if self.invented else ''}: "
        words += f"{', '.join(kinds)}; {limits} {'is an upper limit' if limits == 1 else 'are upper limits'}."
        return words + "".join(f" {note}" for note in self.notes)

    def to_toml(self):
        """Write the targets as TOML text that a person can read and change."""
        lines = [
            "# Targets for a captive setup, made by fieldkit from field records. month 0 = all year.",
            *(f"# {caution}" for caution in self.cautions),
            f"species = {_quote(self.species)}",
            f"invented = {str(self.invented).lower()}",
            f"notes = [{', '.join(_quote(n) for n in self.notes)}]",
            *(f"{name} = {_toml(value)}" for name, value in self._levels().items()),
        ]
        for row in self.table.to_dict("records"):
            lines += ["", "[[target]]"]
            lines += [f"{key} = {_toml(value)}" for key, value in row.items() if not _empty(value)]
        return "\n".join(lines) + "\n"

    def _levels(self):
        found = {"full_sun_w_m2": self.full_sun_w_m2, "full_shade_w_m2": self.full_shade_w_m2}
        return {name: round(float(value), 1) for name, value in found.items() if not _empty(value)}

    def to_json(self):
        """Write the targets as JSON text."""
        rows = [{k: v for k, v in row.items() if not _empty(v)} for row in self.table.to_dict("records")]
        whole = {"species": self.species, "invented": self.invented, "notes": list(self.notes)}
        whole |= self._levels() | {"target": rows}
        return json.dumps(whole, indent=1, ensure_ascii=False) + "\n"

    def save(self, path):
        """Save as ``.toml`` or ``.json``; a file that is there is never overwritten."""
        path = Path(path)
        if path.suffix not in (".toml", ".json"):
            raise FieldkitError(f"{path.name}: end the name in .toml or .json.")
        text = self.to_toml() if path.suffix == ".toml" else self.to_json()
        with new_files(path) as (file,):
            file.write_text(text, encoding="utf-8", newline="\n")
        return path


def _quote(text):
    return json.dumps(str(text), ensure_ascii=False)


def _empty(value):
    return value is None or (isinstance(value, float) and np.isnan(value))


def _toml(value):
    if isinstance(value, bool | np.bool_):
        return str(bool(value)).lower()
    if isinstance(value, str):
        return _quote(value)
    if isinstance(value, int | np.integer):
        return str(int(value))
    return repr(round(float(value), 6))


def target_row(
    target,
    *,
    low=np.nan,
    high=np.nan,
    source="not stated",
    zone="whole",
    month=0,
    period="all",
    unit=None,
    low_error=np.nan,
    high_error=np.nan,
    n_independent=np.nan,
    kind=Kind.AIM,
    contact_min=np.nan,
    margin=0.0,
    basis="common practice",
):
    """One row of a table of targets, with what is not said left open.

    Parameters
    ----------
    target, low, high, source, zone, month, period, unit, low_error, high_error
        As the columns of `Targets.table`; the unit follows from the target.
    n_independent, kind, contact_min, margin, basis
        As the columns of `Targets.table`.

    Returns
    -------
    dict

    Examples
    --------
    >>> row = target_row("surface_c", high=48.0, kind="limit")
    >>> row["unit"], row["zone"], row["month"]
    ('°C', 'whole', 0)
    """
    given = locals()
    given["unit"] = UNITS.get(target, "") if unit is None else unit
    return {column: given[column] for column in COLUMNS}


def make(table, *, species, invented=False, notes=(), levels=(np.nan, np.nan), settings=None, name="targets"):
    """Hold a table of targets against the rules and make `Targets` of it.

    Parameters
    ----------
    table : DataFrame
        Columns as in `Targets.table`.
    species : str
        Whose targets these are.
    invented : bool
        True for the demo.
    notes : sequence of str
        What could not be given.
    levels : tuple of float
        Irradiance (W/m²) of full sun and of full shade, where the field tells; see `sun_levels`.
    settings : dict, optional
        What they were made with.
    name : str
        For messages.

    Returns
    -------
    Targets

    Raises
    ------
    FieldkitError
        When a low lies above its high, a limit has no height, or a word is not known.

    Notes
    -----
    Ranges end at the limits (`held_to_limits`), and the notes say so.

    Examples
    --------
    >>> rows = pd.DataFrame([target_row("uv_index", low=1.0, high=2.6, basis="literature", source="a book")])
    >>> make(rows, species="ridge lizard", invented=True).sentence
    '1 target for ridge lizard (invented): uv_index; 0 are upper limits.'
    """
    # Ranges end at the limits; that file needs this one.
    from fieldkit.captive.targets.at_odds import held_to_limits

    table = _checked(table, name)
    for value, word in zip(levels, ("full_sun_w_m2", "full_shade_w_m2")):
        if isinstance(value, bool) or not isinstance(value, int | float | np.floating):
            raise FieldkitError(f"{name}: {word} is {value!r}; write a number of W/m², or take the line out.")
    if levels[0] <= levels[1]:
        raise FieldkitError(f"{name}: full sun ({levels[0]:g} W/m²) must be more than full shade ({levels[1]:g} W/m²).")
    table = table.assign(kind=[Kind(k) for k in table["kind"]]).astype({"month": int})
    table, cut = held_to_limits(table.reset_index(drop=True))
    return Targets(
        species=species,
        invented=invented,
        table=table,
        cut=cut,
        full_sun_w_m2=float(levels[0]),
        full_shade_w_m2=float(levels[1]),
        notes=tuple(dict.fromkeys((*notes, *cut))),
        settings=settings or {},
    )


def _checked(table, name):
    """The table with numbers for numbers, or a sentence on the first row that cannot be."""
    table = table.reindex(columns=COLUMNS)
    for column in ("low", "high", "low_error", "high_error", "n_independent", "contact_min", "margin"):
        number = pd.to_numeric(table[column], errors="coerce")
        wrong = number.isna() & table[column].notna()
        if wrong.any():
            i = int(np.flatnonzero(wrong)[0])
            raise FieldkitError(
                f"{name}, target {i + 1}: {column} is {table[column].iloc[i]!r}, which is not a number."
            )
        table[column] = number.astype(float)
    for i, row in enumerate(table.itertuples(index=False), start=1):
        where = f"{name}, target {i} ({row.target})"
        for value, known, what in (
            (row.target, UNITS, "target"),
            (row.zone, ZONES, "zone"),
            (row.period, PERIODS, "period"),
            (row.basis, BASES, "basis"),
            (row.kind, tuple(Kind), "kind"),
            (row.month, range(13), "month"),
        ):
            if value not in known:
                raise FieldkitError(f"{where}: {what} is {value!r}; use one of {', '.join(str(k) for k in known)}.")
        if row.low > row.high:
            raise FieldkitError(f"{where}: low {row.low:g} lies above high {row.high:g}. Exchange them.")
        if row.kind != Kind.AIM and not np.isfinite(row.high):
            raise FieldkitError(f"{where}: a {row.kind} needs high = its height.")
        if row.contact_min <= 0:
            raise FieldkitError(f"{where}: contact_min is {row.contact_min:g}; give minutes above 0, or leave it out.")
        if np.isnan(row.low) and np.isnan(row.high):
            raise FieldkitError(f"{where}: give low, high or both.")
        if row.n_independent < 2:
            raise FieldkitError(
                f"{where}: n_independent is {row.n_independent:g}; an error takes two, or leave it out."
            )
    return table
