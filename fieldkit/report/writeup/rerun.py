"""Run a published write-up again and say which of its numbers come out differently."""

import importlib.util
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from fieldkit.core import FieldkitError, Result
from fieldkit.report import writeup
from fieldkit.report.integrity import files, seals
from fieldkit.report.integrity.texts import compare_parts, differing_words, flat
from fieldkit.report.plain.catalogue import LANGUAGES
from fieldkit.report.writeup import folders

# How many differing values of a file are spelled out in words.
_SHOWN = 5
# A picture comes out the same to the dot only where the same library draws it.
_DRAWING = ("matplotlib",)
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

    Every file is held against its SHA-256, and against what the rerun gives: the words, tables and pictures of the page
    and the PDF, the numbers drawn in each figure, every result, every cell of the notebooks and every statement of
    ``writeup.json``. Code that came with the published folder is never run, for it could do anything; the notebooks of
    the installed fieldkit are.

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
    about = folders.read_published(published)
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
    if out is not None:
        folders.check_outside(Path(out), [published])
    sealed = seals.broken(published, about["files"], folders.MARKER)
    with tempfile.TemporaryDirectory() as scratch:
        place = Path(out) if out is not None else Path(scratch) / "rerun"
        made_pdf = folders.PDF in about["files"]
        writeup.write(
            season,
            place,
            only=about["only"],
            parameters=about["parameters"],
            enclosure=enclosure,
            exact_place=bool(about.get("exact_place", False)),
            pdf=None if made_pdf else False,
            progress=progress,
            languages=[code for code in about.get("languages") or () if code in LANGUAGES],
            like=about,
        )
        rerun = folders.read_marker(place)
        drawn = all(about["versions"].get(name) == rerun["versions"].get(name) for name in _DRAWING)
        names = {*seals.files_in(published), *rerun["files"], folders.MARKER}
        pdfs = {name for name in about["files"] if name.endswith(".pdf")}
        unread = pdfs if made_pdf and (folders.PDF not in rerun["files"] or not _reads_pdf()) else set()
        rows, count = files.compare(published, place, names - unread, tolerance=tolerance, drawn=drawn)
        rows += [(name, "", "SHA-256", *pair) for name, *pair in sealed]
        same_input = all(rerun[key] == about.get(key) for key in ("input_sha256", "enclosure_sha256"))
        rows += _stated_wrongly(about, rerun, same_input)
        notes = _notes(about, rerun, drawn=drawn, unread=bool(unread))
    return Reproduction(
        table=pd.DataFrame(rows, columns=_COLUMNS),
        n_compared=count + len(about["files"]),
        same_input=same_input,
        tolerance=tolerance,
        notes=notes,
        captions=about.get("figures") or {},
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
            published, rerun = differing_words(_short(row.published), _short(row.rerun))
            lines.append(f"  {where or 'whole file'}: published {published}, rerun {rerun}")
        if count > _SHOWN:
            lines.append(f"  and {count - _SHOWN:,} more")
    return "\n".join([*lines, *([""] if lines else []), found.sentence])


def _short(value):
    if isinstance(value, float):
        return f"{value:.6g}"
    return " ".join(str(value).split())


def _reads_pdf():
    return importlib.util.find_spec("pypdf") is not None


def _stated_wrongly(about, rerun, same_input):
    """Hashes in ``writeup.json`` that do not go with one another, whoever computes again."""
    rows = []
    for key in ("record_files", "enclosure_files") if same_input and "record_files" in about else ():
        found, _ = compare_parts(flat(about[key]), flat(rerun[key]))
        rows += [(folders.MARKER, f"{key}, {where}", "", one, other) for where, one, other in found]
    code, said = about.get("code_sha256"), str(about["versions"].get("fieldkit"))
    if code is not None and str(code)[:16] not in said:
        rows.append((folders.MARKER, "code_sha256", "", code, said))
    return rows


def _notes(about, rerun, *, drawn, unread):
    """What could explain a difference: other records, other versions, other code; and what could not be compared."""
    notes = []
    for kind, key in (("records", "record_files"), ("enclosure", "enclosure_files")):
        if about.get(key) is not None:
            said = seals.changed_records(about[key], rerun.get(key) or {})
            notes += [f"In the {kind}: {sentence}" for sentence in said]
    changed = [
        f"{name} {about['versions'].get(name, 'none')} → {rerun['versions'].get(name, 'none')}"
        for name in sorted(about["versions"].keys() | rerun["versions"].keys())
        if about["versions"].get(name) != rerun["versions"].get(name)
    ]
    if changed:
        notes.append(f"Other versions: {', '.join(changed)}.")
    if about.get("code_sha256") != rerun["code_sha256"]:
        notes.append(
            "The code of fieldkit or of its notebooks is not that of the published write-up (the SHA-256 of the "
            f"sources was {about.get('code_sha256', 'not stated')}, here it is {rerun['code_sha256']})."
        )
    if not drawn:
        notes.append("Pictures were drawn with other versions and could not be compared; the numbers in them were.")
    if unread:
        notes.append(
            "The PDF was not compared: install fieldkit with its pdf extra. Its words should be those of the page."
        )
    return notes
