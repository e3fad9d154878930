"""Wrong units and nonsense into public functions: a sentence each, by the limits that the tables of a season have."""

import pytest

from fieldkit import FieldkitError
from fieldkit.field.stats import fieller_interval
from fieldkit.physics import heat, sensors, spectrum
from fieldkit.physics.limits import LIMITS
from fieldkit.records.schema.units import RANGES

SHAPE = {"shortwave_absorptivity": 0.9}
SLIPS = {
    "diameter in mm": lambda: heat.globe(diameter_m=15),
    "diameter in cm": lambda: heat.copper_model(length_m=0.07, diameter_m=1.5, **SHAPE),
    "length in cm": lambda: heat.lizard(length_m=7, mass_g=12, **SHAPE),
    "length in mm": lambda: heat.probe(diameter_m=0.005, length_m=40, emissivity=0.9, **SHAPE),
    "mass in mg": lambda: heat.lizard(length_m=0.07, mass_g=12_000_000, **SHAPE),
    "wall in mm": lambda: heat.globe(wall_m=0.4),
    "air in °F": lambda: heat.vapour_pressure(86.0, 50.0),
    "infrared in kelvin": lambda: sensors.true_surface_temperature(310.0, 0.95, 20.0),
    "band in nm": lambda: sensors.true_surface_temperature(40.0, 0.95, 20.0, band_um=(8000, 14000)),
    "wavelengths in µm": lambda: spectrum.blackbody(5800, [0.3, 0.5, 0.7]),
    "humidity as a share": lambda: heat.vapour_pressure(25.0, 0.5),
    "humidity beyond all": lambda: heat.vapour_pressure(25.0, 500.0),
    "negative variance": lambda: fieller_interval(4.0, 2.0, [[-0.04, 0.0], [0.0, 0.01]]),
    "variance of the denominator negative": lambda: fieller_interval(4.0, 2.0, [[0.04, 0.0], [0.0, -0.01]]),
}


@pytest.mark.parametrize("name", SLIPS)
def test_a_wrong_unit_is_a_sentence(name):
    with pytest.raises(FieldkitError) as caught:
        SLIPS[name]()
    assert str(caught.value).endswith((".", "%.")) and len(str(caught.value)) > 30


def test_right_units_pass():
    heat.globe(diameter_m=0.15)
    heat.lizard(length_m=0.07, mass_g=12, **SHAPE)
    assert 1.5 < heat.vapour_pressure(25.0, 50.0) < 1.7  # half of 3.17 kPa, saturation at 25 °C (steam tables)
    assert sensors.true_surface_temperature(40.0, 0.95, 20.0, band_um=(8, 14)) > 40
    assert len(spectrum.blackbody(5800, [300, 500, 700])) == 3


def test_the_air_of_functions_is_the_air_of_tables():
    low, high = RANGES["air"].limits
    assert LIMITS["air_temperature_c"][0] <= low and high <= LIMITS["air_temperature_c"][1] <= high + 5
