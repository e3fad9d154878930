"""Pictures of sunlight: a day on several facings, what animals were found in, hours to bask, spectra, UV index."""

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError
from fieldkit.report.figures.style import COLOURS, LINES, look, new_axes

_STYLES = [("radiation", "-"), ("air", "--"), ("surface", "-."), ("field", ":"), ("captive", "-")]


def day_of_sun(lights, *, quantity="total_w_m2"):
    """Draw irradiance through a day on several facings.

    Parameters
    ----------
    lights : dict of str to DataFrame
        Words for each facing, and what `sun.irradiance` returned for it; one index of times.
    quantity : str
        Column to draw.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> from fieldkit.physics import sun
    >>> times = pd.date_range("2025-06-21", periods=25, freq="h", tz="Etc/GMT+5")
    >>> flat = sun.irradiance(times, latitude_deg=36.2, longitude_deg=-80.3, linke_turbidity=3)
    >>> len(day_of_sun({"flat back": flat}).axes)
    1
    """
    if not lights:
        raise FieldkitError("There is nothing to draw: give at least one facing.")
    figure, axes = new_axes()
    best, most = "", -1.0
    with look():
        for (words, light), (colour, line) in zip(lights.items(), _STYLES * len(lights)):
            values = light[quantity]
            axes.plot(values.index, values, label=words, color=COLOURS[colour], linestyle=line)
            sum_kwh = _daily_kwh(values)
            if sum_kwh > most:
                best, most = words, sum_kwh
        day = next(iter(lights.values())).index[0]
        axes.set_title(f"{day.day} {day:%B}: most sun over the day on “{best}”, {most:.1f} kWh/m²")
        axes.set_ylabel("irradiance (W/m²)")
        axes.set_ylim(bottom=0)
        _clock(axes, day)
        axes.legend(fontsize=9)
    return figure


def _daily_kwh(values):
    hours = (values.index - values.index[0]) / pd.Timedelta(hours=1)
    return float(np.trapezoid(values.to_numpy(), hours)) / 1000


def _clock(axes, day):
    from matplotlib.dates import DateFormatter, HourLocator

    axes.xaxis.set_major_locator(HourLocator(byhour=range(0, 24, 3), tz=day.tz))
    axes.xaxis.set_major_formatter(DateFormatter("%H", tz=day.tz))
    axes.set_xlabel(f"hour of the clock ({day.tz})")


def chosen(result):
    """Draw the sunlight that animals were found in, beside what was on offer and a clear sky.

    Parameters
    ----------
    result : fieldkit.field.sunlight.ChosenSunlight
        What `sunlight.chosen` returned.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> import fieldkit
    >>> from fieldkit.field import sunlight
    >>> found = sunlight.chosen(
    ...     fieldkit.demo_season().choices, latitude_deg=36.2, longitude_deg=-80.3, n_resamples=49
    ... )
    >>> len(chosen(found).axes)
    1
    """
    groups = result.table.drop(index="all")
    where = np.arange(len(groups))
    uv = result.quantity == "uv_index"
    figure, axes = new_axes()
    with look():
        axes.vlines(where, groups["p10"], groups["p90"], color=COLOURS["radiation"], linewidth=7, alpha=0.35)
        axes.errorbar(
            where,
            groups["median"],
            yerr=np.nan_to_num([groups["median"] - groups["low"], groups["high"] - groups["median"]]).clip(min=0),
            fmt="D",
            color=COLOURS["used"],
            ecolor=COLOURS["used"],
            elinewidth=1.2,
            capsize=3,
            label=f"taken: median, {100 * result.level:g} % limits (bar: middle 80 % of places)",
        )
        axes.plot(
            where + 0.18,
            groups["offered_median"],
            linestyle="",
            marker="o",
            color=COLOURS["available"],
            label="on offer: median",
        )
        if not uv:
            axes.plot(
                where,
                groups["clear_sky_median_w_m2"],
                linestyle="--",
                color=COLOURS["sky"],
                label="clear sky on level ground",
            )
        names = [f"{g}\nn {n:.0f}" for g, n in zip(groups.index, groups["n_places"])]
        axes.set_xticks(where, names)
        axes.set_ylim(bottom=0)
        axes.set_ylabel("UV index" if uv else "irradiance on the level (W/m²)")
        axes.set_xlabel("solar time (h; 12 is noon)" if result.by == "solar_hour" else "month")
        row = result.table.loc["all"]
        if uv:
            words = f"UV index {row['median']:.1f} where {row['offered_median']:.1f}"
        else:
            words = f"{row['median']:.0f} W/m² where {row['offered_median']:.0f} W/m²"
        axes.set_title(f"In the median, animals were found in {words} was on offer")
        figure.legend(fontsize=9, loc="outside lower center", ncols=1)
    return figure


def basking_hours(result, day_length_h=None):
    """Draw the hours of each day in which sun and air would allow basking.

    Parameters
    ----------
    result : fieldkit.physics.sun.BaskingHours
        What `sun.potential_basking_hours` returned.
    day_length_h : Series, optional
        Hours from sunrise to sunset by date, from `sun.day_length`.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> from fieldkit.physics import sun
    >>> times = pd.date_range("2025-06-21", periods=73, freq="h", tz="Etc/GMT+5")
    >>> light = pd.Series(np.maximum(0, -900 * np.cos(np.arange(73) / 12 * np.pi)), index=times)
    >>> len(basking_hours(sun.potential_basking_hours(light, threshold_w_m2=400.0)).axes)
    1
    """
    figure, axes = new_axes()
    table = result.table
    full = table[table["complete"]]
    with look():
        dates = table.index.tz_localize(None)
        if day_length_h is not None:
            axes.plot(
                day_length_h.index.tz_localize(None), day_length_h, color=COLOURS["sky"], linestyle="--", label="sun up"
            )
        axes.plot(
            dates[table["complete"]],
            full["hours"],
            linestyle="",
            marker=".",
            color=COLOURS["radiation"],
            label="each complete day",
        )
        if (~table["complete"]).any():
            axes.plot(
                dates[~table["complete"]],
                table.loc[~table["complete"], "hours"],
                linestyle="",
                marker="x",
                color=COLOURS["available"],
                label="days with gaps (at least)",
            )
        if len(full) >= 15:
            smooth = full["hours"].rolling(15, center=True, min_periods=8).median()
            axes.plot(
                smooth.index.tz_localize(None),
                smooth,
                color=COLOURS["used"],
                linestyle="-",
                label="median of 15 complete days",
            )
        axes.set_ylim(0, None)
        axes.set_ylabel("hours a day")
        axes.tick_params(axis="x", labelrotation=20)
        middle = f"{full['hours'].median():.1f} h a day" if len(full) else "unknown hours"
        axes.set_title(f"At {result.threshold_w_m2:.0f} W/m² or more: {middle} in the median")
        figure.legend(fontsize=9, loc="outside lower center", ncols=2)
    return figure


def spectra(lights, *, bands=None):
    """Draw spectra over each other, each scaled to the same power between 300 and 3000 nm, with the bands named.

    Parameters
    ----------
    lights : dict of str to Series
        Words and spectrum (W/m²/nm by nm); each must reach from 300 to 3000 nm.
    bands : dict of str to (low_nm, high_nm), optional
        None: `spectrum.BANDS`.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> from fieldkit.physics import spectrum
    >>> len(spectra({"sun": spectrum.reference_sunlight()}).axes)
    1
    """
    from fieldkit.physics import spectrum

    bands = spectrum.BANDS if bands is None else bands
    figure, axes = new_axes()
    with look():
        visible = list(bands).index("visible") if "visible" in bands else 0
        parts, top = [], 0.0
        for (words, light), (colour, line) in zip(lights.items(), _STYLES * len(lights)):
            shares = spectrum.band_shares(light, bands=bands, total_range_nm=(300, 3000))
            scaled = light.loc[300:3000] / shares.total_w_m2 * 1000
            axes.plot(scaled.index, scaled, label=words, color=COLOURS[colour], linestyle=line, linewidth=1.3)
            top = max(top, float(scaled.max()))
            parts.append(shares.table["share_pct"].iloc[visible])
        for name, (low, high) in bands.items():
            axes.axvline(low, color=COLOURS["available"], linewidth=0.8, linestyle=":")
            axes.text(np.sqrt(max(low, 290) * high), 1.08 * top, name, ha="center", fontsize=8.5, color=COLOURS["used"])
        axes.set_xscale("log")
        ticks = [300, 400, 600, 780, 1000, 1400, 2000, 3000]
        axes.set_xticks(ticks, [str(t) for t in ticks])
        axes.minorticks_off()
        axes.set_xlim(280, 3000)
        axes.set_ylim(0, 1.18 * top)
        axes.set_xlabel("wavelength (nm)")
        axes.set_ylabel("watts per nm in every 1000 W")
        least, most = f"{min(parts):.0f}", f"{max(parts):.0f}"
        span = least if least == most else f"{least} to {most}"
        axes.set_title(f"{span} % of the power (300–3000 nm) is {list(bands)[visible]}")
        axes.legend(fontsize=9)
    return figure


def beside_sunlight(match):
    """Draw the bands of a source beside those of sunlight at equal total power.

    Parameters
    ----------
    match : fieldkit.physics.spectrum.SpectralMatch
        What `spectrum.compare_with_sunlight` returned.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> from fieldkit.physics import spectrum
    >>> lamp = spectrum.blackbody(2856.0, np.arange(280, 4001.0))
    >>> len(beside_sunlight(spectrum.compare_with_sunlight(lamp)).axes)
    1
    """
    table = match.table
    where = np.arange(len(table))
    figure, axes = new_axes()
    with look():
        axes.plot(
            where - 0.12,
            table["sunlight_pct"],
            linestyle="",
            marker="o",
            markersize=8,
            color=COLOURS["field"],
            label=match.sunlight_name,
        )
        axes.plot(
            where + 0.12,
            table["source_pct"],
            linestyle="",
            marker="s",
            markersize=8,
            color=COLOURS["captive"],
            label=match.source_name,
        )
        axes.vlines(where, table["sunlight_pct"], table["source_pct"], color=COLOURS["available"], linewidth=1)
        names = [
            f"{name}\n{row['low_nm']:g}–{row['high_nm']:g} nm"
            + (
                "\nnot measured"
                if row["covered_pct"] == 0
                else "\npartly measured"
                if row["covered_pct"] < 99.9
                else ""
            )
            for name, row in table.iterrows()
        ]
        axes.set_xticks(where, names, fontsize=9)
        axes.set_yscale("log")
        axes.set_ylim(1e-3, 100)
        axes.set_ylabel("share of the power (%, log scale)")
        axes.set_title(
            f"{match.misplaced_pct:.0f} % of the power at other wavelengths; 1 W/m² warms like "
            f"{match.heating_ratio:.2f} W/m² of sun"
        )
        axes.legend(fontsize=9)
    return figure


def uv_through_day(computed, measured=None):
    """Draw UV index against the height of the sun: a clear sky, and what was read.

    Parameters
    ----------
    computed : Series
        Clear-sky UV index by sun elevation in degrees.
    measured : Series, optional
        Readings by sun elevation in degrees.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> from fieldkit.physics import spectrum
    >>> height = np.arange(0, 91.0, 5)
    >>> len(uv_through_day(pd.Series(spectrum.clear_sky_uv_index(90 - height), index=height)).axes)
    1
    """
    figure, axes = new_axes()
    with look():
        axes.plot(computed.index, computed, color=COLOURS["sky"], linestyle=LINES["captive"], label="clear, clean sky")
        title = f"Clear-sky UV index reaches {computed.max():.1f}"
        if measured is not None and len(measured):
            axes.plot(
                measured.index,
                measured,
                linestyle="",
                marker=".",
                markersize=5,
                color=COLOURS["used"],
                label="readings",
            )
            sky = np.interp(measured.index, computed.sort_index().index, computed.sort_index())
            title = f"{100 * (measured.to_numpy() <= sky).mean():.0f} % of the readings lie below a clear, clean sky"
        for edge, name in zip((2.5, 5.5, 7.5, 10.5), ("moderate", "high", "very high", "extreme")):
            if edge < axes.get_ylim()[1]:
                axes.axhline(edge, color=COLOURS["limit"], linewidth=0.7, linestyle=":")
                axes.text(
                    0.01, edge, f" {name} from here", fontsize=8, va="bottom", transform=axes.get_yaxis_transform()
                )
        axes.set_ylim(bottom=0)
        axes.set_xlabel("height of the sun (degrees)")
        axes.set_ylabel("UV index")
        axes.set_title(title)
        figure.legend(fontsize=9, loc="outside lower center", ncols=2)
    return figure
