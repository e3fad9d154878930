"""The one energy balance: it closes, keeps its limits, and equals what standards and textbooks print."""

import dataclasses
import itertools

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import brentq

from fieldkit.core import FieldkitError
from fieldkit.physics import heat
from fieldkit.physics.heat import Body, air


def random_weather(rng, count):
    """Any weather a body may meet: still air or gales, night or 1200 W/m², -30 to 60 °C, clear or closed sky."""
    celsius = rng.uniform(-30, 60, count)
    day = rng.choice([0.0, 1.0], count)
    return {
        "air_temperature_c": celsius,
        "wind_speed_m_s": rng.choice([0.0, 1.0], count, p=[0.2, 0.8]) * rng.uniform(0, 20, count),
        "dni_w_m2": day * rng.uniform(0, 1200, count),
        "dhi_w_m2": day * rng.uniform(0, 400, count),
        "ground_upwelling_w_m2": day * rng.uniform(0, 300, count),
        "sky_longwave_w_m2": rng.uniform(0.55, 1.0, count) * heat.SIGMA * (celsius + 273.15) ** 4,
        "ground_temperature_c": celsius + rng.uniform(-20, 40, count),
    }


def random_body(rng):
    return Body(
        characteristic_dimension_m=10 ** rng.uniform(-3, 0.3),
        shape=rng.choice(["cylinder", "sphere", "plate", "upper face"]),
        shortwave_absorptivity=rng.uniform(0.1, 1),
        emissivity=rng.uniform(0.1, 1),
        silhouette_fraction=rng.uniform(0.05, 0.5),
        sky_view_factor=rng.uniform(0, 0.5),
        ground_view_factor=rng.uniform(0, 0.5),
        contact_fraction=rng.choice([0.0, 0.3]),
        substrate_conductance_w_m2_k=rng.uniform(0, 200),
        evaporation_w_m2=rng.uniform(0, 30),
        metabolism_w_m2=rng.uniform(0, 30),
    )


def test_fluxes_close_over_a_million_random_inputs():
    rng = np.random.default_rng(1)
    rows = 50_000
    for _ in range(20):
        body = random_body(rng)
        answer = heat.energy_balance(body=body, **random_weather(rng, rows))
        names = [n for n in answer if n.endswith("_w_m2") and n != "net_w_m2"]
        total = sum(answer[n] for n in names)
        assert np.abs(total).max() < 1e-6, body
        assert np.isfinite(answer["operative_temperature_c"]).all()


@pytest.mark.parametrize("size", [0.001, 0.03, 1.0])
@pytest.mark.parametrize("shape", ["cylinder", "sphere", "plate", "upper face"])
def test_every_corner_of_the_weather_is_solved(size, shape):
    # All combinations of extremes: frost and heat, calm and gale, night and 1200 W/m², sea level and 4000 m, sky and
    # ground as cold and as hot as they come; with bare metal, and with belly flat on cold or hot ground.
    corners = np.array(
        list(
            itertools.product(
                (-30.0, 0.0, 60.0),
                (0.0, 1e-6, 0.1, 40.0),
                (0.0, 1200.0),
                (0.0, 500.0),
                (6e4, 101325.0),
                (0.5, 1.0),
                (-20, 50),
            )
        )
    ).T
    celsius, wind, dni, dhi, pressure, sky, ground = corners
    for emissivity, contact in ((0.02, 0.0), (0.95, 0.5)):
        body = Body(
            characteristic_dimension_m=size,
            shape=shape,
            emissivity=emissivity,
            contact_fraction=contact,
            substrate_conductance_w_m2_k=1000.0,
        )
        answer = heat.energy_balance(
            air_temperature_c=celsius,
            wind_speed_m_s=wind,
            dni_w_m2=dni,
            dhi_w_m2=dhi,
            pressure_pa=pressure,
            sky_longwave_w_m2=sky * heat.SIGMA * (celsius + 273.15) ** 4,
            ground_temperature_c=celsius + ground,
            body=body,
        )
        assert np.abs(answer["net_w_m2"]).max() < 1e-6
        assert (answer["heat_loss_slope_w_m2_k"] > 0).all()
        assert np.isfinite(answer["operative_temperature_c"]).all()


def test_solver_finds_the_root_that_brentq_finds():
    # scipy.optimize.brentq on the same flux function: an independent root finder.
    rng = np.random.default_rng(2)
    for _ in range(30):
        body, weather = random_body(rng), random_weather(rng, 4)
        ours = heat.operative_temperature(body=body, **weather)
        for i in range(4):
            row = {k: v[i] for k, v in weather.items()}

            def net(celsius, row=row, body=body):
                return heat.fluxes(temperature_c=celsius, body=body, **row)["net_w_m2"]

            assert ours[i] == pytest.approx(brentq(net, -150, 400, xtol=1e-10), abs=1e-7)


def test_flux_sum_falls_everywhere_with_temperature():
    # One root only: what makes the bracket safe.
    rng = np.random.default_rng(3)
    celsius = np.linspace(-80, 250, 2000)
    for _ in range(100):
        row = {k: v[0] for k, v in random_weather(rng, 1).items()}
        net = heat.fluxes(temperature_c=celsius, body=random_body(rng), **row)["net_w_m2"]
        assert np.all(np.diff(net) < 0)


def test_slope_is_the_derivative_of_the_heat_loss():
    rng = np.random.default_rng(4)
    for _ in range(20):
        body, weather = random_body(rng), random_weather(rng, 50)
        answer = heat.energy_balance(body=body, **weather)
        at = answer["operative_temperature_c"]
        step = 1e-3
        up, down = (heat.fluxes(temperature_c=at + s, body=body, **weather)["net_w_m2"] for s in (step, -step))
        assert answer["heat_loss_slope_w_m2_k"] == pytest.approx((down - up) / (2 * step), rel=3e-3)


def test_textbook_operative_temperatures(published):
    rounded = 5.67e-8 / heat.SIGMA  # the textbook's σ; times an emissivity it gives the textbook's radiation
    for row in published("heat_operative").itertuples():
        conductance = heat.conductance_campbell_norman(row.wind_speed_m_s, row.dimension_m)
        if row.form == "exact":
            black_sky = Body(
                characteristic_dimension_m=row.dimension_m,
                emissivity=0.95 * rounded,
                sky_view_factor=1.0,
                ground_view_factor=0.0,
            )
            value = heat.operative_temperature(
                air_temperature_c=row.air_temperature_c,
                wind_speed_m_s=row.wind_speed_m_s,
                absorbed_shortwave_w_m2=row.absorbed_w_m2,
                sky_longwave_w_m2=0.0,
                convection_coefficient_w_m2_k=29.3 * conductance,
                body=black_sky,
            )
        else:
            value = heat.operative_temperature_linear(
                air_temperature_c=row.air_temperature_c,
                absorbed_radiation_w_m2=row.absorbed_w_m2,
                conductance_mol_m2_s=conductance,
                emissivity=0.95 * rounded,
                radiative_emissivity=(1.0 if row.form == "linear" else 0.95) * rounded,
            )
        assert value == pytest.approx(row.expected, abs=row.tolerance), row.case


def test_radiative_conductances_and_black_bodies_of_the_textbook():
    # Campbell & Norman (1998): gr = 4σT³/cp in mol/m²/s and σT⁴ in W/m², evaluated with their rounded constants.
    kelvin = np.array([0.0, 10, 20, 25, 30, 35, 40]) + 273.15
    printed = [0.15775, 0.17572, 0.19500, 0.20515, 0.21565, 0.22650, 0.23770]
    rounded = 5.67e-8 / heat.SIGMA
    assert 4 * rounded * heat.SIGMA * kelvin**3 / heat.MOLAR_HEAT_J_MOL_K == pytest.approx(printed, abs=1e-5)
    body = Body(characteristic_dimension_m=0.05, emissivity=1.0)
    for celsius, black, rise in ((20, 418.74, 5.7136), (30, 478.87, 6.3185), (40, 545.25, 6.9647)):
        answer = heat.energy_balance(
            air_temperature_c=celsius, wind_speed_m_s=1.0, convection_coefficient_w_m2_k=0.0, body=body
        )
        assert -answer["emitted_w_m2"] * rounded == pytest.approx(black, abs=0.01)
        assert answer["heat_loss_slope_w_m2_k"] * rounded == pytest.approx(rise, abs=1e-4)


@pytest.mark.parametrize("shape", ["cylinder", "sphere", "plate", "upper face"])
@pytest.mark.parametrize("wind", [0.0, 0.01, 1.0, 20.0])
def test_without_sun_in_a_room_the_body_is_as_warm_as_the_air(shape, wind):
    body = Body(characteristic_dimension_m=0.03, shape=shape)
    celsius = np.linspace(-30, 60, 10)
    answer = heat.operative_temperature(air_temperature_c=celsius, wind_speed_m_s=wind, body=body)
    assert answer == pytest.approx(celsius, abs=1e-9)


def test_high_wind_leads_to_air_temperature():
    body = Body(characteristic_dimension_m=1e-4)
    te = heat.operative_temperature(air_temperature_c=20.0, wind_speed_m_s=100.0, dni_w_m2=1000.0, body=body)
    assert te == pytest.approx(20.0, abs=0.1)
    forced = heat.operative_temperature(
        air_temperature_c=20.0, wind_speed_m_s=1.0, dni_w_m2=1000.0, convection_coefficient_w_m2_k=1e9, body=body
    )
    assert forced == pytest.approx(20.0, abs=1e-6)


def test_without_air_the_body_is_in_radiative_equilibrium():
    body = Body(characteristic_dimension_m=0.1, emissivity=0.9, sky_view_factor=1.0, ground_view_factor=0.0)
    te = heat.operative_temperature(
        air_temperature_c=20.0,
        wind_speed_m_s=5.0,
        absorbed_shortwave_w_m2=300.0,
        sky_longwave_w_m2=0.0,
        convection_coefficient_w_m2_k=0.0,
        body=body,
    )
    assert te == pytest.approx((300.0 / (0.9 * heat.SIGMA)) ** 0.25 - 273.15, abs=1e-6)


def test_monotone_in_sun_wind_and_size():
    base = {"air_temperature_c": 25.0, "sky_longwave_w_m2": 400.0}
    sun = np.linspace(0, 600, 60)
    wind = np.linspace(0, 20, 60)
    for shape in ("cylinder", "sphere", "plate", "upper face"):
        body = Body(characteristic_dimension_m=0.03, shape=shape)
        by_sun = heat.operative_temperature(wind_speed_m_s=0.5, absorbed_shortwave_w_m2=sun, body=body, **base)
        assert np.all(np.diff(by_sun) > 0)
        by_wind = heat.operative_temperature(wind_speed_m_s=wind, absorbed_shortwave_w_m2=300.0, body=body, **base)
        assert np.all(np.diff(np.abs(by_wind - 25.0)) < 0)
        by_size = [
            heat.operative_temperature(
                wind_speed_m_s=1.0,
                absorbed_shortwave_w_m2=300.0,
                body=dataclasses.replace(body, characteristic_dimension_m=size),
                **base,
            )
            for size in np.geomspace(0.001, 0.2, 30)
        ]
        assert np.all(np.diff(by_size) > 0)


def test_contact_pulls_towards_the_substrate():
    body = Body(characteristic_dimension_m=0.03, contact_fraction=0.3)
    answers = [
        heat.operative_temperature(
            air_temperature_c=20.0,
            wind_speed_m_s=0.5,
            substrate_temperature_c=45.0,
            body=dataclasses.replace(body, substrate_conductance_w_m2_k=g),
        )
        for g in (0.0, 10.0, 100.0, 1e6)
    ]
    assert answers[0] == pytest.approx(20.0, abs=1e-9)
    assert np.all(np.diff(answers) > 0)
    assert answers[-1] == pytest.approx(45.0, abs=0.01)


def test_evaporation_and_metabolism_are_plain_watts():
    body = Body(characteristic_dimension_m=0.03)
    given = {"air_temperature_c": 20.0, "wind_speed_m_s": 0.5}
    by_sun = heat.operative_temperature(absorbed_shortwave_w_m2=40.0, body=body, **given)
    by_food = heat.operative_temperature(body=dataclasses.replace(body, metabolism_w_m2=40.0), **given)
    assert by_food == pytest.approx(by_sun, abs=1e-9)
    wet = heat.operative_temperature(
        absorbed_shortwave_w_m2=40.0, body=dataclasses.replace(body, evaporation_w_m2=40.0), **given
    )
    assert wet == pytest.approx(20.0, abs=1e-9)


def test_silhouette_of_a_sphere_receives_a_quarter_of_the_beam():
    # Geometry: πr² of 4πr².
    ball = heat.globe(diameter_m=0.1, shortwave_absorptivity=1.0)
    answer = heat.energy_balance(air_temperature_c=20.0, wind_speed_m_s=1.0, dni_w_m2=800.0, body=ball)
    assert answer["shortwave_w_m2"] == pytest.approx(200.0, rel=1e-12)
    turned = heat.energy_balance(
        air_temperature_c=20.0, wind_speed_m_s=1.0, dni_w_m2=800.0, silhouette_fraction=[0.1, 0.4], body=ball
    )
    assert turned["shortwave_w_m2"] == pytest.approx([80.0, 320.0], rel=1e-12)


def test_thin_air_carries_off_less_heat():
    body = Body(characteristic_dimension_m=0.03)
    sea, mountain = heat.operative_temperature(
        air_temperature_c=20.0, wind_speed_m_s=1.0, dni_w_m2=900.0, pressure_pa=[101325.0, 70000.0], body=body
    )
    # Forced convection of a cylinder goes with about the square root of density: 17 % less at 3000 m.
    assert 1.10 < (mountain - 20) / (sea - 20) < 1.20


def test_globe_gives_mean_radiant_temperature_of_the_standard(published):
    for row in published("heat_globe").itertuples():
        value = heat.mean_radiant_temperature(
            globe_temperature_c=row.globe_temperature_c,
            air_temperature_c=row.air_temperature_c,
            wind_speed_m_s=row.wind_speed_m_s,
            diameter_m=row.diameter_m,
        )
        assert value == pytest.approx(row.expected, abs=row.tolerance), row.case


def test_small_globe_read_as_the_large_one_is_fifteen_kelvin_off():
    # The trap: the short form for 0.15 m on a 0.04 m globe gives 70.83 instead of 85.81 °C.
    given = {"globe_temperature_c": 45.0, "air_temperature_c": 30.0, "wind_speed_m_s": 1.0}
    assert heat.mean_radiant_temperature(**given) == pytest.approx(70.83, abs=0.3)
    assert heat.mean_radiant_temperature(diameter_m=0.04, **given) == pytest.approx(85.81, abs=0.05)


def test_globe_in_the_balance_and_the_globe_of_the_standard_agree_within_the_scatter_of_convection():
    # A globe in a room with walls at 50 °C, solved by our balance, read back with ISO 7726: the two convections are
    # independent and differ by up to 25 %, so the recovered difference from air may err by that much.
    for diameter, wind in ((0.15, 0.3), (0.15, 1.0), (0.04, 0.5), (0.04, 2.0)):
        wall = heat.SIGMA * (50 + 273.15) ** 4
        reading = heat.operative_temperature(
            air_temperature_c=25.0,
            wind_speed_m_s=wind,
            sky_longwave_w_m2=wall,
            ground_temperature_c=50.0,
            body=heat.globe(diameter_m=diameter),
        )
        back = heat.mean_radiant_temperature(
            globe_temperature_c=reading, air_temperature_c=25.0, wind_speed_m_s=wind, diameter_m=diameter
        )
        assert back - 25 == pytest.approx(25.0, rel=0.25)


@pytest.mark.parametrize(("weight", "printed"), [(0.5, 30.0), (0.6, 29.0), (0.7, 28.0)])
def test_operative_temperature_of_the_standard_is_our_linear_limit(weight, printed):
    # ISO 7726 / ASHRAE 55: to = A ta + (1 - A) tr with A = hc/(hc + hr) = 0.5, 0.6, 0.7; air 25 °C, walls 35 °C.
    body = Body(characteristic_dimension_m=0.15, shape="sphere", emissivity=0.95)
    radiative = 4 * 0.95 * heat.SIGMA * (273.15 + 32.5) ** 3
    te = heat.operative_temperature(
        air_temperature_c=25.0,
        wind_speed_m_s=0.1,
        sky_longwave_w_m2=heat.SIGMA * 308.15**4,
        ground_temperature_c=35.0,
        convection_coefficient_w_m2_k=radiative * weight / (1 - weight),
        body=body,
    )
    # Radiation with the fourth power instead of a straight line moves it by some hundredths.
    assert te == pytest.approx(printed, abs=0.05)


def test_same_kind_comes_out_and_dask_stays_lazy():
    import dask.array as da
    import xarray as xr

    body = Body(characteristic_dimension_m=0.03)
    air_c = np.array([10.0, 20.0, 30.0])
    given = {"wind_speed_m_s": 1.0, "dni_w_m2": 500.0, "body": body}
    plain = heat.operative_temperature(air_temperature_c=air_c, **given)
    assert isinstance(heat.operative_temperature(air_temperature_c=20.0, **given), float)
    series = heat.operative_temperature(air_temperature_c=pd.Series(air_c, index=list("abc")), **given)
    assert list(series.index) == list("abc")
    assert series.to_numpy() == pytest.approx(plain, abs=1e-12)
    field = xr.DataArray(air_c, dims="site", coords={"site": list("abc")})
    wind = xr.DataArray([0.5, 2.0], dims="time")
    lazy = heat.energy_balance(air_temperature_c=field.chunk(site=1), **given | {"wind_speed_m_s": wind.chunk(time=1)})
    assert all(v.chunks is not None for v in lazy.data_vars.values())
    eager = lazy.compute()
    assert eager["operative_temperature_c"].attrs["units"] == "degC"
    assert set(eager.sizes) == {"site", "time"}
    one = heat.operative_temperature(air_temperature_c=20.0, **given | {"wind_speed_m_s": 2.0})
    assert float(eager["operative_temperature_c"].sel(site="b").isel(time=1)) == pytest.approx(one, abs=1e-9)
    bare = heat.operative_temperature(air_temperature_c=da.from_array(air_c, chunks=2), **given)
    assert isinstance(bare, da.Array)
    assert bare.compute() == pytest.approx(plain, abs=1e-12)


def test_empty_and_missing_rows():
    body = Body(characteristic_dimension_m=0.03)
    assert heat.operative_temperature(air_temperature_c=np.array([]), wind_speed_m_s=1.0, body=body).shape == (0,)
    answer = heat.energy_balance(
        air_temperature_c=[20.0, np.nan, 30.0], wind_speed_m_s=[1.0, 1.0, np.nan], dni_w_m2=700.0, body=body
    )
    assert np.isfinite(answer["operative_temperature_c"]).tolist() == [True, False, False]
    alone = heat.operative_temperature(air_temperature_c=[np.nan], wind_speed_m_s=[1.0], body=body)
    assert np.isnan(alone).all()


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"air_temperature_c": 293.0}, "air_temperature_c is 293"),
        ({"wind_speed_m_s": -1.0}, "wind_speed_m_s is -1"),
        ({"wind_speed_m_s": [1.0, -9999.0]}, "missing-value code"),
        ({"dni_w_m2": -9999.0}, "dni_w_m2 is -9999"),
        ({"pressure_pa": 1013.0 * 1e3}, "pressure_pa"),
    ],
)
def test_impossible_weather_is_refused_in_words(given, words):
    usual = {"air_temperature_c": 20.0, "wind_speed_m_s": 1.0, "body": Body(characteristic_dimension_m=0.03)}
    with pytest.raises(FieldkitError, match=words):
        heat.operative_temperature(**usual | given)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"characteristic_dimension_m": 500.0}, "diameter in metres"),
        ({"shape": "cube"}, "shape must be"),
        ({"shortwave_absorptivity": 90}, "share"),
        ({"emissivity": 0.0}, "emissivity"),
        ({"contact_fraction": 1.0}, "contact_fraction"),
        ({"sky_view_factor": 0.7}, "more than 1"),
        ({"mass_kg": -1.0}, "mass_kg"),
    ],
)
def test_impossible_bodies_are_refused_in_words(change, words):
    with pytest.raises(FieldkitError, match=words):
        Body(**{"characteristic_dimension_m": 0.03} | change)


def test_evaporation_beyond_all_gains_is_refused():
    body = Body(characteristic_dimension_m=0.03, evaporation_w_m2=1e5)
    with pytest.raises(FieldkitError, match="evaporation"):
        heat.operative_temperature(air_temperature_c=20.0, wind_speed_m_s=0.1, body=body)


def test_lizard_of_kilograms_and_millimetres_is_refused():
    with pytest.raises(FieldkitError, match="length_m is 70 m"):
        heat.lizard(length_m=70.0, mass_g=10.0, shortwave_absorptivity=0.9)
    with pytest.raises(FieldkitError, match="above 0"):
        heat.lizard(length_m=0.07, mass_g=0.0, shortwave_absorptivity=0.9)


def test_ready_bodies_have_the_mass_and_area_of_their_geometry():
    model = heat.copper_model(length_m=0.07, diameter_m=0.015, shortwave_absorptivity=0.9)
    assert model.area_m2 == pytest.approx(np.pi * 0.015 * 0.07 + np.pi * 0.015**2 / 2)
    assert heat.globe(diameter_m=0.15).area_m2 == pytest.approx(np.pi * 0.15**2)
    animal = heat.lizard(length_m=0.07, mass_g=10.0, shortwave_absorptivity=0.87)
    assert np.pi * animal.characteristic_dimension_m**2 / 4 * 0.07 == pytest.approx(10e-6)
    # Meeh's law, 10 M^(2/3) cm² with legs and tail (rule of thumb, no source): ours is the trunk alone.
    assert 0.5 < animal.area_m2 / (10e-4 * 10 ** (2 / 3)) < 1.0


def test_open_sky_cools_a_body_below_the_air_at_night():
    body = Body(characteristic_dimension_m=0.05)
    clear = air.sky_longwave(15.0, vapour_pressure_kpa=1.0)
    te = heat.operative_temperature(air_temperature_c=15.0, wind_speed_m_s=0.5, sky_longwave_w_m2=clear, body=body)
    assert 12.0 < te < 14.9
