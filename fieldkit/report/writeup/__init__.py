"""The write-up of a season, and its rerun by somebody else."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
