from . import clubs as clubs
from . import enclosure as enclosure
from . import quarry as quarry
from . import random_enclosures as random_enclosures
from . import season as season
from . import watched as watched
