"""From a season of watching wild reptiles bask to numbers a keeper can use.

The rooms, in the order data walks through them: ``records`` and ``physics``, ``field``, ``captive``, ``report``.
"""

import importlib

__version__ = "0.1.0"

_DOORS = {
    "EnclosureError": "fieldkit.records.enclosure.reader",
    "FieldkitError": "fieldkit.core",
    "Season": "fieldkit.records.season.reader",
    "SeasonError": "fieldkit.records.problems",
    "demo_enclosure": "fieldkit.records.enclosure.reader",
    "demo_season": "fieldkit.records.season.reader",
    "read_enclosure": "fieldkit.records.enclosure.reader",
    "read_season": "fieldkit.records.season.reader",
}
_ROOMS = ("records", "physics", "field", "captive", "report")

__all__ = [*_DOORS, *_ROOMS]


def __getattr__(name):
    # Lazy: pandas, scipy and statsmodels cost a second each, and `fieldkit --help` needs none of them.
    if name in _DOORS:
        return getattr(importlib.import_module(_DOORS[name]), name)
    if name in _ROOMS:
        return importlib.import_module(f"fieldkit.{name}")
    raise AttributeError(f"module 'fieldkit' has no attribute {name!r}")


def __dir__():
    return sorted([*globals(), *__all__])
