"""Instrument errors carried through any formula."""

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, apply_elementwise, floats


def carry_errors(function, *, values, errors):
    """Carry instrument errors through any formula of this package (first order, independent errors).

    Parameters
    ----------
    function : callable
        Takes the names in `values` as keywords and returns one number, array, Series or DataArray.
    values : dict of str to number, array, Series or DataArray
        Readings.
    errors : dict of str to number, array, Series or DataArray
        Standard error (one standard deviation) of each uncertain reading, in its own unit. A maker's "±0.5" without
        further words is a half-width: divide by √3.

    Returns
    -------
    pandas.DataFrame, or xarray.Dataset when a reading is a DataArray (dims kept, lazy on dask)
        ``value``, ``error`` (one standard deviation) and, for each uncertain reading, ``share_<name>``: its part of
        the variance, which says what to measure better.

    Raises
    ------
    FieldkitError
        An error is named that is not among the values, or is negative; or bare arrays have more than one dimension.

    Notes
    -----
    Law of propagation of uncertainty, JCGM 100:2008 (GUM) eq. 10, with slopes from central differences one standard
    error wide (GUM 5.1.3, note 2).

    Examples
    --------
    >>> from fieldkit.physics.sensors.infrared import true_surface_temperature
    >>> carry_errors(
    ...     true_surface_temperature,
    ...     values={"reading_c": 50.0, "emissivity": 0.95, "reflected_temperature_c": 20.0},
    ...     errors={"reading_c": 0.5, "emissivity": 0.02, "reflected_temperature_c": 3.0},
    ... ).round(2).to_dict("records")
    [{'value': 51.36, 'error': 0.78, 'share_reading_c': 0.44, 'share_emissivity': 0.53, ...}]
    """
    unknown = [name for name in errors if name not in values]
    if unknown:
        raise FieldkitError(f"There is an error for '{unknown[0]}' but no value of that name.")
    if any(type(v).__name__ == "DataArray" for v in (*values.values(), *errors.values())):
        return _carry_on_dataarrays(function, values, errors)
    values = {k: floats(v) if isinstance(v, list | tuple | np.ma.MaskedArray) else v for k, v in values.items()}
    value = function(**values)
    index = value.index if isinstance(value, pd.Series) else None
    value = np.atleast_1d(np.asarray(value, dtype=float))
    if value.ndim > 1:
        raise FieldkitError("Arrays of readings must have one dimension; name the dimensions of others: a DataArray.")
    table = _carry(function, values, errors, value)
    return pd.DataFrame(table, index=index)


def _carry(function, values, errors, value):
    parts = {}
    for name, error in errors.items():
        if np.any(np.asarray(error, dtype=float) < 0):
            raise FieldkitError(f"The error of '{name}' must not be negative.")
        parts[name] = np.broadcast_to(_slope_times_error(function, values, name, error, value), value.shape) ** 2
    variance = sum(parts.values(), np.zeros(value.shape))
    table = {"value": value, "error": np.sqrt(variance)}
    with np.errstate(invalid="ignore"):
        return table | {f"share_{name}": part / variance for name, part in parts.items()}


def _carry_on_dataarrays(function, values, errors):
    """Chunk by chunk on bare arrays, so that an impossible side is seen where the numbers are."""
    units = getattr(function(**values), "attrs", {}).get("units", "1")
    outputs = {
        "value": {"units": units, "long_name": "value"},
        "error": {"units": units, "long_name": "standard error"},
    }
    outputs |= {f"share_{name}": {"units": "1", "long_name": f"share of the variance from {name}"} for name in errors}
    fixed = {k: v for k, v in values.items() if v is None or isinstance(v, str | bool)}
    varying = {k: v for k, v in values.items() if k not in fixed}

    def call(*arrays):
        read = dict(zip(varying, arrays))
        wrong = dict(zip(errors, arrays[len(read) :]))
        value = np.asarray(function(**read, **fixed), dtype=float)
        table = _carry(function, read | fixed, wrong, value)
        return tuple(table[name] for name in outputs)

    return apply_elementwise(call, varying | {f"error of {k}": v for k, v in errors.items()}, outputs)


def _slope_times_error(function, values, name, error, value):
    """Half the change over two standard errors; one-sided where one side is impossible (emissivity above 1)."""
    sides = []
    for sign in (1, -1):
        try:
            moved = function(**values | {name: values[name] + sign * error})
        except FieldkitError:
            continue
        sides.append(sign * (np.asarray(moved, dtype=float) - value))
    if not sides:
        raise FieldkitError(
            f"The error of '{name}' is so large that both value + error and value − error are impossible."
        )
    return np.mean(sides, axis=0)
