"""Several seasons together: what each published, pooled by random effects, and what they say of a new one."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
