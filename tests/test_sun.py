"""Sun position, skies, facings, day length and basking hours against printed values and against measurements."""

from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
import xarray as xr

from fieldkit.core import FieldkitError
from fieldkit.physics import spectrum, sun
from fieldkit.physics.sun import sky as skies

GREENSBORO = {"latitude_deg": 36.1, "longitude_deg": -79.95, "elevation_m": 273.0}
PVLIB_DATA = Path(pvlib.__file__).parent / "data"


@pytest.fixture(scope="module")
def season():
    """A year, every 37 minutes, so that all heights and sides of the sun occur."""
    return pd.date_range("2024-01-01", "2024-12-31", freq="37min", tz="Etc/GMT+5")


def _check(row, value):
    assert value == pytest.approx(row["expected"], abs=row["tolerance"]), f"{row['case']}: {row['source']}"


def test_solar_position_algorithm_worked_example(published):
    time = pd.Timestamp("2003-10-17 12:30:30", tz="Etc/GMT+7")
    found = sun.position(
        time,
        latitude_deg=39.742476,
        longitude_deg=-105.1786,
        elevation_m=1830.14,
        pressure_pa=82000.0,
        air_temperature_c=11.0,
        delta_t_s=67.0,
    )
    # Tilt 30 degrees, turned 10 degrees east of south.
    tilted = sun.on_facing(
        0.0, 0.0, 0.0, found["apparent_zenith_deg"], found["azimuth_deg"], tilt_deg=30.0, facing_deg=170.0
    )
    found = found | tilted
    table = published("sun")
    table = table[table["case"].str.startswith("SPA")]
    assert len(table) == 5
    for _, row in table.iterrows():
        _check(row, found[row["quantity"]])


def test_clear_sky_models_and_sun_above_the_air(published):
    table = published("sun")
    skies = table[table["model"].notna()]
    assert len(skies) == 5
    for _, row in skies.iterrows():
        sky = sun.clear_sky_at_zenith(
            row["zenith"],
            extraterrestrial_w_m2=1364.0,
            model=row["model"],
            linke_turbidity=3.0,
            aerosol_depth_700nm=0.1,
            precipitable_water_cm=1.0,
        )
        _check(row, sky[row["quantity"]])
    spencer = table[table["quantity"] == "extraterrestrial_w_m2"]
    assert len(spencer) == 2
    for _, row in spencer.iterrows():
        _check(row, sun.extraterrestrial(pd.Timestamp(row["date"], tz="UTC"), solar_constant_w_m2=1366.1))
    for _, row in table[table["quantity"] == "solar_constant"].iterrows():
        _check(row, sun.SOLAR_CONSTANT_W_M2)


def test_clear_sky_closes_and_night_is_dark(season):
    for model in ("ineichen", "solis"):
        sky = sun.clear_sky(season, **GREENSBORO, model=model)
        cosine = np.cos(np.radians(sun.position(season, **GREENSBORO)["apparent_zenith_deg"]))
        closure = sky["ghi_w_m2"] - sky["dni_w_m2"] * np.maximum(cosine, 0) - sky["dhi_w_m2"]
        assert np.abs(closure).max() < 1e-9
        assert (sky[cosine < 0] == 0).all(axis=None)
        assert 900 < sky["ghi_w_m2"].max() < 1100
        assert sky.notna().all(axis=None)


def test_clear_sky_in_the_mountains_stays_below_the_sun_above_the_air():
    # At 4000 m Ineichen lets 99 % through; another model entirely, the spectrum of Bird & Riordan, 88 %.
    noon = pd.DatetimeIndex(["2024-06-21 12:00"], tz="UTC")
    place = {"latitude_deg": 23.4, "longitude_deg": 0.0}
    above = sun.extraterrestrial(noon)
    for height in (0.0, 1000.0, 2000.0, 3000.0, 4000.0):
        bird = spectrum.clear_sky_spectrum(noon[0], **place, elevation_m=height, aerosol_depth_500nm=0.1)
        ours = sun.clear_sky(noon, **place, elevation_m=height)
        assert ours["ghi_w_m2"].item() == pytest.approx(spectrum.integrate(bird), rel=0.12)
        assert ours["ghi_w_m2"].item() < 0.9 * above.item()
    for model in ({"model": "ineichen"}, {"linke_turbidity": 3.0}):
        with pytest.raises(FieldkitError, match="solis"):
            sun.clear_sky(noon, **place, elevation_m=4000.0, **model)


def test_turbidity_agrees_with_the_map_that_pvlib_reads():
    days = pd.date_range("2023-01-15", periods=12, freq=pd.DateOffset(months=1), tz="UTC")
    own = skies._turbidity(days, 36.1, -79.95)
    theirs = pvlib.clearsky.lookup_linke_turbidity(days, 36.1, -79.95, interp_turbidity=False)
    # Our nodes are the 15th of each month, so there both must give the monthly value.
    assert np.allclose(own, theirs, atol=1e-9)
    with pytest.raises(FieldkitError, match="grid of places"):
        sun.clear_sky(days, latitude_deg=np.array([36.1, 37.0]), longitude_deg=-80.0)


def test_total_is_the_sum_of_its_parts_and_the_flat_gets_ghi(season):
    rng = np.random.default_rng(3)
    zenith = sun.position(season, **GREENSBORO)["apparent_zenith_deg"]
    cosine = np.maximum(np.cos(np.radians(zenith)), 0)
    dni = pd.Series(rng.uniform(0, 1000, len(season)) * (cosine > 0), index=season)
    dhi = pd.Series(rng.uniform(0, 400, len(season)) * (cosine > 0), index=season)
    for model in ("perez", "hay-davies", "isotropic"):
        flat = sun.irradiance(season, **GREENSBORO, dni_w_m2=dni, dhi_w_m2=dhi, sky_model=model)
        assert np.allclose(flat["total_w_m2"], flat["ghi_w_m2"], atol=1e-9)
        assert np.allclose(flat["diffuse_w_m2"], dhi, atol=1e-9)
        assert (flat["reflected_w_m2"] == 0).all()
        tilted = sun.irradiance(
            season, **GREENSBORO, dni_w_m2=dni, dhi_w_m2=dhi, sky_model=model, tilt_deg=70.0, facing_deg=130.0
        )
        parts = tilted["beam_w_m2"] + tilted["diffuse_w_m2"] + tilted["reflected_w_m2"]
        assert np.allclose(parts, tilted["total_w_m2"], atol=1e-9)
        assert (tilted.filter(like="w_m2").drop(columns="closure_w_m2") >= 0).all(axis=None)
        belly = sun.irradiance(season, **GREENSBORO, dni_w_m2=dni, dhi_w_m2=dhi, sky_model=model, tilt_deg=180.0)
        assert np.allclose(belly["total_w_m2"], belly["ground_upwelling_w_m2"], atol=1e-9)


def test_energy_from_an_even_sky_is_shared_by_two_opposite_sides():
    # With an even sky, a plate's two sides together see the whole sky and the whole ground (view factors add to 1).
    for tilt in (0.0, 35.0, 90.0, 120.0):
        front = sun.on_facing(300.0, 0.0, 300.0, 50.0, 180.0, tilt_deg=tilt, facing_deg=200.0, sky_model="isotropic")
        back = sun.on_facing(
            300.0, 0.0, 300.0, 50.0, 180.0, tilt_deg=180 - tilt, facing_deg=20.0, sky_model="isotropic"
        )
        assert front["total_w_m2"] + back["total_w_m2"] == pytest.approx(300.0 + 0.2 * 300.0)


def test_beam_over_a_sphere_equals_beam_on_its_silhouette():
    # The mean of max(cos, 0) over all directions is 1/4: geometry, for any place of the sun.
    rng = np.random.default_rng(5)
    direction = rng.normal(size=(200_000, 3))
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    tilt = np.degrees(np.arccos(direction[:, 2]))
    facing = np.degrees(np.arctan2(direction[:, 0], direction[:, 1])) % 360
    beam = sun.on_facing(0.0, 1000.0, 0.0, 55.0, 210.0, tilt_deg=tilt, facing_deg=facing)["beam_w_m2"]
    assert beam.mean() == pytest.approx(250.0, abs=2.0)  # 3 standard errors: 289/sqrt(200,000) = 0.65


def test_hay_davies_and_perez_are_those_of_pvlib_where_the_sun_is_high():
    rng = np.random.default_rng(8)
    n = 500
    zenith, azimuth = rng.uniform(0, 84, n), rng.uniform(0, 360, n)
    dni, dhi, above = rng.uniform(0, 1000, n), rng.uniform(5, 400, n), rng.uniform(1320, 1410, n)
    tilt, facing = rng.uniform(0, 90, n), rng.uniform(0, 360, n)
    kept = {"tilt_deg": tilt, "facing_deg": facing, "extraterrestrial_w_m2": above}
    for model, theirs in (("hay-davies", pvlib.irradiance.haydavies), ("perez", pvlib.irradiance.perez_driesse)):
        own = sun.on_facing(0.0, dni, dhi, zenith, azimuth, sky_model=model, **kept)["diffuse_w_m2"]
        assert np.allclose(own, theirs(tilt, facing, dhi, dni, above, zenith, azimuth), atol=1e-9)


def test_decomposition_closes_and_follows_its_source():
    rng = np.random.default_rng(2)
    ghi, zenith = rng.uniform(-5, 1100, 2000), rng.uniform(0, 100, 2000)
    parts = sun.decompose(ghi, zenith, extraterrestrial_w_m2=1400.0)
    cosine = np.maximum(np.cos(np.radians(zenith)), 0)
    assert np.allclose(parts["dni_w_m2"] * cosine + parts["dhi_w_m2"], np.maximum(ghi, 0), atol=1e-9)
    # Erbs et al. (1982), eq. 1: 16.5 % diffuse at a clearness above 0.80; 1 - 0.09 kt at or below 0.22.
    clear = sun.decompose(0.85 * 1361.1, 0.0)
    assert clear["dhi_w_m2"] / (0.85 * 1361.1) == pytest.approx(0.165, abs=5e-4)
    dull = sun.decompose(0.1 * 1361.1, 0.0)
    assert dull["dhi_w_m2"] / (0.1 * 1361.1) == pytest.approx(1 - 0.09 * 0.1, abs=5e-4)
    assert np.isnan(sun.decompose(np.nan, 30.0)["dni_w_m2"])


def test_third_component_follows_from_two(season):
    sky = sun.clear_sky(season, **GREENSBORO)
    full = sun.irradiance(season, **GREENSBORO)
    for absent in ("ghi_w_m2", "dni_w_m2", "dhi_w_m2"):
        given = {name: sky[name] for name in sky if name != absent}
        found = sun.irradiance(season, **GREENSBORO, **given)
        high = full["apparent_zenith_deg"] < 87
        assert np.allclose(found.loc[high, absent], sky.loc[high, absent], atol=1e-8)
        assert found["closure_w_m2"].abs().max() < 1e-8
    with pytest.raises(FieldkitError, match="alone"):
        sun.irradiance(season, **GREENSBORO, dni_w_m2=sky["dni_w_m2"])
    wrong = sun.irradiance(season, **GREENSBORO, **(sky + 10).to_dict("series"))
    cosine = np.maximum(np.cos(np.radians(full["apparent_zenith_deg"])), 0)
    assert np.allclose(wrong["closure_w_m2"], 10 - 10 * cosine - 10, atol=1e-8)


def test_a_low_sun_never_gives_a_beam_above_the_sun_itself(season):
    # 200 W/m² on the flat with 20 W/m² of sky and the sun 5° high: divided by the cosine, 2000 W/m².
    low = pd.DatetimeIndex(["2024-06-21 05:40"]).tz_localize("Etc/GMT+5")
    light = sun.irradiance(low, **GREENSBORO, ghi_w_m2=200.0, dhi_w_m2=20.0)
    above = sun.extraterrestrial(low)
    assert 3 < 90 - light["apparent_zenith_deg"].item() < 8
    assert (light["dni_w_m2"] <= above).all()
    cosine = np.cos(np.radians(light["apparent_zenith_deg"]))
    # Long & Shi (2008) The Open Atmospheric Science Journal 2:23-37: the strongest beam stations ever report.
    assert light["dni_w_m2"].item() == pytest.approx(0.95 * above.item() * cosine.item() ** 0.2 + 10)
    assert np.allclose(light["dni_w_m2"] * cosine + light["dhi_w_m2"], 200.0)  # what was measured on the flat stays


def test_minutes_brighter_than_a_clear_sky_are_kept():
    # Edges of clouds send up to 1.5 times the clear-sky light for a minute: not an error, and more diffuse than beam.
    noon = pd.DatetimeIndex(["2024-06-21 13:20"]).tz_localize("Etc/GMT+5")
    light = sun.irradiance(noon, **GREENSBORO, ghi_w_m2=1450.0)
    assert light["ghi_w_m2"].item() == 1450.0
    assert light["total_w_m2"].item() == pytest.approx(1450.0)
    assert (light["dni_w_m2"] < sun.extraterrestrial(noon)).all()
    night = pd.DatetimeIndex(["2024-06-21 01:00"]).tz_localize("Etc/GMT+5")
    dark = sun.irradiance(night, **GREENSBORO, ghi_w_m2=-3.0)
    assert (dark[["ghi_w_m2", "dni_w_m2", "dhi_w_m2", "total_w_m2"]] == 0).all(axis=None)


def test_measured_tilted_irradiance_in_golden_colorado():
    """Real pyranometers, one turned to the sun and one tilted 40° south; nothing here was fitted to them.

    The tolerances are what the literature calls usual for transposition (RMSE of some 5 %, Loutzenhiser et al. 2007,
    Solar Energy 81:254-267), not what we happened to get.
    """
    table = pd.read_csv(Path(__file__).parent / "published" / "sun_measured_golden.csv", comment="#")
    times = pd.to_datetime(table["interval_end"], utc=True) - pd.Timedelta(minutes=2.5)
    place = {"latitude_deg": 39.742, "longitude_deg": -105.18, "elevation_m": 1829.0}
    where = sun.position(times, **place)
    measured = {name: table[name] for name in ("ghi_w_m2", "dni_w_m2", "dhi_w_m2")}
    assert len(table) == 129
    errors = {}
    for model in ("perez", "hay-davies", "isotropic"):
        turned = sun.irradiance(
            times,
            **place,
            **measured,
            tilt_deg=where["apparent_zenith_deg"],
            facing_deg=where["azimuth_deg"],
            sky_model=model,
        )
        fixed = sun.irradiance(times, **place, **measured, tilt_deg=40.0, facing_deg=180.0, sky_model=model)
        for name, light in (("facing_sun_w_m2", turned), ("tilt_40_south_w_m2", fixed)):
            difference = light["total_w_m2"] - table[name]
            errors[model, name] = np.sqrt((difference**2).mean()) / table[name].mean()
    for name in ("facing_sun_w_m2", "tilt_40_south_w_m2"):
        assert errors["perez", name] < 0.05
        assert errors["perez", name] < errors["hay-davies", name] < errors["isotropic", name]


def test_hours_dated_at_their_middle_close_a_typical_year():
    """GHI = DNI cos z + DHI in the Greensboro TMY3 file holds to its rounding only when the sun stands at mid-hour."""
    from fieldkit.records.weather.files import read_weather_file

    size = {}
    for at in ("middle", "end"):
        weather = read_weather_file(PVLIB_DATA / "723170TYA.CSV", at=at)
        table = weather.table
        light = sun.irradiance(
            table.index,
            **GREENSBORO,
            ghi_w_m2=table["ghi_w_m2"],
            dni_w_m2=table["dni_w_m2"],
            dhi_w_m2=table["dhi_w_m2"],
        )
        size[at] = light["closure_w_m2"].abs().mean()
    assert size["middle"] < 1.0  # three rounded whole numbers: mean error below 1 W/m²
    assert size["end"] > 10 * size["middle"]


def test_containers_agree():
    times = pd.date_range("2024-05-03", periods=48, freq="30min", tz="America/New_York")
    kept = {**GREENSBORO, "tilt_deg": 60.0, "facing_deg": 100.0, "linke_turbidity": 3.0}
    frame = sun.irradiance(times, **kept)
    column = sun.irradiance(pd.Series(times, index=np.arange(48)), **kept)
    assert np.allclose(column.to_numpy(), frame.to_numpy())
    utc = times.tz_convert("UTC").tz_localize(None)
    array = xr.DataArray(utc, dims="time", coords={"time": utc})
    grid = sun.irradiance(array, **kept)
    lazy = sun.irradiance(array.chunk(time=10), **kept)
    assert lazy["total_w_m2"].chunks is not None
    for name in frame:
        assert np.allclose(grid[name], frame[name])
        assert np.allclose(lazy[name], frame[name])
        assert "units" in grid[name].attrs
    one = sun.irradiance(times[20], **kept)
    assert one["total_w_m2"] == pytest.approx(frame["total_w_m2"].iloc[20])
    listed = sun.position(list(times), **GREENSBORO)
    assert np.allclose(listed["zenith_deg"], frame["apparent_zenith_deg"], atol=0.6)


def test_grid_of_places_and_times():
    utc = pd.date_range("2024-06-21", periods=6, freq="4h")
    times = xr.DataArray(utc, dims="time", coords={"time": utc})
    latitude = xr.DataArray([10.0, 40.0, 70.0], dims="latitude")
    longitude = xr.DataArray([-80.0, 20.0], dims="longitude")
    grid = sun.irradiance(times, latitude_deg=latitude, longitude_deg=longitude, linke_turbidity=3.0)
    assert grid["total_w_m2"].sizes == {"time": 6, "latitude": 3, "longitude": 2}
    one = sun.irradiance(utc[3].tz_localize("UTC"), latitude_deg=40.0, longitude_deg=20.0, linke_turbidity=3.0)
    found = grid["total_w_m2"].isel(time=3, latitude=1, longitude=1)
    assert float(found) == pytest.approx(one["total_w_m2"])


def test_unknown_stays_unknown():
    times = pd.date_range("2024-06-21 10:00", periods=3, freq="h", tz="UTC")
    ghi = pd.Series([500.0, np.nan, 700.0], index=times)
    found = sun.irradiance(times, latitude_deg=45.0, longitude_deg=8.0, ghi_w_m2=ghi)
    assert found["total_w_m2"].isna().tolist() == [False, True, False]
    nat = pd.DatetimeIndex(["2024-06-21 10:00", pd.NaT]).tz_localize("UTC")
    assert np.isnan(sun.position(nat, latitude_deg=45.0, longitude_deg=8.0)["zenith_deg"].iloc[1])


def test_offsets_of_summer_and_winter_in_one_list():
    written = ["2024-06-01 12:00+02:00", "2024-12-01 12:00+01:00"]
    apart = [sun.position(t, latitude_deg=50.0, longitude_deg=10.0)["azimuth_deg"] for t in written]
    assert sun.position(written, latitude_deg=50.0, longitude_deg=10.0)["azimuth_deg"] == pytest.approx(apart)
    with pytest.raises(FieldkitError, match="no zone"):
        sun.position(["2024-06-01 12:00"], latitude_deg=50.0, longitude_deg=10.0)


def test_times_and_places_that_make_no_sense():
    naive = pd.date_range("2024-06-21", periods=3, freq="h")
    with pytest.raises(FieldkitError, match="no zone"):
        sun.position(naive, **GREENSBORO)
    with pytest.raises(FieldkitError, match="no zone"):
        sun.solar_time("2024-06-21 12:00", longitude_deg=0.0)
    with pytest.raises(FieldkitError, match="latitude 361"):
        sun.position(naive.tz_localize("UTC"), latitude_deg=361, longitude_deg=0)
    with pytest.raises(FieldkitError, match="cannot be read as a time"):
        sun.position("noonish", **GREENSBORO)
    with pytest.raises(FieldkitError, match="must be dates"):
        sun.position(xr.DataArray([1.0, 2.0], dims="time"), **GREENSBORO)
    for wrong in ({"sky_model": "blue"}, {"clear_sky_model": "bright"}):
        with pytest.raises(FieldkitError, match="is not known"):
            sun.irradiance(naive.tz_localize("UTC"), **GREENSBORO, **wrong)


def test_horizon_and_canopy():
    skyline = [(0, 0), (90, 25), (180, 0)]
    assert sun.horizon_elevation(np.array([45.0, 90.0, 270.0]), horizon=skyline) == pytest.approx([12.5, 25.0, 0.0])
    assert sun.horizon_elevation(350.0, horizon=[(10, 20), (330, 0)]) == pytest.approx(10.0)
    assert sun.sky_view_factor([(0, 0)]) == pytest.approx(1.0)
    # A wall over half the circle up to the zenith hides half the even sky.
    wall = [(0.001, 90), (179.999, 90), (180.001, 0), (359.999, 0)]
    assert sun.sky_view_factor(wall) == pytest.approx(0.5, abs=1e-3)
    times = pd.date_range("2024-06-21", periods=289, freq="5min", tz="Etc/GMT+5")
    free = sun.irradiance(times, **GREENSBORO)
    behind = sun.irradiance(times, **GREENSBORO, horizon=skyline, canopy_transmission=0.4)
    east = (free["azimuth_deg"] > 80) & (free["azimuth_deg"] < 100) & (free["apparent_zenith_deg"] > 70)
    assert (behind.loc[east, "dni_w_m2"] == 0).all()
    west = free["azimuth_deg"].between(200, 340) & (free["apparent_zenith_deg"] < 89)
    assert np.allclose(behind.loc[west, "dni_w_m2"], 0.4 * free.loc[west, "dni_w_m2"])
    share = 0.4 * sun.sky_view_factor(skyline)
    assert np.allclose(behind["dhi_w_m2"], share * free["dhi_w_m2"])
    assert np.allclose(behind["total_w_m2"], behind["ghi_w_m2"], atol=1e-9)
    for wrong in ([(0, 95)], [(0, 10), (360, 20)], [10, 20], [(0, np.nan)]):
        with pytest.raises(FieldkitError, match="horizon"):
            sun.sky_view_factor(wrong)
    with pytest.raises(FieldkitError, match="canopy_transmission 40 is not between 0 and 1"):
        sun.irradiance(times, **GREENSBORO, canopy_transmission=40)
    # Leaves that change through the day, and not by an index of their own.
    leaves = np.linspace(0, 1, len(times))
    under = sun.irradiance(times, **GREENSBORO, canopy_transmission=leaves)
    assert np.allclose(under["dni_w_m2"], leaves * free["dni_w_m2"])
    with pytest.raises(FieldkitError, match="same index"):
        sun.irradiance(times, **GREENSBORO, canopy_transmission=pd.Series(leaves))


@pytest.mark.parametrize(("latitude", "longitude"), [(36.1, 0.0), (60.0, 5.0), (-35.0, -10.0), (0.0, 20.0)])
def test_sunrise_and_sunset_against_pvlib(latitude, longitude):
    days = pd.date_range("2024-01-01", "2024-12-31", freq="D", tz="UTC")
    theirs = pvlib.solarposition.sun_rise_set_transit_spa(days, latitude, longitude)
    own = sun.day_length(days, latitude_deg=latitude, longitude_deg=longitude, timezone="UTC")
    for name, other in (("sunrise", "sunrise"), ("solar_noon", "transit"), ("sunset", "sunset")):
        seconds = (own[name] - theirs[other]).dt.total_seconds().abs()
        assert seconds.max() < 4  # pvlib interpolates between midnights; ours is rounded to whole seconds
    assert np.allclose(own["day_length_h"], (own["sunset"] - own["sunrise"]).dt.total_seconds() / 3600, atol=6e-4)


def test_polar_day_polar_night_twilight_and_clock_changes():
    days = pd.date_range("2024-01-01", "2024-12-31", freq="D")
    north = sun.day_length(days, latitude_deg=75.0, longitude_deg=20.0, timezone="Europe/Oslo")
    assert north["day_length_h"].loc["2024-06-21"].item() == 24.0
    assert north["day_length_h"].loc["2024-12-21"].item() == 0.0
    assert pd.isna(north["sunrise"].loc["2024-06-21"])
    assert north["day_length_h"].between(0, 24).all()
    home = {"latitude_deg": 36.1, "longitude_deg": -79.95, "timezone": "America/New_York"}
    day = sun.day_length(days, **home)
    civil = sun.day_length(days, **home, sun_elevation_deg=sun.CIVIL_TWILIGHT_DEG)
    assert (civil["day_length_h"] - day["day_length_h"]).between(0.7, 1.1).all()
    # Every event lies in its own local day, and clock changes leave no jump in the length of days.
    assert (day["sunrise"].dt.normalize() == day.index).all()
    assert (day["sunset"].dt.normalize() == day.index).all()
    assert day["day_length_h"].diff().abs().max() < 0.05
    assert (day["solar_noon"].dt.hour >= 13).sum() == 238  # summer time, 10 March to 2 November
    # A zone that changes its clocks at midnight.
    sun.day_length(days, latitude_deg=23.1, longitude_deg=-82.4, timezone="America/Havana")
    # East of the date line the clock's day and the sun's day still belong together.
    far = sun.day_length(days, latitude_deg=-8.5, longitude_deg=179.2, timezone="Pacific/Funafuti")
    assert (far["sunrise"].dt.normalize() == far.index).all()


@pytest.mark.parametrize(
    ("latitude", "longitude", "days"),
    [
        (69.65, 18.96, ["2024-05-15", "2024-05-17", "2024-07-25", "2024-11-26", "2024-11-27", "2024-01-15"]),
        (-77.8, 166.7, ["2024-10-22", "2024-10-23", "2024-10-24", "2024-02-20", "2024-08-19"]),
    ],
)
def test_days_on_which_the_sun_grazes_the_horizon(latitude, longitude, days):
    # Counted on a fine grid of sun positions, from midnight to midnight of the sun.
    own = sun.day_length(days, latitude_deg=latitude, longitude_deg=longitude, timezone="UTC")
    for day in own.itertuples():
        grid = pd.date_range(day.solar_noon - pd.Timedelta("12h"), periods=8641, freq="10s")
        height = sun.position(grid, latitude_deg=latitude, longitude_deg=longitude)["elevation_deg"]
        up = (height > sun.SUNRISE_ELEVATION_DEG).to_numpy()[:-1]
        assert day.day_length_h == pytest.approx(24 * up.mean(), abs=0.01)
        assert pd.isna(day.sunrise) == (up[0] or not up.any())
        assert pd.isna(day.sunset) == (up[-1] or not up.any())


def test_solar_time_is_free_of_summer_time():
    clock = pd.DatetimeIndex(["2024-03-10 01:59:59", "2024-03-10 03:00:00"]).tz_localize("America/New_York")
    hours = sun.solar_time(clock, longitude_deg=-79.95)
    assert hours.diff().iloc[1] == pytest.approx(1 / 3600, abs=1e-6)
    noon = sun.day_length(["2024-11-03"], latitude_deg=36.1, longitude_deg=-79.95, timezone="America/New_York")
    assert sun.solar_time(noon["solar_noon"], longitude_deg=-79.95).iloc[0] == pytest.approx(12.0, abs=2 / 3600)


# ---------------------------------------------------------------------------------------------------------------------


def _sine_day(step, days=1, zone="Etc/GMT+5", start="2024-06-21"):
    times = pd.date_range(start, pd.Timestamp(start) + pd.Timedelta(days=days), freq=step, tz=zone)
    hours = ((times - times[0]) / pd.Timedelta(hours=1)).to_numpy() % 24
    return pd.Series(np.maximum(0, 900 * np.sin(np.pi * (hours - 6) / 12)), index=times)


def test_basking_hours_of_a_known_day():
    # 900 sin(pi (h - 6) / 12) passes 450 at 8 h and at 16 h.
    for step, tolerance in (("1min", 1e-3), ("30min", 0.02)):
        found = sun.potential_basking_hours(_sine_day(step), threshold_w_m2=450.0)
        row = found.table.iloc[0]
        assert row["hours"] == pytest.approx(8.0, abs=tolerance)
        assert row["stretches"] == 1
        assert row["complete"]
        assert row["first_start"].hour == 8 and len(found.table) == 1
    air = pd.Series(20.0, index=_sine_day("30min").index)
    air.loc["2024-06-21 12:00":"2024-06-21 13:00"] = 40.0
    found = sun.potential_basking_hours(
        _sine_day("30min"), threshold_w_m2=450.0, air_temperature_c=air, air_range_c=(15, 30)
    )
    # Air passes 30 °C half way between 11:30 and 12:00 and again between 13:00 and 13:30.
    assert found.table["stretches"].iloc[0] == 2
    assert found.intervals["end"].iloc[0] == pd.Timestamp("2024-06-21 11:45", tz="Etc/GMT+5")
    assert found.table["hours"].iloc[0] == pytest.approx(8.0 - 1.5, abs=0.02)
    assert "with air between 15 and 30" in found.sentence


def test_basking_hours_say_what_is_not_known():
    series = _sine_day("10min", days=3)
    series.loc["2024-06-22 11:00":"2024-06-22 12:00"] = np.nan
    series = series.drop(series.loc["2024-06-23 09:00":"2024-06-23 10:00"].index)
    found = sun.potential_basking_hours(series, threshold_w_m2=450.0)
    assert found.table["complete"].tolist() == [True, False, False]
    assert found.table["hours"].tolist() == pytest.approx([8.0, 8 - 80 / 60, 8 - 80 / 60], abs=0.01)
    assert "2 more days have gaps" in found.sentence
    bridged = sun.potential_basking_hours(series.dropna(), threshold_w_m2=450.0, longest_gap_min=120)
    assert bridged.table["complete"].all()
    none = sun.potential_basking_hours(series.iloc[:20], threshold_w_m2=450.0)
    assert "cannot be told" in none.sentence


def test_basking_hours_split_days_at_local_midnight_and_survive_clock_changes():
    times = pd.date_range("2024-03-09", "2024-03-12", freq="10min", tz="America/New_York")
    always = sun.potential_basking_hours(pd.Series(500.0, index=times), threshold_w_m2=100.0)
    assert always.table["hours"].tolist() == pytest.approx([24.0, 23.0, 24.0])
    assert always.table["stretches"].tolist() == [1, 1, 1]
    flecks = pd.Series(
        np.tile([0.0, 900.0], 72), index=pd.date_range("2024-06-21", periods=144, freq="10min", tz="UTC")
    )
    kept = sun.potential_basking_hours(flecks, threshold_w_m2=450.0, shortest_min=11)
    assert kept.table["hours"].iloc[0] == 0.0
    everything = sun.potential_basking_hours(flecks, threshold_w_m2=450.0)
    assert everything.table["stretches"].iloc[0] == 72


def test_basking_hours_refuse_what_they_cannot_use():
    good = _sine_day("30min")
    cases = {
        "zone": {"irradiance_w_m2": good.tz_localize(None)},
        "must increase": {"irradiance_w_m2": good.iloc[::-1]},
        "no air temperatures": {"irradiance_w_m2": good, "air_range_c": (10, 20)},
        "same times": {"irradiance_w_m2": good, "air_range_c": (10, 20), "air_temperature_c": good.iloc[1:]},
        "upside down": {"irradiance_w_m2": good, "air_range_c": (20, 10), "air_temperature_c": good},
    }
    for words, given in cases.items():
        with pytest.raises(FieldkitError, match=words):
            sun.potential_basking_hours(**given, threshold_w_m2=300.0)
