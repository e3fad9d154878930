"""The same air-temperature ranges from gridded climate: masked to a region, weighed by area, of any size."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result
from fieldkit.field.climate import CAUTIONS, ceiling_of
from fieldkit.field.climate import completeness as _completeness
from fieldkit.field.climate import monthly as _monthly
from fieldkit.field.climate import seasons as _seasons
from fieldkit.field.climate.grid import region as _region
from fieldkit.field.climate.tables import caution_of, limited_year

EARTH_RADIUS_KM = 6371.0088  # mean radius, IUGG
_POSSIBLE_C = (-90.0, 60.0)
_IRRADIANCE_UNITS = {"w m-2", "w/m2", "w m**-2", "w/m^2", "watt m-2"}


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class GridBands(Result):
    """Seasonal air-temperature ranges of a region on a grid; made by `air_bands`.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per season for the whole region, cells weighed by their area: ``low_c, high_c, caution_c, margin_c``,
        typical
        extremes, their standard deviation between cells, and ``area_low_05_c`` and ``area_high_95_c``, below and above
        which the typical minimum and maximum lie on 5 % of the area.
    schedule : pandas.DataFrame
        Twelve months for the whole region, smoothed.
    cells : xarray.Dataset
        Season by latitude by longitude: band, caution and typical extremes of each cell, each with its own ceiling.
    ceiling_c : float
        No band of the region reaches above it.
    warnings, cautions : tuple of str
    settings : dict
    """

    table: pd.DataFrame
    schedule: pd.DataFrame
    cells: object
    ceiling_c: float
    warnings: tuple = ()
    cautions: tuple = CAUTIONS
    settings: dict = field(default_factory=dict)

    @property
    def pooled(self):
        """The rows of the region by season."""
        return self.table.set_index("season")

    @property
    def sentence(self):
        """The bands in words."""
        parts = [
            f"{r.season} {r.low_c:.1f} to {r.high_c:.1f} °C" for r in self.table.itertuples() if np.isfinite(r.low_c)
        ]
        return (
            f"Seasonal air-temperature ranges from {self.settings['n_cells']} grid cells "
            f"({self.settings['area_km2']:,.0f} km²): "
            f"{', '.join(parts)}. Caution for a confined animal: above {self.ceiling_c:.1f} °C, "
            f"{self.table['margin_c'].max():.1f} °C below the warmest season's high end (a rule of thumb without a "
            f"source, no limit). Completeness: {self.settings['completeness_words']}."
        ) + "".join(f" Warning: {w}" for w in self.warnings)


def air_bands(
    dataset,
    *,
    region=None,
    variables=None,
    seasons="hemisphere",
    margin_c=5.0,
    completeness="3/5",
    period=None,
    memory_mb=256.0,
):
    """Draw seasonal air-temperature ranges for a region from gridded daily extremes.

    Every cell is treated as `fieldkit.field.climate.air_bands` treats a station, with the same sums; cells are then
    pooled by area. The grid passes month by month through dask, in this process or on the cluster whose
    ``distributed.Client`` is active, and may be larger than the memory of either.

    Parameters
    ----------
    dataset : xarray.Dataset
        See `fieldkit.field.climate.grid.region.tidy`. Open it with ``chunks={}`` to keep it on disk.
    region : tuple, shapely geometry or path, optional
        See `fieldkit.field.climate.grid.region.tidy`.
    variables : dict of str to str, optional
        See `fieldkit.field.climate.grid.region.tidy`.
    seasons : {"hemisphere", "wet_dry", "pattern", "month"} or dict
        As for stations; "pattern" splits the year by the monthly means of the whole region, "wet_dry" by its rain (a
        daily variable, ``precipitation_mm`` in `variables`; units mm or kg m-2 s-1).
    margin_c : float
        How far the caution lies below the warmest high end, °C (common practice, no source); see
        `fieldkit.field.climate.ceiling_of`.
    completeness : {"3/5", "11/5", "all"} or Completeness
        Which months count.
    period : tuple of int, optional
        First and last year.
    memory_mb : float
        About how much of the grid is held at a time, MB (plus the chunks as they are stored); a task takes a sixteenth.

    Returns
    -------
    GridBands

    Raises
    ------
    FieldkitError
        As `region.tidy`; when no season can be used; when a band of the region would be upside down.

    Examples
    --------
    >>> import xarray as xr
    >>> day = pd.date_range("2023-01-01", "2023-12-31")
    >>> hot = day.month.isin([6, 7, 8])[:, None, None] * np.ones((1, 2, 2))
    >>> dims = ("time", "lat", "lon")
    >>> data = xr.Dataset({"tasmax": (dims, 22 + 13 * hot, {"units": "degC"}),
    ...                    "tasmin": (dims, 7 + 15 * hot, {"units": "degC"})},
    ...                   coords={"time": day, "lat": [30.0, 31.0], "lon": [-110.0, -109.0]})
    >>> air_bands(data).pooled.loc[["summer", "winter"], ["low_c", "high_c"]].round(9).to_numpy().tolist()
    [[22.0, 35.0], [7.0, 22.0]]
    """
    if not np.isfinite(margin_c) or margin_c < 0:
        raise FieldkitError(f"margin_c={margin_c}: give the margin as degrees below the high end, 0 or more.")
    rule = _completeness.completeness_rule(completeness)
    wanted = {"variables": variables, "region": region, "rain": seasons == "wet_dry"}
    data = _region.days(_region.tidy(dataset, **wanted), period)
    warnings = []
    rows_used = data["in_region"].any("longitude").to_numpy()
    south = np.zeros(len(rows_used), dtype=bool)
    south[rows_used], words = _seasons.southern(data["latitude"].to_numpy()[rows_used])
    if words:
        warnings.append(words)
    area = _cell_area(data)
    sums, cal, first, last = _sums(data, rule, memory_mb)
    expected_years, expected_days = _expected(cal, first, last, period is not None)
    if seasons == "pattern":
        with np.errstate(invalid="ignore", divide="ignore"):
            means = (sums["tmax_sum"] + sums["tmin_sum"]) / 2 / sums["years"]
        weights = np.where(data["in_region"].to_numpy(), area, 0.0)
        split = _seasons.pattern_seasons([_weighted(means[..., m], weights)[0] for m in range(12)])
        by_side = [split, split]
    elif seasons == "wet_dry":
        rain = _monthly_rain(data, area)
        by_side = [_seasons.wet_dry_seasons(rain)] * 2
        if rain.max() < _seasons.RAIN_RATIO * max(rain.min(), 1e-9):
            warnings.append("The wettest month has less than twice the driest's rain; wet and dry hardly differ.")
    elif seasons == "month":
        by_side = [{_seasons.MONTHS[m - 1]: (m,) for m in range(1, 13)}] * 2
    elif seasons == "hemisphere":
        by_side = [_seasons.hemisphere_seasons(1.0), _seasons.hemisphere_seasons(-1.0)]
        latitude = data["latitude"].to_numpy()[rows_used]
        if (np.abs(latitude) < _seasons.TROPICS_DEG).any():
            warnings.append(
                "Part of the region lies within 10° of the equator, where summer and winter hardly differ in "
                "temperature."
            )
    elif isinstance(seasons, dict):
        by_side = [_seasons.check_seasons(seasons)] * 2
    else:
        raise FieldkitError(
            f"seasons={seasons!r}: give 'hemisphere', 'wet_dry', 'pattern', 'month' or a dictionary of name to months."
        )

    if south[rows_used].all():
        by_side[0] = by_side[1]
    elif not south[rows_used].any():
        by_side[1] = by_side[0]
    names = list(by_side[0])
    statistics = np.stack(
        [
            _monthly.season_means(
                **sums,
                expected_years=expected_years,
                expected_days=expected_days,
                rule=rule,
                sets=[*side.values(), *((m,) for m in range(1, 13))],
            )
            for side in by_side
        ]
    )
    statistics = np.where(south[:, None, None, None], statistics[1], statistics[0])
    statistics[~data["in_region"].to_numpy()] = np.nan
    typical = statistics[..., :2]
    if (typical < _POSSIBLE_C[0]).any() or (typical > _POSSIBLE_C[1]).any():
        raise FieldkitError(
            f"Typical extremes from {np.nanmin(typical):.0f} to {np.nanmax(typical):.0f} °C are not of this "
            "earth: check "
            "that the units attribute of the variables says what the numbers are, and that missing cells are marked."
        )
    usable = np.isfinite(statistics[..., 0]).any(axis=-1) & data["in_region"].to_numpy()
    if not usable.any():
        raise FieldkitError("No cell of the region has a season that can be used: " + rule.words + ".")
    table, ceiling = _pool_cells(
        statistics[..., : len(names), :], names, by_side, area, data["in_region"].to_numpy(), margin_c
    )
    schedule = _schedule(
        statistics[..., len(names) :, :], area, south, data["in_region"].to_numpy(), margin_c, warnings
    )
    _refuse_inverted(table, schedule)
    if usable.sum() == 1:
        warnings.append("One grid cell is all there is: how places differ across the range cannot be told.")
    years = table.loc[table["n_years"] > 0, "n_years"].min()
    if years < 24:
        warnings.append(
            f"The record has {int(years)} usable years; a climatological normal is 30, of which 24 must count."
        )
    taken = table["margin_c"].max()
    if taken < margin_c - 1e-9:
        warnings.append(
            f"The margin of {margin_c:g} °C is more than half of the warmest day's range: {taken:.1f} °C was taken."
        )
    settings = {
        "n_cells": int(usable.sum()),
        "n_cells_without_data": int((data["in_region"].to_numpy() & ~usable).sum()),
        "area_km2": float(area[usable].sum()),
        "seasons": seasons if isinstance(seasons, str) else {k: list(v) for k, v in seasons.items()},
        "margin_c": float(margin_c),
        "completeness": rule.name,
        "completeness_words": rule.words,
        "period": period,
        "region": "whole grid" if region is None else str(region)[:200],
    }
    return GridBands(
        table=table,
        schedule=schedule,
        cells=_cells(statistics[..., : len(names), :], names, data, margin_c, ceiling),
        ceiling_c=ceiling,
        warnings=tuple(dict.fromkeys(warnings)),
        settings=settings,
    )


def operative_temperature(
    dataset,
    *,
    body,
    air="air_temperature_c",
    wind="wind_speed_m_s",
    global_horizontal="ghi_w_m2",
    sky_longwave=None,
    elevation=None,
    ground_albedo=0.2,
):
    """Operative temperature of an animal on open ground in every cell and hour of a gridded dataset.

    A thin door to `fieldkit.physics.heat.operative_temperature`: the global horizontal irradiance is taken to come from
    all over the sky, which holds under cloud and understates the beam of a low sun, and the ground is taken to be as
    warm as the air, which understates bare ground at noon. For sun, sky and ground apart, give their arrays to the
    physics directly; it takes DataArrays and stays lazy as well.

    Parameters
    ----------
    dataset : xarray.Dataset
        Air temperature (K or °C), wind speed at the animal (m/s) and irradiance (W/m²), by their ``units``.
    body : fieldkit.physics.heat.body.Body
        For example `fieldkit.physics.heat.body.lizard`.
    air, wind, global_horizontal : str
        Names of the variables.
    sky_longwave : str, optional
        Name of the long-wave radiation from the sky (W/m²); without it a clear sky,
        `fieldkit.physics.heat.air.sky_longwave`.
    elevation : str, optional
        Name of the height of the ground (m above sea level), for the air pressure (standard atmosphere); without it
        that of the sea, at which wind carries off 13 % more heat than at 2000 m.
    ground_albedo : float
        Share of the irradiance that the ground sends back (0.2: grass, pvlib's table).

    Returns
    -------
    xarray.DataArray
        °C; lazy when the dataset is chunked.

    Raises
    ------
    FieldkitError
        When a variable is missing or its units are not those above (energy sums in J/m² are refused: divide by the
        seconds of the step).

    Examples
    --------
    >>> import xarray as xr
    >>> from fieldkit.physics.heat.body import lizard
    >>> cell = xr.Dataset({"air_temperature_c": ("time", [298.15], {"units": "K"}),
    ...                    "wind_speed_m_s": ("time", [1.0], {"units": "m s-1"}),
    ...                    "ghi_w_m2": ("time", [600.0], {"units": "W m-2"})})
    >>> animal = lizard(length_m=0.07, mass_g=10.0, shortwave_absorptivity=0.87)
    >>> bool(operative_temperature(cell, body=animal)[0] > 30)
    True
    """
    from fieldkit.physics import heat
    from fieldkit.physics.heat.air import sky_longwave as clear_sky_longwave

    for name in (air, wind, global_horizontal, *(name for name in (sky_longwave, elevation) if name)):
        if name not in dataset:
            raise FieldkitError(
                f"The dataset has no variable '{name}'; it has {', '.join(map(str, dataset.data_vars))}."
            )
    _same_units(dataset[wind], {"m s-1", "m/s", "m s**-1", "meter second-1"}, "m s-1")
    _same_units(dataset[global_horizontal], _IRRADIANCE_UNITS, "W m-2")
    air_temperature_c = _region.to_celsius(dataset[air])
    if sky_longwave is None:
        sky = clear_sky_longwave(air_temperature_c)
    else:
        _same_units(dataset[sky_longwave], _IRRADIANCE_UNITS, "W m-2")
        sky = dataset[sky_longwave]
    around = {}
    if elevation is not None:
        _same_units(dataset[elevation], {"m", "meter", "metre", "meters", "metres"}, "m")
        around["elevation_m"] = dataset[elevation]
    sun = dataset[global_horizontal].clip(min=0)
    return heat.operative_temperature(
        air_temperature_c=air_temperature_c,
        wind_speed_m_s=dataset[wind],
        body=body,
        dhi_w_m2=sun,
        ground_upwelling_w_m2=sun * ground_albedo,
        sky_longwave_w_m2=sky,
        **around,
    )


def _same_units(array, allowed, wanted):
    units = str(array.attrs.get("units", "")).strip()
    if units.lower() not in allowed:
        raise FieldkitError(
            f"The variable '{array.name}' has {f'the units {units!r}' if units else 'no units attribute'}: {wanted} is "
            "needed. Sums over a step (J m-2) must be divided by its seconds first."
        )


def _sums(data, rule, memory_mb):
    """Sums over the years for each month of the year and cell: the grid passes month by month and is never held whole.

    Returns a dict of arrays (latitude, longitude, 12), and whether the first and the last month count.
    """
    import dask
    import dask.array

    day = data["time"].to_numpy().astype("datetime64[D]")
    cal, _ = _monthly.whole_months(day[0], np.empty(len(day)))
    month = day.astype("datetime64[M]")
    lengths = np.unique(month, return_counts=True)[1]
    rows = max(1, int(memory_mb * 1e6 / 16 / (31 * 8 * data["longitude"].size)))
    if data["tmax_c"].chunks is not None:
        rows = min(rows, max(dict(zip(data["tmax_c"].dims, data["tmax_c"].chunks))["latitude"]))
    data = data.transpose("time", "latitude", "longitude")
    data = data.chunk({"time": tuple(int(n) for n in lengths), "latitude": min(rows, data["latitude"].size)})
    starts = day[np.r_[0, np.cumsum(lengths)[:-1]]]

    def one_month(high, low, block_id):
        wrong = low > high
        first = starts[block_id[0]]
        cells = [np.moveaxis(np.where(wrong, np.nan, x), 0, -1) for x in (high, low)]
        one, padded = _monthly.whole_months(first, *cells)
        return np.moveaxis(np.stack(_monthly.month_means(*padded, one, rule)), -1, 1)

    high, low = data["tmax_c"].data, data["tmin_c"].data
    monthly = dask.array.map_blocks(
        one_month,
        high,
        low,
        new_axis=0,
        chunks=((3,), (1,) * len(lengths), *high.chunks[1:]),
        dtype=float,
        meta=np.empty((0, 0, 0, 0)),
    )
    counts = dask.array.isfinite(monthly[0])
    parts = {"tmax_sum": [], "tmin_sum": [], "days": [], "years": []}
    for number in range(1, 13):
        here = np.flatnonzero(cal.month == number)
        for k, name in enumerate(("tmax_sum", "tmin_sum", "days")):
            parts[name].append(dask.array.nansum(monthly[k][here], axis=0))
        parts["years"].append(counts[here].sum(axis=0))
    stacked = {name: dask.array.concatenate([a[..., None] for a in arrays], axis=-1) for name, arrays in parts.items()}
    sums, first, last = dask.compute(stacked, counts[0], counts[-1])
    return sums, cal, first, last


def _monthly_rain(data, area):
    """Mean daily rain of the region in each month of the year, mm; cells weighed by area, days that were read."""
    weights = (area * data["in_region"]).where(np.isfinite(data["precipitation_mm"]), 0.0)
    daily = (data["precipitation_mm"].fillna(0.0) * weights).sum(("latitude", "longitude"))
    daily = (daily / weights.sum(("latitude", "longitude"))).compute()
    return daily.groupby("time.month").mean().reindex(month=range(1, 13)).to_numpy()


def _expected(cal, first, last, fixed):
    """Years and days there would be without gaps; a month that the record only touches is not held against it."""
    years = np.array([(cal.month == m).sum() for m in range(1, 13)])
    days = np.array([cal.lengths[cal.month == m].sum() for m in range(1, 13)])
    shape = (*first.shape, 12)
    years, days = np.broadcast_to(years, shape).copy(), np.broadcast_to(days, shape).copy()
    if not fixed:
        for edge, counts in ((0, first), (-1, last)):
            m = cal.month[edge] - 1
            years[..., m] -= ~counts
            days[..., m] -= np.where(counts, 0, cal.lengths[edge])
    return years, days


def _cell_area(data):
    """Area of each cell of a regular grid in km²: goes with the cosine of latitude."""
    lat, lon = data["latitude"].to_numpy().astype(float), data["longitude"].to_numpy().astype(float)
    # One row or column has no spacing of its own; it borrows the other's.
    d_lat = (
        np.abs(np.gradient(lat)) if len(lat) > 1 else np.full(1, np.abs(np.diff(lon)).mean() if len(lon) > 1 else 1.0)
    )
    d_lon = np.abs(np.gradient(lon)) if len(lon) > 1 else np.full(1, d_lat.mean())
    per_row = np.deg2rad(d_lat) * np.cos(np.deg2rad(lat))
    return EARTH_RADIUS_KM**2 * per_row[:, None] * np.deg2rad(d_lon)[None, :]


def _weighted(values, weights, probabilities=()):
    there = np.isfinite(values) & (weights > 0)
    if not there.any():
        return np.nan, np.nan, [np.nan] * len(probabilities), 0
    values, weights = values[there], weights[there] / weights[there].sum()
    mean = float(weights @ values)
    sd = float(np.sqrt(weights @ (values - mean) ** 2)) if len(values) > 1 else np.nan
    order = np.argsort(values)
    reached = np.cumsum(weights[order])
    quantiles = [float(values[order][min(np.searchsorted(reached, p - 1e-12), len(values) - 1)]) for p in probabilities]
    return mean, sd, quantiles, len(values)


def _pool_cells(statistics, names, by_side, area, inside, margin_c):
    column = {name: i for i, name in enumerate(_monthly.MEANS)}
    weights = np.where(inside, area, 0.0)
    rows = []
    for s, name in enumerate(names):
        high, high_sd, (high_95,), n = _weighted(statistics[..., s, column["tmax_mean_c"]], weights, (0.95,))
        low, low_sd, (low_05,), _ = _weighted(statistics[..., s, column["tmin_mean_c"]], weights, (0.05,))
        years = statistics[..., s, column["n_years"]][inside]
        months = dict.fromkeys(_seasons.months_in_words(side[name]) for side in by_side)
        rows.append(
            {
                "season": name,
                "months": " or ".join(months),
                "typical_min_c": low,
                "typical_max_c": high,
                "spread_low_c": low_sd,
                "spread_high_c": high_sd,
                "area_low_05_c": low_05,
                "area_high_95_c": high_95,
                "n_cells": n,
                "n_years": int(years[years > 0].min()) if (years > 0).any() else 0,
                "completeness": _weighted(statistics[..., s, column["completeness"]], weights)[0],
            }
        )
    table = pd.DataFrame(rows)
    ceiling = ceiling_of(table["typical_max_c"], table["typical_min_c"], margin_c)
    table.insert(2, "low_c", table["typical_min_c"])
    table.insert(3, "high_c", table["typical_max_c"])
    table.insert(4, "caution_c", caution_of(table["low_c"], table["high_c"], ceiling))
    table.insert(5, "margin_c", table["high_c"] - table["caution_c"])
    return table, ceiling


def _schedule(twelve, area, south, inside, margin_c, warnings):
    column = {name: i for i, name in enumerate(_monthly.MEANS)}
    rows_used = inside.any(axis=1)
    if south[rows_used].any() and not south[rows_used].all():
        twelve = twelve.copy()
        twelve[south] = np.roll(twelve[south], 6, axis=-2)
        warnings.append(
            "The region crosses the equator: the schedule counts months as in the north (the south is moved by six)."
        )
    weights = np.where(inside, area, 0.0)
    raw = {
        end: np.array([_weighted(twelve[..., m, column[name]], weights)[0] for m in range(12)])
        for end, name in (("low", "tmin_mean_c"), ("high", "tmax_mean_c"))
    }
    return limited_year(raw["low"], raw["high"], margin_c, warnings)


def _refuse_inverted(table, schedule):
    for frame, label in ((table, "season"), (schedule, "month")):
        wrong = frame[frame["low_c"] >= frame["high_c"]]
        if len(wrong):
            row = wrong.iloc[0]
            raise FieldkitError(
                f"{row[label]}: the band would run from {row['low_c']:.1f} down to {row['high_c']:.1f} °C. "
                "Check that tmax_c and tmin_c are not exchanged."
            )


def _cells(statistics, names, data, margin_c, ceiling):
    import xarray as xr

    column = {name: i for i, name in enumerate(_monthly.MEANS)}
    high = statistics[..., column["tmax_mean_c"]]
    low = statistics[..., column["tmin_mean_c"]]
    known = np.isfinite(high)
    warmest = np.argmax(np.where(known, high, -np.inf), axis=-1)[..., None]
    top, bottom = np.take_along_axis(high, warmest, axis=-1), np.take_along_axis(low, warmest, axis=-1)
    own = top - np.minimum(margin_c, (top - bottom) / 2)
    # A cell that lacks a season may lack the hot one: it goes by the ceiling of the region.
    caution = caution_of(low, high, np.where(known.all(axis=-1, keepdims=True), own, ceiling))
    # A cell whose own band would be upside down has none.
    valid = low < high
    dims = ("season", "latitude", "longitude")
    named = {"low_c": np.where(valid, low, np.nan), "high_c": np.where(valid, high, np.nan)}
    named |= {"caution_c": np.where(valid, caution, np.nan), "margin_c": np.where(valid, high - caution, np.nan)}
    named |= {"typical_min_c": low, "typical_max_c": high}
    return xr.Dataset(
        {name: (dims, np.moveaxis(values, -1, 0), {"units": "degC"}) for name, values in named.items()},
        coords={"season": names, "latitude": data["latitude"], "longitude": data["longitude"]},
    )
