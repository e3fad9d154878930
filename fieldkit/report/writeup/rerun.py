"""Run a published write-up again and say which of its numbers come out differently."""

import tempfile
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result
from fieldkit.report import writeup
from fieldkit.report.writeup import folders

# How many differing values of a file are spelled out in words, and how much of a long sentence.
_SHOWN, _LONGEST = 5, 300
_COLUMNS = ["file", "row", "column", "published", "rerun"]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Reproduction(Result):
    """What a rerun of a published write-up gave; `table` has one row per number or sentence that differs."""

    table: pd.DataFrame
    n_compared: int
    same_input: bool
    tolerance: float
    notes: list
    captions: dict = field(default_factory=dict)

    @property
    def reproduced(self):
        """True when the records are the published ones and nothing differs."""
        return self.same_input and self.table.empty

    @property
    def sentence(self):
        """Say in words whether the numbers came out again."""
        start = "" if self.same_input else "The records are not those of the write-up (their SHA-256 differs). "
        if self.n_compared == 0:
            end = "There was nothing to compare."
        elif self.table.empty:
            end = f"All {self.n_compared:,} values came out again (relative tolerance {self.tolerance:g})."
        else:
            end = f"{len(self.table):,} of {self.n_compared:,} values came out differently (see the table)."
        return " ".join([start + end, *self.notes])


def reproduce(published, season=None, *, enclosure=None, out=None, tolerance=1e-6, progress=None):
    """Rerun a published write-up with the notebooks of this fieldkit and list every number that differs.

    Compared are the numbers drawn in each figure, the table, sentence, verdict and seed of each result, and what became
    of each section. Code that came with the published folder is never run, for it could do anything; the notebooks of
    the installed fieldkit are, and a difference between the two is noted.

    Parameters
    ----------
    published : str or pathlib.Path
        A write-up folder.
    season : str or pathlib.Path, optional
        The season folder it was made from. Not needed for a write-up of the demo season.
    enclosure : str or pathlib.Path, optional
        The enclosure folder, when the write-up holds one against the season.
    out : str or pathlib.Path, optional
        Keep the rerun's write-up here; None throws it away.
    tolerance : float
        Relative tolerance within which two numbers count as equal.
    progress : bool, optional
        Show a progress bar; None shows one in a terminal.

    Returns
    -------
    Reproduction

    Raises
    ------
    FieldkitError
        When the folder is not a write-up, or the season folder is needed and not given.
    """
    published = Path(published)
    about = folders.read_marker(published)
    if season is None and not about["demo"]:
        raise FieldkitError(
            "This write-up was not made from the demo season: give the season folder that it was made from. "
            f"Its SHA-256 is {about['input_sha256']}."
        )
    if enclosure is None and about.get("enclosure_sha256"):
        raise FieldkitError(
            "This write-up holds an enclosure against the season: give the enclosure folder too. "
            f"Its SHA-256 is {about['enclosure_sha256']}."
        )
    with tempfile.TemporaryDirectory() as scratch:
        place = Path(out) if out is not None else Path(scratch) / "rerun"
        writeup.write(
            season,
            place,
            only=about["only"],
            parameters=about["parameters"],
            enclosure=enclosure,
            pdf=False,
            progress=progress,
        )
        rerun = folders.read_marker(place)
        rows, count = _compare(published, about, place, rerun, tolerance)
        notes = _notes(published, about, place, rerun)
    return Reproduction(
        table=pd.DataFrame(rows, columns=_COLUMNS),
        n_compared=count,
        same_input=all(rerun[key] == about.get(key) for key in ("input_sha256", "enclosure_sha256")),
        tolerance=tolerance,
        notes=notes,
        captions=about.get("figures", {}),
    )


def as_text(found):
    """Say a rerun for a terminal: what differs, figure by figure and result by result, the largest first.

    Parameters
    ----------
    found : Reproduction
        As from `reproduce`.

    Returns
    -------
    str

    Examples
    --------
    >>> table = pd.DataFrame([("results/06-turn.csv", 1, "low", 26.2, 25.0)], columns=_COLUMNS)
    >>> print(as_text(Reproduction(table=table, n_compared=9, same_input=True, tolerance=1e-6, notes=[])))
    results/06-turn.csv: 1 value differs
      row 1, low: published 26.2, rerun 25
    <BLANKLINE>
    1 of 9 values came out differently (see the table).
    """
    lines = []
    for file, rows in found.table.groupby("file", sort=True):
        count = len(rows)
        shows = f" ({found.captions[file].rstrip('.')})" if file in found.captions else ""
        lines.append(f"{file}{shows}: {count} value{' differs' if count == 1 else 's differ'}")
        for row in rows.head(_SHOWN).itertuples(index=False):
            where = f"row {row.row}, {row.column}" if str(row.row).isdigit() else f"{row.row} {row.column}".strip()
            lines.append(f"  {where}: published {_short(row.published)}, rerun {_short(row.rerun)}")
        if count > _SHOWN:
            lines.append(f"  and {count - _SHOWN:,} more")
    return "\n".join([*lines, *([""] if lines else []), found.sentence])


def _short(value):
    if isinstance(value, float):
        return f"{value:.6g}"
    text = str(value)
    return text if len(text) <= _LONGEST else f"{text[:_LONGEST]} …"


def _compare(published, about, place, rerun, tolerance):
    rows, count = [], 0
    numbers = {name for listed in (about, rerun) for name in listed["files"] if name.endswith(".csv")}
    for name in sorted(numbers):
        sides = [folder / name for folder in (published, place)]
        if not all(side.exists() for side in sides):
            rows.append((name, "", "", *("there" if side.exists() else "missing" for side in sides)))
            count += 1
            continue
        differing, compared = differences(*(pd.read_csv(side) for side in sides), tolerance=tolerance)
        differing.insert(0, "file", name)
        rows += list(differing.itertuples(index=False, name=None))
        count += compared
    for kind, key in (("results", ("notebook", "name")), ("sections", ("notebook",))):
        before, after = ({" ".join(item[k] for k in key): item for item in side[kind]} for side in (about, rerun))
        for name in sorted(before.keys() | after.keys()):
            for part in ("kind", "sentence", "verdict", "seed") if kind == "results" else ("state", "reason"):
                pair = [side.get(name, {}).get(part) for side in (before, after)]
                count += 1
                if pair[0] != pair[1]:
                    rows.append((folders.MARKER, name, part, *pair))
    return rows, count


def differences(published, rerun, *, tolerance=1e-6):
    """Compare two tables cell by cell.

    Parameters
    ----------
    published, rerun : pandas.DataFrame
        The same kind of table twice.
    tolerance : float
        Relative tolerance of numbers; a billionth of the largest number in the column counts as zero.

    Returns
    -------
    (pandas.DataFrame, int)
        Columns row (from 1), column, published, rerun, one row per cell that differs; and how many cells were compared.

    Examples
    --------
    >>> table = pd.DataFrame({"x": [1.0, 2.0]})
    >>> differences(table, table * [1 + 1e-9])[0].empty
    True
    >>> differences(table, pd.DataFrame({"x": [1.0, 2.1]}))[0].values.tolist()
    [[2, 'x', 2.0, 2.1]]
    """
    rows = []
    if len(published) != len(rerun):
        rows.append(("", "number of rows", len(published), len(rerun)))
    for column in published.columns.symmetric_difference(rerun.columns, sort=False):
        rows.append(("", column, *("there" if column in t else "missing" for t in (published, rerun))))
    shared = [column for column in published.columns if column in rerun.columns]
    n = min(len(published), len(rerun))
    for column in shared:
        a, b = published[column].iloc[:n], rerun[column].iloc[:n]
        if all(pd.api.types.is_numeric_dtype(side) for side in (a, b)):
            x, y = a.to_numpy(dtype=float), b.to_numpy(dtype=float)
            largest = np.nanmax(np.abs(np.concatenate([x, y])), initial=0.0, where=np.isfinite(np.concatenate([x, y])))
            same = np.isclose(x, y, rtol=tolerance, atol=1e-9 * largest, equal_nan=True)
        else:
            same = (a.astype(str).to_numpy() == b.astype(str).to_numpy()) | (a.isna() & b.isna()).to_numpy()
        rows += [(i + 1, column, a.iloc[i], b.iloc[i]) for i in np.flatnonzero(~same)]
    return pd.DataFrame(rows, columns=_COLUMNS[1:]), n * len(shared)


def _notes(published, about, place, rerun):
    """What could explain a difference: files touched since, other versions, other notebooks."""
    notes = []
    touched = [
        name
        for name, value in about["files"].items()
        if name.endswith(".csv") and (published / name).exists() and folders.digest(published / name) != value
    ]
    if touched:
        notes.append(f"Changed after the write-up was made: {', '.join(touched)}.")
    changed = [
        f"{name} {about['versions'].get(name, 'none')} → {rerun['versions'].get(name, 'none')}"
        for name in sorted(about["versions"].keys() | rerun["versions"].keys())
        if about["versions"].get(name) != rerun["versions"].get(name)
    ]
    if changed:
        notes.append(f"Other versions: {', '.join(changed)}.")
    other = [path.stem for path in sorted((place / "notebooks").glob("*.ipynb")) if not _same_code(published, path)]
    if other:
        notes.append(f"The code of these notebooks is not that of the published ones: {', '.join(other)}.")
    return notes


def _same_code(published, path):
    import nbformat

    from fieldkit.report.writeup.running import tags

    twin = published / "notebooks" / path.name
    if not twin.exists():
        return False
    sources = [
        [
            c.source
            for c in nbformat.read(p, as_version=4).cells
            if c.cell_type == "code" and "parameters" not in tags(c)
        ]
        for p in (path, twin)
    ]
    return sources[0] == sources[1]
