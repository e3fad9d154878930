"""All text that a file holds, however it is packed: what a reader, a search engine or a curious person could find."""

import base64
import contextlib
import csv
import html
import io
import json
import re
import struct
import tempfile
import zipfile
import zlib
from pathlib import Path

# Headers of columns of which every number is looked at.
PLACE_LABEL = re.compile(
    r"latitude|longitude|\blat\b|\blon\b|\blng\b|lat_deg|lon_deg|coordinat|elevation|altitude", re.IGNORECASE
)
_DATA_URI = re.compile(r"data:([a-z]+/[a-z0-9.+-]+)(?:;[a-z0-9=-]+)*;base64,([A-Za-z0-9+/=\s]+)")
_SUFFIX_OF = {"image/png": ".png", "image/svg+xml": ".svg", "application/pdf": ".pdf", "text/html": ".html"}
_DEEPEST = 6
# The search reads no further than this into one packed part: a bomb must not fill the memory.
_LARGEST = 500_000_000


def of_file(path, *, name=None):
    """Pieces of text in a file, packed or not.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    name : str, optional
        What it is called in a finding.

    Yields
    ------
    str, str
        Where the piece stands, and the piece.
    """
    yield from of_bytes(name or path.name, path.read_bytes())


def of_bytes(name, data, *, depth=0):
    """Pieces of text in the bytes of a file.

    Parameters
    ----------
    name : str
        Name of the file; its end says what it is.
    data : bytes
        What it holds.
    depth : int
        How deep it is packed.

    Yields
    ------
    str, str
        Where the piece stands, and the piece.

    Examples
    --------
    >>> list(of_bytes("a.txt", b"the old quarry"))
    [('a.txt', 'the old quarry')]
    """
    if depth > _DEEPEST:
        return
    if data[:4] == b"PK\x03\x04" and zipfile.is_zipfile(io.BytesIO(data)):
        yield from _zip(name, data, depth)
    elif data[:8] == b"\x89PNG\r\n\x1a\n":
        yield from ((f"{name} (data of the image)", text) for text in _png(data))
    elif data[:5] == b"%PDF-":
        yield from _pdf(name, data)
    elif data[:8] == b"\x89HDF\r\n\x1a\n":
        yield from ((name, text) for text in _netcdf(data))
    else:
        yield from _plain(name, _decoded(data), depth)


def _decoded(data):
    for encoding in ("utf-16",) if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig",):
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    return data.decode("latin-1")


def _plain(name, text, depth):
    suffix = Path(name).suffix.lower()
    if suffix in (".ipynb", ".json"):
        try:
            yield from ((name, piece) for piece in [_flat(json.loads(text))])
            yield from _inside_json(name, json.loads(text), depth)
        except (ValueError, RecursionError):
            yield name, text
        return
    embedded = []
    if suffix in (".html", ".htm", ".svg", ".xml", ".css", ".md"):
        embedded = list(_DATA_URI.finditer(text))
        text = html.unescape(_DATA_URI.sub("data:", text))
    yield name, text
    if suffix in (".html", ".htm"):
        yield from ((name, piece) for piece in _html_columns(text))
    if suffix in (".csv", ".tsv"):
        yield from ((name, piece) for piece in _csv_columns(text, "\t" if suffix == ".tsv" else ","))
    for number, found in enumerate(embedded, start=1):
        try:
            inside = base64.b64decode("".join(found[2].split()), validate=False)
        except ValueError:
            continue
        yield from of_bytes(f"{name} (picture {number}){_SUFFIX_OF.get(found[1], '')}", inside, depth=depth + 1)


def _flat(value, key=""):
    """Every key and value of a JSON document, value behind key, packed pictures left out."""
    if isinstance(value, dict):
        return "\n".join(_flat(inner, str(name)) for name, inner in value.items() if name not in _SUFFIX_OF)
    if isinstance(value, list):
        if value and all(isinstance(item, str) for item in value):
            return f"{key}: {''.join(value)}"
        return "\n".join(_flat(item, key) for item in value)
    return f"{key}: {value}"


def _inside_json(name, value, depth):
    """Pages and pictures inside a JSON document, such as the outputs of a notebook."""
    if isinstance(value, list):
        for item in value:
            yield from _inside_json(name, item, depth)
    elif isinstance(value, dict):
        for key, inner in value.items():
            if key not in _SUFFIX_OF:
                yield from _inside_json(name, inner, depth)
                continue
            text = "".join(inner) if isinstance(inner, list) else str(inner)
            data = text.encode()
            if key in ("image/png", "application/pdf"):
                with contextlib.suppress(ValueError):
                    data = base64.b64decode(text, validate=False)
            yield from of_bytes(f"{name} (output){_SUFFIX_OF[key]}", data, depth=depth + 1)


def _html_columns(text):
    """Columns of the tables in a page whose header speaks of a place, each value behind its header."""
    if "<table" not in text:
        return
    from bs4 import BeautifulSoup

    for table in BeautifulSoup(text, "html.parser").find_all("table"):
        rows = [[cell.get_text(" ", strip=True) for cell in row.find_all(["td", "th"])] for row in table.find_all("tr")]
        yield from _labelled(rows)


def _csv_columns(text, separator):
    if not PLACE_LABEL.search(text):
        return
    try:
        yield from _labelled(list(csv.reader(io.StringIO(text), delimiter=separator)))
    except csv.Error:
        return


def _labelled(rows):
    for row in rows:
        # Rows too can have a label in front: a table of settings has one in each.
        if len(row) > 1 and PLACE_LABEL.search(row[0]):
            yield "\n".join(f"{row[0]} {cell}" for cell in row[1:])
    heads = [row for row in rows[:3] if any(map(PLACE_LABEL.search, row))]
    for head in heads:
        columns = [at for at, cell in enumerate(head) if PLACE_LABEL.search(cell)]
        lines = [
            "  ".join(f"{head[at]} {row[at]}" for at in columns if at < len(row)) for row in rows if row is not head
        ]
        yield "\n".join(lines)


def _zip(name, data, depth):
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        yield name, "\n".join([*archive.namelist(), archive.comment.decode("utf-8", "replace")])
        for member in archive.infolist():
            if member.file_size <= _LARGEST:
                yield from of_bytes(f"{name}: {member.filename}", archive.read(member), depth=depth + 1)


def _png(data):
    """Text chunks of a PNG (ISO/IEC 15948: tEXt, zTXt, iTXt) and its EXIF block, as they stand."""
    at = 8
    while at + 12 <= len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        kind, body = data[at + 4 : at + 8], data[at + 8 : at + 8 + length]
        at += 12 + length
        if kind == b"tEXt":
            yield body.replace(b"\0", b": ").decode("latin-1")
        elif kind == b"zTXt":
            key, _, packed = body.partition(b"\0")
            yield f"{key.decode('latin-1')}: {_inflated(packed[1:]).decode('latin-1')}"
        elif kind == b"iTXt":
            key, _, rest = body.partition(b"\0")
            packed, rest = rest[:1] == b"\1", rest[2:]
            text = rest.split(b"\0", 2)[-1]
            yield f"{key.decode('latin-1')}: {(_inflated(text) if packed else text).decode('utf-8', 'replace')}"
        elif kind == b"eXIf":
            yield body.decode("latin-1")


def _inflated(data):
    try:
        return zlib.decompressobj().decompress(data, _LARGEST)
    except zlib.error:
        return data


def _pdf(name, data):
    """Text, links and data about the document; without pypdf, whatever its packed streams hold."""
    streams = [_inflated(found[1]) for found in re.finditer(rb"stream\r?\n(.*?)\r?\nendstream", data, re.DOTALL)]
    # The size of a picture in the file is no height of a place.
    packed = re.sub(rb"/(?:Height|Width|Length\d?|Size)\s+\d+", b"", b"\n".join([data, *streams]))
    yield f"{name} (links and data of the document)", packed.decode("latin-1")
    try:
        import pypdf
    except ImportError:
        return
    try:
        reader = pypdf.PdfReader(io.BytesIO(data))
    except pypdf.errors.PyPdfError:
        # Broken: it was searched as it stands.
        return
    yield f"{name} (data of the document)", "\n".join(f"{k}: {v}" for k, v in (reader.metadata or {}).items())
    for number, page in enumerate(reader.pages, start=1):
        yield f"{name}, page {number}", page.extract_text()
        links = [note.get_object().get("/A", {}).get("/URI", "") for note in page.get("/Annots", [])]
        yield f"{name}, links of page {number}", "\n".join(map(str, links))


def _netcdf(data):
    import xarray as xr

    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "file.nc"
        path.write_bytes(data)
        with xr.open_dataset(path, decode_times=False, engine="h5netcdf") as found:
            yield "\n".join(f"{key}: {value}" for key, value in found.attrs.items())
            for variable, held in found.variables.items():
                yield "\n".join([str(variable), *(f"{key}: {value}" for key, value in held.attrs.items())])
                if held.dtype.kind in "SUO":
                    texts = (v.decode("utf-8", "replace") if isinstance(v, bytes) else v for v in held.values.flat)
                    yield "\n".join(map(str, texts))
                elif held.size <= 1_000_000 and (held.ndim <= 1 or PLACE_LABEL.search(str(variable))):
                    yield "\n".join(f"{variable} {value!r}" for value in held.values.astype(float).flat)
