"""Skies: clear, or measured and split into beam and diffuse; and what falls from them on any facing."""

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, elementwise
from fieldkit.physics.atmosphere import AIR, air_pressure, clear_air, most_beam
from fieldkit.physics.limits import check_inputs
from fieldkit.physics.sun.ephemeris import SOLAR_CONSTANT_W_M2, day_of_year, extraterrestrial, position, unix_seconds

INEICHEN_HIGHEST_M = 2500.0  # its terms for height run away: at 4000 m it would let 99 % of the sun through
LOWEST_SUN_COS = np.cos(np.radians(85))  # nearer the horizon than 5 degrees, ratios of cosines are capped

_W = {"units": "W m-2"}
_DEG = {"units": "degree"}


@elementwise(
    {
        "ghi_w_m2": _W | {"standard_name": "surface_downwelling_shortwave_flux_in_air_assuming_clear_sky"},
        "dni_w_m2": _W | {"long_name": "clear-sky beam irradiance, square to the rays"},
        "dhi_w_m2": _W | {"long_name": "clear-sky diffuse irradiance on the flat"},
    }
)
def clear_sky_at_zenith(
    apparent_zenith_deg,
    *,
    extraterrestrial_w_m2=SOLAR_CONSTANT_W_M2,
    elevation_m=0.0,
    model="ineichen",
    linke_turbidity=3.0,
    aerosol_depth_700nm=0.1,
    precipitable_water_cm=1.0,
):
    """Clear-sky irradiance for a given height of the sun.

    Parameters
    ----------
    apparent_zenith_deg : float, array, Series or DataArray
        Angle of the sun from straight above, refraction included, degrees.
    extraterrestrial_w_m2 : float or array
        W/m², from `extraterrestrial`.
    elevation_m : float or array
        Metres above sea level.
    model : {"ineichen", "solis"}
        Ineichen & Perez (2002, Solar Energy 73:151-157) with a Linke turbidity, up to 2500 m, or the simplified Solis
        model (Ineichen 2008, Solar Energy 82:758-762) with aerosol depth and water.
    linke_turbidity : float or array
        Dimensionless, about 2 (clean mountain air) to 7 (haze); Ineichen only.
    aerosol_depth_700nm : float or array
        Aerosol optical depth at 700 nm, 0 to 0.45; Solis only.
    precipitable_water_cm : float or array
        Column of water vapour, cm, 0.2 to 10; Solis only.

    Returns
    -------
    dict, DataFrame or Dataset
        ``ghi_w_m2, dni_w_m2, dhi_w_m2`` with GHI = DNI cos(zenith) + DHI (Solis' own fit of GHI, up to 1 % lower, is
        not used).

    Raises
    ------
    FieldkitError
        When the model is not known, or Ineichen is asked for above 2500 m.

    Examples
    --------
    >>> sky = clear_sky_at_zenith(30.0, extraterrestrial_w_m2=1364.0, linke_turbidity=3.0)
    >>> round(sky["ghi_w_m2"], 1), round(sky["dni_w_m2"], 1)
    (896.8, 916.5)
    """
    from pvlib import atmosphere, clearsky

    check_inputs(locals())
    pressure_pa = air_pressure(elevation_m)
    # Above 90 degrees the relative airmass is not defined (NaN); there is no direct sun there anyway.
    seen = np.minimum(apparent_zenith_deg, 90.0)
    if model == "ineichen":
        if np.any(elevation_m > INEICHEN_HIGHEST_M):
            raise FieldkitError(
                f"The Ineichen clear sky holds up to {INEICHEN_HIGHEST_M:g} m; higher up it gives more light than "
                "there is: leave linke_turbidity out, or choose the model 'solis'."
            )
        airmass = atmosphere.get_absolute_airmass(atmosphere.get_relative_airmass(seen), pressure_pa)
        sky = clearsky.ineichen(seen, airmass, linke_turbidity, altitude=elevation_m, dni_extra=extraterrestrial_w_m2)
    elif model == "solis":
        sky = _solis(90 - seen, aerosol_depth_700nm, precipitable_water_cm, pressure_pa, extraterrestrial_w_m2)
    else:
        raise FieldkitError(f"The clear-sky model '{model}' is not known: choose 'ineichen' or 'solis'.")
    up = apparent_zenith_deg < 90
    cos_zenith = np.maximum(np.cos(np.radians(apparent_zenith_deg)), 0)
    unknown = np.isnan(apparent_zenith_deg)
    dni = np.where(up, np.maximum(sky["dni"], 0), 0)
    dhi = np.where(up, np.maximum(sky["dhi"], 0), 0)
    dni, dhi = np.where(unknown, np.nan, dni), np.where(unknown, np.nan, dhi)
    # Solis fits GHI apart from its two parts (up to 1 % lower); the sum makes the energy close exactly.
    return {"ghi_w_m2": dni * cos_zenith + dhi, "dni_w_m2": dni, "dhi_w_m2": dhi}


def _solis(elevation_deg, aerosol_depth, water_cm, pressure_pa, extraterrestrial_w_m2):
    """Beam and diffuse; between aerosol depths of 0.04 and 0.06 the two fits of the diffuse part are blended.

    The model changes its coefficients at 0.05, a step of up to 9 W/m².
    """
    from pvlib import clearsky

    args = np.broadcast_arrays(elevation_deg, aerosol_depth, water_cm, pressure_pa, extraterrestrial_w_m2)
    high, haze, *rest = (np.atleast_1d(a).ravel() for a in args)
    share = np.clip((haze - 0.04) / 0.02, 0, 1)
    clean, hazy = (
        clearsky.simplified_solis(high, h, *rest)["dhi"] for h in (np.minimum(haze, 0.04), np.maximum(haze, 0.06))
    )
    parts = {"dni": clearsky.simplified_solis(high, haze, *rest)["dni"], "dhi": clean + share * (hazy - clean)}
    return {name: np.reshape(value, args[0].shape) for name, value in parts.items()}


def clear_sky(
    times,
    *,
    latitude_deg,
    longitude_deg,
    elevation_m=0.0,
    model=None,
    linke_turbidity=None,
    aerosol_depth_700nm=None,
    precipitable_water_cm=None,
):
    """What the sun would give with no cloud, from place and time.

    Parameters
    ----------
    times : DatetimeIndex, Series of times, Timestamp or DataArray (n,)
        With a zone; a DataArray is UTC.
    latitude_deg, longitude_deg : float
        Degrees north, degrees east.
    elevation_m : float
        Metres above sea level.
    model : {"solis", "ineichen"}, optional
        See `clear_sky_at_zenith`. None: Solis at every height; Ineichen where `linke_turbidity` is given.
    linke_turbidity : float or array, optional
        Ineichen only. None: the monthly world map that comes with pvlib (averages around 2003).
    aerosol_depth_700nm, precipitable_water_cm : float or array, optional
        Solis only. None: what a cloudless sky usually holds there (`fieldkit.physics.atmosphere.clear_air`).

    Returns
    -------
    DataFrame, dict or Dataset
        ``ghi_w_m2, dni_w_m2, dhi_w_m2`` (W/m²): a usual clear sky, not that day's. `clear_sky_range` says how far the
        day's haze can move it.

    Raises
    ------
    FieldkitError
        When the times carry no zone, an input is out of range, or a grid of places is given without its air.

    Notes
    -----
    Mean error in cloudless minutes that were **not** used to choose the haze (tests/test_sun_clear_sky.py): Tucson,
    one day in October, GHI -1 %, beam +2 %; Edinburg (Texas), one day in November, -5 %, -2 %; Golden (Colorado), five
    days in February -3 %, -1 %, three in January -1 %, +4 %, one more in January 0 % (GHI). Minutes used to choose:
    Payerne, June, -1 %, -1 %; San Luis Valley, one winter day at 2317 m, -5 %, -4 %. These are few places, none of
    them tropical or dusty.

    Examples
    --------
    >>> noon = pd.DatetimeIndex(["2024-06-21 13:00"]).tz_localize("Etc/GMT+5")
    >>> clear_sky(noon, latitude_deg=36.1, longitude_deg=-79.95, elevation_m=270).round(-1)
                               ghi_w_m2  dni_w_m2  dhi_w_m2
    2024-06-21 13:00:00-05:00     980.0     900.0     110.0
    """
    place = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg}
    air = {}
    if model is None:
        model = "solis" if linke_turbidity is None else "ineichen"
    if model == "ineichen":
        air["linke_turbidity"] = _turbidity(times, **place) if linke_turbidity is None else linke_turbidity
    else:
        air = {"aerosol_depth_700nm": aerosol_depth_700nm, "precipitable_water_cm": precipitable_water_cm}
        if aerosol_depth_700nm is None or precipitable_water_cm is None:
            usual = usual_air(times, elevation_m=elevation_m, known=aerosol_depth_700nm is not None, **place)
            air = {name: usual[name] if value is None else value for name, value in air.items()}
    return sky_over(times, elevation_m, model, air, **place)


def sky_over(times, elevation_m, model, air, *, latitude_deg, longitude_deg):
    sun = position(times, latitude_deg=latitude_deg, longitude_deg=longitude_deg, elevation_m=elevation_m)
    return clear_sky_at_zenith(
        sun["apparent_zenith_deg"],
        extraterrestrial_w_m2=extraterrestrial(times),
        elevation_m=elevation_m,
        model=model,
        **air,
    )


def usual_air(times, *, latitude_deg, longitude_deg, elevation_m, known):
    """What `clear_air` says; the map is not asked when the haze is known."""
    turbidity = 3.0 if known else _turbidity(times, latitude_deg, longitude_deg)
    return _air_at(unix_seconds(times), turbidity, latitude_deg, elevation_m)


@elementwise(AIR)
def _air_at(unix_s, linke_turbidity, latitude_deg, elevation_m):
    return clear_air(linke_turbidity, day_of_year(unix_s), latitude_deg, elevation_m)


def _turbidity(times, latitude_deg, longitude_deg):
    from pvlib import clearsky

    if np.ndim(latitude_deg) or np.ndim(longitude_deg):
        raise FieldkitError(
            "For a grid of places give aerosol_depth_700nm= yourself (0.1 is usual): the map reads one place."
        )
    months = pd.date_range("2003-01-15", periods=12, freq=pd.DateOffset(months=1), tz="UTC")
    monthly = clearsky.lookup_linke_turbidity(
        months, float(latitude_deg), float(longitude_deg), interp_turbidity=False
    ).to_numpy()
    return _yearly(unix_seconds(times), nodes=day_of_year(unix_seconds(months)), monthly=monthly)


@elementwise({"linke_turbidity": {"units": "1", "long_name": "Linke turbidity"}}, static=("nodes", "monthly"))
def _yearly(unix_s, nodes, monthly):
    return np.interp(day_of_year(unix_s), nodes, monthly, period=365.25)


@elementwise(
    {
        "dni_w_m2": _W | {"long_name": "beam irradiance, square to the rays"},
        "dhi_w_m2": _W | {"standard_name": "surface_diffuse_downwelling_shortwave_flux_in_air"},
    }
)
def decompose(ghi_w_m2, apparent_zenith_deg, *, extraterrestrial_w_m2=SOLAR_CONSTANT_W_M2):
    """Split the sun on the flat (one pyranometer) into beam and diffuse.

    Parameters
    ----------
    ghi_w_m2 : float, array, Series or DataArray
        Global horizontal irradiance, W/m²; small negative night readings count as 0.
    apparent_zenith_deg : same shape
        Degrees, from `position`.
    extraterrestrial_w_m2 : float or array
        W/m², from `extraterrestrial`.

    Returns
    -------
    DataFrame, dict or Dataset
        ``dni_w_m2, dhi_w_m2`` with GHI = DNI cos(zenith) + DHI exactly.

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Notes
    -----
    Erbs, Klein & Duffie (1982, Solar Energy 28:293-302) in the continuous form of Driesse, Jensen & Perez (2024).
    Fitted to hourly sums: a single minute under broken cloud can be wrong by 100 W/m² and more, and mountain air is
    often clearer than its limit allows (San Luis Valley, 2317 m, a cloudless winter day by minutes: DNI 69 W/m² too
    low, DHI 22 W/m² too high). With the sun less than 3° high all of it counts as diffuse, and the beam is never
    stronger than stations ever report (`most_beam`); the rest is diffuse. Measure diffuse light if you can.

    Examples
    --------
    >>> parts = decompose(800.0, 35.0)
    >>> round(parts["dni_w_m2"]), round(parts["dhi_w_m2"])
    (763, 175)
    """
    from pvlib import irradiance as pv

    check_inputs(locals())
    ghi = np.maximum(ghi_w_m2, 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        parts = pv.erbs_driesse(ghi, apparent_zenith_deg, dni_extra=extraterrestrial_w_m2)
    dni = np.minimum(parts["dni"], most_beam(apparent_zenith_deg, extraterrestrial_w_m2))
    dhi = ghi - dni * np.maximum(np.cos(np.radians(apparent_zenith_deg)), 0)
    known = np.isfinite(ghi) & np.isfinite(apparent_zenith_deg)
    return {"dni_w_m2": np.where(known, dni, np.nan), "dhi_w_m2": np.where(known, dhi, np.nan)}


@elementwise(
    {
        "incidence_deg": _DEG | {"long_name": "angle between the rays and the line square to the facing"},
        "beam_w_m2": _W | {"long_name": "direct sun on the facing"},
        "diffuse_w_m2": _W | {"long_name": "sky light on the facing"},
        "reflected_w_m2": _W | {"long_name": "light from the ground on the facing"},
        "total_w_m2": _W | {"long_name": "sun, sky and ground light on the facing"},
        "ground_upwelling_w_m2": _W | {"standard_name": "surface_upwelling_shortwave_flux_in_air"},
    }
)
def on_facing(
    ghi_w_m2,
    dni_w_m2,
    dhi_w_m2,
    apparent_zenith_deg,
    azimuth_deg,
    *,
    tilt_deg=0.0,
    facing_deg=180.0,
    ground_albedo=0.2,
    extraterrestrial_w_m2=SOLAR_CONSTANT_W_M2,
    sky_model="perez",
):
    """Beam, sky light and ground light on a flat piece of any facing.

    Parameters
    ----------
    ghi_w_m2, dni_w_m2, dhi_w_m2 : float, array, Series or DataArray
        Irradiance on the flat, beam square to the rays, diffuse on the flat, W/m².
    apparent_zenith_deg, azimuth_deg : same shape
        The sun's place, degrees.
    tilt_deg : float or array
        0: flat back; 90: upright flank; 180: belly that looks down. Degrees.
    facing_deg : float or array
        Azimuth that the tilted piece looks to, degrees clockwise from north.
    ground_albedo : float or array
        Reflected share of the light on the ground, 0 to 1 (grass 0.20, sand 0.40, asphalt 0.12: pvlib's table).
    extraterrestrial_w_m2 : float or array
        W/m²; scales the brightness around the sun in "hay-davies" and "perez".
    sky_model : {"perez", "hay-davies", "isotropic"}
        How sky light is spread over the sky.

    Returns
    -------
    DataFrame, dict or Dataset
        ``incidence_deg, beam_w_m2, diffuse_w_m2, reflected_w_m2, total_w_m2, ground_upwelling_w_m2``; the total is the
        sum of its three parts, and on the flat the diffuse part is DHI.

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Notes
    -----
    "perez": Perez et al. (1990, Solar Energy 44:271-289) in the continuous form of Driesse, Jensen & Perez (2024, Solar
    Energy 267:112093), bright round the sun and along the horizon. "hay-davies": Hay & Davies (1980), the share
    DNI/extraterrestrial of the sky light comes from the sun's direction, the rest evenly. Within 5° of the horizon the
    share near the sun is tapered, so that the ratio of cosines cannot run away and the flat still receives DHI. Against
    two tilted pyranometers on three winter days in Golden, Colorado, Perez had RMSE of 11 to 32 W/m² and Hay-Davies 25
    to 57 W/m².

    Examples
    --------
    >>> flank = on_facing(700.0, 800.0, 100.0, 41.4, 180.0, tilt_deg=90.0, facing_deg=180.0)
    >>> round(flank["beam_w_m2"]), round(flank["reflected_w_m2"])
    (529, 70)
    """
    from pvlib import irradiance as pv

    check_inputs(locals())
    dni, dhi, ghi = (np.maximum(v, 0) for v in (dni_w_m2, dhi_w_m2, ghi_w_m2))
    cos_incidence = pv.aoi_projection(tilt_deg, facing_deg, apparent_zenith_deg, azimuth_deg)
    cos_zenith = np.cos(np.radians(apparent_zenith_deg))
    up = cos_zenith > 0
    sky_view = (1 + np.cos(np.radians(tilt_deg))) / 2
    beam = np.where(up | np.isnan(cos_zenith), dni * np.maximum(cos_incidence, 0), 0)
    if sky_model == "isotropic":
        diffuse = dhi * sky_view
    elif sky_model == "hay-davies":
        share = dni / extraterrestrial_w_m2 * np.clip(cos_zenith / LOWEST_SUN_COS, 0, 1)
        ratio = np.maximum(cos_incidence, 0) / np.maximum(cos_zenith, 1e-9)
        diffuse = dhi * (share * ratio + (1 - share) * sky_view)
    elif sky_model == "perez":
        diffuse = _perez(
            tilt_deg, facing_deg, dhi, dni, extraterrestrial_w_m2, apparent_zenith_deg, azimuth_deg, sky_view
        )
    else:
        raise FieldkitError(f"The sky model '{sky_model}' is not known: choose 'hay-davies', 'isotropic' or 'perez'.")
    upwelling = ground_albedo * ghi
    reflected = upwelling * (1 - sky_view)
    incidence = np.degrees(np.arccos(np.clip(cos_incidence, -1, 1)))
    return {
        "incidence_deg": incidence,
        "beam_w_m2": beam,
        "diffuse_w_m2": diffuse,
        "reflected_w_m2": reflected,
        "total_w_m2": beam + diffuse + reflected,
        "ground_upwelling_w_m2": upwelling + 0 * beam,
    }


def _perez(tilt_deg, facing_deg, dhi, dni, extraterrestrial_w_m2, apparent_zenith_deg, azimuth_deg, sky_view):
    from pvlib import irradiance as pv

    args = (tilt_deg, facing_deg, dhi, dni, extraterrestrial_w_m2, np.minimum(apparent_zenith_deg, 90.0), azimuth_deg)
    args = np.broadcast_arrays(*args, sky_view)
    shape, cos_zenith = args[0].shape, np.cos(np.radians(apparent_zenith_deg))
    if not args[0].size:
        return np.empty(shape)
    *args, view = (np.atleast_1d(a).ravel() for a in args)
    with np.errstate(invalid="ignore", divide="ignore"):
        parts = pv.perez_driesse(*args, return_components=True)
    even, ring, rim = parts["poa_isotropic"], parts["poa_circumsolar"], parts["poa_horizon"]
    # As for Hay-Davies: what the capped ratio takes from the sun's surroundings goes to the even sky.
    low = 1 - np.clip(np.broadcast_to(cos_zenith, shape).ravel() / LOWEST_SUN_COS, 0, 1)
    whole = args[2] * view
    diffuse = np.where(
        (args[2] > 0) & ~(low >= 1), np.maximum(even + (whole - even) * low + ring + rim * (1 - low), 0), whole
    )
    return np.reshape(diffuse, shape)
