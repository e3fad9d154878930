"""The chance of basking as a curve of air temperature, with covariances that let animals and days go together."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError

# Knots at quantiles (Harrell 2001, Regression Modeling Strategies, section 2.4.5, from memory: five serve samples of a
# hundred or more).
SPLINE_KNOTS = 5


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
    covariances: np.ndarray
    level: float
    degrees: tuple
    low: float
    high: float
    air: np.ndarray
    n: np.ndarray
    deviance: float
    degrees_of_freedom: float

    def basis(self, air, order=0):
        return basis_columns(air, self.irradiance, self.shape, self.radiation, self.centre, self.knots, order)

    def eta(self, air, order=0):
        return self.basis(air, order) @ self.beta

    def variances(self, gradient):
        """Variance of a linear combination by each covariance, shape (m, ...)."""
        return (np.matmul(gradient, self.covariances) * gradient).sum(axis=-1)

    def variance(self, gradient):
        """The largest of them."""
        return self.variances(gradient).max(axis=0)

    def critical(self, gradient):
        """Critical values of Student's t by each covariance, shape (m, ...).

        Animals and days have their own degrees of freedom; those of both ways together are Satterthwaite's (1946,
        Biometrics Bull. 2:110), for the sum of the two variances.
        """
        from scipy import special

        tail = (1 + self.level) / 2
        if not self.degrees:
            return np.full(np.shape(self.variances(gradient)), special.ndtri(tail))
        if len(self.degrees) == 1:
            return np.full(np.shape(self.variances(gradient)), special.stdtrit(self.degrees[0], tail))
        _, first, second = self.variances(gradient)
        by_first, by_second = (np.full(np.shape(first), float(d)) for d in self.degrees)
        tiny = np.finfo(float).tiny
        both = (first + second) ** 2 / np.maximum(first**2 / by_first + second**2 / by_second, tiny)
        both = np.maximum(both, 1.0)
        return special.stdtrit(np.stack([both, by_first, by_second]), tail)

    def reach(self, gradient):
        """Half the width of an interval: the widest by any of the covariances."""
        return np.sqrt((self.critical(gradient) ** 2 * np.maximum(self.variances(gradient), 0)).max(axis=0))

    @property
    def fewest(self):
        """Degrees of freedom of the scarcer cluster."""
        return min(self.degrees, default=np.inf)

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
        return change @ self.covariances @ change.T


def basis_columns(air, irradiance, shape, radiation, centre, knots, order=0):
    air = np.asarray(air, dtype=float)
    z = air - centre
    one, zero = np.ones_like(z), np.zeros_like(z)
    if shape == "spline":
        from scipy.interpolate import CubicSpline

        columns = list(np.moveaxis(CubicSpline(knots, np.eye(len(knots)), bc_type="natural")(air, order), -1, 0))
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


def fit_curve(looks, clusters, *, shape, link, radiation, at_irradiance_w_m2, level, knots=None, centre=None):
    air, n = (looks[c].to_numpy(float) for c in ("shade_air_c", "n"))
    irradiance = looks["irradiance_w_m2"].to_numpy(float) if radiation != "none" else None
    if centre is None:
        centre = float(np.average(air, weights=n))
    if knots is None:
        knots = np.quantile(air, np.linspace(0, 1, SPLINE_KNOTS))
    if shape == "spline" and not (np.diff(knots) > 0).all():
        raise FieldkitError("Too few different air temperatures for a spline: choose shape='hump' or 'monotone'.")
    design = basis_columns(air, irradiance, shape, radiation, centre, knots)
    size = design.shape[1]
    if np.linalg.matrix_rank(design) < size:
        raise FieldkitError(
            f"The {shape} curve needs more different air temperatures than the {len(np.unique(air))} at which anybody "
            "looked, or radiation that varies: choose a simpler shape."
        )
    fit, covariances = regress(design, looks, clusters, link)
    return Curve(
        shape=shape,
        link=fit.family.link,
        radiation=radiation,
        irradiance=at_irradiance_w_m2,
        centre=centre,
        knots=knots,
        beta=np.asarray(fit.params),
        covariances=covariances,
        level=level,
        degrees=tuple(len(np.unique(g)) - 1 for g in clusters.values()),
        low=float(air.min()),
        high=float(air.max()),
        air=air,
        n=n,
        deviance=float(fit.deviance),
        degrees_of_freedom=float(fit.df_resid),
    )


def regress(design, looks, clusters, link):
    import warnings

    from statsmodels.genmod import families
    from statsmodels.genmod.generalized_linear_model import GLM
    from statsmodels.tools.sm_exceptions import ConvergenceWarning, PerfectSeparationWarning

    size = design.shape[1]
    if clusters and fewest_degrees(clusters) < size:
        raise FieldkitError(
            f"Looks come from only {fewest_degrees(clusters) + 1} clusters ({' or '.join(clusters)}), too few for a "
            f"curve with {size} coefficients and honest intervals. Watch more animals and days, or choose a simpler "
            "shape."
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
            runs_away = (fit.mu * (1 - fit.mu)).max() < 1e-6
        except (PerfectSeparationWarning, ConvergenceWarning):
            runs_away = True
    if runs_away:
        raise FieldkitError(
            "Looks with and without the behaviour do not overlap in air temperature, so no curve can be fitted and no "
            "interval given: more looks near the change are needed."
        )
    return fit, _covariances(fit, design, looks, clusters)


def _covariances(fit, design, looks, clusters):
    """Covariances of the coefficients, of which the largest variance counts."""
    if not clusters:
        return np.asarray(fit.cov_params())[None]
    n, yes, mu = looks["n"].to_numpy(float), looks["yes"].to_numpy(float), fit.mu
    steep = fit.family.link.inverse_deriv(fit.family.link(mu)) / (mu * (1 - mu))
    score = design * (steep * (yes - n * mu))[:, None]
    weight = n * steep**2 * mu * (1 - mu)

    def jackknife(codes):
        # Left out one after another, the clusters move the coefficients by about (A - A_g)^-1 s_g.
        count, size = codes.max() + 1, design.shape[1]
        own_score, own_information = np.zeros((count, size)), np.zeros((count, size, size))
        np.add.at(own_score, codes, score)
        np.add.at(own_information, codes, design[:, :, None] * (design * weight[:, None])[:, None, :])
        left = own_information.sum(axis=0) - own_information
        moves = np.einsum("gij,gj->gi", np.linalg.pinv(left, hermitian=True), own_score)
        return (count - 1) / count * moves.T @ moves

    alone = [jackknife(codes) for codes in clusters.values()]
    if len(alone) == 1:
        return np.stack(alone)
    overlap = np.unique(np.column_stack(list(clusters.values())), axis=0, return_inverse=True)[1].ravel()
    return np.stack([alone[0] + alone[1] - jackknife(overlap), *alone])


def fewest_degrees(clusters):
    return min((len(np.unique(g)) for g in clusters.values()), default=np.inf) - 1
