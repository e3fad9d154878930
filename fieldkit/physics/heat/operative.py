"""The one energy balance: animal, copper model, thermometer, globe and stone differ in their properties only.

All fluxes are W per m² of the body's *total* surface, positive when the body gains heat. What surrounds the body is
given as a `Surroundings`, as its fields by name, or as both, the names then replacing fields.
"""

import numpy as np

from fieldkit.core import FieldkitError, elementwise, method
from fieldkit.physics.heat.air import KELVIN
from fieldkit.physics.heat.balance import RESIDUAL_W_M2, SIGMA, Balance
from fieldkit.physics.heat.body import Body, copper_model, globe, lizard, probe, silhouette
from fieldkit.physics.heat.surroundings import Surroundings, surroundings_of
from fieldkit.physics.limits import check_inputs

__all__ = [
    "RESIDUAL_W_M2",
    "Body",
    "Surroundings",
    "conductance_campbell_norman",
    "copper_model",
    "energy_balance",
    "fluxes",
    "globe",
    "lizard",
    "mean_radiant_temperature",
    "operative_temperature",
    "operative_temperature_linear",
    "probe",
    "silhouette",
]

CHUNK = 8192  # rows solved together: their arrays stay in the cache of one core


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


def _run(body, given, outputs):
    """Solve or evaluate in pieces that fit in the cache; scalars stay scalars, so they cost nothing."""
    check_inputs(given)
    arrays = {k: np.asarray(v, dtype=float) for k, v in given.items() if v is not None}
    shape = np.broadcast_shapes(*(a.shape for a in arrays.values()))
    size = int(np.prod(shape))
    flat = {k: a.reshape(()) if a.size == 1 else np.broadcast_to(a, shape).reshape(-1) for k, a in arrays.items()}
    result = {name: np.empty(size) for name in outputs}
    for start in range(0, size, CHUNK):
        rows = slice(start, min(start + CHUNK, size))
        piece = dict.fromkeys(given) | {k: a[rows] if a.ndim else a for k, a in flat.items()}
        at = piece.pop("temperature_c", None)
        balance = Balance(body, piece)
        if at is None:
            body_k, slope, coefficient = (np.atleast_1d(a) for a in balance.solve())
        else:
            body_k = np.atleast_1d(at + KELVIN)
            _, slope, coefficient = balance.net(body_k)
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
        "evaporation_w_m2": balance.evaporation
        - (0.0 if balance.skin is None else balance.exposed * balance.skin.loss(body_k)[0]),
        "metabolism_w_m2": balance.metabolism,
    }
    parts["net_w_m2"] = sum(parts.values())
    return parts | {"convection_coefficient_w_m2_k": coefficient, "heat_loss_slope_w_m2_k": -slope}


def _given(surroundings, keywords):
    return {name: v for name, v in vars(surroundings_of(surroundings, keywords)).items() if v is not None}


@elementwise(_TEMPERATURE | _FLUXES, static=("body",))
def _temperature_and_fluxes(*, body, **given):
    return _run(body, given, _TEMPERATURE | _FLUXES)


@elementwise(_FLUXES, static=("body",))
def _fluxes(*, body, **given):
    return _run(body, given, _FLUXES)


@elementwise(_TEMPERATURE, static=("body",))
def _temperature(*, body, **given):
    return _run(body, given, _TEMPERATURE)


def energy_balance(surroundings=None, *, body, **keywords):
    """Operative temperature of a body, and every flux that makes it.

    Operative temperature is where a body without storage of its own comes to rest: gains equal losses.

    Parameters
    ----------
    surroundings : Surroundings, optional
        Air, wind and radiation at the body.
    body : Body
        What is in the balance; ready-made ones: `lizard`, `copper_model`, `probe`, `globe`.
    **keywords
        Fields of `Surroundings`, in place of the object or to replace some of it: ``air_temperature_c=`` (°C) and
        ``wind_speed_m_s=`` (m/s) at least.

    Returns
    -------
    dict, DataFrame or Dataset
        ``operative_temperature_c`` (°C), each flux (W per m² of total surface, positive when gained), their sum
        ``net_w_m2`` (the residual, below 1e-6), ``convection_coefficient_w_m2_k`` and ``heat_loss_slope_w_m2_k``
        (rise of heat loss per kelvin; heat capacity over it is the time constant). Rows with NaN give NaN. Shapes are
        those of the surroundings, broadcast.

    Raises
    ------
    FieldkitError
        When an input is unknown or out of any physical range, or evaporation exceeds all gains.

    Notes
    -----
    Absorbed sun + long-wave from sky and ground - εσT⁴ + h(T)(Ta - T) + contact + metabolism - evaporation = 0, after
    Bakken (1976) J. Theor. Biol. 60:337 and Campbell & Norman (1998) ch. 12, but solved exactly and with h from the
    correlations of `fieldkit.physics.heat.convection` at film temperature.

    Examples
    --------
    >>> ball = Body(characteristic_dimension_m=0.04, shape="sphere", shortwave_absorptivity=0.95)
    >>> still = energy_balance(air_temperature_c=20.0, wind_speed_m_s=0.0, dni_w_m2=800.0, body=ball)
    >>> windy = energy_balance(air_temperature_c=20.0, wind_speed_m_s=3.0, dni_w_m2=800.0, body=ball)
    >>> round(still["operative_temperature_c"], 1), round(windy["operative_temperature_c"], 1)
    (35.3, 24.7)
    """
    return _temperature_and_fluxes(body=body, **_given(surroundings, keywords))


@method
def operative_temperature(surroundings=None, *, body, **keywords):
    """Operative temperature (°C) alone: the same balance as `energy_balance`.

    Parameters
    ----------
    surroundings, body, **keywords
        As in `energy_balance`.

    Returns
    -------
    float, ndarray, Series or DataArray
        °C, of the shape of the surroundings, broadcast.

    Raises
    ------
    FieldkitError
        As `energy_balance`.

    Notes
    -----
    Bakken (1976) J. Theor. Biol. 60:337, solved exactly; see `energy_balance`.

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
    return _temperature(body=body, **_given(surroundings, keywords))


def fluxes(surroundings=None, *, temperature_c, body, **keywords):
    """Every flux of a body that is at a given temperature; their sum warms or cools it.

    Parameters
    ----------
    surroundings, body, **keywords
        As in `energy_balance`.
    temperature_c : array_like
        Temperature of the body (°C).

    Returns
    -------
    dict, DataFrame or Dataset
        As `energy_balance` (W/m²), without the operative temperature.

    Raises
    ------
    FieldkitError
        As `energy_balance`.

    Notes
    -----
    The terms of the balance in `energy_balance` (Bakken 1976), not set to zero.

    Examples
    --------
    >>> lump = Body(characteristic_dimension_m=0.03)
    >>> at = fluxes(temperature_c=35.0, air_temperature_c=25.0, wind_speed_m_s=0.5, body=lump)
    >>> round(at["net_w_m2"]), round(at["convection_w_m2"])
    (-198, -138)
    """
    return _fluxes(body=body, temperature_c=temperature_c, **_given(surroundings, keywords))


@elementwise({"mean_radiant_temperature_c": {"units": "degC", "long_name": "mean radiant temperature"}})
def mean_radiant_temperature(
    *, globe_temperature_c, air_temperature_c, wind_speed_m_s, diameter_m=0.15, emissivity=0.95
):
    """Mean radiant temperature (°C) from a globe thermometer, by the formulas of ISO 7726.

    Parameters
    ----------
    globe_temperature_c, air_temperature_c : array_like
        Reading of the globe and shade air temperature (°C).
    wind_speed_m_s : array_like
        Wind at the globe (m/s).
    diameter_m : array_like
        Diameter of **this** globe (m). Short formulas printed for the 0.15 m globe read 15 K wrong on a 0.04 m one.
    emissivity : array_like, optional
        Of its paint; 0.95 matt black.

    Returns
    -------
    float, ndarray, Series or DataArray
        °C. NaN where the readings contradict each other (no radiation could make them).

    Raises
    ------
    FieldkitError
        When wind is negative or the diameter is not in metres.

    Notes
    -----
    ISO 7726:1998, annex B: convection is the larger of 1.4 (ΔT/D)^¼ and 6.3 v^0.6/D^0.4. It measures the absorbed
    radiation as if it were all long-wave. Under 0.3 m/s the result is unsure by several K: an error of 0.1 m/s moves
    the forced coefficient by 20 %.

    Examples
    --------
    >>> round(mean_radiant_temperature(globe_temperature_c=55, air_temperature_c=30, wind_speed_m_s=0.3), 1)
    74.6
    """
    check_inputs(locals())
    if np.any(wind_speed_m_s < 0) or np.any((diameter_m <= 0) | (diameter_m > 1)):
        raise FieldkitError("wind_speed_m_s must not be negative and diameter_m is the globe's diameter in metres.")
    excess = globe_temperature_c - air_temperature_c
    free = 1.4 * (np.abs(excess) / diameter_m) ** 0.25
    forced = 6.3 * wind_speed_m_s**0.6 / diameter_m**0.4
    fourth = (globe_temperature_c + KELVIN) ** 4 + np.maximum(free, forced) * excess / (emissivity * SIGMA)
    return np.where(fourth > 0, np.maximum(fourth, 0.0) ** 0.25, np.nan) - KELVIN


MOLAR_HEAT_J_MOL_K = 29.3  # air, as Campbell & Norman (1998) print it; 0.5 % above the reference value


@elementwise({"conductance_mol_m2_s": {"units": "mol m-2 s-1", "long_name": "boundary layer conductance for heat"}})
def conductance_campbell_norman(wind_speed_m_s, characteristic_dimension_m, *, turbulence_factor=1.4):
    """Boundary-layer conductance for heat (mol/m²/s) by the short formula of the textbook, for comparison.

    Parameters
    ----------
    wind_speed_m_s, characteristic_dimension_m : array_like
        m/s and m.
    turbulence_factor : array_like, optional
        1.4 outdoors, 1 in smooth indoor air.

    Returns
    -------
    float, ndarray, Series or DataArray
        mol/m²/s; times 29.3 J/mol/K it is a convection coefficient in W/m²/K.

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Notes
    -----
    Campbell & Norman (1998) Table 7.6: 0.135 √(u/d), a laminar flat plate. It vanishes in still air: use
    `fieldkit.physics.heat.convection.convection_coefficient` there.

    Examples
    --------
    >>> round(conductance_campbell_norman(1.0, 0.05), 6)
    0.845234
    """
    check_inputs(locals())
    return turbulence_factor * 0.135 * np.sqrt(wind_speed_m_s / characteristic_dimension_m)


@elementwise(_TEMPERATURE)
def operative_temperature_linear(
    *, air_temperature_c, absorbed_radiation_w_m2, conductance_mol_m2_s, emissivity=0.95, radiative_emissivity=1.0
):
    """Operative temperature (°C) by the textbook's linear formula, for teaching and checking.

    Parameters
    ----------
    air_temperature_c : array_like
        °C.
    absorbed_radiation_w_m2 : array_like
        Absorbed short- **and** long-wave radiation (W per m² of surface).
    conductance_mol_m2_s : array_like
        Boundary-layer conductance, see `conductance_campbell_norman`.
    emissivity : array_like, optional
        In the emitted radiation.
    radiative_emissivity : array_like, optional
        In the radiative conductance 4 ε σ T³/cp; the textbook takes 1.

    Returns
    -------
    float, ndarray, Series or DataArray
        °C.

    Raises
    ------
    FieldkitError
        When an input is out of any physical range.

    Notes
    -----
    Campbell & Norman (1998) ch. 12: Te = Ta + (Rabs - εσTa⁴)/(cp (gr + gHa)). Good to some 0.1 K while body and air
    differ by less than 10 K; `operative_temperature` solves the balance itself.

    Examples
    --------
    >>> round(operative_temperature_linear(air_temperature_c=30.0, absorbed_radiation_w_m2=700.0,
    ...                                    conductance_mol_m2_s=0.845234), 2)
    37.88
    """
    check_inputs(locals())
    kelvin = air_temperature_c + KELVIN
    surplus = absorbed_radiation_w_m2 - emissivity * SIGMA * kelvin**4
    stiff = MOLAR_HEAT_J_MOL_K * conductance_mol_m2_s + 4 * radiative_emissivity * SIGMA * kelvin**3
    return air_temperature_c + surplus / stiff
