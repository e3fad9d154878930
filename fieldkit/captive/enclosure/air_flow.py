"""How air carries heat: free convection at a plate, and openings through which warm air leaves."""

import numpy as np

from fieldkit.physics.heat.air import STANDARD_PRESSURE_PA, dry_air
from fieldkit.physics.heat.convection import GRAVITY, STILL, free_part, prandtl_factors

DISCHARGE = 0.65


def free_coefficient(excess_k, film_k, length_m, pressure_pa=STANDARD_PRESSURE_PA):
    """Free convection at a plate (W/m²/K): Churchill & Chu (1975), as in `fieldkit.physics.heat.convection`."""
    density, expansion, viscosity, conductivity, specific_heat, _ = dry_air(film_k, pressure_pa)
    _, factor = prandtl_factors(viscosity * specific_heat / conductivity, "plate")
    rayleigh = GRAVITY * expansion * np.abs(excess_k) * length_m**3 * density**2 * specific_heat
    rayleigh = rayleigh / (viscosity * conductivity)
    return (STILL["plate"] + free_part(rayleigh, factor, "plate")[0]) * conductivity / length_m


def stack_flow(area_low_m2, area_high_m2, height_m, excess_k, outside_k, *, discharge=DISCHARGE):
    """Air that rises through a low and a high opening (m³/s).

    Q = Cd A sqrt(2 g H ΔT/Ti), Ti that of the warmer air, A of the two openings in series (ASHRAE Handbook of
    Fundamentals, natural ventilation; Cd 0.65).

    Examples
    --------
    >>> round(float(stack_flow(1.0, 1.0, 4.0, 10.0, 293.15)), 3)
    0.739
    """
    area = area_low_m2 * area_high_m2 / np.sqrt(area_low_m2**2 + area_high_m2**2 + 1e-30)
    return discharge * area * np.sqrt(2 * GRAVITY * height_m * np.abs(excess_k) / (outside_k + np.abs(excess_k)))


def exchange_flow_level(area_m2, excess_k, outside_k):
    """Air exchanged through one level opening over warm air (m³/s): 0.055 sqrt(g D⁵ ΔT/T).

    The dependence on size and density is Epstein's (1988, J. Heat Transfer 110:885); the coefficient for thin openings
    is a rule of thumb (common practice, no source), and `UNKNOWN` spreads the flow by 40 %.

    Examples
    --------
    >>> round(float(exchange_flow_level(0.3, 5.0, 293.15)) * 1000, 2)
    6.75
    """
    diameter = np.sqrt(4 * area_m2 / np.pi)
    return 0.055 * np.sqrt(GRAVITY * diameter**5 * np.maximum(excess_k, 0.0) / outside_k)


def exchange_flow_upright(width_m, height_m, excess_k, mean_k, *, discharge=DISCHARGE):
    """Air exchanged each way through an upright opening between two bodies of air (m³/s).

    Q = (Cd/3) W H sqrt(g H |ΔT|/T): Bernoulli's equation with pressures that differ linearly with height from the
    middle, integrated over the upper half (the form of Brown & Solvason 1962, Int. J. Heat Mass Transfer 5:859).

    Examples
    --------
    >>> round(float(exchange_flow_upright(0.9, 2.0, 4.0, 293.15)), 3)
    0.202
    """
    return discharge / 3 * width_m * height_m * np.sqrt(GRAVITY * height_m * np.abs(excess_k) / mean_k)
