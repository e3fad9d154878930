"""All that a season carries gathered into targets; what it could not give is named in the notes."""

import numpy as np
import pandas as pd

from fieldkit.captive.targets.climate_rows import (
    MARGIN_REASON,
    air,
    air_caution,
    air_limit,
    basking_air,
    photoperiod,
    preferred,
    warming,
)
from fieldkit.captive.targets.place_rows import exposure, limits, sun_levels, taken
from fieldkit.captive.targets.standards import NO_UV, uv_exposure
from fieldkit.captive.targets.table import make
from fieldkit.core import FieldkitError, method
from fieldkit.field.climate.seasons import MONTHS


@method
def from_season(season, *, margin_c=5.0, margin_reason=MARGIN_REASON, target_elevation_m=None, uv=None):
    """Gather every target that a season's records can carry; the rest is named in the notes.

    Parameters
    ----------
    season : Season
        A season folder as read.
    margin_c : float
        For the caution about warm air at the cool end and in the retreat (°C): a rule of thumb, your choice.
    margin_reason : str
        Why this margin; told beside it.
    target_elevation_m : float, optional
        Height to which the stations' air is brought (m); see `climate.air_bands`.
    uv : str, optional
        How the species basks, one of `UV_EXPOSURE`, used where the season has no UV readings. None: not known, and
        then UV is held against its upper limit only.

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
        lacking = [table for table in needs if getattr(season, table) is None]
        if lacking:
            notes.append(f"No {what}: the folder has no {' and no '.join(lacking)}.")
            return False
        try:
            rows.extend(build())
        except FieldkitError as error:
            notes.append(f"No {what}: {error}")
            return False
        return True

    # What one step finds and later ones build on.
    found = {"window": None}

    def bands():
        found["bands"] = climate.air_bands(
            season.weather, stations=season.stations, margin_c=margin_c, target_elevation_m=target_elevation_m
        )
        return air(found["bands"])

    def window():
        found["window"] = basking.of_season(season)
        return basking_air(found["window"])

    gather("air-temperature ranges", ["weather"], bands)
    gather("basking window", ["scans"], window)
    if "bands" in found:
        rows.extend(air_caution(found["bands"], found["window"], reason=margin_reason))
        where = {"stations": season.stations, "target_elevation_m": target_elevation_m, "window": found["window"]}
        gather("measured limit of the air", ["weather"], lambda: air_limit(season.weather, **where))
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
    uv_read = gather("UV index from the field", ["choices"], lambda: taken(season.choices, "uv_index"))
    if not uv_read and uv is not None:
        rows.extend(uv_exposure(uv))
    elif not uv_read:
        notes.append(NO_UV)
    gather("limits", ["choices"], lambda: limits(season.choices, level))
    levels = (np.nan, np.nan)
    if level is not None and gather("sun and shade of the floor", ["choices"], lambda: exposure(season.choices, level)):
        levels = sun_levels(season.choices, level)
    days = photoperiod(season.site, year=season.last_day.year)
    rows.extend(days)
    polar = [m for m in range(1, 13) if m not in {row["month"] for row in days}]
    if polar:
        notes.append(
            f"No day length for {', '.join(MONTHS[m - 1] for m in polar)}: the sun hardly sets then, or hardly "
            "rises, and when animals rest is not in these records."
        )
    gather("warming rate", ["loggers"], lambda: warming(_clean_shade_air(season)))
    if not rows:
        raise FieldkitError("These records carry no target: " + " ".join(notes))
    return make(
        pd.DataFrame(rows),
        species=season.animal.species,
        invented=season.invented,
        notes=notes,
        levels=levels,
        settings={
            "margin_c": margin_c,
            "margin_reason": margin_reason,
            "target_elevation_m": target_elevation_m,
            "uv": uv,
            "input_hash": season.input_hash,
        },
    )


def _clean_shade_air(season):
    """The shade air logger with the most readings, without those that the sun reached."""
    from fieldkit.field import shade_air

    readings = shade_air.of_season(season).readings
    if not readings.shape[1]:
        raise FieldkitError("no logger has the role shade_air.")
    return readings[readings.count().idxmax()]
