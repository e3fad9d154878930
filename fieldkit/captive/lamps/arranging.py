"""How many lamps, where and of what power, so that a whole patch holds the wanted radiation."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from fieldkit.captive import lamps as room
from fieldkit.captive.lamps.matching import wanted_range
from fieldkit.core import FieldkitError, Result


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class LampPlan(Result):
    """Lamps of one kind over a patch.

    Attributes
    ----------
    table : DataFrame
        One row per lamp: ``x_m, y_m, height_m, power_w``.
    tried : DataFrame
        One row per layout: ``lamps, rows, columns, height_m, power_w, least_w_m2, most_w_m2`` (on the patch),
        ``miss_pct`` (how far the worst point lies outside the wanted range, percent of its limit) and ``meets``.
    verdict : {"found", "none"}
    lamps : list of Lamp
        In their places; the nearest miss when there is no solution.
    least_w_m2, mean_w_m2, most_w_m2 : float
        On the patch, on the level.
    wanted_w_m2 : tuple
        As asked.
    limits_w_m2 : tuple
        As kept: narrowed by the uncertainty of the beam.
    patch : tuple
    z_m : float
    seed : int
    """

    table: pd.DataFrame
    tried: pd.DataFrame
    verdict: str
    lamps: list
    least_w_m2: float
    mean_w_m2: float
    most_w_m2: float
    wanted_w_m2: tuple
    limits_w_m2: tuple
    patch: tuple
    z_m: float
    seed: int

    @property
    def sentence(self):
        count, power = len(self.lamps), self.table["power_w"].sum()
        what = f"{count} {'lamp' if count == 1 else 'lamps'} of {power:.0f} W together"
        size = f"{100 * (self.patch[1] - self.patch[0]):.0f} by {100 * (self.patch[3] - self.patch[2]):.0f} cm"
        have = f"{self.least_w_m2:.0f} to {self.most_w_m2:.0f} W/m²"
        kept = f"{self.limits_w_m2[0]:.0f} to {self.limits_w_m2[1]:.0f} W/m²"
        if self.verdict == "found":
            return (
                f"{what}, {self.table['height_m'].iloc[0]:.2f} m up, give {have} on all of a patch of {size} "
                f"(kept to {kept}, the wanted range less the beam's uncertainty). Fewer do not, within these bounds. "
                "Every fitting has to be rated for its watts (read them on the fitting)."
                if count > 1
                else f"{what}, {self.table['height_m'].iloc[0]:.2f} m up, gives {have} on all of a patch of {size} "
                f"(kept to {kept}, the wanted range less the beam's uncertainty). Its "
                "fitting has to be rated for the watts (read them on the fitting)."
            )
        why = "too dark at its edge when the middle is right" if self.least_w_m2 < self.limits_w_m2[0] else "too strong"
        return (
            f"No layout tried keeps a patch of {size} within {kept}. The nearest miss, {what}, gives {have}: {why}. "
            "Allow more lamps, more power, more height or a wider range, or take lamps of a wider beam."
        )


def plan(
    lamp,
    patch,
    z_m,
    *,
    wanted_w_m2,
    height_range_m,
    power_range_w,
    most_lamps=4,
    level=0.95,
    rng=0,
):
    """Find the fewest lamps, then the least power, that keep a whole patch within the wanted irradiance.

    Parameters
    ----------
    lamp : Lamp
        The kind of lamp, with its power; its irradiance is taken to follow the power.
    patch : (x_low, x_high, y_low, y_high)
        What must be lit whole, at least the animal's length (m).
    z_m : float
        Height of its back (m).
    wanted_w_m2 : ChosenSunlight, (low, high) or (low, typical, high)
        Irradiance on the level, W/m².
    height_range_m : (low, high)
        Of the lamps' fronts over the floor (m).
    power_range_w : (low, high)
        Of one lamp (W).
    most_lamps : int
        1 to 9.
    level : float
        Confidence level: the wanted range is narrowed by the limits of the beam.
    rng : int
        Seed.

    Returns
    -------
    LampPlan

    Raises
    ------
    FieldkitError
        When the lamp's power is not stated, bounds are upside down, or the range is narrower than the beam is known.

    Notes
    -----
    Lamps hang straight down in rows and columns at one height. For a given layout the least power is a linear
    programme (scipy, HiGHS) over points of the patch; height and spacing are sought by differential evolution within
    their bounds. A layout that is not on such a lattice might do with less.

    Examples
    --------
    >>> bulb = room.Lamp(id="flood", beam=room.Beam(intensity=40.0, near_m=0.05, half_angle_deg=40.0), power_w=60.0)
    >>> answer = plan(bulb, (0, 0.2, 0, 0.1), 0.05, wanted_w_m2=(350, 600), height_range_m=(0.3, 0.6),
    ...               power_range_w=(20, 150), most_lamps=2)
    >>> answer.verdict, len(answer.lamps)
    ('found', 1)
    """
    wanted = wanted_range(wanted_w_m2)
    if lamp.power_w is None:
        raise FieldkitError(f"Lamp '{lamp.id}' has no power_w: state the watts for which its beam was measured.")
    for name, pair in (("height_range_m", height_range_m), ("power_range_w", power_range_w)):
        if not 0 < pair[0] <= pair[1]:
            raise FieldkitError(f"{name} {tuple(pair)} is upside down or not above 0: give the lower limit first.")
    if height_range_m[0] < z_m + 0.05:
        raise FieldkitError("The lamps must hang at least 5 cm above the animal's back: raise height_range_m.")
    if not 1 <= most_lamps <= 9:
        raise FieldkitError(f"most_lamps is {most_lamps}: 1 to 9 lamps can be laid out.")
    step = max(patch[1] - patch[0], patch[3] - patch[2]) / 12
    _, _, points = room.grid(patch, z_m, step_m=step)
    typical = np.mean(height_range_m) - z_m
    low_beam, high_beam = lamp.beam.interval(typical, level=level)
    doubt = float(np.sqrt(high_beam / low_beam))
    limits = (wanted[0] * doubt, wanted[2] / doubt)
    if not limits[0] < limits[1]:
        raise FieldkitError(
            f"The beam is known to a factor of {doubt:.2f} only, too little to keep {wanted[0]:.0f} to {wanted[2]:.0f} "
            "W/m²: take more readings of the lamp, or widen the range."
        )
    settings = (lamp, patch, points, limits, height_range_m, power_range_w)
    tried, best = [], None
    for count in range(1, most_lamps + 1):
        layouts = [(r, count // r) for r in range(1, count + 1) if count % r == 0]
        found = [_layout(rows, columns, *settings, rng) for rows, columns in layouts]
        tried += found
        best = min([*found, *([best] if best else [])], key=lambda f: (round(f["miss_pct"], 6), f["power_w"]))
        if best["meets"]:
            break
    field = room.field(best["placed"], points).table["total"]
    keep = ["lamps", "rows", "columns", "height_m", "power_w", "least_w_m2", "most_w_m2", "miss_pct", "meets"]
    return LampPlan(
        table=pd.DataFrame(
            [{"x_m": p.x_m, "y_m": p.y_m, "height_m": p.height_m, "power_w": p.power_w} for p in best["placed"]],
            index=pd.Index([p.id for p in best["placed"]], name="lamp"),
        ),
        tried=pd.DataFrame(tried)[keep],
        verdict="found" if best["meets"] else "none",
        lamps=best["placed"],
        least_w_m2=float(field.min()),
        mean_w_m2=float(field.mean()),
        most_w_m2=float(field.max()),
        wanted_w_m2=wanted,
        limits_w_m2=limits,
        patch=tuple(float(v) for v in patch),
        z_m=float(z_m),
        seed=rng,
    )


def _layout(rows, columns, lamp, patch, points, limits, heights, powers, rng):
    """The best height and spacing for one lattice."""
    from scipy import optimize

    middle = np.array([(patch[0] + patch[1]) / 2, (patch[2] + patch[3]) / 2])
    size = np.array([patch[1] - patch[0], patch[3] - patch[2]])
    across = np.linspace(-0.5, 0.5, columns) if columns > 1 else np.zeros(1)
    along = np.linspace(-0.5, 0.5, rows) if rows > 1 else np.zeros(1)
    lattice = np.array([(x, y) for y in along for x in across])

    def places(at):
        return middle + lattice * at[1:3] * size

    def per_watt(at):
        columns_ = []
        for x, y in places(at):
            hung = replace(lamp, x_m=float(x), y_m=float(y), height_m=float(at[0]), aim=None)
            columns_.append(hung.irradiance_at(points) / lamp.power_w)
        return np.array(columns_).T

    def cost(at):
        power, miss = _least_power(per_watt(at), limits, powers)
        # First no miss, then the least power.
        return 1e4 * miss + power.sum() / (len(power) * powers[1])

    # A lattice may spread as far as twice the patch; an unused direction is held still.
    spread = [(0.2, 2.0) if n > 1 else (1.0, 1.0) for n in (columns, rows)]
    run = optimize.differential_evolution(
        cost,
        [tuple(heights), *spread],
        rng=np.random.default_rng(rng),
        popsize=8,
        maxiter=14,
        tol=1e-3,
        polish=False,
    )
    power, miss = _least_power(per_watt(run.x), limits, powers)
    total = per_watt(run.x) @ power
    placed = [
        replace(
            lamp.scaled(watts / lamp.power_w),
            id=f"{lamp.id} {i + 1}" if len(power) > 1 else lamp.id,
            x_m=float(x),
            y_m=float(y),
            height_m=float(run.x[0]),
            aim=None,
        )
        for i, ((x, y), watts) in enumerate(zip(places(run.x), power))
    ]
    return {
        "lamps": len(power),
        "rows": rows,
        "columns": columns,
        "height_m": float(run.x[0]),
        "power_w": float(power.sum()),
        "least_w_m2": float(total.min()),
        "most_w_m2": float(total.max()),
        "miss_pct": 100 * miss,
        "meets": bool(miss < 1e-6),
        "placed": placed,
    }


def _least_power(per_watt, limits, powers):
    """Watts of each lamp: least sum that keeps all points within limits, else that with the least worst miss."""
    from scipy import optimize

    count = per_watt.shape[1]
    low, high = limits
    # Unknowns: watts, then the relative miss of the worst point; a miss costs far more than any power.
    rows = np.vstack(
        [
            np.column_stack([-per_watt, np.full(len(per_watt), -low)]),
            np.column_stack([per_watt, np.full(len(per_watt), -high)]),
        ]
    )
    right = np.r_[np.full(len(per_watt), -low), np.full(len(per_watt), high)]
    result = optimize.linprog(
        np.r_[np.ones(count), 1e4 * count * powers[1]],
        A_ub=rows,
        b_ub=right,
        bounds=[tuple(powers)] * count + [(0, None)],
        method="highs",
    )
    return result.x[:count], float(max(result.x[count], 0.0))
