"""What the field asks of an enclosure: the only thing that crosses from field to captivity.

Every row says what to aim for, where, when, how well it is known and where it comes from. Builders turn one result of
the field into rows; `from_season` gathers what a season folder carries and says what it could not give.
"""

from fieldkit.captive.target_builders import (
    air,
    basking_air,
    ceilings,
    exposure,
    from_season,
    photoperiod,
    preferred,
    sun_levels,
    taken,
    uv_zone,
    warming,
)
from fieldkit.captive.target_file import from_text, load, template
from fieldkit.captive.target_table import (
    BASES,
    CAUTIONS,
    COLUMNS,
    CONTACT_CEILING_C,
    FULL_SHADE,
    FULL_SUN,
    PERIODS,
    REST_BELOW_C,
    UNITS,
    UV_CEILING,
    UV_ZONES,
    ZONES,
    Targets,
    make,
    resting,
    spoken,
    target_row,
)

__all__ = [
    "BASES",
    "CAUTIONS",
    "COLUMNS",
    "CONTACT_CEILING_C",
    "FULL_SHADE",
    "FULL_SUN",
    "PERIODS",
    "REST_BELOW_C",
    "UNITS",
    "UV_CEILING",
    "UV_ZONES",
    "ZONES",
    "Targets",
    "air",
    "basking_air",
    "ceilings",
    "exposure",
    "from_season",
    "from_text",
    "load",
    "make",
    "photoperiod",
    "preferred",
    "resting",
    "spoken",
    "sun_levels",
    "taken",
    "target_row",
    "template",
    "uv_zone",
    "warming",
]
