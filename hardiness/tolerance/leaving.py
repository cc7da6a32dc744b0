r"""Leaving rows out of a fit, or saying less of them: what every check of the model rests on.

With g the gradient and W minus the second derivatives of the rows left out, in their critical temperatures, and S
these temperatures' posterior covariance, one Newton step from the mode of all rows leads to the mode of the others:

.. math:: x' - x = -\,\mathrm{cov}(x, R)\,(I - W S)^{-1} g

(case deletion in one step, Cook & Weisberg 1982, Residuals and Influence in Regression, here with a prior).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from hardiness.tolerance.design import Design
from hardiness.tolerance.factor import Factor, tree_of
from hardiness.tolerance.latent import Effects, Mode, Problem
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Indices, Matrix, scaled, to_dense
from hardiness.tolerance.newton import find_mode
from hardiness.tolerance.paths import Paths, effect_paths
from hardiness.tolerance.posterior import Posterior


def telling_rows(design: Design) -> NDArray[np.bool_]:
    """Which rows of the checked table say something: those that the row arrays hold, in the same order.

    Parameters
    ----------
    design : Design

    Returns
    -------
    ndarray of bool, dims (table row,)
    """
    table = design.table
    return ~((table["grade_low"] == 0) & (table["grade"] == design.worst)).to_numpy(bool)


def keep_rows(design: Design, keep: NDArray[np.bool_]) -> Design:
    """Leave rows out of a design; its plants, cells and freezes stay, with what the other rows say of them.

    Parameters
    ----------
    design : Design
    keep : ndarray of bool, dims (row,)

    Returns
    -------
    Design
    """
    kept = np.flatnonzero(keep)
    return replace(
        design,
        table=design.table[telling_rows(design)].iloc[kept],
        low=design.low[kept],
        high=design.high[kept],
        exposure=design.exposure[kept],
        log_near=design.log_near[kept],
        plant_of_row=design.plant_of_row[kept],
        upper=design.upper[kept],
        lower=design.lower[kept],
    )


def coarsen_rows(design: Design, low: Indices, high: Indices) -> Design:
    """Let each row say less: that its new damage lies between two other grades. Rows that say nothing then go.

    Parameters
    ----------
    design : Design
    low, high : ndarray of int, dims (row,)

    Returns
    -------
    Design
    """
    shared = shared_effects(design)
    alpha = np.array([np.zeros(design.n_dense), *(design.alpha_row(k) for k in range(1, design.grades))])
    ends = []
    for grade, has_end in ((low, low > 0), (high + 1, high < design.worst)):
        thresholds = alpha[np.where(has_end, grade, 0)]
        whole = scaled(has_end.astype(float), shared) + (
            thresholds if isinstance(shared, np.ndarray) else sparse.csr_array(thresholds)
        )
        ends.append(whole)
    changed = replace(design, low=low, high=high, upper=ends[0], lower=ends[1])
    return keep_rows(changed, (low > 0) | (high < design.worst))


def shared_effects(design: Design) -> Matrix:
    """What each row rests on in the dense block, without the critical temperatures.

    Parameters
    ----------
    design : Design

    Returns
    -------
    matrix, dims (row, dense)
    """
    has_upper = (design.low > 0).astype(float)
    whole = scaled(has_upper, design.upper) + scaled(1.0 - has_upper, design.lower)
    others = np.ones(design.n_dense)
    others[: design.worst] = 0.0
    if isinstance(whole, np.ndarray):
        return whole * others
    return (whole @ sparse.dia_array((others[None, :], [0]), shape=(others.size, others.size))).tocsr()


def central_mode(posterior: Posterior) -> Mode:
    """The mode of the latent effects at the mode of the scales.

    Parameters
    ----------
    posterior : Posterior

    Returns
    -------
    Mode
    """
    first = posterior.nodes[0].mode
    return find_mode(first.problem, posterior.scales_at_mode, first.effects)


def mode_without(mode: Mode, keep: NDArray[np.bool_]) -> Effects:
    """The mode of the effects at the same scales when only some rows are kept.

    Parameters
    ----------
    mode : Mode
        Of all rows.
    keep : ndarray of bool, dims (row,)

    Returns
    -------
    Effects
    """
    design = keep_rows(mode.problem.design, keep)
    problem = Problem(design, tree_of(design), mode.problem.gap_mean, mode.problem.alpha_sd)
    return find_mode(problem, mode.scales, mode.effects).effects


@dataclass(frozen=True, slots=True)
class Leverage:
    """A mode, with how its rows' critical temperatures move together.

    Parameters
    ----------
    mode : Mode
    sums : Paths
        Of u + c + a at each plant.
    """

    mode: Mode
    sums: Paths

    @classmethod
    def of(cls, mode: Mode) -> Leverage:
        """Resolve the effects at a mode.

        Parameters
        ----------
        mode : Mode

        Returns
        -------
        Leverage
        """
        return cls(mode, effect_paths(mode.problem.design, mode.factor)[3])

    def ends(self, rows: Indices) -> tuple[Floats, Indices]:
        """Coefficients of the dense block in both critical temperatures of rows, upper ones first, and their plants.

        Parameters
        ----------
        rows : ndarray of int

        Returns
        -------
        ends : ndarray, dims (2 x row, dense)
        plants : ndarray of int, dims (2 x row,)
        """
        design = self.mode.problem.design
        plants = design.plant_of_row[rows]
        path = to_dense(self.sums.dense[plants])
        return (
            np.concatenate([to_dense(design.upper[rows]) + path, to_dense(design.lower[rows]) + path]),
            np.concatenate([plants, plants]),
        )

    def weights(self, rows: Indices) -> tuple[Floats, Floats]:
        """Gradient g and weight W of rows in their critical temperatures; an end that a row has not is 0 in both.

        Parameters
        ----------
        rows : ndarray of int

        Returns
        -------
        gradient : ndarray, dims (2 x row,)
            [1/K]
        weight : ndarray, dims (2 x row, 2 x row)
            [1/K2]
        """
        terms, sigma, n = self.mode.terms, self.mode.scales["sigma"], rows.size
        weight = np.zeros((2 * n, 2 * n))
        here, there = np.arange(n), np.arange(n, 2 * n)
        weight[here, here], weight[there, there] = -terms.aa[rows] / sigma**2, -terms.bb[rows] / sigma**2
        weight[here, there] = weight[there, here] = -terms.ab[rows] / sigma**2
        return np.concatenate([terms.a[rows], terms.b[rows]]) / sigma, weight

    def pull(self, rows: Indices) -> Floats:
        """What rows pull at the mode beyond the others: :math:`(I - W S)^{-1} g`.

        Parameters
        ----------
        rows : ndarray of int

        Returns
        -------
        ndarray, dims (2 x row,)
            [1/K]
        """
        ends, plants = self.ends(rows)
        gradient, weight = self.weights(rows)
        spread = self.covariance(ends, plants, ends, plants)
        return np.asarray(np.linalg.solve(np.eye(gradient.size) - weight @ spread, gradient))

    def covariance(self, left: Floats, left_plants: Indices, right: Floats, right_plants: Indices) -> Floats:
        """Posterior covariance of two sets of critical temperatures given by their coefficients and plants.

        Parameters
        ----------
        left, right : ndarray, dims (temperature, dense)
        left_plants, right_plants : ndarray of int, dims (temperature,)

        Returns
        -------
        ndarray, dims (left, right)
            [K2]
        """
        through_dense = left @ self.mode.factor.dense_covariance @ right.T
        return np.asarray(through_dense + _own_covariance(self, left_plants, right_plants))


def _own_covariance(leverage: Leverage, left: Indices, right: Indices) -> Floats:
    """The part of a covariance that passes through plants', cells' and selections' own deviations."""
    design, factor, sums = leverage.mode.problem.design, leverage.mode.factor, leverage.sums
    whole = np.zeros((left.size, right.size))
    nodes = (np.arange(design.cell_of_plant.size), design.cell_of_plant, design.selection_of_cell[design.cell_of_plant])
    for level, (node, path) in enumerate(zip(nodes, (sums.plant, sums.cell, sums.selection), strict=True)):
        same = node[left][:, None] == node[right][None, :]
        shared = path[left][:, None] * path[right][None, :] * _variance(factor, level)[node[left]][:, None]
        whole += np.where(same, shared, 0.0)
    return whole


def _variance(factor: Factor, level: int) -> Floats:
    return factor.variance[level]
