"""Seasons of several people put together: gathered from folders, pooled, written as one page that can be run again."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
