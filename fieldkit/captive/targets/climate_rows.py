"""Rows of targets from climate, basking, preferred range, day length and mornings."""

import numpy as np
import pandas as pd

from fieldkit.captive.targets.place_rows import FEWEST_PLACES, error_of_draws
from fieldkit.captive.targets.table import Kind, target_row
from fieldkit.core import FieldkitError
from fieldkit.field.climate.seasons import MONTHS


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
        high = month.high_c
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
    ordinary = [0.5 * (bands.schedule["low_c"] + bands.schedule["high_c"]).max()]
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
            n_independent=n_independent,
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
    error = (np.nan, np.nan) if found.draws is None else error_of_draws(found.draws, found.n_animals)
    source = f"preferred range: {found.n_readings} readings of {found.n_animals} animals in a laboratory gradient"
    shared = {"period": "day", "basis": "field", "source": source, "n_independent": found.n_animals}
    return [
        target_row("operative_c", zone="basking site", low=found.high_c, low_error=error[1], **shared),
        target_row("operative_c", zone="cool end", high=found.low_c, high_error=error[0], **shared),
        target_row("operative_c", zone="retreat", high=found.low_c, high_error=error[0], **shared),
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
            high_error=float(error_of_draws(np.quantile(draws, [0.95], axis=1).T, len(fastest))[0]),
            n_independent=len(fastest),
            basis="field",
            source=f"fastest hour of {len(fastest)} mornings ({shade_air.name}); 95 % lay below",
        )
    ]
