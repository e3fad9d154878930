"""How often the contamination test is right: simulated weeks over latitudes, seasons, instruments and logging steps.

Run ``python tests/studies/study_contamination.py [weeks] [seed] [file] [ways]``; it prints the tables, and keeps the
rows in
the file as it goes (ways: names as in `WAYS`, with semicolons between). ``learn [weeks] [seed]`` prints the weights
of
`fieldkit.physics.radiation_error.variability` instead. Weather: every second week from the
real typical-year file that comes with pvlib (Greensboro, hourly air, sun and wind), broken into minutes by stochastic
clouds; the others synthetic from 5° to 60° latitude. Instruments: the one heat balance. Irradiance and wind are
logged
at the step of the thermometers, at an instant in every other week and as averages in the rest. The detector never
sees
the truth, and the air of the simulation is not built from the detector's own assumptions: lags, gains, fronts,
morning
inversions and restlessness are drawn anew for each week.
"""

import functools
import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.signal import lfilter
from scipy.special import expit

from fieldkit.physics import heat, sensors, sun
from fieldkit.physics.radiation_error import light as lighting
from fieldkit.physics.radiation_error import variability as restless

MINUTES = 1440
INSTRUMENTS = {
    "steel probe 5 mm": (sensors.INSTRUMENTS["bare steel probe"], 1.0),
    "black probe 5 mm": (sensors.INSTRUMENTS["bare black probe"], 1.5),
    "white capped probe 10 mm": (
        sensors.Instrument(
            body=heat.probe(diameter_m=0.010, length_m=0.03, shortwave_absorptivity=0.35, emissivity=0.9)
        ),
        3.0,
    ),
    "logger box 35 mm": (sensors.INSTRUMENTS["logger box"], 10.0),
    "dial 70 mm": (sensors.INSTRUMENTS["dial thermometer"], 12.0),
    "leaking radiation shield": (
        sensors.Instrument(
            body=heat.probe(diameter_m=0.010, length_m=0.03, shortwave_absorptivity=0.6, emissivity=0.9),
            beam_share=0.4,
            sky_share=0.4,
            wind_share=0.3,
        ),
        5.0,
    ),
}


def lagged(values, lag_min):
    keep = np.exp(-1 / lag_min)
    return lfilter([1 - keep], [1, -keep], values, zi=[keep * values[0]])[0]


def wander(rng, n, lag_min, deviation):
    keep = np.exp(-1 / lag_min)
    steps = rng.normal(size=n) * np.sqrt(1 - keep**2)
    return deviation * lfilter([1], [1, -keep], steps, zi=[keep * rng.normal()])[0]


@functools.cache
def clear_week(latitude, day_of_year, longitude=0.0, zone="Etc/GMT+0", days=7):
    start = pd.Timestamp("2023-01-01", tz=zone) + pd.Timedelta(days=day_of_year - 1)
    times = pd.date_range(start, periods=days * MINUTES, freq="1min")
    # Sun every ten minutes, straight lines between: quick, and off by less than 1 W/m².
    coarse = times[::10].append(times[-1:])
    sky = sun.irradiance(coarse, latitude_deg=latitude, longitude_deg=longitude, linke_turbidity=3.0)
    at = np.arange(len(times))
    known = np.r_[at[::10], at[-1]]
    parts = {c: np.interp(at, known, sky[c]) for c in ("dni_w_m2", "dhi_w_m2")}
    cos_zenith = np.interp(at, known, np.cos(np.radians(sky["apparent_zenith_deg"])).clip(lower=0))
    return times, parts["dni_w_m2"], parts["dhi_w_m2"], cos_zenith


@functools.lru_cache(maxsize=1)
def typical_year():
    import pvlib

    path = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
    year, _ = pvlib.iotools.read_tmy3(path, coerce_year=2023, map_variables=True)
    return year


def broken_clouds(rng, cover, n):
    """Minutes of cloud and of gap whose share follows `cover`."""
    length = rng.uniform(3, 25)
    on, i = np.empty(n), 0
    state = rng.random() < cover[0]
    while i < n:
        share = cover[i]
        if share < 0.04 or share > 0.96:
            state, stay = share > 0.5, 30
        else:
            stay = int(np.ceil(rng.exponential(2 * length * (share if state else 1 - share))))
        on[i : i + stay] = state
        i += stay
        state = not state
    return lagged(on, 1.0)


def week_of_weather(rng, source):
    if source == "typical year":
        day = int(rng.integers(2, 356))
        place = (36.1, day, -79.95, "Etc/GMT+5")
    else:
        place = (float(rng.choice([5, 20, 35, 50, 60])), int(rng.choice([15, 105, 196, 288])))
    times, dni_clear, dhi_clear, cos_zenith = clear_week(*place)
    n = len(times)
    if source == "typical year":
        year = typical_year()
        rows = slice((place[1] - 1) * 24, (place[1] - 1) * 24 + 7 * 24)
        hours = (np.arange(7 * 24) + 0.5) * 60
        clear = np.interp(hours, np.arange(n), dni_clear)
        hourly_cover = 1 - np.clip(year["dni"].to_numpy()[rows] / np.maximum(clear, 50), 0, 1)
        lit = clear > 50
        hourly_cover = np.interp(hours, hours[lit], hourly_cover[lit])
        cover = np.interp(np.arange(n), hours, hourly_cover)
        # Readings stand at the end of the hour.
        air = np.interp(np.arange(n), hours + 30, year["temp_air"].to_numpy()[rows])
        mean_wind = np.interp(np.arange(n), hours + 30, year["wind_speed"].to_numpy()[rows]) * rng.uniform(0.2, 0.6)
    else:
        cover = np.repeat(np.clip(rng.beta(0.7, 0.7, size=7), 0, 1), MINUTES)
        mean_wind = np.full(n, rng.uniform(0.4, 2.5))
        air = 25 - 0.35 * abs(place[0]) + 10 * np.sin(2 * np.pi * (place[1] - 110) / 365) * abs(place[0]) / 60
        air = air + wander(rng, n, 2 * MINUTES, 2.5)
    depth = np.clip(rng.uniform(0.5, 1.0) + wander(rng, n, 10, 0.1), 0, 1)
    shade = broken_clouds(rng, cover, n) * depth
    dni = dni_clear * (1 - shade)
    dhi = np.minimum(dhi_clear * (1 + shade * rng.uniform(-0.3, 1.5)), dhi_clear + 0.35 * dni_clear * cos_zenith)
    ghi = dni * cos_zenith + dhi
    wind = np.clip(mean_wind * np.exp(wander(rng, n, 180, 0.35) + wander(rng, n, 4, 0.3)), 0.05, 12)
    # Air's own answer to the sun: within minutes over warm ground (a month of minutes at Payerne: 1.6 to 3.0 °C per
    # 1,000 W/m² after 4 to 6 minutes), over tens of minutes, and over hours.
    answer = rng.uniform(0, 3) * lagged(ghi, rng.uniform(3, 10)) / 1000
    answer = answer + rng.uniform(0.5, 4) * lagged(ghi, rng.uniform(25, 90)) / 1000
    if source == "typical year":
        # The hourly file already holds the slow part.
        kernel = np.ones(60) / 60
        answer = answer - np.convolve(answer, kernel, mode="same")
    else:
        answer = answer + rng.uniform(5, 14) * lagged(ghi, rng.uniform(150, 360)) / 1000
        answer = answer + wander(rng, n, 300, 0.6)
        for _ in range(rng.poisson(1)):
            answer = answer + rng.normal(0, 2.5) * expit((np.arange(n) - rng.integers(n)) / rng.uniform(8, 40))
    # Eddies: restlessness by night and by day. Places metres apart share half of their variance (see `microclimate`).
    eddies = 0.08 + rng.uniform(0.1, 0.4) * np.sqrt(np.maximum(ghi, 0) / 1000), rng.uniform(5, 15)
    air = air + answer + wander(rng, n, eddies[1], np.sqrt(0.5)) * eddies[0]
    return {
        "times": times, "dni": dni, "dhi": dhi, "ghi": ghi, "wind": wind, "air": air, "source": source,
        "eddies": eddies, "clear": dni_clear * cos_zenith + dhi_clear,
        "latitude": place[0], "longitude": place[2] if len(place) > 2 else 0.0, "day": place[1],
    }  # fmt: skip


def exposure(rng, weather, kind):
    """Share of the beam that reaches the place, minute by minute."""
    hour = (weather["times"].hour + weather["times"].minute / 60).to_numpy()
    if kind == "all day":
        return np.ones(hour.size)
    width = {"half day": 6, "3 hours": 3, "1 hour": 1}[kind]
    middle = rng.choice([9.0, 15.0]) if width == 6 else rng.uniform(9.5, 14.5)
    return (np.abs(hour - middle) <= width / 2).astype(float)


def excess(weather, name, open_share):
    """How much warmer than the local air the instrument reads (°C), sunlit for `open_share` of the beam."""
    instrument, lag_min = INSTRUMENTS[name]
    rest = heat.operative_temperature  # one energy balance in the project
    # The balance is smooth: every fifth minute is enough, straight lines between.
    pick = slice(None, None, 5)
    body, dark = instrument.body, 0.15
    share = dark + (1 - dark) * open_share
    reading = rest(
        air_temperature_c=weather["air"][pick],
        wind_speed_m_s=weather["wind"][pick] * instrument.wind_share,
        body=body,
        dni_w_m2=(weather["dni"] * open_share)[pick] * instrument.beam_share,
        dhi_w_m2=(weather["dhi"] * share)[pick] * instrument.sky_share,
        ground_upwelling_w_m2=(0.2 * weather["ghi"] * share)[pick] * instrument.sky_share,
        turbulence_factor=1.2,
    )
    at = np.arange(len(weather["times"]))
    return lagged(np.interp(at, at[pick], reading - weather["air"][pick]), lag_min)


def microclimate(rng, n, ghi, eddies):
    """A place's air against the site's: other answers to the sun, morning inversion, own eddies."""
    hour = (np.arange(n) / 60) % 24
    bump = rng.normal(0, 0.25) * np.exp(-0.5 * ((hour - rng.uniform(7, 10)) / rng.uniform(0.7, 1.5)) ** 2)
    slow = rng.uniform(-1.5, 1.5) * lagged(ghi, rng.uniform(30, 120)) / 1000
    prompt = rng.uniform(-0.7, 0.7) * lagged(ghi, rng.uniform(3, 10)) / 1000
    own = wander(rng, n, eddies[1], np.sqrt(0.5)) * eddies[0]
    return slow + prompt + bump + own + rng.normal(0, 0.3) + wander(rng, n, rng.uniform(10, 60), 0.12)


def logger(rng, weather, step, name, kind=None):
    """One logger's readings and how many °C of them the sun put there."""
    n = len(weather["times"])
    local = weather["air"] + microclimate(rng, n, weather["ghi"], weather["eddies"])
    shaded = excess(weather, name, np.zeros(n))
    warm = shaded if kind is None else excess(weather, name, exposure(rng, weather, kind))
    readings = lagged(local, INSTRUMENTS[name][1]) + warm + rng.normal(0, rng.choice([0.05, 0.1, 0.2]), n)
    resolution = rng.choice([0.0625, 0.1, 0.5])
    pick = slice(None, None, step)
    return (
        pd.Series(np.round(readings / resolution)[pick] * resolution, weather["times"][pick]),
        (warm - shaded)[pick],
    )


def station(rng, weather):
    """Hourly air of a weather station some way off."""
    n = len(weather["times"])
    air = (
        weather["air"]
        + microclimate(rng, n, weather["ghi"], weather["eddies"])
        + rng.normal(0, 1)
        + wander(rng, n, 120, 0.5)
    )
    return pd.Series(air, weather["times"]).iloc[::60]


def learn(weeks, seed):
    """The weights of `contamination_restless`: what sets sunlit thermometers apart from clean air, and what clean air
    usually comes to, from simulated weeks; a table for series alone and one for differences from two others."""
    import statsmodels.api as sm

    rng = np.random.default_rng(seed)
    steps = (5, 10, 15, 30, 60)
    logs = {(name, step): [] for name in ("ALONE", "DIFFERENCE") for step in steps}
    lit = {step: [] for step in steps}
    for week in range(weeks):
        weather = week_of_weather(rng, ("typical year", "synthetic")[week % 2])
        kind = rng.choice(["clean", "all day", "half day"], p=[0.5, 0.31, 0.19])
        kinds = [None if kind == "clean" else str(kind), None, None]
        for step in steps:
            raw = int(rng.choice([1, 5])) if step == 5 else step
            names = rng.choice(list(INSTRUMENTS), size=3)
            some = [logger(rng, weather, raw, str(name), kind)[0] for name, kind in zip(names, kinds)]
            some = [lighting.on_grid(one, float(step)).to_numpy()[: 7 * MINUTES // step] for one in some]
            up = np.where(weather["clear"][::step] > lighting.UP_W_M2, 1.0, 0.0)
            days = np.arange(up.size) * step // MINUTES
            for name, values in (("ALONE", some[0]), ("DIFFERENCE", some[0] - (some[1] + some[2]) / 2)):
                logs[name, step].append(restless.week_mean(*restless.logarithms(values, up, days)))
            lit[step].append(kinds[0] is not None)
    for name in ("ALONE", "DIFFERENCE"):
        print(f"{name} = {{")
        for step in steps:
            lags = 4 if step == 60 else 6  # four hours are as long as some nights
            columns, sunlit = np.asarray(logs[name, step])[:, :lags], np.asarray(lit[step])
            good = np.isfinite(columns).all(axis=1)
            columns, sunlit = columns[good], sunlit[good]
            weights = sm.Logit(sunlit, sm.add_constant(columns)).fit(disp=0, maxiter=200).params[1:]
            score = columns @ weights
            usual, spread = score[~sunlit].mean(), score[~sunlit].std(ddof=1)
            numbers = np.r_[weights / spread, np.zeros(6 - lags), usual / spread]
            print(f"    {float(step)}: ({', '.join(f'{number:.2f}' for number in numbers)}),", flush=True)
        print("}")


WAYS = (
    "alone",
    "with two others",
    "with one other",
    "with a station",
    "alone, wind known",
    "two others, wind known",
    "alone, site unknown",
    "alone, stamps half a step late",
    "alone, clear sky",
    "two others, clear sky",
)


def logged(values, times, step, *, averages):
    """A driver as its logger keeps it: every `step` minutes, at that instant or averaged around the stamp."""
    series = pd.Series(values, times)
    if step == 1 or not averages:
        return series.iloc[::step]
    ends = series.resample(f"{step}min", closed="right", label="right").mean()
    return ends.set_axis(ends.index - pd.Timedelta(minutes=step / 2)).loc[: times[-1]]


def study(weeks, seed, ways=WAYS, keep=None):
    """One row per week and way of testing: was the logger flagged, was it sunlit, by how much."""
    rng = np.random.default_rng(seed)
    rows = []
    for week in range(weeks):
        weather = week_of_weather(rng, ("typical year", "synthetic")[week % 2])
        step = int(rng.choice([1, 5, 10, 15, 30, 60]))
        name = str(rng.choice(list(INSTRUMENTS)))
        kind = rng.choice(
            ["clean", "clean", "all day", "half day", "3 hours", "1 hour"], p=[0.25, 0.25, 0.2, 0.1, 0.1, 0.1]
        )
        readings, warm = logger(rng, weather, step, name, None if kind == "clean" else kind)
        others = {}
        for i in range(2):
            other = str(rng.choice(list(INSTRUMENTS)))
            others[f"other {i}"] = logger(rng, weather, step, other)[0]
        averages = bool(week // 2 % 2)
        measured = logged(weather["ghi"] * rng.normal(1, 0.05), weather["times"], step, averages=averages)
        wind = logged(weather["wind"] * np.exp(rng.normal(0, 0.3)), weather["times"], step, averages=averages)
        air = station(rng, weather)
        site = {"latitude_deg": weather["latitude"], "longitude_deg": weather["longitude"]}
        table = pd.DataFrame({"it": readings} | others)
        for way in ways:
            sun_given = measured
            if "late" in way:
                sun_given = measured.set_axis(measured.index + pd.Timedelta(minutes=step / 2))
            beside = 2 if "others" in way else "one other" in way
            answer = sensors.find_contamination(
                table.iloc[:, : 1 + beside],
                None if "clear" in way else sun_given,
                site=None if "unknown" in way else site,
                reference=air if "station" in way else None,
                wind=wind if "wind" in way else None,
            )
            line = answer.table.set_index("logger_id").loc["it"]
            strong = np.quantile(warm, 0.95)
            guess = answer.estimate_c["it"].to_numpy()
            rows.append(
                {
                    "way": way, "exposure": str(kind), "instrument": name, "step_min": step,
                    "weather": weather["source"], "latitude": weather["latitude"], "day": weather["day"],
                    "averages": averages, "sunlit_c": strong,
                    "flagged": line["verdict"] == "reads the sun", "verdict": line["verdict"],
                    "strength": line["strength"], "detectable_c": line["detectable_c"],
                    "others_flagged": int((answer.table["verdict"] == "reads the sun").sum())
                    - (line["verdict"] == "reads the sun"),
                    "low_c": line["low_c"], "high_c": line["high_c"], "estimate_c": line["contamination_c"],
                    "mean_true_c": warm.mean(), "mean_estimate_c": guess.mean(),
                }
            )  # fmt: skip
        if keep and week % 20 == 19:
            pd.DataFrame(rows).to_pickle(keep)
    return pd.DataFrame(rows)


def rate(flags):
    """Share flagged with its 95 % Wilson interval and count, in words."""
    from statsmodels.stats.proportion import proportion_confint

    if not len(flags):
        return "–"
    low, high = proportion_confint(int(flags.sum()), len(flags), method="wilson")
    return f"{flags.mean():.3f} ({low:.2f}–{high:.2f}, n {len(flags)})"


def report(table):
    clean, lit = table["exposure"] == "clean", table["exposure"].isin(["all day", "half day"])
    print(f"\n{len(table) // table['way'].nunique()} weeks. Share flagged, 95 % interval, number of weeks")
    kinds = {"clean": clean, "sunlit half day or all day": lit}
    kinds |= {kind: table["exposure"] == kind for kind in ("all day", "half day", "3 hours", "1 hour")}
    ways = table["way"].unique()
    parts = {
        words: {way: rate(table[mask & (table["way"] == way)]["flagged"]) for way in ways}
        for words, mask in kinds.items()
    }
    print(pd.DataFrame(parts).to_string())
    print("\nWhat is said of a logger, clean or sunlit half day or all day: share of weeks")
    for words, mask in (("clean", clean), ("sunlit", lit)):
        said = pd.crosstab(table[mask]["way"], table[mask]["verdict"], normalize="index").reindex(ways)
        print(f"{words}\n{said.round(3).to_string()}")
    bins = pd.cut(table["sunlit_c"], [-1, 0.5, 1, 1.5, 2, 3, 5, 10, 40])
    for what, column in (("found", "flagged"), ("found, or said that the data cannot tell", "not_called_clean")):
        print(f"\nHalf day and all day, by how warm the sun made it (95th percentile of the week, °C): {what}")
        both = table.assign(not_called_clean=table["verdict"] != "no sign of sun")[lit]
        pivot = both.pivot_table(index="way", columns=bins[lit], values=column, aggfunc=rate, observed=True, sort=False)
        print(pivot.T.sort_index().to_string())
    for by in ("instrument", "step_min", "weather", "latitude", "averages"):
        print(f"\nBy {by}: clean | sunlit half day or all day")
        both = {
            f"{way} {what}": table[mask & (table["way"] == way)].groupby(by)["flagged"].apply(rate)
            for way in ways[:3]
            for what, mask in (("clean", clean), ("sunlit", lit))
        }
        print(pd.DataFrame(both).to_string())
    found = table[lit & table["flagged"]]
    ratio = found["mean_estimate_c"] / found["mean_true_c"]
    print("\nEstimated over true mean contamination, where found (5 %, median, 95 %):")
    print(ratio.groupby(found["way"], sort=False).describe(percentiles=[0.05, 0.5, 0.95]).round(2).to_string())
    share = [found[c] / found["estimate_c"] * found["mean_estimate_c"] for c in ("low_c", "high_c")]
    inside = (share[0] <= found["mean_true_c"]) & (found["mean_true_c"] <= share[1])
    print("\nTrue mean inside the stated 95 % interval, where found:")
    print(inside.groupby(found["way"], sort=False).apply(rate).to_string())
    inside = (found["low_c"] <= found["sunlit_c"]) & (found["sunlit_c"] <= found["high_c"])
    print("\nTrue 95th percentile of the week (about strong sun) inside the stated 95 % interval, where found:")
    print(inside.groupby(found["way"], sort=False).apply(rate).to_string())
    sure = lit & (table["exposure"] == "all day") & (table["sunlit_c"] > table["detectable_c"])
    print("\nLit all day by more than was called detectable: share found")
    print(table[sure].groupby("way", sort=False)["flagged"].apply(rate).to_string())


if __name__ == "__main__":
    if sys.argv[1:2] == ["learn"]:
        learn(*(int(value) for value in sys.argv[2:4]))
        sys.exit()
    given = dict(enumerate(sys.argv[1:]))
    file = given.get(2)
    chosen = tuple(given[3].split(";")) if 3 in given else WAYS
    result = study(int(given.get(0, 400)), int(given.get(1, 1)), chosen, file)
    if file:
        result.to_pickle(file)
    report(result)
