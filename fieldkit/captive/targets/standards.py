"""Limits that hold for every enclosure, with their sources: surfaces by contact time, and UV by how a species basks.

None of them is a limit of reptile skin or eyes: none is known. Each figure was looked up where the constant says so.
"""

import numpy as np

from fieldkit.captive.targets.table import Kind, target_row
from fieldkit.core import FieldkitError

# Burn thresholds of human skin (°C) by contact time in minutes. Read: one and ten minutes and eight hours, for metal,
# for ceramics, glass and stone, for plastics and for wood, as Czech Government Regulation 361/2007 prints them from
# EN ISO 13732-1. ISO 13732-1:2006 itself was not seen, nor its figures for contact below one minute, which stand
# nowhere here. Brick, tile and concrete are counted with stone, resin with plastics, what is not known with metal (our
# choice). From ten minutes on one figure serves all materials; for one minute metal burns soonest.
CONTACT_LIMITS_C = {
    "metal": {1.0: 51.0, 10.0: 48.0, 480.0: 43.0},
    "stone": {1.0: 56.0, 10.0: 48.0, 480.0: 43.0},
    "plastic": {1.0: 60.0, 10.0: 48.0, 480.0: 43.0},
    "wood": {1.0: 60.0, 10.0: 48.0, 480.0: 43.0},
}
CONTACT_SOURCE = (
    "burn threshold of human skin for {}, ISO 13732-1:2006 as Czech Government Regulation 361/2007 prints it; no limit "
    "of reptile skin is known"
)
# Scope of ISO 13732-1:2006, as its publishers print it.
CONTACT_SCOPE = (
    "The burn thresholds are those of healthy human skin, and ISO 13732-1 does not apply where about a tenth of the "
    "skin or more touches: a reptile lies on more than that, so a surface below them may still burn it."
)
# A mean of ten minutes stands for basking, one of eight hours for rest, for the night, for heat mats and for retreats.
BASKING_MIN, RESTING_MIN = 10.0, 480.0
CONTACT_CEILING_C = CONTACT_LIMITS_C["stone"][BASKING_MIN]
RESTING_CEILING_C = CONTACT_LIMITS_C["stone"][RESTING_MIN]
_MATERIALS = {
    "stone": ("rock", "stone", "slate", "brick", "tile", "glass", "concrete", "ceramic", "granite", "sandstone"),
    "metal": ("metal", "steel", "iron", "copper", "alumin", "tin"),
    "plastic": ("plastic", "resin", "acrylic", "pvc", "vinyl"),
    "wood": ("wood", "bark", "cork", "branch", "log", "bamboo"),
}

# From 8 on the World Health Organization (2002), Global solar UV index, calls the UV index very high, for people.
UV_CEILING = 8.0
UV_SOURCE = "very high for people (WHO 2002); no limit of reptiles is known"
# UV index by how a species basks: average of single readings, and highest reading, of the species in each of the four
# groups of Ferguson et al. (2010) Zoo Biology 29:317-334, 15 species of lizards and snakes, mostly at midday in spring.
# The abstract was seen (medians of 0.35 in the first group, 3.1 in the last); the other figures as a page that quotes
# the paper prints them.
UV_EXPOSURE = {
    "shade or dusk": {"average": (0.0, 0.7), "highest": (0.6, 1.4)},
    "occasional sun": {"average": (0.7, 1.0), "highest": (1.1, 3.0)},
    "open or partial sun": {"average": (1.0, 2.6), "highest": (2.9, 7.4)},
    "midday sun": {"average": (2.6, 3.5), "highest": (4.5, 9.5)},
}
# For a species of which nobody knows how it basks.
NO_UV = (
    "How much UV this species seeks is not known here (uv_exposure): UV is held against its upper limit only, and no "
    "UV is called enough."
)
UV_EXPOSURE_SOURCE = "Ferguson et al. (2010) Zoo Biology 29:317-334, as quoted in a secondary source"


def material(substrate):
    """The material of the burn thresholds that a substrate is of; metal, which burns soonest, where it is not known.

    Examples
    --------
    >>> material("slate"), material("cork bark"), material("sand"), material(None)
    ('stone', 'wood', 'metal', 'metal')
    """
    words = str(substrate or "").lower()
    return next((name for name, known in _MATERIALS.items() if any(k in words for k in known)), "metal")


def contact_limit_c(minutes, substrate="stone"):
    """Burn threshold of human skin for a contact time: that of the next longer time which is tabled.

    Parameters
    ----------
    minutes : float
        Contact time, above 0; beyond eight hours as for eight hours.
    substrate : str
        What is touched.

    Returns
    -------
    float
        °C.

    Raises
    ------
    FieldkitError
        When the time is not above 0.

    Examples
    --------
    >>> contact_limit_c(1, "metal plate"), contact_limit_c(1, "slate"), contact_limit_c(10), contact_limit_c(60)
    (51.0, 56.0, 48.0, 43.0)
    """
    if not minutes > 0:
        raise FieldkitError(f"A contact of {minutes} minutes has no burn threshold: give minutes above 0.")
    limits = CONTACT_LIMITS_C[material(substrate)]
    return limits[min((t for t in limits if t >= minutes), default=RESTING_MIN)]


def contact_rows(*, retreat=False):
    """Limits of surfaces by contact time: ten minutes of basking, and eight hours of rest, night, mat or retreat.

    Parameters
    ----------
    retreat : bool
        A row of its own for the retreat, which then has to be measured.

    Returns
    -------
    list of dict

    Examples
    --------
    >>> [(row["high"], row["contact_min"]) for row in contact_rows()]
    [(48.0, 10.0), (43.0, 480.0)]
    """
    shared = {"kind": Kind.LIMIT, "basis": "standard"}
    short, long = (CONTACT_SOURCE.format(time) for time in ("10 minutes", "8 hours and longer"))
    rows = [
        target_row("surface_c", high=CONTACT_CEILING_C, contact_min=BASKING_MIN, source=short, **shared),
        target_row("surface_c", high=RESTING_CEILING_C, contact_min=RESTING_MIN, source=long, **shared),
    ]
    if retreat:
        hidden = {"zone": "retreat", "high": RESTING_CEILING_C, "contact_min": RESTING_MIN}
        rows.append(target_row("surface_c", source=long, **hidden, **shared))
    return rows


def standard_rows(table, *, retreat=False):
    """The standard limits of surfaces and UV that a table of targets lacks or sets higher.

    Parameters
    ----------
    table : DataFrame
        As `Targets.table`.
    retreat : bool
        As in `contact_rows`.

    Returns
    -------
    list of dict
    """
    uv = target_row("uv_index", high=UV_CEILING, kind=Kind.LIMIT, basis="standard", source=UV_SOURCE)
    mine = table[(table["kind"] == Kind.LIMIT) & (table["period"] == "all") & (table["month"] == 0)]
    lacking = []
    for row in [*contact_rows(retreat=retreat), uv]:
        rows = mine[(mine["target"] == row["target"]) & mine["zone"].isin(("whole", row["zone"]))]
        if row["zone"] != "whole":
            rows = rows[rows["zone"] == row["zone"]]
        # A limit without a contact time is held against every ten minutes, which is stricter than any longer mean.
        as_strict = (rows["high"] <= row["high"]) & ~(rows["contact_min"] > np.nan_to_num(row["contact_min"], nan=1e9))
        if not as_strict.any():
            lacking.append(row)
    return lacking


def uv_exposure(group):
    """UV index of a species by how it basks, for a season without UV readings.

    Parameters
    ----------
    group : str
        One of `UV_EXPOSURE`: what is known of the species kept, not a guess from its looks.

    Returns
    -------
    list of dict
        What the basking place should reach at its strongest, and a limit. The average that the animals met through
        their day is told in the source and judged by nothing here: where an animal is in its day no meter knows.

    Raises
    ------
    FieldkitError
        When there is no such group.

    Examples
    --------
    >>> [(row["low"], row["high"], str(row["kind"])) for row in uv_exposure("occasional sun")]
    [(1.1, 3.0, 'aim'), (nan, 3.0, 'limit')]
    """
    if group not in UV_EXPOSURE:
        raise FieldkitError(
            f"There is no UV exposure '{group}': write one of {', '.join(UV_EXPOSURE)}, or leave it out where it is "
            "not known of the species."
        )
    (low, high), average = UV_EXPOSURE[group]["highest"], UV_EXPOSURE[group]["average"]
    high = min(high, UV_CEILING)
    words = f"highest readings of species of {group}; their average was {average[0]:g} to {average[1]:g}"
    shared = {"basis": "literature", "source": f"{words}: {UV_EXPOSURE_SOURCE}"}
    return [
        target_row("uv_index", zone="basking site", period="day", low=low, high=high, **shared),
        target_row("uv_index", high=high, kind=Kind.LIMIT, **shared),
    ]
