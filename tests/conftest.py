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
