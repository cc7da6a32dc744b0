r"""Independent standard normals turned into latent effects, by the factored Hessian at one point of the scales.

From the dense block down the tree, with the factor's v, V, W, the posterior mean m and deviations d of what stands
above,

.. math:: x = m - v (V d_{dense} + W d_{above}) + \sqrt v\, z

is the Gaussian approximation of the posterior itself. A gap between critical temperatures is then bent to its own
skewness (Wilson & Hilferty's cube root, as in :mod:`hardiness.tolerance.mixture`). What the approximation misses is
:math:`\log p(y, x) + \log |dx/dz| + z'z/2`, which would be a constant if it missed nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hardiness.tolerance.factor import GAP_SHAPE
from hardiness.tolerance.latent import Effects, Mode, Surroundings, mean_effects
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Matrix, to_dense
from hardiness.tolerance.rowdraws import RowDraws
from hardiness.tolerance.skewness import gap_skewness

LEAST_SKEW = 1e-3  # a smaller skewness is taken as this, so that one formula serves
MOST_SKEW = 1.4  # that of the gaps' prior


@dataclass(frozen=True, slots=True)
class Whitening:
    """The transformation at one point of the scales; draws are columns.

    Parameters
    ----------
    mode : Mode
    mean : Effects
        Posterior means there. [K]
    rows : RowDraws
        Of the same design.
    root : ndarray, dims (dense, dense)
        Symmetric root of the correlation matrix of the dense block.
    log_root : float
        Logarithm of its determinant.
    dense_sd : ndarray, dims (dense,)
        Posterior standard deviations of the dense block. [K]
    skew : ndarray, dims (gap,)
        Of each gap between critical temperatures.
    """

    mode: Mode
    mean: Effects
    rows: RowDraws
    root: Floats
    log_root: float
    dense_sd: Floats
    skew: Floats

    @staticmethod
    def at(mode: Mode, around: Surroundings, rows: RowDraws) -> Whitening:
        """Prepare the transformation; see the class."""
        mean, skew = mean_effects(mode, around), gap_skewness(mode, around.sums)
        covariance = mode.factor.dense_covariance
        sd = np.sqrt(np.diag(covariance))
        safe = np.where(sd > 0, sd, 1.0)
        # The symmetric root does not care in which order rootstocks and freezes stand.
        values, vectors = np.linalg.eigh(covariance / np.outer(safe, safe) + np.diag((sd == 0).astype(float)))
        values = np.maximum(values, 1e-12)
        root = (vectors * np.sqrt(values)) @ vectors.T
        skew = np.clip(skew, -MOST_SKEW, MOST_SKEW)
        skew = np.where(np.abs(skew) < LEAST_SKEW, LEAST_SKEW, skew)
        return Whitening(mode, mean, rows, root, float(0.5 * np.sum(np.log(values))), sd, skew)

    def effects(self, z: Effects) -> Effects:
        """Latent effects, dims (effect, draw), of standard normals of the same dims. [K]."""
        bent = self.mode.problem.design.gaps
        away = (self.root @ z.dense) * self.dense_sd[:, None]
        base = self._bend(self.root[bent] @ z.dense)
        away[bent] = self.dense_sd[bent, None] * 2.0 / self.skew[:, None] * (base**3 - 1.0)
        return self.trees(z, away)

    def trees(self, z: Effects, away: Floats) -> Effects:
        """The same where the dense block is given by its deviation from the mean, dims (dense, draw). [K]."""
        factor, design = self.mode.factor, self.mode.problem.design
        sd = [np.sqrt(variance)[:, None] for variance in factor.variance]
        selections = sd[2] * z.selections - _pull(factor.variance[2], factor.coupling[2], away)
        above = selections[design.selection_of_cell]
        cells = sd[1] * z.cells - _pull(factor.variance[1], factor.coupling[1], away)
        cells -= (factor.variance[1] * factor.weight[1])[:, None] * above
        above = (above + cells)[design.cell_of_plant]
        plants = sd[0] * z.plants - _pull(factor.variance[0], factor.coupling[0], away)
        plants -= (factor.variance[0] * factor.weight[0])[:, None] * above
        mean = self.mean
        return Effects(
            mean.plants[:, None] + plants,
            mean.cells[:, None] + cells,
            mean.selections[:, None] + selections,
            mean.dense[:, None] + away,
        )

    def tree_laplace(self) -> float:
        """Laplace's log marginal likelihood of all trees, the dense block held at its mode."""
        mode = self.mode
        dense, prior_sd, kept = mode.effects.dense, mode.problem.dense_sd(mode.scales), self._others()
        kept &= prior_sd > 0
        shared = -0.5 * float(np.sum((dense[kept] / prior_sd[kept]) ** 2))
        shared += GAP_SHAPE * float(np.sum(np.log(mode.gaps) - mode.gaps / mode.problem.gap_mean))
        return mode.log_joint - shared + self.log_shrink()

    def log_shrink(self) -> float:
        """Logarithm of what the rows leave of the trees' prior standard deviations, all multiplied."""
        return 0.5 * sum(float(np.sum(np.log(shrink))) for shrink in self.mode.factor.shrink)

    def missed(self, z: Effects, x: Effects) -> tuple[Floats, Floats]:
        """What the approximation misses of the log joint density; see the module.

        Parameters
        ----------
        z, x : Effects
            Standard normals and their :meth:`effects`.

        Returns
        -------
        own : ndarray, dims (selection, draw)
            Rows and effects of each selection.
        shared : ndarray, dims (draw,)
            The dense block, and constants; -inf where a gap is not above 0.
        """
        problem = self.mode.problem
        design = problem.design
        gaps = x.dense[design.gaps]
        inside = np.asarray((gaps > 0).all(axis=0))
        own = self.rows.log_probability(x, self.mode.scales["sigma"], inside)
        sums = (self.rows.plants, self.rows.cells, None)
        parts = ((z.plants, x.plants), (z.cells, x.cells), (z.selections, x.selections))
        for (normal, value), to_selection, precision in zip(parts, sums, self._precisions(), strict=True):
            # An effect held at 0 has no precision, and its normal moves nothing.
            term = normal**2 * (0.5 * (precision > 0))[:, None]
            term -= (0.5 * precision)[:, None] * value**2
            own += term if to_selection is None else to_selection @ term
        shared = self.log_shrink() + self.log_root
        prior_sd, others = problem.dense_sd(self.mode.scales), self._others()
        kept = others & (prior_sd > 0)
        shared += float(np.sum(np.log(self.dense_sd[kept] / prior_sd[kept])))
        shared += float(np.sum(np.log(self.dense_sd[design.gaps])))
        whole = shared + 0.5 * np.sum(z.dense[kept | ~others] ** 2, axis=0)
        whole -= 0.5 * np.sum((x.dense[kept] / prior_sd[kept, None]) ** 2, axis=0)
        whole += np.sum(np.log(self._bend(self.root[design.gaps] @ z.dense) ** 2), axis=0)
        safe = np.where(gaps > 0, gaps, 1.0)
        whole += np.sum((GAP_SHAPE - 1.0) * np.log(safe) - GAP_SHAPE / problem.gap_mean * safe, axis=0)
        return own, np.where(inside, whole, -np.inf)

    def gradient(self, z: Effects, x: Effects) -> Effects:
        """Gradient of :meth:`missed` (the sum of its parts) in the standard normals, dims (effect, draw)."""
        problem, factor = self.mode.problem, self.mode.factor
        design, tree = problem.design, problem.tree
        of_u, of_c, of_a = self._precisions()
        of_rows, dense = self.rows.slopes(x, self.mode.scales["sigma"])
        pull = tree.to_plants @ of_rows
        plants = pull - of_u[:, None] * x.plants
        own_cells = tree.to_cells @ pull
        cells = own_cells - of_c[:, None] * x.cells
        selections = tree.to_selections @ own_cells - of_a[:, None] * x.selections
        prior_sd, others = problem.dense_sd(self.mode.scales), self._others()
        kept = others & (prior_sd > 0)
        dense[kept] -= x.dense[kept] / prior_sd[kept, None] ** 2
        gaps = np.maximum(x.dense[design.gaps], 1e-12)
        dense[design.gaps] += (GAP_SHAPE - 1.0) / gaps - GAP_SHAPE / problem.gap_mean
        # Back up the tree: what a plant's own part gave way to, its cell and the dense block feel.
        moved = factor.variance[0][:, None] * plants
        dense -= factor.coupling[0].T @ moved
        felt = tree.to_cells @ (factor.weight[0][:, None] * moved)
        cells, selections = cells - felt, selections - tree.to_selections @ felt
        moved = factor.variance[1][:, None] * cells
        dense -= factor.coupling[1].T @ moved
        selections -= tree.to_selections @ (factor.weight[1][:, None] * moved)
        dense -= factor.coupling[2].T @ (factor.variance[2][:, None] * selections)
        base = self._bend(self.root[design.gaps] @ z.dense)
        away = dense * self.dense_sd[:, None]
        away[design.gaps] = away[design.gaps] * base**2 + self.skew[:, None] / (3.0 * base)
        sd = [np.sqrt(variance)[:, None] for variance in factor.variance]
        return Effects(
            sd[0] * plants + z.plants * (of_u > 0)[:, None],
            sd[1] * cells + z.cells * (of_c > 0)[:, None],
            sd[2] * selections + z.selections * (of_a > 0)[:, None],
            self.root @ away + z.dense * (kept | ~others)[:, None],
        )

    def _bend(self, y: Floats) -> Floats:
        """Root of the slope of what is bent in its standard normal; never exactly 0."""
        skew = self.skew[:, None]
        base: Floats = 1.0 + skew / 6.0 * (y - skew / 6.0)
        return np.where(np.abs(base) < 1e-6, 1e-6, base)

    def _others(self) -> np.ndarray:
        others = np.ones(self.mode.problem.design.n_dense, dtype=bool)
        others[self.mode.problem.design.gaps] = False
        return others

    def _precisions(self) -> tuple[Floats, Floats, Floats]:
        """Prior precisions of plants, cells and selections; 0 where an effect is held at 0."""
        plants, cells, selections, _ = self.mode.problem.precisions(self.mode.scales)
        return plants, cells, selections


def _pull(variance: Floats, coupling: Matrix, away: Floats) -> Floats:
    pulled: Floats = variance[:, None] * to_dense(coupling @ away)
    return pulled
