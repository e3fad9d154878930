"""The invented quarry: its weather, places and surfaces, its lizard and instruments, and the truth about them."""

from pathlib import Path

import numpy as np
import pandas as pd

from fieldkit.physics import heat, spectrum, sun
from fieldkit.physics.heat import air, ground
from fieldkit.physics.heat.body import copper_model, lizard, probe

SEED = 20250315

YEAR = 2025

SITE = {"latitude_deg": 36.18, "longitude_deg": -80.31, "elevation_m": 410.0}

ZONE = "America/New_York"

LOGGER_ZONE = "UTC-05:00"

FIRST_DAY, LAST_DAY = "2025-03-15", "2025-10-18"

STATION_ELEVATION_M = 273.0

# The rule the invented animals follow, and everything else an analysis may be held against.
TRUTH = {
    "chosen_on": "radiation",
    "preference_per_100_w_m2_at_20_c": 0.75,
    "switch_point_air_c": 31.0,
    "slope_spread_between_animals": 0.12,
    "basking_optimum_air_c": 23.0,
    "basking_tolerance_air_c": 4.5,
    "basking_peak_probability": 0.65,
    "preferred_body_mean_c": 34.0,
    "preferred_body_sd_c": 1.6,
    "logger_in_the_sun": {"logger_id": "shade-2", "from": "2025-06-09 14:00", "to": "2025-06-16 11:00"},
    "lapse_rate_k_per_km": 6.5,
}

LIZARD = lizard(
    length_m=0.07,
    mass_g=12.0,
    shortwave_absorptivity=0.87,
    contact_fraction=0.2,
    substrate_conductance_w_m2_k=40.0,
)

MODEL = copper_model(
    length_m=0.07,
    diameter_m=0.02,
    shortwave_absorptivity=0.85,
    contact_fraction=0.1,
    substrate_conductance_w_m2_k=40.0,
)

PROBE = probe(diameter_m=0.005, length_m=0.03, shortwave_absorptivity=0.7, emissivity=0.9)

# A logger in a light grey plastic case.
CASE = probe(diameter_m=0.03, length_m=0.06, shortwave_absorptivity=0.4, emissivity=0.9)

# Standard deviation of a reading, in the unit of its column.
ERRORS = {
    "shade_air_c": 0.4,
    "surface_c": 1.5,
    "irradiance_w_m2": 30.0,
    "probe_in_place_c": 0.3,
    "operative_c": 0.6,
    "uv_index": 0.2,
    "wind_m_s": 0.2,
}

ANIMALS = [f"R{i:02d}" for i in range(1, 15)]

# id, role, unit, place, error, size, absorptivity, minutes between readings
LOGGERS = [
    ("shade-1", "shade_air", "degC", "north wall, 1.5 m, white shield", 0.3, None, None, 30),
    ("shade-2", "shade_air", "degC", "under the birch, 1.5 m", 0.3, 0.03, 0.4, 30),
    ("probe-1", "exposed_probe", "degC", "ledge, bare probe", 0.3, 0.005, 0.7, 60),
    ("rock-1", "surface", "degC", "ledge, flat rock", 0.5, None, None, 60),
    ("model-1", "copper_model", "degC", "ledge, open", 0.5, 0.02, 0.85, 60),
    ("model-2", "copper_model", "degC", "crevice mouth, shade", 0.5, 0.02, 0.85, 60),
    ("sun-1", "irradiance", "W/m2", "ledge, level", 15.0, None, None, 30),
    ("wind-1", "wind", "m/s", "ledge, 0.3 m", 0.2, None, None, 60),
]

STATIONS = {
    "mill": (36.05, -80.40, 210.0),
    "north-gap": (36.61, -80.52, 450.0),
    "ridge": (36.30, -81.02, 640.0),
    "lake": (35.72, -80.18, 190.0),
}


def _typical_year():
    """Hourly typical year of a station in the hills of the eastern United States (TMY3 723170, ships with pvlib)."""
    import pvlib

    table, _ = pvlib.iotools.read_tmy3(
        Path(pvlib.__file__).parent / "data" / "723170TYA.CSV", coerce_year=YEAR, map_variables=True
    )
    # Stamps stand at the end of the hour that the solar columns average.
    return table.tz_convert("Etc/GMT+5")


def _weather(rng):
    """Ten-minute weather at the site; sun by sky clearness, so that hourly means do not blur sunrise and sunset."""
    hourly = _typical_year()
    times = pd.date_range(f"{FIRST_DAY} 00:00", f"{LAST_DAY} 22:50", freq="10min", tz="Etc/GMT+5")
    # Noise that the site's own air adds to the station's, and broken cloud inside the hour.
    middle = hourly.index - pd.Timedelta(minutes=30)
    above = sun.irradiance(middle, **SITE, linke_turbidity=3.0)["ghi_w_m2"].to_numpy()
    clearness = np.where(above > 50, hourly["ghi"].to_numpy() / np.maximum(above, 50), np.nan)
    clearness = pd.Series(np.clip(clearness, 0.02, 1.1), index=middle).ffill().bfill()

    def at(series, index):
        seconds = (index - pd.Timestamp(0, tz="UTC")) // pd.Timedelta("1s")
        grid = (times - pd.Timestamp(0, tz="UTC")) // pd.Timedelta("1s")
        return np.interp(grid, seconds, np.asarray(series, dtype=float))

    kc = at(clearness, middle)
    broken = np.clip(1 - np.abs(kc - 0.55) / 0.45, 0, 1)
    kc = np.clip(kc + broken * _ar1(rng, len(times), 0.75, 0.22), 0.03, 1.05)
    clear = sun.irradiance(times, **SITE, linke_turbidity=3.0)
    falling = sun.irradiance(times, **SITE, ghi_w_m2=(clear["ghi_w_m2"] * kc).to_numpy())
    lapse = -TRUTH["lapse_rate_k_per_km"] / 1000 * (SITE["elevation_m"] - STATION_ELEVATION_M)
    temperature = at(hourly["temp_air"], hourly.index) + lapse + _ar1(rng, len(times), 0.9, 0.35)
    humidity = at(hourly["relative_humidity"], hourly.index)
    vapour = air.vapour_pressure(temperature, np.clip(humidity, 1, 100))
    table = pd.DataFrame(
        {
            "air_c": temperature,
            "wind_10m_s": np.maximum(
                at(hourly["wind_speed"], hourly.index) * np.exp(_ar1(rng, len(times), 0.7, 0.25)), 0
            ),
            "humidity_percent": humidity,
            "longwave_w_m2": air.sky_longwave(
                temperature, vapour_pressure_kpa=vapour, cloud_fraction=np.clip(1.15 - kc, 0, 1)
            ),
            "ghi_w_m2": falling["ghi_w_m2"].to_numpy(),
            "dni_w_m2": falling["dni_w_m2"].to_numpy(),
            "dhi_w_m2": falling["dhi_w_m2"].to_numpy(),
            "zenith_deg": falling["apparent_zenith_deg"].to_numpy(),
            "clear_ghi_w_m2": clear["ghi_w_m2"].to_numpy(),
        },
        index=times,
    )
    table["beam_w_m2"] = table["ghi_w_m2"] - table["dhi_w_m2"]
    for column, height_m in {"wind_2m_s": 2.0, "wind_m_s": 0.3}.items():
        wind = air.wind_at_height(
            table["wind_10m_s"].to_numpy(), measured_height_m=10.0, height_m=height_m, roughness_m=0.05
        )
        table[column] = np.maximum(wind, 0.05)
    table["clear_uv_index"] = spectrum.clear_sky_uv_index(table["zenith_deg"].to_numpy())
    return table


def _ar1(rng, n, memory, sd):
    """Noise that remembers its last value."""
    from scipy.signal import lfilter

    return lfilter([1], [1, -memory], rng.normal(0, sd * np.sqrt(1 - memory**2), n))


EXPOSURES = {"open": (1.0, 0.9), "edge": (0.5, 0.6), "shade": (0.04, 0.3)}

SUBSTRATES = ("rock", "sand", "wood", "grass")


def _spots(rng):
    """The marked places of the quarry: what they are made of and how much sun, sky and wind they get."""
    rows = []
    for number in range(1, 49):
        exposure = ("open", "open", "edge", "edge", "shade")[rng.integers(5)]
        rows.append(
            {
                "place_id": f"P{number:02d}",
                "substrate": rng.choice(SUBSTRATES, p=[0.5, 0.2, 0.2, 0.1]),
                "exposure": exposure,
                "wind_share": float(rng.uniform(0.3, 1.0)),
                "surface_offset_c": float(rng.normal(0, 1.5)),
                "air_offset_c": float(rng.normal(0, 0.25)),
            }
        )
    return pd.DataFrame(rows)


def _substrates(sky):
    """Surface temperature of each substrate under each exposure, on the ten-minute steps of the weather."""
    half_hourly = sky.iloc[::3]
    seconds, coarse = (frame.index.as_unit("s").asi8 for frame in (sky, half_hourly))
    beam, view = (np.array([share[i] for share in EXPOSURES.values()])[:, None] for i in (0, 1))
    surfaces = {}
    for substrate in SUBSTRATES:
        warm = ground.surface_temperature(
            substrate=substrate,
            air_temperature_c=half_hourly["air_c"].to_numpy(),
            wind_speed_m_s=half_hourly["wind_2m_s"].to_numpy(),
            irradiance_w_m2=beam * half_hourly["beam_w_m2"].to_numpy() + view * half_hourly["dhi_w_m2"].to_numpy(),
            sky_longwave_w_m2=_longwave(half_hourly, view),
            elevation_m=SITE["elevation_m"],
            step_s=1800.0,
        )["surface_temperature_c"]
        for exposure, series in zip(EXPOSURES, warm):
            surfaces[substrate, exposure] = np.interp(seconds, coarse, series)
    return surfaces


def _longwave(sky, view):
    """Long-wave from above: sky where it is seen, leaves and walls as warm as the air elsewhere."""
    return view * sky["longwave_w_m2"].to_numpy() + (1 - view) * heat.SIGMA * (sky["air_c"].to_numpy() + 273.15) ** 4


def _settings():
    lines = [
        "# INVENTED: the ridge lizard, the quarry, the club and every reading are made up (fieldkit/field/demo.py).",
        "# Open weather drives it: the typical year of TMY3 station 723170, carried by pvlib. Not care advice.",
        "[season]",
        'name = "Ridge lizards in the old quarry"',
        "invented = true",
        f"first_day = {FIRST_DAY}",
        f"last_day = {LAST_DAY}",
        "",
        "[site]",
        'name = "the old quarry"',
        *(f"{key} = {value}" for key, value in SITE.items()),
        f'timezone = "{ZONE}"',
        "",
        "[animal]",
        'species = "ridge lizard"',
        "length_m = 0.07",
        "mass_g = 12.0",
        f"shortwave_absorptivity = {LIZARD.shortwave_absorptivity}",
        "",
        "[choice_sets]",
        'drawn = "random bearing and distance"',
        'order = "any order"',
    ]
    what = {
        "shade_air_c": "thin probe under a white hand screen",
        "surface_c": "infrared thermometer, emissivity set to 0.95",
        "irradiance_w_m2": "hand-held pyranometer, held level",
        "probe_in_place_c": "bare bead probe, 5 mm",
        "operative_c": "copper model laid in the place for ten minutes",
        "uv_index": "hand-held UV index meter",
        "wind_m_s": "hot-wire anemometer at animal height",
    }
    for column, words in what.items():
        lines += [
            "",
            f"[instruments.{column}]",
            f'what = "{words}"',
            f"error = {ERRORS[column]}",
            'how = "set in the demo"',
        ]
    for name, role, unit, place, error, size, absorptivity, _ in LOGGERS:
        lines += [
            "",
            f"[loggers.{name}]",
            f'role = "{role}"',
            f'unit = "{unit}"',
            f'place = "{place}"',
            f"error = {error}",
        ]
        lines += [f"size_m = {size}"] if size else []
        lines += [f"shortwave_absorptivity = {absorptivity}"] if absorptivity else []
        lines += [f'timezone = "{LOGGER_ZONE}" # never set to summer time']
    for name, (latitude, longitude, elevation) in STATIONS.items():
        lines += [
            "",
            f"[stations.{name}]",
            f"latitude_deg = {latitude}",
            f"longitude_deg = {longitude}",
            f"elevation_m = {elevation}",
        ]
    return "\n".join(lines) + "\n"
