"""Tables of air-temperature ranges from the statistics of the stations, and the sums that stations and grids share."""

import numpy as np
import pandas as pd

from fieldkit.field.climate import monthly as _monthly
from fieldkit.field.climate import seasons as _seasons
from fieldkit.field.climate.years import half_width, shared_year_variance

POOLED = "all stations"


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
    """Air temperature that no caution reaches above: the warmest period's typical maximum less the margin.

    Where the day ranges over less than twice the margin, half the range is taken off instead: what is ordinary must be
    left (the project's own rule; common practice, no source).

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


def caution_of(low_c, high_c, ceiling_c):
    """The rule of thumb for a confined animal (°C): no higher than the ceiling, no lower than the middle of the band.

    What stations show as ordinary is no danger, so the margin stays out of the band (common practice, no source).

    Examples
    --------
    >>> caution_of(22.0, 35.0, 30.0).item(), caution_of(26.0, 27.0, 23.0).item(), caution_of(7.0, 22.0, 30.0).item()
    (30.0, 26.5, 22.0)
    """
    return np.maximum(np.minimum(high_c, ceiling_c), 0.5 * (np.asarray(low_c) + high_c))


def band_table(long, weight_of, margin_c, yearly):
    """One row per station and season, and the pooled ones; and the ceiling of the pooled cautions."""
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
        low, low_sd, _, n = pool(rows["tmin_mean_c"], weights)
        high, high_sd, _, _ = pool(rows["tmax_mean_c"], weights)
        low_half, high_half = pooled_halves(yearly, season, rows, weights)
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
    table["high_c"] = table["typical_max_c"]
    table["caution_c"] = caution_of(table["low_c"], table["high_c"], ceiling)
    table["margin_c"] = table["high_c"] - table["caution_c"]
    for end, sign in (("from", -1), ("to", 1)):
        for side in ("low", "high"):
            table[f"{side}_{end}_c"] = table[f"{side}_c"] + sign * table[f"half_{side}_c"]
    order = ["station_id", "season", "months", "low_c", "high_c", "caution_c", "margin_c"]
    order += ["typical_min_c", "typical_max_c"]
    order += ["spread_low_c", "spread_high_c", "low_from_c", "low_to_c", "high_from_c", "high_to_c"]
    order += ["n_stations", "n_years", "n_days", "completeness", "elevation_adjustment_c"]
    return table[order], ceilings[POOLED]


def pooled_halves(yearly, season, rows, weights):
    """Half widths of the pooled minimum and maximum of a season: stations, and the years that they share."""
    halves = []
    for name, values in zip(("tmin_mean_c", "tmax_mean_c"), yearly[season]):
        used = rows[name].notna().to_numpy() & (weights > 0)
        share = weights[used] / weights[used].sum() if used.any() else weights[used]
        _, sd, _, n = pool(rows[name], weights)
        shared = shared_year_variance(values[used], weights[used]) if used.any() else (np.nan, 0.0)
        halves.append(half_width(sd, 1 / (share @ share) if n > 1 else n, *shared))
    return halves


def distribution_table(long, weight_of, hourly, where, season_sets, ids, shift, warnings):
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
                q = _monthly.quantiles_along(here, (0.05, 0.5, 0.95))
                rows.append((station, name, label, here.mean() if len(here) else np.nan, *q, len(here)))
    return rows


def same_half_of_year(twelve, south, warnings):
    if south.any() and not south.all():
        twelve = twelve.copy()
        twelve[south] = np.roll(twelve[south], 6, axis=1)
        warnings.append(
            "Stations lie on both sides of the equator: the schedule counts months as in the north (southern "
            "stations are "
            "moved by six)."
        )
    return twelve


def months_table(ids, twelve):
    column = {name: i for i, name in enumerate(_monthly.STATISTICS)}
    return pd.DataFrame(
        {
            "station_id": np.repeat(ids, 12),
            "month": np.tile(_seasons.MONTHS, len(ids)),
            "typical_min_c": twelve[..., column["tmin_mean_c"]].ravel(),
            "typical_max_c": twelve[..., column["tmax_mean_c"]].ravel(),
        }
    )


def schedule_table(twelve, weights, margin_c, warnings):
    column = {name: i for i, name in enumerate(_monthly.STATISTICS)}
    raw = {}
    for end, name in (("low", "tmin_mean_c"), ("high", "tmax_mean_c")):
        pooled = [pool(twelve[:, m, column[name]], weights) for m in range(12)]
        raw[end] = np.array([p[0] for p in pooled])
        raw[f"{end}_spread"] = np.array([p[1] for p in pooled])
        count = [p[3] for p in pooled]
    table = limited_year(raw["low"], raw["high"], margin_c, warnings)
    low, high = table["low_c"], table["high_c"]
    return table.assign(
        spread_low_c=raw["low_spread"],
        spread_high_c=raw["high_spread"],
        smoothing_low_c=low - raw["low"],
        smoothing_high_c=high - raw["high"],
        step_low_c=low - np.roll(low, 1),
        step_high_c=high - np.roll(high, 1),
        n_stations=count,
    )


def limited_year(typical_min_c, typical_max_c, margin_c, warnings):
    """Smoothed ends of the twelve months and the caution beside them; unsmoothed where a month is empty."""
    low, high = smooth_year(typical_min_c), smooth_year(typical_max_c)
    missing = [name for name, value in zip(_seasons.MONTHS, typical_min_c) if not np.isfinite(value)]
    if missing:
        warnings.append(
            f"No usable readings for {', '.join(missing)}: the schedule is left unsmoothed and those months are blank."
        )
        low, high = typical_min_c, typical_max_c
    caution = caution_of(low, high, ceiling_of(high, low, margin_c))
    return pd.DataFrame(
        {
            "month": _seasons.MONTHS,
            "low_c": low,
            "high_c": high,
            "caution_c": caution,
            "margin_c": high - caution,
            "typical_min_c": typical_min_c,
            "typical_max_c": typical_max_c,
        }
    )


def differences_table(long, weight_of, table, yearly):
    """How far each season lies below the warmest, station by station."""
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
            weights = weight_of[drop.index].to_numpy()
            mean, sd, _, n = pool(drop, weights)
            half = _drop_half(yearly, season, warmest, end, sd, n, drop, weights)
            row |= {
                f"{end}_drop_c": mean,
                f"{end}_drop_from_c": mean - half,
                f"{end}_drop_to_c": mean + half,
                f"{end}_drop_spread_c": sd,
                "n_stations": n,
            }
        rows.append(row)
    return pd.DataFrame(rows)


def _drop_half(yearly, season, warmest, end, sd, n, drop, weights):
    """Half width of a difference between seasons: years of either season are shared by all stations."""
    at = 1 if end == "max" else 0
    used = drop.notna().to_numpy() & (weights > 0)
    if n < 2:
        return np.nan
    share = weights[used] / weights[used].sum()
    both = [shared_year_variance(yearly[name][at][used], weights[used]) for name in (season, warmest)]
    variance, years = np.sum([v for v, _ in both]), min(y for _, y in both)
    return half_width(sd, 1 / (share @ share), variance, years)
