"""Turn notebook cells and tables into clean, numbered HTML: no scripts, nothing from the network."""

import base64
import re
import shutil
from pathlib import Path

from markupsafe import Markup

from fieldkit.core import visible
from fieldkit.report.writeup.pages import cells as tables
from fieldkit.report.writeup.pages import markdown
from fieldkit.report.writeup.pages.wording import label, plain

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
    *("dl", "dt", "dd", "del", "abbr", "kbd", "details", "summary"),
}
# Taken out with all that stands in them; of other tags that are not kept, the words stay.
_DROPPED_WHOLE = {"script", "style", "iframe", "object", "embed", "form", "button", "svg", "math"}
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
    sections : dict of str to str
        Id of the section that each notebook fills, by file name; links to other notebooks are taken out.
    said : dict of str to str
        Sentences that stand elsewhere on the page, each with the id of that place: a link takes the place of a repeat.
    letter : str
        Before each number of a figure or table, such as "S" in a supplement.
    """

    def __init__(self, folder, *, sections=None, said=None, letter=""):
        self.folder = folder
        self.letter = letter
        self.sections = sections or {}
        self.said = said or {}
        self.figures = []
        self.tables = []
        self._heading = ""
        self._level = 2
        self._columns = set()

    def leading(self, title, cells, *, figures):
        """Blocks of a section of the report: figures and tables alone.

        Returns the blocks and, for each cell by its place in `cells`, the words that point to what it shows.
        """
        self._begin(title, cells)
        blocks, pointers = [], {}
        for place, (cell, missing) in enumerate(cells):
            if missing is not None:
                continue
            before = len(self.figures), len(self.tables)
            blocks += self._outputs(cell, figures, only=("image/png", "<table"))
            new = [f"Figure {f['number']}" for f in self.figures[before[0] :]]
            pointers[place] = new + [f"Table {t['number']}" for t in self.tables[before[1] :]]
        return [block for block in blocks if block], pointers

    def _begin(self, title, cells):
        self._heading, self._level, self._columns = title, 2, set()
        for cell, _ in cells:
            for output in cell.get("outputs", []):
                self._columns |= set(
                    re.findall(r"<th[^>]*>([a-z0-9_]+)</th>", output.get("data", {}).get("text/html", ""))
                )

    def section(self, title, cells, *, figures, elsewhere=None):
        """Blocks of one section: text, figures, tables, printed words; the code of all cells folded at the end.

        `cells` are pairs: a cell, and why it could not be run, or None. `elsewhere` has, by the id() of a cell, the
        line that takes the place of its figures and tables.
        """
        self._begin(title, cells)
        elsewhere = elsewhere or {}
        parts = _parts(cells)
        blocks, code, told, after_gap = [], [], set(), False
        lost_until = 0
        for number, (cell, missing, text) in enumerate(parts):
            if number < lost_until:
                continue
            if missing is not None:
                after_gap = True
                blocks += self._not_done([missing], told)
            elif cell.cell_type == "markdown":
                end, reasons = _lost_with(parts, number)
                note = self._not_done(reasons, told)
                if reasons:
                    # Under this heading nothing could be done: its words would be about what is not there.
                    lost_until, after_gap = end, False
                    text = text.partition("\n")[0] if note else ""
                elif after_gap:
                    # Words about what is not there go with it, up to the next heading.
                    text = text if _HEADING.match(text) else ""
                    after_gap = not text
                heading = re.match(r"#+ +(.+?)\s*(\n|$)", text)
                if not blocks and heading and title.lower().startswith(heading[1].lower()):
                    text = text[heading.end() :]
                blocks += [self.markdown(text), *note]
            elif cell.cell_type == "code":
                after_gap = False
                code.append(cell.source.strip())
                if lead := cell.metadata.get("fieldkit", {}).get("lead"):
                    blocks.append(self.markdown(lead))
                if id(cell) in elsewhere:
                    blocks += [*self._outputs(cell, figures, without=("image/png", "<table")), elsewhere[id(cell)]]
                else:
                    blocks += self._outputs(cell, figures)
        if code:
            blocks.append(
                Markup(
                    '<details class="code"><summary>The code behind this section</summary>'
                    "<pre><code>{}</code></pre></details>"
                ).format("\n\n".join(code))
            )
        return [block for block in blocks if block]

    def _not_done(self, reasons, told):
        """Notes on what could not be done, each reason once in a section."""
        new = [reason for reason in reasons if reason not in told]
        told.update(new)
        note = Markup('<div class="stopped" role="note"><strong>Not done:</strong> {}</div>')
        return [note.format(plain(reason)) for reason in new]

    def markdown(self, text):
        """Markdown as clean HTML; headings are moved below the section's own, formulas are drawn."""
        return self._clean(markdown.to_html(text))

    def _outputs(self, cell, figures, *, only=(), without=()):
        about = cell.metadata.get("fieldkit", {})
        captions = about.get("table") or _first_comment(cell.source)
        captions = [captions] if isinstance(captions, str) else list(captions)
        # The words of a figure are folded under the figure itself.
        shown = [
            o
            for o in cell.outputs
            if o.output_type in ("display_data", "execute_result")
            and not o.metadata.get("fieldkit", {}).get("words_of_figure")
        ]
        blocks = []
        for output in cell.outputs:
            kind = _kind(output)
            if kind == "<table" and (only or without) and output in shown:
                # A result shows a sentence above its table: the two may stand on different pages.
                blocks += self._part_of(output, captions, tables_only=bool(only))
                continue
            if (only and kind not in only) or kind in without:
                continue
            if output.output_type == "stream" and output.name == "stdout":
                blocks += self._printed(_ANSI.sub("", output.text))
            elif output in shown:
                blocks += self._shown(output, about, captions, figures)
        return blocks

    def _part_of(self, output, captions, *, tables_only):
        from bs4 import BeautifulSoup

        soup = BeautifulSoup(output.data["text/html"], "html.parser")
        found = [table.extract() for table in soup.find_all("table")]
        text = "".join(map(str, found)) if tables_only else soup.decode()
        return [self._clean(text, captions=captions)] if text.strip() else []

    def _printed(self, text):
        """Printed words: sentences as paragraphs, numbered and dashed lines as lists, columns as they stand."""
        text = text.strip("\n")
        if not text.strip():
            return []
        lines = [line for line in text.splitlines() if line.strip()]
        if any(re.search(r"\S {3,}\S", line) for line in lines):
            return [Markup('<pre class="printed">{}</pre>').format(text)]
        blocks, items, kind = [], [], None
        for line in [*lines, ""]:
            mark = re.match(r"(- |\d+\. )(.*)", line)
            if mark:
                kind = "ul" if mark[1] == "- " else "ol"
                items.append(mark[2])
            elif items and line.startswith("  "):
                items[-1] += f" {line.strip()}"
            else:
                if items:
                    listed = Markup("").join(Markup("<li>{}</li>").format(item) for item in items)
                    blocks.append(Markup("<{0}>{1}</{0}>").format(Markup(kind), listed))
                    items = []
                if line:
                    blocks.append(self._sentences(line.strip()))
        return blocks

    def _sentences(self, text):
        if text in self.said:
            return Markup('<p>The result in words stands under <a href="#{}">The answer</a>.</p>').format(
                self.said[text]
            )
        # What a result warns of stands apart from what it found.
        first, *warnings = plain(text).split(" Warning: ")
        listed = Markup("").join(Markup("<li>{}</li>").format(warning) for warning in warnings)
        after = Markup('<ul class="doubts">{}</ul>').format(listed) if warnings else ""
        return Markup("<p>{}</p>{}").format(first, after)

    def _shown(self, output, about, captions, figures):
        data = output.data
        if "image/png" in data:
            return [self._figure(output, about, figures)]
        if "text/html" in data:
            return [self._clean(data["text/html"], captions=captions)]
        if "text/markdown" in data:
            return [self.markdown(data["text/markdown"])]
        if "application/vnd.jupyter.widget-view+json" in data or "text/plain" not in data:
            return []
        return self._printed(data["text/plain"].strip("'"))

    def _figure(self, output, about, figures):
        kept = output.metadata.get("fieldkit", {})
        alt = output.metadata.get("image/png", {}).get("alt", "")
        words = kept.get("words") or alt
        number = len(self.figures) + 1
        stem = f"figure-{self.letter.lower()}{number:02d}"
        image = output.data["image/png"].strip()
        files = ""
        if "figure" in kept:
            (self.folder / "figures").mkdir(exist_ok=True)
            for suffix in ("png", "svg", "csv"):
                shutil.copyfile(figures / f"{kept['figure']}.{suffix}", self.folder / "figures" / f"{stem}.{suffix}")
            image = base64.b64encode((self.folder / "figures" / f"{stem}.png").read_bytes()).decode()
            files = Markup(
                ' <span class="files">Files: <a href="figures/{0}.svg">SVG</a>, <a href="figures/{0}.png">PNG</a>, '
                '<a href="figures/{0}.csv">numbers (CSV)</a>.</span>'
            ).format(stem)
        caption = _sentence(kept.get("shows") or alt.split(". ")[0] or self._heading)
        if about.get("figure"):
            caption = f"{caption} {_sentence(about['figure'])}"
        finding = kept.get("finding", "")
        about = {
            "number": f"{self.letter}{number}",
            "caption": caption,
            "alt": alt or caption,
            "image": image,
            "depth": about.get("depth"),
            "stem": stem if files else None,
            "headline": about.get("headline"),
        }
        self.figures.append(about | {"finding": finding})
        return Markup(
            '<figure id="figure-{n}"><div class="wide drawing" tabindex="0" role="region" aria-label="Figure {l}{n}">'
            '<img src="data:image/png;base64,{image}" alt="{alt}"></div>'
            "<figcaption><b>Figure {l}{n}.</b> {caption}{files}"
            "<details><summary>The figure in words and numbers</summary><p>{words}</p></details></figcaption></figure>"
        ).format(
            n=number,
            l=self.letter,
            image=image,
            alt=alt or caption,
            words=words or caption,
            caption=caption,
            files=files,
        )

    def table(self, frame, caption):
        """A DataFrame as a numbered table with a caption; text is escaped, numbers get four significant digits."""
        text = frame.to_html(border=0, index=False, na_rep="–", float_format=lambda x: f"{x:.4g}", justify="unset")
        return self._clean(text, captions=[caption])

    def _clean(self, text, *, captions=()):
        import nh3
        from bs4 import BeautifulSoup

        text = nh3.clean(
            text,
            tags=_KEPT,
            clean_content_tags=_DROPPED_WHOLE,
            attributes=_ATTRIBUTES,
            attribute_filter=_attribute,
            url_schemes={"http", "https", "data"},
            link_rel=None,
        )
        soup = BeautifulSoup(visible(text), "html.parser")
        for tag in soup.find_all(True):
            self._dress_tag(tag)
        for code in soup.find_all("code"):
            # Prose speaks of a column by the name the table shows.
            if code.parent.name != "pre" and code.get_text() in self._columns:
                code.name, code.string = "em", label(code.get_text())
        for paragraph in soup.find_all("p"):
            if (words := paragraph.get_text()) in self.said or " Warning: " in words or plain(words) != words:
                paragraph.replace_with(BeautifulSoup(self._sentences(words), "html.parser"))
        captions = iter(captions)
        for table in soup.find_all("table"):
            if table.find("td"):
                self._dress_table(soup, table, next(captions, None))
            else:
                table.decompose()
        return Markup(soup.decode(formatter=markdown.html5()).strip())

    def _dress_tag(self, tag):
        if re.fullmatch("h[1-6]", tag.name):
            # Below the section's h2, and no level is skipped.
            self._level = min(max(int(tag.name[1]) + 1, 3), self._level + 1, 6)
            tag.name = f"h{self._level}"
            self._heading = tag.get_text(" ", strip=True)
        elif tag.name == "a":
            self._clean_link(tag)
        elif tag.name == "img" and not tag.get("src"):
            tag.replace_with(tag.get("alt", ""))
        elif tag.name == "img":
            tag["alt"] = tag.get("alt", "")

    def _clean_link(self, tag):
        target = tag.get("href", "")
        if Path(target.split("#")[0]).name in self.sections and "//" not in target:
            tag["href"] = f"#{self.sections[Path(target.split('#')[0]).name]}"
        elif not re.match(r"https?://", target):
            tag.unwrap()

    def _dress_table(self, soup, table, caption):
        number = len(self.tables) + 1
        words = _sentence(
            caption or (table.caption.get_text(" ", strip=True) if table.caption else "") or self._heading
        )
        if table.caption:
            table.caption.decompose()
        self.tables.append({"number": f"{self.letter}{number}", "caption": words})
        tables.join_index_names(table)
        tables.drop_row_numbers(table)
        table["id"] = f"table-{number}"
        caption = soup.new_tag("caption")
        bold = soup.new_tag("b")
        bold.string = f"Table {self.letter}{number}."
        caption.append(bold)
        caption.append(f" {words}")
        table.insert(0, caption)
        heads = [cell.get_text(strip=True) for cell in table.find_all("tr")[0].find_all(["td", "th"])]
        for row in table.find_all("tr"):
            cells = row.find_all(["td", "th"])
            for cell, head in zip(cells, heads[-len(cells) :], strict=False):
                cell.string = tables.in_words(cell.get_text(strip=True), head, row.find_parent("thead") is not None)
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
        frame.attrs = {"class": "wide", "tabindex": "0", "role": "region", "aria-label": f"Table {self.letter}{number}"}
        table.wrap(frame)


_HEADING = re.compile(r"(#+) ")
_PICTURE = re.compile(r"data:image/(png|jpeg|gif|svg\+xml);base64,[A-Za-z0-9+/=\s]*")


def _attribute(tag, name, value):
    """Of data in addresses only pictures stay."""
    if name == "src":
        return value if _PICTURE.fullmatch(value) else None
    return None if value.strip().lower().startswith("data:") else value


def _kind(output):
    """Whether an output is a figure or a table; None for anything else."""
    data = output.get("data", {})
    if "image/png" in data:
        return "image/png"
    return "<table" if "<table" in data.get("text/html", "") else None


def _parts(cells):
    """(cell, why it is missing, text) with the text of markdown cells parted before each heading."""
    parts = []
    for cell, missing in cells:
        if cell.cell_type != "markdown":
            parts.append((cell, missing, ""))
            continue
        texts, fenced = [[]], False
        for line in cell.source.splitlines():
            fenced ^= line.startswith("```")
            if not fenced and _HEADING.match(line):
                texts.append([])
            texts[-1].append(line)
        parts += [(cell, None, "\n".join(lines)) for lines in texts if any(lines)]
    return parts


def _lost_with(parts, number):
    """Where what stands under a heading ends, and the reasons why none of its code could be run (else none)."""
    heading = _HEADING.match(parts[number][2])
    if heading is None:
        return number, []
    end = number + 1
    while end < len(parts):
        following = _HEADING.match(parts[end][2])
        if following and len(following[1]) <= len(heading[1]):
            break
        end += 1
    reasons = [missing for cell, missing, _ in parts[number:end] if cell.cell_type == "code"]
    return end, [] if None in reasons else list(dict.fromkeys(reasons))


def _first_comment(source):
    line = source.strip().splitlines()[0] if source.strip() else ""
    return line.lstrip("# ").strip() if line.startswith("#") else ""


def _sentence(text):
    text = " ".join(text.split())
    return text if not text or text[-1] in ".?!" else f"{text}."
