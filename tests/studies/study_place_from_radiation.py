"""How near two simple searches come to a site from its shared series of radiation: prints a table of misses.

    python tests/studies/study_place_from_radiation.py

Readings of radiation cannot be cut like coordinates. One search takes the middle of each day's radiation for solar
noon; the other fits the clear sky to the upper edge of the readings (quantile loss). INVENTED season, under the open
weather of the demo.
"""

import numpy as np
import pandas as pd
from scipy.optimize import minimize

import fieldkit
from fieldkit.physics import sun


def main():
    season = fieldkit.demo_season()
    site = season.site
    meter = season.logger_info.loc[season.logger_info["role"] == "irradiance", "logger_id"].iloc[0]
    read = season.loggers[season.loggers["logger_id"] == meter].set_index("time")["value"].dropna()
    values = read.to_numpy()

    def miss(place):
        clear = sun.irradiance(read.index, latitude_deg=place[0], longitude_deg=place[1], elevation_m=450.0)
        clear = clear["ghi_w_m2"].to_numpy()
        up = clear > 20
        left = values[up] - 0.98 * clear[up]
        return np.mean(np.where(left > 0, 0.97 * left, -0.03 * left)) + np.mean(np.abs(values[~up]))

    rows = []
    for start in ((36.15, -80.35), (36.5, -80.0)):
        found = minimize(miss, start, method="Nelder-Mead", options={"xatol": 0.005, "fatol": 1e-4, "maxiter": 120}).x
        rows.append((f"clear sky, from {start}", found[0] - site.latitude_deg, found[1] - site.longitude_deg))
    clock = pd.Series(read.index.hour + read.index.minute / 60, index=read.index)
    day = pd.Series(read.index.date, index=read.index)
    middle = (read * clock).groupby(day).sum() / read.groupby(day).sum()
    days = pd.DatetimeIndex(pd.to_datetime(middle.index))
    place = {"latitude_deg": site.latitude_deg, "longitude_deg": site.longitude_deg}
    noon = sun.day_length(days, **place, timezone=site.timezone)["solar_noon"]
    noon = noon.dt.hour + noon.dt.minute / 60 + noon.dt.second / 3600
    rows.append(("middle of the day", np.nan, 15 * np.nanmean(middle.to_numpy() - noon.to_numpy())))
    table = pd.DataFrame(rows, columns=["search", "latitude missed by (°)", "longitude missed by (°)"])
    print(table.round(2).to_string(index=False))


if __name__ == "__main__":
    main()
