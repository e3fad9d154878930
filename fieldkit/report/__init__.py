"""Results drawn, written up and shared; nothing is computed here."""

import importlib

_ROOMS = ("classroom", "figures", "reproduce", "share", "writeup")


def __getattr__(name):
    if name in _ROOMS:
        return importlib.import_module(f"{__name__}.{name}")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
