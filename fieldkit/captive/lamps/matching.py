"""Lamps beside the sun that animals chose: strength, bands and UV."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.captive import lamps as room
from fieldkit.captive.lamps.people import PeopleLimits, people_limits
from fieldkit.core import FieldkitError, Result, method
from fieldkit.physics import spectrum as spectra

# A band with less than this share of the sun's is called missing.
MISSING_BELOW = 0.05


def wanted_range(wanted_w_m2):
    """Low, typical and high irradiance that is wanted, W/m².

    Parameters
    ----------
    wanted_w_m2 : ChosenSunlight, (low, high) or (low, typical, high)
        From `sunlight.chosen` the middle 80 % of the places that animals took, and their median.

    Returns
    -------
    tuple of three floats

    Examples
    --------
    >>> wanted_range((300, 700))
    (300.0, 500.0, 700.0)
    """
    if hasattr(wanted_w_m2, "table"):
        row = wanted_w_m2.table.loc["all"]
        wanted_w_m2 = (row["p10"], row["median"], row["p90"])
    values = [float(v) for v in wanted_w_m2]
    if len(values) == 2:
        values = [values[0], sum(values) / 2, values[1]]
    if len(values) != 3 or not 0 <= values[0] <= values[1] <= values[2] or not values[2] > 0:
        raise FieldkitError(
            f"The wanted irradiance {tuple(wanted_w_m2)} is not a range: give (low, high) or (low, typical, high)."
        )
    return tuple(values)


def judge(low, high, wanted_low, wanted_high):
    """Where an interval lies beside a wanted range.

    Returns
    -------
    str
        "within", "short", "over", "unsure" (limits reach over an edge of the range) or "not known".

    Examples
    --------
    >>> [judge(*pair, 300, 700) for pair in ((400, 500), (100, 200), (650, 750))]
    ['within', 'short', 'unsure']
    """
    if not np.isfinite([low, high]).all():
        return "not known"
    if high < wanted_low:
        return "short"
    if low > wanted_high:
        return "over"
    return "within" if low >= wanted_low and high <= wanted_high else "unsure"


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class LampMatch(Result):
    """Lamps at one place beside sunlight.

    Attributes
    ----------
    table : DataFrame
        One row per band: ``low_nm, high_nm, lamp_w_m2, lamp_low, lamp_high`` (limits), ``sun_w_m2`` (in the typical
        wanted irradiance), ``ratio`` (lamp over sun), ``ratio_low, ratio_high``, ``covered_pct`` and ``verdict``:
        missing, short, within, over, unsure, not known, partly measured or not measured. Where the spectrum of a lamp
        is not whole, its value is withheld (NaN) and only ``lamp_high`` stands: the most it can be.
    irradiance, uv_index : tuple of three floats
        Value and limits at the place; NaN when UV is not known.
    wanted_w_m2 : tuple of three floats
        Low, typical, high.
    uv_wanted : tuple of two floats or None
    irradiance_verdict, uv_verdict : str
        As `judge`; uv_verdict is "not asked" without `uv_wanted`.
    spectral : SpectralMatch or None
        Shares and mismatch at equal power; None where a spectrum is not whole.
    people : PeopleLimits
        UV limits for people who look from this place into these lamps and all others that burn.
    missing, not_measured, upper_limits : list of str
        Bands; bands; lamps whose spectrum was not measured over the range of the meter, so that bands, mismatch and
        heating ratio are withheld.
    uv_disagreement : float
        UV index by the meter over that by the spectra; NaN when one is not known.
    shares : Series
        Each lamp's share of the irradiance, percent.
    place : tuple
    level : float
    """

    table: pd.DataFrame
    irradiance: tuple
    uv_index: tuple
    wanted_w_m2: tuple
    uv_wanted: tuple | None
    irradiance_verdict: str
    uv_verdict: str
    spectral: object
    people: PeopleLimits
    missing: list
    not_measured: list
    upper_limits: list
    uv_disagreement: float
    shares: pd.Series
    place: tuple
    level: float

    @property
    def sentence(self):
        value, low, high = self.irradiance
        verdicts = {
            "within": "within",
            "short": "weaker than",
            "over": "stronger than",
            "unsure": "not surely within",
            "not known": "not known to be within",
        }
        words = (
            f"{value:.0f} W/m² ({100 * self.level:g} % limits {low:.0f} to {high:.0f}), "
            f"{verdicts[self.irradiance_verdict]} {self.wanted_w_m2[0]:.0f} to {self.wanted_w_m2[2]:.0f} W/m² wanted."
        )
        value, low, high = self.uv_index
        if np.isnan(value):
            words += " Its UV is not known, so nothing that it should give is met: read it with a UV index meter."
        else:
            words += f" UV index {value:.2g} ({low:.2g} to {high:.2g})"
            words += (
                "." if self.uv_wanted is None else f", {verdicts[self.uv_verdict]} {span_words(self.uv_wanted)} wanted."
            )
        if self.spectral is not None:
            words += f" {self.spectral.misplaced_pct:.0f} % of the power lies at other wavelengths than the sun's."
        if self.missing:
            words += f" Missing: {', '.join(self.missing)}."
        if self.not_measured:
            words += f" Not measured: {', '.join(self.not_measured)}."
        partly = self.table.index[self.table["verdict"] == "partly measured"]
        if len(partly):
            words += f" Measured in part only: {', '.join(partly)}."
        if not 0.5 <= self.uv_disagreement <= 2 and np.isfinite(self.uv_disagreement):
            words += (
                f" The UV meter reads {self.uv_disagreement:.2g} times what the spectrum says: that spectrum is not "
                "this lamp's, so believe the meter and not the UV bands."
            )
        if self.upper_limits:
            words += (
                f" Withheld: bands, colours and heating ratio, because the spectrum of {', '.join(self.upper_limits)} "
            )
            words += "was not measured up to 2500 nm: what lies beyond is not nothing but unknown."
        return words


def span_words(pair):
    """Two limits in words."""
    return f"{pair[0]:g} to {pair[1]:g}"


@method
def match(
    lamps,
    place,
    *,
    wanted_w_m2,
    uv_wanted=None,
    others=(),
    sunlight=None,
    absorptivity=1.0,
    bands=None,
    facing="level",
    level=0.95,
):
    """Set the light of lamps at one place beside sunlight.

    Parameters
    ----------
    lamps : Lamp or list of Lamp
        Each with a spectrum.
    place : (x_m, y_m, z_m)
        Where the animal's back is.
    wanted_w_m2 : ChosenSunlight, (low, high) or (low, typical, high)
        Irradiance on the level, W/m².
    uv_wanted : (low, high), optional
        UV index.
    others : list of Lamp
        Lamps that burn too and are not compared: they count in the limits for people.
    sunlight : Series, optional
        Its spectrum, see `spectrum.reference_sunlight` (None) and `spectrum.clear_sky_spectrum`.
    absorptivity : float or Series
        Of the animal's skin, for the heating ratio.
    bands : dict of str to (low_nm, high_nm), optional
        None: `spectrum.BANDS`.
    facing : {"level", "lamp"}
        What receives the light.
    level : float
        Confidence level.

    Returns
    -------
    LampMatch

    Raises
    ------
    FieldkitError
        When a lamp has no spectrum, or no light reaches the place.

    Notes
    -----
    Each spectrum is scaled so that its power within the range of a thermopile meter (300 to 2800 nm) is the lamp's
    irradiance. Where a spectrum covers only a part of that range, the rest is not nothing but unknown: its bands are
    upper limits, which can make a band short or missing but never within or over. Limits are those of the beam; the
    error of the spectrum itself is not in them.

    Examples
    --------
    >>> lamp = room.Lamp(id="heat", beam=room.Beam(intensity=60.0), spectrum=spectra.blackbody(2700.0), height_m=0.4)
    >>> found = match(lamp, (0, 0, 0.05), wanted_w_m2=(400, 700))
    >>> found.missing, found.table["ratio"].round(2).tolist()
    (['UV-A'], [nan, nan, 0.17, 1.16, 4.36])
    """
    wanted = wanted_range(wanted_w_m2)
    uv_wanted = None if uv_wanted is None else tuple(float(v) for v in uv_wanted)
    bands = spectra.BANDS if bands is None else bands
    sunlight = spectra.reference_sunlight() if sunlight is None else sunlight
    lamps = [lamps] if isinstance(lamps, room.Lamp) else list(lamps)
    for lamp in lamps:
        if lamp.spectrum is None:
            raise FieldkitError(
                f"Lamp '{lamp.id}' has no spectrum: measure it, or state a filament or an illuminant that is like it."
            )
    options = {"facing": facing, "level": level}
    total = room.field(lamps, [place], **options).table.iloc[0]
    if not total["total"] > 0:
        raise FieldkitError(f"None of the lamps lights the place {tuple(place)}.")
    uv = room.field(lamps, [place], quantity="uv_index", **options).table.iloc[0]

    table, shares = _bands(lamps, place, sunlight, bands, options, wanted)
    whole = _mixed(lamps, {lamp.id: total[lamp.id] for lamp in lamps})
    partly = [lamp.id for lamp in lamps if not _whole(lamp.spectrum) and total[lamp.id] > 0]
    against = {"sunlight": sunlight, "absorptivity": absorptivity, "bands": bands}
    spectral = None if partly else spectra.compare_with_sunlight(whole, **against)
    return LampMatch(
        table=table,
        irradiance=tuple(total[["total", "low", "high"]].astype(float)),
        uv_index=tuple(uv[["total", "low", "high"]].astype(float)),
        wanted_w_m2=wanted,
        uv_wanted=uv_wanted,
        irradiance_verdict=judge(total["low"], total["high"], wanted[0], wanted[2]),
        uv_verdict="not asked" if uv_wanted is None else judge(uv["low"], uv["high"], *uv_wanted),
        spectral=spectral,
        people=people_limits([*lamps, *others], place),
        missing=list(table.index[table["verdict"] == "missing"]),
        not_measured=list(table.index[table["verdict"] == "not measured"]),
        upper_limits=partly,
        uv_disagreement=_disagreement(lamps, place, facing, uv["total"]),
        shares=shares,
        place=tuple(float(v) for v in place),
        level=level,
    )


def _whole(spectrum):
    """Whether a spectrum covers what the meter takes in (the last thousandths of it do not matter)."""
    return spectrum.index[0] <= 400 and spectrum.index[-1] >= 2500


def _per_w_m2(spectrum):
    """A spectrum whose power in the range of the meter is 1 W/m²."""
    power = spectra.integrate(spectrum, *room.METER_RANGE_NM)
    if not power > 0:
        raise FieldkitError(f"The spectrum '{spectrum.name}' holds no power between 300 and 2800 nm.")
    return spectrum / power


def _bands(lamps, place, sunlight, bands, options, wanted):
    """Band by band, lamp and sun in W/m², and the lamps' shares."""
    point = np.atleast_2d(place)
    covered, parts, shares, known = np.full(len(bands), 100.0), [], {}, []
    ultraviolet = np.array([low < 400 for low, _ in bands.values()])
    for lamp in lamps:
        value, error, beam = lamp.field_and_error(point, options["facing"], "irradiance_w_m2")
        part = spectra.band_shares(_per_w_m2(lamp.spectrum), bands=bands).table
        parts.append((value[0] * part["irradiance_w_m2"].fillna(0.0).to_numpy(), error[0], beam))
        # Glass that nobody stated can take any of the ultraviolet away, and what was not measured may hold anything.
        dark = not value[0] > 0
        known.append(dark | (_whole(lamp.spectrum) & (lamp.tells_uv | ~ultraviolet)))
        if value[0] > 0:
            covered = np.minimum(covered, part["covered_pct"])
        shares[lamp.id] = value[0]
    power, low, high = room.add(parts, options["level"])
    # Of what is not known of a lamp a band holds anything between nothing and its upper limit.
    known = np.array(known)
    sure = [(np.where(mine, value, 0.0), error, beam) for (value, error, beam), mine in zip(parts, known)]
    low = room.add(sure, options["level"])[1]
    known = known.all(axis=0)
    power = np.where(known, power, np.nan)
    sky = spectra.band_shares(_per_w_m2(sunlight), bands=bands).table
    per_sun = sky["irradiance_w_m2"].to_numpy()
    table = sky[["low_nm", "high_nm"]].copy()
    table["lamp_w_m2"], table["lamp_low"], table["lamp_high"] = power, low, high
    table["sun_w_m2"] = per_sun * wanted[1]
    for column, source in (("ratio", "lamp_w_m2"), ("ratio_low", "lamp_low"), ("ratio_high", "lamp_high")):
        table[column] = table[source] / table["sun_w_m2"].where(table["sun_w_m2"] > 0)
    table["covered_pct"] = np.asarray(covered)
    verdicts = []
    for row, sun, mine in zip(table.itertuples(), per_sun, known):
        if row.covered_pct == 0 or np.isnan(sun):
            verdicts.append("not measured")
        elif row.covered_pct < 99.9:
            verdicts.append("partly measured")
        elif row.lamp_high < MISSING_BELOW * row.sun_w_m2:
            verdicts.append("missing")
        else:
            found = judge(row.lamp_low, row.lamp_high, sun * wanted[0], sun * wanted[2])
            verdicts.append("not known" if found == "unsure" and not mine else found)
    unknown = table["covered_pct"] == 0
    table.loc[unknown, table.columns.difference(["low_nm", "high_nm", "sun_w_m2", "covered_pct"])] = np.nan
    table["verdict"] = verdicts
    shares = pd.Series(shares, name="share_pct")
    return table, 100 * shares / shares.sum()


def _mixed(lamps, irradiance):
    """Spectrum of the lamps together, over the range in which each was measured, W/m²/nm."""
    burning = [lamp for lamp in lamps if irradiance[lamp.id] > 0]
    low = max(lamp.spectrum.index[0] for lamp in burning)
    high = min(lamp.spectrum.index[-1] for lamp in burning)
    if not low < high:
        raise FieldkitError("The spectra of the lamps share no range of wavelengths, so they cannot be added.")
    grid = np.unique(np.concatenate([lamp.spectrum.index.to_numpy(dtype=float) for lamp in burning]))
    grid = grid[(grid >= low) & (grid <= high)]
    total = np.zeros(len(grid))
    for lamp in burning:
        scaled = _per_w_m2(lamp.spectrum)
        total += irradiance[lamp.id] * np.interp(grid, scaled.index, scaled)
    name = burning[0].id if len(burning) == 1 else "the lamps together"
    return pd.Series(total, index=pd.Index(grid, name="wavelength_nm"), name=name)


def _disagreement(lamps, place, facing, read):
    computed = sum(float(lamp.irradiance_at(place, facing=facing)[0]) * lamp.uv_index_per_w_m2() for lamp in lamps)
    return float(read / computed) if computed > 0 else np.nan
