"""Dangers and doubts of lamps and heaters: reach, fixing, thermostats, mats, nights without dark, warmed sensors."""

import numpy as np

from fieldkit.captive.audit import means as blocks
from fieldkit.captive.lamps import burns
from fieldkit.captive.targets import RESTING_CEILING_C

HOT_KINDS = ("heat", "heat and uv", "dark heater", "uv", "visible")
HEATERS = ("heat mat", "dark heater")
# Within this distance an unguarded lamp is called within reach (common practice, no source).
REACH_M = 0.30
# A surface logger this near to a heat mat reads it; an air sensor this near to a heater is warmed by it; air this much
# warmer than all other air asks for a reason; more hours of light than this leave no night, and a night within a degree
# of the day is not cooler (all our choice).
_ON_THE_MAT_M, _BESIDE_HEATER_M, _ODD_AIR_C, _NO_NIGHT_H, _NOT_COOLER_C = 0.15, 0.15, 10.0, 22.0, 1.0


def look(flag, record, means):
    """Look for every danger of lamps and heaters; `flag` takes name, kind, found, where and finding."""
    if not len(record.lamps):
        words = (
            "Nothing is known of what warms and lights it: state every lamp and heater, with guard, fixing and clock."
        )
        flag("no lamp or heater is stated", "doubtful", "yes", "", words)
        for name in ("lamp within reach and unguarded", "lamp not fixed", "heater without a thermostat"):
            flag(name, "unsafe", "not measured", "", "No lamp or heater is stated.")
        return _warmed_sensors(flag, record, means)
    _reach(flag, record)
    _fixing(flag, record)
    _thermostats(flag, record)
    _mats(flag, record)
    _set_points(flag, record)
    _no_night(flag, record, means)
    _warmed_sensors(flag, record, means)


def nearest_point(record, lamp):
    """The point that lies nearest to a lamp, and its distance (m); ("", infinity) where there is none."""
    points = record.points
    if not len(points):
        return "", np.inf
    away = np.sqrt(
        (points["x_m"] - lamp.x_m) ** 2 + (points["y_m"] - lamp.y_m) ** 2 + (points["z_m"] - lamp.height_m) ** 2
    )
    return points.loc[away.idxmin(), "point_id"], float(away.min())


def _reach(flag, record):
    """An unguarded lamp that an animal gets to: by what is stated, and by the points that are nearer than that."""
    near, unknown = {}, []
    for lamp in record.lamps[record.lamps["kind"].isin(HOT_KINDS)].itertuples(index=False):
        if lamp.guarded is True:
            continue
        stated, (point, away) = lamp.distance_to_nearest_reach_m, nearest_point(record, lamp)
        how = f"{100 * stated:.0f} cm from the nearest spot the animal can climb to" if stated < REACH_M else ""
        if away < REACH_M and not stated <= away:
            how = f"{100 * away:.0f} cm from {point}"
            how += f", while distance_to_nearest_reach_m says {stated:g} m" if np.isfinite(stated) else ""
        if how and lamp.guarded is False:
            near[lamp.id] = f"{lamp.id}: unguarded, {how}"
        elif lamp.guarded is None or not np.isfinite(stated):
            unknown.append(lamp.id)
    name, words = "lamp within reach and unguarded", "State guarded and distance_to_nearest_reach_m."
    if near:
        flag(name, "unsafe", "yes", ", ".join(near), "; ".join(near.values()) + ".")
    else:
        flag(name, "unsafe", "not measured" if unknown else "no", ", ".join(unknown), words if unknown else "")


def _fixing(flag, record):
    hot = record.lamps[record.lamps["kind"].isin(HOT_KINDS)]
    loose = [lamp.id for lamp in hot.itertuples() if lamp.fixed is False]
    unsaid = [lamp.id for lamp in hot.itertuples() if lamp.fixed is None]
    words = "It can fall if its clamp lets go: burns and fire." if loose else ""
    found = "yes" if loose else "not measured" if unsaid else "no"
    flag("lamp not fixed", "unsafe", found, ", ".join(loose or unsaid), words)


def _thermostats(flag, record):
    heaters = record.lamps[record.lamps["kind"].isin(HEATERS) & record.lamps["controlled_by"].isna()]
    words = "No thermostat is stated for it: a heater without one can run away." if len(heaters) else ""
    flag("heater without a thermostat", "unsafe", "yes" if len(heaters) else "no", ", ".join(heaters["id"]), words)


def _mats(flag, record):
    """Heat mats: an animal lies on them for hours, so each has to be read, and its thermostat set below the limit."""
    mats = record.lamps[record.lamps["kind"] == "heat mat"]
    if not len(mats):
        return
    read = record.logger_info[record.logger_info["role"] == "surface"]["point_id"]
    points = record.points[record.points["point_id"].isin(read)]
    blind = [
        m.id
        for m in mats.itertuples()
        if not (np.hypot(points["x_m"] - m.x_m, points["y_m"] - m.y_m) < _ON_THE_MAT_M).any()
    ]
    words = f"An animal lies on a mat for hours: read its surface, which must stay below {RESTING_CEILING_C:g} °C."
    flag("heat mat that nothing reads", "unsafe", "not measured" if blind else "no", ", ".join(blind), words)
    hot = mats[mats["set_point_c"] > RESTING_CEILING_C]
    words = (
        f"Set above {RESTING_CEILING_C:g} °C, where human skin burns in eight hours (ISO 13732-1)." if len(hot) else ""
    )
    flag("heat mat set too hot", "unsafe", "yes" if len(hot) else "no", ", ".join(hot["id"]), words)


def _set_points(flag, record):
    """Thermostats set to what burns in hours: on air it kills before that."""
    hot = record.lamps[(record.lamps["kind"] != "heat mat") & (record.lamps["set_point_c"] > RESTING_CEILING_C)]
    words = f"Set above {RESTING_CEILING_C:g} °C, and a thermostat holds that for hours." if len(hot) else ""
    flag("thermostat set too hot", "unsafe", "yes" if len(hot) else "no", ", ".join(hot["id"]), words)


def hours_of_light(record, means):
    """Hours a day in which it is light: (by the clocks of the lamps, as the brightest meter saw); NaN: not known."""
    timed, clock = blocks.timed_lamps(record.lamps), np.arange(0, 24, 1 / 60)
    stated = np.any([burns(clock, r.on, r.off) for r in timed.itertuples(index=False)], axis=0) if len(timed) else None
    seen = []
    for logger in means.loggers.index[means.loggers["role"].isin(("irradiance", "uv_index"))]:
        rows = means.of(logger)
        if len(rows) >= 24 and (top := rows["value"].quantile(0.95)) > 3 * means.loggers["error"][logger]:
            lit = (rows["value"] > 0.2 * top).groupby(rows["hour"]).mean()
            seen.append(float(lit.sum()) if len(lit) == 24 else np.nan)
    return np.nan if stated is None else 24 * float(stated.mean()), max(seen, default=np.nan)


def _no_night(flag, record, means):
    """Light around the clock: animals need the dark, and most of them a cooler night."""
    shining = record.lamps[record.lamps["kind"].isin(blocks.LIGHT_KINDS)]
    clock, meter = hours_of_light(record, means)
    always = shining[shining["on"].isna() & shining["controlled_by"].isna()]
    if clock > _NO_NIGHT_H or meter > _NO_NIGHT_H:
        how = f"A meter saw light in {meter:.0f} of 24 hours" if meter > _NO_NIGHT_H else "By their clocks lamps burn"
        words = f"{how}{'' if meter > _NO_NIGHT_H else f' {clock:.0f} of 24 hours'}, so there is no dark."
        names = ", ".join(always["id"] if len(always) else shining["id"])
        return flag("no dark at night", "doubtful", "yes", names, f"{words}{_not_cooler(means)}")
    blind = len(always) and not np.isfinite(meter)
    words = "No clock is stated for it and no meter says when it burns: state on and off." if blind else ""
    return flag("no dark at night", "doubtful", "not measured" if blind else "no", ", ".join(always["id"]), words)


def _not_cooler(means):
    """Words about air that is as warm by night as by day."""
    table, airs = means.table, means.loggers.index[means.loggers["role"] == "shade_air"]
    late = table["hour"].isin((0, 1, 2, 3, 4)) & table["logger"].isin(airs)
    noon = table["hour"].isin((11, 12, 13, 14, 15)) & table["logger"].isin(airs)
    if not late.any() or not noon.any():
        return ""
    drop = float(table["value"][noon].median() - table["value"][late].median())
    return f" Nor does the air cool: it falls by {drop:.1f} °C at night." if drop < _NOT_COOLER_C else ""


def _warmed_sensors(flag, record, means):
    """Air sensors that stand on a heater or beside one, or read far warmer air than all others."""
    airs = means.loggers[means.loggers["role"] == "shade_air"]
    middle = {i: float(rows["value"].median()) for i in airs.index if len(rows := means.of(i))}
    points, heaters = record.points.set_index("point_id"), record.lamps[record.lamps["kind"].isin(HEATERS)]
    sure, unsure = {}, {}
    for i, value in middle.items():
        name, point = airs["logger_id"][i], airs["point_id"][i]
        others = [v for k, v in middle.items() if k != i]
        warmer = value - max(others) if others else np.nan
        beside = [
            h.id
            for h in heaters.itertuples()
            if point in points.index
            and np.hypot(points["x_m"][point] - h.x_m, points["y_m"][point] - h.y_m) < _BESIDE_HEATER_M
            and abs(points["z_m"][point] - h.height_m) < _BESIDE_HEATER_M
        ]
        where = f"{name} stands on or beside {' and '.join(beside)}" if beside else name
        much = f" and reads {warmer:.1f} °C warmer than all other air" if warmer > 0 else ""
        if beside and warmer > 2 * airs["error"][i]:
            sure[name] = f"{where}{much}"
        elif beside or warmer > _ODD_AIR_C:
            unsure[name] = f"{where}{much}"
    found, told = (
        ("yes", sure) if sure else ("cannot tell", unsure) if unsure else ("no" if middle else "not measured", {})
    )
    words = (
        "; ".join(told.values()) + ": what it reads may be the heat of its neighbour and not the air." if told else ""
    )
    flag("air sensor warmed by a heater", "doubtful", found, ", ".join(told), words)
