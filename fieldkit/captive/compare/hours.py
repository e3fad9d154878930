"""What either side did and what was offered, hour by hour."""

import numpy as np
import pandas as pd

# Hours of light are compared in steps of this many (our choice).
STEP_H = 2.0
# What wild animals took: the middle four fifths of the used places, as in the targets.
TAKEN = (0.1, 0.9)
FEWEST_SETS = 10


def by_hour(field, captive):
    """Share of scans in each behaviour by hour, on two clocks.

    Returns
    -------
    DataFrame
        ``clock`` ("solar time" with 12 in the middle of the light, or "since light on"), ``hour`` (begin of two
        hours), ``group, kind, share, scans``.
    """
    rows = []
    for side in (field, captive):
        known = side.scans[side.scans["kind"].notna()]
        for clock, column in (("solar time", "solar_hour"), ("since light on", "since_light")):
            start = np.floor(known[column] / STEP_H) * STEP_H
            for hour, part in known.groupby(start):
                total = part["weight"].sum()
                for kind in ("basking", "moving", "resting", "hidden"):
                    share = part.loc[part["kind"] == kind, "weight"].sum() / total
                    rows.append((clock, float(hour), side.name, kind, float(share), len(part)))
    return pd.DataFrame(rows, columns=["clock", "hour", "group", "kind", "share", "scans"])


def offered_by_hour(field, captive):
    """Share of the scan times of each hour at which some point offers what wild animals took.

    Returns
    -------
    DataFrame
        ``quantity, low, high, hour`` (solar time, begin of an hour), ``share, times``.
    """
    rows = []
    hours = captive.scans.drop_duplicates("time").set_index("time")["solar_hour"]
    hour = np.floor(hours.reindex(captive.bound_to.times).to_numpy())
    for column in ("irradiance_w_m2", "surface_c", "operative_c"):
        band = taken_range(field, column)
        values = captive.bound_to.readings[column]
        if band is None or not np.isfinite(values).any():
            continue
        inside = ((values >= band[0]) & (values <= band[1])).any(axis=1)
        known = np.isfinite(values).any(axis=1)
        for h in np.unique(hour[known]):
            at = known & (hour == h)
            rows.append((column, *band, float(h), float(inside[at].mean()), int(at.sum())))
    return pd.DataFrame(rows, columns=["quantity", "low", "high", "hour", "share", "times"])


def used_places(side, column):
    if side.sets is None or column not in side.sets:
        return None
    used = side.sets[(side.sets["used"] == 1) & side.sets[column].notna()]
    return used if len(used) >= FEWEST_SETS else None


def taken_range(field, column):
    """The middle four fifths of what wild animals took; None where fewer than ten places tell."""
    used = used_places(field, column)
    return None if used is None else tuple(float(q) for q in used[column].quantile(list(TAKEN)))


def by_light(side, column):
    """What the points offered at the times of scans in the hours of light, and the days."""
    offered = side.bound_to
    values = offered.readings[column]
    row = light_rows(side)
    values = values[row]
    if not np.isfinite(values).any():
        return None, None
    days = offered.times[row].tz_localize(None).to_numpy().astype("datetime64[D]").astype(int)
    return values, days


def light_rows(side):
    """Rows of the offered table in the hours of light."""
    first = side.scans.drop_duplicates("time")
    hour = pd.Series(first["since_light"].to_numpy(), index=pd.DatetimeIndex(first["time"]))
    since = hour.reindex(side.bound_to.times).to_numpy()
    length = side.light_h if np.isfinite(side.light_h) else 24.0
    return (since >= 0) & (since <= length)
