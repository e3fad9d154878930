"""What an instrument reads, and what that says about the air, the surface and the sun.

A thermometer reports its own temperature. In the sun that is the temperature of a small warm object, not of the air.
This room predicts readings with the one heat balance (:mod:`fieldkit.physics.heat`), turns readings back into what was
wanted (surface temperature, absorbed sunlight, the unlagged value), carries instrument error through, and finds
"shade air" loggers that the sun has reached.
"""

import numpy as np

from fieldkit.core import FieldkitError, elementwise

ZERO_CELSIUS_K = 273.15
# CODATA 2018: second radiation constant h c / k in µm K (exact since the 2019 SI).
SECOND_RADIATION_UM_K = 14387.768775039337

_TEMPERATURE = {"units": "degC"}


# ---------------------------------------------------------------------------------------------------------------------
# Infrared thermometers


def _need(ok, sentence):
    if not np.all(ok):
        raise FieldkitError(sentence)


def _check_emissivity(emissivity, name="emissivity"):
    values = np.asarray(emissivity, dtype=float)
    _need(
        np.isnan(values) | ((values > 0) & (values <= 1)),
        f"{name} must be above 0 and at most 1: look it up as a range for the material, or measure it with a piece of "
        "matt tape on the surface.",
    )


def _check_band(band_um):
    if len(band_um) != 2 or not 0 < band_um[0] < band_um[1]:
        raise FieldkitError("band_um needs two wavelengths in micrometres, the shorter first, for example (8, 14).")


def _band_fraction(temperature_k, wavelength_um):
    """Fraction of blackbody power below a wavelength: the series of Chang & Rhee (1984)."""
    x = SECOND_RADIATION_UM_K / (wavelength_um * temperature_k)
    n = np.arange(1, 21).reshape(-1, *[1] * np.ndim(x))
    terms = np.exp(-n * x) * (x**3 / n + 3 * x**2 / n**2 + 6 * x / n**3 + 6 / n**4)
    return 15 / np.pi**4 * terms.sum(axis=0)


def _signal(temperature_k, band_um):
    """Blackbody signal in units of σ; the whole spectrum is T⁴."""
    if band_um is None:
        return temperature_k**4
    low, high = band_um
    return temperature_k**4 * (_band_fraction(temperature_k, high) - _band_fraction(temperature_k, low))


def _temperature_of(signal, band_um, start_k):
    """Invert `_signal`; Newton on the logarithm, where the band signal is nearly a power law."""
    if band_um is None:
        return signal**0.25
    temperature_k = np.broadcast_to(start_k, np.shape(signal)).astype(float)
    for _ in range(30):
        step = 1e-5 * temperature_k
        value = np.log(_signal(temperature_k, band_um))
        slope = (np.log(_signal(temperature_k + step, band_um)) - np.log(_signal(temperature_k - step, band_um))) / 2e-5
        temperature_k = temperature_k * np.exp(np.clip((np.log(signal) - value) / slope, -0.5, 0.5))
    return temperature_k


@elementwise({"band_share": {"units": "1"}}, static=("band_um",))
def blackbody_band_share(temperature_c, *, band_um=(8.0, 14.0)):
    """Share of a blackbody's radiation that falls in the band an infrared thermometer sees.

    Parameters
    ----------
    temperature_c : scalar, array, Series or DataArray
        Temperature (°C).
    band_um : tuple of float
        Shorter and longer wavelength (µm).

    Returns
    -------
    same kind as the input
        Share, 0 to 1.

    Notes
    -----
    Series for the integral of Planck's law: Chang, S. L. and Rhee, K. T. (1984), "Blackbody radiation functions",
    International Communications in Heat and Mass Transfer 11:451–455 (citation from memory; the tests integrate
    Planck's law numerically).

    Examples
    --------
    >>> round(blackbody_band_share(30.0), 4)
    0.3779
    """
    _check_band(band_um)
    temperature_k = temperature_c + ZERO_CELSIUS_K
    return _band_fraction(temperature_k, band_um[1]) - _band_fraction(temperature_k, band_um[0])


@elementwise(
    {"surface_temperature_c": _TEMPERATURE | {"standard_name": "surface_temperature"}},
    static=("band_um",),
)
def true_surface_temperature(reading_c, emissivity, reflected_temperature_c, *, set_emissivity=1.0, band_um=None):
    """Surface temperature from an infrared thermometer's reading, its emissivity and what it mirrors.

    Parameters
    ----------
    reading_c : scalar, array, Series or DataArray
        Reading (°C).
    emissivity : scalar, array, Series or DataArray
        Emissivity of the surface in the instrument's band (0 to 1].
    reflected_temperature_c : scalar, array, Series or DataArray
        Blackbody temperature (°C) of what the surface mirrors: read it off crumpled aluminium foil laid on the surface,
        with the instrument set to 1. Under a clear sky it is far below the air temperature.
    set_emissivity : scalar, array, Series or DataArray
        Emissivity the instrument was set to (many are fixed at 0.95). The instrument is taken to assume the same
        reflected temperature.
    band_um : tuple of float, optional
        Wavelengths (µm) the instrument sees, e.g. ``(8, 14)``. None: the whole spectrum, T⁴, which differs from the
        8–14 µm answer by 0.01–0.12 °C between 40 and 60 °C readings at emissivity 0.90–0.95.

    Returns
    -------
    same kind as the input
        Surface temperature (°C). NaN where the reading is impossible: less radiation than the reflection alone.

    Raises
    ------
    FieldkitError
        Emissivity outside (0, 1].

    Notes
    -----
    Signal balance S(T_reading) = ε S(T) + (1 − ε) S(T_reflected), S ∝ T⁴ (Stefan–Boltzmann law) or Planck's law
    integrated over the band; transmission of a few metres of air is taken as 1. ASTM E1933 and ISO 18434-1 describe
    the same balance (from memory).

    Examples
    --------
    A rock that reads 60 °C, emissivity 0.90, mirroring surroundings at 20 °C:

    >>> round(true_surface_temperature(60.0, 0.90, 20.0), 2)
    63.65
    """
    _check_emissivity(emissivity)
    _check_emissivity(set_emissivity, "set_emissivity")
    if band_um is not None:
        _check_band(band_um)
    reading_k, reflected_k = reading_c + ZERO_CELSIUS_K, reflected_temperature_c + ZERO_CELSIUS_K
    mirrored = _signal(reflected_k, band_um)
    seen = set_emissivity * _signal(reading_k, band_um) + (1 - set_emissivity) * mirrored
    own = (seen - (1 - emissivity) * mirrored) / emissivity
    own = np.where(own > 0, own, np.nan)
    return _temperature_of(own, band_um, reading_k) - ZERO_CELSIUS_K


@elementwise({"reading_c": _TEMPERATURE}, static=("band_um",))
def infrared_reading(surface_temperature_c, emissivity, reflected_temperature_c, *, set_emissivity=1.0, band_um=None):
    """What an infrared thermometer reads: the inverse of :func:`true_surface_temperature`, same parameters.

    Parameters
    ----------
    surface_temperature_c, emissivity, reflected_temperature_c : scalar, array, Series or DataArray
        Surface (°C), its emissivity (0 to 1], and the temperature it mirrors (°C).
    set_emissivity : scalar, array, Series or DataArray
        Emissivity the instrument is set to.
    band_um : tuple of float, optional
        Wavelengths (µm) the instrument sees; None: the whole spectrum.

    Returns
    -------
    same kind as the input
        Reading (°C).

    Raises
    ------
    FieldkitError
        Emissivity outside (0, 1].

    Examples
    --------
    Polished metal at 60 °C shows mostly its surroundings:

    >>> round(infrared_reading(60.0, 0.05, 20.0), 1)
    22.4
    """
    _check_emissivity(emissivity)
    _check_emissivity(set_emissivity, "set_emissivity")
    if band_um is not None:
        _check_band(band_um)
    surface_k, reflected_k = surface_temperature_c + ZERO_CELSIUS_K, reflected_temperature_c + ZERO_CELSIUS_K
    mirrored = _signal(reflected_k, band_um)
    seen = emissivity * _signal(surface_k, band_um) + (1 - emissivity) * mirrored
    own = (seen - (1 - set_emissivity) * mirrored) / set_emissivity
    own = np.where(own > 0, own, np.nan)
    return _temperature_of(own, band_um, surface_k) - ZERO_CELSIUS_K


# ---------------------------------------------------------------------------------------------------------------------
# Errors carried through


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
    >>> carry_errors(
    ...     true_surface_temperature,
    ...     values={"reading_c": 50.0, "emissivity": 0.95, "reflected_temperature_c": 20.0},
    ...     errors={"reading_c": 0.5, "emissivity": 0.02, "reflected_temperature_c": 3.0},
    ... ).round(2).to_dict("records")
    [{'value': 51.36, 'error': 0.78, 'share_reading_c': 0.45, 'share_emissivity': 0.53, ...}]
    """
    import pandas as pd

    unknown = [name for name in errors if name not in values]
    if unknown:
        raise FieldkitError(f"There is an error for '{unknown[0]}' but no value of that name.")
    value = function(**values)
    index = value.index if isinstance(value, pd.Series) else None
    value = np.atleast_1d(np.asarray(value, dtype=float))
    parts = {}
    for name, error in errors.items():
        _need(np.asarray(error, dtype=float) >= 0, f"The error of '{name}' must not be negative.")
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


# ---------------------------------------------------------------------------------------------------------------------
# Lag


def correct_lag(readings, time_constant_s, *, window_s=None, interval_s=None, error_c=None):
    """Undo the lag of a slow thermometer: what it would have read had it followed at once.

    Parameters
    ----------
    readings : Series with a time index, DataArray with a ``time`` dimension, or 1-d array
        Readings (°C) at even steps. A gap (NaN) stays a gap; the correction does not reach across it.
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
        ``corrected_c`` and, when `error_c` is given, ``error_c``: lag correction multiplies noise, and this says by
        how much.

    Raises
    ------
    FieldkitError
        Uneven steps, or a window shorter than three steps.

    Notes
    -----
    First-order instrument, τ dT/dt = T_true − T (e.g. WMO-No. 8, annex on time constants, from memory); value and slope
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
    import pandas as pd
    from scipy.signal import savgol_coeffs

    values, interval_s, dress = _even_series(readings, interval_s)
    _need(time_constant_s >= 0, "The time constant must not be negative.")
    half = 2 if window_s is None else round(window_s / interval_s / 2)
    if half < 1:
        raise FieldkitError(f"The window must span at least three readings ({2 * interval_s:g} s).")
    size = 2 * half + 1
    degree = min(2, size - 1)
    corrected = np.full(values.shape, np.nan)
    gain = np.full(values.shape, np.nan)
    present = np.isfinite(values)
    edges = np.flatnonzero(np.diff(np.r_[False, present, False]))
    for start, stop in zip(edges[::2], edges[1::2]):
        if stop - start < size:
            continue
        for position in range(size):
            # Inside a stretch the window is centred; near its ends it leans inwards.
            weights = savgol_coeffs(size, degree, pos=position, use="dot")
            weights = weights + time_constant_s / interval_s * savgol_coeffs(
                size, degree, deriv=1, pos=position, use="dot"
            )
            if position < half:
                where = np.array([start + position])
            elif position > half:
                where = np.array([stop - size + position])
            else:
                where = np.arange(start + half, stop - half)
            windows = values[where[:, None] - position + np.arange(size)]
            corrected[where] = windows @ weights
            gain[where] = np.sqrt(np.sum(weights**2))
    out = {"corrected_c": corrected}
    if error_c is not None:
        out["error_c"] = gain * error_c
    if dress is None:
        return pd.DataFrame(out)
    return dress(out)


def _even_series(readings, interval_s):
    """Values, step in seconds, and how to give the answer the container that came."""
    import pandas as pd

    if type(readings).__name__ == "DataArray":
        if readings.dims != ("time",):
            raise FieldkitError("Lag is corrected along one dimension named 'time': select one series first.")
        index = pd.DatetimeIndex(readings["time"].values)

        def dress(out):
            import xarray as xr

            data = {k: ("time", v, {"units": "degC"}) for k, v in out.items()}
            return xr.Dataset(data, coords={"time": readings["time"]})

        values = readings.to_numpy()
    elif isinstance(readings, pd.Series):
        index, values = readings.index, readings.to_numpy()

        def dress(out):
            return pd.DataFrame(out, index=readings.index)

        if not isinstance(index, pd.DatetimeIndex):
            raise FieldkitError("The series needs times as its index, or give a bare array with interval_s=.")
    else:
        if interval_s is None:
            raise FieldkitError("Give interval_s=, the seconds between readings, when the readings carry no times.")
        return np.asarray(readings, dtype=float), float(interval_s), None
    steps = np.diff(index.as_unit("ns").asi8) / 1e9
    if not steps.size or not np.allclose(steps, steps[0], atol=1e-3):
        raise FieldkitError(
            "The readings are not at even steps: put them on an even grid first (Series.asfreq), which shows the gaps."
        )
    return np.asarray(values, dtype=float), float(steps[0]), dress
