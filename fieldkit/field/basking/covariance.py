"""How sure coefficients are when looks at one animal, or looks on one day, go together."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, kw_only=True, eq=False)
class Spread:
    """Covariances of coefficients, of which the largest variance counts, and the degrees of freedom behind them.

    Each kind of cluster has the sandwich of Bell & McCaffrey (2002, Survey Methodology 28:169-181), which expects the
    right variance where looks do not go together. One kind alone has their degrees of freedom too. Two kinds are added
    and their overlap taken off (Cameron, Gelbach & Miller 2011); where either kind alone says less sure, that is
    believed. The degrees of freedom are then Satterthwaite's (1946, Biometrics Bull. 2:110), each kind with one less
    than its clusters: as the largest of three errs on the long side, more would be too much.

    Attributes
    ----------
    covariances : numpy.ndarray, shape (m, k, k)
        One; or with two kinds of cluster three: of both, of either alone.
    degrees : tuple of int
        Clusters of each kind, less one; empty where looks count as independent.
    adjusted, information : numpy.ndarray, shape (g, k, k), or None
        With one kind: what turns a cluster's score into its share of the error, and the information it holds.
    """

    covariances: np.ndarray
    degrees: tuple = ()
    adjusted: np.ndarray | None = None
    information: np.ndarray | None = None

    def variances(self, gradient):
        """Variance of a linear combination by each covariance, shape (m, ...)."""
        return np.maximum((np.matmul(gradient, self.covariances) * gradient).sum(axis=-1), 0.0)

    def variance(self, gradient):
        """The largest of them."""
        return self.variances(gradient).max(axis=0)

    def degrees_of_freedom(self, gradient):
        """Those of Student's t for a linear combination; infinite where looks count as independent."""
        if not self.degrees:
            return np.full(np.shape(gradient)[:-1], np.inf)
        tiny = np.finfo(float).tiny
        if len(self.degrees) == 1:
            total, squares = self._traces(np.asarray(gradient, dtype=float))
            return np.maximum(total**2 / np.maximum(squares, tiny), 1.0)
        _, first, second = each = self.variances(gradient)
        spent = first**2 / self.degrees[0] + second**2 / self.degrees[1]
        return np.maximum(each.max(axis=0) ** 2 / np.maximum(spent, tiny), 1.0)

    def _traces(self, gradient):
        """Trace of what the variance is a quadratic form of, and of its square, were looks independent."""
        inverse = np.linalg.inv(self.information.sum(axis=0))
        weights = np.einsum("...k,gkj->...gj", gradient, self.adjusted)
        pulls = np.einsum("...gk,gkj->...gj", weights, self.information)
        own = (pulls * weights).sum(axis=-1)
        leverage = np.einsum("...gk,kj,...gj->...g", pulls, inverse, pulls)
        shared = inverse @ np.einsum("...gk,...gj->...kj", pulls, pulls)
        squares = (own**2 - 2 * own * leverage).sum(axis=-1) + np.einsum("...kj,...jk->...", shared, shared)
        return (own - leverage).sum(axis=-1), squares


def find_spread(design, score, weight, clusters):
    """Spread of the coefficients of a generalised linear model.

    Parameters
    ----------
    design : numpy.ndarray, shape (n, k)
        Columns of the regression.
    score : numpy.ndarray, shape (n, k)
        Derivative of each row's log likelihood.
    weight : numpy.ndarray, shape (n,)
        Working weight of each row.
    clusters : dict of str to numpy.ndarray of int, shape (n,)
        One or two kinds.

    Returns
    -------
    Spread
    """
    size = design.shape[1]
    rows = design[:, :, None] * (design * weight[:, None])[:, None, :]
    values, vectors = np.linalg.eigh(rows.sum(axis=0))
    half = (vectors / np.sqrt(values)) @ vectors.T

    def sandwich(codes):
        count = codes.max() + 1
        own_score, information = np.zeros((count, size)), np.zeros((count, size, size))
        np.add.at(own_score, codes, score)
        np.add.at(information, codes, rows)
        share, axes = np.linalg.eigh(half @ information @ half)
        # A cluster that alone holds a coefficient (share 1) leaves no residual to learn from.
        left = 1 - share
        stretch = np.where(left > 1e-9, 1 / np.sqrt(np.maximum(left, 1e-9)), 0.0)
        adjusted = half @ ((axes * stretch[:, None, :]) @ np.swapaxes(axes, 1, 2)) @ half
        moves = np.einsum("gkj,gj->gk", adjusted, own_score)
        return moves.T @ moves, adjusted, information

    degrees = tuple(int(codes.max()) for codes in clusters.values())
    alone = [sandwich(codes) for codes in clusters.values()]
    if len(alone) == 1:
        covariance, adjusted, information = alone[0]
        return Spread(covariances=covariance[None], degrees=degrees, adjusted=adjusted, information=information)
    overlap = np.unique(np.column_stack(list(clusters.values())), axis=0, return_inverse=True)[1].ravel()
    first, second = (one[0] for one in alone)
    return Spread(covariances=np.stack([first + second - sandwich(overlap)[0], first, second]), degrees=degrees)
