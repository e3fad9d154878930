"""Spectra of light: standard sunlight, a clear sky at a place and time, hot bodies."""

import numpy as np
import pandas as pd
from scipy import constants

from fieldkit.core import FieldkitError, elementwise
from fieldkit.physics import sun
from fieldkit.physics.atmosphere import air_pressure
from fieldkit.physics.limits import check_inputs


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

    Raises
    ------
    FieldkitError
        When an input is not one of the reference spectra.

    Notes
    -----
    One sky, with the sun 42° high over the eastern and western states: a yardstick, not what a lizard gets at eight in
    the morning. For that see `clear_sky_spectrum`.

    Examples
    --------
    >>> from fieldkit.physics.spectrum.bands import integrate
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

    Raises
    ------
    FieldkitError
        When an input is a time without a zone.

    Notes
    -----
    Van Heuklon (1979), Solar Energy 22:63-68; coefficients as public codes quote them, checked against one printed
    value (36° N, 122° W, day 185: 321.2 DU).

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
    times : DatetimeIndex, Series of times, Timestamp or DataArray (n,)
        With a zone; a DataArray is UTC, keeps its dims and stays lazy on dask.
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

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Notes
    -----
    Bird & Riordan (1984), NREL TR-215-2436, through pvlib. No clouds. In the ultraviolet it has points every 5 nm from
    300 nm on and one ozone layer: its UV index is 11 to 27 % below `clear_sky_uv_index` (zenith 0 to 60°, ozone 250 to
    400 DU, aerosol 0.05 to 0.2 at sea level). Take shares of bands from here and the UV index from there, or better
    from a meter.

    Examples
    --------
    >>> from fieldkit.physics.spectrum.bands import integrate
    >>> noon = pd.Timestamp("2024-06-21 13:20", tz="America/New_York")
    >>> spectrum = clear_sky_spectrum(noon, latitude_deg=36.1, longitude_deg=-79.95, elevation_m=270)
    >>> bool(900 < integrate(spectrum) < 1100)
    True
    """

    check_inputs(locals())
    names = {"facing": "poa_global", "beam": "dni", "diffuse": "dhi"}
    if part not in names:
        raise FieldkitError(f"The part '{part}' is not known: choose facing, beam or diffuse.")

    place = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg}
    facing = {"tilt_deg": float(tilt_deg), "facing_deg": float(facing_deg)}
    air = {
        "ground_albedo": ground_albedo,
        "surface_pressure": air_pressure(elevation_m),
        "precipitable_water": precipitable_water_cm,
        "aerosol_turbidity_500nm": aerosol_depth_500nm,
    }

    def at(seconds):
        return _spectra_at(seconds, names[part], place, elevation_m, facing, ozone_du, air)

    wavelengths = _spectrl2_wavelengths()
    seconds = sun.unix_seconds(times)
    if type(seconds).__name__ != "DataArray":
        seconds = np.asarray(seconds, dtype=float)
        if not seconds.ndim:
            return pd.Series(at(seconds), index=pd.Index(wavelengths, name="wavelength_nm"), name=f"clear sky, {part}")
    import xarray as xr

    if type(seconds).__name__ == "DataArray":
        spectra = xr.apply_ufunc(
            at,
            seconds,
            output_core_dims=[["wavelength_nm"]],
            dask="parallelized",
            output_dtypes=[float],
            dask_gufunc_kwargs={"output_sizes": {"wavelength_nm": len(wavelengths)}},
        )
    else:
        stamps = pd.to_datetime(seconds, unit="s", utc=True).tz_localize(None)
        spectra = xr.DataArray(at(seconds), dims=("time", "wavelength_nm"), coords={"time": stamps})
    about = {"units": "nm", "standard_name": "radiation_wavelength"}
    spectra = spectra.assign_coords(wavelength_nm=("wavelength_nm", wavelengths, about)).rename("spectral_irradiance")
    spectra.attrs = {"units": "W m-2 nm-1", "long_name": f"clear-sky spectral irradiance, {part}"}
    return spectra


def _spectra_at(seconds, part, place, elevation_m, facing, ozone_du, air):
    """Spectra at moments of any shape: a bare array with the wavelengths last."""
    from pvlib.atmosphere import get_relative_airmass
    from pvlib.spectrum import spectrl2

    shape, seconds = np.shape(seconds), np.ravel(seconds)
    stamps = pd.to_datetime(seconds, unit="s", utc=True)
    where = sun.position(stamps, **place, elevation_m=elevation_m)
    ozone = ozone_climatology(stamps, **place).to_numpy() if ozone_du is None else np.full(len(stamps), ozone_du)
    zenith, azimuth = where["apparent_zenith_deg"].to_numpy(), where["azimuth_deg"].to_numpy()
    values = np.zeros((len(stamps), len(_spectrl2_wavelengths())))
    up = zenith < 89.0  # nearer the horizon the plane-parallel formulas no longer hold; little light comes then
    values[np.isnan(zenith)] = np.nan
    if up.any():
        full = np.ones(int(up.sum()))
        result = spectrl2(
            apparent_zenith=zenith[up],
            aoi=sun.on_facing(0.0, 0.0, 0.0, zenith[up], azimuth[up], **facing)["incidence_deg"],
            surface_tilt=full * facing["tilt_deg"],
            relative_airmass=get_relative_airmass(zenith[up]),
            ozone=ozone[up] / 1000,
            dayofyear=sun.day_of_year(seconds[up]),
            **{name: full * value for name, value in air.items()},
        )
        values[up] = np.maximum(result[part].T, 0)
    return values.reshape(*shape, len(_spectrl2_wavelengths()))


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

    Raises
    ------
    FieldkitError
        When an input is no temperature in kelvin.

    Notes
    -----
    Planck's law with the constants of CODATA 2018 (as scipy carries them).

    Examples
    --------
    >>> round(blackbody(2856.0, np.arange(900, 1200.0)).idxmax())
    1015
    """
    if not temperature_k > 0:
        raise FieldkitError(f"A temperature of {temperature_k} K is not possible: give kelvin (°C + 273.15).")
    check_inputs({"wavelengths_nm": wavelengths_nm})
    nm = np.geomspace(250, 10_000, 1848) if wavelengths_nm is None else np.asarray(wavelengths_nm, dtype=float)
    metres = nm * 1e-9
    x = constants.h * constants.c / (metres * constants.k * temperature_k)
    with np.errstate(over="ignore"):
        exitance = 2 * np.pi * constants.h * constants.c**2 / metres**5 / np.expm1(x) * 1e-9
    light = pd.Series(exitance, index=pd.Index(nm, name="wavelength_nm"), name=f"black body {temperature_k:g} K")
    # Of a lamp: glass decides its ultraviolet, and none is stated here.
    light.attrs["tells_uv"] = False
    return light


@elementwise({"share": {"units": "1"} | {"long_name": "share of the power of a black body"}})
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

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Notes
    -----
    Exact series of the incomplete Planck integral (Chang & Rhee 1984, Int. Comm. Heat Mass Transfer 11:451-455, from
    memory). Glass and coatings of real lamps remove most UV-B: for UV an upper bound.

    Examples
    --------
    >>> round(100 * blackbody_share(3000.0, 780.0, 1400.0), 3)
    38.8
    """
    check_inputs(locals())
    if np.any(low_nm > high_nm):
        raise FieldkitError("The band is upside down: give the lower wavelength first.")
    return planck_below(high_nm, temperature_k) - planck_below(low_nm, temperature_k)


def planck_below(nm, temperature_k):
    """Share of a black body's power below a wavelength (nm)."""
    c2 = constants.h * constants.c / constants.k
    with np.errstate(divide="ignore"):
        x = c2 / (np.asarray(nm, dtype=float) * 1e-9 * temperature_k)
    # Terms fall as exp(-n x): forty over the smallest x is more than a float can see.
    smallest = np.min(np.where(np.isnan(x), 800.0, x), initial=800.0)
    count = 40 / np.clip(smallest, 0.2, 13.0)
    x, n = np.broadcast_arrays(x[..., None], np.arange(1.0, count + 1))
    finite = np.minimum(x, 800.0)  # wavelength 0: nothing below it
    with np.errstate(under="ignore"):
        terms = np.exp(-n * finite) * (finite**3 / n + 3 * finite**2 / n**2 + 6 * finite / n**3 + 6 / n**4)
    # The series is slow for very long waves; there the power beyond is the small-x limit.
    tail = 1 - 15 / np.pi**4 * (finite[..., 0] ** 3 / 3 - finite[..., 0] ** 4 / 8 + finite[..., 0] ** 5 / 60)
    return np.where(finite[..., 0] < 0.05, tail, 15 / np.pi**4 * terms.sum(axis=-1))
