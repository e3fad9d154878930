"""Slips of a class that make no sheet unreadable and still can move its answer: named, with what to look at.

Limits are rules of thumb for kitchen thermometers in one yard (common practice, no source).
"""

import numpy as np
import pandas as pd

JUMP_C, FAR_C, FALL_C, FAHRENHEIT_C, AIR_APART_C, FLAT_C = 8.0, 2.5, 1.5, 43.0, 6.0, 1.5
_COLUMNS = ["where", "problem", "remedy"]


def table(found):
    """Table of slips from triples of where, problem, remedy."""
    return pd.DataFrame(found, columns=_COLUMNS)


def readings(sheet, by_group):
    """Name what is odd in the thermometers' sheet.

    Parameters
    ----------
    sheet : pandas.DataFrame
        Columns group, cover, minute, shade_c, sun_c.
    by_group : pandas.DataFrame
        Columns group, cover, warmer_c.

    Returns
    -------
    list of tuple
        Where, problem, remedy.

    Examples
    --------
    >>> minutes = pd.DataFrame({"group": "G1", "cover": "foil", "minute": [0, 1, 2], "shade_c": [21.0, 21.5, 42.5],
    ...                         "sun_c": [21.0, 21.5, 21.0]})
    >>> readings(minutes, pd.DataFrame(columns=["group", "cover", "warmer_c"]))[0][0]
    'G1, minute 2, shade_c'
    """
    found = []
    typical = sheet.groupby("group", sort=False)["shade_c"].median()
    for group, part in sheet.groupby("group", sort=False):
        part = part.sort_values("minute")
        for column in ("shade_c", "sun_c"):
            read = part.dropna(subset=[column])
            steps, minutes = read[column].diff().abs().to_numpy(), read["minute"].to_numpy()
            for at in np.flatnonzero(steps > JUMP_C)[:1]:
                what = f"a jump of {steps[at]:.1f} °C in one step"
                found.append(
                    (f"{group}, minute {minutes[at]}, {column}", what, "Look at the paper: two digits swapped?")
                )
        others = typical.drop(group).median()
        if typical[group] > FAHRENHEIT_C or abs(typical[group] - others) > 10:
            what = f"the shaded thermometer read {typical[group]:.0f}, the other groups' {others:.0f}"
            found.append((str(group), what, "Is this one in °F, or in the sun?"))
        apart = (part["sun_c"] - part["shade_c"]).to_numpy()
        minute = part["minute"].to_numpy()
        early, late = apart[(minute >= 6) & (minute <= 10)], apart[minute >= 12]
        if np.isfinite(early).any() and np.isfinite(late).any() and np.nanmean(late) < np.nanmean(early) - FALL_C:
            found.append(
                (str(group), "its sunlit thermometer fell while it lay in the sun", "Did a cloud or shade come?")
            )
    return found + _groups(by_group)


def _groups(by_group):
    found = []
    for row in by_group.itertuples():
        mates = by_group.loc[(by_group["cover"] == row.cover) & (by_group["group"] != row.group), "warmer_c"]
        if row.warmer_c < -0.5:
            what = "its sunlit thermometer read lower in the sun than the shaded one"
            found.append((str(row.group), what, "Were the two columns swapped?"))
        elif len(mates) > 1 and abs(row.warmer_c - mates.median()) > FAR_C:
            what = f"it read {row.warmer_c:.1f} °C more in the sun, its cover-mates {mates.median():.1f} °C"
            found.append((str(row.group), what, "Is the cover the right one? Did both stay in place?"))
    return found


def places(sheet):
    """Name what is odd in the lizards' sheet.

    Parameters
    ----------
    sheet : pandas.DataFrame
        Columns round, place_id, shade_air_c, surface_c, black_c, taken_by.

    Returns
    -------
    list of tuple
        Where, problem, remedy.

    Examples
    --------
    >>> page = pd.DataFrame({"round": [1, 1, 2, 2], "place_id": ["P1", "P2"] * 2, "shade_air_c": 20.0,
    ...                      "surface_c": 25.0, "black_c": 24.0, "taken_by": ["L1", "L2 L3", "L1", "L2"]})
    >>> places(page)
    [('round 2', 'L3 is missing', 'Was a row lost, or was L3 not there?')]
    """
    found = []
    apart = (sheet["black_c"] - sheet["shade_air_c"]).groupby(sheet["place_id"], sort=False)
    for place, value in apart.agg(lambda page: page.abs().max()).items():
        if value <= FLAT_C and apart.size()[place] > 3:
            what = f"its black sleeve stayed within {value:.1f} °C of the shaded air in every round"
            found.append((f"page {place}", what, "Deep shade all the time, or did the sleeve not lie in the open?"))
    for place, value in apart.median().items():
        if value < -1:
            what = f"its black sleeve read {-value:.1f} °C below the shaded air"
            found.append((f"page {place}", what, "Were the two columns swapped?"))
    middle = sheet.groupby("round")["shade_air_c"].transform("median")
    for row in sheet[(sheet["shade_air_c"] - middle).abs() > AIR_APART_C].itertuples():
        what = f"shaded air of {row.shade_air_c:g} °C, far from the other places"
        found.append(
            (f"round {row.round}, {row.place_id}", what, "Another column, °F, two digits swapped, or in the sun?")
        )
    for column, limit in (("surface_c", 25.0), ("black_c", 20.0)):
        middle = sheet.groupby("round")[column].transform("median")
        for row in sheet[(sheet[column] - middle).abs() > limit].to_dict("records"):
            what = f"{column} of {row[column]:g} °C, far from the other places"
            found.append((f"round {row['round']}, {row['place_id']}", what, "Look at the paper: digits swapped, °F?"))
    every = set(sheet["place_id"])
    lizards = set().union(*sheet["taken_by"].str.split())
    for number, part in sheet.groupby("round", sort=False):
        if gone := sorted(every - set(part["place_id"])):
            found.append((f"round {number}", f"{' '.join(gone)} has no row", "Was a row lost?"))
        if gone := sorted(lizards - set().union(*part["taken_by"].str.split()), key=lambda name: (len(name), name)):
            names = " ".join(gone)
            verb = "is" if len(gone) == 1 else "are"
            asked = f"was {names}" if len(gone) == 1 else "were they"
            found.append((f"round {number}", f"{names} {verb} missing", f"Was a row lost, or {asked} not there?"))
    return found


def hangs_on(sheet, column, verdict, judge):
    """Name each group or page without which the answer would be another one.

    Parameters
    ----------
    sheet : pandas.DataFrame
        The class's rows.
    column : str
        What is left out in turn.
    verdict : str
        The answer with all.
    judge : callable
        From rows to an answer.

    Returns
    -------
    list of tuple
        Where, problem, remedy; nothing when the answer is that the class cannot tell.

    Examples
    --------
    >>> rows = pd.DataFrame({"group": ["a", "b", "b"], "value": [9, 1, 1]})
    >>> hangs_on(rows, "group", "high", lambda part: "high" if part["value"].mean() > 3 else "low")[0][0]
    'a'
    """
    found = []
    for name in sheet[column].unique():
        other = judge(sheet[sheet[column] != name])
        if other != verdict:
            found.append((str(name), f"the answer hangs on {name}: without it, it is '{other}'", "Look at it again."))
    # Where many hang, the answer is only weak, which its own sentence says.
    return found if len(found) == 1 else []


def of_places(sheet, verdict):
    """Slips of the lizards' sheet, and the page on which the rounds' answer hangs; see `places` and `hangs_on`."""
    from fieldkit.classroom import rounds

    return places(sheet) + hangs_on(sheet, "place_id", verdict, lambda part: rounds.by_rounds(part).verdict)


def say(found):
    """Tell slips in one sentence; empty when there is none."""
    told = "; ".join(f"{where}: {problem} ({remedy})" for where, problem, remedy in found)
    return f" Look again: {told}" if found else ""
