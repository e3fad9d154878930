"""Slips that leave every cell readable: rows pasted twice, a name misspelt once, 0 for a reading that is missing."""

import difflib
import re

import numpy as np

from fieldkit.records import schema as schemas

# How many times as often a name has to stand for a rare one like it to count as a slip of it (rules of thumb): letters
# changed round or left out are slips more often than one letter for another, which makes another name.
_OFTEN, _LETTER_CHANGED = 2, 5
_LEAST_ZEROS = 3


def pasted_sets(note):
    """Choice sets whose readings are those of another set, under another name."""
    frame = note.frame
    if "set_id" not in frame or "place_id" not in frame:
        return
    numbers = [c for c, d in schemas.TABLES["choices"].columns.items() if d.metadata["kind"] == "number" and c in frame]
    if not numbers:
        return
    values = frame[numbers].to_numpy(dtype=float)
    seen = {}
    for name, positions in frame.groupby("set_id", sort=False).indices.items():
        rows = values[positions]
        # Six readings that agree to the last digit do not agree by chance.
        if len(rows) < 2 or np.isfinite(rows).sum() < 6:
            continue
        key = tuple(sorted(map(tuple, np.nan_to_num(rows, nan=-1e9))))
        if key in seen:
            note.at(
                frame.index[positions[0]],
                "set_id",
                f"The readings of choice set {name} are those of set {seen[key]} to the last digit.",
                "Delete one of the two if it was pasted twice.",
                "warning",
            )
        seen.setdefault(key, name)


def same_rows(note):
    """Rows that are the same in every cell: one sentence for all."""
    columns = [c for c in note.frame.columns if note.frame[c].notna().any()]
    again = note.frame.duplicated(columns, keep="first") if columns else note.frame.index != note.frame.index
    if not again.any():
        return
    first = note.frame.index[again.to_numpy().argmax()]
    same = note.frame[columns].eq(note.frame.loc[first, columns]) | note.frame[columns].isna()
    note.warn(
        again,
        None,
        f"{'This row is' if again.sum() == 1 else f'{again.sum():,} rows stand twice; the first of them is'} "
        f"the same as {note.row(same.all(axis=1).idxmax())} in every cell.",
        "Delete rows that were entered or pasted twice.",
    )


def near_misses(note):
    """Names that stand seldom and look like one that stands often."""
    for column in ("animal_id", "observer", "station_id", "point", "lamp"):
        if column not in note.frame or column not in schemas.ALL_TABLES[note.table].columns:
            continue
        counts = note.frame[column].dropna().astype(str).value_counts()
        if len(counts) > 2000:
            continue
        for rare in counts.index:
            usual = [n for n in counts.index if counts[n] >= _OFTEN * counts[rare] and n != rare]
            meant = next((n for n in usual if _slip(rare, n, counts[n] >= _LETTER_CHANGED * counts[rare])), None)
            if meant is not None:
                note.problems.suggest(f"words.{column}", rare, meant)
                note.warn(
                    note.frame[column].astype(str) == rare,
                    column,
                    f"'{rare}' stands {counts[rare]} times and looks like '{meant}', which stands {counts[meant]} "
                    "times.",
                    f'Write both alike if they are the same, or add "{rare}" = "{meant}" under [words.{column}] in '
                    "season.toml.",
                )


def across(tables, rows, problems):
    """Names that stand in one table only and differ from those of another by letters that look like digits.

    Parameters
    ----------
    tables : dict of str to DataFrame or None
        By name.
    rows : dict of str to DataFrame
        File and row of each row.
    problems : Problems
        Takes what is found.
    """
    for column in ("animal_id", "place_id"):
        known = {
            name: frame[column].dropna().astype(str).value_counts()
            for name, frame in tables.items()
            if frame is not None and column in frame
        }
        for table, counts in known.items():
            others = {}
            for other, theirs in known.items():
                if other != table:
                    for name, times in theirs.items():
                        others[name] = others.get(name, 0) + times
            folded = {folded_name(name): name for name in others}
            for name in counts.index:
                meant = folded.get(folded_name(name))
                if name in others or meant is None or meant in counts.index:
                    continue
                alone = sum(meant in names for names in known.values()) == 1
                if alone and (counts[name], meant) > (others[meant], name):
                    continue  # of two that stand in one table each, it is said of the rarer one
                first = int((tables[table][column].astype(str) == name).to_numpy().argmax())
                problems.warn(
                    rows[table]["file"].iloc[first],
                    f"'{name}' stands {counts[name]} times here and in no other table, where '{meant}' stands "
                    f"{others[meant]} times.",
                    f'Write both alike if they are the same, or add "{name}" = "{meant}" under [words.{column}] in '
                    "season.toml.",
                    row=int(rows[table]["row"].iloc[first]),
                    column=column,
                    value=name,
                )


def folded_name(name):
    """A name without capitals, blanks and dashes; beside digits the letters O, I and L count as 0 and 1.

    Examples
    --------
    >>> folded_name("R-O7") == folded_name("r07")
    True
    """
    folded = "".join(name.lower().split()).replace("-", "").replace("_", "")
    if any(c.isdigit() for c in folded):
        folded = folded[:1] + folded[1:].translate(str.maketrans("oil", "011"))
    return folded


def _slip(rare, meant, much_rarer):
    """Whether a name may be a slip of another: names apart only in digits are names of their own."""
    one, two = (re.sub(r"[\W_]+", "", n.lower()) for n in (rare, meant))
    if one == two:
        return False  # said elsewhere
    if re.search(r"\d", one) or re.search(r"\d", two):
        return False
    if min(len(one), len(two)) < 4 or abs(len(one) - len(two)) > 1:
        return False
    if sorted(one) == sorted(two):
        differ = [k for k in range(len(one)) if one[k] != two[k]]
        return len(differ) == 2 and differ[1] == differ[0] + 1
    if len(one) != len(two):
        short, long = sorted((one, two), key=len)
        return any(long[:k] + long[k + 1 :] == short for k in range(len(long)))
    return (
        much_rarer
        and sum(a != b for a, b in zip(one, two)) == 1
        and difflib.SequenceMatcher(a=one, b=two).ratio() > 0.7
    )


def heaped_zeros(note, groups=None):
    """Temperatures of exactly 0 where nothing else comes near 0."""
    for column, _declared in schemas.ALL_TABLES[note.table].columns.items():
        limits = schemas.column_range(note.table, column)
        if column not in note.frame or limits is None or limits.dimension not in ("temperature", "pressure"):
            continue
        _heap(note, note.frame[column].to_numpy(dtype=float), np.arange(len(note.frame)), column)
    for positions in groups or ():
        _heap(note, note.frame["value"].to_numpy(dtype=float)[positions], positions, "value")


def _heap(note, values, positions, column):
    zero = values == 0
    others = values[np.isfinite(values) & ~zero]
    if not zero.any() or len(others) < 5:
        return
    middle, spread = np.median(others), np.quantile(others, 0.9) - np.quantile(others, 0.1)
    near = np.abs(others) < max(0.1 * spread, 0.5)
    # One alone has to lie far off; many betray themselves by standing where no other reading does.
    alone = zero.sum() < _LEAST_ZEROS and (middle < 12 or np.quantile(others, 0.01) < 3 or len(others) < 20)
    if alone or near.sum() > zero.sum() / 3 or middle < 3:
        return
    chosen = np.zeros(len(note.frame), bool)
    chosen[positions[zero]] = True
    note.warn(
        chosen,
        column,
        f"This is exactly 0, and {'no other reading' if not near.any() else f'only {near.sum()} other readings'} of "
        f"{len(others):,} come{'s' if not near.any() else ''} near it (median {middle:.3g}).",
        "If 0 stands for a reading that was not taken, leave the cell empty.",
    )
