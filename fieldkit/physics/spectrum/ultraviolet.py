"""Ultraviolet: weights by harm, the UV index, doses, and daily limits for people."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import Result, elementwise
from fieldkit.physics.limits import check_inputs
from fieldkit.physics.spectrum.bands import integrate, need, single, wavelengths_of, with_units

UV_INDEX_PER_W_M2 = 40.0  # CIE e-ILV 17-26-073; WHO (2002), Global solar UV index
STANDARD_ERYTHEMA_DOSE_J_M2 = 100.0  # ISO/CIE 17166:2019
UV_HAZARD_LIMIT_J_M2 = 30.0  # skin and eye, weighted, 8 h: ICNIRP (2004), Health Physics 87:171-186
UVA_EYE_LIMIT_J_M2 = 1e4  # eye, 315-400 nm unweighted, 8 h: ICNIRP (2004), Health Physics 87:171-186

_SCALAR = {"units": "1"}


@elementwise({"erythemal_weight": _SCALAR | {"long_name": "erythemal weight, ISO/CIE 17166"}})
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

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

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
    check_inputs(locals())
    nm = wavelength_nm
    weight = np.where(nm <= 298, 1.0, np.where(nm <= 328, 10 ** (0.094 * (298 - nm)), 10 ** (0.015 * (140 - nm))))
    return np.where((nm < 250) | (nm > 400), 0.0, weight)


@elementwise({"uv_hazard_weight": _SCALAR | {"long_name": "weight of the hazard to human eyes and skin"}})
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

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Notes
    -----
    Formulas that ICNIRP (2004, Health Physics 87:171-186, eqs. 2a-c) gives beside its table S(λ): 0.959^(270−λ) to
    270 nm, 1−0.36((λ−270)/20)^1.64 to 300 nm, 0.3·0.736^(λ−300)+10^(2−0.0163λ) to 400 nm. Up to a quarter off the
    table at single wavelengths (320 nm: 0.0013 for 0.0010): good for a warning, not for a safety certificate.

    Examples
    --------
    >>> round(uv_hazard_weight(300.0), 2)
    0.3
    """
    check_inputs(locals())
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
    >>> from fieldkit.physics.spectrum.sources import reference_sunlight
    >>> round(uv_index(reference_sunlight()), 2)
    3.69
    """
    need(wavelengths_of(spectrum), 300.0, 400.0, "The UV index")
    index = UV_INDEX_PER_W_M2 * integrate(spectrum, 250, 400, weight=erythemal_weight)
    return with_units(index, "1", "UV index")


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
        to 80 % (WHO 2002, as health services quote it).

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Notes
    -----
    Madronich (2007), Photochemistry and Photobiology 83:1537-1538: 12.5 μ^2.42 (Ω/300)^−1.23, fitted to a full
    radiative transfer model.

    Examples
    --------
    >>> round(clear_sky_uv_index(30.0, 300.0), 1)
    8.8
    """
    check_inputs(locals())
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

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

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


@elementwise({"time_s": {"units": "s", "long_name": "time to the erythema dose"}})
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

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Examples
    --------
    >>> erythema_time(8.0)
    500.0
    """
    check_inputs(locals())
    with np.errstate(divide="ignore"):
        return doses * STANDARD_ERYTHEMA_DOSE_J_M2 * UV_INDEX_PER_W_M2 / np.maximum(uv_index, 0)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class HumanUvLimits(Result):
    """How long a person may stay in this light in a working day, after two limits for people.

    Attributes
    ----------
    table : DataFrame
        One row per limit: ``irradiance_w_m2, limit_j_m2, time_s, source``.

    Examples
    --------
    >>> from fieldkit.physics import spectrum
    >>> type(spectrum.human_uv_limits(spectrum.reference_sunlight())).__name__
    'HumanUvLimits'
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
        When the spectrum does not cover 300 to 400 nm, or there are several.

    Notes
    -----
    Weighted limit 30 J/m² (`uv_hazard_weight`, approximate); UV-A to the eye 10,000 J/m² unweighted (both ICNIRP 2004).
    Limits for people; there are none for reptiles.

    Examples
    --------
    >>> from fieldkit.physics.spectrum.sources import reference_sunlight
    >>> human_uv_limits(reference_sunlight()).table["time_s"].round(0).tolist()
    [1405.0, 220.0]
    """
    need(wavelengths_of(single(spectrum, "human_uv_limits")), 300.0, 400.0, "A UV limit")
    power = np.array([integrate(spectrum, 210, 400, weight=uv_hazard_weight), integrate(spectrum, 315, 400)])
    limits = np.array([UV_HAZARD_LIMIT_J_M2, UVA_EYE_LIMIT_J_M2])
    with np.errstate(divide="ignore"):
        seconds = limits / np.maximum(power, 0)
    table = pd.DataFrame(
        {
            "irradiance_w_m2": power,
            "limit_j_m2": limits,
            "time_s": seconds,
            "source": ["ICNIRP 2004, weighted (approximate formula)", "ICNIRP 2004, UV-A to the eye"],
        },
        index=pd.Index(["skin and eye, weighted", "eye, UV-A 315-400 nm"], name="limit"),
    )
    return HumanUvLimits(table=table)
