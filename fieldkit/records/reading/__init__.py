"""Reading tables from files: sheets, headers, cells, logger exports, and what looks odd in them."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
