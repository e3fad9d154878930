"""Field against captivity: estimates against other libraries, verdicts on made-up pairs, what a keeper types."""

import dataclasses
import warnings

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

import fieldkit
from fieldkit.captive import compare
from fieldkit.captive.compare import estimate, slopes
from fieldkit.core import FieldkitError, resource_dir
from fieldkit.field import choice, thermoregulation
from fieldkit.records.enclosure.reader import EnclosureError

DATA = resource_dir("data")


@pytest.fixture(scope="module")
def season():
    return fieldkit.demo_season()


@pytest.fixture(scope="module")
def watched():
    return fieldkit.read_enclosure(DATA / "demo_watched")


@pytest.fixture(scope="module")
def found(season, watched):
    return compare.compare(season, watched)


# ---- estimates -------------------------------------------------------------------------------------------------------


def test_spread_over_two_kinds_of_cluster_is_that_of_statsmodels():
    """Cameron, Gelbach and Miller's variance of a mean, as statsmodels has it (each part with its own G / (G - 1))."""
    rng = np.random.default_rng(1)
    frame = pd.DataFrame({"animal": np.repeat(np.arange(12), 20), "day": 3 * np.tile(np.arange(20), 12)})
    frame["y"] = rng.normal(0, 1, 12)[frame["animal"]] + rng.normal(0, 1, 20)[frame["day"] // 3] + rng.normal(0, 1, 240)
    ours = estimate.mean(frame["y"], frame["animal"], frame["day"])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fitted = smf.ols("y ~ 1", frame).fit(
            cov_type="cluster",
            cov_kwds={"groups": frame[["animal", "day"]].to_numpy(), "use_correction": True},
        )
    assert ours.value == pytest.approx(fitted.params["Intercept"])
    # Their part of both together has a factor of 240 / 239 that ours does not have.
    assert ours.variance()[0] == pytest.approx(fitted.cov_params().iloc[0, 0], rel=0.01)


def test_ratio_and_product_by_the_delta_method():
    """A ratio of means against its textbook variance (Cochran 1977, Sampling Techniques, eq. 6.13, from memory)."""
    rng = np.random.default_rng(2)
    n = 400
    x = rng.gamma(20, 0.1, n)
    y = 3 * x + rng.normal(0, 0.5, n)
    day, animal = 2 * np.arange(n), np.zeros(n, dtype=int)
    top, bottom = (estimate.mean(v, animal, day) for v in (y, x))
    ratio = top.over(bottom)
    rest = y - ratio.value * x
    assert ratio.value == pytest.approx(y.mean() / x.mean())
    assert ratio.variance()[0] == pytest.approx(rest.var(ddof=1) / n / x.mean() ** 2, rel=1e-6)
    product = top.times(bottom)
    assert product.influence.sum() == pytest.approx(0, abs=1e-9)
    assert top.minus(top).variance()[0] == pytest.approx(0, abs=1e-12)


def test_hours_count_alike():
    value = estimate.mean([1.0, 1.0, 1.0, 0.0], [0] * 4, [0, 1, 2, 3], groups=[8, 8, 8, 9])
    assert value.value == 0.5


def test_days_that_are_alike_make_wider_limits():
    """Variance of a mean of a first-order series is about (1 + r) / (1 - r) times that of independent days."""
    rng = np.random.default_rng(3)
    wide = []
    for _ in range(200):
        series = np.zeros(120)
        for k in range(1, 120):
            series[k] = 0.5 * series[k - 1] + rng.normal()
        one = estimate.mean(series, np.zeros(120, dtype=int), np.arange(120))
        wide.append(one.variance()[0] / (series.var(ddof=1) / 120))
    assert np.mean(wide) == pytest.approx(3.0, rel=0.15)


def test_strength_of_selection_is_that_of_the_conditional_logit(season):
    sets = season.choices.assign(animal=0, day=season.choices["time"].dt.day_of_year)
    ours, why = slopes.slope(sets.drop(columns="shade_air_c"), "irradiance_w_m2")
    kept = sets.dropna(subset=["irradiance_w_m2"])
    theirs = choice.fit(kept[["irradiance_w_m2"]] / 100, kept["used"], kept["set_id"], cluster=kept["day"])
    assert why == ""
    assert ours.value == pytest.approx(theirs.coefficients.iloc[0], rel=1e-6)
    assert ours.variance()[0] == pytest.approx(theirs.covariance.iloc[0, 0], rel=1e-6)
    none, why = slopes.slope(sets, "shade_air_c", error=0.4)
    assert none is None and "nothing to select on" in why


def test_verdicts_follow_from_two_one_sided_tests():
    """Schuirmann (1987): alike at 5 % exactly when the 90 % interval lies inside the margin."""
    rng = np.random.default_rng(4)
    for _ in range(50):
        sides = [estimate.mean(rng.normal(m, 1, 30), np.zeros(30, dtype=int), 5 * np.arange(30)) for m in (0, 0.2)]
        narrow = estimate.difference(*sides, 0.6, level=0.90)
        alike = narrow.p_alike < 0.05
        assert alike == (narrow.low > -0.6 and narrow.high < 0.6)
        assert (narrow.p_differs < 0.10) == (narrow.low > 0 or narrow.high < 0)


def test_too_few_days_have_no_limits():
    few = estimate.mean([1.0, 2.0, 3.0], [0, 0, 0], [0, 1, 2])
    assert np.isnan(few.variance()[0])
    assert np.isnan(estimate.difference(few, few, 1.0).low)


# ---- the demo --------------------------------------------------------------------------------------------------------


def test_every_question_has_a_row_and_says_something(found):
    assert set(compare.MARGINS) == set(found.table.index)
    assert set(found.table["verdict"]) <= {"alike", "differs", "cannot tell", "not measured"}
    assert (found.table["says"].str.len() > 20).all()
    doubt = found.table[found.table["verdict"].isin(["differs", "cannot tell"])]
    assert (doubt["look_at"] != "").all()
    assert "months matched" in found.table["matched"].iloc[0]
    assert "day length not matched" in found.table["matched"].iloc[0]


def test_demo_shows_what_was_put_in(found):
    """No lamp gives UV, the spot is dimmer than the sun, and they bask less (−0.9 log odds); see truth.json."""
    table = found.table
    for key in ("radiation_taken", "uv_dose"):
        assert table.loc[key, "verdict"] == "differs" and table.loc[key, "difference"] < 0
    assert table.loc["basking_share", "difference"] < 0
    # They choose by the rule of the field: never told to differ.
    assert table.loc["selection_radiation", "verdict"] != "differs"


def test_thermoregulation_is_that_of_its_own_room(season, watched):
    found = compare.compare(season, watched, match=False)
    theirs = thermoregulation.of_season(season).table["estimate"]
    for key, name in (("accuracy", "accuracy"), ("thermal_quality", "thermal quality"), ("effectiveness",) * 2):
        assert found.table.loc[key, "field"] == pytest.approx(theirs[name], rel=0.02)
    assert "months not matched" in found.table["matched"].iloc[0]


def test_repeated_question_is_judged_once(found):
    table = found.table
    assert table.loc["basking_hours", "p_all"] == table.loc["basking_share", "p_all"]
    assert (table["p_all"].dropna() >= table.loc[table["p_all"].notna(), "p_differs"] - 1e-12).all()


def test_margins_are_settable_and_checked(season, watched):
    wide = compare.compare(season, watched, margins={"basking_share": 0.4})
    assert wide.table.loc["basking_share", "verdict"] == "alike"
    for bad in ({"joy": 1.0}, {"basking_share": 0.0}):
        with pytest.raises(FieldkitError, match="margin"):
            compare.compare(season, watched, margins=bad)


@pytest.mark.slow
def test_remedies_name_illness_first(found, season, watched):
    rows = compare.remedies(found, season, watched)
    assert rows["key"].iloc[0] == "health" and "vet" in rows["remedy"].iloc[0]
    assert rows["from_audit"].any()
    more = found.table.copy()
    more.loc[["basking_share", "hidden_share"], ["difference", "low", "high"]] *= [-1, 0, -1]
    happy = dataclasses.replace(found, table=more)
    assert "health" not in set(compare.remedies(happy, season, watched)["key"])


def test_points_without_readings_are_modelled_or_left_out(watched):
    sets = compare.choice_sets(watched)
    modelled = sets.table.groupby("place_id")["modelled"].first()
    assert "surface_c" not in modelled["B1"] and "surface_c" in modelled["B2"]
    assert any("Modelled" in note and "±" in note for note in sets.notes)
    bare = compare.choice_sets(watched, fill=False)
    assert bare.table.loc[bare.table["place_id"] == "B2", "surface_c"].isna().all()
    assert ((bare.offered.left_out["point"] == "B2") & (bare.offered.left_out["quantity"] == "surface_c")).any()


def test_one_animal_speaks_for_itself(season, watched):
    one = dataclasses.replace(watched, scans=watched.scans[watched.scans["animal_id"] == "L1"])
    found = compare.compare(season, one, fill=False)
    assert found.n_animals["captive"] == 1
    assert any("speaks for itself" in note for note in found.notes)
    assert found.table.loc["basking_share", "captive_days"] == 42


def test_two_observers_count_once(season, watched):
    scans = watched.scans.drop_duplicates(["time", "animal_id"])
    assert len(scans) < len(watched.scans)
    both = pd.concat([scans, scans.assign(observer="C", behaviour="retreat")]).sort_values("time", kind="stable")
    tables = [
        compare.compare(season, dataclasses.replace(watched, scans=s.reset_index(drop=True)), fill=False).table
        for s in (scans, both)
    ]
    pd.testing.assert_frame_equal(*tables)


def test_without_scans_it_says_what_is_missing(season):
    with pytest.raises(FieldkitError, match="no scans"):
        compare.compare(season, fieldkit.demo_enclosure())


# ---- what a keeper types ---------------------------------------------------------------------------------------------


def _folder(tmp_path, scans, **more):
    for name in ("enclosure.toml", "lamp_readings.csv", "readings.csv"):
        (tmp_path / name).write_bytes((DATA / "demo_watched" / name).read_bytes())
    for name, text in {"scans.csv": scans, **more}.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


def test_photographs_are_scans(tmp_path):
    text = "File name,point\nIMG_20250506_0930.jpg,B1\nIMG_20250506_1130.jpg,Out of sight\n2025-05-07 09.30.00.png,R1\n"
    record = fieldkit.read_enclosure(_folder(tmp_path, text))
    assert record.scans["time"].dt.strftime("%d %H:%M").tolist() == ["06 09:30", "06 11:30", "07 09:30"]
    assert len(set(record.scans["animal_id"])) == 1
    assert record.scans["point"].tolist() == ["B1", "out of sight", "R1"]
    sets = compare.choice_sets(record, fill=False)
    assert sets.table["set_id"].nunique() == 2


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("time,animal_id,point\n2025-05-06 09:30,L1,B9\n", "does not describe this point"),
        ("file,point\nlizard.jpg,B1\n", "no date and time"),
        ("time,animal_id,point\n2025-05-06,L1,B1\n", "no time of day"),
        ("time,animal_id\n2025-05-06 09:30,L1\n", "column is missing"),
        ("time,point,body_temperature [lux]\n2025-05-06 09:30,B1,30\n", "lux"),
    ],
)
def test_mistakes_are_told(tmp_path, text, words):
    with pytest.raises(EnclosureError) as error:
        fieldkit.read_enclosure(_folder(tmp_path, text))
    assert words in str(error.value)


def test_quick_and_careful_reader_agree(tmp_path, monkeypatch):
    from fieldkit.records.enclosure import scans as enclosure_scans

    text = (DATA / "demo_watched" / "scans.csv").read_text()
    folder = _folder(tmp_path, text)
    tables = []
    for size in (1, 10**9):
        monkeypatch.setattr(enclosure_scans, "LARGE", size)
        tables.append(fieldkit.read_enclosure(folder).scans)
    pd.testing.assert_frame_equal(*tables)


def test_care_and_own_choices_are_read(tmp_path):
    choices = "set_id,time,animal_id,place_id,used,shade_air [°C],surface [°C],irradiance [W/m²]\n"
    choices += "S1,2025-05-06 10:00,L1,B1,1,25,40,400\nS1,2025-05-06 10:02,L1,C1,0,24,24,5\n"
    care = "date,mass [g],ate\n2025-05-06,12.1,1\n"
    scans = "time,point\n2025-05-06 09:30,B1\n"
    record = fieldkit.read_enclosure(_folder(tmp_path, scans, **{"choices.csv": choices, "care.csv": care}))
    assert record.choices["used"].tolist() == [1, 0]
    assert record.care["mass_g"].tolist() == [12.1]


def test_days_of_a_trial_stay_out(season, watched, tmp_path):
    folder = _folder(tmp_path, (DATA / "demo_watched" / "scans.csv").read_text())
    plan = (DATA / "demo_trial" / "trial.toml").read_text()
    (folder / "trial.toml").write_text(plan.replace("2025-06-23", "2025-06-02"))
    found = compare.compare(season, fieldkit.read_enclosure(folder), fill=False)
    assert found.table.loc["basking_share", "captive_days"] == 28
    assert any("of a trial were left out" in note for note in found.notes)


@pytest.mark.slow
def test_the_demo_is_made_again_from_its_rules(tmp_path):
    """The files under data/ are those that the forward model writes."""
    from fieldkit.demo import watched as maker

    for place in maker.write(tmp_path):
        # targets.toml is what a new folder begins with, and changes with it.
        for file in (f for f in place.iterdir() if f.name != "targets.toml"):
            assert file.read_bytes() == (DATA / place.name / file.name).read_bytes(), file.name


def test_a_remedy_never_asks_for_what_the_audit_wants_less_of():
    """A slate that is too hot and animals that take less radiation: no lamp is brought nearer."""
    from types import SimpleNamespace

    from fieldkit.captive.audit import Status
    from fieldkit.captive.compare import advice

    def audited(quantity, direction):
        table = pd.DataFrame({"target": [quantity], "status": [Status.MISSED]})
        fix = {"quantity": quantity, "direction": direction, "rows": (0,), "change": "the fix", "weight": 50.0}
        return SimpleNamespace(table=table, fixes=pd.DataFrame([fix]))

    wish = advice._wish("radiation_taken", -90.0)
    assert wish == 1 and advice._wish("basking_hours", 2.0) == 1 and advice._wish("accuracy", 1.0) == 0
    assert advice._fix_of(audited("irradiance_w_m2", 1), "radiation_taken", wish) == ("the fix", 50.0, False)
    assert advice._fix_of(audited("irradiance_w_m2", -1), "radiation_taken", wish) == (None, 0.0, True)
    assert advice._fix_of(audited("surface_c", -1), "radiation_taken", wish) == (None, 0.0, True)
    assert advice._fix_of(audited("uv_index", -1), "radiation_taken", wish) == (None, 0.0, False)
    assert advice._fix_of(audited("uv_index", -1), "uv_taken", advice._wish("uv_taken", -1.0)) == (None, 0.0, True)
