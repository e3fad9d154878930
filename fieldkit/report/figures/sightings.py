"""Pictures of animals seen incidentally."""

import numpy as np

from fieldkit.field.sightings import MONTHS, rate, uneven
from fieldkit.report.figures.style import COLOURS, look, new_axes


def seen(result):
    """Draw when animals were met: by solar hour and by month, as rates where the time watched is known.

    Parameters
    ----------
    result : fieldkit.field.sightings.Sightings
        What `sightings.of_season` returned.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> import fieldkit
    >>> from fieldkit.field import sightings
    >>> len(seen(sightings.of_season(fieldkit.demo_season(), n_resamples=99)).axes)
    2
    """
    figure, panels = new_axes(2, 1, height=6.4)
    whole, level = result.table.loc["all"], result.settings["level"]
    with look():
        for axes, table, what in zip(panels, (result.table, result.by_month), ("solar time (h; 12 is noon)", "month")):
            groups = table.drop(index="all")
            where = np.arange(len(groups))
            names = [MONTHS[name - 1] if what == "month" else name for name in groups.index]
            if result.rate_known:
                _rates(axes, where, groups, whole, level)
                below = [f"{name}\n{hours:.0f} h" for name, hours in zip(names, groups["hours_watched"])]
                axes.set_xlabel(f"{what}, and hours watched")
                axes.set_ylabel("sightings an hour")
                said = uneven(table)
                axes.set_title(said[0].upper() + said[1:])
            else:
                axes.bar(
                    where, groups["sightings"], width=0.6, color=COLOURS["available"], label=f"sightings by {what}"
                )
                below = names
                axes.set_xlabel(what)
                axes.set_ylabel("sightings (no rate)")
                axes.yaxis.get_major_locator().set_params(integer=True)
            axes.set_xticks(where, below)
            axes.set_ylim(bottom=0)
            axes.grid(axis="x", visible=False)
        if result.rate_known:
            # The rate over all heads the figure; what stands out heads each panel.
            figure.suptitle(rate(whole, level), fontsize=11.5, x=0.01, ha="left")
            figure.legend(*panels[0].get_legend_handles_labels(), loc="outside lower center", fontsize=9, ncols=2)
        else:
            counts = f"{whole['sightings']:.0f} sightings"
            panels[0].set_title(f"{counts}: counts and no rates, for how long was searched is not on record")
    return figure


def _rates(axes, where, groups, whole, level):
    axes.axhline(whole["sightings_per_h"], color=COLOURS["available"], linewidth=1.2, label="over all")
    reach = [groups["sightings_per_h"] - groups["low"], groups["high"] - groups["sightings_per_h"]]
    axes.errorbar(
        where, groups["sightings_per_h"], yerr=np.nan_to_num(reach).clip(min=0), fmt="D", color=COLOURS["used"],
        capsize=3, label=f"rate ({100 * level:g} % interval; none for fewer than five days)",
    )  # fmt: skip
