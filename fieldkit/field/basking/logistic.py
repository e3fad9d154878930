"""The air temperatures between which animals bask: chance of basking against shade air, from repeated looks."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result, method
from fieldkit.field.basking.curve import fit_curve
from fieldkit.field.basking.limits import find_limits, flat_top, lopsided_p
from fieldkit.field.basking.looks import cluster_labels, usable_looks
from fieldkit.field.basking.shape import choose
from fieldkit.field.basking.words import sentence
from fieldkit.field.of_season import table_of
from fieldkit.field.stats.intervals import cluster_bootstrap, critical_value

SHAPES = ("auto", "hump", "monotone", "spline")
LINKS = ("logit", "probit", "cloglog")
NO_DAYS = ["logger_id", "day", "from_hour", "to_hour", "readings", "too_warm_c"]
# Irradiance is used where so many of the looks have it: fewer would choose the looks (our choice).
MOST_WITHOUT_SUN = 0.2


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Window(Result):
    """Lower limit, peak and upper limit of shade-air temperature for basking, each with its interval.

    Attributes
    ----------
    table : pandas.DataFrame
        Rows ``lower limit``, ``peak``, ``upper limit``; columns ``estimate_c, low_c, high_c, standard_error_c,
        probability, looks_beyond, status``. Status is ``found``, ``interval open`` (the interval runs past the scanned
        temperatures), ``ends run together`` (the peak is not surely above the level), ``not reached``, ``never that
        often``, ``peak not seen``, ``no hump`` or ``no such limit`` (the other end of a straight line).
    sentence : str
    curve : pandas.DataFrame
        ``shade_air_c, probability, low, high`` over the scanned temperatures.
    binned : pandas.DataFrame
        ``shade_air_c`` (mean of the bin), ``looks, share, low, high``: the data behind the curve, Wilson intervals
        that take every look as independent.
    looks : pandas.DataFrame
        The scans that were used, with the shade air (and irradiance) joined to them.
    coefficients : pandas.DataFrame
        ``estimate, standard_error`` on the link scale, air in °C.
    covariances : numpy.ndarray, shape (m, k, k)
        Of the coefficients: one, or with two kinds of cluster three (both, either alone; the largest variance counts).
    scanned_c : tuple of float
        Coldest and hottest shade air at which anybody looked.
    n_looks, n_animals, n_days : int
        n_animals is 0 where animals are not told apart.
    shapes : pandas.DataFrame
        The curves that were tried: ``coefficients, deviance, score`` (deviance, less what clusters make of it, plus one
        a coefficient: the smaller the better) and which was ``taken``. How well a curve fits is judged by these
        differences.
    deviance, degrees_of_freedom : float
        Of single looks, each found basking or not: its size is no measure of fit, only its difference from another
        curve through the same looks is one (McCullagh & Nelder 1989, Generalized Linear Models, section 4.4.5).
    lopsided_p : float
        Wald p of a cubic term added to the hump; NaN for a straight line.
    flat_top : bool
        The peak's interval fills more than a third of the window, or runs past the scanned temperatures: the top is
        flat, or these looks cannot tell where it lies.
    logger_days_left_out : pandas.DataFrame
        ``logger_id, day, from_hour, to_hour, readings, too_warm_c``: shade-air readings that the sun reached and that
        do not stand behind any look.
    left_out : pandas.DataFrame
        ``row, reason`` of every scan that was not used.
    settings : dict
    seed : int or None
        Seed of the bootstrap; None when there was none.
    """

    rows_of = "scans"
    table: pd.DataFrame
    sentence: str
    curve: pd.DataFrame
    binned: pd.DataFrame
    looks: pd.DataFrame
    coefficients: pd.DataFrame
    covariances: np.ndarray
    scanned_c: tuple
    n_looks: int
    n_animals: int
    n_days: int
    shapes: pd.DataFrame
    deviance: float
    degrees_of_freedom: float
    lopsided_p: float
    flat_top: bool
    left_out: pd.DataFrame
    logger_days_left_out: pd.DataFrame
    settings: dict
    seed: int | None


@method
def window(
    scans,
    loggers=None,
    *,
    logger_info=None,
    behaviours=("basking",),
    among=None,
    shape="auto",
    fraction_of_peak=None,
    probability=None,
    radiation="none",
    at_irradiance_w_m2=None,
    link="logit",
    cluster=("animal_id", "day"),
    interval="fieller",
    level=0.95,
    n_resamples=499,
    tolerance="15min",
    site=None,
    rng=0,
):
    """Find the shade-air temperatures between which animals bask (or are active).

    The chance that a look finds the animal basking is fitted against shade air by a binomial regression whose
    covariance lets looks at one animal, and looks on one day, go together. The limits are where the fitted curve
    passes a level.

    By default the level is **half of the peak**. A look often misses an animal that is there, and how often is rarely
    known: a constant share of misses scales the whole curve down, which moves every temperature at which a fixed
    probability is passed but leaves "half as often as at best" where it was. Give ``probability=`` for a fixed level
    instead: when every look finds the animal (radio tags, enclosures), or when no peak was seen.

    Parameters
    ----------
    scans : pandas.DataFrame
        One row per look: ``time``, ``behaviour``, optional ``animal_id`` and ``count`` (animals seen doing it; empty
        is one). Columns ``shade_air_c`` and ``irradiance_w_m2`` are used if present.
    loggers : pandas.DataFrame, optional
        Long form ``time, logger_id, value``. Needed when scans have no ``shade_air_c``.
    logger_info : pandas.DataFrame, optional
        ``logger_id, role``; loggers with role shade_air (irradiance) are joined to the looks by time. Shade-air
        readings that the sun reached are left out first, and named.
    behaviours : sequence of str
        What counts as yes.
    among : sequence of str, optional
        Behaviours that count as a look at all, `behaviours` included; others are left out. Default: all.
    shape : {"auto", "hump", "monotone", "spline"}
        On the link scale quadratic, straight, or a natural cubic spline (5 knots, evenly spaced over the temperatures
        at which the behaviour was found). ``auto``: the hump, unless a spline describes the looks better.
    fraction_of_peak : float, optional
        Level as a share of the highest fitted chance, 0 to 1; default 0.5 unless `probability` is given. Needs a peak.
    probability : float, optional
        Level as a chance, 0 to 1. The monotone shape has no peak and needs it.
    radiation : {"none", "added", "crossed"}
        Irradiance as a further term, with ``crossed`` also times air (the limits then move with radiation).
    at_irradiance_w_m2 : float, optional
        Irradiance at which the limits are stated; default the median of the looks.
    link : {"logit", "probit", "cloglog"}
        Scale on which the curve is a line or a hump.
    cluster : sequence of str or None
        ``"animal_id"``, ``"day"`` or any columns of `scans`, at most two. None takes looks as independent. Where
        animals are not told apart, the day stands alone.
    interval : {"fieller", "bootstrap"}
        ``fieller``: all temperatures at which the curve cannot be told from the level (Fieller 1954, carried over to a
        curve: exact Fieller for the straight line and for the peak of a hump). It can have no finite end.
        ``bootstrap``: percentiles over resampled clusters of the first kind in `cluster`, widened for few.
    level : float
        Confidence level of the intervals.
    n_resamples : int
        Bootstrap resamples.
    tolerance : str or pandas.Timedelta
        Furthest a logger reading may be from the look.
    site : object, optional
        With ``latitude_deg, longitude_deg, elevation_m`` (``season.site``): a clear sky shows whether the sun reached
        the shade loggers where no logger read irradiance.
    rng : int or numpy.random.Generator
        Seed of the bootstrap.

    Returns
    -------
    Window

    Raises
    ------
    FieldkitError
        Missing columns; no look with or without the behaviour; behaviour split cleanly by temperature, so that the
        fit runs away; fewer clusters than the curve has coefficients.

    Notes
    -----
    Temperatures beyond those scanned are never given as an estimate: the season did not see them. Instrument error in
    shade air widens the window; it is not corrected here.

    Clusters: the sandwich of Bell & McCaffrey (2002) for each kind; two kinds are added and their overlap taken off
    (Cameron, Gelbach & Miller 2011), and where either kind alone says less sure, that is believed. Student's t, with
    Bell & McCaffrey's degrees of freedom for one kind and Satterthwaite's (1946) for two. In simulated seasons (4,000
    each, with a seed that did not choose this) 95 % intervals of 6 to 14 animals on 20 to 40 days held the truth in
    93.7 to 96.5 %, and in 97 to 98 % where neither animals nor days differed; those of 20 to 40 days alone in 94.7 to
    95.4 %. ``tests/studies/study_basking.py`` prints the like.

    References
    ----------
    Fieller (1954) J. R. Stat. Soc. B 16:175-185. ter Braak & Looman (1986) Vegetatio 65:3-11 (optimum of a hump,
    u = -b1/2b2). Bell & McCaffrey (2002) Surv. Methodol. 28:169-181. Cameron, Gelbach & Miller (2011) J. Bus. Econ.
    Stat. 29:238-249. Satterthwaite (1946) Biometrics Bull. 2:110-114.

    Examples
    --------
    >>> import numpy as np, pandas as pd
    >>> air = np.repeat(np.arange(20.0, 46.0, 2.5), 40)
    >>> basked = np.concatenate([np.arange(40) < y for y in (5, 12, 20, 26, 29, 30, 29, 26, 20, 12, 5)])
    >>> scans = pd.DataFrame({"shade_air_c": air, "behaviour": np.where(basked, "basking", "elsewhere")})
    >>> found = window(scans, probability=0.5, cluster=None)
    >>> found.table["estimate_c"].round(1).tolist()
    [25.0, 32.5, 40.0]
    """
    fraction_of_peak = _checked_height(shape, fraction_of_peak, probability)
    for name, value, allowed in (
        ("radiation", radiation, ("none", "added", "crossed")),
        ("link", link, LINKS),
        ("interval", interval, ("fieller", "bootstrap")),
    ):
        if value not in allowed:
            raise FieldkitError(f"{name}='{value}' is not known: choose one of {', '.join(allowed)}.")
    critical_value(level)
    looks, left_out, air = usable_looks(scans, loggers, logger_info, behaviours, among, radiation, tolerance, site)
    clusters = cluster_labels(looks, cluster)
    if radiation == "none":
        at_irradiance_w_m2 = None
    elif at_irradiance_w_m2 is None:
        at_irradiance_w_m2 = float(looks["irradiance_w_m2"].median())
    options = {"link": link, "radiation": radiation, "at_irradiance_w_m2": at_irradiance_w_m2, "level": level}
    if shape == "auto":
        chosen = choose(looks, clusters, **options)
        curve, hump, shapes = chosen.curve, chosen.hump, chosen.table
    else:
        curve = hump = fit_curve(looks, clusters, shape=shape, **options)
        shapes = pd.DataFrame(
            {"coefficients": len(curve.beta), "deviance": curve.deviance, "taken": True},
            index=pd.Index([shape], name="shape"),
        )
    height = {"fraction_of_peak": fraction_of_peak, "probability": probability}
    table = find_limits(curve, **height)
    seed = None
    if interval == "bootstrap":
        table, seed = _bootstrap(table, looks, clusters, curve, options, height, n_resamples, rng)
    lopsided = lopsided_p(looks, clusters, hump, options) if hump.shape == "hump" else np.nan
    flat = flat_top(table)
    animals = int(looks["animal_id"].nunique()) if "animal_id" in looks else 0
    days = int(looks["day"].nunique()) if "day" in looks else 0
    return Window(
        table=table.drop(columns="x"),
        sentence=sentence(
            table,
            curve,
            behaviours=behaviours,
            height=height,
            looks=looks,
            animals=animals,
            days=days,
            lopsided=lopsided if shape == "hump" else np.nan,
            switched=shape == "auto" and curve.shape == "spline",
            flat=flat,
            left_out=left_out,
            air=air,
            interval=interval,
        ),
        curve=_drawn_curve(curve),
        binned=_binned(looks, level),
        looks=looks.drop(columns=["yes", "n"]),
        coefficients=curve.reported(),
        covariances=curve.reported_covariances(),
        scanned_c=(curve.low, curve.high),
        n_looks=int(looks["n"].sum()),
        n_animals=animals,
        n_days=days,
        shapes=shapes,
        deviance=curve.deviance,
        degrees_of_freedom=curve.degrees_of_freedom,
        lopsided_p=lopsided,
        flat_top=flat,
        left_out=left_out,
        logger_days_left_out=pd.DataFrame(columns=NO_DAYS) if air is None else air.left_out,
        settings=options
        | height
        | {"shape": shape, "knots": len(curve.knots) if curve.shape == "spline" else None}
        | {
            "behaviours": tuple(behaviours),
            "among": None if among is None else tuple(among),
            "cluster": tuple(clusters),
            "interval": interval,
            "tolerance": str(tolerance),
        },
        seed=seed,
    )


@method
def of_season(season, *, behaviours=("basking",), radiation=None, level=0.95, **options):
    """Find the basking window of a season: one window for headline, targets and card.

    Where radiation was read beside the looks, the window is stated at its usual strength (the median of the looks),
    because sun and air rise together and a hot day is more often a sunny one.

    Parameters
    ----------
    season : Season
        With ``scans`` and shade air in them or from a logger.
    behaviours : sequence of str
        What counts as yes.
    radiation : {"none", "added", "crossed"}, optional
        As in `window`; by default "added" where at least four in five looks have irradiance.
    level : float
        Confidence level of the intervals.
    **options
        Of `window`.

    Returns
    -------
    Window

    Raises
    ------
    FieldkitError
        When it is not a season, has no scans, or as in `window`.

    Examples
    --------
    >>> import fieldkit
    >>> found = of_season(fieldkit.demo_season())
    >>> found.settings["radiation"], found.n_animals
    ('added', 14)
    """
    scans = table_of(season, "scans", "looks at animals, one row each")
    logged = {"loggers": season.loggers, "logger_info": season.logger_info, "site": season.site}
    shared = logged | {"behaviours": behaviours, "level": level} | options
    if radiation is not None:
        return window(scans, radiation=radiation, **shared)
    if not _sun_beside(scans, behaviours, logged, options):
        return window(scans, radiation="none", **shared)
    try:
        return window(scans, radiation="added", **shared)
    except FieldkitError:
        # Irradiance that cannot be told from air: the window as it is, or its own sentence.
        return window(scans, radiation="none", **shared)


def _sun_beside(scans, behaviours, logged, options):
    """Whether nearly all looks that can be used have irradiance."""
    rest = (options.get("among"), options.get("tolerance", "15min"))
    counts = []
    for radiation in ("none", "added"):
        try:
            looks = usable_looks(
                scans, logged["loggers"], logged["logger_info"], behaviours, rest[0], radiation, rest[1], logged["site"]
            )[0]
        except FieldkitError:
            return False
        counts.append(len(looks))
    return counts[1] >= (1 - MOST_WITHOUT_SUN) * counts[0]


def _checked_height(shape, fraction_of_peak, probability):
    if shape not in SHAPES:
        raise FieldkitError(f"shape='{shape}' is not known: choose one of {', '.join(SHAPES)}.")
    if fraction_of_peak is not None and probability is not None:
        raise FieldkitError("Give fraction_of_peak= or probability=, not both: they are two levels.")
    if shape == "monotone" and probability is None:
        raise FieldkitError("A monotone curve has no peak: give probability=, for example probability=0.5.")
    if probability is None and fraction_of_peak is None:
        fraction_of_peak = 0.5
    for name, value in (("fraction_of_peak", fraction_of_peak), ("probability", probability)):
        if value is not None and not 0 < value < 1:
            raise FieldkitError(f"{name}={value} must lie between 0 and 1.")
    return fraction_of_peak


def _bootstrap(table, looks, clusters, curve, options, height, n_resamples, rng):
    """Percentile limits from whole clusters drawn again; the seed comes back with them."""
    if not clusters:
        raise FieldkitError("The bootstrap resamples animals or days: name one in cluster=, or use interval='fieller'.")
    kind, labels = next(iter(clusters.items()))

    def places(sample):
        try:
            again = fit_curve(sample, {}, **options, shape=curve.shape, knots=curve.knots, centre=curve.centre)
        except FieldkitError:
            return dict.fromkeys(table.index, np.nan)
        return find_limits(again, **height)["estimate_c"].to_dict()

    drawn = cluster_bootstrap(
        looks.assign(**{kind: labels}),
        places,
        cluster=kind,
        n_resamples=n_resamples,
        level=curve.level,
        method="percentile",
        rng=rng,
    )
    table = table.copy()
    for name in table.index[table["estimate_c"].notna()]:
        row = drawn.table.loc[name]
        closed = np.isfinite(row["low"])
        table.loc[name, ["low_c", "high_c"]] = (row["low"], row["high"]) if closed else (-np.inf, np.inf)
        table.loc[name, "standard_error_c"] = row["standard_error"]
        table.loc[name, "status"] = "found" if closed else "interval open"
    return table, drawn.seed


def _drawn_curve(curve):
    air = np.linspace(curve.low, curve.high, 200)
    eta = curve.eta(air)
    half = curve.reach(curve.basis(air))
    with np.errstate(over="ignore"):
        low, middle, high = (curve.link.inverse(eta + side * half) for side in (-1, 0, 1))
    return pd.DataFrame({"shade_air_c": air, "probability": middle, "low": low, "high": high})


def _binned(looks, level):
    from statsmodels.stats.proportion import proportion_confint

    air = looks["shade_air_c"]
    count = min(12, air.nunique())
    edges = np.unique(np.linspace(air.min(), air.max(), count + 1))
    place = np.clip(np.searchsorted(edges, air, side="right") - 1, 0, len(edges) - 2)
    rows = []
    for _, group in looks.groupby(place):
        n, yes = group["n"].sum(), group["yes"].sum()
        low, high = proportion_confint(yes, n, alpha=1 - level, method="wilson")
        middle = np.average(group["shade_air_c"], weights=group["n"])
        rows.append((middle, int(n), yes / n, low, high))
    return pd.DataFrame(rows, columns=["shade_air_c", "looks", "share", "low", "high"])
