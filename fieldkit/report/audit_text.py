"""An audit as plain text: what to change first, then everything else."""

import textwrap

import numpy as np
import pandas as pd

from fieldkit.captive.audit_blocks import in_words, short
from fieldkit.captive.targets import spoken

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
    parts = []
    if found.invented:
        parts.append("INVENTED: this enclosure or its targets are made up for practice. They are not care advice.")
    parts.append(_wrapped(found.sentence))
    parts.append(_list("What to change, most important first", _fixes(found), "Nothing that was measured asks for it."))
    parts.append(_list("Dangers and doubts", _flags(found), "None of those looked for was found or left open."))
    nexts = [f"{row.measure} {row.reason} ({row.settles})" for row in found.next_measurements.itertuples(index=False)]
    parts.append(_list("What to measure next, most useful first", nexts, "Every target was measured and judged."))
    parts.append("Targets\n" + compact(found).to_string(index=False))
    shown = found.gradient.dropna(subset=["value"])
    lines = [
        f"{r.what}: {r.value:.3g} ± {r.error:.2g} {r.unit}. {r.words}".strip() for r in shown.itertuples(index=False)
    ]
    blind = found.gradient.loc[found.gradient["value"].isna(), "what"].tolist()
    lines += [f"Not measured: {', '.join(blind)}."] if blind else []
    parts.append(_list("Gradients", lines, "None measured."))
    parts.append(_list("How it was done", list(found.notes), ""))
    parts.append(_list("Take care", list(found.cautions), ""))
    return "\n\n".join(parts)


def compact(found):
    """The table of an audit with targets that nobody measured drawn together over months.

    Parameters
    ----------
    found : Audit
        From `audit.audit`.

    Returns
    -------
    DataFrame
        Texts: target, zone, when, wanted, status, read, outside by, of the time, at.
    """
    rows, order = [], []
    table = found.table
    for number, row in enumerate(table.itertuples(index=False)):
        key = (row.target, row.zone, row.period) if row.status == "not measured" and row.month else number
        if key not in order:
            order.append(key)
            rows.append([])
        rows[order.index(key)].append(row)
    return pd.DataFrame([_row(group) for group in rows])


def _row(group):
    row = group[0]
    months = in_words([r.month for r in group]) if row.month else "all year"
    unit = row.unit if row.unit not in ("UV index", "share of places") else ""
    read = ""
    if np.isfinite(row.reading):
        read = f"{row.reading:.3g} ({row.reading_low:.3g} to {row.reading_high:.3g})"
    out = row.status in ("missed", "cannot tell") and np.isfinite(row.by_how_much)
    return {
        "target": spoken(row.target) + (", ceiling" if row.ceiling else ""),
        "zone": row.zone,
        "when": months + ("" if row.period == "all" else f", {row.period}"),
        "wanted": wanted(row.low, row.high, unit) if len(group) == 1 else "differs by month",
        "status": row.status + (" (BROKEN)" if row.ceiling_broken else ""),
        "read (5 to 95 %)": read,
        "outside by": f"{short(row.by_how_much)} {unit}".strip() if out and row.by_how_much > 0 else "",
        "of the time": f"{100 * row.share_of_time:.0f} %" if out and np.isfinite(row.share_of_time) else "",
        "mostly": row.when if out else "",
        "at": row.where,
    }


def wanted(low, high, unit):
    """A range in words.

    Examples
    --------
    >>> wanted(20.0, float("nan"), "°C")
    'from 20 °C'
    """
    if np.isnan(low):
        return f"up to {high:.3g} {unit}".strip()
    if np.isnan(high):
        return f"from {low:.3g} {unit}".strip()
    return f"{low:.3g} to {high:.3g} {unit}".strip()


def _fixes(found):
    return [f"{row.change}\nWhy: {row.reason}" for row in found.fixes.itertuples(index=False)]


def _flags(found):
    shown = found.flags[found.flags["found"] != "no"]
    order = {"yes": 0, "cannot tell": 1, "not measured": 2}
    shown = shown.sort_values("found", key=lambda s: s.map(order), kind="stable")
    return [
        f"{row.flag} ({row.kind}): {row.found}{f', {row.where}' if row.where else ''}. {row.finding}".strip()
        for row in shown.itertuples(index=False)
    ]


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
