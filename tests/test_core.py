import dask.array as da
import numpy as np
import pandas as pd
import pytest
import xarray as xr

from fieldkit.core import FieldkitError, elementwise, generator


@elementwise({"total": {"units": "degC"}})
def add(a, b, *, scale=1.0, label=None):
    assert label is None or isinstance(label, str)
    return (a + b) * scale


@elementwise({"up": {"units": "1"}, "down": {"units": "1"}}, static=("power",))
def both(a, *, power=2):
    assert isinstance(power, int)
    return {"up": a**power, "down": -a}


def test_same_kind_out_as_in():
    assert add(1, 2) == 3.0 and isinstance(add(1, 2), float)
    assert isinstance(add([1, 2], 3), np.ndarray)
    series = add(pd.Series([1.0, 2.0], index=[5, 6]), 1, label="x")
    assert list(series.index) == [5, 6] and series.name == "total"
    array = add(xr.DataArray([1.0, 2.0], dims="site"), xr.DataArray([1.0, 2.0, 3.0], dims="time"))
    assert array.dims == ("site", "time") and array.attrs == {"units": "degC"}


def test_dask_stays_lazy():
    lazy = add(xr.DataArray(da.ones(6, chunks=3), dims="t"), xr.DataArray(da.ones(6, chunks=2), dims="t"))
    assert lazy.chunks is not None
    assert lazy.sum().compute() == 12
    bare = add(da.ones((2, 3), chunks=1), da.ones(3))
    assert isinstance(bare, da.Array) and bare.compute().shape == (2, 3)


def test_several_outputs():
    assert both(3.0) == {"up": 9.0, "down": -3.0}
    assert list(both(pd.Series([1.0, 2.0])).columns) == ["up", "down"]
    assert both(xr.DataArray([2.0], dims="t"))["up"].attrs["units"] == "1"


def test_different_indexes_are_refused():
    with pytest.raises(FieldkitError, match="same index"):
        add(pd.Series([1.0], index=[0]), pd.Series([1.0], index=[1]))


def test_no_seed_is_refused():
    with pytest.raises(FieldkitError, match="seed"):
        generator(None)
