"""Setups that are unsafe or cannot work, looked for in what was stated and read; gradients; sensors in the beam."""

from dataclasses import replace

import numpy as np
import pandas as pd

from fieldkit.captive.audit import flags_of_lamps as of_lamps
from fieldkit.captive.audit import means as blocks
from fieldkit.captive.audit.means import amount, short
from fieldkit.captive.audit.status import OUTSIDE, Status
from fieldkit.captive.enclosure import placing as enclosure_placement
from fieldkit.captive.enclosure.placing import NOTABLE_W_M2
from fieldkit.captive.targets import FULL_SHADE, FULL_SUN, Kind, contact_limit_c, impossible, resting

OTHER_SPECIES = "targets of another species"
# Days of a long log that are looked at for what a lamp does to a sensor: our choice, for speed.
MOST_DAYS = 60
# Highest shade air ever read outdoors (°C): Furnace Creek, 10 July 1913 (World Meteorological Organization).
HOTTEST_AIR_C = 56.7
# A room this much warmer than the air that is allowed is too warm; of light falling on a sensor that holds its own
# reading steady, this many times what warms a bare probe by a degree puts it in the beam; a sensor's reading by day and
# by night differs by no more error than this (all our choice).
WARMER_ROOM_C, STRONG_BEAM, SAME_LOGGER_C = 1.0, 4, 0.5


def sensors_in_beam(record, means):
    """Say which shade air and thermostat sensors stand in a lamp's light.

    Parameters
    ----------
    record : EnclosureRecord
        The enclosure.
    means : Blocks
        Its readings.

    Returns
    -------
    Series
        By logger_id: "yes" (light falls on it and it jumps when the lamp is switched; or strong light falls on the
        sensor of a thermostat, which holds its own reading steady), "cannot tell" (one of the two) or "no".
    """
    info = means.loggers
    airs = info.loc[info["role"].isin(("shade_air", "thermostat")), "logger_id"].tolist()
    if not airs or not len(record.lamps):
        return pd.Series(dict.fromkeys(airs, "no"), dtype=object)
    table = enclosure_placement.placement(_some_days(record, means)).table
    found = {}
    for name in airs:
        row = table.loc[name]
        lit, jumps = row["beam_w_m2"] > NOTABLE_W_M2, row["verdict"] == "in the beam" and row["switchings"] > 0
        controls = (record.lamps["controlled_by"] == name).any()
        if lit and (jumps or (controls and row["beam_w_m2"] > STRONG_BEAM * NOTABLE_W_M2)):
            found[name] = "yes"
        else:
            found[name] = "cannot tell" if lit or jumps else "no"
    return pd.Series(found, dtype=object)


def _some_days(record, means):
    """The enclosure with ten-minute means of some days only: enough to see lamps switched."""
    days = np.unique(means.table["date"])
    rows = means.table[means.table["date"].isin(days[:: max(len(days) // MOST_DAYS, 1)])]
    middle = rows["moment"].to_numpy() + blocks.BLOCK_MINUTES * 30
    log = means.loggers.loc[rows["logger"], ["logger_id", "role", "point_id", "zone", "error"]].reset_index(drop=True)
    log.insert(0, "time", pd.to_datetime(middle, unit="s", utc=True).tz_convert(record.timezone))
    return replace(record, readings=log.assign(value=rows["value"].to_numpy()))


def look(record, aims, table, means, beam, coverage):
    """Look for every setup on the list; see `audit.Audit.flags`."""
    rows, targets = [], aims.table

    def flag(name, kind, found, where="", finding=""):
        rows.append({"flag": name, "kind": kind, "found": found, "where": where, "finding": finding})

    _species(flag, record.animal.species if record.animal else None, aims.species)
    at_odds = impossible(targets)
    if at_odds:
        flag("targets contradict each other", "impossible", "yes", "", " ".join(at_odds))
    for target, name in (
        ("surface_c", "surface too hot to touch"),
        ("uv_index", "UV above its limit"),
        ("shade_air_c", "air above its limit"),
        ("irradiance_w_m2", "radiation above its limit"),
        ("operative_c", "animal would get too hot"),
    ):
        _limit(flag, name, target, table, record)
    _unearthly(flag, record)
    _caution(flag, table)
    of_lamps.look(flag, record, means)
    _retreat(flag, record, table)
    _night(flag, record, targets, table, means)
    _inverted(flag, means)
    for logger, state in beam.items():
        role = means.loggers.set_index("logger_id")["role"][logger]
        if state != "no":
            controls = record.lamps["id"][record.lamps["controlled_by"] == logger].tolist()
            words = f"{logger} hangs under a lamp"
            words += " and warms in its light" if state == "yes" else "; its readings do not show whether that warms it"
            words += f"; it switches {', '.join(controls)} by its own temperature, not the air's." if controls else "."
            kind = "unsafe" if controls and role == "thermostat" else "doubtful"
            flag("thermostat sensor in the beam" if controls else "air sensor in the beam", kind, state, logger, words)
    if not (beam != "no").any():
        flag("sensor in the beam", "doubtful", "no" if len(beam) else "not measured")
    if coverage is None:
        flag("spot smaller than the animal", "doubtful", "not measured", "", "No map of the light over the site.")
    else:
        width, body = coverage.table["width_m"].iloc[-1], coverage.body_length_m
        words = f"The widest circle of the wanted light is {100 * width:.0f} cm wide, "
        words += f"the animal {100 * body:.0f} cm long."
        found = "yes" if coverage.smaller_than_animal or width < body else "no"
        flag("spot smaller than the animal", "doubtful", found, "basking site", words)
    return pd.DataFrame(rows)


def other_species(kept, aimed):
    """Whether targets were made for another animal than the one that is kept.

    Examples
    --------
    >>> other_species("Ridge  Lizard", "ridge lizard (invented)"), other_species("tortoise", "ridge lizard")
    (False, True)
    """
    one, two = (" ".join(str(n or "").lower().split()) for n in (kept, aimed))
    return bool(one) and two not in ("", "not stated") and one not in two and two not in one


def _species(flag, kept, aimed):
    """Targets made for another animal."""
    if other_species(kept, aimed):
        words = (
            f"The targets are for {aimed}, the enclosure says {kept}: use targets of the animal you keep, or correct "
        )
        words += "species in one of the two files."
        flag(OTHER_SPECIES, "doubtful", "yes", "", words)


def _limit(flag, name, target, table, record):
    """Whether a limit of a quantity is exceeded; the standard ones are always among the targets."""
    rows = table[(table["target"] == target) & (table["kind"] == Kind.LIMIT)]
    if not len(rows):
        return None
    broken = rows[rows["limit_exceeded"]]
    if len(broken):
        worst = broken.loc[broken["by_how_much"].idxmax()]
        words = f"{amount(worst['by_how_much'], worst['unit'])} above {amount(worst['high'], worst['unit'], 3)} in "
        words += f"{worst['when']}."
        lies = dict(zip(record.points["point_id"], record.points["substrate"])).get(worst["point"])
        if target == "surface_c" and worst["high"] + worst["by_how_much"] > contact_limit_c(1, lies):
            words += f" That burns human skin within a minute (ISO 13732-1: {contact_limit_c(1, lies):g} °C)."
        return flag(name, "unsafe", "yes", worst["where"], words)
    state = rows["status"].tolist()
    found = next((s for s in (Status.UNKNOWN, Status.NOT_MEASURED) if s in state), None)
    open_ = None if found is None else rows[rows["status"] == found].iloc[0]
    return flag(name, "unsafe", str(found or "no"), *(("", "") if open_ is None else _left_open(open_)))


def _unearthly(flag, record):
    """Shade air that no place on Earth has: deadly if true, and more often a log in °F."""
    read = record.readings[record.readings["role"] == "shade_air"]
    hot = read[read["value"] > HOTTEST_AIR_C]
    if len(hot):
        words = f"{len(hot)} of {len(read)} readings of shade air lie above {HOTTEST_AIR_C:g} °C, up to "
        words += f"{hot['value'].max():.0f} °C. The hottest air ever read outdoors was {HOTTEST_AIR_C:g} °C (WMO)."
        where = ", ".join(dict.fromkeys(hot["logger_id"].astype(str)))
        flag("air hotter than anywhere on Earth", "unsafe", "yes", where, words)


def _caution(flag, table):
    """A rule of thumb that is passed is pointed out; it makes nothing unsafe, because it has no source."""
    rows = table[table["kind"] == Kind.CAUTION]
    if not len(rows):
        return None
    passed = rows[rows["status"].isin(OUTSIDE)]
    if len(passed):
        worst = passed.loc[passed["by_how_much"].idxmax()]
        words = f"{amount(worst['by_how_much'], worst['unit'])} above {amount(worst['high'], worst['unit'], 3)}: "
        return flag("a caution is passed", "caution", "yes", worst["where"], f"{words}{worst['source']}.")
    state = set(rows["status"])
    found = next((s for s in (Status.UNKNOWN, Status.NOT_MEASURED) if s in state), "no")
    return flag("a caution is passed", "caution", str(found), "", "A rule of thumb without a source.")


def _left_open(row):
    """Where a limit was read, and why that does not settle it."""
    if row["status"] == Status.NOT_MEASURED:
        return "", f"Nothing reads it where it is highest. {row['where']}".strip()
    gap, unit = row["by_how_much"], row["unit"]
    if gap < -2 * row["error"] and row["n_days"] >= 3:
        words = f"What was read lies below {amount(row['high'], unit, 3)}, but not in the second half of the hours of "
        return row["where"], words + "light, when it is warmest: read it then, on three days or more."
    words = f"The highest mean lies {amount(abs(gap), unit)} {'above' if gap > 0 else 'below'} "
    words += f"{amount(row['high'], unit, 3)}, with an error of {amount(row['error'], unit)} in {row['n_days']} "
    return row["where"], words + f"day{'s' if row['n_days'] > 1 else ''}: not enough to be sure."


def _retreat(flag, record, table):
    """An animal that is too warm, or afraid, needs a place that is dark and not too warm."""
    name = "no shade retreat"
    retreats = record.points[record.points["zone"] == "retreat"]
    if not len(retreats):
        words = "No point is stated to be a retreat: an animal that is too warm, or afraid, has nowhere to go."
        return flag(name, "unsafe", "yes", "", words)
    hot = table[(table["zone"] == "retreat") & (table["side"] == "high") & table["status"].isin(OUTSIDE)]
    hot = hot[(hot["kind"] != Kind.CAUTION) & (hot["by_how_much"] > 0)]
    if len(hot):
        words = f"The retreat is too warm by {short(hot['by_how_much'].max())} {hot['unit'].iloc[0]}."
        return flag(name, "unsafe", "yes", hot["where"].iloc[0], words)
    stated = [s is True for s in retreats["shade"]]
    lit = [s is False for s in retreats["shade"]]
    if any(stated):
        return flag(name, "unsafe", "no")
    names = ", ".join(retreats["point_id"])
    if all(lit):
        return flag(name, "unsafe", "yes", names, "A lamp shines into every retreat: shade = false is stated for it.")
    return flag(name, "unsafe", "not measured", names, "State shade = true for a retreat into which no lamp shines.")


def _night(flag, record, targets, table, means):
    rest = resting(targets)
    night = table[(table["target"] == "shade_air_c") & (table["period"] == "night") & ~rest.to_numpy()]
    hot = night[night["status"].isin(OUTSIDE) & (night["side"] == "high")]
    state = set(night["status"])
    if len(hot):
        worst = hot.loc[hot["by_how_much"].idxmax()]
        words = f"{short(worst['by_how_much'])} °C above {worst['high']:.1f} °C in {blocks.in_words(hot['month'])}."
        flag("night too hot", "doubtful", "yes", worst["where"], words)
    else:
        found = "no" if "met" in state or "missed" in state else "cannot tell" if "cannot tell" in state else None
        words = "" if found else "No night was read in a month for which a target is set, winter rest aside."
        words = words if len(night) else "No target says how warm the air may be at night."
        flag("night too hot", "doubtful", found or "not measured", "", words)
    room = means.loggers.index[means.loggers["role"] == "room_air"]
    for period, stated in (("day", record.geometry.room_day_c), ("night", record.geometry.room_night_c)):
        air = (targets["target"] == "shade_air_c") & (targets["kind"] == Kind.AIM) & ~rest
        rows = targets[air & (targets["period"] == period)]
        measured = set(means.table["month"]) if len(means.table) else set()
        names = []
        for row in rows.itertuples(index=False):
            if row.month not in measured:
                continue
            read = [means.of(i, month=row.month, period=period)["value"] for i in room]
            here = float(np.median(np.concatenate(read))) if read and sum(map(len, read)) else stated
            if row.high < here - WARMER_ROOM_C:
                names.append((row.month, here - row.high))
        if names:
            months, gap = blocks.in_words([m for m, _ in names]), max(g for _, g in names)
            words = f"By {period} in {months} the room itself is up to {gap:.1f} °C warmer than the target allows."
            flag("room too warm for the target", "impossible", "yes", "room", words)


def _inverted(flag, means):
    found, words = "not measured", []
    for role in ("shade_air", "surface", "copper_model"):
        warm, cool = (zone_level(means, role, zones) for zones in (("basking site", "warm end"), ("cool end",)))
        if warm is None or cool is None:
            continue
        found = "no" if found == "not measured" else found
        error = np.hypot(warm[1], cool[1])
        if cool[0] - warm[0] > 1.96 * error:
            found = "yes"
            words.append(f"by day {role.replace('_', ' ')} is {cool[0] - warm[0]:.1f} °C warmer at the cool end")
    flag("warm and cool end exchanged", "doubtful", found, "", "; ".join(words))
    found, words = "not measured", []
    for i in means.loggers.index[means.loggers["role"] == "shade_air"]:
        day, night = means.of(i, period="day")["value"], means.of(i, period="night")["value"]
        if len(day) and len(night):
            found = "no" if found == "not measured" else found
            drop = float(night.median() - day.median())
            # The same logger twice: most of its error cancels.
            if drop > 1.96 * min(means.loggers["error"][i], SAME_LOGGER_C):
                found = "yes"
                words.append(f"{means.loggers['logger_id'][i]} reads {drop:.1f} °C more by night than by day")
    flag("day and night exchanged", "doubtful", found, "", "; ".join(words))


def zone_level(means, role, zones):
    """Warmest median by day of the loggers of a role in some zones, and its error."""
    info = means.loggers
    levels = []
    for i in info.index[(info["role"] == role) & info["zone"].isin(zones)]:
        values = means.of(i, period="day")["value"]
        if len(values):
            levels.append((float(values.median()), float(info["error"][i])))
    return max(levels) if levels else None


def gradient(record, means, coverage, light, levels):
    """Warm end against cool end, sun and shade of the floor, and the light against the animal; see `audit.Audit`."""
    rows = []

    def add(what, value=np.nan, error=np.nan, unit="", words=""):
        found = "not measured" if np.isnan(value) else ""
        rows.append({"what": what, "value": value, "error": error, "unit": unit, "words": words or found})

    for role, name in (("shade_air", "shade air"), ("surface", "surface"), ("copper_model", "operative temperature")):
        warm, cool = (zone_level(means, role, zones) for zones in (("basking site", "warm end"), ("cool end",)))
        what = f"{name}, warm less cool end by day"
        if warm is None or cool is None:
            add(what, unit="°C")
        else:
            add(what, warm[0] - cool[0], float(np.hypot(warm[1], cool[1])), "°C")
    shares = floor_shares(record, means, light, levels)
    for name in ("full_sun_share", "part_shade_share", "full_shade_share"):
        if shares is None:
            add(f"floor in {name.removesuffix('_share').replace('_', ' ')}", unit="share")
        else:
            share, low, high, how = shares[name]
            words = f"{how}; 95 % limits {100 * low:.0f} to {100 * high:.0f} %"
            add(f"floor in {name.removesuffix('_share').replace('_', ' ')}", share, (high - low) / 3.92, "share", words)
    length = record.animal.length_m if record.animal is not None else None
    if coverage is None:
        add("width of the lit spot over the animal's length")
    else:
        row = coverage.table.iloc[-1]
        ratio = float(row["width_m"] / coverage.body_length_m)
        error = float((row["width_high"] - row["width_low"]) / 3.92 / coverage.body_length_m)
        add("width of the lit spot over the animal's length", ratio, error, "", coverage.sentence)
    if length:
        for lamp in record.lamps[record.lamps["kind"].isin(blocks.LIGHT_KINDS)].itertuples(index=False):
            site = record.points[record.points["zone"] == "basking site"]
            if len(site):
                away = np.sqrt(
                    (site["x_m"] - lamp.x_m) ** 2 + (site["y_m"] - lamp.y_m) ** 2 + (site["z_m"] - lamp.height_m) ** 2
                ).min()
                words = "strength falls by about half over a third of this distance, across the body of a large animal"
                far = f"lamp '{lamp.id}' to the basking site"
                add(far, float(away), 0.01, "m", words if away < 3 * length else "")
    return pd.DataFrame(rows)


def _levels(levels, strongest):
    return levels if np.isfinite(levels).all() else (FULL_SUN * strongest, FULL_SHADE * strongest)


def floor_shares(record, means, light, levels):
    """Shares of the floor in full sun, part shade and full shade, with 95 % limits and where they are from.

    `levels` are the irradiances (W/m²) of full sun and full shade in the field. Where the targets do not carry them
    (NaN), the enclosure's own strongest light stands for its sun: then the shares say nothing of how strong it is.
    """
    from scipy import stats

    names = ("full_sun_share", "part_shade_share", "full_shade_share")
    if light is not None:
        total = light.table[["low", "total", "high"]].to_numpy(dtype=float)
        sunny, shady = _levels(levels, np.nanmax(total[:, 1]))
        if not sunny > 0:
            return None
        split = [[(c >= sunny).mean(), 0.0, (c <= shady).mean()] for c in total.T]
        split = np.array([[a, 1 - a - b, b] for a, _, b in split])
        return {n: (split[1, i], split[:, i].min(), split[:, i].max(), "computed map") for i, n in enumerate(names)}
    info, strength = means.loggers, {}
    for i in info.index[info["role"] == "irradiance"]:
        values = means.of(i, period="day")["value"]
        if len(values):
            strength[info["point_id"][i]] = float(values.quantile(0.9))
    sunny, shady = _levels(levels, max(strength.values(), default=0.0))
    kinds = []
    for point in record.points.itertuples(index=False):
        if point.point_id in strength and sunny > 0:
            here = strength[point.point_id]
            kinds.append(0 if here >= sunny else 2 if here <= shady else 1)
        elif point.shade is True:
            kinds.append(2)
    # One lit point is its own sun and says nothing of the floor.
    if len(kinds) < 3:
        return None
    found = {}
    for number, name in enumerate(names):
        hits = kinds.count(number)
        limits = stats.binomtest(hits, len(kinds)).proportion_ci(0.95, method="exact")
        found[name] = (
            hits / len(kinds),
            limits.low,
            limits.high,
            f"{len(kinds)} points, which need not stand for the floor",
        )
    return found
