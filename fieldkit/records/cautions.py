"""What can hurt a person or an animal in the field and in a lesson: said once, printed everywhere the same.

The field sheet, the season's file, the write-up and both lessons take their words from here, so that none can say
another thing. Limits are rules of thumb (common practice, no source): the rules of place, school, doctor and weather
service come first.
"""

SUN = "Never look into the sun, not for a moment, not through any instrument."
BREAKS = (
    "Hat, sunscreen, water, and a break in the shade after every quarter of an hour. Red skin goes into the shade for "
    "the rest of the day."
)
STOP = (
    "Stop when anyone is dizzy, sick, confused or stops sweating: into the shade, cool them, call for medical help. No "
    "readings in the sun under a heat warning, or above 35 °C in the shade."
)
THUNDER = "At the first thunder go into a house or a car, and stay until half an hour after the last."
HOT = (
    "Stones, metal, black card, foil and boiling water burn skin: touch with the back of the hand, briefly, or not at "
    "all; check thermometers in ice water, not in boiling water."
)
PROBES = "Probe tips are sharp: keep the cap on, point them down, do not run with them."
POWER = "Nothing that plugs in, and no electricity near water: batteries only."
FIRE = "No fire, no smoking, and no glass, lens or foil left lying in dry grass."
ANIMALS = "Wild animals are left alone: no catching, no feeding, no marking, no turning over of stones or logs."
COLLECTORS = (
    "Tell nobody who need not know where rare animals live, and publish no exact place, nest or winter den: collectors "
    "read too."
)
PERMITS = "Where the law asks for a permit or the owner's leave, get it first."

FIELD = (
    "Watch from where the animal does not notice you. If it moves, stops basking or looks at you, you are too close: "
    "go back and wait. Readings wait until it has left by itself.",
    f"{ANIMALS} {PERMITS} {COLLECTORS}",
    "Clean and dry boots and instruments between sites, so that you carry no disease from one to the next.",
    f"{SUN} {BREAKS}",
    f"{STOP} {THUNDER}",
    f"{HOT} {PROBES} Do not point an infrared thermometer's laser at eyes, animals or people.",
    f"{POWER} {FIRE}",
    "Never alone at cliffs, quarries, water or roads; look where you put hands and feet; know where the nearest doctor "
    "is if there are venomous animals or ticks.",
)

LESSON = (
    f"{SUN} Stand with the sun behind you; foil throws it into eyes: keep the bright side turned from people.",
    BREAKS,
    f"{STOP} {THUNDER}",
    HOT,
    f"{PROBES} No glass thermometers, none with mercury; if one breaks, step back and call the teacher.",
    f"Sunlight only, no lamps or heaters. {POWER} {FIRE}",
    f"{ANIMALS} {COLLECTORS} {PERMITS}",
)
