"""The description of the sunlight that animals were found in, and the pictures of sun and spectra."""

import numpy as np
import pandas as pd
import pytest

from fieldkit.core import FieldkitError
from fieldkit.field import sunlight
from fieldkit.physics import spectrum, sun
from fieldkit.report.figures import drawn_numbers
from fieldkit.report.figures import sun as figures

SITE = {"latitude_deg": 36.2, "longitude_deg": -80.3}


def _choices(sets=240, seed=0, animals=12):
    """Places with a known law: taken places are offered places plus 100 W/m²."""
    rng = np.random.default_rng(seed)
    rows = []
    for number in range(sets):
        time = pd.Timestamp("2025-05-01", tz="America/New_York") + pd.Timedelta(
            days=int(number % 60), hours=int(rng.integers(9, 18))
        )
        for place in range(5):
            light = rng.uniform(100, 500) + 100 * (place == 0)
            rows.append((f"S{number}", time, f"R{number % animals}", int(place == 0), light))
    return pd.DataFrame(rows, columns=["set_id", "time", "animal_id", "used", "irradiance_w_m2"])


def test_medians_are_those_of_pandas_and_limits_hold_them():
    table = _choices()
    found = sunlight.chosen(table, **SITE, n_resamples=199)
    taken = table[table["used"] == 1]["irradiance_w_m2"]
    row = found.table.loc["all"]
    assert row["median"] == taken.median() and row["n_places"] == 240 and row["n_animals"] == 12
    assert row["p10"] == pytest.approx(taken.quantile(0.1))
    assert row["offered_median"] == table["irradiance_w_m2"].median()
    assert row["low"] < 400 < row["high"]  # the truth of the simulation: median of 100..500 plus 100
    groups = found.table.drop(index="all")
    assert groups["n_places"].sum() == 240
    # Summer time and 80.3° W: clock 9 h to 17 h are sun hours 7.6 to 15.7.
    assert list(groups.index) == ["6–8 h", "8–10 h", "10–12 h", "12–14 h", "14–16 h"]
    assert f"{row['median']:.0f} W/m²" in found.sentence
    months = sunlight.chosen(table, **SITE, by="month", n_resamples=49).table
    assert list(months.index) == ["all", 5, 6]


@pytest.mark.slow
def test_limits_cover_the_truth():
    """40 seasons; a 95 % limit that holds in fewer than 34 of them would be wrong (binomial, p = 0.004)."""
    hits = 0
    for seed in range(40):
        row = sunlight.chosen(_choices(sets=60, seed=seed), **SITE, by="month", n_resamples=99).table.loc["all"]
        hits += row["low"] <= 400 <= row["high"]
    assert hits >= 34


def test_what_was_not_read_is_left_out_and_said():
    table = _choices(sets=40)
    table.loc[table.index[:10], "irradiance_w_m2"] = np.nan
    table.loc[table.index[50:55], "animal_id"] = None
    found = sunlight.chosen(table, **SITE, n_resamples=49)
    assert found.left_out == 3 and "3 places without a reading or an animal's name" in found.sentence
    one = sunlight.chosen(table[table["animal_id"] == "R3"], **SITE)
    assert np.isnan(one.table.loc["all", "low"]) and "limits" not in one.sentence
    with pytest.raises(FieldkitError, match="has no column 'uv_index'"):
        sunlight.chosen(table, **SITE, quantity="uv_index")
    with pytest.raises(FieldkitError, match="No place that an animal took"):
        sunlight.chosen(table.assign(used=0), **SITE)
    for wrong in ({"quantity": "lux"}, {"by": "week"}):
        with pytest.raises(FieldkitError, match="known: choose"):
            sunlight.chosen(table, **SITE, **wrong)


def test_figures_draw_the_numbers_of_their_results():
    found = sunlight.chosen(_choices(), **SITE, n_resamples=49)
    drawn = drawn_numbers(figures.chosen(found))
    groups = found.table.drop(index="all")
    offered = drawn[drawn["series"] == "on offer: median"]["y"].to_numpy(dtype=float)
    assert offered == pytest.approx(groups["offered_median"].to_numpy())
    times = pd.date_range("2025-06-01", periods=24 * 20 + 1, freq="h", tz="America/New_York")
    light = sun.irradiance(times, **SITE, linke_turbidity=3.0)
    hours = sun.potential_basking_hours(light["total_w_m2"], threshold_w_m2=300.0)
    days = sun.day_length(hours.table.index, **SITE, timezone="America/New_York")
    drawn = drawn_numbers(figures.basking_hours(hours, days["day_length_h"]))
    each = drawn[drawn["series"] == "each complete day"]["y"].to_numpy(dtype=float)
    assert each == pytest.approx(hours.table["hours"].to_numpy())
    figure = figures.day_of_sun({"flat back": light.iloc[:25]})
    assert drawn_numbers(figure)["y"].astype(float).max() == pytest.approx(light["total_w_m2"].iloc[:25].max())
    assert "flat back" in figure.axes[0].get_title(loc="left")
    with pytest.raises(FieldkitError, match="nothing to draw"):
        figures.day_of_sun({})
    match = spectrum.compare_with_sunlight(spectrum.reference_sunlight().loc[380:780])
    figure = figures.beside_sunlight(match)
    assert sum("not measured" in label.get_text() for label in figure.axes[0].get_xticklabels()) == 3
    drawn = drawn_numbers(figures.spectra({"sun": spectrum.reference_sunlight()}))
    sun_line = drawn[drawn["series"] == "sun"]
    power = np.trapezoid(sun_line["y"].astype(float), sun_line["x"].astype(float))
    assert power == pytest.approx(1000.0, rel=1e-6)


def test_uv_picture_counts_the_readings_below_a_clear_sky():
    height = np.arange(0, 91.0, 5)
    clear = pd.Series(spectrum.clear_sky_uv_index(90 - height), index=height)
    figure = figures.uv_through_day(clear, pd.Series([0.1, 3.0, 20.0, 1.0], index=[30.0, 60.0, 60.0, 50.0]))
    assert figure.axes[0].get_title(loc="left").startswith("75 % of the readings")
    assert len(figures.uv_through_day(clear).axes) == 1


def test_without_a_logger_the_clear_sky_stands_in_and_says_so():
    import dataclasses

    import fieldkit

    season = fieldkit.demo_season()
    measured = sunlight.on_the_level(season)
    assert measured.index.is_unique and measured.index.is_monotonic_increasing
    bare = dataclasses.replace(season, loggers=None)
    clear = sunlight.on_the_level(bare)
    assert clear.name == "clear sky (nobody measured)" and clear.notna().all()
    # Real skies stay below clear ones on the whole; both cover the same season.
    assert measured.mean() < clear.mean() and abs(len(clear) - len(measured)) < 60
