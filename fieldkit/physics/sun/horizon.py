"""What stands between a spot and the sun: its height in every direction, and the sky that is left."""

import numpy as np

from fieldkit.core import FieldkitError, elementwise
from fieldkit.physics.limits import check_inputs


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


@elementwise({"horizon_elevation_deg": {"units": "degree", "long_name": "height of the skyline"}}, static=("horizon",))
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

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Notes
    -----
    Straight lines between the points, round the circle (definition).

    Examples
    --------
    >>> horizon_elevation(45.0, horizon=[(0, 0), (90, 20), (180, 0)])
    10.0
    """
    check_inputs(locals())
    azimuth, height = _skyline(horizon)
    return np.interp(azimuth_deg, azimuth, height, period=360)


@elementwise({"sunlit": {"units": "1", "long_name": "sun above the skyline (1) or behind it (0)"}}, static=("horizon",))
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

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Notes
    -----
    The sun is seen where it stands higher than the horizon at its azimuth (definition).

    Examples
    --------
    >>> sunlit(75.0, 90.0, horizon=[(90, 20), (270, 0)])
    0.0
    """
    check_inputs(locals())
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

    Raises
    ------
    FieldkitError
        When an input is no skyline.

    Notes
    -----
    Share of the isotropic sky that a flat receives: the mean over azimuth of cos² of the horizon (algebra).

    Examples
    --------
    >>> round(sky_view_factor([(0, 30)]), 6)  # a bowl 30 degrees high all round: cos²(30°)
    0.75
    """
    azimuth, height = _skyline(horizon)
    around = np.interp(np.arange(0.05, 360, 0.1), azimuth, height, period=360)
    return float(np.mean(np.cos(np.radians(around)) ** 2))
