"""Water that leaves a skin: heat lost by evaporation, from the humidity of the air and the resistance of the skin.

For the solver; people set `skin_resistance_s_m` of a `Body` and give `vapour_pressure_kpa`.
"""

import numpy as np
from scipy import constants

from fieldkit.physics.heat.air import KELVIN, STANDARD_PRESSURE_PA, dry_air

_VAPOUR_KG_K_J = 0.01801528 / constants.R  # molar mass of water over the gas constant
_STIR_K = 5.0


class Skin:
    """Evaporation of one skin in given air, for each m² of it that is exposed.

    The layer of air above the skin passes vapour as it passes heat (Lewis relation: Bergman et al. 2011, eq. 6.60, with
    the diffusivity 0.211 (T/273.15 K)^1.94 cm²/s of Pruppacher & Klett, eq. 13-3). Its convection is taken with the
    skin 5 K warmer than the air, so that evaporation rises steadily with temperature and the balance keeps one root;
    this matters for wet skin in still air only. Latent heat: Allen et al. (1998) FAO-56, eq. 3-1, at air temperature.
    """

    def __init__(self, air_k, vapour_pressure_kpa, pressure_pa, resistance_s_m, coefficient):
        density, _, _, conductivity, specific_heat, _ = dry_air(air_k, pressure_pa)
        diffusivity = 2.11e-5 * (air_k / KELVIN) ** 1.94 * STANDARD_PRESSURE_PA / pressure_pa
        heat_capacity = density * specific_heat
        lewis = conductivity / heat_capacity / diffusivity
        conductance = coefficient / (resistance_s_m * coefficient + heat_capacity * np.cbrt(lewis) ** 2)
        latent = 2.501e6 - 2361.0 * (air_k - KELVIN)
        # Pressures drive vapour, not densities: at the dew point nothing flows, whatever the temperatures.
        self.scale = latent * 1000.0 * _VAPOUR_KG_K_J / air_k * conductance
        self.outside = vapour_pressure_kpa

    def take(self, rows):
        """The same for some rows only."""
        part = object.__new__(Skin)
        for name, value in vars(self).items():
            part.__dict__[name] = value[rows] if np.ndim(value) else value
        return part

    def loss(self, body_k):
        """Heat lost (W/m²; negative when dew falls) and its slope with temperature, always positive."""
        below = np.maximum(body_k - KELVIN, -200.0) + 240.97  # the pole of the vapour pressure formula lies at -241 °C
        inside = 0.611 * np.exp(17.502 - 17.502 * 240.97 / below)
        return self.scale * (inside - self.outside), self.scale * inside * (17.502 * 240.97) / below**2


def stirred(air_k):
    """Temperature of the skin at which its convection is taken (K)."""
    return air_k + _STIR_K
