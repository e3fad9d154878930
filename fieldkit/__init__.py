"""From a season of watching wild reptiles bask to numbers a keeper can use.

The packages, in the order data walks through them: ``records`` and ``physics``, ``field``, ``captive``, ``report``;
``classroom`` and ``demo`` stand on top of them.
"""

import lazy_loader

# Lazy: pandas, scipy and statsmodels cost a second each, and `fieldkit --help` needs none of them.
__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)

__version__ = "0.2.0"
