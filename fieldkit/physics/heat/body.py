"""What the heat balance needs to know about an object, and ready-made objects with their sources."""

import math
from dataclasses import dataclass

import numpy as np

from fieldkit.core import FieldkitError, elementwise
from fieldkit.physics.heat.convection import SHAPES
from fieldkit.physics.limits import check_inputs


@dataclass(frozen=True, kw_only=True)
class Body:
    """What the heat balance needs to know about an object. Areas are shares of its total surface.

    Parameters
    ----------
    characteristic_dimension_m : float
        Diameter across the wind (m); for a plate its length along the wind.
    shape : {"cylinder", "sphere", "plate", "upper face"}
        A plate has two sides in the air; an upper face is the top of something level (set its sky view to 1).
    shortwave_absorptivity, emissivity : float
        Share of sunlight absorbed, 0 to 1; long-wave emissivity (= absorptivity), above 0 to 1.
    silhouette_fraction : float
        Area of the shadow on a plane across the rays, over the total surface. Sphere 1/4; long cylinder across the
        rays 1/π; any convex body averaged over all directions 1/4 (Cauchy's theorem). For one height of the sun see
        `silhouette`.
    sky_view_factor, ground_view_factor : float
        Shares of the exposed surface that see sky and ground. What is left of 1 sees leaves, rocks or walls as warm
        as the air.
    contact_fraction : float
        Share of the surface that lies on the substrate: it conducts and does nothing else.
    substrate_conductance_w_m2_k : float
        Heat through each m² of contact per kelvin (W/m²/K).
    evaporation_w_m2, metabolism_w_m2 : float
        Heat lost by evaporation whatever the weather, as by breathing, and made by metabolism (W/m² of total surface).
    skin_resistance_s_m : float, optional
        Resistance of the exposed skin to water vapour (s/m): 0 when wet, some 1e4 to 1e5 in reptiles (rule of thumb,
        no source). The balance then needs ``vapour_pressure_kpa``. A dry reptile loses 1 to 5 W/m² and is 0.1
        to 0.3 K cooler for it: leave it out unless the animal is wet.
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
    skin_resistance_s_m: float | None = None
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
        if self.skin_resistance_s_m is not None and not self.skin_resistance_s_m >= 0:
            raise FieldkitError(f"skin_resistance_s_m is {self.skin_resistance_s_m}: it must not be negative.")
        for name in ("mass_kg", "specific_heat_j_kg_k", "area_m2"):
            if getattr(self, name) is not None and not getattr(self, name) > 0:
                raise FieldkitError(f"{name} is {getattr(self, name)}: it must be above 0.")

    @property
    def heat_capacity_j_m2_k(self):
        """Heat that warms the body by 1 K, per m² of its surface (J/m²/K); None when mass or area is not known."""
        if self.mass_kg is None or self.specific_heat_j_kg_k is None or self.area_m2 is None:
            return None
        return self.mass_kg * self.specific_heat_j_kg_k / self.area_m2


def _cylinder_area(length_m, diameter_m):
    return math.pi * diameter_m * length_m + math.pi * diameter_m**2 / 2


def _lying_views(contact_fraction):
    """Views of sky and ground from the exposed part of a cylinder whose lowest strip lies on the ground.

    The strip sees ground only, so what is left of the skin sees more sky than ground: the mean of (1 + cos β)/2 over
    the arc that is left.
    """
    strip = math.pi * contact_fraction
    sky = 0.5 + math.sin(strip) / (2 * (math.pi - strip))
    return {"sky_view_factor": sky, "ground_view_factor": 1.0 - sky}


@elementwise(
    {"silhouette_fraction": {"units": "1", "long_name": "shadow on a plane across the rays over total surface"}},
    static=("body",),
)
def silhouette(apparent_zenith_deg, *, body, heading_deg=None):
    """Silhouette of a body that lies level, for one height of the sun, over its total surface.

    Parameters
    ----------
    apparent_zenith_deg : array_like
        Angle of the sun from straight above (degrees).
    body : Body
        A sphere, or a cylinder with its area known (`lizard`, `copper_model`, `probe`); its axis is level.
    heading_deg : array_like, optional
        Angle between the axis and the azimuth of the sun (degrees): 0 or 180 end on, 90 broadside. None: the mean over
        all headings.

    Returns
    -------
    float, ndarray, Series or DataArray
        Share, for ``silhouette_fraction=`` of `heat.energy_balance`.

    Raises
    ------
    FieldkitError
        When the body is a plate, or a cylinder of unknown area.

    Notes
    -----
    Shadow areas of a cylinder with flat ends (algebra).
    Exact shadow of a finite cylinder, L d sin θ + π d²/4 |cos θ| with θ between axis and rays; the mean over headings
    is an elliptic integral. A lizard five times as long as thick has 0.29 under a high sun, 0.25 at a zenith of 60° and
    0.21 at the horizon, where end on and broadside differ by a factor of six: the constant 1/4 is up to 15 % low at
    noon. Own shade on the ground beside it is left out.

    Examples
    --------
    >>> animal = lizard(length_m=0.07, mass_g=12.0, shortwave_absorptivity=0.87)
    >>> [round(silhouette(zenith, body=animal), 3) for zenith in (15.0, 60.0)]
    [0.291, 0.248]
    """
    from scipy.special import ellipe

    check_inputs(locals())
    if body.shape == "sphere":
        return 0.25 + 0.0 * apparent_zenith_deg
    if body.shape != "cylinder" or body.area_m2 is None:
        raise FieldkitError("A silhouette needs a sphere, or a cylinder with its area_m2: make it with heat.lizard.")
    diameter = body.characteristic_dimension_m
    side = body.area_m2 / math.pi - diameter**2 / 2  # length times diameter
    sine = np.sin(np.radians(apparent_zenith_deg))
    if heading_deg is None:
        across, along = ellipe(sine**2) * 2 / math.pi, np.abs(sine) * 2 / math.pi
    else:
        along = np.abs(sine * np.cos(np.radians(heading_deg)))
        across = np.sqrt(1 - along**2)
    return (side * across + math.pi * diameter**2 / 4 * along) / body.area_m2


def lizard(*, length_m, mass_g, shortwave_absorptivity, contact_fraction=0.0, substrate_conductance_w_m2_k=0.0):
    """A lizard as a cylinder of its snout-vent length and mass.

    Parameters
    ----------
    length_m : float
        Snout-vent length (m).
    mass_g : float
        Body mass (g).
    shortwave_absorptivity : float
        Measured, or tried from end to end: 0.65 to 0.94 have been published for reptile skin.
    contact_fraction, substrate_conductance_w_m2_k : float, optional
        Belly on the ground: no measured figures are known to us; try 0.1 to 0.3 and 20 to 100 W/m²/K.

    Returns
    -------
    Body

    Raises
    ------
    FieldkitError
        When length or mass is not positive, or they do not belong together (mass in kg, length in mm).

    Notes
    -----
    Diameter from volume (density 1000 kg/m³); legs and tail are left out. The belly in contact is the lowest strip, so
    the rest sees more sky than ground (0.62 to 0.38 with a fifth in contact). Absorptivity: 0.77-0.88 in Christian,
    Bedford & Shannahan (1996) Aust. J. Zool.; 0.65-0.94 in Norris (1967). Silhouette 1/4 of the surface: the mean over
    all directions (Cauchy). Specific heat 3492 J/kg/K: body tissue in the two-node model of ASHRAE (0.97 Wh/kg/K).

    Examples
    --------
    >>> body = lizard(length_m=0.07, mass_g=10.0, shortwave_absorptivity=0.87)
    >>> round(body.characteristic_dimension_m * 1000, 1), round(body.area_m2 * 1e4, 1)
    (13.5, 32.5)
    """
    check_inputs(locals())
    if not (length_m > 0 and mass_g > 0):
        raise FieldkitError("length_m and mass_g of an animal must be above 0.")
    diameter = math.sqrt(4 * (mass_g / 1e6) / (math.pi * length_m))
    if not 0.02 < diameter / length_m < 1:
        raise FieldkitError(
            f"An animal of {length_m} m and {mass_g} g would be {diameter:.3g} m thick: check that length is in metres "
            "and mass in grams."
        )
    return Body(
        characteristic_dimension_m=diameter,
        shape="cylinder",
        shortwave_absorptivity=shortwave_absorptivity,
        contact_fraction=contact_fraction,
        substrate_conductance_w_m2_k=substrate_conductance_w_m2_k,
        **_lying_views(contact_fraction),
        mass_kg=mass_g / 1000,
        specific_heat_j_kg_k=3492.0,
        area_m2=_cylinder_area(length_m, diameter),
    )


def copper_model(
    *,
    length_m,
    diameter_m,
    shortwave_absorptivity,
    wall_m=0.001,
    contact_fraction=0.0,
    substrate_conductance_w_m2_k=0.0,
):
    """A hollow copper tube of the animal's size, painted like the animal, closed at both ends.

    Parameters
    ----------
    length_m, diameter_m, wall_m : float
        Of the tube (m).
    shortwave_absorptivity : float
        Of its paint, measured. Bare copper absorbs about 0.26 and emits little: an unpainted model reads another world.
    contact_fraction, substrate_conductance_w_m2_k : float, optional
        As in `Body`.

    Returns
    -------
    Body

    Raises
    ------
    FieldkitError
        When an input is not a size, or a share outside 0 to 1.

    Notes
    -----
    Copper 8933 kg/m³, 385 J/kg/K (Bergman et al. 2011, Table A.1). Painted: emissivity 0.95 (instrument tables give
    0.90-0.98 for paints). Bare copper: albedo 0.74 in `pvlib.albedo.SURFACE_ALBEDOS`.

    Examples
    --------
    >>> round(copper_model(length_m=0.07, diameter_m=0.015, shortwave_absorptivity=0.9).mass_kg * 1000, 1)
    32.6
    """
    check_inputs(locals())
    area = _cylinder_area(length_m, diameter_m)
    return Body(
        characteristic_dimension_m=diameter_m,
        shape="cylinder",
        shortwave_absorptivity=shortwave_absorptivity,
        contact_fraction=contact_fraction,
        substrate_conductance_w_m2_k=substrate_conductance_w_m2_k,
        **_lying_views(contact_fraction),
        mass_kg=8933.0 * area * wall_m,
        specific_heat_j_kg_k=385.0,
        area_m2=area,
    )


def probe(*, diameter_m, length_m, shortwave_absorptivity, emissivity, heat_capacity_j_m3_k=3.8e6):
    """A thermometer probe: a cylinder in the air, seen from all sides.

    Parameters
    ----------
    diameter_m, length_m : float
        Of the part that senses (m).
    shortwave_absorptivity, emissivity : float
        Of its skin: bright steel about 0.4 and 0.2, white plastic 0.3 and 0.9, black plastic 0.95 and 0.95
        (common practice, no source). Try both ends of what may be true.
    heat_capacity_j_m3_k : float, optional
        Heat capacity of its volume; stainless steel has 3.8e6 (7900 kg/m³, 477 J/kg/K: Bergman et al. 2011, Table A.1).

    Returns
    -------
    Body

    Raises
    ------
    FieldkitError
        When an input is not a size, or a share outside 0 to 1.

    Notes
    -----
    Its cable is not part of it. Copper conducts: with two wires of 0.14 mm² in a black jacket of 3 mm, lit by the sun
    up to the probe, a shaded steel probe reads 3 °C too warm at 0.3 m/s and 1 °C at 1 m/s (fin of Bergman et al. 2011,
    sec. 3.6). The warmth is gone after some 5 cm: keep 10 cm of cable in the same shade.

    Examples
    --------
    >>> probe(diameter_m=0.005, length_m=0.04, shortwave_absorptivity=0.4, emissivity=0.2).shape
    'cylinder'
    """
    check_inputs(locals())
    return Body(
        characteristic_dimension_m=diameter_m,
        shape="cylinder",
        shortwave_absorptivity=shortwave_absorptivity,
        emissivity=emissivity,
        mass_kg=1000.0 * math.pi * diameter_m**2 / 4 * length_m,
        specific_heat_j_kg_k=heat_capacity_j_m3_k / 1000.0,
        area_m2=_cylinder_area(length_m, diameter_m),
    )


def globe(*, diameter_m=0.15, shortwave_absorptivity=0.95, emissivity=0.95, wall_m=0.0004):
    """A black globe thermometer: a hollow copper sphere, matt black.

    Parameters
    ----------
    diameter_m, wall_m : float
        Of the globe (m); ISO 7726 takes 0.15 m, a painted table-tennis ball has 0.04 m.
    shortwave_absorptivity, emissivity : float
        0.95 both for matt black paint (ISO 7726).

    Returns
    -------
    Body

    Raises
    ------
    FieldkitError
        When an input is not a size, or a share outside 0 to 1.

    Examples
    --------
    >>> globe(diameter_m=0.04).silhouette_fraction
    0.25
    """
    check_inputs(locals())
    area = math.pi * diameter_m**2
    return Body(
        characteristic_dimension_m=diameter_m,
        shape="sphere",
        shortwave_absorptivity=shortwave_absorptivity,
        emissivity=emissivity,
        mass_kg=8933.0 * area * wall_m,
        specific_heat_j_kg_k=385.0,
        area_m2=area,
    )
