"""What all packages share: the error family, results that say themselves, and one wrapper for containers."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
