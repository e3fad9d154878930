"""Inside a notebook's kernel: note the results it came to and the fieldkit functions it called, with their sources."""

import ast
import inspect
import json
import re
from pathlib import Path

from fieldkit.core import Result
from fieldkit.records.season.reader import Season
from fieldkit.records.spreadsheet import safe_table

# Finding files and drawing are no methods of the analysis.
_NO_METHOD = ("fieldkit.core", "fieldkit.report", "fieldkit.records")
# Stands for an argument that is no plain value.
GIVEN = "given"
# Whose rows the analyses of a room leave out, where the list of them does not say.
_TABLE_OF = {"Sightings": "sightings", "Window": "scans"}
_SECTION = re.compile(r"^(?P<name>[A-Z][A-Za-z ]+)\n-{3,}\s*$", re.MULTILINE)


def collect(namespace, cells, folder):
    """Write what a finished notebook came to as JSON, and each result's table and left-out rows as CSV.

    Parameters
    ----------
    namespace : dict
        The notebook's variables.
    cells : list of (str, bool)
        Source of each code cell that was run, and whether the write-up shows it.
    folder : str
        Where to write ``collected.json`` and the CSV files.
    """
    folder = Path(folder)
    statements = behind_the_shown(cells)
    behind = {name for statement in statements for name in _names(statement)}
    found = []
    rows = next((value.rows for value in namespace.values() if isinstance(value, Season)), {})
    for name, value in list(namespace.items()):
        if name.startswith("_") or not isinstance(value, Result):
            continue
        safe_table(value.table).to_csv(folder / f"{name}.csv", lineterminator="\n")
        left_out = getattr(value, "left_out", None)
        # Some results only count what they left out; only rows can be listed.
        if hasattr(left_out, "to_csv") and len(left_out):
            table = _TABLE_OF.get(type(value).__name__, {"choice": "choices"}.get(topic_of(type(value).__module__)))
            safe_table(in_files(left_out, rows, table)).to_csv(
                folder / f"{name}-left-out.csv", index=False, lineterminator="\n"
            )
        found.append(
            {
                "name": name,
                "kind": type(value).__name__,
                "module": type(value).__module__,
                "sentence": value.sentence,
                "verdict": getattr(value, "verdict", None),
                "seed": getattr(value, "seed", None),
                "settings": _plain(getattr(value, "settings", None) or {}),
                "warnings": list(getattr(value, "warnings", ())),
                "shown": name in behind,
            }
        )
    calls = called(namespace, statements)
    (folder / "collected.json").write_text(json.dumps({"results": found, "calls": calls}, default=str), "utf-8")


def topic_of(module):
    """Topic that a module belongs to: the package it is a private file of.

    Examples
    --------
    >>> topic_of("fieldkit.field.choice.verdict"), topic_of("fieldkit.field.sunlight")
    ('choice', 'sunlight')
    """
    parts = module.split(".")
    return parts[-1] if len(parts) < 4 else parts[-2] if len(parts) > 4 else parts[2]


def in_files(left_out, rows, table=None):
    """Rows left out by file and row as a spreadsheet counts, in place of the index of the table as read.

    Parameters
    ----------
    left_out : pandas.DataFrame
        With ``row`` the index of a table, and ``table`` its name unless all are of one.
    rows : dict of str to pandas.DataFrame
        ``Season.rows``.
    table : str, optional
        Name of the table where `left_out` has no such column.

    Returns
    -------
    pandas.DataFrame
        ``file, row`` first; what cannot be placed comes back as it is.

    Examples
    --------
    >>> import pandas as pd
    >>> rows = {"scans": pd.DataFrame({"file": "scans.csv", "row": [2, 3, 5]})}
    >>> left_out = pd.DataFrame({"row": [2], "reason": ["behaviour is empty"]})
    >>> in_files(left_out, rows, "scans").values.tolist()
    [['scans.csv', 5, 'behaviour is empty']]
    """
    if "row" not in left_out:
        return left_out
    tables = left_out["table"] if "table" in left_out else [table] * len(left_out)
    try:
        found = [rows[name].loc[row] for name, row in zip(tables, left_out["row"])]
    except KeyError:  # no season, or rows that a notebook made itself
        return left_out
    out = left_out.drop(columns=["row", "table"], errors="ignore")
    out.insert(0, "row", [place["row"] for place in found])
    out.insert(0, "file", [place["file"] for place in found])
    return out


def behind_the_shown(cells):
    """Statements that what is shown rests on: the shown cells, and back from them whatever made their variables.

    Parameters
    ----------
    cells : list of (str, bool)
        Source of each code cell, and whether it is shown.

    Returns
    -------
    list of ast.stmt
        In the order in which they ran.

    Examples
    --------
    >>> cells = [("a = 1", False), ("b = 2", False), ("c = a + 1", False), ("print(c)", True)]
    >>> [ast.unparse(statement) for statement in behind_the_shown(cells)]
    ['a = 1', 'c = a + 1', 'print(c)']
    """
    statements = []
    for source, shown in cells:
        try:
            statements += [(statement, shown) for statement in ast.parse(source).body]
        except SyntaxError:  # a cell with a % or ! line: the functions it calls cannot be read off
            continue
    kept, needed = [], set()
    for statement, shown in reversed(statements):
        made = _names(statement, ast.Store)
        if shown or made & needed:
            kept.append(statement)
            # Inside an if or a loop a name may stay as it was before.
            certain = made if isinstance(statement, ast.Assign) else set()
            needed = (needed - certain) | _names(statement, ast.Load)
    return kept[::-1]


def _names(statement, context=ast.expr_context):
    return {n.id for n in ast.walk(statement) if isinstance(n, ast.Name) and isinstance(n.ctx, context)}


def called(namespace, statements):
    """List the fieldkit functions that statements call, in order, each with what it does and its settings.

    Parameters
    ----------
    namespace : dict
        Variables of the notebook, in which names are looked up.
    statements : list of ast.stmt
        Statements of the notebook.

    Returns
    -------
    list of dict
        ``function``, ``summary``, ``notes`` (text of the docstring's Notes and References), ``settings`` (every
        argument but None, as given or by default; "given" where it is no plain value). A function that is called again
        stands once, as it was called first.

    Examples
    --------
    >>> from fieldkit.physics import sensors
    >>> called({"sensors": sensors}, ast.parse("sensors.blackbody_band_share(30.0)").body)[0]["function"]
    'sensors.blackbody_band_share'
    """
    calls = {}
    for node in (node for statement in statements for node in ast.walk(statement)):
        if not isinstance(node, ast.Call):
            continue
        function = _resolve(node.func, namespace)
        module = getattr(function, "__module__", None) or ""
        if not module.startswith("fieldkit.") or module.startswith(_NO_METHOD):
            continue
        name = f"{topic_of(module)}.{function.__name__}"
        if name not in calls:
            calls[name] = {"function": name, **_documented(function), "settings": _settings(function, node, namespace)}
    return list(calls.values())


def _settings(function, node, namespace):
    """Settings in force: the defaults of the function, then what this call gives.

    What is no plain value, such as a table, is only noted as given.
    """
    parameters = inspect.signature(function).parameters
    settings = {name: parameter.default for name, parameter in parameters.items()}
    written = [*zip(parameters, node.args), *((keyword.arg, keyword.value) for keyword in node.keywords)]
    for name, value in written:
        given = _given(value, namespace)
        if name is not None:
            settings[name] = given
        elif isinstance(given, dict):
            settings |= given
    known = {k: v for k, v in settings.items() if v is not None and v is not inspect.Parameter.empty}
    return {name: _plain(value) if _is_plain(value) else GIVEN for name, value in known.items()}


def _given(node, namespace):
    """Value of an argument: a literal or a variable; anything else would have to be computed again."""
    if isinstance(node, ast.Name):
        return namespace.get(node.id)
    try:
        return ast.literal_eval(node)
    except ValueError:
        return GIVEN


def _is_plain(value):
    if isinstance(value, list | tuple):
        return all(map(_is_plain, value))
    return isinstance(value, bool | int | float | str)


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
