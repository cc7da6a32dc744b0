"""Where the posterior of the scales lies: its mode by Laplace, its curvature there, and where it really is centred.

Laplace's method takes a plant with a row or two for more certain than it is, and puts the plants' scale too low. What
it misses is estimated with the same normals at every point, so that its slope can be taken; a Newton step then centres
the search on the posterior itself.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import optimize

from hardiness.errors import FitError
from hardiness.tolerance.latent import Effects, Mode, Problem, Surroundings
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.marginal import log_posterior, log_posterior_around
from hardiness.tolerance.priors import Priors

GRADIENT_TOLERANCE = 1e-3  # [1 per log K] at the mode of the scales
STEP = 0.05  # [log K] of the differences of the gradient that make the Hessian
WIDEST = 4.5  # [log K squared] largest variance followed
LARGEST_MOVE = 1.0  # [log K] of a scale, from the mode to the centre
MOST_MOVES = 4
SETTLED = 0.2  # [sd] of the last move

Missed = Callable[[Mode, Surroundings], float]


@dataclass(frozen=True, slots=True)
class ScalesMode:
    """The mode of the scales' marginal posterior by Laplace, and what surrounds it.

    Parameters
    ----------
    psi : ndarray, dims (scale,)
        Logarithms of the free scales there. [log K]
    mode : Mode
        Of the latent effects there.
    hessian : ndarray, dims (scale, scale)
        Minus the second derivatives of the log-density.
    slopes : list of Effects
        How the effects' mode moves with each scale. [K per log K]
    centre : ndarray, dims (scale,)
        About where the posterior is centred once what Laplace misses is added.
    """

    psi: Floats
    mode: Mode
    hessian: Floats
    slopes: list[Effects]
    centre: Floats

    def predicted(self, psi: Floats) -> Effects:
        """Effects at other scales by their slopes, no further than those hold; gaps stay above 0. [K]."""
        start = self.mode.effects
        for share, slope in zip(np.clip(psi - self.psi, -1.0, 1.0), self.slopes, strict=True):
            start = _combined(start, 1.0, slope, share)
        gaps = self.mode.problem.design.gaps
        start.dense[gaps] = np.maximum(start.dense[gaps], 0.5 * self.mode.gaps)
        return start


def find_scales(problem: Problem, priors: Priors, prepare: Callable[[Mode], Missed]) -> ScalesMode:
    """Find the mode of the scales and the centre of their posterior.

    Parameters
    ----------
    problem : Problem
    priors : Priors
    prepare : callable
        Given the mode, what tells how far Laplace's log marginal likelihood is off at a point.

    Returns
    -------
    ScalesMode

    Raises
    ------
    FitError
        If the scales do not settle.
    """
    psi, mode = _mode_of_scales(problem, priors)
    missed = prepare(mode)
    hessian, extra, slopes = np.empty((psi.size, psi.size)), np.empty(psi.size), []
    for index, step in enumerate(STEP * np.eye(psi.size)):
        _, up, above, around_above = log_posterior_around(problem, priors, psi + step, mode.effects)
        _, down, below, around_below = log_posterior_around(problem, priors, psi - step, mode.effects)
        hessian[index] = -(up - down) / (2.0 * STEP)
        extra[index] = (missed(above, around_above) - missed(below, around_below)) / (2.0 * STEP)
        slopes.append(_combined(above.effects, 0.5 / STEP, below.effects, -0.5 / STEP))
    found = ScalesMode(psi, mode, hessian, slopes, psi)
    return ScalesMode(psi, mode, hessian, slopes, _centre(problem, priors, found, extra))


def _centre(problem: Problem, priors: Priors, found: ScalesMode, extra: Floats) -> Floats:
    """Where Laplace's gradient and the slope of what it misses cancel."""
    values, vectors = np.linalg.eigh(0.5 * (found.hessian + found.hessian.T))
    values = np.maximum(values, 1.0 / WIDEST)
    centre, gradient = found.psi, np.zeros_like(extra)
    for _ in range(MOST_MOVES):
        along = (vectors.T @ (gradient + extra)) / values
        centre = np.clip(centre + vectors @ along, found.psi - LARGEST_MOVE, found.psi + LARGEST_MOVE)
        if np.max(np.abs(along) * np.sqrt(values)) < SETTLED:
            break
        gradient = log_posterior(problem, priors, centre, found.predicted(centre))[1]
    return centre


def _mode_of_scales(problem: Problem, priors: Priors) -> tuple[Floats, Mode]:
    latest: list[Effects | None] = [None]

    def negative(psi: Floats) -> tuple[float, Floats]:
        value, gradient, mode = log_posterior(problem, priors, np.clip(psi, -12.0, 6.0), latest[0])
        latest[0] = mode.effects
        return -value, -gradient

    result = optimize.minimize(
        negative, priors.start(), jac=True, method="BFGS", options={"gtol": 0.3 * GRADIENT_TOLERANCE}
    )
    value, gradient, mode = log_posterior(problem, priors, result.x, latest[0])
    if not np.isfinite(value) or np.abs(gradient).max() > GRADIENT_TOLERANCE:
        raise FitError(
            f"the scales of the model did not settle (slope {np.abs(gradient).max():.2g}); look for extreme exposures."
        )
    return result.x, mode


def _combined(a: Effects, of_a: float, b: Effects, of_b: float) -> Effects:
    return Effects(
        of_a * a.plants + of_b * b.plants,
        of_a * a.cells + of_b * b.cells,
        of_a * a.selections + of_b * b.selections,
        of_a * a.dense + of_b * b.dense,
    )
