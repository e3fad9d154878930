"""The one energy balance of animals, models, probes and rocks; air, convection and ground."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
