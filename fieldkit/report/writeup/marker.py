"""What lies beside the page of a write-up: the marker file that `reproduce` reads, and the page as PDF."""

import importlib.metadata
import json
import platform
import re

import fieldkit
from fieldkit.report.integrity import seals
from fieldkit.report.writeup import folders


def versions():
    """Versions of Python, fieldkit and the packages that fieldkit asks for."""
    sources = seals.code_hash()[:16]
    found = {"python": platform.python_version(), "fieldkit": f"{fieldkit.__version__} (sources {sources})"}
    for requirement in importlib.metadata.requires("fieldkit") or []:
        if "extra ==" not in requirement:
            name = re.match(r"[\w.-]+", requirement)[0]
            found[name] = importlib.metadata.version(name)
    return found


def pdf_maker():
    """Give WeasyPrint, or None where it or the libraries that it draws with are missing."""
    try:
        import weasyprint
    # OSError: the package is there and the drawing libraries of the system are not.
    except (ImportError, OSError):
        return None
    return weasyprint


def write_pdf(folder, *, wanted):
    weasyprint = pdf_maker() if wanted is not False else None
    if weasyprint is None:
        return False
    for page in sorted(folder.glob("*.html")):
        # From the text and not from the file: links to files beside the page would else hold the path of this computer.
        text = weasyprint.HTML(string=page.read_text(encoding="utf-8"))
        name = folders.PDF if page.stem == "index" else f"{page.stem}.pdf"
        text.write_pdf(folder / name, pdf_variant="pdf/ua-1")
    return True


def record_files(records, settings):
    """Hashes of the files that were read, so that a rerun can name the one that is not the same."""
    if records is None or records.path is None:
        return None
    sources = getattr(records, "sources", None)
    names = [] if sources is None else [file.partition(", sheet ")[0] for file in sources["file"]]
    return seals.of_records(records.path, [settings, *names])


def write_marker(folder, page, is_demo, only, cage, languages=()):
    files = {
        path.relative_to(folder).as_posix(): folders.digest(path)
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
    about = {
        "format": folders.FORMAT,
        "written": str(page.written),
        "season": page.season.name,
        "demo": is_demo,
        "exact_place": page.given["exact_place"],
        "invented": page.season.invented,
        "input_sha256": page.season.input_hash,
        "enclosure_sha256": cage.input_hash if cage is not None else None,
        "only": list(only) if only is not None else None,
        "parameters": page.parameters,
        "languages": list(languages),
        "answer": page.answer(),
        "terms": {name: value if isinstance(value, str | None) else list(value) for name, value in page.terms.items()},
        "versions": page.versions,
        "code_sha256": seals.code_hash(),
        "record_files": record_files(page.season, "season.toml"),
        "enclosure_files": record_files(cage, "enclosure.toml") if cage is not None else None,
        "sections": page.table().to_dict("records"),
        "results": [{"notebook": run.name} | result for run, result in page.results()],
        "figures": {f"figures/{figure['stem']}.csv": figure["caption"] for figure in page.figures if figure["stem"]},
        "files": files,
    }
    (folder / folders.MARKER).write_text(json.dumps(about, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
