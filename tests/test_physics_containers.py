"""Every elementwise function of the physics: scalars, arrays, Series, DataArrays and dask give one answer."""

import importlib
import inspect
import pkgutil
import re
import warnings
from pathlib import Path

import dask.array as da
import numpy as np
import pandas as pd
import pytest
import xarray as xr

from fieldkit import physics
from fieldkit.core import FieldkitError
from fieldkit.physics import agreement, atmosphere, heat, sensors, spectrum, sun
from fieldkit.physics.heat import air, convection, ground, warming

ANIMAL = heat.lizard(length_m=0.07, mass_g=12.0, shortwave_absorptivity=0.87)
WEATHER = {"air_temperature_c": [5.0, 20.0, 35.0], "wind_speed_m_s": [0.0, 0.5, 6.0], "dni_w_m2": [0.0, 900.0, 300.0]}
ZENITH = {"apparent_zenith_deg": [20.0, 60.0, 95.0]}
SKYLINE = {"horizon": [(90, 20), (270, 5)]}

# What varies, and what is fixed.
CASES = {
    atmosphere.air_pressure: ({"elevation_m": [-400.0, 500.0, 4000.0]}, {}),
    atmosphere.most_beam: (ZENITH | {"extraterrestrial_w_m2": [1330.0, 1360.0, 1400.0]}, {}),
    atmosphere.clear_air: (
        {"linke_turbidity": [2.0, 4.0, 7.0], "day_of_year": [10.0, 180.0, 330.0]},
        {"latitude_deg": -36.0, "elevation_m": 800.0},
    ),
    air.air_properties: ({"temperature_c": [-20.0, 15.0, 60.0], "pressure_pa": [1e5, 9e4, 7e4]}, {}),
    air.saturation_vapour_pressure: ({"temperature_c": [-20.0, 15.0, 60.0]}, {}),
    air.vapour_pressure: (
        {"air_temperature_c": [0.0, 15.0, 40.0], "relative_humidity_percent": [0.0, 50.0, 100.0]},
        {},
    ),
    air.dew_point: ({"vapour_pressure_kpa": [0.2, 1.0, 4.0]}, {}),
    air.sky_emissivity: ({"air_temperature_c": [5.0, 15.0, 40.0], "vapour_pressure_kpa": [0.3, 1.0, 3.0]}, {}),
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


@pytest.fixture(scope="session")
def cf_refuses():
    """What the CF conventions have against a variable: table of names and UDUNITS, as compliance-checker has them."""
    from xml.etree import ElementTree

    import cf_units
    import compliance_checker

    table = Path(compliance_checker.__file__).parent / "data" / "cf-standard-name-table.xml"
    canonical = {
        e.get("id"): e.findtext("canonical_units") for e in ElementTree.parse(table).getroot().findall("entry")
    }

    def refuses(variable):
        name, unit = variable.attrs.get("standard_name"), cf_units.Unit(variable.attrs["units"])
        if name is None:
            return None if variable.attrs.get("long_name") else "no name"
        if name not in canonical:
            return f"{name} is not in the table"
        return None if unit.is_convertible(canonical[name]) else f"{name} is not measured in {unit}"

    return refuses


@pytest.fixture(params=CASES.items(), ids=NAMES)
def case(request):
    function, (varying, fixed) = request.param
    return function, {name: np.array(values) for name, values in varying.items()}, fixed


def test_every_elementwise_function_is_in_the_table():
    found = set()
    for file in pkgutil.walk_packages(physics.__path__, "fieldkit.physics."):
        module = importlib.import_module(file.name)
        for name in vars(module):
            thing = getattr(module, name)
            public = callable(thing) and not name.startswith("_")
            if public and hasattr(thing, "elementwise_outputs") and thing.__module__.startswith("fieldkit.physics"):
                found.add(thing)
    # These take a Surroundings or its fields, and hand them to an elementwise function inside.
    whole = {heat.energy_balance, heat.operative_temperature, heat.fluxes, sensors.instrument_reading}
    assert found | whole == set(CASES)


@pytest.mark.parametrize("room", sorted({*physics.__all__} - {"limits"}))
def test_every_declared_name_is_there_and_its_docstring_names_every_parameter(room):
    module = importlib.import_module(f"fieldkit.physics.{room}")
    for name in getattr(module, "__all__", [name for name in vars(module) if not name.startswith("_")]):
        thing = getattr(module, name)
        if not callable(thing):
            continue
        words = inspect.getdoc(thing)
        if inspect.isclass(thing):
            assert "Attributes\n---" in words or "Parameters\n---" in words, name
            continue
        parameters = inspect.signature(thing).parameters
        sections = ["Returns", "Examples"] + ["Parameters"] * bool(parameters)
        assert [s for s in sections if f"{s}\n---" not in words] == [], name
        given = words.split("Parameters\n---")[-1].split("Returns\n---")[0]
        assert [p for p in parameters if not re.search(rf"\b{p}\b", given)] == [], name


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


def test_lists_columns_and_whole_numbers_are_taken(case):
    function, varying, fixed = case
    plain = numbers(function(**varying, **fixed))
    table = pd.DataFrame(varying, index=["a", "b", "c"])
    for kind in (
        {name: values.tolist() for name, values in varying.items()},
        {name: tuple(values) for name, values in varying.items()},
        {name: table[name] for name in varying},
        {name: table[name].astype("Float64") for name in varying},
    ):
        assert numbers(function(**kind, **fixed)) == pytest.approx(plain, rel=1e-9, abs=1e-9)
    # Up to whole numbers and not down: a diameter of 0 m is no body.
    whole = {name: np.ceil(values).astype(int) for name, values in varying.items()}
    as_floats = function(**{name: values.astype(float) for name, values in whole.items()}, **fixed)
    assert numbers(function(**whole, **fixed)) == pytest.approx(numbers(as_floats), rel=1e-12)
    empty = table.iloc[:0]
    assert numbers(function(**{name: empty[name] for name in varying}, **fixed)).shape[1:] == (0,)


def test_what_a_mask_hides_is_missing(case):
    # Readers of NetCDF files give masked arrays, with -9999 and the like behind the mask.
    function, varying, fixed = case
    for name in varying:
        holed = varying | {name: np.ma.masked_array(varying[name], mask=[False, True, False])}
        known = varying | {name: np.array([varying[name][0], np.nan, varying[name][2]])}
        assert numbers(function(**holed, **fixed)) == pytest.approx(
            numbers(function(**known, **fixed)), rel=1e-12, nan_ok=True
        )
    nothing = dict.fromkeys(varying, np.full(3, np.nan))
    assert numbers(function(**nothing, **fixed)).shape[1:] == (3,)


def test_every_output_is_named_for_cf_and_nothing_is_computed_before_it_is_asked_for(case, cf_refuses):
    function, varying, fixed = case

    def never(block):
        raise AssertionError("computed too early")

    name = next(iter(varying))
    asleep = da.from_array(varying[name], chunks=1).map_blocks(never, dtype=float, meta=np.empty(0))
    fields = {key: xr.DataArray(values, dims="time") for key, values in varying.items()}
    for part in parts(function(**fields | {name: xr.DataArray(asleep, dims="time")}, **fixed)).values():
        assert part.dims == ("time",)
        assert cf_refuses(part) is None


# What works along a dimension, on spectra or by way of other functions: (call, what varies, the dims that come out).
TIMES = xr.DataArray(pd.date_range("2024-06-21 10:00", periods=4, freq="6h").to_numpy(), dims="time")
HALF_HOURS = pd.date_range("2024-06-21", periods=48, freq="30min")
WARMTH = xr.DataArray(
    np.outer([1.0, 2.0], 15 + np.sin(np.arange(48) / 8)), dims=("place", "time"), coords={"time": HALF_HOURS}
)
SPECTRA = xr.DataArray(
    np.outer([1.0, 0.5], spectrum.reference_sunlight().to_numpy()),
    dims=("place", "wavelength_nm"),
    coords={"wavelength_nm": spectrum.reference_sunlight().index},
    attrs={"units": "W m-2 nm-1"},
)
BLACK = heat.probe(diameter_m=0.01, length_m=0.05, shortwave_absorptivity=0.95, emissivity=0.95)
WHERE = {"latitude_deg": 36.0, "longitude_deg": -80.0}
GROUND = {"wind_speed_m_s": 1, "irradiance_w_m2": 100, "sky_longwave_w_m2": 300, "spin_up_days": 1}
READING = {"emissivity": 0.99, "reflected_temperature_c": 20}
READING_ERRORS = {"reading_c": 0.5, "emissivity": 0.02}
PAIR = {"shaded_c": 10.0, "wind_speed_m_s": 0.5, "body": BLACK, "apparent_zenith_deg": 30.0}
OTHERS = {
    "position": (lambda x: sun.position(x, **WHERE), TIMES, ("time",)),
    "extraterrestrial": (sun.extraterrestrial, TIMES, ("time",)),
    "solar_time": (lambda x: sun.solar_time(x, longitude_deg=-80.0), TIMES, ("time",)),
    "clear_sky": (lambda x: sun.clear_sky(x, **WHERE), TIMES, ("time",)),
    "irradiance": (
        lambda x: sun.irradiance(x, **WHERE, horizon=[(90, 20), (270, 5)], canopy_transmission=0.5),
        TIMES,
        ("time",),
    ),
    "ozone_climatology": (lambda x: spectrum.ozone_climatology(x, **WHERE), TIMES, ("time",)),
    "clear_sky_spectrum": (lambda x: spectrum.clear_sky_spectrum(x, **WHERE), TIMES, ("time", "wavelength_nm")),
    "integrate": (spectrum.integrate, SPECTRA, ("place",)),
    "band_shares": (lambda x: spectrum.band_shares(x)[["irradiance_w_m2", "share_pct"]], SPECTRA, ("place", "band")),
    "photon_flux": (spectrum.photon_flux, SPECTRA, ("place",)),
    "illuminance": (spectrum.illuminance, SPECTRA, ("place",)),
    "uv_index": (spectrum.uv_index, SPECTRA, ("place",)),
    "absorbed_share": (
        lambda x: spectrum.absorbed_share(x, pd.Series([0.8, 0.4], index=[300, 3000])),
        SPECTRA,
        ("place",),
    ),
    "correct_lag": (lambda x: sensors.correct_lag(x, 600.0, error_c=0.1), WARMTH, ("place", "time")),
    "carry_errors": (
        lambda x: sensors.carry_errors(
            sensors.true_surface_temperature, values=READING | {"reading_c": x}, errors=READING_ERRORS
        ),
        WARMTH,
        ("place", "time"),
    ),
    "absorbed_irradiance": (lambda x: sensors.absorbed_irradiance(sunlit_c=x, **PAIR), WARMTH, ("place", "time")),
    "follow": (lambda x: warming.follow(x, 600.0), WARMTH, ("place", "time")),
    "body_temperature": (
        lambda x: warming.body_temperature(air_temperature_c=x, wind_speed_m_s=1, body=ANIMAL),
        WARMTH,
        ("place", "time"),
    ),
    "surface_temperature": (
        lambda x: ground.surface_temperature(air_temperature_c=x, substrate="rock", **GROUND),
        WARMTH,
        ("place", "time"),
    ),
}


@pytest.mark.parametrize("name", OTHERS)
def test_all_other_functions_keep_dims_carry_names_and_stay_lazy(name, cf_refuses):
    function, field, dims = OTHERS[name]
    plain, lazy = function(field), function(field.chunk({field.dims[0]: 1}))
    assert parts(plain).keys() == parts(lazy).keys()
    for part, waiting in zip(parts(plain).values(), parts(lazy).values()):
        assert part.dims == waiting.dims == dims
        assert waiting.chunks is not None
        assert part.attrs["units"] and waiting.attrs == part.attrs
        assert cf_refuses(part) is None
        xr.testing.assert_allclose(part, waiting.compute(), rtol=1e-9)


def test_bare_masked_series_and_empty_ones():
    holed = np.ma.masked_array([20.0, -9999.0, 21.0, 22.0, 23.0, 24.0, 25.0], mask=[0, 1, 0, 0, 0, 0, 0])
    assert np.isnan(warming.follow(holed, 600.0, step_s=60.0)[1:]).all()
    corrected = sensors.correct_lag(holed, 60.0, interval_s=60.0)["corrected_c"]
    assert np.isnan(corrected[:2]).all() and corrected[2] == pytest.approx(22.0)
    with pytest.raises(FieldkitError, match="missing values"):
        ground.surface_temperature(air_temperature_c=holed, substrate="rock", step_s=60.0, **GROUND)
    for nothing in (np.empty(0), 20.0):
        with pytest.raises(FieldkitError, match="shorter than a day"):
            ground.surface_temperature(air_temperature_c=nothing, substrate="rock", step_s=60.0, **GROUND)
    lit = sensors.absorbed_irradiance(sunlit_c=np.ma.masked_array([30.0, -9999.0], mask=[0, 1]), **PAIR)
    assert np.isnan(lit["irradiance_w_m2"]).tolist() == [False, True]
    assert sun.extraterrestrial([]).shape == (0,)
    assert spectrum.clear_sky_spectrum(pd.DatetimeIndex([], tz="UTC"), **WHERE).shape == (0, 122)


def test_what_has_one_answer_for_one_spectrum_or_one_table_says_so():
    for function in (spectrum.human_uv_limits, spectrum.compare_with_sunlight):
        with pytest.raises(FieldkitError, match="takes one spectrum"):
            function(SPECTRA)
    with pytest.raises(FieldkitError, match="one dimension"):
        sensors.carry_errors(
            sensors.true_surface_temperature, values=READING | {"reading_c": np.ones((2, 2))}, errors=READING_ERRORS
        )
    with pytest.raises(FieldkitError, match="must be Series"):
        agreement.agreement(np.ones(3), {"model": np.ones(3)})
    day = {"latitude_deg": 36.0, "longitude_deg": -80.0}
    assert len(sun.day_length("2024-06-21", timezone="America/New_York", **day)) == 1
    with pytest.raises(FieldkitError, match="no time zone"):
        sun.day_length(["2024-06-21"], timezone="Mars/Olympus", **day)


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


# Slips of unit and sign, and missing-value codes; each gives a sentence with the value in it.
SLIPS = {
    "kelvin for °C": (lambda: air.saturation_vapour_pressure(293.0), "293 °C"),
    "kelvin in a whole balance": (
        lambda: convection.convection_coefficient(
            surface_temperature_c=310,
            air_temperature_c=293,
            wind_speed_m_s=1,
            characteristic_dimension_m=0.1,
            shape="plate",
        ),
        "293 °C",
    ),
    "hPa for Pa": (lambda: air.air_properties(20.0, pressure_pa=1013.0), "1013 Pa"),
    "hPa for kPa": (lambda: air.sky_longwave(20.0, vapour_pressure_kpa=12.0), "is it in hPa"),
    "wind below nothing": (lambda: air.wind_at_height(-3.0, measured_height_m=10, height_m=0.1), "-3 m/s"),
    "code for missing sun": (lambda: sun.decompose([-9999, 300], 30.0), "-9999 W/m²"),
    "code for missing height": (
        lambda: sun.position("2024-06-21 12:00+00:00", elevation_m=-9999, **WHERE),
        "-9999 m",
    ),
    "percent for a share": (
        lambda: sun.irradiance("2024-06-21 12:00+00:00", ground_albedo=20, **WHERE),
        "ground_albedo is 20",
    ),
    "turbidity": (lambda: sun.clear_sky_at_zenith(30.0, linke_turbidity=-3.0), "linke_turbidity is -3"),
    "centimetres for Dobson units": (lambda: spectrum.clear_sky_uv_index(30.0, 0.3), "0.3 DU"),
    "micrometres": (lambda: spectrum.erythemal_weight(0.3), "0.3 nm"),
    "band upside down": (lambda: spectrum.blackbody_share(3000.0, 700.0, 400.0), "upside down"),
    "below absolute zero": (lambda: sensors.true_surface_temperature(-300.0, 0.95, 20.0), "-300 °C"),
    "no heat loss": (lambda: warming.time_constant(heat_loss_slope_w_m2_k=0.0, body=ANIMAL), "at least 1e-09"),
    "a body that cannot lag": (lambda: warming.follow([20.0, 21.0], 0.0, step_s=60.0), "time_constant_s is 0 s"),
    "no depth": (
        lambda: ground.surface_temperature(
            air_temperature_c=np.full(48, 20.0), substrate="rock", step_s=1800.0, depth_m=-1, **GROUND
        ),
        "depth_m is -1",
    ),
    "wind among the stones": (
        lambda: ground.surface_temperature(
            air_temperature_c=np.full(48, 20.0), substrate="rock", step_s=1800.0, measured_height_m=0.02, **GROUND
        ),
        "three roughness lengths",
    ),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_slips_of_unit_and_sign_are_said_and_not_computed_with(slip):
    call, words = SLIPS[slip]
    with pytest.raises(FieldkitError, match=re.escape(words)):
        call()
