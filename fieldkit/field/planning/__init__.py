"""How many choice sets, animals and days it takes to get an answer."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
