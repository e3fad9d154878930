"""Lamps beside the sun, room for the animal, height, number: against closed forms and scipy's own integrals."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import constants, integrate

from fieldkit.captive import lamps, targets
from fieldkit.captive.lamps import (
    arranging as lamp_plan,
)
from fieldkit.captive.lamps import (
    height as lamp_height,
)
from fieldkit.captive.lamps import (
    lit_area as lamp_coverage,
)
from fieldkit.captive.lamps import (
    matching as lamp_match,
)
from fieldkit.captive.lamps import people as lamp_people
from fieldkit.captive.lamps import (
    spectra as lamp_spectra,
)
from fieldkit.captive.lamps import summary as lamp_overview
from fieldkit.core import FieldkitError
from fieldkit.field.sunlight import ChosenSunlight
from fieldkit.physics import heat
from fieldkit.physics import spectrum as spectra
from fieldkit.report.figures import describe
from fieldkit.report.figures import lamps as figures

sys.path.insert(0, str(Path(__file__).parent))
import study_lamps

BEAM = lamps.Beam(intensity=60.0, near_m=0.05, half_angle_deg=25.0)
GLAZED = lamp_spectra.filament(2700.0, passes_above_nm=250.0)
LAMP = lamps.Lamp(id="heat", beam=BEAM, spectrum=GLAZED, x_m=0.3, y_m=0.2, height_m=0.45)
PLACE = (0.3, 0.2, 0.05)


@pytest.fixture(scope="module")
def fitted():
    return lamps.fit_beam(study_lamps.read(BEAM, np.random.default_rng(21)), meter_error=0.05)


# ---------------------------------------------------------------------------------------------------------------------
# Beside the sun


def test_wanted_range_takes_what_the_field_found():
    table = pd.DataFrame({"p10": [107.0], "median": [394.0], "p90": [744.0]}, index=["all"])
    found = ChosenSunlight(table=table, quantity="irradiance_w_m2", by="month", level=0.95, left_out=0, seed=0)
    assert lamp_match.wanted_range(found) == (107.0, 394.0, 744.0)
    for wrong in ((700, 300), (1, 2, 3, 4), (0, 0)):
        with pytest.raises(FieldkitError, match="is not a range"):
            lamp_match.wanted_range(wrong)


def test_bands_and_mismatch_against_scipy_quadrature_of_planck():
    """Band power of a 2700 K black body at one place by adaptive quadrature, nothing of ours in it."""
    found = lamp_match.match(LAMP, PLACE, wanted_w_m2=(300, 500, 700))

    def planck(nm):
        metres = nm * 1e-9
        return metres**-5 / np.expm1(constants.h * constants.c / (metres * constants.k * 2700.0))

    meter = integrate.quad(planck, 300, 2800, limit=200)[0]
    for name, (low, high) in spectra.BANDS.items():
        expected = found.irradiance[0] * integrate.quad(planck, low, high, limit=200)[0] / meter
        assert found.table.loc[name, "lamp_w_m2"] == pytest.approx(expected, rel=2e-4), name
    sun = spectra.reference_sunlight()
    nm = np.union1d(sun.index, LAMP.spectrum.index)
    nm = nm[(nm >= 280) & (nm <= 4000)]
    one, two = (np.interp(nm, s.index, s) for s in (LAMP.spectrum, sun))
    one, two = one / integrate.trapezoid(one, nm), two / integrate.trapezoid(two, nm)
    assert found.spectral.misplaced_pct == pytest.approx(50 * integrate.trapezoid(np.abs(one - two), nm), rel=2e-3)
    assert found.shares.tolist() == [100.0] and found.upper_limits == []


def test_sunlight_itself_matches_itself():
    sun = replace(LAMP, spectrum=spectra.reference_sunlight(), beam=replace(BEAM, near_m=0.0).scaled(1.0))
    here = float(sun.irradiance_at(PLACE)[0])
    found = lamp_match.match(sun, PLACE, wanted_w_m2=(0.8 * here, here, 1.2 * here))
    assert found.table["ratio"].to_numpy() == pytest.approx(np.ones(5), rel=1e-9)
    assert found.spectral.misplaced_pct == pytest.approx(0, abs=1e-9)
    assert set(found.table["verdict"]) == {"within"} and found.missing == [] and found.irradiance_verdict == "within"


def test_two_lamps_add_band_by_band():
    white = lamp_spectra.through_filter(spectra.blackbody(5800.0), passes_above_nm=250.0)
    cold = replace(LAMP, id="cold", spectrum=white, x_m=0.4)
    both = lamp_match.match([LAMP, cold], PLACE, wanted_w_m2=(300, 700)).table["lamp_w_m2"]
    alone = [lamp_match.match(one, PLACE, wanted_w_m2=(300, 700)).table["lamp_w_m2"] for one in (LAMP, cold)]
    assert both.to_numpy() == pytest.approx((alone[0] + alone[1]).to_numpy(), rel=1e-12)


def test_a_visible_spectrum_says_nothing_of_heat_and_uv():
    lamp = replace(LAMP, spectrum=lamp_spectra.illuminant("LED-B3"))
    found = lamp_match.match(lamp, PLACE, wanted_w_m2=(300, 700), uv_wanted=(1, 3))
    assert found.not_measured == ["UV-B", "IR-A", "IR-B"] and found.missing == []
    assert found.table.loc["UV-A", "verdict"] == "partly measured" and "in part only: UV-A" in found.sentence
    assert found.table.loc["IR-A", ["lamp_w_m2", "ratio"]].isna().all()
    assert found.upper_limits == ["heat"] and found.spectral is None
    assert found.uv_verdict == "not known" and found.people.unknown == ("heat",)
    assert found.people.table["time_s"].isna().all()


def test_an_upper_limit_never_earns_within_or_over():
    # 490 W/m² of a halogen whose spectrum stops at 780 nm, against 107 to 744 W/m² of sun: the whole filament shows
    # that the visible is short (quadrature of Planck's law in the test of the bands above).
    wanted = {"wanted_w_m2": (107, 394, 744)}
    for intensity in (20.0, 60.0, 200.0):
        lamp = replace(LAMP, beam=lamps.Beam(intensity=intensity, near_m=0.05, half_angle_deg=25.0))
        cut = replace(lamp, spectrum=GLAZED[GLAZED.index <= 800.0])
        table = lamp_match.match(cut, PLACE, **wanted).table
        assert not set(table["verdict"]) & {"within", "over"} and table["lamp_w_m2"].isna().all()
        whole = lamp_match.match(lamp, PLACE, **wanted).table
        assert whole.loc["visible", "lamp_w_m2"] < 0.3 * table.loc["visible", "lamp_high"]
    # A second lamp that is known in full and too strong alone makes the band "over" all the same.
    strong = replace(LAMP, id="strong", beam=lamps.Beam(intensity=4000.0), spectrum=spectra.reference_sunlight())
    both = lamp_match.match([strong, replace(LAMP, spectrum=GLAZED[GLAZED.index <= 800.0])], PLACE, **wanted).table
    assert both.loc["visible", "verdict"] == "over" and np.isnan(both.loc["visible", "lamp_w_m2"])


def test_a_filament_without_stated_glass_has_unknown_uv():
    for bare in (
        spectra.blackbody(2700.0),
        lamp_spectra.filament(3000.0),
        lamp_spectra.spectrum_of("blackbody 2800 K"),
    ):
        found = lamp_match.match(replace(LAMP, spectrum=bare), PLACE, wanted_w_m2=(300, 700), uv_wanted=(0.0, 7.0))
        assert found.uv_verdict == "not known" and np.isnan(found.uv_index[0])
        with pytest.raises(FieldkitError, match="UV is asked for"):
            lamp_height.find_height(
                replace(LAMP, spectrum=bare), PLACE, wanted_w_m2=(200, 400), uv_wanted=(0, 7), air_temperature_c=25.0
            )


def test_people_count_all_lamps_that_burn():
    # A UV index of 4 by a meter, nothing known of the colours: 30 J/m² at 4/40 W/m² and at most weight 1: 300 s.
    uv = lamps.Lamp(id="UV", beam=lamps.Beam(intensity=1.0), uv_beam=lamps.Beam(intensity=0.64), x_m=0.3, y_m=0.2,
                    height_m=0.45)  # fmt: skip
    alone = lamp_match.match(LAMP, PLACE, wanted_w_m2=(300, 700)).people.table["time_s"]
    both = lamp_match.match(LAMP, PLACE, wanted_w_m2=(300, 700), others=[uv]).people
    alone_uv = lamp_people.people_limits(uv, PLACE).table
    assert alone_uv["time_s"].iloc[0] == pytest.approx(300, rel=1e-9) and alone_uv["counted"].iloc[0] == "worst case"
    assert both.table["time_s"].iloc[0] == pytest.approx(1 / (1 / 300 + 1 / alone.iloc[0]), rel=1e-9)
    # What weighs the hazard is never more than what weighs the reddening, so the worst case is one.
    nm = np.arange(250.0, 401.0)
    assert (spectra.uv_hazard_weight(nm) <= lamp_people.MOST_HARMFUL * spectra.erythemal_weight(nm) + 1e-12).all()
    blind = lamp_people.people_limits([LAMP, replace(LAMP, id="bare", spectrum=spectra.blackbody(2700.0))], PLACE)
    assert blind.unknown == ("bare",) and "bare" in blind.sentence


def test_failures_come_first_in_the_headline():
    spot = lamp_coverage.coverage(
        replace(LAMP, beam=lamps.Beam(intensity=60.0, half_angle_deg=12.0)), (0, 0.6, 0, 0.4), 0.05,
        wanted_w_m2=(200, 900), body_length_m=0.25, n_draws=2,
    )  # fmt: skip
    bare = replace(LAMP, spectrum=lamp_spectra.filament(2700.0, passes_above_nm=380.0))
    found = lamp_match.match(bare, PLACE, wanted_w_m2=(300, 700), uv_wanted=(1, 3))
    low, high = (
        lamp_height.find_height(LAMP, PLACE, wanted_w_m2=w, air_temperature_c=24.0) for w in ((200, 400), (700, 900))
    )
    all_of_it = lamp_overview.overview(match=found, coverage=spot, heights=[("the low end", low), ("the median", high)])
    assert list(all_of_it.table["answer"]).index("yes") > max(
        i for i, a in enumerate(all_of_it.table["answer"]) if a == "no"
    )
    for words in ("of the animal is lit", "no UV-B", "for the median, no height does"):
        assert words in all_of_it.headline
    assert describe(figures.height(low, overview=all_of_it), "Height").index("Not right yet") < 20
    assert low.not_asked == ("UV index",)


def test_glass_takes_the_uv_and_the_match_names_it():
    behind = lamp_spectra.filament(2700.0, passes_above_nm=380.0)
    found = lamp_match.match(replace(LAMP, spectrum=behind), PLACE, wanted_w_m2=(300, 700), uv_wanted=(1, 3))
    assert found.missing == ["UV-B", "UV-A"] and found.uv_verdict == "short"
    assert "Missing: UV-B, UV-A." in found.sentence


def test_uv_meter_that_disagrees_with_the_spectrum_is_named_and_counts_for_people():
    spectrum_only = lamp_match.match(LAMP, PLACE, wanted_w_m2=(300, 700))
    with_meter = replace(LAMP, uv_beam=BEAM.scaled(10 * spectrum_only.uv_index[0] / spectrum_only.irradiance[0]))
    found = lamp_match.match(with_meter, PLACE, wanted_w_m2=(300, 700))
    assert found.uv_disagreement == pytest.approx(10) and "believe the meter" in found.sentence
    times = [m.people.table["time_s"].to_numpy() for m in (found, spectrum_only)]
    assert times[0] == pytest.approx(times[1] / 10, rel=1e-6)


def test_limits_decide_between_within_and_unsure(fitted):
    lamp = replace(LAMP, beam=fitted.beam)
    value, low, high = lamp_match.match(lamp, PLACE, wanted_w_m2=(1, 5000)).irradiance
    assert low < value < high
    assert lamp_match.match(lamp, PLACE, wanted_w_m2=(value * 0.99, 900)).irradiance_verdict == "unsure"
    assert lamp_match.match(lamp, PLACE, wanted_w_m2=(high * 1.01, 900)).irradiance_verdict == "short"
    assert lamp_match.match(lamp, PLACE, wanted_w_m2=(10, low * 0.99)).irradiance_verdict == "over"


def test_match_refuses_what_it_cannot_know():
    with pytest.raises(FieldkitError, match="has no spectrum"):
        lamp_match.match(replace(LAMP, spectrum=None), PLACE, wanted_w_m2=(300, 700))
    with pytest.raises(FieldkitError, match="None of the lamps lights"):
        lamp_match.match(LAMP, (0.3, 0.2, 0.9), wanted_w_m2=(300, 700))


# ---------------------------------------------------------------------------------------------------------------------
# Room for the animal


def _ring(beam, height, level):
    """Radius at which the level irradiance straight under a lamp falls to a level, by closed form without offset."""
    power = -np.log(2) / np.log(np.cos(np.radians(beam.half_angle_deg)))
    cosine = (level * height**2 / beam.intensity) ** (1 / (power + 3))
    return height * np.tan(np.arccos(cosine))


def test_spot_is_the_circle_of_the_closed_form():
    beam = lamps.Beam(intensity=60.0, half_angle_deg=20.0)
    lamp = replace(LAMP, beam=beam, height_m=0.45)
    radius = _ring(beam, 0.4, 200.0)
    found = lamp_coverage.coverage(
        lamp, (0, 0.6, 0, 0.4), 0.05, wanted_w_m2=(200, 900), body_length_m=0.12, n_draws=2, step_m=0.002
    )
    row = found.table.loc["irradiance"]
    assert row["lit_m2"] == pytest.approx(np.pi * radius**2, rel=0.01)
    assert row["width_m"] == pytest.approx(2 * radius, abs=0.004)
    # A line of length L in a circle: along a radius its middle can be r - L/2 out, across it sqrt(r² - L²/4).
    assert row["every_way_m2"] == pytest.approx(np.pi * (radius - 0.06) ** 2, rel=0.06)
    assert row["one_way_m2"] == pytest.approx(np.pi * (radius**2 - 0.06**2), rel=0.05)
    assert row["body_lit_pct"] == 100 and not found.smaller_than_animal


def test_spot_smaller_than_the_animal_is_called_out():
    beam = lamps.Beam(intensity=60.0, half_angle_deg=12.0)
    lamp = replace(LAMP, beam=beam)
    found = lamp_coverage.coverage(lamp, (0, 0.6, 0, 0.4), 0.05, wanted_w_m2=(200, 900), body_length_m=0.25, n_draws=2)
    assert found.smaller_than_animal and "smaller than the animal" in found.sentence
    assert found.table.loc["irradiance", "body_lit_pct"] == pytest.approx(
        100 * 2 * _ring(beam, 0.4, 200.0) / 0.25, abs=4
    )


def test_uv_and_irradiance_must_both_be_right():
    lamp = replace(LAMP, uv_beam=lamps.Beam(intensity=0.4, half_angle_deg=15.0))
    options = {"wanted_w_m2": (150, 900), "body_length_m": 0.1, "n_draws": 5}
    found = lamp_coverage.coverage(lamp, (0, 0.6, 0, 0.4), 0.05, uv_wanted=(1, 4), **options)
    lit = found.table["lit_m2"]
    assert lit["both"] <= min(lit["irradiance"], lit["UV index"]) and lit["both"] > 0
    with pytest.raises(FieldkitError, match="UV of a lamp is not known"):
        lamp_coverage.coverage(replace(LAMP, spectrum=None), (0, 0.6, 0, 0.4), 0.05, uv_wanted=(1, 4), **options)


def test_area_limits_come_from_the_beam_and_repeat(fitted):
    lamp = replace(LAMP, beam=fitted.beam)
    options = {"wanted_w_m2": (200, 900), "body_length_m": 0.12, "n_draws": 60, "step_m": 0.006}
    one, two = (lamp_coverage.coverage(lamp, (0, 0.6, 0, 0.4), 0.05, rng=5, **options).table for _ in range(2))
    assert one.equals(two)
    row = one.loc["irradiance"]
    assert row["lit_low"] < row["lit_m2"] < row["lit_high"]
    # The same limits straight from the strength of the beam at the edge, to first order.
    low, high = fitted.beam.interval(0.4, 20)
    assert 0.2 < (row["lit_high"] - row["lit_low"]) / row["lit_m2"] / np.log(high / low) < 5


@pytest.mark.parametrize(("change", "words"), [({"body_length_m": 16}, "in metres"), ({"step_m": 1e-4}, "too fine")])
def test_coverage_refuses(change, words):
    options = {"wanted_w_m2": (200, 900), "body_length_m": 0.12} | change
    with pytest.raises(FieldkitError, match=words):
        lamp_coverage.coverage(LAMP, (0, 0.6, 0, 0.4), 0.05, **options)


# ---------------------------------------------------------------------------------------------------------------------
# Height


def test_surface_is_the_one_heat_balance_of_a_plate():
    plate = heat.Body(
        characteristic_dimension_m=0.15,
        shape="upper face",
        shortwave_absorptivity=0.70,
        emissivity=0.93,
        sky_view_factor=1.0,
        ground_view_factor=0.0,
    )
    hot = lamp_height.surface_under(500.0, air_temperature_c=28.0)
    parts = heat.fluxes(
        temperature_c=hot, air_temperature_c=28.0, wind_speed_m_s=0.05, absorbed_shortwave_w_m2=350.0, body=plate
    )
    assert parts["net_w_m2"] == pytest.approx(0, abs=1e-6)
    assert lamp_height.surface_under(0.0, air_temperature_c=28.0) == pytest.approx(28.0, abs=1e-6)
    with pytest.raises(FieldkitError, match="No substrate"):
        lamp_height.surface_under(500.0, air_temperature_c=28.0, substrate="cheese")


def test_height_is_the_closed_form_of_the_beam():
    answer = lamp_height.find_height(
        LAMP, PLACE, wanted_w_m2=(200, 450), air_temperature_c=25.0, surface_range_c=None, most_w_m2=5000
    )
    assert answer.verdict == "found"
    assert answer.nearest_m == pytest.approx(np.sqrt(60 / 450) - 0.05, rel=1e-4)
    assert answer.farthest_m == pytest.approx(np.sqrt(60 / 200) - 0.05, rel=1e-4)
    assert (answer.binds_near, answer.binds_far) == ("irradiance", "irradiance")
    middle = (answer.nearest_m + answer.farthest_m) / 2
    assert answer.lamp.height_m == pytest.approx(PLACE[2] + 0.02 + middle) and answer.lamp.x_m == PLACE[0]
    assert answer.conditions["irradiance_w_m2"].to_numpy() == pytest.approx(
        [450, 60 / (middle + 0.05) ** 2, 200], rel=1e-3
    )


def test_reach_keeps_the_nearest_point_below_strong_sun():
    answer = lamp_height.find_height(
        LAMP, PLACE, wanted_w_m2=(200, 990), air_temperature_c=20.0, surface_range_c=None, reach_m=0.1
    )
    assert answer.binds_near == "reach"
    assert answer.nearest_m == pytest.approx(np.sqrt(60 / 1000) - 0.05 + 0.1, rel=1e-4)


def test_when_no_height_does_the_binding_demands_are_named():
    uv = replace(LAMP, uv_beam=BEAM.scaled(0.5 / 60))
    answer = lamp_height.find_height(
        uv, PLACE, wanted_w_m2=(200, 400), uv_wanted=(5, 8), air_temperature_c=25.0, surface_range_c=(None, 60)
    )
    assert answer.verdict == "none" and (answer.binds_near, answer.binds_far) == ("irradiance", "UV index")
    assert "No height does" in answer.sentence and "UV from a lamp of its own" in answer.sentence
    assert answer.conditions.empty and answer.lamp is uv
    never = lamp_height.find_height(uv, PLACE, wanted_w_m2=(200, 400), uv_wanted=(500, 900), air_temperature_c=25.0)
    assert "at no distance" in never.sentence


def test_surface_binds_in_warm_air_and_not_in_cool():
    warm, cool = (
        lamp_height.find_height(LAMP, PLACE, wanted_w_m2=(450, 650), air_temperature_c=air) for air in (32.0, 12.0)
    )
    assert warm.verdict == "none" and (warm.binds_near, warm.binds_far) == ("surface", "irradiance")
    assert cool.verdict == "found"
    at = cool.conditions.loc["nearest"]
    assert at["surface_c"] <= targets.CONTACT_CEILING_C + 0.05


def test_uncertainty_narrows_and_can_forbid(fitted):
    lamp = replace(LAMP, beam=fitted.beam)
    options = {"air_temperature_c": 20.0, "surface_range_c": None, "most_w_m2": 5000}
    sure = lamp_height.find_height(lamp, PLACE, wanted_w_m2=(200, 450), **options)
    row = sure.table.loc["irradiance"]
    assert row["nearest_guess_m"] < row["nearest_m"] < row["farthest_m"] < row["farthest_guess_m"]
    low, high = fitted.beam.interval(np.array([sure.nearest_m, sure.farthest_m]))
    assert high[0] == pytest.approx(450, rel=1e-3) and low[1] == pytest.approx(200, rel=1e-3)
    narrow = lamp_height.find_height(lamp, PLACE, wanted_w_m2=(300, 305), **options)
    assert narrow.verdict == "unsure" and "too unsure to promise" in narrow.sentence


def test_other_lamps_count():
    other = lamps.Lamp(id="other", beam=BEAM, x_m=PLACE[0], y_m=PLACE[1], height_m=0.6)
    options = {"wanted_w_m2": (300, 500), "air_temperature_c": 15.0, "surface_range_c": None}
    alone, both = (lamp_height.find_height(LAMP, PLACE, others=o, **options) for o in ((), [other]))
    extra = float(other.irradiance_at((PLACE[0], PLACE[1], PLACE[2] + 0.02))[0])
    assert both.farthest_m == pytest.approx(np.sqrt(60 / (300 - extra)) - 0.05, rel=1e-3)
    assert both.farthest_m > alone.farthest_m


def test_tilted_lamp_keeps_its_tilt():
    tilted = replace(LAMP, aim=(LAMP.x_m + 0.2, LAMP.y_m, LAMP.height_m - 0.2))
    answer = lamp_height.find_height(tilted, PLACE, wanted_w_m2=(150, 300), air_temperature_c=20.0)
    assert answer.lamp.axis == pytest.approx(tilted.axis)
    back = (PLACE[0], PLACE[1], PLACE[2] + 0.02)
    assert answer.lamp.irradiance_at(back) == pytest.approx(
        answer.conditions.loc["middle", "irradiance_w_m2"], rel=1e-3
    )
    body = heat.lizard(length_m=0.16, mass_g=60.0, shortwave_absorptivity=0.85)
    answer = lamp_height.find_height(tilted, PLACE, wanted_w_m2=(150, 300), air_temperature_c=20.0, body=body)
    with_body = answer.conditions["operative_c"]
    assert (with_body > 20).all() and with_body.is_monotonic_decreasing


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"lamp": replace(LAMP, aim=(0.3, 0.2, 2.0))}, "does not shine downwards"),
        ({"uv_wanted": (3, 1)}, "upside down"),
        ({"lamp": replace(LAMP, spectrum=None), "uv_wanted": (1, 3)}, "UV is asked for"),
        ({"distance_range_m": (0.5, 0.2)}, "lower first"),
    ],
)
def test_height_refuses(change, words):
    options = {"lamp": LAMP, "place": PLACE, "wanted_w_m2": (200, 400), "air_temperature_c": 25.0} | change
    with pytest.raises(FieldkitError, match=words):
        lamp_height.find_height(**options)


# ---------------------------------------------------------------------------------------------------------------------
# Number and power

FLOOD = lamps.Lamp(id="flood", beam=lamps.Beam(intensity=60.0, near_m=0.05, half_angle_deg=22.0), power_w=80.0)
WIDE = {"wanted_w_m2": (400, 700), "height_range_m": (0.3, 0.6), "power_range_w": (20, 150)}


def test_one_lamp_over_one_point_needs_the_power_of_the_closed_form():
    answer = lamp_plan.plan(FLOOD, (0.299, 0.301, 0.199, 0.201), 0.1, most_lamps=1, **WIDE)
    # Nearest is cheapest: watts = 80 * 400 (d + offset)²/60 with d = 0.2.
    assert answer.verdict == "found"
    assert answer.table["power_w"].sum() == pytest.approx(80 * 400 * 0.25**2 / 60, rel=0.03)
    assert answer.table["height_m"].item() == pytest.approx(0.3, abs=0.01)


def test_fewest_lamps_that_keep_a_whole_patch_within_the_range():
    patch = (0.2, 0.6, 0.1, 0.3)
    answer = lamp_plan.plan(FLOOD, patch, 0.1, **WIDE)
    assert answer.verdict == "found" and len(answer.lamps) == 2
    assert answer.tried.loc[answer.tried["lamps"] == 1, "miss_pct"].item() > 10
    # Looked at on a finer net than the one it was solved on.
    _, _, points = lamps.grid(patch, 0.1, step_m=0.004)
    light = lamps.field(answer.lamps, points).table["total"]
    assert light.min() > 400 * 0.99 and light.max() < 700 * 1.01
    x = answer.table["x_m"].to_numpy()
    assert (x - 0.4).sum() == pytest.approx(0, abs=1e-6) and answer.table["power_w"].between(20, 150).all()
    tried = [(h, s) for h in np.arange(0.3, 0.61, 0.02) for s in np.arange(0.2, 0.5, 0.02)]
    assert answer.table["power_w"].sum() <= 1.01 * min(_cheapest(patch, *pair) for pair in tried)


def _cheapest(patch, height, spread):
    """Two equal lamps, by trying: the least power that lifts the darkest point to 400 with the brightest below 700."""
    _, _, points = lamps.grid(patch, 0.1, step_m=0.4 / 12)
    pair = [replace(FLOOD, x_m=0.4 + s * spread / 2, y_m=0.2, height_m=height) for s in (-1, 1)]
    unit = sum(lamp.irradiance_at(points) for lamp in pair) / 80
    watts = max(400 / unit.min(), 20)
    return 2 * watts if watts <= 150 and watts * unit.max() <= 700 else np.inf


def test_no_plan_says_so_and_shows_the_nearest_miss(fitted):
    answer = lamp_plan.plan(FLOOD, (0, 1.2, 0, 0.6), 0.1, most_lamps=2, **WIDE)
    assert answer.verdict == "none" and "No layout tried" in answer.sentence and answer.tried["miss_pct"].min() > 1
    unsure = replace(FLOOD, beam=fitted.beam)
    kept = lamp_plan.plan(unsure, (0.3, 0.4, 0.2, 0.3), 0.1, most_lamps=1, **WIDE).limits_w_m2
    assert kept[0] > 400 and kept[1] < 700


@pytest.mark.parametrize(
    ("lamp", "change", "words"),
    [
        (replace(FLOOD, power_w=None), {}, "has no power_w"),
        (FLOOD, {"height_range_m": (0.6, 0.3)}, "upside down"),
        (FLOOD, {"height_range_m": (0.1, 0.3)}, "5 cm above"),
        (FLOOD, {"most_lamps": 0}, "1 to 9"),
    ],
)
def test_plan_refuses(lamp, change, words):
    with pytest.raises(FieldkitError, match=words):
        lamp_plan.plan(lamp, (0.2, 0.6, 0.1, 0.3), 0.1, **(WIDE | change))


# ---------------------------------------------------------------------------------------------------------------------
# Figures and cautions


def test_figures_say_their_numbers(fitted):
    words = describe(figures.beam(fitted), "Beam")
    assert f"{fitted.worst_guess_pct:+.0f} %" in words and "readings (±1 standard error): n 4" in words
    found = lamp_coverage.coverage(LAMP, (0, 0.6, 0, 0.4), 0.05, wanted_w_m2=(250, 900), body_length_m=0.3, n_draws=2)
    words = describe(figures.coverage_map(found, lamps=[LAMP]), "Map")
    assert "smaller than the animal" in words and "the animal, 30 cm" in words
    dark = lamp_coverage.coverage(LAMP, (0, 0.6, 0, 0.4), 0.05, wanted_w_m2=(800, 900), body_length_m=0.3, n_draws=2)
    assert "Nowhere" in dark.sentence and "Nowhere on the area" in describe(figures.coverage_map(dark), "Map")
    matched = lamp_match.match(LAMP, PLACE, wanted_w_m2=(300, 700))
    assert "lamps (" in describe(figures.bands(matched), "Bands")
    for wanted, title in (((200, 400), "not asked: UV index"), ((700, 900), "No height does")):
        answer = lamp_height.find_height(LAMP, PLACE, wanted_w_m2=wanted, air_temperature_c=24.0)
        assert title in describe(figures.height(answer), "Height")


def test_cautions_cover_burns_uv_mains_and_the_right_meter():
    words = " ".join(lamps.CAUTIONS)
    for needed in ("Burns and fire", "UV", "Mains electricity and water", "lux meter", "box", "vet", "law"):
        assert needed in words
