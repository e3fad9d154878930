"""Two probes as a sun meter: the heat balance turned round."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result
from fieldkit.physics import heat
from fieldkit.physics.air import STANDARD_PRESSURE_PA
from fieldkit.physics.logger_checks import by_role
from fieldkit.physics.measurement_errors import carry_errors


def absorbed_irradiance(
    *,
    sunlit_c,
    shaded_c,
    wind_speed_m_s,
    body,
    apparent_zenith_deg,
    diffuse_fraction=0.2,
    ground_albedo=0.2,
    pressure_pa=STANDARD_PRESSURE_PA,
    reading_error_c=0.2,
    wind_error_m_s=0.3,
    absorptivity_error=0.05,
    diffuse_error=0.1,
    convection_error_share=0.15,
):
    """Irradiance from a pair of equal probes, one in the sun and one in the shade beside it.

    Parameters
    ----------
    sunlit_c, shaded_c : scalar, array or Series
        Readings (°C), both at rest.
    wind_speed_m_s : scalar, array or Series
        Wind at the probes (m/s).
    body : heat.Body
        Both probes.
    apparent_zenith_deg : scalar, array or Series
        Of the sun (°), from `fieldkit.physics.sun.position`. NaN comes out with the sun less than 10° high.
    diffuse_fraction, ground_albedo : scalar, array or Series
        Share of the sky in the irradiance of level ground (0.1 to 0.2 under a clear sky, 1 under cloud), and the share
        that the ground sends back.
    pressure_pa : scalar, array or Series
        Air pressure (Pa): at 3000 m thin air carries off a sixth less heat, and so much too high would the answer be.
    reading_error_c, wind_error_m_s, absorptivity_error, diffuse_error, convection_error_share : float
        Standard errors: of each reading (°C), of the wind (m/s), of the absorptivity and the diffuse fraction (as
        such) and of convection (share; the correlations of the literature differ by some 15 %).

    Returns
    -------
    DataFrame
        ``irradiance_w_m2`` of level ground and its ``error_w_m2``; ``absorbed_w_m2``, radiation that the sunlit probe
        absorbs beyond the shaded one, per m² of its surface; and ``share_<source>`` of the variance: what to measure
        better.

    Raises
    ------
    FieldkitError
        A body that absorbs no sunlight.

    Notes
    -----
    The heat balance turned round: the shaded probe stands for air and surroundings, so what the sunlit one loses to
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

    def absorbed(sunlit, shaded, wind, stirring):
        state = {"air_temperature_c": shaded, "wind_speed_m_s": wind, "body": body, "turbulence_factor": stirring}
        state["pressure_pa"] = np.asarray(pressure_pa, dtype=float)
        return -np.asarray(heat.fluxes(temperature_c=sunlit, **state)["net_w_m2"])

    def irradiance(sunlit, shaded, wind, stirring, absorptivity, diffuse):
        per_level = (
            body.silhouette_fraction * (1 - diffuse) / cosine
            + body.sky_view_factor * diffuse
            + body.ground_view_factor * ground_albedo
        )
        return absorbed(sunlit, shaded, wind, stirring) / (absorptivity * per_level)

    given = (sunlit_c, shaded_c, wind_speed_m_s, apparent_zenith_deg)
    index = next((v.index for v in given if isinstance(v, pd.Series)), None)
    sunlit, shaded, wind, zenith = (np.asarray(v, dtype=float) for v in given)
    ground_albedo = np.asarray(ground_albedo, dtype=float)
    cosine = np.where(zenith <= 80, np.cos(np.radians(zenith)), np.nan)
    diffuse = np.asarray(diffuse_fraction, dtype=float)
    values = {"sunlit": sunlit, "shaded": shaded, "wind": wind, "stirring": 1.0}
    values |= {"absorptivity": body.shortwave_absorptivity, "diffuse": diffuse}
    errors = {
        "sunlit": reading_error_c,
        "shaded": reading_error_c,
        # Wind cannot fall below nothing, nor the diffuse share below 0.
        "wind": np.minimum(wind_error_m_s, wind),
        "stirring": convection_error_share,
        "absorptivity": absorptivity_error,
        "diffuse": np.minimum(diffuse_error, np.minimum(diffuse, 1 - diffuse)),
    }
    table = carry_errors(irradiance, values=values, errors=errors)
    table = table.rename(columns={"value": "irradiance_w_m2", "error": "error_w_m2"})
    table.insert(2, "absorbed_w_m2", np.atleast_1d(absorbed(sunlit, shaded, wind, 1.0)))
    return table if index is None else table.set_index(index)


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


def irradiance_from_loggers(
    loggers, logger_info, site, *, body=None, logger_id=None, diffuse_fraction=0.3, ground_albedo=0.2
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

    Returns
    -------
    ProbeIrradiance

    Raises
    ------
    FieldkitError
        When a role is missing, or the size or absorptivity of the probe is not stated.

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
    given = {
        "sunlit_c": pair["exposed_probe"],
        "shaded_c": pair["shade_air"],
        "wind_speed_m_s": pair["wind"],
        "body": body,
        "apparent_zenith_deg": zenith[zenith < 80],
        "ground_albedo": ground_albedo,
    }
    given |= {"reading_error_c": float(info.get("error", 0.2))}
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
