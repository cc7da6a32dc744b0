"""Matrices that may be dense or sparse: small trials are faster dense, large ones only fit sparse."""

from __future__ import annotations

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
    weights : ndarray, dims (row,)
    matrix : matrix, dims (row, column)

    Returns
    -------
    matrix
        Of the same kind.
    """
    if isinstance(matrix, np.ndarray):
        return weights[:, None] * matrix
    return (sparse.dia_array((weights[None, :], [0]), shape=(weights.size, weights.size)) @ matrix).tocsr()


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
