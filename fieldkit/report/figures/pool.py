"""Forest and funnel of one quantity over seasons."""

import numpy as np

from fieldkit.core import FieldkitError
from fieldkit.field.pool import FEWEST_FUNNEL, QUANTITIES
from fieldkit.report.figures.style import COLOURS, look, new_axes

# Above this many seasons a row each cannot be read: the narrowest and widest are drawn with the pool.
_MOST = 60


def forest(found, quantity):
    """Draw each season with its interval, the mean of all, and where a new season should lie.

    Parameters
    ----------
    found : fieldkit.field.pool.Together
        What `pool.together` returned.
    quantity : str
        One of its parts, such as ``"selection_radiation"``.

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    FieldkitError
        When no season gives the quantity.
    """
    if quantity not in found.parts:
        raise FieldkitError(f"No season gives {quantity}. There are: {', '.join(found.parts)}.")
    part, about = found.parts[quantity], QUANTITIES[quantity]
    table = part.table.sort_values("standard_error").head(_MOST).sort_index()
    n = len(table)
    differs = found.seasons["differs"].reindex(table.index).fillna("") != ""
    figure, axes = new_axes(width=7.6, height=2.2 + 0.28 * n)
    where = -np.arange(n)
    with look():
        if about.null is not None:
            axes.axvline(about.null, color=COLOURS["used"], lw=0.8, label="no selection")
        for mark, mine, label in (
            ("s", ~differs, "season (95 % interval)"),
            ("o", differs, "season of another design or instrument"),
        ):
            if mine.any():
                part_of = table[mine.to_numpy()]
                reach = [part_of["estimate"] - part_of["low"], part_of["high"] - part_of["estimate"]]
                axes.errorbar(
                    part_of["estimate"], where[mine.to_numpy()], xerr=reach, fmt=mark, ms=5, capsize=2, label=label,
                    color=COLOURS["field"], mfc=COLOURS["field"] if mark == "s" else "white",
                )  # fmt: skip
        ticks, names = list(where), [f"{s} *" if d else s for s, d in zip(table.index, _decides(table))]
        if part.pooled:
            for below, low, high, colour, mark, label in (
                (1, part.low, part.high, "limit", "D", f"mean of {part.n_seasons} seasons"),
                (2, part.new_low, part.new_high, "available", "|", "a new season"),
            ):
                reach = [[part.estimate - low], [high - part.estimate]]
                axes.errorbar(
                    [part.estimate], [-n - below + 0.5], xerr=reach, fmt=mark, ms=7, capsize=4, lw=2,
                    color=COLOURS[colour], label=label,
                )  # fmt: skip
                ticks.append(-n - below + 0.5)
                names.append(label)
        axes.set_yticks(ticks, names, fontsize=9)
        axes.set_xlabel(f"{about.words} ({about.unit})" if about.unit not in ("1",) else about.words)
        axes.grid(axis="y", visible=False)
        figure.suptitle(_finding(part, about), fontsize=11.5, x=0.01, ha="left")
        figure.legend(*axes.get_legend_handles_labels(), fontsize=8.5, ncols=2, loc="outside lower center")
    return figure


def _decides(table):
    return table["decides"] if "decides" in table else [False] * len(table)


def _finding(part, about):
    if not part.pooled:
        return f"{part.n_seasons} season{'s' * (part.n_seasons > 1)}: listed, not pooled"
    size = f"{part.estimate:.2g} ({part.low:.2g} to {part.high:.2g})"
    if about.null is None:
        return f"{part.n_seasons} seasons: {size}"
    return f"{part.n_seasons} seasons: {size}, {'clear' if part.clear else 'not clear'}"


def funnel(found, quantity):
    """Draw each season's estimate against its standard error, from ten seasons on.

    Parameters
    ----------
    found : fieldkit.field.pool.Together
        What `pool.together` returned.
    quantity : str
        One of its parts.

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    FieldkitError
        With fewer than ten seasons, in which a lopsided funnel means nothing.
    """
    part, about = found.parts.get(quantity), QUANTITIES[quantity]
    if part is None or part.n_seasons < FEWEST_FUNNEL:
        raise FieldkitError(f"A funnel says something from {FEWEST_FUNNEL} seasons on.")
    errors = part.table["standard_error"].to_numpy()
    figure, axes = new_axes(width=6.4, height=4.2)
    with look():
        edge = np.array([0.0, errors.max() * 1.05])
        axes.fill_betweenx(
            edge, part.estimate - 1.96 * edge, part.estimate + 1.96 * edge, color=COLOURS["available"], alpha=0.2,
            label="95 % of seasons, were all alike", lw=0,
        )  # fmt: skip
        axes.plot(part.table["estimate"], errors, "o", color=COLOURS["field"], label="season")
        axes.axvline(part.estimate, color=COLOURS["limit"], lw=1, label="mean")
        axes.set_ylim(edge[1], 0)
        axes.set_xlabel(f"{about.words} ({about.unit})")
        axes.set_ylabel("standard error")
        beyond = (np.abs(part.table["estimate"] - part.estimate) > 1.96 * errors).sum()
        axes.set_title(f"{beyond} of {part.n_seasons} seasons lie beyond what alike seasons would show")
        axes.legend(fontsize=8.5)
    return figure
