"""Seasons with known truth: what the tests are tested on, and what planning draws from."""

from dataclasses import dataclass

import numpy as np

from fieldkit.core import FieldkitError, Result, generator

# Stated errors (standard deviations) of simple field instruments: a shielded thermometer, an infrared thermometer, a
# pocket pyranometer. Common practice, no source.
INSTRUMENT_ERRORS = {"shade_air_c": 0.4, "surface_c": 1.5, "irradiance_w_m2": 30.0}
COLUMNS = {"air": "shade_air_c", "surface": "surface_c", "radiation": "irradiance_w_m2"}
# A sunlit surface lies about 25 K above its surroundings at 1,000 W/m² (common practice, no source).
SURFACE_PER_W_M2 = 0.025
# What the shade of a lasting place changes from visit to visit, share of the sun (our choice).
WAVER = 0.1
# Minutes from look to look of an animal that stays, and from reading to reading within a set (our choices).
LOOK_MIN, READING_MIN = 5, 2
SUBSTRATES = {"rock": 1.2, "wood": 0.4, "soil": -0.4, "leaf litter": -1.2}


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class ChoiceSeason(Result):
    """A simulated season: `choices` as an observer would write it down, `truth` row by row beside it.

    Attributes
    ----------
    choices : DataFrame
        The choice table of a season folder, with instrument errors in it.
    truth : DataFrame
        True air, surface, irradiance and operative temperature, and the probability of being used.
    slopes : DataFrame
        Log odds per within-set standard deviation of each driver, by animal.
    settings : dict
        Everything the season was made with.
    seed : int or None
    """

    choices: object
    truth: object
    slopes: object
    settings: dict
    seed: int | None

    @property
    def table(self):
        """The settings, one row each."""
        import pandas as pd

        return pd.DataFrame({"value": {k: str(v) for k, v in self.settings.items()}})

    @property
    def sentence(self):
        """What was simulated, in words."""
        s = self.settings
        driver = " and ".join(s["driver"]) or "nothing"
        how = f"odds ratio {s['effect']:g} per within-set standard deviation"
        if s["hump"] is not None:
            how = f"middle values preferred, near {s['hump'][0]:g}"
        return (
            f"A simulated season: {s['n_sets']} choice sets of {s['n_animals']} animals that choose on {driver} "
            f"({how})."
        )


def choice_season(
    *,
    n_sets=120,
    n_places=(5, 8),
    driver="radiation",
    effect=2.0,
    n_animals=15,
    individual_sd=0.0,
    surface_radiation_correlation=0.75,
    air_surface_correlation=0.3,
    air_contrast_c=0.8,
    instrument_errors=None,
    preferred_c=34.0,
    tolerance_c=5.0,
    switch_air_c=None,
    hump=None,
    fixed_places=None,
    liking_sd=0.0,
    looks_per_visit=1,
    largest_share=None,
    used_first=False,
    latitude_deg=36.1,
    longitude_deg=-79.95,
    timezone="America/New_York",
    rng=0,
):
    """Simulate a season of choice sets with known truth.

    Parameters
    ----------
    n_sets : int
        Choice sets.
    n_places : int or (int, int)
        Places in a set, or their lowest and highest number.
    driver : {"air", "surface", "radiation", "operative", "none"} or tuple of str
        On what the animals choose. "operative" is a hump: they seek an operative temperature.
    effect : float
        Factor by which the odds of a place rise for one within-set standard deviation of each driver (not used for
        "operative").
    n_animals : int
        Animals; some are met more often than others.
    individual_sd : float
        Standard deviation among animals of the log odds per within-set standard deviation.
    surface_radiation_correlation, air_surface_correlation : float
        Within-set correlations of the true values, -1 to 1; the first not 0.
    air_contrast_c : float
        Within-set standard deviation of true shade air temperature (°C).
    instrument_errors : dict of str to float, optional
        Standard deviation of each reading, by column; `INSTRUMENT_ERRORS` unless given.
    preferred_c, tolerance_c : float
        Hump for "operative": log odds fall by (te - preferred)² / (2 tolerance²).
    switch_air_c : float, optional
        Radiation is sought below this shade air temperature and avoided above it: the slope is ln(effect) times
        (switch_air_c - air) / 5.
    hump : (float, float), optional
        Preferred value and tolerance, in the unit of the driver: middle values are sought, log odds falling by
        (x - preferred)² / (2 tolerance²) in place of `effect`.
    fixed_places : int, optional
        Places of the site that are read again and again; new places in every visit unless given.
    liking_sd : float
        Standard deviation among places of the log odds that something unread gives them.
    looks_per_visit : int
        Choice sets read in a row while the animal stays where it is, among the same places.
    largest_share : float, optional
        Share of the visits that one animal makes (0 to 1).
    used_first : bool
        The used place is read first and stands first in its set, with `minutes` since the sighting.
    latitude_deg, longitude_deg : float
        Site, degrees north and east.
    timezone : str
        IANA zone of the site.
    rng : int or numpy.random.Generator
        Seed.

    Returns
    -------
    ChoiceSeason

    Raises
    ------
    FieldkitError
        When a setting is out of range.

    Notes
    -----
    The clear sky is `fieldkit.physics.sun`, dimmed by cloud; sunlit share differs between places, surfaces follow the
    radiation plus what their substrate makes of it, and the animal takes a place with probability proportional to
    exp(utility) of the *true* values (McFadden 1974). Readings carry independent normal errors.

    Examples
    --------
    >>> season = choice_season(n_sets=3, n_places=5, rng=1)
    >>> len(season.choices), int(season.choices["used"].sum())
    (15, 3)
    """
    import pandas as pd

    seed = int(rng) if isinstance(rng, int | np.integer) else None
    drivers = () if driver == "none" else (driver,) if isinstance(driver, str) else tuple(driver)
    settings = {k: v for k, v in locals().items() if k not in ("pd", "rng", "seed", "drivers")} | {"driver": drivers}
    rng = generator(rng)
    low, high = (n_places, n_places) if np.ndim(n_places) == 0 else n_places
    _check(drivers, n_sets, low, high, effect, n_animals, surface_radiation_correlation, air_surface_correlation, hump)
    errors = INSTRUMENT_ERRORS if instrument_errors is None else instrument_errors
    settings["instrument_errors"] = dict(errors)

    _check_visits(fixed_places, high, liking_sd, looks_per_visit, largest_share)
    visit = np.arange(n_sets) // looks_per_visit
    n_visits = int(visit[-1]) + 1
    sizes = rng.integers(low, high + 1, size=n_visits)[visit]
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    group = np.repeat(np.arange(n_sets), sizes)
    rows = len(group)
    sky = _skies(n_visits, latitude_deg, longitude_deg, timezone, rng)
    if looks_per_visit > 1:
        sky = {name: values[visit] for name, values in sky.items()}
        sky["time"] = sky["time"] + pd.to_timedelta(LOOK_MIN * (np.arange(n_sets) % looks_per_visit), unit="min")
    # A spot is a place that lasts: it keeps its shade, its stone and its own warmth.
    spot = _spots(group, starts, sizes, visit, fixed_places, rng)
    n_spots = int(spot.max()) + 1
    again = n_spots < rows

    share = rng.beta(0.6, 0.6, size=n_spots)[spot]
    if again:
        share = np.clip(share + rng.normal(0, WAVER, size=rows), 0, 1)
    irradiance = sky["beam_horizontal"][group] * share + sky["diffuse"][group] * (0.4 + 0.6 * share)
    r = _centre(irradiance, group, sizes)
    sd_r = _pooled_sd(r, n_sets)
    slope = SURFACE_PER_W_M2
    kinds = rng.integers(len(SUBSTRATES), size=n_spots)[spot]
    offset = np.array(list(SUBSTRATES.values()))[kinds]
    own = _centre(offset / np.std(list(SUBSTRATES.values())) + rng.normal(size=n_spots)[spot], group, sizes)
    own *= slope * sd_r * np.sqrt(1 / surface_radiation_correlation**2 - 1) / _pooled_sd(own, n_sets)
    surface_within = slope * r + own
    air_within = _centre(rng.normal(size=n_spots)[spot], group, sizes)
    air_within = air_surface_correlation * surface_within / _pooled_sd(surface_within, n_sets) + np.sqrt(
        1 - air_surface_correlation**2
    ) * air_within / _pooled_sd(air_within, n_sets)
    air = sky["air"][group] + air_contrast_c * air_within
    mean_sun = (np.add.reduceat(irradiance, starts) / sizes)[group]
    surface = sky["air"][group] + slope * mean_sun + surface_within
    wind = np.clip(rng.lognormal(np.log(sky["wind"][group]), 0.3), 0.05, 15)
    operative = _operative(air, surface, irradiance, wind)

    animal = rng.choice(n_animals, size=n_visits, p=_meetings(n_animals, largest_share, rng))[visit]
    true = {"air": air, "surface": surface, "radiation": irradiance, "operative": operative}
    utility, slopes = np.zeros(rows), {}
    for name in drivers:
        if name == "operative":
            utility -= (operative - preferred_c) ** 2 / (2 * tolerance_c**2)
            continue
        if hump is not None:
            utility -= (true[name] - hump[0]) ** 2 / (2 * hump[1] ** 2)
            continue
        within = _centre(true[name], group, sizes)
        slopes[name] = np.log(effect) + individual_sd * rng.normal(size=n_animals)
        strength = slopes[name][animal][group]
        if name == "radiation" and switch_air_c is not None:
            strength = strength * (switch_air_c - sky["air"][group]) / 5
        utility += strength * within / _pooled_sd(within, n_sets)
    if liking_sd > 0:
        utility += liking_sd * rng.normal(size=n_spots)[spot]
    probability = np.exp(utility - np.maximum.reduceat(utility, starts)[group])
    probability /= np.add.reduceat(probability, starts)[group]
    noisy = np.log(probability) + rng.gumbel(size=rows)
    used = noisy == np.maximum.reduceat(noisy, starts)[group]
    if looks_per_visit > 1:
        # The animal stays where the first look of the visit found it.
        found = np.flatnonzero(used & (group % looks_per_visit == 0))
        slot = (np.arange(rows) - starts[group])[found][visit[group]]
        used = np.arange(rows) - starts[group] == slot

    def read(column, value):
        return np.round(value + rng.normal(0, errors.get(column, 0.0), size=rows), 3)

    place = np.arange(rows) - starts[group]
    choices = pd.DataFrame(
        {
            "set_id": [f"S{g + 1:04d}" for g in group],
            "time": sky["time"][group],
            "animal_id": [f"A{i + 1:02d}" for i in animal[group]],
            "place_id": [f"P{i + 1}" for i in (spot if again else place)],
            "used": used.astype(int),
            "substrate": np.array(list(SUBSTRATES))[kinds],
            "shade_air_c": read("shade_air_c", air),
            "surface_c": read("surface_c", surface),
            "irradiance_w_m2": read("irradiance_w_m2", irradiance),
            "operative_c": read("operative_c", operative),
            "wind_m_s": np.round(wind, 2),
            "observer": np.array(list("ABC"))[rng.integers(3, size=n_sets)][group],
        }
    )
    truth = choices[["set_id", "place_id", "used"]].assign(
        shade_air_c=air, surface_c=surface, irradiance_w_m2=irradiance, operative_c=operative, probability=probability
    )
    if used_first:
        order = np.lexsort((~used, group))
        turn = np.arange(rows) - starts[group]
        choices, truth = (table.iloc[order].reset_index(drop=True) for table in (choices, truth))
        choices["minutes"] = READING_MIN * turn
    return ChoiceSeason(
        choices=choices,
        truth=truth,
        slopes=pd.DataFrame(slopes, index=[f"A{i + 1:02d}" for i in range(n_animals)]),
        settings=settings,
        seed=seed,
    )


def _check(drivers, n_sets, low, high, effect, n_animals, surface_radiation, air_surface, hump):
    known = {"air", "surface", "radiation", "operative"}
    if set(drivers) - known:
        raise FieldkitError(f"The driver must be among {', '.join(sorted(known))} or 'none', not {drivers}.")
    if n_sets < 1 or n_animals < 1 or low < 2 or high < low:
        raise FieldkitError("A season needs at least one set, one animal and two places in each set.")
    if effect <= 0:
        raise FieldkitError(f"The effect is a factor on the odds and must be above 0, not {effect}.")
    if hump is not None and not hump[1] > 0:
        raise FieldkitError(f"The tolerance of a hump must be above 0, not {hump[1]}.")
    if not 0 < abs(surface_radiation) <= 1 or abs(air_surface) > 1:
        raise FieldkitError("The correlations must lie between -1 and 1, that of surface and radiation not at 0.")


def _check_visits(fixed_places, most_in_set, liking_sd, looks_per_visit, largest_share):
    if fixed_places is not None and fixed_places < most_in_set:
        raise FieldkitError(f"{fixed_places} places are fewer than a set holds ({most_in_set}): state more.")
    if liking_sd < 0 or looks_per_visit < 1 or not 0 < (0.5 if largest_share is None else largest_share) < 1:
        raise FieldkitError(
            "liking_sd must be 0 or more, looks_per_visit 1 or more, largest_share a share between 0 and 1."
        )


def _spots(group, starts, sizes, visit, fixed_places, rng):
    """Number of the lasting place of each row."""
    slot = np.arange(len(group)) - starts[group]
    if fixed_places is None:
        first = np.concatenate([[0], np.flatnonzero(np.diff(visit)) + 1])
        return (np.cumsum(sizes[first]) - sizes[first])[visit[group]] + slot
    drawn = np.argsort(rng.random((visit[-1] + 1, fixed_places)), axis=1)
    return drawn[visit[group], slot]


def _meetings(n_animals, largest_share, rng):
    """Share of the visits that each animal makes."""
    if largest_share is None or n_animals == 1:
        return rng.dirichlet(np.full(n_animals, 3.0))
    return np.r_[largest_share, (1 - largest_share) * rng.dirichlet(np.full(n_animals - 1, 3.0))]


def _skies(n_sets, latitude_deg, longitude_deg, timezone, rng):
    """Time, sun, cloud, air and wind of each set, from 9 to 17 h: March to October, in the south September to April."""
    import pandas as pd

    from fieldkit.physics import sun

    first, sign = ("2023-09-14", -1) if latitude_deg < 0 else ("2023-03-15", 1)
    days = pd.Timestamp(first) + pd.to_timedelta(np.sort(rng.integers(0, 215, n_sets)), unit="D")
    times = (days + pd.to_timedelta(rng.integers(9 * 60, 17 * 60, n_sets), unit="min")).tz_localize(timezone)
    clear = sun.clear_sky(times, latitude_deg=latitude_deg, longitude_deg=longitude_deg, linke_turbidity=3.5)
    cloud = rng.beta(4, 1.5, size=n_sets)
    ghi, diffuse = clear["ghi_w_m2"].to_numpy(), clear["dhi_w_m2"].to_numpy()
    season = sign * np.sin(2 * np.pi * (times.day_of_year.to_numpy() - 105) / 365)
    hour = times.hour.to_numpy() + times.minute.to_numpy() / 60
    air = 17 + 9 * season + 4 * np.sin(np.pi * (hour - 8) / 12) + rng.normal(0, 3, n_sets)
    return {
        "time": times,
        "beam_horizontal": np.maximum(ghi - diffuse, 1.0) * cloud,
        "diffuse": np.maximum(diffuse, 5.0) * (1.6 - 0.6 * cloud),
        "air": air,
        "wind": rng.lognormal(np.log(0.8), 0.4, n_sets),
    }


def _operative(air, surface, irradiance, wind):
    from fieldkit.physics import heat

    lizard = heat.Body(characteristic_dimension_m=0.02, shortwave_absorptivity=0.9)
    # Per m² of total surface: a quarter of the beam (any convex body, Cauchy), half of what sky and ground scatter.
    absorbed = lizard.shortwave_absorptivity * 0.35 * irradiance
    return heat.operative_temperature(
        air_temperature_c=air,
        wind_speed_m_s=wind,
        ground_temperature_c=surface,
        absorbed_shortwave_w_m2=absorbed,
        body=lizard,
    )


def _centre(values, group, sizes):
    return values - (np.bincount(group, weights=values) / sizes)[group]


def _pooled_sd(centred, n_sets):
    return float(np.sqrt(np.sum(centred**2) / max(1, len(centred) - n_sets)))
