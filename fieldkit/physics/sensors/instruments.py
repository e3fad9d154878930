"""Thermometers as objects in the heat balance: what each reads in sun and shade."""

from dataclasses import dataclass

import pandas as pd

from fieldkit.core import FieldkitError, Result, elementwise
from fieldkit.physics import heat
from fieldkit.physics.heat.air import STANDARD_PRESSURE_PA
from fieldkit.physics.sensors.errors import carry_errors

_TEMPERATURE = {"units": "degC"}


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


@elementwise({"reading_c": _TEMPERATURE | {"long_name": "reading of the instrument"}}, static=("instrument",))
def instrument_reading(
    *,
    instrument,
    air_temperature_c,
    wind_speed_m_s,
    dni_w_m2=0.0,
    dhi_w_m2=0.0,
    ground_upwelling_w_m2=0.0,
    sky_longwave_w_m2=None,
    ground_temperature_c=None,
    turbulence_factor=1.0,
    pressure_pa=STANDARD_PRESSURE_PA,
):
    """What an instrument reads once it has come to rest: its own temperature in the heat balance.

    Parameters
    ----------
    instrument : Instrument
        One of ``INSTRUMENTS`` or your own.
    air_temperature_c, wind_speed_m_s : scalar, array, Series or DataArray
        Air temperature (°C) and wind (m/s) at the instrument.
    dni_w_m2, dhi_w_m2, ground_upwelling_w_m2 : scalar, array, Series or DataArray
        Beam across its rays, light of the sky and of the ground (W/m²), as `fieldkit.physics.sun` gives them. In shade:
        no beam.
    sky_longwave_w_m2, ground_temperature_c, turbulence_factor, pressure_pa
        See `heat.energy_balance`.

    Returns
    -------
    same kind as the input
        Reading (°C).

    Raises
    ------
    FieldkitError
        When it is no Instrument, or an input is out of any physical range.

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
    return heat.operative_temperature(
        air_temperature_c=air_temperature_c,
        wind_speed_m_s=wind_speed_m_s * instrument.wind_share,
        body=instrument.body,
        dni_w_m2=dni_w_m2 * instrument.beam_share,
        dhi_w_m2=dhi_w_m2 * instrument.sky_share,
        ground_upwelling_w_m2=ground_upwelling_w_m2 * instrument.sky_share,
        sky_longwave_w_m2=sky_longwave_w_m2,
        ground_temperature_c=ground_temperature_c,
        turbulence_factor=turbulence_factor,
        pressure_pa=pressure_pa,
    )


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class InstrumentComparison(Result):
    """What each instrument reads in the sun and in the shade of the same air.

    Attributes
    ----------
    table : DataFrame
        One row per instrument: ``instrument, in_sun_c, in_shade_c, difference_c, difference_error_c, above_air_c``.
    air_temperature_c : float
    sentence : str
    """

    table: pd.DataFrame
    air_temperature_c: float
    sentence: str


def compare_instruments(
    instruments=None,
    *,
    air_temperature_c,
    wind_speed_m_s,
    dni_w_m2,
    dhi_w_m2,
    ground_upwelling_w_m2=0.0,
    sky_longwave_w_m2=None,
    pressure_pa=STANDARD_PRESSURE_PA,
    shade_light_share=0.3,
    wind_error_share=0.3,
    absorptivity_error=0.05,
    convection_error_share=0.15,
):
    """Predict the sun-against-shade experiment: the same instruments, the same air, with and without the beam.

    Parameters
    ----------
    instruments : dict of str to Instrument, optional
        None: ``INSTRUMENTS``.
    air_temperature_c, wind_speed_m_s, dni_w_m2, dhi_w_m2, ground_upwelling_w_m2, sky_longwave_w_m2, pressure_pa : float
        Weather at the instruments, see `instrument_reading`.
    shade_light_share : float
        Share of sky and ground light that is left in the shade (common practice, no source: 0.1 under dense leaves to
        0.6 behind a post).
    wind_error_share, absorptivity_error, convection_error_share : float
        Standard errors: of the wind (share of it), of the absorptivity (as such), and of convection (the correlations
        of the literature differ by some 15 %).

    Returns
    -------
    InstrumentComparison
        ``.table``: ``instrument, in_sun_c, in_shade_c, difference_c, difference_error_c, above_air_c``.

    Examples
    --------
    >>> day = compare_instruments(air_temperature_c=25.0, wind_speed_m_s=1.0, dni_w_m2=850.0, dhi_w_m2=100.0)
    >>> bool(day.table.set_index("instrument").loc["black globe", "difference_c"] > 8)
    True
    """
    instruments = INSTRUMENTS if instruments is None else instruments
    rows = []
    for name, instrument in instruments.items():
        lit = {"dni_w_m2": dni_w_m2, "dhi_w_m2": dhi_w_m2, "ground_upwelling_w_m2": ground_upwelling_w_m2}
        shade = {k: v * shade_light_share for k, v in lit.items()} | {"dni_w_m2": 0.0}

        def reading(wind, paint, stirring, light, sky, instrument=instrument):
            # Light times a factor stands for another paint.
            return instrument_reading(
                instrument=instrument,
                air_temperature_c=air_temperature_c,
                wind_speed_m_s=wind,
                **{k: v * paint for k, v in light.items()},
                sky_longwave_w_m2=sky,
                turbulence_factor=stirring,
                pressure_pa=pressure_pa,
            )

        def difference(wind, paint, stirring, reading=reading, lit=lit, shade=shade):
            bare = reading(wind, paint, stirring, lit, sky_longwave_w_m2)
            return bare - reading(wind, paint, stirring, shade, None)

        carried = carry_errors(
            difference,
            values={"wind": wind_speed_m_s, "paint": 1.0, "stirring": 1.0},
            errors={
                "wind": wind_error_share * wind_speed_m_s,
                "paint": absorptivity_error / max(instrument.body.shortwave_absorptivity, 1e-6),
                "stirring": convection_error_share,
            },
        )
        in_sun = reading(wind_speed_m_s, 1.0, 1.0, lit, sky_longwave_w_m2)
        rows.append(
            {
                "instrument": name,
                "in_sun_c": in_sun,
                "in_shade_c": reading(wind_speed_m_s, 1.0, 1.0, shade, None),
                "difference_c": carried["value"].iloc[0],
                "difference_error_c": carried["error"].iloc[0],
                "above_air_c": in_sun - air_temperature_c,
            }
        )
    if not rows:
        raise FieldkitError("There is no instrument to compare: give at least one.")
    table = pd.DataFrame(rows)
    low, high = table.loc[table["in_sun_c"].idxmin()], table.loc[table["in_sun_c"].idxmax()]
    spread = high["in_sun_c"] - low["in_sun_c"]
    sentence = f"In the same air at {air_temperature_c:.1f} °C, in the same sun, "
    if len(table) == 1:
        sentence += f"the {high['instrument']} shows {high['in_sun_c']:.1f} °C."
    elif spread < 0.05:
        sentence += f"all {len(table)} instruments show {high['in_sun_c']:.1f} °C."
    else:
        sentence += (
            f"the readings differ by {spread:.1f} °C: the {low['instrument']} shows {low['in_sun_c']:.1f} °C and the "
            f"{high['instrument']} {high['in_sun_c']:.1f} °C."
        )
    return InstrumentComparison(table=table, air_temperature_c=float(air_temperature_c), sentence=sentence)
