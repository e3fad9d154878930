"""Gridded climate made ready: our names and units, longitudes set right, cut to a region; all of it lazy."""

import json
from pathlib import Path

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError

# CF standard names, and what people call the variables when the files carry none.
_NAMES = {
    "tmax_c": (("maximum",), ("tmax_c", "tasmax", "tmax", "tx", "mx2t", "t2m_max")),
    "tmin_c": (("minimum",), ("tmin_c", "tasmin", "tmin", "tn", "mn2t", "t2m_min")),
}
_RAIN = ("precipitation_mm", "pr", "prcp", "precip", "precipitation", "tp", "rr", "rain")
# To mm a day. A flux in kg/m²/s is a depth of water in mm/s.
_TO_MILLIMETRES = {
    "mm": 1.0,
    "mm/day": 1.0,
    "mm d-1": 1.0,
    "mm day-1": 1.0,
    "kg m-2": 1.0,
    "kg m-2 d-1": 1.0,
    "m": 1000.0,
    "kg m-2 s-1": 86_400.0,
    "mm s-1": 86_400.0,
}
_LATITUDE = ("latitude", "lat", "y")
_LONGITUDE = ("longitude", "lon", "long", "x")
_TO_CELSIUS = {
    "k": (1.0, -273.15),
    "kelvin": (1.0, -273.15),
    "degc": (1.0, 0.0),
    "c": (1.0, 0.0),
    "°c": (1.0, 0.0),
    "celsius": (1.0, 0.0),
    "degree_celsius": (1.0, 0.0),
    "degrees_celsius": (1.0, 0.0),
    "deg_c": (1.0, 0.0),
    "degree_c": (1.0, 0.0),
    "degrees_c": (1.0, 0.0),
    "degf": (5 / 9, -160 / 9),
    "f": (5 / 9, -160 / 9),
    "fahrenheit": (5 / 9, -160 / 9),
    "degree_fahrenheit": (5 / 9, -160 / 9),
}


def tidy(dataset, *, variables=None, region=None, rain=False):
    """Bring a gridded dataset to our names, units and longitudes, cut to a region; nothing is read or computed yet.

    Units come from the ``units`` attribute, never from the values. Longitudes of 0 to 360 become -180 to 180, unless
    the region itself reaches over 180°.

    Parameters
    ----------
    dataset : xarray.Dataset
        Daily extremes with dims time, latitude, longitude (regular grid), from NetCDF or Zarr.
    variables : dict of str to str, optional
        Our name to the name in the file, for example ``{"tmax_c": "tasmax", "tmin_c": "tasmin"}``. Without it the
        variables are found by their CF attributes or usual names.
    region : tuple, shapely geometry or path, optional
        Box ``(west, south, east, north)`` in degrees (order of GeoJSON, RFC 7946; west above east crosses 180°), a
        polygon in longitude and latitude, or a GeoJSON file.
    rain : bool
        Bring the daily rain along as well.

    Returns
    -------
    xarray.Dataset
        ``tmax_c`` and ``tmin_c`` (°C), with `rain` also ``precipitation_mm`` (mm a day), and ``in_region`` (bool,
        latitude by longitude).

    Raises
    ------
    FieldkitError
        When a variable, its units or the coordinates cannot be told, the calendar is not the common one, or no cell
        centre lies in the region.

    Examples
    --------
    >>> import xarray as xr
    >>> data = xr.Dataset({"tasmax": (("time", "lat", "lon"), np.full((1, 2, 2), 303.15), {"units": "K"}),
    ...                    "tasmin": (("time", "lat", "lon"), np.full((1, 2, 2), 283.15), {"units": "K"})},
    ...                   coords={"time": pd.to_datetime(["2020-07-01"]), "lat": [30.0, 31.0], "lon": [250.0, 251.0]})
    >>> clean = tidy(data, region=(-110, 30, -109, 30))
    >>> clean["tmax_c"].round(6).to_numpy().tolist(), clean["longitude"].to_numpy().tolist()
    ([[[30.0, 30.0]]], [-110.0, -109.0])
    """
    variables = dict(variables or {})
    unknown = set(variables) - {*_NAMES, "precipitation_mm"}
    if unknown:
        raise FieldkitError(
            f"variables= names '{sorted(unknown)[0]}'; ours are tmax_c, tmin_c and, for wet and dry seasons, "
            "precipitation_mm."
        )
    names = {ours: _find_variable(dataset, ours, variables.get(ours)) for ours in _NAMES}
    if rain:
        names["precipitation_mm"] = _find_rain(dataset, variables.get("precipitation_mm"))
    data = dataset[list(names.values())].rename({theirs: ours for ours, theirs in names.items()})
    data = _coordinates(data)
    for name in _NAMES:
        data[name] = to_celsius(data[name])
    if rain:
        data["precipitation_mm"] = _to_millimetres(data["precipitation_mm"])
    box, inside = _region(region)
    data = _turn(data, box)
    if box is not None:
        data = _crop(data, box)
    data = data.assign_coords(
        in_region=(("latitude", "longitude"), inside(data["longitude"].to_numpy(), data["latitude"].to_numpy()))
    )
    if not data["in_region"].any():
        raise FieldkitError(
            f"No cell centre of the grid lies in the region (cells are about {_spacing(data)}). Take a finer "
            "grid, or a "
            "region that holds at least one centre."
        )
    return data


def to_celsius(array):
    """Convert a DataArray to °C by its ``units`` attribute.

    Parameters
    ----------
    array : xarray.DataArray
        Temperatures; stays lazy.

    Returns
    -------
    xarray.DataArray

    Raises
    ------
    FieldkitError
        When the units are missing or unknown: they are not guessed from the values.

    Examples
    --------
    >>> import xarray as xr
    >>> float(to_celsius(xr.DataArray(300.0, attrs={"units": "K"})).round(6))
    26.85
    """
    units = str(array.attrs.get("units", "")).strip()
    if units.lower() not in _TO_CELSIUS:
        raise FieldkitError(
            f"The variable '{array.name}' has "
            + (f"the units '{units}'" if units else "no units attribute")
            + ": set array.attrs['units'] to 'K' or 'degC'. Units are not guessed from the values."
        )
    scale, offset = _TO_CELSIUS[units.lower()]
    if (scale, offset) != (1.0, 0.0):
        array = array * np.asarray(scale, dtype=array.dtype) + np.asarray(offset, dtype=array.dtype)
    array.attrs = {"units": "degC"}
    return array


def _find_variable(dataset, ours, named):
    if named is not None:
        if named not in dataset:
            raise FieldkitError(
                f"The dataset has no variable '{named}'; it has {', '.join(map(str, dataset.data_vars))}."
            )
        return named
    methods, usual = _NAMES[ours]
    by_attribute = [
        str(name)
        for name, array in dataset.data_vars.items()
        if array.attrs.get("standard_name") == "air_temperature"
        and any(f"time: {m}" in array.attrs.get("cell_methods", "") for m in methods)
    ]
    by_name = [str(name) for name in dataset.data_vars if str(name).lower() in usual]
    found = by_attribute or by_name
    if len(found) == 1:
        return found[0]
    raise FieldkitError(
        f"{'No variable is' if not found else 'Several variables are'} known as the daily {methods[0]} of the air "
        f"temperature: name it, variables={{'{ours}': '...'}}. The dataset has "
        f"{', '.join(map(str, dataset.data_vars))}."
    )


def _find_rain(dataset, named):
    usual = [str(name) for name in dataset.data_vars if str(name).lower() in _RAIN]
    if named is None and len(usual) == 1:
        return usual[0]
    if named is not None and named in dataset:
        return named
    raise FieldkitError(
        "Wet and dry seasons need the daily rain: name it, variables={'precipitation_mm': '...'}, or name the months "
        "yourself, for example seasons={'wet': [11, 12, 1, 2, 3], 'dry': [4, 5, 6, 7, 8, 9, 10]}. The dataset has "
        f"{', '.join(map(str, dataset.data_vars))}."
    )


def _to_millimetres(array):
    units = str(array.attrs.get("units", "")).strip()
    if units.lower() not in _TO_MILLIMETRES:
        raise FieldkitError(
            f"The variable '{array.name}' has "
            + (f"the units '{units}'" if units else "no units attribute")
            + ": set array.attrs['units'] to 'mm' (rain of the day) or 'kg m-2 s-1'. Units are not guessed from the "
            "values."
        )
    return (array * _TO_MILLIMETRES[units.lower()]).assign_attrs(units="mm")


def _coordinates(data):
    rename = {}
    for ours, units, usual in (
        ("latitude", ("degrees_north", "degree_north"), _LATITUDE),
        ("longitude", ("degrees_east", "degree_east"), _LONGITUDE),
    ):
        found = [
            str(name)
            for name, c in data.coords.items()
            if c.attrs.get("standard_name") == ours or c.attrs.get("units") in units or str(name).lower() in usual
        ]
        found = [n for n in found if data[n].ndim == 1 and n in data.dims] or [n for n in found if data[n].ndim == 2]
        if not found:
            raise FieldkitError(f"The dataset has no coordinate known as {ours}: rename its {ours} to '{ours}'.")
        if data[found[0]].ndim == 2:
            raise FieldkitError(
                f"The grid has a {ours} of two dimensions (a rotated or projected grid). Bring it to a regular grid of "
                "latitude and longitude first."
            )
        rename[found[0]] = ours
    if "time" not in data.dims:
        raise FieldkitError(f"The dataset has no dimension 'time'; it has {', '.join(map(str, data.dims))}.")
    data = data.rename({k: v for k, v in rename.items() if k != v})
    other = [str(d) for d in data.dims if d not in ("time", "latitude", "longitude")]
    if other:
        raise FieldkitError(
            f"The dataset has the further dimension '{other[0]}': choose one of it first, for example "
            f"dataset.isel({other[0]}=0)."
        )
    return data.drop_vars([c for c in data.coords if c not in ("time", "latitude", "longitude")])


def _region(region):
    """Box that holds the region, and the test whether cell centres lie in it."""
    if region is None:
        return None, lambda lon, lat: np.ones((len(lat), len(lon)), dtype=bool)
    if isinstance(region, tuple | list):
        if len(region) != 4 or not region[1] <= region[3]:
            raise FieldkitError(f"region={region}: give (west, south, east, north) in degrees, south below north.")
        west, south, east, north = map(float, region)
        box = (west, south, east + 360 if east < west else east, north)

        def inside(lon, lat):
            columns = (lon >= box[0] - 1e-9) & (lon <= box[2] + 1e-9)
            rows = (lat >= south - 1e-9) & (lat <= north + 1e-9)
            return rows[:, None] & columns[None, :]

        return box, inside
    try:
        import shapely
    except ImportError:
        raise FieldkitError(
            "A polygon needs the library shapely: pip install 'fieldkit[scale]'. A box works without."
        ) from None
    shape = _read_geojson(Path(region)) if isinstance(region, str | Path) else region
    if shape.is_empty:
        raise FieldkitError("The region is empty.")
    shapely.prepare(shape)

    def inside(lon, lat):
        x, y = np.meshgrid(lon, lat)
        return shapely.intersects_xy(shape, x, y)

    return tuple(map(float, shape.bounds)), inside


def _read_geojson(path):
    import shapely
    from shapely.geometry import shape

    if not path.is_file():
        raise FieldkitError(f"There is no file {path.name} in {path.parent}.")
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        parts = content.get("features", [content])
        shapes = [shape(part.get("geometry", part)) for part in parts]
    except (ValueError, AttributeError, KeyError, TypeError, RecursionError, shapely.errors.ShapelyError) as problem:
        raise FieldkitError(f"{path.name} could not be read as GeoJSON: {problem}.") from None
    return shapely.union_all(shapes)


def _turn(data, box):
    """Longitudes -180 to 180, or 0 to 360 when the region reaches over 180°, in rising order."""
    lon = data["longitude"].to_numpy().astype(float)
    if not np.isfinite(lon).all() or lon.min() < -360 or lon.max() > 360:
        raise FieldkitError(f"Longitudes run from {lon.min():g} to {lon.max():g}: degrees east are needed.")
    turned = lon % 360 if box is not None and box[2] > 180 else (lon + 180) % 360 - 180
    data = data.assign_coords(longitude=turned)
    for name in ("longitude", "latitude"):
        values = data[name].to_numpy()
        if len(np.unique(values)) < len(values):
            raise FieldkitError(f"A {name} comes twice in the grid (for example 0 and 360): drop one of them.")
        # Roll by slices: an index array would touch every chunk.
        fall = np.flatnonzero(np.diff(values) < 0)
        if len(fall) == len(values) - 1 and len(values) > 1:
            data = data.isel({name: slice(None, None, -1)})
        elif len(fall) == 1:
            import xarray as xr

            cut = int(fall[0]) + 1
            data = xr.concat([data.isel({name: slice(cut, None)}), data.isel({name: slice(0, cut)})], dim=name)
        elif len(fall):
            data = data.sortby(name)
    return data


def _crop(data, box):
    west, south, east, north = box
    lon, lat = data["longitude"].to_numpy(), data["latitude"].to_numpy()
    columns = np.flatnonzero((lon >= west - 1e-9) & (lon <= east + 1e-9))
    rows = np.flatnonzero((lat >= south - 1e-9) & (lat <= north + 1e-9))
    if not len(columns) or not len(rows):
        raise FieldkitError(
            f"No cell centre of the grid (longitude {lon.min():g} to {lon.max():g}, latitude {lat.min():g} to "
            f"{lat.max():g}, cells about {_spacing(data)}) lies in the region."
        )
    return data.isel(longitude=slice(columns[0], columns[-1] + 1), latitude=slice(rows[0], rows[-1] + 1))


def _spacing(data):
    steps = [np.abs(np.diff(data[n].to_numpy())).mean() for n in ("latitude", "longitude") if data[n].size > 1]
    return " by ".join(f"{s:.3g}°" for s in steps) if steps else "one cell"


def days(data, period):
    """Make the time axis an unbroken run of days, missing ones NaN.

    Parameters
    ----------
    data : xarray.Dataset
        Of `tidy`.
    period : tuple of int or None
        First and last year.

    Returns
    -------
    xarray.Dataset

    Raises
    ------
    FieldkitError
        When times are not one per day in rising order, or the calendar is not the common one.

    Examples
    --------
    >>> import xarray as xr
    >>> two = pd.to_datetime(["2020-01-01", "2020-01-03"])
    >>> gap = xr.Dataset({"tmax_c": ("time", [1.0, 3.0])}, coords={"time": two})
    >>> days(gap, None)["tmax_c"].to_numpy().tolist()
    [1.0, nan, 3.0]
    """
    if not np.issubdtype(data["time"].dtype, np.datetime64):
        raise FieldkitError(
            "The dataset runs on a calendar of its own (for example 365 or 360 days). Convert it first: "
            "dataset.convert_calendar('standard', align_on='date', missing=float('nan'))."
        )
    day = data["time"].to_numpy().astype("datetime64[D]")
    if len(day) > 1 and (np.diff(day).astype(int) <= 0).any():
        raise FieldkitError(
            "The times are not one per day in rising order. Take the daily extremes first, for example "
            "dataset['t2m'].resample(time='1D').max()."
        )
    data = data.assign_coords(time=day.astype("datetime64[ns]"))
    if period is not None:
        data = data.sel(time=slice(f"{period[0]}-01-01", f"{period[1]}-12-31"))
        if not data["time"].size:
            raise FieldkitError(f"The dataset has no day in the years {period[0]} to {period[1]}.")
        whole = pd.date_range(f"{period[0]}-01-01", f"{period[1]}-12-31")
    else:
        whole = pd.date_range(data["time"].to_numpy()[0], data["time"].to_numpy()[-1])
    return data if len(whole) == data["time"].size else data.reindex(time=whole)
