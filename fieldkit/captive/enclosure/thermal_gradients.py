"""What an enclosure offers beside what wild animals had on offer and what they took."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.captive.enclosure.points import QUANTITIES
from fieldkit.core import FieldkitError, Result, method

DRAWN = ("shade_air_c", "surface_c", "operative_c", "irradiance_w_m2")
_WORDS = {
    "shade_air_c": "shade air",
    "surface_c": "surface",
    "operative_c": "operative temperature",
    "irradiance_w_m2": "irradiance",
}


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Gradients(Result):
    """Quantiles of an enclosure's points, and of the places of wild animals.

    Attributes
    ----------
    table : DataFrame
        One row per quantity and place: ``quantity, unit, place`` ("on offer", "taken" or a point), ``zone, source``
        ("field", "readings" or "model"), ``low, middle, high`` (5, 50, 95 % of the readings; of the model its median
        and 95 % limits), ``n``.
    hours : (float, float)
        Clock times of the enclosure's readings.
    month : int
    """

    table: pd.DataFrame
    hours: tuple
    month: int
    species: str

    @property
    def sentence(self):
        """Which quantities the enclosure offers as the animals took them, and which not."""
        parts = []
        for name, rows in self.table.groupby("quantity", sort=False):
            taken, points = rows[rows["place"] == "taken"], rows[rows["source"] != "field"]
            if not len(taken) or not len(points):
                continue
            low, high = float(taken["low"].iloc[0]), float(taken["high"].iloc[0])
            unit = QUANTITIES[name][1]
            inside = ((points["middle"] >= low) & (points["middle"] <= high)).sum()
            words = (
                f"{_WORDS[name]}: the animals took {low:.3g} to {high:.3g} {unit} (5 to 95 %), the enclosure's points "
                f"read {points['middle'].min():.3g} to {points['middle'].max():.3g}, {inside} of {len(points)} within"
            )
            parts.append(words)
        return ("; ".join(parts) or "Nothing can be compared: no quantity was read in both places") + "."


@method
def gradients(record, choices, *, prediction=None, hours=(10.0, 17.0), month=0):
    """Set an enclosure's points beside the places that wild animals took and could have taken.

    Parameters
    ----------
    record : EnclosureRecord
        From `fieldkit.read_enclosure`.
    choices : DataFrame
        ``season.choices``: ``used`` and the columns of `DRAWN` that were read.
    prediction : Prediction, optional
        From `enclosure.predict`: stands in where a point has no reading.
    hours : (float, float)
        Clock times between which the enclosure's readings count: while animals bask.
    month : int
        Month of the enclosure's readings; 0: all.

    Returns
    -------
    Gradients

    Raises
    ------
    FieldkitError
        When there is no choice to compare with.

    Examples
    --------
    >>> import fieldkit
    >>> found = gradients(fieldkit.demo_enclosure(), fieldkit.demo_season().choices, month=1)
    >>> found.table["source"].unique().tolist()
    ['field', 'readings']
    """
    if choices is None or not len(choices):
        raise FieldkitError("The season has no choices: places that animals took and could have taken are needed.")
    times = record.readings["time"].dt
    clock = times.hour + times.minute / 60
    keep = (clock >= hours[0]) & (clock <= hours[1])
    if month:
        keep &= times.month == month
    read = record.readings[keep].dropna(subset=["value"])
    rows = []
    for name in DRAWN:
        role, unit = QUANTITIES[name]
        if name in choices:
            for place, used in (("on offer", 0), ("taken", 1)):
                values = choices.loc[choices["used"] == used, name].dropna()
                if len(values):
                    rows.append(_row(name, unit, place, None, "field", np.quantile(values, [0.05, 0.5, 0.95]), values))
        for point in record.points.itertuples(index=False):
            values = read.loc[(read["role"] == role) & (read["point_id"] == point.point_id), "value"]
            if len(values):
                limits = np.quantile(values, [0.05, 0.5, 0.95])
                rows.append(_row(name, unit, point.point_id, point.zone, "readings", limits, values))
            elif prediction is not None:
                known = prediction.table
                known = known[(known["quantity"] == name) & (known["point_id"] == point.point_id)]
                if len(known):
                    limits = known[["low", "predicted", "high"]].iloc[0].to_numpy()
                    rows.append(_row(name, unit, point.point_id, point.zone, "model", limits, ()))
    columns = ["quantity", "unit", "place", "zone", "source", "low", "middle", "high", "n"]
    return Gradients(
        table=pd.DataFrame(rows, columns=columns), hours=tuple(hours), month=month, species=record.animal.species
    )


def _row(name, unit, place, zone, source, limits, values):
    low, middle, high = (float(v) for v in limits)
    return {
        "quantity": name,
        "unit": unit,
        "place": place,
        "zone": zone,
        "source": source,
        "low": low,
        "middle": middle,
        "high": high,
        "n": len(values),
    }
