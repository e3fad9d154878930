"""Targets: every row has a source, survives the file, and follows from the field's results."""

import numpy as np
import pandas as pd
import pytest
from season_folder import make, swap

import fieldkit
from fieldkit.captive import targets
from fieldkit.core import FieldkitError
from fieldkit.field import basking, climate, thermoregulation


@pytest.fixture(scope="module")
def season():
    return fieldkit.demo_season()


@pytest.fixture(scope="module")
def found(season):
    return targets.from_season(season)


def test_every_row_has_a_source_and_known_words(found):
    table = found.table
    assert table["source"].str.len().min() > 5
    assert set(table["basis"]) <= set(targets.BASES)
    assert (table["low"].fillna(-np.inf) <= table["high"].fillna(np.inf)).all()
    assert found.invented and "(invented)" in found.sentence


@pytest.mark.parametrize("suffix", [".toml", ".json"])
def test_the_file_gives_the_same_targets(found, tmp_path, suffix):
    path = found.save(tmp_path / f"targets{suffix}")
    again = targets.load(path)
    pd.testing.assert_frame_equal(again.table, found.table, atol=1e-5, check_dtype=False)
    assert again.species == found.species and again.invented and again.notes == found.notes
    with pytest.raises(FieldkitError, match="left as it is"):
        found.save(path)


def test_ranges_are_what_the_stations_show_and_no_limit_contradicts_them(season, found):
    bands = climate.air_bands(season.weather, stations=season.stations)
    air = found.table[found.table["target"] == "shade_air_c"]
    july = air[air["month"] == 7].set_index("period")
    row = bands.schedule.iloc[6]
    # No margin is taken off what the wild population lives in.
    assert july.loc["day", "high"] == row["high_c"] and july.loc["night", "low"] == row["low_c"]
    assert july.loc["night", "high"] == july.loc["day", "low"]
    window = basking.of_season(season).table
    limit = air.loc[air["kind"] == "limit", "high"].item()
    # Only what was measured is "never above": the middle of the stations' highest days, by hand.
    assert limit == season.weather.groupby("station_id")["tmax_c"].max().median()
    assert limit >= max(air.loc[air["kind"] == "aim", "high"].max(), window.loc["upper limit", "estimate_c"])
    cautions = air[air["kind"] == "caution"]
    assert cautions["zone"].tolist() == ["cool end", "retreat"] and set(cautions["period"]) == {"all"}
    assert set(cautions["basis"]) == {"common practice"} and cautions["high"].min() >= window.loc["peak", "estimate_c"]
    assert cautions["source"].str.contains("no source").all()


def test_preferred_range_is_within_reach_and_left_again(season):
    wanted = thermoregulation.preferred_range(
        season.gradient["body_temperature_c"], animal_id=season.gradient["animal_id"], rng=0
    )
    rows = pd.DataFrame(targets.preferred(wanted)).set_index("zone")
    assert rows.loc["basking site", "low"] == wanted.high_c
    assert rows.loc["retreat", "high"] == wanted.low_c


def test_the_error_of_a_preferred_range_is_the_textbooks():
    # Other targets against the scatter of simulated seasons: tests/studies/study_targets.py.
    # The range is a mean over animals, so its standard error is theirs over the root of their number.
    rng = np.random.default_rng(4)
    body = rng.normal(33, 1.5, (6, 1)) + rng.normal(0, 2, (6, 12))
    found = thermoregulation.preferred_range(body.ravel(), animal_id=np.repeat(np.arange(6), 12))
    rows = pd.DataFrame(targets.preferred(found)).set_index("zone")
    expected = found.animals.std() / np.sqrt(6)
    # 999 resamples know a standard deviation to 2 %.
    assert rows.loc["basking site", "low_error"] == pytest.approx(expected["high_c"], rel=0.08)
    assert rows.loc["retreat", "high_error"] == pytest.approx(expected["low_c"], rel=0.08)
    assert set(rows["n_independent"]) == {6}


def test_errors_of_window_and_bands_are_those_of_their_results(season, found):
    window = basking.of_season(season)
    row = found.table[(found.table["target"] == "shade_air_c") & (found.table["zone"] == "basking site")].iloc[0]
    assert row["low_error"] == window.table.loc["lower limit", "standard_error_c"]
    assert row["n_independent"] == min(window.n_animals, window.n_days)
    # The middle of a band has the error of the stations' own middles.
    months = climate.air_bands(season.weather, stations=season.stations).months
    middles = (months["typical_min_c"] + months["typical_max_c"])[months["month"] == "Jan"] / 2
    night = found.table[(found.table["month"] == 1) & (found.table["period"] == "night")].iloc[0]
    assert night["high_error"] == pytest.approx(middles.std() / np.sqrt(len(middles)), rel=0.02)
    assert night["n_independent"] == len(middles)


def test_day_length_at_the_equator_and_in_the_north():
    # Twelve hours and some seven minutes all year at the equator (upper limb, refraction): almanac convention.
    rows = targets.photoperiod(_site(0.0), year=2025)
    assert all(abs((r["low"] + r["high"]) / 2 - 12.1) < 0.05 for r in rows)
    # Stockholm, 59.33° N: guides to Sweden say up to 18 h 40 min in June and almost 18 h of night in December.
    rows = targets.photoperiod(_site(59.33), year=2025)
    assert abs((rows[5]["low"] + rows[5]["high"]) / 2 - 18.6) < 0.1
    assert abs((rows[11]["low"] + rows[11]["high"]) / 2 - 6.1) < 0.1


def test_midnight_sun_and_polar_night_set_no_day_length(tmp_path):
    # 70° N (Alta): midnight sun 16 May to 26 July, polar night 24 November to 18 January (printed travel tables).
    rows = targets.photoperiod(_site(70.0), year=2025)
    assert [r["month"] for r in rows] == [2, 3, 4, 5, 8, 9, 10, 11]
    assert all(0 < r["low"] < r["high"] < 24 for r in rows)
    swap(make(tmp_path / "polar"), "season.toml", "latitude_deg = 36.1\n", "latitude_deg = 70.0\n")
    found = targets.from_season(fieldkit.read_season(tmp_path / "polar"))
    assert any(note.startswith("No day length for Jan, Jun, Jul, Dec: ") for note in found.notes), found.notes


def _site(latitude):
    from fieldkit.records.season.reader import Site

    return Site(name="x", latitude_deg=latitude, longitude_deg=18.0, elevation_m=0.0, timezone="Etc/GMT-1")


def test_published_uv_exposure_in_plain_words():
    # Ferguson et al. (2010), abstract: medians 0.35 in the first and 3.1 in the last group.
    groups = list(targets.UV_EXPOSURE.values())
    assert groups[0]["average"][0] < 0.35 < groups[0]["average"][1] and groups[3]["average"][0] < 3.1
    assert not any(ch.isdigit() for name in targets.UV_EXPOSURE for ch in name)
    aim, limit = targets.uv_exposure("occasional sun")
    # The basking place is held against the highest readings, never against the average of a day.
    assert (aim["low"], aim["high"], aim["zone"]) == (1.1, 3.0, "basking site") and limit["high"] == 3.0
    assert limit["kind"] == "limit" and aim["basis"] == limit["basis"] == "literature"
    assert targets.uv_exposure("midday sun")[1]["high"] == targets.UV_CEILING
    with pytest.raises(FieldkitError, match="There is no UV exposure 'zone 5'"):
        targets.uv_exposure("zone 5")


def test_a_species_of_unknown_exposure_is_held_against_the_limit_only():
    plain = targets.from_text(targets.template(), kind="toml")
    uv = plain.table[plain.table["target"] == "uv_index"]
    assert uv["kind"].tolist() == ["limit"] and targets.NO_UV in plain.notes
    known = targets.from_text(
        targets.template().replace('uv_exposure = "unknown"', 'uv_exposure = "shade or dusk"'), kind="toml"
    )
    assert known.table.loc[known.table["target"] == "uv_index", "high"].min() == 1.4


def test_shares_of_the_floor_add_up(season):
    from fieldkit.field import sunlight

    rows = targets.exposure(season.choices, sunlight.on_the_level(season))
    middle = sum((r["low"] + r["high"]) / 2 for r in rows)
    assert middle == pytest.approx(1, abs=1e-9)


def test_what_a_season_lacks_is_named():
    import dataclasses

    season = fieldkit.demo_season()
    bare = dataclasses.replace(season, weather=None, scans=None, gradient=None, loggers=None)
    found = targets.from_season(bare, uv="occasional sun")
    words = " ".join(found.notes)
    assert "No air-temperature ranges: the folder has no weather." in words and "preferred range" in words
    assert "shade_air_c" not in set(found.table["target"])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no targets"),
        ("[[target]]\nlow = 1", "write target ="),
        ('[[target]]\ntarget = "warmth"\nlow = 1', "use one of shade_air_c"),
        ('[[target]]\ntarget = "surface_c"\nlow = 40\nhigh = 30', "lies above high"),
        ('[[target]]\ntarget = "surface_c"\nlow = "hot"', "not a number"),
        ('[[target]]\ntarget = "surface_c"\nlow = 30\nceiling = true', "a limit needs high"),
        ('[[target]]\ntarget = "surface_c"\nheight = 30', "'height' is not known"),
        ('[[target]]\ntarget = "surface_c"', "low, high or both"),
        ('[[target]]\ntarget = "surface_c"\nlow = 30\nlow_error = 1\nn_independent = 1', "an error takes two"),
        ("[[target]\n", "cannot be read as TOML"),
    ],
)
def test_a_mistake_in_the_file_gets_a_sentence(text, words):
    with pytest.raises(FieldkitError, match=words):
        targets.from_text(text, kind="toml")
