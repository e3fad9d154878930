"""Inside a notebook's kernel: note the results it came to and the fieldkit functions it called, with their sources."""

import ast
import inspect
import json
import re
from pathlib import Path

from fieldkit.core import Result

# Finding files and drawing are no methods of the analysis.
_NO_METHOD = ("fieldkit.core", "fieldkit.report", "fieldkit.records.folder")
_SECTION = re.compile(r"^(?P<name>[A-Z][A-Za-z ]+)\n-{3,}\s*$", re.MULTILINE)


def collect(namespace, sources, folder):
    """Write what a finished notebook came to as JSON, and each result's table and left-out rows as CSV.

    Parameters
    ----------
    namespace : dict
        The notebook's variables.
    sources : list of str
        Source of each code cell that was run.
    folder : str
        Where to write ``collected.json`` and the CSV files.
    """
    folder = Path(folder)
    found = []
    for name, value in list(namespace.items()):
        if name.startswith("_") or not isinstance(value, Result):
            continue
        value.table.to_csv(folder / f"{name}.csv", lineterminator="\n")
        left_out = getattr(value, "left_out", None)
        # Some results only count what they left out; only rows can be listed.
        if hasattr(left_out, "to_csv") and len(left_out):
            left_out.to_csv(folder / f"{name}-left-out.csv", index=False, lineterminator="\n")
        found.append(
            {
                "name": name,
                "kind": type(value).__name__,
                "module": type(value).__module__,
                "sentence": value.sentence,
                "verdict": getattr(value, "verdict", None),
                "seed": getattr(value, "seed", None),
                "settings": _plain(getattr(value, "settings", None) or {}),
            }
        )
    calls = called(namespace, sources)
    (folder / "collected.json").write_text(json.dumps({"results": found, "calls": calls}, default=str), "utf-8")


def called(namespace, sources):
    """List the fieldkit functions that the code calls, in order, each with what it does and its sources.

    Parameters
    ----------
    namespace : dict
        Variables of the notebook, in which names are looked up.
    sources : list of str
        Source of each code cell.

    Returns
    -------
    list of dict
        ``function``, ``summary``, ``notes`` (text of the docstring's Notes and References), ``options`` (keyword
        arguments as written).

    Examples
    --------
    >>> from fieldkit.physics import sensors
    >>> called({"sensors": sensors}, ["sensors.blackbody_band_share(30.0)"])[0]["function"]
    'sensors.blackbody_band_share'
    """
    calls = {}
    for source in sources:
        try:
            tree = ast.parse(source)
        except SyntaxError:  # a cell with a % or ! line: the functions it calls cannot be read off
            continue
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call):
                continue
            function = _resolve(node.func, namespace)
            module = getattr(function, "__module__", None) or ""
            if not module.startswith("fieldkit.") or module.startswith(_NO_METHOD):
                continue
            name = f"{module.removeprefix('fieldkit.').rpartition('.')[2]}.{function.__qualname__}"
            call = calls.setdefault(name, {"function": name, **_documented(function), "options": []})
            options = ", ".join(f"{k.arg}={ast.unparse(k.value)}" for k in node.keywords if k.arg)
            if options and options not in call["options"]:
                call["options"].append(options)
    return list(calls.values())


def _resolve(node, namespace):
    if isinstance(node, ast.Name):
        return namespace.get(node.id)
    if isinstance(node, ast.Attribute):
        owner = _resolve(node.value, namespace)
        # Only modules are walked: a property of an object could compute.
        return getattr(owner, node.attr, None) if inspect.ismodule(owner) else None
    return None


def _documented(function):
    text = inspect.getdoc(function) or ""
    marks = list(_SECTION.finditer(text))
    summary = text[: marks[0].start()] if marks else text
    notes = []
    for mark, following in zip(marks, [*marks[1:], None]):
        if mark["name"] in {"Notes", "References", "Source", "Sources"}:
            notes.append(text[mark.end() : following.start() if following else None].strip())
    return {"summary": _prose(summary.split("\n\n")[0]), "notes": _prose(" ".join(notes))}


def _prose(text):
    """Docstring text without the marks that only a documentation builder needs."""
    text = re.sub(r":\w+:`~?([^`]+)`", r"\1", text)
    text = re.sub(r"^\.\. \[\d+\]\s*", "", text, flags=re.MULTILINE)
    return " ".join(text.replace("`", "").split())


def _plain(value):
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple | set):
        return [_plain(v) for v in value]
    if value is None or isinstance(value, bool | int | float | str):
        return value
    if hasattr(value, "item") and getattr(value, "size", 1) == 1:
        return value.item()
    return str(value)
