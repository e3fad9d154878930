"""The basking window in words."""

import numpy as np
import pandas as pd

# Below this a cluster-robust covariance is shaky (common practice, no source).
FEW_CLUSTERS = 10
# Fewer looks of the rarer answer than this for each coefficient make a shaky curve (common practice, no source).
FEW_ANSWERS = 10
# Share of the ups and downs of one thing that go with another, above which the two are called hard to tell apart (our
# choice).
TOGETHER = 0.8
# A cubic term this clear (p) makes the sentence point to the spline (our choice: a hint, not a verdict).
LOPSIDED_P = 0.05


def _share(fraction):
    return "half" if fraction == 0.5 else f"{fraction:g} times"


def sentence(
    table, curve, *, behaviours, height, looks, animals, days, lopsided, switched, flat, left_out, air, interval
):
    """Say the window, how sure it is, and what leaves it in doubt."""
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
        if flat:
            words.append(
                "The top is flat, or these looks cannot tell where it lies: no temperature in that interval is surely "
                "better than another."
            )
        if not np.isfinite(table.loc["peak", ["low_c", "high_c"]].astype(float)).all():
            words.append("A curve without a peak fits these looks as well.")
    if curve.irradiance is not None:
        words.append(f"Stated for an irradiance of {curve.irradiance:.0f} W/m².")
    if lopsided < LOPSIDED_P:
        words.append(
            f"One side falls faster than the other (p = {lopsided:.2g}): a freer curve (shape='auto') may fit better."
        )
    if switched:
        words.append("A freer curve was fitted, because a symmetrical one does not describe these looks as well.")
    words += _air_words(air)
    words += _doubts(curve, doing, looks, animals, days, interval)
    if len(left_out):
        words.append(
            f"{_counted(len(left_out), 'row')} {'was' if len(left_out) == 1 else 'were'} left out (see left_out)."
        )
    return " ".join(words)


def _air_words(air):
    """Which loggers were left out, when, and what was not tested."""
    if air is None:
        return []
    words = []
    for name, days in air.left_out.groupby("logger_id"):
        first, last = days["day"].min(), days["day"].max()
        when = f"on {first:%Y-%m-%d}" if first == last else f"between {first:%Y-%m-%d} and {last:%Y-%m-%d}"
        words.append(
            f"Logger {name} is left out for hours of {_counted(len(days), 'day')} {when}: the sun reached it, and it "
            f"read up to {days['too_warm_c'].max():.1f} °C too warm."
        )
    return [*words, air.note] if air.note else words


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
