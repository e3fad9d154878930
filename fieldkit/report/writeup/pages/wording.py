"""Words for readers: what a column of the kit is called on paper, with its unit, and what a term means."""

import re

from fieldkit.records.schema.tables import TABLES

# Endings of names, longest first, and the unit they stand for.
_ENDINGS = {
    "_c_per_h": "°C/h",
    "_w_m2": "W/m²",
    "_m_s": "m/s",
    "_percent": "%",
    "_pct": "%",
    "_hpa": "hPa",
    "_min": "min",
    "_deg": "°",
    "_mm": "mm",
    "_nm": "nm",
    "_c": "°C",
    "_h": "h",
    "_k": "K",
    "_m": "m",
    "_g": "g",
}
# Names that the rule below would spell badly.
NAMES = {
    "aicc": "AICc",
    "delta_aicc": "ΔAICc",
    "count": "number",
    "family_p": "p over all candidates",
    "irradiance_w_m2": "radiation (W/m²)",
    "logger_id": "logger",
    "log_likelihood": "log likelihood",
    "lr": "likelihood ratio",
    "lr_df": "degrees of freedom",
    "lr_p": "p of the ratio",
    "n": "number",
    "naive": "as read",
    "operative_c": "operative temperature (°C)",
    "p10": "lowest tenth ends at",
    "p90": "highest tenth begins at",
    "sightings_per_h": "sightings per hour",
    "watched_p10": "watched, lowest tenth ends at",
    "watched_p90": "watched, highest tenth begins at",
    "permutation_p": "p by permutation",
    "place_id": "place",
    "probe_in_place_c": "bare probe in place (°C)",
    "half_angle_deg": "half angle (°)",
    "near_m": "start of the light behind the front (m)",
    "set_id": "choice set",
    "share_absorptivity": "absorptivity of the probe",
    "share_diffuse": "share of sky light",
    "share_shaded": "shaded thermometer",
    "share_stirring": "formulas of moving air",
    "share_sunlit": "sunlit thermometer",
    "share_wind": "wind speed",
    "shade_air_c": "shade air (°C)",
    "station_id": "station",
    "surface_c": "surface (°C)",
    "tmax_c": "highest air of the day (°C)",
    "tmin_c": "lowest air of the day (°C)",
    "true_sd": "true standard deviation",
    "typical_max_c": "typical high of the day (°C)",
    "typical_min_c": "typical low of the day (°C)",
    "uv_index": "UV index",
    "uvb": "UV-B",
    "vif": "VIF",
    "within_set_sd": "standard deviation within sets",
    "wind_m_s": "wind (m/s)",
}
_PARTS = {"uv": "UV", "rmse": "RMSE", "sd": "standard deviation", "id": "", "n": "number of"}

TERMS = {
    "AICc": "a number that ranks models: lower is better, and a model pays for each coefficient it needs",
    "available place": "a place the animal could have taken, read within minutes of the one it took",
    "choice set": "one place that an animal took and the places it could have taken, read within minutes of each other",
    "contamination": "how much too warm a thermometer reads because the sun reaches it",
    "driver": "what a choice is tested on: shade air, surface temperature or radiation",
    "effectiveness": "how far behaviour closes the gap between what places offer and what the animal prefers: 0 not at "
    "all, 1 wholly",
    "interval": "the span that would hold the true value in the stated share of seasons, if one could repeat them",
    "irradiance": "power of the radiation that falls on a level square metre, in W/m²",
    "look": "one scan of one animal at a time fixed beforehand",
    "median": "the middle value: half of the readings lie below it",
    "odds": "chance of a thing over the chance of its absence: a chance of 3 in 4 has odds of 3",
    "operative temperature": "the temperature a body would settle at in a place: air, surfaces, radiation and wind in "
    "one number",
    "p": "chance of a pattern at least as strong if nothing were behind it",
    "preferred range": "body temperatures that animals choose where nothing but warmth differs",
    "RMSE": "typical size of an error: the root of the mean squared difference",
    "shade air": "air temperature, read by a thermometer that neither sun nor warm surfaces reach",
    "sighting": "an animal, or a group, seen incidentally",
    "standard deviation": "typical distance of single values from their mean",
    "standard error": "typical error of an estimate, from one season to another like it",
    "switch point": "the shade air at which animals turn from seeking sun to seeking shade",
    "thermal quality": "mean distance of operative temperatures from the preferred range: small where the place makes "
    "it easy",
    "used place": "the place that the animal took",
    "UV index": "strength of the sun's burning ultraviolet; 8 and more counts as very high for people",
    "within-set standard deviation": "typical difference between the places of one choice set",
}


def label(name):
    """What a column is called in a table for readers: words, with the unit in brackets.

    Parameters
    ----------
    name : str
        Name of a column; anything that is no name in lower case with underscores comes back as it is.

    Returns
    -------
    str

    Examples
    --------
    >>> label("contamination_c"), label("longest_gap_h"), label("lr_df"), label("odds ratio")
    ('contamination (°C)', 'longest gap (h)', 'degrees of freedom', 'odds ratio')
    """
    if name in NAMES:
        return NAMES[name]
    if not re.fullmatch(r"[a-z][a-z0-9]*(_[a-z0-9]+)+", name):
        return name
    unit = next((ending for ending in _ENDINGS if name.endswith(ending)), "")
    stem = name.removesuffix(unit)
    words = " ".join(word for part in stem.split("_") if (word := _PARTS.get(part, part)))
    return f"{words} ({_ENDINGS[unit]})" if unit else words


def plain(text):
    """A sentence for readers: names of columns in words, and what was left out stands in the appendix.

    Parameters
    ----------
    text : str
        A sentence of a result.

    Returns
    -------
    str

    Examples
    --------
    >>> plain("surface_c is missing (see left_out)")
    'surface is missing (see the appendix)'
    """
    text = text.replace("(see left_out)", "(see the appendix)")
    text = re.sub(r"(?<![\w.–−-])-(?=\d)", "−", text)
    return re.sub(r"\b[a-z][a-z0-9]*(_[a-z0-9]+)+\b", lambda found: _bare(found[0]), text)


def _bare(name):
    """Name of a known column in words, without its unit; the name of anything else as it is."""
    known = name in NAMES or any(name in table.columns for table in TABLES.values())
    return re.sub(r" \([^()]*\)$", "", label(name)) if known else name


def terms_in(text):
    """Terms that a text uses, each with what it means.

    Parameters
    ----------
    text : str
        Words of a page.

    Returns
    -------
    list of (str, str)

    Examples
    --------
    >>> [term for term, _ in terms_in("The median shade air was 21 °C.")]
    ['median', 'shade air']
    """
    return [(term, means) for term, means in TERMS.items() if re.search(rf"\b{re.escape(term)}s?\b", text)]
