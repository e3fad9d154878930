"""A season as a Darwin Core archive: occurrences, their measurements, and what the files are (TDWG, text guide)."""

import csv
import datetime as dt
import io
import re
import uuid
import xml.etree.ElementTree as ET
import zipfile

import pandas as pd

from fieldkit.core import FieldkitError
from fieldkit.records import places
from fieldkit.records import schema as schemas
from fieldkit.records.reading import headers
from fieldkit.records.spreadsheet import safe_cell

DWC = "http://rs.tdwg.org/dwc/terms/"
DCTERMS = "http://purl.org/dc/terms/"
TEXT = "http://rs.tdwg.org/dwc/text/"
EML = "https://eml.ecoinformatics.org/eml-2.2.0"
_TERMS_ELSEWHERE = {"license": DCTERMS}
# dwc:basisOfRecord takes the names of these classes.
_BASES = {
    "HumanObservation",
    "MachineObservation",
    "Occurrence",
    "PreservedSpecimen",
    "FossilSpecimen",
    "LivingSpecimen",
    "MaterialSample",
    "MaterialEntity",
    "MaterialCitation",
}
_REQUIRED = ("occurrenceID", "basisOfRecord", "eventDate", "scientificName", "occurrenceStatus")
_NOT_REAL = "INVENTED: not an occurrence"
_PROTOCOLS = {
    "choices": "Place used by an animal, read within minutes together with places that it could have taken",
    "sightings": "Chance encounter",
    "scans": "Look at an animal, or count, at a time fixed beforehand",
}
# Archives of one season come out the same byte for byte, whenever they are written on one day.
_ZIP_TIME = (1980, 1, 1, 0, 0, 0)


def write(season, path, *, about, position, filter_):
    """Write the archive, read it back and check it.

    Parameters
    ----------
    season : Season
        What was recorded.
    path : pathlib.Path
        The zip file.
    about : About
        Title, authors, terms.
    position : Position
        What is told of the place.
    filter_ : giving_away.Filter
        Keeps at home what would give the place away.

    Returns
    -------
    list of tuple
        (file, what it holds).

    Raises
    ------
    FieldkitError
        When the season has nothing that can be an occurrence.
    """
    occurrences, measurements = tables(season, about=about, position=position, filter_=filter_)
    if occurrences.empty:
        raise FieldkitError(
            "This season has no choices, sightings or scans: without a sighting of an animal there is no occurrence."
        )
    parts = {
        "occurrence.csv": _csv(occurrences),
        "measurementorfact.csv": _csv(measurements),
        "meta.xml": _meta(occurrences.columns, measurements.columns),
        "eml.xml": _eml(about, position),
    }
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(zipfile.ZipInfo(name, _ZIP_TIME), text, zipfile.ZIP_DEFLATED)
    found = check(path)
    if about.invented:
        found = found[found["value"] != _NOT_REAL]
    if len(found):
        first = found.iloc[0]
        raise AssertionError(f"the archive does not hold to its standard: {first.to_dict()} and {len(found) - 1} more")
    return [
        (
            "darwin_core.zip",
            f"Darwin Core archive: {len(occurrences):,} occurrences, {len(measurements):,} measurements",
        )
    ]


def tables(season, *, about, position, filter_):
    """Occurrences and measurements, before they become files.

    Parameters
    ----------
    season, about, position, filter_
        As for `write`.

    Returns
    -------
    occurrences, measurements : pandas.DataFrame
        Columns are the names of Darwin Core terms; all text.
    """
    cores, facts = [], []
    for table in _PROTOCOLS:
        frame = getattr(season, table)
        if frame is None:
            continue
        _say_left_out(frame, table, filter_)
        if table == "choices":
            filter_.leave_out(
                table, "places not used", (frame["used"] != 1).sum(), "an unused place is no absence of the species"
            )
            frame = frame[frame["used"] == 1]
        if not len(frame):
            continue
        core = _occurrences(frame.reset_index(drop=True), table, about, position, filter_)
        cores.append(core)
        facts += _measurements(frame.reset_index(drop=True), table, core, season.instrument_errors, filter_)
    if season.gradient is not None:
        filter_.leave_out("gradient", "all", len(season.gradient), "animals in a laboratory are no wild occurrences")
    measurements = pd.concat(facts, ignore_index=True) if facts else pd.DataFrame(columns=_MEASUREMENT)
    occurrences = pd.concat(cores, ignore_index=True).fillna("") if cores else pd.DataFrame()
    # A column that nobody filled says nothing.
    empty = [c for c in occurrences if c not in _REQUIRED and (occurrences[c] == "").all()]
    return occurrences.drop(columns=empty), measurements


def _say_left_out(frame, table, filter_):
    known = set(schemas.TABLES[table].columns)
    for column in frame.columns.difference(list(known), sort=False):
        filter_.leave_out(table, column, frame[column].notna().sum(), "a column of your own: no Darwin Core term")
    for column, why in (
        ("observer", "names of persons became numbers"),
        ("place_id", "names of places became numbers"),
    ):
        if column in frame:
            filter_.leave_out(table, column, frame[column].notna().sum(), why)
    if "animal_id" in frame:
        filter_.leave_out(table, "animal_id", frame["animal_id"].notna().sum(), "names of animals became numbers")


def _occurrences(frame, table, about, position, filter_):
    blank = pd.Series("", index=frame.index, dtype=object)
    count = frame["count"].fillna(1).astype(int) if "count" in frame else pd.Series(1, index=frame.index)
    ids = {
        kind: filter_.number(kind, frame[column]) if column in frame else blank
        for kind, column in (("animal", "animal_id"), ("place", "place_id"), ("observer", "observer"))
    }
    when = frame["time"].map(lambda t: t.isoformat(timespec="minutes") if t.second == 0 else t.isoformat())
    event = filter_.number(f"{table}-set", frame["set_id"]) if "set_id" in frame else blank
    key = table + "|" + when + "|" + ids["animal"] + "|" + ids["place"] + "|" + event
    key = key + "|" + key.groupby(key).cumcount().astype(str)
    space = uuid.uuid5(uuid.NAMESPACE_URL, f"{about.title}|{about.first_day}|{about.last_day}")
    notes = filter_.notes(frame, table)
    mark = "INVENTED, no such animal was seen. " if about.invented else ""
    withheld = [position.withheld, "Names of places, animals and observers replaced by numbers."]
    withheld += [] if filter_.include_notes else ["Notes and photographs withheld."]
    low, high = position.elevation_m
    return pd.DataFrame(
        {
            "occurrenceID": key.map(lambda k: f"urn:uuid:{uuid.uuid5(space, k)}"),
            "basisOfRecord": _NOT_REAL if about.invented else "HumanObservation",
            "datasetName": about.title,
            "license": about.licence_url,
            "informationWithheld": " ".join(filter(None, withheld)),
            "dataGeneralizations": position.generalised,
            "recordedBy": ids["observer"],
            "individualCount": count.astype(str),
            "occurrenceStatus": count.map(lambda n: "present" if n else "absent"),
            "behavior": filter_.words(frame, table, "behaviour"),
            "occurrenceRemarks": mark + (blank if notes is None else notes),
            "organismID": ids["animal"],
            "eventID": event,
            "eventDate": when,
            "habitat": filter_.words(frame, table, "substrate"),
            "samplingProtocol": _PROTOCOLS[table],
            "locationID": ids["place"],
            "decimalLatitude": position.latitude or "",
            "decimalLongitude": position.longitude or "",
            "geodeticDatum": "EPSG:4326" if position.latitude else "",
            "coordinateUncertaintyInMeters": "" if position.uncertainty_m is None else str(position.uncertainty_m),
            "coordinatePrecision": position.precision_deg or "",
            "minimumElevationInMeters": str(low),
            "maximumElevationInMeters": str(high),
            "scientificName": about.scientific_name,
            "vernacularName": about.species if about.species != about.scientific_name else "",
            "kingdom": "" if about.invented else "Animalia",
        }
    ).map(lambda v: " ".join(str(v).split()))


_MEASUREMENT = [
    "occurrenceID",
    "measurementID",
    "measurementType",
    "measurementValue",
    "measurementAccuracy",
    "measurementUnit",
    "measurementDeterminedDate",
    "measurementMethod",
    "measurementRemarks",
]


def _measurements(frame, table, core, errors, filter_):
    parts = []
    for column, declared in schemas.TABLES[table].columns.items():
        limits = schemas.column_range(table, column)
        if limits is None or column == "count" or column not in frame or not frame[column].notna().any():
            continue
        values = frame[column].dropna()
        error = errors.get(column)
        ids = core.loc[values.index, "occurrenceID"]
        part = pd.DataFrame({"occurrenceID": ids, "measurementID": ids + ":" + column})
        part["measurementType"] = headers.stem(column).replace("_", " ")
        part["measurementValue"] = values.map(lambda v: f"{v:.12g}")
        part["measurementAccuracy"] = "" if error is None else f"{error:g} (standard deviation)"
        # UCUM and CF write 1 for a number without unit.
        part["measurementUnit"] = limits.unit or "1"
        part["measurementDeterminedDate"] = core.loc[values.index, "eventDate"]
        part["measurementMethod"] = filter_.method(column)
        part["measurementRemarks"] = declared.description
        parts.append(part[_MEASUREMENT])
    return parts


# --- files ------------------------------------------------------------------------------------------------------------


def _csv(table):
    text = io.StringIO()
    table.map(safe_cell).to_csv(text, index=False, lineterminator="\n", quoting=csv.QUOTE_MINIMAL)
    return text.getvalue()


def term(name):
    """URI of a Darwin Core term.

    Examples
    --------
    >>> term("eventDate"), term("license")
    ('http://rs.tdwg.org/dwc/terms/eventDate', 'http://purl.org/dc/terms/license')
    """
    return _TERMS_ELSEWHERE.get(name, DWC) + name


def _meta(core, extension):
    archive = ET.Element("archive", {"xmlns": TEXT, "metadata": "eml.xml"})
    for tag, id_tag, row_type, location, columns in (
        ("core", "id", "Occurrence", "occurrence.csv", core),
        ("extension", "coreid", "MeasurementOrFact", "measurementorfact.csv", extension),
    ):
        part = ET.SubElement(
            archive,
            tag,
            {
                "encoding": "UTF-8",
                "fieldsTerminatedBy": ",",
                "linesTerminatedBy": "\\n",
                "fieldsEnclosedBy": '"',
                "ignoreHeaderLines": "1",
                "rowType": DWC + row_type,
            },
        )
        ET.SubElement(ET.SubElement(part, "files"), "location").text = location
        ET.SubElement(part, id_tag, {"index": "0"})
        for index, name in enumerate(columns):
            if tag == "core" or index:
                ET.SubElement(part, "field", {"index": str(index), "term": term(name)})
    return _xml(archive)


def _eml(about, position):
    today = dt.datetime.now(dt.UTC).date().isoformat()
    root = ET.Element(
        "eml:eml",
        {"xmlns:eml": EML, "packageId": f"fieldkit-{today}", "system": "fieldkit", "scope": "system", "xml:lang": "en"},
    )
    data = ET.SubElement(root, "dataset")

    def add(parent, *path, text=None):
        for tag in path:
            parent = ET.SubElement(parent, tag)
        parent.text = text
        return parent

    def party(tag):
        for author in about.authors:
            who = add(data, tag)
            family, comma, given = author.partition(",")
            if comma:
                person = add(who, "individualName")
                add(person, "givenName", text=given.strip())
                add(person, "surName", text=family.strip())
            else:
                add(who, "organizationName", text=author)
            if about.contact:
                add(who, "electronicMailAddress", text=about.contact)

    add(data, "title", text=about.title)
    party("creator")
    party("metadataProvider")
    add(data, "pubDate", text=today)
    add(data, "language", text="en")
    mark = "INVENTED records: no such animal was seen, and the numbers are not care advice. " if about.invented else ""
    add(
        data,
        *("abstract", "para"),
        text=f"{mark}{about.species} watched from {about.first_day} to {about.last_day}: places that animals used, "
        "with the air, surface and radiation read there, and sightings and scans of behaviour. Places that were read "
        f"and not used are not in this archive. {position.generalised} {position.withheld}".strip(),
    )
    add(data, *("intellectualRights", "para"), text=f"{about.licence}: {about.licence_url}")
    cover = add(data, "coverage")
    if position.latitude is not None:
        geo = add(cover, "geographicCoverage")
        exact = position.precision_deg is None
        where = (
            "One site, as stated" if exact else f"One site, somewhere in this cell of {position.precision_deg} degree"
        )
        add(geo, "geographicDescription", text=where)
        bounds = add(geo, "boundingCoordinates")
        for low_tag, high_tag, value in (
            ("westBoundingCoordinate", "eastBoundingCoordinate", position.longitude),
            ("northBoundingCoordinate", "southBoundingCoordinate", position.latitude),
        ):
            low, high = (value, value) if exact else map(str, places.cell(value, precision=position.precision_deg))
            low, high = (high, low) if low_tag.startswith("north") else (low, high)
            add(bounds, low_tag, text=low)
            add(bounds, high_tag, text=high)
    time = add(cover, "temporalCoverage", "rangeOfDates")
    add(time, *("beginDate", "calendarDate"), text=str(about.first_day))
    add(time, *("endDate", "calendarDate"), text=str(about.last_day))
    taxon = add(cover, "taxonomicCoverage", "taxonomicClassification")
    add(taxon, "taxonRankName", text="species")
    add(taxon, "taxonRankValue", text=about.scientific_name)
    party("contact")
    methods = add(data, "methods")
    for protocol in _PROTOCOLS.values():
        add(methods, *("methodStep", "description", "para"), text=protocol)
    return _xml(root)


def _xml(root):
    ET.indent(root)
    return ET.tostring(root, encoding="unicode", xml_declaration=False).join(
        ['<?xml version="1.0" encoding="UTF-8"?>\n', "\n"]
    )


# --- checking ---------------------------------------------------------------------------------------------------------


def check(path):
    """Hold a Darwin Core archive against the text guide and the vocabularies.

    Parameters
    ----------
    path : str or pathlib.Path
        Zip file with meta.xml.

    Returns
    -------
    pandas.DataFrame
        What is wrong: file, row (of the file, counted from 1 with its header; 0 for the whole), term, value, problem.

    Notes
    -----
    Darwin Core text guide (TDWG 2023, http://rs.tdwg.org/dwc/text/) and its XML schema for meta.xml; list of Darwin
    Core terms; basisOfRecord takes class names. That coordinateUncertaintyInMeters cannot be 0 stands in the term's
    comments. Elements that EML 2.2.0 asks for: title, creator, contact.
    """
    wrong = []

    def say(file, problem, *, row=0, term="", value=""):
        wrong.append((file, row, term, value, problem))

    with zipfile.ZipFile(path) as archive:
        names = set(archive.namelist())
        meta = _parse(archive, names, "meta.xml", say)
        if meta is not None:
            _check_meta(archive, names, meta, say)
    return pd.DataFrame(wrong, columns=["file", "row", "term", "value", "problem"])


def _parse(archive, names, name, say):
    if name not in names:
        say(name, "the file is missing")
        return None
    try:
        return ET.fromstring(archive.read(name))
    except ET.ParseError as error:
        say(name, f"not well-formed XML: {error}")
        return None


def _check_meta(archive, names, meta, say):
    space = f"{{{TEXT}}}"
    if meta.tag != f"{space}archive":
        say("meta.xml", "the root is not an archive of the text guide", value=meta.tag)
        return
    cores = meta.findall(f"{space}core")
    if len(cores) != 1:
        say("meta.xml", "there must be exactly one core", value=str(len(cores)))
        return
    eml = _parse(archive, names, meta.get("metadata", "eml.xml"), say)
    if eml is not None:
        _check_eml(eml, say)
    core = _read_part(archive, names, cores[0], "id", say)
    if core is not None:
        _check_core(cores[0], core, say)
    for extension in meta.findall(f"{space}extension"):
        rows = _read_part(archive, names, extension, "coreid", say)
        if rows is not None and core is not None:
            _check_extension(extension, rows, set(core[1].iloc[:, 0]), say)


def _location(part):
    return part.findtext(f"{{{TEXT}}}files/{{{TEXT}}}location") or ""


def _read_part(archive, names, part, id_tag, say):
    """(terms by column, rows) of a part as meta.xml describes it, the id first; None when that fails."""
    space, name = f"{{{TEXT}}}", _location(part)
    if name not in names:
        say(name or "meta.xml", "the file that meta.xml names is missing")
        return None
    ident = part.find(f"{space}{id_tag}")
    if ident is None or not (ident.get("index") or "").isdigit():
        say("meta.xml", f"{id_tag} with an index is missing", value=name)
        return None
    fields = [(f.get("index"), f.get("term") or "") for f in part.findall(f"{space}field")]
    for index, uri in fields:
        if not re.fullmatch(r"https?://\S+[/#]\w+", uri):
            say("meta.xml", "a field without the URI of a term", term=uri, value=str(index))
    if len({uri for _, uri in fields}) != len(fields):
        say("meta.xml", "a term stands twice", value=name)
    text = archive.read(name).decode(part.get("encoding", "UTF-8"))
    rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=part.get("fieldsTerminatedBy", ",")))
    rows = rows[int(part.get("ignoreHeaderLines", "0")) :]
    width = max([int(ident.get("index")), *(int(i) for i, _ in fields if i)]) + 1
    for number, row in enumerate(rows, start=2):
        if len(row) != width:
            say(name, f"{len(row)} cells where meta.xml describes {width}", row=number)
            return None
    frame = pd.DataFrame(rows, columns=range(width), dtype=object)
    columns = {uri: int(i) for i, uri in fields if i}
    shown = pd.DataFrame({"": frame[int(ident.get("index"))]} | {uri: frame[i] for uri, i in columns.items()})
    return columns, shown


def _check_core(part, core, say):
    file, (_, rows) = _location(part), core

    def column(name):
        return rows.get(term(name))

    def each(name, good, problem):
        values = column(name)
        if values is not None:
            for index, value in values[~values.map(good).astype(bool)].items():
                say(file, problem, row=index + 2, term=name, value=value)

    for name in _REQUIRED:
        if column(name) is None:
            say(file, "a required term is missing", term=name)
        else:
            each(name, lambda v: v.strip() != "", "a required term is empty")
    for index in rows.index[rows[""].duplicated()]:
        say(file, "this identifier stands twice", row=index + 2, term="occurrenceID", value=rows[""][index])
    each("basisOfRecord", lambda v: v in _BASES, "not a class that basisOfRecord can name")
    each("occurrenceStatus", lambda v: v in ("present", "absent"), "neither present nor absent")
    each("individualCount", lambda v: v == "" or v.isdigit(), "not a whole number")
    each("eventDate", _is_iso, "not a date by ISO 8601")
    each("license", lambda v: re.fullmatch(r"https?://\S+", v), "not the address of a licence")
    each("decimalLatitude", lambda v: v == "" or _within(v, 90), "no latitude")
    each("decimalLongitude", lambda v: v == "" or _within(v, 180), "no longitude")
    each(
        "coordinateUncertaintyInMeters",
        lambda v: v == "" or (_within(v, 5e6) and float(v) > 0),
        "has to be above 0 m; leave it empty if unknown",
    )
    if column("occurrenceStatus") is not None and column("individualCount") is not None:
        none, absent = column("individualCount") == "0", column("occurrenceStatus") == "absent"
        for index in rows.index[none != absent]:
            say(file, "no individuals means absent", row=index + 2, term="occurrenceStatus")
    place = [column(n) for n in ("decimalLatitude", "decimalLongitude", "geodeticDatum")]
    if any(p is not None for p in place) and (
        any(p is None for p in place) or len({tuple(p == "") for p in place}) != 1
    ):
        say(file, "latitude, longitude and datum go together", term="decimalLatitude")
    coarse = column("coordinatePrecision")
    if coarse is not None:
        each("informationWithheld", lambda v: v != "", "coordinates were coarsened: say what is withheld")
        for name in ("dataGeneralizations", "informationWithheld", "coordinateUncertaintyInMeters"):
            if column(name) is None:
                say(file, "coordinates were coarsened without saying so here", term=name)


def _check_extension(part, extension, known, say):
    file, (_, rows) = _location(part), extension
    for index in rows.index[~rows[""].isin(known)]:
        say(file, "no such record in the core", row=index + 2, value=rows[""][index])
    for name in ("measurementType", "measurementValue"):
        if term(name) not in rows:
            say(file, "a required term is missing", term=name)
        else:
            for index in rows.index[rows[term(name)].str.strip() == ""]:
                say(file, "a required term is empty", row=index + 2, term=name)


def _check_eml(eml, say):
    if eml.tag != f"{{{EML}}}eml":
        say("eml.xml", "not a document of EML 2.2.0", value=eml.tag)
        return
    for name in ("title", "creator", "contact", "pubDate", "intellectualRights"):
        found = eml.find(f"dataset/{name}")
        if found is None or not "".join(found.itertext()).strip():
            say("eml.xml", "an element is missing or empty", term=name)


def _is_iso(text):
    try:
        dt.datetime.fromisoformat(text)
    except ValueError:
        return False
    return True


def _within(text, limit):
    try:
        return abs(float(text)) <= limit
    except ValueError:
        return False
