"""Plain words: every language is filled in, in its own number marks, and every message can be told."""

import inspect
import re
import string

import pytest

from fieldkit.core import FieldkitError
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
