from .clock import ClockShifts as ClockShifts
from .clock import clock_shifts as clock_shifts
from .reader import demo_season as demo_season
from .reader import look as look
from .reader import read_season as read_season
