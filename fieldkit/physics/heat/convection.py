"""Convection: Nusselt numbers of simple bodies in wind, in still air and in between, from handbook correlations."""

import numpy as np

from fieldkit.core import FieldkitError, elementwise
from fieldkit.physics.atmosphere import pressure_or_height
from fieldkit.physics.heat.air import KELVIN, STANDARD_PRESSURE_PA, dry_air
from fieldkit.physics.limits import check_inputs

__all__ = [
    "SHAPES",
    "convection_coefficient",
    "nusselt_forced",
    "nusselt_free",
]

SHAPES = ("cylinder", "sphere", "plate", "upper face")
GRAVITY = 9.80665
# Nusselt number left when nothing moves, shared by the forced and the free part (Churchill 1977), and the power with
# which the two add: 4 for flow across cylinders and spheres, 3 for plates (Bergman et al. 2011, sec. 9.9).
STILL = {"cylinder": 0.3, "sphere": 2.0, "plate": 0.0, "upper face": 0.0}
POWER = {"cylinder": 4, "sphere": 4, "plate": 3, "upper face": 3}
# Fits of the correlations below for air near 20 °C, used only to start the solver.
_ROUGH = {
    "cylinder": (3.2, 0.3, 0.08, 0.009),
    "sphere": (3.4, 0.3, 0.12, 0.052),
    "plate": (3.84, 0.05, 0.005, 0.018),
    "upper face": (3.84, 0.05, 0.005, 0.018),
}
# The turbulent part of a plate starts at Re 5e5; this keeps the mean Nusselt number continuous there (prints as 871).
_PLATE_JUMP = 0.037 * 5e5**0.8 - 0.664 * 5e5**0.5


def prandtl_factors(prandtl, shape):
    """The parts of the forced and the free correlation that depend on the fluid only."""
    if shape == "cylinder":
        forced = 0.62 * prandtl ** (1 / 3) / (1 + (0.4 / prandtl) ** (2 / 3)) ** 0.25
        free = 0.387 * (1 + (0.559 / prandtl) ** (9 / 16)) ** (-8 / 27)
    elif shape == "sphere":
        forced = prandtl**0.4
        free = 0.589 * (1 + (0.469 / prandtl) ** (9 / 16)) ** (-4 / 9)
    elif shape == "plate":
        forced = prandtl ** (1 / 3)
        free = 0.387 * (1 + (0.492 / prandtl) ** (9 / 16)) ** (-8 / 27)
    elif shape == "upper face":
        forced, free = prandtl ** (1 / 3), 1.0
    else:
        raise FieldkitError(f"shape must be one of {', '.join(SHAPES)}, not {shape!r}.")
    return forced, free


def forced_part(reynolds, factor, shape):
    """Nusselt number above its still value, and its slope with ln Re."""
    root = np.sqrt(reynolds)
    if shape == "cylinder":
        r = reynolds / 282000.0
        x = np.sqrt(r) * np.sqrt(np.sqrt(np.sqrt(r)))
        nusselt = factor * root * (1 + x) ** 0.8
        return nusselt, nusselt * (0.5 + 0.5 * x / (1 + x))
    if shape == "sphere":
        laminar = 0.4 * factor * root
        wake = 0.06 * factor * np.cbrt(reynolds) ** 2
        return laminar + wake, 0.5 * laminar + (2 / 3) * wake
    laminar = 0.664 * factor * root
    if not np.nanmax(reynolds, initial=0.0) > 5e5:
        return laminar, 0.5 * laminar
    rising = 0.037 * factor * reynolds**0.8
    turbulent = rising - _PLATE_JUMP * factor
    return np.maximum(laminar, turbulent), np.where(turbulent > laminar, 0.8 * rising, 0.5 * laminar)


def free_part(rayleigh, factor, shape, warm=True):
    """Nusselt number above its still value, and its slope with ln Ra; only an upper face asks whether it is warm."""
    if shape == "upper face":
        # McAdams counts with area over perimeter: a quarter of the side of a square. 4 (1/64)^¼ is √2.
        laminar = np.where(warm, 0.54, 0.27) * np.sqrt(2.0) * np.sqrt(np.sqrt(rayleigh))
        turbulent = np.where(warm, 0.15, 0.0) * np.cbrt(rayleigh)
        return np.maximum(laminar, turbulent), np.where(turbulent > laminar, turbulent / 3, laminar / 4)
    if shape == "sphere":
        laminar = factor * np.sqrt(np.sqrt(rayleigh))
        wake = 7.44e-8 / 0.589**4 * factor**4 * rayleigh
        nusselt = laminar * np.sqrt(np.sqrt(np.cbrt(1 + wake)))
        return nusselt, nusselt * (0.25 + wake / (12 * (1 + wake)))
    rising = factor * np.sqrt(np.cbrt(rayleigh))
    total = rising + (0.60 if shape == "cylinder" else 0.825)
    return total * total - STILL[shape], total * rising / 3


def mixed(forced, forced_slope, free, free_slope, shape):
    """Add forced and free parts; return the Nusselt number and the weights of the two slopes."""
    if POWER[shape] == 4:
        forced_cube, free_cube = forced * forced * forced, free * free * free
        total = forced * forced_cube + free * free_cube + 1e-300
        part = np.sqrt(np.sqrt(total))
        scale = part / total
        return STILL[shape] + part, scale * forced_cube * forced_slope, scale * free_cube * free_slope
    forced_square, free_square = forced * forced, free * free
    total = forced * forced_square + free * free_square + 1e-300
    part = np.cbrt(total)
    scale = part / total
    return STILL[shape] + part, scale * forced_square * forced_slope, scale * free_square * free_slope


@elementwise({"nusselt": {"units": "1", "long_name": "Nusselt number, forced convection"}}, static=("shape",))
def nusselt_forced(reynolds, prandtl, *, shape):
    """Mean Nusselt number of a body in wind.

    Parameters
    ----------
    reynolds, prandtl : array_like
        Reynolds number on the diameter (length along the wind for a plate), Prandtl number at film temperature.
    shape : {"cylinder", "sphere", "plate", "upper face"}
        Cylinder across the wind, sphere, flat plate along the wind; an upper face is one side of a plate.

    Returns
    -------
    float, ndarray, Series or DataArray

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Notes
    -----
    Cylinder: Churchill & Bernstein (1977) J. Heat Transfer 99:300, Re Pr > 0.2. Sphere: Whitaker (1972) AIChE J.
    18:361, 3.5 < Re < 76000, without its viscosity ratio (under 2 % in air). Plate: laminar 0.664 Re^½ Pr^⅓, turbulent
    from Re 5e5 (Bergman et al. 2011, eqs 7.30, 7.38). Correlations differ from one another by some 15 %.

    Examples
    --------
    >>> round(nusselt_forced(6071.0, 0.7, shape="cylinder"), 2)
    40.64
    """
    check_inputs(locals())
    factor, _ = prandtl_factors(prandtl, shape)
    return STILL[shape] + forced_part(reynolds, factor, shape)[0]


@elementwise({"nusselt": {"units": "1", "long_name": "Nusselt number, free convection"}}, static=("shape", "warm"))
def nusselt_free(rayleigh, prandtl, *, shape, warm=True):
    """Mean Nusselt number of a body in still air.

    Parameters
    ----------
    rayleigh, prandtl : array_like
        Rayleigh number on the diameter (height for a plate), Prandtl number at film temperature.
    shape : {"cylinder", "sphere", "plate", "upper face"}
        Horizontal cylinder, sphere, upright plate, or the upper face of a level square (its Rayleigh number on the
        side). A level plate with both sides free loses within some 20 % of an upright one: take "plate".
    warm : bool
        Whether an upper face is warmer than the air: warm air rises from it, cold air stays on it and takes half.

    Returns
    -------
    float, ndarray, Series or DataArray

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Notes
    -----
    Cylinder: Churchill & Chu (1975) Int. J. Heat Mass Transfer 18:1049, Ra < 1e12. Sphere: Churchill (1983), Ra < 1e11.
    Plate: Churchill & Chu (1975) Int. J. Heat Mass Transfer 18:1323, all Ra. See Bergman et al. (2011) Fundamentals of
    Heat and Mass Transfer, eqs 9.34, 9.35 and 9.26. Upper face: McAdams (1954) Heat Transmission, with area over
    perimeter as length: warm 0.54 Ra^¼, then 0.15 Ra^⅓ (the larger of the two), cold 0.27 Ra^¼.

    Examples
    --------
    >>> round(nusselt_free(1e5, 0.71, shape="sphere"), 2)
    10.08
    """
    check_inputs(locals())
    _, factor = prandtl_factors(prandtl, shape)
    return STILL[shape] + free_part(rayleigh, factor, shape, warm)[0]


class Convection:
    """Convection of one body in given air: what does not depend on its temperature is worked out once.

    For the solvers; people call `convection_coefficient`.
    """

    def __init__(self, air_k, wind_speed_m_s, pressure_pa, turbulence_factor, dimension_m, shape):
        self.air_k, self.pressure_pa, self.shape = air_k, pressure_pa, shape
        self.flow = wind_speed_m_s * dimension_m
        self.buoyancy = GRAVITY * dimension_m**3
        self.dimension_m = dimension_m
        # The Prandtl number is taken at air temperature: over 20 K of film temperature it changes Nu by 0.1 %.
        _, _, viscosity, conductivity, specific_heat, _ = dry_air(air_k, pressure_pa)
        forced, free = prandtl_factors(viscosity * specific_heat / conductivity, shape)
        self.forced_factor, self.free_factor = forced * turbulence_factor, free
        self.turbulence_factor = turbulence_factor

    def take(self, rows):
        """The same for some rows only."""
        part = object.__new__(Convection)
        for name, value in vars(self).items():
            part.__dict__[name] = value[rows] if np.ndim(value) else value
        return part

    def rough(self):
        """Forced and still coefficient (W/m²/K) within some 20 %, from one square root: where the solver starts."""
        flow = self.flow * (self.pressure_pa / STANDARD_PRESSURE_PA)
        root, rise, fall, still = _ROUGH[self.shape]
        forced = self.turbulence_factor * root * np.sqrt(flow) * (1.0 + rise * flow) / (1.0 + fall * flow)
        return forced / self.dimension_m, still / self.dimension_m

    def coefficient(self, body_k):
        """Coefficient h (W/m²/K) and (T - Ta) dh/dT, which stays finite where body and air are equally warm."""
        excess = body_k - self.air_k
        film = 0.5 * (body_k + self.air_k)
        density, expansion, viscosity, conductivity, specific_heat, z = dry_air(film, self.pressure_pa)
        reynolds = self.flow * density / viscosity
        rayleigh = (self.buoyancy * expansion) * np.abs(excess) * (density * density * specific_heat)
        rayleigh /= viscosity * conductivity
        forced, forced_slope = forced_part(reynolds, self.forced_factor, self.shape)
        free, free_slope = free_part(rayleigh, self.free_factor, self.shape, excess > 0)
        nusselt, by_reynolds, by_rayleigh = mixed(forced, forced_slope, free, free_slope, self.shape)
        scale = conductivity / self.dimension_m
        # Logarithmic slopes per kelvin of film temperature; half of it is the body's.
        viscosity_slope = (0.0010638 * z * z - 0.0068187 * z + 0.0482219) * 1e-6 / viscosity
        conductivity_slope = (0.0012381 * z * z - 0.0080936 * z + 0.0743068) * 1e-3 / conductivity
        half = 0.5 * excess
        change = (
            nusselt * (conductivity_slope * half)
            - by_reynolds * ((expansion + viscosity_slope) * half)
            + by_rayleigh * (1.0 - (3.0 * expansion + viscosity_slope + conductivity_slope) * half)
        )
        return scale * nusselt, scale * change


@elementwise(
    {"convection_coefficient_w_m2_k": {"units": "W m-2 K-1", "long_name": "convection coefficient"}},
    static=("shape",),
)
def convection_coefficient(
    *,
    surface_temperature_c,
    air_temperature_c,
    wind_speed_m_s,
    characteristic_dimension_m,
    shape,
    pressure_pa=None,
    elevation_m=0.0,
    turbulence_factor=1.0,
):
    """Heat given to the air for each kelvin by which a body is warmer (W/m²/K).

    Parameters
    ----------
    surface_temperature_c, air_temperature_c, wind_speed_m_s : array_like
        °C, °C, m/s (at the body, not at the mast: see `fieldkit.physics.heat.air.wind_at_height`).
    characteristic_dimension_m : array_like
        Diameter, or for a plate its length along the wind (m).
    shape : {"cylinder", "sphere", "plate", "upper face"}
        As in `nusselt_forced` and `nusselt_free`.
    pressure_pa : array_like, optional
        Air pressure (Pa). None: that of the standard atmosphere at `elevation_m`.
    elevation_m : array_like, optional
        Metres above sea level.
    turbulence_factor : array_like, optional
        Multiplies the forced part. 1 in a wind tunnel; 1.4 outdoors (Campbell & Norman 1998).

    Returns
    -------
    float, ndarray, Series or DataArray
        W/m²/K.

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Notes
    -----
    Forced and free parts above the still value are added as powers (Churchill 1977; Bergman et al. 2011, sec. 9.9).

    Examples
    --------
    >>> round(convection_coefficient(surface_temperature_c=40, air_temperature_c=25, wind_speed_m_s=1.0,
    ...                              characteristic_dimension_m=0.02, shape="cylinder"), 1)
    23.8
    """
    check_inputs(locals())
    model = Convection(
        air_temperature_c + KELVIN,
        wind_speed_m_s,
        pressure_or_height(pressure_pa, elevation_m),
        turbulence_factor,
        characteristic_dimension_m,
        shape,
    )
    return model.coefficient(surface_temperature_c + KELVIN)[0]
