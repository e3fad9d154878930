from .containers import FieldkitError as FieldkitError
from .containers import Result as Result
from .containers import apply_elementwise as apply_elementwise
from .containers import elementwise as elementwise
from .containers import floats as floats
from .containers import generator as generator
from .containers import resource_dir as resource_dir
