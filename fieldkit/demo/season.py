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

from fieldkit.core import FieldkitError, generator
from fieldkit.physics import heat

from .quarry import (
    ANIMALS,
    CASE,
    ERRORS,
    EXPOSURES,
    FIRST_DAY,
    LAST_DAY,
    LIZARD,
    LOGGERS,
    MODEL,
    PROBE,
    SEED,
    SITE,
    STATION_ELEVATION_M,
    STATIONS,
    TRUTH,
    ZONE,
    _ar1,
    _longwave,
    _settings,
    _spots,
    _substrates,
    _typical_year,
    _weather,
)


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
    folder = Path(folder)
    if folder.exists():
        raise FieldkitError(f"{folder} is there already: nothing was written. Name a new folder.")
    season = make()
    folder.mkdir(parents=True)
    for name, table in season.tables.items():
        table.to_csv(folder / f"{name}.csv", index=False, lineterminator="\n")
    (folder / "season.toml").write_text(season.settings, encoding="utf-8", newline="\n")
    (folder / "truth.json").write_text(
        json.dumps(season.truth, indent=1, sort_keys=True) + "\n", encoding="utf-8", newline="\n"
    )
    return folder


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
    """Looks at marked animals every half hour, and animals seen incidentally on the way."""
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


if __name__ == "__main__":
    print(f"Wrote the demo season to {write(sys.argv[1])}.")
