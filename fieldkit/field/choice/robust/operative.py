"""Operative temperature as a candidate: read by a copper model, or made from air, surface, radiation and wind."""

from dataclasses import dataclass

import numpy as np

from fieldkit.field.choice import shape as choice_shape
from fieldkit.field.stats.clogit import fit

NAME = "operative temperature"
CANDIDATE = "operative temperature (middle values)"
COLUMN = "operative_c"
# A hump of operative temperature is set beside the drivers when this share of the sets can be used for it (our choice).
LEAST_READ = 0.8
# Share of irradiance on the level that a convex body receives per m² of its surface: a quarter of the beam and half of
# what sky and ground scatter, with sun and sky as they usually mix (common practice, no source).
RECEIVED = 0.35
# Where no wind was read: speed at the height of a small animal (m/s; common practice, no source).
WIND_M_S = 0.5


@dataclass(frozen=True, eq=False, kw_only=True)
class Operative:
    """A hump of operative temperature beside the drivers.

    Attributes
    ----------
    source : {"read", "computed"}
    gain : float
        AICc of the best candidate less that of the hump, on the same sets: above 0 the hump does better.
    rival : str
        That candidate.
    aicc, log_likelihood : float
        Of the hump.
    top : float
        Preferred value (°C).
    error_c : float
        Typical error of a computed value, from the errors of the readings (°C); NaN for read ones.
    curve : DataFrame
    """

    source: str
    gain: float
    rival: str
    aicc: float
    log_likelihood: float
    top: float
    error_c: float
    curve: object


def temperatures(kept, drivers, errors, body):
    """Operative temperature of each row (°C), where it comes from, and its error; None where it cannot be had."""
    import pandas as pd

    if COLUMN in drivers.values():
        return None
    if COLUMN in kept:
        read = pd.to_numeric(kept[COLUMN], errors="coerce").to_numpy(dtype=float)
        if np.isfinite(read).mean() >= LEAST_READ:
            return read, "read", errors.get(COLUMN, np.nan)
    columns = ("shade_air_c", "surface_c", "irradiance_w_m2")
    if not set(columns) <= set(kept.columns):
        return None
    air, surface, light = (pd.to_numeric(kept[c], errors="coerce").to_numpy(dtype=float) for c in columns)
    wind = np.full(len(kept), np.nan)
    if "wind_m_s" in kept:
        wind = pd.to_numeric(kept["wind_m_s"], errors="coerce").to_numpy(dtype=float)
    wind = np.where(np.isfinite(wind), np.maximum(wind, 0.05), WIND_M_S)
    middle = balance(air, surface, light, wind, body)
    steps = ((errors.get(c, 0.0) or 0.0) for c in columns)
    moved = [balance(*(v + s * (i == j) for j, v in enumerate((air, surface, light))), wind, body) - middle
             for i, s in enumerate(steps) if s]  # fmt: skip
    error = float(np.sqrt(np.mean(np.sum(np.square(moved), axis=0)))) if moved else 0.0
    return middle, "computed", error


def balance(air, surface, light, wind, body):
    """Operative temperature by the kit's own energy balance (°C)."""
    from fieldkit.physics import heat

    if body is None:
        body = heat.Body(characteristic_dimension_m=0.02, shortwave_absorptivity=0.9)
    return np.asarray(
        heat.operative_temperature(
            air_temperature_c=air,
            wind_speed_m_s=wind,
            ground_temperature_c=surface,
            absorbed_shortwave_w_m2=body.shortwave_absorptivity * RECEIVED * np.maximum(light, 0.0),
            body=body,
        )
    )


def compare(ready, got, clusters, designs, best):
    """Set the hump beside the best candidate, on the sets that have it.

    Parameters
    ----------
    ready : choice_sets.Sets
        Rows sorted by set.
    got : tuple or None
        As from `temperatures`.
    clusters : ndarray or None
        Code of what the limits are widened by, of each row.
    designs : dict of str to DataFrame
        Design of each candidate.
    best : str
        Candidate of the lowest AICc.

    Returns
    -------
    Operative or None
        None where there are too few values, or odds do not fall again on both sides.
    """
    import pandas as pd

    if got is None:
        return None
    value, source, error = got
    read = np.isfinite(value)
    # Where a used place was not read, its set says nothing of the choice.
    lost = np.bincount(ready.sets, weights=ready.used & ~read) > 0
    read &= ~lost[ready.sets]
    if len(np.unique(ready.sets[read])) < LEAST_READ * ready.n_sets:
        return None
    used, sets, value = ready.used[read], ready.sets[read], value[read]
    groups = None if clusters is None else clusters[read]
    middle = np.median(value)
    design = pd.DataFrame({"linear": value - middle, "square": (value - middle) ** 2})
    hump = fit(design, used, sets, cluster=groups)
    rival = fit(designs[best][read], used, sets, cluster=groups)
    if hump.dropped or hump.separated or rival.separated or not hump.coefficients["square"] < 0:
        return None
    along = np.linspace(*np.quantile(value, choice_shape.OFFERED), choice_shape.POINTS)
    curve = choice_shape.relation(hump, list(design), np.stack([along - middle, (along - middle) ** 2], axis=1))
    curve.insert(0, "value", along)
    top = middle - hump.coefficients["linear"] / (2 * hump.coefficients["square"])
    return Operative(
        source=source,
        gain=float(rival.aicc - hump.aicc),
        rival=best,
        aicc=float(hump.aicc),
        log_likelihood=hump.log_likelihood,
        top=float(top),
        error_c=float(error),
        curve=curve,
    )
