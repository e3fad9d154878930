"""Figures of the heat balance draw the numbers they are given; agreement is the plain mean and root mean square."""

import numpy as np
import pandas as pd
import pytest

from fieldkit.core import FieldkitError
from fieldkit.physics import agreement, heat
from fieldkit.report.figures import drawn_numbers
from fieldkit.report.figures import heat as figures

TIMES = pd.date_range("2024-07-01", periods=6, freq="4h", tz="UTC")
MEASURED = pd.Series([10.0, 12.0, 20.0, 30.0, 25.0, 15.0], index=TIMES)


def test_bias_and_scatter_are_those_of_the_errors():
    error = np.array([1.0, -1.0, 2.0, -2.0, 3.0, np.nan])
    day = pd.Series([False, False, True, True, True, False], index=TIMES)
    result = agreement.agreement(MEASURED, {"model": MEASURED + error}, parts={"day": day})
    whole, part = result.table.loc[("model", "all")], result.table.loc[("model", "day")]
    assert whole["n"] == 5 and part["n"] == 3
    assert whole["bias_k"] == pytest.approx(0.6)
    assert whole["rmse_k"] == pytest.approx(np.sqrt(19 / 5))
    assert whole["worst_k"] == pytest.approx(3.0)
    assert part["bias_k"] == pytest.approx(1.0)
    assert "+0.6 K" in result.sentence


def test_worst_keeps_its_sign_and_best_model_is_named_first():
    result = agreement.agreement(MEASURED, {"cold": MEASURED - 4.0, "near": MEASURED + 0.5})
    assert result.table.loc[("cold", "all"), "worst_k"] == -4.0
    assert result.sentence.index("near") < result.sentence.index("cold")


def test_unlike_indexes_and_empty_parts_are_refused():
    with pytest.raises(FieldkitError, match="same index"):
        agreement.agreement(MEASURED, {"model": MEASURED.shift(freq="1h")})
    with pytest.raises(FieldkitError, match="Nothing to compare"):
        agreement.agreement(MEASURED, {"model": MEASURED}, parts={"never": pd.Series(False, index=TIMES)})


def test_measured_and_modelled_are_both_drawn():
    result = agreement.agreement(MEASURED, {"model": MEASURED + 2.0})
    drawn = drawn_numbers(figures.modelled_and_measured(result, what="stone"))
    series = {name: group["y"].to_numpy(dtype=float) for name, group in drawn.groupby("series")}
    assert series["measured"] == pytest.approx(MEASURED.to_numpy())
    assert series["model"] == pytest.approx(MEASURED.to_numpy() + 2.0)
    assert series["model minus measured"] == pytest.approx(np.full(6, 2.0))


def test_flux_bars_add_up_to_nothing():
    body = heat.Body(characteristic_dimension_m=0.02)
    cases = {
        "sun": heat.energy_balance(air_temperature_c=20.0, wind_speed_m_s=1.0, dni_w_m2=800.0, body=body),
        "shade": heat.energy_balance(air_temperature_c=20.0, wind_speed_m_s=1.0, body=body),
    }
    drawn = drawn_numbers(figures.fluxes(cases))
    drawn = drawn[drawn["series"].str.startswith(("sun", "shade"))]
    assert drawn["series"].nunique() == 2
    totals = drawn.groupby("series")["y"].sum()
    # Fluxes under 0.05 W/m² are not drawn.
    assert np.abs(totals.to_numpy(dtype=float)).max() < 0.05


def test_ground_and_following_name_what_they_found():
    surfaces = pd.DataFrame({"rock": MEASURED, "sand": MEASURED + 5}, index=TIMES)
    figure = figures.ground_day(surfaces)
    assert "sand, 35 °C" in figure.axes[0].get_title(loc="left")
    table = pd.DataFrame({"operative_temperature_c": MEASURED, "body_temperature_c": MEASURED - 1.5})
    assert "1.5 K behind" in figures.following(table).axes[0].get_title(loc="left")
    many = pd.DataFrame({str(i): MEASURED for i in range(9)})
    with pytest.raises(FieldkitError, match="told apart"):
        figures.ground_day(many)
