"""A beam fitted to a few meter readings.

A beam is not a guess from one reading and the inverse square of the distance. Reflectors make light that seems to come
from behind the lamp, large lamps are no points, and every beam has a width: all three are fitted, with intervals.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.captive.lamps.beam import QUANTITIES, Beam, along, half_angle_deg, log_beam, quantile
from fieldkit.core import FieldkitError, Result, method


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class BeamFit(Result):
    """A beam fitted to meter readings.

    Attributes
    ----------
    table : DataFrame
        One row per parameter: ``value, low, high, unit`` (profile limits; NaN where the readings set no limit).
    beam : Beam
    readings : DataFrame
        Each reading used: ``distance_m, angle_deg, reading, fitted, low, high, error`` (standard error of the reading),
        ``standard_residual`` and ``inverse_square``, the guess from `guess_from` alone.
    left_out : DataFrame
        Rows without a number, as they stood.
    quantity : str
    error_stated : bool
        Whether the meter's error was stated (else it is the scatter of the readings about the fit).
    misfit_p : float
        Chance of a worse fit if the shape is right and the meter as good as stated; NaN when its error was not stated.
    widened : float
        Factor by which the limits were widened because the readings scatter more than stated; 1: not.
    guess_from : label
        Row of the reading from which the inverse-square guess is made: nearest the axis, of middle distance.
    level : float
    """

    table: pd.DataFrame
    beam: Beam
    readings: pd.DataFrame
    left_out: pd.DataFrame
    quantity: str
    error_stated: bool
    misfit_p: float
    widened: float
    guess_from: object
    level: float

    @property
    def worst_guess_pct(self):
        """How far the inverse-square guess lies off the reading on the axis it misses most, percent of the reading."""
        angle = self.readings["angle_deg"]
        lit = self.readings[np.isclose(angle, angle.min()) & (self.readings["reading"] > 0)]
        return float(((lit["inverse_square"] / lit["reading"] - 1) * 100).loc[lambda x: x.abs().idxmax()])

    @property
    def sentence(self):
        unit = QUANTITIES[self.quantity]
        value, (low, high) = self.beam.at(0.3), self.beam.interval(0.3, level=self.level)
        half = self.table.loc["half_angle_deg"]
        words = (
            f"On the axis at 0.30 m: {value:.4g} {unit} ({100 * self.level:g} % limits {low:.4g} to {high:.4g}); "
            f"half of that intensity at {half['value']:.3g}° off the axis ({_span(half)}). An inverse-square guess "
            f"from one reading misses another on the axis by {self.worst_guess_pct:+.0f} %."
        )
        if self.widened > 1:
            words += (
                f" The readings scatter {self.widened:.1f} times as much about this beam as the meter's error allows "
                "(limits widened): the lamp has another shape, the distances are off, or the lamp was not warm yet."
            )
        if not self.error_stated:
            words += " The meter's error was not stated; it is taken from the scatter of the readings."
        if len(self.left_out):
            words += f" {len(self.left_out)} rows without a number are left out."
        return words


def _span(row):
    low = "no lower limit" if np.isnan(row["low"]) else f"{row['low']:.3g}"
    high = "no upper limit" if np.isnan(row["high"]) else f"{row['high']:.3g}"
    return f"{low} to {high}"


@method
def fit_beam(
    readings,
    *,
    quantity="irradiance_w_m2",
    meter_error=None,
    smallest_error=0.0,
    distance_error_m=0.0,
    angle_error_deg=0.0,
    calibration_error=0.0,
    shape="cosine",
    source="offset",
    level=0.95,
):
    """Fit the beam of a lamp to readings at several distances and angles.

    Parameters
    ----------
    readings : DataFrame (n,)
        ``distance_m`` from the middle of the lamp's front, ``angle_deg`` off its axis, and the quantity; the meter
        faces the lamp. Five or more, at two distances at least and some of them well off the axis; the lamp warm.
    quantity : {"irradiance_w_m2", "uv_index"}
        A lux meter measures neither.
    meter_error : float, optional
        Relative standard error of one reading against the next (0.05 is 5 %). None: taken from the scatter of the
        readings, which needs five of them at least.
    smallest_error : float
        Standard error of the smallest readings, in the unit of the quantity (half the last digit, stray light).
    distance_error_m, angle_error_deg : float
        Standard error of placing the meter.
    calibration_error : float
        Relative standard error that all readings share (the certificate of the meter). It widens limits of strengths
        and cannot be seen in the scatter.
    shape : {"cosine", "gaussian"}
        See `Beam`.
    source : {"offset", "disc"}
        See `Beam`.
    level : float
        Confidence level.

    Returns
    -------
    BeamFit

    Raises
    ------
    FieldkitError
        When the readings cannot tell: one distance only, all on the axis, too few, or impossible values.

    Notes
    -----
    Weighted least squares with the variance of each reading from the fitted value, repeated until it stays (estimating
    equations of quasi-likelihood: McCullagh & Nelder 1989, ch. 9). Limits of parameters: profile of the sum of squares;
    limits of readings: linear propagation on the log scale. If the sum of squares exceeds its 95 % limit, errors are
    scaled by the square root of sum over degrees of freedom (Birge 1932, Phys. Rev. 40:207).

    Examples
    --------
    >>> beam = Beam(intensity=60.0, near_m=0.05, half_angle_deg=25.0)
    >>> places = pd.DataFrame({"distance_m": [0.2, 0.3, 0.45, 0.6, 0.3, 0.3], "angle_deg": [0, 0, 0, 0, 15, 30]})
    >>> fit = fit_beam(places.assign(irradiance_w_m2=beam.at(*places.to_numpy().T)), meter_error=0.05)
    >>> fit.table["value"].round(2).tolist()
    [60.0, 0.05, 25.0]
    """
    table, left_out = _checked(readings, quantity)
    axial, radial = along(table["distance_m"], table["angle_deg"])
    observed = table["reading"].to_numpy()
    _enough(table, meter_error)
    _check_errors(meter_error, smallest_error, distance_error_m, angle_error_deg, calibration_error)
    problem = _Problem(axial, radial, observed, shape, source)
    relative = 0.05 if meter_error is None else float(meter_error)
    fitted = np.maximum(observed, 1e-3 * observed.max())
    best, slopes = None, np.zeros((2, len(observed)))
    for _ in range(12):
        placing = (slopes[0] * distance_error_m) ** 2 + (slopes[1] * angle_error_deg) ** 2
        problem.error = np.sqrt(fitted**2 * (relative**2 + placing) + smallest_error**2)
        before = best
        best = problem.solve(None if best is None else [best])
        fitted, slopes = problem.value(best), problem.slopes(best, table["distance_m"], table["angle_deg"])
        if before is not None and np.allclose(best, before, rtol=1e-7, atol=1e-9):
            break
    squares, free = float((problem.residuals(best) ** 2).sum()), len(observed) - 3
    scale, freedom, p = 1.0, np.inf, np.nan
    if meter_error is None:
        scale, freedom = np.sqrt(squares / free), float(free)
    elif free > 0:
        from scipy import stats

        p = float(stats.chi2.sf(squares, free))
        scale = np.sqrt(squares / free) if p < 0.05 else 1.0
    problem.error = problem.error * max(scale, 1e-9)
    jacobian = problem.jacobian(best)
    covariance = np.linalg.pinv(jacobian.T @ jacobian)
    beam = Beam(
        intensity=float(np.exp(best[0])),
        near_m=float(best[1]),
        half_angle_deg=float(half_angle_deg(best[2], shape)),
        shape=shape,
        source=source,
        covariance=covariance,
        degrees_of_freedom=freedom,
        calibration_error=float(calibration_error),
    )
    low, high = beam.interval(table["distance_m"], table["angle_deg"], level=level)
    nearest = table[np.isclose(table["angle_deg"], table["angle_deg"].min())].sort_values("distance_m")
    guess = nearest.index[len(nearest) // 2]
    table["fitted"], table["low"], table["high"] = fitted, low, high
    table["error"] = problem.error
    table["standard_residual"] = (observed - fitted) / problem.error
    table["inverse_square"] = table.loc[guess, "reading"] * (table.loc[guess, "distance_m"] / table["distance_m"]) ** 2
    return BeamFit(
        table=_limits(problem, best, covariance, quantile(level, freedom), beam, quantity),
        beam=beam,
        readings=table,
        left_out=left_out,
        quantity=quantity,
        error_stated=meter_error is not None,
        misfit_p=p,
        widened=float(scale) if meter_error is not None and scale > 1 else 1.0,
        guess_from=guess,
        level=level,
    )


def _checked(readings, quantity):
    if quantity not in QUANTITIES:
        raise FieldkitError(f"The quantity '{quantity}' is not known: choose irradiance_w_m2 or uv_index (not lux).")
    for name in ("distance_m", "angle_deg", quantity):
        if name not in readings:
            raise FieldkitError(f"The readings have no column '{name}'.")
    table = readings[["distance_m", "angle_deg", quantity]].rename(columns={quantity: "reading"})
    for name in table:
        numbers = pd.to_numeric(table[name], errors="coerce")
        bad = table[name].notna() & numbers.isna()
        if bad.any():
            row = bad.idxmax()
            raise FieldkitError(f'Reading {row}: {name} is "{table.loc[row, name]}", which is not a number.')
        table[name] = numbers.astype(float)
    known = table.notna().all(axis=1)
    left_out, table = readings[~known], table[known].copy()
    for name, low, high, remedy in (
        ("distance_m", 0.005, 5.0, "write metres (30 cm is 0.30)"),
        ("angle_deg", 0.0, 85.0, "write degrees off the axis, without a sign"),
        ("reading", 0.0, 5e4, "check the meter's unit"),
    ):
        wrong = table[(table[name] < low) | (table[name] > high)]
        if len(wrong):
            shown = quantity if name == "reading" else name
            raise FieldkitError(
                f"Reading {wrong.index[0]}: {shown} is {wrong[name].iloc[0]:g}; it must lie between {low:g} and "
                f"{high:g}: {remedy}."
            )
    return table, left_out


def _enough(table, meter_error):
    count, distances = len(table), table["distance_m"]
    least = 3 if meter_error is not None else 5
    if count < least or not table["reading"].max() > 0:
        raise FieldkitError(
            f"{count} readings are too few for a beam: strength, width and source need three with the meter's error "
            "stated and five without it, and the lamp must be on."
        )
    if distances.max() < 1.15 * distances.min():
        raise FieldkitError(
            "All readings lie at about one distance, so they cannot tell how the lamp weakens with distance: take some "
            "at half and at twice that distance."
        )
    if table["angle_deg"].max() - table["angle_deg"].min() < 3:
        raise FieldkitError(
            "All readings lie at about one angle, so they cannot tell how wide the beam is: take some 15 to 40 degrees "
            "off the axis, at the same distance from the lamp."
        )


def _check_errors(meter_error, smallest, distance, angle, calibration):
    for name, value, most in (
        ("meter_error", 0.01 if meter_error is None else meter_error, 1.0),
        ("calibration_error", calibration, 1.0),
        ("distance_error_m", distance, 0.5),
        ("angle_error_deg", angle, 45.0),
        ("smallest_error", smallest, np.inf),
    ):
        if not 0 <= value <= most:
            share = " a share (5 % is 0.05)" if most == 1 else ""
            raise FieldkitError(f"{name} is {value}: it must be{share} between 0 and {most:g}.")
    if meter_error == 0:
        raise FieldkitError("No meter reads without error: state meter_error, or leave it out.")


class _Problem:
    """Weighted squares of one set of readings."""

    def __init__(self, axial, radial, observed, shape, source):
        self.axial, self.radial, self.observed = axial, radial, observed
        self.shape, self.source, self.error = shape, source, np.ones(len(observed))
        nearest = float(np.hypot(axial, radial).min())
        least = -0.6 * nearest if source == "offset" else 0.0
        # The exponent of the cosine from nearly none to a laser: half angles from 89.9° to 0.7°.
        self.bounds = np.array([[-20.0, 25.0], [least, 3.0], [-4.0, 9.0]]).T

    def value(self, parameters):
        return np.exp(log_beam(parameters, self.axial, self.radial, self.shape, self.source)[0])

    def residuals(self, parameters):
        return (self.observed - self.value(parameters)) / self.error

    def jacobian(self, parameters):
        columns = []
        for i, step in enumerate((1e-5, 1e-6, 1e-5)):
            shift = np.zeros(3)
            shift[i] = step
            columns.append((self.residuals(parameters + shift) - self.residuals(parameters - shift)) / (2 * step))
        return np.array(columns).T

    def slopes(self, parameters, distance, angle):
        """Relative change of a reading with distance (1/m) and angle (1/degree)."""
        result = []
        for d_step, a_step in ((1e-5, 0.0), (0.0, 1e-3)):
            pair = []
            for sign in (1, -1):
                # A meter on the axis can only err off it, to either side alike: the slope there is zero.
                axial, radial = along(distance + sign * d_step, np.abs(angle + sign * a_step))
                pair.append(log_beam(parameters, axial, radial, self.shape, self.source)[0])
            result.append((pair[0] - pair[1]) / (2 * (d_step + a_step)))
        return np.nan_to_num(np.array(result), posinf=0.0, neginf=0.0)

    def starts(self):
        """Best strengths on a coarse net of offsets and widths; the best two of them start the search."""
        found = []
        for near in np.linspace(max(self.bounds[0][1] * 0.8, 0.0) + 0.001, 0.6, 7):
            for width in np.linspace(-0.5, 5.0, 9):
                unit = self.value(np.array([0.0, near, width])) / self.error
                strength = (unit @ (self.observed / self.error)) / (unit @ unit)
                if strength > 0:
                    start = np.array([np.log(strength), near, width])
                    found.append(((self.residuals(start) ** 2).sum(), start))
        return [start for _, start in sorted(found, key=lambda pair: pair[0])[:2]]

    def solve(self, starts=None, *, fixed=None, at=None):
        """Least squares, with one parameter held if asked; returns the parameters."""
        from scipy import optimize

        loose = [i for i in range(3) if i != fixed]

        def whole(part):
            full = np.empty(3)
            full[loose] = part
            if fixed is not None:
                full[fixed] = at
            return full

        best, least = None, np.inf
        for start in starts or self.starts():
            low, high = self.bounds[0][loose], self.bounds[1][loose]
            run = optimize.least_squares(
                lambda part: self.residuals(whole(part)),
                np.clip(start[loose], low + 1e-9, high - 1e-9),
                jac=lambda part: self.jacobian(whole(part))[:, loose],
                bounds=(low, high),
                x_scale=np.array([0.1, 0.03, 0.1])[loose],
                xtol=1e-10,
                ftol=1e-12,
                gtol=1e-12,
            )
            if run.cost < least:
                best, least = whole(run.x), run.cost
        return best


def _limits(problem, best, covariance, factor, beam, quantity):
    """Profile limits of the three parameters, in the units of `Beam`."""
    from scipy import optimize

    least = (problem.residuals(best) ** 2).sum()
    spans = []
    for i in range(3):
        ends = []
        for side in (-1, 1):
            track = [best]

            def excess(value, i=i, track=track):
                found = problem.solve([track[-1]], fixed=i, at=value)
                track.append(found)
                return (problem.residuals(found) ** 2).sum() - least - factor**2

            edge = problem.bounds[(side + 1) // 2][i]
            step = max(np.sqrt(covariance[i, i]) * factor, 1e-6)
            near, far, end = best[i], best[i], np.nan
            for _ in range(12):
                far = near + side * step
                if (far - edge) * side >= 0:
                    far = edge - side * 1e-9
                if excess(far) > 0:
                    end = optimize.brentq(excess, near, far, xtol=1e-4 * step)
                    break
                if (far - edge) * side >= -1e-8:
                    break
                near, step = far, step * 1.6
            ends.append(end)
        spans.append(ends)
    strength = factor * beam.calibration_error
    low, high = np.array(spans).T
    # Calibration is independent of the scatter: both half-widths add as squares.
    low[0] = best[0] - np.hypot(best[0] - low[0], strength)
    high[0] = best[0] + np.hypot(high[0] - best[0], strength)
    angle = half_angle_deg(np.array([high[2], low[2]]), beam.shape)
    unit = QUANTITIES[quantity]
    return pd.DataFrame(
        {
            "value": [beam.intensity, beam.near_m, beam.half_angle_deg],
            "low": [np.exp(low[0]), low[1], angle[0]],
            "high": [np.exp(high[0]), high[1], angle[1]],
            "unit": ["W/sr" if unit == "W/m²" else "UV index m²", "m", "degrees"],
        },
        index=pd.Index(["intensity", "near_m", "half_angle_deg"], name="parameter"),
    )
