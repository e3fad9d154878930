"""What animals aim for: the operative temperature they prefer, and the air at which sun-seeking turns to shade."""

from dataclasses import dataclass

import numpy as np

from fieldkit.core import Result, method
from fieldkit.field.choice import sets as choice_sets
from fieldkit.field.choice.shape import relation
from fieldkit.field.stats.clogit import ChoiceError, fit
from fieldkit.field.stats.intervals import Interval, critical_value, widest_fieller

GRID = 201


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Preference(Result):
    """A hump of preference along one driver.

    Attributes
    ----------
    preferred : Interval or None
        Top of the hump, in the driver's unit; None when the choices show no hump.
    tolerance : Interval or None
        Distance from the top at which the odds have fallen by exp(-1/2).
    curve : DataFrame
        ``value, relative_odds, low, high``: odds against a place at the middle of the readings.
    hump_p : float
        Of the square term: by the likelihood ratio, or by animal, whichever is larger.
    readings : tuple of float
        5 % and 95 % quantiles of the available readings: what the season offered.
    fit : Fit
    left_out : DataFrame
    """

    rows_of = "choices"
    preferred: Interval | None
    tolerance: Interval | None
    table: object
    sentence: str
    curve: object
    hump_p: float
    readings: tuple
    fit: object
    left_out: object
    n_sets: int
    n_animals: int
    notes: tuple
    settings: dict


@method
def preferred_value(choices, *, column="operative_c", cluster="animal_id", instrument_error=0.0, level=0.95):
    """Find the value the animals aim for, when more is better only up to a point.

    Parameters
    ----------
    choices : DataFrame
        The choice table, with `column`.
    column : str
        Driver, for example operative temperature (°C).
    cluster : str or None
        Column that names the animal.
    instrument_error : float
        Standard deviation of one reading, in the column's unit; readings are drawn towards their set's mean by the
        share of the within-set variance that is error (regression calibration).
    level : float
        Confidence level.

    Returns
    -------
    Preference

    Raises
    ------
    ChoiceError
        When the table cannot hold a choice test, or the readings differ by less than their error.

    Notes
    -----
    Conditional logit with log odds b1 x + b2 x²: the preferred value is -b1 / (2 b2) with Fieller's interval, the
    tolerance 1 / sqrt(-2 b2) (ter Braak and Looman 1986, Vegetatio 65:3). Where b2 is not negative there is no hump
    and nothing is claimed. With a stated error the variance of true values about the calibrated ones is taken off the
    squared tolerance (a Gaussian hump seen through a Gaussian error); the top is not moved by it.

    Examples
    --------
    >>> from fieldkit.field.planning import simulate
    >>> season = simulate.choice_season(n_sets=300, driver="operative", preferred_c=33, tolerance_c=4, rng=2)
    >>> preferred_value(season.choices, instrument_error=0.0).preferred.kind
    'bounded'
    """
    import pandas as pd
    from scipy import special

    if not instrument_error >= 0:
        raise ChoiceError(f"instrument_error={instrument_error} must be zero or more: it is a standard deviation.")
    ready = choice_sets.prepare(choices, {column: column}, cluster)
    raw = ready.kept[[column]].to_numpy(dtype=float)
    within, _ = choice_sets.centre(raw, ready.sets)
    variance = (within**2).sum() / max(1, len(within) - ready.n_sets)
    if variance == 0:
        raise ChoiceError(f"{column} does not differ between the places of any set, so no preference can be found.")
    share = 1 - instrument_error**2 / variance
    if share <= 0:
        raise ChoiceError(
            f"{column} differs between the places of a set by no more than the error of a reading "
            f"({np.sqrt(variance):.2g} against {instrument_error:.2g}), so no preference can be found."
        )
    x = (raw - within + share * within)[:, 0]
    middle = float(np.median(x))
    frame = pd.DataFrame({"linear": x - middle, "square": (x - middle) ** 2})
    curved = fit(frame, ready.used, ready.sets, cluster=ready.animals)
    straight = fit(frame[["linear"]], ready.used, ready.sets)
    lr = max(0.0, 2 * (curved.log_likelihood - straight.log_likelihood))
    hump_p = float(special.chdtrc(1, lr))
    if "square" in curved.coefficients.index and not curved.separated:
        # The likelihood ratio takes every set as another animal's.
        hump_p = max(hump_p, curved.p_value("square"))
    readings = tuple(float(q) for q in np.quantile(raw, [0.05, 0.95]))
    notes = [*ready.notes, *curved.notes]

    preferred = tolerance = None
    sound = not curved.dropped and not curved.separated
    if sound and curved.coefficients["square"] < 0 and hump_p < 1 - level:
        preferred = _top(curved, middle, level)
        tolerance = _tolerance(curved, level, share * instrument_error**2)
    unit = "°C" if column.endswith("_c") else "W/m²" if column.endswith("_w_m2") else ""
    sentence = _say_preference(preferred, column, unit, readings, hump_p, curved, ready)
    intervals = {"preferred": preferred, "tolerance": tolerance}
    table = pd.DataFrame(
        {k: {a: getattr(v, a) for a in ("estimate", "low", "high")} for k, v in intervals.items() if v is not None}
    ).T
    return Preference(
        preferred=preferred,
        tolerance=tolerance,
        table=table,
        sentence=sentence,
        curve=_hump_curve(curved, middle, raw, level),
        hump_p=hump_p,
        readings=readings,
        fit=curved,
        left_out=ready.left_out,
        n_sets=ready.n_sets,
        n_animals=ready.n_animals,
        notes=tuple(notes),
        settings={"column": column, "cluster": cluster, "instrument_error": instrument_error, "level": level},
    )


def _top(curved, middle, level):
    b1, b2 = curved.coefficients
    change = np.array([[-1.0, 0.0], [0.0, 2.0]])
    both = [change @ c.to_numpy() @ change.T for c in (curved.covariance, curved.model_covariance)]
    got = widest_fieller(-b1, 2 * b2, both, level=level, degrees_of_freedom=curved.degrees_of_freedom)
    gap = None if got.gap is None else tuple(g + middle for g in got.gap)
    return Interval(
        estimate=got.estimate + middle,
        low=got.low + middle,
        high=got.high + middle,
        level=level,
        kind=got.kind,
        gap=gap,
        g=got.g,
    )


def _tolerance(curved, level, leftover):
    """Width of the hump; the variance of true values about the calibrated ones, `leftover`, adds to its square."""
    b2 = curved.coefficients["square"]
    half = critical_value(level, degrees_of_freedom=curved.degrees_of_freedom) * np.sqrt(
        curved.wider_covariance.loc["square", "square"]
    )
    slopes = np.array([-b2, -b2 + half, -b2 - half])
    with np.errstate(divide="ignore"):
        squares = np.where(slopes > 0, 1 / (2 * slopes), np.inf)
    estimate, low, high = (float(v) for v in np.sqrt(np.maximum(squares - leftover, 0.0)))
    return Interval(estimate=estimate, low=low, high=high, level=level)


def _hump_curve(curved, middle, raw, level):
    import pandas as pd

    grid = np.linspace(raw.min(), raw.max(), GRID)
    out = pd.DataFrame({"value": grid})
    if curved.dropped or curved.separated:
        return out.assign(relative_odds=np.nan, low=np.nan, high=np.nan)
    design = np.stack([grid - middle, (grid - middle) ** 2], axis=1)
    return out.join(
        relation(curved, ["linear", "square"], design, level=level).rename(columns={"odds": "relative_odds"})
    )


def _say_preference(preferred, column, unit, readings, hump_p, curved, ready):
    name = column.removesuffix("_w_m2").removesuffix("_c").replace("_", " ")
    name += " temperature" if unit == "°C" else ""
    whom = _whom(ready)
    offered = f"Available places read from {readings[0]:.3g} to {readings[1]:.3g} {unit} (5 to 95 %)."
    if curved.separated:
        why = _why(curved).replace("linear and square", name)
        return f"No preferred {name} can be given from {whom}: {why}."
    if preferred is None:
        return (
            f"No preferred {name} can be given from {whom}: the choices do not bend over (test of a hump, "
            f"p {hump_p:.2g}). {offered}"
        )
    words = f"Preferred {name}, from {whom}: {preferred.sentence[:-1]} {unit}."
    if not readings[0] <= preferred.estimate <= readings[1]:
        words += " This lies beyond what nearly all places offered, so it is an extrapolation."
    return f"{words}{_alone(ready)} {offered}"


def _whom(ready):
    def counted(number, what):
        return f"{number} {what}{'' if number == 1 else 's'}"

    return counted(ready.n_sets, "choice set") + (
        f" of {counted(ready.n_animals, 'animal')}" if ready.n_animals else ""
    )


def _why(fitted):
    """The note that says why a term has no estimate, without its full stop."""
    notes = [n for n in fitted.notes if "separation" in n or "left out" in n]
    return (notes or list(fitted.notes))[0].rstrip(".")


def _alone(ready):
    return " All sets are of one animal: this is its own, not that of its kind." if ready.n_animals == 1 else ""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class SwitchPoint(Result):
    """Where selection turns round.

    Attributes
    ----------
    switch : Interval or None
        Context value (shade air temperature, °C) at which selection for the driver is nil; None when selection does
        not change with the context.
    curve : DataFrame
        ``context, odds_ratio, low, high``: odds ratio for one within-set standard deviation of the driver.
    interaction_p : float
        Wald test of the interaction, by animal or by set, whichever is larger.
    seen : tuple of float
        Lowest and highest context of the season.
    reached : bool
        Whether the switch point lies within what the season saw.
    fit : Fit
    left_out : DataFrame
    """

    rows_of = "choices"
    switch: Interval | None
    table: object
    sentence: str
    curve: object
    interaction_p: float
    seen: tuple
    reached: bool
    fit: object
    left_out: object
    n_sets: int
    n_animals: int
    notes: tuple
    settings: dict


@method
def switch_point(
    choices, *, driver="irradiance_w_m2", context="shade_air_c", cluster="animal_id", others=(), level=0.95
):
    """Find the air temperature at which selection turns from sun to shade.

    Parameters
    ----------
    choices : DataFrame
        The choice table.
    driver : str
        What is sought or avoided: irradiance (W/m²).
    context : str
        What changes that: the set's mean shade air temperature (°C).
    cluster : str or None
        Column that names the animal.
    others : sequence of str
        Columns held equal, for example ``("surface_c",)``.
    level : float
        Confidence level.

    Returns
    -------
    SwitchPoint

    Raises
    ------
    ChoiceError
        When the table cannot hold a choice test.

    Notes
    -----
    Conditional logit with log odds b1 r + b2 r (a - mean a), r the driver and a the mean context of the set, which by
    itself cannot enter (it does not differ within a set). Selection is nil at mean a - b1 / b2; Fieller's interval.

    Examples
    --------
    >>> from fieldkit.field.planning import simulate
    >>> season = simulate.choice_season(n_sets=400, driver="radiation", switch_air_c=24, rng=1)
    >>> switch_point(season.choices).reached
    True
    """
    import pandas as pd

    columns = [driver, context, *others]
    ready = choice_sets.prepare(choices, {c: c for c in columns}, cluster)
    r = ready.kept[driver].to_numpy(dtype=float)
    a = ready.kept[context].to_numpy(dtype=float)
    mean_of_set = np.bincount(ready.sets, weights=a) / np.bincount(ready.sets)
    middle = float(mean_of_set.mean())
    within, _ = choice_sets.centre(r[:, None], ready.sets)
    sd = float(np.sqrt((within**2).sum() / max(1, len(within) - ready.n_sets)))
    if sd == 0:
        raise ChoiceError(f"{driver} does not differ between the places of any set, so there is nothing to select on.")
    scaled = within[:, 0] / sd
    frame = pd.DataFrame({"driver": scaled, "interaction": scaled * (mean_of_set[ready.sets] - middle)})
    for name in others:
        frame[name] = ready.kept[name].to_numpy(dtype=float)
    result = fit(frame, ready.used, ready.sets, cluster=ready.animals)
    seen = float(mean_of_set.min()), float(mean_of_set.max())

    switch, p, reached = None, np.nan, False
    usable = {"driver", "interaction"} <= set(result.coefficients.index) and not result.separated
    grid = np.linspace(*seen, GRID)
    curve = pd.DataFrame({"context": grid, "odds_ratio": np.nan, "low": np.nan, "high": np.nan})
    if usable:
        df = result.degrees_of_freedom
        pair = ["driver", "interaction"]
        b = result.coefficients[pair].to_numpy()
        both = np.stack([c.loc[pair, pair].to_numpy() for c in (result.covariance, result.model_covariance)])
        p = result.p_value("interaction")
        if p < 1 - level:
            flipped = both * np.array([[1.0, -1.0], [-1.0, 1.0]])
            got = widest_fieller(-b[0], b[1], flipped, level=level, degrees_of_freedom=df)
            shifted = [v + middle for v in (got.estimate, got.low, got.high)]
            switch = Interval(estimate=shifted[0], low=shifted[1], high=shifted[2], level=level, kind=got.kind, g=got.g)
            reached = bool(seen[0] <= switch.estimate <= seen[1])
        design = np.stack([np.ones(GRID), grid - middle], axis=1)
        curve = curve[["context"]].join(relation(result, pair, design, level=level))
        curve = curve.rename(columns={"odds": "odds_ratio"})
    table = result.table
    return SwitchPoint(
        switch=switch,
        table=table,
        sentence=_say_switch(switch, p, seen, reached, result, ready, level),
        curve=curve,
        interaction_p=p,
        seen=seen,
        reached=reached,
        fit=result,
        left_out=ready.left_out,
        n_sets=ready.n_sets,
        n_animals=ready.n_animals,
        notes=(*ready.notes, *result.notes),
        settings={
            "driver": driver,
            "context": context,
            "cluster": cluster,
            "others": tuple(others),
            "level": level,
            "within_set_sd": sd,
        },
    )


def _say_switch(switch, p, seen, reached, result, ready, level):
    whom = _whom(ready)
    saw = f"The season saw shade air from {seen[0]:.3g} to {seen[1]:.3g} °C."
    if switch is None:
        why = f"p {p:.2g}"
        if result.separated or result.dropped:
            why = _why(result).replace("driver", "radiation").replace("interaction", "its change with air")
        return f"No switch point can be given from {whom}: selection does not clearly change with air ({why}). {saw}"
    way = (
        "sought below and avoided above" if result.coefficients["interaction"] < 0 else "avoided below and sought above"
    )
    if not reached:
        side = "hot" if switch.estimate > seen[1] else "cold"
        return (
            f"Selection changes with shade air ({whom}), but the season never got {side} enough to see it turn round: "
            f"by extrapolation it would at {switch.estimate:.3g} °C. {saw}"
        )
    words = f"Switch point, from {whom}: shade air of {switch.sentence[:-1]} °C (radiation is {way} it)."
    return f"{words}{_alone(ready)} {saw}"
