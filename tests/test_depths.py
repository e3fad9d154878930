"""The write-up in three depths: how long each may be, and how plainly the first page speaks."""

import html.parser
import re
import types

import html5lib
import pytest
from readability import grade

from fieldkit.report.plain.catalogue import LANGUAGES
from fieldkit.report.writeup.pages import depths

# Words on the summary, all told; words and figures of the report (issue of the project: what one sitting can hold).
SUMMARY_WORDS, REPORT_WORDS, REPORT_FIGURES = 350, 3500, 12
GRADE = 9.0

BEYOND = {"key": "choice.beyond", "values": {"name": {"key": "names.radiation"}}}
NAMED = {"key": "choice.named", "values": {"what": {"key": "names.more_radiation"}}}
ENDS = {"low": "15.2", "high": "30.5"}
CHANCE = {"key": "choice.chance", "values": {"sets": "1,186", "times": "333"}}
SURE = [CHANCE, {"key": "choice.animals", "values": {"animals": "14"}}, {"key": "choice.picked"}]
BASKING = {"key": "basking.found", "values": ENDS}
KEEPER = [
    {"key": "sunlight.keeper", "values": {"used": "394"}},
    {"key": "basking.keeper", "values": ENDS},
    {"key": "climate.keeper", "values": {"season": {"key": "names.summer"}, "low": "19.0", "high": "28.8"}},
    {"key": "audit.keeper", "values": {"exceeded": "2"}},
]
ANSWERS = {
    "named": [NAMED, BEYOND],
    "changing": [NAMED, {"key": "choice.changing"}],
    "operative": [{"key": "choice.operative"}, {"key": "choice.operative_near", "values": {"value": "37.8"}}],
}
for key in ("none", "undecided", "repeats", "apart", "one_animal", "unreliable", "untestable"):
    ANSWERS[key] = [{"key": f"choice.{key}"}, {"key": f"choice.{key}_2"}]


class Words(html.parser.HTMLParser):
    """Blocks of text of a page, without its styles."""

    def __init__(self, text):
        super().__init__()
        self.blocks, self._skip = [""], False
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self._skip = tag in ("style", "title")
        if tag in ("p", "li", "h1", "h2", "h3", "h4", "td", "th", "caption", "figcaption", "dt", "dd", "pre"):
            self.blocks.append("")

    def handle_endtag(self, tag):
        self._skip = False

    def handle_data(self, data):
        if not self._skip:
            self.blocks[-1] += data


def words_of(page):
    return sum(len(block.split()) for block in Words(page).blocks)


def first_page(answer, language="en"):
    """A summary with everything on it that a season can put there."""
    told = {"found": (answer, [BASKING]), "sure": (SURE, [{"key": "basking.sure", "values": {"error": "0.8"}}])}
    told["keeper"] = ([], KEEPER)

    def messages(part, *, verdict=None):
        own, others = told[part]
        return ([] if verdict is False else own) + ([] if verdict else others)

    season = types.SimpleNamespace(name="Ridge lizards in the quarry, 2025", invented=True)
    material = types.SimpleNamespace(season=season, messages=messages, has_verdict=True, answer=str)
    pixel = "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
    finding = "Used places had more radiation than the places around them, most of all in cool air"
    figures = [{"number": n, "image": pixel, "alt": "A figure.", "finding": finding} for n in (7, 8, 9)]
    shared = {"css": "", "version": "1", "written": "", "invented": True, "facts": ""}
    page = shared | depths.summary(material, figures, language) | {"languages": [("de", "summary.de.html")]}
    return depths._filled("summary.html.j2", page)


@pytest.mark.parametrize("name", ANSWERS)
def test_the_summary_is_short_and_plain_whatever_was_found(name):
    page = first_page(ANSWERS[name])
    html5lib.HTMLParser(strict=True).parse(page)
    assert words_of(page) <= SUMMARY_WORDS, words_of(page)
    sentences = "\n\n".join(block.strip().rstrip(".") + "." for block in Words(page).blocks if len(block.split()) > 3)
    assert grade(sentences) <= GRADE
    assert "{" not in re.sub(r"<style>.*?</style>", "", page, flags=re.DOTALL)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_summary_speaks_each_language(language):
    page = first_page(ANSWERS["named"], language)
    tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(page)
    assert tree.get("lang") == language
    # The decimal mark of the language in the limits of basking.
    assert ("30.5" if language == "en" else "30,5") in page
    levels = [int(tag.tag[1]) for tag in tree.iter() if isinstance(tag.tag, str) and re.fullmatch("h[1-6]", tag.tag)]
    assert levels[0] == 1 and set(levels[1:]) == {2}


def test_the_answer_comes_first_then_how_sure_then_what_to_do():
    """A reader of this page alone learns what they chose, how sure it is, what to do and what not."""
    text = " ".join(" ".join(Words(first_page(ANSWERS["named"])).blocks).split())
    order = ["sunnier places", "Chance makes", "exceeds 2 upper limits", "One site, one season", "Lamps burn"]
    places = [text.index(words) for words in order]
    assert places == sorted(places)


@pytest.mark.slow
def test_the_limits_hold_for_the_demo(tmp_path):
    """The whole demo season: words are counted without the folded lists of numbers, which nobody has to open."""
    from fieldkit.report import writeup

    done = writeup.write(None, tmp_path / "out", pdf=False, progress=False)
    report = re.sub(r"<details.*?</details>", "", done.html.read_text(encoding="utf-8"), flags=re.DOTALL)
    assert words_of(report) <= REPORT_WORDS and report.count("<figure") <= REPORT_FIGURES
    first = done.summary.read_text(encoding="utf-8")
    assert words_of(first) <= SUMMARY_WORDS and first.count("<figure") <= 3
    alts = re.findall(r' alt="([^"]*)"', report)
    assert alts and all(0 < len(alt) < 300 for alt in alts)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_summary_prints_on_one_page(language):
    """With three pictures as tall as they may be, on both papers."""
    weasyprint = pytest.importorskip("weasyprint", reason="the pdf extra is not installed")
    css = (depths._TEMPLATES / "writeup.css").read_text(encoding="utf-8")
    text = first_page(ANSWERS["operative"], language).replace("<style>\n", f"<style>\n{css}\n", 1)
    tall = weasyprint.CSS(string=".three figure img { height: 4.5cm; width: 100% }")
    for paper in ("A4", "Letter"):
        sheet = weasyprint.CSS(string=f"@page {{ size: {paper} }}")
        assert len(weasyprint.HTML(string=text).render(stylesheets=[tall, sheet]).pages) == 1, paper
