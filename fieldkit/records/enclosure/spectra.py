"""Read a measured spectrum: two columns, wavelength and irradiance per nanometre."""

import csv
import io
import re
from pathlib import Path

import numpy as np
import pandas as pd

from fieldkit.records.problems import Problems, SeasonError
from fieldkit.records.reading import cells, opening, sheets

_WAVELENGTH = re.compile(r"wave ?_?length|^nm$|lambda|λ", re.IGNORECASE)
_SAVE = "Save the two columns wavelength_nm and irradiance_w_m2_nm as CSV (UTF-8)."


def read_spectrum(path):
    """Read the spectrum of a lamp, or of the sun, from a CSV file.

    Parameters
    ----------
    path : str or Path
        One row per wavelength: ``wavelength_nm`` and a value per nanometre (``irradiance_w_m2_nm`` or any other unit;
        for lamps only the shape is used). Comma, semicolon or tab between, decimal point or comma; lines before the
        header, as instruments write them, are passed over.

    Returns
    -------
    Series (w,)
        By wavelength in nm, increasing; its name is that of the file.

    Raises
    ------
    SeasonError
        With everything that is wrong, file, row and remedy.

    Notes
    -----
    Small negative values are noise of a spectrometer and are kept, so that sums stay right.
    """
    path = Path(path)
    problems, spectrum = Problems(), None
    try:
        data = opening.read(path, limit=opening.SPECTRUM_BYTES)
    except opening.NotOpened as error:
        problems.add(path.name, error.problem, error.remedy)
    else:
        spectrum = _parse(data, path, problems)
    if problems.any_errors:
        raise SeasonError(problems.table(), path.parent)
    return spectrum


def _parse(data, path, problems):
    text = sheets.decode(data)[0]
    if text is None:
        problems.add(path.name, "This is not a text file.", _SAVE)
        return None
    rows, header, where = _table(text)
    if header is None:
        problems.add(path.name, "No row of this file has a column for the wavelength and one for a value.", _SAVE)
        return None
    if re.search(r"[µu]m\b|micro", header[where], re.IGNORECASE):
        problems.add(
            path.name,
            "The wavelengths are in micrometres.",
            "Multiply them by 1,000 and call the column wavelength_nm.",
            column=header[where],
        )
        return None
    others = [i for i in range(len(header)) if i != where and header[i].strip()]
    named = [i for i in others if re.search(r"irradiance|w/?_?m", header[i].lower())]
    value = next(iter(named + others), None)
    if value is None:
        problems.add(path.name, "There is no column beside the wavelength.", _SAVE)
        return None
    pair = {}
    for place in (where, value):
        column = pd.Series({number: row[place] if place < len(row) else "" for number, row in rows}, dtype=object)
        mark = cells.decimal_mark(column.map(cells.tidy))
        mark = mark if mark in (".", ",") else "."
        numbers, wrong = cells.numbers(column, decimal=mark)
        for row, written, problem, remedy in wrong:
            problems.add(path.name, problem, remedy, row=row, column=header[place], value=written)
        for row in numbers.index[numbers.isna() & ~numbers.index.isin([w[0] for w in wrong])]:
            problems.add(path.name, "This cell is empty.", "Fill it, or delete the row.", row=row, column=header[place])
        pair[place] = numbers
    if problems.any_errors:
        return None
    nm, values = pair[where], pair[value]
    _judge(nm, values, path.name, header[where], header[value], problems)
    order = np.argsort(nm.to_numpy(), kind="stable")
    index = pd.Index(nm.to_numpy()[order], name="wavelength_nm")
    return pd.Series(values.to_numpy()[order], index=index, name=path.stem)


def _table(text):
    """Numbered rows below the header, the header, and the place of the wavelength in it."""
    for separator in "\t;,":
        try:
            rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
        except csv.Error:
            continue
        for number, row in enumerate(rows):
            found = [i for i, name in enumerate(row) if _WAVELENGTH.search(name.strip())]
            if found and len(row) > 1:
                below = [(i + 1, r) for i, r in enumerate(rows) if i > number and any(c.strip() for c in r)]
                return below, row, found[0]
    return [], None, None


def _judge(nm, values, file, nm_name, value_name, problems):
    if len(nm) < 5:
        problems.add(file, f"{len(nm)} wavelengths are too few for a spectrum.", "Give at least five.")
        return
    for row in nm.index[nm.duplicated()]:
        problems.add(
            file,
            "This wavelength is there twice.",
            "Keep one row for each wavelength.",
            row=row,
            column=nm_name,
            value=f"{nm[row]:g}",
        )
    if nm.max() < 100:
        problems.add(
            file,
            f"Wavelengths from {nm.min():g} to {nm.max():g} are not nanometres.",
            "Multiply micrometres by 1,000.",
            column=nm_name,
        )
    elif (outside := nm[(nm < 100) | (nm > 100_000)]).any():
        row = outside.index[0]
        problems.add(
            file,
            "No light has this wavelength.",
            "Write nanometres.",
            row=row,
            column=nm_name,
            value=f"{nm[row]:g}",
        )
    top = values.max()
    if not top > 0:
        problems.add(file, "No value is above 0: the lamp was off.", "Measure again.", column=value_name)
    elif values.min() < -0.05 * top:
        row = values.idxmin()
        problems.add(
            file,
            "This value is far below 0, which noise does not explain.",
            "Take the dark reading of the spectrometer again.",
            row=row,
            column=value_name,
            value=f"{values[row]:g}",
        )
