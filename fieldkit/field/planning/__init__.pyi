from . import simulate as simulate
from .planner import CURVE_DRAWS as CURVE_DRAWS
from .planner import Plan as Plan
from .planner import plan as plan
from .simulate import INSTRUMENT_ERRORS as INSTRUMENT_ERRORS
from .simulate import choice_season as choice_season
