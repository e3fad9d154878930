"""Times and decimal marks of one table, as its files and season.toml write them."""

import datetime as dt

import pandas as pd

from fieldkit.records import schema as schemas
from fieldkit.records.reading import cells, headers, times
from fieldkit.records.season import settings
from fieldkit.records.season.limits import why_empty
from fieldkit.records.zones import clock_zone, place_in_zone


def say(wrong, file, column, problems):
    for index, value, problem, remedy in wrong:
        remedy = remedy.replace("THIS FILE", file.split(", sheet ")[0])
        problems.add(file, problem, remedy, row=index, column=column, value=value)
    return {w[0] for w in wrong}


def decimal_of(raw, numeric, stated, problems):
    given = settings.section(stated, "numbers").get("decimal")
    if given in (",", "."):
        return given
    texts = [c.strip() for n in numeric for c in raw.cells[n] if isinstance(c, str)]
    mark = cells.decimal_mark(texts)
    if mark in (",", "."):
        return mark
    for name in numeric:
        for index, cell in raw.cells[name].items():
            text = cell.strip() if isinstance(cell, str) else ""
            if "," in text and (mark == "mixed" or cells.decimal_mark([text]) == "unclear"):
                problem = (
                    "This file has both decimal commas and decimal points."
                    if mark == "mixed"
                    else "This comma can be a decimal comma or part thousands."
                )
                problems.add(
                    raw.file,
                    problem,
                    'Use one decimal mark in the file, or write decimal = "," (or ".") under [numbers] in season.toml.',
                    row=index,
                    column=name,
                    value=text,
                )
    return ","


def any_written(column):
    return any(not cells.is_missing(cells.tidy(cell)) for cell in column)


def read_times(raw, table, columns, frame, stated, problems, bad):
    schema = schemas.ALL_TABLES[table]
    season = settings.section(stated, "season")
    days_of_season = [season.get(k) if isinstance(season.get(k), dt.date) else None for k in ("first_day", "last_day")]
    dates = settings.section(stated, "dates")
    asked = {
        "order": settings.section(dates, "files").get(raw.file.split(", sheet ")[0], dates.get("order")),
        "epoch": raw.epoch or (dates.get("epoch") if dates.get("epoch") in (1900, 1904) else 1900),
        "first_day": days_of_season[0],
        "last_day": days_of_season[1],
    }
    if table == "weather":
        # Station records reach beyond the season, so it cannot settle which day number is meant.
        asked["first_day"] = asked["last_day"] = None
    renamed = headers.renamed(table, stated)
    day_name = columns.get("date") or next(
        (n for n in raw.header if headers.base(renamed.get(headers.base(n), n)) == "date"), None
    )
    days = None
    # The weather template has both columns: the one that is left empty does not count.
    if day_name is not None and any_written(raw.cells[day_name]):
        days, _, wrong, notes = times.moments(raw.cells[day_name], need_clock=False, **asked)
        bad["date"] = say(wrong, raw.file, day_name, problems)
        for index, value, problem, remedy in notes:
            problems.warn(raw.file, problem, remedy, row=index, column=day_name, value=value)
        days = days.dt.normalize()
    daily = "date" in schema.columns and days is not None
    if day_name in frame and "date" not in schema.columns:
        # The day is in the time from here on.
        del frame[day_name]
    if "time" not in columns or (daily and not any_written(raw.cells[columns["time"]])):
        if daily:
            frame["date"] = days
        return
    name = columns["time"]
    local, offset, wrong, notes = times.moments(raw.cells[name], days=days, **asked)
    bad["time"] = say(wrong, raw.file, name, problems) | bad.get("date", set())
    if days is not None:
        for index in days.index[days.isna() & local.isna()].difference(list(bad["time"])):
            if not cells.is_missing(cells.tidy(raw.cells.loc[index, name])):
                bad["time"].add(index)
                problem, remedy = why_empty("the day of this row")
                problems.add(raw.file, problem, remedy, row=index, column=day_name)
    for index, value, problem, remedy in notes:
        problems.warn(raw.file, problem, remedy, row=index, column=name, value=value)
    target = clock_zone(settings.section(stated, "site").get("timezone", "UTC")) or dt.UTC
    base = clock_zone(settings.section(stated, "clocks").get(table, "")) or target
    series = {"loggers": "logger_id", "weather": "station_id"}.get(table)
    ids = frame[series] if series in frame else pd.Series(raw.cells.index, index=raw.cells.index)
    section = settings.section(stated, {"loggers": "loggers", "weather": "stations"}.get(table, ""))
    own = {k: clock_zone(v["timezone"]) for k, v in section.items() if isinstance(v, dict) and "timezone" in v}
    zones = ids.map(lambda i: own.get(i) or base)
    aware = pd.Series(pd.NaT, index=frame.index, dtype="datetime64[ns, UTC]").dt.tz_convert(target)
    for zone in dict.fromkeys(zones):
        rows = zones.index[zones.map(lambda z, zone=zone: z is zone)]
        got, wrong, notes = place_in_zone(local[rows], offset[rows], zone, target, ids[rows].astype("str"))
        aware[rows] = got
        for index, problem, remedy in wrong:
            bad["time"].add(index)
            problems.add(
                raw.file, problem, remedy, row=index, column=name, value=cells.tidy(raw.cells.loc[index, name])
            )
        for index, problem, remedy in notes:
            problems.warn(
                raw.file, problem, remedy, row=index, column=name, value=cells.tidy(raw.cells.loc[index, name])
            )
    frame["time"] = aware
