"""A season folder becomes a write-up: the notebooks are run on it and rendered into one file that can be published."""

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

import fieldkit
from fieldkit.core import FieldkitError, Result, resource_dir, visible
from fieldkit.report.plain.catalogue import catalogue
from fieldkit.report.privacy import at_home, enclosures, gate, public
from fieldkit.report.writeup import folders, kernels, marker, running
from fieldkit.report.writeup.pages import depths
from fieldkit.report.writeup.pages.material import Material
from fieldkit.report.writeup.running import WriteUpError

__all__ = ["WriteUp", "WriteUpError", "write"]

_DEMOS = ("demo_season", "demo_enclosure", "demo_watched", "demo_trial")
_EXACT = (
    "The EXACT place of the site stands in this write-up: collectors and poachers read open pages. Ask whoever "
    "protects the species and whoever owns the land before it leaves your hands; it cannot be called back."
)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class WriteUp(Result):
    """A finished write-up: where it is and what became of each notebook."""

    path: Path
    html: Path
    summary: Path
    pdf: Path | None
    table: pd.DataFrame
    answer: str
    input_hash: str
    cautions: tuple = ()

    @property
    def sentence(self):
        """Say what was written and what it says."""
        done = (self.table["state"] == "done").sum()
        rest = len(self.table) - done
        more = f" ({rest} in part or not at all; the write-up says why)" if rest else ""
        return f"{self.answer} {done} of {len(self.table)} sections written{more}."


def write(
    path,
    out,
    *,
    only=None,
    parameters=None,
    enclosure=None,
    authors=(),
    licence=None,
    data_at=None,
    exact_place=False,
    pdf=None,
    progress=None,
    languages=(),
    like=None,
):
    """Run the notebooks on a season and write it up: a summary of one page, a report and a supplement, as HTML files
    that need nothing else, beside figures, numbers and notebooks.

    The notebooks are run on the season as others may have it (`privacy.public`): its place cut to a cell of 0.1 degree
    and 100 m of height, its names replaced, its notes left out; and so is an enclosure. Only the demo, which everybody
    has, is run as it is. Then every file is searched for what must stay at home, and a find fails the run.

    The folder is made beside its place and swapped in whole: a run that fails or is killed leaves an earlier write-up
    as it was. Where the records are wanting, the section says so in that place and everything else goes on; a cell
    that fails for any other reason fails the run.

    Parameters
    ----------
    path : str, pathlib.Path or None
        The season folder; None for the demo season.
    out : str or pathlib.Path
        Folder to write: new, empty, or an earlier write-up that nobody has changed since.
    only : sequence of str, optional
        Names or numbers of notebooks, such as ``["06"]``; None writes up all.
    parameters : dict, optional
        Parameters to set in every notebook that has them. A name that none has is refused.
    enclosure : str or pathlib.Path, optional
        An enclosure folder to hold against the season. None: the demo season is given the invented demo enclosure,
        another season goes without.
    authors : sequence of str
        Whom to cite: "Family, Given" or the name of a group; empty cites the observers of the season.
    licence : str, optional
        Terms under which the write-up and its numbers may be used.
    data_at : str, optional
        Where the records can be had (a DOI or an address).
    exact_place : bool
        Compute with, and publish, the exact place of the site and the stations. Names are replaced all the same.
    pdf : bool, optional
        Also write a PDF. None writes one if WeasyPrint is installed.
    progress : bool, optional
        Show a progress bar; None shows one in a terminal.
    languages : sequence of {"de", "es", "fr"}
        In which the summary is written too; the English is the master.
    like : dict, optional
        What an earlier write-up says about itself (`folders.read_published`): its date, terms and versions are put on
        the page, so that the two can be compared word by word.

    Returns
    -------
    WriteUp

    Raises
    ------
    FieldkitError
        Records that cannot be read (`SeasonError`), a folder that must not be overwritten, an unknown parameter.
    LeakError
        A file would have told what must stay at home; nothing is written.
    WriteUpError
        A notebook failed for a reason other than the records.
    """
    if pdf and not marker.pdf_maker():
        raise FieldkitError("A PDF needs WeasyPrint: install fieldkit with its pdf extra, or print the HTML file.")
    for language in languages:
        catalogue(language)
    season = fieldkit.read_season(path) if path is not None else fieldkit.demo_season()
    parameters = dict(parameters or {})
    where = str(Path(path).absolute()) if path is not None and not _is_demo(path) else None
    cage = fieldkit.read_enclosure(enclosure) if enclosure is not None else None
    runs = running.listed(season, only=only, with_enclosure=enclosure is not None or where is None)
    to_run = [run for run in runs if run.state == "to run"]
    enclosure = str(Path(enclosure).absolute()) if enclosure is not None else None
    with folders.swapped_in(out, keep=(season.path, enclosure)) as (fresh, work):
        told, folder = season, None
        if where is not None:
            folder = work / "season"
            public.write(season, folder, exact_place=exact_place)
            told = fieldkit.read_season(folder)
        shown, room = cage, enclosure
        if cage is not None and not _is_demo(enclosure):
            room = str(work / "enclosure")
            enclosures.write(cage, room)
            shown = fieldkit.read_enclosure(room)
        running.spread_parameters(to_run, folder and str(folder), parameters, enclosure_folder=room)
        kernels.run_all(to_run, work, seasons=(told.path,), progress=progress)
        if where is not None and fieldkit.read_season(path).input_hash != season.input_hash:
            raise FieldkitError(f"The records in {path} changed while they were written up: start again.")
        for run in to_run:
            for parameter, place in (("season_folder", folder), ("enclosure_folder", room)):
                if place is not None:
                    running.hide_path(run, parameter, place)
            running.hide_places_of_warnings(run)
        terms = {"authors": tuple(authors), "licence": licence, "data_at": data_at}
        terms |= (like or {}).get("terms") or {}
        given = {"demo": where is None, "enclosure": cage is not None, "exact_place": bool(exact_place)}
        page = Material(told, runs, fresh, work, parameters=parameters, terms=terms, given=given, like=like)
        texts = depths.pages(page, languages=languages)
        for name, text in (texts | {"CITATION.cff": page.citation_file()}).items():
            (fresh / name).write_text(visible(text), encoding="utf-8", newline="\n")
        made_pdf = marker.write_pdf(fresh, wanted=pdf)
        marker.write_marker(fresh, page, where is None, only, shown, languages)
        secrets = _secrets(
            season, where, None if shown is cage else cage, exact_place, [*authors, licence or "", data_at or ""]
        )
        gate.check(fresh, secrets)
    out = Path(out).absolute()
    return WriteUp(
        path=out,
        html=out / "index.html",
        summary=out / "summary.html",
        pdf=out / folders.PDF if made_pdf else None,
        table=page.table(),
        answer=page.answer(),
        input_hash=told.input_hash,
        cautions=tuple(filter(None, [_EXACT if exact_place and where is not None else "", secrets.caution])),
    )


def _secrets(season, where, cage, exact_place, allowed):
    """What must not stand in any file; of the demo season and enclosures nothing, for everybody has them."""
    found = [at_home.of_computer()]
    if where is not None:
        found = [at_home.of_season(season, exact_place=exact_place, height=not exact_place, allowed=allowed)]
    if cage is not None:
        found.append(enclosures.secrets(cage))
    return at_home.together(*found)


def _is_demo(path):
    data = resource_dir("data")
    try:
        return Path(path).resolve() in [(data / name).resolve() for name in _DEMOS]
    except FieldkitError:
        return False
