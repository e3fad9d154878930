"""Warming and cooling against the exact solution and against full integration of the fluxes."""

import dataclasses

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import solve_ivp

from fieldkit.core import FieldkitError
from fieldkit.physics import heat
from fieldkit.physics.heat import Body, warming


def test_newton_cooling():
    # Exact solution: 20 -> 40 °C with a time constant of 10 minutes.
    minutes = np.array([10.0, 15.0, 30.0])
    value = warming.warming_curve(
        elapsed_s=60 * minutes, start_temperature_c=20.0, operative_temperature_c=40.0, time_constant_s=600.0
    )
    assert value == pytest.approx([32.64241, 35.53740, 39.00426], abs=1e-5)


def test_half_time_and_time_of_95_percent():
    # ln 2 and ln 20 time constants: 6.93147 and 29.95732 minutes for ten.
    for minutes, share in ((6.93147, 0.5), (29.95732, 0.95)):
        value = warming.warming_curve(
            elapsed_s=60 * minutes, start_temperature_c=0.0, operative_temperature_c=1.0, time_constant_s=600.0
        )
        assert value == pytest.approx(share, abs=1e-6)


def test_behind_a_steady_ramp_the_body_lags_by_ramp_times_time_constant():
    value = warming.warming_curve(
        elapsed_s=50 * 600.0,
        start_temperature_c=35.0,
        operative_temperature_c=20.0,
        time_constant_s=600.0,
        ramp_c_per_s=0.001,
    )
    assert value == pytest.approx(20.0 + 50 * 600 * 0.001 - 0.6, abs=1e-6)


def test_time_constant_of_a_ten_gram_lizard():
    # Own worked case, m c/(A h) = 10 g x 3520 J/kg/K / (46.416 cm² x 61.380 W/m²/K).
    lump = Body(characteristic_dimension_m=0.01, mass_kg=0.01, specific_heat_j_kg_k=3520.0, area_m2=46.416e-4)
    assert warming.time_constant(heat_loss_slope_w_m2_k=61.380, body=lump) == pytest.approx(123.55, abs=0.05)


def test_time_constant_grows_slower_than_mass():
    # The exponent of mass for bodies of one form at a fixed coefficient is 1/3 (volume over area); in wind the
    # coefficient falls with size, towards the 2/3 named for thermal inertia in J. Exp. Biol. 86:79 (1980).
    masses = np.array([5.0, 50.0, 500.0])
    bodies = [heat.lizard(length_m=0.05 * (m / 5) ** (1 / 3), mass_g=m, shortwave_absorptivity=0.9) for m in masses]
    slopes = [
        heat.energy_balance(air_temperature_c=25.0, wind_speed_m_s=1.0, body=b)["heat_loss_slope_w_m2_k"]
        for b in bodies
    ]
    fixed = [warming.time_constant(heat_loss_slope_w_m2_k=20.0, body=b) for b in bodies]
    windy = [warming.time_constant(heat_loss_slope_w_m2_k=s, body=b) for s, b in zip(slopes, bodies)]
    assert np.diff(np.log(fixed)) / np.diff(np.log(masses)) == pytest.approx([1 / 3, 1 / 3], abs=1e-9)
    exponent = np.diff(np.log(windy)) / np.diff(np.log(masses))
    assert np.all((exponent > 1 / 3) & (exponent < 2 / 3))


def test_following_a_series_is_exact_whatever_the_step():
    # A straight ramp sampled finely or coarsely must give the same body temperature at the same times.
    fine = warming.follow(np.linspace(20, 40, 601), 900.0, step_s=6.0)
    coarse = warming.follow(np.linspace(20, 40, 7), 900.0, step_s=600.0)
    assert coarse == pytest.approx(fine[::100], abs=1e-9)
    curve = warming.warming_curve(
        elapsed_s=3600.0,
        start_temperature_c=20.0,
        operative_temperature_c=20.0,
        time_constant_s=900.0,
        ramp_c_per_s=20 / 3600,
    )
    assert coarse[-1] == pytest.approx(curve, abs=1e-9)


def test_following_against_full_integration_of_the_fluxes():
    # scipy's solve_ivp on the flux function itself: what the straight heat-loss line costs.
    body = heat.lizard(length_m=0.07, mass_g=10.0, shortwave_absorptivity=0.87)
    weather = {"air_temperature_c": 20.0, "wind_speed_m_s": 0.3, "dni_w_m2": 900.0, "dhi_w_m2": 100.0}

    def rate(_, celsius):
        at = heat.fluxes(temperature_c=celsius, body=body, **weather)["net_w_m2"]
        return at / body.heat_capacity_j_m2_k

    times = np.arange(0, 3601, 60.0)
    for start in (10.0, 50.0):
        full = solve_ivp(rate, (0, 3600), [start], t_eval=times, rtol=1e-8, atol=1e-8).y[0]
        air = pd.Series(20.0, index=pd.date_range("2024-06-01", periods=times.size, freq="60s", tz="UTC"))
        ours = warming.body_temperature(**weather | {"air_temperature_c": air}, body=body, start_temperature_c=start)
        assert np.abs(ours.to_numpy() - full).max() < 0.3


def test_containers_and_gaps():
    import xarray as xr

    times = pd.date_range("2024-06-01", periods=50, freq="5min", tz="UTC")
    operative = 30 + 8 * np.sin(np.arange(50) / 6)
    plain = warming.follow(operative, 700.0, step_s=300.0)
    series = warming.follow(pd.Series(operative, index=times), pd.Series(700.0, index=times))
    assert series.to_numpy() == pytest.approx(plain, abs=1e-12)
    field = xr.DataArray(
        np.stack([operative, operative + 1]), dims=("place", "time"), coords={"time": times.tz_localize(None)}
    )
    lazy = warming.follow(field.chunk(place=1, time=20), 700.0)
    assert lazy.chunks is not None and lazy.dims == ("place", "time")
    assert lazy.to_numpy()[0] == pytest.approx(plain, abs=1e-12)
    assert lazy.to_numpy()[1] == pytest.approx(plain + 1, abs=1e-9)
    varying = xr.DataArray([500.0, 900.0], dims="place")
    both = warming.follow(field, varying)
    assert both.to_numpy()[0] == pytest.approx(warming.follow(operative, 500.0, step_s=300.0), abs=1e-12)
    gap = operative.copy()
    gap[20] = np.nan
    after = warming.follow(gap, 700.0, step_s=300.0)
    assert np.isfinite(after[:20]).all() and np.isnan(after[20:]).all()
    assert warming.follow(np.array([]), 700.0, step_s=300.0).size == 0
    assert warming.follow(np.array([25.0]), 700.0, step_s=300.0).tolist() == [25.0]


def test_mistakes_are_said_in_words():
    times = pd.DatetimeIndex(["2024-06-01 10:00", "2024-06-01 10:00", "2024-06-01 10:05"])
    with pytest.raises(FieldkitError, match="do not rise"):
        warming.follow(pd.Series([1.0, 2.0, 3.0], index=times), 600.0)
    with pytest.raises(FieldkitError, match="step_s"):
        warming.follow(np.array([1.0, 2.0]), 600.0)
    with pytest.raises(FieldkitError, match="need times"):
        warming.follow(pd.Series([1.0, 2.0]), 600.0)
    massless = dataclasses.replace(Body(characteristic_dimension_m=0.01), mass_kg=0.01)
    with pytest.raises(FieldkitError, match="area_m2"):
        warming.time_constant(heat_loss_slope_w_m2_k=20.0, body=massless)
