"""nbval compares stored outputs strictly; the few things that differ from run to run are named in one file."""

from pathlib import Path


def pytest_configure(config):
    # By absolute path, so that it is found from any folder and by every worker.
    rules = Path(__file__).resolve().parent.parent / "tests" / "nbval_sanitize.cfg"
    if not config.option.nbval_sanitize_with and rules.exists():
        config.option.nbval_sanitize_with = str(rules)
