"""The methods of a write-up in sentences, with their sources: one entry for each analysis that a notebook can show.

The sentences stand in templates/methods.toml and are filled with the settings that were in force, given or by default.
Words in {name?words} stand only if that setting was given, words in {name!words} only if not. An analysis without an
entry is described by its own docstring.
"""

import functools
import re
import tomllib
from pathlib import Path

from fieldkit.report.writeup.collected import GIVEN
from fieldkit.report.writeup.pages import wording

_FILE = Path(__file__).parents[2] / "templates" / "methods.toml"


@functools.cache
def _known():
    return tomllib.loads(_FILE.read_text(encoding="utf-8"))


def sentence(call):
    """What one analysis did, with the settings that were in force.

    Parameters
    ----------
    call : dict
        ``function``, ``settings`` (dict), and ``summary`` and ``notes`` of its docstring.

    Returns
    -------
    str
        Empty for a helper that is no method of its own.

    Examples
    --------
    >>> call = {"function": "choice.simulation_extrapolation", "settings": {"draws": 20}}
    >>> sentence(call)[:59]
    'As a check, known amounts of reading error were added 20 ti'
    """
    text = _known()["sentences"].get(call["function"])
    if text is None:
        return f"{call['summary']} {call['notes']}".strip()
    settings = call["settings"]
    text = re.sub(r"\{(\w+)([?!])([^}]*)\}", lambda f: f[3] if (f[1] in settings) == (f[2] == "?") else "", text)
    return re.sub(r"\{(\w+)(?::([^}]*))?\}", lambda found: _filled(found, settings), text)


def _filled(found, settings):
    name, style = found[1], found[2]
    value = settings.get(name)
    if value is None or value == GIVEN:
        return "the given"
    if isinstance(value, list | tuple):
        words = [str(item) for item in value]
        return " or ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
    if style == "%":
        return f"{100 * value:g} %"
    if isinstance(value, int | float) and not isinstance(value, bool):
        return f"{value:,}" if style else f"{value:g}"
    return wording.plain(str(value))


def references(functions):
    """References that the sentences of functions rest on, in alphabetical order.

    Parameters
    ----------
    functions : iterable of str
        Such as ``"choice.compare"``.

    Returns
    -------
    list of str

    Examples
    --------
    >>> references(["heat.sky_longwave"])[0][:12]
    'Prata, A. J.'
    """
    cited = {key for function in functions for key in _known()["cites"].get(function, ())}
    return sorted(full for key, full in _known()["references"].items() if key in cited)
