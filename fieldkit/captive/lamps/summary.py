"""All that was found out about lamps in one sentence, what fails first."""

from dataclasses import dataclass

import pandas as pd

from fieldkit.core import Result


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class LampOverview(Result):
    """Match, room for the animal and height together.

    Attributes
    ----------
    table : DataFrame
        One row per question: ``question, answer`` ("no", "not known" or "yes") and ``finding``; failures first.
    failures : tuple of str
        Findings of what is not right or not known.
    """

    table: pd.DataFrame
    failures: tuple

    @property
    def headline(self):
        """The failures, or else what was found right."""
        if self.failures:
            return f"Not right yet: {'; '.join(self.failures)}"
        return "; ".join(self.table["finding"])

    @property
    def sentence(self):
        right = self.table.loc[self.table["answer"] == "yes", "finding"]
        words = f"{self.headline}."
        return words if not self.failures or not len(right) else f"{words} Right: {'; '.join(right)}."


def overview(*, match=None, coverage=None, heights=()):
    """Put what was found about lamps together, failures first.

    Parameters
    ----------
    match : LampMatch, optional
        From `lamp_match.match`.
    coverage : Coverage, optional
        From `lamp_coverage.coverage`.
    heights : sequence of (str, LampHeight)
        From `lamp_height.find_height`, each with what it was asked for in words.

    Returns
    -------
    LampOverview

    Examples
    --------
    >>> from fieldkit.captive.lamps import lit_area as lamp_coverage; from fieldkit.captive import lamps
    >>> lamp = lamps.Lamp(id="spot", beam=lamps.Beam(intensity=60.0, half_angle_deg=12.0), x_m=0.3, y_m=0.2)
    >>> wanted = {"wanted_w_m2": (350, 700), "body_length_m": 0.16, "n_draws": 2}
    >>> spot = lamp_coverage.coverage(lamp, (0, 0.6, 0, 0.4), 0.1, **wanted)
    >>> print(overview(coverage=spot).headline)
    Not right yet: at most 34 % of the animal is lit at once
    """
    rows = []

    def add(question, answer, finding):
        rows.append({"question": question, "answer": answer, "finding": finding})

    if match is not None:
        known = {"within": "yes", "not known": "not known", "not asked": "not known"}
        names = " and ".join(match.shares.index)
        words = {"short": "too weak", "over": "too strong", "unsure": "not surely within", "within": "as wanted"}
        add(
            "radiation",
            known.get(match.irradiance_verdict, "no"),
            f"radiation of {names} {words[match.irradiance_verdict]}",
        )
        if match.uv_verdict in ("not known", "not asked"):
            why = "not known" if match.uv_verdict == "not known" else "not asked for"
            add("UV", "not known", f"UV of {names} {why}")
        else:
            add("UV", known.get(match.uv_verdict, "no"), f"UV of {names} {words[match.uv_verdict]}")
        if match.missing:
            add("bands", "no", f"no {' and no '.join(match.missing)} from {names}")
        blind = list(match.table.index[match.table["verdict"].isin(("not known", "not measured", "partly measured"))])
        if blind:
            add("bands known", "not known", f"{', '.join(blind)} not known")
    if coverage is not None:
        row = coverage.table.iloc[-1]
        if row["lit_m2"] == 0:
            add("room", "no", "nowhere the wanted light")
        elif coverage.smaller_than_animal:
            add("room", "no", f"at most {row['body_lit_pct']:.0f} % of the animal is lit at once")
        else:
            add("room", "yes", "the whole animal fits into the light")
    for asked, height in heights:
        span = f"{height.nearest_m:.2f} to {height.farthest_m:.2f} m"
        found = {
            "found": ("yes", f"for {asked}, {span}"),
            "unsure": ("not known", f"for {asked}, perhaps {span}"),
            "none": ("no", f"for {asked}, no height does"),
        }[height.verdict]
        add(asked, *found)
    order = {"no": 0, "not known": 1, "yes": 2}
    table = pd.DataFrame(rows, columns=["question", "answer", "finding"])
    table = table.sort_values("answer", key=lambda a: a.map(order), kind="stable").reset_index(drop=True)
    failures = tuple(table.loc[table["answer"] != "yes", "finding"])
    return LampOverview(table=table, failures=failures)
