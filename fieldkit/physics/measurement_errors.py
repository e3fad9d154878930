"""Instrument errors carried through any formula."""

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError


def carry_errors(function, *, values, errors):
    """Carry instrument errors through any formula of this package (first order, independent errors).

    Parameters
    ----------
    function : callable
        Takes the names in `values` as keywords and returns one number, array or Series.
    values : dict of str to number, array or Series
        Readings.
    errors : dict of str to number, array or Series
        Standard error (one standard deviation) of each uncertain reading, in its own unit. A maker's "±0.5" without
        further words is a half-width: divide by √3.

    Returns
    -------
    pandas.DataFrame
        ``value``, ``error`` (one standard deviation) and, for each uncertain reading, ``share_<name>``: its part of
        the variance, which says what to measure better.

    Raises
    ------
    FieldkitError
        An error is named that is not among the values, or is negative.

    Notes
    -----
    Law of propagation of uncertainty, JCGM 100:2008 (GUM) eq. 10, with slopes from central differences one standard
    error wide (GUM 5.1.3, note 2).

    Examples
    --------
    >>> from fieldkit.physics.infrared import true_surface_temperature
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
    value = function(**values)
    index = value.index if isinstance(value, pd.Series) else None
    value = np.atleast_1d(np.asarray(value, dtype=float))
    parts = {}
    for name, error in errors.items():
        if np.any(np.asarray(error, dtype=float) < 0):
            raise FieldkitError(f"The error of '{name}' must not be negative.")
        parts[name] = np.broadcast_to(_slope_times_error(function, values, name, error, value), value.shape) ** 2
    variance = sum(parts.values(), np.zeros(value.shape))
    table = {"value": value, "error": np.sqrt(variance)}
    with np.errstate(invalid="ignore"):
        table |= {f"share_{name}": part / variance for name, part in parts.items()}
    return pd.DataFrame(table, index=index)


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
