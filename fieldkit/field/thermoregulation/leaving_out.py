"""How sure means are when readings of one animal, place or day go together: each left out in turn."""

import numpy as np
import pandas as pd

from fieldkit.field.stats.intervals import critical_value


def four(db, de):
    """Accuracy, thermal quality, effectiveness and difference."""
    return db, de, 1 - db / de if de > 0 else np.nan, de - db


def scales(db, de):
    """On which intervals are even: logarithms of distances and of their ratio, the plain difference."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.stack([np.log(db), np.log(de), np.log(db) - np.log(de), de - db])


def without_each(values, weights, codes, count):
    """Weighted mean without each of `count` groups in turn; NaN where nothing would be left."""
    own, own_weight = (np.bincount(codes, w, minlength=count) for w in (weights * values, weights))
    left = weights.sum() - own_weight
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(left > 1e-9 * weights.sum(), (weights @ values - own) / left, np.nan)


def jackknife(whole, without):
    """Variance and third cumulant from numbers without each group in turn, shape (2, k) from (k,) and (k, groups)."""
    count = without.shape[-1]
    with np.errstate(invalid="ignore", divide="ignore"):
        moves = whole[:, None] - without
        variance = (count - 1) / count * (moves**2).sum(axis=-1)
        moves = (moves - moves.mean(axis=-1, keepdims=True)) * (count - 1) / count
        third = count**2 / ((count - 1) * max(count - 2, 1)) * (moves**3).sum(axis=-1)
    return np.stack([variance, third])


def codes_of(*labels):
    """Whole numbers for labels, or for what several labels name together; and how many there are."""
    codes, names = pd.factorize(pd.MultiIndex.from_arrays(labels) if len(labels) > 1 else labels[0])
    return codes, len(names)


def spreads(db_values, db_weights, de_values, de_weights, body, places, places_named):
    """Moments by kind of group, with their number, and what places and days count twice."""
    db, de = (np.average(v, weights=w) for v, w in ((db_values, db_weights), (de_values, de_weights)))
    whole = scales(db, de)

    def of_bodies(codes, count):
        return without_each(db_values, db_weights, codes, count)

    def of_places(codes, count):
        return without_each(de_values, de_weights, codes, count)

    def moments(db_without, de_without):
        return jackknife(whole, scales(*np.broadcast_arrays(db_without, de_without)))

    animal, place = codes_of(body["animal_id"]), codes_of(places["animal_id"] if places_named else places.index)
    kinds = [(moments(of_bodies(*animal), de), animal[1]), (moments(db, of_places(*place)), place[1])]
    twice = np.zeros_like(kinds[0][0])
    dated = [t["day"].notna().all() for t in (body, places)]
    days = (
        pd.concat([t["day"] for t, has in zip((body, places), dated) if has]) if any(dated) else pd.Series(dtype=object)
    )
    if len(days.unique()) > 1:
        codes, count = codes_of(days)
        split = len(body) if dated[0] else 0
        db_without = of_bodies(codes[:split], count) if dated[0] else db
        de_without = of_places(codes[split:], count) if dated[1] else de
        kinds.append((moments(db_without, de_without), count))
        if dated[1]:
            twice = moments(
                db, of_places(*codes_of(places["animal_id"] if places_named else places.index, places["day"]))
            )
    return kinds, twice


def margins(kinds, twice, level, *, lopsided=True):
    """How far an interval reaches below and above, from the moments of several kinds of group and their numbers.

    Where the groups are lopsided, the end on their long side is moved out by Johnson's term: a small sample often
    lacks the few groups that make most of the mean. The other end stays where it is.

    Parameters
    ----------
    kinds : list of (numpy.ndarray, int)
        Of `jackknife`, shape (2, k), and the number of groups.
    twice : numpy.ndarray, shape (2, k)
        What is counted twice.
    level : float
        Confidence level.
    lopsided : bool
        Whether to move the end on the long side.

    Returns
    -------
    tuple of numpy.ndarray, shape (k,)
        Below and above, both positive; NaN where there is no interval.

    References
    ----------
    Johnson (1978) J. Am. Stat. Assoc. 73:536-544 (t for lopsided samples). Satterthwaite (1946) Biometrics Bull.
    2:110-114.
    """
    each = np.stack([moments[0] for moments, _ in kinds])
    groups = np.array([count for _, count in kinds], dtype=float)[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        total = np.maximum(each.sum(axis=0) - twice[0], each.max(axis=0))
        degrees = np.maximum(total**2 / (each**2 / (groups - 1)).sum(axis=0), 1.0)
        told = (total > 0) & np.isfinite(total)
        t = np.array([critical_value(level, degrees_of_freedom=d) if ok else np.nan for d, ok in zip(degrees, told)])
        moved = (sum(moments[1] for moments, _ in kinds) - twice[1]) / (6 * total) * (1 + 2 * t**2) * lopsided
    half = t * np.sqrt(total)
    return half + np.maximum(-moved, 0.0), half + np.maximum(moved, 0.0)
