from . import enclosure as enclosure
from . import problems as problems
from . import reading as reading
from . import schema as schema
from . import season as season
from . import spreadsheet as spreadsheet
from . import weather as weather
