"""Wild animals and those of an enclosure, side by side: what they choose, what they do, what they are exposed to."""

import importlib

_WHERE = {
    "CAUTIONS": "run",
    "EnclosureSets": "sets",
    "FieldAgainstCaptivity": "run",
    "MARGINS": "questions",
    "choice_sets": "sets",
    "compare": "run",
    "remedies": "advice",
}
__all__ = sorted(_WHERE)


def __getattr__(name):
    if name in _WHERE:
        return getattr(importlib.import_module(f"{__name__}.{_WHERE[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__():
    return __all__
