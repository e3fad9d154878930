"""Find "shade air" loggers that the sun has reached: when, and by how many °C.

Air follows the sun too, late: over half an hour to hours. A thermometer in the beam follows it within minutes. The test
looks for the part of a series that moves with irradiance faster than air can, day by day and window by window, and
carries along how uncertain the air's own response is. `fieldkit.physics.sensors.find_contamination` is the door.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result
from fieldkit.physics.radiation_error import fit as fitting
from fieldkit.physics.radiation_error import light as lighting
from fieldkit.physics.radiation_error import variability as restless

# Lag of the thermometer itself (minutes): a bead and a thick housing are both tried.
PROBE_LAGS_MIN = (3.0, 12.0)
PROBE_LAG_COARSE_MIN = (6.0,)
# "No sign of sun" is said only where contamination of this much (°C in strong sun, a week of whole days) would have
# been found 19 times in 20; else the data cannot tell.
TELLS_UP_TO_C = 3.0
# A week of one logger beside others is flagged above this many standard errors; set on simulated weeks so that the
# search over days and windows flags fewer than one clean logger in a hundred (tests/study_contamination.py).
WEEK_THRESHOLD = 4.7
# More is asked of a series that is compared with a station or with nothing: its place's own air stays in it. And more
# of a clear sky in place of measured irradiance: it is the same every day, as is much of what air does.
MORE = {"loggers": (0.0, 0.2), "reference": (0.5, 1.3), "nothing": (1.2, 1.6)}
# A series that others hang beside is hardly judged by itself.
BESIDE_OTHERS_MORE = 0.8
# Restlessness needs no irradiance: where none was measured it counts for this much more.
CLEAR_SKY_RESTLESS = 1.5
# Under clouds less sun falls than a clear sky promises, on days the test cannot know: what it may have missed is larger
# by this factor.
CLEAR_SKY_HIDES = 1.5
# What was found in 19 of 20 simulated weeks (°C in strong sun, measured irradiance and clear sky), restlessness
# included; by itself and beside a station with readings every half hour or more often.
FOUND_C = {"loggers": (1.5, 2.0), "reference": (3.0, 3.0), "nothing": (5.0, 5.0)}
_FOUND_STEP_MIN = 30.0
# Sizes come out low: some hours no window fits, and some of what the sun does is granted to the air. The upper limit is
# wider by this share of the size; set on simulated weeks whose size is known, judged on others.
COMES_OUT_LOW = {"loggers": (0.3, 0.5), "reference": (0.5, 0.7), "nothing": (0.6, 1.0)}
_MOST_EPISODES = 8


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Contamination(Result):
    """Which shade air series read the sun, when and by how much; the series as corrected or masked on request.

    Attributes
    ----------
    table : DataFrame
        One row per shade air logger: ``logger_id, verdict`` ("reads the sun", "no sign of sun", "cannot tell"),
        ``days`` tested, ``days_with_sun`` flagged, ``contamination_c`` at strong sun in the flagged hours with
        ``low_c, high_c`` (95 %), ``strength`` (standard errors above what clean air can do, restlessness included),
        ``threshold``, ``restlessness`` (by day, in standard deviations above that of clean air: mean over the weeks),
        ``detectable_c`` (the smallest contamination at strong sun that would have been found 19 times in 20, had it
        lasted all day for one week), ``compared_with``, ``note``.
    episodes : DataFrame
        One row per stretch: ``logger_id, first_day, last_day, from_hour, to_hour`` (clock of the series),
        ``contamination_c, low_c, high_c, strength``.
    readings : DataFrame
        The shade air series as given (one column each).
    estimate_c, error_c : DataFrame
        Estimated contamination of every reading (°C, 0 where none was found) and its standard error for that reading:
        days, wind and angle differ, so it is wider than the interval of ``contamination_c``, a mean over the stretch.
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
        quiet = table[table["verdict"] == "no sign of sun"]
        if len(quiet):
            names = ", ".join(map(str, quiet["logger_id"]))
            parts.append(
                f"{names}: no sign of sun (a week of {quiet['detectable_c'].max():.1f} °C in strong sun would be found "
                "19 times in 20)"
            )
        for row in unsure.itertuples():
            parts.append(f"{row.logger_id}: the data cannot tell, {row.note}")
        if self.settings["note"]:
            parts.append(self.settings["note"])
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

    @property
    def dataset(self):
        """Readings, estimate, error, corrected and masked series in one xarray Dataset (times in UTC).

        Dimensions are those of the DataArray that was given, else ``time`` and ``logger_id``.
        """
        import xarray as xr

        dims = self.settings["dims"]
        coords = {"time": self.readings.index.tz_convert("UTC").tz_localize(None)}
        other = [dim for dim in dims if dim != "time"]
        coords |= {dim: list(self.readings.columns) for dim in other}
        frames = {
            "readings_c": self.readings,
            "estimate_c": self.estimate_c,
            "error_c": self.error_c,
            "corrected_c": self.corrected,
            "masked_c": self.masked,
        }
        data = {
            name: (["time", *other], frame.to_numpy() if other else frame.to_numpy()[:, 0], {"units": "degC"})
            for name, frame in frames.items()
        }
        return xr.Dataset(data, coords=coords).transpose(*dims)


def find_contamination(
    series,
    irradiance=None,
    *,
    shade_air=None,
    reference=None,
    site=None,
    wind=None,
    smallest_c=0.5,
    threshold=WEEK_THRESHOLD,
):
    """Find the series labelled "shade air" that carry a radiation signal, when, and how many °C.

    Parameters
    ----------
    series : Series, DataFrame of columns, long DataFrame with ``time, logger_id, value``, or DataArray
        Temperatures (°C) against times with a zone, in steps of at most 60 minutes. A DataArray has the dimension
        ``time`` (UTC) and, for several loggers, one more, whose coordinate names them; on dask it is computed.
    irradiance : Series or DataArray, optional
        Measured global irradiance (W/m²), in steps of at most 60 minutes; stamps of averages are taken as their middle.
        None: clear-sky irradiance at `site`, which knows nothing of clouds: the test is then weaker.
    shade_air : sequence, optional
        Names of the series labelled shade air; None: all of them. The others are not tested.
    reference : Series, DataArray or str, optional
        Air temperature known to be good, e.g. of a weather station, or the name of its column. Without it each shade
        air series is compared with the median of the other shade air series, if there are any.
    site : object or dict, optional
        With ``latitude_deg, longitude_deg`` and ``elevation_m``. Needed without `irradiance`; with it, the test also
        knows that a low sun warms a body more than it lights level ground, and how the sun climbed between two stamps.
    wind : Series or DataArray, optional
        Wind near the loggers (m/s), of use with `site` and something to compare with: moving air takes the sun's warmth
        away from a thermometer, but also from the ground that warms the air.
    smallest_c : float
        Contamination at strong sun (°C) below which nothing is reported.
    threshold : float
        Standard errors needed for one logger in one week. It rises by itself with more loggers and longer series, so
        that the chance of any false alarm stays about the same, and for a logger on its own or a clear-sky sun.

    Returns
    -------
    Contamination
        With ``.table, .sentence, .episodes, .estimate_c, .error_c, .corrected, .masked`` and all series once more as
        ``.dataset``, an xarray Dataset. Nothing is changed in what was given.

    Raises
    ------
    FieldkitError
        Times without a zone, neither irradiance nor site, or names that are not there.

    Notes
    -----
    For each day and each window of the clock (1 to 6 hours, and all day), generalised least squares of the series on
    quick irradiance in that window. Errors: first-order autocorrelation removed by quasi-differencing, the rest by
    Newey–West (1987, Econometrica 55:703) within the day; the gains of the air's own slow response are random effects
    with a stated spread, one part of each shared by all days of a run (learned from all of them together) and one part
    new every day (Laird & Ware 1982, Biometrics 38:963). Runs of days are searched; the one that stands
    out most is measured and taken off before the next is looked for. To the strength of a run comes how restless its
    weeks are by day, beside their own nights: a thermometer in the sun follows every cloud and gust. That part needs no
    irradiance, was learned from simulated weeks and checked on real air (`tests/study_contamination_air.py`); alone it
    convicts nobody. Readings at an instant are held against the
    irradiance of that instant, worked out between the stamps from the clear sky's course.

    What the size means: `contamination_c` is the mean over the flagged days at strong sun (90th percentile of the lit
    readings) in the flagged hours. It is anchored in what lasts for hours; the answer to passing clouds, which depends
    on the lag of the thermometer and on how irradiance was averaged, is left free. In simulated weeks it comes out a
    tenth low beside other loggers, a fifth low against a station or under a clear sky, and for a logger by itself it is
    no more than a guess; the mean over all readings, where a patch of sun is only partly found, is lower still. The
    interval carries differences between days and a quarter of the size for what the window and the body in the open
    miss; its upper limit is wider, by as much as sizes came out low.

    Examples
    --------
    >>> times = pd.date_range("2024-05-01", periods=7 * 144, freq="10min", tz="Etc/GMT+5")
    >>> hour = times.hour + times.minute / 60
    >>> rng = np.random.default_rng(1)
    >>> clouds = np.repeat(rng.uniform(0.2, 1, 7 * 48), 3)
    >>> sun = pd.Series(np.clip(900 * np.sin((hour - 6) / 12 * np.pi), 0, None) * clouds, times)
    >>> air = 18 + 6 * np.sin((hour - 9) / 12 * np.pi) + rng.normal(0, 0.2, len(times))
    >>> loggers = {"A": air, "B": air + 0.005 * sun, "C": air + rng.normal(0, 0.1, len(times))}
    >>> find_contamination(pd.DataFrame(loggers, index=times), sun).table["verdict"].tolist()
    ['no sign of sun', 'reads the sun', 'no sign of sun']
    """
    dims = tuple(series.dims) if _is_array(series) else ("time", "logger_id")
    wide = _wide(series)
    irradiance, reference, wind = (_as_series(value) for value in (irradiance, reference, wind))
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
    for what, value in (("irradiance", irradiance), ("reference", reference), ("wind", wind)):
        if value is not None:
            _need_zone(value.index, what)
    if not names or wide.empty:
        raise FieldkitError("There is no series labelled shade air to test.")

    light = lighting.light_over(wide.index, irradiance, site, wind)

    def test(name, pool):
        others = pool[[other for other in names if other != name]]
        return _one_logger(wide[name].dropna(), light, reference, others, smallest_c, threshold, len(names))

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
            "wind": wind is not None,
            "note": light["note"],
            "dims": dims,
        },
    )


def _need_zone(index, what):
    if not isinstance(index, pd.DatetimeIndex) or index.tz is None:
        raise FieldkitError(f"The times of the {what} need a time zone, for example series.tz_localize('Etc/GMT+5').")


def _is_array(value):
    return type(value).__name__ == "DataArray"


def _as_series(value):
    """A DataArray with the one dimension time as a series; its times are UTC."""
    if not _is_array(value):
        return value
    if value.dims != ("time",):
        raise FieldkitError("Irradiance, wind and reference need the one dimension 'time': select one series first.")
    return pd.Series(value.to_numpy(), pd.DatetimeIndex(value.indexes["time"]).tz_localize("UTC"))


def _wide(series):
    if _is_array(series):
        if "time" not in series.dims or series.ndim > 2:
            raise FieldkitError("The array needs the dimension 'time' and at most one more, which names the loggers.")
        name = "logger" if series.name is None else series.name
        times = pd.DatetimeIndex(series.indexes["time"]).tz_localize("UTC")
        other = [dim for dim in series.dims if dim != "time"]
        columns = list(series[other[0]].to_numpy()) if other else [name]
        series = pd.DataFrame(series.transpose("time", *other).to_numpy().reshape(len(times), -1), times, columns)
    if isinstance(series, pd.Series):
        series = series.to_frame("logger" if series.name is None else series.name)
    elif {"time", "logger_id", "value"} <= set(series.columns):
        # Two readings of one logger at one time: their mean; the readings check lists them.
        series = series.pivot_table(index="time", columns="logger_id", values="value", aggfunc="mean", observed=True)
        series.columns.name = None
    _need_zone(series.index, "readings")
    return series.sort_index()


def _one_logger(y, light, reference, others, smallest_c, threshold, loggers):
    row = {
        "verdict": "cannot tell",
        "days": 0,
        "days_with_sun": 0,
        "contamination_c": np.nan,
        "low_c": np.nan,
        "high_c": np.nan,
        "strength": np.nan,
        "threshold": np.nan,
        "restlessness": np.nan,
        "detectable_c": np.nan,
        "compared_with": "nothing",
        "note": "",
    }
    nothing = {"row": row, "episodes": [], "estimate": None, "error": None}
    step = lighting.minutes(y.index)
    if not max(step, light["step_min"]) <= 60.5:
        row["note"] = "it needs readings at least every 60 minutes"
        return nothing
    grid = max(lighting.FINEST_MIN, step, light["step_min"])
    instant = step > 0.9 * grid
    restless_alone, restless_beside = _restlessness(y, max(lighting.FINEST_MIN, step), light, reference, others)
    y = lighting.on_grid(y, grid)
    y = y.asfreq(f"{round(grid * 60)}s")
    lights = {key: lighting.Sun(light[key], y.index, grid, instant) for key in ("warms", "still", "ghi")}
    air_sun = lights["ghi"]
    clock = lighting.solar_clock(y.index, air_sun.now)
    targets = {"nothing": (y, (fitting.AIR_ALONE, fitting.DAILY_ALONE_C, fitting.SHARED_ALONE))}
    compared, words, as_often = _reference(y, grid, reference, others)
    if compared is not None:
        lags = fitting.AIR_COARSE
        if as_often:
            lags = fitting.AIR_DIFFERENCE if reference is None else fitting.AIR_STATION
        targets[words] = (y - compared, (lags, fitting.DAILY_DIFFERENCE_C, fitting.SHARED_DIFFERENCE))
    days = clock["day"].nunique()
    # Bonferroni over weeks and loggers.
    from scipy.stats import norm

    looks = max(days / 7, 1) * loggers
    clear_sky = not light["measured"]
    seen, fits, restlessness = [], [], {}
    for words, (target, air) in targets.items():
        kind = _kind(words)
        asked = threshold + MORE[kind][clear_sky]
        if kind == "nothing" and compared is not None and reference is None:
            asked += BESIDE_OTHERS_MORE
        needed = float(norm.isf(norm.sf(asked) / looks))
        restless_days = restless_alone if kind == "nothing" else restless_beside
        restlessness[words] = float(restless_days.mean())
        # In still air the sun warms the air itself sooner, too: alone, the wind would only make clean air look guilty.
        sun = lights["still" if kind == "nothing" else "warms"]
        for lag in PROBE_LAGS_MIN if grid <= 15 else PROBE_LAG_COARSE_MIN:
            fit = fitting.days_of(target, sun, air_sun, grid, air, lag, clock)
            if fit is None:
                continue
            least_c = fitting.detectable(fit, needed) * (CLEAR_SKY_HIDES if clear_sky else 1.0)
            if len(fit["days"]) >= restless.WEEK and (kind == "loggers" or step <= _FOUND_STEP_MIN):
                # A longer series and more loggers ask for more.
                least_c = min(least_c, FOUND_C[kind][clear_sky] * needed / asked)
            fits.append((least_c, needed, words, len(fit["days"])))
            bonus = restless_days.reindex(fit["days"]).fillna(0.0).to_numpy()
            found = fitting.scan(fit, smallest_c, bonus * (CLEAR_SKY_RESTLESS if clear_sky else 1.0))
            if found is not None:
                seen.append((found, needed, words, target, sun, air, lag))
    if not fits:
        row["note"] = "there is no day with sun, readings and irradiance together"
        return nothing
    row["days"] = max(fit[3] for fit in fits)
    row["detectable_c"], row["threshold"], row["compared_with"], _ = min(fits, key=lambda fit: fit[0])
    row["restlessness"] = restlessness[row["compared_with"]]
    seen.sort(key=lambda one: one[1] - one[0]["strength"])
    for one in seen:
        if one[0]["strength"] < one[1]:
            break
        followed = _follow(one, air_sun, grid, clock, smallest_c, COMES_OUT_LOW[_kind(one[2])][clear_sky])
        if followed is not None:
            row |= followed.pop("row") | {"restlessness": restlessness[one[2]]}
            return {"row": row} | followed
    row["strength"] = seen[0][0]["strength"] if seen else np.nan
    doubtful = bool(seen) and row["strength"] >= seen[0][1]
    row["verdict"] = "no sign of sun" if row["detectable_c"] <= TELLS_UP_TO_C and not doubtful else "cannot tell"
    if doubtful:
        row["note"] = f"it follows the sun, but no further than clean air may; {_advice(step, compared)}"
    elif row["verdict"] == "cannot tell":
        row["note"] = f"only {_least(row['detectable_c'])} would have been found for sure; {_advice(step, compared)}"
    return nothing


def _restlessness(y, own_min, light, reference, others):
    """Of the series by itself, and of its difference from what it is compared with, if that is read as often."""
    y = lighting.on_grid(y, own_min).asfreq(f"{round(own_min * 60)}s")
    near = {"method": "nearest", "tolerance": pd.Timedelta(minutes=lighting.FINEST_MIN / 2)}
    up, ghi = (light[name].reindex(y.index, **near) for name in ("up", "ghi"))
    when = up.to_numpy(), lighting.solar_time(y.index, ghi).normalize(), own_min
    alone = restless.by_day(y, *when, restless.ALONE)
    compared, _, as_often = _reference(y, own_min, reference, others)
    return alone, restless.by_day(y - compared, *when, restless.DIFFERENCE) if as_often else alone


def _least(detectable_c):
    return f"a week of {detectable_c:.1f} °C in strong sun" if np.isfinite(detectable_c) else "no error of any size"


def _advice(step_min, compared):
    if step_min > 10:
        return "log every 10 minutes or less" + (", and hang a second thermometer" if compared is None else "")
    return "hang a second thermometer" if compared is None else "log for more days with sun and clouds"


def _kind(words):
    return words if words in MORE else "loggers"


def _follow(one, air_sun, grid, clock, smallest_c, low_share):
    """Take episode after episode off the series until nothing is left that stands out.

    None if already the first is no more than clean air can do, once the answer to passing clouds is left free.
    """
    found, needed, words, target, sun, air, lag = one
    estimate = pd.Series(0.0, index=target.index)
    variance = pd.Series(0.0, index=target.index)
    episodes = []
    while found is not None and found["strength"] >= needed and len(episodes) < _MOST_EPISODES:
        found = fitting.measure(found, target - estimate, sun, air_sun, grid, air, lag, clock)
        if words == "nothing":
            # Alone, light that gets into good shade and air's quickest answer cannot be told from it.
            found["error"] = np.hypot(found["error"], fitting.ALLOWED_PER_KW / 1000)
        # Scattered light and the air's own haste do not cancel where no other logger hangs beside.
        haste = fitting.ALLOWED_PER_KW / 1000 * (_kind(words) != "loggers")
        if (found["slope"] - haste) * found["sun"] < smallest_c:
            break
        share = clock["gates"][found["gate"]] * clock["day"].isin(found["days"])
        inside = share > 0.5
        quick = pd.Series(sun.lagged(lag), index=target.index) * share
        estimate = estimate + found["slope"] * quick
        variance = variance + (found["spread"] * quick) ** 2
        lit = inside & (sun.now > 0.1 * sun.now[inside].max())
        hours = clock["clock_hour"][lit]
        episodes.append(
            {
                "first_day": clock["date"][lit].min(),
                "last_day": clock["date"][lit].max(),
                "from_hour": float(hours.min()),
                "to_hour": float(hours.max() + grid / 60),
                "contamination_c": found["slope"] * found["sun"],
                "low_c": (found["slope"] - 1.96 * found["error"]) * found["sun"],
                "high_c": (found["slope"] + 1.96 * np.hypot(found["error"], low_share * found["slope"])) * found["sun"],
                "strength": found["strength"],
                "_days": set(found["days"]),
            }
        )
        found = fitting.scan(fitting.days_of(target - estimate, sun, air_sun, grid, air, lag, clock), smallest_c)
    if not episodes:
        return None
    main = max(episodes, key=lambda episode: episode["contamination_c"] * len(episode["_days"]))
    row = {
        "verdict": "reads the sun",
        "days_with_sun": len(set.union(*(episode.pop("_days") for episode in episodes))),
        "compared_with": words,
        "threshold": needed,
    }
    row |= {key: main[key] for key in ("contamination_c", "low_c", "high_c")}
    row["strength"] = max(episode["strength"] for episode in episodes)
    return {"row": row, "episodes": episodes, "estimate": estimate, "error": np.sqrt(variance)}


def _spread(values, index):
    """Bring a grid series back to the times of the readings."""
    seconds = values.index.as_unit("ns").asi8
    return np.interp(index.as_unit("ns").asi8, seconds, values.to_numpy(), left=0.0, right=0.0)


def _reference(y, grid, reference, others):
    """What a series is compared with, its name, and whether it is read as often."""

    def beside(other):
        near = {"method": "nearest", "tolerance": pd.Timedelta(minutes=grid / 2)}
        return lighting.on_grid(other, grid).reindex(y.index, **near)

    if reference is not None:
        compared = reference.dropna()
        step = lighting.minutes(compared.index)
        if step <= grid * 1.1:
            return beside(compared), "reference", True
        # A station every hour against a logger every ten minutes: straight lines between, no further than the step.
        filled = compared.reindex(compared.index.union(y.index)).interpolate("time", limit_area="inside")
        near = compared.notna().reindex(y.index, method="nearest", tolerance=pd.Timedelta(minutes=step))
        return filled.reindex(y.index).where(near.eq(True)), "reference", False
    columns = {}
    for name in others.columns:
        other = others[name].dropna()
        if len(other) > 1 and lighting.minutes(other.index) <= grid * 1.1:
            columns[name] = beside(other)
    if not columns:
        return None, "", False
    if len(columns) == 1:
        name, only = next(iter(columns.items()))
        return only, f"{name}", True
    return pd.DataFrame(columns).median(axis=1), f"median of {len(columns)} other loggers", True
