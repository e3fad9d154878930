"""Does the planning curve agree with brute-force simulation within their Monte Carlo errors? Printed as a table.

The curve is made at some season sizes and read between them; brute force simulates and analyses fresh seasons at the
sizes in between, without the planning module.

Run: python tests/studies/study_planning.py [seasons a size] [brute-force seasons]
"""

import sys

import numpy as np

from fieldkit.field import choice, planning
from fieldkit.field.planning import simulate

SIZES = (30, 50, 80, 130, 210)
BETWEEN = (40, 65, 105, 165)


def read_curve(plan, animals, sets):
    """Share right at a season size, and its standard error from the plan's own interval."""
    part = plan.curve[plan.curve["animals"] == animals]
    at = [np.interp(np.log(sets), np.log(part["sets"]), part[c]) for c in ("right", "low", "high")]
    return at[0], (at[2] - at[1]) / (2 * 1.96)


def brute_force(animals, sets, seasons, rng, effect):
    """Share of fresh seasons, simulated and compared one by one, whose verdict is right."""
    right = 0
    for child in np.random.default_rng(rng).spawn(seasons):
        season = simulate.choice_season(
            n_sets=sets, n_animals=animals, driver="radiation", effect=effect, individual_sd=0.3, rng=child
        )
        answer = choice.compare(
            season.choices, instrument_errors=simulate.INSTRUMENT_ERRORS, permutations=199, rng=child
        )
        right += answer.verdict == "radiation"
    return right / seasons


def compare(animals, plan_seasons, brute_seasons, *, sizes=SIZES, between=BETWEEN, effect=2.0, rng=1):
    """Rows (sets, curve, its error, brute force, its error, difference in standard errors)."""
    plan = planning.plan(
        effect=effect, n_sets=sizes, n_animals=(animals,), n_seasons=plan_seasons, individual_sd=0.3, rng=rng
    )
    rows = []
    for number, sets in enumerate(between):
        curve, error = read_curve(plan, animals, sets)
        brute = brute_force(animals, sets, brute_seasons, 1000 + number, effect)
        own = np.sqrt(max(brute * (1 - brute), 1 / brute_seasons) / brute_seasons)
        rows.append((sets, curve, error, brute, own, (curve - brute) / np.hypot(error, own)))
    return rows


def main(plan_seasons=300, brute_seasons=500):
    print(f"{plan_seasons} seasons a size for the curve, {brute_seasons} fresh ones a size by brute force")
    print("animals  sets  curve (error)  brute force (error)  difference in standard errors")
    for animals in (15,):
        for sets, curve, error, brute, own, z in compare(animals, plan_seasons, brute_seasons):
            print(
                f"{animals:7d}  {sets:4d}  {curve:.3f} ({error:.3f})  {brute:.3f} ({own:.3f})        {z:+.2f}",
                flush=True,
            )


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
