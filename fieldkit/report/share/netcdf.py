"""Logger series and weather as NetCDF by the CF conventions (discrete sampling geometries, time series)."""

import numpy as np
import pandas as pd

CONVENTIONS = "CF-1.8"
_TIME_UNITS = "seconds since 1970-01-01 00:00:00"
# Role of a logger: name of the variable, its CF attributes. Probes and models read their own temperature, for which CF
# has no standard name.
_LOGGERS = {
    "shade_air": ("air_temperature", {"standard_name": "air_temperature", "units": "degC"}),
    "exposed_probe": ("probe_temperature", {"units": "degC", "long_name": "temperature of a bare probe in the open"}),
    "surface": ("surface_temperature", {"standard_name": "surface_temperature", "units": "degC"}),
    "copper_model": (
        "operative_temperature",
        {"units": "degC", "long_name": "operative temperature, inside a hollow copper model of the animal"},
    ),
    "irradiance": (
        "irradiance",
        {"standard_name": "surface_downwelling_shortwave_flux_in_air", "units": "W m-2"},
    ),
    "wind": ("wind_speed", {"standard_name": "wind_speed", "units": "m s-1"}),
    "humidity": ("relative_humidity", {"standard_name": "relative_humidity", "units": "percent"}),
}
_AIR = {"standard_name": "air_temperature", "units": "degC"}
_WEATHER = {
    "tmax_c": _AIR | {"cell_methods": "time: maximum", "long_name": "highest air temperature of the day"},
    "tmin_c": _AIR | {"cell_methods": "time: minimum", "long_name": "lowest air temperature of the day"},
    "air_temperature_c": dict(_AIR),
    "ghi_w_m2": {
        "standard_name": "surface_downwelling_shortwave_flux_in_air",
        "units": "W m-2",
        "long_name": "global horizontal irradiance",
    },
    "wind_m_s": {"standard_name": "wind_speed", "units": "m s-1"},
    "humidity_percent": {"standard_name": "relative_humidity", "units": "percent"},
    "precipitation_mm": {"standard_name": "lwe_thickness_of_precipitation_amount", "units": "mm"},
    "pressure_hpa": {"standard_name": "surface_air_pressure", "units": "hPa"},
}


def write(season, folder, *, about, position, filter_):
    """Write loggers.nc and weather NetCDF files, as far as the season has them.

    Parameters
    ----------
    season : Season
        What was recorded.
    folder : pathlib.Path
        Where the files go.
    about, position, filter_
        As for `darwin_core.write`.

    Returns
    -------
    list of tuple
        (file, what it holds).
    """
    written = []
    if season.loggers is not None and len(season.loggers):
        data = loggers(season, about=about, position=position, filter_=filter_)
        written.append((_to_file(data, folder / "loggers.nc"), f"{data.sizes['station']} logger series, CF-NetCDF"))
    for step, data in weather(season, about=about, position=position, filter_=filter_).items():
        name = _to_file(data, folder / f"weather_{step}.nc")
        written.append((name, f"{step} weather of {data.sizes['station']} stations, CF-NetCDF"))
    return written


def loggers(season, *, about, position, filter_):
    """Logger series as a Dataset: one variable a role, one station a logger.

    Parameters
    ----------
    season, about, position, filter_
        As for `write`.

    Returns
    -------
    xarray.Dataset
        Dimensions station, time (UTC).
    """
    import xarray as xr

    table, info = season.loggers, season.logger_info.set_index("logger_id")
    stated = table["logger_id"].isin(info.index)
    filter_.leave_out("loggers", "readings", (~stated).sum(), "season.toml does not say what this logger measures")
    twice = stated & table.duplicated(["logger_id", "time"])
    filter_.leave_out("loggers", "readings", twice.sum(), "a second reading at the same time: the first is kept")
    table = table[stated & ~twice]
    wide = table.set_index(["time", "logger_id"])["value"].unstack("logger_id")  # noqa: PD010
    wide = wide[[name for name in info.index if name in wide]]
    wide.index = wide.index.tz_convert("UTC").tz_localize(None)
    names = _numbered(info.loc[wide.columns, "role"])
    filter_.leave_out("loggers", "logger_id, place", len(names), "names became role and number; free text stays here")
    variables = {}
    for role, group in info.loc[wide.columns].groupby("role", sort=False):
        name, attributes = _LOGGERS[role]
        values = wide.where(wide.columns.isin(group.index)[None, :].repeat(len(wide), 0)).to_numpy().T
        errors = info.loc[wide.columns, "error"].where(info.loc[wide.columns, "role"] == role).to_numpy(dtype=float)
        extra = {"cell_methods": "time: point"}
        if np.isfinite(errors).any():
            extra["ancillary_variables"] = f"{name}_error"
            stated = {"units": attributes["units"], "long_name": f"standard deviation of one reading of {name}"}
            if "standard_name" in attributes:
                stated["standard_name"] = f"{attributes['standard_name']} standard_error"
            variables[f"{name}_error"] = ("station", errors, stated)
        variables[name] = (("station", "time"), values, {"long_name": name.replace("_", " ")} | attributes | extra)
    where = position.of(season.site.latitude_deg, season.site.longitude_deg)
    places = None if where is None else [where] * len(names)
    data = xr.Dataset(variables, coords=_coordinates(wide.index, names, places))
    return _describe(data, about, position, "Logger series", located=places is not None)


def weather(season, *, about, position, filter_):
    """Weather as Datasets.

    Parameters
    ----------
    season, about, position, filter_
        As for `write`.

    Returns
    -------
    dict of str to xarray.Dataset
        "daily", "hourly", as far as there is any.
    """
    import xarray as xr

    table = season.weather
    if table is None or not len(table):
        return {}
    sets = {}
    stations = season.stations.set_index("station_id")
    for step, when in (("daily", "date"), ("hourly", "time")):
        if when not in table or not table[when].notna().any():
            continue
        part = table[table[when].notna()]
        twice = part.duplicated(["station_id", when])
        filter_.leave_out("weather", f"{step} rows", twice.sum(), "a second row for the same time: the first is kept")
        part = part[~twice].set_index([when, "station_id"])
        columns = [c for c in _WEATHER if c in part and part[c].notna().any()]
        ids = list(dict.fromkeys(part.index.get_level_values("station_id")))
        filter_.leave_out("weather", "station_id", len(ids), "names of stations became numbers")
        times = part.index.get_level_values(when).unique().sort_values()
        values = {c: part[c].unstack("station_id").reindex(index=times, columns=ids).to_numpy().T for c in columns}  # noqa: PD010
        variables = {
            c: (("station", "time"), v, {"long_name": c.rpartition("_")[0].replace("_", " ")} | _WEATHER[c])
            for c, v in values.items()
        }
        if step == "daily":
            zone = season.site.timezone
            start, end = (
                pd.DatetimeIndex(times + pd.Timedelta(days=n)).tz_localize(
                    zone, nonexistent="shift_forward", ambiguous=True
                )
                for n in (0, 1)
            )
            utc = [moment.tz_convert("UTC").tz_localize(None) for moment in (start, end)]
            index = utc[0] + (utc[1] - utc[0]) / 2
            bounds = np.stack([_seconds(moment) for moment in utc], axis=1)
            variables["time_bounds"] = (("time", "bound"), bounds)
        else:
            index = times.tz_convert("UTC").tz_localize(None)
        located = [
            position.of(*stations.loc[name, ["latitude_deg", "longitude_deg"]])
            if name in stations.index and stations.loc[name, ["latitude_deg", "longitude_deg"]].notna().all()
            else None
            for name in ids
        ]
        places = None
        if position.latitude is not None and any(located):
            places = [place or (np.nan, np.nan) for place in located]
        names = [f"station-{n}" for n in range(1, len(ids) + 1)]
        data = xr.Dataset(variables, coords=_coordinates(index, names, places))
        if step == "daily":
            data["time"].attrs["bounds"] = "time_bounds"
        sets[step] = _describe(data, about, position, f"{step.capitalize()} weather", located=places is not None)
    return sets


def _numbered(roles):
    counts, names = {}, []
    for role in roles:
        counts[role] = counts.get(role, 0) + 1
        names.append(f"{role}-{counts[role]}")
    return names


def _seconds(index):
    return ((index - pd.Timestamp(0)) / pd.Timedelta(seconds=1)).to_numpy(dtype=float)


def _coordinates(index, names, places):
    time = {
        "standard_name": "time",
        "units": _TIME_UNITS,
        "calendar": "standard",
        "axis": "T",
        "long_name": "time, UTC",
    }
    coordinates = {
        "time": ("time", _seconds(index), time),
        "station_name": ("station", np.array(names), {"cf_role": "timeseries_id", "long_name": "name of the series"}),
    }
    if places is not None:
        for position, (name, units) in enumerate((("latitude", "degrees_north"), ("longitude", "degrees_east"))):
            values = np.array([place[position] for place in places], dtype=float)
            about = {"standard_name": name, "units": units, "long_name": name}
            coordinates[name[:3]] = ("station", values, about)
    return coordinates


def _describe(data, about, position, what, *, located):
    title = f"{what}. {about.title}"
    data.attrs = {
        "Conventions": CONVENTIONS,
        "title": title,
        "institution": "; ".join(about.authors),
        "source": "INVENTED, no real readings" if about.invented else "field instruments",
        "history": "written by fieldkit",
        "references": about.licence_url,
        "license": about.licence,
        "comment": " ".join(filter(None, [position.generalised, position.withheld])) or "Coordinates are exact.",
    }
    if located:
        # Without a place CF knows no time series geometry.
        data.attrs["featureType"] = "timeSeries"
    return data


def _to_file(data, path):
    encoding = {}
    for name, variable in data.variables.items():
        encoding[name] = {"_FillValue": None}
        if variable.dtype.kind == "f" and np.isnan(variable.to_numpy()).any():
            encoding[name] = {"_FillValue": -9999.0}
        if variable.ndim == 2 and name != "time_bounds":
            encoding[name] |= {"zlib": True, "complevel": 4, "shuffle": True}
        if variable.dtype.kind in "UTO":
            encoding[name] = {"dtype": "S1"}
    data.to_netcdf(path, engine="h5netcdf", encoding=encoding)
    return path.name
