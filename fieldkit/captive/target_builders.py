"""One result of the field after another turned into rows of targets, and all that a season carries gathered.

What a season could not give is named in the notes.
"""

import numpy as np
import pandas as pd

from fieldkit.captive.target_limits import NO_UV, UV_CEILING, UV_SOURCE, contact_rows, uv_exposure
from fieldkit.captive.target_table import FULL_SHADE, FULL_SUN, Kind, make, target_row
from fieldkit.core import FieldkitError
from fieldkit.field.seasons import MONTHS
from fieldkit.field.thermoregulation import LEAST_ANIMALS
from fieldkit.field.uncertainty import cluster_bootstrap, critical_value

# Fewer places taken than this describe no month of their own (common practice, no source).
FEWEST_PLACES = 10


def air(bands):
    """Month by month: the upper half of what the stations show as ordinary by day, the lower half by night.

    No margin is taken off: what the wild population lives in is no danger. The margin is a caution of its own, see
    `air_caution`. The division into halves is common practice without a source; the range itself is the stations'.

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
    source = f"typical range of {count} weather station{'s' if count != 1 else ''}, smoothed over the year"
    for month in bands.schedule.itertuples(index=False):
        high = month.high_c + month.margin_c
        if not np.isfinite(month.low_c + high):
            continue
        number = MONTHS.index(month.month) + 1
        middle = 0.5 * (month.low_c + high)
        low_error, high_error = (
            spread / np.sqrt(month.n_stations) for spread in (month.spread_low_c, month.spread_high_c)
        )
        # Both ends are of the same stations: their errors may go all the way together.
        half = 0.5 * (low_error + high_error)
        shared = {"month": number, "basis": "station", "source": source}
        shared["n_independent"] = month.n_stations if month.n_stations > 1 else np.nan
        ends = {"low": middle, "high": high, "low_error": half, "high_error": high_error}
        rows.append(target_row("shade_air_c", period="day", **ends, **shared))
        ends = {"low": month.low_c, "high": middle, "low_error": low_error, "high_error": half}
        rows.append(target_row("shade_air_c", period="night", **ends, **shared))
    return rows


# Why a margin is taken off at all, said beside it unless the keeper gives a reason of their own.
MARGIN_REASON = "a wild animal can leave the heat, a confined one cannot"


def air_caution(bands, window=None, *, reason=MARGIN_REASON):
    """A rule of thumb for cool end and retreat at all times: the warmest season's typical maximum less a margin.

    Parameters
    ----------
    bands : fieldkit.field.climate.AirBands
        From `climate.air_bands`; its ``margin_c`` is the margin.
    window : fieldkit.field.basking.Window, optional
        Shade air in which the animals basked: the caution never lies below that in which they basked most, nor below
        the middle of the stations' warmest month.
    reason : str
        Why this margin.

    Returns
    -------
    list of dict
        Of kind caution: it has no source, so nothing that passes it is called unsafe or "limit exceeded".
    """
    high, margin = bands.ceiling_c, float(bands.pooled["margin_c"].max())
    ordinary = [0.5 * (bands.schedule["low_c"] + bands.schedule["high_c"] + bands.schedule["margin_c"]).max()]
    if window is not None:
        peak = window.table.loc["peak"]
        ordinary += [peak["estimate_c"]] if peak["status"] == "found" else []
    source = f"typical maximum of the warmest season less {margin:.1f} °C (rule of thumb, no source: {reason})"
    if max(ordinary) > high:
        high, source = max(ordinary), f"{source}, raised to the shade air that this season shows as ordinary"
    shared = {"high": high, "kind": Kind.CAUTION, "margin": margin, "basis": "common practice", "source": source}
    return [target_row("shade_air_c", zone=zone, **shared) for zone in ("cool end", "retreat")]


def air_limit(daily, *, stations=None, target_elevation_m=None, window=None):
    """A measured limit: the warmest shade air of the stations.

    Parameters
    ----------
    daily : DataFrame
        ``station_id`` with ``tmax_c`` by day or ``air_temperature_c`` by hour (°C).
    stations : DataFrame, optional
        ``station_id, elevation_m``.
    target_elevation_m : float, optional
        Height to which the stations' air is brought (m), by 6.5 K/km (ISO 2533).
    window : fieldkit.field.basking.Window, optional
        The limit never lies below the shade air in which the animals still basked.

    Returns
    -------
    list of dict
        The median of the stations' own highest readings, so that one wrong reading does not set it.

    Raises
    ------
    FieldkitError
        When no station has a reading.
    """
    from fieldkit.field.climate import LAPSE_RATE_K_PER_KM

    column = "tmax_c" if "tmax_c" in daily and daily["tmax_c"].notna().any() else "air_temperature_c"
    highest = daily.groupby("station_id")[column].max().dropna() if column in daily else pd.Series(dtype=float)
    if not len(highest):
        raise FieldkitError("no station has a temperature.")
    if target_elevation_m is not None and stations is not None:
        height = stations.set_index("station_id")["elevation_m"].reindex(highest.index)
        highest = (highest + LAPSE_RATE_K_PER_KM * (height - target_elevation_m) / 1000).dropna()
        if not len(highest):
            raise FieldkitError("the height of no station is known.")
    high = float(highest.median())
    if window is not None and window.table.loc["upper limit", "status"] == "found":
        high = max(high, window.table.loc["upper limit", "estimate_c"])
    many = f"the middle of the highest readings of {len(highest)} weather stations"
    source = many if len(highest) > 1 else "the highest reading of a weather station"
    spread = {"n_independent": len(highest)} if len(highest) > 1 else {}
    return [
        target_row("shade_air_c", high=high, kind=Kind.LIMIT, basis="station", source=f"measured: {source}", **spread)
    ]


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
    n_independent = min((n for n in (window.n_animals, window.n_days) if n > 1), default=np.nan)
    animals = f"{window.n_animals} animals" if window.n_animals else "animals"
    return [
        target_row(
            "shade_air_c",
            zone="basking site",
            period="day",
            low=limits["lower"],
            high=limits["upper"],
            low_error=errors["lower"],
            high_error=errors["upper"],
            n_independent=n_independent,
            basis="field",
            source=f"shade air in which {animals} still basked, {window.n_looks} looks",
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
    shared = {"period": "day", "basis": "field", "source": source, "n_independent": found.n_animals}
    return [
        target_row("operative_c", zone="basking site", low=found.high_c, low_error=error[1], **shared),
        target_row("operative_c", zone="cool end", high=found.low_c, high_error=error[0], **shared),
        target_row("operative_c", zone="retreat", high=found.low_c, high_error=error[0], **shared),
    ]


def _error_of_draws(draws, n_independent):
    """Standard errors from resamples (draws, numbers), which divide by n where a variance is divided by n - 1."""
    return np.std(draws, axis=0, ddof=1) * np.sqrt(n_independent / (n_independent - 1))


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
        errors, n_independent = (np.nan, np.nan), np.nan
        if "animal_id" in part and part["animal_id"].nunique() >= LEAST_ANIMALS:
            drawn = cluster_bootstrap(
                part[["animal_id", column]].dropna(),
                lambda sample: dict(zip(("low", "high"), np.quantile(sample[column], quantiles))),
                cluster="animal_id",
                n_resamples=199,
                method="percentile",
                rng=0,
            )
            n_independent = drawn.n_clusters
            errors = _error_of_draws(drawn.draws.to_numpy(), n_independent)
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
                n_independent=n_independent,
                basis="field",
                source=f"{100 * quantiles[0]:.0f} to {100 * quantiles[1]:.0f} % of {len(part)} places taken by animals",
            )
        )
    return rows


def limits(choices, level_w_m2=None):
    """What must not be passed: surfaces by contact time, UV, radiation.

    Parameters
    ----------
    choices : DataFrame
        The choice table of a season.
    level_w_m2 : Series, optional
        Sun on level ground through the season (W/m²); no lamp need be stronger than the strongest sun.

    Returns
    -------
    list of dict
        The standard contact limits (`target_limits.contact_rows`), the first of them lowered to the hottest surface on
        which an animal was found where that is cooler.
    """
    used = choices[choices["used"] == 1]
    rows = contact_rows()
    hottest = used["surface_c"].max()
    if hottest < rows[0]["high"]:
        why = f"hottest surface on which one of {used['surface_c'].notna().sum()} animals was found"
        rows[0] |= {"high": hottest, "basis": "field", "source": why}
    known = used["uv_index"].dropna() if "uv_index" in used else used.iloc[:0, 0]
    if len(known) >= FEWEST_PLACES and known.quantile(0.95) < UV_CEILING:
        strongest, basis, why = known.quantile(0.95), "field", "95 % of the places that animals took lay below"
    else:
        strongest, basis, why = UV_CEILING, "standard", f"{UV_SOURCE}; no field reading set it lower"
    rows.append(target_row("uv_index", high=strongest, kind=Kind.LIMIT, basis=basis, source=why))
    if level_w_m2 is not None and level_w_m2.notna().any():
        rows.append(
            target_row(
                "irradiance_w_m2",
                high=float(level_w_m2.quantile(0.999)),
                kind=Kind.LIMIT,
                basis="field",
                source=f"strongest sun of the season on level ground ({level_w_m2.name}; 99.9 % lay below)",
            )
        )
    return rows


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
                n_independent=len(by_set),
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
            n_independent=len(fastest),
            basis="field",
            source=f"fastest hour of {len(fastest)} mornings ({shade_air.name}); 95 % lay below",
        )
    ]


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
        found["window"] = basking.window(season.scans, season.loggers, logger_info=season.logger_info)
        return basking_air(found["window"])

    gather("air bands", ["weather"], bands)
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
    """The shade air logger with the most readings after those that carry sun are masked."""
    from fieldkit.physics import contamination, logger_checks

    shade = logger_checks.by_role(season.loggers, season.logger_info, "shade_air")
    if not shade.shape[1]:
        raise FieldkitError("no logger has the role shade_air.")
    light = logger_checks.by_role(season.loggers, season.logger_info, "irradiance")
    sun = light.iloc[:, 0].dropna() if light.shape[1] else None
    masked = contamination.find_contamination(shade, sun, site=season.site).masked
    return masked[masked.count().idxmax()]
