"""What can come of a target, and what a verdict may rest on."""

from enum import StrEnum

import numpy as np


class Status(StrEnum):
    """What came of a target."""

    EXCEEDED = "limit exceeded"
    MISSED = "missed"
    UNKNOWN = "cannot tell"
    NOT_MEASURED = "not measured"
    MET = "met"


class Evidence(StrEnum):
    """What a verdict rests on: readings, a computation from readings, only what the keeper stated, or nothing."""

    MEASURED = "measured"
    COMPUTED = "computed from readings"
    STATED = "stated"
    NONE = "none"


# From the worst to the best: what several loggers say together is the worst of it.
STATUSES = tuple(Status)
# What lies outside its limits surely.
OUTSIDE = (Status.EXCEEDED, Status.MISSED)
# What has come to no answer.
OPEN = (Status.UNKNOWN, Status.NOT_MEASURED)


def settled(status, evidence, reading):
    """The status that the evidence allows: what is not known is never met.

    Parameters
    ----------
    status : Status
        As the comparison with the limits has it.
    evidence : Evidence
        What it rests on.
    reading : float
        What was compared; NaN when nothing was.

    Returns
    -------
    Status

    Examples
    --------
    >>> print(settled(Status.MET, Evidence.MEASURED, 21.0), settled(Status.MET, Evidence.STATED, 12.0), sep=", ")
    met, cannot tell
    >>> print(settled(Status.MET, Evidence.MEASURED, float("nan")))
    not measured
    """
    status = Status(status)
    if not np.isfinite(reading):
        return status if status in OPEN else Status.NOT_MEASURED
    if status == Status.MET and evidence not in (Evidence.MEASURED, Evidence.COMPUTED):
        return Status.UNKNOWN
    return status
