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

from fieldkit.core import FieldkitError, Result
from fieldkit.physics.spectrum.bands import (
    BANDS,
    BandShares,
    band_shares,
    integrate,
    need,
    single,
    wavelengths_of,
    with_units,
)
from fieldkit.physics.spectrum.sources import (
    blackbody,
    blackbody_share,
    clear_sky_spectrum,
    ozone_climatology,
    reference_sunlight,
)
from fieldkit.physics.spectrum.ultraviolet import (
    STANDARD_ERYTHEMA_DOSE_J_M2,
    UV_HAZARD_LIMIT_J_M2,
    UV_INDEX_PER_W_M2,
    UVA_EYE_LIMIT_J_M2,
    HumanUvLimits,
    clear_sky_uv_index,
    erythema_time,
    erythemal_weight,
    human_uv_limits,
    uv_hazard_weight,
    uv_index,
    uv_index_class,
)

__all__ = [
    "BANDS",
    "STANDARD_ERYTHEMA_DOSE_J_M2",
    "UVA_EYE_LIMIT_J_M2",
    "UV_HAZARD_LIMIT_J_M2",
    "UV_INDEX_PER_W_M2",
    "BandShares",
    "HumanUvLimits",
    "SpectralMatch",
    "absorbed_share",
    "band_shares",
    "blackbody",
    "blackbody_share",
    "clear_sky_spectrum",
    "clear_sky_uv_index",
    "compare_with_sunlight",
    "erythema_time",
    "erythemal_weight",
    "human_uv_limits",
    "illuminance",
    "integrate",
    "ozone_climatology",
    "photon_flux",
    "reference_sunlight",
    "uv_hazard_weight",
    "uv_index",
    "uv_index_class",
]

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

    Raises
    ------
    FieldkitError
        When an input is no spectrum, or does not cover the band.

    Examples
    --------
    >>> round(photon_flux(reference_sunlight()))
    1978
    """
    need(wavelengths_of(spectrum), low_nm, high_nm, "The photon flux")
    per_joule = 1e-9 / (constants.h * constants.c * constants.N_A) * 1e6
    photons = integrate(spectrum, low_nm, high_nm, weight=lambda nm: nm * per_joule)
    return with_units(photons, "umol m-2 s-1", "photon flux")


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

    Raises
    ------
    FieldkitError
        When an input is no spectrum, or does not cover visible light.

    Examples
    --------
    >>> round(illuminance(reference_sunlight()), -2)
    109500.0
    """
    need(wavelengths_of(spectrum), 400.0, 700.0, "Illuminance")
    bright = integrate(spectrum, 380, 780, weight=lambda nm: np.interp(nm, _V_NM, _V, left=0, right=0))
    return with_units(683.0 * bright, "lx", "illuminance")


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

    Raises
    ------
    FieldkitError
        When an input is no spectrum, or covers too little.

    Notes
    -----
    The average of the absorptance weighted by the spectrum (definition).

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
    share = integrate(spectrum, weight=absorptivity) / integrate(spectrum)
    return with_units(share, "1", "absorbed share of the power")


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

    Examples
    --------
    >>> from fieldkit.physics import spectrum
    >>> type(spectrum.compare_with_sunlight(spectrum.blackbody(2800.0))).__name__
    'SpectralMatch'
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
        When the spectra do not overlap, one of them holds no power there, or several were given as one DataArray.

    Notes
    -----
    Reference sunlight: ASTM G173-03 as pvlib carries it.
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
    a, b = (wavelengths_of(single(s, "compare_with_sunlight")) for s in (source, sunlight))
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
