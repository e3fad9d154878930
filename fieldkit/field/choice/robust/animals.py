"""Do "the animals" choose, or some of them? Units that go their own way, animals that differ, the one met most."""

from dataclasses import dataclass

import numpy as np

from fieldkit.field.choice.robust import chance as choice_chance

# An animal with at least this share of the sets is left out once, and the verdict has to stand (our choice).
LARGE_SHARE = 0.3
# Level at which animals are said to differ, or to choose each in its own way (our choice: half of 5 %, beside the 5 %
# of the candidates).
DIFFER_LEVEL = 0.05
APART_LEVEL = 0.02
# Share of animals with the season's sign above which "most" of them are said to choose (our choice).
MOST = 0.75


@dataclass(frozen=True, eq=False, kw_only=True)
class Animals:
    """Whom the verdict speaks of.

    Attributes
    ----------
    whom : {"the animals", "the animals on average", "most of the animals", "some of the animals", "one of the animals"}
        "On average" where animals may differ by half of the effect (standard deviation) without its having shown.
    differ_p : float
        Test that slopes do not differ between animals; NaN with fewer than three named animals.
    differ : bool
    spread : Series
        Standard deviation between animals of the log odds per within-set standard deviation, by driver; 0 where none
        shows.
    missable : Series
        Standard deviation that would have gone unnoticed in one season of five.
    largest, largest_share : str, float
        The animal met most and its share of the sets.
    without_largest : str or None
        Verdict with that animal left out, where its share is large.
    apart_p : float
        Test of animals that choose, each in its own way, against random choice; NaN where it cannot be made.
    """

    whom: str
    differ_p: float
    differ: bool
    spread: object
    missable: object
    worst: float
    largest: str
    largest_share: float
    without_largest: str | None
    apart_p: float


def apart(sums, units, owners, permutations, rng):
    """P-value that animals choose each in its own way: squared scores of animals under turned units.

    Parameters
    ----------
    sums : ndarray, shape (sets, columns)
        Score of each set at no selection, in units of its spread.
    units : list of ndarray
        Codes of what has its sign flipped as a whole; the largest p-value counts.
    owners : ndarray, shape (sets,)
        Code of the animal, below 0 for none.
    permutations : int
        Draws.
    rng : numpy.random.Generator
        Source of the draws.

    Returns
    -------
    float
    """
    known = owners >= 0
    if len(np.unique(owners[known])) < 2:
        return np.nan
    worst = 0.0
    for unit in units:
        codes = np.unique(unit[known], return_inverse=True)[1]
        owner = np.zeros(codes.max() + 1, dtype=int)
        owner[codes] = owners[known]
        by_unit = choice_chance.unit_sums(sums[known], codes)
        own = np.eye(by_unit.shape[1])
        seen = _squares(by_unit, owner, np.ones((1, len(by_unit))), None, own).sum()
        drawn = np.concatenate(
            [
                _squares(by_unit, owner, s, None, own).sum(axis=1)
                for _, s in choice_chance.signs(permutations, len(by_unit), rng)
            ]
        )
        worst = max(worst, (1 + (drawn >= seen * (1 - 1e-9)).sum()) / (permutations + 1))
    return float(worst)


def differences(values, used, sets, owners, units, coefficients, permutations, rng):
    """Do slopes differ between animals? Scores at the joint fit, squared by animal, signs of visits flipped.

    Parameters
    ----------
    values : ndarray, shape (n, p)
        Drivers in units of their within-set standard deviation.
    used, sets : ndarray, shape (n,)
        Whether the place was used, and the code of its set.
    owners, units : ndarray, shape (sets,)
        Code of the animal of each set (below 0 for none), and of what has its sign flipped as a whole.
    coefficients : ndarray, shape (p,)
        Joint fit, per within-set standard deviation.
    permutations : int
        Draws.
    rng : numpy.random.Generator
        Source of the draws.

    Returns
    -------
    p : float
        All drivers together.
    spread : ndarray, shape (p,)
        Standard deviation between animals by moments.
    missable : ndarray, shape (p,)
        What four seasons of five would have shown, at 5 %.
    worst : float
        The same in the direction, of one driver or of one against another, in which least would have shown.
    """
    eta = values @ coefficients
    n_sets = len(owners)
    top = np.full(n_sets, -np.inf)
    np.maximum.at(top, sets, eta)
    weight = np.exp(eta - top[sets])
    prob = weight / np.bincount(sets, weights=weight)[sets]
    taken = np.bincount(sets, weights=used)
    mean = np.stack([np.bincount(sets, weights=prob * c) for c in values.T], axis=1)
    score = np.stack([np.bincount(sets, weights=used * c) for c in values.T], axis=1) - taken[:, None] * mean
    moved = (values - mean[sets]) * np.sqrt(prob * taken[sets])[:, None]
    known = owners >= 0
    animals, owner = np.unique(owners[known], return_inverse=True)
    information = np.zeros((len(animals), values.shape[1], values.shape[1]))
    row_owner = np.full(n_sets, -1)
    row_owner[known] = owner
    for a in range(len(animals)):
        mine = moved[row_owner[sets] == a]
        information[a] = mine.T @ mine
    codes = np.unique(units[known], return_inverse=True)[1]
    unit_owner = np.zeros(codes.max() + 1, dtype=int)
    unit_owner[codes] = owner
    by_unit = choice_chance.unit_sums(score[known], codes)
    shares = information @ np.linalg.pinv(information.sum(axis=0))
    directions = _directions(values.shape[1])
    blocks = [np.ones((1, len(by_unit)))]
    blocks += [s for _, s in choice_chance.signs(permutations, len(by_unit), rng)]
    squares = np.concatenate([_squares(by_unit, unit_owner, s, shares, directions) for s in blocks])
    p = _best_of(squares)
    seen, drawn = squares[0], squares[1:]
    # Along a direction each animal's squared score holds I_a + v I_a² at a variance v of the slopes.
    square = np.einsum("kj,aji,ki->ak", directions, information, directions) ** 2
    length = (directions**2).sum(axis=1)
    along = ((by_unit @ directions.T) ** 2).sum(axis=0)
    per_variance = np.sum(square, axis=0) / length**2 * length / np.maximum(along, 1e-300)
    spread = np.sqrt(np.maximum(0.0, (seen - drawn.mean(axis=0)) / per_variance))
    # A rise of the mean by the 95 % point and 0.84 standard deviations is seen in four seasons of five.
    lift = np.quantile(drawn, 0.95, axis=0) - drawn.mean(axis=0) + 0.84 * drawn.std(axis=0)
    missable = np.sqrt(np.maximum(0.0, lift / per_variance))
    count = values.shape[1]
    return p, spread[:count], missable[:count], float(missable.max())


def _directions(p):
    """Each driver by itself, and each against each other one: where drivers travel together, only that tells."""
    own = np.eye(p)
    pairs = [own[i] - own[j] for i in range(p) for j in range(i + 1, p)]
    return np.vstack([own, *pairs])


def _best_of(squares):
    """P-value of the first row's best column among all rows, each column by its rank."""
    from scipy import stats

    tail = stats.rankdata(-squares, method="max", axis=0)
    smallest = tail.min(axis=1)
    return float((smallest <= smallest[0]).mean())


def _squares(by_unit, owner, signs, shares, directions):
    """Sum over animals of squared scores along each direction, in units of its spread.

    `shares` takes out the slope that all animals have in common.
    """
    counts = owner.max() + 1
    one = np.zeros((len(owner), counts))
    one[np.arange(len(owner)), owner] = 1.0
    scores = np.stack([signs @ (one * c[:, None]) for c in by_unit.T], axis=2)
    if shares is not None:
        scores = scores - np.einsum("aij,dj->dai", shares, scores.sum(axis=1))
    along = scores @ directions.T
    spread = ((by_unit @ directions.T) ** 2).sum(axis=0)
    return (along**2).sum(axis=1) / np.maximum(spread, 1e-300)
