"""Means over the time that an animal may touch a surface, and how readings divide into day and night."""

import numpy as np
import pandas as pd

from fieldkit.captive.audit.means import BLOCK_MINUTES, make

# A window counts when this much of it was read; readings further apart than a quarter of it cannot show a mean
# (both our choice).
FILLED, SPARSE = 0.75, 0.25


def contact_means(rows, minutes, zone):
    """Running means over a contact time.

    Parameters
    ----------
    rows : DataFrame
        Ten-minute means of one logger (`audit_blocks.Blocks.of`).
    minutes : float
        Contact time; up to ten minutes, or NaN, leaves the rows as they are.
    zone : str
        Where it reads. In a retreat an animal stays for hours, so single readings count there.

    Returns
    -------
    DataFrame
        Same columns. Where readings are too rare for a mean: one row a date that was read by day and by night, the
        lower of the two; none where that is not known either.

    Examples
    --------
    >>> moment = np.arange(0, 72 * 600, 600)
    >>> value = np.where(moment < 36 * 600, 20.0, 50.0)
    >>> rows = pd.DataFrame({"moment": moment, "value": value, "date": 0, "day": True})
    >>> contact_means(rows, 480, "basking site")["value"].max()
    42.5
    """
    if not minutes > BLOCK_MINUTES or not len(rows):
        return rows
    rows = rows.sort_values("moment")
    moment, window = rows["moment"].to_numpy(), 60 * minutes
    step = float(np.median(np.diff(moment))) if len(rows) > 1 else np.inf
    if step <= SPARSE * window:
        at = pd.to_datetime(moment, unit="s")
        rolling = pd.Series(rows["value"].to_numpy(), index=at).rolling(pd.Timedelta(minutes=minutes))
        oldest = pd.Series(moment.astype(float), index=at).rolling(pd.Timedelta(minutes=minutes)).min().to_numpy()
        full = (moment - oldest >= window - 1.5 * step) & (rolling.count().to_numpy() >= FILLED * window / step)
        return rows.assign(value=rolling.mean().to_numpy())[full]
    if zone == "retreat":
        return rows
    parts = rows.pivot_table(index="date", columns="day", values="value", aggfunc="mean")
    both = parts.dropna().min(axis=1) if parts.shape[1] == 2 else pd.Series(dtype=float)
    kept = rows.drop_duplicates("date").set_index("date", drop=False)
    kept = kept.loc[kept.index.isin(both.index)]
    return kept.assign(value=both.reindex(kept.index)).reset_index(drop=True)


def highest_mean(record, point_id, minutes):
    """The highest mean over a contact time that surfaces at a point were read at.

    Parameters
    ----------
    record : EnclosureRecord
        The enclosure.
    point_id : str
        A point of it.
    minutes : float
        Contact time.

    Returns
    -------
    float
        °C; NaN when nothing reads a surface there often enough.

    Examples
    --------
    >>> import fieldkit
    >>> bool(highest_mean(fieldkit.demo_enclosure(), "B1", 480) > 40)
    True
    """
    means = make(record)
    info = means.loggers
    here = info.index[(info["role"] == "surface") & (info["point_id"] == point_id)]
    parts = [contact_means(means.of(i), minutes, info["zone"][i])["value"] for i in here]
    return float(max((part.max() for part in parts if len(part)), default=np.nan))


def by_part(values, out, rows):
    """Readings by day and by night: how many, how many outside, median, 5 and 95 %.

    Parameters
    ----------
    values : ndarray (n,)
        What was compared.
    out : ndarray of bool (n,)
        Outside the limits.
    rows : DataFrame
        Their rows, with ``day``.

    Returns
    -------
    dict
        ``n_readings, n_outside``, and ``day_`` and ``night_`` with ``n, outside, low, middle, high``.
    """
    found = {"n_readings": len(values), "n_outside": int(np.sum(out))}
    day = rows["day"].to_numpy(dtype=bool)
    for name, part in (("day", day), ("night", ~day)):
        low, middle, high = np.quantile(values[part], [0.05, 0.5, 0.95]) if part.any() else (np.nan,) * 3
        found |= {f"{name}_n": int(part.sum()), f"{name}_outside": int(np.sum(out[part]))}
        found |= {f"{name}_low": low, f"{name}_middle": middle, f"{name}_high": high}
    return found


PARTS = tuple(f"{part}_{what}" for part in ("day", "night") for what in ("n", "outside", "low", "middle", "high"))
