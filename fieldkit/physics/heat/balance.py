"""The flux sum of one body as a function of its temperature, and the solver that finds where it is zero."""

import numpy as np
from scipy import constants

from fieldkit.core import FieldkitError
from fieldkit.physics.heat.air import KELVIN, dew_point
from fieldkit.physics.heat.convection import Convection
from fieldkit.physics.heat.evaporation import Skin, stirred
from fieldkit.physics.heat.surroundings import completed

SIGMA = constants.sigma
# The solver stops when gains and losses agree within this (W/m²).
RESIDUAL_W_M2 = 1e-8
_MOST_STEPS = 200


class Balance:
    """The flux sum of one body as a function of its temperature, with all else worked out once."""

    def __init__(self, body, given, *, convection=None):
        given = completed(given)
        air_k = given["air_temperature_c"] + KELVIN
        sky = given["sky_longwave_w_m2"]
        black_air = SIGMA * air_k**4
        sky = black_air if sky is None else sky
        ground_c = given["ground_temperature_c"]
        ground_k = air_k if ground_c is None else ground_c + KELVIN
        substrate_c = given["substrate_temperature_c"]
        exposed = 1.0 - body.contact_fraction
        silhouette = given["silhouette_fraction"]
        silhouette = body.silhouette_fraction if silhouette is None else silhouette

        self.shortwave = given["absorbed_shortwave_w_m2"] + body.shortwave_absorptivity * (
            silhouette * given["dni_w_m2"]
            + exposed * body.sky_view_factor * given["dhi_w_m2"]
            + exposed * body.ground_view_factor * given["ground_upwelling_w_m2"]
        )
        ground_emissivity = given["ground_emissivity"]
        from_ground = ground_emissivity * SIGMA * ground_k**4 + (1 - ground_emissivity) * sky
        elsewhere = max(1.0 - body.sky_view_factor - body.ground_view_factor, 0.0)
        absorbing = body.emissivity * exposed
        self.sky = absorbing * body.sky_view_factor * sky
        self.ground = absorbing * (body.ground_view_factor * from_ground + elsewhere * black_air)
        self.emission = absorbing * SIGMA
        self.exposed = exposed
        self.air_k = air_k
        self.substrate_k = ground_k if substrate_c is None else substrate_c + KELVIN
        self.contact = body.contact_fraction * body.substrate_conductance_w_m2_k
        self.evaporation, self.metabolism = -body.evaporation_w_m2, body.metabolism_w_m2
        self.fixed = self.shortwave + self.sky + self.ground + (self.evaporation + self.metabolism)
        self.coefficient = given["convection_coefficient_w_m2_k"]
        self.convection = convection
        if self.coefficient is None and convection is None:
            self.convection = Convection(
                air_k,
                given["wind_speed_m_s"],
                given["pressure_pa"],
                given["turbulence_factor"],
                body.characteristic_dimension_m,
                body.shape,
            )
        self.skin = None if body.skin_resistance_s_m is None else self._skin(body, given)

    def _skin(self, body, given):
        vapour_kpa = given["vapour_pressure_kpa"]
        if vapour_kpa is None:
            raise FieldkitError(
                "A body with skin_resistance_s_m dries the faster the drier the air: give vapour_pressure_kpa, for "
                "instance fieldkit.physics.heat.air.vapour_pressure of air temperature and relative humidity."
            )
        self.dew_k = dew_point(np.maximum(vapour_kpa, 1e-6)) + KELVIN
        coefficient = self.coefficient
        if self.convection is not None:
            coefficient = self.convection.coefficient(stirred(self.air_k))[0]
        return Skin(self.air_k, vapour_kpa, given["pressure_pa"], body.skin_resistance_s_m, coefficient)

    def take(self, rows):
        """The same for some rows only."""
        part = object.__new__(Balance)
        for name, value in vars(self).items():
            if name in ("convection", "skin") and value is not None:
                value = value.take(rows)
            part.__dict__[name] = value[rows] if np.ndim(value) else value
        return part

    def net(self, body_k):
        """Sum of fluxes, its slope (always negative) and the convection coefficient."""
        if self.convection is None:
            coefficient, change = self.coefficient, 0.0
        else:
            coefficient, change = self.convection.coefficient(body_k)
        cube = self.emission * (body_k * body_k * body_k)
        net = self.fixed - cube * body_k - (self.exposed * coefficient) * (body_k - self.air_k)
        slope = -4.0 * cube - self.exposed * (coefficient + change)
        if self.contact:
            net = net - self.contact * (body_k - self.substrate_k)
            slope = slope - self.contact
        if self.skin is not None:
            loss, rise = self.skin.loss(body_k)
            net = net - self.exposed * loss
            slope = slope - self.exposed * rise
        return net, slope, coefficient

    def bracket(self):
        """Two temperatures between which the sum changes sign: coldest and warmest of air, substrate, sky and dew."""
        with np.errstate(invalid="ignore"):
            radiative = np.sqrt(np.sqrt(np.maximum(self.fixed, 0.0) / self.emission))
        low, high = np.minimum(self.air_k, radiative), np.maximum(self.air_k, radiative)
        if self.contact:
            low, high = np.minimum(low, self.substrate_k), np.maximum(high, self.substrate_k)
        if self.skin is not None:
            low, high = np.minimum(low, self.dew_k), np.maximum(high, self.dew_k)
        return low, high

    def guess(self):
        """First temperature: heat loss linear about air temperature, convection by a rule good to some 20 %."""
        cube = self.emission * self.air_k * self.air_k * self.air_k
        surplus = self.fixed - cube * self.air_k
        stiff = 4.0 * cube
        if self.convection is None:
            stiff = stiff + self.exposed * self.coefficient
        else:
            forced, still = self.convection.rough()
            first = np.abs(surplus) / (stiff + self.exposed * (forced + still + 3.0))
            free = 1.25 * np.sqrt(np.sqrt(first / self.convection.dimension_m))
            stiff = stiff + self.exposed * (still + np.sqrt(forced * forced + free * free))
        if self.contact:
            surplus = surplus + self.contact * (self.substrate_k - self.air_k)
            stiff = stiff + self.contact
        if self.skin is not None:
            loss, rise = self.skin.loss(self.air_k)
            surplus = surplus - self.exposed * loss
            stiff = stiff + self.exposed * rise
        return self.air_k + surplus / stiff

    def solve(self, *, start=None):
        """Temperature (K) at which the sum is zero, by bracketed Newton and inverse Hermite steps.

        Starts at `start` or at `guess`; returns temperature, slope and coefficient. The sum falls steadily with
        temperature, so there is one root and it is always bracketed; a step that leaves the bracket is replaced by
        halving it.
        """
        low, high = self.bracket()
        if np.any(np.asarray(self.fixed) < 0):
            _refuse_if_frozen(self, low)
        body_k = np.clip(self.guess() if start is None else start, low, high)
        net, slope, coefficient = self.net(body_k)
        step = body_k - net / slope
        out = [body_k, net, slope, coefficient * np.ones_like(net)]
        rows, part = None, self
        last, last_net, last_slope = body_k, net, slope
        low, high = np.where(net > 0, body_k, low), np.where(net > 0, high, body_k)
        step = np.where((step >= low) & (step <= high), step, 0.5 * (low + high))
        for number in range(_MOST_STEPS):
            net, slope, coefficient = part.net(step)
            if rows is None:
                out = [step, net, slope, coefficient * np.ones_like(net)]
            else:
                for whole, piece in zip(out, (step, net, slope, coefficient)):
                    whole[rows] = piece
            # A bracket one rounding step wide cannot be narrowed; NaN rows are left as NaN.
            busy = (np.abs(net) > RESIDUAL_W_M2) & (high - low > 4e-16 * high)
            count = np.count_nonzero(busy)
            if not count:
                break
            if count < 0.7 * busy.size:
                where = np.flatnonzero(busy)
                rows = where if rows is None else rows[where]
                part = part.take(where)
                busy, step, net, slope, last, last_net, last_slope, low, high = (
                    a[where] for a in (busy, step, net, slope, last, last_net, last_slope, low, high)
                )
            low, high = np.where(net > 0, step, low), np.where(net > 0, high, step)
            following = _next(last, last_net, last_slope, step, net, slope)
            keep = (following > low) & (following < high)
            if number > 10 and number % 2:
                keep &= False  # bisection every other time ends any cycle
            last, last_net, last_slope = step, net, slope
            step = np.where(busy, np.where(keep, following, 0.5 * (low + high)), step)
        else:
            raise FieldkitError(f"The heat balance found no rest within {_MOST_STEPS} steps: check the inputs.")
        temperature, _, slope, coefficient = out
        return temperature, slope, coefficient


def _next(t0, f0, g0, t1, f1, g1):
    """Newton's step from the last point, bent by the cubic (temperature as a function of flux) through the last two."""
    first = 1.0 / g1
    newton = -f1 * first
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        gap = f0 - f1
        secant = (t0 - t1) / gap
        bend = (secant - first) / gap
        twist = ((1.0 / g0 - secant) / gap - bend) / gap
        bent = f1 * f1 * (bend - twist * f0)
        # Close to the root the differences are rounding noise; a true bend is small beside Newton's step.
        bent = np.where(np.abs(bent) < 0.3 * np.abs(newton), bent, 0.0)
    return t1 + (newton + bent)


def _refuse_if_frozen(balance, low):
    net, _, _ = balance.net(np.maximum(low, 1.0))
    if np.any(net < 0):
        raise FieldkitError(
            "The body loses more heat by evaporation than all gains can supply: check evaporation_w_m2 (per m² of "
            "total surface)."
        )
