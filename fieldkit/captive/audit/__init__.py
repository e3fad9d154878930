"""An enclosure held against its targets: what is met, missed, over a limit, or not measured."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
