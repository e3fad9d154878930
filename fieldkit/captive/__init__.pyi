from . import audit as audit
from . import compare as compare
from . import enclosure as enclosure
from . import lamps as lamps
from . import targets as targets
from . import trial as trial
