"""One table of a season, in as many files as it stands in: columns found, read, and held against the declaration."""

import difflib
import re

import numpy as np
import pandas as pd

from fieldkit.records import schema as schemas
from fieldkit.records.problems import Problems
from fieldkit.records.reading import cells, headers, suspicions
from fieldkit.records.season import exports, settings
from fieldkit.records.season.limits import validate
from fieldkit.records.season.moments import any_written, decimal_of, read_times, say


def read_table(raws, table, stated, problems, sources, rows, *, whole=True):
    """Read and check one table, in as many files as it stands in.

    What is wrong is added to problems, and to `rows` the file and row that each row of the table stands in.
    `whole`: whether loggers without readings are said.
    """
    if table == "loggers" and raws and all(raw.ready is not None for raw in raws):
        return exports.read_plain(raws, stated, problems, sources, rows, whole=whole)
    parts, wheres = [], []
    for raw in raws:
        part, where = read_part(raw, table, stated, problems, sources)
        parts.append(part)
        wheres.append(where)
    if not parts:
        return None
    _tell_apart(raws, parts, table, problems)
    frame = pd.concat(parts, ignore_index=True)
    where = pd.concat(wheres, ignore_index=True)
    order = [c for c in schemas.ALL_TABLES[table].columns if c in frame.columns]
    frame = frame[order + [c for c in frame.columns if c not in order]]
    validate(frame, where, table, problems)
    plain = {raw.file: raw.source.read_bytes for raw in raws if raw.ready is not None}
    frame = suspicions.look(frame, where, table, stated, problems, plain=plain, whole=whole)
    rows[table] = where.loc[frame.index, ["file", "row"]].reset_index(drop=True).astype({"file": "category"})
    frame = frame.reset_index(drop=True)
    if "used" in schemas.ALL_TABLES[table].columns and "used" in frame and frame["used"].notna().all():
        frame["used"] = frame["used"].astype("int64")
    return frame


def _tell_apart(raws, parts, table, problems):
    """Files that each number their choice sets from the start: sets are told apart by file, and that is said once.

    Animals and places of such files are too, where the files are of different species, sites or groups; else R07 of
    June is taken for R07 of May.
    """
    if table != "choices" or len(parts) < 2 or not all("set_id" in part for part in parts):
        return
    seen, again = {}, set()
    for k, part in enumerate(parts):
        for name in set(part["set_id"].dropna().astype(str)):
            if name in seen:
                again |= {seen[name], k}
            seen.setdefault(name, k)
    if not again:
        return
    kinds = [
        tuple(tuple(sorted(set(p[c].dropna()))) if c in p else () for c in ("species", "site", "group")) for p in parts
    ]
    columns = ["set_id", *(["animal_id", "place_id"] if len({kinds[k] for k in again}) > 1 else [])]
    for k in sorted(again):
        for column in columns:
            if column in parts[k]:
                name = parts[k][column]
                parts[k][column] = name.where(name.isna(), raws[k].stem + " " + name.astype("str"))
    told = "Choice sets" if len(columns) == 1 else "Choice sets, animals and places"
    files = [raws[k].file for k in sorted(again)]
    problems.warn(
        files[0],
        f"{len(files)} files use the same names of choice sets ({', '.join(files[:5])}). {told} were told apart by "
        "file.",
        "Nothing, if each file numbers its sets for itself; else give each set one name in all files.",
        column="set_id",
    )


def read_part(raw, table, stated, problems, sources):
    schema = schemas.ALL_TABLES[table]
    if raw.ready is not None:
        sources.append((raw.file, table, len(raw.ready), raw.separator, ".", raw.encoding))
        files = pd.Categorical.from_codes(np.zeros(len(raw.ready), "int8"), [raw.file])
        where = pd.DataFrame({"file": files, "row": raw.cells.index})
        where = where.assign(**{f"{c} bad": False for c in schema.columns})
        if table == "loggers":
            # Every time was written: one that is missing never was, or was twice, and that was said.
            where["time bad"] = raw.ready["time"].isna().to_numpy()
        return raw.ready.astype({schema.metadata["key"][0]: "str"}), where
    columns, units, doubled = {}, {}, set()
    for name in raw.header:
        # A column that nobody filled in needs no unit.
        heard = problems if any_written(raw.cells[name]) else Problems()
        column, unit = headers.match(name, table, stated, raw.file, heard, raw.header_row)
        if column in columns:
            problems.add(
                raw.file,
                f"This column and '{columns[column]}' both mean {column}.",
                "Keep one of them, or rename the other.",
                row=raw.header_row,
                column=name,
            )
            doubled.add(name)
            continue
        if column:
            columns[column] = name
            units[column] = unit
    _say_missing_columns(raw, table, columns, stated, problems)
    numeric = [n for c, n in columns.items() if schema.columns[c].metadata["kind"] == "number"]
    decimal = decimal_of(raw, numeric, stated, problems)
    if table == "choices":
        _fill_down(raw, columns, problems)
    frame = pd.DataFrame(index=raw.cells.index)
    bad = {}
    for name in raw.header:
        column = next((c for c, n in columns.items() if n == name), None)
        if column is None:
            if name not in doubled:
                frame[name] = _own_column(raw.cells[name], decimal)
            continue
        kind = schema.columns[column].metadata["kind"]
        if kind in ("text", "word"):
            texts = _worded(raw.cells[name], column, stated).map(cells.tidy)
            frame[column] = texts.mask(texts.map(cells.is_missing)).astype("str")
            if kind == "word":
                frame[column] = frame[column].str.lower()
        elif kind == "flag":
            frame[column], wrong = _flags(_ticks(_worded(raw.cells[name], column, stated), raw, name, problems))
            bad[column] = say(wrong, raw.file, name, problems)
        elif kind == "number":
            values, wrong = cells.numbers(raw.cells[name], decimal=decimal)
            bad[column] = say(wrong, raw.file, name, problems)
            frame[column] = _to_unit(values, units[column], table, column)
    named_by_file = {"loggers": "logger_id", "weather": "station_id"}.get(table)
    if named_by_file and named_by_file not in columns and "/" in raw.file:
        frame[named_by_file] = raw.stem
    read_times(raw, table, columns, frame, stated, problems, bad)
    if table == "loggers" and {"logger_id", "value"} <= set(frame.columns):
        _logger_units(frame, stated)
    where = pd.DataFrame({"file": raw.file, "row": raw.cells.index})
    for column in schema.columns:
        if column in columns:
            where[column] = raw.cells[columns[column]].to_numpy()
            where[f"{column} name"] = columns[column]
        where[f"{column} bad"] = np.isin(raw.cells.index, list(bad.get(column, ())))
    sources.append((raw.file, table, len(frame), raw.separator, decimal if raw.separator else "", raw.encoding))
    return frame.reset_index(drop=True), where


def _say_missing_columns(raw, table, columns, stated, problems):
    schema = schemas.ALL_TABLES[table]
    said = headers.renamed(table, stated)
    free = [n for n in raw.header if n not in columns.values() and headers.base(n) not in said]
    needed = [c for c, declared in schema.columns.items() if declared.required and c not in columns]
    named_by_file = {"loggers": "logger_id", "weather": "station_id"}.get(table)
    if "/" in raw.file and named_by_file in needed:
        needed.remove(named_by_file)
    lost = []
    for column in needed:
        kind = schema.columns[column].metadata["kind"]
        fitting = [n for n in free if _fits(raw.cells[n], kind)]
        near = headers.suggestion(column, fitting, table) or nearest(column, fitting)
        if not near and schema.columns[column].metadata["kind"] == "flag":
            near = next((n for n in fitting if any_written(raw.cells[n]) and not _flags(raw.cells[n])[1]), None)
        if near:
            free.remove(near)
            limits = schemas.column_range(table, column)
            new, here = column, column
            if limits and limits.dimension != "none" and not near.endswith(column.removeprefix(headers.stem(column))):
                # The unit that the sheet states is kept; where it states none it has to be given.
                stem = headers.stem(column)
                unit = headers.split_unit(near)[1]
                new = stem if unit else f"{stem} [UNIT]"
                here = f"{stem} ({unit})" if unit else new
            if "UNIT" not in new:
                problems.suggest(f"columns.{table}", near, new)
            problems.add(
                raw.file,
                "This column is missing.",
                f"If the column '{near}' is meant, rename it to '{here}', or add \"{near}\" = \"{new}\" under "
                f"[columns.{table}] in season.toml."
                + (f" For UNIT write the unit it was read in, such as {limits.unit}." if "UNIT" in new else ""),
                row=raw.header_row,
                column=column,
            )
        else:
            lost.append(column)
    if lost:
        meanings = "; ".join(f"{c}: {schema.columns[c].description}" for c in lost)
        remedy = f"Add the column{'s' if len(lost) > 1 else ''} {meanings}."
        if len(raw.header) == 1 and raw.separator:
            remedy = "The whole header was read as one cell: save the sheet as CSV with commas, semicolons or tabs."
        elif free:
            number = next((c for c in lost if schemas.column_range(table, c)), None)
            new = f"{headers.stem(number)} [UNIT]" if number else lost[0]
            yours = ", ".join(repr(n) for n in free[:12])
            remedy += (
                f" If a column of yours holds it ({yours}), rename it, or say so in season.toml under "
                f'[columns.{table}], a line each, such as "YOUR HEADER" = "{new}".'
            )
        problems.add(
            raw.file,
            "This column is missing." if len(lost) == 1 else "These columns are missing.",
            remedy,
            row=raw.header_row,
            column=", ".join(lost),
        )
    for group in schema.metadata["one_of"]:
        if not any(c in columns for c in group):
            problems.add(
                raw.file,
                "None of these columns is there.",
                f"Add at least one of {', '.join(group)}.",
                row=raw.header_row,
                column=" or ".join(group),
            )
    for column in schema.columns:
        if column not in columns and column not in needed:
            near = nearest(column, free, 0.8)
            if near and headers.base(near) != "date":
                problems.warn(
                    raw.file,
                    "This column is kept but not used.",
                    f"If it is {column}, rename it.",
                    row=raw.header_row,
                    column=near,
                )


def nearest(column, names, cutoff=0.6):
    bases = {headers.base(headers.split_unit(n)[0]): n for n in names}
    near = difflib.get_close_matches(headers.stem(column), list(bases), 1, cutoff) or difflib.get_close_matches(
        column, list(bases), 1, cutoff
    )
    return bases[near[0]] if near else None


def _worded(column, name, stated):
    """A column whose words stand for others, as [words] in season.toml says."""
    said = settings.section(settings.section(stated, "words"), name)
    said = {cells.tidy(k).lower(): v for k, v in said.items() if isinstance(v, str)}
    return column.map(lambda cell: said.get(cells.tidy(cell).lower(), cell)) if said else column


# Yes and no in the main European languages, as people write them in a column.
_YES = {"1", "true", "yes", "y", "x", "✓", "✔", "ja", "j", "oui", "si", "sí", "sì", "sim", "tak", "ano", "wahr", "vrai"}
_NO = {"0", "false", "no", "n", "nein", "non", "nee", "não", "nao", "nie", "ne", "nej", "falsch", "faux"}


def _ticks(column, raw, name, problems):
    """A column of nothing but ticks and empty cells: an empty one is a no, and that is said."""
    texts = column.map(cells.tidy).str.lower()
    written = texts[~texts.map(cells.is_missing)]
    if len(written) in (0, len(texts)) or not written.isin({"x", "✓", "✔"}).all():
        return column
    problems.warn(
        raw.file,
        "This column holds ticks only: its empty cells were read as 0.",
        "Nothing, if an empty cell means no.",
        row=raw.header_row,
        column=name,
    )
    return column.where(texts.isin({"x", "✓", "✔"}), "0")


def _fits(column, kind):
    """Whether most of what is written in a column can be of a kind."""
    texts = [t for t in map(cells.tidy, column.head(50)) if not cells.is_missing(t)]
    if not texts:
        return False
    pattern = {
        "time": r".*\d.*[:./-].*\d.*|\d{5}(\.\d+)?",
        "date": r".*\d.*[./ -].*\d.*|\d{5}",
        "number": r"[<>~]?\s*[-+−]?\d+([.,]\d+)?\s*\D{0,6}",
        "flag": r"\D{0,6}|[01]",
    }.get(kind)
    return pattern is None or sum(bool(re.fullmatch(pattern, t)) for t in texts) > len(texts) / 2


def _fill_down(raw, columns, problems):
    """Sheets that write the name of a set once, above its places: the cells below are filled, and that is said."""
    name = columns.get("set_id")
    if name is None or not len(raw.cells):
        return
    blank = raw.cells[name].map(cells.tidy).map(cells.is_missing)
    if blank.iloc[0] or blank.mean() < 0.3:
        return
    block = (~blank).cumsum()
    for column in ("set_id", "time", "animal_id", "observer"):
        if column in columns:
            values = raw.cells[columns[column]]
            empty = values.map(cells.tidy).map(cells.is_missing)
            raw.cells[columns[column]] = (
                values.mask(empty & blank)
                .groupby(block)
                .transform(
                    lambda part: [part.iloc[0] if part.isna().iloc[k] else part.iloc[k] for k in range(len(part))]
                )
            )
    problems.warn(
        raw.file,
        f"The name of a set stands in its first row only: {blank.sum():,} empty cells below were filled with it, and "
        "empty times, animals and observers of those rows with those of the first row.",
        "Nothing, if the sheet is laid out that way.",
        row=int(raw.cells.index[blank.to_numpy().argmax()]),
        column=name,
    )


def _flags(column):
    yes, no = _YES, _NO
    texts = column.map(cells.tidy)
    lower = texts.str.lower()
    values = pd.Series(np.nan, index=column.index)
    values[lower.isin(yes)] = 1
    values[lower.isin(no)] = 0
    wrong = [
        (
            i,
            texts[i],
            "This is neither 1 nor 0.",
            "Write 1 for the place where the animal was and 0 for a place it could have taken.",
        )
        for i in column.index[values.isna() & ~texts.map(cells.is_missing)]
    ]
    return values, wrong


def _to_unit(values, unit, table, column):
    limits = schemas.column_range(table, column)
    if unit is None or limits is None or limits.dimension == "none":
        return values
    factor, offset = schemas.find_unit(unit, limits.dimension)
    # Round off what the factor leaves behind the last digit; absurd numbers overflow and meet the limits later.
    with np.errstate(over="ignore"):
        return values if (factor, offset) == (1.0, 0.0) else (values * factor + offset).round(9)


def _own_column(column, decimal):
    """A column of the user's own: numbers if all of it is, else as it stands."""
    values, wrong = cells.numbers(column, decimal=decimal)
    if values.notna().any() and not wrong:
        return values
    texts = column.map(cells.tidy)
    return texts.mask(texts == "").astype("str")


def _logger_units(frame, stated):
    loggers = settings.section(stated, "loggers")
    for name in loggers:
        logger = settings.section(loggers, name)
        role = logger.get("role")
        if role in schemas.ALL_ROLES:
            dimension = schemas.RANGES[schemas.ALL_ROLES[role][0]].dimension
            unit = schemas.find_unit(logger.get("unit", ""), dimension)
            rows = frame["logger_id"] == name
            if unit is not None and unit != (1.0, 0.0):
                with np.errstate(over="ignore"):
                    frame.loc[rows, "value"] = (frame.loc[rows, "value"] * unit[0] + unit[1]).round(9)
