"""Where the posterior of the scales lies: its mode by Laplace, its curvature there, and where it really is centred.

Laplace's method takes a plant with a row or two for more certain than it is, and puts the plants' scale too low. What
it misses is estimated with the same normals at every point, so that its slope can be taken; a Newton step then centres
the search on the posterior itself.

Trials of many rows are first looked at through a sample of their selections: its mode, and its curvature grown to the
whole trial's size, are where the search starts. Only the way there is shorter; the mode is the same.

Where Laplace's mode is no guide (:mod:`hardiness.tolerance.pilot`), points of the prior find the neighbourhood.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy import optimize

from hardiness.errors import FitError
from hardiness.tolerance.design import keep_selections
from hardiness.tolerance.factor import tree_of
from hardiness.tolerance.latent import Effects, Mode, Problem, Surroundings
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.marginal import log_posterior, log_posterior_around
from hardiness.tolerance.pilot import pilot
from hardiness.tolerance.priors import Priors

GRADIENT_TOLERANCE = 1e-3  # [1 per log K] at the mode of the scales
STEP = 0.05  # [log K] of the differences of the gradient that make the Hessian
WIDEST = 4.5  # [log K squared] largest variance followed
LARGEST_MOVE = 1.0  # [log K] of a scale, from the mode to the centre
MOST_MOVES = 4
PILOT_ROWS = 600  # up to here Laplace's mode is doubted
SETTLED = 0.2  # [sd] of the last move
STEEPEST = 10.0  # [1 per log K] slope of what Laplace misses past which its mode is no guide; mostly it is 1 or less
MANY_ROWS = 6_000  # beyond it the search starts from a sample, and differences are taken on one side only
SAMPLED_ROWS = 3_000  # about as many are in the sample
MANY_ROWS_GRADIENT = 0.02  # [1 per log K] at the mode then: each scale is within a hundredth of its sd
SAMPLED_GRADIENT = 0.3  # [1 per log K] at the sample's mode: far less than what sampling itself moves

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
    if problem.design.low.size > MANY_ROWS:
        first, start = _sampled_start(problem, priors)
        _, gradient, mode, around = log_posterior_around(problem, priors, first, start)
        around_it = _look_around(problem, priors, prepare(mode), (first, gradient, mode, around), one_sided=True)
        here, hessian = _mode_of_scales(problem, priors, first, mode.effects, around_it.hessian, MANY_ROWS_GRADIENT)
        around_it = replace(around_it, hessian=hessian)
    else:
        here, _ = _mode_of_scales(problem, priors, priors.start(), None, None, GRADIENT_TOLERANCE)
        around_it = _look_around(problem, priors, prepare(here[2]), here, one_sided=False)
    psi, _, mode, _ = here
    # What is not a number is not below it either. With many selections the slopes add up, and are right to be steep.
    if problem.design.low.size <= PILOT_ROWS and not np.all(np.abs(around_it.extra) <= STEEPEST):
        return _by_pilot(problem, priors, prepare(mode))
    found = ScalesMode(psi, mode, around_it.hessian, around_it.slopes, psi)
    return replace(found, centre=_centre(problem, priors, found, around_it.extra))


def _by_pilot(problem: Problem, priors: Priors, missed: Missed) -> ScalesMode:
    """The neighbourhood that points of the prior find, where Laplace's mode of the scales is no guide."""
    psi, hessian = pilot(problem, priors, missed)
    _, gradient, mode, around = log_posterior_around(problem, priors, psi)
    around_it = _look_around(problem, priors, missed, (psi, gradient, mode, around), one_sided=False)
    return ScalesMode(psi, mode, hessian, around_it.slopes, psi)


@dataclass(frozen=True, slots=True)
class _Differences:
    """Around a point: minus the second derivatives, how the effects' mode moves, and the slope of what is missed."""

    hessian: Floats
    slopes: list[Effects]
    extra: Floats


def _look_around(
    problem: Problem,
    priors: Priors,
    missed: Missed,
    here: tuple[Floats, Floats, Mode, Surroundings],
    *,
    one_sided: bool,
) -> _Differences:
    """Differences between points a step up and a step down; one-sided: and the point itself, half the work."""
    psi, gradient, mode, around = here
    hessian, extra, slopes = np.empty((psi.size, psi.size)), np.empty(psi.size), []
    width = STEP if one_sided else 2.0 * STEP
    for index, step in enumerate(STEP * np.eye(psi.size)):
        up, above, around_above = log_posterior_around(problem, priors, psi + step, mode.effects)[1:]
        down, below, around_below = (
            (gradient, mode, around)
            if one_sided
            else log_posterior_around(problem, priors, psi - step, mode.effects)[1:]
        )
        hessian[index] = -(up - down) / width
        extra[index] = (missed(above, around_above) - missed(below, around_below)) / width
        slopes.append(_combined(above.effects, 1.0 / width, below.effects, -1.0 / width))
    return _Differences(hessian, slopes, extra)


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


def _sampled_start(problem: Problem, priors: Priors) -> tuple[Floats, Effects]:
    """Mode of the scales by every n-th selection alone, and where the effects may start there."""
    design = problem.design
    every = -(-design.low.size // SAMPLED_ROWS)
    kept = keep_selections(design, np.arange(len(design.selections)) % every == 0)
    sample = replace(problem, design=kept, tree=tree_of(kept))
    psi, effects, _ = _climb(sample, priors, priors.start(), None, None, SAMPLED_GRADIENT)
    return psi, replace(problem.start(), dense=effects.dense)


def _mode_of_scales(
    problem: Problem,
    priors: Priors,
    start: Floats,
    effects: Effects | None,
    curvature: Floats | None,
    tolerance: float,
) -> tuple[tuple[Floats, Floats, Mode, Surroundings], Floats]:
    """The mode, the gradient left there, the effects' mode and what surrounds it; and the curvature the way told."""
    psi, effects, curvature = _climb(problem, priors, start, effects, curvature, 0.3 * tolerance)
    value, gradient, mode, around = log_posterior_around(problem, priors, psi, effects)
    if not np.isfinite(value) or np.abs(gradient).max() > tolerance:
        raise FitError(
            f"the scales of the model did not settle (slope {np.abs(gradient).max():.2g}); look for extreme exposures."
        )
    return (psi, gradient, mode, around), curvature


def _climb(
    problem: Problem,
    priors: Priors,
    start: Floats,
    effects: Effects | None,
    curvature: Floats | None,
    tolerance: float,
) -> tuple[Floats, Effects, Floats]:
    """Follow the gradient up; the flattest point met, the effects' mode at the last one, and the curvature learnt.

    With very many rows the density is only known to rounding, and the search may step past its flattest point.
    """
    latest = problem.start() if effects is None else effects
    flattest, at = np.inf, start

    def negative(psi: Floats) -> tuple[float, Floats]:
        nonlocal latest, flattest, at
        value, gradient, mode = log_posterior(problem, priors, np.clip(psi, -12.0, 6.0), latest)
        latest = mode.effects
        if np.abs(gradient).max() < flattest:
            flattest, at = float(np.abs(gradient).max()), psi.copy()
        return -value, -gradient

    options: dict[str, object] = {"gtol": tolerance}
    if curvature is not None:
        values, vectors = np.linalg.eigh(0.5 * (curvature + curvature.T))
        inverse = (vectors / np.maximum(values, 1.0 / WIDEST)) @ vectors.T
        options["hess_inv0"] = 0.5 * (inverse + inverse.T)  # exactly symmetric, as is asked for there
    result = optimize.minimize(negative, start, jac=True, method="BFGS", options=options)
    return (result.x if result.success else at), latest, np.linalg.inv(result.hess_inv)


def _combined(a: Effects, of_a: float, b: Effects, of_b: float) -> Effects:
    return Effects(
        of_a * a.plants + of_b * b.plants,
        of_a * a.cells + of_b * b.cells,
        of_a * a.selections + of_b * b.selections,
        of_a * a.dense + of_b * b.dense,
    )
