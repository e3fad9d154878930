"""Figures of the two lessons, and sliders that redraw them; where nothing is live, the first drawing stays."""

import numpy as np

from fieldkit.classroom import lessons as classroom
from fieldkit.physics import sensors
from fieldkit.report.figures.readings import sun_and_shade
from fieldkit.report.figures.style import COLOURS, describe, folded, look, new_axes, png

_COVER_LOOK = {
    "black card": (COLOURS["used"], "s", "-"),
    "white card": (COLOURS["sky"], "o", "--"),
    "foil": (COLOURS["radiation"], "^", "-."),
}
_OTHER = (COLOURS["field"], "D", ":")


def minutes(sheet):
    """Draw how far the sunlit thermometer read from the shaded one, minute by minute.

    Parameters
    ----------
    sheet : pandas.DataFrame
        Columns group, cover, minute, shade_c, sun_c.

    Returns
    -------
    matplotlib.figure.Figure
    """
    apart = sheet.assign(apart_c=sheet["sun_c"] - sheet["shade_c"])
    with look():
        figure, axes = new_axes(height=4.0)
        for cover, part in apart.groupby("cover", sort=False):
            colour, marker, line = _COVER_LOOK.get(cover, _OTHER)
            for _, group in part.groupby("group"):
                axes.plot(group["minute"], group["apart_c"], color=colour, lw=0.6, alpha=0.5)
            mean = part.groupby("minute")["apart_c"].mean()
            axes.plot(
                mean.index, mean, color=colour, marker=marker, ls=line, lw=1.8, ms=5, label=f"{cover}, class mean"
            )
        axes.axvline(classroom.BOTH_IN_SHADE_UNTIL, color=COLOURS["limit"], lw=1.2, label="into the sun")
        axes.set_xlabel("minute")
        axes.set_ylabel("sunlit minus shaded thermometer (°C)")
        axes.legend(fontsize=9, loc="upper left", bbox_to_anchor=(0.18, 1))
        last = apart[apart["minute"] >= classroom.AT_REST_FROM].groupby("cover", sort=False)["apart_c"].mean()
        told = ", ".join(f"{cover} {value:+.1f} °C" for cover, value in last.items())
        axes.set_title(f"The same air, read in the sun: {told}" if told else "Nobody has read to the end yet")
    return figure


def covers(answer):
    """Draw how much warmer the sunlit thermometer read under each cover: groups, mean and its 95 % interval.

    Parameters
    ----------
    answer : fieldkit.classroom.lessons.CoverTest
        From `classroom.compare_covers`.

    Returns
    -------
    matplotlib.figure.Figure
    """
    table = answer.table
    with look():
        figure, axes = new_axes(height=1.6 + 0.6 * len(table))
        levels = np.arange(len(table))[::-1]
        for level, row in zip(levels, table.itertuples()):
            colour, marker, _ = _COVER_LOOK.get(row.cover, _OTHER)
            groups = answer.by_group.loc[answer.by_group["cover"] == row.cover, "warmer_c"]
            beside = np.full(len(groups), level - 0.22)
            axes.plot(
                groups, beside, "o", mfc="none", color=COLOURS["available"], ms=5, label=f"{row.cover}, each group"
            )
            if np.isfinite(row.low_c):
                axes.hlines(level, row.low_c, row.high_c, color=colour, lw=2, label=f"{row.cover}, 95 % interval")
            axes.plot([row.warmer_c], [level], marker, color=colour, ms=8, label=f"{row.cover}, mean")
        axes.axvline(0, color=COLOURS["air"], lw=1.2, label="as the shaded one")
        axes.set_yticks(levels, table["cover"])
        axes.set_ylim(-0.6, len(table) - 0.4)
        axes.set_xlabel("sunlit thermometer above the shaded one (°C)")
        top = table.loc[table["warmer_c"].idxmax()]
        axes.set_title(f"Under {top['cover']} the thermometer read {top['warmer_c']:.1f} °C above the air it hung in")
    return figure


def chances(values, *, odds_per_step, step=5.0):
    """Draw how often a lizard would take each place.

    Parameters
    ----------
    values : sequence of float
        What the black-card thermometer reads above the shaded one (°C), place by place.
    odds_per_step : float
        Factor on the odds for each step more; 1 is no preference.
    step : float
        Step (°C).

    Returns
    -------
    matplotlib.figure.Figure
    """
    share = classroom.chances(values, odds_per_step=odds_per_step, step=step)
    names = [f"P{n}\n{value:g} °C" for n, value in enumerate(values, start=1)]
    with look():
        figure, axes = new_axes(height=3.2)
        axes.bar(range(len(names)), 100 * share, color=COLOURS["radiation"], edgecolor="black", label="chance")
        axes.axhline(100 / len(names), color=COLOURS["limit"], lw=1.2, label="no preference")
        axes.set_xticks(range(len(names)), names)
        axes.set_ylim(0, 100)
        axes.set_ylabel("chance of being chosen (%)")
        axes.set_xlabel("place, and black-card thermometer above the shaded one")
        axes.legend(fontsize=9)
        axes.set_title(f"The sunniest place is taken {100 * share[np.argmax(values)]:.0f} times in 100")
    return figure


def explore_thermometer():
    """Show sliders for sun, wind and air above the figure of what thermometers under three covers read."""
    import ipywidgets

    sliders = {
        "dni_w_m2": _slider(ipywidgets, "sun (W/m²)", 700, 0, 1000, 50),
        "wind_speed_m_s": _slider(ipywidgets, "wind (m/s)", 1.0, 0.1, 5, 0.1),
        "air_temperature_c": _slider(ipywidgets, "air (°C)", 20, 0, 40, 1),
    }

    def draw(**at):
        # The pupil sets the wind, so it is known here.
        result = sensors.compare_instruments(
            classroom.COVERS, dhi_w_m2=0.15 * at["dni_w_m2"], wind_error_share=0.0, **at
        )
        return sun_and_shade(result), result.sentence

    _live(ipywidgets, sliders, draw, "What a thermometer under black card, white card and foil reads in sun and shade")


def explore_choice(values=(1.0, 3.0, 5.0, 8.0, 12.0)):
    """Show a slider for how much a lizard seeks the sun above the figure of the places it would take.

    Parameters
    ----------
    values : sequence of float
        What the black-card thermometer reads above the shaded one (°C), place by place.
    """
    import ipywidgets

    sliders = {"odds_per_step": _slider(ipywidgets, "odds × per 5 °C", 3.0, 0.25, 10, 0.25)}

    def draw(odds_per_step):
        figure = chances(values, odds_per_step=odds_per_step)
        wish = "seeks" if odds_per_step > 1 else "flees" if odds_per_step < 1 else "does not mind"
        return (
            figure,
            f"A lizard that {wish} the sun: each 5 °C more multiplies the odds of a place by {odds_per_step:g}.",
        )

    _live(ipywidgets, sliders, draw, "How often a lizard takes each of five places")


def _slider(ipywidgets, name, value, low, high, step):
    return ipywidgets.FloatSlider(
        value=value, min=low, max=high, step=step, description=name, continuous_update=False,
        style={"description_width": "9em"}, layout={"width": "28em"},
    )  # fmt: skip


def _live(ipywidgets, sliders, draw, alt):
    """Sliders, a sentence and a figure that follow them; the stored output is the figure at the start."""
    from IPython.display import Image, display

    sentence = ipywidgets.HTML()

    def drawn():
        figure, sentence.value = draw(**{name: slider.value for name, slider in sliders.items()})
        described = describe(figure, alt)
        picture = Image(png(figure), format="png", alt=described), {"image/png": {"alt": described}}
        return picture, folded(figure, alt)

    (image, metadata), words = drawn()
    display(ipywidgets.VBox([*sliders.values(), sentence]))
    picture = display(image, metadata=metadata, display_id=True)
    of_figure = {"fieldkit": {"words_of_figure": True}}
    below = display(words, raw=True, metadata=of_figure, display_id=True)

    def redraw(_):
        (image, metadata), words = drawn()
        picture.update(image, metadata=metadata)
        below.update(words, raw=True, metadata=of_figure)

    for slider in sliders.values():
        slider.observe(redraw, names="value")
