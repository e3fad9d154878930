"""What a trial can be about, as one number a day."""

import numpy as np
import pandas as pd

from fieldkit.captive.compare.sides import KINDS, light_of
from fieldkit.core import FieldkitError
from fieldkit.records.enclosure import OUT_OF_SIGHT

# Name: behaviour counted, words, unit, which way is better unless the plan says otherwise.
OUTCOMES = {
    "basking_share": ("basking", "share of scans basking", "", "higher"),
    "moving_share": ("moving", "share of scans moving about", "", "higher"),
    "hidden_share": ("hidden", "share of scans hidden or out of sight", "", "lower"),
    "basking_hours": ("basking", "hours of basking a day", "h", "higher"),
}


def kinds_of(scans):
    """Basking, moving, resting or hidden, by scan; NaN where nobody wrote what it did.

    Parameters
    ----------
    scans : DataFrame
        Of an enclosure.

    Returns
    -------
    Series
    """
    words = scans["behaviour"] if "behaviour" in scans else pd.Series(np.nan, index=scans.index, dtype=object)
    kinds = words.map(KINDS).where(words.isin(list(KINDS)), "other").where(words.notna())
    return kinds.mask(scans["point"] == OUT_OF_SIGHT, "hidden")


def daily(record, outcome):
    """The outcome on each day: every animal counts alike, and of two observers the first one written.

    Parameters
    ----------
    record : EnclosureRecord
        With ``scans``.
    outcome : str
        One of `OUTCOMES`.

    Returns
    -------
    Series
        By day (Timestamp without a zone), in order.

    Raises
    ------
    FieldkitError
        For an outcome that is not known, or without scans that tell it.
    """
    if outcome not in OUTCOMES:
        raise FieldkitError(f"There is no outcome '{outcome}': choose from {', '.join(OUTCOMES)}.")
    kind, words, unit, _ = OUTCOMES[outcome]
    if record.scans is None or not len(record.scans):
        raise FieldkitError("The enclosure has no scans of its animals: fill in the table scans.")
    scans = record.scans.drop_duplicates(["time", "animal_id"])
    table = pd.DataFrame(
        {
            "day": scans["time"].dt.tz_localize(None).dt.normalize(),
            "animal": scans["animal_id"],
            "kind": kinds_of(scans),
        }
    ).dropna()
    if not len(table):
        raise FieldkitError(f"No scan says what the animal did, so the {words} is not known: add the behaviour.")
    each = (table["kind"] == kind).groupby([table["day"], table["animal"]]).mean()
    values = each.groupby("day").mean()
    if unit == "h":
        length, _ = light_of(record)
        if not np.isfinite(length):
            raise FieldkitError("Hours a day need the lamps' on and off in enclosure.toml.")
        values = values * length
    return values.rename(outcome)
