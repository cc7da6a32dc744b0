"""Linear figures of the latent effects, and their posteriors.

A figure is a sum of critical temperatures of cells: a floor is one cell's, a comparison one cell's minus another's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from hardiness.tolerance.design import Design
from hardiness.tolerance.factor import blas_threads
from hardiness.tolerance.latent import Mode
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Matrix, to_dense
from hardiness.tolerance.mixture import Mixture
from hardiness.tolerance.posterior import Node, Posterior

SKEW_BUDGET = 2_000_000  # figures x rows x nodes; past it, lighter nodes take the mean skewness of the heavier ones
LEAST_SD = 1e-9  # [K] of a figure that nothing moves
CHUNK = 4_000_000  # figures x rows at a time


@dataclass(frozen=True, slots=True)
class Figures:
    """Linear figures of one design.

    Parameters
    ----------
    cells : sparse matrix, dims (figure, cell)
        Coefficients of each cell's own effects: c + a + b.
    alpha : ndarray, dims (figure, dense)
        Coefficients of the critical temperatures.
    offset : ndarray, dims (figure,)
        A constant. [degC]
    """

    cells: Matrix
    alpha: Floats
    offset: Floats


def critical_temperatures(design: Design, grade: int) -> Figures:
    """Figures of every cell's critical temperature of a grade, for a typical plant.

    Parameters
    ----------
    design : Design
    grade : int
        1..K.

    Returns
    -------
    Figures
    """
    n = len(design.cells)
    alpha = np.broadcast_to(design.alpha_row(grade), (n, design.n_dense))
    return Figures(sparse.eye_array(n, format="csr"), alpha, np.full(n, design.alpha_mean))


def differences(design: Design, left: Matrix, right: Matrix) -> Figures:
    """Figures of differences between (means of) cells.

    Parameters
    ----------
    design : Design
    left, right : sparse matrices, dims (figure, cell)
        Weights of the cells, summing to 1 each.

    Returns
    -------
    Figures
    """
    n = left.shape[0]
    return Figures((left - right).tocsr(), np.zeros((n, design.n_dense)), np.zeros(n))


def posterior_of(posterior: Posterior, figures: Figures) -> Mixture:
    """Posterior of figures, as a mixture over the nodes.

    Parameters
    ----------
    posterior : Posterior
    figures : Figures

    Returns
    -------
    Mixture
    """
    design, nodes = posterior.design, posterior.nodes
    count, rows = figures.cells.shape[0], design.low.size
    by_node = max(1, SKEW_BUDGET // max(count * rows, 1))
    means, sds, skews = [], [], []
    with blas_threads(design):
        for index, node in enumerate(nodes):
            reduced = _reduce(design, node.mode, figures)
            means.append(figures.offset + figures.cells @ _cell_means(design, node) + figures.alpha @ node.mean.dense)
            sds.append(np.maximum(np.sqrt(reduced.variance), LEAST_SD))
            if index < by_node:
                skews.append(_third_cumulant(design, node, reduced) / sds[-1] ** 3)
    known = np.array(skews)
    usual = np.average(known, axis=0, weights=posterior.weights[: len(known)])
    filled = np.concatenate([known, np.broadcast_to(usual, (len(nodes) - len(known), count))])
    return Mixture(posterior.weights, np.array(means), np.array(sds), filled)


def _cell_means(design: Design, node: Node) -> Floats:
    own = node.mean.cells + node.mean.selections[design.selection_of_cell]
    means: Floats = own + design.cell_border @ node.mean.dense
    return means


@dataclass(frozen=True, slots=True)
class _Reduced:
    """Figures resolved into independent parts: dense block, cells' own and selections' own deviations."""

    dense: Floats
    cells: Matrix
    selections: Matrix
    answer: Floats
    variance: Floats


def _reduce(design: Design, mode: Mode, figures: Figures) -> _Reduced:
    factor = mode.factor
    n_cells, n_selections = len(design.cells), len(design.selections)
    to_selection = sparse.csr_array(
        (np.ones(n_cells), (np.arange(n_cells), design.selection_of_cell)), shape=(n_cells, n_selections)
    )
    dense = np.array(figures.alpha, dtype=float)
    dense += to_dense(figures.cells @ design.cell_border)
    dense -= to_dense(figures.cells.multiply(factor.variance[1][None, :]).tocsr() @ factor.coupling[1])
    selections = (figures.cells.multiply(factor.shrink[1][None, :]).tocsr() @ to_selection).tocsr()
    dense -= to_dense(selections.multiply(factor.variance[2][None, :]).tocsr() @ factor.coupling[2])
    answer = dense @ factor.dense_covariance
    variance = (
        np.einsum("ij,ij->i", answer, dense)
        + figures.cells.power(2) @ factor.variance[1]
        + selections.power(2) @ factor.variance[2]
    )
    return _Reduced(dense, figures.cells, selections, answer, np.maximum(variance, 0.0))


def _third_cumulant(design: Design, node: Node, reduced: _Reduced) -> Floats:
    """T(u, u, u): each row's third derivatives on the figure's covariance with the row's critical temperatures."""
    mode, sums, factor = node.mode, node.surroundings.sums, node.mode.factor
    terms, sigma = mode.terms, mode.scales["sigma"]
    plant = design.plant_of_row
    cell = design.cell_of_plant[plant]
    selection = design.selection_of_cell[cell]
    on_cell = (sums.cell[plant] * factor.variance[1][cell])[None, :]
    on_selection = (sums.selection[plant] * factor.variance[2][selection])[None, :]
    gap_parts = reduced.answer[:, design.gaps] ** 3 @ (4.0 / mode.gaps**3)
    whole = np.empty(reduced.answer.shape[0])
    step = max(1, CHUNK // max(plant.size, 1))
    for first in range(0, whole.size, step):
        part = slice(first, first + step)
        answer = reduced.answer[part]
        shared = to_dense(sums.dense @ answer.T).T[:, plant]
        shared = shared + reduced.cells[part].toarray()[:, cell] * on_cell
        shared = shared + reduced.selections[part].toarray()[:, selection] * on_selection
        upper = shared + to_dense(design.upper @ answer.T).T
        lower = shared + to_dense(design.lower @ answer.T).T
        cubes = (
            upper**3 @ terms.aaa
            + 3.0 * (upper**2 * lower) @ terms.aab
            + 3.0 * (upper * lower**2) @ terms.abb
            + lower**3 @ terms.bbb
        )
        whole[part] = cubes / sigma**3
    return whole + gap_parts
