"""Plan a trial: draw its order, say what it can show, write it down and read it again."""

import datetime as dt
import secrets
import tomllib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from fieldkit.captive.trial import detect as powers
from fieldkit.captive.trial import randomise, safety
from fieldkit.captive.trial.outcomes import OUTCOMES, daily
from fieldkit.core import FieldkitError, Result, method, new_files

NAME = "trial.toml"
WANTED_POWER = 0.8
# Limits at which a trial stops, agreed beforehand (rules of thumb; a vet may set others).
LIMITS = {"mass_loss_percent": 10.0, "days_without_food": 7, "days_hidden": 3}
COLUMNS = ["block", "period", "arm", "first_day", "counts_from", "last_day"]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class TrialPlan(Result):
    """A trial as planned.

    Attributes
    ----------
    table : DataFrame
        One row a period: ``block, period, arm`` ("usual" or "changed"), ``first_day``, the day from which scans count
        (``counts_from``) and ``last_day``.
    smallest_p : float
        Smallest two-sided p-value that the design can give.
    power : DataFrame or None
        ``effect, power``; None without enough days to plan from.
    effect_found : float
        Effect that is found in four of five such trials; NaN where it is not known.
    unknown : tuple of str
        What nobody could judge beforehand.
    """

    table: pd.DataFrame
    sentence: str
    change: str
    outcome: str
    better: str
    order: list
    seed: int
    smallest_p: float
    power: pd.DataFrame | None
    effect_found: float
    limits: dict
    unknown: tuple
    settings: dict

    def to_toml(self):
        """The plan as text of trial.toml.

        Returns
        -------
        str
        """
        given = self.settings
        lines = [
            "# A trial, as drawn. Change nothing here once it has begun: the order is what makes it a fair test.",
            f"change = {_quoted(self.change)}",
            f"outcome = {_quoted(self.outcome)}",
            f"better = {_quoted(self.better)} # what counts as help",
            f"first_day = {given['first_day']:%Y-%m-%d}",
            f"blocks = {given['blocks']}",
            f"days = {given['days']} # of each period",
            f"settle = {given['settle']} # days at the begin of each period that do not count",
            f"seed = {self.seed} # the order can be drawn again with it",
            f"order = [{', '.join('[' + ', '.join(map(_quoted, pair)) + ']' for pair in self.order)}]",
            "",
            "# The trial stops when one of these is reached, or any reading exceeds a limit.",
            "[limits]",
            *(f"{k} = {v}" for k, v in self.limits.items()),
        ]
        for name, values in (given.get("changes") or {}).items():
            lines += ["", f"[{name}]", *(f"{_quoted(k)} = {float(v)}" for k, v in values.items())]
        return "\n".join(lines) + "\n"


def _quoted(text):
    return '"' + str(text).replace("\\", "\\\\").replace('"', '\\"').replace("\n", " ") + '"'


@method
def plan(
    record,
    *,
    change,
    outcome="basking_share",
    blocks=8,
    days=4,
    settle=1,
    better=None,
    first_day=None,
    aims=None,
    changes=None,
    after=None,
    limits=None,
    rng=None,
):
    """Plan a trial of one change.

    Parameters
    ----------
    record : EnclosureRecord
        The enclosure with its usual setup.
    change : str
        The change in words.
    outcome : str
        One of `OUTCOMES`.
    blocks : int
        Blocks; each holds a period of either arm, in drawn order.
    days : int
        Days of a period.
    settle : int
        Days at its begin in which the change is made in steps, and which do not count.
    better : {"higher", "lower"}, optional
        What counts as help; by the outcome unless given.
    first_day : datetime.date, optional
        Tomorrow's use is to give it; the day after the last scan unless given.
    aims : Targets, optional
        What both arms are held against; without it nothing is judged, and the plan says so.
    changes : dict, optional
        The change in numbers: ``power_w``, ``height_m`` or ``set_point_c`` by lamp.
    after : EnclosureRecord, optional
        The changed arm as read.
    limits : dict, optional
        In place of those of `LIMITS`.
    rng : int, optional
        Seed of the order; one is drawn unless given. It is kept.

    Returns
    -------
    TrialPlan

    Raises
    ------
    FieldkitError
        When the numbers make no design, or when either arm may not be run, with all reasons.

    Notes
    -----
    Edgington and Onghena (2007) Randomization Tests, chapter 11: alternation drawn within blocks keeps a drift out.
    """
    _check_design(outcome, blocks, days, settle, better)
    against, unknown = [], []
    if aims is None:
        unknown.append("Neither arm was held against limits: give targets.")
    else:
        against, unknown = safety.reasons_against(
            record, aims, change=change, settle=settle, changes=changes, after=after
        )
    if against:
        raise FieldkitError("This trial may not be run.\n- " + "\n- ".join(against))
    # Nobody may pick the seed for the order that it draws, unless to draw an order again.
    rng = secrets.randbelow(10**9) if rng is None else int(rng)
    order = randomise.draw(blocks, rng=rng)
    begin = _begin(record, first_day)
    table = periods(order, begin, days=days, settle=settle)
    found, curve, doubt = _power(record, outcome, blocks, days, settle)
    settings = {"blocks": blocks, "days": days, "settle": settle, "first_day": begin, "changes": changes or {}}
    return TrialPlan(
        table=table,
        sentence=_sentence(outcome, blocks, days, table, found, doubt),
        change=change,
        outcome=outcome,
        better=better or OUTCOMES[outcome][3],
        order=order,
        seed=int(rng),
        smallest_p=randomise.smallest_p(blocks),
        power=curve,
        effect_found=found,
        limits=LIMITS | dict(limits or {}),
        unknown=tuple(unknown),
        settings=settings,
    )


def _check_design(outcome, blocks, days, settle, better):
    if outcome not in OUTCOMES:
        raise FieldkitError(f"There is no outcome '{outcome}': choose from {', '.join(OUTCOMES)}.")
    if better not in (None, "higher", "lower"):
        raise FieldkitError(f"What is better must be 'higher' or 'lower', not '{better}'.")
    if not 2 <= blocks <= 60 or days < 2 or not 1 <= settle < days:
        raise FieldkitError(
            f"{blocks} blocks of periods of {days} days with {settle} to settle make no trial: 2 to 60 blocks, periods "
            "of two days or more, and of each at least one day to settle and one that counts."
        )


def _begin(record, first_day):
    if first_day is not None:
        try:
            return pd.Timestamp(first_day).normalize()
        except ValueError:
            raise FieldkitError(f"'{first_day}' is no date: write it as 2026-05-14.") from None
    if record.scans is not None and len(record.scans):
        return record.scans["time"].max().tz_localize(None).normalize() + pd.Timedelta(days=1)
    return pd.Timestamp(dt.date.today()) + pd.Timedelta(days=1)


def periods(order, first_day, *, days, settle):
    """Periods of a trial by date.

    Parameters
    ----------
    order : list of pairs of str
        Arms of each block, as drawn.
    first_day : datetime.date or Timestamp
        Day on which the trial begins.
    days, settle : int
        Days of a period.

    Returns
    -------
    DataFrame
        As `TrialPlan.table`.

    Examples
    --------
    >>> periods([("usual", "changed")], "2026-05-04", days=4, settle=1)["counts_from"].dt.day.tolist()
    [5, 9]
    """
    rows = []
    start = pd.Timestamp(first_day).normalize().as_unit("ns")
    for number, arm in enumerate(arm for pair in order for arm in pair):
        first = start + pd.Timedelta(days=number * days)
        rows.append(
            (
                number // 2 + 1,
                number + 1,
                arm,
                first,
                first + pd.Timedelta(days=settle),
                first + pd.Timedelta(days=days - 1),
            )
        )
    return pd.DataFrame(rows, columns=COLUMNS)


def _power(record, outcome, blocks, days, settle):
    """Effect found in four of five trials, power by effect, and why they are not known."""
    try:
        sd, likeness = powers.scatter(daily(record, outcome))
    except FieldkitError as reason:
        return np.nan, None, str(reason)
    design = {"blocks": blocks, "days": days, "settle": settle, "standard_deviation": sd, "likeness": likeness}
    effects = np.round(np.linspace(0, 3 * sd, 7), 4)
    curve = pd.DataFrame({"effect": effects, "power": powers.power(effects, **design)})
    curve.attrs |= design
    return powers.effect_found(WANTED_POWER, **design), curve, ""


def _sentence(outcome, blocks, days, table, found, doubt):
    _, words, unit, _ = OUTCOMES[outcome]
    p = randomise.smallest_p(blocks)
    length = f"{blocks} blocks of twice {days} days, from {table['first_day'].iloc[0]:%Y-%m-%d} to "
    length += f"{table['last_day'].iloc[-1]:%Y-%m-%d}"
    able = f"the smallest p-value it can give is {p:.2g}"
    if p > powers.ALPHA:
        able += f", above {powers.ALPHA:g}: such a trial can never say 'helped' or 'harmed'; take 6 blocks or more"
    if doubt:
        return f"{length}; {able}. Its power is not known: {doubt}"
    told = f" {unit}" if unit else ""
    power = (
        f"an effect of {found:.2g}{told} on the {words} would be found in four of five such trials"
        if np.isfinite(found)
        else "no effect would be found in four of five such trials"
    )
    return f"{length}; {able}; from the days watched so far, {power}."


def save(planned, folder, *, sheet=None):
    """Write a plan into an enclosure folder as trial.toml.

    Parameters
    ----------
    planned : TrialPlan
        The plan.
    folder : str or pathlib.Path
        Where to write.
    sheet : str, optional
        Page to print, written beside it as trial_sheet.html.

    Returns
    -------
    list of pathlib.Path

    Raises
    ------
    FieldkitError
        When there is one already: nothing is overwritten.
    """
    texts = {NAME: planned.to_toml()} | ({} if sheet is None else {"trial_sheet.html": sheet})
    files = {Path(folder).expanduser() / name: text for name, text in texts.items()}
    for file in files:
        if file.exists():
            raise FieldkitError(
                f"{file} is there already, and a trial is drawn once: nothing was written. Move it away for another."
            )
    with new_files(*files) as places:
        for place, text in zip(places, texts.values(), strict=True):
            place.write_text(text, encoding="utf-8", newline="\n")
    return list(files)


def load(path):
    """Read a trial.toml.

    Parameters
    ----------
    path : str or pathlib.Path
        The file, or the folder it is in.

    Returns
    -------
    dict
        As written, with ``table`` as in `TrialPlan`.

    Raises
    ------
    FieldkitError
        When it is missing, no TOML, or its order is not the one that its seed draws.
    """
    file = Path(path).expanduser()
    file = file / NAME if file.is_dir() else file
    if not file.is_file():
        raise FieldkitError(f"There is no {file}: draw a trial first with fieldkit trial plan.")
    try:
        stated = tomllib.loads(file.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise FieldkitError(f"{file.name} cannot be read ({error}): restore it as it was drawn.") from error
    missing = [
        k for k in ("change", "outcome", "first_day", "blocks", "days", "settle", "seed", "order") if k not in stated
    ]
    if missing:
        raise FieldkitError(f"{file.name} lacks {', '.join(missing)}: restore it as it was drawn.")
    _check_design(stated["outcome"], stated["blocks"], stated["days"], stated["settle"], stated.get("better"))
    order = [tuple(pair) for pair in stated["order"]]
    if order != randomise.draw(stated["blocks"], rng=stated["seed"]):
        raise FieldkitError(
            f"The order in {file.name} is not the one that seed {stated['seed']} draws. Only an order that was drawn "
            "can be analysed: restore the file."
        )
    table = periods(order, stated["first_day"], days=stated["days"], settle=stated["settle"])
    return stated | {"order": order, "table": table, "better": stated.get("better", OUTCOMES[stated["outcome"]][3])}
