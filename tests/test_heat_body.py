"""Shapes of bodies: the shadow they cast and the sky they see, against geometry done another way."""

import dataclasses

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.spatial import ConvexHull

from fieldkit.core import FieldkitError
from fieldkit.physics import heat

ANIMAL = heat.lizard(length_m=0.07, mass_g=12.0, shortwave_absorptivity=0.87)


def shadow_by_hull(length, diameter, zenith, heading):
    """Area of the convex hull of a cylinder's rims, projected along the rays: no formula of a cylinder in it."""
    turn = np.linspace(0, 2 * np.pi, 2000, endpoint=False)
    rim = np.column_stack([np.zeros(turn.size), np.cos(turn), np.sin(turn)]) * diameter / 2
    points = np.concatenate([rim + np.array([length / 2, 0, 0]), rim - np.array([length / 2, 0, 0])])
    z, a = np.radians([zenith, heading])
    ray = np.array([np.sin(z) * np.cos(a), np.sin(z) * np.sin(a), np.cos(z)])
    first = np.cross(ray, [0.3, 0.5, 0.8])
    first /= np.linalg.norm(first)
    return ConvexHull(points @ np.column_stack([first, np.cross(ray, first)])).volume


@pytest.mark.parametrize("zenith", [0.0, 25.0, 60.0, 90.0])
@pytest.mark.parametrize("heading", [0.0, 40.0, 90.0])
def test_silhouette_is_the_area_of_the_projected_hull(zenith, heading):
    diameter = ANIMAL.characteristic_dimension_m
    area = np.pi * diameter * 0.07 + np.pi * diameter**2 / 2
    ours = heat.silhouette(zenith, body=ANIMAL, heading_deg=heading)
    assert ours * area == pytest.approx(shadow_by_hull(0.07, diameter, zenith, heading), rel=1e-4)


def test_silhouette_over_headings_and_over_all_directions():
    zenith = np.array([0.0, 30.0, 60.0, 90.0])
    every = heat.silhouette(zenith[:, None], body=ANIMAL, heading_deg=np.arange(0.5, 180))
    assert heat.silhouette(zenith, body=ANIMAL) == pytest.approx(every.mean(axis=1), rel=5e-5)
    # Cauchy's theorem: over all directions of the rays any convex body shows a quarter of its surface.
    mean = quad(lambda z: heat.silhouette(np.degrees(z), body=ANIMAL) * np.sin(z), 0, np.pi / 2)[0]
    assert mean == pytest.approx(0.25, abs=1e-9)
    assert heat.silhouette(zenith, body=heat.globe()) == pytest.approx([0.25] * 4)


def test_silhouette_refuses_what_it_cannot_know():
    for body in (heat.Body(characteristic_dimension_m=0.02), heat.Body(characteristic_dimension_m=0.1, shape="plate")):
        with pytest.raises(FieldkitError, match="area_m2"):
            heat.silhouette(30.0, body=body)


@pytest.mark.parametrize("contact", [0.0, 0.1, 0.2, 0.35])
def test_a_lying_body_sees_the_sky_that_its_free_skin_sees(contact):
    # The long cylinder on open ground: every strip of skin sees (1 + cos β)/2 of sky, β from straight up.
    strip = np.pi * contact
    whole = quad(lambda b: (1 + np.cos(b)) / 2, 0, np.pi - strip)[0] / (np.pi - strip)
    for body in (
        heat.lizard(length_m=0.07, mass_g=12.0, shortwave_absorptivity=0.9, contact_fraction=contact),
        heat.copper_model(length_m=0.07, diameter_m=0.02, shortwave_absorptivity=0.9, contact_fraction=contact),
    ):
        assert body.sky_view_factor == pytest.approx(whole, rel=1e-9)
        assert body.sky_view_factor + body.ground_view_factor == pytest.approx(1.0, abs=1e-12)


def test_contact_takes_hardly_any_sky_light_away():
    # What touches the ground saw no sky: the strip of a fifth of the skin had 1.3 % of the sky light.
    given = {"air_temperature_c": 20.0, "wind_speed_m_s": 1.0, "dhi_w_m2": 200.0}
    free, lying = (
        heat.energy_balance(
            body=heat.lizard(length_m=0.07, mass_g=12.0, shortwave_absorptivity=1.0, contact_fraction=contact), **given
        )["shortwave_w_m2"]
        for contact in (0.0, 0.2)
    )
    assert free == pytest.approx(100.0)
    assert 0.985 < lying / free < 0.99


@pytest.mark.parametrize(("wind", "printed"), [(0.3, 2.8), (1.0, 1.3)])
def test_a_cable_in_the_sun_warms_a_shaded_probe_by_as_much_as_the_docstring_says(wind, printed):
    # Long fin (Bergman et al. 2011, eq. 3.85): heat flow √(h P k A) per kelvin, decay length √(k A/(h P)).
    copper, jacket = 390.0 * 2 * 0.14e-6, np.pi * 0.003
    cable = heat.Body(characteristic_dimension_m=0.003, emissivity=0.9, silhouette_fraction=1 / np.pi)
    air = {"air_temperature_c": 25.0, "wind_speed_m_s": wind}
    lit = heat.energy_balance(body=cable, dni_w_m2=850.0, dhi_w_m2=100.0, ground_upwelling_w_m2=150.0, **air)
    loss = lit["heat_loss_slope_w_m2_k"]
    probe = heat.probe(diameter_m=0.005, length_m=0.03, shortwave_absorptivity=0.4, emissivity=0.2)
    flow = np.sqrt(loss * jacket * copper)
    tied = dataclasses.replace(probe, contact_fraction=0.02, substrate_conductance_w_m2_k=flow / (0.02 * probe.area_m2))
    reading = heat.operative_temperature(body=tied, substrate_temperature_c=lit["operative_temperature_c"], **air)
    assert reading - 25.0 == pytest.approx(printed, abs=0.1)
    assert 3 * np.sqrt(copper / (loss * jacket)) < 0.06
