"""Numbers in, the same kind of numbers out: sun, spectrum, heat, sensors. No files, no plots, no species."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
