"""The guided notebooks of a write-up: which are run, with which parameters, and what is hidden in them afterwards."""

import ast
import difflib
import re
from dataclasses import dataclass, field
from pathlib import Path

from fieldkit.core import FieldkitError, Role, resource_dir

# Exercises and their answers are for the learner, and so are asides: cells on which nothing rests that is shown.
UNRUN_TAGS = {"exercise", "answer", "aside"}
# What the folders are called in a published notebook, whatever they are called at home.
PUBLIC_NAMES = {"season_folder": "season", "enclosure_folder": "enclosure"}
# What a table is called in a sentence.
_TABLES = {
    "choices": "choice sets",
    "gradient": "body temperatures from a gradient",
    "loggers": "readings of loggers",
    "scans": "scans of the animals",
    "weather": "records of weather stations",
}


class WriteUpError(RuntimeError):
    """A notebook that failed for a reason that the person with the season cannot mend: a fault of the kit."""


@dataclass(kw_only=True)
class Run:
    """One notebook of a write-up and what became of it."""

    name: str
    section: str
    order: float
    notebook: object
    # Whether it is this notebook that publishes the verdict.
    has_verdict: bool = False
    state: str = "to run"
    reason: str = ""
    # What could not be done: index of a cell and why; the reason is empty where it was told already.
    missing: dict = field(default_factory=dict)
    collected: dict = field(default_factory=lambda: {"results": [], "calls": [], "estimates": []})
    results_folder: Path | None = None
    # Set while it runs, so that it can be stopped.
    kernel_pid: int | None = None

    @property
    def cells(self):
        """Cells that run: all but exercises, answers and asides, which are for the learner."""
        return [cell for cell in self.notebook.cells if not UNRUN_TAGS & tags(cell)]

    @property
    def told(self):
        """Why parts are missing; a cell that the write-up does not show is missed only through those that it shows."""
        shown = (index for index in self.missing if "writeup" in tags(self.notebook.cells[index]))
        return list(dict.fromkeys(self.missing[index] for index in shown))


def tags(cell):
    """Tags of a cell, as a set."""
    return set(cell.metadata.get("tags", []))


def listed(season, *, only=None, with_enclosure=True):
    """List the notebooks of a write-up in order, those that cannot run marked as skipped with the reason.

    Parameters
    ----------
    season : Season
        Decides by its tables which notebooks can run.
    only : sequence of str, optional
        Names of notebooks, or the numbers they begin with; None means all.
    with_enclosure : bool
        Whether there is an enclosure to hold against the season.

    Returns
    -------
    list of Run
    """
    import nbformat

    runs = []
    for path in sorted(resource_dir("notebooks").glob("[0-9]*.ipynb")):
        notebook = nbformat.read(path, as_version=4)
        about = notebook.metadata.get("fieldkit", {})
        if not any("writeup" in tags(cell) for cell in notebook.cells):
            continue
        run = Run(name=path.stem, section=about["section"], order=about["order"], notebook=notebook)
        run.has_verdict = about.get("role") == Role.VERDICT
        missing = [table for table in about.get("needs", []) if _is_missing(getattr(season, table, None))]
        if missing:
            run.state = "skipped"
            run.reason = f"It needs {_join(missing)}, which this season does not have."
        elif not with_enclosure and "enclosure_folder" in parameters_of(notebook):
            run.state = "skipped"
            run.reason = "It needs an enclosure to hold against the season, and none was given (--enclosure DIR)."
        runs.append(run)
    if only is not None:
        chosen = []
        for wanted in only:
            fitting = [run for run in runs if run.name == wanted or run.name.split("_")[0] == wanted]
            if not fitting:
                known = ", ".join(run.name for run in runs)
                raise FieldkitError(f"There is no notebook '{wanted}' to write up. There are: {known}.")
            chosen += fitting
        runs = [run for run in runs if run in chosen]
    return sorted(runs, key=lambda run: run.order)


def _is_missing(table):
    return table is None or (hasattr(table, "__len__") and len(table) == 0)


def _join(names):
    names = [_TABLES.get(name, name) for name in names]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def parameters_of(notebook):
    """Read the names and values that a notebook's parameters cell sets.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        A notebook with one code cell tagged ``parameters``.

    Returns
    -------
    dict
    """
    return {name: ast.literal_eval(node.value) for name, node in _assignments(_parameters_cell(notebook)).items()}


def _parameters_cell(notebook):
    cells = [cell for cell in notebook.cells if cell.cell_type == "code" and "parameters" in tags(cell)]
    if len(cells) != 1:
        raise WriteUpError(f"A notebook needs one cell tagged 'parameters'; this one has {len(cells)}.")
    return cells[0]


def _assignments(cell):
    found = {}
    for node in ast.parse(cell.source).body:
        if not (isinstance(node, ast.Assign) and len(node.targets) == 1 and isinstance(node.targets[0], ast.Name)):
            raise WriteUpError(f"A parameters cell may only set names to plain values, not: {ast.unparse(node)}")
        found[node.targets[0].id] = node
    return found


def set_parameters(notebook, values):
    """Set parameters of a notebook in place, in the text of its parameters cell.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        Changed in place.
    values : dict
        Names and plain values (numbers, text, True, False, None, lists of these).

    Raises
    ------
    FieldkitError
        For a name that the cell does not set (a misspelt name would otherwise change nothing and say nothing), or a
        value that is not plain.
    """
    cell = _parameters_cell(notebook)
    nodes = _assignments(cell)
    lines = cell.source.splitlines()
    for name in sorted(values, key=lambda n: -nodes[n].lineno if n in nodes else 0):
        if name not in nodes:
            near = difflib.get_close_matches(name, nodes, n=1)
            hint = f" Did you mean '{near[0]}'?" if near else f" There are: {', '.join(nodes)}."
            raise FieldkitError(f"The notebook has no parameter '{name}'.{hint}")
        text = repr(values[name])
        try:
            ast.literal_eval(text)
        except (ValueError, SyntaxError):
            raise FieldkitError(f"The parameter '{name}' must be a number, a text or a list, not {text}.") from None
        node = nodes[name]
        lines[node.lineno - 1 : node.end_lineno] = [f"{name} = {text}"]
    cell.source = "\n".join(lines)


def spread_parameters(runs, season_folder, given, *, enclosure_folder=None):
    """Set the season folder in every notebook and each given parameter in those that have it.

    Parameters
    ----------
    runs : list of Run
        Their notebooks are changed in place.
    season_folder : str or None
        None for the demo season.
    given : dict
        Parameter names and values.
    enclosure_folder : str, optional
        Set in every notebook that has it.

    Raises
    ------
    FieldkitError
        For a name that no notebook has.
    """
    known = {run.name: parameters_of(run.notebook) for run in runs}
    everything = {name for names in known.values() for name in names} - {"season_folder", "enclosure_folder"}
    for name in given:
        if name not in everything:
            near = difflib.get_close_matches(name, everything, n=1)
            hint = f" Did you mean '{near[0]}'?" if near else f" There are: {', '.join(sorted(everything)) or 'none'}."
            raise FieldkitError(f"No notebook has a parameter '{name}'.{hint}")
    for run in runs:
        own = {"season_folder": season_folder, "enclosure_folder": enclosure_folder} | given
        set_parameters(run.notebook, {name: value for name, value in own.items() if name in known[run.name]})


def hide_path(one, parameter, path):
    """Put a neutral name in place of the path of a folder in all that is published: nobody need know it.

    The parameter is set again. What was printed is text, and there the path is replaced; no source ever is, for a
    folder's name pasted into code would be run with it.

    Parameters
    ----------
    one : Run
        Changed in place.
    parameter : {"season_folder", "enclosure_folder"}
        What holds the path in the notebook.
    path : str
        As it was set.
    """
    name = PUBLIC_NAMES[parameter]
    if parameter in parameters_of(one.notebook):
        set_parameters(one.notebook, {parameter: name})
    spelled = {str(path), Path(path).as_posix(), str(Path(path).resolve()), Path(path).resolve().as_posix()}
    spelled |= {repr(text)[1:-1] for text in spelled}

    def hide(value):
        if isinstance(value, dict):
            return type(value)({key: hide(item) for key, item in value.items()})
        if isinstance(value, list):
            return [hide(item) for item in value]
        if isinstance(value, str):
            for text in sorted(spelled, key=len, reverse=True):
                value = value.replace(text, name)
        return value

    for cell in one.notebook.cells:
        if "outputs" in cell:
            cell.outputs = hide(cell.outputs)
    one.collected = hide(one.collected)
    one.reason = hide(one.reason)
    one.missing = {index: hide(reason) for index, reason in one.missing.items()}


# What Python puts in front of a warning: file and line of this computer.
_WARNED = re.compile(r"^(?:.*?:\d+: )?(\w*Warning: .*)$", flags=re.MULTILINE)


def warnings_of(one):
    """Warnings that Python gave while a notebook ran, without the paths of this computer."""
    found = [warning for output in _warned(one) for warning in _WARNED.findall(output["text"])]
    return list(dict.fromkeys(found))


def hide_places_of_warnings(one):
    """Take file and line out of the warnings that a notebook shows: they are paths of this computer."""
    for output in _warned(one):
        output["text"] = _WARNED.sub(r"\1", output["text"])


def _warned(one):
    return [
        output for cell in one.notebook.cells for output in cell.get("outputs", []) if output.get("name") == "stderr"
    ]
