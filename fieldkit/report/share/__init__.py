"""Records given to others: Darwin Core, NetCDF, a citation file; names and exact places stay at home."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
