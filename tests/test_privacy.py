"""Nothing that others get gives away where the animals are or who watched them."""

import base64
import functools
import io
import json
import re
import struct
import zipfile
import zlib

import nbformat
import numpy as np
import pandas as pd
import pytest
import xarray as xr
from marked_season import ELEVATION, LATITUDE, LONGITUDE, MARKS, OBSERVERS, SITE, make

import fieldkit
from fieldkit.classroom import folder as classroom
from fieldkit.core import FieldkitError
from fieldkit.physics import sun
from fieldkit.records import places
from fieldkit.report import share, writeup
from fieldkit.report.privacy import at_home, gate, public, texts
from fieldkit.report.share import reproducible

CHOICE = {"licence": "CC-BY-4.0", "scientific_name": "Genus species"}


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    return fieldkit.read_season(make(tmp_path_factory.mktemp("marked") / "Quendelbach 2025", days=10))


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """The same without scans and loggers."""
    folder = tmp_path_factory.mktemp("marked") / "Quendelbach 2025"
    return fieldkit.read_season(make(folder, tables=("choices", "sightings", "weather")))


@pytest.fixture(scope="module")
def secrets(season):
    return at_home.of_season(season)


def told_by(folder):
    """All text of a folder by means of the test's own: nothing of the gate is used."""
    out = []
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        data = path.read_bytes()
        out.append(path.name)
        if path.suffix in (".zip", ".xlsx"):
            with zipfile.ZipFile(path) as archive:
                out += [archive.read(name).decode() for name in archive.namelist()]
        elif path.suffix == ".nc":
            with xr.open_dataset(path, decode_times=False) as held:
                held.load()
                out += [
                    str(held.attrs),
                    *(f"{n} {v.attrs} {v.to_numpy().ravel()[:50]}" for n, v in held.variables.items()),
                ]
        elif path.suffix == ".pdf":
            pypdf = pytest.importorskip("pypdf")
            reader = pypdf.PdfReader(path)
            out += [page.extract_text() for page in reader.pages] + [str(reader.metadata)]
            out += [str(n.get_object()) for page in reader.pages for n in page.get("/Annots", [])]
        elif path.suffix == ".png":
            out.append(re.sub(rb"IDAT.*IEND", b"", data, flags=re.DOTALL).decode("latin-1"))
        else:
            out.append(data.decode("utf-8"))
    # A picture inside a page is no text.
    return re.sub(r"[A-Za-z0-9+/=\\n]{400,}", " ", "\n".join(out)).casefold()


def marks_in(text):
    """Marks that a text holds; numbers only where they stand by themselves or as a coordinate does."""
    found = []
    for mark in MARKS:
        if re.fullmatch(r"[\d.]+", mark):
            if "." in mark and len(mark.partition(".")[2]) <= 3:
                pattern = (
                    rf"(?<![\d.]){re.escape(mark)}\d?\s*(?:°|n\b|w\b)|(?:lat\w*|lon\w*)\W{{1,6}}-?{re.escape(mark)}"
                )
            elif "." in mark:
                pattern = rf"(?<![\d.]){re.escape(mark)}(?!\d)"
            else:
                pattern = rf"(?:elevation|height)\w*\W{{1,6}}{mark}\b|\b{mark}(?:\.0)? ?m (?:above|a\.s)"
            found += [mark] if re.search(pattern, text) else []
        elif mark in text:
            found.append(mark)
    return found


# --- the rule for places ----------------------------------------------------------------------------------------------


def test_page_and_share_tell_the_same_cell(season):
    told = share.publish_position(season.site)
    cell = [places.cell(value) for value in (LATITUDE, LONGITUDE)]
    assert (told.latitude, told.longitude) == ("36.1", "-80.3") and told.elevation_m == (400, 500)
    assert places.in_words(season.site) == "36.1 to 36.2° N, 80.3 to 80.4° W, 400 to 500 m above the sea"
    for value, (low, high) in zip((LATITUDE, LONGITUDE), cell, strict=True):
        assert low <= value <= high and str(min(abs(low), abs(high))) in (told.latitude, told.longitude.lstrip("-"))


def test_a_public_place_is_the_same_for_all_of_a_cell_and_stays_what_it_is():
    rng = np.random.default_rng(11)
    for latitude, longitude, height in zip(
        rng.uniform(-90, 90, 300), rng.uniform(-180, 180, 300), rng.uniform(-400, 5000, 300), strict=True
    ):
        middle = places.middle(latitude, limit=90), places.middle(longitude, limit=180), places.middle_height(height)
        again = places.middle(middle[0], limit=90), places.middle(middle[1], limit=180), places.middle_height(middle[2])
        assert again == middle
        assert abs(middle[0] - latitude) <= 0.1 and abs(middle[1] - longitude) <= 0.1 and abs(middle[2] - height) <= 50


# --- a season that others may have ------------------------------------------------------------------------------------


def test_the_public_season_holds_the_records_and_none_of_the_marks(season, secrets, tmp_path):
    left = public.write(season, tmp_path / "p")
    assert marks_in(told_by(tmp_path / "p")) == []
    assert gate.search(tmp_path / "p", secrets).empty
    assert set(gate.search(season.path, secrets)["what"]) >= {
        *("the position of the site", "the height of the site", "an observer", "a note", "the place of a logger"),
        *("the name of the site", "the name of the season", "the name of an animal", "the name of a station"),
    }
    read = fieldkit.read_season(tmp_path / "p")
    kept = ["shade_air_c", "surface_c", "irradiance_w_m2", "used", "time"]
    pd.testing.assert_frame_equal(read.choices[kept], season.choices[kept], check_exact=True)
    pd.testing.assert_frame_equal(read.loggers[["time", "value"]], season.loggers[["time", "value"]], check_exact=True)
    for column in ("observer", "animal_id", "set_id"):
        known = season.choices[column].notna()
        pairs = set(zip(season.choices.loc[known, column], read.choices.loc[known, column], strict=True))
        assert len(pairs) == season.choices[column].nunique() == read.choices[column].nunique()
        # What sorts by name sorts as before: random draws over animals come out the same.
        assert sorted(pairs) == sorted(pairs, key=lambda pair: pair[1])
    assert {"notes", "a column of your own", "observer"} <= set(left["what"])


def test_all_places_of_a_cell_give_the_same_bytes(tmp_path):
    """Whatever is computed from the public season cannot tell its true place from any other in the cell."""
    written = []
    for number, (latitude, longitude, height) in enumerate(
        [(LATITUDE, LONGITUDE, ELEVATION), (36.1004, -80.3999, 401.0), (36.1999, -80.3001, 499.9)]
    ):
        folder = make(
            tmp_path / f"s{number}",
            latitude=latitude,
            longitude=longitude,
            elevation=height,
            tables=("choices", "sightings", "weather"),
        )
        public.write(fieldkit.read_season(folder), tmp_path / f"p{number}")
        written.append({path.name: path.read_bytes() for path in (tmp_path / f"p{number}").iterdir()})
    assert written[0] == written[1] == written[2]


def test_a_public_season_made_public_again_is_the_same(season, tmp_path):
    public.write(season, tmp_path / "once")
    public.write(fieldkit.read_season(tmp_path / "once"), tmp_path / "twice")
    for path in (tmp_path / "once").iterdir():
        assert path.read_bytes() == (tmp_path / "twice" / path.name).read_bytes(), path.name


def test_names_for_others_are_used_where_they_are_given(tmp_path):
    folder = make(tmp_path / "s", tables=("choices",))
    text = (folder / "season.toml").read_text(encoding="utf-8")
    text = text.replace(f'name = "{SITE}"', f'name = "{SITE}"\npublic_name = "a valley"')
    (folder / "season.toml").write_text(text, encoding="utf-8")
    public.write(fieldkit.read_season(folder), tmp_path / "p")
    assert fieldkit.read_season(tmp_path / "p").site.name == "a valley"


# --- the sun does not tell --------------------------------------------------------------------------------------------

DAYS = pd.date_range("2025-01-01", periods=500, freq="D")
ZONE = "America/New_York"


START = np.array([36.5, -80.6])


def published_by_the_sun(latitude_deg, longitude_deg):
    """What a write-up tells of the sun: day lengths (h) and solar noon (h, UTC) of 500 days."""
    told = sun.day_length(DAYS, latitude_deg=latitude_deg, longitude_deg=longitude_deg, timezone=ZONE)
    noon = told["solar_noon"].dt.tz_convert("UTC")
    clock = noon.dt.hour + noon.dt.minute / 60 + (noon.dt.second + noon.dt.microsecond / 1e6) / 3600
    return np.concatenate([told["day_length_h"].to_numpy(), clock.to_numpy()])


@functools.cache
def slopes():
    base = published_by_the_sun(*START)
    return np.column_stack([(published_by_the_sun(*(START + step)) - base) / 0.1 for step in 0.1 * np.eye(2)])


def found_place(told):
    """Least squares over what was published, with the very function that made it: the best an attacker can do."""
    place = START
    for _ in range(4):
        place = place + np.linalg.lstsq(slopes(), told - published_by_the_sun(*place), rcond=None)[0]
    return place


def test_the_attack_by_the_sun_is_a_real_one():
    exact = published_by_the_sun(LATITUDE, LONGITUDE)
    assert np.abs(found_place(exact) - [LATITUDE, LONGITUDE]).max() < 0.002
    # Rounding to a minute would not stop it: that is why the place is cut before anything is computed.
    minutes = np.round(exact * 60) / 60
    assert np.abs(found_place(minutes) - [LATITUDE, LONGITUDE]).max() < 0.02


def test_the_sun_gives_the_middle_of_the_cell_and_nothing_of_the_place(season):
    told = season.public_site
    found = found_place(published_by_the_sun(told.latitude_deg, told.longitude_deg))
    assert found == pytest.approx([36.15, -80.35], abs=0.002)
    assert np.abs(found - [LATITUDE, LONGITUDE]).max() > 0.03


# --- the gate ---------------------------------------------------------------------------------------------------------

PLACE = at_home.Place(what="the site", latitude_deg=LATITUDE, longitude_deg=LONGITUDE, elevation_m=ELEVATION)
HERE = at_home.Secrets(places=(PLACE,))


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("36.18347", True),
        ("36.1834", True),  # cut off
        ("36.1835", True),  # rounded
        ("-80.3129", True),
        ("−80,31291", True),
        ("36.183470000000001", True),
        ("latitude 36.18", True),
        ("'latitude_deg': 36.183,", True),
        ("36.18° N", True),
        ("36.18° north", True),
        ("36.18, -80.31", True),
        ("36.183 80.313", True),
        ("36° 11' N", True),
        ("36°11.01' N", True),
        ("36°11′00″ N", True),
        ("N 36 11.008", True),
        ("361100N", True),
        ("80° 18.77' W", True),
        ("801846W", True),
        ("437 m above the sea", True),
        ("elevation_m=437.0", True),
        ("height of the site: 440 m", True),
        ("1434 ft above sea level", True),
        ("36.18 °C", False),
        ("36.18", False),
        ("36.1834712", False),  # more digits than the position has: another number
        ("36.1 to 36.2° N, 80.3 to 80.4° W", False),
        ("latitude 36.15, longitude -80.35", False),  # the middle of the cell, which is published
        ("36° 9' N", False),
        ("437 rows", False),
        ("400 to 500 m above the sea", False),
        ("elevation_m = 450.0", False),
        ("136.18347", False),
    ],
)
def test_forms_of_a_place(text, found):
    assert bool(list(gate.in_text(text, HERE))) is found


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("seen by Zwickenpflug", True),
        ("ZWICKENPFLUG, EMILIA", True),
        ("xaverhalde_am_quendelbach.csv", True),
        ("beim Hochsitz", False),
        ("neben dem Hochsitz, 36.18347 N 80.31291 W", True),
        ("a lizard on a rock", False),
        ("/home/emilia/season", True),
        ("file:///C:/x", True),
        (r"C:\Users\emilia", True),
        ("radiation/air", False),
    ],
)
def test_forms_of_names_and_paths(secrets, text, found):
    assert bool(list(gate.in_text(text, secrets))) is found


def png(kind, body):
    def chunk(name, data):
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + (chunk(kind, body) if kind else b"")
        + chunk(b"IDAT", zlib.compress(b"\0\0"))
        + chunk(b"IEND", b"")
    )


def packed(kind, secret):
    """A file of each kind that holds a text; None leaves it out."""
    text = secret or "nothing"
    if kind == "table.html":
        return f"<table><tr><th>station</th><th>lat_deg</th></tr><tr><td>1</td><td>{text}</td></tr></table>".encode()
    if kind == "picture.html":
        inside = base64.b64encode(png(b"tEXt", b"Comment\0" + text.encode("latin-1"))).decode()
        return f'<img src="data:image/png;base64,{inside}">'.encode()
    if kind == "entity.html":
        return "".join(f"&#{ord(letter)};" for letter in text).encode()
    if kind == "book.ipynb":
        book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("1")])
        book.cells[0].outputs = [nbformat.v4.new_output("stream", text=f"latitude {text}\n")]
        return nbformat.writes(book).encode()
    if kind == "picture.ipynb":
        book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("1")])
        image = base64.b64encode(png(b"zTXt", b"Comment\0\0" + zlib.compress(text.encode("latin-1")))).decode()
        book.cells[0].outputs = [nbformat.v4.new_output("display_data", {"image/png": image})]
        return nbformat.writes(book).encode()
    if kind == "about.json":
        return json.dumps({"results": [{"settings": {"latitude_deg": text}}]}, ensure_ascii=True).encode()
    if kind == "numbers.csv":
        return f"name,latitude,x\nstation,{text},1\n".encode()
    if kind == "drawing.svg":
        return f"<svg><!-- latitude {text} --></svg>".encode()
    if kind == "text.png":
        return png(b"iTXt", b"Comment\0\1\0\0\0" + zlib.compress(f"latitude {text}".encode()))
    if kind == "exif.png":
        return png(b"eXIf", f"MM latitude {text}".encode("latin-1"))
    if kind == "book.xlsx":
        import openpyxl

        book, file = openpyxl.Workbook(), io.BytesIO()
        book.active.append(["latitude", f"latitude {text}"])
        book.save(file)
        return file.getvalue()
    if kind == "deep.zip":
        file, inner = io.BytesIO(), io.BytesIO()
        with zipfile.ZipFile(inner, "w") as archive:
            archive.writestr("a.txt", f"latitude {text}")
        with zipfile.ZipFile(file, "w") as archive:
            archive.writestr("inner.zip", inner.getvalue())
        return file.getvalue()
    raise AssertionError(kind)


KINDS = (
    *("table.html", "picture.html", "entity.html", "book.ipynb", "picture.ipynb", "about.json", "numbers.csv"),
    *("drawing.svg", "text.png", "exif.png", "book.xlsx", "deep.zip"),
)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("secret", ["36.18347", "Zwickenpflug"])
def test_nothing_is_packed_too_well_to_be_found(secrets, tmp_path, kind, secret):
    (tmp_path / kind).write_bytes(packed(kind, None))
    gate.check(tmp_path, secrets)
    (tmp_path / kind).write_bytes(packed(kind, secret))
    with pytest.raises(gate.LeakError, match=re.escape(kind)):
        gate.check(tmp_path, secrets)


@pytest.mark.parametrize("secret", ["lat 36.18347", "Zwickenpflug"])
def test_netcdf_attributes_and_values_are_looked_at(secrets, tmp_path, secret):
    clean = xr.Dataset({"lat": ("station", [36.1])}, attrs={"title": "series"})
    clean.to_netcdf(tmp_path / "a.nc", engine="h5netcdf")
    gate.check(tmp_path, secrets)
    clean.assign_attrs(comment=secret).to_netcdf(tmp_path / "a.nc", engine="h5netcdf")
    with pytest.raises(gate.LeakError):
        gate.check(tmp_path, secrets)
    clean.assign(lat=("station", [LATITUDE])).to_netcdf(tmp_path / "a.nc", engine="h5netcdf")
    with pytest.raises(gate.LeakError):
        gate.check(tmp_path, secrets)


@pytest.mark.parametrize(
    "page",
    [
        "<p>seen by Zwickenpflug</p>",
        "<title>Zwickenpflug</title><p>x</p>",
        '<p><a href="https://example.org/zwickenpflug">x</a></p>',
        "<p>at 36.18347</p>",
    ],
)
def test_text_links_and_data_of_a_pdf_are_looked_at(secrets, tmp_path, page):
    weasyprint = pytest.importorskip("weasyprint", reason="the pdf extra is not installed")
    pytest.importorskip("pypdf", reason="the pdf extra is not installed")
    weasyprint.HTML(string="<p>nothing</p>").write_pdf(tmp_path / "a.pdf")
    gate.check(tmp_path, secrets)
    weasyprint.HTML(string=page).write_pdf(tmp_path / "a.pdf")
    with pytest.raises(gate.LeakError):
        gate.check(tmp_path, secrets)


def test_a_word_of_our_own_is_no_find_and_that_is_told(tmp_path):
    """An observer named after what the page speaks of anyway cannot be looked for; the list says so."""
    folder = make(tmp_path / "s", tables=("choices",))
    text = (folder / "choices.csv").read_text(encoding="utf-8").replace(OBSERVERS["B"], "Rock")
    (folder / "choices.csv").write_text(text, encoding="utf-8")
    found = at_home.of_season(fieldkit.read_season(folder))
    assert ("rock",) not in found.phrases and any("Rock" in one for one in found.unsearchable)
    public.write(fieldkit.read_season(folder), tmp_path / "p")
    assert "Rock" not in set(pd.read_csv(tmp_path / "p" / "choices.csv")["observer"])


# --- what goes out ----------------------------------------------------------------------------------------------------


def test_what_is_shared_holds_no_mark(season, tmp_path):
    result = share.write(season, tmp_path / "a", **CHOICE)
    assert marks_in(told_by(result.path)) == []


@pytest.mark.parametrize(("precision", "told", "finer"), [("0.01", "36.18", "36.183"), ("0.001", "36.183", "36.1834")])
def test_shared_coordinates_are_no_finer_than_asked(small, tmp_path, precision, told, finer):
    text = told_by(share.write(small, tmp_path / "a", coordinates=precision, **CHOICE).path)
    assert f",{told},-80.31" in text and finer not in text


def test_a_title_that_names_the_place_stops_the_sharing(small, tmp_path):
    with pytest.raises(gate.LeakError, match="the name of the site"):
        share.write(small, tmp_path / "a", title=f"Lizards of {SITE}", **CHOICE)
    assert not (tmp_path / "a").exists() and list(tmp_path.iterdir()) == []
    # Whoever signs wants to be named.
    share.write(small, tmp_path / "a", authors=["Zwickenpflug, Emilia"], **CHOICE)


@pytest.fixture(
    scope="module", params=[["05"], pytest.param(["01", "05", "14"], marks=pytest.mark.slow)], ids=["one", "three"]
)
def written(request, tmp_path_factory):
    """A write-up of the marked season by the real notebooks that once told its place; by default by one of them."""
    base = tmp_path_factory.mktemp("written")
    folder = make(base / "Quendelbach 2025", days=8, tables=("choices", "sightings", "scans", "loggers"))
    return folder, writeup.write(folder, base / "out", only=request.param, authors=["The club"], progress=False)


def test_a_write_up_holds_no_mark(written):
    folder, done = written
    text = told_by(done.path)
    assert (done.table["state"] == "done").all() and len(text) > 100_000
    assert marks_in(text) == [] and str(folder).casefold() not in text
    assert "36.1 to 36.2° n, 80.3 to 80.4° w, 400 to 500 m above the sea" in text
    assert not gate.search(done.path, at_home.of_season(fieldkit.read_season(folder))).size
    # The hash of a file with the exact place could be guessed from all places of the cell: it is not told either.
    assert fieldkit.read_season(folder).input_hash not in text


def test_day_lengths_drawn_in_a_write_up_give_no_place(written):
    """Least squares over the drawn hours of daylight: the latitude of the cell's middle comes out."""
    _, done = written
    drawn = [pd.read_csv(path) for path in sorted(done.path.glob("figures/*.csv"))]
    series = [part for one in drawn for name, part in one.groupby("series") if "sun up" in name]
    assert series, [list(one["series"].unique()) for one in drawn]
    part = series[0]
    days = pd.DatetimeIndex(pd.to_datetime(part["x"])).tz_localize(None).normalize()

    def lengths(latitude):
        return sun.day_length(days, latitude_deg=latitude, longitude_deg=-80.35, timezone=ZONE)[
            "day_length_h"
        ].to_numpy()

    # Over so small a range day lengths are straight lines in the latitude.
    low, high = lengths(36.0), lengths(36.3)
    found = 36.0 + 0.3 * np.sum((part["y"] - low) * (high - low)) / np.sum((high - low) ** 2)
    assert found == pytest.approx(36.15, abs=0.01) and abs(found - LATITUDE) > 0.02


def test_the_exact_place_goes_out_on_request_with_a_caution(small, tmp_path):
    done = writeup.write(small.path, tmp_path / "out", only=["14"], exact_place=True, pdf=False, progress=False)
    text = told_by(done.path)
    assert "36.18347" in text and any("EXACT" in caution for caution in done.cautions)
    assert [mark for mark in marks_in(text) if not re.match(r"[\d.]+", mark)] == []


@pytest.mark.slow
def test_others_compute_it_again_from_what_is_shared(small, tmp_path, monkeypatch):
    only = ["08"]
    done = writeup.write(small.path, tmp_path / "out", only=only, pdf=False, progress=False)
    full = reproducible.what_moves
    monkeypatch.setattr(reproducible, "what_moves", lambda season, progress: full(season, only=only, progress=False))
    shared = share.write(small, tmp_path / "shared", reproducible=True, **CHOICE)
    assert marks_in(told_by(shared.path)) == []
    again = writeup.reproduce(done.path, shared.path / "season", progress=False)
    assert again.reproduced, again.table.to_string()
    # In a corner the site lies 50 m lower and the stations 50 m higher, or the other way round: 0.65 °C at 6.5 °C per
    # 1,000 m (ISO 2533).
    moved = pd.read_csv(shared.path / "what_moves.csv")
    bands = moved[moved["file"].str.endswith("seasonal_air_temperature.csv") & moved["column"].str.fullmatch("low_c")]
    assert bands["largest_change"].max() == pytest.approx(0.65, abs=0.01)
    told = (shared.path / "README.txt").read_text(encoding="utf-8")
    assert "every number comes out again" in told and "low_c" in told


def test_targets_and_cards_are_made_from_the_public_season(season, tmp_path, monkeypatch):
    """An audit prints targets, and saves and prints them on a card, that come from a season: it gets the public one."""
    from fieldkit import cli
    from fieldkit.captive import targets

    given = []

    def from_season(told, **_):
        given.append(told)
        raise FieldkitError("far enough")

    monkeypatch.setattr(targets, "from_season", from_season)
    assert cli.main(["audit", str(fieldkit.demo_enclosure().path), "--season", str(season.path)]) == 2
    (told,) = given
    assert (told.site.latitude_deg, told.site.longitude_deg, told.site.elevation_m) == (36.15, -80.35, 450.0)
    assert (
        marks_in(str([vars(told.site), told.name, told.choices["observer"].unique(), told.settings]).casefold()) == []
    )


def test_the_folder_for_a_class_holds_nothing_of_this_computer(tmp_path):
    classroom.write(tmp_path / "class")
    assert gate.search(tmp_path / "class", at_home.of_computer()).empty
    assert str(tmp_path) not in told_by(tmp_path / "class")


def test_errors_are_sentences(season, secrets, tmp_path):
    (tmp_path / "a.txt").write_text(f"at {SITE}", encoding="utf-8")
    with pytest.raises(FieldkitError) as caught:
        gate.check(tmp_path, secrets)
    assert "a.txt" in str(caught.value) and SITE not in str(caught.value)
    # What cannot be unpacked is searched as it stands.
    assert list(texts.of_bytes("broken.zip", b"PK\x03\x04 broken")) == [("broken.zip", "PK\x03\x04 broken")]
