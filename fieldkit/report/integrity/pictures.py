"""Two pictures held against each other, dot by dot or stroke by stroke."""

import base64
import io
import re

import numpy as np

# Shades of 255, and dots, that another processor may draw otherwise (rule of thumb: common practice, no source).
_SHADES, _DOTS = 64, 10
_NUMBER = re.compile(r"[-+]?\d*\.?\d+(?:e[-+]?\d+)?", re.I)


def compare_png(published, rerun):
    """Say how two PNG pictures differ.

    Parameters
    ----------
    published, rerun : bytes
        PNG files.

    Returns
    -------
    (str, str) or None
        None when they show the same.
    """
    from PIL import Image

    if published == rerun:
        return None
    try:
        one, other = (Image.open(io.BytesIO(side), formats=["PNG"]) for side in (published, rerun))
        # Of a stranger's picture only the size is read before it is known to be no larger than the rerun's.
        if one.size != other.size:
            return tuple(f"{side.size[0]} × {side.size[1]} dots" for side in (one, other))
        a, b = (np.asarray(side.convert("RGB"), dtype=int) for side in (one, other))
    except Exception:
        # A damaged picture fails in as many ways as there are parts in it.
        return "no picture that can be read", "a picture"
    apart = (np.abs(a - b) > _SHADES).any(axis=2)
    if apart.sum() <= _DOTS:
        return None
    rows, columns = np.flatnonzero(apart.any(axis=1)), np.flatnonzero(apart.any(axis=0))
    share = f"{100 * apart.mean():.2g} % of the dots differ"
    where = f"from {columns[0]}, {rows[0]} to {columns[-1]}, {rows[-1]} (dots from the top left)"
    return share, where


def compare_svg(published, rerun):
    """Say where two SVG drawings differ first; numbers may differ in the last digits.

    Parameters
    ----------
    published, rerun : str
        SVG texts.

    Returns
    -------
    (str, str) or None
        None when they draw the same.

    Examples
    --------
    >>> compare_svg("<path d='M 1 2.5'/>", "<path d='M 1 2.500001'/>") is None
    True
    >>> compare_svg("<path d='M 1 2.5'/>", "<path d='M 1 9.5'/>")
    ("line 1: <path d='M 1 2.5'/>", "line 1: <path d='M 1 9.5'/>")
    """
    if published == rerun:
        return None
    lines = published.splitlines(), rerun.splitlines()
    for number, (one, other) in enumerate(zip(*lines), start=1):
        if one != other and not _same_strokes(one, other):
            return f"line {number}: {one.strip()[:200]}", f"line {number}: {other.strip()[:200]}"
    if len(lines[0]) != len(lines[1]):
        return tuple(f"{len(side):,} lines" for side in lines)
    return None


def _same_strokes(one, other):
    if _NUMBER.sub("#", one) != _NUMBER.sub("#", other):
        return False
    a, b = (np.array(_NUMBER.findall(side), dtype=float) for side in (one, other))
    return bool(np.allclose(a, b, rtol=1e-5, atol=1e-3))


def compare_inside(published, rerun):
    """Differences of two lists of pictures as base64, by their order.

    Parameters
    ----------
    published, rerun : list of (str, str)
        Where, and the picture.

    Returns
    -------
    list of (str, str, str)
        Where, what was published, what the rerun gave.
    """
    rows = []
    if len(published) != len(rerun):
        rows.append(("", f"{len(published)} pictures", f"{len(rerun)} pictures"))
    for (where, one), (_, other) in zip(published, rerun):
        if one == other:
            continue
        try:
            found = compare_png(*(base64.b64decode(side, validate=False) for side in (one, other)))
        except ValueError:
            found = "no picture that can be read", "a picture"
        if found:
            rows.append((where, *found))
    return rows
