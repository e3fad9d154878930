"""Do the intervals of preferred operative temperature and of the switch point hold the truth? Printed as a table.

Run: python tests/studies/study_preference.py [seasons] [seed]
"""

import sys

from fieldkit.field.choice import preferred_value, switch_point
from fieldkit.field.planning import simulate

PREFERRED_C, SWITCH_C, MODEL_ERROR_C = 34.0, 24.0, 0.6


def preferred(seasons, seed):
    """Seasons that gave an interval, and the share of those that holds the preferred operative temperature."""
    given = held = 0
    errors = simulate.INSTRUMENT_ERRORS | {"operative_c": MODEL_ERROR_C}
    for i in range(seasons):
        made = simulate.choice_season(
            n_sets=150, driver="operative", preferred_c=PREFERRED_C, instrument_errors=errors, rng=[seed, 1, i]
        )
        found = preferred_value(made.choices, instrument_error=MODEL_ERROR_C).preferred
        if found is not None:
            given += 1
            held += found.low <= PREFERRED_C <= found.high
    return given, held / max(given, 1)


def switch(seasons, seed):
    """The same for the shade air at which sun-seeking turns."""
    given = held = 0
    for i in range(seasons):
        made = simulate.choice_season(n_sets=200, switch_air_c=SWITCH_C, individual_sd=0.2, rng=[seed, 2, i])
        found = switch_point(made.choices).switch
        if found is not None:
            given += 1
            held += found.low <= SWITCH_C <= found.high
    return given, held / max(given, 1)


def main(seasons=400, seed=0):
    for name, study in (("preferred operative temperature", preferred), ("switch point", switch)):
        given, held = study(seasons, seed)
        print(f"{name:32s} given in {given} of {seasons} seasons, held {100 * held:.1f} %", flush=True)


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
