"""What of a season's results can be pooled: each quantity declared once, and the rows that results give."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

# Within-set correlation of shade air with radiation above which a thermometer is doubted: as choice.compare warns.
SUNLIT_AIR = 0.6
PICKED, SUNLIT = "places picked by the observer", "shade air follows radiation"


@dataclass(frozen=True, kw_only=True)
class Quantity:
    """A quantity that seasons publish: in words, its unit, its value if there were nothing, and what it can be."""

    words: str
    unit: str
    lowest: float
    highest: float
    null: float | None = None
    scale: str = "as it is"


def _degrees(words):
    return Quantity(words=words, unit="°C", lowest=-60.0, highest=80.0)


_SELECTION = {"air": "1 °C", "surface": "1 °C", "radiation": "100 W/m²"}
_COLUMNS = {"shade_air_c": "air", "surface_c": "surface", "irradiance_w_m2": "radiation"}
_BANDS = ("winter", "spring", "summer", "autumn", "wet season", "dry season")

QUANTITIES = {
    f"selection_{name}": Quantity(
        words=f"selection for {name}, drivers side by side",
        unit=f"log odds per {per}", lowest=-50.0, highest=50.0, null=0.0, scale="log odds",
    )
    for name, per in _SELECTION.items()
}  # fmt: skip
QUANTITIES |= {
    "switch_point": _degrees("shade air at which selection for radiation turns round"),
    "preferred_operative_temperature": _degrees("preferred operative temperature of places"),
    "basking_lower_limit": _degrees("lower limit of basking in shade air"),
    "basking_peak": _degrees("shade air in which most bask"),
    "basking_upper_limit": _degrees("upper limit of basking in shade air"),
    "preferred_range_low": _degrees("lower end of the preferred body temperatures"),
    "preferred_range_high": _degrees("upper end of the preferred body temperatures"),
    "accuracy": _degrees("accuracy: mean distance of body temperatures from the preferred range"),
    "thermal_quality": _degrees("thermal quality: mean distance of operative temperatures from the preferred range"),
    "thermoregulation_difference": _degrees("thermal quality less accuracy"),
    "effectiveness": Quantity(words="effectiveness of thermoregulation", unit="1", lowest=-20.0, highest=1.0),
    "sunlight_taken": Quantity(words="irradiance at used places, median", unit="W/m²", lowest=0.0, highest=2000.0),
}
for _name in _BANDS:
    QUANTITIES[f"{_name.replace(' ', '_')}_air_low"] = _degrees(f"seasonal air temperature, {_name}, low end")
    QUANTITIES[f"{_name.replace(' ', '_')}_air_high"] = _degrees(f"seasonal air temperature, {_name}, high end")


def rows(result):
    """What one published result gives to a pool.

    Parameters
    ----------
    result : Result
        Of any analysis; most give nothing.

    Returns
    -------
    list of dict
        ``quantity, estimate, standard_error, low, high, level, n_sets, n_animals, n_days, design, verdict, caution,
        seed``; what is not known is left out.

    Examples
    --------
    >>> from fieldkit.field import choice
    >>> from fieldkit.field.planning import simulate
    >>> season = simulate.choice_season(n_sets=60, effect=2.0, rng=1)
    >>> found = rows(choice.compare(season.choices, instrument_errors=simulate.INSTRUMENT_ERRORS, permutations=99))
    >>> [row["quantity"] for row in found]
    ['selection_air', 'selection_surface', 'selection_radiation']
    """
    own = type(result).__module__.startswith("fieldkit.field.")
    build = _BUILDERS.get(type(result).__name__) if own else None
    found = build(result) if build is not None else []
    shared = {"seed": getattr(result, "seed", None), "n_animals": getattr(result, "n_animals", None)}
    return [shared | {k: v for k, v in row.items() if v is not None} for row in found if np.isfinite(row["estimate"])]


def _limits(quantity, estimate, low, high, level, **more):
    """A row from limits; open ones leave the estimate without a standard error."""
    from fieldkit.field.stats.intervals import critical_value

    row = {"quantity": quantity, "estimate": float(estimate), "level": level} | more
    if np.isfinite([low, high]).all() and high > low:
        row |= {"low": float(low), "high": float(high)}
        row.setdefault("standard_error", float(high - low) / (2 * critical_value(level)))
    return row


def _choice(answer):
    design = answer.design.drawn if answer.design is not None else "not stated"
    cautions = [PICKED] if design == PICKED.removeprefix("places ") else []
    cautions += [SUNLIT] if sunlit(answer.choices) else []
    out = []
    for name, row in answer.corrected.iterrows():
        column = answer.contrast.loc[name, "column"]
        known = _COLUMNS.get(column)
        if known is None or not answer.contrast.loc[name, "testable"] or not np.isfinite(row["standard_error"]):
            continue
        per = (100.0 if known == "radiation" else 1.0) / answer.contrast.loc[name, "true_sd"]
        out.append(
            {
                "quantity": f"selection_{known}",
                "estimate": float(row["log_odds_per_sd"] * per),
                "standard_error": float(row["standard_error"] * per),
                "level": 0.9,
                "low": float(np.log(row["low"]) * per),
                "high": float(np.log(row["high"]) * per),
                "n_sets": answer.n_sets,
                "n_days": _days(answer.choices),
                "design": design,
                "verdict": answer.verdict,
                "caution": "; ".join(cautions),
            }
        )
    return out


def sunlit(choices):
    """Whether shade air follows radiation within choice sets, as it does by a thermometer in the sun."""
    needed = ["set_id", "shade_air_c", "irradiance_w_m2"]
    if not set(needed) <= set(choices):
        return False
    known = choices[needed].dropna()
    within = known[needed[1:]] - known.groupby("set_id")[needed[1:]].transform("mean")
    if len(within) < 10 or (within.std() == 0).any():
        return False
    return bool(within.corr().iloc[0, 1] > SUNLIT_AIR)


def _days(table):
    return int(table["time"].dt.date.nunique()) if "time" in table and hasattr(table["time"], "dt") else None


def _interval(quantity, interval, result):
    if interval is None:
        return []
    bounded = interval.kind == "bounded"
    low, high = (interval.low, interval.high) if bounded else (np.nan, np.nan)
    return [_limits(quantity, interval.estimate, low, high, interval.level, n_sets=result.n_sets)]


def _switch(result):
    # Only where the season saw it: a turn beyond what was read is a guess of the model.
    driver = result.settings["driver"] == "irradiance_w_m2" and result.settings["context"] == "shade_air_c"
    return _interval("switch_point", result.switch, result) if driver and result.reached else []


def _window(result):
    names = {"lower limit": "lower_limit", "peak": "peak", "upper limit": "upper_limit"}
    level = result.settings["level"]
    out = []
    for limit, name in names.items():
        if limit not in result.table.index:
            continue
        row = result.table.loc[limit]
        known = {"standard_error": float(row["standard_error_c"])} if row["standard_error_c"] > 0 else {}
        found = [row["estimate_c"], row["low_c"], row["high_c"]]
        out.append(_limits(f"basking_{name}", *found, level, n_days=result.n_days, **known))
    return out


def _indices(result):
    names = {"accuracy": "accuracy", "thermal quality": "thermal_quality", "effectiveness": "effectiveness"}
    names["difference"] = "thermoregulation_difference"
    level = result.settings["level"]
    return [
        _limits(names[name], row["estimate"], row["low"], row["high"], level, n_days=result.settings.get("days"))
        for name, row in result.table.iterrows()
        if name in names
    ]


def _range(result):
    names = {"lower end": "preferred_range_low", "upper end": "preferred_range_high"}
    return [
        _limits(names[end], row["estimate_c"], row["low_c"], row["high_c"], result.settings["level"])
        for end, row in result.table.iterrows()
        if end in names
    ]


def _sunlight(result):
    if result.quantity != "irradiance_w_m2":
        return []
    row = result.table.loc["all"]
    return [
        _limits("sunlight_taken", row["median"], row["low"], row["high"], result.level, n_animals=int(row["n_animals"]))
    ]


def _bands(result):
    out = []
    whole = result.table[result.table["station_id"] == "all stations"]
    for row in whole.itertuples(index=False):
        for end in ("low", "high"):
            name = f"{str(row.season).replace(' ', '_')}_air_{end}"
            if name in QUANTITIES:
                # Limits are for a further station; of the mean over stations there is the spread.
                error = getattr(row, f"spread_{end}_c") / np.sqrt(row.n_stations) if row.n_stations > 1 else np.nan
                known = {"standard_error": float(error)} if error > 0 else {}
                out.append(
                    {"quantity": name, "estimate": float(getattr(row, f"{end}_c")), "n_days": int(row.n_days)} | known
                )
    return out


_BUILDERS = {
    "Comparison": _choice,
    "SwitchPoint": _switch,
    "Preference": lambda r: _interval("preferred_operative_temperature", r.preferred, r),
    "Window": _window,
    "Indices": _indices,
    "PreferredRange": _range,
    "ChosenSunlight": _sunlight,
    "AirBands": _bands,
}


def of_season(season, *, permutations=999, seed=1):
    """Rows of all analyses that a season's records carry, made as the guided notebooks make them.

    Parameters
    ----------
    season : Season
        As read.
    permutations, seed : int
        As in the notebooks.

    Returns
    -------
    list of dict
        As `rows`.
    """
    from fieldkit.core import FieldkitError
    from fieldkit.field import basking, choice, climate, sunlight, thermoregulation

    site = {"latitude_deg": season.site.latitude_deg, "longitude_deg": season.site.longitude_deg}
    site["elevation_m"] = season.site.elevation_m
    errors, out = season.instrument_errors, []

    def indices():
        preferred = thermoregulation.range_of_season(season, rng=seed)
        return thermoregulation.of_season(season, preferred_range_c=preferred, hidden=["retreat"])

    for make in (
        lambda: choice.compare(
            season.choices, instrument_errors=errors, design=season.settings.get("choice_sets"),
            permutations=permutations, rng=seed,
        ),
        lambda: choice.switch_point(season.choices),
        lambda: choice.preferred_value(
            season.choices, column="operative_c", instrument_error=errors.get("operative_c", 0.0)
        ),
        lambda: basking.of_season(season, behaviours=["basking"]),
        lambda: sunlight.chosen(season.choices, **site, rng=seed),
        lambda: thermoregulation.range_of_season(season, rng=seed),
        indices,
        lambda: climate.air_bands(
            season.weather, stations=season.stations, target_elevation_m=season.site.elevation_m
        ),
    ):  # fmt: skip
        try:
            out += rows(make())
        except (FieldkitError, AttributeError, TypeError, KeyError) as error:
            # A table that the season does not have.
            if not isinstance(error, FieldkitError) and all(
                getattr(season, t) is not None for t in ("choices", "scans", "gradient", "weather", "loggers")
            ):
                raise
    return out


def about(season):
    """What is told of a season beside its estimates: nothing that leads to a record, a place or a person.

    Parameters
    ----------
    season : Season
        As read, of which the place is cut here.

    Returns
    -------
    dict
    """
    from fieldkit import __version__
    from fieldkit.records import places

    errors = "; ".join(f"{c} {e:g}" for c, e in sorted(season.instrument_errors.items()) if not pd.isna(e))
    return {
        "species": season.animal.species,
        "year": season.first_day.year,
        "site_latitude_deg": float(places.cut_off(season.site.latitude_deg)),
        "site_elevation_m": places.middle_height(season.site.elevation_m),
        "instrument_errors": errors,
        "invented": "yes" if season.invented else "no",
        "fieldkit_version": __version__,
    }
