"""Pictures of field against captivity, and of a trial."""

import numpy as np

from fieldkit.core import FieldkitError
from fieldkit.report.figures.style import COLOURS, MARKERS, look, new_axes

# Differences further out than this many margins are drawn at the edge.
EDGE = 4.0
_COLOUR = {"differs": "limit", "alike": "field", "cannot tell": "available"}


def differences(found):
    """Draw each difference in units of its margin, with its interval.

    Parameters
    ----------
    found : fieldkit.captive.compare.FieldAgainstCaptivity
        What `compare.compare` returned.

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    FieldkitError
        When no question has an interval.
    """
    table = found.table[found.table["low"].notna()]
    if not len(table):
        raise FieldkitError("No question has an interval to draw: more days of scans are needed.")
    figure, axes = new_axes(width=8.6, height=1.6 + 0.3 * len(table))
    where = -np.arange(len(table))
    with look():
        axes.axvspan(-1, 1, color=COLOURS["field"], alpha=0.12, lw=0, label="within the margin of alike")
        axes.axvline(0, color=COLOURS["used"], lw=0.8)
        for verdict, colour in _COLOUR.items():
            mine = (table["verdict"] == verdict).to_numpy()
            if mine.any():
                middle, low, high = (
                    np.clip(table[c] / table["margin"], -EDGE, EDGE)[mine].to_numpy()
                    for c in ("difference", "low", "high")
                )
                reach = [np.maximum(middle - low, 0), np.maximum(high - middle, 0)]
                marker = {"differs": "D", "alike": "o", "cannot tell": "s"}[verdict]
                axes.errorbar(
                    middle, where[mine], xerr=reach, fmt=marker, color=COLOURS[colour], capsize=2, ms=5, label=verdict
                )
        axes.set_yticks(where, table["question"], fontsize=8.5)
        axes.set_xlim(-EDGE - 0.2, EDGE + 0.2)
        axes.set_xlabel(f"enclosure less field, in margins (cut at {EDGE:g})")
        axes.grid(axis="y", visible=False)
        figure.suptitle(_finding(found.table), fontsize=11.5, x=0.01, ha="left")
        figure.legend(*axes.get_legend_handles_labels(), fontsize=8.5, ncols=4, loc="outside lower center")
    return figure


def _finding(table):
    gone = table[table["verdict"] == "differs"].sort_values("p_all", kind="stable")
    if not len(gone):
        return "In captivity and in the field: no clear difference, which is not the same as alike"
    row = gone.iloc[0]
    way = "more" if row["difference"] > 0 else "less"
    unit = f" {row['unit']}" if row["unit"] else ""
    size = abs(row["difference"])
    told = f"{size:.0f}" if size >= 10 else f"{size:.2g}"
    question = f"{row['question'][:1].upper()}{row['question'][1:]}"
    return f"{question}: {told}{unit} {way} in captivity than in the field"


def through_day(found, kind="basking"):
    """Draw the share of scans in one behaviour by hour, on two clocks.

    Parameters
    ----------
    found : fieldkit.captive.compare.FieldAgainstCaptivity
        What `compare.compare` returned.
    kind : {"basking", "moving", "resting", "hidden"}
        Which behaviour.

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    FieldkitError
        When no scan tells what the animals did.
    """
    table = found.by_hour[found.by_hour["kind"] == kind]
    if not len(table):
        raise FieldkitError(f"No scan tells when the animals were {kind}: add the behaviour to the scans.")
    figure, panels = new_axes(1, 2, width=8.4, height=3.8, sharey=True)
    with look():
        for axes, (clock, part) in zip(panels, table.groupby("clock", sort=False)):
            for group, rows in part.groupby("group", sort=False):
                rows = rows.sort_values("hour")
                label = "in the field" if group == "field" else "in the enclosure"
                line = "-" if group == "field" else "--"
                axes.plot(
                    rows["hour"] + 1, rows["share"], ls=line, marker=MARKERS[group], color=COLOURS[group], label=label
                )
            axes.set_xlabel({"solar time": "solar time (12: middle of the light)"}.get(clock, "hours since light on"))
            axes.set_ylim(0, 1)
        panels[0].set_ylabel(f"share of scans {kind}")
        panels[0].legend(fontsize=9)
        shares = table.groupby("group")["share"].mean()
        panels[0].set_title(
            f"{kind[:1].upper()}{kind[1:]} through the day: field {shares.get('field', np.nan):.2f}, "
            f"enclosure {shares.get('captive', np.nan):.2f} on average"
        )
    return figure


def blocks(found):
    """Draw the blocks of a trial: usual and changed side by side.

    Parameters
    ----------
    found : fieldkit.captive.trial.Trial
        What `trial.read` returned.

    Returns
    -------
    matplotlib.figure.Figure
    """
    figure, axes = new_axes(width=7.2, height=4.0)
    table = found.blocks
    with look():
        for arm, colour, marker in (("usual", "available", "o"), ("changed", "captive", "D")):
            axes.plot(table["block"], table[arm], marker=marker, ls="", color=COLOURS[colour], label=arm)
        axes.vlines(table["block"], table["usual"], table["changed"], color=COLOURS["available"], lw=0.8)
        axes.set_xticks(table["block"])
        axes.set_xlabel("block")
        axes.set_ylabel(found.settings["outcome"].replace("_", " "))
        test = found.test
        limits = f" ({test.low:.2g} to {test.high:.2g})" if np.isfinite(test.low) else ""
        axes.set_title(f"{found.verdict[:1].upper()}{found.verdict[1:]}: {test.effect:+.2g}{limits}, p {test.p:.2g}")
        axes.legend(fontsize=9)
    return figure
