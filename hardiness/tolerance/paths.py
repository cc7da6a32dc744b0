r"""What effects rest on: independent parts of the Gaussian around a mode, and the variances that follow from them.

Down the tree, with the factor's v, V, W and what stands above it, an effect deviates by

.. math:: x - m = -v (V d_{dense} + W d_{above}) + \sqrt v\, z

Followed up to the top, an effect of any level is a sum over the dense block and over what its plant, its cell and its
selection each keep for themselves; these are independent, so variances of sums are sums of squares.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hardiness.tolerance.design import Design
from hardiness.tolerance.factor import Factor
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Matrix, row_products, scaled, to_dense

CHUNK = 1_000  # plants at a time where a product with the dense block is formed: few enough for the cache


@dataclass(frozen=True, slots=True)
class Paths:
    """How effects of one level rest on independent parts: the dense block, and what each node keeps for itself.

    Parameters
    ----------
    dense : matrix, dims (node, dense)
        Coefficients of the dense block.
    plant, cell, selection : ndarray, dims (node,)
        Coefficients of the own remaining deviation of the node's plant, cell and selection (0 where it has none).
    """

    dense: Matrix
    plant: Floats
    cell: Floats
    selection: Floats


def effect_paths(design: Design, factor: Factor) -> tuple[Paths, Paths, Paths, Paths]:
    """Resolve the effects of plants, cells and selections, and their sum at each plant, into independent parts.

    Parameters
    ----------
    design : Design
    factor : Factor

    Returns
    -------
    plants, cells, selections, sums : Paths
        ``sums`` is u + c + a of each plant, dims (plant,).
    """
    own = [scaled(-variance, coupling) for variance, coupling in zip(factor.variance, factor.coupling, strict=True)]
    above = design.selection_of_cell
    selections = Paths(own[2], np.zeros(above.max() + 1), np.zeros(above.max() + 1), np.ones(above.max() + 1))
    answer = -factor.variance[1] * factor.weight[1]  # what a cell's effect gives way to its selection's
    cells = Paths(own[1] + scaled(answer, selections.dense[above]), np.zeros(above.size), np.ones(above.size), answer)
    cell = design.cell_of_plant
    both = Paths(
        (cells.dense + selections.dense[above])[cell], np.zeros(cell.size), np.ones(cell.size), 1.0 + answer[cell]
    )
    answer = -factor.variance[0] * factor.weight[0]
    plants = Paths(own[0] + scaled(answer, both.dense), np.ones(cell.size), answer, answer * both.selection)
    sums = Paths(plants.dense + both.dense, plants.plant, plants.cell + both.cell, plants.selection + both.selection)
    return plants, cells, selections, sums


def cell_paths(design: Design, factor: Factor) -> tuple[Matrix, Floats]:
    """How c + a of each cell rests on the dense block, and on the own remaining deviation of its selection.

    Parameters
    ----------
    design : Design
    factor : Factor

    Returns
    -------
    dense : matrix, dims (cell, dense)
    selection : ndarray, dims (cell,)
    """
    own = scaled(-factor.variance[1], factor.coupling[1])
    above = scaled(-factor.variance[2], factor.coupling[2])[design.selection_of_cell]
    return own + scaled(factor.shrink[1], above), factor.shrink[1]


def total_variance(design: Design, factor: Factor, paths: Paths, level: int, weights: Floats) -> float:
    """Weighted sum of the posterior variances of effects given by their paths, without each of them.

    Parameters
    ----------
    design : Design
    factor : Factor
    paths : Paths
    level : int
        0 plants, 1 cells, 2 selections.
    weights : ndarray, dims (node,)

    Returns
    -------
    float
        [K2]
    """
    shared = to_dense(paths.dense.T @ scaled(weights, paths.dense))
    return float(weights @ own_variances(design, factor, paths, level) + np.sum(shared * factor.dense_covariance))


def own_variances(design: Design, factor: Factor, paths: Paths, level: int) -> Floats:
    """The part of each effect's posterior variance that does not pass through the dense block.

    Parameters
    ----------
    design : Design
    factor : Factor
    paths : Paths
    level : int
        0 plants, 1 cells, 2 selections.

    Returns
    -------
    ndarray, dims (node,)
        [K2]
    """
    plants, cells, selections = factor.variance
    if level == 2:
        return paths.selection**2 * selections
    if level == 1:
        return paths.cell**2 * cells + paths.selection**2 * selections[design.selection_of_cell]
    cell = design.cell_of_plant
    of_cell = paths.cell**2 * cells[cell] + paths.selection**2 * selections[design.selection_of_cell[cell]]
    return paths.plant**2 * plants + of_cell


def row_variances(design: Design, factor: Factor, sums: Paths) -> tuple[Floats, Floats, Floats]:
    """Posterior variances and covariance of each row's two critical temperatures.

    Parameters
    ----------
    design : Design
    factor : Factor
    sums : Paths
        Of u + c + a at each plant.

    Returns
    -------
    pp, pq, qq : ndarray, dims (row,)
        [K2]
    """
    plant, path = design.plant_of_row, sums.dense
    pp, pq, qq = factor.tree.rows.quadratics(factor.dense_covariance)
    own = own_variances(design, factor, sums, 0)
    for first in range(0, own.size, CHUNK):
        # Rows of one plant stand together.
        plants = slice(first, min(first + CHUNK, own.size))
        rows = slice(*np.searchsorted(plant, [plants.start, plants.stop]))
        shared = to_dense(path[plants])
        product = shared @ factor.dense_covariance
        alone = (own[plants] + np.einsum("ij,ij->i", product, shared))[plant[rows] - first]
        upper, lower = (row_products(product, end[rows], plant[rows] - first) for end in (design.upper, design.lower))
        pp[rows] += alone + 2.0 * upper
        pq[rows] += alone + upper + lower
        qq[rows] += alone + 2.0 * lower
    return pp, pq, qq
