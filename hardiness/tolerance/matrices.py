"""Matrices that may be dense or sparse: small trials are faster dense, large ones only fit sparse.

Dense ones may also stand in stacks, a matrix or vector for each point of the scales, the stack's axis first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from hardiness.tolerance.likelihood import Floats

Indices = NDArray[np.int64]
Matrix = Any  # numpy array or scipy sparse array; both take @, .T and slicing


def scaled(weights: Floats, matrix: Matrix) -> Matrix:
    """Multiply each row of a matrix by its weight.

    Parameters
    ----------
    weights : ndarray, dims (..., row)
    matrix : matrix, dims (..., row, column)

    Returns
    -------
    matrix
        Of the same kind.
    """
    if isinstance(matrix, np.ndarray):
        return weights[..., None] * matrix
    entries = matrix.data * np.repeat(weights, np.diff(matrix.indptr))
    return sparse.csr_array((entries, matrix.indices, matrix.indptr), shape=matrix.shape)


def applied(matrix: Matrix, vectors: Floats) -> Floats:
    """One matrix, or each of a stack, times a vector, or each of a stack.

    Parameters
    ----------
    matrix : matrix, dims (..., row, column)
    vectors : ndarray, dims (..., column)

    Returns
    -------
    ndarray, dims (..., row)
    """
    if not isinstance(matrix, np.ndarray):
        found: Floats = (matrix @ vectors.T).T
    elif matrix.ndim == 2:
        found = vectors @ matrix.T
    else:
        found = (matrix @ vectors[..., None])[..., 0]
    return found


def weighted_rows(weights: Floats, matrix: Matrix) -> Floats:
    """Sum of a matrix's rows, each by its weight.

    Parameters
    ----------
    weights : ndarray, dims (..., row)
    matrix : matrix, dims (..., row, column)

    Returns
    -------
    ndarray, dims (..., column)
    """
    if not isinstance(matrix, np.ndarray):
        found: Floats = (matrix.T @ weights.T).T
    elif matrix.ndim == 2:
        found = weights @ matrix
    else:
        found = (weights[..., None, :] @ matrix)[..., 0, :]
    return found


def crossed(a: Matrix, b: Matrix) -> Floats:
    """Transpose of a matrix times another, dims (..., column of a, column of b).

    Parameters
    ----------
    a, b : matrix, dims (..., row, column)

    Returns
    -------
    ndarray
    """
    return np.swapaxes(a, -1, -2) @ b if isinstance(a, np.ndarray) else to_dense(a.T @ b)


def to_dense(matrix: Matrix) -> Floats:
    """Give a matrix as a plain array.

    Parameters
    ----------
    matrix : matrix

    Returns
    -------
    ndarray
    """
    plain: Floats = matrix if isinstance(matrix, np.ndarray) else matrix.toarray()
    return plain


def row_products(a: Floats, b: Matrix, row: Indices | None = None) -> Floats:
    """Scalar products of rows of two matrices.

    Parameters
    ----------
    a : ndarray, dims (n, column)
    b : matrix, dims (row, column)
    row : ndarray of int, dims (row,), optional
        Which row of ``a`` each row of ``b`` goes with; the same unless given.

    Returns
    -------
    ndarray, dims (row,)
    """
    if isinstance(b, np.ndarray):
        product: Floats = np.einsum("ij,ij->i", a if row is None else a[row], b)
        return product
    counts = np.diff(b.indptr)
    entry = np.repeat(np.arange(counts.size) if row is None else row, counts)
    owner = np.repeat(np.arange(counts.size), counts)
    return np.bincount(owner, b.data * a[entry, b.indices], counts.size).astype(float)


@dataclass(frozen=True, slots=True)
class Sums:
    """Sums over children that stand together, such as the rows of each plant.

    Parameters
    ----------
    parent : ndarray of int, dims (child,)
        Never falling.
    starts : ndarray of int
        First child of each parent that has one.
    having : ndarray of int
        These parents.
    matrix : sparse matrix, dims (parent, child)
        The same as zeros and ones.
    """

    parent: Indices
    starts: Indices
    having: Indices
    matrix: Matrix

    @staticmethod
    def over(parent: Indices, count: int) -> Sums:
        """Prepare sums for ``count`` parents."""
        having, starts = np.unique(parent, return_index=True)
        ones = (np.ones(parent.size), (parent, np.arange(parent.size)))
        return Sums(parent, starts, having, sparse.csr_array(ones, shape=(count, parent.size)))

    def __matmul__(self, children: Matrix) -> Matrix:
        """Sum children, dims (child, ...), to dims (parent, ...); of a stack of matrices, (stack, child, ...)."""
        if not isinstance(children, np.ndarray) or children.ndim == 2:
            return self.matrix @ children
        return self.of(children) if children.ndim == 1 else self.of(np.swapaxes(children, -1, -2)).swapaxes(-1, -2)

    def of(self, values: Floats) -> Floats:
        """Sum values, dims (..., child), to dims (..., parent)."""
        if self.starts.size and self.having.size == self.matrix.shape[0]:
            return np.add.reduceat(values, self.starts, axis=-1)
        whole = np.zeros((*values.shape[:-1], self.matrix.shape[0]))
        if self.starts.size:
            whole[..., self.having] = np.add.reduceat(values, self.starts, axis=-1)
        return whole
