"""The one energy balance: animal, copper model, thermometer, globe and stone are the same function with other properties.

All fluxes are W per m² of the body's *total* surface, positive when the body gains heat.
"""

from dataclasses import dataclass

import numpy as np
from scipy import constants

from fieldkit.core import FieldkitError, elementwise
from fieldkit.physics.air import KELVIN, STANDARD_PRESSURE_PA
from fieldkit.physics.convection import SHAPES, Convection

SIGMA = constants.sigma
# The solver stops when gains and losses agree within this (W/m²).
RESIDUAL_W_M2 = 1e-8
_CHUNK = 8192  # rows solved together: their arrays stay in the cache of one core
_MOST_STEPS = 200


@dataclass(frozen=True, kw_only=True)
class Body:
    """What the heat balance needs to know about an object. Areas are shares of its total surface.

    Parameters
    ----------
    characteristic_dimension_m : float
        Diameter across the wind (m); for a plate its length along the wind.
    shape : {"cylinder", "sphere", "plate"}
    shortwave_absorptivity, emissivity : float
        Share of sunlight absorbed, 0 to 1; long-wave emissivity (= absorptivity), above 0 to 1.
    silhouette_fraction : float
        Area of the shadow on a plane across the rays, over the total surface. Sphere 1/4; long cylinder across the
        rays 1/π; any convex body averaged over all directions 1/4 (Cauchy's theorem).
    sky_view_factor, ground_view_factor : float
        Shares of the exposed surface that see sky and ground. What is left of 1 sees leaves, rocks or walls as warm
        as the air.
    contact_fraction : float
        Share of the surface that lies on the substrate: it conducts and does nothing else.
    substrate_conductance_w_m2_k : float
        Heat through each m² of contact per kelvin (W/m²/K).
    evaporation_w_m2, metabolism_w_m2 : float
        Heat lost by evaporation and made by metabolism (W/m² of total surface).
    mass_kg, specific_heat_j_kg_k, area_m2 : float, optional
        Needed for warming and cooling only.

    Raises
    ------
    FieldkitError
        When a property is out of its range.

    Examples
    --------
    >>> Body(characteristic_dimension_m=0.02, shape="sphere", shortwave_absorptivity=0.9).heat_capacity_j_m2_k is None
    True
    """

    characteristic_dimension_m: float
    shape: str = "cylinder"
    shortwave_absorptivity: float = 0.9
    emissivity: float = 0.95
    silhouette_fraction: float = 0.25
    sky_view_factor: float = 0.5
    ground_view_factor: float = 0.5
    contact_fraction: float = 0.0
    substrate_conductance_w_m2_k: float = 0.0
    evaporation_w_m2: float = 0.0
    metabolism_w_m2: float = 0.0
    mass_kg: float | None = None
    specific_heat_j_kg_k: float | None = None
    area_m2: float | None = None

    def __post_init__(self):
        if self.shape not in SHAPES:
            raise FieldkitError(f"shape must be one of {', '.join(SHAPES)}, not {self.shape!r}.")
        if not 1e-6 <= self.characteristic_dimension_m <= 100:
            raise FieldkitError(
                f"characteristic_dimension_m is {self.characteristic_dimension_m}: give the diameter in metres."
            )
        for name in ("shortwave_absorptivity", "silhouette_fraction", "sky_view_factor", "ground_view_factor"):
            if not 0 <= getattr(self, name) <= 1:
                raise FieldkitError(f"{name} is {getattr(self, name)}: it is a share and must lie between 0 and 1.")
        if not 0 < self.emissivity <= 1:
            raise FieldkitError(f"emissivity is {self.emissivity}: it must be above 0 and at most 1.")
        if not 0 <= self.contact_fraction < 1:
            raise FieldkitError(f"contact_fraction is {self.contact_fraction}: it must be at least 0 and below 1.")
        if self.sky_view_factor + self.ground_view_factor > 1 + 1e-9:
            raise FieldkitError("sky_view_factor and ground_view_factor add up to more than 1.")
        if self.substrate_conductance_w_m2_k < 0:
            raise FieldkitError("substrate_conductance_w_m2_k must not be negative.")
        for name in ("mass_kg", "specific_heat_j_kg_k", "area_m2"):
            if getattr(self, name) is not None and not getattr(self, name) > 0:
                raise FieldkitError(f"{name} is {getattr(self, name)}: it must be above 0.")

    @property
    def heat_capacity_j_m2_k(self):
        """Heat that warms the body by 1 K, per m² of its surface (J/m²/K); None when mass or area is not known."""
        if self.mass_kg is None or self.specific_heat_j_kg_k is None or self.area_m2 is None:
            return None
        return self.mass_kg * self.specific_heat_j_kg_k / self.area_m2


_FLUXES = {
    "shortwave_w_m2": {"units": "W m-2", "long_name": "absorbed short-wave radiation"},
    "sky_longwave_w_m2": {"units": "W m-2", "long_name": "absorbed long-wave radiation from the sky"},
    "ground_longwave_w_m2": {
        "units": "W m-2",
        "long_name": "absorbed long-wave radiation from ground and surroundings",
    },
    "emitted_w_m2": {"units": "W m-2", "long_name": "emitted long-wave radiation (negative)"},
    "convection_w_m2": {"units": "W m-2", "long_name": "heat gained from the air"},
    "conduction_w_m2": {"units": "W m-2", "long_name": "heat gained from the substrate"},
    "evaporation_w_m2": {"units": "W m-2", "long_name": "heat gained by evaporation (negative)"},
    "metabolism_w_m2": {"units": "W m-2", "long_name": "heat made by metabolism"},
    "net_w_m2": {"units": "W m-2", "long_name": "sum of all fluxes"},
    "convection_coefficient_w_m2_k": {"units": "W m-2 K-1", "long_name": "convection coefficient"},
    "heat_loss_slope_w_m2_k": {"units": "W m-2 K-1", "long_name": "rise of heat loss per kelvin of body temperature"},
}
_TEMPERATURE = {"operative_temperature_c": {"units": "degC", "long_name": "operative temperature"}}


class _Balance:
    """The flux sum of one body as a function of its temperature, with all else worked out once."""

    def __init__(self, body, given):
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
            silhouette * given["beam_normal_w_m2"]
            + exposed * body.sky_view_factor * given["diffuse_w_m2"]
            + exposed * body.ground_view_factor * given["reflected_w_m2"]
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
        self.convection = None
        if self.coefficient is None:
            self.convection = Convection(
                air_k,
                given["wind_speed_m_s"],
                given["pressure_pa"],
                given["turbulence_factor"],
                body.characteristic_dimension_m,
                body.shape,
            )

    def take(self, rows):
        """The same for some rows only."""
        part = object.__new__(_Balance)
        for name, value in vars(self).items():
            if isinstance(value, Convection):
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
        return net, slope, coefficient

    def bracket(self):
        """Two temperatures between which the sum changes sign: coldest and warmest of air, substrate and radiation."""
        with np.errstate(invalid="ignore"):
            radiative = np.sqrt(np.sqrt(np.maximum(self.fixed, 0.0) / self.emission))
        low, high = np.minimum(self.air_k, radiative), np.maximum(self.air_k, radiative)
        if self.contact:
            low, high = np.minimum(low, self.substrate_k), np.maximum(high, self.substrate_k)
        return low, high

    def guess(self):
        """First temperature: heat loss linear about air temperature, convection by a rule good to some 20 %."""
        cube = self.emission * self.air_k * self.air_k * self.air_k
        surplus = self.fixed - cube * self.air_k
        stiff = 4.0 * cube
        if self.convection is None:
            stiff = stiff + self.exposed * self.coefficient
        else:
            dimension = self.convection.dimension_m
            share = self.convection.pressure_pa / STANDARD_PRESSURE_PA
            wind = self.convection.flow * share
            forced = 3.6 * np.sqrt(wind) * (1.0 + 0.9 * np.sqrt(wind)) / dimension
            forced = np.minimum(forced, 3.6 * np.sqrt(wind) * 2.2 / dimension) + 0.01 / dimension
            first = np.abs(surplus) / (stiff + self.exposed * (forced + 3.0))
            free = 1.3 * np.sqrt(np.sqrt(first / dimension))
            stiff = stiff + self.exposed * np.sqrt(forced * forced + free * free)
        if self.contact:
            surplus = surplus + self.contact * (self.substrate_k - self.air_k)
            stiff = stiff + self.contact
        return self.air_k + surplus / stiff

    def solve(self):
        """Temperature (K) at which the sum is zero, by bracketed Newton and inverse Hermite steps.

        Returns temperature, residual, slope and coefficient. The sum falls steadily with temperature, so there is one
        root and it is always bracketed; a step that leaves the bracket or gains too little is halved instead.
        """
        low, high = self.bracket()
        if np.any(np.asarray(self.fixed) < 0):
            _refuse_if_frozen(self, low)
        body_k = np.clip(self.guess(), low, high)
        net, slope, coefficient = self.net(body_k)
        step = body_k - net / slope
        out = [body_k, net, slope, coefficient * np.ones_like(net)]
        rows, part = None, self
        last, last_net, last_slope = body_k, net, slope
        low, high = np.where(net > 0, body_k, low), np.where(net > 0, high, body_k)
        step = np.where((step >= low) & (step <= high), step, 0.5 * (low + high))
        for _ in range(_MOST_STEPS):
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
                step, net, slope, last, last_net, last_slope, low, high = (
                    a[where] for a in (step, net, slope, last, last_net, last_slope, low, high)
                )
            low, high = np.where(net > 0, step, low), np.where(net > 0, high, step)
            following = _inverse_hermite(last, last_net, last_slope, step, net, slope)
            poor = np.abs(net) > 0.5 * np.abs(last_net)
            keep = (following > low) & (following < high) & ~poor
            last, last_net, last_slope = step, net, slope
            step = np.where(keep, following, 0.5 * (low + high))
        return out


def _inverse_hermite(t0, f0, g0, t1, f1, g1):
    """Where the cubic through two points with slopes, read as temperature against flux, crosses zero flux."""
    gap = f0 - f1
    with np.errstate(divide="ignore", invalid="ignore"):
        secant = (t0 - t1) / gap
        first = 1.0 / g1
        bend = (secant - first) / gap
        twist = ((1.0 / g0 - secant) / gap - bend) / gap
        step = t1 - f1 * first + f1 * f1 * (bend - twist * f0)
        return np.where(np.isfinite(step), step, t1 - f1 / g1)


def _refuse_if_frozen(balance, low):
    net, _, _ = balance.net(np.maximum(low, 1.0))
    if np.any(net < 0):
        raise FieldkitError(
            "The body loses more heat by evaporation than all gains can supply: check evaporation_w_m2 (per m² of total "
            "surface)."
        )


def _check(given):
    """Refuse what cannot be: the usual slips are kelvin for °C, a minus in front of the wind, a missing-value code."""
    limits = {
        "air_temperature_c": (-100, 100, "°C"),
        "ground_temperature_c": (-KELVIN, 1000, "°C"),
        "substrate_temperature_c": (-KELVIN, 1000, "°C"),
        "wind_speed_m_s": (0, 120, "m/s"),
        "beam_normal_w_m2": (-20, 5e4, "W/m²"),
        "diffuse_w_m2": (-20, 5e4, "W/m²"),
        "reflected_w_m2": (-20, 5e4, "W/m²"),
        "absorbed_shortwave_w_m2": (-20, 5e4, "W/m²"),
        "sky_longwave_w_m2": (0, 5e4, "W/m²"),
        "ground_emissivity": (0, 1, ""),
        "pressure_pa": (1, 2e5, "Pa"),
        "turbulence_factor": (0, 5, ""),
        "convection_coefficient_w_m2_k": (0, np.inf, "W/m²/K"),
        "silhouette_fraction": (0, 1, ""),
    }
    for name, (low, high, unit) in limits.items():
        value = given[name]
        if value is None:
            continue
        least, most = np.nanmin(value, initial=np.inf), np.nanmax(value, initial=-np.inf)
        if least < low or most > high:
            wrong = least if least < low else most
            raise FieldkitError(
                f"{name} is {wrong:g} {unit}".rstrip()
                + f": it must lie between {low:g} and {high:g}. Check the unit and the missing-value code."
            )


def _run(body, given, outputs):
    """Solve or evaluate in pieces that fit in the cache; scalars stay scalars, so they cost nothing."""
    _check(given)
    arrays = {k: np.asarray(v, dtype=float) for k, v in given.items() if v is not None}
    shape = np.broadcast_shapes(*(a.shape for a in arrays.values()))
    size = int(np.prod(shape))
    flat = {k: a.reshape(()) if a.size == 1 else np.broadcast_to(a, shape).reshape(-1) for k, a in arrays.items()}
    result = {name: np.empty(size) for name in outputs}
    for start in range(0, size, _CHUNK):
        rows = slice(start, min(start + _CHUNK, size))
        piece = {k: None for k in given} | {k: a[rows] if a.ndim else a for k, a in flat.items()}
        at = piece.pop("temperature_c", None)
        balance = _Balance(body, piece)
        if at is None:
            body_k, net, slope, coefficient = (np.atleast_1d(a) for a in balance.solve())
        else:
            body_k = np.atleast_1d(at + KELVIN)
            net, slope, coefficient = balance.net(body_k)
        result_piece = {"operative_temperature_c": body_k - KELVIN}
        if len(outputs) > 1:
            result_piece |= _parts(balance, body_k, coefficient, slope)
        for name in outputs:
            result[name][rows] = result_piece[name]
    result = {name: array.reshape(shape) for name, array in result.items()}
    return result[next(iter(outputs))] if len(outputs) == 1 else result


def _parts(balance, body_k, coefficient, slope):
    parts = {
        "shortwave_w_m2": balance.shortwave,
        "sky_longwave_w_m2": balance.sky,
        "ground_longwave_w_m2": balance.ground,
        "emitted_w_m2": -balance.emission * body_k**4,
        "convection_w_m2": -balance.exposed * coefficient * (body_k - balance.air_k),
        "conduction_w_m2": -balance.contact * (body_k - balance.substrate_k),
        "evaporation_w_m2": balance.evaporation,
        "metabolism_w_m2": balance.metabolism,
    }
    parts["net_w_m2"] = sum(parts.values())
    return parts | {"convection_coefficient_w_m2_k": coefficient, "heat_loss_slope_w_m2_k": -slope}


@elementwise(_TEMPERATURE | _FLUXES, static=("body",))
def energy_balance(
    *,
    air_temperature_c,
    wind_speed_m_s,
    body,
    absorbed_shortwave_w_m2=0.0,
    beam_normal_w_m2=0.0,
    diffuse_w_m2=0.0,
    reflected_w_m2=0.0,
    sky_longwave_w_m2=None,
    ground_temperature_c=None,
    substrate_temperature_c=None,
    ground_emissivity=0.95,
    silhouette_fraction=None,
    pressure_pa=STANDARD_PRESSURE_PA,
    turbulence_factor=1.0,
    convection_coefficient_w_m2_k=None,
):
    """Operative temperature of a body, and every flux that makes it.

    Operative temperature is where a body without storage of its own comes to rest: gains equal losses.

    Parameters
    ----------
    air_temperature_c, wind_speed_m_s : array_like
        Shade air temperature (°C) and wind at the body (m/s; weather wind is measured higher up, see
        `fieldkit.physics.air.wind_at_height`).
    body : Body
    absorbed_shortwave_w_m2 : array_like, optional
        Short-wave radiation already absorbed, per m² of the body's total surface (W/m²); adds to the parts below.
    beam_normal_w_m2, diffuse_w_m2, reflected_w_m2 : array_like, optional
        Irradiance (W/m²) of the beam on a plane across its rays, of the sky on a level plane from above, and of the
        ground on a level plane from below.
    sky_longwave_w_m2 : array_like, optional
        Long-wave radiation from above (W/m²): measured, or `fieldkit.physics.air.sky_longwave`. Without it what is
        above is as warm as the air, which holds under a dense canopy or a lid and **not** under an open sky.
    ground_temperature_c, substrate_temperature_c : array_like, optional
        Surface that is seen and surface that is touched (°C). Ground: air temperature unless given; substrate: ground.
    ground_emissivity : array_like, optional
        The ground reflects the rest of the sky's long-wave radiation.
    silhouette_fraction : array_like, optional
        In place of the body's own, e.g. when it turns to the sun.
    pressure_pa : array_like, optional
        Air pressure (Pa): thin air carries off less heat.
    turbulence_factor : array_like, optional
        Multiplies forced convection; 1.4 outdoors after Campbell & Norman (1998), see `convection_coefficient`.
    convection_coefficient_w_m2_k : array_like, optional
        Given in place of the correlations (W/m²/K); wind, shape and size then do not matter.

    Returns
    -------
    dict, DataFrame or Dataset
        ``operative_temperature_c``, each flux (W per m² of total surface, positive when gained), their sum
        ``net_w_m2`` (the residual, below 1e-6), ``convection_coefficient_w_m2_k`` and ``heat_loss_slope_w_m2_k``
        (rise of heat loss per kelvin; heat capacity over it is the time constant). Rows with NaN give NaN.

    Raises
    ------
    FieldkitError
        When an input is out of any physical range, or evaporation exceeds all gains.

    Notes
    -----
    Absorbed sun + long-wave from sky and ground - εσT⁴ + h(T)(Ta - T) + contact + metabolism - evaporation = 0, after
    Bakken (1976) J. Theor. Biol. 60:337 and Campbell & Norman (1998) ch. 12, but solved exactly and with h from the
    correlations of `fieldkit.physics.convection` at film temperature.

    Examples
    --------
    >>> ball = Body(characteristic_dimension_m=0.04, shape="sphere", shortwave_absorptivity=0.95)
    >>> still = energy_balance(air_temperature_c=20.0, wind_speed_m_s=0.0, beam_normal_w_m2=800.0, body=ball)
    >>> windy = energy_balance(air_temperature_c=20.0, wind_speed_m_s=3.0, beam_normal_w_m2=800.0, body=ball)
    >>> round(still["operative_temperature_c"], 1), round(windy["operative_temperature_c"], 1)
    (35.3, 24.7)
    """
    given = dict(locals())
    body = given.pop("body")
    return _run(body, given, _TEMPERATURE | _FLUXES)


@elementwise(_TEMPERATURE, static=("body",))
def operative_temperature(
    *,
    air_temperature_c,
    wind_speed_m_s,
    body,
    absorbed_shortwave_w_m2=0.0,
    beam_normal_w_m2=0.0,
    diffuse_w_m2=0.0,
    reflected_w_m2=0.0,
    sky_longwave_w_m2=None,
    ground_temperature_c=None,
    substrate_temperature_c=None,
    ground_emissivity=0.95,
    silhouette_fraction=None,
    pressure_pa=STANDARD_PRESSURE_PA,
    turbulence_factor=1.0,
    convection_coefficient_w_m2_k=None,
):
    """Operative temperature (°C) alone: the same balance as `energy_balance`, which explains the parameters.

    Parameters
    ----------
    air_temperature_c, wind_speed_m_s, body, absorbed_shortwave_w_m2, beam_normal_w_m2, diffuse_w_m2, reflected_w_m2, \
sky_longwave_w_m2, ground_temperature_c, substrate_temperature_c, ground_emissivity, silhouette_fraction, pressure_pa, \
turbulence_factor, convection_coefficient_w_m2_k
        As in `energy_balance`.

    Returns
    -------
    float, ndarray, Series or DataArray
        °C.

    Raises
    ------
    FieldkitError
        As `energy_balance`.

    Examples
    --------
    >>> lump = Body(characteristic_dimension_m=0.03)
    >>> round(operative_temperature(air_temperature_c=25.0, wind_speed_m_s=0.5, absorbed_shortwave_w_m2=0.0,
    ...                             body=lump), 6)
    25.0
    >>> round(operative_temperature(air_temperature_c=25.0, wind_speed_m_s=0.5, absorbed_shortwave_w_m2=200.0,
    ...                             body=lump), 1)
    35.1
    """
    given = dict(locals())
    body = given.pop("body")
    return _run(body, given, _TEMPERATURE)


@elementwise(_FLUXES, static=("body",))
def fluxes(
    *,
    temperature_c,
    air_temperature_c,
    wind_speed_m_s,
    body,
    absorbed_shortwave_w_m2=0.0,
    beam_normal_w_m2=0.0,
    diffuse_w_m2=0.0,
    reflected_w_m2=0.0,
    sky_longwave_w_m2=None,
    ground_temperature_c=None,
    substrate_temperature_c=None,
    ground_emissivity=0.95,
    silhouette_fraction=None,
    pressure_pa=STANDARD_PRESSURE_PA,
    turbulence_factor=1.0,
    convection_coefficient_w_m2_k=None,
):
    """Every flux of a body that is at a given temperature; their sum warms or cools it.

    Parameters
    ----------
    temperature_c : array_like
        Temperature of the body (°C).
    air_temperature_c, wind_speed_m_s, body, absorbed_shortwave_w_m2, beam_normal_w_m2, diffuse_w_m2, reflected_w_m2, \
sky_longwave_w_m2, ground_temperature_c, substrate_temperature_c, ground_emissivity, silhouette_fraction, pressure_pa, \
turbulence_factor, convection_coefficient_w_m2_k
        As in `energy_balance`.

    Returns
    -------
    dict, DataFrame or Dataset
        As `energy_balance`, without the operative temperature.

    Raises
    ------
    FieldkitError
        As `energy_balance`.

    Examples
    --------
    >>> lump = Body(characteristic_dimension_m=0.03)
    >>> at = fluxes(temperature_c=35.0, air_temperature_c=25.0, wind_speed_m_s=0.5, body=lump)
    >>> round(at["net_w_m2"]), round(at["convection_w_m2"])
    (-198, -138)
    """
    given = dict(locals())
    body = given.pop("body")
    return _run(body, given, _FLUXES)
