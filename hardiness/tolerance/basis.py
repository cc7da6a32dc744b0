"""What linear figures are made of: cells' critical temperatures and lines of the dense block, with their covariances.

Thousands of comparisons are made of a few cells each: covariances of pairs of cells, taken once at a node, serve all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from hardiness.tolerance.design import Design
from hardiness.tolerance.factor import cell_paths
from hardiness.tolerance.latent import Effects, Mode
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Indices, Matrix, to_dense
from hardiness.tolerance.posterior import Draws

SMALL = 500  # parts; up to here all covariances are formed, beyond it those of the pairs needed
CHUNK = 20_000  # pairs at a time


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


@dataclass(frozen=True, slots=True)
class Basis:
    """Figures as sums over parts, and their squares as sums over pairs of parts.

    Parameters
    ----------
    design : Design
    cells : ndarray of int, dims (cell part,)
        The cells that are parts.
    lines : ndarray, dims (line part, dense)
        Combinations of the dense block that are parts; they follow the cells.
    coefficients : sparse matrix, dims (figure, part)
    left, right : ndarray of int, dims (pair,)
        The parts of each pair.
    pair_sums : sparse matrix, dims (figure, pair)
        Coefficients of the pairs in each figure's square.
    """

    design: Design
    cells: Indices
    lines: Floats
    coefficients: Matrix
    left: Indices
    right: Indices
    pair_sums: Matrix

    @staticmethod
    def of(design: Design, figures: Figures) -> Basis:
        """Take figures apart; see the class."""
        whole = sparse.csr_array(figures.cells)
        cells = np.unique(whole.indices)
        alike = figures.alpha.strides[0] == 0 or len(figures.alpha) == 1
        lines, line = np.unique(figures.alpha[:1] if alike else figures.alpha, axis=0, return_inverse=True)
        count = whole.shape[0]
        line = np.zeros(count, dtype=np.int64) if alike else line.ravel()
        chosen = sparse.csr_array((np.ones(count), (np.arange(count), line)), shape=(count, len(lines)))
        moving = lines.any(axis=1)
        parts = sparse.hstack([whole[:, cells], chosen[:, np.flatnonzero(moving)]]).tocsr()
        parts.eliminate_zeros()
        counts = np.diff(parts.indptr)
        partners = np.repeat(counts, counts)
        entry = np.repeat(np.arange(parts.nnz), partners)
        ends = np.cumsum(partners)
        other = (
            np.repeat(parts.indptr[:-1], counts)[entry] + np.arange(entry.size) - np.repeat(ends - partners, partners)
        )
        kept = parts.indices[entry] <= parts.indices[other]
        entry, other = entry[kept], other[kept]
        a, b = parts.indices[entry].astype(np.int64), parts.indices[other].astype(np.int64)
        value = parts.data[entry] * parts.data[other] * np.where(a == b, 1.0, 2.0)
        key, pair = np.unique(a * parts.shape[1] + b, return_inverse=True)
        figure = np.repeat(np.arange(count), counts)[entry]
        sums = sparse.csr_array((value, (figure, pair.ravel())), shape=(count, key.size))
        return Basis(design, cells, lines[moving], parts, key // parts.shape[1], key % parts.shape[1], sums)

    def values(self, effects: Effects) -> Floats:
        """Each part's value at given effects, dims (part,). [K]."""
        design, cells = self.design, self.cells
        own = effects.cells[cells] + effects.selections[design.selection_of_cell[cells]]
        return np.concatenate([own + design.cell_border[cells] @ effects.dense, self.lines @ effects.dense])

    def draws(self, draws: Draws) -> Floats:
        """Each part's deviation in joint draws, dims (draw, part). [K]."""
        bordered = to_dense(self.design.cell_border[self.cells] @ draws.dense.T).T
        return np.concatenate([draws.cells[:, self.cells] + bordered, draws.dense @ self.lines.T], axis=1)

    def covariances(self, mode: Mode) -> Floats:
        """Posterior covariances of the pairs at a mode, dims (pair,). [K2]."""
        design, factor = self.design, mode.factor
        paths, response = cell_paths(design, factor)
        n, cells = self.cells.size, self.cells
        dense = np.concatenate([to_dense(paths[cells] + design.cell_border[cells]), self.lines])
        found = self._products(dense @ factor.dense_covariance, dense)
        own = np.flatnonzero(self.right < n)  # pairs of cells
        left, right = cells[self.left[own]], cells[self.right[own]]
        found[own] += np.where(left == right, factor.variance[1][left], 0.0)
        above = design.selection_of_cell
        together = response[left] * response[right] * factor.variance[2][above[left]]
        found[own] += np.where(above[left] == above[right], together, 0.0)
        return found

    def pair_moments(self, values: Floats, weights: Floats) -> Floats:
        """Weighted second moments of the pairs over draws, dims (pair,).

        Parameters
        ----------
        values : ndarray, dims (draw, part)
        weights : ndarray, dims (draw,)

        Returns
        -------
        ndarray
        """
        return self._products(np.ascontiguousarray((weights[:, None] * values).T), np.ascontiguousarray(values.T))

    def _products(self, a: Floats, b: Floats) -> Floats:
        if a.shape[0] <= SMALL:
            whole: Floats = (a @ b.T)[self.left, self.right]
            return whole
        found = np.empty(self.left.size)
        for first in range(0, found.size, CHUNK):
            part = slice(first, first + CHUNK)
            found[part] = np.einsum("ij,ij->i", a[self.left[part]], b[self.right[part]])
        return found
