r"""What the model would have said of each row before it saw the plant's grade: the ground of every calibration.

Each row is predicted from all other plants and from this plant's own earlier rows: the row itself and what the plant
did afterwards are left out, in one Newton step (:mod:`hardiness.tolerance.leaving`), at points drawn from the posterior
of the scales. The freeze is known as far as other plants tell it; the plant's own deviation is integrated out as far
as its earlier rows leave it open. Predictions made in the order of events are right on average whatever the plant
survived before (Dawid 1984, doi:10.2307/2981683); leaving out single rows is not, since a row that exists says that the
plant lived through all earlier ones.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from hardiness.tolerance.design import Design
from hardiness.tolerance.factor import blas_threads
from hardiness.tolerance.leaving import Leverage, shared_effects, telling_rows
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Indices, Matrix, to_dense
from hardiness.tolerance.posterior import Node, Posterior
from hardiness.tolerance.rows import is_named
from hardiness.tolerance.spread import spread_share

MOST_NODES = 8  # points of the scales; past MANY_ROWS only one
MANY_ROWS = 20_000
CHUNK = 20_000  # probabilities at a time


@dataclass(frozen=True, slots=True)
class Prediction:
    """Each telling row's probabilities of new damage, and what was seen.

    Parameters
    ----------
    table : DataFrame
        The telling rows, in the order of the arrays.
    reach : ndarray, dims (row, grade)
        Probability that the new damage is grade 1, 2, ... or worse. [1]
    standing : ndarray of int, dims (row,)
        Grade that the plant carried already: up to it nothing can be seen.
    """

    table: pd.DataFrame
    reach: Floats
    standing: Indices

    @property
    def worst(self) -> int:
        """The last grade."""
        return int(self.reach.shape[1])

    def reached(self, grade: int) -> tuple[Indices, Floats, Floats]:
        """Rows on which reaching a grade could be seen, its probability there, and whether it was reached (0 or 1).

        Parameters
        ----------
        grade : int
            1..K.

        Returns
        -------
        rows : ndarray of int
        probability, seen : ndarray
        """
        low, high = self.table["grade_low"].to_numpy(), self.table["grade"].to_numpy()
        known = (self.standing < grade) & ((low >= grade) | (high < grade))
        rows = np.flatnonzero(known)
        return rows, self.reach[rows, grade - 1], (low[rows] >= grade).astype(float)

    def grades(self) -> Floats:
        """Probability of each state 0..K: the worse of the new damage and the standing grade; dims (row, state).

        Returns
        -------
        ndarray, dims (row, state)
            [1]
        """
        n = self.reach.shape[0]
        at_least = np.concatenate([np.ones((n, 1)), self.reach], axis=1)
        states = np.arange(self.worst + 1)[None, :]
        at_least = np.where(states <= self.standing[:, None], 1.0, at_least)
        below = np.concatenate([at_least[:, 1:], np.zeros((n, 1))], axis=1)
        return np.asarray(at_least - below)


def predict_rows(posterior: Posterior) -> Prediction:
    """Predict every telling row from the other plants and the plant's own past.

    Parameters
    ----------
    posterior : Posterior

    Returns
    -------
    Prediction
    """
    design = posterior.design
    table = design.table[telling_rows(design)].reset_index(drop=True)
    histories, standing = _histories(design, table)
    shared = shared_effects(design)
    reach = np.zeros((len(table), design.worst))
    with blas_threads():
        for node, share in _chosen(posterior):
            mean, variance = _cavities(design, node, shared, histories)
            reach += share * _probabilities(design, mean, variance, node.mode.scales["sigma"])
    return Prediction(table, reach, standing)


def _chosen(posterior: Posterior) -> list[tuple[Node, float]]:
    """Draw a few nodes evenly by weight, along the spread of plants: the same posterior gives the same ones."""
    count = MOST_NODES if posterior.design.low.size <= MANY_ROWS else 1
    order = np.argsort(posterior.scale("tau_u"), kind="stable")
    ends = np.cumsum(posterior.weights[order])
    picked = np.searchsorted(ends, (np.arange(count) + 0.5) / count * ends[-1])
    nodes, times = np.unique(picked, return_counts=True)
    return [(posterior.nodes[order[node]], float(n) / count) for node, n in zip(nodes, times, strict=True)]


def _histories(design: Design, table: pd.DataFrame) -> tuple[list[Indices], Indices]:
    """Each plant's rows in the order of events, and the grade that stood before each row."""
    when = table["scored_on"].astype(str) if is_named(table, "scored_on") else table["freeze"]
    winter = table["winter"].astype(str) if is_named(table, "winter") else pd.Series("", index=table.index)
    low, high = table["grade_low"].to_numpy(np.int64), table["grade"].to_numpy(np.int64)
    order = pd.DataFrame({"plant": design.plant_of_row, "dead": low == design.worst, "when": when, "winter": winter})
    sorted_rows = order.sort_values(["plant", "dead", "when"], kind="stable").index.to_numpy(np.int64)
    plants = design.plant_of_row[sorted_rows]
    same = (np.diff(plants) == 0) & (winter.to_numpy()[sorted_rows][1:] == winter.to_numpy()[sorted_rows][:-1])
    before = np.zeros(len(table), dtype=np.int64)
    if is_named(table, "winter"):
        before[sorted_rows[1:]] = np.where(same, high[sorted_rows[:-1]], 0)
    # A row that says what it added stood lower before; one that does not stood at least where it stands now.
    standing = np.where(low > 0, np.minimum(before, np.maximum(low - 1, 0)), np.where(high > 0, high, 0))
    return np.split(sorted_rows, np.flatnonzero(np.diff(plants)) + 1), standing


def _cavities(
    design: Design, node: Node, shared: Matrix, histories: list[Indices]
) -> tuple[Floats, Floats]:  # fmt: skip
    """Mean and variance of every critical temperature of each row, without the row and the plant's later ones."""
    leverage = Leverage.of(node.mode)
    own = node.mean.plants + (node.mean.cells + node.mean.selections[design.selection_of_cell])[design.cell_of_plant]
    alpha = np.array([design.alpha_row(grade) for grade in range(1, design.grades)])
    n, worst = design.low.size, design.worst
    mean, variance = np.empty((n, worst)), np.empty((n, worst))
    level = alpha @ node.mean.dense
    for history in histories:
        plant = design.plant_of_row[history[0]]
        border = to_dense(shared[history]) + to_dense(leverage.sums.dense[[plant]])
        targets = (border[:, None, :] + alpha[None, :, :]).reshape(-1, design.n_dense)
        ends, plants = leverage.ends(history)
        gradient, weight = leverage.weights(history)
        spread = leverage.covariance(ends, plants, ends, plants)
        across = leverage.covariance(targets, np.repeat(plant, len(targets)), ends, plants)
        moved = targets @ leverage.mode.factor.dense_covariance
        of_plant = leverage.covariance(
            np.zeros((1, design.n_dense)), plants[:1], np.zeros((1, design.n_dense)), plants[:1]
        )
        total = (np.einsum("ij,ij->i", moved, targets) + of_plant[0, 0]).reshape(-1, worst)
        centre = to_dense(shared[history]) @ node.mean.dense + own[plant]
        for place, row in enumerate(history):
            later = np.r_[place : history.size, history.size + place : 2 * history.size]
            cov = across[place * worst : (place + 1) * worst][:, later]
            part = weight[np.ix_(later, later)]
            answer = np.linalg.solve(
                np.eye(later.size) - part @ spread[np.ix_(later, later)],
                np.concatenate([gradient[later][:, None], part @ cov.T], axis=1),
            )
            mean[row] = centre[place] + level - cov @ answer[:, 0]
            variance[row] = total[place] + np.einsum("ij,ji->i", cov, answer[:, 1:])
    return mean, variance


def _probabilities(design: Design, mean: Floats, variance: Floats, sigma: float) -> Floats:
    away = design.alpha_mean - design.exposure + sigma * design.log_near
    values = (mean + away[:, None]).ravel()
    sd = np.sqrt(np.maximum(variance, 0.0)).ravel()
    whole = np.empty(values.size)
    for first in range(0, values.size, CHUNK):
        part = slice(first, first + CHUNK)
        whole[part] = spread_share(values[part], sd[part], np.full(values[part].size, sigma))
    return np.minimum.accumulate(whole.reshape(mean.shape), axis=1)  # each grade is no likelier than a milder one
