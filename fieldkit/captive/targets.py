"""What the field asks of an enclosure: the only thing that crosses from field to captivity.

Every row says what to aim for, where, when, how well it is known and where it comes from. Builders turn one result of
the field into rows; `from_season` gathers what a season folder carries and says what it could not give.
"""

import json
import tomllib
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result
from fieldkit.field.seasons import MONTHS

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
    "ceiling",
    "margin",
    "basis",
    "source",
)
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

# Lowest and highest mean UV index of the four exposure groups of Ferguson et al. (2010) Zoo Biology 29:317-334; the
# limits from memory, of the medians only 0.35 (first) and 3.1 (fourth) were seen in print.
UV_ZONES = {1: (0.0, 0.7), 2: (0.7, 1.0), 3: (1.0, 2.6), 4: (2.6, 3.5)}
# Above it the World Health Organization (2002) calls the UV index very high, for people.
UV_CEILING = 8.0
# Human skin on stone or glass: 10 minutes' contact, ISO 13732-1 (value from a secondary source). What a reptile's skin
# bears is not known; a reptile often does not leave a surface that burns it.
CONTACT_CEILING_C = 48.0
CONTACT_SOURCE = "human skin on stone for 10 minutes, ISO 13732-1 (from a secondary source); no reptile limit is known"
UV_SOURCE = "very high for people (WHO 2002)"
# A written target above this is one in °F (our choice).
HOTTEST_C = {"shade_air_c": 50.0, "surface_c": 70.0, "operative_c": 60.0}
# Shares of level sunlight above and below which a place is in full sun or full shade (common practice, no source).
FULL_SUN, FULL_SHADE = 0.75, 0.25
# Fewer places taken than this describe no month of their own (common practice, no source).
FEWEST_PLACES = 10

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
    >>> rows = pd.DataFrame([_row("shade_air_c", month=m, high=h) for m, h in ((1, 7.0), (7, 24.0))])
    >>> resting(rows).tolist()
    [True, False]
    """
    air = (table["target"] == "shade_air_c") & ~table["ceiling"].astype(bool)
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
        ``high`` (NaN: open), ``unit``, ``low_error`` and ``high_error`` (standard errors; NaN: not known), ``ceiling``
        (True: ``high`` must never be passed), ``margin`` (already taken off), ``basis``, ``source``.
    full_sun_w_m2, full_shade_w_m2 : float
        From which and down to which irradiance a place counts as in full sun and in full shade; NaN: not known.
    notes : tuple of str
        What could not be given, and why.
    cautions : tuple of str
    """

    species: str
    invented: bool
    table: pd.DataFrame
    full_sun_w_m2: float = np.nan
    full_shade_w_m2: float = np.nan
    notes: tuple = ()
    cautions: tuple = CAUTIONS
    settings: dict = field(default_factory=dict)

    @property
    def sentence(self):
        """How many targets there are, of what, and what is missing."""
        kinds = list(dict.fromkeys(self.table["target"]))
        ceilings = int(self.table["ceiling"].sum())
        words = f"{len(self.table)} targets for {self.species}{' (invented)' if self.invented else ''}: "
        words += f"{', '.join(kinds)}; {ceilings} are ceilings that must not be passed."
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
        if path.exists():
            raise FieldkitError(f"{path} is there already and was left as it is: give another name.")
        path.write_text(self.to_toml() if path.suffix == ".toml" else self.to_json(), encoding="utf-8", newline="\n")
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


def from_text(text, *, kind, name="targets"):
    """Read targets from TOML or JSON text.

    Parameters
    ----------
    text : str
        As `Targets.to_toml` or `Targets.to_json` write it, or a person changed it.
    kind : {"toml", "json"}
        Which of the two.
    name : str
        Name of the file, for messages.

    Returns
    -------
    Targets

    Raises
    ------
    FieldkitError
        With the row and what to do.

    Examples
    --------
    >>> text = '[[target]]\\ntarget = "shade_air_c"\\nlow = 20\\nhigh = 25\\nsource = "my log"'
    >>> from_text(text, kind="toml").table.loc[0, ["unit", "period"]].tolist()
    ['°C', 'all']
    """
    try:
        whole = tomllib.loads(text) if kind == "toml" else json.loads(text)
    except (tomllib.TOMLDecodeError, json.JSONDecodeError) as error:
        raise FieldkitError(f"{name} cannot be read as {kind.upper()}: {error}. Compare it with a fresh one.") from None
    rows = whole.get("target") if isinstance(whole, dict) else None
    if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
        raise FieldkitError(f"{name} holds no targets: it needs at least one [[target]] section.")
    table = pd.DataFrame([_row(**_known(row, name, i)) for i, row in enumerate(rows, start=1)])
    for i, row in enumerate(table.itertuples(index=False), start=1):
        for value in (row.low, row.high):
            if isinstance(value, int | float) and value > HOTTEST_C.get(row.target, np.inf):
                raise FieldkitError(
                    f"{name}, target {i} ({row.target}): {value:g} °C is no target for an animal. Temperatures are °C; "
                    f"if this is °F, write {(value - 32) * 5 / 9:.1f}."
                )
    return make(
        table,
        species=str(whole.get("species", "not stated")),
        invented=bool(whole.get("invented", False)),
        notes=tuple(str(n) for n in whole.get("notes", ())),
        levels=tuple(whole.get(k, np.nan) for k in ("full_sun_w_m2", "full_shade_w_m2")),
        name=name,
    )


def template():
    """Text of a targets.toml for a new enclosure: two ceilings that hold at once, and room for the keeper's own.

    Returns
    -------
    str

    Examples
    --------
    >>> from_text(template(), kind="toml").table[["target", "high", "ceiling"]].values.tolist()
    [['surface_c', 48.0, True], ['uv_index', 8.0, True]]
    """
    zones = "; ".join(f"{n}: {low:g} to {high:g}" for n, (low, high) in UV_ZONES.items())
    return f"""\
# What the enclosure is held against: one [[target]] block each. The two below are about burns and UV of people, not
# about your animal: add your own targets below, each with its source, or let a season of field records give them:
# fieldkit audit FOLDER --season MY_SEASON (this file is then not read; --save-targets keeps what the season gave).
#
# target  one of {", ".join(list(UNITS)[:6])},
#         {", ".join(list(UNITS)[6:])}
# zone    one of {", ".join(ZONES)}
# low, high  the range in °C, W/m², UV index, h or share of the floor; one of them will do
# period  day, night or all; month = 1 to 12, or 0 for all year
# ceiling = true  high must never be passed
# basis   one of {", ".join(BASES)}; source: where the number is from, in words

# species = "the animal these are for"
invented = false

[[target]]
target = "surface_c"
high = {CONTACT_CEILING_C}
ceiling = true
basis = "standard"
source = "{CONTACT_SOURCE}"

[[target]]
target = "uv_index"
high = {UV_CEILING}
ceiling = true
basis = "standard"
source = "{UV_SOURCE}"

# The numbers below show the form only: they are no advice for any animal. Take the # away and put in your own.
# [[target]]
# target = "shade_air_c"
# zone = "cool end"
# period = "day"
# low = 20
# high = 26
# basis = "literature"
# source = "book, page"

# [[target]]
# target = "shade_air_c"
# zone = "whole"
# period = "night"
# low = 15
# high = 20
# basis = "literature"
# source = "book, page"

# [[target]]
# target = "surface_c"
# zone = "basking site"
# period = "day"
# low = 32
# high = 42
# basis = "literature"
# source = "book, page"

# UV index by how much an animal basks, groups 1 (least) to 4 (Ferguson et al. 2010, limits from memory):
# {zones}
# [[target]]
# target = "uv_index"
# zone = "basking site"
# period = "day"
# low = 1.0
# high = 2.6
# basis = "literature"
# source = "Ferguson et al. 2010, group 3"
"""


def load(path):
    """Read a targets file; see `from_text`.

    Parameters
    ----------
    path : str or pathlib.Path
        Ends in .toml or .json.

    Returns
    -------
    Targets
    """
    path = Path(path)
    if path.suffix not in (".toml", ".json"):
        raise FieldkitError(f"{path.name}: a targets file ends in .toml or .json.")
    if not path.is_file():
        raise FieldkitError(f"There is no file {path}.")
    return from_text(path.read_text(encoding="utf-8-sig"), kind=path.suffix[1:], name=path.name)


def _known(row, name, number):
    strange = sorted(set(row) - set(COLUMNS))
    if strange:
        raise FieldkitError(f"{name}, target {number}: '{strange[0]}' is not known; use {', '.join(COLUMNS)}.")
    if "target" not in row:
        raise FieldkitError(f"{name}, target {number}: write target = one of {', '.join(UNITS)}.")
    return row


def _row(
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
    ceiling=False,
    margin=0.0,
    basis="common practice",
):
    unit = UNITS.get(target, "") if unit is None else unit
    return dict(
        zip(
            COLUMNS,
            (target, zone, month, period, low, high, unit, low_error, high_error, ceiling, margin, basis, source),
        )
    )


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
        When a low lies above its high, a ceiling has no height, or a word is not known.

    Examples
    --------
    >>> rows = pd.DataFrame([_row("uv_index", low=1.0, high=2.6, basis="literature", source="Ferguson et al. 2010")])
    >>> make(rows, species="ridge lizard", invented=True).sentence
    '1 targets for ridge lizard (invented): uv_index; 0 are ceilings that must not be passed.'
    """
    table = table.reindex(columns=COLUMNS)
    for column in ("low", "high", "low_error", "high_error", "margin"):
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
            (row.month, range(13), "month"),
        ):
            if value not in known:
                raise FieldkitError(f"{where}: {what} is {value!r}; use one of {', '.join(str(k) for k in known)}.")
        if row.low > row.high:
            raise FieldkitError(f"{where}: low {row.low:g} lies above high {row.high:g}. Exchange them.")
        if row.ceiling and not np.isfinite(row.high):
            raise FieldkitError(f"{where}: a ceiling needs high = its height.")
        if np.isnan(row.low) and np.isnan(row.high):
            raise FieldkitError(f"{where}: give low, high or both.")
    for value, word in zip(levels, ("full_sun_w_m2", "full_shade_w_m2")):
        if isinstance(value, bool) or not isinstance(value, int | float | np.floating):
            raise FieldkitError(f"{name}: {word} is {value!r}; write a number of W/m², or take the line out.")
    if levels[0] <= levels[1]:
        raise FieldkitError(f"{name}: full sun ({levels[0]:g} W/m²) must be more than full shade ({levels[1]:g} W/m²).")
    table = table.astype({"month": int, "ceiling": bool})
    return Targets(
        species=species,
        invented=invented,
        table=table.reset_index(drop=True),
        full_sun_w_m2=float(levels[0]),
        full_shade_w_m2=float(levels[1]),
        notes=tuple(notes),
        settings=settings or {},
    )


# ---- builders: one result of the field, its rows ---------------------------------------------------------------------


def air(bands):
    """Month by month: the upper half of the band by day, the lower half by night, and a ceiling over the year.

    The division into halves is common practice without a source; the band itself is the stations'.

    Parameters
    ----------
    bands : fieldkit.field.climate.AirBands
        From `climate.air_bands`.

    Returns
    -------
    list of dict
    """
    rows = []
    count = bands.settings["n_stations"]
    source = f"air bands of {count} weather station{'s' if count != 1 else ''}, smoothed over the year"
    for month in bands.schedule.itertuples(index=False):
        if not np.isfinite(month.low_c + month.high_c):
            continue
        number = MONTHS.index(month.month) + 1
        middle = 0.5 * (month.low_c + month.high_c)
        low_error, high_error = (
            spread / np.sqrt(month.n_stations) for spread in (month.spread_low_c, month.spread_high_c)
        )
        half = 0.5 * np.hypot(low_error, high_error)
        shared = {"month": number, "basis": "station", "source": source}
        rows.append(
            _row(
                "shade_air_c",
                period="day",
                low=middle,
                high=month.high_c,
                low_error=half,
                high_error=high_error,
                margin=month.margin_c,
                **shared,
            )
        )
        rows.append(
            _row(
                "shade_air_c",
                period="night",
                low=month.low_c,
                high=middle,
                low_error=low_error,
                high_error=half,
                **shared,
            )
        )
    rows.append(
        _row(
            "shade_air_c",
            # The warmest month may lie a little above the warmest season; a ceiling below a band would forbid the band.
            high=max(bands.ceiling_c, bands.schedule["high_c"].max()),
            ceiling=True,
            margin=bands.settings["margin_c"],
            basis="station",
            source=f"typical maximum of the warmest season or month less the margin; {source}",
        )
    )
    return rows


def basking_air(window):
    """Shade air within which the wild animals basked: the range to hold while the basking lamp burns.

    Parameters
    ----------
    window : fieldkit.field.basking.Window
        From `basking.window`.

    Returns
    -------
    list of dict
        Empty when the season saw neither limit.
    """
    limits, errors = {}, {}
    for end in ("lower", "upper"):
        row = window.table.loc[f"{end} limit"]
        found = row["status"] == "found"
        limits[end] = row["estimate_c"] if found else np.nan
        errors[end] = (row["high_c"] - row["low_c"]) / 3.92 if found else np.nan
    if np.isnan(limits["lower"]) and np.isnan(limits["upper"]):
        return []
    return [
        _row(
            "shade_air_c",
            zone="basking site",
            period="day",
            low=limits["lower"],
            high=limits["upper"],
            low_error=errors["lower"],
            high_error=errors["upper"],
            basis="field",
            source=f"shade air in which {window.n_animals} animals still basked, {window.n_looks} looks",
        )
    ]


def preferred(found):
    """Operative temperatures that must be within reach: the preferred range at the basking site, less at the cool end.

    Parameters
    ----------
    found : fieldkit.field.thermoregulation.PreferredRange
        From `thermoregulation.preferred_range`.

    Returns
    -------
    list of dict
    """
    table = found.table
    error = {
        end: (table.loc[f"{end} end", "high_c"] - table.loc[f"{end} end", "low_c"]) / 3.92 for end in ("lower", "upper")
    }
    source = f"preferred range: {found.n_readings} readings of {found.n_animals} animals in a laboratory gradient"
    shared = {"period": "day", "basis": "field", "source": source}
    return [
        _row("operative_c", zone="basking site", low=found.high_c, low_error=error["upper"], **shared),
        _row("operative_c", zone="cool end", high=found.low_c, high_error=error["lower"], **shared),
        _row("operative_c", zone="retreat", high=found.low_c, high_error=error["lower"], **shared),
    ]


def taken(choices, column, *, by_month=False, quantiles=(0.1, 0.9)):
    """What the places taken by animals offered: the middle of their readings, in all or month by month.

    Parameters
    ----------
    choices : DataFrame
        The choice table of a season.
    column : str
        Of the choice table, e.g. ``irradiance_w_m2``.
    by_month : bool
        A row for each month that has at least `FEWEST_PLACES` readings.
    quantiles : tuple of float
        Low and high of the target.

    Returns
    -------
    list of dict
        Standard errors of the quantiles by bootstrap over animals (seed 0).

    Raises
    ------
    FieldkitError
        When no place taken has a reading.
    """
    from fieldkit.field import uncertainty

    if column not in choices:
        raise FieldkitError(f"The choice table has no column {column}.")
    used = choices[(choices["used"] == 1) & choices[column].notna()]
    if len(used) < FEWEST_PLACES:
        raise FieldkitError(f"Only {len(used)} places that animals took have a reading of {column}.")
    rows = []
    groups = used.groupby(used["time"].dt.month) if by_month else [(0, used)]
    for month, part in groups:
        if len(part) < FEWEST_PLACES:
            continue
        low, high = part[column].quantile(list(quantiles))
        errors = (np.nan, np.nan)
        named = part.dropna(subset=["animal_id"]) if "animal_id" in part else part.iloc[:0]
        if len(named) and named["animal_id"].nunique() >= 5:
            draws = uncertainty.cluster_bootstrap(
                named[["animal_id", column]],
                lambda sample: dict(zip(("low", "high"), np.quantile(sample[column], quantiles))),
                cluster="animal_id",
                n_resamples=199,
                method="percentile",
                rng=0,
            ).table
            errors = tuple((draws["high"] - draws["low"]).to_numpy() / 3.92)
        rows.append(
            _row(
                column,
                zone="basking site",
                month=int(month),
                period="day",
                low=low,
                high=high,
                low_error=errors[0],
                high_error=errors[1],
                basis="field",
                source=f"{100 * quantiles[0]:.0f} to {100 * quantiles[1]:.0f} % of {len(part)} places taken by animals",
            )
        )
    return rows


def ceilings(choices, level_w_m2=None):
    """Heights that must not be passed at the basking site: contact, UV, radiation.

    Parameters
    ----------
    choices : DataFrame
        The choice table of a season.
    level_w_m2 : Series, optional
        Sun on level ground through the season (W/m²); no lamp need be stronger than the strongest sun.

    Returns
    -------
    list of dict
    """
    used = choices[choices["used"] == 1]
    rows = []
    hottest = used["surface_c"].max()
    if hottest < CONTACT_CEILING_C:
        basis, why = "field", f"hottest surface on which one of {used['surface_c'].notna().sum()} animals was found"
    else:
        hottest, basis, why = CONTACT_CEILING_C, "standard", CONTACT_SOURCE
    if np.isfinite(hottest):
        rows.append(_row("surface_c", high=hottest, ceiling=True, basis=basis, source=why))
    if "uv_index" in used and used["uv_index"].notna().sum() >= FEWEST_PLACES:
        strongest = used["uv_index"].quantile(0.95)
        if strongest < UV_CEILING:
            rows.append(
                _row(
                    "uv_index",
                    high=strongest,
                    ceiling=True,
                    basis="field",
                    source="95 % of the places that animals took lay below",
                )
            )
    if not any(r["target"] == "uv_index" for r in rows):
        rows.append(
            _row(
                "uv_index",
                high=UV_CEILING,
                ceiling=True,
                basis="standard",
                source=f"{UV_SOURCE}; no field reading set it lower",
            )
        )
    if level_w_m2 is not None and level_w_m2.notna().any():
        rows.append(
            _row(
                "irradiance_w_m2",
                high=float(level_w_m2.quantile(0.999)),
                ceiling=True,
                basis="field",
                source=f"strongest sun of the season on level ground ({level_w_m2.name}; 99.9 % lay below)",
            )
        )
    return rows


def uv_zone(number):
    """UV index of one of the published exposure groups, for a season without UV readings.

    Parameters
    ----------
    number : {1, 2, 3, 4}
        1 shade or dusk, 2 occasional sun, 3 open or partial sun, 4 midday sun (Ferguson et al. 2010).

    Returns
    -------
    list of dict
    """
    if number not in UV_ZONES:
        raise FieldkitError(f"There is no UV group {number}: use 1, 2, 3 or 4.")
    low, high = UV_ZONES[number]
    source = f"group {number} of Ferguson et al. (2010) Zoo Biology 29:317; limits from memory"
    return [_row("uv_index", zone="basking site", period="day", low=low, high=high, basis="literature", source=source)]


def photoperiod(site, *, year, tolerance_h=0.5):
    """Hours between sunrise and sunset in the middle of each month at the site.

    Parameters
    ----------
    site : Site
        With latitude_deg, longitude_deg, elevation_m, timezone.
    year : int
        Any year; it moves the hours by minutes at most.
    tolerance_h : float
        Half width of the target (common practice, no source).

    Returns
    -------
    list of dict
    """
    from fieldkit.physics import sun

    days = [f"{year}-{month:02d}-15" for month in range(1, 13)]
    length = sun.day_length(
        days, latitude_deg=site.latitude_deg, longitude_deg=site.longitude_deg, timezone=site.timezone
    )
    hours = np.asarray(length["day_length_h"], dtype=float)
    source = f"sunrise to sunset at {site.latitude_deg:.1f}° latitude on the 15th, ±{tolerance_h:g} h"
    source += " (common practice, no source)"
    return [
        _row(
            "photoperiod_h",
            month=m,
            low=max(h - tolerance_h, 0),
            high=min(h + tolerance_h, 24),
            basis="standard",
            source=source,
        )
        for m, h in enumerate(hours, start=1)
    ]


def exposure(choices, level_w_m2):
    """Shares of the places on offer in full sun, part shade and full shade, while the sun shone.

    Parameters
    ----------
    choices : DataFrame
        The choice table. The shares are the habitat's only as far as the places measured stand for it.
    level_w_m2 : Series
        Sun on level ground (W/m²) by time.

    Returns
    -------
    list of dict
        Low and high are 95 % limits over choice sets.

    Raises
    ------
    FieldkitError
        When there are fewer than `FEWEST_PLACES` sets in the sun.
    """
    table = _in_sun(choices, level_w_m2)
    ratio = table["irradiance_w_m2"] / table["level"]
    kinds = {
        "full_sun_share": ratio >= FULL_SUN,
        "part_shade_share": (ratio < FULL_SUN) & (ratio > FULL_SHADE),
        "full_shade_share": ratio <= FULL_SHADE,
    }
    rows = []
    for name, kind in kinds.items():
        by_set = kind.groupby(table["set_id"]).mean()
        share, error = by_set.mean(), by_set.std() / np.sqrt(len(by_set))
        source = (
            f"{len(table)} places on offer in {len(by_set)} sets; full sun from {100 * FULL_SUN:.0f} % of level sun, "
            f"full shade to {100 * FULL_SHADE:.0f} %"
        )
        rows.append(
            _row(
                name,
                period="day",
                low=max(share - 1.96 * error, 0),
                high=min(share + 1.96 * error, 1),
                low_error=error,
                high_error=error,
                basis="field",
                source=source,
            )
        )
    return rows


# Below this much sun on level ground (W/m²) nobody can tell sun from shade (our choice).
_LEAST_SUN = 200.0


def _in_sun(choices, level_w_m2):
    """Places on offer while the sun shone, with the sun on level ground at that time as `level`."""
    table = choices.dropna(subset=["irradiance_w_m2"]).sort_values("time")
    sun = level_w_m2.dropna().rename("level").rename_axis("time").sort_index().reset_index()
    table["time"], sun["time"] = table["time"].astype("datetime64[ns, UTC]"), sun["time"].astype("datetime64[ns, UTC]")
    table = pd.merge_asof(table, sun, on="time", direction="nearest", tolerance=pd.Timedelta("45min"))
    table = table[table["level"] > _LEAST_SUN]
    if table["set_id"].nunique() < FEWEST_PLACES:
        raise FieldkitError(
            f"Only {table['set_id'].nunique()} choice sets were read with more than {_LEAST_SUN:g} W/m² of sun."
        )
    return table


def sun_levels(choices, level_w_m2):
    """What full sun and full shade were in W/m²: shares of the typical sun on level ground while places were read.

    Parameters
    ----------
    choices : DataFrame
        The choice table.
    level_w_m2 : Series
        Sun on level ground (W/m²) by time.

    Returns
    -------
    tuple of float
        `FULL_SUN` and `FULL_SHADE` times the median over places: what an enclosure's floor is divided by.

    Raises
    ------
    FieldkitError
        As `exposure`.
    """
    typical = float(_in_sun(choices, level_w_m2)["level"].median())
    return FULL_SUN * typical, FULL_SHADE * typical


def warming(shade_air):
    """How fast shade air warmed in the mornings: warm-up by lamps should not be faster.

    Parameters
    ----------
    shade_air : Series
        Shade air (°C) by time with a zone, at least hourly, free of sun.

    Returns
    -------
    list of dict
        High is the rate that 95 % of days did not pass.

    Raises
    ------
    FieldkitError
        With fewer than `FEWEST_PLACES` whole days.
    """
    hourly = shade_air.resample("1h").mean()
    rise = hourly.diff()
    morning = rise[(rise.index.hour >= 5) & (rise.index.hour <= 12)]
    days = morning.groupby(morning.index.date)
    fastest = days.max()[days.count() >= 6]
    if len(fastest) < FEWEST_PLACES:
        raise FieldkitError(f"Only {len(fastest)} mornings of shade air are complete.")
    draws = np.random.default_rng(0).choice(fastest.to_numpy(), (499, len(fastest)))
    high = fastest.quantile(0.95)
    return [
        _row(
            "warming_rate_c_per_h",
            period="day",
            high=high,
            high_error=float(np.quantile(draws, 0.95, axis=1).std()),
            basis="field",
            source=f"fastest hour of {len(fastest)} mornings ({shade_air.name}); 95 % lay below",
        )
    ]


def from_season(season, *, margin_c=5.0, target_elevation_m=None, uv_group=None):
    """Gather every target that a season's records can carry; the rest is named in the notes.

    Parameters
    ----------
    season : Season
        A season folder as read.
    margin_c : float
        Taken off the hot end of the air bands (°C).
    target_elevation_m : float, optional
        Height to which the stations' air is brought (m); see `climate.air_bands`.
    uv_group : {1, 2, 3, 4}, optional
        Published exposure group, used where the season has no UV readings.

    Returns
    -------
    Targets

    Raises
    ------
    FieldkitError
        When the records carry no target at all.

    Examples
    --------
    >>> import fieldkit
    >>> found = from_season(fieldkit.demo_season())  # doctest: +SKIP
    >>> found.save("targets.toml")  # doctest: +SKIP
    """
    from fieldkit.field import basking, climate, sunlight, thermoregulation

    rows, notes = [], []

    def gather(what, needs, build):
        if not all(getattr(season, table) is not None for table in needs):
            notes.append(
                f"No {what}: the folder has no {' and no '.join(t for t in needs if getattr(season, t) is None)}."
            )
            return
        try:
            rows.extend(build())
        except FieldkitError as error:
            notes.append(f"No {what}: {error}")

    gather(
        "air bands",
        ["weather"],
        lambda: air(
            climate.air_bands(
                season.weather, stations=season.stations, margin_c=margin_c, target_elevation_m=target_elevation_m
            )
        ),
    )
    gather(
        "basking window",
        ["scans"],
        lambda: basking_air(basking.window(season.scans, season.loggers, logger_info=season.logger_info)),
    )
    gather(
        "preferred range",
        ["gradient"],
        lambda: preferred(
            thermoregulation.preferred_range(
                season.gradient["body_temperature_c"], animal_id=season.gradient["animal_id"], rng=0
            )
        ),
    )
    try:
        level = sunlight.on_the_level(season)
    except FieldkitError as error:
        level = None
        notes.append(f"No sun on level ground: {error}")
    gather(
        "radiation at the basking site", ["choices"], lambda: taken(season.choices, "irradiance_w_m2", by_month=True)
    )
    gather("surfaces to offer", ["choices"], lambda: taken(season.choices, "surface_c", quantiles=(0.05, 0.95)))
    before = len(rows)
    gather("UV index from the field", ["choices"], lambda: taken(season.choices, "uv_index"))
    if len(rows) == before and uv_group is not None:
        rows.extend(uv_zone(uv_group))
    gather("ceilings", ["choices"], lambda: ceilings(season.choices, level))
    levels = (np.nan, np.nan)
    if level is not None:
        before = len(rows)
        gather("sun and shade of the floor", ["choices"], lambda: exposure(season.choices, level))
        if len(rows) > before:
            levels = sun_levels(season.choices, level)
    gather("day length", [], lambda: photoperiod(season.site, year=season.last_day.year))
    gather("warming rate", ["loggers"], lambda: warming(_clean_shade_air(season)))
    if not rows:
        raise FieldkitError("These records carry no target: " + " ".join(notes))
    return make(
        pd.DataFrame(rows),
        species=season.animal.species,
        invented=season.invented,
        notes=notes,
        levels=levels,
        settings={"margin_c": margin_c, "target_elevation_m": target_elevation_m, "input_hash": season.input_hash},
    )


def _clean_shade_air(season):
    """The shade air logger with the most readings after those that carry sun are masked."""
    from fieldkit.physics import contamination, logger_checks

    shade = logger_checks.by_role(season.loggers, season.logger_info, "shade_air")
    if not shade.shape[1]:
        raise FieldkitError("no logger has the role shade_air.")
    light = logger_checks.by_role(season.loggers, season.logger_info, "irradiance")
    sun = light.iloc[:, 0].dropna() if light.shape[1] else None
    masked = contamination.find_contamination(shade, sun, site=season.site).masked
    return masked[masked.count().idxmax()]
