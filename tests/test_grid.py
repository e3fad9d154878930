"""Seasonal air-temperature ranges from grids: the same as stations, whatever the units, order and chunks."""

import json

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from fieldkit.core import FieldkitError
from fieldkit.field import climate
from fieldkit.field.climate.grid import bands as grid
from fieldkit.field.climate.grid import region


def make(first="2019-01-01", last="2020-12-31", lat=(-20.0, -10.0, 10.0, 20.0), lon=(0.0, 90.0, 180.0, 270.0), rng=0):
    """Daily extremes in °C with seasons that follow latitude and days that differ."""
    draw = np.random.default_rng(rng)
    day, lat, lon = pd.date_range(first, last), np.array(lat), np.array(lon)
    wave = -np.cos(2 * np.pi * (day.day_of_year.to_numpy() - 20) / 365.25)[:, None, None]
    mean = 22 - 0.1 * np.abs(lat)[None, :, None] + 0.4 * lat[None, :, None] * wave + 0.005 * lon[None, None, :]
    mean = mean + draw.normal(0, 2, (len(day), len(lat), len(lon)))
    dims = ("time", "lat", "lon")
    attributes = {"units": "degC", "standard_name": "air_temperature"}
    return xr.Dataset(
        {
            "tasmax": (dims, mean + 6, attributes | {"cell_methods": "time: maximum"}),
            "tasmin": (dims, mean - 6, attributes | {"cell_methods": "time: minimum"}),
        },
        coords={"time": day, "lat": lat, "lon": lon},
    )


def as_stations(data):
    """The cells of a grid as stations."""
    table = data.to_dataframe().reset_index()
    table["station_id"] = table["lat"].astype(str) + "/" + table["lon"].astype(str)
    return table.rename(columns={"time": "date", "tasmax": "tmax_c", "tasmin": "tmin_c", "lat": "latitude_deg"})


def test_a_grid_gives_what_its_cells_give_as_stations():
    data = make()
    data["tasmax"][40:52, 1, 2] = np.nan  # a cell with a gap in one month
    data["tasmin"][500, 0, 0] = 50.0  # and one with a day upside down
    stations = climate.air_bands(as_stations(data), margin_c=4).table.set_index(["station_id", "season"])
    bands = grid.air_bands(data, margin_c=4)
    assert np.isnan(float(bands.cells["low_c"].sel(latitude=-10.0, longitude=-180.0, season="summer")))
    for (station, season), row in stations.iterrows():
        if station == climate.POOLED:
            continue
        lat, lon = map(float, station.split("/"))
        cell = bands.cells.sel(latitude=lat, longitude=(lon + 180) % 360 - 180, season=season)
        for name in ("typical_max_c", "typical_min_c"):
            assert float(cell[name]) == pytest.approx(row[name], abs=1e-9, nan_ok=True)
        if station != "-10.0/180.0":
            assert float(cell["high_c"]) == pytest.approx(row["high_c"], abs=1e-9)


def test_units_longitudes_order_and_chunks_change_nothing():
    plain = make(last="2019-12-31")
    expected = grid.air_bands(plain).table
    kelvin = plain + 273.15
    for name in kelvin:
        kelvin[name].attrs = {"units": "K"}
    fahrenheit = plain * 1.8 + 32
    for name in fahrenheit:
        fahrenheit[name].attrs = {"units": "degF"}
    variants = {
        "kelvin": kelvin,
        "fahrenheit": fahrenheit,
        "turned": plain.assign_coords(lon=(plain["lon"] + 180) % 360 - 180),
        "upside down": plain.isel(lat=slice(None, None, -1)),
        "other order": plain.transpose("lon", "time", "lat"),
        "by time": plain.chunk({"time": 50}),
        "by place": plain.chunk({"lat": 1, "lon": 2}),
        "noon": plain.assign_coords(time=plain["time"] + np.timedelta64(12, "h")),
        "named": plain.rename({"tasmax": "tx", "tasmin": "tn", "lat": "latitude", "lon": "longitude"}),
    }
    for name, data in variants.items():
        table = grid.air_bands(data).table
        pd.testing.assert_frame_equal(table, expected, check_exact=False, rtol=1e-9, obj=name)


def test_cells_are_weighed_by_the_cosine_of_latitude():
    data = make(lat=(0.0, 30.0, 60.0), lon=(0.0, 1.0))
    bands = grid.air_bands(data)
    cells = bands.cells["typical_max_c"].sel(season="summer")
    weights = np.cos(np.deg2rad(cells["latitude"]))
    assert bands.pooled.loc["summer", "typical_max_c"] == pytest.approx(
        float(cells.weighted(weights).mean()), abs=1e-10
    )
    # One degree square on the equator: 111.195 km on a side (mean radius, IUGG).
    one = grid.air_bands(make(lat=(-0.5, 0.5), lon=(10.0, 11.0)))
    assert one.settings["area_km2"] == pytest.approx(4 * 111.195**2, rel=1e-4)


def test_box_and_polygon_mask_the_grid():
    shapely = pytest.importorskip("shapely")
    data = make(lat=np.arange(0.0, 10.0), lon=np.arange(350.0, 360.0))
    box = grid.air_bands(data, region=(-8, 2, -5, 4))
    assert box.settings["n_cells"] == 4 * 3
    same = grid.air_bands(data, region=shapely.box(-8, 2, -5, 4))
    pd.testing.assert_frame_equal(box.table, same.table)
    triangle = shapely.Polygon([(-9, 0), (-1, 0), (-9, 8)])
    bands = grid.air_bands(data, region=triangle)
    # Cell centres on or inside the triangle: 9 + 8 + … + 1.
    assert bands.settings["n_cells"] == 45
    outside = bands.cells["high_c"].sel(season="summer", longitude=-1, latitude=8)
    assert np.isnan(float(outside))


def test_polygon_from_geojson(tmp_path):
    pytest.importorskip("shapely")
    data = make(lat=np.arange(0.0, 10.0), lon=np.arange(350.0, 360.0))
    ring = [[-8, 2], [-5, 2], [-5, 4], [-8, 4], [-8, 2]]
    shape = {"type": "Polygon", "coordinates": [ring]}
    file = tmp_path / "range.geojson"
    file.write_text(json.dumps({"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": shape}]}))
    assert grid.air_bands(data, region=file).settings["n_cells"] == 12
    file.write_text("{")
    with pytest.raises(FieldkitError, match=r"range\.geojson could not be read as GeoJSON"):
        grid.air_bands(data, region=file)
    with pytest.raises(FieldkitError, match="no file nowhere"):
        grid.air_bands(data, region=tmp_path / "nowhere.geojson")


def test_a_region_across_180_degrees():
    data = make(lat=(0.0, 1.0), lon=np.arange(0.0, 360.0, 10.0))
    for turned in (data, data.assign_coords(lon=(data["lon"] + 180) % 360 - 180)):
        bands = grid.air_bands(turned, region=(170, 0, -170, 1))
        assert bands.cells["longitude"].to_numpy().tolist() == [170, 180, 190]


def test_hemispheres_and_the_equator():
    north = grid.air_bands(make(lat=(30.0, 31.0)))
    assert north.pooled.loc["summer", "months"] == "Jun–Aug"
    south = grid.air_bands(make(lat=(-31.0, -30.0)))
    assert south.pooled.loc["summer", "months"] == "Dec–Feb"
    both = grid.air_bands(make())
    assert both.pooled.loc["summer", "months"] == "Jun–Aug or Dec–Feb"
    assert any("crosses the equator" in w for w in both.warnings)
    across = grid.air_bands(make(lat=(-1.0, 1.0)))
    assert any("10° of the equator" in w for w in across.warnings)
    assert across.pooled.loc["summer", "months"] == "Jun–Aug"


def test_own_pattern_and_named_seasons():
    data = make(lat=(30.0, 31.0))
    pattern = grid.air_bands(data, seasons="pattern")
    warm = pattern.pooled.loc["warm", "months"]
    named = grid.air_bands(data, seasons={"hot": (5, 6, 7, 8, 9), "rest": (10, 11, 12, 1, 2, 3, 4)})
    assert warm in ("Apr–Sep", "May–Sep", "May–Oct", "Apr–Oct")
    assert named.pooled.loc["hot", "typical_max_c"] > named.pooled.loc["rest", "typical_max_c"] + 10
    assert len(grid.air_bands(data, seasons="month").table) == 12


def test_missing_days_and_periods():
    data = make(lat=(30.0, 31.0))
    holes = data.isel(time=np.r_[0:190, 200:731])  # ten days of July 2019 are not in the file
    bands = grid.air_bands(holes)
    assert bands.pooled.loc["summer", "n_cells"] == 0
    assert np.isnan(bands.pooled.loc["summer", "low_c"])
    assert any("unsmoothed" in w for w in bands.warnings)
    year = grid.air_bands(holes, period=(2020, 2020))
    assert year.pooled["n_years"].tolist() == [1, 1, 1, 1]
    with pytest.raises(FieldkitError, match="No cell of the region has a season"):
        grid.air_bands(data, period=(2019, 2029))


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (lambda d: d.assign(tasmax=d["tasmax"].assign_attrs(units="")), "no units attribute"),
        (lambda d: d.assign(tasmax=d["tasmax"].assign_attrs(units="furlong")), "the units 'furlong'"),
        (lambda d: d.drop_vars("tasmin"), "known as the daily minimum"),
        (lambda d: d.assign(other=d["tasmax"]), "Several variables are known as the daily maximum"),
        (lambda d: d.rename(lat="row"), "no coordinate known as latitude"),
        (lambda d: d.expand_dims(member=2), "further dimension 'member'"),
        (lambda d: d.isel(time=[0, 0, 1]), "one per day in rising order"),
        (lambda d: d.assign_coords(lon=[0.0, 90.0, 180.0, 360.0]), "A longitude comes twice"),
        (lambda d: d.assign_coords(lon=[0.0, 1.0, 2.0, 1e6]), "degrees east are needed"),
    ],
)
def test_wrong_grids_are_said_plainly(change, sentence):
    with pytest.raises(FieldkitError, match=sentence):
        grid.air_bands(change(make(last="2019-03-01")))


def test_other_calendars_are_named():
    pytest.importorskip("cftime")
    data = make(last="2019-12-31").convert_calendar("noleap")
    with pytest.raises(FieldkitError, match="calendar of its own"):
        grid.air_bands(data)
    back = data.convert_calendar("standard", align_on="date", missing=np.nan)
    assert np.isfinite(grid.air_bands(back).pooled.loc["summer", "low_c"])


@pytest.mark.parametrize("where", [(0, 50, 10, 60), (1, 1, 2, 2), (0, 5, 10, 4)])
def test_regions_without_a_cell_are_refused(where):
    with pytest.raises(FieldkitError, match=r"No cell centre|south below north"):
        grid.air_bands(make(last="2019-03-01"), region=where)


def test_units_that_lie_are_refused():
    data = make(last="2019-12-31") + 273.15
    for name in data:
        data[name].attrs = {"units": "degC"}
    with pytest.raises(FieldkitError, match="units attribute"):
        grid.air_bands(data)


def test_exchanged_variables_are_refused():
    with pytest.raises(FieldkitError, match="No cell of the region"):
        grid.air_bands(make(), variables={"tmax_c": "tasmin", "tmin_c": "tasmax"})


@pytest.mark.parametrize("kind", ["netcdf", "zarr"])
def test_files_on_disk_stay_lazy(tmp_path, kind):
    data = make(lat=np.arange(20.0, 30.0), lon=np.arange(0.0, 12.0))
    path = tmp_path / f"grid.{kind}"
    if kind == "netcdf":
        data.to_netcdf(path, engine="h5netcdf")
        opened = xr.open_dataset(path, engine="h5netcdf", chunks={"time": 100})
    else:
        pytest.importorskip("zarr")
        data.to_zarr(path, consolidated=False, zarr_format=2)
        opened = xr.open_zarr(path, consolidated=False, chunks={})
    with opened:
        lazy = region.tidy(opened, region=(2, 22, 8, 27))
        assert lazy["tmax_c"].chunks is not None
        found = grid.air_bands(opened, region=(2, 22, 8, 27), memory_mb=1)
    expected = grid.air_bands(data, region=(2, 22, 8, 27))
    pd.testing.assert_frame_equal(found.table, expected.table, check_exact=False, rtol=1e-9)


def test_same_numbers_on_a_cluster():
    # Threads in this process: worker processes with little memory are in tests/studies/study_grid.py. No limit here,
    # because such a worker weighs the whole process: after other tests it is over any small limit and pauses for ever.
    distributed = pytest.importorskip("distributed")
    data = make(lat=np.arange(20.0, 26.0), lon=np.arange(0.0, 8.0)).chunk({"time": 60, "lon": 4})
    expected = grid.air_bands(data).table
    with (
        distributed.LocalCluster(
            n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None, memory_limit=0
        ) as cluster,
        distributed.Client(cluster),
    ):
        found = grid.air_bands(data).table
    pd.testing.assert_frame_equal(found, expected)


def test_operative_temperature_of_a_grid_is_that_of_its_cells():
    from fieldkit.physics import heat
    from fieldkit.physics.heat.air import sky_longwave

    body = heat.lizard(length_m=0.07, mass_g=10.0, shortwave_absorptivity=0.87)
    draw = np.random.default_rng(2)
    dims, shape = ("time", "lat", "lon"), (6, 2, 3)
    data = xr.Dataset(
        {
            "t2m": (dims, draw.uniform(280, 310, shape), {"units": "K"}),
            "wind": (dims, draw.uniform(0.1, 4, shape), {"units": "m s-1"}),
            "rsds": (dims, draw.uniform(0, 900, shape), {"units": "W m-2"}),
        }
    )
    names = {"air": "t2m", "wind": "wind", "global_horizontal": "rsds"}
    lazy = grid.operative_temperature(data.chunk({"time": 2}), body=body, **names)
    assert lazy.chunks is not None and lazy.attrs["units"] == "degC"
    one = {name: float(data[name][3, 1, 2]) for name in data}
    weather = {
        "air_temperature_c": one["t2m"] - 273.15,
        "wind_speed_m_s": one["wind"],
        "dhi_w_m2": one["rsds"],
        "ground_upwelling_w_m2": 0.2 * one["rsds"],
        "sky_longwave_w_m2": sky_longwave(one["t2m"] - 273.15),
    }
    expected = heat.operative_temperature(body=body, **weather)
    assert float(lazy[3, 1, 2]) == pytest.approx(expected, abs=1e-6)
    # ISO 2533: 79495 Pa at 2000 m. Thin air carries off less heat.
    heights = xr.DataArray([[0.0, 0.0, 0.0], [0.0, 0.0, 2000.0]], dims=dims[1:], attrs={"units": "m"})
    high = grid.operative_temperature(data.assign(height=heights), body=body, elevation="height", **names)
    thin = heat.operative_temperature(body=body, pressure_pa=79495.0, **weather)
    assert high.dims == dims and float(high[3, 1, 2]) == pytest.approx(thin, abs=1e-3)
    assert high[:, 0].to_numpy() == pytest.approx(lazy[:, 0].to_numpy(), abs=1e-3)
    with pytest.raises(FieldkitError, match="no units attribute: m is needed"):
        grid.operative_temperature(data.assign(height=heights.drop_attrs()), body=body, elevation="height", **names)
    summed = data.assign(rsds=data["rsds"].assign_attrs(units="J m-2"))
    with pytest.raises(FieldkitError, match=r"'J m-2'.*divided by its seconds"):
        grid.operative_temperature(summed, body=body, **names)
    with pytest.raises(FieldkitError, match="no variable 'air_temperature_c'"):
        grid.operative_temperature(data, body=body)


def test_map_draws_the_cells():
    from fieldkit.report.figures import climate as figures
    from fieldkit.report.figures import drawn_numbers

    bands = grid.air_bands(make(lat=(30.0, 31.0, 32.0)))
    drawn = drawn_numbers(figures.grid_map(bands, season="summer", which="typical_max_c"))
    values = bands.cells["typical_max_c"].sel(season="summer").to_numpy().ravel()
    shown = drawn[drawn["series"] == "summer, typical maximum"]["y"].astype(float)
    assert sorted(shown) == pytest.approx(sorted(values))


def test_wet_and_dry_seasons_are_those_of_the_rain_as_for_stations():
    data = make(lat=(-2.0, 2.0), lon=(30.0, 31.0))
    month = data["time"].dt.month
    draw = np.random.default_rng(4)
    rain = xr.where(month.isin([3, 4, 5, 10, 11]), 6.0, 0.5) + draw.uniform(0, 0.2, data.sizes["time"])
    nought = (0 * data["tasmax"]).drop_attrs()
    data["pr"] = (rain + nought).assign_attrs(units="mm")
    got = grid.air_bands(data, seasons="wet_dry")
    assert list(got.table["season"]) == ["wet", "dry"] and got.table.loc[0, "months"] == "Mar, Apr, May, Oct, Nov"
    stations = as_stations(data).rename(columns={"pr": "precipitation_mm"}).assign(longitude_deg=lambda t: t["lon"])
    pooled = climate.air_bands(stations, seasons="wet_dry").pooled
    # Cells so near the equator are of one size, as stations have one vote.
    np.testing.assert_allclose(got.pooled["typical_max_c"], pooled["typical_max_c"], rtol=1e-9)
    flux = data.assign(pr=(data["pr"] / 86_400).assign_attrs(units="kg m-2 s-1")).chunk({"time": 50})
    np.testing.assert_allclose(grid.air_bands(flux, seasons="wet_dry").table["low_c"], got.table["low_c"])
    by_hand = grid.air_bands(data, seasons={"wet": [3, 4, 5, 10, 11], "dry": [1, 2, 6, 7, 8, 9, 12]})
    np.testing.assert_allclose(by_hand.table["high_c"], got.table["high_c"])
    even = data.assign(
        pr=(1 + draw.uniform(0, 0.1, data.sizes["time"])[:, None, None] + nought).assign_attrs(units="mm")
    )
    assert any("hardly differ" in w for w in grid.air_bands(even, seasons="wet_dry").warnings)
    with pytest.raises(FieldkitError, match="need the daily rain"):
        grid.air_bands(data.drop_vars("pr"), seasons="wet_dry")
    with pytest.raises(FieldkitError, match="set array"):
        grid.air_bands(data.assign(pr=data["pr"].assign_attrs(units="inches")), seasons="wet_dry")
