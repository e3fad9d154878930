"""What a reader of air-temperature ranges has to be told, and bands that are refused."""

import numpy as np

from fieldkit.core import FieldkitError
from fieldkit.field.climate.tables import POOLED

# So much between the middle and the end of the record is worth a word (our choice: what two good stations a few
# kilometres apart differ by).
TREND_TOLD_C = 0.5
# Smoothing that moves a month by more than this is told (our choice: a third of the usual margin).
SMOOTHING_TOLD_C = 1.5


def refuse_inverted(table, schedule):
    wrong = table[table["low_c"] >= table["high_c"]]
    if len(wrong):
        row = wrong.iloc[0]
        raise FieldkitError(
            f"{row['station_id']}, {row['season']}: the band would run from {row['low_c']:.1f} down to "
            f"{row['high_c']:.1f} "
            f"°C. Check that tmax_c and tmin_c are not exchanged."
        )
    wrong = schedule[schedule["low_c"] >= schedule["high_c"]]
    if len(wrong):
        row = wrong.iloc[0]
        raise FieldkitError(
            f"In {row['month']} the schedule would run from {row['low_c']:.1f} down to {row['high_c']:.1f} °C. "
            "Check that tmax_c and tmin_c are not exchanged."
        )


def tell_trend(warnings, long):
    """A record over which the climate moved describes its own middle, not today."""
    worst = None
    for end, words in (("tmax", "maximum"), ("tmin", "minimum")):
        for season, rows in long.dropna(subset=[f"{end}_trend_p"]).groupby("season", sort=False):
            slope = rows[f"{end}_trend_c_per_decade"]
            # Eight lines are looked at (four seasons, two ends), so each has to be clear at 1 % (our choice).
            clear = (rows[f"{end}_trend_p"] < 0.01) & (np.sign(slope) == np.sign(slope.median()))
            change = slope.median() / 10 * rows["n_years"].median() / 2
            # Stations share their weather, so one clear line among many proves little.
            if clear.mean() >= 0.5 and abs(change) >= TREND_TOLD_C and (worst is None or abs(change) > abs(worst[0])):
                worst = change, season, words, slope.median(), int(clear.sum()), len(rows)
    if worst is None:
        return
    change, season, words, slope, n, of = worst
    warnings.append(
        f"The typical {words} of {season} {'rose' if slope > 0 else 'fell'} by {abs(slope):.2f} °C a decade over the "
        f"record (clear at {n} of {of} station{'s' if of > 1 else ''}): the bands describe its middle, and its end "
        f"lies {abs(change):.1f} °C {'above' if change > 0 else 'below'} that. period= takes the latest 30 years."
    )


def add_warnings(warnings, table, schedule, long, ids, margin_c):
    if len(ids) == 1:
        warnings.append(
            "One station is all there is: it shows one place, not the range, and how places differ cannot be told."
        )
    elif len(ids) == 2:
        warnings.append("Two stations say little of how places differ: the intervals are wide for that reason.")
    pooled = table[table["station_id"] == POOLED]
    hot, month = pooled.loc[pooled["margin_c"].idxmax()], schedule.loc[schedule["margin_c"].idxmax()]
    if min(hot["margin_c"], month["margin_c"]) < margin_c - 1e-9:
        warnings.append(
            f"The margin of {margin_c:g} °C is more than half of what the warmest days range over, so half was taken: "
            f"{hot['margin_c']:.1f} °C in {hot['season']}, {month['margin_c']:.1f} °C in {month['month']} of the "
            "schedule."
        )
    moved = schedule[["smoothing_low_c", "smoothing_high_c"]].abs().max(axis=1)
    if moved.max() > SMOOTHING_TOLD_C:
        warnings.append(
            f"Smoothing moves {schedule.loc[moved.idxmax(), 'month']} by {moved.max():.1f} °C: in so few years single "
            "months follow their own weather. What the months say is in typical_min_c and typical_max_c."
        )
    empty = pooled.loc[pooled["low_c"].isna(), "season"].tolist()
    if empty:
        rest = pooled.loc[pooled["low_c"].notna(), "season"].tolist()
        warnings.append(
            f"No band for {', '.join(empty)}: no station has readings that pass the rule. The warmest of "
            f"{', '.join(rest)} "
            "is taken as the hot season, which holds only if the missing ones are cooler."
        )
    partly = long[long["tmax_mean_c"].isna() & ~long["season"].isin(empty)]
    if len(partly):
        names = sorted(set(partly["station_id"]))
        warnings.append(
            f"{len(names)} station{'s' if len(names) > 1 else ''} "
            f"({', '.join(names[:5])}{'…' if len(names) > 5 else ''}) "
            "could not be used in every season (see left_out)."
        )
    years = long.loc[long["n_years"] > 0, "n_years"]
    if years.min() < 24:
        warnings.append(
            f"The shortest record has {int(years.min())} year{'s' if years.min() > 1 else ''}. A climatological "
            "normal is "
            "30 years, of which 24 must count (WMO-No. 1203); fewer years follow their own weather."
        )
