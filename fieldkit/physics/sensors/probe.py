"""Two probes as a sun meter: the heat balance inverted."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result, elementwise, floats, method
from fieldkit.physics import heat
from fieldkit.physics.atmosphere import pressure_or_height
from fieldkit.physics.limits import check_inputs
from fieldkit.physics.sensors.errors import carry_errors
from fieldkit.physics.sensors.logger_checks import by_role


def absorbed_irradiance(
    *,
    sunlit_c,
    shaded_c,
    wind_speed_m_s,
    body,
    apparent_zenith_deg,
    diffuse_fraction=0.2,
    ground_albedo=0.2,
    pressure_pa=None,
    elevation_m=0.0,
    reading_error_c=0.2,
    wind_error_m_s=0.3,
    absorptivity_error=0.05,
    diffuse_error=0.1,
    convection_error_share=0.15,
):
    """Irradiance from a pair of equal probes, one in the sun and one in the shade beside it.

    Parameters
    ----------
    sunlit_c, shaded_c : scalar, array, Series or DataArray
        Readings (°C), both at rest.
    wind_speed_m_s : scalar, array, Series or DataArray
        Wind at the probes (m/s).
    body : heat.Body
        Both probes.
    apparent_zenith_deg : scalar, array, Series or DataArray
        Of the sun (°), from `fieldkit.physics.sun.position`. NaN comes out with the sun less than 10° high.
    diffuse_fraction, ground_albedo : scalar, array, Series or DataArray
        Share of the sky in the irradiance of level ground (0.1 to 0.2 under a clear sky, 1 under cloud), and the share
        that the ground sends back.
    pressure_pa : scalar, array, Series or DataArray
        Air pressure (Pa): at 3000 m thin air carries off a sixth less heat, and so much too high would the answer be.
        None: that of the standard atmosphere at `elevation_m`.
    elevation_m : scalar, array, Series or DataArray
        Metres above sea level.
    reading_error_c, wind_error_m_s, absorptivity_error, diffuse_error, convection_error_share : float
        Standard errors: of each reading (°C), of the wind (m/s), of the absorptivity and the diffuse fraction (as
        such) and of convection (share; the correlations of the literature differ by some 15 %).

    Returns
    -------
    DataFrame, or Dataset when a reading is a DataArray
        ``irradiance_w_m2`` of level ground and its ``error_w_m2``; ``absorbed_w_m2``, radiation that the sunlit probe
        absorbs beyond the shaded one, per m² of its surface; and ``share_<source>`` of the variance: what to measure
        better.

    Raises
    ------
    FieldkitError
        A body that absorbs no sunlight.

    Notes
    -----
    The heat balance of Bakken (1976) solved for the absorbed radiation.
    The heat balance inverted: the shaded probe stands for air and surroundings, so what the sunlit one loses to
    them at its own temperature is what it absorbs, and with absorptivity α, silhouette s, views v and diffuse fraction
    k, absorbed = α GHI (s (1 − k)/cos(zenith) + v_sky k + v_ground albedo). An open sky above the sunlit probe only
    lowers the answer: the absorbed radiation by emissivity times sky view times what the sky lacks against the air
    (some 100 W/m² when clear). Slope times error holds for small errors: with a difference no larger than its error,
    read "no sun to some sun".

    Examples
    --------
    >>> black = heat.probe(diameter_m=0.01, length_m=0.05, shortwave_absorptivity=0.95, emissivity=0.95)
    >>> seen = absorbed_irradiance(sunlit_c=34.0, shaded_c=25.0, wind_speed_m_s=0.5, body=black, apparent_zenith_deg=30)
    >>> seen[["irradiance_w_m2", "error_w_m2"]].round(-1).astype(int).to_numpy().tolist()
    [[660, 190]]
    """
    if body.shortwave_absorptivity <= 0:
        raise FieldkitError("A probe that absorbs no sunlight cannot measure it: use a dark one.")

    def absorbed(sunlit, shaded, wind, stirring, pressure):
        around = {"air_temperature_c": shaded, "wind_speed_m_s": wind, "pressure_pa": pressure}
        return -heat.fluxes(temperature_c=sunlit, body=body, turbulence_factor=stirring, **around)["net_w_m2"]

    def irradiance(sunlit, shaded, wind, stirring, pressure, absorptivity, diffuse, zenith, albedo):
        check_inputs({"ground_albedo": albedo})
        per_level = (
            body.silhouette_fraction * (1 - diffuse) / np.cos(np.radians(zenith))
            + body.sky_view_factor * diffuse
            + body.ground_view_factor * albedo
        )
        return absorbed(sunlit, shaded, wind, stirring, pressure) / (absorptivity * per_level)

    values = {"sunlit": sunlit_c, "shaded": shaded_c, "wind": wind_speed_m_s}
    values["pressure"] = pressure_or_height(pressure_pa, elevation_m)
    values |= {"diffuse": diffuse_fraction, "zenith": _high_enough(apparent_zenith_deg), "albedo": ground_albedo}
    index = next((v.index for v in values.values() if isinstance(v, pd.Series)), None)
    on_dims = any(type(v).__name__ == "DataArray" for v in values.values())
    if not on_dims:
        values = {name: floats(v) for name, v in values.items()}
    wind, diffuse = values["wind"], values["diffuse"]
    errors = {
        "sunlit": reading_error_c,
        "shaded": reading_error_c,
        # Wind cannot fall below nothing, nor the diffuse share below 0.
        "wind": np.minimum(wind_error_m_s, wind),
        "stirring": convection_error_share,
        "absorptivity": absorptivity_error,
        "diffuse": np.minimum(diffuse_error, np.minimum(diffuse, 1 - diffuse)),
    }
    state = [values[name] for name in ("sunlit", "shaded", "wind")] + [1.0, values["pressure"]]
    values |= {"stirring": 1.0, "absorptivity": body.shortwave_absorptivity}
    table = carry_errors(irradiance, values=values, errors=errors)
    names = {"value": "irradiance_w_m2", "error": "error_w_m2"}
    if on_dims:
        table = table.rename(names).assign(absorbed_w_m2=absorbed(*state))
        for name, words in _NAMES.items():
            table[name].attrs = {"units": "W m-2", "long_name": words}
        return table
    table = table.rename(columns=names)
    table.insert(2, "absorbed_w_m2", np.atleast_1d(absorbed(*state)))
    return table if index is None else table.set_index(index)


_NAMES = {
    "irradiance_w_m2": "irradiance of level ground, from two probes",
    "error_w_m2": "standard error of the irradiance",
    "absorbed_w_m2": "radiation that the sunlit probe absorbs beyond the shaded one",
}


@elementwise(
    {"apparent_zenith_deg": {"units": "degree", "long_name": "solar zenith angle, sun 10 degrees high or more"}}
)
def _high_enough(apparent_zenith_deg):
    return np.where(apparent_zenith_deg <= 80, apparent_zenith_deg, np.nan)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class ProbeIrradiance(Result):
    """Irradiance from a sunlit and a shaded logger, beside the pyranometer's where there is one.

    Attributes
    ----------
    table : DataFrame
        By time: the columns of `absorbed_irradiance` and ``measured_w_m2`` (NaN without a pyranometer).
    bias_w_m2, rmse_w_m2, covered : float
        Against the pyranometer: mean difference, root mean square difference, share of readings inside the stated 95 %.
    """

    table: pd.DataFrame
    bias_w_m2: float
    rmse_w_m2: float
    covered: float

    @property
    def sentence(self):
        words = f"{len(self.table)} readings of two probes give the irradiance, with a median error of "
        words += f"{self.table['error_w_m2'].median():.0f} W/m²"
        if np.isnan(self.bias_w_m2):
            return words + "; there is no pyranometer to check them against."
        return words + (
            f"; against the pyranometer they are {self.bias_w_m2:+.0f} W/m² off on average, RMSE "
            f"{self.rmse_w_m2:.0f} W/m², and {100 * self.covered:.0f} % lie within their stated 95 % limits."
        )


@method
def irradiance_from_loggers(
    loggers,
    logger_info,
    site,
    *,
    body=None,
    logger_id=None,
    diffuse_fraction=0.3,
    ground_albedo=0.2,
    pressure_pa=None,
):
    """Use an exposed probe and a shade air logger of a season as a sun meter.

    Parameters
    ----------
    loggers, logger_info : DataFrame
        As a season holds them; roles ``exposed_probe``, ``shade_air`` and ``wind`` are needed, ``irradiance`` is the
        check.
    site : object
        With ``latitude_deg, longitude_deg, elevation_m``.
    body : heat.Body, optional
        The exposed probe. None: a cylinder 3 cm long, emissivity 0.9, of the size and absorptivity
        stated for the logger.
    logger_id : sequence of str, optional
        Which loggers to use where several have a role; None: the first of each.
    diffuse_fraction : float
        Share of the sky in the light of level ground, an average over clear and cloudy hours.
    ground_albedo : float
        Share of the light that the ground sends back.
    pressure_pa : float, optional
        Air pressure (Pa). None: the standard atmosphere at the elevation of the site.

    Returns
    -------
    ProbeIrradiance

    Raises
    ------
    FieldkitError
        When a role is missing, the size or absorptivity of the probe is not stated, or the loggers never read together
        by day.

    Examples
    --------
    >>> times = pd.date_range("2024-06-21 10:00", periods=3, freq="1h", tz="Etc/GMT+5")
    >>> names = ["lit", "shade", "wind"]
    >>> value = [30.0, 25.0, 0.5]
    >>> loggers = pd.concat([pd.DataFrame({"time": times, "logger_id": n, "value": v}) for n, v in zip(names, value)])
    >>> info = pd.DataFrame({"logger_id": names, "role": ["exposed_probe", "shade_air", "wind"], "error": 0.2})
    >>> info["size_m"], info["shortwave_absorptivity"] = 0.005, 0.9
    >>> from types import SimpleNamespace
    >>> site = SimpleNamespace(latitude_deg=36.0, longitude_deg=-80.0, elevation_m=0.0)
    >>> irradiance_from_loggers(loggers, info, site).sentence
    '3 readings of two probes give the irradiance, ...; there is no pyranometer to check them against.'
    """
    from fieldkit.physics import sun

    columns = {}
    for role in ("exposed_probe", "shade_air", "wind", "irradiance"):
        wide = by_role(loggers, logger_info, role)
        chosen = [name for name in wide.columns if logger_id is None or name in logger_id]
        if chosen:
            columns[role] = wide[chosen[0]]
        elif role != "irradiance":
            raise FieldkitError(f"No logger has the role '{role}': two probes and the wind are needed.")
    pair = pd.DataFrame(columns).dropna(subset=["exposed_probe", "shade_air", "wind"])
    info = logger_info.set_index("logger_id").loc[columns["exposed_probe"].name]
    if body is None:
        size, paint = info.get("size_m", np.nan), info.get("shortwave_absorptivity", np.nan)
        if not (size > 0 and paint > 0):
            raise FieldkitError(
                f"State size_m and shortwave_absorptivity of '{info.name}' in season.toml, or give body=."
            )
        body = heat.probe(diameter_m=size, length_m=0.03, shortwave_absorptivity=paint, emissivity=0.9)
    place = {name: getattr(site, name) for name in ("latitude_deg", "longitude_deg", "elevation_m")}
    zenith = sun.position(pair.index, **place)["apparent_zenith_deg"]
    pair = pair[zenith < 80]
    if pair.empty:
        raise FieldkitError("The two probes and the wind have no reading in common while the sun is 10° high or more.")
    given = {
        "sunlit_c": pair["exposed_probe"],
        "shaded_c": pair["shade_air"],
        "wind_speed_m_s": pair["wind"],
        "body": body,
        "apparent_zenith_deg": zenith[zenith < 80],
        "ground_albedo": ground_albedo,
        "pressure_pa": pressure_pa,
        "elevation_m": site.elevation_m,
    }
    error = info.get("error", np.nan)
    given |= {"reading_error_c": 0.2 if np.isnan(error) else float(error)}
    table = absorbed_irradiance(**given, diffuse_fraction=diffuse_fraction)
    table["measured_w_m2"] = pair.get("irradiance", np.nan)
    off = (table["irradiance_w_m2"] - table["measured_w_m2"]).dropna()
    inside = off.abs() <= 1.96 * table.loc[off.index, "error_w_m2"]
    return ProbeIrradiance(
        table=table,
        bias_w_m2=float(off.mean()) if len(off) else np.nan,
        rmse_w_m2=float(np.sqrt((off**2).mean())) if len(off) else np.nan,
        covered=float(inside.mean()) if len(off) else np.nan,
    )
