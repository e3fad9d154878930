"""Folders that a stranger made: each is answered in a sentence, none hangs, fills memory or shows other files."""

import errno
import os
import re
import shutil
import zipfile
from pathlib import Path

import pytest
from season_folder import CHOICES, make, swap, workbook

from fieldkit import cli
from fieldkit.records.enclosure import settings as enclosure_settings
from fieldkit.records.reading import opening

posix = pytest.mark.skipif(os.name == "nt", reason="pipes, devices and owners are POSIX")


@pytest.fixture
def good(tmp_path):
    return make(tmp_path / "good")


def enclosure(folder):
    folder.mkdir(exist_ok=True)
    (folder / "enclosure.toml").write_text(enclosure_settings.EXAMPLE, encoding="utf-8")
    (folder / "readings.csv").write_text("time,logger_id,value\n2024-01-14 10:20,air-1,23.5\n")
    return folder


def replaced(name, make_it):
    def act(folder):
        (folder / name).unlink(missing_ok=True)
        make_it(folder / name)

    return act


def text(name, content):
    return replaced(name, lambda path: path.write_bytes(content.encode() if isinstance(content, str) else content))


def beside(folder):
    """A file outside of the folder, with what nobody shall see."""
    path = folder.parent / "secret.csv"
    path.write_text(CHOICES.replace("rock", "SECRET"))
    return path


def linked(folder):
    (folder / "choices.csv").unlink()
    (folder / "choices.csv").symlink_to(beside(folder))


def linked_folder(folder):
    (folder / "choices.csv").unlink()
    (folder.parent / "elsewhere").mkdir()
    shutil.copy(beside(folder), folder.parent / "elsewhere" / "a.csv")
    (folder / "choices").symlink_to(folder.parent / "elsewhere")


def in_circles(path):
    path.symlink_to(path.name)


def book(change):
    """The choices as a workbook whose sheet was changed in its XML."""

    def act(folder):
        (folder / "choices.csv").unlink()
        rows = [line.split(",")[:11] for line in CHOICES.replace('"cloud, thin"', "cloud").splitlines()]
        workbook(folder, {"choices": rows}, "choices.xlsx")
        path = folder / "choices.xlsx"
        with zipfile.ZipFile(path) as archive:
            parts = {name: archive.read(name) for name in archive.namelist()}
        sheet = "xl/worksheets/sheet1.xml"
        parts[sheet] = change(parts[sheet])
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, data in parts.items():
                archive.writestr(name, data)

    return act


def far_cell(sheet):
    return sheet.replace(b"</row></sheetData>", b'<c r="XFD6" t="n"><v>1</v></c></row></sheetData>')


def merged(sheet):
    return sheet.replace(
        b"</sheetData>", b'</sheetData><mergeCells count="1"><mergeCell ref="A9:XFD1048576"/></mergeCells>'
    )


def bomb(sheet):
    return sheet.replace(b"</sheetData>", b"</sheetData>" + b" " * 600_000_000)


SETTINGS = "season.toml"
# What is done to a good folder, and words of what is said.
STRANGE = {
    "a pipe for settings": (replaced(SETTINGS, os.mkfifo), "no plain file but a pipe"),
    "a pipe for a table": (replaced("choices.csv", os.mkfifo), "no plain file but a pipe"),
    "a folder for settings": (replaced(SETTINGS, os.mkdir), "no plain file"),
    "an endless device": (
        replaced("choices.csv", lambda path: path.symlink_to("/dev/zero")),
        "lies outside the folder",
    ),
    "a device for settings": (replaced(SETTINGS, lambda path: path.symlink_to("/dev/zero")), "lies outside the folder"),
    "a link that leads out": (linked, "lies outside the folder"),
    "a folder that leads out": (linked_folder, "lies outside the folder"),
    "a link in circles": (replaced("choices.csv", in_circles), "cannot be opened"),
    "settings too large": (text(SETTINGS, "#" * 3_000_000), "larger than 2 MB"),
    "a line of 131,073 characters": (text("choices.csv", CHOICES + "S9," + "x" * 131_073 + "\n"), "longest line"),
    "a header of 131,073 characters": (text("choices.csv", "x" * 131_073 + "," + CHOICES), "longest line"),
    "a zone that no place has": (
        lambda folder: swap(folder, SETTINGS, 'timezone = "America/New_York"', 'timezone = "UTC+24:00"'),
        "There is no such time zone",
    ),
    "brackets within brackets": (text(SETTINGS, "a = " + "[" * 100_000), "without end"),
    "sections within sections": (text(SETTINGS, "[" + ".".join("a" * 3000) + "]\nb = 1"), "without end"),
    "a number of 5,000 digits": (text(SETTINGS, "a = " + "9" * 5000), "thousands of digits"),
    "a cell at the last column": (book(far_cell), "far to the right, XFD6"),
    "a sheet merged whole": (book(merged), "cells are merged"),
    "a workbook that unpacks without end": (book(bomb), "unpacks to more than 500 MB"),
}


@posix
@pytest.mark.parametrize("case", STRANGE)
def test_strange_files_are_said(good, capsys, case):
    change, words = STRANGE[case]
    change(good)
    assert cli.main(["check", str(good)]) == cli.MISTAKE
    said = "".join(capsys.readouterr())
    assert words in " ".join(said.split()), said
    assert "SECRET" not in said and "inside fieldkit" not in said


@posix
def test_a_link_inside_the_folder_is_read(good):
    (good / "choices.csv").rename(good / "first.txt")
    (good / "choices.csv").symlink_to(good / "first.txt")
    assert cli.main(["check", str(good)]) == cli.OK


@posix
def test_a_file_name_that_is_not_utf8_is_said(good, capsys):
    (good / "choices").mkdir()
    os.rename(os.fsencode(good / "choices.csv"), os.fsencode(good / "choices") + b"/caf\xe9.csv")
    assert cli.main(["check", str(good)]) == cli.MISTAKE
    said = capsys.readouterr().out
    assert r"choices/caf\udce9.csv" in said and "bytes that are no letters" in said


@pytest.mark.parametrize("name", ["choices.csv", "season.toml", ""])
def test_what_may_not_be_read_is_said(good, monkeypatch, capsys, name):
    """As the system refuses it; whoever runs the tests may be allowed to read everything."""
    real_open, real_list = os.open, Path.iterdir

    def refuse(path):
        if Path(path) == good / name:
            raise PermissionError(errno.EACCES, "Permission denied", str(path))

    def opened(path, *options, **named):
        refuse(path)
        return real_open(path, *options, **named)

    def listed(path):
        refuse(path)
        return real_list(path)

    monkeypatch.setattr(opening.os, "open", opened)
    monkeypatch.setattr(Path, "iterdir", listed)
    assert cli.main(["check", str(good)]) == cli.MISTAKE
    said = " ".join("".join(capsys.readouterr()).split())
    assert "you may not read" in said or "The folder cannot be opened (Permission denied)" in said
    assert "inside fieldkit" not in said


def test_a_spectrum_lies_in_the_folder_of_its_enclosure(tmp_path, capsys):
    folder = enclosure(tmp_path / "cage")
    secret = tmp_path / "secret.csv"
    secret.write_text("wavelength_nm,irradiance_w_m2_nm\n" + "".join(f"{nm},0.SECRET\n" for nm in range(300, 400)))
    for name in ("../secret.csv", str(secret)):
        toml, changed = re.subn(
            r'^spectrum = ".*?"', f'spectrum = "{name}"', enclosure_settings.EXAMPLE, flags=re.MULTILINE
        )
        assert changed
        (folder / "enclosure.toml").write_text(toml, encoding="utf-8")
        assert cli.main(["audit", str(folder), "--targets", str(folder / "none.toml")]) == cli.MISTAKE
        said = "".join(capsys.readouterr())
        assert "lies outside the folder" in said and "SECRET" not in said


@posix
def test_strange_enclosures_are_said(tmp_path, capsys):
    for number, (name, make_it) in enumerate(
        [
            ("enclosure.toml", os.mkfifo),
            ("readings.csv", os.mkfifo),
            ("readings.csv", lambda p: p.symlink_to("/dev/zero")),
        ]
    ):
        folder = enclosure(tmp_path / f"cage{number}")
        replaced(name, make_it)(folder)
        assert cli.main(["audit", str(folder), "--targets", str(folder / "none.toml")]) == cli.MISTAKE
        assert "no plain file" in (said := " ".join("".join(capsys.readouterr()).split())) or "lies outside" in said
    folder = enclosure(tmp_path / "deep")
    for content in ("a = " + "[" * 100_000, "a = " + "9" * 5000, "[" + ".".join("a" * 3000) + "]\nb = 1"):
        (folder / "enclosure.toml").write_text(content)
        assert cli.main(["audit", str(folder), "--targets", str(folder / "none.toml")]) == cli.MISTAKE
        assert "thousands of digits" in " ".join("".join(capsys.readouterr()).split())
    folder = enclosure(tmp_path / "aims")
    for content in ("a = " + "[" * 100_000, "a = " + "9" * 5000, b"\xff\xfe\x00"):
        (folder / "targets.toml").write_bytes(content if isinstance(content, bytes) else content.encode())
        assert cli.main(["audit", str(folder)]) == cli.MISTAKE
        assert "targets.toml" in capsys.readouterr().err


def test_limits_do_not_refuse_a_long_season(tmp_path):
    path = tmp_path / "a"
    path.write_bytes(b"x" * 1000)
    assert opening.read(path, limit=1000) == b"x" * 1000
    with pytest.raises(opening.NotOpened):
        opening.read(path, limit=999)
    # 30 loggers, a reading a minute for a year, in one file.
    assert 30 * 366 * 24 * 60 * len("2023-05-14 10:00:00,north-wall-1,20.15\n") < opening.TABLE_BYTES
