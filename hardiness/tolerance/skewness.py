r"""Third cumulants of linear figures at a mode: :math:`T(u, u, u)`, the third derivatives on the figure's covariances.

With k of :mod:`hardiness.tolerance.likelihood`, a row's mixed third derivatives are all :math:`\pm k(1+k)(1+2k)`, so
that its cubic form is :math:`p\,u_A^3 + q\,u_B^3 + m (u_A - u_B)^3`.
"""

from __future__ import annotations

import numpy as np

from hardiness.tolerance.factor import GAP_SHAPE
from hardiness.tolerance.latent import Mode
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import to_dense
from hardiness.tolerance.paths import Paths


def row_cubes(mode: Mode, upper: Floats, lower: Floats) -> Floats:
    """The rows' part of figures' third cumulants, dims (row, figure).

    Parameters
    ----------
    mode : Mode
    upper, lower : ndarray, dims (row, figure)
        Covariances of each figure with each row's two critical temperatures. [K2]

    Returns
    -------
    ndarray, dims (figure,)
        [K3]
    """
    terms = mode.terms
    mixed = terms.abb
    own_upper, own_lower = terms.aaa - mixed, terms.bbb + mixed
    apart = upper - lower
    whole: Floats = own_upper @ (upper * upper * upper) + own_lower @ (lower * lower * lower)
    return (whole + mixed @ (apart * apart * apart)) / mode.scales["sigma"] ** 3


def gap_cubes(mode: Mode, answer: Floats) -> Floats:
    """The gaps' prior's part of figures' third cumulants.

    Parameters
    ----------
    mode : Mode
    answer : ndarray, dims (figure, dense)
        Covariances of the figures with the dense block. [K2]

    Returns
    -------
    ndarray, dims (figure,)
        [K3]
    """
    whole: Floats = answer[:, mode.problem.design.gaps] ** 3 @ (2.0 * GAP_SHAPE / mode.gaps**3)
    return whole


def gap_skewness(mode: Mode, sums: Paths) -> Floats:
    """Skewness of each gap between critical temperatures, dims (gap,).

    Parameters
    ----------
    mode : Mode
    sums : Paths
        Of u + c + a at each plant.

    Returns
    -------
    ndarray, dims (gap,)
        [1]
    """
    design = mode.problem.design
    answer = mode.factor.dense_covariance[design.gaps]
    shared = to_dense(sums.dense @ answer.T)[design.plant_of_row]
    cubes = row_cubes(mode, shared + to_dense(design.upper @ answer.T), shared + to_dense(design.lower @ answer.T))
    variance = np.diag(answer[:, design.gaps])
    return (cubes + gap_cubes(mode, answer)) / variance**1.5
