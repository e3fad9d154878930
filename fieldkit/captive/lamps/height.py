"""How high to hang a lamp: where strength, UV, surface and reach are all right, or what forbids it."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from fieldkit.captive import lamps as room
from fieldkit.captive.lamps.matching import wanted_range
from fieldkit.captive.targets.standards import RESTING_CEILING_C
from fieldkit.core import FieldkitError, Result, method
from fieldkit.physics import heat
from fieldkit.physics.atmosphere import air_pressure
from fieldkit.physics.heat import ground

# Nothing within reach gets more than strong sun: ASTM G173-03 holds 1000 W/m².
STRONG_SUN_W_M2 = 1000.0

_NEARER = {
    "irradiance": "the back gets more than is wanted",
    "UV index": "UV is above the wanted range",
    "surface": "the surface gets too hot",
    "reach": "something within reach gets more than strong sun",
    "room": "the lamp's front would stand where it must not",
}
_FARTHER = {
    "irradiance": "the back gets less than is wanted",
    "UV index": "UV is below the wanted range",
    "surface": "the surface stays too cool",
    "room": "there is no more height",
}


def surface_under(
    irradiance_w_m2, *, air_temperature_c, substrate="rock", size_m=0.15, wind_speed_m_s=0.05, elevation_m=0.0
):
    """How hot a surface under a lamp gets when it burns for hours.

    Parameters
    ----------
    irradiance_w_m2 : float, array, Series or DataArray
        On the surface (W/m²).
    air_temperature_c : float or same kind
        Shade air beside it (°C).
    substrate : Substrate or str
        See `ground.SUBSTRATES`.
    size_m : float
        Of the stone or branch (m).
    wind_speed_m_s : float
        Air movement (m/s); indoors 0.05 to 0.2 (common practice, no source).
    elevation_m : float
        Height above the sea (m): thinner air cools less (`atmosphere.air_pressure`, ISO 2533).

    Returns
    -------
    same kind
        °C: the heat balance of a dry plate that gives no heat downwards and sees walls as warm as the air. An upper
        limit for what lies on cool ground; a real surface is measured with an infrared thermometer or a probe in it.

    Examples
    --------
    >>> [round(surface_under(w, air_temperature_c=28.0)) for w in (0.0, 300.0, 600.0)]
    [28, 45, 58]
    """
    if isinstance(substrate, str):
        if substrate not in ground.SUBSTRATES:
            raise FieldkitError(f"No substrate {substrate!r}: choose from {', '.join(ground.SUBSTRATES)}.")
        substrate = ground.SUBSTRATES[substrate]
    plate = heat.Body(
        characteristic_dimension_m=size_m,
        shape="upper face",
        shortwave_absorptivity=1.0 - substrate.albedo,
        emissivity=substrate.emissivity,
        sky_view_factor=1.0,
        ground_view_factor=0.0,
    )
    # Every ray that falls on the upper face: diffuse light on a plate that sees nothing but the sky.
    return heat.operative_temperature(
        air_temperature_c=air_temperature_c,
        wind_speed_m_s=wind_speed_m_s,
        dhi_w_m2=irradiance_w_m2,
        body=plate,
        pressure_pa=air_pressure(elevation_m),
    )


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class LampHeight(Result):
    """Distances between the lamp's front and the animal's back that meet every demand.

    Attributes
    ----------
    table : DataFrame
        One row per demand: ``low, high, unit``, ``nearest_m, farthest_m`` (surely met between these, at the stated
        level) and ``nearest_guess_m, farthest_guess_m`` (by the best values, without uncertainty). An infinite nearest:
        never met; NaN: no such limit.
    verdict : {"found", "unsure", "none"}
        Unsure: the best values allow a distance, their uncertainty does not.
    nearest_m, farthest_m : float
        Of the answer: surely met when found, by the best values when unsure, NaN when none.
    binds_near, binds_far : str
        The demands that forbid to go nearer and farther.
    conditions : DataFrame
        Conditions at the ends of the answer and in its middle: ``irradiance_w_m2, uv_index, surface_c, reach_w_m2``
        (values), and ``operative_c`` if a body was given.
    curves : DataFrame
        By distance: each quantity with ``_low`` and ``_high``.
    lamp : Lamp
        Hung in the middle of the answer; as given when there is none.
    level : float
    """

    table: pd.DataFrame
    verdict: str
    nearest_m: float
    farthest_m: float
    binds_near: str
    binds_far: str
    conditions: pd.DataFrame
    curves: pd.DataFrame
    lamp: room.Lamp
    level: float

    @property
    def not_asked(self):
        """Demands that were not made, so that no height was held against them."""
        return tuple(name for name in ("UV index", "surface") if name not in self.table.index)

    @property
    def advice(self):
        """What to change when no height does."""
        pair = (self.binds_near, self.binds_far)
        if self.verdict == "unsure":
            return "Take more readings near that distance, or a better meter, and fit the beam again."
        if self.verdict == "found":
            return f"Begin at {self.farthest_m:.2f} m, measure there, and go nearer in small steps."
        if pair[1] == "UV index":
            return "This lamp gives too little UV for its warmth: take UV from a lamp of its own."
        if pair == ("UV index", "irradiance"):
            return "This lamp gives too much UV for its warmth: take warmth from a lamp of its own."
        if pair == ("surface", "irradiance"):
            return (
                "So much radiation heats this surface too far in this air: cooler air, a paler surface, or a shorter "
                "time; or a smaller wanted irradiance."
            )
        if pair[0] == "room" or pair[1] == "room":
            return (
                "Another strength of lamp: a weaker one where it may not come nearer; where it cannot, a stronger one, "
                "if its fitting is rated for the watts (read them on the fitting)."
            )
        return "Another lamp: its strength or the width of its beam does not suit these demands."

    @property
    def sentence(self):
        if self.verdict == "none":
            far, near = self.table.loc[self.binds_far], self.table.loc[self.binds_near]
            return (
                f"No height does. {_needs(self.binds_far, far['farthest_guess_m'], 'nearer')}; "
                f"{_lower(_needs(self.binds_near, near['nearest_guess_m'], 'farther'))}. {self.advice}"
            )
        span = f"{self.nearest_m:.2f} to {self.farthest_m:.2f} m"
        ends = f"nearer, {_NEARER[self.binds_near]}; farther, {_FARTHER[self.binds_far]}"
        if self.verdict == "unsure":
            return (
                f"By the best values {span} between lamp and back would do, but the readings are too unsure to promise "
                f"it ({100 * self.level:g} % limits). {ends[0].upper()}{ends[1:]}. {self.advice}"
            )
        blind = f" Not asked: {', '.join(self.not_asked)}." if self.not_asked else ""
        return f"{span} between the lamp's front and the animal's back: {ends}. {self.advice}{blind}"


def _lower(words):
    return words[0].lower() + words[1:]


def _needs(name, distance, way):
    words = {
        "irradiance": "The wanted irradiance",
        "UV index": "The wanted UV",
        "surface": "The surface",
        "reach": "What is within reach",
        "room": "The enclosure",
    }[name]
    if not np.isfinite(distance) or distance <= 0:
        return f"{words} is right at no distance"
    return f"{words} needs {distance:.2f} m or {way}"


@method
def find_height(
    lamp,
    place,
    *,
    wanted_w_m2,
    air_temperature_c,
    uv_wanted=None,
    surface_range_c=(None, RESTING_CEILING_C),
    substrate="rock",
    size_m=0.15,
    wind_speed_m_s=0.05,
    elevation_m=0.0,
    others=(),
    body=None,
    back_height_m=0.02,
    reach_m=0.0,
    most_w_m2=STRONG_SUN_W_M2,
    distance_range_m=(0.10, 1.50),
    level=0.95,
):
    """Find how far above an animal's back a lamp may hang.

    Parameters
    ----------
    lamp : Lamp
        It is moved along its own axis, so that the axis goes through the animal's back.
    place : (x_m, y_m, z_m)
        The surface on which the animal lies.
    wanted_w_m2 : ChosenSunlight, (low, high) or (low, typical, high)
        Irradiance on a level back (W/m²).
    air_temperature_c : float
        Shade air at the basking site (°C).
    uv_wanted : (low, high), optional
        UV index on a level back.
    surface_range_c : (low, high)
        Of the surface beside the animal (°C), either may be None. It is computed for a lamp that burns for hours, so
        the default limit is the burn threshold of human skin for eight hours of contact (43 °C; see
        `targets.contact_limit_c`), not that for ten minutes; take your own from the targets.
    substrate, size_m, wind_speed_m_s, elevation_m
        The surface, see `surface_under`.
    others : list of Lamp
        Lamps that stay where they are and add their light.
    body : Body, optional
        The animal, for its operative temperature in the answer.
    back_height_m : float
        Height of the back over the surface (m).
    reach_m : float
        How much nearer to the lamp than its basking back the animal can come, rearing or climbing (m).
    most_w_m2 : float
        Irradiance, square to the rays, that nothing within reach may exceed (W/m²): strong sun.
    distance_range_m : (low, high)
        Distances that are possible at all (m).
    level : float
        Confidence level of the limits of the beam.

    Returns
    -------
    LampHeight

    Raises
    ------
    FieldkitError
        When a range is upside down, the lamp shines upwards, or UV is asked for and not known.

    Notes
    -----
    Irradiance on the axis falls steadily with distance, and with it UV and the surface temperature, so each demand
    allows one unbroken span, and the answer is what all spans share. Uncertainty is that of the beams only.

    Examples
    --------
    >>> beam = room.Beam(intensity=60.0, near_m=0.05, half_angle_deg=25.0)
    >>> lamp = room.Lamp(id="heat", beam=beam)
    >>> print(find_height(lamp, (0.2, 0.2, 0.1), wanted_w_m2=(250, 450), air_temperature_c=27.0).sentence)
    0.39 to 0.44 m between the lamp's front and the animal's back: nearer, the surface gets too hot; farther, the back
    gets less than is wanted. Begin at 0.44 m, measure there, and go nearer in small steps. Not asked: UV
    index.
    """
    wanted = wanted_range(wanted_w_m2)
    low_m, high_m = (float(v) for v in distance_range_m)
    if not 0 < low_m < high_m:
        raise FieldkitError("distance_range_m is (low, high) in metres, above 0 and the lower first.")
    down = -lamp.axis[2]
    if down <= 0.2:
        raise FieldkitError(f"Lamp '{lamp.id}' does not shine downwards: give it an aim below it.")
    for name, pair in (("uv_wanted", uv_wanted), ("surface_range_c", surface_range_c)):
        if pair is not None and None not in pair and not pair[0] < pair[1]:
            raise FieldkitError(f"{name} {tuple(pair)} is upside down: give the lower limit first.")
    back = np.asarray(place, dtype=float) + np.array([0.0, 0.0, back_height_m])
    distance = np.geomspace(low_m, high_m, 601)

    def light(away, point, facing, quantity="irradiance_w_m2"):
        return room.add(
            [_on_axis(lamp, away, facing, quantity)]
            + [_constant(other, point, facing, quantity, len(away)) for other in others],
            level,
        )

    def surface(irradiance):
        return surface_under(
            irradiance,
            air_temperature_c=air_temperature_c,
            substrate=substrate,
            size_m=size_m,
            wind_speed_m_s=wind_speed_m_s,
            elevation_m=elevation_m,
        )

    curves = {
        "irradiance": light(distance, back, "level"),
        "UV index": light(distance, back, "level", "uv_index"),
        "surface": tuple(surface(part) for part in light(distance + back_height_m / down, np.asarray(place), "level")),
        # A head that would touch the lamp counts as out of bounds.
        "reach": tuple(
            np.where(distance > reach_m + 0.01, part, np.inf)
            for part in light(np.maximum(distance - reach_m, 0.01), back, "lamp")
        ),
    }
    if uv_wanted is not None and np.isnan(curves["UV index"][0]).any():
        raise FieldkitError("UV is asked for, but a lamp's UV is not known: read it with a UV index meter (uv_beam).")
    surroundings = {"air_temperature_c": air_temperature_c, "wind_speed_m_s": wind_speed_m_s}
    surroundings["pressure_pa"] = air_pressure(elevation_m)
    demands = {"irradiance": (wanted[0], wanted[2], "W/m²")}
    if uv_wanted is not None:
        demands["UV index"] = (*uv_wanted, "UV index")
    if surface_range_c is not None:
        demands["surface"] = (*surface_range_c, "°C")
    demands["reach"] = (None, most_w_m2, "W/m²")
    # The ends of the room first: where two demands end together, the room is named.
    room_ends = {"low": low_m, "high": high_m, "unit": "m"}
    room_ends |= dict.fromkeys(("nearest_m", "nearest_guess_m"), low_m)
    room_ends |= dict.fromkeys(("farthest_m", "farthest_guess_m"), high_m)
    rows = {"room": room_ends}
    rows |= {name: _span(distance, curves[name], *limits) for name, limits in demands.items()}
    table = pd.DataFrame(rows).T.rename_axis("demand")
    numbers = table.columns.drop("unit")
    table[numbers] = table[numbers].astype(float)

    verdict, nearest, farthest, binds = _common(table, "_m")
    if verdict == "none":
        verdict, nearest, farthest, binds = _common(table, "_guess_m")
        verdict = "none" if verdict == "none" else "unsure"
    chosen = lamp if verdict == "none" else _hung(lamp, back, (nearest + farthest) / 2)
    return LampHeight(
        table=table,
        verdict=verdict,
        nearest_m=float(nearest),
        farthest_m=float(farthest),
        binds_near=binds[0],
        binds_far=binds[1],
        conditions=_conditions(distance, curves, nearest, farthest, body, surroundings, light, back),
        curves=_framed(distance, curves),
        lamp=chosen,
        level=level,
    )


def _common(table, suffix):
    """What all spans share, and the demands that end it."""
    near, far = table[f"nearest{suffix}"], table[f"farthest{suffix}"]
    binds = near.idxmax(), far.idxmin()
    if near.max() <= far.min():
        return "found", near.max(), far.min(), binds
    return "none", np.nan, np.nan, binds


def _on_axis(lamp, away, facing, quantity):
    beam, factor = lamp.beam, 1.0
    if quantity == "uv_index":
        beam, factor = (lamp.uv_beam, 1.0) if lamp.uv_beam is not None else (lamp.beam, lamp.uv_index_per_w_m2())
    down = -lamp.axis[2]
    value, error = beam.value_and_error(away, np.zeros(len(away)), (away * down, down) if facing == "level" else None)
    return value * factor, error, beam


def _constant(lamp, point, facing, quantity, count):
    value, error, beam = lamp.field_and_error(np.atleast_2d(point), facing, quantity)
    return np.full(count, value[0]), np.full(count, error[0]), beam


def _hung(lamp, back, away):
    front = back - lamp.axis * away
    moved = replace(lamp, x_m=float(front[0]), y_m=float(front[1]), height_m=float(front[2]), aim=None)
    return moved if lamp.aim is None else replace(moved, aim=tuple(float(v) for v in back))


def _span(distance, curve, low, high, unit):
    """Nearest and farthest distance at which a falling curve lies within limits, surely and by its best value."""
    value, least, most = curve
    row = {"low": np.nan if low is None else low, "high": np.nan if high is None else high, "unit": unit}
    for suffix, upper, lower in (("_m", most, least), ("_guess_m", value, value)):
        row[f"nearest{suffix}"] = distance[0] if high is None else _crossing(distance, upper, high)
        row[f"farthest{suffix}"] = distance[-1] if low is None else -_crossing(-distance[::-1], -lower[::-1], -low)
    return row


def _crossing(distance, curve, limit):
    """Least distance at which a falling curve is no more above the limit; infinite when it always is."""
    inside = np.flatnonzero(curve <= limit)
    if not len(inside):
        return np.inf
    first = inside[0]
    if first == 0 or not np.isfinite(curve[first - 1]):
        return distance[first]
    share = (curve[first - 1] - limit) / (curve[first - 1] - curve[first])
    return distance[first - 1] + share * (distance[first] - distance[first - 1])


def _framed(distance, curves):
    names = {"irradiance": "irradiance_w_m2", "UV index": "uv_index", "surface": "surface_c", "reach": "reach_w_m2"}
    columns = {}
    for name, parts in curves.items():
        for suffix, part in zip(("", "_low", "_high"), parts):
            columns[names[name] + suffix] = part
    return pd.DataFrame(columns, index=pd.Index(distance, name="distance_m"))


def _conditions(distance, curves, nearest, farthest, body, surroundings, light, back):
    if np.isnan(nearest):
        return pd.DataFrame(columns=["irradiance_w_m2", "uv_index", "surface_c", "reach_w_m2"])
    frame = _framed(distance, curves)[["irradiance_w_m2", "uv_index", "surface_c", "reach_w_m2"]]
    places = np.array([nearest, (nearest + farthest) / 2, farthest])
    table = pd.DataFrame(
        {name: np.interp(places, distance, frame[name]) for name in frame},
        index=pd.Index(["nearest", "middle", "farthest"], name="where"),
    )
    table.insert(0, "distance_m", places)
    if body is not None:
        table["operative_c"] = heat.operative_temperature(
            **surroundings,
            dni_w_m2=light(places, back, "lamp")[0],
            ground_temperature_c=table["surface_c"].to_numpy(),
            body=body,
        )
    return table
