"""What the points of an enclosure read at given times, and what the model says of those that nothing reads."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.captive import enclosure as model
from fieldkit.field.basking import readings_at

# Column of a choice table, and the role of the loggers that read it.
ROLES = {
    "shade_air_c": "shade_air",
    "surface_c": "surface",
    "irradiance_w_m2": "irradiance",
    "uv_index": "uv_index",
    "operative_c": "copper_model",
}
LIGHT = ("irradiance_w_m2", "uv_index")
# Readings this far apart in time belong together (our choice, as in the audit).
TOGETHER = "30min"
# Light that the model gives must reach this for a meter to set its scale (W/m², UV index; our choice).
LEAST_LIGHT = {"irradiance_w_m2": 20.0, "uv_index": 0.2}
SAMPLES = 60


@dataclass(frozen=True, kw_only=True, eq=False)
class Offered:
    """Conditions of every point at every time.

    Attributes
    ----------
    times : pandas.DatetimeIndex
    points : list of str
    readings : dict of str to ndarray, shape (times, points)
        By column; NaN where nothing is known.
    errors : dict of str to ndarray, shape (points,)
        Standard error of one value.
    modelled : dict of str to ndarray of bool, shape (points,)
        Whether the lamp field and the thermal model gave it.
    left_out : pandas.DataFrame
        ``point, quantity, reason``.
    notes : tuple of str
    """

    times: pd.DatetimeIndex
    points: list
    readings: dict
    errors: dict
    modelled: dict
    left_out: pd.DataFrame
    notes: tuple


def at_times(record, times, *, fill=True, tolerance=TOGETHER):
    """Find what each point read near given times.

    Parameters
    ----------
    record : EnclosureRecord
        The enclosure.
    times : DatetimeIndex
        Moments that are asked for.
    fill : bool
        Whether the lamp field and the thermal model stand in where a point has no reading of its own.
    tolerance : str or pandas.Timedelta
        Furthest a reading may be from the time.

    Returns
    -------
    Offered
    """
    times = pd.DatetimeIndex(times)
    points = list(record.points["point_id"])
    values, errors, modelled = {}, {}, {}
    for column, role in ROLES.items():
        values[column], errors[column] = _read(record, times, points, role, tolerance)
        modelled[column] = np.zeros(len(points), dtype=bool)
    notes = []
    silent = {c: [p for p in range(len(points)) if not np.isfinite(v[:, p]).any()] for c, v in values.items()}
    nowhere = [c for c, empty in silent.items() if len(empty) == len(points)]
    if fill and any(silent.values()) and len(times) and len(record.lamps):
        notes += _fill(record, times, values, errors, modelled, silent)
    rows = [
        (points[p], column, _why(column, column in nowhere))
        for column, v in values.items()
        for p in range(len(points))
        if not np.isfinite(v[:, p]).any()
    ]
    return Offered(
        times=times,
        points=points,
        readings=values,
        errors=errors,
        modelled=modelled,
        left_out=pd.DataFrame(rows, columns=["point", "quantity", "reason"]),
        notes=tuple(notes),
    )


def _why(column, nowhere):
    if nowhere:
        return "nothing reads it anywhere in the enclosure near the times of the scans"
    return "nothing reads it at this point near the times of the scans, and no model stood in"


def _read(record, times, points, role, tolerance):
    """Mean of the loggers of a role at each point, and its error."""
    out, error = np.full((len(times), len(points)), np.nan), np.full(len(points), np.nan)
    info = record.logger_info[record.logger_info["role"] == role]
    mine = record.readings[record.readings["role"] == role]
    if not len(info) or not len(mine) or not len(times):
        return out, error
    mine = mine[["time", "logger_id", "value"]].assign(logger_id=mine["logger_id"].cat.remove_unused_categories())
    read = readings_at(pd.Series(times), mine, info, role=role, tolerance=tolerance)
    where = dict(zip(info["logger_id"], info["point_id"]))
    stated = dict(zip(info["logger_id"], info["error"]))
    for p, point in enumerate(points):
        names = [n for n in read if where.get(n) == point]
        if names:
            table = read[names].to_numpy(dtype=float)
            count = np.isfinite(table).sum(axis=1)
            out[:, p] = np.where(count > 0, np.nansum(table, axis=1) / np.maximum(count, 1), np.nan)
            error[p] = np.nanmean([stated[n] for n in names]) if any(np.isfinite(stated[n]) for n in names) else np.nan
    return out, error


# ---- where nothing reads ---------------------------------------------------------------------------------------------


def _fill(record, times, values, errors, modelled, silent):
    """Put the model's values where a point has no reading; what was done, in words."""
    setup = model.setup_of(record)
    hours = times.hour.to_numpy() + times.minute.to_numpy() / 60
    burning = np.stack([lamp.is_on(hours) for lamp in setup.lamps], axis=1)
    states, which = np.unique(burning, axis=0, return_inverse=True)
    which = which.ravel()
    tables = []
    for number in range(len(states)):
        hour = float(np.median(hours[which == number]))
        found = model.predict(record, hour=hour, samples=SAMPLES, setup=setup).table
        tables.append({n: found[found["quantity"] == n].set_index("point_id") for n in ROLES})
    points = list(record.points["point_id"])
    shaded = record.points["shade"].map(lambda s: s is True).to_numpy()

    def of(quantity, name):
        """Model's value or error (states, points); NaN where it has none."""
        return np.array([t[quantity][name].reindex(points).to_numpy(dtype=float) for t in tables])

    for column in LIGHT:
        if silent[column]:
            _fill_light(column, of, which, values, errors, modelled, silent[column], shaded)
    if silent["shade_air_c"]:
        _fill_air(of, which, values, errors, modelled, silent["shade_air_c"])
    for column in ("surface_c", "operative_c"):
        if silent[column]:
            rise = of(column, "predicted") - of("shade_air_c", "predicted")
            error = of(column, "error").max(axis=0)
            for p in silent[column]:
                values[column][:, p] = values["shade_air_c"][:, p] + rise[which, p]
                errors[column][p] = np.hypot(error[p], np.nan_to_num(errors["shade_air_c"][p]))
                modelled[column][p] = np.isfinite(rise[:, p]).all()
    parts = []
    for column in ROLES:
        names = [f"{points[p]} (±{errors[column][p]:.2g})" for p in np.flatnonzero(modelled[column])]
        if names:
            parts.append(f"{column}: {', '.join(names)}")
    if not parts:
        return []
    return [
        "Modelled by the lamp field and the thermal model, with the standard error in brackets, because nothing reads "
        f"it there: {'; '.join(parts)}. The model takes the lamps to have burnt for hours."
    ]


def _fill_light(column, of, which, values, errors, modelled, empty, shaded):
    """Light of the lamps by their beams, scaled to the meters that stand elsewhere."""
    level, error = of(column, "predicted"), of(column, "error")
    seen = values[column]
    expected = level[which]
    usable = np.isfinite(seen) & (expected > LEAST_LIGHT[column])
    scale = float(np.median(seen[usable] / expected[usable])) if usable.any() else 1.0
    for p in empty:
        if shaded[p]:
            values[column][:, p], errors[column][p] = 0.0, 0.0
        elif np.isfinite(expected[:, p]).all():
            values[column][:, p] = scale * expected[:, p]
            errors[column][p] = scale * error[:, p].max()
        modelled[column][p] = np.isfinite(errors[column][p])


def _fill_air(of, which, values, errors, modelled, empty):
    """Air by the model, shifted by what it missed at the points that were read at the same time."""
    level, error = of("shade_air_c", "predicted")[which], of("shade_air_c", "error").max(axis=0)
    miss = values["shade_air_c"] - level
    known = np.isfinite(miss)
    shift = np.where(known.any(axis=1), np.nansum(miss, axis=1) / np.maximum(known.sum(axis=1), 1), np.nan)
    anywhere = known.any()
    for p in empty:
        values["shade_air_c"][:, p] = level[:, p] + (shift if anywhere else 0.0)
        # What the model leaves unexplained when all else is right: layers of warm air, draughts (our choice).
        errors["shade_air_c"][p] = 1.0 if anywhere else error[p]
        modelled["shade_air_c"][p] = True
