"""Pictures of the basking window."""

import numpy as np

from fieldkit.report.figures.style import COLOURS, look, new_axes


def response(window):
    """Draw the chance of basking against shade air: looks in bins, the fitted curve with its band, and the limits.

    Parameters
    ----------
    window : fieldkit.field.basking.Window
        What `basking.window` returned.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> import pandas as pd
    >>> from fieldkit.field import basking
    >>> air = [20, 25, 30, 35, 40] * 6
    >>> done = [air[i] in (25, 30, 35) and i % 3 != 0 or i % 7 == 1 for i in range(30)]
    >>> scans = pd.DataFrame({"shade_air_c": air, "behaviour": ["basking" if d else "retreat" for d in done]})
    >>> len(response(basking.window(scans, cluster=None)).axes)
    1
    """
    figure, axes = new_axes(height=5.2)
    level = 100 * window.settings["level"]
    with look():
        curve, bins = window.curve, window.binned
        axes.fill_between(
            curve["shade_air_c"],
            curve["low"],
            curve["high"],
            color=COLOURS["air"],
            alpha=0.18,
            linewidth=0,
            label=f"{level:g} % band of the curve",
        )
        axes.plot(curve["shade_air_c"], curve["probability"], color=COLOURS["air"], label="fitted curve")
        axes.errorbar(
            bins["shade_air_c"],
            bins["share"],
            yerr=np.clip([bins["share"] - bins["low"], bins["high"] - bins["share"]], 0, None),
            fmt="o",
            markersize=5,
            color=COLOURS["used"],
            ecolor=COLOURS["available"],
            elinewidth=1,
            label="share of scans, in bins",
        )
        for (name, row), marker in zip(window.table.iterrows(), ("<", "D", ">")):
            if np.isnan(row["estimate_c"]):
                continue
            colour = COLOURS["field"] if name == "peak" else COLOURS["limit"]
            # An interval without an end is drawn to the end of the scanned temperatures.
            ends = np.clip([row["low_c"], row["high_c"]], *window.scanned_c)
            axes.plot(ends, [row["probability"]] * 2, color=colour, linewidth=2.5, label=f"{name}, interval")
            axes.plot(row["estimate_c"], row["probability"], marker, color=colour, markersize=8, label=name)
        axes.set_xlabel("shade air temperature (°C)")
        axes.set_ylabel(f"chance that a scan finds the animal {' or '.join(window.settings['behaviours'])}", wrap=True)
        axes.set_ylim(0, min(1.0, 1.15 * max(bins["high"].max(), curve["high"].max())))
        axes.set_title(_title(window))
        figure.legend(loc="outside lower center", fontsize=8.5, ncols=3)
    return figure


def _title(window):
    limits = window.table.loc[["lower limit", "upper limit"]]
    lower, upper = limits["estimate_c"]
    doing = " or ".join(window.settings["behaviours"])
    if np.isfinite([lower, upper]).all():
        low, high = (f"{row.estimate_c:.1f} ({row.low_c:.1f} to {row.high_c:.1f})" for row in limits.itertuples())
        return f"{doing.capitalize()} between {low} and {high} °C of shade air"
    if np.isfinite(lower):
        return f"{doing.capitalize()} above {lower:.1f} °C of shade air; no upper limit seen"
    if np.isfinite(upper):
        return f"{doing.capitalize()} below {upper:.1f} °C of shade air; no lower limit seen"
    return f"No limit of {doing} seen in shade air of {window.scanned_c[0]:.0f} to {window.scanned_c[1]:.0f} °C"
