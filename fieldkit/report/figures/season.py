"""A first look at a season: one day of its loggers, drawn together."""

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError
from fieldkit.report.figures.style import COLOURS, look, new_axes

_TEMPERATURES = {
    "shade_air": ("air in the shade", COLOURS["air"], "-"),
    "exposed_probe": ("bare probe in the open", COLOURS["sky"], ":"),
    "surface": ("surface", COLOURS["surface"], "--"),
    "copper_model": ("copper model of the animal", COLOURS["field"], "-."),
}


def one_day(season, *, day="sunniest"):
    """Draw what each thermometer read on one day, with the radiation below.

    Parameters
    ----------
    season : Season
        A season with loggers.
    day : str
        A date such as "2025-06-01", or "sunniest" or "dullest": the day with the most or the least radiation in the
        month with the most (the first day when no radiation was logged).

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    FieldkitError
        When the season has no thermometer readings, or none on that day.

    Examples
    --------
    >>> import fieldkit
    >>> figure = one_day(fieldkit.demo_season(), day="2025-06-01")
    >>> len(figure.axes)
    2
    """
    readings = _readings(season)
    day = _day_by_sun(readings, day) if day in ("sunniest", "dullest") else _date(day)
    readings = readings[readings["time"].dt.date == day]
    warm = readings[readings["role"].isin(list(_TEMPERATURES))]
    if warm.empty:
        raise FieldkitError(f"No thermometer of this season has readings on {day}: choose another day.")
    sun = readings[readings["role"] == "irradiance"]
    with look():
        if sun.empty:
            figure, top = new_axes(height=5.2)
        else:
            figure, (top, below) = new_axes(2, 1, height=6.4, sharex=True, height_ratios=(3, 1))
            for logger, part in sun.groupby("logger_id"):
                below.plot(part["time"], part["value"], color=COLOURS["radiation"], label=f"radiation, {logger}")
            below.set_ylabel("radiation (W/m²)")
            below.set_ylim(bottom=0)
        seen = []
        for (role, logger), part in warm.groupby(["role", "logger_id"], sort=False):
            words, colour, line = _TEMPERATURES[role]
            # Dots tell a second logger of the same kind from the first.
            style = {"color": colour, "linestyle": line, "marker": "." if role in seen else None}
            top.plot(part["time"], part["value"], label=f"{words}, {logger}", **style)
            seen.append(role)
        top.set_ylabel("temperature (°C)")
        spread, when = _widest(warm)
        top.set_title(f"{day.day} {day:%B %Y}: the thermometers differed by up to {spread:.0f} °C (at {when:%H:%M})")
        figure.legend(*top.get_legend_handles_labels(), fontsize=9, loc="outside lower center", ncols=2)
        _hours(figure.axes[-1], season.site.timezone)
    return figure


def _readings(season):
    if season.loggers is None or len(season.loggers) == 0:
        raise FieldkitError("This season has no loggers, so there is no day to draw.")
    roles = season.logger_info.set_index("logger_id")["role"]
    return season.loggers.assign(role=season.loggers["logger_id"].map(roles)).dropna(subset=["value"])


def _date(day):
    try:
        return pd.Timestamp(day).date()
    except ValueError:
        raise FieldkitError(f"'{day}' is not a day: write it as 2025-06-01.") from None


def _day_by_sun(readings, which):
    sun = readings[readings["role"] == "irradiance"]
    if sun.empty:
        return readings["time"].min().date()
    daily = sun.groupby(sun["time"].dt.date)["value"].agg(["sum", "size"])
    # A day with half its readings would look dull; one outside the sunniest month might be winter.
    daily = daily.loc[daily["size"] >= 0.9 * daily["size"].max(), "sum"]
    months = pd.to_datetime(daily.index).month
    daily = daily[months == months[daily.argmax()]]
    return daily.idxmax() if which == "sunniest" else daily.idxmin()


def _widest(warm):
    """Largest difference between thermometers read at the same time, and when."""
    by_time = warm.groupby("time")["value"]
    spread = (by_time.max() - by_time.min())[by_time.size() >= min(warm["logger_id"].nunique(), 2)]
    if spread.empty:
        return 0.0, warm["time"].iloc[0]
    return float(spread.max()), spread.index[int(np.argmax(spread))]


def _hours(axes, timezone):
    from matplotlib.dates import DateFormatter, HourLocator

    axes.xaxis.set_major_locator(HourLocator(byhour=range(0, 24, 3), tz=timezone))
    axes.xaxis.set_major_formatter(DateFormatter("%H", tz=timezone))
    axes.set_xlabel("hour of the day, clock of the site")
