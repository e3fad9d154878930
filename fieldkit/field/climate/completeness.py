"""When a month of daily readings counts, and how many years of it are needed."""

from dataclasses import dataclass

from fieldkit.core import FieldkitError


@dataclass(frozen=True, kw_only=True)
class Completeness:
    """When a month of daily readings counts, and how many years of it are needed.

    Parameters
    ----------
    name : str
    most_missing : int
        Most days that may be missing in one month.
    most_consecutive : int
        Most days in a row that may be missing in one month.
    years_share : float
        Share of the years (0 to 1) in which the month must count.
    words : str
        The rule in a sentence, with its source.
    """

    name: str
    most_missing: int
    most_consecutive: int
    years_share: float
    words: str


RULES = {
    "3/5": Completeness(
        name="3/5",
        most_missing=5,
        most_consecutive=3,
        years_share=0.8,
        words="a month counts when at most 5 days are missing and at most 3 in a row (WMO practice, the 3/5 rule), "
        "and a month of the year is used when it counts in 80 % of the years (rule of thumb)",
    ),
    "11/5": Completeness(
        name="11/5",
        most_missing=10,
        most_consecutive=4,
        years_share=0.8,
        words="a month counts when fewer than 11 days are missing and fewer than 5 in a row (the newer WMO rule, as "
        "weather services quote it); a month of the year is used when it counts in 80 % of the years (rule of thumb)",
    ),
    "all": Completeness(
        name="all",
        most_missing=30,
        most_consecutive=30,
        years_share=0.0,
        words="every day that was read counts, however many are missing (no rule: gaps may bend the bands)",
    ),
}


def completeness_rule(name):
    """Look up a rule of completeness by its name.

    Parameters
    ----------
    name : {"3/5", "11/5", "all"} or Completeness
        A rule of your own is passed through.

    Returns
    -------
    Completeness

    Raises
    ------
    FieldkitError
        When there is no such rule.

    Examples
    --------
    >>> completeness_rule("3/5").most_consecutive
    3
    """
    if isinstance(name, Completeness):
        return name
    if name not in RULES:
        raise FieldkitError(
            f"completeness={name!r} is not a rule: give one of {', '.join(map(repr, RULES))}, or a Completeness."
        )
    return RULES[name]
