"""From weather stations to seasonal air-temperature ranges, with a caution for confined animals beside them."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result, method
from fieldkit.field.climate import completeness as _completeness
from fieldkit.field.climate import days as _days
from fieldkit.field.climate import monthly as _monthly
from fieldkit.field.climate import seasons as _seasons
from fieldkit.field.climate.tables import (
    POOLED,
    band_table,
    ceiling_of,
    differences_table,
    distribution_table,
    months_table,
    pool,
    same_half_of_year,
    schedule_table,
    smooth_year,
)
from fieldkit.field.climate.warnings import add_warnings, refuse_inverted, tell_trend
from fieldkit.field.of_season import table_of
from fieldkit.records.weather.stations import StationRecords

__all__ = ["CAUTIONS", "LAPSE_RATE_K_PER_KM", "POOLED", "AirBands", "air_bands", "ceiling_of", "pool", "smooth_year"]

# ISO 2533 / US Standard Atmosphere 1976: mean fall of air temperature with height, 0 to 11 km.
LAPSE_RATE_K_PER_KM = 6.5

# Heights further apart than this are worth a word (our choice: 3 °C at the standard lapse rate).
FAR_APART_M = 500.0
CAUTIONS = (
    "A band is the air in a shaded screen 1.2 to 2 m above the ground (WMO-No. 8). It is not the temperature of the "
    "ground, of a basking place or of a burrow: an enclosure needs a gradient around it, with a retreat that stays "
    "cooler than the band's high end.",
    "The caution is a rule of thumb without a source, and no limit. A wild animal in the heat can dig, climb or leave; "
    "a confined one cannot. Take a larger margin when the enclosure is small or the room can overheat.",
    "A cool season or winter rest is only for healthy animals of a species known to need it, prepared and watched, and "
    "with a veterinarian's advice.",
)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class AirBands(Result):
    """Seasonal air-temperature ranges; made by `air_bands`.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per station and season, and per season for all stations together (``station_id`` = "all stations"):
        ``low_c`` and ``high_c`` are the band; ``caution_c`` is the rule of thumb for a confined animal, ``margin_c``
        below the high end and never below the band's middle; ``typical_max_c`` and
        ``typical_min_c`` are the mean daily extremes. ``spread_*`` is the standard deviation and ``low_from_c`` to
        ``high_to_c`` the 95 % interval of the mean: over years for a station; for the pooled rows over stations and
        over the years, which all stations share. The caution has no error of its own.
    distribution : pandas.DataFrame
        Day and night: mean and 5, 50 and 95 % quantiles of the daily maximum and minimum (of the single days of months
        that count), and, from hourly readings, of all hours read with the sun up and down (by its height, not by the
        clock). The rows for all stations are the means of the stations' numbers, each with its vote.
    schedule : pandas.DataFrame
        Twelve months for all stations together: smoothed band and caution, what the months say before smoothing, and
        the step from the month before.
    months : pandas.DataFrame
        Typical extremes of each station in each month, as the schedule counts months.
    differences : pandas.DataFrame
        How far each season lies below the warmest one, with the interval over stations.
    left_out : pandas.DataFrame
        Days and months that were not used, and why.
    ceiling_c : float
        No caution of the pooled rows reaches above it: the typical maximum of the warmest season less the margin.
    warnings, cautions : tuple of str
    settings : dict
    """

    table: pd.DataFrame
    distribution: pd.DataFrame
    schedule: pd.DataFrame
    months: pd.DataFrame
    differences: pd.DataFrame
    left_out: pd.DataFrame
    ceiling_c: float
    warnings: tuple = ()
    cautions: tuple = CAUTIONS
    settings: dict = field(default_factory=dict)

    @property
    def pooled(self):
        """The rows for all stations together, by season."""
        return self.table[self.table["station_id"] == POOLED].drop(columns="station_id").set_index("season")

    @property
    def sentence(self):
        """The bands in words, with the caution, the rule of completeness and every warning."""
        rows = self.pooled
        count = self.settings["n_stations"]
        parts = [
            # Adding nothing turns −0.0 into 0.0.
            f"{name} {round(row.low_c, 1) + 0.0:.1f} to {round(row.high_c, 1) + 0.0:.1f} °C"
            for name, row in rows.iterrows()
            if np.isfinite(row.low_c)
        ]
        spread = rows["spread_high_c"].max()
        words = f"Seasonal air-temperature ranges from {count} station{'s' if count > 1 else ''}: {', '.join(parts)}. "
        words += (
            f"Caution for a confined animal: above {self.ceiling_c:.1f} °C, which is {rows['margin_c'].max():.1f} °C "
            "below the warmest season's high end (a rule of thumb without a source, no limit). "
        )
        if np.isfinite(spread):
            words += f"The stations' typical maxima differ by a standard deviation of up to {spread:.1f} °C. "
        words += f"Completeness: {self.settings['completeness_words']}."
        return words + "".join(f" Warning: {w}" for w in self.warnings)


@method
def air_bands(
    daily,
    *,
    stations=None,
    seasons="hemisphere",
    margin_c=5.0,
    completeness="3/5",
    period=None,
    pooling="stations",
    target_elevation_m=None,
    lapse_rate_k_per_km=LAPSE_RATE_K_PER_KM,
    hemisphere=None,
    timezone=None,
    hours_needed=20,
):
    """Draw seasonal air-temperature ranges from the readings of one or more weather stations.

    The band of a season reaches from its typical minimum to its typical maximum (the means of the daily extremes): what
    the stations show as ordinary. Beside it stands a caution for a confined animal, which cannot leave the heat: the
    typical maximum of the warmest season less `margin_c`. A season that never gets that warm is not touched by it, and
    it never lies below the middle of a band. The schedule by months has its own caution, from the warmest month.

    Parameters
    ----------
    daily : pandas.DataFrame or StationRecords
        One row per station and day, ``station_id, date, tmax_c, tmin_c`` (°C; ``precipitation_mm`` for wet and dry
        seasons), or per station and time, ``station_id, time, air_temperature_c``. May hold ``latitude_deg,
        longitude_deg, elevation_m`` of each station.
    stations : pandas.DataFrame or dict, optional
        One row per station: ``station_id, latitude_deg, longitude_deg, elevation_m, timezone`` as far as known.
    seasons : {"hemisphere", "wet_dry", "pattern", "month"} or dict
        Meteorological seasons by hemisphere; wet and dry by the rain of each station; the warm and cool half by each
        station's own monthly means; twelve months; or a dictionary of name to months.
    margin_c : float
        How far the caution lies below the warmest season's high end, °C. The default is common practice without a
        source.
    completeness : {"3/5", "11/5", "all"} or Completeness
        Which months count; see `fieldkit.field.climate.seasons.RULES`.
    period : tuple of int, optional
        First and last year, for example ``(1991, 2020)``. Without it each station's own record.
    pooling : {"stations", "days"}
        Each station has one vote, or as many as it has days.
    target_elevation_m : float, optional
        Bring all stations to this height with `lapse_rate_k_per_km`.
    lapse_rate_k_per_km : float
        Fall of air temperature with height, K/km (6.5: ISO 2533). An average: near the ground and in valleys the air
        is often turned over.
    hemisphere : {"north", "south"}, optional
        For stations whose latitude is not known.
    timezone : str, optional
        Zone in which the days of hourly readings begin and end.
    hours_needed : int
        Hours of a day that must be read for its extremes to count (common practice, no source).

    Returns
    -------
    AirBands

    Raises
    ------
    FieldkitError
        For impossible temperatures, unknown latitudes or heights that are needed, two different readings of one day,
        no month that passes the rule, and bands whose low end is above the high end.

    Notes
    -----
    Typical extremes follow WMO-No. 1203: days to months, the month over the years to its normal, months to the season.
    A winter that spans New Year belongs to the year in which it ends.

    Examples
    --------
    >>> day = pd.date_range("2023-01-01", "2023-12-31")
    >>> summer = day.month.isin([6, 7, 8])
    >>> desert = pd.DataFrame({"station_id": "A", "date": day, "tmax_c": np.where(summer, 35.0, 22.0),
    ...                        "tmin_c": np.where(summer, 22.0, 7.0)})
    >>> bands = air_bands(desert, hemisphere="north", margin_c=5)
    >>> bands.pooled.loc[["summer", "winter"], ["low_c", "high_c", "caution_c"]].to_numpy().tolist()
    [[22.0, 35.0, 30.0], [7.0, 22.0, 22.0]]
    """
    _check_options(margin_c, pooling, hemisphere, lapse_rate_k_per_km)
    rule = _completeness.completeness_rule(completeness)
    warnings = []
    if isinstance(daily, StationRecords):
        stations = daily.stations if stations is None else stations
        warnings += [note.rstrip(".") + "." for note in daily.notes if "typical year" in note]
        daily = daily.table
    daily = daily.copy(deep=False)
    _days.need_columns(daily, ["station_id"])
    hourly = None
    if "air_temperature_c" in daily and ("tmax_c" not in daily or daily["tmax_c"].isna().all()):
        _days.need_columns(daily, ["time"])
        hourly = daily
    else:
        _days.need_columns(daily, ["date", "tmax_c", "tmin_c"])
    code, ids = pd.factorize(daily["station_id"].astype(str), sort=True)
    if not len(ids):
        raise FieldkitError("There are no readings: the table has no rows.")
    where = _days.places(daily, stations, code, ids)

    left_out = []
    if hourly is not None:
        daily, hourly, dropped = _days.from_hourly(hourly, where, timezone, hours_needed)
        left_out.append(dropped)
        spikes = int(dropped["reason"].str.startswith("spike").sum())
        if spikes:
            warnings.append(
                f"{spikes} hourly reading{'s' if spikes > 1 else ''} stood alone as a spike (see left_out)."
            )
        code, ids = pd.factorize(daily["station_id"], sort=True)
        where = where.reindex(ids)
    records, dropped = _days.runs(daily, code, ids, period)
    left_out.append(dropped)

    shift = _elevation_shift(where, target_elevation_m, lapse_rate_k_per_km, warnings)
    south = _south(where, hemisphere, seasons, warnings)
    season_sets = _season_sets(seasons, ids, records, south, where, warnings)

    rows, months_out = [None] * len(ids), [None] * len(ids)
    twelve = np.full((len(ids), 12, len(_monthly.STATISTICS)), np.nan)
    by_year = {}
    for members, cal, tmax, tmin in _blocks(records, shift, season_sets):
        names = list(season_sets[members[0]].items())
        sets = [months for _, months in names] + [(m,) for m in range(1, 13)]
        stats = _monthly.block_statistics(tmax, tmin, cal, rule, sets, fixed_period=period is not None)
        twelve[members] = stats[:, len(names) :]
        for name, months in names:
            years, highs, lows = _monthly.season_values(tmax, tmin, cal, rule, months)
            for row, i in enumerate(members):
                by_year.setdefault(name, []).append((i, years, lows[row], highs[row]))
        for row, i in enumerate(members):
            months_out[i] = _days.months_left_out(ids[i], tmax[row], tmin[row], cal, rule)
            rows[i] = [(ids[i], *name, *one, shift[i]) for name, one in zip(names, stats[row])]
    left_out = pd.concat([*left_out, *months_out], ignore_index=True)
    long = pd.DataFrame(
        [row for station in rows for row in station],
        columns=["station_id", "season", "month_set", *_monthly.STATISTICS, "elevation_adjustment_c"],
    )
    if long["tmax_mean_c"].isna().all():
        raise FieldkitError(
            "No season can be used: " + rule.words + ". See which days are missing, or take completeness='all' and "
            "say that you did."
        )

    weights = np.ones(len(ids)) if pooling == "stations" else np.array([np.isfinite(r[1]).sum() for r in records])
    weight_of = pd.Series(weights, index=ids)
    yearly = {name: _aligned(parts, len(ids)) for name, parts in by_year.items()}
    table, ceiling = band_table(long, weight_of, margin_c, yearly)
    distribution = distribution_table(long, weight_of, hourly, where, season_sets, ids, shift, warnings)
    twelve = same_half_of_year(twelve, south, warnings)
    schedule = schedule_table(twelve, weights, margin_c, warnings)
    differences = differences_table(long, weight_of, table, yearly)
    refuse_inverted(table, schedule)
    add_warnings(warnings, table, schedule, long, ids, margin_c)
    tell_trend(warnings, long)

    settings = {
        "n_stations": len(ids),
        "seasons": seasons if isinstance(seasons, str) else {k: list(v) for k, v in seasons.items()},
        "margin_c": float(margin_c),
        "completeness": rule.name,
        "completeness_words": rule.words,
        "period": period,
        "pooling": pooling,
        "target_elevation_m": target_elevation_m,
        "lapse_rate_k_per_km": float(lapse_rate_k_per_km) if target_elevation_m is not None else None,
        "hours_needed": hours_needed if hourly is not None else None,
    }
    return AirBands(
        table=table,
        distribution=distribution,
        schedule=schedule,
        months=months_table(ids, twelve),
        differences=differences,
        left_out=left_out,
        ceiling_c=ceiling,
        warnings=tuple(dict.fromkeys(warnings)),
        settings=settings,
    )


def of_season(season, **options):
    """Find the seasonal air-temperature ranges of a season's weather stations.

    Parameters
    ----------
    season : Season
        With ``weather``.
    **options
        Of `air_bands`.

    Returns
    -------
    AirBands

    Raises
    ------
    FieldkitError
        When it is no season, has no weather, or as in `air_bands`.

    Examples
    --------
    >>> import fieldkit
    >>> of_season(fieldkit.demo_season()).settings["n_stations"]
    4
    """
    weather = table_of(season, "weather", "readings of weather stations, one row a day or an hour")
    return air_bands(weather, **{"stations": season.stations} | options)


def _aligned(parts, stations):
    """Minima and maxima of a season, each (stations, years), NaN where a station has no such year."""
    years = np.unique(np.concatenate([one[1] for one in parts]))
    out = np.full((2, stations, len(years)), np.nan)
    for i, own, lows, highs in parts:
        at = np.searchsorted(years, own)
        out[0, i, at], out[1, i, at] = lows, highs
    return out


def _check_options(margin_c, pooling, hemisphere, lapse_rate):
    if not np.isfinite(margin_c) or margin_c < 0:
        raise FieldkitError(f"margin_c={margin_c}: give the margin as degrees below the high end, 0 or more.")
    if pooling not in ("stations", "days"):
        raise FieldkitError(f"pooling={pooling!r}: give 'stations' (one vote each) or 'days'.")
    if hemisphere not in (None, "north", "south"):
        raise FieldkitError(f"hemisphere={hemisphere!r}: give 'north' or 'south'.")
    if not np.isfinite(lapse_rate):
        raise FieldkitError("lapse_rate_k_per_km must be a number (6.5 is the standard atmosphere).")


def _elevation_shift(where, target, lapse, warnings):
    height = where["elevation_m"]
    if target is None:
        if height.max() - height.min() > FAR_APART_M:
            warnings.append(
                f"The stations lie at {height.min():.0f} to {height.max():.0f} m: about "
                f"{lapse * (height.max() - height.min()) / 1000:.0f} °C between them is height alone ({lapse:g} K/km). "
                "target_elevation_m= brings them to one height."
            )
        return np.zeros(len(where))
    if height.isna().any():
        unknown = [str(name) for name in height.index[height.isna()]]
        raise FieldkitError(
            f"The height of station {', '.join(unknown)} is not known, so its air cannot be brought to another height: "
            f"write elevation_m under [stations.{unknown[0]}] in season.toml, or leave target_elevation_m out."
        )
    far = (height - target).abs()
    if far.max() > FAR_APART_M:
        warnings.append(
            f"Station {far.idxmax()} lies {far.max():.0f} m from the height aimed at. {lapse:g} K/km is an average; in "
            "valleys, on clear nights and in winter the air near the ground is often colder below than above."
        )
    return -lapse * (target - height.to_numpy()) / 1000.0


def _south(where, hemisphere, seasons, warnings):
    latitude = where["latitude_deg"].to_numpy(dtype=float)
    if hemisphere is not None:
        latitude = np.where(np.isfinite(latitude), latitude, 1.0 if hemisphere == "north" else -1.0)
    if seasons == "hemisphere" and not np.isfinite(latitude).all():
        raise FieldkitError(
            f"The latitude of station {where.index[~np.isfinite(latitude)][0]} is not known, so neither is its summer: "
            "give latitude_deg, or say hemisphere='north' or 'south'."
        )
    south, words = _seasons.southern(latitude)
    if words:
        warnings.append(words)
    return south


def _season_sets(seasons, ids, records, south, where, warnings):
    if isinstance(seasons, dict):
        checked = _seasons.check_seasons(seasons)
        return [checked] * len(ids)
    if seasons == "hemisphere":
        tropical = where["latitude_deg"].abs() < _seasons.TROPICS_DEG
        if tropical.any():
            who = (
                f"Station {where.index[tropical][0]} lies" if tropical.sum() == 1 else f"{tropical.sum()} stations lie"
            )
            warnings.append(
                f"{who} within {_seasons.TROPICS_DEG:g}° of the equator, where summer and winter hardly differ in "
                "temperature: seasons='wet_dry' may say more."
            )
        return [_seasons.hemisphere_seasons(-1.0 if s else 1.0) for s in south]
    if seasons == "month":
        return [{_seasons.MONTHS[m - 1]: (m,) for m in range(1, 13)}] * len(ids)
    if seasons not in ("wet_dry", "pattern"):
        raise FieldkitError(
            f"seasons={seasons!r}: give 'hemisphere', 'wet_dry', 'pattern', 'month' or a dictionary of name to months."
        )
    found = []
    for station, (first, tmax, tmin, rain) in zip(ids, records):
        month = (first + np.arange(len(tmax)).astype("timedelta64[D]")).astype("datetime64[M]").astype(int) % 12
        values = rain if seasons == "wet_dry" else (tmax + tmin) / 2
        there = np.isfinite(values)
        counts = np.bincount(month[there], minlength=12)
        with np.errstate(invalid="ignore", divide="ignore"):
            means = np.bincount(month[there], weights=values[there], minlength=12) / counts
        try:
            split = _seasons.wet_dry_seasons(means) if seasons == "wet_dry" else _seasons.pattern_seasons(means)
        except FieldkitError as problem:
            raise FieldkitError(f"Station {station}: {problem}") from None
        if seasons == "wet_dry" and means.max() < _seasons.RAIN_RATIO * max(means.min(), 1e-9):
            warnings.append(
                f"Station {station}: the wettest month has less than twice the driest's rain; wet and dry hardly "
                "differ."
            )
        if seasons == "pattern" and np.ptp(means) < _seasons.MONTHS_DIFFER_C:
            warnings.append(
                f"Station {station}: its months differ by {np.ptp(means):.1f} °C only; warm and cool mean little here."
            )
        found.append(split)
    return found


def _blocks(records, shift, season_sets, most=16):
    """Stations with the same months and seasons, stacked: numpy is then busy with numbers, not with calls."""
    padded = [_monthly.whole_months(first, tmax + up, tmin + up) for (first, tmax, tmin, _), up in zip(records, shift)]
    groups = {}
    for i, (cal, _) in enumerate(padded):
        key = (cal.year[0], cal.month[0], len(cal.month), tuple(season_sets[i].items()))
        groups.setdefault(key, []).append(i)
    for group in groups.values():
        for start in range(0, len(group), most):
            members = group[start : start + most]
            tmax, tmin = (np.stack([padded[i][1][k] for i in members]) for k in (0, 1))
            yield members, padded[members[0]][0], tmax, tmin
