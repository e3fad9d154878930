"""A season goes in everywhere: what is wrong with it is said in a sentence."""

from fieldkit.core import FieldkitError


def table_of(season, name, what):
    """Give one table of a season.

    Parameters
    ----------
    season : Season
        As read.
    name : str
        ``"choices"``, ``"scans"`` and so on.
    what : str
        What it holds, for the sentence.

    Returns
    -------
    pandas.DataFrame

    Raises
    ------
    FieldkitError
        When it is no season, or has no such table.

    Examples
    --------
    >>> import fieldkit
    >>> table_of(fieldkit.demo_season(), "scans", "looks")["behaviour"].iloc[0]
    'moving'
    >>> try:
    ...     table_of([], "scans", "looks")
    ... except FieldkitError as error:
    ...     print(error)
    A season is needed, as fieldkit.read_season(folder) gives it, not a list.
    """
    if type(season).__name__ == "DataFrame" or not hasattr(season, name):
        kind = type(season).__name__
        kind = {"NoneType": "nothing", "str": "text", "DataFrame": "a single table"}.get(kind, f"a {kind}")
        raise FieldkitError(f"A season is needed, as fieldkit.read_season(folder) gives it, not {kind}.")
    table = getattr(season, name)
    if table is None or len(table) == 0:
        raise FieldkitError(f"The season has no {name}: {what}.")
    return table
