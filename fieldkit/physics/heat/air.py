"""Air: its properties, the vapour in it, the long-wave radiation of the sky above it, and its wind near the ground."""

import numpy as np
from scipy import constants

from fieldkit.core import FieldkitError, elementwise, method
from fieldkit.physics.atmosphere import STANDARD_PRESSURE_PA, pressure_or_height
from fieldkit.physics.limits import check_inputs

__all__ = [
    "KELVIN",
    "STANDARD_PRESSURE_PA",
    "air_properties",
    "dew_point",
    "saturation_vapour_pressure",
    "sky_emissivity",
    "sky_longwave",
    "vapour_pressure",
    "wind_at_height",
]

KELVIN = constants.zero_Celsius
GAS_CONSTANT_DRY_AIR = constants.R / 0.02896546  # J/kg/K; molar mass of dry air, Lemmon et al. (2000)

# Dry air at 101325 Pa, polynomials in z = (T - 300 K)/100 K, fitted once to the reference equations of state of
# Lemmon et al. (2000) and Lemmon & Jacobsen (2004); -60 to 200 °C, worst error 0.02 %; at 60 kPa 0.13 % from -45 °C up.
VISCOSITY = (18.537798e-6, 4.822186e-6, -0.340937e-6, 0.035461e-6)  # Pa s
CONDUCTIVITY = (26.384943e-3, 7.430680e-3, -0.404681e-3, 0.041271e-3)  # W/m/K
SPECIFIC_HEAT = (1006.361763, 3.693800, 4.087239)  # J/kg/K
# Compressibility Z = 1 + p/p0 (b0 + b1 x + b2 x²), x = 300 K/T.
COMPRESSIBILITY = (-0.00039375, 0.00287219, -0.00278582)


def dry_air(kelvin, pressure_pa):
    """Density, expansion, viscosity, conductivity, specific heat and their slopes with temperature, on bare arrays.

    For the solvers; people call `air_properties`. Slopes are d(ln y)/dT.
    """
    z = (kelvin - 300.0) / 100.0
    x = 300.0 / kelvin
    m0, m1, m2, m3 = VISCOSITY
    k0, k1, k2, k3 = CONDUCTIVITY
    c0, c1, c2 = SPECIFIC_HEAT
    b0, b1, b2 = COMPRESSIBILITY
    viscosity = ((m3 * z + m2) * z + m1) * z + m0
    conductivity = ((k3 * z + k2) * z + k1) * z + k0
    specific_heat = (c2 * z + c1) * z + c0
    share = pressure_pa / STANDARD_PRESSURE_PA
    factor = 1.0 + share * ((b2 * x + b1) * x + b0)
    density = pressure_pa / (GAS_CONSTANT_DRY_AIR * kelvin * factor)
    expansion = (1.0 - share * x * (2 * b2 * x + b1) / factor) / kelvin
    return density, expansion, viscosity, conductivity, specific_heat, z


@elementwise(
    {
        "density_kg_m3": {"units": "kg m-3", "standard_name": "air_density"},
        "conductivity_w_m_k": {"units": "W m-1 K-1", "long_name": "thermal conductivity of air"},
        "viscosity_pa_s": {"units": "Pa s", "long_name": "dynamic viscosity of air"},
        "kinematic_viscosity_m2_s": {"units": "m2 s-1", "long_name": "kinematic viscosity of air"},
        "specific_heat_j_kg_k": {"units": "J kg-1 K-1", "long_name": "specific heat of air at constant pressure"},
        "thermal_diffusivity_m2_s": {"units": "m2 s-1", "long_name": "thermal diffusivity of air"},
        "prandtl": {"units": "1", "long_name": "Prandtl number of air"},
        "expansion_1_k": {"units": "K-1", "long_name": "volumetric thermal expansion of air"},
    }
)
def air_properties(temperature_c, *, pressure_pa=None, elevation_m=0.0):
    """Properties of dry air that heat transfer needs.

    Parameters
    ----------
    temperature_c : array_like
        Air temperature (°C), -45 to 200.
    pressure_pa : array_like, optional
        Air pressure (Pa). None: that of the standard atmosphere at `elevation_m`.
    elevation_m : array_like, optional
        Metres above sea level.

    Returns
    -------
    dict, DataFrame or Dataset
        ``density_kg_m3, conductivity_w_m_k, viscosity_pa_s, kinematic_viscosity_m2_s, specific_heat_j_kg_k,
        thermal_diffusivity_m2_s, prandtl, expansion_1_k``.

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Notes
    -----
    Polynomials fitted to the reference equations of Lemmon, Jacobsen, Penoncello & Friend (2000, J. Phys. Chem. Ref.
    Data 29:331) and Lemmon & Jacobsen (2004, Int. J. Thermophys. 25:21), within 0.1 % at sea level and 0.15 % at 60 kPa
    (pressure enters the density only). Water vapour is left out: saturated air at 35 °C is 2.9 % lighter, but it also
    conducts and holds heat otherwise, and the convection coefficient of a small body changes by less than 0.2 %.

    Examples
    --------
    >>> air = air_properties(25.0)
    >>> round(air["density_kg_m3"], 3), round(air["prandtl"], 3)
    (1.184, 0.707)
    """
    check_inputs(locals())
    pressure_pa = pressure_or_height(pressure_pa, elevation_m)
    density, expansion, viscosity, conductivity, specific_heat, _ = dry_air(temperature_c + KELVIN, pressure_pa)
    return {
        "density_kg_m3": density,
        "conductivity_w_m_k": conductivity,
        "viscosity_pa_s": viscosity,
        "kinematic_viscosity_m2_s": viscosity / density,
        "specific_heat_j_kg_k": specific_heat,
        "thermal_diffusivity_m2_s": conductivity / (density * specific_heat),
        "prandtl": viscosity * specific_heat / conductivity,
        "expansion_1_k": expansion,
    }


@elementwise({"saturation_vapour_pressure_kpa": {"units": "kPa", "long_name": "saturation vapour pressure over water"}})
def saturation_vapour_pressure(temperature_c):
    """Vapour pressure of water at saturation (kPa), over liquid water.

    Parameters
    ----------
    temperature_c : array_like
        Temperature (°C), -30 to 60; within 0.2 % of the reference equation of state from 0 to 50 °C.

    Returns
    -------
    float, ndarray, Series or DataArray
        kPa.

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Notes
    -----
    Campbell & Norman (1998) An Introduction to Environmental Biophysics, eq. 3.8: 0.611 exp(17.502 t/(t + 240.97)).

    Examples
    --------
    >>> round(saturation_vapour_pressure(25.0), 4)
    3.1659
    """
    check_inputs({"saturated_temperature_c": temperature_c})
    return 0.611 * np.exp(17.502 * temperature_c / (temperature_c + 240.97))


@elementwise({"vapour_pressure_kpa": {"units": "kPa", "standard_name": "water_vapor_partial_pressure_in_air"}})
def vapour_pressure(air_temperature_c, relative_humidity_percent):
    """Vapour pressure of the air (kPa) from its relative humidity.

    Parameters
    ----------
    air_temperature_c, relative_humidity_percent : array_like
        °C and percent (0 to 100; instruments that read up to 105 are accepted as 100).

    Returns
    -------
    float, ndarray, Series or DataArray
        kPa.

    Raises
    ------
    FieldkitError
        When a humidity is below 0 or above 105 %.

    Notes
    -----
    Saturation pressure times relative humidity (definition).

    Examples
    --------
    >>> round(vapour_pressure(25.0, 50.0), 3)
    1.583
    """
    check_inputs(locals())
    return saturation_vapour_pressure(air_temperature_c) * np.minimum(relative_humidity_percent, 100.0) / 100.0


@elementwise({"dew_point_c": {"units": "degC", "standard_name": "dew_point_temperature"}})
def dew_point(vapour_pressure_kpa):
    """Temperature (°C) at which air with this vapour pressure (kPa) would be saturated.

    Parameters
    ----------
    vapour_pressure_kpa : array_like
        kPa, above 0.

    Returns
    -------
    float, ndarray, Series or DataArray
        °C; the inverse of `saturation_vapour_pressure` (Campbell & Norman 1998, eq. 3.14).

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Examples
    --------
    >>> round(dew_point(saturation_vapour_pressure(14.0)), 6)
    14.0
    """
    check_inputs(locals())
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.log(vapour_pressure_kpa / 0.611)
        return 240.97 * ratio / (17.502 - ratio)


@elementwise({"sky_emissivity": {"units": "1", "long_name": "effective emissivity of the sky"}})
def sky_emissivity(air_temperature_c, *, vapour_pressure_kpa=None, cloud_fraction=0.0):
    """Effective emissivity of the sky: what share of a black body at air temperature the sky radiates.

    Parameters
    ----------
    air_temperature_c : array_like
        Screen air temperature (°C).
    vapour_pressure_kpa : array_like, optional
        Vapour pressure (kPa): Prata's formula. Without it Swinbank's, which needs the air temperature only and
        was made for nights that are neither dry nor humid.
    cloud_fraction : array_like, optional
        Share of the sky under cloud, 0 to 1.

    Returns
    -------
    float, ndarray, Series or DataArray

    Raises
    ------
    FieldkitError
        When a cloud fraction is not between 0 and 1.

    Notes
    -----
    Clear sky: Prata (1996) Q. J. R. Meteorol. Soc. 122:1127, 1 - (1 + w) exp(-√(1.2 + 3 w)) with w = 46.5 e/T, e in hPa
    (as public codes quote it, and checked on measurements); Swinbank (1963) as Campbell & Norman (1998) eq. 10.11 print
    it, 9.2e-6 T². Cloud: Unsworth & Monteith (1975) Q. J. R. Meteorol. Soc. 101:13, (1 - 0.84 c) ε + 0.84 c. On a clear
    winter day at 2300 m Prata was 1 W/m² low, where the better known formula of Brutsaert (1975) is 29 W/m² low (it was
    made for mild air); in clear hours of June in Switzerland both were 17 W/m² high. Single hours scatter by some 5 %.

    Examples
    --------
    >>> round(sky_emissivity(20.0, vapour_pressure_kpa=1.0), 4)
    0.7748
    >>> round(sky_emissivity(20.0, vapour_pressure_kpa=1.0, cloud_fraction=1.0), 4)
    0.964
    """
    check_inputs(locals())
    if np.any((cloud_fraction < 0) | (cloud_fraction > 1)):
        raise FieldkitError("cloud_fraction must lie between 0 (clear) and 1 (overcast): divide oktas by 8.")
    kelvin = air_temperature_c + KELVIN
    if vapour_pressure_kpa is None:
        clear = 9.2e-6 * kelvin**2
    else:
        if np.any(vapour_pressure_kpa > 1.2 * saturation_vapour_pressure(air_temperature_c)):
            raise FieldkitError(
                "vapour_pressure_kpa is far above saturation at this air temperature: is it in hPa? Divide by 10."
            )
        water = 465.0 * vapour_pressure_kpa / kelvin  # some mm of water that could rain
        clear = 1.0 - (1.0 + water) * np.exp(-np.sqrt(1.2 + 3.0 * water))
    return (1 - 0.84 * cloud_fraction) * clear + 0.84 * cloud_fraction


@method
@elementwise({"sky_longwave_w_m2": {"units": "W m-2", "standard_name": "surface_downwelling_longwave_flux_in_air"}})
def sky_longwave(air_temperature_c, *, vapour_pressure_kpa=None, cloud_fraction=0.0):
    """Long-wave radiation from the sky on a horizontal surface (W/m²); see `sky_emissivity` for the formulas.

    Parameters
    ----------
    air_temperature_c, vapour_pressure_kpa, cloud_fraction : array_like
        As in `sky_emissivity`.

    Returns
    -------
    float, ndarray, Series or DataArray
        W/m².

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Notes
    -----
    Emissivity of the clear sky by Prata (1996), or Swinbank (1963) without vapour; see `sky_emissivity`.

    Examples
    --------
    >>> round(sky_longwave(25.0, vapour_pressure_kpa=1.5), 1)
    363.0
    """
    emissivity = sky_emissivity(
        air_temperature_c, vapour_pressure_kpa=vapour_pressure_kpa, cloud_fraction=cloud_fraction
    )
    return emissivity * constants.sigma * (air_temperature_c + KELVIN) ** 4


@elementwise({"wind_speed_m_s": {"units": "m s-1", "standard_name": "wind_speed"}})
def wind_at_height(wind_speed_m_s, *, measured_height_m, height_m, roughness_m=0.01):
    """Wind at the height of the animal, from wind measured higher up over open, level ground.

    Parameters
    ----------
    wind_speed_m_s : array_like
        Wind where it was measured (m/s).
    measured_height_m, height_m : array_like
        Height of the anemometer and of the object (m). Below three roughness lengths the profile is cut off there:
        the logarithm does not hold among the stones or the grass.
    roughness_m : array_like, optional
        Roughness length (m): about a tenth of the height of the stones or plants; 0.008 to 0.02 short grass
        (Brutsaert 2005, Hydrology, Table 2.6).

    Returns
    -------
    float, ndarray, Series or DataArray
        m/s. Neutral logarithmic profile (Campbell & Norman 1998, eq. 5.1, no displacement height); buoyancy over hot
        ground is left out.

    Raises
    ------
    FieldkitError
        When the anemometer is not above three roughness lengths.

    Examples
    --------
    >>> round(wind_at_height(3.0, measured_height_m=10.0, height_m=0.05), 2)
    0.7
    """
    check_inputs(locals())
    if np.any(measured_height_m <= 3 * roughness_m):
        raise FieldkitError("The anemometer must stand above three roughness lengths for a logarithmic profile.")
    height = np.maximum(height_m, 3 * roughness_m)
    return wind_speed_m_s * np.log(height / roughness_m) / np.log(measured_height_m / roughness_m)
