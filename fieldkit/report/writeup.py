"""A season folder becomes a write-up: the notebooks are run on it and rendered into one file that can be published."""

import datetime
import importlib.metadata
import json
import platform
import re
import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

import fieldkit
from fieldkit.core import FieldkitError, Result, resource_dir
from fieldkit.report import folders, readings, running
from fieldkit.report.rendering import Renderer
from fieldkit.report.running import WriteUpError

__all__ = ["WriteUp", "WriteUpError", "write"]

# Rows of what was left out that the page shows; the rest stands in a file.
_SHOWN_ROWS = 30
_TEMPLATES = Path(__file__).parent / "templates"


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class WriteUp(Result):
    """A finished write-up: where it is and what became of each notebook."""

    path: Path
    html: Path
    pdf: Path | None
    table: pd.DataFrame
    answer: str
    input_hash: str

    @property
    def sentence(self):
        """Say what was written and what it says."""
        done = (self.table["state"] == "done").sum()
        rest = len(self.table) - done
        more = f" ({rest} cut short or left out, see the write-up)" if rest else ""
        return f"{self.answer} {done} of {len(self.table)} sections written{more}."


def write(path, out, *, only=None, parameters=None, authors=None, licence=None, data_at=None, pdf=None, progress=None):
    """Run the notebooks on a season and write one self-contained HTML file with its figures, numbers and notebooks.

    The folder is made beside its place and swapped in whole: a run that fails or is killed leaves an earlier write-up
    as it was. A cell that finds the records wanting says so in its section and the other sections go on; a cell that
    fails for any other reason fails the run.

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
    authors : str, optional
        Whom to cite; None cites the observers of the season.
    licence : str, optional
        Terms under which the write-up and its numbers may be used.
    data_at : str, optional
        Where the records can be had (a DOI or an address).
    pdf : bool, optional
        Also write a PDF. None writes one if WeasyPrint is installed.
    progress : bool, optional
        Show a progress bar; None shows one in a terminal.

    Returns
    -------
    WriteUp

    Raises
    ------
    FieldkitError
        Records that cannot be read (`SeasonError`), a folder that must not be overwritten, an unknown parameter.
    WriteUpError
        A notebook failed for a reason other than the records.
    """
    if pdf and not _weasyprint():
        raise FieldkitError("A PDF needs WeasyPrint: install fieldkit with its pdf extra, or print the HTML file.")
    season = fieldkit.read_season(path) if path is not None else fieldkit.demo_season()
    parameters = dict(parameters or {})
    runs = running.listed(season, only=only)
    to_run = [run for run in runs if run.state == "to run"]
    where = str(Path(path).absolute()) if path is not None and not _is_demo(path) else None
    running.spread_parameters(to_run, where, parameters)
    with folders.swapped_in(out, keep=season.path) as fresh, tempfile.TemporaryDirectory() as work:
        work = Path(work)
        _run_all(to_run, work, progress=progress)
        if where is not None:
            if fieldkit.read_season(path).input_hash != season.input_hash:
                raise FieldkitError(f"The records in {path} changed while they were written up: start again.")
            for run in to_run:
                running.hide_path(run, where)
        terms = {"authors": authors, "licence": licence, "data_at": data_at}
        page = _Page(season, runs, fresh, work, parameters=parameters, terms=terms)
        text = page.render()
        (fresh / "index.html").write_text(text, encoding="utf-8", newline="\n")
        made_pdf = _write_pdf(fresh, wanted=pdf)
        _write_marker(fresh, page, where is None, only)
    out = Path(out).absolute()
    return WriteUp(
        path=out,
        html=out / "index.html",
        pdf=out / "writeup.pdf" if made_pdf else None,
        table=page.table(),
        answer=page.answer(),
        input_hash=season.input_hash,
    )


def _is_demo(path):
    try:
        return Path(path).resolve() == (resource_dir("data") / "demo_season").resolve()
    except FieldkitError:
        return False


def _run_all(runs, work, *, progress):
    from tqdm.auto import tqdm

    hidden = None if progress is None else not progress
    with tqdm(total=sum(len(run.cells) for run in runs), disable=hidden, unit="cell", desc="Writing up") as bar:
        for run in runs:
            bar.set_postfix_str(run.name)
            running.run(run, figures=work / "figures" / run.name, results=work / "results" / run.name, step=bar.update)


class _Page:
    """Everything that the template shows."""

    def __init__(self, season, runs, folder, work, *, parameters, terms):
        self.season = season
        self.folder = folder
        self.work = work
        self.parameters = parameters
        self.terms = terms
        self.shown = [run for run in runs if run.state in ("done", "stopped")]
        self.skipped = [run for run in runs if run.state == "skipped"]
        self.runs = runs
        self.written = datetime.datetime.now(datetime.UTC).date()
        self.versions = _versions()
        self._keep_notebooks()
        self._keep_results()

    def _keep_notebooks(self):
        import nbformat

        (self.folder / "notebooks").mkdir()
        for run in self.shown:
            nbformat.write(run.notebook, self.folder / "notebooks" / f"{run.name}.ipynb")

    def _keep_results(self):
        (self.folder / "results").mkdir()
        for run in self.shown:
            for result in run.collected["results"]:
                result["file"] = f"results/{run.name}-{result['name']}.csv"
                result["left_out"] = None
                shutil.copyfile(run.results_folder / f"{result['name']}.csv", self.folder / result["file"])
                left_out = run.results_folder / f"{result['name']}-left-out.csv"
                if left_out.exists():
                    result["left_out"] = result["file"].replace(".csv", "-left-out.csv")
                    shutil.copyfile(left_out, self.folder / result["left_out"])

    def results(self):
        """(run, result) of every result that any notebook came to."""
        return [(run, result) for run in self.shown for result in run.collected["results"]]

    def _verdict(self):
        """The last comparison that a notebook calls its `answer`: an earlier notebook may look at one in passing."""
        found = [r for _, r in self.results() if r["kind"] == "Comparison" and r["name"] == "answer"]
        return found[-1] if found else None

    def answer(self):
        """Say what the animals chose on, or why that is not known."""
        verdict = self._verdict()
        if verdict:
            return verdict["sentence"]
        for run in self.runs:
            if "choices" in run.notebook.metadata.get("fieldkit", {}).get("needs", []) and run.reason:
                return f"On what these animals choose their basking sites was not tested. {run.reason}"
        return "On what these animals choose their basking sites was not tested here."

    def findings(self):
        """Sentences of the other results that a section shows."""
        verdict = self._verdict()
        found = []
        for run, result in self.results():
            visible = " ".join(
                str(output.get("data", {}).get("text/html", "")) + str(output.get("data", {}).get("text/plain", ""))
                for cell in run.cells
                if cell.cell_type == "code" and "writeup" in running.tags(cell)
                for output in cell.outputs
            )
            if result is not verdict and result["sentence"] in _unescaped(visible):
                found.append({"id": _section_id(run), "section": run.section, "sentence": result["sentence"]})
        return found

    def table(self):
        """One row per notebook: section, state, reason."""
        return pd.DataFrame(
            [(run.name, run.section, run.state, run.reason) for run in self.runs],
            columns=["notebook", "section", "state", "reason"],
        )

    def render(self):
        import jinja2

        renderer = Renderer(self.folder, notebooks=[f"{run.name}.ipynb" for run in self.shown])
        season = self.season
        environment = jinja2.Environment(
            loader=jinja2.FileSystemLoader(_TEMPLATES),
            autoescape=True,
            trim_blocks=True,
            undefined=jinja2.StrictUndefined,
        )
        readings_tables = [renderer.table(readings.overview(season), "What the season holds.")]
        measured = readings.measured(season)
        if len(measured):
            readings_tables.append(
                renderer.table(measured, "What was measured, how much is missing, and how exact it is.")
            )
        sections = []
        for run in self.shown:
            stop = len(run.notebook.cells) if run.stopped_at is None else run.stopped_at
            cells = [cell for cell in run.notebook.cells[:stop] if "writeup" in running.tags(cell)]
            blocks = renderer.section(run.section, cells, figures=self.work / "figures" / run.name)
            sections.append(
                {
                    "id": _section_id(run),
                    "title": run.section,
                    "name": run.name,
                    "state": run.state,
                    "reason": run.reason,
                    "blocks": blocks,
                }
            )
        contents = [("answer", "The answer"), ("readings", "How good are these readings, at a glance")]
        contents += [(s["id"], s["title"]) for s in sections]
        contents += [("not-done", "What was not done")] if self.skipped else []
        contents += [("methods", "Methods"), ("limitations", "Limitations"), ("cautions", "Cautions")]
        contents += [("reproduce", "Data, code and how to reproduce this"), ("cite", "How to cite")]
        contents += [("warnings", "Appendix: every warning")]
        paragraphs, calls = self._methods()
        seeds = self._seeds()
        warnings = self._warnings()
        return environment.get_template("writeup.html.j2").render(
            css=jinja2.filters.do_mark_safe((_TEMPLATES / "writeup.css").read_text(encoding="utf-8")),
            title=self._title(),
            version=fieldkit.__version__,
            written=self.written,
            invented=season.invented,
            facts=self._facts(),
            # The verdict stands large, how sure it is below.
            answer=re.split(r"(?<=[.!?]) (?=[A-Z])", self.answer(), maxsplit=1),
            findings=self.findings(),
            readings_in_short=readings.in_short(season),
            readings_tables=readings_tables,
            contents=contents,
            sections=sections,
            skipped=[{"title": run.section, "name": run.name, "reason": run.reason} for run in self.skipped],
            methods=paragraphs,
            calls=calls,
            limitations=self._limitations(),
            data_availability=self._data_availability(),
            input_hash=season.input_hash,
            parameters={name: repr(value) for name, value in self.parameters.items()},
            seeds_table=renderer.table(seeds, "Seeds of everything that drew random numbers.") if len(seeds) else "",
            versions=self.versions,
            citation=self._citation(),
            warnings_in_short=(
                "What looked doubtful, what was skipped, and what was left out of which result."
                if warnings
                else "There were no warnings, and nothing was left out."
            ),
            warnings_tables=[renderer.table(frame, caption) for frame, caption in warnings],
        )

    def _title(self):
        return f"{self.season.name}: where the animals bask, and why"

    def _facts(self):
        season = self.season
        days = f"{season.first_day} to {season.last_day}"
        return f"{season.animal.species} · {season.site.name} · {days} · written {self.written}"

    def _methods(self):
        season, site = self.season, self.season.site
        animal = season.animal
        size = [
            f"{animal.length_m * 1000:.3g} mm" if animal.length_m else "",
            f"{animal.mass_g:.3g} g" if animal.mass_g else "",
        ]
        size = " and ".join(part for part in size if part)
        # To a tenth of a degree: exact places of wild animals invite visitors they are better without.
        place = (
            f"Records of {animal.species}{f' (typical adult {size})' if size else ''} from one site near "
            f"{abs(site.latitude_deg):.1f}° {'N' if site.latitude_deg >= 0 else 'S'}, "
            f"{abs(site.longitude_deg):.1f}° {'E' if site.longitude_deg >= 0 else 'W'}, "
            f"{site.elevation_m:.0f} m above the sea, were read with fieldkit {fieldkit.__version__}; "
            f"times are those of {site.timezone}. Coordinates are given to a tenth of a degree to protect the animals."
        )
        paragraphs = [place]
        names = ", ".join(f"{run.section} ({run.name})" for run in self.shown)
        paragraphs.append(
            f"Each section comes from a notebook that was run from top to bottom on these records on {self.written}: "
            f"{names}. Exercises were left out."
            if names
            else "No notebook was run."
        )
        for run, result in self.results():
            if result["kind"] == "Comparison" and result["settings"]:
                settings = "; ".join(f"{k.replace('_', ' ')}: {_said(v)}" for k, v in result["settings"].items())
                paragraphs.append(
                    f"The comparison '{result['name']}' ({run.section}) was made with these settings: {settings}; "
                    f"seed of the random numbers: {result['seed']}."
                )
        calls = {}
        for run in self.shown:
            for call in run.collected["calls"]:
                known = calls.setdefault(call["function"], call | {"options": []})
                known["options"] += [o for o in call["options"] if o not in known["options"]]
        return paragraphs, list(calls.values())

    def _seeds(self):
        rows = [(run.name, r["name"], r["kind"], r["seed"]) for run, r in self.results() if r["seed"] is not None]
        return pd.DataFrame(rows, columns=["notebook", "result", "kind", "seed"])

    def _limitations(self):
        found = readings.limitations(self.season)
        if self.season.invented:
            found.insert(0, "The data are invented: they show the method and say nothing about any real animal.")
        found += [f"{run.section} was not done: {run.reason}" for run in self.skipped]
        found += [
            f"{run.section} was cut short: {run.reason.splitlines()[0]}" for run in self.shown if run.state == "stopped"
        ]
        return found

    def _warnings(self):
        tables = []
        found = self.season.warnings
        if len(found):
            shown = found[[c for c in ("file", "row", "column", "value", "problem", "remedy") if c in found]]
            tables.append((shown.fillna("–"), "Doubtful values found while reading the records."))
        rows = [(run.name, text) for run in self.shown for text in running.warnings_of(run)]
        rows += [(run.name, run.reason) for run in self.runs if run.reason]
        if rows:
            tables.append((pd.DataFrame(rows, columns=["notebook", "warning"]), "Given while the notebooks ran."))
        return tables + self._left_out()

    def _left_out(self):
        """What each result did not use, once where several results left out the same."""
        seen, tables = set(), []
        for run, result in self.results():
            if result["left_out"] is None:
                continue
            path = self.folder / result["left_out"]
            if path.read_bytes() in seen:
                continue
            seen.add(path.read_bytes())
            frame = pd.read_csv(path)
            more = (
                f" The first {_SHOWN_ROWS} of {len(frame)}; all in {result['left_out']}."
                if len(frame) > _SHOWN_ROWS
                else ""
            )
            caption = f"Left out of '{result['name']}' ({run.section}), and why.{more}"
            tables.append((frame.head(_SHOWN_ROWS).fillna("–"), caption))
        return tables

    def _data_availability(self):
        if self.season.invented:
            return "The season is invented. The demo season comes with fieldkit, and so does the code that makes it."
        if self.terms["data_at"]:
            return f"The records can be had at {self.terms['data_at']}."
        return "The records are not part of this write-up; ask its authors for them."

    def _citation(self):
        authors = self.terms["authors"] or f"The observers of '{self.season.name}'"
        terms = f" Terms of use: {self.terms['licence']}." if self.terms["licence"] else ""
        return (
            f"{authors} ({self.written.year}). {self._title()}. Write-up of {self.written}, made with fieldkit "
            f"{fieldkit.__version__}; season folder SHA-256 {self.season.input_hash}.{terms}"
        )


def _said(value):
    if isinstance(value, dict):
        return ", ".join(f"{k} {_said(v)}" for k, v in value.items()) or "none"
    if isinstance(value, list):
        return ", ".join(map(_said, value)) or "none"
    return "none" if value is None else f"{value:.4g}" if isinstance(value, float) else str(value)


def _unescaped(text):
    import html

    return html.unescape(text)


def _section_id(run):
    return f"section-{run.name.replace('_', '-')}"


def _versions():
    """Versions of Python, fieldkit and the packages that fieldkit asks for."""
    found = {"python": platform.python_version(), "fieldkit": fieldkit.__version__}
    for requirement in importlib.metadata.requires("fieldkit") or []:
        if "extra ==" not in requirement:
            name = re.match(r"[\w.-]+", requirement)[0]
            found[name] = importlib.metadata.version(name)
    return found


def _weasyprint():
    try:
        import weasyprint
    # OSError: the package is there and the drawing libraries of the system are not.
    except (ImportError, OSError):
        return None
    return weasyprint


def _write_pdf(folder, *, wanted):
    weasyprint = _weasyprint() if wanted is not False else None
    if weasyprint is None:
        return False
    weasyprint.HTML(filename=str(folder / "index.html")).write_pdf(folder / "writeup.pdf", pdf_variant="pdf/ua-1")
    return True


def _write_marker(folder, page, is_demo, only):
    files = {
        path.relative_to(folder).as_posix(): folders.digest(path)
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
    about = {
        "format": folders.FORMAT,
        "written": str(page.written),
        "season": page.season.name,
        "demo": is_demo,
        "invented": page.season.invented,
        "input_sha256": page.season.input_hash,
        "only": list(only) if only is not None else None,
        "parameters": page.parameters,
        "answer": page.answer(),
        "versions": page.versions,
        "sections": page.table().to_dict("records"),
        "results": [{"notebook": run.name} | result for run, result in page.results()],
        "files": files,
    }
    (folder / folders.MARKER).write_text(json.dumps(about, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
