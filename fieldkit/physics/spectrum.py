"""Colour of sun and lamps: bands, weightings, reference sunlight, clear-sky spectra, hot bodies, lamp against sun.

A spectrum is a Series indexed by wavelength (nm, increasing) or a DataArray with a ``wavelength_nm`` dimension; its
values are per nanometre (W/m²/nm for irradiance). Every integral is the exact integral of the straight lines between
its points, so it is a weighted sum of them: the same weights serve one spectrum, a season of them, and a lazy dask
array. Bands are named with their limits, because the limits differ from book to book: UV-B up to 320 nm holds 2.2 times
the power of UV-B up to 315 nm in standard sunlight.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import constants

from fieldkit.core import FieldkitError, Result, elementwise
from fieldkit.physics import sun

# CIE e-ILV 17-21-003 ff. (ultraviolet and infrared), visible taken from 400 to 780 nm so that no light counts twice.
BANDS = {
    "UV-B": (280.0, 315.0),
    "UV-A": (315.0, 400.0),
    "visible": (400.0, 780.0),
    "IR-A": (780.0, 1400.0),
    "IR-B": (1400.0, 3000.0),
}
UV_INDEX_PER_W_M2 = 40.0  # CIE e-ILV 17-26-073; WHO (2002), Global solar UV index
STANDARD_ERYTHEMA_DOSE_J_M2 = 100.0  # ISO/CIE 17166:2019
UV_HAZARD_LIMIT_J_M2 = 30.0  # skin and eye, weighted, 8 h: ICNIRP (2004), Health Physics 87:171-186
UVA_EYE_LIMIT_J_M2 = 1e4  # eye, 315-400 nm unweighted, 8 h: ICNIRP (2004), from memory

# Photopic luminous efficiency V, 380 (5) 780 nm: CIE 018:2019, the y curve of the CIE 1931 2-degree observer.
_V_NM = np.arange(380.0, 781.0, 5.0)
# fmt: off
_V = np.array([
    3.9e-05, 6.4e-05, 0.00012, 0.000217, 0.000396, 0.00064, 0.00121, 0.00218, 0.004, 0.0073, 0.0116, 0.01684,
    0.023, 0.0298, 0.038, 0.048, 0.06, 0.0739, 0.09098, 0.1126, 0.13902, 0.1693, 0.20802, 0.2586, 0.323, 0.4073,
    0.503, 0.6082, 0.71, 0.7932, 0.862, 0.91485, 0.954, 0.9803, 0.99495, 1, 0.995, 0.9786, 0.952, 0.9154, 0.87,
    0.8163, 0.757, 0.6949, 0.631, 0.5668, 0.503, 0.4412, 0.381, 0.321, 0.265, 0.217, 0.175, 0.1382, 0.107, 0.0816,
    0.061, 0.04458, 0.032, 0.0232, 0.017, 0.01192, 0.00821, 0.005723, 0.004102, 0.002929, 0.002091, 0.001484,
    0.001047, 0.00074, 0.00052, 0.0003611, 0.0002492, 0.0001719, 0.00012, 8.48e-05, 6e-05, 4.24e-05, 3e-05,
    2.12e-05, 1.499e-05,
])
# fmt: on

_SCALAR = {"units": "1"}
_W = {"units": "W m-2"}


# ---------------------------------------------------------------------------------------------------------------------
# Integrals


def _wavelengths(spectrum):
    """Wavelengths of a spectrum, checked."""
    if isinstance(spectrum, pd.Series):
        if not pd.api.types.is_numeric_dtype(spectrum.index.dtype):
            raise FieldkitError("The index of a spectrum must hold wavelengths in nanometres, as numbers.")
        wavelengths = spectrum.index.to_numpy(dtype=float)
        values = spectrum.to_numpy(dtype=float)
        if not np.isfinite(values).all():
            where = wavelengths[~np.isfinite(values)][0]
            raise FieldkitError(f"The spectrum has no value at {where:g} nm: fill the gap or cut the spectrum there.")
    elif type(spectrum).__name__ == "DataArray" and "wavelength_nm" in spectrum.dims:
        wavelengths = np.asarray(spectrum["wavelength_nm"], dtype=float)
    else:
        raise FieldkitError(
            "A spectrum is a Series indexed by wavelength in nm, or a DataArray with a dimension wavelength_nm."
        )
    if len(wavelengths) < 2 or not np.isfinite(wavelengths).all() or not (np.diff(wavelengths) > 0).all():
        raise FieldkitError("The wavelengths of a spectrum must increase, each once, and there must be two at least.")
    if wavelengths[0] <= 0 or wavelengths[-1] < 100:
        raise FieldkitError(
            f"Wavelengths from {wavelengths[0]:g} to {wavelengths[-1]:g} are not nanometres: micrometres times 1,000."
        )
    return wavelengths


def _node_weights(wavelengths, low_nm, high_nm, weight, weight_nodes=()):
    """Weights of the points of a spectrum whose sum of products is the integral between two limits."""
    low, high = max(low_nm, wavelengths[0]), min(high_nm, wavelengths[-1])
    if not low < high:
        return np.full(len(wavelengths), np.nan)
    nodes = np.union1d(np.r_[low, high, wavelengths], np.asarray(weight_nodes, dtype=float))
    nodes = nodes[(nodes >= low) & (nodes <= high)]
    steps = np.diff(nodes)
    share = np.zeros(len(nodes))
    share[:-1] += steps / 2
    share[1:] += steps / 2
    if weight is not None:
        share = share * weight(nodes)
    left = np.clip(np.searchsorted(wavelengths, nodes, side="right") - 1, 0, len(wavelengths) - 2)
    fraction = (nodes - wavelengths[left]) / (wavelengths[left + 1] - wavelengths[left])
    weights = np.zeros(len(wavelengths))
    np.add.at(weights, left, share * (1 - fraction))
    np.add.at(weights, left + 1, share * fraction)
    return weights


def _apply_weights(spectrum, weights):
    if isinstance(spectrum, pd.Series):
        return float(spectrum.to_numpy(dtype=float) @ weights)
    import xarray as xr

    return xr.dot(spectrum, xr.DataArray(weights, dims="wavelength_nm"), dim="wavelength_nm")


def _need(wavelengths, low_nm, high_nm, what):
    if wavelengths[0] > low_nm or wavelengths[-1] < high_nm:
        raise FieldkitError(
            f"{what} needs the spectrum from {low_nm:g} to {high_nm:g} nm; this one covers {wavelengths[0]:g} to "
            f"{wavelengths[-1]:g} nm. Nothing can be said about what was not measured."
        )


def integrate(spectrum, low_nm=None, high_nm=None, *, weight=None):
    """Integrate a spectrum between two wavelengths, weighted if asked.

    Parameters
    ----------
    spectrum : Series (w,) or DataArray (..., wavelength_nm)
        Per nanometre.
    low_nm, high_nm : float, optional
        Limits, nm; None: the end of the spectrum. Beyond its ends a spectrum contributes nothing.
    weight : callable or Series, optional
        Dimensionless weight by wavelength: a function of an array of nm, or a Series (straight lines between its
        points, its end values held beyond its ends).

    Returns
    -------
    float or DataArray
        Unit of the spectrum times nm (W/m² for irradiance); NaN when the spectrum does not reach the limits at all.

    Raises
    ------
    FieldkitError
        When it is not a spectrum.

    Examples
    --------
    >>> flat = pd.Series([2.0, 2.0], index=[400.0, 700.0])
    >>> integrate(flat, 450, 550)
    200.0
    """
    wavelengths = _wavelengths(spectrum)
    low = wavelengths[0] if low_nm is None else float(low_nm)
    high = wavelengths[-1] if high_nm is None else float(high_nm)
    function, nodes = _weight(weight)
    return _apply_weights(spectrum, _node_weights(wavelengths, low, high, function, nodes))


def _weight(weight):
    """A weight as a function of wavelength, and the wavelengths at which it must be looked at."""
    if isinstance(weight, pd.Series):
        grid, values = _wavelengths(weight), weight.to_numpy(dtype=float)
        return (lambda nm: np.interp(nm, grid, values)), grid
    # A function may bend anywhere: every nanometre up to 800 nm, where the biological weights live.
    return weight, (() if weight is None else np.arange(200.0, 801.0))


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class BandShares(Result):
    """How the power of a spectrum divides into bands.

    Attributes
    ----------
    table : DataFrame
        One row per band: ``low_nm, high_nm, irradiance_w_m2, share_pct, covered_pct``. The share is of `total_w_m2`;
        `covered_pct` says how much of the band's width the spectrum covers: NaN irradiance at 0, a lower limit below
        100.
    total_w_m2 : float
        Power of the whole spectrum as given.
    low_nm, high_nm : float
        The range that the spectrum covers.
    """

    table: pd.DataFrame
    total_w_m2: float
    low_nm: float
    high_nm: float

    @property
    def sentence(self):
        parts, missing = [], []
        for name, row in self.table.iterrows():
            limits = f"{name} ({row['low_nm']:g}–{row['high_nm']:g} nm)"
            if row["covered_pct"] == 0:
                missing.append(limits)
            else:
                parts.append(f"{limits} {row['share_pct']:.3g} %" + ("" if row["covered_pct"] > 99.9 else " at least"))
        words = f"Of {self.total_w_m2:.4g} W/m² between {self.low_nm:g} and {self.high_nm:g} nm: {', '.join(parts)}."
        if missing:
            words += f" Not measured: {', '.join(missing)}."
        return words


def band_shares(spectrum, *, bands=None, total_range_nm=None):
    """Divide the power of a spectrum into bands.

    Parameters
    ----------
    spectrum : Series (w,) or DataArray (..., wavelength_nm)
        W/m²/nm, or any unit per nanometre.
    bands : dict of str to (low_nm, high_nm), optional
        None: `BANDS` (UV-B 280-315, UV-A 315-400, visible 400-780, IR-A 780-1400, IR-B 1400-3000 nm).
    total_range_nm : (low, high), optional
        Range whose power is 100 %; None: the whole spectrum as given. Shares of two spectra compare only over one
        range.

    Returns
    -------
    BandShares or Dataset
        For a Series a result with a table; for a DataArray a Dataset with a ``band`` dimension.

    Examples
    --------
    >>> print(band_shares(reference_sunlight()).table["share_pct"].round(2).to_dict())
    {'UV-B': 0.07, 'UV-A': 4.54, 'visible': 52.04, 'IR-A': 32.42, 'IR-B': 10.19}
    """
    bands = BANDS if bands is None else bands
    wavelengths = _wavelengths(spectrum)
    low, high = (wavelengths[0], wavelengths[-1]) if total_range_nm is None else map(float, total_range_nm)
    _need(wavelengths, low, high, "The total")
    for name, (a, b) in bands.items():
        if not a < b:
            raise FieldkitError(f"The band '{name}' from {a:g} to {b:g} nm is upside down: give the lower limit first.")
    limits = np.array([bands[name] for name in bands], dtype=float)
    inside = np.minimum(limits[:, 1], wavelengths[-1]) - np.maximum(limits[:, 0], wavelengths[0])
    covered = 100 * np.maximum(inside, 0) / (limits[:, 1] - limits[:, 0])
    weights = np.array([_node_weights(wavelengths, a, b, None) for a, b in limits])
    total = _apply_weights(spectrum, _node_weights(wavelengths, low, high, None))
    if isinstance(spectrum, pd.Series):
        power = weights @ spectrum.to_numpy(dtype=float)
        table = pd.DataFrame(
            {
                "low_nm": limits[:, 0],
                "high_nm": limits[:, 1],
                "irradiance_w_m2": power,
                "share_pct": 100 * power / total if total else np.nan,
                "covered_pct": covered,
            },
            index=pd.Index(list(bands), name="band"),
        )
        return BandShares(table=table, total_w_m2=total, low_nm=float(low), high_nm=float(high))
    import xarray as xr

    names = list(bands)
    matrix = xr.DataArray(weights, dims=("band", "wavelength_nm"), coords={"band": names})
    power = xr.dot(spectrum, matrix, dim="wavelength_nm").assign_attrs(_W)
    return xr.Dataset(
        {
            "irradiance_w_m2": power,
            "share_pct": (100 * power / total.where(total > 0)).assign_attrs(units="percent"),
            "covered_pct": ("band", covered, {"units": "percent"}),
            "low_nm": ("band", limits[:, 0], {"units": "nm"}),
            "high_nm": ("band", limits[:, 1], {"units": "nm"}),
        }
    )


# ---------------------------------------------------------------------------------------------------------------------
# Sources of light


def reference_sunlight(kind="global"):
    """Standard sunlight of ASTM G173-03: air mass 1.5, rural haze, 280 to 4000 nm.

    Parameters
    ----------
    kind : {"global", "direct", "extraterrestrial"}
        On a south-facing surface tilted 37° (1000.4 W/m²), square to the rays with the ring round the sun
        (900.1 W/m²), or above the atmosphere.

    Returns
    -------
    Series (2002,)
        W/m²/nm by wavelength in nm; 0.5 nm steps to 400 nm, 1 nm to 1700 nm, 5 nm beyond.

    Notes
    -----
    One sky, with the sun 42° high over the eastern and western states: a yardstick, not what a lizard gets at eight in
    the morning. For that see `clear_sky_spectrum`.

    Examples
    --------
    >>> round(integrate(reference_sunlight()), 1)
    1000.4
    """
    if kind not in ("global", "direct", "extraterrestrial"):
        raise FieldkitError(f"Reference sunlight '{kind}' is not known: choose global, direct or extraterrestrial.")
    from pvlib.spectrum import get_reference_spectra

    spectrum = get_reference_spectra()[kind].rename(f"ASTM G173-03 {kind}")
    spectrum.index.name = "wavelength_nm"
    return spectrum


def ozone_climatology(times, *, latitude_deg, longitude_deg):
    """Usual thickness of the ozone layer for place and season, in Dobson units.

    Parameters
    ----------
    times : DatetimeIndex, Series of times, Timestamp or DataArray (n,)
        With a zone; a DataArray is UTC.
    latitude_deg, longitude_deg : float or array
        Degrees north, degrees east.

    Returns
    -------
    Series, float or DataArray
        DU. Single days differ by 10 to 20 %, and UV index about 1.2 times as much: use a measured value if there is
        one.

    Notes
    -----
    Van Heuklon (1979), Solar Energy 22:63-68; coefficients from memory, checked against one printed value (36° N,
    122° W, day 185: 321.2 DU).

    Examples
    --------
    >>> round(ozone_climatology(pd.Timestamp("2023-07-04", tz="UTC"), latitude_deg=36, longitude_deg=-122), 1)
    321.2
    """
    return _ozone(sun.unix_seconds(times), latitude_deg, longitude_deg)


@elementwise({"ozone_du": {"units": "1", "long_name": "total ozone column in Dobson units"}})
def _ozone(unix_s, latitude_deg, longitude_deg):
    north = latitude_deg >= 0
    a, b, c = np.where(north, 150.0, 100.0), np.where(north, 1.28, 1.5), np.where(north, 40.0, 30.0)
    f, h = np.where(north, -30.0, 152.625), np.where(north, 3.0, 2.0)
    i = np.where(north, np.where(longitude_deg > 0, 20.0, 0.0), -75.0)
    season = c * np.sin(np.radians(0.9865 * (sun.day_of_year(unix_s) + f)))
    wave = 20.0 * np.sin(np.radians(h * (longitude_deg + i)))
    return 235.0 + (a + season + wave) * np.sin(np.radians(b * latitude_deg)) ** 2


def clear_sky_spectrum(
    times,
    *,
    latitude_deg,
    longitude_deg,
    elevation_m=0.0,
    tilt_deg=0.0,
    facing_deg=180.0,
    part="facing",
    ozone_du=None,
    precipitable_water_cm=1.42,
    aerosol_depth_500nm=0.1,
    ground_albedo=0.2,
):
    """Spectrum of sunlight under a clear sky at a place and time.

    Parameters
    ----------
    times : DatetimeIndex, Series of times, Timestamp (n,)
        With a zone.
    latitude_deg, longitude_deg, elevation_m : float
        Degrees north, degrees east, metres.
    tilt_deg, facing_deg : float
        The facing, see `sun.on_facing`; tilt 0 is a flat back.
    part : {"facing", "beam", "diffuse"}
        All light on the facing, the beam square to the rays, or the diffuse light on the flat.
    ozone_du : float, optional
        Ozone column, DU; None: `ozone_climatology`.
    precipitable_water_cm : float
        Column of water vapour, cm; 1.42 is that of ASTM G173.
    aerosol_depth_500nm : float
        Aerosol optical depth at 500 nm; 0.084 in ASTM G173, 0.1 to 0.3 usual in summer.
    ground_albedo : float
        0 to 1; the same for all wavelengths.

    Returns
    -------
    Series (122,) or DataArray (time, wavelength_nm)
        W/m²/nm from 300 to 4000 nm: a Series for one Timestamp, else a DataArray whose times are UTC.

    Notes
    -----
    Bird & Riordan (1984), NREL TR-215-2436, through pvlib. No clouds. In the ultraviolet it has points every 5 nm from
    300 nm on and one ozone layer: its UV index is 11 to 27 % below `clear_sky_uv_index` (zenith 0 to 60°, ozone 250 to
    400 DU, aerosol 0.05 to 0.2 at sea level). Take shares of bands from here and the UV index from there, or better
    from a meter.

    Examples
    --------
    >>> noon = pd.Timestamp("2024-06-21 13:20", tz="America/New_York")
    >>> spectrum = clear_sky_spectrum(noon, latitude_deg=36.1, longitude_deg=-79.95, elevation_m=270)
    >>> bool(900 < integrate(spectrum) < 1100)
    True
    """
    from pvlib import atmosphere
    from pvlib.spectrum import spectrl2

    names = {"facing": "poa_global", "beam": "dni", "diffuse": "dhi"}
    if part not in names:
        raise FieldkitError(f"The part '{part}' is not known: choose facing, beam or diffuse.")
    place = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg}
    single = np.ndim(times) == 0
    seconds = np.atleast_1d(np.asarray(sun.unix_seconds(times), dtype=float)).ravel()
    stamps = pd.to_datetime(seconds, unit="s", utc=True)
    where = sun.position(stamps, **place, elevation_m=elevation_m)
    ozone = ozone_climatology(stamps, **place).to_numpy() if ozone_du is None else np.full(len(stamps), float(ozone_du))
    zenith, azimuth = where["apparent_zenith_deg"].to_numpy(), where["azimuth_deg"].to_numpy()
    values = np.zeros((len(stamps), len(_spectrl2_wavelengths())))
    up = zenith < 89.0  # nearer the horizon the plane-parallel formulas no longer hold; the light there is negligible
    values[np.isnan(zenith)] = np.nan
    if up.any():
        incidence = sun.on_facing(
            0.0, 0.0, 0.0, zenith[up], azimuth[up], tilt_deg=float(tilt_deg), facing_deg=float(facing_deg)
        )["incidence_deg"]
        full = np.ones(int(up.sum()))
        result = spectrl2(
            apparent_zenith=zenith[up],
            aoi=incidence,
            surface_tilt=full * tilt_deg,
            ground_albedo=full * ground_albedo,
            surface_pressure=full * atmosphere.alt2pres(elevation_m),
            relative_airmass=atmosphere.get_relative_airmass(zenith[up]),
            precipitable_water=full * precipitable_water_cm,
            ozone=ozone[up] / 1000,
            aerosol_turbidity_500nm=full * aerosol_depth_500nm,
            dayofyear=sun.day_of_year(seconds[up]),
        )
        values[up] = np.maximum(result[names[part]].T, 0)
    wavelengths = _spectrl2_wavelengths()
    if single:
        return pd.Series(values[0], index=pd.Index(wavelengths, name="wavelength_nm"), name=f"clear sky, {part}")
    import xarray as xr

    return xr.DataArray(
        values,
        dims=("time", "wavelength_nm"),
        coords={
            "time": stamps.tz_localize(None),
            "wavelength_nm": ("wavelength_nm", wavelengths, {"units": "nm", "standard_name": "radiation_wavelength"}),
        },
        name="spectral_irradiance",
        attrs={"units": "W m-2 nm-1", "long_name": f"clear-sky spectral irradiance, {part}"},
    )


def _spectrl2_wavelengths():
    from pvlib.spectrum.spectrl2 import _SPECTRL2_COEFFS

    return np.array(_SPECTRL2_COEFFS["wavelength"])


def blackbody(temperature_k, wavelengths_nm=None):
    """Planck's law: what each square metre of a black surface sends out, per nanometre.

    Parameters
    ----------
    temperature_k : float
        K. A filament lamp is near its colour temperature: 2700 to 3200 K.
    wavelengths_nm : array (w,), optional
        nm; None: 250 to 10,000 nm in steps of 0.2 %.

    Returns
    -------
    Series (w,)
        W/m²/nm of the surface itself (multiply by what reaches the animal).

    Examples
    --------
    >>> round(blackbody(2856.0, np.arange(900, 1200.0)).idxmax())
    1015
    """
    if not temperature_k > 0:
        raise FieldkitError(f"A temperature of {temperature_k} K is not possible: give kelvin (°C + 273.15).")
    nm = np.geomspace(250, 10_000, 1848) if wavelengths_nm is None else np.asarray(wavelengths_nm, dtype=float)
    metres = nm * 1e-9
    x = constants.h * constants.c / (metres * constants.k * temperature_k)
    with np.errstate(over="ignore"):
        exitance = 2 * np.pi * constants.h * constants.c**2 / metres**5 / np.expm1(x) * 1e-9
    return pd.Series(exitance, index=pd.Index(nm, name="wavelength_nm"), name=f"black body {temperature_k:g} K")


@elementwise({"share": _SCALAR | {"long_name": "share of the power of a black body"}})
def blackbody_share(temperature_k, low_nm, high_nm):
    """Share of all the power of a black body that lies between two wavelengths.

    Parameters
    ----------
    temperature_k : float, array, Series or DataArray
        K.
    low_nm, high_nm : float or array
        nm; 0 and infinity are allowed.

    Returns
    -------
    same kind
        0 to 1.

    Notes
    -----
    Exact series of the incomplete Planck integral (Chang & Rhee 1984, Int. Comm. Heat Mass Transfer 11:451-455, from
    memory). Glass and coatings of real lamps remove most UV-B: for UV an upper bound.

    Examples
    --------
    >>> round(100 * blackbody_share(3000.0, 780.0, 1400.0), 3)
    38.8
    """
    return _planck_below(high_nm, temperature_k) - _planck_below(low_nm, temperature_k)


def _planck_below(nm, temperature_k):
    c2 = constants.h * constants.c / constants.k
    with np.errstate(divide="ignore"):
        x = c2 / (np.asarray(nm, dtype=float) * 1e-9 * temperature_k)
    x, n = np.broadcast_arrays(x[..., None], np.arange(1, 201.0))
    finite = np.minimum(x, 800.0)  # wavelength 0: nothing below it
    with np.errstate(under="ignore"):
        terms = np.exp(-n * finite) * (finite**3 / n + 3 * finite**2 / n**2 + 6 * finite / n**3 + 6 / n**4)
    # The series is slow for very long waves; there the power beyond is the small-x limit.
    tail = 1 - 15 / np.pi**4 * (finite[..., 0] ** 3 / 3 - finite[..., 0] ** 4 / 8 + finite[..., 0] ** 5 / 60)
    return np.where(finite[..., 0] < 0.05, tail, 15 / np.pi**4 * terms.sum(axis=-1))


# ---------------------------------------------------------------------------------------------------------------------
# Ultraviolet


@elementwise({"erythemal_weight": _SCALAR})
def erythemal_weight(wavelength_nm):
    """How strongly a wavelength reddens human skin, relative to 298 nm.

    Parameters
    ----------
    wavelength_nm : float, array, Series or DataArray
        nm.

    Returns
    -------
    same kind
        0 to 1; 0 outside 250 to 400 nm.

    Notes
    -----
    ISO/CIE 17166:2019: 1 to 298 nm; 10^(0.094(298−λ)) to 328 nm; 10^(0.015(140−λ)) to 400 nm. Older papers (McKinlay &
    Diffey 1987) write 139 for 140 and come out 0.8 % lower in sunlight. A weighting of human skin; that of reptiles is
    not known.

    Examples
    --------
    >>> [round(erythemal_weight(nm), 6) for nm in (298.0, 310.0, 400.0)]
    [1.0, 0.074473, 0.000126]
    """
    nm = wavelength_nm
    weight = np.where(nm <= 298, 1.0, np.where(nm <= 328, 10 ** (0.094 * (298 - nm)), 10 ** (0.015 * (140 - nm))))
    return np.where((nm < 250) | (nm > 400), 0.0, weight)


@elementwise({"uv_hazard_weight": _SCALAR})
def uv_hazard_weight(wavelength_nm):
    """How harmful a wavelength is to human eyes and skin, relative to 270 nm (an approximation).

    Parameters
    ----------
    wavelength_nm : float, array, Series or DataArray
        nm.

    Returns
    -------
    same kind
        0 to 1; 0 outside 210 to 400 nm.

    Notes
    -----
    Formulas fitted to the table S(λ) of ICNIRP (2004, Health Physics 87:171-186), from memory: 0.959^(270−λ) to
    270 nm, 1−0.36((λ−270)/20)^1.64 to 300 nm, 0.3·0.736^(λ−300)+10^(2−0.0163λ) to 400 nm. Up to a quarter off the
    table at single wavelengths (315 nm: 0.0038 for 0.003): good for a warning, not for a safety certificate.

    Examples
    --------
    >>> round(uv_hazard_weight(300.0), 2)
    0.3
    """
    nm = wavelength_nm
    middle = 1 - 0.36 * (np.maximum(nm - 270, 0) / 20) ** 1.64
    long = 0.3 * 0.736 ** (np.maximum(nm, 300) - 300) + 10 ** (2 - 0.0163 * np.maximum(nm, 300))
    weight = np.where(nm <= 270, 0.959 ** (270 - np.minimum(nm, 270)), np.where(nm <= 300, middle, long))
    return np.where((nm < 210) | (nm > 400), 0.0, weight)


def uv_index(spectrum):
    """UV index of a measured or modelled spectrum.

    Parameters
    ----------
    spectrum : Series (w,) or DataArray (..., wavelength_nm)
        W/m²/nm, from 300 nm or below up to 400 nm. What lies below its first wavelength counts as nothing: true for
        sunlight from 290 nm, wrong for a lamp that emits there.

    Returns
    -------
    float or DataArray
        40 m²/W times the erythemally weighted irradiance (CIE e-ILV 17-26-073).

    Raises
    ------
    FieldkitError
        When the spectrum does not cover 300 to 400 nm.

    Examples
    --------
    >>> round(uv_index(reference_sunlight()), 2)
    3.69
    """
    _need(_wavelengths(spectrum), 300.0, 400.0, "The UV index")
    return UV_INDEX_PER_W_M2 * integrate(spectrum, 250, 400, weight=erythemal_weight)


@elementwise({"uv_index": _SCALAR | {"standard_name": "ultraviolet_index_assuming_clear_sky"}})
def clear_sky_uv_index(zenith_deg, ozone_du=300.0):
    """UV index on the flat under a clear, clean sky at low altitude over dark ground.

    Parameters
    ----------
    zenith_deg : float, array, Series or DataArray
        True solar zenith angle, degrees.
    ozone_du : float or array
        Ozone column, DU, for instance from `ozone_climatology`.

    Returns
    -------
    same kind
        UV index. Haze and most clouds take some off; a kilometre of height adds 10 to 12 % and fresh snow reflects up
        to 80 % (WHO 2002, from memory).

    Notes
    -----
    Madronich (2007), Photochemistry and Photobiology 83:1537-1538: 12.5 μ^2.42 (Ω/300)^−1.23, fitted to a full
    radiative transfer model.

    Examples
    --------
    >>> round(clear_sky_uv_index(30.0, 300.0), 1)
    8.8
    """
    cosine = np.maximum(np.cos(np.radians(zenith_deg)), 0)
    return 12.5 * cosine**2.42 * (ozone_du / 300.0) ** -1.23


def uv_index_class(uv_index):
    """Name of the class of a UV index: low, moderate, high, very high, extreme.

    Parameters
    ----------
    uv_index : float or array (n,)
        UV index; rounded to whole numbers first, as the classes are defined.

    Returns
    -------
    str or array of str
        Classes 0-2, 3-5, 6-7, 8-10, 11 and up of WHO (2002); "unknown" for NaN.

    Examples
    --------
    >>> uv_index_class(7.6)
    'very high'
    """
    values = np.asarray(uv_index, dtype=float)
    names = np.array(["low", "moderate", "high", "very high", "extreme", "unknown"])
    rounded = np.floor(values + 0.5)
    place = np.where(np.isnan(values), 5, np.searchsorted([2.5, 5.5, 7.5, 10.5], rounded))
    return str(names[place]) if values.ndim == 0 else names[place]


@elementwise({"time_s": {"units": "s"}})
def erythema_time(uv_index, doses=1.0):
    """Seconds until human skin has received a number of standard erythema doses (SED).

    Parameters
    ----------
    uv_index : float, array, Series or DataArray
        UV index, held constant.
    doses : float or array
        SED of 100 J/m² weighted; fair skin reddens at 2 to 3 (common practice, no source).

    Returns
    -------
    same kind
        s; infinite at UV index 0.

    Examples
    --------
    >>> erythema_time(8.0)
    500.0
    """
    with np.errstate(divide="ignore"):
        return doses * STANDARD_ERYTHEMA_DOSE_J_M2 * UV_INDEX_PER_W_M2 / np.maximum(uv_index, 0)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class HumanUvLimits(Result):
    """How long a person may stay in this light in a working day, after two limits for people.

    Attributes
    ----------
    table : DataFrame
        One row per limit: ``irradiance_w_m2, limit_j_m2, time_s, source``.
    """

    table: pd.DataFrame

    @property
    def sentence(self):
        worst = self.table["time_s"].min()
        when = f"after {worst / 60:.2g} minutes" if worst < 3600 else f"after {worst / 3600:.2g} hours"
        if worst >= 8 * 3600:
            return (
                "Neither limit for a person's bare eyes and skin is reached within 8 hours at this distance. The "
                "limits are for healthy adults, not for reptiles, and the weighting is an approximation."
            )
        return (
            f"A person's bare eyes or skin reach the daily limit {when} at this distance: shield the lamp, wear UV "
            "glasses, do not look in. The limits are for healthy adults, not for reptiles."
        )


def human_uv_limits(spectrum):
    """Time for a person in this light to reach the daily UV limits of ICNIRP (2004).

    Parameters
    ----------
    spectrum : Series (w,)
        W/m²/nm at the place of eyes or hands, from 300 nm or below up to 400 nm.

    Returns
    -------
    HumanUvLimits

    Raises
    ------
    FieldkitError
        When the spectrum does not cover 300 to 400 nm.

    Notes
    -----
    Weighted limit 30 J/m² (`uv_hazard_weight`, approximate); UV-A to the eye 10,000 J/m² unweighted, from memory.
    Limits for people; there are none for reptiles.

    Examples
    --------
    >>> human_uv_limits(reference_sunlight()).table["time_s"].round(0).tolist()
    [1405.0, 220.0]
    """
    _need(_wavelengths(spectrum), 300.0, 400.0, "A UV limit")
    power = np.array([integrate(spectrum, 210, 400, weight=uv_hazard_weight), integrate(spectrum, 315, 400)])
    limits = np.array([UV_HAZARD_LIMIT_J_M2, UVA_EYE_LIMIT_J_M2])
    with np.errstate(divide="ignore"):
        seconds = limits / np.maximum(power, 0)
    table = pd.DataFrame(
        {
            "irradiance_w_m2": power,
            "limit_j_m2": limits,
            "time_s": seconds,
            "source": ["ICNIRP 2004, weighted (approximate formula)", "ICNIRP 2004, UV-A to the eye (from memory)"],
        },
        index=pd.Index(["skin and eye, weighted", "eye, UV-A 315-400 nm"], name="limit"),
    )
    return HumanUvLimits(table=table)


# ---------------------------------------------------------------------------------------------------------------------
# Light for plants and people


def photon_flux(spectrum, low_nm=400.0, high_nm=700.0):
    """Photons between two wavelengths; from 400 to 700 nm the PPFD of plant growers.

    Parameters
    ----------
    spectrum : Series (w,) or DataArray (..., wavelength_nm)
        W/m²/nm.
    low_nm, high_nm : float
        nm.

    Returns
    -------
    float or DataArray
        µmol/m²/s.

    Examples
    --------
    >>> round(photon_flux(reference_sunlight()))
    1978
    """
    _need(_wavelengths(spectrum), low_nm, high_nm, "The photon flux")
    per_joule = 1e-9 / (constants.h * constants.c * constants.N_A) * 1e6
    return integrate(spectrum, low_nm, high_nm, weight=lambda nm: nm * per_joule)


def illuminance(spectrum):
    """What a lux meter would read in this light.

    Parameters
    ----------
    spectrum : Series (w,) or DataArray (..., wavelength_nm)
        W/m²/nm, covering at least 400 to 700 nm (what lies outside adds 0.02 % in sunlight).

    Returns
    -------
    float or DataArray
        lx: 683 lm/W times the integral with V(λ), CIE 018:2019. Says how bright it is for people; not how warm.

    Examples
    --------
    >>> round(illuminance(reference_sunlight()), -2)
    109500.0
    """
    _need(_wavelengths(spectrum), 400.0, 700.0, "Illuminance")
    return 683.0 * integrate(spectrum, 380, 780, weight=lambda nm: np.interp(nm, _V_NM, _V, left=0, right=0))


# ---------------------------------------------------------------------------------------------------------------------
# A source against the sun


def absorbed_share(spectrum, absorptivity):
    """Share of the power of a light that a skin or paint takes up.

    Parameters
    ----------
    spectrum : Series (w,) or DataArray (..., wavelength_nm)
        Light, per nanometre.
    absorptivity : float or Series
        0 to 1, alike for all wavelengths or by wavelength in nm (end values are held beyond its ends).

    Returns
    -------
    float or DataArray
        0 to 1: the "solar absorptivity" if the light is the sun's.

    Examples
    --------
    >>> skin = pd.Series([0.8, 0.8, 0.4, 0.4], index=[280, 699.9, 700.1, 4000])
    >>> round(absorbed_share(reference_sunlight(), skin), 3)
    0.59
    """
    values = absorptivity if isinstance(absorptivity, pd.Series) else np.asarray(absorptivity, dtype=float)
    if np.min(values) < 0 or np.max(values) > 1:
        raise FieldkitError("An absorptivity is not between 0 and 1: write percent as a share (85 % is 0.85).")
    if not isinstance(absorptivity, pd.Series):
        return float(absorptivity)
    return integrate(spectrum, weight=absorptivity) / integrate(spectrum)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class SpectralMatch(Result):
    """A source beside sunlight of the same total power.

    Attributes
    ----------
    table : DataFrame
        One row per band: ``low_nm, high_nm, source_pct, sunlight_pct, ratio, covered_pct``; ratio is source over
        sunlight at equal total power within the compared range.
    misplaced_pct : float
        Half the sum of the absolute differences between the two spectra scaled to equal power: the share of the power
        that lies at the wrong wavelengths (0 the same, 100 nothing in common).
    absorbed_source, absorbed_sunlight : float
        Share of each that the given skin takes up.
    heating_ratio : float
        Absorbed source over absorbed sunlight: 1 W/m² of the source warms like `heating_ratio` W/m² of sun.
    low_nm, high_nm : float
        The compared range: where both were measured.
    missing : list of str
        Bands of which the source was not measured at all.
    """

    table: pd.DataFrame
    misplaced_pct: float
    absorbed_source: float
    absorbed_sunlight: float
    heating_ratio: float
    low_nm: float
    high_nm: float
    missing: list
    source_name: str
    sunlight_name: str

    @property
    def sentence(self):
        words = (
            f"Between {self.low_nm:g} and {self.high_nm:g} nm {self.misplaced_pct:.0f} % of the power of "
            f"{self.source_name} lies at other wavelengths than in {self.sunlight_name}; 1 W/m² of it warms this skin "
            f"like {self.heating_ratio:.2f} W/m² of sun."
        )
        poor = [n for n, r in self.table["ratio"].items() if r < 0.5 and n not in self.missing]
        rich = [n for n, r in self.table["ratio"].items() if r > 2]
        if poor:
            words += f" Less than half the sun's share: {', '.join(poor)}."
        if rich:
            words += f" More than twice the sun's share: {', '.join(rich)}."
        if self.missing:
            words += f" Not measured: {', '.join(self.missing)}."
        return words


def compare_with_sunlight(source, *, sunlight=None, absorptivity=1.0, bands=None):
    """Set a source beside sunlight, band by band and as a skin feels it.

    Parameters
    ----------
    source : Series (w,)
        Spectrum of a lamp, per nanometre, in any unit: both are scaled to equal power in the range they share.
    sunlight : Series (v,), optional
        None: `reference_sunlight`.
    absorptivity : float or Series
        Of the animal's skin, see `absorbed_share`.
    bands : dict of str to (low_nm, high_nm), optional
        None: `BANDS`.

    Returns
    -------
    SpectralMatch

    Raises
    ------
    FieldkitError
        When the spectra do not overlap or one of them holds no power there.

    Notes
    -----
    A comparison over a part of the range hides what lies outside it: a spectrum measured from 380 to 780 nm says
    nothing of the heat of a filament lamp, most of which lies beyond.

    Examples
    --------
    >>> lamp = blackbody(2856.0, np.arange(280, 4001.0))
    >>> match = compare_with_sunlight(lamp)
    >>> round(match.misplaced_pct), match.missing
    (50, [])
    """
    sunlight = reference_sunlight() if sunlight is None else sunlight
    bands = BANDS if bands is None else bands
    a, b = _wavelengths(source), _wavelengths(sunlight)
    low, high = max(a[0], b[0]), min(a[-1], b[-1])
    if not low < high:
        raise FieldkitError(
            f"The source was measured from {a[0]:g} to {a[-1]:g} nm and sunlight from {b[0]:g} to {b[-1]:g} nm: "
            "they share no range, so they cannot be compared."
        )
    grid = np.union1d(a, b)
    grid = grid[(grid >= low) & (grid <= high)]
    pair = []
    for name, spectrum, nm in (("source", source, a), ("sunlight", sunlight, b)):
        values = pd.Series(np.interp(grid, nm, spectrum.to_numpy(dtype=float)), index=grid)
        total = integrate(values)
        if not total > 0:
            raise FieldkitError(f"The {name} holds no power between {low:g} and {high:g} nm.")
        pair.append(values / total)
    lamp, sky = pair
    table = band_shares(lamp, bands=bands).table
    table = table.rename(columns={"share_pct": "source_pct"}).drop(columns="irradiance_w_m2")
    table.insert(3, "sunlight_pct", band_shares(sky, bands=bands).table["share_pct"])
    table.insert(4, "ratio", table["source_pct"] / table["sunlight_pct"])
    taken, taken_sun = absorbed_share(lamp, absorptivity), absorbed_share(sky, absorptivity)
    return SpectralMatch(
        table=table,
        misplaced_pct=50 * integrate((lamp - sky).abs()),
        absorbed_source=taken,
        absorbed_sunlight=taken_sun,
        heating_ratio=taken / taken_sun,
        low_nm=float(low),
        high_nm=float(high),
        missing=list(table.index[table["covered_pct"] == 0]),
        source_name=str(source.name or "the source"),
        sunlight_name=str(sunlight.name or "sunlight"),
    )
