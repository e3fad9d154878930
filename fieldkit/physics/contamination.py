"""Find "shade air" loggers that the sun has reached: when, and by how many °C.

Air follows the sun too, late: over half an hour to hours. A thermometer in the beam follows it within minutes. The test
looks for the part of a series that moves with irradiance faster than air can, day by day and window by window, and
carries along how uncertain the air's own response is. `fieldkit.physics.sensors.find_contamination` is the door.
"""

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result

# How clean shade air answers the sun, as a sum of first-order lags: (lag in minutes, mean gain, standard deviation of
# the gain) in °C per 1,000 W/m². Wide on purpose, so that air's own answer is not taken for a sunlit thermometer; the
# spread enters the uncertainty of every estimate. No source: chosen by hand, checked on the real stations and the
# simulations in the tests.
AIR_ALONE = ((30.0, 0.7, 0.8), (90.0, 1.2, 1.5), (300.0, 7.0, 5.0))
# The same for the difference from another shade air thermometer, where most of it cancels.
AIR_DIFFERENCE = ((45.0, 0.0, 0.7), (180.0, 0.0, 1.2))
# What no sum of lags foresees but comes back every day (breaking of the inversion of the night, sea breeze, a shadow on
# the air): standard deviations (°C) of the first harmonics of the day. Shared by all days: they never average out.
DAILY_ALONE_C = (1.5, 1.0, 0.5, 0.3, 0.2, 0.15)
DAILY_DIFFERENCE_C = (0.25, 0.2, 0.12, 0.1, 0.06, 0.05)
# A thermometer in good shade still gets scattered light: this much (°C per 1,000 W/m²) is not called contamination.
ALLOWED_PER_KW = 0.5
# Lag of the thermometer itself (minutes): a bead and a thick housing are both tried.
PROBE_LAGS_MIN = (3.0, 12.0)
PROBE_LAG_COARSE_MIN = (6.0,)
# With less than this hidden by noise (°C, one week) a quiet series is called "no sign of sun".
TELLS_UP_TO_C = 5.0
# A week of one logger is flagged above this many standard errors; set on simulated weeks (tests/study_contamination.py)
# so that the search over days and windows flags about one clean logger in a hundred.
WEEK_THRESHOLD = 4.0
# A clear sky in place of measured irradiance is the same every day, as is much of what air does: asked for more.
CLEAR_SKY_MORE = 0.5
# Standard deviations of the air's own answer that are granted before anything counts as sunlight on the thermometer;
# set, like the threshold, on simulated weeks other than those that are reported.
GRANTED_ALONE, GRANTED_DIFFERENCE = 1.5, 1.0
_WHITEN_MIN = 30.0
_HAC_MIN = 30.0
_FINEST_MIN = 5.0
_MOST_EPISODES = 8
_WIDTHS_H = (1.0, 1.5, 2.0, 3.0, 4.0, 6.0)
_QUIETEST_C = 0.01  # no pair of thermometers agrees better than this
_FEWEST_LIT = 3  # readings in a window on one day


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Contamination(Result):
    """Which shade air series read the sun, when and by how much; the series as corrected or masked on request.

    Attributes
    ----------
    table : DataFrame
        One row per shade air logger: ``logger_id, verdict`` ("reads the sun", "no sign of sun", "cannot tell"),
        ``days`` tested, ``days_with_sun`` flagged, ``contamination_c`` at strong sun in the flagged hours with
        ``low_c, high_c`` (95 %), ``strength`` (standard errors above what clean air can do), ``threshold``,
        ``detectable_c`` (contamination at strong sun that would have been found had it lasted all
        day for one week), ``compared_with``, ``note``.
    episodes : DataFrame
        One row per stretch: ``logger_id, first_day, last_day, from_hour, to_hour`` (clock of the series),
        ``contamination_c, low_c, high_c, strength``.
    readings : DataFrame
        The shade air series as given (one column each).
    estimate_c, error_c : DataFrame
        Estimated contamination of every reading (°C, 0 where none was found) and its standard error for that reading.
    settings : dict
    """

    table: pd.DataFrame
    episodes: pd.DataFrame
    readings: pd.DataFrame
    estimate_c: pd.DataFrame
    error_c: pd.DataFrame
    settings: dict

    @property
    def sentence(self):
        table = self.table
        bad = table[table["verdict"] == "reads the sun"]
        unsure = table[table["verdict"] == "cannot tell"]
        parts = []
        for row in bad.itertuples():
            when = self.episodes[self.episodes["logger_id"] == row.logger_id]
            first, last = when["first_day"].min(), when["last_day"].max()
            days = f"on {first:%Y-%m-%d}" if first == last else f"between {first:%Y-%m-%d} and {last:%Y-%m-%d}"
            parts.append(
                f"{row.logger_id} read the sun on {row.days_with_sun} of {row.days} days, {days}: "
                f"{row.contamination_c:.1f} °C too warm in strong sun "
                f"(95 % interval {row.low_c:.1f} to {row.high_c:.1f})"
            )
        if not parts:
            parts.append(f"No shade air series (of {len(table)}) shows a sign of sun")
        quiet = table[table["verdict"] == "no sign of sun"]
        if len(quiet):
            names = ", ".join(map(str, quiet["logger_id"]))
            parts.append(
                f"{names}: no sign of sun (a week of {quiet['detectable_c'].max():.1f} °C in strong sun would show)"
            )
        if len(unsure):
            parts.append("for " + ", ".join(map(str, unsure["logger_id"])) + " the data cannot tell")
        if self.settings["irradiance"] == "clear sky":
            parts.append("no irradiance was measured, so only a clear-sky sun was looked for, which finds less")
        return "; ".join(parts) + "."

    @property
    def corrected(self):
        """The series less the estimated contamination: an estimate, to be named as such wherever it is used."""
        return self.readings - self.estimate_c

    @property
    def masked(self):
        """The series with flagged readings left empty: where the estimate exceeds the smallest amount that counts."""
        return self.readings.where(self.estimate_c < self.settings["smallest_c"] / 2)


def find_contamination(
    series, irradiance=None, *, shade_air=None, reference=None, site=None, smallest_c=0.5, threshold=WEEK_THRESHOLD
):
    """Find the series labelled "shade air" that carry a radiation signal, when, and how many °C.

    Parameters
    ----------
    series : Series, DataFrame of columns, or long DataFrame with ``time, logger_id, value``
        Temperatures (°C) against times with a zone, in steps of at most 60 minutes.
    irradiance : Series, optional
        Measured global irradiance (W/m²), in steps of at most 60 minutes; stamps of averages are taken as their middle.
        None: clear-sky irradiance at `site`, which knows nothing of clouds: the test is then weaker.
    shade_air : sequence, optional
        Names of the series labelled shade air; None: all of them. The others are not tested.
    reference : Series or str, optional
        Air temperature known to be good, e.g. of a weather station, or the name of its column. Without it each shade
        air series is compared with the median of the other shade air series, if there are any.
    site : object or dict, optional
        With ``latitude_deg, longitude_deg`` and ``elevation_m``; needed only without `irradiance`.
    smallest_c : float
        Contamination at strong sun (°C) below which nothing is reported.
    threshold : float
        Standard errors needed for one logger in one week. It rises by itself with more loggers and longer series, so
        that the chance of any false alarm stays about the same.

    Returns
    -------
    Contamination
        With ``.table, .sentence, .episodes, .estimate_c, .error_c, .corrected, .masked``. Nothing is changed in what
        was given.

    Raises
    ------
    FieldkitError
        Times without a zone, neither irradiance nor site, or names that are not there.

    Notes
    -----
    For each day and each window of the clock (1 to 6 hours, and all day), generalised least squares of the series on
    quick irradiance in that window. Errors: first-order autocorrelation removed by quasi-differencing, the rest by
    Newey–West (1987, Econometrica 55:703) within the day; the gains of the air's own slow response are random effects
    with a stated spread, which is shared by all days and so does not average out. Days are then combined by precision;
    the best run of days is searched, and taken off before the next is looked for. Differences between days widen the
    interval of the estimate (DerSimonian & Laird 1986 idea, with a robust spread), not the threshold.

    Examples
    --------
    >>> times = pd.date_range("2024-05-01", periods=7 * 144, freq="10min", tz="Etc/GMT+5")
    >>> hour = times.hour + times.minute / 60
    >>> rng = np.random.default_rng(1)
    >>> clouds = np.repeat(rng.uniform(0.2, 1, 7 * 48), 3)
    >>> sun = pd.Series(np.clip(900 * np.sin((hour - 6) / 12 * np.pi), 0, None) * clouds, times)
    >>> air = 18 + 6 * np.sin((hour - 9) / 12 * np.pi) + rng.normal(0, 0.2, len(times))
    >>> found = find_contamination(pd.DataFrame({"A": air, "B": air + 0.005 * sun}, index=times), sun)
    >>> found.table["verdict"].tolist()
    ['no sign of sun', 'reads the sun']
    """
    wide = _wide(series)
    names = list(wide.columns) if shade_air is None else list(shade_air)
    for name in names:
        if name not in wide.columns:
            raise FieldkitError(f"There is no series named '{name}': there are {', '.join(map(str, wide.columns))}.")
    if isinstance(reference, str):
        if reference not in wide.columns:
            raise FieldkitError(f"There is no series named '{reference}' to compare with.")
        names = [name for name in names if name != reference]
        reference = wide[reference]
    if irradiance is None and site is None:
        raise FieldkitError("Give the measured irradiance, or site= (latitude and longitude) for a clear-sky sun.")
    for what, value in (("irradiance", irradiance), ("reference", reference)):
        if value is not None:
            _need_zone(value.index, what)
    if not names:
        raise FieldkitError("There is no series labelled shade air to test.")

    def test(name, pool):
        others = pool[[other for other in names if other != name]]
        return _one_logger(wide[name].dropna(), irradiance, site, reference, others, smallest_c, threshold, len(names))

    # A logger that reads the sun is no standard for the others: the clearest one is settled first, its flagged days are
    # left out of what the rest is compared with, and the rest is tested again.
    pool = wide[names].copy()
    results = {name: test(name, pool) for name in names}
    settled = []
    while True:
        flagged = [n for n in names if n not in settled and results[n]["row"]["verdict"] == "reads the sun"]
        if not flagged:
            break
        worst = max(flagged, key=lambda n: results[n]["row"]["strength"])
        settled.append(worst)
        lit = results[worst]["estimate"] > 0
        bad_days = lit.index[lit].tz_localize(None).normalize().unique()
        pool.loc[pool.index.tz_localize(None).normalize().isin(bad_days), worst] = np.nan
        if reference is None:
            results |= {name: test(name, pool) for name in names if name not in settled}

    rows, episodes = [], []
    estimate = pd.DataFrame(0.0, index=wide.index, columns=names)
    error = pd.DataFrame(0.0, index=wide.index, columns=names)
    for name in names:
        one = results[name]
        rows.append({"logger_id": name} | one["row"])
        episodes += [{"logger_id": name} | episode for episode in one["episodes"]]
        for target, key in ((estimate, "estimate"), (error, "error")):
            if one[key] is not None:
                target[name] = _spread(one[key], wide.index)
    when = ["first_day", "last_day", "from_hour", "to_hour"]
    columns = ["logger_id", *when, "contamination_c", "low_c", "high_c", "strength"]
    return Contamination(
        table=pd.DataFrame(rows),
        episodes=pd.DataFrame(episodes, columns=columns),
        readings=wide[names],
        estimate_c=estimate,
        error_c=error,
        settings={
            "irradiance": "clear sky" if irradiance is None else "measured",
            "smallest_c": smallest_c,
            "threshold": threshold,
        },
    )


def _need_zone(index, what):
    if not isinstance(index, pd.DatetimeIndex) or index.tz is None:
        raise FieldkitError(f"The times of the {what} need a time zone, for example series.tz_localize('Etc/GMT+5').")


def _wide(series):
    if isinstance(series, pd.Series):
        series = series.to_frame("logger" if series.name is None else series.name)
    elif {"time", "logger_id", "value"} <= set(series.columns):
        # Two readings of one logger at one time: their mean; the readings check lists them.
        series = series.pivot_table(index="time", columns="logger_id", values="value", aggfunc="mean", observed=True)
        series.columns.name = None
    _need_zone(series.index, "readings")
    return series.sort_index()


def _minutes(index):
    """Usual step of a series in minutes."""
    if len(index) < 2:
        return np.nan
    return float(np.median(np.diff(index.as_unit("ns").asi8)) / 6e10)


def _on_grid(values, grid_min, *, instant):
    """Mean around each grid time, or up to it for a sun that a reading at that instant has felt."""
    step = f"{round(grid_min * 60)}s"
    if _minutes(values.index) > 0.9 * grid_min:
        # On a clock that is never set: the hour that stands twice in autumn cannot be rounded.
        steady = values.index.tz_convert(dt.timezone(values.index[0].utcoffset()))
        return values.groupby(steady.round(step).tz_convert(values.index.tz)).mean()
    if instant:
        return values.resample(step, closed="right", label="right").mean()
    half = pd.Timedelta(minutes=grid_min / 2)
    moved = values.set_axis(values.index + half)
    return moved.resample(step).mean()


def _one_logger(y, irradiance, site, reference, others, smallest_c, threshold, loggers):
    row = {
        "verdict": "cannot tell",
        "days": 0,
        "days_with_sun": 0,
        "contamination_c": np.nan,
        "low_c": np.nan,
        "high_c": np.nan,
        "strength": np.nan,
        "threshold": np.nan,
        "detectable_c": np.nan,
        "compared_with": "nothing",
        "note": "",
    }
    nothing = {"row": row, "episodes": [], "estimate": None, "error": None}
    step = _minutes(y.index)
    sun_step = _minutes(irradiance.index) if irradiance is not None else 0.0
    if not max(step, sun_step) <= 60.5:
        row["note"] = "needs readings at least every 60 minutes"
        return nothing
    grid = max(_FINEST_MIN, step, sun_step)
    y = _on_grid(y, grid, instant=False)
    y = y.asfreq(f"{round(grid * 60)}s")
    if irradiance is None:
        sun = _clear_sky(y.index, site)
    else:
        instant = step > 0.9 * grid
        sun = _on_grid(irradiance.dropna(), grid, instant=instant).reindex(y.index)
    clock = _solar_clock(y.index, sun)
    targets = {"nothing": (y, (AIR_ALONE, DAILY_ALONE_C, GRANTED_ALONE))}
    compared, words = _reference(y, grid, reference, others)
    if compared is not None:
        targets[words] = (y - compared, (AIR_DIFFERENCE, DAILY_DIFFERENCE_C, GRANTED_DIFFERENCE))
    days = clock["day"].nunique()
    # Bonferroni over weeks, loggers and the two ways of looking.
    from scipy.stats import norm

    looks = max(days / 7, 1) * loggers * len(targets)
    needed = float(norm.isf(norm.sf(threshold + CLEAR_SKY_MORE * (irradiance is None)) / looks))

    best, fits = None, []
    for words, (target, air) in targets.items():
        for lag in PROBE_LAGS_MIN if grid <= 15 else PROBE_LAG_COARSE_MIN:
            fit = _days(target, sun, grid, air, lag, clock)
            if fit is None:
                continue
            fits.append((words, fit))
            found = _scan(fit, smallest_c)
            if found is not None and (best is None or found["strength"] > best[0]["strength"]):
                best = (found, words, target, air, lag)
    if not fits:
        row["note"] = "no day with sun, readings and irradiance together"
        return nothing
    row["days"] = int(max(np.isfinite(fit["slope"]).any(axis=1).sum() for _, fit in fits))
    row["threshold"] = needed
    row["detectable_c"], row["compared_with"] = min(
        ((_detectable(fit, needed), words) for words, fit in fits), key=lambda pair: pair[0]
    )
    if best is None or best[0]["strength"] < needed:
        row["strength"] = best[0]["strength"] if best else np.nan
        row["verdict"] = "no sign of sun" if row["detectable_c"] <= TELLS_UP_TO_C else "cannot tell"
        if row["verdict"] == "cannot tell":
            row["note"] = f"even {row['detectable_c']:.1f} °C could hide in these readings"
        return nothing
    return _follow(best, row, sun, grid, clock, smallest_c, needed)


def _follow(best, row, sun, grid, clock, smallest_c, needed):
    """Take episode after episode off the series until nothing is left that stands out."""
    found, words, target, air, lag = best
    estimate = pd.Series(0.0, index=target.index)
    variance = pd.Series(0.0, index=target.index)
    episodes = []
    while found is not None and found["strength"] >= needed and len(episodes) < _MOST_EPISODES:
        share = clock["gates"][found["gate"]] * clock["day"].isin(found["days"])
        inside = share > 0.5
        quick = pd.Series(_lagged(sun, lag, grid), index=target.index) * share
        estimate = estimate + found["slope"] * quick
        variance = variance + (found["spread"] * quick) ** 2
        lit = inside & (sun > 0.1 * sun[inside].max())
        hours = clock["clock_hour"][lit]
        episodes.append(
            {
                "first_day": clock["date"][lit].min(),
                "last_day": clock["date"][lit].max(),
                "from_hour": float(hours.min()),
                "to_hour": float(hours.max() + grid / 60),
                "contamination_c": found["slope"] * found["sun"],
                "low_c": (found["slope"] - 1.96 * found["error"]) * found["sun"],
                "high_c": (found["slope"] + 1.96 * found["error"]) * found["sun"],
                "strength": found["strength"],
                "_days": set(found["days"]),
            }
        )
        found = _scan(_days(target - estimate, sun, grid, air, lag, clock), smallest_c)
    main = max(episodes, key=lambda episode: episode["contamination_c"] * len(episode["_days"]))
    row |= {
        "verdict": "reads the sun",
        "days_with_sun": len(set.union(*(episode.pop("_days") for episode in episodes))),
        "compared_with": words,
    }
    row |= {key: main[key] for key in ("contamination_c", "low_c", "high_c")}
    row["strength"] = max(episode["strength"] for episode in episodes)
    return {"row": row, "episodes": episodes, "estimate": estimate, "error": np.sqrt(variance)}


def _spread(values, index):
    """Bring a grid series back to the times of the readings."""
    seconds = values.index.as_unit("ns").asi8
    return np.interp(index.as_unit("ns").asi8, seconds, values.to_numpy(), left=0.0, right=0.0)


def _clear_sky(index, site):
    from fieldkit.physics import sun as sun_room

    get = site.get if isinstance(site, dict) else lambda name, default=None: getattr(site, name, default)
    sky = sun_room.clear_sky(
        index,
        latitude_deg=get("latitude_deg"),
        longitude_deg=get("longitude_deg"),
        elevation_m=get("elevation_m", 0.0) or 0.0,
    )
    return pd.Series(np.asarray(sky["ghi_w_m2"], dtype=float), index=index)


def _reference(y, grid, reference, others):
    if reference is not None:
        compared = reference.dropna()
        step = _minutes(compared.index)
        if step <= grid * 1.1:
            return _on_grid(compared, grid, instant=False).reindex(y.index), "reference"
        # A station every hour against a logger every ten minutes: straight lines between, no further than the step.
        filled = compared.reindex(compared.index.union(y.index)).interpolate("time", limit_area="inside")
        near = compared.notna().reindex(y.index, method="nearest", tolerance=pd.Timedelta(minutes=step))
        return filled.reindex(y.index).where(near.eq(True)), "reference"
    columns = {}
    for name in others.columns:
        other = others[name].dropna()
        if len(other) > 1 and _minutes(other.index) <= grid * 1.1:
            columns[name] = _on_grid(other, grid, instant=False).reindex(y.index)
    if not columns:
        return None, ""
    if len(columns) == 1:
        name, only = next(iter(columns.items()))
        return only, f"{name}"
    return pd.DataFrame(columns).median(axis=1), f"median of {len(columns)} other loggers"


def _solar_clock(index, sun):
    """Days and windows by the sun, whatever zone the times are in."""
    hour = index.hour + index.minute / 60 + index.second / 3600
    weight = np.nan_to_num(sun.to_numpy()).clip(min=0)
    angle = np.angle(np.sum(weight * np.exp(2j * np.pi * hour.to_numpy() / 24))) if weight.any() else np.pi
    shift_h = 12 - (angle / (2 * np.pi) * 24) % 24
    # Wall-clock days, so that a change to summer time moves nothing by a day.
    shifted = index.tz_localize(None) + pd.to_timedelta(shift_h, unit="h")
    solar = (shifted.hour + shifted.minute / 60 + shifted.second / 3600).to_numpy()
    gates = {"all": np.ones(len(index))}
    for width in _WIDTHS_H:
        for middle in np.arange(5 + width / 2, 19 - width / 2 + 1e-9, 0.5):
            # Soft edges: a patch of sun comes and goes a little earlier or later every day.
            gates[middle, width] = np.clip((width / 2 + 0.25 - np.abs(solar - middle)) / 0.5, 0, 1)
    return {
        "day": pd.Series(shifted.normalize(), index=index),
        "date": pd.Series(index.tz_localize(None).normalize(), index=index),
        "clock_hour": pd.Series(np.asarray(hour), index=index),
        "gates": gates,
        "angle": 2 * np.pi * solar / 24,
    }


def _lagged(sun, lag_min, step_min):
    """First-order response to irradiance; gaps are bridged by straight lines, their readings are left out elsewhere."""
    from scipy.signal import lfilter

    values = sun.interpolate(limit_direction="both").to_numpy(dtype=float)
    keep = np.exp(-step_min / lag_min)
    return lfilter([1 - keep], [1, -keep], values, zi=[keep * values[0]])[0]


def _quasi_difference(array, keep):
    out = array - keep * np.concatenate([np.zeros_like(array[:1]), array[:-1]])
    out[0] = array[0] * np.sqrt(1 - keep**2)
    return out


def _days(target, sun, step_min, air, lag_min, clock):
    """Slope on quick irradiance (°C per W/m²) for each day and window, with its two kinds of error."""
    if not np.isfinite(sun).any():
        return None
    quick = _lagged(sun, lag_min, step_min)
    lags_of_air, daily, granted = air
    slow = [_lagged(sun, lag, step_min) for lag, _, _ in lags_of_air]
    turn = np.outer(np.arange(1, len(daily) + 1), clock["angle"])
    slow = np.stack([*slow, *np.cos(turn), *np.sin(turn)], axis=1)
    means = np.array([mean / 1000 for _, mean, _ in lags_of_air] + [0.0] * 2 * len(daily))
    spreads = np.array([spread / 1000 for _, _, spread in lags_of_air] + 2 * list(daily))
    gates = np.stack(list(clock["gates"].values()), axis=1)
    values = target.to_numpy(dtype=float) - slow @ means
    light = sun.to_numpy()
    good = np.isfinite(values) & np.isfinite(light)
    keep = np.exp(-step_min / _WHITEN_MIN)
    lags = max(1, int(_HAC_MIN / step_min))
    codes, labels = pd.factorize(clock["day"])
    shape = (len(labels), gates.shape[1])
    slope, noise, strong = (np.full(shape, np.nan) for _ in range(3))
    shared = np.zeros((*shape, len(spreads)))
    with np.errstate(all="ignore"):
        for day in range(len(labels)):
            rows = np.flatnonzero((codes == day) & good)
            n = rows.size
            if n < max(0.5 * 1440 / step_min, 12) or light[rows].max() < 30:
                continue
            # Intercept and trend of the day are free; they are projected out.
            free = _quasi_difference(np.stack([np.ones(n), np.linspace(-1, 1, n)], axis=1), keep)
            basis, _ = np.linalg.qr(free)
            lit = gates[rows] * quick[rows, None]
            y, x, z = (_quasi_difference(a, keep) for a in (values[rows], lit, slow[rows]))
            y, x, z = (a - basis @ (basis.T @ a) for a in (y, x, z))
            full = np.column_stack([z, x[:, 0]])
            rest = y - full @ np.linalg.lstsq(full, y, rcond=None)[0]
            sigma2 = max(rest @ rest / max(n - 2 - full.shape[1], 1), _QUIETEST_C**2)
            inner = np.linalg.inv(z.T @ z + np.diag(sigma2 / spreads**2))
            mx = x - z @ (inner @ (z.T @ x))
            my = y - z @ (inner @ (z.T @ y))
            xx = np.sum(x * mx, axis=0)
            top = lit.max(axis=0)
            # A window needs sun in it, and variation that the slow terms cannot imitate.
            ok = (xx > 1e-5 * np.sum(x**2, axis=0)) & (top > 20) & ((lit > 20).sum(axis=0) >= _FEWEST_LIT)
            b = np.where(ok, mx.T @ y / xx, np.nan)
            e = my[:, None] - mx * b
            score = mx * e
            meat = np.sum(score**2, axis=0)
            for k in range(1, min(lags, n - 1) + 1):
                meat += 2 * (1 - k / (lags + 1)) * np.sum(score[k:] * score[:-k], axis=0)
            # By day the air is more restless than by night.
            day_rows = light[rows] > 20
            unrest = np.maximum(np.mean(e[day_rows] ** 2, axis=0), np.mean(e**2, axis=0)) * n / (n - 2)
            plain = np.maximum(unrest, _QUIETEST_C**2) * np.sum(mx**2, axis=0)
            slope[day] = b
            noise[day] = np.where(ok, np.maximum(meat, plain) / xx**2 * n / max(n - 5, 1), np.nan)
            above = lit > 20
            count = above.sum(axis=0)
            # 90th percentile of the lit readings in each window.
            ordered = np.sort(np.where(above, lit, -np.inf), axis=0)
            place = np.clip(n - np.maximum((0.1 * count).astype(int), 0) - 1, 0, n - 1)
            strong[day] = np.where(ok & (count > 0), ordered[place, np.arange(shape[1])], np.nan)
            shared[day] = np.where(ok[:, None], (mx.T @ z) / xx[:, None] * spreads, 0.0)
    if not np.isfinite(slope).any():
        return None
    return {
        "slope": slope,
        "noise": noise,
        "strong": strong,
        "shared": shared,
        "days": np.asarray(labels),
        "gates": list(clock["gates"]),
        "granted": granted,
    }


def _run_sums(values):
    """Sum over every run of days: row = first day, column = one past the last."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    return total[None, :] - total[:, None]


def _run_lengths(values):
    """Length of the summed vector over every run of days, laid out as in `_run_sums`."""
    total = np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)])
    squares = np.sum(total**2, axis=1)
    return np.sqrt(np.maximum(squares[None, :] + squares[:, None] - 2 * total @ total.T, 0.0))


def _run_highest(values):
    """Highest value in every run of days, laid out as in `_run_sums`."""
    out = np.zeros((values.size + 1, values.size + 1))
    for first in range(values.size):
        out[first, first + 1 :] = np.maximum.accumulate(values[first:])
    return np.maximum(out, 0)


def _scan(fit, smallest_c):
    """The run of days and the window that stand out most from what clean air can do."""
    if fit is None:
        return None
    allowed = ALLOWED_PER_KW / 1000
    best = None
    with np.errstate(all="ignore"):
        for gate, name in enumerate(fit["gates"]):
            slope, noise = fit["slope"][:, gate], fit["noise"][:, gate]
            ok = np.isfinite(slope) & np.isfinite(noise)
            if not ok.any():
                continue
            weight = np.where(ok, 1 / noise, 0.0)

            def total(values, weight=weight, ok=ok):
                return _run_sums(np.where(ok, weight * values, 0.0))

            size = _run_sums(weight)
            excess = total(slope - allowed)
            root = np.sqrt(size)
            # What air itself may do is shared by all days and does not average out: it is granted in full, once.
            granted = fit["granted"] * _run_lengths(
                weight[:, None] * np.where(ok[:, None], fit["shared"][:, gate], 0.0)
            )
            strength = (excess - granted) / root
            # One front or thunderstorm is not sunlight: without its best day a run must still carry half its strength,
            # and a single day needs twice the strength.
            rest = (excess - granted - _run_highest(np.where(ok, weight * (slope - allowed), 0.0))) / root
            strength = np.maximum(np.minimum(strength, 2 * rest), strength / 2)
            mean = excess / size + allowed
            sun = total(fit["strong"][:, gate]) / size
            strength = np.where((size > 0) & (mean * sun >= smallest_c), strength, -np.inf)
            strength[np.tril_indices(len(slope) + 1)] = -np.inf
            i, j = np.unravel_index(np.argmax(strength), strength.shape)
            if np.isfinite(strength[i, j]) and (best is None or strength[i, j] > best["strength"]):
                inside = slice(i, j)
                use = ok[inside]
                best = {
                    "strength": float(strength[i, j]),
                    "gate": name,
                    "days": fit["days"][inside][use],
                    **_combine(slope[inside][use], noise[inside][use], fit["shared"][inside, gate][use]),
                    "sun": float(sun[i, j]),
                }
    return best


def _combine(slope, noise, shared):
    """Mean slope of a run with its error; days may truly differ (wind, angle), so their scatter counts."""
    between = 0.0
    if slope.size > 2:
        middle = np.median(slope)
        between = max(0.0, (1.4826 * np.median(np.abs(slope - middle))) ** 2 - np.median(noise))
    weight = 1 / (noise + between)
    mean = np.sum(weight * slope) / weight.sum()
    systematic = np.sum((weight[:, None] * shared).sum(axis=0) ** 2) / weight.sum() ** 2
    error = np.sqrt(1 / weight.sum() + systematic)
    return {"slope": float(mean), "error": float(error), "spread": float(np.sqrt(error**2 + between))}


def _detectable(fit, needed):
    """Contamination at strong sun (°C), all day for a week, that would just pass the threshold: median over weeks."""
    slope, noise, strong = fit["slope"][:, 0], fit["noise"][:, 0], fit["strong"][:, 0]
    ok = np.isfinite(slope)
    weight = np.where(ok, 1 / noise, 0.0)
    shared = weight[:, None] * np.where(ok[:, None], fit["shared"][:, 0], 0.0)
    sun = np.where(ok, weight * strong, 0.0)
    answers = []
    for first in range(max(len(slope) - 6, 1)):
        week = slice(first, first + 7)
        size = weight[week].sum()
        if size > 0:
            error = needed / np.sqrt(size) + fit["granted"] * np.linalg.norm(shared[week].sum(axis=0)) / size
            answers.append((ALLOWED_PER_KW / 1000 + error) * sun[week].sum() / size)
    return float(np.median(answers)) if answers else np.inf
