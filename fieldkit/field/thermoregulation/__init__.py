"""How exactly animals keep their preferred temperature, and how much the place helps."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
