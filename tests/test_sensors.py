"""What instruments read, and the test for sun in shade air: against formulas, real stations and simulated weeks."""

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fieldkit.core import FieldkitError
from fieldkit.physics import heat, sensors
from fieldkit.physics.heat import warming

sys.path.insert(0, str(Path(__file__).parent))

OPEN = Path(__file__).parents[1] / "data" / "open"
SUN = {"air_temperature_c": 25.0, "wind_speed_m_s": 1.0, "dni_w_m2": 850.0, "dhi_w_m2": 100.0}


# ---------------------------------------------------------------------------------------------------------------------
# Infrared thermometers


def test_infrared_correction_reproduces_worked_values(published):
    for row in published("sensors_infrared").itertuples():
        band = None if np.isnan(row.band_low_um) else (row.band_low_um, row.band_high_um)
        found = sensors.true_surface_temperature(
            row.reading_c, row.emissivity, row.reflected_c, set_emissivity=row.set_emissivity, band_um=band
        )
        assert found == pytest.approx(row.expected, abs=row.tolerance), row.case


def test_reading_and_correction_undo_each_other():
    rng = np.random.default_rng(4)
    surface, mirrored = rng.uniform(-10, 80, 500), rng.uniform(-40, 60, 500)
    emissivity, setting = rng.uniform(0.3, 1, 500), rng.uniform(0.9, 1, 500)
    for band in (None, (8, 14)):
        reading = sensors.infrared_reading(surface, emissivity, mirrored, set_emissivity=setting, band_um=band)
        good = np.isfinite(reading)
        assert good.mean() > 0.99
        back = sensors.true_surface_temperature(reading, emissivity, mirrored, set_emissivity=setting, band_um=band)
        assert np.abs(back - surface)[good].max() < 1e-6


@pytest.mark.parametrize("celsius, share", [(20, 0.3704), (30, 0.3779), (40, 0.3838), (60, 0.3910)])
def test_share_of_the_8_to_14_micrometre_band(celsius, share):
    # Shares: Planck's law, evaluated apart from this package; tolerance: printed to four decimals.
    assert sensors.blackbody_band_share(celsius) == pytest.approx(share, abs=1e-4)
    # Planck's law with CODATA constants, integrated numerically by SciPy.
    from scipy import constants
    from scipy.integrate import quad

    kelvin = celsius + 273.15
    h, c, k = constants.h, constants.c, constants.k
    planck = lambda x: 2 * np.pi * h * c**2 / x**5 / np.expm1(h * c / (x * k * kelvin))  # noqa: E731
    power = quad(planck, 8e-6, 14e-6, epsabs=0)[0]
    assert sensors.blackbody_band_share(celsius) == pytest.approx(power / (constants.sigma * kelvin**4), abs=1e-8)


def test_whole_spectrum_formula_is_off_by_as_much_as_the_docstring_says():
    off = [
        sensors.true_surface_temperature(t, e, r, band_um=(8, 14)) - sensors.true_surface_temperature(t, e, r)
        for t, e, r in ((40.0, 0.95, 20.0), (60.0, 0.90, 20.0), (40.0, 0.95, -20.0))
    ]
    assert min(off) > 0.01
    assert max(off) < 0.125
    # The figures of the docstring, over surfaces of 0 to 80 °C.
    surface = np.linspace(0.0, 80.0, 81)
    for emissivity, mirrored, limit in (
        (0.95, 20.0, 0.13),
        (0.95, -40.0, 0.25),
        (0.85, 20.0, 0.39),
        (0.85, -40.0, 0.75),
    ):
        reading = sensors.infrared_reading(surface, emissivity, mirrored, band_um=(8, 14))
        whole = sensors.true_surface_temperature(reading, emissivity, mirrored)
        assert 0.6 * limit < np.abs(whole - surface).max() < limit


def test_thin_air_is_in_the_reading_and_taken_out_again():
    # 3000 m: forced convection falls with the root of density, 17 %; the pair of probes gets the same sun back.
    probe = heat.probe(diameter_m=0.005, length_m=0.03, shortwave_absorptivity=0.9, emissivity=0.9)
    lit = {"air_temperature_c": 20.0, "wind_speed_m_s": 1.0, "dni_w_m2": 800.0, "ground_temperature_c": 20.0}
    bare = sensors.Instrument(body=probe)
    low, high = (sensors.instrument_reading(instrument=bare, pressure_pa=p, **lit) for p in (101325.0, 70100.0))
    assert 1.08 < (high - 20) / (low - 20) < 1.18
    given = {"shaded_c": 20.0, "wind_speed_m_s": 1.0, "body": probe, "apparent_zenith_deg": 0.0}
    given |= {"diffuse_fraction": 0.0, "ground_albedo": 0.0}
    for reading, pressure in ((low, 101325.0), (high, 70100.0)):
        back = sensors.absorbed_irradiance(sunlit_c=reading, pressure_pa=pressure, **given)["irradiance_w_m2"].item()
        assert back == pytest.approx(800.0, rel=1e-6)
    day = {"air_temperature_c": 20.0, "wind_speed_m_s": 1.0, "dni_w_m2": 800.0, "dhi_w_m2": 100.0}
    sea, hill = (sensors.compare_instruments(**day, pressure_pa=p).table["in_sun_c"] for p in (101325.0, 70100.0))
    assert (hill > sea).all()


@pytest.mark.parametrize("emissivity", [0, -0.1, 1.01, 95])
def test_impossible_emissivity_is_refused(emissivity):
    with pytest.raises(FieldkitError, match="emissivity"):
        sensors.true_surface_temperature(40.0, emissivity, 20.0)


def test_reading_below_its_own_reflection_is_nan_not_a_number():
    assert np.isnan(sensors.true_surface_temperature(-40.0, 0.1, 60.0))
    assert np.isnan(sensors.true_surface_temperature(np.nan, 0.9, 20.0))


def test_containers_come_back_as_they_went_in():
    import dask.array
    import xarray as xr

    values = [35.0, 45.0]
    series = pd.Series(values, index=["a", "b"])
    assert sensors.true_surface_temperature(series, 0.95, 20.0).index.tolist() == ["a", "b"]
    field = xr.DataArray(dask.array.from_array(np.array(values), chunks=1), dims="place")
    out = sensors.true_surface_temperature(field, 0.95, 20.0)
    assert out.chunks is not None and out.attrs["units"] == "degC"
    expected = [sensors.true_surface_temperature(v, 0.95, 20.0) for v in values]
    assert np.allclose(out.compute(), expected)
    reading = sensors.instrument_reading(
        instrument=sensors.INSTRUMENTS["black globe"], **{k: xr.DataArray([v, v], dims="t") for k, v in SUN.items()}
    )
    assert reading.dims == ("t",)


# ---------------------------------------------------------------------------------------------------------------------
# Errors and lag


def test_one_hundredth_of_emissivity_moves_the_answer_as_printed():
    # 0.01 lower emissivity at a reading of 50 °C and 20 °C mirrored: +0.288 °C (signal balance, evaluated apart).
    move = sensors.true_surface_temperature(50.0, 0.94, 20.0) - sensors.true_surface_temperature(50.0, 0.95, 20.0)
    assert move == pytest.approx(0.288, abs=1e-3)


def test_carried_errors_agree_with_a_monte_carlo():
    # JCGM 101:2008: propagation of distributions by Monte Carlo; 1 % is its own noise with 200,000 draws.
    values = {"reading_c": 50.0, "emissivity": 0.93, "reflected_temperature_c": 10.0}
    errors = {"reading_c": 0.6, "emissivity": 0.01, "reflected_temperature_c": 4.0}
    carried = sensors.carry_errors(sensors.true_surface_temperature, values=values, errors=errors)
    rng = np.random.default_rng(5)
    draws = {k: rng.normal(values[k], errors[k], 200_000) for k in values}
    assert carried["error"].iloc[0] == pytest.approx(sensors.true_surface_temperature(**draws).std(), rel=0.01)
    assert carried.filter(like="share_").iloc[0].sum() == pytest.approx(1)


def test_carried_errors_stay_on_the_possible_side():
    carried = sensors.carry_errors(
        sensors.true_surface_temperature,
        values={"reading_c": 50.0, "emissivity": 0.995, "reflected_temperature_c": 10.0},
        errors={"emissivity": 0.02},
    )
    assert carried["error"].iloc[0] == pytest.approx(0.75, abs=0.15)
    with pytest.raises(FieldkitError, match="no value of that name"):
        sensors.carry_errors(sensors.true_surface_temperature, values={"reading_c": 1.0}, errors={"wind": 1.0})


def test_lag_correction_undoes_what_the_warming_room_does():
    times = pd.date_range("2024-05-01", periods=600, freq="1min", tz="UTC")
    air = pd.Series(20 + 6 * np.sin(np.arange(600) / 60), times)
    slow = warming.follow(air, 600.0)
    assert np.abs(slow - air).max() > 0.8
    back = sensors.correct_lag(slow, 600.0)["corrected_c"]
    assert np.abs(back - air).iloc[10:-10].max() < 0.01


def test_lag_correction_states_its_noise_and_leaves_gaps():
    rng = np.random.default_rng(6)
    times = pd.date_range("2024-05-01", periods=20_000, freq="1min", tz="UTC")
    noise = pd.Series(rng.normal(0, 0.1, 20_000), times)
    noise.iloc[500] = np.nan
    out = sensors.correct_lag(noise, 300.0, window_s=600, error_c=0.1)
    assert out["corrected_c"].isna().sum() == 1
    assert out["corrected_c"].iloc[600:-20].std() == pytest.approx(out["error_c"].iloc[700], rel=0.03)
    wide = sensors.correct_lag(noise, 300.0, window_s=1800, error_c=0.1)
    assert wide["error_c"].iloc[700] < out["error_c"].iloc[700]
    assert sensors.correct_lag(noise.to_xarray().rename(index="time"), 300.0).sizes == {"time": 20_000}
    with pytest.raises(FieldkitError, match="even steps"):
        sensors.correct_lag(noise.drop(times[3]), 300.0)


@pytest.mark.parametrize("chunk", [3, 7, 50, 400])
def test_lag_correction_stays_lazy_and_is_the_same_in_any_chunks(chunk):
    import dask
    import xarray as xr

    rng = np.random.default_rng(16)
    times = pd.date_range("2024-05-01", periods=400, freq="1min")
    values = 20 + rng.normal(0, 1, (2, 400)).cumsum(axis=1)
    # Gaps beside the edges of chunks, and a stretch too short for the window.
    values[0, [48, 100, 101, 104, 151]] = np.nan
    field = xr.DataArray(values, dims=("logger", "time"), coords={"time": times, "logger": ["a", "b"]})
    whole = sensors.correct_lag(field, 300.0, window_s=600, error_c=0.1)
    with dask.config.set(scheduler="single-threaded"):
        lazy = sensors.correct_lag(field.chunk({"time": chunk, "logger": 1}), 300.0, window_s=600, error_c=0.1)
        assert all(lazy[name].chunks is not None for name in ("corrected_c", "error_c"))
        # The same sums in another order: the last bits differ.
        xr.testing.assert_allclose(lazy.compute(), whole, rtol=1e-12)
    assert whole["corrected_c"].dims == ("logger", "time") and whole["error_c"].attrs["units"] == "degC"
    for name in ("a", "b"):
        series = pd.Series(field.sel(logger=name).to_numpy(), times)
        alone = sensors.correct_lag(series, 300.0, window_s=600, error_c=0.1)
        assert np.allclose(alone["corrected_c"], whole["corrected_c"].sel(logger=name), equal_nan=True)
        assert np.allclose(alone["error_c"], whole["error_c"].sel(logger=name), equal_nan=True)
    with pytest.raises(FieldkitError, match="named 'time'"):
        sensors.correct_lag(field.rename(time="t"), 300.0)


# ---------------------------------------------------------------------------------------------------------------------
# Instruments


def test_instruments_are_the_one_heat_balance():
    black = sensors.INSTRUMENTS["bare black probe"]
    assert sensors.instrument_reading(instrument=black, **SUN) == heat.operative_temperature(body=black.body, **SUN)


def test_size_paint_wind_and_shield_act_as_physics_says():
    read = lambda name, **more: sensors.instrument_reading(instrument=sensors.INSTRUMENTS[name], **SUN | more)  # noqa: E731
    assert read("bare white probe") < read("bare black probe") < read("black globe")
    assert read("bare black probe", wind_speed_m_s=5.0) < read("bare black probe")
    assert abs(read("shielded probe") - 25.0) < 0.5
    dark = {"dni_w_m2": 0.0, "dhi_w_m2": 0.0}
    assert all(read(name, **dark) == pytest.approx(25.0, abs=1e-6) for name in sensors.INSTRUMENTS)


def test_comparison_says_how_far_apart_the_readings_are():
    day = sensors.compare_instruments(**SUN)
    table = day.table.set_index("instrument")
    assert (table["difference_error_c"] > 0).all()
    assert table["difference_c"].idxmax() == "black globe"
    assert (table["in_sun_c"] - table["in_shade_c"] - table["difference_c"]).abs().max() < 1e-9
    assert "black globe" in day.sentence
    globe = {"black globe": sensors.INSTRUMENTS["black globe"]}
    assert "the black globe shows" in sensors.compare_instruments(globe, **SUN).sentence
    night = sensors.compare_instruments(air_temperature_c=8.0, wind_speed_m_s=1.0, dni_w_m2=0.0, dhi_w_m2=0.0)
    assert "all 8 instruments show 8.0 °C" in night.sentence
    with pytest.raises(FieldkitError, match="at least one"):
        sensors.compare_instruments({}, **SUN)
    with pytest.raises(FieldkitError, match="one of INSTRUMENTS"):
        sensors.instrument_reading(instrument="black globe", **SUN)


def test_pair_of_probes_gives_back_the_irradiance():
    from fieldkit.physics import sun

    times = pd.date_range("2024-06-21 07:00", periods=100, freq="6min", tz="Etc/GMT+5")
    light = sun.irradiance(times, latitude_deg=36.1, longitude_deg=-79.95, linke_turbidity=3.0)
    wind = pd.Series(np.random.default_rng(7).uniform(0.3, 2, 100), times)
    pair = sensors.INSTRUMENTS["bare black probe"]
    lit = {k: light[k] for k in ("dni_w_m2", "dhi_w_m2", "ground_upwelling_w_m2")}
    sunlit = sensors.instrument_reading(instrument=pair, air_temperature_c=25.0, wind_speed_m_s=wind, **lit)
    found = sensors.absorbed_irradiance(
        sunlit_c=sunlit,
        shaded_c=pd.Series(25.0, times),
        wind_speed_m_s=wind,
        body=pair.body,
        apparent_zenith_deg=light["apparent_zenith_deg"],
        diffuse_fraction=light["dhi_w_m2"] / light["ghi_w_m2"],
    )
    high = light["apparent_zenith_deg"] < 80
    assert np.allclose(found["irradiance_w_m2"][high], light["ghi_w_m2"][high], rtol=1e-6)
    assert found.loc[~high, "irradiance_w_m2"].isna().all()


def test_season_loggers_become_a_sun_meter_or_say_what_is_missing():
    from types import SimpleNamespace

    from fieldkit.physics import sun

    rng = np.random.default_rng(15)
    site = SimpleNamespace(latitude_deg=36.1, longitude_deg=-80.0, elevation_m=0.0)
    times = pd.date_range("2024-06-01", periods=240, freq="1h", tz="Etc/GMT+5")
    light = sun.irradiance(times, **vars(site), linke_turbidity=3.0)
    probe = sensors.INSTRUMENTS["bare black probe"]
    lit = {k: light[k].to_numpy() for k in ("dni_w_m2", "dhi_w_m2", "ground_upwelling_w_m2")}
    wind = rng.uniform(0.5, 2, 240)
    hot = sensors.instrument_reading(instrument=probe, air_temperature_c=20.0, wind_speed_m_s=wind, **lit)
    values = {"lit": hot + rng.normal(0, 0.1, 240), "shade": 20.0 + rng.normal(0, 0.1, 240), "wind": wind}
    values["sun"] = light["ghi_w_m2"].to_numpy()
    loggers = pd.concat(pd.DataFrame({"time": times, "logger_id": n, "value": v}) for n, v in values.items())
    info = pd.DataFrame({"logger_id": list(values), "role": ["exposed_probe", "shade_air", "wind", "irradiance"]})
    info = info.assign(error=0.1, size_m=0.005, shortwave_absorptivity=0.95)
    found = sensors.irradiance_from_loggers(loggers, info, site, diffuse_fraction=0.15)
    assert abs(found.bias_w_m2) < 25 and found.rmse_w_m2 < 60 and found.covered > 0.9
    # The air of the site carries the heat off: ISO 2533 gives 70109 Pa at 3000 m.
    high = SimpleNamespace(**vars(site) | {"elevation_m": 3000.0})
    by_site, by_hand = (
        sensors.irradiance_from_loggers(loggers, info, where, diffuse_fraction=0.15, pressure_pa=pressure)
        for where, pressure in ((high, None), (high, 70109.0))
    )
    assert by_site.table["irradiance_w_m2"].to_numpy() == pytest.approx(
        by_hand.table["irradiance_w_m2"].to_numpy(), rel=1e-4, abs=0.01, nan_ok=True
    )
    assert by_site.table["irradiance_w_m2"].mean() < 0.92 * found.table["irradiance_w_m2"].mean()
    with pytest.raises(FieldkitError, match="'wind'"):
        sensors.irradiance_from_loggers(loggers, info[info["role"] != "wind"], site)
    with pytest.raises(FieldkitError, match="size_m"):
        sensors.irradiance_from_loggers(loggers, info.assign(size_m=np.nan), site)
    unsaid = sensors.irradiance_from_loggers(loggers, info.assign(error=np.nan), site)
    assert unsaid.table["error_w_m2"].notna().all()
    with pytest.raises(FieldkitError, match="no reading in common"):
        sensors.irradiance_from_loggers(loggers[loggers["time"].dt.hour < 4], info, site)


def test_irradiance_error_covers_the_truth_as_often_as_it_says():
    rng = np.random.default_rng(8)
    n = 4000
    zenith, diffuse, ghi = 40.0, 0.2, 700.0
    body = sensors.INSTRUMENTS["bare black probe"].body
    painted = rng.normal(0.9, 0.02, n)
    level = 0.25 * (1 - diffuse) / np.cos(np.radians(zenith)) + 0.5 * diffuse + 0.5 * 0.2
    wind = rng.normal(1.0, 0.1, n)
    sunlit = heat.operative_temperature(
        air_temperature_c=25.0,
        wind_speed_m_s=wind,
        body=body,
        absorbed_shortwave_w_m2=painted * level * ghi,
        turbulence_factor=rng.normal(1, 0.1, n),
    ) + rng.normal(0, 0.2, n)
    found = sensors.absorbed_irradiance(
        sunlit_c=sunlit,
        shaded_c=25.0 + rng.normal(0, 0.2, n),
        wind_speed_m_s=1.0,
        body=heat.probe(diameter_m=0.005, length_m=0.03, shortwave_absorptivity=0.9, emissivity=0.95),
        apparent_zenith_deg=zenith,
        wind_error_m_s=0.1,
        absorptivity_error=0.02,
        diffuse_error=0.0,
        convection_error_share=0.1,
    )
    inside = np.abs(found["irradiance_w_m2"] - ghi) < 1.96 * found["error_w_m2"]
    # First-order errors of a mildly curved formula: 95 % within two.
    assert inside.mean() == pytest.approx(0.95, abs=0.02)


# ---------------------------------------------------------------------------------------------------------------------
# Sun in shade air: real stations


@pytest.fixture(scope="module")
def plates():
    table = pd.read_csv(OPEN / "dark_plates_2022-01.csv", comment="#", index_col=0)
    table.index = pd.to_datetime(table.index)
    if table.index.tz is None:
        table.index = table.index.tz_localize("Etc/GMT+7")
    return table


def test_real_dark_plates_are_found_and_the_real_air_beside_them_is_not(plates):
    # Golden, Colorado, three winter days of real readings (data/open/README.md): plates called "shade air" by mistake.
    air = next(c for c in plates.columns if c.startswith("air_temperature"))
    hot = [c for c in plates.columns if c.startswith("plate")]
    irradiance = plates[next(c for c in plates.columns if "irradiance" in c)]
    assert len(hot) == 3
    found = sensors.find_contamination(plates[[air, *hot]], irradiance).table.set_index("logger_id")
    assert (found.loc[hot, "verdict"] == "reads the sun").all()
    assert found.loc[air, "verdict"] != "reads the sun"
    # The plates stand 20 to 40 °C above the air in full sun.
    assert found.loc[hot, "contamination_c"].between(10, 50).all()


def test_plates_are_restless_by_day_and_the_air_beside_them_is_not(plates):
    from fieldkit.physics.radiation_error import variability as restless

    # The same three days. Clean air lies at 0 ± 1 if the simulations that set the weights are like the world.
    up = (plates["plane_irradiance_w_m2"] > 20).to_numpy(dtype=float)
    when = up, plates.index.tz_localize(None).normalize(), 15.0, restless.ALONE
    air = plates["air_temperature_c"]
    assert restless.by_day(air, *when).abs().max() < 2
    assert (restless.by_day(plates["plate_1_c"], *when) == restless.MOST).all()
    # One wild afternoon is a front, not the sun; and without a night nothing is known.
    wild = air.copy()
    wild.iloc[48:64] += np.tile([0.0, 12.0], 8)
    assert restless.by_day(wild, *when).max() < restless.MOST
    assert (restless.by_day(air, np.ones(len(air)), *when[1:]) == 0).all()
    # A step between two that were learned lies between them; few readings say nothing.
    scores = [restless._score(np.full(6, -1.0), step, restless.ALONE) for step in (15.0, 20.0, 30.0)]
    assert min(scores[0], scores[2]) <= scores[1] <= max(scores[0], scores[2])
    assert (restless.by_day(air.iloc[:10], up[:10], when[1][:10], 15.0, restless.ALONE) == 0).all()


def test_real_minute_air_is_not_flagged():
    # SURFRAD San Luis Valley, 1 January 2016: ventilated air at one-minute steps, real pyranometer.
    table = pd.read_csv(OPEN / "surfrad_san_luis_valley_2016-01-01.csv", comment="#", index_col=0)
    table.index = pd.to_datetime(table.index, utc=True)
    air = next(c for c in table.columns if c.startswith("air_temperature"))
    ghi = next(c for c in table.columns if c.startswith("ghi"))
    found = sensors.find_contamination(table[air].dropna(), table[ghi].dropna())
    assert found.table["verdict"].iloc[0] != "reads the sun"


def test_a_year_of_real_hourly_air_is_not_flagged():
    # TMY3 723170 (Greensboro): real air temperature, largely modelled irradiance; 8,760 hours in one go.
    import pvlib

    path = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
    year, _ = pvlib.iotools.read_tmy3(path, coerce_year=2023, map_variables=True)
    year = year.iloc[:-1]
    ghi = year["ghi"].set_axis(year.index - pd.Timedelta(minutes=30))
    ghi = ghi.reindex(ghi.index.union(year.index)).interpolate("time").reindex(year.index)
    found = sensors.find_contamination(year["temp_air"].iloc[: 24 * 182], ghi.iloc[: 24 * 182])
    assert found.table["verdict"].iloc[0] != "reads the sun"


# ---------------------------------------------------------------------------------------------------------------------
# Sun in shade air: simulated weeks (the full table: python tests/studies/study_contamination.py)


@pytest.mark.slow
def test_simulated_weeks_are_told_apart():
    import study_contamination

    table = study_contamination.study(24, 5, ways=("two others, clear sky",))
    lit = table["exposure"].isin(["all day", "half day"]) & (table["sunlit_c"] > 2)
    clean = table["exposure"] == "clean"
    assert lit.sum() >= 2 and clean.sum() >= 4
    assert table.loc[lit, "flagged"].mean() >= 0.75
    assert table.loc[clean, "flagged"].sum() == 0


def _fortnight(rng, *, gain_per_kw=0.0, days=slice(0, 14), hours=(0, 24)):
    """Ten-minute clouds and air, and a logger with a known share of sun on stated days and hours."""
    times = pd.date_range("2024-05-01", periods=14 * 144, freq="10min", tz="Etc/GMT+5")
    hour = (times.hour + times.minute / 60).to_numpy()
    clouds = np.repeat(rng.uniform(0.3, 1, 14 * 48), 3)
    sun = np.clip(900 * np.sin((hour - 6) / 12 * np.pi), 0, None) * clouds
    air = 15 + 9 * np.convolve(sun, np.exp(-np.arange(60) / 24) / 24)[: sun.size] / 1000 + rng.normal(0, 0.2, sun.size)
    # Open air over grass answers within minutes as well (a month of minutes at Payerne).
    air = air + 1.8 * np.convolve(sun, np.diff(1 - np.exp(-np.arange(7) * 10 / 6)))[: sun.size] / 1000
    day = np.arange(sun.size) // 144
    lit = (day >= days.start) & (day < days.stop) & (hour >= hours[0]) & (hour < hours[1])
    return pd.Series(sun, times), pd.Series(air, times), pd.Series(gain_per_kw / 1000 * sun * lit, times)


def test_one_lone_logger_with_the_sun_for_a_week_is_dated_and_measured():
    sun, air, warm = _fortnight(np.random.default_rng(9), gain_per_kw=6.0, days=slice(4, 11))
    found = sensors.find_contamination(air + warm, sun)
    row, episode = found.table.iloc[0], found.episodes.iloc[0]
    assert row["verdict"] == "reads the sun" and row["compared_with"] == "nothing"
    assert abs((episode["first_day"] - pd.Timestamp("2024-05-05")).days) <= 1
    assert abs((episode["last_day"] - pd.Timestamp("2024-05-11")).days) <= 1
    strong = warm[warm > 0].quantile(0.9)
    assert row["low_c"] - 0.5 < strong < row["high_c"] + 0.5
    left = (found.corrected.iloc[:, 0] - air).abs()
    assert left.mean() < 0.4 * warm.abs().mean()
    assert found.masked.iloc[:, 0].isna().sum() > 200
    # Nothing was changed in what was given.
    assert np.array_equal(found.readings.iloc[:, 0], air + warm)


def test_a_gap_in_the_leaves_is_found_at_its_hour():
    sun, air, warm = _fortnight(np.random.default_rng(10), gain_per_kw=7.0, hours=(10, 11.5))
    found = sensors.find_contamination(pd.DataFrame({"good": air + 0.2, "more": air - 0.1, "gap": air + warm}), sun)
    table = found.table.set_index("logger_id")
    assert table["verdict"].to_dict() == {"good": "no sign of sun", "more": "no sign of sun", "gap": "reads the sun"}
    strongest = found.episodes.loc[found.episodes["strength"].idxmax()]
    assert 9 <= strongest["from_hour"] <= 10.5 and 11 <= strongest["to_hour"] <= 12.5
    assert "gap read the sun" in found.sentence


def test_air_that_follows_the_sun_late_is_not_flagged_alone_or_against_a_station():
    sun, air, _ = _fortnight(np.random.default_rng(11))
    other = air.rolling(6, min_periods=1).mean() + 0.7
    # Alone, what air does within minutes is not known well enough to clear it of three degrees.
    for more, verdict in (({}, "cannot tell"), ({"reference": other.iloc[::6]}, "no sign of sun")):
        found = sensors.find_contamination(air, sun, **more)
        assert found.table["verdict"].iloc[0] == verdict, more
        assert (found.estimate_c == 0).all().all()
        assert found.masked.equals(found.readings)


def test_minutes_past_the_hour_do_not_matter():
    # Every ten minutes at five past: rounded to the tens, every other one would fall on its neighbour.
    sun, air, warm = _fortnight(np.random.default_rng(14), gain_per_kw=4.0)
    later = pd.Timedelta(minutes=5)
    table = pd.DataFrame({"a": air + warm, "b": air + 0.1})
    plain, shifted = (
        sensors.find_contamination(t, sun.shift(freq=by))
        for t, by in ((table, 0 * later), (table.shift(freq=later), later))
    )
    assert shifted.table["strength"].to_numpy() == pytest.approx(plain.table["strength"].to_numpy(), abs=1.0)
    beside = table["b"].shift(freq=later)
    found = sensors.find_contamination(table[["a"]], sun, reference=beside)
    assert found.table.loc[0, ["verdict", "compared_with"]].tolist() == ["reads the sun", "reference"]


def test_a_sunlit_logger_does_not_accuse_the_good_one_beside_it():
    sun, air, warm = _fortnight(np.random.default_rng(12), gain_per_kw=8.0)
    found = sensors.find_contamination(pd.DataFrame({"good": air, "bad": air + warm}), sun)
    verdicts = found.table.set_index("logger_id")["verdict"].to_dict()
    # With the bad one out there is nothing left to compare the good one with.
    assert verdicts == {"good": "cannot tell", "bad": "reads the sun"}
    more = pd.DataFrame({"good": air, "bad": air + warm, "more": air + 0.2})
    verdicts = sensors.find_contamination(more, sun).table.set_index("logger_id")["verdict"].to_dict()
    assert verdicts == {"good": "no sign of sun", "bad": "reads the sun", "more": "no sign of sun"}


def test_without_irradiance_a_clear_sky_is_used_and_said():
    _, air, warm = _fortnight(np.random.default_rng(13), gain_per_kw=8.0, hours=(9, 12))
    with pytest.raises(FieldkitError, match="site"):
        sensors.find_contamination(air, None)
    table = pd.DataFrame({"good": air, "bad": air + warm})
    found = sensors.find_contamination(table, None, site={"latitude_deg": 36.1, "longitude_deg": -75.0})
    assert found.table.set_index("logger_id").loc["bad", "verdict"] == "reads the sun"
    assert "clear-sky" in found.sentence


def _real_year(file):
    """Air and irradiance of a typical year that comes with pvlib; hourly sums stamped at the middle of their hour."""
    import pvlib

    path = Path(pvlib.__file__).parent / "data" / file
    if file.endswith("tm2"):
        year, _ = pvlib.iotools.read_tmy2(path)
        air = year["DryBulb"] / (10 if year["DryBulb"].max() > 60 else 1)
        year = pd.DataFrame({"air": air, "ghi": year["GHI"]})
        year.index = pd.DatetimeIndex([time.replace(year=2023) for time in year.index])
    else:
        year, _ = pvlib.iotools.read_tmy3(path, coerce_year=2023, map_variables=True)
        year = year.rename(columns={"temp_air": "air"})[["air", "ghi"]]
    year = year[~year.index.duplicated()].sort_index()
    return year["air"], year["ghi"].set_axis(year.index - pd.Timedelta(minutes=30))


@pytest.mark.parametrize(
    "file, latitude, longitude", [("723170TYA.CSV", 36.1, -79.95), ("12839.tm2", 25.8, -80.27)], ids=["inland", "coast"]
)
def test_real_weeks_of_air_on_its_own_are_not_flagged(file, latitude, longitude):
    # Greensboro (TMY3) and Miami (TMY2): real hourly air, largely modelled irradiance. Minutes and half hours of it:
    # tests/studies/study_contamination_air.py.
    air, ghi = _real_year(file)
    site = {"latitude_deg": latitude, "longitude_deg": longitude}
    verdicts = []
    for week in range(0, 52, 4):
        rows = slice(week * 168, week * 168 + 168)
        found = sensors.find_contamination(air.iloc[rows], ghi.iloc[rows], site=site).table
        verdicts.append(found["verdict"].iloc[0])
    assert len(verdicts) == 13
    assert "reads the sun" not in verdicts


def test_irradiance_averaged_over_the_hour_is_held_against_the_hour_it_belongs_to():
    # Readings on the hour, averages stamped at half past: taken half an hour too late, clean air looks too quick.
    rng = np.random.default_rng(17)
    sun, air, _ = _fortnight(rng)
    hourly = sun.resample("60min").mean()
    averages = hourly.set_axis(hourly.index + pd.Timedelta(minutes=30))
    readings = air.rolling(6, min_periods=1).mean().iloc[::6]
    slower = air.rolling(12, min_periods=1).mean().iloc[::6] + rng.normal(0, 0.1, len(readings))
    for more in ({}, {"reference": slower}):
        found = sensors.find_contamination(readings, averages, **more)
        assert found.table["verdict"].iloc[0] != "reads the sun", more
    lit = readings + 0.007 * sun.iloc[::6]
    found = sensors.find_contamination(lit, averages, reference=readings + rng.normal(0, 0.1, len(readings)))
    row = found.table.iloc[0]
    assert row["verdict"] == "reads the sun"
    # 7 °C per 1,000 W/m² at the 90th percentile of the lit hours.
    assert row["low_c"] < 0.007 * sun.iloc[::6][sun.iloc[::6] > 20].quantile(0.9) < row["high_c"]


def test_a_lone_hourly_logger_hears_what_could_hide_and_what_to_do():
    air, ghi = _real_year("723170TYA.CSV")
    found = sensors.find_contamination(air.iloc[24 * 90 : 24 * 97], ghi.iloc[24 * 90 : 24 * 97])
    row = found.table.iloc[0]
    assert row["verdict"] == "cannot tell" and row["detectable_c"] > 3
    assert f"only a week of {row['detectable_c']:.1f} °C in strong sun would have been found for sure" in found.sentence
    assert "every 10 minutes" in found.sentence and "second thermometer" in found.sentence
    assert "no sign of sun" not in found.sentence and "shows a sign" not in found.sentence


@pytest.mark.slow
def test_what_is_called_detectable_is_detected_19_times_in_20():
    rng = np.random.default_rng(19)
    hits, runs = 0, 20
    for _ in range(runs):
        sun, air, _ = _fortnight(rng)
        week = slice(0, 7 * 144)
        y, light, beside = air.iloc[week], sun.iloc[week], air.iloc[week] + rng.normal(0, 0.2, 7 * 144)
        least = sensors.find_contamination(y, light, reference=beside).table["detectable_c"].iloc[0]
        warm = least / light[light > 20].quantile(0.9) * light
        hits += (
            sensors.find_contamination(y + warm, light, reference=beside).table["verdict"].iloc[0] == "reads the sun"
        )
    # 19 in 20 expected at the least; below 17 has a probability under 2 %.
    assert hits >= 17


def test_wind_sharpens_the_test():
    rng = np.random.default_rng(20)
    sun, air, _ = _fortnight(rng)
    hour = (sun.index.hour + sun.index.minute / 60).to_numpy()
    speed = pd.Series(1.2 * np.exp(np.repeat(rng.normal(0, 0.8, 14 * 24), 6)), sun.index)
    dni = np.where(sun > 20, 0.9 * sun / np.clip(np.sin((hour - 6) / 12 * np.pi), 0.2, None), 0)
    lit = {"air_temperature_c": air, "dni_w_m2": pd.Series(dni, sun.index), "dhi_w_m2": 0.2 * sun}
    body = heat.probe(diameter_m=0.02, length_m=0.04, shortwave_absorptivity=0.5, emissivity=0.9)
    reading = heat.operative_temperature(wind_speed_m_s=speed, body=body, **lit)
    site = {"latitude_deg": 36.0, "longitude_deg": -75.0}
    strength = [
        sensors.find_contamination(reading, sun, reference=air + 0.1, site=site, wind=wind).table["strength"].iloc[0]
        for wind in (None, speed)
    ]
    assert strength[1] > 1.1 * strength[0]


def test_a_sun_that_shines_at_night_is_reported_not_used():
    sun, air, warm = _fortnight(np.random.default_rng(21), gain_per_kw=8.0)
    site = {"latitude_deg": 36.0, "longitude_deg": 105.0}  # the sign of the longitude forgotten
    table = pd.DataFrame({"good": air, "bad": air + warm, "more": air + 0.2})
    found = sensors.find_contamination(table, sun, site=site)
    assert found.table["verdict"].tolist() == ["no sign of sun", "reads the sun", "no sign of sun"]
    assert "clock or place is wrong" in found.sentence
    with pytest.raises(FieldkitError, match="longitude_deg"):
        sensors.find_contamination(air, sun, site={"latitude_deg": 36.0})


@pytest.mark.parametrize("dims", [("time", "place"), ("place", "time")])
def test_arrays_in_give_the_same_answer_and_a_dataset_of_their_dimensions(dims):
    import xarray as xr

    sun, air, warm = _fortnight(np.random.default_rng(22), gain_per_kw=7.0, days=slice(3, 10))
    table = pd.DataFrame({"a": air, "b": air + warm})
    utc = sun.index.tz_convert("UTC").tz_localize(None)
    field = xr.DataArray(table.to_numpy(), {"time": utc, "place": ["a", "b"]}, ("time", "place")).transpose(*dims)
    light = xr.DataArray(sun.to_numpy(), {"time": utc}, ("time",))
    found = sensors.find_contamination(field.chunk({"time": 500}), light)
    plain = sensors.find_contamination(table, sun)
    assert found.table["strength"].to_numpy() == pytest.approx(plain.table["strength"].to_numpy())
    out = found.dataset
    assert out["corrected_c"].dims == dims and out["masked_c"].attrs["units"] == "degC"
    xr.testing.assert_allclose(out["readings_c"], field)
    xr.testing.assert_allclose(out["readings_c"] - out["estimate_c"], out["corrected_c"])
    assert np.allclose(out["estimate_c"].sel(place="b"), plain.estimate_c["b"], atol=1e-6)
    one = sensors.find_contamination(field.sel(place="b").drop_vars("place"), light)
    assert one.dataset["error_c"].dims == ("time",)
    assert plain.dataset["estimate_c"].dims == ("time", "logger_id")
    with pytest.raises(FieldkitError, match="dimension 'time'"):
        sensors.find_contamination(field.rename(time="t"), light)
    with pytest.raises(FieldkitError, match="one dimension"):
        sensors.find_contamination(field, field)


def test_what_cannot_be_tested_says_so():
    times = pd.date_range("2024-05-01", periods=40, freq="6h", tz="UTC")
    sparse = pd.Series(20.0, times)
    found = sensors.find_contamination(sparse, sparse)
    assert found.table["verdict"].iloc[0] == "cannot tell"
    assert "60 minutes" in found.table["note"].iloc[0]
    sun, air, _ = _fortnight(np.random.default_rng(23))
    for light in (sun * np.nan, sun.iloc[:0], sun * 0, sun.set_axis(sun.index + pd.Timedelta(days=300))):
        found = sensors.find_contamination(air, light, site={"latitude_deg": 36.0, "longitude_deg": -75.0})
        assert found.table["verdict"].iloc[0] == "cannot tell" and "no day with sun" in found.sentence
    with pytest.raises(FieldkitError, match="no series labelled"):
        sensors.find_contamination(air.iloc[:0], sun)
    with pytest.raises(FieldkitError, match="zone"):
        sensors.find_contamination(sparse.tz_localize(None), sparse)
    with pytest.raises(FieldkitError, match="no series named"):
        sensors.find_contamination(sparse.rename("a"), sparse, shade_air=["b"])


def test_long_table_and_any_zone_give_the_same_verdict():
    sun, air, warm = _fortnight(np.random.default_rng(14), gain_per_kw=7.0, days=slice(3, 10))
    wide = pd.DataFrame({"a": air, "b": air + warm})
    long = wide.rename_axis("time").reset_index().melt("time", var_name="logger_id")
    far = long.assign(time=long["time"].dt.tz_convert("Asia/Tokyo"))
    verdicts = [sensors.find_contamination(t, sun).table["strength"].round(6).tolist() for t in (wide, long)]
    assert verdicts[0] == verdicts[1]
    assert sensors.find_contamination(far, sun).table["verdict"].tolist() == ["no sign of sun", "reads the sun"]


# ---------------------------------------------------------------------------------------------------------------------
# Loggers as loggers


def test_loggers_that_gave_nothing_and_words_among_the_values_are_said():
    times = pd.date_range("2024-06-21", periods=48, freq="30min", tz="UTC")
    table = pd.DataFrame({"time": times, "logger_id": "a", "value": np.nan})
    for nothing in (table, table.iloc[:0]):
        assert sensors.check_loggers(nothing).sentence == "No logger gave a reading."
    with pytest.raises(FieldkitError, match="look for text"):
        sensors.check_loggers(table.assign(value="n/a"))


def test_logger_check_finds_gap_repeat_stuck_range_and_clock():
    from fieldkit.physics import sun

    times = pd.date_range("2024-06-01", periods=480, freq="30min", tz="America/New_York")
    light = np.asarray(sun.clear_sky(times, latitude_deg=36, longitude_deg=-80, linke_turbidity=3.0)["ghi_w_m2"])
    steady = np.arange(480.0) % 20
    steady[100:130] = 5.0
    hot = np.arange(480.0) % 20
    hot[7] = 300.0
    table = pd.concat(
        [
            pd.DataFrame({"time": times.delete(range(50, 60)), "logger_id": "gap", "value": np.arange(470.0) % 20}),
            pd.DataFrame({"time": times, "logger_id": "stuck", "value": steady}),
            pd.DataFrame({"time": times, "logger_id": "hot", "value": hot}),
            pd.DataFrame({"time": times[[0, *range(480)]], "logger_id": "twice", "value": np.arange(481.0) % 20}),
            # A clock an hour ahead: summer time added twice.
            pd.DataFrame({"time": times + pd.Timedelta(hours=1), "logger_id": "sun", "value": light}),
        ]
    )
    info = pd.DataFrame({"logger_id": ["sun"], "role": ["irradiance"]})
    check = sensors.check_loggers(table, info, longitude_deg=-80)
    found = check.table.set_index("logger_id")
    assert found.loc["gap", ["gaps", "due"]].tolist() == [1, 480]
    assert found.loc["gap", "longest_gap_h"] == pytest.approx(5.5)
    assert found.loc["stuck", "stuck_h"] == pytest.approx(14.5, abs=0.6)
    assert found.loc["hot", "out_of_range"] == 1
    assert found.loc["twice", "repeated"] == 1
    assert found.loc["sun", "clock_off_min"] == pytest.approx(60, abs=3)
    for words in ("clock of sun", "impossible values in hot", "repeated readings in twice", "the longest 6 h in gap"):
        assert words in check.sentence
    with pytest.raises(FieldkitError, match="zone"):
        sensors.check_loggers(table.assign(time=table["time"].dt.tz_localize(None)))


def test_the_hour_that_stands_twice_in_autumn_is_no_obstacle():
    times = pd.date_range("2025-10-20", "2025-11-10", freq="30min", tz="America/New_York")
    hour = times.hour + times.minute / 60
    rng = np.random.default_rng(5)
    sun = pd.Series(np.clip(700 * np.sin((hour - 6) / 12 * np.pi), 0, None) * rng.uniform(0.2, 1, len(times)), times)
    air = pd.Series(8 + 5 * np.sin((hour - 9) / 12 * np.pi) + rng.normal(0, 0.1, len(times)), times)
    table = pd.DataFrame({"a": air, "b": air + 0.006 * sun, "c": air + rng.normal(0, 0.1, len(times))})
    found = sensors.find_contamination(table, sun)
    assert found.table["verdict"].tolist() == ["no sign of sun", "reads the sun", "no sign of sun"]
    steady = sensors.find_contamination(table.tz_convert("Etc/GMT+4"), sun)
    assert steady.table["contamination_c"].iloc[1] == pytest.approx(found.table["contamination_c"].iloc[1], rel=0.05)
