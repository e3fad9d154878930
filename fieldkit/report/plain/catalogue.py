"""Sentences of the summary in English, German, Spanish and French, with numbers as each language writes them."""

import functools
import tomllib
from pathlib import Path

from fieldkit.core import FieldkitError

_FOLDER = Path(__file__).parent.parent / "templates" / "words"
LANGUAGES = ("en", "de", "es", "fr")


@functools.cache
def catalogue(language="en"):
    """All sentences of one language, by ``section.key``.

    Parameters
    ----------
    language : {"en", "de", "es", "fr"}
        Code of the language (ISO 639-1).

    Returns
    -------
    dict of str to str

    Raises
    ------
    FieldkitError
        For a language without a catalogue.

    Examples
    --------
    >>> catalogue("en")["page.answer"]
    'What was found'
    """
    if language not in LANGUAGES:
        raise FieldkitError(f"There is no '{language}': the languages are {', '.join(LANGUAGES)}.")
    sections = tomllib.loads((_FOLDER / f"{language}.toml").read_text(encoding="utf-8"))
    return {f"{section}.{key}": text for section, texts in sections.items() for key, text in texts.items()}


def tell(message, language="en"):
    """One message in words.

    Parameters
    ----------
    message : dict
        ``key`` of the sentence and ``values``: numbers, texts, or ``{"key": ...}`` of a name to be looked up.
    language : str
        Code of the language.

    Returns
    -------
    str

    Examples
    --------
    >>> tell({"key": "basking.sure", "values": {"error": "0.6"}}, "en")
    'Each end of the basking span may be off by 0.6 °C.'
    """
    words = catalogue(language)
    values = {name: _value(value, words, language) for name, value in message.get("values", {}).items()}
    return words[message["key"]].format(**values)


def _value(value, words, language):
    if isinstance(value, dict):
        return tell(value, language)
    text = str(value)
    # A number was written with its digits when it was computed: only its marks change.
    if text.replace(",", "").replace(".", "").lstrip("-−").isdigit():
        mark = words["page.decimal"]
        text = text.replace(",", "\N{NARROW NO-BREAK SPACE}" if mark == "," else ",")
        whole, point, rest = text.partition(".")
        text = f"{whole}{mark}{rest}" if point else whole
        text = text.replace("-", "−", 1)
    return text
