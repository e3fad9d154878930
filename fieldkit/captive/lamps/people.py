"""How long a person may stay bare before lamps: every lamp that burns counts, and what nobody knows is named."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.core import Result
from fieldkit.physics import spectrum as spectra

# Of a lamp whose UV index is read and whose spectrum is not known, all UV is counted as the most harmful there is:
# the weight of the hazard over that of reddening is at most 1 from 250 to 400 nm (both weights as coded, see tests).
MOST_HARMFUL = 1.0


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class PeopleLimits(Result):
    """Limits for people at a place with all lamps burning.

    Attributes
    ----------
    table : DataFrame
        Two rows, "skin and eye, weighted" (30 J/m²) and "eye, UV-A 315-400 nm" (10,000 J/m²), both within 8 hours:
        ``irradiance_w_m2, limit_j_m2, time_s, counted`` ("spectrum"; "worst case"; "in part": some lamps are not
        known, so the time is the most there can be; "not known").
    by_lamp : DataFrame
        One row per lamp: ``weighted_w_m2, uva_w_m2`` (NaN: not known), ``counted``.
    unknown : tuple of str
        Lamps of whose UV nothing is known: the times are then the most there can be.
    """

    table: pd.DataFrame
    by_lamp: pd.DataFrame
    unknown: tuple

    @property
    def sentence(self):
        words = []
        for name, row in self.table.iterrows():
            what = "bare skin and eyes" if name.startswith("skin") else "bare eyes, for UV-A,"
            if row["counted"] == "not known":
                words.append(f"how long {what.rstrip(',')} may stay is not known")
            elif row["counted"] == "in part":
                words.append(
                    f"{what} reach their limit of {row['limit_j_m2']:g} J/m² after {_span(row['time_s'])} at most"
                )
            elif row["time_s"] >= 8 * 3600:
                words.append(f"{what} do not reach their limit of {row['limit_j_m2']:g} J/m² within 8 hours")
            else:
                span = _span(row["time_s"])
                how = "after as little as" if row["counted"] == "worst case" else "after"
                words.append(f"{what} reach their limit of {row['limit_j_m2']:g} J/m² {how} {span}")
        text = (
            f"For people here, all lamps burning and looking in: {'; '.join(words)} (ICNIRP 2004; the weighting is an "
        )
        text += (
            "approximation). These are limits for healthy people, not for reptiles: shield the lamps, wear UV glasses, "
        )
        text += "do not look in."
        dark = self.by_lamp.index[self.by_lamp["uva_w_m2"].isna()]
        if len(dark):
            text += f" The UV-A of {', '.join(dark)} is not known."
        if self.unknown:
            text += (
                f" Not counted, because nothing tells its UV: {', '.join(self.unknown)}. Read it with a UV index meter."
            )
        return text


def _span(seconds):
    """A time in whole minutes or, when short, in seconds, rounded down."""
    return f"{seconds // 60:.0f} minutes" if seconds >= 120 else f"{seconds // 1:.0f} seconds"


def people_limits(lamps, place):
    """UV limits for people whose eyes are at a place and look into the lamps, all of them burning.

    Parameters
    ----------
    lamps : Lamp or list of Lamp
        Every lamp that burns there.
    place : (x_m, y_m, z_m)
        Metres.

    Returns
    -------
    PeopleLimits
        Of a lamp with a spectrum by that, and by its UV meter where it reads more; of a lamp with UV readings alone as
        if all its UV were the most harmful; of a lamp with neither nothing, and it is named.

    Examples
    --------
    >>> from fieldkit.captive.lamps import Beam, Lamp
    >>> lamp = Lamp(id="UV", beam=Beam(intensity=1.0), uv_beam=Beam(intensity=0.4), height_m=0.5)
    >>> people_limits(lamp, (0, 0, 0.1)).table["counted"].tolist()
    ['worst case', 'not known']
    """
    point = np.atleast_2d(np.asarray(place, dtype=float))
    rows = {}
    for lamp in [lamps] if hasattr(lamps, "beam") else lamps:
        power = float(lamp.irradiance_at(point, facing="lamp")[0])
        if not power > 0:
            continue
        read = float(lamp.uv_index_at(point, facing="lamp")[0]) if lamp.uv_beam is not None else np.nan
        row = {"weighted_w_m2": np.nan, "uva_w_m2": np.nan, "counted": "not known"}
        if lamp.tells_uv:
            light = lamp.spectrum * (power / spectra.integrate(lamp.spectrum, 300.0, 2800.0))
            told = spectra.uv_index(light)
            stronger = read / told if np.isfinite(read) and read > told > 0 else 1.0
            weighted, uva = spectra.human_uv_limits(light).table["irradiance_w_m2"] * stronger
            row = {"weighted_w_m2": weighted, "uva_w_m2": uva, "counted": "spectrum"}
        elif np.isfinite(read):
            row |= {"weighted_w_m2": MOST_HARMFUL * read / spectra.UV_INDEX_PER_W_M2, "counted": "worst case"}
        rows[lamp.id] = row
    columns = ["weighted_w_m2", "uva_w_m2", "counted"]
    by_lamp = pd.DataFrame.from_dict(rows, orient="index", columns=columns).rename_axis("lamp")
    table = {}
    for name, column, limit in (
        ("skin and eye, weighted", "weighted_w_m2", spectra.UV_HAZARD_LIMIT_J_M2),
        ("eye, UV-A 315-400 nm", "uva_w_m2", spectra.UVA_EYE_LIMIT_J_M2),
    ):
        known = by_lamp[column].dropna().astype(float)
        total = float(known.sum())
        counted = "not known" if not len(known) else "spectrum"
        if column == "weighted_w_m2" and (by_lamp["counted"] == "worst case").any():
            counted = "worst case"
        time = limit / total if total > 0 else np.inf
        # What lamps add of which nothing is known can only shorten the time.
        if counted == "spectrum" and len(known) < len(by_lamp):
            counted = "in part" if time < 8 * 3600 else "not known"
        known_time = np.nan if counted == "not known" else time
        table[name] = {"irradiance_w_m2": total, "limit_j_m2": limit, "time_s": known_time, "counted": counted}
    unknown = tuple(by_lamp.index[by_lamp["counted"] == "not known"])
    return PeopleLimits(
        table=pd.DataFrame.from_dict(table, orient="index").rename_axis("limit"), by_lamp=by_lamp, unknown=unknown
    )
