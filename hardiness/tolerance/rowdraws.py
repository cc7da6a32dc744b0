r"""Log-probability of every row under many draws of the effects at once, and its slopes.

Both ends of a row move together, so with :math:`g = e^{-(A - B)}`, which only the critical temperatures decide, and
:math:`E = e^{-A}` (or :math:`e^B` where a row has no upper end), a row's log-probability is

.. math:: \log(1 - g) - \log\bigl((1 + E)(1 + g / E)\bigr)

one exponential and one logarithm for each row and draw. Draws may stand in stacks, one for each point of the scales,
the stack's axis first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from hardiness.tolerance.design import Design
from hardiness.tolerance.latent import Effects
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Indices, Matrix, Sums, to_dense

MOST = 600.0  # standardised; beyond it a row is as good as impossible, and e to that power still is a number


@dataclass(frozen=True, slots=True)
class RowDraws:
    """What a design's rows need for many draws at once.

    Parameters
    ----------
    design : Design
    ends : matrix, dims (row, dense)
        Coefficients of the end that moves a row: the upper where it has one.
    offset : ndarray, dims (row,)
        Of that end: prior mean of the critical temperatures - exposure. [K]
    sign : ndarray, dims (row,)
        -1 where that end is the upper, 1 where it is the lower.
    pair, pairs : ndarray
        Which of the distinct (upper, lower) grades each row with two ends has, and the coefficients of their distance
        in the dense block, dims (pair, dense). Rows with one end point past the last.
    rows, plants, cells : Sums
        Over a selection's rows, plants and cells.
    """

    design: Design
    ends: Matrix
    offset: Floats
    sign: Floats
    pair: Indices
    pairs: Floats
    rows: Sums
    plants: Sums
    cells: Sums

    @staticmethod
    def of(design: Design) -> RowDraws:
        """Prepare a design; see the class."""
        has_upper, two = design.low > 0, (design.low > 0) & (design.high < design.worst)
        if isinstance(design.upper, np.ndarray):
            ends: Matrix = np.where(has_upper[:, None], design.upper, design.lower)
        else:
            keep = sparse.dia_array(((~has_upper).astype(float)[None, :], [0]), shape=(has_upper.size, has_upper.size))
            ends = (design.upper + keep @ design.lower).tocsr()
        grades = np.stack([design.low, design.high + 1], axis=1)
        distinct, position = np.unique(grades[two], axis=0, return_inverse=True)
        pair = np.full(two.size, len(distinct))
        pair[two] = position.ravel()
        lines = [design.alpha_row(low) - design.alpha_row(high) for low, high in distinct.tolist()]
        cell = design.cell_of_plant[design.plant_of_row]
        n = len(design.selections)
        return RowDraws(
            design,
            ends,
            design.alpha_mean - design.exposure,
            np.where(has_upper, -1.0, 1.0),
            pair,
            np.array(lines).reshape(-1, design.n_dense),
            Sums.over(design.selection_of_cell[cell], n),
            Sums.over(design.selection_of_cell[design.cell_of_plant], n),
            Sums.over(design.selection_of_cell, n),
        )

    def log_probability(self, x: Effects, sigma: Floats, inside: NDArray[np.bool_]) -> Floats:
        """Log-probability of each selection's rows.

        Parameters
        ----------
        x : Effects, dims (..., effect, draw)
            [K]
        sigma : ndarray, dims (...)
            [K]
        inside : ndarray of bool, dims (..., draw)
            Draws whose gaps are above 0; the others get any number.

        Returns
        -------
        ndarray, dims (..., selection, draw)
        """
        moved = self._moved(x, sigma)
        near, log_rest = self._distances(x, sigma, inside)
        whole = (1.0 + moved) * (1.0 + near[..., self.pair, :] / moved)
        found: Floats = self.rows @ (log_rest[..., self.pair, :] - np.log(whole))
        return found

    def slopes(self, x: Effects, sigma: Floats) -> tuple[Floats, Floats]:
        """Slopes of each row's log-probability in its effects u + c + a, and of all rows' in the dense block.

        Parameters
        ----------
        x : Effects, dims (..., effect, draw)
            [K]
        sigma : ndarray, dims (...)
            [K]

        Returns
        -------
        rows : ndarray, dims (..., row, draw)
        dense : ndarray, dims (..., dense, draw)
            [1/K]
        """
        design = self.design
        moved = self._moved(x, sigma)
        near = self._distances(x, sigma, np.asarray((x.dense[..., design.gaps, :] > 0).all(axis=-2)))[0]
        factor = near[..., self.pair, :]
        lean = factor / (1.0 - factor)
        far = factor / (factor + moved)  # of the end that does not move the row
        first = moved / (1.0 + moved)  # F(-A), or F(B) where there is no upper end
        by_upper = self.sign[:, None] < 0
        upper = np.where(by_upper, first + lean, 0.0) / sigma[..., None, None]
        lower = np.where(by_upper, -(far + lean), -first) / sigma[..., None, None]
        lower[..., design.high == design.worst, :] = 0.0
        return upper + lower, to_dense(design.upper.T @ upper + design.lower.T @ lower)

    def _moved(self, x: Effects, sigma: Floats) -> Floats:
        design = self.design
        own = x.plants + (x.cells + x.selections[..., design.selection_of_cell, :])[..., design.cell_of_plant, :]
        away = to_dense(self.ends @ x.dense)
        away += own[..., design.plant_of_row, :]
        away += self.offset[:, None]
        away *= (self.sign / sigma[..., None])[..., None]
        away += (self.sign * design.log_near)[:, None]
        np.clip(away, -MOST, MOST, out=away)
        moved: Floats = np.exp(away, out=away)
        return moved

    def _distances(self, x: Effects, sigma: Floats, inside: NDArray[np.bool_]) -> tuple[Floats, Floats]:
        """G and log(1 - g) of each distinct pair of grades, and of none, dims (..., pair + 1, draw)."""
        distance = np.where(inside[..., None, :], self.pairs @ x.dense / sigma[..., None, None], 1.0)
        none = np.zeros((*distance.shape[:-2], 1, distance.shape[-1]))
        near, log_rest = np.exp(-distance), np.log(-np.expm1(-distance))
        return np.concatenate([near, none], axis=-2), np.concatenate([log_rest, none], axis=-2)
