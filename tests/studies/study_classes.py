"""Slips of pupils in simulated classes: is each named, and does the class's answer stay right?

`python tests/studies/study_classes.py [CLASSES] [SEED]` prints a table: of so many classes with one slip of a kind, how
many were told of it (by the reader or by the answer), how many were not told and got another verdict than without it,
how many got the right answer as they are, and how many once what was named is mended. Lesson 1: black card above white,
at 12 °C (where a reading in °F is a possible one). Lesson 2: lizards that go for the sun, verdict of whole rounds.
"""

import sys
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd

from fieldkit.classroom import lessons, rounds, slips
from fieldkit.classroom.sheet import ClassSheetError, read_sheet

READINGS, AIR = ["shade_c", "sun_c"], ["shade_air_c", "surface_c", "black_c"]


def of_group(change):
    """A slip of one group, drawn from all."""

    def slip(sheet, rng):
        group = rng.choice(sheet["group"].unique())
        rows = sheet.index[sheet["group"] == group]
        return change(sheet, rows, rng), {str(group)}

    return slip


def swapped(sheet, rows, rng):
    sheet.loc[rows, READINGS] = sheet.loc[rows, READINGS[::-1]].to_numpy()
    return sheet


def digits(sheet, rows, rng):
    sheet.loc[rng.choice(rows[sheet.loc[rows, "minute"] > 2]), rng.choice(READINGS)] += 18.0
    return sheet


def small_digits(sheet, rows, rng):
    sheet.loc[rng.choice(rows), rng.choice(READINGS)] += 1.8
    return sheet


def fahrenheit(sheet, rows, rng):
    sheet.loc[rows, READINGS] = 32 + 1.8 * sheet.loc[rows, READINGS]
    return sheet


def fahrenheit_of_one(sheet, rows, rng):
    column = rng.choice(READINGS)
    sheet.loc[rows, column] = 32 + 1.8 * sheet.loc[rows, column]
    return sheet


def cloud(sheet, rows, rng):
    late = rows[sheet.loc[rows, "minute"] >= 11]
    sheet.loc[late, "sun_c"] = sheet.loc[late, "shade_c"]
    return sheet


def never_in_the_sun(sheet, rows, rng):
    sheet.loc[rows, "sun_c"] = sheet.loc[rows, "shade_c"] + rng.normal(0, 0.2, len(rows)).round(1)
    return sheet


def both_in_the_sun(sheet, rows, rng):
    sheet.loc[rows, "shade_c"] = sheet.loc[rows, "sun_c"] - 0.5
    return sheet


def other_cover(sheet, rows, rng):
    now = sheet.loc[rows[0], "cover"]
    sheet.loc[rows, "cover"] = rng.choice([c for c in lessons.COVERS if c != now])
    return sheet


def hot_metal(sheet, rows, rng):
    late = rows[sheet.loc[rows, "minute"] > 2]
    sheet.loc[late, "sun_c"] += 5.0
    return sheet


def minutes_from_one(sheet, rows, rng):
    sheet.loc[rows, "minute"] += 1
    return sheet


def rows_lost(sheet, rows, rng):
    return sheet.drop(index=rng.choice(rows, 5, replace=False))


def same_name(sheet, rows, rng):
    sheet.loc[rows, "group"] = "G1" if sheet.loc[rows[0], "group"] != "G1" else "G2"
    return sheet


def one_comma(sheet, rows, rng):
    text = sheet.astype({"sun_c": object})
    text.loc[rows[3], "sun_c"] = f"{sheet.loc[rows[3], 'sun_c']:.1f}".replace(".", ",")
    return text


def of_page(change):
    """A slip on one place's page, drawn from all."""

    def slip(sheet, rng):
        place = rng.choice(sheet["place_id"].unique())
        rows = sheet.index[sheet["place_id"] == place]
        return change(sheet, rows, rng), {str(place)}

    return slip


def page_swapped(sheet, rows, rng):
    sheet.loc[rows, ["shade_air_c", "black_c"]] = sheet.loc[rows, ["black_c", "shade_air_c"]].to_numpy()
    return sheet


def page_ground_for_sleeve(sheet, rows, rng):
    sheet.loc[rows, ["surface_c", "black_c"]] = sheet.loc[rows, ["black_c", "surface_c"]].to_numpy()
    return sheet


def page_digits(sheet, rows, rng):
    sheet.loc[rng.choice(rows), rng.choice(AIR)] += 18
    return sheet


def page_fahrenheit(sheet, rows, rng):
    sheet.loc[rows, AIR] = 32 + 1.8 * sheet.loc[rows, AIR]
    return sheet


def page_fahrenheit_of_one(sheet, rows, rng):
    column = rng.choice(AIR)
    sheet.loc[rows, column] = 32 + 1.8 * sheet.loc[rows, column]
    return sheet


def page_row_lost(sheet, rows, rng):
    return sheet.drop(index=rng.choice(rows))


def page_lizards_lost(sheet, rows, rng):
    sheet.loc[rng.choice(rows), "taken_by"] = ""
    return sheet


def page_shifted(sheet, rows, rng):
    """Everything of one page typed one round too late; the last round has the first's."""
    columns = [*AIR, "taken_by"]
    sheet.loc[rows, columns] = np.roll(sheet.loc[rows, columns].to_numpy(), 1, axis=0)
    return sheet


def page_named_wrong(sheet, rows, rng):
    sheet.loc[rows, "place_id"] = "P1" if sheet.loc[rows[0], "place_id"] != "P1" else "P2"
    return sheet


def page_sleeve_flat(sheet, rows, rng):
    """The black sleeve of one page lay in the shade."""
    flat = sheet.loc[rows, "shade_air_c"] + rng.normal(0, 0.7, len(rows))
    sheet.loc[rows, "black_c"] = (2 * flat).round() / 2
    return sheet


LESSON_1 = {
    f.__name__: of_group(f)
    for f in (
        swapped, digits, small_digits, fahrenheit, fahrenheit_of_one, cloud, never_in_the_sun, both_in_the_sun,
        other_cover, hot_metal, minutes_from_one, rows_lost, same_name, one_comma,
    )
}  # fmt: skip
LESSON_2 = {
    f.__name__: of_page(f)
    for f in (
        page_swapped, page_ground_for_sleeve, page_digits, page_fahrenheit, page_fahrenheit_of_one, page_row_lost,
        page_lizards_lost, page_shifted, page_named_wrong, page_sleeve_flat,
    )
}  # fmt: skip


def told(lesson, sheet):
    """What the kit says of a typed sheet: (refused by the reader, words of all slips, verdict)."""
    with tempfile.TemporaryDirectory() as folder:
        sheet.to_csv(Path(folder) / "class.csv", index=False)
        try:
            read = read_sheet(lesson, Path(folder) / "class.csv")
        except ClassSheetError as error:
            return True, str(error), None
    if lesson == "thermometer_in_the_sun":
        answer = lessons.compare_covers(read)
        found, verdict = answer.slips, answer.verdict
        left = " ".join(answer.left_out["group"])
        return False, left + " " + " ".join(found["where"] + " " + found["problem"]), verdict
    verdict = rounds.by_rounds(read).verdict
    found = slips.table(slips.of_places(read, verdict))
    return False, " ".join(found["where"] + " " + found["problem"]), verdict


def study(lesson, kinds, classes, seed):
    """One row a kind of slip."""
    truth = {"thermometer_in_the_sun": "black", "choose_like_a_lizard": "sun"}[lesson]
    rows = []
    for name, slip in {"none": None, **kinds}.items():
        count = dict.fromkeys(("named", "silent_and_moved", "right_as_it_is", "right_when_mended"), 0)
        for number in range(classes):
            rng = np.random.default_rng([seed, number])
            whole = (
                lessons.thermometer_lesson(air_c=12.0, rng=rng)
                if truth == "black"
                else lessons.choice_lesson(rounds=6, rng=rng)
            )
            _, words, without = told(lesson, whole)
            named, verdict = bool(words.strip()), without
            if slip is not None:
                sheet, whose = slip(whole.copy(), rng)
                refused, words, verdict = told(lesson, sheet)
                # A message that speaks of the group or page, of a lizard that is missing, or a refusal.
                named = refused or any(w in words.replace(",", " ").split() for w in whose) or "missing" in words
            count["named"] += named
            count["silent_and_moved"] += not named and verdict != without
            count["right_as_it_is"] += verdict == truth
            count["right_when_mended"] += (without if named else verdict) == truth
        rows.append({"slip": name, **count})
        print(f"{name:>24}", *(f"{value:>5}" for value in count.values()), flush=True)
    return pd.DataFrame(rows)


if __name__ == "__main__":
    given = [int(argument) for argument in sys.argv[1:]]
    classes, seed = (given + [60, 31][len(given) :])[:2]
    print(f"{classes} classes a row, seed {seed}: named, silent and moved, right as it is, right when mended")
    study("thermometer_in_the_sun", LESSON_1, classes, seed)
    study("choose_like_a_lizard", LESSON_2, classes, seed)
