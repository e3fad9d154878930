"""Times, places and readings of a season held against the sun: one rule for all tables.

It stands here and not in ``records``, because records know no physics: `fieldkit.read_season` hands `look` to the
reader of the folder, which calls it between reading the tables and saying all that is wrong with them.
"""

import importlib

_FACE = {
    "ClockShifts": "clock",
    "clock_shifts": "clock",
    "look": "reader",
    "read_season": "reader",
    "demo_season": "reader",
}
__all__ = sorted(_FACE)


def __getattr__(name):
    if name in _FACE:
        return getattr(importlib.import_module(f"{__name__}.{_FACE[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__():
    return sorted([*globals(), *__all__])
