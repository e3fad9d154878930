"""When animals bask: the shade air temperatures in which they do, and when they are seen."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
