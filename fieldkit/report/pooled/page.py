"""A pool as a folder: a page, tables, forest plots, and the estimates that it was made from, so it can be rerun."""

import base64
import json
import tempfile
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

import fieldkit
from fieldkit.core import FieldkitError, Result, visible
from fieldkit.field import pool
from fieldkit.records.reading import opening
from fieldkit.records.spreadsheet import safe_table
from fieldkit.report.privacy import at_home, gate
from fieldkit.report.writeup import folders
from fieldkit.report.writeup.pages import methods

MARKER, FORMAT = "pool.json", "fieldkit pool 1"
_TEMPLATES = Path(__file__).parent.parent / "templates"
_SHOWN = [
    "what",
    "unit",
    "n_seasons",
    "estimate",
    "low",
    "high",
    "new_low",
    "new_high",
    "i2",
    "q_p",
    "clear",
    "decides",
]
_SEASON = ["verdict", "n_sets", "n_animals", "n_days", "design", "instrument_errors", "differs"]
_CALL = {"function": "pool.together", "settings": {"level": 0.95}, "summary": "", "notes": ""}
_MOST_SEASONS = 5000
# Told in the table, without a figure of their own.
_IN_TABLE = ("_air_low", "_air_high")


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class PoolWritten(Result):
    """A written pool: `path`, `html`, `parts` (one a species), and `left_out`."""

    path: Path
    html: Path
    parts: list
    left_out: tuple

    @property
    def table(self):
        """Every quantity of every species."""
        return pd.concat({part.species: part.table for part in self.parts}, names=["species"])

    @property
    def sentence(self):
        """What the seasons say, and what was left out."""
        return " ".join([_said(part, len(self.parts) > 1) for part in self.parts] + list(self.left_out))


def write(gathered, out):
    """Pool what was gathered and write it.

    Parameters
    ----------
    gathered : Gathered
        From `gather`.
    out : str or pathlib.Path
        A new or empty folder.

    Returns
    -------
    PoolWritten

    Raises
    ------
    FieldkitError
        When no season is left, or something stands at `out`.
    LeakError
        When a file would tell what must stay at home.
    """
    if not gathered.tables:
        raise FieldkitError(" ".join(["No season is left to pool.", *gathered.left_out]))
    parts = pool.by_species(gathered.tables)
    keep = [path for path in gathered.places.values() if Path(path).is_dir()]
    with folders.swapped_in(out, keep=keep, check=folders.check_empty) as (fresh, _):
        for letter, table in gathered.tables.items():
            place = fresh / "seasons" / letter
            place.mkdir(parents=True)
            pool.estimates.write(table, place)
        left_out = [_told(said, gathered) for said in gathered.left_out]
        _write_page(parts, left_out, fresh)
        gate.check(fresh, gathered.secrets or at_home.of_computer(), what="the pool")
    out = Path(out).absolute()
    return PoolWritten(path=out, html=out / "index.html", parts=parts, left_out=gathered.left_out)


def _told(said, gathered):
    """Why a season was left out, without the path that it lies at on this computer."""
    for path in sorted(gathered.places.values(), key=len, reverse=True):
        said = said.replace(path, "the folder")
    return said


def _said(part, several):
    invented = "INVENTED records: " if part.invented else ""
    return f"{invented}{f'{part.species}: ' if several else ''}{part.sentence}"


def _write_page(parts, left_out, fresh):
    import jinja2

    shown = [_shown(part, fresh) for part in parts]
    whole = pd.concat({part.species: part.table for part in parts}, names=["species"])
    safe_table(whole).to_csv(fresh / "pooled.csv", lineterminator="\n")
    safe_table(pd.concat({part.species: part.seasons for part in parts}, names=["species"])).to_csv(
        fresh / "seasons.csv", lineterminator="\n"
    )
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(_TEMPLATES), autoescape=True, trim_blocks=True, undefined=jinja2.StrictUndefined
    )
    names = [part.species for part in parts if part.species]
    text = environment.get_template("pool.html.j2").render(
        css=jinja2.filters.do_mark_safe((_TEMPLATES / "writeup.css").read_text(encoding="utf-8")),
        title=f"{' and '.join(names) or 'The animals'}: seasons put together",
        version=fieldkit.__version__,
        invented=any(part.invented for part in parts),
        parts=shown,
        left_out=left_out,
        methods=methods.sentence(_CALL),
        references=methods.references(["pool.together"]),
    )
    (fresh / "index.html").write_text(visible(text), encoding="utf-8", newline="\n")
    about = {
        "format": FORMAT,
        "fieldkit": fieldkit.__version__,
        "invented": any(part.invented for part in parts),
        "answers": {part.species: {"verdict": part.verdict, "sentence": part.sentence} for part in parts},
        "left_out": left_out,
        "files": {p.relative_to(fresh).as_posix(): folders.digest(p) for p in sorted(fresh.rglob("*")) if p.is_file()},
    }
    (fresh / MARKER).write_text(json.dumps(about, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def _shown(part, fresh):
    """What the page shows of one species; its forest plots are kept beside it."""
    import jinja2

    from fieldkit.report.figures import pool as figures
    from fieldkit.report.figures import style

    (fresh / "figures").mkdir(exist_ok=True)
    drawn = []
    for name, found in part.parts.items():
        if name.endswith(_IN_TABLE) or not (found.pooled or name.startswith("selection_")):
            continue
        funnel = name.startswith("selection_") and found.n_seasons >= pool.FEWEST_FUNNEL
        for draw in [figures.forest, figures.funnel][: 1 + funnel]:
            figure = draw(part, name)
            caption = f"{pool.QUANTITIES[name].words[:1].upper()}{pool.QUANTITIES[name].words[1:]}: {found.sentence}"
            png, stem = style.png(figure), f"{len(list((fresh / 'figures').glob('*.png'))) + 1:03d}-{name}"
            (fresh / "figures" / f"{stem}.png").write_bytes(png)
            numbers = style.drawn_numbers(figure)
            safe_table(numbers).to_csv(fresh / "figures" / f"{stem}.csv", index=False, lineterminator="\n")
            packed = base64.b64encode(png).decode()
            drawn.append({"png": packed, "alt": style.describe(figure, caption), "caption": caption})

    def table(frame):
        text = frame.to_html(border=0, float_format=lambda x: f"{x:.3g}", na_rep="–", escape=True)
        return jinja2.filters.do_mark_safe(text)

    return {
        "name": part.species or "The animals",
        "sentence": part.sentence,
        "figures": drawn,
        "table": table(part.table[_SHOWN]),
        "seasons": table(part.seasons[_SEASON]),
        "slopes": table(part.regressions) if len(part.regressions) else "",
    }


def _marker(folder):
    folder = Path(folder)
    try:
        about = json.loads(opening.read(folder / MARKER, inside=folder, limit=50_000_000))
    # A number of thousands of digits is a ValueError too; brackets within brackets end in a RecursionError.
    except (ValueError, RecursionError):
        about = None
    if not isinstance(about, dict) or about.get("format") != FORMAT or not isinstance(about.get("files"), dict):
        raise FieldkitError(f"{folder} is not a pool: it has no readable {MARKER} made by fieldkit.")
    return about


def _estimates(folder):
    places = [path for path in opening.listed(Path(folder) / "seasons") if path.name.isalpha()]
    if not 0 < len(places) <= _MOST_SEASONS:
        raise FieldkitError(f"{folder} holds no seasons of a pool: get it again from where it was published.")
    places.sort(key=lambda path: (len(path.name), path.name))
    return {path.name: pool.estimates.read(path) for path in places}


def read(folder):
    """Read a pool and pool it again from the estimates that lie in it.

    Parameters
    ----------
    folder : str or pathlib.Path
        As `write` made it.

    Returns
    -------
    list of Together
        One a species.
    """
    _marker(folder)
    return pool.by_species(_estimates(folder))


def reproduce(folder, *, tolerance=1e-6):
    """Pool again what a published pool was made from, and say which numbers differ.

    Parameters
    ----------
    folder : str or pathlib.Path
        As `write` made it.
    tolerance : float
        Relative tolerance within which two numbers count as equal.

    Returns
    -------
    Reproduction
        Its `same_input` is False when estimates are not those that were published.
    """
    from fieldkit.report.integrity import files, seals
    from fieldkit.report.writeup.rerun import Reproduction

    folder, about = Path(folder), _marker(folder)
    sealed = seals.broken(folder, about["files"], MARKER)
    parts = pool.by_species(_estimates(folder))
    with tempfile.TemporaryDirectory() as scratch:
        again = Path(scratch)
        for letter, table in _estimates(folder).items():
            (again / "seasons" / letter).mkdir(parents=True)
            pool.estimates.write(table, again / "seasons" / letter)
        _write_page(parts, [str(said) for said in about.get("left_out", ())], again)
        names = [name for name in {*seals.files_in(folder), *about["files"]} if name.endswith((".csv", ".html"))]
        rows, count = files.compare(folder, again, names, tolerance=tolerance, drawn=False)
        fresh = _marker(again)
    rows += [(name, "", "SHA-256", *pair) for name, *pair in sealed]
    answers = about.get("answers")
    if answers != fresh["answers"]:
        rows.append((MARKER, "", "answers", str(answers)[:200], str(fresh["answers"])[:200]))
    notes = []
    if about.get("fieldkit") != fresh["fieldkit"]:
        notes = [f"Other versions: fieldkit {about.get('fieldkit')} → {fresh['fieldkit']}."]
    return Reproduction(
        table=pd.DataFrame(rows, columns=["file", "row", "column", "published", "rerun"]),
        n_compared=count + len(about["files"]),
        same_input=not any(name.startswith("seasons/") for name, *_ in sealed),
        tolerance=tolerance,
        notes=notes,
    )
