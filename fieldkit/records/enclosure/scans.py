"""Scans of animals in an enclosure: typed in by a person, or told by the names of photographs."""

import io
import re
from dataclasses import replace

import pandas as pd

from fieldkit.records import schema as schemas
from fieldkit.records import zones
from fieldkit.records.reading import cells, headers
from fieldkit.records.season import settings
from fieldkit.records.season.table import read_table

OUT_OF_SIGHT = "out of sight"
# Name of an animal that lives alone and was not named.
ALONE = "the animal"
# Files of this many bytes and more are worth a quick road; a column this empty is left to the careful one.
LARGE = 200_000
MOSTLY_EMPTY = 0.5
_STAMP = re.compile(r"(?<!\d)(\d{4})[-_.]?(\d{2})[-_.]?(\d{2})[-_. T]+(\d{2})[-_.:h]?(\d{2})(?:[-_.:m]?(\d{2}))?(?!\d)")


def read(raws, stated, problems):
    """Read the scans of an enclosure.

    Parameters
    ----------
    raws : list of RawTable
        The table as it stands in its files.
    stated : dict
        enclosure.toml as parsed, made like that of a season.
    problems : Problems
        Takes what is found.

    Returns
    -------
    pandas.DataFrame or None
        In order of time; ``animal_id`` is there in any case.
    """
    stated = _under_own_name(stated)
    raws = [_with_times(raw, stated, problems) for raw in raws]
    if not raws or (problems.any_errors and any(raw is None for raw in raws)):
        return None
    table = read_table(raws, "enclosure_scans", stated, problems, [], {})
    if table is None or "point" not in table:
        return table
    away = table["point"].str.lower().str.replace(r"[-_ ]+", " ", regex=True) == OUT_OF_SIGHT
    table["point"] = table["point"].mask(away, OUT_OF_SIGHT)
    if "animal_id" not in table:
        table["animal_id"] = ALONE
    elif len(table["animal_id"].dropna().unique()) <= 1:
        table["animal_id"] = table["animal_id"].fillna(table["animal_id"].mode().get(0, ALONE))
    elif table["animal_id"].isna().any():
        problems.warn(
            "scans",
            f"{table['animal_id'].isna().sum()} scans do not say which of several animals was seen.",
            "Write its name. Without it these scans count as one more animal.",
            column="animal_id",
        )
        table["animal_id"] = table["animal_id"].fillna("not told")
    return table.sort_values("time", kind="stable").reset_index(drop=True) if "time" in table else table


def read_plain(file, points, stated):
    """Read a large scans.csv in which nothing asks for a second look; None sends it to the careful reader.

    Parameters
    ----------
    file : pathlib.Path
        The file scans.csv.
    points : sequence of str
        Points that enclosure.toml describes.
    stated : dict
        enclosure.toml as parsed, made like that of a season.

    Returns
    -------
    (pandas.DataFrame, bytes) or None
        As `read` would give it, and what was read.
    """
    if not file.is_file() or file.stat().st_size < LARGE or {"columns", "words", "numbers"} & set(stated):
        return None
    data = file.read_bytes()
    first = data.split(b"\n", 2)
    try:
        header = first[0].decode("utf-8-sig").strip().split(",")
    except UnicodeDecodeError:
        return None
    columns = schemas.ENCLOSURE_TABLES["enclosure_scans"].columns
    if not {"time", "point", "animal_id"} <= set(header) <= set(columns) or b'"' in data:
        return None
    try:
        frame = pd.read_csv(io.BytesIO(data), dtype="str", encoding="utf-8-sig", skipinitialspace=False)
        times = pd.to_datetime(frame["time"], format="%Y-%m-%d %H:%M", exact=True)
        clocks = settings.section(_under_own_name(stated), "clocks")
        target = zones.clock_zone(stated["site"]["timezone"])
        times = times.dt.tz_localize(zones.clock_zone(clocks.get("enclosure_scans", "")) or target)
        body = pd.to_numeric(frame["body_temperature_c"]) if "body_temperature_c" in frame else None
    except (ValueError, pd.errors.ParserError):
        return None
    frame["time"] = times.dt.tz_convert(target).dt.as_unit("ns")
    if body is not None:
        frame["body_temperature_c"] = body
    if not _nothing_odd(frame, body, points):
        return None
    frame = frame[[c for c in columns if c in frame]]
    return frame.sort_values("time", kind="stable").reset_index(drop=True), data


def _nothing_odd(frame, body, points):
    """Whether every cell is of the plain kind, so that the careful reader would find nothing to say."""
    low, high = schemas.RANGES["body"].usual
    named = frame["animal_id"]
    texts = frame[[c for c in ("animal_id", "point", "behaviour", "observer") if c in frame]]
    kinds = {text for c in texts for text in texts[c].dropna().unique()}
    return (
        frame[["time", "point", "animal_id"]].notna().all(axis=None)
        and frame["point"].isin([*points, OUT_OF_SIGHT]).all()
        and ("behaviour" not in frame or frame["behaviour"].dropna().isin(schemas.BEHAVIOURS).all())
        and (body is None or body.dropna().between(low, high).all())
        and all(text == cells.tidy(text) and not cells.is_missing(text) for text in kinds)
        and len({str(name).lower() for name in named.unique()}) == named.nunique()
        and not frame.duplicated(["time", "animal_id", *(["observer"] if "observer" in frame else [])]).any()
        and frame["time"].max() <= pd.Timestamp.now(tz="UTC")
        and not any(c in frame and frame[c].isna().mean() > MOSTLY_EMPTY for c in ("behaviour", "observer"))
    )


def _under_own_name(stated):
    """What the settings say of the table scans, under the name that it is declared by."""
    out = dict(stated)
    for section in ("columns", "clocks"):
        given = stated.get(section)
        if isinstance(given, dict) and "scans" in given:
            out[section] = {("enclosure_scans" if k == "scans" else k): v for k, v in given.items()}
    return out


# Headers of the column in which a camera's list names its photographs.
FILE_NAMES = ("file", "file_name", "filename", "photo", "photograph", "picture", "image")


def _with_times(raw, stated, problems):
    """A list of photographs with the time that their names tell; any other table as it is."""
    said = headers.renamed("enclosure_scans", stated)
    bases = {said.get(headers.base(h), headers.base(h)): h for h in raw.header}
    file = next((bases[name] for name in FILE_NAMES if name in bases), None)
    if any(name in bases for name in headers.TIMES) or file is None:
        return raw
    times, wrong = [], []
    for row, name in raw.cells[file].items():
        time = moment_of_file(name)
        times.append(time)
        if time is None:
            wrong.append((row, name))
    for row, name in wrong[:20]:
        problems.add(
            raw.file,
            "The name of this photograph tells no date and time.",
            "Add a column time, or let the camera write names such as IMG_20260514_1020.jpg.",
            row=row,
            column=file,
            value=name,
        )
    if wrong:
        return None
    cells = raw.cells.assign(time=pd.Series(times, index=raw.cells.index, dtype=object))
    return replace(raw, header=[*raw.header, "time"], cells=cells)


def moment_of_file(name):
    """Date and time that the name of a photograph tells, as text, or None.

    Examples
    --------
    >>> moment_of_file("IMG_20260514_102030.jpg"), moment_of_file("2026-05-14 10.20.jpg"), moment_of_file("cat.jpg")
    ('2026-05-14 10:20:30', '2026-05-14 10:20:00', None)
    """
    found = _STAMP.search(str(name))
    if not found:
        return None
    year, month, day, hour, minute, second = found.groups(default="00")
    if not (1 <= int(month) <= 12 and 1 <= int(day) <= 31 and int(hour) < 24 and int(minute) < 60):
        return None
    return f"{year}-{month}-{day} {hour}:{minute}:{second}"
