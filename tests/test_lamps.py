"""Lamps: spectra, beams, fields; against Planck, CIE tables, ASTM G173, scipy and colour-science."""

import sys
import types
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, optimize

from fieldkit.captive import lamps, targets
from fieldkit.captive.lamps import folder as lamp_folder
from fieldkit.captive.lamps import matching as lamp_match
from fieldkit.captive.lamps import spectra as lamp_spectra
from fieldkit.core import FieldkitError
from fieldkit.physics import spectrum as spectra
from fieldkit.records.enclosure.spectra import read_spectrum
from fieldkit.records.problems import SeasonError

sys.path.insert(0, str(Path(__file__).parent))
import study_lamps

PLACES = study_lamps.PLACES
BEAM = lamps.Beam(intensity=60.0, near_m=0.06, half_angle_deg=24.0)


# ---------------------------------------------------------------------------------------------------------------------
# Spectra


def _published(row):
    if row["quantity"] == "filament":
        lamp = lamp_spectra.filament(float(row["x"]))
        # Share of all power, so against Stefan and Boltzmann and not the sum of the points.
        return 100 * spectra.integrate(lamp, row["low_nm"], row["high_nm"]) / (5.670374419e-8 * float(row["x"]) ** 4)
    if row["quantity"] == "illuminant":
        lamp = lamp_spectra.illuminant(row["x"])
        return spectra.integrate(lamp, row["low_nm"], row["high_nm"]) / spectra.integrate(lamp, 380, 780)
    if row["quantity"] == "sun":
        sun = spectra.reference_sunlight()
        lamp = lamps.Lamp(id="sun", beam=BEAM, spectrum=sun)
        table = lamp_match.match(lamp, (0, 0, 0.1), wanted_w_m2=(100, 900)).table
        name = table.index[table["low_nm"] == row["low_nm"]][0]
        here = lamp.irradiance_at((0, 0, 0.1))[0] / spectra.integrate(sun, *lamps.METER_RANGE_NM)
        return 100 * table.loc[name, "lamp_w_m2"] / (here * 1000.371)
    if row["quantity"] == "step absorber":
        skin = pd.Series([0.8, 0.8, 0.4, 0.4], index=[280, 699.9, 700.1, 4000])
        hot = spectra.blackbody(float(row["x"]), np.arange(280, 4001.0))
        lamp = lamps.Lamp(id="hot", beam=BEAM, spectrum=hot)
        return lamp_match.match(lamp, (0, 0, 0.1), wanted_w_m2=(100, 900), absorptivity=skin).spectral.heating_ratio
    return {"contact_10_min": targets.CONTACT_CEILING_C}[row["quantity"]]


def test_published_numbers(published):
    table = published("lamps")
    for _, row in table.iterrows():
        assert _published(row) == pytest.approx(row["expected"], abs=row["tolerance"] + 1e-12), row["case"]


@pytest.mark.parametrize("name", ["A", "D65", "FL2", "LED-B3"])
def test_illuminants_against_colour_science_own_integration(name):
    import colour

    lamp = lamp_spectra.illuminant(f"CIE {name.lower()}")
    own = colour.SDS_ILLUMINANTS[name].copy().align(colour.SpectralShape(380, 780, 1))
    nm, power = np.asarray(own.wavelengths), own[own.wavelengths]
    expected = integrate.trapezoid(power[nm <= 500], nm[nm <= 500]) / integrate.trapezoid(power, nm)
    # colour-science bends smoothly between table points, we draw straight lines: 0.2 % apart at most.
    found = spectra.integrate(lamp, 380, 500) / spectra.integrate(lamp, 380, 780)
    assert found == pytest.approx(expected, rel=2e-3)


def test_missing_colour_science_is_a_sentence(monkeypatch):
    monkeypatch.setitem(sys.modules, "colour", None)
    with pytest.raises(FieldkitError, match="colour-science, which is not installed"):
        lamp_spectra.illuminant("A")


def test_filters():
    flat = pd.Series(1.0, index=np.arange(250.0, 4001.0))
    glass = lamp_spectra.through_filter(flat, passes_above_nm=320, passes_below_nm=2800, edge_nm=20, transmission=0.9)
    assert glass[320] == pytest.approx(0.45) and glass[2800] == pytest.approx(0.45)
    assert glass[310] == pytest.approx(0.09) and glass[330] == pytest.approx(0.81)  # 10 to 90 % over 20 nm
    assert glass[250] < 1e-4 and glass[1000] == pytest.approx(0.9)
    curve = pd.Series([0.0, 1.0], index=[300.0, 400.0])
    assert lamp_spectra.through_filter(flat, transmission=curve)[350] == pytest.approx(0.5)
    for wrong in ({"edge_nm": 0}, {"transmission": 90}, {"passes_above_nm": 900, "passes_below_nm": 800}):
        with pytest.raises(FieldkitError):
            lamp_spectra.through_filter(flat, **wrong)


def test_spectrum_lines_of_an_enclosure_file(tmp_path):
    (tmp_path / "x.csv").write_text(
        "wavelength_nm,irradiance_w_m2_nm\n" + "\n".join(f"{n},1" for n in range(300, 401, 20))
    )
    assert lamp_spectra.spectrum_of(str(tmp_path / "x.csv")).name == "x"
    bare, glazed = (lamp_spectra.spectrum_of(t) for t in ("black body 2700K", "filament 2700 K, glass 330 nm"))
    assert spectra.uv_index(glazed) < 0.3 * spectra.uv_index(bare)
    assert lamp_spectra.spectrum_of("d65").name == "CIE illuminant D65"
    with pytest.raises(FieldkitError, match="There is no CIE illuminant 'FL99'"):
        lamp_spectra.spectrum_of("FL99")
    with pytest.raises(FieldkitError, match="spectra/lamp"):
        lamp_spectra.spectrum_of("sunny")


def test_read_spectrum_takes_what_instruments_write(tmp_path):
    path = tmp_path / "lamp.csv"
    rows = [
        f"{nm};{v}".replace(".", ",") for nm, v in ((700, 1.1), (600, 1.5), (500, -0.001), (400.5, 0.5), (300, 0.1))
    ]
    path.write_bytes(("Meter 7\nNote;x\nWavelength (nm);Irradiance W/m²/nm\n" + "\n".join(rows)).encode("cp1252"))
    spectrum = read_spectrum(path)
    assert spectrum.index.tolist() == [300, 400.5, 500, 600, 700] and spectrum[500.0] == -0.001


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("nm,value\n300,1\n300,2\n400,3\n500,1\n600,1\n", "there twice"),
        ("wavelength_nm,v\n300,x\n400,\n500,1\n", "not a number"),
        ("wavelength_nm,v\n0.3,1\n0.4,1\n0.5,1\n0.6,1\n0.7,1\n", "are not nanometres"),
        ("wavelength (µm),v\n0.3,1\n0.4,1\n", "micrometres"),
        ("wavelength_nm,v\n300,0\n400,0\n500,0\n600,0\n700,0\n", "lamp was off"),
        ("wavelength_nm,v\n300,-1\n400,0\n500,1\n600,1\n700,1\n", "dark reading"),
        ("wavelength_nm,v\n300,1\n400,1\n", "too few"),
        ("a,b\n1,2\n", "No row of this file"),
        ("wavelength_nm,\n300,1\n", "no column beside"),
    ],
)
def test_a_broken_spectrum_ends_in_a_sentence(tmp_path, text, words):
    (tmp_path / "s.csv").write_text(text, encoding="utf-8")
    with pytest.raises(SeasonError, match=words):
        read_spectrum(tmp_path / "s.csv")


def test_a_spectrum_that_is_not_there(tmp_path):
    with pytest.raises(SeasonError, match="cannot be opened"):
        read_spectrum(tmp_path / "none.csv")


# ---------------------------------------------------------------------------------------------------------------------
# Beams


def test_far_away_every_beam_obeys_the_inverse_square():
    for shape in lamps.SHAPES:
        for source in lamps.SOURCES:
            beam = replace(BEAM, shape=shape, source=source)
            assert beam.at(50.0) * 2500 == pytest.approx(60.0, rel=3e-3)
            assert beam.at(50.0, 24.0) / beam.at(50.0) == pytest.approx(0.5, rel=2e-3)


def test_disc_beam_is_the_integral_over_a_glowing_disc():
    """Bergman et al. (2011) table 13.2, coaxial discs in the limit of a small receiver; here by quadrature."""
    radius, distance, radiance = 0.07, 0.15, 1000.0
    on_axis = integrate.quad(
        lambda r: radiance * (distance**2 / (r**2 + distance**2)) / (r**2 + distance**2) * 2 * np.pi * r, 0, radius
    )[0]
    disc = lamps.Beam(intensity=radiance * np.pi * radius**2, near_m=radius, half_angle_deg=60.0, source="disc")
    assert float(disc.at(distance)) == pytest.approx(on_axis, rel=1e-9)


def test_what_leaves_the_lamp_arrives_on_the_floor():
    """Flux of I cos^m over a half space is 2 pi I/(m+1); the level field summed over a wide floor must hold it."""
    lamp = lamps.Lamp(id="a", beam=lamps.Beam(intensity=10.0, half_angle_deg=30.0), height_m=0.5)
    power = -np.log(2) / np.log(np.cos(np.radians(30.0)))
    radius = np.tan(np.linspace(0, np.radians(89.5), 4000)) * 0.5
    level = lamp.irradiance_at(np.column_stack([radius, 0 * radius, 0 * radius]))
    assert integrate.trapezoid(level * 2 * np.pi * radius, radius) == pytest.approx(
        2 * np.pi * 10.0 / (power + 1), rel=1e-4
    )


@pytest.mark.parametrize("shape", lamps.SHAPES)
@pytest.mark.parametrize("source", lamps.SOURCES)
def test_fit_returns_the_beam_that_made_the_readings(shape, source):
    truth = replace(BEAM, shape=shape, source=source)
    readings = PLACES.assign(irradiance_w_m2=truth.at(PLACES["distance_m"], PLACES["angle_deg"]))
    fit = lamps.fit_beam(readings, meter_error=0.05, shape=shape, source=source)
    assert fit.table["value"].to_numpy() == pytest.approx([60.0, 0.06, 24.0], rel=1e-4)
    # The readings may allow a disc of no size: then near_m has no lower limit.
    low = fit.table["low"].fillna(-1.0)
    assert (low < fit.table["value"]).all() and (fit.table["high"] > fit.table["value"]).all()


def test_fit_against_scipy_curve_fit():
    """The same weights in scipy's own curve_fit: estimates and covariance agree."""
    readings = study_lamps.read(BEAM, np.random.default_rng(4))
    fit = lamps.fit_beam(readings, meter_error=0.05)
    axial = readings["distance_m"] * np.cos(np.radians(readings["angle_deg"]))
    radial = readings["distance_m"] * np.sin(np.radians(readings["angle_deg"]))

    def model(_, log_intensity, near, log_width):
        square = (axial + near) ** 2 + radial**2
        return np.exp(log_intensity) / square * ((axial + near) / np.sqrt(square)) ** np.exp(log_width)

    sigma = fit.readings["error"].to_numpy() / fit.widened
    options = {"p0": [4.0, 0.05, 2.0], "sigma": sigma, "absolute_sigma": True}
    best, covariance = optimize.curve_fit(model, np.zeros(len(readings)), readings["irradiance_w_m2"], **options)
    assert fit.beam.parameters == pytest.approx(best, rel=1e-4)
    assert fit.beam.covariance / fit.widened**2 == pytest.approx(covariance, rel=2e-3)


@pytest.mark.slow
def test_limits_hold_the_truth_as_often_as_they_say():
    """A small form of tests/studies/study_lamps.py, which counts 1,000 lamps of each kind."""
    held, _ = study_lamps.coverage(80, shape="cosine", source="offset", rng=11)
    # 95 % of 80 lamps: two standard errors are 5 % for one number; the mean of eight related ones is steadier.
    assert 0.91 <= held.mean() <= 0.99 and held.min() > 0.87


def test_calibration_is_shared_and_not_averaged_away():
    readings = pd.concat([study_lamps.read(BEAM, np.random.default_rng(i)) for i in range(4)], ignore_index=True)
    plain, unsure = (lamps.fit_beam(readings, meter_error=0.05, calibration_error=c) for c in (0.0, 0.06))
    low, high = unsure.beam.interval(0.3)
    assert np.log(high / low) / 2 / 1.96 == pytest.approx(np.hypot(0.06, _spread(plain.beam)), rel=1e-3)
    assert unsure.table.loc["near_m"].equals(plain.table.loc["near_m"])
    two = [lamps.Lamp(id=i, beam=unsure.beam, height_m=0.4) for i in "ab"]
    row = lamps.field(two, (0, 0, 0.1)).table.iloc[0]
    assert np.log(row["high"] / row["total"]) / 1.96 == pytest.approx(
        np.hypot(0.06, _spread(plain.beam) / np.sqrt(2)), rel=1e-3
    )


def _spread(beam):
    low, high = beam.interval(0.3)
    return float(np.log(high / low) / 2 / 1.959964)


def test_sample_draws_what_the_limits_say():
    fit = lamps.fit_beam(study_lamps.read(BEAM, np.random.default_rng(1)), meter_error=0.05)
    drawn = [float(beam.at(0.4, 20)) for beam in fit.beam.sample(4000, rng=3)]
    assert np.quantile(drawn, [0.025, 0.975]) == pytest.approx(np.array(fit.beam.interval(0.4, 20)), rel=0.02)


def test_readings_that_follow_no_beam_widen_the_limits_and_say_so():
    readings = study_lamps.read(BEAM, np.random.default_rng(2), error=0.001)
    readings.loc[[1, 5], "irradiance_w_m2"] *= [1.6, 0.5]
    fit = lamps.fit_beam(readings, meter_error=0.03)
    assert fit.widened > 2 and fit.misfit_p < 1e-6 and "another shape" in fit.sentence


def test_rows_without_a_number_are_listed():
    readings = study_lamps.read(BEAM, np.random.default_rng(2))
    readings.loc[3, "irradiance_w_m2"] = np.nan
    fit = lamps.fit_beam(readings)
    assert fit.left_out.index.tolist() == [3] and "1 rows without a number" in fit.sentence
    assert not fit.error_stated and fit.beam.degrees_of_freedom == 4


def test_inverse_square_guess_is_shown_beside():
    readings = PLACES.assign(irradiance_w_m2=BEAM.at(PLACES["distance_m"], PLACES["angle_deg"]))
    fit = lamps.fit_beam(readings, meter_error=0.05)
    # From 0.45 m, the middle one on the axis (of four, the upper): 1/0.45² against 1/(0.45+0.06)² at 0.20 m.
    assert fit.guess_from == 2
    assert fit.worst_guess_pct == pytest.approx(100 * ((0.45 / 0.2) ** 2 / (0.51 / 0.26) ** 2 - 1), abs=0.1)


@pytest.mark.parametrize(
    ("change", "options", "words"),
    [
        ({"distance_m": 0.3}, {}, "at about one distance"),
        ({"angle_deg": 0.0}, {}, "at about one angle"),
        ({"distance_m": 30.0}, {}, "30 cm is 0.30"),
        ({"angle_deg": -5.0}, {}, "without a sign"),
        ({"irradiance_w_m2": "bright"}, {}, '"bright", which is not a number'),
        ({"irradiance_w_m2": 0.0}, {}, "the lamp must be on"),
        ({}, {"meter_error": 5}, "5 % is 0.05"),
        ({}, {"meter_error": 0}, "No meter reads without error"),
        ({}, {"quantity": "lux"}, "not lux"),
        ({}, {"quantity": "uv_index"}, "no column 'uv_index'"),
        ({}, {"shape": "square"}, "shape is one of"),
    ],
)
def test_readings_that_cannot_tell_end_in_a_sentence(change, options, words):
    readings = study_lamps.read(BEAM, np.random.default_rng(5)).assign(**change)
    with pytest.raises(FieldkitError, match=words):
        lamps.fit_beam(readings, **options)


def test_too_few_readings():
    readings = study_lamps.read(BEAM, np.random.default_rng(5)).iloc[[0, 2, 5, 6]]
    assert lamps.fit_beam(readings, meter_error=0.05).beam.intensity > 0
    with pytest.raises(FieldkitError, match="five without it"):
        lamps.fit_beam(readings)


# ---------------------------------------------------------------------------------------------------------------------
# Fields


def test_field_of_many_lamps_is_the_sum_of_single_fields():
    rng = np.random.default_rng(8)
    points = rng.uniform([0, 0, 0], [1, 0.5, 0.2], size=(50, 3))
    many = [
        lamps.Lamp(
            id=f"lamp {i}",
            beam=study_lamps.random_beam(rng, lamps.SHAPES[i % 2], lamps.SOURCES[i // 2 % 2]),
            x_m=rng.uniform(0, 1),
            y_m=rng.uniform(0, 0.5),
            height_m=0.6,
            aim=None if i % 3 else (0.5, 0.25, 0.0),
            spectrum=lamp_spectra.filament(2700.0, passes_above_nm=330.0),
        )
        for i in range(7)
    ]
    for facing in lamps.FACINGS:
        single = sum(lamp.irradiance_at(points, facing=facing) for lamp in many)
        together = lamps.field(many, points, facing=facing).table
        assert together["total"].to_numpy() == pytest.approx(single, rel=1e-12)
    uv = sum(lamp.uv_index_at(points) for lamp in many)
    assert lamps.field(many, points, quantity="uv_index").table["total"].to_numpy() == pytest.approx(uv, rel=1e-12)


def test_level_is_the_cosine_of_the_ray():
    lamp = lamps.Lamp(id="a", beam=lamps.Beam(intensity=50.0, near_m=0.05, half_angle_deg=40.0), height_m=0.4)
    point = (0.2, 0.1, 0.0)
    ray = np.hypot(0.45, np.hypot(0.2, 0.1))
    assert lamp.irradiance_at(point) == pytest.approx(lamp.irradiance_at(point, facing="lamp") * 0.45 / ray)
    assert lamp.irradiance_at((0, 0, 0.41)) == 0.0  # behind the front


def test_aimed_lamp_is_the_tilted_lamp():
    """Turning lamp and point about the lamp's front changes nothing for a meter that faces the lamp."""
    down = lamps.Lamp(id="a", beam=BEAM, height_m=1.0)
    turned = replace(down, aim=(0.5, 0.0, 0.5))  # 45 degrees
    s = np.sqrt(0.5)
    assert turned.irradiance_at((0.4 * s, 0.0, 1 - 0.4 * s), facing="lamp") == pytest.approx(float(BEAM.at(0.4)))


def test_clock_and_scaling():
    lamp = lamps.Lamp(id="a", beam=BEAM, on="07:00", off="19:30", power_w=50.0)
    assert lamp.is_on([6.9, 7.0, 19.4, 19.5]).tolist() == [False, True, True, False]
    assert replace(lamp, on="22:00", off="06:00").is_on([23, 3, 12]).tolist() == [True, True, False]
    assert lamps.field(lamp, (0, 0, 0.1), clock_h=3.0).table["total"].item() == 0.0
    double = lamp.scaled(2.0)
    assert double.power_w == 100.0 and double.irradiance_at((0, 0, 0)) == pytest.approx(
        2 * lamp.irradiance_at((0, 0, 0))
    )
    for wrong in ({"on": "7 h", "off": "19:00"}, {"off": None}, {"power_w": -1}, {"aim": (0, 0, 0.5)}):
        with pytest.raises(FieldkitError):
            replace(lamp, **wrong)


def test_uv_comes_from_the_meter_before_the_spectrum():
    spectrum = spectra.reference_sunlight()
    lamp = lamps.Lamp(id="a", beam=BEAM, spectrum=spectrum)
    place = (0, 0, 0.1)
    part = spectrum[(spectrum.index >= 300) & (spectrum.index <= 2800)]
    expected = lamp.irradiance_at(place) * 3.690 / integrate.trapezoid(part, part.index)
    assert lamp.uv_index_at(place) == pytest.approx(expected, rel=1e-3)  # check value 3.690 for the whole G173 global
    assert replace(lamp, uv_beam=lamps.Beam(intensity=0.5)).uv_index_at(place) == pytest.approx(0.5 / 0.4**2)
    assert np.isnan(replace(lamp, spectrum=None).uv_index_at(place)).all()
    table = lamps.field([lamp, lamps.Lamp(id="b", beam=BEAM)], place, quantity="uv_index")
    assert np.isnan(table.table["total"].item()) and "not known" in table.sentence


def test_lamps_of_an_enclosure_folder():
    rows = [{"lamp_id": "heat", **r} for r in study_lamps.read(BEAM, np.random.default_rng(1)).to_dict("records")]
    table = pd.DataFrame(rows).assign(uv_index=lambda t: t["irradiance_w_m2"] * 0.004)

    stated = pd.DataFrame(
        {"id": ["heat", "mat"], "spectrum": ["blackbody 2700 K", None], "x_m": 0.2, "y_m": 0.1, "height_m": 0.5}
        | {"aim": [[0.3, 0.1, 0.0], None], "power_w": [60.0, 10.0], "on": ["08:00", None], "off": ["18:00", None]}
    )
    record = types.SimpleNamespace(lamps=stated, lamp_readings=table, spectra={})
    found = lamp_folder.lamps_of(record)
    (heat,) = found.lamps
    assert heat.aim == (0.3, 0.1, 0.0) and heat.on == "08:00" and heat.uv_beam is not None
    assert "Lamp 'mat' has none: no reading" in found.sentence
    assert float(heat.beam.at(0.3)) == pytest.approx(float(BEAM.at(0.3)), rel=0.1)
