"""Series of a logger or a station: pauses, jumps, readings that stand still, days that are missing."""

import datetime as dt

import numpy as np
import pandas as pd

SPIKE_C = 10.0

STUCK_HOURS = 24


def _series(note, ids, column, keep, *, stuck, spikes, season=None):
    moment = "time" if "time" in note.frame else "date"
    if moment not in note.frame:
        return
    frame = note.frame[keep & note.frame[moment].notna()].sort_values(moment, kind="stable")
    gaps = {}
    for name, rows in frame.groupby(ids, sort=False):
        if len(rows) < 5:
            continue
        times, values = rows[moment], rows[column]
        steps = times.diff().dt.total_seconds().to_numpy()[1:]
        usual = float(np.median(steps))
        if usual <= 0:
            continue
        lost = np.maximum(np.round(steps / usual).astype(int) - 1, 0)
        if lost.sum():
            longest = int(np.argmax(lost))
            end = rows.index[longest + 1]
            words = f"has no reading at {lost.sum():,} of {len(rows) + lost.sum():,} times (one is due every "
            words += f"{_span(usual)}); the longest gap, {_span(steps[longest])}, ends here."
            same = (times[end], _span(steps[longest])) if note.table == "loggers" else name
            gaps.setdefault(same, []).append((end, str(name), words, _span(steps[longest])))
        _short_of_season(note, name, times, usual, season, moment)
        before, after = values.diff().to_numpy(), -values.diff(-1).to_numpy()
        close = np.r_[False, steps <= 7200] & np.r_[steps <= 7200, False]
        spike = close & (np.minimum(np.abs(before), np.abs(after)) > SPIKE_C) & (np.sign(before) == -np.sign(after))
        chosen = rows.index[spike & spikes[rows.index].to_numpy()]
        note.warn(
            note.frame.index.isin(chosen),
            column,
            f"This is more than {SPIKE_C:g} °C away from the readings before and after it.",
            "Clear the cell if it is a slip; air seldom changes and comes back so fast.",
        )
        level, when = values.to_numpy(), times.astype("int64").to_numpy()
        starts = np.flatnonzero(np.r_[True, level[1:] != level[:-1]])
        ends = np.r_[starts[1:], len(level)] - 1
        hours = (when[ends] - when[starts]) / 3.6e12
        for start, length, lasted in zip(starts, ends - starts + 1, hours):
            if lasted > STUCK_HOURS and length > 5 and stuck[rows.index[start]]:
                note.at(
                    rows.index[start],
                    column,
                    f"{name} reads the same for {lasted:,.0f} hours from here ({length:,} readings).",
                    "Check whether the logger had stopped; if so, clear those readings.",
                    "warning",
                )
    for found in gaps.values():
        end, name, words, span = found[0]
        if len(found) > 1:
            # A pause of all of them is one thing to look at, not one a logger.
            name = ", ".join(one[1] for one in found)
            words = f"have no readings at some times; the longest gap of all of them, {span}, ends here."
        note.at(end, moment, f"{name} {words}", "Nothing, if the gap is known; gaps are not filled.", "warning")


def _short_of_season(note, name, times, usual, season, moment):
    """A station whose record begins after the season does, or ends before: its share of the season is missing."""
    first, last = (season.get(k) if isinstance(season, dict) else None for k in ("first_day", "last_day"))
    if not isinstance(first, dt.date) or not isinstance(last, dt.date):
        return
    begin, end = (pd.Timestamp(d).tz_localize(times.dt.tz) for d in (first, last + dt.timedelta(days=1)))
    late = round((times.iloc[0] - begin).total_seconds() / usual)
    early = round((end - times.iloc[-1]).total_seconds() / usual) - 1
    for lost, edge, words in ((late, 0, "begins later than the season"), (early, -1, "ends earlier than the season")):
        if lost > 0:
            note.at(
                times.index[edge],
                moment,
                f"The record of {name} {words}: readings missing there: {lost:,} (one is due every {_span(usual)}).",
                "Add them if you have them; else nothing.",
                "warning",
            )


def _span(seconds):
    for size, unit in ((86400, "days"), (3600, "h"), (60, "min")):
        if seconds == size == 86400:
            return "day"
        if seconds >= 2 * size or (seconds >= size and unit != "days"):
            return f"{seconds / size:g} {unit}" if seconds % size == 0 else f"{seconds / size:.1f} {unit}"
    return f"{seconds:g} s"
