"""Readings with their labels, and how far they lie from a range."""

import dataclasses

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, elementwise

# Fewer animals than this get no interval (our choice: with four it still holds as often as it says, but is so wide that
# fewer would say nothing).
LEAST_ANIMALS = 4
# Below this the sentence warns of the one animal that was missed (our choice, from the coverage told in `indices`).
FEW_ANIMALS = 10
# An animal's own quartiles mean something from four readings on.
LEAST_READINGS = 4


@elementwise({"distance_c": {"units": "K", "long_name": "distance from the preferred range"}})
def distance(temperature_c, low_c, high_c):
    """How far temperatures lie outside a range; zero inside and on its ends.

    Parameters
    ----------
    temperature_c : array_like
        Body or operative temperature, °C.
    low_c, high_c : float
        Ends of the preferred range, °C.

    Returns
    -------
    same kind as the input
        Distance, °C, never negative.

    References
    ----------
    Hertz, Huey & Stevenson (1993) Am. Nat. 142:796-818.

    Examples
    --------
    >>> distance([30.5, 32.0, 37.0], 32.0, 36.0).tolist()
    [1.5, 0.0, 1.0]
    """
    return outside(temperature_c, low_c, high_c)


def outside(temperature_c, low_c, high_c):
    # Without the wrapper: every resample of the gradient calls it.
    return np.maximum(np.maximum(low_c - temperature_c, temperature_c - high_c), 0.0)


def median_unbiased(values, shares):
    # Median-unbiased (Hyndman & Fan 1996, type 8): a few readings an animal would otherwise draw its quartiles inwards.
    return np.quantile(values, shares, method="median_unbiased")


def flat(values):
    return np.ravel(np.asarray(values, dtype=object))


def column(values, length, name):
    values = flat(values)
    if len(values) != length:
        raise FieldkitError(f"{name} has {len(values)} values where {length} are needed, one for each reading.")
    return values.astype(float)


def labelled(values, labels, name, days=None):
    """Table (value, animal_id, day) of the readings that are there, and a list of those that are not."""
    values = pd.Series(flat(values))
    table = pd.DataFrame({"value": pd.to_numeric(values, errors="coerce").astype(float)})
    text = values[table["value"].isna() & values.notna()]
    if len(text):
        raise FieldkitError(f"{name} has '{text.iloc[0]}' at position {text.index[0]}, where a temperature is needed.")
    left_out = [(f"{name} {row}", "empty") for row in table.index[~np.isfinite(table["value"])]]
    table["animal_id"] = 0
    if labels is not None:
        labels = pd.Series(flat(labels))
        if len(labels) != len(table):
            raise FieldkitError(f"{name} has {len(table)} readings but {len(labels)} labels: one label each is needed.")
        table["animal_id"] = labels
        unnamed = table["animal_id"].isna() & np.isfinite(table["value"])
        left_out += [(f"{name} {row}", "no label says which animal or place") for row in table.index[unnamed]]
    table["day"] = None
    if days is not None:
        days = pd.Series(flat(days))
        if len(days) != len(table):
            raise FieldkitError(f"{name} has {len(table)} readings but {len(days)} days: one day each is needed.")
        table["day"] = days
        undated = table["day"].isna() & np.isfinite(table["value"]) & table["animal_id"].notna()
        left_out += [(f"{name} {row}", "no day says when") for row in table.index[undated]]
        table = table[table["day"].notna()]
    return table[np.isfinite(table["value"]) & table["animal_id"].notna()].copy(), left_out


def rows_of_tables(found, tables):
    """Readings left out by the table and its index, in place of their place among the readings."""
    rows = [row.split() for row in found.left_out["row"]]
    named = [(tables[name][0], tables[name][1].index[int(place)]) for name, place in rows]
    left_out = pd.DataFrame(named, columns=["table", "row"]).assign(reason=found.left_out["reason"].to_numpy())
    return dataclasses.replace(found, left_out=left_out)
