"""Looks for advice that contradicts other advice of the same audit, or the season that its targets come from."""

from fieldkit.captive.audit import Status
from fieldkit.captive.targets import Kind

WARMTH = {"surface_c", "operative_c", "irradiance_w_m2"}


def pairs(found):
    """Pairs of fixes of one audit that pull one thing both ways, and rows that are met where a limit is exceeded."""
    bad = []
    fixes = found.fixes.to_dict("records")
    for more in (f for f in fixes if f["direction"] > 0):
        for less in (f for f in fixes if f["direction"] < 0):
            if _same_thing(more, less) and _together(more, less) and _same_place(more, less):
                bad.append((more["change"], less["change"]))
    for limit in found.table[found.table["limit_exceeded"]].itertuples():
        same = (found.table["target"] == limit.target) & (found.table["status"] == Status.MET)
        same &= (found.table["point"] == limit.point) & (found.table["high"] >= limit.high)
        bad += [(f"met: row {n}", f"exceeded: row {limit.Index}") for n in found.table.index[same]]
    urgent = [f["urgent"] for f in fixes]
    if sorted(urgent, reverse=True) != urgent:
        bad.append(("what is urgent stands behind what is not", ""))
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


def _together(a, b):
    period = "all" in (a["period"], b["period"]) or a["period"] == b["period"]
    return period and (0 in (*a["months"], *b["months"]) or bool(set(a["months"]) & set(b["months"])))


def _same_place(a, b):
    zones = {a["zone"], b["zone"]}
    return len(zones) == 1 or "whole" in zones or bool(a["place"] and a["place"] == b["place"])
