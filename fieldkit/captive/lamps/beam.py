"""The beam of a lamp: how its irradiance falls off with distance and angle."""

from dataclasses import dataclass, replace

import numpy as np

from fieldkit.core import FieldkitError, generator

SHAPES = ("cosine", "gaussian")
SOURCES = ("offset", "disc")
_HALF = np.log(2.0)
QUANTITIES = {"irradiance_w_m2": "W/m²", "uv_index": "UV index"}


def log_width(angle_deg, shape):
    """The width of a beam as the number that is fitted: log of the exponent, or of 1/sigma² in radians."""
    half = np.radians(np.asarray(angle_deg, dtype=float))
    if shape == "cosine":
        return np.log(-_HALF / np.log(np.cos(half)))
    return np.log(2 * _HALF / half**2)


def half_angle_deg(log_width, shape):
    width = np.exp(log_width)
    half = np.arccos(np.exp(-_HALF / width)) if shape == "cosine" else np.sqrt(2 * _HALF / width)
    return np.degrees(half)


def log_beam(parameters, axial_m, radial_m, shape, source):
    """Log of what a meter that faces the lamp reads, and cosine of the ray to the axis; −inf behind the lamp."""
    log_intensity, near, log_width = parameters
    along = axial_m + near if source == "offset" else axial_m
    square = along**2 + radial_m**2
    with np.errstate(divide="ignore", invalid="ignore"):
        cosine = np.where((along > 0) & (axial_m > 0), along / np.sqrt(square), 0.0)
        spread = np.log(cosine) if shape == "cosine" else -0.5 * np.arccos(np.clip(cosine, 0, 1)) ** 2
        spread = np.where(cosine > 0, np.exp(log_width) * spread, -np.inf)
        return log_intensity + spread - np.log(square + (near**2 if source == "disc" else 0.0)), cosine


@dataclass(frozen=True, kw_only=True, eq=False)
class Beam:
    """How the irradiance of a lamp falls off with distance and angle.

    Parameters
    ----------
    intensity : float
        On the axis, far away: reading times squared distance (W/sr when the reading is in W/m²; UV index m² for a
        beam of UV); 0 where readings were 0.
    near_m : float
        Offset: how far behind the lamp's front the light seems to come from (m; may be negative). Disc: radius of the
        shining disc (m).
    half_angle_deg : float
        Angle from the axis, seen from where the light seems to come from, at which the intensity is half (degrees).
    shape : {"cosine", "gaussian"}
        Intensity by angle: a power of the cosine (60° is a flat glowing plate), or a Gaussian of the angle.
    source : {"offset", "disc"}
    covariance : ndarray (3, 3), optional
        Of log intensity, `near_m` and log width, from a fit.
    degrees_of_freedom : float
        Of that covariance; infinite when the meter's error was stated.
    calibration_error : float
        Relative standard error shared by all readings of the meter.

    Notes
    -----
    Offset: I cosᵐ(θ)/r², with r and θ from a point `near_m` behind the front (a virtual image, as a reflector makes).
    Disc: I cosᵐ(θ)/(r² + a²), which on the axis of an evenly glowing disc of radius a is exact (view factor of a disc,
    a²/(a² + r²)).

    Examples
    --------
    >>> beam = Beam(intensity=60.0, near_m=0.05, half_angle_deg=25.0)
    >>> round(float(beam.at(0.30)), 1), round(float(beam.at(0.30, 25.0)), 1)
    (489.8, 301.6)
    """

    intensity: float
    near_m: float = 0.0
    half_angle_deg: float = 60.0
    shape: str = "cosine"
    source: str = "offset"
    covariance: np.ndarray | None = None
    degrees_of_freedom: float = np.inf
    calibration_error: float = 0.0

    def __post_init__(self):
        if self.shape not in SHAPES or self.source not in SOURCES:
            raise FieldkitError(f"A beam's shape is one of {', '.join(SHAPES)} and its source one of offset, disc.")
        if not self.intensity >= 0:
            raise FieldkitError(f"The intensity of a beam is {self.intensity}: it must be 0 (nothing) or above.")
        widest = 90 if self.shape == "cosine" else 180
        if not 0 < self.half_angle_deg < widest:
            raise FieldkitError(
                f"The half angle of a beam is {self.half_angle_deg}°: it must lie between 0 and {widest}."
            )
        if not np.isfinite(self.near_m) or abs(self.near_m) > 10 or (self.source == "disc" and self.near_m < 0):
            raise FieldkitError(f"near_m of a beam is {self.near_m}: give metres.")

    @property
    def parameters(self):
        """Log intensity, `near_m` and log width: what is fitted."""
        with np.errstate(divide="ignore"):
            strength = np.log(self.intensity)
        return np.array([strength, self.near_m, float(log_width(self.half_angle_deg, self.shape))])

    def at(self, distance_m, angle_deg=0.0):
        """What a meter that faces the lamp reads.

        Parameters
        ----------
        distance_m : float or array
            From the middle of the lamp's front (m).
        angle_deg : float or array
            Off the axis (degrees).

        Returns
        -------
        float or ndarray
            W/m², or UV index for a beam of UV.
        """
        axial, radial = along(distance_m, angle_deg)
        return np.exp(log_beam(self.parameters, axial, radial, self.shape, self.source)[0])

    def interval(self, distance_m, angle_deg=0.0, *, level=0.95):
        """Limits of `at`.

        Parameters
        ----------
        distance_m, angle_deg : float or array
            As in `at`.
        level : float
            Confidence level.

        Returns
        -------
        low, high : ndarray
            Equal to the value itself when the beam was stated and not fitted.
        """
        axial, radial = along(distance_m, angle_deg)
        value, error = self.value_and_error(axial, radial, None)
        spread = np.exp(quantile(level, self.degrees_of_freedom) * np.hypot(error, self.calibration_error))
        return value / spread, value * spread

    def sample(self, n, *, rng):
        """Draw beams that the readings allow as well.

        Parameters
        ----------
        n : int
            How many.
        rng : int or numpy.random.Generator
            Seed.

        Returns
        -------
        list of Beam
        """
        if self.covariance is None and not self.calibration_error:
            return [self] * n
        rng = generator(rng)
        covariance = np.zeros((3, 3)) if self.covariance is None else self.covariance
        draws = rng.multivariate_normal(np.zeros(3), covariance, size=n, method="eigh")
        if np.isfinite(self.degrees_of_freedom):
            draws /= np.sqrt(rng.chisquare(self.degrees_of_freedom, size=(n, 1)) / self.degrees_of_freedom)
        draws += self.parameters
        draws[:, 0] += self.calibration_error * rng.standard_normal(n)
        return [self._with(row) for row in draws]

    def scaled(self, factor):
        """The same beam, stronger or weaker by a factor."""
        return replace(self, intensity=self.intensity * factor)

    def _with(self, parameters):
        near = max(parameters[1], 0.0) if self.source == "disc" else parameters[1]
        return replace(
            self,
            intensity=float(np.exp(parameters[0])),
            near_m=float(near),
            half_angle_deg=float(half_angle_deg(parameters[2], self.shape)),
            covariance=None,
            calibration_error=0.0,
        )

    def value_and_error(self, axial, radial, drop):
        """Reading and its relative standard error.

        On a level plane when `drop` is given: height of the lamp over the point (m) and how much its axis looks down.
        """

        def log_value(parameters):
            log, _ = log_beam(parameters, axial, radial, self.shape, self.source)
            if drop is None:
                return log
            height, axis_down = drop
            behind = parameters[1] if self.source == "offset" else 0.0
            length = np.sqrt((axial + behind) ** 2 + radial**2)
            with np.errstate(divide="ignore", invalid="ignore"):
                return log + np.log(np.maximum((height + behind * axis_down) / length, 0.0))

        here = self.parameters
        value = np.exp(log_value(here))
        if self.covariance is None:
            return value, np.zeros(np.shape(value))
        gradient = []
        for i in range(3):
            step = np.zeros(3)
            step[i] = 1e-5
            with np.errstate(invalid="ignore"):
                gradient.append((log_value(here + step) - log_value(here - step)) / 2e-5)
        gradient = np.nan_to_num(np.array(gradient), posinf=0.0, neginf=0.0)
        variance = np.einsum("i...,ij,j...->...", gradient, self.covariance, gradient)
        return value, np.sqrt(np.maximum(variance, 0.0))


def along(distance_m, angle_deg):
    distance, angle = np.asarray(distance_m, dtype=float), np.radians(np.asarray(angle_deg, dtype=float))
    return distance * np.cos(angle), distance * np.sin(angle)


def quantile(level, degrees_of_freedom):
    from scipy import stats

    tail = 0.5 + level / 2
    return stats.norm.ppf(tail) if np.isinf(degrees_of_freedom) else stats.t.ppf(tail, degrees_of_freedom)
