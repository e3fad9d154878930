"""Figures of the heat balance: fluxes, model beside measurement, warming, ground through a day."""

from fieldkit.core import FieldkitError
from fieldkit.report.figures.style import COLOURS, look, new_axes

_PARTS = {
    "shortwave_w_m2": "sun absorbed",
    "sky_longwave_w_m2": "from sky",
    "ground_longwave_w_m2": "from ground",
    "emitted_w_m2": "given off as radiation",
    "convection_w_m2": "air",
    "conduction_w_m2": "contact",
    "evaporation_w_m2": "evaporation",
    "metabolism_w_m2": "own heat",
}
_SERIES = (
    (COLOURS["surface"], "--"),
    (COLOURS["air"], "-."),
    (COLOURS["field"], ":"),
    (COLOURS["radiation"], (0, (5, 1))),
    (COLOURS["captive"], (0, (3, 1, 1, 1))),
    (COLOURS["available"], (0, (1, 1))),
)


def _colours(count):
    if count > len(_SERIES):
        raise FieldkitError(f"At most {len(_SERIES)} series can be told apart in one figure: show fewer.")
    return _SERIES[:count]


def fluxes(balances):
    """Bars of every flux for a few cases side by side.

    Parameters
    ----------
    balances : dict of str to dict
        Name of a case and what `heat.energy_balance` returned for it (scalars).

    Returns
    -------
    matplotlib.figure.Figure
    """
    import numpy as np

    names = [n for n in _PARTS if any(abs(b[n]) > 0.05 for b in balances.values())]
    figure, axes = new_axes(width=7.6, height=4.2)
    with look():
        width = 0.8 / len(balances)
        keys = []
        for number, ((case, balance), (colour, _)) in enumerate(zip(balances.items(), _colours(len(balances)))):
            label = f"{case}, {balance['operative_temperature_c']:.1f} °C"
            at = np.arange(len(names)) + (number - (len(balances) - 1) / 2) * width
            bars = axes.bar(at, [balance[n] for n in names], width * 0.95, color=colour, label=label)
            keys.append(bars)
        axes.axhline(0, color="black", linewidth=0.8)
        axes.set_xticks(range(len(names)), [_PARTS[n].replace(" ", "\n", 1) for n in names])
        axes.set_ylabel("heat gained (W per m² of surface)")
        said = (f"{c[0].lower()}{c[1:]} {b['operative_temperature_c']:.1f} °C" for c, b in balances.items())
        axes.set_title(f"Operative temperature: {', '.join(said)}")
        axes.legend(handles=keys)
    return figure


def modelled_and_measured(result, *, what="surface", daylight=None):
    """A measured series with the models beside it, and below it how far each is off.

    Parameters
    ----------
    result : fieldkit.physics.agreement.Agreement
        What `agreement` returned.
    what : str
        What was measured, for the axis.
    daylight : boolean Series, optional
        Shaded where true.

    Returns
    -------
    matplotlib.figure.Figure
    """
    figure, (above, below) = new_axes(2, 1, width=7.6, height=5.6, sharex=True, gridspec_kw={"height_ratios": (2, 1)})
    with look():
        above.plot(result.measured.index, result.measured, color="black", linewidth=1.8, label="measured")
        for name, (colour, line) in zip(result.modelled, _colours(result.modelled.shape[1])):
            series = result.modelled[name]
            above.plot(series.index, series, color=colour, linestyle=line, linewidth=1.3, label=name)
            error = series - result.measured
            below.plot(error.index, error, color=colour, linestyle=line, linewidth=1.3, label=f"{name} minus measured")
        below.axhline(0, color="black", linewidth=0.8)
        if daylight is not None:
            for axes in (above, below):
                low, high = axes.get_ylim()
                axes.fill_between(
                    daylight.index, low, high, where=daylight, color=COLOURS["radiation"], alpha=0.08, linewidth=0
                )
                axes.set_ylim(low, high)
        above.set_ylabel(f"{what} (°C)")
        below.set_ylabel("error (K)")
        below.set_xlabel("time")
        above.set_title(result.sentence.replace("; ", "\n", 1))
        above.legend(ncols=2, fontsize=8.5)
        _short_dates(below)
    return figure


def ground_day(surfaces):
    """Surface temperature of several substrates through the same weather.

    Parameters
    ----------
    surfaces : pandas.DataFrame
        One column per substrate (°C), index of times.

    Returns
    -------
    matplotlib.figure.Figure
    """
    figure, axes = new_axes(width=7.6, height=4.2)
    with look():
        for name, (colour, line) in zip(surfaces, _colours(surfaces.shape[1])):
            axes.plot(surfaces.index, surfaces[name], color=colour, linestyle=line, linewidth=1.6, label=name)
        peak = surfaces.max()
        axes.set_title(
            f"Warmest: {peak.idxmax()}, {peak.max():.0f} °C; coolest at its peak: {peak.idxmin()}, {peak.min():.0f} °C"
        )
        axes.set_ylabel("surface temperature (°C)")
        axes.set_xlabel("time")
        axes.legend(ncols=2)
        _short_dates(axes)
    return figure


def following(table):
    """A body temperature that follows its operative temperature.

    Parameters
    ----------
    table : pandas.DataFrame
        Columns ``operative_temperature_c`` and ``body_temperature_c``, index of times.

    Returns
    -------
    matplotlib.figure.Figure
    """
    figure, axes = new_axes(width=7.6, height=4.2)
    with look():
        operative, body = table["operative_temperature_c"], table["body_temperature_c"]
        axes.plot(table.index, operative, color=COLOURS["radiation"], linestyle="-.", label="operative temperature")
        axes.plot(table.index, body, color="black", linewidth=1.8, label="body")
        behind = (operative - body).abs().max()
        axes.set_title(f"The body follows its place and is at most {behind:.1f} K behind")
        axes.set_ylabel("temperature (°C)")
        axes.set_xlabel("time")
        axes.legend()
        _short_dates(axes)
    return figure


def _short_dates(axes):
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter

    locator = AutoDateLocator()
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(locator))
