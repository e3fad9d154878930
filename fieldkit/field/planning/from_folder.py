"""What a season folder gives a plan: site, instruments, design, and the effect once choice sets were read."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import Result
from fieldkit.field import choice
from fieldkit.field.of_season import table_of

# Answer to choice_sets.order that puts the used place first.
USED_FIRST = "used place first"
# What of the section choice_sets shapes the simulated seasons, by the argument of `plan`.
SHAPES = {
    "fixed_places": int,
    "looks_per_visit": int,
    "largest_share": float,
    "sets_per_day": float,
    "n_places": int,
    "n_animals": int,
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Ready:
    """Arguments of `plan` that a folder gives, and what there is to say about them.

    Attributes
    ----------
    given : dict
        Keyword arguments of `plan`.
    words : tuple of str
        Sentences.
    """

    given: dict
    words: tuple


def ready(stated):
    """Turn what season.toml states into arguments of `plan`.

    Parameters
    ----------
    stated : fieldkit.records.season.stated.Stated
        Of `read_stated`.

    Returns
    -------
    Ready

    Examples
    --------
    >>> from fieldkit.records.season.stated import Stated
    >>> said = {"fixed_places": 25, "order": "used place first"}
    >>> found = ready(Stated(site=None, instrument_errors={}, choice_sets=said, unsaid=()))
    >>> found.given["fixed_places"], found.given["used_first"]
    (25, True)
    """
    given, words = {}, []
    if stated.site is None:
        words.append("season.toml does not state the site yet: the sun of the demo's hills stands in.")
    else:
        given["site"] = stated.site
        words.append(f"Site: {stated.site.name}.")
    if stated.instrument_errors:
        given["instrument_errors"] = stated.instrument_errors
        words.append(f"Instruments: errors of {len(stated.instrument_errors)} columns as stated.")
    else:
        words.append("season.toml states no instrument errors yet: those of simple instruments stand in.")
    design = {}
    for key, value in stated.choice_sets.items():
        if f"choice_sets.{key}" in stated.unsaid:
            continue
        design[key] = value
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if key in SHAPES and number:
            given[key] = SHAPES[key](value)
    if "n_animals" in given:
        given["n_animals"] = (given["n_animals"],)
    if design.get("order") == USED_FIRST:
        given["used_first"] = True
    if design:
        given["design"] = {key: value for key, value in design.items() if key not in SHAPES}
        words.append("Design: " + ", ".join(f"{key} = {value}" for key, value in design.items()) + ".")
    else:
        words.append("season.toml does not state how choice sets are read: new places in every set, all visits alike.")
    return Ready(given=given, words=tuple(words))


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class OwnEffect(Result):
    """What the choice sets read so far say about the effect to plan with.

    Attributes
    ----------
    driver : str or None
        The driver of the verdict; None where no one driver was named, and then there is no effect either.
    effect, low, high : float
        Odds ratio for one true within-set standard deviation more of it, with its 90 % interval.
    """

    driver: str | None
    effect: float
    low: float
    high: float
    n_sets: int
    verdict: str

    @property
    def table(self):
        """One row."""
        return pd.DataFrame([{k: getattr(self, k) for k in ("driver", "effect", "low", "high", "n_sets", "verdict")}])

    @property
    def sentence(self):
        """The effect in words, or why there is none."""
        if self.driver is None:
            return (
                f"The {self.n_sets} choice sets read so far give no effect to plan with (verdict: {self.verdict}): the "
                "guess stands."
            )
        return (
            f"The {self.n_sets} choice sets read so far: a place one standard deviation higher in {self.driver} was "
            f"{self.effect:.2g} times as likely to be used (90 % interval {self.low:.2g} to {self.high:.2g}). Plan for "
            "the cautious end of the interval too."
        )


def effect_of(season, *, permutations=199, rng=0):
    """Take the effect to plan with from the choice sets that a season holds already.

    Parameters
    ----------
    season : Season
        With choices.
    permutations : int
        Of the comparison.
    rng : int or numpy.random.Generator
        Seed.

    Returns
    -------
    OwnEffect

    Raises
    ------
    FieldkitError
        When it is no season or has no choices.

    Examples
    --------
    >>> import fieldkit
    >>> effect_of(fieldkit.demo_season()).driver
    'radiation'
    """
    choices = table_of(season, "choices", "places in choice sets, one row each")
    answer = choice.compare(choices, instrument_errors=season.instrument_errors, permutations=permutations, rng=rng)
    told = {"driver": None, "effect": np.nan, "low": np.nan, "high": np.nan}
    if answer.verdict in getattr(answer.corrected, "index", ()):
        row = answer.corrected.loc[answer.verdict]
        if np.isfinite(row["odds_ratio_per_sd"]):
            told = {"driver": answer.verdict, "effect": float(row["odds_ratio_per_sd"])}
            told |= {"low": float(row["low"]), "high": float(row["high"])}
    return OwnEffect(n_sets=answer.n_sets, verdict=answer.verdict, **told)
