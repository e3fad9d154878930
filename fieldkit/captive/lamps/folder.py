"""The lamps of an enclosure folder, their beams fitted to the readings that stand there."""

from dataclasses import dataclass

import pandas as pd

from fieldkit.captive.lamps import Beam, Lamp, fit_beam
from fieldkit.captive.lamps.spectra import spectrum_of
from fieldkit.core import FieldkitError, Result


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class FittedLamps(Result):
    """Lamps of an enclosure.

    Attributes
    ----------
    table : DataFrame
        One row per lamp: ``readings, uv_readings, at_30_cm_w_m2, half_angle_deg`` (NaN without a beam) and
        ``left_out``, why it has none.
    lamps : list of Lamp
        Those with a beam.
    fits, uv_fits : dict of str to BeamFit
        By lamp.
    """

    table: pd.DataFrame
    lamps: list
    fits: dict
    uv_fits: dict

    @property
    def strongest(self):
        """The lamp that gives most at 30 cm on its axis; a FieldkitError when no lamp has a beam."""
        if not self.lamps:
            raise FieldkitError(
                f"{self.sentence} Read each lamp at several distances and angles, and write that into lamp_readings."
            )
        return max(self.lamps, key=lambda lamp: lamp.beam.at(0.3))

    @property
    def sentence(self):
        words = f"{len(self.lamps)} of {len(self.table)} lamps have a beam from meter readings."
        for name, why in self.table.loc[self.table["left_out"] != "", "left_out"].items():
            words += f" Lamp '{name}' has none: {why}"
        return words


def lamps_of(
    record, *, meter_error=0.05, uv_error=0.10, distance_error_m=0.005, angle_error_deg=2.0, calibration_error=0.0
):
    """Fit the beam of every lamp of an enclosure folder.

    Parameters
    ----------
    record : EnclosureRecord
        From `fieldkit.read_enclosure`.
    meter_error, uv_error : float or None
        Relative standard error of a reading of W/m² and of UV index; None: taken from the scatter. The defaults are
        common practice, no source: state those of your meters.
    distance_error_m, angle_error_deg, calibration_error : float
        As in `fit_beam`.

    Returns
    -------
    FittedLamps
        A lamp whose readings cannot tell a beam is left out and listed with the reason. UV readings of zero make a UV
        beam of zero; where UV readings cannot tell a beam, the UV of the lamp is not known.
    """
    rows, lamps, fits, uv_fits, ultra = {}, [], {}, {}, {}
    shared = {
        "distance_error_m": distance_error_m,
        "angle_error_deg": angle_error_deg,
        "calibration_error": calibration_error,
    }
    for _, stated in record.lamps.iterrows():
        name = stated["id"]
        readings = record.lamp_readings[record.lamp_readings["lamp_id"] == name]
        counts = {q: int(readings[q].notna().sum()) for q in ("irradiance_w_m2", "uv_index")}
        row = {"readings": counts["irradiance_w_m2"], "uv_readings": counts["uv_index"], "left_out": ""}
        rows[name] = row
        try:
            if not counts["irradiance_w_m2"]:
                raise FieldkitError("no reading in W/m² is given.")
            fits[name] = fit_beam(_known(readings, "irradiance_w_m2"), meter_error=meter_error, **shared)
        except FieldkitError as error:
            row["left_out"] = str(error)
            continue
        if counts["uv_index"] and readings["uv_index"].max() == 0:
            # A meter that read nothing at all tells that there is none, whatever a spectrum says.
            ultra[name] = Beam(intensity=0.0)
        elif counts["uv_index"]:
            try:
                known = _known(readings, "uv_index")
                uv_fits[name] = fit_beam(known, quantity="uv_index", meter_error=uv_error, **shared)
                ultra[name] = uv_fits[name].beam
            except FieldkitError as error:
                row["left_out"] = f"(UV only) {error}"
        beam = fits[name].beam
        row["at_30_cm_w_m2"], row["half_angle_deg"] = float(beam.at(0.3)), beam.half_angle_deg
        spectrum = _spectrum(stated["spectrum"], record)
        if spectrum is not None and counts["uv_index"] and name not in ultra:
            # UV was read and no beam came of it: what a spectrum says must not stand for the readings.
            spectrum = spectrum.copy()
            spectrum.attrs["tells_uv"] = False
        lamps.append(lamp_for(stated, beam, uv_beam=ultra.get(name), spectrum=spectrum))
    table = pd.DataFrame.from_dict(rows, orient="index").rename_axis("lamp")
    order = ["readings", "uv_readings", "at_30_cm_w_m2", "half_angle_deg", "left_out"]
    return FittedLamps(table=table.reindex(columns=order), lamps=lamps, fits=fits, uv_fits=uv_fits)


def _known(readings, quantity):
    return readings[readings[quantity].notna()]


def lamp_for(row, beam, *, uv_beam=None, spectrum=None):
    """A lamp from one row of a record's lamps and its beam.

    Parameters
    ----------
    row : Series or dict
        ``id, x_m, y_m, height_m, aim, power_w, on, off``; what is empty is not stated.
    beam, uv_beam : Beam
        Of its irradiance and, optionally, its UV index.
    spectrum : Series, optional
        See `lamps.Lamp`.

    Returns
    -------
    Lamp

    Examples
    --------
    >>> from fieldkit.captive.lamps import Beam
    >>> row = dict(id="spot", x_m=0.2, y_m=0.3, height_m=0.5, aim=None, power_w=75, on=None, off=None)
    >>> lamp_for(row, Beam(intensity=50.0)).front.tolist()
    [0.2, 0.3, 0.5]
    """
    places = {name: float(row[name]) for name in ("x_m", "y_m", "height_m")}
    stated = {name: _stated(row[name]) for name in ("aim", "power_w", "on", "off")}
    return Lamp(id=row["id"], beam=beam, uv_beam=uv_beam, spectrum=spectrum, **places, **stated)


def _spectrum(written, record):
    if not isinstance(written, str):
        return None
    return record.spectra[written] if written in record.spectra else spectrum_of(written)


def _stated(value):
    """None where a cell of the table is empty; a list is a point."""
    if isinstance(value, list | tuple):
        return tuple(float(v) for v in value)
    return None if value is None or value != value else value
