"""How good the readings are: what loggers lack, what the sun did to them, what each instrument reads."""

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError
from fieldkit.report.figures.style import COLOURS, look, new_axes


def presence(check):
    """Draw when each logger was reading: a bar for each stretch, gaps left open.

    Parameters
    ----------
    check : LoggerCheck
        From ``sensors.check_loggers``.

    Returns
    -------
    matplotlib.figure.Figure
    """
    table = check.table.iloc[::-1].reset_index(drop=True)
    with look():
        figure, axes = new_axes(height=1.2 + 0.42 * len(table))
        for level, row in table.iterrows():
            holes = check.gaps[check.gaps["logger_id"] == row["logger_id"]]
            starts = [row["first"], *holes["to_time"]]
            stops = [*holes["from_time"], row["last"]]
            for number, (start, stop) in enumerate(zip(starts, stops)):
                label = row["logger_id"] if number == 0 else "_more"
                axes.plot(
                    [start, stop], [level, level], color=COLOURS["field"], lw=7, solid_capstyle="butt", label=label
                )
        names = [f"{row.logger_id}  {100 * row.complete:.1f} %" for row in table.itertuples()]
        axes.set_yticks(range(len(table)), names)
        axes.set_ylim(-0.7, len(table) - 0.3)
        axes.set_xlabel("date")
        due, there = table["due"].sum(), table["readings"].sum()
        axes.set_title(f"{100 * there / due:.1f} % of the readings due are there")
        _dates(axes)
    return figure


def contamination(result, *, logger_id=None, days_around=2):
    """Draw a shade air logger that read the sun: as recorded, as corrected, and the estimate with its error.

    Parameters
    ----------
    result : Contamination
        From ``sensors.find_contamination``.
    logger_id : str, optional
        None: the logger with the strongest sign.
    days_around : int
        Days drawn before and after what was flagged (the longest episode, at most 14 days of it).

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    FieldkitError
        When nothing was flagged.
    """
    episodes = result.episodes
    if logger_id is None and not episodes.empty:
        logger_id = episodes.loc[episodes["strength"].idxmax(), "logger_id"]
    episodes = episodes[episodes["logger_id"] == logger_id]
    if episodes.empty:
        raise FieldkitError("No sign of sun was found in this logger: there is nothing to draw.")
    longest = episodes.loc[(episodes["last_day"] - episodes["first_day"]).idxmax()]
    first = longest["first_day"] - pd.Timedelta(days=days_around)
    last = min(longest["last_day"], longest["first_day"] + pd.Timedelta(days=14)) + pd.Timedelta(days=days_around + 1)
    index = result.readings.index
    wall = index.tz_localize(None)
    inside = (wall >= first) & (wall < last) & result.readings[logger_id].notna().to_numpy()
    times = wall[inside]
    read, estimate, error = (
        frame.loc[inside, logger_id].to_numpy() for frame in (result.readings, result.estimate_c, result.error_c)
    )
    with look():
        figure, (top, below) = new_axes(2, 1, height=5.6, sharex=True, height_ratios=(3, 2))
        top.plot(times, read, color=COLOURS["limit"], lw=1.1, ls="--", label=f"{logger_id} as recorded")
        top.plot(times, read - estimate, color=COLOURS["air"], lw=1.4, label="less the estimated sun")
        top.set_ylabel("temperature (°C)")
        top.legend(loc="upper left", ncols=2)
        top.set_ylim(top.get_ylim()[0], top.get_ylim()[1] + 0.18 * np.ptp(top.get_ylim()))
        below.fill_between(
            times, estimate - 1.96 * error, estimate + 1.96 * error, color=COLOURS["radiation"], alpha=0.3, lw=0,
            label="95 % of single readings",
        )  # fmt: skip
        below.plot(times, estimate, color=COLOURS["radiation"], lw=1.4, label="estimated contamination")
        below.set_ylabel("contamination (°C)")
        below.set_xlabel("date (clock of the series)")
        below.legend(loc="upper left", ncols=2)
        below.set_ylim(below.get_ylim()[0], below.get_ylim()[1] * 1.3)
        _dates(below)
        top.set_title(
            f"{logger_id} read the sun: {longest['contamination_c']:.1f} °C too warm in strong sun "
            f"(95 % interval {longest['low_c']:.1f} to {longest['high_c']:.1f})"
        )
    return figure


def sun_and_shade(comparison):
    """Draw what each instrument reads in the sun and in the shade of the same air.

    Parameters
    ----------
    comparison : InstrumentComparison
        From ``sensors.compare_instruments``.

    Returns
    -------
    matplotlib.figure.Figure
    """
    table = comparison.table.sort_values("in_sun_c", ignore_index=True)
    with look():
        figure, axes = new_axes(height=1.6 + 0.42 * len(table))
        levels = np.arange(len(table))
        axes.hlines(levels, table["in_shade_c"], table["in_sun_c"], color="#C8C8C8", lw=2)
        axes.axvline(comparison.air_temperature_c, color=COLOURS["air"], lw=1.4, label="air")
        axes.plot(table["in_shade_c"], levels, "o", color=COLOURS["available"], ms=7, label="reading in the shade")
        axes.errorbar(
            table["in_sun_c"], levels, xerr=1.96 * table["difference_error_c"], fmt="^", color=COLOURS["surface"],
            ms=8, capsize=3,
        )  # fmt: skip
        axes.plot(table["in_sun_c"], levels, "^", color=COLOURS["surface"], ms=8, label="reading in the sun")
        axes.set_yticks(levels, table["instrument"])
        axes.set_ylim(-0.6, len(table) - 0.4)
        bars = ", ".join(comparison.error_sources[:-1]) + " and " * (len(comparison.error_sources) > 1)
        bars += "".join(comparison.error_sources[-1:])
        axes.set_xlabel(f"reading (°C); bars: 95 % from {bars}" if bars else "reading (°C)")
        axes.legend(loc="lower right")
        spread = table["in_sun_c"].max() - table["in_sun_c"].min()
        axes.set_title(f"One air, one sun: readings {spread:.1f} °C apart")
    return figure


def irradiance_from_probes(result):
    """Draw irradiance worked out from a sunlit and a shaded probe against a pyranometer.

    Parameters
    ----------
    result : ProbeIrradiance
        From ``sensors.irradiance_from_loggers``.

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    FieldkitError
        When there was no pyranometer.
    """
    table = result.table.dropna(subset=["irradiance_w_m2", "measured_w_m2"])
    if table.empty:
        raise FieldkitError("There is no pyranometer among the loggers: there is nothing to draw against.")
    bins = (table["measured_w_m2"] // 100 * 100 + 50).rename("bin")
    grouped = table.groupby(bins)["irradiance_w_m2"]
    parts = pd.DataFrame({share: grouped.quantile(share) for share in (0.05, 0.5, 0.95)})
    with look():
        figure, axes = new_axes(height=5.0)
        axes.plot(
            table["measured_w_m2"], table["irradiance_w_m2"], "o", ms=2.5, alpha=0.4, mew=0,
            color=COLOURS["available"], label="single readings",
        )  # fmt: skip
        axes.vlines(parts.index, parts[0.05], parts[0.95], color=COLOURS["radiation"], lw=3, label="9 in 10 readings")
        axes.plot(
            parts.index, parts[0.5], "^", ms=8, color=COLOURS["radiation"], mec="k", label="median of each 100 W/m²"
        )
        top = float(max(table["measured_w_m2"].max(), parts.index.max()))
        axes.plot([0, top], [0, top], color=COLOURS["used"], lw=1.2, label="equal")
        axes.set_ylim(min(0, parts[0.05].min()), 1.1 * max(top, parts[0.95].max()))
        axes.set_xlabel("pyranometer, level (W/m²)")
        axes.set_ylabel("from the two probes (W/m²)")
        axes.legend(loc="upper left")
        axes.set_title(
            f"Two thermometers as a sun meter: off by {result.rmse_w_m2:.0f} W/m² (RMSE), "
            f"{result.bias_w_m2:+.0f} on average"
        )
    return figure


def _dates(axes):
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter

    locator = AutoDateLocator(maxticks=8)
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(locator))
