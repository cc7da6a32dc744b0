"""What row weights add up to in the Hessian, as maps prepared once for a design.

Many rows share a freeze, a rootstock and grades, and so their coefficients in the dense block: their weights are added
first (*patterns*). The coupling of plants to the dense block is linear in the weights: one product with a sparse
matrix.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from hardiness.tolerance.design import Design
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Indices, Matrix, applied, crossed, row_products, scaled

SEED = 20_014


@dataclass(frozen=True, slots=True)
class Weights:
    """Minus the second derivatives of each row in its two critical temperatures; dims (..., row). [1/K2]."""

    pp: Floats
    pq: Floats
    qq: Floats


@dataclass(frozen=True, slots=True)
class RowMaps:
    """Prepared maps of one design.

    Parameters
    ----------
    pattern : ndarray of int, dims (row,)
    to_pattern : sparse matrix, dims (pattern, row)
        The same as zeros and ones.
    upper, lower : matrix, dims (pattern, dense)
        Coefficients in the two critical temperatures.
    to_coupling : sparse matrix, dims (entry, 2 row)
        Of the coupling's entries in the weights of the upper ends, then of the lower ends.
    shape : tuple of int
        Of the coupling.
    places : tuple of ndarray, optional
        Columns and row starts of the coupling's entries where it is sparse.
    """

    pattern: Indices
    to_pattern: Matrix
    upper: Matrix
    lower: Matrix
    to_coupling: Matrix
    shape: tuple[int, int]
    places: tuple[Indices, Indices] | None

    @staticmethod
    def of(design: Design) -> RowMaps:
        """Prepare a design; see the class."""
        upper, lower = sparse.csr_array(design.upper), sparse.csr_array(design.lower)
        first, pattern = _patterns(upper, lower)
        shape = (design.cell_of_plant.size, design.n_dense)
        ends = [part.tocoo() for part in (upper, lower)]
        rows = np.concatenate([ends[0].row, ends[1].row + upper.shape[0]])
        plants = design.plant_of_row[np.concatenate([ends[0].row, ends[1].row])].astype(np.int64)
        keys = plants * shape[1] + np.concatenate([ends[0].col, ends[1].col])
        values = np.concatenate([ends[0].data, ends[1].data])
        if isinstance(design.upper, np.ndarray):
            size, entry, places = shape[0] * shape[1], keys, None
        else:
            found, entry = np.unique(keys, return_inverse=True)
            starts = np.searchsorted(found, np.arange(shape[0] + 1) * shape[1])
            size, places = found.size, (found % shape[1], starts)
        to_coupling = sparse.csr_array((values, (entry.ravel(), rows)), shape=(size, 2 * upper.shape[0]))
        ones = (np.ones(pattern.size), (pattern, np.arange(pattern.size)))
        to_pattern = sparse.csr_array(ones, shape=(first.size, pattern.size))
        return RowMaps(pattern, to_pattern, design.upper[first], design.lower[first], to_coupling, shape, places)

    def gram(self, weights: Weights) -> Floats:
        """Curvature of the rows in the dense block, dims (..., dense, dense)."""
        pp, pq, qq = (applied(self.to_pattern, part) for part in (weights.pp, weights.pq, weights.qq))
        to_upper = scaled(pp, self.upper) + scaled(pq, self.lower)
        to_lower = scaled(pq, self.upper) + scaled(qq, self.lower)
        return crossed(self.upper, to_upper) + crossed(self.lower, to_lower)

    def coupling(self, weights: Weights) -> Matrix:
        """Coupling of plants to the dense block, dims (..., plant, dense)."""
        ends = np.concatenate([weights.pp + weights.pq, weights.pq + weights.qq], axis=-1)
        entries = applied(self.to_coupling, ends)
        if self.places is None:
            return entries.reshape(*ends.shape[:-1], *self.shape)
        return sparse.csr_array((entries, *self.places), shape=self.shape)

    def quadratics(self, covariance: Floats) -> tuple[Floats, Floats, Floats]:
        """Variances and covariance of each row's ends through the dense block alone, dims (row,). [K2]."""
        upper, lower = self.upper @ covariance, self.lower @ covariance
        pairs = ((upper, self.upper), (upper, self.lower), (lower, self.lower))
        pp, pq, qq = (row_products(product, matrix)[self.pattern] for product, matrix in pairs)
        return pp, pq, qq


def _patterns(upper: Matrix, lower: Matrix) -> tuple[Indices, Indices]:
    """First row of each pattern, and every row's pattern. Rows alike have the same products with random numbers."""
    both = sparse.hstack([upper, lower]).tocsr()
    products = both @ np.random.default_rng(SEED).random(both.shape[1])
    _, first, pattern = np.unique(products, return_index=True, return_inverse=True)
    if (both != both[first][pattern.ravel()]).nnz:  # chance, or sums in another order: then every row for itself
        return np.arange(both.shape[0]), np.arange(both.shape[0])
    return first, pattern.ravel()
