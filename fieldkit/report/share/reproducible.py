"""A season folder from which others compute the write-up again, and what its cut place changes."""

import tempfile
from pathlib import Path

import numpy as np
import pandas as pd

from fieldkit.report.privacy import public

_COLUMNS = ["file", "column", "rows", "largest_change", "of"]


def what_moves(season, *, only=None, progress=None):
    """Which numbers of a write-up depend on where in its cell the site lies, and by how much.

    The write-up is computed three times: with the middle of the cell of 0.1 degree and 100 m of height, which is what
    others get, and with two opposite corners of it. The true place is not used, so the answer cannot give it away.

    Parameters
    ----------
    season : Season
        As read.
    only : sequence of str, optional
        As in `fieldkit.report.writeup.write`.
    progress : bool, optional
        Show progress bars; None shows them in a terminal.

    Returns
    -------
    pandas.DataFrame
        One row a column of a file that differs: file, column, rows (how many differ), largest_change (in the unit of
        the column), of (the median size of the numbers in it).
    """
    from fieldkit.report import writeup

    with tempfile.TemporaryDirectory() as scratch:
        made = {}
        for corner in (None, *public.CORNERS):
            place = Path(scratch) / (corner or "middle")
            public.write(season, place / "season", corner=corner)
            # The corner is no place that anybody has been to: it is not cut again.
            options = {"exact_place": True, "pdf": False, "progress": progress, "only": only}
            writeup.write(place / "season", place / "writeup", **options)
            made[corner] = place / "writeup"
        return changes(made.pop(None), list(made.values()))


def changes(middle, others):
    """How far the numbers of some write-ups lie from those of another.

    Parameters
    ----------
    middle : pathlib.Path
        A write-up folder.
    others : sequence of pathlib.Path
        Write-up folders of the same notebooks.

    Returns
    -------
    pandas.DataFrame
        As from `what_moves`.
    """
    rows = []
    for path in sorted([*middle.glob("results/*.csv"), *middle.glob("figures/*.csv")]):
        name = path.relative_to(middle).as_posix()
        told, found = pd.read_csv(path), {}
        for other in others:
            twin = pd.read_csv(other / name) if (other / name).exists() else None
            if twin is None or list(twin.columns) != list(told.columns) or len(twin) != len(told):
                found["(all)"] = (len(told), np.nan)
                continue
            for column in told.select_dtypes("number"):
                a, b = (frame[column].to_numpy(dtype=float) for frame in (told, twin))
                moved = ~np.isclose(a, b, rtol=1e-9, atol=1e-12, equal_nan=True)
                if moved.any():
                    count, largest = found.get(column, (0, 0.0))
                    found[column] = (max(count, int(moved.sum())), np.fmax(largest, np.abs(a - b)[moved].max()))
        for column, (count, change) in found.items():
            size = told[column].abs().median() if column in told else np.nan
            rows.append((name, column, count, change, size))
    return pd.DataFrame(rows, columns=_COLUMNS)


def in_words(moves):
    """What moves, in sentences for a README.

    Parameters
    ----------
    moves : pandas.DataFrame
        As from `what_moves`.

    Returns
    -------
    list of str

    Examples
    --------
    >>> in_words(pd.DataFrame([("results/08-bands.csv", "low_c", 4, 0.325, 11.0)], columns=_COLUMNS))[1]
    '- results/08-bands.csv, low_c: 4 numbers move, by up to 0.33 (median of the column 11)'
    """
    start = (
        "The write-up was computed from the folder season/, with the site in the middle of its cell of 0.1 degree and "
        "100 m of height: from this folder every number comes out again."
    )
    if not len(moves):
        return [f"{start} With the site in two opposite corners of that cell, no number came out differently."]
    lines = [f"{start} With the site in two opposite corners of that cell, these numbers came out differently:"]
    for row in moves.itertuples(index=False):
        by = f", by up to {row.largest_change:.2g}" if np.isfinite(row.largest_change) else ""
        of = f" (median of the column {row.of:.3g})" if np.isfinite(row.of) else ""
        count = f"{row.rows} number{'s move' if row.rows != 1 else ' moves'}"
        lines.append(f"- {row.file}, {row.column}: {count}{by}{of}")
    return lines
