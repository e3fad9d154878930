"""What every room shares: the error family, results that speak, and one wrapper for all containers."""

import errno
import functools
import html
import inspect
import os
import re
import sys
from pathlib import Path


class FieldkitError(Exception):
    """A mistake that a person can mend; the message is a plain sentence that says how."""

    def _render_traceback_(self):
        # IPython asks for this: in a notebook a person sees the sentence, not the call stack.
        return [f"{type(self).__name__}: {self}"]


# What the system refuses and a person can mend, and how.
_TROUBLE = {
    errno.ENOSPC: ("there is no space left on the disk", "make room there, or choose another place"),
    errno.EDQUOT: ("your share of the disk is used up", "make room there, or choose another place"),
    errno.EFBIG: ("the file would be too large for this disk", "choose another place"),
    errno.EACCES: ("you may not read or write it", "ask whoever owns it, or choose another place"),
    errno.EPERM: ("you may not read or write it", "ask whoever owns it, or choose another place"),
    errno.EROFS: ("the disk can only be read", "choose another place"),
    errno.ENAMETOOLONG: ("the name is too long", "choose a shorter one"),
    errno.ENOENT: ("it is not there", "check the spelling of the path"),
    errno.ENOTDIR: ("part of this path is a file, not a folder", "check the spelling of the path"),
    errno.EISDIR: ("it is a folder, not a file", "check the spelling of the path"),
    errno.ELOOP: ("its links lead round in a circle", "put the file itself here"),
    errno.EMFILE: ("too many files are open", "close other programs and try again"),
    errno.ENFILE: ("too many files are open", "close other programs and try again"),
    errno.ENOMEM: ("there is not enough memory", "close other programs and try again"),
    errno.EIO: ("the disk failed", "look after the disk, or choose another place"),
    errno.ESTALE: ("the network disk was lost", "connect it again"),
    errno.ETXTBSY: ("another program uses it", "close it there"),
    errno.EBUSY: ("another program uses it", "close it there"),
}
_UNSEEN = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")


def trouble(error):
    """Say an error of the system that a person can mend; None for any other.

    Parameters
    ----------
    error : BaseException
        Any at all.

    Returns
    -------
    str or None

    Examples
    --------
    >>> trouble(OSError(errno.ENOSPC, "No space left on device", "out/index.html"))
    'out/index.html: there is no space left on the disk; make room there, or choose another place.'
    """
    if isinstance(error, MemoryError):
        return "There is not enough memory: close other programs and try again."
    if not isinstance(error, OSError) or error.errno not in _TROUBLE:
        return None
    what, remedy = _TROUBLE[error.errno]
    place = os.fsdecode(error.filename) if isinstance(error.filename, str | bytes | os.PathLike) else "A file"
    return f"{place}: {what}; {remedy}."


def visible(text):
    """Text with control codes written out: what a stranger wrote into a file cannot steer a terminal or a page.

    Parameters
    ----------
    text : str
        Anything that is to be shown.

    Returns
    -------
    str
        Line ends and tabs stay; the other control characters, those that turn the direction of writing, and bytes
        that are no letters stand as ``\\x1b`` or ``\\u202e``.

    Examples
    --------
    >>> visible("R07" + chr(27) + "[2J") == "R07" + chr(92) + "x1b[2J"
    True
    """
    return _UNSEEN.sub(lambda found: found[0].encode("unicode_escape").decode(), text)


class Result:
    """Base of every result: a frozen keyword-only dataclass with one `.table` and one `.sentence`.

    Subclasses are declared ``@dataclass(frozen=True, kw_only=True, eq=False, repr=False)``. `warnings` and
    `rows_of` (the table of a season whose rows `left_out` lists) are data, never parsed from words; units stand in the
    names of columns.
    """

    warnings = ()
    rows_of = None

    def __repr__(self):
        return f"{type(self).__name__}: {self.sentence}"

    def _repr_html_(self):
        table = self.table.to_html(border=0, float_format=lambda x: f"{x:.4g}", na_rep="–")
        return f"<p>{html.escape(self.sentence)}</p>\n{table}"


def resource_dir(name):
    """Folder of the notebooks or the demo data, in a checkout or inside an installed wheel.

    Parameters
    ----------
    name : {"notebooks", "data"}
        Which of the two.

    Returns
    -------
    pathlib.Path

    Examples
    --------
    >>> resource_dir("data").is_dir()
    True
    """
    package = Path(__file__).resolve().parent.parent
    for candidate in (package / f"_{name}", package.parent / name):
        if candidate.is_dir():
            return candidate
    raise FieldkitError(f"The folder '{name}' that comes with fieldkit is missing: install fieldkit again.")


def generator(rng):
    """Make a numpy Generator from a seed or a Generator (SPEC 7); None is refused so that every run can be repeated.

    Examples
    --------
    >>> int(generator(1).integers(10))
    4
    """
    import numpy as np

    if rng is None:
        raise FieldkitError("Give rng= a whole number (a seed), so that the result can be repeated.")
    return np.random.default_rng(rng)


def elementwise(outputs, *, static=()):
    """Let a function of float arrays take scalars, arrays, Series, DataArrays and dask arrays.

    What comes out is of the kind that went in: DataArray if any input is one (dims kept, CF attributes set, dask
    stays lazy), else Series if any is one, else array, else float.

    Parameters
    ----------
    outputs : dict of str to dict
        Name of each output and its attributes, e.g. ``{"air_temperature_c": {"units": "degC"}}``. With one name the
        function returns one array and so does the wrapper; with several it returns a dict of arrays, and the wrapper
        returns a Dataset, a DataFrame or a dict.
    static : sequence of str
        Parameters passed through untouched (options, properties of a body). Values that are not numeric (None, str,
        bool, dataclasses) are passed through in any case.

    Returns
    -------
    callable

    Raises
    ------
    FieldkitError
        When Series with different indexes are mixed: aligning them silently would make gaps. When a Series cannot be
        matched with the dimensions of a DataArray, or sizes do not fit.

    Examples
    --------
    >>> @elementwise({"temperature_k": {"units": "K"}})
    ... def kelvin(temperature_c):
    ...     return temperature_c + 273.15
    >>> kelvin(20.0)
    293.15
    """

    def decorate(func):
        signature = inspect.signature(func)

        @functools.wraps(func)
        def inner(*args, **kwargs):
            bound = signature.bind(*args, **kwargs)
            bound.apply_defaults()
            values = dict(bound.arguments)
            for name, parameter in signature.parameters.items():
                if parameter.kind is parameter.VAR_KEYWORD:
                    values |= values.pop(name)
            for name, value in values.items():
                if type(value).__name__ in ("DataFrame", "Dataset"):
                    raise FieldkitError(f"{name} is a whole table: give one of its columns.")
            numeric = {k: v for k, v in values.items() if k not in static and _is_numeric(v)}

            def call(*arrays):
                given = values | dict(zip(numeric, arrays))
                result = func(**given)
                return result if len(outputs) == 1 else tuple(result[name] for name in outputs)

            return apply_elementwise(call, numeric, outputs)

        inner.elementwise_outputs = tuple(outputs)
        return inner

    return decorate


def _is_numeric(value):
    import numpy as np

    if value is None or isinstance(value, str | bool | bytes):
        return False
    if isinstance(value, int | float | list | tuple | np.ndarray | np.number):
        return True
    return _kind(value) is not None


def _kind(value):
    """Name of the container without importing what the caller has not imported."""
    for kind, module, attribute in (
        ("dataarray", "xarray", "DataArray"),
        ("series", "pandas", "Series"),
        ("dask", "dask.array", "Array"),
        ("index", "pandas", "Index"),
    ):
        loaded = sys.modules.get(module)
        if loaded is not None and isinstance(value, getattr(loaded, attribute)):
            return kind
    return None


def floats(value):
    """Bare array of floats from anything that holds numbers.

    Parameters
    ----------
    value : array_like
        What a masked array hides is missing (NaN), and not the number behind the mask.

    Returns
    -------
    numpy.ndarray

    Raises
    ------
    FieldkitError
        When it holds what is not a number.

    Examples
    --------
    >>> import numpy as np
    >>> floats(np.ma.masked_equal([20, -9999], -9999)).tolist()
    [20.0, nan]
    """
    import numpy as np

    try:
        if isinstance(value, np.ma.MaskedArray):
            return value.astype(float).filled(np.nan)
        return np.asarray(value, dtype=float)
    except (TypeError, ValueError) as error:
        raise FieldkitError(f"Numbers are needed here ({error}): look for text among them.") from error


def apply_elementwise(call, numeric, outputs):
    """What `elementwise` does, for a function whose inputs are only known when it is called.

    Parameters
    ----------
    call : callable
        Takes the arrays of `numeric` in their order; returns an array, or a tuple of them with several outputs.
    numeric : dict of str to array_like
        Inputs in any container.
    outputs : dict of str to dict
        As in `elementwise`.

    Returns
    -------
    same kind as the inputs

    Examples
    --------
    >>> apply_elementwise(lambda a, b: a + b, {"a": 1, "b": 2.5}, {"total": {"units": "m"}})
    3.5
    """
    import numpy as np

    kinds = {_kind(v) for v in numeric.values()}
    names = list(outputs)
    if "dataarray" in kinds or "dask" in kinds:
        return _apply_xarray(call, numeric, outputs, unwrap="dataarray" not in kinds)
    index = None
    if "series" in kinds:
        series = [v for v in numeric.values() if _kind(v) == "series"]
        index = series[0].index
        if not all(s.index.equals(index) for s in series[1:]):
            raise FieldkitError("The series do not have the same index: join them into one table first.")
    arrays = [floats(v) for v in numeric.values()]
    try:
        shape = np.broadcast_shapes(*(a.shape for a in arrays))
    except ValueError as error:
        sizes = ", ".join(f"{name} {a.size}" for name, a in zip(numeric, arrays) if a.ndim)
        raise FieldkitError(
            f"These do not have one number of values: {sizes}. Give as many of each, or one."
        ) from error
    if index is not None and len(shape) > 1:
        raise FieldkitError("A Series goes with scalars and one-dimensional arrays; name other dimensions: DataArray.")
    results = call(*arrays)
    results = [results] if len(names) == 1 else list(results)
    results = [np.broadcast_to(np.asarray(r, dtype=float), np.broadcast_shapes(shape, np.shape(r))) for r in results]
    if index is not None:
        import pandas as pd

        if len(names) == 1:
            return pd.Series(results[0].copy(), index=index, name=names[0])
        return pd.DataFrame(dict(zip(names, results)), index=index)
    results = [float(r) if r.ndim == 0 else np.array(r) for r in results]
    return results[0] if len(names) == 1 else dict(zip(names, results))


def _apply_xarray(call, numeric, outputs, *, unwrap):
    import numpy as np
    import xarray as xr

    names = list(outputs)
    fields = [v for v in numeric.values() if _kind(v) == "dataarray"]

    def dress(value):
        if _kind(value) == "dataarray":
            return value.astype(float)
        if _kind(value) == "series" and not unwrap:
            return _series_on_dims(value, fields)
        if _kind(value) == "dask" or np.ndim(value):
            array = value if _kind(value) == "dask" else floats(value)
            if not unwrap and array.ndim:
                raise FieldkitError(
                    "Mix a DataArray only with scalars, Series or other DataArrays: a bare array has no dims."
                )
            return xr.DataArray(array, dims=[f"axis_{i - array.ndim}" for i in range(array.ndim)])
        return float(value)

    # Broadcast and rechunk first: apply_ufunc asks that chunks line up.
    dressed = [dress(v) for v in numeric.values()]
    positions = [i for i, v in enumerate(dressed) if _kind(v) == "dataarray"]
    try:
        xr.align(*(dressed[i] for i in positions), join="exact", copy=False)
    except ValueError as error:
        raise FieldkitError(f"The DataArrays do not have the same coordinates: {error}. Align them first.") from error
    for i, array in zip(positions, xr.unify_chunks(*(dressed[i] for i in positions))):
        dressed[i] = array
    results = xr.apply_ufunc(
        lambda *arrays: _full_shape(call, arrays, len(names)),
        *dressed,
        output_core_dims=[[] for _ in names],
        dask="parallelized",
        output_dtypes=[float] * len(names),
        join="exact",
        keep_attrs=False,
    )
    results = [results] if len(names) == 1 else list(results)
    if unwrap:
        results = [r.data for r in results]
        return results[0] if len(names) == 1 else dict(zip(names, results))
    named = {}
    for name, array in zip(names, results):
        named[name] = array.rename(name)
        named[name].attrs = dict(outputs[name])
    return named[names[0]] if len(names) == 1 else xr.Dataset(named)


def _series_on_dims(series, fields):
    """A Series as a DataArray on the dimension it belongs to; the times of a DataArray are UTC."""
    if getattr(series.index, "tz", None) is not None:
        series = series.tz_convert("UTC").tz_localize(None)
    if series.index.nlevels == 1 and series.index.name is None:
        dims = [
            d for array in fields for d in array.dims if d in array.indexes and array.indexes[d].equals(series.index)
        ]
        if not dims:
            raise FieldkitError(
                "The index of a Series has no name, so nobody knows which dimension of the DataArray it is: name it, "
                "for instance series.rename_axis('time')."
            )
        series = series.rename_axis(dims[0])
    return series.to_xarray().astype(float)


def _full_shape(call, arrays, count):
    import numpy as np

    shape = np.broadcast_shapes(*(np.shape(a) for a in arrays))
    results = call(*(floats(a) for a in arrays))
    results = (results,) if count == 1 else results
    results = tuple(np.broadcast_to(np.asarray(r, dtype=float), shape).copy() for r in results)
    return results[0] if count == 1 else results
