"""Several seasons together: every quantity pooled, what the seasons say one by one, and the verdict on the species."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result, method
from fieldkit.field.pool.combined import CLEAR_P, FEWEST, FEWEST_FUNNEL, LEVEL, combine
from fieldkit.field.pool.quantities import QUANTITIES
from fieldkit.field.pool.regress import regression

DRIVERS = ("air", "surface", "radiation")
# Chance that one season names a given driver when there is nothing: choice.compare holds it below this.
_NAMED_BY_CHANCE = 0.05
COVARIATES = {"site_elevation_m": "elevation (m)", "site_latitude_deg": "latitude (°)"}
_NUMBERS = ("estimate", "standard_error", "low", "high", "new_low", "new_high", "tau2", "tau2_low", "tau2_high")
_NUMBERS += ("q", "q_p", "i2", "p")
# An instrument whose stated error is this many times that of the middle season differs (rule of thumb).
COARSE = 2.0


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Together(Result):
    """Seasons of one species together.

    Attributes
    ----------
    table : DataFrame
        One row a quantity: seasons, estimate and limits, limits for a new season, variance between seasons with its
        interval, Q, p-value, I², whether clear, and seasons without which the answer is another.
    parts : dict of str to Pooled
    seasons : DataFrame
        One row a season: verdict, sets, animals, days, design, instruments, caution, and `differs`, why the rule would
        leave it out.
    estimates : DataFrame
        All that was pooled, with `season` first.
    regressions : DataFrame
        Slope on elevation and on latitude, for quantities of ten seasons or more.
    verdict : {"air", "surface", "radiation", "undecided", "listed"}
    without : Together or None
        The same without the seasons that differ.
    species, invented, sentence
    """

    table: object
    parts: dict
    seasons: object
    estimates: object
    regressions: object
    verdict: str
    sentence: str
    species: str
    invented: bool
    without: object = None
    warnings: tuple = ()


def by_species(tables):
    """Pool seasons, each species by itself.

    Parameters
    ----------
    tables : dict of str to DataFrame
        Name of a season, and its estimates as `estimates.read` or `estimates.table` gives them.

    Returns
    -------
    list of Together

    Raises
    ------
    FieldkitError
        When there is nothing to pool.
    """
    whole = _stacked(tables)
    key = whole["species"].map(lambda name: " ".join(str(name).lower().split()))
    return [together(part) for _, part in whole.groupby(key, sort=True)]


def _stacked(tables):
    parts = []
    for name, table in tables.items():
        part = table.copy()
        group = part["group"].fillna("").astype(str)
        part.insert(0, "season", [f"{name}, {g}" if g else name for g in group])
        # A season that is told by group does not count a second time as a whole.
        parts.append(part[group != ""] if (group != "").any() else part)
    if not parts:
        raise FieldkitError("There is no season to pool: give folders with a season, a write-up or estimates.csv.")
    # Columns that are empty in one table and numbers in another stay what they are.
    whole = pd.concat([part.astype(object) for part in parts], ignore_index=True)
    numbers = ["estimate", "standard_error", "low", "high", "site_latitude_deg", "site_elevation_m"]
    return whole.assign(**{c: pd.to_numeric(whole[c], errors="coerce") for c in numbers})


@method
def together(estimates, *, level=LEVEL):
    """Pool every quantity of the seasons of one species, with and without seasons whose design or instruments differ.

    Parameters
    ----------
    estimates : DataFrame
        Rows of `estimates.read` with a column ``season``.
    level : float
        Of all intervals.

    Returns
    -------
    Together

    Notes
    -----
    The verdict names a driver when it alone is clear over the seasons, at 4 % held over the drivers (Holm 1979, Scand.
    J. Stat. 6:65). That several seasons name one driver is held against seasons that each name it one time in twenty
    by chance (binomial).

    Examples
    --------
    >>> rows = [{"season": s, "quantity": "selection_radiation", "estimate": e, "standard_error": 0.1,
    ...          "verdict": "radiation", "species": "ridge lizard"} for s, e in zip("ABCD", (0.5, 0.6, 0.4, 0.5))]
    >>> together(pd.DataFrame(rows)).verdict
    'radiation'
    """
    from fieldkit.field.pool import estimates as own

    estimates = estimates.reindex(columns=["season", *own.COLUMNS])
    seasons = _seasons(estimates)
    answer = _pooled(estimates, seasons, level)
    differ = seasons.index[seasons["differs"] != ""]
    if len(differ) and len(differ) < len(seasons):
        kept = estimates[~estimates["season"].isin(differ)]
        rest = _pooled(kept, seasons.drop(differ), level)
        answer["without"] = rest = Together(**rest)
        answer["sentence"] += (
            f" {_some(len(differ))} in design or instruments ({', '.join(differ[:5])}); without: {rest.sentence}"
        )
    return Together(**answer)


def _some(n):
    return "1 season differs" if n == 1 else f"{n} seasons differ"


def _pooled(estimates, seasons, level):
    parts, rows, slopes = {}, [], []
    for name, part in estimates.groupby("quantity", sort=False):
        known = part[part["standard_error"].notna()].drop_duplicates("season")
        if not len(known):
            continue
        about = QUANTITIES[name]
        found = combine(
            known["estimate"].astype(float), known["standard_error"].astype(float), names=known["season"],
            null=about.null, level=level, unit=about.unit,
        )  # fmt: skip
        parts[name] = found
        rows.append(_row(name, about, found, len(part)))
        slopes += _slopes(name, known, level)
    columns = list(_row("", QUANTITIES["accuracy"], combine([0.0], [1.0]), 0))
    species = [s for s in estimates["species"].dropna().astype(str) if s]
    verdict, sentence = _verdict(parts, seasons)
    return {
        "table": pd.DataFrame(rows, columns=columns).set_index("quantity"),
        "parts": parts,
        "seasons": seasons,
        "estimates": estimates,
        "regressions": pd.DataFrame(slopes, columns=["quantity", "covariate", "slope", "low", "high", "p"]),
        "verdict": verdict,
        "sentence": sentence,
        "species": species[0] if species else "",
        "invented": bool((estimates["invented"] == "yes").any()),
    }


def _row(name, about, found, n_told):
    marked = list(found.table.index[found.table["decides"]]) if found.pooled else []
    return {
        "quantity": name,
        "what": about.words,
        "unit": about.unit,
        "n_seasons": found.n_seasons,
        "n_without_error": n_told - found.n_seasons,
        **{name: getattr(found, name) for name in _NUMBERS},
        "clear": "" if about.null is None or not found.pooled else "yes" if found.clear else "no",
        "decides": "; ".join(marked),
    }


def _slopes(name, known, level):
    for covariate, words in COVARIATES.items():
        part = known[known[covariate].notna()]
        if len(part) < FEWEST_FUNNEL or part[covariate].nunique() < 2:
            continue
        found = regression(
            part["estimate"].astype(float), part["standard_error"].astype(float), part[covariate].astype(float),
            name=words, level=level,
        )  # fmt: skip
        slope = found.table.loc["slope"]
        yield (name, words, slope["estimate"], slope["low"], slope["high"], slope["p"])


def _seasons(estimates):
    columns = ["n_sets", "n_animals", "n_days", "design", "instrument_errors", "caution", "invented"]
    columns = ["verdict", *columns, "fieldkit_version", "seed"]

    def first(values):
        values = [v for v in values if not pd.isna(v) and v != ""]
        return values[0] if values else ""

    # The rows of choice come first where there are any: design, verdict and sets stand in them.
    order = estimates["quantity"].astype(str).str.startswith("selection_")
    table = (
        estimates.assign(_last=~order)
        .sort_values("_last", kind="stable")
        .groupby("season", sort=False)[columns]
        .agg(first)
    )
    table = table.loc[estimates["season"].drop_duplicates()]
    table["differs"] = ["; ".join(_why(row, table)) for _, row in table.iterrows()]
    return table


def _errors(text):
    out = {}
    for part in str(text).split(";"):
        name, _, number = part.strip().rpartition(" ")
        try:
            out[name] = float(number)
        except ValueError:
            continue
    return out


def _why(row, table):
    out = [c for c in str(row["caution"]).split("; ") if c]
    all_errors = [_errors(text) for text in table["instrument_errors"]]
    for name, error in _errors(row["instrument_errors"]).items():
        middle = float(np.median([e[name] for e in all_errors if name in e]))
        if middle > 0 and error > COARSE * middle:
            out.append(f"error of {name} {error:g}, in the middle season {middle:g}")
    return out


def _verdict(parts, seasons):
    tested = {d: parts[f"selection_{d}"] for d in DRIVERS if f"selection_{d}" in parts}
    said = seasons["verdict"][seasons["verdict"] != ""]
    counts = said.value_counts()
    words = [f"{_count(counts.get(d, 0), len(said))} {d}" for d in DRIVERS if counts.get(d, 0)]
    rest = int(len(said) - sum(counts.get(d, 0) for d in DRIVERS))
    if rest:
        words.append(f"{rest} name none")
    votes = f"Of {len(said)} seasons one by one: {', '.join(words)}." if len(said) else "No season tested choice."
    pooled = {d: p for d, p in tested.items() if p.pooled}
    if not pooled:
        return "listed", f"Too few seasons tested choice to pool it ({FEWEST} are needed). {votes}"
    clear = _holm({d: p.p for d, p in pooled.items()})
    verdict = clear[0] if len(clear) == 1 else "undecided"
    start = {
        0: "Over the seasons together no driver of choice is clear: they cannot tell",
        1: f"Over the seasons together animals chose on {verdict}",
    }.get(len(clear), f"Over the seasons together {' and '.join(clear)} both count, and no single driver can be named")
    told = "; ".join(_odds(d, p) for d, p in pooled.items())
    return verdict, f"{start}. {votes}{_beyond(counts, len(said))} {told}. {_agree(pooled)}"


def _count(n, of):
    return f"{n} of {of} name" if n else ""


def _holm(p):
    clear = []
    for i, (name, value) in enumerate(sorted(p.items(), key=lambda item: item[1])):
        if not value <= CLEAR_P / (len(p) - i):
            break
        clear.append(name)
    return clear


def _beyond(counts, n):
    from scipy import special

    named = {d: counts.get(d, 0) for d in DRIVERS}
    most = max(named, key=named.get)
    if named[most] < 2:
        return ""
    p = float(special.bdtrc(named[most] - 1, n, _NAMED_BY_CHANCE))
    told = f"{p:.2g}" if p > 1e-4 else "less than 0.0001"
    return f" That {named[most]} of {n} name {most} by chance has a probability of {told}."


def _odds(driver, found):
    per = QUANTITIES[f"selection_{driver}"].unit.removeprefix("log odds per ")
    e, low, high, new_low, new_high = np.exp(
        np.clip([found.estimate, found.low, found.high, found.new_low, found.new_high], -50, 50)
    )
    return (
        f"{driver}: odds times {e:.2f} for {per} more ({100 * found.level:g} % interval {low:.2f} to {high:.2f}; a new "
        f"season {new_low:.2f} to {new_high:.2f})"
    )


def _agree(pooled):
    apart = [d for d, p in pooled.items() if p.q_p < 0.05]
    deciding = sorted({s for p in pooled.values() for s in p.table.index[p.table["decides"]]})
    words = (
        f"Seasons differ beyond chance in {' and '.join(apart)}."
        if apart
        else "Seasons differ by no more than chance explains."
    )
    if deciding:
        words += f" Without {' or '.join(deciding[:3])} an answer would be another."
    return words
