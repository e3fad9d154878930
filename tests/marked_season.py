"""A season with marked values: place, names, notes and paths that nobody has but this test. INVENTED, like the demo."""

import datetime as dt
import re
import shutil
import tomllib

import pandas as pd

import fieldkit

LATITUDE, LONGITUDE, ELEVATION = 36.18347, -80.31291, 437.0
SITE = "Xaverhalde am Quendelbach"
SEASON = "Quendelbacher Echsen"
OBSERVERS = {"A": "Emilia Zwickenpflug", "B": "Kunibert Hohlwein", "C": "Traudl Oxenknecht"}
ANIMALS = "Schnurli"
PLACE_OF_LOGGER = "hinter der Brombeerhecke von Zwickenpflug"
STATION = "Krautgasse"
NOTE = "neben dem Hochsitz, 36.18347 N 80.31291 W, Foto IMG_2041.jpg"
# Every mark in the forms a search of text can find; lower case.
MARKS = (
    *("36.18", "36.183", "36.1834", "36.18347", "80.31", "80.312", "80.3129", "80.31291"),
    *("36°", "80°", "437", "xaverhalde", "quendelbach", "zwickenpflug", "kunibert", "hohlwein", "traudl", "oxenknecht"),
    *("schnurli", "brombeerhecke", "krautgasse", "hochsitz", "img_2041", "gpsmark"),
)


def make(folder, *, latitude=LATITUDE, longitude=LONGITUDE, elevation=ELEVATION, days=None, tables=None):
    """Write the folder: the demo season's records, as if they were real and told everything.

    `days` keeps the first so many days of the loggers, `tables` only these tables.
    """
    source = fieldkit.demo_season().path
    folder.mkdir(parents=True)
    text = (source / "season.toml").read_text(encoding="utf-8")
    for pattern, new in (
        (r"invented = true", "invented = false"),
        (r'name = "Ridge lizards[^"]*"', f'name = "{SEASON}"'),
        (r'name = "the old quarry"', f'name = "{SITE}"'),
        (r"latitude_deg = 36.18\b", f"latitude_deg = {latitude}"),
        (r"longitude_deg = -80.31\b", f"longitude_deg = {longitude}"),
        (r"elevation_m = 410.0", f"elevation_m = {elevation}"),
        (r'place = "[^"]*"', f'place = "{PLACE_OF_LOGGER}"'),
        (r"stations\.ridge\]", f"stations.{STATION}]"),
        (r'what = "thin probe', f'what = "thin probe of {OBSERVERS["A"]}'),
    ):
        text, count = re.subn(pattern, new, text)
        assert count, pattern
    tomllib.loads(text)
    (folder / "season.toml").write_text(text, encoding="utf-8")
    for path in sorted(source.glob("*.csv")):
        if tables is not None and path.stem not in tables:
            continue
        table = pd.read_csv(path, dtype=str, keep_default_na=False)
        if "observer" in table:
            table["observer"] = table["observer"].map(OBSERVERS)
        if "animal_id" in table:
            table["animal_id"] = table["animal_id"].str.replace("R02", ANIMALS)
        if "station_id" in table:
            table["station_id"] = table["station_id"].str.replace("ridge", STATION)
        if path.stem in ("choices", "scans", "sightings"):
            table["notes"] = ""
            table.loc[::7, "notes"] = NOTE
            table["gpsmark"] = f"{latitude} {longitude}"
        if path.stem == "choices":
            table.loc[3, "substrate"] = f"ledge at {SITE}"
        if path.stem == "loggers" and days is not None:
            last = dt.datetime.fromisoformat(table["time"].min()) + dt.timedelta(days=days)
            table = table[table["time"] < f"{last:%Y-%m-%d %H:%M}"]
        table.to_csv(folder / path.name, index=False)
    return folder


def make_enclosure(folder, which="demo_enclosure"):
    """Write the folder of an enclosure: the demo's records, as if they were real and their names told everything."""
    shutil.copytree(fieldkit.core.resource_dir("data") / which, folder)
    (folder / "truth.json").unlink()
    text = (folder / "enclosure.toml").read_text(encoding="utf-8")
    for old, new in (
        ('name = "Ridge lizard pair', f'name = "Regal bei Zwickenpflug, {SITE}'),
        ("invented = true", "invented = false"),
        ("[points.R1]", f"[points.{STATION}]"),
        ('point = "R1"', f'point = "{STATION}"'),
        ("[loggers.hide]", "[loggers.Hohlwein-1]"),
        ('id = "spot"', 'id = "Traudllampe"'),
        ('substrate = "slate"', f'substrate = "slate of {SITE}"'),
    ):
        assert old in text, old
        text = text.replace(old, new)
    text += f'\n[instruments.surface_c]\nwhat = "gun of {OBSERVERS["B"]}"\nerror = 1.0\n'
    (folder / "enclosure.toml").write_text(text, encoding="utf-8")
    for path in folder.glob("*.csv"):
        table = pd.read_csv(path, dtype=str, keep_default_na=False)
        table = table.replace({"R1": STATION, "hide": "Hohlwein-1", "spot": "Traudllampe", "L1": ANIMALS})
        if "observer" in table:
            table["observer"] = table["observer"].map(OBSERVERS)
        if path.stem in ("scans", "lamp_readings"):
            table["notes"] = ""
            table.loc[::7, "notes"] = NOTE
        table.to_csv(path, index=False)
    hand = f"time,point,surface_c,shade_air_c,notes\n2025-07-01 10:00,B1,36.5,24.0,{NOTE.replace(',', ';')}\n"
    (folder / "hand_readings.csv").write_text(hand + f"2025-07-01 10:05,{STATION},25.5,,\n", encoding="utf-8")
    return folder
