"""Time zones as people write them, and clock times placed in them."""

import datetime as dt
import functools
import re
import zoneinfo

import numpy as np
import pandas as pd

# Names that a time-zone database answers to and that say nothing about a place.
_NO_ZONES = {"localtime", "posixrules", "factory", "posix", "right"}


def offset_minutes(sign, hours, minutes):
    """Minutes from UTC, or None where no clock on Earth has such an offset."""
    apart = int(hours) * 60 + int(minutes)
    apart = apart if sign == "+" else -apart
    return apart if int(minutes) < 60 and -12 * 60 <= apart <= 14 * 60 else None


# The same zone must come back as the same object: rows are grouped by identity.
@functools.cache
def clock_zone(text):
    """Time zone from its name, or from a fixed offset written as UTC-05:00.

    Returns
    -------
    datetime.tzinfo or None
        None when there is no such zone.

    Examples
    --------
    >>> clock_zone("UTC-05:00").utcoffset(None).total_seconds() / 3600
    -5.0
    >>> clock_zone("America/Nowhere") is None
    True
    """
    text = str(text).strip()
    fixed = re.fullmatch(r"(?:UTC|GMT)\s*([-+−])\s*(\d{1,2})(?::?(\d{2}))?", text)
    if fixed:
        minutes = offset_minutes(fixed[1], fixed[2], fixed[3] or 0)
        return None if minutes is None else dt.timezone(dt.timedelta(minutes=minutes))
    if text.split("/")[0].lower() in _NO_ZONES:
        return None
    try:
        return zoneinfo.ZoneInfo(text)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        return None


def place_in_zone(local, offset, zone, target, groups):
    """Give local times their zone; hours that the clock skips or repeats are never guessed.

    Parameters
    ----------
    local : pandas.Series of datetime64[ns]
        As written.
    offset : pandas.Series of timedelta64[ns]
        Offset from UTC where stated, else NaT.
    zone : datetime.tzinfo
        Clock that the times were written by.
    target : datetime.tzinfo
        Zone of the answer.
    groups : pandas.Series
        Series that each row belongs to (station, logger …): readings of one group stand in the order they were taken.

    Returns
    -------
    aware : pandas.Series of datetime64[ns, target]
    wrong : list of (index, problem, remedy)
    notes : list of (index, problem, remedy)

    Examples
    --------
    >>> times = pd.Series(pd.to_datetime(["2023-11-05 00:30", "2023-11-05 01:30", "2023-11-05 01:30"]))
    >>> zone = clock_zone("America/New_York")
    >>> aware, wrong, notes = place_in_zone(times, times - times.shift(-9), zone, zone, pd.Series("s", range(3)))
    >>> aware.dt.strftime("%H:%M %z").tolist()
    ['00:30 -0400', '01:30 -0400', '01:30 -0500']
    """
    utc = pd.Series(pd.NaT, index=local.index, dtype="datetime64[ns, UTC]")
    stated = offset.notna() & local.notna()
    utc[stated] = (local[stated] - offset[stated]).dt.tz_localize("UTC")
    plain = local[local.notna() & ~stated]
    wrong, notes = [], []
    if len(plain):
        gap = plain.dt.tz_localize(zone, ambiguous=np.zeros(len(plain), bool), nonexistent="NaT").isna()
        fold = plain.dt.tz_localize(zone, ambiguous="NaT", nonexistent="shift_forward").isna()
        for index in plain.index[gap]:
            wrong.append(
                (
                    index,
                    f"This time never was in {_zone_name(zone)}: the clocks jumped over it when summer time began.",
                    "If this clock is never changed, state its fixed offset in season.toml, such as "
                    f'timezone = "{_fixed(zone, local[index])}" for the logger or [clocks] for the table; else correct '
                    "the time.",
                )
            )
        summer = pd.Series(False, index=plain.index)
        for _, rows in plain[fold].groupby([groups[plain.index[fold]], plain[fold].dt.normalize()], sort=False):
            back = np.flatnonzero(np.diff(rows.to_numpy()) <= np.timedelta64(0, "ns"))
            if len(back) == 1:
                summer[rows.index[: back[0] + 1]] = True
                notes.append(
                    (
                        rows.index[back[0] + 1],
                        f"Hours repeat here, because summer time ended in {_zone_name(zone)}: up to the row before, "
                        "times were read as summer time, from this row on as winter time.",
                        "Check that the rows stand in the order in which they were read.",
                    )
                )
                continue
            for index in rows.index:
                wrong.append(
                    (
                        index,
                        f"This time was twice in {_zone_name(zone)}, because summer time ended that night, and the "
                        "rows do not show which one is meant.",
                        "Write the offset behind it, such as "
                        f"{rows[index]:%Y-%m-%d %H:%M}{_offset(zone, rows[index])}, or, if this clock is never "
                        "changed, state its fixed offset in season.toml, such as "
                        f'timezone = "{_fixed(zone, rows[index])}".',
                    )
                )
        good = plain.index[~gap]
        aware = plain[good].dt.tz_localize(zone, ambiguous=summer[good].to_numpy(), nonexistent="raise")
        utc[good] = aware.dt.tz_convert("UTC")
    utc[[w[0] for w in wrong]] = pd.NaT
    return utc.dt.tz_convert(target), wrong, notes


def _offset(zone, moment):
    """Offset from UTC in summer, of the first of two hours that are written alike."""
    text = moment.to_pydatetime().replace(tzinfo=zone, fold=0).strftime("%z")
    return f"{text[:3]}:{text[3:5]}"


def _fixed(zone, moment):
    """The zone's winter time as a fixed offset: a clock that is never changed mostly shows that."""
    january, july = (dt.datetime(moment.year, month, 1, tzinfo=zone) for month in (1, 7))
    winter = min(january, july, key=lambda day: day.utcoffset())
    text = winter.strftime("%z")
    return f"UTC{text[:3]}:{text[3:5]}"


def _zone_name(zone):
    return getattr(zone, "key", str(zone))
