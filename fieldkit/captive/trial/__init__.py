"""One change to an enclosure, tried fairly: a drawn order, and a test by the orders that could have been drawn."""

import importlib

_WHERE = {
    "LIMITS": "planner",
    "OUTCOMES": "outcomes",
    "RandomisationTest": "randomise",
    "Trial": "reading",
    "TrialPlan": "planner",
    "WELFARE": "safety",
    "daily": "outcomes",
    "draw": "randomise",
    "load": "planner",
    "plan": "planner",
    "power": "detect",
    "randomisation_test": "randomise",
    "read": "reading",
    "save": "planner",
    "scatter": "detect",
    "smallest_p": "randomise",
}
__all__ = sorted(_WHERE)


def __getattr__(name):
    if name in _WHERE:
        return getattr(importlib.import_module(f"{__name__}.{_WHERE[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__():
    return __all__
