"""Rows of targets from the places that animals took and could have taken."""

import numpy as np
import pandas as pd

from fieldkit.captive.targets.standards import UV_CEILING, UV_SOURCE, contact_rows
from fieldkit.captive.targets.table import FULL_SHADE, FULL_SUN, Kind, target_row
from fieldkit.core import FieldkitError
from fieldkit.field.stats.intervals import cluster_bootstrap, critical_value
from fieldkit.field.thermoregulation import LEAST_ANIMALS

# Fewer places taken than this describe no month of their own (common practice, no source).
FEWEST_PLACES = 10


def error_of_draws(draws, n_independent):
    """Standard errors from resamples (draws, numbers), which divide by n where a variance is divided by n - 1."""
    return np.std(draws, axis=0, ddof=1) * np.sqrt(n_independent / (n_independent - 1))


def taken(choices, column, *, by_month=False, quantiles=(0.1, 0.9)):
    """What the places taken by animals offered: the middle of their readings, in all or month by month.

    Parameters
    ----------
    choices : DataFrame
        The choice table of a season.
    column : str
        Of the choice table, e.g. ``irradiance_w_m2``.
    by_month : bool
        A row for each month that has at least `FEWEST_PLACES` readings.
    quantiles : tuple of float
        Low and high of the target.

    Returns
    -------
    list of dict
        Standard errors of the quantiles by bootstrap over animals (seed 0).

    Raises
    ------
    FieldkitError
        When no place taken has a reading.
    """
    if column not in choices:
        raise FieldkitError(f"The choice table has no column {column}.")
    used = choices[(choices["used"] == 1) & choices[column].notna()]
    if len(used) < FEWEST_PLACES:
        raise FieldkitError(f"Only {len(used)} places that animals took have a reading of {column}.")
    rows = []
    groups = used.groupby(used["time"].dt.month) if by_month else [(0, used)]
    for month, part in groups:
        if len(part) < FEWEST_PLACES:
            continue
        low, high = part[column].quantile(list(quantiles))
        errors, n_independent = (np.nan, np.nan), np.nan
        if "animal_id" in part and part["animal_id"].nunique() >= LEAST_ANIMALS:
            drawn = cluster_bootstrap(
                part[["animal_id", column]].dropna(),
                lambda sample: dict(zip(("low", "high"), np.quantile(sample[column], quantiles))),
                cluster="animal_id",
                n_resamples=199,
                method="percentile",
                rng=0,
            )
            n_independent = drawn.n_clusters
            errors = error_of_draws(drawn.draws.to_numpy(), n_independent)
        rows.append(
            target_row(
                column,
                zone="basking site",
                month=int(month),
                period="day",
                low=low,
                high=high,
                low_error=errors[0],
                high_error=errors[1],
                n_independent=n_independent,
                basis="field",
                source=f"{100 * quantiles[0]:.0f} to {100 * quantiles[1]:.0f} % of {len(part)} places taken by animals",
            )
        )
    return rows


def limits(choices, level_w_m2=None):
    """What must not be passed: surfaces by contact time, UV, radiation.

    Parameters
    ----------
    choices : DataFrame
        The choice table of a season.
    level_w_m2 : Series, optional
        Sun on level ground through the season (W/m²); no lamp need be stronger than the strongest sun.

    Returns
    -------
    list of dict
        The standard contact limits (`standards.contact_rows`), the first of them lowered to the hottest surface on
        which an animal was found where that is cooler.
    """
    used = choices[choices["used"] == 1]
    rows = contact_rows()
    hottest = used["surface_c"].max()
    if hottest < rows[0]["high"]:
        why = f"hottest surface on which one of {used['surface_c'].notna().sum()} animals was found"
        rows[0] |= {"high": hottest, "basis": "field", "source": why}
    known = used["uv_index"].dropna() if "uv_index" in used else used.iloc[:0, 0]
    if len(known) >= FEWEST_PLACES and known.quantile(0.95) < UV_CEILING:
        strongest, basis, why = known.quantile(0.95), "field", "95 % of the places that animals took lay below"
    else:
        strongest, basis, why = UV_CEILING, "standard", f"{UV_SOURCE}; no field reading set it lower"
    rows.append(target_row("uv_index", high=strongest, kind=Kind.LIMIT, basis=basis, source=why))
    if level_w_m2 is not None and level_w_m2.notna().any():
        rows.append(
            target_row(
                "irradiance_w_m2",
                high=float(level_w_m2.quantile(0.999)),
                kind=Kind.LIMIT,
                basis="field",
                source=f"strongest sun of the season on level ground ({level_w_m2.name}; 99.9 % lay below)",
            )
        )
    return rows


def exposure(choices, level_w_m2):
    """Shares of the places on offer in full sun, part shade and full shade, while the sun shone.

    Parameters
    ----------
    choices : DataFrame
        The choice table. The shares are the habitat's only as far as the places measured stand for it.
    level_w_m2 : Series
        Sun on level ground (W/m²) by time.

    Returns
    -------
    list of dict
        Low and high are 95 % limits over choice sets.

    Raises
    ------
    FieldkitError
        When there are fewer than `FEWEST_PLACES` sets in the sun.
    """
    table = _in_sun(choices, level_w_m2)
    ratio = table["irradiance_w_m2"] / table["level"]
    kinds = {
        "full_sun_share": ratio >= FULL_SUN,
        "part_shade_share": (ratio < FULL_SUN) & (ratio > FULL_SHADE),
        "full_shade_share": ratio <= FULL_SHADE,
    }
    rows = []
    for name, kind in kinds.items():
        by_set = kind.groupby(table["set_id"]).mean()
        share, error = by_set.mean(), by_set.std() / np.sqrt(len(by_set))
        reach = critical_value(degrees_of_freedom=len(by_set) - 1) * error
        source = (
            f"{len(table)} places on offer in {len(by_set)} sets; full sun from {100 * FULL_SUN:.0f} % of level sun, "
            f"full shade to {100 * FULL_SHADE:.0f} %"
        )
        rows.append(
            target_row(
                name,
                period="day",
                low=max(share - reach, 0),
                high=min(share + reach, 1),
                low_error=error,
                high_error=error,
                n_independent=len(by_set),
                basis="field",
                source=source,
            )
        )
    return rows


# Below this much sun on level ground (W/m²) nobody can tell sun from shade (our choice).
_LEAST_SUN = 200.0


def _in_sun(choices, level_w_m2):
    """Places on offer while the sun shone, with the sun on level ground at that time as `level`."""
    table = choices.dropna(subset=["irradiance_w_m2"]).sort_values("time")
    sun = level_w_m2.dropna().rename("level").rename_axis("time").sort_index().reset_index()
    table["time"], sun["time"] = table["time"].astype("datetime64[ns, UTC]"), sun["time"].astype("datetime64[ns, UTC]")
    table = pd.merge_asof(table, sun, on="time", direction="nearest", tolerance=pd.Timedelta("45min"))
    table = table[table["level"] > _LEAST_SUN]
    if table["set_id"].nunique() < FEWEST_PLACES:
        raise FieldkitError(
            f"Only {table['set_id'].nunique()} choice sets were read with more than {_LEAST_SUN:g} W/m² of sun."
        )
    return table


def sun_levels(choices, level_w_m2):
    """What full sun and full shade were in W/m²: shares of the typical sun on level ground while places were read.

    Parameters
    ----------
    choices : DataFrame
        The choice table.
    level_w_m2 : Series
        Sun on level ground (W/m²) by time.

    Returns
    -------
    tuple of float
        `FULL_SUN` and `FULL_SHADE` times the median over places: what an enclosure's floor is divided by.

    Raises
    ------
    FieldkitError
        As `exposure`.
    """
    typical = float(_in_sun(choices, level_w_m2)["level"].median())
    return FULL_SUN * typical, FULL_SHADE * typical
