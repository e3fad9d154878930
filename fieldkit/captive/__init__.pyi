from . import audit as audit
from . import enclosure as enclosure
from . import lamps as lamps
from . import targets as targets
