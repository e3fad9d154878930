"""Operative temperature where no copper model stands: the heat balance of the field on what was read there."""

from dataclasses import replace

import numpy as np
import pandas as pd

from fieldkit.captive.enclosure.network import draw
from fieldkit.captive.enclosure.points import operative
from fieldkit.core import generator

NAME = "predicted from readings"
# Readings this far apart in time (s) belong together: our choice.
TOGETHER_S = 1800
# Standard errors of what no reading tells (our choice): air read at another point of the same half; walls and lid
# against the air; the share of light the skin takes up, stated or not.
ELSEWHERE_C, RADIANT_C, ABSORPTIVITY = 1.0, 2.0, (0.03, 0.08)
# Middle of 0.65 to 0.94, Norris (1967, from a secondary source), and of 0.77 to 0.88, Christian, Bedford & Shannahan
# (1996).
ASSUMED_ABSORPTIVITY = 0.82
_DRAWS = 200


def extend(record, means, left_out):
    """Add a computed operative temperature to each point that has air, surface and light but no copper model.

    Parameters
    ----------
    record : EnclosureRecord
        Its points and animal, whose length and mass must be stated.
    means : Blocks
        Its readings.
    left_out : set of str
        Loggers whose air is not believed.

    Returns
    -------
    means : Blocks
        With a logger more for each such point: role copper_model, its error that of readings, skin, air movement and
        walls together.
    notes : list of str

    Notes
    -----
    As `enclosure_conditions.operative`: Campbell & Norman (1998) ch. 12 with the animal as a body on its substrate, the
    light coming along the lamp's axis, the walls as warm as the air. Light is taken as none where a point is stated to
    be in shade and no meter stands.
    """
    animal = record.animal
    info = means.loggers
    zones = set(info.loc[info["role"] == "copper_model", "zone"])
    if animal is None or not animal.length_m or not animal.mass_g or not len(means.table):
        return means, []
    assumed = animal.shortwave_absorptivity is None
    body = replace(animal, shortwave_absorptivity=ASSUMED_ABSORPTIVITY) if assumed else animal
    where = {"elevation_m": record.geometry.elevation_m or 0.0}
    rows, loggers, said = [], [], []
    for point in record.points.itertuples(index=False):
        if point.zone in zones:
            continue
        read = _together(record, means, point, left_out)
        if read is None:
            continue
        one = {"air_movement": np.ones(len(read["air"]))}
        air = _up(read["air"])
        te = operative(body, _up(read["beam"]), air, air, _up(read["surface"]), one, **where)[:, 0]
        error = _error(body, read, te, ABSORPTIVITY[int(assumed)], where)
        number = len(info) + len(loggers)
        rows.append(read["when"].assign(logger=number, value=te)[means.table.columns])
        loggers.append(
            {
                **{"logger_id": f"{NAME}, {point.point_id}", "point_id": point.point_id, "zone": point.zone},
                **{"role": "copper_model", "error": error, "error_stated": True},
            }
        )
        said.append(f"{point.point_id} (±{error:.1f} °C)")
    if not rows:
        return means, []
    more = pd.DataFrame(loggers).reindex(columns=info.columns)
    notes = [
        f"Operative temperature {NAME} of air, surface and light, as no copper model stands there: {', '.join(said)}."
    ]
    if assumed:
        notes.append(f"shortwave_absorptivity of the animal is not stated: {ASSUMED_ABSORPTIVITY} was assumed.")
    table = pd.concat([means.table, *rows], ignore_index=True)
    table["day"] = table["day"].astype(bool)
    return replace(means, table=table, loggers=pd.concat([info, more], ignore_index=True)), notes


def _up(values):
    return np.asarray(values, dtype=float)[:, None]


def _together(record, means, point, left_out):
    """Air, surface and light of one point at the same times, and their errors; None when one of them is missing."""
    half = record.geometry.length_m / 2
    side = dict(zip(record.points["point_id"], record.points["x_m"] > half))
    found, errors = {}, {}
    for name, role in (("surface", "surface"), ("beam", "irradiance"), ("air", "shade_air")):
        info = means.loggers[(means.loggers["role"] == role) & ~means.loggers["logger_id"].isin(left_out)]
        here = info[info["point_id"] == point.point_id]
        extra = 0.0
        if not len(here) and role == "shade_air":
            here = info[info["point_id"].map(side) == side[point.point_id]]
            here, extra = (
                (here[here["zone"] == point.zone] if (here["zone"] == point.zone).any() else here),
                ELSEWHERE_C,
            )
        counts = {i: len(means.of(i)) for i in here.index}
        best = max(counts, key=counts.get, default=None)
        if best is not None and counts[best]:
            found[name] = means.of(best).sort_values("moment")
            errors[name] = float(np.hypot(info["error"][best], extra))
        elif name == "beam" and point.shade is True:
            errors["beam"] = 0.0
        else:
            return None
    base = found["surface"].rename(columns={"value": "surface"})
    for name in ("beam", "air"):
        if name in found:
            other = found[name][["moment", "value"]].rename(columns={"value": name})
            base = pd.merge_asof(base, other, on="moment", direction="nearest", tolerance=TOGETHER_S)
        else:
            base[name] = 0.0
    base = base.dropna(subset=["surface", "beam", "air"])
    if not len(base):
        return None
    return {name: base[name].to_numpy() for name in ("surface", "beam", "air")} | {"errors": errors, "when": base}


def _error(body, read, te, skin, where):
    """Standard error of one prediction: the larger of those at a typical and at a hot moment."""
    rng = generator(0)
    spread = draw(_DRAWS, rng=rng)
    errors = []
    for level in (0.5, 0.95):
        k = int(np.argmin(np.abs(te - np.quantile(te, level))))
        noise = {n: read["errors"][n] * rng.standard_normal(_DRAWS) for n in ("surface", "beam", "air")}
        air = read["air"][k] + noise["air"]
        absorbs = np.clip(body.shortwave_absorptivity + skin * rng.standard_normal(_DRAWS), 0.3, 1.0)
        # The light enters by what the skin takes up of it, so an error of the skin is one of the light.
        beam = np.clip(read["beam"][k] + noise["beam"], 0.0, None) * absorbs / body.shortwave_absorptivity
        radiant = air + RADIANT_C * rng.standard_normal(_DRAWS)
        surface = read["surface"][k] + noise["surface"]
        moved = {"air_movement": spread["air_movement"]}
        got = operative(body, _up(beam), _up(air), _up(radiant), _up(surface), moved, **where)
        errors.append(float(got.std()))
    return max(errors)
