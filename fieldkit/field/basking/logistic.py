"""The air temperatures between which animals bask: chance of basking against shade air, from repeated looks."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result
from fieldkit.field.basking.curve import fit_curve
from fieldkit.field.basking.limits import find_limits, lopsided_p
from fieldkit.field.stats.intervals import cluster_bootstrap

SHAPES = ("hump", "monotone", "spline")
LINKS = ("logit", "probit", "cloglog")
# Below this a cluster-robust covariance is shaky (common practice, no source).
FEW_CLUSTERS = 10
# Fewer looks of the rarer answer than this for each coefficient make a shaky curve (common practice, no source).
FEW_ANSWERS = 10
# Share of the ups and downs of one thing that go with another, above which the two are called hard to tell apart (our
# choice).
TOGETHER = 0.8
# A cubic term this clear (p) makes the sentence point to the spline (our choice: a hint, not a verdict).
LOPSIDED_P = 0.05


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
    deviance, degrees_of_freedom : float
    lopsided_p : float
        Wald p of a cubic term added to the hump; NaN for other shapes.
    left_out : pandas.DataFrame
        ``row, reason`` of every scan that was not used.
    settings : dict
    seed : int or None
        Seed of the bootstrap; None when there was none.
    """

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
    deviance: float
    degrees_of_freedom: float
    lopsided_p: float
    left_out: pd.DataFrame
    settings: dict
    seed: int | None


def window(
    scans,
    loggers=None,
    *,
    logger_info=None,
    behaviours=("basking",),
    among=None,
    shape="hump",
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
        ``logger_id, role``; loggers with role shade_air (irradiance) are joined to the looks by time.
    behaviours : sequence of str
        What counts as yes.
    among : sequence of str, optional
        Behaviours that count as a look at all, `behaviours` included; others are left out. Default: all.
    shape : {"hump", "monotone", "spline"}
        Quadratic, straight, or natural cubic spline (5 knots at quantiles) on the link scale.
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
    95.4 %. ``tests/study_basking.py`` prints the like.

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
    looks, left_out = _looks(scans, loggers, logger_info, behaviours, among, radiation, tolerance)
    clusters = _clusters(looks, cluster)
    if radiation == "none":
        at_irradiance_w_m2 = None
    elif at_irradiance_w_m2 is None:
        at_irradiance_w_m2 = float(looks["irradiance_w_m2"].median())
    options = {
        "shape": shape,
        "link": link,
        "radiation": radiation,
        "at_irradiance_w_m2": at_irradiance_w_m2,
        "level": level,
    }
    curve = fit_curve(looks, clusters, **options)
    height = {"fraction_of_peak": fraction_of_peak, "probability": probability}
    table = find_limits(curve, **height)
    seed = None
    if interval == "bootstrap":
        table, seed = _bootstrap(table, looks, clusters, curve, options, height, n_resamples, rng)
    lopsided = lopsided_p(looks, clusters, curve, options) if shape == "hump" else np.nan
    animals = int(looks["animal_id"].nunique()) if "animal_id" in looks else 0
    days = int(looks["day"].nunique()) if "day" in looks else 0
    return Window(
        table=table.drop(columns="x"),
        sentence=_sentence(table, curve, behaviours, height, looks, animals, days, lopsided, left_out, interval),
        curve=_drawn_curve(curve),
        binned=_binned(looks, level),
        looks=looks.drop(columns=["yes", "n"]),
        coefficients=curve.reported(),
        covariances=curve.reported_covariances(),
        scanned_c=(curve.low, curve.high),
        n_looks=int(looks["n"].sum()),
        n_animals=animals,
        n_days=days,
        deviance=curve.deviance,
        degrees_of_freedom=curve.degrees_of_freedom,
        lopsided_p=lopsided,
        left_out=left_out,
        settings=options
        | height
        | {
            "behaviours": tuple(behaviours),
            "among": None if among is None else tuple(among),
            "cluster": tuple(clusters),
            "interval": interval,
            "tolerance": str(tolerance),
        },
        seed=seed,
    )


def readings_at(times, loggers, logger_info, *, role, tolerance="15min"):
    """Find what the loggers of one role read nearest in time to each look.

    Parameters
    ----------
    times : pandas.Series of datetime
        When each look was taken.
    loggers : pandas.DataFrame
        Long form ``time, logger_id, value``.
    logger_info : pandas.DataFrame
        ``logger_id, role``.
    role : str
        For example ``"shade_air"``.
    tolerance : str or pandas.Timedelta
        A reading further away than this is not used.

    Returns
    -------
    pandas.DataFrame
        Indexed as `times`, one column per logger; NaN where it did not read within the tolerance.

    Examples
    --------
    >>> import pandas as pd
    >>> loggers = pd.DataFrame({"time": pd.to_datetime(["2030-05-01 09:00", "2030-05-01 09:10"]),
    ...                         "logger_id": "L1", "value": [18.0, 19.0]})
    >>> info = pd.DataFrame({"logger_id": ["L1"], "role": ["shade_air"]})
    >>> looks = pd.Series(pd.to_datetime(["2030-05-01 09:08", "2030-05-01 12:00"]))
    >>> readings_at(looks, loggers, info, role="shade_air")["L1"].tolist()
    [19.0, nan]
    """
    if loggers is None or logger_info is None:
        raise FieldkitError(f"No '{role}' reading stands beside the looks: give loggers= and logger_info=.")
    wanted = logger_info.loc[logger_info["role"] == role, "logger_id"]
    chosen = loggers[loggers["logger_id"].isin(wanted)].dropna(subset=["time", "value"])
    if chosen.empty:
        raise FieldkitError(f"No logger has the role '{role}': name one in season.toml, or add its readings.")
    aware = {getattr(t.dt, "tz", None) is not None for t in (times, chosen["time"])}
    if len(aware) == 2:
        raise FieldkitError("Looks and loggers do not both say their time zone: give both a zone, or neither.")
    zoned = aware == {True}
    left = pd.DataFrame(
        {"time": pd.to_datetime(times, utc=zoned).astype(_clock(zoned)), "order": np.arange(len(times))}
    )
    left = left.dropna(subset=["time"]).sort_values("time")
    columns = {}
    for name, one in chosen.groupby("logger_id"):
        right = pd.DataFrame(
            {"time": pd.to_datetime(one["time"], utc=zoned).astype(_clock(zoned)), "value": one["value"]}
        )
        joined = pd.merge_asof(
            left, right.sort_values("time"), on="time", direction="nearest", tolerance=pd.Timedelta(tolerance)
        )
        columns[name] = joined.set_index("order")["value"].reindex(np.arange(len(times)))
    return pd.DataFrame(columns).set_axis(times.index)


def _clock(zoned):
    return "datetime64[us, UTC]" if zoned else "datetime64[us]"


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


def _looks(scans, loggers, logger_info, behaviours, among, radiation, tolerance):
    """Table of usable looks (yes, n, air, irradiance, animal, day) and the list of rows that were not."""
    if isinstance(behaviours, str) or isinstance(among, str):
        raise FieldkitError('Give behaviours= and among= as lists, for example behaviours=["basking"].')
    if scans is None:
        raise FieldkitError("There is no table of scans: basking is found from looks, one row each.")
    if "behaviour" not in scans:
        raise FieldkitError("The scans table has no column 'behaviour': it says what the animal did at each look.")
    looks = pd.DataFrame(index=scans.index)
    needed = {"shade_air_c": "shade_air"} | ({} if radiation == "none" else {"irradiance_w_m2": "irradiance"})
    for column, role in needed.items():
        looks[column] = _numbers(scans, column) if column in scans else np.nan
        if looks[column].isna().any() and (loggers is not None or looks[column].isna().all()):
            if "time" not in scans:
                raise FieldkitError(f"The scans table has neither '{column}' nor 'time' to look it up by.")
            logged = readings_at(scans["time"], loggers, logger_info, role=role, tolerance=tolerance)
            # Several shade loggers stand for one air: their mean.
            looks[column] = looks[column].fillna(logged.mean(axis=1))
    looks["behaviour"] = scans["behaviour"]
    looks["n"] = _numbers(scans, "count").fillna(1.0) if "count" in scans else 1.0
    if "animal_id" in scans and scans["animal_id"].notna().any():
        looks["animal_id"] = scans["animal_id"]
    if "time" in scans:
        looks["day"] = pd.to_datetime(scans["time"]).dt.date
    for column in scans.columns.difference(looks.columns):
        looks[column] = scans[column]

    reason = pd.Series("", index=scans.index)
    reason[looks["behaviour"].isna()] = "behaviour is empty"
    if among is not None:
        absent = set(behaviours) - set(among)
        if absent:
            raise FieldkitError(f"among= must also name {', '.join(sorted(absent))}, which counts as yes.")
        reason[~looks["behaviour"].isin(among) & (reason == "")] = "behaviour is not in among="
    reason[~(looks["n"] > 0) & (reason == "")] = "count is not above 0"
    for column in needed:
        empty = looks[column].isna() & (reason == "")
        reason[empty] = f"no {column} in the row and no logger reading within {tolerance} of it"
    left_out = reason[reason != ""].rename_axis("row").rename("reason").reset_index()
    looks = looks[reason == ""].copy()
    looks["yes"] = np.where(looks["behaviour"].isin(behaviours), looks["n"], 0.0)
    named = ", ".join(behaviours)
    if looks.empty:
        raise FieldkitError("No look could be used: every row of the scans lacks a behaviour or an air temperature.")
    if looks["yes"].sum() == 0:
        seen = ", ".join(sorted(looks["behaviour"].astype(str).unique()))
        raise FieldkitError(f"No look found an animal {named}. Behaviours in the scans are: {seen}.")
    if looks["yes"].sum() == looks["n"].sum():
        raise FieldkitError(
            f"Every look found an animal {named}: without looks that did not, its chance cannot be found. "
            "Note also what animals do when they do not bask, and looks that find none."
        )
    return looks, left_out


def _numbers(table, column):
    """A column as numbers; what is not finite is empty."""
    numbers = pd.to_numeric(table[column], errors="coerce").astype(float)
    text = table.index[numbers.isna() & table[column].notna() & (table[column].astype("string").str.lower() != "nan")]
    if len(text):
        raise FieldkitError(
            f"The scans table has '{table.loc[text[0], column]}' in column {column}, row {text[0]}, where a number is "
            "needed: correct it, or leave the cell empty."
        )
    return numbers.where(np.isfinite(numbers))


def _clusters(looks, cluster):
    """Whole-number labels of each kind of cluster, by name."""
    names = [] if cluster is None else [cluster] if isinstance(cluster, str) else list(cluster)
    if "animal_id" in names and "animal_id" not in looks:
        names.remove("animal_id")
    if len(names) > 2:
        raise FieldkitError("Looks can be clustered in two ways at most, for example by animal and by day.")
    labels = {}
    for name in names:
        if name not in looks:
            raise FieldkitError(
                f"The scans table has no '{name}' to cluster by; cluster=None takes looks as independent."
            )
        values = looks[name].astype("string")
        if values.isna().any():
            # Animals nobody could tell apart: those of one day go together.
            unknown = "unknown " + looks["day"].astype("string") if "day" in looks else "unknown"
            values = values.fillna(unknown)
        labels[name] = pd.factorize(values)[0]
    return labels


def _bootstrap(table, looks, clusters, curve, options, height, n_resamples, rng):
    """Percentile limits from whole clusters drawn again; the seed comes back with them."""
    if not clusters:
        raise FieldkitError("The bootstrap resamples animals or days: name one in cluster=, or use interval='fieller'.")
    kind, labels = next(iter(clusters.items()))

    def places(sample):
        try:
            again = fit_curve(sample, {}, **options, knots=curve.knots, centre=curve.centre)
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


def _share(fraction):
    return "half" if fraction == 0.5 else f"{fraction:g} times"


def _sentence(table, curve, behaviours, height, looks, animals, days, lopsided, left_out, interval):
    doing = " or ".join(behaviours)
    probability = height["probability"]
    sure = f"{100 * curve.level:g} % interval"

    def place(name, first=False):
        row = table.loc[name]
        ends = f"{row['low_c']:.1f} to {row['high_c']:.1f}"
        if not np.isfinite([row["low_c"], row["high_c"]]).all():
            ends = "no finite limits"
            if np.isfinite(row["low_c"]):
                ends = f"from {row['low_c']:.1f}, no upper end"
            elif np.isfinite(row["high_c"]):
                ends = f"to {row['high_c']:.1f}, no lower end"
        return f"{row['estimate_c']:.1f} °C ({sure + ' ' if first else ''}{ends})"

    lower, peak, upper = (table.loc[name, "status"] for name in table.index)
    words = []
    if "no hump" in (lower, upper) or (curve.shape == "hump" and peak == "no hump"):
        words.append(
            f"The chance of {doing} against shade air does not bend down at both ends: these looks show no range with "
            "two limits. Try shape='monotone' with probability=."
        )
    elif "peak not seen" in (lower, upper):
        warm = table.loc["peak", "x"] > curve.high
        words.append(
            f"The chance of {doing} is still {'rising' if warm else 'highest'} at the "
            f"{'hottest' if warm else 'coldest'} shade air scanned, {curve.high if warm else curve.low:.1f} °C: the "
            f"season never got {'hot' if warm else 'cold'} enough to see the peak, so limits at a share of it cannot "
            "be stated. probability= gives limits at a fixed chance."
        )
    if lower not in ("no hump", "peak not seen"):
        much = (
            f"in at least {100 * probability:g} % of looks"
            if probability is not None
            else f"at least {_share(height['fraction_of_peak'])} as often as at best"
        )
        parts = []
        if "never that often" in (lower, upper):
            words.append(f"At no shade air scanned does the fitted chance of {doing} reach {100 * probability:g} %.")
        else:
            known = [n for n in ("lower limit", "upper limit") if not np.isnan(table.loc[n, "estimate_c"])]
            if len(known) == 2:
                parts.append(f"from {place(known[0], True)} to {place(known[1])}")
            elif known:
                parts.append(f"{'above' if known[0] == 'lower limit' else 'below'} {place(known[0], True)}")
            if parts:
                words.append(f"Animals were {doing} {much} in shade air {parts[0]}.")
            for name, status, end, scan, edge in (
                ("lower limit", lower, "cold", "coldest", curve.low),
                ("upper limit", upper, "hot", "hottest", curve.high),
            ):
                ends = table.loc[name, ["low_c", "high_c"]].astype(float)
                if status in ("not reached", "interval open") and np.isinf(ends).all():
                    words.append(
                        f"These looks set no bounds to the {name}: by them, the chance of {doing} may not change with "
                        "shade air at all."
                    )
                elif status == "not reached":
                    words.append(
                        f"The season never got {end} enough to see the {name}: the {scan} scan was at {edge:.1f} °C."
                    )
                elif status == "interval open":
                    words.append(f"The interval of the {name} runs past the scanned temperatures: read it as a hint.")
    if "ends run together" in (lower, upper):
        words.append("The peak is not surely above this level, so the two limits cannot be told apart.")
    if not np.isnan(table.loc["peak", "estimate_c"]):
        words.append(f"Most often at {place('peak')}, in {100 * table.loc['peak', 'probability']:.0f} % of looks.")
        if not np.isfinite(table.loc["peak", ["low_c", "high_c"]].astype(float)).all():
            words.append("A curve without a peak fits these looks as well.")
    if curve.irradiance is not None:
        words.append(f"Stated for an irradiance of {curve.irradiance:.0f} W/m².")
    if lopsided < LOPSIDED_P:
        words.append(
            f"One side falls faster than the other (p = {lopsided:.2g}): a freer curve (shape='spline') may fit better."
        )
    words += _doubts(curve, doing, looks, animals, days, interval)
    if len(left_out):
        words.append(
            f"{_counted(len(left_out), 'row')} {'was' if len(left_out) == 1 else 'were'} left out (see left_out)."
        )
    return " ".join(words)


def _counted(number, what):
    return f"{number:.0f} {what}{'' if number == 1 else 's'}"


def _doubts(curve, doing, looks, animals, days, interval):
    """How much was seen, and what that leaves in doubt."""
    counts = [_counted(looks["n"].sum(), "look")]
    counts += [_counted(n, what) for n, what in ((animals, "animal"), (days, "day")) if n]
    words = [", ".join(counts) + "."]
    yes, rest = looks["yes"].sum(), (looks["n"] - looks["yes"]).sum()
    if min(yes, rest) < FEW_ANSWERS * (len(curve.beta) - 1):
        seen = f"found {doing}" if yes < rest else f"found no {doing}"
        words.append(f"Only {min(yes, rest):.0f} of them {seen}: a curve through so few is a hint.")
    if animals == 1:
        words.append("All looks are of one animal: the window is its own, not that of its kind.")
    if days == 1:
        words.append("All looks are of one day: another day may differ.")
    if curve.fewest + 1 < FEW_CLUSTERS and 1 not in (animals, days):
        words.append(f"Only {curve.fewest + 1} animals or days stand behind the intervals: they are rough.")
    if interval == "bootstrap" and len(curve.spread.degrees) == 2:
        words.append("The resamples leave out what looks of the second kind of cluster share.")
    air = looks["shade_air_c"]
    if curve.irradiance is not None and _explained(looks["irradiance_w_m2"], air) > TOGETHER:
        words.append("Irradiance rose and fell with shade air: these looks cannot tell the one from the other.")
    if "time" in looks:
        time = pd.to_datetime(looks["time"]).dt
        if _explained(air, time.hour + time.minute / 60) > TOGETHER:
            words.append(
                "Shade air rose and fell with the hour: a liking for warm air cannot be told from one for the time of "
                "day. Looks at the same hours of colder and warmer days would."
            )
    return words


def _explained(values, by):
    """Share of the variance of `values` that a parabola of `by` explains."""
    there = values.notna() & by.notna()
    values, by = values[there].to_numpy(float), by[there].to_numpy(float)
    if values.size == 0 or np.ptp(by) == 0 or np.ptp(values) == 0:
        return 0.0
    rest = values - np.polynomial.Polynomial.fit(by, values, min(2, len(np.unique(by)) - 1))(by)
    return 1 - rest.var() / values.var()


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
