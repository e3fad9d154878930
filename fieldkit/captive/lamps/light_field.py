"""Lamps in their places, and the field of several lamps together.

Lengths in metres from one corner of the floor, heights from the floor. Light that walls throw back is not counted and
nothing casts shadows: readings in the finished enclosure have the last word.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from fieldkit.captive.lamps.beam import QUANTITIES, SHAPES, SOURCES, Beam, quantile
from fieldkit.captive.lamps.fit import BeamFit, fit_beam
from fieldkit.core import FieldkitError, Result

__all__ = [
    "CAUTIONS",
    "METER_RANGE_NM",
    "SHAPES",
    "SOURCES",
    "Beam",
    "BeamFit",
    "Field",
    "Lamp",
    "add",
    "as_points",
    "burns",
    "field",
    "fit_beam",
    "grid",
]

FACINGS = ("level", "lamp")
# What a thermopile meter takes in, nm (common practice, no source): its reading sets the scale of a spectrum.
METER_RANGE_NM = (300.0, 2800.0)
# Said wherever lamps are chosen or moved.
CAUTIONS = (
    "Burns and fire: guard every hot lamp, fix it so that it cannot fall even if its clamp fails, keep it clear of "
    "anything that burns, and measure the hottest surface within the animal's reach. The distance printed on a box is "
    "for another lamp in another place: measure at yours.",
    "UV hurts eyes and skin, yours too: shield the lamp, wear UV glasses while you measure, never look into it. Change "
    "the UV of an animal in small steps only.",
    "Mains electricity and water: switch off and unplug before you move a lamp; drip loop, residual-current device, "
    "fittings rated for the lamp's watts; fixed wiring is work for an electrician.",
    "Use a pyranometer for W/m² and a UV index meter for UV. A lux meter measures neither: it sees only what human "
    "eyes see.",
    "Change little at a time while an animal lives there, watch it, and leave it shade and a cool end. A sick animal "
    "goes to a vet. Local law and licences come first.",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Lamp:
    """A lamp in an enclosure. Lengths in metres from one corner of the floor, heights from the floor.

    Parameters
    ----------
    id : str
    beam : Beam
        Irradiance, W/m² (`fit_beam` from meter readings).
    spectrum : Series, optional
        Its light by wavelength (nm), in any unit per nanometre; only the shape is used.
    uv_beam : Beam, optional
        UV index, from readings of a UV index meter. Without it the UV index follows from `spectrum`, if that covers
        300 to 400 nm and was measured or is that of a filament behind stated glass (`tells_uv`).
    x_m, y_m, height_m : float
        Middle of the lamp's front.
    aim : (x_m, y_m, z_m), optional
        A point that the axis goes through; None: straight down.
    power_w : float, optional
        Electrical power.
    on, off : str, optional
        Clock times "HH:MM"; None: always on. `off` before `on` means past midnight.

    Examples
    --------
    >>> lamp = Lamp(id="heat", beam=Beam(intensity=60.0, half_angle_deg=25.0), x_m=0.2, y_m=0.2,
    ...             height_m=0.4)
    >>> lamp.irradiance_at([[0.2, 0.2, 0.1], [0.4, 0.2, 0.1]]).round(1).tolist()
    [666.7, 105.1]
    """

    id: str
    beam: Beam
    spectrum: pd.Series | None = None
    uv_beam: Beam | None = None
    x_m: float = 0.0
    y_m: float = 0.0
    height_m: float = 0.5
    aim: tuple | None = None
    power_w: float | None = None
    on: str | None = None
    off: str | None = None

    def __post_init__(self):
        if self.power_w is not None and not self.power_w > 0:
            raise FieldkitError(f"Lamp '{self.id}': power_w is {self.power_w}: it must be above 0.")
        if (self.on is None) != (self.off is None):
            raise FieldkitError(f"Lamp '{self.id}': give both on and off, or neither (always on).")
        for name in ("on", "off"):
            if getattr(self, name) is not None:
                _clock_hours(getattr(self, name), f"Lamp '{self.id}': {name}")
        if self.aim is not None and np.linalg.norm(np.asarray(self.aim, dtype=float) - self.front) < 1e-6:
            raise FieldkitError(f"Lamp '{self.id}': it aims at its own place; give the point the axis goes through.")

    @property
    def front(self):
        """Middle of the front, (3,) metres."""
        return np.array([self.x_m, self.y_m, self.height_m], dtype=float)

    @property
    def axis(self):
        """Unit vector along which the lamp shines, (3,)."""
        if self.aim is None:
            return np.array([0.0, 0.0, -1.0])
        way = np.asarray(self.aim, dtype=float) - self.front
        return way / np.linalg.norm(way)

    def is_on(self, hours):
        """Whether the lamp burns at a clock time.

        Parameters
        ----------
        hours : float or array
            Clock time in hours, 0 to 24.

        Returns
        -------
        bool or ndarray
        """
        hours = np.asarray(hours, dtype=float)
        return np.ones(hours.shape, dtype=bool) if self.on is None else burns(hours, self.on, self.off)

    def irradiance_at(self, points, *, facing="level"):
        """Irradiance of this lamp, when it burns, at points.

        Parameters
        ----------
        points : array (n, 3) or DataFrame with x_m, y_m, z_m
            Metres.
        facing : {"level", "lamp"}
            What receives it: a level plane that looks up (a flat back, a level meter), or one square to the rays
            (``dni_w_m2`` of the heat balance).

        Returns
        -------
        ndarray (n,)
            W/m². Walls reflect some more and things in the way cast shadows: neither is in here.
        """
        return self.field_and_error(points, facing, "irradiance_w_m2")[0]

    def uv_index_at(self, points, *, facing="level"):
        """UV index of this lamp, when it burns, at points; NaN when nothing is known of its UV.

        Parameters
        ----------
        points, facing
            As in `irradiance_at`.

        Returns
        -------
        ndarray (n,)
        """
        return self.field_and_error(points, facing, "uv_index")[0]

    @property
    def tells_uv(self):
        """Whether the spectrum tells the UV: it covers 300 to 400 nm and is not of a filament whose glass is not known.

        Glass takes UV away by factors of hundreds, so a hot body or an illuminant by name says nothing of it.
        """
        if self.spectrum is None or self.spectrum.index[0] > 300 or self.spectrum.index[-1] < 400:
            return False
        return self.spectrum.attrs.get("tells_uv", True)

    def uv_index_per_w_m2(self):
        """UV index that comes with each W/m² according to the spectrum; NaN when that does not tell it."""
        from fieldkit.physics import spectrum

        if not self.tells_uv:
            return np.nan
        return spectrum.uv_index(self.spectrum) / spectrum.integrate(self.spectrum, *METER_RANGE_NM)

    def moved(self, *, x_m=None, y_m=None, height_m=None):
        """The same lamp in another place; a lamp that aims at a point keeps aiming at it."""
        given = {"x_m": x_m, "y_m": y_m, "height_m": height_m}
        return replace(self, **{name: float(value) for name, value in given.items() if value is not None})

    def scaled(self, factor):
        """The same lamp stronger or weaker by a factor; irradiance and UV follow the power.

        True for a lamp of the same make with more watts or for another number of them; a filament that is dimmed also
        turns redder and loses UV faster than this says.
        """
        if not factor > 0:
            raise FieldkitError(f"A lamp cannot be scaled by {factor}: it must be above 0.")
        return replace(
            self,
            beam=self.beam.scaled(factor),
            uv_beam=None if self.uv_beam is None else self.uv_beam.scaled(factor),
            power_w=None if self.power_w is None else self.power_w * factor,
        )

    def with_beams(self, beam, uv_beam):
        """The same lamp with other beams, for instance drawn with `Beam.sample`."""
        return replace(self, beam=beam, uv_beam=uv_beam)

    def field_and_error(self, points, facing, quantity):
        """Value at points, its relative standard error from the fit, and the beam that made it."""
        if facing not in FACINGS:
            raise FieldkitError(f"The facing '{facing}' is not known: choose level or lamp.")
        beam, factor = self.beam, 1.0
        if quantity == "uv_index":
            if self.uv_beam is not None:
                beam = self.uv_beam
            else:
                factor = self.uv_index_per_w_m2()
        way = as_points(points) - self.front
        axial = way @ self.axis
        radial = np.linalg.norm(way - axial[:, None] * self.axis, axis=1)
        drop = (-way[:, 2], -self.axis[2]) if facing == "level" else None
        value, error = beam.value_and_error(axial, radial, drop)
        return value * factor, error, beam


def burns(hours, on, off):
    """Whether a lamp burns at clock hours; `off` before `on` means past midnight.

    Parameters
    ----------
    hours : ndarray
        Clock time in hours, 0 to 24.
    on, off : str
        "HH:MM".

    Returns
    -------
    ndarray of bool

    Examples
    --------
    >>> burns(np.array([7.0, 12.0, 23.0]), "08:00", "20:30").tolist()
    [False, True, False]
    """
    start, end = _clock_hours(on, "on"), _clock_hours(off, "off")
    return (hours >= start) & (hours < end) if start <= end else (hours >= start) | (hours < end)


def _clock_hours(text, what):
    parts = str(text).split(":")
    try:
        hours, minutes = int(parts[0]), int(parts[1])
    except (IndexError, ValueError):
        hours, minutes = -1, 0
    if not (0 <= hours <= 24 and 0 <= minutes < 60):
        raise FieldkitError(f'{what} is "{text}": write a clock time such as "07:30".')
    return hours + minutes / 60


def as_points(points):
    """Points as an array (n, 3) of metres, checked."""
    if isinstance(points, pd.DataFrame):
        missing = [name for name in ("x_m", "y_m", "z_m") if name not in points]
        if missing:
            raise FieldkitError(f"The points have no column {', '.join(missing)}.")
        points = points[["x_m", "y_m", "z_m"]]
    array = np.atleast_2d(np.asarray(points, dtype=float))
    if array.ndim != 2 or array.shape[1] != 3:
        raise FieldkitError("Points are rows of x, y and z in metres.")
    return array


# ---------------------------------------------------------------------------------------------------------------------
# Several lamps


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Field(Result):
    """What several lamps give together.

    Attributes
    ----------
    table : DataFrame
        One row per point: ``x_m, y_m, z_m``, one column per lamp (its id), ``total, low, high``.
    quantity : {"irradiance_w_m2", "uv_index"}
    facing : str
    level : float
    lamps : list of str
    """

    table: pd.DataFrame
    quantity: str
    facing: str
    level: float
    lamps: list

    @property
    def sentence(self):
        unit = QUANTITIES[self.quantity]
        total = self.table["total"]
        words = f"{len(self.lamps)} {'lamp' if len(self.lamps) == 1 else 'lamps'} over {len(total)} points"
        if total.isna().all():
            return f"{words}: the {unit} is not known, because no reading and no spectrum tells it of every lamp."
        top = self.table.loc[total.idxmax()]
        return (
            f"{words}: {total.min():.3g} to {total.max():.3g} {unit}; the strongest at x {top['x_m']:.2f} m, "
            f"y {top['y_m']:.2f} m ({100 * self.level:g} % limits {top['low']:.3g} to {top['high']:.3g})."
        )


def field(lamps, points, *, quantity="irradiance_w_m2", facing="level", clock_h=None, level=0.95):
    """Add the fields of lamps at points.

    Parameters
    ----------
    lamps : Lamp or list of Lamp
        Each with an id of its own.
    points : array (n, 3) or DataFrame with x_m, y_m, z_m
        Metres.
    quantity : {"irradiance_w_m2", "uv_index"}
        What to add.
    facing : {"level", "lamp"}
        See `Lamp.irradiance_at`.
    clock_h : float, optional
        Clock time in hours; lamps that are off then add nothing. None: all burn.
    level : float
        Confidence level.

    Returns
    -------
    Field
        A lamp whose UV is not known makes the sum of UV not known (NaN).

    Raises
    ------
    FieldkitError
        When two lamps have one id.

    Notes
    -----
    Errors of the fits are independent from lamp to lamp; the calibration error of the meter is shared by all.

    Examples
    --------
    >>> lamp = Lamp(id="left", beam=Beam(intensity=60.0, half_angle_deg=25.0), x_m=0.2)
    >>> both = field([lamp, replace(lamp, id="right", x_m=0.4)], [[0.3, 0.0, 0.1]])
    >>> both.table[["left", "right", "total"]].round(1).values.tolist()
    [[276.6, 276.6, 553.1]]
    """
    lamps = [lamps] if isinstance(lamps, Lamp) else list(lamps)
    names = [lamp.id for lamp in lamps]
    if not lamps or len(set(names)) < len(names):
        raise FieldkitError("Give at least one lamp, and every lamp an id of its own.")
    if quantity not in QUANTITIES:
        raise FieldkitError(f"The quantity '{quantity}' is not known: choose irradiance_w_m2 or uv_index.")
    points = as_points(points)
    table = pd.DataFrame(points, columns=["x_m", "y_m", "z_m"])
    parts = []
    for lamp in lamps:
        value, error, beam = lamp.field_and_error(points, facing, quantity)
        burns = clock_h is None or bool(lamp.is_on(clock_h))
        table[lamp.id] = value if burns else 0.0
        parts.append((table[lamp.id].to_numpy(), error, beam))
    table["total"], table["low"], table["high"] = add(parts, level)
    return Field(table=table, quantity=quantity, facing=facing, level=level, lamps=names)


def add(parts, level):
    """Sum of the light of several lamps with limits.

    Parameters
    ----------
    parts : list of (value, relative standard error, Beam)
        Arrays of one shape, a lamp each.
    level : float
        Confidence level.

    Returns
    -------
    total, low, high : ndarray
        Errors of the fits are independent, the calibration error of the meter is common to all; a normal or, if the
        meter's error came from the scatter, a t distribution on the log scale.
    """
    total = sum(value for value, _, _ in parts)
    own = sum((value * error) ** 2 for value, error, _ in parts)
    shared = sum(value * beam.calibration_error for value, _, beam in parts)
    freedom = min(beam.degrees_of_freedom for _, _, beam in parts)
    with np.errstate(divide="ignore", invalid="ignore"):
        relative = np.where(total > 0, np.sqrt(own + shared**2) / total, 0.0)
    spread = np.exp(quantile(level, freedom) * relative)
    return total, total / spread, total * spread


def grid(area, z_m, *, step_m=0.01):
    """Points over a rectangle, for maps.

    Parameters
    ----------
    area : (x_low, x_high, y_low, y_high)
        Metres.
    z_m : float
        Height of the points (m).
    step_m : float
        Distance between neighbours, made a little smaller so that it divides the sides.

    Returns
    -------
    x_m, y_m : ndarray (nx,), (ny,)
    points : ndarray (ny * nx, 3)
        Row by row.

    Examples
    --------
    >>> x, y, points = grid((0, 0.2, 0, 0.1), 0.0, step_m=0.1)
    >>> points[:, :2].tolist()
    [[0.0, 0.0], [0.1, 0.0], [0.2, 0.0], [0.0, 0.1], [0.1, 0.1], [0.2, 0.1]]
    """
    left, right, near, far = (float(v) for v in area)
    if not (left < right and near < far) or not step_m > 0:
        raise FieldkitError("An area is (x_low, x_high, y_low, y_high) in metres, the lower first, the step above 0.")
    x = np.linspace(left, right, int(np.ceil(round((right - left) / step_m, 9))) + 1)
    y = np.linspace(near, far, int(np.ceil(round((far - near) / step_m, 9))) + 1)
    across, along = np.meshgrid(x, y)
    return x, y, np.column_stack([across.ravel(), along.ravel(), np.full(across.size, float(z_m))])
