"""The air column over a place: its pressure, and the water and haze that a cloudless sky usually holds there."""

import numpy as np
from scipy import constants

from fieldkit.core import elementwise
from fieldkit.physics.limits import check_inputs

__all__ = ["STANDARD_PRESSURE_PA", "air_pressure", "clear_air", "most_beam"]

STANDARD_PRESSURE_PA = constants.atm
# ISO 2533:1975, standard atmosphere below 11 km: 288.15 K at sea level, 6.5 K/km, g M/(R L) = 5.25588.
_SEA_LEVEL_K, _LAPSE_K_M, _EXPONENT = 288.15, 0.0065, 5.25588
# Water vapour (cm) near that of the model atmospheres which radiation codes carry for the tropics, the middle latitudes
# and the subarctic; rounded, a rule of thumb: 30 % of water change a clear beam by some 2 %.
_LATITUDES_DEG, _SUMMER_CM, _WINTER_CM = (15.0, 45.0, 60.0), (4.1, 2.9, 2.1), (4.1, 0.85, 0.42)
_WARMEST_DAY = 197.0  # mid-July in the north
WATER_SCALE_M = 2000.0  # height over which water vapour falls to a third (rule of thumb: 2 to 2.5 km)
HAZE_SCALE_M = 2000.0  # height over which haze falls to a third (chosen, see `clear_air`)
CLEAR_DAY_SHARE = 0.5  # haze of cloudless minutes as a share of the monthly map's (chosen, see `clear_air`)
_ANGSTROM = 1.3  # exponent from 550 to 700 nm, common practice for land
LOWEST_WATER_CM, MOST_HAZE = 0.2, 0.45  # limits of the simplified Solis model (Ineichen 2008)
AIR = {
    "aerosol_depth_700nm": {"units": "1", "long_name": "aerosol optical depth at 700 nm under a cloudless sky"},
    "precipitable_water_cm": {"units": "cm", "long_name": "column of water vapour under a cloudless sky"},
}


@elementwise({"pressure_pa": {"units": "Pa", "standard_name": "air_pressure"}})
def air_pressure(elevation_m):
    """Air pressure (Pa) at a height in the standard atmosphere: what holds wherever no barometer was read.

    Parameters
    ----------
    elevation_m : float, array, Series or DataArray
        Metres above sea level, -500 to 9000.

    Returns
    -------
    float, ndarray, Series or DataArray
        Pa, of the shape of the input. Weather moves the real pressure by some 2 % either way.

    Raises
    ------
    FieldkitError
        When the height is out of range.

    Notes
    -----
    ISO 2533:1975: p = 101325 (1 - 0.0065 H/288.15)^5.25588.

    Examples
    --------
    >>> round(air_pressure(2000.0))
    79495
    """
    check_inputs({"elevation_m": elevation_m})
    return STANDARD_PRESSURE_PA * (1 - _LAPSE_K_M * elevation_m / _SEA_LEVEL_K) ** _EXPONENT


def pressure_or_height(pressure_pa, elevation_m):
    """The pressure (Pa) if it is given, else that of the standard atmosphere at the height."""
    return air_pressure(elevation_m) if pressure_pa is None else pressure_pa


@elementwise(AIR)
def clear_air(linke_turbidity, day_of_year, latitude_deg, elevation_m):
    """Haze and water vapour that a cloudless sky usually holds, thinned with height.

    Parameters
    ----------
    linke_turbidity : float, array, Series or DataArray
        Of the monthly map for the place (dimensionless).
    day_of_year : same
        1 to 366.
    latitude_deg, elevation_m : float or array
        Degrees north, metres above sea level.

    Returns
    -------
    dict, DataFrame or Dataset
        ``aerosol_depth_700nm`` (0 to 0.45) and ``precipitable_water_cm`` (0.2 cm and more).

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Notes
    -----
    Water: model atmospheres, between latitudes and seasons by their logarithms. Haze: the turbidity turned into aerosol
    depth at 550 nm by Ineichen (2008, Solar Energy 82:1095-1097). The map holds averages of all days around 2003;
    minutes without cloud are cleaner: half the map's haze at sea level, falling to a third over each 2 km of height.
    Both figures were chosen on cloudless minutes of June 2016 in Payerne (491 m) and of 1 January 2016 in the San Luis
    Valley (2317 m).

    Examples
    --------
    >>> air = clear_air(3.5, 180.0, 47.0, 491.0)
    >>> round(air["aerosol_depth_700nm"], 3), round(air["precipitable_water_cm"], 1)
    (0.036, 2.1)
    """
    check_inputs(locals())
    latitude = np.abs(latitude_deg)
    summer, winter = (np.interp(latitude, _LATITUDES_DEG, np.log(cm)) for cm in (_SUMMER_CM, _WINTER_CM))
    warmest = np.where(np.asarray(latitude_deg) < 0, _WARMEST_DAY + 182.6, _WARMEST_DAY)
    season = np.cos(2 * np.pi * (day_of_year - warmest) / 365.25)
    water = np.exp((summer + winter) / 2 + season * (summer - winter) / 2 - elevation_m / WATER_SCALE_M)
    water = np.maximum(water, LOWEST_WATER_CM)
    ratio = STANDARD_PRESSURE_PA / air_pressure(elevation_m)
    clean = 0.376 * np.log(water) + 2 + 0.54 * ratio - 0.5 * ratio**2 + 0.16 * ratio**3
    haze = (linke_turbidity - clean) / (3.91 * np.exp(0.689 * ratio)) * (550 / 700) ** _ANGSTROM
    haze = np.clip(CLEAR_DAY_SHARE * haze * np.exp(-elevation_m / HAZE_SCALE_M), 0.005, MOST_HAZE)
    return {"aerosol_depth_700nm": haze, "precipitable_water_cm": water + 0 * haze}


@elementwise({"dni_w_m2": {"units": "W m-2", "long_name": "strongest beam that stations ever report"}})
def most_beam(apparent_zenith_deg, extraterrestrial_w_m2):
    """The strongest beam (W/m², square to the rays) that stations ever report: what is above it, is an artefact.

    Parameters
    ----------
    apparent_zenith_deg : float, array, Series or DataArray
        Of the sun, degrees.
    extraterrestrial_w_m2 : same, or float
        W/m², from `fieldkit.physics.sun.extraterrestrial`.

    Returns
    -------
    float, ndarray, Series or DataArray
        W/m²; 0 with the sun below the horizon.

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Notes
    -----
    Long & Shi (2008, The Open Atmospheric Science Journal 2:23-37), the "extremely rare" limit of station checks:
    0.95 E0 cos(zenith)^0.2 + 10.

    Examples
    --------
    >>> [round(most_beam(zenith, 1361.1)) for zenith in (0.0, 60.0, 88.0, 92.0)]
    [1303, 1136, 671, 0]
    """
    check_inputs(locals())
    cosine = np.maximum(np.cos(np.radians(apparent_zenith_deg)), 0)
    return np.where(cosine > 0, 0.95 * extraterrestrial_w_m2 * cosine**0.2 + 10, 0 * cosine)
