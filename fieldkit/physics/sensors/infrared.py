"""Infrared thermometers: from a reading to the surface and back."""

import numpy as np

from fieldkit.core import FieldkitError, elementwise
from fieldkit.physics.heat.air import KELVIN
from fieldkit.physics.limits import check_inputs
from fieldkit.physics.spectrum.sources import blackbody_share, planck_below

_TEMPERATURE = {"units": "degC"}


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


def _signal(temperature_k, band_um):
    """Blackbody signal in units of σ; the whole spectrum is T⁴."""
    if band_um is None:
        return temperature_k**4
    low, high = band_um
    return temperature_k**4 * (planck_below(1000.0 * high, temperature_k) - planck_below(1000.0 * low, temperature_k))


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


@elementwise(
    {"band_share": {"units": "1", "long_name": "share of the radiation that the instrument sees"}}, static=("band_um",)
)
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

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Notes
    -----
    The integral of Planck's law by its series of exponentials, as textbooks of heat transfer give it; the tests
    integrate Planck's law numerically.

    Examples
    --------
    >>> round(blackbody_band_share(30.0), 4)
    0.3779
    """
    check_inputs(locals())
    _check_band(band_um)
    low, high = band_um
    return blackbody_share(temperature_c + KELVIN, 1000.0 * low, 1000.0 * high)


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
        Wavelengths (µm) the instrument sees, e.g. ``(8, 14)``. None: the whole spectrum, T⁴. Beside the 8–14 µm answer
        that reads, at emissivity 0.95, within 0.13 °C for surfaces of 0 to 80 °C that mirror 20 °C, and within 0.25 °C
        for those that mirror a clear sky of -40 °C; at 0.85 three times as much.

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
    The balance of an infrared thermometer (algebra; Stefan-Boltzmann law, Planck 1900).
    Signal balance S(T_reading) = ε S(T) + (1 − ε) S(T_reflected), S ∝ T⁴ (Stefan–Boltzmann law) or Planck's law
    integrated over the band; transmission of a few metres of air is taken as 1.

    Examples
    --------
    A rock that reads 60 °C, emissivity 0.90, mirroring surroundings at 20 °C:

    >>> round(true_surface_temperature(60.0, 0.90, 20.0), 2)
    63.65
    """
    check_inputs({k: v for k, v in locals().items() if k != "emissivity"})
    _check_emissivity(emissivity)
    _check_emissivity(set_emissivity, "set_emissivity")
    if band_um is not None:
        _check_band(band_um)
    reading_k, reflected_k = reading_c + KELVIN, reflected_temperature_c + KELVIN
    mirrored = _signal(reflected_k, band_um)
    seen = set_emissivity * _signal(reading_k, band_um) + (1 - set_emissivity) * mirrored
    own = (seen - (1 - emissivity) * mirrored) / emissivity
    own = np.where(own > 0, own, np.nan)
    return _temperature_of(own, band_um, reading_k) - KELVIN


@elementwise({"reading_c": _TEMPERATURE | {"long_name": "reading of the infrared thermometer"}}, static=("band_um",))
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

    Notes
    -----
    Stefan-Boltzmann or Planck; the signal balance of `true_surface_temperature`, the other way round (algebra).

    Examples
    --------
    Polished metal at 60 °C shows mostly its surroundings:

    >>> round(infrared_reading(60.0, 0.05, 20.0), 1)
    22.4
    """
    check_inputs({k: v for k, v in locals().items() if k != "emissivity"})
    _check_emissivity(emissivity)
    _check_emissivity(set_emissivity, "set_emissivity")
    if band_um is not None:
        _check_band(band_um)
    surface_k, reflected_k = surface_temperature_c + KELVIN, reflected_temperature_c + KELVIN
    mirrored = _signal(reflected_k, band_um)
    seen = emissivity * _signal(surface_k, band_um) + (1 - emissivity) * mirrored
    own = (seen - (1 - set_emissivity) * mirrored) / set_emissivity
    own = np.where(own > 0, own, np.nan)
    return _temperature_of(own, band_um, surface_k) - KELVIN
