"""Whether the whole animal fits into the light of its lamps."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.captive import lamps as room
from fieldkit.captive.lamps.matching import span_words, wanted_range
from fieldkit.core import FieldkitError, Result, generator, method


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Coverage(Result):
    """How much of a basking area holds the wanted light, and whether a whole animal fits into it.

    Attributes
    ----------
    table : DataFrame
        One row per demand (irradiance, UV index, both): ``lit_m2`` with ``lit_low, lit_high``; ``width_m`` (the widest
        circle that fits) with ``width_low, width_high``; ``one_way_m2`` and ``every_way_m2``, where the middle of the
        body may lie so that all of it is lit when it lies the best way, and whichever way it lies; ``body_lit_pct``,
        the most of the body's length that can be lit at once, with limits.
    area : tuple
    z_m, body_length_m : float
    wanted_w_m2, uv_wanted : tuple
    x_m, y_m : ndarray
    irradiance, uv_index : ndarray (ny, nx)
    smaller_than_animal : bool
        The whole body does not fit into the light any way it lies.
    level : float
    seed : int
    """

    table: pd.DataFrame
    area: tuple
    z_m: float
    body_length_m: float
    wanted_w_m2: tuple
    uv_wanted: tuple | None
    x_m: np.ndarray
    y_m: np.ndarray
    irradiance: np.ndarray
    uv_index: np.ndarray
    level: float
    seed: int

    @property
    def smaller_than_animal(self):
        return bool(self.table["one_way_m2"].iloc[-1] == 0)

    @property
    def sentence(self):
        row = self.table.iloc[-1]
        what = f"{self.wanted_w_m2[0]:.0f} to {self.wanted_w_m2[2]:.0f} W/m²"
        if self.uv_wanted is not None:
            what += f" and UV index {span_words(self.uv_wanted)}"
        if row["lit_m2"] == 0:
            return f"Nowhere on the area are there {what}."
        words = f"{1e4 * row['lit_m2']:.0f} cm² hold {what} (limits {1e4 * row['lit_low']:.0f} to "
        words += f"{1e4 * row['lit_high']:.0f}), {100 * row['width_m']:.0f} cm wide at the widest. "
        length = f"{100 * self.body_length_m:.0f} cm"
        if self.smaller_than_animal:
            return words + (
                f"The spot is smaller than the animal: at most {row['body_lit_pct']:.0f} % of its {length} are lit at "
                "once, so one part overheats while another stays cold."
            )
        if row["every_way_m2"] == 0:
            return words + f"A body of {length} fits in one way only, not whichever way it lies."
        return (
            words + f"A body of {length} is lit whole whichever way it lies, over {1e4 * row['every_way_m2']:.0f} cm²."
        )


@method
def coverage(
    lamps,
    area,
    z_m,
    *,
    wanted_w_m2,
    body_length_m,
    uv_wanted=None,
    step_m=None,
    level=0.95,
    n_draws=100,
    rng=0,
):
    """Map the light of lamps over a basking area and see whether a whole animal fits in.

    Parameters
    ----------
    lamps : Lamp or list of Lamp
        All burning.
    area : (x_low, x_high, y_low, y_high)
        Where the animal can lie (m); no part of it may stick out.
    z_m : float
        Height of its back (m).
    wanted_w_m2 : ChosenSunlight, (low, high) or (low, typical, high)
        Irradiance on the level, W/m².
    body_length_m : float
        What has to be lit at once: snout to vent, or more.
    uv_wanted : (low, high), optional
        UV index on the level.
    step_m : float, optional
        Of the map; None: a fortieth of the body.
    level : float
        Confidence level.
    n_draws : int
        Beams drawn from each fit for the limits.
    rng : int
        Seed.

    Returns
    -------
    Coverage

    Raises
    ------
    FieldkitError
        When length or area is not positive, or UV is asked for and not known.

    Examples
    --------
    >>> lamp = room.Lamp(id="spot", beam=room.Beam(intensity=60.0, half_angle_deg=12.0), x_m=0.3, y_m=0.2, height_m=0.4)
    >>> print(coverage(lamp, (0, 0.6, 0, 0.4), 0.05, wanted_w_m2=(350, 700), body_length_m=0.16).sentence)
    77 cm² hold 350 to 700 W/m² (limits 77 to 77), 10 cm wide at the widest. The spot is smaller than the animal: at
    most 64 % of its 16 cm are lit at once, so one part overheats while another stays cold.
    """
    wanted = wanted_range(wanted_w_m2)
    lamps = [lamps] if isinstance(lamps, room.Lamp) else list(lamps)
    if not 0.01 <= body_length_m <= 5:
        raise FieldkitError(f"body_length_m is {body_length_m}: give the animal's length in metres.")
    step = body_length_m / 40 if step_m is None else step_m
    left, right, near, far = (float(v) for v in area)
    count = (right - left) * (far - near) / step**2
    if count > 250_000:
        raise FieldkitError(f"A map of {count:,.0f} points is too fine: give a larger step_m.")
    x, y, points = room.grid(area, z_m, step_m=step)
    cell = ((x[1] - x[0]), (y[1] - y[0]))
    lines = _lines(body_length_m, cell)

    def maps(some):
        light = sum(lamp.irradiance_at(points) for lamp in some).reshape(len(y), len(x))
        uv = sum(lamp.uv_index_at(points) for lamp in some).reshape(len(y), len(x))
        return light, uv

    def demands(light, uv):
        inside = {"irradiance": (light >= wanted[0]) & (light <= wanted[2])}
        if uv_wanted is not None:
            inside["UV index"] = (uv >= uv_wanted[0]) & (uv <= uv_wanted[1])
            inside["both"] = inside["irradiance"] & inside["UV index"]
        return inside

    light, uv = maps(lamps)
    if uv_wanted is not None and np.isnan(uv).any():
        raise FieldkitError("The UV of a lamp is not known: give it uv_beam from readings of a UV index meter.")
    rows = {name: _measure(mask, lines, cell) for name, mask in demands(light, uv).items()}
    generator_ = generator(rng)
    beams = [
        (lamp.beam.sample(n_draws, rng=generator_), lamp.uv_beam and lamp.uv_beam.sample(n_draws, rng=generator_))
        for lamp in lamps
    ]
    drawn = {name: [] for name in rows}
    for i in range(n_draws):
        some = [lamp.with_beams(b[i], u and u[i]) for lamp, (b, u) in zip(lamps, beams)]
        for name, mask in demands(*maps(some)).items():
            drawn[name].append(_measure(mask, lines[:1], cell, quick=True))
    table = pd.DataFrame(rows).T
    for name in table.index:
        limits = pd.DataFrame(drawn[name]).quantile([0.5 - level / 2, 0.5 + level / 2])
        for column in ("lit", "width"):
            full = {"lit": "lit_m2", "width": "width_m"}[column]
            table.loc[name, [f"{column}_low", f"{column}_high"]] = limits[full].to_numpy()
    order = ["lit_m2", "lit_low", "lit_high", "width_m", "width_low", "width_high"]
    return Coverage(
        table=table[[*order, "one_way_m2", "every_way_m2", "body_lit_pct"]].rename_axis("demand"),
        area=tuple(float(v) for v in area),
        z_m=float(z_m),
        body_length_m=float(body_length_m),
        wanted_w_m2=wanted,
        uv_wanted=uv_wanted,
        x_m=x,
        y_m=y,
        irradiance=light,
        uv_index=uv,
        level=level,
        seed=rng,
    )


def _lines(length, cell, count=24):
    """A body of no width as sets of cells, lying in `count` directions over half a turn."""
    half = length / 2
    found = []
    for angle in np.arange(count) * np.pi / count:
        reach = np.linspace(-half, half, 2 * int(np.ceil(length / min(cell))) + 1)
        across = np.rint(reach * np.cos(angle) / cell[0]).astype(int)
        along = np.rint(reach * np.sin(angle) / cell[1]).astype(int)
        shape = np.zeros((2 * np.abs(along).max() + 1, 2 * np.abs(across).max() + 1), dtype=bool)
        shape[along + shape.shape[0] // 2, across + shape.shape[1] // 2] = True
        found.append(shape)
    return found


def _measure(mask, lines, cell, *, quick=False):
    """Area, widest circle, and room for a body within a mask."""
    from scipy import ndimage, signal

    each = cell[0] * cell[1]
    padded = np.pad(mask, 1)
    # The edge lies between the last lit middle and the next dark one.
    far = ndimage.distance_transform_edt(padded, sampling=cell[::-1]).max()
    row = {"lit_m2": mask.sum() * each, "width_m": max(2 * far - 0.5 * max(cell), 0.0) if mask.any() else 0.0}
    if quick:
        return row
    fits = [ndimage.binary_erosion(mask, structure=line) for line in lines]
    row["one_way_m2"] = np.logical_or.reduce(fits).sum() * each
    row["every_way_m2"] = np.logical_and.reduce(fits).sum() * each
    lit = mask.astype(float)
    shares = [signal.fftconvolve(lit, line / line.sum(), mode="same").max() for line in lines]
    row["body_lit_pct"] = 100 * min(max(shares), 1.0)
    return row
