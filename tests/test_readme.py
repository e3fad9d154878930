"""The README can be read by anybody: short first paragraph, plain sentences."""

import re
from pathlib import Path

from readability import grade, syllables

README = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")


def prose(text):
    """Sentences only: no commands, tables or headings."""
    text = re.sub(r"```.*?```", "", text, flags=re.DOTALL)
    text = re.sub(r"`[^`]*`", "it", text)
    return re.sub(r"^[#|].*$", "", text, flags=re.MULTILINE)


def test_the_count_of_syllables():
    """Kincaid et al. 1975 count spoken syllables; words whose number no dictionary doubts."""
    counts = {"cat": 1, "basking": 2, "radiation": 4, "temperature": 4, "place": 1, "enclosure": 3}
    assert {word: syllables(word) for word in counts} == counts


def test_a_graded_text():
    """Gunning's and Flesch's shortest example: six words of one syllable, one sentence: 0.39·6 + 11.8·1 − 15.59."""
    assert abs(grade("The cat sat on the mat.") - (0.39 * 6 + 11.8 - 15.59)) < 1e-9


def test_the_first_paragraph_says_the_job_in_110_words():
    first = README.split("\n\n")[1]
    assert "reptiles" in first and len(first.split()) <= 110


def test_the_readme_reads_at_grade_nine():
    assert grade(prose(README)) <= 9
    assert grade(prose(README.split("\n\n")[1])) <= 9
