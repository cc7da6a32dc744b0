r"""Independent standard normals turned into latent effects, by the factored Hessian at one point of the scales.

From the dense block down the tree, with the factor's v, V, W, the posterior mean m and deviations d of what stands
above,

.. math:: x = m - v (V d_{dense} + W d_{above}) + \sqrt v\, z

is the Gaussian approximation of the posterior itself. A gap between critical temperatures is then bent to its own
skewness (Wilson & Hilferty's cube root, as in :mod:`hardiness.tolerance.mixture`). What the approximation misses is
:math:`\log p(y, x) + \log |dx/dz| + z'z/2`, which would be a constant if it missed nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from hardiness.tolerance.factor import GAP_SHAPE
from hardiness.tolerance.latent import Effects, Mode, Problem, Surroundings, mean_effects
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Matrix, crossed, to_dense
from hardiness.tolerance.rowdraws import RowDraws
from hardiness.tolerance.skewness import gap_skewness

LEAST_SKEW = 1e-3  # a smaller skewness is taken as this, so that one formula serves
MOST_SKEW = 1.4  # that of the gaps' prior


@dataclass(frozen=True, slots=True)
class Whitening:
    """The transformation at one point of the scales, or at each of a stack of points, its axis first.

    Draws are the last axis of normals and effects.

    Parameters
    ----------
    problem : Problem
    rows : RowDraws
        Of the same design.
    mean : Effects, dims (..., effect)
        Posterior means. [K]
    sigma : ndarray, dims (...)
        [K]
    precisions : tuple of ndarray
        Prior precisions of plants, cells, selections and the dense block; 0 for gaps and for what is held at 0. [1/K2]
    variance, weight : tuples of ndarray over (plants, cells, selections)
        v [K2] and W [1/K2] of the module's formula.
    coupling : tuple of matrices over (plants, cells, selections), dims (..., effect, dense)
        V. [1/K2]
    root : ndarray, dims (..., dense, dense)
        Symmetric root of the correlation matrix of the dense block.
    dense_sd : ndarray, dims (..., dense)
        Posterior standard deviations of the dense block. [K]
    skew : ndarray, dims (..., gap)
        Of each gap between critical temperatures.
    log_scale : ndarray, dims (...)
        Logarithm of what all normals are multiplied by, priors' standard deviations taken as the unit.
    """

    problem: Problem
    rows: RowDraws
    mean: Effects
    sigma: Floats
    precisions: tuple[Floats, ...]
    variance: tuple[Floats, ...]
    weight: tuple[Floats, ...]
    coupling: tuple[Matrix, ...]
    root: Floats
    dense_sd: Floats
    skew: Floats
    log_scale: Floats

    @staticmethod
    def at(mode: Mode, around: Surroundings, rows: RowDraws) -> Whitening:
        """Prepare the transformation at a mode.

        Parameters
        ----------
        mode : Mode
        around : Surroundings
            Of the same mode.
        rows : RowDraws
            Of the same design.

        Returns
        -------
        Whitening
        """
        problem, factor = mode.problem, mode.factor
        skew = np.clip(gap_skewness(mode, around.sums), -MOST_SKEW, MOST_SKEW)
        skew = np.where(np.abs(skew) < LEAST_SKEW, LEAST_SKEW, skew)
        sd = np.sqrt(np.diag(factor.dense_covariance))
        safe = np.where(sd > 0, sd, 1.0)
        # The symmetric root does not care in which order rootstocks and freezes stand.
        correlation = factor.dense_covariance / np.outer(safe, safe) + np.diag((sd == 0).astype(float))
        values, vectors = np.linalg.eigh(correlation)
        values = np.maximum(values, 1e-12)
        root = (vectors * np.sqrt(values)) @ vectors.T
        prior_sd = problem.dense_sd(mode.scales)  # 1 for the gaps
        moving = prior_sd > 0
        log_scale = 0.5 * np.sum(np.log(values)) + np.sum(np.log(sd[moving] / prior_sd[moving]))
        log_scale += 0.5 * sum(np.sum(np.log(shrink)) for shrink in factor.shrink)
        return Whitening(
            problem, rows, mean_effects(mode, around), np.asarray(mode.scales["sigma"]),
            problem.precisions(mode.scales), factor.variance, factor.weight, factor.coupling, root, sd, skew,
            np.asarray(log_scale),
        )  # fmt: skip

    @staticmethod
    def stacked(points: Sequence[Whitening]) -> Whitening:
        """Put those of several points of one problem into a stack; their matrices must be dense.

        Parameters
        ----------
        points : sequence of Whitening

        Returns
        -------
        Whitening
        """

        def levels(name: str) -> tuple[Floats, ...]:
            return tuple(np.array(level) for level in zip(*(getattr(point, name) for point in points), strict=True))

        return replace(
            points[0],
            mean=Effects.stacked([point.mean for point in points]),
            sigma=np.array([point.sigma for point in points]),
            precisions=levels("precisions"),
            variance=levels("variance"),
            weight=levels("weight"),
            coupling=levels("coupling"),
            root=np.array([point.root for point in points]),
            dense_sd=np.array([point.dense_sd for point in points]),
            skew=np.array([point.skew for point in points]),
            log_scale=np.array([point.log_scale for point in points]),
        )

    def effects(self, z: Effects) -> Effects:
        """Latent effects, dims (..., effect, draw), of standard normals of the same dims. [K]."""
        gaps = self.problem.design.gaps
        away = (self.root @ z.dense) * self.dense_sd[..., None]
        bent = 2.0 / self.skew[..., None] * (self._bend(z) ** 3 - 1.0)
        away[..., gaps, :] = self.dense_sd[..., gaps, None] * bent
        return self.trees(z, away)

    def trees(self, z: Effects, away: Floats) -> Effects:
        """The same where the dense block is given by its deviation from the mean, dims (..., dense, draw). [K]."""
        design, mean = self.problem.design, self.mean
        own = [np.sqrt(variance)[..., None] * part for variance, part in zip(self.variance, z.parts[:3], strict=True)]
        plants, cells, selections = (part - self._pull(level, away) for level, part in enumerate(own))
        above = selections[..., design.selection_of_cell, :]
        cells -= (self.variance[1] * self.weight[1])[..., None] * above
        above = (above + cells)[..., design.cell_of_plant, :]
        plants -= (self.variance[0] * self.weight[0])[..., None] * above
        moved = zip(mean.parts, (plants, cells, selections, away), strict=True)
        return Effects(*(centre[..., None] + part for centre, part in moved))

    def missed(self, z: Effects, x: Effects) -> tuple[Floats, Floats]:
        """What the approximation misses of the log joint density; see the module.

        Parameters
        ----------
        z, x : Effects
            Standard normals and their :meth:`effects`.

        Returns
        -------
        own : ndarray, dims (..., selection, draw)
            Rows and effects of each selection.
        shared : ndarray, dims (..., draw)
            The dense block, and constants; -inf where a gap is not above 0.
        """
        gaps = x.dense[..., self.problem.design.gaps, :]
        inside = np.asarray((gaps > 0).all(axis=-2))
        own = self.rows.log_probability(x, self.sigma, inside)
        for level, to_selection in enumerate((self.rows.plants, self.rows.cells, None)):
            precision = self.precisions[level][..., None]
            # An effect held at 0 has no precision, and its normal moves nothing.
            term = z.parts[level] ** 2 * (0.5 * (precision > 0))
            term -= (0.5 * precision) * x.parts[level] ** 2
            own += term if to_selection is None else to_selection @ term
        whole = z.dense**2 * (self.dense_sd > 0)[..., None] - self.precisions[3][..., None] * x.dense**2
        shared = self.log_scale[..., None] + 0.5 * np.sum(whole, axis=-2)
        shared += np.sum(np.log(self._bend(z) ** 2), axis=-2)
        safe = np.where(gaps > 0, gaps, 1.0)
        shared += np.sum((GAP_SHAPE - 1.0) * np.log(safe) - GAP_SHAPE / self.problem.gap_mean * safe, axis=-2)
        return own, np.where(inside, shared, -np.inf)

    def gradient(self, z: Effects, x: Effects) -> Effects:
        """Gradient of :meth:`missed` (the sum of its parts) in the standard normals, dims (..., effect, draw)."""
        tree, gaps = self.problem.tree, self.problem.design.gaps
        of_u, of_c, of_a, of_dense = (precision[..., None] for precision in self.precisions)
        of_rows, dense = self.rows.slopes(x, self.sigma)
        pull = tree.to_plants @ of_rows
        plants = pull - of_u * x.plants
        own_cells = tree.to_cells @ pull
        cells = own_cells - of_c * x.cells
        selections = tree.to_selections @ own_cells - of_a * x.selections
        dense -= of_dense * x.dense
        size = np.maximum(x.dense[..., gaps, :], 1e-12)
        dense[..., gaps, :] += (GAP_SHAPE - 1.0) / size - GAP_SHAPE / self.problem.gap_mean
        # Back up the tree: what a plant's own part gave way to, its cell and the dense block feel.
        moved = self.variance[0][..., None] * plants
        dense -= crossed(self.coupling[0], moved)
        felt = tree.to_cells @ (self.weight[0][..., None] * moved)
        cells, selections = cells - felt, selections - tree.to_selections @ felt
        moved = self.variance[1][..., None] * cells
        dense -= crossed(self.coupling[1], moved)
        selections -= tree.to_selections @ (self.weight[1][..., None] * moved)
        dense -= crossed(self.coupling[2], self.variance[2][..., None] * selections)
        base = self._bend(z)
        away = dense * self.dense_sd[..., None]
        away[..., gaps, :] = away[..., gaps, :] * base**2 + self.skew[..., None] / (3.0 * base)
        sd = [np.sqrt(variance)[..., None] for variance in self.variance]
        return Effects(
            sd[0] * plants + z.plants * (of_u > 0),
            sd[1] * cells + z.cells * (of_c > 0),
            sd[2] * selections + z.selections * (of_a > 0),
            self.root @ away + z.dense * (self.dense_sd > 0)[..., None],
        )

    def _bend(self, z: Effects) -> Floats:
        """Root of each gap's slope in its standard normal, dims (..., gap, draw); never exactly 0."""
        skew = self.skew[..., None]
        base: Floats = 1.0 + skew / 6.0 * (self.root[..., self.problem.design.gaps, :] @ z.dense - skew / 6.0)
        return np.where(np.abs(base) < 1e-6, 1e-6, base)

    def _pull(self, level: int, away: Floats) -> Floats:
        """How far a deviation of the dense block moves the effects of a level. [K]."""
        pulled: Floats = self.variance[level][..., None] * to_dense(self.coupling[level] @ away)
        return pulled
