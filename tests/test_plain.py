"""Plain words: every language is filled in, in its own number marks, and every message can be told."""

import inspect
import re
import string

import pytest

import fieldkit
from fieldkit.core import FieldkitError
from fieldkit.field import basking, choice, sunlight
from fieldkit.field.planning import simulate
from fieldkit.report.plain import results
from fieldkit.report.plain.catalogue import LANGUAGES, catalogue, tell


def fields(text):
    return sorted(name for _, name, _, _ in string.Formatter().parse(text) if name)


@pytest.mark.parametrize("language", [code for code in LANGUAGES if code != "en"])
def test_every_string_of_a_language_is_filled_in(language):
    """The same keys and fields as the English, every one translated; units and codes may be the same."""
    english, other = catalogue("en"), catalogue(language)
    assert other.keys() == english.keys()
    for key, text in english.items():
        assert fields(other[key]) == fields(text), key
        if key != "page.translated":
            assert other[key].strip(), key
    same = {key for key in english if english[key] == other[key]}
    allowed = {"page.decimal"} | ({"page.report"} if language == "fr" else set())
    assert same <= allowed, same
    assert other["page.translated"], "a translation says that no native speaker made it"


def test_every_key_that_a_result_uses_is_in_the_catalogue():
    used = set(
        re.findall(
            r'"((?:choice|basking|climate|sunlight|loggers|lamps|audit|compare)\.\w+)"', inspect.getsource(results)
        )
    )
    assert len(used) > 20
    classes = {"choice.Comparison", "basking.Window", "climate.AirBands", "sunlight.ChosenSunlight", "lamps.LampMatch"}
    assert used - classes - {"audit.Audit", "compare.FieldAgainstCaptivity"} <= catalogue("en").keys()


def test_numbers_are_written_as_the_language_writes_them():
    message = {"key": "basking.keeper", "values": {"low": "1,015.2", "high": "-30.5"}}
    assert "1,015.2" in tell(message, "en") and "−30.5" in tell(message, "en")
    for language in ("de", "es", "fr"):
        said = tell(message, language)
        # CLDR: a decimal comma in all three; groups are set apart by a narrow space, which none reads as a decimal.
        assert "1\N{NARROW NO-BREAK SPACE}015,2" in said and "−30,5" in said and "." not in re.sub(r"\.( |$)", "", said)


def test_a_language_that_is_not_there_is_said():
    with pytest.raises(FieldkitError, match="the languages are en, de, es, fr"):
        catalogue("xx")


def told(result, topic, part):
    return [tell(message) for message in results.plain(result, topic)[part]]


def test_a_verdict_in_plain_words_says_what_the_simulation_put_in():
    """Truth of the simulator: animals choose on radiation, or on nothing; words are held to the fields."""
    found = choice.compare(simulate.choice_season(n_sets=120, rng=1).choices, permutations=99)
    assert found.verdict == "radiation"
    assert told(found, "choice", "found")[0] == "The animals picked sunnier places than the other places close by."
    p = found.chance.loc[found.chance["held"].idxmin()].drop("alone").max()
    times = int(re.search(r"1 of (\d+)", told(found, "choice", "sure")[0])[1])
    assert 1 / times >= p > 1 / (times + 1)
    factor = found.corrected.loc["radiation", "odds_ratio_per_sd"]
    assert f"by {factor:.3g} " in told(found, "choice", "numbers")[0]
    none = choice.compare(simulate.choice_season(n_sets=40, effect=1.0, rng=2).choices, permutations=99)
    assert none.verdict == "none" and "no sign" in told(none, "choice", "found")[0]


def test_basking_and_sunlight_say_the_numbers_of_their_tables():
    season = fieldkit.demo_season()
    found = basking.of_season(season)
    low, high = found.table.loc[["lower limit", "upper limit"], "estimate_c"]
    for part in ("found", "keeper"):
        assert f"{low:.1f}" in told(found, "basking", part)[0] and f"{high:.1f} °C" in told(found, "basking", part)[0]
    site = {"latitude_deg": season.site.latitude_deg, "longitude_deg": season.site.longitude_deg}
    light = sunlight.chosen(season.choices, **site, rng=1, n_resamples=99)
    row = light.table.loc["all"]
    said = told(light, "sunlight", "found")[0]
    assert f"{row['median']:.0f} W/m²" in said and f"{row['offered_median']:.0f}." in said


def test_one_fact_has_one_number():
    """A number is rounded once, where the message is made: found, report and summary take the same text."""
    season = fieldkit.demo_season()
    plain = results.plain(basking.of_season(season), "basking")
    by_name = {}
    for message in (m for part in plain.values() for m in part):
        for name, value in message["values"].items():
            by_name.setdefault(name, set()).add(value)
    assert by_name and all(len(values) == 1 for values in by_name.values()), by_name
