from .advice import remedies as remedies
from .questions import MARGINS as MARGINS
from .run import CAUTIONS as CAUTIONS
from .run import FieldAgainstCaptivity as FieldAgainstCaptivity
from .run import compare as compare
from .sets import EnclosureSets as EnclosureSets
from .sets import choice_sets as choice_sets
