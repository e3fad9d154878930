"""Evaporation: the wet thermometer of the psychrometer, limits, one root, and how little a dry reptile loses."""

import dataclasses

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import brentq

from fieldkit.core import FieldkitError
from fieldkit.physics import heat
from fieldkit.physics.heat import Body, air, warming

BEAD = Body(characteristic_dimension_m=0.002, shape="sphere", skin_resistance_s_m=0.0)
SUN = {"air_temperature_c": 28.0, "wind_speed_m_s": 0.5, "dni_w_m2": 800.0}


@pytest.mark.parametrize(
    ("celsius", "humidity"), [(25.0, 50.0), (35.0, 30.0), (20.0, 20.0), (40.0, 10.0), (10.0, 80.0)]
)
def test_wet_bead_in_the_wind_is_a_wet_thermometer(celsius, humidity):
    # Ventilated psychrometer, e = es(tw) - A p (t - tw) with A some 6.6e-4 (AMS Glossary of Meteorology); and the
    # thermodynamic wet bulb of CoolProp. Both hold within a few percent of the depression: the Lewis number of water
    # in air is 0.85 and not 1, and some heat comes by radiation.
    from CoolProp.HumidAirProp import HAPropsSI

    vapour = air.vapour_pressure(celsius, humidity)
    ours = heat.operative_temperature(
        air_temperature_c=celsius, wind_speed_m_s=5.0, vapour_pressure_kpa=vapour, body=BEAD
    )

    def psychrometer(wet):
        return air.saturation_vapour_pressure(wet) - 6.6e-4 * 101.325 * (celsius - wet) - vapour

    assert celsius - ours == pytest.approx(celsius - brentq(psychrometer, -20, 50), rel=0.04)
    reference = HAPropsSI("B", "T", celsius + 273.15, "P", 101325, "R", humidity / 100) - 273.15
    assert celsius - ours == pytest.approx(celsius - reference, rel=0.03)


def test_transfer_of_vapour_is_that_of_heat_scaled_by_the_lewis_number():
    # Bergman et al. (2011) eq. 6.60, put together by hand from CoolProp's air at 27.5 °C (30 °C skin, 25 °C air).
    from CoolProp.CoolProp import PropsSI

    state = ("T", 300.65, "P", 101325, "Air")
    density, specific_heat, conductivity = (PropsSI(name, *state) for name in "DCL")
    at = heat.fluxes(temperature_c=30.0, air_temperature_c=25.0, wind_speed_m_s=1.0, vapour_pressure_kpa=0.0, body=BEAD)
    diffusivity = 2.11e-5 * (298.15 / 273.15) ** 1.94
    lewis = conductivity / (density * specific_heat) / diffusivity
    speed = at["convection_coefficient_w_m2_k"] / (density * specific_heat * lewis ** (2 / 3))
    # Vapour of 30 °C at the temperature of the air: its pressure drives it.
    vapour = PropsSI("P", "T", 303.15, "Q", 1, "Water") * 0.01801528 / (8.314462618 * 298.15)
    latent = PropsSI("H", "T", 298.15, "Q", 1, "Water") - PropsSI("H", "T", 298.15, "Q", 0, "Water")
    assert -at["evaporation_w_m2"] == pytest.approx(speed * vapour * latent, rel=0.01)


def test_vapour_conductance_of_a_plate_is_that_of_the_textbook():
    # Laminar plate: 0.664 ρ D Sc^⅓/√ν with a diffusivity of
    # 0.211 (T/273.15)^1.94 cm²/s gives 0.1469 (20 to 35 °C). Here from the evaporation of a wet plate itself.
    plate = Body(characteristic_dimension_m=0.05, shape="plate", skin_resistance_s_m=0.0)
    for celsius in (20.0, 35.0):
        skin = celsius + 1e-6  # no free convection
        around = {"air_temperature_c": celsius, "wind_speed_m_s": 1.0, "body": plate, "temperature_c": skin}
        at = heat.fluxes(vapour_pressure_kpa=0.0, **around)
        latent = (2.501e6 - 2361.0 * celsius) * 0.01801528
        share = air.saturation_vapour_pressure(skin) / 101.325
        conductance = -at["evaporation_w_m2"] / latent / share
        assert conductance / np.sqrt(1.0 / 0.05) == pytest.approx(0.147, rel=0.01)


def test_no_evaporation_into_saturated_air_or_through_a_tight_skin():
    damp = heat.energy_balance(
        air_temperature_c=20.0, wind_speed_m_s=1.0, vapour_pressure_kpa=air.vapour_pressure(20.0, 100.0), body=BEAD
    )
    assert damp["operative_temperature_c"] == pytest.approx(20.0, abs=1e-9)
    assert damp["evaporation_w_m2"] == pytest.approx(0.0, abs=1e-9)
    dry, tight = (
        heat.operative_temperature(vapour_pressure_kpa=0.5, body=Body(characteristic_dimension_m=0.015, **skin), **SUN)
        for skin in ({}, {"skin_resistance_s_m": 1e12})
    )
    assert tight == pytest.approx(dry, abs=1e-6)
    # Dew: a skin colder than the dew point gains heat.
    cold = heat.fluxes(temperature_c=0.0, air_temperature_c=20.0, wind_speed_m_s=1, vapour_pressure_kpa=2.0, body=BEAD)
    assert cold["evaporation_w_m2"] > 0


def test_humidity_matters_to_wet_skin_and_hardly_to_a_reptile():
    humid = np.linspace(0.1, 3.5, 30)
    cooler = {}
    for resistance in (0.0, 300.0, 1e4, 1e5):
        body = Body(characteristic_dimension_m=0.015, skin_resistance_s_m=resistance)
        wet = heat.operative_temperature(vapour_pressure_kpa=humid, body=body, **SUN)
        assert np.all(np.diff(wet) > 0)
        dry = heat.operative_temperature(body=dataclasses.replace(body, skin_resistance_s_m=None), **SUN)
        cooler[resistance] = (dry - wet).max()
    # The figures of the docstring of Body: 0.1 to 0.3 K for the range of reptile skins.
    assert cooler[0.0] > 15 and cooler[300.0] > 5
    assert cooler[1e4] < 0.4 and cooler[1e5] < 0.05


def test_one_root_and_closed_fluxes_for_any_skin():
    rng = np.random.default_rng(5)
    rows = 3_000
    celsius = rng.uniform(-30, 60, rows)
    weather = {
        "air_temperature_c": celsius,
        "wind_speed_m_s": rng.choice([0.0, 1.0], rows) * rng.uniform(0, 20, rows),
        "dni_w_m2": rng.choice([0.0, 1.0], rows) * rng.uniform(0, 1200, rows),
        "sky_longwave_w_m2": rng.uniform(0.5, 1.0, rows) * heat.SIGMA * (celsius + 273.15) ** 4,
        "vapour_pressure_kpa": rng.uniform(0, 1, rows) * air.saturation_vapour_pressure(celsius),
        "pressure_pa": rng.uniform(6e4, 1.05e5, rows),
    }
    for shape in ("cylinder", "sphere", "plate", "upper face"):
        for resistance in (0.0, 500.0):
            for size in (0.001, 0.03, 1.0):
                body = Body(
                    characteristic_dimension_m=size,
                    shape=shape,
                    skin_resistance_s_m=resistance,
                    contact_fraction=0.1,
                    substrate_conductance_w_m2_k=30.0,
                )
                answer = heat.energy_balance(body=body, **weather)
                assert np.isfinite(answer["operative_temperature_c"]).all()
                assert np.abs(answer["net_w_m2"]).max() < 1e-6
                assert (answer["heat_loss_slope_w_m2_k"] > 0).all()
    row = {k: v[7] for k, v in weather.items()}
    for still in ({"wind_speed_m_s": 0.0}, {}):
        scan = heat.fluxes(temperature_c=np.linspace(-60, 90, 3001), body=body, **row | still)["net_w_m2"]
        assert np.all(np.diff(scan) < 0)


def test_wet_animals_also_warm_and_mistakes_are_said_in_words():
    frog = dataclasses.replace(
        heat.lizard(length_m=0.05, mass_g=10.0, shortwave_absorptivity=0.8), skin_resistance_s_m=100.0
    )
    times = pd.date_range("2024-06-01", periods=40, freq="5min", tz="UTC")
    air_c = pd.Series(25.0, index=times)
    given = {"air_temperature_c": air_c, "wind_speed_m_s": 1.0, "vapour_pressure_kpa": 1.0, "body": frog}
    late = warming.body_temperature(**given, start_temperature_c=25.0).iloc[-1]
    rest = heat.operative_temperature(**given | {"air_temperature_c": 25.0})
    assert rest < 20 and late == pytest.approx(rest, abs=0.01)
    with pytest.raises(FieldkitError, match="vapour_pressure_kpa"):
        heat.operative_temperature(air_temperature_c=25.0, wind_speed_m_s=1.0, body=frog)
    with pytest.raises(FieldkitError, match="kPa"):
        heat.operative_temperature(air_temperature_c=25.0, wind_speed_m_s=1.0, vapour_pressure_kpa=1600.0, body=frog)
    with pytest.raises(FieldkitError, match="must not be negative"):
        dataclasses.replace(frog, skin_resistance_s_m=-1.0)
