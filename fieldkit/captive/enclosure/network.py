"""The thermal model of an enclosure: two halves of air, walls and floor, heated by lamps, cooled by room and vents.

Each half (left and right of the middle of its length) has one temperature of air, of walls and of floor; radiation
passes between surfaces through one mean radiant node a half. Simplest physics that answers "how much warmer does the
shade air get": layers of warm air under the lid, draughts of the room and things that cast shadows are not in it.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from scipy import constants

from fieldkit.captive.enclosure.air_flow import (
    exchange_flow_level,
    exchange_flow_upright,
    free_coefficient,
    stack_flow,
)
from fieldkit.captive.enclosure.materials import MATERIALS, Material
from fieldkit.captive.lamps import Beam
from fieldkit.core import FieldkitError, generator
from fieldkit.physics.atmosphere import air_pressure
from fieldkit.physics.heat.air import KELVIN, STANDARD_PRESSURE_PA

NODES = ("air left", "air right", "walls left", "walls right", "floor left", "floor right", "radiant left")
NODES += ("radiant right",)


# Share of a lamp's power that leaves it as radiation; the rest warms the air around it. Rules of thumb (common
# practice, no source), which is why `UNKNOWN` spreads them. Mats warm what they touch.
RADIANT_SHARE = {"heat": 0.82, "heat and uv": 0.75, "visible": 0.55, "uv": 0.55, "dark heater": 0.5, "heat mat": 0.0}
# What is not known about an enclosure, as one standard deviation; factors are relative. Common practice, no source,
# but for convection (correlations differ by some 15 %) and discharge (0.65 to 0.70 in handbooks, real vents worse).
UNKNOWN = {
    "radiant_share": 0.08,
    "ventilation": 0.4,
    "conduction": 0.2,
    "convection": 0.15,
    "open_share": 0.1,
    "beam": 0.05,
    "power_exponent": 0.1,
    "albedo": 0.08,
    "air_movement": 0.5,
    "contact": 0.4,
    "room_c": 0.5,
}
# Leaks of a closed box (air changes per hour) and air that moves in the room (m/s): common practice, no source.
LEAK_PER_H = 0.5
ROOM_DRAUGHT_M_S = 0.1
# Under the floor, downwards, still air of a room: surface resistance of ISO 6946 (m² K/W).
BELOW_M2_K_W = 0.17
FLOOR = Material(
    conductivity_w_m_k=0.13, heat_capacity_j_m3_k=500 * 1600.0, emissivity=0.92, transmits=0.0, thickness_m=0.018
)
# Sand, bark, stones and furniture, taken as a layer of dry soil on the floor (common practice, no source).
CONTENTS_M = 0.03
CONTENTS_J_M3_K = 1780 * 800.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Setup:
    """An enclosure as the model sees it; `changed` makes another one.

    Parameters
    ----------
    geometry : fieldkit.records.enclosure.reader.Geometry
    lamps : tuple of Lamp
        Those with a beam, and those without (`heat mat`) with ``beam`` of no matter.
    kinds : dict of str to str
        Kind of each lamp.
    room_c : float
        Air of the room (°C).
    controls : dict of str to (logger, set point °C, point of the sensor)
        Thermostats, by lamp.
    without_uv : frozenset of str
        Lamps known to give no UV.
    power_ratio : dict of str to float
        New over old power of lamps that were changed.
    assumed : tuple of str
        What the record does not say and was assumed.
    """

    geometry: object
    lamps: tuple
    kinds: dict
    room_c: float
    controls: dict = field(default_factory=dict)
    without_uv: frozenset = frozenset()
    power_ratio: dict = field(default_factory=dict)
    assumed: tuple = ()

    def changed(self, **given):
        return replace(self, **given)


def assumed_beam(power_w, kind):
    """Beam of a lamp of which no reading is given: its radiation spread over a cone of 35° half angle, give or take
    half of it."""
    exponent = np.log(0.5) / np.log(np.cos(np.radians(35.0)))
    flux = max(RADIANT_SHARE[kind], 0.01) * power_w
    return Beam(intensity=flux * (exponent + 1) / (2 * np.pi), half_angle_deg=35.0, calibration_error=0.5)


def draw(n, *, rng, unknown=None):
    """Samples of what is not known: n of each, the first at the central values."""
    rng = generator(rng)
    spread = UNKNOWN | (unknown or {})
    out = {}
    for name, sd in spread.items():
        z = rng.standard_normal(n)
        z[0] = 0.0
        additive = name in ("radiant_share", "open_share", "albedo", "room_c", "power_exponent")
        out[name] = sd * z if additive else np.exp(sd * z)
    return out


# --- where a lamp's radiation goes -----------------------------------------------------------------------------------


def _directions(count=600):
    """Unit vectors spread evenly over the sphere (a Fibonacci lattice)."""
    k = np.arange(count) + 0.5
    z = 1 - 2 * k / count
    angle = np.pi * (1 + 5**0.5) * k
    ring = np.sqrt(1 - z * z)
    return np.column_stack([ring * np.cos(angle), ring * np.sin(angle), z])


_RAYS = _directions()


def _hits(geometry, front):
    """Which surface each ray from a lamp meets first, going in through the lid when it hangs above.

    Returns indices 0 to 5 (left wall, right wall, front, back, floor, lid), −1 for none, the x of the spot, and
    whether the ray came through the lid.
    """
    size = np.array([geometry.length_m, geometry.width_m, geometry.height_m])
    start = np.clip(np.asarray(front, dtype=float), 1e-6, None)
    start[:2] = np.minimum(start[:2], size[:2] - 1e-6)
    above = start[2] >= size[2]
    origin = np.broadcast_to(start, _RAYS.shape).copy()
    alive = np.ones(len(_RAYS), dtype=bool)
    if above:
        down = _RAYS[:, 2] < -1e-9
        reach = np.where(down, (size[2] - start[2]) / np.where(down, _RAYS[:, 2], -1.0), 0.0)
        origin = start + reach[:, None] * _RAYS
        alive = down & np.all((origin[:, :2] >= 0) & (origin[:, :2] <= size[:2]), axis=1)
        origin[:, 2] = size[2] - 1e-9
    with np.errstate(divide="ignore", invalid="ignore"):
        far = np.where(_RAYS > 0, (size - origin) / _RAYS, -origin / _RAYS)
    far = np.where(np.abs(_RAYS) < 1e-12, np.inf, far)
    axis = np.argmin(far, axis=1)
    rows = np.arange(len(_RAYS))
    surface = 2 * axis + (_RAYS[rows, axis] > 0)
    spot = origin[:, 0] + far[rows, axis] * _RAYS[:, 0]
    return np.where(alive, surface, -1), spot, above


def _beam_flux(lamp):
    """W per ray of the beam, far from the lamp; their sum is the radiant flux of the beam."""
    angle = np.degrees(np.arccos(np.clip(_RAYS @ lamp.axis, -1, 1)))
    far = 1e3
    with np.errstate(divide="ignore"):
        intensity = np.where(angle < 90, lamp.beam.at(far, np.minimum(angle, 89.9)) * far**2, 0.0)
    return np.nan_to_num(intensity) * 4 * np.pi / len(_RAYS)


def beam_watts(lamp):
    """Radiant power of a lamp's beam (W), all directions together.

    Examples
    --------
    >>> from fieldkit.captive.lamps import Lamp
    >>> round(float(beam_watts(Lamp(id="a", beam=Beam(intensity=50.0, half_angle_deg=60.0)))))
    157
    """
    return _beam_flux(lamp).sum()


def surface_materials(geometry):
    """Material of walls, lid and floor."""
    wall = MATERIALS[geometry.walls]
    lid = MATERIALS[geometry.top or geometry.walls]
    return wall, lid


def lamp_loads(setup, unknown):
    """Heat each lamp gives each node while it burns.

    Returns
    -------
    dict of str to ndarray (n, 8)
        W; what is missing from the lamp's power goes to the room.
    """
    geometry = setup.geometry
    wall, lid = surface_materials(geometry)
    n = len(unknown["room_c"])
    loads = {}
    for lamp in setup.lamps:
        load = np.zeros((n, len(NODES)))
        kind, power = setup.kinds[lamp.id], lamp.power_w
        side = int(lamp.x_m > geometry.length_m / 2)
        if kind == "heat mat":
            load[:, 4 + side] = power
            loads[lamp.id] = load
            continue
        share = np.clip(RADIANT_SHARE[kind] + unknown["radiant_share"], 0.05, 0.95)
        surface, spot, above = _hits(geometry, lamp.front)
        beam = _beam_flux(lamp)
        flux = np.minimum(beam.sum() * unknown["beam"], share * power)
        rest = share * power - flux
        if not above:
            load[:, side] = (1 - share) * power
        for weights, watts in ((beam / max(beam.sum(), 1e-12), flux), (np.full(len(_RAYS), 1 / len(_RAYS)), rest)):
            for half, node_wall, node_floor in ((0, 2, 4), (1, 3, 5)):
                here = (spot > geometry.length_m / 2) == bool(half)
                floor = weights[here & (surface == 4)].sum()
                walls = weights[here & np.isin(surface, (0, 1, 2, 3))].sum()
                top = weights[here & (surface == 5)].sum()
                passed = _passes(lid, unknown) if above else 1.0
                load[:, node_floor] += watts * passed * floor
                load[:, node_wall] += (
                    watts * passed * (walls * (1 - _passes(wall, unknown)) + top * (1 - _passes(lid, unknown)))
                )
        loads[lamp.id] = load
    return loads


def _passes(material, unknown):
    """Share of light that leaves through a wall."""
    if material.open_share:
        return np.clip(material.open_share + unknown["open_share"], 0.2, 0.95)
    return material.transmits


# --- flows of heat ---------------------------------------------------------------------------------------------------


def ventilation(geometry, excess_k, room_k, unknown):
    """Air exchanged with the room (m³/s) at a mean excess of the air inside."""
    wall, lid = surface_materials(geometry)
    volume = geometry.length_m * geometry.width_m * geometry.height_m
    flow = LEAK_PER_H / 3600 * volume
    height = geometry.vent_height_m if geometry.vent_height_m is not None else geometry.height_m / 2
    vents = geometry.vent_area_m2
    floor = geometry.length_m * geometry.width_m
    upright = 2 * (geometry.length_m + geometry.width_m) * geometry.height_m
    # A fifth of what is open to a draught of the room takes part: 0.025 A u, a rule of thumb (common
    # practice, no source).
    draught = 0.025 * vents * ROOM_DRAUGHT_M_S
    if lid.open_share:
        gap = floor * np.clip(lid.open_share + unknown["open_share"], 0.2, 0.95)
        buoyant = exchange_flow_level(gap, excess_k, room_k)
        if vents > 0:
            buoyant = np.hypot(buoyant, stack_flow(vents, gap, geometry.height_m * 0.75, excess_k, room_k))
        draught = draught + 0.025 * gap * ROOM_DRAUGHT_M_S
    elif height > 0:
        buoyant = stack_flow(vents / 2, vents / 2, height, excess_k, room_k)
    else:
        side = np.sqrt(vents)
        buoyant = exchange_flow_upright(side, side, excess_k, room_k)
    if wall.open_share:
        gap = upright * np.clip(wall.open_share + unknown["open_share"], 0.2, 0.95)
        buoyant = buoyant + exchange_flow_upright(gap / geometry.height_m / 2, geometry.height_m, excess_k, room_k)
        draught = draught + 0.025 * gap * ROOM_DRAUGHT_M_S
    return flow + unknown["ventilation"] * (buoyant + draught)


class Network:
    """Conductances between nodes and to the room, for n samples at once."""

    def __init__(self, geometry, unknown):
        self.geometry, self.unknown = geometry, unknown
        wall, lid = surface_materials(geometry)
        half = geometry.length_m / 2
        sides = geometry.width_m * geometry.height_m + 2 * half * geometry.height_m
        top = half * geometry.width_m
        self.floor_m2 = top
        closed_wall, closed_lid = 1 - _open(wall, unknown), 1 - _open(lid, unknown)
        self.wall_m2 = sides * closed_wall + top * closed_lid
        self.open_m2 = sides * _open(wall, unknown) + top * _open(lid, unknown)
        thickness = geometry.wall_thickness_m
        wall_d = thickness if thickness and not wall.open_share else wall.thickness_m
        lid_d = thickness if thickness and geometry.top in (None, geometry.walls) else lid.thickness_m
        scale = unknown["conduction"]
        # Walls and lid share a node: their conductances in parallel.
        self.through = scale * (
            sides * closed_wall * wall.conductivity_w_m_k / wall_d + top * closed_lid * lid.conductivity_w_m_k / lid_d
        )
        self.emissivity = (wall.emissivity * sides + lid.emissivity * top) / (sides + top)
        self.below = scale * top / (CONTENTS_M / 2 / 0.29 + FLOOR.thickness_m / FLOOR.conductivity_w_m_k + BELOW_M2_K_W)
        self.volume = half * geometry.width_m * geometry.height_m
        # Thinner air higher up carries less heat: the same volume of air, less of it.
        self.pressure = air_pressure(geometry.elevation_m or 0.0)
        self.air_j_m3_k = 1.19 * 1006 * self.pressure / STANDARD_PRESSURE_PA
        self.middle_m2 = geometry.width_m * geometry.height_m
        # All of the contents, half of the walls: their outer half stays near the room.
        self.capacity = np.zeros(8)
        self.capacity[0:2] = self.volume * self.air_j_m3_k
        wall_store = 0.5 * (sides * wall.heat_capacity_j_m3_k * wall_d + top * lid.heat_capacity_j_m3_k * lid_d)
        self.capacity[2:4] = wall_store
        self.capacity[4:6] = top * (CONTENTS_J_M3_K * CONTENTS_M + FLOOR.heat_capacity_j_m3_k * FLOOR.thickness_m / 2)

    def build(self, node_k, room_k):
        """Matrix K and conductance to the room b with K T = load + b T_room, coefficients taken at `node_k`."""
        n = len(room_k)
        geometry, h_scale = self.geometry, self.unknown["convection"]
        matrix, room = np.zeros((n, 8, 8)), np.zeros((n, 8))

        def link(i, j, conductance):
            matrix[:, i, i] += conductance
            matrix[:, j, j] += conductance
            matrix[:, i, j] -= conductance
            matrix[:, j, i] -= conductance

        def to_room(i, conductance):
            matrix[:, i, i] += conductance
            room[:, i] += conductance

        air = node_k[:, :2]
        surfaces = node_k[:, 2:6]
        beside = np.concatenate([air, air], axis=1)
        lengths = np.array([geometry.height_m, geometry.height_m, geometry.width_m, geometry.width_m])
        inside = h_scale[:, None] * free_coefficient(surfaces - beside, (surfaces + beside) / 2, lengths, self.pressure)
        walls = node_k[:, 2:4]
        outer = h_scale[:, None] * free_coefficient(
            0.7 * (walls - room_k[:, None]), (walls + room_k[:, None]) / 2, geometry.height_m, self.pressure
        )
        outer = outer + 0.9 * 4 * constants.sigma * ((walls + room_k[:, None]) / 2) ** 3
        flow = ventilation(geometry, air.mean(axis=1) - room_k, room_k, self.unknown)
        carried = 0.5 * flow * self.air_j_m3_k
        mixing = self.unknown["ventilation"] * exchange_flow_upright(
            geometry.width_m, geometry.height_m, np.maximum(np.abs(air[:, 0] - air[:, 1]), 0.02), air.mean(axis=1)
        )
        link(0, 1, mixing * self.air_j_m3_k)
        for s in (0, 1):
            link(s, 2 + s, inside[:, s] * self.wall_m2)
            link(s, 4 + s, inside[:, 2 + s] * self.floor_m2)
            to_room(s, carried)
            series = self.through * outer[:, s] * self.wall_m2 / (self.through + outer[:, s] * self.wall_m2 + 1e-12)
            to_room(2 + s, series)
            to_room(4 + s, self.below)
            mean = node_k[:, 6 + s]
            for node, area, emissivity in ((2 + s, self.wall_m2, self.emissivity), (4 + s, self.floor_m2, 0.92)):
                strength = 4 * constants.sigma * ((mean + node_k[:, node]) / 2) ** 3 * emissivity
                link(node, 6 + s, strength * area)
            to_room(6 + s, 4 * constants.sigma * ((mean + room_k) / 2) ** 3 * self.open_m2)
        both = node_k[:, 6:8].mean(axis=1)
        link(6, 7, 4 * constants.sigma * both**3 * self.middle_m2)
        return matrix, room


def _open(material, unknown):
    return np.clip(material.open_share + unknown["open_share"], 0.2, 0.95) if material.open_share else 0.0


def steady(network, load, room_c, *, start_c=None):
    """Node temperatures (°C, (n, 8)) that stay as they are.

    Raises
    ------
    FieldkitError
        When no rest is found (loads that make no sense).
    """
    room_k = np.broadcast_to(np.asarray(room_c, dtype=float) + KELVIN, (len(load),)).copy()
    node_k = np.repeat(room_k[:, None], 8, axis=1) + 5.0 if start_c is None else start_c + KELVIN
    for _ in range(200):
        matrix, room = network.build(node_k, room_k)
        found = np.linalg.solve(matrix, (load + room * room_k[:, None])[:, :, None])[:, :, 0]
        step = found - node_k
        node_k = node_k + 0.6 * step
        if np.abs(step).max() < 1e-7:
            return found - KELVIN
    raise FieldkitError("The enclosure finds no steady temperature with these lamps and vents: check power and sizes.")


def march(network, loads, room_c, step_s, *, sensors=(), spin_up=0):
    """Node temperatures (°C, (times, 8)) through a series of loads, and how much of each controlled lamp is on.

    Parameters
    ----------
    network : Network
        Of one sample.
    loads : ndarray (times, lamps, 8)
        W of each lamp when it burns by its clock.
    room_c : ndarray (times,)
        Air of the room (°C).
    step_s : float
        Seconds from step to step.
    sensors : list of (lamp numbers, set point °C, side, radiation excess K per lamp)
        Thermostats; they hold their sensor within 1 K below the set point, as a dimming one does.
    spin_up : int
        First steps that are run before the series starts.

    Returns
    -------
    nodes : ndarray (times, 8)
    duty : ndarray (times, lamps)
    """
    count, lamps, _ = loads.shape
    nodes, duties = np.empty((count, 8)), np.ones((count, lamps))
    now = np.full((1, 8), room_c[0] + KELVIN)
    storage = network.capacity / step_s
    diagonal = np.arange(8)
    matrix = room = None
    for number, i in enumerate([*range(spin_up), *range(count)]):
        room_k = np.array([room_c[i] + KELVIN])
        switched = number == 0 or np.any(loads[i] != loads[i - 1])
        guess = now
        # Conductances hang on the temperatures: when a lamp is switched they are settled within the step, else they
        # change slowly and are worked out anew at every other step.
        for trial in range(8 if switched else 1):
            if switched or matrix is None or number % 2 == 0:
                matrix, room = network.build(guess, room_k)
                matrix[0, diagonal, diagonal] += storage
            still = room[0] * room_k[0] + storage * now[0]
            duty = np.ones(lamps)
            for which, set_point, side, excess in sensors:
                lit = [k for k in which if loads[i, k].any()]
                if lit:
                    # Within a step the air is linear in what the thermostat lets through.
                    duty[lit] = 0.0
                    right = np.stack([duty @ loads[i] + still, loads[i, lit].sum(axis=0)], axis=1)
                    off, gain = np.linalg.solve(matrix[0], right)[side]
                    others = sum(excess[k] for k in range(lamps) if k not in lit and loads[i, k].any())
                    gap = set_point + 0.5 - others - (off - KELVIN)
                    duty[lit] = np.clip(gap / (gain + sum(excess[k] for k in lit) + 1.0), 0.0, 1.0)
            found = np.linalg.solve(matrix[0], duty @ loads[i] + still)[None, :]
            if trial and np.abs(found - guess).max() < 0.02:
                break
            guess = found if trial == 0 or not switched else 0.5 * (guess + found)
        now = found
        nodes[i], duties[i] = now[0] - KELVIN, duty
    return nodes, duties
