"""How many choice sets, animals and days are needed to tell what animals choose on, found by simulated seasons."""

import time
from concurrent.futures import ProcessPoolExecutor
from contextlib import closing, nullcontext
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result, generator, method
from fieldkit.field import choice
from fieldkit.field.planning import simulate

# Redraws of the curve for its limits (our choice: a 2.5 % point then has an error of half a percentile).
CURVE_DRAWS = 1000
# Seasons of each size played between two looks at the clock, and those of a first answer, or the seconds after which
# one is given with fewer (our choices).
BATCH, FIRST, FIRST_SECONDS = 4, 24, 12.0


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Plan(Result):
    """Chance of a right verdict against the number of choice sets.

    Attributes
    ----------
    table : pandas.DataFrame
        One row per number of animals and sets: ``animals, sets, days, sets_per_animal, seasons, right, low, high,
        wrong, undecided, none, untestable`` (shares of the simulated seasons; low and high are Wilson limits of right).
    needed : pandas.DataFrame
        One row per number of animals: ``sets, low, high, days, status``; status is ``found``, ``fewer than tried`` or
        ``more than tried``.
    curve : pandas.DataFrame
        ``animals, sets, right, low, high``: the shares smoothed so that more sets never do worse (isotonic
        regression), straight lines between on the logarithm of the number of sets.
    sentence : str
    settings : dict
        Among them ``n_seasons``, asked for, and ``finished``: whether all were played in the time given.
    seed : int or None
    """

    table: pd.DataFrame
    needed: pd.DataFrame
    curve: pd.DataFrame
    sentence: str
    settings: dict
    seed: int | None


@method
def plan(
    *,
    site=None,
    driver="radiation",
    effect=2.0,
    n_sets=(40, 80, 120, 160, 240, 320),
    n_animals=(15,),
    n_places=(5, 8),
    sets_per_day=6,
    individual_sd=0.3,
    largest_share=None,
    fixed_places=None,
    liking_sd=0.0,
    looks_per_visit=1,
    used_first=False,
    design=None,
    surface_radiation_correlation=0.75,
    air_contrast_c=0.8,
    instrument_errors=None,
    target=0.8,
    n_seasons=200,
    permutations=199,
    level=0.95,
    workers=1,
    seconds=None,
    on_first=None,
    progress=None,
    rng=0,
):
    """Simulate seasons of several sizes and find how many choice sets name the right driver.

    Each simulated season has known truth and goes through the same comparison as real records, so the plan counts
    what the analysis would say, not what a formula hopes.

    Parameters
    ----------
    site : object, optional
        With ``latitude_deg``, ``longitude_deg`` and ``timezone`` (``season.site``); the demo's hills by default.
    driver : {"radiation", "surface", "air", "none"}
        On what the simulated animals choose. With "none" a right verdict is "none".
    effect : float
        Guess: how many times likelier a place becomes that is one within-set standard deviation higher in the driver.
    n_sets : sequence of int
        Season sizes to try, choice sets.
    n_animals : sequence of int
        Numbers of animals to try, each with every season size.
    n_places : int or (int, int)
        Places read in a set, or their lowest and highest number.
    sets_per_day : float
        Choice sets you can read in a day of watching; turns sets into days.
    individual_sd : float
        Guess: how much animals differ (standard deviation of the log of `effect`).
    largest_share : float, optional
        Share of the visits that the most watched animal makes, 0 to 1.
    fixed_places : int, optional
        Places that are read again and again (perches, marked stones); new places in every visit unless given.
    liking_sd : float
        Guess: how much such places differ in what nobody reads (standard deviation of the log odds).
    looks_per_visit : int
        Choice sets read in a row while an animal stays where it is.
    used_first : bool
        The used place is read first in every set.
    design : dict, optional
        How the places are compared, as season.toml states it (section ``choice_sets``); goes to `choice.compare`.
    surface_radiation_correlation : float
        Within-set correlation of true surface temperature and radiation; the closer to 1, the harder to tell apart.
    air_contrast_c : float
        Standard deviation of true shade air between the places of a set, °C.
    instrument_errors : dict of str to float, optional
        Standard deviation of a reading, by column (``season.instrument_errors``).
    target : float
        Wanted chance of a right verdict.
    n_seasons : int
        Simulated seasons for each size. 200 give a chance to within 3 points (standard error).
    permutations : int
        Of each season's comparison.
    level : float
        Confidence level of the intervals, which are those of the simulation only: the guesses are taken as true.
    workers : int
        Processes. The answer does not depend on it.
    seconds : float, optional
        Stop playing seasons after this time; `Plan.table` says how many were played. The seasons are the same ones in
        the same order, so more time only adds to them.
    on_first : callable, optional
        Called once with a first, rough Plan, after a dozen seconds or two dozen seasons of each size.
    progress : bool or callable, optional
        True draws a bar; a callable is called with (seasons done, seasons in all).
    rng : int or numpy.random.Generator
        Seed.

    Returns
    -------
    Plan

    Raises
    ------
    FieldkitError
        Settings out of range, fewer than two season sizes, more animals than sets.

    Notes
    -----
    Seasons have no weather that lasts for days: choice is compared within a set, so days matter only by the sets they
    bring. Unless `looks_per_visit` is given, a set is a choice made anew: further looks at an animal that has stayed
    where it was are no further sets.
    Isotonic regression: Barlow, Bartholomew, Bremner & Brunk (1972) Statistical inference under order restrictions.
    Wilson (1927) J. Am. Stat. Assoc. 22:209-212.

    Examples
    --------
    >>> found = plan(effect=3.0, n_sets=(30, 120), n_seasons=8, permutations=99)
    >>> found.table[["animals", "sets", "days", "seasons"]].to_numpy().tolist()
    [[15, 30, 5, 8], [15, 120, 20, 8]]
    """
    sizes, herds = (sorted({int(v) for v in np.atleast_1d(values)}) for values in (n_sets, n_animals))
    if len(sizes) < 2:
        raise FieldkitError("Give at least two season sizes in n_sets=, for example (40, 80, 160, 320).")
    if herds[0] < 2 or herds[-1] > sizes[0]:
        raise FieldkitError(
            f"Try at least 2 animals, and no more than the smallest season has sets ({sizes[0]}): n_animals={herds}."
        )
    for name, value in (("target", target), ("level", level)):
        if not 0 < value < 1:
            raise FieldkitError(f"{name}={value} must lie between 0 and 1, for example 0.8.")
    if n_seasons < 2 or sets_per_day <= 0 or permutations < 19 or workers < 1:
        raise FieldkitError(
            "n_seasons must be 2 or more, sets_per_day above 0, permutations 19 or more, workers 1 or more."
        )
    errors = simulate.INSTRUMENT_ERRORS if instrument_errors is None else dict(instrument_errors)
    world = {
        "driver": driver,
        "effect": effect,
        "n_places": n_places,
        "individual_sd": individual_sd,
        "largest_share": largest_share,
        "fixed_places": fixed_places,
        "liking_sd": liking_sd,
        "looks_per_visit": looks_per_visit,
        "used_first": used_first,
        "surface_radiation_correlation": surface_radiation_correlation,
        "air_contrast_c": air_contrast_c,
        "instrument_errors": errors,
    }
    if site is not None:
        world |= {name: getattr(site, name) for name in ("latitude_deg", "longitude_deg", "timezone")}
    random = generator(rng)
    designs = [(animals, sets) for animals in herds for sets in sizes]
    children = {one: random.spawn(n_seasons) for one in designs}
    (for_curves,) = random.spawn(1)
    curve_seed = int(for_curves.integers(2**32))
    settings = world | {
        "site": "demo hills" if site is None else getattr(site, "name", "given"),
        "sets_per_day": sets_per_day,
        "design": design,
        "target": target,
        "n_seasons": n_seasons,
        "permutations": permutations,
        "level": level,
    }

    def summed(seen):
        rows = [_row(*one, verdicts, driver, sets_per_day, level) for one, verdicts in seen.items()]
        table, again = pd.DataFrame(rows), np.random.default_rng(curve_seed)
        curves, needed = zip(*(_smooth(part, target, level, again) for _, part in table.groupby("animals")))
        needed = pd.DataFrame(needed).set_index("animals")
        needed["days"] = np.ceil(needed["sets"] / sets_per_day)
        return Plan(
            table=table,
            needed=needed[["sets", "low", "high", "days", "status"]],
            curve=pd.concat(curves, ignore_index=True),
            sentence=_sentence(table, needed, driver, effect, target, level, sets_per_day, sizes),
            settings=settings | {"finished": int(table["seasons"].min()) == n_seasons},
            seed=rng if isinstance(rng, int) else None,
        )

    verdict = partial(_verdict, world=world, permutations=permutations, design=design)
    first = None if on_first is None else lambda seen: on_first(summed(seen))
    return summed(_played(children, verdict, workers, seconds, first, progress))


def _verdict(task, world, permutations, design=None):
    animals, sets, random = task
    season = simulate.choice_season(n_sets=sets, n_animals=animals, rng=random, **world)
    stated = {} if design is None else {"design": design}
    return choice.compare(
        season.choices,
        instrument_errors=world["instrument_errors"],
        permutations=permutations,
        rng=random,
        **stated,
    ).verdict


def _played(children, verdict, workers, seconds, first, progress):
    """Verdicts by size, all sizes a few seasons at a time, until all are played or the time is over."""
    began, n_seasons = time.monotonic(), len(next(iter(children.values())))
    seen = {one: [] for one in children}
    total, bar = n_seasons * len(children), None
    if progress is True:
        from tqdm.auto import tqdm

        bar = tqdm(total=total, desc="simulated seasons")

        def progress(done, total):
            bar.update()

    with closing(bar) if bar is not None else nullcontext(), _pool(workers) as pool:
        done = 0
        for start in range(0, n_seasons, BATCH):
            batch = [(one, child) for child in range(start, min(start + BATCH, n_seasons)) for one in children]
            tasks = [(*one, children[one][child]) for one, child in batch]
            for (one, _), found in zip(batch, map(verdict, tasks) if pool is None else pool.map(verdict, tasks)):
                seen[one].append(found)
                done += 1
                if progress:
                    progress(done, total)
            passed = time.monotonic() - began
            played = start + BATCH
            if first is not None and played < n_seasons and (played >= FIRST or passed >= FIRST_SECONDS):
                first(seen)
                first = None
            if seconds is not None and passed >= seconds:
                break
    return seen


def _pool(workers):
    return nullcontext() if workers == 1 else ProcessPoolExecutor(workers)


def _row(animals, sets, verdicts, driver, sets_per_day, level):
    from statsmodels.stats.proportion import proportion_confint

    seen = pd.Series(verdicts)
    right = int((seen == driver).sum())
    low, high = proportion_confint(right, len(seen), alpha=1 - level, method="wilson")
    row = {
        "animals": animals,
        "sets": sets,
        "days": int(np.ceil(sets / sets_per_day)),
        "sets_per_animal": sets / animals,
        "seasons": len(seen),
        "right": right / len(seen),
        "low": low,
        "high": high,
    }
    others = ("undecided", "none", "untestable")
    row["wrong"] = float((~seen.isin([driver, *others])).mean())
    return row | {name: float((seen == name).mean()) if name != driver else 0.0 for name in others}


def _smooth(part, target, level, random):
    """Curve that never falls, and where it passes the target, both with the simulation's own error."""
    sets = part["sets"].to_numpy(float)
    seasons = part["seasons"].to_numpy()
    share = _never_falling(part["right"].to_numpy())
    # Half a season is added to either side: shares of exactly 0 or 1 would otherwise be taken as certain.
    doubtful = (part["right"].to_numpy() * seasons + 0.5) / (seasons + 1)
    again = np.array([_never_falling(random.binomial(seasons, doubtful) / seasons) for _ in range(CURVE_DRAWS)])
    tails = [(1 - level) / 2, (1 + level) / 2]
    fine = np.unique(np.round(np.geomspace(sets[0], sets[-1], 60)))
    at = np.log(fine), np.log(sets)
    low, high = np.quantile([np.interp(*at, draw) for draw in again], tails, axis=0)
    curve = pd.DataFrame(
        {"animals": part["animals"].iloc[0], "sets": fine, "right": np.interp(*at, share), "low": low, "high": high}
    )
    place = _crossing(sets, share, target)
    ends = np.quantile([_crossing(sets, draw, target) for draw in again], tails, method="nearest")
    status = "found"
    if not np.isfinite(place):
        status = "more than tried" if place > 0 else "fewer than tried"
    row = {
        "animals": part["animals"].iloc[0],
        "sets": np.ceil(place) if status == "found" else np.nan,
        "low": np.floor(ends[0]) if np.isfinite(ends[0]) else ends[0],
        "high": np.ceil(ends[1]) if np.isfinite(ends[1]) else ends[1],
        "status": status,
    }
    return curve, row


def _never_falling(share):
    from scipy.optimize import isotonic_regression

    return isotonic_regression(share).x


def _crossing(sets, share, target):
    """Where the curve reaches the target; minus infinity where it starts above it, infinity where it never does."""
    if share[0] >= target:
        return -np.inf
    if share[-1] < target:
        return np.inf
    first = int(np.argmax(share >= target))
    part = (target - share[first - 1]) / (share[first] - share[first - 1])
    return float(np.exp(np.log(sets[first - 1]) + part * np.log(sets[first] / sets[first - 1])))


def _sentence(table, needed, driver, effect, target, level, sets_per_day, sizes):
    goal = f"the verdict '{driver}' in {100 * target:.0f} % of seasons"
    parts = []
    for animals, row in needed.iterrows():
        if row["status"] == "found":
            low = f"fewer than {sizes[0]}" if row["low"] == -np.inf else f"{row['low']:.0f}"
            high = f"more than {sizes[-1]}" if row["high"] == np.inf else f"{row['high']:.0f}"
            parts.append(
                f"{animals} animals need about {row['sets']:.0f} choice sets ({100 * level:g} % interval of the "
                f"simulation {low} to {high}), that is {row['days']:.0f} days of {sets_per_day:g} sets"
            )
        elif row["status"] == "fewer than tried":
            parts.append(f"with {animals} animals the smallest season tried, {sizes[0]} sets, is already enough")
        else:
            best = 100 * table.loc[table["animals"] == animals, "right"].max()
            parts.append(f"with {animals} animals not even {sizes[-1]} sets are enough (best {best:.0f} %)")
    guess = f"If a place one standard deviation higher in {driver} is {effect:.3g} times as likely to be taken"
    if driver == "none":
        guess = "If animals choose at random"
    played = sorted(set(table["seasons"]))
    return (
        f"{guess}, then for {goal} {'; '.join(parts)}. A wrong driver was named in "
        f"{100 * table['wrong'].mean():.1f} % of all simulated seasons ({played[0]} of each size)."
    )
