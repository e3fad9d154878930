"""Looks for advice that contradicts other advice of the same run, or the season that its targets come from."""

from fieldkit.captive.audit import Status
from fieldkit.captive.targets import Kind, limits_over

WARMTH = {"surface_c", "operative_c", "irradiance_w_m2"}
LIGHT = WARMTH | {"uv_index"}


def pairs(found):
    """Pairs of fixes of one audit that pull one thing both ways, and rows that are met where a limit is exceeded."""
    bad = ranges(found.targets.table) + ranges(found.table)
    fixes = found.fixes.to_dict("records")
    for more in (f for f in fixes if f["direction"] > 0):
        for less in (f for f in fixes if f["direction"] < 0):
            if _together(more, less) and (
                (_same_thing(more, less) and _same_place(more, less)) or _one_lamp(more, less) or _heats(more, less)
            ):
                bad.append((more["change"], less["change"]))
    for limit in found.table[found.table["limit_exceeded"]].itertuples():
        same = (found.table["target"] == limit.target) & (found.table["status"] == Status.MET)
        same &= (found.table["point"] == limit.point) & (found.table["high"] >= limit.high)
        bad += [(f"met: row {n}", f"exceeded: row {limit.Index}") for n in found.table.index[same]]
    urgent = [f["urgent"] for f in fixes]
    if sorted(urgent, reverse=True) != urgent:
        bad.append(("what is urgent stands behind what is not", ""))
    return bad


def ranges(table):
    """Ranges that reach above a limit where and when it holds, but for those that begin above it and are flagged."""
    bad = []
    for number, aim in table[table["kind"] == Kind.AIM].iterrows():
        limits = limits_over(table, aim)
        over = limits[(limits["high"] < aim["high"] - 1e-6) & ~(limits["high"] < aim["low"])]
        bad += [(f"range: row {number} to {aim['high']:.3g}", f"limit {h:.3g}") for h in over["high"]]
    return bad


def of_height(answer, table, *, hours=12.0):
    """Heights that bring a surface or UV above the limits for as long as the lamp burns."""
    limits, bad = table[table["kind"] == Kind.LIMIT], []
    for quantity, column in (("surface_c", "surface_c_high"), ("uv_index", "uv_index_high")):
        mine = limits[(limits["target"] == quantity) & ~(limits["contact_min"] > 60 * hours)]
        span = answer.curves.loc[answer.nearest_m : answer.farthest_m, column]
        if answer.verdict == "found" and len(span) and len(mine) and span.max() > mine["high"].min() + 0.1:
            bad.append((f"{answer.nearest_m:.2f} m: {column} {span.max():.1f}", f"limit {mine['high'].min():.3g}"))
    return bad


def of_remedies(remedies, audited):
    """Remedies of a comparison that ask for more where the audit asks for less of the same, or the other way round."""
    bad, fixes = [], audited.fixes
    for row in remedies.itertuples():
        for sign in (-1, 1):
            against = fixes[(fixes["direction"] == sign) & fixes["quantity"].isin(row.quantities)]
            if row.direction == -sign:
                bad += [(row.remedy, change) for change in against["change"]]
    return bad


def against_season(table, window, bands):
    """Limits below what a season shows as ordinary, and cautions below what the animals basked in most."""
    air = table[table["target"] == "shade_air_c"]
    limits, cautions = (air.loc[air["kind"] == kind, "high"] for kind in (Kind.LIMIT, Kind.CAUTION))
    typical = bands.schedule["high_c"]
    upper, peak = window.table.loc["upper limit"], window.table.loc["peak"]
    bad = [f"limit {h} below the stations' typical {typical.max()}" for h in limits if h < typical.max()]
    if upper["status"] == "found":
        bad += [f"limit {h} below basking up to {upper['estimate_c']}" for h in limits if h < upper["estimate_c"]]
    if peak["status"] == "found":
        bad += [f"caution {h} below basking at {peak['estimate_c']}" for h in cautions if h < peak["estimate_c"]]
    aims = air[air["kind"] == Kind.AIM]
    return bad + [f"limit {h} below an aim of {aims['high'].max()}" for h in limits if h < aims["high"].max() - 1e-9]


def _same_thing(a, b):
    return a["quantity"] == b["quantity"] or {a["quantity"], b["quantity"]} <= WARMTH


def _one_lamp(more, less):
    """One lamp nearer for the one thing, farther for the other."""
    return bool(more["lamp"]) and more["lamp"] == less["lamp"] and {more["quantity"], less["quantity"]} <= LIGHT


def _heats(more, less):
    """More warmth while the air is above its limit, or while the air of the same night is to cool."""
    if less["quantity"] != "shade_air_c" or more["quantity"] not in LIGHT:
        return False
    night = more["period"] == less["period"] == "night" and _same_place(more, less)
    return bool(less["urgent"]) or (night and more["quantity"] in WARMTH)


def _together(a, b):
    period = "all" in (a["period"], b["period"]) or a["period"] == b["period"]
    return period and (0 in (*a["months"], *b["months"]) or bool(set(a["months"]) & set(b["months"])))


def _same_place(a, b):
    zones = {a["zone"], b["zone"]}
    return len(zones) == 1 or "whole" in zones or bool(a["place"] and a["place"] == b["place"])
