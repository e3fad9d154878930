from .gathering import Gathered as Gathered
from .gathering import gather as gather
from .page import FORMAT as FORMAT
from .page import MARKER as MARKER
from .page import PoolWritten as PoolWritten
from .page import read as read
from .page import reproduce as reproduce
from .page import write as write
