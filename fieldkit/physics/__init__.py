"""Numbers in, the same kind of numbers out: sun, spectrum, heat, sensors. No files, no plots, no species."""

import importlib

_ROOMS = ("agreement", "air", "atmosphere", "convection", "ground", "heat", "sensors", "spectrum", "sun", "warming")


def __getattr__(name):
    if name in _ROOMS:
        return importlib.import_module(f"{__name__}.{name}")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
