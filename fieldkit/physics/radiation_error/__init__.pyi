from .detect import Contamination as Contamination
from .detect import find_contamination as find_contamination
