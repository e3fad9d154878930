"""What people write down: schemas, the readers of folders and files, problems in plain sentences, templates."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
