from . import captive as captive
from . import classroom as classroom
from . import core as core
from . import demo as demo
from . import field as field
from . import physics as physics
from . import records as records
from . import report as report
from .core import FieldkitError as FieldkitError
from .core import publish as publish
from .field.plausibility import demo_season as demo_season
from .field.plausibility import read_season as read_season
from .records.enclosure import EnclosureError as EnclosureError
from .records.enclosure import demo_enclosure as demo_enclosure
from .records.enclosure import read_enclosure as read_enclosure
from .records.problems import SeasonError as SeasonError
from .records.season import Season as Season

__version__: str
