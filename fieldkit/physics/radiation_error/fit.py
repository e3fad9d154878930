"""Least squares behind the contamination test: days, windows of the clock, and what air does by itself."""

import numpy as np
import pandas as pd

# How clean shade air answers the sun, as a sum of first-order lags: (lag in minutes, mean gain, standard deviation of
# the gain) in °C per 1,000 W/m². Wide on purpose, so that air's own answer is not taken for a sunlit thermometer; the
# spread enters the uncertainty of every estimate. Prompt, within minutes: ventilated air over grass, minute by minute
# (Payerne, June 2016: 1.6 to 3.0 at lags of 4 to 6). The others have no source: chosen by hand, checked on real
# stations and simulations.
PROMPT = ((3.0, 0.9, 0.8), (10.0, 0.9, 0.8))
AIR_ALONE = (*PROMPT, (30.0, 0.7, 0.8), (90.0, 1.2, 1.5), (300.0, 7.0, 5.0))
# The same for the difference from another shade air thermometer, where most of it cancels.
AIR_DIFFERENCE = ((6.0, 0.0, 0.4), (45.0, 0.0, 0.7), (180.0, 0.0, 1.2))
# From a station, which may stand over other ground; and from one that is read less often: all that air does within
# minutes stays.
AIR_STATION = ((6.0, 0.0, 1.0), (45.0, 0.0, 0.7), (180.0, 0.0, 1.2))
AIR_COARSE = (*PROMPT, (30.0, 0.7, 0.8), (180.0, 0.0, 1.2))
# What no sum of lags foresees but comes back every day (breaking of the inversion of the night, sea breeze, a shadow on
# the air): standard deviations (°C) of the first harmonics of the day. Shared by all days: they never average out.
DAILY_ALONE_C = (1.5, 1.0, 0.5, 0.3, 0.2, 0.15)
DAILY_DIFFERENCE_C = (0.25, 0.2, 0.12, 0.1, 0.06, 0.05)
# What air does is one unknown for all days of a run, to this share of the spreads above (alone; as a difference), and
# on each day differs from that by this share: the threshold asks for four standard errors and more, which is meant for
# the search, not for air. Set, like the threshold, on simulated weeks other than those that are reported.
SHARED_ALONE, SHARED_DIFFERENCE, DAY_SHARE = 1.0, 0.4, 0.6
# A season of days tells no more than this many: what air does in the mornings of one season is no accident that
# averages out, and no sum of lags and harmonics foresees all of it.
MOST_DAYS = 7
# A thermometer in good shade still gets scattered light: this much (°C per 1,000 W/m²) is not called contamination.
ALLOWED_PER_KW = 0.5
# When the size is measured, the answer to clouds between these lags (minutes) may be stronger or weaker than the answer
# to hours of sun by this share: irradiance averaged over a step, and an unknown lag, distort it.
EDGES = ((0.1, 3.0, 1.0), (3.0, 12.0, 1.0), (12.0, 45.0, 0.5))
# The hours, branches and wind of a place are not those of a window and a body in the open: standard error of the size,
# as a share of it, beyond what the scatter shows. Set on simulated weeks where the true size is known.
SIZE_SHARE = 0.25
SURELY = 1.645  # one-sided 95 %
_WHITEN_MIN = 30.0
_HAC_MIN = 30.0
_QUIETEST_C = 0.01  # no pair of thermometers agrees better than this
_FEWEST_LIT = 3  # readings in a window on one day


def _quasi_difference(array, keep):
    out = array - keep * np.concatenate([np.zeros_like(array[:1]), array[:-1]])
    out[0] = array[0] * np.sqrt(1 - keep**2)
    return out


def days_of(target, sun, air_sun, step_min, air, lag_min, clock, *, edge=None):
    """What each day says about the slope on quick irradiance (°C per W/m²) in each window: weights, sums, nuisances."""
    light = air_sun.now.to_numpy()
    if not np.isfinite(light).any():
        return None
    quick = sun.lagged(lag_min)
    lags_of_air, daily, share = air
    slow = [air_sun.lagged(lag) for lag, _, _ in lags_of_air]
    turn = np.outer(np.arange(1, len(daily) + 1), clock["angle"])
    slow = np.stack([*slow, *np.cos(turn), *np.sin(turn)], axis=1)
    means = np.array([mean / 1000 for _, mean, _ in lags_of_air] + [0.0] * 2 * len(daily))
    spreads = np.array([spread / 1000 for _, _, spread in lags_of_air] + 2 * list(daily))
    shared = share * spreads
    gates = np.stack(list(clock["gates"].values()), axis=1)
    values = target.to_numpy(dtype=float) - slow @ means
    if edge is not None:
        slow = np.column_stack([slow, edge[0]])
        spreads, shared = np.append(spreads, edge[1]), np.append(shared, edge[1])
    good = np.isfinite(values) & np.isfinite(light) & np.isfinite(quick)
    keep = np.exp(-step_min / _WHITEN_MIN)
    codes, labels = pd.factorize(clock["day"])
    days = []
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
        days.append({"label": labels[day], "rows": rows, "lit": lit, "y": y, "x": x, "z": z})
    if not days:
        return None
    # Restlessness of each day, leaning on that of all of them where a day has few readings.
    for one in days:
        full = np.column_stack([one["z"], one["x"][:, 0]])
        ridge = np.linalg.solve(full.T @ full + np.diag(np.r_[_QUIETEST_C**2 / spreads**2, 1e-12]), full.T @ one["y"])
        left = one["y"] - full @ ridge
        free_left = max(one["y"].size - 2 - full.shape[1], 1)
        one["sigma2"], one["free"] = left @ left / free_left, free_left
    usual = np.median([one["sigma2"] for one in days])
    for one in days:
        one["sigma2"] = max((one["free"] * one["sigma2"] + 10 * usual) / (one["free"] + 10), _QUIETEST_C**2)
        _sum_up(one, light, spreads, max(1, int(_HAC_MIN / step_min)))
    return {"days": np.asarray([one["label"] for one in days]), "gates": list(clock["gates"]), "shared": shared} | {
        name: np.stack([one[name] for one in days]) for name in ("xx", "xy", "xz", "zz", "zy", "unrest", "strong")
    }


def _sum_up(one, light, spreads, lags):
    """Sums of one day for generalised least squares, its own deviation of the slow terms integrated out."""
    y, x, z, sigma2, n = (one.pop("y"), one.pop("x"), one.pop("z"), one["sigma2"], one["rows"].size)
    inner = np.linalg.inv(z.T @ z + np.diag(sigma2 / (DAY_SHARE * spreads) ** 2))

    def taken(a):
        return a - z @ (inner @ (z.T @ a))

    mx, my, mz = taken(x), taken(y), taken(z)
    raw = np.sum(x * mx, axis=0)
    lit = one.pop("lit")
    above = lit > 20
    count = above.sum(axis=0)
    # A window needs sun in it, and variation that the slow terms cannot imitate.
    ok = (raw > 1e-5 * np.sum(x**2, axis=0)) & (lit.max(axis=0) > 20) & (count >= _FEWEST_LIT)
    with np.errstate(all="ignore"):
        e = my[:, None] - mx * np.where(ok, mx.T @ y / raw, 0.0)
        score = mx * e
        meat = np.sum(score**2, axis=0)
        for k in range(1, min(lags, n - 1) + 1):
            meat += 2 * (1 - k / (lags + 1)) * np.sum(score[k:] * score[:-k], axis=0)
        # By day the air is more restless than by night.
        day_rows = light[one["rows"]] > 20
        restless = np.maximum(np.mean(e[day_rows] ** 2, axis=0), np.mean(e**2, axis=0)) * n / (n - 2)
        plain = np.maximum(restless, _QUIETEST_C**2) * np.sum(mx**2, axis=0)
        unrest = np.maximum(meat, plain) * n / max(n - 5, 1) / (sigma2 * raw)
    unrest = np.where(ok, np.maximum(unrest, 1.0), 1.0)
    # One weight a day, so that nuisances are summed once; windows that are still more restless pay in the scan.
    weight = 1 / (sigma2 * unrest[0])
    one["unrest"] = unrest / unrest[0]
    one["xx"] = np.where(ok, raw * weight, 0.0)
    one["xy"] = np.where(ok, x.T @ my * weight, 0.0)
    one["xz"] = np.where(ok[:, None], x.T @ mz * weight, 0.0)
    one["zz"], one["zy"] = z.T @ mz * weight, z.T @ my * weight
    # 90th percentile of the lit readings in each window.
    ordered = np.sort(np.where(above, lit, -np.inf), axis=0)
    place = np.clip(n - np.maximum((0.1 * count).astype(int), 0) - 1, 0, n - 1)
    one["strong"] = np.where(ok, ordered[place, np.arange(lit.shape[1])], 0.0)


def _runs(days):
    """Runs of days that are looked at, by length: every short one, and longer ones in coarser steps."""
    lengths = [*range(1, 11), 12, 14, 17, 21, 28, 42, 60, 90, 120, 180, 270, 365]
    lengths = [length for length in lengths if length < days] + [days]
    return [(n, np.arange(0, days - n + 1, max(1, n // 10))) for n in lengths]


def _windows(values, length, firsts):
    """Runs of days of one length, run by run: (runs, days of a run, ...); a view."""
    step = firsts[1] - firsts[0] if len(firsts) > 1 else 1
    seen = np.lib.stride_tricks.sliding_window_view(values, length, axis=0)[firsts[0] : firsts[-1] + 1 : step]
    return np.moveaxis(seen, -1, 1)


def _sums(values, length, firsts):
    """Sums over runs of days of one length: (runs, ...)."""
    ends = np.stack([firsts, firsts + length], axis=1).ravel()
    return np.add.reduceat(np.concatenate([values, np.zeros_like(values[:1])]), ends, axis=0)[::2]


def _fit_runs(fit, length, firsts):
    """Slope of every window over runs of days of one length; the air's own answer is one unknown for all days of a run.

    Arrays (runs, windows, ...).
    """
    share = min(1.0, MOST_DAYS / length)
    names = ("xx", "xy", "xz", "zz", "zy")
    xx, xy, xz, zz, zy = (_sums(fit[name], length, firsts) * share for name in names)
    inner = np.linalg.inv(zz + np.diag(1 / fit["shared"] ** 2))
    learned = xz @ inner
    information = xx - np.sum(learned * xz, axis=2)
    with np.errstate(all="ignore"):  # windows without sun come out as NaN
        slope = (xy - (learned @ zy[:, :, None])[:, :, 0]) / information
        unrest = share * _sums(fit["xx"] * fit["unrest"], length, firsts) / xx
    air = (zy[:, None, :] - slope[:, :, None] * xz) @ inner
    return slope, information / np.maximum(unrest, 1.0), information, air, inner


def _fit_run(fit, first, last):
    """`_fit_runs` of one run."""
    return tuple(part[0] for part in _fit_runs(fit, last - first, np.array([first])))


def scan(fit, smallest_c, bonus=None):
    """The run of days and the window that stand out most from what clean air can do; `bonus` of each day counts too."""
    if fit is None:
        return None
    best = None
    with np.errstate(all="ignore"):
        for length, firsts in _runs(len(fit["days"])):
            strength, sun = _strengths(fit, length, firsts, smallest_c)
            if bonus is not None:
                strength = strength + _windows(bonus, length, firsts).mean(axis=1)[:, None]
            strength = np.where(np.isnan(strength), -np.inf, strength)
            run, gate = np.unravel_index(np.argmax(strength), strength.shape)
            if np.isfinite(strength[run, gate]) and (best is None or strength[run, gate] > best["strength"]):
                first = int(firsts[run])
                best = {
                    "strength": float(strength[run, gate]),
                    "run": (first, first + length),
                    "at": int(gate),
                    "sun": float(sun[run, gate]),
                }
    if best is None:
        return None
    first, last = best.pop("run")
    gate = best.pop("at")
    return best | {
        "gate": fit["gates"][gate],
        "days": fit["days"][first:last][fit["xx"][first:last, gate] > 0],
        "slope": _daily_mean(fit, first, last, gate)["slope"],
    }


def _strengths(fit, length, firsts, smallest_c):
    """How far every window of every run of one length stands out, in standard errors, and the sun in it (W/m²)."""
    allowed = ALLOWED_PER_KW / 1000
    slope, honest, information, _, inner = _fit_runs(fit, length, firsts)
    excess = (slope - allowed) * information
    root = information / np.sqrt(honest)
    strength = excess / root
    # One front or thunderstorm is not sunlight: without its best day a run must still carry half its strength, and a
    # single day needs twice the strength.
    share = min(1.0, MOST_DAYS / length)
    total, xz, zy = (_sums(fit[name], length, firsts) for name in ("xx", "xz", "zy"))
    air = share * (zy[:, None, :] - allowed * xz) @ inner
    of_air = np.einsum("rdgp,rgp->rdg", _windows(fit["xz"], length, firsts), air)
    shares = share * (_windows(fit["xy"] - allowed * fit["xx"], length, firsts) - of_air)
    rest = (excess - np.maximum(shares.max(axis=1), 0)) / root
    strength = np.maximum(np.minimum(strength, 2 * rest), strength / 2)
    sun = _sums(fit["xx"] * fit["strong"], length, firsts) / total
    return np.where((total > 0) & (information > 0) & (slope * sun >= smallest_c), strength, -np.inf), sun


def _daily_mean(fit, first, last, gate):
    """Slope over a run of days with its error."""
    slope, honest, _, air, _ = _fit_run(fit, first, last)
    use = fit["xx"][first:last, gate] > 0
    xx = fit["xx"][first:last, gate][use]
    daily = (fit["xy"][first:last, gate][use] - fit["xz"][first:last, gate][use] @ air[gate]) / xx
    # Days may truly differ (wind, angle), so their scatter counts.
    between = 0.0
    if daily.size > 2:
        middle = np.median(daily)
        between = max(0.0, (1.4826 * np.median(np.abs(daily - middle))) ** 2 - np.median(1 / xx))
    error = np.sqrt(1 / honest[gate] + between / daily.size)
    return {"slope": float(slope[gate]), "error": float(error), "spread": float(np.sqrt(error**2 + between))}


def measure(found, target, sun, air_sun, step_min, air, lag_min, clock):
    """How many °C, once it is known when. How quickly the thermometer answers is left open here: its answer to passing
    clouds, which depends on that, then no longer sets the size of what lasts for hours."""
    share = clock["gates"][found["gate"]]
    edges = [share * (sun.lagged(quick) - sun.lagged(slow)) for quick, slow, _ in EDGES]
    edge = (np.column_stack(edges), np.array([part * abs(found["slope"]) for _, _, part in EDGES]))
    only = clock | {"gates": {found["gate"]: share}}
    kept = target.where(clock["day"].isin(found["days"]))
    fit = days_of(kept, sun, air_sun, step_min, air, lag_min, only, edge=edge)
    size = _daily_mean(fit, 0, len(fit["days"]), 0)
    beyond = SIZE_SHARE * size["slope"]
    return found | size | {name: float(np.hypot(size[name], beyond)) for name in ("error", "spread")}


def detectable(fit, needed):
    """Contamination at strong sun (°C), all day for a week, that would just pass the threshold: median over weeks."""
    answers = []
    with np.errstate(all="ignore"):
        for first in range(max(len(fit["days"]) - 6, 1)):
            last = min(first + 7, len(fit["days"]))
            _, honest, _, _, _ = _fit_run(fit, first, last)
            xx = fit["xx"][first:last, 0]
            sun = (xx * fit["strong"][first:last, 0]).sum() / xx.sum()
            answers.append((ALLOWED_PER_KW / 1000 + (needed + SURELY) / np.sqrt(honest[0])) * sun)
    answers = [a for a in answers if np.isfinite(a)]
    return float(np.median(answers)) if answers else np.inf
