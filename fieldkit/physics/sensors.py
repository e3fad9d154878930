"""What an instrument reads, and what that says about the air, the surface and the sun.

A thermometer reports its own temperature. In the sun that is the temperature of a small warm object, not of the air.
This room predicts readings with the one heat balance (:mod:`fieldkit.physics.heat`), turns readings back into what was
wanted (surface temperature, absorbed sunlight, the unlagged value), carries instrument error through, and finds
"shade air" loggers that the sun has reached.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result, elementwise
from fieldkit.physics import heat
from fieldkit.physics.contamination import Contamination, find_contamination
from fieldkit.physics.logger_checks import LoggerCheck, by_role, check_loggers

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
    interval_s = _even_step(readings, interval_s)
    _need(time_constant_s >= 0, "The time constant must not be negative.")
    half = 2 if window_s is None else round(window_s / interval_s / 2)
    if half < 1:
        raise FieldkitError(f"The window must span at least three readings ({2 * interval_s:g} s).")
    weights = _lag_weights(half, time_constant_s / interval_s)
    names = ["corrected_c"] if error_c is None else ["corrected_c", "error_c"]
    if type(readings).__name__ == "DataArray":
        return _unlag_xarray(readings, weights, names, error_c)
    values = np.asarray(readings, dtype=float)
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
        out[name].attrs = {"units": "degC"}
    return xr.Dataset(out)


# ---------------------------------------------------------------------------------------------------------------------
# What an instrument reads


@dataclass(frozen=True, kw_only=True)
class Instrument:
    """A thermometer as an object in the heat balance, with what stands around it.

    Parameters
    ----------
    body : heat.Body
        The part that senses: size, absorptivity, emissivity.
    beam_share, sky_share : float
        Shares (0 to 1) of the beam, and of the light from sky and ground, that reach it through its shield.
    wind_share : float
        Share (0 to 1) of the wind outside that blows inside the shield.

    Raises
    ------
    FieldkitError
        A share outside 0 to 1.

    Examples
    --------
    >>> white = heat.probe(diameter_m=0.005, length_m=0.03, shortwave_absorptivity=0.3, emissivity=0.9)
    >>> Instrument(body=white, beam_share=0.0).wind_share
    1.0
    """

    body: heat.Body
    beam_share: float = 1.0
    sky_share: float = 1.0
    wind_share: float = 1.0

    def __post_init__(self):
        for name in ("beam_share", "sky_share", "wind_share"):
            if not 0 <= getattr(self, name) <= 1:
                raise FieldkitError(f"{name} is {getattr(self, name)}: it is a share and must lie between 0 and 1.")


def _bare(diameter_m, length_m, absorptivity, emissivity):
    return Instrument(
        body=heat.probe(
            diameter_m=diameter_m, length_m=length_m, shortwave_absorptivity=absorptivity, emissivity=emissivity
        )
    )


# Sizes and surfaces of usual instruments: common practice, no source. State your own for your own instruments.
INSTRUMENTS = {
    "shielded probe": Instrument(
        body=heat.probe(diameter_m=0.005, length_m=0.03, shortwave_absorptivity=0.4, emissivity=0.5),
        beam_share=0.0,
        sky_share=0.1,
        wind_share=0.5,
    ),
    "bare steel probe": _bare(0.005, 0.03, 0.4, 0.2),
    "bare white probe": _bare(0.005, 0.03, 0.3, 0.9),
    "bare black probe": _bare(0.005, 0.03, 0.95, 0.95),
    "logger box": _bare(0.035, 0.05, 0.6, 0.9),
    "dial thermometer": Instrument(
        body=heat.Body(
            characteristic_dimension_m=0.07,
            shape="plate",
            shortwave_absorptivity=0.6,
            emissivity=0.9,
            silhouette_fraction=0.35,
        )
    ),
    "black globe": Instrument(body=heat.globe(diameter_m=0.15)),
    "copper model": Instrument(body=heat.copper_model(length_m=0.07, diameter_m=0.015, shortwave_absorptivity=0.87)),
}


@elementwise({"reading_c": _TEMPERATURE}, static=("instrument",))
def instrument_reading(
    *,
    instrument,
    air_temperature_c,
    wind_speed_m_s,
    dni_w_m2=0.0,
    dhi_w_m2=0.0,
    ground_upwelling_w_m2=0.0,
    sky_longwave_w_m2=None,
    ground_temperature_c=None,
    turbulence_factor=1.0,
):
    """What an instrument reads once it has come to rest: its own temperature in the heat balance.

    Parameters
    ----------
    instrument : Instrument
        One of ``INSTRUMENTS`` or your own.
    air_temperature_c, wind_speed_m_s : scalar, array, Series or DataArray
        Air temperature (°C) and wind (m/s) at the instrument.
    dni_w_m2, dhi_w_m2, ground_upwelling_w_m2 : scalar, array, Series or DataArray
        Beam across its rays, light of the sky and of the ground (W/m²), as `fieldkit.physics.sun` gives them. In shade:
        no beam.
    sky_longwave_w_m2, ground_temperature_c, turbulence_factor
        See `heat.energy_balance`.

    Returns
    -------
    same kind as the input
        Reading (°C).

    Examples
    --------
    >>> sun = {"air_temperature_c": 25.0, "wind_speed_m_s": 0.5, "dni_w_m2": 800.0, "dhi_w_m2": 100.0}
    >>> names = "shielded probe", "black globe"
    >>> [round(instrument_reading(instrument=INSTRUMENTS[name], **sun), 1) for name in names]
    [25.1, 42.5]
    """
    return heat.operative_temperature(
        air_temperature_c=air_temperature_c,
        wind_speed_m_s=wind_speed_m_s * instrument.wind_share,
        body=instrument.body,
        dni_w_m2=dni_w_m2 * instrument.beam_share,
        dhi_w_m2=dhi_w_m2 * instrument.sky_share,
        ground_upwelling_w_m2=ground_upwelling_w_m2 * instrument.sky_share,
        sky_longwave_w_m2=sky_longwave_w_m2,
        ground_temperature_c=ground_temperature_c,
        turbulence_factor=turbulence_factor,
    )


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class InstrumentComparison(Result):
    """What each instrument reads in the sun and in the shade of the same air; `.table` has a row for each."""

    table: pd.DataFrame
    air_temperature_c: float
    sentence: str


def compare_instruments(
    instruments=None,
    *,
    air_temperature_c,
    wind_speed_m_s,
    dni_w_m2,
    dhi_w_m2,
    ground_upwelling_w_m2=0.0,
    sky_longwave_w_m2=None,
    shade_light_share=0.3,
    wind_error_share=0.3,
    absorptivity_error=0.05,
    convection_error_share=0.15,
):
    """Predict the sun-against-shade experiment: the same instruments, the same air, with and without the beam.

    Parameters
    ----------
    instruments : dict of str to Instrument, optional
        None: ``INSTRUMENTS``.
    air_temperature_c, wind_speed_m_s, dni_w_m2, dhi_w_m2, ground_upwelling_w_m2, sky_longwave_w_m2 : float
        Weather at the instruments, see `instrument_reading`.
    shade_light_share : float
        Share of sky and ground light that is left in the shade (common practice, no source: 0.1 under dense leaves to
        0.6 behind a post).
    wind_error_share, absorptivity_error, convection_error_share : float
        Standard errors: of the wind (share of it), of the absorptivity (as such), and of convection (the correlations
        of the literature differ by some 15 %).

    Returns
    -------
    InstrumentComparison
        ``.table``: ``instrument, in_sun_c, in_shade_c, difference_c, difference_error_c, above_air_c``.

    Examples
    --------
    >>> day = compare_instruments(air_temperature_c=25.0, wind_speed_m_s=1.0, dni_w_m2=850.0, dhi_w_m2=100.0)
    >>> bool(day.table.set_index("instrument").loc["black globe", "difference_c"] > 8)
    True
    """
    instruments = INSTRUMENTS if instruments is None else instruments
    rows = []
    for name, instrument in instruments.items():
        lit = {"dni_w_m2": dni_w_m2, "dhi_w_m2": dhi_w_m2, "ground_upwelling_w_m2": ground_upwelling_w_m2}
        shade = {k: v * shade_light_share for k, v in lit.items()} | {"dni_w_m2": 0.0}

        def reading(wind, paint, stirring, light, sky, instrument=instrument):
            # Light times a factor stands for another paint.
            return instrument_reading(
                instrument=instrument,
                air_temperature_c=air_temperature_c,
                wind_speed_m_s=wind,
                **{k: v * paint for k, v in light.items()},
                sky_longwave_w_m2=sky,
                turbulence_factor=stirring,
            )

        def difference(wind, paint, stirring, reading=reading, lit=lit, shade=shade):
            bare = reading(wind, paint, stirring, lit, sky_longwave_w_m2)
            return bare - reading(wind, paint, stirring, shade, None)

        carried = carry_errors(
            difference,
            values={"wind": wind_speed_m_s, "paint": 1.0, "stirring": 1.0},
            errors={
                "wind": wind_error_share * wind_speed_m_s,
                "paint": absorptivity_error / max(instrument.body.shortwave_absorptivity, 1e-6),
                "stirring": convection_error_share,
            },
        )
        in_sun = reading(wind_speed_m_s, 1.0, 1.0, lit, sky_longwave_w_m2)
        rows.append(
            {
                "instrument": name,
                "in_sun_c": in_sun,
                "in_shade_c": reading(wind_speed_m_s, 1.0, 1.0, shade, None),
                "difference_c": carried["value"].iloc[0],
                "difference_error_c": carried["error"].iloc[0],
                "above_air_c": in_sun - air_temperature_c,
            }
        )
    table = pd.DataFrame(rows)
    low, high = table.loc[table["in_sun_c"].idxmin()], table.loc[table["in_sun_c"].idxmax()]
    sentence = (
        f"In the same air at {air_temperature_c:.1f} °C, in the same sun, the readings differ by "
        f"{high['in_sun_c'] - low['in_sun_c']:.1f} °C: the {low['instrument']} shows {low['in_sun_c']:.1f} °C and the "
        f"{high['instrument']} {high['in_sun_c']:.1f} °C."
    )
    return InstrumentComparison(table=table, air_temperature_c=float(air_temperature_c), sentence=sentence)


def absorbed_irradiance(
    *,
    sunlit_c,
    shaded_c,
    wind_speed_m_s,
    body,
    apparent_zenith_deg,
    diffuse_fraction=0.2,
    ground_albedo=0.2,
    reading_error_c=0.2,
    wind_error_m_s=0.3,
    absorptivity_error=0.05,
    diffuse_error=0.1,
    convection_error_share=0.15,
):
    """Irradiance from a pair of equal probes, one in the sun and one in the shade beside it.

    Parameters
    ----------
    sunlit_c, shaded_c : scalar, array or Series
        Readings (°C), both at rest.
    wind_speed_m_s : scalar, array or Series
        Wind at the probes (m/s).
    body : heat.Body
        Both probes.
    apparent_zenith_deg : scalar, array or Series
        Of the sun (°), from `fieldkit.physics.sun.position`. NaN comes out with the sun less than 10° high.
    diffuse_fraction, ground_albedo : scalar, array or Series
        Share of the sky in the irradiance of level ground (0.1 to 0.2 under a clear sky, 1 under cloud), and the share
        that the ground sends back.
    reading_error_c, wind_error_m_s, absorptivity_error, diffuse_error, convection_error_share : float
        Standard errors: of each reading (°C), of the wind (m/s), of the absorptivity and the diffuse fraction (as
        such) and of convection (share; the correlations of the literature differ by some 15 %).

    Returns
    -------
    DataFrame
        ``irradiance_w_m2`` of level ground and its ``error_w_m2``; ``absorbed_w_m2``, radiation that the sunlit probe
        absorbs beyond the shaded one, per m² of its surface; and ``share_<source>`` of the variance: what to measure
        better.

    Raises
    ------
    FieldkitError
        A body that absorbs no sunlight.

    Notes
    -----
    The heat balance turned round: the shaded probe stands for air and surroundings, so what the sunlit one loses to
    them at its own temperature is what it absorbs, and with absorptivity α, silhouette s, views v and diffuse fraction
    k, absorbed = α GHI (s (1 − k)/cos(zenith) + v_sky k + v_ground albedo). An open sky above the sunlit probe only
    lowers the answer: the absorbed radiation by emissivity times sky view times what the sky lacks against the air
    (some 100 W/m² when clear). Slope times error holds for small errors: with a difference no larger than its error,
    read "no sun to some sun".

    Examples
    --------
    >>> black = heat.probe(diameter_m=0.01, length_m=0.05, shortwave_absorptivity=0.95, emissivity=0.95)
    >>> seen = absorbed_irradiance(sunlit_c=34.0, shaded_c=25.0, wind_speed_m_s=0.5, body=black, apparent_zenith_deg=30)
    >>> seen[["irradiance_w_m2", "error_w_m2"]].round(-1).astype(int).to_numpy().tolist()
    [[660, 190]]
    """
    if body.shortwave_absorptivity <= 0:
        raise FieldkitError("A probe that absorbs no sunlight cannot measure it: use a dark one.")

    def absorbed(sunlit, shaded, wind, stirring):
        state = {"air_temperature_c": shaded, "wind_speed_m_s": wind, "body": body, "turbulence_factor": stirring}
        return -np.asarray(heat.fluxes(temperature_c=sunlit, **state)["net_w_m2"])

    def irradiance(sunlit, shaded, wind, stirring, absorptivity, diffuse):
        per_level = (
            body.silhouette_fraction * (1 - diffuse) / cosine
            + body.sky_view_factor * diffuse
            + body.ground_view_factor * ground_albedo
        )
        return absorbed(sunlit, shaded, wind, stirring) / (absorptivity * per_level)

    given = (sunlit_c, shaded_c, wind_speed_m_s, apparent_zenith_deg)
    index = next((v.index for v in given if isinstance(v, pd.Series)), None)
    sunlit, shaded, wind, zenith = (np.asarray(v, dtype=float) for v in given)
    ground_albedo = np.asarray(ground_albedo, dtype=float)
    cosine = np.where(zenith <= 80, np.cos(np.radians(zenith)), np.nan)
    diffuse = np.asarray(diffuse_fraction, dtype=float)
    values = {"sunlit": sunlit, "shaded": shaded, "wind": wind, "stirring": 1.0}
    values |= {"absorptivity": body.shortwave_absorptivity, "diffuse": diffuse}
    errors = {
        "sunlit": reading_error_c,
        "shaded": reading_error_c,
        # Wind cannot fall below nothing, nor the diffuse share below 0.
        "wind": np.minimum(wind_error_m_s, wind),
        "stirring": convection_error_share,
        "absorptivity": absorptivity_error,
        "diffuse": np.minimum(diffuse_error, np.minimum(diffuse, 1 - diffuse)),
    }
    table = carry_errors(irradiance, values=values, errors=errors)
    table = table.rename(columns={"value": "irradiance_w_m2", "error": "error_w_m2"})
    table.insert(2, "absorbed_w_m2", np.atleast_1d(absorbed(sunlit, shaded, wind, 1.0)))
    return table if index is None else table.set_index(index)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class ProbeIrradiance(Result):
    """Irradiance from a sunlit and a shaded logger, beside the pyranometer's where there is one.

    Attributes
    ----------
    table : DataFrame
        By time: the columns of `absorbed_irradiance` and ``measured_w_m2`` (NaN without a pyranometer).
    bias_w_m2, rmse_w_m2, covered : float
        Against the pyranometer: mean difference, root mean square difference, share of readings inside the stated 95 %.
    """

    table: pd.DataFrame
    bias_w_m2: float
    rmse_w_m2: float
    covered: float

    @property
    def sentence(self):
        words = f"{len(self.table)} readings of two probes give the irradiance, with a median error of "
        words += f"{self.table['error_w_m2'].median():.0f} W/m²"
        if np.isnan(self.bias_w_m2):
            return words + "; there is no pyranometer to check them against."
        return words + (
            f"; against the pyranometer they are {self.bias_w_m2:+.0f} W/m² off on average, RMSE "
            f"{self.rmse_w_m2:.0f} W/m², and {100 * self.covered:.0f} % lie within their stated 95 % limits."
        )


def irradiance_from_loggers(
    loggers, logger_info, site, *, body=None, logger_id=None, diffuse_fraction=0.3, ground_albedo=0.2
):
    """Use an exposed probe and a shade air logger of a season as a sun meter.

    Parameters
    ----------
    loggers, logger_info : DataFrame
        As a season holds them; roles ``exposed_probe``, ``shade_air`` and ``wind`` are needed, ``irradiance`` is the
        check.
    site : object
        With ``latitude_deg, longitude_deg, elevation_m``.
    body : heat.Body, optional
        The exposed probe. None: a cylinder 3 cm long, emissivity 0.9, of the size and absorptivity
        stated for the logger.
    logger_id : sequence of str, optional
        Which loggers to use where several have a role; None: the first of each.
    diffuse_fraction : float
        Share of the sky in the light of level ground, an average over clear and cloudy hours.
    ground_albedo : float
        Share of the light that the ground sends back.

    Returns
    -------
    ProbeIrradiance

    Raises
    ------
    FieldkitError
        When a role is missing, or the size or absorptivity of the probe is not stated.

    Examples
    --------
    >>> times = pd.date_range("2024-06-21 10:00", periods=3, freq="1h", tz="Etc/GMT+5")
    >>> names = ["lit", "shade", "wind"]
    >>> value = [30.0, 25.0, 0.5]
    >>> loggers = pd.concat([pd.DataFrame({"time": times, "logger_id": n, "value": v}) for n, v in zip(names, value)])
    >>> info = pd.DataFrame({"logger_id": names, "role": ["exposed_probe", "shade_air", "wind"], "error": 0.2})
    >>> info["size_m"], info["shortwave_absorptivity"] = 0.005, 0.9
    >>> from types import SimpleNamespace
    >>> site = SimpleNamespace(latitude_deg=36.0, longitude_deg=-80.0, elevation_m=0.0)
    >>> irradiance_from_loggers(loggers, info, site).sentence
    '3 readings of two probes give the irradiance, ...; there is no pyranometer to check them against.'
    """
    from fieldkit.physics import sun

    columns = {}
    for role in ("exposed_probe", "shade_air", "wind", "irradiance"):
        wide = by_role(loggers, logger_info, role)
        chosen = [name for name in wide.columns if logger_id is None or name in logger_id]
        if chosen:
            columns[role] = wide[chosen[0]]
        elif role != "irradiance":
            raise FieldkitError(f"No logger has the role '{role}': two probes and the wind are needed.")
    pair = pd.DataFrame(columns).dropna(subset=["exposed_probe", "shade_air", "wind"])
    info = logger_info.set_index("logger_id").loc[columns["exposed_probe"].name]
    if body is None:
        size, paint = info.get("size_m", np.nan), info.get("shortwave_absorptivity", np.nan)
        if not (size > 0 and paint > 0):
            raise FieldkitError(
                f"State size_m and shortwave_absorptivity of '{info.name}' in season.toml, or give body=."
            )
        body = heat.probe(diameter_m=size, length_m=0.03, shortwave_absorptivity=paint, emissivity=0.9)
    place = {name: getattr(site, name) for name in ("latitude_deg", "longitude_deg", "elevation_m")}
    zenith = sun.position(pair.index, **place)["apparent_zenith_deg"]
    pair = pair[zenith < 80]
    given = {
        "sunlit_c": pair["exposed_probe"],
        "shaded_c": pair["shade_air"],
        "wind_speed_m_s": pair["wind"],
        "body": body,
        "apparent_zenith_deg": zenith[zenith < 80],
        "ground_albedo": ground_albedo,
    }
    given |= {"reading_error_c": float(info.get("error", 0.2))}
    table = absorbed_irradiance(**given, diffuse_fraction=diffuse_fraction)
    table["measured_w_m2"] = pair.get("irradiance", np.nan)
    off = (table["irradiance_w_m2"] - table["measured_w_m2"]).dropna()
    inside = off.abs() <= 1.96 * table.loc[off.index, "error_w_m2"]
    return ProbeIrradiance(
        table=table,
        bias_w_m2=float(off.mean()) if len(off) else np.nan,
        rmse_w_m2=float(np.sqrt((off**2).mean())) if len(off) else np.nan,
        covered=float(inside.mean()) if len(off) else np.nan,
    )
