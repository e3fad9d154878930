"""What people write down in a season: schemas, plain-sentence problems, the folder reader, templates."""

import importlib

_ROOMS = ("schemas", "problems", "folder", "template", "weather_files", "stations")


def __getattr__(name):
    if name in _ROOMS:
        return importlib.import_module(f"{__name__}.{name}")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
