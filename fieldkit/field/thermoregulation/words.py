"""Thermoregulation in words."""

import numpy as np

from fieldkit.field.thermoregulation.readings import FEW_ANIMALS, LEAST_ANIMALS


def left_out_words(left_out):
    if not left_out:
        return ""
    return f" {len(left_out)} reading{' was' if len(left_out) == 1 else 's were'} left out (see left_out)."


def days_words(body, places):
    """What the days of the readings leave in doubt; empty when nothing."""
    days = body["day"].dropna().unique()
    if len(days) == 0:
        return " Days are not named: what animals share on one day is not in the intervals."
    if len(days) == 1:
        return " All body temperatures are of one day: another day may differ."
    if places is not None and places["day"].notna().any():
        missing = len(set(days) - set(places["day"]))
        if missing:
            return f" On {missing} of {len(days)} days with body temperatures no place was read."
    return ""


def no_interval_words(animals, named):
    if not named:
        return "Readings do not say which animal they are of, so no interval can be given."
    return (
        f"Only {animals} animal{'s' if animals != 1 else ''}: no interval can be given, and the result is theirs alone."
    )


def indices_words(table, low, high, animals, named, level):
    accuracy, quality, effectiveness, difference = table["estimate"]

    def sure(name, digits):
        row = table.loc[name]
        if not np.isfinite(row["low"]):
            return ""
        return f" ({100 * level:g} % interval {row['low']:.{digits}f} to {row['high']:.{digits}f})"

    words = [
        f"Body temperatures lay {accuracy:.2f} °C{sure('accuracy', 2)} from the preferred range {low:.1f} to "
        f"{high:.1f} °C on average, places {quality:.2f} °C{sure('thermal quality', 2)}."
    ]
    if np.isnan(effectiveness):
        words.append("Every place lay inside the range, so effectiveness is not defined.")
    else:
        words.append(f"Effectiveness {effectiveness:.2f}{sure('effectiveness', 2)}")
        words[-1] += ": animals were further from their range than the places were." if effectiveness < 0 else "."
        if table.loc["effectiveness", "low"] <= 0 <= table.loc["effectiveness", "high"]:
            words.append(
                "Nought lies in its interval: these readings cannot tell animals that regulate from such that do not."
            )
    words.append(f"Difference {difference:.2f} °C{sure('difference', 2)}.")
    if animals < LEAST_ANIMALS:
        words.append(no_interval_words(animals, named))
        return " ".join(words)
    if accuracy == 0:
        words.append("No body temperature lay outside the range: how far off others may be, these animals cannot tell.")
    else:
        for name in table.index[table["low"].isna() & table["estimate"].notna()]:
            words.append(f"No interval of {name} can be given: it hangs on a single animal, place or day.")
    if animals < FEW_ANIMALS:
        words.append(
            f"Only {animals} animals stand behind the intervals: one that regulates badly is easily missed among so "
            "few, and then they are too short."
        )
    return " ".join(words)
