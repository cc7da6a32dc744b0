r"""The posterior: the few scales integrated numerically, the latent effects by Laplace at each of their values.

The mode of the marginal posterior of the scales is found with its analytic gradient. Around it, points of a
scrambled Sobol' sequence (fixed seed) are laid on a Student t in the Hessian's own axes, stretched each way by how the
density really falls there (Rue, Martino & Chopin 2009, section 6.5, doi:10.1111/j.1467-9868.2008.00700.x), and weighted
by importance. The posterior of any figure is the weighted mixture over these points.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import optimize, stats

from hardiness.errors import FitError
from hardiness.tolerance.design import Design
from hardiness.tolerance.factor import tree_of
from hardiness.tolerance.latent import (
    Effects,
    Mode,
    Problem,
    Surroundings,
    find_mode,
    find_surroundings,
    mean_effects,
)
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.marginal import log_marginal, log_posterior
from hardiness.tolerance.priors import Priors

SEED = 20_011  # of the Sobol' scramble; any number serves, a fixed one keeps results the same
TAILS = 7.0  # degrees of freedom: log tau has a longer left tail than a Gaussian
GRADIENT_TOLERANCE = 1e-3  # [1 per log K] at the mode of the scales
STEP = 0.05  # [log K] of the differences of the gradient that make the Hessian
LEAST_WEIGHT = 1e-5  # of the heaviest node; lighter ones are dropped


@dataclass(frozen=True, slots=True)
class Node:
    """One point of the scales: its weight, and the latent effects there."""

    weight: float
    mode: Mode
    surroundings: Surroundings
    mean: Effects


@dataclass(frozen=True, slots=True)
class Posterior:
    """The posterior of one trial as a weighted mixture over points of the scales.

    Parameters
    ----------
    design : Design
    priors : Priors
    nodes : tuple of Node
        Heaviest first; weights sum to 1.
    effective_nodes : float
        Effective number of them: 1 / sum of squared weights.
    scales_at_mode : dict of str to float
        sigma and the taus at the mode of their logarithms. [K]
    """

    design: Design
    priors: Priors
    nodes: tuple[Node, ...]
    effective_nodes: float
    scales_at_mode: dict[str, float]

    @property
    def weights(self) -> Floats:
        """Weights of the nodes, dims (node,)."""
        return np.array([node.weight for node in self.nodes])

    def scale(self, name: str) -> Floats:
        """A scale at every node, dims (node,). [K]"""
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
        return Posterior(design, priors, (_node(mode, 1.0),), 1.0, mode.scales)
    psi, mode = _mode_of_scales(problem, priors)
    axes, peak = _axes(problem, priors, psi, mode)
    points, log_density = _points(len(psi), _node_count(len(design.low)))
    nodes, logs = [], []
    for point, proposal in zip(points, log_density, strict=True):
        stretched = np.where(point > 0, axes.outward, axes.inward) * point
        here = psi + axes.directions @ stretched
        found = find_mode(problem, priors.scales(here), mode.effects)
        # The stretch differs by side, so the proposal's density does too.
        side = float(np.sum(np.log(np.where(point > 0, axes.outward, axes.inward))))
        logs.append(log_marginal(found) + priors.log_density(here)[0] - peak - proposal + side)
        nodes.append(found)
    weights = np.exp(np.array(logs) - max(logs))
    kept = np.flatnonzero(weights >= LEAST_WEIGHT)
    kept = kept[np.argsort(-weights[kept], kind="stable")]
    weights = weights[kept] / weights[kept].sum()
    return Posterior(
        design,
        priors,
        tuple(_node(nodes[index], float(weight)) for index, weight in zip(kept, weights, strict=True)),
        float(1.0 / np.sum(weights**2)),
        mode.scales,
    )


def _node(mode: Mode, weight: float) -> Node:
    surroundings = find_surroundings(mode)
    return Node(weight, mode, surroundings, mean_effects(mode, surroundings))


def _node_count(rows: int) -> int:
    """Fewer points where many rows leave the scales little room. A Sobol' sequence wants a power of two."""
    return 128 if rows <= 3_000 else 64 if rows <= 20_000 else 16


def _mode_of_scales(problem: Problem, priors: Priors) -> tuple[Floats, Mode]:
    latest: list[Effects | None] = [None]

    def negative(psi: Floats) -> tuple[float, Floats]:
        value, gradient, mode = log_posterior(problem, priors, np.clip(psi, -12.0, 6.0), latest[0])
        latest[0] = mode.effects
        return -value, -gradient

    result = optimize.minimize(negative, priors.start(), jac=True, method="BFGS", options={"gtol": 1e-5})
    value, gradient, mode = log_posterior(problem, priors, result.x, latest[0])
    if not np.isfinite(value) or np.abs(gradient).max() > GRADIENT_TOLERANCE:
        raise FitError(
            f"the scales of the model did not settle (slope {np.abs(gradient).max():.2g}); look for extreme exposures."
        )
    return result.x, mode


@dataclass(frozen=True, slots=True)
class _Axes:
    directions: Floats
    outward: Floats
    inward: Floats


def _axes(problem: Problem, priors: Priors, psi: Floats, mode: Mode) -> tuple[_Axes, float]:
    """The Hessian's axes at the mode, with how far the density really reaches along each, either way."""
    size = len(psi)
    hessian = np.empty((size, size))
    for index, step in enumerate(STEP * np.eye(size)):
        up = log_posterior(problem, priors, psi + step, mode.effects)[1]
        down = log_posterior(problem, priors, psi - step, mode.effects)[1]
        hessian[index] = -(up - down) / (2.0 * STEP)
    values, vectors = np.linalg.eigh(0.5 * (hessian + hessian.T))
    directions = vectors / np.sqrt(np.maximum(values, 0.05))  # a nearly flat axis is not followed without end
    peak = log_marginal(mode) + priors.log_density(psi)[0]

    def reach(way: Floats) -> float:
        here = psi + np.sqrt(2.0) * way
        found = find_mode(problem, priors.scales(here), mode.effects)
        drop = peak - log_marginal(found) - priors.log_density(here)[0]  # 1 where the density is Gaussian
        return float(np.clip(1.0 / np.sqrt(max(drop, 0.1)), 0.4, 2.5))

    outward = np.array([reach(way) for way in directions.T])
    inward = np.array([reach(-way) for way in directions.T])
    return _Axes(directions, outward, inward), peak


def _points(size: int, count: int) -> tuple[Floats, Floats]:
    """Points of a Student t in each axis, and the log of their density."""
    shares = stats.qmc.Sobol(size, scramble=True, rng=np.random.default_rng(SEED)).random(count)
    shares = np.clip(shares, 1e-6, 1.0 - 1e-6)
    points: Floats = stats.t.ppf(shares, TAILS)
    return points, stats.t.logpdf(points, TAILS).sum(axis=1)
