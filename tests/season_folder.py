"""A small good season folder for tests, and ways to break it; its numbers mean nothing."""

from pathlib import Path

import openpyxl

from fieldkit.records.season import settings

CHOICES = """set_id,time,animal_id,place_id,used,substrate,shade_air_c,surface_c,irradiance_w_m2,observer,notes
S1,2023-05-14 10:20,R1,P1,1,rock,21.5,33.0,640,A,
S1,2023-05-14 10:22,R1,P2,0,grass,21.4,25.5,410,A,"cloud, thin"
S1,2023-05-14 10:24,R1,P3,0,wood,21.6,28.0,520,A,
S2,2023-05-15 09:05,R2,P1,1,rock,18.0,,600,B,surface not read
S2,2023-05-15 09:07,R2,P4,0,sand,18.2,24.5,350,B,
"""
LOGGERS = """time,logger_id,value
2023-05-14 10:00,shade-1,20.1
2023-05-14 10:10,shade-1,20.3
2023-05-14 10:00,model-1,95.0
2023-05-14 10:10,model-1,96.8
"""
SCANS = """time,animal_id,behaviour,place_id,body_temperature_c,count,observer
2023-05-14 10:00,R1,basking,P1,33.2,1,A
2023-05-14 10:15,R1,retreat,P9,,1,A
"""
WEATHER = """station_id,date,tmax_c,tmin_c
airfield,2023-05-14,24.0,11.0
airfield,2023-05-15,22.5,10.0
"""
FILES = {
    "season.toml": settings.EXAMPLE,
    "choices.csv": CHOICES,
    "loggers.csv": LOGGERS,
    "scans.csv": SCANS,
    "weather.csv": WEATHER,
}


def make(folder):
    """Write the good folder."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in FILES.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def swap(folder, file, old, new, encoding="utf-8"):
    """Replace a piece of a file; it has to be there exactly once."""
    text = (folder / file).read_text(encoding="utf-8")
    assert text.count(old) == 1, (file, old, text.count(old))
    (folder / file).write_text(text.replace(old, new), encoding=encoding)


def workbook(folder, sheets, name="season.xlsx"):
    """Write a workbook from lists of rows."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    book.save(folder / name)
    return book
