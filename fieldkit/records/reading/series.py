"""Readings of loggers held against each other, a logger at a time: a year of minutes from thirty stays small."""

import numpy as np
import pandas as pd

from fieldkit.records import schema as schemas
from fieldkit.records.reading import gaps, suspicions
from fieldkit.records.season import settings

# Odd loggers are looked at together up to this many readings: a pause of all of them is one thing to say.
AT_ONCE = 1_000_000


def look(frame, where, stated, problems, *, written=None):
    """Say what is odd in the readings of loggers.

    Parameters
    ----------
    frame : pandas.DataFrame
        time, logger_id (category) and value, RangeIndex.
    where : pandas.DataFrame
        file and row of each reading, and `value name` where the column is not called value.
    stated : dict
        season.toml, or what enclosure.toml has of it.
    problems : Problems
        Takes what is found.
    written : dict of str to callable, optional
        By file, what gives its bytes: to show what is written there.

    Returns
    -------
    pandas.DataFrame
        The readings with their index, without those that stand there twice (said in problems).
    """
    names = list(frame["logger_id"].cat.categories)
    loggers = settings.section(stated, "loggers")
    codes = frame["logger_id"].cat.codes.to_numpy()
    season = settings.section(stated, "season")
    dropped, group, size = [], [], 0
    for number in range(len(names)):
        chosen = np.flatnonzero(codes == number)
        if not len(chosen) or nothing_odd(frame.iloc[chosen], loggers.get(names[number]), season):
            continue
        if group and size + len(chosen) > AT_ONCE:
            dropped.append(_look_at(frame, where, np.sort(np.concatenate(group)), stated, problems, written))
            group, size = [], 0
        group.append(chosen)
        size += len(chosen)
    if group:
        dropped.append(_look_at(frame, where, np.sort(np.concatenate(group)), stated, problems, written))
    gone = np.concatenate(dropped) if dropped else np.empty(0, int)
    return frame.drop(index=gone) if len(gone) else frame


def _look_at(frame, where, chosen, stated, problems, written):
    """Hold some loggers against each other; positions of the readings that stand there twice."""
    part = frame.iloc[chosen].reset_index(drop=True)
    part["logger_id"] = part["logger_id"].astype("str")
    here = where.iloc[chosen].reset_index(drop=True)
    kept = suspicions.look(part, here, "loggers", stated, problems, plain=written, whole=False)
    return chosen if not len(kept) else np.delete(chosen, kept.index.to_numpy())


def nothing_odd(rows, logger, season):
    """Whether nothing in a logger's readings is worth a second look."""
    if not isinstance(logger, dict) or logger.get("role") not in schemas.ALL_ROLES or len(rows) < 5:
        return False
    limits = schemas.RANGES[schemas.ALL_ROLES[logger["role"]][0]]
    low, high = limits.usual
    values, times = rows["value"].to_numpy(), rows["time"]
    if times.isna().any():
        return False
    when = times.astype("int64").to_numpy()
    steps, change = np.diff(when), np.diff(values)
    if not (np.all(steps == steps[0]) and steps[0] > 0 and np.all((values >= low) & (values <= high))):
        return False
    if limits.dimension == "temperature" and (values == 0).any():
        return False
    first, last = season.get("first_day"), season.get("last_day")
    ends = times.iloc[[0, -1]]
    if ends.iloc[1] > pd.Timestamp.now(tz="UTC"):
        return False
    if first is not None and last is not None and not all(first <= t.date() <= last for t in ends):
        return False
    if np.any(np.minimum(np.abs(change[1:]), np.abs(change[:-1])) > gaps.SPIKE_C):
        return False
    moved = np.flatnonzero(np.r_[True, change != 0, True])
    longest = pd.Timedelta(np.diff(moved).max() * (ends.iloc[1] - ends.iloc[0]) / (len(rows) - 1))
    return longest < pd.Timedelta(hours=gaps.STUCK_HOURS)
