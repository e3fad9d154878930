"""Exact integrals of spectra, and how their power divides into bands."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result

# CIE e-ILV 17-21-003 ff. (ultraviolet and infrared), visible taken from 400 to 780 nm so that no light counts twice.
BANDS = {
    "UV-B": (280.0, 315.0),
    "UV-A": (315.0, 400.0),
    "visible": (400.0, 780.0),
    "IR-A": (780.0, 1400.0),
    "IR-B": (1400.0, 3000.0),
}

_W = {"units": "W m-2", "long_name": "irradiance in the band"}


def wavelengths_of(spectrum):
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


def single(spectrum, what):
    """Refuse many spectra at once where the answer is one table."""
    if type(spectrum).__name__ == "DataArray":
        raise FieldkitError(
            f"{what} takes one spectrum, a Series indexed by wavelength in nm: choose one with .isel(...).to_series()."
        )
    return spectrum


def need(wavelengths, low_nm, high_nm, what):
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
        Unit of the spectrum times nm (W/m² for irradiance; the attribute ``units`` follows); NaN when the spectrum does
        not reach the limits at all.

    Raises
    ------
    FieldkitError
        When it is not a spectrum.

    Notes
    -----
    Trapezoids on the grid of the spectrum (definition).

    Examples
    --------
    >>> flat = pd.Series([2.0, 2.0], index=[400.0, 700.0])
    >>> integrate(flat, 450, 550)
    200.0
    """
    wavelengths = wavelengths_of(spectrum)
    low = wavelengths[0] if low_nm is None else float(low_nm)
    high = wavelengths[-1] if high_nm is None else float(high_nm)
    function, nodes = _weight(weight)
    total = _apply_weights(spectrum, _node_weights(wavelengths, low, high, function, nodes))
    if isinstance(spectrum, pd.Series):
        return total
    per_nm = str(spectrum.attrs.get("units", ""))
    what = f"{spectrum.attrs.get('long_name', 'spectrum')}, integrated over wavelength"
    return with_units(total, per_nm.removesuffix(" nm-1"), what) if per_nm.endswith(" nm-1") else total


def with_units(value, units, long_name):
    """The same, with its CF attributes if it is a DataArray."""
    return value.assign_attrs(units=units, long_name=long_name) if type(value).__name__ == "DataArray" else value


def _weight(weight):
    """A weight as a function of wavelength, and the wavelengths at which it must be looked at."""
    if isinstance(weight, pd.Series):
        grid, values = wavelengths_of(weight), weight.to_numpy(dtype=float)
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

    Examples
    --------
    >>> from fieldkit.physics import spectrum
    >>> type(spectrum.band_shares(spectrum.reference_sunlight())).__name__
    'BandShares'
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

    Raises
    ------
    FieldkitError
        When an input is no spectrum, or has no light in it.

    Notes
    -----
    Limits of the bands: CIE e-ILV 17-21-003 ff., see `BANDS`.

    Examples
    --------
    >>> from fieldkit.physics.spectrum.sources import reference_sunlight
    >>> print(band_shares(reference_sunlight()).table["share_pct"].round(2).to_dict())
    {'UV-B': 0.07, 'UV-A': 4.54, 'visible': 52.04, 'IR-A': 32.42, 'IR-B': 10.19}
    """
    bands = BANDS if bands is None else bands
    wavelengths = wavelengths_of(spectrum)
    low, high = (wavelengths[0], wavelengths[-1]) if total_range_nm is None else map(float, total_range_nm)
    need(wavelengths, low, high, "The total")
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
            "share_pct": (100 * power / total.where(total > 0)).assign_attrs(
                units="percent", long_name="share of the power of the spectrum"
            ),
            "covered_pct": ("band", covered, {"units": "percent", "long_name": "share of the band that was measured"}),
            "low_nm": ("band", limits[:, 0], {"units": "nm", "long_name": "lower limit of the band"}),
            "high_nm": ("band", limits[:, 1], {"units": "nm", "long_name": "upper limit of the band"}),
        }
    )
