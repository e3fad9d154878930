"""One result of the field after another turned into rows of targets, and all that a season carries gathered.

What a season could not give is named in the notes.
"""

import numpy as np
import pandas as pd

from fieldkit.captive.targets.table import (
    CONTACT_CEILING_C,
    CONTACT_SOURCE,
    FULL_SHADE,
    FULL_SUN,
    UV_CEILING,
    UV_SOURCE,
    UV_ZONES,
    make,
    target_row,
)
from fieldkit.core import FieldkitError, method
from fieldkit.field.climate.seasons import MONTHS
from fieldkit.field.stats.intervals import cluster_bootstrap, critical_value
from fieldkit.field.thermoregulation import LEAST_ANIMALS

# Fewer places taken than this describe no month of their own (common practice, no source).
FEWEST_PLACES = 10


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
        # Both ends are of the same stations: their errors may go all the way together.
        half = 0.5 * (low_error + high_error)
        shared = {"month": number, "basis": "station", "source": source}
        shared["witnesses"] = month.n_stations if month.n_stations > 1 else np.nan
        rows.append(
            target_row(
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
            target_row(
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
        target_row(
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
        errors[end] = row["standard_error_c"] if found else np.nan
    if np.isnan(limits["lower"]) and np.isnan(limits["upper"]):
        return []
    witnesses = min((n for n in (window.n_animals, window.n_days) if n > 1), default=np.nan)
    animals = f"{window.n_animals} animals" if window.n_animals else "animals"
    usual = window.settings["at_irradiance_w_m2"]
    sun = "" if usual is None else f", at a usual irradiance of {usual:.0f} W/m²"
    return [
        target_row(
            "shade_air_c",
            zone="basking site",
            period="day",
            low=limits["lower"],
            high=limits["upper"],
            low_error=errors["lower"],
            high_error=errors["upper"],
            witnesses=witnesses,
            basis="field",
            source=f"shade air in which {animals} still basked, {window.n_looks} looks{sun}",
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
    error = (np.nan, np.nan) if found.draws is None else _error_of_draws(found.draws, found.n_animals)
    source = f"preferred range: {found.n_readings} readings of {found.n_animals} animals in a laboratory gradient"
    shared = {"period": "day", "basis": "field", "source": source, "witnesses": found.n_animals}
    return [
        target_row("operative_c", zone="basking site", low=found.high_c, low_error=error[1], **shared),
        target_row("operative_c", zone="cool end", high=found.low_c, high_error=error[0], **shared),
        target_row("operative_c", zone="retreat", high=found.low_c, high_error=error[0], **shared),
    ]


def _error_of_draws(draws, witnesses):
    """Standard errors from resamples (draws, numbers), which divide by n where a variance is divided by n - 1."""
    return np.std(draws, axis=0, ddof=1) * np.sqrt(witnesses / (witnesses - 1))


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
        errors, witnesses = (np.nan, np.nan), np.nan
        if "animal_id" in part and part["animal_id"].nunique() >= LEAST_ANIMALS:
            drawn = cluster_bootstrap(
                part[["animal_id", column]].dropna(),
                lambda sample: dict(zip(("low", "high"), np.quantile(sample[column], quantiles))),
                cluster="animal_id",
                n_resamples=199,
                method="percentile",
                rng=0,
            )
            witnesses = drawn.n_clusters
            errors = _error_of_draws(drawn.draws.to_numpy(), witnesses)
        rows.append(
            target_row(
                column,
                zone="basking site",
                month=int(month),
                period="day",
                low=low,
                high=high,
                low_error=errors[0],
                high_error=errors[1],
                witnesses=witnesses,
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
    rows.append(target_row("surface_c", high=hottest, ceiling=True, basis=basis, source=why))
    known = used["uv_index"].dropna() if "uv_index" in used else used.iloc[:0, 0]
    if len(known) >= FEWEST_PLACES and known.quantile(0.95) < UV_CEILING:
        strongest, basis, why = known.quantile(0.95), "field", "95 % of the places that animals took lay below"
    else:
        strongest, basis, why = UV_CEILING, "standard", f"{UV_SOURCE}; no field reading set it lower"
    rows.append(target_row("uv_index", high=strongest, ceiling=True, basis=basis, source=why))
    if level_w_m2 is not None and level_w_m2.notna().any():
        rows.append(
            target_row(
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
    return [
        target_row("uv_index", zone="basking site", period="day", low=low, high=high, basis="literature", source=source)
    ]


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
        Without the months in which the sun hardly sets or hardly rises: light that is never off, or never on, is no
        aim, and sunrise and sunset do not tell how animals rest then.
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
        target_row(
            "photoperiod_h",
            month=m,
            low=h - tolerance_h,
            high=h + tolerance_h,
            basis="standard",
            source=source,
        )
        for m, h in enumerate(hours, start=1)
        if tolerance_h < h < 24 - tolerance_h
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
        reach = critical_value(degrees_of_freedom=len(by_set) - 1) * error
        source = (
            f"{len(table)} places on offer in {len(by_set)} sets; full sun from {100 * FULL_SUN:.0f} % of level sun, "
            f"full shade to {100 * FULL_SHADE:.0f} %"
        )
        rows.append(
            target_row(
                name,
                period="day",
                low=max(share - reach, 0),
                high=min(share + reach, 1),
                low_error=error,
                high_error=error,
                witnesses=len(by_set),
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
        target_row(
            "warming_rate_c_per_h",
            period="day",
            high=high,
            high_error=float(_error_of_draws(np.quantile(draws, [0.95], axis=1).T, len(fastest))[0]),
            witnesses=len(fastest),
            basis="field",
            source=f"fastest hour of {len(fastest)} mornings ({shade_air.name}); 95 % lay below",
        )
    ]


@method
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
        lambda: basking_air(basking.of_season(season)),
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
    uv_read = gather("UV index from the field", ["choices"], lambda: taken(season.choices, "uv_index"))
    if not uv_read and uv_group is not None:
        rows.extend(uv_zone(uv_group))
    gather("ceilings", ["choices"], lambda: ceilings(season.choices, level))
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
        settings={"margin_c": margin_c, "target_elevation_m": target_elevation_m, "input_hash": season.input_hash},
    )


def _clean_shade_air(season):
    """The shade air logger with the most readings, without those that the sun reached."""
    from fieldkit.field import shade_air

    readings = shade_air.of_season(season).readings
    if not readings.shape[1]:
        raise FieldkitError("no logger has the role shade_air.")
    return readings[readings.count().idxmax()]
