"""A season folder becomes a write-up: the notebooks are run on it and rendered into one file that can be published."""

import datetime
import re
import shutil
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

import fieldkit
from fieldkit.core import FieldkitError, Result, Role, resource_dir, visible
from fieldkit.field import pool
from fieldkit.records import cautions, places
from fieldkit.records.problems import summary
from fieldkit.report.privacy import at_home, enclosures, gate, public
from fieldkit.report.share import citation
from fieldkit.report.writeup import folders, kernels, marker, methods, readings, running, wording
from fieldkit.report.writeup.rendering import Renderer
from fieldkit.report.writeup.running import WriteUpError

__all__ = ["WriteUp", "WriteUpError", "write"]

_DEMOS = ("demo_season", "demo_enclosure", "demo_watched", "demo_trial")
# How many of those left out for one reason the page names; all of them stand in a file.
_LISTED = 8
_TEMPLATES = Path(__file__).parent.parent / "templates"
_EXACT = (
    "The EXACT place of the site stands in this write-up: collectors and poachers read open pages. Ask whoever "
    "protects the species and whoever owns the land before it leaves your hands; it cannot be called back."
)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class WriteUp(Result):
    """A finished write-up: where it is and what became of each notebook."""

    path: Path
    html: Path
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
    like=None,
):
    """Run the notebooks on a season and write one self-contained HTML file with its figures, numbers and notebooks.

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
        page = _Page(told, runs, fresh, work, parameters=parameters, terms=terms, given=given, like=like)
        for name, text in (("index.html", page.render()), ("CITATION.cff", page.citation_file())):
            (fresh / name).write_text(visible(text), encoding="utf-8", newline="\n")
        made_pdf = marker.write_pdf(fresh, wanted=pdf)
        marker.write_marker(fresh, page, where is None, only, shown)
        secrets = _secrets(
            season, where, None if shown is cage else cage, exact_place, [*authors, licence or "", data_at or ""]
        )
        gate.check(fresh, secrets)
    out = Path(out).absolute()
    return WriteUp(
        path=out,
        html=out / "index.html",
        pdf=out / "writeup.pdf" if made_pdf else None,
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


class _Page:
    """Everything that the template shows."""

    def __init__(self, season, runs, folder, work, *, parameters, terms, given, like=None):
        self.season = season
        self.folder = folder
        self.work = work
        self.parameters = parameters
        self.terms = terms
        self.given = given
        self.shown = [run for run in runs if run.state in ("done", "stopped")]
        self.skipped = [run for run in runs if run.state == "skipped"]
        self.runs = runs
        self.versions = marker.versions()
        # What the page says of itself; a rerun says what the published one said.
        self.written = datetime.datetime.now(datetime.UTC).date()
        self.said_versions = self.versions
        if like is not None:
            self.written = datetime.date.fromisoformat(like["written"])
            self.said_versions = {str(name): str(number) for name, number in like["versions"].items()}
        self.figures = []
        self._keep_notebooks()
        self._keep_results()

    def _keep_notebooks(self):
        import nbformat

        (self.folder / "notebooks").mkdir()
        for run in self.shown:
            for index in run.missing:
                # A rerun under nbval need not fail where these records cannot carry a cell.
                cell = run.notebook.cells[index]
                cell.metadata["tags"] = [*cell.metadata.get("tags", []), "nbval-skip"]
            nbformat.write(run.notebook, self.folder / "notebooks" / f"{run.name}.ipynb")

    def _keep_results(self):
        (self.folder / "results").mkdir()
        for run in self.shown:
            for result in run.collected["results"]:
                result["file"] = f"results/{result['name']}.csv"
                result["left_out"] = None
                if (self.folder / result["file"]).exists():
                    raise WriteUpError(f"Two notebooks publish a result called {result['name']}.")
                shutil.copyfile(run.results_folder / f"{result['name']}.csv", self.folder / result["file"])
                left_out = run.results_folder / f"{result['name']}_left_out.csv"
                if left_out.exists():
                    result["left_out"] = f"results/{left_out.name}"
                    shutil.copyfile(left_out, self.folder / result["left_out"])
        rows = [row for run in self.shown for row in run.collected["estimates"]]
        pool.estimates.write(pool.estimates.table(rows, pool.about(self.season)), self.folder)

    @property
    def _version(self):
        return self.said_versions.get("fieldkit", "").partition(" ")[0]

    def results(self):
        """(run, result) of every result that any notebook came to."""
        return [(run, result) for run in self.shown for result in run.collected["results"]]

    def _verdict(self):
        """The result that a notebook publishes as the verdict."""
        found = [result for _, result in self.results() if result["role"] == Role.VERDICT]
        if len(found) > 1:
            raise WriteUpError("Two notebooks publish a verdict.")
        silent = [run.name for run in self.runs if run.has_verdict and run.state == "done"]
        if silent and not found:
            raise WriteUpError(f"Notebook {silent[0]} ran to its end and published no verdict.")
        return found[0] if found else None

    def _tested(self):
        return (self._verdict() or {"verdict": "untestable"})["verdict"] != "untestable"

    def answer(self):
        """Say what the animals chose on, or why that is not known."""
        verdict = self._verdict()
        if verdict:
            return verdict["sentence"]
        why = next((run.reason for run in self.runs if run.has_verdict and run.reason), "")
        start = "On what these animals choose their basking sites was not tested"
        return f"{start}. {why}" if why else f"{start} here."

    def findings(self, figures, sections):
        """What the leading figure of each section states, with its number."""
        found = []
        verdict = self._verdict()
        tested = next((run.section for run, result in self.results() if result is verdict), None)
        # Beside "no sign of selection", what a model of selection finds is no headline.
        mute = tested if verdict and verdict["verdict"] in ("none", "untestable") else None
        for figure, section in zip(figures, sections, strict=True):
            if figure["headline"] and figure["finding"] and section != mute:
                found.append(
                    {"section": section, "sentence": figure["finding"].rstrip("."), "number": figure["number"]}
                )
        return found

    def table(self):
        """One row per notebook: section, state, reason."""
        return pd.DataFrame(
            [(run.name, run.section, run.state, run.reason) for run in self.runs],
            columns=["notebook", "section", "state", "reason"],
        )

    def render(self):
        import jinja2

        answer = self.answer()
        renderer = Renderer(
            self.folder,
            sections={f"{run.name}.ipynb": _section_id(run) for run in self.shown},
            said={answer: "answer"} if self._tested() else {},
        )
        season = self.season
        environment = jinja2.Environment(
            loader=jinja2.FileSystemLoader(_TEMPLATES),
            autoescape=True,
            trim_blocks=True,
            undefined=jinja2.StrictUndefined,
        )
        readings_tables = [renderer.table(readings.overview(season), "What the season holds: rows of each table.")]
        measured = readings.measured(season)
        if len(measured):
            readings_tables.append(
                renderer.table(
                    measured,
                    "What was measured, how much of it is missing, and the stated error: the standard deviation that "
                    "the instrument's owner gives for one reading.",
                )
            )
        sections, places = [], []
        for run in self.shown:
            cells = [(c, run.missing.get(i)) for i, c in enumerate(run.notebook.cells) if "writeup" in running.tags(c)]
            blocks = renderer.section(run.section, cells, figures=self.work / run.name / "figures")
            places += [run.section] * (len(renderer.figures) - len(places))
            sections.append(
                {
                    "id": _section_id(run),
                    "title": run.section,
                    "name": run.name,
                    "blocks": blocks,
                }
            )
        self.figures = renderer.figures
        findings = self.findings(renderer.figures, places)
        paragraphs, told = self._methods()
        cited = methods.references(told)
        seeds = self._seeds()
        warnings = self._warnings()
        terms = wording.terms_in(" ".join([answer, *map(str, (b for s in sections for b in s["blocks"]))]))
        contents = [("answer", "The answer"), ("readings", "The season in numbers")]
        contents += [(s["id"], s["title"]) for s in sections]
        contents += [("not-done", "What was not done")] if self.skipped else []
        contents += [("methods", "Methods"), ("limitations", "Limitations"), ("cautions", "Cautions")]
        contents += [("reproduce", "Data, code and how to reproduce this"), ("cite", "How to cite")]
        contents += [("references", "References")] if cited else []
        contents += [("terms", "Words used here")] if terms else []
        contents += [("warnings", "Appendix: every warning")]
        return environment.get_template("writeup.html.j2").render(
            css=jinja2.filters.do_mark_safe((_TEMPLATES / "writeup.css").read_text(encoding="utf-8")),
            title=self._title(),
            version=self._version,
            written=_day(self.written),
            invented=season.invented,
            facts=self._facts(),
            # The verdict stands large, how sure it is below.
            answer=re.split(r"(?<=[.!?]) (?=[A-Z])", answer, maxsplit=1),
            findings=findings,
            readings_in_short=readings.in_short(season),
            readings_tables=readings_tables,
            contents=contents,
            sections=sections,
            skipped=[{"title": run.section, "name": run.name, "reason": run.reason} for run in self.skipped],
            methods_in_short=self._methods_in_short(),
            methods=paragraphs,
            references=cited,
            terms=terms,
            limitations=self._limitations(),
            data_availability=self._data_availability(),
            field_cautions=cautions.FIELD,
            input_hash=season.input_hash,
            demo=self.given["demo"],
            enclosure=self.given["enclosure"],
            exact_place=self.given["exact_place"],
            parameters={name: repr(value) for name, value in self.parameters.items()},
            seeds_table=renderer.table(seeds, "Seeds of what drew random numbers, by the name of the result.")
            if len(seeds)
            else "",
            versions=self.said_versions,
            citation=self._citation(),
            licence=self.terms["licence"],
            warnings_in_short=(
                "What looked doubtful, what was cut short, and what was left out of which result."
                if warnings
                else "There were no warnings, and nothing was left out."
            ),
            warnings_tables=[renderer.table(frame, caption) for frame, caption in warnings],
        )

    def _title(self):
        shows = "where the animals bask, and why" if self._tested() else "what one season shows"
        return f"{self.season.name}: {shows}"

    def _facts(self):
        season = self.season
        days = f"{_day(season.first_day)} to {_day(season.last_day)}"
        parts = [season.animal.species, season.site.name, days, f"written {_day(self.written)}"]
        return " · ".join(part for part in parts if part != places.UNNAMED)

    def _methods_in_short(self):
        season, site = self.season, self.season.site
        animal = season.animal
        size = [
            f"{animal.length_m * 1000:.3g} mm" if animal.length_m else "",
            f"{animal.mass_g:.3g} g" if animal.mass_g else "",
        ]
        size = " and ".join(part for part in size if part)
        where = f"at one site in the cell {places.in_words(site)}, which is as much as is told to protect the animals"
        if self.given["exact_place"]:
            height = f"{abs(site.elevation_m):g} m {'above' if site.elevation_m >= 0 else 'below the level of'} the sea"
            where = f"at one site at {site.latitude_deg}°, {site.longitude_deg}° (north, east), {height}"
        place = (
            f"The records are of {animal.species}{f' (typical adult {size})' if size else ''} {where}. Times are those "
            f"of {site.timezone}."
        )
        if not self.shown:
            return f"{place} No analysis could be run."
        return (
            f"{place} Each section above comes from a notebook that fieldkit {self._version} ran from top to "
            "bottom on these records."
        )

    def _methods(self):
        """(section, paragraph) of what was run for what the section shows, and the functions told, each once."""
        paragraphs, told = [], []
        verdict = self._verdict()
        tested = next((run.name for run, result in self.results() if result is verdict), None)
        for run in self.shown:
            said = []
            for call in run.collected["calls"]:
                # A look at the comparison in passing is not the test.
                in_passing = call["function"] == "choice.compare" and tested not in (None, run.name)
                if call["function"] in told or in_passing:
                    continue
                said += filter(None, [methods.sentence(call)])
                told.append(call["function"])
            if said:
                paragraphs.append((run.section, " ".join(said)))
        return paragraphs, told

    def _seeds(self):
        rows = [(run.section, r["name"], r["seed"]) for run, r in self.results() if r["seed"] is not None]
        return pd.DataFrame(rows, columns=["section", "result", "seed"])

    def _limitations(self):
        found = readings.limitations(self.season)
        if self.season.invented:
            found.insert(0, "The data are invented: they show the method and say nothing about any real animal.")
        return found

    def _warnings(self):
        tables = []
        found = self.season.warnings
        if len(found):
            said = summary(found)[["file", "rows", "column", "cells", "problem", "remedy"]]
            tables.append((said.replace("", "–"), "Doubtful values found while reading the records."))
        rows = [(run.section, text) for run in self.shown for text in running.warnings_of(run)]
        rows += [(run.section, text) for run, result in self.results() for text in result["warnings"]]
        rows += [(run.section, reason) for run in self.shown for reason in run.told]
        if rows:
            rows = list(dict.fromkeys((section, wording.plain(text)) for section, text in rows))
            tables.append((pd.DataFrame(rows, columns=["section", "warning"]), "What the analyses warn of."))
        left_out = self._left_out()
        if len(left_out):
            tables.append((left_out, "Left out of the results, and why. The files list all of it."))
        return tables

    def _left_out(self):
        """What each shown result did not use, by reason; once where several left out the same."""
        seen, rows = set(), []
        for run, result in self.results():
            if result["left_out"] is None:
                continue
            path = self.folder / result["left_out"]
            if path.read_bytes() in seen:
                continue
            seen.add(path.read_bytes())
            frame = pd.read_csv(path, dtype=str).fillna("–")
            for reason, part in frame.groupby("reason", sort=False):
                named = _named(part)
                more = f" and {len(named) - _LISTED} more" if len(named) > _LISTED else ""
                which = ", ".join(named[:_LISTED]) + more
                rows.append((run.section, wording.plain(reason), len(part), which, result["left_out"]))
        return pd.DataFrame(rows, columns=["section", "reason", "rows", "which", "all in"])

    def _data_availability(self):
        if self.season.invented:
            return "The season is invented. The demo season comes with fieldkit, and so does the code that makes it."
        if self.terms["data_at"]:
            return f"The records can be had at {self.terms['data_at']}."
        return "The records are not part of this write-up; ask its authors for them."

    def _authors(self):
        return self.terms["authors"] or (f"The observers of '{self.season.name}'",)

    def _citation(self):
        return (
            f"{'; '.join(self._authors())} ({self.written.year}). {self._title()}. Write-up of {_day(self.written)}, "
            f"made with fieldkit {self._version}, from records with the fingerprint "
            f"{self.season.input_hash[:12]}."
        )

    def citation_file(self):
        """Text of the CITATION.cff that lies beside the page."""
        mark = "INVENTED records, not of real animals. " if self.season.invented else ""
        return citation.citation_file(
            kind="dataset",
            title=self._title(),
            authors=self._authors(),
            licence=citation.spdx(self.terms["licence"]),
            released=self.written,
            abstract=f"{mark}{self.answer()} Records with SHA-256 {self.season.input_hash}.",
        )


def _named(left_out):
    """What names each row that was left out: its place in a file, else what else is known of it."""
    if "file" not in left_out:
        # The index of a table as read is not the row of a spreadsheet.
        names = left_out.drop(columns=["reason", "row"], errors="ignore")
        return list(names.agg(" ".join, axis=1)) if len(names.columns) else ["–"]
    several = len(set(left_out["file"])) > 1
    rows = [f"{file} {row}" if several else row for file, row in zip(left_out["file"], left_out["row"])]
    return rows if several else [f"{left_out['file'].iloc[0]}, row{'s' * (len(rows) > 1)} {rows[0]}", *rows[1:]]


def _day(date):
    return f"{date.day} {date:%B %Y}"


def _section_id(run):
    return f"section-{run.name.replace('_', '-')}"
