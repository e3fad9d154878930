"""What can hurt people is said in the field, in the lessons and in the write-up, and everywhere the same."""

import io
import itertools
from pathlib import Path

import html5lib
import nbformat
import pytest

from fieldkit.classroom import declared, folder
from fieldkit.classroom import printed as sheet_pages
from fieldkit.records import cautions
from fieldkit.records.season import printed, template

NOTEBOOKS = Path(__file__).parents[1] / "notebooks" / "classroom"
LESSONS = {"L1_thermometer_in_the_sun": "thermometer_in_the_sun", "L2_choose_like_a_lizard": "choose_like_a_lizard"}
# Issue 12, section People: each of these is named in the field and in the lessons.
NAMED = {
    "looking at the sun": "into the sun",
    "shade break": "a break in the shade after every quarter of an hour",
    "sunburn": "red skin",
    "heat": "stop when anyone is dizzy",
    "thunder": "thunder",
    "boiling and hot surfaces": "boiling water",
    "probe tips": "probe tips are sharp",
    "electricity near water": "no electricity near water",
    "fire": "no fire",
    "stones stay": "no turning over of stones",
    "collectors": "collectors",
    "permits": "permit",
}


@pytest.mark.parametrize("lines", [cautions.FIELD, cautions.LESSON], ids=["field", "lesson"])
@pytest.mark.parametrize("danger", NAMED)
def test_every_danger_is_named(lines, danger):
    assert NAMED[danger] in " ".join(lines).lower()


def test_field_sheet_and_season_file_and_lesson_sheets_carry_the_same_lines():
    import html

    for paper in ("A4", "Letter"):
        page = printed.field_sheet(paper=paper)
        html5lib.HTMLParser(strict=True).parse(io.StringIO(page))
        assert all(html.escape(line) in page for line in cautions.FIELD)
        for lesson in declared.SHEETS:
            for_lesson = sheet_pages.printable(lesson, paper=paper)
            assert all(html.escape(line) in for_lesson for line in cautions.LESSON)
    assert all(line in template.readme() for line in cautions.FIELD)
    assert all(line in folder._readme() for line in cautions.LESSON)


@pytest.mark.parametrize("side", ["", "student"])
@pytest.mark.parametrize("name", LESSONS)
def test_lesson_notebooks_say_what_the_sheets_say(name, side):
    cells = nbformat.read(NOTEBOOKS / side / f"{name}.ipynb", 4).cells
    words = "\n".join(cell.source for cell in cells if cell.cell_type == "markdown")
    assert all(f"- {line}" in words for line in declared.SAFETY)
    if not side:
        plan = declared.SHEETS[LESSONS[name]].plan + declared.SHEETS[LESSONS[name]].analysis
        rows = [line for line in words.splitlines() if line.startswith("| ") and line[2].isdigit()]
        assert rows == [f"| {step.start_min}–{step.end_min} | {step.what} |" for step in plan]


@pytest.mark.parametrize("lesson", declared.SHEETS)
def test_no_plan_keeps_a_class_in_the_sun_for_more_than_a_quarter_of_an_hour(lesson):
    plan = declared.SHEETS[lesson].plan
    assert plan[0].start_min == 0 and plan[-1].end_min == 45
    assert all(before.end_min == after.start_min for before, after in itertools.pairwise(plan))
    for before, step, after in zip(plan, plan[1:], plan[2:]):
        if step.sun:
            assert step.end_min - step.start_min <= 15
            assert not before.sun and not after.sun, "a stretch in the sun ends in the shade"
    assert any(step.what.startswith("Shade break") for step in plan)
    analysis = declared.SHEETS[lesson].analysis
    assert analysis[0].start_min == 0 and analysis[-1].end_min == 45 and not any(step.sun for step in analysis)
    assert all(before.end_min == after.start_min for before, after in itertools.pairwise(analysis))
