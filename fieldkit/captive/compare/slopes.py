"""How strongly animals select on one thing, with the influence of each choice set."""

import numpy as np
import pandas as pd

from fieldkit.captive.compare.estimate import Estimate
from fieldkit.field import choice
from fieldkit.field.choice.sets import centre, prepare

# Natural steps in which a strength of selection is told.
PER = {"irradiance_w_m2": 100.0, "surface_c": 1.0, "shade_air_c": 1.0}
# Shade air must differ this much between sets (standard deviation, °C) for a change with it to be told (our choice).
LEAST_AIR_SPREAD_C = 1.0
# Least share of the within-set variance that must be real (as in the choice test: our choice).
LEAST_REAL = 0.5
# Fewest sets (our choice: ten sets hold one coefficient at the customary ten events each).
FEWEST_SETS = 10


def slope(sets, column, *, error=0.0, air_c=None):
    """Strength of selection on one quantity alone, at a given shade air.

    Parameters
    ----------
    sets : DataFrame
        Choice sets with ``animal`` and ``day``.
    column : str
        Quantity that is selected on.
    error : float
        Standard deviation of one reading; the slope is freed of what such an error takes from it.
    air_c : float, optional
        Shade air (°C) at which the strength is told, where it changes with it; None: the sets' own mean.

    Returns
    -------
    Estimate or None
        Log odds per `PER` units.
    why_not : str
        Why there is none.

    Notes
    -----
    Conditional logit with log odds b1 x + b2 x (a - a0), a the mean shade air of the set and a0 the air it is told at
    (the second term only where air differs between sets: our choice). Reading errors:
    regression calibration (Rosner, Spiegelman and Willett 1990, Am. J. Epidemiol. 132:734). Influence of a set: its
    score times the inverse information (Lin and Wei 1989, J. Am. Stat. Assoc. 84:1074).
    """
    try:
        ready = prepare(sets, {column: column}, None)
    except choice.ChoiceError as reason:
        return None, str(reason)
    if ready.n_sets < FEWEST_SETS:
        return None, f"{ready.n_sets} choice sets with readings are too few; at least {FEWEST_SETS} are needed"
    values = ready.kept[column].to_numpy(dtype=float)
    within, _ = centre(values[:, None], ready.sets)
    variance = float((within**2).sum() / max(1, len(values) - ready.n_sets))
    real = 1 - error**2 / variance if variance > 0 else 0.0
    if real < LEAST_REAL:
        return None, (
            f"places of a set differ by {np.sqrt(variance):.2g} (standard deviation), hardly more than the error of a "
            f"reading ({error:.2g}): there was nothing to select on"
        )
    x = values / PER[column]
    design = pd.DataFrame({"x": x})
    air = _air(ready)
    if column != "shade_air_c" and air is not None and air_c is not None:
        design["changing"] = x * (air - air_c)
    fitted = choice.fit(design, ready.used, ready.sets)
    if fitted.separated or "x" not in fitted.coefficients.index:
        return None, "every set was taken by the same rule without exception, so the strength has no finite number"
    columns = list(fitted.coefficients.index)
    influence = _influence(design[columns].to_numpy(), ready, fitted)[:, columns.index("x")] / real
    first = np.unique(ready.sets, return_index=True)[1]
    return Estimate(
        value=float(fitted.coefficients["x"]) / real,
        influence=influence,
        animal=ready.kept["animal"].to_numpy()[first],
        day=ready.kept["day"].to_numpy()[first],
    ), ""


def _air(ready):
    """Mean shade air of each row's set; None where it was not read or hardly differs between sets."""
    if "shade_air_c" not in ready.kept:
        return None
    air = ready.kept["shade_air_c"].to_numpy(dtype=float)
    known = np.isfinite(air)
    if not known.any():
        return None
    count = np.bincount(ready.sets, known)
    mean = np.bincount(ready.sets, np.where(known, air, 0.0)) / np.maximum(count, 1)
    mean[count == 0] = mean[count > 0].mean()
    return mean[ready.sets] if mean.std() >= LEAST_AIR_SPREAD_C else None


def _influence(design, ready, fitted):
    """Influence of each set on the coefficients: one step of the inverse information along its score."""
    eta = design @ fitted.coefficients.to_numpy()
    top = np.full(ready.n_sets, -np.inf)
    np.maximum.at(top, ready.sets, eta)
    weight = np.exp(eta - top[ready.sets])
    share = weight / np.bincount(ready.sets, weight)[ready.sets]
    taken = np.bincount(ready.sets, ready.used)[ready.sets]
    score = (ready.used - share * taken)[:, None] * design
    each = np.stack([np.bincount(ready.sets, column) for column in score.T], axis=1)
    return each @ fitted.model_covariance.to_numpy()
