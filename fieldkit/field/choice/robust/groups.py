"""Groups in one table (species, sites, years): each asked by itself, and no driver for all where they differ."""

import dataclasses
from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, generator
from fieldkit.field.choice import decide as choice_decide
from fieldkit.field.choice.robust import animals as choice_animals
from fieldkit.field.choice.robust import ground as choice_ground
from fieldkit.field.choice.words import listed, spoken

# Columns that part a table into groups, in this order.
COLUMNS = ("species", "site", "year", "group")
# Level of the test of driver × group, and of the bounds that "alike" rests on (convention).
LEVEL = 0.05
# Groups are alike when no difference of half the mean effect is left open (our choice, as for animals).
HALF = 0.5
# A group that does not name the driver by itself takes the name from all, unless the test gives no hint at all that
# groups differ (our choice, on nine simulated folders of 70 + 70 sets; tests/studies/study_pool.py uses others).
DOUBT = 0.3
_DRAWS = 499


@dataclass(frozen=True, eq=False, kw_only=True)
class Groups:
    """What the groups of a table say, each by itself and against each other.

    Attributes
    ----------
    table : DataFrame
        One row a group: sets, animals, verdict.
    coefficients : DataFrame
        Log odds per within-set standard deviation, drivers side by side, one row a group, and standard errors.
    differ_p : float
        Test of driver × group, whole animals drawn between groups; NaN where it cannot be made.
    differ_in : tuple of str
        Drivers in which they differ.
    verdict : {"alike", "differ", "cannot tell"}
    sentence : str
    """

    table: object
    coefficients: object
    differ_p: float
    differ_in: tuple
    verdict: str
    sentence: str


def labels(choices):
    """Group of each row; None where there is one group only.

    Examples
    --------
    >>> labels(pd.DataFrame({"species": ["a", "b"], "site": ["x", "x"]})).tolist()
    ['a', 'b']
    """
    several = _several(choices)
    if not several:
        return None
    return choices[several].astype(object).fillna("not stated").astype(str).agg(", ".join, axis=1)


def _several(choices):
    return [c for c in COLUMNS if c in choices and len(set(choices[c].dropna().astype(str))) > 1]


def asked(choices, once, *, given, rng):
    """The answer for all, held against the groups of the table: a driver is named for all only if it stands in each.

    Parameters
    ----------
    choices : DataFrame
        The whole table.
    once : callable
        Gives the Comparison of a table.
    given : dict
        What it is called with.
    rng : int or numpy.random.Generator
        Seed.

    Returns
    -------
    Comparison
    """
    answer = _alone(choices, once, given, rng)
    group = labels(choices)
    if group is None:
        return answer
    fewer = given | {"permutations": min(given["permutations"], _DRAWS)}
    parts = {}
    for name in group.drop_duplicates():
        try:
            parts[name] = _alone(choices[group == name], once, fewer, rng)
        except FieldkitError:  # no unused places in this group, for instance
            parts[name] = None
    found = _compared(answer, choices, group, parts, given["cluster"], generator(rng))
    verdicts = set(found.table["verdict"])
    named = answer.verdict not in ("undecided", "none", "untestable")
    others = verdicts - {"undecided", "untestable", "none", answer.verdict}
    doubtful = verdicts != {answer.verdict} and (others or not found.differ_p > DOUBT)
    start = found.sentence
    if named and doubtful:
        each = "; ".join(f"{n}: {_told(v)}" for n, v in found.table["verdict"].items())
        sentence = f"No one driver holds for all: {each}. {start} Each group is told by itself."
        return dataclasses.replace(
            answer, verdict="undecided", reason="groups", sentence=sentence, groups=found, hidden=np.nan
        )
    return dataclasses.replace(answer, sentence=f"{answer.sentence} {start}", groups=found)


def _alone(choices, once, given, rng):
    """The answer of one table, which has to stand without the animal met most."""
    answer = once(choices, rng=rng, **given)
    if answer.verdict in ("none", "untestable") or answer.animals is None:
        return answer
    if answer.animals.largest_share < choice_animals.LARGE_SHARE or answer.n_animals <= choice_ground.FEWEST_ANIMALS:
        return answer
    rest = choices[choices[given["cluster"]].astype(str) != answer.animals.largest]
    without = once(rest, rng=rng, **given | {"permutations": min(given["permutations"], _DRAWS)})
    return choice_decide.without_largest(answer, without)


def _told(verdict):
    return {"undecided": "cannot tell", "none": "no selection found", "untestable": "not tested"}.get(
        verdict, spoken(verdict)
    )


def _compared(answer, choices, group, parts, cluster, rng):
    table = pd.DataFrame(
        [(n, p.n_sets, p.n_animals, p.verdict) if p is not None else (n, 0, 0, "untestable") for n, p in parts.items()],
        columns=["group", "n_sets", "n_animals", "verdict"],
    ).set_index("group")
    drivers = [d for d in answer.contrast.index[answer.contrast["testable"]] if d in answer.corrected.index]
    columns = [answer.contrast.loc[d, "column"] for d in drivers]
    known = choices[[*columns]].notna().all(axis=1).to_numpy() if columns else np.zeros(len(choices), bool)
    fine = _scores(choices[known], group[known], columns, cluster, rng) if known.any() else None
    if fine is None:
        return Groups(
            table=table, coefficients=pd.DataFrame(), differ_p=np.nan, differ_in=(), verdict="cannot tell",
            sentence=f"Whether {_kinds(choices)} differ cannot be told from so few sets.",
        )  # fmt: skip
    p, each_p, slopes, errors = fine
    slopes.columns = errors.columns = drivers
    differ = tuple(d for d, q in zip(drivers, each_p) if q <= LEVEL)
    mean = np.abs(slopes.mean())
    most = max(float(mean.max()), 1e-9)
    open_ = float((np.ptp(slopes.to_numpy(), axis=0) + 1.645 * np.sqrt((errors**2).sum().to_numpy())).max())
    if p <= LEVEL:
        verdict, what = "differ", listed([spoken(d) for d in differ or drivers])
        sentence = f"{_kinds(choices).capitalize()} differ in selection for {what} (p {p:.2g})."
    elif open_ <= HALF * most:
        verdict, sentence = "alike", f"{_kinds(choices).capitalize()} select alike (p {p:.2g})."
    else:
        verdict = "cannot tell"
        sentence = f"Whether {_kinds(choices)} differ cannot be told (p {p:.2g}): one may be there unseen."
    coefficients = pd.concat({"log_odds_per_sd": slopes, "standard_error": errors}, axis=1)
    return Groups(
        table=table, coefficients=coefficients, differ_p=p, differ_in=differ if p <= LEVEL else (), verdict=verdict,
        sentence=sentence,
    )  # fmt: skip


def _kinds(choices):
    words = {"species": "the species", "site": "the sites", "year": "the years", "group": "the groups"}
    return listed([words[c] for c in _several(choices)])


def _scores(choices, group, columns, cluster, rng):
    """Test of driver × group by scores at the common fit, whole animals drawn between groups; slopes by group."""
    from fieldkit.field.stats.clogit import fit

    used, codes = choices["used"].to_numpy(), np.unique(choices["set_id"].astype(str), return_inverse=True)[1]
    x = choices[columns].to_numpy(dtype=float)
    taken = np.bincount(codes, weights=used)
    good = (taken == 1)[codes] & (np.bincount(codes) > 1)[codes]
    if good.sum() < 10:
        return None
    x, used, codes = x[good], used[good], np.unique(codes[good], return_inverse=True)[1]
    names, owner = np.unique(group[good].astype(str), return_inverse=True)
    first = np.unique(codes, return_index=True)[1]
    owner, n_sets = owner[first], len(first)
    within = x - (np.stack([np.bincount(codes, weights=c) for c in x.T], 1) / np.bincount(codes)[:, None])[codes]
    sd = np.sqrt((within**2).sum(0) / (len(x) - n_sets))
    if not (sd > 0).all() or len(names) < 2:
        return None
    z = within / sd
    animal = choices[cluster].astype(object)[good].to_numpy()[first] if cluster in choices else np.arange(n_sets)
    animal = np.array([f"set {i}" if pd.isna(a) else f"{names[g]} {a}" for i, (a, g) in enumerate(zip(animal, owner))])
    unit = np.unique(animal, return_inverse=True)[1]
    common = fit(z, used, codes)
    score, information = _by_set(z, used, codes, np.asarray(common.coefficients, dtype=float))
    n_units = unit.max() + 1
    unit_score = np.stack([np.bincount(unit, weights=c, minlength=n_units) for c in score.T], 1)
    unit_information = np.zeros((n_units, *information.shape[1:]))
    np.add.at(unit_information, unit, information)
    home = np.zeros(n_units, dtype=int)
    home[unit] = owner

    def spread(where):
        s = np.zeros((len(names), z.shape[1]))
        i = np.zeros((len(names), z.shape[1], z.shape[1]))
        np.add.at(s, where, unit_score)
        np.add.at(i, where, unit_information)
        i += 1e-9 * np.eye(z.shape[1])
        whole = float(np.einsum("gi,gij,gj->", s, np.linalg.inv(i), s))
        return np.array([whole, *(s**2 / np.einsum("gii->gi", i)).sum(0)]), s, i

    seen, s, i = spread(home)
    drawn = np.array([spread(rng.permutation(home))[0] for _ in range(_DRAWS)])
    p = (1 + (drawn >= seen * (1 - 1e-9)).sum(0)) / (_DRAWS + 1)
    beta = np.asarray(common.coefficients, dtype=float) + np.einsum("gij,gj->gi", np.linalg.inv(i), s)
    error = np.sqrt(np.einsum("gii->gi", np.linalg.inv(i)))
    shown = {"index": pd.Index(names, name="group")}
    return float(p[0]), p[1:], pd.DataFrame(beta, **shown), pd.DataFrame(error, **shown)


def _by_set(z, used, codes, beta):
    """Score and information of each set at given coefficients."""
    weight = np.exp(np.clip(z @ beta, -50, 50))
    prob = weight / np.bincount(codes, weights=weight)[codes]
    mean = np.stack([np.bincount(codes, weights=prob * c) for c in z.T], 1)
    score = np.stack([np.bincount(codes, weights=used * c) for c in z.T], 1) - mean
    moved = z - mean[codes]
    information = np.zeros((mean.shape[0], z.shape[1], z.shape[1]))
    np.add.at(information, codes, prob[:, None, None] * moved[:, :, None] * moved[:, None, :])
    return score, information
