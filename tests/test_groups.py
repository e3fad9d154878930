"""Species, sites and years in one table: kept apart, and no driver named for all where they differ."""

import dataclasses

import pandas as pd
import pytest

import fieldkit
from fieldkit.field import choice
from fieldkit.field.choice.robust import groups
from fieldkit.field.planning import simulate
from fieldkit.records.season import settings
from fieldkit.report.privacy import public
from fieldkit.report.writeup.pages import readings


def two_species(seed, *drivers, sets=70):
    """Choice sets of two species in one table, with the driver of each."""
    parts = []
    for k, driver in enumerate(drivers):
        part = simulate.choice_season(n_sets=sets, driver=driver, effect=2.0, n_animals=14, rng=1000 * seed + k)
        names = {c: f"{k}-" + part.choices[c].astype(str) for c in ("set_id", "animal_id")}
        parts.append(part.choices.assign(species=["ridge lizard", "stone skink"][k], **names))
    return pd.concat(parts, ignore_index=True)


def asked(table):
    return choice.compare(table, instrument_errors=simulate.INSTRUMENT_ERRORS, permutations=99)


def test_two_species_with_a_driver_each_get_no_common_driver():
    table = two_species(7, "radiation", "surface")
    found = asked(table)
    assert found.verdict == "undecided" and found.reason == "groups"
    assert found.groups.table["verdict"].to_dict() == {"ridge lizard": "radiation", "stone skink": "surface"}
    assert found.groups.verdict == "differ" and found.groups.differ_p < 0.05
    # Each by itself is what the comparison of its own rows gives.
    alone = asked(table[table["species"] == "stone skink"].reset_index(drop=True))
    assert alone.verdict == "surface" and alone.groups is None


def test_two_species_alike_lose_nothing():
    found = asked(two_species(3, "radiation", "radiation"))
    assert found.verdict == "radiation" and found.groups.verdict != "differ"
    assert found.groups.coefficients["log_odds_per_sd"].shape[0] == 2


def test_one_species_in_the_column_changes_nothing():
    table = simulate.choice_season(n_sets=40, effect=2.0, rng=5).choices
    one = asked(table.assign(species="ridge lizard", site=None))
    plain = asked(table)
    assert one.groups is None and one.sentence == plain.sentence


def test_labels_join_what_differs_and_keep_what_is_empty():
    table = pd.DataFrame({"species": ["a", "b", None], "site": "x", "year": ["2024", "2025", "2025"]})
    assert groups.labels(table).tolist() == ["a, 2024", "b, 2025", "not stated, 2025"]
    assert groups.labels(table[["site"]]) is None


def test_a_group_without_unused_places_is_untestable_and_said():
    table = two_species(2, "radiation", "radiation", sets=30)
    table = table[(table["species"] == "ridge lizard") | (table["used"] == 1)]
    found = asked(table)
    assert found.groups.table.loc["stone skink", "verdict"] == "untestable"


@pytest.mark.parametrize("seed", [1, 2])
def test_groups_of_one_kind_seldom_differ_by_the_test(seed):
    # Drawn from one population: the p-value is that of a valid test, uniform; a tiny one would be a fault.
    assert asked(two_species(seed, "radiation", "radiation")).groups.differ_p > 0.005


def test_one_site_and_one_season_is_said_only_when_it_is_so():
    season = fieldkit.demo_season()
    assert "One site and one season were watched" in readings.limitations(season)[0]
    half = season.choices.assign(site=["north", "south"] * (len(season.choices) // 2), year="2025")
    half.loc[0, "year"] = "2024"
    assert "2 sites in 2 seasons were watched" in readings.limitations(dataclasses.replace(season, choices=half))[0]


def test_columns_of_groups_are_read_and_cross_without_the_name_of_the_site(tmp_path):
    (tmp_path / "season.toml").write_text(settings.EXAMPLE, encoding="utf-8")
    table = two_species(7, "radiation", "surface", sets=12)
    table["time"] = pd.date_range("2023-05-14 10:00", periods=len(table), freq="min").strftime("%Y-%m-%d %H:%M")
    table = table[["set_id", "time", "animal_id", "place_id", "used", *simulate_columns, "species"]]
    table.assign(site=["Hidden Hollow", "rim"][0], year=2023).to_csv(tmp_path / "choices.csv", index=False)
    season = fieldkit.read_season(tmp_path)
    assert {"species", "site", "year"} <= set(season.choices)
    assert not season.warnings["problem"].str.contains("not used").any()
    with public.opened(season) as (folder, told):
        assert set(told.choices["species"]) == {"ridge lizard", "stone skink"}
        assert set(told.choices["site"]) == {"site-1"} and set(told.choices["year"]) == {"2023"}
        assert "Hollow" not in (folder / "choices.csv").read_text(encoding="utf-8")


simulate_columns = ["shade_air_c", "surface_c", "irradiance_w_m2"]


def test_two_files_that_both_number_from_one_are_told_apart_and_said_once(tmp_path):
    (tmp_path / "season.toml").write_text(settings.EXAMPLE, encoding="utf-8")
    (tmp_path / "choices").mkdir()
    for k, (site, driver) in enumerate([("north", "radiation"), ("south", "surface")]):
        part = simulate.choice_season(n_sets=12, driver=driver, n_animals=6, rng=k).choices
        start = f"2023-0{5 + k}-14 10:00"
        part["time"] = pd.date_range(start, periods=len(part), freq="min").strftime("%Y-%m-%d %H:%M")
        part = part[["set_id", "time", "animal_id", "place_id", "used", *simulate_columns]].assign(site=site)
        part.to_csv(tmp_path / "choices" / f"{site}.csv", index=False)
    season = fieldkit.read_season(tmp_path)
    assert season.choices["set_id"].nunique() == 24
    assert season.choices.groupby("animal_id")["site"].nunique().max() == 1
    said = season.warnings[season.warnings["problem"].str.contains("told apart by file")]
    assert len(said) == 1 and "north.csv" in said["problem"].iloc[0]
