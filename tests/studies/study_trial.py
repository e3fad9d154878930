"""How often a trial is wrong, and whether its power is what its plan said.

    python tests/studies/study_trial.py 1000 SEED [LIKENESS]

A world of its own: days that follow one another are alike (first-order autocorrelation 0, 0.4 or 0.7), a season drifts
(a rise, or a wave), days are told by scans of two animals. Each trial is preceded by six weeks of scans from which its
power is planned for the true effect; the plans' mean is held against the share of trials that found it.
"""

import sys

import numpy as np
import pandas as pd

from fieldkit.captive import trial

BLOCKS, DAYS, SETTLE, PILOT = 8, 4, 1, 42
SCANS = 16
EFFECTS = (0.0, 0.6, 0.9)  # log odds


def days(n, likeness, rng, sd=0.35):
    out = np.empty(n)
    out[0] = rng.normal(0, sd)
    for k in range(1, n):
        out[k] = likeness * out[k - 1] + rng.normal(0, sd * np.sqrt(1 - likeness**2))
    return out


def one(likeness, drift, effect, rng):
    """A pilot and a trial: the pilot's days, the differences of the blocks, and the true effect on the share."""
    n = BLOCKS * 2 * DAYS
    along = np.arange(PILOT + n) / (PILOT + n)
    season = {"none": 0 * along, "rise": 1.5 * along, "wave": 0.8 * np.sin(9 * along)}[drift]
    score = days(PILOT + n, likeness, rng) + season
    order = trial.draw(BLOCKS, rng=rng)
    changed = np.array([arm == "changed" for pair in order for arm in pair for _ in range(DAYS)])
    score[PILOT:] += effect * changed
    share = rng.binomial(SCANS, 1 / (1 + np.exp(-score))) / SCANS
    pilot = pd.Series(share[:PILOT], index=pd.date_range("2030-03-01", periods=PILOT))
    counted = share[PILOT:].reshape(BLOCKS, 2, DAYS)[..., SETTLE:].mean(axis=-1)
    arms = changed.reshape(BLOCKS, 2, DAYS)[..., 0]
    usual = 1 / (1 + np.exp(-(score[PILOT:] - effect * changed)))
    true = (1 / (1 + np.exp(-(score[PILOT:] - effect * changed + effect))) - usual).mean()
    return pilot, counted[arms] - counted[~arms], true


def main(trials, seed, likenesses=(0.0, 0.4, 0.7)):
    print(f"{trials} trials a row, seed {seed}: {BLOCKS} blocks of twice {DAYS} days, {SETTLE} to settle")
    print("likeness  drift  effect   helped  harmed   inside   planned")
    for likeness in likenesses:
        for drift in ("none", "rise", "wave"):
            for effect in EFFECTS:
                rng = np.random.default_rng([seed, round(10 * likeness), len(drift), round(10 * effect)])
                helped = harmed = inside = 0
                planned = []
                for number in range(trials):
                    pilot, differences, true = one(likeness, drift, effect, rng)
                    found = trial.randomisation_test(differences)
                    helped += found.p <= 0.05 and found.effect > 0
                    harmed += found.p <= 0.05 and found.effect < 0
                    inside += found.low <= true <= found.high
                    if effect and number < 100:
                        sd, r = trial.scatter(pilot)
                        design = {
                            "blocks": BLOCKS,
                            "days": DAYS,
                            "settle": SETTLE,
                            "standard_deviation": sd,
                            "likeness": r,
                        }
                        planned.append(trial.power([true], n=400, rng=number, **design)[0])
                plan = f"{100 * np.mean(planned):8.1f}" if planned else "       –"
                shares = " ".join(f"{100 * v / trials:8.1f}" for v in (helped, harmed, inside))
                print(f"{likeness:8.1f}  {drift:<5} {effect:6.1f} {shares} {plan}", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]), *[(float(v),) for v in sys.argv[3:4]])
