r"""Whether what the model says happens as often as it says: calibration, grades by exposure, cells that fit badly.

All of it rests on :mod:`hardiness.tolerance.prediction`: each row predicted without itself and without what its plant
did later. The limits of a count are those of independent draws with the rows' own probabilities (the Poisson-binomial
distribution): where a freeze or a cell surprises as a whole, its rows leave them together.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import stats

from hardiness import schema
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Indices
from hardiness.tolerance.prediction import Prediction

EDGES = (0.0, 0.05, 0.1, 0.2, 0.4, 0.6, 0.8, 1.0)  # of predicted probabilities
LEVEL = 0.9
MOST_EXACT = 2_000  # rows of an exact Poisson-binomial; beyond, the normal with its mean and variance
MOST_BINS = 8  # of exposures
ROUND_STEPS = (0.5, 1.0, 2.0, 5.0, 10.0)  # [K]


def count_distribution(probabilities: Floats) -> Floats:
    """Probability of each count 0..n of independent events.

    Parameters
    ----------
    probabilities : ndarray, dims (event,)

    Returns
    -------
    ndarray, dims (count,)

    Examples
    --------
    >>> count_distribution(np.array([0.5, 0.5])).tolist()
    [0.25, 0.5, 0.25]
    """
    n = probabilities.size
    if n > MOST_EXACT:
        centre, sd = probabilities.sum(), np.sqrt(np.sum(probabilities * (1.0 - probabilities)))
        edges = stats.norm.cdf(np.arange(n + 2) - 0.5, centre, max(sd, 1e-9))
        whole = np.diff(edges)
        return np.asarray(whole / whole.sum())
    whole = np.zeros(n + 1)
    whole[0] = 1.0
    for number, p in enumerate(probabilities, start=1):
        whole[1 : number + 1] = whole[1 : number + 1] * (1.0 - p) + whole[:number] * p
        whole[0] *= 1.0 - p
    return whole


def count_limits(probabilities: Floats, level: float = LEVEL) -> tuple[int, int]:
    """Central limits of a count of independent events: each tail beyond them is at most half of the rest.

    Parameters
    ----------
    probabilities : ndarray, dims (event,)
    level : float

    Returns
    -------
    low, high : int
    """
    below = np.cumsum(count_distribution(probabilities))
    tail = (1.0 - level) / 2.0
    last = probabilities.size
    low = int(np.searchsorted(below, tail, side="right"))
    high = int(np.searchsorted(below, 1.0 - tail, side="left"))
    return min(low, last), min(high, last)


def count_surprise(probabilities: Floats, seen: float) -> float:
    """Two-sided probability of a count as far out as the one seen, half of its own probability counted (mid-p).

    Parameters
    ----------
    probabilities : ndarray, dims (event,)
    seen : float
        The count.

    Returns
    -------
    float

    Examples
    --------
    >>> round(count_surprise(np.full(10, 0.5), 5.0), 6), round(count_surprise(np.full(10, 0.5), 0.0), 6)
    (1.0, 0.000977)
    """
    whole, at = count_distribution(probabilities), int(seen)
    below = float(whole[:at].sum() + 0.5 * whole[at])
    return min(1.0, 2.0 * min(below, 1.0 - below))


def calibration_table(prediction: Prediction) -> pd.DataFrame:
    """Predicted against seen, for every grade, in bins of the predicted probability.

    Parameters
    ----------
    prediction : Prediction

    Returns
    -------
    DataFrame
        Columns of ``schema.CALIBRATION``; bins without a row are left out.
    """
    parts = []
    for grade in range(1, prediction.worst + 1):
        _, probability, seen = prediction.reached(grade)
        bins = np.clip(np.searchsorted(EDGES, probability, side="right") - 1, 0, len(EDGES) - 2)
        for number in np.unique(bins):
            inside = bins == number
            low, high = count_limits(probability[inside])
            parts.append((grade, EDGES[number], EDGES[number + 1], int(inside.sum()), probability[inside].sum(),
                          int(seen[inside].sum()), low, high))  # fmt: skip
    names = schema.column_names(schema.CALIBRATION)
    return pd.DataFrame(parts, columns=names[:-1]).assign(
        as_predicted=lambda t: t["reached"].between(t["low"], t["high"])
    )[names]


def calibration_tests(prediction: Prediction) -> pd.DataFrame:
    """For every grade: how many rows reached it, against what was predicted, and the probability of such a surprise.

    Parameters
    ----------
    prediction : Prediction

    Returns
    -------
    DataFrame
        ``grade, rows, expected, reached, count_p, shape_p``: two-sided probability of the count; upper probability
        of Pearson's statistic over the bins of :func:`calibration_table`, by 999 fixed draws from the predictions.
    """
    rng = np.random.default_rng(20_021)
    found = []
    for grade in range(1, prediction.worst + 1):
        _, probability, seen = prediction.reached(grade)
        if probability.size == 0:
            continue
        bins = np.clip(np.searchsorted(EDGES, probability, side="right") - 1, 0, len(EDGES) - 2)
        member = (bins[None, :] == np.unique(bins)[:, None]).astype(float)
        spread = np.maximum(member @ (probability * (1.0 - probability)), 1e-12)

        def pearson(draws: Floats, member: Floats = member, p: Floats = probability, var: Floats = spread) -> Floats:
            return np.asarray(np.sum((member @ (draws - p[:, None])) ** 2 / var[:, None], axis=0))

        drawn = pearson((rng.random((probability.size, 999)) < probability[:, None]).astype(float))
        above = float((1 + np.sum(drawn >= pearson(seen[:, None])[0] - 1e-9)) / 1000)
        found.append((grade, probability.size, float(probability.sum()), int(seen.sum()),
                      count_surprise(probability, seen.sum()), above))  # fmt: skip
    return pd.DataFrame(found, columns=["grade", "rows", "expected", "reached", "count_p", "shape_p"])


def grades_by_exposure(prediction: Prediction) -> pd.DataFrame:
    """How many rows stood at each grade, by exposure, against what was predicted.

    Parameters
    ----------
    prediction : Prediction

    Returns
    -------
    DataFrame
        Columns of ``schema.GRADES_BY_EXPOSURE``, coldest bin first; exposures in degC.
    """
    exposure = prediction.table["exposure_c"].to_numpy(float)
    state = prediction.table["grade"].to_numpy(np.int64)
    chances = prediction.grades()
    edges = _exposure_edges(exposure)
    bins = np.clip(np.searchsorted(edges, exposure, side="right") - 1, 0, edges.size - 2)
    rows = []
    for number in np.unique(bins):
        inside = bins == number
        for grade in range(prediction.worst + 1):
            chance = np.clip(chances[inside, grade], 0.0, 1.0)
            low, high = count_limits(chance)
            seen = int(np.sum(state[inside] == grade))
            rows.append((edges[number], edges[number + 1], int(inside.sum()), grade, chance.sum(), seen, low, high,
                         low <= seen <= high))  # fmt: skip
    return pd.DataFrame(rows, columns=schema.column_names(schema.GRADES_BY_EXPOSURE))


def _exposure_edges(exposure: Floats) -> Floats:
    """Round edges, at most eight bins from the coldest exposure to the warmest."""
    cold, warm = float(exposure.min()), float(exposure.max())
    step = next((step for step in ROUND_STEPS if (warm - cold) / step <= MOST_BINS - 1), ROUND_STEPS[-1])
    first, last = np.floor(cold / step), np.floor(warm / step) + 1
    return np.asarray(np.arange(first, last + 1) * step)


def cell_fit(prediction: Prediction) -> pd.DataFrame:
    """Each cell's grades and losses against what was predicted, the worst fit first.

    Parameters
    ----------
    prediction : Prediction

    Returns
    -------
    DataFrame
        Columns of ``schema.CELL_FIT``. Plants of one cell are predicted from each other, which makes the probabilities
        cautious: they are too large rather than too small.
    """
    table, chances = prediction.table, prediction.grades()
    steps = np.arange(prediction.worst + 1)
    mean = chances @ steps
    spread = np.maximum(chances @ steps**2 - mean**2, 0.0)
    reach = _losses(prediction)
    parts = []
    members: dict[tuple[str, str], list[int]] = {}
    for number, cell in enumerate(zip(table["selection"], table["rootstock"], strict=True)):
        members.setdefault(cell, []).append(number)
    for cell in sorted(members):
        rows = np.array(members[cell])
        killed, chance = reach[0][rows], reach[1][rows]
        away = float(np.sum(table["grade"].to_numpy()[rows] - mean[rows]))
        sd = float(np.sqrt(spread[rows].sum()))
        grade_p = float(2.0 * stats.norm.sf(abs(away) / sd)) if sd > 0 else 1.0
        parts.append((*cell, len(rows), table["grade"].to_numpy()[rows].mean(), mean[rows].mean(),
                      grade_p, int(killed.sum()), chance.sum(), *count_limits(chance),
                      count_surprise(chance, killed.sum())))  # fmt: skip
    found = pd.DataFrame(parts, columns=schema.column_names(schema.CELL_FIT))
    worst = found[["grade_p", "killed_p"]].min(axis=1)
    return found.loc[worst.sort_values(kind="stable").index].reset_index(drop=True)


def _losses(prediction: Prediction) -> tuple[Floats, Floats]:
    """For every row whether the plant was lost, and the chance of it; 0 where it could not be seen."""
    rows: Indices
    rows, probability, seen = prediction.reached(prediction.worst)
    killed, chance = np.zeros(len(prediction.table)), np.zeros(len(prediction.table))
    killed[rows], chance[rows] = seen, probability
    return killed, chance
