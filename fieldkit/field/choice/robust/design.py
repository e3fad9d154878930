"""How the places were compared: picked or drawn, near or far, read in which order. What that leaves of a verdict."""

from dataclasses import dataclass

import numpy as np

# Answers of season.toml under [choice_sets], drawn: those that leave the observer no say.
RULES = ("random bearing and distance", "grid", "all places in sight")
PICKED = "picked by the observer"
DRAWN = (*RULES, PICKED)
# P-value below which unused readings are said to follow the order, held over the drivers (our choice).
ORDER_LEVEL = 0.01
# Share of sets in which the used place was read first from which on order and use cannot be told apart (our choice).
ALWAYS = 0.8
# A set that took longer (minutes) was not read in one go, and its clock times are no order (our choice).
LONGEST = 180.0
# Within sets, places differ this many times less than sets do: the places may lie too near (our choice).
ALIKE = 1.5
# Largest excess of shade air at used places that a thermometer which had not settled there could make (°C). Our choice:
# from a hand of 34 °C into air of 20 °C, one twentieth of the step is left after three time constants and one seventh
# after two, so 0.7 to 1.9 °C.
UNSETTLED_C = 2.0
# Answers to "order" by which the used place is not what the thermometer met first.
NOT_FIRST = ("any order", "used place last")


@dataclass(frozen=True, eq=False, kw_only=True)
class Design:
    """How places were compared.

    Attributes
    ----------
    drawn : str
        One of `DRAWN`, or "not stated".
    by_rule : bool
        The observers had no say in the places.
    first_share : float
        Share of sets whose used place stands first.
    drift : DataFrame
        One row per driver: change of the unused readings per place read, its standard error, p-value held over drivers,
        whether it is believed, `bias`, what it adds to the used place against the others, and `reach`, what it could
        add at most.
    alike : tuple of str
        Drivers in which the places of a set were alike though sets differ.
    detrended : ndarray or None
        Readings with believed drifts, and what goes with the distance, taken out.
    per_metre : Series or None
        Change of each driver's readings per metre of distance within sets, where that was taken out: used places have
        distances of their own, from a burrow or from where the animal was met, and do not lie nearest by definition.
    order : str
        What the order was taken from: "minutes" or "rows".
    always_first : bool
        The used place is known to be read first nearly always, so that use and order cannot be told apart.
    settling_c : float
        Mean excess of shade air at used places, where it is so small that a thermometer still warm, or cold, from the
        hand could make it and nothing says that it was not read there first (°C); else NaN.
    distance_m : float
        Median distance of the unused places, where written.
    """

    drawn: str
    by_rule: bool
    first_share: float
    drift: object
    alike: tuple
    detrended: object
    order: str
    distance_m: float
    always_first: bool = False
    per_metre: object = None
    settling_c: float = np.nan

    @property
    def drifting(self):
        """Drivers whose readings follow the order of reading."""
        return tuple(self.drift.index[self.drift["believed"]])


def examine(kept, values, used, sets, sizes, within, drivers, errors, design):
    """Look at order, nearness and the stated way of drawing places.

    Parameters
    ----------
    kept : DataFrame
        Rows sorted by set, in the order they were written; columns ``minutes``, ``distance_m`` are used where there.
    values, within : ndarray, shape (n, p)
        Readings of the drivers, and less the mean of their set.
    used, sets : ndarray, shape (n,)
        Whether the place was used, and the code of its set.
    sizes : ndarray, shape (sets,)
        Places of each set.
    drivers : dict of str to str
        Name and column of each driver.
    errors : dict of str to float
        Reading error by column.
    design : dict or None
        Answers of season.toml: ``drawn``, ``order``, ``reach_m``.

    Returns
    -------
    Design
    """

    design = dict(design or {})
    drawn = str(design.get("drawn") or "not stated")
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    position = np.arange(len(sets)) - starts[sets].astype(float)
    order, minutes = "rows", _numbers(kept, "minutes")
    if minutes is None or not np.isfinite(minutes).all() or not np.ptp(minutes) > 0:
        minutes = _since_first(kept, starts, sets)
    if minutes is not None:
        order, position = "minutes", minutes
    first = position == np.minimum.reduceat(position, starts)[sets]
    share = float((used & first).sum() / len(sizes))
    drift = _drift(values, position, used, sets, drivers)
    detrended = None
    if drift["believed"].any():
        slopes = np.where(drift["believed"], drift["per_step"], 0.0)
        if share >= ALWAYS:
            slopes = np.where(drift["believed"], _kindest(values, position, used, drift), 0.0)
        detrended = values - slopes * position[:, None]
    distance = _numbers(kept, "distance_m")
    per_metre = _along_distance(distance, within, used, sets, sizes, drivers)
    if per_metre is not None:
        from_mean = distance - (np.bincount(sets, weights=distance) / sizes)[sets]
        detrended = (values if detrended is None else detrended) - from_mean[:, None] * per_metre.to_numpy()
    far = (
        float(np.nanmedian(distance[~used])) if distance is not None and np.isfinite(distance[~used]).any() else np.nan
    )
    return Design(
        drawn=drawn,
        by_rule=drawn in RULES,
        first_share=share,
        always_first=share >= ALWAYS and (order == "minutes" or design.get("order") == "used place first"),
        drift=drift,
        alike=tuple(_alike(kept, values, within, sets, sizes, drivers, errors)),
        detrended=detrended,
        order=order,
        distance_m=far,
        per_metre=per_metre,
        settling_c=_settling(within, used, drivers, spread_out=_read_first_seldom(design, order, share)),
    )


def _kindest(values, position, used, drift):
    """Drifts within two standard errors that explain most of what sets used places apart.

    Where the used place is always first, the drift's own error would else pass for a choice: in simulated warming
    mornings it did so in 28 of 100 seasons, so in 18 (drifts too small to be believed make those).
    """
    gap = position[~used].mean() - position[used].mean()
    excess = values[used].mean(axis=0) - values[~used].mean(axis=0)
    reach = 2 * np.nan_to_num(drift["standard_error"].to_numpy())
    per_step = drift["per_step"].to_numpy()
    return np.clip(-excess / gap, per_step - reach, per_step + reach)


def _along_distance(distance, within, used, sets, sizes, drivers):
    """Slope of the readings on distance within sets; None where distances are counted from the used place itself."""
    import pandas as pd

    if distance is None or not np.isfinite(distance).all():
        return None
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    nearest = distance == np.minimum.reduceat(distance, starts)[sets]
    from_mean = distance - (np.bincount(sets, weights=distance) / sizes)[sets]
    # Counted from the animal, the used place lies at 0: use and distance cannot be told apart.
    if (used & nearest).sum() >= ALWAYS * len(sizes) or not from_mean @ from_mean > 0:
        return None
    return pd.Series(from_mean @ within / (from_mean @ from_mean), index=pd.Index(list(drivers), name="driver"))


def _read_first_seldom(design, order, share):
    """Is it known that the thermometer met other places before the used one in many sets?"""
    return design.get("order") in NOT_FIRST or (order == "minutes" and share < ALWAYS)


def _settling(within, used, drivers, *, spread_out):
    """Mean excess of shade air at used places, if an unsettled thermometer could make it."""
    if "shade_air_c" not in drivers.values() or spread_out:
        return np.nan
    column = within[:, list(drivers.values()).index("shade_air_c")]
    excess = float(column[used].mean() - column[~used].mean())
    return excess if abs(excess) <= UNSETTLED_C else np.nan


def _since_first(kept, starts, sets):
    """Minutes from the first reading of a set, where most sets were timed place by place; else None."""
    if "time" not in kept:
        return None
    minutes = 60 * clock_hours(kept["time"])
    minutes = minutes - np.minimum.reduceat(minutes, starts)[sets]
    if not np.isfinite(minutes).all() or minutes.max() > LONGEST:
        return None
    spread = np.maximum.reduceat(minutes, starts)
    return minutes if (spread > 0).mean() > 0.5 else None


def _numbers(kept, column):
    import pandas as pd

    return pd.to_numeric(kept[column], errors="coerce").to_numpy(dtype=float) if column in kept else None


def _drift(values, position, used, sets, drivers):
    """Slope of unused readings on their place in the order, pooled over sets; a t-test with sets as units."""
    import pandas as pd
    from scipy import special

    free = ~used
    n = np.bincount(sets[free], minlength=sets[-1] + 1)
    good = (n > 2)[sets] & free
    p, unused = np.ones(values.shape[1]), good
    slope, unsure = np.zeros(values.shape[1]), np.full(values.shape[1], np.nan)
    if good.sum() > 10:
        code = np.unique(sets[unused], return_inverse=True)[1]
        size = np.bincount(code)
        t = position[unused] - (np.bincount(code, weights=position[unused]) / size)[code]
        for j, column in enumerate(values[unused].T):
            x = column - (np.bincount(code, weights=column) / size)[code]
            across, along = np.bincount(code, weights=t * x), np.bincount(code, weights=t * t)
            if along.sum() <= 0 or len(size) < 3:
                continue
            slope[j] = across.sum() / along.sum()
            rest = across - slope[j] * along
            error = np.sqrt((rest**2).sum() * len(size) / (len(size) - 1)) / along.sum()
            unsure[j] = error
            p[j] = 2 * special.stdtr(len(size) - 1, -abs(slope[j]) / error) if error > 0 else 1.0
    gap = np.mean(position[free]) - np.mean(position[used])
    held = np.minimum(1.0, p * len(p))
    return pd.DataFrame(
        {
            "per_step": slope,
            "standard_error": unsure,
            "p": held,
            "believed": held < ORDER_LEVEL,
            "bias": -slope * gap,
            "reach": np.abs(gap) * (np.abs(slope) + 2 * unsure),
        },
        index=pd.Index(list(drivers), name="driver"),
    )


def _alike(kept, values, within, sets, sizes, drivers, errors):
    """Drivers that differ far less within sets than between sets of one hour."""

    if "time" not in kept:
        return []
    first = np.unique(sets, return_index=True)[1]
    hour = clock_hours(kept["time"].iloc[first])
    if not np.isfinite(hour).all() or len(first) < 20:
        return []
    out = []
    # The sun's daily course is no difference between places: a parabola of the hour is taken out.
    course = np.vander((hour - 12) / 4, 3)
    for j, (name, column) in enumerate(drivers.items()):
        if name == "air":
            continue
        level = np.bincount(sets, weights=values[:, j]) / sizes
        rest = level - course @ np.linalg.lstsq(course, level, rcond=None)[0]
        between = np.sqrt((rest**2).sum() / (len(rest) - 3))
        own = np.sqrt((within[:, j] ** 2).sum() / max(1, len(within) - len(sizes)))
        real = np.sqrt(max(0.0, own**2 - errors.get(column, 0.0) ** 2))
        if between > ALIKE * real and between > 2 * errors.get(column, 0.0):
            out.append(name)
    return out


def clock_hours(times):
    """Hours of the day as written on the observer's clock; NaN where there is none."""
    import pandas as pd

    if pd.api.types.is_datetime64_any_dtype(times):
        # Times of one zone; in words each would cost as much as a fit.
        return (times.dt.hour + times.dt.minute / 60).to_numpy(float)
    parts = times.astype(str).str.extract(r"(\d{1,2}):(\d{2})")
    return (pd.to_numeric(parts[0], errors="coerce") + pd.to_numeric(parts[1], errors="coerce") / 60).to_numpy(float)


def hours_of_sets(kept, sets):
    """Hour of day of each set, from its first row; None where times are not known."""
    if "time" not in kept:
        return None
    hours = clock_hours(kept["time"].iloc[np.unique(sets, return_index=True)[1]])
    return hours if np.isfinite(hours).all() else None
