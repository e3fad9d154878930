"""Turn notebook cells and tables into clean, numbered HTML: no scripts, nothing from the network."""

import base64
import html
import re
import shutil
from pathlib import Path

from markupsafe import Markup

_KEPT = {
    *(
        "p",
        "br",
        "hr",
        "em",
        "strong",
        "b",
        "i",
        "code",
        "pre",
        "sub",
        "sup",
        "ul",
        "ol",
        "li",
        "blockquote",
        "a",
        "img",
    ),
    *("h1", "h2", "h3", "h4", "h5", "h6", "table", "thead", "tbody", "tfoot", "tr", "th", "td", "caption"),
    *("dl", "dt", "dd", "del", "abbr", "kbd", "details", "summary", "div", "span"),
}
_DROPPED_WHOLE = {
    "script",
    "style",
    "iframe",
    "object",
    "embed",
    "form",
    "input",
    "button",
    "svg",
    "math",
    "link",
    "meta",
}
_ATTRIBUTES = {
    "a": {"href", "title"},
    "img": {"src", "alt"},
    "th": {"colspan", "rowspan"},
    "td": {"colspan", "rowspan"},
}
_ATTRIBUTES |= {"ol": {"start"}, "abbr": {"title"}}
_ANSI = re.compile(r"\x1b\[[0-9;]*m")


class Renderer:
    """Renders cells into HTML blocks, numbers figures and tables through the document, and copies figure files.

    Parameters
    ----------
    folder : pathlib.Path
        The write-up folder; figures go to its ``figures`` folder.
    notebooks : iterable of str
        File names of the notebooks kept beside the write-up; links to others are taken out.
    """

    def __init__(self, folder, *, notebooks=()):
        self.folder = folder
        self.notebooks = set(notebooks)
        self.figures = []
        self.tables = []
        self._heading = ""
        self._level = 2

    def section(self, title, cells, *, figures):
        """Blocks of one section: Markdown, folded code, figures, tables, printed text."""
        self._heading, self._level = title, 2
        blocks = []
        for cell in cells:
            if cell.cell_type == "markdown":
                source = cell.source
                heading = re.match(r"#+ +(.+?)\s*(\n|$)", source)
                if not blocks and heading and heading[1].lower() == title.lower():
                    source = source[heading.end() :]
                blocks.append(self.markdown(source))
            elif cell.cell_type == "code":
                blocks.append(
                    Markup('<details class="code"><summary>Code</summary><pre><code>{}</code></pre></details>').format(
                        cell.source
                    )
                )
                blocks += self._outputs(cell, figures)
        return [block for block in blocks if block]

    def markdown(self, text):
        """Markdown as clean HTML; headings are moved below the section's own, formulas are drawn."""
        return self._clean(_to_html(text))

    def _outputs(self, cell, figures):
        caption = cell.metadata.get("fieldkit", {}).get("caption") or _first_comment(cell.source)
        # The words of a figure stand under it already.
        shown = [
            o
            for o in cell.outputs
            if o.output_type in ("display_data", "execute_result")
            and not o.metadata.get("fieldkit", {}).get("words_of_figure")
        ]
        blocks = []
        for output in cell.outputs:
            if output.output_type == "stream" and output.name == "stdout":
                text = _ANSI.sub("", output.text)
                if text.strip():
                    blocks.append(Markup('<pre class="printed">{}</pre>').format(text.strip("\n")))
            elif output in shown:
                blocks += self._shown(output, caption, figures)
        return blocks

    def _shown(self, output, caption, figures):
        data = output.data
        if "image/png" in data:
            return [self._figure(output, figures)]
        if "text/html" in data:
            return [self._clean(data["text/html"], caption=caption)]
        if "text/markdown" in data:
            return [self.markdown(data["text/markdown"])]
        if "application/vnd.jupyter.widget-view+json" in data or "text/plain" not in data:
            return []
        return [Markup('<pre class="printed">{}</pre>').format(data["text/plain"])]

    def _figure(self, output, figures):
        about = output.metadata.get("fieldkit", {})
        alt = output.metadata.get("image/png", {}).get("alt", "")
        number = len(self.figures) + 1
        stem = f"figure-{number:02d}"
        image = output.data["image/png"].strip()
        files = ""
        if "figure" in about:
            (self.folder / "figures").mkdir(exist_ok=True)
            for suffix in ("png", "svg", "csv"):
                shutil.copyfile(figures / f"{about['figure']}.{suffix}", self.folder / "figures" / f"{stem}.{suffix}")
            image = base64.b64encode((self.folder / "figures" / f"{stem}.png").read_bytes()).decode()
            files = Markup(
                ' <span class="files">Files: <a href="figures/{0}.svg">SVG</a>, <a href="figures/{0}.png">PNG</a>, '
                '<a href="figures/{0}.csv">numbers (CSV)</a>.</span>'
            ).format(stem)
        caption = about.get("caption") or alt.split(". ")[0] or self._heading
        self.figures.append({"number": number, "caption": caption, "stem": stem if files else None})
        return Markup(
            '<figure id="figure-{n}"><img src="data:image/png;base64,{image}" alt="{alt}">'
            "<figcaption><b>Figure {n}.</b> {caption}{files}"
            "<details><summary>The figure in words and numbers</summary><p>{alt}</p></details></figcaption></figure>"
        ).format(n=number, image=image, alt=alt or caption, caption=_sentence(caption), files=files)

    def table(self, frame, caption):
        """A DataFrame as a numbered table with a caption; text is escaped, numbers get four significant digits."""
        text = frame.to_html(border=0, index=False, na_rep="–", float_format=lambda x: f"{x:.4g}", justify="unset")
        return self._clean(text, caption=caption)

    def _clean(self, text, *, caption=None):
        from bs4 import BeautifulSoup, Comment

        soup = BeautifulSoup(text, "html.parser")
        for comment in soup.find_all(string=lambda s: isinstance(s, Comment)):
            comment.extract()
        for tag in soup.find_all(True):
            if tag.decomposed:
                continue
            if tag.name in _DROPPED_WHOLE:
                tag.decompose()
            elif tag.name not in _KEPT:
                tag.unwrap()
            else:
                self._clean_tag(tag)
        for table in soup.find_all("table"):
            self._dress_table(soup, table, caption)
        return Markup(soup.decode(formatter=_html5()).strip())

    def _clean_tag(self, tag):
        kept = _ATTRIBUTES.get(tag.name, set())
        tag.attrs = {name: value for name, value in tag.attrs.items() if name in kept}
        if tag.name in ("div", "span"):
            tag.unwrap()
        elif re.fullmatch("h[1-6]", tag.name):
            # Below the section's h2, and no level is skipped.
            self._level = min(max(int(tag.name[1]) + 1, 3), self._level + 1, 6)
            tag.name = f"h{self._level}"
            self._heading = tag.get_text(" ", strip=True)
        elif tag.name == "a":
            self._clean_link(tag)
        elif tag.name == "img" and not re.match(r"data:image/(png|jpeg|gif|svg\+xml);base64,", tag.get("src", "")):
            tag.replace_with(tag.get("alt", ""))
        elif tag.name == "img":
            tag["alt"] = tag.get("alt", "")

    def _clean_link(self, tag):
        target = tag.get("href", "")
        if Path(target.split("#")[0]).name in self.notebooks and "//" not in target:
            tag["href"] = f"notebooks/{Path(target.split('#')[0]).name}"
        elif not re.match(r"https?://", target):
            tag.unwrap()

    def _dress_table(self, soup, table, caption):
        number = len(self.tables) + 1
        words = _sentence(
            caption or (table.caption.get_text(" ", strip=True) if table.caption else "") or self._heading
        )
        if table.caption:
            table.caption.decompose()
        self.tables.append({"number": number, "caption": words})
        _join_index_names(table)
        table["id"] = f"table-{number}"
        label = soup.new_tag("caption")
        bold = soup.new_tag("b")
        bold.string = f"Table {number}."
        label.append(bold)
        label.append(f" {words}")
        table.insert(0, label)
        for cell in table.find_all("td"):
            if cell.get_text(strip=True) in ("NaN", "NaT", "None", "<NA>"):
                cell.string = "–"
        for cell in table.find_all("th"):
            head = cell.find_parent("thead") is not None
            spans = int(cell.get("colspan", 1)) > 1 if head else int(cell.get("rowspan", 1)) > 1
            cell["scope"] = ("col" if head else "row") + ("group" if spans else "")
            if not cell.get_text(strip=True):
                # A header without words heads nothing: pandas leaves these above the index.
                cell.name = "td"
                del cell["scope"]
        frame = soup.new_tag("div")
        # A wide table scrolls inside its frame on a phone, also from the keyboard.
        frame.attrs = {"class": "wide", "tabindex": "0", "role": "region", "aria-label": f"Table {number}"}
        table.wrap(frame)


def _join_index_names(table):
    """Move the names of an index from pandas' extra header row into the blank cells above them."""
    rows = table.thead.find_all("tr") if table.thead else []
    if len(rows) != 2:
        return
    above, names = ([(cell, cell.get_text(strip=True)) for cell in row.find_all(["th", "td"])] for row in rows)
    if len(above) == len(names) and all(bool(top) != bool(name) for (_, top), (_, name) in zip(above, names)):
        for (cell, top), (_, name) in zip(above, names):
            cell.string = top or name
        rows[1].decompose()


def _to_html(text):
    from nbconvert.filters.markdown_mistune import IPythonRenderer, MarkdownWithMath

    class Formulas(IPythonRenderer):
        def inline_math(self, body):
            return _formula(body)

        block_math = inline_math

    return MarkdownWithMath(renderer=Formulas(escape=False, exclude_anchor_links=True)).render(text)


def _formula(tex):
    from fieldkit.report.figures.style import formula

    drawn = formula(tex)
    words = html.escape(" ".join(tex.split()), quote=True)
    if drawn is None:
        return f"<code>{words}</code>"
    return f'<img src="data:image/svg+xml;base64,{base64.b64encode(drawn.encode()).decode()}" alt="{words}">'


def _html5():
    """Letters as they are, no slash in void elements."""
    from bs4.dammit import EntitySubstitution
    from bs4.formatter import HTMLFormatter

    return HTMLFormatter(EntitySubstitution.substitute_xml, void_element_close_prefix="")


def _first_comment(source):
    line = source.strip().splitlines()[0] if source.strip() else ""
    return line.lstrip("# ").strip() if line.startswith("#") else ""


def _sentence(text):
    text = " ".join(text.split())
    return text if not text or text[-1] in ".?!" else f"{text}."
