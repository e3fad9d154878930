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


def test_a_series_finds_its_dimension_or_says_that_it_cannot():
    times = pd.date_range("2024-06-01", periods=3, freq="1h")
    field = xr.DataArray([[1.0, 2.0, 3.0]], dims=("place", "time"), coords={"time": times})
    want = [[2.0, 4.0, 6.0]]
    for index in (times, times.rename("time"), times.tz_localize("UTC").tz_convert("Europe/Berlin")):
        both = add(field, pd.Series([1.0, 2.0, 3.0], index=index))
        assert both.dims == ("place", "time") and both.to_numpy().tolist() == want
    assert add(field, pd.Series([1.0, 2.0], index=pd.Index([7, 8], name="site"))).dims == ("place", "time", "site")
    with pytest.raises(FieldkitError, match="index of a Series has no name"):
        add(field, pd.Series([1.0, 2.0, 3.0]))
    with pytest.raises(FieldkitError, match="same coordinates"):
        add(field, field.assign_coords(time=times + pd.Timedelta("1h")))
    lazy = add(da.ones(3), pd.Series([1.0, 2.0, 3.0]))
    assert isinstance(lazy, da.Array) and lazy.compute().tolist() == [2.0, 3.0, 4.0]


def test_sizes_that_do_not_fit_and_text_are_said_in_words():
    with pytest.raises(FieldkitError, match="a 3, b 4"):
        add(np.ones(3), np.ones(4))
    with pytest.raises(FieldkitError, match="one-dimensional"):
        add(pd.Series([1.0, 2.0]), np.ones((2, 2)))
    with pytest.raises(FieldkitError, match="look for text"):
        add(["20", "n/a"], 1.0)
    with pytest.raises(FieldkitError, match="b is a whole table"):
        add(1.0, pd.DataFrame({"x": [1.0]}))
