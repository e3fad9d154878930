from .page import WriteUp as WriteUp
from .page import write as write
from .pages.readings import limitations as limitations
from .pages.readings import overview as overview
from .rerun import reproduce as reproduce
from .running import WriteUpError as WriteUpError
from .running import tags as tags
