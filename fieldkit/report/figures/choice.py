"""Pictures of the choice test."""

import textwrap

import numpy as np

from fieldkit.field.choice import words as choice_words
from fieldkit.report.figures.style import COLOURS, LINES, MARKERS, look, new_axes

_TITLES = {
    "none": "No sign of selection",
    "undecided": "{who} chose, but on what cannot be told",
    "untestable": "Not testable",
}


_REASONS = {
    "repeats": "Whether anything was chosen cannot be told",
    "apart": "{who} chose, each in its own way",
    "one animal": "One of the animals chose; of the others it cannot be told",
    "unreliable": "{who} chose on what these instruments cannot vouch for",
}


def _title(comparison, who):
    if comparison.reason in _REASONS:
        return _REASONS[comparison.reason].format(who=who)
    title = _TITLES.get(comparison.verdict, "{who} chose on {verdict}").format(who=who, verdict=comparison.verdict)
    if not comparison.curves:
        return title
    bends = comparison.bends[comparison.bends.index.isin(comparison.curves)]
    if bends.empty:
        return f"{who} chose for an operative temperature, not for one driver by itself"
    link = "; each by itself, " if comparison.verdict == "undecided" else ": "
    # Broken here: a title wider than the panel would take the panel's width.
    return textwrap.fill(f"{title}{link}{_bends(comparison, bends)}", 72)


def _bends(comparison, bends):
    return choice_words.bent(bends, comparison.contrast["column"], comparison.modulator)


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
    >>> from fieldkit.field import choice; from fieldkit.field.planning import simulate
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
            row, unit = table.loc[name], _unit(comparison.settings["drivers"][name])
            told = (
                "error not stated"
                if np.isnan(value)
                else f"{row['true_sd']:.3g}{unit}, error {row['instrument_error']:.3g}{unit}"
            )
            # Beside the line at 1, never across it.
            at = 1 if np.isnan(value) or value < 1 else value
            axes.annotate(told, (at, y), (10, 0), textcoords="offset points", va="center", fontsize=9.5)
        axes.set_yticks(range(len(table)), table.index)
        axes.set_xlim(0, 1.4 * max(1.2, np.nanmax([*ratio, 1.2])))
        axes.set_ylim(-0.6, len(table) - 0.4)
        axes.set_xlabel("true differences, in errors of one reading (red: least that can be tested)")
        axes.set_title(_contrast_title(comparison.contrast["testable"]))
        axes.grid(axis="y", visible=False)
    return figure


def _contrast_title(testable):
    able, unable = (" and ".join(testable.index[testable == well]) for well in (True, False))
    if not able:
        return "The places of a set differed too little to test anything"
    return f"The places of a set differed enough to test {able}" + (f", not {unable}" if unable else "")


def odds(comparison, *, who="The animals"):
    """Draw odds ratios of the drivers: each alone, and side by side with reading errors allowed for.

    Where a bend decides, the bent relation stands above, with its 95 % band, over what was on offer.

    Parameters
    ----------
    comparison : fieldkit.field.choice.Comparison
        What `choice.compare` returned.
    who : str
        Who chose, for the title.

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    FieldkitError
        When the season was not testable.

    Examples
    --------
    >>> from fieldkit.field import choice; from fieldkit.field.planning import simulate
    >>> season = simulate.choice_season(n_sets=30, rng=1)
    >>> len(odds(choice.compare(season.choices, permutations=99)).axes)
    1
    """
    comparison.tested()
    alone = comparison.coefficients[comparison.coefficients["candidate"] == comparison.coefficients["driver"]]
    alone = alone.set_index("driver").iloc[::-1]
    beside = comparison.corrected
    # A driver that could not be tested alone is still held equal, and so has its second row.
    shown = [*[n for n in beside.index if n not in alone.index], *alone.index]
    curves, straight = comparison.curves, 2.0 + 0.9 * len(shown)
    heights = [*[3.2] * len(curves), straight]
    figure, panels = new_axes(len(heights), height=sum(heights), height_ratios=heights, squeeze=False)
    *above, axes = panels[:, 0]
    figure.get_layout_engine().set(h_pad=0.1 if above else 0.04)
    for panel, (name, curve) in zip(above, curves.items()):
        _relation(panel, name, curve, comparison)
    with look():
        axes.axvline(1, color=COLOURS["available"], linewidth=1.2, label="_no effect")
        for y, name in enumerate(shown):
            if name in alone.index:
                row = alone.loc[name]
                _interval(
                    axes, y + 0.14, row["odds_ratio_per_sd"], row["low_per_sd"], row["high_per_sd"],
                    COLOURS["available"], "o", f"{name} alone (95 % interval)",
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
        axes.set_yticks(range(len(shown)), shown)
        axes.set_ylim(-0.6, len(shown) - 0.4)
        axes.set_xlabel("odds ratio for one within-set standard deviation more (log scale)")
        axes.grid(axis="y", visible=False)
        panels[0, 0].set_title(_title(comparison, who))
        if above:
            axes.set_title("As if only more or less of each counted, on average over the season")
        kinds = [
            axes.errorbar([], [], xerr=[], fmt=marker, color=colour, markersize=7, capsize=3, label=f"_{words}")
            for marker, colour, words in (
                ("o", COLOURS["available"], "above, grey: alone (95 % interval)"),
                ("D", COLOURS["used"], "below: side by side, reading errors allowed for (90 % interval)"),
            )
        ]
        words = [kind.get_label()[1:] for kind in kinds]
        figure.legend(kinds, words, loc="outside lower center", fontsize=9)
    return figure


def _relation(axes, name, curve, comparison):
    """One bent relation: odds along a driver, or how selection for a driver changes with shade air."""
    by_air = name.endswith(("(changing with air)", "(changing with hour)"))
    driver = name.partition(" (")[0]
    column = comparison.contrast["column"].get(driver, "operative_c")
    colour = _colour(driver)
    with look():
        axes.axhline(1, color=COLOURS["available"], linewidth=1.2, label="_no selection")
        axes.fill_between(
            curve["value"], curve["low"], curve["high"], color=colour, alpha=0.25, linewidth=0,
            label=f"{name}, 95 % band",
        )  # fmt: skip
        axes.plot(curve["value"], curve["odds"], color=colour, linewidth=2, label=name)
        if by_air:
            step = f"{comparison.contrast.loc[driver, 'true_sd']:.3g}{_unit(column)}"
            axes.set_yscale("log")
            axes.set_yticks(ticks := _ticks(axes.get_ylim()), [f"{t:g}" for t in ticks])
            axes.minorticks_off()
            along = "hour of the choice set" if name.endswith("hour)") else "mean shade air of the choice set (°C"
            along += "; middle nine tenths of the sets)" if "(" in along else " (middle nine tenths of the sets)"
            axes.set_xlabel(along)
            axes.set_ylabel(f"odds ratio for\n{step} more {driver}")
        else:
            # Room above the curve for the legend.
            axes.set_ylim(0, 1.35 * min(curve["high"].max(), 4 * curve["odds"].max()))
            axes.set_xlabel(f"{_words(column)[:-1]}; middle nine tenths of the places on offer)")
            axes.set_ylabel("odds against\na middling place")
        axes.legend(fontsize=9, ncols=1 if by_air else 2, loc="best" if by_air else "upper left")


def _interval(axes, y, value, low, high, colour, marker, label):
    if not np.isfinite(value):
        return
    low, high = (value, value) if np.isnan(low) else (low, high)
    reach = [[value - low], [high - value]]
    axes.errorbar([value], [y], xerr=reach, fmt=marker, color=colour, markersize=7, capsize=3, label=label)


# Round factors for a log scale, from close to wide.
_LADDERS = (
    [0.5, 0.6, 0.7, 0.8, 0.9, 1, 1.1, 1.2, 1.4, 1.6, 1.8, 2],
    [0.2, 0.3, 0.4, 0.5, 0.7, 1, 1.4, 2, 3, 4, 5],
    [0.1, 0.2, 0.5, 1, 2, 5, 10],
    [0.001, 0.01, 0.1, 1, 10, 100, 1000],
)


def _ticks(limits):
    """The closest ladder whose steps do not crowd."""
    for ladder in map(np.array, _LADDERS):
        inside = ladder[(ladder >= limits[0]) & (ladder <= limits[1])]
        if len(inside) <= 10 and limits[0] > ladder[0] / 2 and limits[1] < 2 * ladder[-1]:
            break
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
    >>> from fieldkit.field import choice; from fieldkit.field.planning import simulate
    >>> season = simulate.choice_season(n_sets=30, rng=1)
    >>> len(standing(choice.compare(season.choices, permutations=99)).axes)
    1
    """
    figure, axes = new_axes()
    share = np.linspace(0, 1, len(comparison.standing))
    with look():
        axes.plot([0, 1], [0, 1], color=COLOURS["available"], linewidth=1.2, label="random choice")
        for name, values in comparison.standing.items():
            label = f"{name}, mean {values.mean():.2f}"
            axes.plot(np.sort(values), share, LINES.get(name, "-"), color=_colour(name), linewidth=2, label=label)
        axes.set_xlabel("share of the other places that the used place exceeded")
        axes.set_ylabel("share of the choice sets")
        mean = comparison.standing.mean()
        most = (mean - 0.5).abs().idxmax()
        axes.set_title(f"The used place stood out most in {most}: mean {mean[most]:.2f}, random 0.50")
        axes.legend(loc="upper left")
    return figure


def candidates(comparison):
    """Draw the weight of evidence for each candidate model.

    Parameters
    ----------
    comparison : fieldkit.field.choice.Comparison
        What `choice.compare` returned.

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    FieldkitError
        When the season was not testable.

    Examples
    --------
    >>> from fieldkit.field import choice; from fieldkit.field.planning import simulate
    >>> season = simulate.choice_season(n_sets=30, rng=1)
    >>> len(candidates(choice.compare(season.choices, permutations=99)).axes)
    1
    """
    comparison.tested()
    table = comparison.table.iloc[::-1]
    figure, axes = new_axes(height=1.8 + 0.36 * len(table))
    with look():
        # A bend has the colour of its driver; what is of several drivers, or of none, is grey.
        alone = [name.partition(" (")[0] for name in table.index]
        colours = [_colour(n) if n in comparison.contrast.index else COLOURS["available"] for n in alone]
        axes.barh(range(len(table)), table["weight"], color=colours, label="AICc weight")
        for y, (_, row) in enumerate(table.iterrows()):
            at = (row["weight"], y)
            told = f"ΔAICc {row['delta_aicc']:.1f}"
            axes.annotate(told, at, (5, 0), textcoords="offset points", va="center", fontsize=9)
        axes.set_yticks(range(len(table)), table.index)
        axes.set_xlim(0, min(1.2, table["weight"].max() * 1.25))
        axes.set_xlabel("AICc weight (relative likelihood of the model among these)")
        best = comparison.table["weight"].idxmax()
        axes.set_title(f"Best supported, with a weight of {comparison.table['weight'].max():.2f}: {best}")
        axes.grid(axis="y", visible=False)
    return figure


def preference(result):
    """Draw the hump of preference, with its band and the preferred value.

    Parameters
    ----------
    result : fieldkit.field.choice.preference.Preference
        What `preference.preferred_value` returned.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> from fieldkit.field.planning import simulate
    >>> from fieldkit.field.choice.preference import preferred_value
    >>> season = simulate.choice_season(n_sets=200, driver="operative", rng=2)
    >>> len(preference(preferred_value(season.choices)).axes)
    1
    """
    figure, axes = new_axes()
    curve = result.curve
    with look():
        axes.axvspan(*result.readings, color=COLOURS["available"], alpha=0.15, linewidth=0, label="_offered")
        axes.fill_between(
            curve["value"], curve["low"], curve["high"], color=COLOURS["field"], alpha=0.2, linewidth=0,
            label=f"{100 * result.settings['level']:g} % band",
        )  # fmt: skip
        axes.plot(
            curve["value"], curve["relative_odds"], color=COLOURS["field"], linewidth=2, label="odds of being used"
        )
        name = result.settings["column"]
        if result.preferred is not None:
            p = result.preferred
            y = curve["relative_odds"].max()
            ends = np.clip([p.low, p.high], curve["value"].min(), curve["value"].max())
            inside = np.clip(p.estimate, *ends)
            axes.errorbar(
                [p.estimate], [y], xerr=[[inside - ends[0]], [ends[1] - inside]], fmt="D", color=COLOURS["used"],
                capsize=3, label=f"preferred value ({100 * result.preferred.level:g} % interval)",
            )  # fmt: skip
            title = f"{_words(name).partition(' (')[0]}: {p.estimate:.3g}{_unit(name)} ({p.low:.3g} to {p.high:.3g})"
            axes.set_title(f"Preferred {title}")
        else:
            axes.set_title("No preferred value: the choices do not bend over")
        if curve["relative_odds"].notna().any():
            axes.set_ylim(0, 1.6 * curve["relative_odds"].max())
        axes.set_xlabel(f"{_words(name)} (grey: 5 to 95 % of the places on offer)")
        axes.set_ylabel("odds against a middling place")
        axes.legend(loc="upper left")
    return figure


def switch(result):
    """Draw how selection for radiation changes with shade air, and where it turns round.

    Parameters
    ----------
    result : fieldkit.field.choice.preference.SwitchPoint
        What `preference.switch_point` returned.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> from fieldkit.field.planning import simulate
    >>> from fieldkit.field.choice.preference import switch_point
    >>> season = simulate.choice_season(n_sets=200, switch_air_c=24, rng=2)
    >>> len(switch(switch_point(season.choices)).axes)
    1
    """
    figure, axes = new_axes()
    curve = result.curve
    with look():
        axes.axhline(1, color=COLOURS["available"], linewidth=1.2, label="_no selection")
        axes.fill_between(
            curve["context"], curve["low"], curve["high"], color=COLOURS["radiation"], alpha=0.25, linewidth=0,
            label=f"{100 * result.settings['level']:g} % band",
        )  # fmt: skip
        axes.plot(curve["context"], curve["odds_ratio"], color=COLOURS["radiation"], linewidth=2, label="odds ratio")
        axes.set_yscale("log")
        axes.set_yticks(ticks := _ticks(axes.get_ylim()), [f"{t:g}" for t in ticks])
        axes.minorticks_off()
        if result.switch is not None and result.reached:
            s = result.switch
            low, high = np.clip([s.low, s.high], *result.seen)
            axes.errorbar(
                [s.estimate], [1], xerr=[[s.estimate - low], [high - s.estimate]], fmt="D", color=COLOURS["used"],
                capsize=3, label=f"switch point ({100 * result.switch.level:g} % interval)",
            )  # fmt: skip
            axes.set_title(f"Selection turns round at {s.estimate:.3g} °C of shade air ({s.low:.3g} to {s.high:.3g})")
        else:
            axes.set_title("The season shows no switch point")
        axes.set_xlabel("mean shade air temperature of the choice set (°C)")
        driver, step = result.settings["driver"], result.settings["within_set_sd"]
        axes.set_ylabel(f"odds ratio for {step:.3g}{_unit(driver)} more")
        axes.legend(loc="upper right")
    return figure


def animals(result):
    """Draw the strength of selection of each animal, and the pooled one.

    Parameters
    ----------
    result : fieldkit.field.choice.checks.AnimalSlopes
        What `choice_checks.animal_slopes` returned.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> from fieldkit.field.planning import simulate
    >>> from fieldkit.field.choice.checks import animal_slopes
    >>> len(animals(animal_slopes(simulate.choice_season(n_sets=100, rng=2).choices)).axes)
    1
    """
    table = result.table.sort_values("log_odds_per_sd")
    figure, axes = new_axes(height=1.8 + 0.24 * len(table))
    colour, level = _colour(result.settings["driver"]), 100 * result.settings["level"]
    y = np.arange(1, len(table) + 1)
    centre = table["log_odds_per_sd"]
    with look():
        axes.axvline(0, color=COLOURS["available"], linewidth=1.2, label="_no selection")
        axes.axvspan(*result.prediction, color=colour, alpha=0.15, linewidth=0, label="_prediction")
        axes.errorbar(
            centre, y, xerr=[centre - table["low"], table["high"] - centre], fmt="o", color=COLOURS["available"],
            markersize=5, label=f"one animal ({level:g} % interval)",
        )  # fmt: skip
        reach = [[result.estimate - result.low], [result.high - result.estimate]]
        axes.errorbar(
            [result.estimate], [0], xerr=reach, fmt="D", color=colour, capsize=3,
            label=f"average animal ({level:g} % interval)",
        )  # fmt: skip
        axes.set_yticks(range(len(table) + 1), ["average", *(str(name) for name in table.index)])
        axes.set_xlabel("log odds per within-set standard deviation (shaded: where a new animal should lie)")
        alike = "Animals differ" if result.tau_p < 0.05 else "No sign that animals differ"
        axes.set_title(f"{alike} in how strongly they select {result.settings['driver']}")
        figure.legend(loc="outside lower center", fontsize=9, ncols=2)
        axes.grid(axis="y", visible=False)
    return figure


def _words(column):
    for ending, unit in (("_w_m2", " (W/m²)"), ("_c", " temperature (°C)")):
        if column.endswith(ending):
            return column.removesuffix(ending).replace("_", " ").replace("irradiance", "radiation") + unit
    return column


def _unit(column):
    return next((unit for ending, unit in (("_w_m2", " W/m²"), ("_c", " °C")) if column.endswith(ending)), "")
