"""Wild animals and those of an enclosure, side by side: what they choose, what they do, what they are exposed to."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
