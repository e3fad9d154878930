"""Sentences of the two lessons: first a plain line for the class, then how sure, then the numbers."""

import math

from fieldkit.classroom.declared import ALSO

_CHOSE = {
    "radiation": ("You went for the sun.", "You kept out of the sun."),
    "surface": ("You went for warm ground.", "You went for cool ground."),
    "air": ("You went for warm air.", "You went for cool air."),
}


def times(number):
    """How often, in words: "1 time", "2 times"."""
    return f"{number} time" if number == 1 else f"{number} times"


def covers(table, difference, verdict, left_out):
    """Say what thermometers read under each cover.

    Parameters
    ----------
    table : pandas.DataFrame
        Columns cover, warmer_c.
    difference : dict
        Black minus white card: difference_c, low_c, high_c.
    verdict : {"black", "white", "undecided", "few"}
        Which card read more.
    left_out : list of dict
        Groups that could not be used: group, reason.

    Returns
    -------
    str
    """
    span = f"{difference['low_c']:.1f} to {difference['high_c']:.1f} °C"
    told = {
        "few": "Black and white card need two groups each before they can be compared.",
        "black": "In the same sun and the same air, black card read more than white card: "
        f"{difference['difference_c']:.1f} °C (95 % interval {span}).",
        "white": f"White card read more than black: were the two swapped? (95 % interval of black minus white {span}.)",
        "undecided": f"The groups differ too much to tell black from white (95 % interval of the difference {span}).",
    }[verdict]
    if verdict == "undecided" and not math.isfinite(difference["low_c"]):
        told = "All groups of a cover read the same, so nobody can say how far the next one may differ."
    shown = ", ".join(f"{r.warmer_c:.1f} °C under {r.cover}" for r in table.itertuples())
    told += f" The sunlit thermometer read higher than the shaded one by {shown}."
    if left_out:
        told += f" Left out: {', '.join('{group} ({reason})'.format(**row) for row in left_out)}."
    return told


def choices(answer, verdict, turned):
    """Say what the class chose on.

    Parameters
    ----------
    answer : fieldkit.field.choice.Comparison
        The test of a wild season on the class's choices.
    verdict : str
        What is left of it when whole rounds are the witnesses.
    turned : tuple of int or None
        In how many orders of signs of the rounds the pattern is as strong, and how many there are.

    Returns
    -------
    str
    """
    rounds = "1 round" if answer.n_animals == 1 else f"{answer.n_animals} rounds"
    where = f"{answer.n_sets} choice sets in {rounds}"
    chance = f" Chance does as well {times(turned[0])} in {turned[1]}." if turned else ""
    if verdict == "untestable":
        return answer.sentence.replace("one animal on one day", "one round")
    if verdict == "none":
        return f"There is no sign that you chose on any of what was read ({where})."
    if verdict == "undecided":
        told = f"You cannot tell what you went for ({where})."
        if turned:
            told += (
                f" It leaned towards {answer.verdict}, but {rounds} cannot make you sure: other "
                f"things may have drawn many to one place.{chance}"
            )
        return told
    row = answer.corrected.loc[verdict]
    more, less = _CHOSE.get(verdict, (f"You went for {verdict}.", f"You kept away from {verdict}."))
    told = f"{more if row['log_odds_per_sd'] > 0 else less}{chance} Counted from {where}."
    if math.isfinite(row["low"]):
        others = [n for n in answer.corrected.index if n != verdict]
        held = f", with {' and '.join(others)} held equal" if others else ""
        told += (
            f" One step more {verdict} (a within-set standard deviation) multiplied the odds of a place by "
            f"{row['odds_ratio_per_sd']:.2g} (90 % interval {row['low']:.2g} to {row['high']:.2g}{held})."
        )
    return told


def guessed_cover(answer, most=None, by_c=None):
    """Put a guess that was written down beforehand beside what came out.

    Parameters
    ----------
    answer : fieldkit.classroom.lessons.CoverTest
        From `compare_covers`.
    most : str or None
        Cover under which the sunlit thermometer was guessed to read most.
    by_c : float or None
        By how much more than the shaded one (°C).

    Returns
    -------
    str
    """
    top = answer.table.loc[answer.table["warmer_c"].idxmax()]
    came = f"{top['cover']} read most in the sun, {top['warmer_c']:.1f} °C above the shaded thermometer."
    if most is None and by_c is None:
        return f"No guess was written here; look at your paper. What came out: {came}"
    told = []
    if most is not None:
        word = " ".join(str(most).lower().split())
        right = ALSO.get(word, word) == top["cover"]
        told.append(f"You guessed {most}: {'so it was' if right else 'it was another one'}.")
    if by_c is not None:
        told.append(f"You guessed {by_c:g} °C: {abs(by_c - top['warmer_c']):.1f} °C from it.")
    return f"{' '.join(told)} What came out: {came}"


def guessed_choice(answer, guess=None):
    """Put a guess of what the class went for beside what came out.

    Parameters
    ----------
    answer : fieldkit.field.choice.Comparison
        From `compare_choices`.
    guess : str or None
        "sun", "warm ground" or "warm air".

    Returns
    -------
    str
    """
    came = answer.sentence.split(". ")[0].rstrip(".") + "."
    if guess is None:
        return f"No guess was written here; look at your paper. What came out: {came}"
    words = " ".join(str(guess).lower().split())
    meant = {"sun": "radiation", "warm ground": "surface", "ground": "surface", "warm air": "air"}.get(words, words)
    if answer.verdict not in _CHOSE:
        return f"You guessed {guess}. What came out: {came} So nobody knows yet whether you were right."
    verdict = "so it was" if meant == answer.verdict else "it was something else"
    return f"You guessed {guess}: {verdict}. What came out: {came}"
