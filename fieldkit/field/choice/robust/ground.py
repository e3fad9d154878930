"""The table of a choice test made ready: sets, readings, how they were taken, and what repeats in them."""

from dataclasses import dataclass

import numpy as np

from fieldkit.field.choice import sets as choice_sets
from fieldkit.field.choice.robust import chance as choice_chance
from fieldkit.field.choice.robust import design as choice_design
from fieldkit.field.choice.robust import places as choice_places

# With fewer animals no spread among them can be seen: days take their place and the words say so (our choice: two
# animals leave one degree of freedom, whose 90 % limits are six standard errors wide).
FEWEST_ANIMALS = 3
# A driver that cannot be tested is still held equal when at least this share of its within-set variance is real: it may
# be what the animals feel, and must not lend its credit to a driver it travels with. Below, the correction runs wild.
LEAST_SHARE_HELD = 0.1  # our choice: at a tenth the correction multiplies a coefficient by ten


@dataclass(frozen=True, eq=False, kw_only=True)
class Ground:
    """A table made ready: sets, readings, design, and what repeats in it."""

    choices: object
    drivers: dict
    ready: object
    readings: np.ndarray
    within: np.ndarray
    sizes: np.ndarray
    errors: dict
    way: object
    contrast: object
    visits: np.ndarray | None
    places: object
    clusters: np.ndarray | None
    notes: list

    @property
    def testable(self):
        return [name for name in self.drivers if self.contrast.loc[name, "testable"]]

    @property
    def read(self):
        return [name for name in self.drivers if self.contrast.loc[name, "within_set_sd"] > 1e-9]

    @property
    def beside(self):
        """Drivers held equal: testable ones, and those real enough to be allowed for."""
        faint = [n for n in self.read if n not in self.testable]
        return self.testable + [n for n in faint if self.contrast.loc[n, "true_share"] >= LEAST_SHARE_HELD]

    @property
    def n_visits(self):
        return self.ready.n_sets if self.visits is None else int(self.visits.max()) + 1

    def columns(self, names):
        """Positions of drivers among the readings."""
        return [list(self.drivers).index(n) for n in names]


def prepared(choices, instrument_errors, drivers, cluster, design, rng):
    """Screen a choice table, take drifts of reading out, and find what repeats."""
    choices, drivers = choice_sets.words_as_drivers(choices, drivers)
    ready = choice_sets.prepare(choices, drivers, cluster)
    notes = list(ready.notes)
    values = ready.kept[list(drivers.values())].to_numpy(dtype=float)
    errors = choice_sets.stated_errors(instrument_errors, dict(zip(drivers.values(), values.T)))
    notes += _read_twice(choices, errors, drivers)
    within, sizes = choice_sets.centre(values, ready.sets)
    way = choice_design.examine(ready.kept, values, ready.used, ready.sets, sizes, within, drivers, errors, design)
    if way.detrended is not None:
        values = way.detrended
        within, sizes = choice_sets.centre(values, ready.sets)
    visits = choice_chance.visits(ready.kept, ready.sets, ready.animals, ready.named)
    places = choice_places.repeated(ready, within, rng)
    return Ground(
        choices=choices, drivers=drivers, ready=ready, readings=values, within=within, sizes=sizes, errors=errors,
        way=way, contrast=choice_sets.contrast(within, ready.n_sets, drivers, errors), visits=visits, places=places,
        clusters=clusters(ready, visits, places, notes), notes=notes,
    )  # fmt: skip


def _read_twice(choices, errors, drivers):
    """What places read twice say of the stated errors."""
    out = []
    for column, row in choice_sets.error_of_pairs(choices, list(drivers.values())).iterrows():
        stated = errors.get(column)
        told = f"{row['pairs']:.0f} places were read twice in their set: the error of {column} is {row['error']:.2g} "
        told += f"(95 % interval {row['low']:.2g} to {row['high']:.2g})"
        if stated is None:
            out.append(f"{told}, and none is stated: state it.")
        elif not row["low"] <= stated <= row["high"]:
            out.append(f"{told}, but {stated:.2g} is stated, and the verdict rests on the stated one: correct it.")
        else:
            out.append(f"{told}, as stated ({stated:.2g}).")
    return out


def clusters(ready, visits, places, notes):
    """Codes by which the limits are widened: animals, or visits where there are too few animals to differ."""
    if ready.animals is None:
        if places is not None and places.components is not None:
            return places.components[ready.sets]
        return None if visits is None else visits[ready.sets]
    count = len(np.unique(ready.animals))
    if count >= FEWEST_ANIMALS:
        return ready.animals
    between = "sets" if visits is None else "days"
    who = "one animal" if count == 1 else f"{count} animals"
    notes.append(f"Only {who}: the limits allow for chance between {between}, not between animals.")
    return None if visits is None else visits[ready.sets]
