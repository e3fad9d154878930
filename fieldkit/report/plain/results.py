"""What each kind of result says to everybody: found, how sure, the numbers, and what a keeper may take from it.

Messages are keys of the catalogue with numbers already rounded, so that a number has the same
digits everywhere. Only fields of results are read, never their sentences.
"""

import numpy as np

# What a message is to the reader.
PARTS = ("found", "sure", "numbers", "keeper")


def plain(result, topic):
    """Messages of a result by what they are to the reader.

    Parameters
    ----------
    result : Result
        What an analysis came to.
    topic : str
        The package it comes from, such as ``"choice"``.

    Returns
    -------
    dict of str to list of dict
        Of each of `PARTS` the messages, each with ``key`` and ``values``; empty lists for a result that has no plain
        words.

    Examples
    --------
    >>> plain(None, "core")
    {'found': [], 'sure': [], 'numbers': [], 'keeper': []}
    """
    told = {part: [] for part in PARTS}
    say = _SAID.get(f"{topic}.{type(result).__name__}")
    for part, key, values in say(result) if say else ():
        told[part].append({"key": key, "values": values})
    return told


def _n(value, digits=0):
    """A number with thousands separated and so many digits after the point."""
    return f"{round(float(value), digits) + 0.0:,.{digits}f}"


def _s(value, digits=2):
    """A number with so many significant digits, never as a power of ten."""
    return f"{float(f'{value:.{digits}g}'):,.10g}"


def _unit(column):
    return "W/m²" if column.endswith("_w_m2") else "°C" if column.endswith("_c") else ""


def _name(driver):
    return {"key": f"names.{driver}"} if driver in ("air", "surface", "radiation") else driver.replace("_", " ")


def _choice(found):
    for key in _choice_found(found):
        yield "found", *key
    if found.reason == "untestable" or found.chance is None:
        return
    row = found.chance.loc[found.chance["held"].idxmin()].drop("alone")
    p = float(row.max())
    sets = _n(found.n_sets)
    if found.chosen and p < 0.1:
        yield "sure", "choice.chance", {"sets": sets, "times": _n(np.floor(1 / p))}
    else:
        yield "sure", "choice.chance_often", {"sets": sets, "percent": _n(100 * p)}
    if found.n_animals:
        yield "sure", "choice.animals", {"animals": _n(found.n_animals)}
    if found.design is not None and not found.design.by_rule:
        yield "sure", "choice.picked", {}
    yield from _odds(found)


def _choice_found(found):
    """The verdict in two sentences, by its reason."""
    by_reason = {"chance": "none", "one animal": "one_animal"}
    plain_reasons = ("chance", "repeats", "apart", "unreliable", "one animal", "untestable")
    key = by_reason.get(found.reason, found.reason)
    if found.reason in plain_reasons:
        yield f"choice.{key}", {}
        yield f"choice.{key}_2", {}
    elif found.reason == "operative":
        yield "choice.operative", {}
        if found.operative is not None and np.isfinite(found.operative.top):
            yield "choice.operative_near", {"value": _s(found.operative.top, 3)}
    elif found.verdict not in found.corrected.index:
        key = {"none": "none", "untestable": "untestable"}.get(found.verdict, "undecided")
        yield f"choice.{key}", {}
        yield f"choice.{key}_2", {}
    else:
        yield from _named(found)


def _named(found):
    name = found.verdict
    way = "more" if found.corrected.loc[name, "log_odds_per_sd"] > 0 else "less"
    what = {"key": f"names.{way}_{name}"}
    if name not in ("air", "surface", "radiation"):
        what = {"key": f"names.{way}_other", "values": {"name": _name(name)}}
    own = found.bends[found.bends["clear"] & (found.bends["driver"] == name)] if len(found.bends) else found.bends
    kinds = set(own["kind"]) if len(own) else set()
    if not found.steady and "middle" in kinds:
        yield "choice.bent", {"name": _name(name)}
        row = own[own["kind"] == "middle"].iloc[0]
        column = found.contrast.loc[name, "column"]
        if row["log_odds"] < 0 and row["offered_low"] <= row["top"] <= row["offered_high"]:
            yield "choice.middle", {"name": _name(name), "value": f"{_s(row['top'], 3)} {_unit(column)}".strip()}
        return
    yield "choice.named", {"what": what}
    if found.steady or not kinds:
        yield "choice.beyond", {"name": _name(name)}
    elif found.modulator == "hour":
        yield "choice.changing_hour", {}
    else:
        yield ("choice.changing" if own["log_odds"].iloc[0] < 0 else "choice.changing_up"), {}


def _odds(found):
    if found.verdict not in found.corrected.index:
        return
    row, contrast = found.corrected.loc[found.verdict], found.contrast.loc[found.verdict]
    if not np.isfinite(row[["low", "high"]].to_numpy(dtype=float)).all() or ": " in contrast["column"]:
        return
    factor, low, high = (_s(row[name], 3) for name in ("odds_ratio_per_sd", "low", "high"))
    step = {"step": _s(contrast["true_sd"], 3), "unit": _unit(contrast["column"]), "name": _name(found.verdict)}
    yield "numbers", "choice.odds", step | {"factor": factor, "low": low, "high": high}


def _basking(found):
    lower, peak, upper = (found.table.loc[name] for name in ("lower limit", "peak", "upper limit"))
    if not all(np.isfinite([row["estimate_c"], row["low_c"], row["high_c"]]).all() for row in (lower, upper)):
        yield "found", "basking.none", {}
        return
    ends = {"low": _n(lower["estimate_c"], 1), "high": _n(upper["estimate_c"], 1)}
    yield "found", "basking.found", ends
    widest = max((row["high_c"] - row["low_c"]) / 2 for row in (lower, upper))
    yield "sure", "basking.sure", {"error": _s(widest)}
    numbers = {"low_from": lower["low_c"], "low_to": lower["high_c"], "high_from": upper["low_c"]}
    numbers |= {"high_to": upper["high_c"], "peak": peak["estimate_c"]}
    yield "numbers", "basking.numbers", {name: _n(value, 1) for name, value in numbers.items()}
    yield "keeper", "basking.keeper", ends


def _climate(found):
    rows = found.pooled.dropna(subset=["low_c", "high_c"])
    for part, places in (("found", range(len(rows))), ("keeper", [rows["high_c"].argmax()] if len(rows) else [])):
        for place in places:
            row, season = rows.iloc[place], rows.index[place]
            name = {"key": f"names.{season}"} if season in ("winter", "spring", "summer", "autumn") else str(season)
            values = {"low": _n(row["low_c"], 1), "high": _n(row["high_c"], 1), "season": name}
            yield part, f"climate.{part}", values


def _sunlight(found):
    if found.quantity != "irradiance_w_m2":
        return
    row = found.table.loc["all"]
    values = {"used": _n(row["median"]), "offered": _n(row["offered_median"])}
    yield "found", "sunlight.found", values
    if np.isfinite(row["low"]):
        yield "sure", "sunlight.sure", {"low": _n(row["low"]), "high": _n(row["high"])}
    yield "keeper", "sunlight.keeper", {"used": values["used"]}


def _hours(found):
    full = found.table[found.table["complete"]]
    if len(full):
        yield "found", "sunlight.hours", {"hours": _n(full["hours"].median(), 1)}


def _radiation_error(found):
    bad = int((found.table["verdict"] == "reads the sun").sum())
    unsure = int((found.table["verdict"] == "cannot tell").sum())
    if bad:
        yield "found", "loggers.error", {"bad": _n(bad), "all": _n(len(found.table))}
    else:
        yield "found", f"loggers.{'unsure' if unsure else 'clean'}", {}


def _loggers(found):
    due = found.table["due"].sum()
    if due:
        share = _s(100 * found.table["readings"].sum() / due, 3)
        yield "found", "loggers.complete", {"loggers": _n(len(found.table)), "percent": share}


def _preferred(found):
    yield "found", "thermoregulation.preferred", {"low": _n(found.low_c, 1), "high": _n(found.high_c, 1)}


def _indices(found):
    if "effectiveness" in found.table.index:
        row = 100 * found.table.loc["effectiveness", ["estimate", "low", "high"]].to_numpy(dtype=float)
        if np.isfinite(row).all():
            values = dict(zip(("percent", "low", "high"), (_n(value) for value in row)))
            yield "found", "thermoregulation.effectiveness", values


def _sightings(found):
    count = found.table.loc["all", "sightings"]
    yield "found", "sightings.found", {"sightings": _n(count), "days": _n(found.n_days)}


def _compare(found):
    counts = found.table["verdict"].value_counts()
    differs, alike = (int(counts.get(name, 0)) for name in ("differs", "alike"))
    values = {"all": len(found.table), "differs": differs, "alike": alike, "open": len(found.table) - differs - alike}
    yield "found", "compare.found", {name: _n(value) for name, value in values.items()}


def _audit(found):
    counts = found.table["status"].value_counts()
    exceeded = int(found.table["limit_exceeded"].sum())
    met, missed = int(counts.get("met", 0)), int(counts.get("missed", 0))
    values = {"all": len(found.table), "met": met, "missed": missed, "exceeded": exceeded}
    values["open"] = len(found.table) - met - missed - int(counts.get("limit exceeded", 0))
    yield "found", "audit.found", {name: _n(value) for name, value in values.items()}
    if exceeded:
        yield "keeper", "audit.keeper", {"exceeded": _n(exceeded)}


def _lamp(found):
    value = found.irradiance[0]
    key = {"within": "within", "short": "short", "over": "over"}.get(found.irradiance_verdict, "unsure")
    if np.isfinite(value):
        low, _, high = found.wanted_w_m2
        yield "found", f"lamps.{key}", {"value": _n(value), "low": _n(low), "high": _n(high)}


_SAID = {
    "choice.Comparison": _choice,
    "basking.Window": _basking,
    "climate.AirBands": _climate,
    "sunlight.ChosenSunlight": _sunlight,
    "sun.BaskingHours": _hours,
    "radiation_error.Contamination": _radiation_error,
    "sensors.LoggerCheck": _loggers,
    "thermoregulation.PreferredRange": _preferred,
    "thermoregulation.Indices": _indices,
    "sightings.Sightings": _sightings,
    "compare.FieldAgainstCaptivity": _compare,
    "audit.Audit": _audit,
    "lamps.LampMatch": _lamp,
}
