"""Ground that stores heat: exact conduction, energy, and a real station's ground."""

import dataclasses
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fieldkit.core import FieldkitError
from fieldkit.physics import heat
from fieldkit.physics.heat import ground

OPEN = Path(__file__).resolve().parent.parent / "data" / "open"


def summer_day(step_s=600.0, days=1):
    hours = np.arange(0, 24 * days, step_s / 3600)
    phase = (hours - 12) / 24 * 2 * np.pi
    return {
        "air_temperature_c": 22 + 6 * np.cos(phase - 0.8),
        "wind_speed_m_s": np.full(hours.size, 1.5),
        "irradiance_w_m2": 900 * np.clip(np.cos(phase), 0, None),
        "sky_longwave_w_m2": np.full(hours.size, 330.0),
        "step_s": step_s,
    }


def test_daily_wave_has_the_amplitude_and_lag_of_the_exact_solution():
    # Semi-infinite solid under a sinusoidal heat flux q: amplitude q/(e √ω), a lag of 1/8 period, e effusivity
    # (Carslaw & Jaeger 1959, sec. 2.6). The surface flux is the one the model itself reports.
    for name in ("rock", "sand"):
        given = summer_day()
        answer = ground.surface_temperature(substrate=name, spin_up_days=25, cells=40, **given)
        day = np.exp(-2j * np.pi * np.arange(144) / 144)
        into = np.sum(-answer["storage_w_m2"] * day)
        surface = np.sum(answer["surface_temperature_c"] * day)
        omega = 2 * np.pi / 86400
        exact = into / (ground.SUBSTRATES[name].effusivity_j_m2_k_s05 * np.sqrt(omega)) * np.exp(-1j * np.pi / 4)
        assert abs(surface / exact - 1) < 0.02


def test_fluxes_close_and_a_repeated_day_stores_nothing():
    answer = ground.surface_temperature(substrate="soil", spin_up_days=40, **summer_day(step_s=1200.0))
    total = sum(answer[n] for n in answer if n.endswith("_w_m2"))
    assert np.abs(total).max() < 1e-6
    # Over a day that repeats itself what goes in comes out: under 0.2 W/m² of some 150 by day.
    assert abs(answer["storage_w_m2"].mean()) < 0.2


def test_the_balance_of_the_ground_is_the_balance_of_a_body():
    # Without storage (a board thinner than a hair over nothing) the ground is an upper face that sees the sky only.
    thin = dataclasses.replace(ground.SUBSTRATES["wood"], density_kg_m3=1.0, specific_heat_j_kg_k=1.0)
    given = summer_day()
    answer = ground.surface_temperature(
        substrate=thin, patch_length_m=0.3, depth_m=0.01, cells=4, spin_up_days=1, **given
    )
    plate = heat.Body(
        characteristic_dimension_m=0.3,
        shape="upper face",
        emissivity=thin.emissivity,
        sky_view_factor=1.0,
        ground_view_factor=0.0,
    )
    alone = heat.operative_temperature(
        air_temperature_c=given["air_temperature_c"],
        wind_speed_m_s=given["wind_speed_m_s"],
        absorbed_shortwave_w_m2=given["irradiance_w_m2"] * (1 - thin.albedo),
        sky_longwave_w_m2=given["sky_longwave_w_m2"],
        body=plate,
    )
    assert answer["surface_temperature_c"] == pytest.approx(alone, abs=0.01)


def similarity(wind, excess, rough, height=2.0, air_k=298.15):
    """Coefficient (W/m²/K) over warm ground by iterating Monin-Obukhov similarity with the functions of Dyer (1974)."""
    from CoolProp.CoolProp import PropsSI

    def heat_function(zeta):
        return 2 * np.log((1 + np.sqrt(1 - 16 * zeta)) / 2)

    def wind_function(zeta):
        x = (1 - 16 * zeta) ** 0.25
        return 2 * np.log((1 + x) / 2) + np.log((1 + x * x) / 2) - 2 * np.arctan(x) + np.pi / 2

    length = -1e6
    for _ in range(300):
        friction = wind_function(height / length) - wind_function(rough / length)
        friction = 0.4 * wind / (np.log(height / rough) - friction)
        profile = heat_function(height / length) - heat_function(0.1 * rough / length)
        scale = -0.4 * excess / (np.log(height / (0.1 * rough)) - profile)
        length = 0.7 * length + 0.3 * friction**2 * air_k / (0.4 * 9.81 * scale)
    density, specific_heat = (PropsSI(name, "T", air_k, "P", 101325, "Air") for name in "DC")
    return -density * specific_heat * friction * scale / excess


def coefficient_over(name, wind, excess):
    given = (np.array(298.15), np.array(wind), 101325.0, 2.0, ground.SUBSTRATES[name])
    return float(ground._OpenGround(*given).coefficient(np.array(298.15 + excess))[0])


@pytest.mark.parametrize("name", ["soil", "sand"])
@pytest.mark.parametrize("wind", [0.3, 0.5, 1.0, 2.0, 4.0, 8.0])
def test_air_over_warm_ground_is_that_of_similarity_theory(name, wind):
    for excess in (2.0, 10.0, 25.0):
        theirs = similarity(wind, excess, ground.SUBSTRATES[name].roughness_m)
        assert coefficient_over(name, wind, excess) == pytest.approx(theirs, rel=0.16), excess


def test_still_air_over_warm_ground_lies_between_smooth_and_rough():
    # Kondo & Ishida (1997) J. Atmos. Sci. 54:498, free convection over ground: 0.0011 (smooth) to 0.0033 (rough)
    # m/s/K^⅓ times ρ cp ΔT^⅓ (as public code quotes it).
    for excess in (10.0, 25.0):
        smooth, rough = (1.184 * 1006 * b * excess ** (1 / 3) for b in (0.0011, 0.0033))
        assert smooth < coefficient_over("soil", 0.05, excess) < rough


def test_step_and_layers_hardly_matter():
    reference = ground.surface_temperature(substrate="rock", cells=64, **summer_day(step_s=300.0))
    coarse = ground.surface_temperature(substrate="rock", **summer_day(step_s=600.0))
    assert np.abs(coarse["surface_temperature_c"] - reference["surface_temperature_c"][::2]).max() < 0.1


def test_albedos_are_those_of_the_table_they_name():
    from pvlib.albedo import SURFACE_ALBEDOS

    theirs = {"rock": "concrete", "sand": "sand", "soil": "soil", "asphalt": "asphalt", "grass": "grass"}
    for ours, name in theirs.items():
        assert ground.SUBSTRATES[ours].albedo == SURFACE_ALBEDOS[name], ours


def test_order_of_materials_sun_and_shade():
    given = summer_day(step_s=1800.0)
    top = {n: ground.surface_temperature(substrate=n, **given)["surface_temperature_c"] for n in ground.SUBSTRATES}
    warmest = {n: v.max() for n, v in top.items()}
    # Dark and slow to conduct is hottest, watered grass coolest: qualitative, common knowledge.
    assert warmest["asphalt"] > warmest["rock"] > warmest["grass"]
    assert warmest["soil"] > warmest["sand"] > warmest["rock"]
    # Rock keeps its warmth into the evening.
    evening = int(20 / 0.5)
    assert top["rock"][evening] > top["wood"][evening]
    shaded = ground.surface_temperature(
        substrate="rock", sky_view_factor=0.3, **given | {"irradiance_w_m2": 0.1 * given["irradiance_w_m2"]}
    )
    assert shaded["surface_temperature_c"].max() < warmest["rock"] - 10


def test_containers_agree():
    import xarray as xr

    given = summer_day(step_s=1800.0)
    step = given.pop("step_s")
    plain = ground.surface_temperature(substrate="sand", step_s=step, **given)["surface_temperature_c"]
    times = pd.date_range("2024-07-01", periods=48, freq="30min")
    series = {k: pd.Series(v, index=times) for k, v in given.items()}
    table = ground.surface_temperature(substrate="sand", **series)
    assert table["surface_temperature_c"].to_numpy() == pytest.approx(plain, abs=1e-9)
    fields = {k: xr.DataArray(v, dims="time", coords={"time": times}) for k, v in given.items()}
    places = xr.DataArray([1.0, 0.2], dims="place") * fields["irradiance_w_m2"]
    data = ground.surface_temperature(substrate="sand", **fields | {"irradiance_w_m2": places.chunk(place=1)})
    assert data["surface_temperature_c"].chunks is not None
    assert data["surface_temperature_c"].attrs["units"] == "degC"
    assert data["surface_temperature_c"].isel(place=0).to_numpy() == pytest.approx(plain, abs=1e-9)


def test_mistakes_are_said_in_words():
    given = summer_day(step_s=1800.0)
    with pytest.raises(FieldkitError, match="choose from rock"):
        ground.surface_temperature(substrate="lava", **given)
    holed = given["air_temperature_c"].copy()
    holed[3] = np.nan
    with pytest.raises(FieldkitError, match="missing values"):
        ground.surface_temperature(substrate="rock", **given | {"air_temperature_c": holed})
    short = {k: v[:20] if np.ndim(v) else v for k, v in given.items()}
    with pytest.raises(FieldkitError, match="shorter than a day"):
        ground.surface_temperature(substrate="rock", **short)
    times = pd.date_range("2024-07-01", periods=48, freq="30min").delete(7)
    series = {k: pd.Series(v[:47], index=times) for k, v in given.items() if np.ndim(v)}
    with pytest.raises(FieldkitError, match="not evenly spaced"):
        ground.surface_temperature(substrate="rock", **series)
    with pytest.raises(FieldkitError, match="share"):
        dataclasses.replace(ground.SUBSTRATES["rock"], albedo=30)


def station_day():
    table = pd.read_csv(OPEN / "surfrad_san_luis_valley_2016-01-01.csv", index_col="time", parse_dates=True)
    reflected = 0.02 * table["sky_longwave_w_m2"]
    table["surface_c"] = ((table["upwelling_longwave_w_m2"] - reflected) / (0.98 * heat.SIGMA)) ** 0.25 - 273.15
    return table


def test_measured_ground_has_its_printed_numbers():
    # SURFRAD San Luis Valley, 2016-01-01, ε 0.98: figures computed independently from the raw file.
    surface = station_day()["surface_c"]
    assert surface.min() == pytest.approx(-21.572, abs=0.01)
    assert surface.mean() == pytest.approx(-11.377, abs=0.01)
    assert surface.max() == pytest.approx(5.339, abs=0.01)


def test_real_ground_needs_its_storage():
    # No parameter is fitted: albedo and emissivity are the station's own, the soils the table's. What lies under
    # the station is not reported, so the table must bracket it; without storage it cannot be right by day and night.
    table = station_day().resample("20min").mean()
    day = table["ghi_w_m2"] > 20
    nothing = {"density_kg_m3": 1.0, "specific_heat_j_kg_k": 1.0}
    cases = {"grass": {}, "soil": {}, "rock": {}, "nothing": nothing}
    error = {}
    for name, change in cases.items():
        base = ground.SUBSTRATES["soil" if name == "nothing" else name]
        answer = ground.surface_temperature(
            air_temperature_c=table["air_temperature_c"],
            wind_speed_m_s=table["wind_speed_m_s"],
            irradiance_w_m2=table["ghi_w_m2"].clip(lower=0),
            sky_longwave_w_m2=table["sky_longwave_w_m2"],
            substrate=dataclasses.replace(base, albedo=0.19, emissivity=0.98, **change),
            measured_height_m=10.0,
            pressure_pa=77600.0,
            depth_m=0.01 if name == "nothing" else None,
        )
        error[name] = answer["surface_temperature_c"] - table["surface_c"]
    rmse = {name: np.sqrt((e**2).mean()) for name, e in error.items()}
    assert rmse["nothing"] > 10
    assert rmse["grass"] < 1.5 and rmse["rock"] < 4.0 and rmse["soil"] < 5.5
    assert error["rock"][day].mean() < 0 < error["soil"][day].mean()
    assert error["soil"][~day].mean() < 0 < error["rock"][~day].mean()
