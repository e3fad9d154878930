"""Two lessons: what thermometers in the sun read under card and foil, and what a class of lizards chose on."""

import dataclasses
import itertools
import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit import core
from fieldkit.classroom import slips, words
from fieldkit.core import FieldkitError, Result
from fieldkit.field import choice
from fieldkit.field.planning import simulate
from fieldkit.physics import heat, sensors

# Minutes of the sheet: up to this one both thermometers lie in the shade, and from that one on the sunlit one has come
# to rest (three minutes of lag, found by trying in the kitchen: common practice, no source).
BOTH_IN_SHADE_UNTIL = 2
AT_REST_FROM = 12
LAG_MIN = 3.0
# Second lesson: what is tested, and how far kitchen thermometers are off (°C; common practice, no source).
DRIVERS = {"air": "shade_air_c", "surface": "surface_c", "radiation": "sun_excess_c"}
READING_ERRORS = {"shade_air_c": 0.5, "surface_c": 2.0, "sun_excess_c": 1.0}
SEED = 20


def _sleeve(absorptivity, emissivity):
    body = heat.probe(diameter_m=0.02, length_m=0.1, shortwave_absorptivity=absorptivity, emissivity=emissivity)
    return sensors.Instrument(body=body)


# A kitchen thermometer in a sleeve. Absorptivities of card and foil for sunlight: common practice, no source.
# Emissivity of polished aluminium 0.02 to 0.10, of paper near 0.9: instrument makers' tables.
COVERS = {
    "black card": _sleeve(0.93, 0.9),
    "white card": _sleeve(0.35, 0.9),
    "foil": _sleeve(0.15, 0.05),
}


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class CoverTest(Result):
    """How much more than the shaded thermometer the sunlit one read, cover by cover.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a cover: cover, groups, warmer_c (mean over groups), low_c, high_c (95 % of it; NaN for one group).
    by_group : pandas.DataFrame
        One row a group: group, cover, offset_c (sunlit minus shaded thermometer while both lay in the shade), warmer_c
        (the same in the sun, offset taken off).
    difference : dict
        Black minus white card: difference_c, low_c, high_c, p_value.
    left_out : pandas.DataFrame
        Groups that could not be used, with the reason.
    slips : pandas.DataFrame
        What to look at again: where, problem, remedy.
    verdict : {"black", "white", "undecided", "few"}
        Which card read more; "few": two groups of each are needed.
    """

    table: pd.DataFrame
    by_group: pd.DataFrame
    difference: dict
    left_out: pd.DataFrame
    slips: pd.DataFrame
    verdict: str
    sentence: str


def compare_covers(sheet):
    """Pool a class's readings of a shaded and a sunlit thermometer.

    Two thermometers never agree; what they differ by while both lie in the shade is taken off. A group counts once,
    however many minutes it read, because its minutes share one thermometer, one place and one wind.

    Parameters
    ----------
    sheet : pandas.DataFrame
        Columns group, cover, minute, shade_c, sun_c.

    Returns
    -------
    CoverTest

    Raises
    ------
    FieldkitError
        When no group has readings in the shade first and in the sun at rest.

    Notes
    -----
    Intervals of Student's t over groups; black against white card by Welch's test (Welch 1947, Biometrika 34:28).

    Examples
    --------
    >>> answer = compare_covers(thermometer_lesson(rng=1))
    >>> answer.table["cover"].tolist()
    ['black card', 'white card', 'foil']
    """
    from scipy import stats

    rows, left_out = [], []
    for (group, cover), part in sheet.groupby(["group", "cover"], sort=False):
        apart = (part["sun_c"] - part["shade_c"]).to_numpy()
        minute = part["minute"].to_numpy()
        before = apart[(minute <= BOTH_IN_SHADE_UNTIL) & np.isfinite(apart)]
        after = apart[(minute >= AT_REST_FROM) & np.isfinite(apart)]
        if not len(before) or not len(after):
            when = f"minutes 0 to {BOTH_IN_SHADE_UNTIL}" if not len(before) else f"minute {AT_REST_FROM} or later"
            left_out.append({"group": group, "cover": cover, "reason": f"no pair of readings from {when}"})
            continue
        offset = before.mean()
        rows.append({"group": group, "cover": cover, "offset_c": offset, "warmer_c": after.mean() - offset})
    if not rows:
        raise FieldkitError(
            f"No group has readings from minutes 0 to {BOTH_IN_SHADE_UNTIL} (both in the shade) and from minute "
            f"{AT_REST_FROM} on (one in the sun): look at the sheet."
        )
    by_group = pd.DataFrame(rows)
    table = []
    order = [c for c in COVERS if c in set(by_group["cover"])]
    for cover in [*order, *(c for c in by_group["cover"].unique() if c not in COVERS)]:
        values = by_group.loc[by_group["cover"] == cover, "warmer_c"]
        half = math.nan
        if len(values) > 1:
            half = stats.t.ppf(0.975, len(values) - 1) * values.std() / math.sqrt(len(values))
        mean = values.mean()
        table.append((cover, len(values), mean, mean - half, mean + half))
    table = pd.DataFrame(table, columns=["cover", "groups", "warmer_c", "low_c", "high_c"])
    difference = _black_against_white(by_group)
    verdict = _verdict(difference)

    def judge(part):
        without = _verdict(_black_against_white(part))
        return verdict if without == "few" else without

    found = slips.readings(sheet, by_group) + slips.hangs_on(by_group, "group", verdict, judge)
    return CoverTest(
        table=table,
        by_group=by_group,
        difference=difference,
        left_out=pd.DataFrame(left_out, columns=["group", "cover", "reason"]),
        slips=slips.table(found),
        verdict=verdict,
        sentence=words.covers(table, difference, verdict, left_out) + slips.say(found),
    )


def _verdict(difference):
    if not math.isfinite(difference["low_c"]):
        # A difference without an interval: no group differs from its cover-mates.
        return "undecided" if math.isfinite(difference["difference_c"]) else "few"
    return "black" if difference["low_c"] > 0 else "white" if difference["high_c"] < 0 else "undecided"


def _black_against_white(by_group):
    from scipy import stats

    black, white = (by_group.loc[by_group["cover"] == f"{c} card", "warmer_c"].to_numpy() for c in ("black", "white"))
    if min(len(black), len(white)) < 2:
        return {"difference_c": math.nan, "low_c": math.nan, "high_c": math.nan, "p_value": math.nan}
    # By hand: the library's test warns where the groups of one cover read the same.
    parts = np.array([black.var(ddof=1) / len(black), white.var(ddof=1) / len(white)])
    mean, error = float(black.mean() - white.mean()), math.sqrt(parts.sum())
    if error < 1e-9:
        return {"difference_c": mean, "low_c": math.nan, "high_c": math.nan, "p_value": math.nan}
    freedom = parts.sum() ** 2 / (parts**2 / [len(black) - 1, len(white) - 1]).sum()
    half, p_value = stats.t.ppf(0.975, freedom) * error, 2 * stats.t.sf(abs(mean) / error, freedom)
    return {"difference_c": mean, "low_c": float(mean - half), "high_c": float(mean + half), "p_value": float(p_value)}


def thermometer_lesson(*, groups=12, minutes=15, air_c=21.0, dni_w_m2=700.0, dhi_w_m2=120.0, wind_m_s=1.0, rng=SEED):
    """Invent a class's readings with the heat balance, so that a lesson can be rehearsed.

    Parameters
    ----------
    groups, minutes : int
        Groups, dealt the covers in turn; last minute read.
    air_c, dni_w_m2, dhi_w_m2, wind_m_s : float
        Weather; the wind differs from group to group and gust to gust.
    rng : int or numpy.random.Generator
        Seed.

    Returns
    -------
    pandas.DataFrame
        Columns group, cover, minute, shade_c, sun_c. Thermometers differ by some 0.5 °C and are read to 0.5 °C.

    Examples
    --------
    >>> thermometer_lesson(groups=3, rng=1)["cover"].unique().tolist()
    ['black card', 'white card', 'foil']
    """
    rng = core.generator(rng)
    minute = np.arange(minutes + 1)
    parts = []
    for number in range(groups):
        cover = list(COVERS)[number % len(COVERS)]
        wind = wind_m_s * rng.lognormal(0, 0.3)
        lit = sensors.instrument_reading(
            instrument=COVERS[cover],
            air_temperature_c=air_c,
            wind_speed_m_s=wind,
            dni_w_m2=dni_w_m2,
            dhi_w_m2=dhi_w_m2,
        )
        shade_offset, sun_offset = rng.normal(0, 0.5, 2)
        drift = 0.03 * minute
        since = np.clip(minute - BOTH_IN_SHADE_UNTIL, 0, None)
        rise = (lit - air_c) * (1 - np.exp(-since / LAG_MIN))
        shade = air_c + drift + shade_offset + rng.normal(0, 0.2, len(minute))
        sun = air_c + drift + sun_offset + rise * (1 + 0.03 * rng.normal(size=len(minute)))
        sun = sun + rng.normal(0, 0.2, len(minute))
        halves = {"shade_c": np.round(2 * shade) / 2, "sun_c": np.round(2 * sun) / 2}
        parts.append(pd.DataFrame({"group": f"G{number + 1}", "cover": cover, "minute": minute} | halves))
    return pd.concat(parts, ignore_index=True)


def choice_sets(sheet):
    """Unfold a class's sheet: one choice set for each lizard in each round.

    Parameters
    ----------
    sheet : pandas.DataFrame
        Columns round, place_id, shade_air_c, surface_c, black_c, taken_by (lizards with blanks between).

    Returns
    -------
    pandas.DataFrame
        Columns set_id, round, animal_id, place_id, used, shade_air_c, surface_c, sun_excess_c: what the thermometer in
        the black sleeve read above the shaded one.

    Examples
    --------
    >>> sheet = choice_lesson(rounds=1, lizards=2, rng=1)
    >>> sets = choice_sets(sheet)
    >>> len(sets), int(sets["used"].sum())
    (10, 2)
    """
    sheet = sheet.assign(sun_excess_c=sheet["black_c"] - sheet["shade_air_c"])
    parts = []
    for number, places in sheet.groupby("round", sort=False):
        stood = places["taken_by"].str.split()
        for lizard in sorted(set().union(*stood), key=lambda name: (len(name), name)):
            used = [int(lizard in names) for names in stood]
            parts.append(places.assign(set_id=f"R{number}-{lizard}", animal_id=lizard, used=used))
    columns = ["set_id", "round", "animal_id", "place_id", "used", "shade_air_c", "surface_c", "sun_excess_c"]
    return pd.concat(parts, ignore_index=True)[columns]


def compare_choices(sheet, *, drivers=None, permutations=199, rng=0):
    """On what did the class choose: the test of a wild season, with rounds as the witnesses.

    All lizards of a round choose among the same five places, so a place that is liked for its soft grass is liked by
    many at once: a round counts once, however many lizards took part, the way a season counts animals. A driver that
    `choice.compare` names must also hold when the signs of whole rounds are flipped at random; else the class
    cannot tell.

    Parameters
    ----------
    sheet : pandas.DataFrame
        As typed: see `choice_sets`.
    drivers : dict of str to str, optional
        Name and column of what is tested; air, surface and radiation unless given.
    permutations : int
        Classes with every lizard's place drawn at random.
    rng : int or numpy.random.Generator
        Seed.

    Returns
    -------
    fieldkit.field.choice.Comparison

    Notes
    -----
    The sums of a round's used places, less the mean of its places, change sign in all ways: the sign-flipping score
    test of Hemerik, Goeman and Finos (2020), Journal of the Royal Statistical Society B 82: 841. With six rounds the
    smallest p is 2 in 64, with five it is above 5 % whatever was chosen.

    Examples
    --------
    >>> answer = compare_choices(choice_lesson(rng=1), permutations=99)
    >>> answer.n_sets, answer.n_animals
    (120, 6)
    """
    drivers, sets = drivers or DRIVERS, choice_sets(sheet)
    # Rounds are what repeats here, with their own exact test below; labels of five places would only stand in for it.
    answer = choice.compare(
        sets.drop(columns="place_id"), drivers=drivers, instrument_errors=READING_ERRORS, cluster="round",
        permutations=permutations, rng=rng,
    )  # fmt: skip
    verdict, turned = answer.verdict, None
    if verdict in drivers:
        turned = _turned_rounds(sets, drivers[verdict], core.generator(rng))
        if turned[0] > 0.05 * turned[1]:
            verdict = "undecided"
    found = slips.of_places(sheet, _by_rounds(sheet))
    notes = (*answer.notes, slips.say(found).strip()) if found else answer.notes
    return dataclasses.replace(answer, verdict=verdict, sentence=words.choices(answer, verdict, turned), notes=notes)


def _by_rounds(sheet):
    from fieldkit.classroom import rounds

    return rounds.by_rounds(sheet).verdict


def _turned_rounds(sets, column, rng):
    """In how many ways of turning rounds round the pattern is as strong as it was, and how many ways there are."""
    within = sets[column] - sets.groupby("set_id")[column].transform("mean")
    return sign_flips((within * sets["used"]).groupby(sets["round"]).sum().to_numpy(), rng)


def sign_flips(sums, rng):
    """In how many orders of signs the total of the rounds is as large as it was, and how many orders there are.

    Parameters
    ----------
    sums : numpy.ndarray, shape (rounds,)
        One number a round; 0 is no preference.
    rng : numpy.random.Generator
        Draws 4095 orders where there are more than twelve rounds; with fewer, all are counted.

    Returns
    -------
    strong, orders : int

    Examples
    --------
    >>> sign_flips(np.array([2.0, 1.0, 1.5, 0.5, 1.0, 2.0]), np.random.default_rng(0))
    (2, 64)
    """
    if len(sums) <= 12:
        signs = np.array(list(itertools.product((1.0, -1.0), repeat=len(sums))))
    else:
        signs = np.vstack([np.ones(len(sums)), rng.choice([1.0, -1.0], size=(4095, len(sums)))])
    return int((np.abs(signs @ sums) >= abs(sums.sum()) * (1 - 1e-9)).sum()), len(signs)


def choice_lesson(*, rounds=6, lizards=20, effect=3.0, other_sd=0.3, rng=SEED):
    """Invent the sheet of a class of pretended lizards that go for the strongest sun.

    Parameters
    ----------
    rounds, lizards : int
        Each lizard takes one of five places in each round.
    effect : float
        Factor by which the odds of a place rise for one within-round standard deviation of radiation.
    other_sd : float
        Standard deviation of what else draws all lizards to a place (log odds): grass, shelter, friends.
    rng : int or numpy.random.Generator
        Seed.

    Returns
    -------
    pandas.DataFrame
        Columns round, place_id, shade_air_c, surface_c, black_c, taken_by.

    Examples
    --------
    >>> choice_lesson(rounds=1, lizards=3, rng=1)["place_id"].tolist()
    ['P1', 'P2', 'P3', 'P4', 'P5']
    """
    rng = core.generator(rng)
    season = simulate.choice_season(n_sets=rounds, n_places=5, driver="radiation", effect=effect, n_animals=1, rng=rng)
    sheet = season.choices.copy()
    turn = np.repeat(np.arange(rounds), 5)
    sheet["round"] = turn + 1
    # A simulated season spans seasons; a lesson is one morning.
    morning = 20.0 + 0.3 * turn - sheet.groupby("set_id")["shade_air_c"].transform("mean")
    for column in ("shade_air_c", "surface_c"):
        sheet[column] = sheet[column] + morning
    # What a black sleeve makes of light on the level; as if all of it came from the sky, which is near enough here.
    black = sensors.instrument_reading(
        instrument=COVERS["black card"],
        air_temperature_c=sheet["shade_air_c"].to_numpy(),
        wind_speed_m_s=1.0,
        dhi_w_m2=sheet["irradiance_w_m2"].clip(lower=0).to_numpy(),
    )
    sheet["black_c"] = black + rng.normal(0, 0.7, len(sheet))
    for column in ("shade_air_c", "surface_c", "black_c"):
        sheet[column] = (2 * sheet[column]).round() / 2
    pull = season.truth["probability"].to_numpy() * np.exp(other_sd * rng.normal(size=len(sheet)))
    taken = [[] for _ in turn]
    for number in range(rounds):
        share = pull[turn == number] / pull[turn == number].sum()
        for lizard, place in enumerate(rng.choice(5, size=lizards, p=share)):
            taken[5 * number + place].append(f"L{lizard + 1}")
    sheet["taken_by"] = [" ".join(names) for names in taken]
    return sheet[["round", "place_id", "shade_air_c", "surface_c", "black_c", "taken_by"]]


def chances(values, *, odds_per_step, step):
    """Chance of each place of one choice set, when the odds rise by a factor for every step of what is sought.

    Parameters
    ----------
    values : array of float, shape (places,)
        What is sought, at each place.
    odds_per_step : float
        Factor above 0; 1 is no preference.
    step : float
        Size of a step, in the unit of values.

    Returns
    -------
    numpy.ndarray, shape (places,)
        Sums to 1.

    Notes
    -----
    Conditional logit: McFadden, D. (1974), Conditional logit analysis of qualitative choice behavior.

    Examples
    --------
    >>> chances([0.0, 5.0], odds_per_step=3.0, step=5.0).tolist()
    [0.25, 0.75]
    """
    if not odds_per_step > 0 or not step > 0:
        raise FieldkitError("odds_per_step and step must be above 0; odds_per_step 1 is no preference.")
    values = np.asarray(values, dtype=float)
    weight = math.log(odds_per_step) * (values - values.max()) / step
    return np.exp(weight) / np.exp(weight).sum()
