"""One look for every figure, and the words that stand for it when it cannot be seen."""

import contextlib

import matplotlib

# Okabe & Ito (2008) colours, safe for the common colour-vision deficiencies. Each driver also has a marker and a line
# style of its own, so a grey print can be read.
COLOURS = {
    "air": "#0072B2",
    "surface": "#D55E00",
    "radiation": "#E69F00",
    "used": "#000000",
    "available": "#8C8C8C",
    "field": "#009E73",
    "captive": "#CC79A7",
    "sky": "#56B4E9",
    "limit": "#B00020",
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


def drawn_numbers(figure):
    """Table of every data series in a figure: one row per drawn point, for checks, CSV files and alt text.

    Returns
    -------
    pandas.DataFrame
        Columns ``panel, series, x, y``.
    """
    import numpy as np
    import pandas as pd
    from matplotlib.dates import num2date

    rows = []
    for number, axes in enumerate(figure.axes, start=1):
        dated = type(axes.xaxis.get_converter()).__name__ if hasattr(axes.xaxis, "get_converter") else ""
        dated = "Date" in dated

        def keep(label, x, y, number=number, dated=dated):
            label = "" if label.startswith("_") else label
            for a, b in zip(np.ravel(x), np.ravel(y)):
                if dated:
                    a = num2date(a).isoformat()
                rows.append((number, label, a, b))

        for line in axes.get_lines():
            keep(str(line.get_label()), line.get_xdata(orig=False), line.get_ydata(orig=False))
        for collection in axes.collections:
            offsets = np.asarray(collection.get_offsets(), dtype=float)
            if offsets.size and not np.allclose(offsets, 0):
                keep(str(collection.get_label()), offsets[:, 0], offsets[:, 1])
            elif hasattr(collection, "get_paths"):
                for path in collection.get_paths():
                    keep(str(collection.get_label()), path.vertices[:, 0], path.vertices[:, 1])
        for patch in axes.patches:
            if hasattr(patch, "get_height") and hasattr(patch, "get_x"):
                keep(str(patch.get_label()), patch.get_x() + patch.get_width() / 2, patch.get_y() + patch.get_height())
        for image in axes.get_images():
            values = np.asarray(image.get_array(), dtype=float)
            keep(str(image.get_label()), np.arange(values.size), values)
    return pd.DataFrame(rows, columns=["panel", "series", "x", "y"])


def describe(figure, alt):
    """Alt text of a figure: what it shows, then the numbers that are drawn (count, range and mean of each series)."""
    import pandas as pd

    words = [alt.rstrip(".") + "."]
    table = drawn_numbers(figure)
    for (panel, series), group in table.groupby(["panel", "series"], sort=False):
        y = pd.to_numeric(group["y"], errors="coerce")
        if not series or not y.notna().any():
            continue
        where = f"panel {panel}, " if table["panel"].nunique() > 1 else ""
        words.append(
            f"{where}{series}: n {y.notna().sum()}, lowest {y.min():.3g}, highest {y.max():.3g}, mean {y.mean():.3g}."
        )
    return " ".join(words)


def show(figure, alt):
    """Show a figure in a notebook with alt text, and print that text.

    nbval compares printed text and never pictures, so the printed numbers are what a rerun is checked on; a reader who
    cannot see the figure reads the same words.

    Parameters
    ----------
    figure : matplotlib.figure.Figure or matplotlib.axes.Axes
    alt : str
        One sentence that says what the figure shows.
    """
    import io

    from IPython.display import Image, display

    figure = getattr(figure, "figure", figure)
    words = describe(figure, alt)
    buffer = io.BytesIO()
    with look():
        figure.savefig(buffer, format="png", metadata={"Software": None})
    display(Image(buffer.getvalue(), format="png", alt=words), metadata={"image/png": {"alt": words}})
    print(words)
