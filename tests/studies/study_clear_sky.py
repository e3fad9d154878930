"""How far the clear sky is from cloudless minutes of real stations, those used to choose its haze and those not.

`python tests/studies/study_clear_sky.py [FOLDER]`: the stations of data/open, which were not used to choose; with the
tests/data folder of pvlib's source distribution also Payerne and the San Luis Valley, which were. Prints a table: mean
error of GHI and beam and the share of minutes inside `sun.clear_sky_range` (nine in ten are promised).
"""

import sys
from pathlib import Path

import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))

from test_sun_clear_sky import OPEN, STATIONS, _clear_minutes

from fieldkit.physics import sun

CHOSEN_ON = {
    "payerne": ("bsrn", "bsrn-pay0616.dat.gz", {"latitude_deg": 46.815, "longitude_deg": 6.944, "elevation_m": 491.0}),
    "san luis valley": (
        "surfrad",
        "surfrad-slv16001.dat",
        {"latitude_deg": 37.70, "longitude_deg": -105.92, "elevation_m": 2317.0},
    ),
}


def row(readings, place):
    """Errors (%) and coverage (%) of one station's cloudless minutes."""
    seen = readings[_clear_minutes(readings, place)]
    ours, limits = sun.clear_sky(seen.index, **place), sun.clear_sky_range(seen.index, **place)
    out = {"minutes": len(seen)}
    for part in ("ghi", "dni"):
        measured = seen[f"{part}_w_m2"]
        inside = measured.between(limits[f"{part}_low_w_m2"], limits[f"{part}_high_w_m2"])
        out[f"{part}_error_percent"] = round(100 * (ours[f"{part}_w_m2"].mean() / measured.mean() - 1), 1)
        out[f"{part}_inside_percent"] = round(100 * inside.mean(), 1) if measured.notna().any() else float("nan")
    return out


if __name__ == "__main__":
    table = pd.read_csv(OPEN / "irradiance_minutes.csv", parse_dates=["time"])
    rows = {name: row(part.set_index("time"), STATIONS[name]) for name, part in table.groupby("station")}
    if len(sys.argv) > 1:
        import pvlib

        for name, (reader, file, place) in CHOSEN_ON.items():
            data = getattr(pvlib.iotools, f"read_{reader}")(Path(sys.argv[1]) / file)[0]
            data = data[["ghi", "dni", "dhi"]].add_suffix("_w_m2")
            high = sun.position(data.index, **place)["apparent_zenith_deg"].to_numpy() < 85
            rows[f"{name} (chosen on)"] = row(data[high], place)
    print(pd.DataFrame(rows).T.to_string())
