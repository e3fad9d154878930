"""From field to enclosure: targets, lamps, enclosure, audit."""

import importlib

_ROOMS = (
    "targets",
    "lamps",
    "lamp_spectra",
    "lamp_folder",
    "lamp_coverage",
    "lamp_match",
    "lamp_overview",
    "lamp_people",
    "lamp_height",
    "lamp_plan",
    "enclosure",
    "audit",
    "demo",
)


def __getattr__(name):
    if name in _ROOMS:
        return importlib.import_module(f"{__name__}.{name}")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
