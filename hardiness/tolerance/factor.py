r"""The Hessian of the latent effects, factored along its tree.

Plants hang on cells, cells on selections, and every row also touches a few columns of the dense block. Eliminating
plants, then cells, then selections leaves a dense matrix of the shared effects. At each level with data weight W and
coupling V to the dense block, and prior variance v,

.. math:: f = 1 / (1 + W v), \qquad \mathrm{var} = v f, \qquad W' = f W, \qquad V' = f V

W' and V' summed over the children are the weight and coupling of the level above. Nothing is divided by v, so a
scale of 0 is allowed. Weights, scales and gaps may stand in stacks, the stack's axis first; the factor then does too.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from threadpoolctl import threadpool_limits

from hardiness.errors import FitError
from hardiness.tolerance.design import Design
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Matrix, Sums, applied, crossed, scaled, weighted_rows
from hardiness.tolerance.rowmaps import RowMaps, Weights

GAP_SHAPE = 2.0  # Gamma prior of a gap between neighbouring critical temperatures: log-concave
LEVELS = ("tau_u", "tau_c", "tau_a")
NO_FIT = "the observations give no finite fit; look for extreme exposures or standard deviations."


def blas_threads() -> threadpool_limits:
    """Hold BLAS to one thread: waking more costs many times what they save on matrices of this size.

    Returns
    -------
    threadpool_limits
        A context manager.
    """
    return threadpool_limits(limits=1, user_api="blas")


@dataclass(frozen=True, slots=True)
class Tree:
    """Sums over children: rows to plants, plants to cells, cells to selections; and what rows' weights add up to."""

    to_plants: Sums
    to_cells: Sums
    to_selections: Sums
    rows: RowMaps

    @property
    def ups(self) -> tuple[Sums, Sums]:
        """The two sums above the plants."""
        return self.to_cells, self.to_selections


def tree_of(design: Design) -> Tree:
    """Build the sums over children of a design.

    Parameters
    ----------
    design : Design

    Returns
    -------
    Tree
    """
    return Tree(
        Sums.over(design.plant_of_row, design.cell_of_plant.size),
        Sums.over(design.cell_of_plant, len(design.cells)),
        Sums.over(design.selection_of_cell, len(design.selections)),
        RowMaps.of(design),
    )


@dataclass(frozen=True, slots=True)
class Factor:
    """The factored Hessian.

    Parameters
    ----------
    tree : Tree
    weight, coupling, shrink, variance : tuples over (plants, cells, selections)
        W, V, f and v f of the module's formula.
    dense_covariance : ndarray, dims (dense, dense)
        Posterior covariance of the dense block. [K2]
    log_determinant : float, or ndarray of a stack
        Log-determinant of (prior covariance x Hessian).
    """

    tree: Tree
    weight: tuple[Floats, ...]
    coupling: tuple[Matrix, ...]
    shrink: tuple[Floats, ...]
    variance: tuple[Floats, ...]
    dense_covariance: Floats
    log_determinant: Floats

    def solve(self, plants: Floats, dense: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Solve Hessian x = right-hand side, where that of cells and selections is the sum over their plants.

        Parameters
        ----------
        plants : ndarray, dims (..., plant)
            Right-hand side at the plants.
        dense : ndarray, dims (..., dense)
            Right-hand side at the dense block.

        Returns
        -------
        plants, cells, selections, dense : ndarray
        """
        ups = self.tree.ups
        right = [plants, ups[0].of(plants), ups[1].of(ups[0].of(plants))]
        dense = dense.copy()
        for level in range(3):
            moved = self.variance[level] * right[level]
            dense -= weighted_rows(moved, self.coupling[level])
            carry = self.weight[level] * moved
            for above in range(level + 1, 3):
                carry = ups[above - 1].of(carry)
                right[above] = right[above] - carry
        shared = applied(self.dense_covariance, dense)
        solved: list[Floats] = [np.empty(0)] * 3
        parents = np.zeros(self.weight[2].shape)
        for level in (2, 1, 0):
            if level < 2:
                parents = (parents + solved[level + 1])[..., ups[level].parent]
            rest = right[level] - applied(self.coupling[level], shared) - self.weight[level] * parents
            solved[level] = self.variance[level] * rest
        return solved[0], solved[1], solved[2], shared

    def at(self, index: int) -> Factor:
        """One of a stack.

        Parameters
        ----------
        index : int

        Returns
        -------
        Factor
        """
        whole = (self.weight, self.coupling, self.shrink, self.variance)
        weight, coupling, shrink, variance = (tuple(level[index] for level in levels) for levels in whole)
        return Factor(
            self.tree, weight, coupling, shrink, variance, self.dense_covariance[index], self.log_determinant[index]
        )


def factorise(
    design: Design, tree: Tree, weights: Weights, scales: Mapping[str, float | Floats], sd: Floats, gaps: Floats
) -> Factor:
    """Factor the Hessian at given row weights and scales.

    Parameters
    ----------
    design : Design
    tree : Tree
    weights : Weights
    scales : mapping of str to float, or to ndarray of a stack
        sigma and the taus. [K]
    sd : ndarray, dims (..., dense)
        Prior standard deviation of each column of the dense block, 1 for the gaps. [K]
    gaps : ndarray, dims (..., gap)
        The gaps where the Hessian is taken. [K]

    Returns
    -------
    Factor

    Raises
    ------
    FitError
        If the dense block is not positive definite, which only non-finite input can cause.
    """
    gram = tree.rows.gram(weights)
    weight: list[Floats] = [tree.to_plants.of(weights.pp + 2.0 * weights.pq + weights.qq)]
    coupling: list[Matrix] = [tree.rows.coupling(weights)]
    shrink, variance, log_determinant = [], [], np.zeros(sd.shape[:-1])
    for level, name in enumerate(LEVELS):
        prior = np.square(scales[name])[..., None] * (design.selection_share if name == "tau_a" else 1.0)
        shrink.append(1.0 / (1.0 + weight[level] * prior))
        variance.append(prior * shrink[level])
        log_determinant -= np.sum(np.log(shrink[level]), axis=-1)
        gram = gram - crossed(coupling[level], scaled(variance[level], coupling[level]))
        if level < 2:
            up = tree.ups[level]
            weight.append(up.of(shrink[level] * weight[level]))
            coupling.append(up @ scaled(shrink[level], coupling[level]))
    whitened = sd[..., :, None] * gram * sd[..., None, :]
    diagonal = np.arange(design.n_dense)
    whitened[..., diagonal, diagonal] += 1.0
    whitened[..., diagonal[design.gaps], diagonal[design.gaps]] += GAP_SHAPE / gaps**2 - 1.0
    if not np.isfinite(whitened).all():
        raise FitError(NO_FIT)
    try:
        root = np.linalg.cholesky(whitened)
    except np.linalg.LinAlgError as error:
        raise FitError(NO_FIT) from error
    log_determinant += 2.0 * np.sum(np.log(root[..., diagonal, diagonal]), axis=-1)
    covariance = sd[..., :, None] * np.linalg.inv(whitened) * sd[..., None, :]
    return Factor(tree, tuple(weight), tuple(coupling), tuple(shrink), tuple(variance), covariance, log_determinant)
