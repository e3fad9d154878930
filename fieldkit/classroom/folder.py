"""The classroom set: student notebooks made from the teacher's, and a folder to hand out."""

import copy
import shutil
from pathlib import Path

from fieldkit.classroom import pages, printed
from fieldkit.classroom.declared import SAFETY
from fieldkit.classroom.sheet import read_sheet
from fieldkit.core import resource_dir, swapped_in
from fieldkit.report.writeup import running

# Cells with these tags stay with the teacher.
KEPT_BACK = {"answer", "teacher"}
LESSONS = {
    "L1_thermometer_in_the_sun": "thermometer_in_the_sun",
    "L2_choose_like_a_lizard": "choose_like_a_lizard",
}


def student_copy(notebook):
    """A student's notebook from the teacher's: answers and notes for the teacher gone, nothing run yet.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        The teacher's; left as it is.

    Returns
    -------
    nbformat.NotebookNode

    Examples
    --------
    >>> import nbformat.v4 as v4
    >>> cells = [v4.new_markdown_cell("Why?"), v4.new_markdown_cell("Because.", metadata={"tags": ["answer"]})]
    >>> [cell.source for cell in student_copy(v4.new_notebook(cells=cells)).cells]
    ['Why?']
    """
    student = copy.deepcopy(notebook)
    student.cells = [cell for cell in student.cells if not running.tags(cell) & KEPT_BACK]
    for cell in student.cells:
        cell.metadata.pop("execution", None)
        if cell.cell_type == "code":
            cell.outputs, cell.execution_count = [], None
    # What a widget or a run left behind can hold answers too.
    student.metadata = type(student.metadata)(
        {k: v for k, v in student.metadata.items() if k in ("kernelspec", "language_info")}
    )
    return student


def write_student_copies(folder, out):
    """Make the student notebook of every lesson in a folder, over earlier copies.

    Parameters
    ----------
    folder, out : pathlib.Path
        Where the teacher's notebooks are, and where the copies go.

    Returns
    -------
    list of pathlib.Path
    """
    import nbformat

    written = []
    out.mkdir(parents=True, exist_ok=True)
    for name in LESSONS:
        book = student_copy(nbformat.read(folder / f"{name}.ipynb", as_version=4))
        nbformat.write(book, out / f"{name}.ipynb")
        written.append(out / f"{name}.ipynb")
    return written


def write(out, *, all_notebooks=False):
    """Make the folder for a classroom: notebooks, pages to read without Python, sheets to print and to type into.

    Parameters
    ----------
    out : str or pathlib.Path
        New or empty folder.
    all_notebooks : bool
        Also a page of every guided notebook.

    Returns
    -------
    list of pathlib.Path
        The files, relative to the folder.

    Raises
    ------
    FieldkitError
        When something is there already.
    """
    out = Path(out).expanduser().absolute()
    source = resource_dir("notebooks") / "classroom"
    with swapped_in(out) as (half, _):
        for folder in ("teacher", "sheets", "example"):
            (half / folder).mkdir()
        for name, lesson in LESSONS.items():
            shutil.copyfile(source / f"{name}.ipynb", half / "teacher" / f"{name}.ipynb")
            (half / "teacher" / f"guide_{lesson}.html").write_text(pages.guide(lesson), encoding="utf-8")
            printed.write_blank(lesson, half / "sheets")
            example = half / "example" / f"invented_{lesson}.xlsx"
            printed.write_workbook(lesson, read_sheet(lesson), example)
        write_student_copies(source, half / "student")
        pages.write(source, half / "pages", LESSONS, without=KEPT_BACK)
        pages.write(source, half / "teacher", LESSONS)
        if all_notebooks:
            guided = sorted(path.stem for path in source.parent.glob("[0-9]*.ipynb"))
            pages.write(source.parent, half / "notebooks", guided)
        (half / "README.txt").write_text(_readme(), encoding="utf-8")
    return sorted(path.relative_to(out) for path in out.rglob("*") if path.is_file())


def _readme():
    care = "\n".join(f"- {line}" for line in SAFETY)
    return f"""Two lessons of two periods: a thermometer in the sun, and choose like a lizard

Without Python
1. Print teacher/guide_... of the lesson with your browser: materials, both periods minute by minute, questions.
2. Print from sheets/ (the files for A4 or for Letter). Lesson 1: one page for each group. Lesson 2: one page for each
   place, five in all, and the cards, which you cut apart.
3. Period 1: fill the pages outside. Type them into the workbook of the lesson (sheets/, .xlsx), one below the other;
   decimals the way your program wants them, no units. It computes itself in any office program (formulas, no macros):
   the class's sentence, numbers and figures stand on its sheet "answer". A red row cannot be right: the column
   "to mend" says why. Orange is possible and odd: the column "look again" says why.
4. Period 2: the class reads pages/ on tablets (no network needed; their numbers are an invented class), and the
   workbook on the board. example/ holds both workbooks filled with an invented class: use them if it rains.

With Python
5. Where you typed   .venv/bin/fieldkit classroom ...   type   .venv/bin/jupyter lab   and the name of this folder.
   Open the lesson in teacher/. In its first code cell write the path of your workbook, or of the folder with one
   file from each group, in quotes after class_sheet =, such as
   class_sheet = "../sheets/thermometer_in_the_sun.xlsx", and run all cells (menu Run, Run All Cells). A mistake in a
   sheet is named with its file and row: mend it there. With class_sheet = None it is an invented class.
6. The class gets student/: the same notebooks without the answers.

Take care
{care}
The rules of your school and your place come first.
"""
