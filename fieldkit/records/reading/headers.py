"""Headers of a sheet: which declared column is meant and in which unit; a unit is never guessed."""

import re

from fieldkit.records import schema as schemas
from fieldkit.records.season import settings

_SUFFIXES = ("_w_m2", "_m_s", "_percent", "_hpa", "_mm", "_c", "_m", "_deg", "_g")


def split_unit(header):
    """Name and unit of a header such as ``surface [degF]``; the unit is None when none is written.

    Examples
    --------
    >>> split_unit("Surface (°F)")
    ('Surface', '°F')
    >>> split_unit("Sun W/m2")
    ('Sun', 'W/m2')
    """
    match = re.fullmatch(r"(.*?)\s*[\[({]\s*(.*?)\s*[\])}]\s*", header)
    if match:
        return match[1], match[2]
    # "Sun W/m2": a last word that can be nothing but a unit.
    name, _, last = header.strip().rpartition(" ")
    plain = len(last) > 1 and not last.isalpha()
    if name and plain and any(d != "none" and schemas.find_unit(last, d) is not None for d in schemas.UNITS):
        return name.strip(" ,;:"), last
    return header, None


def base(header):
    """A header without capitals, blanks and signs, as headers are compared.

    Examples
    --------
    >>> base("Shade air")
    'shade_air'
    """
    return re.sub(r"\W+", "_", header.strip().lower()).strip("_")


def stem(column):
    """A declared column without its unit.

    Examples
    --------
    >>> stem("irradiance_w_m2")
    'irradiance'
    """
    for suffix in _SUFFIXES:
        if column.endswith(suffix):
            return column.removesuffix(suffix)
    return column


def renamed(table, stated):
    """Headers that season.toml gives another name, as they are compared, and that name.

    Examples
    --------
    >>> renamed("choices", {"columns": {"choices": {"Ground temp": "surface [degF]"}}})
    {'ground_temp': 'surface [degF]'}
    """
    given = settings.section(stated, "columns")
    return {base(k): v for k, v in (given | settings.section(given, table)).items() if isinstance(v, str)}


# How exports head the column with the time, as headers are compared.
TIMES = ("time", "date_time", "datetime", "timestamp", "time_stamp", "date_and_time", "date")
# Words by which people head a column; they only make a suggestion, nothing is taken for granted.
_HINTS = {
    "animal_id": {"animal", "tier", "individual", "lizard", "snake", "tortoise", "gecko"},
    "behaviour": {"behavior", "behaviour", "activity", "doing"},
    "body_temperature_c": {"body", "cloaca", "cloacal"},
    "irradiance_w_m2": {"sonne", "soleil", "sol", "solar", "sun", "sunlight", "radiation", "light", "pyranometer"},
    "logger_id": {"logger", "serial"},
    "place_id": {"place", "spot", "point", "position"},
    "set_id": {"set"},
    "shade_air_c": {"luft", "aire", "aria", "air", "shade", "ambient"},
    "station_id": {"station"},
    "surface_c": {"boden", "suelo", "sol", "surface", "ground", "rock", "substrate"},
    "time": {"time", "when", "date", "datetime", "timestamp", "zeit", "uhrzeit", "hora", "heure", "ora"},
    "used": {"used", "taken", "chosen", "present"},
    "value": {"value", "reading"},
}


def suggestion(column, names, table):
    """Which of someone's headers may stand for a declared column, by its words and its unit, or None.

    Examples
    --------
    >>> suggestion("surface_c", ["surface type", "surface temperature (°C)"], "choices")
    'surface temperature (°C)'
    """
    limits = schemas.column_range(table, column)
    dimension = limits.dimension if limits else "none"
    ranked = []
    for name in names:
        plain, unit = split_unit(name)
        if not _HINTS.get(column, set()) & set(base(plain).split("_")):
            continue
        fits = unit is not None and dimension != "none" and schemas.find_unit(unit, dimension) is not None
        if unit is None or fits:
            ranked.append((not fits, name))
    return min(ranked)[1] if ranked else None


def match(header, table, stated, file, problems, row):
    """Declared column and unit of one header; (None, None) for a column of the user's own.

    Examples
    --------
    >>> from fieldkit.records.problems import Problems
    >>> match("Surface (°F)", "choices", {}, "choices.csv", Problems(), 1)
    ('surface_c', '°F')
    >>> match("wind_mph", "choices", {}, "choices.csv", Problems(), 1)
    ('wind_m_s', 'mph')
    """
    own = split_unit(header)[1]
    given, header = header, renamed(table, stated).get(base(header), header)
    plain, unit = split_unit(header)
    name = base(plain)
    schema = schemas.ALL_TABLES[table]
    column = next((c for c in schema.columns if name in (c, stem(c))), None)
    spelled = unit
    if column is None:
        for candidate in schema.columns:
            limits = schemas.column_range(table, candidate)
            rest = name.removeprefix(stem(candidate) + "_")
            if limits and rest != name and limits.dimension != "none":
                for factors in schemas.UNITS[limits.dimension].values():
                    if rest in factors[2]:
                        column, spelled = candidate, rest
                if rest in schemas.REFUSED_UNITS:
                    column, spelled = candidate, rest
    if column is None:
        return None, None
    limits = schemas.column_range(table, column)
    if limits is None or limits.dimension == "none":
        return column, None
    if header != given and own is not None and schemas.find_unit(own, limits.dimension) is not None:
        # A new name may not take the unit away that the sheet itself states.
        implied = limits.unit if name == column != stem(column) else own
        said = spelled if spelled is not None else implied
        if schemas.find_unit(said, limits.dimension) != schemas.find_unit(own, limits.dimension):
            problems.add(
                file,
                f"The header says {own}, its new name in season.toml says {said}.",
                f'Write "{given}" = "{stem(column)}" there: the unit of the header then counts.',
                row=row,
                column=given,
                value=header,
            )
            return column, None
        spelled = own
    units = settings.section(stated, "units")
    units = {base(k): v for k, v in (units | settings.section(units, table)).items() if isinstance(v, str)}
    written = units.get(name, units.get(column))
    if spelled is None and name == column and column != stem(column):
        spelled = limits.unit
        if written is None:
            return column, spelled
    if spelled is not None and written is not None:
        one, two = (schemas.find_unit(u, limits.dimension) for u in (spelled, written))
        if one != two:
            problems.add(
                file,
                f"The header says {spelled}, season.toml says {written}.",
                f"Correct one of them; a header without a unit would be '{stem(column)}'.",
                row=row,
                column=header,
                value=written,
            )
            return column, None
    spelled = spelled if spelled is not None else written
    if spelled is None and len(schemas.UNITS[limits.dimension]) == 1:
        spelled = limits.unit
    if spelled is None:
        problems.add(
            file,
            "Neither the header nor season.toml says the unit of this column.",
            f"Write the header as '{column}' or '{stem(column)} [{limits.unit}]', or add {stem(column)} = "
            f'"{limits.unit}" under [units] in season.toml. If it holds something else, give it another name.',
            row=row,
            column=header,
        )
        return column, None
    if schemas.find_unit(spelled, limits.dimension) is None:
        problems.add(
            file,
            settings.unit_problem(spelled, column),
            f"Give {column} in one of " + ", ".join(schemas.UNITS[limits.dimension]) + ".",
            row=row,
            column=header,
            value=spelled,
        )
        return column, None
    return column, spelled
