"""Figures of lamps: beam and readings, map with the animal to scale, bands beside the sun, height."""

import numpy as np

from fieldkit.captive.lamps.beam import QUANTITIES
from fieldkit.report.figures.style import COLOURS, LINES, look, new_axes


def beam(fit):
    """Draw a fitted beam: readings on the axis against distance, and all readings against angle.

    Parameters
    ----------
    fit : BeamFit
        See `captive.lamps.fit_beam`.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> import pandas as pd
    >>> from fieldkit.captive import lamps
    >>> places = pd.DataFrame({"distance_m": [0.2, 0.3, 0.45, 0.6, 0.3, 0.3], "angle_deg": [0, 0, 0, 0, 15, 30]})
    >>> truth = lamps.Beam(intensity=60.0, near_m=0.05, half_angle_deg=25.0)
    >>> readings = places.assign(irradiance_w_m2=truth.at(*places.to_numpy().T))
    >>> len(beam(lamps.fit_beam(readings, meter_error=0.05)).axes)
    2
    """
    readings = fit.readings
    unit = QUANTITIES[fit.quantity]
    least = readings["angle_deg"].min()
    on_axis = readings[np.isclose(readings["angle_deg"], least)]
    distance = np.geomspace(0.8 * readings["distance_m"].min(), 1.25 * readings["distance_m"].max(), 80)
    from_reading = readings.loc[fit.guess_from]
    figure, (left, right) = new_axes(1, 2, width=8.6, height=4.2)
    with look():
        low, high = fit.beam.interval(distance, least, level=fit.level)
        span = f"{100 * fit.level:g} % limits"
        left.fill_between(distance, low, high, color=COLOURS["captive"], alpha=0.25, linewidth=0, label=span)
        left.plot(distance, fit.beam.at(distance, least), color=COLOURS["captive"], label="fitted beam")
        left.plot(
            distance,
            from_reading["reading"] * (from_reading["distance_m"] / distance) ** 2,
            color=COLOURS["available"],
            linestyle=LINES["surface"],
            label="inverse-square guess from one reading",
        )
        left.errorbar(
            on_axis["distance_m"],
            on_axis["reading"],
            yerr=on_axis["error"],
            color=COLOURS["used"],
            linestyle="",
            marker="o",
            label="readings (±1 standard error)",
        )
        left.set_xscale("log")
        left.set_yscale("log")
        ticks = [t for t in (0.1, 0.15, 0.2, 0.3, 0.4, 0.6, 0.8, 1.0, 1.5) if distance[0] <= t <= distance[-1]]
        left.set_xticks(ticks, [f"{t:g}" for t in ticks])
        left.minorticks_off()
        levels = _ticks(*left.get_ylim())
        left.set_yticks(levels, [f"{t:g}" for t in levels])
        left.set_xlabel("distance from the lamp's front (m)")
        left.set_ylabel(f"on the axis ({unit})")
        left.legend(fontsize=8.5, loc="lower left")

        angle = np.linspace(0, max(45.0, 1.2 * readings["angle_deg"].max()), 60)
        nearest = np.median(readings.loc[readings["angle_deg"] > least + 1, "distance_m"])
        low, high = fit.beam.interval(nearest, angle, level=fit.level)
        right.fill_between(
            angle, low, high, color=COLOURS["captive"], alpha=0.25, linewidth=0, label=f"{span}, by angle"
        )
        right.plot(
            angle, fit.beam.at(nearest, angle), color=COLOURS["captive"], label=f"fitted beam at {nearest:.2f} m"
        )
        # Readings at other distances are brought to this one along the fitted beam.
        factor = fit.beam.at(nearest, readings["angle_deg"]) / readings["fitted"]
        right.errorbar(
            readings["angle_deg"],
            readings["reading"] * factor,
            yerr=readings["error"] * factor,
            color=COLOURS["used"],
            linestyle="",
            marker="o",
            label=f"readings, brought to {nearest:.2f} m",
        )
        half = fit.table.loc["half_angle_deg"]
        right.axvline(half["value"], color=COLOURS["limit"], linewidth=0.8, linestyle=":", label="half angle")
        right.set_ylim(bottom=0)
        right.set_xlabel("angle off the axis (degrees)")
        right.set_ylabel(unit)
        right.legend(fontsize=8.5)
        figure.suptitle(
            f"Half the strength {half['value']:.0f}° off the axis; one reading and the inverse square miss by "
            f"{fit.worst_guess_pct:+.0f} %",
            x=0.01,
            ha="left",
            fontsize=11.5,
        )
    return figure


def _ticks(low, high):
    steps = [m * 10.0**k for k in range(-3, 5) for m in (1, 2, 5)]
    return [s for s in steps if low <= s <= high]


def coverage_map(coverage, *, quantity="irradiance_w_m2", lamps=()):
    """Draw the light over a basking area from above, with the animal to scale.

    Parameters
    ----------
    coverage : Coverage
        See `captive.lamp_coverage.coverage`.
    quantity : {"irradiance_w_m2", "uv_index"}
        What the colours show.
    lamps : list of Lamp
        Marked where they hang.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> from fieldkit.captive.lamps import lit_area as lamp_coverage; from fieldkit.captive import lamps
    >>> lamp = lamps.Lamp(id="spot", beam=lamps.Beam(intensity=60.0, half_angle_deg=20.0), x_m=0.2, y_m=0.1)
    >>> wanted = {"wanted_w_m2": (200, 400), "body_length_m": 0.1, "n_draws": 2}
    >>> found = lamp_coverage.coverage(lamp, (0, 0.4, 0, 0.2), 0.1, **wanted)
    >>> len(coverage_map(found).axes)
    2
    """
    values, wanted = coverage.irradiance, (coverage.wanted_w_m2[0], coverage.wanted_w_m2[2])
    if quantity == "uv_index":
        values, wanted = coverage.uv_index, coverage.uv_wanted
    low, high = wanted
    unit = QUANTITIES[quantity]
    row = coverage.table.iloc[-1]
    figure, axes = new_axes(width=7.6, height=4.6)
    with look():
        mesh = axes.pcolormesh(coverage.x_m, coverage.y_m, values, cmap="cividis", shading="nearest", rasterized=True)
        mesh.set_label(f"{unit} on the level")
        bar = figure.colorbar(mesh, ax=axes, shrink=0.85)
        bar.set_label(f"{unit} on the level")
        for edge, line in ((low, "-"), (high, "--")):
            if values.min() < edge < values.max():
                axes.contour(coverage.x_m, coverage.y_m, values, levels=[edge], colors="white", linestyles=line)
        for lamp in lamps:
            axes.plot(lamp.x_m, lamp.y_m, marker="x", color=COLOURS["limit"], linestyle="", label=f"{lamp.id} above")
        top = np.unravel_index(np.argmax(values), values.shape)
        x, y = coverage.x_m[top[1]], coverage.y_m[top[0]]
        half = coverage.body_length_m / 2
        axes.plot(
            [x - half, x + half],
            [y, y],
            color=COLOURS["radiation"],
            linewidth=5,
            solid_capstyle="round",
            label=f"the animal, {100 * coverage.body_length_m:.0f} cm",
        )
        axes.set_aspect("equal")
        axes.set_xlim(coverage.area[0], coverage.area[1])
        axes.set_ylim(coverage.area[2], coverage.area[3])
        axes.grid(False)
        axes.set_xlabel(f"m (white lines: {low:.3g} solid and {high:.3g} dashed, the wanted range)")
        axes.set_ylabel("m")
        if row["lit_m2"] == 0:
            title = "Nowhere on the area is the wanted light"
        elif coverage.smaller_than_animal:
            title = f"The spot is smaller than the animal: at most {row['body_lit_pct']:.0f} % of it lit at once"
        elif row["every_way_m2"] == 0:
            title = "The animal fits into the light in one way only"
        else:
            title = f"The whole animal fits, whichever way it lies, over {1e4 * row['every_way_m2']:.0f} cm²"
        axes.set_title(title)
        # Not the colours, which have a bar.
        figure.legend(handles=axes.get_lines(), fontsize=9, loc="outside lower center", ncols=3)
    return figure


def bands(match):
    """Draw each band of the lamps in W/m² beside that of the wanted sunlight.

    Parameters
    ----------
    match : LampMatch
        See `captive.lamp_match.match`.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> from fieldkit.captive import lamps
    >>> lamp = lamps.Lamp(id="heat", beam=lamps.Beam(intensity=60.0), spectrum=lamps.filament(2700.0))
    >>> len(bands(lamps.match(lamp, (0, 0, 0.1), wanted_w_m2=(300, 600))).axes)
    1
    """
    table = match.table
    where = np.arange(len(table))
    low, typical, high = match.wanted_w_m2
    figure, axes = new_axes(height=4.8)
    with look():
        for factor, name, marker in (
            (low / typical, "low end", "v"),
            (1.0, "typical", "o"),
            (high / typical, "high end", "^"),
        ):
            axes.plot(
                where - 0.15,
                table["sun_w_m2"] * factor,
                linestyle="",
                marker=marker,
                color=COLOURS["field"],
                label=f"sun wanted, {name} ({factor * typical:.0f} W/m²)",
            )
        known = table["lamp_w_m2"].notna().to_numpy()
        error = np.array([table["lamp_w_m2"] - table["lamp_low"], table["lamp_high"] - table["lamp_w_m2"]])
        most = ~known & table["lamp_high"].notna().to_numpy()
        if most.any():
            label = "lamps, the most there can be"
            axes.plot(where[most] + 0.15, table["lamp_high"][most], "v", color=COLOURS["captive"], label=label)
        axes.errorbar(
            where[known] + 0.15,
            table["lamp_w_m2"][known],
            yerr=error[:, known],
            linestyle="",
            marker="s",
            color=COLOURS["captive"],
            label=f"lamps ({match.irradiance[0]:.0f} W/m²)",
        )
        names = [f"{name}\n{row.low_nm:g}–{row.high_nm:g} nm\n{row.verdict}" for name, row in table.iterrows()]
        axes.set_xticks(where, names, fontsize=9)
        axes.set_xlim(-0.5, len(table) - 0.5)
        axes.set_yscale("log")
        axes.set_ylim(bottom=max(1e-4, 0.3 * np.nanmin(table[["lamp_low", "sun_w_m2"]].to_numpy())))
        axes.set_ylabel("W/m² in the band (log scale)")
        lacking = match.missing + match.not_measured
        words = f"missing or not measured: {', '.join(lacking)}" if lacking else "no band is missing"
        if match.spectral is None:
            axes.set_title(f"Bands withheld: the spectrum of {', '.join(match.upper_limits)} is not whole;\n{words}")
        else:
            share = f"{match.spectral.misplaced_pct:.0f} %"
            axes.set_title(f"{words[0].upper()}{words[1:]};\n{share} of the power at other wavelengths than the sun's")
        figure.legend(fontsize=9, loc="outside lower center", ncols=2)
    return figure


def height(answer, *, overview=None):
    """Draw what each demand allows along the distance from lamp to back, and what they share.

    Parameters
    ----------
    answer : LampHeight
        See `captive.lamp_height.find_height`.
    overview : LampOverview, optional
        What else was found about these lamps: its failures then stand first in the title.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> from fieldkit.captive.lamps import height as lamp_height; from fieldkit.captive import lamps
    >>> lamp = lamps.Lamp(id="heat", beam=lamps.Beam(intensity=60.0, half_angle_deg=25.0))
    >>> answer = lamp_height.find_height(lamp, (0, 0, 0.1), wanted_w_m2=(250, 450), air_temperature_c=27.0)
    >>> len(height(answer).axes)
    1
    """
    table = answer.table
    figure, axes = new_axes(height=0.55 * len(table) + 2.4)
    with look():
        for i, (name, row) in enumerate(table.iloc[::-1].iterrows()):
            spans = (
                ("_guess_m", 2.0, COLOURS["used"], "best values", i - 0.16),
                ("_m", 7.0, COLOURS["captive"], "surely", i),
            )
            for suffix, width, colour, words, at in spans:
                near, far = row[f"nearest{suffix}"], row[f"farthest{suffix}"]
                if near <= far:
                    style = {"color": colour, "linewidth": width, "solid_capstyle": "butt"}
                    axes.plot([near, far], [at, at], label=f"{name}, {words}", **style)
                elif suffix == "_m":
                    axes.text(0.98, i, "at no distance ", ha="right", va="center", transform=axes.get_yaxis_transform())
        if answer.verdict != "none":
            axes.axvspan(answer.nearest_m, answer.farthest_m, color=COLOURS["field"], alpha=0.2, label="all together")
        axes.set_yticks(range(len(table)), [_words(name, row) for name, row in table.iloc[::-1].iterrows()])
        axes.set_ylim(-0.6, len(table) - 0.4)
        axes.set_xlim(left=0)
        axes.set_xlabel("distance from lamp to back (m)\nthick: surely met, thin: met by the best values")
        titles = {
            "found": f"{answer.nearest_m:.2f} to {answer.farthest_m:.2f} m for {_asked(answer)}",
            "unsure": f"{answer.nearest_m:.2f} to {answer.farthest_m:.2f} m might do; the readings are too unsure",
            "none": f"No height does: {answer.binds_far} needs nearer, {answer.binds_near} needs farther",
        }
        failures = () if overview is None else overview.failures
        first = ["Not right yet: " + ";\n".join(failures) + ";"] if failures else []
        axes.set_title("\n".join([*first, titles[answer.verdict]]))
    return figure


def _asked(answer):
    """The demands that were made, and those that were not."""
    asked = [name for name in answer.table.index if name != "room"]
    words = ", ".join(asked)
    return f"{words}; not asked: {', '.join(answer.not_asked)}" if answer.not_asked else words


def _words(name, row):
    low = "" if np.isnan(row["low"]) else f"from {row['low']:.4g} "
    high = "" if np.isnan(row["high"]) else f"up to {row['high']:.4g} "
    return f"{name}\n{low}{high}{row['unit']}" if row["unit"] != name else f"{name}\n{low}{high}".rstrip()
