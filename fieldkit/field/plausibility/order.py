"""What the order of rows says about their times: day and month swapped, am and pm lost, one time filled down."""

import bisect

import numpy as np
import pandas as pd

_KEPT_IN_ORDER = ("choices", "scans", "sightings", "gradient")
_FILLED = 3  # choice sets at one moment
_ORDERLY = 0.98
_NEIGHBOURS_DAYS = 60


def look(say):
    """Hold the times of each table against the order in which they were written down."""
    for table in (*_KEPT_IN_ORDER, "weather"):
        frame = say.tables.get(table)
        if frame is None or not len(frame):
            continue
        column = "time" if "time" in frame and frame["time"].notna().any() else "date"
        if column not in frame:
            continue
        local = frame[column].dt.tz_localize(None) if getattr(frame[column].dtype, "tz", None) else frame[column]
        groups = [np.arange(len(frame))]
        if table == "weather" and "station_id" in frame:
            groups = [np.asarray(g) for g in frame.groupby("station_id", sort=False).indices.values()]
        for rows in groups:
            rows = np.asarray(rows)[local.iloc[rows].notna().to_numpy()]
            _swapped(say, table, column, rows, local.iloc[rows])
        if table in _KEPT_IN_ORDER:
            _half_day_lost(say, table, local)
            _filled_down(say, table, frame, local)
            _two_places_at_once(say, table, frame)


def _swap(days):
    """Days with day and month changed round; NaT where that is no date."""
    both = days.dt.day <= 12
    swapped = pd.to_datetime(
        {"year": days.dt.year, "month": days.dt.day.where(both, 1), "day": days.dt.month}, errors="coerce"
    )
    return swapped.where(both)


def _in_order(values):
    """Positions of a longest series that never falls (patience sorting)."""
    tails, at, before = [], [], np.full(len(values), -1)
    for i, value in enumerate(values.tolist()):
        k = bisect.bisect_right(tails, value)
        before[i] = at[k - 1] if k else -1
        if k == len(tails):
            tails.append(value)
            at.append(i)
        else:
            tails[k], at[k] = value, i
    out, i = [], at[-1] if at else -1
    while i >= 0:
        out.append(i)
        i = before[i]
    return np.array(out[::-1], dtype=int)


def _swapped(say, table, column, rows, local):
    days = local.dt.normalize()
    starts = np.flatnonzero(np.r_[True, days.to_numpy()[1:] != days.to_numpy()[:-1]]) if len(days) else []
    if len(starts) < 5:
        return
    runs = days.iloc[starts].reset_index(drop=True)
    other = _swap(runs)
    asis, swap = (s.to_numpy().astype("datetime64[D]").astype("int64") for s in (runs, other.fillna(runs)))
    if (np.diff(asis) >= 0).all():
        return
    kept = _in_order(asis)
    if len(kept) < 0.7 * len(runs) and len(_in_order(swap)) >= _ORDERLY * len(runs):
        say.warn(
            table,
            rows[:1],
            column,
            f"The dates of {table} jump to and fro, and would follow each other if day and month were changed round.",
            'Check the order of day and month: write order = "dmy" or "mdy" under [dates] in season.toml, or dates as '
            "2023-05-14.",
        )
        return
    if len(kept) < 0.9 * len(runs):
        return  # a sheet that was not kept in order says nothing
    inside = np.zeros(len(runs), bool)
    inside[kept] = True
    ends = np.r_[starts[1:], len(days)]
    for k in np.flatnonzero(~inside & other.notna().to_numpy()):
        earlier, later = kept[kept < k], kept[kept > k]
        low = asis[earlier[-1]] if len(earlier) else -np.inf
        high = asis[later[0]] if len(later) else np.inf
        if swap[k] != asis[k] and low <= swap[k] <= high and high - low < _NEIGHBOURS_DAYS:
            say.warn(
                table,
                rows[starts[k] : ends[k]],
                column,
                f"This date stands out of order; with day and month changed round ({other.iloc[k]:%Y-%m-%d}) it would "
                "fit between its neighbours.",
                "Correct the date if it was swapped; else nothing.",
            )


def _half_day_lost(say, table, local):
    """Clock times that go back within a day and never pass 12:59: am and pm were dropped."""
    hours = local.dt.hour + local.dt.minute / 60
    known = hours.notna()
    if known.sum() < 10 or hours.max() >= 13 or hours.min() < 1:
        return
    same = (local.dt.normalize() == local.dt.normalize().shift()).to_numpy()
    back = same & (hours.diff().to_numpy() < -2)
    if back.sum() >= 2:
        say.warn(
            table,
            np.flatnonzero(back),
            "time",
            "Times fall back within a day, and none of this table lies after 12:59: am and pm seem to be lost.",
            "Write times on the 24-hour clock, such as 14:20, or with am and pm.",
        )


def _filled_down(say, table, frame, local):
    if table == "choices" and "set_id" in frame:
        sets = frame.groupby(local.to_numpy())["set_id"].nunique()
        for moment in sets.index[sets >= _FILLED]:
            rows = np.flatnonzero(local.to_numpy() == moment)
            say.warn(
                table,
                rows[:1],
                "time",
                f"{sets[moment]} choice sets have this very time.",
                "Write when each set was read; a time may have been filled down.",
            )
        days = local.dt.normalize()
        count = frame.groupby(days.to_numpy())["set_id"].nunique()
        if len(count) == 1 and count.iloc[0] >= 15:
            _one_day(say, table, f"All {count.iloc[0]} choice sets")
    elif table in ("sightings", "scans") and len(frame) >= 30:
        moments = local.value_counts()
        if moments.iloc[0] > max(12, 0.5 * len(frame)):
            rows = np.flatnonzero(local.to_numpy() == moments.index[0].to_datetime64())
            say.warn(
                table,
                rows[:1],
                "time",
                f"{moments.iloc[0]:,} of {len(frame):,} rows have this very time.",
                "Write when each was seen; a time may have been filled down.",
            )


def _one_day(say, table, what):
    say.warn(
        table,
        [0],
        "time",
        f"{what} lie on one day.",
        "Check the date; it may have been filled down. Nothing, if one day was watched.",
    )


def _two_places_at_once(say, table, frame):
    """One animal in two sets, or twice in the same round."""
    if "animal_id" not in frame or "time" not in frame:
        return
    known = frame["animal_id"].notna() & frame["time"].notna()
    if table == "choices":
        if not {"set_id", "used"} <= set(frame):
            return
        part = frame[known & (frame["used"] == 1)]
        again = part.duplicated(["animal_id", "time"], keep="first")
        again &= ~part.duplicated(["animal_id", "time", "set_id"], keep="first")
    else:
        part = frame[known]
        again = part.duplicated(["animal_id", "time"], keep="first")
        if "count" in part:
            again &= ~(part["count"].fillna(1) > 1)
    if again.any():
        say.warn(
            table,
            frame.index.get_indexer(part.index[again]),
            "animal_id",
            "This animal stands at this very time in another row too: it cannot be in two places at once.",
            "Correct the time or the animal; delete the row if it was pasted twice.",
        )
