from . import figures as figures
from . import keeper as keeper
from . import pooled as pooled
from . import share as share
from . import writeup as writeup
