"""Judge one series: how far it follows the sun faster than air can, alone and beside what it is compared with."""

from types import SimpleNamespace

import numpy as np
import pandas as pd

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
# search over days and windows flags fewer than one clean logger in a hundred (tests/studies/study_contamination.py).
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


def judge(y, light, reference, others, smallest_c, threshold, loggers):
    """Row of the table, episodes, estimate (°C) and its error of one series; estimate and error may be None."""
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
    looked = _look(y, step, light, reference, others, smallest_c, threshold, loggers)
    if not looked.fits:
        row["note"] = "there is no day with sun, readings and irradiance together"
        return nothing
    row["days"] = max(fit[3] for fit in looked.fits)
    row["detectable_c"], row["threshold"], row["compared_with"], _ = min(looked.fits, key=lambda fit: fit[0])
    row["restlessness"] = looked.restlessness[row["compared_with"]]
    looked.seen.sort(key=lambda one: one[1] - one[0]["strength"])
    for one in looked.seen:
        if one[0]["strength"] < one[1]:
            break
        low_share = COMES_OUT_LOW[_kind(one[2])][looked.clear_sky]
        followed = _follow(one, looked.air_sun, looked.grid, looked.clock, smallest_c, low_share)
        if followed is not None:
            row |= followed.pop("row") | {"restlessness": looked.restlessness[one[2]]}
            return {"row": row} | followed
    row |= _not_flagged(row, looked, step)
    return nothing


def _not_flagged(row, looked, step):
    """Verdict and note of a series in which nothing stands out enough."""
    strength = looked.seen[0][0]["strength"] if looked.seen else np.nan
    doubtful = bool(looked.seen) and strength >= looked.seen[0][1]
    clean = row["detectable_c"] <= TELLS_UP_TO_C and not doubtful
    said = {"strength": strength, "verdict": "no sign of sun" if clean else "cannot tell"}
    advice = _advice(step, looked.compared)
    if doubtful:
        said["note"] = f"it follows the sun, but no further than clean air may; {advice}"
    elif not clean:
        said["note"] = f"only {_least(row['detectable_c'])} would have been found for sure; {advice}"
    return said


def _look(y, step, light, reference, others, smallest_c, threshold, loggers):
    """Fit the series alone and beside what it is compared with: what could be found, and what was."""
    from scipy.stats import norm

    grid = max(lighting.FINEST_MIN, step, light["step_min"])
    instant = step > 0.9 * grid
    restless_alone, restless_beside = _restlessness(y, max(lighting.FINEST_MIN, step), light, reference, others)
    y = lighting.on_grid(y, grid)
    y = y.asfreq(f"{round(grid * 60)}s")
    lights = {key: lighting.Sun(light[key], y.index, grid, instant) for key in ("warms", "still", "ghi")}
    air_sun = lights["ghi"]
    clock = lighting.solar_clock(y.index, air_sun.now)
    targets, compared = _targets(y, grid, reference, others)
    # Bonferroni over weeks and loggers.
    looks = max(clock["day"].nunique() / 7, 1) * loggers
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
    return SimpleNamespace(
        seen=seen,
        fits=fits,
        restlessness=restlessness,
        compared=compared,
        clear_sky=clear_sky,
        air_sun=air_sun,
        grid=grid,
        clock=clock,
    )


def _targets(y, grid, reference, others):
    """The series by itself and its difference from what it is compared with, each with what air may do in it."""
    targets = {"nothing": (y, (fitting.AIR_ALONE, fitting.DAILY_ALONE_C, fitting.SHARED_ALONE))}
    compared, words, as_often = _reference(y, grid, reference, others)
    if compared is not None:
        lags = fitting.AIR_COARSE
        if as_often:
            lags = fitting.AIR_DIFFERENCE if reference is None else fitting.AIR_STATION
        targets[words] = (y - compared, (lags, fitting.DAILY_DIFFERENCE_C, fitting.SHARED_DIFFERENCE))
    return targets, compared


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
