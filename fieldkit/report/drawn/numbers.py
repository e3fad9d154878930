"""Numbers and words of a figure, read back from what is drawn."""

import re


def drawn_numbers(figure):
    """Table of every data series in a figure: one row per drawn point, for checks, CSV files and alt text.

    Lines, points, error bars, bars, histograms, shaded bands, spans, reference lines, contours and images are read
    back from the drawing itself, so what is listed is what a reader sees. An error bar gives a series
    ``"<label>, interval"`` with both ends, a shaded band ``"<label>, low"`` and ``"<label>, high"``. A line or span
    across the whole panel has no value on the other axis. Dates come as ISO 8601 text, categories as their names.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        The figure to read.

    Returns
    -------
    pandas.DataFrame
        Columns ``panel, series, x, y``; panels are numbered from 1, colour bars are left out.

    Examples
    --------
    >>> from fieldkit.report.figures.style import new_axes
    >>> figure, axes = new_axes()
    >>> _ = axes.plot([1, 2], [20.5, 31.0], label="surface")
    >>> drawn_numbers(figure).values.tolist()
    [[1, 'surface', 1.0, 20.5], [1, 'surface', 2.0, 31.0]]
    """
    import pandas as pd

    parts = []
    panels = [axes for axes in figure.axes if axes.get_label() != "<colorbar>"]
    for number, axes in enumerate(panels, start=1):
        for label, x, y in _series_of(axes):
            x, y = _broadcast(x, y)
            part = pd.DataFrame({"x": _named(axes.xaxis, x), "y": _named(axes.yaxis, y)})
            part.insert(0, "series", label)
            part.insert(0, "panel", number)
            if len(part):
                parts.append(part)
    if not parts:
        return pd.DataFrame(columns=["panel", "series", "x", "y"])
    if len({str(part[c].dtype) for part in parts for c in "xy"}) > 1:
        parts = [part.astype({"x": object, "y": object}) for part in parts]
    return pd.concat(parts, ignore_index=True)


def _broadcast(x, y):
    import numpy as np

    x, y = (np.ma.filled(np.ma.asarray(v, dtype=float), np.nan).ravel() for v in (x, y))
    return np.broadcast_arrays(x, y)


def _clean(label):
    return "" if str(label).startswith("_") else str(label)


def _series_of(axes):
    """Yield (label, x, y) of everything drawn in one panel."""
    from matplotlib.container import BarContainer, ErrorbarContainer, StemContainer

    # A container carries the label of its parts, whose own labels are blank.
    labels, bars = {}, set()
    for container in axes.containers:
        label = _clean(container.get_label())
        if isinstance(container, ErrorbarContainer):
            line, caps, stems = container.lines
            labels |= {id(line): label} if line is not None else {}
            # Caps stand on the ends of the stems: the same numbers again.
            bars |= {id(cap) for cap in caps}
            labels |= {id(stem): f"{label}, interval" if label else "" for stem in stems}
        elif isinstance(container, StemContainer):
            labels[id(container.markerline)] = label
            bars |= {id(container.stemlines), id(container.baseline)}
        elif isinstance(container, BarContainer):
            yield _bars(container, label or _clean(container.patches[0].get_label()) if container.patches else label)
            bars |= {id(patch) for patch in container.patches}
            if container.errorbar is not None:
                labels |= {id(stem): f"{label}, interval" if label else "" for stem in container.errorbar.lines[2]}
                bars |= {id(cap) for cap in container.errorbar.lines[1]}

    def name(artist):
        return labels.get(id(artist)) or _clean(artist.get_label())

    for line in axes.get_lines():
        if id(line) not in bars:
            yield name(line), *_across(axes, line, line.get_xdata(orig=False), line.get_ydata(orig=False))
    for collection in axes.collections:
        if id(collection) not in bars:
            yield from _collection(axes, collection, name(collection))
    for patch in axes.patches:
        if id(patch) not in bars:
            yield name(patch), *_across(axes, patch, *_corners(patch))
    for image in axes.get_images():
        values = image.get_array()
        yield _clean(image.get_label()) or "image", range(values.size), values


def _bars(container, label):
    import numpy as np

    boxes = np.array([(p.get_x(), p.get_y(), p.get_width(), p.get_height()) for p in container.patches]).reshape(-1, 4)
    x, y, width, height = boxes.T
    if container.orientation == "horizontal":
        return label, x + width, y + height / 2
    return label, x + width / 2, y + height


def _across(axes, artist, x, y):
    """Blank the axis on which a line or span runs from edge to edge of the panel (it has no value there)."""
    import numpy as np

    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    across_x, across_y = artist.get_transform().contains_branch_seperately(axes.transData)
    # One number says all of a reference line; a span keeps its two edges.
    if not across_y and across_x:
        return np.unique(x), np.nan
    if not across_x and across_y:
        return np.nan, np.unique(y)
    return x, y


def _corners(patch):
    import numpy as np

    if hasattr(patch, "get_width") and hasattr(patch, "get_x"):
        x, y = patch.get_x(), patch.get_y()
        return np.array([x, x + patch.get_width()]), np.array([y, y + patch.get_height()])
    vertices = patch.get_patch_transform().transform(patch.get_path().vertices)
    return vertices[:, 0], vertices[:, 1]


def _collection(axes, collection, label):
    import numpy as np
    from matplotlib.collections import LineCollection, PolyCollection, QuadMesh
    from matplotlib.contour import ContourSet

    array = collection.get_array()
    if isinstance(collection, ContourSet):
        yield label or "contours", np.nan, collection.levels
    elif isinstance(collection, QuadMesh):
        yield label or "image", range(array.size), array
    elif len(offsets := np.ma.asarray(collection.get_offsets())) and np.ma.any(offsets != 0):
        yield label, offsets[:, 0], offsets[:, 1]
        if array is not None:
            yield f"{label}, colour" if label else "colour", offsets[:, 0], array
    elif isinstance(collection, LineCollection):
        ends = np.concatenate([np.asarray(s, dtype=float).reshape(-1, 2) for s in collection.get_segments()] or [[]])
        if ends.size:
            yield label, *_across(axes, collection, ends[:, 0], ends[:, 1])
    elif isinstance(collection, PolyCollection):
        outline = np.concatenate([path.vertices for path in collection.get_paths()] or [np.empty((0, 2))])
        along, over = (1, 0) if getattr(collection, "t_direction", "x") == "y" else (0, 1)
        where, group = np.unique(outline[:, along], return_inverse=True)
        low, high = np.full(len(where), np.inf), np.full(len(where), -np.inf)
        np.minimum.at(low, group, outline[:, over])
        np.maximum.at(high, group, outline[:, over])
        for edge, values in (("low", low), ("high", high)):
            pair = (where, values) if along == 0 else (values, where)
            yield f"{label}, {edge}" if label else "", *pair
    else:
        for path in collection.get_paths():
            yield label, path.vertices[:, 0], path.vertices[:, 1]


def _named(axis, values):
    """Numbers as an axis shows them: dates as ISO 8601 text, categories by name, numbers as they are."""
    import numpy as np
    import pandas as pd
    from matplotlib.dates import num2date
    from matplotlib.ticker import FixedLocator

    converter = axis.get_converter() if hasattr(axis, "get_converter") else axis.converter
    kind = type(converter).__name__
    if "Date" in kind:
        zone = getattr(axis.units, "key", None) or axis.units
        known = np.isfinite(values)
        stamps = pd.Series("", index=range(len(values)), dtype=object)
        # Half a microsecond is what a float of days can hold.
        dates = pd.to_datetime(num2date(values[known])) if known.any() else []
        stamps[known] = [stamp.round("ms").tz_convert(zone or "UTC").isoformat() for stamp in dates]
        return stamps.to_numpy()
    if "Category" in kind and axis.units is not None:
        names = {number: name for name, number in axis.units._mapping.items()}
        if all(value in names for value in values):
            return np.array([names[value] for value in values], dtype=object)
    if isinstance(axis.get_major_locator(), FixedLocator):
        # Positions with words for ticks are categories too; points may stand a little aside of them.
        places = np.asarray(axis.get_major_locator().locs, dtype=float)
        names = [axis.get_major_formatter()(place, i) for i, place in enumerate(places)]
        if len(places) and len(values) and not any(map(_reads_as_number, names)):
            nearest = np.abs(values[:, None] - places).argmin(axis=1)
            if (np.abs(values - places[nearest]) < 0.35).all():
                return np.array(names, dtype=object)[nearest]
    return np.array(values, dtype=float)


def _reads_as_number(text):
    return bool(re.fullmatch(r"\W*[\d.,]+\W*", text)) or not text


def _number(value, scale):
    """Three significant digits that come out the same on every machine: rounding noise is not a number."""
    if abs(value) < 1e-9 * scale:
        return "0"
    return f"{float(f'{value:.12g}'):.3g}"


def describe(figure, alt):
    """Alt text of a figure: what it shows, its titles, then the numbers drawn (count, range and mean per series).

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        The figure to describe.
    alt : str
        One sentence that says what the figure shows.

    Returns
    -------
    str

    Examples
    --------
    >>> from fieldkit.report.figures.style import new_axes
    >>> figure, axes = new_axes()
    >>> _ = axes.plot([1, 2], [20.5, 31.0], label="surface")
    >>> describe(figure, "Warm stones")
    'Warm stones. surface: n 2, lowest 20.5, highest 31, mean 25.8.'
    """
    return " ".join(words_of(figure, alt))


def words_of(figure, alt):
    """Sentences of `describe`, one for what is shown, one per title, one per series."""
    import pandas as pd

    words = [" ".join(alt.split()).rstrip(".") + "."]
    titles = [axes.get_title(loc) for axes in figure.axes for loc in ("left", "center", "right")]
    for title in [figure.get_suptitle(), *titles]:
        title = " ".join(title.split())
        if title and title.rstrip(".") not in " ".join(words):
            words.append(title.rstrip(".") + ".")
    table = drawn_numbers(figure)
    several = len(set(table["panel"])) > 1
    for (panel, series), group in table.groupby(["panel", "series"], sort=False):
        if not series:
            continue
        x, y = (pd.to_numeric(group[c], errors="coerce").dropna() for c in ("x", "y"))
        where = f"panel {panel}, {series}" if several else series
        on_x = y.empty
        values = x if on_x else y
        if values.empty:
            continue
        scale = values.abs().max()
        low, high, mean = (_number(v, scale) for v in (values.min(), values.max(), values.mean()))
        axis = " (on the x axis)" if on_x else ""
        if low == high:
            count = f"n {len(values)}, all " if len(values) > 1 else ""
            words.append(f"{where}{axis}: {count}{low}.")
        elif len(values) == 2 and (group["x"].isna().all() or group["y"].isna().all()):
            words.append(f"{where}{axis}: from {low} to {high}.")
        else:
            words.append(f"{where}{axis}: n {len(values)}, lowest {low}, highest {high}, mean {mean}.")
    return [" ".join(sentence.split()) for sentence in words]


def title_of(figure):
    """Give the finding a figure states: its overall title, else that of its first titled panel, else nothing."""
    titles = [axes.get_title(loc) for axes in figure.axes for loc in ("left", "center", "right")]
    return next((" ".join(t.split()) for t in [figure.get_suptitle(), *titles] if t), "")


# A screen reader reads all of it before the reader can go on.
_LONGEST_ALT = 299


def short_words(figure, alt):
    """Alt text of a figure: what is shown and its finding, in under 300 characters; numbers stand in `describe`.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        The figure to describe.
    alt : str
        One sentence that says what the figure shows.

    Returns
    -------
    str

    Examples
    --------
    >>> from fieldkit.report.figures.style import new_axes
    >>> figure, axes = new_axes()
    >>> _ = axes.plot([1, 2], [20.5, 31.0], label="surface")
    >>> _ = axes.set_title("Stones warm up", loc="left")
    >>> short_words(figure, "Surface temperature at two hours")
    'Surface temperature at two hours. Stones warm up.'
    """
    said = " ".join(alt.split()).rstrip(".") + "."
    finding = title_of(figure).rstrip(".")
    if finding and finding not in said:
        said = f"{said} {finding}."
    return said if len(said) <= _LONGEST_ALT else f"{said[: _LONGEST_ALT - 2].rpartition(' ')[0]} …"
