"""Tell what was computed as it is computed: methods that a write-up describes, and results that it publishes."""

import enum
import functools
import re

from fieldkit.core.containers import FieldkitError, Result

# What listens in a notebook that is being written up; None everywhere else.
_listener = None


class Role(enum.StrEnum):
    """What a published result is to the write-up."""

    VERDICT = "verdict"
    RESULT = "result"


class Depth(enum.StrEnum):
    """How far up a result or a figure is shown: on the one-page summary, in the report, or in the supplement only."""

    SUMMARY = "summary"
    REPORT = "report"
    SUPPLEMENT = "supplement"


def listen(listener):
    """Have methods and published results told to a listener, or to nobody.

    Parameters
    ----------
    listener : object or None
        With ``called(function, arguments, keywords)`` and ``published(result, name, role, depth)``.
    """
    global _listener
    _listener = listener


def method(function):
    """Mark a function as a method of analysis: a write-up says in a sentence what it did, with its settings.

    What a method calls in turn is a part of it and is not told. Where nobody listens, the function runs as it is.

    Parameters
    ----------
    function : callable
        Of any signature.

    Returns
    -------
    callable

    Examples
    --------
    >>> @method
    ... def double(x):
    ...     return 2 * x
    >>> double(3)
    6
    """

    @functools.wraps(function)
    def call(*arguments, **keywords):
        global _listener
        if _listener is None:
            return function(*arguments, **keywords)
        listener, _listener = _listener, None
        try:
            result = function(*arguments, **keywords)
            listener.called(function, arguments, keywords)
            return result
        finally:
            _listener = listener

    call.is_method = True
    return call


def publish(result, name, *, role=Role.RESULT, depth=Depth.REPORT):
    """Give a result of a notebook to the write-up, under a name that says what it is.

    In a notebook that is run by hand this checks the name and does nothing.

    Parameters
    ----------
    result : Result
        What an analysis came to.
    name : str
        Small letters and underscores, such as ``"basking_limits"``; the table is published as ``basking_limits.csv``.
    role : Role or str, optional
        ``"verdict"`` for the one result that answers the question of the write-up.
    depth : Depth or str, optional
        ``"summary"`` for a result whose plain words stand on the first page too, ``"supplement"`` for one that only
        specialists look for. The verdict stands on the first page in any case.

    Raises
    ------
    FieldkitError
        For what is no result, a name that is no name of a file, or an unknown role or depth.

    Examples
    --------
    >>> from fieldkit.core import FieldkitError
    >>> try:
    ...     publish("31 °C", "basking_limits")
    ... except FieldkitError as error:
    ...     print(error)
    Only a result of an analysis can be published, not a str.
    """
    if not isinstance(result, Result):
        raise FieldkitError(f"Only a result of an analysis can be published, not a {type(result).__name__}.")
    if not isinstance(name, str) or not re.fullmatch(r"[a-z][a-z0-9_]{2,59}", name):
        raise FieldkitError(f"A published result needs a name of small letters and underscores, not {name!r}.")
    try:
        role = Role(role)
    except ValueError:
        raise FieldkitError(f"The role of a result is {' or '.join(Role)}, not {role!r}.") from None
    try:
        depth = Depth(depth)
    except ValueError:
        raise FieldkitError(f"The depth of a result is {' or '.join(Depth)}, not {depth!r}.") from None
    if _listener is not None:
        _listener.published(result, name, role, depth)
