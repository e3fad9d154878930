"""The sun as loggers meet it: irradiance between two stamps, what of it warms a small body, and the sun's own clock."""

import datetime as dt

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError
from fieldkit.physics import heat, sun

# A low sun warms a body more per watt on level ground, up to this many times: below that there are hills and trees.
LOW_SUN_MOST = 3.0
FINEST_MIN = 5.0
# The sun counts as up above this.
UP_W_M2 = 20.0
_WIDTHS_H = (1.0, 1.5, 2.0, 3.0, 4.0, 6.0)


def minutes(index):
    """Usual step of a series in minutes."""
    if len(index) < 2:
        return np.nan
    return float(np.median(np.diff(index.as_unit("ns").asi8)) / 6e10)


def on_grid(values, grid_min):
    """Mean around each grid time; a series with that step keeps its own minutes past the hour."""
    step = pd.Timedelta(minutes=grid_min)
    if minutes(values.index) > 0.9 * grid_min:
        # On a clock that is never set: the hour that stands twice in autumn cannot be rounded.
        steady = values.index.tz_convert(dt.timezone(values.index[0].utcoffset()))
        turn = 2 * np.pi / step.value
        past = np.angle(np.mean(np.exp(1j * turn * (steady.as_unit("ns").asi8 % step.value)))) / turn
        past = pd.Timedelta(seconds=round(past / 1e9))
        return values.groupby(((steady - past).round(step) + past).tz_convert(values.index.tz)).mean()
    return values.set_axis(values.index + step / 2).resample(step).mean()


def _lagged(sun, lag_min, step_min):
    """First-order response to irradiance; gaps are bridged by straight lines, their readings are left out elsewhere."""
    from scipy.signal import lfilter

    values = sun.interpolate(limit_direction="both").to_numpy(dtype=float)
    keep = np.exp(-step_min / lag_min)
    return lfilter([1 - keep], [1, -keep], values, zi=[keep * values[0]])[0]


class Sun:
    """An irradiance every five minutes, seen with any lag at the times of the readings."""

    def __init__(self, fine, index, grid_min, instant):
        self.fine, self.index, self.grid_min, self.instant = fine, index, grid_min, instant
        self._known = {}
        self.now = self._at(fine)

    def _at(self, fine):
        if self.grid_min > FINEST_MIN * 1.01 and not self.instant:
            span = 2 * round(self.grid_min / FINEST_MIN / 2) + 1
            fine = fine.rolling(span, center=True, min_periods=1).mean()
        return fine.reindex(self.index, method="nearest", tolerance=pd.Timedelta(minutes=FINEST_MIN / 2))

    def lagged(self, lag_min):
        if lag_min not in self._known:
            values = pd.Series(_lagged(self.fine, lag_min, FINEST_MIN), self.fine.index)
            self._known[lag_min] = self._at(values).interpolate(limit_direction="both").to_numpy()
        return self._known[lag_min]


def light_over(index, irradiance, site, wind):
    """Irradiance of level ground, and what warms a small body, every five minutes over the readings."""
    step = f"{round(FINEST_MIN * 60)}s"
    utc = index.tz_convert("UTC")
    fine = pd.date_range(utc[0].floor(step) - pd.Timedelta(hours=6), utc[-1].ceil(step), freq=step)
    place, note = _place(site), ""
    if irradiance is None:
        clear = sun.clear_sky(fine, **place)
        ghi, sun_step = clear["ghi_w_m2"], 0.0
    else:
        given = irradiance.dropna().sort_index().tz_convert("UTC")
        given = given.groupby(given.index).mean().clip(lower=0)
        if len(given) < 2:
            nothing = pd.Series(np.nan, fine)
            none = dict.fromkeys(("ghi", "warms", "still", "up"), nothing)
            return none | {"step_min": 0.0, "measured": True, "note": ""}
        sun_step = minutes(given.index)
        if place is not None:
            at_stamps = sun.clear_sky(given.index, **place)["ghi_w_m2"]
            if given[at_stamps <= 0].sum() > 0.03 * given.sum():
                place = None
                note = "the irradiance shines when it is night at this site: clock or place is wrong, see check_loggers"
        clear = None if place is None else sun.clear_sky(fine, **place)
        if sun_step < 0.9 * FINEST_MIN:
            ghi = on_grid(given, FINEST_MIN).reindex(fine)
        else:
            # Between two stamps the sun climbs as under a clear sky; without a place, in a straight line.
            share = given if place is None else (given / at_stamps).where(at_stamps > 20).clip(upper=1.5).dropna()
            seconds = (times.as_unit("ns").asi8 for times in (fine, share.index))
            ghi = pd.Series(np.interp(*seconds, share.to_numpy()) if len(share) else np.nan, fine)
            ghi = ghi if place is None else ghi * clear["ghi_w_m2"]
            near = given.index.get_indexer(fine, method="nearest", tolerance=pd.Timedelta(minutes=1.01 * sun_step))
            ghi = ghi.where(near >= 0)
    still = warms = ghi if place is None else _warming(ghi, clear, None)
    if place is not None and wind is not None:
        warms = _warming(ghi, clear, wind)
    level = ghi if clear is None else clear["ghi_w_m2"]
    up = (level > UP_W_M2).astype(float).where(level.notna())
    measured = irradiance is not None
    lights = {"ghi": ghi, "warms": warms, "still": still, "up": up}
    return lights | {"step_min": sun_step, "measured": measured, "note": note}


def _place(site):
    if site is None:
        return None
    get = site.get if isinstance(site, dict) else lambda name, default=None: getattr(site, name, default)
    place = {name: get(name) for name in ("latitude_deg", "longitude_deg")}
    if any(pd.isna(value) for value in place.values()):
        raise FieldkitError("The site needs latitude_deg and longitude_deg (east is positive).")
    elevation_m = get("elevation_m", None)
    return place | {"elevation_m": 0.0 if pd.isna(elevation_m) else elevation_m}


def _warming(ghi, clear, wind):
    """What warms a small body, as W/m² of high sun: per watt on level ground a low sun warms it more.

    The one heat balance under a clear sky gives the ratio. Passing clouds act through the irradiance alone: formulas
    that split it into beam and sky hold for hours, not for minutes.
    """
    speed = 1.0
    wind = None if wind is None else wind.dropna().sort_index()
    if wind is not None and len(wind):
        speed = np.interp(ghi.index.as_unit("ns").asi8, wind.index.as_unit("ns").asi8, wind.to_numpy()).clip(0.1)
    body = heat.probe(diameter_m=0.01, length_m=0.03, shortwave_absorptivity=0.6, emissivity=0.9)

    def excess(dni, dhi, level, speed):
        light = {"dni_w_m2": dni, "dhi_w_m2": dhi, "ground_upwelling_w_m2": 0.2 * level}
        return heat.operative_temperature(air_temperature_c=20.0, wind_speed_m_s=speed, body=body, **light) - 20.0

    high = excess(900.0, 120.0, 1000.0, float(np.median(speed))) / 1000
    level = clear["ghi_w_m2"].to_numpy()
    per_watt = excess(clear["dni_w_m2"].to_numpy(), clear["dhi_w_m2"].to_numpy(), level, speed) / np.maximum(level, 20)
    return ghi * np.minimum(per_watt / high, LOW_SUN_MOST)


def solar_time(index, sun):
    """Wall-clock times moved so that the middle of the light is noon.

    Raises
    ------
    FieldkitError
        When an input is a time without a zone.
    """
    hour = index.hour + index.minute / 60 + index.second / 3600
    weight = np.nan_to_num(sun.to_numpy()).clip(min=0)
    angle = np.angle(np.sum(weight * np.exp(2j * np.pi * hour.to_numpy() / 24))) if weight.any() else np.pi
    shift_h = 12 - (angle / (2 * np.pi) * 24) % 24
    # Wall-clock days, so that a change to summer time moves nothing by a day.
    return index.tz_localize(None) + pd.to_timedelta(shift_h, unit="h")


def solar_clock(index, sun):
    """Days and windows by the sun, whatever zone the times are in."""
    hour = index.hour + index.minute / 60 + index.second / 3600
    shifted = solar_time(index, sun)
    solar = (shifted.hour + shifted.minute / 60 + shifted.second / 3600).to_numpy()
    gates = {"all": np.ones(len(index))}
    for width in _WIDTHS_H:
        for middle in np.arange(5 + width / 2, 19 - width / 2 + 1e-9, max(0.5, width / 4)):
            # Soft edges: a patch of sun comes and goes a little earlier or later every day.
            gates[middle, width] = np.clip((width / 2 + 0.25 - np.abs(solar - middle)) / 0.5, 0, 1)
    return {
        "day": pd.Series(shifted.normalize(), index=index),
        "date": pd.Series(index.tz_localize(None).normalize(), index=index),
        "clock_hour": pd.Series(np.asarray(hour), index=index),
        "gates": gates,
        "angle": 2 * np.pi * solar / 24,
    }
