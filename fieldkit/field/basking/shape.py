"""Hump or freer curve: which shape the looks ask for."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError
from fieldkit.field.basking.curve import fit_curve

# Numbers of knots that are tried.
KNOTS = (5, 6, 7, 8)
# What one coefficient more has to gain in deviance, less than the 2 of Akaike's criterion: a curve that is too stiff
# puts the peak in the wrong place and says that it is sure; one that is too free only says less (chosen by coverage,
# tests/studies/study_basking.py).
PRICE = 1.0
# Knots more than the best has: what is left of the bends that it smooths over would move peak and limits.
MORE = 2


@dataclass(frozen=True, kw_only=True, eq=False)
class Chosen:
    """The curve that was taken, the hump, and a table of all that were tried."""

    curve: object
    hump: object
    table: pd.DataFrame


def choose(looks, clusters, **options):
    """Take the hump unless a freer curve describes the looks better; then that curve with two knots more.

    Deviance is divided by how many times wider the clusters make the errors of the freest curve, so that looks that go
    together do not count as independent evidence for bends.

    Parameters
    ----------
    looks : pandas.DataFrame
        ``shade_air_c, yes, n``.
    clusters : dict of str to numpy.ndarray
        Whole-number labels of each kind.
    **options
        Of `fit_curve`, without shape and knots.

    Returns
    -------
    Chosen
    """
    hump = fit_curve(looks, clusters, shape="hump", **options)
    tried = {0: hump}
    for knots in KNOTS:
        try:
            tried[knots] = fit_curve(looks, clusters, shape="spline", knots=knots, centre=hump.centre, **options)
        except FieldkitError:
            # Too few animals, days or temperatures for so many knots: said by the table, where they are missing.
            break
    wider = max(1.0, inflation(tried[max(tried)]))
    rows = [
        {
            "shape": "hump" if knots == 0 else f"spline, {knots} knots",
            "coefficients": len(curve.beta),
            "deviance": curve.deviance,
            "score": curve.deviance / wider + PRICE * len(curve.beta),
        }
        for knots, curve in tried.items()
    ]
    table = pd.DataFrame(rows).set_index("shape")
    best = list(tried)[int(np.argmin(table["score"]))]
    curve = tried[best]
    for more in range(best + MORE, best, -1) if best else ():
        try:
            spline = {"shape": "spline", "knots": more, "centre": hump.centre}
            curve = tried[more] if more in tried else fit_curve(looks, clusters, **spline, **options)
        except FieldkitError:
            # Too few animals or days for so many: one less.
            continue
        break
    taken = "hump" if curve is hump else f"spline, {len(curve.knots)} knots"
    if taken not in table.index:
        table.loc[taken] = [len(curve.beta), curve.deviance, np.nan]
    table["taken"] = table.index == taken
    return Chosen(curve=curve, hump=hump, table=table)


def inflation(curve):
    """How many times the clusters make the variance of the fitted curve larger than independent looks would."""
    information = np.linalg.inv(curve.independent)
    return max(float(np.trace(information @ covariance)) for covariance in curve.spread.covariances) / len(curve.beta)
