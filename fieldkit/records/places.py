"""What may be told of a place: one rule for cutting coordinates and heights, for every file that others get to see."""

import dataclasses
import math
from decimal import ROUND_DOWN, Decimal

from fieldkit.core import FieldkitError

# Chapman (2020), Current Best Practices for Generalizing Sensitive Species Occurrence Data, GBIF: categories 2, 3 and
# 4 of sensitivity are published to 0.1, 0.01 and 0.001 degree; category 1 not at all.
PRECISIONS = ("0.1", "0.01", "0.001")
ELEVATION_STEP_M = 100
# What a site is called where season.toml gives no name for others.
UNNAMED = "the site"


def cut_off(coordinate_deg, *, precision="0.1"):
    """A coordinate with its last digits cut off, towards zero.

    Cutting off, and not rounding or adding chance, is what the guide recommends; it has to be stated beside the data.

    Parameters
    ----------
    coordinate_deg : float
        Latitude or longitude (°).
    precision : {"0.1", "0.01", "0.001"}
        What is left of it (°).

    Returns
    -------
    decimal.Decimal
        With exactly the digits that are published.

    Raises
    ------
    FieldkitError
        Another precision.

    Examples
    --------
    >>> cut_off(36.3), cut_off(-80.3199), cut_off(-80.3199, precision="0.01")
    (Decimal('36.3'), Decimal('-80.3'), Decimal('-80.31'))
    """
    if precision not in PRECISIONS:
        raise FieldkitError(f"Coordinates can be cut to {', '.join(PRECISIONS)} degree, not to {precision!r}.")
    # From the written digits: as binary numbers, 36.3 / 0.1 falls short of 363.
    cut = Decimal(repr(float(coordinate_deg))).quantize(Decimal(precision), rounding=ROUND_DOWN)
    return abs(cut) if cut == 0 else cut


def cell(coordinate_deg, *, precision="0.1"):
    """Both ends of the cell that a cut coordinate stands for.

    Parameters
    ----------
    coordinate_deg : float
        Latitude or longitude (°), cut or not.
    precision : {"0.1", "0.01", "0.001"}
        Side of the cell (°).

    Returns
    -------
    tuple of decimal.Decimal
        Lower and upper end; cutting off at 0 leaves both sides of it.

    Examples
    --------
    >>> cell(36.18), cell(-80.31), cell(0.02)
    ((Decimal('36.1'), Decimal('36.2')), (Decimal('-80.4'), Decimal('-80.3')), (Decimal('-0.1'), Decimal('0.1')))
    """
    cut, side = cut_off(coordinate_deg, precision=precision), Decimal(precision)
    return cut - side if cut <= 0 else cut, cut + side if cut >= 0 else cut


def band(elevation_m):
    """The 100 m of height that an elevation lies in.

    Examples
    --------
    >>> band(437.0), band(-20.0)
    ((400, 500), (-100, 0))
    """
    low = math.floor(elevation_m / ELEVATION_STEP_M) * ELEVATION_STEP_M
    return low, low + ELEVATION_STEP_M


def public_site(site, *, name=UNNAMED):
    """A site as others may see it: the middle of its cell of 0.1 degree and of its 100 m of height.

    Whatever is computed from it is the same for every site in that cell, so it cannot give the true one away.

    Parameters
    ----------
    site : Site
        As in a season.
    name : str
        What others may call it.

    Returns
    -------
    Site

    Examples
    --------
    >>> from fieldkit.records.season.reader import Site
    >>> site = Site(name="x", latitude_deg=36.18, longitude_deg=-80.31, elevation_m=437.0, timezone="UTC")
    >>> told = public_site(site)
    >>> told.latitude_deg, told.longitude_deg, told.elevation_m, told.name
    (36.15, -80.35, 450.0, 'the site')
    """
    latitude, longitude = middle(site.latitude_deg, limit=90), middle(site.longitude_deg, limit=180)
    return dataclasses.replace(
        site, name=name, latitude_deg=latitude, longitude_deg=longitude, elevation_m=middle_height(site.elevation_m)
    )


def middle(coordinate_deg, *, limit):
    """Middle of the cell of 0.1 degree around a coordinate, or `limit` beyond the last one.

    Examples
    --------
    >>> middle(36.18, limit=90), middle(-180.0, limit=180)
    (36.15, -180.0)
    """
    found = float(sum(cell(coordinate_deg)) / 2)
    return max(-float(limit), min(float(limit), found))


def middle_height(elevation_m):
    """Middle of the 100 m of height around an elevation (m).

    Examples
    --------
    >>> middle_height(437.0)
    450.0
    """
    return float(sum(band(elevation_m)) / 2)


def in_words(site):
    """The cell of a site in words.

    Examples
    --------
    >>> from fieldkit.records.season.reader import Site
    >>> in_words(Site(name="x", latitude_deg=36.18, longitude_deg=-80.31, elevation_m=437.0, timezone="UTC"))
    '36.1 to 36.2° N, 80.3 to 80.4° W, 400 to 500 m above the sea'
    """
    low, high = band(site.elevation_m)
    height = f"{low} to {high} m above the sea" if low >= 0 else f"{-high} to {-low} m below the level of the sea"
    return f"{_side(site.latitude_deg, 'N', 'S')}, {_side(site.longitude_deg, 'E', 'W')}, {height}"


def _side(coordinate_deg, plus, minus):
    low, high = cell(coordinate_deg)
    if low < 0 < high:
        return f"within {high}° of 0° {plus}"
    near, far = sorted((abs(low), abs(high)))
    return f"{near} to {far}° {plus if high > 0 else minus}"
