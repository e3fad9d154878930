"""Pictures of air-temperature ranges: through the months, by station and season, and on the map."""

import numpy as np

from fieldkit.field.climate import POOLED
from fieldkit.report.figures.style import COLOURS, look, new_axes


def months(bands):
    """Draw the schedule of the year: the band, the margin taken off it, and what each station says.

    Parameters
    ----------
    bands : fieldkit.field.climate.AirBands
        What `climate.air_bands` returned.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> import pandas as pd
    >>> from fieldkit.field import climate
    >>> day = pd.date_range("2023-01-01", "2023-12-31")
    >>> wave = -np.cos(2 * np.pi * day.day_of_year.to_numpy() / 365)
    >>> one = pd.DataFrame({"station_id": "A", "date": day, "tmax_c": 28 + 7 * wave, "tmin_c": 14 + 7 * wave})
    >>> len(months(climate.air_bands(one, hemisphere="north")).axes)
    1
    """
    figure, axes = new_axes(width=8.0, height=4.8)
    schedule = bands.schedule
    x = np.arange(1, 13)
    with look():
        for number, (_, rows) in enumerate(bands.months.groupby("station_id", sort=True)):
            style = {"linewidth": 0.9, "alpha": 0.75, "zorder": 3}
            label = "each station, typical maximum" if number == 0 else "_"
            axes.plot(x, rows["typical_max_c"], color=COLOURS["surface"], label=label, **style)
            label = "each station, typical minimum" if number == 0 else "_"
            axes.plot(x, rows["typical_min_c"], color=COLOURS["air"], linestyle="--", label=label, **style)
        axes.fill_between(
            x, schedule["low_c"], schedule["high_c"], color=COLOURS["field"], alpha=0.28, linewidth=0, label="band"
        )
        axes.fill_between(
            x,
            schedule["caution_c"],
            schedule["high_c"],
            facecolor="none",
            edgecolor=COLOURS["limit"],
            hatch="////",
            linewidth=0,
            label="above the caution (rule of thumb)",
        )
        axes.plot(x, schedule["high_c"], color=COLOURS["field"], linewidth=2.2, marker="o", label="high end", zorder=4)
        axes.plot(
            x, schedule["low_c"], color=COLOURS["field"], linewidth=2.2, marker="s", label="low end", zorder=4, ls="-."
        )
        axes.set_xticks(x, schedule["month"])
        axes.set_xlim(0.7, 12.3)
        axes.set_xlabel("month")
        axes.set_ylabel("shade air temperature (°C)")
        axes.set_title(_year_in_words(bands))
        axes.legend(fontsize=8.5, ncols=3, loc="upper center", bbox_to_anchor=(0.5, -0.16))
    return figure


def _year_in_words(bands):
    schedule = bands.schedule.dropna(subset=["low_c", "high_c"])
    if schedule.empty:
        return "No month has usable readings"
    warm = schedule.loc[schedule["typical_max_c"].idxmax()]
    cool = schedule.loc[schedule["typical_max_c"].idxmin()]
    count = bands.settings["n_stations"]
    where = f"{count} stations" if count > 1 else "one station only"
    return (
        f"Seasonal air range: {warm['low_c']:.0f} to {warm['high_c']:.0f} °C in {warm['month']}, "
        f"{cool['low_c']:.0f} to {cool['high_c']:.0f} °C in {cool['month']} ({where})"
    )


def stations(bands):
    """Draw the bands of every station and of all together, one panel a season.

    Parameters
    ----------
    bands : fieldkit.field.climate.AirBands
        What `climate.air_bands` returned.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> import pandas as pd
    >>> from fieldkit.field import climate
    >>> day = pd.date_range("2023-01-01", "2023-12-31")
    >>> wave = -np.cos(2 * np.pi * day.day_of_year.to_numpy() / 365)
    >>> one = pd.DataFrame({"station_id": "A", "date": day, "tmax_c": 28 + 7 * wave, "tmin_c": 14 + 7 * wave})
    >>> len(stations(climate.air_bands(one, hemisphere="north")).axes)
    4
    """
    table = bands.table
    names = list(table["season"].drop_duplicates())
    ids = [*sorted(set(table["station_id"]) - {POOLED}), POOLED]
    columns = min(4, len(names))
    rows = -(-len(names) // columns)
    height = 1.6 + rows * (0.9 + 0.24 * len(ids))
    figure, panels = new_axes(rows, columns, width=9.6, height=height, sharex=True, sharey=True, squeeze=False)
    with look():
        for axes, name in zip(panels.flat, names):
            here = table[table["season"] == name].set_index("station_id").reindex(ids)
            for y, (station, row) in enumerate(here.iterrows()):
                if np.isnan(row["low_c"]):
                    axes.text(
                        0.5,
                        y,
                        "too few days",
                        transform=axes.get_yaxis_transform(),
                        ha="center",
                        va="center",
                        fontsize=8,
                    )
                    continue
                pooled = station == POOLED
                colour = COLOURS["field"] if pooled else COLOURS["air"]
                # Every bar is labelled, so that its two ends can be read back as numbers.
                axes.plot(
                    [row["low_c"], row["high_c"]],
                    [y, y],
                    color=colour,
                    linewidth=6 if pooled else 3.5,
                    solid_capstyle="butt",
                    label=f"{name}, {station}",
                )
                axes.plot([row["caution_c"], row["high_c"]], [y, y], color=COLOURS["limit"], lw=1.2, ls=":")
                for end in ("low", "high"):
                    axes.plot(
                        [row[f"{end}_from_c"], row[f"{end}_to_c"]], [y, y], color="black", lw=0.9, marker="|", ms=7
                    )
            axes.set_title(f"{name} ({here['months'].iloc[-1]})", fontsize=9.5)
            axes.set_yticks(range(len(ids)), ids)
            axes.grid(axis="y", visible=False)
        for axes in panels.flat[len(names) :]:
            axes.set_axis_off()
        panels[0, 0].invert_yaxis()
        figure.supxlabel(
            "shade air temperature (°C); dotted: above the caution; thin black: 95 % interval of each end", fontsize=9.5
        )
        figure.suptitle(_stations_in_words(bands), x=0.01, ha="left", fontsize=11.5)
    return figure


def _stations_in_words(bands):
    pooled = bands.pooled.dropna(subset=["low_c"])
    warm = pooled["typical_max_c"].idxmax()
    spread = pooled.loc[warm, "spread_high_c"]
    if not np.isfinite(spread):
        low, high = pooled.loc[warm, ["low_c", "high_c"]]
        return f"One station: {warm} {low:.0f} to {high:.0f} °C; how places differ cannot be told"
    return (
        f"Stations differ: their {warm} maxima spread by {spread:.1f} °C (standard deviation) around "
        f"{pooled.loc[warm, 'typical_max_c']:.1f} °C"
    )


def grid_map(bands, *, season, which="high_c"):
    """Draw one end of a season's band on the grid.

    Parameters
    ----------
    bands : fieldkit.field.climate.grid.bands.GridBands
        What `grid.air_bands` returned.
    season : str
        One of its seasons.
    which : {"low_c", "high_c", "caution_c", "margin_c", "typical_min_c", "typical_max_c"}
        What is drawn.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> import pandas as pd
    >>> import xarray as xr
    >>> from fieldkit.field.climate.grid import bands as grid
    >>> day = pd.date_range("2023-01-01", "2023-12-31")
    >>> dims, warm = ("time", "lat", "lon"), np.ones((365, 2, 3))
    >>> data = xr.Dataset({"tasmax": (dims, 30 * warm, {"units": "degC"}),
    ...                    "tasmin": (dims, 15 * warm, {"units": "degC"})},
    ...                   coords={"time": day, "lat": [30.0, 31.0], "lon": [1.0, 2.0, 3.0]})
    >>> len(grid_map(grid.air_bands(data), season="summer").axes)
    2
    """
    cells = bands.cells[which].sel(season=season)
    lat, lon = cells["latitude"].to_numpy(), cells["longitude"].to_numpy()
    half_lat = (lat[-1] - lat[0]) / max(len(lat) - 1, 1) / 2 or 0.5
    half_lon = (lon[-1] - lon[0]) / max(len(lon) - 1, 1) / 2 or 0.5
    words = {
        "low_c": "low end of the band",
        "high_c": "high end of the band",
        "caution_c": "caution for a confined animal",
        "margin_c": "from the caution to the high end",
        "typical_min_c": "typical minimum",
        "typical_max_c": "typical maximum",
    }[which]
    figure, axes = new_axes(width=7.6, height=4.8)
    with look():
        image = axes.imshow(
            cells.to_numpy(),
            origin="lower",
            extent=(lon[0] - half_lon, lon[-1] + half_lon, lat[0] - half_lat, lat[-1] + half_lat),
            cmap="cividis",
            aspect=1 / np.cos(np.deg2rad(lat.mean())),
            label=f"{season}, {words}",
        )
        axes.grid(visible=False)
        figure.colorbar(image, ax=axes, label=f"{words} (°C)", shrink=0.85)
        axes.set_xlabel("longitude (° east)")
        axes.set_ylabel("latitude (° north)")
        low, high = float(cells.min()), float(cells.max())
        figure.suptitle(
            f"In {season} the {words} lies between {low:.1f} and {high:.1f} °C across the cells",
            x=0.01,
            ha="left",
            fontsize=11.5,
        )
    return figure
