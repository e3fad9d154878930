"""How far the clear sky of a day may lie from the usual one, the haze not being known."""

import numpy as np

from fieldkit.core import elementwise
from fieldkit.physics.atmosphere import LOWEST_WATER_CM, MOST_HAZE
from fieldkit.physics.sun.sky import sky_over, usual_air

HAZE_FACTOR = 3.0  # haze of nine in ten days lies within a third and three times the usual
WATER_FACTOR = 1.5
MODEL_SHARE = 0.06  # model, ozone and instruments: the biggest mean error on the minutes used to choose was 5.3 %
_W = {"units": "W m-2"}


def clear_sky_range(times, *, latitude_deg, longitude_deg, elevation_m=0.0):
    """Between which limits global and beam irradiance lie in nine of ten cloudless minutes, the haze not being known.

    Parameters
    ----------
    times : DatetimeIndex, Series of times, Timestamp or DataArray (n,)
        With a zone; a DataArray is UTC.
    latitude_deg, longitude_deg, elevation_m : float
        Degrees north, degrees east, metres above sea level.

    Returns
    -------
    DataFrame, dict or Dataset
        ``ghi_low_w_m2, ghi_high_w_m2, dni_low_w_m2, dni_high_w_m2`` (W/m²).

    Raises
    ------
    FieldkitError
        As `clear_sky`.

    Notes
    -----
    Haze from a third to three times the usual and water from two thirds to one and a half times, and 6 % for the
    model and the instruments. Aerosol depth varies from day to day by a factor whose logarithm is about normal
    (O'Neill et al. 2000, Geophysical Research Letters 27:3333). Held 92 to 100 % of the cloudless minutes of each
    place named in `clear_sky`, so it is rather wide than narrow there; under desert dust and smoke it is too narrow.

    Examples
    --------
    >>> import pandas as pd
    >>> noon = pd.DatetimeIndex(["2024-06-21 13:00"]).tz_localize("Etc/GMT+5")
    >>> limits = clear_sky_range(noon, latitude_deg=36.1, longitude_deg=-79.95, elevation_m=270)
    >>> limits[["dni_low_w_m2", "dni_high_w_m2"]].round(-1).iloc[0].tolist()
    [690.0, 1020.0]
    """
    place = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg}
    usual = usual_air(times, elevation_m=elevation_m, known=False, **place)
    edges = []
    for haze, water in ((HAZE_FACTOR, WATER_FACTOR), (1 / HAZE_FACTOR, 1 / WATER_FACTOR)):
        air = {
            "aerosol_depth_700nm": np.minimum(usual["aerosol_depth_700nm"] * haze, MOST_HAZE),
            "precipitable_water_cm": np.maximum(usual["precipitable_water_cm"] * water, LOWEST_WATER_CM),
        }
        edges.append(sky_over(times, elevation_m, "solis", air, **place))
    low, high = edges
    return _between(low["ghi_w_m2"], high["ghi_w_m2"], low["dni_w_m2"], high["dni_w_m2"])


@elementwise({f"{part}_{end}_w_m2": _W for part in ("ghi", "dni") for end in ("low", "high")})
def _between(ghi_low, ghi_high, dni_low, dni_high):
    return {
        "ghi_low_w_m2": ghi_low * (1 - MODEL_SHARE),
        "ghi_high_w_m2": ghi_high * (1 + MODEL_SHARE),
        "dni_low_w_m2": dni_low * (1 - MODEL_SHARE),
        "dni_high_w_m2": dni_high * (1 + MODEL_SHARE),
    }
