"""Wild animals and those of an enclosure, question by question, with intervals."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.captive.compare import hours, questions, sides
from fieldkit.captive.compare.estimate import FEWEST_ANIMALS, NOTHING, difference, holm
from fieldkit.captive.compare.questions import MARGINS
from fieldkit.core import FieldkitError, Result, method

CAUTIONS = (
    "Watch only: no chasing, no handling and no disturbance for the sake of a table.",
    "Behaviour has many causes. An animal that stops basking, hides all day or stops feeding may be ill: a vet who "
    "treats reptiles comes before any change of lamps.",
    "A difference from wild animals is no fault by itself, and being alike is no proof of welfare.",
    "Change an occupied enclosure little by little, read again, and watch. Local law and licences come first.",
)
LEVEL = 0.95
COLUMNS = [
    "group",
    "question",
    "unit",
    "field",
    "captive",
    "difference",
    "low",
    "high",
    "margin",
    "verdict",
    "says",
    "look_at",
    "matched",
    "p_differs",
    "p_all",
    "p_alike",
    "field_days",
    "captive_days",
    "detail",
]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class FieldAgainstCaptivity(Result):
    """What wild animals and those of an enclosure do, side by side.

    Attributes
    ----------
    table : DataFrame
        One row a question, indexed by its key: ``group, question, unit``; ``field, captive`` and their
        ``difference`` (captive less field) with limits ``low, high``; ``margin`` of "alike"; ``verdict`` ("alike",
        "differs", "cannot tell", "not measured") and what it ``says``; what to ``look_at``; ``matched`` (whether season
        and day length are, in words); ``p_differs``, the same held over all questions (``p_all``), ``p_alike``.
    by_hour : DataFrame
        Share of scans by behaviour and two hours, by solar time and since light on.
    offered_by_hour : DataFrame
        Share of the times at which the enclosure offers what wild animals took.
    left_out : DataFrame
        ``what, reason``.
    """

    table: pd.DataFrame
    sentence: str
    by_hour: pd.DataFrame
    offered_by_hour: pd.DataFrame
    left_out: pd.DataFrame
    notes: tuple
    cautions: tuple
    n_animals: dict
    settings: dict

    def rows(self, verdict):
        """Rows of one verdict.

        Parameters
        ----------
        verdict : {"alike", "differs", "cannot tell", "not measured"}
            Which rows.

        Returns
        -------
        DataFrame
        """
        return self.table[self.table["verdict"] == verdict]


@method
def compare(season, enclosure, *, margins=None, level=LEVEL, match=True, fill=True):
    """Set wild animals and those of an enclosure beside each other.

    Parameters
    ----------
    season : Season
        From `fieldkit.read_season`, with scans and choice sets.
    enclosure : EnclosureRecord
        From `fieldkit.read_enclosure`, with scans.
    margins : dict of str to float, optional
        Half-width of "alike" by question, in its unit, in place of those of `MARGINS`.
    level : float
        Confidence level of the limits.
    match : bool
        Whether only the months of the enclosure's scans count in the field, where it has enough days in them.
    fill : bool
        Whether the lamp field and the thermal model stand in where a point has no reading of its own.

    Returns
    -------
    FieldAgainstCaptivity

    Raises
    ------
    FieldkitError
        When one side has nothing to compare, or a margin has no question.

    Notes
    -----
    "Differs": the difference is clear at 5 % over all questions together (Holm 1979). "Alike within": two one-sided
    tests at 5 % each find it inside the margin (Schuirmann 1987, J. Pharmacokinet. Biopharm. 15:657). Neither: "cannot
    tell"; no difference found is never told as alike. Limits are those of one question by itself.

    From three animals on a side speaks for animals like its own; with fewer it speaks for those that were watched, and
    days are what repeats. Days that follow one another are alike, and this is allowed for
    (`fieldkit.captive.compare.estimate`). Where both are said, "alike" goes before "differs": a difference that is
    clear, and too small to matter by the margin.

    Examples
    --------
    >>> import fieldkit
    >>> found = compare(fieldkit.demo_season(), fieldkit.demo_enclosure("watched"), fill=False)
    >>> found.table.loc["uv_dose", "verdict"]
    'differs'
    """
    wanted = dict(MARGINS) | dict(margins or {})
    unknown = set(wanted) - set(MARGINS)
    if unknown or not all(isinstance(v, int | float) and v > 0 for v in wanted.values()):
        raise FieldkitError(
            f"A margin is a number above 0 for one of the questions: {', '.join(MARGINS)}. "
            f"Not known: {', '.join(sorted(unknown)) or 'none'}."
        )
    if not 0.5 < level < 1:
        raise FieldkitError(f"The confidence level must lie between 0.5 and 1, for example 0.95; it is {level}.")
    captive = sides.of_enclosure(enclosure, fill=fill)
    field = sides.of_season(season, captive.months if match else None)
    asked = questions.ask(field, captive, season, enclosure)
    matched = _matched(field, captive)
    table = _judged(asked, wanted, level, matched)
    notes = [*captive.notes, *field.notes, *_who(field, captive)]
    if enclosure.animal.species != season.animal.species:
        notes.insert(0, f"Two species: {season.animal.species} in the field, {enclosure.animal.species} here.")
    left_out = [
        pd.DataFrame({"what": part.iloc[:, 0].astype("str"), "reason": part["reason"]}) for part in captive.left_out
    ]
    return FieldAgainstCaptivity(
        table=table,
        sentence=_sentence(table, field, captive),
        by_hour=hours.by_hour(field, captive),
        offered_by_hour=hours.offered_by_hour(field, captive),
        left_out=pd.concat(left_out, ignore_index=True),
        notes=tuple(dict.fromkeys(notes)),
        cautions=CAUTIONS,
        n_animals={"field": field.n_animals, "captive": captive.n_animals},
        settings={"margins": wanted, "level": level, "match": match, "fill": fill},
    )


def _matched(field, captive):
    """Whether season and day length agree, in words."""
    parts = []
    near = {(m + step - 1) % 12 + 1 for m in captive.months for step in (-1, 0, 1)}
    if set(field.months) <= set(captive.months):
        parts.append("months matched")
    elif set(field.months) <= near:
        parts.append(f"months matched to within one: field {_months(field.months)}, here {_months(captive.months)}")
    else:
        parts.append(f"months not matched: field {_months(field.months)}, here {_months(captive.months)}")
    if np.isfinite(field.light_h) and np.isfinite(captive.light_h):
        same = abs(field.light_h - captive.light_h) <= sides.SAME_LIGHT_H
        hours = f"{captive.light_h:.1f} h of light here, {field.light_h:.1f} h in the field"
        parts.append("day length matched" if same else f"day length not matched: {hours}")
    else:
        parts.append("day length not known")
    return "; ".join(parts)


def _months(months):
    return ", ".join(str(m) for m in months)


def _who(field, captive):
    if captive.n_animals >= FEWEST_ANIMALS:
        return []
    who = "One animal speaks" if captive.n_animals == 1 else f"{captive.n_animals} animals speak"
    return [f"{who} for {'itself' if captive.n_animals == 1 else 'themselves'}: the days are what repeats."]


def _judged(asked, margins, level, matched):
    found = [
        NOTHING if q.field is None or q.captive is None else difference(q.field, q.captive, margins[q.key], level=level)
        for q in asked
    ]
    p_all = holm([np.nan if q.repeats else d.p_differs for q, d in zip(asked, found)])
    by_key = {q.key: p for q, p in zip(asked, p_all)}
    rows = []
    for q, d in zip(asked, found):
        p = by_key[q.repeats] if q.repeats else by_key[q.key]
        verdict = _verdict(q, d, p)
        rows.append(
            {
                "group": q.group,
                "question": q.question,
                "unit": q.unit,
                "field": np.nan if q.field is None else q.field.value,
                "captive": np.nan if q.captive is None else q.captive.value,
                "difference": d.difference,
                "low": d.low,
                "high": d.high,
                "margin": margins[q.key],
                "verdict": verdict,
                "says": _says(q, d, verdict, margins[q.key], p),
                "look_at": q.look_at if verdict in ("differs", "cannot tell") else "",
                "matched": matched,
                "p_differs": d.p_differs,
                "p_all": p,
                "p_alike": d.p_alike,
                "field_days": 0 if q.field is None else q.field.n_days,
                "captive_days": 0 if q.captive is None else q.captive.n_days,
                "detail": q.detail,
            }
        )
    return pd.DataFrame(rows, columns=COLUMNS, index=pd.Index([q.key for q in asked], name="key"))


def _verdict(q, d, p):
    if q.field is None or q.captive is None:
        return "not measured"
    if d.p_alike < 0.05:
        return "alike"
    return "differs" if p < 0.05 else "cannot tell"


def amount(value):
    """A number with two figures, or as a whole number from 100 on.

    Examples
    --------
    >>> amount(216.4), amount(0.1178), amount(-1.26)
    ('216', '0.12', '-1.3')
    """
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.2g}"


def _says(q, d, verdict, margin, p):
    unit = f" {q.unit}" if q.unit else ""
    if verdict == "not measured":
        return f"Not measured: {q.why_not}."
    if verdict == "alike":
        return f"Alike within {margin:g}{unit} (two one-sided tests, p {d.p_alike:.2g})."
    if verdict == "differs":
        way = "more" if d.difference > 0 else "less"
        return (
            f"Differs: {amount(abs(d.difference))}{unit} {way} here than in the field (p {p:.2g} over all questions)."
        )
    if not np.isfinite(d.low):
        return "Cannot tell: too few days, or no record differs from another. More days would tell."
    need = ""
    if d.high - d.low > 2 * margin:
        times = int(np.ceil(((d.high - d.low) / (2 * margin)) ** 2))
        need = f" About {max(times, 2)} times as many days on both sides could tell." if times < 100 else ""
    clear = (
        " A difference shows in this question by itself, not over all questions together."
        if (d.p_differs < 0.05)
        else ""
    )
    span = f"between {amount(d.low)} and {amount(d.high)}{unit}"
    return f"Cannot tell: {span}, neither inside ±{margin:g} nor clear.{clear}{need}"


def _sentence(table, field, captive):
    counts = table["verdict"].value_counts()
    parts = [f"{counts[v]} {words}" for v, words in _COUNTED.items() if v in counts]
    parts = ["1 differs" if part == "1 differ" else part for part in parts]
    gone = table[table["verdict"] == "differs"].sort_values("p_all", kind="stable")
    main = "; ".join(
        f"{row.question} (here {amount(row.captive)}, in the field {amount(row.field)}"
        f"{' ' + row.unit if row.unit else ''})"
        for row in gone.head(3).itertuples()
    )
    days = f"{captive.scans['day'].nunique()} days of {captive.n_animals} animal{'' if captive.n_animals == 1 else 's'}"
    first = f"What differs most clearly from the field: {main}. " if main else "No clear difference was found. "
    return f"{first}Of {len(table)} questions: {', '.join(parts)} ({days} here, {field.n_animals} wild animals)."


_COUNTED = {
    "differs": "differ",
    "alike": "alike within the stated margin",
    "cannot tell": "cannot be told",
    "not measured": "not measured",
}
