"""What the ground is made of: conductivity, heat, reflection and roughness of common surfaces, with their sources."""

from dataclasses import asdict, dataclass

from fieldkit.core import FieldkitError

__all__ = ["SUBSTRATES", "Substrate", "substrate_table"]


@dataclass(frozen=True, kw_only=True)
class Substrate:
    """A ground material.

    Parameters
    ----------
    name : str
    conductivity_w_m_k, density_kg_m3, specific_heat_j_kg_k : float
        Of the material as it lies (dry unless it says otherwise).
    albedo, emissivity : float
        Share of sunlight reflected; long-wave emissivity.
    roughness_m : float
        Roughness length of a stretch of it (m).
    evaporative_fraction : float
        Share of the heat given to the air that leaves as vapour while the surface is warmer than the air.
    source : str
        Where the figures are printed.

    Examples
    --------
    >>> round(SUBSTRATES["rock"].effusivity_j_m2_k_s05)
    2698
    """

    name: str
    conductivity_w_m_k: float
    density_kg_m3: float
    specific_heat_j_kg_k: float
    albedo: float
    emissivity: float
    roughness_m: float
    evaporative_fraction: float = 0.0
    source: str = "stated by the user"

    def __post_init__(self):
        for name in ("conductivity_w_m_k", "density_kg_m3", "specific_heat_j_kg_k", "roughness_m"):
            if not getattr(self, name) > 0:
                raise FieldkitError(f"{name} of {self.name} is {getattr(self, name)}: it must be above 0.")
        if not (0 <= self.albedo < 1 and 0 < self.emissivity <= 1 and 0 <= self.evaporative_fraction < 1):
            raise FieldkitError(f"albedo, emissivity and evaporative_fraction of {self.name} are shares of 1.")

    @property
    def diffusivity_m2_s(self):
        """How fast warmth spreads inside (m²/s)."""
        return self.conductivity_w_m_k / (self.density_kg_m3 * self.specific_heat_j_kg_k)

    @property
    def effusivity_j_m2_k_s05(self):
        """How hard the surface is to warm (J/m²/K/s½): high for rock, low for dry sand and wood."""
        return (self.conductivity_w_m_k * self.density_kg_m3 * self.specific_heat_j_kg_k) ** 0.5


_ISO = "conductivity, density, heat: ISO 10456:2007 table 3 as carried by the ht library"
_PV = "albedo: pvlib.albedo.SURFACE_ALBEDOS"
_EPS = "emissivity: instrument tables, they disagree by 0.05 and more"
_Z0 = "roughness: common practice, no source"
# One value of many: stone of one name differs by a factor of two. Measure albedo where it matters.
SUBSTRATES = {
    s.name: s
    for s in (
        Substrate(
            name="rock",
            conductivity_w_m_k=2.8,
            density_kg_m3=2600.0,
            specific_heat_j_kg_k=1000.0,
            albedo=0.30,
            emissivity=0.93,
            roughness_m=0.01,
            source=f"granite; {_ISO}; albedo as concrete in pvlib; {_EPS}; {_Z0}",
        ),
        Substrate(
            name="sand",
            conductivity_w_m_k=0.24,
            density_kg_m3=1600.0,
            specific_heat_j_kg_k=800.0,
            albedo=0.40,
            emissivity=0.90,
            roughness_m=0.003,
            source="dry, loose; de Vries (1963) and Smits et al. (2010) in Moene & van Dam (2014) table 2.2; "
            f"{_PV}; {_EPS}; {_Z0}",
        ),
        Substrate(
            name="soil",
            conductivity_w_m_k=0.29,
            density_kg_m3=1780.0,
            specific_heat_j_kg_k=800.0,
            albedo=0.17,
            emissivity=0.94,
            roughness_m=0.01,
            source=f"sandy, dry, packed; de Vries (1963) in Moene & van Dam (2014) table 2.2; {_PV}; {_EPS}; {_Z0}",
        ),
        Substrate(
            name="wood",
            conductivity_w_m_k=0.13,
            density_kg_m3=500.0,
            specific_heat_j_kg_k=1600.0,
            albedo=0.30,
            emissivity=0.92,
            roughness_m=0.01,
            source=f"timber 500 kg/m³ across the grain; {_ISO}; albedo: grey wood, rule of thumb; {_EPS}; {_Z0}",
        ),
        Substrate(
            name="asphalt",
            conductivity_w_m_k=0.7,
            density_kg_m3=2100.0,
            specific_heat_j_kg_k=1000.0,
            albedo=0.12,
            emissivity=0.95,
            roughness_m=0.003,
            source=f"{_ISO}; {_PV}; {_EPS}; {_Z0}",
        ),
        Substrate(
            name="grass",
            conductivity_w_m_k=0.9,
            density_kg_m3=1790.0,
            specific_heat_j_kg_k=1270.0,
            albedo=0.20,
            emissivity=0.97,
            roughness_m=0.01,
            evaporative_fraction=0.6,
            source="moist clay soil below: de Vries (1963) in Moene & van Dam (2014) table 2.2; "
            f"{_PV}; evaporation: Bowen ratio 0.7, teaching tables have 0.4 to 0.8 for grassland; {_EPS}; {_Z0}",
        ),
    )
}


def substrate_table():
    """All ready-made substrates and where their figures come from.

    Returns
    -------
    pandas.DataFrame
        One row per substrate.

    Examples
    --------
    >>> float(substrate_table().loc["asphalt", "albedo"])
    0.12
    """
    import pandas as pd

    return pd.DataFrame([asdict(s) for s in SUBSTRATES.values()]).set_index("name")
