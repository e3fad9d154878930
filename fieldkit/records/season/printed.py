"""Sheets to print for the field, and pages to read."""

import html

from fieldkit.core import FieldkitError
from fieldkit.records import cautions
from fieldkit.records import schema as schemas
from fieldkit.records.reading import headers

# --- field sheets -----------------------------------------------------------------------------------------------------
_SCREEN = (
    "body{font:16px/1.45 sans-serif;max-width:70em;margin:1em auto;padding:0 1em}table{border-collapse:collapse}"
    "td,th{border:1px solid #999;padding:.2em .5em;text-align:left;vertical-align:top}"
)

_PAPER = """
@page {{ size: {paper} landscape; margin: 10mm }}
* {{ box-sizing: border-box }}
body {{ font: 9.5pt/1.3 sans-serif; color: #000; background: #fff; margin: 0 auto; max-width: {width} }}
section {{ break-after: page }} section:last-child {{ break-after: auto }}
h1 {{ font-size: 14pt; margin: 0 0 1mm }} h2 {{ font-size: 10pt; margin: 2mm 0 0 }} p {{ margin: 0 0 1.5mm }}
table {{ border-collapse: collapse; width: 100%; table-layout: auto; margin: 1.5mm 0 }}
th, td {{ border: .3mm solid #000; padding: .6mm 1mm; text-align: left; vertical-align: top; overflow-wrap: anywhere }}
th {{ font-size: 9pt; overflow-wrap: normal; hyphens: none; background: #eee }} tbody td {{ height: {row} }}
tbody tr.first td {{ border-top: .8mm solid #000 }}
.blanks span {{ display: inline-block; border-bottom: .3mm solid #000; min-width: 38mm; margin-right: 5mm }}
ol {{ columns: 2; column-gap: 8mm; margin: .5mm 0; padding-left: 5mm; font-size: 9pt }}
li {{ break-inside: avoid; margin-bottom: 1mm }}
.wide {{ width: 18% }}
@media screen {{ body {{ padding: 1em }} section {{ margin-bottom: 3em; overflow-x: auto }}
  table {{ min-width: 60em }} ol {{ columns: 22em }} }}
"""


def template_headers(table):
    """Header row of a table's template, units in it.

    Examples
    --------
    >>> template_headers("scans")[5]
    'shade_air [°C]'
    """
    names = []
    for column in schemas.ALL_TABLES[table].columns:
        if column in schemas.GROUPING:
            continue  # they come last
        limits = schemas.column_range(table, column)
        names.append(f"{headers.stem(column)} [{limits.unit}]" if limits and limits.dimension != "none" else column)
    return names


def _page(title, body, style):
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{html.escape(title)}</title>\n<style>{style}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def _drawn_places(sets, places, paces, rng):
    """Bearings and paces from the animal's place to each available place, drawn so that no eye picks them.

    The square root spreads places evenly over the ground within reach, not crowded round the animal.
    """
    import numpy as np

    rng = np.random.default_rng(rng)
    bearing = rng.integers(0, 360, (sets, places))
    far = np.maximum(1, np.ceil(paces * np.sqrt(rng.random((sets, places))))).astype(int)
    lines = "; ".join(
        f"set {s + 1}: " + ", ".join(f"{b}° {n}" for b, n in zip(bearing[s], far[s], strict=True)) for s in range(sets)
    )
    return (
        "<p><strong>Available places of this sheet</strong> (compass bearing and paces from the animal's place, drawn "
        f"at random; where one cannot be reached, take the next of the other set): {lines}.</p>"
    )


def field_sheet(*, paper="A4", sets=2, places=6, title="Field sheet", paces=20, rng=None):
    """Printable sheets for outside: choice sets, scans, and what to take care of.

    Parameters
    ----------
    paper : {"A4", "Letter"}
        Size of the paper, printed across.
    sets : int
        Choice sets on a page.
    places : int
        Places in a set, the animal's own first.
    title : str
        Heading, such as the name of the season.
    paces : int
        Farthest that an available place may lie, in paces.
    rng : int or numpy.random.Generator, optional
        Seed of the bearings and paces that are printed; every sheet has its own unless given.

    Returns
    -------
    str
        One self-contained HTML page to print from a browser.

    Raises
    ------
    FieldkitError
        For another paper, or numbers that do not fit a page.

    Examples
    --------
    >>> "size: Letter landscape" in field_sheet(paper="Letter")
    True
    """
    if paper not in ("A4", "Letter"):
        raise FieldkitError(f"There is no field sheet for paper '{paper}': choose 'A4' or 'Letter'.")
    if not (sets >= 1 and places >= 2 and sets * places <= 14):
        raise FieldkitError(
            f"{sets} sets of {places} places do not fit one page: a set has 2 places or more, a page 14 rows or fewer."
        )
    blanks = "".join(
        f"<span>{name}:</span>" for name in ("Site", "Date", "Observer", "Clock (zone)", "Sky, wind", "Sheet no.")
    )
    blanks = f'<p class="blanks">{blanks}</p>'
    care = f"<h2>Take care</h2><ol>{''.join(f'<li>{html.escape(c)}</li>' for c in cautions.FIELD)}</ol>"
    shown = [n for n in template_headers("choices") if n not in ("observer", "operative [°C]", "minutes")]
    rows = []
    for _ in range(sets):
        for place in range(places):
            used, first = ("1", ' class="first"') if place == 0 else ("0", "")
            rows.append(f"<tr{first}>" + "".join(f"<td>{used if n == 'used' else ''}</td>" for n in shown) + "</tr>")
    choices = (
        f"<section><h1>{html.escape(title)}: choice sets</h1>{blanks}"
        "<p>First row of a set: where the animal was (used 1). Then places it could have taken, chosen by a rule, not "
        "by eye: so many steps in a direction drawn at random. Read all places of a set within minutes, after the "
        "animal has left by itself. Shade the air thermometer from sun, sky and hot ground; hold the radiation sensor "
        "level, "
        f"your shadow away. Leave a cell empty if it was not read.</p>{table_to_fill(shown, rows)}"
        f"{_drawn_places(sets, places - 1, paces, rng)}{care}</section>"
    )
    shown = [n for n in template_headers("scans") if n not in ("observer", "body_temperature [°C]")]
    blank = "<tr>" + "<td></td>" * len(shown) + "</tr>"
    scans = (
        f"<section><h1>{html.escape(title)}: scans</h1>{blanks}"
        "<p>One look at each animal (or one count of those that do the same) at times fixed beforehand, say every 15 "
        "minutes. Animals that do not bask tell as much as those that do: write them too. Behaviour: "
        f"{', '.join(schemas.BEHAVIOURS)}.</p>{table_to_fill(shown, [blank] * 12)}{care}</section>"
    )
    return page_to_print(f"{title} ({paper})", choices + scans, paper=paper, row="9mm" if paper == "A4" else "9.2mm")


def page_to_read(title, body):
    """A page for the screen; body is HTML."""
    return _page(title, body, _SCREEN)


def page_to_print(title, body, *, paper, row):
    """A page in the look of the field sheets: body is HTML, row the height of a row to write in."""
    width = "277mm" if paper == "A4" else "259mm"
    return _page(title, body, _PAPER.format(paper=paper, width=width, row=row))


def table_to_fill(names, rows):
    """A table to write in: headers as in the template, rows of cells as HTML."""
    head = "".join(
        f"<th{' class=wide' if n == 'notes' else ''}>{html.escape(n).replace('_', '_<wbr>')}</th>" for n in names
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table>"
