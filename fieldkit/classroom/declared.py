"""The two lessons' sheets and time plans, declared once."""

from dataclasses import dataclass

from fieldkit.core import FieldkitError
from fieldkit.records import cautions

COVERS = ("black card", "white card", "foil")
# What pupils write for the covers.
ALSO = {
    "black card": ("black", "black paper", "black sleeve", "card black"),
    "white card": ("white", "white paper", "white sleeve", "card white"),
    "foil": ("tin foil", "tinfoil", "aluminium foil", "aluminum foil", "alu foil", "silver foil", "silver", "alu"),
}
ALSO = {word: cover for cover, words in ALSO.items() for word in words}
SAFETY = cautions.LESSON  # for both lessons and every printed sheet


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column of a sheet; a number has limits, a word may have a list."""

    meaning: str
    limits: tuple | None = None
    allowed: tuple | None = None
    whole: bool = False
    required: bool = False


@dataclass(frozen=True)
class Step:
    """One row of a lesson's time plan; `sun`: the class stands in the sun."""

    start_min: int
    end_min: int
    sun: bool
    what: str


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """One lesson's sheet: what a row is, its columns, what names a row, the rows typed and printed beforehand.

    `down` are columns that take the cell above when they are left empty. A page to print asks once for what `once`
    names, and has a row for each entry of `printed`; `sizes` are the widths of its columns in percent, `reminders` the
    notes printed beforehand, `plan` the first period minute by minute (at most a quarter of an hour in the sun at a
    time), `analysis` the second, indoors.
    """

    title: str
    row: str
    columns: dict
    key: tuple
    down: tuple
    first: dict
    how: str
    once: tuple
    printed: dict
    sizes: dict
    reminders: dict
    height: str
    plan: tuple
    analysis: tuple


_AIR, _SURFACE = (-30.0, 60.0), (-30.0, 100.0)
PLACES = ("P1", "P2", "P3", "P4", "P5")
ROUNDS = 6
SHEETS = {
    "thermometer_in_the_sun": Sheet(
        title="A thermometer in the sun",
        row="one minute of one group",
        columns={
            "group": Column(meaning="name of your group, such as G1", required=True),
            "cover": Column(meaning="what is around both thermometers", allowed=COVERS, required=True),
            "minute": Column(
                meaning="0, 1, 2: both in the shade; from 2 on the second lies in the sun",
                limits=(0, 60),
                whole=True,
                required=True,
            ),
            "shade_c": Column(meaning="thermometer that stays in the shade (°C)", limits=_AIR),
            "sun_c": Column(meaning="thermometer that goes into the sun (°C)", limits=_SURFACE),
        },
        key=("group", "minute"),
        down=("group", "cover"),
        # A block of rows for each of twelve groups; what is not filled in says nothing.
        first={"minute": tuple(range(16)) * 12},
        how="One page for a group. Minutes 0, 1 and 2: both thermometers in the shade. After minute 2 is read, one of "
        "them goes into the sun beside the other. Leave a cell empty if it was not read.",
        once=(
            "Class",
            "Date",
            "Group",
            "Cover: black card / white card / foil (ring one)",
            "Our guess: most under … by … °C",
        ),
        printed={"minute": tuple(range(16))},
        sizes={"minute": 10, "shade_c": 24, "sun_c": 24, "notes": 42},
        reminders={2: "now one of them goes into the sun"},
        height="6.1mm",
        plan=(
            Step(
                0,
                8,
                False,
                "The question. Everybody writes a first guess on the page. Wrap *both* probes of a group in "
                "one kind of cover: a third of the groups black, a third white, a third foil. At least two "
                "groups for each.",
            ),
            Step(
                8,
                15,
                False,
                "Outside, in the shade. Both thermometers hang there, a hand's breadth off the ground, for "
                "at least three minutes. Then read minutes 0, 1 and 2.",
            ),
            Step(
                15,
                29,
                True,
                "After minute 2 is read, the second thermometer goes into the sun, beside the first. Read "
                "each minute to 15; whoever does not read stands in the shade.",
            ),
            Step(
                29,
                32,
                False,
                "Shade break: everyone into the shade, drink.",
            ),
            Step(
                32,
                42,
                False,
                "Inside. Each group types its page into its own copy of the workbook; red rows are mended "
                "now, from the paper. All copies go into one folder.",
            ),
            Step(
                42,
                45,
                False,
                "Each group says what it would bet on now, and keeps its page.",
            ),
        ),
        analysis=(
            Step(
                0,
                5,
                False,
                "Read some guesses aloud. Type them into the notebook, or leave them on paper.",
            ),
            Step(
                5,
                15,
                False,
                "One group's minutes, then the figure of all. What happens at minute 2? Who differed before it?",
            ),
            Step(
                15,
                25,
                False,
                "Pool the class: the answer in one sentence. Look again at what it names. Why does a group count once?",
            ),
            Step(
                25,
                33,
                False,
                "Sliders, or the picture on the page: predict what wind does. Break it.",
            ),
            Step(
                33,
                42,
                False,
                "The questions at the end of this guide, alone, then in pairs.",
            ),
            Step(
                42,
                45,
                False,
                "The guesses come back: who was near, and what did the others think?",
            ),
        ),
    ),
    "choose_like_a_lizard": Sheet(
        title="Choose like a lizard",
        row="one place in one round",
        columns={
            "round": Column(meaning="which round: 1, 2, 3 …", limits=(1, 99), whole=True, required=True),
            "place_id": Column(meaning="which place, P1 to P5", required=True),
            "shade_air_c": Column(meaning="thermometer under the white card (°C)", limits=_AIR),
            "surface_c": Column(meaning="thermometer pressed on the ground, card over it (°C)", limits=_SURFACE),
            "black_c": Column(meaning="thermometer in the black sleeve, in the open (°C)", limits=_SURFACE),
            "taken_by": Column(meaning="lizards that stand here at the whistle, such as L3 L7 L12; empty if none"),
        },
        key=("round", "place_id"),
        down=("round",),
        first={
            "round": tuple(number for number in range(1, ROUNDS + 1) for _ in PLACES),
            "place_id": PLACES * ROUNDS,
        },
        how="One page for a place; who keeps it reads the thermometers and writes down the lizards. A round: feel all "
        "places, write your choice, go there at the whistle. Leave a cell empty if it was not read.",
        once=("Class", "Date", "Place (P1 to P5)", "Ground", "Our guess: sun / warm ground / warm air"),
        printed={"round": tuple(range(1, ROUNDS + 1))},
        sizes={"round": 8, "shade_air_c": 13, "surface_c": 13, "black_c": 13, "taken_by": 33, "notes": 20},
        reminders={},
        height="15mm",
        plan=(
            Step(
                0,
                5,
                False,
                'The question. Every lizard gets a slip with the same secret card: *"You are cold. In two '
                "minutes you must be as warm as you can. Feel with the back of your hand; no thermometers, "
                'no talking."* Each writes its choice down before it goes there, so that nobody follows a '
                "friend.",
            ),
            Step(
                5,
                17,
                True,
                "Rounds 1 to 3, four minutes each. Lizards feel all places and write; at the whistle they "
                "stand where they wrote; the keeper reads the three thermometers and writes down who is "
                "there. Then **move the shade** (an umbrella, a sheet) at two places, at once, so that the "
                "black sleeves have time to follow.",
            ),
            Step(
                17,
                20,
                False,
                "Shade break: everyone into the shade, drink; keepers and lizards swap.",
            ),
            Step(
                20,
                32,
                True,
                "Rounds 4 to 6, the same way.",
            ),
            Step(
                32,
                42,
                False,
                "Inside. Type the five pages: one row for each place in each round, thirty rows in one "
                "sheet, or five sheets in one folder. Red rows are mended now, from the paper.",
            ),
            Step(
                42,
                45,
                False,
                "Everybody writes down what the class went for: sun, warm ground or warm air.",
            ),
        ),
        analysis=(
            Step(
                0,
                5,
                False,
                "Read some guesses aloud. Show the secret card to the keepers.",
            ),
            Step(
                5,
                13,
                False,
                "One round as written, then taken and not taken places side by side. Why can averages not say it?",
            ),
            Step(
                13,
                20,
                False,
                "The slider, or the picture on the page: what does a preference look like? Predict what "
                "happens below 1.",
            ),
            Step(
                20,
                30,
                False,
                "The class's answer, first the plain sentence. Flip the signs of six rounds with six coins: "
                "how often does it look as strong?",
            ),
            Step(
                30,
                35,
                False,
                "Break it: what would we have said without the black sleeve?",
            ),
            Step(
                35,
                43,
                False,
                "The questions at the end of this guide, alone, then in pairs.",
            ),
            Step(
                43,
                45,
                False,
                "The guesses come back. What would you move next time?",
            ),
        ),
    ),
}


def declared(lesson):
    """The sheet of a lesson, or a sentence that names the lessons there are."""
    if lesson not in SHEETS:
        raise FieldkitError(f"There is no lesson '{lesson}': choose {' or '.join(SHEETS)}.")
    return SHEETS[lesson]
