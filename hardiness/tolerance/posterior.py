r"""The posterior: scales integrated numerically, latent effects drawn around their mode at each of their values.

The mode of the marginal posterior of the scales is found with its analytic gradient. Points around it, from a
scrambled Sobol' sequence with a fixed seed, are weighted by importance (the nested approximation of Rue, Martino &
Chopin 2009, doi:10.1111/j.1467-9868.2008.00700.x): the *nodes*. At each, the Laplace approximation gives means,
standard deviations and skewness of any figure. Three paths lead on from there; ``diagnostics.path`` says which it was:

``importance``
    Joint draws at every node, weighted to the exact posterior (:mod:`hardiness.tolerance.importance`), correct the
    weights of the nodes, where plants with a score or two mislead Laplace most, and the means and standard deviations
    of figures (:mod:`hardiness.tolerance.functionals`). Their weights are Pareto-smoothed.
``sampler``
    Where the shape k of the weights' tail is above 0.7, the draws are annealed to the posterior instead
    (:mod:`hardiness.tolerance.annealing`), and serve in the same way.
``laplace``
    Trials of very many rows stay with Laplace's method.

Of a trial of a few rows, and after the sampler, the draws themselves are the answer: such a posterior may have any
shape (:mod:`hardiness.tolerance.sample`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from hardiness.tolerance.annealing import anneal_nodes
from hardiness.tolerance.design import Design
from hardiness.tolerance.factor import tree_of
from hardiness.tolerance.importance import DENSE_DRAWS, NodeDraws, Noise, draw_node, missed_by_laplace
from hardiness.tolerance.latent import Effects, Mode, Problem, find_surroundings
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.marginal import log_marginal
from hardiness.tolerance.matrices import Indices
from hardiness.tolerance.newton import NODE_TOLERANCE, find_mode, find_modes
from hardiness.tolerance.priors import Priors
from hardiness.tolerance.proposal import shape_proposal
from hardiness.tolerance.psis import pareto_smooth
from hardiness.tolerance.rowdraws import RowDraws
from hardiness.tolerance.scales import Missed, find_scales
from hardiness.tolerance.whitening import Whitening

LEAST_WEIGHT = 1e-4  # of the heaviest node by Laplace; lighter ones are dropped
MOST_DRAWN_ROWS = 6_000  # larger trials stay with Laplace
LARGEST_K = 0.7  # of the weights' tail: above it they cannot be trusted
FEW_ROWS = 200  # up to here, and after the sampler, figures are those of the draws themselves
FEW_ROWS_DRAWS = 64  # of the dense block for each node of such a trial; of the sampler's too
FIXED_NODES = 128  # times that a trial with all scales fixed is drawn from
ANNEALING = (8, 32)  # temperatures of the first try and of the second


@dataclass(frozen=True, slots=True)
class Node:
    """One point of the scales: its weight, the latent effects' mode there, and their means. [K]."""

    weight: float
    mode: Mode
    mean: Effects


@dataclass(frozen=True, slots=True)
class Draws:
    """Joint draws of the effects with their weights.

    Parameters
    ----------
    weights : ndarray, dims (draw,)
        Of sum 1.
    node : ndarray of int, dims (draw,)
        Whose scales a draw has.
    cells : ndarray, dims (draw, cell)
        a + c of each cell minus the node's mean. [K]
    dense : ndarray, dims (draw, dense)
        The dense block minus the node's mean. [K]
    plain : bool
        Whether without their weights they are draws of the Laplace approximation.
    direct : bool
        Whether figures are those of the draws themselves, rather than Laplace's at each node moved by them.
    """

    weights: Floats
    node: Indices
    cells: Floats
    dense: Floats
    plain: bool
    direct: bool


@dataclass(frozen=True, slots=True)
class Diagnostics:
    """How a posterior was reached, and how far it can be trusted.

    Parameters
    ----------
    path : str
        ``importance``, ``sampler`` or ``laplace``.
    effective_sample_size : float
        Of the joint draws; of the nodes where there are none: 1 / sum of squared weights.
    pareto_k : float
        Shape of the tail of these weights; dependable below 0.7.
    effective_nodes : float
        Effective number of points of the scales.
    """

    path: str
    effective_sample_size: float
    pareto_k: float
    effective_nodes: float


@dataclass(frozen=True, slots=True)
class Posterior:
    """The posterior of one trial as a weighted mixture over points of the scales.

    Parameters
    ----------
    design : Design
    priors : Priors
    nodes : tuple of Node
        Heaviest first; weights sum to 1.
    scales_at_mode : dict of str to float
        sigma and the taus at the mode of their logarithms. [K]
    draws : Draws or None
        Joint draws; None where Laplace's method stands alone.
    diagnostics : Diagnostics
    """

    design: Design
    priors: Priors
    nodes: tuple[Node, ...]
    scales_at_mode: dict[str, float]
    draws: Draws | None
    diagnostics: Diagnostics

    @property
    def weights(self) -> Floats:
        """Weights of the nodes, dims (node,)."""
        return np.array([node.weight for node in self.nodes])

    @property
    def span_c(self) -> float:
        """Distance from the first grade to the last that the prior expects, as it was fitted with. [K]."""
        return self.nodes[0].mode.problem.gap_mean * max(self.design.worst - 1, 1)

    def scale(self, name: str) -> Floats:
        """A scale at every node, dims (node,).

        Parameters
        ----------
        name : str

        Returns
        -------
        ndarray
            [K]
        """
        return np.array([node.mode.scales[name] for node in self.nodes])


def find_posterior(design: Design, priors: Priors, *, span_c: float) -> Posterior:
    """Compute the posterior of a trial.

    Parameters
    ----------
    design : Design
    priors : Priors
    span_c : float
        Distance expected from the first grade's critical temperature to the last one's. [K]

    Returns
    -------
    Posterior

    Raises
    ------
    FitError
        If the scales' mode is not found.
    """
    gap_mean = span_c / max(design.worst - 1, 1)
    problem = Problem(design, tree_of(design), gap_mean, priors.alpha_sd)
    if not priors.free:
        mode = find_mode(problem, priors.scales(np.empty(0)))
        count = 1 if design.low.size > MOST_DRAWN_ROWS else FIXED_NODES
        return _one_node(_corrected(design, priors, mode, [mode] * count, np.zeros(count)))
    joint, rows = design.low.size <= MOST_DRAWN_ROWS, RowDraws.of(design)

    def prepare(mode: Mode) -> Missed:
        noise = Noise.of(mode)
        return lambda found, around: missed_by_laplace(found, Whitening.at(found, around, rows), noise, joint=joint)

    scales = find_scales(problem, priors, prepare)
    missed = prepare(scales.mode)

    def modes_at(points: Iterable[Floats]) -> list[Mode]:
        psis = list(points)
        at, starts = [priors.scales(psi) for psi in psis], [scales.predicted(psi) for psi in psis]
        return find_modes(problem, at, starts, NODE_TOLERANCE)

    def corrected(points: list[Floats]) -> Floats:
        found = zip(points, modes_at(points), strict=True)
        return np.array([
            log_marginal(mode) + priors.log_density(psi)[0] + missed(mode, find_surroundings(mode))
            for psi, mode in found
        ])  # fmt: skip

    is_tau = np.array([name != "sigma" for name in priors.free])

    # Many rows make the density all but Gaussian along its axes.
    def drops(points: list[Floats]) -> Floats:
        if not joint:
            return np.ones(len(points))
        peak, *others = corrected([scales.centre, *points])
        drop = peak - np.array(others)
        return np.where(np.isfinite(drop), drop, 1.0)  # as if Gaussian where the draws cannot tell

    proposal = shape_proposal(scales.centre, scales.hessian, is_tau, drops)
    points, proposed = proposal.draw(_node_count(design.low.size))
    modes = modes_at(points)
    logs = np.array(
        [log_marginal(mode) + priors.log_density(point)[0] for point, mode in zip(points, modes, strict=True)]
    )
    logs -= proposed
    return _corrected(design, priors, scales.mode, modes, logs - logs.max())


def _node_count(rows: int) -> int:
    """Fewer points where many rows leave the scales little room. A Sobol' sequence wants a power of two."""
    return 512 if rows <= 600 else 256 if rows <= 2_000 else 128 if rows <= 6_000 else 32


def _corrected(design: Design, priors: Priors, centre: Mode, modes: list[Mode], logs: Floats) -> Posterior:
    """Nodes by Laplace weighed anew by joint draws; ``logs`` are their weights' logarithms."""
    kept = np.flatnonzero(logs >= logs.max() + np.log(LEAST_WEIGHT))
    modes, logs = [modes[index] for index in kept], logs[kept]
    rows, noise = RowDraws.of(design), Noise.of(centre)
    if design.low.size > MOST_DRAWN_ROWS:
        return _by_laplace(design, priors, centre, modes, logs)
    whitenings = [Whitening.at(mode, find_surroundings(mode), rows) for mode in modes]
    base = logs - np.array([log_marginal(mode) for mode in modes])
    few = design.low.size <= FEW_ROWS
    count = FEW_ROWS_DRAWS if few else DENSE_DRAWS
    path, found = (
        "importance",
        [draw_node(white, noise, int(node), count) for node, white in zip(kept, whitenings, strict=True)],
    )
    weights, k = _smoothed(found, base)
    for steps in ANNEALING if k > LARGEST_K else ():
        path, some = "sampler", slice(None, None, 2)  # every other node: annealing costs many times as much
        found = anneal_nodes(whitenings[some], noise, kept[some].tolist(), steps=steps, count=count)
        weights, k = _smoothed(found, base[some])
        if k <= LARGEST_K:
            break
    if path == "sampler":
        modes, whitenings = modes[some], whitenings[some]
    by_node = weights.reshape(len(modes), -1).sum(axis=1)
    means = [white.mean for white in whitenings]
    draws = _draws(found, weights, plain=path == "importance", direct=few or path == "sampler")
    return _ordered(design, priors, centre, modes, means, by_node, draws, (path, float(1.0 / np.sum(weights**2)), k))


def _one_node(posterior: Posterior) -> Posterior:
    """Nodes at the same scales are one."""
    draws, diagnostics = posterior.draws, replace(posterior.diagnostics, effective_nodes=1.0)
    if draws is not None:
        draws = replace(draws, node=np.zeros_like(draws.node))
    node = replace(posterior.nodes[0], weight=1.0)
    return replace(posterior, nodes=(node,), draws=draws, diagnostics=diagnostics)


def _smoothed(found: list[NodeDraws], base: Floats) -> tuple[Floats, float]:
    """Pareto-smoothed weights of all draws; ``base`` is the logarithm of each node's weight without its draws."""
    return pareto_smooth(np.concatenate([part.missed + log for part, log in zip(found, base, strict=True)]))


def _by_laplace(design: Design, priors: Priors, centre: Mode, modes: list[Mode], logs: Floats) -> Posterior:
    """Many rows: what Laplace misses of each selection's own tree is added, and the rest left to it."""
    rows, noise, means, missed = RowDraws.of(design), Noise.of(centre), [], []
    for mode in modes:
        whitening = Whitening.at(mode, find_surroundings(mode), rows)
        means.append(whitening.mean)
        missed.append(missed_by_laplace(mode, whitening, noise, joint=False))
    weights, k = pareto_smooth(logs + np.array(missed))
    size = float(1.0 / np.sum(weights**2))
    return _ordered(design, priors, centre, modes, means, weights, None, ("laplace", size, k))


def _draws(found: list[NodeDraws], weights: Floats, *, plain: bool, direct: bool) -> Draws:
    cells = np.concatenate([part.cells for part in found])
    to_a_weight = cells.shape[0] // weights.size
    node = np.arange(len(found)).repeat(cells.shape[0] // len(found))
    dense = np.concatenate([part.dense for part in found])
    return Draws(weights.repeat(to_a_weight) / to_a_weight, node, cells, dense, plain, direct)


def _ordered(
    design: Design,
    priors: Priors,
    centre: Mode,
    modes: list[Mode],
    means: list[Effects],
    weights: Floats,
    draws: Draws | None,
    diagnostics: tuple[str, float, float],
) -> Posterior:
    """The posterior with its heaviest node first."""
    order = np.argsort(-weights, kind="stable")
    if draws is not None:
        place = np.empty(order.size, dtype=np.int64)
        place[order] = np.arange(order.size)
        draws = replace(draws, node=place[draws.node])
    nodes = tuple(Node(float(weights[index]), modes[index], means[index]) for index in order)
    effective = float(1.0 / np.sum(weights**2))
    return Posterior(design, priors, nodes, centre.scales, draws, Diagnostics(*diagnostics, effective))
