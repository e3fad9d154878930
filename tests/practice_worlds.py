"""Invented seasons sampled as people really sample: repeated places, chosen places, drifting readings, uneven animals.

Written apart from the kit's own simulator, so that the test is not tried only in the world it was built in. Every
world is a function of a random generator that gives back a choice table. Nothing here is a measurement.
"""

import numpy as np
import pandas as pd

ERRORS = {"shade_air_c": 0.4, "surface_c": 1.5, "irradiance_w_m2": 30.0}
COLUMNS = ["air", "surface", "radiation"]
DOUBLED = np.log(2.0)
RADIATION_SD, SURFACE_SD, AIR_SD = 190.0, 6.3, 0.8


class Places:
    """Places with lasting properties: share of the sun they get, what their surface and air have of their own."""

    def __init__(self, n, rng):
        self.share = rng.beta(0.6, 0.6, n)
        self.surface = rng.normal(0, 4.2, n)
        self.air = rng.normal(0, AIR_SD, n)


def sky(n, rng, *, days=60, hours=(8.5, 17.0), day=None, warmth=0.0):
    """Day, hour, sun and air of each set at 36° north, from the middle of April on."""
    day = np.sort(rng.integers(0, days, n)) if day is None else np.asarray(day)
    hour = rng.uniform(*hours, n)
    declination = np.deg2rad(23.45 * np.sin(2 * np.pi * (day + 105 - 81) / 365))
    latitude = np.deg2rad(36.0)
    sine = np.sin(latitude) * np.sin(declination)
    sine += np.cos(latitude) * np.cos(declination) * np.cos(np.deg2rad(15 * (hour - 12)))
    clear = 1050 * np.clip(sine, 0.03, None) ** 1.15
    cloud = rng.beta(4, 1.5, n)
    air = 19 + warmth + 0.08 * day + 4 * np.sin(np.pi * (hour - 8) / 12) + rng.normal(0, 2.5, days + 1)[day]
    return {"day": day, "hour": hour, "beam": 0.85 * clear * cloud, "diffuse": 0.15 * clear + 40, "air": air,
            "wind": rng.lognormal(np.log(0.8), 0.4, n)}  # fmt: skip


def truth(at, places, index, group, rng, *, fickle=0.1, near=1.0):
    """True readings of each row: its place (`index`) under the sky of its set (`group`).

    `near` below 1 brings the places of a set together: how far apart they can differ.
    """
    share = np.clip(places.share[index] + rng.normal(0, fickle, len(index)), 0, 1)
    light = at["beam"][group] * share + at["diffuse"][group] * (0.4 + 0.6 * share)
    own = places.surface[index] + rng.normal(0, 0.5, len(index))
    out = pd.DataFrame({"irradiance_w_m2": light, "surface_c": 0.025 * light + own})
    out["shade_air_c"] = places.air[index] + 0.03 * out["surface_c"]
    if near < 1:
        middle = out.groupby(group).transform("mean")
        out = middle + near * (out - middle)
    out["surface_c"] += at["air"][group]
    out["shade_air_c"] += at["air"][group]
    return out


def standardised(values, group):
    """Values less the mean of their set, in units of their pooled spread."""
    within = values - values.groupby(group).transform("mean") if hasattr(values, "groupby") else None
    return within / np.sqrt((within**2).sum() / (len(values) - len(np.unique(group))))


def take(utility, group, rng):
    """One place a set, with chances proportional to exp(utility)."""
    noisy = pd.Series(np.asarray(utility) + rng.gumbel(size=len(group)))
    return (noisy == noisy.groupby(group).transform("max")).to_numpy().astype(int)


def read(true, rng, errors=None):
    """Readings with independent errors."""
    errors = ERRORS if errors is None else errors
    return pd.DataFrame({c: np.round(true[c] + rng.normal(0, errors[c], len(true)), 2) for c in true})


def written(readings, used, group, at, animal, place, rng, *, first=True):
    """The table an observer would type: the used place first, or in any order."""
    stamp = pd.Timestamp("2025-04-15", tz="Etc/GMT+5") + pd.to_timedelta(at["day"] * 24 + at["hour"], unit="h")
    out = pd.DataFrame(
        {
            "set_id": [f"S{g + 1:03d}" for g in group],
            "time": stamp.floor("min")[group],
            "animal_id": [f"A{i + 1:02d}" for i in animal[group]],
            "place_id": place,
            "used": used,
        }
    )
    out = pd.concat([out, readings.reset_index(drop=True)], axis=1)
    out["wind_m_s"] = np.round(at["wind"][group], 2)
    key = -np.asarray(used) + 0.5 * rng.random(len(used)) if first else rng.random(len(used))
    order = np.lexsort((key, group))
    return out.iloc[order].reset_index(drop=True)


def fresh(rng, *, n_sets=None, n_places=6, n_animals=10, pull=None, animal=None, near=1.0, errors=None, utility=None,
          hidden=0.0, first=True, drift=None, shift=None, warmth=0.0, hours=(8.5, 17.0), days=60,
          air_sd=AIR_SD):  # fmt: skip
    """New places in every set.

    `pull` gives log odds a within-set standard deviation by column; `utility(true, at, group, animal)` any other wish;
    `hidden` the correlation with radiation of an unread thing of log odds 0.69; `shift` of the readings at unused
    places by column; `drift` per place read, by column, and `carry` what a reading keeps of the one before.
    """
    n_sets = n_sets or int(rng.integers(80, 151))
    group = np.repeat(np.arange(n_sets), n_places)
    at = sky(n_sets, rng, warmth=warmth, hours=hours, days=days)
    spots = Places(len(group), rng)
    spots.air *= air_sd / AIR_SD
    true = truth(at, spots, np.arange(len(group)), group, rng, near=near)
    animal = rng.choice(n_animals, n_sets, p=rng.dirichlet(np.full(n_animals, 4.0))) if animal is None else animal
    wish = np.zeros(len(group))
    for column, slope in (pull or {}).items():
        wish += np.broadcast_to(slope, (n_animals,))[animal][group] * standardised(true[column], group)
    if hidden:
        thing = hidden * standardised(true["irradiance_w_m2"], group)
        wish += DOUBLED * (thing + np.sqrt(1 - hidden**2) * rng.normal(size=len(group)))
    if utility is not None:
        wish = wish + utility(true, at, group, animal)
    used = take(wish, group, rng)
    readings = read(true, rng, errors)
    for column, by in (shift or {}).items():
        readings.loc[used == 0, column] += by
    if "irradiance_w_m2" in (shift or {}):
        readings["irradiance_w_m2"] = readings["irradiance_w_m2"].clip(lower=10)
    place = [f"S{g + 1:03d}-{i}" for g, i in zip(group, np.arange(len(group)) % n_places)]
    out = written(readings, used, group, at, animal, place, rng, first=first)
    turn = np.arange(len(out)) % n_places
    for column, by in (drift or {}).items():
        out[column] += by * turn
    if drift:
        out["minutes"] = 2.0 * turn
    return out


def home(rng, *, n_animals=10, days=12, pull=0.0, moving=False):
    """Each animal keeps one of six places round its home for all days; the same six are read each day."""
    spots = Places(6 * n_animals, rng)
    group = np.repeat(np.arange(n_animals * days), 6)
    animal = np.repeat(np.arange(n_animals), days)
    at = sky(n_animals * days, rng, day=np.tile(np.arange(days), n_animals))
    index = (animal * 6)[group] + np.arange(len(group)) % 6
    true = truth(at, spots, index, group, rng)
    liking = pd.Series(spots.share)
    liking = pull * (liking - liking.groupby(np.arange(6 * n_animals) // 6).transform("mean")) / 0.32
    taken = take(liking, np.arange(6 * n_animals) // 6, rng)
    used = taken[index]
    return written(read(true, rng), used, group, at, animal, [f"P{i:03d}" for i in index], rng)


def fixed(rng, *, n_places=25, liking_sd=1.0, n_sets=100, n_animals=10, pull=0.0, offered=6):
    """The same few places again and again, unequally liked for something that was not read."""
    spots = Places(n_places, rng)
    liking = rng.normal(0, liking_sd, n_places)
    group = np.repeat(np.arange(n_sets), offered)
    index = np.concatenate([rng.choice(n_places, offered, replace=False) for _ in range(n_sets)])
    at = sky(n_sets, rng)
    animal = rng.integers(0, n_animals, n_sets)
    true = truth(at, spots, index, group, rng)
    used = take(liking[index] + pull * standardised(true["irradiance_w_m2"], group), group, rng)
    return written(read(true, rng), used, group, at, animal, [f"P{i:02d}" for i in index], rng)


def sitters(rng, *, n_sits=25, looks=6, named=True, pull=0.0, n_animals=10):
    """Each animal sits half an hour and is read six times; every look is written as a set of its own."""
    sit_group = np.repeat(np.arange(n_sits), 6)
    day = np.sort(rng.integers(0, 20, n_sits))
    spots = Places(6 * n_sits, rng)
    animal = rng.integers(0, n_animals, n_sits)
    wish = pull * (spots.share - spots.share.mean()) / spots.share.std()
    used_spot = take(wish, sit_group, rng)
    group = np.repeat(np.arange(n_sits * looks), 6)
    sit = np.repeat(np.arange(n_sits), looks)
    at = sky(n_sits * looks, rng, day=day[sit])
    start = rng.uniform(9, 16, n_sits)
    at["hour"] = start[sit] + np.tile(np.arange(looks) * 0.1, n_sits)
    index = 6 * sit[group] + np.arange(len(group)) % 6
    true = truth(at, spots, index, group, rng, fickle=0.05)
    out = written(read(true, rng), used_spot[index], group, at, animal[sit], [f"P{i:03d}" for i in index], rng)
    return out if named else out.drop(columns=["animal_id", "place_id"])


def careful(rng):
    """Random choice; the used place is read more carefully than the others."""
    out = fresh(rng)
    for column, error in ERRORS.items():
        others = out["used"].to_numpy() == 0
        out.loc[others, column] += rng.normal(0, 1.5 * error, others.sum())
    return out


def unsettled(rng):
    """Random choice; the thermometer still warm from the hand at the used place."""
    out = fresh(rng)
    out.loc[out["used"] == 1, "shade_air_c"] += 0.6
    return out


def halves(rng):
    """Half of the animals choose radiation, half surface."""
    n = 10
    first = np.arange(n) % 2 == 0
    strong = np.log(3.0)
    return fresh(rng, pull={"irradiance_w_m2": np.where(first, strong, 0), "surface_c": np.where(first, 0, strong)})


def one_animal(rng, *, others=0.0):
    """One animal makes 60 % of the sets and alone chooses radiation; the others choose at random, or flee it."""
    n_sets = int(rng.integers(80, 151))
    animal = np.where(rng.random(n_sets) < 0.6, 0, rng.integers(1, 10, n_sets))
    slope = np.where(np.arange(10) == 0, np.log(3.0), others)
    return fresh(rng, n_sets=n_sets, animal=animal, pull={"irradiance_w_m2": slope})


def operative(rng, *, warmth=0.0, n_sets=None):
    """A temperature near 36 °C is sought, that an animal of 3 cm takes on; no copper model was read."""
    from fieldkit.physics import heat

    body = heat.Body(characteristic_dimension_m=0.03, shortwave_absorptivity=0.85)

    def wish(true, at, group, animal):
        te = heat.operative_temperature(
            air_temperature_c=true["shade_air_c"].to_numpy(),
            wind_speed_m_s=at["wind"][group],
            ground_temperature_c=true["surface_c"].to_numpy(),
            absorbed_shortwave_w_m2=0.85 * 0.4 * true["irradiance_w_m2"].to_numpy(),
            body=body,
        )
        return -((te - 36.0) ** 2) / (2 * 4.0**2)

    return fresh(rng, n_sets=n_sets, utility=wish, warmth=warmth)


def by_hour(rng):
    """Sun is sought before half past eleven and fled after."""

    def wish(true, at, group, animal):
        return np.where(at["hour"][group] < 11.5, 1, -1) * np.log(2.5) * standardised(true["irradiance_w_m2"], group)

    return fresh(rng, n_sets=150, utility=wish)


def hump_beside(rng):
    """Radiation pulls strongly, air is mildly wished for at a middle value; 300 sets."""

    def wish(true, at, group, animal):
        return DOUBLED * standardised(true["irradiance_w_m2"], group) - (true["shade_air_c"] - 24.0) ** 2 / (2 * 3.0**2)

    return fresh(rng, n_sets=300, utility=wish)


def near_the_burrow(rng):
    """Places near the burrow are sunny, and the animal takes a near one, whatever the sun."""
    out = fresh(rng, first=False)
    out["distance_m"] = np.round(rng.uniform(0.5, 10, len(out)), 1)
    sunny = 1.0 * standardised(-out["distance_m"], out["set_id"])
    out[SUN] = np.round(np.maximum(10, out[SUN] + RADIATION_SD * sunny), 2)
    out["used"] = take(standardised(-out["distance_m"], out["set_id"]), out["set_id"], rng)
    return out


def faint_air(rng):
    """Air is chosen, in places where it differs by about its reading error."""
    return fresh(rng, pull={"shade_air_c": np.log(3.0)}, air_sd=0.33)


SUN = "irradiance_w_m2"
# name: what is chosen ("none" if nothing that was read), the season, what the table is compared with as errors
NULL = {
    "home places": home,
    "home places, unnamed animals": lambda rng: home(rng).drop(columns="animal_id"),
    "25 fixed places, unequal": lambda rng: fixed(rng),
    "25 fixed places, very unequal": lambda rng: fixed(rng, liking_sd=1.5),
    "sitters": sitters,
    "nameless sitters": lambda rng: sitters(rng, named=False),
    "used place read more carefully": careful,
    "random, fresh places": fresh,
    "near places taken, sunny near the burrow": near_the_burrow,
}
BIASED = {
    "available from the sunny side": lambda rng: fresh(rng, shift={SUN: 100.0}),
    "available from the shady side": lambda rng: fresh(rng, shift={SUN: -100.0}),
    "used first, warming morning": lambda rng: fresh(
        rng, drift={"shade_air_c": 0.15, "surface_c": 0.7, SUN: 8.0}, hours=(8, 11)
    ),
    "used first, thermometer drifts": lambda rng: fresh(rng, drift={"surface_c": 0.5}),
    "unsettled thermometer": unsettled,
    "hidden thing, r 0.3": lambda rng: fresh(rng, hidden=0.3),
    "hidden thing, r 0.5": lambda rng: fresh(rng, hidden=0.5),
    "hidden thing, r 0.7": lambda rng: fresh(rng, hidden=0.7),
}
CHOSEN = {
    "faint air": faint_air,
    "places too near": lambda rng: fresh(rng, pull={SUN: DOUBLED * 0.25}, near=0.25),
    "half and half": halves,
    "one animal alone": one_animal,
    "one seeks, others flee": lambda rng: one_animal(rng, others=-np.log(2.0)),
    "operative, mild": operative,
    "operative, hot": lambda rng: operative(rng, warmth=7.0),
    "sun before 11:30, shade after": by_hour,
    "errors three times the stated": lambda rng: fresh(
        rng, errors={k: 3 * v for k, v in ERRORS.items()}, pull={"surface_c": np.log(3.0)}
    ),
    "radiation, mild hump of air": hump_beside,
}
IDEAL = {
    f"{name}, {n} sets": (lambda rng, column=column, n=n: fresh(rng, n_sets=n, pull={column: DOUBLED * 1.1}))
    for name, column in {"air": "shade_air_c", "surface": "surface_c", "radiation": SUN}.items()
    for n in (100, 150)
} | {
    "radiation, home places, 10 animals": lambda rng: home(rng, pull=np.log(3.0)),
    "radiation, home places, 30 animals": lambda rng: home(rng, n_animals=30, days=5, pull=np.log(3.0)),
    "radiation, 15 places": lambda rng: fixed(rng, n_places=15, pull=DOUBLED, n_sets=150),
    "radiation, 25 places": lambda rng: fixed(rng, n_places=25, pull=DOUBLED, n_sets=150),
    "radiation, 60 places": lambda rng: fixed(rng, n_places=60, pull=DOUBLED, n_sets=150),
    "radiation, sitters": lambda rng: sitters(rng, n_sits=40, pull=np.log(3.0)),
}
WORLDS = NULL | BIASED | CHOSEN | IDEAL


def season(name, seed):
    """The choice table of one season of a world."""
    return WORLDS[name](np.random.default_rng([seed, sum(map(ord, name))]))
