"""What linear figures are made of: cells' critical temperatures and lines of the dense block, with their covariances.

Thousands of comparisons are made of a few cells each: covariances of pairs of cells, taken once at a node, serve all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from hardiness.tolerance.design import Design
from hardiness.tolerance.latent import Effects, Mode
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Indices, Matrix, to_dense
from hardiness.tolerance.paths import cell_paths
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
    selections : ndarray of int, dims (cell part,)
        The selection of each of these cells.
    border : ndarray, dims (cell part, dense)
        Their coefficients in the dense block, without what their own effects rest on.
    """

    design: Design
    cells: Indices
    lines: Floats
    coefficients: Matrix
    left: Indices
    right: Indices
    pair_sums: Matrix
    selections: Indices
    border: Floats

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
        return Basis(
            design,
            cells,
            lines[moving],
            parts,
            key // parts.shape[1],
            key % parts.shape[1],
            sums,
            design.selection_of_cell[cells],
            to_dense(design.cell_border[cells]),
        )

    def values(self, effects: Effects) -> Floats:
        """Each part's value at given effects, dims (part,). [K]."""
        own = effects.cells[self.cells] + effects.selections[self.selections]
        return np.concatenate([own + self.border @ effects.dense, self.lines @ effects.dense])

    def draws(self, draws: Draws) -> Floats:
        """Each part's deviation in joint draws, dims (draw, part). [K]."""
        bordered = draws.dense @ self.border.T
        return np.concatenate([draws.cells[:, self.cells] + bordered, draws.dense @ self.lines.T], axis=1)

    def covariances(self, mode: Mode) -> Floats:
        """Posterior covariances of the pairs at a mode, dims (pair,). [K2]."""
        factor, n, cells = mode.factor, self.cells.size, self.cells
        paths, response = cell_paths(self.design, factor)
        dense = np.concatenate([to_dense(paths[cells]) + self.border, self.lines])
        found = self._products(dense @ factor.dense_covariance, dense)
        alike = np.flatnonzero((self.left == self.right) & (self.right < n))
        found[alike] += factor.variance[1][cells[self.left[alike]]]
        own = np.flatnonzero(self.right < n)
        own = own[self.selections[self.left[own]] == self.selections[self.right[own]]]  # cells of one selection
        left, right = self.left[own], self.right[own]
        found[own] += response[cells[left]] * response[cells[right]] * factor.variance[2][self.selections[left]]
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
