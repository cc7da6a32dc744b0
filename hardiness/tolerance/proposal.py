r"""Where to look at the scales: points laid around the mode, wide enough for what a Gaussian there would miss.

In log tau the posterior falls like a Gaussian where the data know tau, but towards 0 it never falls faster than the
prior does, as tau itself. A few small taus at once are then far out for any Gaussian and yet not improbable. So each
axis, taken conditionally on the ones before it, draws from

.. math:: (1 - \epsilon)\, C(r) + \epsilon\, \lambda e^{\lambda r}\, [r < 0]

C is a Gaussian core with exponential shoulders, stretched each way by how the density really falls there.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import stats
from scipy.special import ndtr, ndtri

from hardiness.tolerance.likelihood import Floats

SEED = 20_011  # of the Sobol' scramble; any number serves, a fixed one keeps results the same
SHOULDER = 1.5  # [sd] where the core turns exponential
TAIL_SHARE = 0.12  # epsilon of an axis that is a tau
TAIL_SLOPE = 0.7  # lambda [1 per log K]; the prior's own slope is 1
WIDER = 1.2  # times the standard deviations found: weights bear too wide a proposal better than too narrow a one
WIDEST = 4.5  # [1/sd^2] inverse of the largest variance followed: sd is at most this in log K


@dataclass(frozen=True, slots=True)
class Proposal:
    """A distribution of the logarithms of the scales, and how to draw from it.

    Parameters
    ----------
    centre : ndarray, dims (scale,)
    order : ndarray of int, dims (axis,)
        The scale of each axis, loosest first.
    pull : ndarray, dims (axis, axis)
        Strictly lower triangular: how an axis moves with the ones before it.
    left, right : ndarray, dims (axis,)
        Standard deviation of the core on either side.
    tail : ndarray, dims (axis,)
        Share of the exponential tail.
    """

    centre: Floats
    order: np.ndarray
    pull: Floats
    left: Floats
    right: Floats
    tail: Floats

    def draw(self, count: int) -> tuple[Floats, Floats]:
        """Points of a scrambled Sobol' sequence, and their log-density.

        Parameters
        ----------
        count : int
            A power of two.

        Returns
        -------
        points : ndarray, dims (point, scale)
        log_density : ndarray, dims (point,)
        """
        size = self.centre.size
        shares = stats.qmc.Sobol(size, scramble=True, rng=np.random.default_rng(SEED)).random(count)
        shares = np.clip(shares, 1e-7, 1.0 - 1e-7)
        away = np.empty_like(shares)
        for axis in range(size):
            share, tail = shares[:, axis], self.tail[axis]
            in_tail = share < tail
            core = self._core_quantile(axis, np.where(in_tail, 0.5, (share - tail) / (1.0 - tail)))
            far = np.log(np.where(in_tail, share / max(tail, 1e-12), 1.0)) / TAIL_SLOPE
            away[:, axis] = np.where(in_tail, far, core)
        points = np.empty_like(away)
        points[:, self.order] = self.centre[self.order] + away + self._clipped(away) @ self.pull.T
        return points, self._log_density(away)

    def _clipped(self, away: Floats) -> Floats:
        """An axis pulls the others only as far as the linear picture holds."""
        return np.clip(away, -SHOULDER * self.left, SHOULDER * self.right)

    def _masses(self) -> tuple[Floats, Floats]:
        half = np.sqrt(2.0 * np.pi) * (ndtr(SHOULDER) - 0.5) + np.exp(-0.5 * SHOULDER**2) / SHOULDER
        return self.left * half, self.right * half

    def _core_quantile(self, axis: int, share: Floats) -> Floats:
        left, right = (mass[axis] for mass in self._masses())
        below = left / (left + right)
        on_left = share < below
        width = np.where(on_left, self.left[axis], self.right[axis])
        # Mass between the centre and the point, in units of sqrt(2 pi) sd.
        side = np.where(on_left, below - share, share - below) * (left + right) / (width * np.sqrt(2.0 * np.pi))
        in_core = side <= ndtr(SHOULDER) - 0.5
        gaussian = ndtri(np.minimum(0.5 + side, ndtr(SHOULDER)))
        beyond = (side - (ndtr(SHOULDER) - 0.5)) * np.sqrt(2.0 * np.pi) * SHOULDER * np.exp(0.5 * SHOULDER**2)
        shoulder = SHOULDER - np.log1p(-np.clip(beyond, 0.0, 1.0 - 1e-12)) / SHOULDER
        quantile: Floats = np.where(on_left, -1.0, 1.0) * width * np.where(in_core, gaussian, shoulder)
        return quantile

    def _log_density(self, away: Floats) -> Floats:
        left, right = self._masses()
        z = np.abs(away) / np.where(away < 0, self.left, self.right)
        core = np.exp(-np.where(z <= SHOULDER, 0.5 * z**2, SHOULDER * z - 0.5 * SHOULDER**2)) / (left + right)
        far = np.where(away < 0, TAIL_SLOPE * np.exp(TAIL_SLOPE * np.minimum(away, 0.0)), 0.0)
        density: Floats = np.log((1.0 - self.tail) * core + self.tail * far).sum(axis=1)
        return density


def shape_proposal(
    centre: Floats, hessian: Floats, is_tau: np.ndarray, drops: Callable[[list[Floats]], Floats]
) -> Proposal:
    """Shape a proposal by the Hessian at the mode and by how the density falls along each axis.

    Parameters
    ----------
    centre : ndarray, dims (scale,)
        The mode.
    hessian : ndarray, dims (scale, scale)
        Minus the second derivatives of the log-density there.
    is_tau : ndarray of bool, dims (scale,)
        Which scales may be 0.
    drops : callable
        How far the log-density lies below the mode's at each of some points.

    Returns
    -------
    Proposal
    """
    values, vectors = np.linalg.eigh(0.5 * (hessian + hessian.T))
    covariance = (vectors / np.maximum(values, 1.0 / WIDEST)) @ vectors.T
    order = np.argsort(-np.diag(covariance), kind="stable")
    root = np.linalg.cholesky(covariance[np.ix_(order, order)])
    sd = np.diag(root)
    unit = root / sd
    points = []
    for sign in (-1.0, 1.0):
        for axis in range(sd.size):
            point = centre.copy()
            point[order] += sign * np.sqrt(2.0) * sd[axis] * unit[:, axis]
            points.append(point)
    # 1 where the density is Gaussian
    reach = WIDER * np.clip(1.0 / np.sqrt(np.maximum(drops(points), 0.1)), 0.5, 2.5)
    left, right = sd * reach[: sd.size], sd * reach[sd.size :]
    pull = np.tril(unit, -1)
    # An axis is drawn given the ones before it, whose own pulls are already in it.
    return Proposal(centre, order, pull, left, right, np.where(is_tau[order], TAIL_SHARE, 0.0))
