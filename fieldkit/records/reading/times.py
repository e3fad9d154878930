"""Cells that hold a moment: read in any usual order, held to its season, placed in a time zone."""

import datetime as dt
import re

import pandas as pd

from fieldkit.records.zones import offset_minutes

from .cells import MISSING, tidy

_MONTHS = {
    m: i
    for i, m in enumerate(("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"), start=1)
}

_CLOCK = (
    r"(?:(?:[T\s,]+)(\d{1,2})[:.h](\d{2})(?:[:.](\d{2})(?:[.,]\d+)?)?\s*([ap]\.?m\.?)?\s*(Z|UTC|[+-]\d{2}:?\d{2})?)?"
)

_YMD = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})" + _CLOCK, re.I)

_XXY = re.compile(r"(\d{1,2})[-/. ]\s?(\d{1,2})[-/. ]\s?(\d{4})" + _CLOCK, re.I)

_DMONY = re.compile(r"(\d{1,2})[-. ]*([a-z]{3,9})[-., ]*(\d{4})" + _CLOCK, re.I)

_MONDY = re.compile(r"([a-z]{3,9})[-. ]*(\d{1,2})[-., ]+(\d{4})" + _CLOCK, re.I)

_PLAIN_CLOCK = r"\d{4}-\d{1,2}-\d{1,2}[ T]\d{1,2}:[0-5]\d(:[0-5]\d)?"

_SHORT_YEAR = re.compile(r"\d{1,2}[-/.]\d{1,2}[-/.]\d{2}(\s.*)?")

_CLOCK_ONLY = re.compile(r"(\d{1,2})[:.h](\d{2})(?:[:.](\d{2})(?:[.,]\d+)?)?\s*([ap]\.?m\.?)?", re.I)

# Outside of these years a date is a slip, and far outside nanoseconds cannot count it.
YEARS = (1700, 2260)

_SERIAL = re.compile(r"\d{5}(\.\d+)?")


def moments(cells, *, days=None, order=None, epoch=1900, first_day=None, last_day=None, need_clock=True):
    """Turn cells into dates with a time of day, on the clock they were written by.

    Parameters
    ----------
    cells : pandas.Series of object
        As read; the index is kept.
    days : pandas.Series of datetime64, optional
        The day of each row, for sheets that keep day and time of day in two columns.
    order : {"dmy", "mdy", "ymd"}, optional
        Order stated in season.toml; without it 03/04/2023 is refused, unless another cell settles it.
    epoch : {1900, 1904}
        First year of the spreadsheet's day numbers.
    first_day, last_day : datetime.date, optional
        Of the season: day numbers have to fall inside.
    need_clock : bool
        Whether a date without a time of day is a mistake.

    Returns
    -------
    local : pandas.Series of datetime64[ns]
        NaT where empty or wrong.
    offset : pandas.Series of timedelta64[ns]
        Offset from UTC where the cell states one, else NaT.
    wrong : list of (index, value, problem, remedy)
    notes : list of (index, value, problem, remedy)
        What was read in one way and could be meant in another.

    Examples
    --------
    >>> local, offset, wrong, notes = moments(pd.Series(["2023-05-14 10:20", "14/05/2023 10:25"]))
    >>> local.dt.strftime("%d %B %H:%M").tolist()
    ['14 May 10:20', '14 May 10:25']
    """
    local = pd.Series(pd.NaT, index=cells.index, dtype="datetime64[ns]")
    offset = pd.Series(pd.NaT, index=cells.index, dtype="timedelta64[ns]")
    wrong, notes = [], []
    is_text = cells.map(lambda c: isinstance(c, str))
    texts = cells.where(is_text, "").map(tidy)
    # Most files hold one tidy form; the slow road below is for the rest.
    left = is_text & ~texts.str.lower().isin(MISSING)
    if days is None:
        for form in ("%Y-%m-%d %H:%M", "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S"):
            if left.any():
                # The library takes "now" and a 61st second for times; the slow road says what is wrong with them.
                plain = texts[left & texts.str.fullmatch(_PLAIN_CLOCK)]
                parsed = pd.to_datetime(plain, format=form, errors="coerce").dropna()
                parsed = parsed[parsed.dt.year.between(*YEARS)].astype("datetime64[ns]")
                local[parsed.index] = parsed
                left[parsed.index] = False
    is_date = cells.map(lambda c: isinstance(c, dt.datetime | dt.date) and YEARS[0] <= c.year <= YEARS[1])
    if days is None and is_date.any() and all(getattr(c, "tzinfo", None) is None for c in cells[is_date]):
        local[is_date] = pd.to_datetime(cells[is_date].tolist()).astype("datetime64[ns]").round("s")
    else:
        left |= is_date
    left |= ~is_text & ~is_date & cells.notna()
    slow = cells.index[left]
    settled, reason = _settle_order(texts[slow], order)
    read, known, noted = {}, {}, set()
    for index in slow:
        cell = cells[index]
        day = None if days is None else days[index]
        ask = (type(cell), cell, day)
        if ask not in known:
            season = (first_day, last_day)
            known[ask] = _in_reach(_moment(cell, day, settled, reason, epoch, season, need_clock, bool(is_date.any())))
        outcome = known[ask]
        if isinstance(outcome, str):
            problem, remedy = outcome.split("|")
            wrong.append((index, tidy(cell), problem, remedy))
            continue
        read[index] = outcome[:2]
        # How a whole column was read is said once.
        if outcome[2] and outcome[2] not in noted:
            noted.add(outcome[2])
            problem, remedy = outcome[2].split("|")
            notes.append((index, tidy(cell), problem, remedy))
    if read:
        rows = list(read)
        local[rows] = pd.to_datetime([moment for moment, _ in read.values()]).astype("datetime64[ns]")
        offset[rows] = pd.to_timedelta([apart for _, apart in read.values()]).astype("timedelta64[ns]")
    return local, offset, wrong, notes


def _settle_order(texts, order):
    """Order of day and month, stated or proven by a day above 12; else why it is not settled."""
    if order in ("dmy", "mdy"):
        return order, "stated"
    first = second = seen = False
    dotted = True
    for text in texts:
        match = _XXY.fullmatch(text)
        if match:
            first |= int(match[1]) > 12
            second |= int(match[2]) > 12
            dotted &= bool(re.match(r"\d{1,2}\.\s?\d{1,2}\.", text))
            seen = True
    if first and second:
        return None, "both"
    if first or second:
        return ("dmy" if first else "mdy"), "proven"
    if seen and dotted:
        # Nobody writes the month first with dots.
        return "dmy", "dotted"
    return None, "unknown"


def _in_reach(outcome):
    """A moment in a year that nanoseconds can count and somebody may have lived in, or "problem|remedy"."""
    if isinstance(outcome, str) or pd.isna(outcome[0]) or YEARS[0] <= outcome[0].year <= YEARS[1]:
        return outcome
    return f"The year {outcome[0].year} is outside {YEARS[0]} to {YEARS[1]}.|Correct the date."


def _moment(cell, day, order, reason, epoch, season, need_clock, has_real_dates):
    """One cell: (local, offset, note), or "problem|remedy"."""
    if isinstance(cell, dt.time):
        if day is None:
            return (
                "This is a time of day without a day.|"
                "Write day and time in one cell, such as 2023-05-14 10:20, or add a date column."
            )
        return _join(day, cell.hour, cell.minute, cell.second)
    if isinstance(cell, dt.datetime | dt.date):
        moment = pd.Timestamp(cell)
        if day is not None and moment.normalize() < pd.Timestamp("1905-01-01"):
            return _join(day, moment.hour, moment.minute, moment.second)
        if moment.tz is not None:
            return moment.tz_localize(None), pd.Timedelta(moment.utcoffset()), None
        return moment.round("s"), pd.NaT, None
    if isinstance(cell, dt.timedelta):
        seconds = round(cell.total_seconds())
        if day is None or not 0 <= seconds < 86400:
            return "This is a length of time, not a moment.|Write day and time, such as 2023-05-14 10:20."
        return _join(day, seconds // 3600, seconds // 60 % 60, seconds % 60)
    text = tidy(cell)
    if _SERIAL.fullmatch(text):
        return _serial(float(text), epoch, season)
    if day is not None:
        try:
            share = float(text.replace(",", "."))
        except ValueError:
            share = -1.0
        if 0 <= share < 1 and "." in text.replace(",", "."):
            seconds = round(share * 86400)
            return _join(day, seconds // 3600, seconds // 60 % 60, seconds % 60)
        match = _CLOCK_ONLY.fullmatch(text)
        if match:
            hour, problem = _hour(match[1], match[2], match[3], match[4])
            if problem:
                return problem
            return _join(day, hour, int(match[2]), int(match[3] or 0))
    return _written(text, order, reason, need_clock and day is None, has_real_dates)


def _join(day, hour, minute, second):
    if pd.isna(day):
        return pd.NaT, pd.NaT, None
    return pd.Timestamp(day).normalize() + pd.Timedelta(hours=hour, minutes=minute, seconds=second), pd.NaT, None


def _hour(hour, minute, second, half):
    hour = int(hour)
    if int(second or 0) > 59:
        return None, "There is no such second.|Correct the time of day."
    if int(minute) > 59:
        return None, "There is no such minute.|Correct the time of day."
    if half:
        if not 1 <= hour <= 12:
            return None, "A time with am or pm has an hour from 1 to 12.|Correct the time of day."
        return hour % 12 + (12 if half.lower().startswith("p") else 0), None
    if hour == 24:
        return None, "Hour 24 belongs to the next day.|Write 00:00 with the date of the next day."
    if hour > 24:
        return None, "There is no such hour.|Correct the time of day."
    return hour, None


def _serial(number, epoch, season):
    def day_of(year):
        origin = pd.Timestamp("1899-12-30") if year == 1900 else pd.Timestamp("1904-01-01")
        return (origin + pd.Timedelta(days=number)).round("s")

    first, last = season
    moment = day_of(epoch)
    other = 1904 if epoch == 1900 else 1900
    if first is not None and last is not None:
        inside = [first <= day_of(year).date() <= last for year in (epoch, other)]
        if inside == [False, True]:
            return (
                f"This day number of a spreadsheet means {moment:%Y-%m-%d} when days are counted from {epoch}, "
                f"and {day_of(other):%Y-%m-%d} when counted from {other}; only the second lies in your season.|"
                f"Write the date out, such as 2023-05-14 10:20, or write epoch = {other} under [dates] in season.toml."
            )
    return (
        moment,
        pd.NaT,
        f"Day numbers of a spreadsheet were read as dates, counted from {epoch}.|"
        "Check that the dates are right; format the column as date and time before saving as CSV.",
    )


def _written(text, order, reason, need_clock, has_real_dates):
    note = None
    if match := _YMD.fullmatch(text):
        year, month, day = int(match[1]), int(match[2]), int(match[3])
        clock = match.groups()[3:]
    elif match := _XXY.fullmatch(text):
        one, two, year = int(match[1]), int(match[2]), int(match[3])
        clock = match.groups()[3:]
        if has_real_dates:
            return (
                "Some cells of this column are dates and this one is text: the spreadsheet may have swapped day and "
                "month in the others.|Format the whole column as text or as dates of one order, and check each day "
                "and month against your notes."
            )
        if order is None and reason == "both":
            return (
                "Some dates in this column can only be day/month and others only month/day.|"
                "Write every date as 2023-05-14 (year-month-day)."
            )
        if order is None and one != two:
            return (
                "Day and month can be read either way round, and no date of this column settles it.|"
                'Write order = "dmy" or order = "mdy" under [dates] in season.toml, or write dates as 2023-05-14.'
            )
        day, month = (two, one) if order == "mdy" else (one, two)
        if reason == "stated" and month > 12 >= day:
            right, other = ("month/day", "day/month") if order == "mdy" else ("day/month", "month/day")
            return (
                f"This date cannot be {right}/year, which season.toml states.|If this file writes {other}/year "
                f'throughout, add "THIS FILE" = "{"dmy" if order == "mdy" else "mdy"}" under [dates.files] in '
                "season.toml; else correct the date."
            )
        if reason == "dotted":
            note = (
                "Dates with dots were read as day.month.year.|"
                'Nothing, if that is right; order = "dmy" under [dates] in season.toml says it for all files.'
            )
        if reason == "proven":
            name = "month/day/year" if order == "mdy" else "day/month/year"
            note = (
                f"Dates were read as {name}, because some day is above 12.|"
                f'Nothing, if that is right; order = "{order}" under [dates] in season.toml says it for all files.'
            )
    elif (match := _DMONY.fullmatch(text)) and match[2][:3].lower() in _MONTHS:
        year, month, day = int(match[3]), _MONTHS[match[2][:3].lower()], int(match[1])
        clock = match.groups()[3:]
    elif (match := _MONDY.fullmatch(text)) and match[1][:3].lower() in _MONTHS:
        year, month, day = int(match[3]), _MONTHS[match[1][:3].lower()], int(match[2])
        clock = match.groups()[3:]
    elif _SHORT_YEAR.fullmatch(text):
        return "The year has two digits.|Write dates as 2023-05-14, with all four digits of the year."
    elif _CLOCK_ONLY.fullmatch(text):
        return (
            "This is a time of day without a day.|"
            "Write day and time in one cell, such as 2023-05-14 10:20, or add a date column."
        )
    else:
        return "This is not a date and time that can be read.|Write it as 2023-05-14 10:20 (year-month-day, 24 hours)."
    try:
        moment = pd.Timestamp(year=year, month=month, day=day)
    except ValueError:
        return f"There is no day {day} in month {month} of {year}.|Correct the date."
    hour, minute, second, half, zone = clock
    if hour is None:
        if need_clock:
            return "There is a date but no time of day.|Add the time of day, such as 2023-05-14 10:20."
        return moment, pd.NaT, note
    hour, problem = _hour(hour, minute, second, half)
    if problem:
        return problem
    moment += pd.Timedelta(hours=hour, minutes=int(minute), seconds=int(second or 0))
    if zone is None:
        return moment, pd.NaT, note
    if zone.upper() in ("Z", "UTC"):
        return moment, pd.Timedelta(0), note
    apart = offset_minutes(zone[0], zone[1:3], zone[-2:])
    if apart is None:
        return (
            f"No clock on Earth is {zone} away from UTC.|"
            "Correct the offset behind the time: from -12:00 to +14:00, such as 2023-05-14 10:20-04:00."
        )
    return moment, pd.Timedelta(minutes=apart), note
