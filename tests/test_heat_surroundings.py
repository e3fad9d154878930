"""One set of surroundings for every function of the heat balance, and the air pressure that follows height."""

import dataclasses

import numpy as np
import pandas as pd
import pytest

from fieldkit.core import FieldkitError
from fieldkit.physics import atmosphere, heat, sensors
from fieldkit.physics.heat import air, convection, ground, warming

LIZARD = heat.lizard(length_m=0.07, mass_g=12.0, shortwave_absorptivity=0.87)
NOON = {"air_temperature_c": 18.0, "wind_speed_m_s": 0.7, "dni_w_m2": 950.0, "dhi_w_m2": 70.0}


def test_an_object_its_fields_by_name_and_both_give_the_same():
    around = heat.Surroundings(**NOON)
    by_name = heat.operative_temperature(**NOON, body=LIZARD)
    assert heat.operative_temperature(around, body=LIZARD) == by_name
    assert heat.operative_temperature(dataclasses.replace(around, dni_w_m2=0.0), body=LIZARD) == pytest.approx(
        heat.operative_temperature(around, body=LIZARD, dni_w_m2=0.0), abs=1e-12
    )
    whole = heat.energy_balance(around, body=LIZARD)
    assert whole["operative_temperature_c"] == pytest.approx(by_name, abs=1e-9)
    at = heat.fluxes(around, temperature_c=by_name, body=LIZARD)
    assert at["net_w_m2"] == pytest.approx(0.0, abs=1e-6)
    globe = sensors.INSTRUMENTS["black globe"]
    assert sensors.instrument_reading(around, instrument=globe) == sensors.instrument_reading(**NOON, instrument=globe)
    table = sensors.compare_instruments(surroundings=around).table
    assert table.equals(sensors.compare_instruments(**NOON).table)


def test_series_in_an_object_come_out_as_series():
    times = pd.date_range("2024-06-01 10:00", periods=4, freq="10min", tz="UTC")
    around = heat.Surroundings(
        air_temperature_c=pd.Series([18.0, 19.0, 20.0, 21.0], index=times), wind_speed_m_s=0.7, dni_w_m2=900.0
    )
    out = heat.operative_temperature(around, body=LIZARD)
    assert out.index.equals(times) and (np.diff(out) > 0).all()
    followed = warming.body_temperature(around, body=LIZARD, start_temperature_c=18.0)
    assert followed.index.equals(times)
    assert followed.iloc[-1] < out.iloc[-1]


def test_mistakes_end_in_a_sentence():
    with pytest.raises(FieldkitError, match="'wind' is not one of the surroundings"):
        heat.operative_temperature(air_temperature_c=20.0, wind=1.0, body=LIZARD)
    with pytest.raises(FieldkitError, match="needs wind_speed_m_s"):
        heat.operative_temperature(air_temperature_c=20.0, body=LIZARD)
    with pytest.raises(FieldkitError, match="float is given as surroundings"):
        heat.operative_temperature(20.0, body=LIZARD)
    with pytest.raises(FieldkitError, match="whole table"):
        heat.operative_temperature(air_temperature_c=pd.DataFrame({"a": [1.0]}), wind_speed_m_s=1.0, body=LIZARD)
    with pytest.raises(FieldkitError, match="elevation_m is 35000"):
        heat.operative_temperature(**NOON, elevation_m=35000.0, body=LIZARD)


@pytest.mark.parametrize("elevation_m", [0.0, 1200.0, 3500.0])
def test_pressure_follows_height_wherever_it_is_not_given(elevation_m):
    # Each function twice: with the height, and with the pressure of ISO 2533:1975 at that height.
    pressure_pa = 101325 * (1 - 0.0065 * elevation_m / 288.15) ** 5.25588
    hours = np.arange(0, 24, 0.5)
    day = {
        "air_temperature_c": 15 + 6 * np.cos((hours - 15) / 24 * 2 * np.pi),
        "wind_speed_m_s": 1.5,
        "irradiance_w_m2": 900 * np.clip(np.cos((hours - 12) / 24 * 2 * np.pi), 0, None),
        "sky_longwave_w_m2": 300.0,
        "substrate": "rock",
        "step_s": 1800.0,
    }
    pair = {"sunlit_c": 34.0, "shaded_c": 25.0, "wind_speed_m_s": 0.5, "apparent_zenith_deg": 30.0}
    flow = {"surface_temperature_c": 40.0, "air_temperature_c": 25.0, "wind_speed_m_s": 1.0}
    shape = {"characteristic_dimension_m": 0.02, "shape": "cylinder"}
    answers = {
        "animal": lambda **p: heat.operative_temperature(**NOON, body=LIZARD, **p),
        "instrument": lambda **p: sensors.instrument_reading(
            **NOON, instrument=sensors.INSTRUMENTS["black globe"], **p
        ),
        "comparison": lambda **p: sensors.compare_instruments(**NOON, **p).table["in_sun_c"].to_numpy(),
        "ground": lambda **p: ground.surface_temperature(**day, **p)["surface_temperature_c"],
        "convection": lambda **p: convection.convection_coefficient(**flow, **shape, **p),
        "air": lambda **p: air.air_properties(20.0, **p)["density_kg_m3"],
        "probes": lambda **p: sensors.absorbed_irradiance(
            **pair, body=heat.probe(diameter_m=0.01, length_m=0.05, shortwave_absorptivity=0.9, emissivity=0.9), **p
        )["irradiance_w_m2"].to_numpy(),
    }
    for name, answer in answers.items():
        assert answer(elevation_m=elevation_m) == pytest.approx(answer(pressure_pa=pressure_pa), rel=1e-9), name
        # What a barometer read goes before the height.
        both = answer(elevation_m=elevation_m, pressure_pa=9e4)
        assert both == pytest.approx(answer(pressure_pa=9e4), rel=1e-12), name


def test_a_lizard_in_the_sun_is_warmer_in_thin_air():
    # Issue 12: at 3500 m 1.4 to 2.3 °C warmer than with the air of the sea.
    high = heat.operative_temperature(**NOON, body=LIZARD, elevation_m=3500.0)
    low = heat.operative_temperature(**NOON, body=LIZARD)
    assert 1.0 < high - low < 3.0
    assert atmosphere.air_pressure(3500.0) == pytest.approx(65764, abs=5)  # ISO 2533:1975, by its formula
