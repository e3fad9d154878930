"""Picture of a plan: chance of a right verdict against the number of choice sets."""

import numpy as np

from fieldkit.report.figures.style import COLOURS, look, new_axes

_STYLES = (("air", "-", "o"), ("surface", "--", "s"), ("field", "-.", "^"), ("captive", ":", "D"))


def curve(plan):
    """Draw the planning curve: simulated seasons with their error, the curve between them, and the target.

    Parameters
    ----------
    plan : fieldkit.field.planning.Plan
        What `planning.plan` returned.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> from fieldkit.field import planning
    >>> found = planning.plan(effect=3.0, n_sets=(30, 60), n_seasons=4, permutations=19)
    >>> curve(found).axes[0].get_xlabel()
    'choice sets'
    """
    figure, axes = new_axes()
    target = plan.settings["target"]
    with look():
        for (animals, part), (colour, line, marker) in zip(plan.curve.groupby("animals"), _STYLES * 9):
            colour = COLOURS[colour]
            axes.fill_between(
                part["sets"],
                part["low"],
                part["high"],
                color=colour,
                alpha=0.15,
                linewidth=0,
                label=f"{animals} animals, interval of the simulation",
            )
            axes.plot(part["sets"], part["right"], line, color=colour, label=f"{animals} animals, curve")
            tried = plan.table[plan.table["animals"] == animals]
            axes.errorbar(
                tried["sets"],
                tried["right"],
                yerr=np.clip([tried["right"] - tried["low"], tried["high"] - tried["right"]], 0, None),
                fmt=marker,
                markersize=5,
                color=colour,
                elinewidth=1,
                label=f"{animals} animals, {tried['seasons'].iloc[0]} seasons each",
            )
        axes.axhline(target, color=COLOURS["limit"], linewidth=1.2, label=f"wanted, {100 * target:.0f} %")
        axes.set_ylim(0, 1.02)
        axes.set_xlabel("choice sets")
        axes.set_ylabel(f"chance of the verdict “{plan.settings['driver']}”")
        axes.set_title(_title(plan))
        axes.legend(loc="lower right", fontsize=8.5)
    return figure


def _title(plan):
    found = plan.needed[plan.needed["status"] == "found"]
    wanted = f"the right verdict in {100 * plan.settings['target']:.0f} % of seasons"
    if found.empty:
        if (plan.needed["status"] == "more than tried").all():
            return f"Not even {plan.table['sets'].max()} choice sets give {wanted}"
        return f"{plan.table['sets'].min()} choice sets give {wanted}"
    best = found["sets"].idxmin()
    return f"About {found.loc[best, 'sets']:.0f} choice sets of {best} animals give {wanted}"
