from .advice import text as text
from .card import months_table as months_table
from .card import write as write
