"""The sunlight that animals were found in: how strong, by solar hour or by month, beside what was on offer."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result, method
from fieldkit.field.stats import intervals as uncertainty
from fieldkit.physics import sun

_UNITS = {"irradiance_w_m2": ("W/m²", ".0f"), "uv_index": ("UV index", ".1f")}


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class ChosenSunlight(Result):
    """Sunlight at the places that animals took.

    Attributes
    ----------
    table : DataFrame
        First row "all", then one row per group: ``n_places, n_animals, median, low, high`` (limits of the median,
        animals resampled), ``p10, p90`` (middle 80 % of the places taken), ``offered_median`` (all places of the same
        choice sets) and ``clear_sky_median_w_m2`` (level ground, no cloud, the same moments).
    quantity : {"irradiance_w_m2", "uv_index"}
    by : {"solar_hour", "month"}
    level : float
    left_out : int
        Places taken that had no reading or no animal's name.
    seed : int
    """

    table: pd.DataFrame
    quantity: str
    by: str
    level: float
    left_out: int
    seed: int

    @property
    def sentence(self):
        unit, form = _UNITS[self.quantity]
        row = self.table.loc["all"]
        words = (
            f"{row['n_animals']:.0f} animals were found at {row['n_places']:.0f} places with a median of "
            f"{row['median']:{form}} {unit}"
        )
        if np.isfinite(row["low"]):
            words += f" ({100 * self.level:g} % limits {row['low']:{form}} to {row['high']:{form}})"
        words += (
            f"; 8 places in 10 had {row['p10']:{form}} to {row['p90']:{form}}. The places on offer around them had a "
            f"median of {row['offered_median']:{form}}."
        )
        if self.left_out:
            some = "1 place" if self.left_out == 1 else f"{self.left_out} places"
            words += f" {some} without a reading or an animal's name {'is' if self.left_out == 1 else 'are'} left out."
        return words


@method
def chosen(
    choices,
    *,
    latitude_deg,
    longitude_deg,
    elevation_m=0.0,
    quantity="irradiance_w_m2",
    by="solar_hour",
    cluster="animal_id",
    level=0.95,
    n_resamples=499,
    rng=0,
):
    """Describe the sunlight at the places that animals took.

    Parameters
    ----------
    choices : DataFrame
        The choice table: ``set_id, time`` (with zone), ``used, animal_id`` and the quantity.
    latitude_deg, longitude_deg, elevation_m : float
        The site: degrees north, degrees east, metres.
    quantity : {"irradiance_w_m2", "uv_index"}
        What was read at the places.
    by : {"solar_hour", "month"}
        Groups: solar hours (12 is noon, whatever the clocks say; two hours a group) or calendar months.
    cluster : str
        Column that names the animal; whole animals are resampled for the limits.
    level : float
        Confidence level of the limits of the median.
    n_resamples : int
        How many times the animals are drawn again.
    rng : int
        Seed.

    Returns
    -------
    ChosenSunlight
        Limits are NaN in groups that too few animals reach. It describes; whether animals *choose* on radiation is
        for `choice.compare` to say.

    Raises
    ------
    FieldkitError
        When a column is missing or no place taken has a reading.

    Examples
    --------
    >>> import fieldkit
    >>> season = fieldkit.demo_season()
    >>> site = {"latitude_deg": season.site.latitude_deg, "longitude_deg": season.site.longitude_deg}
    >>> found = chosen(season.choices, **site, n_resamples=99)
    >>> int(found.table.loc["all", "n_animals"])
    14
    """
    if quantity not in _UNITS:
        raise FieldkitError(f"The quantity '{quantity}' is not known: choose irradiance_w_m2 or uv_index.")
    if by not in ("solar_hour", "month"):
        raise FieldkitError(f"Groups by '{by}' are not known: choose solar_hour or month.")
    for name in ("set_id", "time", "used", quantity, cluster):
        if name not in choices:
            raise FieldkitError(f"The choice table has no column '{name}', which this description needs.")
    table = choices[["set_id", "time", "used", quantity, cluster]].copy()
    taken = table["used"] == 1
    known = table[quantity].notna()
    table = table[known]
    kept = table[(table["used"] == 1) & table[cluster].notna()]
    if kept.empty:
        raise FieldkitError(f"No place that an animal took has both a reading of {quantity} and the animal's name.")
    offered = table[table["set_id"].isin(kept["set_id"])]
    place = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg, "elevation_m": elevation_m}
    kept, offered = (_grouped(part, by, place) for part in (kept, offered))
    names = ["all", *sorted(kept["group"].unique(), key=lambda label: int(str(label).split("–")[0]))]

    def medians(sample):
        found = sample.groupby("group")[quantity].median().reindex(names)
        found["all"] = sample[quantity].median()
        return found

    limits = None
    if (kept[cluster] != kept[cluster].iloc[0]).any():
        limits = uncertainty.cluster_bootstrap(
            kept, medians, cluster=cluster, n_resamples=n_resamples, level=level, method="percentile", rng=rng
        ).table
    rows = []
    for name in names:
        mine, theirs = (p if name == "all" else p[p["group"] == name] for p in (kept, offered))
        values = mine[quantity]
        rows.append(
            {
                "n_places": len(mine),
                "n_animals": mine[cluster].nunique(),
                "median": values.median(),
                "low": np.nan if limits is None else limits.loc[name, "low"],
                "high": np.nan if limits is None else limits.loc[name, "high"],
                "p10": values.quantile(0.1),
                "p90": values.quantile(0.9),
                "offered_median": theirs[quantity].median(),
                "clear_sky_median_w_m2": mine["clear_sky_w_m2"].median(),
            }
        )
    return ChosenSunlight(
        table=pd.DataFrame(rows, index=pd.Index(names, name=by)),
        quantity=quantity,
        by=by,
        level=level,
        left_out=int(taken.sum() - len(kept)),
        seed=rng,
    )


def _grouped(part, by, place):
    times = part["time"]
    clear = sun.clear_sky(times, **place)["ghi_w_m2"]
    if by == "month":
        group = times.dt.month
    else:
        start = (np.floor(sun.solar_time(times, longitude_deg=place["longitude_deg"]) / 2) * 2).astype(int)
        group = start.map(lambda hour: f"{hour}–{hour + 2} h")
    return part.assign(group=group, clear_sky_w_m2=clear)


@method
def on_the_level(season):
    """Sun on level ground through a season: measured if a logger did, else a clear sky.

    Parameters
    ----------
    season : Season
        A season folder as read.

    Returns
    -------
    Series
        W/m² by time (zone of the site); its name says where it is from. Of several irradiance loggers the one with the
        most readings.

    Examples
    --------
    >>> import fieldkit
    >>> light = on_the_level(fieldkit.demo_season())
    >>> light.name, len(light)
    ('measured by sun-1', 10462)
    """
    if season.loggers is not None:
        info = season.logger_info
        names = info.loc[info["role"] == "irradiance", "logger_id"]
        readings = season.loggers[season.loggers["logger_id"].isin(names)].dropna(subset="value")
        if len(readings):
            name = readings["logger_id"].value_counts().index[0]
            light = readings[readings["logger_id"] == name].set_index("time")["value"].sort_index()
            return light[~light.index.duplicated()].rename(f"measured by {name}")
    site = season.site
    days = pd.date_range(season.first_day, pd.Timestamp(season.last_day) + pd.Timedelta(days=1), freq="30min")
    times = days.tz_localize(site.timezone, nonexistent="NaT", ambiguous="NaT").dropna()
    clear = sun.clear_sky(
        times, latitude_deg=site.latitude_deg, longitude_deg=site.longitude_deg, elevation_m=site.elevation_m
    )
    return clear["ghi_w_m2"].rename("clear sky (nobody measured)")
