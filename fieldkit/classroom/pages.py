"""Pages to read without Python: notebooks as HTML with their stored outputs, nothing from a network."""

import copy
import html
import re
import tomllib
from importlib import resources

from markupsafe import Markup

from fieldkit.classroom.declared import SAFETY, declared
from fieldkit.report.writeup import running
from fieldkit.report.writeup.pages import rendering

_SLIDERS = (
    "*In the running notebook there are sliders here. On this page the picture shows them where they stand at first.*"
)
# What is folded until the reader asks for it, by the tag of its cell.
_FOLDED = {"reveal": "See what came out", "answer": "Answer"}
_PAGE = Markup(
    '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
    '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
    '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; img-src data:; style-src '
    "'unsafe-inline'\">\n<title>{title}</title>\n<style>\n{css}\n</style>\n</head>\n<body>\n"
    "{note}<header>\n<h1>{title}</h1>\n</header>\n<main>\n{body}\n</main>\n"
    "<footer><p>{foot}</p></footer>\n</body>\n</html>\n"
)


# A guide is printed: two or three pages that can be read at arm's length.
_GUIDE = """
@page { size: A4; margin: 12mm 14mm; }
@media print {
  table { font-size: 8.5pt; } .wide, p, ul { margin: 0 0 .3rem; } li { margin: 0; } tr, li { break-inside: avoid; }
  h1 { font-size: 14pt; margin: 0 0 .2rem; } h2 { font-size: 11pt; margin: .5rem 0 .2rem; padding-top: .2rem; }
  body { font-size: 9pt; line-height: 1.3; } .wide { break-inside: auto; } footer { margin: 0; padding: 0; }
}
"""
_INVENTED = Markup(
    '<p class="invented" role="note"><strong>Invented data.</strong> The animals and readings on this page are made '
    "up.</p>\n"
)


def page(notebook, name, *, without=(), others=()):
    """A notebook as one self-contained page.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        With its outputs; left as it is.
    name : str
        Its name, without .ipynb.
    without : set of str
        Cells with one of these tags are left out.
    others : sequence of str
        Names of notebooks that have a page in the same folder: links lead there; other links keep their words only.

    Returns
    -------
    str
        HTML. Answers, and what came out where the reader is asked to predict (tag `reveal`), are folded.

    Examples
    --------
    >>> import nbformat.v4 as v4
    >>> "Why?" in page(v4.new_notebook(cells=[v4.new_markdown_cell("# Sun\\n\\nWhy?")]), "sun")
    True
    """
    cells = [_still(cell) for cell in notebook.cells if not running.tags(cell) & set(without)]
    first = re.match(r"# +(.+?)\s*(?:\n|$)", cells[0].source)
    title = first[1] if first else name
    if first:
        cells[0].source = cells[0].source[first.end() :]
    renderer = rendering.Renderer(None, sections={f"{other}.ipynb": f"page-{other}" for other in others})
    parts = []
    for heading, folded, part in _parts(cells):
        blocks = renderer.section(heading or title, [(cell, None) for cell in part], figures=None)
        if folded:
            blocks = [Markup("<details><summary>{}</summary>{}</details>").format(folded, Markup("\n").join(blocks))]
        parts += [Markup("<h2>{}</h2>").format(heading), *blocks] if heading and not folded else blocks
    body = re.sub(r'href="#page-([\w-]+)"', r'href="\1.html"', Markup("\n").join(parts))
    back = Markup(' <a href="index.html">All pages</a>') if others else ""
    return _whole(
        title, Markup(body), Markup("From the notebook {}, as it was run when it was stored.{}").format(name, back)
    )


def _whole(title, body, foot, note=_INVENTED, style=""):
    css = (resources.files("fieldkit.report") / "templates" / "writeup.css").read_text(encoding="utf-8")
    return str(_PAGE.format(title=title, css=Markup(css + style), body=body, foot=foot, note=note))


def guide(lesson):
    """The teacher's guide of a lesson, a page to print: materials, two periods, roles, what pupils say, questions.

    Parameters
    ----------
    lesson : {"thermometer_in_the_sun", "choose_like_a_lizard"}
        Which lesson.

    Returns
    -------
    str
        HTML.

    Examples
    --------
    >>> "Period 2" in guide("choose_like_a_lizard")
    True
    """
    sheet = declared(lesson)
    text = tomllib.loads((resources.files("fieldkit.classroom") / "guides.toml").read_text(encoding="utf-8"))[lesson]
    parts = [
        Markup("<p>{}</p>").format(text["about"]),
        _block("Materials, for 27 pupils", _rows(("what", "each group or place", "in all"), text["materials"])),
        _block("Before the bell", _list(text["before"])),
        _block("Period 1: the experiment", _steps(sheet.plan)),
        _block("Period 2: what it says", _steps(sheet.analysis)),
        _block("Roles", _list(text["roles"])),
        _block("Rain, or no sun", Markup("<p>{}</p>").format(text["rain"])),
        _block("What pupils say", _rows(("a pupil says", "the teacher asks back"), text["misconceptions"])),
        _block("Questions to assess", _rows(("question", "model answer"), text["assessment"])),
        _block("Topics it belongs to", Markup("<p>{}.</p>").format("; ".join(text["topics"]).capitalize())),
        _block("Take care", _list(SAFETY)),
    ]
    foot = "Times, numbers of groups and limits are common practice, no source. The rules of your school come first."
    return _whole(f"For the teacher: {sheet.title.lower()}", Markup("\n").join(parts), foot, note="", style=_GUIDE)


def _block(heading, body):
    return Markup("<h2>{}</h2>\n{}").format(heading, body)


def _list(lines):
    return Markup("<ul>{}</ul>").format(Markup("").join(Markup("<li>{}</li>").format(line) for line in lines))


def _steps(plan):
    return _rows(("minutes", "what happens"), [(f"{step.start_min}–{step.end_min}", step.what) for step in plan])


def _rows(head, rows):
    """A table of words; *stressed* and **strong** words of the plan as such."""

    def words(text):
        text = re.sub(r"\*\*(.+?)\*\*", r"<strong>\1</strong>", str(Markup.escape(text)))
        return Markup(re.sub(r"\*(.+?)\*", r"<em>\1</em>", text))

    top = Markup("").join(Markup('<th scope="col">{}</th>').format(name) for name in head)
    body = Markup("").join(
        Markup("<tr>{}</tr>").format(Markup("").join(Markup("<td>{}</td>").format(words(cell)) for cell in row))
        for row in rows
    )
    return Markup('<div class="wide"><table><thead><tr>{}</tr></thead><tbody>{}</tbody></table></div>').format(
        top, body
    )


def _still(cell):
    """A copy of a cell whose sliders are words."""
    cell = copy.deepcopy(cell)
    for output in cell.get("outputs", []):
        if "application/vnd.jupyter.widget-view+json" in output.get("data", {}):
            output.data = type(output.data)({"text/markdown": _SLIDERS})
    return cell


def _parts(cells):
    """(heading or "", what folds it or "", cells): a part for each heading of level 2 and for what is folded."""
    parts = [["", "", []]]
    for cell in cells:
        folded = next((words for tag, words in _FOLDED.items() if tag in running.tags(cell)), "")
        heading = re.match(r"## +(.+?)\s*(?:\n|$)", cell.source) if cell.cell_type == "markdown" else None
        if heading and not folded:
            cell.source = cell.source[heading.end() :]
            parts.append([heading[1], "", []])
        elif folded != parts[-1][1]:
            parts.append(["", folded, []])
        parts[-1][2].append(cell)
    return parts


def write(folder, out, names, *, without=()):
    """Write a page for each notebook of a folder, and, for more than one, a list of them.

    Parameters
    ----------
    folder, out : pathlib.Path
        Where the notebooks are, and the folder the pages go to; nothing in it is overwritten.
    names : sequence of str
        Names of the notebooks without .ipynb.
    without : set of str
        Cells with one of these tags are left out.

    Returns
    -------
    list of pathlib.Path
    """
    import nbformat

    out.mkdir(parents=True, exist_ok=True)
    written, titles = [], {}
    for name in names:
        text = page(nbformat.read(folder / f"{name}.ipynb", as_version=4), name, without=without, others=names)
        titles[name] = html.unescape(re.search("<title>(.+?)</title>", text)[1])
        written.append(_new(out / f"{name}.html", text))
    listed = Markup("").join(
        Markup('<li><a href="{}.html">{}</a></li>').format(name, title) for name, title in titles.items()
    )
    index = _whole("Pages to read", Markup("<ol>{}</ol>").format(listed), "Each page works without a network.")
    return [*written, _new(out / "index.html", index)]


def _new(path, text):
    with path.open("x", encoding="utf-8") as file:
        file.write(text)
    return path
