"""Animals seen incidentally: when in the day and the season, what they did, and what the loggers read just then."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result, method
from fieldkit.field import shade_air
from fieldkit.field.basking import readings_at
from fieldkit.field.of_season import table_of
from fieldkit.field.stats.intervals import MOST_FAILED, percentile_tails, resampled_clusters
from fieldkit.physics import sun

# Between two rounds of scans on one day that lie no further apart than this, somebody was there (our choice).
LONGEST_GAP = pd.Timedelta(hours=2)
# Groups that were watched on fewer days than this get no limits: too few to draw from (our choice).
FEWEST_DAYS = 5
# The time watched is cut into pieces of this length at most, each counted to the solar hour in its middle.
_PIECE = pd.Timedelta(minutes=1)
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
ROLES = {
    "shade_air": "shade air",
    "surface": "surface",
    "copper_model": "operative (copper model)",
    "irradiance": "radiation",
}


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Sightings(Result):
    """When animals were seen incidentally.

    Attributes
    ----------
    table : DataFrame
        Rows ``all``, then two solar hours each. ``sightings`` (rows of the table), ``animals`` (groups counted
        out), ``exposed_share`` (of the animals), and where the time watched is known ``hours_watched``,
        ``sightings_per_h`` within it, its limits ``low, high``, and whether it ``differs`` from the rate over all (the
        error held over all groups together).
    by_month : DataFrame
        The same by month of the year.
    rate_known : bool
        Whether rounds of scans say when somebody watched. Without them counts are no rates.
    left_out : DataFrame
        ``row, reason`` of the sightings that do not count for a rate.
    n_days : int
        Days on which animals were met.
    """

    rows_of = "sightings"
    table: pd.DataFrame
    by_month: pd.DataFrame
    rate_known: bool
    left_out: pd.DataFrame
    n_days: int
    n_named: int
    seed: int | None
    settings: dict

    @property
    def sentence(self):
        """When they were seen, and how often."""
        row = self.table.loc["all"]
        named = f", {self.n_named} of them told apart" if self.n_named else ""
        doing = " or ".join(self.settings["behaviours"])
        words = [
            f"{row['sightings']:.0f} sightings of {row['animals']:.0f} animals{named} on {self.n_days} days; "
            f"{100 * row['exposed_share']:.0f} % of the animals were {doing}."
        ]
        if self.rate_known:
            said = rate(row, self.settings["level"]), uneven(self.table), uneven(self.by_month)
            words.append(f"In {row['hours_watched']:.0f} hours of watching that is {'; '.join(said)}.")
        else:
            words.append(
                "How long the observers searched is not on record, so these are counts and no rates: hours and months "
                "in which they searched more show more."
            )
        return " ".join(words)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Conditions(Result):
    """What the loggers read when animals were met.

    Attributes
    ----------
    table : DataFrame
        One row per logger: ``role, readings`` (sightings with one near in time), ``median, p10, p90`` at the
        sightings, and over the time watched ``watched_median, watched_p10, watched_p90`` (NaN where it is not known).
    left_out : DataFrame
        Days of shade loggers that the sun reached, as in `fieldkit.field.shade_air.ShadeAir`.
    notes : tuple of str
        What the search for the sun in the shade loggers could not answer.
    """

    rows_of = "sightings"
    table: pd.DataFrame
    settings: dict
    left_out: pd.DataFrame
    notes: tuple = ()

    @property
    def sentence(self):
        """Medians at the sightings, beside those of the time watched."""
        parts = []
        for name, row in self.table.iterrows():
            unit, digits = ("W/m²", 0) if row["role"] == ROLES["irradiance"] else ("°C", 1)
            median, watched = (np.round(row[column], digits) for column in ("median", "watched_median"))
            beside = f" (over the time watched {watched:.{digits}f})" if np.isfinite(watched) else ""
            parts.append(f"{row['role']} {median:.{digits}f} {unit} on {name}{beside}")
        gone = [
            f"{name} on {len(days)} day{'s' * (len(days) > 1)}" for name, days in self.left_out.groupby("logger_id")
        ]
        masked = f" Hours in which the sun reached a shade logger were left out: {', '.join(gone)}." if gone else ""
        return f"In the median of the sightings: {'; '.join(parts)}.{masked}"


@method
def of_season(season, *, behaviours=("basking",), level=0.95, n_resamples=999, rng=0):
    """Describe the sightings of a season.

    Parameters
    ----------
    season : Season
        With ``sightings``; ``scans`` say when somebody watched.
    behaviours : sequence of str
        What counts as exposed.
    level : float
        Confidence level of the limits of rates.
    n_resamples : int
        How many times the days are drawn again.
    rng : int or numpy.random.Generator
        Seed.

    Returns
    -------
    Sightings

    Raises
    ------
    FieldkitError
        When the season has no sightings.

    Notes
    -----
    A rate is sightings over time watched. Somebody is taken to have watched from one round of scans to the next on the
    same day, when they lie no more than two hours apart; sightings at other times are left out of the rate, and so are
    days without scans. A group counts as one sighting. Limits: percentiles over whole days drawn again; where nobody
    was seen, the upper limit is that of a Poisson count of zero (Garwood 1936, Biometrika 28:437).

    In 600 simulated seasons of each of eight kinds, watched as the demo is, with days alike or unlike, in which no hour
    or month differed, one was said to differ in 5 to 10 of 100. An hour with two and a half times the sightings was
    found in 93 of 100 or more; a month, watched on fewer days, in 42 to 100. Limits held the truth in 94 to 96 of 100.

    Examples
    --------
    >>> import fieldkit
    >>> found = of_season(fieldkit.demo_season(), n_resamples=99)
    >>> int(found.table.loc["all", "sightings"]), found.rate_known
    (100, True)
    """
    met = _met(season)
    count = met["count"].fillna(1.0) if "count" in met else pd.Series(1.0, index=met.index)
    here = season.site.longitude_deg
    seen = pd.DataFrame(
        {
            "animals": count,
            "exposed": count * met["behaviour"].isin(list(behaviours)),
            "day": met["time"].dt.date,
            "hour": _hour(met["time"], here),
            "month": met["time"].dt.month,
        }
    )
    watch = _watched(season.scans)
    watch["hour"] = _hour(watch["time"], here)
    watch["month"] = watch["time"].dt.month
    seen["counts"] = _within(met["time"], watch)
    rate_known = bool(seen["counts"].any())
    settings = {"behaviours": tuple(behaviours), "level": level}
    draw = {"level": level, "n_resamples": n_resamples, "rng": rng}
    tables = [_by(seen, watch if rate_known else None, column, draw) for column in ("hour", "month")]
    outside = seen.index[~seen["counts"]] if rate_known else seen.index[:0]
    reason = "nobody is known to have watched then, so it does not count for a rate"
    return Sightings(
        table=tables[0].rename_axis("solar_hour"),
        by_month=tables[1].rename_axis("month"),
        rate_known=rate_known,
        left_out=pd.DataFrame({"row": outside, "reason": reason}),
        n_days=seen["day"].nunique(),
        n_named=int(met["animal_id"].nunique()) if "animal_id" in met else 0,
        seed=int(rng) if isinstance(rng, int | np.integer) else None,
        settings=settings,
    )


@method
def conditions(season, *, tolerance="30 min"):
    """Find what the loggers read when animals were met, and over all the time watched.

    Parameters
    ----------
    season : Season
        With ``sightings`` and ``loggers``; ``scans`` say when somebody watched.
    tolerance : str or pandas.Timedelta
        Furthest a logger reading may be from a sighting.

    Returns
    -------
    Conditions

    Raises
    ------
    FieldkitError
        When the season has no sightings, or no logger of air, surface, operative temperature or radiation read then.

    Examples
    --------
    >>> import fieldkit
    >>> found = conditions(fieldkit.demo_season())
    >>> float(found.table.loc["shade-1", "median"].round(1))
    21.1
    """
    met, watch = _met(season), _watched(season.scans)
    rows = {}
    roles = set() if season.loggers is None else set(season.logger_info["role"])
    air = shade_air.of_season(season) if roles else None
    for role in (role for role in ROLES if role in roles):
        logged = {"loggers": air.loggers, "logger_info": season.logger_info, "role": role, "tolerance": tolerance}
        at = readings_at(met["time"], **logged)
        during = readings_at(watch["time"], **logged) if len(watch) else at.iloc[:0]
        for name in at.columns[at.notna().any()]:
            row = {"role": ROLES[role], "readings": int(at[name].notna().sum())}
            rows[name] = row | _spread(at[name], "") | _spread(during[name], "watched_")
    if not rows:
        raise FieldkitError(
            f"No logger of air, surface, operative temperature or radiation read within {tolerance} of a sighting."
        )
    table = pd.DataFrame.from_dict(rows, orient="index").rename_axis("logger_id")
    return Conditions(
        table=table,
        settings={"tolerance": str(tolerance)},
        left_out=air.left_out,
        notes=(air.note,) if air.note else (),
    )


def _met(season):
    return table_of(season, "sightings", "animals seen incidentally, one row each")


def uneven(table):
    """Say which groups differ from the rate over all, if any do.

    Parameters
    ----------
    table : DataFrame
        ``Sightings.table`` or ``Sightings.by_month`` with rates.

    Returns
    -------
    str

    Examples
    --------
    >>> rates = {"sightings_per_h": [0.2, 0.3, 0.1], "differs": [False, True, False]}
    >>> uneven(pd.DataFrame(rates, index=pd.Index(["all", 5, 6], name="month")))
    'more than over all in May'
    """
    groups = table.drop(index="all")
    groups = groups[groups["differs"]]
    by_hour = table.index.name == "solar_hour"
    if groups.empty:
        return f"no {'solar hour' if by_hour else 'month'} stands out"
    names = pd.Series([f"at {n} of the sun" if by_hour else f"in {MONTHS[n - 1]}" for n in groups.index], groups.index)
    over = groups["sightings_per_h"] > table.loc["all", "sightings_per_h"]
    parts = [
        f"{way} than over all {' and '.join(names[which])}"
        for way, which in (("more", over), ("less", ~over))
        if which.any()
    ]
    return ", ".join(parts)


def rate(row, level):
    """Say the rate of one row of a table with its limits.

    Parameters
    ----------
    row : Series
        ``sightings_per_h, low, high``.
    level : float
        Confidence level of the limits.

    Returns
    -------
    str

    Examples
    --------
    >>> rate(pd.Series({"sightings_per_h": 0.25, "low": 0.2, "high": 0.31}), 0.95)
    '0.25 sightings an hour (95 % interval 0.2 to 0.31)'
    """
    limits = ""
    if np.isfinite(row["low"]):
        limits = f" ({100 * level:g} % interval {row['low']:.2g} to {row['high']:.2g})"
    return f"{row['sightings_per_h']:.2g} sightings an hour{limits}"


def _hour(times, longitude_deg):
    if len(times) == 0:
        return pd.Series(dtype="object")
    start = (np.floor(sun.solar_time(times, longitude_deg=longitude_deg) / 2) * 2).astype(int)
    return pd.Series([f"{hour}–{hour + 2} h" for hour in start], index=times.index)


def _watched(scans):
    """Pieces of time in which somebody watched: middle, day, hours; and the span from round to round they are of."""
    nothing = pd.DataFrame({"time": pd.DatetimeIndex([], tz="UTC"), "day": [], "hours": [], "start": [], "end": []})
    if scans is None or len(scans) == 0:
        return nothing
    rounds = scans["time"].drop_duplicates().sort_values()
    end = rounds.shift(-1)
    same = (end - rounds <= LONGEST_GAP) & (end.dt.date == rounds.dt.date)
    spans = pd.DataFrame({"start": rounds[same], "end": end[same]})
    if spans.empty:
        return nothing
    length = spans["end"] - spans["start"]
    pieces = np.ceil(length / _PIECE).astype(int)
    out = spans.loc[spans.index.repeat(pieces)].reset_index(drop=True)
    step = (length / pieces).repeat(pieces).reset_index(drop=True)
    number = np.concatenate([np.arange(n) for n in pieces])
    out.insert(0, "time", out["start"] + step * (number + 0.5))
    return out.assign(day=out["time"].dt.date, hours=step / pd.Timedelta(hours=1))


def _within(times, watch):
    """Whether somebody watched at each time."""
    if len(watch) == 0:
        return np.zeros(len(times), dtype=bool)
    spans = watch[["start", "end"]].drop_duplicates()
    starts, ends = spans["start"].to_numpy(), spans["end"].to_numpy()
    values = times.to_numpy()
    place = np.searchsorted(starts, values, side="right") - 1
    return (place >= 0) & (values <= ends[np.maximum(place, 0)])


def _by(seen, watch, column, draw):
    """One row per group: counts, and rates where the time watched is known."""
    names = set(seen[column]) | (set() if watch is None else set(watch[column]))
    names = sorted(names, key=lambda name: int(str(name).split("–")[0]))
    sums = seen.groupby(column)[["animals", "exposed"]].sum().reindex(names)
    out = pd.DataFrame({"sightings": seen.groupby(column).size(), "animals": sums["animals"]}, index=names).fillna(0.0)
    out["exposed_share"] = sums["exposed"] / sums["animals"]
    total = [len(seen), seen["animals"].sum(), seen["exposed"].sum() / seen["animals"].sum()]
    out = pd.concat([pd.DataFrame([total], index=["all"], columns=out.columns), out])
    out[["sightings", "animals"]] = out[["sightings", "animals"]].astype(int)
    if watch is None:
        return out.assign(hours_watched=np.nan, sightings_per_h=np.nan, low=np.nan, high=np.nan, differs=False)
    days = watch["day"].unique()
    met = pd.crosstab(seen.loc[seen["counts"], "day"], seen[column]).reindex(index=days, columns=names, fill_value=0)
    hours = watch.pivot_table(index="day", columns=column, values="hours", aggfunc="sum", fill_value=0.0)
    hours = hours.reindex(index=days, columns=names, fill_value=0.0)
    met, hours = (table.assign(all=table.sum(axis=1)) for table in (met, hours))
    wide = pd.concat({"met": met, "hours": hours}, axis=1).astype(float)
    labels = [*names, "all"]

    counted, watched = (wide[part][labels].to_numpy() for part in ("met", "hours"))

    def rates(weights):
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(weights @ watched > 0, (weights @ counted) / (weights @ watched), np.nan)

    out["hours_watched"] = hours.sum()
    out["sightings_per_h"] = pd.Series(rates(np.ones(len(days))), labels)
    out[["low", "high"]], out["differs"] = np.nan, False
    if len(days) >= FEWEST_DAYS:
        drawn = resampled_clusters(len(days), n_resamples=draw["n_resamples"], rng=draw["rng"])
        times = np.stack([np.bincount(one, minlength=len(days)) for one in drawn])
        draws = pd.DataFrame(rates(times), columns=labels)
        enough = ((hours > 0).sum() >= FEWEST_DAYS) & (draws.isna().mean() <= MOST_FAILED)
        limits = draws.quantile(list(percentile_tails(len(days), draw["level"]))).T.set_axis(["low", "high"], axis=1)
        out[["low", "high"]] = limits.where(enough)
        away = draws[names].sub(draws["all"], axis=0).loc[:, out.loc[names, "low"].notna()]
        tails = percentile_tails(len(days), 1 - (1 - draw["level"]) / len(names))
        low, high = (away.quantile(tail) for tail in tails)
        out.loc[away.columns, "differs"] = (low > 0) | (high < 0)
    none = (out["sightings_per_h"] == 0) & (out["hours_watched"] > 0)
    out.loc[none, "low"] = 0.0
    out.loc[none, "high"] = -np.log((1 - draw["level"]) / 2) / out.loc[none, "hours_watched"]
    return out


def _spread(values, prefix):
    return {
        f"{prefix}median": values.median(),
        f"{prefix}p10": values.quantile(0.1),
        f"{prefix}p90": values.quantile(0.9),
    }
