r"""The posterior: the few scales integrated numerically, the latent effects by Laplace at each of their values.

The mode of the marginal posterior of the scales is found with its analytic gradient. Points around it, from a
scrambled Sobol' sequence with a fixed seed, are weighted by importance (the nested approximation of Rue, Martino &
Chopin 2009, doi:10.1111/j.1467-9868.2008.00700.x). The posterior of any figure is the weighted mixture over them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import optimize

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
from hardiness.tolerance.proposal import shape_proposal

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
        """A scale at every node, dims (node,). [K]."""
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

    def density(point: Floats) -> tuple[float, Mode]:
        found = find_mode(problem, priors.scales(point), mode.effects)
        return log_marginal(found) + priors.log_density(point)[0], found

    peak = density(psi)[0]
    is_tau = np.array([name != "sigma" for name in priors.free])
    hessian = _hessian(problem, priors, psi, mode)
    proposal = shape_proposal(psi, hessian, is_tau, lambda point: peak - density(point)[0])
    points, proposed = proposal.draw(_node_count(len(design.low)))
    logs, modes = [], []
    for point, log_proposed in zip(points, proposed, strict=True):
        log_density, found = density(point)
        logs.append(log_density - peak - log_proposed)
        modes.append(found)
    weights = np.exp(np.array(logs) - max(logs))
    kept = np.flatnonzero(weights >= LEAST_WEIGHT)
    kept = kept[np.argsort(-weights[kept], kind="stable")]
    weights = weights[kept] / weights[kept].sum()
    return Posterior(
        design,
        priors,
        tuple(_node(modes[index], float(weight)) for index, weight in zip(kept, weights, strict=True)),
        float(1.0 / np.sum(weights**2)),
        mode.scales,
    )


def _node(mode: Mode, weight: float) -> Node:
    surroundings = find_surroundings(mode)
    return Node(weight, mode, surroundings, mean_effects(mode, surroundings))


def _node_count(rows: int) -> int:
    """Fewer points where many rows leave the scales little room. A Sobol' sequence wants a power of two."""
    return 256 if rows <= 1_500 else 128 if rows <= 6_000 else 64 if rows <= 30_000 else 32


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


def _hessian(problem: Problem, priors: Priors, psi: Floats, mode: Mode) -> Floats:
    """Minus the second derivatives at the mode, by central differences of the analytic gradient."""
    hessian = np.empty((psi.size, psi.size))
    for index, step in enumerate(STEP * np.eye(psi.size)):
        up = log_posterior(problem, priors, psi + step, mode.effects)[1]
        down = log_posterior(problem, priors, psi - step, mode.effects)[1]
        hessian[index] = -(up - down) / (2.0 * STEP)
    return hessian
