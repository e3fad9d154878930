"""A comparison of field and captivity, and a trial, as text for a terminal; the sheet of a trial to print."""

import html
import textwrap

import numpy as np

from fieldkit.captive.trial import OUTCOMES, WELFARE
from fieldkit.records.season import printed

WIDTH = 100
_VERDICTS = ("differs", "alike", "cannot tell", "not measured")


def number(value, unit=""):
    """A number with as many figures as it deserves, and its unit.

    Examples
    --------
    >>> number(0.4567), number(481.5, "W/m²"), number(float("nan"))
    ('0.46', '482 W/m²', '–')
    """
    if not np.isfinite(value):
        return "–"
    digits = 0 if abs(value) >= 100 else 1 if abs(value) >= 10 else 2
    return f"{value:.{digits}f}" + (f" {unit}" if unit else "")


def comparison(found, remedies=None):
    """Text of a comparison.

    Parameters
    ----------
    found : FieldAgainstCaptivity
        What `compare.compare` found.
    remedies : DataFrame, optional
        From `compare.remedies`.

    Returns
    -------
    str
    """
    lines = _wrapped(found.sentence)
    lines += ["", f"{'':<52} {'field':>12} {'here':>12}   difference (95 % interval)"]
    for group, rows in found.table.groupby("group", sort=False):
        lines += ["", group]
        for row in rows.itertuples():
            name = textwrap.shorten(row.question, 50, placeholder="…")
            between = f"{number(row.difference)} ({number(row.low)} to {number(row.high)})"
            between = between if np.isfinite(row.difference) else ""
            lines.append(
                f"  {name:<50} {number(row.field):>12} {number(row.captive):>12}   {between} {row.unit}".rstrip()
            )
            lines += _wrapped(row.says, "      ")
            if row.look_at:
                lines += _wrapped(f"Look at: {row.look_at}.", "      ")
    lines += ["", f"Matched: {found.table['matched'].iloc[0]}."]
    lines += [line for note in found.notes for line in _wrapped(note)]
    if remedies is not None and len(remedies):
        lines += ["", "What could be tried, most important first"]
        for k, row in enumerate(remedies.itertuples(index=False), start=1):
            lines += _wrapped(f"{row.finding} {row.remedy}", "   ", f"{k}. ")
    lines += ["", "Take care"]
    lines += [line for caution in found.cautions for line in _wrapped(caution, "  ", "- ")]
    return "\n".join(lines)


def _wrapped(text, indent="", first=None):
    return textwrap.wrap(
        text, WIDTH, initial_indent=indent if first is None else first, subsequent_indent=indent, break_on_hyphens=False
    )


def planned(plan):
    """Text of a planned trial.

    Parameters
    ----------
    plan : TrialPlan
        The plan.

    Returns
    -------
    str
    """
    lines = _wrapped(f"Trial: {plan.change}.") + _wrapped(plan.sentence)
    lines += [line for words in plan.unknown for line in _wrapped(f"NOT JUDGED: {words}")]
    if plan.power is not None:
        lines += ["", "effect   found in"]
        lines += [f"{row.effect:6.2f}   {100 * row.power:3.0f} %" for row in plan.power.itertuples()]
    lines += ["", "block  arm      from        counts from  to"]
    for row in plan.table.itertuples():
        lines.append(
            f"{row.block:5d}  {row.arm:<8} {row.first_day:%Y-%m-%d}  {row.counts_from:%Y-%m-%d}   "
            f"{row.last_day:%Y-%m-%d}"
        )
    lines += ["", "It stops at"]
    lines += [f"- {words}" for words in _limits(plan.limits)]
    lines += ["", "Take care"]
    lines += [line for caution in WELFARE for line in _wrapped(caution, "  ", "- ")]
    return "\n".join(lines)


def _limits(limits):
    return [
        f"body mass down by {limits['mass_loss_percent']:g} %",
        f"no food taken for {limits['days_without_food']:g} days",
        f"hidden all day on {limits['days_hidden']:g} days in a row",
        "any reading above a limit",
        "signs of illness or injury",
    ]


def trial(found):
    """Text of a trial that was read.

    Parameters
    ----------
    found : Trial
        What `compare.compare` found.

    Returns
    -------
    str
    """
    lines = [*_wrapped(found.sentence), "", "block    usual  changed  difference"]
    for row in found.blocks.itertuples(index=False):
        lines.append(f"{row.block:5d}  {row.usual:7.2f}  {row.changed:7.2f}  {row.difference:+10.2f}")
    lines += [f"Block {row.block} was left out: {row.reason}." for row in found.left_out.itertuples(index=False)]
    lines += ["", "Also looked at"]
    lines += [
        f"- {row.what}: {row.value:+.2g}, p {row.p:.2g}; {row.says}" for row in found.looked_at.itertuples(index=False)
    ]
    lines += ["", "Limits agreed beforehand"]
    for row in found.limits.itertuples(index=False):
        finding = f" ({row.finding})" if row.finding else ""
        lines += _wrapped(f"{row.limit}: {row.reached}{finding}", "  ", "- ")
    lines += ["", "Take care"]
    lines += [line for caution in found.cautions for line in _wrapped(caution, "  ", "- ")]
    return "\n".join(lines)


def sheet(plan, *, paper="A4"):
    """The sheet of a trial to hang beside the enclosure.

    Parameters
    ----------
    plan : TrialPlan
        The plan.
    paper : {"A4", "Letter"}
        Size of the paper.

    Returns
    -------
    str
        One self-contained HTML page.
    """
    _, words, _, _ = OUTCOMES[plan.outcome]
    head = ["block", "arm", "from", "counts from", "to", "changed by (initials)", "notes"]
    rows = [
        f"<tr><td>{row.block}</td><td>{row.arm}</td><td>{row.first_day:%Y-%m-%d}</td>"
        f"<td>{row.counts_from:%Y-%m-%d}</td><td>{row.last_day:%Y-%m-%d}</td><td></td><td></td></tr>"
        for row in plan.table.itertuples()
    ]
    care = "".join(f"<li>{html.escape(c)}</li>" for c in WELFARE)
    limits = "".join(f"<li>{html.escape(c)}</li>" for c in _limits(plan.limits))
    body = (
        f"<section><h1>Trial: {html.escape(plan.change)}</h1>"
        f"<p>What counts: {html.escape(words)}; {plan.better} is better. Keep to the drawn order. Small steps "
        "on the settling days. Scan at the same times in both arms.</p>"
        f"{printed.table_to_fill(head, rows)}<h2>The trial stops at</h2><ol>{limits}</ol>"
        f"<h2>Take care</h2><ol>{care}</ol></section>"
    )
    return printed.page_to_print(f"Trial ({paper})", body, paper=paper, row="6mm")
