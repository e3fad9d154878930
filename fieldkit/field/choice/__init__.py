"""What animals choose on: the conditional logit of used against available places, and its checks."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
