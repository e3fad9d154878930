"""Pictures of the choice test."""

import numpy as np

from fieldkit.report.figures.style import COLOURS, LINES, MARKERS, look, new_axes

_TITLES = {
    "none": "No sign of selection",
    "undecided": "The animals chose, but on what cannot be told",
    "untestable": "Not testable",
}


def _title(comparison):
    return _TITLES.get(comparison.verdict, f"The animals chose on {comparison.verdict}")


def _colour(driver):
    return COLOURS.get(driver, COLOURS["field"])


def contrast(comparison):
    """Draw how much each driver differed between the places of a set, against the instrument's error.

    Parameters
    ----------
    comparison : fieldkit.field.choice.Comparison
        What `choice.compare` returned.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> from fieldkit.field import choice, simulate
    >>> season = simulate.choice_season(n_sets=30, rng=1)
    >>> answer = choice.compare(season.choices, instrument_errors=simulate.INSTRUMENT_ERRORS, permutations=99)
    >>> len(contrast(answer).axes)
    1
    """
    table = comparison.contrast.iloc[::-1]
    ratio = (table["true_sd"] / table["instrument_error"]).replace(np.inf, np.nan)
    figure, axes = new_axes(height=1.6 + 0.6 * len(table))
    with look():
        axes.axvline(1, color=COLOURS["limit"], label="least that can be tested")
        for y, (name, value) in enumerate(ratio.items()):
            marker = MARKERS.get(name, "o")
            axes.plot([0, value], [y, y], color=_colour(name), linewidth=2, label=f"_{name}")
            axes.plot([value], [y], marker, color=_colour(name), markersize=9, linestyle="none", label=name)
            row = table.loc[name]
            told = (
                "error not stated" if np.isnan(value) else f"{row['true_sd']:.3g} against {row['instrument_error']:.3g}"
            )
            axes.annotate(
                told,
                (0 if np.isnan(value) else value, y),
                (10, 0),
                textcoords="offset points",
                va="center",
                fontsize=9.5,
            )
        axes.set_yticks(range(len(table)), table.index)
        axes.set_xlim(0, 1.35 * max(1.2, np.nanmax([*ratio, 1.2])))
        axes.set_ylim(-0.6, len(table) - 0.4)
        axes.set_xlabel("true differences between places / error of one reading (standard deviations)")
        able = list(comparison.contrast.index[comparison.contrast["testable"]])
        axes.set_title(
            f"There was contrast to select on in: {', '.join(able)}" if able else "There was no contrast to select on"
        )
        axes.grid(axis="y", visible=False)
    return figure


def odds(comparison):
    """Draw odds ratios of the drivers: each alone, and side by side with reading errors allowed for.

    Parameters
    ----------
    comparison : fieldkit.field.choice.Comparison
        What `choice.compare` returned; not "untestable".

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> from fieldkit.field import choice, simulate
    >>> season = simulate.choice_season(n_sets=30, rng=1)
    >>> len(odds(choice.compare(season.choices, permutations=99)).axes)
    1
    """
    alone = comparison.coefficients[comparison.coefficients["candidate"] == comparison.coefficients["driver"]]
    alone = alone.set_index("driver").iloc[::-1]
    beside = comparison.corrected
    figure, axes = new_axes(height=2.0 + 0.9 * len(alone))
    with look():
        axes.axvline(1, color=COLOURS["available"], linewidth=1.2, label="_no effect")
        for y, name in enumerate(alone.index):
            row = alone.loc[name]
            _interval(
                axes, y + 0.14, row["odds_ratio_per_sd"], row["low_per_sd"], row["high_per_sd"], COLOURS["available"],
                "o", f"{name} alone (95 % interval)",
            )  # fmt: skip
            if name in beside.index:
                row = beside.loc[name]
                _interval(
                    axes, y - 0.14, row["odds_ratio_per_sd"], row["low"], row["high"], _colour(name),
                    MARKERS.get(name, "s"), f"{name} side by side, reading errors allowed for (90 % interval)",
                )  # fmt: skip
        axes.set_xscale("log")
        axes.set_xticks(ticks := _ticks(axes.get_xlim()), [f"{t:g}" for t in ticks])
        axes.minorticks_off()
        axes.set_yticks(range(len(alone)), alone.index)
        axes.set_ylim(-0.6, len(alone) - 0.4)
        axes.set_xlabel("odds ratio for one within-set standard deviation more (log scale)")
        axes.set_title(_title(comparison))
        axes.grid(axis="y", visible=False)
        axes.legend(loc="upper left", bbox_to_anchor=(0, -0.2 - 0.12 / len(alone)), fontsize=9)
    return figure


def _interval(axes, y, value, low, high, colour, marker, label):
    if not np.isfinite(value):
        return
    low, high = (value, value) if np.isnan(low) else (low, high)
    reach = [[value - low], [high - value]]
    axes.errorbar([value], [y], xerr=reach, fmt=marker, color=colour, markersize=7, capsize=3, label=label)


def _ticks(limits):
    steps = np.array([0.1, 0.2, 0.25, 0.5, 0.7, 1, 1.4, 2, 3, 4, 5, 8, 10, 20, 50, 100, 1000])
    inside = steps[(steps >= limits[0]) & (steps <= limits[1])]
    return inside if len(inside) > 1 else np.array([limits[0], 1.0, limits[1]])


def standing(comparison):
    """Draw where the used place stood among the places of its set, for each driver, against random choice.

    Parameters
    ----------
    comparison : fieldkit.field.choice.Comparison
        What `choice.compare` returned.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> from fieldkit.field import choice, simulate
    >>> season = simulate.choice_season(n_sets=30, rng=1)
    >>> len(standing(choice.compare(season.choices, permutations=99)).axes)
    1
    """
    figure, axes = new_axes()
    share = np.linspace(0, 1, len(comparison.standing))
    with look():
        axes.plot([0, 1], [0, 1], color=COLOURS["available"], linewidth=1.2, label="random choice")
        for name, values in comparison.standing.items():
            axes.plot(np.sort(values), share, LINES.get(name, "-"), color=_colour(name), linewidth=2, label=name)
        axes.set_xlabel("share of the other places that the used place exceeded")
        axes.set_ylabel("share of the choice sets")
        mean = comparison.standing.mean()
        most = (mean - 0.5).abs().idxmax()
        axes.set_title(f"The used place stood out most in {most}: mean {mean[most]:.2f}, random 0.50")
        axes.set_aspect("equal")
        axes.legend(loc="upper left")
    return figure


def candidates(comparison):
    """Draw the weight of evidence for each candidate model.

    Parameters
    ----------
    comparison : fieldkit.field.choice.Comparison
        What `choice.compare` returned; not "untestable".

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> from fieldkit.field import choice, simulate
    >>> season = simulate.choice_season(n_sets=30, rng=1)
    >>> len(candidates(choice.compare(season.choices, permutations=99)).axes)
    1
    """
    table = comparison.table.iloc[::-1]
    figure, axes = new_axes(height=1.8 + 0.36 * len(table))
    with look():
        colours = [_colour(n) if n in comparison.contrast.index else COLOURS["available"] for n in table.index]
        axes.barh(range(len(table)), table["weight"], color=colours, label="AICc weight")
        for y, (_, row) in enumerate(table.iterrows()):
            at = (row["weight"], y)
            told = f"ΔAICc {row['delta_aicc']:.1f}"
            axes.annotate(told, at, (5, 0), textcoords="offset points", va="center", fontsize=9)
        axes.set_yticks(range(len(table)), table.index)
        axes.set_xlim(0, min(1.2, table["weight"].max() * 1.25))
        axes.set_xlabel("AICc weight (relative likelihood of the model among these)")
        best = comparison.table["weight"].idxmax()
        axes.set_title(f"Best supported: {best} (weight {comparison.table['weight'].max():.2f})")
        axes.grid(axis="y", visible=False)
    return figure
