"""Inside a notebook's kernel: note what it publishes, and the methods it calls with their settings and sources."""

import ast
import inspect
import json
import re
import sys
from pathlib import Path

from fieldkit.core import FieldkitError, Role, listen
from fieldkit.records.season.reader import Season
from fieldkit.records.spreadsheet import safe_table
from fieldkit.report.plain.results import plain

# Stands for an argument that is no plain value.
GIVEN = "given"
_SECTION = re.compile(r"^(?P<name>[A-Z][A-Za-z ]+)\n-{3,}\s*$", re.MULTILINE)


class Recorder:
    """Listens while a notebook runs; `collect` writes down what it heard."""

    def __init__(self):
        self._count = 0
        self.calls = []
        self.results = {}

    def begin(self, info):
        """Count the cells of the notebook; what is asked of the kernel besides leaves no history and is not counted."""
        self._count += bool(info.store_history)

    def called(self, function, arguments, keywords):
        """Note a method that the notebook itself calls, and the line that calls it."""
        # Frame 0 is this one, 1 the wrapper of the method, 2 whoever called it.
        caller = sys._getframe(2)
        if caller.f_globals.get("__name__") == "__main__":
            self.calls.append(((self._count, caller.f_lineno), described(function, arguments, keywords)))

    def published(self, result, name, role, depth):
        """Keep a result under its name; the same name again is the same result, newly made."""
        if role is Role.VERDICT and any(r is Role.VERDICT and n != name for n, (_, r, _) in self.results.items()):
            raise FieldkitError("A notebook publishes one verdict, not two.")
        self.results[name] = (result, role, depth)


def start():
    """Listen from now on; what is heard is in the recorder that comes back."""
    from IPython import get_ipython

    recorder = Recorder()
    get_ipython().events.register("pre_run_cell", recorder.begin)
    listen(recorder)
    return recorder


def collect(recorder, namespace, cells, folder):
    """Write what a finished notebook came to as JSON, and each result's table and left-out rows as CSV.

    Parameters
    ----------
    recorder : Recorder
        Has listened since the first cell.
    namespace : dict
        The notebook's variables; only a season among them is used.
    cells : list of (int, str, bool)
        Number and source of each code cell that was run, and whether the write-up shows it.
    folder : str
        Where to write ``collected.json`` and the CSV files.
    """
    from fieldkit.field import pool

    folder = Path(folder)
    found, estimates = [], []
    rows = next((value.rows for value in namespace.values() if isinstance(value, Season)), {})
    for name, (value, role, depth) in recorder.results.items():
        safe_table(value.table).to_csv(folder / f"{name}.csv", lineterminator="\n")
        left_out = getattr(value, "left_out", None)
        # Some results only count what they left out; only rows can be listed.
        if hasattr(left_out, "to_csv") and len(left_out) and "reason" in left_out:
            safe_table(in_files(left_out, rows, value.rows_of)).to_csv(
                folder / f"{name}_left_out.csv", index=False, lineterminator="\n"
            )
        estimates += pool.rows(value)
        found.append(
            {
                "name": name,
                "role": role,
                "depth": depth,
                "kind": type(value).__name__,
                "module": type(value).__module__,
                "sentence": value.sentence,
                "verdict": getattr(value, "verdict", None),
                "seed": getattr(value, "seed", None),
                "settings": _plain(getattr(value, "settings", None) or {}),
                "warnings": list(value.warnings),
                "plain": plain(value, topic_of(type(value).__module__)),
            }
        )
    calls = shown_calls(recorder.calls, cells)
    (folder / "collected.json").write_text(
        json.dumps({"results": found, "calls": calls, "estimates": estimates}, default=str), "utf-8"
    )


def topic_of(module):
    """Topic that a module belongs to: the nearest package above it that has a public face.

    Examples
    --------
    >>> topic_of("fieldkit.field.choice.verdict"), topic_of("fieldkit.field.sunlight")
    ('choice', 'sunlight')
    >>> topic_of("fieldkit.field.choice.robust.calibration"), topic_of("fieldkit.field.climate.grid.bands")
    ('choice', 'grid')
    """
    parts = module.split(".")
    root = Path(__file__).parents[2]
    for depth in range(len(parts) - 1, 2, -1):
        if root.joinpath(*parts[1:depth], "__init__.pyi").exists():
            return parts[depth - 1]
    return parts[-1] if len(parts) < 4 else parts[2]


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
    """Lines that what is shown rests on: those of shown cells, and back from them whatever made their variables.

    Parameters
    ----------
    cells : list of (int, str, bool)
        Number and source of each code cell, and whether it is shown.

    Returns
    -------
    set of (int, int)
        Number of the cell, and line in it.

    Examples
    --------
    >>> cells = [(1, "a = 1", False), (2, "b = 2", False), (3, "c = a + 1", False), (4, "print(c)", True)]
    >>> sorted(behind_the_shown(cells))
    [(1, 1), (3, 1), (4, 1)]
    """
    statements = []
    for count, source, shown in cells:
        try:
            statements += [(count, statement, shown) for statement in ast.parse(source).body]
        except SyntaxError:  # a cell with a % or ! line
            continue
    kept, needed = set(), set()
    for count, statement, shown in reversed(statements):
        made = _names(statement, ast.Store)
        if shown or made & needed:
            kept |= {(count, line) for line in range(statement.lineno, statement.end_lineno + 1)}
            # Inside an if or a loop a name may stay as it was before.
            certain = made if isinstance(statement, ast.Assign) else set()
            needed = (needed - certain) | _names(statement, ast.Load)
    return kept


def _names(statement, context):
    return {n.id for n in ast.walk(statement) if isinstance(n, ast.Name) and isinstance(n.ctx, context)}


def shown_calls(calls, cells):
    """Calls that what is shown rests on, each method once, as it was called first.

    Parameters
    ----------
    calls : list of ((int, int), dict)
        Number of the cell and line in it, and what `described` says.
    cells : list of (int, str, bool)
        As `behind_the_shown` takes them.

    Returns
    -------
    list of dict
    """
    behind = behind_the_shown(cells)
    found = {}
    for place, call in calls:
        if place in behind:
            found.setdefault(call["function"], call)
    return list(found.values())


def described(function, arguments, keywords):
    """Say what a call does and with which settings.

    Parameters
    ----------
    function : callable
        With a numpydoc docstring.
    arguments, keywords : tuple, dict
        Of the call.

    Returns
    -------
    dict
        ``function``, ``summary``, ``notes`` (text of the docstring's Notes and References), ``settings`` (every
        argument but None, as given or by default; "given" where it is no plain value).

    Examples
    --------
    >>> from fieldkit.physics import sensors
    >>> call = described(sensors.blackbody_band_share, (30.0,), {})
    >>> call["function"], call["settings"]["temperature_c"]
    ('sensors.blackbody_band_share', 30.0)
    """
    signature = inspect.signature(function)
    bound = signature.bind(*arguments, **keywords)
    bound.apply_defaults()
    known = dict(bound.arguments)
    for name, parameter in signature.parameters.items():
        if parameter.kind is parameter.VAR_KEYWORD:
            known |= known.pop(name)
    known = {name: value for name, value in known.items() if value is not None}
    settings = {name: _plain(value) if _is_plain(value) else GIVEN for name, value in known.items()}
    name = f"{topic_of(function.__module__)}.{function.__name__}"
    return {"function": name, **_documented(function), "settings": settings}


def _is_plain(value):
    if isinstance(value, list | tuple):
        return all(map(_is_plain, value))
    return isinstance(value, bool | int | float | str)


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
