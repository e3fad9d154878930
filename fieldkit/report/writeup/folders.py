"""What a write-up says about itself, and whether a folder may be replaced by another."""

import datetime
import hashlib
import json
import os
from pathlib import Path

from fieldkit.core import FieldkitError, check_outside

MARKER = "writeup.json"
FORMAT = "fieldkit write-up 1"
PDF = "writeup.pdf"
# What file managers leave behind in a folder that was only looked at.
_LITTER = {".DS_Store", "Thumbs.db", "desktop.ini"}


def digest(path):
    """SHA-256 of a file, in hexadecimal."""
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def read_marker(folder):
    """Read what a write-up folder says about itself.

    Parameters
    ----------
    folder : str or pathlib.Path
        A folder made by :func:`fieldkit.report.writeup.write`.

    Returns
    -------
    dict
        With at least ``files``, a dict of str to str.

    Raises
    ------
    FieldkitError
        When the folder is not a write-up.
    """
    path = Path(folder) / MARKER
    try:
        about = json.loads(path.read_text(encoding="utf-8")) if path.is_file() else None
    # A number of thousands of digits is a ValueError too; brackets within brackets end in a RecursionError.
    except (OSError, ValueError, RecursionError):
        about = None
    if not isinstance(about, dict) or about.get("format") != FORMAT or not isinstance(about.get("files"), dict):
        raise FieldkitError(f"{folder} is not a write-up: it has no readable {MARKER} made by fieldkit.")
    return about


# What a rerun needs to know of a write-up, and of which kind it is.
_NEEDED = {
    "written": str,
    "demo": bool,
    "input_sha256": str,
    "only": (list, type(None)),
    "parameters": dict,
    "versions": dict,
}


# Parts that an older write-up lacks.
_MAY_HOLD = ("terms", "figures", "record_files", "enclosure_files")


def _terms(about):
    terms = about.get("terms") or {}
    authors = terms.get("authors", [])
    others = [value for name, value in terms.items() if name != "authors" and value is not None]
    return [*(authors if isinstance(authors, list) else [authors]), *others, *(about.get("figures") or {}).values()]


def read_published(folder):
    """Read what a write-up of somebody else says about itself, to run it again.

    Parameters
    ----------
    folder : str or pathlib.Path
        A published write-up.

    Returns
    -------
    dict

    Raises
    ------
    FieldkitError
        When something that is needed is missing, or a parameter would name a place on this computer.
    """
    about = read_marker(folder)
    wrong = [key for key, kind in _NEEDED.items() if not isinstance(about.get(key), kind)]
    wrong += [key for key in _MAY_HOLD if not isinstance(about.get(key), dict | None)]
    if not wrong and not all(isinstance(name, str) for name in [*(about["only"] or []), *_terms(about)]):
        wrong = ["only", "terms"]
    names = [name for name in about["parameters"] if name.endswith(("_folder", "_file"))] if not wrong else []
    try:
        datetime.date.fromisoformat(about["written"])
    except (KeyError, TypeError, ValueError):
        wrong = wrong or ["written"]
    if wrong:
        raise FieldkitError(
            f"{folder} cannot be reproduced: its {MARKER} was cut short or changed and lacks {', '.join(wrong)}. Get "
            " the write-up again from where it was published."
        )
    if names:
        raise FieldkitError(
            f"{folder} is not reproduced: it asks for {', '.join(names)}, places on a computer that a write-up of "
            "somebody else has no say in."
        )
    return about


def check_replaceable(out, *, keep=()):
    """Refuse a place that holds anything but a write-up as it was written.

    Parameters
    ----------
    out : pathlib.Path
        Where the write-up shall stand.
    keep : iterable of pathlib.Path
        Folders of records, which must be apart from `out`.

    Raises
    ------
    FieldkitError
        With what stands in the way and what to do.
    """
    check_outside(out, keep)
    if out.is_symlink() or (out.exists() and not out.is_dir()):
        raise FieldkitError(f"{out} is a file or a link, not a folder: choose another name for the write-up.")
    if not out.exists() or not any(out.iterdir()):
        return
    if not os.path.lexists(out / MARKER):
        raise FieldkitError(
            f"{out} exists and is not a write-up, so it is left alone: choose a new folder for the write-up."
        )
    listed = read_marker(out)["files"]
    changed = []
    for path in sorted(out.rglob("*")):
        name = path.relative_to(out).as_posix()
        if path.is_dir() or path.name in _LITTER or name == MARKER or ".ipynb_checkpoints" in path.parts:
            continue
        if not path.is_file() or listed.get(name) != digest(path):
            changed.append(name)
    if changed:
        shown = ", ".join(changed[:5]) + (f" and {len(changed) - 5} more" if len(changed) > 5 else "")
        raise FieldkitError(
            f"{out} holds files that were added or changed after it was written ({shown}). They would be lost: "
            "move them elsewhere, or choose a new folder for the write-up."
        )
