"""Records given to others in open formats, without giving the animals away."""

import math
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

import pandas as pd

from fieldkit.core import FieldkitError, Result, swapped_in
from fieldkit.records.places import ELEVATION_STEP_M, PRECISIONS, band, cut_off
from fieldkit.report.privacy import at_home, gate, public
from fieldkit.report.share import citation, darwin_core, netcdf
from fieldkit.report.share import filter as giving_away
from fieldkit.report.share import reproducible as again

COORDINATES = ("none", *PRECISIONS, "exact")
# Terms of use that the biodiversity portals accept (common practice).
LICENCES = {
    "CC0-1.0": "https://creativecommons.org/publicdomain/zero/1.0/legalcode",
    "CC-BY-4.0": "https://creativecommons.org/licenses/by/4.0/legalcode",
    "CC-BY-NC-4.0": "https://creativecommons.org/licenses/by-nc/4.0/legalcode",
}
# WGS 84: equatorial radius (m) and first eccentricity squared.
_RADIUS_M, _ECCENTRICITY_2 = 6378137.0, 0.00669437999014


def cell_diagonal(latitude_deg, *, precision="0.1"):
    """Diagonal of a cell of latitude and longitude: what cutting coordinates off adds to their uncertainty.

    Parameters
    ----------
    latitude_deg : float
        Latitude (°) of the side of the cell that is nearer to the equator, where the cell is widest.
    precision : {"0.1", "0.01", "0.001"} or decimal text
        Side of the cell (°).

    Returns
    -------
    float
        Metres. Exact for digits cut off; twice what rounding to the nearest would need.

    Notes
    -----
    Radii of curvature of the WGS 84 ellipsoid. Chapman, A. D. and Wieczorek, J. R. (2020), Georeferencing Best
    Practices, GBIF, table 3, has the figures at the equator.

    Examples
    --------
    >>> round(cell_diagonal(0.0)), round(cell_diagonal(45.0))
    (15690, 13626)
    """
    side = math.radians(float(precision))
    latitude = math.radians(abs(float(latitude_deg)))
    stretch = 1 - _ECCENTRICITY_2 * math.sin(latitude) ** 2
    north = _RADIUS_M * (1 - _ECCENTRICITY_2) / stretch**1.5 * side
    east = _RADIUS_M * math.cos(latitude) / math.sqrt(stretch) * side
    return math.hypot(north, east)


@dataclass(frozen=True, kw_only=True)
class Position:
    """Where the site is, as it is published; None where it is withheld or not known."""

    latitude: str | None
    longitude: str | None
    precision_deg: str | None
    uncertainty_m: int | None
    elevation_m: tuple | None
    generalised: str
    withheld: str

    def of(self, latitude_deg, longitude_deg):
        """Another place (a weather station), published the same way."""
        if self.latitude is None:
            return None
        if self.precision_deg is None:
            return float(latitude_deg), float(longitude_deg)
        return tuple(float(cut_off(value, precision=self.precision_deg)) for value in (latitude_deg, longitude_deg))


def publish_position(site, *, coordinates="0.1", position_uncertainty_m=None):
    """What may be told of a site's position.

    Parameters
    ----------
    site : Site
        As in a season: latitude_deg, longitude_deg, elevation_m.
    coordinates : {"none", "0.1", "0.01", "0.001", "exact"}
        How much is told (°).
    position_uncertainty_m : float, optional
        How far (m) from the stated position an animal may have been, instrument included. None: not known; then half
        the diagonal of the last stated digit stands for it when coordinates are cut off, and exact ones are given
        without an uncertainty.

    Returns
    -------
    Position

    Raises
    ------
    FieldkitError
        A wrong option.

    Examples
    --------
    >>> from fieldkit.records.season.reader import Site
    >>> site = Site(name="x", latitude_deg=36.18, longitude_deg=-80.31, elevation_m=410.0, timezone="UTC")
    >>> position = publish_position(site)
    >>> position.latitude, position.longitude, position.elevation_m
    ('36.1', '-80.3', (400, 500))
    """
    if coordinates not in COORDINATES:
        raise FieldkitError(f"coordinates can be {', '.join(COORDINATES)}, not {coordinates!r}.")
    if position_uncertainty_m is not None and not (
        math.isfinite(position_uncertainty_m) and position_uncertainty_m > 0
    ):
        raise FieldkitError(
            f"position_uncertainty_m is {position_uncertainty_m}: give metres above 0, or leave it out."
        )
    about = {"precision_deg": None, "uncertainty_m": None, "elevation_m": band(site.elevation_m)}
    if coordinates == "none":
        return Position(
            latitude=None,
            longitude=None,
            **about,
            generalised=f"Elevation given as a band of {ELEVATION_STEP_M} m.",
            withheld="Coordinates withheld to protect the animals.",
        )
    if coordinates == "exact":
        about["elevation_m"] = (round(site.elevation_m), round(site.elevation_m))
        about["uncertainty_m"] = None if position_uncertainty_m is None else math.ceil(position_uncertainty_m)
        return Position(
            latitude=repr(site.latitude_deg), longitude=repr(site.longitude_deg), **about, generalised="", withheld=""
        )
    cut = [cut_off(value, precision=coordinates) for value in (site.latitude_deg, site.longitude_deg)]
    own = position_uncertainty_m
    if own is None:
        digits = max(_decimals(site.latitude_deg), _decimals(site.longitude_deg))
        own = cell_diagonal(site.latitude_deg, precision=Decimal(1).scaleb(-digits)) / 2
    added = cell_diagonal(cut[0], precision=coordinates)
    about |= {"precision_deg": coordinates, "uncertainty_m": math.ceil(added + own)}
    return Position(
        latitude=str(cut[0]),
        longitude=str(cut[1]),
        **about,
        generalised=(
            f"Coordinates cut off (towards zero; not rounded, not randomised) to {coordinates} degree to protect the "
            f"animals; coordinateUncertaintyInMeters includes {added:.0f} m, the diagonal of that cell. Elevation "
            f"given as a band of {ELEVATION_STEP_M} m."
        ),
        withheld="Exact position withheld to protect the animals.",
    )


def _decimals(value):
    return max(0, -Decimal(repr(float(value))).normalize().as_tuple().exponent)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Shared(Result):
    """A folder to give away: what is in it, what stayed at home, and what to think of before it goes out.

    Attributes
    ----------
    path : pathlib.Path
    table : pandas.DataFrame
        One row a file: file, holds.
    left_out : pandas.DataFrame
        What stayed at home: table, what, rows, reason.
    cautions : tuple of str
        To be read before anything is sent.
    """

    path: Path
    table: pd.DataFrame
    left_out: pd.DataFrame
    cautions: tuple
    sentence: str


def write(
    season,
    out,
    *,
    licence=None,
    authors=None,
    contact=None,
    title=None,
    scientific_name=None,
    coordinates="0.1",
    position_uncertainty_m=None,
    include_notes=False,
    allow_invented=False,
    reproducible=False,
    progress=None,
):
    """Write a season as a Darwin Core archive, CF-NetCDF series and a citation file.

    By default coordinates are cut off to 0.1 degree for every animal, place names and free text stay at home, and
    names of animals, places and observers are replaced by numbers: an exact place that is told elsewhere in the files
    would undo the rest.

    Parameters
    ----------
    season : Season
        From `fieldkit.read_season`.
    out : str or pathlib.Path
        New or empty folder; nothing is overwritten.
    licence : {"CC0-1.0", "CC-BY-4.0", "CC-BY-NC-4.0"}
        Terms of use; yours to choose, so there is no default.
    authors : sequence of str, optional
        Whom to cite: "Family, Given" for a person, anything else for a group. None: "The observers".
    contact : str, optional
        Address for questions, usually an e-mail.
    title : str, optional
        None: the species and the year. Do not name the place.
    scientific_name : str, optional
        Needed when season.toml gives a common name.
    coordinates : {"none", "0.1", "0.01", "0.001", "exact"}
        How much of the position is published (°).
    position_uncertainty_m : float, optional
        How far (m) from the stated position an animal may have been.
    include_notes : bool
        Publish notes, behaviour and substrate in your own words, and loggers' places. Read them all first.
    allow_invented : bool
        Needed for invented records, which are then marked INVENTED in every file.
    reproducible : bool
        Add the folder ``season``, from which others compute the write-up again, and say which of its numbers depend on
        where in its cell the site lies. Takes as long as three write-ups.
    progress : bool, optional
        Show progress bars; None shows them in a terminal.

    Returns
    -------
    Shared

    Raises
    ------
    FieldkitError
        A wrong option; records that cannot be shared (invented, no name); a folder that is not empty; files that would
        hold what must stay at home (`LeakError`).
    """
    out = Path(out).expanduser().absolute()
    about = _about(season, licence, authors, contact, title, scientific_name, allow_invented)
    if reproducible and coordinates == "none":
        raise FieldkitError("A season that others can compute with tells its cell of 0.1 degree: coordinates=0.1.")
    position = publish_position(season.site, coordinates=coordinates, position_uncertainty_m=position_uncertainty_m)
    filter_ = giving_away.Filter(season, include_notes=include_notes)
    secrets = _secrets(season, coordinates, include_notes, [*about.authors, contact or ""])
    with swapped_in(out, keep=[season.path]) as (half, _):
        rows = [
            *darwin_core.write(season, half / "darwin_core.zip", about=about, position=position, filter_=filter_),
            *netcdf.write(season, half, about=about, position=position, filter_=filter_),
        ]
        (half / "CITATION.cff").write_text(citation.of_data(about), encoding="utf-8")
        rows.append(("CITATION.cff", "how to cite the records"))
        left_out = filter_.left_out()
        told = _add_season(season, half, rows, exact=coordinates == "exact", progress=progress) if reproducible else []
        (half / "README.txt").write_text(_readme(about, position, rows, left_out, told), encoding="utf-8")
        rows.append(("README.txt", "what is in here, what was left out and why"))
        gate.check(half, secrets, what="the folder to give away")
    table = pd.DataFrame(rows, columns=["file", "holds"])
    where = {"none": "without coordinates", "exact": "with EXACT coordinates"}.get(
        coordinates, f"with coordinates cut off to {coordinates} degree"
    )
    return Shared(
        path=out,
        table=table,
        left_out=left_out,
        cautions=tuple(filter(None, [*_cautions(season, coordinates, include_notes, title), secrets.caution])),
        sentence=f"{about.title}: {len(table)} files in {out}, {where}.",
    )


@dataclass(frozen=True, kw_only=True)
class About:
    """What every file says about the whole."""

    title: str
    authors: tuple
    contact: str | None
    licence: str
    licence_url: str
    species: str
    scientific_name: str
    invented: bool
    first_day: object
    last_day: object
    site: object


def _about(season, licence, authors, contact, title, scientific_name, allow_invented):
    if season.invented and not allow_invented:
        raise FieldkitError(
            "These records are invented (season.toml says so), and invented animals must not get among real ones. To "
            "see what the files look like, allow it: allow_invented=True, or --invented; every file will say INVENTED."
        )
    if licence not in LICENCES:
        raise FieldkitError(
            f"Choose the terms under which others may use the records: licence can be {', '.join(LICENCES)} (free of "
            "all conditions; naming you; naming you, not for business)."
        )
    species = season.animal.species
    name = scientific_name or species
    if not season.invented and not _is_scientific(name):
        raise FieldkitError(
            f"'{name}' is not a scientific name, without which nobody can place the records: give scientific_name, or "
            '--scientific-name "Genus species".'
        )
    days = season.first_day, season.last_day
    years = " to ".join(dict.fromkeys(str(day.year) for day in days))
    mark = "INVENTED, not real animals: " if season.invented else ""
    return About(
        title=mark + (title or f"Basking sites and behaviour of {species}, {years}"),
        authors=tuple(authors or ("The observers",)),
        contact=contact,
        licence=licence,
        licence_url=LICENCES[licence],
        species=species,
        scientific_name=f"INVENTED ({name})" if season.invented else name,
        invented=bool(season.invented),
        first_day=days[0],
        last_day=days[1],
        site=season.site,
    )


def _add_season(season, half, rows, *, exact, progress):
    """Put the season that others may have into the folder; what to say about it."""
    public.write(season, half / "season", exact_place=exact)
    rows.append(
        ("season/", "the season to compute the write-up from again: fieldkit reproduce WRITEUP --season season")
    )
    if exact:
        return []
    moves = again.what_moves(season, progress=progress)
    if len(moves):
        moves.to_csv(half / "what_moves.csv", index=False, lineterminator="\n", float_format="%.3g")
        rows.append(("what_moves.csv", "numbers of the write-up that depend on where in its cell the site lies"))
    return again.in_words(moves)


def _secrets(season, coordinates, include_notes, allowed):
    """What must not stand in any of the files, with these options."""
    exact = coordinates == "exact"
    found = at_home.of_season(
        season,
        position_decimals={"none": 0}.get(coordinates, len(coordinates.partition(".")[2])),
        exact_place=exact,
        notes=not include_notes,
        allowed=allowed,
        height=not exact,
    )
    # Notes that go out on request tell what they tell.
    return at_home.without(found, "\n".join(at_home.free_text(season))) if include_notes else found


def _is_scientific(name):
    words = name.split()
    return len(words) >= 2 and words[0][:1].isupper() and words[0][1:].islower() and words[1][:1].islower()


def _cautions(season, coordinates, include_notes, title):
    if coordinates == "exact":
        yield (
            "EXACT coordinates: collectors and poachers read open data. Ask whoever protects the species and whoever "
            "owns the land before this leaves your hands; it cannot be called back."
        )
    elif coordinates in ("0.01", "0.001"):
        yield (
            f"Coordinates to {coordinates} degree let a person with time find the site. Choose this only if the "
            "species is not collected or persecuted (sensitivity medium for 0.01, low for 0.001)."
        )
    if include_notes:
        yield (
            "Notes are in: an exact place named in one of them undoes the cutting off of coordinates. Read every note."
        )
    if coordinates != "exact":
        yield (
            "Photographs carry the position in their data (EXIF), and so may a web page or an earlier publication of "
            "yours: strip it there as well."
        )
        yield "The season folder itself holds the exact place: do not give it along."
        if (season.logger_info["role"] == "irradiance").any():
            yield (
                "Series of radiation follow the sun. Simple searches of the demo's missed its place by 0.4 to 3 "
                "degrees; a better one may come nearer. Share without them if the animals are hunted for."
            )
    if reason := giving_away.trace(title or "", [season.site.name, season.name]):
        yield f"Look at the title again, {reason}."
    if season.invented:
        yield "INVENTED: do not send this to any portal."


def _readme(about, position, rows, left_out, told=()):
    lines = [about.title, ""]
    if about.invented:
        lines += ["INVENTED: no such animal was seen. Do not use as records of animals; not care advice.", ""]
    lines += [f"- {file}: {holds}" for file, holds in rows]
    lines += ["", "Position", position.generalised or "Exact, on the explicit wish of the authors.", position.withheld]
    if told:
        lines += ["", "Computing it again", *told]
    lines += ["", "Left out, and why"]
    for row in left_out.itertuples(index=False):
        # The name of a column of one's own may itself name the place.
        what = "a column" if row.reason.startswith("a column of your own") else row.what
        lines.append(f"- {row.table}, {what} ({row.rows} rows): {row.reason}")
    lines += ["", f"Terms of use: {about.licence} ({about.licence_url}). How to cite: CITATION.cff."]
    return "\n".join(lines) + "\n"
