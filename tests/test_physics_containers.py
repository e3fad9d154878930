"""Every elementwise function of the physics: scalars, arrays, Series, DataArrays and dask give one answer."""

import importlib
import warnings

import dask.array as da
import numpy as np
import pandas as pd
import pytest
import xarray as xr

from fieldkit import physics
from fieldkit.physics import air, convection, heat, sensors, spectrum, sun, warming

ANIMAL = heat.lizard(length_m=0.07, mass_g=12.0, shortwave_absorptivity=0.87)
WEATHER = {"air_temperature_c": [5.0, 20.0, 35.0], "wind_speed_m_s": [0.0, 0.5, 6.0], "dni_w_m2": [0.0, 900.0, 300.0]}
ZENITH = {"apparent_zenith_deg": [20.0, 60.0, 95.0]}
SKYLINE = {"horizon": [(90, 20), (270, 5)]}

# What varies, and what is fixed.
CASES = {
    air.air_properties: ({"temperature_c": [-20.0, 15.0, 60.0], "pressure_pa": [1e5, 9e4, 7e4]}, {}),
    air.saturation_vapour_pressure: ({"temperature_c": [-20.0, 15.0, 60.0]}, {}),
    air.vapour_pressure: (
        {"air_temperature_c": [0.0, 15.0, 40.0], "relative_humidity_percent": [0.0, 50.0, 100.0]},
        {},
    ),
    air.dew_point: ({"vapour_pressure_kpa": [0.2, 1.0, 4.0]}, {}),
    air.sky_emissivity: ({"air_temperature_c": [0.0, 15.0, 40.0], "vapour_pressure_kpa": [0.3, 1.0, 3.0]}, {}),
    air.sky_longwave: ({"air_temperature_c": [0.0, 15.0, 40.0], "cloud_fraction": [0.0, 0.5, 1.0]}, {}),
    air.wind_at_height: ({"wind_speed_m_s": [0.0, 2.0, 9.0]}, {"measured_height_m": 10.0, "height_m": 0.1}),
    convection.nusselt_forced: ({"reynolds": [10.0, 1e3, 1e6], "prandtl": [0.7, 0.71, 0.72]}, {"shape": "plate"}),
    convection.nusselt_free: ({"rayleigh": [0.0, 1e3, 1e8], "prandtl": [0.7, 0.71, 0.72]}, {"shape": "upper face"}),
    convection.convection_coefficient: (
        {"surface_temperature_c": [0.0, 20.0, 50.0], "air_temperature_c": [10.0, 20.0, 30.0]},
        {"wind_speed_m_s": 0.3, "characteristic_dimension_m": 0.02, "shape": "cylinder"},
    ),
    heat.energy_balance: (WEATHER, {"body": ANIMAL}),
    heat.operative_temperature: (WEATHER, {"body": ANIMAL}),
    heat.fluxes: (WEATHER | {"temperature_c": [5.0, 30.0, 30.0]}, {"body": ANIMAL}),
    heat.silhouette: (ZENITH | {"heading_deg": [0.0, 45.0, 90.0]}, {"body": ANIMAL}),
    heat.mean_radiant_temperature: (
        {"globe_temperature_c": [20.0, 40.0, 55.0], "air_temperature_c": [20.0, 25.0, 30.0]},
        {"wind_speed_m_s": 0.5},
    ),
    heat.conductance_campbell_norman: (
        {"wind_speed_m_s": [0.0, 1.0, 5.0], "characteristic_dimension_m": [0.01, 0.02, 0.05]},
        {},
    ),
    heat.operative_temperature_linear: (
        {"air_temperature_c": [10.0, 20.0, 30.0], "absorbed_radiation_w_m2": [300.0, 500.0, 700.0]},
        {"conductance_mol_m2_s": 0.8},
    ),
    warming.time_constant: ({"heat_loss_slope_w_m2_k": [10.0, 20.0, 40.0]}, {"body": ANIMAL}),
    warming.warming_curve: (
        {"elapsed_s": [0.0, 60.0, 600.0], "start_temperature_c": [10.0, 20.0, 30.0]},
        {"operative_temperature_c": 40.0, "time_constant_s": 300.0},
    ),
    sensors.blackbody_band_share: ({"temperature_c": [-20.0, 15.0, 60.0]}, {}),
    sensors.true_surface_temperature: (
        {"reading_c": [10.0, 30.0, 50.0], "emissivity": [0.9, 0.95, 1.0]},
        {"reflected_temperature_c": -10.0, "band_um": (8, 14)},
    ),
    sensors.infrared_reading: (
        {"surface_temperature_c": [10.0, 30.0, 50.0], "emissivity": [0.9, 0.95, 1.0]},
        {"reflected_temperature_c": -10.0},
    ),
    sensors.instrument_reading: (WEATHER, {"instrument": sensors.INSTRUMENTS["black globe"]}),
    sun.clear_sky_at_zenith: (ZENITH | {"extraterrestrial_w_m2": [1330.0, 1360.0, 1400.0]}, {}),
    sun.decompose: (ZENITH | {"ghi_w_m2": [900.0, 300.0, -2.0]}, {}),
    sun.on_facing: (
        ZENITH | {"ghi_w_m2": [900.0, 300.0, 0.0], "dni_w_m2": [800.0, 400.0, 0.0], "dhi_w_m2": [100.0, 100.0, 0.0]},
        {"azimuth_deg": 180.0, "tilt_deg": 30.0},
    ),
    sun.horizon_elevation: ({"azimuth_deg": [0.0, 100.0, 350.0]}, SKYLINE),
    sun.sunlit: (ZENITH | {"azimuth_deg": [0.0, 100.0, 350.0]}, SKYLINE),
    spectrum.erythemal_weight: ({"wavelength_nm": [280.0, 310.0, 390.0]}, {}),
    spectrum.uv_hazard_weight: ({"wavelength_nm": [280.0, 310.0, 390.0]}, {}),
    spectrum.clear_sky_uv_index: ({"zenith_deg": [0.0, 60.0, 95.0], "ozone_du": [250.0, 300.0, 400.0]}, {}),
    spectrum.erythema_time: ({"uv_index": [0.0, 3.0, 9.0]}, {}),
    spectrum.blackbody_share: (
        {"temperature_k": [300.0, 2700.0, 5800.0]},
        {"low_nm": 780.0, "high_nm": 1400.0},
    ),
}
NAMES = [f"{f.__module__.rsplit('.', 1)[-1]}.{f.__name__}" for f in CASES]


def parts(answer):
    """Every array of an answer by name, whatever container holds them."""
    if isinstance(answer, dict):
        return answer
    if isinstance(answer, pd.DataFrame):
        return {name: answer[name] for name in answer}
    if isinstance(answer, xr.Dataset):
        return dict(answer.data_vars)
    return {"": answer}


def numbers(answer):
    return np.array([np.asarray(v, dtype=float) for v in parts(answer).values()])


@pytest.fixture(params=CASES.items(), ids=NAMES)
def case(request):
    function, (varying, fixed) = request.param
    return function, {name: np.array(values) for name, values in varying.items()}, fixed


def test_every_elementwise_function_is_in_the_table():
    found = set()
    for room in physics._ROOMS:
        module = importlib.import_module(f"fieldkit.physics.{room}")
        for name in dir(module):
            thing = getattr(module, name)
            public = callable(thing) and not name.startswith("_")
            if public and hasattr(thing, "__wrapped__") and thing.__module__.startswith("fieldkit.physics"):
                found.add(thing)
    assert found == set(CASES)


def test_arrays_of_any_shape_agree_with_scalars(case):
    function, varying, fixed = case
    flat = numbers(function(**varying, **fixed))
    assert flat.shape[1:] == (3,)
    for i in range(3):
        one = function(**{name: float(values[i]) for name, values in varying.items()}, **fixed)
        assert all(isinstance(v, float) for v in parts(one).values())
        assert numbers(one) == pytest.approx(flat[:, i], rel=1e-9, abs=1e-9, nan_ok=True)
    tall = numbers(function(**{name: values.reshape(3, 1) for name, values in varying.items()}, **fixed))
    assert tall.shape[1:] == (3, 1)
    assert tall[..., 0] == pytest.approx(flat, rel=1e-9, abs=1e-9, nan_ok=True)
    none = numbers(function(**{name: values[:0] for name, values in varying.items()}, **fixed))
    assert none.shape[1:] == (0,)


def test_series_keep_their_zoned_index(case):
    function, varying, fixed = case
    index = pd.date_range("2024-03-31 00:30", periods=3, freq="1h", tz="Europe/Berlin")
    series = {name: pd.Series(values, index=index) for name, values in varying.items()}
    before = {name: s.copy() for name, s in series.items()}
    answer = function(**series, **fixed)
    for part in parts(answer).values():
        assert part.index.equals(index) and str(part.index.tz) == "Europe/Berlin"
    assert numbers(answer) == pytest.approx(numbers(function(**varying, **fixed)), rel=1e-9, abs=1e-9)
    for name in series:  # what was given is not touched
        pd.testing.assert_series_equal(series[name], before[name])


def test_dataarrays_keep_dims_and_carry_units_and_dask_stays_lazy(case):
    function, varying, fixed = case
    fields = {
        name: xr.DataArray(
            np.stack([values, values[::-1]]), dims=("place", "time"), coords={"place": ["a", "b"], "time": [1, 2, 3]}
        )
        for name, values in varying.items()
    }
    answer = function(**fields, **fixed)
    lazy = function(**{name: f.chunk(place=1, time=2) for name, f in fields.items()}, **fixed)
    bare = function(**{name: da.from_array(f.to_numpy(), chunks=(1, 3)) for name, f in fields.items()}, **fixed)
    plain = numbers(function(**{name: f.to_numpy() for name, f in fields.items()}, **fixed))
    for part, waiting in zip(parts(answer).values(), parts(lazy).values()):
        assert part.dims == ("place", "time") and list(part["place"].values) == ["a", "b"]
        assert part.attrs["units"]
        assert waiting.chunks is not None and waiting.attrs == part.attrs
    assert all(isinstance(part, da.Array) for part in parts(bare).values())
    for each in (answer, lazy.compute(), bare):
        assert numbers(each) == pytest.approx(plain, rel=1e-9, abs=1e-9)


def test_what_is_missing_stays_missing_and_spoils_nothing_else(case):
    function, varying, fixed = case
    whole = numbers(function(**varying, **fixed))
    for name in varying:
        holed = varying | {name: np.array([varying[name][0], np.nan, varying[name][2]])}
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            answer = function(**holed, **fixed)
        values = numbers(answer)
        assert values[:, [0, 2]] == pytest.approx(whole[:, [0, 2]], rel=1e-9, abs=1e-9), name
        # Known may only be what does not depend on the missing reading.
        for before, after in zip(whole[:, 1], values[:, 1]):
            assert np.isnan(after) or after == pytest.approx(before, rel=1e-9), name
