from .reader import EnclosureError as EnclosureError
from .reader import assemble as assemble
from .reader import demo_enclosure as demo_enclosure
from .reader import read_enclosure as read_enclosure
from .settings import EXAMPLE as EXAMPLE
from .spectra import read_spectrum as read_spectrum
from .template import CAUTIONS as CAUTIONS
from .template import new_folder as new_folder
