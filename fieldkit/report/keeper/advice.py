"""An audit as plain text: what to change first, then everything else."""

import textwrap

import numpy as np
import pandas as pd

from fieldkit.captive.audit.fixes import FEW_A_DAY
from fieldkit.captive.audit.means import amount, in_words, plain
from fieldkit.captive.audit.status import OUTSIDE, Status
from fieldkit.captive.targets import Kind, spoken

WIDTH = 100


def text(found):
    """Write an audit for a screen or a file.

    Parameters
    ----------
    found : Audit
        From `audit.audit`.

    Returns
    -------
    str
    """
    parts = [f"Audit of {found.title}"]
    if found.invented:
        parts.append("INVENTED: this enclosure or its targets are made up for practice. They are not care advice.")
    parts.append(_wrapped(found.sentence))
    parts.append(_list("What to change, most important first", _fixes(found), "Nothing that was measured asks for it."))
    unsure = _unsure(found)
    if unsure:
        parts.append(_list("Read outside, but not surely so", unsure, ""))
    parts.append(_list("Dangers and doubts", _flags(found), "None of those looked for was found or left open."))
    nexts = [f"{row.measure} {row.reason} ({row.settles})" for row in found.next_measurements.itertuples(index=False)]
    parts.append(_list("What to measure next, most useful first", nexts, "Every target was measured and judged."))
    parts.append(_targets(found))
    shown = found.gradient.dropna(subset=["value"])
    lines = [_gradient(r) for r in shown.itertuples(index=False)]
    blind = found.gradient.loc[found.gradient["value"].isna(), "what"].tolist()
    lines += [f"Not measured: {'; '.join(blind)}."] if blind else []
    parts.append(_list("Gradients", lines, "None measured."))
    parts.append(_list("How it was done", list(found.notes), ""))
    parts.append(_list("Take care", list(found.cautions), ""))
    return "\n\n".join(parts)


def _unsure(found):
    """What lies outside its limits and may do so by chance: few days, or a wide error."""
    rows = found.table[(found.table["status"] == Status.UNKNOWN) & (found.table["by_how_much"] > 0)]
    lines = []
    for row in rows.itertuples(index=False):
        words = f"{_what(row)}: read {_read(row)} at {row.where}, wanted {wanted(row.low, row.high, row.unit)}"
        days = (
            "" if row.n_days >= 3 or not row.n_days else f" {row.n_days} day{'s' if row.n_days > 1 else ''} of readings"
        )
        error = f" an error of {amount(row.error, row.unit)}" if row.error > 0 else ""
        why = " and".join(part for part in (days, error) if part)
        lines.append(f"{words}.{' With' + why + ' it may be chance.' if why else ''}")
    return lines


def _targets(found):
    """Every target by what came of it, several months of one kind together where nobody measured."""
    table, lines = compact(found), ["Targets"]
    for status in Status:
        rows = table[table["status"] == status]
        if not len(rows):
            continue
        lines.append(f"  {status[0].upper()}{status[1:]}")
        for row in rows.to_dict("records"):
            words = f"{row['target']}, {row['zone']}, {row['when']}: wanted {row['wanted']}"
            if row["read (5 to 95 %)"]:
                words += f"; read {row['read (5 to 95 %)']}"
            if row["at"]:
                words += f", {row['at']}"
            if row["outside by"]:
                words += f"; outside by {row['outside by']}"
                words += f" {row['how often']}" if row["how often"] else ""
                words += f", mostly {row['mostly']}" if row["mostly"] else ""
            lines.append("  - " + _wrapped(f"{words}.", "    ").lstrip())
    return "\n".join(lines)


def _gradient(row):
    value = f"{100 * row.value:.0f} ± {100 * row.error:.0f} %" if row.unit == "share" else ""
    # Two digits of the error, and the value to the same place.
    places = max(1 - int(np.floor(np.log10(row.error))), 0) if row.error > 0 else 2
    value = value or f"{row.value:.{places}f} ± {row.error:.{places}f} {row.unit}".strip()
    what = row.what[0].upper() + row.what[1:]
    return f"{what}: {value}{'; ' + row.words if row.words else ''}".rstrip(".") + "."


def compact(found):
    """The table of an audit with targets that nobody measured drawn together over months.

    Parameters
    ----------
    found : Audit
        From `audit.audit`.

    Returns
    -------
    DataFrame
        Texts: target, zone, when, wanted, status, read (by day and by night where both were), outside by, how often,
        mostly when, at.
    """
    rows, order = [], []
    table = found.table
    for number, row in enumerate(table.itertuples(index=False)):
        key = (row.target, row.zone, row.period) if row.status == Status.NOT_MEASURED and row.month else number
        if key not in order:
            order.append(key)
            rows.append([])
        rows[order.index(key)].append(row)
    return pd.DataFrame([_row(group) for group in rows])


def _what(row):
    """A target's quantity, zone and period in words."""
    name = spoken(row.target)
    if row.target.endswith("_share"):
        name = f"floor in {name.removesuffix(' share')}"
    name = name[0].upper() + name[1:] + {Kind.LIMIT: ", upper limit", Kind.CAUTION: ", caution"}.get(row.kind, "")
    if row.contact_min > 0:
        name += f" for {row.contact_min:g} minutes" if row.contact_min < 60 else f" for {row.contact_min / 60:g} hours"
    return name if row.zone == "whole" else f"{name}, {row.zone}"


def _read(row):
    if row.target.endswith("_share"):
        return f"{100 * row.reading:.0f} % ({100 * row.reading_low:.0f} to {100 * row.reading_high:.0f})"
    unit = "" if row.unit == "UV index" else f" {row.unit}"
    if row.day_n and row.night_n:
        parts = [
            f"{plain(middle)}{unit} ({plain(low)} to {plain(high)}) by {part}"
            for part, low, middle, high in (
                ("day", row.day_low, row.day_middle, row.day_high),
                ("night", row.night_low, row.night_middle, row.night_high),
            )
        ]
        return " and ".join(parts)
    return f"{plain(row.reading)}{unit} ({plain(row.reading_low)} to {plain(row.reading_high)})"


def _row(group):
    row = group[0]
    months = in_words([r.month for r in group]) if row.month else "all year"
    out = row.status in (*OUTSIDE, Status.UNKNOWN) and np.isfinite(row.by_how_much)
    return {
        "target": _what(row._replace(zone="whole")),
        "zone": "anywhere" if row.zone == "whole" else row.zone,
        "when": months + ("" if row.period == "all" else f" by {row.period}"),
        "wanted": wanted(row.low, row.high, row.unit) if len(group) == 1 else "differs by month",
        "status": row.status,
        "read (5 to 95 %)": _read(row) if np.isfinite(row.reading) else "",
        "outside by": amount(row.by_how_much, row.unit) if out and row.by_how_much > 0 else "",
        "how often": _how_often(row) if out and row.by_how_much > 0 else "",
        "mostly": row.when if out else "",
        "at": row.where,
    }


def _how_often(row):
    """Counts where readings are few, else a share of the time."""
    if 0 < row.n_readings < FEW_A_DAY * max(row.n_days, 1):
        parts = ((row.day_outside, row.day_n, "day"), (row.night_outside, row.night_n, "night"))
        return "at " + " and ".join(f"{k} of {n} readings by {part}" for k, n, part in parts if n)
    return f"for {100 * row.share_of_time:.0f} % of the time" if np.isfinite(row.share_of_time) else ""


def wanted(low, high, unit):
    """A range in words.

    Examples
    --------
    >>> wanted(20.0, float("nan"), "°C"), wanted(0.48, 0.55, "share of places")
    ('from 20 °C', '48 to 55 %')
    """
    unit = unit if unit != "UV index" else ""
    if unit == "share of places":
        low, high, unit = 100 * low, 100 * high, "%"
    low, high = (None if np.isnan(v) else plain(v) for v in (low, high))
    if low is None:
        return f"up to {high} {unit}".strip()
    if high is None:
        return f"from {low} {unit}".strip()
    return f"{low} to {high} {unit}".strip()


def _fixes(found):
    return [f"{row.change}\nWhy: {row.reason}" for row in found.fixes.itertuples(index=False)]


def _flags(found):
    shown = found.flags[found.flags["found"] != "no"]
    order = {"yes": 0, "cannot tell": 1, "not measured": 2}
    shown = shown.sort_values("found", key=lambda s: s.map(order), kind="stable")
    lines = []
    for row in shown.itertuples(index=False):
        where = f", {row.where}" if row.where and not row.finding.startswith(row.where) else ""
        lines.append(f"{row.flag[0].upper()}{row.flag[1:]} ({row.kind}): {row.found}{where}. {row.finding}".strip())
    return lines


def _wrapped(words, indent=""):
    lines = words.split("\n")
    return "\n".join(textwrap.fill(line, WIDTH, initial_indent=indent, subsequent_indent=indent) for line in lines)


def _list(title, items, none):
    if not items:
        return f"{title}\n  {none}"
    lines = [title]
    for number, item in enumerate(items, start=1):
        mark = f"{number:>2}. "
        lines.append(mark + _wrapped(item, "    ").lstrip())
    return "\n".join(lines)
