r"""Joint draws of all latent effects around a node, and the weight that makes them draws of the posterior.

Draws come from the node's Gaussian (:mod:`hardiness.tolerance.whitening`). Given the dense block, selections are
independent, so for every draw of the dense block each selection's own tree is drawn as a pair :math:`\pm z`, and

.. math:: \frac{p(y, x, \psi)}{q(x, \psi)} \approx \frac{p(d, \psi)}{q(d, \psi)}
          \prod_s \tfrac12 \sum_\pm \frac{p(y_s, x_s \mid d, \psi)}{q(x_s \mid d, \psi)}

is an unbiased estimate of the weight of that draw and scales (Andrieu & Roberts 2009, doi:10.1214/07-AOS574). The two
of a pair err in opposite directions, so the product stays steady where a plain weight of all effects at once would
not; what the Laplace approximation gets wrong in a plant with a single score is corrected at its own place.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from hardiness.tolerance.design import Design
from hardiness.tolerance.factor import GAP_SHAPE
from hardiness.tolerance.latent import Effects, Mode
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.marginal import log_marginal
from hardiness.tolerance.matrices import Indices
from hardiness.tolerance.whitening import Whitening

SEED = 20_013  # any number serves; a fixed one keeps results the same
DENSE_DRAWS = 8  # for each node: four pairs
LOCAL_PAIRS = 4  # of each tree where the dense block is held


@dataclass(frozen=True, slots=True)
class NodeDraws:
    """Draws of one node.

    Parameters
    ----------
    missed : ndarray, dims (weighed,)
        Logarithm of each draw's weight within the node.
    cells : ndarray, dims (draw, cell)
        a + c of each cell minus the node's mean; as many draws for each weight, one after another. [K]
    dense : ndarray, dims (draw, dense)
        The dense block minus the node's mean. [K]
    """

    missed: Floats
    cells: Floats
    dense: Floats


@dataclass(frozen=True, slots=True)
class Noise:
    """Standard normals dealt out by what the effects are, not by their names: renaming then moves nothing.

    Parameters
    ----------
    plants, cells, selections, dense : ndarray of int
        Rank of each effect at the scales' mode.
    """

    plants: Indices
    cells: Indices
    selections: Indices
    dense: Indices

    @staticmethod
    def of(mode: Mode) -> Noise:
        """Rank the effects at a mode."""
        design, effects = mode.problem.design, mode.effects
        cells = effects.cells + effects.selections[design.selection_of_cell]
        dense = np.arange(design.n_dense)
        for block in design.blocks:
            dense[block.columns] = block.start + _ranks(effects.dense[block.columns])
        plants = effects.plants + cells[design.cell_of_plant]
        return Noise(_ranks(plants), _ranks(cells), _ranks(effects.selections), dense)

    def draw(self, node: int, count: int, attempt: int = 0) -> tuple[Effects, np.random.Generator]:
        """Standard normals of one node, dims (effect, draw), the second half of the dense ones minus the first.

        Parameters
        ----------
        node : int
            Its place in the sequence of nodes.
        count : int
            Even.
        attempt : int
            Another one gives other numbers.

        Returns
        -------
        normals : Effects
        rng : Generator
            For what else the node needs.
        """
        rng = np.random.default_rng([SEED, node, attempt])
        dense = rng.standard_normal((self.dense.size, count // 2))[self.dense]
        plants, cells, selections = (
            rng.standard_normal((ranks.size, count))[ranks] for ranks in (self.plants, self.cells, self.selections)
        )
        return Effects(plants, cells, selections, np.concatenate([dense, -dense], axis=1)), rng


def _ranks(values: Floats) -> Indices:
    order = np.argsort(np.round(values, 6), kind="stable")
    ranks = np.empty(values.size, dtype=np.int64)
    ranks[order] = np.arange(values.size)
    return ranks


def draw_node(whitening: Whitening, noise: Noise, node: int, count: int = DENSE_DRAWS) -> NodeDraws:
    """Draw and weigh effects around a node.

    Parameters
    ----------
    whitening : Whitening
    noise : Noise
    node : int
        Its place in the sequence of nodes.
    count : int
        Draws of the dense block, even.

    Returns
    -------
    NodeDraws
        Two draws to a weight: one of each selection's pair, and the ones not taken.
    """
    design = whitening.problem.design
    single, rng = noise.draw(node, count)
    dense = np.repeat(single.dense, 2, axis=1)
    z = Effects(_paired(single.plants), _paired(single.cells), _paired(single.selections), dense)
    x = whitening.effects(z)
    own, shared = whitening.missed(z, x)
    first, second = own[:, 0::2], own[:, 1::2]
    larger = np.maximum(first, second)
    log_mean = larger + np.log1p(np.exp(-np.abs(first - second))) - np.log(2.0)
    share = 1.0 / (1.0 + np.exp(np.clip(second - first, -500.0, 500.0)))
    lot = rng.random((design.selection_share.size, count))[noise.selections]
    cells = x.cells + x.selections[design.selection_of_cell]
    cells -= (whitening.mean.cells + whitening.mean.selections[design.selection_of_cell])[:, None]
    taken = [np.where((lots < share)[design.selection_of_cell], cells[:, 0::2], cells[:, 1::2])
             for lots in (lot, 1.0 - lot)]  # fmt: skip
    dense = x.dense[:, 0::2] - whitening.mean.dense[:, None]
    return NodeDraws(
        shared[0::2] + log_mean.sum(axis=0),
        np.stack([part.T for part in taken], axis=1).reshape(-1, cells.shape[0]),
        np.repeat(dense.T, 2, axis=0),
    )


def missed_by_laplace(mode: Mode, whitening: Whitening, noise: Noise, *, joint: bool) -> float:
    """Logarithm of the marginal likelihood at a node minus Laplace's, up to a constant; the same normals at every node.

    Parameters
    ----------
    mode : Mode
    whitening : Whitening
        At that mode.
    noise : Noise
    joint : bool
        Estimated by joint draws; else by draws of each selection's own tree, the dense block held at its mode. Many
        rows leave the dense block to Laplace, but not a plant of two rows.

    Returns
    -------
    float
    """
    if joint:
        missed = draw_node(whitening, noise, 0).missed
        return float(logsumexp(missed)) - float(np.log(missed.size)) - log_marginal(mode)
    single = noise.draw(0, LOCAL_PAIRS)[0]
    held = np.repeat((mode.effects.dense - whitening.mean.dense)[:, None], 2 * LOCAL_PAIRS, axis=1)
    z = Effects(_paired(single.plants), _paired(single.cells), _paired(single.selections), held)
    own = whitening.missed(z, whitening.trees(z, held))[0]
    exact = logsumexp(own, axis=1) - np.log(2 * LOCAL_PAIRS)
    return float(np.sum(exact)) - _log_joint_of_trees(mode)


def _log_joint_of_trees(mode: Mode) -> float:
    """The log joint density at the mode without the dense block's prior: what all selections' trees have of it."""
    dense, precisions = mode.effects.dense, mode.problem.precisions(mode.scales)[3]
    of_dense = -0.5 * float(np.sum(precisions * dense**2))
    of_dense += GAP_SHAPE * float(np.sum(np.log(mode.gaps) - mode.gaps / mode.problem.gap_mean))
    return mode.log_joint - of_dense


def _paired(values: Floats) -> Floats:
    pairs = np.repeat(values, 2, axis=1)
    pairs[:, 1::2] *= -1.0
    return pairs


def node_draws(design: Design, mean: Effects, x: Effects, missed: Floats) -> NodeDraws:
    """Keep what figures need of plain joint draws of a node, one to a weight.

    Parameters
    ----------
    design : Design
    mean : Effects, dims (effect,)
        Posterior means at the node. [K]
    x : Effects, dims (effect, draw)
        [K]
    missed : ndarray, dims (draw,)
        Logarithms of their weights.

    Returns
    -------
    NodeDraws
    """
    above = design.selection_of_cell
    cells = x.cells + x.selections[above] - (mean.cells + mean.selections[above])[:, None]
    return NodeDraws(missed, cells.T, (x.dense - mean.dense[:, None]).T)
