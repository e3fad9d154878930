"""The thermal model of an enclosure: conditions at its points, and what a change would do."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
