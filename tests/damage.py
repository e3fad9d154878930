"""Good folders damaged at random, and a book-keeper that counts rows: none may vanish without a word.

`one(seed, folder)` makes a season or an enclosure folder, damages it one to four times, reads it as `check` and `audit`
do, and returns what it saw. Used by a small sample in the tests and by ``tests/studies/damaged_folders.py``.
"""

import random
import re
import shutil
import signal
import time
import warnings
from pathlib import Path

import openpyxl
import season_folder

import fieldkit
from fieldkit.core import FieldkitError
from fieldkit.records.enclosure.settings import EXAMPLE as ENCLOSURE
from fieldkit.records.problems import as_text

LIMIT_S = 30
CELLS = [
    "", " ", "nan", "NA", "0", "-0", "1e999", "1e-320", "-999", "inf", "now", "today", "TRUE", "=1+1",
    "#REF!", "٣", "１２", "0x1F", "1_000", "1,5", "1.234,5", "1 234", "−3", "12 °C", "<5", "2023-02-30 10:20",
    "2023-05-14 24:00", "2023-05-14 10:25:61", "2023-05-14 10:20+25:00", "14/05/2023 10:20",
    "05/04/2023 10:20", "45000", "45000.5", "10:20", "2023-05-14T10:20:00Z", "9999-12-31 23:59",
    "0001-01-01 00:00", "é", "😀", "a" * 300, "9" * 400, "'", '"', '\\', "\t", "None", "R1;R2", "S1", "P1",
    "shade-1", "-", "yes", "x",
]  # fmt: skip
BYTES = [
    b'"', b',', b';', b'\t', b'\r', b'\n', b'\x00', b'\xff', b'\xe9', b'\xef\xbb\xbf', b'\xe2\x80\xa8',
    b'\x0b', b'\x0c', b'\x1c', b'\x1a', b' ', b"'", b'=', b'[', b'{', b'#', b'.', b'-', b'0', b'9',
]  # fmt: skip
READINGS = """time,logger_id,value
2024-01-14 10:20,air-1,23.5
2024-01-14 10:30,air-1,23.6
2024-01-14 10:20,rock-1,41.0
2024-01-14 10:30,rock-1,41.5
2024-01-14 10:40,rock-1,41.2
"""
HAND = "time,point,surface_c,notes\n2024-01-14 10:20,B1,38.5,first\n2024-01-14 11:20,C1,24.0,\n"
LAMPS = "lamp,distance_m,angle_deg,irradiance_w_m2\nbasking,0.25,0,610\nbasking,0.40,,255\n"
GRADIENT = "time,animal_id,body_temperature_c\n2023-05-20 10:00,R1,33.2\n2023-05-20 10:30,R1,34.0\n"
SIGHTINGS = "time,animal_id,behaviour\n2023-05-14 10:20,R1,basking\n2023-05-15 09:40,R2,moving\n"


class TooLong(Exception):
    """A read that does not end."""


def _season(folder):
    season_folder.make(folder)
    (folder / "gradient.csv").write_text(GRADIENT, encoding="utf-8")
    (folder / "sightings.csv").write_text(SIGHTINGS, encoding="utf-8")


def _enclosure(folder):
    folder.mkdir(parents=True)
    for name, text in (("enclosure.toml", ENCLOSURE), ("readings.csv", READINGS), ("hand_readings.csv", HAND)):
        (folder / name).write_text(text, encoding="utf-8")
    (folder / "lamp_readings.csv").write_text(LAMPS, encoding="utf-8")


# --- damage -----------------------------------------------------------------------------------------------------------


def _lines(rng, file):
    """Lines deleted, doubled, moved, joined, emptied."""
    lines = file.read_bytes().split(b"\n")
    k = rng.randrange(len(lines))
    act = rng.randrange(6)
    if act == 0:
        del lines[k]
    elif act == 1:
        lines.insert(k, lines[rng.randrange(len(lines))])
    elif act == 2:
        rng.shuffle(lines)
    elif act == 3 and k + 1 < len(lines):
        lines[k : k + 2] = [lines[k] + lines[k + 1]]
    elif act == 4:
        lines[k] = b""
    else:
        lines[k] = lines[k][: rng.randrange(len(lines[k]) + 1)]
    file.write_bytes(b"\n".join(lines))


def _bytes(rng, file):
    """Bytes put in, taken out, changed; the end cut off."""
    data = bytearray(file.read_bytes())
    for _ in range(rng.randrange(1, 4)):
        k = rng.randrange(len(data) + 1)
        act = rng.randrange(4)
        if act == 0:
            data[k:k] = rng.choice(BYTES)
        elif act == 1:
            del data[k : k + rng.randrange(1, 4)]
        elif act == 2:
            data[k : k + 1] = bytes([rng.randrange(256)])
        elif rng.random() < 0.2:
            del data[k:]
    file.write_bytes(bytes(data))


def _cells(rng, file):
    """Cells that hold what nobody expects."""
    text = file.read_text(encoding="utf-8", errors="surrogateescape")
    rows = [line.split(",") for line in text.split("\n")]
    for _ in range(rng.randrange(1, 4)):
        row = rng.choice(rows)
        row[rng.randrange(len(row))] = rng.choice(CELLS)
    file.write_text("\n".join(map(",".join, rows)), encoding="utf-8", errors="surrogateescape")


def _columns(rng, file):
    """Columns swapped, dropped, doubled, renamed."""
    text = file.read_text(encoding="utf-8", errors="surrogateescape")
    rows = [line.split(",") for line in text.split("\n")]
    width = len(rows[0])
    one, other = rng.randrange(width), rng.randrange(width)
    act = rng.randrange(4)
    for row in rows:
        if max(one, other) < len(row):
            if act == 0:
                row[one], row[other] = row[other], row[one]
            elif act == 1:
                del row[one]
            elif act == 2:
                row.append(row[one])
    if act == 3:
        rows[0][one] = rng.choice(["", rows[0][other], "Temp", "x [degF]", "time", "date", "a" * 200, "värde (°C)"])
    file.write_text("\n".join(map(",".join, rows)), encoding="utf-8", errors="surrogateescape")


def _whole(rng, file):
    """Another encoding, another separator, another name, no content."""
    act = rng.randrange(6)
    if act == 0:
        text = file.read_text(encoding="utf-8", errors="replace")
        file.write_bytes(text.encode(rng.choice(["utf-16", "cp1252", "utf-32", "utf-8-sig"]), errors="replace"))
    elif act == 1:
        data = file.read_bytes()
        file.write_bytes(data.replace(b",", rng.choice([b";", b"\t", b"|", b" ,"])))
    elif act == 2:
        data = file.read_bytes()
        file.write_bytes(data.replace(b"\n", rng.choice([b"\r\n", b"\r", b"\n\n"])))
    elif act == 3:
        file.rename(
            file.with_name(rng.choice([file.stem + ".txt", file.stem + " (1).csv", "x.csv", file.name.upper()]))
        )
    elif act == 4:
        file.write_bytes(rng.choice([b"", b"\n", b",,,\n,,,\n", b"\xef\xbb\xbf", bytes(100)]))
    else:
        data = file.read_bytes()
        file.write_bytes(rng.choice([b"A title\n", b"sep=;\n", b"\n\n", b"title,,\n"]) + data)


def _book(rng, file):
    """The table as a workbook, some cells of strange kinds."""
    import datetime as dt

    text = file.read_text(encoding="utf-8", errors="replace")
    rows = [line.split(",") for line in text.split("\n")]
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = rng.choice([file.stem, "Sheet1"])
    for row in rows:
        sheet.append([re.sub(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff]", "", cell) for cell in row])
    strange = [
        True,
        dt.datetime(2023, 5, 14, 10, 20),
        dt.date(2023, 5, 14),
        dt.time(10, 20),
        12.5,
        "=A1",
        "#N/A",
        45000.4,
    ]
    for _ in range(rng.randrange(4)):
        sheet.cell(rng.randrange(1, len(rows) + 1), rng.randrange(1, 12)).value = rng.choice(strange)
    if rng.random() < 0.2:
        sheet.merge_cells(start_row=2, end_row=3, start_column=1, end_column=1)
    book.save(file.with_suffix(".xlsx"))
    file.unlink()
    if rng.random() < 0.3:
        _bytes(rng, file.with_suffix(".xlsx"))


def damage(rng, folder):
    """Damage a folder once."""
    files = [f for f in sorted(folder.iterdir()) if f.is_file()]
    # As rarely the settings as if all tables were there: what they refuse tells nothing of rows.
    file = rng.choices(files, [0.4 if f.suffix == ".toml" else 1 for f in files])[0]
    text = [_lines, _bytes, _cells, _columns, _whole] + ([] if file.suffix == ".toml" else [_book, _cells])
    act = _bytes if file.suffix == ".xlsx" else rng.choice(text)
    if act is _bytes or file.stat().st_size:
        act(rng, file)


# --- reading and counting ---------------------------------------------------------------------------------------------


def one(seed, folder):
    """Make, damage and read one folder; a dict with kind, outcome, seconds and what is wrong ("" when nothing is)."""
    rng = random.Random(seed)
    folder = Path(folder)
    shutil.rmtree(folder, ignore_errors=True)
    kind = rng.choice(["season", "enclosure"])
    (_season if kind == "season" else _enclosure)(folder)
    # Two to four of a season's tables: more of them cost time and are not what was damaged.
    tables = sorted(folder.glob("*.csv"))
    for file in rng.sample(tables, max(0, len(tables) - rng.randrange(2, 5))) if kind == "season" else ():
        file.unlink()
    for _ in range(rng.choice([1, 1, 1, 2, 3, 4])):
        damage(rng, folder)
    began = time.perf_counter()
    outcome, wrong = "", ""

    def stop(*_):
        raise TooLong

    before = signal.signal(signal.SIGALRM, stop)
    signal.alarm(LIMIT_S)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            if kind == "season":
                read = fieldkit.read_season(folder)
                as_text(read.warnings, folder)
                wrong = _rows_of_season(folder, read)
            else:
                read = fieldkit.read_enclosure(folder)
                as_text(read.warnings, folder)
                wrong = _rows_of_enclosure(folder, read)
            outcome = "read"
    except FieldkitError as error:
        outcome = "refused"
        if not str(error).strip() or ("problems" in vars(error) and not len(error.problems)):
            wrong = "refused without a sentence"
    except TooLong:
        wrong = f"not done in {LIMIT_S} s"
    except Exception as error:
        wrong = f"{type(error).__name__}: {error}"
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)
    return {"seed": seed, "kind": kind, "outcome": outcome, "seconds": time.perf_counter() - began, "wrong": wrong}


def lines_of(file):
    """Lines of a text file in which something stands; rows of the first sheet of a workbook."""
    data = file.read_bytes()
    if data[:2] == b"PK":
        sheet = openpyxl.load_workbook(file, data_only=True).worksheets[0]
        return sum(
            any(str(c if c is not None else "").strip() for c in row) for row in sheet.iter_rows(values_only=True)
        )
    for encoding in ("utf-16",) if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252"):
        try:
            text = data.decode(encoding)
            break
        except UnicodeDecodeError:
            continue
    else:
        return None
    return sum(bool(re.sub(r'[\s,;\t"]', "", line)) for line in re.split(r"\r\n|\r|\n", text))


def _inner(table):
    """Lines that stand inside of cells."""
    texts = table.select_dtypes(["object", "str"])
    return sum(int(texts[c].dropna().astype(str).str.count(r"\r\n|\r|\n").sum()) for c in texts)


def _balance(file, lines, read, inner, said):
    """What is wrong with the count of one file, or nothing."""
    above = said[said["problem"].str.contains("what is above it was not read")]
    title = 0
    for words in above["problem"]:
        # All lines above the header; which of them are empty the file itself says.
        title += int(re.search(r"row (\d+)", words)[1]) - 1
    if lines is None or lines - 1 - title <= read + inner <= lines - 1:
        return ""
    if lines - 1 == read + inner + len(said[said["problem"].str.contains("stands here twice")]):
        return ""
    return (
        f"{file}: {lines} lines with something in them, {read} rows read, {inner} lines inside cells, {len(said)} said"
    )


def _rows_of_season(folder, season):
    for source in season.sources.itertuples(index=False):
        name = source.file.split(", sheet ")[0]
        table = getattr(season, source.table)
        mine = (season.rows[source.table]["file"] == source.file).to_numpy()
        said = season.warnings[season.warnings["file"] == source.file]
        dropped = source.rows - mine.sum()
        reported = said["problem"].str.contains("stands here twice").sum()
        if dropped > reported:
            return f"{name}: {dropped} rows dropped, {reported} of them said"
        first = (folder / name).read_bytes()[:5]
        lines = lines_of(folder / name)
        if lines is not None and first.startswith(b"sep="):
            lines -= 1
        wide = set(season.sources.loc[season.sources["file"] == source.file, "rows"])
        if len(wide) > 1 or (season.sources["file"] == source.file).sum() > 1:
            continue  # an export with a column a logger: a line is several rows
        wrong = _balance(name, lines, source.rows, _inner(table[mine]), said)
        if wrong:
            return wrong
    read = {s.split(", sheet ")[0] for s in season.sources["file"]}
    for file in folder.iterdir():
        known = file.name in read or file.name == "season.toml"
        named = season.warnings["file"].str.startswith(file.name).any()
        if not known and not named and (lines_of(file) or 0) > 1:
            return f"{file.name}: not read, and nothing said of it"
    return ""


def _rows_of_enclosure(folder, record):
    said = record.warnings
    readings = record.readings["logger_id"].astype(str)
    logged = ~readings.str.contains(" by hand, ")
    for file in folder.iterdir():
        lines = lines_of(file) if file.suffix != ".toml" else None
        if lines is None or lines < 2:
            continue
        mine = said[said["file"].str.startswith(file.name)]
        if file.stem.lower() == "readings" and {"value", "logger_id"} <= set(re.split(r"\W+", _head(file))):
            wrong = _balance(file.name, lines, int(logged.sum()), 0, mine)
            if wrong:
                return wrong
        elif file.stem.lower() == "lamp_readings":
            wrong = _balance(file.name, lines, len(record.lamp_readings), 0, mine)
            if wrong and not _inner_lines(file):
                return wrong
        elif file.stem.lower() not in ("readings", "hand_readings", "lamp_readings") and mine.empty:
            return f"{file.name}: not read, and nothing said of it"
    return ""


def _head(file):
    data = file.read_bytes()
    if data[:2] == b"PK":
        sheet = openpyxl.load_workbook(file, data_only=True).worksheets[0]
        return " ".join(str(c) for row in sheet.iter_rows(values_only=True, max_row=1) for c in row)
    return data[:200].split(b"\n")[0].decode("latin1")


def _inner_lines(file):
    return b'"' in file.read_bytes()
