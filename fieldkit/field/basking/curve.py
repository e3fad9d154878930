"""The chance of basking as a curve of air temperature."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError
from fieldkit.field.basking.covariance import Spread, find_spread

# Five knots serve samples of a hundred or more (rule of thumb, after Harrell 2001, Regression Modeling Strategies).
SPLINE_KNOTS = 5
# Outer knots, as shares of the looks that found the behaviour. Beyond them the curve runs straight on: where nobody
# basked any more, a freer one would run away (our choice).
OUTER = (0.005, 0.995)


@dataclass(frozen=True, kw_only=True, eq=False)
class Curve:
    """A fitted curve of air temperature on the link scale; air is centred inside for numerical health."""

    shape: str
    link: object
    radiation: str
    irradiance: float | None
    centre: float
    knots: np.ndarray
    beta: np.ndarray
    spread: Spread
    level: float
    low: float
    high: float
    air: np.ndarray
    n: np.ndarray
    independent: np.ndarray
    deviance: float
    degrees_of_freedom: float

    def basis(self, air, order=0):
        return basis_columns(air, self.irradiance, self.shape, self.radiation, self.centre, self.knots, order)

    def eta(self, air, order=0):
        return self.basis(air, order) @ self.beta

    def critical(self, gradient):
        """Critical value of Student's t for a linear combination of the coefficients."""
        from scipy import special

        # An infinite number of degrees of freedom is the normal distribution.
        degrees = np.minimum(self.spread.degrees_of_freedom(gradient), 1e12)
        return special.stdtrit(degrees, (1 + self.level) / 2)

    def reach(self, gradient):
        """Half the width of an interval."""
        return self.critical(gradient) * np.sqrt(self.spread.variance(gradient))

    @property
    def fewest(self):
        """Degrees of freedom of the scarcer cluster."""
        return min(self.spread.degrees, default=np.inf)

    def _to_air(self):
        """Matrix that turns coefficients of centred air into coefficients of air in °C."""
        size, c = len(self.beta), self.centre
        change = np.eye(size)
        if self.shape == "spline":
            return change
        change[0, 1] = -c
        if self.shape == "hump":
            change[0, 2], change[1, 2] = c * c, -2 * c
        if self.radiation == "crossed":
            change[-2, -1] = -c
        return change

    def reported(self):
        names = {
            "monotone": ["intercept", "air"],
            "hump": ["intercept", "air", "air squared"],
            "spline": [f"spline at {k:.4g} °C" for k in self.knots],
        }[self.shape]
        names += {"none": [], "added": ["radiation"], "crossed": ["radiation", "air x radiation"]}[self.radiation]
        change = self._to_air()
        return pd.DataFrame(
            {
                "estimate": change @ self.beta,
                "standard_error": np.sqrt(self.reported_covariances().diagonal(axis1=1, axis2=2).max(axis=0)),
            },
            index=pd.Index(names, name="term"),
        )

    def reported_covariances(self):
        change = self._to_air()
        return change @ self.spread.covariances @ change.T


def basis_columns(air, irradiance, shape, radiation, centre, knots, order=0):
    air = np.asarray(air, dtype=float)
    z = air - centre
    one, zero = np.ones_like(z), np.zeros_like(z)
    if shape == "spline":
        columns = list(np.moveaxis(natural_spline(air, knots, order), -1, 0))
    else:
        columns = [(one, z), (zero, one), (zero, zero)][order]
        columns = [*columns, (z * z, 2 * z, 2 * one)[order]] if shape == "hump" else list(columns)
    if radiation != "none":
        # Per W/m²; in the fit itself this is as well scaled as air squared.
        flux = np.broadcast_to(np.asarray(irradiance, dtype=float), z.shape)
        columns.append(flux if order == 0 else zero)
        if radiation == "crossed":
            columns.append(flux * (z, one, zero)[order])
    return np.stack(columns, axis=-1)


def spline_knots(air, yes, count):
    """Knots evenly spaced over the temperatures at which the behaviour was found."""
    # Summed by temperature, so that a count and as many rows give the same knots.
    unique, place = np.unique(air, return_inverse=True)
    each = np.bincount(place, yes)
    outer = np.interp(np.multiply(OUTER, yes.sum()), np.cumsum(each) - each / 2, unique)
    return np.linspace(*outer, count)


def natural_spline(air, knots, order=0):
    """Cubic spline that runs straight on beyond its outer knots, one column for its height at each knot."""
    from scipy.interpolate import CubicSpline

    spline = CubicSpline(knots, np.eye(len(knots)), bc_type="natural")
    inside = np.clip(air, knots[0], knots[-1])
    columns = spline(inside, order)
    beyond = (np.asarray(air) - inside)[..., None]
    if order == 0:
        return columns + beyond * spline(inside, 1)
    return columns if order == 1 else np.where(beyond == 0, columns, 0.0)


def fit_curve(looks, clusters, *, shape, link, radiation, at_irradiance_w_m2, level, knots=None, centre=None):
    """Fit the curve; `knots` of a spline are temperatures, or how many."""
    air, n = (looks[c].to_numpy(float) for c in ("shade_air_c", "n"))
    irradiance = looks["irradiance_w_m2"].to_numpy(float) if radiation != "none" else None
    if centre is None:
        centre = float(np.average(air, weights=n))
    if knots is None or np.ndim(knots) == 0:
        count = SPLINE_KNOTS if knots is None else knots
        knots = spline_knots(air, looks["yes"].to_numpy(float), count)
    if shape == "spline" and not (np.diff(knots) > 0).all():
        raise FieldkitError("Too few different air temperatures for a spline: choose shape='hump' or 'monotone'.")
    design = basis_columns(air, irradiance, shape, radiation, centre, knots)
    size = design.shape[1]
    if np.linalg.matrix_rank(design) < size:
        plain = basis_columns(air, None, shape, "none", centre, knots)
        if np.linalg.matrix_rank(plain) == plain.shape[1]:
            raise FieldkitError(
                "Irradiance never changed between looks, or rose and fell with shade air to the last digit: its part "
                "cannot be told from that of air. Choose radiation='none'."
            )
        raise FieldkitError(
            f"The {shape} curve needs more different air temperatures than the {len(np.unique(air))} at which anybody "
            "looked: choose a simpler shape."
        )
    fit, spread = regress(design, looks, clusters, link)
    return Curve(
        shape=shape,
        link=fit.family.link,
        radiation=radiation,
        irradiance=at_irradiance_w_m2,
        centre=centre,
        knots=knots,
        beta=np.asarray(fit.params),
        spread=spread,
        level=level,
        low=float(air.min()),
        high=float(air.max()),
        air=air,
        n=n,
        independent=np.asarray(fit.cov_params()),
        deviance=float(fit.deviance),
        degrees_of_freedom=float(fit.df_resid),
    )


def regress(design, looks, clusters, link):
    import warnings

    from statsmodels.genmod import families
    from statsmodels.genmod.generalized_linear_model import GLM
    from statsmodels.tools.sm_exceptions import ConvergenceWarning, PerfectSeparationWarning

    size = design.shape[1]
    for name, codes in clusters.items():
        if codes.max() < size:
            raise FieldkitError(_too_few(name, int(codes.max()) + 1, size))
    rarer = min(looks["yes"].sum(), (looks["n"] - looks["yes"]).sum())
    if rarer < size:
        raise FieldkitError(
            f"Only {rarer:.0f} of {looks['n'].sum():.0f} looks found {'an' if looks['yes'].sum() == rarer else 'no'} "
            f"animal doing it: too few for a curve with {size} coefficients."
        )
    family = families.Binomial(
        link={"logit": families.links.Logit, "probit": families.links.Probit, "cloglog": families.links.CLogLog}[link]()
    )
    counts = looks[["yes"]].assign(no=looks["n"] - looks["yes"]).to_numpy(float)
    with warnings.catch_warnings():
        warnings.simplefilter("error", PerfectSeparationWarning)
        warnings.simplefilter("error", ConvergenceWarning)
        # A fit that runs away overflows on its way; what matters is where it ends.
        warnings.simplefilter("ignore", RuntimeWarning)
        try:
            fit = GLM(counts, design, family=family).fit(tol=1e-10, rtol=1e-13)
            if (fit.mu * (1 - fit.mu)).max() > 1e-6:
                return fit, _spread(fit, design, looks, clusters)
        except (PerfectSeparationWarning, ConvergenceWarning, np.linalg.LinAlgError):
            pass
    raise FieldkitError(
        "Looks with and without the behaviour do not overlap in air temperature, so no curve can be fitted and no "
        "interval given: more looks near the change are needed."
    )


def _spread(fit, design, looks, clusters):
    if not clusters:
        return Spread(covariances=np.asarray(fit.cov_params())[None])
    n, yes, mu = looks["n"].to_numpy(float), looks["yes"].to_numpy(float), fit.mu
    # A chance rounded to zero or one holds no information.
    doubt = np.where(mu * (1 - mu) > 0, mu * (1 - mu), np.inf)
    steep = fit.family.link.inverse_deriv(fit.family.link(np.clip(mu, 1e-300, 1 - 1e-16))) / doubt
    score = design * (steep * (yes - n * mu))[:, None]
    return find_spread(design, score, n * steep**2 * mu * (1 - mu), clusters)


def _too_few(name, count, size):
    kind = {"animal_id": "animal", "day": "day"}.get(name, f"cluster ({name})")
    if count > 1:
        return (
            f"Looks come from only {count} {kind}s, too few for a curve with {size} coefficients and honest intervals. "
            "Watch more animals and days, or choose a simpler shape."
        )
    other = {"animal_id": "day", "day": "animal_id"}.get(name)
    alone = f" cluster='{other}' describes this one {kind} alone." if other else ""
    return f"All looks come from one {kind}, so nothing shows how {kind}s differ and no interval can be given.{alone}"
