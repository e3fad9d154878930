"""Folders whose every cell can be read and that are wrong all the same: `check` has to notice, with row and remedy.

The base is a piece of the invented demo season, which `check` finds nothing suspicious in but gaps. Each input below is
a slip that people make (common practice, no source); what is asked is that `check` says something of the right kind at
the right row, not how it says so.
"""

import re

import numpy as np
import pandas as pd
import pytest

import fieldkit
from fieldkit import cli
from fieldkit.core import resource_dir
from fieldkit.records.problems import SeasonError, as_text

T = "season.toml"


@pytest.fixture(scope="module")
def pieces():
    """Tables as text, and the settings, of forty days of the demo season."""
    folder = resource_dir("data") / "demo_season"
    tables = {p.stem: pd.read_csv(p, dtype=str, keep_default_na=False) for p in folder.glob("*.csv")}
    logged = tables["loggers"]
    tables["loggers"] = logged[logged["time"].between("2025-05-01", "2025-05-22")].reset_index(drop=True)
    tables["scans"] = tables["scans"].iloc[:500].reset_index(drop=True)
    weather = tables["weather"]
    tables["weather"] = weather[weather["date"].between("2025-01-01", "2025-12-31")].reset_index(drop=True)
    return tables, (folder / T).read_text(encoding="utf-8")


class Folder:
    """A copy of the pieces that a slip may change before it is written."""

    def __init__(self, tables, settings):
        self.tables = {name: table.copy() for name, table in tables.items()}
        self.settings = settings
        self.files = {}

    def toml(self, old, new):
        assert old in self.settings, old
        self.settings = self.settings.replace(old, new)

    def write(self, folder):
        folder.mkdir()
        (folder / T).write_text(self.settings, encoding="utf-8")
        for name, table in self.tables.items():
            table.to_csv(folder / f"{name}.csv", index=False, lineterminator="\n")
        for name, change in self.files.items():
            file = folder / name
            file.write_bytes(change(file.read_bytes()))
        return folder


# --- ways to go wrong -------------------------------------------------------------------------------------------------


def column(table, name, change, rows=slice(None)):
    """Change cells of one column; `change` is given the texts as a Series."""

    def act(f):
        frame = f.tables[table]
        frame.loc[rows, name] = change(frame.loc[rows, name])

    return act


def clock(table, change, logger=None):
    """Change the times of a table, or of one logger."""

    def act(f):
        frame = f.tables[table]
        rows = slice(None) if logger is None else frame["logger_id"] == logger
        frame.loc[rows, "time"] = change(pd.to_datetime(frame.loc[rows, "time"]))
        if table == "loggers":
            f.tables[table] = frame.drop_duplicates(["logger_id", "time"]).reset_index(drop=True)

    return act


def later(hours):
    return lambda times: (times + pd.Timedelta(hours=hours)).dt.strftime("%Y-%m-%d %H:%M")


def no_half(times):
    """am and pm lost: 14:20 written as 2:20."""
    hours = (times.dt.hour - 1) % 12 + 1
    return times.dt.strftime("%Y-%m-%d ") + hours.map("{:02d}".format) + times.dt.strftime(":%M")


def swap_day(times, form="%Y-%d-%m %H:%M"):
    out = times.dt.strftime("%Y-%m-%d %H:%M")
    small = times.dt.day <= 12
    out[small] = times[small].dt.strftime(form)
    return out


def times_factor(factor, digits=4):
    return lambda texts: pd.to_numeric(texts).mul(factor).round(digits).map(lambda x: "" if pd.isna(x) else f"{x:g}")


def plus(amount):
    return lambda texts: (pd.to_numeric(texts) + amount).map(lambda x: "" if pd.isna(x) else f"{x:g}")


def of_logger(name, change):
    def act(f):
        frame = f.tables["loggers"]
        rows = frame["logger_id"] == name
        frame.loc[rows, "value"] = change(frame.loc[rows, "value"])

    return act


def every(n, value):
    def change(texts):
        out = texts.copy()
        out.iloc[::n] = value
        return out

    return change


def only_small_days(f):
    """A season watched on the first twelve days of its months, day and month swapped throughout."""
    for table in ("choices", "scans", "sightings"):
        frame = f.tables[table]
        times = pd.to_datetime(frame["time"])
        keep = times.dt.day <= 12
        f.tables[table] = frame[keep].reset_index(drop=True)
        f.tables[table]["time"] = swap_day(times[keep].reset_index(drop=True))
    f.toml("first_day = 2025-03-15", "first_day = 2025-01-01")
    f.toml("last_day = 2025-10-18", "last_day = 2025-12-31")


def one_day_swapped(f):
    frame = f.tables["choices"]
    times = pd.to_datetime(frame["time"])
    days = times.dt.normalize()
    small = [d for d in days.unique() if d.day <= 12 and d.month != d.day][len(days.unique()) // 12]
    rows = days == small
    frame.loc[rows, "time"] = times[rows].dt.strftime("%Y-%d-%m %H:%M")
    f.toml("first_day = 2025-03-15", "first_day = 2025-01-01")
    f.toml("last_day = 2025-10-18", "last_day = 2025-12-31")


def filled_time(table):
    def act(f):
        f.tables[table]["time"] = f.tables[table]["time"].iloc[0]

    return act


def filled_day(f):
    times = f.tables["choices"]["time"]
    f.tables["choices"]["time"] = times.str[:10].iloc[0] + times.str[10:]


def pasted(table, rename=None, block=slice(0, 60)):
    def act(f):
        again = f.tables[table].iloc[block].copy()
        for name, change in (rename or {}).items():
            again[name] = change(again[name])
        f.tables[table] = pd.concat([f.tables[table], again], ignore_index=True)

    return act


def swap_loggers(one, other):
    def act(f):
        ids = f.tables["loggers"]["logger_id"]
        f.tables["loggers"]["logger_id"] = ids.replace({one: other, other: one})

    return act


def names(table, name, change, rows):
    def act(f):
        frame = f.tables[table]
        chosen = rows(frame)
        frame.loc[chosen, name] = change

    return act


def a_set(which):
    return lambda frame: frame["set_id"] == frame["set_id"].unique()[which]


def people(f):
    f.tables["choices"]["observer"] = f.tables["choices"]["observer"].map({"A": "Emil", "B": "Jana", "C": "Ruth"})
    sets = f.tables["choices"]["set_id"].unique()
    f.tables["choices"].loc[f.tables["choices"]["set_id"] == sets[3], "observer"] = "Emli"


def animals_with_names(f):
    people = "Emil Wanda Otto Hilde Bruno Greta Kuno Lotte Maxi Nora Paul Rosa Sven Tilda"
    known = {f"R{k:02d}": n for k, n in enumerate(re.findall(r"\w+", people), 1)}
    for table in ("choices", "scans", "sightings", "gradient"):
        f.tables[table]["animal_id"] = f.tables[table]["animal_id"].map(lambda a: known.get(a, a))
    frame = f.tables["choices"]
    emil = frame.loc[frame["animal_id"] == "Emil", "set_id"].unique()
    frame.loc[frame["set_id"] == emil[-1], "animal_id"] = "Emli"


def cell(table, row, name, value):
    def act(f):
        f.tables[table].loc[row, name] = value

    return act


def toml(old, new):
    return lambda f: f.toml(old, new)


def line(table, number, change):
    """Change one line of the file as it is written; line 1 is the header."""

    def act(f):
        def edit(data):
            lines = data.split(b"\n")
            lines[number - 1] = change(lines[number - 1])
            return b"\n".join(lines)

        f.files[f"{table}.csv"] = edit

    return act


def hourly(change):
    """An hourly station: its radiation follows the site's logger."""

    def act(f):
        frame = f.tables["loggers"]
        sun = frame[frame["logger_id"] == "sun-1"].iloc[::2].reset_index(drop=True)
        air = frame[frame["logger_id"] == "shade-1"].iloc[::2].reset_index(drop=True)
        table = pd.DataFrame({"station_id": "mill", "time": sun["time"], "ghi_w_m2": sun["value"]})
        table["air_temperature_c"] = air["value"].reindex(table.index).fillna("")
        f.tables["weather"] = table
        f.toml("[stations.mill]", '[stations.mill]\ntimezone = "UTC-05:00"')
        change(f)

    return act


def many(*acts):
    return lambda f: [act(f) for act in acts]


# name: (slip, file, column or None, rows at which it may be said: None for any, "row" for some row)
SLIPS = {
    # times
    "am and pm lost in choices": (clock("choices", no_half), "choices.csv"),
    "am and pm lost in scans": (clock("scans", no_half), "scans.csv"),
    "am and pm lost in sightings": (clock("sightings", no_half), "sightings.csv"),
    "one time filled down in choices": (filled_time("choices"), "choices.csv"),
    "one time filled down in scans": (filled_time("scans"), "scans.csv"),
    "one time filled down in sightings": (filled_time("sightings"), "sightings.csv"),
    "one time filled down in loggers": (filled_time("loggers"), "loggers.csv"),
    "one day filled down in choices": (filled_day, "choices.csv"),
    "day and month swapped throughout": (only_small_days, "choices.csv"),
    "day and month swapped on one day": (one_day_swapped, "choices.csv"),
    "day and month of an irradiance logger swapped": (
        many(clock("loggers", swap_day, "sun-1"), toml("first_day = 2025-03-15", "first_day = 2025-01-01")),
        "loggers.csv",
    ),
    "choices 6 h late": (clock("choices", later(6)), "choices.csv"),
    "choices 6 h early": (clock("choices", later(-6)), "choices.csv"),
    "choices 12 h off": (clock("choices", later(12)), "choices.csv"),
    "choices in UTC": (clock("choices", later(4)), "choices.csv"),
    "scans 12 h off": (clock("scans", later(12)), "scans.csv"),
    "irradiance logger 1 h fast": (clock("loggers", later(1), "sun-1"), "loggers.csv"),
    "irradiance logger 1 h slow": (clock("loggers", later(-1), "sun-1"), "loggers.csv"),
    "irradiance logger in UTC": (clock("loggers", later(5), "sun-1"), "loggers.csv"),
    "irradiance logger 6 h off": (clock("loggers", later(6), "sun-1"), "loggers.csv"),
    "irradiance logger 12 h off": (clock("loggers", later(12), "sun-1"), "loggers.csv"),
    "shade logger 1 h off": (clock("loggers", later(1), "shade-2"), "loggers.csv"),
    "shade logger 6 h off": (clock("loggers", later(6), "shade-2"), "loggers.csv"),
    "shade logger 12 h off": (clock("loggers", later(12), "shade-1"), "loggers.csv"),
    "model logger 12 h off": (clock("loggers", later(12), "model-1"), "loggers.csv"),
    "all loggers 6 h off": (clock("loggers", later(6)), "loggers.csv"),
    "hourly station in UTC": (hourly(clock("weather", later(5))), "weather.csv"),
    "hourly station 12 h off": (hourly(clock("weather", later(12))), "weather.csv"),
    "zone of another continent": (toml('timezone = "America/New_York"', 'timezone = "Europe/Berlin"'), T),
    "zone of the other coast": (toml('timezone = "America/New_York"', 'timezone = "Asia/Tokyo"'), T),
    "a time that is a word": (cell("choices", 7, "time", "now"), "choices.csv", 9),
    "second 61": (cell("loggers", 7, "time", "2025-05-01 03:30:61"), "loggers.csv", 9),
    "an offset of 25 hours": (cell("choices", 7, "time", "2025-03-17 10:25+25:00"), "choices.csv", 9),
    "zone localtime": (toml('timezone = "America/New_York"', 'timezone = "localtime"'), T),
    "zone UTC+24:00": (
        toml(
            'timezone = "UTC-05:00" # never set to summer time\n\n[loggers.shade-2]',
            'timezone = "UTC+24:00"\n\n[loggers.shade-2]',
        ),
        T,
    ),
    # places
    "sign of the longitude lost": (toml("longitude_deg = -80.31", "longitude_deg = 80.31"), T),
    "sign of the latitude wrong": (toml("latitude_deg = 36.18", "latitude_deg = -36.18"), T),
    "latitude and longitude of the site swapped": (
        toml("latitude_deg = 36.18\nlongitude_deg = -80.31", "latitude_deg = -80.31\nlongitude_deg = 36.18"),
        T,
    ),
    "latitude and longitude of a station swapped": (
        toml("latitude_deg = 36.05\nlongitude_deg = -80.4", "latitude_deg = -80.4\nlongitude_deg = 36.05"),
        T,
    ),
    "sign of a station's longitude lost": (toml("longitude_deg = -80.4\n", "longitude_deg = 80.4\n"), T),
    "elevation of the site in feet": (toml("elevation_m = 410.0", "elevation_m = 1345"), T),
    "elevation of a station in feet": (toml("elevation_m = 450.0", "elevation_m = 1476"), T),
    "no such place on Earth": (toml("latitude_deg = 36.18", "latitude_deg = 84.0"), T),
    # radiation
    "choices in kilolux": (column("choices", "irradiance_w_m2", times_factor(0.11)), "choices.csv"),
    "choices in kW/m2": (column("choices", "irradiance_w_m2", times_factor(0.001)), "choices.csv"),
    "logger in kilolux": (of_logger("sun-1", times_factor(0.11)), "loggers.csv"),
    "logger in kW/m2": (of_logger("sun-1", times_factor(0.001)), "loggers.csv"),
    "irradiance logger 300 W/m2 at night": (of_logger("sun-1", plus(300)), "loggers.csv"),
    "hourly station 300 W/m2 at night": (hourly(column("weather", "ghi_w_m2", plus(300))), "weather.csv"),
    "300 W/m2 by hand at midnight": (
        many(
            cell("choices", 0, "time", "2025-03-18 00:25"),
            cell("choices", 0, "set_id", "S001"),
            column("choices", "time", lambda t: t.str[:10].iloc[0] + " 00:25", slice(0, 5)),
        ),
        "choices.csv",
    ),
    "more than the sun can give": (cell("choices", 0, "irradiance_w_m2", "1900"), "choices.csv", 2),
    "irradiance 0 for missing": (column("choices", "irradiance_w_m2", every(9, "0")), "choices.csv"),
    # readings
    "surface 0 for missing in every ninth row": (column("choices", "surface_c", every(9, "0")), "choices.csv"),
    "shade air 0 for missing": (column("choices", "shade_air_c", every(9, "0.0")), "choices.csv"),
    "body temperature 0 for missing": (column("gradient", "body_temperature_c", every(9, "0")), "gradient.csv"),
    "logger 0 for missing": (of_logger("rock-1", every(90, "0")), "loggers.csv"),
    "two loggers swapped": (swap_loggers("shade-1", "rock-1"), "loggers.csv"),
    "shade logger and model swapped": (swap_loggers("shade-1", "model-1"), "loggers.csv"),
    "Fahrenheit in a Celsius column": (column("choices", "surface_c", times_factor(1.8)), "choices.csv"),
    "logger in Fahrenheit": (
        of_logger("shade-1", lambda t: (pd.to_numeric(t) * 1.8 + 32).map("{:g}".format)),
        "loggers.csv",
    ),
    "a stuck logger": (of_logger("shade-2", lambda t: t.where(np.arange(len(t)) < 400, "21.5")), "loggers.csv"),
    # rows
    "sets pasted under new names": (pasted("choices", {"set_id": lambda s: "N" + s}), "choices.csv"),
    "sets pasted with another time too": (
        pasted("choices", {"set_id": lambda s: "N" + s, "time": lambda t: t.str.replace("-03-", "-04-")}),
        "choices.csv",
    ),
    "gradient pasted twice": (pasted("gradient"), "gradient.csv"),
    "scans pasted twice": (pasted("scans"), "scans.csv"),
    "an animal twice at one time": (cell("scans", 1, "animal_id", "R04"), "scans.csv", 3),
    "a lone quotation mark": (line("choices", 12, lambda x: x[:-1] + b'"'), "choices.csv"),
    "a quotation mark closed far below": (
        lambda f: f.files.update({"choices.csv": lambda d: _quotes(d, 12, 80)}),
        "choices.csv",
    ),
    "a row cut short": (line("choices", 12, lambda x: x.rsplit(b",", 5)[0]), "choices.csv", 12),
    "a logger row cut short": (line("loggers", 12, lambda x: x.rsplit(b",", 1)[0]), "loggers.csv", 12),
    # names
    "O for 0 in an animal": (names("choices", "animal_id", "RO7", lambda t: t["animal_id"] == "R07"), None),
    "l for 1 in a place": (
        names("choices", "place_id", "Pl1", lambda t: (t["place_id"] == "P11") & (t.index < 300)),
        "choices.csv",
    ),
    "two letters of an animal changed round": (animals_with_names, "choices.csv"),
    "two letters of an observer changed round": (people, "choices.csv"),
    # settings
    "a body length of 7 m": (toml("length_m = 0.07", "length_m = 7"), T),
    "a body length in cm": (toml("length_m = 0.07", "length_m = 0.7"), T),
    "a mass in kg": (toml("mass_g = 12.0", "mass_g = 12000"), T),
    "an error of 0.05 W/m2": (toml("error = 30.0", "error = 0.05"), T),
    "an error in per cent": (toml("error = 1.5", "error = 15"), T),
    "a probe of 50 cm": (toml("size_m = 0.005", "size_m = 0.5"), T),
}


def _quotes(data, first, last):
    lines = data.split(b"\n")
    lines[first - 1] += b'"note'
    lines[last - 1] += b'"'
    return b"\n".join(lines)


def problems_of(folder):
    """Everything that is said of a folder."""
    try:
        return fieldkit.read_season(folder).warnings
    except SeasonError as error:
        return error.problems


@pytest.fixture(scope="module")
def usual(pieces, tmp_path_factory):
    """What is said of the pieces as they are."""
    return problems_of(Folder(*pieces).write(tmp_path_factory.mktemp("base") / "season"))


def test_the_pieces_themselves_give_no_alarm(usual):
    assert set(usual["severity"]) <= {"warning"}
    words = usual["problem"].str.contains("no reading|begins later|ends earlier|no readings", regex=True)
    assert words.all(), usual[~words].to_string()


def test_there_are_at_least_sixty():
    assert len(SLIPS) >= 60


@pytest.mark.parametrize("name", SLIPS)
def test_a_slip_is_noticed(name, pieces, usual, tmp_path):
    slip, file, *row = SLIPS[name]
    f = Folder(*pieces)
    slip(f)
    folder = f.write(tmp_path / "season")
    found = problems_of(folder)
    new = found.merge(usual[["file", "column", "problem"]].drop_duplicates(), how="left", indicator=True)
    new = new[new["_merge"] == "left_only"]
    here = new[new["file"] == file] if file else new
    if row:
        here = here[here["row"] == row[0]]
    assert len(here), (name, found[["file", "row", "column", "problem"]].to_string())
    assert here["remedy"].str.len().gt(10).all()
    assert file == T or here["row"].notna().any()

    said = " ".join(as_text(found, folder).split())
    assert " ".join(here["remedy"].iloc[0].split()) in said


def test_check_says_it_too(pieces, tmp_path, capsys):
    f = Folder(*pieces)
    SLIPS["irradiance logger 1 h fast"][0](f)
    assert cli.main(["check", str(f.write(tmp_path / "season"))]) == cli.OK
    said = " ".join(capsys.readouterr().out.split())
    assert "clock of sun-1" in said and "WARNING loggers.csv, row" in said
