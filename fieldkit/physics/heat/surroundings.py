"""What surrounds a body in the heat balance: one set of names, defaults and meanings for every function."""

from dataclasses import dataclass, fields, replace
from typing import Any

from fieldkit.core import FieldkitError
from fieldkit.physics.atmosphere import pressure_or_height


@dataclass(frozen=True, kw_only=True, eq=False)
class Surroundings:
    """Air, wind and radiation at a body.

    Every field is a scalar, an array, a Series or a DataArray; they broadcast against each other.

    Attributes
    ----------
    air_temperature_c, wind_speed_m_s : array_like
        Shade air temperature (°C) and wind at the body (m/s; weather wind is measured higher up, see
        `fieldkit.physics.heat.air.wind_at_height`).
    absorbed_shortwave_w_m2 : array_like
        Short-wave radiation already absorbed, per m² of the body's total surface (W/m²); adds to the parts below.
    dni_w_m2, dhi_w_m2, ground_upwelling_w_m2 : array_like
        Irradiance (W/m²) as `fieldkit.physics.sun` gives it: of the beam on a plane across its rays (sun, or a lamp at
        the place of the body), of the sky on a level plane, and of the ground on a level plane that faces down.
    sky_longwave_w_m2 : array_like, optional
        Long-wave radiation from above (W/m²): measured, or `fieldkit.physics.heat.air.sky_longwave`. Without it what is
        above is as warm as the air, which holds under a dense canopy or a lid and **not** under an open sky.
    ground_temperature_c, substrate_temperature_c : array_like, optional
        Surface that is seen and surface that is touched (°C). Ground: air temperature unless given; substrate: ground.
    ground_emissivity : array_like
        The ground reflects the rest of the sky's long-wave radiation (0 to 1).
    silhouette_fraction : array_like, optional
        In place of the body's own (0 to 1), e.g. when it turns to the sun: see `silhouette`.
    pressure_pa : array_like, optional
        Air pressure (Pa): thin air carries off less heat. None: that of the standard atmosphere at `elevation_m`.
    elevation_m : array_like
        Metres above sea level; counts only while the pressure is not given.
    turbulence_factor : array_like
        Multiplies forced convection; 1.4 outdoors after Campbell & Norman (1998), see `convection_coefficient`.
    convection_coefficient_w_m2_k : array_like, optional
        Given in place of the correlations (W/m²/K); wind, shape and size then do not matter.
    vapour_pressure_kpa : array_like, optional
        Of the air (kPa), see `fieldkit.physics.heat.vapour_pressure`; needed by a body with `skin_resistance_s_m` and
        of no account to any other.

    Examples
    --------
    >>> from fieldkit.physics import heat
    >>> noon = Surroundings(air_temperature_c=25.0, wind_speed_m_s=1.0, dni_w_m2=850.0, elevation_m=2000.0)
    >>> black = heat.globe(diameter_m=0.15)
    >>> round(heat.operative_temperature(noon, body=black), 1)
    38.2
    >>> round(heat.operative_temperature(noon, body=black, dni_w_m2=0.0), 1)
    25.0
    """

    air_temperature_c: Any
    wind_speed_m_s: Any
    absorbed_shortwave_w_m2: Any = 0.0
    dni_w_m2: Any = 0.0
    dhi_w_m2: Any = 0.0
    ground_upwelling_w_m2: Any = 0.0
    sky_longwave_w_m2: Any = None
    ground_temperature_c: Any = None
    substrate_temperature_c: Any = None
    ground_emissivity: Any = 0.95
    silhouette_fraction: Any = None
    pressure_pa: Any = None
    elevation_m: Any = 0.0
    turbulence_factor: Any = 1.0
    convection_coefficient_w_m2_k: Any = None
    vapour_pressure_kpa: Any = None


NAMES = tuple(field.name for field in fields(Surroundings))
DEFAULTS = {field.name: field.default for field in fields(Surroundings)[2:]}


def surroundings_of(surroundings, keywords):
    """One `Surroundings` from an object, from keywords, or from an object with some of it said anew.

    Raises
    ------
    FieldkitError
        When a keyword is none of the fields, or air temperature or wind are missing.
    """
    unknown = [name for name in keywords if name not in NAMES]
    if unknown:
        raise FieldkitError(f"'{unknown[0]}' is not one of the surroundings of a body: choose from {', '.join(NAMES)}.")
    if isinstance(surroundings, Surroundings):
        return replace(surroundings, **keywords)
    if surroundings is not None:
        raise FieldkitError(
            f"{type(surroundings).__name__} is given as surroundings: give a heat.Surroundings, or its fields by name."
        )
    missing = [name for name in NAMES[:2] if name not in keywords]
    if missing:
        raise FieldkitError(f"The heat balance needs {' and '.join(missing)}.")
    return Surroundings(**keywords)


def completed(given):
    """A dict of surroundings with every default filled in, the pressure from the height among them."""
    given = DEFAULTS | given
    return given | {"pressure_pa": pressure_or_height(given["pressure_pa"], given["elevation_m"])}
