from .combined import FEWEST as FEWEST
from .combined import FEWEST_FUNNEL as FEWEST_FUNNEL
from .combined import Pooled as Pooled
from .combined import combine as combine
from .regress import Regression as Regression
from .regress import regression as regression
