"""Colours of figures and pages: contrast, and told apart by everybody, computed from the colours themselves."""

import itertools
import re
import warnings
from pathlib import Path

import numpy as np
import pytest

from fieldkit.report.figures.style import COLOURS, LINES, MARKERS

TEMPLATES = Path(__file__).parent.parent / "fieldkit" / "report" / "templates"
# Least contrast of text of any size, and of marks (WCAG 2.2, success criteria 1.4.3 and 1.4.11).
TEXT, MARK = 4.5, 3.0
# Euclidean distance in CIE Lab at which two colours of a legend are told apart at a glance: a rule of thumb. About 2.3
# is just noticeable side by side (Mahy, Van Eycken & Oosterlinck 1994).
APART = 20.0


def linear(colour):
    """Linear sRGB of #RRGGBB or #RGB (IEC 61966-2-1)."""
    digits = colour.lstrip("#")
    digits = digits if len(digits) == 6 else "".join(d * 2 for d in digits)
    value = np.array([int(digits[i : i + 2], 16) for i in (0, 2, 4)]) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def contrast(one, other):
    """WCAG 2.2, definition of contrast ratio."""
    light, dark = sorted((float(linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (one, other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_of_known_pairs():
    """WCAG: black on white is 21:1; #777 on white is the known near miss of 4.48:1 (webaim.org/articles/contrast)."""
    assert contrast("#000", "#fff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


@pytest.mark.parametrize("name", COLOURS)
def test_every_mark_stands_out_from_the_page(name):
    assert contrast(COLOURS[name], "#ffffff") >= MARK


@pytest.mark.parametrize("kind", [None, "Protanomaly", "Deuteranomaly", "Tritanomaly"])
def test_colours_are_told_apart_by_everybody(kind):
    """Machado, Oliveira & Fernandes 2009, full severity, as colour-science has it: no cones of one kind at all."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

        # Of tritanomaly the library says that the model is an approximation.
        matrix = np.eye(3) if kind is None else colour.matrix_cvd_Machado2009(kind, 1.0)
    to_xyz = colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ
    seen = {name: colour.XYZ_to_Lab(to_xyz @ np.clip(matrix @ linear(c), 0, 1)) for name, c in COLOURS.items()}
    close = {
        pair: round(float(np.linalg.norm(seen[pair[0]] - seen[pair[1]])), 1) for pair in itertools.combinations(seen, 2)
    }
    assert min(close.values()) >= APART, sorted(close.items(), key=lambda item: item[1])[:5]


def test_in_grey_shapes_and_lines_tell_apart():
    predictors = ("air", "surface", "radiation")
    for table in (MARKERS, LINES):
        assert len({table[name] for name in predictors}) == 3
    for pair in (("used", "available"), ("field", "captive")):
        assert MARKERS[pair[0]] != MARKERS[pair[1]]


@pytest.mark.parametrize("name", ["writeup.css", "card.html.j2"])
def test_text_of_pages_stands_out(name):
    """Each colour of text against each background that the same sheet uses, and against white."""
    css = (TEMPLATES / name).read_text(encoding="utf-8")
    pale = []
    for rule in re.findall(r"\{([^{}]*)\}", css):
        own = dict(re.findall(r"(?:^|;)\s*(color|background):\s*(#[0-9a-fA-F]{3,6})\b", rule))
        if own:
            found = contrast(own.get("color", "#1c1c1c"), own.get("background", "#ffffff"))
            pale += [(rule.strip(), round(found, 2))] if found < TEXT else []
    assert not pale


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_words_of_sheets_are_whole_and_large_enough_to_read_outdoors(paper):
    """Set by WeasyPrint and read back by pypdf: a word that the setter broke does not come back in one piece."""
    weasyprint = pytest.importorskip("weasyprint", reason="the pdf extra is not installed")
    import io

    import pypdf

    from fieldkit.records.enclosure import template
    from fieldkit.records.season import printed

    for page in (printed.field_sheet(paper=paper), template.sheet(paper=paper)):
        sizes = [float(size) for size in re.findall(r"([\d.]+)pt\b", page)]
        assert sizes and min(sizes) >= 9
        read = pypdf.PdfReader(io.BytesIO(weasyprint.HTML(string=page).write_pdf()))
        text = "\n".join(sheet.extract_text() for sheet in read.pages)
        heads = [re.sub("<.*?>", " ", head) for head in re.findall(r"<th[^>]*>(.*?)</th>", page)]
        words = {word for head in heads for word in head.split() if len(word) > 4}
        assert words and not [word for word in words if word not in text]


def test_the_card_prints_at_nine_points_or_more():
    text = (TEMPLATES / "card.html.j2").read_text(encoding="utf-8")
    sizes = [float(size) for size in re.findall(r"([\d.]+)pt\b", text)]
    assert sizes and min(sizes) >= 9
