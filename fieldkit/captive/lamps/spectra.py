"""Spectra of lamps: measured, of a hot filament behind glass, or one of the CIE's illuminants."""

import re

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError
from fieldkit.physics import spectrum as spectra
from fieldkit.records.enclosure.spectra import read_spectrum

__all__ = ["filament", "illuminant", "read_spectrum", "spectrum_of", "through_filter"]


def through_filter(spectrum, *, passes_above_nm=None, passes_below_nm=None, edge_nm=10.0, transmission=1.0):
    """A spectrum behind glass or another filter.

    Parameters
    ----------
    spectrum : Series (w,)
        Per nanometre, by wavelength in nm.
    passes_above_nm : float, optional
        Cut-off towards short waves: half of the light passes at this wavelength (nm). Window glass is near 320, quartz
        below 200 (common practice, no source): ask for the curve of yours.
    passes_below_nm : float, optional
        Cut-off towards long waves (nm). Thick glass stops near 2800 to 4500, water near 1400 (common practice, no
        source).
    edge_nm : float
        Width over which an edge goes from 10 to 90 % (nm); at the long-wave edge ten times as wide.
    transmission : float or Series
        Share that passes between the edges, alike for all wavelengths or by wavelength in nm.

    Returns
    -------
    Series (w,)

    Raises
    ------
    FieldkitError
        When the edges are the wrong way round or a share is not one.

    Examples
    --------
    >>> even = pd.Series(1.0, index=[300.0, 350.0, 400.0])
    >>> through_filter(even, passes_above_nm=350.0, transmission=0.9).round(3).tolist()
    [0.0, 0.45, 0.9]
    """
    nm = spectrum.index.to_numpy(dtype=float)
    if not edge_nm > 0:
        raise FieldkitError(f"edge_nm is {edge_nm}: an edge has a width above 0.")
    if passes_above_nm is not None and passes_below_nm is not None and not passes_above_nm < passes_below_nm:
        raise FieldkitError("The filter passes nothing: passes_above_nm must lie below passes_below_nm.")
    if isinstance(transmission, pd.Series):
        share = np.interp(nm, transmission.index.to_numpy(dtype=float), transmission.to_numpy(dtype=float))
    else:
        share = np.full(len(nm), float(transmission))
    if share.min() < 0 or share.max() > 1:
        raise FieldkitError("A transmission is a share between 0 and 1 (90 % is 0.9).")
    # A logistic edge goes from 10 to 90 % over 2 ln 9 of its scale.
    scale = edge_nm / (2 * np.log(9.0))
    with np.errstate(over="ignore"):
        if passes_above_nm is not None:
            share = share / (1 + np.exp(-(nm - passes_above_nm) / scale))
        if passes_below_nm is not None:
            share = share / (1 + np.exp((nm - passes_below_nm) / (10 * scale)))
    passed = (spectrum * share).rename(spectrum.name)
    passed.attrs["tells_uv"] = passes_above_nm is not None or spectrum.attrs.get("tells_uv", True)
    return passed


def filament(temperature_k, *, passes_above_nm=None, passes_below_nm=None, edge_nm=10.0, transmission=1.0):
    """Light of a hot filament behind its glass: Planck's law times a filter.

    Parameters
    ----------
    temperature_k : float
        Colour temperature: 2400 to 3200 K.
    passes_above_nm, passes_below_nm, edge_nm, transmission
        The glass, see `through_filter`.

    Returns
    -------
    Series (w,)
        Per nanometre from 250 to 10,000 nm. Tungsten is not quite grey and the bulb itself glows in the far infrared:
        a measured spectrum is better. Without `passes_above_nm` nothing is known of its UV (`Lamp.tells_uv`).

    Examples
    --------
    >>> lamp = filament(2700.0, passes_above_nm=330.0)
    >>> print(spectra.band_shares(lamp).table["share_pct"].round(1).to_dict())
    {'UV-B': 0.0, 'UV-A': 0.1, 'visible': 8.4, 'IR-A': 35.8, 'IR-B': 42.3}
    """
    bare = spectra.blackbody(temperature_k)
    lamp = through_filter(
        bare,
        passes_above_nm=passes_above_nm,
        passes_below_nm=passes_below_nm,
        edge_nm=edge_nm,
        transmission=transmission,
    )
    return lamp.rename(f"a filament of {temperature_k:g} K")


def illuminant(name):
    """Spectrum of an illuminant of the CIE, from the library colour-science.

    Parameters
    ----------
    name : str
        "A" (filament), "D65" (daylight), "FL2" (fluorescent), "LED-B3" and others of CIE 015.

    Returns
    -------
    Series (w,)
        Relative, 300 or 380 to 780 nm: it tells nothing of UV-B and of heat.

    Raises
    ------
    FieldkitError
        When colour-science is not installed, or does not carry the name.
    """
    try:
        import colour
    except ImportError:
        raise FieldkitError(
            "The CIE illuminants come with the library colour-science, which is not installed: python -m pip install "
            "colour-science. A measured spectrum or a filament needs no such library."
        ) from None
    known = [key for key in colour.SDS_ILLUMINANTS if not key.startswith("ISO")]
    found = {key.lower(): key for key in known}.get(str(name).strip().lower().removeprefix("cie").strip())
    if found is None:
        raise FieldkitError(f"There is no CIE illuminant '{name}'. There are: {', '.join(known)}.")
    distribution = colour.SDS_ILLUMINANTS[found]
    index = pd.Index(np.asarray(distribution.wavelengths, dtype=float), name="wavelength_nm")
    light = pd.Series(np.asarray(distribution.values, dtype=float), index=index, name=f"CIE illuminant {found}")
    light.attrs["tells_uv"] = False
    return light


_HOT = re.compile(
    r"(?:black ?body|filament)\s+(\d+(?:\.\d+)?)\s*k(?:\s*,?\s*(?:behind )?glass\s+(\d+(?:\.\d+)?)\s*nm)?",
    re.IGNORECASE,
)


def spectrum_of(text):
    """The spectrum that a line of an enclosure file means.

    Parameters
    ----------
    text : str
        "blackbody 2700 K, glass 330 nm" (cut-off), a CSV file ("spectra/x.csv"), or the name of a CIE illuminant
        ("D65"). "blackbody 2700 K" leaves its glass, and with it its UV, unknown.

    Returns
    -------
    Series (w,)

    Raises
    ------
    FieldkitError
        When it means none of these.

    Examples
    --------
    >>> spectrum_of("blackbody 2700 K, glass 330 nm").name
    'a filament of 2700 K'
    """
    words = str(text).strip()
    hot = _HOT.fullmatch(words)
    if hot:
        return filament(float(hot[1]), passes_above_nm=float(hot[2]) if hot[2] else None)
    if re.search(r"\.(csv|tsv|txt)$", words, re.IGNORECASE):
        return read_spectrum(words)
    if re.match(r"(cie|[a-e]$|d\d\d|i?d\d|fl|hp|led)", words, re.IGNORECASE):
        return illuminant(words)
    raise FieldkitError(
        f'The spectrum "{words}" is not known: write the name of a CSV file such as "spectra/lamp.csv", "blackbody '
        '2700 K, glass 330 nm" (below which wavelength its glass stops the light), or a CIE illuminant such as "D65".'
    )
