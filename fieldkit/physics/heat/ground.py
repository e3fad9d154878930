"""How hot stone, sand, wood, asphalt and grass get: the energy balance over a column of ground that stores heat."""

import numpy as np

from fieldkit.core import FieldkitError, floats, method
from fieldkit.physics.atmosphere import pressure_or_height
from fieldkit.physics.heat.air import KELVIN, dry_air
from fieldkit.physics.heat.balance import Balance
from fieldkit.physics.heat.body import Body
from fieldkit.physics.heat.convection import GRAVITY, Convection
from fieldkit.physics.heat.substrates import SUBSTRATES, Substrate, substrate_table
from fieldkit.physics.limits import check_inputs

__all__ = [
    "SUBSTRATES",
    "Substrate",
    "substrate_table",
    "surface_temperature",
]

VON_KARMAN = 0.4


class _OpenGround:
    """Convection over a stretch of ground, from air and wind measured above it; same doors as `Convection`."""

    def __init__(self, air_k, wind_speed_m_s, pressure_pa, height_m, substrate):
        density, expansion, viscosity, conductivity, specific_heat, _ = dry_air(air_k, pressure_pa)
        rough, rough_heat = substrate.roughness_m, 0.1 * substrate.roughness_m
        neutral = VON_KARMAN**2 / (np.log(height_m / rough) * np.log(height_m / rough_heat))
        self.air_k = air_k
        self.wind = wind_speed_m_s
        self.scale = density * specific_heat * neutral
        self.buoyancy = GRAVITY * height_m / air_k
        self.bend = 75.0 * neutral * np.sqrt(height_m / rough_heat)
        rayleigh = GRAVITY * expansion * density**2 * specific_heat / (viscosity * conductivity)
        self.free_down = 0.27 * conductivity * (rayleigh / height_m) ** 0.25
        self.vapour = 1.0 / (1.0 - substrate.evaporative_fraction)

    def take(self, rows):
        part = object.__new__(_OpenGround)
        for name, value in vars(self).items():
            part.__dict__[name] = value[rows] if np.ndim(value) else value
        return part

    def coefficient(self, body_k):
        excess = body_k - self.air_k
        warm = excess > 0
        lift = self.buoyancy * np.abs(excess)
        # Warm ground: thermals stir the air, the more the weaker the wind.
        root = self.wind + self.bend * np.sqrt(lift)
        with np.errstate(divide="ignore", invalid="ignore"):
            thermals = np.where(lift > 0, 15.0 * lift / root, 0.0)
            thermals_change = thermals * (1.0 - 0.5 * self.bend * np.sqrt(lift) / root)
            # Cold ground holds the wind off: neutral value over 1 + 10 Ri.
            calm = np.where(self.wind > 0, 10.0 * lift / self.wind**2, 0.0)
        forced = self.scale * self.wind / (1.0 + calm)
        free = self.free_down * np.sqrt(np.sqrt(np.abs(excess)))
        total = forced**3 + free**3 + 1e-30
        part = np.cbrt(total)
        part_change = part / total * (0.25 * free**3 - forced**3 * (calm / (1.0 + calm)))
        warm_change = np.where(lift > 0, self.scale * thermals_change, 0.0)
        coefficient = np.where(warm, self.vapour * self.scale * (self.wind + thermals), part)
        return coefficient, np.where(warm, self.vapour * warm_change, part_change)


def _column(substrate, depth_m, cells):
    """Thickness and mid-depth of cells that grow downwards; the first is a hundredth of the daily damping depth's."""
    first = 0.02 * np.sqrt(2 * substrate.diffusivity_m2_s * 86400 / (2 * np.pi))
    first = min(first, depth_m / cells)
    low, high = 1.0, 2.0
    for _ in range(60):
        growth = 0.5 * (low + high)
        total = first * cells if growth == 1 else first * (growth**cells - 1) / (growth - 1)
        low, high = (growth, high) if total < depth_m else (low, growth)
    thickness = first * growth ** np.arange(cells)
    thickness *= depth_m / thickness.sum()
    return thickness, np.cumsum(thickness) - 0.5 * thickness


def _implicit(substrate, thickness, step_s, order, deep):
    """Inverse of the implicit step, and conductance from the surface to the first cell."""
    capacity = substrate.density_kg_m3 * substrate.specific_heat_j_kg_k * thickness
    half = 0.5 * thickness / substrate.conductivity_w_m_k
    between = 1.0 / (half[1:] + half[:-1])
    top = 1.0 / half[0]
    bottom = 1.0 / half[-1] if deep else 0.0
    weight = 1.0 if order == 1 else 1.5
    matrix = np.diag(weight * capacity / step_s)
    index = np.arange(thickness.size)
    matrix[index[:-1], index[:-1]] += between
    matrix[index[1:], index[1:]] += between
    matrix[index[:-1], index[1:]] -= between
    matrix[index[1:], index[:-1]] -= between
    matrix[0, 0] += top
    matrix[-1, -1] += bottom
    return np.linalg.inv(matrix), capacity / step_s, top, bottom


_OUTPUTS = {
    "surface_temperature_c": {"units": "degC", "standard_name": "surface_temperature"},
    "shortwave_w_m2": {"units": "W m-2", "long_name": "absorbed short-wave radiation"},
    "net_longwave_w_m2": {"units": "W m-2", "standard_name": "surface_net_downward_longwave_flux"},
    "convection_w_m2": {"units": "W m-2", "long_name": "heat gained from the air, without evaporation"},
    "evaporation_w_m2": {"units": "W m-2", "long_name": "heat gained by evaporation (negative)"},
    "storage_w_m2": {"units": "W m-2", "long_name": "heat gained from below (negative while the ground warms)"},
}


@method
def surface_temperature(
    *,
    air_temperature_c,
    wind_speed_m_s,
    irradiance_w_m2,
    sky_longwave_w_m2,
    substrate,
    sky_view_factor=1.0,
    measured_height_m=2.0,
    patch_length_m=None,
    depth_m=None,
    deep_temperature_c=None,
    pressure_pa=None,
    elevation_m=0.0,
    step_s=None,
    spin_up_days=10,
    cells=32,
):
    """Surface temperature (°C) of a substrate through a logged series of weather, with the heat it stores.

    Parameters
    ----------
    air_temperature_c, wind_speed_m_s : ndarray, Series or DataArray
        Air (°C) and wind (m/s) at `measured_height_m`, evenly spaced in time (last axis, index or dim ``time``). The
        air temperature carries the times.
    irradiance_w_m2 : float or like the first
        Short-wave radiation on the surface (W/m²): all of it in the sun, the diffuse part in the shade.
    sky_longwave_w_m2 : float or like the first
        Long-wave radiation from an open sky (W/m²), measured or `fieldkit.physics.heat.air.sky_longwave`.
    substrate : Substrate or str
        One of `SUBSTRATES` by name, or your own.
    sky_view_factor : float
        Share of the sky that is open; the rest radiates like black leaves or walls at air temperature.
    measured_height_m : float
        Height of air and wind (m).
    patch_length_m : float, optional
        For a single stone, log or tile of this length (m): convection of the upper face of a plate in the wind at the
        object. Without it the ground goes on and on, and the wind profile over it decides.
    depth_m : float, optional
        Thickness (m); five daily damping depths unless given. Nothing passes its lower side unless
    deep_temperature_c : float, optional
        is given: the temperature held there (°C).
    pressure_pa : float, optional
        Air pressure (Pa). None: that of the standard atmosphere at `elevation_m`.
    elevation_m : float
        Metres above sea level.
    step_s : float, optional
        Seconds between samples; needed for bare arrays only.
    spin_up_days : int
        The first day is repeated this often before the series starts, because the temperatures inside are not known.
    cells : int
        Layers of the column.

    Returns
    -------
    dict, DataFrame or Dataset
        ``surface_temperature_c`` and the fluxes that hold it (W/m² of ground, positive when the surface gains heat).

    Raises
    ------
    FieldkitError
        When samples are not evenly spaced, values are missing, or the series is shorter than a day.

    Notes
    -----
    The same energy balance as everywhere (one plate that sees the sky only), with the column below as its substrate.
    Conduction is one-dimensional, implicit (BDF2). Over open ground: logarithmic profile with the roughness for heat
    a tenth of that for wind (Garratt 1992); warm ground after Louis, Tiedtke & Geleyn (1982) with the roughness for
    heat, within 16 % of Monin-Obukhov similarity from 0.3 to 8 m/s; cold ground by the long-tailed 1/(1 + 10 Ri) of
    weather models (both as public codes quote them) and the free convection of a cold upper face (McAdams 1954), added
    as cubes. Evaporation by a fixed share. No dew, frost, snow or rain.

    Examples
    --------
    >>> import numpy as np
    >>> hours = np.arange(0, 24, 0.5)
    >>> sun = 900 * np.clip(np.cos((hours - 12) / 24 * 2 * np.pi), 0, None)
    >>> day = {"air_temperature_c": 22 + 6 * np.cos((hours - 15) / 24 * 2 * np.pi), "wind_speed_m_s": 1.5,
    ...        "irradiance_w_m2": sun, "sky_longwave_w_m2": 330.0, "step_s": 1800.0}
    >>> [round(surface_temperature(substrate=name, **day)["surface_temperature_c"].max()) for name in ("rock", "sand")]
    [41, 50]
    """
    import pandas as pd

    if isinstance(substrate, str):
        if substrate not in SUBSTRATES:
            raise FieldkitError(f"No substrate {substrate!r}: choose from {', '.join(SUBSTRATES)} or make a Substrate.")
        substrate = SUBSTRATES[substrate]
    given = {
        "air_temperature_c": air_temperature_c,
        "wind_speed_m_s": wind_speed_m_s,
        "irradiance_w_m2": irradiance_w_m2,
        "sky_longwave_w_m2": sky_longwave_w_m2,
    }
    options = {
        "substrate": substrate,
        "sky_view_factor": sky_view_factor,
        "measured_height_m": measured_height_m,
        "patch_length_m": patch_length_m,
        "depth_m": depth_m,
        "deep_temperature_c": deep_temperature_c,
        "pressure_pa": pressure_or_height(pressure_pa, elevation_m),
        "spin_up_days": spin_up_days,
        "cells": cells,
    }
    if isinstance(air_temperature_c, pd.Series):
        index = air_temperature_c.index
        for name, value in given.items():
            if isinstance(value, pd.Series) and not value.index.equals(index):
                raise FieldkitError(f"{name} does not have the index of air_temperature_c: join them into one table.")
        arrays = {k: floats(v) for k, v in given.items()}
        return pd.DataFrame(_march(**arrays, step_s=_even_step(index), **options), index=index)
    if hasattr(air_temperature_c, "dims"):
        return _on_dataarrays(given, options)
    if step_s is None or not step_s > 0:
        raise FieldkitError("Give step_s, the seconds between two samples.")
    return _march(**{k: floats(v) for k, v in given.items()}, step_s=step_s, **options)


def _even_step(index):
    import pandas as pd

    if not isinstance(index, pd.DatetimeIndex) or index.size < 2:
        raise FieldkitError("The samples need times: give Series with a DatetimeIndex or DataArrays with dim 'time'.")
    steps = np.diff(index.as_unit("ns").asi8) / 1e9
    if steps.min() <= 0 or steps.max() > 1.001 * steps.min():
        where = index[int(np.argmax(np.abs(steps - np.median(steps))))]
        raise FieldkitError(
            f"The samples are not evenly spaced (see {where}): resample them and fill the gaps, saying so."
        )
    return float(steps[0])


def _on_dataarrays(given, options):
    import xarray as xr

    first = given["air_temperature_c"]
    step = _even_step(first.indexes["time"])
    fields = [xr.DataArray(v) if not hasattr(v, "dims") else v for v in given.values()]
    fields = [f.chunk({"time": -1}) if f.chunks is not None and "time" in f.dims else f for f in fields]
    core = [["time"] if "time" in f.dims else [] for f in fields]

    def run(*arrays):
        arrays = [floats(a) if c else floats(a)[..., None] for a, c in zip(arrays, core)]
        result = _march(**dict(zip(given, arrays)), step_s=step, **options)
        return tuple(result[name] for name in _OUTPUTS)

    results = xr.apply_ufunc(
        run,
        *fields,
        input_core_dims=core,
        output_core_dims=[["time"]] * len(_OUTPUTS),
        dask="parallelized",
        output_dtypes=[float] * len(_OUTPUTS),
        join="exact",
    )
    dressed = {}
    for (name, attributes), field in zip(_OUTPUTS.items(), results):
        dressed[name] = field.transpose(*first.dims, ...)
        dressed[name].attrs = dict(attributes)
    return xr.Dataset(dressed)


def _march(
    air_temperature_c,
    wind_speed_m_s,
    irradiance_w_m2,
    sky_longwave_w_m2,
    step_s,
    *,
    substrate,
    depth_m,
    deep_temperature_c,
    spin_up_days,
    cells,
    **place,
):
    """Step the column of ground through the series; `place` is what `_balance_over` needs beside the substrate."""
    given = {
        "air_temperature_c": air_temperature_c,
        "wind_speed_m_s": wind_speed_m_s,
        "dhi_w_m2": irradiance_w_m2,
        "sky_longwave_w_m2": sky_longwave_w_m2,
    }
    _check_series(given, substrate, depth_m, cells, place)
    shape = np.broadcast_shapes(*(np.shape(a) for a in given.values()))
    count = shape[-1] if shape else 0
    day = round(86400 / step_s)
    if count < (day if spin_up_days else 1):
        raise FieldkitError("The series is shorter than a day: the ground needs a whole day to be spun up.")
    # Time first, so that one step is one row of contiguous places.
    given = {k: np.moveaxis(np.broadcast_to(v, shape), -1, 0).reshape(count, -1) for k, v in given.items()}
    whole, mean_day, vapour = _balance_over(given, substrate, day, **place)
    column = _Column(substrate, depth_m, cells, step_s, deep_temperature_c)
    # Start the column at the temperature the mean day would hold without storage.
    surface = np.atleast_1d(mean_day.solve()[0])
    before = now = np.repeat(surface[None, :], cells, axis=0)
    result = {name: np.empty((count, surface.size)) for name in _OUTPUTS}
    steps = [i for _ in range(spin_up_days) for i in range(day)] + list(range(count))
    for number, i in enumerate(steps):
        free, response, top = column.without_surface(now, before, first=number == 0)
        balance = whole.take(i)
        balance.contact = top * (1.0 - response[0])
        balance.substrate_k = free[0] / (1.0 - response[0])
        surface, _, coefficient = balance.solve(start=surface)
        before, now = now, free + response[:, None] * surface
        row = number - spin_up_days * day
        if row >= 0:
            for name, value in _surface_fluxes(balance, surface, coefficient, vapour).items():
                result[name][row] = value
    moved = (*shape[:-1], count)
    return {name: np.moveaxis(a, 0, -1).reshape(moved) for name, a in result.items()}


def _check_series(given, substrate, depth_m, cells, place):
    for name, value in given.items():
        if np.isnan(value).any():
            raise FieldkitError(f"{name} has missing values: the ground remembers, so fill the gaps first, saying so.")
    check_inputs(given | {name: place[name] for name in ("pressure_pa", "measured_height_m")})
    lowest = (("patch_length_m", place["patch_length_m"], 1e-3), ("depth_m", depth_m, 1e-4), ("cells", cells, 2))
    for name, value, low in lowest:
        if value is not None and not value >= low:
            raise FieldkitError(f"{name} is {value}: it must be at least {low:g}.")
    if place["patch_length_m"] is None and place["measured_height_m"] <= 3 * substrate.roughness_m:
        raise FieldkitError(f"measured_height_m must be above three roughness lengths of {substrate.name}.")


def _balance_over(given, substrate, day, *, sky_view_factor, measured_height_m, patch_length_m, pressure_pa):
    """The balance of the surface for all steps, that of its mean first day, and how much vapour adds to convection."""
    air_k, wind = given["air_temperature_c"] + KELVIN, given["wind_speed_m_s"]
    body = Body(
        characteristic_dimension_m=patch_length_m or 1.0,
        shape="upper face",
        shortwave_absorptivity=1.0 - substrate.albedo,
        emissivity=substrate.emissivity,
        sky_view_factor=sky_view_factor,
        ground_view_factor=0.0,
    )
    # Diffuse light is cut by the sky view in the balance of a body; here the irradiance is that on the surface.
    given = given | {"absorbed_shortwave_w_m2": given["dhi_w_m2"] * (1.0 - substrate.albedo)}
    del given["dhi_w_m2"]
    if patch_length_m is None:
        convection = _OpenGround(air_k, wind, pressure_pa, measured_height_m, substrate)
    else:
        convection = Convection(air_k, wind, pressure_pa, 1.0, patch_length_m, "upper face")
    first_day = {k: v[:day].mean(axis=0) for k, v in given.items()}
    mean_day = Balance(body, first_day | {"pressure_pa": pressure_pa})
    return Balance(body, given, convection=convection), mean_day, getattr(convection, "vapour", 1.0)


class _Column:
    """The ground below the surface, one implicit step at a time."""

    def __init__(self, substrate, depth_m, cells, step_s, deep_temperature_c):
        if depth_m is None:
            depth_m = 5 * np.sqrt(2 * substrate.diffusivity_m2_s * 86400 / (2 * np.pi))
        thickness, _ = _column(substrate, depth_m, cells)
        self.deep_temperature_c = deep_temperature_c
        deep = deep_temperature_c is not None
        self.start, self.onward = (_implicit(substrate, thickness, step_s, order, deep) for order in (1, 2))

    def without_surface(self, now, before, *, first):
        """Temperatures a step on with the surface at 0 K, their rise with each kelvin of it, and its conductance."""
        inverse, storage, top, bottom = self.start if first else self.onward
        load = storage[:, None] * (now if first else 2.0 * now - 0.5 * before)
        if self.deep_temperature_c is not None:
            load[-1] += bottom * (self.deep_temperature_c + KELVIN)
        return inverse @ load, top * inverse[:, 0], top


def _surface_fluxes(balance, surface, coefficient, vapour):
    excess = surface - balance.air_k
    dry = np.where(excess > 0, coefficient / vapour, coefficient)
    return {
        "surface_temperature_c": surface - KELVIN,
        "shortwave_w_m2": balance.shortwave,
        "net_longwave_w_m2": balance.sky + balance.ground - balance.emission * surface**4,
        "convection_w_m2": -dry * excess,
        "evaporation_w_m2": -(coefficient - dry) * excess,
        "storage_w_m2": -balance.contact * (surface - balance.substrate_k),
    }
