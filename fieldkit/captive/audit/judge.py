"""Judge one target after another against ten-minute means."""

import numpy as np
import pandas as pd

from fieldkit.captive.audit import means as blocks
from fieldkit.captive.audit.contact import PARTS, by_part, contact_means
from fieldkit.captive.audit.flags import floor_shares
from fieldkit.captive.audit.operative import NAME as COMPUTED
from fieldkit.captive.audit.status import OUTSIDE, STATUSES, Evidence, Status, settled
from fieldkit.captive.lamps import burns
from fieldkit.captive.targets import Kind

ROLES = {
    "shade_air_c": "shade_air",
    "surface_c": "surface",
    "irradiance_w_m2": "irradiance",
    "uv_index": "uv_index",
    "operative_c": "copper_model",
    "warming_rate_c_per_h": "shade_air",
}
# Targets that must be offered at some time of every day; shade air must be held at all times.
OFFERED = ("surface_c", "irradiance_w_m2", "uv_index", "operative_c")
# Share of the time that may lie outside a band, and the share of a day in which an offer must stand (common practice,
# no source).
ALLOWED, OFFER = 0.05, 0.10
# Fewer days than this tell nothing of other days (our choice).
FEWEST_DAYS = 3
COLUMNS = (
    *("target", "zone", "month", "period", "low", "high", "unit", "kind", "contact_min", "status", "evidence"),
    *("reading", "reading_low", "reading_high", "error", "by_how_much", "side", "share_of_time", "when", "where"),
    *("point", "logger_id", "robust", "limit_exceeded", "p_value", "n_days", "n_readings", "n_outside", *PARTS),
    *("day_error", "fixes", "basis", "source"),
)


class Judge:
    """One pass over the targets; holds what they share."""

    def __init__(self, record, targets, means, left_out, light, levels, level, allowed):
        from scipy import special

        self.record, self.targets, self.means, self.light = record, targets, means, light
        self.left_out, self.allowed, self.alpha, self.levels = left_out, allowed, 1 - level, levels
        used = means.loggers["role"].isin(set(ROLES.values())).sum()
        self.z_missed = float(special.ndtri(1 - self.alpha / (2 * max(used, 1))))
        self.z_met = float(special.ndtri(level))
        self.basking_air = ((targets["target"] == "shade_air_c") & (targets["zone"] == "basking site")).any()
        cautioned = targets[(targets["target"] == "shade_air_c") & (targets["kind"] == Kind.CAUTION)]
        self.cooler = set(cautioned["zone"]) - {"whole"}
        self.late = _late_hours(record, means) if len(means.table) else ()
        self.days_of = _possible_days(means.table) if len(means.table) else {}

    def rows(self):
        rows, outside, tests = [], [], []
        for number, target in enumerate(self.targets.itertuples(index=False)):
            base = {c: getattr(target, c) for c in ("target", "zone", "month", "period", "low", "high", "unit")}
            base |= {c: getattr(target, c) for c in ("kind", "contact_min", "basis", "source")}
            row = base | self._blank() | self._judge(target, tests, number)
            share = row.pop("outside", None)
            if share is not None:
                outside.append(share.assign(row=number))
            rows.append(row)
        table = pd.DataFrame(rows)
        # Each limit keeps its own 5 %: a burn that is missed is worse than an alarm too many. Only the loggers that
        # speak for one limit are adjusted for each other, and of those the ones that come near it.
        for number in dict.fromkeys(t["row"] for t in tests):
            near, far = ([t for t in tests if t["row"] == number and t["near"] == so] for so in (True, False))
            for test, p in [*zip(near, blocks.holm([t["p"] for t in near])), *((t, 1.0) for t in far)]:
                self._settle_limit(table, test, p)
        known = zip(table["status"], table["evidence"], table["reading"])
        table["status"] = [settled(*one) for one in known]
        _overrule(table)
        miss = table["status"].isin(OUTSIDE)
        own = np.where(table["side"] == "low", self.targets["low_error"], self.targets["high_error"]).astype(float)
        reach = _reach(
            np.nan_to_num(own), table["error"].fillna(0.0).to_numpy(), self.targets["n_independent"].to_numpy()
        )
        table["robust"] = miss & (table["by_how_much"].to_numpy() > reach)
        table["limit_exceeded"] = table["limit_exceeded"].astype(bool)
        keys = ["row", "month", "hour", "share", "n"]
        return table, pd.concat(outside, ignore_index=True)[keys] if outside else pd.DataFrame(columns=keys)

    def _blank(self):
        nan = float("nan")
        return {
            **{"status": Status.NOT_MEASURED, "evidence": Evidence.NONE, "reading": nan, "reading_low": nan},
            **{"reading_high": nan, "error": nan, "by_how_much": nan, "side": "", "share_of_time": nan, "when": ""},
            **{"where": "", "point": "", "logger_id": "", "robust": False, "limit_exceeded": False, "p_value": nan},
            **{"n_days": 0, "n_readings": 0, "n_outside": 0, "day_error": nan, "fixes": ""},
            **{name: 0 if name.endswith(("_n", "_outside")) else nan for name in PARTS},
        }

    def _loggers(self, target):
        """Rows of loggers that can speak for a target."""
        info = self.means.loggers
        mine = (info["role"] == ROLES[target.target]) & ~info["logger_id"].isin(self.left_out)
        if target.zone != "whole":
            mine &= info["zone"] == target.zone
        elif target.target == "shade_air_c" and target.kind == Kind.AIM and self.basking_air:
            mine &= info["zone"] != "basking site"
        return list(info.index[mine])

    def _judge(self, target, tests, number):
        if target.target == "photoperiod_h":
            return self._photoperiod(target)
        if target.target.endswith("_share"):
            return self._floor(target)
        found = []
        for logger in self._loggers(target):
            rows = self.means.of(logger, month=target.month, period=target.period)
            rows = contact_means(rows, target.contact_min, self.means.loggers["zone"][logger])
            if target.kind == Kind.CAUTION and not target.month and len(rows):
                # A caution holds at all times: the warmest month that was read speaks for it.
                rows = rows[rows["month"] == rows.groupby("month")["value"].median().idxmax()]
            if len(rows):
                found.append(self._one(target, logger, rows, tests, number))
        if not found:
            return {}
        return self._decide(target, found)

    def _one(self, target, logger, rows, tests, number):
        """What one logger says about one target."""
        info = self.means.loggers.loc[logger]
        if target.target == "warming_rate_c_per_h":
            rows = _hourly_rise(rows)
            if not len(rows):
                return self._blank() | {"status": Status.UNKNOWN, "zone_of": info["zone"]}
        values, dates = rows["value"].to_numpy(), rows["date"].to_numpy()
        low, middle, high = np.quantile(values, [0.05, 0.5, 0.95])
        one = self._blank() | {
            **{"reading": middle, "reading_low": low, "reading_high": high, "error": info["error"]},
            **{"n_days": len(np.unique(dates)), "zone_of": info["zone"], "evidence": self._evidence(target, info)},
            **{"point": info["point_id"], "logger_id": info["logger_id"]},
            "where": f"{info['point_id']} ({info['zone']}, {info['logger_id'].removesuffix(f', {info.point_id}')})",
        }
        options = {"error": info["error"], "z_missed": self.z_missed, "z_met": self.z_met}
        seen = set(rows["month"]) if target.kind == Kind.CAUTION else set(self.days_of)
        options["possible_days"] = sum(v for m, v in self.days_of.items() if target.month in (0, m) and m in seen)
        out = np.zeros(len(values), dtype=bool)
        sides = []
        limit = target.kind == Kind.LIMIT
        if limit:
            out = values > target.high
            p = blocks.limit_p(values, target.high, info["error"])
            seen = rows["date"][rows["hour"].isin(self.late)].nunique()
            inside = values.max() + self.z_met * info["error"] <= target.high and seen >= FEWEST_DAYS
            one |= {"status": Status.MET if inside else Status.UNKNOWN, "side": "high"}
            one |= {"by_how_much": values.max() - target.high, "share_of_time": out.mean()}
            near = values.max() > target.high - blocks.FAR * info["error"]
            tests.append({"row": number, "p": p, "one": one, "near": near})
            sides.append(None)
        if np.isfinite(target.high) and not limit:
            side = blocks.beyond(values, dates, target.high, high=True, allowed=self.allowed, **options)
            out |= values > target.high
            sides.append(side | {"side": "high", "share": float((values > target.high).mean())})
        if np.isfinite(target.low) and self._asks_warmth(target, info["zone"]):
            sides.append(self._low(target, rows, options))
            out |= values < target.low if target.target not in OFFERED else out
        real = [s for s in sides if s is not None]
        if real:
            worst = min(real, key=lambda s: (STATUSES.index(s["status"]), -s["excess"]))
            if not limit:
                one |= {"status": worst["status"], "by_how_much": worst["excess"], "side": worst["side"]}
                one |= {"share_of_time": worst["share"]}
        one["day_error"] = _day_error(values, dates, one["side"], self.allowed)
        one["when"] = blocks.when(_shown(out, one, target, values), rows)
        one["outside"] = _shares(out, rows)
        return one | by_part(values, out, rows)

    def _asks_warmth(self, target, zone):
        """Whether a range is asked of a zone from below: not by day of a zone with a caution of its own to be cool."""
        air = target.target == "shade_air_c" and target.kind == Kind.AIM and target.zone == "whole"
        return not (air and target.period != "night" and zone in self.cooler)

    def _evidence(self, target, info):
        """What a verdict on readings of a logger rests on."""
        if target.period != "all" and self.means.day_assumed:
            return Evidence.STATED
        return Evidence.COMPUTED if info["logger_id"].startswith(COMPUTED) else Evidence.MEASURED

    def _low(self, target, rows, options):
        values, dates = rows["value"].to_numpy(), rows["date"].to_numpy()
        if target.target in OFFERED:
            # The day's best tenth must reach it; the day is then the unit.
            best = rows.groupby("date")["value"].quantile(1 - OFFER)
            size = rows.groupby("date").size()
            best = best[size >= 0.5 * size.median()]
            values, dates = best.to_numpy(), best.index.to_numpy()
        side = blocks.beyond(values, dates, target.low, high=False, allowed=self.allowed, **options)
        return side | {"side": "low", "share": float((values < target.low).mean())}

    def _decide(self, target, found):
        """Several loggers: an offer stands if one point makes it, everything else is as bad as its worst point."""
        low_only = target.target in OFFERED and not np.isfinite(target.high)
        order = sorted(found, key=lambda o: (STATUSES.index(o["status"]), -np.nan_to_num(o["by_how_much"])))
        chosen = order[-1] if low_only else order[0]
        asked = any(self._asks_warmth(target, o["zone_of"]) for o in found) or np.isnan(target.low)
        if chosen["status"] == Status.MET and not asked:
            # Nothing reads it where the range is asked for from below too.
            chosen = chosen | {"status": Status.NOT_MEASURED}
            chosen["where"] = f"measured at {chosen['where']}, not where it is to be warm"
        if target.kind == Kind.LIMIT and target.zone == "whole":
            where = self._hottest_zone(target.target)
            if where and where not in {o["zone_of"] for o in found} and chosen["status"] == Status.MET:
                chosen = chosen | {"status": Status.NOT_MEASURED}
                chosen["where"] = f"measured at {chosen['where']}, not at {where}"
        return {k: v for k, v in chosen.items() if k != "zone_of"}

    def _hottest_zone(self, target):
        """The zone in which a limit has to be measured."""
        wanted = ("warm end", "basking site") if target == "shade_air_c" else ("basking site", "warm end")
        there = set(self.record.points["zone"])
        return next((z for z in wanted if z in there), "")

    def _settle_limit(self, table, test, p):
        row = test["row"]
        exceeded = p <= self.alpha
        known = table.loc[row, "p_value"]
        if np.isnan(known) or p < known:
            table.loc[row, "p_value"] = p
        if exceeded and (
            not table.loc[row, "limit_exceeded"] or test["one"]["by_how_much"] > table.loc[row, "by_how_much"]
        ):
            keys = ("evidence", "reading", "reading_low", "reading_high", "error", "by_how_much", "share_of_time")
            keys += ("when", "where", "point", "logger_id", "n_days", "n_readings", "n_outside", "day_error", "side")
            for key in (*keys, *PARTS):
                table.loc[row, key] = test["one"][key]
            table.loc[row, "status"], table.loc[row, "limit_exceeded"] = Status.EXCEEDED, True

    def _photoperiod(self, target):
        """Hours of light by the clock of the lamps and by meters; what no meter saw is only as stated."""
        info = self.means.loggers
        lit, spacing = [], 0.0
        for logger in info.index[info["role"] == "irradiance"]:
            every = self.means.of(logger)["value"].to_numpy()
            rows = self.means.of(logger, month=target.month)
            floor = max(3 * info["error"][logger], 0.05 * np.quantile(every, 0.95)) if len(every) else 0.0
            days = (rows["value"] > floor).groupby(rows["date"]).agg(["mean", "size"])
            days = days[(days["size"] >= 0.9 * days["size"].max()) & (days["mean"] > 0)]
            if len(days):
                lit.append(24 * days["mean"])
                spacing = max(spacing, 24 / days["size"].median())
        meter = pd.concat(lit, axis=1).max(axis=1) if lit else None
        clock = self._clock_hours()
        # Either end of the day falls somewhere between two readings.
        error = spacing / np.sqrt(6)
        measured = not target.month or (len(self.means.table) and (self.means.table["month"] == target.month).any())
        if not measured or (meter is None and clock is None):
            return {}
        # A meter does not see the weakest lamp; a clock does not see a lamp that is switched otherwise.
        if clock is None or (meter is not None and meter.median() > clock + 2 * error):
            hours, one = meter, {"n_days": len(meter), "where": "light meters", "error": error}
        else:
            hours = pd.Series([clock])
            agree = meter is not None and abs(meter.median() - clock) <= 1.0
            seen = "as meters bear out" if agree else "as stated, not measured"
            one = {"where": f"clock of the lamps, {seen}", "error": error if agree else 0.0}
            one["n_days"] = len(meter) if agree else 0
        # A clock that no meter bears out is what somebody stated.
        one["evidence"] = Evidence.MEASURED if one["n_days"] else Evidence.STATED
        error = one["error"]
        one |= {"reading": hours.median(), "reading_low": hours.quantile(0.05), "reading_high": hours.quantile(0.95)}
        sides = {"high": one["reading"] - target.high, "low": target.low - one["reading"]}
        side, excess = max(((k, v) for k, v in sides.items() if np.isfinite(v)), key=lambda kv: kv[1])
        sure = Status.MISSED if excess > 2 * error else Status.MET if excess <= -2 * error else Status.UNKNOWN
        outside = (hours > target.high) | (hours < target.low)
        shown = {"status": sure, "by_how_much": excess, "side": side, "share_of_time": float(outside.mean())}
        return one | shown

    def _clock_hours(self):
        """Hours a day in which a lamp burns by its clock; None when no lamp has one."""
        timed = blocks.timed_lamps(self.record.lamps)
        if not len(timed):
            return None
        clock = np.arange(0, 24, 1 / 60)
        burning = [burns(clock, r.on, r.off) for r in timed.itertuples(index=False)]
        return 24 * float(np.any(burning, axis=0).mean())

    def _floor(self, target):
        """Shares of the floor in sun and shade: from a computed map, else from points, which tell little."""
        shares = floor_shares(self.record, self.means, self.light, self.levels)
        if shares is None:
            return {}
        share, low, high, how = shares[target.target]
        sides = {"high": share - target.high, "low": target.low - share}
        side, excess = max(((k, v) for k, v in sides.items() if np.isfinite(v)), key=lambda kv: kv[1])
        if self.light is None:
            # A keeper chose the points: they do not stand for the floor.
            status = Status.UNKNOWN
        elif low > target.high or high < target.low:
            status = Status.MISSED
        elif low >= np.nan_to_num(target.low) and (np.isnan(target.high) or high <= target.high):
            status = Status.MET
        else:
            status = Status.UNKNOWN
        one = {"status": status, "reading": share, "reading_low": low, "reading_high": high, "where": how}
        evidence = Evidence.NONE if self.light is None else Evidence.COMPUTED
        return one | {"by_how_much": excess, "side": side, "error": (high - low) / 3.92, "evidence": evidence}


def _late_hours(record, means):
    """Hours of the second half of the light, in which what a lamp warms is as warm as it gets."""
    timed = blocks.timed_lamps(record.lamps)
    if len(timed):
        clock = np.arange(24) + 0.5
        lit = np.flatnonzero(np.any([burns(clock, r.on, r.off) for r in timed.itertuples(index=False)], axis=0))
    else:
        lit = np.arange(8, 20) if means.day_assumed else np.unique(means.table["hour"][means.table["day"]])
    if not len(lit):
        return lit
    # In their order from the first, also where they run past midnight.
    first = int(np.argmax(np.diff(lit, prepend=lit[-1] - 24)))
    return np.roll(lit, -first)[len(lit) // 2 :]


def _overrule(table):
    """What allows more than a limit that was exceeded at the same place cannot be met."""
    for limit in table[table["limit_exceeded"]].itertuples():
        lax = (table["target"] == limit.target) & (table["status"] == Status.MET) & (table["high"] > limit.high)
        lax &= (table["zone"] == "whole") | (limit.zone == "whole") | (table["zone"] == limit.zone)
        lax &= (table["point"] == limit.point) | (table["point"] == "")
        table.loc[lax & (table["kind"] == Kind.LIMIT), "status"] = Status.EXCEEDED
        table.loc[lax & (table["kind"] != Kind.LIMIT), "status"] = Status.MISSED


def _reach(own, reading, n_independent):
    """How far 95 % of differences from a target lie: its error rests on few units, that of a reading on many."""
    from scipy import special

    both = np.hypot(own, reading)
    # Satterthwaite (1946, Biometrics Bull. 2:110) for the sum of the two variances.
    weight = np.divide(own, both, out=np.zeros_like(both), where=both > 0) ** 4
    degrees = np.nan_to_num(n_independent - 1, nan=np.inf) / np.maximum(weight, 1e-9)
    return special.stdtrit(np.minimum(degrees, 1e9), 0.975) * both


def _possible_days(table):
    """Days of each measured month."""
    stamps = pd.to_datetime(np.unique(table["date"]), unit="D")
    months = pd.DataFrame({"month": stamps.month, "days": stamps.days_in_month, "year": stamps.year}).drop_duplicates()
    return months.groupby("month")["days"].sum().to_dict()


def _day_error(values, dates, side, allowed):
    """Standard error, over days, of the reading that decided: the day's low or high end."""
    ends = pd.Series(values).groupby(dates).quantile(allowed if side == "low" else 1 - allowed)
    return float(ends.std() / np.sqrt(len(ends))) if len(ends) > 1 else np.nan


def _hourly_rise(rows):
    """The fastest rise of hourly means on each day that has most of its hours."""
    hourly = rows.groupby(["date", "hour"])["value"].mean().reset_index()
    step = (hourly["date"].diff() * 24 + hourly["hour"].diff()) == 1
    rise = hourly.assign(value=hourly["value"].diff())[step]
    best = rise.loc[rise.groupby("date")["value"].idxmax()] if len(rise) else rise
    month = rows.drop_duplicates("date").set_index("date")["month"]
    return best.assign(month=best["date"].map(month), day=True)


def _shown(out, one, target, values):
    """Blocks that `when` speaks of."""
    if target.target in OFFERED and one["side"] == "low":
        return values < target.low
    return out


def _shares(out, rows):
    groups = pd.DataFrame({"month": rows["month"], "hour": rows["hour"], "out": out}).groupby(["month", "hour"])["out"]
    return groups.agg(share="mean", n="size").reset_index()
