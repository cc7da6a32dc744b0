"""Linear figures of the latent effects, and their posteriors.

A figure is a sum of critical temperatures of cells: a floor is one cell's, a comparison one cell's minus another's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from hardiness.tolerance.basis import Basis, Figures
from hardiness.tolerance.design import Design
from hardiness.tolerance.distribution import Distribution
from hardiness.tolerance.factor import blas_threads
from hardiness.tolerance.latent import Mode
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Matrix, to_dense
from hardiness.tolerance.mixture import Mixture
from hardiness.tolerance.paths import effect_paths
from hardiness.tolerance.posterior import Draws, Node, Posterior
from hardiness.tolerance.sample import Sample
from hardiness.tolerance.skewness import gap_cubes, row_cubes

SKEW_BUDGET = 2_000_000  # figures x rows x nodes; past it, lighter nodes take the mean skewness of the heavier ones
LARGEST_SKEW = 20_000_000  # figures x rows; past it figures are taken as symmetric at a node
LEAST_SPREAD = 1e-6  # of the logarithms of nodes' sizes: below it all nodes are alike
MOST_RATIO = 2.0  # of a figure's standard deviation to Laplace's
LEAST_SD = 1e-9  # [K] of a figure that nothing moves
CHUNK = 100_000  # figures x rows at a time: few enough for the cache


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
    alpha = np.broadcast_to(np.zeros(design.n_dense), (n, design.n_dense))
    return Figures((left - right).tocsr(), alpha, np.zeros(n))


def posterior_of(posterior: Posterior, figures: Figures) -> Distribution:
    """Posterior of figures: of the draws themselves where these are the answer, else :func:`mixture_of`.

    Parameters
    ----------
    posterior : Posterior
    figures : Figures

    Returns
    -------
    Mixture or Sample
    """
    draws = posterior.draws
    if draws is None or not draws.direct:
        return mixture_of(posterior, figures)
    return sample_of(posterior, draws, figures).simplified()  # once, so that all answers are of the same draws


def sample_of(posterior: Posterior, draws: Draws, figures: Figures) -> Sample:
    """Figures of joint draws.

    Parameters
    ----------
    posterior : Posterior
    draws : Draws
        Its draws.
    figures : Figures

    Returns
    -------
    Sample
    """
    basis = Basis.of(posterior.design, figures)
    means = np.array([basis.values(node.mean) for node in posterior.nodes])
    values = (basis.coefficients @ (means[draws.node] + basis.draws(draws)).T).T
    return Sample(draws.weights, figures.offset + values, draws.node)


def mixture_of(posterior: Posterior, figures: Figures) -> Mixture:
    """Posterior of figures, as a mixture over the nodes.

    At each node a figure has the mean, standard deviation and skewness of the Laplace approximation. Where there are
    joint draws, its means and standard deviations move with what their weights change: the mean by a number of the
    node's own standard deviations, the standard deviations by the same ratio at every node.

    Parameters
    ----------
    posterior : Posterior
    figures : Figures

    Returns
    -------
    Mixture
    """
    design, nodes = posterior.design, posterior.nodes
    basis = Basis.of(design, figures)
    count, rows = basis.coefficients.shape[0], design.low.size
    by_node = SKEW_BUDGET // max(count * rows, 1)
    by_node = max(by_node, 1) if count * rows <= LARGEST_SKEW else 0
    means, sds, skews, sizes = [], [], [], []
    with blas_threads():
        for index, node in enumerate(nodes):
            covariances = basis.covariances(node.mode)
            variance = basis.pair_sums @ covariances
            means.append(figures.offset + basis.coefficients @ basis.values(node.mean))
            sds.append(np.sqrt(np.maximum(variance, LEAST_SD**2)))
            sizes.append(max(float(np.sqrt(np.mean(variance))), LEAST_SD))
            if index < by_node:
                reduced = reduce_figures(design, node.mode, figures)
                skews.append(_third_cumulant(design, node, reduced) / sds[-1] ** 3)
        mean, sd, skew = np.array(means), np.array(sds), _at_every_node(posterior, skews, count)
        if posterior.draws is not None:
            shift, ratio = _changes(posterior, posterior.draws, basis, np.array(sizes), sd)
            mean, sd = mean + np.array(sizes)[:, None] * shift, sd * ratio
    return Mixture(posterior.weights, mean, sd, skew)


def _at_every_node(posterior: Posterior, skews: list[Floats], count: int) -> Floats:
    """Skewness at every node, dims (node, figure): the lighter ones take the mean of those known, all 0 if none is."""
    if not skews:
        return np.zeros((len(posterior.nodes), count))
    known = np.array(skews)
    usual = np.average(known, axis=0, weights=posterior.weights[: len(known)])
    return np.concatenate([known, np.broadcast_to(usual, (len(posterior.nodes) - len(known), count))])


def _changes(posterior: Posterior, draws: Draws, basis: Basis, sizes: Floats, sd: Floats) -> tuple[Floats, Floats]:
    """What the draws' weights change: shift of each figure's mean at each node in units of ``sizes``, ratio of its sd.

    The shift is a line in the logarithm of ``sizes``: where nothing but the prior ends a posterior on one side, Laplace
    errs more at nodes that are sure of it than at those that are not.
    """
    values = basis.draws(draws) / sizes[draws.node][:, None]
    logs = np.log(sizes)
    # The same draws without their weights: what both have by chance falls out.
    within = posterior.weights[draws.node] * len(posterior.nodes) / draws.node.size
    centre = float(draws.weights @ logs[draws.node])
    away = logs[draws.node] - centre
    spread = float(draws.weights @ away**2)

    def moments(weights: Floats) -> tuple[Floats, Floats, Floats]:
        level = basis.coefficients @ (weights @ values)
        slope = basis.coefficients @ ((weights * away) @ values) / max(spread, LEAST_SPREAD)
        second = basis.pair_sums @ basis.pair_moments(values, weights)
        return level, slope, second - level**2 - slope**2 * spread

    level, slope, variance = moments(draws.weights)
    if draws.plain:
        usual, usual_slope, expected = moments(within)
        level, slope = level - usual, slope - usual_slope
    else:
        expected = posterior.weights @ (sd / sizes[:, None]) ** 2
    ratio = np.sqrt(np.maximum(variance, 1e-12) / np.maximum(expected, 1e-12))
    shift = level + np.outer(logs - centre, slope)
    return shift, np.clip(ratio, 1.0 / MOST_RATIO, MOST_RATIO)


@dataclass(frozen=True, slots=True)
class Reduced:
    """Figures resolved into independent parts: dense block, cells' own and selections' own deviations.

    Parameters
    ----------
    dense : ndarray, dims (figure, dense)
        Coefficients of the dense block.
    cells : sparse matrix, dims (figure, cell)
        Of each cell's own remaining deviation.
    selections : sparse matrix, dims (figure, selection)
        Of each selection's own remaining deviation.
    answer : ndarray, dims (figure, dense)
        Covariance of the figure with the dense block. [K2]
    variance : ndarray, dims (figure,)
        [K2]
    """

    dense: Floats
    cells: Matrix
    selections: Matrix
    answer: Floats
    variance: Floats


def reduce_figures(design: Design, mode: Mode, figures: Figures) -> Reduced:
    """Resolve figures into the parts that are independent at a mode.

    Parameters
    ----------
    design : Design
    mode : Mode
    figures : Figures

    Returns
    -------
    Reduced
    """
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
    return Reduced(dense, figures.cells, selections, answer, np.maximum(variance, 0.0))


def _third_cumulant(design: Design, node: Node, reduced: Reduced) -> Floats:
    """T(u, u, u): each row's third derivatives on the figure's covariance with the row's critical temperatures."""
    mode, factor = node.mode, node.mode.factor
    sums = effect_paths(design, factor)[3]
    plant = design.plant_of_row
    cell = design.cell_of_plant[plant]
    selection = design.selection_of_cell[cell]
    on_cell = (sums.cell[plant] * factor.variance[1][cell])[:, None]
    on_selection = (sums.selection[plant] * factor.variance[2][selection])[:, None]
    whole = gap_cubes(mode, reduced.answer)
    step = max(1, CHUNK // max(plant.size, 1))
    for first in range(0, whole.size, step):
        part = slice(first, first + step)
        answer = reduced.answer[part].T
        shared = to_dense(sums.dense @ answer)[plant]
        shared += reduced.cells[part].toarray().T[cell] * on_cell
        shared += reduced.selections[part].toarray().T[selection] * on_selection
        whole[part] += row_cubes(
            mode, shared + to_dense(design.upper @ answer), shared + to_dense(design.lower @ answer)
        )
    return whole
