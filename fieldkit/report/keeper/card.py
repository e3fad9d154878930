"""The setup card: one page to hang beside the enclosure, with the targets and where each probe goes."""

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from fieldkit.captive.audit import flags as audit_flags
from fieldkit.captive.audit.means import LIGHT_KINDS, in_words
from fieldkit.captive.targets import CONTACT_SCOPE, Kind, resting, spoken
from fieldkit.core import FieldkitError, Result, new_files
from fieldkit.field.climate.seasons import MONTHS
from fieldkit.records.enclosure.template import CAUTIONS

# How each kind of probe is placed so that it reads what it is named after.
PLACING = {
    "shade_air": "in shade, at the height of the animal's back, under a small ventilated shield; no lamp may see it",
    "surface": "pressed onto the surface where the animal lies, its tip covered with a pinch of the same material",
    "irradiance": "level, at the height of the animal's back, facing up; a lux meter will not do",
    "uv_index": "level, at the height of the animal's back, facing up; wear UV glasses",
    "copper_model": "where the animal lies, in its posture",
    "thermostat": "in shade and out of every beam, fixed at the animal's height; in the beam it regulates its own heat",
    "humidity": "in shade, away from water and wet ground",
    "room_air": "in the room, in shade, away from the enclosure's warm wall",
    "exposed_probe": "it reads its own temperature: not for shade air",
    "wind": "where the animal lies",
}


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Card(Result):
    """A written card: `html`, `pdf` (None when not made) and the table it shows."""

    table: pd.DataFrame
    html: Path
    pdf: Path | None
    sentence: str


def write(targets, out, *, enclosure=None, found=None, pdf=None, allow_invented=False):
    """Write the setup card.

    Parameters
    ----------
    targets : Targets
        What to aim for.
    out : str or pathlib.Path
        Ends in .html; a file that is there is not overwritten.
    enclosure : EnclosureRecord, optional
        Puts its plan, probes and lamps on the card.
    found : Audit, optional
        Puts what to change first on the card.
    pdf : bool, optional
        Write a PDF beside it. None: if WeasyPrint is installed.
    allow_invented : bool
        Needed for invented targets beside a real enclosure; the card's title then says so.

    Returns
    -------
    Card

    Raises
    ------
    FieldkitError
        When the name does not end in .html, a file is there already, the PDF that was asked for cannot be made, or
        invented targets would hang beside a real enclosure.

    Examples
    --------
    >>> import tempfile
    >>> from fieldkit.captive import targets
    >>> one = targets.from_text('[[target]]\\ntarget = "uv_index"\\nhigh = 8\\nkind = "limit"', kind="toml")
    >>> card = write(one, Path(tempfile.mkdtemp()) / "card.html", pdf=False)
    >>> "UV index" in card.html.read_text(encoding="utf-8")
    True
    """
    out = Path(out)
    if enclosure is not None and targets.invented and not enclosure.invented and not allow_invented:
        raise FieldkitError(
            "These targets are invented and this enclosure is not: a card of them beside a living animal would be care "
            "advice. To see what it looks like, allow it: allow_invented=True, or --invented; its title will say so."
        )
    if out.suffix != ".html":
        raise FieldkitError(f"{out.name}: end the name of the card in .html; the PDF gets the same name.")
    printer = None if pdf is False else _printer()
    if pdf and printer is None:
        raise FieldkitError("A PDF needs WeasyPrint: install fieldkit with its pdf extra, or print the HTML file.")
    paper = out.with_suffix(".pdf") if printer is not None else None
    if not out.parent.is_dir():
        raise FieldkitError(f"There is no folder {out.parent}: make it first.")
    table = months_table(targets)
    html = _render(targets, table, enclosure, found)
    with new_files(*filter(None, (out, paper))) as (page, *printed):
        page.write_text(html, encoding="utf-8", newline="\n")
        for file in printed:
            printer.HTML(string=html).write_pdf(file, pdf_variant="pdf/ua-1")
    count = len(targets.table)
    words = f"Setup card with {count} target{'s' if count > 1 else ''}: {out}" + (f" and {paper}." if paper else ".")
    return Card(table=table, html=out, pdf=paper, sentence=words)


def _printer():
    try:
        import weasyprint
    # OSError: the package is there and the drawing libraries of the system are not.
    except (ImportError, OSError):
        return None
    return weasyprint


def months_table(targets):
    """Targets by month, one row per quantity, zone and period; those that hold all year have one cell.

    Parameters
    ----------
    targets : Targets
        Limits and cautions are left out: they stand by themselves.

    Returns
    -------
    DataFrame
        Columns what, where, unit, year, then the twelve months; texts, blank where nothing is asked.
    """
    rows = []
    table = targets.table[targets.table["kind"] == Kind.AIM]
    for (target, zone, period), part in table.groupby(["target", "zone", "period"], sort=False):
        what = f"floor in {_sun(target, targets)}" if target.endswith("_share") else spoken(target)
        row = {"what": what + ("" if period == "all" else f", {period}")}
        row |= {
            "where": _everywhere(target, period, targets.table) if zone == "whole" else zone,
            "unit": "%" if target.endswith("_share") else part["unit"].iloc[0],
            "year": "",
        }
        row |= dict.fromkeys(MONTHS, "")
        for one in part.itertuples(index=False):
            row[MONTHS[one.month - 1] if one.month else "year"] = _range(one)
        rows.append(row)
    return pd.DataFrame(rows, columns=["what", "where", "unit", "year", *MONTHS])


def _everywhere(target, period, table):
    """Where a range of the whole enclosure is asked for: not where a caution wants it cooler."""
    cooler = (table["target"] == target) & (table["kind"] == Kind.CAUTION) & (table["zone"] != "whole")
    return "warm part" if period != "night" and cooler.any() else "everywhere"


def _sun(target, targets):
    """Full sun, part shade or full shade, and what that is in W/m² where the field told."""
    name = spoken(target).removesuffix(" share")
    sun, shade = targets.full_sun_w_m2, targets.full_shade_w_m2
    if np.isnan(sun) or np.isnan(shade):
        return name
    return {
        "full_sun_share": f"{name} (from {_round(sun, -1)} W/m²)",
        "full_shade_share": f"{name} (to {_round(shade, -1)} W/m²)",
    }.get(target, name)


def _range(row):
    factor = 100.0 if row.target.endswith("_share") else 1.0
    digits = {"irradiance_w_m2": -1, "uv_index": 1, "photoperiod_h": 1}.get(row.target, 0)
    low, high = (_round(v * factor, digits) for v in (row.low, row.high))
    if low is None or high is None:
        return f"≤ {high}" if low is None else f"≥ {low}"
    return f"{low}–{high}" if not low.startswith("-") and not high.startswith("-") else f"{low} to {high}"


def _round(value, digits):
    if np.isnan(value):
        return None
    text = f"{round(value, digits):.{max(digits, 0)}f}"
    return "0" if float(text) == 0 else text


def uv_limits(enclosure):
    """How long a person may stay bare at the basking site before each lamp of an enclosure, and before all of them.

    Parameters
    ----------
    enclosure : EnclosureRecord
        Its lamps with their spectra and UV readings.

    Returns
    -------
    list of (str, str)
        Lamps and words: each lamp by its own spectrum or readings, no sunlight stands for it. Empty without a basking
        site or without a lamp whose beam is known.
    """
    from fieldkit.captive.lamps import lamps_of, people_limits

    site = enclosure.points[enclosure.points["zone"] == "basking site"]
    lamps = lamps_of(enclosure).lamps
    if not len(site) or not lamps:
        return []
    place = site.iloc[0][["x_m", "y_m", "z_m"]].to_numpy(dtype=float)
    shining = set(enclosure.lamps.loc[enclosure.lamps["kind"].isin(LIGHT_KINDS), "id"])
    mine = [lamp for lamp in lamps if lamp.id in shining]
    found = [(lamp.id, _minutes(people_limits(lamp, place))) for lamp in mine]
    blind = sorted(shining - {lamp.id for lamp in mine})
    found += [(name, "not known: no readings of it") for name in blind]
    if len(shining) > 1:
        together = _minutes(people_limits(mine, place))
        found.append(("all together", f"{together}{', the others not counted' if blind else ''}"))
    return found


def _minutes(limits):
    """Minutes after each of the limits for people, in words."""
    words = []
    for what, row in zip(("skin and eyes", "eyes for UV-A"), limits.table.to_dict("records")):
        minutes = row["time_s"] / 60
        if row["counted"] == "not known":
            words.append(f"{what} not known")
        elif minutes >= 480:
            words.append(f"{what} not within 8 hours")
        else:
            least = {"worst case": "as little as ", "in part": "at most "}.get(row["counted"], "")
            words.append(f"{what} {least}{math.floor(minutes)} min")
    return ", ".join(words)


def _render(targets, table, enclosure, found):
    from importlib import resources

    from jinja2 import Environment, StrictUndefined

    source = resources.files("fieldkit.report").joinpath("templates/card.html.j2").read_text(encoding="utf-8")
    monthly = table[(table[list(MONTHS)] != "").any(axis=1)]
    yearly = table[table["year"] != ""]
    invented = targets.invented or (enclosure is not None and enclosure.invented)
    kept = enclosure.animal.species if enclosure is not None and enclosure.animal is not None else None
    species = kept if kept and targets.species == "not stated" else targets.species
    other = kept if kept and audit_flags.other_species(kept, targets.species) else None
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return environment.from_string(source).render(
        species=species,
        wild=bool(targets.table["basis"].isin(("field", "station")).any()),
        name=enclosure.name if enclosure is not None else None,
        invented=invented,
        months=MONTHS,
        monthly=monthly.to_dict("records"),
        yearly=yearly.to_dict("records"),
        other=other,
        limits=_limits(targets.table, Kind.LIMIT),
        cautioned=_limits(targets.table, Kind.CAUTION),
        scope=CONTACT_SCOPE if (targets.table["target"] == "surface_c").any() else None,
        probes=_probes(targets, enclosure),
        plan=_plan(enclosure) if enclosure is not None else None,
        fixes=[] if found is None else found.fixes["change"].head(5).tolist(),
        uv=[] if enclosure is None else uv_limits(enclosure),
        sources=_sources(targets.table),
        # Of UV the card has a line of its own, with the minutes.
        cautions=CAUTIONS[:2] + CAUTIONS[3:],
        rest=in_words(targets.table.loc[resting(targets.table), "month"]),
    )


def _limits(table, kind):
    """Limits, or cautions, in words: what, where, how much and over what time."""
    lines = {}
    for row in table[table["kind"] == kind].itertuples(index=False):
        over = ""
        if row.contact_min > 0:
            over = (
                f"{row.contact_min:g} minutes" if row.contact_min < 60 else f"{row.contact_min / 60:g} hours and longer"
            )
        line = {"what": spoken(row.target), "limit": f"{row.high:.3g} {_unit(row)}".strip(), "over": over}
        key = tuple(line.values())
        lines.setdefault(key, line | {"zones": []})["zones"].append(row.zone)
    return [line | {"where": " and ".join(z for z in line["zones"] if z != "whole")} for line in lines.values()]


def _sources(table):
    """One source a quantity, zone and kind; months of one kind differ in counts only."""
    first = table.drop_duplicates(["target", "zone", "kind", "contact_min"])
    words = {}
    for row in first.itertuples(index=False):
        words.setdefault(row.source, []).append(
            spoken(row.target) + {Kind.LIMIT: ", upper limit", Kind.CAUTION: ", caution"}.get(row.kind, "")
        )
    lines = [f"{', '.join(dict.fromkeys(names))}: {source}" for source, names in words.items()]
    return [line[0].upper() + line[1:] for line in lines]


def _unit(row):
    return "" if row.unit == "UV index" else row.unit


def _probes(targets, enclosure):
    """Where each probe goes: those of the enclosure, else what the targets ask for."""
    if enclosure is not None and len(enclosure.logger_info):
        points = enclosure.points.set_index("point_id")
        rows = []
        for role, part in enclosure.logger_info.groupby("role", sort=False):
            places = []
            for row in part.itertuples(index=False):
                at = row.zone
                if row.point_id in points.index:
                    p = points.loc[row.point_id]
                    at = f"{row.point_id}, {row.zone} ({p['x_m']:.2f}, {p['y_m']:.2f}, {p['z_m']:.2f} m)"
                name = "by hand" if " by hand, " in row.logger_id else row.logger_id
                places.append(f"{name} at {at}" if row.zone != "room" else f"{name}, outside the enclosure")
            rows.append({"probe": _probe(role), "at": "; ".join(places), "how": PLACING[role]})
        return rows
    from fieldkit.captive.audit.judge import ROLES

    pairs = dict.fromkeys((ROLES[r.target], r.zone) for r in targets.table.itertuples(index=False) if r.target in ROLES)
    return [
        {"probe": _probe(role), "at": "each end" if zone == "whole" else zone, "how": PLACING[role]}
        for role, zone in pairs
    ]


def _probe(role):
    return {"thermostat": "thermostat sensor", "uv_index": "UV index"}.get(role, role.replace("_", " "))


def _label(mark, taken):
    """Where the name of a point stands: the first place around its dot that is free, else to its right."""
    wide, x, y = 6.4 * len(mark["label"]), mark["x"], mark["y"]
    places = [
        {"dx": 6, "dy": 4, "anchor": "start"},
        {"dx": -6, "dy": 4, "anchor": "end"},
        {"dx": 0, "dy": 24, "anchor": "middle"},
        {"dx": 0, "dy": -30, "anchor": "middle"},
    ]
    boxes = []
    for place in places:
        left = x + place["dx"] - {"start": 0, "middle": wide / 2, "end": wide}[place["anchor"]]
        boxes.append((left, y + place["dy"] - 9, left + wide, y + place["dy"] + 2))
    free = [
        not any(a < r and left < c and b < low and top < d for a, b, c, d in taken) and left >= 0 and r <= 300
        for left, top, r, low in boxes
    ]
    chosen = free.index(True) if any(free) else 0
    taken.append(boxes[chosen])
    return places[chosen]


def _plan(enclosure):
    """Plan of the floor seen from above, in units of the drawing (300 wide)."""
    box = enclosure.geometry
    scale = 300 / box.length_m
    marks = [
        {"kind": "lamp", "x": r.x_m * scale, "y": (box.width_m - r.y_m) * scale, "label": str(r.id)}
        for r in enclosure.lamps.itertuples(index=False)
    ]
    points = [
        {"kind": "point", "x": r.x_m * scale, "y": (box.width_m - r.y_m) * scale, "label": r.point_id}
        for r in enclosure.points.itertuples(index=False)
    ]
    taken = [(m["x"] - 13, m["y"] - 25, m["x"] + 13, m["y"] + 13) for m in marks]
    taken += [(m["x"] - 4, m["y"] - 4, m["x"] + 4, m["y"] + 4) for m in points]
    for mark in points:
        mark |= _label(mark, taken)
    marks += points
    size = f"{box.length_m:g} m long, {box.width_m:g} m deep, {box.height_m:g} m high"
    names = ", ".join(f"{m['label']} at {m['x'] / scale:.2f} m along" for m in marks)
    return {"height": box.width_m * scale, "marks": marks, "size": size, "alt": f"Plan from above: {names}."}
