from . import agreement as agreement
from . import atmosphere as atmosphere
from . import heat as heat
from . import limits as limits
from . import radiation_error as radiation_error
from . import sensors as sensors
from . import spectrum as spectrum
from . import sun as sun
