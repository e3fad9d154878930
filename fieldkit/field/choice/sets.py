"""The choice table at the door: which rows can be compared, whose they are, was there anything to choose."""

from dataclasses import dataclass

import numpy as np

from fieldkit.field.stats.clogit import ChoiceError

# Least share of the within-set variance, in the direction the errors blur most, that must be real (our choice: below,
# the correction multiplies the noise more than fifty times and nothing tells the drivers apart).
LEAST_REAL = 0.02


@dataclass(frozen=True, eq=False, kw_only=True)
class Sets:
    """Choice sets ready to be compared: rows sorted by set, codes of sets and animals, what was left out and why.

    Codes of animals beyond the last name belong to sets that name none.
    """

    kept: object
    sets: np.ndarray
    used: np.ndarray
    animals: np.ndarray | None
    n_sets: int
    names: list
    left_out: object
    notes: list

    @property
    def n_animals(self):
        """Animals with a name."""
        return len(self.names)

    @property
    def named(self):
        """Rows whose set names its animal."""
        if self.animals is None:
            return np.zeros(len(self.sets), dtype=bool)
        return self.animals < len(self.names)


def prepare(choices, drivers, cluster):
    """Screen a choice table and sort it by set.

    Parameters
    ----------
    choices : DataFrame
        The choice table.
    drivers : dict of str to str
        Name and column of each driver; rows without a reading in any of them are left out.
    cluster : str or None
        Column that names the animal.

    Returns
    -------
    Sets

    Raises
    ------
    ChoiceError
        When the table cannot hold a choice test.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"set_id": [1, 1, 2], "used": [1, 0, 1], "surface_c": [30.0, 25.0, 28.0]})
    >>> ready = prepare(table, {"surface": "surface_c"}, None)
    >>> ready.n_sets, ready.left_out["reason"].tolist()
    (1, ['the set has only one place left'])
    """
    import pandas as pd

    kept, left_out, notes = _screen(choices, drivers, cluster)
    sets = pd.factorize(kept["set_id"])[0]
    order = np.argsort(sets, kind="stable")
    kept, sets = kept.iloc[order], sets[order]
    animals, names = _animals(kept, sets, cluster, notes)
    return Sets(
        kept=kept,
        sets=sets,
        used=kept["used"].to_numpy(dtype=bool),
        animals=animals,
        n_sets=int(sets[-1]) + 1,
        names=names,
        left_out=left_out,
        notes=notes,
    )


def _screen(choices, drivers, cluster):
    """Rows that can be compared, rows left out with the reason, notes."""
    import pandas as pd

    if choices is None:
        raise ChoiceError("There are no choice sets: places that animals took, and places they could have taken.")
    if not hasattr(choices, "columns") or not hasattr(choices, "iloc"):
        raise ChoiceError(
            f"The choice sets must be a table (DataFrame) with one row a place, not a {type(choices).__name__}: read "
            "them with fieldkit.read_season, or pandas.read_csv."
        )
    missing = [c for c in ("set_id", "used") if c not in choices.columns]
    if missing:
        raise ChoiceError(
            f"The table has no column {', '.join(missing)}. A choice test needs choice sets: the place an animal used "
            "(used = 1) and places within reach that it did not use (used = 0), read at the same time. Counts of used "
            "places alone cannot show selection, because they do not say what else was on offer."
        )
    missing = [c for c in drivers.values() if c not in choices.columns]
    if missing:
        raise ChoiceError(
            f"The table has no column {', '.join(missing)}: without these readings this cannot be tested."
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

    used = flags.to_numpy(dtype=float) == 1
    sets, labels = pd.factorize(choices["set_id"])
    numbers = {c: pd.to_numeric(choices[c], errors="coerce").to_numpy(dtype=float) for c in drivers.values()}
    reason = np.full(len(choices), "", dtype=object)
    reason[sets < 0] = "no set_id"
    for column, values in numbers.items():
        reason[~np.isfinite(values) & (reason == "")] = f"{column} is missing"
    good = reason == ""

    def count(rows):
        # The last place takes the rows without a set.
        return np.bincount(sets[rows] % (len(labels) + 1), minlength=len(labels) + 1)[sets]

    places, taken, were = count(good), count(good & used), count(used)
    reason[good & (taken == 0) & (were > 0)] = "the used place of this set could not be kept"
    reason[good & (were == 0)] = "the set has no used place"
    reason[good & (taken > 0) & (places == 1)] = "the set has only one place left"
    reason[good & (places > 1) & (taken == places)] = "all places of this set were used"
    if cluster is not None and cluster in choices.columns:
        animal = pd.factorize(choices[cluster])[0]
        named = np.flatnonzero((animal >= 0) & (sets >= 0))
        first = np.full(len(labels) + 1, -1)
        first[sets[named[::-1]]] = animal[named[::-1]]
        mixed = np.zeros(len(labels) + 1, dtype=bool)
        mixed[sets[named[animal[named] != first[sets[named]]]]] = True
        reason[(reason == "") & mixed[sets]] = "two animals share this set"

    reason[(reason == "") & _standing_twice(choices, used, sets, numbers)] = "the row stands twice in its set"
    reason[(reason == "") & _used_among_the_others(choices, used, sets)] = "this place is the used one of its set"
    twin = _twin_sets(choices, used, sets, numbers, reason == "", cluster)
    reason[(reason == "") & twin] = "the whole set stands twice, under another set_id"
    # What was just left out may have left a set with a single place.
    good = reason == ""
    reason[good & (count(good) == 1)] = "the set has only one place left"

    out = reason != ""
    told = ", ".join(f"{n} because {r}" for r, n in pd.Series(reason[out], dtype=object).value_counts().items())
    if out.all():
        raise ChoiceError(f"No choice set could be used: {told}.")
    kept = choices[~out].assign(**{c: v[~out] for c, v in numbers.items()}, used=used[~out].astype(int))
    shown = [c for c in ("set_id", "place_id") if c in choices.columns]
    left_out = choices.loc[out, shown].reset_index(names="row").assign(reason=reason[out])
    notes = [f"{int(out.sum())} of {len(choices)} rows were left out: {told}."] if out.any() else []
    return kept, left_out, notes


def _standing_twice(choices, used, sets, numbers):
    """Rows that repeat an earlier one of their set: same place, same use, same readings."""
    import pandas as pd

    if "place_id" not in choices:
        return np.zeros(len(choices), dtype=bool)
    table = pd.DataFrame({"set": sets, "place": choices["place_id"].to_numpy(), "used": used, **numbers})
    return (table.duplicated() & table["place"].notna()).to_numpy()


def _used_among_the_others(choices, used, sets):
    """Rows not used, of a place that is the used one of the same set: an alternative to itself."""
    import pandas as pd

    if "place_id" not in choices:
        return np.zeros(len(choices), dtype=bool)
    place = choices["place_id"].to_numpy()
    named = pd.notna(place)
    pairs = pd.MultiIndex.from_arrays([sets, pd.Series(place, dtype=object).where(named, "").astype(str)])
    return ~used & named & pairs.isin(pairs[used & named])


def _twin_sets(choices, used, sets, numbers, good, cluster):
    """Rows of sets that repeat an earlier one reading by reading, at the same time and for the same animal."""
    import pandas as pd

    twin = np.zeros(len(choices), dtype=bool)
    if "time" not in choices:
        return twin
    told = {"time": choices["time"].array, "used": used, **numbers}
    if cluster is not None and cluster in choices:
        told["animal"] = choices[cluster].astype(str).to_numpy()
    rows = pd.util.hash_pandas_object(pd.DataFrame(told), index=False).to_numpy()[good]
    # The sum of the hashes of its rows tells a set, in whatever order they stand.
    per_set = pd.DataFrame({"set": sets[good], "hash": rows}).groupby("set", sort=False)["hash"].agg(["sum", "size"])
    repeated = per_set.index[per_set.duplicated()]
    twin[good] = np.isin(sets[good], repeated)
    return twin


def _animals(kept, sets, cluster, notes):
    """Code of the animal of each row, and the names; a set that names none counts as an animal of its own."""
    import pandas as pd

    if cluster is None:
        return None, []
    if cluster not in kept.columns or kept[cluster].isna().all():
        notes.append(
            "The animals are not named, so each set counts as another animal: if few animals were met again and again, "
            "the intervals are too narrow."
        )
        return None, []
    codes, labels = pd.factorize(kept[cluster])
    of_set = np.full(sets.max() + 1, -1)
    np.maximum.at(of_set, sets, codes)
    unnamed = np.flatnonzero(of_set < 0)
    if len(unnamed):
        notes.append(f"{len(unnamed)} sets name no animal; each counts as another animal.")
        of_set[unnamed] = len(labels) + np.arange(len(unnamed))
    return of_set[sets], list(labels)


def centre(values, sets):
    """Values less the mean of their set, and the sizes of the sets."""
    sizes = np.bincount(sets)
    means = np.stack([np.bincount(sets, weights=column) for column in values.T]) / sizes
    within = values - means.T[sets]
    # What rounding leaves of a column that is the same at all places is no difference between them.
    within[np.abs(within) < 1e-13 * np.abs(values).max(axis=0)] = 0.0
    return within, sizes


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
    >>> variance_inflation([[1, 1], [2, 2], [3, 4], [4, 3]]).round(3).tolist()
    [2.778, 2.778]
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


def stated_errors(errors, columns):
    """Standard deviation of one reading by column; a pair (constant, share) takes the readings' own size.

    Errors of columns that are not drivers (such as ``operative_c``) are kept as they are.
    """
    out = {}
    for column, error in (errors or {}).items():
        if error is None:
            continue
        if np.ndim(error) == 1:
            constant, share = (float(v) for v in error)
            size = np.sqrt(np.mean(np.square(columns[column]))) if column in columns else 0.0
            error = np.hypot(constant, share * size)
        if np.isfinite(error):
            out[column] = float(error)
    return out


# With fewer pairs their spread says too little of the error (our choice: six pairs tell it to within a factor of two).
FEWEST_PAIRS = 6


def error_of_pairs(choices, columns, *, level=0.95):
    """Error of one reading from places that were read twice in their set.

    Parameters
    ----------
    choices : DataFrame
        The choice table; rows of one ``set_id`` and ``place_id`` are readings of one place.
    columns : sequence of str
        Columns of the readings.
    level : float
        Confidence level.

    Returns
    -------
    DataFrame
        One row per column with at least `FEWEST_PAIRS` pairs: ``pairs, error, low, high``.

    Notes
    -----
    Half of the mean squared difference is the error's variance (Bland and Altman 1996, BMJ 313:744); limits by the
    chi-squared distribution with the pairs as degrees of freedom.

    Examples
    --------
    >>> import pandas as pd
    >>> twice = pd.DataFrame({"set_id": range(8), "place_id": "P", "surface_c": 30.0})
    >>> again = twice.assign(surface_c=[31, 29, 31, 29, 31, 29, 31, 29])
    >>> float(error_of_pairs(pd.concat([twice, again]), ["surface_c"]).loc["surface_c", "error"].round(3))
    0.707
    """
    import pandas as pd
    from scipy import special

    rows = {}
    if {"set_id", "place_id"} <= set(choices.columns):
        known = choices[choices["place_id"].notna()]
        key = [known["set_id"], known["place_id"].astype(str)]
        for column in columns:
            values = pd.to_numeric(known[column], errors="coerce")
            found = values.groupby(key).agg(["count", "first", "last"])
            pair = found[found["count"] == 2]
            n = len(pair)
            square = float(((pair["last"] - pair["first"]) ** 2).sum()) / 2
            if n >= FEWEST_PAIRS and square > 0:
                tails = special.chdtri(n, [(1 - level) / 2, (1 + level) / 2])
                rows[column] = (n, np.sqrt(square / n), *np.sqrt(square / tails))
    return pd.DataFrame.from_dict(rows, orient="index", columns=["pairs", "error", "low", "high"]).rename_axis("column")


# More words than this in one column are names, not kinds (our choice).
MOST_WORDS = 12


def words_as_drivers(choices, drivers):
    """Give each word of a column of words a 0/1 column and a driver of its own, the commonest word being compared with.

    Returns
    -------
    choices, drivers
        As given where no driver holds words.
    """
    import pandas as pd

    if not hasattr(choices, "columns"):
        return choices, drivers
    out, table = {}, choices
    for name, column in drivers.items():
        values = choices.get(column)
        if values is None or pd.to_numeric(values, errors="coerce").notna().any() or values.notna().sum() == 0:
            out[name] = column
            continue
        words = values.dropna().astype(str).str.strip()
        kinds = words.value_counts()
        if not 2 <= len(kinds) <= MOST_WORDS:
            raise ChoiceError(
                f"The column {column} holds {len(kinds)} different words: as a driver it needs numbers, or 2 to "
                f"{MOST_WORDS} kinds (such as rock, sand, bark), one of which the others are compared with."
            )
        for kind in kinds.index[1:]:
            label = f"{column}: {kind}"
            yes = (values.astype(str).str.strip() == kind).astype(float).where(values.notna())
            table = table.assign(**{label: yes})
            out[kind] = label
    return table, out
