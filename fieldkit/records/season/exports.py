"""Exports of loggers: a column for each logger, a file of one logger, or files in plain form."""

import dataclasses
import re

import numpy as np
import pandas as pd

from fieldkit.records import schema as schemas
from fieldkit.records.reading import cells, headers, series, suspicions
from fieldkit.records.season import settings

# Above this many readings the names of loggers stay categories: as texts they would fill the memory.
_MANY = 1_000_000


def parted(raw, stated, problems, files):
    """An export as one table a logger: a column for each, or a file of one logger; any other table as it is.

    `files` are the names, without ending, of all files of the folder: a logger with such a name has a file of its own.
    """
    if raw.ready is not None:
        return [raw]
    said = headers.renamed("loggers", stated)
    bases = {said.get(headers.base(h), headers.base(headers.split_unit(h)[0])): h for h in raw.header}
    moment = next((bases[name] for name in headers.TIMES if name in bases), None)
    if moment is None or "value" in bases or "logger_id" in bases:
        return [raw]
    day = [bases["date"]] if "date" in bases and bases["date"] != moment else []
    loggers = {k: v for k, v in settings.section(stated, "loggers").items() if isinstance(v, dict)}
    others = {k: str(v.get("column", k)) for k, v in loggers.items() if k not in files}
    owned, strange = {}, []
    for plain, header in bases.items():
        here = (plain, headers.base(header))
        name = next((n for n, c in others.items() if headers.base(c) in here), None)
        if name is not None:
            owned[name] = header
        elif header not in (moment, *day) and plain not in ("no", "") and _has_numbers(raw.cells[header]):
            strange.append(header)
    alone = raw.stem if "/" in raw.file and raw.stem in loggers else None
    if alone is not None:
        wanted = headers.base(str(loggers[alone].get("column", "")))
        meant = [h for h in strange if wanted in (headers.base(h), headers.base(headers.split_unit(h)[0]))]
        meant = meant or (strange if len(strange) == 1 and not wanted else [])
        if not meant and strange:
            problems.add(
                raw.file,
                f"Nothing says which of these columns holds the readings of {alone}.",
                f'Write column = "{strange[0]}", or another of them, below [loggers.{_quoted(alone)}] in season.toml.',
                row=raw.header_row,
                column=", ".join(strange),
            )
            return []
        # What a box notes beside its readings, such as the state of its battery, needs no word.
        owned, strange = owned | dict.fromkeys([alone], *meant), []
    in_folder = "/" in raw.file
    if not owned and len(strange) < (1 if in_folder else 2):
        return [raw]
    if strange:
        one = strange[0]
        unit = headers.split_unit(one)[1] or "degC"
        mine = f'[loggers.{_quoted(raw.stem)}] with its role, unit = "{unit}"'
        each = (
            f"add a section for each, such as [loggers.{_quoted(headers.split_unit(one)[0])}], with its role and unit"
        )
        if owned:
            remedy = f"Nothing, if that is not wanted; else {each}."
        elif not in_folder:
            remedy = f'{each[0].upper()}{each[1:]} = "{unit}". Columns without a section are not read.'
        elif len(strange) == 1:
            remedy = f"Add {mine}."
        else:
            remedy = (
                f'If this file is of one logger, add {mine} and column = "{one}", or another of these columns. If each '
                f"column is a logger, {each}."
            )
        say = problems.warn if owned else problems.add
        say(
            raw.file,
            f"No logger in season.toml has the name of {'this column' if len(strange) == 1 else 'these columns'}"
            + (" or of this file." if in_folder and not owned else "."),
            remedy,
            row=raw.header_row,
            column=", ".join(strange),
        )
    parts = []
    for name, header in owned.items():
        unit, stated_unit = headers.split_unit(header)[1], loggers[name].get("unit")
        if unit is not None and stated_unit is not None and not _same_unit(unit, stated_unit):
            problems.add(
                raw.file,
                f"The header says {unit}, [loggers.{_quoted(name)}] says {stated_unit}.",
                "Correct one of them.",
                row=raw.header_row,
                column=header,
            )
        written = raw.cells[header].map(lambda c: not cells.is_missing(cells.tidy(c)))
        part = raw.cells.loc[written, [*day, moment, header]]
        part = part.set_axis([*["date"] * len(day), "time", "value"], axis=1).assign(logger_id=name)
        parts.append(dataclasses.replace(raw, header=list(part.columns), cells=part))
    return parts


def _has_numbers(column):
    return any(re.fullmatch(r"[-+−]?\d+([.,]\d+)?", cells.tidy(cell)) for cell in column.head(20))


def _quoted(name):
    """Name of a section as TOML wants it."""
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else f"'{name}'"


def _same_unit(one, other):
    return any((a := schemas.find_unit(one, d)) is not None and a == schemas.find_unit(other, d) for d in schemas.UNITS)


def read_plain(raws, stated, problems, sources, rows, *, whole):
    """Files in plain form: nothing but numbers and categories, and one logger looked at after the other."""
    names = list(dict.fromkeys(n for raw in raws for n in raw.ready["logger_id"].cat.categories))
    files = [raw.file for raw in raws]
    for raw in raws:
        sources.append((raw.file, "loggers", len(raw.ready), raw.separator, ".", raw.encoding))
    if len(raws) == 1:
        frame = raws[0].ready
    else:
        frame = pd.DataFrame(
            {
                "time": pd.concat([raw.ready["time"] for raw in raws], ignore_index=True),
                "logger_id": pd.Categorical.from_codes(
                    np.concatenate([_codes(raw.ready["logger_id"], names) for raw in raws]), names
                ),
                "value": np.concatenate([raw.ready["value"].to_numpy() for raw in raws]),
            },
            copy=False,
        )
    sizes = [len(raw.ready) for raw in raws]
    where = pd.DataFrame(
        {
            "file": pd.Categorical.from_codes(np.repeat(np.arange(len(files), dtype="int16"), sizes), files),
            "row": np.concatenate([np.arange(size, dtype="int32") + 2 for size in sizes]),
        }
    )
    written = {raw.file: raw.source.read_bytes for raw in raws}
    raws.clear()  # what they hold was copied
    if whole:
        there = set(frame["logger_id"].cat.categories[np.unique(frame["logger_id"].cat.codes)])
        suspicions.say_silent(
            [k for k, v in settings.section(stated, "loggers").items() if isinstance(v, dict)], there, problems
        )
    kept = series.look(frame, where, stated, problems, written=written)
    if len(kept) != len(frame):
        where = where.loc[kept.index].reset_index(drop=True)
        frame = kept.reset_index(drop=True)
    if len(frame) <= _MANY:
        frame, where = frame.astype({"logger_id": "str"}), where.astype({"row": "int64"})
    rows["loggers"] = where
    return frame


def _codes(ids, names):
    """Codes of a category column in another list of names."""
    place = np.array([names.index(n) for n in ids.cat.categories], dtype="int16")
    return place[ids.cat.codes.to_numpy()]
