"""What walls and lids are made of."""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Material:
    """What a wall is made of; `transmits` is the share of a lamp's light that passes through."""

    conductivity_w_m_k: float
    heat_capacity_j_m3_k: float
    emissivity: float
    transmits: float
    thickness_m: float
    open_share: float = 0.0


# Conductivity, density and specific heat: ISO 10456 (glass 1.0, 2500, 750; plywood 500 kg/m³ 0.13, 1600; PVC 0.17,
# 1390, 900), as the ht library carries them. Emissivities, thicknesses, light that passes and the open share of mesh:
# rules of thumb (common practice, no source).
MATERIALS = {
    "glass": Material(
        conductivity_w_m_k=1.0, heat_capacity_j_m3_k=2500 * 750.0, emissivity=0.837, transmits=0.8, thickness_m=0.005
    ),
    "wood": Material(
        conductivity_w_m_k=0.13, heat_capacity_j_m3_k=500 * 1600.0, emissivity=0.9, transmits=0.0, thickness_m=0.015
    ),
    "plastic": Material(
        conductivity_w_m_k=0.17, heat_capacity_j_m3_k=1390 * 900.0, emissivity=0.9, transmits=0.0, thickness_m=0.006
    ),
    "mesh": Material(
        conductivity_w_m_k=50.0,
        heat_capacity_j_m3_k=1e6,
        emissivity=0.8,
        transmits=0.0,
        thickness_m=0.001,
        open_share=0.65,
    ),
}
