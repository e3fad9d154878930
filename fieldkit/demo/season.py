"""The invented demo season: ridge lizards in an abandoned quarry, under real typical-year weather.

The forward model, in order: the weather file that pvlib ships (hourly, solar columns largely modelled by its makers) is
brought to ten minutes; each place gets sun, ground and wind by the physics of this kit; a lizard's operative
temperature and every instrument's reading follow from the one heat balance; animals choose by a rule that is written
down (`TRUTH`); observers read with errors, leave cells empty, and leave one logger in the sun for a week.
The air has the pressure of the quarry's height in the standard atmosphere.
Nothing here was seen in nature. Run ``python -m fieldkit.demo.season FOLDER`` to make the files again, byte for byte.
"""

import json
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from fieldkit.core import generator, swapped_in
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


@dataclass(frozen=True, kw_only=True, eq=False)
class DemoSeason:
    """Tables as an observer would have them, the settings file, and the truth behind them."""

    tables: dict
    settings: str
    truth: dict


def make(*, rng=SEED):
    """Make the demo season.

    Parameters
    ----------
    rng : int or numpy.random.Generator
        Seed; the files under ``data/`` are made with the default.

    Returns
    -------
    DemoSeason
        Tables as they are written to file: times as text on the clock that the settings name.

    Examples
    --------
    >>> season = make()  # doctest: +SKIP
    >>> sorted(season.tables)  # doctest: +SKIP
    ['choices', 'gradient', 'loggers', 'scans', 'sightings', 'weather']
    """
    rng = generator(rng)
    sky = _weather(rng)
    spots = _spots(rng)
    substrates = _substrates(sky)
    slopes = TRUTH["preference_per_100_w_m2_at_20_c"] + rng.normal(
        0, TRUTH["slope_spread_between_animals"], len(ANIMALS)
    )
    days = _visits(sky, rng)
    choices = _choices(sky, spots, substrates, dict(zip(ANIMALS, slopes)), days, rng)
    scans, sightings = _scans(sky, substrates, days, rng)
    tables = {
        "choices": choices,
        "scans": scans,
        "sightings": sightings,
        "gradient": _gradient(rng),
        "loggers": _loggers(sky, substrates, rng),
        "weather": _stations(rng),
    }
    truth = TRUTH | {"seed": SEED, "preference_by_animal": dict(zip(ANIMALS, np.round(slopes, 4).tolist()))}
    return DemoSeason(tables=tables, settings=_settings(), truth=truth)


def write(folder):
    """Write the demo season into a new folder, with the truth beside it.

    Parameters
    ----------
    folder : path
        Must not exist.

    Returns
    -------
    pathlib.Path

    Raises
    ------
    FieldkitError
        When the folder is there already.
    """
    with swapped_in(folder) as (half, _):
        season = make()
        for name, table in season.tables.items():
            table.to_csv(half / f"{name}.csv", index=False, lineterminator="\n")
        (half / "season.toml").write_text(season.settings, encoding="utf-8", newline="\n")
        truth = json.dumps(season.truth, indent=1, sort_keys=True) + "\n"
        (half / "truth.json").write_text(truth, encoding="utf-8", newline="\n")
    return Path(folder).expanduser()


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


def _visits(sky, rng):
    """Days on which the volunteers came: about one in six, when it did not pour or freeze."""
    days = pd.date_range(FIRST_DAY, LAST_DAY, freq="D")
    by_day = sky.groupby(sky.index.strftime("%Y-%m-%d"))
    good = (by_day["ghi_w_m2"].mean() > 60) & (by_day["air_c"].max() > 13)
    wanted = [day for day in days if good[day.strftime("%Y-%m-%d")]]
    return sorted(rng.choice(len(wanted), 38, replace=False)), wanted


def _rounds(days, minutes):
    """Times of a fixed round on every visit, 8:00 to 18:00 on the clock of the site."""
    chosen, wanted = days
    for number in chosen:
        start = wanted[number].tz_localize(ZONE) + pd.Timedelta("8h")
        yield number, pd.date_range(start, start + pd.Timedelta("10h"), freq=f"{minutes}min")


def _place_readings(row, spots, surfaces, rng):
    """What each place truly offers at one moment: a table in the order of the places."""
    beam, view = (np.array([EXPOSURES[e][i] for e in spots["exposure"]]) for i in (0, 1))
    # Gaps in leaves and lumps of ground: no two places of one kind get the same share.
    beam = np.clip(beam * rng.uniform(0.75, 1.05, len(spots)), 0, 1)
    flecked = (spots["exposure"] == "edge").to_numpy()
    beam[flecked] = rng.beta(1.2, 1.2, flecked.sum())
    irradiance = beam * row["beam_w_m2"] + view * row["dhi_w_m2"]
    open_share = (EXPOSURES["open"][0] * row["beam_w_m2"] + EXPOSURES["open"][1] * row["dhi_w_m2"]) or 1.0
    warmth = np.clip(irradiance / open_share, 0, 1)
    shade, full = (np.array([surfaces[s, e] for s in spots["substrate"]]) for e in ("shade", "open"))
    # A surface follows the sun it gets now only in part; the rest is what its kind of place had before.
    usual = np.array([surfaces[s, e] for s, e in zip(spots["substrate"], spots["exposure"])])
    surface = 0.5 * usual + 0.5 * (shade + warmth * (full - shade)) + spots["surface_offset_c"].to_numpy()
    wind = np.maximum(row["wind_m_s"] * spots["wind_share"].to_numpy(), 0.05)
    around = {
        "elevation_m": SITE["elevation_m"],
        "air_temperature_c": row["air_c"] + spots["air_offset_c"].to_numpy(),
        "wind_speed_m_s": wind,
        "dni_w_m2": beam * row["dni_w_m2"],
        "dhi_w_m2": view * row["dhi_w_m2"],
        "ground_upwelling_w_m2": 0.2 * irradiance,
        "sky_longwave_w_m2": view * row["longwave_w_m2"] + (1 - view) * heat.SIGMA * (row["air_c"] + 273.15) ** 4,
        "ground_temperature_c": surface,
    }
    return pd.DataFrame(
        {
            "shade_air_c": around["air_temperature_c"],
            "surface_c": surface,
            "irradiance_w_m2": irradiance,
            "probe_in_place_c": heat.operative_temperature(**around, body=PROBE),
            "operative_c": heat.operative_temperature(**around, body=LIZARD),
            "uv_index": row["clear_uv_index"] * irradiance / max(row["clear_ghi_w_m2"], 1.0),
            "wind_m_s": wind,
        }
    )


def _surfaces_at(substrates, position):
    return {key: series[position] for key, series in substrates.items()}


def _choices(sky, spots, substrates, slopes, days, rng):
    """Choice sets: where an animal lay, and five places it could have taken, read within minutes."""
    rows, number = [], 0
    for _, times in _rounds(days, 10):
        for time in sorted(rng.choice(len(times) - 1, rng.integers(4, 8), replace=False)):
            time = times[time]
            position = sky.index.get_loc(time)
            row = sky.iloc[position]
            if row["ghi_w_m2"] < 80 or row["air_c"] < 8:
                continue
            animal, observer = rng.choice(ANIMALS), "ABC"[rng.integers(3)]
            offered = spots.iloc[rng.choice(len(spots), 6, replace=False)].reset_index(drop=True)
            true = _place_readings(row, offered, _surfaces_at(substrates, position), rng)
            want = slopes[animal] * (TRUTH["switch_point_air_c"] - row["air_c"]) / (TRUTH["switch_point_air_c"] - 20)
            utility = want * true["irradiance_w_m2"] / 100 + rng.gumbel(size=len(true))
            used = (utility == utility.max()).astype(int)
            read = true + rng.normal(size=true.shape) * np.array([ERRORS[c] for c in true.columns])
            for column in ("irradiance_w_m2", "uv_index", "wind_m_s"):
                read[column] = read[column].clip(lower=0)
            if observer != "A":  # only A carries the UV meter
                read["uv_index"] = np.nan
            number += 1
            minutes = pd.to_timedelta(rng.integers(0, 9, len(true)), unit="min")
            table = pd.concat([offered[["place_id", "substrate"]], read], axis=1)
            table.insert(0, "set_id", f"S{number:03d}")
            table.insert(1, "time", [(time + m).strftime("%Y-%m-%d %H:%M") for m in minutes])
            table.insert(2, "animal_id", animal)
            table.insert(4, "used", used)
            table["observer"] = observer
            rows.append(table.sort_values("used", ascending=False, kind="stable"))
    table = pd.concat(rows, ignore_index=True)
    for column, digits in {"irradiance_w_m2": 0, "uv_index": 1, "wind_m_s": 1}.items():
        table[column] = table[column].round(digits)
    for column in ("shade_air_c", "surface_c", "probe_in_place_c", "operative_c"):
        table[column] = table[column].round(1)
    for column, share in {
        "surface_c": 0.02,
        "irradiance_w_m2": 0.01,
        "operative_c": 0.08,
        "probe_in_place_c": 0.1,
    }.items():
        table.loc[rng.random(len(table)) < share, column] = np.nan
    lost = rng.choice(table["set_id"].unique(), 5, replace=False)
    table.loc[table["set_id"].isin(lost), "animal_id"] = None  # the mark could not be read
    table["notes"] = None
    table.loc[table["animal_id"].isna() & table["used"].eq(1), "notes"] = "mark not read"
    return table


def _scans(sky, substrates, days, rng):
    """Looks at marked animals every half hour, and animals met by chance on the way."""
    optimum, tolerance = TRUTH["basking_optimum_air_c"], TRUTH["basking_tolerance_air_c"]
    peak = np.log(TRUTH["basking_peak_probability"] / (1 - TRUTH["basking_peak_probability"]))
    moods = dict(zip(ANIMALS, rng.normal(0, 0.4, len(ANIMALS))))
    in_sun, in_shade = (heat.operative_temperature(**around, body=LIZARD) for around in _around(sky, substrates))
    coolest, warmest = np.minimum(in_sun, in_shade), np.maximum(in_sun, in_shade)
    crevice = sky["air_c"].rolling(216, min_periods=1).mean().to_numpy()  # deep rock follows a day and a half of air
    looks, met = [], []
    for _, times in _rounds(days, 30):
        focal = rng.choice(ANIMALS, 6, replace=False)
        day_mood = rng.normal(0, 0.3)
        observer = "ABC"[rng.integers(3)]
        for time in times:
            position = sky.index.get_loc(time)
            row = sky.iloc[position]
            sun_w_m2 = row["ghi_w_m2"]
            for animal in focal:
                score = peak - (row["air_c"] - optimum) ** 2 / (2 * tolerance**2)
                score += 0.2 * (min(sun_w_m2, 600) - 400) / 100 + moods[animal] + day_mood
                basks = rng.random() < 1 / (1 + np.exp(-score))
                behaviour = "basking" if basks else _else(row["air_c"], rng)
                if behaviour == "retreat":
                    body = crevice[position] + rng.normal(0, 0.5)
                else:  # abroad, it holds what it prefers as far as sun and shade let it
                    wanted = rng.normal(TRUTH["preferred_body_mean_c"], TRUTH["preferred_body_sd_c"])
                    body = np.clip(wanted, coolest[position], warmest[position]) + rng.normal(0, 0.3)
                looks.append(
                    {
                        "time": time.strftime("%Y-%m-%d %H:%M"),
                        "animal_id": animal,
                        "behaviour": behaviour,
                        # Six animals carry a temperature transmitter.
                        "body_temperature_c": round(body, 1) if animal <= "R06" and rng.random() < 0.8 else np.nan,
                        "shade_air_c": round(row["air_c"] + rng.normal(0, ERRORS["shade_air_c"]), 1),
                        "observer": observer,
                    }
                )
            if rng.random() < 0.15 and row["air_c"] > 12:
                met.append(
                    {
                        "time": (time + pd.Timedelta(minutes=int(rng.integers(1, 25)))).strftime("%Y-%m-%d %H:%M"),
                        "animal_id": rng.choice([*ANIMALS, None]),
                        "behaviour": rng.choice(
                            ["basking", "moving", "feeding", "shuttling"], p=[0.5, 0.25, 0.1, 0.15]
                        ),
                        "observer": observer,
                        "count": int(rng.choice([1, 1, 1, 2])),
                    }
                )
    looks = pd.DataFrame(looks)
    # Scans that nobody wrote down.
    return looks[rng.random(len(looks)) > 0.03].reset_index(drop=True), pd.DataFrame(met)


def _else(air_c, rng):
    """What an animal does when it does not bask: under ground when cold or hot, about when it is mild."""
    if air_c < 13:
        return "retreat"
    if air_c > 31:
        return rng.choice(["retreat", "resting"], p=[0.85, 0.15])
    return rng.choice(["moving", "feeding", "shuttling", "resting", "retreat"], p=[0.25, 0.15, 0.2, 0.2, 0.2])


def _around(sky, substrates):
    """What a body on the open ledge and one in the shade beside it exchange heat with."""
    shade = {
        "elevation_m": SITE["elevation_m"],
        "air_temperature_c": sky["air_c"].to_numpy(),
        "wind_speed_m_s": sky["wind_m_s"].to_numpy(),
        "dhi_w_m2": 0.3 * sky["dhi_w_m2"].to_numpy(),
        "sky_longwave_w_m2": _longwave(sky, 0.3),
        "ground_temperature_c": substrates["rock", "shade"],
    }
    ledge = shade | {
        "dni_w_m2": sky["dni_w_m2"].to_numpy(),
        "dhi_w_m2": sky["dhi_w_m2"].to_numpy(),
        "ground_upwelling_w_m2": 0.2 * sky["ghi_w_m2"].to_numpy(),
        "sky_longwave_w_m2": sky["longwave_w_m2"].to_numpy(),
        "ground_temperature_c": substrates["rock", "open"],
    }
    return ledge, shade


def _gradient(rng):
    """Body temperatures of ten animals in a laboratory gradient, eight readings each, half an hour apart."""
    rows = []
    for number, animal in enumerate(ANIMALS[:10]):
        own = rng.normal(0, 0.5)
        start = pd.Timestamp("2025-05-05 10:00") + pd.Timedelta(days=number)
        for reading in range(8):
            wanted = TRUTH["preferred_body_mean_c"] + own
            spread = np.sqrt(TRUTH["preferred_body_sd_c"] ** 2 - 0.25)
            body = rng.normal(wanted, spread) + rng.normal(0, 0.2)
            time = (start + pd.Timedelta(minutes=30 * reading)).strftime("%Y-%m-%d %H:%M")
            rows.append({"time": time, "animal_id": animal, "body_temperature_c": round(body, 1), "observer": "B"})
    return pd.DataFrame(rows)


def _loggers(sky, substrates, rng):
    """Long table of all loggers; their clocks are never set to summer time."""
    in_sun, in_shade = _around(sky, substrates)
    # Even a case in good shade gets some sky light: that much error is honest, and an hour of sun is not.
    under_birch = heat.operative_temperature(**in_shade | {"dhi_w_m2": 0.08 * sky["dhi_w_m2"].to_numpy()}, body=CASE)
    left = TRUTH["logger_in_the_sun"]
    fallen = (sky.index >= _logger_time(left["from"])) & (sky.index < _logger_time(left["to"]))
    values = {
        "shade-1": sky["air_c"].to_numpy(),
        "shade-2": np.where(fallen, heat.operative_temperature(**in_sun, body=CASE), under_birch),
        "probe-1": heat.operative_temperature(**in_sun, body=PROBE),
        "rock-1": substrates["rock", "open"],
        "model-1": heat.operative_temperature(**in_sun, body=MODEL),
        "model-2": heat.operative_temperature(**in_shade, body=MODEL),
        "sun-1": sky["ghi_w_m2"].to_numpy(),
        "wind-1": sky["wind_m_s"].to_numpy(),
    }
    parts = []
    for name, _, unit, _, error, _, _, minutes in LOGGERS:
        step = slice(None, None, minutes // 10)
        read = values[name][step] + rng.normal(0, error, len(sky.index[step]))
        read = np.maximum(read, 0) if unit in ("W/m2", "m/s") else read
        table = pd.DataFrame(
            {
                "time": sky.index[step].strftime("%Y-%m-%d %H:%M"),
                "logger_id": name,
                "value": np.round(read, 0 if unit == "W/m2" else 1),
            }
        )
        if name == "probe-1":  # flat battery
            table = table[(table["time"] < "2025-08-02 07") | (table["time"] > "2025-08-06 18")]
        parts.append(table)
    return pd.concat(parts, ignore_index=True)


def _logger_time(text):
    return pd.Timestamp(text, tz="Etc/GMT+5")


def _stations(rng):
    """Three years of daily extremes at four invented stations: the open typical year, moved by height and weather."""
    hourly = _typical_year()["temp_air"]
    hourly.index = hourly.index - pd.Timedelta(minutes=30)
    by_day = hourly.groupby(hourly.index.strftime("%m-%d")).agg(["max", "min"])
    days = pd.date_range("2023-01-01", "2025-12-31", freq="D")
    typical = by_day.reindex(days.strftime("%m-%d")).ffill().to_numpy()
    # The same spells of weather pass over all stations; each adds a little of its own.
    spells = _ar1(rng, len(days), 0.75, 2.0)
    parts = []
    for name, (_, _, elevation_m) in STATIONS.items():
        lapse = -TRUTH["lapse_rate_k_per_km"] / 1000 * (elevation_m - STATION_ELEVATION_M)
        own = _ar1(rng, len(days), 0.5, 0.8)[:, None] + rng.normal(0, 0.5, (len(days), 2))
        extremes = np.round(typical + lapse + spells[:, None] + own, 1)
        table = pd.DataFrame(
            {
                "station_id": name,
                "date": days.strftime("%Y-%m-%d"),
                "tmax_c": extremes.max(axis=1),
                "tmin_c": extremes.min(axis=1),
            }
        )
        missing = rng.random(len(table)) < 0.01
        if name == "lake":  # the sensor failed for three weeks
            missing |= (table["date"] >= "2024-07-03") & (table["date"] <= "2024-07-24")
        parts.append(table[~missing])
    return pd.concat(parts, ignore_index=True)


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


if __name__ == "__main__":
    print(f"Wrote the demo season to {write(sys.argv[1])}.")
