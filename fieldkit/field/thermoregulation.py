"""How well animals regulate: preferred range, accuracy, thermal quality, effectiveness, exploitation."""

import dataclasses
from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result, elementwise, generator
from fieldkit.field.uncertainty import cluster_bootstrap, percentile_tails

# Common practice, no source: fewer animals than this cannot show how animals differ, so no interval is given.
LEAST_ANIMALS = 5
# Below this the sentence calls intervals rough (our choice, from the coverage told in `indices`).
FEW_ANIMALS = 10
# An animal's own quartiles mean something from four readings on.
LEAST_READINGS = 4


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class PreferredRange(Result):
    """Preferred range from a temperature gradient; `draws` (n, 2) are its resamples, None below five animals."""

    table: pd.DataFrame
    sentence: str
    low_c: float
    high_c: float
    n_animals: int
    n_readings: int
    animals: pd.DataFrame
    left_out: pd.DataFrame
    draws: np.ndarray | None
    settings: dict
    seed: int | None


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Indices(Result):
    """Thermoregulation indices; `animals` has one row per animal, `left_out` every reading not used."""

    table: pd.DataFrame
    sentence: str
    preferred_range_c: tuple
    animals: pd.DataFrame
    distances: pd.DataFrame
    n_animals: int
    left_out: pd.DataFrame
    settings: dict
    seed: int | None


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Exploitation(Result):
    """Exploitation index under both readings of "possible"."""

    table: pd.DataFrame
    sentence: str
    preferred_range_c: tuple
    n_animals: int
    left_out: pd.DataFrame
    settings: dict
    seed: int | None


@elementwise({"distance_c": {"units": "K", "long_name": "distance from the preferred range"}})
def distance(temperature_c, low_c, high_c):
    """How far temperatures lie outside a range; nought inside and on its ends.

    Parameters
    ----------
    temperature_c : array_like
        Body or operative temperature, °C.
    low_c, high_c : float
        Ends of the preferred range, °C.

    Returns
    -------
    same kind as the input
        Distance, °C, never negative.

    References
    ----------
    Hertz, Huey & Stevenson (1993) Am. Nat. 142:796-818.

    Examples
    --------
    >>> distance([30.5, 32.0, 37.0], 32.0, 36.0).tolist()
    [1.5, 0.0, 1.0]
    """
    return _outside(temperature_c, low_c, high_c)


def _outside(temperature_c, low_c, high_c):
    # Without the wrapper: the bootstrap calls it thousands of times.
    return np.maximum(np.maximum(low_c - temperature_c, temperature_c - high_c), 0.0)


def preferred_range(body_c, *, animal_id, central=0.5, pool="animals", level=0.95, n_resamples=999, rng=0):
    """Find the preferred range: the central share of body temperatures chosen in a temperature gradient.

    Parameters
    ----------
    body_c : array_like, shape (n,)
        Body temperatures in the gradient, °C. Only where nothing but temperature drives the choice: not from the field.
    animal_id : array_like, shape (n,)
        Which animal each reading is of.
    central : float
        Share of readings inside the range; half is the custom.
    pool : {"animals", "readings"}
        ``animals``: each animal's own range, averaged, so that every animal has one vote. ``readings``: quantiles of
        all readings together, in which an animal read often counts more.
    level : float
        Confidence level of the intervals.
    n_resamples : int
        Bootstrap resamples of whole animals.
    rng : int or numpy.random.Generator
        Seed.

    Returns
    -------
    PreferredRange

    Raises
    ------
    FieldkitError
        Fewer than two animals with four readings each.

    References
    ----------
    Hertz, Huey & Stevenson (1993) Am. Nat. 142:796-818 (central 50 %). Hyndman & Fan (1996) Am. Stat. 50:361-365
    (quantiles of small samples, type 8).

    Examples
    --------
    >>> body = [31, 33, 34, 35, 36, 32, 33, 34, 35, 37]
    >>> preferred_range(body, animal_id=["A"] * 5 + ["B"] * 5).table["estimate_c"].round(2).tolist()
    [32.5, 35.5]
    """
    if not 0 < central < 1:
        raise FieldkitError(f"central={central} must lie between 0 and 1; half (0.5) is the custom.")
    if pool not in ("animals", "readings"):
        raise FieldkitError(f"pool='{pool}' is not known: choose 'animals' or 'readings'.")
    readings, left_out = _readings(body_c, animal_id, "body_c")
    counts = readings.groupby("animal_id")["value"].transform("size")
    left_out += [
        (f"body_c {row}", f"{animal} has fewer than {LEAST_READINGS} readings")
        for row, animal in readings.loc[counts < LEAST_READINGS, "animal_id"].items()
    ]
    readings = readings[counts >= LEAST_READINGS]
    animals = readings["animal_id"].nunique()
    if animals < 2:
        raise FieldkitError(
            f"A preferred range needs at least two animals with {LEAST_READINGS} readings each; there "
            f"{'is one' if animals == 1 else 'is none'}."
        )
    tails = [(1 - central) / 2, (1 + central) / 2]

    def ends(sample):
        if pool == "readings":
            return dict(zip(("low", "high"), _quantiles(sample["value"], tails)))
        own = [_quantiles(group, tails) for _, group in sample.groupby("animal_id")["value"]]
        return dict(zip(("low", "high"), np.mean(own, axis=0)))

    draws, seed, table = None, None, pd.DataFrame({"estimate_c": ends(readings)}).assign(low_c=np.nan, high_c=np.nan)
    if animals >= LEAST_ANIMALS:
        drawn = cluster_bootstrap(readings, ends, n_resamples=n_resamples, level=level, method="percentile", rng=rng)
        table[["low_c", "high_c"]] = drawn.table[["low", "high"]]
        draws, seed = drawn.draws.to_numpy(), drawn.seed
    table = table.set_axis(["lower end", "upper end"]).rename_axis("preferred range")
    own = readings.groupby("animal_id")["value"]
    by_animal = own.agg(
        readings="size", low_c=lambda v: _quantiles(v, tails[0]), high_c=lambda v: _quantiles(v, tails[1])
    )
    low, high = table["estimate_c"]
    if draws is None:
        sure = f"Only {animals} animals: no interval can be given."
    else:
        (a, b), (c, d) = table[["low_c", "high_c"]].to_numpy()
        sure = f"{100 * level:g} % intervals {a:.1f} to {b:.1f} and {c:.1f} to {d:.1f} °C, over animals."
    return PreferredRange(
        table=table,
        sentence=(
            f"The central {100 * central:g} % of body temperatures in the gradient lies from {low:.1f} to {high:.1f} "
            f"°C ({len(readings)} readings of {animals} animals). {sure}{_left_out_words(left_out)}"
        ),
        low_c=float(low),
        high_c=float(high),
        n_animals=animals,
        n_readings=len(readings),
        animals=by_animal,
        left_out=pd.DataFrame(left_out, columns=["row", "reason"]),
        draws=draws,
        settings={"central": central, "pool": pool, "level": level, "n_resamples": n_resamples},
        seed=seed,
    )


def indices(
    body_c,
    operative_c,
    preferred_range_c,
    *,
    animal_id=None,
    operative_used=None,
    operative_weight=None,
    operative_id=None,
    level=0.95,
    n_resamples=999,
    rng=0,
):
    """Compute accuracy, thermal quality, effectiveness and the difference index, with intervals.

    Parameters
    ----------
    body_c : array_like, shape (n,)
        Field body temperatures of active animals, °C.
    operative_c : array_like, shape (m,)
        Operative temperatures of the habitat, °C: places sampled as the habitat is, in the same hours, not where
        animals sat (that would ask whether animals choose among the places they chose).
    preferred_range_c : tuple of float or PreferredRange
        Low and high end, °C. A PreferredRange brings its own uncertainty along.
    animal_id : array_like, shape (n,), optional
        Which animal. Without it, or below five animals, no intervals are given.
    operative_used : array_like of 0/1, shape (m,), optional
        1 where an animal sat. Those rows are left out; if no other is there the call is refused.
    operative_weight : array_like, shape (m,), optional
        Share of the habitat each reading stands for, when kinds of place were not sampled in proportion.
    operative_id : array_like, shape (m,), optional
        Model or place of each reading; resampled whole. Default: readings are resampled one by one.
    level : float
        Confidence level.
    n_resamples : int
        Bootstrap resamples: animals, places and (if given) the gradient are drawn again together.
    rng : int or numpy.random.Generator
        Seed.

    Returns
    -------
    Indices
        `.table` rows: accuracy (mean db), thermal quality (mean de), effectiveness (E = 1 - mean db / mean de),
        difference (I = mean de - mean db); columns estimate, low, high, unit.

    Raises
    ------
    FieldkitError
        No usable readings, an inverted range, or operative temperatures only from where animals sat.

    Notes
    -----
    E is not cut off below nought (animals further from their range than the places are) and is not defined when every
    place lies inside the range. Operative temperature overstates what a large animal can reach, because of its thermal
    inertia (Seebacher & Shine 2004 Physiol. Biochem. Zool. 77:688-695).

    Errors of the readings are not taken out. A distance is never negative, so on balance they add to db and de: an
    animal that keeps the middle of a range 4 °C wide, read with an error of 1 °C, seems to lie 0.02 °C off it; one that
    keeps its edge, 0.4 °C.

    Intervals are percentiles widened for few animals (`uncertainty.percentile_tails`). In 400 simulated samples each,
    95 % intervals of accuracy and of effectiveness held the truth in 83 and 88 % with 6 animals, 88 and 92 % with 10,
    91 and 94 % with 20 (distances are lopsided: most animals lie near nought); those of thermal quality and of the
    difference in 93 to 98 %.

    References
    ----------
    Hertz, Huey & Stevenson (1993) Am. Nat. 142:796-818 (db, de, E). Blouin-Demers & Weatherhead (2001) Ecology
    82:3025-3043 (I; from memory).

    Examples
    --------
    >>> body = [30.5, 31, 33, 34.5, 35, 36.5, 32, 37]
    >>> places = [20, 25, 28, 31, 33, 35, 38, 45, 50, 30]
    >>> indices(body, places, (32, 36)).table["estimate"].round(4).tolist()
    [0.5, 5.1, 0.902, 4.6]
    """
    low, high, range_draws = _range(preferred_range_c)
    body, left_out = _readings(body_c, animal_id, "body_c")
    places, gone = _readings(operative_c, operative_id, "operative_c")
    left_out += gone
    if body.empty or places.empty:
        raise FieldkitError("Body temperatures and operative temperatures are both needed; one of them has no reading.")
    places["weight"] = (
        1.0
        if operative_weight is None
        else _column(operative_weight, len(_flat(operative_c)), "operative_weight")[places.index]
    )
    if not (places["weight"] >= 0).all() or places["weight"].sum() == 0:
        raise FieldkitError("operative_weight must be shares of the habitat: not negative, not empty, not all nought.")
    if operative_used is not None:
        used = _column(operative_used, len(_flat(operative_c)), "operative_used")[places.index] == 1
        if used.all():
            raise FieldkitError(
                "Every operative temperature was read where an animal sat. Thermal quality asks what the habitat "
                "offers: read places chosen without looking at animals."
            )
        left_out += [(f"operative_c {row}", "an animal sat there") for row in places.index[used]]
        places = places[~used]

    named = animal_id is not None
    animals = body["animal_id"].nunique() if named else 0
    columns = ["accuracy", "thermal quality", "effectiveness", "difference"]
    body_codes = pd.factorize(body["animal_id"])[0] if named else np.arange(len(body))
    place_codes = pd.factorize(places["animal_id"])[0] if operative_id is not None else np.arange(len(places))
    temperature, operative, weight = (s.to_numpy(float) for s in (body["value"], places["value"], places["weight"]))
    table = pd.DataFrame(
        {
            "estimate": _four(
                distance(temperature, low, high).mean(), np.average(distance(operative, low, high), weights=weight)
            )
        },
        index=columns,
    )
    table = table.rename_axis("index").assign(low=np.nan, high=np.nan, unit=["°C", "°C", "1", "°C"])
    seed, undefined = None, 0
    if animals >= LEAST_ANIMALS:
        random = generator(rng)
        seed = rng if isinstance(rng, int) else None
        draws = np.empty((n_resamples, 4))
        # Three independent samples (animals, places, gradient) are drawn again together.
        for draw in draws:
            ends = (low, high) if range_draws is None else range_draws[random.integers(len(range_draws))]
            db = _drawn_mean(random, _outside(temperature, *ends), np.ones(len(temperature)), body_codes)
            de = _drawn_mean(random, _outside(operative, *ends), weight, place_codes)
            draw[:] = _four(db, de)
        groups = int(place_codes.max()) + 1
        behind = dict(
            zip(columns, (animals, max(groups, 2), min(animals, max(groups, 2)), min(animals, max(groups, 2))))
        )
        for name, column in zip(columns, draws.T):
            tails = percentile_tails(behind[name], level)
            good = column[np.isfinite(column)]
            undefined = max(undefined, len(column) - len(good))
            if len(good) >= 0.95 * len(column) and np.isfinite(table.loc[name, "estimate"]):
                table.loc[name, ["low", "high"]] = np.quantile(good, tails)
    by_animal = pd.DataFrame()
    if named:
        away = distance(body["value"], low, high).groupby(body["animal_id"])
        by_animal = pd.DataFrame({"readings": away.size(), "accuracy_c": away.mean()})
        quality = table.loc["thermal quality", "estimate"]
        by_animal["effectiveness"] = 1 - by_animal["accuracy_c"] / quality if quality > 0 else np.nan
    distances = pd.concat(
        [
            pd.DataFrame({"of": of, "temperature_c": t, "distance_c": distance(t, low, high)})
            for of, t in (("animals", temperature), ("places", operative))
        ],
        ignore_index=True,
    )
    return Indices(
        table=table,
        sentence=_indices_words(table, low, high, animals, named, level, undefined, left_out),
        preferred_range_c=(low, high),
        animals=by_animal,
        distances=distances,
        n_animals=animals,
        left_out=pd.DataFrame(left_out, columns=["row", "reason"]),
        settings={
            "level": level,
            "n_resamples": n_resamples,
            "preferred_range_drawn_again": range_draws is not None,
            "places_resampled_by": "reading" if operative_id is None else "operative_id",
        },
        seed=seed,
    )


def of_season(season, *, preferred_range_c=None, hidden=("retreat",), level=0.95, n_resamples=999, rng=0):
    """Compute the indices from the tables of a season.

    Body temperatures are those of the scans in which the animal was abroad; operative temperatures those of the places
    in the choice sets that no animal took (resampled by place); the preferred range that of the gradient.

    Parameters
    ----------
    season : Season
        With scans (``body_temperature_c, behaviour, animal_id``) and choices (``operative_c, used, place_id``).
    preferred_range_c : tuple of float or PreferredRange, optional
        Needed when the season has no gradient.
    hidden : sequence of str
        Behaviours in which an animal is out of reach of the places read; not counted.
    level : float
        Confidence level.
    n_resamples : int
        Bootstrap resamples.
    rng : int or numpy.random.Generator
        Seed.

    Returns
    -------
    Indices

    Raises
    ------
    FieldkitError
        When a table or column is missing, with what to add.

    Examples
    --------
    >>> import fieldkit
    >>> of_season(fieldkit.demo_season(), n_resamples=99).n_animals
    6
    """
    for table, column in (("scans", "body_temperature_c"), ("choices", "operative_c")):
        have = getattr(season, table)
        if have is None or column not in have or have[column].isna().all():
            raise FieldkitError(
                f"Thermoregulation needs the column {column} in the table {table}, which this season does not have."
            )
    if preferred_range_c is None:
        preferred_range_c = range_of_season(season, level=level, n_resamples=n_resamples, rng=rng)
    abroad = season.scans[~season.scans["behaviour"].isin(hidden)].dropna(subset=["body_temperature_c"])
    named = "animal_id" in abroad and abroad["animal_id"].notna().any()
    places = season.choices.dropna(subset=["operative_c"])
    found = indices(
        abroad["body_temperature_c"],
        places["operative_c"],
        preferred_range_c,
        animal_id=abroad["animal_id"] if named else None,
        operative_used=places["used"],
        operative_id=places["place_id"],
        level=level,
        n_resamples=n_resamples,
        rng=rng,
    )
    return _rows_of_tables(found, {"body_c": ("scans", abroad), "operative_c": ("choices", places)})


def range_of_season(season, *, central=0.5, level=0.95, n_resamples=999, rng=0):
    """Find the preferred range from the gradient table of a season.

    Parameters
    ----------
    season : Season
        With a gradient table (``animal_id, body_temperature_c``).
    central : float
        Share of readings inside the range.
    level : float
        Confidence level.
    n_resamples : int
        Bootstrap resamples of whole animals.
    rng : int or numpy.random.Generator
        Seed.

    Returns
    -------
    PreferredRange

    Raises
    ------
    FieldkitError
        When the season has no gradient.

    Examples
    --------
    >>> import fieldkit
    >>> range_of_season(fieldkit.demo_season(), n_resamples=99).n_animals
    10
    """
    if season.gradient is None:
        raise FieldkitError(
            "The season has no gradient table, so the preferred range is not known: give it as two numbers, for "
            "example from a published gradient of the same species."
        )
    cage = season.gradient
    found = preferred_range(
        cage["body_temperature_c"],
        animal_id=cage["animal_id"],
        central=central,
        level=level,
        n_resamples=n_resamples,
        rng=rng,
    )
    return _rows_of_tables(found, {"body_c": ("gradient", cage)})


def exploitation(body_c, operative_c, preferred_range_c, *, animal_id=None, level=0.95, n_resamples=999, rng=0):
    """Compute the exploitation index: of the times an animal could be in its preferred range, how many it was.

    "Could" has two readings, and they give different answers; both are given and named.

    Parameters
    ----------
    body_c : array_like, shape (n,)
        Body temperature at each time, °C.
    operative_c : array_like, shape (n, k)
        Operative temperatures of k places at the same times, °C; empty where a place was not read.
    preferred_range_c : tuple of float or PreferredRange
        Low and high end, °C.
    animal_id : array_like, shape (n,), optional
        Which animal; needed for intervals.
    level : float
        Confidence level.
    n_resamples : int
        Bootstrap resamples of whole animals.
    rng : int or numpy.random.Generator
        Seed.

    Returns
    -------
    Exploitation
        `.table` rows: ``some place`` (at least one place read lies inside the range) and ``span`` (coolest and warmest
        place enclose or touch the range, so that shuttling could reach it); columns possible, in_range, estimate, low,
        high. The estimate is empty when it was never possible.

    Raises
    ------
    FieldkitError
        Shapes that do not match, no usable time, or an inverted range.

    References
    ----------
    Christian & Weavers (1996) Ecol. Monogr. 66:139-157 (from memory).

    Examples
    --------
    >>> body = [28, 31, 33, 34, 35, 36, 37, 30]
    >>> places = [[20, 25], [30, 33], [31, 40], [33, 45], [36, 50], [38, 52], [40, 55], [26, 31]]
    >>> exploitation(body, places, (32, 36)).table["estimate"].round(4).tolist()
    [0.6667, 0.75]
    """
    low, high, _ = _range(preferred_range_c)
    body, left_out = _readings(body_c, animal_id, "body_c")
    offered = np.asarray(operative_c, dtype=float)
    if offered.ndim != 2 or len(offered) != len(_flat(body_c)):
        raise FieldkitError(
            f"operative_c must have one row per body temperature ({len(_flat(body_c))}) and one column per place; its "
            f"shape is {offered.shape}."
        )
    unread = np.isnan(offered).all(axis=1)
    left_out += [(f"operative_c {row}", "no place was read then") for row in np.flatnonzero(unread)]
    body = body[~unread[body.index]]
    if body.empty:
        raise FieldkitError("No time has both a body temperature and an operative temperature.")
    offered = offered[body.index]
    inside = (body["value"] >= low) & (body["value"] <= high)
    times = body.assign(
        inside=inside,
        some=((offered >= low) & (offered <= high)).any(axis=1),
        span=(np.nanmin(offered, axis=1) <= high) & (np.nanmax(offered, axis=1) >= low),
    )

    def shares(sample):
        return {
            name: sample.loc[sample[column], "inside"].mean() if sample[column].any() else np.nan
            for name, column in (("some place", "some"), ("span", "span"))
        }

    table = pd.DataFrame(
        {
            "possible": [int(times["some"].sum()), int(times["span"].sum())],
            "in_range": [int((times["some"] & inside).sum()), int((times["span"] & inside).sum())],
            "estimate": list(shares(times).values()),
            "low": np.nan,
            "high": np.nan,
        },
        index=pd.Index(["some place", "span"], name="possible when"),
    )
    animals, seed = (body["animal_id"].nunique() if animal_id is not None else 0), None
    if animals >= LEAST_ANIMALS:
        drawn = cluster_bootstrap(times, shares, n_resamples=n_resamples, level=level, method="percentile", rng=rng)
        table[["low", "high"]] = drawn.table[["low", "high"]]
        seed = drawn.seed
    words = []
    for (name, row), means in zip(
        table.iterrows(),
        ("at least one place read lay inside the range", "the coolest and warmest place read enclosed some of it"),
    ):
        share = "is not defined" if np.isnan(row["estimate"]) else f"is {row['estimate']:.2f}"
        if np.isfinite(row["low"]):
            share += f" ({100 * level:g} % interval {row['low']:.2f} to {row['high']:.2f})"
        words.append(
            f"Counting a time as possible when {means} ({name}; {row['possible']:.0f} times), exploitation {share}."
        )
    if animals < LEAST_ANIMALS:
        words.append(_no_interval_words(animals, animal_id is not None))
    return Exploitation(
        table=table,
        sentence=" ".join(words) + _left_out_words(left_out),
        preferred_range_c=(low, high),
        n_animals=animals,
        left_out=pd.DataFrame(left_out, columns=["row", "reason"]),
        settings={"level": level, "n_resamples": n_resamples},
        seed=seed,
    )


def _quantiles(values, shares):
    # Median-unbiased (Hyndman & Fan 1996, type 8): a few readings an animal would otherwise draw its quartiles inwards.
    return np.quantile(values, shares, method="median_unbiased")


def _flat(values):
    return np.ravel(np.asarray(values, dtype=object))


def _column(values, length, name):
    values = _flat(values)
    if len(values) != length:
        raise FieldkitError(f"{name} has {len(values)} values where {length} are needed, one for each reading.")
    return values.astype(float)


def _readings(values, labels, name):
    """Table (value, animal_id) of the readings that are there, and a list of those that are not."""
    table = pd.DataFrame({"value": pd.to_numeric(pd.Series(_flat(values)), errors="raise").astype(float)})
    left_out = [(f"{name} {row}", "empty") for row in table.index[~np.isfinite(table["value"])]]
    table["animal_id"] = 0
    if labels is not None:
        labels = pd.Series(_flat(labels))
        if len(labels) != len(table):
            raise FieldkitError(f"{name} has {len(table)} readings but {len(labels)} labels: one label each is needed.")
        table["animal_id"] = labels
        unnamed = table["animal_id"].isna() & np.isfinite(table["value"])
        left_out += [(f"{name} {row}", "no label says which animal or place") for row in table.index[unnamed]]
    return table[np.isfinite(table["value"]) & table["animal_id"].notna()].copy(), left_out


def _range(preferred_range_c):
    draws = None
    if isinstance(preferred_range_c, PreferredRange):
        draws = preferred_range_c.draws
        preferred_range_c = (preferred_range_c.low_c, preferred_range_c.high_c)
    ends = np.asarray(preferred_range_c, dtype=float).ravel()
    if ends.size != 2 or not np.isfinite(ends).all():
        raise FieldkitError(f"The preferred range needs a low and a high end in °C, for example (32, 36); got {ends}.")
    if ends[0] >= ends[1]:
        raise FieldkitError(f"The preferred range is upside down: its low end {ends[0]:g} is not below {ends[1]:g} °C.")
    return float(ends[0]), float(ends[1]), draws


def _four(db, de):
    return db, de, 1 - db / de if de > 0 else np.nan, de - db


def _drawn_mean(random, values, weights, codes):
    """Weighted mean over whole groups drawn again."""
    count = codes.max() + 1
    times = np.bincount(random.integers(count, size=count), minlength=count)[codes] * weights
    return times @ values / times.sum() if times.sum() > 0 else np.nan


def _rows_of_tables(found, tables):
    """Readings left out by the table and its index, in place of their place among the readings."""
    rows = [row.split() for row in found.left_out["row"]]
    named = [(tables[name][0], tables[name][1].index[int(place)]) for name, place in rows]
    left_out = pd.DataFrame(named, columns=["table", "row"]).assign(reason=found.left_out["reason"].to_numpy())
    return dataclasses.replace(found, left_out=left_out)


def _left_out_words(left_out):
    return f" {len(left_out)} readings were left out (see left_out)." if left_out else ""


def _no_interval_words(animals, named):
    if not named:
        return "Readings do not say which animal they are of, so no interval can be given."
    return (
        f"Only {animals} animal{'s' if animals != 1 else ''}: no interval can be given, and the result is theirs alone."
    )


def _indices_words(table, low, high, animals, named, level, undefined, left_out):
    accuracy, quality, effectiveness, difference = table["estimate"]

    def sure(name, digits):
        row = table.loc[name]
        if not np.isfinite(row["low"]):
            return ""
        return f" ({100 * level:g} % interval {row['low']:.{digits}f} to {row['high']:.{digits}f})"

    words = [
        f"Body temperatures lay {accuracy:.2f} °C{sure('accuracy', 2)} from the preferred range {low:.1f} to "
        f"{high:.1f} °C on average, places {quality:.2f} °C{sure('thermal quality', 2)}."
    ]
    if np.isnan(effectiveness):
        words.append("Every place lay inside the range, so effectiveness is not defined.")
    else:
        words.append(f"Effectiveness {effectiveness:.2f}{sure('effectiveness', 2)}")
        words[-1] += ": animals were further from their range than the places were." if effectiveness < 0 else "."
        if undefined:
            words.append(f"In {undefined} resamples every place lay inside the range.")
    words.append(f"Difference {difference:.2f} °C{sure('difference', 2)}.")
    if animals < LEAST_ANIMALS:
        words.append(_no_interval_words(animals, named))
    elif animals < FEW_ANIMALS:
        words.append(f"Only {animals} animals stand behind the intervals: they are rough, and rather too short.")
    return " ".join(words) + _left_out_words(left_out)
