"""What an input can be at all: slips of unit and sign and missing-value codes are said before anything is computed."""

import numpy as np
from scipy import constants

from fieldkit.core import FieldkitError

_KELVIN = constants.zero_Celsius
_IRRADIANCE = (-50, 5e4, "W/m²")  # pyranometers read a little below zero at night; a lamp may be ten suns
_SURFACE = (-_KELVIN, 1000, "°C")

# Lowest and highest value of an input of this name, in every function of the physics.
LIMITS = {
    # As in the tables of a season, with a little room: 95 °F given for °C is said.
    "air_temperature_c": (-100, 65, "°C"),
    "shaded_c": (-100, 120, "°C"),
    "sunlit_c": (-100, 120, "°C"),
    "start_temperature_c": (-100, 150, "°C"),
    "operative_temperature_c": (-100, 150, "°C"),
    "deep_temperature_c": (-100, 65, "°C"),
    "saturated_temperature_c": (-100, 100, "°C"),
    "temperature_c": _SURFACE,
    "surface_temperature_c": _SURFACE,
    "ground_temperature_c": (-100, 150, "°C"),
    "substrate_temperature_c": (-100, 150, "°C"),
    "globe_temperature_c": _SURFACE,
    # Kelvin of anything that lives or lies about (270 and more) lies above.
    "reading_c": (-_KELVIN, 260, "°C"),
    "reflected_temperature_c": (-_KELVIN, 3000, "°C"),
    "temperature_k": (1, 1e6, "K"),
    "wind_speed_m_s": (0, 120, "m/s"),
    "ghi_w_m2": _IRRADIANCE,
    "dni_w_m2": _IRRADIANCE,
    "dhi_w_m2": _IRRADIANCE,
    "ground_upwelling_w_m2": _IRRADIANCE,
    "absorbed_shortwave_w_m2": _IRRADIANCE,
    "absorbed_radiation_w_m2": (0, 5e4, "W/m²"),
    "sky_longwave_w_m2": (0, 5e4, "W/m²"),
    "extraterrestrial_w_m2": (0, 1e4, "W/m²"),
    "pressure_pa": (1e4, 2e5, "Pa"),
    "vapour_pressure_kpa": (0, 25, "kPa"),
    "turbulence_factor": (0, 5, ""),
    "convection_coefficient_w_m2_k": (0, np.inf, "W/m²/K"),
    "heat_loss_slope_w_m2_k": (1e-9, np.inf, "W/m²/K"),
    "conductance_mol_m2_s": (0, np.inf, "mol/m²/s"),
    "silhouette_fraction": (0, 1, ""),
    "emissivity": (1e-3, 1, ""),
    "radiative_emissivity": (1e-3, 1, ""),
    "ground_emissivity": (0, 1, ""),
    "ground_albedo": (0, 1, ""),
    "characteristic_dimension_m": (1e-6, 1000, "m"),
    "measured_height_m": (1e-3, 1000, "m"),
    "height_m": (0, 1000, "m"),
    "roughness_m": (1e-6, 10, "m"),
    "elevation_m": (-500, 9000, "m"),
    "reynolds": (0, np.inf, ""),
    "rayleigh": (0, np.inf, ""),
    "prandtl": (1e-3, np.inf, ""),
    "elapsed_s": (0, np.inf, "s"),
    "time_constant_s": (1e-9, np.inf, "s"),
    "apparent_zenith_deg": (0, 180, "°"),
    "zenith_deg": (0, 180, "°"),
    "azimuth_deg": (-360, 720, "°"),
    "facing_deg": (-360, 720, "°"),
    "tilt_deg": (0, 180, "°"),
    "linke_turbidity": (0.5, 20, ""),
    "aerosol_depth_700nm": (0, 5, ""),
    "precipitable_water_cm": (0, 20, "cm"),
    "ozone_du": (50, 1000, "DU"),
    "uv_index": (-1, 1e5, ""),
    "doses": (0, np.inf, ""),
    "wavelength_nm": (10, 1e7, "nm"),
    "wavelengths_nm": (10, 1e9, "nm"),
    "band_um": (0.1, 1000, "µm"),
    "diameter_m": (1e-5, 1, "m"),
    "length_m": (1e-4, 4, "m"),
    "wall_m": (1e-6, 0.1, "m"),
    "mass_g": (0, 1e6, "g"),
    "relative_humidity_percent": (0, 105, "%"),
    "variance": (0, np.inf, ""),
}


def check_inputs(given):
    """Refuse what cannot be.

    Parameters
    ----------
    given : dict of str to array_like
        Inputs by name, for instance ``locals()`` of a function; names that are not in `LIMITS`, and None, pass.

    Returns
    -------
    None

    Raises
    ------
    FieldkitError
        With the value, the limits and what to look at.

    Examples
    --------
    >>> check_inputs({"air_temperature_c": [21.0, float("nan")], "wind_speed_m_s": 0.5})
    """
    for name, value in given.items():
        if name not in LIMITS or value is None:
            continue
        low, high, unit = LIMITS[name]
        value = np.asarray(value, dtype=float)  # whole numbers know no infinity to begin with
        least, most = np.nanmin(value, initial=np.inf), np.nanmax(value, initial=-np.inf)
        if least < low or most > high:
            wrong = f"{least if least < low else most:g} {unit}".rstrip()
            limits = f"at least {low:g}" if high == np.inf else f"between {low:g} and {high:g}"
            raise FieldkitError(f"{name} is {wrong}: it must be {limits}. Check the unit and the missing-value code.")
        if name.endswith("_percent") and 0 < most <= 1:
            raise FieldkitError(f"{name} is at most {most:g} %: give per cent and not a share, so 50 for one half.")
