"""Sharing: open formats that readers of others accept, and animals that stay where they cannot be found."""

import dataclasses
import datetime as dt
import importlib.util
import subprocess
import sys
import xml.etree.ElementTree as ET
import zipfile
from decimal import Decimal
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from season_folder import make, swap

import fieldkit
from fieldkit import cli
from fieldkit.core import FieldkitError
from fieldkit.records.season.reader import Site
from fieldkit.report import share
from fieldkit.report.share import citation, darwin_core
from fieldkit.report.share import filter as giving_away

ROOT = Path(__file__).resolve().parent.parent
CHOICE = {"licence": "CC-BY-4.0", "scientific_name": "Genus species"}
SECRET_NOTE = "third ledge above the Old Quarry gate; 36.18123 -80.31456; IMG_2041.JPG"


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    """A small season with everything that could give its place away."""
    folder = make(tmp_path_factory.mktemp("season") / "Old Quarry records")
    text = (folder / "season.toml").read_text(encoding="utf-8")
    swap(folder, "choices.csv", "surface not read", SECRET_NOTE)
    swap(folder, "choices.csv", "P1,1,rock,18.0", "P1,1,=SUM(1+1),18.0")
    swap(folder, "choices.csv", "S1,2023-05-14 10:20,R1,P1", "S1,2023-05-14 10:20,R1,quarry gate")
    swap(folder, "scans.csv", "retreat,P9", "basking on the old quarry gate,P9")
    with (folder / "scans.csv").open("a", encoding="utf-8") as file:
        file.write("2023-05-14 10:30,,basking,,,0,A\n")
    assert 'name = "' in text
    read = fieldkit.read_season(folder)
    site = dataclasses.replace(read.site, name="the Old Quarry", latitude_deg=36.18123, longitude_deg=-80.31456)
    return dataclasses.replace(read, site=site)


@pytest.fixture(scope="module")
def shared(season, tmp_path_factory):
    return share.write(season, tmp_path_factory.mktemp("out") / "shared", **CHOICE)


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    season = fieldkit.demo_season()
    out = tmp_path_factory.mktemp("demo") / "shared"
    return season, share.write(season, out, licence="CC0-1.0", allow_invented=True)


def archive_texts(path):
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name).decode() for name in archive.namelist()}


def core_of(shared):
    with zipfile.ZipFile(shared.path / "darwin_core.zip") as archive, archive.open("occurrence.csv") as file:
        return pd.read_csv(file, dtype=str, keep_default_na=False)


# --- position ---------------------------------------------------------------------------------------------------------


def test_added_uncertainty_is_the_published_one(published):
    for row in published("share").itertuples():
        found = share.cell_diagonal(row.latitude_deg, precision=str(row.precision))
        assert found == pytest.approx(row.expected, abs=row.tolerance), row.case


@pytest.mark.parametrize(
    ("value", "precision", "expected"),
    [
        (36.3, "0.1", "36.3"),  # binary 36.3 / 0.1 is 362.99…
        (0.3, "0.1", "0.3"),
        (36.19999999, "0.1", "36.1"),
        (-80.3199, "0.1", "-80.3"),  # towards zero, not towards minus infinity
        (-0.05, "0.1", "0.0"),
        (-80.3199, "0.001", "-80.319"),
        (179.99, "0.1", "179.9"),
        (-33.0, "0.01", "-33.00"),
    ],
)
def test_coordinates_are_cut_off_not_rounded(value, precision, expected):
    assert str(share.cut_off(value, precision=precision)) == expected


@pytest.mark.parametrize("precision", share.PRECISIONS)
def test_true_position_lies_within_the_stated_uncertainty(precision):
    """The distance on a sphere from the published point never exceeds what is published as uncertainty."""
    rng = np.random.default_rng(6)
    for latitude, longitude in zip(rng.uniform(-89, 89, 300), rng.uniform(-180, 180, 300)):
        site = Site(name="x", latitude_deg=latitude, longitude_deg=longitude, elevation_m=10.0, timezone="UTC")
        told = share.publish_position(site, coordinates=precision)
        a, b = np.radians([latitude, float(told.latitude)])
        turn = np.radians(longitude - float(told.longitude))
        chord = np.sin((b - a) / 2) ** 2 + np.cos(a) * np.cos(b) * np.sin(turn / 2) ** 2
        assert 2 * 6378137 * np.arcsin(np.sqrt(chord)) <= told.uncertainty_m + 1


def test_position_options(season):
    exact = share.publish_position(season.site, coordinates="exact")
    assert (exact.latitude, exact.longitude, exact.uncertainty_m) == ("36.18123", "-80.31456", None)
    assert share.publish_position(season.site, coordinates="exact", position_uncertainty_m=29.2).uncertainty_m == 30
    coarse = share.publish_position(season.site, position_uncertainty_m=500)
    assert coarse.uncertainty_m == int(np.ceil(share.cell_diagonal(Decimal("36.1")) + 500))
    with pytest.raises(FieldkitError, match="above 0"):
        share.publish_position(season.site, position_uncertainty_m=0)
    with pytest.raises(FieldkitError, match=r"none, 0\.1"):
        share.publish_position(season.site, coordinates="0.5")


# --- nothing gives the place away -------------------------------------------------------------------------------------


def everything_told(folder):
    """All text that leaves the house: files, names in NetCDF, attributes."""
    texts = []
    for path in folder.iterdir():
        if path.suffix == ".zip":
            texts += archive_texts(path).values()
        elif path.suffix == ".nc":
            with xr.open_dataset(path, decode_times=False) as data:
                texts += [
                    str(data.attrs),
                    str({k: (v.attrs, v.to_numpy().tolist()) for k, v in data.variables.items()}),
                ]
        else:
            texts.append(path.read_text(encoding="utf-8"))
    return "\n".join(texts)


@pytest.mark.parametrize(
    "secret",
    ["36.18", "80.31", "Quarry", "quarry gate", "IMG_2041", "ledge", "R1", "airfield", "shade-1", "Old Quarry records"],
)
def test_the_place_stands_nowhere_else_in_the_files(shared, secret):
    """A place told a second time, in free text or a file name, would undo the cutting off."""
    assert secret.lower() not in everything_told(shared.path).lower()


def test_what_stays_at_home_is_listed(shared):
    left = shared.left_out.set_index(["table", "what"])
    assert left.loc[("choices", "notes"), "rows"].sum() == 1
    assert left.loc[("scans", "behaviour"), "rows"].sum() == 1
    assert left.loc[("choices", "places not used"), "rows"].sum() == 3
    assert "behaviour" in (shared.path / "README.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("at 36.1812, -80.3107", True),
        ("36°10'52\" N", True),
        ("N 36.18 W 80.31", True),
        ("17S NU 62012 04315", True),
        ("620123 4004315", True),
        ("see D:\\photos\\lizard", True),
        ("~/photos", True),
        ("dsc0012.jpeg", True),
        ("https://example.org/p", True),
        ("rock", False),
        ("thin cloud, wind 0.8 m/s", False),
        ("infrared thermometer, emissivity 0.95", False),
        ("leaf litter/soil", False),
        ("2 of 3 basking", False),
    ],
)
def test_traces_of_a_place(text, found):
    assert bool(giving_away.trace(text)) is found


def test_notes_and_exact_coordinates_only_on_request_and_with_a_caution(season, tmp_path):
    result = share.write(season, tmp_path / "a", coordinates="exact", include_notes=True, **CHOICE)
    told = everything_told(result.path)
    assert SECRET_NOTE in told and "36.18123" in told
    assert any("collectors" in caution for caution in result.cautions)
    assert any("Read every note" in caution for caution in result.cautions)
    core = core_of(result)
    assert "dataGeneralizations" not in core and "coordinateUncertaintyInMeters" not in core
    assert darwin_core.check(result.path / "darwin_core.zip").empty


def test_without_any_coordinates(season, tmp_path):
    result = share.write(season, tmp_path / "a", coordinates="none", **CHOICE)
    core = core_of(result)
    assert "decimalLatitude" not in core and "geodeticDatum" not in core
    assert "<geographicCoverage>" not in archive_texts(result.path / "darwin_core.zip")["eml.xml"]
    with xr.open_dataset(result.path / "loggers.nc") as data:
        assert "lat" not in data.variables and "featureType" not in data.attrs


def test_a_title_that_names_the_place_is_pointed_at(season, tmp_path):
    result = share.write(season, tmp_path / "a", title="Lizards of the Old Quarry", **CHOICE)
    assert any("title" in caution for caution in result.cautions)


# --- invented animals do not get among real ones ----------------------------------------------------------------------


def test_invented_records_are_refused_unless_allowed_and_then_marked(demo):
    season, result = demo
    with pytest.raises(FieldkitError, match="invented"):
        share.write(season, result.path.with_name("never"), licence="CC0-1.0")
    assert not result.path.with_name("never").exists()
    core = core_of(result)
    assert core["basisOfRecord"].str.startswith("INVENTED").all()
    assert core["datasetName"].str.startswith("INVENTED").all()
    assert core["scientificName"].str.startswith("INVENTED").all()
    for path in result.path.glob("*.nc"):
        with xr.open_dataset(path) as data:
            assert "INVENTED" in data.attrs["title"] and "INVENTED" in data.attrs["source"]
    for name in ("CITATION.cff", "README.txt"):
        assert "INVENTED" in (result.path / name).read_text(encoding="utf-8")
    # A portal that checks the vocabulary refuses every one of its rows.
    found = darwin_core.check(result.path / "darwin_core.zip")
    assert set(found["term"]) == {"basisOfRecord"} and len(found) == len(core)


# --- Darwin Core ------------------------------------------------------------------------------------------------------


def test_archive_holds_to_the_standard(shared, published):
    path = shared.path / "darwin_core.zip"
    assert darwin_core.check(path).empty
    listed = published("share_terms").set_index("case")["expected"]
    for name in ("occurrence.csv", "measurementorfact.csv"):
        with zipfile.ZipFile(path) as archive, archive.open(name) as file:
            for column in pd.read_csv(file, nrows=0).columns:
                assert darwin_core.term(column) == listed[column]


def test_meta_is_as_the_schema_of_the_text_guide_says(shared):
    """Order, number and attributes of elements: tdwg_dwc_text.xsd (Darwin Core text guide), read by hand."""
    meta = ET.fromstring(archive_texts(shared.path / "darwin_core.zip")["meta.xml"])
    space = "{http://rs.tdwg.org/dwc/text/}"
    assert meta.tag == f"{space}archive" and set(meta.attrib) == {"metadata"}
    assert [part.tag for part in meta] == [f"{space}core", f"{space}extension"]
    allowed = {"linesTerminatedBy", "fieldsTerminatedBy", "fieldsEnclosedBy", "ignoreHeaderLines", "rowType"}
    for part, ident in zip(meta, ("id", "coreid")):
        assert set(part.attrib) <= allowed | {"encoding", "dateFormat"}
        tags = [child.tag.removeprefix(space) for child in part]
        assert tags[:2] == ["files", ident] and set(tags[2:]) == {"field"}
        for field in part.findall(f"{space}field"):
            assert int(field.get("index")) >= 0 and field.get("term").startswith("http")


def test_a_reader_of_others_reads_it_back(demo):
    """python-dwca-reader (PyPI) finds each used place with its measurements, as the season has them."""
    dwca = pytest.importorskip("dwca.read")
    season, result = demo
    used = season.choices[season.choices["used"] == 1].reset_index(drop=True)
    qualified = "http://rs.tdwg.org/dwc/terms/"
    with dwca.DwCAReader(str(result.path / "darwin_core.zip")) as archive:
        assert archive.descriptor.core.type == f"{qualified}Occurrence"
        rows = [(row.data, {e.data[f"{qualified}measurementType"]: e.data for e in row.extensions}) for row in archive]
    assert len(rows) == len(used) + len(season.sightings) + len(season.scans)
    for (data, found), expected in zip(rows, used.itertuples()):
        assert pd.Timestamp(data[f"{qualified}eventDate"]) == expected.time
        for column, kind in (("surface_c", "surface"), ("irradiance_w_m2", "irradiance")):
            value = getattr(expected, column)
            assert (kind in found) == (not pd.isna(value))
            if kind in found:
                assert float(found[kind][f"{qualified}measurementValue"]) == value
                stated = found[kind][f"{qualified}measurementAccuracy"]
                assert stated == f"{season.instrument_errors[column]:g} (standard deviation)"


def test_no_individuals_means_absent(shared):
    core = core_of(shared)
    absent = core[core["occurrenceStatus"] == "absent"]
    assert absent["individualCount"].tolist() == ["0"] and len(core) == 5


def test_cells_are_no_formulas(shared):
    assert "'=SUM(1+1)" in core_of(shared)["habitat"].tolist()[1]


def test_identifiers_do_not_change_from_one_writing_to_the_next(season, shared, tmp_path):
    again = share.write(season, tmp_path / "again", **CHOICE)
    ids = core_of(again)["occurrenceID"]
    assert ids.is_unique and (ids == core_of(shared)["occurrenceID"]).all()


BREAKS = {
    "uncertainty 0": ("occurrence.csv", "EPSG:4326,14", "EPSG:4326,0,14", "cells where"),
    "no such core row": ("measurementorfact.csv", "urn:uuid:", "urn:nothing:", "no such record"),
    "not well-formed": ("meta.xml", "</archive>", "", "not well-formed"),
    "no eml": ("meta.xml", "eml.xml", "other.xml", "missing"),
    "basis": ("occurrence.csv", "HumanObservation", "Human observation", "basisOfRecord"),
    "date": ("occurrence.csv", "2023-05-14T", "14.05.2023 ", "ISO 8601"),
    "status": ("occurrence.csv", ",0,absent", ",0,present", "absent"),
    "term": ("meta.xml", "http://rs.tdwg.org/dwc/terms/eventDate", "eventDate", "URI"),
    "latitude": ("occurrence.csv", ",36.1,", ",361,", "latitude"),
    "title": ("eml.xml", "title>", "heading>", "missing"),
}


@pytest.mark.parametrize("name", BREAKS)
def test_check_finds_what_is_broken(shared, tmp_path, name):
    file, old, new, says = BREAKS[name]
    texts = archive_texts(shared.path / "darwin_core.zip")
    assert old in texts[file]
    texts[file] = texts[file].replace(old, new)
    with zipfile.ZipFile(tmp_path / "broken.zip", "w") as archive:
        for part, text in texts.items():
            archive.writestr(part, text)
    found = darwin_core.check(tmp_path / "broken.zip")
    assert len(found) and found.astype(str).apply(" ".join, axis=1).str.contains(says).any()


# --- NetCDF -----------------------------------------------------------------------------------------------------------


def test_series_read_back_as_they_were(demo):
    season, result = demo
    with xr.open_dataset(result.path / "loggers.nc") as data:
        assert data.attrs["featureType"] == "timeSeries"
        names = [str(n) for n in data["station_name"].to_numpy().astype(str)]
        at = names.index("shade_air-1")
        found = data["air_temperature"][at].dropna("time").to_series()
    info = season.logger_info
    logger = info.loc[info["role"] == "shade_air", "logger_id"].iloc[0]
    expected = season.loggers[season.loggers["logger_id"] == logger].dropna().set_index("time")["value"]
    expected.index = expected.index.tz_convert("UTC").tz_localize(None)
    assert (found.index == expected.index.sort_values()).all()
    assert (found.to_numpy() == expected.sort_index().to_numpy()).all()


def test_daily_weather_has_bounds_of_local_days(demo):
    season, result = demo
    with xr.open_dataset(result.path / "weather_daily.nc", decode_coords="all") as data:
        bounds = pd.DatetimeIndex(data["time_bounds"].to_numpy().ravel()).tz_localize("UTC")
        assert data["tmax_c"].attrs["cell_methods"] == "time: maximum"
        assert data["lat"].to_numpy().tolist() == [36.0, 36.6, 36.3, 35.7]
        found = np.sort(data["tmax_c"].to_numpy(), axis=None)
        found = found[np.isfinite(found)]
    local = bounds.tz_convert(season.site.timezone)
    assert set(local.hour) == {0}
    assert (found == np.sort(season.weather["tmax_c"].dropna().to_numpy())).all()


def test_hourly_weather(season, tmp_path):
    times = pd.date_range("2023-05-14", periods=5, freq="h", tz=season.site.timezone)
    hourly = pd.DataFrame({"station_id": "airfield", "time": times, "air_temperature_c": [1.0, 2, np.nan, 4, 5]})
    result = share.write(dataclasses.replace(season, weather=hourly), tmp_path / "a", **CHOICE)
    with xr.open_dataset(result.path / "weather_hourly.nc") as data:
        assert data["air_temperature_c"].to_numpy()[0].tolist()[:2] == [1.0, 2.0]
        assert pd.Timestamp(data["time"].to_numpy()[0]) == times[0].tz_convert("UTC").tz_localize(None)


def run_checker(path):
    script = Path(sys.executable).with_name("compliance-checker")
    command = [str(script), "--test", "cf:1.8", "--criteria", "strict", str(path)]
    return subprocess.run(command, capture_output=True, text=True)


@pytest.mark.skipif(
    importlib.util.find_spec("compliance_checker") is None, reason="the CF checker compliance-checker is not installed"
)
@pytest.mark.parametrize("name", ["loggers.nc", "weather_daily.nc"])
def test_cf_checker_of_others_passes_and_is_awake(demo, tmp_path, name):
    """compliance-checker (PyPI), CF 1.8, strictest setting; a spoilt unit must be found."""
    _, result = demo
    done = run_checker(result.path / name)
    assert done.returncode == 0 and "All tests passed!" in done.stdout, done.stdout + done.stderr
    with xr.open_dataset(result.path / name, decode_times=False) as data:
        spoilt = data.load()
    spoilt["air_temperature" if name == "loggers.nc" else "tmax_c"].attrs["units"] = "W m-2"
    spoilt.to_netcdf(tmp_path / "spoilt.nc", engine="h5netcdf")
    assert run_checker(tmp_path / "spoilt.nc").returncode != 0


# --- citation ---------------------------------------------------------------------------------------------------------


def test_citation_file_of_the_project_is_in_step():
    assert (ROOT / "CITATION.cff").read_text(encoding="utf-8") == citation.of_project()


def test_citation_files_are_yaml_with_what_the_format_requires(shared):
    """Required keys and types of authors: Citation File Format 1.2.0, doi:10.5281/zenodo.5171937, schema guide."""
    yaml = pytest.importorskip("yaml")
    odd = citation.citation_file(
        kind="dataset",
        title='He said: "no" # really\n- x',
        authors=["Núñez, A.", "The club: north", "Plain"],
        licence="CC0-1.0",
        released=dt.date(2026, 1, 2),
    )
    for text in ((shared.path / "CITATION.cff").read_text(encoding="utf-8"), odd, citation.of_project()):
        read = yaml.safe_load(text)
        assert {"cff-version", "message", "title", "authors"} <= set(read) and read["cff-version"] == "1.2.0"
        assert all(set(a) in ({"name"}, {"family-names", "given-names"}) for a in read["authors"])
    assert yaml.safe_load(odd)["title"] == 'He said: "no" # really - x'
    assert yaml.safe_load(odd)["authors"][0] == {"family-names": "Núñez", "given-names": "A."}


# --- refusals ---------------------------------------------------------------------------------------------------------


def test_refusals_are_sentences_and_leave_nothing_behind(season, tmp_path):
    with pytest.raises(FieldkitError, match="terms under which"):
        share.write(season, tmp_path / "a", scientific_name="Genus species")
    with pytest.raises(FieldkitError, match="scientific name"):
        share.write(season, tmp_path / "a", licence="CC0-1.0", scientific_name="wall lizard")
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "mine.txt").write_text("mine")
    with pytest.raises(FieldkitError, match="nothing was changed"):
        share.write(season, tmp_path / "full", **CHOICE)
    empty = dataclasses.replace(season, choices=None, sightings=None, scans=None)
    with pytest.raises(FieldkitError, match="no occurrence"):
        share.write(empty, tmp_path / "a", **CHOICE)
    assert [p.name for p in tmp_path.iterdir()] == ["full"]
    assert [p.name for p in (tmp_path / "full").iterdir()] == ["mine.txt"]


def test_from_the_command_line(tmp_path, capsys):
    demo_folder = str(fieldkit.demo_season().path)
    assert cli.main(["share", demo_folder, "--out", str(tmp_path / "a"), "--licence", "CC0-1.0"]) == cli.MISTAKE
    assert "invented" in capsys.readouterr().err
    command = ["share", demo_folder, "--out", str(tmp_path / "a"), "--licence", "CC0-1.0", "--invented"]
    assert cli.main([*command, "--authors", "Roe, R.", "A club", "--coordinates", "none"]) == cli.OK
    printed = capsys.readouterr().out
    assert "without coordinates" in printed and "do not send this to any portal" in printed
    assert 'family-names: "Roe"' in (tmp_path / "a" / "CITATION.cff").read_text(encoding="utf-8")


def test_nothing_is_given_away_into_the_records_themselves(tmp_path):
    season = fieldkit.read_season(make(tmp_path / "season"))
    for out in (tmp_path / "season", tmp_path / "season" / "choices", tmp_path):
        with pytest.raises(FieldkitError, match="lies inside"):
            share.write(season, out, licence="CC0-1.0", scientific_name="Genus species")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["season"]
