"""Lamps beside the sun that animals chose: strength, bands, UV, and whether the whole animal fits into the light."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldkit.captive import lamps as room
from fieldkit.core import FieldkitError, Result, generator
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
        missing, short, within, over, unsure,
        partly measured or not measured.
    irradiance, uv_index : tuple of three floats
        Value and limits at the place; NaN when UV is not known.
    wanted_w_m2 : tuple of three floats
        Low, typical, high.
    uv_wanted : tuple of two floats or None
    irradiance_verdict, uv_verdict : str
        As `judge`; uv_verdict is "not asked" without `uv_wanted`.
    spectral : SpectralMatch
        Shares and mismatch at equal power.
    people : HumanUvLimits or None
        UV limits for people who look at the lamps from this place; None when the spectra do not reach 300 nm.
    missing, not_measured, upper_limits : list of str
        Bands; bands; lamps whose spectrum was not measured over the range of the meter, so that their bands are the
        most they can be.
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
    people: object
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
        }
        words = (
            f"{value:.0f} W/m² ({100 * self.level:g} % limits {low:.0f} to {high:.0f}), "
            f"{verdicts[self.irradiance_verdict]} {self.wanted_w_m2[0]:.0f} to {self.wanted_w_m2[2]:.0f} W/m² wanted."
        )
        value, low, high = self.uv_index
        if np.isnan(value):
            words += " Its UV is not known: read it with a UV index meter."
        else:
            words += f" UV index {value:.2g} ({low:.2g} to {high:.2g})"
            words += "." if self.uv_wanted is None else f", {verdicts[self.uv_verdict]} {_to(self.uv_wanted)} wanted."
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
            words += f" Bands of {', '.join(self.upper_limits)} are the most they can be (spectrum not whole)."
        return words


def _to(pair):
    return f"{pair[0]:g} to {pair[1]:g}"


def match(
    lamps,
    place,
    *,
    wanted_w_m2,
    uv_wanted=None,
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
    upper limits. Limits are those of the beam; the error of the spectrum itself is not in them.

    Examples
    --------
    >>> lamp = room.Lamp(id="heat", beam=room.Beam(intensity=60.0), spectrum=spectra.blackbody(2700.0), height_m=0.4)
    >>> found = match(lamp, (0, 0, 0.05), wanted_w_m2=(400, 700))
    >>> found.missing, found.table["ratio"].round(2).tolist()
    (['UV-A'], [0.05, 0.02, 0.17, 1.16, 4.36])
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
    spectral = spectra.compare_with_sunlight(whole, sunlight=sunlight, absorptivity=absorptivity, bands=bands)
    return LampMatch(
        table=table,
        irradiance=tuple(total[["total", "low", "high"]].astype(float)),
        uv_index=tuple(uv[["total", "low", "high"]].astype(float)),
        wanted_w_m2=wanted,
        uv_wanted=uv_wanted,
        irradiance_verdict=judge(total["low"], total["high"], wanted[0], wanted[2]),
        uv_verdict="not asked" if uv_wanted is None else judge(uv["low"], uv["high"], *uv_wanted),
        spectral=spectral,
        people=_people(lamps, place),
        missing=list(table.index[table["verdict"] == "missing"]),
        not_measured=list(table.index[table["verdict"] == "not measured"]),
        upper_limits=[lamp.id for lamp in lamps if not _whole(lamp.spectrum)],
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
    covered, parts, shares = np.full(len(bands), 100.0), [], {}
    for lamp in lamps:
        value, error, beam = lamp.field_and_error(point, options["facing"], "irradiance_w_m2")
        part = spectra.band_shares(_per_w_m2(lamp.spectrum), bands=bands).table
        parts.append((value[0] * part["irradiance_w_m2"].fillna(0.0).to_numpy(), error[0], beam))
        if value[0] > 0:
            covered = np.minimum(covered, part["covered_pct"])
        shares[lamp.id] = value[0]
    power, low, high = room.add(parts, options["level"])
    sky = spectra.band_shares(_per_w_m2(sunlight), bands=bands).table
    per_sun = sky["irradiance_w_m2"].to_numpy()
    table = sky[["low_nm", "high_nm"]].copy()
    table["lamp_w_m2"], table["lamp_low"], table["lamp_high"] = power, low, high
    table["sun_w_m2"] = per_sun * wanted[1]
    for column, source in (("ratio", "lamp_w_m2"), ("ratio_low", "lamp_low"), ("ratio_high", "lamp_high")):
        table[column] = table[source] / table["sun_w_m2"].where(table["sun_w_m2"] > 0)
    table["covered_pct"] = np.asarray(covered)
    verdicts = []
    for row, sun in zip(table.itertuples(), per_sun):
        if row.covered_pct == 0 or np.isnan(sun):
            verdicts.append("not measured")
        elif row.covered_pct < 99.9:
            verdicts.append("partly measured")
        elif row.lamp_high < MISSING_BELOW * row.sun_w_m2:
            verdicts.append("missing")
        else:
            verdicts.append(judge(row.lamp_low, row.lamp_high, sun * wanted[0], sun * wanted[2]))
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


def _people(lamps, place):
    """UV limits for eyes at the place that look into the lamps; the stronger of spectrum and UV meter counts."""
    point = np.atleast_2d(place)
    facing = {lamp.id: float(lamp.irradiance_at(point, facing="lamp")[0]) for lamp in lamps}
    burning = [lamp for lamp in lamps if facing[lamp.id] > 0]
    if not burning or any(lamp.spectrum.index[0] > 300 or lamp.spectrum.index[-1] < 400 for lamp in burning):
        return None
    for lamp in burning:
        read = float(lamp.uv_index_at(point, facing="lamp")[0])
        computed = facing[lamp.id] * spectra.uv_index(_per_w_m2(lamp.spectrum))
        if np.isfinite(read) and read > computed > 0:
            facing[lamp.id] *= read / computed
    return spectra.human_uv_limits(_mixed(burning, facing))


# ---------------------------------------------------------------------------------------------------------------------
# Does the animal fit into the light?


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Coverage(Result):
    """How much of a basking area holds the wanted light, and whether a whole animal fits into it.

    Attributes
    ----------
    table : DataFrame
        One row per demand (irradiance, UV index, both): ``lit_m2`` with ``lit_low, lit_high``; ``width_m`` (the widest
        circle that fits) with ``width_low, width_high``; ``one_way_m2`` and ``every_way_m2``, where the middle of the
        body may lie so that all of it is lit when it lies the best way, and whichever way it lies; ``body_lit_pct``,
        the most of the body's length that can be lit at once, with limits.
    area : tuple
    z_m, body_length_m : float
    wanted_w_m2, uv_wanted : tuple
    x_m, y_m : ndarray
    irradiance, uv_index : ndarray (ny, nx)
    smaller_than_animal : bool
        The whole body does not fit into the light any way it lies.
    level : float
    seed : int
    """

    table: pd.DataFrame
    area: tuple
    z_m: float
    body_length_m: float
    wanted_w_m2: tuple
    uv_wanted: tuple | None
    x_m: np.ndarray
    y_m: np.ndarray
    irradiance: np.ndarray
    uv_index: np.ndarray
    level: float
    seed: int

    @property
    def smaller_than_animal(self):
        return bool(self.table["one_way_m2"].iloc[-1] == 0)

    @property
    def sentence(self):
        row = self.table.iloc[-1]
        what = f"{self.wanted_w_m2[0]:.0f} to {self.wanted_w_m2[2]:.0f} W/m²"
        if self.uv_wanted is not None:
            what += f" and UV index {_to(self.uv_wanted)}"
        if row["lit_m2"] == 0:
            return f"Nowhere on the area are there {what}."
        words = f"{1e4 * row['lit_m2']:.0f} cm² hold {what} (limits {1e4 * row['lit_low']:.0f} to "
        words += f"{1e4 * row['lit_high']:.0f}), {100 * row['width_m']:.0f} cm wide at the widest. "
        length = f"{100 * self.body_length_m:.0f} cm"
        if self.smaller_than_animal:
            return words + (
                f"The spot is smaller than the animal: at most {row['body_lit_pct']:.0f} % of its {length} are lit at "
                "once, so one part overheats while another stays cold."
            )
        if row["every_way_m2"] == 0:
            return words + f"A body of {length} fits in one way only, not whichever way it lies."
        return (
            words + f"A body of {length} is lit whole whichever way it lies, over {1e4 * row['every_way_m2']:.0f} cm²."
        )


def coverage(
    lamps,
    area,
    z_m,
    *,
    wanted_w_m2,
    body_length_m,
    uv_wanted=None,
    step_m=None,
    level=0.95,
    n_draws=100,
    rng=0,
):
    """Map the light of lamps over a basking area and see whether a whole animal fits in.

    Parameters
    ----------
    lamps : Lamp or list of Lamp
        All burning.
    area : (x_low, x_high, y_low, y_high)
        Where the animal can lie (m); no part of it may stick out.
    z_m : float
        Height of its back (m).
    wanted_w_m2 : ChosenSunlight, (low, high) or (low, typical, high)
        Irradiance on the level, W/m².
    body_length_m : float
        What has to be lit at once: snout to vent, or more.
    uv_wanted : (low, high), optional
        UV index on the level.
    step_m : float, optional
        Of the map; None: a fortieth of the body.
    level : float
        Confidence level.
    n_draws : int
        Beams drawn from each fit for the limits.
    rng : int
        Seed.

    Returns
    -------
    Coverage

    Raises
    ------
    FieldkitError
        When length or area is not positive, or UV is asked for and not known.

    Examples
    --------
    >>> lamp = room.Lamp(id="spot", beam=room.Beam(intensity=60.0, half_angle_deg=12.0), x_m=0.3, y_m=0.2, height_m=0.4)
    >>> print(coverage(lamp, (0, 0.6, 0, 0.4), 0.05, wanted_w_m2=(350, 700), body_length_m=0.16).sentence)
    77 cm² hold 350 to 700 W/m² (limits 77 to 77), 10 cm wide at the widest. The spot is smaller than the animal: at
    most 64 % of its 16 cm are lit at once, so one part overheats while another stays cold.
    """
    wanted = wanted_range(wanted_w_m2)
    lamps = [lamps] if isinstance(lamps, room.Lamp) else list(lamps)
    if not 0.01 <= body_length_m <= 5:
        raise FieldkitError(f"body_length_m is {body_length_m}: give the animal's length in metres.")
    step = body_length_m / 40 if step_m is None else step_m
    left, right, near, far = (float(v) for v in area)
    count = (right - left) * (far - near) / step**2
    if count > 250_000:
        raise FieldkitError(f"A map of {count:,.0f} points is too fine: give a larger step_m.")
    x, y, points = room.grid(area, z_m, step_m=step)
    cell = ((x[1] - x[0]), (y[1] - y[0]))
    lines = _lines(body_length_m, cell)

    def maps(some):
        light = sum(lamp.irradiance_at(points) for lamp in some).reshape(len(y), len(x))
        uv = sum(lamp.uv_index_at(points) for lamp in some).reshape(len(y), len(x))
        return light, uv

    def demands(light, uv):
        inside = {"irradiance": (light >= wanted[0]) & (light <= wanted[2])}
        if uv_wanted is not None:
            inside["UV index"] = (uv >= uv_wanted[0]) & (uv <= uv_wanted[1])
            inside["both"] = inside["irradiance"] & inside["UV index"]
        return inside

    light, uv = maps(lamps)
    if uv_wanted is not None and np.isnan(uv).any():
        raise FieldkitError("The UV of a lamp is not known: give it uv_beam from readings of a UV index meter.")
    rows = {name: _measure(mask, lines, cell) for name, mask in demands(light, uv).items()}
    generator_ = generator(rng)
    beams = [
        (lamp.beam.sample(n_draws, rng=generator_), lamp.uv_beam and lamp.uv_beam.sample(n_draws, rng=generator_))
        for lamp in lamps
    ]
    drawn = {name: [] for name in rows}
    for i in range(n_draws):
        some = [lamp.with_beams(b[i], u and u[i]) for lamp, (b, u) in zip(lamps, beams)]
        for name, mask in demands(*maps(some)).items():
            drawn[name].append(_measure(mask, lines[:1], cell, quick=True))
    table = pd.DataFrame(rows).T
    for name in table.index:
        limits = pd.DataFrame(drawn[name]).quantile([0.5 - level / 2, 0.5 + level / 2])
        for column in ("lit", "width"):
            full = {"lit": "lit_m2", "width": "width_m"}[column]
            table.loc[name, [f"{column}_low", f"{column}_high"]] = limits[full].to_numpy()
    order = ["lit_m2", "lit_low", "lit_high", "width_m", "width_low", "width_high"]
    return Coverage(
        table=table[[*order, "one_way_m2", "every_way_m2", "body_lit_pct"]].rename_axis("demand"),
        area=tuple(float(v) for v in area),
        z_m=float(z_m),
        body_length_m=float(body_length_m),
        wanted_w_m2=wanted,
        uv_wanted=uv_wanted,
        x_m=x,
        y_m=y,
        irradiance=light,
        uv_index=uv,
        level=level,
        seed=rng,
    )


def _lines(length, cell, count=24):
    """A body of no width as sets of cells, lying in `count` directions over half a turn."""
    half = length / 2
    found = []
    for angle in np.arange(count) * np.pi / count:
        reach = np.linspace(-half, half, 2 * int(np.ceil(length / min(cell))) + 1)
        across = np.rint(reach * np.cos(angle) / cell[0]).astype(int)
        along = np.rint(reach * np.sin(angle) / cell[1]).astype(int)
        shape = np.zeros((2 * np.abs(along).max() + 1, 2 * np.abs(across).max() + 1), dtype=bool)
        shape[along + shape.shape[0] // 2, across + shape.shape[1] // 2] = True
        found.append(shape)
    return found


def _measure(mask, lines, cell, *, quick=False):
    """Area, widest circle, and room for a body within a mask."""
    from scipy import ndimage, signal

    each = cell[0] * cell[1]
    padded = np.pad(mask, 1)
    # The edge lies between the last lit middle and the next dark one.
    far = ndimage.distance_transform_edt(padded, sampling=cell[::-1]).max()
    row = {"lit_m2": mask.sum() * each, "width_m": max(2 * far - 0.5 * max(cell), 0.0) if mask.any() else 0.0}
    if quick:
        return row
    fits = [ndimage.binary_erosion(mask, structure=line) for line in lines]
    row["one_way_m2"] = np.logical_or.reduce(fits).sum() * each
    row["every_way_m2"] = np.logical_and.reduce(fits).sum() * each
    lit = mask.astype(float)
    shares = [signal.fftconvolve(lit, line / line.sum(), mode="same").max() for line in lines]
    row["body_lit_pct"] = 100 * min(max(shares), 1.0)
    return row
