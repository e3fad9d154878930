"""How well a model agrees with measurements it was not fitted to."""

from dataclasses import dataclass

from fieldkit.core import FieldkitError, Result, method

__all__ = [
    "Agreement",
    "agreement",
]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Agreement(Result):
    """Bias and scatter of models against one measured series.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per model and part: ``n, bias_k, rmse_k, worst_k`` (model minus measured).
    measured, modelled : pandas.Series and pandas.DataFrame
        The series themselves, for figures.
    sentence : str
    """

    table: object
    measured: object
    modelled: object
    sentence: str


@method
def agreement(measured_c, modelled_c, *, parts=None):
    """Compare modelled temperatures with a measured series.

    Parameters
    ----------
    measured_c : pandas.Series
        Measured temperature (°C).
    modelled_c : pandas.DataFrame or dict of Series
        One column per model (°C), same index.
    parts : dict of str to boolean Series, optional
        Named parts of the series that are judged apart as well, e.g. ``{"day": irradiance > 20}``.

    Returns
    -------
    Agreement

    Raises
    ------
    FieldkitError
        When they are not Series, the indexes differ or nothing is left to compare.

    Notes
    -----
    Mean difference and standard deviation of differences as in Bland & Altman (1986, The Lancet 327:307-310).
    Model minus measured: bias is its mean, RMSE the root of its mean square. Rows in which either is missing are left
    out and not counted in ``n``. The samples follow one another and are not independent: no confidence interval is
    given.

    Examples
    --------
    >>> import pandas as pd
    >>> real = pd.Series([20.0, 25.0, 30.0])
    >>> agreement(real, {"ours": real + 1.0}).table.round(2)
                n  bias_k  rmse_k  worst_k
    model part
    ours  all   3     1.0     1.0      1.0
    """
    import numpy as np
    import pandas as pd

    if not isinstance(measured_c, pd.Series) or not all(isinstance(modelled_c[k], pd.Series) for k in modelled_c):
        raise FieldkitError("Measured and modelled values must be Series, so that they can be matched row by row.")
    modelled = pd.DataFrame(modelled_c)
    if not modelled.index.equals(measured_c.index):
        raise FieldkitError("Measured and modelled series do not have the same index: join them into one table first.")
    masks = {"all": pd.Series(True, index=measured_c.index)} | (parts or {})
    rows = []
    for name, series in modelled.items():
        error = (series - measured_c).dropna()
        for part, mask in masks.items():
            chosen = error[mask.reindex(error.index)]
            if chosen.empty:
                raise FieldkitError(f"Nothing to compare for {name}, {part}: no row has both values.")
            worst = chosen.iloc[int(np.argmax(np.abs(chosen.to_numpy())))]
            rows.append((name, part, len(chosen), chosen.mean(), float(np.sqrt((chosen**2).mean())), worst))
    table = pd.DataFrame(rows, columns=["model", "part", "n", "bias_k", "rmse_k", "worst_k"])
    table = table.set_index(["model", "part"])
    whole = table.xs("all", level="part")
    best, last = whole["rmse_k"].idxmin(), whole["rmse_k"].idxmax()
    # Adding 0 turns a rounded -0.0 into 0.0.
    words = [
        f"{name}: bias {round(whole.loc[name, 'bias_k'], 1) + 0.0:+.1f} K, RMSE {whole.loc[name, 'rmse_k']:.1f} K"
        for name in dict.fromkeys((best, last))
    ]
    sentence = f"Model minus measured over {int(whole['n'].max())} readings; " + "; ".join(words) + "."
    return Agreement(table=table, measured=measured_c, modelled=modelled, sentence=sentence)
