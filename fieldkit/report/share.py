"""Records given to others in open formats, without giving the animals away."""

from decimal import ROUND_DOWN, Decimal

from fieldkit.core import FieldkitError

# Chapman (2020), Current Best Practices for Generalizing Sensitive Species Occurrence Data, GBIF: categories 2, 3 and
# 4 of sensitivity are published to 0.1, 0.01 and 0.001 degree; category 1 not at all.
PRECISIONS = ("0.1", "0.01", "0.001")


def cut_off(coordinate_deg, *, precision="0.1"):
    """A coordinate with its last digits cut off, towards zero.

    Cutting off, and not rounding or adding chance, is what the guide recommends; it has to be stated beside the data.

    Parameters
    ----------
    coordinate_deg : float
        Latitude or longitude (°).
    precision : {"0.1", "0.01", "0.001"}
        What is left of it (°).

    Returns
    -------
    decimal.Decimal
        With exactly the digits that are published.

    Raises
    ------
    FieldkitError
        Another precision.

    Examples
    --------
    >>> cut_off(36.3), cut_off(-80.3199), cut_off(-80.3199, precision="0.01")
    (Decimal('36.3'), Decimal('-80.3'), Decimal('-80.31'))
    """
    if precision not in PRECISIONS:
        raise FieldkitError(f"Coordinates can be cut to {', '.join(PRECISIONS)} degree, not to {precision!r}.")
    # From the written digits: as binary numbers, 36.3 / 0.1 falls short of 363.
    return Decimal(repr(float(coordinate_deg))).quantize(Decimal(precision), rounding=ROUND_DOWN)
