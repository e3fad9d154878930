"""Find "shade air" loggers that the sun has reached: when, and by how many °C.

Air follows the sun too, late: over half an hour to hours. A thermometer in the beam follows it within minutes. The test
looks for the part of a series that moves with irradiance faster than air can, day by day and window by window, and
carries along how uncertain the air's own response is. `fieldkit.physics.sensors.find_contamination` is the door.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result, method
from fieldkit.physics.radiation_error import light as lighting
from fieldkit.physics.radiation_error.one_logger import TELLS_UP_TO_C as TELLS_UP_TO_C
from fieldkit.physics.radiation_error.one_logger import WEEK_THRESHOLD, judge


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Contamination(Result):
    """Which shade air series read the sun, when and by how much; the series as corrected or masked on request.

    Attributes
    ----------
    table : DataFrame
        One row per shade air logger: ``logger_id, verdict`` ("reads the sun", "no sign of sun", "cannot tell"),
        ``days`` tested, ``days_with_sun`` flagged, ``contamination_c`` at strong sun in the flagged hours with
        ``low_c, high_c`` (95 %), ``strength`` (standard errors above what clean air can do, restlessness included),
        ``threshold``, ``restlessness`` (by day, in standard deviations above that of clean air: mean over the weeks),
        ``detectable_c`` (the smallest contamination at strong sun that would have been found 19 times in 20, had it
        lasted all day for one week), ``compared_with``, ``note``.
    episodes : DataFrame
        One row per stretch: ``logger_id, first_day, last_day, from_hour, to_hour`` (clock of the series),
        ``contamination_c, low_c, high_c, strength``.
    readings : DataFrame
        The shade air series as given (one column each).
    estimate_c, error_c : DataFrame
        Estimated contamination of every reading (°C, 0 where none was found) and its standard error for that reading:
        days, wind and angle differ, so it is wider than the interval of ``contamination_c``, a mean over the stretch.
    settings : dict
    """

    table: pd.DataFrame
    episodes: pd.DataFrame
    readings: pd.DataFrame
    estimate_c: pd.DataFrame
    error_c: pd.DataFrame
    settings: dict

    @property
    def sentence(self):
        table = self.table
        bad = table[table["verdict"] == "reads the sun"]
        unsure = table[table["verdict"] == "cannot tell"]
        parts = []
        for row in bad.itertuples():
            when = self.episodes[self.episodes["logger_id"] == row.logger_id]
            first, last = when["first_day"].min(), when["last_day"].max()
            days = f"on {first:%Y-%m-%d}" if first == last else f"between {first:%Y-%m-%d} and {last:%Y-%m-%d}"
            parts.append(
                f"{row.logger_id} read the sun on {row.days_with_sun} of {row.days} days, {days}: "
                f"{row.contamination_c:.1f} °C too warm in strong sun "
                f"(95 % interval {row.low_c:.1f} to {row.high_c:.1f})"
            )
        quiet = table[table["verdict"] == "no sign of sun"]
        if len(quiet):
            names = ", ".join(map(str, quiet["logger_id"]))
            parts.append(
                f"{names}: no sign of sun (a week of {quiet['detectable_c'].max():.1f} °C in strong sun would be found "
                "19 times in 20)"
            )
        for row in unsure.itertuples():
            parts.append(f"{row.logger_id}: the data cannot tell, {row.note}")
        if self.settings["note"]:
            parts.append(self.settings["note"])
        if self.settings["irradiance"] == "clear sky":
            parts.append("no irradiance was measured, so only a clear-sky sun was looked for, which finds less")
        return "; ".join(parts) + "."

    @property
    def corrected(self):
        """The series less the estimated contamination: an estimate, to be named as such wherever it is used."""
        return self.readings - self.estimate_c

    @property
    def masked(self):
        """The series with flagged readings left empty: where the estimate exceeds the smallest amount that counts."""
        return self.readings.where(self.estimate_c < self.settings["smallest_c"] / 2)

    @property
    def dataset(self):
        """Readings, estimate, error, corrected and masked series in one xarray Dataset (times in UTC).

        Dimensions are those of the DataArray that was given, else ``time`` and ``logger_id``.
        """
        import xarray as xr

        dims = self.settings["dims"]
        coords = {"time": self.readings.index.tz_convert("UTC").tz_localize(None)}
        other = [dim for dim in dims if dim != "time"]
        coords |= {dim: list(self.readings.columns) for dim in other}
        frames = {
            "readings_c": self.readings,
            "estimate_c": self.estimate_c,
            "error_c": self.error_c,
            "corrected_c": self.corrected,
            "masked_c": self.masked,
        }
        data = {
            name: (["time", *other], frame.to_numpy() if other else frame.to_numpy()[:, 0], {"units": "degC"})
            for name, frame in frames.items()
        }
        return xr.Dataset(data, coords=coords).transpose(*dims)


@method
def find_contamination(
    series,
    irradiance=None,
    *,
    shade_air=None,
    reference=None,
    site=None,
    wind=None,
    smallest_c=0.5,
    threshold=WEEK_THRESHOLD,
):
    """Find the series labelled "shade air" that carry a radiation signal, when, and how many °C.

    Parameters
    ----------
    series : Series, DataFrame of columns, long DataFrame with ``time, logger_id, value``, or DataArray
        Temperatures (°C) against times with a zone, in steps of at most 60 minutes. A DataArray has the dimension
        ``time`` (UTC) and, for several loggers, one more, whose coordinate names them; on dask it is computed.
    irradiance : Series or DataArray, optional
        Measured global irradiance (W/m²), in steps of at most 60 minutes; stamps of averages are taken as their middle.
        None: clear-sky irradiance at `site`, which knows nothing of clouds: the test is then weaker.
    shade_air : sequence, optional
        Names of the series labelled shade air; None: all of them. The others are not tested.
    reference : Series, DataArray or str, optional
        Air temperature known to be good, e.g. of a weather station, or the name of its column. Without it each shade
        air series is compared with the median of the other shade air series, if there are any.
    site : object or dict, optional
        With ``latitude_deg, longitude_deg`` and ``elevation_m``. Needed without `irradiance`; with it, the test also
        knows that a low sun warms a body more than it lights level ground, and how the sun climbed between two stamps.
    wind : Series or DataArray, optional
        Wind near the loggers (m/s), of use with `site` and something to compare with: moving air takes the sun's warmth
        away from a thermometer, but also from the ground that warms the air.
    smallest_c : float
        Contamination at strong sun (°C) below which nothing is reported.
    threshold : float
        Standard errors needed for one logger in one week. It rises by itself with more loggers and longer series, so
        that the chance of any false alarm stays about the same, and for a logger on its own or a clear-sky sun.

    Returns
    -------
    Contamination
        With ``.table, .sentence, .episodes, .estimate_c, .error_c, .corrected, .masked`` and all series once more as
        ``.dataset``, an xarray Dataset. Nothing is changed in what was given.

    Raises
    ------
    FieldkitError
        Times without a zone, neither irradiance nor site, or names that are not there.

    Notes
    -----
    For each day and each window of the clock (1 to 6 hours, and all day), generalised least squares of the series on
    quick irradiance in that window. Errors: first-order autocorrelation removed by quasi-differencing, the rest by
    Newey–West (1987, Econometrica 55:703) within the day; the gains of the air's own slow response are random effects
    with a stated spread, one part of each shared by all days of a run (learned from all of them together) and one part
    new every day (Laird & Ware 1982, Biometrics 38:963). Runs of days are searched; the one that stands
    out most is measured and taken off before the next is looked for. To the strength of a run comes how restless its
    weeks are by day, beside their own nights: a thermometer in the sun follows every cloud and gust. That part needs no
    irradiance, was learned from simulated weeks and checked on real air
    (`tests/studies/study_contamination_air.py`); alone it is not evidence. Readings at an instant are held against the
    irradiance of that instant, worked out between the stamps from the clear sky's course.

    What the size means: `contamination_c` is the mean over the flagged days at strong sun (90th percentile of the lit
    readings) in the flagged hours. It is anchored in what lasts for hours; the answer to passing clouds, which depends
    on the lag of the thermometer and on how irradiance was averaged, is left free. In simulated weeks it comes out a
    tenth low beside other loggers, a fifth low against a station or under a clear sky, and for a logger by itself it is
    no more than a guess; the mean over all readings, where a patch of sun is only partly found, is lower still. The
    interval carries differences between days and a quarter of the size for what the window and the body in the open
    miss; its upper limit is wider, by as much as sizes came out low.

    Examples
    --------
    >>> times = pd.date_range("2024-05-01", periods=7 * 144, freq="10min", tz="Etc/GMT+5")
    >>> hour = times.hour + times.minute / 60
    >>> rng = np.random.default_rng(1)
    >>> clouds = np.repeat(rng.uniform(0.2, 1, 7 * 48), 3)
    >>> sun = pd.Series(np.clip(900 * np.sin((hour - 6) / 12 * np.pi), 0, None) * clouds, times)
    >>> air = 18 + 6 * np.sin((hour - 9) / 12 * np.pi) + rng.normal(0, 0.2, len(times))
    >>> loggers = {"A": air, "B": air + 0.005 * sun, "C": air + rng.normal(0, 0.1, len(times))}
    >>> find_contamination(pd.DataFrame(loggers, index=times), sun).table["verdict"].tolist()
    ['no sign of sun', 'reads the sun', 'no sign of sun']
    """
    dims = tuple(series.dims) if _is_array(series) else ("time", "logger_id")
    wide = _wide(series)
    irradiance, reference, wind = (_as_series(value) for value in (irradiance, reference, wind))
    names = list(wide.columns) if shade_air is None else list(shade_air)
    for name in names:
        if name not in wide.columns:
            raise FieldkitError(f"There is no series named '{name}': there are {', '.join(map(str, wide.columns))}.")
    if isinstance(reference, str):
        if reference not in wide.columns:
            raise FieldkitError(f"There is no series named '{reference}' to compare with.")
        names = [name for name in names if name != reference]
        reference = wide[reference]
    if irradiance is None and site is None:
        raise FieldkitError("Give the measured irradiance, or site= (latitude and longitude) for a clear-sky sun.")
    for what, value in (("irradiance", irradiance), ("reference", reference), ("wind", wind)):
        if value is not None:
            _need_zone(value.index, what)
    if not names or wide.empty:
        raise FieldkitError("There is no series labelled shade air to test.")

    light = lighting.light_over(wide.index, irradiance, site, wind)

    def test(name, pool):
        others = pool[[other for other in names if other != name]]
        return judge(wide[name].dropna(), light, reference, others, smallest_c, threshold, len(names))

    results = _settled(wide[names].copy(), names, test, alone=reference is not None)

    settings = {
        "irradiance": "clear sky" if irradiance is None else "measured",
        "smallest_c": smallest_c,
        "threshold": threshold,
        "wind": wind is not None,
        "note": light["note"],
        "dims": dims,
    }
    return _collected(names, results, wide, settings)


def _collected(names, results, wide, settings):
    rows, episodes = [], []
    estimate = pd.DataFrame(0.0, index=wide.index, columns=names)
    error = pd.DataFrame(0.0, index=wide.index, columns=names)
    for name in names:
        one = results[name]
        rows.append({"logger_id": name} | one["row"])
        episodes += [{"logger_id": name} | episode for episode in one["episodes"]]
        for target, key in ((estimate, "estimate"), (error, "error")):
            if one[key] is not None:
                target[name] = _spread(one[key], wide.index)
    when = ["first_day", "last_day", "from_hour", "to_hour"]
    columns = ["logger_id", *when, "contamination_c", "low_c", "high_c", "strength"]
    return Contamination(
        table=pd.DataFrame(rows),
        episodes=pd.DataFrame(episodes, columns=columns),
        readings=wide[names],
        estimate_c=estimate,
        error_c=error,
        settings=settings,
    )


def _settled(pool, names, test, *, alone):
    """Test every logger, and again beside what is left of the others once a flagged one is out.

    A logger that reads the sun is no standard for the others: the clearest one is settled first, its flagged days are
    left out of what the rest is compared with, and the rest is tested again (not if there is a reference: `alone`).
    """
    results = {name: test(name, pool) for name in names}
    settled = []
    while True:
        flagged = [n for n in names if n not in settled and results[n]["row"]["verdict"] == "reads the sun"]
        if not flagged:
            return results
        worst = max(flagged, key=lambda n: results[n]["row"]["strength"])
        settled.append(worst)
        lit = results[worst]["estimate"] > 0
        bad_days = lit.index[lit].tz_localize(None).normalize().unique()
        pool.loc[pool.index.tz_localize(None).normalize().isin(bad_days), worst] = np.nan
        if not alone:
            results |= {name: test(name, pool) for name in names if name not in settled}


def _need_zone(index, what):
    if not isinstance(index, pd.DatetimeIndex) or index.tz is None:
        raise FieldkitError(f"The times of the {what} need a time zone, for example series.tz_localize('Etc/GMT+5').")


def _is_array(value):
    return type(value).__name__ == "DataArray"


def _as_series(value):
    """A DataArray with the one dimension time as a series; its times are UTC."""
    if not _is_array(value):
        return value
    if value.dims != ("time",):
        raise FieldkitError("Irradiance, wind and reference need the one dimension 'time': select one series first.")
    return pd.Series(value.to_numpy(), pd.DatetimeIndex(value.indexes["time"]).tz_localize("UTC"))


def _wide(series):
    if _is_array(series):
        if "time" not in series.dims or series.ndim > 2:
            raise FieldkitError("The array needs the dimension 'time' and at most one more, which names the loggers.")
        name = "logger" if series.name is None else series.name
        times = pd.DatetimeIndex(series.indexes["time"]).tz_localize("UTC")
        other = [dim for dim in series.dims if dim != "time"]
        columns = list(series[other[0]].to_numpy()) if other else [name]
        series = pd.DataFrame(series.transpose("time", *other).to_numpy().reshape(len(times), -1), times, columns)
    if isinstance(series, pd.Series):
        series = series.to_frame("logger" if series.name is None else series.name)
    elif {"time", "logger_id", "value"} <= set(series.columns):
        # Two readings of one logger at one time: their mean; the readings check lists them.
        series = series.pivot_table(index="time", columns="logger_id", values="value", aggfunc="mean", observed=True)
        series.columns.name = None
    _need_zone(series.index, "readings")
    return series.sort_index()


def _spread(values, index):
    """Bring a grid series back to the times of the readings."""
    seconds = values.index.as_unit("ns").asi8
    return np.interp(index.as_unit("ns").asi8, seconds, values.to_numpy(), left=0.0, right=0.0)
