"""Is it simply more or less that is sought? Middle values, and a pull that changes with shade air."""

from dataclasses import dataclass

import numpy as np

from fieldkit.field.choice import sets as choice_sets
from fieldkit.field.choice.words import OTHERS_LEVEL
from fieldkit.field.stats.intervals import critical_value, widest_fieller

# A model with all bends side by side asks for this many sets a coefficient (common practice, no source).
SETS_PER_COEFFICIENT = 10
# A top outside the middle nine tenths of what was on offer is not "middle values" but a pull that levels off (our
# choice: beyond these quantiles a season has too few places to see odds fall again).
OFFERED = (0.05, 0.95)
# Hours of the sets must spread by this much (standard deviation) before a pull can change with them (our choice).
LEAST_HOURS = 0.5
# By so much log likelihood one of two pulls that change, with air or with the hour, has to lead to be told alone (our
# choice: AICc lower by 4).
LEAD = 2.0
# Points of a drawn relation.
POINTS = 101
# Interval of the preferred value, as in `preference.preferred_value`.
LEVEL = 0.95


KINDS = {"middle": "middle values", "by air": "changing with air", "by hour": "changing with hour"}


@dataclass(frozen=True, eq=False, kw_only=True)
class Bend:
    """A column that lets selection for a driver change: its square, or the driver times the set's mean shade air."""

    driver: str
    kind: str  # "middle", "by air" or "by hour"
    column: np.ndarray
    scale: float
    centre: float

    @property
    def name(self):
        """How the candidate is called in tables."""
        return f"{self.driver} ({KINDS[self.kind]})"


def bends(values, sets, sizes, names, testable, hours=None):
    """Bends of the testable drivers; `hours` is the hour of day of each set, where times are known."""
    within, _ = choice_sets.centre(values, sets)
    spread = np.sqrt((within**2).sum(axis=0) / max(1, len(within) - len(sizes)))
    out = []
    for name in testable:
        j = names.index(name)
        centre = float(np.median(values[:, j]))
        square = ((values[:, j] - centre) / spread[j]) ** 2
        out.append(Bend(driver=name, kind="middle", column=square, scale=float(spread[j]), centre=centre))
    if {"air", "radiation"} <= set(names) and "radiation" in testable:
        i, j = names.index("air"), names.index("radiation")
        air = np.bincount(sets, weights=values[:, i]) / sizes
        sd = float(air.std())
        if sd > 0:
            moved = within[:, j] / spread[j] * ((air - air.mean()) / sd)[sets]
            out.append(Bend(driver="radiation", kind="by air", column=moved, scale=sd, centre=float(air.mean())))
    if hours is not None and "radiation" in testable and np.isfinite(hours).all() and hours.std() > LEAST_HOURS:
        j, sd = names.index("radiation"), float(hours.std())
        moved = within[:, j] / spread[j] * ((hours - hours.mean()) / sd)[sets]
        out.append(Bend(driver="radiation", kind="by hour", column=moved, scale=sd, centre=float(hours.mean())))
    return out


def beyond(bend, within, sets):
    """Column of a bend less what follows the driver itself: what it adds, as a candidate of its own."""
    column = bend.column - (np.bincount(sets, weights=bend.column) / np.bincount(sets))[sets]
    return column - within * (within @ column) / max(within @ within, np.finfo(float).tiny)


def calibrated(values, within, n_sets, error_variances):
    """Readings replaced by the best guess of the true values; None when errors leave too little to go by.

    Drawn towards the mean of their set by S_w^-1 S_x, the share of the within-set covariance that is real (regression
    calibration, Rosner, Spiegelman and Willett 1990). What is left of the errors shifts the square of a guess by the
    same amount everywhere, so it drops out within a set.
    """
    s_w = within.T @ within / max(1, len(within) - n_sets)
    s_x = s_w - np.diag(error_variances)
    scale = np.sqrt(np.diag(s_w))
    if np.linalg.eigvalsh(s_x / np.outer(scale, scale))[0] <= choice_sets.LEAST_REAL:
        return None
    return values - within + within @ np.linalg.solve(s_w, s_x)


@dataclass(frozen=True, eq=False, kw_only=True)
class Shape:
    """What the bends say: one row each, whether any is clear, and the drivers with all their bends side by side.

    `curves` holds the relation of each clear bend, by its name.
    """

    table: object
    steady: bool
    block_p: object
    checked: bool
    curves: dict
    modulator: str = ""


COLUMNS = ["driver", "kind", "log_odds", "standard_error", "p", "clear", "top", "low", "high", "offered_low",
           "offered_high"]  # fmt: skip


def examine(guess, sets, sizes, fitter, beside, testable, joint, raw, true_sd, hours):
    """Add each bend to the drivers side by side; where one is clear, put all of them side by side.

    Parameters
    ----------
    guess : ndarray, shape (n, p) or None
        Calibrated readings of the drivers `beside`.
    sets, sizes : ndarray
        As in `choice_sets`.
    fitter : callable
        Fits a design of columns on the rows.
    beside, testable : list of str
        Drivers held equal, and those that may be named.
    joint : Fit
        The drivers side by side without bends.
    raw : DataFrame
        Readings, for what was on offer.
    true_sd : Series
        True within-set standard deviation by driver: the step by which a pull that changes with air is told.
    hours : ndarray or None
        Hour of day of each set.

    Returns
    -------
    Shape
    """
    import pandas as pd

    nothing = Shape(table=pd.DataFrame(columns=COLUMNS), steady=True, block_p=None, checked=False, curves={})
    if guess is None or joint.separated or joint.dropped:
        return nothing
    if len(sizes) < SETS_PER_COEFFICIENT * (len(beside) + 1):
        return nothing
    frame = pd.DataFrame(guess, columns=beside)
    spread = np.sqrt((choice_sets.centre(guess, sets)[0] ** 2).sum(axis=0) / max(1, len(guess) - len(sizes)))
    frame /= spread
    offered = raw[list(testable)].quantile(list(OFFERED))
    found = bends(guess, sets, sizes, beside, testable, hours)
    air = np.bincount(sets, weights=guess[:, beside.index("air")]) / sizes if "air" in beside else None
    rows, curves, heights = {}, {}, {}
    for bend in found:
        label = bend.name
        # The driver counted from the bend's centre, in the same unit, so that the top is a ratio of two coefficients.
        with_bend = fitter(frame.assign(**{label: bend.column}))
        row = {"driver": bend.driver, "kind": bend.kind, "clear": False}
        row |= dict(zip(("offered_low", "offered_high"), offered[bend.driver]))
        if label in with_bend.coefficients.index and not with_bend.separated:
            error = float(np.sqrt(with_bend.wider_covariance.loc[label, label]))
            row |= {"log_odds": with_bend.coefficients[label], "standard_error": error}
            row["p"] = with_bend.p_value(label)
            row["clear"] = bool(row["p"] < 1 - OTHERS_LEVEL)
            if bend.kind == "middle":
                row |= _top(bend, with_bend)
            if row["clear"]:
                step = true_sd[bend.driver] / spread[beside.index(bend.driver)]
                along = {"by air": air, "by hour": hours}.get(bend.kind)
                curves[label] = _curve(bend, with_bend, step, offered[bend.driver], along)
                heights[bend.kind] = with_bend.log_likelihood
        rows[label] = row
    table = pd.DataFrame.from_dict(rows, orient="index").reindex(columns=COLUMNS).rename_axis("bend")
    table["clear"] = table["clear"].astype(bool)
    modulator = _which(table, curves, heights)
    steady = not table["clear"].any()
    block_p = None if steady else _side_by_side(frame, found, len(sizes), fitter, beside)
    return Shape(table=table, steady=steady, block_p=block_p, checked=True, curves=curves, modulator=modulator)


def _which(table, curves, heights):
    """What changes selection for sun, air or hour: the one that leads by enough, else both together, as "either".

    The other one is then no longer clear, because it only follows the first.
    """
    both = [label for label in table.index if table.loc[label, "kind"] in ("by air", "by hour") and label in curves]
    kinds = [table.loc[label, "kind"] for label in both]
    if len(both) < 2:
        return kinds[0].removeprefix("by ") if both else ""
    first, second = sorted(kinds, key=heights.get, reverse=True)
    for label, kind in zip(both, kinds):
        if kind == second:
            table.loc[label, "clear"] = False
            del curves[label]
    return "either" if heights[first] - heights[second] < LEAD else first.removeprefix("by ")


def relation(result, columns, design, *, level=LEVEL):
    """Odds along a fitted relation, with a band from the wider covariance: by animal or by set.

    Parameters
    ----------
    result : Fit
        The fitted model.
    columns : list of str, length k
        Its columns that make the relation.
    design : ndarray, shape (m, k)
        Their values along the curve, less those of the place that is compared with.
    level : float
        Confidence level of the band at each point.

    Returns
    -------
    DataFrame
        ``odds, low, high``, m rows.

    Examples
    --------
    >>> from fieldkit.field.stats.clogit import fit
    >>> x = [[2], [0], [1], [1], [0], [3], [4], [2], [2], [3], [1], [0]]
    >>> result = fit(x, [1, 0, 0] * 4, [1, 1, 1, 2, 2, 2, 3, 3, 3, 4, 4, 4])
    >>> relation(result, ["x0"], np.array([[0.0], [1.0]]))["odds"].round(2).tolist()
    [1.0, 2.32]
    """
    import pandas as pd

    eta = design @ result.coefficients[columns].to_numpy()
    both = np.stack([c.loc[columns, columns].to_numpy() for c in (result.covariance, result.model_covariance)])
    z = critical_value(level, degrees_of_freedom=result.degrees_of_freedom)
    half = z * np.sqrt(np.einsum("gi,mij,gj->mg", design, both, design).max(axis=0))
    with np.errstate(over="ignore"):
        return pd.DataFrame({"odds": np.exp(eta), "low": np.exp(eta - half), "high": np.exp(eta + half)})


def _curve(bend, with_bend, step, offered, air):
    """The relation over what was on offer: odds against a middling place, or for one step more at each shade air."""
    ends = offered if bend.kind == "middle" else np.quantile(air, OFFERED)
    value = np.linspace(*ends, POINTS)
    from_centre = (value - bend.centre) / bend.scale
    if bend.kind == "middle":
        design = np.stack([from_centre, from_centre**2], axis=1)
    else:
        design = step * np.stack([np.ones(POINTS), from_centre], axis=1)
    out = relation(with_bend, [bend.driver, bend.name], design)
    out.insert(0, "value", value)
    return out


def _top(bend, with_bend):
    """Where the odds are highest, with Fieller's interval; nothing where they do not fall again on either side."""
    b2 = with_bend.coefficients[bend.name]
    if not b2 < 0:
        return {}
    pair = [bend.driver, bend.name]
    b1 = with_bend.coefficients[bend.driver]
    change = np.array([[-1.0, 0.0], [0.0, 2.0]])
    both = (with_bend.covariance, with_bend.model_covariance)
    both = [change @ c.loc[pair, pair].to_numpy() @ change.T for c in both]
    # The square is counted from the centre, so there the slope is that of the driver by itself.
    got = widest_fieller(-b1, 2 * b2, both, level=LEVEL, degrees_of_freedom=with_bend.degrees_of_freedom)
    top, low, high = (bend.centre + bend.scale * v for v in (got.estimate, got.low, got.high))
    return {"top": top, "low": low, "high": high}


def _side_by_side(frame, found, n_sets, fitter, beside):
    """P-value of each driver with its bends, all drivers and bends in one model; None when the season is too small."""
    import pandas as pd
    from scipy import stats

    full = frame.assign(**{bend.name: bend.column for bend in found})
    if n_sets < SETS_PER_COEFFICIENT * full.shape[1]:
        return None
    result = fitter(full)
    if result.separated or set(result.dropped) & set(beside):
        return None
    covariance = result.wider_covariance
    df = result.degrees_of_freedom
    out = {}
    for name in beside:
        block = [name, *(b.name for b in found if b.driver == name and b.name in result.coefficients.index)]
        b = result.coefficients[block].to_numpy()
        wald = float(b @ np.linalg.solve(covariance.loc[block, block].to_numpy(), b))
        q = len(block)
        # Hotelling's T² for the number of animals; never fewer degrees of freedom than one.
        rest = df - q + 1
        out[name] = float(
            stats.chi2.sf(wald, q) if np.isinf(df) else stats.f.sf(wald * max(rest, 1) / (q * df), q, max(rest, 1))
        )
    return pd.Series(out)
