"""Times, places and readings of a season held against the sun: one rule for all tables.

It stands here and not in ``records``, because records know no physics: `fieldkit.read_season` hands `look` to the
reader of the folder, which calls it between reading the tables and saying all that is wrong with them.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
