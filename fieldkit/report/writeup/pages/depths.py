"""The pages of a write-up in three depths: a summary of one page, the report, and the supplement with all the rest.

What stands where is data: ``depth`` of a cell's metadata and of `fieldkit.publish`. A notebook that marks no cell gives
the report its first figure and its first table.
"""

from pathlib import Path

from markupsafe import Markup

from fieldkit.core import Depth
from fieldkit.records import cautions
from fieldkit.report.plain.catalogue import catalogue, tell
from fieldkit.report.writeup import running
from fieldkit.report.writeup.pages import methods, readings, wording
from fieldkit.report.writeup.pages.material import day, section_id
from fieldkit.report.writeup.pages.rendering import Renderer

_TEMPLATES = Path(__file__).parents[2] / "templates"
# What the first page holds at most.
_FIGURES, _OTHERS, _FOR_KEEPERS = 3, 1, 3
_SHOWN = (Depth.SUMMARY, Depth.REPORT)


def pages(material, *, languages=()):
    """All pages of a write-up.

    Parameters
    ----------
    material : Material
        What was run; its ``figures`` are set.
    languages : sequence of str
        In which the summary is written besides English.

    Returns
    -------
    dict of str to str
        HTML by name of the file.
    """
    report, pointers = _report(material)
    supplement = _supplement(material, pointers)
    material.figures = [*report["renderer"].figures, *supplement["renderer"].figures]
    shared = {
        "language": "en",
        "css": Markup((_TEMPLATES / "writeup.css").read_text(encoding="utf-8")),
        "title": material.title(),
        "version": material.version,
        "written": day(material.written),
        "invented": material.season.invented,
        "facts": material.facts(),
    }
    shown = [figure for figure in report["renderer"].figures if figure["depth"] == Depth.SUMMARY][:_FIGURES]
    made = {
        "index.html": _filled("report.html.j2", shared | report),
        "supplement.html": _filled("supplement.html.j2", shared | supplement),
    }
    names = {"en": "summary.html"} | {code: f"summary.{code}.html" for code in languages}
    for code, name in names.items():
        others = [pair for pair in names.items() if pair[0] != code]
        made[name] = _filled("summary.html.j2", shared | summary(material, shown, code) | {"languages": others})
    return made


def _filled(template, values):
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(_TEMPLATES), autoescape=True, trim_blocks=True, undefined=jinja2.StrictUndefined
    )
    return environment.get_template(template).render(**values)


def summary(material, figures, language):
    """What the one-page summary shows, in one language."""
    words = catalogue(language)

    def told(messages):
        return list(dict.fromkeys(tell(message, language) for message in messages))

    # A verdict without plain words, of a notebook of one's own, is said as it says itself.
    answer = told(material.messages("found", verdict=True)) or [material.answer()]
    others = told(material.messages("found", verdict=False))
    if not material.has_verdict and others:
        answer, others = others[:2], others[2:]
    return {
        "w": words,
        "language": language,
        "title": f"{material.season.name}: {words['page.summary'].lower()}",
        "question": words["question.choice" if material.has_verdict else "question.season"],
        "answer": answer,
        "others": others[:_OTHERS],
        "sure": told([*material.messages("sure", verdict=True), *material.messages("sure", verdict=False)[:1]])
        or [words["page.not_sure"]],
        "keeper": told(_urgent_first(material.messages("keeper")))[:_FOR_KEEPERS]
        or [words["page.nothing_for_keepers"]],
        "figures": figures,
        "cautions": [text for key, text in words.items() if key.startswith("caution.")],
    }


def _urgent_first(messages):
    """What can hurt an animal now comes before what to aim for."""
    return sorted(messages, key=lambda message: not message["key"].startswith("audit."))


def _chosen(run):
    """Places of the cells of a notebook that the report shows."""
    cells = run.notebook.cells
    shown = [i for i, cell in enumerate(cells) if "writeup" in running.tags(cell) and cell.cell_type == "code"]
    marked = [i for i in shown if cells[i].metadata.get("fieldkit", {}).get("depth") in _SHOWN]
    if marked or any("depth" in cells[i].metadata.get("fieldkit", {}) for i in shown):
        return marked

    def first(kind):
        return [i for i in shown if any(kind in output.get("data", {}) for output in cells[i].get("outputs", []))][:1]

    tables = [i for i in shown if "table" in cells[i].metadata.get("fieldkit", {})][:1]
    return sorted({*first("image/png"), *(tables or first("text/html"))})


def _report(material):
    links = {f"{run.name}.ipynb": section_id(run) for run in material.shown}
    renderer = Renderer(material.folder, sections=links)
    sections, places, pointers = [], [], {}
    for run in material.shown:
        chosen = [(run.notebook.cells[i], run.missing.get(i)) for i in _chosen(run)]
        blocks, shown = renderer.leading(run.section, chosen, figures=material.work / run.name / "figures")
        for place, names in shown.items():
            pointers[id(chosen[place][0])] = _pointer(names)
        places += [run.section] * (len(renderer.figures) - len(places))
        words = material.words_of(run)
        if blocks or words:
            sections.append({"id": section_id(run), "title": run.section, "words": words, "blocks": blocks})
    skipped = [{"title": run.section, "name": run.name, "reason": run.reason} for run in material.skipped]
    for run in material.shown:
        reasons = " ".join(wording.plain(reason) for reason in run.told if reason)
        skipped += [{"title": run.section, "name": run.name, "reason": f"In part. {reasons}"}] if reasons else []
    contents = [("answer", "The answer"), *((s["id"], s["title"]) for s in sections)]
    contents += [("not-done", "What was not done")] if skipped else []
    contents += [("limitations", "Limitations"), ("cautions", "Cautions"), ("data", "Data and code")]
    contents += [("cite", "How to cite")]
    return {
        "renderer": renderer,
        "answer": material.answer_sentences(),
        "sure": [tell(message) for message in material.messages("sure", verdict=True)],
        "findings": material.findings(renderer.figures, places),
        "contents": contents,
        "sections": sections,
        "skipped": skipped,
        "limitations": material.limitations(),
        "field_cautions": cautions.FIELD,
        "data_availability": material.data_availability(),
        "citation": material.citation(),
        "licence": material.terms["licence"],
        "references": True,
    }, {key: value for key, value in pointers.items() if value}


def _pointer(names):
    """ "Figure 3 and Table 3 stand in the report", with links."""
    linked = [Markup('<a href="index.html#{}">{}</a>').format(n.lower().replace(" ", "-"), n) for n in names]
    if not linked:
        return Markup("")
    verb = "stands" if len(linked) == 1 else "stand"
    return Markup("<p>{} {} in the report.</p>").format(Markup(" and ").join(linked), verb)


def _supplement(material, pointers):
    season, answer = material.season, material.verdict_in_full()
    renderer = Renderer(
        material.folder,
        sections={f"{run.name}.ipynb": section_id(run) for run in material.shown},
        said={answer: "verdict"} if answer else {},
        letter="S",
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
    sections = []
    for run in material.shown:
        cells = [(c, run.missing.get(i)) for i, c in enumerate(run.notebook.cells) if "writeup" in running.tags(c)]
        figures = material.work / run.name / "figures"
        blocks = renderer.section(run.section, cells, figures=figures, elsewhere=pointers)
        if blocks:
            sections.append({"id": section_id(run), "title": run.section, "name": run.name, "blocks": blocks})
    return _about(material, renderer, sections) | {
        "renderer": renderer,
        "verdict": wording.plain(answer) if answer else "",
        "readings_in_short": readings.in_short(season),
        "readings_tables": readings_tables,
        "sections": sections,
    }


def _about(material, renderer, sections):
    """Methods, terms, warnings and how to reproduce it all."""
    paragraphs, told = material.methods()
    cited = methods.references(told)
    seeds, warnings = material.seeds(), material.warnings()
    text = " ".join([material.verdict_in_full(), *map(str, (b for s in sections for b in s["blocks"]))])
    terms = wording.terms_in(text)
    contents = [("verdict", "The test of choice in full")] if material.verdict_in_full() else []
    contents += [("readings", "The season in numbers"), *((s["id"], s["title"]) for s in sections)]
    contents += [("methods", "Methods"), ("general", "What is the same for every season")]
    contents += [("reproduce", "Data, code and how to reproduce this")]
    contents += [("references", "References")] if cited else []
    contents += [("terms", "Words used here")] if terms else []
    contents += [("warnings", "Every warning")]
    caption = "Seeds of what drew random numbers, by the name of the result."
    return {
        "contents": contents,
        "methods_in_short": material.methods_in_short(),
        "methods": paragraphs,
        "references": cited,
        "terms": terms,
        "data_availability": material.data_availability(),
        "input_hash": material.season.input_hash,
        "demo": material.given["demo"],
        "enclosure": material.given["enclosure"],
        "exact_place": material.given["exact_place"],
        "parameters": {name: repr(value) for name, value in material.parameters.items()},
        "seeds_table": renderer.table(seeds, caption) if len(seeds) else "",
        "versions": material.said_versions,
        "warnings_in_short": (
            "What looked doubtful, what was cut short, and what was left out of which result."
            if warnings
            else "There were no warnings, and nothing was left out."
        ),
        "warnings_tables": [renderer.table(frame, caption) for frame, caption in warnings],
    }
