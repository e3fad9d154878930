"""A month of measured grass: surface temperature from long-wave radiation against the ground model, nothing fitted.

Run: python tests/studies/study_heat_grass.py PATH, where PATH is the station-to-archive file bsrn-pay0616.dat.gz
(Payerne, June
2016), which comes with the test data of the pvlib source distribution. The file is not carried here: its network asks
users to fetch it themselves.
"""

import gzip
import sys

import numpy as np
import pandas as pd

from fieldkit.physics import agreement, heat
from fieldkit.physics.heat import ground

STEP = "20min"


def read(path):
    """Minutes of radiation, air and pressure, three-hourly wind, resampled to 20 minutes."""
    with gzip.open(path, "rt") as file:
        lines = file.read().splitlines()
    starts = {line[1:6]: i for i, line in enumerate(lines) if line.startswith("*")}
    ends = sorted([*starts.values(), len(lines)])

    def block(name):
        start = starts[name]
        return lines[start + 1 : ends[ends.index(start) + 1]]

    basic, rows = block("U0100"), []
    for first, second in zip(basic[::2], basic[1::2]):
        a, b = first.split(), second.split()
        rows.append((int(a[0]), int(a[1]), float(a[2]), float(b[4]), float(b[8]), float(b[9]), float(b[10])))
    columns = ["day", "minute", "ghi_w_m2", "sky_w_m2", "air_c", "humidity", "pressure_hpa"]
    table = pd.DataFrame(rows, columns=columns)
    upward = [line.split() for line in block("U0300")]
    up = pd.DataFrame(
        [(int(r[0]), int(r[1]), float(r[2]), float(r[6])) for r in upward], columns=["day", "minute", "sw_up", "lw_up"]
    )
    table = table.merge(up, on=["day", "minute"])
    table.index = pd.Timestamp("2016-06-01", tz="UTC") + pd.to_timedelta(
        (table["day"] - 1) * 1440 + table["minute"], unit="min"
    )
    table = table.mask(table <= -99)
    wind = {}
    for line in block("U1000"):
        groups = line.split()
        if len(groups) > 2 and groups[0].isdigit() and groups[2][3:].isdigit():
            time = pd.Timestamp("2016-06-01", tz="UTC") + pd.Timedelta(
                days=int(groups[0][:2]) - 1, hours=int(groups[0][2:4])
            )
            wind[time] = float(groups[2][3:])
    table = table.resample(STEP).mean()
    # Wind is reported every three hours only: straight lines between, which is the weakest input of this study.
    table["wind_m_s"] = pd.Series(wind).sort_index().reindex(table.index).interpolate("time").bfill().ffill()
    return table


def main(path):
    table = read(path)
    gaps = table[["ghi_w_m2", "sky_w_m2", "air_c", "lw_up"]].isna().any(axis=1)
    filled = table.interpolate("time", limit=18).ffill().bfill()
    albedo = table["sw_up"].clip(lower=0).sum() / table["ghi_w_m2"].clip(lower=0).sum()
    surface = ((filled["lw_up"] - 0.03 * filled["sky_w_m2"]) / (0.97 * heat.SIGMA)) ** 0.25 - 273.15
    print(f"{len(table)} steps of {STEP}; {gaps.sum()} with gaps, filled but not judged; albedo {albedo:.2f}")
    models = {}
    for name in ("grass", "soil", "rock"):
        answer = ground.surface_temperature(
            air_temperature_c=filled["air_c"],
            wind_speed_m_s=filled["wind_m_s"],
            irradiance_w_m2=filled["ghi_w_m2"].clip(lower=0),
            sky_longwave_w_m2=filled["sky_w_m2"],
            substrate=name,
            measured_height_m=10.0,
            pressure_pa=95800.0,
        )
        models[name] = answer["surface_temperature_c"][~gaps]
    models["air itself"] = filled["air_c"][~gaps]
    day = (table["ghi_w_m2"] > 20)[~gaps]
    noon = (table["ghi_w_m2"] > 500)[~gaps]
    result = agreement.agreement(surface[~gaps], models, parts={"day": day, "bright": noon, "night": ~day})
    print(result.table.round(2).to_string())
    print("measured surface minus air, bright:", np.round((surface - filled["air_c"])[~gaps][noon].mean(), 2))


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    main(sys.argv[1])
