"""What a class can count by hand or in its workbook: ranks of places, and the sign-flip over rounds."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit import core
from fieldkit.classroom import lessons
from fieldkit.classroom.words import times
from fieldkit.core import Result

_WORDS = {"radiation": "the sun", "surface": "warm ground", "air": "warm air"}


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class RoundTest(Result):
    """Ranks and sign-flips of the rounds of the choice lesson.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a driver: pull (sum over lizards of the place taken minus the mean of its round, °C), rank (mean over
        rounds of the rank of the places taken, 1 = most), strong and orders (in how many of the orders of signs the
        sum is as large), found ("more", "less" or "none").
    by_round : pandas.DataFrame
        One row a round: round, places, lizards, and pull and rank of each driver.
    verdict : {"sun", "shade", "none", "few"}
        "few": fewer than six rounds cannot tell whatever was chosen, nor can unread sleeves.
    """

    table: pd.DataFrame
    by_round: pd.DataFrame
    verdict: str
    sentence: str


def by_rounds(sheet, *, rng=0):
    """Rank the places taken in each round, and turn whole rounds round.

    Parameters
    ----------
    sheet : pandas.DataFrame
        Columns round, place_id, shade_air_c, surface_c, black_c, taken_by.
    rng : int or numpy.random.Generator
        Seed; used only above twelve rounds.

    Returns
    -------
    RoundTest

    Notes
    -----
    Hemerik, J., Goeman, J. J. & Finos, L. (2020), Journal of the Royal Statistical Society B 82: 841: the sign-flip.

    Examples
    --------
    >>> by_rounds(lessons.choice_lesson()).sentence.split(".")[0]
    'You went for the sun'
    """
    sheet = sheet.assign(
        sun_excess_c=sheet["black_c"] - sheet["shade_air_c"], n=sheet["taken_by"].str.split().str.len()
    )
    grouped = sheet.groupby("round", sort=False)
    by_round = grouped.agg(places=("place_id", "size"), lizards=("n", "sum"))
    rows = {}
    for name, column in lessons.DRIVERS.items():
        within = sheet[column] - grouped[column].transform("mean")
        pulls = (within * sheet["n"]).groupby(sheet["round"], sort=False).sum()
        # To six decimals, so that places that read the same tie in every program.
        rank = sheet[column].round(6).groupby(sheet["round"]).rank(ascending=False)
        lizards = sheet["n"].where(rank.notna()).groupby(sheet["round"], sort=False).sum()
        ranks = (rank * sheet["n"]).groupby(sheet["round"], sort=False).sum() / lizards.where(lizards > 0)
        strong, orders = lessons.sign_flips(pulls.to_numpy(), core.generator(rng))
        found = "none" if strong > 0.05 * orders else "more" if pulls.sum() > 0 else "less"
        by_round[f"{name}_pull"], by_round[f"{name}_rank"] = pulls, ranks
        rows[name] = (pulls.sum(), ranks.mean(), strong, orders, found)
    table = pd.DataFrame.from_dict(rows, orient="index", columns=["pull", "rank", "strong", "orders", "found"])
    sun, sun_read = table.loc["radiation"], bool(sheet["sun_excess_c"].notna().any())
    verdict = (
        {"more": "sun", "less": "shade", "none": "none"}[sun["found"]] if len(by_round) >= 6 and sun_read else "few"
    )
    return RoundTest(
        table=table, by_round=by_round.reset_index(), verdict=verdict, sentence=_say(table, verdict, sun_read)
    )


def _say(table, verdict, sun_read):
    if not sun_read:
        return "Nobody read the black sleeves, so nothing can be said of the sun."
    sun = table.loc["radiation"]
    first = {
        "sun": "You went for the sun.",
        "shade": "You kept out of the sun.",
        "none": "There is no sign that you went for the sun or kept out of it.",
        "few": "Too few rounds to tell: six are needed.",
    }[verdict]
    words = f"{first} Chance does as well {times(sun['strong'])} in {sun['orders']}."
    if np.isfinite(sun["rank"]):
        words += f" The places taken were on average number {sun['rank']:.1f} of the sunniest."
    if verdict in ("sun", "shade") and table.loc["surface", "found"] == sun["found"]:
        words += f" {_WORDS['surface'].capitalize()} goes the same way, and this count cannot tell them apart."
    return words
