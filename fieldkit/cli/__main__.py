"""Lets ``python -m fieldkit.cli`` work like ``python -m fieldkit``."""

import sys

from fieldkit.cli import main

sys.exit(main())
