"""Every exercise of every notebook is tried with right, nearly right and wrong answers.

The cells are run as they are, with the answer in place of the first None; the few that look at what the notebook
computed get a small stand-in of it.
"""

import ast
from types import SimpleNamespace

import nbformat
import pandas as pd
import pytest

import fieldkit
from fieldkit.classroom import lessons
from fieldkit.classroom import sheet as class_sheet
from fieldkit.core import resource_dir
from fieldkit.report.writeup import running

NOTEBOOKS = resource_dir("notebooks")
# Accepted: the right answer and what a reader writes who rounds or capitalises; refused: the slips one expects.
TRIED = {
    "01": (("surface", "Surface", " surface "), ("air", "radiation", 1)),
    "02": ((23, 23.0), (17, 22, 24, 22.7)),
    "03": ((0, 0.0), (1, 2)),
    "04": ((5, 4.6), (0, 12, -5)),
    "05": (("flank to the east", "Flank to the East"), ("level back", "slope of 40° to the noon sun")),
    "06": ((1, 1.0), (0, 2)),
    "07": (("wider", "Wider"), ("narrower", "the same")),
    "08": (("lower", "Lower"), ("higher",)),
    "09": ((0.75, 0.753), (0.25, 0.7, 75)),
    "10": ((0.31,), (0.25, 0.45)),
    "11": (("up", "Up"), ("down",)),
    "12": ((False,), (True,)),
    "13": ((4, 4.3, 4.27, 5), (-4.3, 0, 3, 7)),
    "14": ((0.2, 0.203), (5, 0.25, 2)),
    "15": ((0.5, 0.502), (0.4, 0.9, 1.5)),
    "16": ((0.0625, 0.063, 0.06, 1 / 16), (0.03125, 0.125, 0.05)),
    "L1": ((1.4, 1.42, 1.45), (-1.4, 1.2, 2.6)),
    "L2": ((120, 120.0), (20, 30, 119)),
}


def surroundings(name):
    """What the exercise cell of a notebook reads from the cells above it."""
    if name == "06":
        choices = pd.DataFrame({"set_id": ["a", "a", "b", "b"], "shade_air_c": [30.0, 31.0, 18.0, 19.0]})
        return {
            "season": SimpleNamespace(choices=choices),
            "turn": SimpleNamespace(switch=SimpleNamespace(estimate=25.0)),
        }
    if name == "10":
        return {"enclosure_folder": None}
    if name == "L1":
        return {"answer": lessons.compare_covers(class_sheet.read_sheet("thermometer_in_the_sun"))}
    if name == "L2":
        return {"choices": lessons.choice_sets(class_sheet.read_sheet("choose_like_a_lizard"))}
    return {}


def exercise(name):
    (path,) = [*NOTEBOOKS.glob(f"{name}_*.ipynb"), *(NOTEBOOKS / "classroom").glob(f"{name}_*.ipynb")]
    book = nbformat.read(path, as_version=4)
    (cell,) = [c for c in book.cells if c.cell_type == "code" and "exercise" in running.tags(c)]
    return cell.source


def run(source, name, value):
    tree = ast.parse(source)
    blank = next(n for n in ast.walk(tree) if isinstance(n, ast.Assign) and getattr(n.value, "value", 0) is None)
    blank.value = ast.copy_location(ast.Constant(value), blank.value)
    exec(compile(tree, name, "exec"), {"fieldkit": fieldkit, **surroundings(name)})


def test_no_exercise_is_left_out():
    books = [*NOTEBOOKS.glob("*.ipynb"), *(NOTEBOOKS / "classroom").glob("*.ipynb")]
    with_one = {
        path.name[:2]
        for path in books
        if any("exercise" in running.tags(c) and c.cell_type == "code" for c in nbformat.read(path, as_version=4).cells)
    }
    assert with_one == set(TRIED)


@pytest.mark.parametrize("name", TRIED)
def test_right_and_nearly_right_answers_are_accepted_and_wrong_ones_are_not(name):
    source, (accepted, refused) = exercise(name), TRIED[name]
    for value in (None, *accepted):
        try:
            run(source, name, value)
        except AssertionError:
            pytest.fail(f"{value!r} was refused")
    for value in refused:
        with pytest.raises(AssertionError, match=r"\w"):
            run(source, name, value)
