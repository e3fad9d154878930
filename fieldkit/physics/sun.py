"""What sunlight falls on an animal: sun position, clear and measured skies, any facing, day length, basking hours.

Angles are in degrees; azimuths count clockwise from north; a facing is a tilt from horizontal (0: a flat back, 90: a
flank) and the azimuth it looks to. Times carry a zone; the times of a DataArray are UTC, as CF says. Angles and sky
models come from pvlib; what is ours is the bookkeeping that keeps beam, diffuse and reflected light adding up.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result, elementwise

SOLAR_CONSTANT_W_M2 = 1361.1  # Gueymard (2018), Solar Energy 168:2-12; pvlib's own default is 1366.1, 0.4 % higher
SUNRISE_ELEVATION_DEG = -0.8333  # upper limb on the horizon: 34' refraction and 16' radius, Reda & Andreas (2004)
CIVIL_TWILIGHT_DEG = -6.0
LOWEST_SUN_COS = np.cos(np.radians(85))  # nearer the horizon than 5 degrees, ratios of cosines are capped
_HOUR_ANGLE_DEG_PER_H = 15.0

_EPOCH = pd.Timestamp(0, tz="UTC")
_W = {"units": "W m-2"}
_DEG = {"units": "degree"}


# ---------------------------------------------------------------------------------------------------------------------
# Position


def unix_seconds(times):
    """Seconds since 1970 UTC, in the container that the times came in; times without a zone are refused."""
    if type(times).__name__ == "DataArray":
        if not np.issubdtype(times.dtype, np.datetime64):
            raise FieldkitError("The times of a DataArray must be dates (datetime64, UTC).")
        return ((times - np.datetime64("1970-01-01T00:00:00")) / np.timedelta64(1, "s")).astype(float)
    if isinstance(times, pd.Series):
        index, values = times.index, pd.DatetimeIndex(times)
    elif isinstance(times, pd.DatetimeIndex):
        index, values = times, times
    else:
        try:
            index, values = None, pd.DatetimeIndex(np.atleast_1d(np.asarray(times, dtype=object)))
        except (TypeError, ValueError) as error:
            raise FieldkitError(f"'{times}' cannot be read as a time: write it like 2024-06-21 12:00-04:00.") from error
    if values.tz is None:
        raise FieldkitError(
            "These times carry no zone, so the sun's place is unknown: name the zone, for instance "
            "times.tz_localize('Etc/GMT+5') for a logger that stays on eastern standard time."
        )
    seconds = ((values - _EPOCH) / pd.Timedelta(seconds=1)).to_numpy(dtype=float)
    if index is not None:
        return pd.Series(seconds, index=index)
    return float(seconds[0]) if np.ndim(times) == 0 else seconds


@elementwise(
    {
        "apparent_zenith_deg": _DEG | {"long_name": "solar zenith angle with refraction"},
        "zenith_deg": _DEG | {"standard_name": "solar_zenith_angle"},
        "apparent_elevation_deg": _DEG | {"long_name": "solar elevation angle with refraction"},
        "elevation_deg": _DEG | {"standard_name": "solar_elevation_angle"},
        "azimuth_deg": _DEG | {"standard_name": "solar_azimuth_angle"},
        "equation_of_time_min": {"units": "min"},
    }
)
def _position(unix_s, latitude_deg, longitude_deg, elevation_m, pressure_pa, air_temperature_c, delta_t_s):
    from pvlib import atmosphere, spa

    if pressure_pa is None:
        pressure_pa = atmosphere.alt2pres(elevation_m)
    inputs = (unix_s, latitude_deg, longitude_deg, elevation_m, pressure_pa / 100, air_temperature_c, delta_t_s)
    inputs = np.broadcast_arrays(*inputs)
    shape = inputs[0].shape
    with np.errstate(invalid="ignore"):
        result = spa.solar_position_numpy(*(a.ravel() for a in inputs), atmos_refract=0.5667, numthreads=1)
    zenith_a, zenith, elevation_a, elevation, azimuth, equation = (np.reshape(r, shape) for r in result)
    return {
        "apparent_zenith_deg": zenith_a,
        "zenith_deg": zenith,
        "apparent_elevation_deg": elevation_a,
        "elevation_deg": elevation,
        "azimuth_deg": azimuth,
        "equation_of_time_min": equation,
    }


def position(
    times,
    *,
    latitude_deg,
    longitude_deg,
    elevation_m=0.0,
    pressure_pa=None,
    air_temperature_c=12.0,
    delta_t_s=69.0,
):
    """Where the sun stands.

    Parameters
    ----------
    times : DatetimeIndex, Series of times, Timestamp or DataArray (n,)
        With a zone; a DataArray of datetime64 is UTC.
    latitude_deg, longitude_deg : float, array or DataArray
        Degrees north and degrees east (west is negative).
    elevation_m : float or array
        Metres above sea level.
    pressure_pa : float or array, optional
        Station pressure, Pa, for refraction; None: the standard atmosphere at `elevation_m`.
    air_temperature_c : float or array
        °C, for refraction.
    delta_t_s : float
        Terrestrial minus universal time, s; 69 s holds from 2017 on within a second, and a second moves the sun by
        less than 0.00002°.

    Returns
    -------
    DataFrame, dict or Dataset
        ``apparent_zenith_deg, zenith_deg, apparent_elevation_deg, elevation_deg, azimuth_deg, equation_of_time_min``;
        "apparent" includes refraction.

    Raises
    ------
    FieldkitError
        When the times carry no zone or a coordinate is out of range.

    Notes
    -----
    Solar position algorithm of Reda & Andreas (2004, Solar Energy 76:577-589), good to 0.0003° from −2000 to 6000.

    Examples
    --------
    >>> noon = pd.Timestamp("2024-06-21 12:00", tz="Etc/GMT+5")
    >>> round(position(noon, latitude_deg=36.1, longitude_deg=-79.95)["apparent_elevation_deg"], 1)
    76.5
    """
    _check_place(latitude_deg, longitude_deg)
    return _position(
        unix_seconds(times), latitude_deg, longitude_deg, elevation_m, pressure_pa, air_temperature_c, delta_t_s
    )


def _check_place(latitude_deg, longitude_deg):
    for word, value, limit in (("latitude", latitude_deg, 90), ("longitude", longitude_deg, 180)):
        values = np.asarray(value, dtype=float)
        if np.any(np.abs(values) > limit) or not np.any(np.isfinite(values)):
            raise FieldkitError(
                f"The {word} {value} is not between −{limit} and {limit} degrees: check sign and decimal point."
            )


def day_of_year(unix_s):
    """Day of the year (1 to 366, UTC) of seconds since 1970, as an array."""
    days = np.floor(np.asarray(unix_s, dtype=float) / 86400)
    known = np.isfinite(days)
    dates = np.where(known, days, 0).astype("int64").astype("datetime64[D]")
    return np.where(known, (dates - dates.astype("datetime64[Y]")).astype(float) + 1, np.nan)


@elementwise({"extraterrestrial_w_m2": _W | {"long_name": "normal irradiance above the atmosphere"}})
def _extraterrestrial(unix_s, solar_constant_w_m2):
    from pvlib import irradiance as pv

    return pv.get_extra_radiation(day_of_year(unix_s), solar_constant=1.0, method="spencer") * solar_constant_w_m2


def extraterrestrial(times, *, solar_constant_w_m2=SOLAR_CONSTANT_W_M2):
    """Irradiance square to the sun's rays above the atmosphere, W/m².

    Parameters
    ----------
    times : DatetimeIndex, Series of times, Timestamp or DataArray (n,)
        With a zone; a DataArray is UTC.
    solar_constant_w_m2 : float
        W/m² at one astronomical unit; 1361.1 ± 0.5 after Gueymard (2018, Solar Energy 168:2-12).

    Returns
    -------
    Series, float or DataArray
        W/m², following Spencer (1971, Search 2:172).

    Examples
    --------
    >>> round(extraterrestrial(pd.Timestamp("2024-01-03 12:00", tz="UTC")), 1)
    1408.8
    """
    return _extraterrestrial(unix_seconds(times), solar_constant_w_m2)


# ---------------------------------------------------------------------------------------------------------------------
# Skies: clear, or measured and split


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
        Ineichen & Perez (2002, Solar Energy 73:151-157) with a Linke turbidity, or the simplified Solis model
        (Ineichen 2008, Solar Energy 82:758-762) with aerosol depth and water.
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

    Examples
    --------
    >>> sky = clear_sky_at_zenith(30.0, extraterrestrial_w_m2=1364.0, linke_turbidity=3.0)
    >>> round(sky["ghi_w_m2"], 1), round(sky["dni_w_m2"], 1)
    (896.8, 916.5)
    """
    from pvlib import atmosphere, clearsky

    pressure_pa = atmosphere.alt2pres(elevation_m)
    # Above 90 degrees the relative airmass is not defined (NaN); there is no direct sun there anyway.
    seen = np.minimum(apparent_zenith_deg, 90.0)
    if model == "ineichen":
        airmass = atmosphere.get_absolute_airmass(atmosphere.get_relative_airmass(seen), pressure_pa)
        sky = clearsky.ineichen(seen, airmass, linke_turbidity, altitude=elevation_m, dni_extra=extraterrestrial_w_m2)
    elif model == "solis":
        args = (90 - seen, aerosol_depth_700nm, precipitable_water_cm, pressure_pa, extraterrestrial_w_m2)
        args = np.broadcast_arrays(*args)
        sky = clearsky.simplified_solis(*(np.atleast_1d(a).ravel() for a in args))
        sky = {name: np.reshape(sky[name], args[0].shape) for name in ("dni", "dhi")}
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


def clear_sky(
    times,
    *,
    latitude_deg,
    longitude_deg,
    elevation_m=0.0,
    model="ineichen",
    linke_turbidity=None,
    aerosol_depth_700nm=0.1,
    precipitable_water_cm=1.0,
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
    model : {"ineichen", "solis"}
        See `clear_sky_at_zenith`.
    linke_turbidity : float or array, optional
        None: the monthly world map that comes with pvlib (averages around 2003); Ineichen only.
    aerosol_depth_700nm, precipitable_water_cm : float or array
        Solis only.

    Returns
    -------
    DataFrame, dict or Dataset
        ``ghi_w_m2, dni_w_m2, dhi_w_m2``. A typical clear sky, not that day's: on a cloudless winter day in the San
        Luis Valley (2317 m) the map's turbidity gave GHI 5 % and DNI 7 % too low; summer haze does the opposite.

    Examples
    --------
    >>> noon = pd.DatetimeIndex(["2024-06-21 13:00"]).tz_localize("Etc/GMT+5")
    >>> clear_sky(noon, latitude_deg=36.1, longitude_deg=-79.95, elevation_m=270, linke_turbidity=3).round(0)
                               ghi_w_m2  dni_w_m2  dhi_w_m2
    2024-06-21 13:00:00-05:00     ...
    """
    if linke_turbidity is None:
        linke_turbidity = _turbidity(times, latitude_deg, longitude_deg) if model == "ineichen" else 3.0
    sun = position(times, latitude_deg=latitude_deg, longitude_deg=longitude_deg, elevation_m=elevation_m)
    return clear_sky_at_zenith(
        sun["apparent_zenith_deg"],
        extraterrestrial_w_m2=extraterrestrial(times),
        elevation_m=elevation_m,
        model=model,
        linke_turbidity=linke_turbidity,
        aerosol_depth_700nm=aerosol_depth_700nm,
        precipitable_water_cm=precipitable_water_cm,
    )


def _turbidity(times, latitude_deg, longitude_deg):
    from pvlib import clearsky

    if np.ndim(latitude_deg) or np.ndim(longitude_deg):
        raise FieldkitError(
            "For a grid of places give linke_turbidity= yourself (3 is usual): the map reads one place."
        )
    months = pd.date_range("2003-01-15", periods=12, freq=pd.DateOffset(months=1), tz="UTC")
    monthly = clearsky.lookup_linke_turbidity(
        months, float(latitude_deg), float(longitude_deg), interp_turbidity=False
    ).to_numpy()
    return _yearly(unix_seconds(times), nodes=day_of_year(unix_seconds(months)), monthly=monthly)


@elementwise({"linke_turbidity": {"units": "1"}}, static=("nodes", "monthly"))
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

    Notes
    -----
    Erbs, Klein & Duffie (1982, Solar Energy 28:293-302) in the continuous form of Driesse, Jensen & Perez (2024).
    Fitted to hourly sums: a single minute under broken cloud can be wrong by 100 W/m² and more, and mountain air is
    often clearer than its limit allows (San Luis Valley, 2317 m, a cloudless winter day by minutes: DNI 69 W/m² too
    low, DHI 22 W/m² too high). With the sun less than 3° high all of it counts as diffuse. Measure diffuse light if
    you can.

    Examples
    --------
    >>> parts = decompose(800.0, 35.0)
    >>> round(parts["dni_w_m2"]), round(parts["dhi_w_m2"])
    (763, 175)
    """
    from pvlib import irradiance as pv

    ghi = np.maximum(ghi_w_m2, 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        parts = pv.erbs_driesse(ghi, apparent_zenith_deg, dni_extra=extraterrestrial_w_m2)
    known = np.isfinite(ghi) & np.isfinite(apparent_zenith_deg)
    return {"dni_w_m2": np.where(known, parts["dni"], np.nan), "dhi_w_m2": np.where(known, parts["dhi"], np.nan)}


# ---------------------------------------------------------------------------------------------------------------------
# Any facing


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


@elementwise(
    {
        "ghi_w_m2": _W | {"standard_name": "surface_downwelling_shortwave_flux_in_air"},
        "dni_w_m2": _W | {"standard_name": "surface_direct_along_beam_shortwave_flux_in_air"},
        "dhi_w_m2": _W | {"standard_name": "surface_diffuse_downwelling_shortwave_flux_in_air"},
        "closure_w_m2": _W | {"long_name": "GHI minus DNI cos(zenith) minus DHI, as given"},
    }
)
def _complete(ghi_w_m2, dni_w_m2, dhi_w_m2, apparent_zenith_deg, extraterrestrial_w_m2, beam_share, sky_share):
    """Fill in the component that was not measured, then let horizon and leaves take their share."""
    cos_zenith = np.maximum(np.cos(np.radians(apparent_zenith_deg)), 0)
    ghi, dni, dhi = (None if v is None else np.maximum(v, 0) for v in (ghi_w_m2, dni_w_m2, dhi_w_m2))
    if ghi is None:
        ghi = dni * cos_zenith + dhi
    elif dni is None:
        high = apparent_zenith_deg <= 87
        dni = np.where(high, np.maximum(ghi - dhi, 0) / np.where(high, cos_zenith, 1), 0)
        # With a low sun a few watts of cloud edge or tilt look like a beam stronger than the sun's.
        dni = np.minimum(dni, extraterrestrial_w_m2)
        dhi = np.where(np.isnan(dni * dhi), np.nan, ghi - dni * cos_zenith)
    elif dhi is None:
        dhi = np.maximum(ghi - dni * cos_zenith, 0)
    closure = ghi - dni * cos_zenith - dhi
    if beam_share is not None or sky_share is not None:
        dni, dhi = dni * beam_share, dhi * sky_share
        ghi = dni * cos_zenith + dhi
    return {"ghi_w_m2": ghi, "dni_w_m2": dni, "dhi_w_m2": dhi, "closure_w_m2": closure}


def irradiance(
    times,
    *,
    latitude_deg,
    longitude_deg,
    elevation_m=0.0,
    ghi_w_m2=None,
    dni_w_m2=None,
    dhi_w_m2=None,
    tilt_deg=0.0,
    facing_deg=180.0,
    ground_albedo=0.2,
    sky_model="perez",
    clear_sky_model="ineichen",
    linke_turbidity=None,
    horizon=None,
    canopy_transmission=None,
):
    """Sunlight on any facing, from what was measured or, when nothing was, from a clear sky.

    Parameters
    ----------
    times : DatetimeIndex, Series of times, Timestamp or DataArray (n,)
        With a zone; the middle of the interval when the readings are averages.
    latitude_deg, longitude_deg, elevation_m : float
        Degrees north, degrees east, metres above sea level.
    ghi_w_m2, dni_w_m2, dhi_w_m2 : float, array, Series or DataArray (n,), optional
        Measured: global on the flat, beam square to the rays, diffuse on the flat, W/m². None of them: clear sky. Only
        GHI: split with `decompose`. Two of them: the third follows. All three: used as they are, and ``closure_w_m2``
        says by how much they disagree.
    tilt_deg, facing_deg : float or array
        See `on_facing`; tilt 0 is a flat back.
    ground_albedo, sky_model
        See `on_facing`.
    clear_sky_model : {"ineichen", "solis"}
        See `clear_sky_at_zenith`.
    linke_turbidity : float, optional
        For the clear sky.
    horizon : sequence of (azimuth_deg, elevation_deg), optional
        The skyline as seen from the spot; straight lines between the points, round the circle. No beam from a sun
        below it; sky light is reduced by the hidden share of the sky as seen by the flat (light from the hiding rock
        or trees themselves is left out).
    canopy_transmission : float or array, optional
        Share of beam and of sky light that leaves let through, 0 to 1. An average over sunflecks: no single spot under
        leaves receives it.

    Returns
    -------
    DataFrame, dict or Dataset
        ``apparent_zenith_deg, azimuth_deg, ghi_w_m2, dni_w_m2, dhi_w_m2, closure_w_m2`` (after horizon and canopy,
        except the closure), then the columns of `on_facing`. For a body in the sun use ``dni_w_m2`` (on its
        silhouette), ``dhi_w_m2`` and ``ground_upwelling_w_m2``.

    Raises
    ------
    FieldkitError
        When only DNI or only DHI is given.

    Examples
    --------
    >>> times = pd.date_range("2024-06-21 06:00", periods=3, freq="3h", tz="Etc/GMT+5")
    >>> light = irradiance(times, latitude_deg=36.1, longitude_deg=-79.95, linke_turbidity=3.0)
    >>> bool(np.allclose(light["total_w_m2"], light["ghi_w_m2"]))
    True
    """
    place = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg, "elevation_m": elevation_m}
    sun = position(times, **place)
    zenith, azimuth = sun["apparent_zenith_deg"], sun["azimuth_deg"]
    above = extraterrestrial(times)
    given = [v is not None for v in (ghi_w_m2, dni_w_m2, dhi_w_m2)]
    if not any(given):
        sky = clear_sky(times, **place, model=clear_sky_model, linke_turbidity=linke_turbidity)
        ghi_w_m2, dni_w_m2, dhi_w_m2 = sky["ghi_w_m2"], sky["dni_w_m2"], sky["dhi_w_m2"]
    elif given == [True, False, False]:
        parts = decompose(ghi_w_m2, zenith, extraterrestrial_w_m2=above)
        dni_w_m2, dhi_w_m2 = parts["dni_w_m2"], parts["dhi_w_m2"]
    elif sum(given) == 1:
        raise FieldkitError(
            "Beam or diffuse alone does not tell the rest: give ghi_w_m2 as well, or both dni_w_m2 and dhi_w_m2."
        )
    beam_share = sky_share = None
    if horizon is not None or canopy_transmission is not None:
        leaves = 1.0 if canopy_transmission is None else canopy_transmission
        if np.any(np.asarray(leaves) < 0) or np.any(np.asarray(leaves) > 1):
            raise FieldkitError(f"canopy_transmission {canopy_transmission} is not between 0 and 1.")
        beam_share = sky_share = leaves
        if horizon is not None:
            seen = sunlit(zenith, azimuth, horizon=horizon)
            beam_share, sky_share = seen * leaves, leaves * sky_view_factor(horizon)
    measured = _complete(ghi_w_m2, dni_w_m2, dhi_w_m2, zenith, above, beam_share, sky_share)
    falling = on_facing(
        measured["ghi_w_m2"],
        measured["dni_w_m2"],
        measured["dhi_w_m2"],
        zenith,
        azimuth,
        tilt_deg=tilt_deg,
        facing_deg=facing_deg,
        ground_albedo=ground_albedo,
        extraterrestrial_w_m2=above,
        sky_model=sky_model,
    )
    return _join({"apparent_zenith_deg": zenith, "azimuth_deg": azimuth}, measured, falling)


def _join(angles, *parts):
    """Put columns side by side in the container of the parts."""
    if isinstance(parts[0], pd.DataFrame):
        return pd.concat([pd.DataFrame(angles), *parts], axis=1)
    if isinstance(parts[0], dict):
        return {k: v for part in (angles, *parts) for k, v in part.items()}
    return parts[0].assign(angles).assign({k: v for part in parts[1:] for k, v in part.items()})


# ---------------------------------------------------------------------------------------------------------------------
# Skyline


def _skyline(horizon):
    points = np.asarray(horizon, dtype=float)
    if points.ndim != 2 or points.shape[1] != 2 or not np.isfinite(points).all():
        raise FieldkitError(
            "Give the horizon as pairs of azimuth and elevation in degrees, for instance [(90, 10), (180, 4)]."
        )
    if (points[:, 1] < 0).any() or (points[:, 1] > 90).any():
        raise FieldkitError("An elevation of the horizon is not between 0 and 90 degrees.")
    azimuth = points[:, 0] % 360
    if len(np.unique(azimuth)) < len(azimuth):
        raise FieldkitError(
            "The horizon names one azimuth twice: keep one elevation for each (0 and 360 are the same)."
        )
    order = np.argsort(azimuth)
    return azimuth[order], points[order, 1]


@elementwise({"horizon_elevation_deg": _DEG}, static=("horizon",))
def horizon_elevation(azimuth_deg, *, horizon):
    """Height of the skyline in a direction, degrees.

    Parameters
    ----------
    azimuth_deg : float, array, Series or DataArray
        Direction, degrees clockwise from north.
    horizon : sequence of (azimuth_deg, elevation_deg)
        The skyline, degrees.

    Returns
    -------
    same kind as `azimuth_deg`
        Degrees; linear between the declared points.

    Examples
    --------
    >>> horizon_elevation(45.0, horizon=[(0, 0), (90, 20), (180, 0)])
    10.0
    """
    azimuth, height = _skyline(horizon)
    return np.interp(azimuth_deg, azimuth, height, period=360)


@elementwise({"sunlit": {"units": "1"}}, static=("horizon",))
def sunlit(apparent_zenith_deg, azimuth_deg, *, horizon):
    """Whether the middle of the sun is above the skyline: 1 or 0 (NaN when the sun's place is unknown).

    Parameters
    ----------
    apparent_zenith_deg, azimuth_deg : float, array, Series or DataArray
        The sun's place, degrees.
    horizon : sequence of (azimuth_deg, elevation_deg)
        The skyline, degrees.

    Returns
    -------
    same kind

    Examples
    --------
    >>> sunlit(75.0, 90.0, horizon=[(90, 20), (270, 0)])
    0.0
    """
    azimuth, height = _skyline(horizon)
    skyline = np.interp(azimuth_deg, azimuth, height, period=360)
    seen = (90 - apparent_zenith_deg > skyline).astype(float)
    return np.where(np.isnan(apparent_zenith_deg + azimuth_deg), np.nan, seen)


def sky_view_factor(horizon):
    """Share of an evenly bright sky that a flat back still receives under a skyline.

    Parameters
    ----------
    horizon : sequence of (azimuth_deg, elevation_deg)
        The skyline, degrees.

    Returns
    -------
    float
        Mean of cos² of the skyline's height over all directions; exact for an even sky and a flat receiver.

    Examples
    --------
    >>> round(sky_view_factor([(0, 30)]), 6)  # a bowl 30 degrees high all round: cos²(30°)
    0.75
    """
    azimuth, height = _skyline(horizon)
    around = np.interp(np.arange(0.05, 360, 0.1), azimuth, height, period=360)
    return float(np.mean(np.cos(np.radians(around)) ** 2))


# ---------------------------------------------------------------------------------------------------------------------
# Clock and day length


@elementwise({"solar_time_h": {"units": "h", "long_name": "apparent solar time"}})
def _solar_time(unix_s, longitude_deg, equation_of_time_min):
    return (unix_s / 3600 + longitude_deg / 15 + equation_of_time_min / 60) % 24


def solar_time(times, *, longitude_deg):
    """Apparent solar time in hours: 12 when the sun stands highest, whatever the clocks of the place say.

    Parameters
    ----------
    times : DatetimeIndex, Series of times, Timestamp or DataArray (n,)
        With a zone; a DataArray is UTC.
    longitude_deg : float or array
        Degrees east.

    Returns
    -------
    Series, float or DataArray
        0 to 24 h. Free of summer time, so that seasons and stations can be compared hour by hour.

    Examples
    --------
    >>> round(solar_time(pd.Timestamp("2024-06-21 13:22", tz="America/New_York"), longitude_deg=-79.95), 2)
    12.0
    """
    sun = position(times, latitude_deg=0.0, longitude_deg=longitude_deg)
    return _solar_time(unix_seconds(times), longitude_deg, sun["equation_of_time_min"])


def day_length(dates, *, latitude_deg, longitude_deg, timezone, elevation_m=0.0, sun_elevation_deg=None):
    """Sunrise, noon, sunset and hours of day.

    Parameters
    ----------
    dates : DatetimeIndex or sequence of dates (n,)
        Local days; the time of day is ignored.
    latitude_deg, longitude_deg, elevation_m : float
        Degrees north, degrees east, metres above sea level.
    timezone : str
        Zone of the place, for instance "America/New_York".
    sun_elevation_deg : float, optional
        Height of the sun's middle, without refraction, that begins and ends the day; None: −0.8333 (upper edge on a
        level horizon). −6 counts civil twilight in, as photoperiod often is; say which was used.

    Returns
    -------
    DataFrame
        One row per local day: ``sunrise, solar_noon, sunset`` (in `timezone`; NaT when the sun does not cross that
        height), ``day_length_h`` (0 in polar night, 24 in polar day), ``noon_elevation_deg`` (apparent).

    Notes
    -----
    Events by halving the twelve hours before and after the sun's noon with `position` itself, which also holds where
    the sun only grazes the horizon; there a day may have a sunrise and no sunset. Hours between events are elapsed
    hours, so a change of the clocks does not lengthen a day.

    Examples
    --------
    >>> day = day_length(["2024-06-21"], latitude_deg=36.1, longitude_deg=-79.95, timezone="America/New_York")
    >>> round(float(day["day_length_h"].iloc[0]), 2)
    14.62
    """
    _check_place(latitude_deg, longitude_deg)
    height = SUNRISE_ELEVATION_DEG if sun_elevation_deg is None else sun_elevation_deg
    days = pd.DatetimeIndex(dates)
    days = _midnights(days.tz_convert(timezone).tz_localize(None) if days.tz is not None else days, timezone)
    # The sun's noon lies within a few hours of the clock's; the nearest one belongs to the day.
    noon = ((days.tz_localize(None) - pd.Timestamp(0)) / pd.Timedelta(hours=1)).to_numpy() + 12 - longitude_deg / 15
    place = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg, "elevation_m": elevation_m}
    for _ in range(3):
        noon = noon - _hour_angle_deg(noon, place) / _HOUR_ANGLE_DEG_PER_H
    stamps = _stamps(noon, timezone)
    events = []
    for side in (-1, 1):
        low, high = noon + side * 12.0, noon
        lowest, highest = (_elevation_deg(hours, place) for hours in (low, high))
        for _ in range(26):
            middle = (low + high) / 2
            up = _elevation_deg(middle, place) > height
            low, high = np.where(up, low, middle), np.where(up, middle, high)
        crosses = (lowest <= height) & (highest > height)
        half = np.where(crosses, side * (low - noon), np.where(highest > height, 12.0, 0.0))
        events.append((np.where(crosses, low, np.nan), half))
    (rise, morning), (set_, evening) = events
    table = pd.DataFrame(
        {
            "sunrise": _stamps(rise, timezone),
            "solar_noon": stamps,
            "sunset": _stamps(set_, timezone),
            "day_length_h": morning + evening,
            "noon_elevation_deg": position(stamps, **place)["apparent_elevation_deg"].to_numpy(),
        },
        index=days,
    )
    table.index.name = "date"
    return table


def _midnights(days, zone):
    # Some zones change their clocks at midnight: such a day begins at the first moment that belongs to it.
    return days.normalize().tz_localize(zone, nonexistent="shift_forward", ambiguous=np.ones(len(days), dtype=bool))


def _stamps(unix_hours, timezone):
    # Whole seconds: the method is not better, and stored notebook outputs stay the same on every machine.
    seconds = np.round(np.asarray(unix_hours) * 3600)
    return pd.to_datetime(seconds, unit="s", utc=True).tz_convert(timezone)


def _elevation_deg(unix_hours, place):
    return _position(unix_hours * 3600, *place.values(), None, 12.0, 69.0)["elevation_deg"]


def _hour_angle_deg(unix_hours, place):
    """Hour angle (−180 to 180, negative in the morning) of the true sun."""
    sun = _position(unix_hours * 3600, *place.values(), None, 12.0, 69.0)
    latitude = np.radians(place["latitude_deg"])
    height, azimuth = np.radians(sun["elevation_deg"]), np.radians(sun["azimuth_deg"])
    angle = np.arctan2(
        -np.sin(azimuth) * np.cos(height),
        np.cos(latitude) * np.sin(height) - np.sin(latitude) * np.cos(height) * np.cos(azimuth),
    )
    return np.degrees(angle)


# ---------------------------------------------------------------------------------------------------------------------
# Hours when basking would pay


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class BaskingHours(Result):
    """Hours a day in which sun and air would allow basking.

    Attributes
    ----------
    table : DataFrame
        One row per local day: ``hours, stretches, longest_h, first_start, last_end, known_h, complete``.
    intervals : DataFrame
        One row per unbroken stretch within a day: ``date, start, end, hours``.
    threshold_w_m2 : float
    air_range_c : tuple of float or None
    shortest_min : float
    """

    table: pd.DataFrame
    intervals: pd.DataFrame
    threshold_w_m2: float
    air_range_c: tuple | None
    shortest_min: float

    @property
    def sentence(self):
        full = self.table[self.table["complete"]]
        limits = f"{self.threshold_w_m2:g} W/m² or more"
        if self.air_range_c is not None:
            limits += f" with air between {self.air_range_c[0]:g} and {self.air_range_c[1]:g} °C"
        if full.empty:
            return f"No day has readings from midnight to midnight, so hours a day at {limits} cannot be told."
        hours = full["hours"]
        if len(full) == 1:
            words = f"{limits}: {hours.iloc[0]:.1f} h on the one complete day."
        else:
            words = (
                f"{limits}: {hours.median():.1f} h a day in the median of {len(full)} complete days "
                f"(lowest {hours.min():.1f}, highest {hours.max():.1f} h)."
            )
        short = len(self.table) - len(full)
        if short:
            words += f" {short} more {'day has' if short == 1 else 'days have'} gaps; their hours are a lower limit."
        return words


def potential_basking_hours(
    irradiance_w_m2,
    *,
    threshold_w_m2,
    air_temperature_c=None,
    air_range_c=None,
    shortest_min=0.0,
    longest_gap_min=None,
):
    """Find the stretches of each day in which there is sun enough to bask.

    Parameters
    ----------
    irradiance_w_m2 : Series (n,)
        On the animal's facing (usually a flat back), W/m², indexed by times with a zone; days are local days.
    threshold_w_m2 : float
        Least irradiance that counts. Take it from the animals seen basking, not from a table.
    air_temperature_c : Series (n,), optional
        Shade air, °C, same index.
    air_range_c : (low, high), optional
        Air between these, °C, both included; needs `air_temperature_c`.
    shortest_min : float
        Stretches shorter than this many minutes are left out (sunflecks).
    longest_gap_min : float, optional
        Readings further apart than this are not joined: the time between is unknown. None: 2.5 times the usual step.

    Returns
    -------
    BaskingHours

    Raises
    ------
    FieldkitError
        When times have no zone or do not increase, or air limits come without air.

    Notes
    -----
    Between neighbouring readings both quantities are taken as straight lines, so a stretch begins and ends where the
    line crosses the limit and hourly files are not rounded to whole hours. Hours are elapsed hours: days on which the
    clocks change have 23 or 25.

    Examples
    --------
    >>> times = pd.date_range("2024-06-21", periods=25, freq="h", tz="Etc/GMT+5")
    >>> sun_on_back = pd.Series(np.maximum(0, 900 * np.sin(np.pi * (np.arange(25) - 6) / 12)), index=times)
    >>> potential_basking_hours(sun_on_back, threshold_w_m2=450)
    BaskingHours: 450 W/m² or more: 8.0 h on the one complete day.
    """
    series = irradiance_w_m2
    if not isinstance(series, pd.Series) or not isinstance(series.index, pd.DatetimeIndex) or series.index.tz is None:
        raise FieldkitError("Give the irradiance as a Series whose index holds times with a zone.")
    if len(series) < 2 or not series.index.is_monotonic_increasing or not series.index.is_unique:
        raise FieldkitError("The times of the irradiance must increase, each once, and there must be two at least.")
    margins = [series.to_numpy(dtype=float) - threshold_w_m2]
    if air_range_c is not None:
        if air_temperature_c is None:
            raise FieldkitError("Air limits were given but no air temperatures: give air_temperature_c as well.")
        if not air_temperature_c.index.equals(series.index):
            raise FieldkitError("Air and irradiance do not have the same times: join them into one table first.")
        low, high = (float(v) for v in air_range_c)
        if not low < high:
            raise FieldkitError(f"The air range {low:g} to {high:g} °C is upside down: give the lower limit first.")
        air = air_temperature_c.to_numpy(dtype=float)
        margins += [air - low, high - air]
        air_range_c = (low, high)

    times = unix_seconds(series.index).to_numpy() / 3600
    step = float(np.median(np.diff(times)))
    gap = 2.5 * step if longest_gap_min is None else longest_gap_min / 60
    # A last reading at midnight closes its day and opens none.
    local = (series.index[[0, -1]].tz_localize(None) - pd.to_timedelta([0, 1], unit="s")).normalize()
    days = _midnights(pd.date_range(local[0], local[1] + pd.Timedelta(days=1), freq="D"), series.index.tz)
    midnights = unix_seconds(days).to_numpy() / 3600
    nodes = np.union1d(times, midnights[(midnights > times[0]) & (midnights < times[-1])])
    segment = np.searchsorted(times, nodes[:-1], side="right") - 1
    finite = np.all(np.isfinite(margins), axis=0)
    known = (finite[:-1] & finite[1:] & (np.diff(times) <= gap))[segment]
    begin, length = nodes[:-1], np.diff(nodes)
    first, last = np.zeros(len(begin)), np.ones(len(begin))
    for margin in margins:
        left, right = _above(*(np.interp(nodes, times, margin)[part] for part in (slice(None, -1), slice(1, None))))
        first, last = np.maximum(first, left), np.minimum(last, right)
    held = known & (last > first)
    start, end = (begin + first * length)[held], (begin + last * length)[held]
    day = np.searchsorted(midnights, (start + end) / 2, side="right") - 1
    if len(start):
        fresh = np.r_[True, (start[1:] - end[:-1] > 1e-9) | (day[1:] != day[:-1])]
        start, end, day = start[fresh], end[np.r_[fresh[1:], True]], day[fresh]
    keep = (end - start) * 60 >= shortest_min
    start, end, day = start[keep], end[keep], day[keep]
    zone = series.index.tz
    intervals = pd.DataFrame(
        {"date": days[day], "start": _stamps(start, zone), "end": _stamps(end, zone), "hours": end - start}
    )
    grouped = intervals.groupby("date")
    table = pd.DataFrame(index=days[:-1].rename("date"))
    table["hours"] = grouped["hours"].sum().reindex(table.index, fill_value=0.0)
    table["stretches"] = grouped.size().reindex(table.index, fill_value=0)
    table["longest_h"] = grouped["hours"].max().reindex(table.index, fill_value=0.0)
    table["first_start"] = grouped["start"].min().reindex(table.index)
    table["last_end"] = grouped["end"].max().reindex(table.index)
    segment_day = np.searchsorted(midnights, begin, side="right") - 1
    table["known_h"] = np.bincount(segment_day, weights=length * known, minlength=len(days) - 1)[: len(days) - 1]
    # The first and the last reading of a file stand for their own step.
    table["complete"] = np.diff(midnights) - table["known_h"].to_numpy() <= step * 1.001
    return BaskingHours(
        table=table,
        intervals=intervals,
        threshold_w_m2=float(threshold_w_m2),
        air_range_c=air_range_c,
        shortest_min=float(shortest_min),
    )


def _above(left, right):
    """Part of a straight segment, as fractions of it, that is not below zero."""
    slope = np.where(right == left, 1.0, right - left)
    crossing = -left / slope
    with np.errstate(invalid="ignore"):
        first = np.where(left >= 0, 0.0, np.where(right >= 0, crossing, 1.0))
        last = np.where(right >= 0, 1.0, np.where(left >= 0, crossing, 0.0))
    return first, last
