"""From the flat rows of a choice table to dense blocks of differences from the used place, checked on the way."""

import itertools
import math
from dataclasses import dataclass

import numpy as np

from fieldkit.core import FieldkitError

BLOCK_ROWS = 8192
MAX_SUBSETS = 5000


class ChoiceError(FieldkitError):
    """The choice table cannot be tested; the message says why and what is needed."""


@dataclass(frozen=True, eq=False)
class Block:
    """Choice sets of one size, as differences from the used place."""

    others: np.ndarray  # (p, places less the used one, sets): other place minus used place
    which: np.ndarray  # number of the set
    cluster: np.ndarray | None
    rows: int

    def only(self, keep):
        return Block(np.ascontiguousarray(self.others[keep]), self.which, self.cluster, self.rows)


def matrix(X):
    """Drivers as floats (n, p), and their names."""
    names = [str(c) for c in X.columns] if hasattr(X, "columns") else None
    try:
        values = np.asarray(X, dtype=float)
    except (TypeError, ValueError):
        raise ChoiceError("The drivers must be numbers; text was found among them.") from None
    if values.ndim == 1:
        values = values[:, None]
    if values.ndim != 2 or len(values) == 0:
        raise ChoiceError("The table of drivers is empty: one row per place and one column per driver are needed.")
    return values, names or [f"x{j}" for j in range(values.shape[1])]


def used_flags(used, n_rows):
    """`used` as booleans."""
    flags = np.asarray(used)
    if len(flags) != n_rows:
        raise ChoiceError(f"`used` has {len(flags)} values for {n_rows} rows.")
    if flags.dtype != bool:
        bad = ~np.isin(flags, (0, 1))
        if bad.any():
            raise ChoiceError(f"`used` must be 1 or 0; row {int(np.flatnonzero(bad)[0])} holds {flags[bad][0]!r}.")
        flags = flags.astype(bool)
    return flags


def check_finite(values, names):
    """Refuse missing and infinite readings, saying where the first one is."""
    # A sum is finite only if all its terms are: one pass, no copy. An overflow of the sum itself is looked at again.
    with np.errstate(over="ignore", invalid="ignore"):
        suspect = ~np.isfinite(values.sum(axis=0))
    for j in np.flatnonzero(suspect):
        bad = np.flatnonzero(~np.isfinite(values[:, j]))
        if len(bad):
            raise ChoiceError(
                f"{names[j]} has {len(bad)} missing or infinite values, the first in row {bad[0]}: "
                "leave these rows out, or use choice.compare, which lists them."
            )


def find_sets(set_id, n_rows):
    """Boundaries of the sets along an order of rows (None: as they come)."""
    labels = np.asarray(set_id)
    if len(labels) != n_rows:
        raise ChoiceError(f"`set_id` has {len(labels)} values for {n_rows} rows.")
    order = None
    if not np.issubdtype(labels.dtype, np.integer):
        import pandas as pd

        labels = pd.factorize(set_id)[0]
        if (labels < 0).any():
            raise ChoiceError(f"Row {int(np.flatnonzero(labels < 0)[0])} has no set_id.")
    change = labels[1:] != labels[:-1]
    if (labels[1:] < labels[:-1]).any():
        order = np.argsort(labels, kind="stable")
        change = np.diff(labels[order]) != 0
    starts = np.concatenate([[0], np.flatnonzero(change) + 1, [n_rows]])
    return starts, order, n_rows


def cluster_codes(cluster, n_rows):
    """Animals as codes; None stays None."""
    if cluster is None:
        return None
    import pandas as pd

    codes = pd.factorize(np.asarray(cluster))[0]
    if len(codes) != n_rows:
        raise ChoiceError(f"`cluster` has {len(codes)} values for {n_rows} rows.")
    if (codes < 0).any():
        raise ChoiceError(f"Row {int(np.flatnonzero(codes < 0)[0])} has no animal: name it, or fit without clusters.")
    return codes


def cut_blocks(values, used, starts, order, codes, notes):
    """Cut the sets into blocks; sets that say nothing about choice are counted in `notes`."""
    in_order = used if order is None else used[order]
    sizes = np.diff(starts)
    chosen = np.add.reduceat(in_order, starts[:-1], dtype=np.intp)
    informative = (chosen > 0) & (chosen < sizes)
    _explain_uninformative(sizes, chosen, informative, notes)

    blocks = []
    kind = np.where(informative, sizes * (sizes.max() + 1) + chosen, -1)
    for label in np.unique(kind[informative]):
        size, m = divmod(int(label), int(sizes.max()) + 1)
        which = np.flatnonzero(kind == label)
        subsets = math.comb(size, m)
        if m > 1 and subsets > MAX_SUBSETS:
            raise ChoiceError(
                f"A set of {size} places has {m} used ones: {subsets} ways to choose them are too many to list. "
                "Give one set per animal and look, with one used place."
            )
        step = max(1, BLOCK_ROWS // max(size, subsets if m > 1 else size))
        for at in range(0, len(which), step):
            part = which[at : at + step]
            rows = starts[part] + np.arange(size)[:, None]
            taken = in_order[rows]
            rows = rows if order is None else order[rows]
            if codes is not None and (codes[rows] != codes[rows[0]]).any():
                bad = np.flatnonzero((codes[rows] != codes[rows[0]]).any(axis=0))[0]
                raise ChoiceError(f"Two animals share one choice set (row {rows[0, bad]}): give each its own set.")
            x = values.T[:, rows]
            others = _against_used(x, taken) if m == 1 else _subsets_against_used(x, taken, size, m)
            blocks.append(Block(others, part, None if codes is None else codes[rows[0]], rows.size))
    return blocks


def _explain_uninformative(sizes, chosen, informative, notes):
    if informative.any():
        for count, why in (
            (np.sum(chosen == 0), "had no used place"),
            (np.sum((chosen == sizes) & (sizes == 1)), "had one place only"),
            (np.sum((chosen == sizes) & (sizes > 1)), "had all places used"),
        ):
            if count:
                notes.append(f"{count} choice set{'s' if count > 1 else ''} {why} and say nothing about choice.")
        return
    if (chosen == sizes).all():
        raise ChoiceError(
            f"All {int(sizes.sum())} places in this table were used. Without places that were there and not used at "
            "the same time, use cannot be told from what was on offer, so no selection can be claimed. Measure some "
            "unused places within reach at each look, and give them used = 0."
        )
    raise ChoiceError("No choice set has both a used and an unused place, so there is nothing to compare.")


def _against_used(x, taken):
    """Other places minus the used one; the used place itself, all zeros, is left out of the block."""
    p, size, count = x.shape
    position = taken.argmax(axis=0)
    reference = x[:, position, np.arange(count)]
    others = np.empty((p, size - 1, count))
    for i in range(size - 1):
        # The first place stands in for the used one, wherever that is.
        source = np.where(position == i + 1, 0, i + 1)
        others[:, i] = x[:, source, np.arange(count)] if (source != i + 1).any() else x[:, i + 1]
    others -= reference[:, None, :]
    return others


def _subsets_against_used(x, taken, size, m):
    subsets = np.array(list(itertools.combinations(range(size), m)))
    sums = np.zeros((x.shape[0], len(subsets), x.shape[2]))
    hit = np.zeros((len(subsets), x.shape[2]), dtype=bool)
    for i in range(m):
        sums += x[:, subsets[:, i], :]
        hit = taken[subsets[:, i]] & (hit | (i == 0))
    return _against_used(sums, hit)
