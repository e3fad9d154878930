"""One look for every figure, and the words that stand for it when it cannot be seen."""

import contextlib
import html
import io
import os
import re
import textwrap
from pathlib import Path

import matplotlib

from fieldkit.report.drawn.numbers import describe as describe
from fieldkit.report.drawn.numbers import drawn_numbers, short_words, title_of, words_of

# The write-up sets this variable in its kernels: the folder in which `show` keeps every figure.
KEEP = "FIELDKIT_KEEP_FIGURES"

# Each stands out from white by 3:1 or more (WCAG 2.2, 1.4.11), and any two by 20 units of CIE Lab or more, also to
# people without red, green or blue cones (tests/test_looks.py computes it). Each predictor also has a marker and a line
# style of its own, so a grey print can be read.
COLOURS = {
    "air": "#013C62",
    "surface": "#D53131",
    "radiation": "#D57F00",
    "used": "#000000",
    "available": "#707070",
    "field": "#24A35F",
    "captive": "#A260A8",
    "sky": "#4D60DE",
    "limit": "#920027",
}
MARKERS = {"air": "o", "surface": "s", "radiation": "^", "used": "D", "available": "o", "field": "o", "captive": "s"}
LINES = {"air": "-", "surface": "--", "radiation": "-.", "field": "-", "captive": "--"}

RC = {
    "figure.figsize": (7.2, 4.5),
    "figure.dpi": 100,
    "savefig.dpi": 100,
    "font.size": 10.5,
    "font.family": "DejaVu Sans",
    "axes.titlesize": 11.5,
    "axes.titlelocation": "left",
    "axes.titlepad": 10,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "axes.grid": True,
    "grid.color": "#E3E3E3",
    "grid.linewidth": 0.7,
    "legend.frameon": False,
    "svg.hashsalt": "fieldkit",
    "svg.fonttype": "path",
    # A name may hold a $: what people write is never taken for a formula.
    "text.parse_math": False,
}


@contextlib.contextmanager
def look():
    """Draw inside this: the settings hold for one figure and leave the reader's own session alone."""
    with matplotlib.rc_context(RC):
        yield


def new_axes(rows=1, columns=1, *, width=7.2, height=4.5, **kwargs):
    """Make a figure and its Axes in the house look; sizes are whole pixels at 100 dpi."""
    from matplotlib.figure import Figure

    with look():
        figure = Figure(figsize=(round(width, 2), round(height, 2)), layout="constrained")
        axes = figure.subplots(rows, columns, **kwargs)
    return figure, axes


def show(figure, alt):
    """Show a figure in a notebook with alt text, and below it, folded, the same text to read.

    nbval compares the folded text and never pictures, so the numbers in it are what a rerun is checked on; a reader who
    cannot see the figure reads the same words. While a write-up is made (see `KEEP`) the figure is also kept as PNG
    and SVG with its numbers as CSV.

    Parameters
    ----------
    figure : matplotlib.figure.Figure or matplotlib.axes.Axes
        The figure to show.
    alt : str
        One sentence that says what the figure shows.
    """
    from IPython.display import Image, display

    figure = getattr(figure, "figure", figure)
    sentences = words_of(figure, alt)
    words = " ".join(sentences)
    short = short_words(figure, alt)
    metadata = {"image/png": {"alt": short}, "fieldkit": {"words": words}}
    folder = os.environ.get(KEEP)
    if folder:
        stem, drawn = _keep(figure, Path(folder))
        metadata["fieldkit"] |= {"figure": stem, "shows": alt, "finding": title_of(figure)}
    else:
        drawn = png(figure)
    display(Image(drawn, format="png", alt=short), metadata=metadata)
    display(_folded(sentences), raw=True, metadata={"fieldkit": {"words_of_figure": True}})


def folded(figure, alt):
    """Words of a figure as what a notebook displays: HTML to unfold, and plain text where there is none."""
    return _folded(words_of(figure, alt))


def _folded(sentences):
    lines = "<br>".join(map(html.escape, sentences))
    return {
        "text/html": f"<details><summary>The figure in words and numbers</summary><p>{lines}</p></details>",
        "text/plain": "\n".join(sentences),
    }


def say(*sentences):
    """Show sentences in a notebook, each a paragraph that wraps between words.

    Parameters
    ----------
    *sentences : str
        Such as the sentence of a result.
    """
    from IPython.display import display

    paragraphs = "".join(f"<p>{html.escape(sentence)}</p>" for sentence in sentences)
    display({"text/html": paragraphs, "text/plain": "\n".join(sentences)}, raw=True)


def _make_ready(figure):
    """Make a figure ready to draw: no text a formula, no title or label running out of the figure."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.text import Text
    from matplotlib.ticker import LogFormatterMathtext

    for text in figure.findobj(Text):
        # What was written outside the house look.
        text.set_parse_math(False)
    for axis in (axis for axes in figure.axes for axis in (axes.xaxis, axes.yaxis)):
        for own, set_ in (
            (axis.get_major_formatter(), axis.set_major_formatter),
            (axis.get_minor_formatter(), axis.set_minor_formatter),
        ):
            if isinstance(own, LogFormatterMathtext):
                set_(_powers(own))
    FigureCanvasAgg(figure)
    figure.draw_without_rendering()
    broken = False
    for axes in figure.axes:
        titles = {axes.get_title(loc) for loc in ("left", "center", "right")} - {""}
        texts = [t for t in axes.get_children() if isinstance(t, Text) and t.get_text() in titles]
        for text in [*texts, axes.xaxis.label]:
            box, edge = text.get_window_extent(), figure.bbox
            # A label is centred under its panel: what sticks out on one side has to go on both.
            out = max(box.x1 - edge.x1, edge.x0 - box.x0) * (1 if text.get_ha() == "left" else 2)
            if out > 0:
                longest = max(map(len, text.get_text().splitlines()))
                width = int(longest * (box.width - out) / box.width) - 1
                text.set_text(textwrap.fill(text.get_text(), max(width, 20)))
                broken = True
    if broken:
        figure.draw_without_rendering()  # with the room that more lines need


def _powers(formatter):
    """Ticks of a logarithmic axis in letters, as 10⁻², and not as a formula."""
    from matplotlib.ticker import LogFormatterSciNotation

    class Powers(LogFormatterSciNotation):
        def __call__(self, x, pos=None):
            text = super().__call__(x, pos).replace(r"\times", "×").replace("\N{MINUS SIGN}", "-")
            raised = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
            text = re.sub(r"\^\{(-?\d+)\}", lambda found: found[1].translate(raised), text)
            return re.sub(r"\\mathdefault|[${}]", "", text)

    return Powers(base=formatter._base, labelOnlyBase=formatter.labelOnlyBase)


def png(figure):
    """PNG of a figure as bytes, in the house look; titles and labels that are too long are broken into lines."""
    with _ready(figure):
        return _packed(_drawn(figure, RC["savefig.dpi"]))


@contextlib.contextmanager
def _ready(figure):
    """A figure that is laid out once, however often it is drawn inside the block."""
    with look():
        _make_ready(figure)
        engine = figure.get_layout_engine()
        figure.set_layout_engine("none")
        try:
            yield
        finally:
            figure.set_layout_engine(engine)


def _drawn(figure, dpi):
    from PIL import Image

    drawn = io.BytesIO()
    figure.savefig(drawn, format="png", dpi=dpi, pil_kwargs={"compress_level": 1})
    return Image.open(drawn).convert("RGB")


def _packed(picture):
    """256 colours are plenty for a chart and make a third of the bytes, in notebooks and in the write-up."""
    from PIL import Image

    packed = io.BytesIO()
    picture.quantize(256, dither=Image.Dither.NONE).save(packed, format="png")
    return packed.getvalue()


def save(figure, folder):
    """Write a figure as PNG and SVG and its numbers as CSV under the next free number; returns the common stem."""
    return _keep(figure, folder)[0]


def _keep(figure, folder):
    """Stem of a figure that was saved, and the bytes of a PNG of half the size for a notebook."""
    from fieldkit.records.spreadsheet import safe_table

    number = len(list(folder.glob("figure-*.csv"))) + 1
    stem = f"figure-{number:03d}"
    with _ready(figure):
        figure.savefig(folder / f"{stem}.svg", metadata={"Date": None, "Creator": None})
        picture = _drawn(figure, 2 * RC["savefig.dpi"])
    (folder / f"{stem}.png").write_bytes(_packed(picture))
    safe_table(drawn_numbers(figure)).to_csv(folder / f"{stem}.csv", index=False, lineterminator="\n")
    return stem, _packed(picture.reduce(2))


def formula(tex):
    """Draw a formula as SVG text without a network or a TeX installation; None if it is beyond matplotlib's mathtext.

    Examples
    --------
    >>> formula("T_e")[:5]
    '<?xml'
    """
    from matplotlib.mathtext import math_to_image

    buffer = io.BytesIO()
    with matplotlib.rc_context(RC | {"text.parse_math": True}):
        try:
            math_to_image(f"${' '.join(tex.split())}$", buffer, format="svg")
        except ValueError:
            return None
    # When it was drawn and by which version is no part of a formula.
    return re.sub(r"<metadata>.*?</metadata>\s*", "", buffer.getvalue().decode(), flags=re.DOTALL)
