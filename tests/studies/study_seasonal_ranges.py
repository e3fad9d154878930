"""Do the intervals of seasonal air-temperature ranges hold the truth? Invented stations and years, printed as a table.

The truth is the mean over all stations that the range could have and all years that could have been: stations and
years are both drawn, and all stations share the year. The margin stays out of the bands.

Run: python tests/studies/study_seasonal_ranges.py [repeats] [seed]
"""

import sys

import numpy as np
import pandas as pd

from fieldkit.field import climate

SUMMER, WINTER, DAILY_RANGE, MARGIN = 29.0, 8.0, 11.0, 5.0
WORLDS = {
    "3 stations, 30 years": {"stations": 3, "years": 30, "between": 1.5, "shared": 0.8},
    "4 stations, 10 years": {"stations": 4, "years": 10, "between": 1.0, "shared": 1.0},
    "8 stations, 10 years": {"stations": 8, "years": 10, "between": 1.0, "shared": 1.0},
    "20 stations, 5 years": {"stations": 20, "years": 5, "between": 1.0, "shared": 1.0},
    "20 stations, 30 years": {"stations": 20, "years": 30, "between": 1.0, "shared": 0.8},
    "8 stations of unlike years": {"stations": 8, "years": 16, "between": 1.0, "shared": 1.0, "gaps": True},
}


def weather(rng, *, stations, years, between, shared, gaps=False):
    """Daily extremes of invented stations: three days a month stand for all, which is enough for means."""
    days = pd.date_range("2001-12-01", periods=years * 365 + years // 4, freq="D")
    wave = -np.cos(2 * np.pi * (days.day_of_year.to_numpy() - 15) / 365.25)
    code = (days + pd.DateOffset(months=1)).year.to_numpy() - 2002
    season = days.month.to_numpy() % 12 // 3
    common = rng.normal(0, shared, (years + 2, 4))[code, season]
    parts = []
    for i in range(stations):
        own = rng.normal(0, between) + rng.normal(0, 0.3, (years + 2, 4))[code, season]
        high = (SUMMER + WINTER) / 2 + (SUMMER - WINTER) / 2 * wave + own + common + rng.normal(0, 2.5, len(days))
        part = pd.DataFrame({"station_id": f"S{i:02d}", "date": days, "tmax_c": high, "tmin_c": high - DAILY_RANGE})
        if gaps:
            start = int(rng.integers(0, max(1, years - 8)))
            part = part[(code >= start) & (code < start + 8)]
        parts.append(part)
    return pd.concat(parts, ignore_index=True)


def truth():
    """Typical extremes of summer and winter with neither station nor year effects."""
    days = pd.date_range("2001-01-01", "2001-12-31")
    wave = -np.cos(2 * np.pi * (days.day_of_year.to_numpy() - 15) / 365.25)
    high = pd.Series((SUMMER + WINTER) / 2 + (SUMMER - WINTER) / 2 * wave, days.month)
    months = high.groupby(level=0).mean()
    out = {name: months[list(m)].mean() for name, m in {"summer": (6, 7, 8), "winter": (12, 1, 2)}.items()}
    return {name: (value - DAILY_RANGE, value) for name, value in out.items()}


def coverage(repeats, rng, world):
    """Shares of repeats whose interval holds summer's low, summer's high, winter's low and the drop."""
    rng, wanted = np.random.default_rng(rng), truth()
    held = np.zeros(4)
    for _ in range(repeats):
        found = climate.air_bands(weather(rng, **world), hemisphere="north", margin_c=MARGIN)
        rows = found.pooled
        drop = found.differences.set_index("season").loc["winter"]
        checks = [
            (rows.loc["summer", "low_from_c"], wanted["summer"][0], rows.loc["summer", "low_to_c"]),
            (rows.loc["summer", "high_from_c"], wanted["summer"][1], rows.loc["summer", "high_to_c"]),
            (rows.loc["winter", "low_from_c"], wanted["winter"][0], rows.loc["winter", "low_to_c"]),
            (drop["max_drop_from_c"], wanted["summer"][1] - wanted["winter"][1], drop["max_drop_to_c"]),
        ]
        held += [low <= true <= high for low, true, high in checks]
    return held / repeats


def main(repeats=200, seed=0):
    print(f"{repeats} repeats a row; Monte Carlo error of 95 %: {100 * np.sqrt(0.95 * 0.05 / repeats):.1f} points")
    for number, (name, world) in enumerate(WORLDS.items()):
        shares = 100 * coverage(repeats, [seed, number], world)
        print(f"{name:28s} " + "  ".join(f"{what} {s:5.1f}" for what, s in zip(
            ("summer low", "summer high", "winter low", "drop"), shares)), flush=True)  # fmt: skip


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
