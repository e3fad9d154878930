"""The demo season: made again byte for byte, realistic, and what it hides can be seen in the tables."""

import filecmp
import json

import numpy as np
import pandas as pd
import pytest

import fieldkit
from fieldkit.core import FieldkitError, resource_dir
from fieldkit.demo import quarry
from fieldkit.demo import season as demo

FOLDER = resource_dir("data") / "demo_season"


@pytest.fixture(scope="module")
def season():
    return fieldkit.demo_season()


@pytest.mark.slow
def test_making_it_again_gives_the_same_bytes(tmp_path):
    again = demo.write(tmp_path / "again")
    names = sorted(p.name for p in FOLDER.iterdir())
    assert sorted(p.name for p in again.iterdir()) == names
    assert filecmp.cmpfiles(FOLDER, again, names, shallow=False) == (names, [], [])


def test_nothing_is_overwritten(tmp_path):
    with pytest.raises(FieldkitError, match="nothing was written"):
        demo.write(tmp_path)


def test_it_says_that_it_is_invented(season):
    assert season.invented
    assert "INVENTED" in (FOLDER / "season.toml").read_text(encoding="utf-8")


def test_it_is_as_untidy_as_a_real_season(season):
    choices = season.choices
    assert choices.groupby("set_id")["used"].sum().eq(1).all()
    assert set(choices["observer"]) == {"A", "B", "C"}
    assert choices["animal_id"].nunique() > 10 and choices["animal_id"].isna().any()
    for column in ("surface_c", "irradiance_w_m2", "uv_index"):
        assert choices[column].isna().any()
    assert set(season.warnings["file"]) >= {"loggers.csv", "weather.csv"}


def test_the_fallen_logger_reads_the_sun(season):
    truth = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))["logger_in_the_sun"]
    wide = season.loggers.pivot_table(index="time", columns="logger_id", values="value")
    excess = (wide["shade-2"] - wide["shade-1"])[wide["sun-1"] > 600]
    start, end = (pd.Timestamp(truth[key], tz="Etc/GMT+5") for key in ("from", "to"))
    inside = (excess.index >= start) & (excess.index < end)
    assert excess[inside].mean() > 4
    assert abs(excess[~inside].mean()) < 1


def test_animals_follow_the_written_rule():
    # The rule is a conditional logit in the true irradiance; in the read one its slope comes out a little weaker.
    from fieldkit.field import choice

    table = fieldkit.demo_season().choices.dropna(subset=["irradiance_w_m2"])
    table = table[table.groupby("set_id")["used"].transform("sum").eq(1)]
    mild = table[table.groupby("set_id")["shade_air_c"].transform("mean").between(17, 23)]
    fit = choice.fit(mild[["irradiance_w_m2"]] / 100, mild["used"], mild["set_id"])
    slope, error = float(np.ravel(fit.coefficients)[0]), float(np.ravel(fit.standard_errors)[0])
    assert abs(slope - quarry.TRUTH["preference_per_100_w_m2_at_20_c"]) < 3 * error
