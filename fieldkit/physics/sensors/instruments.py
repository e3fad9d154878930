"""Thermometers as objects in the heat balance: what each reads in sun and shade."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from fieldkit.core import FieldkitError, Result
from fieldkit.physics import heat
from fieldkit.physics.heat.surroundings import surroundings_of
from fieldkit.physics.sensors.errors import carry_errors


@dataclass(frozen=True, kw_only=True)
class Instrument:
    """A thermometer as an object in the heat balance, with what stands around it.

    Parameters
    ----------
    body : heat.Body
        The part that senses: size, absorptivity, emissivity.
    beam_share, sky_share : float
        Shares (0 to 1) of the beam, and of the light from sky and ground, that reach it through its shield.
    wind_share : float
        Share (0 to 1) of the wind outside that blows inside the shield.

    Raises
    ------
    FieldkitError
        A share outside 0 to 1.

    Examples
    --------
    >>> white = heat.probe(diameter_m=0.005, length_m=0.03, shortwave_absorptivity=0.3, emissivity=0.9)
    >>> Instrument(body=white, beam_share=0.0).wind_share
    1.0
    """

    body: heat.Body
    beam_share: float = 1.0
    sky_share: float = 1.0
    wind_share: float = 1.0

    def __post_init__(self):
        for name in ("beam_share", "sky_share", "wind_share"):
            if not 0 <= getattr(self, name) <= 1:
                raise FieldkitError(f"{name} is {getattr(self, name)}: it is a share and must lie between 0 and 1.")


def _bare(diameter_m, length_m, absorptivity, emissivity):
    return Instrument(
        body=heat.probe(
            diameter_m=diameter_m, length_m=length_m, shortwave_absorptivity=absorptivity, emissivity=emissivity
        )
    )


# Sizes and surfaces of usual instruments: common practice, no source. State your own for your own instruments.
INSTRUMENTS = {
    "shielded probe": Instrument(
        body=heat.probe(diameter_m=0.005, length_m=0.03, shortwave_absorptivity=0.4, emissivity=0.5),
        beam_share=0.0,
        sky_share=0.1,
        wind_share=0.5,
    ),
    "bare steel probe": _bare(0.005, 0.03, 0.4, 0.2),
    "bare white probe": _bare(0.005, 0.03, 0.3, 0.9),
    "bare black probe": _bare(0.005, 0.03, 0.95, 0.95),
    "logger box": _bare(0.035, 0.05, 0.6, 0.9),
    "dial thermometer": Instrument(
        body=heat.Body(
            characteristic_dimension_m=0.07,
            shape="plate",
            shortwave_absorptivity=0.6,
            emissivity=0.9,
            silhouette_fraction=0.35,
        )
    ),
    "black globe": Instrument(body=heat.globe(diameter_m=0.15)),
    "copper model": Instrument(body=heat.copper_model(length_m=0.07, diameter_m=0.015, shortwave_absorptivity=0.87)),
}


def instrument_reading(surroundings=None, *, instrument, **keywords):
    """What an instrument reads once it has come to rest: its own temperature in the heat balance.

    Parameters
    ----------
    surroundings : heat.Surroundings, optional
        Air, wind and radiation at the instrument. In shade: no beam.
    instrument : Instrument
        One of ``INSTRUMENTS`` or your own.
    **keywords
        Fields of `heat.Surroundings`, in place of the object or to replace some of it.

    Returns
    -------
    same kind as the input
        Reading (°C).

    Raises
    ------
    FieldkitError
        When it is no Instrument, or an input is out of any physical range.

    Notes
    -----
    The heat balance of `heat.energy_balance` (Bakken 1976) with the instrument as its body.

    Examples
    --------
    >>> sun = {"air_temperature_c": 25.0, "wind_speed_m_s": 0.5, "dni_w_m2": 800.0, "dhi_w_m2": 100.0}
    >>> names = "shielded probe", "black globe"
    >>> [round(instrument_reading(instrument=INSTRUMENTS[name], **sun), 1) for name in names]
    [25.1, 42.5]
    """
    if not isinstance(instrument, Instrument):
        raise FieldkitError(
            f"instrument is {instrument!r}: give an Instrument of your own, or one of INSTRUMENTS by its name, for "
            "instance INSTRUMENTS['black globe']."
        )
    around = surroundings_of(surroundings, keywords)
    shares = {
        "wind_speed_m_s": instrument.wind_share,
        "dni_w_m2": instrument.beam_share,
        "dhi_w_m2": instrument.sky_share,
        "ground_upwelling_w_m2": instrument.sky_share,
    }
    at_it = {name: getattr(around, name) for name in shares}
    at_it = {
        name: (np.asarray(value) if isinstance(value, list | tuple) else value) * shares[name]
        for name, value in at_it.items()
    }
    return heat.operative_temperature(around, body=instrument.body, **at_it)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class InstrumentComparison(Result):
    """What each instrument reads in the sun and in the shade of the same air.

    Attributes
    ----------
    table : DataFrame
        One row per instrument: ``instrument, in_sun_c, in_shade_c, difference_c, difference_error_c, above_air_c``.
    air_temperature_c : float
    sentence : str
    error_sources : tuple of str
        What ``difference_error_c`` comes from: of wind, paint and convection those whose error is not 0.

    Examples
    --------
    >>> from fieldkit.physics import sensors
    >>> type(sensors.compare_instruments(air_temperature_c=25.0, wind_speed_m_s=1.0, dni_w_m2=850.0)).__name__
    'InstrumentComparison'
    """

    table: pd.DataFrame
    air_temperature_c: float
    sentence: str
    error_sources: tuple


def compare_instruments(
    instruments=None,
    surroundings=None,
    *,
    shade_light_share=0.3,
    wind_error_share=0.3,
    absorptivity_error=0.05,
    convection_error_share=0.15,
    **keywords,
):
    """Predict the sun-against-shade experiment: the same instruments, the same air, with and without the beam.

    Parameters
    ----------
    instruments : dict of str to Instrument, optional
        None: ``INSTRUMENTS``.
    surroundings : heat.Surroundings, optional
        Weather at the instruments in the sun, numbers only.
    shade_light_share : float
        Share of sky and ground light that is left in the shade (common practice, no source: 0.1 under dense leaves to
        0.6 behind a post).
    wind_error_share, absorptivity_error, convection_error_share : float
        Standard errors: of the wind (share of it), of the absorptivity (as such), and of convection (the correlations
        of the literature differ by some 15 %).
    **keywords
        Fields of `heat.Surroundings`, in place of the object or to replace some of it.

    Returns
    -------
    InstrumentComparison
        ``.table``: ``instrument, in_sun_c, in_shade_c, difference_c, difference_error_c, above_air_c``.

    Raises
    ------
    FieldkitError
        When an input is unknown or out of any physical range, or when there is no instrument.

    Examples
    --------
    >>> day = compare_instruments(air_temperature_c=25.0, wind_speed_m_s=1.0, dni_w_m2=850.0, dhi_w_m2=100.0)
    >>> bool(day.table.set_index("instrument").loc["black globe", "difference_c"] > 8)
    True
    """
    around = surroundings_of(surroundings, keywords)
    errors = {"wind": wind_error_share, "paint": absorptivity_error, "stirring": convection_error_share}
    rows = [
        _compared(name, instrument, around, shade_light_share, errors)
        for name, instrument in (INSTRUMENTS if instruments is None else instruments).items()
    ]
    if not rows:
        raise FieldkitError("There is no instrument to compare: give at least one.")
    table = pd.DataFrame(rows)
    low, high = table.loc[table["in_sun_c"].idxmin()], table.loc[table["in_sun_c"].idxmax()]
    air_c = float(around.air_temperature_c)
    spread = high["in_sun_c"] - low["in_sun_c"]
    sentence = f"In the same air at {air_c:.1f} °C, in the same sun, "
    if len(table) == 1:
        sentence += f"the {high['instrument']} shows {high['in_sun_c']:.1f} °C."
    elif spread < 0.05:
        sentence += f"all {len(table)} instruments show {high['in_sun_c']:.1f} °C."
    else:
        sentence += (
            f"the readings differ by {spread:.1f} °C: the {low['instrument']} shows {low['in_sun_c']:.1f} °C and the "
            f"{high['instrument']} {high['in_sun_c']:.1f} °C."
        )
    sources = (("wind", wind_error_share), ("paint", absorptivity_error), ("convection", convection_error_share))
    uncertain = tuple(name for name, error in sources if error > 0)
    return InstrumentComparison(table=table, air_temperature_c=air_c, sentence=sentence, error_sources=uncertain)


def _compared(name, instrument, around, shade_light_share, errors):
    """One row of the comparison: the instrument in the sun, in the shade, and how sure their difference is."""
    shade = {part: getattr(around, part) * shade_light_share for part in ("dhi_w_m2", "ground_upwelling_w_m2")}
    shaded = replace(around, **shade, dni_w_m2=0.0, sky_longwave_w_m2=None)

    def reading(place, wind, paint, stirring):
        # Light times a factor stands for another paint.
        light = {part: getattr(place, part) * paint for part in ("dni_w_m2", "dhi_w_m2", "ground_upwelling_w_m2")}
        stirred = {"wind_speed_m_s": wind, "turbulence_factor": stirring * around.turbulence_factor}
        return instrument_reading(place, instrument=instrument, **light, **stirred)

    def difference(wind, paint, stirring):
        return reading(around, wind, paint, stirring) - reading(shaded, wind, paint, stirring)

    wind = around.wind_speed_m_s
    carried = carry_errors(
        difference,
        values={"wind": wind, "paint": 1.0, "stirring": 1.0},
        errors={
            "wind": errors["wind"] * wind,
            "paint": errors["paint"] / max(instrument.body.shortwave_absorptivity, 1e-6),
            "stirring": errors["stirring"],
        },
    )
    in_sun = reading(around, wind, 1.0, 1.0)
    return {
        "instrument": name,
        "in_sun_c": in_sun,
        "in_shade_c": reading(shaded, wind, 1.0, 1.0),
        "difference_c": carried["value"].iloc[0],
        "difference_error_c": carried["error"].iloc[0],
        "above_air_c": in_sun - around.air_temperature_c,
    }
