"""The choice table at the door: which rows can be compared, whose they are, was there anything to choose."""

import numpy as np

from fieldkit.field.clogit import ChoiceError


def screen(choices, drivers, cluster):
    """Rows that can be compared, rows left out with the reason, notes."""
    import pandas as pd

    needed = ["set_id", "used", *drivers.values()]
    missing = [c for c in needed if c not in choices.columns]
    if missing:
        raise ChoiceError(
            f"The table has no column {', '.join(missing)}. A choice test needs choice sets: the place an animal used "
            "(used = 1) and places within reach that it did not use (used = 0), read at the same time. Counts of used "
            "places alone cannot show selection, because they do not say what else was on offer."
        )
    if len(choices) == 0:
        raise ChoiceError("The choice table is empty.")
    flags = pd.to_numeric(choices["used"], errors="coerce")
    if not flags.isin([0, 1]).all():
        bad = choices.index[~flags.isin([0, 1])][0]
        raise ChoiceError(f"`used` must be 1 or 0 in every row; row {bad} holds {choices.loc[bad, 'used']!r}.")
    if flags.eq(1).all():
        raise ChoiceError(
            f"All {len(choices)} places in this table were used. Without places that were there and not used at the "
            "same time, use cannot be told from what was on offer, so no selection can be claimed. Measure some unused "
            "places within reach at each look, and give them used = 0."
        )
    if flags.eq(0).all():
        raise ChoiceError("No place in this table was used (used is 0 in all rows), so there is no choice to test.")

    reason = pd.Series("", index=range(len(choices)), dtype=object)
    table = choices.reset_index(drop=True)
    flags = flags.reset_index(drop=True)
    reason[table["set_id"].isna()] = "no set_id"
    for column in drivers.values():
        numbers = pd.to_numeric(table[column], errors="coerce")
        reason[~np.isfinite(numbers.astype(float)) & (reason == "")] = f"{column} is missing"
        table[column] = numbers
    good = reason == ""
    per_set = pd.DataFrame(
        {"set_id": table["set_id"], "n": good.astype(int), "used": (good & (flags == 1)).astype(int)}
    )
    per_set["were"] = flags
    sums = per_set.groupby("set_id", dropna=True)[["n", "used", "were"]].transform("sum")
    lost = good & (sums["used"] == 0) & (sums["were"] > 0)
    reason[lost] = "the used place of this set could not be kept"
    reason[good & ~lost & (sums["used"] == 0)] = "the set has no used place"
    reason[good & (sums["used"] > 0) & (sums["n"] == 1)] = "the set has only one place left"
    reason[good & (sums["n"] > 1) & (sums["used"] == sums["n"])] = "all places of this set were used"
    if cluster is not None and cluster in table.columns:
        mixed = table.groupby("set_id")[cluster].transform("nunique") > 1
        reason[(reason == "") & mixed] = "two animals share this set"
    out = reason != ""
    kept = table[~out].assign(used=flags[~out].astype(int))
    shown = [c for c in ("set_id", "place_id") if c in choices.columns]
    left_out = choices.reset_index(names="row")[["row", *shown]][out.to_numpy()].assign(reason=reason[out].to_numpy())
    if len(kept) == 0:
        why = "; ".join(f"{n} rows: {r}" for r, n in reason[out].value_counts().items())
        raise ChoiceError(f"No choice set could be used ({why}).")
    notes = []
    if out.any():
        counts = ", ".join(f"{n} because {r}" for r, n in reason[out].value_counts().items())
        notes.append(f"{int(out.sum())} of {len(choices)} rows were left out: {counts}.")
    return kept, left_out.reset_index(drop=True), notes


def animals(kept, cluster, notes):
    """Animal of each row; a set without a name counts as an animal of its own."""
    import pandas as pd

    if cluster is None:
        return None, 0
    if cluster not in kept.columns or kept[cluster].isna().all():
        notes.append(
            "The animals are not named, so each set counts as another animal: if few animals were met again and again, "
            "the intervals are too narrow."
        )
        return None, 0
    names = kept[cluster]
    unnamed = names.isna()
    if unnamed.any():
        count = kept.loc[unnamed, "set_id"].nunique()
        notes.append(f"{count} sets name no animal; each counts as another animal.")
    labels = names.astype(str).where(~unnamed, "set " + kept["set_id"].astype(str))
    return pd.factorize(labels)[0], int(labels.nunique())


def centre(values, sets):
    """Values less the mean of their set, and the sizes of the sets."""
    sizes = np.bincount(sets)
    means = np.stack([np.bincount(sets, weights=column) for column in values.T]) / sizes
    return values - means.T[sets], sizes


def variance_inflation(values):
    """Variance inflation factors: how much less sure a coefficient is because the columns travel together.

    Parameters
    ----------
    values : array_like, shape (n, p)
        Columns; they are centred here, so no constant has to be added.

    Returns
    -------
    ndarray, shape (p,)
        1 when a column goes its own way, infinite when others fix it.

    Notes
    -----
    Diagonal of the inverse correlation matrix. Source: Belsley, Kuh and Welsch (1980) Regression Diagnostics, eq. 3.10.

    Examples
    --------
    >>> variance_inflation([[1, 1], [2, 2], [3, 4], [4, 3]]).round(3)
    array([2.778, 2.778])
    """
    values = np.asarray(values, dtype=float)
    centred = values - values.mean(axis=0)
    scale = np.sqrt((centred**2).sum(axis=0))
    out = np.ones(len(scale))
    moving = scale > 0
    correlation = (centred[:, moving] / scale[moving]).T @ (centred[:, moving] / scale[moving])
    lowest = np.linalg.eigvalsh(correlation)[0] if moving.any() else 1.0
    out[moving] = np.inf if lowest < 1e-10 else np.diag(np.linalg.inv(correlation))
    return out


def contrast(within, n_sets, drivers, errors):
    """One row per driver: did it differ between the places of a set by more than the instrument's error?"""
    import pandas as pd

    rows = []
    spread = np.sqrt(np.sum(within**2, axis=0) / max(1, len(within) - n_sets))
    inflation = variance_inflation(within)
    for (name, column), sd, vif in zip(drivers.items(), spread, inflation):
        error = errors.get(column, np.nan)
        true = np.sqrt(max(0.0, sd**2 - np.nan_to_num(error) ** 2))
        share = (true / sd) ** 2 if sd > 0 else 0.0
        testable = sd > 1e-9 and (np.isnan(error) or true >= error)
        if sd <= 1e-9:
            why = "did not differ between the places of any set"
        elif np.isnan(error):
            why = "instrument error not stated: taken as none"
        elif testable:
            why = "differs by more than the instrument's error"
        else:
            why = "differs by no more than the instrument's error"
        rows.append((name, column, sd, error, true, share, vif, bool(testable), why))
    columns = [
        "driver",
        "column",
        "within_set_sd",
        "instrument_error",
        "true_sd",
        "true_share",
        "vif",
        "testable",
        "why",
    ]
    return pd.DataFrame(rows, columns=columns).set_index("driver")
