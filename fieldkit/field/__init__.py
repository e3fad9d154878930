"""Statistics about wild animals: tables in, results out."""

import importlib

_ROOMS = (
    "uncertainty",
    "choice",
    "basking",
    "classroom",
    "climate",
    "grid",
    "thermoregulation",
    "planning",
    "sightings",
    "simulate",
    "sunlight",
    "demo",
)


def __getattr__(name):
    if name in _ROOMS:
        return importlib.import_module(f"{__name__}.{name}")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
