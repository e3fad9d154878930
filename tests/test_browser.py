"""The write-up of the demo season, held to its promises and looked at in a real browser, wide and narrow.

By default two of its sections, with ``-m slow`` the whole of it.
"""

import pytest
from browser import browser, page
from test_writeup import check_page

from fieldkit.report import writeup

ARTEFACTS = "artefacts"
# Contrast after WCAG 2.2 (W3C 2023), definitions "relative luminance" and "contrast ratio"; success criterion 1.4.3
# asks for 4.5, and for 3 in large text (here: from 24 px, or bold from 18.66 px).
CONTRAST = """
(() => {
  const numbers = text => text.match(/[\\d.]+/g).map(Number);
  const luminance = rgb => rgb.slice(0, 3).map(v => v / 255)
    .map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
    .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
  const background = node => {
    for (; node; node = node.parentElement) {
      const rgba = numbers(getComputedStyle(node).backgroundColor);
      if (rgba.length < 4 || rgba[3] > 0) return rgba;
    }
    return [255, 255, 255];
  };
  const low = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const text = walker.currentNode.textContent.trim(), parent = walker.currentNode.parentElement;
    if (!text || !parent.checkVisibility()) continue;
    const style = getComputedStyle(parent), size = parseFloat(style.fontSize);
    const pair = [luminance(numbers(style.color)), luminance(background(parent))].sort((a, b) => b - a);
    const ratio = (pair[0] + 0.05) / (pair[1] + 0.05);
    const large = size >= 24 || (size >= 18.66 && style.fontWeight >= 700);
    if (ratio < (large ? 3 : 4.5)) low.push([text.slice(0, 40), ratio]);
  }
  return low;
})()
"""
# What a thumb or an eye would stumble over: text cut off at the right edge without a way to scroll to it.
CUT_OFF = """
[...document.querySelectorAll('main *, header *')].filter(e => {
  const box = e.getBoundingClientRect();
  return box.width && e.checkVisibility() && box.right > innerWidth + 1 && !e.closest('.wide, pre');
}).map(e => e.tagName + ' ' + e.textContent.trim().slice(0, 40))
"""


@pytest.fixture(scope="module", params=[("04", "08"), pytest.param(None, marks=pytest.mark.slow)], ids=["two", "whole"])
def written(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo") / "writeup"
    return writeup.write(None, folder, only=request.param, pdf=False, progress=False)


@pytest.fixture(scope="module")
def door(tmp_path_factory):
    with browser(tmp_path_factory.mktemp("profile")) as address:
        yield address


@pytest.fixture(params=[(1280, 900), (360, 740)], ids=["wide", "narrow"])
def opened(request, door, written):
    width, height = request.param
    with page(door, width=width, height=height) as view:
        if width < 500:
            view.resize(width, height, mobile=True)
        view.open(written.html.as_uri())
        yield view


@pytest.fixture
def supplement(opened, written):
    opened.open(written.html.with_name("supplement.html").as_uri())
    return opened


def test_every_section_asked_for_is_done(written):
    assert written.table.loc[written.table["state"] != "done"].to_dict("records") == []
    page = check_page(written.html.read_text(encoding="utf-8"))
    words = " ".join(page.words)
    assert words.count("Invented data") >= 2
    assert len(page.every("figure")) >= len(written.table) / 2


@pytest.mark.browser
def test_looks_right(opened, request, pytestconfig):
    shape = "narrow" if opened.evaluate("innerWidth") < 500 else "wide"
    opened.screenshot(pytestconfig.rootpath / ARTEFACTS / f"writeup-{shape}.png")
    assert opened.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert opened.evaluate(CUT_OFF) == []
    assert opened.evaluate("document.images.length") >= 2  # one figure a section
    assert opened.evaluate("[...document.images].every(i => i.complete && i.naturalWidth > 0)")
    assert opened.evaluate("parseFloat(getComputedStyle(document.body).fontSize)") >= 16
    assert opened.evaluate(CONTRAST) == []


@pytest.mark.browser
def test_asks_nothing_of_the_network_and_runs_nothing(opened):
    asked = [event["request"]["url"] for event in opened.happened("Network.requestWillBeSent")]
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    assert any(url.startswith("file:") for url in asked)
    assert opened.happened("Runtime.exceptionThrown") == []
    assert [e["entry"]["text"] for e in opened.happened("Log.entryAdded")] == []


@pytest.mark.browser
def test_code_is_folded_and_unfolds(supplement):
    assert supplement.evaluate("document.querySelectorAll('details.code').length") >= 2  # a section each
    assert supplement.evaluate("[...document.querySelectorAll('details')].every(d => !d.open)")
    shown = "document.querySelector('details.code pre').checkVisibility({contentVisibilityAuto: true})"
    supplement.evaluate("document.querySelector('details.code summary').click()")
    assert supplement.evaluate("document.querySelector('details.code').open")
    supplement.evaluate("document.querySelector('details.code pre').scrollIntoView()")
    supplement.evaluate("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done(1))))")
    assert supplement.evaluate(shown)


@pytest.mark.browser
def test_can_be_walked_with_a_keyboard(supplement):
    supplement.call("Input.dispatchKeyEvent", type="keyDown", key="Tab", code="Tab", windowsVirtualKeyCode=9)
    assert supplement.evaluate("document.activeElement.tagName") == "A"
    supplement.evaluate("document.querySelector('nav a[href=\"#methods\"]').click()")
    assert supplement.evaluate("location.hash") == "#methods"
    # The sticky banner must not cover the heading that was jumped to.
    covered = "document.querySelector('#methods h2').getBoundingClientRect().top"
    assert supplement.evaluate(covered) >= supplement.evaluate("document.querySelector('.invented').offsetHeight") - 1


@pytest.mark.browser
def test_a_screen_reader_finds_its_way(opened):
    nodes = opened.call("Accessibility.getFullAXTree")["nodes"]
    roles = [node.get("role", {}).get("value") for node in nodes]
    assert {"main", "banner", "contentinfo", "navigation", "heading", "figure", "table"} <= set(roles)
    images = [node for node in nodes if node.get("role", {}).get("value") == "image"]
    assert images and all(node["name"]["value"] for node in images)
