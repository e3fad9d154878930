"""Where the sun stands, how strong it is above the air, what its clock says and how long its day is."""

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, elementwise
from fieldkit.physics.atmosphere import air_pressure
from fieldkit.physics.limits import check_inputs

SOLAR_CONSTANT_W_M2 = 1361.1  # Gueymard (2018), Solar Energy 168:2-12; pvlib's own default is 1366.1, 0.4 % higher
SUNRISE_ELEVATION_DEG = -0.8333  # upper limb on the horizon: 34' refraction and 16' radius, Reda & Andreas (2004)
CIVIL_TWILIGHT_DEG = -6.0
_HOUR_ANGLE_DEG_PER_H = 15.0

_EPOCH = pd.Timestamp(0, tz="UTC")
_W = {"units": "W m-2"}
_DEG = {"units": "degree"}


def unix_seconds(times):
    """Seconds since 1970 UTC, in the container that the times came in.

    Parameters
    ----------
    times : DatetimeIndex, Series of times, Timestamp, text or sequence of them, or DataArray
        With a zone; a DataArray of datetime64 is UTC.

    Returns
    -------
    Series, array, float or DataArray
        s.

    Raises
    ------
    FieldkitError
        When times carry no zone or cannot be read.

    Examples
    --------
    >>> unix_seconds("1970-01-01 01:00-04:00")
    18000.0
    """
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
            stamps = [pd.Timestamp(t) for t in np.ravel(np.asarray(times, dtype=object))]
            if not stamps:
                return np.empty(0)
            if all(t.tz is not None for t in stamps if t is not pd.NaT):
                # Written with the clock's offset, summer and winter differ.
                stamps = [t if t is pd.NaT else t.tz_convert("UTC") for t in stamps]
            index, values = None, pd.DatetimeIndex(stamps)
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
        "equation_of_time_min": {"units": "min", "long_name": "equation of time"},
    }
)
def _position(unix_s, latitude_deg, longitude_deg, elevation_m, pressure_pa, air_temperature_c, delta_t_s):
    from pvlib import spa

    check_inputs(locals())
    if pressure_pa is None:
        pressure_pa = air_pressure(elevation_m)
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
    """Day of the year (UTC) of seconds since 1970.

    Parameters
    ----------
    unix_s : array_like
        s, from `unix_seconds`.

    Returns
    -------
    ndarray
        1 to 366.

    Raises
    ------
    ValueError
        When it is no number.

    Examples
    --------
    >>> float(day_of_year(unix_seconds("2024-12-31 12:00+00:00")))
    366.0
    """
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

    Raises
    ------
    FieldkitError
        When an input is a time without a zone.

    Examples
    --------
    >>> round(extraterrestrial(pd.Timestamp("2024-01-03 12:00", tz="UTC")), 1)
    1408.8
    """
    return _extraterrestrial(unix_seconds(times), solar_constant_w_m2)


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
    dates : DatetimeIndex, date or sequence of dates (n,)
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

    Raises
    ------
    FieldkitError
        When a coordinate is out of range or the zone is not known.

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
    days = pd.DatetimeIndex(dates if np.ndim(dates) else [dates])
    try:
        pd.Timestamp(0, tz=timezone)
    except (LookupError, ValueError) as error:
        raise FieldkitError(f"There is no time zone '{timezone}': write it like America/New_York.") from error
    days = local_midnights(days.tz_convert(timezone).tz_localize(None) if days.tz is not None else days, timezone)
    # The sun's noon lies within a few hours of the clock's; the nearest one belongs to the day.
    noon = ((days.tz_localize(None) - pd.Timestamp(0)) / pd.Timedelta(hours=1)).to_numpy() + 12 - longitude_deg / 15
    place = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg, "elevation_m": elevation_m}
    for _ in range(3):
        noon = noon - _hour_angle_deg(noon, place) / _HOUR_ANGLE_DEG_PER_H
    stamps = local_stamps(noon, timezone)
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
            "sunrise": local_stamps(rise, timezone),
            "solar_noon": stamps,
            "sunset": local_stamps(set_, timezone),
            "day_length_h": morning + evening,
            "noon_elevation_deg": position(stamps, **place)["apparent_elevation_deg"].to_numpy(),
        },
        index=days,
    )
    table.index.name = "date"
    return table


def local_midnights(days, zone):
    # Some zones change their clocks at midnight: such a day begins at the first moment that belongs to it.
    return days.normalize().tz_localize(zone, nonexistent="shift_forward", ambiguous=np.ones(len(days), dtype=bool))


def local_stamps(unix_hours, timezone):
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
