"""Warming and cooling: how fast a body follows its operative temperature, exactly between the samples of a logger."""

import numpy as np

from fieldkit.core import FieldkitError, elementwise, floats
from fieldkit.physics.heat import energy_balance
from fieldkit.physics.limits import check_inputs

__all__ = [
    "body_temperature",
    "follow",
    "time_constant",
    "warming_curve",
]


@elementwise({"time_constant_s": {"units": "s", "long_name": "time constant"}}, static=("body",))
def time_constant(*, heat_loss_slope_w_m2_k, body):
    """Time (s) in which 63 % of a difference from operative temperature is gone.

    Parameters
    ----------
    heat_loss_slope_w_m2_k : array_like
        Rise of heat loss per kelvin (W/m²/K) from `heat.energy_balance`; wind, radiation and contact are in it.
    body : Body
        With mass, specific heat and area.

    Returns
    -------
    float, ndarray, Series or DataArray
        s.

    Raises
    ------
    FieldkitError
        When the body has no mass, specific heat or area.

    Notes
    -----
    τ = m c/(A h), a body of one temperature throughout: good while the heat inside moves faster than across the skin
    (Biot number h L/k below 0.1; Bergman et al. 2011, sec. 5.1). Blood flow is left out: many reptiles warm faster than
    they cool (Grigg, Drane & Courtice 1979 J. Therm. Biol. 4:95), some the other way (Daniels et al. 1987).

    Examples
    --------
    >>> from fieldkit.physics.heat import Body
    >>> lump = Body(characteristic_dimension_m=0.01, mass_kg=0.01, specific_heat_j_kg_k=3520.0, area_m2=46.416e-4)
    >>> round(time_constant(heat_loss_slope_w_m2_k=61.380, body=lump), 2)
    123.55
    """
    check_inputs(locals())
    return _capacity(body) / heat_loss_slope_w_m2_k


def _capacity(body):
    capacity = body.heat_capacity_j_m2_k
    if capacity is None:
        raise FieldkitError("Warming needs mass_kg, specific_heat_j_kg_k and area_m2 of the body.")
    return capacity


@elementwise({"body_temperature_c": {"units": "degC", "long_name": "temperature of the body"}})
def warming_curve(*, elapsed_s, start_temperature_c, operative_temperature_c, time_constant_s, ramp_c_per_s=0.0):
    """Temperature (°C) of a body some time after a start, while its operative temperature stays or rises steadily.

    Parameters
    ----------
    elapsed_s : array_like
        Time since the start (s).
    start_temperature_c, operative_temperature_c : array_like
        Of the body and of its place at the start (°C).
    time_constant_s : array_like
        s; see `time_constant`.
    ramp_c_per_s : array_like, optional
        Steady rise of the operative temperature (°C/s).

    Returns
    -------
    float, ndarray, Series or DataArray
        °C.

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Notes
    -----
    Exact solution of dT/dt = (Te - T)/τ with Te = Te0 + r t: T = Te - rτ + (T0 - Te0 + rτ) exp(-t/τ). In the long run
    the body lags by rτ.

    Examples
    --------
    >>> round(warming_curve(elapsed_s=600.0, start_temperature_c=20.0, operative_temperature_c=40.0,
    ...                     time_constant_s=600.0), 5)
    32.64241
    """
    check_inputs(locals())
    lag = ramp_c_per_s * time_constant_s
    start_gap = start_temperature_c - operative_temperature_c + lag
    return operative_temperature_c + ramp_c_per_s * elapsed_s - lag + start_gap * np.exp(-elapsed_s / time_constant_s)


def follow(operative_temperature_c, time_constant_s, *, step_s=None, start_temperature_c=None):
    """Body temperature (°C) that follows a logged operative temperature, exactly from sample to sample.

    Parameters
    ----------
    operative_temperature_c : ndarray, Series or DataArray
        Logged operative temperature (°C); time is the last axis of an array, the index of a Series, the dim ``time`` of
        a DataArray (any other dims are kept).
    time_constant_s : float or like the first
        s; one value, or one for every sample (the mean of two is taken between them).
    step_s : float, optional
        Seconds between samples; needed for bare arrays only.
    start_temperature_c : float, optional
        Body at the first sample (°C); in equilibrium unless given.

    Returns
    -------
    ndarray, Series or DataArray
        °C, NaN from the first missing value on (a gap cannot be bridged without a guess).

    Raises
    ------
    FieldkitError
        When the spacing of the samples is not known or does not rise.

    Notes
    -----
    The exact solution of dT/dt = (Te - T)/τ between samples joined by straight lines (algebra).
    Between samples the operative temperature runs straight, for which `warming_curve` is exact: no step is too long for
    the integration, only for the weather.

    Examples
    --------
    >>> follow(np.array([20.0, 40.0, 40.0]), 600.0, step_s=600.0).round(2).tolist()
    [20.0, 27.36, 35.35]
    """
    import pandas as pd

    if isinstance(operative_temperature_c, pd.Series):
        steps = _steps(operative_temperature_c.index)
        if isinstance(time_constant_s, pd.Series) and not time_constant_s.index.equals(operative_temperature_c.index):
            raise FieldkitError("The series do not have the same index: join them into one table first.")
        values = _follow(
            operative_temperature_c.to_numpy(dtype=float),
            np.asarray(time_constant_s, dtype=float),
            steps,
            start_temperature_c,
        )
        return pd.Series(values, index=operative_temperature_c.index, name="body_temperature_c")
    if hasattr(operative_temperature_c, "dims"):
        return _follow_dataarray(operative_temperature_c, time_constant_s, start_temperature_c)
    if step_s is None or not step_s > 0:
        raise FieldkitError("Give step_s, the seconds between two samples.")
    values = floats(operative_temperature_c)
    return _follow(
        values,
        floats(time_constant_s),
        np.full(max(values.shape[-1] - 1, 0), step_s),
        start_temperature_c,
    )


def _follow_dataarray(operative_temperature_c, time_constant_s, start_temperature_c):
    import xarray as xr

    steps = _steps(operative_temperature_c.indexes["time"])
    place = operative_temperature_c
    if place.chunks is not None:
        place = place.chunk({"time": -1})
    lag = time_constant_s
    if hasattr(lag, "dims") and "time" in lag.dims:
        lag = lag.chunk({"time": -1}) if lag.chunks is not None else lag
        core = ["time"]
    else:
        lag, core = xr.DataArray(lag) if not hasattr(lag, "dims") else lag, []
    result = xr.apply_ufunc(
        lambda te, tau: _follow(te, tau if core else np.asarray(tau)[..., None], steps, start_temperature_c),
        place,
        lag,
        input_core_dims=[["time"], core],
        output_core_dims=[["time"]],
        dask="parallelized",
        output_dtypes=[float],
        join="exact",
    )
    result = result.transpose(*operative_temperature_c.dims, ...).rename("body_temperature_c")
    result.attrs = {"units": "degC", "long_name": "temperature of the body"}
    return result


def _steps(index):
    import pandas as pd

    if not isinstance(index, pd.DatetimeIndex):
        raise FieldkitError(
            "The samples need times: give a Series with a DatetimeIndex or a DataArray with dim 'time'."
        )
    steps = np.diff(index.as_unit("ns").asi8) / 1e9
    if np.any(steps <= 0):
        raise FieldkitError("The times of the samples do not rise: sort them and remove repeated ones.")
    return steps


def _follow(operative_c, lag_s, steps, start_c):
    check_inputs({"time_constant_s": lag_s})
    lag_s = np.broadcast_to(lag_s, operative_c.shape)
    middle = 0.5 * (lag_s[..., 1:] + lag_s[..., :-1])
    kept = np.exp(-steps / middle)
    lag = np.diff(operative_c, axis=-1) / steps * middle
    # T[i+1] = kept T[i] + gained: the exact step for a straight line from sample to sample.
    gained = operative_c[..., 1:] - lag - kept * (operative_c[..., :-1] - lag)
    out = np.empty(operative_c.shape)
    if not operative_c.shape[-1]:
        return out
    now = operative_c[..., 0] if start_c is None else np.full(operative_c.shape[:-1], float(start_c))
    out[..., 0] = now
    if operative_c.ndim == 1:
        # Plain floats: a numpy call for every sample of a year of minutes would take seconds.
        now = float(now)
        run = [now]
        for a, b in zip(kept.tolist(), gained.tolist()):
            now = a * now + b
            run.append(now)
        return np.array(run)
    for i in range(steps.size):
        now = kept[..., i] * now + gained[..., i]
        out[..., i + 1] = now
    return out


def body_temperature(surroundings=None, *, body, step_s=None, start_temperature_c=None, **keywords):
    """Temperature (°C) of a body with heat capacity through a logged series of weather.

    Parameters
    ----------
    surroundings, body, **keywords
        As in `heat.energy_balance`; the air temperature carries the times. The body needs mass, specific heat and area.
    step_s, start_temperature_c : float, optional
        As in `follow`.

    Returns
    -------
    ndarray, Series or DataArray
        °C.

    Raises
    ------
    FieldkitError
        As `heat.energy_balance` and `follow`.

    Notes
    -----
    Operative temperature and time constant are worked out sample by sample and followed exactly. Heat loss is taken as
    linear about the operative temperature; against a full integration of the fluxes this errs by some 0.3 K at most
    while body and operative temperature are 20 K apart (tests/test_heat_warming.py).

    Examples
    --------
    >>> import pandas as pd
    >>> from fieldkit.physics.heat import lizard
    >>> air = pd.Series(20.0, index=pd.date_range("2024-06-01 10:00", periods=4, freq="10min", tz="UTC"))
    >>> body = lizard(length_m=0.07, mass_g=10.0, shortwave_absorptivity=0.87)
    >>> body_temperature(air_temperature_c=air, wind_speed_m_s=0.5, dni_w_m2=800.0, body=body,
    ...                  start_temperature_c=20.0).round(1).tolist()
    [20.0, 25.1, 26.3, 26.6]
    """
    balance = energy_balance(surroundings, body=body, **keywords)
    lag = _capacity(body) / balance["heat_loss_slope_w_m2_k"]
    return follow(balance["operative_temperature_c"], lag, step_s=step_s, start_temperature_c=start_temperature_c)
