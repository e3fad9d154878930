"""Nusselt numbers against printed examples and the ht library; the textbook's short formulas derived again."""

import ht
import numpy as np
import pytest

from fieldkit.core import FieldkitError
from fieldkit.physics import heat
from fieldkit.physics.heat import air, convection


def test_nusselt_reproduces_printed_values(published):
    for row in published("heat_nusselt").itertuples():
        function = convection.nusselt_forced if row.kind == "forced" else convection.nusselt_free
        value = function(row.number, row.prandtl, shape=row.shape)
        assert value == pytest.approx(row.expected, abs=row.tolerance), row.case


@pytest.mark.parametrize("prandtl", [0.69, 0.72])
def test_nusselt_equals_the_ht_library(prandtl):
    # ht: independent code of the same correlations; it rounds exponents such as 8/27.
    for number in 10.0 ** np.arange(1, 6):
        ours = convection.nusselt_forced(number, prandtl, shape="cylinder")
        assert ours == pytest.approx(ht.conv_external.Nu_cylinder_Churchill_Bernstein(number, prandtl), rel=1e-7)
        ours = convection.nusselt_free(number * prandtl, prandtl, shape="sphere")
        assert ours == pytest.approx(ht.conv_free_immersed.Nu_sphere_Churchill(prandtl, number), rel=1e-7)
        ours = convection.nusselt_free(number * prandtl, prandtl, shape="cylinder")
        theirs = ht.conv_free_immersed.Nu_horizontal_cylinder_Churchill_Chu(prandtl, number)
        assert ours == pytest.approx(theirs, rel=1e-7)
        ours = convection.nusselt_free(number * prandtl, prandtl, shape="plate")
        assert ours == pytest.approx(ht.conv_free_immersed.Nu_vertical_plate_Churchill(prandtl, number), rel=1e-7)


def test_upper_face_is_mcadams_on_area_over_perimeter():
    # ht: McAdams (1985), with the length a quarter of the side of a square; Nu and Ra there count with that length.
    for quarter in (1e3, 1e5, 4e6, 2e7, 1e9):
        for warm in (True, False):
            ours = convection.nusselt_free(64 * quarter, 0.71, shape="upper face", warm=warm)
            theirs = 4 * ht.conv_free_immersed.Nu_horizontal_plate_McAdams(0.71, quarter / 0.71, buoyancy=warm)
            # Between the two ranges of the warm face (Ra 4.7e6 to 1e7) ours takes the larger, 6 % at most.
            assert ours == pytest.approx(theirs, rel=1e-9)


def test_air_rises_from_a_warm_face_and_stays_on_a_cold_one():
    given = {"air_temperature_c": 25.0, "wind_speed_m_s": 0.0, "characteristic_dimension_m": 0.15}
    warm, cold = (
        convection.convection_coefficient(surface_temperature_c=t, shape="upper face", **given) for t in (45.0, 5.0)
    )
    upright = convection.convection_coefficient(surface_temperature_c=45.0, shape="plate", **given)
    assert 1.2 < warm / upright < 1.5 and 0.45 < cold / warm < 0.55
    # Both sides of a level plate together are near an upright one, as the docstring of "plate" says.
    assert (warm + cold) / 2 == pytest.approx(upright, rel=0.2)


def test_plate_in_wind_is_laminar_then_turbulent_without_a_jump():
    # Laminar 0.664 Re^½ Pr^⅓ (ht: external horizontal plate, laminar, Baehr & Stephan); turbulent from Re 5e5.
    ours = convection.nusselt_forced(1e5, 0.71, shape="plate")
    assert ours == pytest.approx(0.664 * 1e5**0.5 * 0.71 ** (1 / 3), rel=1e-12)
    below, above = convection.nusselt_forced([5e5 * (1 - 1e-9), 5e5 * (1 + 1e-9)], 0.71, shape="plate")
    assert above == pytest.approx(below, rel=1e-7)
    # Bergman et al. (2011) eq. 7.38 prints 871.
    turbulent = convection.nusselt_forced(2e6, 0.71, shape="plate")
    assert turbulent == pytest.approx((0.037 * 2e6**0.8 - 871) * 0.71 ** (1 / 3), rel=1e-3)


def test_sphere_in_wind_within_the_scatter_of_correlations():
    # Ranz & Marshall (1952), 2 + 0.6 Re^½ Pr^⅓, differs from Whitaker (1972) by some 10 %.
    for reynolds in (50.0, 500.0, 5000.0):
        ours = convection.nusselt_forced(reynolds, 0.71, shape="sphere")
        assert ours == pytest.approx(2 + 0.6 * reynolds**0.5 * 0.71 ** (1 / 3), rel=0.15)


def test_still_sphere_conducts_with_nusselt_two():
    # Exact: a sphere in an infinite still medium (Bergman et al. 2011, eq. 9.35 for Ra -> 0).
    assert convection.nusselt_free(0.0, 0.71, shape="sphere") == 2.0
    small = convection.convection_coefficient(
        surface_temperature_c=20.0,
        air_temperature_c=20.0,
        wind_speed_m_s=0.0,
        characteristic_dimension_m=0.01,
        shape="sphere",
    )
    assert small == pytest.approx(2 * air.air_properties(20.0)["conductivity_w_m_k"] / 0.01, rel=1e-12)


@pytest.mark.parametrize("shape", convection.SHAPES)
def test_no_wind_is_pure_free_and_a_gale_pure_forced_convection(shape):
    given = {
        "surface_temperature_c": 45.0,
        "air_temperature_c": 25.0,
        "characteristic_dimension_m": 0.05,
        "shape": shape,
    }
    film = air.air_properties(35.0)
    prandtl = air.air_properties(25.0)["prandtl"]
    rayleigh = 9.80665 * film["expansion_1_k"] * 20 * 0.05**3
    rayleigh /= film["kinematic_viscosity_m2_s"] * film["thermal_diffusivity_m2_s"]
    free = convection.nusselt_free(rayleigh, prandtl, shape=shape) * film["conductivity_w_m_k"] / 0.05
    still = convection.convection_coefficient(wind_speed_m_s=0.0, **given)
    assert still == pytest.approx(free, rel=1e-9)
    reynolds = 30 * 0.05 / film["kinematic_viscosity_m2_s"]
    forced = convection.nusselt_forced(reynolds, prandtl, shape=shape) * film["conductivity_w_m_k"] / 0.05
    gale = convection.convection_coefficient(wind_speed_m_s=30.0, **given)
    assert gale == pytest.approx(forced, rel=2e-3)
    light = convection.convection_coefficient(wind_speed_m_s=0.1, **given)
    assert light > still


@pytest.mark.parametrize("shape", convection.SHAPES)
def test_slope_of_the_coefficient_is_its_derivative(shape):
    rng = np.random.default_rng(3)
    model = convection.Convection(
        rng.uniform(243, 333, 300), rng.choice([0, 1], 300) * rng.uniform(0, 15, 300), 90000.0, 1.0, 0.3, shape
    )
    body = model.air_k + rng.uniform(-20, 60, 300)
    step = 1e-4
    numeric = (model.coefficient(body + step)[0] - model.coefficient(body - step)[0]) / (2 * step)
    _, change = model.coefficient(body)
    # The slope leaves out how specific heat and compressibility change: it steers the solver, it is no result.
    assert change == pytest.approx(numeric * (body - model.air_k), rel=4e-3, abs=4e-3)


def test_hilpert_within_the_scatter():
    # Hilpert (1933) 40 < Re < 4000 as h = 2.777 u^0.466/d^0.534, air 20-40 °C: the correlations scatter by 15 %.
    wind, diameter = np.array([0.3, 1.0, 3.0]), 0.01
    ours = convection.convection_coefficient(
        surface_temperature_c=31.0,
        air_temperature_c=29.0,
        wind_speed_m_s=wind,
        characteristic_dimension_m=diameter,
        shape="cylinder",
    )
    assert ours == pytest.approx(2.777 * wind**0.466 / diameter**0.534, rel=0.15)


def test_textbook_conductance_is_a_laminar_plate():
    # Campbell & Norman (1998) Table 7.6 prints 0.135; derived from 0.664 ρ D Pr^⅓/√ν with our air.
    for celsius, expected in ((20, 0.1352), (25, 0.1350), (30, 0.1348), (35, 0.1346)):
        props = air.air_properties(celsius)
        molar = props["density_kg_m3"] / 0.02896546
        derived = 0.664 * molar * props["thermal_diffusivity_m2_s"] * props["prandtl"] ** (1 / 3)
        derived /= props["kinematic_viscosity_m2_s"] ** 0.5
        assert derived == pytest.approx(expected, abs=1e-4)
        assert derived == pytest.approx(0.135, rel=0.01)
    assert heat.conductance_campbell_norman(1.0, 0.05, turbulence_factor=1.0) == pytest.approx(0.603738, abs=1e-6)
    assert heat.conductance_campbell_norman(1.0, 0.05) == pytest.approx(0.845234, abs=1e-6)
    assert heat.conductance_campbell_norman(0.5, 0.02) == pytest.approx(0.945, abs=1e-9)
    assert 29.3 * heat.conductance_campbell_norman(1.0, 0.05) == pytest.approx(24.765, abs=1e-3)


def test_textbook_free_convection_within_five_percent():
    # 0.54 ρ D (gβPr/ν²)^¼ gives 0.0484, 0.0479, 0.0474 at 20, 30, 40 °C; Campbell & Norman print 0.050.
    for celsius, expected in ((20, 0.0484), (30, 0.0479), (40, 0.0474)):
        props = air.air_properties(celsius)
        derived = 0.54 * props["density_kg_m3"] / 0.02896546 * props["thermal_diffusivity_m2_s"]
        derived *= (9.80665 * props["expansion_1_k"] * props["prandtl"]) ** 0.25 / props[
            "kinematic_viscosity_m2_s"
        ] ** 0.5
        assert derived == pytest.approx(expected, abs=1e-4)
        assert derived == pytest.approx(0.050, rel=0.055)


def test_molar_heat_of_the_textbook_is_half_a_percent_high():
    # Campbell & Norman print 29.3 J/mol/K; CoolProp has 29.143-29.159 from 20 to 35 °C.
    ours = air.air_properties(np.array([20.0, 35.0]))["specific_heat_j_kg_k"] * 0.02896546
    assert ours == pytest.approx([29.143, 29.159], abs=2e-3)
    assert pytest.approx(29.3, rel=6e-3) == ours[0]


def test_unknown_shape_is_refused():
    with pytest.raises(FieldkitError, match="cylinder, sphere, plate"):
        convection.nusselt_forced(100.0, 0.7, shape="cube")
