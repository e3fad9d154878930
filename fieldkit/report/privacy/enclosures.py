"""An enclosure that others may have, and the list of what of it must stay at home: names, notes, files, paths.

It has no place on a map, but its name, those of its points, lamps and loggers, its observers and its notes may name a
street, a room or a person. Names of plain words (basking, warm end, air-2) and codes (B1) tell nothing and stay.
"""

import contextlib
import re
import tempfile
import tomllib
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from fieldkit.captive import targets
from fieldkit.records import enclosure as records
from fieldkit.records import schema as schemas
from fieldkit.records.enclosure import tables as enclosure_tables
from fieldkit.records.enclosure.settings import KIND_WORDS, KINDS, MATERIALS, NAME, SETTINGS, ZONES
from fieldkit.records.enclosure.template import POINTS
from fieldkit.records.season import settings
from fieldkit.records.season.template import SUBSTRATES
from fieldkit.report.privacy import at_home, public
from fieldkit.report.share import filter as giving_away

_OTHERS = (
    "air model beam control hide tube heater lamp point logger probe slate stone tile left right front back top bottom "
    "floor branch cave box sensor middle water bowl bulb thermometer surface sun shade animal observer spectrum set"
)
_VOCABULARY = {
    word
    for text in (*ZONES, *KINDS, *sum(KIND_WORDS.values(), ()), *MATERIALS, *SUBSTRATES, *schemas.ALL_ROLES, *POINTS)
    for word in re.findall(r"[a-z0-9]+", text.lower().replace("_", " "))
} | set(_OTHERS.split())
_SPECTRUM_FILE = re.compile(r"\.(csv|tsv|txt)$", re.IGNORECASE)
_ALONE = {"the animal", "not told"}
# Columns of names, the kind of name each holds, and its name in `_Names`.
_COLUMNS = {"animal_id": "animal", "observer": "observer", "place_id": "place", "set_id": "set"}
_TRIAL = "trial.toml"
_TRIAL_KEYS = ("outcome", "better", "first_day", "blocks", "days", "settle", "seed", "order", "limits")


@dataclass(frozen=True)
class _Names:
    """What stands for each name, one dict a kind."""

    point: dict
    lamp: dict
    logger: dict
    spectrum: dict
    animal: dict
    observer: dict
    place: dict
    set: dict


def is_plain(name):
    """Whether the name of a point, a lamp or a logger is made of plain words and numbers, or is a code.

    Examples
    --------
    >>> is_plain("B1"), is_plain("air-warm 2"), is_plain("Aunt Clara's window")
    (True, True, False)
    """
    words = re.findall(r"[^\W_]+", str(name).lower())
    return public.is_code(name) or all(word in _VOCABULARY or word.isdigit() for word in words)


def _numbered(kind, names):
    names = sorted(map(str, names))
    out, number = {name: name for name in names if is_plain(name)}, 0
    for name in names:
        if name not in out:
            number += 1
            while f"{kind}-{number}" in names:
                number += 1
            out[name] = f"{kind}-{number}"
    return out


def _names(enclosure):
    stated = enclosure.settings
    held = {kind: set() for kind in _COLUMNS.values()}
    for table in (enclosure.scans, enclosure.care, enclosure.choices):
        for column, kind in _COLUMNS.items():
            if table is not None and column in table:
                held[kind] |= set(table[column].dropna().astype(str)) - _ALONE
    files = [name for name in enclosure.lamps["spectrum"].dropna().unique() if _SPECTRUM_FILE.search(name)]
    return _Names(
        point=_numbered("point", enclosure.points["point_id"]),
        lamp=_numbered("lamp", enclosure.lamps["id"]),
        logger=_numbered("logger", settings.section(stated, "loggers")),
        spectrum={name: f"spectrum-{number}.csv" for number, name in enumerate(sorted(files), start=1)},
        **{
            k: public.numbered(k, v, public.PLAIN.get(k, public.CODE)) | {n: n for n in _ALONE} for k, v in held.items()
        },
    )


def public_name(enclosure):
    """What others may call an enclosure: the name for others in enclosure.toml, else the species.

    Parameters
    ----------
    enclosure : EnclosureRecord
        As read.

    Returns
    -------
    str
    """
    given = settings.section(enclosure.settings, "enclosure").get("public_name")
    return given or f"Enclosure, {enclosure.animal.species}"


def write(enclosure, folder):
    """Write the folder of an enclosure that others may have.

    Parameters
    ----------
    enclosure : EnclosureRecord
        As read from its folder.
    folder : str or pathlib.Path
        An empty or new folder.

    Notes
    -----
    Readings are written in standard units with the offset of their clock. The same enclosure gives the same bytes, and
    so does an enclosure that was made by this function.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    names = _names(enclosure)
    (folder / NAME).write_text(_settings_text(enclosure, names), encoding="utf-8", newline="\n")
    for old, new in names.spectrum.items():
        spectrum = enclosure.spectra[old]
        told = pd.DataFrame({"wavelength_nm": spectrum.index, "irradiance_w_m2_nm": spectrum.to_numpy()})
        told.to_csv(folder / new, index=False, lineterminator="\n")
    for name, table in _tables(enclosure, names).items():
        if table is not None and len(table):
            table.to_csv(folder / f"{name}.csv", index=False, lineterminator="\n", encoding="utf-8")
    if enclosure.path is not None:
        _trial(enclosure.path / _TRIAL, folder / _TRIAL, names)
        _targets(enclosure.path / "targets.toml", folder / "targets.toml", _words_of_names(enclosure, names))


@contextlib.contextmanager
def opened(enclosure):
    """The enclosure as others may have it, read from a folder that is there for as long as a block lasts."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "enclosure"
        write(enclosure, folder)
        yield records.read_enclosure(folder)


def _tables(enclosure, names):
    own = set(names.logger)
    readings = enclosure.readings
    logged = readings["logger_id"].astype(str).isin(own)
    series = pd.DataFrame({"time": public.stamps(readings.loc[logged, "time"])})
    series["logger_id"] = readings.loc[logged, "logger_id"].astype(str).map(names.logger)
    series["value"] = readings.loc[logged, "value"]
    lamps = enclosure.lamp_readings.rename(columns={"lamp_id": "lamp"})
    lamps["lamp"] = lamps["lamp"].map(names.lamp)
    secrets = _words_of_names(enclosure, names)
    told = {
        "scans": _told(enclosure.scans, schemas.ENCLOSURE_TABLES["enclosure_scans"], names, secrets),
        "care": _told(enclosure.care, schemas.ENCLOSURE_TABLES["care"], names, secrets),
        "choices": _told(enclosure.choices, schemas.TABLES["choices"], names, secrets),
    }
    return {"readings": series, "hand_readings": _by_hand(readings[~logged], names), "lamp_readings": lamps} | told


def _by_hand(readings, names):
    """One row a look at a point, as it was before each quantity became a logger of its own."""
    columns = {role: column for column, role in enclosure_tables.HAND_ROLES.items()}
    wide = pd.DataFrame({"time": readings["time"], "point": readings["point_id"].astype(str).map(names.point)})
    wide["column"], wide["value"] = readings["role"].astype(str).map(columns), readings["value"]
    if not len(wide):
        return None
    wide["again"] = wide.groupby(["time", "point", "column"]).cumcount()
    wide = wide.set_index(["time", "point", "again", "column"])["value"].unstack("column").reset_index()  # noqa: PD010
    wide["time"] = public.stamps(wide["time"])
    return wide[["time", "point", *(c for c in columns.values() if c in wide)]]


def _told(table, schema, names, secrets):
    if table is None:
        return None
    out = table[[c for c in table.columns if c in schema.columns and c not in ("notes", "file")]].copy()
    for column in out.columns:
        if kind := {"point": "point"}.get(column, _COLUMNS.get(column)):
            known = getattr(names, kind)
            out[column] = out[column].astype(object).map(lambda n, k=known: k.get(str(n), n), na_action="ignore")
        elif schema.columns[column].metadata["kind"] in ("text", "word"):
            out[column] = out[column].astype(object).map(lambda v: _word(v, secrets), na_action="ignore")
    if "time" in out:
        out["time"] = public.stamps(out["time"])
    if "date" in out:
        out["date"] = pd.to_datetime(out["date"]).dt.strftime("%Y-%m-%d")
    return out


def _words_of_names(enclosure, names):
    """Words of the enclosure's name, of its folder and of observers that are no plain words."""
    species = at_home.words_of(enclosure.animal.species)
    texts = [enclosure.name, *names.observer, *(enclosure.path.name,) * (enclosure.path is not None)]
    return [w for text in texts for w in at_home.words_of(text) if w not in _VOCABULARY and w not in species]


def _word(text, secrets):
    return "other" if giving_away.trace(text, secrets) else text


def _declared(section, given):
    """Declared numbers, flags, clock times and choices of a section, as they stand."""
    kinds = {s.key: s.kind for s in SETTINGS if s.section == section and (s.kind not in ("text", "zone") or s.allowed)}
    return {key: value for key, value in given.items() if key in kinds}


def _settings_text(enclosure, names):
    stated = enclosure.settings
    box, called = settings.section(stated, "enclosure"), public_name(enclosure)
    secrets = _words_of_names(enclosure, names)
    head = {"name": called, "public_name": called} | _declared("enclosure", box)
    sections = [("[enclosure]", head | {"invented": bool(enclosure.invented), "timezone": enclosure.timezone})]
    animal = settings.section(stated, "animal")
    sections.append(("[animal]", {"species": enclosure.animal.species} | _declared("animal", animal)))
    for lamp in stated.get("lamps", []):
        told = {"id": names.lamp[str(lamp["id"])]} | _declared("lamps", lamp)
        told["spectrum"] = names.spectrum.get(lamp.get("spectrum"), lamp.get("spectrum"))
        told["controlled_by"] = names.logger.get(lamp.get("controlled_by"), lamp.get("controlled_by"))
        sections.append(("[[lamps]]", told))
    for name, point in settings.section(stated, "points").items():
        told = _declared("points.NAME", point)
        if point.get("substrate") is not None:
            told["substrate"] = _word(point["substrate"], secrets)
        sections.append((f"[{public.header('points', names.point[name])}]", told))
    for row in enclosure.logger_info.to_dict("records"):
        if row["logger_id"] in names.logger:
            keys = ("role", "error", "size_m", "shortwave_absorptivity")
            told = {"point": names.point.get(row["point_id"]), "unit": row["unit"] or "1"} | {k: row[k] for k in keys}
            sections.append((f"[{public.header('loggers', names.logger[row['logger_id']])}]", told))
    for column, tool in settings.section(stated, "instruments").items():
        sections.append((f"[{public.header('instruments', column)}]", _declared("instruments.NAME", tool)))
    lines = ["# An enclosure for others: names are replaced and free text is left out."]
    for title, content in sections:
        given = {key: value for key, value in content.items() if public.is_given(value)}
        lines += ["", title, *(f"{key} = {_value(value)}" for key, value in given.items())]
    return "\n".join(lines) + "\n"


def _value(value):
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_value(inner)}" for key, inner in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_value, value)) + "]"
    return public.toml_value(value)


def _trial(source, target, names):
    """The design of a trial, without the words that say what was changed."""
    if not source.is_file():
        return
    stated = tomllib.loads(source.read_text(encoding="utf-8"))
    lines = ['change = "one change"'] + [f"{k} = {_value(stated[k])}" for k in _TRIAL_KEYS if k in stated]
    for key in ("power_w", "height_m"):
        if isinstance(stated.get(key), dict):
            lines.append(f"{key} = {_value({names.lamp.get(n, n): v for n, v in stated[key].items()})}")
    target.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


def _targets(source, target, secrets):
    """The targets as numbers: comments and notes stay at home, and a source in a keeper's own words does."""
    if not source.is_file():
        return
    read = targets.load(source)
    printed = read.table["basis"].isin(["standard", "literature"])
    told = read.table["source"].map(lambda text: _word(text, secrets)).where(printed, "the keeper's own")
    public_ones = replace(read, table=read.table.assign(source=told), species=_word(read.species, secrets), notes=())
    target.write_text(public_ones.to_toml(), encoding="utf-8", newline="\n")


# --- what must stay at home -------------------------------------------------------------------------------------------


def secrets(enclosure, *, own_names=False):
    """What a file may not tell of an enclosure and of the computer its folder lies on.

    Parameters
    ----------
    enclosure : EnclosureRecord
        As read from the folder that stays at home.
    own_names : bool
        What the keeper calls the enclosure, its points, lamps and loggers is told on purpose: on a card that hangs
        beside it.

    Returns
    -------
    at_home.Secrets
    """
    names, phrases, missed = _names(enclosure), {}, []
    free = {at_home.words_of(text) for text in (public_name(enclosure), enclosure.animal.species, *_VOCABULARY)}
    for what, text, parts in _phrases(enclosure, names, own_names):
        at_home.add(phrases, missed, what, text, free=free, parts=parts)
    for text in _notes(enclosure, own_names):
        words = at_home.words_of(text)
        if len(words) > 2 and not all(word.isdigit() for word in words):
            at_home.add(phrases, missed, "a note on the enclosure", text, free=free)
    paths = {}
    if enclosure.path is not None and len(str(enclosure.path)) > 1:
        paths = at_home.spellings(enclosure.path, "the path of the enclosure folder")
    found = at_home.Secrets(phrases=phrases, paths=paths, unsearchable=tuple(dict.fromkeys(missed)))
    found = at_home.together(found, at_home.of_computer())
    return at_home.without(found, own_text(enclosure)) if own_names else found


def own_text(enclosure):
    """What the keeper calls the enclosure, its points, lamps and loggers."""
    names = _names(enclosure)
    return "\n".join([enclosure.name, *names.point, *names.lamp, *names.logger])


def _phrases(enclosure, names, own_names):
    """(what, text, whether each of its words counts) of every name that stays at home."""
    for kind in ("observer", "animal"):
        for name, told in getattr(names, kind).items():
            if name != told and (kind == "observer" or not public.is_code(name)):
                yield ("an observer" if kind == "observer" else "the name of an animal"), name, kind == "observer"
    if own_names:
        return
    if enclosure.name != public_name(enclosure):
        yield "the name of the enclosure", enclosure.name, True
    if enclosure.path is not None:
        yield "the name of the enclosure folder", enclosure.path.name, False
    for kind in ("point", "lamp", "logger", "spectrum"):
        for name, told in getattr(names, kind).items():
            if name != told:
                yield f"the name of a {kind}", name.rpartition(".")[0] if kind == "spectrum" else name, False


def _notes(enclosure, own_names):
    for table, name in ((enclosure.scans, "enclosure_scans"), (enclosure.care, "care"), (enclosure.choices, "choices")):
        if table is None:
            continue
        declared = schemas.ALL_TABLES[name].columns
        for column in table.columns:
            if (column in ("notes", "file") or column not in declared) and table[column].dtype.kind not in "ifbM":
                yield from table[column].dropna().astype(str).unique()
    for tool in settings.section(enclosure.settings, "instruments").values():
        yield from (str(value) for value in tool.values() if isinstance(value, str) and not own_names)
