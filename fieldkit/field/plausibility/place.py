"""Latitude, longitude and elevation held against the time zone and a coarse map of heights."""

import functools
import re
from pathlib import Path

import numpy as np

from fieldkit.records import zones
from fieldkit.records.season import settings

_EARTH_KM = 6371.0
# A place nearer than this to the city that its zone is named after needs no explanation (rule of thumb).
_NEAR_KM = 1000.0
_STATION_KM = 300.0
# Clocks of the inhabited world are at most 3.1 h off the sun (western China).
_ODD_ZONE_H = 3.3
_POLEWARD_DEG = 72.0


def site_of(stated):
    """Latitude and longitude of the site, or None where season.toml gives none that can be."""
    site = settings.section(stated, "site")
    place = (site.get("latitude_deg"), site.get("longitude_deg"))
    if not all(isinstance(x, int | float) and not isinstance(x, bool) for x in place):
        return None
    return tuple(map(float, place)) if abs(place[0]) <= 90 and abs(place[1]) <= 180 else None


def look(stated, site, problems):
    """Hold the site and the stations against the clock and the map; whether the site can stand where it is said to."""
    right = _site(stated, site, problems)
    _height("site", settings.section(stated, "site"), site, problems)
    for name, station in settings.section(stated, "stations").items():
        if isinstance(station, dict):
            place = (station.get("latitude_deg"), station.get("longitude_deg"))
            if all(isinstance(x, int | float) and not isinstance(x, bool) for x in place):
                if right:
                    _station(name, tuple(map(float, place)), site, problems)
                _height(f"stations.{name}", station, place, problems)
    return right


def distance_km(one, other):
    """Great-circle distance of two places, km.

    Examples
    --------
    >>> round(distance_km((0, 0), (0, 90)))
    10008
    """
    (a, b), (c, d) = np.radians(one), np.radians(other)
    cosine = np.sin(a) * np.sin(c) + np.cos(a) * np.cos(c) * np.cos(b - d)
    return float(_EARTH_KM * np.arccos(np.clip(cosine, -1, 1)))


@functools.cache
def zone_places():
    """Zone name to latitude and longitude of its main place, from the time-zone database."""
    import importlib.resources

    found = {}
    for name in ("zone.tab", "zone1970.tab"):
        try:
            text = importlib.resources.files("tzdata.zoneinfo").joinpath(name).read_text(encoding="utf-8")
        except (OSError, ModuleNotFoundError):
            continue
        for line in text.splitlines():
            match = re.match(r"[A-Z,]+\t([+-]\d+)([+-]\d+)\t([^\t\n]+)", line)
            if match:
                found.setdefault(match[3], (_angle(match[1], 2), _angle(match[2], 3)))
    return found


def _angle(text, digits):
    sign, number = -1 if text[0] == "-" else 1, text[1:]
    minutes, seconds = number[digits : digits + 2], number[digits + 2 :] or "0"
    return sign * (int(number[:digits]) + int(minutes) / 60 + int(seconds) / 3600)


def _likelier(place, near):
    """The slip of sign or order that brings a place much nearer, in words, and the place it leads to; or None."""
    latitude, longitude = place
    slips = {
        "the sign of the longitude is the other way round": (latitude, -longitude),
        "the sign of the latitude is the other way round": (-latitude, longitude),
        "both signs are the other way round": (-latitude, -longitude),
    }
    if abs(longitude) <= 90:
        slips["latitude and longitude are swapped"] = (longitude, latitude)
        slips["latitude and longitude are swapped and a sign is lost"] = (longitude, -latitude)
    best = min(slips, key=lambda words: distance_km(slips[words], near))
    return (best, slips[best]) if distance_km(slips[best], near) < distance_km(place, near) / 3 else None


def _site(stated, site, problems):
    zone = str(settings.section(stated, "site").get("timezone", ""))
    clock = zones.clock_zone(zone)
    main = zone_places().get(zone)
    problem = None
    slip = None
    if main is not None and distance_km(site, main) > _NEAR_KM:
        slip = _likelier(site, main)
        if slip:
            problem = f"The site lies {distance_km(site, main):,.0f} km from the main place of its time zone {zone}."
    if problem is None and clock is not None:
        import datetime as dt

        offset = min(dt.datetime(2023, m, 1, tzinfo=clock).utcoffset() for m in (1, 7)).total_seconds() / 3600
        apart = (site[1] / 15 - offset + 12) % 24 - 12
        if abs(apart) > _ODD_ZONE_H:
            side = "ahead of" if apart > 0 else "behind"
            problem = f"At this longitude the sun is {abs(apart):.1f} h {side} the clock {zone}."
            slip = slip or (_likelier(site, main) if main else None)
    if problem is None and abs(site[0]) > _POLEWARD_DEG:
        problem = f"No reptile lives at a latitude of {site[0]:g}°."
    if problem is None:
        return True
    remedy = "Check latitude, longitude (west and south have a minus) and timezone."
    if slip:
        remedy = f"It would fit if {slip[0]}. {remedy}"
    problems.warn(
        settings.NAME,
        problem,
        remedy,
        column="site.longitude_deg",
        value=f"{site[0]:g}, {site[1]:g}",
    )
    return False


def _station(name, place, site, problems):
    apart = distance_km(place, site)
    slip = _likelier(place, site) if apart > _STATION_KM else None
    if slip:
        problems.warn(
            settings.NAME,
            f"The station {name} lies {apart:,.0f} km from the site.",
            f"It would be {distance_km(slip[1], site):,.0f} km if {slip[0]}: check latitude and longitude.",
            column=f"stations.{name}",
            value=f"{place[0]:g}, {place[1]:g}",
        )


@functools.cache
def _map_path():
    """The coarse map of heights that pvlib carries, found without loading pvlib; None where it is not."""
    import importlib.util

    spec = importlib.util.find_spec("pvlib")
    if spec is None or not spec.submodule_search_locations:
        return None
    file = Path(next(iter(spec.submodule_search_locations))) / "data" / "Altitude.h5"
    return file if file.is_file() else None


@functools.cache
def heights_around(latitude_deg, longitude_deg):
    """Lowest and highest ground within some 30 km, m above the sea; None where there is no map.

    The map (5 arc minutes, steps of 28 m) is the one of `pvlib.location.lookup_altitude`.
    """
    file = _map_path()
    if file is None:
        return None
    import h5py

    with h5py.File(file, "r") as book:
        heights = book["Altitude"]
        rows, columns = heights.shape
        i = int((90 - latitude_deg) / 180 * rows)
        j = int((longitude_deg + 180) / 360 * columns)
        part = heights[max(i - 3, 0) : i + 4, max(j - 3, 0) : j + 4].astype(float)
    known = part[(part > 0) & (part < 255)]
    # An island may be too small for the map, which then shows the sea.
    return (28 * known.min() - 450, 28 * known.max() - 450) if known.size and known.max() > 450 / 28 else None


def _height(where, section, place, problems):
    height = section.get("elevation_m")
    if not isinstance(height, int | float) or isinstance(height, bool):
        return
    around = heights_around(round(float(place[0]), 3), round(float(place[1]), 3))
    if around is None:
        return
    low, high = around
    if height > high + max(200, 0.3 * high):
        remedy = "Check elevation_m, and latitude and longitude."
        if low - 150 <= 0.3048 * height <= high + 150:
            remedy = f"If it is in feet, write {0.3048 * height:.0f}; else check latitude and longitude."
        problems.warn(
            settings.NAME,
            f"No ground within some 30 km is that high (the map has {low:,.0f} to {high:,.0f} m).",
            remedy,
            column=f"{where}.elevation_m",
            value=height,
        )
