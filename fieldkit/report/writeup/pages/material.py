"""All that the pages of a write-up say: results, methods, warnings, who is cited."""

import datetime
import shutil

import pandas as pd

from fieldkit.core import Depth, Role
from fieldkit.field import pool
from fieldkit.records import places
from fieldkit.records.problems import summary
from fieldkit.report.plain.catalogue import tell
from fieldkit.report.share import citation
from fieldkit.report.writeup import marker, running
from fieldkit.report.writeup.pages import methods, readings, wording
from fieldkit.report.writeup.running import WriteUpError

# How many of those left out for one reason the page names; all of them stand in a file.
_LISTED = 8


class Material:
    """What was run on a season, and all that the pages say about it."""

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
    def version(self):
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

    @property
    def has_verdict(self):
        """Whether the question that a verdict answers was asked at all: with `only`, it may not have been."""
        return any(run.has_verdict for run in self.runs)

    def verdict_in_full(self):
        """The whole sentence of the verdict; empty where there is none."""
        return (self._verdict() or {"sentence": ""})["sentence"]

    def messages(self, part, *, verdict=None):
        """Plain messages of the results for the first page, those of the verdict first.

        Parameters
        ----------
        part : {"found", "sure", "numbers", "keeper"}
            What they are to the reader.
        verdict : bool, optional
            Only those of the verdict, or only those of other results; None gives both.
        """
        own = self._verdict()
        # Of what was asked for by name, all counts; else only what is tagged for the first page.
        depths = (Depth.SUMMARY,) if self.has_verdict else (Depth.SUMMARY, Depth.REPORT)
        others = [r for _, r in self.results() if r is not own and r["depth"] in depths]
        chosen = ([own] if own and verdict is not False else []) + (others if not verdict else [])
        return [message for result in chosen for message in result["plain"][part]]

    def words_of(self, run):
        """What a section of the report says in words: found, how sure, the numbers; nothing that is said above."""
        words = []
        for result in run.collected["results"]:
            if result["depth"] != Depth.SUPPLEMENT:
                parts = ("numbers",) if result is self._verdict() else ("found", "sure", "numbers")
                words += [tell(message) for part in parts for message in result["plain"][part]]
        return list(dict.fromkeys(words))

    def answer_sentences(self):
        """Say what the animals chose on, or why that is not known; with `only`, what was found in what was run."""
        verdict = self._verdict()
        if verdict:
            return [tell(message) for message in verdict["plain"]["found"]] or [verdict["sentence"]]
        if not self.has_verdict:
            sections = ", ".join(run.section for run in self.runs)
            covers = tell({"key": "page.part", "values": {"sections": sections}})
            return [*(tell(message) for message in self.messages("found")[:2]), covers]
        why = next((run.reason for run in self.runs if run.has_verdict and run.reason), "")
        return [tell({"key": "page.untested"}), *filter(None, [why])]

    def answer(self):
        """The answer as one text."""
        return " ".join(self.answer_sentences())

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

    def title(self):
        shows = "where the animals bask, and why" if self._tested() else "what one season shows"
        if not self.has_verdict and len(self.runs) == 1:
            shows = self.runs[0].section
        return f"{self.season.name}: {shows}"

    def facts(self):
        season = self.season
        days = f"{day(season.first_day)} to {day(season.last_day)}"
        parts = [season.animal.species, season.site.name, days, f"written {day(self.written)}"]
        return " · ".join(part for part in parts if part != places.UNNAMED)

    def methods_in_short(self):
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
            f"{place} Each section above comes from a notebook that fieldkit {self.version} ran from top to "
            "bottom on these records."
        )

    def methods(self):
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

    def seeds(self):
        rows = [(run.section, r["name"], r["seed"]) for run, r in self.results() if r["seed"] is not None]
        return pd.DataFrame(rows, columns=["section", "result", "seed"])

    def limitations(self):
        found = readings.limitations(self.season)
        if self.season.invented:
            found.insert(0, "The data are invented: they show the method and say nothing about any real animal.")
        return found

    def warnings(self):
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
        left_out = self.left_out()
        if len(left_out):
            tables.append((left_out, "Left out of the results, and why. The files list all of it."))
        return tables

    def left_out(self):
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

    def data_availability(self):
        if self.season.invented:
            return "The season is invented. The demo season comes with fieldkit, and so does the code that makes it."
        if self.terms["data_at"]:
            return f"The records can be had at {self.terms['data_at']}."
        return "The records are not part of this write-up; ask its authors for them."

    def authors(self):
        return self.terms["authors"] or (f"The observers of '{self.season.name}'",)

    def citation(self):
        return (
            f"{'; '.join(self.authors())} ({self.written.year}). {self.title()}. Write-up of {day(self.written)}, "
            f"made with fieldkit {self.version}, from records with the fingerprint "
            f"{self.season.input_hash[:12]}."
        )

    def citation_file(self):
        """Text of the CITATION.cff that lies beside the page."""
        mark = "INVENTED records, not of real animals. " if self.season.invented else ""
        return citation.citation_file(
            kind="dataset",
            title=self.title(),
            authors=self.authors(),
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


def day(date):
    return f"{date.day} {date:%B %Y}"


def section_id(run):
    return f"section-{run.name.replace('_', '-')}"
