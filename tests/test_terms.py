"""Standard terms of the field where people read: none of the home-made words that they took the place of.

The list is the project's page of words, left column. Terms: Altmann 1974 (scan sampling), Manly et al. 2002 (used and
available), ISO 80000-7 (irradiance); the rest are the textbook words of statistics and meteorology.
"""

import ast
import re
from pathlib import Path

import nbformat
import pytest

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "fieldkit"

# Home-made term and what stands for it. Columns and names of code keep theirs for one version and are not read here.
HOME_MADE = {
    r"reads? the sun\b": "has a radiation error",
    r"\b([Tt]he|of|all|more|hot|many) looks\b": "scans",
    r"\b(each|every|middle|hottest) look\b(?! (at|into|for))": "scan",
    r"\bdrivers?\b": "predictor",
    r"\b(the|a) bends?\b|\bBends of\b": "quadratic term",
    r"\ba hump\b|\bhump of\b": "optimum, unimodal response",
    r"\b(the|a) pull (of|is)\b": "strength of selection",
    r"\bby lot\b|turned round at random": "random draws, sign-flips",
    r"\bforetold\b|\bforetells?\b": "predicted",
    r"\bwitness(es)?\b": "independent units",
    r"\bclear miss\b": "robust",
    r"\b[Aa]ir bands?\b": "seasonal air-temperature range",
    r"\bceiling broken\b": "limit exceeded",
    r"\bhours? of the sun\b": "solar time, solar hour",
    r"\bMEND\b|\bLOOK\b": "ERROR, WARNING",
    r"\bon offer\b": "available",
    r"\bmet by chance\b|by chance met": "incidental sighting",
    r"\bnought\b|parted by|own haste|convicts nobody|look guilty|\baccused\b": "0, separated by, flagged",
}


def spoken(text):
    """Markdown without code and addresses."""
    return re.sub(r"```.*?```|`[^`\n]*`|\]\([^)]*\)", " ", text, flags=re.DOTALL)


def helps(path):
    """Sentences of a command: what argparse shows."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and " " in node.value:
            yield node.value


def texts():
    for path in sorted((ROOT / "notebooks").glob("*.ipynb")):
        book = nbformat.read(path, as_version=4)
        yield path.name, "\n".join(spoken(cell.source) for cell in book.cells if cell.cell_type == "markdown")
        about = [cell.metadata.get("fieldkit", {}) for cell in book.cells]
        yield f"{path.name}, captions", "\n".join(str(a.get(key, "")) for a in about for key in ("table", "lead"))
    yield "README.md", spoken((ROOT / "README.md").read_text(encoding="utf-8"))
    for path in sorted((PACKAGE / "report" / "templates").rglob("*.*")):
        if path.suffix in (".j2", ".toml"):
            # Fields to be filled are names of code.
            yield path.name, re.sub(r"\{\w+", "{", path.read_text(encoding="utf-8"))
    for path in sorted((PACKAGE / "cli").glob("*.py")):
        yield f"cli/{path.name}", "\n".join(helps(path))


@pytest.mark.parametrize("term", HOME_MADE)
def test_no_home_made_term_stands_where_people_read(term):
    found = []
    for name, text in texts():
        for hit in re.finditer(term, text):
            around = " ".join(text[max(0, hit.start() - 50) : hit.end() + 30].split())
            found.append(f"{name}: … {around} …")
    assert not found, f"say {HOME_MADE[term]}: " + "\n".join(found)
