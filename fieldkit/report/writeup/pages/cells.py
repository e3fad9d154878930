"""Tables as pandas makes them, dressed for readers: cells and headers in words, no index that only counts."""

import re

from fieldkit.captive.targets import UNITS as TARGETS
from fieldkit.records.schema.tables import TABLES
from fieldkit.records.schema.units import ALL_ROLES
from fieldkit.report.writeup.pages.wording import NAMES, label, plain

# What pandas and the kit write in cells, in words.
_CELLS = dict.fromkeys(("NaN", "NaT", "None", "<NA>", "nan"), "–") | {"True": "yes", "False": "no"}
_CELLS |= dict.fromkeys(("inf", "-inf"), "no limit")
_CELLS |= {
    name: label(name)
    for name in (*NAMES, *ALL_ROLES, *TARGETS, *(c for table in TABLES.values() for c in table.columns))
    if "_" in name
}


def in_words(text, head, is_head):
    """What a cell shows to a reader; chances too small to matter are not spelled out."""
    if is_head:
        return label(text)
    if text in _CELLS:
        return _CELLS[text]
    if re.fullmatch(r"[\d.]+e-\d+", text) and re.match(r"p\b|.*_p$|weight", head) and float(text) < 1e-4:
        return "<0.0001"
    if re.fullmatch(r"0\.0+", text) and re.match(r"p\b|.*_p$", head):
        # A table rounded for reading; no chance is zero.
        return f"<{text[:-1]}1"
    if re.fullmatch(r"-[\d.]+(e-?\d+)?", text):
        return text.replace("-", "−", 1)
    return plain(text)


def drop_row_numbers(table):
    """Take out an index that only counts rows: it says nothing to a reader."""
    rows = table.tbody.find_all("tr") if table.tbody else []
    heads = [row.find(["th", "td"]) for row in (table.thead.find_all("tr") if table.thead else [])]
    firsts = [row.find(["th", "td"]) for row in rows]
    counted = rows and all(cell.name == "th" and cell.get_text(strip=True).isdigit() for cell in firsts)
    if counted and len(heads) == 1 and not heads[0].get_text(strip=True):
        for cell in [*heads, *firsts]:
            cell.decompose()


def join_index_names(table):
    """Move the names of an index from pandas' extra header row into the blank cells above them."""
    rows = table.thead.find_all("tr") if table.thead else []
    if len(rows) != 2:
        return
    above, names = ([(cell, cell.get_text(strip=True)) for cell in row.find_all(["th", "td"])] for row in rows)
    if len(above) == len(names) and all(bool(top) != bool(name) for (_, top), (_, name) in zip(above, names)):
        for (cell, top), (_, name) in zip(above, names):
            cell.string = top or name
        rows[1].decompose()
    elif len(above) == len(names) and names[0][1] and not any(name for _, name in names[1:]):
        # The columns have a name of their own, which says nothing that the caption does not.
        above[0][0].string = names[0][1]
        rows[1].decompose()
