"""What an instrument reads, and what that says about the air, the surface and the sun.

A thermometer reports its own temperature. In the sun that is the temperature of a small warm object, not of the air.
This room predicts readings with the one heat balance (:mod:`fieldkit.physics.heat`), turns readings back into what was
wanted (surface temperature, absorbed sunlight, the unlagged value), carries instrument error through, and finds
"shade air" loggers that the sun has reached.
"""

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, floats
from fieldkit.physics.radiation_error.detect import Contamination, find_contamination
from fieldkit.physics.sensors.errors import carry_errors
from fieldkit.physics.sensors.infrared import blackbody_band_share, infrared_reading, true_surface_temperature
from fieldkit.physics.sensors.instruments import (
    INSTRUMENTS,
    Instrument,
    InstrumentComparison,
    compare_instruments,
    instrument_reading,
)
from fieldkit.physics.sensors.logger_checks import LoggerCheck, by_role, check_loggers
from fieldkit.physics.sensors.probe import ProbeIrradiance, absorbed_irradiance, irradiance_from_loggers

__all__ = [
    "INSTRUMENTS",
    "Contamination",
    "Instrument",
    "InstrumentComparison",
    "LoggerCheck",
    "ProbeIrradiance",
    "absorbed_irradiance",
    "blackbody_band_share",
    "by_role",
    "carry_errors",
    "check_loggers",
    "compare_instruments",
    "correct_lag",
    "find_contamination",
    "infrared_reading",
    "instrument_reading",
    "irradiance_from_loggers",
    "true_surface_temperature",
]


def _need(ok, sentence):
    if not np.all(ok):
        raise FieldkitError(sentence)


def correct_lag(readings, time_constant_s, *, window_s=None, interval_s=None, error_c=None):
    """Undo the lag of a slow thermometer: what it would have read had it followed at once.

    Parameters
    ----------
    readings : Series with a time index, DataArray with a ``time`` dimension, or 1-d array
        Readings (°C) at even steps. A gap (NaN) stays a gap; the correction does not reach across it. A DataArray may
        have other dimensions (one series each) and stays lazy on dask, in whatever chunks.
    time_constant_s : float
        Time (s) in which 63 % of a sudden change is shown.
    window_s : float, optional
        Length (s) of the stretch whose slope is taken; None: five steps. Longer is quieter and blurs quick changes.
    interval_s : float, optional
        Step between readings (s), only for a bare array.
    error_c : float, optional
        Standard error of one reading (°C), independent from reading to reading.

    Returns
    -------
    DataFrame or xarray.Dataset
        Dimensions and coordinates kept: ``corrected_c`` and, when `error_c` is given, ``error_c``: lag correction
        multiplies noise, and this says by how much.

    Raises
    ------
    FieldkitError
        Uneven steps, or a window shorter than three steps.

    Notes
    -----
    First-order instrument, τ dT/dt = T_true − T (the usual definition of a time constant); value and slope
    from a local parabola (Savitzky & Golay 1964, Analytical Chemistry 36:1627). The noise gain is the norm of the
    filter's weights.

    Examples
    --------
    >>> import numpy as np
    >>> minutes = np.arange(0, 60)
    >>> probe = 40 - 20 * np.exp(-minutes / 10)  # put into 40 °C; time constant ten minutes
    >>> float(correct_lag(probe, 600, interval_s=60)["corrected_c"].iloc[10].round(1))
    40.0
    """
    interval_s = _even_step(readings, interval_s)
    _need(time_constant_s >= 0, "The time constant must not be negative.")
    half = 2 if window_s is None else round(window_s / interval_s / 2)
    if half < 1:
        raise FieldkitError(f"The window must span at least three readings ({2 * interval_s:g} s).")
    weights = _lag_weights(half, time_constant_s / interval_s)
    names = ["corrected_c"] if error_c is None else ["corrected_c", "error_c"]
    if type(readings).__name__ == "DataArray":
        return _unlag_xarray(readings, weights, names, error_c)
    values = floats(readings)
    out = {name: _unlag(values, weights, None if name == "corrected_c" else error_c) for name in names}
    return pd.DataFrame(out, index=readings.index if isinstance(readings, pd.Series) else None)


def _even_step(readings, interval_s):
    """Seconds between readings, once they are known to be even."""
    if type(readings).__name__ == "DataArray":
        if "time" not in readings.dims:
            raise FieldkitError("Lag is corrected along a dimension named 'time', and this array has none.")
        index = pd.DatetimeIndex(readings.indexes["time"])
    elif isinstance(readings, pd.Series):
        index = readings.index
        if not isinstance(index, pd.DatetimeIndex):
            raise FieldkitError("The series needs times as its index, or give a bare array with interval_s=.")
    else:
        if interval_s is None:
            raise FieldkitError("Give interval_s=, the seconds between readings, when the readings carry no times.")
        return float(interval_s)
    steps = np.diff(index.as_unit("ns").asi8) / 1e9
    if not steps.size or not np.allclose(steps, steps[0], atol=1e-3):
        raise FieldkitError(
            "The readings are not at even steps: put them on an even grid first (Series.asfreq), which shows the gaps."
        )
    return float(steps[0])


def _lag_weights(half, lag_steps):
    """Filter for each place in a window: inside a stretch it is centred, near its ends it leans inwards."""
    from scipy.signal import savgol_coeffs

    size = 2 * half + 1

    def weights(position, deriv):
        return savgol_coeffs(size, 2, deriv=deriv, pos=position, use="dot")

    return np.array([weights(position, 0) + lag_steps * weights(position, 1) for position in range(size)])


def _unlag(values, weights, error_c=None):
    """Corrected readings along the last axis, or with `error_c` their standard error."""
    if values.ndim > 1:
        flat = [_unlag(row, weights, error_c) for row in values.reshape(-1, values.shape[-1])]
        return np.array(flat).reshape(values.shape)
    size, half = len(weights), len(weights) // 2
    out = np.full(values.shape, np.nan)
    edges = np.flatnonzero(np.diff(np.r_[False, np.isfinite(values), False]))
    for start, stop in zip(edges[::2], edges[1::2]):
        if stop - start < size:
            continue
        for position in range(size):
            if position < half:
                where = np.array([start + position])
            elif position > half:
                where = np.array([stop - size + position])
            else:
                where = np.arange(start + half, stop - half)
            if error_c is None:
                out[where] = values[where[:, None] - position + np.arange(size)] @ weights[position]
            else:
                out[where] = error_c * np.sqrt(np.sum(weights[position] ** 2))
    return out


_LAG_NAMES = {"corrected_c": "reading without its lag", "error_c": "standard error of the corrected reading"}


def _unlag_xarray(readings, weights, names, error_c):
    import xarray as xr

    last = readings.transpose(..., "time").astype(float)
    out = {}
    for name in names:
        error = None if name == "corrected_c" else error_c
        if last.chunks is None:
            data = _unlag(last.to_numpy(), weights, error)
        else:
            # A window on either side is all that a reading's answer depends on, ends of stretches included.
            depth = {last.ndim - 1: min(len(weights), last.sizes["time"])}
            data = last.data.map_overlap(
                _unlag, depth=depth, boundary="none", dtype=float, weights=weights, error_c=error
            )
        out[name] = last.copy(data=data).transpose(*readings.dims)
        out[name].attrs = {"units": "degC", "long_name": _LAG_NAMES[name]}
    return xr.Dataset(out)
