"""Pictures of thermoregulation: where bodies and places lie against the preferred range, and how far off on average."""

import numpy as np

from fieldkit.report.figures.style import COLOURS, look, new_axes


def distances(indices):
    """Draw body and operative temperatures against the preferred range, and their mean distances from it.

    Parameters
    ----------
    indices : fieldkit.field.thermoregulation.Indices
        What `thermoregulation.indices` returned.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> from fieldkit.field import thermoregulation
    >>> found = thermoregulation.indices([31, 33, 35], [20, 33, 45], (32, 36))
    >>> len(distances(found).axes)
    2
    """
    figure, (left, right) = new_axes(1, 2, width=8.6, height=4.2, width_ratios=[1.9, 1])
    low, high = indices.preferred_range_c
    colours = {"animals": COLOURS["field"], "places": COLOURS["available"]}
    names = {"animals": "bodies of animals", "places": "places (operative)"}
    with look():
        every = indices.distances["temperature_c"]
        edges = np.linspace(np.floor(every.min()), np.ceil(every.max()), 25)
        for of, group in indices.distances.groupby("of", sort=False):
            share, _ = np.histogram(group["temperature_c"], bins=edges)
            left.stairs(
                100 * share / len(group),
                edges,
                fill=of == "places",
                alpha=0.55 if of == "places" else 1.0,
                linewidth=2,
                color=colours[of],
                label=f"{names[of]}, n {len(group)}",
            )
        left.axvspan(low, high, color=COLOURS["radiation"], alpha=0.2, linewidth=0, label="preferred range")
        left.set_xlabel("temperature (°C)")
        left.set_ylabel("share of readings (%)")
        left.legend(fontsize=8.5, loc="best")
        left.set_title(_title(indices))

        rows = indices.table.loc[["accuracy", "thermal quality"]]
        for place, (of, (name, row)) in enumerate(zip(colours, rows.iterrows())):
            right.bar(place, row["estimate"], color=colours[of], width=0.6, label=f"mean distance, {of}")
            if np.isfinite(row["low"]):
                ends = np.clip([[row["estimate"] - row["low"]], [row["high"] - row["estimate"]]], 0, None)
                right.errorbar(place, row["estimate"], yerr=ends, color="black", capsize=4, label=f"{name}, interval")
        right.set_xticks([0, 1], ["animals\n(db)", "places\n(de)"])
        right.set_ylabel("mean distance from the range (°C)")
        right.grid(axis="x", visible=False)
    return figure


def _title(indices):
    row = indices.table.loc["effectiveness"]
    if np.isnan(row["estimate"]):
        return "Every place lies in the preferred range"
    sure = ""
    if np.isfinite(row["low"]):
        sure = f" ({100 * indices.settings['level']:g} % interval {row['low']:.2f} to {row['high']:.2f})"
    return f"Effectiveness of thermoregulation {row['estimate']:.2f}{sure}"
