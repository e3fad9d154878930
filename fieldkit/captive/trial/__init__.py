"""One change to an enclosure, tried fairly: a drawn order, and a test by the orders that could have been drawn."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
