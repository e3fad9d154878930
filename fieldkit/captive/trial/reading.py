"""Read a trial: the effect by the order that was drawn, what else moved, and whether a limit was reached."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.captive.targets import Kind
from fieldkit.captive.trial.outcomes import OUTCOMES, daily, kinds_of
from fieldkit.captive.trial.planner import LIMITS, load
from fieldkit.captive.trial.randomise import RandomisationTest, randomisation_test, smallest_p
from fieldkit.captive.trial.safety import WELFARE
from fieldkit.core import FieldkitError, Result, method

ALPHA = 0.05


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Trial(Result):
    """A trial as it came out.

    Attributes
    ----------
    table : DataFrame
        One row a period: as planned, with ``days_counted`` and the ``mean`` of the outcome.
    verdict : {"helped", "harmed", "cannot tell", "stopped"}
    test : RandomisationTest or None
    blocks : DataFrame
        ``block, usual, changed, difference``.
    left_out : DataFrame
        ``block, reason``.
    looked_at : DataFrame
        Drift and carry-over: ``what, value, p, says``.
    limits : DataFrame
        Limits agreed beforehand: ``limit, reached`` ("yes", "no", "not measured"), ``finding``.
    """

    table: pd.DataFrame
    sentence: str
    verdict: str
    test: RandomisationTest | None
    blocks: pd.DataFrame
    left_out: pd.DataFrame
    looked_at: pd.DataFrame
    limits: pd.DataFrame
    cautions: tuple
    settings: dict


@method
def read(record, trial=None, *, aims=None, rng=0):
    """Analyse a trial by the randomisation that was drawn.

    Parameters
    ----------
    record : EnclosureRecord
        With the scans of the trial.
    trial : str, pathlib.Path or dict, optional
        trial.toml, or what `plan.load` made of it; that of the record's own folder unless given.
    aims : Targets, optional
        Ceilings that no reading of the trial may have passed.
    rng : int or numpy.random.Generator
        Seed, where there are too many orders to count all.

    Returns
    -------
    Trial

    Raises
    ------
    FieldkitError
        When there is no trial, or no whole block of it was watched.

    Notes
    -----
    The mean of the counted days of each period, changed less usual within blocks, tested by the orders that could have
    been drawn (`randomise.randomisation_test`). Days that follow one another and a drift through the season cannot make
    it say "helped" more often than it should: under no effect every drawn order was as likely as any other. A block of
    which a period has no counted day is left out whole, with the reason.
    """
    stated = trial if isinstance(trial, dict) else load(record.path if trial is None else trial)
    values = daily(record, stated["outcome"])
    table = _means(stated["table"], values)
    blocks, left_out = _blocks(table)
    if len(blocks) < 2:
        raise FieldkitError(
            f"Only {len(blocks)} of {stated['blocks']} blocks were watched in both arms: go on watching, or see that "
            f"the scans are of {table['first_day'].min():%Y-%m-%d} to {table['last_day'].max():%Y-%m-%d}."
        )
    test = randomisation_test(blocks["difference"].to_numpy(), rng=rng)
    limits = _limits(record, stated, aims)
    looked = _looked_at(stated["table"], values, blocks)
    stopped = limits[limits["reached"] == "yes"]
    verdict = "stopped" if len(stopped) else _verdict(test, stated["better"])
    return Trial(
        table=table,
        sentence=_sentence(stated, test, verdict, stopped, looked, len(blocks)),
        verdict=verdict,
        test=test,
        blocks=blocks,
        left_out=left_out,
        looked_at=looked,
        limits=limits,
        cautions=WELFARE,
        settings={k: stated[k] for k in ("change", "outcome", "better", "blocks", "days", "settle", "seed")},
    )


def _verdict(test, better):
    if test.p > ALPHA:
        return "cannot tell"
    return "helped" if (test.effect > 0) == (better == "higher") else "harmed"


def _counted(table, values):
    """Counted days of each period, as the values of these days."""
    return [values[(values.index >= row.counts_from) & (values.index <= row.last_day)] for row in table.itertuples()]


def _means(table, values):
    parts = _counted(table, values)
    return table.assign(days_counted=[len(p) for p in parts], mean=[p.mean() if len(p) else np.nan for p in parts])


def _blocks(table):
    wide = table.pivot_table(index="block", columns="arm", values="mean", dropna=False, aggfunc="first")
    wide = wide.reindex(index=table["block"].unique(), columns=["usual", "changed"])
    whole = wide.notna().all(axis=1)
    gone = pd.DataFrame({"block": wide.index[~whole], "reason": "one of its periods has no counted day with scans"})
    wide = wide[whole].assign(difference=lambda t: t["changed"] - t["usual"]).reset_index()
    wide.columns.name = None
    return wide, gone


def _looked_at(table, values, blocks):
    """Drift through the trial and carry-over from the period before."""
    from scipy import stats

    rows = []
    if len(blocks) >= 3:
        middle = blocks[["usual", "changed"]].mean(axis=1)
        line = stats.linregress(blocks["block"], middle)
        says = "a drift, which the drawn order keeps out of the effect" if line.pvalue < ALPHA else "no clear drift"
        rows.append(("drift a block", float(line.slope), float(line.pvalue), says))
    early, late = [], []
    for block, pair in table.groupby("block"):
        if block not in set(blocks["block"]):
            continue
        halves = {
            row.arm: np.array_split(part.to_numpy(), 2) for row, part in zip(pair.itertuples(), _counted(pair, values))
        }
        if all(len(h) for arm in halves.values() for h in arm):
            for where, k in ((early, 0), (late, 1)):
                where.append(halves["changed"][k].mean() - halves["usual"][k].mean())
    if len(early) >= 2:
        found = randomisation_test(np.array(late) - np.array(early))
        says = "no clear sign of carry-over"
        if found.p <= ALPHA:
            says = "the effect differs between first and last counted days: give more days to settle"
        rows.append(("effect on last less first counted days", found.effect, found.p, says))
    return pd.DataFrame(rows, columns=["what", "value", "p", "says"])


# ---- limits ----------------------------------------------------------------------------------------------------------


def _limits(record, stated, aims):
    first, last = stated["table"]["first_day"].min(), stated["table"]["last_day"].max() + pd.Timedelta(days=1)
    limits = LIMITS | stated.get("limits", {})
    rows = [_hidden(record, first, last, limits["days_hidden"])]
    care = record.care
    if care is not None and len(care):
        days = pd.to_datetime(care["date"])
        days = days.dt.tz_localize(None) if days.dt.tz is not None else days
        care = care.assign(day=days)[(days >= first) & (days < last)]
    rows.append(_mass(care, limits["mass_loss_percent"]))
    rows.append(_food(care, limits["days_without_food"]))
    rows.append(_ill(care))
    rows.append(_readings(record, first, last, aims))
    return pd.DataFrame(rows, columns=["limit", "reached", "finding"])


def _hidden(record, first, last, most):
    scans = record.scans
    day = scans["time"].dt.tz_localize(None).dt.normalize()
    inside = (day >= first) & (day < last)
    hidden = (kinds_of(scans) == "hidden")[inside].groupby([scans["animal_id"][inside], day[inside]]).all()
    name = f"hidden all day on {most:g} days in a row"
    for animal, days in hidden.groupby(level=0):
        worst = _longest(days.to_numpy())
        if worst >= most:
            return (
                name,
                "yes",
                f"{animal} was never seen out on {worst} days in a row: a vet, and back to the usual setup.",
            )
    return name, "no", ""


def _longest(flags):
    run = longest = 0
    for flag in flags:
        run = run + 1 if flag else 0
        longest = max(longest, run)
    return longest


def _mass(care, most):
    name = f"body mass down by {most:g} %"
    if care is None or "mass_g" not in care or not care["mass_g"].notna().any():
        return name, "not measured", "write body mass into the table care when the animals are weighed anyway"
    for animal, part in care.dropna(subset=["mass_g"]).sort_values("day").groupby(_who(care)):
        lost = 100 * (1 - part["mass_g"].min() / part["mass_g"].iloc[0])
        if lost >= most:
            return name, "yes", f"{animal} lost {lost:.0f} %: a vet, and back to the usual setup."
    return name, "no", ""


def _who(care):
    return "animal_id" if "animal_id" in care else pd.Series("the animal", index=care.index)


def _food(care, most):
    name = f"no food taken for {most:g} days"
    if care is None or "ate" not in care or not care["ate"].notna().any():
        return name, "not measured", "write into the table care whether they ate"
    for animal, part in care.dropna(subset=["ate"]).sort_values("day").groupby(_who(care)):
        refused, since = part["ate"] == 0, None
        for day, no in zip(part["day"], refused):
            since = (since or day) if no else None
            if since is not None and (day - since).days >= most:
                return name, "yes", f"{animal} took no food from {since:%Y-%m-%d} to {day:%Y-%m-%d}: a vet."
    return name, "no", ""


def _ill(care):
    name = "signs of illness or injury"
    if care is None or "ill" not in care or not care["ill"].notna().any():
        return name, "not measured", "write into the table care whether they look well"
    sick = care[care["ill"] == 1]
    if len(sick):
        return name, "yes", f"noted on {sick['day'].iloc[0]:%Y-%m-%d}: the trial ends, a vet."
    return name, "no", ""


def _readings(record, first, last, aims):
    name = "any reading above a limit"
    when = record.readings["time"].dt.tz_localize(None)
    read = record.readings[(when >= first) & (when < last)]
    if aims is None or not len(read):
        return name, "not measured", "no readings of these days, or no limits given"
    roles = {"surface_c": "surface", "shade_air_c": "shade_air", "operative_c": "copper_model", "uv_index": "uv_index"}
    roles["irradiance_w_m2"] = "irradiance"
    # Limits of hours are means of hours: a single reading is held against those of minutes.
    limits = aims.table[(aims.table["kind"] == Kind.LIMIT) & ~(aims.table["contact_min"] > 10)]
    for row in limits.itertuples(index=False):
        mine = read[(read["role"] == roles.get(row.target)) & (read["value"] > row.high)]
        if len(mine):
            worst = mine.loc[mine["value"].idxmax()]
            found = f"{row.target} {worst['value']:.1f} on {worst['time']:%Y-%m-%d %H:%M}, limit {row.high:g}"
            return name, "yes", f"{found}: back to the usual setup, then fieldkit audit."
    return name, "no", ""


def _sentence(stated, test, verdict, stopped, looked, blocks):
    _, words, unit, _ = OUTCOMES[stated["outcome"]]
    told = f" {unit}" if unit else ""
    limits = f"{test.low:.2g} to {test.high:.2g}{told}" if np.isfinite(test.low) else "no limits: too few blocks"
    numbers = (
        f"{words}: {test.effect:+.2g}{told} with the change (95 % interval {limits}; two-sided p {test.p:.2g} by the "
        f"orders that could have been drawn, {blocks} blocks)."
    )
    first = {
        "helped": "The change helped",
        "harmed": "The change harmed",
        "cannot tell": "Cannot tell whether the change helped",
        "stopped": "A limit was reached, so the trial stops, whatever else it shows",
    }[verdict]
    out = f"{first}. {numbers[:1].upper()}{numbers[1:]}"
    if verdict == "stopped":
        out += " " + " ".join(stopped["finding"])
    if verdict == "cannot tell" and smallest_p(blocks) > ALPHA:
        out += " With so few blocks no p-value below 0.05 is possible."
    noted = looked[looked["p"] <= ALPHA]
    if len(noted):
        out += " Noted: " + "; ".join(noted["says"]) + "."
    return out
