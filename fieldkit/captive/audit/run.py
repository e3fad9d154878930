"""Hold an enclosure's readings against its targets: what is met, missed, not measured, and what cannot be told.

An audit speaks of what was measured, where and when it was. It never calls a setup harmless.
"""

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from fieldkit.captive.audit import fixes as audit_fixes
from fieldkit.captive.audit import flags as audit_flags
from fieldkit.captive.audit import means as blocks
from fieldkit.captive.audit import next_readings
from fieldkit.captive.audit import operative as audit_operative
from fieldkit.captive.audit.flags import WARMER_ROOM_C
from fieldkit.captive.audit.flags_of_lamps import REACH_M
from fieldkit.captive.audit.judge import ALLOWED, COLUMNS, FEWEST_DAYS, OFFER, Judge
from fieldkit.captive.audit.means import amount
from fieldkit.captive.audit.status import OPEN, OUTSIDE, Status
from fieldkit.captive.targets import (
    CONTACT_SCOPE,
    FULL_SHADE,
    FULL_SUN,
    REST_BELOW_C,
    Kind,
    held_to_limits,
    spoken,
    standard_rows,
)
from fieldkit.captive.targets.standards import NO_UV
from fieldkit.core import FieldkitError, Result, method

CAUTIONS = (
    "Burns and fire: guard every hot lamp, fix it so that it cannot fall even if its clamp lets go, keep it clear of "
    "anything that burns. Reptiles often stay on what burns them.",
    "Mains electricity and water do not go together: switch off and unplug before you reach in, use a residual-current "
    "device and drip loops, and leave fixed wiring to an electrician.",
    "UV harms eyes and skin, the keeper's too. Limits for people: 30 J/m² weighted in 8 hours for skin and eyes, and "
    "10,000 J/m² of UV-A for the eyes (ICNIRP 2004). There is no such limit for reptiles. Never look into a UV lamp; "
    "wear UV glasses when you read it.",
    CONTACT_SCOPE,
    "Never change an occupied enclosure in big steps: a little at a time, read again, and watch the animals.",
    "A sick animal, or one that stops feeding, goes to a vet who treats reptiles, whatever the numbers say.",
    "Local law and licences for keeping, and the rules for electrical work, come first.",
    "An audit tells of the points and days that were measured. What was not measured is unknown, and so is what "
    "changed since.",
)

# Share of a logger's error that is not the same before and after a change (our choice).
FRESH = 0.3
RULES = (
    f"Rules without a source. Common practice: a band may be left for {100 * ALLOWED:.0f} % of the time, what is "
    f"offered must stand for {100 * OFFER:.0f} % of the day, full sun begins at {100 * FULL_SUN:.0f} % and full shade "
    f"ends at {100 * FULL_SHADE:.0f} % of the sun, {100 * REACH_M:.0f} cm are within reach, no basking below "
    f"{REST_BELOW_C:g} °C where the season shows none, errors that are not stated, the order of the changes. Our "
    f"choice: fewer than {FEWEST_DAYS} days tell nothing of other days, a room {WARMER_ROOM_C:g} °C above the target "
    "is too warm, readings within half an hour belong together."
)


def _sun_in_words(levels):
    sun, shade = 100 * FULL_SUN, 100 * FULL_SHADE
    if np.isfinite(levels).all():
        return (
            f"Floor: full sun is at least {levels[0]:.0f} W/m² and full shade at most {levels[1]:.0f} W/m², {sun:.0f} "
            f"and {shade:.0f} % of the typical sun on level ground while places were read in the field."
        )
    return (
        f"Floor: the targets do not say how strong full sun was, so {sun:.0f} and {shade:.0f} % of the enclosure's own "
        "strongest light divide it: the shares say nothing of how strong that is."
    )


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Audit(Result):
    """An enclosure held against its targets.

    Attributes
    ----------
    table : DataFrame
        One row per target, and per standard limit that the targets lack: the target; ``status`` (`Status`) and what
        it rests on, ``evidence`` (`Evidence`); ``reading`` (median), ``reading_low`` and ``reading_high`` (5 and 95 %)
        at the deciding point; ``error`` (of a reading); ``by_how_much`` it lies outside (negative: inside); ``side``;
        ``share_of_time`` outside (of days, for what must be offered); ``n_readings`` and ``n_outside``; the same by day
        and by night (``day_n, day_outside, day_low, day_middle, day_high, night_n`` …); ``when``; ``where``, ``point``,
        ``logger_id``; ``robust`` (missed even if target and reading are off by their 95 % error); ``limit_exceeded``
        and its ``p_value``, adjusted for the loggers near it; ``n_days``; ``day_error`` (standard error over days of
        what decided); ``fixes``.
    fixes : DataFrame
        What to change, in order of importance (`fixes.COLUMNS`): ``change`` and ``reason`` in words, and as data
        ``weight, urgent, action, quantity, zone, period, months, place, lamp, direction, by, unit, share``, what is
        expected at the new height, and ``rows``, the rows of `table` that it serves.
    flags : DataFrame
        Unsafe or impossible setups looked for: ``flag``, ``kind``, ``found`` ("yes", "no", "not measured", "cannot
        tell"), ``where``, ``finding``.
    next_measurements : DataFrame
        What to measure next, most useful first: ``measure``, ``settles``, ``reason``, ``weight``.
    gradient : DataFrame
        Warm end against cool end, sun and shade of the floor, light against the animal.
    profile : DataFrame
        Median, 5 and 95 % of each logger by month and hour.
    outside : DataFrame
        Share of the ten-minute means outside the limits by target (row of `table`), month and hour.
    left_out : tuple of str
        Loggers in a lamp's beam, whose air is not believed.
    notes : tuple of str
        What was assumed.
    """

    name: str
    species: str
    invented: bool
    table: pd.DataFrame
    fixes: pd.DataFrame
    flags: pd.DataFrame
    next_measurements: pd.DataFrame
    gradient: pd.DataFrame
    profile: pd.DataFrame
    outside: pd.DataFrame
    targets: object
    left_out: tuple = ()
    notes: tuple = ()
    cautions: tuple = CAUTIONS
    settings: dict = field(default_factory=dict)

    @property
    def exit_status(self):
        """3 when a limit is exceeded or a danger was found, else 0; 0 does not mean that nothing is wrong."""
        return 3 if self.table["limit_exceeded"].any() or self.dangers.shape[0] else 0

    @property
    def dangers(self):
        """Flags of kind "unsafe" that were found."""
        return self.flags[(self.flags["kind"] == "unsafe") & (self.flags["found"] == "yes")]

    @property
    def title(self):
        """Name of the enclosure, and whatever keeps this audit from speaking of its animal."""
        return f"{self.name}{_marks(self)}"

    @property
    def sentence(self):
        first = self.fixes[self.fixes["urgent"]]
        words = f"{first['change'].iloc[0]} " if len(first) else ""
        counts = self.table["status"].value_counts()
        words += f"{self.title}, {len(self.table)} target{'s' if len(self.table) > 1 else ''}: "
        words += ", ".join(f"{counts[s]} {s}" for s in Status if s in counts)
        limits = self.table[self.table["kind"] == Kind.LIMIT]
        words += f"; {int(limits['limit_exceeded'].sum())} of {len(limits)} upper limits exceeded."
        for row in limits[limits["limit_exceeded"]].itertuples(index=False):
            what = spoken(row.target)
            words += (
                f" {what[0].upper()}{what[1:]} at {row.where} exceeded its limit of {amount(row.high, row.unit, 3)}"
            )
            words += f" by {amount(row.by_how_much, row.unit)}."
        doubtful = (limits["status"] == Status.UNKNOWN) & (limits["by_how_much"] > 0)
        for row in limits[doubtful].itertuples(index=False):
            what = spoken(row.target)
            words += (
                f" {what[0].upper()}{what[1:]} at {row.where} was read {amount(row.by_how_much, row.unit)} above its "
            )
            words += f"limit of {amount(row.high, row.unit, 3)}: the error of {amount(row.error, row.unit)} leaves it "
            words += "open, so take it for exceeded until a better reading says otherwise."
        found = self.dangers["flag"].tolist()
        if found:
            words += f" Dangers found: {', '.join(found)}."
        if len(self.fixes) and not len(first):
            words += f" First: {self.fixes['change'].iloc[0]}"
        blind = limits["status"].isin(OPEN) & ~doubtful
        if blind.any():
            words += f" {int(blind.sum())} limit{'s' if blind.sum() > 1 else ''} could not be judged."
        if (self.table["kind"] == Kind.LIMIT).all():
            words += " These are limits only: nothing was asked about what the animal needs."
        return words


def _marks(found):
    """What a title has to say beside the name: invented, or targets of another species."""
    marks = []
    if found.settings.get("enclosure_invented"):
        marks.append("invented")
    elif found.targets.invented:
        marks.append("against INVENTED targets")
    if found.settings.get("other_species"):
        marks.append(f"against targets of ANOTHER SPECIES: {found.species}")
    return f" ({'; '.join(marks)})" if marks else ""


@method
def audit(enclosure, targets, *, coverage=None, light=None, level=0.95, allowed=ALLOWED, allow_invented=False):
    """Hold an enclosure against its targets.

    Parameters
    ----------
    enclosure : EnclosureRecord
        From `fieldkit.read_enclosure`.
    targets : Targets
        From `targets.load` or `targets.from_season`.
    coverage : Coverage, optional
        From `lamps.coverage`: whether the whole animal fits into the light.
    light : Field, optional
        From `lamps.field` over a grid of the floor: shares of the floor in sun and shade.
    level : float
        Confidence with which a target is called missed or a limit exceeded.
    allowed : float
        Share of the time that may lie outside a range; of a limit nothing may.
    allow_invented : bool
        Needed to hold a real enclosure against invented targets; the title then says so.

    Returns
    -------
    Audit

    Raises
    ------
    FieldkitError
        When there is nothing to hold the targets against, a setting is out of range, or a real enclosure would be held
        against invented targets.

    Notes
    -----
    The standard limits of surfaces and UV that the targets lack are added (`targets.standard_rows`). A limit is
    exceeded when readings as high as these have a chance of less than 1 - `level` without it being passed,
    whichever part of the stated error lasts and whichever is drawn anew (`means.limit_p`), adjusted for the
    loggers that come near the limit (Holm 1979). Other targets: more than the allowed share of ten-minute means must
    lie outside by more than the error (Bonferroni over loggers), days being the unit that repeats.

    Examples
    --------
    >>> import fieldkit
    >>> from fieldkit.captive import targets
    >>> found = audit(fieldkit.demo_enclosure(), targets.load("targets.toml"))  # doctest: +SKIP
    """
    if not 0.5 <= level < 1:
        raise FieldkitError(f"level is {level}: give the confidence as a share, such as 0.95.")
    if not 0 <= allowed < 0.5:
        raise FieldkitError(f"allowed is {allowed}: give the share of time that may lie outside, such as 0.05.")
    if targets.invented and not enclosure.invented and not allow_invented:
        raise FieldkitError(
            "These targets are invented (they come with the demo or say so), and this enclosure is not: what they ask "
            "for is for no real animal. To try it all the same, allow it: allow_invented=True, or --invented; the "
            "title will say so."
        )
    hidden = enclosure.points.loc[enclosure.points["zone"] == "retreat", "point_id"]
    warm = (enclosure.logger_info["role"] == "surface") & enclosure.logger_info["point_id"].isin(hidden)
    extra = standard_rows(targets.table, retreat=bool(warm.any() or (enclosure.lamps["kind"] == "heat mat").any()))
    if extra:
        held, cut = held_to_limits(pd.concat([targets.table, pd.DataFrame(extra)], ignore_index=True))
        targets = replace(targets, table=held, cut=(*targets.cut, *cut))
    means = blocks.make(enclosure)
    if not len(means.table) and not len(enclosure.lamps):
        raise FieldkitError("This enclosure has neither readings nor lamps: there is nothing to audit.")
    beam = audit_flags.sensors_in_beam(enclosure, means)
    left_out, levels = set(beam.index[beam == "yes"]), (targets.full_sun_w_m2, targets.full_shade_w_m2)
    predicted = []
    if (targets.table["target"] == "operative_c").any():
        means, predicted = audit_operative.extend(enclosure, means, left_out)
    table, flags_of = Judge(enclosure, targets.table, means, left_out, light, levels, level, allowed).rows()
    profile = _profile(means)
    flags = audit_flags.look(enclosure, targets, table, means, beam, coverage)
    gradient = audit_flags.gradient(enclosure, means, coverage, light, levels)
    fixes, per_row = audit_fixes.rank(enclosure, table, flags, means)
    table["fixes"] = per_row
    notes = [f"Day and night by {means.day_from}.", *predicted]
    guessed = means.loggers.loc[~means.loggers["error_stated"], "logger_id"].tolist()
    if guessed:
        notes.append(
            f"No error is stated for {', '.join(guessed)}: a wide one was assumed (common practice, no source)."
        )
    months = sorted(set(means.table["month"])) if len(means.table) else []
    notes.append(f"Measured months: {blocks.in_words(months) if months else 'none'}.")
    for name in sorted(left_out & set(means.loggers.loc[means.loggers["role"] == "shade_air", "logger_id"])):
        notes.append(f"{name} stands in a lamp's beam: its readings do not count as shade air.")
    if targets.table["target"].str.endswith("_share").any():
        notes.append(_sun_in_words(levels))
    notes += [note for note in targets.notes if note == NO_UV]
    notes += targets.cut
    notes.append(RULES)
    return Audit(
        name=enclosure.name,
        species=targets.species,
        invented=bool(enclosure.invented or targets.invented),
        table=table[list(COLUMNS)],
        fixes=fixes,
        flags=flags,
        next_measurements=next_readings.next_measurements(table, flags, means),
        gradient=gradient,
        profile=profile,
        outside=flags_of,
        targets=targets,
        left_out=tuple(sorted(left_out)),
        notes=tuple(notes),
        settings={
            "level": level,
            "allowed": allowed,
            "input_hash": enclosure.input_hash,
            "enclosure_invented": bool(enclosure.invented),
            "other_species": bool((flags["flag"] == audit_flags.OTHER_SPECIES).any()),
        },
    )


def light_of(enclosure, targets):
    """Map the light of an enclosure's lamps, where their meter readings tell a beam: for `audit`.

    Parameters
    ----------
    enclosure : EnclosureRecord
        With readings of lamps, a basking site, and the length of the animal.
    targets : Targets
        Those of irradiance at the basking site say what the animal has to fit into.

    Returns
    -------
    coverage : Coverage or None
        The wanted light around the basking site; None when lamps, site, animal or targets do not tell it.
    light : Field or None
        The lamps' field over the floor; None unless every lamp that gives light has a beam.
    """
    from fieldkit.captive import lamps
    from fieldkit.captive.lamps import folder as lamp_folder
    from fieldkit.captive.lamps import lit_area as lamp_coverage

    fitted = lamp_folder.lamps_of(enclosure)
    shining = enclosure.lamps.loc[enclosure.lamps["kind"].isin(blocks.LIGHT_KINDS), "id"]
    lit = [lamp for lamp in fitted.lamps if lamp.id in set(shining)]
    if not lit or len(lit) < len(shining):
        return None, None
    box, site = enclosure.geometry, enclosure.points[enclosure.points["zone"] == "basking site"]
    length, width = box.length_m, box.width_m
    _, _, floor = lamps.grid((0.0, length, 0.0, width), 0.0, step_m=max(length, width) / 60)
    light = lamps.field(lit, floor)
    rows = targets.table
    rows = rows[(rows["target"] == "irradiance_w_m2") & (rows["zone"] == "basking site") & (rows["kind"] == Kind.AIM)]
    rows = rows.dropna(subset=["low", "high"])
    body = enclosure.animal.length_m
    if not len(site) or not len(rows) or not body:
        return None, light
    middle, reach = site.iloc[0], 4 * body
    area = (
        max(middle["x_m"] - reach, 0.0),
        min(middle["x_m"] + reach, length),
        max(middle["y_m"] - reach, 0.0),
        min(middle["y_m"] + reach, width),
    )
    wanted = (float(rows["low"].mean()), float(rows["high"].mean()))
    coverage = lamp_coverage.coverage(
        lit, area, float(middle["z_m"]), wanted_w_m2=wanted, body_length_m=body, step_m=body / 12
    )
    return coverage, light


def _profile(means):
    table = means.table
    if not len(table):
        return pd.DataFrame(columns=["logger_id", "role", "zone", "month", "hour", "median", "low", "high", "n"])
    groups = table.groupby(["logger", "month", "hour"], sort=True)["value"]
    parts = {"median": groups.median(), "low": groups.quantile(0.05), "high": groups.quantile(0.95), "n": groups.size()}
    found = pd.DataFrame(parts).reset_index()
    who = means.loggers.loc[found.pop("logger"), ["logger_id", "role", "zone"]].reset_index(drop=True)
    return pd.concat([who, found], axis=1)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Change(Result):
    """Two audits of one enclosure, before and after a change.

    Attributes
    ----------
    table : DataFrame
        One row per target: ``before`` and ``after`` (status), ``by_how_much_before``, ``by_how_much_after``,
        ``change`` (negative: nearer to the target, or deeper inside), ``error`` of the change, and ``verdict``:
        better, worse, still met, no change shown, or cannot
        compare.
    """

    table: pd.DataFrame
    before: Audit
    after: Audit

    @property
    def sentence(self):
        counts = self.table["verdict"].value_counts()
        words = ", ".join(f"{n} {verdict}" for verdict, n in counts.items())
        mended = self.table["before"].isin(OUTSIDE) & (self.table["after"] == Status.MET)
        spoilt = (self.table["before"] == Status.MET) & self.table["after"].isin(OUTSIDE)
        words = f"After the change: {words}. {int(mended.sum())} missed targets are met now"
        words += f", {int(spoilt.sum())} that were met are missed."
        was, now = (int(a.table["limit_exceeded"].sum()) for a in (self.before, self.after))
        return f"{words} Upper limits exceeded: {was} before, {now} now."


def compare(before, after):
    """Audit again after a change, and say what moved.

    Parameters
    ----------
    before, after : Audit
        Against the same targets.

    Returns
    -------
    Change

    Raises
    ------
    FieldkitError
        When the targets differ.

    Notes
    -----
    Where the same logger decided both times most of its error is taken to be the same and to cancel, down to the
    scatter of days and three tenths of it (`FRESH`); otherwise both errors count. Weather and season may have changed
    too: a comparison of two logs is no experiment.
    """
    keys = ["target", "zone", "month", "period", "low", "high", "kind"]
    if not before.table[keys].equals(after.table[keys]):
        raise FieldkitError("The two audits were made with different targets: audit both with the same file.")
    table = before.table[keys].copy()
    for name, one in (("before", before), ("after", after)):
        table[name] = one.table["status"]
    for name, one in (("before", before), ("after", after)):
        table[f"by_how_much_{name}"] = one.table["by_how_much"]
    table["change"] = table["by_how_much_after"] - table["by_how_much_before"]
    same = before.table["where"] == after.table["where"]
    days = np.hypot(*(one.table["day_error"].fillna(0.0) for one in (before, after)))
    error = np.hypot(*(one.table["error"].fillna(0.0) for one in (before, after)))
    table["error"] = np.hypot(days, np.where(same, FRESH * error, error))
    moved = table["change"].abs() > 1.96 * table["error"]
    both = (table["before"] == Status.MET) & (table["after"] == Status.MET)
    table["verdict"] = np.select(
        [table["change"].isna(), both, moved & (table["change"] < 0), moved],
        ["cannot compare", "still met", "better", "worse"],
        "no change shown",
    )
    return Change(table=table, before=before, after=after)
