"""Tables of a choice comparison: candidates, coefficients, correction for reading errors, ranks of the used place."""

import numpy as np

from fieldkit.field.choice import sets as choice_sets
from fieldkit.field.choice import words as choice_words
from fieldkit.field.stats.intervals import critical_value

# Natural unit in which an odds ratio is told, by column; 1 otherwise.
UNITS = {"irradiance_w_m2": (100.0, "100 W/m²")}
# Error held over all candidates together, and level of the told intervals (convention).
LEVEL = 0.95
# The verdict: 90 % intervals are one-sided tests at 5 %, the side being that of the driver alone.
NAMING_LEVEL = 0.90


def candidate_table(fits, p_single, p_family):
    import pandas as pd

    null = next(iter(fits.values())).null_log_likelihood
    rows = [("no selection", 0, null, np.nan, np.nan, np.nan, -2 * null, np.nan, np.nan)]
    for (name, f), single, family in zip(fits.items(), p_single, p_family):
        statistic, df, p = f.likelihood_ratio
        rows.append((name, f.n_parameters, f.log_likelihood, statistic, df, p, f.aicc, single, family))
    columns = ["candidate", "parameters", "log_likelihood", "lr", "lr_df", "lr_p", "aicc"]
    table = pd.DataFrame(rows, columns=[*columns, "permutation_p", "family_p"])
    delta = table["aicc"] - table["aicc"].min()
    table.insert(7, "delta_aicc", delta)
    table.insert(8, "weight", akaike_weights(table["aicc"]))
    return table.set_index("candidate")


def akaike_weights(criterion):
    """Akaike weights: relative likelihood of each model, summing to 1.

    Parameters
    ----------
    criterion : array_like
        AIC or AICc of each model.

    Returns
    -------
    ndarray

    Notes
    -----
    Source: Burnham and Anderson (2002) Model Selection and Multimodel Inference, section 2.9.

    Examples
    --------
    >>> akaike_weights([0, 2, 4, 7, 10]).round(4).tolist()
    [0.6493, 0.2389, 0.0879, 0.0196, 0.0044]
    """
    values = np.asarray(criterion, dtype=float)
    relative = np.exp(-(values - np.nanmin(values)) / 2)
    return relative / np.nansum(relative)


def coefficient_table(fits, contrast):
    import pandas as pd
    from scipy import special

    position = {name: i for i, name in enumerate(contrast.index)}
    spread = contrast["within_set_sd"].to_numpy()
    units = [UNITS.get(c, (1.0, f"1 {choice_words.unit_of(c)}")) for c in contrast["column"]]
    rows = []
    for candidate, f in fits.items():
        z = critical_value(LEVEL, degrees_of_freedom=f.degrees_of_freedom)
        for driver, b, se in zip(f.coefficients.index, f.coefficients.to_numpy(), f.standard_errors.to_numpy()):
            i = position[driver]
            step, label = units[i]
            t = -abs(b / se)
            p = 2 * (special.stdtr(f.degrees_of_freedom, t) if np.isfinite(f.degrees_of_freedom) else special.ndtr(t))
            limits = np.array([b, b - z * se, b + z * se])
            with np.errstate(over="ignore"):
                rows.append(
                    (candidate, driver, label, *np.exp(limits * step), p, *np.exp(limits * spread[i]), spread[i])
                )
    columns = ["candidate", "driver", "per", "odds_ratio", "low", "high", "p"]
    columns += ["odds_ratio_per_sd", "low_per_sd", "high_per_sd", "within_set_sd"]
    return pd.DataFrame(rows, columns=columns)


def correct(joint, contrast, within, n_sets, errors):
    """Drivers side by side, per true within-set standard deviation, with the stated reading errors taken out.

    With w = x + e, the calibrated model replaces w by its best guess of x: the coefficients become S_x^-1 S_w times
    the naive ones, S_w being the within-set covariance of the readings and S_x that less the error variances.
    """
    import pandas as pd
    from scipy import special

    names = list(joint.coefficients.index)
    true_sd = contrast.loc[names, "true_sd"].to_numpy()
    stated = [errors.get(contrast.loc[n, "column"], 0.0) for n in names]
    estimate, error = calibrated(joint, within_covariance(names, contrast, within, n_sets), stated)
    estimate, error, b = estimate * true_sd, error * true_sd, joint.coefficients.to_numpy()
    df = joint.degrees_of_freedom
    z = critical_value(NAMING_LEVEL, degrees_of_freedom=df)
    out = pd.DataFrame({"log_odds_per_sd": estimate, "standard_error": error}, index=pd.Index(names, name="driver"))
    t = np.abs(estimate) / error
    out["p"] = 2 * (special.stdtr(df, -t) if np.isfinite(df) else special.ndtr(-t))
    if joint.separated:
        out["log_odds_per_sd"] = b
    with np.errstate(over="ignore"):
        out.insert(2, "odds_ratio_per_sd", np.exp(out["log_odds_per_sd"]))
        out.insert(3, "low", np.exp(estimate - z * error))
        out.insert(4, "high", np.exp(estimate + z * error))
    return out


def within_covariance(names, contrast, within, n_sets):
    """Within-set covariance of the readings of some drivers."""
    j = [list(contrast.index).index(n) for n in names]
    return within[:, j].T @ within[:, j] / max(1, len(within) - n_sets)


def calibrated(joint, s_w, errors):
    """Coefficients per unit with reading errors taken out, and the larger of their errors by animal and by set.

    NaN where the errors leave too little of the readings.
    """
    nothing = np.full(len(s_w), np.nan)
    b = joint.coefficients.to_numpy()
    s_x = s_w - np.diag(np.square(errors))
    scale = np.sqrt(np.diag(s_w))
    if not np.isfinite(b).all() or np.linalg.eigvalsh(s_x / np.outer(scale, scale))[0] <= choice_sets.LEAST_REAL:
        return nothing, nothing
    a = np.linalg.solve(s_x, s_w)
    # With few animals the sandwich may be too small by chance; the model's is too small if animals differ.
    both = [np.diag(a @ c.to_numpy() @ a.T) for c in (joint.covariance, joint.model_covariance)]
    return a @ b, np.sqrt(np.maximum(*both))


def leave_one_out_p(joint, without):
    """Likelihood ratio of leaving a driver out: stands in for the interval where the joint fit separates."""
    from scipy import special

    rest = joint.null_log_likelihood if without is None else without.log_likelihood
    return float(special.chdtrc(1, max(0.0, 2 * (joint.log_likelihood - rest))))


def standing(values, used, sets, sizes, drivers, labels):
    import pandas as pd

    first = np.flatnonzero(used)[np.unique(sets[used], return_index=True)[1]]
    rest = np.ones(len(used), dtype=bool)
    rest[first] = False
    at = values[first][sets]
    below = ((values < at) + 0.5 * (values == at)) * rest[:, None]
    share = np.stack([np.bincount(sets, weights=column) for column in below.T], axis=1) / (sizes - 1)[:, None]
    return pd.DataFrame(share, columns=list(drivers), index=pd.Index(labels[first], name="set_id"))


def with_operative(table, operative):
    """The candidate table with the hump of operative temperature beside it, on the AICc's own scale.

    Where some sets did not read it, its AICc is that of its rival less the gain, on the sets both have.
    """
    row = table.iloc[0].copy()
    row[:] = np.nan
    row["parameters"], row["log_likelihood"] = 2, operative.log_likelihood
    row["aicc"] = table.loc[operative.rival, "aicc"] - operative.gain
    out = table.copy()
    out.loc["operative temperature (middle values)"] = row
    out["delta_aicc"] = out["aicc"] - out["aicc"].min()
    out["weight"] = akaike_weights(out["aicc"])
    return out
