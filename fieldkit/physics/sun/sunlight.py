"""What sunlight falls on an animal: sun position, clear and measured skies, any facing, day length, basking hours.

Angles are in degrees; azimuths count clockwise from north; a facing is a tilt from horizontal (0: a flat back, 90: a
flank) and the azimuth it looks to. Times carry a zone; the times of a DataArray are UTC, as CF says. Angles and sky
models come from pvlib; what is ours is the bookkeeping that keeps beam, diffuse and reflected light adding up.
"""

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, elementwise
from fieldkit.physics.atmosphere import most_beam
from fieldkit.physics.limits import check_inputs
from fieldkit.physics.sun.clear_sky_limits import clear_sky_range
from fieldkit.physics.sun.ephemeris import (
    CIVIL_TWILIGHT_DEG,
    SOLAR_CONSTANT_W_M2,
    SUNRISE_ELEVATION_DEG,
    day_length,
    day_of_year,
    extraterrestrial,
    position,
    solar_time,
    unix_seconds,
)
from fieldkit.physics.sun.horizon import horizon_elevation, sky_view_factor, sunlit
from fieldkit.physics.sun.sky import clear_sky, clear_sky_at_zenith, decompose, on_facing
from fieldkit.physics.sun.sunlit_hours import BaskingHours, potential_basking_hours

__all__ = [
    "CIVIL_TWILIGHT_DEG",
    "SOLAR_CONSTANT_W_M2",
    "SUNRISE_ELEVATION_DEG",
    "BaskingHours",
    "clear_sky",
    "clear_sky_at_zenith",
    "clear_sky_range",
    "day_length",
    "day_of_year",
    "decompose",
    "extraterrestrial",
    "horizon_elevation",
    "irradiance",
    "on_facing",
    "position",
    "potential_basking_hours",
    "sky_view_factor",
    "solar_time",
    "sunlit",
    "unix_seconds",
]

_W = {"units": "W m-2"}


@elementwise(
    {
        "ghi_w_m2": _W | {"standard_name": "surface_downwelling_shortwave_flux_in_air"},
        "dni_w_m2": _W | {"standard_name": "surface_direct_along_beam_shortwave_flux_in_air"},
        "dhi_w_m2": _W | {"standard_name": "surface_diffuse_downwelling_shortwave_flux_in_air"},
        "closure_w_m2": _W | {"long_name": "GHI minus DNI cos(zenith) minus DHI, as given"},
    }
)
def _complete(ghi_w_m2, dni_w_m2, dhi_w_m2, apparent_zenith_deg, extraterrestrial_w_m2, seen, sky_view, leaves):
    """Fill in the component that was not measured, then let horizon and leaves take their share."""
    check_inputs(locals())
    cos_zenith = np.maximum(np.cos(np.radians(apparent_zenith_deg)), 0)
    ghi, dni, dhi = (None if v is None else np.maximum(v, 0) for v in (ghi_w_m2, dni_w_m2, dhi_w_m2))
    if ghi is None:
        ghi = dni * cos_zenith + dhi
    elif dni is None:
        high = apparent_zenith_deg <= 87
        dni = np.where(high, np.maximum(ghi - dhi, 0) / np.where(high, cos_zenith, 1), 0)
        # With a low sun a few watts of cloud edge or tilt look like a beam stronger than the sun's.
        dni = np.minimum(dni, most_beam(apparent_zenith_deg, extraterrestrial_w_m2))
        dhi = np.where(np.isnan(dni * dhi), np.nan, ghi - dni * cos_zenith)
    elif dhi is None:
        dhi = np.maximum(ghi - dni * cos_zenith, 0)
    closure = ghi - dni * cos_zenith - dhi
    if seen is not None or leaves is not None:
        leaves = 1.0 if leaves is None else leaves
        if np.any(leaves < 0) or np.any(leaves > 1):
            worst = np.nanmax(leaves) if np.nanmax(leaves) > 1 else np.nanmin(leaves)
            raise FieldkitError(f"canopy_transmission {worst:g} is not between 0 and 1.")
        dni, dhi = dni * leaves, dhi * leaves
        if seen is not None:
            dni, dhi = dni * seen, dhi * sky_view
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
    clear_sky_model=None,
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
    clear_sky_model : {"ineichen", "solis"}, optional
        See `clear_sky`.
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
    seen = sky_view = None
    if horizon is not None:
        seen, sky_view = sunlit(zenith, azimuth, horizon=horizon), sky_view_factor(horizon)
    measured = _complete(ghi_w_m2, dni_w_m2, dhi_w_m2, zenith, above, seen, sky_view, canopy_transmission)
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
