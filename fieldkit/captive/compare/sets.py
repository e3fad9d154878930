"""Choice sets of an enclosure: the point an animal was at, against all points as they read then."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.captive.compare.offered import ROLES, at_times
from fieldkit.core import FieldkitError, Result, method
from fieldkit.records.enclosure import OUT_OF_SIGHT

# A choice set of the field is an animal that lies at a place; so it is here.
LYING = ("basking",)
# More sets than this tell no more and take long (our choice); they are thinned evenly.
MOST_SETS = 20_000


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class EnclosureSets(Result):
    """Choice sets made of scans.

    Attributes
    ----------
    table : DataFrame
        As the table ``choices`` of a season, one row a point and scan; ``modelled`` names the columns that no
        instrument read there.
    left_out : DataFrame
        ``scans, reason``: how many scans made no set, and why.
    offered : Offered
    """

    table: pd.DataFrame
    sentence: str
    left_out: pd.DataFrame
    offered: object
    notes: tuple
    settings: dict


@method
def choice_sets(record, *, behaviours=LYING, fill=True, most=MOST_SETS, offered=None):
    """Make choice sets of the scans of an enclosure: the point taken against all points as they read then.

    Parameters
    ----------
    record : EnclosureRecord
        With ``scans``, and readings near them in time.
    behaviours : sequence of str or None
        Scans that make a set; None: all. Scans without a behaviour count in any case.
    fill : bool
        Whether the lamp field and the thermal model stand in where a point has no reading of its own.
    most : int
        More sets are thinned evenly over time.
    offered : Offered, optional
        Conditions at all times of the scans, when they are known already.

    Returns
    -------
    EnclosureSets

    Raises
    ------
    FieldkitError
        When there are no scans.

    Examples
    --------
    >>> import fieldkit
    >>> sets = choice_sets(fieldkit.demo_enclosure("watched"), fill=False)
    >>> sets.table.groupby("set_id")["used"].sum().unique().tolist()
    [1]
    """
    scans = record.scans
    if scans is None or not len(scans):
        raise FieldkitError(
            "The enclosure has no scans of its animals: fill in the table scans (time, animal_id, point, behaviour)."
        )
    scans = scans.drop_duplicates(["time", "animal_id"])
    words = scans["behaviour"] if "behaviour" in scans else pd.Series(np.nan, index=scans.index)
    away = scans["point"] == OUT_OF_SIGHT
    other = ~away & words.notna() & (~words.isin(list(behaviours)) if behaviours is not None else False)
    chosen = scans[~away & ~other]
    reasons = [("the animal was out of sight", int(away.sum())), ("it did something else", int(other.sum()))]
    if len(chosen) > most:
        keep = np.unique(np.linspace(0, len(chosen) - 1, most).round().astype(int))
        reasons.append((f"thinned evenly to {most:,} sets", len(chosen) - len(keep)))
        chosen = chosen.iloc[keep]
    if offered is None:
        offered = at_times(record, pd.DatetimeIndex(chosen["time"].unique()), fill=fill)
    table = _sets(record, chosen, offered)
    known = table[["surface_c", "irradiance_w_m2", "shade_air_c"]].notna().any(axis=1)
    read = known.groupby(table["set_id"], sort=False).transform("any") if len(table) else known
    lost = len(set(table.loc[~read, "set_id"]))
    if lost:
        table = table[read]
        reasons.append(("no point was read within half an hour", int(lost)))
    left_out = pd.DataFrame([r[::-1] for r in reasons if r[1]], columns=["scans", "reason"])
    count = table["set_id"].nunique()
    gone = "; ".join(f"{row.scans:,} scans: {row.reason}" for row in left_out.itertuples())
    return EnclosureSets(
        table=table.reset_index(drop=True),
        sentence=f"{count:,} choice sets of {len(offered.points)} points from {len(scans):,} scans."
        + (f" Left out: {gone}." if gone else ""),
        left_out=left_out,
        offered=offered,
        notes=offered.notes,
        settings={"behaviours": behaviours, "fill": fill, "most": most},
    )


def _sets(record, chosen, offered):
    n, k = len(chosen), len(offered.points)
    place = offered.times.get_indexer(pd.DatetimeIndex(chosen["time"]))
    at = pd.Index(offered.points).get_indexer(chosen["point"])
    used = np.zeros((n, k), dtype=int)
    used[np.arange(n), at] = 1
    modelled = [" ".join(c for c in ROLES if offered.modelled[c][p]) for p in range(k)]
    table = pd.DataFrame(
        {
            "set_id": np.repeat([f"scan {i + 1}" for i in chosen.index], k),
            "time": np.repeat(pd.DatetimeIndex(chosen["time"]), k),
            "animal_id": np.repeat(chosen["animal_id"].to_numpy(), k),
            "place_id": np.tile(offered.points, n),
            "used": used.ravel(),
            "substrate": np.tile(record.points["substrate"].to_numpy(), n),
        }
    )
    for column in ROLES:
        table[column] = offered.readings[column][place].ravel()
    return table.assign(modelled=np.tile(modelled, n))
