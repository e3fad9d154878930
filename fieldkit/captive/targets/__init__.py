"""Targets for a captive setup: the only thing that crosses over from field to enclosure."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
