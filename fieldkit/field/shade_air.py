"""Shade air as the loggers read it, without the hours in which the sun reached them; what was left out is listed."""

import hashlib
from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError
from fieldkit.physics import sensors
from fieldkit.physics.sensors import logger_checks

# The search takes seconds, and one analysis asks several times about the same readings.
_KEPT = {}
_MOST_KEPT = 4


@dataclass(frozen=True, kw_only=True, eq=False)
class ShadeAir:
    """Loggers after the search for solar radiation error.

    Attributes
    ----------
    loggers : pandas.DataFrame
        Long form ``time, logger_id, value`` of all loggers, without the shade-air readings that the sun reached.
    readings : pandas.DataFrame
        The shade-air readings that are left, one column a logger.
    left_out : pandas.DataFrame
        One row per logger and day: ``logger_id, day, from_hour, to_hour, readings, too_warm_c`` (largest estimate).
    tested : bool
        Whether the search could be made.
    note : str
        Why not, or which loggers it cannot answer for; empty where there is nothing to say.
    """

    loggers: pd.DataFrame
    readings: pd.DataFrame
    left_out: pd.DataFrame
    tested: bool
    note: str


def screened(loggers, logger_info, *, site=None):
    """Leave out the shade-air readings that the sun reached.

    Parameters
    ----------
    loggers : pandas.DataFrame
        Long form ``time, logger_id, value``.
    logger_info : pandas.DataFrame
        ``logger_id, role``.
    site : object, optional
        With ``latitude_deg, longitude_deg, elevation_m``: a clear sky stands in where no irradiance was logged.

    Returns
    -------
    ShadeAir

    Notes
    -----
    `fieldkit.physics.sensors.find_contamination` is the search.

    Examples
    --------
    >>> times = pd.to_datetime(["2030-05-01 09:00", "2030-05-01 09:10"])
    >>> info = pd.DataFrame({"logger_id": ["L1"], "role": ["shade_air"]})
    >>> screened(pd.DataFrame({"time": times, "logger_id": "L1", "value": [18.0, 19.0]}), info).tested
    False
    """
    roles = logger_info.set_index("logger_id")["role"]
    wanted = loggers[loggers["logger_id"].map(roles).isin(["shade_air", "irradiance"])]
    key = _fingerprint(wanted, site)
    if key in _KEPT:
        masked, left_out, tested, note = _KEPT[key]
    else:
        masked, left_out, tested, note = _KEPT[key] = _search(wanted, logger_info, site)
        while len(_KEPT) > _MOST_KEPT:
            _KEPT.pop(next(iter(_KEPT)))
    kept = loggers
    if len(left_out):
        shade = loggers["logger_id"].isin(masked.columns)
        long = masked.rename_axis("time").reset_index().melt("time", var_name="logger_id").dropna(subset="value")
        kept = pd.concat([loggers[~shade], long.astype({"logger_id": loggers["logger_id"].dtype})], ignore_index=True)
    return ShadeAir(loggers=kept, readings=masked, left_out=left_out, tested=tested, note=note)


def of_season(season):
    """Leave out the shade-air readings of a season that the sun reached.

    Parameters
    ----------
    season : Season
        With loggers.

    Returns
    -------
    ShadeAir

    Raises
    ------
    FieldkitError
        When the season has no loggers.
    """
    if season.loggers is None:
        raise FieldkitError("The season has no loggers: nothing was read in the shade between the looks.")
    return screened(season.loggers, season.logger_info, site=season.site)


def _fingerprint(wanted, site):
    place = [getattr(site, name, None) for name in ("latitude_deg", "longitude_deg", "elevation_m")]
    digest = hashlib.sha256(repr(place).encode())
    digest.update(pd.util.hash_pandas_object(wanted[["time", "logger_id", "value"]], index=False).to_numpy().tobytes())
    return digest.hexdigest()


def _search(wanted, logger_info, site):
    nothing = pd.DataFrame(columns=["logger_id", "day", "from_hour", "to_hour", "readings", "too_warm_c"])
    shade = logger_checks.by_role(wanted, logger_info, "shade_air")
    if not shade.shape[1]:
        return shade, nothing, False, ""
    light = logger_checks.by_role(wanted, logger_info, "irradiance")
    sun = light.iloc[:, 0].dropna() if light.shape[1] else None
    try:
        found = sensors.find_contamination(shade, sun, site=site)
    except FieldkitError as problem:
        return shade, nothing, False, f"Whether the sun reached the shade loggers could not be tested: {problem}"
    unsure = found.table.loc[found.table["verdict"] == "cannot tell", "logger_id"]
    note = ""
    if len(unsure):
        note = f"Whether the sun reached {', '.join(map(str, unsure))}, these readings cannot tell."
    masked = found.masked
    gone = masked.isna() & found.readings.notna()
    rows = []
    for name in masked.columns[gone.any()]:
        when = masked.index[gone[name]]
        hour = when.hour + when.minute / 60
        for day, at in pd.Series(np.arange(len(when))).groupby(when.date):
            rows.append(
                {
                    "logger_id": name,
                    "day": day,
                    "from_hour": hour[at].min(),
                    "to_hour": hour[at].max(),
                    "readings": len(at),
                    "too_warm_c": found.estimate_c.loc[when[at], name].max(),
                }
            )
    return masked, pd.DataFrame(rows, columns=nothing.columns), True, note
