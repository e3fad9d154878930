"""Pictures of an audit: targets against readings through the year, through the day, and when they were missed."""

import numpy as np

from fieldkit.captive.audit.judge import ROLES
from fieldkit.captive.audit.means import short
from fieldkit.captive.audit.status import OUTSIDE, Status
from fieldkit.captive.targets import Kind, spoken
from fieldkit.core import FieldkitError
from fieldkit.field.climate.seasons import MONTHS
from fieldkit.report.figures.style import COLOURS, look, new_axes

UNITS = {"shade_air_c": "°C", "surface_c": "°C", "operative_c": "°C", "irradiance_w_m2": "W/m²", "uv_index": ""}


def _rows(found, target, zone=None):
    table = found.table[found.table["target"] == target]
    table = table if zone is None else table[table["zone"].isin((zone, "whole"))]
    if not len(table):
        raise FieldkitError(f"The audit has no target for {spoken(target)}.")
    return table


def _profile(found, target, zone=None):
    """Readings of loggers that speak for a target; those left out in the audit are left out here."""
    if target not in UNITS:
        raise FieldkitError(f"{target} has no course of the day to draw: use one of {', '.join(UNITS)}.")
    profile = found.profile[(found.profile["role"] == ROLES[target]) & ~found.profile["logger_id"].isin(found.left_out)]
    return profile if zone is None else profile[profile["zone"] == zone]


def _axis(target):
    unit = UNITS[target]
    return f"{spoken(target)} ({unit})" if unit else spoken(target)


def through_day(found, target="shade_air_c", *, month=None, zone=None):
    """Draw readings by hour of the day with the targets of one month.

    Parameters
    ----------
    found : fieldkit.captive.audit.Audit
        From `audit.audit`.
    target : str
        A quantity that loggers read, such as ``shade_air_c``.
    month : int, optional
        1 to 12; None: the measured month that misses its target most, else the last one.
    zone : str, optional
        Only loggers and targets of this zone (and targets of the whole).

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    FieldkitError
        When there is no such target.
    """
    rows, profile = _rows(found, target, zone), _profile(found, target, zone)
    measured = sorted(int(m) for m in set(profile["month"]))
    if month is None:
        missed = rows[rows["status"].isin(OUTSIDE) & rows["month"].isin(measured)]
        month = int(missed.loc[missed["by_how_much"].idxmax(), "month"]) if len(missed) else (measured or [1])[-1]
    figure, axes = new_axes(width=7.6, height=4.6)
    with look():
        for number, (name, part) in enumerate(profile[profile["month"] == month].groupby("logger_id", observed=True)):
            colour = list(COLOURS.values())[(0, 1, 6, 7, 2)[number % 5]]
            label = f"{name} ({part['zone'].iloc[0]})"
            axes.fill_between(
                part["hour"] + 0.5,
                part["low"],
                part["high"],
                color=colour,
                alpha=0.16,
                lw=0,
                label=f"{label}, 5 to 95 %",
            )
            marker = "osD^v"[number % 5]
            axes.plot(part["hour"] + 0.5, part["median"], color=colour, marker=marker, ms=4, lw=1.4, label=label)
        _ranges(axes, rows[rows["month"].isin((0, month))])
        axes.set_xlim(0, 24)
        axes.set_xticks(range(0, 25, 3))
        axes.set_xlabel("hour of the day, clock of the place")
        axes.set_ylabel(_axis(target))
        axes.set_title(_finding(rows[rows["month"].isin((0, month))], target, MONTHS[month - 1]))
        axes.legend(fontsize=8, ncols=3, loc="upper center", bbox_to_anchor=(0.5, -0.15))
    return figure


def _limits(axes, rows):
    """Limits and cautions across the whole width."""
    for row in rows[rows["kind"] != Kind.AIM].itertuples(index=False):
        name = "upper limit" if row.kind == Kind.LIMIT else f"caution {row.zone}"
        name += f" for {row.contact_min / 60:g} h" if row.contact_min >= 60 else ""
        style = {"lw": 2} if row.kind == Kind.LIMIT else {"lw": 1.2, "ls": ":"}
        axes.axhline(row.high, color=COLOURS["limit"], label=f"{name} {row.high:.4g} {row.unit}".strip(), **style)


def _ranges(axes, rows):
    """Wanted ranges by day and night side by side along the day's edge, limits across."""
    _limits(axes, rows)
    styles = {"day": ("-", "radiation"), "night": ("--", "air"), "all": ("-.", "field")}
    for row in rows[rows["kind"] == Kind.AIM].itertuples(index=False):
        line, colour = styles[row.period]
        for value, end in ((row.low, "low"), (row.high, "high")):
            if np.isfinite(value):
                label = f"target {row.zone}, {row.period}, {end}"
                axes.axhline(value, color=COLOURS[colour], ls=line, lw=1.2, label=label)


def _finding(rows, target, when):
    name = spoken(target)[:1].upper() + spoken(target)[1:]
    missed = rows[rows["status"].isin(OUTSIDE)]
    if len(missed):
        # A limit that is exceeded matters more than a wider miss of a range.
        first = missed[missed["limit_exceeded"]] if missed["limit_exceeded"].any() else missed
        worst = first.loc[first["by_how_much"].idxmax()]
        limit, way = (worst["high"], "above") if worst["side"] == "high" else (worst["low"], "below")
        what = {Kind.LIMIT: "its limit of", Kind.CAUTION: "the caution of"}.get(worst["kind"], "the target of")
        unit = worst["unit"]
        return f"{name}, {when}: up to {short(worst['by_how_much'])} {unit} {way} {what} {limit:.3g} {unit}"
    status = [s for s in (Status.UNKNOWN, Status.NOT_MEASURED, Status.MET) if s in set(rows["status"])]
    words = {Status.UNKNOWN: "cannot tell", Status.NOT_MEASURED: "not measured", Status.MET: "targets met"}
    return f"{name}, {when}: {words[status[0]]}"


def through_year(found, target="shade_air_c", *, zone=None):
    """Draw the targets of every month and what was read in it, by day and by night.

    Parameters
    ----------
    found : fieldkit.captive.audit.Audit
        From `audit.audit`.
    target : str
        A quantity with targets by month.
    zone : str, optional
        Only targets of this zone (and of the whole).

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    FieldkitError
        When there is no such target.
    """
    rows = _rows(found, target, zone)
    monthly = rows[(rows["month"] > 0) & (rows["kind"] == Kind.AIM)]
    if not len(monthly):
        raise FieldkitError(
            f"The targets for {spoken(target)} do not change with the month: draw them through the day."
        )
    figure, axes = new_axes(width=8.0, height=4.6)
    looks = {
        "day": ("radiation", "surface", "o", -0.12),
        "night": ("sky", "air", "s", 0.12),
        "all": ("field", "used", "D", 0),
    }
    with look():
        for period, part in monthly.groupby("period", sort=False):
            band, point, marker, aside = looks[period]
            part = part.sort_values("month")
            label = {"all": ""}.get(period, f" by {period}")
            axes.bar(
                part["month"],
                part["high"] - part["low"],
                bottom=part["low"],
                width=0.8,
                color=COLOURS[band],
                alpha=0.35,
                label=f"target{label}",
            )
            read = part[np.isfinite(part["reading"])]
            if len(read):
                spread = [read["reading"] - read["reading_low"], read["reading_high"] - read["reading"]]
                axes.errorbar(
                    read["month"] + aside,
                    read["reading"],
                    yerr=np.clip(spread, 0, None),
                    color=COLOURS[point],
                    marker=marker,
                    ls="none",
                    capsize=3,
                    label=f"read{label}, median and 5 to 95 %",
                )
        _limits(axes, rows)
        axes.set_xticks(range(1, 13), MONTHS)
        axes.set_xlim(0.4, 12.6)
        axes.set_xlabel("month")
        axes.set_ylabel(_axis(target) if target in UNITS else f"{spoken(target)} ({monthly['unit'].iloc[0]})")
        counts = monthly["status"].value_counts()
        words = ", ".join(f"{counts[s]} {s}" for s in Status if s in counts)
        axes.set_title(f"{spoken(target)[:1].upper()}{spoken(target)[1:]} by month: {words}")
        axes.legend(fontsize=8.5, ncols=3, loc="upper center", bbox_to_anchor=(0.5, -0.15))
    return figure


def when_missed(found, target="shade_air_c"):
    """Draw the share of time outside the targets by month and hour.

    Parameters
    ----------
    found : fieldkit.captive.audit.Audit
        From `audit.audit`.
    target : str
        A quantity that loggers read.

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    FieldkitError
        When there is no such target, or nothing was read.
    """
    rows = _rows(found, target)
    outside = found.outside[found.outside["row"].isin(rows.index)]
    if not len(outside):
        raise FieldkitError(f"Nothing reads {spoken(target)}: there is nothing to draw.")
    worst = outside.groupby(["month", "hour"])["share"].max()
    months = sorted(int(m) for m in set(outside["month"]))
    image = worst.reindex([(m, h) for m in months for h in range(24)]).to_numpy(dtype=float).reshape(len(months), 24)
    figure, axes = new_axes(width=7.8, height=1.9 + 0.3 * len(months))
    with look():
        drawn = axes.imshow(
            100 * image,
            aspect="auto",
            cmap="cividis",
            vmin=0,
            vmax=100,
            extent=(0, 24, len(months) - 0.5, -0.5),
            label="time outside (%)",
        )
        axes.grid(visible=False)
        axes.set_yticks(range(len(months)), [MONTHS[m - 1] for m in months])
        axes.set_xticks(range(0, 25, 3))
        axes.set_xlabel("hour of the day, clock of the place")
        figure.colorbar(drawn, ax=axes, label="time outside (%)", shrink=0.9)
        top = worst.max()
        at = worst.idxmax()
        name = spoken(target)[:1].upper() + spoken(target)[1:]
        words = f"outside most often in {MONTHS[int(at[0]) - 1]} at {int(at[1])} h, {100 * top:.0f} % of the time"
        if top == worst.min():
            words = "never outside its targets" if top == 0 else f"outside for {100 * top:.0f} % of every hour"
        axes.set_title(f"{name}: {words}")
    return figure
