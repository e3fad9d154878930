"""Ranges that reach above a limit: they end at it, and what can then not be met is said."""

import numpy as np

from fieldkit.captive.targets.table import Kind, spoken
from fieldkit.field.climate.seasons import MONTHS

# A contact time beyond this is one of lying, not of a touch (minutes).
_SHORT_MIN = 10.0


def limits_over(table, aim):
    """Limits that hold everywhere and whenever an aim does.

    Parameters
    ----------
    table : DataFrame
        As `Targets.table`.
    aim : Series
        One of its rows.

    Returns
    -------
    DataFrame
        Lowest first.
    """
    mine = (table["kind"] == Kind.LIMIT) & (table["target"] == aim["target"])
    mine &= table["zone"].isin(("whole", aim["zone"])) & table["month"].isin((0, aim["month"]))
    return table[mine & table["period"].isin(("all", aim["period"]))].sort_values("high")


def held_to_limits(table):
    """End every range at the limits that hold where and when it does.

    A lamp holds a surface at one temperature for as long as it burns, which the sun does to no stone: a range of
    surfaces for the basking site therefore ends at the limit for eight hours of contact, not at that for ten minutes.

    Parameters
    ----------
    table : DataFrame
        As `Targets.table`.

    Returns
    -------
    table : DataFrame
        With ``high`` of aims lowered, and their ``source`` saying so.
    notes : tuple of str
        What was ended where.

    Examples
    --------
    >>> import pandas as pd
    >>> from fieldkit.captive.targets import contact_rows, target_row
    >>> rows = [target_row("surface_c", zone="basking site", period="day", low=30, high=50), *contact_rows()]
    >>> float(held_to_limits(pd.DataFrame(rows))[0].loc[0, "high"])
    43.0
    """
    table, notes = table.copy(), []
    for number, aim in table[table["kind"] == Kind.AIM].iterrows():
        limits = limits_over(table, aim)
        # A range that begins above a limit cannot be ended at it: `impossible` speaks of that.
        limits = limits[limits["high"] > np.nan_to_num(aim["low"], nan=-np.inf)]
        if not len(limits) or not aim["high"] > limits["high"].iloc[0] + 1e-9:
            continue
        limit = limits.iloc[0]
        was, now = (f"{value:.3g} {aim['unit']}".removesuffix(" UV index") for value in (aim["high"], limit["high"]))
        table.loc[number, ["high", "high_error"]] = limit["high"], np.nan
        table.loc[number, "source"] = f"{aim['source']}; reached {was}, ended at the limit of {now}"
        over = f", which holds for {limit['contact_min'] / 60:g} hours of contact" if _long(limit) else ""
        what = f"{spoken(aim['target'])} at the {aim['zone']}"
        notes.append(
            f"The range of the {what} reached {was} and ends at the limit of {now}{over}: the limit comes first."
        )
    return table, tuple(dict.fromkeys(notes))


def impossible(table):
    """Sentences about ranges that begin above a limit: both cannot be kept.

    Parameters
    ----------
    table : DataFrame
        As `Targets.table`.

    Returns
    -------
    list of str

    Examples
    --------
    >>> import pandas as pd
    >>> from fieldkit.captive.targets import target_row
    >>> rows = [target_row("uv_index", low=9.0), target_row("uv_index", high=8.0, kind="limit")]
    >>> len(impossible(pd.DataFrame(rows)))
    1
    """
    found = {}
    for _, aim in table[table["kind"] == Kind.AIM].iterrows():
        limits = limits_over(table, aim)
        for limit in limits[limits["high"] < aim["low"]].itertuples(index=False):
            key = (aim["target"], limit.high, limit.contact_min, aim["unit"])
            found.setdefault(key, []).append((aim["low"], aim["month"]))
    words = []
    for (target, high, minutes, unit), ranges in found.items():
        months = ", ".join(MONTHS[m - 1] for m in sorted({int(m) for _, m in ranges if m})) or "all year"
        over = f" in the mean of {minutes / 60:g} hours" if minutes > _SHORT_MIN else ""
        low = max(low for low, _ in ranges)
        words.append(
            f"Targets contradict each other: {spoken(target)} must stay below {high:.3g} {unit}{over} and above "
            f"{low:.3g} {unit} ({months}). The limit comes first: change the other."
        )
    return words


def _long(limit):
    return limit["contact_min"] > _SHORT_MIN
