"""What must stay at home, a season without it, and the gate that every file for others goes through.

`public` makes a season that others may have: its place cut, its names replaced, its notes gone. Write-ups are computed
from that season, so that no number in them can hold more than it does. `at_home` lists what must stay at home, `gate`
searches finished files for it. One is a promise, the other checks that it was kept.
"""
