"""From weather stations across a range to seasonal air bands with a safety margin."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result
from fieldkit.field import days as _days
from fieldkit.field import seasons as _seasons
from fieldkit.records.stations import StationRecords

POOLED = "all stations"

# ISO 2533 / US Standard Atmosphere 1976: mean fall of air temperature with height, 0 to 11 km.
LAPSE_RATE_K_PER_KM = 6.5

# Heights further apart than this are worth a word (our choice: 3 °C at the standard lapse rate).
FAR_APART_M = 500.0
# So much between the middle and the end of the record is worth a word (our choice: what two good stations a few
# kilometres apart differ by).
TREND_TOLD_C = 0.5

CAUTIONS = (
    "A band is the air in a shaded screen 1.2 to 2 m above the ground (WMO-No. 8). It is not the temperature of the "
    "ground, of a basking place or of a burrow: an enclosure needs a gradient around it, with a retreat that stays "
    "cooler than the band's high end.",
    "The margin is common practice without a source. A wild animal in the heat can dig, climb or leave; a confined one "
    "cannot. Take more when the enclosure is small or the room can overheat.",
    "A cool season or winter rest is only for healthy animals of a species known to need it, prepared and watched, and "
    "with a veterinarian's advice.",
)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class AirBands(Result):
    """Seasonal air bands; made by `air_bands`.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per station and season, and per season for all stations together (``station_id`` = "all stations"):
        ``low_c`` and ``high_c`` are the band; ``margin_c`` is what was taken off its high end; ``typical_max_c`` and
        ``typical_min_c`` are the mean daily extremes. ``spread_*`` is the standard deviation and ``low_from_c`` to
        ``high_to_c`` the 95 % interval of the mean: between years for a station, between stations for the pooled rows.
    distribution : pandas.DataFrame
        Day and night: mean and 5, 50 and 95 % quantiles of the daily maximum and minimum (of the single days of months
        that count), and, from hourly readings, of all hours read with the sun up and down (by its height, not by the
        clock). The rows for all stations are the means of the stations' numbers, each with its vote.
    schedule : pandas.DataFrame
        Twelve months for all stations together: smoothed band, what the months say before smoothing, and the step from
        the month before.
    months : pandas.DataFrame
        Typical extremes of each station in each month, as the schedule counts months.
    differences : pandas.DataFrame
        How far each season lies below the warmest one, with the interval over stations.
    left_out : pandas.DataFrame
        Days and months that were not used, and why.
    ceiling_c : float
        No band of the pooled rows reaches above it: the typical maximum of the warmest season less the margin.
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
        """The bands in words, with the margin, the rule of completeness and every warning."""
        rows = self.pooled
        count = self.settings["n_stations"]
        parts = [
            f"{name} {row.low_c:.1f} to {row.high_c:.1f} °C" for name, row in rows.iterrows() if np.isfinite(row.low_c)
        ]
        spread = rows["spread_high_c"].max()
        words = f"Air bands from {count} station{'s' if count > 1 else ''}: {', '.join(parts)}. "
        words += (
            f"A margin of {rows['margin_c'].max():.1f} °C is taken off the hot end: no band reaches above "
            f"{self.ceiling_c:.1f} °C. "
        )
        if np.isfinite(spread):
            words += f"The stations' typical maxima differ by a standard deviation of up to {spread:.1f} °C. "
        words += f"Completeness: {self.settings['completeness_words']}."
        return words + "".join(f" Warning: {w}" for w in self.warnings)


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
    """Draw seasonal air bands from the readings of one or more weather stations.

    The band of a season reaches from its typical minimum to its typical maximum (the means of the daily extremes), with
    a safety margin at the hot end. The margin sets a ceiling: the typical maximum of the warmest season less
    `margin_c`. No season's band reaches above the ceiling. So the hot season loses the whole margin, a season that
    never gets that warm loses nothing, and the months in between never end up warmer than the hot season. At most half
    of the warmest season's daily range is taken off. The schedule by months has its own
    ceiling, from the warmest month.

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
        Safety margin at the hot end, °C. The default is common practice without a source.
    completeness : {"3/5", "11/5", "all"} or Completeness
        Which months count; see `fieldkit.field.seasons.RULES`.
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
    >>> bands.pooled.loc[["summer", "winter"], ["low_c", "high_c", "margin_c"]].to_numpy().tolist()
    [[22.0, 30.0, 5.0], [7.0, 22.0, 0.0]]
    """
    _check_options(margin_c, pooling, hemisphere, lapse_rate_k_per_km)
    rule = _seasons.completeness_rule(completeness)
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
    south = _south(where, hemisphere, seasons)
    season_sets = _season_sets(seasons, ids, records, south, where, warnings)

    rows, months_out = [None] * len(ids), [None] * len(ids)
    twelve = np.full((len(ids), 12, len(_seasons.STATISTICS)), np.nan)
    for members, cal, tmax, tmin in _blocks(records, shift, season_sets):
        names = list(season_sets[members[0]].items())
        sets = [months for _, months in names] + [(m,) for m in range(1, 13)]
        stats = _seasons.block_statistics(tmax, tmin, cal, rule, sets, fixed_period=period is not None)
        twelve[members] = stats[:, len(names) :]
        for row, i in enumerate(members):
            months_out[i] = _days.months_left_out(ids[i], tmax[row], tmin[row], cal, rule)
            rows[i] = [(ids[i], *name, *one, shift[i]) for name, one in zip(names, stats[row])]
    left_out = pd.concat([*left_out, *months_out], ignore_index=True)
    long = pd.DataFrame(
        [row for station in rows for row in station],
        columns=["station_id", "season", "month_set", *_seasons.STATISTICS, "elevation_adjustment_c"],
    )
    if long["tmax_mean_c"].isna().all():
        raise FieldkitError(
            "No season can be used: " + rule.words + ". See which days are missing, or take completeness='all' and "
            "say that you did."
        )

    weights = np.ones(len(ids)) if pooling == "stations" else np.array([np.isfinite(r[1]).sum() for r in records])
    weight_of = pd.Series(weights, index=ids)
    table, ceiling = _band_table(long, weight_of, margin_c)
    distribution = _distribution(long, weight_of, hourly, where, season_sets, ids, shift, warnings)
    twelve = _same_half_of_year(twelve, south, warnings)
    schedule = _schedule(twelve, weights, margin_c, warnings)
    differences = _differences(long, weight_of, table)
    _refuse_inverted(table, schedule, margin_c)
    _add_warnings(warnings, table, schedule, long, ids, margin_c)
    _tell_trend(warnings, long)

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
        months=_months(ids, twelve),
        differences=differences,
        left_out=left_out,
        ceiling_c=ceiling,
        warnings=tuple(dict.fromkeys(warnings)),
        settings=settings,
    )


def smooth_year(monthly):
    """Smooth twelve monthly values with a yearly and a half-yearly wave, by least squares.

    Parameters
    ----------
    monthly : array_like, shape (12,)
        January first, any unit.

    Returns
    -------
    ndarray, shape (12,)
        NaN throughout when a month is missing: a wave through a gap would be made up.

    Examples
    --------
    >>> wave = 20 + 8 * np.sin(2 * np.pi * np.arange(12) / 12)
    >>> bool(np.allclose(smooth_year(wave), wave))
    True
    """
    monthly = np.asarray(monthly, dtype=float)
    if not np.isfinite(monthly).all():
        return np.full(12, np.nan)
    angle = 2 * np.pi * np.arange(12) / 12
    waves = np.column_stack([np.ones(12), np.cos(angle), np.sin(angle), np.cos(2 * angle), np.sin(2 * angle)])
    return waves @ np.linalg.lstsq(waves, monthly, rcond=None)[0]


def pool(values, weights):
    """Weighted mean, spread and 95 % interval of the mean, missing values left out.

    Parameters
    ----------
    values : array_like, shape (n,)
        One value per station (or year, or cell).
    weights : array_like, shape (n,)
        Their votes; any scale.

    Returns
    -------
    tuple of float
        Mean, standard deviation between the values, half the width of the interval (Student's t with the effective
        number of values less one), number of values. Spread and interval are NaN for fewer than two values.

    Examples
    --------
    >>> mean, spread, half, n = pool([20.0, 22.0, 24.0], [1, 1, 1])
    >>> round(mean, 3), round(spread, 3), round(half, 3), n
    (22.0, 2.0, 4.968, 3)
    """
    values, weights = np.asarray(values, dtype=float), np.asarray(weights, dtype=float)
    there = np.isfinite(values) & (weights > 0)
    n = int(there.sum())
    if n == 0:
        return np.nan, np.nan, np.nan, 0
    values, share = values[there], weights[there] / weights[there].sum()
    mean = float(share @ values)
    if n == 1:
        return mean, np.nan, np.nan, 1
    from scipy import stats

    squares = float(share @ share)
    sd = float(np.sqrt(share @ (values - mean) ** 2 / (1 - squares)))
    half = float(stats.t.ppf(0.975, 1 / squares - 1) * sd * np.sqrt(squares))
    return mean, sd, half, n


def ceiling_of(typical_max_c, typical_min_c, margin_c):
    """Air temperature that no band reaches above: the warmest period's typical maximum less the margin.

    Where the day ranges over less than twice the margin, half the range is taken off instead: a band must be left
    (the project's own rule; common practice, no source).

    Parameters
    ----------
    typical_max_c, typical_min_c : array_like, shape (n,)
        Of each season or month, °C; NaN where not known.
    margin_c : float
        °C.

    Returns
    -------
    float
        °C; NaN when no period is known.

    Examples
    --------
    >>> ceiling_of([35, 22], [22, 7], 5.0), ceiling_of([31, 29], [25, 24], 5.0)
    (30.0, 28.0)
    """
    highs, lows = np.asarray(typical_max_c, dtype=float), np.asarray(typical_min_c, dtype=float)
    if not np.isfinite(highs).any():
        return np.nan
    warmest = int(np.nanargmax(highs))
    return float(highs[warmest] - min(margin_c, (highs[warmest] - lows[warmest]) / 2))


def _check_options(margin_c, pooling, hemisphere, lapse_rate):
    if not np.isfinite(margin_c) or margin_c < 0:
        raise FieldkitError(f"margin_c={margin_c}: give the margin as degrees to take off, 0 or more.")
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
        raise FieldkitError(
            f"The height of station {height.index[height.isna()][0]} is not known: give its elevation_m, or leave "
            "target_elevation_m out."
        )
    far = (height - target).abs()
    if far.max() > FAR_APART_M:
        warnings.append(
            f"Station {far.idxmax()} lies {far.max():.0f} m from the height aimed at. {lapse:g} K/km is an average; in "
            "valleys, on clear nights and in winter the air near the ground is often colder below than above."
        )
    return -lapse * (target - height.to_numpy()) / 1000.0


def _south(where, hemisphere, seasons):
    latitude = where["latitude_deg"].to_numpy(dtype=float)
    if hemisphere is not None:
        latitude = np.where(np.isfinite(latitude), latitude, 1.0 if hemisphere == "north" else -1.0)
    if seasons == "hemisphere" and not np.isfinite(latitude).all():
        raise FieldkitError(
            f"The latitude of station {where.index[~np.isfinite(latitude)][0]} is not known, so neither is its summer: "
            "give latitude_deg, or say hemisphere='north' or 'south'."
        )
    return latitude < 0


def _season_sets(seasons, ids, records, south, where, warnings):
    if isinstance(seasons, dict):
        checked = _seasons.check_seasons(seasons)
        return [checked] * len(ids)
    if seasons == "hemisphere":
        tropical = where["latitude_deg"].abs() < 10
        if tropical.any():
            warnings.append(
                f"Station {where.index[tropical][0]} lies within 10° of the equator, where summer and winter hardly "
                "differ in temperature: seasons='wet_dry' may say more."
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
        if seasons == "wet_dry" and means.max() < 2 * max(means.min(), 1e-9):
            warnings.append(
                f"Station {station}: the wettest month has less than twice the driest's rain; wet and dry hardly "
                "differ."
            )
        if seasons == "pattern" and np.ptp(means) < 3:
            warnings.append(
                f"Station {station}: its months differ by {np.ptp(means):.1f} °C only; warm and cool mean little here."
            )
        found.append(split)
    return found


def _blocks(records, shift, season_sets, most=16):
    """Stations with the same months and seasons, stacked: numpy is then busy with numbers, not with calls."""
    padded = [_seasons.whole_months(first, tmax + up, tmin + up) for (first, tmax, tmin, _), up in zip(records, shift)]
    groups = {}
    for i, (cal, _) in enumerate(padded):
        key = (cal.year[0], cal.month[0], len(cal.month), tuple(season_sets[i].items()))
        groups.setdefault(key, []).append(i)
    for group in groups.values():
        for start in range(0, len(group), most):
            members = group[start : start + most]
            tmax, tmin = (np.stack([padded[i][1][k] for i in members]) for k in (0, 1))
            yield members, padded[members[0]][0], tmax, tmin


def _band_table(long, weight_of, margin_c):
    from scipy import stats

    n = long["n_years"].to_numpy()
    with np.errstate(invalid="ignore", divide="ignore"):
        width = np.where(n > 1, stats.t.ppf(0.975, np.maximum(n - 1, 1)) / np.sqrt(n), np.nan)
    words = {months: _seasons.months_in_words(months) for months in set(long["month_set"])}
    single = pd.DataFrame(
        {
            "station_id": long["station_id"],
            "season": long["season"],
            "months": long["month_set"].map(words),
            "typical_max_c": long["tmax_mean_c"],
            "typical_min_c": long["tmin_mean_c"],
            "spread_low_c": long["tmin_year_sd_c"],
            "spread_high_c": long["tmax_year_sd_c"],
            "half_low_c": width * long["tmin_year_sd_c"],
            "half_high_c": width * long["tmax_year_sd_c"],
            "n_stations": 1,
            "n_years": long["n_years"].astype(int),
            "n_days": long["n_days"].astype(int),
            "completeness": long["completeness"],
            "elevation_adjustment_c": long["elevation_adjustment_c"],
        }
    )
    pooled = []
    for season, rows in long.groupby("season", sort=False):
        weights = weight_of[rows["station_id"]].to_numpy()
        low, low_sd, low_half, n = pool(rows["tmin_mean_c"], weights)
        high, high_sd, high_half, _ = pool(rows["tmax_mean_c"], weights)
        used = rows["tmax_mean_c"].notna()
        months = dict.fromkeys(rows["month_set"].map(words))
        pooled.append(
            {
                "station_id": POOLED,
                "season": season,
                "months": " or ".join(months) if len(months) < 3 else "each station's own",
                "typical_max_c": high,
                "typical_min_c": low,
                "spread_low_c": low_sd,
                "spread_high_c": high_sd,
                "half_low_c": low_half,
                "half_high_c": high_half,
                "n_stations": n,
                "n_years": int(rows.loc[used, "n_years"].min()) if n else 0,
                "n_days": int(rows["n_days"].sum()),
                "completeness": rows["completeness"].mean(),
                "elevation_adjustment_c": rows.loc[used, "elevation_adjustment_c"].mean() if n else np.nan,
            }
        )
    table = pd.concat([single, pd.DataFrame(pooled)], ignore_index=True)
    ceilings = {
        station: ceiling_of(rows["typical_max_c"], rows["typical_min_c"], margin_c)
        for station, rows in table.groupby("station_id")
    }
    # A station that lacks a season may lack the hot one: it goes by the ceiling of all.
    lacking = table.loc[table["typical_max_c"].isna(), "station_id"].unique()
    ceilings |= dict.fromkeys(lacking, ceilings[POOLED])
    ceiling = table["station_id"].map(ceilings)
    table["low_c"] = table["typical_min_c"]
    table["high_c"] = np.minimum(table["typical_max_c"], ceiling)
    table["margin_c"] = table["typical_max_c"] - table["high_c"]
    for end in ("low", "high"):
        table[f"{end}_from_c"] = table[f"{end}_c"] - table[f"half_{end}_c"]
        table[f"{end}_to_c"] = table[f"{end}_c"] + table[f"half_{end}_c"]
    order = ["station_id", "season", "months", "low_c", "high_c", "margin_c", "typical_min_c", "typical_max_c"]
    order += ["spread_low_c", "spread_high_c", "low_from_c", "low_to_c", "high_from_c", "high_to_c"]
    order += ["n_stations", "n_years", "n_days", "completeness", "elevation_adjustment_c"]
    return table[order], ceilings[POOLED]


def _distribution(long, weight_of, hourly, where, season_sets, ids, shift, warnings):
    rows = []
    for part, name in (("daily maximum", "tmax"), ("daily minimum", "tmin")):
        for row in long.itertuples():
            numbers = [getattr(row, f"{name}_{k}_c") for k in ("mean", "q05", "q50", "q95")]
            rows.append((row.station_id, row.season, part, *numbers, int(row.n_days)))
    if hourly is not None:
        rows += _hours_of_day_and_night(hourly, where, season_sets, ids, shift, warnings)
    columns = ["mean_c", "q05_c", "q50_c", "q95_c"]
    table = pd.DataFrame(rows, columns=["station_id", "season", "part", *columns, "n"])
    pooled = []
    for (season, part), group in table.groupby(["season", "part"], sort=False):
        weights = weight_of[group["station_id"]].to_numpy()
        pooled.append((POOLED, season, part, *[pool(group[c], weights)[0] for c in columns], int(group["n"].sum())))
    return pd.concat([table, pd.DataFrame(pooled, columns=table.columns)], ignore_index=True)


def _hours_of_day_and_night(hourly, where, season_sets, ids, shift, warnings):
    rows = []
    for i, station in enumerate(ids):
        part = hourly[hourly["station_id"] == station]
        air = part["air_temperature_c"].to_numpy() + shift[i]
        month = part["local"].dt.month.to_numpy()
        groups = {"all hours": np.ones(len(part), bool)}
        place = where.loc[station, ["latitude_deg", "longitude_deg"]].astype(float)
        if place.notna().all():
            from pvlib import solarposition

            times = pd.DatetimeIndex(part["time"])
            sun = solarposition.get_solarposition(times, place["latitude_deg"], place["longitude_deg"])
            up = sun["elevation"].to_numpy() > -0.833  # the upper rim, with usual refraction
            groups |= {"sun up": up, "sun down": ~up}
        else:
            warnings.append(
                f"Station {station} has no latitude and longitude: its hours are not split in day and night."
            )
        for name, months in season_sets[i].items():
            for label, which in groups.items():
                here = air[which & np.isin(month, months)]
                q = _seasons.quantiles_along(here, (0.05, 0.5, 0.95))
                rows.append((station, name, label, here.mean() if len(here) else np.nan, *q, len(here)))
    return rows


def _same_half_of_year(twelve, south, warnings):
    if south.any() and not south.all():
        twelve = twelve.copy()
        twelve[south] = np.roll(twelve[south], 6, axis=1)
        warnings.append(
            "Stations lie on both sides of the equator: the schedule counts months as in the north (southern "
            "stations are "
            "moved by six)."
        )
    return twelve


def _months(ids, twelve):
    column = {name: i for i, name in enumerate(_seasons.STATISTICS)}
    return pd.DataFrame(
        {
            "station_id": np.repeat(ids, 12),
            "month": np.tile(_seasons.MONTHS, len(ids)),
            "typical_min_c": twelve[..., column["tmin_mean_c"]].ravel(),
            "typical_max_c": twelve[..., column["tmax_mean_c"]].ravel(),
        }
    )


def _schedule(twelve, weights, margin_c, warnings):
    column = {name: i for i, name in enumerate(_seasons.STATISTICS)}
    raw = {}
    for end, name in (("low", "tmin_mean_c"), ("high", "tmax_mean_c")):
        pooled = [pool(twelve[:, m, column[name]], weights) for m in range(12)]
        raw[end] = np.array([p[0] for p in pooled])
        raw[f"{end}_spread"] = np.array([p[1] for p in pooled])
        count = [p[3] for p in pooled]
    low, high = smooth_year(raw["low"]), smooth_year(raw["high"])
    if not np.isfinite(low).all():
        missing = [_seasons.MONTHS[m] for m in range(12) if not np.isfinite(raw["low"][m])]
        warnings.append(
            f"No usable readings for {', '.join(missing)}: the schedule is left unsmoothed and those months are blank."
        )
        low, high = raw["low"], raw["high"]
    limited = np.minimum(high, ceiling_of(high, low, margin_c))
    return pd.DataFrame(
        {
            "month": _seasons.MONTHS,
            "low_c": low,
            "high_c": limited,
            "margin_c": high - limited,
            "typical_min_c": raw["low"],
            "typical_max_c": raw["high"],
            "spread_low_c": raw["low_spread"],
            "spread_high_c": raw["high_spread"],
            "smoothing_low_c": low - raw["low"],
            "smoothing_high_c": high - raw["high"],
            "step_low_c": low - np.roll(low, 1),
            "step_high_c": limited - np.roll(limited, 1),
            "n_stations": count,
        }
    )


def _differences(long, weight_of, table):
    pooled = table[table["station_id"] == POOLED]
    warmest = pooled.loc[pooled["typical_max_c"].idxmax(), "season"]
    by_season = {season: rows.set_index("station_id") for season, rows in long.groupby("season", sort=False)}
    rows = []
    for season in pooled["season"]:
        if season == warmest:
            continue
        row = {"season": season, "below": warmest}
        for end, name in (("max", "tmax_mean_c"), ("min", "tmin_mean_c")):
            drop = by_season[warmest][name] - by_season[season][name]
            mean, sd, half, n = pool(drop, weight_of[drop.index].to_numpy())
            row |= {
                f"{end}_drop_c": mean,
                f"{end}_drop_from_c": mean - half,
                f"{end}_drop_to_c": mean + half,
                f"{end}_drop_spread_c": sd,
                "n_stations": n,
            }
        rows.append(row)
    return pd.DataFrame(rows)


def _refuse_inverted(table, schedule, margin_c):
    wrong = table[table["low_c"] >= table["high_c"]]
    if len(wrong):
        row = wrong.iloc[0]
        raise FieldkitError(
            f"{row['station_id']}, {row['season']}: the band would run from {row['low_c']:.1f} down to "
            f"{row['high_c']:.1f} "
            f"°C. The typical day reaches from {row['typical_min_c']:.1f} to {row['typical_max_c']:.1f} °C, and "
            "the margin "
            f"of {margin_c:g} °C leaves nothing of it: give a smaller margin_c, or use seasons that differ less."
        )
    wrong = schedule[schedule["low_c"] >= schedule["high_c"]]
    if len(wrong):
        row = wrong.iloc[0]
        raise FieldkitError(
            f"In {row['month']} the schedule would run from {row['low_c']:.1f} down to {row['high_c']:.1f} °C: "
            "the nights of "
            f"that month are warmer than the ceiling that the margin of {margin_c:g} °C leaves. Give a smaller "
            "margin_c."
        )


def _tell_trend(warnings, long):
    """A record over which the climate moved describes its own middle, not today."""
    worst = None
    for end, words in (("tmax", "maximum"), ("tmin", "minimum")):
        for season, rows in long.dropna(subset=[f"{end}_trend_p"]).groupby("season", sort=False):
            slope = rows[f"{end}_trend_c_per_decade"]
            # Eight lines are looked at (four seasons, two ends), so each has to be clear at 1 % (our choice).
            clear = (rows[f"{end}_trend_p"] < 0.01) & (np.sign(slope) == np.sign(slope.median()))
            change = slope.median() / 10 * rows["n_years"].median() / 2
            # Stations share their weather, so one clear line among many proves little.
            if clear.mean() >= 0.5 and abs(change) >= TREND_TOLD_C and (worst is None or abs(change) > abs(worst[0])):
                worst = change, season, words, slope.median(), int(clear.sum()), len(rows)
    if worst is None:
        return
    change, season, words, slope, n, of = worst
    warnings.append(
        f"The typical {words} of {season} {'rose' if slope > 0 else 'fell'} by {abs(slope):.2f} °C a decade over the "
        f"record (clear at {n} of {of} station{'s' if of > 1 else ''}): the bands describe its middle, and its end "
        f"lies {abs(change):.1f} °C {'above' if change > 0 else 'below'} that. period= takes the latest 30 years."
    )


def _add_warnings(warnings, table, schedule, long, ids, margin_c):
    if len(ids) == 1:
        warnings.append(
            "One station is all there is: it shows one place, not the range, and how places differ cannot be told."
        )
    elif len(ids) == 2:
        warnings.append("Two stations say little of how places differ: the intervals are wide for that reason.")
    pooled = table[table["station_id"] == POOLED]
    hot, month = pooled.loc[pooled["margin_c"].idxmax()], schedule.loc[schedule["margin_c"].idxmax()]
    if min(hot["margin_c"], month["margin_c"]) < margin_c - 1e-9:
        warnings.append(
            f"The margin of {margin_c:g} °C is more than half of what the warmest days range over, so half was taken: "
            f"{hot['margin_c']:.1f} °C in {hot['season']}, {month['margin_c']:.1f} °C in {month['month']} of the "
            "schedule. "
            "The hot season's band is narrow and needs a well-controlled room."
        )
    moved = schedule[["smoothing_low_c", "smoothing_high_c"]].abs().max(axis=1)
    if moved.max() > 1.5:
        warnings.append(
            f"Smoothing moves {schedule.loc[moved.idxmax(), 'month']} by {moved.max():.1f} °C: in so few years single "
            "months follow their own weather. What the months say is in typical_min_c and typical_max_c."
        )
    empty = pooled.loc[pooled["low_c"].isna(), "season"].tolist()
    if empty:
        rest = pooled.loc[pooled["low_c"].notna(), "season"].tolist()
        warnings.append(
            f"No band for {', '.join(empty)}: no station has readings that pass the rule. The warmest of "
            f"{', '.join(rest)} "
            "is taken as the hot season, which holds only if the missing ones are cooler."
        )
    partly = long[long["tmax_mean_c"].isna() & ~long["season"].isin(empty)]
    if len(partly):
        names = sorted(set(partly["station_id"]))
        warnings.append(
            f"{len(names)} station{'s' if len(names) > 1 else ''} "
            f"({', '.join(names[:5])}{'…' if len(names) > 5 else ''}) "
            "could not be used in every season (see left_out)."
        )
    years = long.loc[long["n_years"] > 0, "n_years"]
    if years.min() < 24:
        warnings.append(
            f"The shortest record has {int(years.min())} year{'s' if years.min() > 1 else ''}. A climatological "
            "normal is "
            "30 years, of which 24 must count (WMO-No. 1203); fewer years follow their own weather."
        )
