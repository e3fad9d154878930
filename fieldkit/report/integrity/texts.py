"""Two texts held against each other: pages, notebooks, settings; which words differ, and where they stand."""

import difflib
import hashlib
import html.parser
import re

# Words on either side of a difference that are shown with it.
_AROUND = 4
# Where on a computer the code that warns lies: another place on each.
_PLACE = re.compile(r"^\S.*?(?=:\d+: \w*Warning: )")
_VOID = {"br", "hr", "img", "meta", "link", "input"}


def differing_words(one, other, *, limit=400):
    """The words in which two texts differ, with a few around them.

    Parameters
    ----------
    one, other : str
        Sentences.
    limit : int
        Characters that are shown of each.

    Returns
    -------
    (str, str)
        Short texts are given back whole.

    Examples
    --------
    >>> before = "At noon, on all days together, the air between the stones was 31.2 °C and the surfaces 40.1 °C."
    >>> differing_words(before, before.replace("31.2", "35.2"))
    ('… between the stones was 31.2 °C and the surfaces …', '… between the stones was 35.2 °C and the surfaces …')
    """
    one, other = str(one), str(other)
    if max(len(one), len(other)) <= 60:
        return one, other
    words = one.split(), other.split()
    pieces = [], []
    for kind, *spans in difflib.SequenceMatcher(None, *words, autojunk=False).get_opcodes():
        if kind == "equal":
            continue
        for piece, all_, start, end in zip(pieces, words, spans[::2], spans[1::2]):
            low, high = max(0, start - _AROUND), end + _AROUND
            piece.append(("… " if low else "") + " ".join(all_[low:high]) + (" …" if high < len(all_) else ""))
    said = (" ".join(piece).replace("… …", "…") for piece in pieces)
    first, second = (text if len(text) <= limit else f"{text[:limit]} …" for text in said)
    return first, second


def page_parts(text):
    """All that a page of HTML is made of, each with its place.

    Parameters
    ----------
    text : str
        HTML.

    Returns
    -------
    list of (str, str)
        Where, in words a reader finds on the page, and what: a tag with its attributes, or text.

    Examples
    --------
    >>> page_parts("<h2>Air</h2><p>It was <b>31.2</b> °C.</p>")[5:7]
    [('Air', '<b>'), ('Air', '31.2')]
    """
    reader = _Reader()
    reader.feed(text)
    reader.close()
    return reader.parts


class _Reader(html.parser.HTMLParser):
    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.parts = []
        self._heading, self._table, self._row, self._column = "top", "", 0, 0
        self._open = []

    @property
    def _where(self):
        if self._table and self._row:
            return f"{self._table}, row {self._row}, column {self._column}"
        return self._table or self._heading

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        if re.fullmatch("h[1-6]", tag):
            self._heading = ""
        if tag in ("table", "figure") and re.fullmatch(r"(table|figure)-\d+", attrs.get("id") or ""):
            self._table, self._row = attrs["id"].replace("-", " ").capitalize(), 0
        if tag == "tr":
            self._row, self._column = self._row + 1, 0
        if tag in ("td", "th"):
            self._column += 1
        said = " ".join([tag, *(f'{name}="{value}"' for name, value in attrs.items())])
        self.parts.append((self._where, f"<{said}>"))
        if tag not in _VOID:
            self._open.append(tag)

    def handle_endtag(self, tag):
        self.parts.append((self._where, f"</{tag}>"))
        if tag in ("table", "figure"):
            self._table, self._row = "", 0
        if tag in self._open:
            while self._open.pop() != tag:
                pass

    def handle_data(self, data):
        if self._open and re.fullmatch("h[1-6]", self._open[-1]):
            self._heading += data
        if data.strip():
            self.parts.append((self._where, " ".join(data.split())))

    def handle_comment(self, data):
        self.parts.append((self._where, f"<!--{data}-->"))

    def handle_decl(self, decl):
        self.parts.append((self._where, f"<!{decl}>"))

    def unknown_decl(self, data):
        self.parts.append((self._where, f"<![{data}]>"))

    def handle_pi(self, data):
        self.parts.append((self._where, f"<?{data}>"))


def compare_parts(published, rerun):
    """Differences of two texts that were taken apart.

    Parameters
    ----------
    published, rerun : list of (str, str)
        Where and what.

    Returns
    -------
    (list of (str, str, str), int)
        Where, what was published, what the rerun gave; and how many parts were compared.

    Examples
    --------
    >>> compare_parts([("Air", "31.2"), ("Air", "°C")], [("Air", "35.2"), ("Air", "°C")])
    ([('Air', '31.2', '35.2')], 2)
    """
    rows = []
    whats = [[what for _, what in side] for side in (published, rerun)]
    for a, b, c, d in _apart(*whats):
        if b - a == d - c:
            rows += [(p[0], p[1], r[1]) for p, r in zip(published[a:b], rerun[c:d]) if p[1] != r[1]]
        else:
            where = published[a][0] if a < b else rerun[c][0]
            rows.append((where, " ".join(whats[0][a:b]) or "nothing", " ".join(whats[1][c:d]) or "nothing"))
    return rows, max(len(published), len(rerun))


def _apart(one, other):
    """Stretches in which two lists differ: start and end in each."""
    start = 0
    while start < min(len(one), len(other)) and one[start] == other[start]:
        start += 1
    same = 0
    while same < min(len(one), len(other)) - start and one[-1 - same] == other[-1 - same]:
        same += 1
    ends = len(one) - same, len(other) - same
    if ends[0] == ends[1]:
        # Nothing was put in or taken out, as a rule: place by place is exact and quick.
        places = [i for i in range(start, ends[0]) if one[i] != other[i]]
        if len(places) <= max(10, (ends[0] - start) // 2):
            return [(i, i + 1, i, i + 1) for i in places]
    middle = one[start : ends[0]], other[start : ends[1]]
    # Words that stand everywhere make long lists slow to compare; then they are not used to find the way.
    found = difflib.SequenceMatcher(None, *middle, autojunk=len(middle[0]) * len(middle[1]) > 4_000_000)
    return [tuple(start + place for place in places) for kind, *places in found.get_opcodes() if kind != "equal"]


def flat(value, place=""):
    """All plain values of a JSON value with their places.

    Examples
    --------
    >>> flat({"results": [{"name": "answer", "seed": 7}]})
    [('results, answer, name', 'answer'), ('results, answer, seed', '7')]
    """
    if isinstance(value, dict) and value:
        return [part for key, item in value.items() for part in flat(item, _joined(place, key))]
    if isinstance(value, list) and value:
        return [part for i, item in enumerate(value, start=1) for part in flat(item, _joined(place, _name(item, i)))]
    return [(place, repr(value) if not isinstance(value, str) else value)]


def _joined(place, key):
    return f"{place}, {key}" if place else str(key)


def _name(item, number):
    names = [str(item[key]) for key in ("notebook", "name") if isinstance(item, dict) and key in item]
    return " ".join(names) or number


def notebook_parts(book):
    """All of a notebook that a rerun can give again: sources, tags, and outputs without their pictures.

    Parameters
    ----------
    book : dict
        A notebook as JSON.

    Returns
    -------
    list of (str, str)
        Where and what.

    Notes
    -----
    What goes to the screen in two streams may be mixed otherwise the next time, so each stream is one part.
    """
    about = {key: value for key, value in book["metadata"].items() if key != "language_info"}
    parts = flat(about, "about the notebook")
    for number, cell in enumerate(book["cells"], start=1):
        place = f"cell {number}"
        own = {key: value for key, value in cell["metadata"].items() if key != "execution"}
        parts += [(place, cell["cell_type"]), *flat(own, f"{place}, metadata")]
        parts += [(f"{place}, line {n}", line) for n, line in enumerate(whole(cell["source"]).splitlines(), start=1)]
        streams = {}
        for output in cell.get("outputs", []):
            if output["output_type"] == "stream":
                streams[output["name"]] = streams.get(output["name"], "") + whole(output["text"])
                continue
            data = output.get("data", {})
            shown = {key: value for key, value in output.items() if key not in ("data", "output_type")}
            parts += flat({"kind": output["output_type"], **shown}, f"{place}, output")
            for kind in sorted(data):
                if not kind.startswith("image/"):
                    text = data[kind] if isinstance(data[kind], dict) else whole(data[kind])
                    parts += (
                        flat(text, f"{place}, {kind}")
                        if isinstance(text, dict)
                        else [(f"{place}, output", line) for line in text.splitlines()]
                    )
        for name in sorted(streams):
            lines = streams[name].splitlines()
            if name == "stderr":
                lines = sorted(_PLACE.sub("", line) for line in lines)
            parts += [(f"{place}, {name}", line) for line in lines]
    return parts


def whole(value):
    """Text of a notebook, which may stand there in pieces.

    Examples
    --------
    >>> whole(["a = 1\\n", "b = 2"])
    'a = 1\\nb = 2'
    """
    return "".join(value) if isinstance(value, list) else str(value)


def short_hash(data):
    """Ten hexadecimal digits that stand for bytes.

    Examples
    --------
    >>> short_hash(b"")
    'e3b0c44298'
    """
    return hashlib.sha256(data).hexdigest()[:10]
