"""What a keeper gets: the audit in words, and the card beside the enclosure."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
