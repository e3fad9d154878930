"""Pictures of an enclosure: its gradients beside the wild ones, and what a change would do."""

import calendar

import numpy as np

from fieldkit.report.figures.style import COLOURS, MARKERS, look, new_axes

_LABELS = {
    "shade_air_c": "shade air (°C)",
    "surface_c": "surface (°C)",
    "operative_c": "operative temperature (°C)",
    "irradiance_w_m2": "irradiance (W/m²)",
}


def gradients(found):
    """Draw what each point of an enclosure offers beside what wild animals took and had on offer.

    Parameters
    ----------
    found : fieldkit.captive.enclosure.Gradients
        What `enclosure.gradients` returned.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> import fieldkit
    >>> from fieldkit.captive import enclosure
    >>> found = enclosure.gradients(fieldkit.demo_enclosure(), fieldkit.demo_season().choices, month=7)
    >>> len(gradients(found).axes)
    4
    """
    names = [n for n in _LABELS if n in set(found.table["quantity"])]
    figure, axes = new_axes(2, 2, width=9.2, height=7.4, squeeze=False)
    with look():
        for panel in axes.ravel()[len(names) :]:
            panel.set_visible(False)
        for panel, name in zip(axes.ravel(), names):
            _panel(panel, found.table[found.table["quantity"] == name], name)
        _legend(figure, axes.ravel()[: len(names)])
        month = f" in {calendar.month_name[found.month]}" if found.month else ""
        figure.suptitle(_title(found, month), x=0.01, ha="left", fontsize=11.5)
    return figure


def _panel(panel, rows, name):
    taken = rows[rows["place"] == "taken"]
    if len(taken):
        panel.axvspan(
            taken["low"].iloc[0],
            taken["high"].iloc[0],
            color=COLOURS["field"],
            alpha=0.15,
            linewidth=0,
            label="places taken, 5 to 95 %",
        )
    ticks = []
    for y, row in enumerate(rows.itertuples(index=False)):
        colour = {"on offer": COLOURS["available"], "taken": COLOURS["used"]}.get(row.place, COLOURS["captive"])
        marker = {"on offer": MARKERS["available"], "taken": MARKERS["used"]}.get(row.place, MARKERS["captive"])
        label = f"wild, {row.place}" if row.source == "field" else f"{row.place}, {row.source}"
        panel.errorbar(
            row.middle,
            y,
            xerr=[[max(row.middle - row.low, 0.0)], [max(row.high - row.middle, 0.0)]],
            fmt=marker,
            color=colour,
            markerfacecolor="white" if row.source == "model" else colour,
            capsize=3,
            label=label,
        )
        ticks.append(f"wild, {row.place}" if row.source == "field" else f"{row.place}, {row.zone}")
    panel.set_yticks(np.arange(len(ticks)), ticks, fontsize=8.5)
    panel.set_ylim(len(ticks) - 0.4, -0.6)
    panel.grid(axis="y", visible=False)
    panel.set_xlabel(_LABELS[name])


def _legend(figure, panels):
    """One entry for each kind of mark, below the panels."""
    kinds = {}
    for panel in panels:
        for handle, label in zip(*panel.get_legend_handles_labels()):
            kind = label if label.startswith(("places", "wild")) else f"enclosure, {label.rsplit(', ', 1)[1]}"
            kinds.setdefault(kind, handle)
    figure.legend(kinds.values(), kinds.keys(), loc="outside lower center", ncols=len(kinds), fontsize=8.5)


def _title(found, month):
    above, below = [], []
    for name, rows in found.table.groupby("quantity", sort=False):
        taken, points = rows[rows["place"] == "taken"], rows[rows["source"] != "field"]
        if not len(taken) or not len(points):
            continue
        if points["middle"].max() > taken["high"].iloc[0]:
            above.append(_LABELS[name].split(" (")[0])
        elif points["middle"].max() < taken["low"].iloc[0]:
            below.append(_LABELS[name].split(" (")[0])
    if not above and not below:
        return f"The enclosure{month} reaches into the range that wild animals took"
    parts = [f"above: {', '.join(above)}"] if above else []
    parts += [f"below: {', '.join(below)}"] if below else []
    return f"Beside what wild animals took, the enclosure{month} goes\n{'; '.join(parts)}"


def change(found, *, quantity="shade_air_c"):
    """Draw what a change would do to one quantity at every point.

    Parameters
    ----------
    found : fieldkit.captive.enclosure.WhatIf
        What `enclosure.what_if` returned.
    quantity : str
        One of those in its table.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> import fieldkit
    >>> from fieldkit.captive import enclosure
    >>> found = enclosure.what_if(fieldkit.demo_enclosure(), power_w={"spot": 50}, month=7)
    >>> len(change(found, quantity="surface_c").axes)
    1
    """
    rows = found.table[found.table["quantity"] == quantity]
    figure, axes = new_axes(width=7.2, height=1.8 + 0.45 * len(rows))
    with look():
        where = np.arange(len(rows))
        read = rows["now_from"] == "readings"
        for source, shape in (("readings", "o"), ("model", "v")):
            here = (rows["now_from"] == source).to_numpy()
            if here.any():
                axes.plot(
                    rows["now"][here], where[here] - 0.12, shape, color=COLOURS["available"], label=f"now, {source}"
                )
        axes.errorbar(
            rows["then"],
            where + 0.12,
            xerr=np.clip([rows["then"] - rows["then_low"], rows["then_high"] - rows["then"]], 0, None),
            fmt="s",
            color=COLOURS["captive"],
            capsize=3,
            label="after the change, 95 % limits",
        )
        axes.set_yticks(where, [f"{r.point_id}, {r.zone}" for r in rows.itertuples()])
        axes.set_ylim(len(rows) - 0.4, -0.6)
        axes.grid(axis="y", visible=False)
        axes.set_xlabel(_LABELS.get(quantity, quantity))
        axes.legend(fontsize=8.5, loc="best")
        most = rows.loc[rows["change"].abs().idxmax()] if len(rows) else None
        measured = "" if read.any() else " (nothing was read here: the model alone)"
        if most is not None:
            unit = f" {most['unit']}" if most["unit"] else ""
            axes.set_title(f"{most['point_id']} changes most, by {most['change']:+.1f}{unit}{measured}")
    return figure
